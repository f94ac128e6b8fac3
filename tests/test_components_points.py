"""Pixels as points: coordinates, reasons for leaving out, and pixels away from edges."""

from __future__ import annotations

import numpy as np
import pytest
from component_maps import SOFT, STIFF, drawn
from scipy import ndimage

from palpate.core.components import Axis, Maps
from palpate.core.components.maps import EXCLUDED, NO_VALUE, NOT_POSITIVE, SEVERE, USED
from palpate.core.components.points import Points, filled, in_channel, on_axis

MODULUS, PULL = Axis("reduced_modulus", True), Axis("adhesion")
BOTH = (MODULUS, PULL)


def small() -> Maps:
    modulus = np.array([[1.0, 10.0, 0.0], [np.nan, 100.0, -2.0], [np.inf, 2.0, 5.0]])
    pull = np.array([[3.0, -1.0, 2.0], [1.0, np.nan, 0.0], [1.0, 1.0, 1.0]])
    reasons = np.zeros((3, 3), np.uint8)
    reasons[2, 1], reasons[2, 2] = SEVERE, EXCLUDED
    return Maps({"reduced_modulus": modulus, "adhesion": pull},
                {"reduced_modulus": np.abs(modulus) * 0.1}, reasons)  # fmt: skip


def test_every_pixel_has_one_reason_and_the_first_counts():
    points = Points.of(small(), BOTH)
    wanted = [[USED, USED, NOT_POSITIVE], [NO_VALUE, NO_VALUE, NOT_POSITIVE],
              [NO_VALUE, SEVERE, EXCLUDED]]  # fmt: skip
    assert points.reasons.tolist() == wanted
    assert np.isnan(points.stack[points.reasons != USED]).all()
    assert points.table.tolist() == [[0.0, 3.0], [1.0, -1.0]]
    assert small().reasons.tolist()[0] == [0, 0, 0]  # what went in is not written to


def test_a_channel_without_logarithm_keeps_zero_and_negative_values():
    points = Points.of(small(), (PULL,))
    assert points.used[0, 1]
    assert points.used[1, 2]
    assert not points.used[1, 1]


def test_the_uncertainty_of_a_logarithm_is_the_relative_one_over_ln_10():
    values, errors = on_axis(MODULUS, small())
    assert errors[0, 1] == pytest.approx(0.1 / np.log(10.0), rel=1e-12)
    drawn_ = np.random.default_rng(1).normal(10.0, 0.1, 100_000)  # Monte Carlo of a small error
    ten, tenth = np.full((1, 1), 10.0), np.full((1, 1), 0.1)
    scene = Maps({"reduced_modulus": ten}, {"reduced_modulus": tenth})
    assert on_axis(MODULUS, scene)[1][0, 0] == pytest.approx(np.log10(drawn_).std(), rel=0.01)
    assert in_channel(MODULUS, values[0, 1]) == pytest.approx(10.0)
    assert (on_axis(PULL, small())[1] == 0.0).all()


def test_a_channel_that_is_not_there_is_named():
    with pytest.raises(ValueError, match="stiffness"):
        Points.of(small(), (Axis("stiffness", True),))


def test_holes_take_the_value_of_the_nearest_known_pixel():
    values, known = np.arange(12.0).reshape(3, 4), np.ones((3, 4), bool)
    known[1, 1] = known[0, 3] = False
    made = filled(np.where(known, values, np.nan), known)
    assert np.isfinite(made).all()
    assert (made[known] == values[known]).all()
    assert made[1, 1] in {1.0, 4.0, 6.0, 9.0}
    assert made[0, 3] in {2.0, 7.0}
    assert (filled(np.full((2, 2), np.nan), np.zeros((2, 2), bool)) == 0.0).all()


def test_pixels_of_plain_patches_are_away_from_boundaries():
    """Drawn boundaries by erosion, an independent way.
    Two pixels a side are what the blur takes."""
    scene = drawn((STIFF, SOFT), (0.4,), width=6.0, seed=3)
    points = Points.of(scene.maps, BOTH)
    labels = scene.labels
    grown = ndimage.grey_dilation(labels, (3, 3)) != ndimage.grey_erosion(labels, (3, 3))
    inside = ~ndimage.binary_dilation(grown, iterations=3)
    assert points.plain[grown].mean() < 0.02
    assert points.plain[inside].mean() > 0.9


def test_a_lone_pixel_out_of_reason_is_not_plain():
    scene = drawn((STIFF,), (), seed=2)
    values = {name: image.copy() for name, image in scene.maps.values.items()}
    values["adhesion"][20, 20] += 50.0
    points = Points.of(Maps(values), BOTH)
    assert points.used[20, 20]
    assert not points.plain[20, 20]
    assert points.plain.mean() > 0.9


def test_what_is_left_out_does_not_decide_where_edges_are():
    scene = drawn((STIFF, SOFT), (0.4,), seed=4)
    out = np.random.default_rng(1).random(scene.labels.shape) < 0.05
    made = []
    for poison in (1.0, 1e9):
        values = {n: np.where(out, v * poison, v) for n, v in scene.maps.values.items()}
        reasons = np.where(out, EXCLUDED, USED).astype(np.uint8)
        made.append(Points.of(Maps(values, reasons=reasons), BOTH))
    assert (made[0].plain == made[1].plain).all()
    assert not (made[0].plain & out).any()


@pytest.mark.parametrize("value", [np.nan, 3.0])
def test_flat_and_empty_maps_have_no_edges(value):
    points = Points.of(Maps({"adhesion": np.full((8, 8), value)}), (PULL,))
    assert (points.plain == points.used).all()


def test_where_everything_is_edge_all_pixels_are_taken():
    noise = np.random.default_rng(1).normal(0, 0.01, (16, 16))
    board = np.indices((16, 16)).sum(0) % 2 * 5.0 + noise
    points = Points.of(Maps({"adhesion": board}), (PULL,))
    assert np.count_nonzero(points.plain) >= 30
