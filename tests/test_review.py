"""The doubtful pixels come worst first, and pixels that are alike are found together."""

from __future__ import annotations

import numpy as np
import pytest

from palpate.core.components.exports import save_rows
from palpate.core.corrections import reviewed
from palpate.core.decisions import LEFT_OUT, UNDECIDED, Pixels, Review
from palpate.core.doubts import DOUBTS, SEVERE
from palpate.core.pipeline import analyse
from palpate.core.review import Filter, alike, decision_rows, effect, like, ranking
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


def test_the_effect_of_leaving_out_is_that_of_medians_by_hand(analysis):
    """Half of one component's stiffest pixels left out: its median falls to what NumPy finds."""
    labels = np.zeros((32, 32), int)
    labels[analysis.channel("modulus") < 0.5] = 1
    modulus = analysis.channel("modulus")
    mine = analysis.trusted & (labels == 0)
    out = mine & (modulus > np.nanquantile(modulus[mine], 0.8))
    made = reviewed(analysis, Review().leave_out(Pixels.of(out)))
    found = effect(made, 0, np.where(out, -1, labels), ("A", "B"))
    row = next(r for r in found.rows if r.channel == "modulus" and r.number == 0)
    spread = next(r for r in found.rows if r.channel == "modulus" and r.number is None)
    assert spread.before == pytest.approx(np.nanmedian(modulus[analysis.trusted]))
    assert spread.after == pytest.approx(np.nanmedian(modulus[analysis.trusted & ~out]))
    assert row.after == pytest.approx(np.nanmedian(modulus[mine & ~out]))
    assert row.before == pytest.approx(np.nanmedian(modulus[mine]), rel=0.02)
    assert row.lost == pytest.approx(out.sum(), abs=0.1 * out.sum())
    share = 100.0 * (row.after / row.before - 1.0)
    assert share < -0.5
    words = next(s for s in found.sentences if "Young modulus of component A" in s)
    assert words.startswith(f"Leaving out these {out.sum()} changes")
    assert f"by {share:+.2g} %" in words


def test_a_decision_without_consequence_says_so(analysis):
    row, col = np.argwhere(analysis.severe)[0]
    made = reviewed(analysis, Review().leave_out(Pixels.one((32, 32), row, col)))
    assert effect(made, 0).sentences == [
        "Leaving out this pixel changes no median by as much as 0.05 %."
    ]


def test_decisions_leave_as_a_table_with_a_row_a_pixel(analysis, tmp_path):
    import csv

    review = Review().keep(Pixels.one((32, 32), 3, 4), "looked at twice", "M. N.")
    review = review.correct(Pixels.one((32, 32), 2, 9), {"fit.fraction_to": 60.0})
    path = save_rows(tmp_path / "decisions.csv", decision_rows(reviewed(analysis, review)))
    with path.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert [(r["row"], r["column"], r["decision"]) for r in rows] == [
        ("2", "9", "correct"), ("3", "4", "keep")]  # fmt: skip
    assert rows[0]["settings"] == '{"fit.fraction_to": 60.0}'
    assert (rows[1]["note"], rows[1]["who"]) == ("looked at twice", "M. N.")


def test_leaving_out_at_random_changes_medians_by_as_much_as_chance_says(analysis):
    """40 random sets of pixels: the changes scatter as foretold (a ratio of standard deviations of
    40 is known to 11 %, so within 35 %)."""
    rng, found, told = np.random.default_rng(2), [], []
    trusted = np.argwhere(analysis.trusted)
    for _ in range(40):
        mask = np.zeros((32, 32), bool)
        mask[tuple(trusted[rng.choice(len(trusted), 120, replace=False)].T)] = True
        one = effect(reviewed(analysis, Review().leave_out(Pixels.of(mask))), 0)
        row = next(r for r in one.rows if r.channel == "adhesion")
        found.append(row.after / row.before - 1.0)
        told.append(one.chance["adhesion", None])
    assert np.std(found) / np.mean(told) == pytest.approx(1.0, abs=0.35)


def test_no_sentence_tells_a_jump_between_components(analysis):
    labels = np.where(analysis.channel("modulus") < 0.5, 1, 0)
    row, col = np.argwhere(analysis.trusted & (labels == 1))[3]
    made = reviewed(analysis, Review().leave_out(Pixels.one((32, 32), row, col)))
    assert not any("all pixels" in words for words in effect(made, 0, labels).sentences)
