"""The methods window: gaps that a person fills, undo, the clipboard, files; one window for all."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

from PySide6.QtCore import Qt, QUrl
from PySide6.QtGui import QGuiApplication
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication
from shell_maps import map_file
from shell_window import LONG, main_window, open_map

from palpate.app.dialogs import files
from palpate.app.methods_calls import with_known
from palpate.core.workfile import load_analysis


def test_the_methods_window_follows_the_session_and_its_answers_are_kept(
    qtbot: Any, tmp_path: Path, monkeypatch: Any
) -> None:
    with main_window(qtbot) as window:
        session, desk = window.session, window.methods
        assert not window.actions_by_id["methods"].isEnabled()  # there is no result yet
        open_map(window, map_file(tmp_path, medium="air"), qtbot)
        window.actions_by_id["methods"].trigger()
        qtbot.waitUntil(lambda: desk.paragraph is not None, timeout=LONG)
        dialog = desk.window
        assert not dialog.isModal()
        assert "taken in air" in dialog.text.toPlainText()
        asked = [gap.name for gap in desk.paragraph.gaps]
        assert list(dialog.questions.rows) == asked
        assert dialog.questions.title.text() == f"{len(asked)} of {len(asked)} questions are open"
        assert dialog.text.toHtml().count('href="gap:') == len(asked)
        assert "not divided into components" not in dialog.text.toPlainText()
        assert desk._known.composition is not None  # as figures, report and pack have them

        # an answer stands in the text and is one act, which undo takes back
        row = dialog.questions.rows["humidity"]
        dialog.text.anchorClicked.emit(QUrl("gap:humidity"))
        dialog.activateWindow()
        row.field.setFocus()
        QTest.keyClicks(row.field, "45 % <b>")
        QTest.keyClick(row.field, Qt.Key.Key_Return)
        assert dialog.isVisible()  # Return ends an answer and nothing else
        assert session.undo_words == "answer on humidity"
        qtbot.waitUntil(
            lambda: "a relative humidity of 45 % <b>." in dialog.text.toPlainText(), timeout=LONG
        )
        assert len(desk.paragraph.gaps) == len(asked) - 1
        known = desk._known
        QTest.keyClick(row.field, Qt.Key.Key_Z, Qt.KeyboardModifier.ControlModifier)
        qtbot.waitUntil(lambda: len(desk.paragraph.gaps) == len(asked), timeout=LONG)
        assert row.field.text() == ""
        session.redo()
        qtbot.waitUntil(lambda: len(desk.paragraph.gaps) == len(asked) - 1, timeout=LONG)
        assert row.field.text() == "45 % <b>"
        assert known.analysis is desk._known.analysis

        # findings are values: what is known already goes into a copy
        given = replace(desk._known)
        kept = with_known(given, desk._known)
        assert kept.map_doubts is desk._known.map_doubts
        assert "judged" not in vars(given)

        # a setting changes the text
        session.apply({"sample.poisson_ratio": 0.31}, "Poisson ratio")
        qtbot.waitUntil(lambda: "ν = 0.31" in dialog.text.toPlainText(), timeout=LONG)

        # the table
        dialog.tabs.setCurrentIndex(1)
        assert dialog.table.rowCount() == len(desk.paragraph.items)
        cells = [[dialog.table.item(r, c).text() for c in range(3)]
                 for r in range(dialog.table.rowCount())]  # fmt: skip
        assert [c[2] for c in cells if "45 %" in c[1]] == ["recorded, gap, answered"]

        # the clipboard, and files by their endings
        dialog.buttons["copy"].click()
        data = QGuiApplication.clipboard().mimeData()
        assert data.text() == desk.paragraph.text
        assert "<mark>" in data.html()
        dialog.buttons["bibtex"].click()
        assert QGuiApplication.clipboard().text().startswith("@article{hertz1882,")
        for ending in (".md", ".bib"):
            path = tmp_path / f"methods{ending}"
            monkeypatch.setattr(files, "ask_save", lambda *_, path=path: path)
            dialog.buttons["save"].click()
            qtbot.waitUntil(path.exists, timeout=LONG)
        assert (tmp_path / "methods.md").read_text(encoding="utf-8") == desk.paragraph.markdown

        # the answer is in the result file
        result = tmp_path / "result.h5"
        monkeypatch.setattr(files, "ask_save", lambda *_: result)
        window.commands.ask_save_result()
        qtbot.waitUntil(lambda: not session.changed, timeout=LONG)
        assert load_analysis(result).work.answers.of("humidity") == "45 % <b>"
        qtbot.waitUntil(lambda: "“result.h5”" in dialog.text.toPlainText(), timeout=LONG)

        # what is being typed for one map is no answer for the next
        dialog.questions.rows["humidity"].field.setFocus()
        QTest.keyClicks(dialog.questions.rows["humidity"].field, "70 %")
        desk.refresh()
        open_map(window, map_file(tmp_path, "other.h5", medium="air"), qtbot)
        qtbot.waitUntil(lambda: desk.paragraph is not None and not desk._timer.isActive(),
                        timeout=LONG)  # fmt: skip
        dialog.buttons["copy"].setFocus()
        for row in dialog.questions.rows.values():
            row.field.editingFinished.emit()
        assert session.work.answers.given == ()
        assert not session.changed

        session.close_map()
        qtbot.waitUntil(lambda: dialog.text.toPlainText() == "Open a map first.", timeout=LONG)
        assert not dialog.questions.rows
        assert not dialog.buttons["copy"].isEnabled()
        dialog.close()
        QApplication.processEvents()
