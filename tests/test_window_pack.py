"""*Paper > Pack for a reviewer…*: asked, made on the worker, told, and right."""

from __future__ import annotations

import zipfile
from pathlib import Path

from PySide6.QtWidgets import QApplication, QLabel
from shell_maps import map_file
from shell_window import LONG, close_errors, error_text, main_window, open_map

from palpate.app.pack_dialog import PackDialog
from palpate.app.panels.notices import Notes
from palpate.core.pack import Wish, rebuild


def fill(dialog: PackDialog, folder: Path) -> None:
    """As a person would, with a slip that is told and mended."""
    assert dialog.problem == ""
    assert "measured map" in dialog.plan.text()
    dialog.folder.setText(str(folder))
    dialog.title.setText("For the reviewer")
    dialog.authors.setPlainText("Ada Example, 0000-0002-1825-0098\nBo Example, Institute")
    assert "slip of the pen" in dialog.plan.text()
    assert not dialog.go.isEnabled()
    dialog.authors.setPlainText("Ada Example, 0000-0002-1825-0097\nBo Example, Institute")
    assert dialog.go.isEnabled()
    dialog.published.setText("nowhere")
    assert not dialog.go.isEnabled()
    dialog.published.clear()
    dialog.name.setText("../out")
    assert not dialog.go.isEnabled()
    for name in ("mine.zip.zip", "mine.ZIP"):  # it is a folder or a zip as is chosen
        dialog.name.setText(name)
        dialog.kind.setCurrentIndex(dialog.kind.findData(""))
        assert dialog.path == folder / "mine"
        dialog.kind.setCurrentIndex(dialog.kind.findData(".zip"))
        assert dialog.path == folder / "mine.zip"
    for name in ("methods", "report", "program"):
        dialog.parts[name].setChecked(False)
    dialog.go.click()
    assert dialog.result()


def test_a_pack_is_asked_for_made_told_and_can_be_made_again(qtbot, tmp_path):
    with main_window(qtbot) as window:
        open_map(window, map_file(tmp_path), qtbot)
        session, desk = window.session, window.workspace.pack_desk
        changed = session.settings.with_value("baseline.extent", 42.0)
        assert session.use_settings(changed, "another extent")
        qtbot.waitUntil(lambda: session.finished, timeout=LONG)

        def ask(findings, stem):
            dialog = PackDialog(findings, stem, window)
            qtbot.addWidget(dialog)
            fill(dialog, tmp_path)
            return dialog.path, dialog.wish()

        desk.ask_wish = ask
        path = tmp_path / "mine.zip"
        window.actions_by_id["pack"].trigger()
        qtbot.waitUntil(lambda: not session.background.working_on("pack"), timeout=LONG)
        QApplication.processEvents()
        assert path.is_file()
        assert "mine.zip" in " ".join(told(window.workspace.notes))
        assert not list(tmp_path.glob("*.part"))

        desk.ask_wish = lambda *_: (tmp_path / "stopped", Wish())
        window.actions_by_id["pack"].trigger()
        session.background.stop()
        qtbot.waitUntil(lambda: not session.background.working_on("pack"), timeout=LONG)
        QApplication.processEvents()
        assert not (tmp_path / "stopped").exists()

        (tmp_path / "taken").mkdir()
        (tmp_path / "taken" / "mine.txt").touch()
        desk.ask_wish = lambda *_: (tmp_path / "taken", Wish())
        window.actions_by_id["pack"].trigger()
        qtbot.waitUntil(lambda: error_text(window) != "", timeout=LONG)
        assert "holds other files" in error_text(window)
        close_errors(window)
    with zipfile.ZipFile(path) as archive:
        assert b"extent = 42.0" in archive.read("settings.toml")
        assert "report/report.pdf" not in archive.namelist()
    found = rebuild(path)
    assert found.good, found.wrong
    assert "settings.toml: the same." in found.same
    assert found.about.title == "For the reviewer"


def told(notes: Notes) -> list[str]:
    return [label.text() for label in notes.findChildren(QLabel)]
