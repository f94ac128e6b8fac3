"""Budgets of real curves: each coefficient against the whole analysis done again, each local part
against an independent fit, and intervals that hold the truth.

The reference for coefficients is `explain` under changed settings; for the local split
`scipy.optimize.least_squares` with a solver of its own.
"""

from __future__ import annotations

import csv
import io
import math
from dataclasses import replace

import numpy as np
import pytest
from scipy import optimize

from palpate.core.analysis import Analysis
from palpate.core.explain import explain
from palpate.core.forcemap import Constant, ForceMap
from palpate.core.pipeline import analyse
from palpate.core.settings import Settings
from palpate.core.simulate import Lever, Material, Ramp, simulate_map, ski_boot
from palpate.core.uncertainty import (
    CAUTION,
    QUANTITIES,
    Budget,
    group_budget,
    pixel_budget,
    propagate,
    ratio_budget,
)

SOFT, MEDIUM = Material("soft", 0.15, 0.45, 5.0, 0.05), Material("medium", 0.5, 0.40, 5.0, 0.05)
LEVER, RAMP = Lever(2.0, 60.0, noise=0.05), Ramp(travel=200.0, samples=400, set_force=30.0)
FEW = 2_000  # trials where the Monte Carlo is not looked at


def halves(size: int = 16) -> np.ndarray:
    labels = np.zeros((size, size), dtype=np.int64)
    labels[:, size // 2 :] = 1
    return labels


def made_map(**described: object) -> ForceMap:
    made = simulate_map(halves(), (SOFT, MEDIUM), lever=LEVER, ramp=RAMP, seed=4)
    return ForceMap.from_arrays(**(made.arrays() | described))


@pytest.fixture(scope="module")
def fmap() -> ForceMap:
    return made_map()


@pytest.fixture(scope="module")
def whole(fmap) -> Analysis:
    return analyse(fmap)


def terms(budget: Budget | None) -> dict:
    assert budget is not None
    return {t.name: t for t in budget.terms}


def analysed(fmap: ForceMap, **changes: object) -> Analysis:
    return analyse(fmap, Settings().with_values({k.replace("__", "."): v
                                                 for k, v in changes.items()}))  # fmt: skip


# ---- local terms

LAWS = {
    "constant pull": {},
    "no adhesion": {"fit.adhesion": "none"},
    "JKR": {"fit.adhesion": "jkr"},
    "two points": {"fit.adhesion": "two_point"},
    "Maugis-Dugdale": {"fit.adhesion": "maugis"},
    "pull fitted": {"fit.pull_off": "fitted", "fit.branch": "retract", "fit.fraction_from": -15.0},
    "cone": {"fit.law": "cone", "tip.half_angle": 30.0},
    "punch": {"fit.law": "punch"},
    "sphere": {"fit.law": "sphere"},
    "layer": {"layer.base": "bonded", "layer.thickness": 60.0},
    "retract, line of samples": {"fit.branch": "retract", "adhesion.samples": 6},
    "offset only": {"baseline.shape": "offset"},
    "elastic tip": {"tip.material": "elastic", "tip.modulus": 20.0},
    "contact by threshold": {"fit.contact": "threshold"},
    "contact by change point": {"fit.contact": "change_point"},
}


@pytest.mark.parametrize("law", LAWS)
def test_the_local_terms_add_up_to_the_maps_own_error(fmap, law):
    """Within 1 %, for each law and quantity, and without a remainder of more than that."""
    result = analyse(fmap, Settings().with_values(LAWS[law]))
    seen = 0
    for quantity in QUANTITIES:
        values, errors = result.channel(quantity), result.errors(quantity)
        for row, col in ((1, 2), (7, 5), (3, 12), (14, 9)):
            budget = pixel_budget(result, row, col, FEW, quantity=quantity)
            if budget is None:
                assert not values[row, col] > 0.0
                continue
            seen += 1
            assert budget.value == values[row, col]
            assert budget.local == pytest.approx(errors[row, col] / values[row, col], rel=0.01)
            rest = terms(budget).get("rest")
            assert rest is None or rest.contribution < 0.1 * budget.local
            assert all(t.contribution >= 0.0 for t in budget.terms)
            assert budget.total == pytest.approx(math.hypot(budget.local, budget.common))
    assert seen >= 12


def solved(z: np.ndarray, ln_c: float, z0: float, a: float) -> np.ndarray:
    """d(z) of a paraboloid with a constant pull, by bisection of δ + c δ^1.5 = z - z0 + a."""
    u, c = np.maximum(z - z0 + a, 0.0), math.exp(ln_c)
    low, high = np.zeros_like(u), u.copy()
    for _ in range(60):
        half = 0.5 * (low + high)
        short = half + c * half**1.5 < u
        low, high = np.where(short, half, low), np.where(short, high, half)
    return c * low**1.5 - a


def refitted(z, d, a: float, start: tuple[float, float], z0: float | None = None) -> float:
    """ln c of a least-squares fit; z0 held if given."""
    if z0 is not None:
        return float(optimize.least_squares(lambda p: solved(z, p[0], z0, a) - d, start[:1],
                                            x_scale=0.01, xtol=1e-12, ftol=1e-14).x[0])
    return float(optimize.least_squares(lambda p: solved(z, p[0], p[1], a) - d, start,
                                        x_scale=[0.01, 0.01], xtol=1e-12, ftol=1e-14).x[0])


def test_each_local_coefficient_is_what_an_independent_fit_does_when_that_is_moved(fmap, whole):
    """Baseline, pull-off and contact point moved by hand, and the curve fitted again by scipy."""
    found = terms(pixel_budget(whole, 3, 12, FEW))
    report = explain(fmap, Settings(), 3, 12, whole)
    branch, (low, high) = report.approach, report.window
    inside = (branch.z >= low) & (branch.z <= high)
    z, d = branch.z[inside], branch.d[inside]
    pull, z0 = found["pull_off"].value, found["contact_point"].value
    start = (math.log(float(np.max(d)) / 5.0**1.5), z0)
    now = refitted(z, d, pull, start)
    step = 0.002

    def slope(change) -> float:
        return (change(step) - change(-step)) / (2.0 * step)

    offset = slope(lambda e: refitted(z, d - e, pull, start))
    assert found["baseline_offset"].sensitivity == pytest.approx(offset, rel=0.02)
    place = float(found["baseline_slope"].note and found["baseline_offset"].note.split()[3])
    tilt = slope(lambda e: refitted(z, d - 0.01 * e * (z - place), pull, start)) / 0.01
    assert found["baseline_slope"].sensitivity == pytest.approx(tilt, rel=0.02)
    by_pull = slope(lambda e: refitted(z, d, pull + e, start))
    assert found["pull_off"].sensitivity == pytest.approx(by_pull, rel=0.02)
    assert found["pull_off_sampling"].sensitivity == found["pull_off"].sensitivity
    held = slope(lambda e: refitted(z, d, pull, (now, z0), z0 + e))
    assert found["contact_point"].sensitivity == pytest.approx(held, rel=0.02)


def test_noise_and_contact_point_are_the_textbooks_conditional_and_marginal_errors(fmap, whole):
    """s/√(J₀ᵀJ₀) with the contact point known, s √(JᵀJ)⁻¹₀₀ with it free (linear least squares),
    J by finite differences of a solver of its own."""
    found = terms(pixel_budget(whole, 3, 12, FEW))
    report = explain(fmap, Settings(), 3, 12, whole)
    (low, high), pull = report.window, found["pull_off"].value
    inside = (report.approach.z >= low) & (report.approach.z <= high)
    z, d = report.approach.z[inside], report.approach.d[inside]
    z0, noise, step = found["contact_point"].value, found["noise"].error, 1e-4
    ln_c = refitted(z, d, pull, (0.0, z0))
    by_c = (solved(z, ln_c + step, z0, pull) - solved(z, ln_c - step, z0, pull)) / (2 * step)
    by_z0 = (solved(z, ln_c, z0 + step, pull) - solved(z, ln_c, z0 - step, pull)) / (2 * step)
    jacobian = np.stack([by_c, by_z0], axis=1)
    covariance = noise**2 * np.linalg.inv(jacobian.T @ jacobian)
    both = math.hypot(found["noise"].contribution, found["contact_point"].contribution)
    assert found["noise"].contribution == pytest.approx(noise / np.linalg.norm(by_c), rel=0.01)
    assert both == pytest.approx(math.sqrt(covariance[0, 0]), rel=0.01)
    assert found["contact_point"].error == pytest.approx(math.sqrt(covariance[1, 1]), rel=0.01)


def test_a_contact_point_that_was_found_before_is_no_better_than_the_samples_allow(fmap):
    """Its two terms hold the map's own error of the contact point; the samples' share is at most
    step/√12 (an even law over one step; JCGM 100, 4.3.7)."""
    result = analyse(fmap, Settings().with_value("fit.contact", "threshold"))
    found = terms(pixel_budget(result, 3, 12, FEW))
    both = math.hypot(found["contact_point"].error, found["contact_sampling"].error)
    assert both == pytest.approx(result.errors("contact_point")[3, 12], rel=1e-6)
    step = RAMP.travel / (RAMP.samples - 1)
    assert 0.0 < found["contact_sampling"].error <= step / math.sqrt(12.0) * 1.001


def test_a_coarser_curve_knows_its_pull_off_less_well():
    """The tip lets go within a step: four times the step, four times the term, about."""
    sizes = []
    for samples in (200, 800):
        made = simulate_map(halves(4), (SOFT, MEDIUM), lever=replace(LEVER, noise=0.005),
                            ramp=replace(RAMP, samples=samples), seed=4)  # fmt: skip
        result = analyse(made.as_map())
        found = [terms(pixel_budget(result, r, 3, FEW, quantity="adhesion"))["pull_off_sampling"]
                 for r in range(4)]  # fmt: skip
        sizes.append(np.median([t.error for t in found]))
    assert sizes[0] / sizes[1] == pytest.approx(4.0, rel=0.3)


# ---- common terms: each coefficient against the whole analysis done again

PATHS = {"spring_constant": "calibration.spring_constant",
         "deflection_sensitivity": "calibration.deflection_sensitivity",
         "radius": "tip.radius", "half_angle": "tip.half_angle", "rounding": "tip.rounding",
         "poisson_ratio": "sample.poisson_ratio", "thickness": "layer.thickness",
         "tip_modulus": "tip.modulus"}  # fmt: skip
SETUPS = {
    "paraboloid": ({}, QUANTITIES),
    "JKR": ({"fit.adhesion": "jkr"}, ("modulus",)),
    "two points": ({"fit.adhesion": "two_point"}, ("modulus",)),
    "Maugis-Dugdale": ({"fit.adhesion": "maugis"}, ("modulus",)),
    "cone": ({"fit.law": "cone", "tip.half_angle": 30.0}, ("modulus",)),
    "pyramid": ({"fit.law": "pyramid", "tip.half_angle": 30.0}, ("reduced_modulus",)),
    "punch": ({"fit.law": "punch"}, ("modulus",)),
    "sphere": ({"fit.law": "sphere"}, ("modulus",)),
    "blunted cone": ({"fit.law": "blunted_cone", "tip.half_angle": 30.0, "tip.rounding": 10.0},
                     ("modulus",)),
    "layer": ({"layer.base": "bonded", "layer.thickness": 40.0}, ("modulus", "reduced_modulus")),
    "elastic tip": ({"tip.material": "elastic", "tip.modulus": 20.0}, ("modulus",)),
}  # fmt: skip


def value_under(fmap: ForceMap, settings: Settings, quantity: str, row: int, col: int) -> float:
    report = explain(fmap, settings, row, col)
    assert report is not None
    return report.values[quantity][0]


@pytest.mark.parametrize("setup", SETUPS)
def test_each_common_coefficient_is_what_the_whole_analysis_does(fmap, setup):
    changes, quantities = SETUPS[setup]
    settings = Settings().with_values(changes)
    result = analyse(fmap, settings)
    for quantity in quantities:
        common = [t for t in pixel_budget(result, 3, 12, FEW, quantity=quantity).terms
                  if t.kind == "common"]  # fmt: skip
        assert {"spring_constant", "deflection_sensitivity"} <= {t.name for t in common}
        for term in common:
            path, step = PATHS[term.name], 0.003
            up, down = (value_under(fmap, settings.with_value(path, term.value * math.exp(x)),
                                    quantity, 3, 12) for x in (step, -step))  # fmt: skip
            slope = math.log(up / down) / (2.0 * step)
            assert term.sensitivity == pytest.approx(slope, rel=0.01, abs=2e-4), term.name
            assert term.contribution == pytest.approx(
                abs(term.sensitivity) * term.error / term.value
            )


def test_closed_forms_stand_where_the_structure_gives_them(fmap, whole):
    found = terms(pixel_budget(whole, 3, 12, FEW))
    assert found["spring_constant"].sensitivity == 1.0
    assert found["radius"].sensitivity == -0.5
    assert found["poisson_ratio"].sensitivity == pytest.approx(-2 * 0.16 / 0.84, rel=1e-12)
    cone = analysed(fmap, fit__law="cone", tip__half_angle=35.0)
    per_radian = terms(pixel_budget(cone, 3, 12, FEW))["half_angle"].sensitivity
    assert per_radian / math.radians(35.0) == pytest.approx(-2.128356, rel=1e-6)


def test_adhesion_and_stiffness_have_their_own_coefficients(fmap, whole):
    """F = k s V: 1, or -1 with k ∝ s⁻². S = k m/(1-m): 1/(1-m), or that less 2."""
    thermal = analysed(fmap, uncertainty__spring_from="thermal")
    stiffness = whole.channel("stiffness")[3, 12]
    m = stiffness / (2.0 + stiffness)
    for quantity, slope in (("adhesion", 1.0), ("stiffness", 1.0 / (1.0 - m))):
        for result, less in ((whole, 0.0), (thermal, 2.0)):
            found = terms(pixel_budget(result, 3, 12, FEW, quantity=quantity))
            assert found["deflection_sensitivity"].sensitivity == pytest.approx(slope - less)
            assert "radius" not in found
            assert "poisson_ratio" not in found


# ---- where errors come from


def test_errors_are_set_recorded_or_assumed_and_say_so(fmap, whole):
    found = terms(pixel_budget(whole, 3, 12, FEW))
    for name, relative in (("spring_constant", 0.10), ("deflection_sensitivity", 0.04),
                           ("radius", 0.20)):  # fmt: skip
        assert found[name].origin == "assumed"
        assert found[name].error == pytest.approx(relative * found[name].value)
    recorded = made_map(spring_constant=(2.0, 0.12), deflection_sensitivity=(60.0, 0.9),
                        radius=(20.0, 5.0))  # fmt: skip
    found = terms(pixel_budget(analyse(recorded), 3, 12, FEW))
    for name, error in (("spring_constant", 0.12), ("deflection_sensitivity", 0.9),
                        ("radius", 5.0)):  # fmt: skip
        assert found[name].origin == "recorded"
        assert found[name].error == pytest.approx(error)
    found = terms(pixel_budget(analysed(recorded, uncertainty__spring_constant=7.0,
                                        uncertainty__sensitivity=2.0, uncertainty__tip=11.0,
                                        uncertainty__poisson_ratio=0.02), 3, 12, FEW))  # fmt: skip
    for name, error in (("spring_constant", 0.14), ("deflection_sensitivity", 1.2),
                        ("radius", 2.2), ("poisson_ratio", 0.02)):  # fmt: skip
        assert found[name].origin == "set here"
        assert found[name].error == pytest.approx(error)


@pytest.mark.parametrize("unit", ["nm", "nN"])
def test_a_map_of_deflections_or_forces_has_the_same_budget_as_one_of_volts(whole, unit):
    """What made nm or nN of the volts is the same sensitivity with the same error."""
    made = simulate_map(halves(), (SOFT, MEDIUM), lever=LEVER, ramp=RAMP, seed=4)
    arrays = made.arrays()
    del arrays["deflection_sensitivity"]
    if unit == "nm":
        arrays |= {"deflection": made.deflection, "deflection_unit": "nm"}
    else:
        del arrays["deflection"], arrays["deflection_unit"]
        arrays["force"] = made.deflection * 2.0
    same = terms(pixel_budget(analyse(ForceMap.from_arrays(**arrays)), 3, 12, FEW))
    for name, term in terms(pixel_budget(whole, 3, 12, FEW)).items():
        assert same[name].contribution == pytest.approx(term.contribution, rel=0.02), name


# ---- a thermal spring constant


def test_a_thermal_spring_constant_is_tied_to_the_sensitivity(fmap, whole):
    """10 % stated, of which 8 % are the sensitivity's (4 %, twice) and 0.3 % the temperature's;
    the same total as JCGM 100 gives for the stated constants with their correlations."""
    thermal = pixel_budget(analysed(fmap, uncertainty__spring_from="thermal"), 3, 12)
    found, free = terms(thermal), terms(pixel_budget(whole, 3, 12, FEW))
    alone = free["deflection_sensitivity"].sensitivity
    assert found["deflection_sensitivity"].sensitivity == pytest.approx(alone - 2.0)
    own = math.sqrt(0.1**2 - 0.08**2 - 0.003**2)
    assert found["spring_constant"].contribution == pytest.approx(own)
    assert found["temperature"].contribution == pytest.approx(0.003)
    links = {(a, b): r for a, b, r in thermal.correlations}
    assert links["spring_constant", "deflection_sensitivity"] == pytest.approx(-0.8)
    rest = [t.contribution for t in thermal.terms
            if t.name not in ("spring_constant", "deflection_sensitivity", "temperature")]
    stated = propagate(
        [1.0, alone, 0.0, *[1.0] * len(rest)], [0.1, 0.04, 0.003, *rest],
        {(0, 1): links["spring_constant", "deflection_sensitivity"],
         (0, 2): links["spring_constant", "temperature"]},
    )[1]  # fmt: skip
    assert thermal.total == pytest.approx(stated, rel=1e-9)
    assert thermal.total < pixel_budget(whole, 3, 12, FEW).total


def test_a_recorded_thermal_spring_constant_that_is_taken_as_independent_is_told():
    """Told, never switched silently."""
    recorded = made_map(spring_constant=Constant(2.0, "N/m", 0.2, "Thermal noise"))
    found = {}
    for way in ("independent", "thermal"):
        budget = pixel_budget(analysed(recorded, uncertainty__spring_from=way), 3, 12, FEW)
        found[way] = terms(budget)["spring_constant"]
    assert "Thermal noise" in found["independent"].note
    assert found["independent"].contribution == pytest.approx(0.1)
    assert "taken as independent" not in found["thermal"].note
    assert found["thermal"].contribution < 0.1


def test_a_spring_constant_better_than_its_sensitivity_allows_is_read_as_its_own_part(fmap):
    result = analysed(fmap, uncertainty__spring_from="thermal", uncertainty__spring_constant=5.0)
    budget = pixel_budget(result, 3, 12, FEW)
    term = terms(budget)["spring_constant"]
    assert term.contribution == pytest.approx(0.05)
    assert "less than the sensitivity alone" in term.note
    total = math.sqrt(0.05**2 + 0.08**2 + 0.003**2)
    assert f"{100 * total:.2g} %" in term.note
    assert budget.correlations[0][2] == pytest.approx(-0.08 / total)


# ---- both propagations


def test_propagation_and_trials_agree_where_errors_are_small(fmap):
    small = analysed(fmap, uncertainty__spring_constant=1.0, uncertainty__sensitivity=0.3,
                     uncertainty__tip=1.0, uncertainty__poisson_ratio=0.01)  # fmt: skip
    for quantity in QUANTITIES:
        budget = pixel_budget(small, 3, 12, quantity=quantity)
        carlo = budget.monte_carlo
        near = 0.02 if quantity == "adhesion" else 0.01  # its noise adds, here 7 %
        assert (carlo.low, carlo.high) == pytest.approx(budget.interval, rel=near)
        assert carlo.median == pytest.approx(budget.value, rel=0.003)
        assert carlo.deviation == pytest.approx(budget.total * budget.value, rel=0.03)


def test_the_trials_bend_with_the_sensitivity_as_the_analysis_does(fmap):
    """With nothing else unknown, the ends are the analyses with s moved by 1.96 u either way."""
    alone = analysed(fmap, uncertainty__spring_constant=0.0, uncertainty__tip=0.0,
                     uncertainty__poisson_ratio=0.0, uncertainty__sensitivity=8.0)  # fmt: skip
    budget = pixel_budget(alone, 3, 12, trials=200_000)
    ends = [value_under(fmap, Settings().with_value("calibration.deflection_sensitivity",
                                                    60.0 * math.exp(1.96 * side * 0.08)),
                        "modulus", 3, 12) for side in (-1, 1)]  # fmt: skip
    assert budget.local < 0.1 * budget.common
    assert budget.monte_carlo.low == pytest.approx(ends[0], rel=0.02)
    assert budget.monte_carlo.high == pytest.approx(ends[1], rel=0.03)
    assert abs(budget.interval[1] / ends[1] - 1.0) > 0.05  # a straight line misses the bend


def test_the_same_seed_gives_the_same_budget(whole):
    first, again, other = (pixel_budget(whole, 3, 12, FEW, seed) for seed in (1, 1, 2))
    assert first.monte_carlo == again.monte_carlo != other.monte_carlo


def test_intervals_hold_the_truth_when_constants_are_as_wrong_as_stated(fmap):
    """100 analyses, each under constants drawn at random about the true ones: 95 % intervals hold
    the true modulus in at least 88.5 % (three standard deviations) and not in all."""
    rng, held, carlo = np.random.default_rng(9), 0, 0
    truth = MEDIUM.modulus
    made = simulate_map(np.zeros((10, 10), dtype=np.int64), (replace(MEDIUM, modulus_spread=0.0),),
                        lever=LEVER, ramp=RAMP, seed=5).as_map()  # fmt: skip
    for i in range(100):
        k, s, radius = (x * math.exp(u * rng.standard_normal())
                        for x, u in ((2.0, 0.1), (60.0, 0.04), (20.0, 0.2)))  # fmt: skip
        ratio = min(MEDIUM.poisson_ratio + 0.05 * rng.standard_normal(), 0.5)
        settings = Settings().with_values({
            "calibration.spring_constant": k, "calibration.deflection_sensitivity": s,
            "tip.radius": radius, "sample.poisson_ratio": ratio})  # fmt: skip
        row, col = divmod(i, 10)
        curve = made.curve_at(row, col)
        budget = pixel_budget(_one_of(made, settings, curve), 0, 0, FEW)
        held += budget.interval[0] < truth < budget.interval[1]
        carlo += budget.monte_carlo.low < truth < budget.monte_carlo.high
    assert 88 < held < 100
    assert 88 < carlo < 100


def _one_of(fmap: ForceMap, settings: Settings, curve: int) -> Analysis:
    """The analysis of one curve as a map of its own."""
    samples = fmap.samples(curve)
    z = np.stack([samples.approach_z, samples.retract_z])[None]
    signal = np.stack([samples.approach_signal, samples.retract_signal])[None]
    return analyse(ForceMap.from_arrays(z, signal, deflection_unit="V", shape=(1, 1)), settings)


# ---- components and ratios


def test_averaging_reduces_the_local_part_alone(whole):
    soft = halves() == 0
    group = group_budget(whole, soft, "soft")
    values = whole.channel("modulus")[soft & whole.trusted]
    found = terms(group)
    assert group.value == pytest.approx(np.median(values))
    assert group.name == "soft"
    spread = 1.482602 * np.median(np.abs(np.log(values) - np.median(np.log(values))))
    assert found["spread"].error == pytest.approx(spread, rel=1e-6)
    count = values.size
    assert 1.2533 * spread / math.sqrt(count) <= group.local <= 2.0 * spread / math.sqrt(count)
    slopes = [terms(pixel_budget(whole, row, col, FEW))["deflection_sensitivity"].sensitivity
              for row in range(0, 16, 2) for col in range(0, 8, 2)]  # fmt: skip
    assert found["deflection_sensitivity"].sensitivity == pytest.approx(np.median(slopes), rel=0.05)
    assert found["spring_constant"].contribution == pytest.approx(0.1)
    mean = group_budget(whole, soft, "soft", statistic="mean")
    assert mean.value == pytest.approx(values.mean())
    assert mean.local < group.local
    for budget in (group, mean):
        assert budget.monte_carlo.median == pytest.approx(budget.value, rel=0.03)
        assert budget.total == pytest.approx(math.hypot(budget.local, budget.common))


def test_the_local_part_of_a_component_is_what_its_median_scatters_by():
    """30 small maps of one component, 8 % spread: the scatter of ln(median) has a standard error of
    13 %."""
    material = replace(MEDIUM, modulus_spread=0.08)
    medians, sizes = [], []
    for seed in range(30):
        made = simulate_map(np.zeros((6, 6), dtype=np.int64), (material,), lever=LEVER,
                            ramp=replace(RAMP, samples=200), seed=seed)  # fmt: skip
        result = analyse(made.as_map())
        budget = group_budget(result, np.ones((6, 6), bool), trials=FEW)
        medians.append(math.log(budget.value))
        sizes.append(budget.local)
    assert np.std(medians) == pytest.approx(np.sqrt(np.mean(np.square(sizes))), rel=0.39)


def test_in_a_ratio_all_but_the_sensitivity_cancels(whole):
    soft, medium = halves() == 0, halves() == 1
    ratio = ratio_budget(whole, medium, soft, names=("medium", "soft"))
    a, b = group_budget(whole, medium), group_budget(whole, soft)
    found = {t.name: t for t in ratio.terms}
    assert ratio.value == pytest.approx(a.value / b.value)
    for name in ("spring_constant", "radius", "poisson_ratio"):
        assert found[name].cancels
        assert found[name].left == 0.0
        assert found[name].in_a == found[name].in_b > 0.04
    one, two = (terms(group)["deflection_sensitivity"].sensitivity for group in (a, b))
    left = one - two
    assert not found["deflection_sensitivity"].cancels
    assert found["deflection_sensitivity"].left == pytest.approx(0.04 * left)
    assert ratio.total == pytest.approx(math.sqrt((0.04 * left) ** 2 + a.local**2 + b.local**2))
    assert ratio.total < min(a.total, b.total)
    assert ratio.monte_carlo.median == pytest.approx(ratio.value, rel=0.02)
    assert ratio.rows()[0][0] == "Deflection sensitivity"


def test_propagation_and_trials_of_a_ratio_agree_where_errors_are_small(fmap):
    """The sensitivity to 0.3 %; the others as large as they are, since they cancel."""
    result = analysed(fmap, uncertainty__sensitivity=0.3)
    ratio = ratio_budget(result, halves() == 1, halves() == 0)
    carlo = ratio.monte_carlo
    assert (carlo.low, carlo.high) == pytest.approx(ratio.interval, rel=0.005)
    assert carlo.deviation == pytest.approx(ratio.total * ratio.value, rel=0.02)


def test_an_elastic_tip_leaves_a_little_of_everything_in_a_ratio(fmap):
    result = analysed(fmap, tip__material="elastic", tip__modulus=20.0)
    ratio = ratio_budget(result, halves() == 1, halves() == 0, trials=FEW)
    found = {t.name: t for t in ratio.terms}
    for name in ("spring_constant", "radius", "tip_modulus"):
        assert not found[name].cancels
        assert 0.0 < found[name].left < 0.1
    assert found["poisson_ratio"].cancels


def test_a_ratio_of_a_component_with_itself_is_refused_and_one_pixel_is_no_component(whole):
    soft = halves() == 0
    with pytest.raises(ValueError, match="both components"):
        ratio_budget(whole, soft, soft)
    one = np.zeros((16, 16), dtype=bool)
    one[0, 0] = True
    with pytest.raises(ValueError, match="fewer than two"):
        group_budget(whole, one)
    with pytest.raises(ValueError, match="shape"):
        group_budget(whole, one[:4])
    with pytest.raises(ValueError, match="statistic"):
        group_budget(whole, soft, statistic="mode")


# ---- what is not there, and the table


def test_no_number_no_budget(fmap, whole):
    assert pixel_budget(whole, -1, 0) is None
    assert pixel_budget(whole, 0, 999) is None
    unknown = analyse(made_map(radius=None))
    assert pixel_budget(unknown, 3, 12) is None
    assert pixel_budget(unknown, 3, 12, FEW, quantity="adhesion") is not None
    assert pixel_budget(analysed(fmap, fit__law="free_exponent"), 3, 12) is None
    with pytest.raises(ValueError, match="hardness"):
        pixel_budget(whole, 3, 12, quantity="hardness")


def test_every_pixel_of_a_map_with_spoiled_curves_has_a_budget_or_none():
    result = analyse(ski_boot(size=16, seed=5).as_map())
    values = result.channel("modulus")
    for row in range(16):
        for col in range(0, 16, 3):
            budget = pixel_budget(result, row, col, FEW)
            assert (budget is None) == (not values[row, col] > 0.0)


def test_the_table_is_sorted_and_the_file_reads_back(whole, tmp_path):
    budget = pixel_budget(whole, 3, 12, FEW)
    rows = budget.rows()
    assert len(rows) == len(budget.terms)
    order = sorted(budget.terms, key=lambda t: -t.contribution)
    assert [row[0] for row in rows] == [t.label for t in order]
    spring = next(row for row in rows if row[0] == "Spring constant")
    assert spring[1:] == ("2.000 N/m", "0.2 N/m", "+1", "10 %")
    text = budget.to_csv(tmp_path / "budget.csv")
    assert (tmp_path / "budget.csv").read_text(encoding="utf-8") == text
    lines = list(csv.DictReader(io.StringIO(text)))
    assert all(None not in line and None not in line.values() for line in lines)  # not ragged
    assert any(CAUTION in line["note"] for line in lines)
    by_name = {line["name"]: line for line in lines}
    size = "contribution (relative)"
    assert float(by_name["Tip radius"][size]) == terms(budget)["radius"].contribution
    assert float(by_name["total"][size]) == budget.total
    assert float(by_name["modulus"]["value"]) == budget.value
    assert by_name["Noise"]["sensitivity per"] == "nm"
    assert by_name["Tip radius"]["sensitivity per"] == ""
    ratio = ratio_budget(whole, halves() == 1, halves() == 0, trials=FEW)
    lines = {line[0]: line for line in csv.reader(io.StringIO(ratio.to_csv()))}
    assert lines["Spring constant"][4:6] == ["0.0", "yes"]


def test_a_budget_of_a_pixel_costs_no_more_than_thirty_analyses_of_its_curve(whole, monkeypatch):
    from palpate.core.uncertainty import response

    seen = []
    run = response.run_rows

    def counted(*given):
        seen.append(given[2].curves.size)
        return run(*given)

    monkeypatch.setattr(response, "run_rows", counted)
    pixel_budget(whole, 3, 12, FEW)
    assert 3 <= len(seen) <= 30
    assert set(seen) == {1}
