"""In the window: figure sheets, with real mouse and keys."""

from __future__ import annotations

import gc
import re
from dataclasses import replace

import pytest
from PySide6.QtCore import QSettings, Qt
from PySide6.QtGui import QImage
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication
from shell_maps import map_file
from shell_window import close_errors, error_text, main_window, move_mouse, open_map, type_into

from palpate.app.dialogs import errors, files
from palpate.app.views.sheet_canvas import SheetCanvas
from palpate.app.views.sheet_grid import grid_by_sizes, grid_of
from palpate.app.views.sheet_holds import COLUMNS, LOWER, PANEL, RIGHT, handles, hold_at
from palpate.core.sheets import CurveOptions, MapOptions, Panel, Sheet, read_recipes

LEFT = Qt.MouseButton.LeftButton
FOUR = Sheet(panels=tuple(Panel("map", *divmod(k, 2)) for k in range(4)))


def drag(canvas, start, end, release=True):
    """Take hold at a place of the sheet, given as shares, and let go at another."""
    places = [tuple(a + (b - a) * k / 4 for a, b in zip(start, end, strict=True))
              for k in range(5)]  # fmt: skip
    at = canvas.point_of(*start).toPoint()
    move_mouse(canvas, at, Qt.MouseButton.NoButton)
    QTest.mousePress(canvas, LEFT, pos=at)
    for place in places[1:]:
        move_mouse(canvas, canvas.point_of(*place).toPoint(), LEFT)
    if release:
        QTest.mouseRelease(canvas, LEFT, pos=canvas.point_of(*end).toPoint())
        QApplication.processEvents()


def middle(grid, at):
    left, upper, right, lower = grid.outline(at)
    return 0.5 * (left + right), 0.5 * (upper + lower)


def kinds(desk):
    """(kind, row, col) of the panels of the sheet in front, in the order of their letters."""
    return [(p.kind, p.row, p.col) for p in (desk.sheet.panels[k] for k in desk.sheet.order)]


# ---- the sheet by itself


@pytest.fixture
def canvas(qtbot):
    canvas = SheetCanvas()
    qtbot.addWidget(canvas)
    canvas.resize(500, 400)
    canvas.set_grid(grid_by_sizes(FOUR))
    canvas.image = QImage(4, 3, QImage.Format.Format_RGB32)
    canvas.image.fill(Qt.GlobalColor.white)
    canvas.show()
    return canvas


def test_what_a_hand_finds_on_a_sheet():
    grid = grid_by_sizes(replace(FOUR, widths=(1.0, 3.0)))
    assert grid.x == pytest.approx((0.0, 0.25, 1.0))
    size = (400.0, 300.0)
    assert hold_at(grid, 0.1, 0.1, size, None).what == PANEL
    assert hold_at(grid, 0.252, 0.1, size, None).what == COLUMNS
    assert hold_at(grid, *handles(grid, 0)[RIGHT], size, 0).what == RIGHT  # before the line
    assert hold_at(grid, *handles(grid, 3)[LOWER], size, 3).what == LOWER
    assert hold_at(grid, 1.2, 0.1, size, None) is None
    wide = Sheet(panels=(Panel("map", 0, 0, 1, 2), Panel("map", 1, 0), Panel("map", 1, 1)))
    grid = grid_by_sizes(wide)
    assert hold_at(grid, 0.5, 0.2, size, None).what == PANEL  # no line through a panel
    assert hold_at(grid, 0.5, 0.8, size, None).what == COLUMNS
    drawn = grid_of(wide, [(0, 0.4, 1, 1), (0, 0, 0.3, 0.4), (0.36, 0, 1, 0.4)])
    assert drawn.x == pytest.approx((0.0, 0.33, 1.0))  # between what was drawn
    assert drawn.y == pytest.approx((0.0, 0.6, 1.0))


def test_keys_and_drags_tell_what_was_done_and_escape_gives_up(canvas):
    told = []
    for name in ("moved", "spanned", "line_moved", "stepped", "span_stepped", "removed", "chosen"):
        getattr(canvas, name).connect(lambda *given, name=name: told.append((name, *given)))
    grid = canvas.grid
    drag(canvas, middle(grid, 0), middle(grid, 3), release=False)
    assert canvas.ghost_words == "change places"
    assert not canvas.grab().isNull()
    QTest.keyClick(canvas, Qt.Key.Key_Escape)
    QTest.mouseRelease(canvas, LEFT, pos=canvas.point_of(*middle(grid, 3)).toPoint())
    assert told == [("chosen", 0)]
    drag(canvas, middle(grid, 0), middle(grid, 3))
    assert told.pop() == ("moved", 0, 1, 1)
    drag(canvas, middle(grid, 0), (0.3, -0.02))  # above the sheet is still its first row
    assert told.pop() == ("moved", 0, 0, 0)
    drag(canvas, middle(grid, 0), (1.05, 0.2))
    assert told.pop() == ("moved", 0, 0, 2)
    drag(canvas, handles(grid, 0)[RIGHT], (0.9, 0.25))
    assert told.pop() == ("spanned", 0, 1, 2)
    drag(canvas, handles(grid, 0)[LOWER], (0.25, 1.06))
    assert told.pop() == ("spanned", 0, 3, 1)
    drag(canvas, (0.5, 0.75), (0.7, 0.75))
    name, columns, line, share = told.pop()
    assert (name, columns, line) == ("line_moved", True, 1)
    assert share == pytest.approx(0.7, abs=0.01)
    QTest.mouseClick(canvas, LEFT, pos=canvas.point_of(*middle(grid, 2)).toPoint())
    assert told.pop() == ("chosen", 2)  # a click moves nothing
    QTest.keyClick(canvas, Qt.Key.Key_Up)
    QTest.keyClick(canvas, Qt.Key.Key_Right, Qt.KeyboardModifier.ShiftModifier)
    QTest.keyClick(canvas, Qt.Key.Key_Delete)
    assert told[-3:] == [("stepped", 2, -1, 0), ("span_stepped", 2, 0, 1), ("removed", 2)]
    QTest.keyClick(canvas, Qt.Key.Key_Tab)
    assert told.pop() == ("chosen", 3)
    QTest.keyClick(canvas, Qt.Key.Key_Backtab)
    assert told.pop() == ("chosen", 2)
    menu = canvas.menu_for(2)
    for action in menu.actions()[1:]:
        action.trigger()
    menu.close()
    assert told[-2:] == [("spanned", 2, 1, 2), ("removed", 2)]
    QTest.keyClick(canvas, Qt.Key.Key_Escape)
    assert told.pop() == ("chosen", -1)
    before = len(told)
    for key in (Qt.Key.Key_Left, Qt.Key.Key_Delete, Qt.Key.Key_A, Qt.Key.Key_Return):
        QTest.keyClick(canvas, key)  # nothing is chosen
    assert len(told) == before


# ---- in its window


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("maps")


def settled(desk, qtbot):
    """Wait until what is wanted now is drawn."""
    qtbot.waitUntil(
        lambda: desk._session.finished and desk._asked is None and not desk._timer.isActive()
        and desk.fresh_seen() is not None and desk._shown == desk._key(), timeout=60_000,
    )  # fmt: skip
    QApplication.processEvents()


def row_of(form, name):
    return form.rows[name]


def test_a_sheet_is_laid_out_written_kept_and_used_for_another_map(qtbot, folder, monkeypatch):
    first, second = map_file(folder), map_file(folder, "other.h5", shape=(8, 9))
    with main_window(qtbot) as main:
        open_map(main, first, qtbot)
        session, desk = main.session, main.figures
        history = len(session.acts)

        # from the main window: the channel shown begins a sheet; F11 shows it
        session.choose_channel("modulus")
        main.actions_by_id["put_map"].trigger()
        assert [panel.kind for panel in desk.sheet.panels] == ["map"]
        assert desk.window is None
        QTest.keyClick(main, Qt.Key.Key_F11)
        window, canvas = desk.window, desk.window.view.canvas
        qtbot.waitExposed(window)
        main.actions_by_id["put_page"].trigger()  # the curve is in front
        desk.add_offered("profile")
        settled(desk, qtbot)
        assert kinds(desk) == [("map", 0, 0), ("curve", 0, 1), ("profile", 1, 0)]
        assert len(session.acts) == history + 3  # each act is one entry
        assert (desk.sheet.panels[1].options.row, desk.sheet.panels[1].options.col) == \
            session.selection  # fmt: skip

        # a panel that can't be drawn says why, on the sheet's notes and in its form
        assert any("profile" in words for words in window.notes.texts)
        assert "profile" in window.panel_form.note.text()
        assert "modulus" in window.caption.toPlainText()

        # what is kept of a drawn sheet does not hold its pixels twice
        gc.collect()
        from matplotlib.backends.backend_agg import RendererAgg

        assert not [one for one in gc.get_objects() if type(one) is RendererAgg]

        # the picture is the sheet, in its proportions
        image = canvas.image
        inches = desk.seen.drawn.figure.get_size_inches()
        assert image.width() / image.height() == pytest.approx(inches[0] / inches[1], rel=0.01)

        # a figure with a panel that can't be drawn is written only if the person wants it so
        asked = []
        monkeypatch.setattr(errors, "confirm", lambda _, words, yes: asked.append(words))
        monkeypatch.setattr(files, "ask_save", lambda *_: pytest.fail("it asks for a file"))
        QTest.mouseClick(window.write, LEFT)
        assert "c can't be drawn" in asked[0]
        monkeypatch.setattr(errors, "confirm", lambda *_: True)
        monkeypatch.setattr(files, "ask_save", lambda *_: folder / "gap.png")
        QTest.mouseClick(window.write, LEFT)
        qtbot.waitUntil(lambda: window.written.written is not None, timeout=60_000)
        assert "no finished figure" in window.written.head.text()
        assert sum("profile" in words for _, words in window.written.lines) == 1
        window.written.forget()
        window.show_page(0)

        # drag a panel to another cell: places are changed, in one entry; undo by keys
        drag(canvas, middle(canvas.grid, 0), middle(canvas.grid, 1))
        assert kinds(desk)[:2] == [("curve", 0, 0), ("map", 0, 1)]
        assert session.undo_words == "place of a panel"
        QTest.keyClick(window, Qt.Key.Key_Z, Qt.KeyboardModifier.ControlModifier)
        assert kinds(desk)[:2] == [("map", 0, 0), ("curve", 0, 1)]
        assert canvas.grid.cells == tuple((p.row, p.col, p.rows, p.cols)
                                          for p in desk.sheet.panels)  # fmt: skip
        QTest.keyClick(window, Qt.Key.Key_Y, Qt.KeyboardModifier.ControlModifier)
        assert kinds(desk)[:2] == [("curve", 0, 0), ("map", 0, 1)]

        # take the panel that can't be drawn away, by key
        desk.choose_panel(2)
        canvas.setFocus()
        QTest.keyClick(canvas, Qt.Key.Key_Delete)
        assert len(desk.sheet.panels) == 2
        settled(desk, qtbot)
        assert not any("profile" in words for words in window.notes.texts)

        # an option in the form: typed limits begin with what was drawn
        desk.choose_panel(0)
        form = window.panel_form
        assert not row_of(form, "low").isVisible()
        limits = row_of(form, "limits").editor
        limits.setCurrentIndex(limits.findData("set"))
        limits.activated.emit(limits.currentIndex())
        options = desk.sheet.panels[0].options
        assert options.limits == "set"
        assert 0.2 < options.low < 0.6 < 1.2 < options.high < 2.0  # 0.4 and 1.5 GPa were simulated
        assert row_of(form, "low").isVisible()
        assert row_of(form, "low").unit.text() == "GPa"
        type_into(row_of(form, "high").editor, "2")
        assert desk.sheet.panels[0].options.high == 2.0
        type_into(row_of(form, "high").editor, "1e20")  # refused in place
        assert desk.sheet.panels[0].options.high == 2.0
        assert "not possible" in row_of(form, "high").problem.text()
        type_into(row_of(form, "low").editor, "3")  # beyond the other one
        assert desk.sheet.panels[0].options.low < 1.0
        assert "below" in row_of(form, "low").problem.text()
        settled(desk, qtbot)
        assert re.search(r"\b2(\.0+)? GPa", window.caption.toPlainText())

        # another preset: its width is drawn, its source is told
        presets = window.sheet_form.rows["preset"].editor
        window.show_page(1)
        presets.setCurrentIndex(presets.findData("nature"))
        presets.activated.emit(presets.currentIndex())
        settled(desk, qtbot)
        assert desk.seen.drawn.figure.get_size_inches()[0] * 25.4 == pytest.approx(183.0)
        assert "nature.com" in window.sheet_form.about.text()

        # a caption that is too long stays for the person to shorten it, and nothing is written
        words = window.sheet_form.caption
        words.setPlainText("x" * 2001)
        words.document().setModified(True)
        monkeypatch.setattr(files, "ask_save", lambda *_: pytest.fail("it asks for a file"))
        QTest.mouseClick(window.write, LEFT)
        assert words.toPlainText() == "x" * 2001
        assert "2001" in window.sheet_form.problem.text()
        assert desk.sheet.caption == ""
        words.setPlainText("Mine.")
        words.document().setModified(True)
        assert words.finish()
        assert not window.sheet_form.problem.isVisible()
        assert desk.sheet.caption == "Mine."
        session.undo()
        settled(desk, qtbot)

        # looks change the preview alone
        before, sheet = canvas.image.copy(), desk.sheet
        window.looks.setCurrentIndex(window.looks.findData("grey"))
        window.looks.activated.emit(window.looks.currentIndex())
        settled(desk, qtbot)
        assert canvas.image != before
        assert canvas.image.isGrayscale()
        assert desk.sheet is sheet

        # copied as a picture, as SVG and as text
        canvas.setFocus()
        QTest.keyClick(canvas, Qt.Key.Key_C, Qt.KeyboardModifier.ControlModifier)
        clip = QApplication.clipboard()
        qtbot.waitUntil(lambda: clip.text() == window.caption.toPlainText(), timeout=60_000)
        assert not clip.image().isNull()
        assert not clip.image().isGrayscale()  # in colour whatever the look
        assert b"<svg" in clip.mimeData().data("image/svg+xml").data()

        # written, and read back by another library
        target = folder / "figure.pdf"
        monkeypatch.setattr(files, "ask_save", lambda *_: target)
        QTest.mouseClick(window.write, LEFT)
        qtbot.waitUntil(lambda: window.written.written is not None, timeout=60_000)
        from pypdf import PdfReader

        page = PdfReader(target).pages[0]
        assert float(page.mediabox.width) / 72 * 25.4 == pytest.approx(183.0, abs=0.1)
        assert window.pages.currentIndex() == 2
        assert any("183" in words for _, words in window.written.lines)
        monkeypatch.setattr(files, "ask_save", lambda *_: folder / "figure.svg")
        window.with_data.setChecked(True)
        QTest.mouseClick(window.write, LEFT)
        qtbot.waitUntil(lambda: (folder / "figure_data" / "redraw.py").is_file(), timeout=60_000)
        qtbot.waitUntil(lambda: "figure.svg and" in window.written.head.text(), timeout=60_000)
        monkeypatch.setattr(errors, "confirm", lambda *_: False)  # the folder is there already
        before = (folder / "figure_data" / "redraw.py").stat().st_mtime_ns
        QTest.mouseClick(window.write, LEFT)
        assert not session.background.working_on("write figure")
        assert (folder / "figure_data" / "redraw.py").stat().st_mtime_ns == before
        window.with_data.setChecked(False)
        monkeypatch.setattr(files, "ask_save", lambda *_: folder / "nowhere" / "figure.pdf")
        QTest.mouseClick(window.write, LEFT)
        qtbot.waitUntil(lambda: bool(error_text(window)), timeout=60_000)
        assert "nowhere" in error_text(window)
        close_errors(window)

        # the recipe as a file; the result keeps the sheet
        recipe, result = folder / "recipe.json", folder / "result.h5"
        monkeypatch.setattr(files, "ask_save", lambda *_: recipe)
        window.menu_actions["save"].trigger()
        assert read_recipes(recipe) == (desk.sheet,)
        monkeypatch.setattr(files, "ask_save", lambda *_: result)
        main.commands.ask_save_result()
        qtbot.waitUntil(lambda: not session.changed, timeout=60_000)

        # another map: the recipe is used for it, out of the file and out of the result
        open_map(main, second, qtbot)
        assert desk.sheets == ()
        start = window.view.start
        assert start.isVisible()
        assert not start.visibleRegion().isEmpty()
        assert abs(start.geometry().center().x() - canvas.rect().center().x()) <= 1
        QTest.mouseClick(start.found, LEFT)  # both of its buttons begin a sheet
        qtbot.waitUntil(lambda: len(desk.sheets) == 1, timeout=60_000)
        assert desk.sheet.panels
        assert window.written.written is None  # it was of the other map
        assert not start.isVisible()
        session.undo()
        assert start.isVisible()
        QTest.mouseClick(start.empty, LEFT)
        assert desk.sheets == (Sheet("Figure 1"),)
        session.undo()
        for number, source in enumerate((recipe, result), 1):
            desk.load(source)
            qtbot.waitUntil(lambda n=number: len(desk.sheets) == n, timeout=60_000)
        assert [one.name for one in desk.sheets] == ["Figure 1", "Figure 2"]
        assert replace(desk.sheets[1], name="Figure 1") == desk.sheets[0] == sheet
        settled(desk, qtbot)
        odd = folder / "odd.json"
        odd.write_text("{}")
        desk.load(odd)
        qtbot.waitUntil(lambda: bool(error_text(window)), timeout=60_000)
        assert "odd.json" in error_text(window)
        close_errors(window)

        # a table of components takes a whole row; a profile is offered where there is one
        desk.add_offered("table")
        assert desk.sheet.panels[-1].cols == 2
        assert desk.sheet.grid[1] == 2
        session.undo()
        window.add.menu().aboutToShow.emit()
        assert not window.add_actions["profile"].isEnabled()
        desk.add_offered("typical")
        assert desk.sheet.panels[-1].options == CurveOptions()
        session.undo()

        # names differ; a sheet is taken away and comes back
        desk.rename("Figure 1")
        assert "another" in window.sheet_form.rows["name"].problem.text().lower()
        window.menu_actions["remove"].trigger()
        assert len(desk.sheets) == 1
        session.undo()
        assert len(desk.sheets) == 2

        # a saved result is opened with its sheet; what was typed and asked meanwhile was for the
        # map before
        session.open(result)
        desk.load(recipe)
        QTest.keyClicks(words, "of the other map")
        type_into(window.sheet_form.rows["font_size"].editor, "9", key=None)
        qtbot.waitUntil(lambda: session.map.path == first and session.finished, timeout=60_000)
        qtbot.waitUntil(lambda: not session.background.working_on("recipes"), timeout=60_000)
        QApplication.processEvents()
        words.finish()
        window.sheet_form.rows["font_size"].editor.finish()
        assert desk.sheets == (sheet,)
        assert words.toPlainText() == ""

        # the pages beside the map, as they are looked at; nothing is drawn while the window
        # can't be seen
        window.close()
        assert QSettings("palpate", "palpate").value("figures/geometry") is not None  # its place
        views, axes = main.workspace.views, session.rule.axes
        for page, kind in ((main.workspace.component_views.histogram, "histogram"),
                           (main.workspace.component_views.joint, "joint")):  # fmt: skip
            views.setCurrentWidget(page)
            main.actions_by_id["put_page"].trigger()
            assert desk.sheet.panels[-1].kind == kind
        assert desk.sheet.panels[-1].options.x == axes[0].channel
        before = desk.sheet
        views.setCurrentWidget(main.workspace.profile_desk.page)
        main.actions_by_id["put_page"].trigger()  # there is no profile
        assert desk.sheet == before
        assert "profile" in main.status.words.text()
        desk.add_offered("typical")
        QTest.qWait(300)
        assert desk._asked is None
        assert not session.background.working_on("figure")


def test_a_channel_that_is_not_there_is_said_in_its_row(qtbot):
    from palpate.app.panels.sheet_options import PanelForm

    form = PanelForm()
    qtbot.addWidget(form)
    told = []
    form.options_edited.connect(lambda options, words, merge: told.append((options, words)))
    choices = {"channel": [("modulus", "Young modulus (GPa)"), ("height", "Height (nm)")]}
    form.show_panel(Panel("map", options=MapOptions(channel="melting")), "a", choices)
    form.show()
    assert "melting" in form.rows["channel"].problem.text()
    field = form.rows["channel"].editor
    field.setFocus()
    field.lineEdit().setText("height (NM)")  # its list of completions would grab the keyboard
    QTest.keyClick(field.lineEdit(), Qt.Key.Key_Return)
    assert told[-1][0].channel == "height"
    assert told[-1][1] == "channel"
    assert len(told) == 1
    form.show_panel(None)
    assert not form.rows
