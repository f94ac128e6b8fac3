"""The doubtful pixels come worst first, and pixels that are alike are found together."""

from __future__ import annotations

import numpy as np
import pytest

from palpate.core.corrections import reviewed
from palpate.core.decisions import LEFT_OUT, UNDECIDED, Pixels, Review
from palpate.core.doubts import DOUBTS, SEVERE
from palpate.core.pipeline import analyse
from palpate.core.review import Filter, alike, like, ranking
from palpate.core.review.ranking import DECIDED
from palpate.core.simulate import ski_boot


@pytest.fixture(scope="module")
def analysis():
    return analyse(ski_boot(size=32, seed=4).as_map())


@pytest.fixture(scope="module")
def ranked(analysis):
    return ranking(analysis)


def test_every_doubted_pixel_is_in_the_list_once(analysis, ranked):
    assert sorted(ranked.flat) == np.flatnonzero(analysis.doubts.ravel()).tolist()
    assert (ranked.bits == analysis.doubts.ravel()[ranked.flat]).all()
    assert (ranked.place[ranked.flat] == np.arange(ranked.count)).all()
    assert (ranked.place >= 0).sum() == ranked.count


def test_the_worst_come_first(analysis, ranked):
    """By the registry itself: the number of severe doubts falls along the list, and a pixel with
    one comes before all that have none."""
    by_hand = np.array([
        sum(bool(int(b) & d.mask) for d in DOUBTS.values() if d.severity == SEVERE)
        for b in ranked.bits
    ])  # fmt: skip
    assert (np.diff(by_hand) <= 0).all()
    assert by_hand[0] > 0
    assert (ranked.severe == by_hand).all()
    same = np.diff(by_hand) == 0
    assert (np.diff(ranked.excess)[same] <= 1e-9).all()


def test_filters_and_counts_agree_with_masks(analysis, ranked):
    name, count = next(iter(ranked.by_doubt().items()))
    kinds = np.zeros(analysis.map.shape, np.uint8)
    carrying = (analysis.doubts & np.uint64(DOUBTS[name].mask)) != 0
    assert count == carrying.sum() == ranked.wanted(Filter(doubt=name), kinds).size
    kinds[carrying] = LEFT_OUT
    assert ranked.wanted(Filter(decision=DECIDED), kinds).size == count
    rest = ranked.wanted(Filter(decision=UNDECIDED), kinds)
    assert rest.size == ranked.count - count
    labels = np.zeros(analysis.map.shape, int)
    labels[:16] = 1
    above = ranked.wanted(Filter(component=1), kinds, labels)
    assert (ranked.flat[above] // 32 < 16).all()
    found = ranked.counts(kinds)
    assert found["left out"] == count
    assert found["undecided"] + found["left out"] == found["doubted"] == ranked.count


def test_all_like_one_are_at_least_as_bad_by_the_same_doubt(analysis, ranked):
    for name in ranked.by_doubt():
        doubt = DOUBTS[name]
        places = ranked.flat[(ranked.bits & np.uint64(doubt.mask)) != 0]
        row, col = divmod(int(places[0]), 32)
        what = like(analysis, name, row, col)
        found = alike(analysis, what)
        assert found[row, col]
        assert not (found & ((analysis.doubts & np.uint64(doubt.mask)) == 0)).any()
        figure = doubt.figure(analysis.case)[analysis.map.index_map]
        own, limit = figure[row, col], doubt.threshold(analysis.settings.doubts)
        if np.isfinite(own) and np.isfinite(limit):
            worse = figure[found] >= own if own >= limit else figure[found] <= own
            assert worse.all()


def test_a_correction_that_mends_a_doubt_takes_it_off_the_list(analysis, ranked):
    """A pixel with too few samples in a window that was set too narrow, corrected to the usual."""
    narrow = analyse(analysis.map, analysis.settings.with_values(
        {"fit.fraction_from": 50.0, "fit.fraction_to": 52.0}), previous=analysis)  # fmt: skip
    mask = DOUBTS["few_samples"].mask
    row, col = np.argwhere(analysis.trusted & ((narrow.doubts & np.uint64(mask)) != 0))[0]
    mended = reviewed(narrow, Review().correct(
        Pixels.one(analysis.map.shape, row, col),
        {"fit.fraction_from": 10.0, "fit.fraction_to": 95.0}))  # fmt: skip
    flat = row * 32 + col
    assert ranking(narrow).severe[ranking(narrow).place[flat]] > 0
    there = ranking(mended).place[flat]
    assert there < 0 or ranking(mended).severe[there] == 0
