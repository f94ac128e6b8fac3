"""What is decided about single pixels holds for them alone, and in every number they are in."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from palpate.core.channels import CHANNELS
from palpate.core.corrections import problems, reviewed
from palpate.core.decisions import (
    CORRECTED,
    KEPT,
    LEFT_OUT,
    UNDECIDED,
    Decision,
    Pixels,
    Review,
)
from palpate.core.errors import SettingsError
from palpate.core.explain import explain
from palpate.core.pipeline import analyse
from palpate.core.simulate import ski_boot

SHAPE = (7, 9)


def pixels(*places):
    mask = np.zeros(SHAPE, bool)
    for row, col in places:
        mask[row, col] = True
    return Pixels.of(mask)


# ---- sets of pixels

masks = st.lists(st.booleans(), min_size=63, max_size=63).map(
    lambda bits: np.array(bits).reshape(SHAPE)
)


@settings(max_examples=60, deadline=None)
@given(masks, masks)
def test_sets_of_pixels_do_what_masks_do(one, two):
    a, b = Pixels.of(one), Pixels.of(two)
    assert (a.mask(SHAPE) == one).all()
    assert a.count == one.sum()
    assert bool(a) == one.any()
    assert (a.without(b).mask(SHAPE) == (one & ~two)).all()
    assert ((a | b).mask(SHAPE) == (one | two)).all()
    assert (a == b) == (one == two).all()
    assert a.flat.tolist() == np.flatnonzero(one).tolist()
    assert Pixels.from_text(a.shape, a.sparse, a.to_text()) == a


def test_a_set_of_one_pixel_is_small_whatever_the_map():
    assert len(Pixels.one((4096, 4096), 17, 4000).packed) == 4
    assert Pixels.one(SHAPE, 3, 4) == pixels((3, 4))


@pytest.mark.parametrize(
    ("shape", "sparse", "text"),
    [
        ((7, 9), True, "not base64!"),
        ((7, 9), True, Pixels.one((70, 90), 60, 80).to_text()),  # outside
        ((7, 9), False, Pixels.of(np.ones((70, 90), bool)).to_text()),  # too many
        ((1 << 20, 1 << 20), False, ""),
        ((-1, 9), True, ""),
        ("ab", True, ""),
        (None, True, ""),
        ((7, 9), True, 5),
    ],
)
def test_a_damaged_set_of_pixels_is_refused(shape, sparse, text):
    with pytest.raises(SettingsError):
        Pixels.from_text(shape, sparse, text)


# ---- a review

kinds = st.sampled_from([UNDECIDED, KEPT, LEFT_OUT, CORRECTED])


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(kinds, masks), max_size=6))
def test_a_pixel_belongs_to_the_newest_decision_about_it(acts):
    review, expected = Review(), np.zeros(SHAPE, int)
    for kind, mask in acts:
        change = (("fit.fraction_to", 80.0),) if kind == CORRECTED else ()
        review = review.decide(Decision(kind, Pixels.of(mask), change))
        expected[mask] = kind
    assert (review.kinds(SHAPE) == expected).all()
    assert (review.left_out.mask(SHAPE) == (expected == LEFT_OUT)).all()
    numbers = review.numbers(SHAPE)
    for row, col in ((0, 0), (3, 5), (6, 8)):
        found = review.at(SHAPE, row, col)
        assert (found.kind if found else UNDECIDED) == expected[row, col]
        assert found is (review.decisions[numbers[row, col]] if numbers[row, col] >= 0 else None)
    assert Review.from_json(review.to_json()) == review


def test_a_review_of_another_map_concerns_no_pixel():
    review = Review().leave_out(pixels((1, 1)))
    assert not review.kinds((8, 9)).any()
    assert review.at((8, 9), 1, 1) is None


@pytest.mark.parametrize(
    "text",
    ["", "{", "[]", "{}", '{"palpate_review":2,"decisions":[]}',
     '{"palpate_review":1,"decisions":[5]}',
     '{"palpate_review":1,"decisions":[{"kind":"eaten","shape":[1,1],"sparse":true,"pixels":""}]}',
     "[" * 100_000],
)  # fmt: skip
def test_a_damaged_review_is_refused(text):
    with pytest.raises(SettingsError):
        Review.from_json(text)


def test_an_impossible_correction_is_refused_at_once():
    for change in ({"fit.fraction_to": 300.0}, {"fit.nothing": 1}, {"tip": 2}):
        with pytest.raises(SettingsError):
            Review().correct(pixels((1, 1)), change)


# ---- on an analysis


@pytest.fixture(scope="module")
def fmap():
    return ski_boot(size=20, seed=3).as_map()


@pytest.fixture(scope="module")
def first(fmap):
    return analyse(fmap)


CHANGES = (
    {"fit.fraction_to": 60.0},
    {"baseline.extent": 100.0, "adhesion.samples": 5},
    {"fit.law": "cone"},  # another factor between length and modulus than the map's
    {"tip.radius": 32.0},
    {"sample.poisson_ratio": 0.2},
    {"fit.adhesion": "none"},
)


@pytest.mark.parametrize("change", CHANGES)
def test_a_corrected_pixel_has_the_numbers_of_an_analysis_under_its_settings(fmap, first, change):
    """Whatever is overridden; all other pixels stay as they were, to the last bit."""
    mask = np.zeros(fmap.shape, bool)
    mask[4:7, 3:9] = True
    made = reviewed(first, Review().correct(Pixels.of(mask), change))
    whole = analyse(fmap, first.settings.with_values(change), previous=first)
    moved = False
    for name in CHANNELS:
        before, now, there = (a.channel(name) for a in (first, made, whole))
        np.testing.assert_array_equal(now[~mask], before[~mask])
        np.testing.assert_allclose(now[mask], there[mask], rtol=1e-12)
        moved |= not np.array_equal(now[mask], before[mask], equal_nan=True)
        if first.errors(name) is not None:
            # the ± holds the slow noise, which is pooled over the map under the map's settings
            np.testing.assert_allclose(made.errors(name)[mask], whole.errors(name)[mask], rtol=0.3)
    assert moved
    np.testing.assert_array_equal(made.doubts[~mask], first.doubts[~mask])
    one = explain(fmap, first.settings.with_values(change), 5, 4, made)
    for name in ("indentation", "modulus"):  # a paraboloid's radius is no cone's angle: NaN there
        there = made.channel(name)[5, 4]
        assert one.values[name][0] == pytest.approx(there, rel=1e-12, nan_ok=name == "modulus")


def test_taking_a_correction_back_gives_the_very_analysis_again(fmap, first):
    review = Review().correct(Pixels.one(fmap.shape, 5, 5), {"fit.fraction_to": 60.0})
    there = reviewed(first, review)
    back = reviewed(there, Review())
    assert back.stage_tables["fit"] is first.stage_tables["fit"]
    np.testing.assert_array_equal(back.channel("modulus"), first.channel("modulus"))


def test_a_correction_that_is_there_is_not_worked_out_again(fmap, first):
    review = Review().correct(Pixels.one(fmap.shape, 5, 5), {"fit.fraction_to": 60.0})
    there = reviewed(first, review)
    more = reviewed(there, review.correct(Pixels.one(fmap.shape, 9, 9), {"fit.law": "cone"}))
    assert more.corrections[0][1] is there.corrections[0][1]
    assert len(more.corrections) == 2


def test_a_correction_that_no_longer_fits_is_told_and_leaves_the_numbers(fmap, first):
    review = Review().correct(Pixels.one(fmap.shape, 5, 5), {"fit.adhesion": "jkr"})
    cone = analyse(fmap, first.settings.with_value("fit.law", "cone"), previous=first)
    made = reviewed(cone, review)
    np.testing.assert_array_equal(made.channel("modulus"), cone.channel("modulus"))
    assert "paraboloid" in problems(made)[0]
    assert problems(reviewed(first, review)) == []


def test_kept_pixels_are_trusted_and_left_out_ones_are_not(first):
    severe = first.severe
    assert severe.any()
    row, col = np.argwhere(severe)[0]
    review = Review().keep(Pixels.one(first.map.shape, row, col))
    kept = reviewed(first, review)
    assert kept.trusted[row, col]
    assert not first.trusted[row, col]
    assert kept.doubts[row, col] == first.doubts[row, col]  # the doubt itself stays
    good = np.argwhere(first.trusted)[7]
    out = reviewed(first, review.leave_out(Pixels.one(first.map.shape, *good)))
    assert not out.trusted[tuple(good)]
    assert out.trusted.sum() == kept.trusted.sum() - 1
    curves = out.map.index_map
    sound = out.sound()
    assert (sound[curves] == out.trusted).all()


def test_a_contact_point_given_by_hand_is_held(fmap, first):
    """Late by 0.1 of the depth the modulus is too high by about a fifth: dE/E = 2 dδ0/δmax for a
    sphere over the whole range (least squares on the law, white noise)."""
    trusted = np.argwhere(first.trusted & (first.channel("indentation") > 2.0))
    row, col = trusted[len(trusted) // 2]
    z0, depth = (first.channel(n)[row, col] for n in ("contact_point", "indentation"))
    found = []
    for late in (0.0, 0.05):
        change = {"fit.contact": "given", "fit.contact_at": z0 + late * depth,
                  "fit.adhesion": "none"}  # fmt: skip
        made = reviewed(first, Review().correct(Pixels.one(fmap.shape, row, col), change))
        assert made.channel("contact_point")[row, col] == pytest.approx(z0 + late * depth)
        found.append(made.channel("modulus")[row, col])
    assert found[1] / found[0] - 1.0 == pytest.approx(2 * 0.05, rel=0.35)


def test_what_reads_rows_knows_that_some_pixels_are_corrected(fmap, first):
    """Rows of another law would be read as the map's: so advice, comparison and budgets leave
    corrected curves out, or take their own analysis."""
    from palpate.core.advice.measured import trusted_curves
    from palpate.core.uncertainty import pixel_budget
    from palpate.core.uncertainty.groups import group_budget

    mask = np.zeros(fmap.shape, bool)
    mask[3:9, 3:9] = True
    change = {"fit.law": "cone", "tip.half_angle": 20.0}
    made = reviewed(first, Review().correct(Pixels.of(mask), change))
    for name, rows in first.stage_tables.items():
        assert made.stage_tables[name] is rows
    assert not made.curve_corrected[trusted_curves(made)].any()
    row, col = np.argwhere(mask & made.trusted)[5]
    whole = analyse(fmap, first.settings.with_values(change), previous=first)
    own, there = (pixel_budget(a, int(row), int(col), trials=2000) for a in (made, whole))
    assert own.common == pytest.approx(there.common, rel=0.02)
    assert own.value == pytest.approx(there.value, rel=1e-12)
    plain = pixel_budget(first, int(row), int(col), trials=2000)
    assert own.common != pytest.approx(plain.common, rel=0.05)
    group = group_budget(made, mask, trials=2000)
    assert group.common == pytest.approx(group_budget(whole, mask, trials=2000).common, rel=0.05)


def test_a_contact_point_given_by_hand_is_one_pixels_alone(fmap, first):
    """It is a base position: on another pixel of an uneven surface it means nothing."""
    given = {"fit.contact": "given", "fit.contact_at": 1.0}
    with pytest.raises(SettingsError, match="one pixel"):
        Review().correct(pixels((1, 1), (1, 2)), given)
    with pytest.raises(SettingsError, match="one pixel"):
        analyse(fmap, first.settings.with_values(given))


def test_decisions_of_two_maps_are_never_one_review():
    with pytest.raises(SettingsError, match="another shape"):
        Review().leave_out(pixels((1, 1))).keep(Pixels.one((8, 8), 2, 2))


def test_gathered_pixels_keep_their_own_corrections_when_they_are_corrected_together():
    from palpate.app.correcting import corrected
    from palpate.app.work import Work

    review = Review().correct(pixels((1, 1)), {"fit.law": "cone"}, "sharp here")
    review = review.leave_out(pixels((2, 2)), "dust")
    both = pixels((1, 1), (2, 2), (3, 3))
    made = corrected(Work(review=review), both, {"fit.fraction_to": 60.0}).review
    changes = {at: dict(made.at(SHAPE, *at).change) for at in ((1, 1), (2, 2), (3, 3))}
    assert changes[1, 1] == {"fit.law": "cone", "fit.fraction_to": 60.0}
    assert changes[2, 2] == changes[3, 3] == {"fit.fraction_to": 60.0}
    assert made.at(SHAPE, 1, 1).note == "sharp here"
    back = corrected(Work(review=made), both, {"fit.fraction_to": 95.0}).review
    assert [dict(d.change) for d in back.decisions] == [{"fit.law": "cone"}]
