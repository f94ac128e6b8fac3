"""*Paper > Report…* in the window: asked, made on the worker, offered, and put away."""

from __future__ import annotations

from pathlib import Path

from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from report_reading import coarse, read_page
from shell_maps import map_file
from shell_window import LONG, error_text, main_window, open_map

from palpate.app.report_dialog import ReportDialog
from palpate.app.theme import DARK, LIGHT


def test_a_report_from_the_menu_to_the_opened_file(qtbot, tmp_path):
    with coarse(panels=0), main_window(qtbot) as window:
        action = window.actions_by_id["report"]
        assert not action.isEnabled()  # no map
        open_map(window, map_file(tmp_path), qtbot)
        assert action.isEnabled()
        desk = window.workspace.report_desk
        wanted = (tmp_path / "a.html", tmp_path / "a.pdf")
        asked, opened = [], []
        desk.ask_paths = lambda stem: asked.append(stem) or wanted
        desk.notice.open_file = lambda path: opened.append(path) or path.suffix == ".html"
        assert desk.notice.isHidden()

        action.trigger()
        qtbot.waitUntil(lambda: desk.notice.isVisible(), timeout=LONG)
        assert asked == ["blend"]
        assert all(path.stat().st_size > 10_000 for path in wanted)
        assert "invented blend" in read_page(wanted[0]).texts
        assert "a.html and a.pdf" in desk.notice.words.text()
        assert [b.text() for b in desk.notice.buttons] == ["Open .html", "Open .pdf"]
        for button in desk.notice.buttons:
            QTest.mouseClick(button, Qt.MouseButton.LeftButton)
        assert opened == list(wanted)
        assert "No program" in desk.notice.words.text()  # of the second
        for theme in (DARK, LIGHT):
            desk.set_theme(theme)
        QTest.mouseClick(desk.notice.away, Qt.MouseButton.LeftButton)
        assert desk.notice.isHidden()

        # stopped: nothing is left, and nothing is offered
        desk.ask_paths = lambda stem: (tmp_path / "b.pdf",)
        action.trigger()
        window.session.background.stop()
        qtbot.waitUntil(lambda: not window.session.background.stoppable, timeout=LONG)
        assert not (tmp_path / "b.pdf").exists()
        assert desk.notice.isHidden()

        # a place that can't be written to is told
        desk.ask_paths = lambda stem: (tmp_path / "none" / "c.pdf",)
        action.trigger()
        qtbot.waitUntil(lambda: "no folder" in error_text(window), timeout=LONG)


def test_the_dialog_says_what_is_wrong_and_what_will_be_written(qtbot, tmp_path):
    dialog = ReportDialog("blend")
    qtbot.addWidget(dialog)
    dialog.folder.setText(str(tmp_path))
    assert dialog.paths == (tmp_path / "blend_report.html", tmp_path / "blend_report.pdf")
    assert dialog.go.isEnabled()
    dialog.kinds[".pdf"].setChecked(False)
    dialog.name.setText("mine.html")
    assert dialog.paths == (tmp_path / "mine.html",)
    assert "mine.html" in dialog.plan.text()
    for spoil, words in ((lambda: dialog.folder.setText(str(tmp_path / "none")), "no such folder"),
                         (lambda: dialog.name.setText("../x"), "can't hold a folder"),
                         (lambda: dialog.name.setText(" "), "a name"),
                         (lambda: dialog.kinds[".html"].setChecked(False), "at least one")):
        dialog.folder.setText(str(Path(tmp_path)))
        spoil()
        assert words in dialog.plan.text()
        assert not dialog.go.isEnabled()
