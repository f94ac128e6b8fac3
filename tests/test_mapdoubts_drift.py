"""What drifts or jumps along the scan is told, what lies still is not; and too many doubts."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy import signal

from palpate.core.cli.telling import told
from palpate.core.corrections import reviewed
from palpate.core.decisions import Pixels, Review
from palpate.core.forcemap import ForceMap
from palpate.core.mapdoubts import map_doubts
from palpate.core.mapdoubts.drift import _told
from palpate.core.mapdoubts.overall import many_doubts
from palpate.core.mapdoubts.trend import trend
from palpate.core.mapdoubts.view import View
from palpate.core.pipeline import analyse
from palpate.core.simulate import SKI_BOOT, Lever, Ramp, TipChange, blobs, simulate_map, spoil

SIZE = 24


def made(seed=8, **options):
    labels = np.zeros((SIZE, SIZE), int)
    labels[blobs(labels.shape, 6, (1.2, 2.6), np.random.default_rng(seed))] = 1
    return simulate_map(labels, SKI_BOOT, lever=Lever(2.5, 58.0, "paraboloid", 16.0, 0.07),
                        ramp=Ramp(170.0, 256, 35.0, tilt=2e-4), seed=seed, **options)  # fmt: skip


@pytest.fixture(scope="module")
def still():
    return made()


def names(simulated):
    return {d.name: d for d in map_doubts(analyse(simulated.as_map()))}


def line_of(simulated):
    """Line of each curve, (P, 1, 1)."""
    return simulated.pixel[:, 0][:, None, None]


@pytest.mark.parametrize("rate", [0.5, -1.5])
def test_a_drift_of_z_is_told_in_nm_per_line_and_per_second(rate):
    doubt = names(made(z_drift=rate))["z_drift"]
    found, error, unit = doubt.evidence.facts["Drift of the height"]
    assert unit == "nm per line"
    assert abs(found - rate) < 4.0 * error
    assert error < 0.12
    a_line = SIZE * (2 * 256 - 1) / 20000.0  # s: samples of a line at 20 kHz
    assert doubt.evidence.facts["Drift of the height at most"][0] == pytest.approx(
        found / a_line, rel=0.02)  # fmt: skip


def test_a_slope_of_the_sample_is_no_drift(still):
    assert names(still) == {}
    assert names(replace(still, z=still.z + 1.0 * line_of(still))) == {}


def test_a_scan_that_always_runs_the_same_way_can_not_tell_and_says_nothing():
    """The curves put in order of their columns: z drift and slope then look alike."""
    drifting = made(z_drift=1.0)
    order = np.lexsort((drifting.pixel[:, 1], drifting.pixel[:, 0]))
    arrays = drifting.arrays()
    for name in ("z", "deflection", "pixel"):
        arrays[name] = arrays[name][order]
    assert map_doubts(analyse(ForceMap.from_arrays(**arrays))) == ()


def test_a_jump_of_the_height_names_its_line(still):
    found = names(replace(still, z=still.z + 9.0 * (line_of(still) >= 15)))
    assert list(found) == ["height_step"]
    assert found["height_step"].evidence.line == 15
    size, error, _ = found["height_step"].evidence.facts["Step of the height"]
    assert abs(size + 9.0) < 4.0 * error


def test_noise_that_grows_is_told(still):
    """Noise added so that its size grows by 80 % along the map."""
    growth = 1.0 + 0.8 * line_of(still) / (SIZE - 1)
    more = 0.07 * np.sqrt(growth**2 - 1.0)
    noisy = np.random.default_rng(0).normal(size=still.deflection.shape) * more
    found = names(replace(still, deflection=still.deflection + noisy))
    assert list(found) == ["noise_drifts"]
    assert found["noise_drifts"].figure == pytest.approx(80.0, abs=12.0)


def test_a_baseline_whose_slope_drifts_is_told(still):
    tilt = 4e-3 * line_of(still) / (SIZE - 1)
    found = names(replace(still, deflection=still.deflection + tilt * still.z))
    assert list(found) == ["baseline_drifts"]
    change, error, _ = found["baseline_drifts"].evidence.facts[
        "Slope of the baseline, last line less first"]  # fmt: skip
    assert change == pytest.approx(4e-3, rel=0.1)


def test_a_tip_that_wears_is_told_as_a_trend_and_not_as_a_step():
    worn = made(tip_changes=tuple(TipChange(line, 1.02) for line in range(1, SIZE)))
    found = names(worn)
    assert list(found) == ["tip_wears"]
    pull, error, _ = found["tip_wears"].evidence.facts["Pull-off at release, last line over first"]
    assert pull == pytest.approx(1.02 ** (SIZE - 1), rel=0.06)


def test_too_short_a_travel_is_told_once_with_how_much_is_missing(still):
    """A third of the curves begins 8 nm before contact; 30 % of the travel in contact or 100 nm
    are needed, and 20 nm at least."""
    z, d = still.z.copy(), still.deflection.copy()
    for i in range(0, len(z), 3):
        row, col = still.pixel[i]
        z[i], d[i] = spoil("short_travel", z[i], d[i], still.lever,
                           float(still.truth["contact"][row, col]), np.random.default_rng(i))
    result = analyse(replace(still, z=z, deflection=d).as_map())
    (doubt,) = (m for m in map_doubts(result) if m.name == "many_doubts")
    assert doubt.figure == pytest.approx(100.0 / 3.0, abs=1.0)
    lacking = doubt.evidence.facts["Travel lacking, for 90 % of them"][0]
    assert 10.0 < lacking < 20.0
    assert f"Lengthen the travel by {lacking:.3g} nm" in doubt.repair
    printed = " ".join(told(result).split())
    assert f"Map, severe: {doubt.sentence} {doubt.repair}" in printed


@pytest.mark.parametrize("shape", [(1, 1), (1, 12), (12, 1), (3, 3), (5, 12)])
def test_small_maps_and_maps_with_holes_are_judged_without_a_fault(still, shape):
    keep = (still.pixel < shape).all(axis=1)
    keep[::7] &= keep.sum() == 1
    arrays = still.arrays() | {"z": still.z[keep], "pixel": still.pixel[keep], "shape": shape,
                               "deflection": still.deflection[keep] / 58.0}  # fmt: skip
    assert map_doubts(analyse(ForceMap.from_arrays(**arrays))) == ()


def test_a_map_that_never_touched_is_told_with_its_cause(still):
    noise = 0.07 * np.random.default_rng(0).normal(size=still.deflection.shape)
    (doubt,) = map_doubts(analyse(replace(still, deflection=noise).as_map()))
    assert (doubt.name, doubt.figure) == ("many_doubts", 100.0)
    assert "the surface was not reached" in doubt.sentence
    assert doubt.repair.startswith("Approach further")


def test_an_analysis_without_a_deflection_has_no_doubt_about_the_map(still):
    arrays = still.arrays(calibrated=False)
    assert map_doubts(analyse(ForceMap.from_arrays(**arrays))) == ()


@pytest.mark.parametrize(("lines", "rho"), [(32, 0.97), (32, 1.0), (96, 0.97)])
def test_slow_noise_alone_is_told_as_a_trend_in_fewer_than_two_of_a_hundred(lines, rho):
    """Truth: no trend, only noise whose neighbours have the correlation ρ (AR(1); 1: a random
    walk), of 20 % (30 % over the walk), 200 times. Neighbours' correlation alone, up to 0.9, told
    14 % of those of 0.97 and 21 % of the walks, of 32 lines."""
    alarms = 0
    for seed in range(200):
        rng = np.random.default_rng(seed)
        if rho == 1.0:
            slow = np.cumsum(rng.normal(size=lines)) * 0.3 / np.sqrt(lines)
        else:
            push = np.append(rng.normal(), np.sqrt(1.0 - rho**2) * rng.normal(size=lines - 1))
            slow = 0.2 * signal.lfilter([1.0], [1.0, -rho], push)
        alarms += _told(*trend(slow[:, None] + 0.05 * rng.normal(size=(lines, 8)))[:2], 20.0)
    assert alarms < 4


def test_a_trend_is_found_with_its_size_where_lines_scatter_on_their_own():
    """Truth: 30 % over 32 lines, each line 2 % off: nearly all of 50 are told, the error is that of
    the scatter within its caution (1 to 4 times)."""
    found = []
    for seed in range(50):
        rng = np.random.default_rng(seed)
        y = np.log(1.3) * np.linspace(-0.5, 0.5, 32) + 0.02 * rng.normal(size=32)
        found.append(trend(np.repeat(y[:, None], 8, axis=1))[:2])
    assert sum(_told(*one, 20.0) for one in found) >= 46
    change, error = np.array(found).T
    assert np.mean(change) == pytest.approx(np.log(1.3), rel=0.03)
    assert 1.0 < np.median(error) / np.std(change) < 4.0


def test_what_was_decided_about_spoiled_pixels_counts(still):
    """A third of the curves is nothing but noise: told, until they are left out or kept by hand."""
    rng = np.random.default_rng(0)
    bad = rng.choice(SIZE**2, SIZE**2 // 3, replace=False)
    deflection = still.deflection.copy()
    deflection[bad] = rng.normal(0.0, 0.07, deflection[bad].shape)
    result = analyse(replace(still, deflection=deflection).as_map())
    assert result.severe.sum() >= bad.size

    def share(review):
        told = [d.figure for d in many_doubts(View(reviewed(result, review)))]
        return told[0] if told else 0.0

    every = Pixels.of(result.severe)
    assert share(Review()) == pytest.approx(100.0 * result.severe.mean())
    assert share(Review().leave_out(every)) == 0.0
    assert share(Review().keep(every)) == 0.0
    half = result.severe & (np.arange(SIZE)[:, None] < SIZE // 2)
    left = (result.severe & ~half).sum()
    assert share(Review().leave_out(Pixels.of(half))) == pytest.approx(
        100.0 * left / (SIZE**2 - half.sum()))  # fmt: skip
