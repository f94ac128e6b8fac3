"""Components of several drawn maps under one numbering; the truth is as drawn."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from component_maps import MIDDLE, SOFT, STIFF, drawn

from palpate.core.components import Axis, Gate, Maps, Rule
from palpate.core.fields.matching import match

KINDS = (STIFF, SOFT)
RULE = Rule(count=0, most=4)


def maps_of(factors, fractions=(0.3,), kinds=KINDS):
    """A drawn map for each factor, its moduli raised by it as another lever would."""
    made = []
    for seed, factor in enumerate(factors, start=1):
        one = drawn(kinds, fractions, seed=seed)
        values = {**one.maps.values, "reduced_modulus": one.maps.values["reduced_modulus"] * factor}
        made.append(replace(one, maps=replace(one.maps, values=values)))
    return made


def right(made, which, truth):
    """Share of a map's pure pixels whose common number is the drawn kind, soft before stiff."""
    one = made.compositions[which]
    common = np.full(one.labels.shape, -1)
    for k, own in enumerate(made.numbers[which]):
        if own >= 0:
            common[one.pixels(int(own), pure=True)] = k
    wanted = 1 - truth
    seen = common >= 0
    return np.mean(common[seen] == wanted[seen])


@pytest.mark.parametrize("how", ["together", "nearest"])
def test_maps_of_one_sample_get_one_numbering(how):
    drawings = maps_of([1.0, 1.05, 0.95])
    made = match([one.maps for one in drawings], RULE, ["a", "b", "c"], how)
    assert made.count == 2
    assert made.numbers.tolist() == [[0, 1]] * 3
    assert not made.remarks
    for which, one in enumerate(drawings):
        assert right(made, which, one.labels) > 0.99


@pytest.mark.parametrize("how", ["together", "nearest"])
def test_another_lever_is_allowed_for_when_asked_and_told_as_a_factor(how):
    """Factors of 1, 1.5 and 1/1.5 with a spread of 8 %: 5 standard deviations apart."""
    drawings = maps_of([1.0, 1.5, 1 / 1.5])
    made = match([one.maps for one in drawings], RULE, ["a", "b", "c"], how, offsets=True)
    assert made.count == 2
    assert made.numbers.tolist() == [[0, 1]] * 3
    assert 10.0 ** made.offsets[:, 0] == pytest.approx([1.0, 1.5, 1 / 1.5], rel=0.03)
    assert not made.offsets[:, 1].any()
    assert "factor of reduced_modulus" in made.words
    for which, one in enumerate(drawings):
        assert right(made, which, one.labels) > 0.99


def test_without_an_offset_a_component_too_far_away_is_a_new_one_with_a_reason():
    drawings = maps_of([1.0, 1.0, 3.0])
    made = match([one.maps for one in drawings], RULE, ["a", "b", "c"], "nearest")
    assert made.count == 4
    assert (made.numbers[2] < 0).sum() == 2
    assert made.numbers[0].tolist() == made.numbers[1].tolist()
    assert len(made.remarks) == 6
    assert "standard deviations away, and the limit is 3" in made.remarks[0]


def test_a_component_that_one_map_lacks_is_missing_there_and_nowhere_else():
    two = [one.maps for one in maps_of([1.0, 1.0])]
    three = drawn((STIFF, SOFT, MIDDLE), (0.3, 0.25), seed=9, blur=0.0).maps
    made = match([*two, three], RULE, ["a", "b", "c"], "nearest")
    assert made.numbers.tolist() == [[0, -1, 1], [0, -1, 1], [0, 1, 2]]
    assert set(made.reasons) == {(0, 1), (1, 1)}


def test_maps_of_different_size_count_alike_in_the_mixture_of_all():
    """The large map has 9 times the pixels; its factor must not drag the means to itself."""
    small, large = (drawn(KINDS, (0.3,), size=size, seed=4) for size in (40, 120))
    values = {**large.maps.values, "reduced_modulus": 1.2 * large.maps.values["reduced_modulus"]}
    made = match([small.maps, replace(large.maps, values=values)], Rule(count=2))
    centre = made.compositions[0].rule.members[1].centre[0]
    assert centre == pytest.approx(STIFF.modulus * np.sqrt(1.2), rel=0.03)


def test_given_places_number_the_components_by_themselves():
    maps = [one.maps for one in maps_of([1.0, 1.1])]
    axes = (Axis("reduced_modulus", True), Axis("adhesion"))
    cut = match(maps, Rule(method="thresholds", axes=axes, thresholds=(0.3, 50.0)))
    assert cut.numbers.tolist() == [[0, 1, -1], [0, 1, -1]]
    assert "no pixel belongs to it" in cut.remarks[0]
    gate = Gate(((0.5, 0.0), (5.0, 0.0), (5.0, 20.0), (0.5, 20.0)))
    drawn_by_hand = match(maps, Rule(method="gates", axes=axes, gates=(gate,)))
    assert drawn_by_hand.numbers.tolist() == [[0], [0]]


def test_a_map_that_cannot_be_used_is_named():
    good = drawn(KINDS, (0.3,)).maps
    bad = Maps({name: np.full((8, 8), np.nan) for name in good.values})
    with pytest.raises(ValueError, match="second: no pixel"):
        match([good, bad], RULE, ["first", "second"])
    with pytest.raises(ValueError, match="two at least"):
        match([good], RULE)
