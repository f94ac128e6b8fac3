"""Exporting: single maps as files, and tables, curves, the surface or all of it as a folder."""

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
    QLabel,
    QTabWidget,
    QVBoxLayout,
    QWidget,
)

from ...core.errors import InputError
from ...core.writers.folder import problems
from ..saving import DOUBTS, ERRORS, FORMATS, UNITS, Item, stem_of
from ..theme import SPACE, toned
from . import files
from .errors import confirm
from .export_pages import (
    TRUSTED,
    TRUSTED_TIP,
    CurvesPage,
    Page,
    SurfacePage,
    TablesPage,
    TogetherPage,
)
from .place import Place

ALL = ""
TABS = ("Maps", "Tables", "Curves", "Surface", "Together")


class ExportDialog(QDialog):
    """Asks what to export. Once it was accepted, `items` is the answer of the page *Maps*;
    `wanted`, `target` and `replace` are that of the page in front if it is another one.

    Parameters
    ----------
    analysis : a complete one
    channel : the one that is looked at, offered first
    findings : core's `Findings` of it; without them there are only maps
    picked : the picked pixel; gathered : bool (rows, cols), the gathered ones; None for none
    """

    def __init__(self, analysis: Any, channel: str, parent: QWidget | None = None, *,
                 findings: Any = None, picked: tuple[int, int] | None = None,
                 gathered: Any = None) -> None:  # fmt: skip
        super().__init__(parent)
        self.setWindowTitle("Export")
        self._analysis, self._findings = analysis, findings
        self.replace = False
        self._build(picked, gathered)
        self._fill(channel)
        for combo in (self.what, self.format, self.unit):
            combo.currentIndexChanged.connect(self._show_plan)
        self.what.currentIndexChanged.connect(self._offer_units)
        for check in (self.trusted, self.errors):
            check.toggled.connect(self._show_plan)
        self.place.changed.connect(self._show_plan)
        for page in self.pages:
            page.changed.connect(self._show_plan)
        self.tabs.currentChanged.connect(self._show_plan)
        self._offer_units()
        self._show_plan()

    def _build(self, picked: Any, gathered: Any) -> None:
        self.what, self.format, self.unit = QComboBox(), QComboBox(), QComboBox()
        self.place = Place("Export to", stem_of(self._analysis.map), self, nameless=True)
        self.folder, self.stem = self.place.folder, self.place.name
        self.trusted = QCheckBox(TRUSTED)
        self.trusted.setToolTip(TRUSTED_TIP)
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
        self.tabs = QTabWidget()
        self.tabs.addTab(self._maps(), TABS[0])
        self.pages = self._pages(picked, gathered) if self._findings is not None else []
        for title, page in zip(TABS[1:], self.pages, strict=False):
            self.tabs.addTab(page, title)
        form = QFormLayout()
        form.setSpacing(SPACE)
        self.place.add_to(form, "Names begin with")
        box = QVBoxLayout(self)
        box.setContentsMargins(2 * SPACE, 2 * SPACE, 2 * SPACE, 2 * SPACE)
        box.setSpacing(SPACE)
        box.addWidget(self.tabs, 1)
        box.addLayout(form)
        box.addWidget(self.plan)
        box.addWidget(buttons)

    def _maps(self) -> QWidget:
        page = QWidget()
        form = QFormLayout(page)
        form.setContentsMargins(SPACE, 2 * SPACE, SPACE, SPACE)
        form.setSpacing(SPACE)
        for label, field in (("Map", self.what), ("Format", self.format), ("Unit", self.unit),
                             ("", self.trusted), ("", self.errors)):  # fmt: skip
            form.addRow(label, field)
        return page

    def _pages(self, picked: Any, gathered: Any) -> list[Page]:
        from ...core.channels import asked_for

        there = self._analysis.map.index_map >= 0
        one = (picked,) if picked is not None and there[picked] else ()
        many = () if gathered is None else tuple(
            (int(r), int(c)) for r, c in np.argwhere(gathered & there))  # fmt: skip
        channels = {name: entry.title for name, entry in asked_for(self._analysis.settings).items()
                    if np.isfinite(self._analysis.channel(name)).any()}  # fmt: skip
        return [TablesPage(), CurvesPage(one, many), SurfacePage(channels), TogetherPage(one)]

    @property
    def page(self) -> Page | None:
        """The page in front; None for that of single maps."""
        at = self.tabs.currentIndex()
        return self.pages[at - 1] if at > 0 else None

    @property
    def wanted(self) -> Any:
        """What the page in front asks for (core's `Wanted`); None for single maps."""
        return self.page.wanted if self.page is not None else None

    @property
    def target(self) -> Path:
        """The folder that the page in front asks for."""
        stem, name = self.place.stem, self.page.name if self.page is not None else ""
        return self.place.where / (f"{stem}_{name}" if stem else name)

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
        folder, stem = self.place.where, self.place.stem
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

    def _show_plan(self) -> None:
        problem = self.place.problem
        words = "" if problem or self.page is None else self._folder_plan()
        self.go.setEnabled(not problem and not words.startswith("!"))
        if problem or words:
            self.plan.setText(problem or words.removeprefix("!"))
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

    def _folder_plan(self) -> str:
        """What the page in front would write; with ! before it if it can't."""
        from ...core.exporting import plan

        try:
            planned = plan(self._findings, self.wanted)
        except InputError as error:
            return f"!{error}"
        wrong = problems(self.target, needs=planned.size, replace=True)
        if wrong:
            return f"!{wrong[0]}"
        words = [f"{planned.words} They go into the folder {self.target.name}.", *planned.notes]
        if problems(self.target):
            words.append("It is there already; you will be asked.")
        return " ".join(words)

    def accept(self) -> None:
        if not self.place.problem and self._may_go():
            self.place.remember()
            super().accept()

    def _may_go(self) -> bool:
        """Whether nothing is replaced, or the person wants it so."""
        if self.page is None:
            return files.may_replace(self, self.all_files)
        if self._folder_plan().startswith("!"):
            return False
        self.replace = bool(problems(self.target))
        return not self.replace or confirm(
            self, f"The folder {self.target.name} is in {self.target.parent} already. All that is "
            "in it is of an earlier export.", "Replace")  # fmt: skip
