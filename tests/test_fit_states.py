"""A fit that went nowhere says so: each state of the solver is reached by a curve that deserves it.

The states are the program's own; what deserves them follows from the cost function alone: a fit is
good only where the gradient is small against the noise, which is checked with numpy's least
squares.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from palpate.core.columns import baseline as bl
from palpate.core.columns import fit as ft
from palpate.core.columns import law as cl
from palpate.core.doubts import DOUBTS, names_of
from palpate.core.forcemap import ForceMap
from palpate.core.models import POWER
from palpate.core.pipeline import analyse
from palpate.core.settings import Settings
from palpate.core.simulate import Lever, Ramp, simulate_curve
from palpate.core.steps.contact_law import WORK
from palpate.core.steps.solver import FINE, SUMS, G, minimise, stopped

Z = np.linspace(-3.0, 12.0, 200)


def law_numbers(n: float = 1.5) -> np.ndarray:
    law = np.zeros(cl.NUMBERS)
    law[[cl.STEP, cl.UNIT, cl.DEEPEST, cl.EXPONENT_START]] = 1.0, 1.0, math.inf, n
    return law


def solve(d, start, free=(cl.LN_C, cl.Z0), floor=1e-4, z=Z):
    par = np.array(start, dtype=float)
    state = minimise(z, d, 0, z.size, 1, floor, FINE, par, np.array(free), law_numbers(start[3]),
                     POWER.rows, np.empty(8), np.empty(SUMS), np.empty(5), np.empty(WORK),
                     np.empty((4, 4)), np.empty((4, SUMS)))  # fmt: skip
    return state, par


def power_curve(c: float, z0: float, n: float, a: float = 0.0) -> np.ndarray:
    """d(z) by bisection on δ + c δⁿ = z - z0 + a."""
    out = np.empty(Z.size)
    for i, u in enumerate(Z - z0 + a):
        low, high = 0.0, max(u, 0.0)
        for _ in range(80):
            middle = 0.5 * (low + high)
            low, high = (middle, high) if middle + c * middle**n < u else (low, middle)
        out[i] = c * low**n - a
    return out


def test_a_good_fit_has_no_gradient_left():
    d = power_curve(0.4, 0.0, 1.5) + np.random.default_rng(1).normal(0, 0.05, Z.size)
    state, par = solve(d, (math.log(0.1), 0.5, 0.0, 1.5))
    assert state == ft.GOOD

    def model(p):
        return power_curve(math.exp(p[0]), p[1], 1.5)

    best = par[:2]
    j = np.stack([(model(best + e) - model(best - e)) / 2e-5 for e in 1e-5 * np.eye(2)], axis=1)
    step, *_ = np.linalg.lstsq(j, d - model(best), rcond=None)
    error = 0.05 * np.sqrt(np.diag(np.linalg.inv(j.T @ j)))
    assert np.abs(step / error).max() < 5e-3


def test_a_start_from_which_nothing_is_seen_is_no_good_fit():
    """With the contact point beyond all samples no parameter changes the prediction."""
    d = power_curve(0.4, 0.0, 1.5)
    state, par = solve(d, (math.log(0.1), 50.0, 0.0, 1.5))
    assert state == ft.NOT_POSITIVE
    assert par[cl.Z0] == 50.0


def test_samples_that_are_no_numbers_never_converge():
    d = power_curve(0.4, 0.0, 1.5)
    d[100] = math.nan
    assert solve(d, (math.log(0.1), 0.5, 0.0, 1.5))[0] == ft.NOT_CONVERGED


def test_a_cost_beyond_all_numbers_never_converges():
    d = power_curve(0.4, 0.0, 1.5)
    d[-1] = 1e200  # its square is more than a float holds
    state, par = solve(d, (math.log(0.4), 0.0, 0.0, 1.5))
    assert state == ft.NOT_CONVERGED
    assert par[:2] == pytest.approx([math.log(0.4), 0.0])


@pytest.mark.parametrize(("gradient", "moved", "state"), [
    (0.0, False, ft.GOOD), (1e-3, True, ft.GOOD), (3.0, True, ft.NOT_CONVERGED),
    (3.0, False, ft.NOT_MOVED),
])  # fmt: skip
def test_a_fit_that_gets_no_further_is_good_only_if_nothing_is_left_to_gain(gradient, moved, state):
    """JᵀJ = 1, so a step gains the square of the gradient; 1e-4 is allowed."""
    sums = np.zeros(SUMS)
    sums[0] = sums[5] = 1.0
    sums[G] = gradient
    assert stopped(sums, np.empty((4, 4)), 2, np.empty(4), 1e-4, moved) == state
    sums[5] = 0.0
    assert stopped(sums, np.empty((4, 4)), 2, np.empty(4), 1e-4, moved) == ft.NOT_POSITIVE


@pytest.mark.parametrize(("true", "wrong"), [(9.0, 6.0), (0.2, 0.5)])
def test_an_exponent_beyond_its_range_ends_at_the_bound(true, wrong):
    d = power_curve(1e-3 if true > 1 else 3.0, 0.0, true)
    state, par = solve(d, (math.log(0.1), -0.5, 0.0, 1.5), (cl.LN_C, cl.Z0, cl.EXPONENT))
    assert state == ft.AT_BOUND
    assert par[cl.EXPONENT] == pytest.approx(wrong)


def test_a_pull_that_is_none_ends_at_its_floor():
    """A curve pushed up by 1 nm asks for a pull-off below zero."""
    d = power_curve(0.4, 0.0, 1.5) + 1.0
    state, par = solve(d, (math.log(0.4), 0.0, 0.5, 1.5), (cl.LN_C, cl.Z0, cl.PULL))
    assert state == ft.AT_BOUND
    assert par[cl.PULL] == pytest.approx(1e-4)


LEVER, RAMP = Lever(2.0, tip_size=20.0, noise=0.08), Ramp(travel=200.0, samples=512, set_force=30.0)
FITTED = {"fit.pull_off": "fitted", "fit.branch": "retract", "fit.fraction_from": -15.0}


def curves(pull: float, count: int = 200) -> ForceMap:
    rng = np.random.default_rng(3)
    made = [simulate_curve(LEVER, RAMP, 0.5, 0.4, pull, 0.0, rng)[:2] for _ in range(count)]
    z, d = (np.array(x) for x in zip(*made, strict=True))
    return ForceMap.from_arrays(z, d, shape=(1, count), spring_constant=2.0, radius=20.0)


@pytest.mark.parametrize("adhesion", ["constant", "jkr", "maugis"])
def test_a_fitted_pull_off_of_nothing_is_never_silently_plausible(adhesion):
    """Without adhesion about half of the curves ask for a negative pull-off: those have no number
    and a doubt. Where there is one, its ± reaches zero."""
    settings = Settings().with_values(FITTED | {"fit.adhesion": adhesion})
    result = analyse(curves(0.0), settings)
    fit = result.stage_tables["fit"]
    bound = fit[:, ft.STATE] == ft.AT_BOUND
    assert 0.25 < bound.mean() < 0.9
    value, error = result.per_curve("fitted_pull_off")
    assert np.isnan(value[bound]).all()
    assert np.isnan(result.per_curve("modulus")[0][bound]).all()
    assert all("at_bound" in names_of(int(b)) for b in result.doubts.ravel()[bound])
    given = fit[:, ft.STATE] == ft.GOOD
    assert (value[given] > 0.0).all()
    assert np.mean(value[given] < 3.0 * error[given]) > 0.9


def test_with_adhesion_a_fitted_pull_off_stays_off_the_bound():
    result = analyse(curves(6.0), Settings().with_values(FITTED))
    assert (result.stage_tables["fit"][:, ft.STATE] == ft.GOOD).all()
    assert np.median(result.channel("fitted_pull_off")) == pytest.approx(6.0, rel=0.02)


def test_a_fitted_pull_off_is_found_wherever_there_is_a_minimum():
    """On the approach a fitted pull is weakly known and the valley long and bent. What the fit
    calls good must be a minimum, and few curves may be given up; scipy.optimize.least_squares
    refits some of those that are good."""
    result = analyse(curves(6.0, 400), Settings().with_value("fit.pull_off", "fitted"))
    fit = result.stage_tables["fit"]
    assert np.mean(fit[:, ft.STATE] == ft.NOT_CONVERGED) < 0.05
    good = np.flatnonzero(fit[:, ft.STATE] == ft.GOOD)
    assert good.size > 200
    from scipy.optimize import least_squares

    base, fmap = result.stage_tables["baseline"], result.map
    for i in good[:8]:
        samples = fmap.samples(int(i))
        z, d = samples.approach_z, samples.approach_signal
        inside = (z >= fit[i, ft.FIRST_Z]) & (z <= fit[i, ft.LAST_Z])
        line = base[i, bl.B_OFFSET] + base[i, bl.B_SLOPE] * (z - base[i, bl.B_CENTRE])
        x, y = z[inside], (d - line)[inside]

        def miss(p, x=x, y=y):
            depth = np.linspace(0.0, 1.0, 4000) ** 2 * (x[-1] - p[1] + p[2])
            force = np.exp(p[0]) * depth**1.5
            return np.interp(x - p[1] + p[2], depth + force, force) - p[2] - y

        start = fit[i, [ft.LN_C, ft.Z0, ft.PULL]]
        better = least_squares(miss, start, x_scale=(0.01, 0.1, 0.1), xtol=1e-12, ftol=1e-12)
        lower = np.sum(miss(start) ** 2) - 2.0 * better.cost
        assert lower < 1e-2 * LEVER.noise**2


@pytest.mark.parametrize("slope", [0.9995, 1.0])
def test_a_contact_too_stiff_for_the_lever_gives_no_silent_modulus(slope):
    """A rigid contact: the deflection follows the base. No curve may give a modulus that is
    neither NaN, nor doubted."""
    rng = np.random.default_rng(8)
    z = np.linspace(-150.0, 15.0, 512)
    d = np.where(z > 0.0, slope * z, 0.0) + rng.normal(0, 0.08, (100, 2, z.size))
    both = np.stack([z, z[::-1]])
    d[:, 1] = d[:, 1, ::-1]
    fmap = ForceMap.from_arrays(np.broadcast_to(both, d.shape).copy(), d, shape=(1, 100),
                                spring_constant=2.0, radius=20.0)  # fmt: skip
    result = analyse(fmap, Settings().with_value("fit.adhesion", "none"))
    modulus = result.per_curve("modulus")[0]
    told = [names_of(int(b)) for b in result.doubts.ravel()]
    ways = {"at_bound", "modulus_unknown", "modulus_uncertain", "fit_failed", "fit_stuck"}
    assert np.mean([bool(ways & set(names)) for names in told]) > 0.97
    assert np.isfinite(modulus).any()
    assert result.trusted.mean() < 0.04


def test_a_sample_too_stiff_for_the_lever_is_not_trusted_by_selection():
    """1,000 GPa under a lever of 2 N/m: where noise makes the slope look smaller a modulus near 90
    GPa with a modest ± comes out; hardly one such curve may be trusted."""
    rng = np.random.default_rng(5)
    made = [simulate_curve(LEVER, RAMP, 1000.0, 0.4, 6.0, 0.0, rng)[:2] for _ in range(400)]
    z, d = (np.array(x) for x in zip(*made, strict=True))
    fmap = ForceMap.from_arrays(z, d, shape=(1, 400), spring_constant=2.0, radius=20.0)
    assert analyse(fmap, Settings()).trusted.mean() < 0.02


def test_a_wide_interval_is_a_doubt_and_a_useless_one_a_severe_one():
    result = analyse(curves(6.0, 60), Settings())
    error = result.per_curve("modulus")[1] / result.per_curve("modulus")[0]
    assert not any("modulus_uncertain" in names_of(int(b)) for b in result.doubts.ravel())
    strict = analyse(result.map, Settings().with_value("doubts.worst_modulus", 0.5))
    doubted = [("modulus_uncertain" in names_of(int(b))) for b in strict.doubts.ravel()]
    assert doubted == list(100.0 * error > 0.5)
    assert DOUBTS["modulus_unknown"].severity == "severe"
