"""The map view, driven with the mouse."""

from __future__ import annotations

import numpy as np
import pytest
from PySide6.QtCore import QPoint, QRectF, Qt
from PySide6.QtWidgets import QApplication
from pytestqt.qtbot import QtBot
from views_data import double_click, drag, send_move

from palpate.app.theme import DARK, LIGHT
from palpate.app.views.map_view import MapView
from palpate.core.channels import CHANNELS

LEFT = Qt.MouseButton.LeftButton
MODULUS = CHANNELS["modulus"]


def shown(qtbot: QtBot, values: np.ndarray, has_scale: bool = True, **more: object) -> MapView:
    view = MapView()
    qtbot.addWidget(view)
    view.resize(620, 560)
    rows, cols = values.shape
    pitch = 20.0 if has_scale else 1.0
    view.show_values(values, np.arange(cols) * pitch, np.arange(rows) * pitch, MODULUS, has_scale,
                     **more)  # fmt: skip
    view.show()
    qtbot.waitExposed(view)
    return view


def place(view: MapView, row: int, col: int) -> QPoint:
    return view.plot.mapFromScene(view.scene_at(row, col))


def heard(signal: object) -> list[tuple]:
    said: list[tuple] = []
    signal.connect(lambda *args: said.append(args))
    return said


@pytest.mark.parametrize("shape", [(8, 8), (5, 17), (23, 4), (1, 9), (9, 1), (1, 1)])
def test_a_click_picks_the_pixel_under_it(qtbot, shape):
    view = shown(qtbot, np.random.default_rng(1).uniform(1, 2, shape))
    said = heard(view.picked)
    wanted = sorted({(0, 0), (shape[0] - 1, shape[1] - 1), (shape[0] // 2, shape[1] // 3)})
    for row, col in wanted:
        qtbot.mouseClick(view.plot.viewport(), LEFT, pos=place(view, row, col))
        qtbot.wait(QApplication.doubleClickInterval() + 50)
    assert said == wanted


def test_row_zero_is_at_the_bottom_and_column_zero_at_the_left(qtbot):
    view = shown(qtbot, np.ones((6, 6)))
    low, high = place(view, 0, 0), place(view, 5, 5)
    assert low.y() > high.y()
    assert low.x() < high.x()


def test_a_click_beside_the_map_picks_nothing(qtbot):
    view = shown(qtbot, np.ones((3, 30)))
    said = heard(view.picked)
    at = place(view, 2, 4)
    qtbot.mouseClick(view.plot.viewport(), LEFT, pos=QPoint(at.x(), 12))
    assert said == []


def test_hover_tells_pixel_and_value_and_when_the_map_is_left(qtbot):
    values = np.full((4, 4), 0.25)
    values[1, 2] = np.nan
    view = shown(qtbot, values)
    said = heard(view.hovered)
    for row, col in ((0, 0), (1, 2)):
        send_move(view.plot.viewport(), place(view, row, col))
    assert view.readout.text("Pointer", "value") == "no value"
    assert view.readout.text("Pointer", "x") == "40.0 nm"
    send_move(view.plot.viewport(), QPoint(2, 2))
    assert said == [(0, 0), (1, 2), (-1, -1)]
    assert view.readout.text("Pointer", "value") == "–"


def test_picked_pixel_is_read_out_in_the_unit_of_the_colour_bar(qtbot):
    view = shown(qtbot, np.linspace(0.010, 0.090, 16).reshape(4, 4))
    view.set_cursor(0, 0)
    assert view.bar.unit == "MPa"
    assert view.readout.text("Picked", "value") == "10.00 MPa"
    view.set_cursor(-1, -1)
    assert not view.cursor_item.isVisible()


def test_nothing_is_said_when_the_program_sets_things(qtbot):
    view = shown(qtbot, np.ones((4, 4)))
    said = [heard(s) for s in (view.picked, view.hovered, view.limits_changed, view.marks_toggled)]
    view.set_cursor(1, 1)
    view.set_limits(0.5, 2.0)
    view.set_limits(None)
    view.set_marks_visible(False)
    view.set_theme(DARK)
    view.fit()
    assert said == [[], [], [], []]


def test_typed_limits_are_told_in_core_units_and_can_be_reset(qtbot):
    view = shown(qtbot, np.linspace(0.010, 0.090, 16).reshape(4, 4))
    robust, said = view.limits, heard(view.limits_changed)
    view.bar.upper.selectAll()
    qtbot.keyClicks(view.bar.upper, "50")
    qtbot.keyClick(view.bar.upper, Qt.Key.Key_Return)
    assert view.limits == pytest.approx((robust[0], 0.050))
    assert said[0][0] == pytest.approx(view.limits)
    qtbot.mouseClick(view.bar.reset, LEFT)
    assert view.limits == robust
    assert said[1] == (None,)


def test_impossible_limits_are_refused_and_the_old_ones_come_back(qtbot):
    view = shown(qtbot, np.linspace(1.0, 2.0, 16).reshape(4, 4))
    before, text, said = view.limits, view.bar.lower.text(), heard(view.limits_changed)
    for typed in ("much", "99", "nan", ""):
        view.bar.lower.selectAll()
        qtbot.keyClick(view.bar.lower, Qt.Key.Key_Delete)
        qtbot.keyClicks(view.bar.lower, typed)
        qtbot.keyClick(view.bar.lower, Qt.Key.Key_Return)
        assert view.bar.lower.text() == text
    assert view.limits == before
    assert said == []


def test_dragging_the_upper_half_of_the_bar_moves_the_upper_limit_only(qtbot):
    view = shown(qtbot, np.linspace(1.0, 2.0, 16).reshape(4, 4))
    low, high = view.limits
    drag(view.bar.gradient, QPoint(8, 40), QPoint(8, 80))
    assert view.limits[0] == low
    assert view.limits[1] < high
    drag(view.bar.gradient, QPoint(8, 20), QPoint(8, 4000))
    assert view.limits[0] < view.limits[1]


def test_limits_chosen_for_one_channel_do_not_reach_another(qtbot):
    values = np.linspace(1.0, 2.0, 16).reshape(4, 4)
    view = shown(qtbot, values)
    view.set_limits(1.2, 1.4)
    axis = np.arange(4.0)
    view.show_values(values, axis, axis, CHANNELS["adhesion"])
    assert view.limits == pytest.approx((1.03, 1.97), abs=0.05)
    view.set_limits(1.2, 1.4)
    view.show_values(values + 1.0, axis, axis, CHANNELS["adhesion"])
    assert view.limits == (1.2, 1.4)  # but stay while the values of the channel change


def test_values_beyond_the_limits_are_told_at_the_ends_of_the_bar(qtbot):
    view = shown(qtbot, np.linspace(1.0, 2.0, 400).reshape(20, 20))
    assert (view.bar.gradient.below, view.bar.gradient.above) == (True, True)
    view.set_limits(0.0, 1.5)
    assert (view.bar.gradient.below, view.bar.gradient.above) == (False, True)


@pytest.mark.parametrize(
    "values",
    [np.full((5, 7), np.nan), np.full((5, 7), 3.0), np.zeros((5, 7)), np.full((1, 1), np.nan)],
    ids=["nan", "equal", "zero", "one nan"],
)
def test_maps_without_contrast_are_drawn(qtbot, values):
    view = shown(qtbot, values, marks=np.ones(values.shape, bool))
    view.set_cursor(0, 0)
    assert not view.grab().isNull()
    low, high = view.limits
    assert low < high


def test_a_map_without_values_has_no_limits_on_its_bar(qtbot):
    view = shown(qtbot, np.full((4, 4), np.nan))
    assert (view.bar.upper.text(), view.bar.lower.text()) == ("–", "–")
    assert not view.bar.upper.isEnabled()
    axis = np.arange(4.0)
    view.show_values(np.linspace(1, 2, 16).reshape(4, 4), axis, axis, MODULUS)
    assert view.bar.upper.isEnabled()
    assert float(view.bar.upper.text()) == pytest.approx(1.98, abs=0.01)


def test_a_pixel_without_value_is_grey_and_counted_in_the_key(qtbot):
    values = np.linspace(1.0, 2.0, 25).reshape(5, 5)
    values[2, 2] = np.nan
    view = shown(qtbot, values)
    picture = view.plot.grab().toImage()
    seen = picture.pixelColor(place(view, 2, 2) * picture.devicePixelRatio())
    assert seen.name() in (LIGHT.no_value, LIGHT.hatch)
    assert "grey: no value (1)" in view.key.text


def test_marks_lie_on_their_pixels_and_can_be_switched_off(qtbot):
    marks = np.zeros((4, 6), bool)
    marks[3, 1] = True
    view = shown(qtbot, np.ones((4, 6)), marks=marks)
    x, y = view.marks.items["severe"].getData()
    assert (x.tolist(), y.tolist()) == ([20.0], [60.0])
    said = heard(view.marks_toggled)
    qtbot.mouseClick(view.marks_button, LEFT)
    assert said == [(False,)]
    assert not view.marks.items["severe"].isVisible()


def test_without_a_scale_axes_are_in_pixels_and_there_is_no_scale_bar(qtbot):
    view = shown(qtbot, np.ones((4, 6)), has_scale=False)
    view.set_cursor(1, 1)
    assert "pixel" in view.plot.getAxis("bottom").labelText
    assert not view.scale_bar.isVisible()
    assert view.readout.text("Picked", "x") == "–"


def test_scale_bar_follows_the_zoom_and_home_or_a_double_click_shows_the_whole_map(qtbot):
    view = shown(qtbot, np.ones((64, 64)))
    whole, text = view.box.viewRect(), view.scale_bar.text
    assert text == "500 nm"  # of 1280 nm
    view.box.scaleBy((0.1, 0.1))
    assert view.scale_bar.text != text
    qtbot.keyClick(view, Qt.Key.Key_Home)
    assert view.scale_bar.text == text
    assert view.box.viewRect() == whole
    view.box.scaleBy((0.1, 0.1))
    double_click(view.plot.viewport(), view.plot.rect().center())
    assert view.box.viewRect() == whole


def test_zoom_is_kept_while_the_values_of_the_same_map_change(qtbot):
    view = shown(qtbot, np.ones((16, 16)))
    view.box.scaleBy((0.5, 0.5))
    zoomed, axis = view.box.viewRect(), np.arange(16) * 20.0
    view.show_values(np.full((16, 16), 2.0), axis, axis, MODULUS)
    assert view.box.viewRect() == zoomed
    view.show_values(np.ones((8, 8)), axis[:8], axis[:8], MODULUS)
    assert view.box.viewRect() != zoomed


def test_whole_map_stays_whole_when_the_view_changes_its_size(qtbot):
    view = shown(qtbot, np.ones((16, 16)))
    for width, height in ((420, 700), (900, 420)):
        view.resize(width, height)
        qtbot.wait(10)
        seen = view.box.viewRect()
        assert seen.contains(view.image.transform().mapRect(QRectF(0, 0, 16, 16)))


def test_large_maps_are_in_micrometres(qtbot):
    view = MapView()
    qtbot.addWidget(view)
    axis = np.arange(40) * 500.0
    view.show_values(np.ones((40, 40)), axis, axis, MODULUS)
    view.set_cursor(0, 3)
    assert view.readout.text("Picked", "x") == "1.5 µm"
    assert "µm" in view.plot.getAxis("bottom").labelText
