"""Each doubt is raised by the curve that deserves it, and by no good one."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from truth_curves import NOISE, RADIUS, Z0, K, Truth

from palpate.core.columns import fit as ft
from palpate.core.columns import viscous as vs
from palpate.core.doubts import DOUBTS, names_of
from palpate.core.explain import explain
from palpate.core.forcemap import ForceMap
from palpate.core.pipeline import analyse
from palpate.core.settings import Settings
from palpate.core.simulate import ski_boot

TRUTH = Truth(0.5)
RNG = np.random.default_rng(3)


def good(seed=1, truth=TRUTH):
    z, d = truth.noisy(1, seed)
    return [z[0, 0], z[0, 1]], [d[0, 0], d[0, 1]]


def doubts_of(z, d, change=None, others=9, **constants):
    """The doubts of one curve among good ones."""
    known = dict(spring_constant=K, radius=RADIUS, set_force=TRUTH.peak_force) | constants
    zs, ds = [z], [d]
    for seed in range(others):
        more = good(seed + 10)
        zs.append(more[0])
        ds.append(more[1])
    fmap = ForceMap.from_arrays(zs, ds, shape=(1, len(zs)), **known)
    result = analyse(fmap, Settings().with_values(change or {}))
    return set(names_of(int(result.doubts[0, 0]))), result


def no_contact(z, d):
    return z, [RNG.normal(0, NOISE, z[0].size), RNG.normal(0, NOISE, z[1].size)]


def no_baseline(z, d):
    keep = z[0] > Z0 - 6.0
    return [z[0][keep], z[1]], [d[0][keep], d[1]]


def no_release(z, d):
    keep = z[1] > Z0 - 2.0  # the pull ends at Z0 - 3.2
    return [z[0], z[1][keep]], [d[0], d[1][keep]]


def saturated(z, d):
    return z, [np.minimum(d[0], 9.0), np.minimum(d[1], 9.0)]


def saturated_retract(z, d):
    return z, [d[0], np.minimum(d[1], 9.0)]


def spikes(z, d):
    d[0][[200, 400]] += 5.0
    return z, d


def missing_samples(z, d):
    d[0][[200, 201]] = np.nan
    return z, d


def wrong_way(z, d):
    return [z[0][::-1], z[1]], [d[0][::-1], d[1]]


def wrong_way_back(z, d):
    return [z[0], z[1][::-1]], [d[0], d[1][::-1]]


def noisy(z, d):
    return z, [b + RNG.normal(0, 8 * NOISE, b.size) for b in d]


def set_force_missed(z, d):
    return good(2, Truth(0.5, peak_force=30.0))


def few_samples(z, d):
    return [z[0][::40], z[1][::40]], [d[0][::40], d[1][::40]]


def bad_fit(z, d):
    slip = np.where(z[0] > Z0 + 9.0, 1.5, 0.0)
    return z, [d[0] - slip, d[1]]


def slope_above_one(z, d):
    return z, [1.4 * (b - b[:50].mean()) for b in d]


def slope_near_one(z, d):
    rigid = np.maximum(z[0] - Z0, 0.0) * 1.006
    return z, [rigid + RNG.normal(0, NOISE, rigid.size),
               rigid[::-1] + RNG.normal(0, NOISE, rigid.size)]  # fmt: skip


def no_pull_off(z, d):
    return good(4, Truth(0.5, pull_off=0.05))


def too_short(z, d):
    return [z[0][:5], z[1]], [d[0][:5], d[1]]


def no_retract(z, d):
    return [z[0], z[1][:0]], [d[0], d[1][:0]]


def few_in_slope(z, d):
    return [z[0], z[1][::110]], [d[0], d[1][::110]]


def z_unsteady(z, d):
    return [z[0] + RNG.normal(0, 0.5, z[0].size), z[1]], d


def open_loop(z, d):
    return [z[0], z[1][40:]], [d[0], d[1][40:]]


def drag(z, d):
    return z, [d[0] + 0.5, d[1] - 0.5]


def fringes(z, d):
    return z, [b + 6.0 * NOISE * np.sin(2.0 * np.pi * a / 150.0) for a, b in zip(z, d, strict=True)]


def set_force_exceeded(z, d):
    return good(2, Truth(0.5, peak_force=50.0))


def z_clipped(z, d):
    """The base stops 5 nm below the peak, and the deflection with it."""
    top = z[0].max() - 5.0
    held = [b[(top < a) & (a < top + 0.5)].mean() for a, b in zip(z, d, strict=True)]
    return [np.minimum(a, top) for a in z], [
        np.where(a > top, h + RNG.normal(0, NOISE, b.size), b)
        for a, b, h in zip(z, d, held, strict=True)]  # fmt: skip


def z_clipped_far_away(z, d):
    return [z[0], np.maximum(z[1], z[1].min() + 20.0)], d


def z_lost(z, d):
    """The same, but only the record of z stops."""
    return [np.minimum(a, z[0].max() - 5.0) for a in z], d


def noise_correlated(z, d):
    """A moving mean over three: neighbours correlate by 2/3."""
    smooth = [np.convolve(np.pad(RNG.normal(0, 3 * NOISE, b.size), 1, "edge"), np.ones(3) / 3,
                          "valid") for b in d]  # fmt: skip
    return z, [b + s for b, s in zip(d, smooth, strict=True)]


def baseline_wavy(z, d):
    return z, [b + 8.0 * NOISE * np.sin(2.0 * np.pi * a / 70.0) for a, b in zip(z, d, strict=True)]


def tilt(z, d):
    return z, [b + 0.03 * a for a, b in zip(z, d, strict=True)]


def tilt_down(z, d):
    return z, [b - 0.03 * a for a, b in zip(z, d, strict=True)]


def residuals_structured(z, d):
    """A slip of six noises, too small to double the residual."""
    return z, [b - np.where(a > Z0 + 9.0, 6 * NOISE, 0.0) for a, b in zip(z, d, strict=True)]


def lever_too_soft(z, d):
    return good(3, Truth(8.0))


def lever_too_stiff(z, d):
    return good(3, Truth(0.02, pull_off=0.3, peak_force=14 * NOISE * K))


def second_pull(z, d):
    """A second well, half as deep as the pull, 25 nm further out."""
    return z, [d[0], d[1] - 1.6 * np.exp(-(((z[1] - Z0 + 25.0) / 4.0) ** 2))]


def second_pull_nearer(z, d):
    """The tip lets go twice: a step up within the pull, then down again."""
    at = (z[1] > Z0 - 1.5) & (z[1] < Z0 + 0.5)
    return z, [d[0], d[1] + np.where(at, 2.0, 0.0)]


def neck(z, d):
    """After release two thirds of the pull are left and fade over 20 nm."""
    gone = Z0 - TRUTH.pull_off / K - z[1]
    tail = np.where(gone > 0, 2.1 * np.exp(-np.maximum(gone, 0.0) / 20.0), 0.0)
    return z, [d[0], d[1] - tail]


def branches_differ(z, d):
    """The retract of a sample six times as stiff, from the same peak."""
    hard = Truth(3.0)
    base, stiff = good(5, hard)
    return [z[0], base[1] + z[0].max() - base[0].max()], [d[0], stiff[1]]


def slope_falls(z, d):
    zero = [b[:50].mean() if a[0] < a[-1] else b[-50:].mean() for a, b in zip(z, d, strict=True)]
    bent = [np.where(b > o, 9.0 * np.tanh((b - o) / 9.0) + o, b)
            for b, o in zip(d, zero, strict=True)]  # fmt: skip
    return z, [b + RNG.normal(0, 0.01, b.size) for b in bent]


def as_it_is(z, d):
    return z, d


CASES = [
    ("no_contact", no_contact, {}), ("no_baseline", no_baseline, {}),
    ("no_release", no_release, {}), ("saturated", saturated, {}),
    ("saturated", saturated_retract, {}), ("spikes", spikes, {}),
    ("missing_samples", missing_samples, {}), ("wrong_way", wrong_way, {}),
    ("wrong_way", wrong_way_back, {}), ("noisy", noisy, {}),
    ("set_force_missed", set_force_missed, {}), ("few_samples", few_samples, {}),
    ("bad_fit", bad_fit, {}), ("slope_above_one", slope_above_one, {}),
    ("slope_near_one", slope_near_one, {"fit.adhesion": "none"}),
    ("no_pull_off", no_pull_off, {}), ("too_short", too_short, {}),
    ("no_retract", no_retract, {}), ("few_in_slope", few_in_slope, {}),
    ("z_unsteady", z_unsteady, {}), ("open_loop", open_loop, {}),
    ("drag", drag, {}), ("fringes", fringes, {"baseline.period": 150.0}),
    ("fringes_unknown", as_it_is, {"baseline.period": 400.0}),
    ("window_cut", as_it_is, {"fit.fraction_from": -60.0}),
    ("set_force_exceeded", set_force_exceeded, {}), ("z_clipped", z_clipped, {}),
    ("z_clipped", z_clipped_far_away, {}), ("z_lost", z_lost, {}),
    ("noise_correlated", noise_correlated, {}), ("baseline_wavy", baseline_wavy, {}),
    ("tilt", tilt, {}), ("tilt", tilt_down, {}),
    ("residuals_structured", residuals_structured, {}), ("lever_too_soft", lever_too_soft, {}),
    ("lever_too_stiff", lever_too_stiff, {}), ("second_pull", second_pull, {}),
    ("second_pull", second_pull_nearer, {}), ("neck", neck, {}),
    ("branches_differ", branches_differ, {}), ("slope_falls", slope_falls, {}),
    ("contact_uncertain", noisy, {"doubts.worst_contact": 1.0}),
]  # fmt: skip


def test_a_good_curve_has_no_doubt():
    for seed in range(1, 9):
        for modulus in (0.05, 0.5, 2.0):
            found, _ = doubts_of(*good(seed, Truth(modulus)), others=0)
            assert found == set(), (seed, modulus)


@pytest.mark.parametrize(("name", "spoil", "change"), CASES)
def test_the_curve_that_has_it_is_doubted_and_its_neighbours_are_not(name, spoil, change):
    z, d = good()
    found, result = doubts_of(*spoil(z, d), change)
    assert name in found
    if name not in ("window_cut", "fringes_unknown"):
        assert not (result.doubts[0, 1:] & np.uint64(DOUBTS[name].mask)).any()
    assert result.severe[0, 0] == any(DOUBTS[n].severity == "severe" for n in found)


def test_every_doubt_has_its_case():
    covered = {name for name, *_ in CASES} | {
        "fit_failed", "not_calibrated", "at_bound", "fit_stuck", "no_contact_point", "beyond_law",
        "jkr_outside",
        "viscous_failed", "viscous_bound", "viscous_untimed", "viscous_bad_fit",
        "viscous_uncertain", "loss_below_zero", "modulus_uncertain", "modulus_unknown",
        "alone",  # test_mapdoubts_alone.py
        "steep_surface",
    }  # fmt: skip
    assert covered == set(DOUBTS)


@pytest.mark.parametrize(
    ("name", "column", "value", "severe"),
    [
        ("fit_failed", ft.STATE, ft.NOT_CONVERGED, True),
        ("fit_failed", ft.STATE, ft.NOT_POSITIVE, True),
        ("at_bound", ft.STATE, ft.AT_BOUND, True),
        ("fit_stuck", ft.STATE, ft.NOT_MOVED, True),
        ("no_contact_point", ft.STATE, ft.NO_POINT, True),
        ("beyond_law", ft.BEYOND, 1.3, True),
        ("modulus_uncertain", ft.VAR_LN_C, 0.4**2, False),
        ("modulus_unknown", ft.VAR_LN_C, 1.3**2, True),
    ],
)
def test_a_fit_that_went_wrong_is_doubted_and_gives_no_number(name, column, value, severe):
    """A state of the fit that is not good: its own doubt, NaN, and no other curve touched."""
    _, result = doubts_of(*good(), others=3)
    table = result.stage_tables["fit"].copy()
    table[0, column] = value
    spoiled = replace(result, stage_tables={**result.stage_tables, "fit": table}, _cache={})
    assert name in names_of(int(spoiled.doubts[0, 0]))
    assert spoiled.severe[0, 0] == severe
    assert np.isnan(spoiled.channel("modulus")[0, 0]) == (column == ft.STATE)
    assert not spoiled.severe[0, 1]


@pytest.mark.parametrize(("name", "figures"), [
    ("viscous_uncertain", {vs.STATE: vs.GOOD, vs.VAR_LN_C: 0.01, vs.VAR_TIME: 0.6**2}),
    ("viscous_uncertain", {vs.STATE: vs.GOOD, vs.VAR_LN_C: 0.6**2}),
    ("loss_below_zero", {vs.LOSS: -0.04, vs.VAR_LOSS: 0.01**2}),
])  # fmt: skip
def test_what_a_curve_does_not_tell_of_relaxation_is_doubted_mildly(name, figures):
    _, result = doubts_of(*good(), others=3)
    table = np.full((result.map.n_curves, vs.COLUMNS), np.nan)
    table[:, [*range(vs.SLOW_LN_C, vs.COLUMNS)]] = 0.0
    table[0, list(figures)] = list(figures.values())
    made = replace(result, stage_tables={**result.stage_tables, "viscous": table}, _cache={})
    assert names_of(int(made.doubts[0, 0])) == [name]
    assert not made.severe.any()
    calm = {vs.LOSS: -0.02, vs.VAR_LN_C: 0.1, vs.VAR_TIME: 0.1}  # below each limit
    table[0, list(calm)] = list(calm.values())
    again = replace(result, stage_tables={**result.stage_tables, "viscous": table}, _cache={})
    assert name not in names_of(int(again.doubts[0, 0]))


def test_jkr_with_too_sharp_a_tip_is_doubted():
    """A sharp tip on sticky rubber: the contact at zero load is wider than half the radius."""
    _, result = doubts_of(*good(1, Truth(0.004)), change={"fit.adhesion": "jkr"}, others=0)
    assert "jkr_outside" in names_of(int(result.doubts[0, 0]))
    _, stiff = doubts_of(*good(1, Truth(2.0)), change={"fit.adhesion": "jkr"}, others=0)
    assert "jkr_outside" not in names_of(int(stiff.doubts[0, 0]))


def test_without_a_constant_every_curve_is_severely_doubted():
    z, d = good()
    fmap = ForceMap.from_arrays([z], [d], deflection_unit="V", shape=(1, 1))
    result = analyse(fmap)
    assert names_of(int(result.doubts[0, 0])) == ["not_calibrated"]
    assert not result.trusted.any()


@pytest.mark.parametrize(("name", "spoil", "change"), [
    ("noisy", noisy, {"doubts.worst_noise": 50.0}),
    ("set_force_missed", set_force_missed, {"doubts.worst_set_force": 60.0}),
    ("bad_fit", bad_fit, {"doubts.worst_residual": 100.0}),
    ("few_samples", few_samples, {"doubts.least_samples": 4}),
    ("no_baseline", no_baseline, {"doubts.shortest_baseline": 0.0}),
])  # fmt: skip
def test_the_thresholds_are_those_of_the_settings(name, spoil, change):
    z, d = good()
    found, _ = doubts_of(*spoil(z, d))
    assert name in found
    if name == "no_baseline":  # 30 % of the travel in contact is asked for all the same
        strict, _ = doubts_of(*good(), {"doubts.shortest_baseline": 1e4})
        assert name in strict
        return
    again, _ = doubts_of(*spoil(*good()), change)
    assert name not in again


def raised(z, d, change=None, **constants):
    """What `explain` says of a curve, by name."""
    known = dict(spring_constant=K, radius=RADIUS, set_force=TRUTH.peak_force) | constants
    fmap = ForceMap.from_arrays([z], [d], shape=(1, 1), **known)
    found = explain(fmap, Settings().with_values(change or {}), 0, 0)
    return {r.name: r for r in found.doubts}


PLACES = [  # name, how it is spoiled, branch, and where it was put
    ("spikes", spikes, "approach", lambda z, d: (z[0][200], z[0][400])),
    ("missing_samples", missing_samples, "approach", lambda z, d: (z[0][199], z[0][202])),
    ("saturated", saturated_retract, "retract", lambda z, d: (z[1][d[1] > 9].min(), z[0].max())),
    ("z_clipped", z_clipped_far_away, "retract", lambda z, d: (z[1].min(), z[1].min() + 20.0)),
    ("second_pull", second_pull, "retract", lambda z, d: (Z0 - 27.0, Z0 - 23.0)),
    ("neck", neck, "retract", lambda z, d: (Z0 - 3.2 - 25.0, Z0 - 2.5)),
    ("baseline_wavy", baseline_wavy, "approach", lambda z, d: (z[0].min(), Z0)),
    ("residuals_structured", residuals_structured, "approach", lambda z, d: (Z0, z[0].max())),
    ("slope_falls", slope_falls, "approach", lambda z, d: (Z0 + 4.0, z[0].max())),
    ("no_baseline", no_baseline, "approach", lambda z, d: (Z0 - 6.0, Z0)),
    ("set_force_missed", set_force_missed, "approach", lambda z, d: (Z0, z[0].max())),
]


@pytest.mark.parametrize(("name", "spoil", "branch", "where"), PLACES)
def test_a_doubt_tells_where_on_the_curve_it_is_seen(name, spoil, branch, where):
    low, high = where(*good())
    found = raised(*spoil(*good()))[name]
    step = 0.11  # 160 nm in 1600 samples
    assert found.place[0] == branch
    assert low - step <= found.place[1] <= found.place[2] <= high + step


def test_what_is_seen_nowhere_in_particular_has_no_place():
    place = raised(*no_pull_off(*good()))["no_pull_off"].place
    assert place[0] == ""
    assert np.isnan(place[1:]).all()


@pytest.mark.parametrize(("name", "spoil", "free"), [
    ("no_baseline", no_baseline, 6.0), ("no_release", no_release, 0.0)])  # fmt: skip
def test_a_short_travel_says_how_much_longer_it_should_be(name, spoil, free):
    """20 nm are needed (the setting), of which the curve has a few."""
    found = raised(*spoil(*good()))[name]
    assert 20.0 - free - 1.0 < found.figure < 20.0 + 1.0
    assert found.unit == "nm too short"
    assert "further" in found.repair
    assert found.figure == pytest.approx(
        raised(*spoil(*good()), {"doubts.shortest_baseline": 50.0})[name].figure - 30.0)


def test_a_retract_that_lies_beside_the_approach_biases_its_fit_and_is_doubted():
    """Hysteresis of z: the retract as if 0.8 nm deeper at the top than at the bottom, on 3 GPa."""
    truth = Truth(3.0)
    z, d = good(3, truth)
    assert "branches_differ" not in raised(z, d)
    turn = z[0].max()
    z[1] = z[1] + 0.8 * np.sin(np.pi * np.clip((turn - z[1]) / 30.0, 0, 1))
    found = raised(z, d, {"fit.branch": "retract"})["branches_differ"]
    assert found.severity == "mild"
    assert found.figure > 20.0


def test_a_steep_surface_is_doubted_where_it_is_steep_and_not_beside_one_wrong_height():
    z, d = good()
    slope = np.array([0, 0, 0, 10, 20, 30, 30, 30.0])  # nm a pixel of 12 nm: 0, 40 and 59 degrees
    wrong = np.array([0, 0, 0, 0, 90.0, 0, 0, 0])
    for heights, steep in ((np.cumsum(slope), {3, 4, 5, 6, 7}), (wrong, set())):
        zs = [[a - h for a in z] for _ in range(3) for h in heights]
        fmap = ForceMap.from_arrays(zs, [d] * 24, shape=(3, 8), scan_size=(96.0, 36.0),
                                    spring_constant=K, radius=RADIUS)  # fmt: skip
        result = analyse(fmap)
        found = (result.doubts & np.uint64(DOUBTS["steep_surface"].mask)) != 0
        assert {int(x) for x in np.flatnonzero(found.all(axis=0))} == steep
        assert {int(x) for x in np.flatnonzero(found.any(axis=0))} == steep
    one = explain(fmap, Settings(), 1, 4, result)
    assert [r.name for r in one.doubts] == names_of(int(result.doubts[1, 4]))
    flat = ForceMap.from_arrays(zs, [d] * 24, shape=(3, 8), spring_constant=K, radius=RADIUS)
    assert analyse(flat).steepness is None  # without a scale nobody knows


def test_a_spike_is_no_pull_off():
    """Single samples far below the retract, free or in contact: adhesion stays that of the curve
    without them, since no contact lets go from one sample alone."""
    made = ski_boot(size=8, seed=9)
    clean = analyse(made.as_map())
    d = made.deflection.copy()
    rng = np.random.default_rng(4)
    for i in range(len(d)):
        low = int(np.argmin(d[i, 1]))
        for place in (low - 3, low + 40):  # in contact, and on the free part
            if 1 < place < d.shape[2] - 1:
                d[i, 1, place] -= rng.uniform(5.0, 25.0)
    spiked = analyse(replace(made, deflection=d).as_map())
    good = clean.trusted & (clean.doubts == 0)
    assert good.sum() > 40
    before, after = (a.channel("adhesion")[good] for a in (clean, spiked))
    np.testing.assert_allclose(after, before, atol=0.3)
