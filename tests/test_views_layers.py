"""What lies over a map: components, masks, another picture, and the key that tells them."""

from __future__ import annotations

import time

import numpy as np
import pytest
from PySide6.QtCore import QPoint, QPointF
from PySide6.QtGui import QColor, QTransform
from pytestqt.qtbot import QtBot
from views_data import drag

from palpate.app.theme import DARK, LIGHT
from palpate.app.views import layer_items
from palpate.app.views.map_layers import FILL, OFF, OUTLINES
from palpate.app.views.map_places import ProfileMark, RegionMark, along, outline
from palpate.app.views.map_view import MapView
from palpate.core.channels import CHANNELS

COLOURS, LETTERS = ("#56b4e9", "#e69f00", "#cc79a7"), "ABC"


def shown(qtbot: QtBot, values: np.ndarray, has_scale: bool = True, pitch: float = 20.0) -> MapView:
    view = MapView()
    qtbot.addWidget(view)
    view.resize(620, 620)
    rows, cols = values.shape
    pitch = pitch if has_scale else 1.0
    view.show_values(values, np.arange(cols) * pitch, np.arange(rows) * pitch, CHANNELS["modulus"],
                     has_scale)  # fmt: skip
    view.show()
    qtbot.waitExposed(view)
    return view


def seen(view: MapView, row: int, col: int) -> QColor:
    """The colour in the middle of a pixel, as it is on the screen."""
    picture = view.plot.grab().toImage()
    place = view.plot.mapFromScene(view.scene_at(row, col))
    return picture.pixelColor(place * picture.devicePixelRatio())


def halves(rows: int = 8, cols: int = 8) -> np.ndarray:
    """Component 0 on the left, 1 on the right."""
    return np.repeat((np.arange(cols) >= cols // 2).astype(int)[None], rows, axis=0)


def lengths(runs: list[layer_items.Runs], label: int) -> float:
    return sum(float(np.sum(np.abs(np.diff(r.x)) + np.abs(np.diff(r.y)), where=(
        r.label == label)[:, None])) for r in runs)  # fmt: skip


def test_boundary_of_a_square_is_as_long_as_its_four_sides():
    labels = np.full((9, 9), -1)
    labels[2:6, 3:8] = 1
    runs = layer_items.boundaries(labels)
    assert lengths(runs, 1) == 2 * (4 + 5)
    assert sum(len(r.label) for r in runs) == 4  # straight pieces are one line each
    corners = {(x, y) for r in runs for x, y in zip(r.x.ravel(), r.y.ravel(), strict=True)}
    assert corners == {(3.0, 2.0), (8.0, 2.0), (3.0, 6.0), (8.0, 6.0)}


def test_length_of_boundaries_agrees_with_counting_unequal_neighbours():
    labels = np.random.default_rng(1).integers(-1, 3, (37, 23))
    runs = layer_items.boundaries(labels)
    for label in range(3):
        mask = labels == label
        counted = sum(np.count_nonzero(np.diff(mask, axis=axis)) for axis in (0, 1))
        assert lengths(runs, label) == counted
    padded = np.pad(labels == 1, 1)
    counted = sum(np.count_nonzero(np.diff(padded, axis=axis)) for axis in (0, 1))
    assert lengths(layer_items.boundaries(labels, closed=True), 1) == counted


def test_inward_points_into_the_component_that_a_line_bounds():
    labels = np.random.default_rng(2).integers(0, 2, (11, 14))
    for runs in layer_items.boundaries(labels):
        dx, dy = runs.inward
        for label, x, y in zip(runs.label, runs.x.mean(axis=1), runs.y.mean(axis=1), strict=True):
            col, row = int(np.floor(x + 0.5 * dx)), int(np.floor(y + 0.5 * dy))
            assert labels[row, col] == label


def test_left_out_specks_inside_a_component_get_no_outline_but_a_zone_between_two_does():
    labels = halves(9, 9)
    labels[4, 1] = labels[0, 8] = -1
    assert (layer_items.without_holes(labels) == halves(9, 9)).all()
    labels[:, 4] = -1
    assert (layer_items.without_holes(labels)[:, 4] == -1).all()


def test_a_letter_stands_inside_the_largest_domain_of_its_component():
    labels = np.zeros((300, 200), int)
    labels[20:40, 20:40] = labels[100:220, 60:180] = 1
    places = layer_items.letter_places(labels)
    label, x, y, free = next(p for p in places if p[0] == 1)
    assert (abs(x - 120) < 12, abs(y - 160) < 12, abs(free - 60) < 6) == (True, True, True)
    assert all(labels[int(y), int(x)] == label for label, x, y, _ in places)


def test_fill_shows_the_colour_of_the_component_and_left_out_pixels_the_map(qtbot):
    view = shown(qtbot, np.ones((8, 8)))
    plain, labels = seen(view, 2, 1), halves()
    labels[5, 2] = -1
    view.layers.set_component_look(FILL, 1.0)
    view.layers.show_components(labels, COLOURS, LETTERS)
    assert seen(view, 7, 0).name() == COLOURS[0]
    assert seen(view, 7, 7).name() == COLOURS[1]
    assert seen(view, 5, 2) == plain
    view.layers.set_component_look(OFF)
    assert seen(view, 7, 0) == plain


def test_outlines_have_both_colours_on_their_sides_and_a_dark_line_between(qtbot):
    view = shown(qtbot, np.ones((8, 8)))
    view.layers.show_components(halves(), COLOURS, LETTERS)
    picture = view.plot.grab().toImage()
    edge = view.plot.mapFromScene(view.image.mapToScene(QPointF(4.0, 6.2)))
    row = [picture.pixelColor(edge + QPoint(i, 0)).name() for i in range(-4, 5)]
    at = row.index(LIGHT.dark_edge)
    assert row[at - 2 : at] == [COLOURS[0]] * 2
    assert row[at + 1 : at + 3] == [COLOURS[1]] * 2


def test_components_read_without_colour_by_their_letters(qtbot):
    view = shown(qtbot, np.ones((8, 8)))
    for look in (OUTLINES, FILL):
        view.layers.set_component_look(look)
        view.layers.show_components(halves(), COLOURS, LETTERS)
        assert view.layers.letters.texts == ["A", "B"]
    view.layers.set_component_look(OFF)
    assert view.layers.letters.texts == []


def test_key_tells_components_left_out_and_selected_pixels(qtbot):
    view = shown(qtbot, np.ones((8, 8)))
    key = view.layers.key
    assert not key.isVisible()
    labels, mask = halves(), np.zeros((8, 8), bool)
    labels[0, :3] = -1
    mask[2:4, 2:5] = True
    view.layers.show_components(labels, COLOURS[:2], LETTERS[:2])
    view.layers.show_left_out(labels < 0)
    view.layers.show_selection(mask)
    assert key.isVisible()
    assert key.text == "A (29), B (32), set aside (3), selected (6 of 64)"
    view.layers.clear()
    assert not key.isVisible()


def test_the_map_keeps_its_size_while_a_selection_comes_and_goes(qtbot):
    view = shown(qtbot, np.ones((8, 8)))
    view.layers.show_components(halves(), COLOURS[:2], LETTERS[:2])
    qtbot.wait(20)
    size = view.plot.size()
    for chosen in (1, 64, None):
        mask = None if chosen is None else np.arange(64).reshape(8, 8) < chosen
        view.layers.show_selection(mask)
        qtbot.wait(20)
        assert view.plot.size() == size
    view.layers.show_components(None)
    qtbot.wait(20)
    assert view.plot.size() == size


def test_hatch_is_neither_the_grey_of_no_value_nor_the_map(qtbot):
    values = np.ones((6, 6))
    values[0, 0] = np.nan
    view = shown(qtbot, values)
    mask = np.zeros((6, 6), bool)
    mask[3, 3] = True
    view.layers.show_left_out(mask)
    picture = view.plot.grab().toImage()

    def colours(row: int, col: int) -> set[str]:
        at = view.plot.mapFromScene(view.scene_at(row, col))
        return {picture.pixelColor(at + QPoint(i, 3)).name() for i in range(-8, 9)}

    assert len(colours(3, 3)) == 3  # light, dark, and the map between
    assert len(colours(3, 1)) == 1
    assert not colours(3, 3) & colours(0, 0)


def test_selection_dims_the_rest_and_leaves_the_selected_as_they_are(qtbot):
    view = shown(qtbot, np.ones((8, 8)))
    plain = seen(view, 3, 3)
    mask = np.zeros((8, 8), bool)
    mask[2:5, 2:5] = True
    view.layers.show_selection(mask)
    assert seen(view, 3, 3) == plain
    assert seen(view, 0, 7).lightnessF() < 0.7 * plain.lightnessF()
    view.layers.show_selection(None)
    assert seen(view, 0, 7) == plain


def test_a_picture_lies_over_the_map_as_see_through_as_wanted(qtbot):
    view = shown(qtbot, np.ones((8, 8)))
    plain = seen(view, 3, 0)
    picture = np.zeros((8, 8))
    picture[:, 4:] = 1.0
    view.layers.set_picture(picture, None, 1.0)
    assert seen(view, 3, 0).name() == "#000000"
    assert seen(view, 3, 7).lightnessF() > 0.95
    view.layers.set_picture_opacity(0.5)
    mixed = seen(view, 3, 0)
    assert mixed.green() == pytest.approx(plain.green() / 2, abs=2)
    view.layers.set_picture(None)
    assert seen(view, 3, 0) == plain


@pytest.mark.parametrize("pitch", [20.0, 2000.0], ids=["nm", "µm"])
def test_a_picture_with_a_transform_lies_where_the_transform_says(qtbot, pitch):
    view = shown(qtbot, np.ones((8, 8)), pitch=pitch)
    plain = seen(view, 6, 6)
    way = QTransform().translate(-0.5 * pitch, -0.5 * pitch).scale(pitch / 4, pitch / 4)
    view.layers.set_picture(np.zeros((16, 16)), way, 1.0)  # covers columns and rows 0 to 3
    view.layers.set_picture(np.pad(np.zeros((14, 14)), 1, constant_values=1.0), way, 1.0)
    assert seen(view, 2, 2).name() == "#000000"
    assert seen(view, 6, 6) == seen(view, 2, 6) == plain


def test_divider_parts_map_and_picture_and_is_dragged_with_the_mouse(qtbot):
    view = shown(qtbot, np.ones((8, 8)))
    plain, said, dropped = seen(view, 2, 1), [], []
    view.layers.divider_dragged.connect(said.append)
    view.layers.divider_dropped.connect(dropped.append)
    view.layers.set_picture(np.pad(np.zeros((6, 6)), 1, constant_values=1.0))
    view.layers.set_split(True, 0.5)
    assert (seen(view, 2, 1), seen(view, 2, 5).name()) == (plain, "#000000")
    before = view.box.viewRect()
    start = view.plot.mapFromScene(view.image.mapToScene(QPointF(4.0, 2.0)))
    stop = view.plot.mapFromScene(view.image.mapToScene(QPointF(2.0, 2.0)))
    drag(view.plot.viewport(), start, stop)
    assert view.box.viewRect() == before
    assert len(said) > 3
    assert dropped == [pytest.approx(0.25, abs=0.01)]
    assert seen(view, 2, 3).name() == "#000000"
    view.layers.set_split(True, 0.9)
    assert len(dropped) == 1  # the program says nothing


def test_a_new_map_takes_the_layers_of_the_old_one_away(qtbot):
    view = shown(qtbot, np.ones((8, 8)))
    view.layers.show_components(halves(), COLOURS, LETTERS)
    view.layers.show_selection(np.ones((8, 8), bool))
    axis = np.arange(5) * 20.0
    view.show_values(np.ones((5, 5)), axis, axis, CHANNELS["modulus"])
    assert view.layers.key.text == ""
    with pytest.raises(ValueError, match="pixels"):
        view.layers.show_selection(np.ones((8, 8), bool))
    with pytest.raises(ValueError, match="looks"):
        view.layers.show_components(np.full((5, 5), 4), COLOURS, LETTERS)


def test_another_channel_of_the_same_map_keeps_the_layers(qtbot):
    view = shown(qtbot, np.ones((8, 8)))
    view.layers.show_components(halves(), COLOURS, LETTERS)
    axis = np.arange(8) * 20.0
    view.show_values(np.full((8, 8), 2.0), axis, axis, CHANNELS["adhesion"])
    assert view.layers.key.text.startswith("A (32)")


@pytest.mark.parametrize("shape", [(1, 1), (1, 9), (9, 1)])
@pytest.mark.parametrize("has_scale", [True, False])
def test_awkward_maps_take_every_layer(qtbot, shape, has_scale):
    view = shown(qtbot, np.full(shape, np.nan), has_scale)
    for labels in (np.zeros(shape, int), np.full(shape, -1)):
        for look in (OUTLINES, FILL):
            view.layers.set_component_look(look)
            view.layers.show_components(labels, COLOURS, LETTERS)
            view.layers.show_left_out(labels < 0)
            view.layers.show_selection(labels >= 0)
            view.layers.set_picture(np.full(shape, np.nan), None, 0.5)
            view.layers.set_split(True)
            line = np.array([(0.0, 0.0), (0.0, 0.0)])
            view.layers.show_profiles([ProfileMark("nowhere", line, 5.0, (0.0, 1.0), True)])
            view.layers.show_regions([RegionMark("all", "pixels", line[:0], mask=labels >= 0)])
            view.set_theme(DARK)
            assert not view.grab().isNull()


def test_a_region_of_pixels_is_outlined_where_they_are(qtbot):
    view = shown(qtbot, np.ones((8, 8)), pitch=2000.0)  # µm
    mask = np.zeros((8, 8), bool)
    mask[2:4, 5:7] = True
    view.layers.show_regions([RegionMark("x", "pixels", np.empty((0, 2)), mask=mask)])
    path = view.layers.places_item.places.masks["x"].boundingRect()
    assert (path.left(), path.right()) == pytest.approx((9000.0, 13000.0))  # edges, in nm
    assert (path.top(), path.bottom()) == pytest.approx((3000.0, 7000.0))


def test_a_region_too_fine_for_an_outline_is_framed(qtbot):
    view = shown(qtbot, np.ones((300, 300)))
    mask = np.random.default_rng(7).random((300, 300)) < 0.5
    mask[:, :10] = mask[:20] = False
    view.layers.show_regions([RegionMark("x", "pixels", np.empty((0, 2)), mask=mask)])
    frame = view.layers.places_item.places.masks["x"]
    assert frame.elementCount() == 5
    box = frame.boundingRect()
    assert (box.left(), box.bottom()) == pytest.approx((190.0, 5990.0))  # of pixels of 20 nm
    assert (box.top(), box.right()) == pytest.approx((390.0, 5990.0))


def test_outline_of_a_brush_holds_what_is_within_its_radius(qtbot):
    turn = np.linspace(0.0, 3.0, 400)
    path = np.stack([300.0 + 200.0 * np.cos(turn), 300.0 + 200.0 * np.sin(turn)], axis=1)
    drawn = outline("brush", path, 30.0)
    for angle in (0.2, 1.5, 2.8):
        for radius, inside in ((200.0, True), (226.0, True), (174.0, True), (235.0, False),
                               (165.0, False)):  # fmt: skip
            at = QPointF(300.0 + radius * np.cos(angle), 300.0 + radius * np.sin(angle))
            assert drawn.contains(at) == inside
    assert outline("brush", path[:1], 30.0).boundingRect().width() == pytest.approx(60.0)


def test_landmarks_are_marked_where_they_were_placed(qtbot):
    view = shown(qtbot, np.ones((8, 8)))
    plain = seen(view, 4, 4)
    view.layers.show_landmarks([(80.0, 80.0)])
    assert seen(view, 4, 4) != plain
    view.layers.clear()
    assert seen(view, 4, 4) == plain


def test_distance_along_a_bent_line_turns_at_its_corner():
    line = np.array([(0.0, 0.0), (30.0, 0.0), (30.0, 0.0), (30.0, 40.0)])
    place, way = along(line, 50.0)
    assert (*place, *way) == (30.0, 20.0, 0.0, 1.0)
    assert tuple(along(line, 99.0)[0]) == (30.0, 40.0)
    assert tuple(along(line, -1.0)[0]) == (0.0, 0.0)


def test_layers_of_a_large_map_are_quick(qtbot):
    """Three components on 512 x 512: each layer shown and painted within 60 ms (the best of five,
    so that another program does not fail it)."""
    from scipy import ndimage

    rough = np.random.default_rng(4).normal(size=(512, 512))
    field = ndimage.gaussian_filter(rough, 20.0)
    labels = np.digitize(field, np.quantile(field, (0.4, 0.7)))
    labels[np.random.default_rng(5).random(labels.shape) < 0.02] = -1
    view = shown(qtbot, np.ones((512, 512)), pitch=4.0)
    view.layers.show_components(labels, COLOURS, LETTERS)

    def best(show) -> float:
        times = []
        for _ in range(5):
            start = time.perf_counter()
            show()
            view.plot.viewport().repaint()
            times.append(time.perf_counter() - start)
        return min(times)

    for look in (OUTLINES, FILL):
        view.layers.set_component_look(look)
        assert best(lambda: view.layers.show_components(labels, COLOURS, LETTERS)) < 0.06
    assert best(lambda: view.layers.show_left_out(labels < 0)) < 0.06
    assert best(lambda: view.layers.show_selection(labels == 1)) < 0.06


def test_components_mixed_too_finely_for_outlines_are_filled_and_it_is_told(qtbot):
    labels = np.random.default_rng(6).integers(0, 3, (256, 256))
    view = shown(qtbot, np.ones((256, 256)))
    view.layers.show_components(labels, COLOURS, LETTERS)
    assert view.layers.too_fine
    assert view.layers.outlines.colours == []
    assert "too finely mixed" in view.layers.key.text
