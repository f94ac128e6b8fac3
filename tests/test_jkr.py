"""JKR gives the known points of its curve, and the kernels give JKR.

Johnson, Kendall & Roberts, Proc. R. Soc. A 324 (1971) 301, in the dimensionless form of Maugis,
Contact, Adhesion and Rupture of Elastic Solids (2000) (from memory). The numbers are direct
solutions of the two equations; E = 10 MPa, ν = 0.49, R = 500 nm, w = 0.05 J/m² is the worked case.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.optimize import brentq, minimize_scalar

from palpate.core.models import adhesive, jkr

E_STAR, R, W = 0.01 / (1 - 0.49**2), 500.0, 0.05


@pytest.mark.parametrize(
    ("x", "force", "depth"),
    [
        (3.0 ** (-2 / 3), -5 / 9, -(9 ** (1 / 3))),  # pull-off with rigid grips: dδ/dx = 0
        (1.0, -1.0, -1.0),  # pull-off under load control: dF/dx = 0
        ((4 / 3) ** (2 / 3), -8 / 9, 0.0),  # JKR 1971: the force at zero indentation
        (4.0 ** (1 / 3), 0.0, 2.519842),
        (2.0, 2.343146, 6.343146),
        (3.0, 16.607695, 20.071797),
    ],
)
def test_points_of_the_curve(x, force, depth):
    assert jkr.reduced_force(x) == pytest.approx(force, rel=1e-6, abs=1e-12)
    assert jkr.reduced_indentation(x) == pytest.approx(depth, rel=1e-6, abs=1e-12)


def test_the_turning_points_are_where_the_curve_turns():
    """Found by minimising the equations themselves, scipy.optimize."""
    rigid = minimize_scalar(jkr.reduced_indentation, bounds=(0.1, 1), method="bounded",
                            options={"xatol": 1e-12})  # fmt: skip
    free = minimize_scalar(jkr.reduced_force, bounds=(0.3, 2), method="bounded",
                           options={"xatol": 1e-12})  # fmt: skip
    assert rigid.x == pytest.approx(0.480750, abs=1e-6)
    assert rigid.fun == pytest.approx(-2.080084, rel=1e-6)
    assert (free.x, free.fun) == pytest.approx((1.0, -1.0), abs=1e-6)


def test_scales_of_the_worked_case():
    pull, a1, d1 = jkr.scales(E_STAR, R, W)
    assert pytest.approx(1.754617e-2, rel=1e-6) == E_STAR * 4 / 3
    assert (pull, a1, d1) == pytest.approx((117.8097, 149.7349, 14.94702), rel=1e-6)
    assert jkr.zero_load_radius(E_STAR, R, W) * R == pytest.approx(237.6893, rel=1e-6)


@pytest.mark.parametrize(
    ("load", "a", "depth", "stiffness"),
    [(100.0, 265.3970, 61.27334, 4.687015), (500.0, 331.2233, 130.4948, 6.751928)],
)
def test_loaded_contact_of_the_worked_case(load, a, depth, stiffness):
    found = float(jkr.contact_radius(np.array(load), E_STAR, R, W))
    assert found == pytest.approx(a, rel=1e-6)
    assert jkr.force(found, E_STAR, R, W) == pytest.approx(load, rel=1e-12)
    assert jkr.indentation(found, E_STAR, R, W) == pytest.approx(depth, rel=1e-6)
    assert jkr.stiffness(found, E_STAR, R, W) == pytest.approx(stiffness, rel=1e-6)


def test_stiffness_is_the_slope_of_force_over_indentation():
    a, h = 260.0, 1e-4
    f = jkr.force(a + h, E_STAR, R, W) - jkr.force(a - h, E_STAR, R, W)
    d = jkr.indentation(a + h, E_STAR, R, W) - jkr.indentation(a - h, E_STAR, R, W)
    assert jkr.stiffness(a, E_STAR, R, W) == pytest.approx(f / d, rel=1e-8)


@pytest.mark.parametrize(
    ("ratio", "x", "force", "depth"),
    [
        (0.01, 0.997045813, -0.999980393, -1.01178619),
        (0.1, 0.971244931, -0.998166359, -1.11212023),
        (0.5, 0.873083385, -0.966070280, -1.45073345),
        (1.0, 0.783502327, -0.906071425, -1.69899898),
        (2.0, 0.677792726, -0.804648672, -1.91491778),
        (5.0, 0.570350078, -0.675939727, -2.04496338),
        (10.0, 0.526599307, -0.618246765, -2.07076601),
        (100.0, 0.485371883, -0.561957185, -2.07998784),
    ],
)
def test_where_a_lever_lets_go(ratio, x, force, depth):
    """S(a) = -k; direct solution, and the kernel's own fold in lengths."""
    found = jkr.jump_off(ratio)
    assert found == pytest.approx(x, rel=1e-8)
    assert jkr.reduced_force(found) == pytest.approx(force, rel=1e-8)
    assert jkr.reduced_indentation(found) == pytest.approx(depth, rel=1e-8)
    # kernel: d = a f, δ = h g; k/(K a1) = ratio means a/h = 3/ratio... from F1/|δ1| = 3 K a1
    h, a = 1.0, 3.0 / ratio
    assert adhesive.jkr_fold(h, a) ** 2 == pytest.approx(x, rel=1e-7)


def test_the_worked_levers_ratio():
    pull, a1, d1 = jkr.scales(E_STAR, R, W)
    assert 0.5 / (4 / 3 * E_STAR * a1) == pytest.approx(0.190311, rel=1e-5)
    assert pull / d1 == pytest.approx(3 * 4 / 3 * E_STAR * a1, rel=1e-12)
    x = jkr.jump_off(1e9)  # rigid grips
    assert jkr.reduced_indentation(x) * d1 == pytest.approx(-31.09106, rel=1e-6)
    assert jkr.reduced_force(x) * pull == pytest.approx(-65.44985, rel=1e-6)


def test_the_two_point_constant_and_its_round_trip():
    """((1 + 16^(1/3))/3)^(3/2): ISO 21222:2020 (form), derived; literature rounds it to 1.27."""
    assert pytest.approx(1.27087515666, rel=1e-10) == jkr.TWO_POINT
    assert pytest.approx(4 * ((1 + 2 ** (-4 / 3)) / 3) ** 1.5, rel=1e-14) == jkr.TWO_POINT
    pull, _, d1 = jkr.scales(E_STAR, R, W)
    apart = d1 * (1 + 2.519842099789746)
    modulus, work = jkr.two_point_modulus(pull, apart, R)
    assert modulus * (1 - 0.49**2) == pytest.approx(0.01, rel=1e-9)
    assert work == pytest.approx(W, rel=1e-12)
    zero = d1 * 2.519842099789746
    assert -d1 / zero == pytest.approx(-0.396850262992, rel=1e-9)


@pytest.mark.parametrize(("ratio", "bias"), [(0.1, 0.952304), (1.0, 0.690490), (10.0, 0.415089)])
def test_what_the_jump_off_point_would_do_instead_of_the_minimum(ratio, bias):
    """Direct solution: a two-point modulus from the last sample before the jump is too low."""
    pull, _, d1 = jkr.scales(E_STAR, R, W)
    x = jkr.jump_off(ratio)
    wrong, _ = jkr.two_point_modulus(-jkr.reduced_force(x) * pull,
                                     d1 * (2.519842099789746 - jkr.reduced_indentation(x)), R)
    assert wrong / E_STAR == pytest.approx(bias, rel=1e-5)


def test_energy_lost_in_a_cycle():
    """Rigid grips: 1.945924 F1 δ1 from zero to zero indentation and back; 3.208707 from zero force
    to pull-off. scipy.integrate.quad over the branches of the reduced curve."""

    def work(start, end):
        return quad(lambda x: jkr.reduced_force(x) * (6 * x - 2 / math.sqrt(x)), start, end,
                    epsabs=1e-13)[0]  # fmt: skip

    off, zero_depth, zero_load = 3 ** (-2 / 3), (4 / 3) ** (2 / 3), 4 ** (1 / 3)
    # released there with the force dropped to zero, taken up again at zero indentation
    assert -work(off, zero_depth) == pytest.approx(1.945924, rel=1e-6)
    assert -work(off, zero_load) == pytest.approx(3.208707, rel=1e-6)
    # 1.945924 F1 δ1 is 0.972962 π w a1²
    pull, a1, d1 = jkr.scales(E_STAR, R, W)
    assert 1.945924 * pull * d1 == pytest.approx(0.972962 * math.pi * W * a1**2, rel=1e-6)


def test_domain_of_the_contact_radius():
    """w/(E* R) < 0.0088 keeps a0/R below 0.5; a sharp tip on rubber breaks it (direct solution)."""
    assert jkr.zero_load_radius(1.0, 1.0, jkr.WIDEST) == pytest.approx(0.5, abs=1e-3)
    rubber = 2e-3 / (1 - 0.25)
    assert jkr.zero_load_radius(rubber, 20.0, 0.05) == pytest.approx(2.36653, rel=1e-5)
    assert 0.05 / (rubber * 20.0) == pytest.approx(0.94, abs=0.005)


@pytest.mark.parametrize("lever", [0.05, 0.5, 5.0])
def test_the_kernel_solves_the_dimensional_equations(lever):
    """d(z) against scipy.optimize.brentq on F(a) and δ(a), and its derivatives by differences."""
    pull, a1, _ = jkr.scales(E_STAR, R, W)
    c, a = 4 / 3 * E_STAR * math.sqrt(R) / lever, pull / lever
    out = np.empty(5)

    def deflection(u, ln_c, a_):
        h = (a_ / math.exp(ln_c)) ** (2 / 3) / 3
        adhesive.jkr_point(u, math.exp(ln_c), a_, h, adhesive.jkr_fold(h, a_), -1.0, out)
        return out[0], out[1:4].copy()

    for u in (20.0, 60.0, 400.0):

        def beyond(x, u=u):
            return (jkr.indentation(x, E_STAR, R, W) + jkr.force(x, E_STAR, R, W) / lever) - u

        radius = brentq(beyond, a1, 50 * a1, xtol=1e-12)
        d, slopes = deflection(u, math.log(c), a)
        assert d == pytest.approx(jkr.force(radius, E_STAR, R, W) / lever, rel=1e-8)
        h = 1e-5
        by_c = (deflection(u, math.log(c) + h, a)[0] - deflection(u, math.log(c) - h, a)[0]) / 2 / h
        by_u = (deflection(u + h, math.log(c), a)[0] - deflection(u - h, math.log(c), a)[0]) / 2 / h
        up, down = deflection(u, math.log(c), a * (1 + h)), deflection(u, math.log(c), a * (1 - h))
        assert slopes[0] == pytest.approx(by_c, rel=1e-5)
        assert slopes[1] == pytest.approx(-by_u, rel=1e-5)
        assert slopes[2] == pytest.approx((up[0] - down[0]) / (2 * h * a), rel=1e-5)
