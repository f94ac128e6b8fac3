"""What lies in what: drawn caps, discs of 2 inside discs of 1 in a ground of 0."""

from __future__ import annotations

import math

import numpy as np
import pytest

from palpate.core.shapes.nesting import (
    border_of,
    chains,
    depth_profile,
    share_inside,
    shell_of,
)

PLACES = ((30, 40, 12), (70, 100, 15), (90, 30, 9), (40, 130, 8))
ROWS, COLS = np.mgrid[:120, :160]


def disc(row, col, radius):
    return np.hypot(ROWS - row, COLS - col) <= radius


def caps(core=0.55):
    """Discs of 1 with cores of 2 in a ground of 0."""
    labels = np.zeros(ROWS.shape, int)
    for row, col, radius in PLACES:
        labels[disc(row, col, radius)] = 1
        labels[disc(row, col, core * radius)] = 2
    return labels


def test_cores_lie_in_shells_and_shells_in_the_ground():
    labels = caps()
    borders = {k: border_of(labels, k) for k in range(3)}
    assert borders[2].inside == {1: 1.0}
    assert borders[1].inside == {0: 1.0}
    assert borders[2].shares == {1: 1.0}
    assert chains(borders) == [(2, 1, 0)]


def test_the_thickness_of_a_shell_is_right_to_half_a_pixel():
    found = shell_of(caps(), 2, 1, (2.0, 2.0))
    truth = [2.0 * 0.45 * radius for _, _, radius in PLACES]
    assert found.cores == 4
    assert found.thickness == pytest.approx(np.mean(truth), abs=1.0)
    assert found.spread == pytest.approx(np.std(truth, ddof=1), rel=0.2)
    assert found.touching == 0.0
    open_ = caps()
    open_[70, 100:120] = np.where(open_[70, 100:120] == 1, 0, open_[70, 100:120])
    assert shell_of(open_, 2, 1).touching == 0.25


def test_a_core_at_the_edge_of_its_shell_borders_on_two_and_lies_in_none():
    labels = np.zeros(ROWS.shape, int)
    labels[disc(60, 80, 30)] = 1
    labels[disc(60, 108, 10)] = 2
    found = border_of(labels, 2)
    assert set(found.shares) == {0, 1}
    assert sum(found.shares.values()) == pytest.approx(1.0)
    assert 0.3 < found.shares[1] < 0.7
    assert found.inside == {}


def test_a_left_out_pixel_at_the_rim_does_not_open_a_shell():
    labels = caps()
    labels[30, 47:49] = -1
    assert border_of(labels, 2).inside == {1: 1.0}
    assert chains({k: border_of(labels, k) for k in range(3)}) == [(2, 1, 0)]


def test_shares_of_a_border_are_lengths_where_pixels_are_oblong():
    labels = np.zeros((30, 30), int)
    labels[10:20, 10:20] = 1
    labels[:, 20:] = 2
    # 10 edges to 2 across a row of pixels 3 high; to 0 10 such and 20 of 1 wide
    found = border_of(labels, 1, (3.0, 1.0))
    assert found.shares[2] == pytest.approx(30.0 / (60.0 + 20.0))


def test_domains_inside_another_component_are_counted():
    labels = caps()
    labels[disc(100, 140, 6)] = 2  # one core without a shell
    assert share_inside(labels, 2, 1) == pytest.approx(0.8)
    assert share_inside(labels, 1, 0) == 1.0
    assert share_inside(labels, 2, 0) == 1.0
    assert share_inside(labels, 1, 2) == 0.0
    assert math.isnan(share_inside(labels, 5, 1))
    assert math.isnan(share_inside(labels, 0, 1))  # the ground is cut by the border


def test_a_channel_against_depth_goes_over_from_shell_to_core():
    """Values that are a known function of the distance from the rim come back as it."""
    labels, depth = caps(), np.zeros(ROWS.shape)
    for row, col, radius in PLACES:
        depth = np.maximum(depth, radius - np.hypot(ROWS - row, COLS - col))
    pitch = (2.0, 2.0)
    found = depth_profile(3.0 + 0.5 * 2.0 * depth, labels, 1, pitch)
    assert found.values[:-1] == pytest.approx(3.0 + 0.5 * found.depth[:-1], abs=0.6)
    assert list(found.domains[:3]) == [4, 4, 4]
    assert found.domains[-1] == 1  # only the largest is so deep
    assert found.depth[-1] == pytest.approx(2.0 * 15.0, abs=2.5)
    assert found.pixels.sum() == np.count_nonzero(labels)


def test_the_error_of_a_depth_profile_is_the_scatter_between_domains():
    labels, values = caps(), np.zeros(ROWS.shape)
    levels = np.array([1.0, 2.0, 4.0, 8.0])
    for level, (row, col, radius) in zip(levels, PLACES, strict=True):
        values[disc(row, col, radius)] = level
    found = depth_profile(values, labels, 1)
    assert found.values[0] == pytest.approx(levels.mean())
    assert found.errors[0] == pytest.approx(levels.std(ddof=1) / 2.0)
    assert math.isnan(found.errors[-1])
    log = depth_profile(np.where(values > 0, values, np.nan), labels, 1, log=True)
    assert log.values[0] == pytest.approx(math.exp(np.log(levels).mean()))


def test_a_component_that_is_nowhere_whole_has_no_depth_profile():
    found = depth_profile(np.ones(ROWS.shape), caps(), 0)
    assert found.depth.size == found.values.size == found.domains.size == 0
    assert math.isnan(shell_of(caps(), 3, 1).thickness)
