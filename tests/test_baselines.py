"""Tilt, fringes, drag and drift are found on curves that have them, as well as they claim.

The curves are a clean one with noise of its own laid on each time, so that scatter is the truth.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from scipy.integrate import quad

from palpate.core.columns import baseline as bl
from palpate.core.columns import fit as ft
from palpate.core.doubts import DOUBTS
from palpate.core.explain import explain
from palpate.core.forcemap import ForceMap
from palpate.core.models import surroundings
from palpate.core.pipeline import analyse, request_of
from palpate.core.settings import Settings
from palpate.core.simulate import Lever, Ramp, simulate_curve
from palpate.core.steps import fringes
from palpate.core.workfile import save_analysis

K, RADIUS, NU, NOISE, RATE = 2.0, 20.0, 0.35, 0.08, 20000.0
PERIOD = 335.0  # half of 670 nm, common practice
COUNT = 600


@cache
def clean(modulus=1.0, **ramp):
    """z and deflection without noise, (2, samples) each in time order."""
    lever = Lever(K, 60.0, "paraboloid", RADIUS, 0.0)
    given = {"travel": 300.0, "samples": 500, "set_force": 30.0, "rate": RATE} | ramp
    rng = np.random.default_rng(0)
    return simulate_curve(lever, Ramp(**given), modulus, NU, 6.0, 2.0, rng)[:2]


def many(count=COUNT, seed=1, noise=NOISE, modulus=1.0, **ramp):
    """A map of one clean curve with noise of its own on each."""
    z, d = clean(modulus, **ramp)
    d = d + np.random.default_rng(seed).normal(0.0, noise, (count, *d.shape))
    return ForceMap.from_arrays(np.broadcast_to(z, d.shape), d, shape=(1, count),
                                spring_constant=K, radius=RADIUS, sampling_rate=RATE)  # fmt: skip


def found(fmap, **change):
    values = {name.replace("__", "."): value for name, value in change.items()}
    return analyse(fmap, Settings().with_values({"sample.poisson_ratio": NU} | values))


def holds(value, error, truth):
    """Bias in standard errors of the mean, and the share of 95 % intervals that hold the truth."""
    score = (value - truth) / error
    return score.mean() * np.sqrt(score.size), np.mean(np.abs(score) < 1.96)


def agree(value, error, truth, most_bias=0.25):
    """The intervals hold, and the bias is a small part of one curve's uncertainty."""
    bias, share = holds(value, error, truth)
    assert abs(bias) < most_bias * np.sqrt(value.size), bias
    assert 0.90 < share < 0.985, share


SUBTRACT = {"baseline__fringes": "subtract", "baseline__period": PERIOD}


# ---- each of them is found


@pytest.mark.parametrize("branches", ["separate", "drag", "drift"])
def test_tilt_is_found_within_its_uncertainty(branches):
    result = found(many(tilt=7e-4), baseline__branches=branches)
    agree(*result.per_curve("baseline_slope"), 7e-4)


@pytest.mark.parametrize("branches", ["separate", "drag", "drift"])
def test_a_wave_and_the_tilt_under_it_are_found_within_their_uncertainty(branches):
    fmap = many(tilt=4e-4, fringe=0.3, period=PERIOD, fringe_phase=1.1)
    result = found(fmap, baseline__branches=branches, **SUBTRACT)
    base = result.stage_tables["baseline"]
    size = np.hypot(base[:, bl.WAVE_SIN], base[:, bl.WAVE_COS])
    agree(size, np.sqrt(base[:, bl.VAR_WAVE]), 0.3)
    phase = np.arctan2(base[:, bl.WAVE_COS], base[:, bl.WAVE_SIN])
    assert np.median(phase) == pytest.approx(1.1, abs=0.02)
    agree(*result.per_curve("baseline_slope"), 4e-4)
    assert np.median(base[:, bl.B_NOISE]) == pytest.approx(NOISE, rel=0.02)


@pytest.mark.parametrize("change", [{}, {"baseline__branches": "drag"}, SUBTRACT,
                                    SUBTRACT | {"baseline__branches": "drag"}])  # fmt: skip
def test_drag_is_found_within_its_uncertainty(change):
    """The offset of the branches is 2 F_h (common practice, no source): 0.3 nm times k."""
    result = found(many(tilt=4e-4, drag=0.3), **change)
    agree(*result.per_curve("drag"), 0.3 * K)
    assert np.isnan(result.channel("drift")).all()


def test_drag_and_drift_are_saved_in_si_units(tmp_path):
    import h5py

    result = found(many(5, drift=0.5), baseline__branches="drift")
    with h5py.File(save_analysis(tmp_path / "r.h5", result)) as file:
        saved = file["entry/maps"]["drift"]
        assert saved.attrs["units"] == "m/s"
        assert saved[()] == pytest.approx(1e-9 * result.channel("drift"), rel=1e-9)


@pytest.mark.parametrize("change", [{}, SUBTRACT])
def test_drift_is_found_within_its_uncertainty(change):
    """0.5 nm over the two branches; a rate by the sampling rate."""
    result = found(many(tilt=4e-4, drift=0.5), baseline__branches="drift", **change)
    agree(*result.per_curve("drift"), 0.5 * RATE / (2 * 500 - 1))
    agree(*result.per_curve("baseline_slope"), 4e-4)
    assert np.isnan(result.channel("drag")).all()


def test_drift_goes_on_in_a_hold_and_past_missing_samples():
    z, d = clean(tilt=4e-4)
    rate, hold = 5.0, 400  # nm/s
    time = np.arange(z.shape[1]) / RATE
    later = (z.shape[1] + hold) / RATE
    rng = np.random.default_rng(3)
    zs = [[z[0], np.full(hold, z[0, -1]), z[1]] for _ in range(200)]
    ds = []
    for _ in range(200):
        there = d[0] + rate * time + rng.normal(0, NOISE, time.size)
        back = d[1] + rate * (later + time) + rng.normal(0, NOISE, time.size)
        there[rng.integers(0, 300, 6)] = np.nan
        ds.append([there, np.full(hold, d[0, -1]), back])
    segments = ("approach", "hold", "retract")
    fmap = ForceMap.from_arrays(zs, ds, shape=(1, 200), spring_constant=K, radius=RADIUS,
                                sampling_rate=RATE, segments=segments)  # fmt: skip
    result = found(fmap, baseline__branches="drift")
    agree(*result.per_curve("drift"), rate)


def test_without_a_sampling_rate_the_drift_is_taken_off_but_no_rate_is_told():
    z, d = clean(drift=0.5)
    d = d + np.random.default_rng(4).normal(0.0, NOISE, (50, *d.shape))
    fmap = ForceMap.from_arrays(np.broadcast_to(z, d.shape), d, shape=(1, 50), spring_constant=K,
                                radius=RADIUS)  # fmt: skip
    result = found(fmap, baseline__branches="drift")
    assert np.isnan(result.channel("drift")).all()
    assert np.median(result.stage_tables["baseline"][:, bl.DRIFT]) == pytest.approx(0.5, abs=0.03)


# ---- against an independent solution


def design(z, t, back, mode, wave):
    """The model of `steps/joint.py` as a matrix, about z = 0."""
    one, none = np.ones_like(z), np.zeros_like(z)
    if mode == "separate":
        columns = [none, none, one, z] if back else [one, z, none, none]
    elif mode == "drag":
        columns = [none, one, z] if back else [one, none, z]
    else:
        columns = [one, z, t]
    if wave:
        columns += [np.sin(2 * np.pi * z / PERIOD), np.cos(2 * np.pi * z / PERIOD)]
    return np.stack(columns, axis=1)


@pytest.mark.parametrize(("mode", "wave"), [
    ("drag", False), ("drift", False), ("separate", True), ("drag", True), ("drift", True),
])  # fmt: skip
def test_line_wave_and_their_covariance_agree_with_numpy_least_squares(mode, wave):
    fmap = many(1, seed=5, tilt=4e-4, fringe=0.3, period=PERIOD, drag=0.2)
    change = SUBTRACT if wave else {}
    row = found(fmap, baseline__branches=mode, **change).stage_tables["baseline"][0]
    s = fmap.samples(0)
    count = s.approach_z.size
    parts = []
    for back, at, z, d in ((0, bl.APPROACH, s.approach_z, s.approach_signal),
                           (1, bl.RETRACT, s.retract_z[::-1], s.retract_signal[::-1])):  # fmt: skip
        i = np.arange(int(row[at + bl.B_FIRST]), int(row[at + bl.B_LAST]))
        number = (2 * count - 1 - i) if back else i
        t = number / (2 * count - 1) - 0.5
        parts.append((design(z[i], t, back, mode, wave), d[i]))
    x, y = (np.concatenate(both) for both in zip(*parts, strict=True))
    p, *_ = np.linalg.lstsq(x, y, rcond=None)
    dof = 1.0 - x.shape[1] / y.size
    noise = [np.sqrt(np.sum((b - a @ p) ** 2) / (b.size * dof)) for a, b in parts]
    inverse = np.linalg.inv(x.T @ x)
    middle = sum(n**2 * a.T @ a for n, (a, _) in zip(noise, parts, strict=True))
    covariance = inverse @ middle @ inverse
    assert row[bl.B_NOISE] == pytest.approx(noise[0], rel=1e-6)
    assert row[bl.RETRACT + bl.B_NOISE] == pytest.approx(noise[1], rel=1e-6)
    # the whole baseline at the first sample in contact and at the peak, and its variance there
    report = explain(fmap, Settings().with_values(
        {"baseline.branches": mode} | ({"baseline.fringes": "subtract", "baseline.period": PERIOD}
                                       if wave else {})), 0, 0)  # fmt: skip
    for back, at, branch in ((0, bl.APPROACH, report.approach), (1, bl.RETRACT, report.retract)):
        touch = int(row[at + bl.B_TOUCH])
        for i in (touch, count - 1):
            t = ((2 * count - 1 - i) if back else i) / (2 * count - 1) - 0.5
            g = design(branch.z[i : i + 1], np.array([t]), back, mode, wave)[0]
            assert branch.line[i] == pytest.approx(g @ p, abs=1e-8)
            arm = branch.z[i] - row[at + bl.B_CENTRE]
            told = (row[at + bl.B_VAR_OFFSET] + arm**2 * row[at + bl.B_VAR_SLOPE]
                    + 2 * arm * row[at + bl.B_COV])  # fmt: skip
            assert told == pytest.approx(g @ covariance @ g, rel=1e-6)


# ---- fringes that can't be fitted, or are left


def test_fringes_are_not_fitted_on_less_than_half_a_period_and_that_is_doubted():
    """At least half a period of free baseline: common practice, no source."""
    short = many(20, travel=170.0, fringe=0.3, period=PERIOD)
    result, plain = found(short, **SUBTRACT), found(short)
    assert result.doubt_counts()["fringes_unknown"] == 20
    for name in ("modulus", "adhesion", "noise"):
        assert np.array_equal(result.channel(name), plain.channel(name))
    assert np.isnan(result.stage_tables["baseline"][:, bl.WAVE_NUMBER]).all()
    enough = found(many(20, travel=230.0, fringe=0.3, period=PERIOD), **SUBTRACT)
    assert "fringes_unknown" not in enough.doubt_counts()
    assert (enough.stage_tables["baseline"][:, bl.WAVE_NUMBER] > 0).all()


def test_a_wave_that_is_left_is_doubted_where_its_period_is_known():
    high, low = many(20, fringe=0.4, period=PERIOD), many(20, fringe=0.1, period=PERIOD)
    known = {"baseline__period": PERIOD}
    assert found(high, **known).doubt_counts()["fringes"] == 20
    seen = found(high, **known).stage_tables["baseline"][:, bl.WAVE_SEEN]
    assert np.median(seen) == pytest.approx(0.4 / NOISE, rel=0.05)
    assert "fringes" not in found(low, **known).doubt_counts()
    assert "fringes" in found(low, doubts__worst_fringe=1.0, **known).doubt_counts()
    assert found(high).doubt_counts()["fringes"] == 20  # the period is found
    assert "fringes" not in found(high, **SUBTRACT).doubt_counts()
    untouched, looked = found(high), found(high, **known)
    for name in ("modulus", "adhesion", "noise", "baseline_slope"):
        assert np.array_equal(looked.channel(name), untouched.channel(name))


@pytest.mark.parametrize("phase", [0.0, 1.6, 3.1, 4.7])
def test_fringes_bias_a_stiff_modulus_and_subtracting_them_ends_that(phase):
    wave = {"fringe": 0.4, "period": PERIOD, "fringe_phase": phase, "travel": 360.0}
    fmap = many(300, modulus=3.0, **wave)
    plain = many(300, modulus=3.0, travel=360.0)
    truth = np.median(found(plain).channel("modulus"))
    before, after = found(fmap), found(fmap, **SUBTRACT)
    biased = np.median(before.channel("modulus")) / truth - 1.0
    left = np.median(after.channel("modulus")) / truth - 1.0
    assert abs(biased) > 0.03
    assert abs(left) < 0.3 * abs(biased)
    assert abs(left) < 0.015
    value, error = after.per_curve("modulus")
    assert 0.90 < np.mean(np.abs(value - 3.0) < 1.96 * error) < 0.985


# ---- the period


@pytest.mark.parametrize("period", [160.0, 335.0, 520.0])
@pytest.mark.parametrize("size", [0.06, 0.5])
def test_the_period_is_found_within_two_per_cent(period, size):
    rng = np.random.default_rng(8)
    z, d = clean(travel=600.0)
    phase = rng.uniform(0, 2 * np.pi, (100, 1, 1))
    d = d + size * np.sin(2 * np.pi * z / period + phase)
    d += rng.normal(0.0, NOISE, d.shape)
    fmap = ForceMap.from_arrays(np.broadcast_to(z, d.shape), d, deflection_unit="V",
                                shape=(10, 10))  # fmt: skip
    subtract = Settings().with_value("baseline.fringes", "subtract")
    assert fringes.fringe_period(fmap, subtract) == pytest.approx(period, rel=0.02)


@pytest.mark.parametrize("slow", [0.0, 0.02])
def test_no_period_is_found_where_there_is_no_wave(slow):
    """White noise, and a wandering zero: a bend is no wave."""
    rng = np.random.default_rng(9)
    z, d = clean(travel=600.0)
    d = d + rng.normal(0.0, NOISE, (100, *d.shape))
    d += slow * np.cumsum(rng.normal(size=d.shape), axis=2)
    fmap = ForceMap.from_arrays(np.broadcast_to(z, d.shape), d, shape=(10, 10), spring_constant=K)
    result = found(fmap, baseline__fringes="subtract")
    assert np.isnan(request_of(fmap, result.settings).period)
    plain = found(fmap)
    assert np.array_equal(result.channel("adhesion"), plain.channel("adhesion"))


def test_the_period_is_worked_out_once_for_a_map_and_only_when_it_is_not_given(monkeypatch):
    searched = []
    inner = fringes._search
    monkeypatch.setattr(fringes, "_search", lambda fmap: searched.append(1) or inner(fmap))
    fmap = many(30, travel=500.0, fringe=0.3, period=PERIOD)
    found(fmap, **SUBTRACT)
    assert not searched
    first = found(fmap, baseline__fringes="subtract")
    found(fmap)
    again = analyse(fmap, first.settings.with_value("fit.fraction_from", 20.0), previous=first)
    assert len(searched) == 1
    assert again.stage_tables["baseline"] is first.stage_tables["baseline"]
    explain(fmap, first.settings, 0, 3)
    assert len(searched) == 1


def test_the_analysis_tells_what_became_of_the_fringes():
    fmap = many(30, travel=500.0, fringe=0.3, period=PERIOD)
    left, taken = found(fmap), found(fmap, baseline__fringes="subtract")
    (said,) = left.remarks
    assert "were left there" in said
    assert left.period == taken.period == pytest.approx(PERIOD, rel=0.02)
    assert taken.remarks[0].endswith("were found and subtracted.")
    assert f"{taken.period:.4g} nm" in taken.remarks[0]
    assert found(fmap, **SUBTRACT).remarks == []  # as the person typed it
    quiet = many(30, travel=500.0)
    assert found(quiet).remarks == []
    assert "none were subtracted" in found(quiet, baseline__fringes="subtract").remarks[0]


def test_another_period_or_another_way_of_the_branches_runs_the_baseline_anew():
    fmap = many(10, fringe=0.3, period=PERIOD)
    first = found(fmap, **SUBTRACT)
    for path, value in (("baseline.period", 300.0), ("baseline.branches", "drag"),
                        ("baseline.fringes", "leave")):  # fmt: skip
        settings = first.settings.with_value(path, value)
        again, fresh = analyse(fmap, settings, previous=first), analyse(fmap, settings)
        assert again.stage_tables["baseline"] is not first.stage_tables["baseline"]
        for name in ("modulus", "adhesion", "drag"):
            assert np.array_equal(again.channel(name), fresh.channel(name), equal_nan=True)


# ---- what is seen, and what others rely on


@pytest.mark.parametrize("change", [
    {}, {"baseline.branches": "drift"}, {"baseline.branches": "drag"},
    {"baseline.fringes": "subtract", "baseline.period": PERIOD},
    {"baseline.fringes": "subtract", "baseline.period": PERIOD, "baseline.branches": "drift"},
])  # fmt: skip
def test_the_curve_shows_the_whole_baseline_before_and_after(change):
    from palpate.core.curveaxes import baseline_of

    fmap = many(3, tilt=3e-4, fringe=0.3, period=PERIOD, drift=0.4)
    settings = Settings().with_values(change)
    report, result = explain(fmap, settings, 0, 1), analyse(fmap, settings)
    for branch in (report.approach, report.retract):
        assert branch.raw - branch.line == pytest.approx(branch.d, abs=1e-12)
        assert baseline_of(branch, branch.z) == pytest.approx(branch.line, abs=1e-9)
        bent = np.ptp(branch.line - np.linspace(branch.line[0], branch.line[-1], branch.z.size))
        assert (bent > 0.2) == ("baseline.fringes" in change)
        free = branch.z < branch.free[1]
        if "baseline.fringes" in change:
            assert np.std(branch.d[free]) == pytest.approx(NOISE, rel=0.1)
    for name in ("modulus", "adhesion", "drag", "drift", "peak_force"):
        value = result.channel(name)[0, 1]
        assert report.values[name][0] == value or (np.isnan(value))
    z, d = report.approach.z[-5:] - report.peak[0], report.approach.d[-5:]
    assert report.peak[1] == pytest.approx(np.polyfit(z, d, 1)[1], abs=1e-3)  # a line through five


def test_the_curve_view_draws_the_wave_under_the_samples(qtbot):
    from palpate.app.views.curve_view import CurveView

    fmap = many(1, fringe=0.3, period=PERIOD)
    settings = Settings().with_values({"baseline.fringes": "subtract", "baseline.period": PERIOD})
    report, view = explain(fmap, settings, 0, 0), CurveView()
    qtbot.addWidget(view)
    view.set_axes("z", "measured")
    view.show_report(report)
    for name in ("zero", "baseline"):
        x, y = view.items.lines[name].getData()
        assert x.size > 100
        for branch, half in ((report.approach, 0), (report.retract, 1)):
            at, line = np.split(x, 2)[half], np.split(y, 2)[half]
            assert line == pytest.approx(np.interp(at, branch.z, branch.line), abs=1e-6)
    view.set_axes("z", "deflection")
    assert np.abs(view.items.lines["baseline"].getData()[1]).max() == 0.0


def test_lines_of_their_own_stay_what_they_were():
    """Nothing of a wave or a drift stands in the table, and the line is all that is taken off."""
    fmap = many(5, tilt=3e-4, drag=0.2)
    base = found(fmap).stage_tables["baseline"]
    for column in (bl.WAVE_NUMBER, bl.WAVE_SIN, bl.DRIFT, bl.WAVE_SEEN, bl.VAR_TILT):
        assert np.isnan(base[:, column]).all()
    report = explain(fmap, Settings(), 0, 2)
    for at, branch in ((bl.APPROACH, report.approach), (bl.RETRACT, report.retract)):
        row = base[2]
        line = row[at] + row[at + bl.B_SLOPE] * (branch.z - row[at + bl.B_CENTRE])
        assert np.array_equal(branch.line, line)


@pytest.mark.parametrize("change", [
    {"baseline__fringes": "subtract"}, {"baseline__branches": "drift"},
    SUBTRACT | {"baseline__branches": "drag"},
])  # fmt: skip
def test_budgets_and_comparisons_take_the_same_baseline_off(change):
    from palpate.core.comparison.runs import rows_of
    from palpate.core.progress import Progress
    from palpate.core.uncertainty.response import Curves

    fmap = many(12, travel=500.0, fringe=0.4, period=PERIOD, drift=0.4)
    result = found(fmap, **change)
    fit, curves = result.stage_tables["fit"], np.arange(12)
    again = Curves.of(result, curves).again()
    assert again == pytest.approx(fit[:, ft.LN_C] - np.log(result.constants.factor), rel=1e-12)
    rows = rows_of(fmap, result.settings, curves, None, Progress())
    assert np.array_equal(rows["fit"], fit, equal_nan=True)


def test_a_large_offset_of_the_branches_is_doubted():
    assert found(many(10, drag=1.0)).doubt_counts()["drag"] == 10  # a third of the adhesion
    assert "drag" not in found(many(10, drag=0.3)).doubt_counts()
    assert "drag" in found(many(10, drag=0.3), doubts__worst_drag=5.0).doubt_counts()
    assert DOUBTS["drag"].severity == "mild"


def test_one_branch_alone_tells_neither_drag_nor_drift():
    z, d = clean(fringe=0.3, period=PERIOD)
    d = d + np.random.default_rng(4).normal(0.0, NOISE, d.shape)
    fmap = ForceMap.from_arrays([[z[0], z[1, :0]]], [[d[0], d[1, :0]]], shape=(1, 1),
                                spring_constant=K, radius=RADIUS)  # fmt: skip
    for branches in ("drag", "drift"):
        result = found(fmap, baseline__branches=branches, **SUBTRACT)
        assert np.isnan([result.channel("drag"), result.channel("drift")]).all()
        assert result.channel("noise")[0, 0] == pytest.approx(NOISE, rel=0.15)
    assert np.isfinite(result.channel("peak_force")).all()


def test_offset_only_fits_no_slope_with_a_wave():
    fmap = many(50, fringe=0.3, period=PERIOD, travel=500.0)
    result = found(fmap, baseline__shape="offset", **SUBTRACT)
    base = result.stage_tables["baseline"]
    assert (base[:, bl.B_SLOPE] == 0.0).all()
    size = np.hypot(base[:, bl.WAVE_SIN], base[:, bl.WAVE_COS])
    assert np.median(size) == pytest.approx(0.3, abs=0.01)


# ---- what surrounds a lever


def test_drag_of_a_lever_from_its_resonance():
    # F = k v/(2π f Q): 1 N/m, 75 kHz, Q 200, 1 mm/s; worked out from the formula
    assert surroundings.drag_force(1.0, 75e3, 200.0, 1e6) == pytest.approx(1.061033e-2, rel=1e-6)


def test_squeeze_of_a_sphere_at_a_wall_agrees_with_reynolds_pressure():
    # 6πηR²v/D: R 5 µm, 10 µm/s, D 10 nm, air 1.86e-5 Pa s; worked out from the formula
    viscosity, radius, speed, gap = 1.86e-14, 5000.0, 1e4, 10.0
    force = surroundings.squeeze_force(viscosity, radius, speed, gap)
    assert force == pytest.approx(8.76504e-3, rel=1e-6)

    def pressure(r):  # Reynolds' equation between a paraboloid and a plane, p = 3ηRv/h²
        return 3.0 * viscosity * radius * speed / (gap + r * r / (2.0 * radius)) ** 2

    whole = quad(lambda r: 2.0 * np.pi * r * pressure(r), 0.0, np.inf)[0]
    assert force == pytest.approx(whole, rel=1e-6)


def test_jump_in_is_where_the_attraction_grows_as_fast_as_the_lever_pulls():
    # (A_H R/3k)^(1/3): 1e-19 J, 20 nm, 1 N/m; worked out from the formula
    distance = surroundings.jump_distance(0.1, 20.0, 1.0)
    assert distance == pytest.approx(0.873580, rel=1e-6)

    def pull(x):  # A_H R/(6 D²), Hamaker 1937 (from memory)
        return 0.1 * 20.0 / (6.0 * x * x)

    step = 1e-5
    gradient = (pull(distance - step) - pull(distance + step)) / (2 * step)
    assert gradient == pytest.approx(1.0, rel=1e-6)


def test_capillary_pull_of_water():
    # 4πγR cos θ: 72.8 mN/m, 20 nm; worked out from the formula
    assert surroundings.capillary_force(0.0728, 20.0) == pytest.approx(18.29664, rel=1e-6)
    neck = 0.01  # height of a thin neck [nm]: Laplace pressure 2γ cos θ/h over the area 2πRh
    laplace = 2 * 0.0728 * np.cos(np.radians(40.0)) / neck * 2 * np.pi * 20.0 * neck
    assert surroundings.capillary_force(0.0728, 20.0, 40.0) == pytest.approx(laplace, rel=1e-12)
