"""Where the report goes, and as what: a page for a browser, a PDF, or both."""

from __future__ import annotations

from pathlib import Path

from PySide6.QtWidgets import (
    QCheckBox,
    QDialog,
    QDialogButtonBox,
    QFormLayout,
    QLabel,
    QWidget,
)

from .dialogs import files
from .dialogs.place import Place
from .theme import SPACE, toned

ABOUT = ("Maps, components with their uncertainty, calibration, doubts, decisions and what they "
         "change, example curves, settings, versions and checksums, in one file that needs no "
         "other and no network.")  # fmt: skip
KINDS = {".html": "A page for any browser (.html)", ".pdf": "A PDF, for print (.pdf)"}
"""Ending -> words of its box."""


class ReportDialog(QDialog):
    """Asks for folder, name and kinds; `paths` is the answer once it was accepted.

    Parameters
    ----------
    stem : offered as the name, without an ending
    """

    def __init__(self, stem: str, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setWindowTitle("Report")
        self.kinds = {ending: QCheckBox(words) for ending, words in KINDS.items()}
        self.place = Place("Folder for the report", f"{stem}_report", self, tuple(KINDS))
        self.folder, self.name = self.place.folder, self.place.name
        self.plan = toned(QLabel(), "muted")
        self._build()
        for box in self.kinds.values():
            box.setChecked(True)
            box.toggled.connect(self._show_plan)
        self.place.changed.connect(self._show_plan)
        self._show_plan()

    def _build(self) -> None:
        about = QLabel(ABOUT)
        about.setWordWrap(True)
        self.plan.setWordWrap(True)
        self.plan.setMinimumHeight(self.fontMetrics().lineSpacing() * 2)
        buttons = QDialogButtonBox(QDialogButtonBox.StandardButton.Cancel)
        self.go = buttons.addButton("Write", QDialogButtonBox.ButtonRole.AcceptRole)
        self.go.setDefault(True)
        buttons.accepted.connect(self._finish)
        buttons.rejected.connect(self.reject)
        form = QFormLayout(self)
        form.setContentsMargins(2 * SPACE, 2 * SPACE, 2 * SPACE, 2 * SPACE)
        form.setSpacing(SPACE)
        form.addRow(about)
        for label, box in zip(("As", ""), self.kinds.values(), strict=True):
            form.addRow(label, box)
        self.place.add_to(form)
        form.addRow(self.plan)
        form.addRow(buttons)

    @property
    def paths(self) -> tuple[Path, ...]:
        """The files to write; none while something is missing."""
        if self.place.problem:
            return ()
        return tuple(self.place.where / f"{self.place.stem}{ending}"
                     for ending, box in self.kinds.items() if box.isChecked())  # fmt: skip

    @property
    def problem(self) -> str:
        """Why nothing can be written so, in a sentence; empty if it can."""
        if not any(box.isChecked() for box in self.kinds.values()):
            return "Choose at least one of the two."
        return self.place.problem

    def _show_plan(self) -> None:
        wrong = self.problem
        self.go.setEnabled(not wrong)
        names = " and ".join(path.name for path in self.paths)
        self.plan.setText(wrong or f"To be written: {names}")

    def _finish(self) -> None:
        if not self.problem and files.may_replace(self, list(self.paths)):
            self.place.remember()
            self.accept()
