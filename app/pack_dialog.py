"""What goes into a pack, under whose names and which licence, and where to."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from PySide6.QtCore import QSettings
from PySide6.QtWidgets import (
    QCheckBox,
    QComboBox,
    QDialog,
    QDialogButtonBox,
    QFormLayout,
    QHBoxLayout,
    QLabel,
    QLineEdit,
    QPlainTextEdit,
    QWidget,
)

from ..core.errors import InputError
from .dialogs import files
from .dialogs.place import Place
from .theme import SPACE, toned

ABOUT = ("All that somebody needs who has to check this work: the measured map, the result, "
         "figures, tables and texts, checksums, a description for machines, and a script that "
         "makes the numbers again.")  # fmt: skip
OWN = "own"
OWN_WORDS = "a text of your own…"
KINDS = {".zip": "one zip file", "": "a folder"}
"""Ending -> words."""
AUTHORS = "One a line; an ORCID iD may follow after a comma"


class PackDialog(QDialog):
    """Asks for it all; `path` and `wish()` are the answer once it was accepted.

    Parameters
    ----------
    findings : of the analysis in force
    stem : how the name of the pack begins
    """

    def __init__(self, findings: Any, stem: str, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setWindowTitle("Pack for a reviewer")
        self._findings = findings
        self._memory = QSettings("palpate", "palpate")
        self._own: Path | None = None
        self._make(stem)
        self._build()
        self._listen()
        self._show_plan()

    def _make(self, stem: str) -> None:
        from ..core.pack import KNOWN, parts_of

        self.title, self.published = QLineEdit(), QLineEdit()
        self.title.setPlaceholderText(f"{self._findings.name}: force-distance map and analysis")
        self.about, self.authors = QPlainTextEdit(), QPlainTextEdit()
        self.about.setPlaceholderText("What was measured, on what, and why; in a few sentences")
        self.authors.setPlaceholderText(f"{AUTHORS}:\nAda Example, 0000-0002-1825-0097")
        self.authors.setToolTip(AUTHORS)
        self.authors.setPlainText(self._memory.value("pack/authors", "", type=str))
        for text in (self.about, self.authors):
            text.setTabChangesFocus(True)
            text.setFixedHeight(self.fontMetrics().lineSpacing() * 4)
        self.licence = QComboBox()
        for name, (title, _, words) in KNOWN.items():
            self.licence.addItem(f"{name}: {words}", name)
            self.licence.setItemData(self.licence.count() - 1, title, 3)  # its tooltip
        self.licence.addItem(OWN_WORDS, OWN)
        kept = self.licence.findData(self._memory.value("pack/licence", "", type=str))
        self.licence.setCurrentIndex(max(0, kept if kept < self.licence.count() - 1 else 0))
        self.licence.setToolTip("Of the data and figures; scripts are under the program's, MIT")
        self.with_map = QCheckBox("Measured map")
        self.with_map.setChecked(True)
        self.with_map.setToolTip("Without it the pack names it with its checksum, and whoever "
                                 "checks the pack needs the file")  # fmt: skip
        self.published.setPlaceholderText("https://… or a DOI, if it is published somewhere")
        self.parts = {part.name: QCheckBox(part.title) for part in parts_of(self._findings)
                      if not part.always}  # fmt: skip
        for part in parts_of(self._findings):
            if part.name in self.parts:
                self.parts[part.name].setChecked(True)
                self.parts[part.name].setToolTip(part.words[0].upper() + part.words[1:])
        self.kind = QComboBox()
        for ending, words in KINDS.items():
            self.kind.addItem(words, ending)
        self.place = Place("Folder for the pack", f"{stem}_pack", self, tuple(filter(None, KINDS)))
        self.folder, self.name = self.place.folder, self.place.name
        self.plan = toned(QLabel(), "muted")

    def _build(self) -> None:
        about = QLabel(ABOUT)
        for label in (about, self.plan):
            label.setWordWrap(True)
        self.plan.setMinimumHeight(self.fontMetrics().lineSpacing() * 4)
        contents = QHBoxLayout()
        for box in (self.with_map, *self.parts.values()):
            contents.addWidget(box)
        contents.addStretch(1)
        buttons = QDialogButtonBox(QDialogButtonBox.StandardButton.Cancel)
        self.go = buttons.addButton("Pack", QDialogButtonBox.ButtonRole.AcceptRole)
        self.go.setDefault(True)
        buttons.accepted.connect(self._finish)
        buttons.rejected.connect(self.reject)
        form = QFormLayout(self)
        form.setContentsMargins(2 * SPACE, 2 * SPACE, 2 * SPACE, 2 * SPACE)
        form.setSpacing(SPACE)
        form.addRow(about)
        for words, field in (("Title", self.title), ("Description", self.about),
                             ("Authors", self.authors), ("Licence of the data", self.licence),
                             ("With", contents), ("Map published at", self.published),
                             ("As", self.kind)):  # fmt: skip
            form.addRow(words, field)
        self.place.add_to(form)
        form.addRow(self.plan)
        form.addRow(buttons)

    def _listen(self) -> None:
        for field in (self.title, self.published):
            field.textChanged.connect(self._show_plan)
        self.place.changed.connect(self._show_plan)
        for text in (self.about, self.authors):
            text.textChanged.connect(self._show_plan)
        for box in (self.with_map, *self.parts.values()):
            box.toggled.connect(self._show_plan)
        self.kind.currentIndexChanged.connect(self._show_plan)
        self.licence.activated.connect(self._choose_licence)

    # -- the answer ----------------------------------------------------------------------------

    @property
    def path(self) -> Path:
        """The folder or the zip."""
        return self.place.where / f"{self.place.stem}{self.kind.currentData()}"

    def wish(self) -> Any:
        """Core's `Wish`. Raises InputError in words."""
        from ..core.pack import Author, Wish, licence

        lines = [line for line in self.authors.toPlainText().splitlines() if line.strip()]
        authors = []
        for line in lines:
            name, comma, code = line.rpartition(",")
            has_code = comma and any(sign.isdigit() for sign in code)
            authors.append(Author(name, code) if has_code else Author(line))
        own = self.licence.currentData() == OWN
        held = licence(str(self._own) if own else self.licence.currentData())
        out = tuple(name for name, box in self.parts.items() if not box.isChecked())
        return Wish(held, self.title.text(), self.about.toPlainText(), tuple(authors),
                    self.with_map.isChecked(), self.published.text(), out)  # fmt: skip

    @property
    def problem(self) -> str:
        """Why no pack can be made so, in a sentence; empty if one can."""
        from ..core.pack import check_target

        if self.place.problem:
            return self.place.problem
        try:
            check_target(self.path, replace_existing=True)
            self.wish()
        except InputError as error:
            return str(error)
        return ""

    # -- what the person does ------------------------------------------------------------------

    def _show_plan(self) -> None:
        from ..core.pack import estimate, lacking, with_overview

        problem = self.problem
        self.go.setEnabled(not problem)
        if problem:
            self.plan.setText(problem)
            return
        missing = lacking(with_overview(self._findings))
        words = " ".join([estimate(self._findings, self.wish()).words, *missing])
        if self.path.exists():
            words += f" {self.path.name} exists already; you will be asked."
        self.plan.setText(words)

    def _choose_licence(self) -> None:
        """A text of one's own is a file; without one the first licence stands again."""
        if self.licence.currentData() == OWN:
            path = files.ask_open(self, "A licence of your own", "Text (*.txt *.md);;All files (*)")
            self._own = path or self._own
            if self._own is None:
                self.licence.setCurrentIndex(0)
            else:
                self.licence.setItemText(self.licence.currentIndex(), f"your own: {self._own.name}")
        self._show_plan()

    def _finish(self) -> None:
        if self.problem or not files.may_replace(self, [self.path]):
            return
        self.place.remember()
        self._memory.setValue("pack/authors", self.authors.toPlainText())
        self._memory.setValue("pack/licence", self.licence.currentData())
        self.accept()
