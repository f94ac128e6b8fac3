"""The rehearsal predicts what another simulated map, whose truth is known, then shows.

The map is made by `simulate_map` with a lever, ramp and materials of its own; the scene is read off
its analysis alone, and nothing else is handed on. z-scores are differences over the standard errors
of both sides.
"""

from __future__ import annotations

import csv
import json
import math
import re

import numpy as np
import pytest
from scipy import stats

from palpate import sample_maps
from palpate.core import ForceMap, Settings, analyse, open_map
from palpate.core.cli import main
from palpate.core.errors import Cancelled, InputError
from palpate.core.progress import Progress
from palpate.core.rehearsal import (
    moduli_between,
    offered_range,
    rehearse,
    scene_of,
    sentences,
)
from palpate.core.rehearsal.exports import fault_rows, rows_of, save_rehearsal
from palpate.core.rehearsal.faring import contrast, fared, ratio
from palpate.core.rehearsal.running import Rehearsal, Row
from palpate.core.simulate import (
    Lever,
    Material,
    Ramp,
    door_seal,
    simulate_curve,
    simulate_map,
)
from palpate.core.simulate_spoils import EXPECTED
from palpate.core.writers.native import write_map

MATERIALS = (
    Material("soft", 0.05, 0.48, 9.0, 0.06, 0.05),
    Material("middle", 0.4, 0.42, 6.0, 0.05, 0.04),
    Material("stiff", 2.6, 0.36, 4.5, 0.05, 0.06),
)
LEVER = Lever(1.6, 71.0, "paraboloid", 24.0, 0.09)
RAMP = Ramp(travel=210.0, samples=420, set_force=32.0, overshoot=0.015, tilt=3e-4, drag=0.05,
            tilt_spread=1.5e-4, walk=3e-5, jump=0.3)  # fmt: skip
QUANTITIES = {"modulus": "modulus", "adhesion": "pull_off", "contact_point": "contact",
              "indentation": "indentation"}  # fmt: skip


@pytest.fixture(scope="module")
def made():
    labels = np.arange(36)[:, None] * 3 // 36 + np.zeros((1, 36), int)
    return simulate_map(labels, MATERIALS, lever=LEVER, ramp=RAMP, seed=41)


@pytest.fixture(scope="module")
def measured(made):
    return analyse(made.as_map(), Settings())


@pytest.fixture(scope="module")
def scene(measured):
    return scene_of(measured)


def seen(made, measured, label, name):
    """Measured less true over the trusted pixels of one material, as the rehearsal compares it."""
    at = (made.truth["label"] == label) & measured.trusted
    true = made.truth[QUANTITIES[name]][at]
    value, error = measured.channel(name)[at], measured.errors(name)[at]
    if name != "modulus":
        return fared(name, "", value - true, error)
    plane = (1.0 - MATERIALS[label].poisson_ratio**2) / (1.0 - measured.poisson_ratio**2)
    return fared(name, "", np.log(value / true * plane), error / value)


# ---- what it predicts is what another map shows


def test_the_scene_is_what_the_map_was_made_with(scene):
    assert scene.noise == pytest.approx(LEVER.noise, rel=0.02)
    assert scene.walk == pytest.approx(RAMP.walk, rel=0.3)  # one map's pool of it
    assert scene.tilt == pytest.approx(RAMP.tilt, abs=5e-5)
    assert scene.tilt_spread == pytest.approx(RAMP.tilt_spread, rel=0.6)
    assert scene.travel == pytest.approx(RAMP.travel, rel=1e-4)
    assert scene.samples == (420, 420)
    assert scene.peak_force == pytest.approx(RAMP.set_force * (1.0 + RAMP.overshoot / 2), rel=2e-3)
    assert scene.set_force == RAMP.set_force
    assert (scene.spring_constant, scene.sizes, scene.sensitivity) == (1.6, (24.0,), 71.0)
    assert scene.fringe == 0.0
    assert math.isnan(scene.period)
    assert scene.near(0.05).pull_off == pytest.approx(9.0, rel=0.03)
    assert scene.near(3.0).pull_off == pytest.approx(4.5, rel=0.03)


def test_predicted_bias_and_scatter_agree_with_those_of_an_independent_map(made, measured, scene):
    plane = 1.0 - measured.poisson_ratio**2
    true = [m.modulus / (1.0 - m.poisson_ratio**2) * plane for m in MATERIALS]
    played = rehearse(scene, Settings(), true, curves_each=600, seed=3)
    scores = []
    for label, row in enumerate(played.rows):
        for name in QUANTITIES:
            told, found = row.fared[name], seen(made, measured, label, name)
            for what in ("bias", "scatter"):
                error = math.hypot(getattr(told, f"{what}_error"), getattr(found, f"{what}_error"))
                scores.append((getattr(told, what) - getattr(found, what)) / error)
            assert told.stated == pytest.approx(found.stated, rel=0.1), (label, name)
    assert np.abs(scores).max() < 3.5
    assert np.sqrt(np.mean(np.square(scores))) < 1.5


def test_fringes_are_played_and_not_counted_twice():
    ramp = Ramp(travel=260.0, samples=400, set_force=30.0, tilt=2e-4, fringe=0.4, period=180.0)
    fringed = simulate_map(np.zeros((16, 16), int), MATERIALS[1:2], lever=LEVER, ramp=ramp, seed=6)
    scene = scene_of(analyse(fringed.as_map(), Settings()))
    assert scene.fringe == pytest.approx(0.4, rel=0.05)
    assert scene.period == pytest.approx(180.0, rel=0.03)
    assert scene.tilt_spread < 4e-4  # the wave alone makes lines of half a period tilt by ten times
    assert scene.walk < 2e-5


def test_pull_off_goes_by_component_where_labels_are_given(made, measured):
    groups = scene_of(measured, made.truth["label"]).groups
    assert [group.pull_off for group in groups] == pytest.approx([9.0, 6.0, 4.5], rel=0.02)
    spreads = [group.pull_off_spread for group in groups]
    assert spreads == pytest.approx([0.05, 0.04, 0.06], abs=0.02)
    low, high = offered_range(measured, made.truth["label"])
    assert low == pytest.approx(0.5 * groups[0].modulus, rel=0.06)
    assert high == pytest.approx(2.0 * groups[-1].modulus, rel=0.06)


# ---- what is known beforehand is found


def test_a_tip_of_twice_the_radius_makes_the_modulus_root_two_low(scene):
    """F = 4/3 E* √R δ^1.5 (Hertz 1882): at the same curve E* goes with 1/√R."""
    wrong = Settings().with_values({"tip.radius": 48.0})
    played = rehearse(scene, wrong, [0.4], curves_each=200)
    one = played.rows[0].fared["modulus"]
    assert one.bias == pytest.approx(-0.5 * math.log(2.0), abs=0.01)
    assert one.shown[0] == pytest.approx(100.0 * (math.sqrt(0.5) - 1.0), abs=1.0)  # in per cent
    said = sentences(played)
    assert re.search(r"reads (29|30) % ± .* low", said[1])
    assert "made with the law (" in said[0]
    assert "spring constant (1.6 N/m)" in said[0]
    assert "radius" not in said[0]  # the settings have another one
    assert one.held_wide.share < 0.05
    assert any("exceeds the scatter" in s for s in sentences(played))
    assert any("too small" in s for s in sentences(played))


def test_a_threshold_is_late_and_makes_the_modulus_high(scene):
    """The threshold is passed after contact, so the indentation is short and E high (any text)."""
    late = Settings().with_values({"fit.contact": "threshold", "fit.adhesion": "none"})
    played = rehearse(scene.changed(pull_off=0.0, jump=0.0), late, [0.05], curves_each=100)
    row = played.rows[0]
    assert row.fared["contact_point"].bias > 0.0
    assert row.fared["modulus"].bias > 3.0 * row.fared["modulus"].bias_error


def test_a_quieter_detector_scatters_less_in_proportion(scene):
    """To first order scatter is proportional to the noise, where there is no slow part."""
    quiet = scene.changed(walk=0.0, tilt_spread=0.0, noise=0.03)
    both = [rehearse(s, Settings(), [0.4], curves_each=400).rows[0].fared["modulus"]
            for s in (quiet, quiet.changed(noise=0.09))]  # fmt: skip
    assert both[1].scatter / both[0].scatter == pytest.approx(3.0, rel=0.2)
    assert both[1].held.holds(stats.norm.cdf(1.0) - stats.norm.cdf(-1.0))


def test_an_elastic_tip_is_part_of_the_truth(made):
    elastic = Settings().with_values({"tip.material": "elastic"})
    scene = scene_of(analyse(made.as_map(), elastic))
    assert scene.tip_compliance > 0.0
    played = rehearse(scene, elastic, [0.05], curves_each=100)
    assert abs(played.rows[0].fared["modulus"].bias) < 0.01


def test_planted_faults_are_told_and_good_curves_are_not(scene):
    played = rehearse(scene, Settings(), [0.4], curves_each=100, faults=8)
    row = played.rows[0]
    by_kind = {one.kind: one for one in row.told}
    # a whole number can't be missing, as this map's samples are
    assert set(by_kind) == set(EXPECTED) - {"missing_samples"}
    for kind in ("no_contact", "saturated", "short_travel"):
        assert by_kind[kind].right.share == 1.0, kind
        assert by_kind[kind].severe.share == 1.0, kind
    assert row.refused.share <= 0.02
    assert len(fault_rows(played)) == 1 + len(by_kind)
    assert any("planted faults" in s for s in sentences(played))


def test_half_a_nanonewton_is_told_apart(scene):
    # 0.5 nN between components must be told apart: common practice, no source
    told = rehearse(scene, Settings(), [0.05], curves_each=200).rows[0].contrast
    assert told.planted == 0.5
    assert told.found == pytest.approx(0.5, abs=4.0 * told.error)
    assert told.told


# ---- statistics


@pytest.mark.parametrize(("hits", "of"), [(0, 20), (3, 20), (95, 100), (20, 20)])
def test_the_interval_of_a_share_is_scipys_exact_one(hits, of):
    low, high = stats.binomtest(hits, of).proportion_ci(0.95, method="exact")
    assert (ratio(hits, of).low, ratio(hits, of).high) == pytest.approx((low, high), abs=1e-9)


def test_bias_scatter_and_coverage_of_normal_numbers():
    rng = np.random.default_rng(2)
    one = fared("modulus", "", 0.3 + rng.normal(0.0, 2.0, 40_000), np.full(40_000, 2.0))
    assert one.bias == pytest.approx(0.3, abs=4.0 * one.bias_error)
    assert (one.scatter, one.deviation) == pytest.approx((2.0, 2.0), rel=0.02)
    within = stats.norm.cdf([0.85, -1.15]) @ [1.0, -1.0]  # a bias of 0.15 σ
    assert one.held.share == pytest.approx(within, abs=0.01)
    runs = [fared("", "", rng.normal(size=80), np.ones(80)) for _ in range(600)]
    for what in ("bias", "scatter"):
        spread = np.std([getattr(run, what) for run in runs])
        told = np.mean([getattr(run, f"{what}_error") for run in runs])
        assert told == pytest.approx(spread, rel=0.12), what


def test_pairs_in_order_follow_the_normal_distribution():
    rng = np.random.default_rng(5)
    sticky = np.arange(4000) % 2 == 1
    told = contrast(rng.normal(5.0, 0.4, 4000) + 0.5 * sticky, sticky, 0.5)
    assert told.single == pytest.approx(stats.norm.cdf(0.5 / (math.sqrt(2.0) * 0.4)), abs=0.02)


def test_the_slow_noise_of_a_simulated_curve_is_the_walk_that_was_asked_for():
    """A random walk's mean square difference over a way x is q x (any text on time series)."""
    ramp = Ramp(travel=200.0, samples=201, set_force=1e-6, walk=2e-3)
    lever, rng = Lever(noise=1e-9), np.random.default_rng(9)
    d = np.array([simulate_curve(lever, ramp, 1.0, 0.3, 1e-9, 0.0, rng)[1] for _ in range(400)])
    for lag in (5, 40):
        square = np.mean((d[:, 0, lag:180] - d[:, 0, : 180 - lag]) ** 2)
        assert square == pytest.approx(2e-3 * lag, rel=0.15)


def test_the_sample_map_is_still_made_byte_by_byte():
    from pathlib import Path

    shipped = open_map(Path(sample_maps.__path__[0]) / "door_seal.h5")
    now = door_seal().as_map()
    for curve in (0, 1000, 2303):
        a, b = (fmap.read_block(np.array([curve])) for fmap in (shipped, now))
        first, count = int(b.start[0]), int(now.curve_count[curve])
        for old, new in ((a.z, b.z), (a.signal, b.signal)):
            start = int(a.start[0])
            assert np.array_equal(old[start : start + count], new[first : first + count])


# ---- what can't be done is said


def test_impossible_wishes_are_refused_in_words(scene, measured):
    with pytest.raises(InputError, match="sink deeper"):
        rehearse(scene, Settings(), [1e-7])
    with pytest.raises(InputError, match="above 0 GPa"):
        rehearse(scene, Settings(), [-1.0])
    with pytest.raises(InputError, match="8 to 10,000"):
        rehearse(scene, Settings(), [1.0], curves_each=2)
    with pytest.raises(InputError, match="given by hand"):
        rehearse(scene, Settings().with_values({"fit.contact": "given"}), [1.0])
    with pytest.raises(InputError, match="no “colour”"):
        scene.changed(colour=1.0)
    with pytest.raises(InputError, match="noise is 0"):
        scene.changed(noise=0.0)
    with pytest.raises(InputError, match="can't be rehearsed"):
        moduli_between(2.0, 1.0)
    with pytest.raises(InputError, match="Only 0 curves"):
        scene_of(measured.without(np.ones((36, 36), bool)))


def test_it_can_be_stopped_and_tells_how_far_it_is(scene):
    heard = []
    progress = Progress(lambda done, total, words: heard.append(done))
    progress_stop = Progress(lambda done, total, words: done < 2 or progress_stop.cancel())
    rehearse(scene, Settings(), [0.1, 0.5, 2.0], curves_each=8, progress=progress)
    assert heard[:3] == [0, 1, 2]
    with pytest.raises(Cancelled):
        rehearse(scene, Settings(), [0.1, 0.5, 1.0, 2.0], curves_each=8, progress=progress_stop)


def test_the_same_seed_gives_the_same_rehearsal(scene):
    a, b, c = (rehearse(scene, Settings(), [0.4], curves_each=20, seed=s) for s in (4, 4, 5))
    assert rows_of(a) == rows_of(b)
    assert rows_of(a) != rows_of(c)


# ---- files and command


def test_the_files_hold_what_was_found(scene, tmp_path):
    played = rehearse(scene, Settings(), [0.1, 1.0], curves_each=16, faults=2)
    written = save_rehearsal(tmp_path / "r.csv", played)
    assert [p.name for p in written] == ["r.csv", "r_contrast.csv", "r_faults.csv", "r_scene.json"]
    rows = list(csv.DictReader(written[0].open(encoding="utf-8")))
    row = next(r for r in rows if r["quantity"] == "modulus" and r["modulus_GPa"] == "1")
    assert float(row["bias"]) == pytest.approx(played.rows[1].fared["modulus"].bias, rel=1e-6)
    about = json.loads(written[-1].read_text(encoding="utf-8"))
    assert about["scene"]["noise"] == pytest.approx(scene.noise)
    assert about["meaning"] == sentences(played)


def test_the_command_rehearses_a_map_and_writes_files(made, tmp_path, capsys):
    given = made.arrays()
    path = write_map(tmp_path / "m.h5", given.pop("z"), given.pop("deflection"), **given)
    path = tmp_path / "m.h5" if path is None else path
    out = tmp_path / "r.csv"
    assert main(["rehearse", str(path), "--from", "0.1", "--to", "2", "--steps", "2", "--curves",
                 "16", "--out", str(out)]) == 0  # fmt: skip
    told = capsys.readouterr().out
    assert "0.1" in told
    assert "stated ±" in told
    assert "Assumed:" in told
    assert len(list(csv.reader(out.open(encoding="utf-8")))) == 1 + 2 * 5
    other = ["rehearse", str(path), "--steps", "2", "--curves", "8", "--scene"]
    assert main([*other, "noise=0.25"]) == 0
    assert "Noise 0.25 nm" in capsys.readouterr().out
    assert main([*other, "noise=loud"]) == 2
    assert main(["rehearse", str(path), "--from", "3", "--to", "1"]) == 1
    assert main(["rehearse", str(path), "--out", str(path)]) == 2


def test_uneven_branches_a_hold_and_forces_are_rehearsed_too(made):
    """A map of forces in floating point whose retract has half the samples, after a hold."""
    given = made.arrays()
    z = given.pop("z")[:144]
    force = made.deflection[:144] * LEVER.spring_constant
    for name in ("deflection", "deflection_unit", "deflection_sensitivity", "sampling_rate",
                 "digitise", "pixel"):  # fmt: skip
        given.pop(name)
    zs, fs = ([[one[0], np.repeat(one[0][-1:], 20), one[1][::2]] for one in v] for v in (z, force))
    uneven = ForceMap.from_arrays(zs, force=fs, segments=("approach", "hold", "retract"),
                                  **given | {"shape": (12, 12)})  # fmt: skip
    result = analyse(uneven, Settings())
    scene = scene_of(result)
    assert scene.samples == (420, 210)
    assert (scene.z_step, scene.d_step) == (0.0, 0.0)
    assert any("hold" in sentence for sentence in scene.assumed)
    row = rehearse(scene, Settings(), [0.05], curves_each=60, faults=2).rows[0]
    assert abs(row.fared["modulus"].bias) < 4.0 * row.fared["modulus"].bias_error
    assert "missing_samples" in {one.kind for one in row.told}  # floats can be missing


# ---- what it means is not said louder than it is known


def drawn(scene, rng, moduli=8, curves=100, bias=0.0, scatter=0.05, stated=0.05):
    """A rehearsal whose differences are normal numbers."""
    none = contrast(np.zeros(0), np.zeros(0, bool), 0.5)
    rows = []
    for modulus in np.geomspace(0.1, 5.0, moduli):
        off = bias + rng.normal(0.0, scatter, curves)
        one = fared("modulus", "", off, np.full(curves, stated))
        gone = fared("adhesion", "nN", np.zeros(0), np.zeros(0))
        rows.append(Row(float(modulus), 5.0, 10.0, curves, ratio(0, curves), ratio(0, curves),
                        {"modulus": one, "adhesion": gone}, none))  # fmt: skip
    return Rehearsal(scene, Settings(), tuple(rows), curves, 0, 1)


def test_what_truth_and_settings_share_is_said_first(scene):
    first = sentences(drawn(scene, np.random.default_rng(1)))[0]
    for words in ("law (", "tip (radius 24 nm)", "spring constant (1.6 N/m)", "can't be rehearsed"):
        assert words in first


def test_the_bound_of_the_bias_holds_the_bias_that_is_seen(scene):
    """|bias| + 2 standard errors, largest over the moduli, in per cent of the truth."""
    played = drawn(scene, np.random.default_rng(2), bias=0.01)
    found = [row.fared["modulus"] for row in played.rows]
    bound = max(abs(one.bias) + 2.0 * one.bias_error for one in found)
    assert bound > max(3.0 * one.bias_error for one in found)
    words = next(s for s in sentences(played) if "no bias" in s)
    assert f"come to {100 * math.expm1(bound):.2g} % where they are largest" in words


def test_a_right_uncertainty_is_called_too_small_in_one_rehearsal_of_forty(scene):
    """Eight moduli are looked at: 2.5 % of the rehearsals, and not 2.5 % of the moduli, may be
    called so by chance; binomial counts are coarse, so it is fewer."""
    rng = np.random.default_rng(3)
    said = [" ".join(sentences(drawn(scene, rng))) for _ in range(400)]
    alarms = sum("too small" in words for words in said)
    assert alarms <= stats.binom.ppf(0.999, 400, 0.025)
    row_by_row = 1.0 - (1.0 - stats.binom.cdf(89, 100, 0.95)) ** 8
    assert row_by_row > 0.08  # what it would be at 95 % for each modulus
    small = " ".join(sentences(drawn(scene, rng, stated=0.025)))
    assert "too small from 0.1 GPa to 5 GPa" in small
