"""Exporting maps: which ones, in which format and unit, and where to."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
from PySide6.QtWidgets import (
    QCheckBox,
    QComboBox,
    QDialog,
    QDialogButtonBox,
    QFormLayout,
    QHBoxLayout,
    QLabel,
    QLineEdit,
    QPushButton,
    QWidget,
)

from ..saving import DOUBTS, ERRORS, FORMATS, UNITS, Item, stem_of
from ..theme import SPACE, toned
from . import files

ALL = ""


class ExportDialog(QDialog):
    """Asks what to export; `items` is the answer once it was accepted.

    Parameters
    ----------
    analysis : a complete one
    channel : the one that is looked at, offered first
    """

    def __init__(self, analysis: Any, channel: str, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setWindowTitle("Export maps")
        self._analysis = analysis
        self._build()
        self._fill(channel)
        for combo in (self.what, self.format, self.unit):
            combo.currentIndexChanged.connect(self._show_plan)
        self.what.currentIndexChanged.connect(self._offer_units)
        for check in (self.trusted, self.errors):
            check.toggled.connect(self._show_plan)
        self.folder.textChanged.connect(self._show_plan)
        self.stem.textChanged.connect(self._show_plan)
        self._offer_units()
        self._show_plan()

    def _build(self) -> None:
        self.what, self.format, self.unit = QComboBox(), QComboBox(), QComboBox()
        self.folder, self.stem = QLineEdit(), QLineEdit()
        self.folder.setMinimumWidth(300)
        browse = QPushButton("Choose…")
        browse.setAutoDefault(False)
        browse.clicked.connect(self._choose_folder)
        place = QHBoxLayout()
        place.addWidget(self.folder, 1)
        place.addWidget(browse)
        self.trusted = QCheckBox("Leave out pixels with a severe doubt")
        self.trusted.setChecked(True)
        self.errors = QCheckBox("With uncertainties, in files of their own")
        self.plan = toned(QLabel(), "muted")
        self.plan.setWordWrap(True)
        self.plan.setMinimumHeight(self.fontMetrics().lineSpacing() * 3)
        buttons = QDialogButtonBox(QDialogButtonBox.StandardButton.Cancel)
        self.go = buttons.addButton("Export", QDialogButtonBox.ButtonRole.AcceptRole)
        self.go.setDefault(True)
        buttons.accepted.connect(self.accept)
        buttons.rejected.connect(self.reject)
        form = QFormLayout(self)
        form.setContentsMargins(2 * SPACE, 2 * SPACE, 2 * SPACE, 2 * SPACE)
        form.setSpacing(SPACE)
        for label, field in (("Map", self.what), ("Format", self.format), ("Unit", self.unit),
                             ("", self.trusted), ("", self.errors), ("Folder", place),
                             ("Names begin with", self.stem)):  # fmt: skip
            form.addRow(label, field)
        form.addRow(self.plan)
        form.addRow(buttons)

    def _fill(self, channel: str) -> None:
        from ...core.channels import asked_for

        self.what.addItem("all maps, one file each", ALL)
        self._empty = 0
        for name, entry in asked_for(self._analysis.settings).items():
            if np.isfinite(self._analysis.channel(name)).any():
                self.what.addItem(entry.title, name)
            else:
                self._empty += 1
        self.what.addItem("Doubts (bits)", DOUBTS)
        self.what.setCurrentIndex(max(0, self.what.findData(channel)))
        for ending, words in FORMATS.items():
            self.format.addItem(words, ending)
        self.folder.setText(str(files.last_folder("save")))
        self.stem.setText(stem_of(self._analysis.map))

    def _offer_units(self) -> None:
        from ...core.channels import CHANNELS

        name = self.what.currentData()
        self.unit.clear()
        if name in (ALL, DOUBTS):
            self.unit.addItem("of each map" if name == ALL else "none", "")
        else:
            core = CHANNELS[name].unit
            for unit in UNITS.get(core, (core,)):
                self.unit.addItem(unit or "none", unit)
        self.unit.setEnabled(self.unit.count() > 1)

    @property
    def items(self) -> list[Item]:
        """What is to be written."""
        folder, stem = Path(self.folder.text().strip()), self.stem.text().strip()
        ending, chosen = self.format.currentData(), self.what.currentData()
        every = [self.what.itemData(i) for i in range(1, self.what.count())]
        names = every if chosen == ALL else [chosen]
        start = f"{stem}_" if stem else ""
        unit = self.unit.currentData() or ""
        if self.errors.isChecked():
            names = [n for name in names for n in (name, name + ERRORS) if self._has(n)]
        clean = self.trusted.isChecked()
        return [Item(folder / f"{start}{name}{ending}", name, unit, clean) for name in names]

    def _has(self, name: str) -> bool:
        if not name.endswith(ERRORS):
            return True
        channel = name.removesuffix(ERRORS)
        return channel != DOUBTS and self._analysis.errors(channel) is not None

    @property
    def all_files(self) -> list[Path]:
        return [path for item in self.items for path in item.files]

    def _problem(self) -> str:
        folder = Path(self.folder.text().strip() or "?")
        if not folder.is_dir():
            return "This folder does not exist. Choose another one."
        if any(sign in self.stem.text() for sign in '/\\:*?"<>|'):
            return 'The names must not hold any of / \\ : * ? " < > |'
        return ""

    def _show_plan(self) -> None:
        problem = self._problem()
        self.go.setEnabled(not problem)
        if problem:
            self.plan.setText(problem)
            return
        paths = self.all_files
        there = sum(path.exists() for path in paths)
        names = ", ".join(path.name for path in paths[:2]) + (" …" if len(paths) > 2 else "")
        words = [f"{len(paths)} file{'s' if len(paths) > 1 else ''}: {names}."]
        if self.what.currentData() == ALL and self._empty:
            words.append(f"{self._empty} maps without any value are left out.")
        if there:
            words.append(f"{there} of them exist already; you will be asked.")
        self.plan.setText(" ".join(words))

    def _choose_folder(self) -> None:
        folder = files.ask_folder(self, "Export to")
        if folder is not None:
            self.folder.setText(str(folder))

    def accept(self) -> None:
        if not self._problem() and files.may_replace(self, self.all_files):
            files.remember_folder("save", Path(self.folder.text().strip()))
            super().accept()
