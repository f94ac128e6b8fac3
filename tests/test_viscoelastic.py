"""Contact in time: the formulas against the literature's values and against each other.

Values marked "V" were worked out from the cited formulas with an independent root finder and
quadrature; the prints of Lee & Radok (1960) and Ting (1966) were not seen ("from memory").
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from palpate.core.models import viscoelastic as ve

# β, (3/2) B(3/2, 1-β), t₁(1.2 t_m)/t_m, F(1.2 t_m) in units of C E₁ t'^β v^(3/2) t_m^(3/2-β),
# t_c/t_m, η. Ting 1966 (from memory); t₁ and F also by a root-finding solver, V.
POWER_LAW = [
    (0.1, 1.143621, 0.767976, 0.696515, 1.861980, 0.250244),
    (0.2, 1.326512, 0.724317, 0.655127, 1.725471, 0.452872),
    (0.3, 1.566122, 0.661640, 0.580016, 1.591086, 0.615842),
]
SOLID = ve.StandardSolid(1.0, 3.0, 0.3)


def triangle(count: int, turn: float = 1.0, end: float = 2.0) -> tuple[np.ndarray, np.ndarray]:
    """Times that are dense at both ends of each branch, and the indentation at speed 1."""
    x = np.linspace(0.0, 1.0, count)
    graded = x * x * (3.0 - 2.0 * x)
    t = np.concatenate([turn * graded, turn + (end - turn) * graded[1:]])
    return t, np.where(t <= turn, t, 2.0 * turn - t)


@pytest.mark.parametrize(("beta", "load", "t1", "force", "end", "loss"), POWER_LAW)
def test_power_law_on_a_triangular_ramp(beta, load, t1, force, end, loss):
    solid = ve.PowerLawSolid(1.0, beta)
    assert ve.power_law_ramp_force(1.0, 1.0, 1.0, solid, 1.5) == pytest.approx(load, abs=1e-6)
    assert ve.power_law_t1(1.2, 1.0, beta) == pytest.approx(t1, abs=1e-6)
    assert ve.power_law_ramp_force(1.2, 1.0, 1.0, solid, 1.5) == pytest.approx(force, abs=1e-6)
    assert ve.power_law_contact_end(beta) == pytest.approx(end, abs=1e-6)
    assert ve.power_law_loss(beta) == pytest.approx(loss, abs=1e-6)


def test_standard_solid_on_a_triangular_ramp():
    """E∞ = 1, E₀ = 3, τ = 0.3, t_m = 1, v = 1, C = 1; Ting 1966 (from memory), V."""
    assert ve.standard_ramp_force(1.0, 1.0, 1.0, SOLID, 1.5) == pytest.approx(1.732177, abs=1e-6)
    assert ve.standard_t1(1.1, 1.0, SOLID) == pytest.approx(0.875729, abs=1e-6)
    assert ve.standard_ramp_force(1.1, 1.0, 1.0, SOLID, 1.5) == pytest.approx(1.131883, abs=1e-6)
    assert ve.standard_contact_end(1.0, SOLID) == pytest.approx(1.573966, abs=1e-6)
    assert ve.standard_loss(1.0, SOLID, 1.5) == pytest.approx(0.586659, abs=1e-6)


@pytest.mark.parametrize(("time", "loss"), [(0.01, 0.0924693), (100.0, 0.00754956)])
def test_standard_solid_is_elastic_at_both_ends_of_its_time(time, loss):
    """The loss goes to 0 for a very fast and a very slow relaxation; V."""
    assert ve.standard_loss(1.0, ve.StandardSolid(1.0, 3.0, time), 1.5) == pytest.approx(
        loss, rel=1e-5)  # fmt: skip


@pytest.mark.parametrize("exponent", [1.0, 1.5, 2.0])
@pytest.mark.parametrize("beta", [0.1, 0.3])
def test_the_loss_of_a_power_law_solid_is_the_area_of_its_loop_for_every_tip(beta, exponent):
    """scipy.integrate.quad of the closed-form force, another way than the formula's."""
    from scipy.integrate import quad

    solid = ve.PowerLawSolid(2.0, beta, 0.1)
    given = (0.7, 3.0, solid, exponent, 1.3)
    into = quad(ve.power_law_ramp_force, 0.0, 0.7, given)[0]
    out = quad(ve.power_law_ramp_force, 0.7, 0.7 * ve.power_law_contact_end(beta), given,
               limit=200)[0]  # fmt: skip
    assert 1.0 - out / into == pytest.approx(ve.power_law_loss(beta), abs=1e-6)


@pytest.mark.parametrize("exponent", [1.5, 2.0])
@pytest.mark.parametrize(
    "solid", [ve.PowerLawSolid(1.0, 0.2), ve.PowerLawSolid(3.0, 0.35, 0.05), SOLID,
              ve.StandardSolid(1.0, 20.0, 2.0)])  # fmt: skip
def test_the_numeric_solution_meets_the_closed_forms(solid, exponent):
    t, depth = triangle(400)
    force, t1 = ve.contact_force(t, depth, solid, exponent, 1.7)
    if isinstance(solid, ve.PowerLawSolid):
        exact = ve.power_law_ramp_force(t, 1.0, 1.0, solid, exponent, 1.7)
        exact_t1 = ve.power_law_t1(t, 1.0, solid.exponent)
    else:
        exact = np.array([ve.standard_ramp_force(x, 1.0, 1.0, solid, exponent, 1.7) for x in t])
        exact_t1 = np.array([ve.standard_t1(x, 1.0, solid) for x in t])
    assert np.abs(force - exact).max() < 2e-6 * exact.max()
    assert np.abs(t1 - exact_t1).max() < 1e-8


def test_the_numeric_solution_meets_quadrature_on_a_curved_indentation():
    """δ = sin²: the condition for t₁ by brentq over quad, the force by quad; SciPy alone."""
    from scipy.integrate import quad
    from scipy.optimize import brentq

    solid = ve.StandardSolid(0.5, 2.0, 0.4)
    x = np.linspace(0.0, math.pi, 1201)
    force, t1 = ve.contact_force(x, np.sin(x) ** 2, solid, 1.5)

    def kernel(s, t, power):
        return float(solid.relaxation(t - s)) * power * np.sin(s) ** (2 * power - 1) * (
            2.0 * np.cos(s))  # fmt: skip

    for i in (300, 700, 800):
        t = x[i]
        upto = t
        if t > math.pi / 2:
            upto = brentq(lambda a, t=t: quad(kernel, a, t, (t, 1.0))[0], 1e-6, math.pi / 2)
        assert t1[i] == pytest.approx(upto, abs=1e-5)
        assert force[i] == pytest.approx(quad(kernel, 0.0, upto, (t, 1.5))[0], rel=2e-5)


def test_apparent_modulus_grows_with_the_power_beta_of_the_speed():
    """×10 in speed at β = 0.2 gives ×10^0.2 = 1.584893 at the same depth; V."""
    solid = ve.PowerLawSolid(1.0, 0.2)
    slow = ve.power_law_ramp_force(1.0, 1.0, 1.0, solid, 1.5)
    fast = ve.power_law_ramp_force(0.1, 0.1, 10.0, solid, 1.5)
    assert fast / slow == pytest.approx(1.584893, abs=1e-6)


def test_an_elastic_solid_has_no_loss_and_the_elastic_force():
    """β = 0 and E₀ = E∞ are Hertz (1882): the same force on both ways, contact until 2 t_m."""
    elastic = ve.PowerLawSolid(1.5, 0.0)
    assert ve.power_law_loss(0.0) == pytest.approx(0.0, abs=1e-15)
    assert ve.power_law_contact_end(0.0) == 2.0
    for t, depth in ((0.4, 0.4), (1.3, 0.7)):
        assert ve.power_law_ramp_force(t, 1.0, 1.0, elastic, 1.5) == pytest.approx(1.5 * depth**1.5)
        same = ve.StandardSolid(1.5, 1.5, 0.2)
        assert ve.standard_ramp_force(t, 1.0, 1.0, same, 1.5) == pytest.approx(1.5 * depth**1.5)


def test_the_lambert_form_goes_on_where_its_argument_overflows():
    """τ = 1e-4: c/(E∞ τ) = 9,000. t₁ by brentq on ∫_{t₁}^t E(t-ξ) dδ = 0 instead."""
    from scipy.optimize import brentq

    solid = ve.StandardSolid(1.0, 3.0, 1e-4)
    t = 1.1

    def pushed(t1):
        return float(solid.primitive(t - t1) - 2.0 * solid.primitive(t - 1.0))

    assert ve.standard_t1(t, 1.0, solid) == pytest.approx(brentq(pushed, 0.0, 1.0), abs=1e-12)


@pytest.mark.parametrize("make", [
    lambda: ve.PowerLawSolid(-1.0, 0.2), lambda: ve.PowerLawSolid(1.0, 1.0),
    lambda: ve.PowerLawSolid(1.0, -0.1), lambda: ve.PowerLawSolid(math.nan, 0.2),
    lambda: ve.StandardSolid(2.0, 1.0, 0.1), lambda: ve.StandardSolid(1.0, 2.0, 0.0),
    lambda: ve.contact_force(np.array([0.0, 1.0, 0.5]), np.arange(3.0), SOLID, 1.5),
    lambda: ve.contact_force(np.arange(4.0), np.array([0.0, 2.0, 1.0, 1.5]), SOLID, 1.5),
])  # fmt: skip
def test_impossible_solids_and_histories_are_refused(make):
    with pytest.raises(ValueError, match="solid|must rise"):
        make()
