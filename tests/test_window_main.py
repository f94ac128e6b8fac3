"""The window used by a person: open, click, walk, drag, undo."""

from __future__ import annotations

import shutil

import numpy as np
import pytest
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication
from shell_maps import SHAPE, made, map_file
from shell_window import (
    LONG,
    click_pixel,
    close_errors,
    drag_edge,
    drop,
    error_text,
    main_window,
    move_mouse,
    open_map,
    type_into,
)

from palpate.core import write_map


@pytest.fixture
def window(qtbot):
    with main_window(qtbot) as made:
        yield made


@pytest.fixture(scope="module")
def blend(tmp_path_factory):
    return map_file(tmp_path_factory.mktemp("maps"))


@pytest.fixture
def opened(window, blend, qtbot):
    open_map(window, blend, qtbot)
    return window


def test_without_a_map_there_is_a_start_page_and_what_needs_a_map_is_off(window, qtbot):
    from palpate.app import actions

    qtbot.waitUntil(lambda: not window.status.busy, timeout=LONG)
    assert window.pages.currentWidget() is window.start_page
    for entry in actions.entries():
        on = window.actions_by_id[entry.id].isEnabled()
        assert on == (not entry.needs and entry.id != "cancel"), entry.id
    assert not window.values_dock.isVisible()
    assert window.windowTitle() == "Palpate[*]"


def test_an_opened_map_is_shown_with_all_its_parts(opened):
    space = opened.workspace
    assert opened.pages.currentWidget() is space
    assert opened.values_dock.isVisible()
    assert opened.settings_dock.isVisible()
    assert opened.windowTitle() == "invented blend[*] – Palpate"
    assert not opened.isWindowModified()
    assert "10 × 14 pixels" in opened.status.counts.text()
    assert space.values.cells["modulus"][0].text() not in ("", "–")
    assert opened.actions_by_id["export"].isEnabled()


def test_a_click_on_the_map_picks_that_pixel(opened):
    for row, col in ((0, 0), (9, 13), (3, 8), (7, 2)):
        click_pixel(opened, row, col)
        assert opened.session.selection == (row, col)
        assert opened.workspace.curve.title.text() == f"Row {row}, column {col}"
        assert f"Row {row}, column {col}" in opened.workspace.values.title.text()


def test_arrow_keys_walk_the_pixels_from_map_and_curve(opened):
    click_pixel(opened, 5, 5)
    keys = Qt.Key
    view = opened.workspace.map
    assert view.hasFocus()
    for key, place in ((keys.Key_Right, (5, 6)), (keys.Key_Up, (6, 6)), (keys.Key_Left, (6, 5)),
                       (keys.Key_Down, (5, 5))):  # fmt: skip
        QTest.keyClick(QApplication.focusWidget(), key)
        assert opened.session.selection == place
    QTest.keyClick(view, keys.Key_Right, Qt.KeyboardModifier.ShiftModifier)
    assert opened.session.selection == (5, 13)
    canvas = opened.workspace.curve.canvas
    canvas.setFocus()
    QTest.keyClick(canvas, keys.Key_Left)
    assert opened.session.selection == (5, 12)


def test_arrow_keys_do_not_walk_while_something_is_typed(opened):
    before = opened.session.selection
    for path in ("baseline.extent", "fit.law"):
        editor = opened.settings_panel.rows[path].editor
        editor.setFocus()
        for key in (Qt.Key.Key_Left, Qt.Key.Key_Right, Qt.Key.Key_Up):
            QTest.keyClick(QApplication.focusWidget(), key)
    assert opened.session.selection == before


def test_the_fit_window_is_dragged_the_curve_follows_and_it_is_one_act(opened, qtbot):
    session = opened.session
    low, high = session.report.window
    moduli: list = []
    session.report_changed.connect(lambda _: moduli.append(session.report.values["modulus"][0]))
    ends = list(np.linspace(low, low + 0.4 * (high - low), 8)[1:])
    drag_edge(opened, low, ends)
    assert len(set(moduli)) >= 3
    assert opened.actions_by_id["undo"].text() == "&Undo fit window"
    assert opened.isWindowModified()
    assert session.report.window[0] > low
    assert session.report.window[1] == pytest.approx(high, abs=1.0)
    qtbot.waitUntil(lambda: session.finished, timeout=LONG)
    row, col = session.selection
    assert session.analysis.channel("modulus")[row, col] == session.report.values["modulus"][0]
    QTest.keyClick(opened, Qt.Key.Key_Z, Qt.KeyboardModifier.ControlModifier)
    assert session.report.window[0] == low
    assert opened.actions_by_id["undo"].text() == "&Undo"
    assert not opened.isWindowModified()
    QTest.keyClick(opened, Qt.Key.Key_Y, Qt.KeyboardModifier.ControlModifier)
    assert session.report.window[0] > low
    qtbot.waitUntil(lambda: session.finished, timeout=LONG)


def test_escape_gives_up_a_drag_of_the_fit_window(opened, qtbot):
    session = opened.session
    before = session.settings
    low, high = session.report.window
    drag_edge(opened, low, list(np.linspace(low, 0.6 * low + 0.4 * high, 6)), release=False)
    assert session.dragging
    canvas = opened.workspace.curve.canvas
    QTest.keyClick(canvas, Qt.Key.Key_Escape)
    assert session.settings == before
    area = canvas.viewport()
    move_mouse(area, area.rect().center(), Qt.MouseButton.LeftButton)
    QTest.mouseRelease(area, Qt.MouseButton.LeftButton, pos=area.rect().center())
    assert session.settings == before
    assert session.undo_words == ""
    qtbot.waitUntil(lambda: session.finished, timeout=LONG)


def test_channels_are_chosen_by_strip_and_keys(opened):
    opened.workspace.strip.chosen.emit("modulus")
    assert opened.session.channel == "modulus"
    assert opened.workspace.map.title.text().startswith("Young modulus")
    opened.actions_by_id["next_channel"].trigger()
    assert opened.session.channel == "reduced_modulus"
    opened.actions_by_id["previous_channel"].trigger()
    opened.actions_by_id["previous_channel"].trigger()
    assert opened.session.channel == "contact_height"


def test_limits_belong_to_their_channel_and_to_this_map(opened, tmp_path, qtbot):
    view, session = opened.workspace.map, opened.session
    session.choose_channel("modulus")
    robust = view.limits
    view._on_limits((0.1, 0.9))
    session.choose_channel("height")
    session.choose_channel("modulus")
    assert view.limits == (0.1, 0.9)
    other = map_file(tmp_path, "again.h5")
    open_map(opened, other, qtbot)
    session.choose_channel("modulus")
    assert view.limits == pytest.approx(robust, rel=1e-6)


@pytest.mark.parametrize("kind", ["text", "half", "folder", "missing"])
def test_what_is_no_map_gets_a_sentence_and_the_map_stays(opened, blend, tmp_path, qtbot, kind):
    path = tmp_path / "strange.h5"
    if kind == "text":
        path.write_text("this is not a map")
    elif kind == "half":
        whole = blend.read_bytes()
        path.write_bytes(whole[: len(whole) // 2])
    elif kind == "folder":
        path.mkdir()
    fmap = opened.session.map
    opened.commands.open(path)
    qtbot.waitUntil(lambda: bool(error_text(opened)), timeout=LONG)
    assert "strange.h5" in error_text(opened)
    assert "Traceback" not in error_text(opened)
    assert opened.session.map is fmap
    assert opened.session.report is not None
    assert opened.pages.currentWidget() is opened.workspace
    close_errors(opened)


def test_a_dropped_file_is_opened(window, blend, qtbot):
    assert drop(window, blend)
    qtbot.waitUntil(lambda: window.session.finished, timeout=LONG)
    assert window.session.map.path == blend


def test_the_map_opened_is_remembered_and_can_be_forgotten(opened, blend, tmp_path, qtbot):
    from palpate.app import recent

    assert recent.paths() == [blend.absolute()]
    gone = map_file(tmp_path, "gone.h5")
    recent.add(gone)
    gone.unlink()
    opened.commands.close_map()
    page = opened.start_page
    assert opened.pages.currentWidget() is page
    assert not opened.values_dock.isVisible()
    assert [row.path for row in page.recent_rows] == [gone, blend.absolute()]
    qtbot.waitUntil(lambda: not page.recent_rows[0].button.isEnabled(), timeout=LONG)
    assert page.recent_rows[1].button.isEnabled()
    page.recent_rows[0].away.click()
    assert recent.paths() == [blend.absolute()]
    page.recent_rows[0].button.click()
    qtbot.waitUntil(lambda: opened.session.finished, timeout=LONG)


def test_the_start_page_shows_the_samples_with_a_picture_and_opens_one(window, qtbot):
    page = window.start_page
    assert page.cards
    path, card = next(iter(page.cards.items()))
    before = card.icon().cacheKey()
    window.peek()
    qtbot.waitUntil(lambda: card.icon().cacheKey() != before, timeout=LONG)
    qtbot.mouseClick(card, Qt.MouseButton.LeftButton)
    qtbot.waitUntil(lambda: window.session.map is not None, timeout=LONG)
    assert window.session.map.path == path


def test_a_map_without_calibration_asks_for_it_and_goes_on(window, tmp_path, qtbot):
    path = map_file(tmp_path, "bare.h5", spring_constant=None, radius=None)
    open_map(window, path, qtbot)
    notice = window.workspace.missing
    assert notice.isVisible()
    assert set(notice.askings) == {"calibration.spring_constant", "tip.radius"}
    assert "No spring constant" in notice.askings["calibration.spring_constant"].words.text()
    assert np.isnan(window.session.analysis.channel("modulus")).all()
    asking = notice.askings["calibration.spring_constant"]
    type_into(asking.field, "-2")
    assert "above 0" in asking.problem.text()
    type_into(asking.field, "2,0 N/m")
    assert window.session.settings.calibration.spring_constant == 2.0
    assert set(notice.askings) == {"tip.radius"}
    type_into(notice.askings["tip.radius"].field, "20")
    assert not notice.isVisible()
    qtbot.waitUntil(lambda: window.session.finished, timeout=LONG)
    assert np.isfinite(window.session.analysis.channel("modulus")).mean() > 0.9
    window.actions_by_id["undo"].trigger()
    assert notice.isVisible()


def test_fringes_that_were_found_are_told_until_they_are_taken_off(window, tmp_path, qtbot):
    given = made()
    given["deflection"] = given["deflection"] + 0.6 * np.sin(2 * np.pi * given["z"] / 90.0)
    path = tmp_path / "fringes.h5"
    write_map(path, **given)
    open_map(window, path, qtbot)
    notice = window.workspace.missing
    qtbot.waitUntil(lambda: "were left there" in notice.remark.text(), timeout=LONG)
    assert notice.isVisible()
    window.session.apply({"baseline.fringes": "subtract"}, "fringes")
    qtbot.waitUntil(lambda: "found and subtracted" in notice.remark.text(), timeout=LONG)


def test_what_is_odd_about_a_file_is_told_and_can_be_put_away(opened):
    notes = opened.workspace.notes
    assert not notes.isVisible()
    notes.add("First.", "Second.", "Third.", "Fourth.")
    assert notes.isVisible()
    assert "1 more" in notes.words.text()
    assert "Fourth." in notes.words.toolTip()
    notes.away.click()
    assert not notes.isVisible()


def test_the_window_closes_while_it_computes(qtbot, tmp_path):
    big = map_file(tmp_path, "big.h5", shape=(48, 48))
    with main_window(qtbot) as window:
        window.session.open(big)
        qtbot.waitUntil(lambda: window.session.map is not None, timeout=LONG)
        window.session.apply({"baseline.extent": 40.0}, "extent")
        window.close()
        assert not window.isVisible()
        assert not window.session.background.working_on("analysis")


def test_closing_with_changed_settings_asks_and_cancel_stays(opened, qtbot):
    asked: list = []

    def ask(parent, name):
        asked.append(name)
        return "cancel"

    opened.commands.ask_leave = ask
    opened.session.apply({"tip.radius": 30.0}, "tip radius")
    opened.close()
    assert asked == ["invented blend"]
    assert opened.isVisible()
    opened.commands.close_map()
    assert opened.session.map is not None
    opened.session.undo()
    opened.commands.close_map()
    assert len(asked) == 2
    assert opened.session.map is None
    qtbot.waitUntil(lambda: not opened.session.background.working_on("peek"), timeout=LONG)


def test_an_error_in_the_worker_is_shown_with_details_to_copy(opened, qtbot, monkeypatch):
    from palpate.app.dialogs.errors import ErrorBox
    from palpate.core import pipeline

    def broken(*args, **kwargs):
        raise ZeroDivisionError("a test broke it")

    monkeypatch.setattr(pipeline, "analyse", broken)
    opened.session.apply({"baseline.extent": 30.0}, "extent")
    qtbot.waitUntil(lambda: bool(error_text(opened)), timeout=LONG)
    assert "Traceback" not in error_text(opened)
    box = opened.findChild(ErrorBox)
    box.copy.click()
    assert "a test broke it" in QApplication.clipboard().text()
    monkeypatch.undo()
    opened.actions_by_id["recompute"].trigger()
    qtbot.waitUntil(lambda: opened.session.finished, timeout=LONG)
    close_errors(opened)


def test_a_file_that_vanishes_while_open_gets_a_sentence(window, blend, tmp_path, qtbot):
    path = tmp_path / "vanishing.h5"
    shutil.copy(blend, path)
    open_map(window, path, qtbot)
    path.unlink()
    window.session.apply({"baseline.extent": 30.0}, "extent")
    qtbot.waitUntil(lambda: window.session.finished, timeout=LONG)  # it was in memory
    from palpate.app.requests import Save
    from palpate.app.saving import result_file

    window.session.submit(Save(result_file(window.session.analysis, tmp_path / "r.h5")))
    qtbot.waitUntil(lambda: bool(error_text(window)), timeout=LONG)
    assert "vanishing.h5" in error_text(window)
    assert not (tmp_path / "r.h5").exists()
    close_errors(window)


def test_themes_change_at_once_and_are_remembered(opened):
    from palpate.app.main_window import MainWindow

    opened.actions_by_id["theme_dark"].trigger()
    assert opened.theme.name == "dark"
    assert opened.workspace.map._theme.name == "dark"
    again = MainWindow()
    assert again.theme.name == "dark"
    again.actions_by_id["theme_system"].trigger()
    again.close()
    again.deleteLater()


def test_places_of_panels_are_kept_and_can_be_reset(opened, blend, qtbot):
    opened.actions_by_id["panel_values"].trigger()
    assert not opened.values_dock.isVisible()
    opened.commands.close_map()
    open_map(opened, blend, qtbot)
    assert not opened.values_dock.isVisible()
    assert not opened.actions_by_id["panel_values"].isChecked()
    opened.actions_by_id["reset_layout"].trigger()
    assert opened.values_dock.isVisible()
    assert opened.actions_by_id["panel_values"].isChecked()


def test_marks_of_doubt_are_switched_from_menu_and_map_alike(opened):
    view, action = opened.workspace.map, opened.actions_by_id["marks"]
    assert action.isChecked()
    action.trigger()
    assert not view.marks_button.isChecked()
    view.marks_button.click()
    assert action.isChecked()


def test_the_height_is_there_before_the_first_analysis(window, blend, qtbot):
    shown: list = []
    window.session.map_changed.connect(lambda: shown.append(window.session.analysis))
    window.session.open(blend)
    qtbot.waitUntil(lambda: bool(shown), timeout=LONG)
    assert shown == [None]
    assert window.workspace.map._values.shape == SHAPE
    assert np.isfinite(window.workspace.map._values).all()
    qtbot.waitUntil(lambda: window.session.finished, timeout=LONG)
