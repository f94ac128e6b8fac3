"""A change of settings against drawn changes whose truth is known: medians, their ±, maps."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from component_maps import random_field

from palpate.core import Settings
from palpate.core.columns import fit as ft
from palpate.core.errors import InputError
from palpate.core.pipeline import analyse
from palpate.core.reference import (
    both_trusted,
    changes,
    difference_map,
    differing,
    median_of,
    ratio_map,
    significance_map,
)
from palpate.core.simulate import Lever, Material, Ramp, simulate_map

SIZE = 32
LABELS = (np.arange(SIZE) >= SIZE // 2).astype(int)[None, :] * np.ones((SIZE, 1), int)


@pytest.fixture(scope="module")
def before():
    """A soft and a stiff half, moduli scattering by 20 % from pixel to pixel."""
    kinds = Material("soft", 0.3, 0.4, 6.0, 0.2), Material("stiff", 1.5, 0.4, 4.0, 0.2)
    made = simulate_map(LABELS, kinds, lever=Lever(2.0, 60.0, noise=0.05),
                        ramp=Ramp(travel=150.0, samples=128), seed=5)  # fmt: skip
    return analyse(made.as_map(), Settings())


def shifted(analysis, step):
    """The same analysis with ln E moved by a map: a change whose truth is known at each pixel."""
    fit = analysis.stage_tables["fit"].copy()
    at = analysis.map.pixel
    fit[:, ft.LN_C] += step[at[:, 0], at[:, 1]]
    return replace(analysis, stage_tables={**analysis.stage_tables, "fit": fit}, _cache={})


def row_of(rows, channel, title):
    return next(r for r in rows if (r.channel, r.title) == (channel, title))


def test_the_median_change_and_its_error_hold_the_truth_for_correlated_changes(before):
    """Over 60 drawn fields with a correlation length of some pixels, the scatter of the median
    change is what its ± says, and two ± hold the truth as often as they should."""
    rng, found = np.random.default_rng(2), []
    for _ in range(60):
        step = 0.05 + 0.02 * random_field(SIZE, 1.5, rng)
        row = changes(before, shifted(before, step), channels=("modulus",))[0]
        found.append((row.relative, row.relative_error, row.independent))
    value, error, independent = np.array(found).T
    truth = math.exp(0.05) - 1.0
    assert abs(np.mean(value) - truth) < 4.0 * np.std(value) / math.sqrt(60)
    assert 0.75 < np.median(error) / np.std(value) < 1.25
    assert np.mean(np.abs(value - truth) < 2.0 * error) > 0.85
    assert np.median(independent) < 0.5 * SIZE**2  # neighbours are alike


def test_what_both_share_does_not_widen_a_change(before):
    """The spread of 20 % over the pixels is in both medians and cancels in their paired change."""
    step = np.full((SIZE, SIZE), 0.03) + np.random.default_rng(1).normal(0.0, 0.002, (SIZE, SIZE))
    row = row_of(changes(before, shifted(before, step), LABELS, ("modulus",), ("A", "B")),
                 "modulus", "A")  # fmt: skip
    assert row.relative == pytest.approx(math.exp(0.03) - 1.0, abs=4 * row.relative_error)
    inside = np.log(before.channel("modulus")[(LABELS == 0) & before.trusted])
    unpaired = math.sqrt(2.0) * 1.2533 * np.std(inside) / math.sqrt(inside.size)
    assert row.relative_error < 0.1 * unpaired
    low, high = row.relative_low, row.relative_high
    assert low < row.relative < high
    assert high - low > 2.0 * row.relative_error


def test_the_error_of_a_median_is_that_of_its_order_statistics():
    """Scatter of the medians of 2,000 skewed samples, and how many intervals hold the truth."""
    rng, truth = np.random.default_rng(3), math.log(2.0)  # median of an exponential law
    draws = [median_of(rng.exponential(size=200), 200.0) for _ in range(2000)]
    middle, error, low, high = np.array(draws).T
    assert 0.9 < np.mean(error) / np.std(middle) < 1.1
    assert 0.93 < np.mean((low < truth) & (truth < high)) < 0.97
    assert median_of(np.zeros(50), 50.0)[:2] == (0.0, 0.0)  # nothing changed, and that is sure
    assert math.isnan(median_of(np.arange(9.0), 3.0)[1])


def test_a_constant_that_scales_all_changes_all_alike_and_leaves_ratios_sure(before):
    """F = k d: a spring constant 10 % higher makes each adhesion 10 % larger."""
    settings = Settings().with_value("calibration.spring_constant", 2.2)
    now = analyse(before.map, settings, previous=before)
    row = changes(before, now, channels=("adhesion", "contact_height"))
    assert row[0].relative == pytest.approx(0.1)
    assert row[0].relative_error < 1e-12
    assert not row[1].has_ratio
    assert row[1].difference == 0.0
    assert np.nanmax(np.abs(ratio_map(before, now, "adhesion") - 100 * math.log(1.1))) < 1e-9


def test_maps_are_now_less_before_where_both_are_trusted(before):
    step = np.zeros((SIZE, SIZE))
    step[:, :4] = math.log(2.0)
    now = shifted(before, step)
    out = np.zeros((SIZE, SIZE), bool)
    out[3, :] = True
    now = now.without(out)
    both = both_trusted(before, now)
    assert not both[3].any()
    found = difference_map(before, now, "modulus")
    assert np.array_equal(np.isfinite(found), both)
    expected = now.channel("modulus") - before.channel("modulus")
    assert np.allclose(found[both], expected[both])
    ratio = ratio_map(before, now, "modulus")
    assert np.allclose(ratio[:, :4][both[:, :4]], 100 * math.log(2.0))
    back = ratio_map(now, before, "modulus")
    assert np.allclose(ratio[both], -back[both])  # symmetric about no change
    known = significance_map(before, now, "modulus")
    wide = np.hypot(before.errors("modulus"), now.errors("modulus"))
    assert np.allclose(known[both], (expected / wide)[both])
    assert significance_map(before, now, "height") is None
    assert np.isnan(ratio_map(before, now, "contact_height")[both]).any()  # below zero: no ratio


def test_pixels_that_gain_or_lose_trust_are_counted(before):
    out = np.zeros((SIZE, SIZE), bool)
    out[:2, :10] = True
    first = before.without(out)
    lost = np.zeros((SIZE, SIZE), bool)
    lost[4, :7] = True
    now = before.without(lost)
    labels = np.where(now.trusted, LABELS, -1)
    rows = changes(first, now, labels, ("modulus",), ("A", "B"), LABELS)
    whole, one = rows[0], rows[1]
    gained = int(np.count_nonzero(before.trusted & out))
    gone = int(np.count_nonzero(before.trusted & lost))
    assert (whole.gained, whole.lost) == (gained, gone) == (one.gained, one.lost)
    assert whole.trusted_after == int(np.count_nonzero(now.trusted))
    assert rows[2].gained == rows[2].lost == 0
    unknown = changes(first, now, labels, ("modulus",), ("A", "B"))
    assert unknown[0].lost == gone
    assert unknown[1].lost == -1
    assert whole.difference == 0.0  # the same values: what moves the medians is other pixels
    assert whole.others == pytest.approx(whole.after - whole.before)


def test_unfinished_analyses_count_what_is_done(before):
    done = before.map.pixel[:, 0] < 8
    now = replace(before, done=done, _cache={})
    row = changes(before, now, channels=("modulus",))[0]
    assert row.trusted_after == np.count_nonzero(before.trusted[:8])
    assert row.pixels <= row.trusted_after
    assert row.lost == 0


def test_differing_settings_are_named_in_order_with_words_and_units():
    now = Settings().with_values({"fit.fraction_from": 30.0, "fit.adhesion": "none",
                                  "tip.radius": 25.0})  # fmt: skip
    found = differing(Settings(), now)
    assert [d.path for d in found] == ["tip.radius", "fit.adhesion", "fit.fraction_from"]
    assert found[0].before_words == "as recorded"
    assert found[0].now_words == "25 nm"
    assert found[2].now_words == "30 %"
    assert found[1].now_words == "none"
    assert differing(now, now) == ()


def test_other_maps_unknown_channels_and_labels_of_another_shape_are_refused(before):
    other = simulate_map(np.zeros((4, 4), int), (Material("p", 1.0, 0.4, 5.0),),
                         ramp=Ramp(travel=150.0, samples=128)).as_map()  # fmt: skip
    with pytest.raises(InputError, match="different maps"):
        changes(before, analyse(other))
    with pytest.raises(InputError, match="no channel 'hardness'"):
        changes(before, before, channels=("hardness",))
    with pytest.raises(InputError, match="labels have the shape"):
        changes(before, before, np.zeros((3, 3), int))
