"""Adhesion inside the contact (JKR) gives the known points, works and round trips.

Set A is a soft sample under a large tip: R = 500 nm, E = 10 MPa, ν = 0.49, w = 0.05 J/m². Values
marked "direct" were computed from the formulas of Johnson, Kendall & Roberts, Proc. R. Soc. A 324
(1971) 301, in SI units, apart from this program.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.optimize import brentq, minimize_scalar

from palpate.core.models import jkr, tip

R, W = 500.0, 0.05
E_STAR = 0.01 / (1.0 - 0.49**2)
SET = (E_STAR, R, W)


def test_scales_of_set_a():
    # direct
    assert pytest.approx(0.01315963, rel=1e-6) == E_STAR
    pull, a1, depth = jkr.scales(*SET)
    assert pull == pytest.approx(117.8097, rel=1e-6)
    assert a1 == pytest.approx(149.7349, rel=1e-6)
    assert depth == pytest.approx(14.94702, rel=1e-6)
    assert jkr.unloaded_radius(*SET) == pytest.approx(237.6893, rel=1e-6)
    assert jkr.indentation(237.6893, *SET) == pytest.approx(37.66413, rel=1e-6)


@pytest.mark.parametrize(
    ("load", "radius", "depth", "stiffness"),
    [(100.0, 265.3970, 61.27334, 4.687015), (500.0, 331.2233, 130.4948, 6.751928)],  # direct
)
def test_loaded_points_of_set_a(load, radius, depth, stiffness):
    a = jkr.contact_radius(load, *SET)
    assert a == pytest.approx(radius, rel=1e-6)
    assert jkr.indentation(a, *SET) == pytest.approx(depth, rel=1e-6)
    assert jkr.stiffness(a, *SET) == pytest.approx(stiffness, rel=1e-6)
    assert jkr.force(a, *SET) == pytest.approx(load, rel=1e-12)


@pytest.mark.parametrize(
    ("x", "force", "depth"),
    [
        # Maugis, Contact, Adhesion and Rupture of Elastic Solids (2000), from memory; direct
        (3.0 ** (-2.0 / 3.0), -0.555555556, -2.080083823),
        (1.0, -1.0, -1.0),
        ((4.0 / 3.0) ** (2.0 / 3.0), -0.888888889, 0.0),
        (4.0 ** (1.0 / 3.0), 0.0, 2.519842100),
        (2.0, 2.343145751, 6.343145751),
        (3.0, 16.607695155, 20.071796770),
    ],
)
def test_dimensionless_points(x, force, depth):
    last = 0.51e-9  # half of the last digit written down
    assert jkr.force_at(x) == pytest.approx(force, abs=last)
    assert jkr.depth_at(x) == pytest.approx(depth, abs=last)
    pull, a1, unit = jkr.scales(*SET)
    assert jkr.force(x * a1, *SET) == pytest.approx(pull * force, abs=last * pull)
    assert jkr.indentation(x * a1, *SET) == pytest.approx(unit * depth, abs=last * unit)


def test_pull_at_no_indentation_is_eight_ninths_of_the_pull_off():
    """-(8/9) F1 at δ = 0 and -(5/9) F1 at rigid grips are exact (Johnson, Kendall & Roberts 1971;
    Maugis 2000, from memory); δ = 0 is found by scipy on JKR's own δ(a), as they print it."""
    k = 4.0 / 3.0 * E_STAR
    pull, a1, _ = jkr.scales(*SET)
    level = brentq(lambda a: a * a / R - 2 / 3 * math.sqrt(6 * math.pi * W * a / k), 100.0, 300.0,
                   xtol=1e-12, rtol=1e-15)  # fmt: skip
    assert level == pytest.approx(jkr.LEVEL * a1, rel=1e-12)
    assert jkr.force(level, *SET) == pytest.approx(-8.0 / 9.0 * pull, rel=1e-12)
    assert jkr.force_at(jkr.LEVEL) == pytest.approx(-8.0 / 9.0, rel=1e-12)
    assert jkr.depth_at(jkr.LEVEL) == pytest.approx(0.0, abs=1e-12)
    assert jkr.force_at(jkr.RIGID) == pytest.approx(-5.0 / 9.0, rel=1e-12)
    assert jkr.depth_at(jkr.RIGID) == pytest.approx(-(9.0 ** (1.0 / 3.0)), rel=1e-12)


def test_branch_points_are_the_extremes_of_the_dimensional_equations():
    """Solved by scipy on F(a) and δ(a) as JKR print them, without the dimensionless form."""
    k = 4.0 / 3.0 * E_STAR

    def force(a):
        return k * a**3 / R - math.sqrt(6 * math.pi * W * k * a**3)

    def depth(a):
        return a * a / R - 2 / 3 * math.sqrt(6 * math.pi * W * a / k)

    pull, a1, unit = jkr.scales(*SET)
    soft = minimize_scalar(force, bounds=(10.0, 500.0), method="bounded", options={"xatol": 1e-9})
    assert soft.x == pytest.approx(a1, rel=1e-6)
    assert soft.fun == pytest.approx(-pull, rel=1e-12)
    rigid = minimize_scalar(depth, bounds=(10.0, 500.0), method="bounded", options={"xatol": 1e-9})
    assert rigid.x == pytest.approx(jkr.RIGID * a1, rel=1e-6)
    assert rigid.fun == pytest.approx(-(9.0 ** (1.0 / 3.0)) * unit, rel=1e-12)
    assert force(rigid.x) == pytest.approx(-5.0 / 9.0 * pull, rel=1e-6)
    # direct: δ = -31.09106 nm, F = -65.44985 nN
    assert rigid.fun == pytest.approx(-31.09106, rel=1e-6)
    assert force(rigid.x) == pytest.approx(-65.44985, rel=1e-6)
    assert brentq(depth, 100.0, 300.0) == pytest.approx(jkr.LEVEL * a1, rel=1e-9)
    assert brentq(force, 200.0, 300.0) == pytest.approx(jkr.UNLOADED * a1, rel=1e-9)


@pytest.mark.parametrize(
    ("kappa", "x", "force", "depth"),
    [
        # direct: (3/2) x (x^(3/2) - 1) + κ (x^(3/2) - 1/3) = 0
        (0.0, 1.0, -1.0, -1.0),
        (0.01, 0.997045813, -0.999980393, -1.01178619),
        (0.1, 0.971244931, -0.998166359, -1.11212023),
        (0.5, 0.873083385, -0.966070280, -1.45073345),
        (1.0, 0.783502327, -0.906071425, -1.69899898),
        (2.0, 0.677792726, -0.804648672, -1.91491778),
        (5.0, 0.570350078, -0.675939727, -2.04496338),
        (10.0, 0.526599307, -0.618246765, -2.07076601),
        (100.0, 0.485371883, -0.561957185, -2.07998784),
        (math.inf, 0.480749857, -0.555555556, -2.08008382),
    ],
)
def test_lever_lets_go_where_the_contact_is_as_soft_as_it(kappa, x, force, depth):
    found = jkr.jump_off(kappa)
    assert found == pytest.approx(x, abs=1e-9)
    assert jkr.force_at(found) == pytest.approx(force, abs=2e-8)
    assert jkr.depth_at(found) == pytest.approx(depth, abs=2e-8)
    if 0.0 < kappa < math.inf:
        assert jkr.stiffness_at(found) == pytest.approx(-kappa, rel=1e-9)


def test_lever_of_set_a():
    # direct: k = 0.5 N/m gives κ = 0.190311
    a1 = jkr.scales(*SET)[1]
    assert 0.5 / (4 / 3 * E_STAR * a1) == pytest.approx(0.190311, rel=1e-5)


def test_minimum_is_passed_before_the_jump_whatever_the_lever():
    """Every stable stretch down to the jump holds x = 1, so the curve's minimum is -F1."""
    for kappa in (1e-6, 0.1, 3.0, 1e5):
        x = np.linspace(jkr.jump_off(kappa), 3.0, 200_001)
        assert jkr.force_at(x).min() == pytest.approx(-1.0, abs=1e-8)


def test_stiffness_is_the_slope_of_force_against_depth():
    for x in (0.3, 0.6, 0.9, 1.0, 1.3, 4.0):
        a, h = x * jkr.scales(*SET)[1], 1e-4
        rise = jkr.force(a + h, *SET) - jkr.force(a - h, *SET)
        run = jkr.indentation(a + h, *SET) - jkr.indentation(a - h, *SET)
        assert jkr.stiffness(a, *SET) == pytest.approx(rise / run, rel=1e-6, abs=1e-7)


def test_stable_branch_is_inverse_to_the_force_and_ends_at_the_pull_off():
    pull, a1, _ = jkr.scales(*SET)
    x = np.geomspace(1.0 + 1e-6, 50.0, 300)
    np.testing.assert_allclose(jkr.contact_radius(jkr.force(x * a1, *SET), *SET), x * a1, rtol=1e-8)
    assert jkr.contact_radius(-pull, *SET) == pytest.approx(a1, rel=1e-7)
    assert np.isnan(jkr.contact_radius(-pull * 1.001, *SET))


def test_without_adhesion_it_is_the_paraboloid():
    a = jkr.contact_radius(np.array([1.0, 50.0]), E_STAR, R, 0.0)
    depth = jkr.indentation(a, E_STAR, R, 0.0)
    np.testing.assert_allclose(depth, a * a / R, rtol=1e-14)
    np.testing.assert_allclose(4 / 3 * E_STAR * math.sqrt(R) * depth**1.5, [1.0, 50.0], rtol=1e-12)


def test_two_point_constant():
    # ISO 21222:2020 (form; its equations were not seen), direct; literature rounds it to 1.27
    assert pytest.approx(1.27087515666, rel=1e-11) == jkr.TWO_POINT
    assert pytest.approx(4 * ((1 + 2 ** (-4 / 3)) / 3) ** 1.5, rel=1e-14) == jkr.TWO_POINT


def test_two_points_return_the_modulus_and_the_work():
    pull, a1, unit = jkr.scales(*SET)
    depth0 = jkr.indentation(jkr.UNLOADED * a1, *SET)
    assert -unit / depth0 == pytest.approx(-0.396850262992, rel=1e-11)  # direct: -2^(-4/3)
    reduced = jkr.two_point_modulus(pull, depth0 + unit, R)
    assert tip.sample_modulus(reduced, 0.49) == pytest.approx(0.01, rel=1e-12)
    assert jkr.work_of_adhesion(pull, R) == pytest.approx(W, rel=1e-14)


def test_two_points_give_nan_for_what_is_no_pair():
    for pull, depth, radius in (
        (0.0, 5, 20),
        (-3.0, 5, 20),
        (3.0, 0, 20),
        (3, 5, 0),
        (3, math.nan, 1),
    ):
        assert math.isnan(jkr.two_point_modulus(pull, depth, radius))


@pytest.mark.parametrize(
    ("kappa", "factor"),
    [(0.1, 0.952304), (1.0, 0.690490), (10.0, 0.415089)],  # direct
)
def test_jump_off_instead_of_the_minimum_would_bias_the_modulus(kappa, factor):
    pull, a1, unit = jkr.scales(*SET)
    x = jkr.jump_off(kappa)
    wrong = jkr.two_point_modulus(
        -pull * float(jkr.force_at(x)),
        unit * float(jkr.depth_at(jkr.UNLOADED) - jkr.depth_at(x)),
        R,
    )
    assert wrong / E_STAR == pytest.approx(factor, rel=1e-5)


def test_work_of_the_rigid_cycle_by_quadrature():
    # direct: 1.945924 F1|δ1| = 0.972962 π w a1²; from F = 0 to the end 3.208707 F1|δ1|
    def push(x):
        return (x**3 - 2 * x**1.5) * (6 * x - 2 / math.sqrt(x))

    assert pytest.approx(quad(push, jkr.LEVEL, jkr.RIGID)[0], rel=1e-12) == jkr.CYCLE
    assert pytest.approx(1.945924, rel=1e-6) == jkr.CYCLE
    assert pytest.approx(quad(push, jkr.UNLOADED, jkr.RIGID)[0], rel=1e-12) == jkr.DETACHMENT
    assert pytest.approx(3.208707, rel=1e-6) == jkr.DETACHMENT
    pull, a1, unit = jkr.scales(*SET)
    area = math.pi * W * a1 * a1
    assert jkr.CYCLE * pull * unit / area == pytest.approx(0.972962, rel=1e-6)


def test_work_of_a_cycle_with_a_lever_is_the_same_in_base_position_and_in_depth():
    """Jump on, load to 3 a1, jump off; k = 0.4 F1/|δ1|, which is κ = 1.2 (F1 = 3 K a1 |δ1|)."""
    k = 0.4
    on, off = jkr.jump_on(3.0 * k), jkr.jump_off(3.0 * k)
    x = np.concatenate([np.linspace(on, 3.0, 200_001), np.linspace(3.0, off, 200_001)])
    f, g = jkr.force_at(x), jkr.depth_at(x)
    assert f[0] == pytest.approx(-k * g[0], abs=1e-12)  # jumped on from F = 0, δ = 0
    f = np.concatenate([[0.0], f, [0.0, 0.0]])
    g = np.concatenate([[0.0], g, [g[-1] + f[-3] / k, 0.0]])
    z = g + f / k
    assert z[1] == pytest.approx(0.0, abs=1e-12)  # both jumps at a base that stands still
    assert z[-2] == pytest.approx(z[-3], abs=1e-12)
    in_depth, in_base = np.trapezoid(f, g), np.trapezoid(f, z)
    assert in_depth == pytest.approx(in_base, rel=1e-10)
    assert in_depth == pytest.approx(3.268308, rel=1e-6)  # direct


def test_lever_jumps_on_between_no_depth_and_no_force():
    assert jkr.jump_on(math.inf) == pytest.approx(jkr.LEVEL, rel=1e-12)
    assert jkr.jump_on(1e9) == pytest.approx(jkr.LEVEL, rel=1e-8)
    assert jkr.jump_on(0.0) == pytest.approx(jkr.UNLOADED, rel=1e-12)
    assert math.isnan(jkr.jump_on(-1.0))
    assert math.isnan(jkr.jump_off(math.nan))


def test_domain_ends_where_the_unloaded_contact_is_half_the_tip():
    # direct: (6πw/(K R))^(1/3) = 0.5 at w/(E* R) = 1/(36π) = 0.0088
    modulus = W / (R / (36 * math.pi))
    assert jkr.domain(modulus, R, W) == pytest.approx(jkr.DOMAIN, rel=0.01)
    assert jkr.unloaded_radius(modulus, R, W) / R == pytest.approx(0.5, rel=1e-12)
    assert jkr.unloaded_radius(modulus, R, W * jkr.domain(modulus, R, W) / jkr.DOMAIN) > 0.5 * R
    assert jkr.domain(*SET) < jkr.DOMAIN  # set A is inside, at a0 = 0.475 R


def test_sharp_tip_on_rubber_is_outside_the_domain():
    # direct: E = 2 MPa, ν = 0.5, R = 20 nm, w = 0.05 J/m²: a0/R = 2.36653, w/(E* R) = 0.94
    modulus = 0.002 / 0.75
    assert jkr.unloaded_radius(modulus, 20.0, W) / 20.0 == pytest.approx(2.36653, rel=1e-5)
    assert jkr.domain(modulus, 20.0, W) == pytest.approx(0.9375, rel=1e-12)


def test_same_numbers_in_another_unit_of_length():
    """In metres, newtons and pascals instead of nm, nN and GPa."""
    a = 200.0
    si = (E_STAR * 1e9, R * 1e-9, W)
    assert jkr.force(a * 1e-9, *si) == pytest.approx(jkr.force(a, *SET) * 1e-9, rel=1e-12)
    assert jkr.indentation(a * 1e-9, *si) == pytest.approx(
        jkr.indentation(a, *SET) * 1e-9, rel=1e-12
    )
    assert jkr.stiffness(a * 1e-9, *si) == pytest.approx(jkr.stiffness(a, *SET), rel=1e-12)
    assert jkr.domain(*si) == pytest.approx(jkr.domain(*SET), rel=1e-12)
