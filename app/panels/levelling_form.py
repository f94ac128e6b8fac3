"""The form of the levelling: what is taken off the heights, and which pixels decide."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

from PySide6.QtCore import Signal
from PySide6.QtGui import QIcon
from PySide6.QtWidgets import QCheckBox, QGridLayout, QHBoxLayout, QLabel, QWidget

from ...core.components.rule import letter
from ...core.surface.levelling import Levelling
from ..theme import LIGHT, SPACE, Theme
from .fields import ChoiceField

NONE = "none"
ORDERS = {NONE: "Nothing", "0": "Offset", "1": "Plane", "2": "2nd-order surface",
          "3": "3rd-order surface"}  # fmt: skip
LINES = {"none": "Nothing", "median": "Median of each line",
         "differences": "Median of differences"}  # fmt: skip
TIPS = {
    "order": "Fitted robustly to the pixels that decide, and taken off all pixels.",
    "lines": "Shifts scan lines against each other. The median of differences keeps steps that "
    "run along the lines, but its sum drifts.",
    "on": "Tick the components whose pixels decide; none ticked: all pixels decide. So the dent "
    "in a soft component tilts nothing. Several components have a level of their own each.",
}
Swatch = Callable[[int, Theme], QIcon]


class LevellingForm(QWidget):
    """Signal edited(Levelling or None, words): what the person wants, and the act for undo."""

    edited = Signal(object, str)

    def __init__(self, swatch: Swatch, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._swatch, self._theme = swatch, LIGHT
        self._levelling: Levelling | None = Levelling()
        self._titles: tuple[str, ...] = ()
        self.order = ChoiceField(dict(options=ORDERS), self)
        self.lines = ChoiceField(dict(options=LINES), self)
        self.checks: list[QCheckBox] = []
        self.on_label = QLabel("Decided by", self)
        self._ticks = QHBoxLayout()
        self._ticks.setSpacing(SPACE)
        self.everything = QLabel(self)
        self._ticks.addWidget(self.everything)
        self._ticks.addStretch(1)
        grid = QGridLayout(self)
        grid.setContentsMargins(0, 0, 0, 0)
        grid.setVerticalSpacing(3)
        grid.setColumnStretch(1, 1)
        for row, (name, words, editor) in enumerate((("order", "Take off", self.order),
                                                     ("lines", "Lines", self.lines))):  # fmt: skip
            label = QLabel(words, self)
            label.setBuddy(editor)
            label.setToolTip(TIPS[name])
            editor.setToolTip(TIPS[name])
            editor.setAccessibleName(words)
            grid.addWidget(label, row, 0)
            grid.addWidget(editor, row, 1)
        grid.addWidget(self.on_label, 2, 0)
        grid.addLayout(self._ticks, 2, 1)
        self.on_label.setToolTip(TIPS["on"])
        self.order.edited.connect(lambda *_: self._want("levelling"))
        self.lines.edited.connect(lambda *_: self._want("levelling of lines"))
        self.show_levelling(self._levelling)

    # -- what is shown --------------------------------------------------------------------------

    def show_levelling(self, levelling: Levelling | None) -> None:
        self._levelling = levelling
        self.order.set_value(NONE if levelling is None else str(levelling.order))
        self.lines.set_value(levelling.lines if levelling is not None else "none")
        self.lines.setEnabled(levelling is not None)
        on = levelling.on if levelling is not None else ()
        for number, check in enumerate(self.checks):
            check.setChecked(number in on)
            check.setEnabled(levelling is not None)
        missing = [letter(k) for k in on if k >= len(self.checks)]
        words = "" if on else ("all pixels" if not self.checks else "(all)")
        if missing:
            words = f"{', '.join(missing)}: not there"
        self.everything.setText(words)

    def show_components(self, titles: Sequence[str]) -> None:
        """Titles of the components that can decide."""
        titles = tuple(titles)
        if titles == self._titles:
            return
        self._titles = titles
        for check in self.checks:
            self._ticks.removeWidget(check)
            check.deleteLater()
        self.checks = []
        for number, title in enumerate(titles):
            check = QCheckBox(letter(number), self)
            check.setToolTip(f"{title}. {TIPS['on']}")
            check.setAccessibleName(f"{title} decides the levelling")
            check.setIcon(self._swatch(number, self._theme))
            check.clicked.connect(lambda _=False: self._want("components that level"))
            self._ticks.insertWidget(number, check)
            self.checks.append(check)
        self.show_levelling(self._levelling)

    def set_theme(self, theme: Theme) -> None:
        self._theme = theme
        for number, check in enumerate(self.checks):
            check.setIcon(self._swatch(number, theme))

    # -- what the person does -------------------------------------------------------------------

    def _want(self, words: str) -> None:
        order: Any = self.order.value()
        if order == NONE:
            self.edited.emit(None, words)
            return
        on = tuple(k for k, check in enumerate(self.checks) if check.isChecked())
        before = self._levelling or Levelling()
        wanted = replace(before, order=int(order), lines=self.lines.value() or "none", on=on)
        self.edited.emit(wanted, words)
