"""Promises that every contact law keeps, each run over every law of the registry.

The free exponent is a diagnostic without a tip or a modulus; it is checked in test_laws.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.optimize import least_squares

from palpate.core.models import LAWS, POWER, law_of, tabulate
from palpate.core.models.law import NODES, contact_at, fault_of, radius_at
from palpate.core.settings import SHAPES

TIPS = {  # two tips for each list of sizes
    ("radius",): [(20.0,), (3000.0,)],
    ("half_angle",): [(35.0,), (70.0,)],
    ("radius", "half_angle"): [(20.0, 20.0), (8.0, 65.0)],
    ("radius", "half_angle", "rounding"): [(20.0, 20.0, 0.0), (20.0, 20.0, 18.8), (8.0, 35.0, 3.0)],
}
CASES = [
    pytest.param(law, sizes, id=f"{law.name}-{'-'.join(f'{s:g}' for s in sizes)}")
    for law in LAWS.values()
    if law.sizes
    for sizes in TIPS[law.sizes]
]
ROUND = [case for case in CASES if not case.values[0].name.startswith("pyramid")]
SHAPED = [case for case in CASES if case.values[0].profile is not None]
DEPTHS = (0.02, 6.0, 40.0, 180.0)


def scaled(law, sizes, unit):
    """The tip's sizes when lengths are measured in another unit."""
    return tuple(
        s if n == "half_angle" else s * unit for n, s in zip(law.sizes, sizes, strict=True)
    )


def areas(law, sizes, depth):
    """F/E* at many depths without a table."""
    if law.profile is None:
        return law.factor(*sizes) * depth**law.exponent
    return contact_at(law, depth, *sizes)[1]


def test_every_shape_that_can_be_chosen_is_a_law_and_the_other_way_round():
    assert set(LAWS) == set(SHAPES)


@pytest.mark.parametrize("law", LAWS.values(), ids=LAWS)
def test_it_says_formula_validity_and_source(law):
    assert law.name == next(name for name, one in LAWS.items() if one is law)
    assert all(len(text) > 5 for text in (law.label, law.formula, law.validity, law.source))
    assert "F = " in law.formula
    assert set(law.sizes) <= {"radius", "half_angle", "rounding"}


@pytest.mark.parametrize(("law", "sizes"), CASES)
@pytest.mark.parametrize("unit", [1e-9, 10.0])
def test_force_does_not_depend_on_the_unit_of_length(law, sizes, unit):
    """F/E* is an area, dF/dδ/E* a length, whatever lengths are measured in."""
    other = scaled(law, sizes, unit)
    for depth in DEPTHS:
        force, stiffness = law.force(depth, 1.0, *sizes), law.stiffness(depth, 1.0, *sizes)
        assert law.force(depth * unit, 1.0, *other) == pytest.approx(force * unit**2, rel=1e-9)
        assert law.stiffness(depth * unit, 1.0, *other) == pytest.approx(stiffness * unit, rel=1e-9)
        a = law.contact_radius(depth, *sizes)
        assert law.contact_radius(depth * unit, *other) == pytest.approx(a * unit, rel=1e-9)


@pytest.mark.parametrize(("law", "sizes"), CASES)
def test_force_is_in_proportion_to_the_modulus(law, sizes):
    for depth in DEPTHS:
        once = law.force(depth, 1.0, *sizes)
        assert law.force(depth, 3.7, *sizes) == pytest.approx(3.7 * once, rel=1e-14)


@pytest.mark.parametrize(("law", "sizes"), CASES)
def test_stiffness_is_the_slope_of_the_force(law, sizes):
    for depth in DEPTHS:
        h = 1e-4 * depth
        points = [law.force(depth + i * h, 1.0, *sizes) for i in (-2, -1, 1, 2)]
        slope = (points[0] - 8 * points[1] + 8 * points[2] - points[3]) / (12 * h)
        assert law.stiffness(depth, 1.0, *sizes) == pytest.approx(slope, rel=1e-7)


@pytest.mark.parametrize(("law", "sizes"), ROUND)
def test_stiffness_is_twice_the_contact_radius(law, sizes):
    """S = 2 E* a for a tip of revolution: Pharr, Oliver & Brotzen, J. Mater. Res. 7 (1992) 613."""
    for depth in DEPTHS:
        a = law.contact_radius(depth, *sizes)
        assert law.stiffness(depth, 1.0, *sizes) == pytest.approx(2.0 * a, rel=1e-12)


@pytest.mark.parametrize(("law", "sizes"), SHAPED)
def test_contact_radius_and_depth_are_inverse(law, sizes):
    depth = np.geomspace(1e-6, 150.0, 200)
    a = radius_at(law, depth, *sizes)
    np.testing.assert_allclose(law.profile(a, *sizes)[0], depth, rtol=1e-7)
    assert np.all(np.diff(a) > 0.0)
    assert law.contact_radius(depth[77], *sizes) == pytest.approx(a[77], rel=1e-12)


@pytest.mark.parametrize(("law", "sizes"), CASES)
def test_shallow_it_is_its_power_and_at_no_depth_nothing(law, sizes):
    """g δⁿ at small depth: for the rounded tips that is Hertz's (4/3) √R δ^(3/2)."""
    for depth in (1e-12, 1e-9, 1e-7):
        power = law.factor(*sizes) * depth**law.exponent
        assert law.force(depth, 1.0, *sizes) == pytest.approx(power, rel=1e-7)
    assert law.force(0.0, 1.0, *sizes) == 0.0
    assert law.force(-3.0, 1.0, *sizes) == 0.0
    if law.profile is not None:
        assert law.exponent == 1.5
        assert law.factor(*sizes) == pytest.approx(4 / 3 * math.sqrt(sizes[0]), rel=1e-14)


@pytest.mark.parametrize(("law", "sizes"), CASES)
def test_force_and_slope_grow_with_depth(law, sizes):
    depth = np.geomspace(1e-9, 3.0 * sizes[0], 300)
    force = areas(law, sizes, depth)
    assert np.all(np.isfinite(force))
    assert np.all(np.diff(force) > 0.0)
    assert np.all(np.diff(np.diff(force) / np.diff(depth)) > -1e-9 * force[1:-1] / depth[1:-1])


@pytest.mark.parametrize("sizes", TIPS[("radius", "half_angle")])
def test_hyperboloid_is_a_paraboloid_at_first_and_a_cone_far_on(sizes):
    law, cone, hertz = law_of("hyperboloid"), law_of("cone"), law_of("paraboloid")
    length = sizes[0] / math.tan(math.radians(sizes[1])) ** 2  # R cot² α, the depth of the change
    near, far = 1e-6 * length, 1e6 * length
    assert law.force(near, 1, *sizes) == pytest.approx(hertz.force(near, 1, sizes[0]), rel=1e-6)
    assert law.force(far, 1, *sizes) == pytest.approx(cone.force(far, 1, sizes[1]), rel=1e-5)
    assert law.stiffness(far, 1, *sizes) == pytest.approx(
        cone.stiffness(far, 1, sizes[1]), rel=1e-5
    )


@pytest.mark.parametrize("sizes", TIPS[("radius", "half_angle", "rounding")])
def test_blunted_cone_is_a_paraboloid_up_to_its_edge_and_a_cone_far_on(sizes):
    law, cone, hertz = law_of("blunted_cone"), law_of("cone"), law_of("paraboloid")
    edge = law.kink(*sizes) ** 2 / sizes[0]
    for depth in (1e-3 * edge, 0.5 * edge, 0.999 * edge):
        force = hertz.force(depth, 1.0, sizes[0])
        assert law.force(depth, 1.0, *sizes) == pytest.approx(force, rel=1e-12)
    far = 1e7 * edge
    assert law.force(far, 1, *sizes) == pytest.approx(cone.force(far, 1, sizes[1]), rel=1e-5)


def test_rounding_of_nothing_means_that_end_and_flank_meet_smoothly():
    law, tan = law_of("blunted_cone"), math.tan(math.radians(25.0))
    given = (12.0, 25.0, 12.0 / tan)
    for depth in (1.0, 60.0, 400.0):
        assert law.force(depth, 1, 12.0, 25.0, 0.0) == pytest.approx(law.force(depth, 1, *given))
    # the flank takes over at the paraboloid's own slope there: r/R = cot α
    assert law.kink(12.0, 25.0, 0.0) / 12.0 == pytest.approx(1 / tan, rel=1e-14)


def test_sphere_of_great_radius_is_the_paraboloid():
    sphere, hertz = law_of("sphere"), law_of("paraboloid")
    for depth in (0.1, 5.0, 50.0):
        # the series of Sneddon's sphere: 1 - x/10, x = δ/R
        expected = hertz.force(depth, 1.0, 1e6) * (1.0 - depth / 1e7)
        assert sphere.force(depth, 1.0, 1e6) == pytest.approx(expected, rel=1e-10)


def test_beyond_the_sphere_there_is_no_number():
    law = law_of("sphere")
    assert math.isnan(law.force(12.0 * 20.0, 1.0, 20.0))
    assert math.isnan(law.contact_radius(12.0 * 20.0, 20.0))
    table = tabulate(law, 12.0 * 20.0, 20.0)
    assert 150.0 < table.deepest < 240.0
    assert np.isnan(table.log_ratio(np.array([230.0]))[0])


# the table that the map is run from


@pytest.mark.parametrize(("law", "sizes"), SHAPED)
@pytest.mark.parametrize("deepest", [0.5, 30.0, 150.0, 2000.0])
def test_table_is_right_to_1e_minus_8(law, sizes, deepest):
    table = tabulate(law, deepest, *sizes)
    if law.widest(*sizes) == math.inf:
        assert deepest <= table.deepest < 1.02 * deepest
    end = min(table.deepest, deepest, 7.0 * sizes[0] if law.name == "sphere" else math.inf)
    edge = 0.0
    if law.kink(*sizes) < math.inf:
        edge = float(law.profile(np.array([law.kink(*sizes)]), *sizes)[0][0])
    depth = np.concatenate(
        [np.geomspace(1e-7 * end, end, 2001), edge * np.linspace(0.98, 1.02, 201)]
    )
    depth = depth[(depth > 0.0) & (depth <= end)]
    read = law.factor(*sizes) * depth**law.exponent * np.exp(table.log_ratio(depth))
    np.testing.assert_allclose(read, areas(law, sizes, depth), rtol=1e-8)
    middle = float(depth[1000])
    assert areas(law, sizes, depth)[1000] == pytest.approx(
        law.force(middle, 1.0, *sizes), rel=1e-12
    )


@pytest.mark.parametrize(("law", "sizes"), SHAPED)
def test_table_begins_level_and_its_slopes_are_those_of_its_values(law, sizes):
    """All of these are even in √δ at first, so d ln q/ds is 0 at s = 0."""
    table = tabulate(law, 40.0, *sizes)
    assert table.rows[0, 0] == 0.0
    assert table.rows[0, 1] == pytest.approx(0.0, abs=1e-5)
    assert len(table.rows) >= NODES
    assert not table.rows.flags.writeable
    h = 1e-3 * table.step
    nodes = table.step * np.arange(3, len(table.rows) - 1, 7)
    above, below = (areas(law, sizes, (nodes + side) ** 2) for side in (h, -h))
    rise = np.log(above / below) - 2 * law.exponent * np.log((nodes + h) / (nodes - h))
    np.testing.assert_allclose(table.rows[3:-1:7, 1], rise / (2 * h), rtol=1e-4, atol=1e-7)


@pytest.mark.parametrize("sizes", TIPS[("radius", "half_angle", "rounding")])
def test_edge_of_the_blunted_cone_falls_on_a_node(sizes):
    law = law_of("blunted_cone")
    edge = law.kink(*sizes) ** 2 / sizes[0]
    table = tabulate(law, 4.0 * edge, *sizes)
    place = math.sqrt(edge) / table.step
    assert place == pytest.approx(round(place), abs=1e-9)


def test_pure_powers_need_no_table():
    for law in LAWS.values():
        if law.profile is None:
            assert tabulate(law, 10.0, *([20.0] * len(law.sizes))) is POWER
    assert POWER.deepest == math.inf
    assert POWER.log_ratio(np.array([3.0]))[0] == 0.0


# what no tip has


@pytest.mark.parametrize(("law", "sizes"), CASES)
def test_possible_sizes_have_no_fault(law, sizes):
    assert law.fault(*sizes) == ""


@pytest.mark.parametrize(("law", "sizes"), CASES)
def test_impossible_sizes_get_a_sentence(law, sizes):
    for i, name in enumerate(law.sizes):
        wrong = [-1.0, math.nan, math.inf]
        if name != "rounding":
            wrong.append(0.0)
        if name == "half_angle":
            wrong += [90.0, 135.0]
        for value in wrong:
            said = law.fault(*sizes[:i], value, *sizes[i + 1 :])
            assert name.replace("_", "-") in said
            assert said.endswith(".")


def test_rounding_that_does_not_fit_radius_and_angle_gets_a_sentence():
    law, most = law_of("blunted_cone"), 20.0 / math.tan(math.radians(20.0))
    assert law.fault(20.0, 20.0, most) == ""
    assert "steeper" in law.fault(20.0, 20.0, 1.01 * most)
    assert "cone" in law.fault(20.0, 20.0, 0.005 * most)
    # past that limit the depth would not grow with the contact: the sentence has a reason
    a = np.linspace(1.05 * most, 1.1 * most, 50)
    depth = law.profile(a, 20.0, 20.0, 1.05 * most)[0]
    assert np.diff(depth).min() < 0.0


def test_fault_names_the_first_impossible_size():
    check = fault_of("radius", "half_angle")
    assert "radius" in check(0.0, 95.0)
    assert "90°" in check(5.0, 95.0)
    assert check(5.0, 45.0) == ""


# round trip


@pytest.mark.parametrize(("law", "sizes"), CASES)
def test_modulus_comes_back_from_noisy_deflection(law, sizes):
    """d(z) made with the law itself, fitted through its table (scipy): no bias beyond the scatter.

    A lever of 5 N/m, E* = 1 GPa, 20 nm deep, noise 0.1 nm, modulus and contact point free.
    """
    stiffness, deepest, rng = 5.0, 20.0, np.random.default_rng(11)
    dense = np.linspace(0.0, math.sqrt(1.5 * deepest), 1500) ** 2
    true = areas(law, sizes, dense) / stiffness
    table = tabulate(law, 1.5 * deepest, *sizes)
    read = law.factor(*sizes) * dense**law.exponent * np.exp(table.log_ratio(dense)) / stiffness
    top = np.interp(deepest, dense, dense + true)
    z = np.linspace(-0.2 * top, top, 250)
    exact = np.interp(z, dense + true, true)
    noise = max(0.1, 2e-4 * exact.max())

    def lost(v, d):
        model = math.exp(v[0]) * read
        return np.interp(z - v[1], dense + model, model) - d

    found = []
    for _ in range(16):
        d = exact + noise * rng.normal(size=z.size)
        fit = least_squares(lost, (0.2, 0.5), args=(d,), x_scale=(0.1, 1.0))
        found.append(fit.x[0])
    spread = np.std(found, ddof=1)
    assert abs(np.mean(found)) < 4.0 * spread / math.sqrt(16)
    assert 0.0 < spread < 0.1
