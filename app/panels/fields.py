"""Editors for one setting: a number with its unit, or a choice. They tell only what the person did.

Typing is told when it is finished (Enter, or leaving the field), stepping at each step. The mouse
wheel passes by unless the field has the focus, so that scrolling a form never changes a number.
"""

from __future__ import annotations

import math
import re
from typing import Any

from PySide6.QtCore import QEvent, Qt, Signal
from PySide6.QtGui import QKeyEvent, QKeySequence, QValidator, QWheelEvent
from PySide6.QtWidgets import QAbstractSpinBox, QComboBox, QWidget

from ...core.units import parse_unit


def number_in(text: str, unit: str) -> float:
    """The number that was typed, in `unit`; another unit of the same kind may stand behind it.

    ``number_in("20 nm", "nm")`` and ``number_in("0,02 µm", "nm")`` are both 20.

    Raises ValueError in words if there is no number in it or the unit doesn't fit.
    """
    match = re.fullmatch(r"([-+−]?[\d.,]+(?:[eE][-+]?\d+)?)\s*(.*)", text.strip())
    try:
        number = float(match.group(1).replace(",", ".").replace("−", "-")) if match else math.nan
    except ValueError:
        number = math.nan
    if math.isnan(number):
        raise ValueError(f"“{text.strip()[:30]}” is not a number")
    given = match.group(2) if match else ""
    if given in ("", unit):
        return number
    try:
        (want, own), (have, other) = parse_unit(unit), parse_unit(given)
    except ValueError:
        want, own, have, other = "", 1.0, " ", 1.0
    if want != have or not unit:
        raise ValueError(f"“{given[:20]}” does not fit; the unit is {unit or 'none'}")
    return number * other / own


def shown(value: float | None) -> str:
    """A setting as text: all digits that it has, up to ten, and no more."""
    return "" if value is None else f"{value:.10g}"


def step_of(value: float, whole: bool) -> float:
    """A step that changes the second figure of a number; 1 for whole numbers."""
    if whole:
        return 1.0
    if value == 0.0:
        return 0.1
    return 10.0 ** (math.floor(math.log10(abs(value)) + 1e-9) - 1)


class NumberField(QAbstractSpinBox):
    """A number that can be typed or stepped.

    Signals
    -------
    edited(value, stepped) : a float or None (emptied: as recorded)
    refused(words) : what was typed is no number; the field shows the old one again
    """

    edited = Signal(object, bool)
    refused = Signal(str)

    def __init__(self, meta: Any, optional: bool, whole: bool, parent: QWidget | None = None):
        super().__init__(parent)
        self._meta, self._optional, self._whole = meta, optional, whole
        self._value: float | None = None
        self._recorded: float | None = None
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setAccelerated(True)
        self.lineEdit().setAlignment(Qt.AlignmentFlag.AlignRight)
        # the line's own "modified" is lost when Enter clears its undo list, before we are told
        self._typing = False
        self.lineEdit().textEdited.connect(self._typed)
        self.editingFinished.connect(self.finish)

    def _typed(self, _: str) -> None:
        self._typing = True

    def _write(self, value: float | None) -> None:
        self._typing = False
        self.lineEdit().setText(shown(value))

    def value(self) -> float | None:
        return self._value

    def set_value(self, value: float | None) -> None:
        """Show a value; None is shown as what was recorded. Nothing is told.

        What the person is typing at the moment is left alone unless the value is another.
        """
        if value == self._value and self._typing:
            return
        self._value = value
        self._write(value)

    def set_recorded(self, value: float | None, known: bool, lacking: str = "not recorded"
                     ) -> None:  # fmt: skip
        """What the map says, shown while the field is empty; `known` is whether there is a map,
        `lacking` what is shown if it says nothing."""
        self._recorded = value
        text = f"recorded {value:.4g}" if value is not None else lacking
        self.lineEdit().setPlaceholderText(text if known else "as recorded")

    def restore(self) -> None:
        """Show the value again, whatever was typed."""
        self._write(self._value)

    def finish(self) -> None:
        """Take over what was typed, if anything was."""
        if not self._typing:
            return
        text = self.lineEdit().text().strip()
        self._typing = False
        if not text:
            if self._optional:
                self.edited.emit(None, False)
            else:
                self.restore()
            return
        try:
            self.edited.emit(number_in(text, self._meta["unit"]), False)
        except ValueError as error:
            self.restore()
            self.refused.emit(str(error))

    def _base(self) -> float | None:
        """Where a step starts: what is typed, else the value, else what was recorded."""
        try:
            return number_in(self.lineEdit().text(), self._meta["unit"])
        except ValueError:
            return self._value if self._value is not None else self._recorded

    def stepBy(self, steps: int) -> None:
        base = self._base()
        if base is None:
            return
        step = step_of(base, self._whole)
        if self._meta["unit"] == "%":
            step = 1.0
        target = round((base + steps * step) / step) * step
        low, high = self._meta["low"], self._meta["high"]
        if self._meta["open_low"] and target <= low:
            return
        self._typing = False
        self.edited.emit(float(f"{min(max(target, low), high):.10g}"), True)
        self.lineEdit().selectAll()

    def stepEnabled(self) -> QAbstractSpinBox.StepEnabledFlag:
        base, flag = self._base(), QAbstractSpinBox.StepEnabledFlag
        enabled = flag.StepNone
        if base is not None and base < self._meta["high"]:
            enabled |= flag.StepUpEnabled
        if base is not None and base > self._meta["low"]:
            enabled |= flag.StepDownEnabled
        return enabled

    def validate(self, text: str, pos: int) -> tuple[QValidator.State, str, int]:
        return QValidator.State.Acceptable, text, pos

    def fixup(self, text: str) -> str:
        return text

    def wheelEvent(self, event: QWheelEvent) -> None:
        if self.hasFocus():
            super().wheelEvent(event)
        else:
            event.ignore()

    def keyPressEvent(self, event: QKeyEvent) -> None:
        if event.key() == Qt.Key.Key_Escape and self._typing:
            self.restore()
        else:
            super().keyPressEvent(event)

    def event(self, event: QEvent) -> bool:
        """Undo and redo are the window's, except in the middle of typing."""
        if event.type() == QEvent.Type.ShortcutOverride and not self._typing:
            keys = QKeySequence.StandardKey
            if event.matches(keys.Undo) or event.matches(keys.Redo):
                event.ignore()
                return True
        return super().event(event)


class ChoiceField(QComboBox):
    """One of the named options. Signal edited(name, False), for what the person chose only."""

    edited = Signal(object, bool)

    def __init__(self, meta: Any, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        for name, words in meta["options"].items():
            self.addItem(words, name)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
        self.setMinimumContentsLength(6)
        self.activated.connect(lambda index: self.edited.emit(self.itemData(index), False))

    def value(self) -> str | None:
        return self.currentData()

    def set_value(self, value: str | None) -> None:
        self.setCurrentIndex(self.findData(value))

    def restore(self) -> None:
        """Nothing to do: a choice is never half made."""

    def wheelEvent(self, event: QWheelEvent) -> None:
        if self.hasFocus():
            super().wheelEvent(event)
        else:
            event.ignore()
