"""Regions and profiles in the window: drawn, dragged, named, measured and saved, by mouse and keys.

The numbers are compared with core's own functions on the same pixels, which its own tests hold
against solutions by other means.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from PySide6.QtCore import QEvent, QPoint, QPointF, Qt
from PySide6.QtGui import QMouseEvent
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication
from shell_maps import map_file
from shell_window import main_window, open_map

from palpate.app.dialogs import files
from palpate.core.places import (
    Brush,
    Places,
    Profile,
    Rectangle,
    differences,
    mask_of,
    sample_analysis,
    statistics_of,
)

LEFT, NONE = Qt.MouseButton.LeftButton, Qt.MouseButton.NoButton
PLAIN = Qt.KeyboardModifier.NoModifier


@pytest.fixture(scope="module")
def blend(tmp_path_factory):
    return map_file(tmp_path_factory.mktemp("maps"))


@pytest.fixture
def window(qtbot, blend):
    with main_window(qtbot) as window:
        window.resize(1400, 860)
        open_map(window, blend, qtbot)
        window.places_dock.raise_()
        QApplication.processEvents()
        yield window


def send(port, kind, at, button, held, keys=PLAIN):
    place = QPointF(at)
    event = QMouseEvent(kind, place, port.mapToGlobal(place), button, held, keys)
    QApplication.sendEvent(port, event)


def drag(window, *places, keys=PLAIN, release=True):
    """Press at the first place of the map (x, y in its unit), move through the others, let go."""
    view = window.workspace.map
    port = view.plot.viewport()
    at = [view.tools.pointing.pos_of(*place).toPoint() for place in places]
    send(port, QEvent.Type.MouseMove, at[0], NONE, NONE, keys)
    send(port, QEvent.Type.MouseButtonPress, at[0], LEFT, LEFT, keys)
    for a, b in zip(at, at[1:], strict=False):
        for share in (0.3, 0.6, 1.0):
            between = QPoint(round(a.x() + share * (b.x() - a.x())),
                             round(a.y() + share * (b.y() - a.y())))  # fmt: skip
            send(port, QEvent.Type.MouseMove, between, NONE, LEFT, keys)
    if release:
        send(port, QEvent.Type.MouseButtonRelease, at[-1], LEFT, NONE, keys)
    QApplication.processEvents()


def take(window, tool):
    """Choose a tool by its button or its menu over the map."""
    view = window.workspace.map
    if view.tools.tool != tool:
        view.toolbar.actions_of[tool].trigger()
    assert view.tools.tool == tool


def draw_profile(window, *ends):
    take(window, "profile")
    drag(window, *ends)
    return window.session.places.profiles[-1]


def draw_region(window, *ends):
    take(window, "region rectangle")
    drag(window, *ends)
    return window.session.places.regions[-1]


def statistics_there(window, qtbot):
    desk = window.workspace.places_desk
    qtbot.waitUntil(lambda: desk._shown == desk._key() and desk._asked is None, timeout=20_000)


def near(a, b, window):
    """Whether two places are the same but for the pixels of the screen."""
    return np.allclose(a, b, atol=1.5 * window.workspace.map.tools.pointing.screen_pixel)


def test_a_drawn_line_is_a_profile_whose_values_are_those_of_core(window):
    profile = draw_profile(window, (100.0, 500.0), (1300.0, 500.0))
    assert near(profile.points, [(100.0, 500.0), (1300.0, 500.0)], window)
    desk, views = window.workspace.profile_desk, window.workspace.views
    assert views.currentWidget() is desk.page
    assert desk.channels == ("height", "adhesion")  # the map shows the height: once is enough
    core = sample_analysis(profile, window.session.analysis, desk.channels)
    line = desk.view.plots[1].line.getData()[1]
    np.testing.assert_allclose(line, core.channels["adhesion"].values)
    assert window.session.undo_words == "new profile"
    window.session.undo()
    assert window.session.places is None
    assert desk.sampled is None


def test_dragging_an_end_moves_the_profile_live_and_is_one_act(window):
    before = draw_profile(window, (100.0, 500.0), (1000.0, 500.0))
    desk = window.workspace.profile_desk
    take(window, "")
    drag(window, (1000.0, 500.0), (800.0, 800.0), release=False)
    assert window.session.dragging
    assert window.session.undo_words == "new profile"
    shown = window.session.places.profiles[0]
    assert near(shown.points, [(100.0, 500.0), (800.0, 800.0)], window)
    assert math.isclose(desk.sampled.distance[-1], shown.length)
    drag(window, (800.0, 800.0), (900.0, 700.0))
    after = window.session.places.profiles[0]
    assert near(after.points, [(100.0, 500.0), (900.0, 700.0)], window)
    assert window.session.undo_words == "profile moved"
    window.session.undo()
    assert window.session.places.profiles == (before,)
    window.session.redo()
    assert window.session.places.profiles == (after,)


def test_escape_gives_up_the_drag_of_an_end_and_leaves_no_act(window):
    before = draw_profile(window, (100.0, 500.0), (1000.0, 500.0))
    take(window, "")
    drag(window, (1000.0, 500.0), (800.0, 800.0), release=False)
    assert window.session.places.profiles != (before,)
    QTest.keyClick(window.workspace.map, Qt.Key.Key_Escape)
    assert window.session.places.profiles == (before,)
    assert not window.session.dragging
    assert window.session.undo_words == "new profile"
    assert window.workspace.profile_desk.sampled.distance[-1] == before.length
    assert not window.workspace._given_up  # the next drag of the fit window is nobody's business


def test_statistics_of_a_drawn_region_are_those_of_core(window, qtbot):
    region = draw_region(window, (150.0, 150.0), (900.0, 850.0))
    assert isinstance(region.shape, Rectangle)
    panel, analysis = window.workspace.places, window.session.analysis
    panel._channel.setCurrentIndex(panel._channel.findData("adhesion"))
    panel.asked.emit()
    statistics_there(window, qtbot)
    mask = mask_of(region, window.session.map.x, window.session.map.y)
    core = statistics_of(analysis, mask, channels=("adhesion",)).channels["adhesion"]
    lines = {line.cells[0].strip(): line.cells[1] for line in panel.table.lines if line.cells}
    assert lines["Pixels used"] == f"{core.used} of {int(mask.sum())}"
    median, error = map(float, lines["Median (nN)"].split(" ± "))
    assert math.isclose(median, core.median, abs_tol=0.6 * 10 ** -_decimals(lines["Median (nN)"]))
    assert math.isclose(error, core.median_error, rel_tol=0.06)
    assert math.isclose(float(lines["Independent pixels"]), core.effective, rel_tol=0.01)
    assert window.places_dock.isVisible()
    assert panel.in_sight


def _decimals(text):
    return len(text.split(" ")[0].partition(".")[2])


def test_pixels_left_out_by_hand_are_told_and_not_used(window, qtbot):
    region = draw_region(window, (150.0, 150.0), (900.0, 850.0))
    profile = draw_profile(window, (50.0, 300.0), (1350.0, 300.0))
    out = np.zeros(window.session.map.shape, bool)
    out[:, 3] = True
    window.session.leave_out(out)
    desk = window.workspace.places_desk
    x = window.session.map.x[3]
    values = window.workspace.profile_desk.sampled.channels["adhesion"].values
    on = np.abs(window.workspace.profile_desk.sampled.x - x) < 40.0
    assert on.any()
    assert np.isnan(values[on]).all()
    assert np.isfinite(values[~on]).any()
    desk.choose(region.name)
    statistics_there(window, qtbot)
    mask = mask_of(region, window.session.map.x, window.session.map.y)
    text = window.workspace.places.table.text()
    assert f"left out by hand  {int((mask & out).sum())}" in text
    assert profile.name in window.session.places.names


def test_the_difference_of_two_regions_is_that_of_core_with_what_cancels(window, qtbot):
    a = draw_region(window, (10.0, 10.0), (390.0, 990.0))
    b = draw_region(window, (790.0, 990.0), (410.0, 10.0))
    panel = window.workspace.places
    panel._channel.setCurrentIndex(panel._channel.findData("adhesion"))
    panel._other.setCurrentIndex(panel._other.findData(a.name))
    panel.asked.emit()
    statistics_there(window, qtbot)
    fmap = window.session.map
    found = [statistics_of(window.session.analysis, mask_of(r, fmap.x, fmap.y),
                           channels=("adhesion",)) for r in (b, a)]  # fmt: skip
    core = differences(*found)["adhesion"]
    shown = panel.pair.lines[0].cells[1].replace("−", "-")
    assert math.isclose(float(shown.split(" ")[0]), core.median, rel_tol=0.01)
    assert core.cancels in panel.cancels.text()


def test_names_notes_and_widths_are_edited_in_the_panel_one_act_each(window):
    draw_profile(window, (100.0, 500.0), (1000.0, 500.0))
    panel, session = window.workspace.places, window.session
    panel.name.setFocus()
    panel.name.selectAll()
    QTest.keyClicks(panel.name, "across the drop")
    QTest.keyClick(panel.name, Qt.Key.Key_Return)
    assert session.places.names == ("across the drop",)
    assert session.undo_words == "name of a place"
    panel.width_field.setFocus()
    panel.width_field.selectAll()
    QTest.keyClicks(panel.width_field, "250")
    QTest.keyClick(panel.width_field, Qt.Key.Key_Return)
    assert session.places.profiles[0].width == 250.0
    assert window.workspace.map.layers.held.width == 250.0
    panel.note.setFocus()
    QTest.keyClicks(panel.note, "from left to right")
    panel.name.setFocus()
    QApplication.processEvents()
    assert session.places.profiles[0].note == "from left to right"
    for _ in range(3):
        session.undo()
    assert session.places.names == ("Profile 1",)
    assert window.workspace.places_desk.chosen == "Profile 1"  # the held one, under its old name


def test_a_name_that_is_taken_is_refused_in_words(window):
    draw_region(window, (10.0, 10.0), (390.0, 990.0))
    draw_region(window, (790.0, 990.0), (410.0, 10.0))
    said = []
    window.session.failed.connect(said.append)
    window.workspace.places_desk.rename("Region 2", "region 1")
    assert "twice" in said[0]
    assert window.session.places.names == ("Region 1", "Region 2")
    assert window.workspace.places_desk.chosen == "Region 2"


def test_a_dragged_cursor_moves_the_reading_and_its_mark_on_the_map(window):
    profile = draw_profile(window, (100.0, 500.0), (1300.0, 500.0))
    desk, view = window.workspace.profile_desk, window.workspace.profile_desk.view
    before = view.reading()
    plot, area = view.plots[0], view.canvas.viewport()

    def at(distance):
        low, high = plot.vb.viewRange()[1]
        scene = plot.vb.mapViewToScene(QPointF(distance, 0.5 * (low + high)))
        return view.canvas.mapFromScene(scene)

    a, _ = window.workspace.places_desk.cursors(profile)
    QTest.qWait(30)
    send(area, QEvent.Type.MouseMove, at(a), NONE, NONE)
    QTest.qWait(30)
    send(area, QEvent.Type.MouseButtonPress, at(a), LEFT, LEFT)
    for distance in (400.0, 500.0, 600.0):
        QTest.qWait(30)
        send(area, QEvent.Type.MouseMove, at(distance), NONE, LEFT)
    send(area, QEvent.Type.MouseButtonRelease, at(600.0), LEFT, NONE)
    QApplication.processEvents()
    now, _ = window.workspace.places_desk.cursors(profile)
    assert abs(now - 600.0) < 10.0
    assert math.isclose(window.workspace.map.layers.held.cursors[0], now)
    assert view.reading() != before
    assert view.reading()[0][1] == f"{now:.1f} nm"
    nearest = int(np.argmin(np.abs(desk.sampled.distance - now)))
    value = desk.sampled.channels["height"].values[nearest]
    assert view.reading()[1][1].startswith(f"{value:.1f}"[:3])
    assert window.session.undo_words == "new profile"  # looking is no act


def test_pixels_are_gathered_with_the_brush(window):
    take(window, "select brush")
    tools = window.workspace.map.tools
    drag(window, (350.0, 550.0), (950.0, 550.0))
    fmap = window.session.map
    path = Brush(((((350.0, 550.0), (950.0, 550.0)), tools.radius),))
    expected = mask_of(path, fmap.x, fmap.y)
    assert np.count_nonzero(window.session.group ^ expected) <= 0.05 * expected.sum()
    QTest.keyClick(window.workspace.map, Qt.Key.Key_Escape)
    assert tools.tool == ""
    assert window.workspace.map.toolbar.buttons[0].isChecked()


def test_digits_choose_the_tools_and_the_buttons_follow(window):
    view = window.workspace.map
    window.activateWindow()
    view.setFocus()
    for key, tool, at in (("3", "select polygon", 1), ("7", "region brush", 2),
                          ("8", "profile", 3), ("1", "", 0)):  # fmt: skip
        QTest.keyClick(view, key)
        assert view.tools.tool == tool
        assert [b.isChecked() for b in view.toolbar.buttons] == [i == at for i in range(4)]


def test_the_tools_fit_over_a_narrow_map(window):
    view = window.workspace.map
    window.workspace.splitter.setSizes([320, 2000])
    QApplication.processEvents()
    assert view.width() == 320
    assert all(b.mapTo(view, QPoint()).x() >= 0 and
               b.mapTo(view, QPoint(b.width(), 0)).x() <= 320
               for b in (*view.toolbar.buttons, view.fit_button, view.marks_button))  # fmt: skip
    assert view.toolbar.mapTo(view, QPoint()).y() > view.title.mapTo(view, QPoint()).y()
    window.workspace.splitter.setSizes([700, 600])
    QApplication.processEvents()
    middle = view.title.mapTo(view, view.title.rect().center()).y()
    assert abs(view.toolbar.mapTo(view, view.toolbar.rect().center()).y() - middle) <= 2


def test_saved_places_come_back_as_they_were(window, qtbot, tmp_path, monkeypatch):
    draw_region(window, (10.0, 10.0), (390.0, 990.0))
    draw_profile(window, (100.0, 500.0), (1300.0, 500.0))
    kept, path = window.session.places, tmp_path / "places.json"
    monkeypatch.setattr(files, "ask_save", lambda *_: path)
    monkeypatch.setattr(files, "ask_open", lambda *_: path)
    window.workspace.places.save_action.trigger()
    qtbot.waitUntil(path.is_file, timeout=10_000)
    assert Places.load(path) == kept
    window.workspace.places_desk.remove("Region 1")
    window.workspace.places_desk.remove("Profile 1")
    assert window.session.places is None
    window.workspace.places.load_action.trigger()
    assert window.session.places == kept
    assert window.session.undo_words == "places from places.json"


def test_exports_hold_the_shown_channels_and_every_region(window, qtbot, tmp_path, monkeypatch):
    draw_region(window, (10.0, 10.0), (390.0, 990.0))
    draw_region(window, (790.0, 990.0), (410.0, 10.0))
    panel = window.workspace.places
    panel._other.setCurrentIndex(1)
    panel.show_buttons()
    for what, name in (("regions", "r.csv"), ("difference", "d.csv")):
        monkeypatch.setattr(files, "ask_save", lambda *_, n=name: tmp_path / n)
        panel.exports[what].trigger()
        qtbot.waitUntil((tmp_path / name).is_file, timeout=10_000)
    rows = [r for r in (tmp_path / "r.csv").read_text().splitlines() if r[0] != "#"]
    assert {row.split(",")[0] for row in rows[1:]} == {"Region 1", "Region 2"}
    assert "Region 2,Region 1,adhesion" in (tmp_path / "d.csv").read_text()
    draw_profile(window, (100.0, 500.0), (1300.0, 500.0))
    monkeypatch.setattr(files, "ask_save", lambda *_: tmp_path / "p.csv")
    panel.exports["profile"].trigger()
    qtbot.waitUntil((tmp_path / "p.csv").is_file, timeout=10_000)
    lines = [r for r in (tmp_path / "p.csv").read_text().splitlines() if r[0] != "#"]
    assert lines[0].startswith("distance (nm)")
    assert "adhesion (nN)" in lines[0]
    assert len(lines) == 1 + len(window.workspace.profile_desk.sampled.distance)


def test_an_edge_is_fitted_between_the_cursors(window):
    draw_profile(window, (50.0, 500.0), (750.0, 500.0))
    desk = window.workspace.profile_desk
    box = desk.page.choosers[0]
    box.setCurrentIndex(box.findData("adhesion"))
    box.activated.emit(box.currentIndex())
    window.workspace.places_desk.set_cursor("A", 0.0)
    window.workspace.places_desk.set_cursor("B", 700.0)
    QTest.mouseClick(desk.page.edge_button, LEFT)
    # 9 nN in columns 0 to 3 and 4 nN in 4 to 7, 100 nm each: the edge at 400 nm, 350 along the line
    assert abs(desk.edge.position - 350.0) < 60.0
    assert abs(desk.edge.low - 9.0) < 0.5
    assert abs(desk.edge.high - 4.0) < 0.5
    assert "Edge at" in desk.view.note.text()


def test_another_map_has_no_places(window, qtbot, tmp_path):
    draw_profile(window, (100.0, 500.0), (1300.0, 500.0))
    bare = map_file(tmp_path, "bare.h5", shape=(8, 9), scan_size=None)
    open_map(window, bare, qtbot)
    assert window.session.places is None
    assert window.workspace.places_desk.chosen == ""
    profile = draw_profile(window, (1.0, 4.0), (7.0, 4.0))
    assert window.session.places.unit == "pixel"
    assert isinstance(profile, Profile)
    assert abs(profile.length - 6.0) < 0.2
    assert "pixel" in window.workspace.profile_desk.view.title.text()
