"""Alignments by hand, by landmarks and by correlation, against transforms that are known."""

import numpy as np
import pytest
from scipy import ndimage
from skimage.transform import SimilarityTransform

from palpate.core.errors import Cancelled, InputError, ReadError
from palpate.core.pictures.alignment import (
    Alignment,
    ByHand,
    by_hand,
    find_picture,
    hand_of,
    landmarks,
    with_picture,
)
from palpate.core.pictures.correlating import LIMIT, correlate, search
from palpate.core.pictures.laying import on_grid
from palpate.core.progress import Progress

POINTS = np.array([[0, 0], [90, 5], [80, 95], [10, 70], [50, 40], [30, 85.0]])


@pytest.mark.parametrize("mirrored", [False, True])
def test_a_placing_by_hand_comes_back_from_its_matrix(mirrored):
    placed = ByHand(120.0, -40.0, 37.0, 2.5, mirrored)
    back = hand_of(by_hand((80, 120), placed), (80, 120))
    assert back.mirrored is mirrored
    assert [back.x, back.y, back.angle, back.scale] == pytest.approx([120.0, -40.0, 37.0, 2.5])


def test_landmarks_give_the_similarity_of_scikit_image():
    rng = np.random.default_rng(0)
    on_map = by_hand((99, 99), ByHand(500, 400, 25, 7.0)).to_map(POINTS)
    on_map += rng.normal(0, 3, on_map.shape)
    found = landmarks(POINTS, on_map)
    other = SimilarityTransform()
    other.estimate(POINTS, on_map)
    assert np.allclose(found.alignment.array, other.params, rtol=1e-9, atol=1e-6)
    assert found.wrong is None


def test_a_wrong_pair_is_named():
    on_map = by_hand((99, 99), ByHand(500, 400, 25, 7.0)).to_map(POINTS)
    on_map += np.random.default_rng(1).normal(0, 1, on_map.shape)
    on_map[3] += 200.0
    assert landmarks(POINTS, on_map).wrong == 3


@pytest.mark.parametrize(
    ("points", "kind", "word"),
    [(POINTS[:1], "similarity", "too few"), (np.ones((3, 2)), "similarity", "one point"),
     (np.outer(np.arange(4), [1, 2]), "affine", "on a line")],
)  # fmt: skip
def test_pairs_that_fix_nothing_are_refused_with_a_reason(points, kind, word):
    with pytest.raises(InputError, match=word):
        landmarks(points, points, kind)


def test_an_alignment_comes_back_from_json_and_knows_its_picture(tmp_path):
    (tmp_path / "a.png").write_bytes(b"content")
    made = with_picture(by_hand((9, 9), ByHand(1, 2, 3, 4)), tmp_path / "a.png", tmp_path)
    back = Alignment.from_json(made.to_json())
    assert (back.matrix, back.picture) == (made.matrix, made.picture)
    assert find_picture(back, tmp_path).name == "a.png"
    (tmp_path / "a.png").write_bytes(b"changed")
    with pytest.raises(ReadError, match="not the picture"):
        find_picture(back, tmp_path)
    with pytest.raises(InputError):
        Alignment.from_json('{"kind": 1}')


def smooth(seed, n, width):
    return ndimage.gaussian_filter(np.random.default_rng(seed).standard_normal((n, n)), width)


def test_an_inverted_turned_and_scaled_picture_is_found_to_a_fraction_of_a_pixel():
    big = smooth(1, 700, 7.0) * 25.0
    world = by_hand(big.shape, ByHand(635.0, 635.0, 0, 5.0))
    axis = np.arange(128.0) * 10
    true = by_hand((256, 256), ByHand(800, 500, 15, 4.25))
    cols, rows = np.meshgrid(np.arange(256), np.arange(256))
    at = world.to_picture(true.to_map(np.stack([cols.ravel(), rows.ravel()], axis=1)))
    seen = ndimage.map_coordinates(big, at.T[::-1], order=3).reshape(256, 256)
    seen = -np.exp(0.7 * seen) + 0.3 * np.random.default_rng(2).standard_normal(seen.shape)
    found = correlate(seen, on_grid(big, world, axis, axis), axis, axis, pixel_size=5.0)
    corners = [[0, 0], [255, 0], [0, 255], [255, 255]]
    assert np.abs(found.to_map(corners) - true.to_map(corners)).max() < 2.0  # pixel: 4.25 nm


def test_an_unrelated_picture_is_not_aligned():
    axis = np.arange(96.0)
    assert correlate(smooth(3, 96, 4.0), smooth(4, 96, 4.0), axis, axis) is None


def test_the_best_of_unrelated_pictures_stays_well_below_the_limit():
    """8 pairs: at the 99th percentile of 5.6 that the limit's 200 pairs had, a rise of the quality
    of chance matches by half would be seen here."""
    axis = np.arange(64.0)
    found = [search(smooth(100 + k, 96, 2.0 + k), smooth(200 + k, 64, 1.5 + k % 4), axis, axis)
             for k in range(8)]  # fmt: skip
    qualities = [one.quality for one in found]
    assert max(qualities) < LIMIT
    assert 1.0 < np.median(qualities) < 4.5
    assert all(one.words.startswith("Could not align") for one in found)


def test_a_search_tells_how_far_it_is_and_stops_when_asked():
    told = []

    def report(done, total, words):
        told.append((done, total))
        if done == 5:
            progress.cancel()

    progress = Progress(report)
    with pytest.raises(Cancelled):
        search(smooth(5, 64, 3.0), smooth(6, 64, 3.0), np.arange(64.0), np.arange(64.0),
               progress=progress)  # fmt: skip
    assert [done for done, _ in told] == list(range(6))
