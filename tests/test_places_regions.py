"""Regions: which pixels belong, checked against independent point-in-polygon code."""

from __future__ import annotations

import time

import numpy as np
import pytest

from palpate.core.errors import SettingsError
from palpate.core.places import (
    Brush,
    Combined,
    OfComponent,
    Polygon,
    Rectangle,
    Region,
    mask_of,
    why_empty,
)

X = (np.arange(60) + 0.5) * 20.0
Y = (np.arange(40) + 0.5) * 25.0
CENTRES = np.stack([np.tile(X, Y.size), np.repeat(Y, X.size)], axis=1)


def star(rng: np.random.Generator, corners: int) -> tuple:
    angle = np.sort(rng.uniform(0, 2 * np.pi, corners))
    radius = rng.uniform(100, 480, corners)
    return tuple(zip(600 + radius * np.cos(angle), 500 + radius * np.sin(angle), strict=True))


@pytest.mark.parametrize("seed", range(6))
def test_a_polygon_holds_the_centres_that_matplotlib_and_skimage_hold(seed):
    from matplotlib.path import Path
    from skimage.measure import points_in_poly

    corners = star(np.random.default_rng(seed), 5 + 4 * seed)
    mask = mask_of(Polygon(corners), X, Y)
    assert np.array_equal(mask.ravel(), Path([*corners, corners[0]], closed=True)
                          .contains_points(CENTRES))  # fmt: skip
    assert np.array_equal(mask.ravel(), points_in_poly(CENTRES, corners))
    assert 100 < mask.sum() < mask.size


def test_a_polygon_that_crosses_itself_follows_the_even_odd_rule():
    """scikit-image's points_in_poly counts crossings, too; the pentagon in a five-pointed star
    is wound twice and so does not belong."""
    from skimage.measure import points_in_poly

    turn = np.arange(5) * 4 * np.pi / 5 + 0.1
    corners = tuple(zip(600 + 450 * np.cos(turn), 500 + 450 * np.sin(turn), strict=True))
    mask = mask_of(Polygon(corners), X, Y)
    assert np.array_equal(mask.ravel(), points_in_poly(CENTRES, corners))
    assert not mask[20, 30]  # the middle of the star


def test_a_rectangle_is_the_polygon_of_its_corners_even_with_centres_on_its_outline():
    box = Rectangle(110.0, 112.5, 510.0, 612.5)  # all four edges run through centres
    corners = ((110.0, 112.5), (510.0, 112.5), (510.0, 612.5), (110.0, 612.5))
    mask = mask_of(box, X, Y)
    assert np.array_equal(mask, mask_of(Polygon(corners), X, Y))
    assert np.array_equal(mask, mask_of(Polygon(corners[::-1]), X, Y))
    assert mask.sum() == 20 * 20
    assert mask[4, 5]  # the lower left corner belongs
    assert not mask[24, 25]  # the upper right one does not
    assert box == Rectangle(510.0, 612.5, 110.0, 112.5)


def test_shapes_that_share_an_edge_never_share_a_pixel_and_leave_none_out():
    rng = np.random.default_rng(3)
    middle = (X[30], Y[20])  # through centres, on purpose
    ring = [(0.0, 0.0), (X[30], 0.0), (1200.0, 0.0), (1200.0, Y[20]), (1200.0, 1000.0),
            (X[12], 1000.0), (0.0, 1000.0), (0.0, rng.uniform(100, 900))]  # fmt: skip
    count = sum(
        mask_of(Polygon((middle, a, b)), X, Y).astype(int)
        for a, b in zip(ring, ring[1:] + ring[:1], strict=True)
    )
    assert (count == 1).all()


def test_a_brush_holds_what_lies_within_its_radius_of_its_line():
    from scipy.ndimage import distance_transform_edt

    axis = np.arange(200) + 0.0
    points = ((20.0, 30.0), (20.0, 150.0), (140.0, 150.0))
    mask = mask_of(Brush(((points, 17.3),)), axis, axis)
    line = np.ones((200, 200), dtype=bool)
    line[30:151, 20] = line[150, 20:141] = False  # the line runs through centres: exact distances
    assert np.array_equal(mask, distance_transform_edt(line) <= 17.3)


def test_one_dab_of_the_brush_is_a_disc_and_many_are_their_union():
    axis = np.arange(101) + 0.0
    one, two = (((30.0, 30.0),), 10.0), (((60.0, 70.0),), 15.0)
    yy, xx = np.mgrid[:101, :101]
    a = (xx - 30) ** 2 + (yy - 30) ** 2 <= 100
    b = (xx - 60) ** 2 + (yy - 70) ** 2 <= 225
    assert np.array_equal(mask_of(Brush((one, two)), axis, axis), a | b)


def test_an_axis_that_falls_gives_the_same_pixels_mirrored():
    shapes = (Polygon(star(np.random.default_rng(1), 9)), Rectangle(100, 100, 700, 400),
              Brush(((((100.0, 200.0), (900.0, 800.0)), 60.0),)))  # fmt: skip
    for shape in shapes:
        mask = mask_of(shape, X, Y)
        assert np.array_equal(mask_of(shape, X[::-1], Y), mask[:, ::-1])
        assert np.array_equal(mask_of(shape, X, Y[::-1]), mask[::-1])


def test_a_region_keeps_its_place_on_a_finer_grid():
    shape = Polygon(star(np.random.default_rng(5), 11))
    fine_x, fine_y = (np.arange(240) + 0.5) * 5.0, (np.arange(160) + 0.5) * 6.25
    coarse = mask_of(shape, X, Y).sum() * 20.0 * 25.0
    fine = mask_of(shape, fine_x, fine_y).sum() * 5.0 * 6.25
    corners = np.array(shape.vertices)
    ahead = np.roll(corners, -1, axis=0)  # the shoelace formula
    area = 0.5 * abs(np.sum(corners[:, 0] * ahead[:, 1] - ahead[:, 0] * corners[:, 1]))
    assert coarse == pytest.approx(area, rel=0.03)
    assert fine == pytest.approx(area, rel=0.005)


def test_a_component_follows_its_labels_and_says_when_it_is_not_there():
    labels = np.zeros((40, 60), dtype=int)
    labels[:, 30:] = 1
    labels[0, :] = -1
    assert mask_of(OfComponent(1, "rubber"), X, Y, labels).sum() == 39 * 30
    assert not mask_of(OfComponent(1, "rubber"), X, Y).any()
    assert "No components have been found" in why_empty(OfComponent(1, "rubber"), X, Y)
    assert "component 5 (beads)" in why_empty(OfComponent(5, "beads"), X, Y, labels)
    with pytest.raises(ValueError, match="shape"):
        mask_of(OfComponent(1), X, Y, labels[:5])


def test_parts_are_added_and_taken_away():
    big, small = Rectangle(0, 0, 600, 600), Rectangle(200, 200, 400, 400)
    far = Rectangle(800, 800, 1000, 1000)
    mask = mask_of(Combined((big, far), (small,)), X, Y)
    a, b, c = (mask_of(s, X, Y) for s in (big, small, far))
    assert np.array_equal(mask, (a | c) & ~b)
    assert 0 < mask.sum() < (a | c).sum()


@pytest.mark.parametrize(
    ("shape", "words"),
    [
        (Rectangle(100, 100, 100, 500), "no width"),
        (Polygon(()), "three different corners"),
        (Polygon(((0, 0), (500, 500), (0, 0), (500, 500))), "three different corners"),
        (Polygon(((0, 0), (500, 500), (900, 900))), "between the centres"),
        (Brush(()), "Nothing was painted"),
        (Brush((((), 5.0),)), "Nothing was painted"),
        (Brush(((((100.0, 100.0),), 1.0),)), "between the centres"),
        (Rectangle(5000, 0, 6000, 900), "beside the map"),
        (Combined(()), "Nothing was added"),
        (Combined((Rectangle(0, 0, 300, 300),), (Rectangle(0, 0, 900, 900),)), "leaves no pixel"),
    ],
)
def test_a_degenerate_shape_is_empty_and_says_why(shape, words):
    assert not mask_of(shape, X, Y).any()
    assert words in why_empty(Region("odd", shape), X, Y)


def test_a_region_that_holds_pixels_has_no_excuse():
    assert why_empty(Rectangle(0, 0, 300, 300), X, Y) == ""


@pytest.mark.parametrize(
    ("make", "field"),
    [
        (lambda: Rectangle(0, 0, float("nan"), 5), "rectangle.x1"),
        (lambda: Rectangle(0, "a", 1, 5), "rectangle.y0"),
        (lambda: Rectangle(True, 0, 1, 5), "rectangle.x0"),
        (lambda: Polygon(((0, 0), (1, 2, 3))), "polygon.vertices[1]"),
        (lambda: Polygon(((0, 0), (1, float("inf")))), "polygon.vertices[1]"),
        (lambda: Polygon(((0.0, 1.0),) * 20_001), "polygon.vertices"),
        (lambda: Polygon("abc"), "polygon.vertices"),
        (lambda: Brush(((((0, 0),), -1.0),)), "brush.strokes[0].radius"),
        (lambda: OfComponent(-1), "component.number"),
        (lambda: OfComponent(1.5), "component.number"),
        (lambda: Combined((Combined(()),)), "combined.added[0]"),
        (lambda: Combined((Polygon(((0.0, 1.0),) * 10_001),) * 2), "combined"),
        (lambda: Region("", Rectangle(0, 0, 1, 1)), "region.name"),
        (lambda: Region(" a", Rectangle(0, 0, 1, 1)), "region.name"),
        (lambda: Region("a\nb", Rectangle(0, 0, 1, 1)), "region.name"),
        (lambda: Region("a" * 81, Rectangle(0, 0, 1, 1)), "region.name"),
        (lambda: Region("a", "b"), "region.shape"),
        (lambda: Region("a", Rectangle(0, 0, 1, 1), "x" * 2001), "region.note"),
    ],
)
def test_what_cannot_be_a_place_is_refused_by_its_field(make, field):
    with pytest.raises(SettingsError) as caught:
        make()
    assert caught.value.field == field


def test_regions_are_values_equal_and_hashable_whatever_lists_they_were_made_from():
    one = Region("a", Polygon([[0, 0], [1, 0], [0.5, 2]]))
    two = Region("a", Polygon(np.array([[0, 0], [1, 0], [0.5, 2]])))
    assert one == two
    assert len({one, two, Region("b", one.shape)}) == 2


def test_a_long_outline_on_a_large_map_takes_less_time_than_pointwise_code():
    """As a ratio to scikit-image's compiled test of each point, on the same outline."""
    from skimage.measure import points_in_poly

    axis = np.arange(256) + 0.5
    turn = np.linspace(0, 2 * np.pi, 400, endpoint=False)
    radius = 90 + 20 * np.sin(7 * turn)
    corners = np.stack([128 + radius * np.cos(turn), 128 + radius * np.sin(turn)], axis=1)
    shape = Polygon(corners)
    points = np.stack([np.tile(axis, 256), np.repeat(axis, 256)], axis=1)
    took = []
    for _ in range(3):
        start = time.perf_counter()
        theirs = points_in_poly(points, corners)
        middle = time.perf_counter()
        ours = mask_of(shape, axis, axis)
        took.append((middle - start, time.perf_counter() - middle))
        assert np.array_equal(ours.ravel(), theirs)
    slow, fast = np.min(took, axis=0)
    assert fast < slow
