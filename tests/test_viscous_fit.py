"""The fit of a relaxing solid to both branches: unbiased, precise, and honest when it fails.

The curves and the bound come from ``simulate_relaxing``, which solves the same equations (Lee &
Radok 1960, Ting 1966, from memory) node by node with scipy.optimize.brentq on a grid twenty times
as fine, with another quadrature; tests/test_viscoelastic.py ties the equations to closed forms. The
bound: Kay, Fundamentals of Statistical Signal Processing (1993), chapter 3 (from memory).
"""

from __future__ import annotations

import math
from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest

from palpate.core.calibration import missing
from palpate.core.channels import CHANNELS, asked_for
from palpate.core.columns import baseline as bl
from palpate.core.columns import viscous as vs
from palpate.core.doubts import names_of
from palpate.core.explain import explain
from palpate.core.forcemap import ForceMap
from palpate.core.models import law_of
from palpate.core.models.viscoelastic import PowerLawSolid, StandardSolid, contact_force
from palpate.core.pipeline import analyse
from palpate.core.rates import modulus_against_speed
from palpate.core.settings import Settings
from palpate.core.simulate import Lever, Ramp
from palpate.core.simulate_relaxing import RelaxingCurve, _March, relaxing_curve
from palpate.core.workfile import load_analysis, save_analysis

K, RADIUS, NU, NOISE = 2.0, 20.0, 0.4, 0.08
LEVER = Lever(spring_constant=K, tip_size=RADIUS, noise=NOISE)
RAMP = Ramp(travel=200.0, samples=512, set_force=30.0, rate=5000.0)
STIFF = law_of("paraboloid").factor(RADIUS) / (1 - NU**2) / K
POWER = PowerLawSolid(0.05, 0.2)
STANDARD = StandardSolid(0.03, 0.1, 0.004)
SETTINGS = Settings().with_values({"fit.adhesion": "none", "sample.poisson_ratio": NU})
NAMES = {PowerLawSolid: "power_law", StandardSolid: "standard_solid"}


@lru_cache
def clean(solid, pull: float = 0.0, hold: float = 0.0, ramp: Ramp = RAMP) -> RelaxingCurve:
    return relaxing_curve(LEVER, ramp, solid, NU, pull, 0.0, hold)


def as_map(curve: RelaxingCurve, count: int, seed: int = 1, noise: float = NOISE, held: int = 0,
           rate: float | None = RAMP.rate, **known) -> ForceMap:
    """Curves with white noise; `held` samples of a hold lie between the branches."""
    rng = np.random.default_rng(seed)
    z, d, kinds = [], [], ["approach", "retract"]
    parts_z, parts_d = [curve.approach_z, curve.retract_z], [curve.approach_d, curve.retract_d]
    if held:
        kinds = ["approach", "hold", "retract"]
        parts_z.insert(1, np.full(held, curve.approach_z[-1]))
        parts_d.insert(1, np.full(held, curve.approach_d[-1]))
    for _ in range(count):
        z.append(parts_z)
        d.append([part + rng.normal(0.0, noise, part.size) for part in parts_d])
    if rate is not None:
        known["sampling_rate"] = rate
    return ForceMap.from_arrays(z, d, shape=(1, count), spring_constant=K, radius=RADIUS,
                                segments=kinds, **known)  # fmt: skip


def fitted(solid, count=300, change=None, pull=0.0, hold=0.0, **more):
    settings = SETTINGS.with_values({"viscous.model": NAMES[type(solid)]} | (change or {}))
    return analyse(as_map(clean(solid, pull, hold), count, **more), settings)


# ---- the bound, from an independent forward model


def deflections(par, make, curve: RelaxingCurve) -> np.ndarray:
    """d at all samples of both branches for parameters (..., z0), base motion unchanged."""
    march = _March(make(par), STIFF, 1.5)
    t = np.concatenate([curve.approach_time, curve.retract_time])
    z = np.concatenate([curve.approach_z, curve.retract_z])
    turn = curve.approach_time[-1]
    start = float(np.interp(par[-1], curve.approach_z, curve.approach_time))
    even = np.linspace(0.0, 1.0, 301)[1:]
    for now in np.concatenate([start + (turn - start) * even,
                               turn + 2.0 * (turn - start) * even**2]):  # fmt: skip
        if not march.step(now - start, float(np.interp(now, t, z)) - par[-1]):
            break
    inside = (t > start) & (t - start < march.t[-1])
    return np.where(inside, np.interp(t - start, march.t, march.force), 0.0)


def bound(result, par, make, curve) -> np.ndarray:
    """Smallest possible standard deviations of the parameters, the baselines unknown too."""
    base, count = result.stage_tables["baseline"], curve.approach_z.size
    peak = curve.approach_d[-1]
    used = np.concatenate([curve.approach_d > 0.1 * peak, curve.retract_d > 0.1 * peak])
    free = np.zeros(2 * count, dtype=bool)
    first, last = (int(np.median(base[:, c])) for c in (bl.B_FIRST, bl.B_LAST))
    free[first:last] = True
    first, last = (int(np.median(base[:, bl.RETRACT + c])) for c in (bl.B_FIRST, bl.B_LAST))
    free[2 * count - last : 2 * count - first] = True  # its numbers count backwards in time
    columns = []
    for p in range(len(par)):
        step = np.zeros(len(par))
        step[p] = 2e-3
        columns.append((deflections(par + step, make, curve)
                        - deflections(par - step, make, curve)) / 4e-3 * used)  # fmt: skip
    z = np.concatenate([curve.approach_z, curve.retract_z])
    for branch in (np.arange(2 * count) < count, np.arange(2 * count) >= count):
        columns += [branch * 1.0, branch * z]
    j = np.stack(columns, axis=1)[free | used]
    return NOISE * np.sqrt(np.diag(np.linalg.inv(j.T @ j)))[: len(par)]


CASES = {
    "power law": (
        POWER, lambda c: np.array([math.log(float(POWER.relaxation(c.loading))), 0.2, 0.0]),
        lambda c: lambda p: PowerLawSolid(math.exp(p[0]), p[1], c.loading),
        ((vs.LN_C, vs.VAR_LN_C, 0), (vs.BETA, vs.VAR_BETA, 1), (vs.Z0, vs.VAR_Z0, 2))),
    "standard solid": (
        STANDARD, lambda c: np.array([math.log(0.03), math.log(0.1), math.log(0.004), 0.0]),
        lambda c: lambda p: StandardSolid(math.exp(p[0]), math.exp(p[1]), math.exp(p[2])),
        ((vs.RELAXED, vs.VAR_RELAXED, 0), (vs.INSTANT, vs.VAR_INSTANT, 1),
         (vs.TIME, vs.VAR_TIME, 2), (vs.Z0, vs.VAR_Z0, 3))),
}  # fmt: skip


@pytest.mark.parametrize("name", CASES)
def test_no_bias_the_bound_reached_and_intervals_that_hold(name):
    solid, start, make, columns = CASES[name]
    curve = clean(solid)
    result = fitted(solid, 2000)
    table = result.stage_tables["viscous"]
    assert (table[:, vs.STATE] == vs.GOOD).all()
    par = start(curve)
    least = bound(result, par, make(curve), curve)
    for column, variance, p in columns:
        truth = par[p]
        if column in (vs.LN_C, vs.RELAXED, vs.INSTANT):
            truth += math.log(STIFF)
        value, told = table[:, column], np.sqrt(table[:, variance])
        off = np.median(value) - truth  # of a logarithm: relative
        assert abs(off / (truth if column == vs.BETA else 1.0)) < 0.01, (name, column)
        assert value.std() < 1.15 * least[p], (name, column)
        assert 0.93 < np.mean(np.abs(value - truth) < 1.96 * told) < 0.97, (name, column)


@pytest.mark.parametrize("solid", [PowerLawSolid(0.5, 0.1), PowerLawSolid(0.01, 0.4),
                                   StandardSolid(0.2, 0.5, 0.01)])  # fmt: skip
def test_stiff_soft_and_slow_samples_are_unbiased_too(solid):
    result = fitted(solid, 400)
    found = result.channel("relaxation_modulus")[0]
    assert np.isfinite(found).mean() > 0.9  # a slow relaxation may end at the bound c∞ = 0
    truth = float(solid.relaxation(clean(solid).loading))
    assert np.nanmedian(found) == pytest.approx(truth, rel=0.01)
    if isinstance(solid, PowerLawSolid):
        beta = np.nanmedian(result.channel("relaxation_exponent"))
        assert beta == pytest.approx(solid.exponent, rel=0.015)


def test_a_measured_pull_off_and_a_hold_are_part_of_the_model():
    for pull, hold in ((6.0, 0.0), (0.0, 0.01), (6.0, 0.01)):
        held = round(hold * RAMP.rate)
        change = {"fit.adhesion": "constant"} if pull else {}
        result = fitted(POWER, 400, change, pull, hold, held=held)
        beta = result.channel("relaxation_exponent")[0]
        told = result.errors("relaxation_exponent")[0]
        assert np.nanmedian(beta) == pytest.approx(0.2, rel=0.015), (pull, hold)
        assert 0.9 < np.mean(np.abs(beta - 0.2) < 1.96 * told) < 0.99, (pull, hold)


def test_a_hold_that_is_not_recorded_is_seen_in_the_residual():
    result = fitted(POWER, 20, hold=0.02)
    assert np.median(result.stage_tables["viscous"][:, vs.RESIDUAL]) > 2.0 * NOISE


def test_missing_samples_do_not_shift_the_times():
    curve = clean(POWER)
    z, d = [curve.approach_z.copy(), curve.retract_z], [curve.approach_d, curve.retract_d]
    rng = np.random.default_rng(2)
    z[0][100:200] = np.nan  # before contact
    d = [part + rng.normal(0.0, 0.01, part.size) for part in d]
    fmap = ForceMap.from_arrays([z], [d], shape=(1, 1), spring_constant=K, radius=RADIUS,
                                sampling_rate=RAMP.rate)  # fmt: skip
    result = analyse(fmap, SETTINGS.with_value("viscous.model", "power_law"))
    assert result.channel("relaxation_exponent")[0, 0] == pytest.approx(0.2, abs=0.004)


# ---- works


def test_the_loss_fraction_and_the_parts_of_the_lost_work():
    """Against ∫F dδ of the clean curves by the trapezium rule on δ; all works add up to ∮F dz."""
    curve = clean(POWER, 6.0)
    result = fitted(POWER, 400, {"fit.adhesion": "constant"}, 6.0)
    works = []
    for z, d in ((curve.approach_z, curve.approach_d), (curve.retract_z, curve.retract_d)):
        depth, force = z - d, np.maximum(K * d, 0.0)
        works.append(abs(float(np.trapezoid(force, depth))))
    loss = result.channel("loss_fraction")[0]
    assert np.median(loss) == pytest.approx(1.0 - works[1] / works[0], abs=0.01)
    viscous, adhesive = (result.channel(n)[0] for n in ("viscous_work", "adhesion_loss"))
    assert np.median(viscous) == pytest.approx(works[0] - works[1], rel=0.02)
    both = viscous + adhesive
    assert np.median(np.abs(both - result.channel("dissipation")[0])) < 0.02 * np.median(both)
    told = result.errors("loss_fraction")[0]
    assert 0.9 < np.median(told) / loss.std() < 1.15


def test_an_elastic_sample_loses_nothing():
    result = fitted(PowerLawSolid(0.05, 0.0), 300)
    loss, told = result.channel("loss_fraction")[0], result.errors("loss_fraction")[0]
    assert abs(np.median(loss)) < 0.005
    assert np.mean(np.abs(loss) < 1.96 * told) > 0.9


# ---- failures and bad input


def test_a_parameter_at_its_bound_is_no_number():
    """An elastic sample has β = 0, which is the bound: half of the noise pushes it there."""
    result = fitted(PowerLawSolid(0.05, 0.0), 200)
    state = result.stage_tables["viscous"][:, vs.STATE]
    at_bound = state == vs.AT_BOUND
    assert 0.3 < at_bound.mean() < 0.8
    beta = result.channel("relaxation_exponent")[0]
    assert np.isnan(beta[at_bound]).all()
    assert np.isfinite(beta[state == vs.GOOD]).all()
    row = int(np.flatnonzero(at_bound)[0])
    assert "viscous_bound" in names_of(int(result.doubts[0, row]))
    assert not result.severe.any()  # the elastic numbers hold
    assert np.isnan(result.channel("relaxation_modulus")[0, row])
    assert np.isfinite(result.channel("loss_fraction")[0, row])


def test_without_a_sampling_rate_nothing_is_fitted_and_it_is_said():
    settings = SETTINGS.with_value("viscous.model", "power_law")
    fmap = as_map(clean(POWER), 3, rate=None)
    result = analyse(fmap, settings)
    assert np.isnan(result.channel("relaxation_exponent")).all()
    assert np.isfinite(result.channel("loss_fraction")).all()
    assert np.isfinite(result.channel("modulus")).all()
    assert result.doubt_counts()["viscous_untimed"] == 3
    said = dict(missing(fmap, settings))
    assert "No sampling rate (Hz)" in said["viscous.model"]
    assert "viscous.model" not in dict(missing(fmap, SETTINGS))


def test_a_second_cycle_has_no_simple_history():
    curve = clean(POWER)
    z = [curve.approach_z, curve.retract_z] * 2
    d = [curve.approach_d, curve.retract_d] * 2
    fmap = ForceMap.from_arrays([z], [d], shape=(1, 1), spring_constant=K, radius=RADIUS,
                                segments=["approach", "retract"] * 2, sampling_rate=RAMP.rate)
    result = analyse(fmap, SETTINGS.with_value("viscous.model", "power_law"))
    assert result.stage_tables["viscous"][0, vs.STATE] == vs.UNTIMED


def test_odd_curves_give_states_and_no_numbers():
    curve = clean(POWER)
    rng = np.random.default_rng(5)
    good = [curve.approach_d, curve.retract_d]
    noise = [rng.normal(0.0, NOISE, part.size) for part in good]
    short = [[curve.approach_z[-8:], curve.retract_z[:8]], [part[:8] for part in noise]]
    flat = [np.minimum(curve.approach_d, 2.0), np.minimum(curve.retract_d, 2.0)]
    z = [curve.approach_z, curve.retract_z]
    fmap = ForceMap.from_arrays(
        [z, short[0], z, z, [z[0], z[1][::-1]], [z[0], z[1][:0]]],
        [noise, short[1], flat, good[::-1], [good[0], good[1][::-1]], [good[0], good[1][:0]]],
        shape=(1, 6), spring_constant=K, radius=RADIUS, sampling_rate=RAMP.rate)  # fmt: skip
    for model in ("power_law", "standard_solid"):
        result = analyse(fmap, SETTINGS.with_value("viscous.model", model))
        state = result.stage_tables["viscous"][:, vs.STATE]
        assert state[0] == vs.NO_CONTACT
        assert state[5] == vs.NO_CONTACT
        for name in asked_for(result.settings):
            values = result.channel(name)[0]
            assert not np.isinf(values).any(), name
        bad = state != vs.GOOD
        assert np.isnan(result.channel("relaxation_modulus")[0, bad]).all()


# ---- the stage


def test_the_stage_runs_only_when_it_is_asked_and_its_key_holds_what_it_depends_on():
    fmap = as_map(clean(POWER), 4)
    off = analyse(fmap, SETTINGS)
    assert off.stage_tables["viscous"].shape == (4, 0)
    assert "relaxation_exponent" not in [c.name for c, _, _ in off.channels()]
    assert np.isnan(off.channel("relaxation_exponent")).all()
    on = analyse(fmap, SETTINGS.with_value("viscous.model", "power_law"), previous=off)
    assert on.stage_tables["fit"] is off.stage_tables["fit"]
    for change in ({"viscous.model": "standard_solid"}, {"fit.law": "cone", "tip.half_angle": 30.0},
                   {"fit.adhesion": "constant"}, {"fit.fraction_from": 30.0},
                   {"baseline.extent": 80.0}):  # fmt: skip
        settings = on.settings.with_values(change)
        again, fresh = analyse(fmap, settings, previous=on), analyse(fmap, settings)
        table = again.stage_tables["viscous"]
        assert np.array_equal(table, fresh.stage_tables["viscous"], equal_nan=True)
        assert not np.array_equal(table, on.stage_tables["viscous"], equal_nan=True), change
    softer = analyse(fmap, on.settings.with_value("tip.radius", 10.0), previous=on)
    assert softer.stage_tables["viscous"] is on.stage_tables["viscous"]


def test_curve_view_and_map_agree_and_the_result_file_holds_the_channels(tmp_path):
    fmap = as_map(clean(POWER), 4)
    result = analyse(fmap, SETTINGS.with_value("viscous.model", "power_law"))
    seen = explain(fmap, result.settings, 0, 2, result)
    saved = load_analysis(save_analysis(tmp_path / "r.h5", result))
    names = set(saved.channels)
    assert names == set(asked_for(result.settings))
    assert "modulus_instant" not in names
    for name in ("relaxation_exponent", "relaxation_modulus", "viscous_work"):
        assert seen.values[name][0] == result.channel(name)[0, 2]
        assert CHANNELS[name].asked(result.settings)


def test_units_do_not_matter():
    """Twice the force constant and modulus, everything else equal: the same β and times."""
    double = replace(LEVER, spring_constant=2 * K)
    curve = relaxing_curve(double, replace(RAMP, set_force=60.0), PowerLawSolid(0.1, 0.2), NU)
    assert np.allclose(curve.approach_d, clean(POWER).approach_d, atol=1e-6)
    fast = relaxing_curve(LEVER, replace(RAMP, rate=5e6), PowerLawSolid(0.05, 0.2, 1e-3), NU)
    assert np.allclose(fast.approach_d, clean(POWER).approach_d, atol=1e-5)


def test_the_simulated_curve_obeys_the_numeric_solution():
    """Its δ(t) put into `contact_force`, a third way, gives its force."""
    for solid in (POWER, STANDARD):
        curve = clean(solid)
        t = np.concatenate([curve.approach_time, curve.retract_time])
        z = np.concatenate([curve.approach_z, curve.retract_z])
        d = np.concatenate([curve.approach_d, curve.retract_d])
        inside = (t > 0.0) & (d > 0.1)
        depth = np.append(0.0, (z - d)[inside])
        force, _ = contact_force(np.append(0.0, t[inside]), depth, solid, 1.5, STIFF)
        assert np.abs(force[1:] - d[inside]).max() < 3e-3 * d.max()


# ---- several speeds


def test_the_modulus_grows_with_the_speed_to_the_power_beta():
    """At equal depth E goes with v^β; at equal force, as here, the faster dent is shallower and
    shorter, and F ∝ E δ^(3/2) with E ∝ (v/δ)^β gives the exponent β/(1 - 2β/3)."""
    maps, beta = [], 0.15
    rates = (1000.0, 5000.0, 25000.0)
    for rate in rates:
        ramp = Ramp(travel=300.0, samples=1024, set_force=8.0, rate=rate)
        curve = relaxing_curve(LEVER, ramp, PowerLawSolid(0.002, beta), NU)
        maps.append(analyse(as_map(curve, 60, seed=int(rate), rate=rate), SETTINGS))
    found = modulus_against_speed(maps)
    speeds = [row.speed for row in found.table]
    assert speeds == pytest.approx([300.0 / 1023 * rate for rate in rates], rel=1e-6)
    assert found.slope == pytest.approx(beta / (1.0 - 2.0 * beta / 3.0), rel=0.03)
    assert 0.0 < found.error < 0.01
    assert found.reason == ""


def test_a_slope_that_cannot_be_had_is_nan_with_a_reason():
    one = analyse(as_map(clean(POWER), 3), SETTINGS)
    same = modulus_against_speed([one, one])
    assert math.isnan(same.slope)
    assert "two different speeds" in same.reason
    untimed = analyse(as_map(clean(POWER), 3, rate=None), SETTINGS)
    none = modulus_against_speed([one, untimed])
    assert math.isnan(none.slope)
    assert "no sampling rate" in none.reason
    assert len(none.table) == 2
