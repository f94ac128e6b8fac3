"""A layer on a rigid base: exact ratios, tables for the kernels, published series beside them.

"Direct solution" marks numbers of the integral equation solved once, apart from this program, to
the digits given. The independent solution further down shares nothing with the program: it solves
the elastic layer itself.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from palpate.core.models import POWER, Table, law_of
from palpate.core.models.layer_shapes import (
    LAYER_SHAPES,
    layer_reason,
    layer_shape,
    layer_size,
)
from palpate.core.models.layer_solver import (
    contact_nodes,
    kernel_deficit,
    moments,
    solve_contact,
)
from palpate.core.models.layers import (
    LARGEST_CHI,
    WIDE_CONTACT,
    chi_of_bias,
    combine,
    gain,
    halfspace_contact,
    layer_bias,
    layer_contact,
    layer_ratio,
    layer_rows,
    layer_table,
    layer_unit,
    punch_ratio,
)
from palpate.core.settings import SHAPES

# ---- exact constants and ratios (direct solution) ------------------------------------------

MOMENTS = {  # bonded: ν: α0, β0, direct solution
    0.0: (-1.2110617, 0.4696954),
    0.3: (-1.3768542, 0.6275517),
    0.35: (-1.4383049, 0.6800477),
    0.4: (-1.5187080, 0.7475515),
    0.45: (-1.6254706, 0.8365190),
    0.49: (-1.7374540, 0.9301779),
    0.5: (-1.7702168, 0.9577693),
}


@pytest.mark.parametrize("nu", MOMENTS)
def test_moments_of_a_bonded_layer(nu):
    assert moments(nu, "bonded") == pytest.approx(MOMENTS[nu], abs=1e-7)


@pytest.mark.parametrize("nu", [0.0, 0.3, 0.5])
def test_moments_of_a_sliding_layer_do_not_depend_on_poissons_ratio(nu):
    assert moments(nu, "sliding") == pytest.approx((-1.1675768, 0.3953814), abs=1e-7)


CHI = (0.05, 0.1, 0.2, 0.3, 0.5, 1.0, 2.0)
PARABOLOID = {  # (ν, base): F over F of a half-space at CHI, direct solution
    (0.3, "bonded"): (1.046139, 1.097189, 1.215638, 1.358018, 1.716976, 2.919702, 5.712403),
    (0.35, "bonded"): (1.048313, 1.102030, 1.227671, 1.380373, 1.771664, 3.117078, 6.319767),
    (0.4, "bonded"): (1.051174, 1.108442, 1.243859, 1.411012, 1.849883, 3.429568, 7.415328),
    (0.45, "bonded"): (1.055001, 1.117094, 1.266158, 1.454290, 1.967102, 3.974077, 9.796708),
    (0.49, "bonded"): (1.059050, 1.126342, 1.290587, 1.503178, 2.109875, 4.797945, 15.22854),
    (0.5, "bonded"): (1.060242, 1.129082, 1.297946, 1.518216, 2.156215, 5.115374, 18.36869),
    (0.5, "sliding"): (1.038819, 1.081114, 1.177094, 1.289589, 1.566845, 2.504503, 4.753185),
}


@pytest.mark.parametrize(("nu", "base"), PARABOLOID)
def test_ratio_of_the_paraboloid(nu, base):
    found = layer_ratio(np.array(CHI), "paraboloid", nu, base)
    assert found == pytest.approx(np.array(PARABOLOID[nu, base]), rel=5e-7)


def test_ratio_of_a_sliding_layer_does_not_depend_on_poissons_ratio():
    one, other = (layer_ratio(np.array(CHI), "paraboloid", nu, "sliding") for nu in (0.1, 0.5))
    assert one == pytest.approx(other, rel=1e-12)


def test_ratio_of_the_cone():
    # bonded, ν = 0.5, χ = δ tan α/h, direct solution
    chi = np.array([0.05, 0.1, 0.2, 0.3, 0.5, 1.0, 1.5])
    expected = [1.037544, 1.078698, 1.173643, 1.288939, 1.600211, 3.044374, 5.582131]
    assert layer_ratio(chi, "cone", 0.5, "bonded") == pytest.approx(np.array(expected), rel=5e-7)


def test_ratio_of_the_punch():
    # bonded, ν = 0.5, χ = a/h, direct solution
    expected = [1.125987, 1.466222, 1.932934, 3.618736]
    found = punch_ratio(np.array([0.1, 0.3, 0.5, 1.0]), 0.5, "bonded")
    assert found == pytest.approx(np.array(expected), rel=5e-7)


def test_thin_limit_of_a_compressible_layer():
    # F → π R δ² M/h, M = E (1-ν)/((1+ν)(1-2ν)): columns side by side. Ratios to it for ν = 0.3,
    # direct solution; χ is given with three digits, so the ratios hold to 1e-5
    nu = 0.3
    chi = np.array([4.81, 7.16, 14.2])
    modulus = (1.0 - nu) / ((1.0 + nu) * (1.0 - 2.0 * nu)) * (1.0 - nu**2)  # M/E*
    limit = math.pi * modulus * chi / (4.0 / 3.0)
    found = layer_ratio(chi, "paraboloid", nu, "bonded") / limit
    assert found == pytest.approx(np.array([0.995817, 0.997824, 0.999373]), abs=1e-5)


def test_thin_limit_of_an_incompressible_layer():
    # lubrication (own derivation): the material flows sideways, p = (3μ/32Rh³)(a²-r²)²,
    # a = 2√(Rδ), F = (2π/3) E R² δ³/h³, so C → (π/2)(1-ν²) χ³; approached as 1/χ
    def over(chi):
        exact = layer_ratio(chi, "paraboloid", 0.5, "bonded")
        return float(exact / (0.5 * math.pi * 0.75 * chi**3))

    near, far, farther = over(5.0), over(10.0), over(20.0)
    assert 1.0 < farther < far < near
    linear = 2.0 * far - near, 2.0 * farther - far  # without the term in 1/χ
    assert (4.0 * linear[1] - linear[0]) / 3.0 == pytest.approx(1.0, abs=0.005)
    contact = float(layer_contact(20.0, "paraboloid", 0.5, "bonded"))
    assert contact == pytest.approx(40.0, rel=0.05)


@pytest.mark.parametrize("shape", ["paraboloid", "cone", "punch"])
@pytest.mark.parametrize("base", ["bonded", "sliding"])
def test_no_layer_is_felt_at_zero_indentation(shape, base):
    assert layer_ratio(0.0, shape, 0.4, base) == pytest.approx(1.0, abs=1e-10)
    assert gain(0.0, shape, 0.4, base) == pytest.approx(0.0, abs=1e-12)
    if shape != "punch":
        small = float(layer_contact(1e-4, shape, 0.4, base))
        assert small == pytest.approx(float(halfspace_contact(1e-4, shape)), rel=1e-3)


def test_contact_on_the_layer_is_wider_than_on_a_half_space():
    for shape in ("paraboloid", "cone"):
        chi = np.linspace(0.05, 5.0, 20)
        wide = layer_contact(chi, shape, 0.5, "bonded")
        assert (wide > halfspace_contact(chi, shape)).all()
        assert (np.diff(wide) > 0).all()


def test_impossible_or_unknown_layers_are_told_apart():
    assert np.isnan(layer_ratio(np.array([-0.1, np.nan, LARGEST_CHI * 1.01]), "cone", 0.3,
                                "bonded")).all()  # fmt: skip
    assert np.isfinite(layer_ratio(LARGEST_CHI, "cone", 0.3, "bonded"))
    for wrong in ((0.3, "glued"), (0.51, "bonded"), (-0.1, "bonded"), (np.nan, "bonded")):
        with pytest.raises(ValueError, match=r"a layer is|Poisson"):
            layer_ratio(0.1, "paraboloid", *wrong)
    with pytest.raises(ValueError, match="sphere"):
        layer_ratio(0.1, "sphere", 0.3, "bonded")


# ---- an independent solution -----------------------------------------------------------------


def kernel_of_the_elastic_layer(k: float, nu: float, base: str) -> float:
    """E/(2(1-ν²)) k u_z at the top for a unit pressure J0(kr), from Love's stress function.

    h = 1, top z = 0, base z = 1. Φ J0(kr) with Φ = (A + Bz) e^(k(z-1)) + (C + Dz) e^(-kz);
    2G u_r = k Φ' J1, 2G u_z = ((1-2ν)Φ'' - 2(1-ν)k²Φ) J0, σ_z = ((1-ν)Φ''' - (2-ν)k²Φ') J0,
    τ = k (νΦ'' + (1-ν)k²Φ) J1 (Timoshenko & Goodier, from memory).
    """

    def rows(z):
        up, down = math.exp(k * (z - 1.0)), math.exp(-k * z)
        d = np.empty((4, 4))  # derivatives 0..3 of the four functions
        for n in range(4):
            d[n] = (k**n * up, (k**n * z + n * k ** (n - 1)) * up, (-k) ** n * down,
                    ((-k) ** n * z + n * (-k) ** (n - 1)) * down)  # fmt: skip
        return (k * d[1], (1 - 2 * nu) * d[2] - 2 * (1 - nu) * k * k * d[0],
                (1 - nu) * d[3] - (2 - nu) * k * k * d[1],
                k * (nu * d[2] + (1 - nu) * k * k * d[0]))  # fmt: skip

    _, lift, pressure, shear = rows(0.0)
    side, sink, _, drag = rows(1.0)
    matrix = np.stack([pressure, shear, sink, side if base == "bonded" else drag])
    scale = np.abs(matrix).max(axis=1, keepdims=True)
    weights = np.linalg.solve(matrix / scale, np.array([-1.0, 0.0, 0.0, 0.0]) / scale[:, 0])
    return k * float(lift @ weights) / (2.0 * (1.0 - nu))


@pytest.mark.parametrize(("nu", "base"), [(0.0, "bonded"), (0.35, "bonded"), (0.5, "bonded"),
                                          (0.2, "sliding"), (0.5, "sliding")])  # fmt: skip
def test_kernel_is_that_of_the_elastic_layer(nu, base):
    for t in (0.2, 0.7, 1.5, 3.0, 6.0):
        found = 1.0 + float(kernel_deficit(np.array(t), nu, base))
        assert found == pytest.approx(kernel_of_the_elastic_layer(t, nu, base), abs=1e-10)


def independent_ratio(shape: str, contact: float, nu: float, base: str) -> tuple[float, float]:
    """χ and F/F_halfspace of a contact of radius `contact` = a/h, in another way.

    The pressure is a sum of (1-r²)^(j-1/2) (and arcosh(1/r) for the cone), a = 1; displacements by
    Hankel transform (Sonine's and Weber-Schafheitlin's integrals, DLMF 10.22), matched to the tip
    at points by least squares. E* = 1.
    """
    from scipy.special import gamma, hyp2f1, j0, jv

    r = np.sqrt((np.arange(24) + 0.5) / 24.0)
    x, w = np.polynomial.legendre.leggauss(12)
    ends = np.linspace(0.0, 22.0 / (1.0 / contact), 41)
    k = (ends[:-1, None] + 0.5 * ends[1] * (1.0 + x)).ravel()
    w = np.tile(0.5 * ends[1] * w, 40)
    lack = np.array([kernel_of_the_elastic_layer(q / contact, nu, base) for q in k]) - 1.0
    bessel = j0(np.outer(r, k))
    columns, forces = [], []
    if shape == "cone":
        columns.append(
            2.0 * (0.5 * math.pi - r) + 2.0 * bessel @ (w * lack * (1 - np.cos(k)) / k**2)
        )
        forces.append(math.pi)
    for j in range(1, 9):
        half = hyp2f1(0.5, -j, 1.0, r * r) * math.sqrt(math.pi) * gamma(j + 0.5) / gamma(j + 1.0)
        hankel = 2 ** (j - 0.5) * gamma(j + 0.5) * jv(j + 0.5, k) / k ** (j + 0.5)
        columns.append(half + 2.0 * bessel @ (w * lack * hankel))
        forces.append(math.pi / (j + 0.5))
    gap = r if shape == "cone" else 0.5 * r * r  # tan α = 1, R = 1 in units of a
    system = np.column_stack([*columns, -np.ones(r.size)])
    found = np.linalg.lstsq(system, -gap, rcond=None)[0]
    depth, force = float(found[-1]), float(np.dot(found[:-1], forces))
    if shape == "cone":
        return depth * contact, force / (2.0 / math.pi * depth**2)
    return math.sqrt(depth) * contact, force / (4.0 / 3.0 * depth**1.5)


@pytest.mark.parametrize("shape", ["paraboloid", "cone"])
@pytest.mark.parametrize(("nu", "base"), [(0.35, "bonded"), (0.5, "bonded"), (0.3, "sliding")])
@pytest.mark.parametrize("contact", [0.3, 1.2])
def test_ratio_agrees_with_an_independent_solution(shape, nu, base, contact):
    chi, ratio = independent_ratio(shape, contact, nu, base)
    assert layer_ratio(chi, shape, nu, base) == pytest.approx(ratio, rel=1e-6)
    assert layer_contact(chi, shape, nu, base) == pytest.approx(contact, rel=1e-5)


# ---- the tables of the kernels ---------------------------------------------------------------


def read(rows, step, s):
    """Cubic Hermite interpolation as the kernels do it, written with scipy."""
    from scipy.interpolate import CubicHermiteSpline

    nodes = step * np.arange(len(rows))
    return CubicHermiteSpline(nodes, rows[:, 0], rows[:, 1])(s)


@pytest.mark.parametrize(("nu", "base"), [(0.0, "bonded"), (0.45, "bonded"), (0.5, "bonded"),
                                          (0.3, "sliding")])  # fmt: skip
@pytest.mark.parametrize("largest", [0.7, 5.0, LARGEST_CHI])
@pytest.mark.parametrize("shape", ["paraboloid", "cone"])
def test_table_holds_the_ratio_between_its_nodes(shape, nu, base, largest):
    rows, step = layer_rows(shape, nu, base, largest)
    s = np.linspace(0.0, (len(rows) - 1) * step, 999)
    chi = s if shape == "paraboloid" else s * s
    assert chi[-1] >= largest * 0.99
    exact = np.log(layer_ratio(np.minimum(chi, LARGEST_CHI), shape, nu, base))
    assert np.abs(read(rows, step, s) - exact).max() < 1e-7


def test_table_is_that_of_the_contact_solved_at_each_depth():
    # the same integral equation without the interpolation over the contact radius
    for shape, power, factor in (("paraboloid", 1.5, 4 / 3), ("cone", 2.0, 2 / math.pi)):
        rows, step = layer_rows(shape, 0.5, "bonded", LARGEST_CHI)
        for contact in (0.07, 0.9, 4.3, 17.0):
            one = solve_contact(contact, 0.5, "bonded", shape)
            s = contact * math.sqrt(one.depth) if shape == "paraboloid" else math.sqrt(
                contact * one.depth)  # fmt: skip
            ratio = one.force / (factor * one.depth**power)
            assert float(read(rows, step, s)) == pytest.approx(math.log(ratio), abs=1e-7)


def test_table_of_one_layer_gives_its_force():
    # bonded, ν = 0.35, χ = 0.3: 1.380373, direct solution; R = 50 nm, h = 100 nm → δ = 18 nm
    table = layer_table("paraboloid", 0.35, "bonded", 60.0, 100.0, 50.0)
    assert table.deepest >= 60.0
    found = float(np.exp(read(table.rows, table.step, math.sqrt(18.0 / table.unit))))
    assert found == pytest.approx(1.380373, rel=1e-6)
    # cone, bonded, ν = 0.5, χ = 0.3: 1.288939; α = 30°, h = 100 nm
    table = layer_table("cone", 0.5, "bonded", 60.0, 100.0, 30.0)
    depth = 0.3 * 100.0 / math.tan(math.radians(30.0))
    found = float(np.exp(read(table.rows, table.step, math.sqrt(depth / table.unit))))
    assert found == pytest.approx(1.288939, rel=1e-6)


def test_rows_serve_every_thickness_of_a_map():
    rows, step = layer_rows("paraboloid", 0.4, "bonded", 2.0)
    h = np.array([40.0, 90.0, np.nan, 0.0, -3.0])
    unit = layer_unit("paraboloid", h, 30.0)
    s = np.sqrt(10.0 / unit)
    expected = layer_ratio(math.sqrt(300.0) / h[:2], "paraboloid", 0.4, "bonded")
    assert np.exp(read(rows, step, s[:2])) == pytest.approx(expected, rel=1e-7)
    assert np.isnan(unit[2:]).all()
    assert np.isnan([layer_unit("cone", 50.0, size) for size in (0.0, 90.0, -5.0)]).all()
    assert not rows.flags.writeable


def test_table_ends_at_the_largest_chi_and_says_so():
    table = layer_table("paraboloid", 0.3, "bonded", 1e6, 10.0, 100.0)
    assert table.deepest == pytest.approx(LARGEST_CHI**2 * 10.0**2 / 100.0)
    with pytest.raises(ValueError, match="impossible"):
        layer_table("paraboloid", 0.3, "bonded", 10.0, 0.0, 100.0)
    with pytest.raises(ValueError, match="punch"):
        layer_rows("punch", 0.3, "bonded", 1.0)


def test_shape_and_reason_stand_for_every_law():
    assert set(SHAPES) <= set(LAYER_SHAPES)
    assert [layer_shape(name) for name in ("paraboloid", "cone", "punch")] == [
        "paraboloid", "cone", "punch"]  # fmt: skip
    assert [layer_shape(name) for name in ("free_exponent", "no such law")] == [None, None]
    assert all(len(layer_reason(name)) > 10 for name in (*SHAPES, "no such law"))


@pytest.mark.parametrize("law", ["pyramid", "pyramid_solved"])
def test_pyramid_takes_the_cone_of_equal_force(law):
    alpha = layer_size(law, 35.0)
    assert law_of("cone").factor(alpha) == pytest.approx(law_of(law).factor(35.0), rel=1e-12)
    assert layer_size("cone", 35.0) == 35.0


@pytest.mark.parametrize(("share", "limit"), [(0.1, 0.002), (0.2, 0.009), (0.3, 0.022)])
def test_sphere_with_the_paraboloids_layer_is_as_near_as_told(share, limit):
    # sphere on a half-space: Sneddon 1965; on the layer: g(x) = δ - (x/2) ln((R+x)/(R-x)) solved
    from scipy.optimize import brentq

    def depth_of(b, radius):
        return 0.5 * b * math.log((radius + b) / (radius - b))

    for nu, base in ((0.5, "bonded"), (0.3, "sliding")):
        for radius in (0.3, 3.0, 10.0):
            a = share * radius
            x = contact_nodes(a) * a
            one = solve_contact(a, nu, base, 0.5 * x * np.log((radius + x) / (radius - x)))
            b = brentq(lambda b, d=one.depth, r=radius: depth_of(b, r) - d, 0.0, radius * 0.999999)
            half = 0.5 * (b * b + radius**2) * math.log((radius + b) / (radius - b)) - b * radius
            ratio = float(layer_ratio(math.sqrt(one.depth * radius), "paraboloid", nu, base))
            assert 0.0 < half * ratio / (one.force * a) - 1.0 < limit


def test_layer_joins_the_table_of_a_law_that_has_its_own():
    # an invented law table, ln q = sin(s)/2 with δ in units of 3 nm, joined to a layer's
    step, unit = 0.02, 3.0
    s = step * np.arange(300)
    own = Table(np.stack([0.5 * np.sin(s), 0.5 * np.cos(s)], axis=1), step, unit)
    layer = layer_table("paraboloid", 0.4, "bonded", 80.0, 60.0, 40.0)
    both = combine(own, layer)
    assert both.deepest <= min(own.deepest, layer.deepest)
    assert both.deepest == pytest.approx(min(own.deepest, layer.deepest), rel=0.02)
    depth = np.linspace(0.0, both.deepest, 777)
    ratio = layer_ratio(np.sqrt(depth * 40.0) / 60.0, "paraboloid", 0.4, "bonded")
    found = read(both.rows, both.step, np.sqrt(depth / both.unit))
    assert found == pytest.approx(0.5 * np.sin(np.sqrt(depth / unit)) + np.log(ratio), abs=1e-7)
    assert combine(POWER, layer) is layer


# ---- sensitivity and warning -----------------------------------------------------------------


def test_gain_of_the_thickness():
    # d ln C/d ln χ of the paraboloid, bonded, ν = 0.5: direct solution
    chi = np.array([0.05, 0.1, 0.3, 0.5, 1.0])
    expected = [0.0606770, 0.130314, 0.493873, 0.910621, 1.561092]
    found = gain(chi, "paraboloid", 0.5, "bonded")
    assert found == pytest.approx(np.array(expected), rel=4e-6)


@pytest.mark.parametrize("shape", ["paraboloid", "cone", "punch"])
def test_gain_is_the_slope_of_the_ratio(shape):
    chi, step = np.array([0.02, 0.3, 1.0, 4.0, 12.0]), 1e-4
    up, down = (np.log(layer_ratio(chi * np.exp(x), shape, 0.42, "bonded")) for x in (step, -step))
    slope = (up - down) / (2.0 * step)
    assert gain(chi, shape, 0.42, "bonded") == pytest.approx(slope, rel=1e-5)


@pytest.mark.parametrize(
    ("shape", "expected"),
    [  # bonded, ν = 0.5: χ where a neglected base biases by 1, 5, 10, 20 %, direct solution
        ("paraboloid", (0.008771, 0.041954, 0.079689, 0.145315)),
        ("cone", (0.013767, 0.065629, 0.124153, 0.224651)),
    ],
)
def test_chi_of_a_bias(shape, expected):
    bias = np.array([0.01, 0.05, 0.1, 0.2])
    found = chi_of_bias(bias, shape, 0.5, "bonded")
    assert found == pytest.approx(np.array(expected), abs=6e-7)
    assert layer_bias(found, shape, 0.5, "bonded") == pytest.approx(bias, rel=1e-9)
    assert np.isnan(chi_of_bias(np.array([-0.1, 1e6]), shape, 0.5, "bonded")).all()


def test_ten_per_cent_of_the_thickness_is_not_a_safe_depth():
    # δ/h = 0.1, bonded, ν = 0.5, R/h = 0.01, 0.1, 1, 10: direct solution
    chi = np.sqrt(0.1 * np.array([0.01, 0.1, 1.0, 10.0]))
    found = layer_ratio(chi, "paraboloid", 0.5, "bonded")
    assert found == pytest.approx(np.array([1.037167, 1.129082, 1.559613, 5.115374]), rel=5e-7)


def test_contact_over_thickness_warns_alike_for_both_shapes():
    for shape in ("paraboloid", "cone"):
        at_five = float(halfspace_contact(chi_of_bias(0.05, shape, 0.5, "bonded"), shape))
        assert at_five == pytest.approx(0.042, abs=5e-4)
        assert at_five == pytest.approx(WIDE_CONTACT, abs=0.0025)
