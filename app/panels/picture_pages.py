"""Three ways to align a picture with the map: by hand, by landmarks, by correlation.

The pages are passive: they show what they are given and tell what the person did.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import (
    QCheckBox,
    QComboBox,
    QGridLayout,
    QHBoxLayout,
    QLabel,
    QProgressBar,
    QToolButton,
    QWidget,
)

from .fields import NumberField
from .law_page import Page, plain, wrapped
from .law_table import Line, Table

KINDS = {"shift": "Shift only", "similarity": "Shift, turn and scale",
         "affine": "Stretch and shear as well"}  # fmt: skip
"""What landmarks may do to the picture -> words."""
TURN_STEP, SCALE_STEP = 1.0, 0.01


@dataclass(frozen=True)
class Step:
    """How a number is stepped: by `size`, or by that share of it."""

    size: float
    share: bool = False


class StepField(NumberField):
    """A number with a step of its own."""

    def __init__(self, unit: str, step: Step, low: float = -1e9, parent: QWidget | None = None):
        meta = {"unit": unit, "low": low, "high": 1e9, "open_low": low == 0.0}
        super().__init__(meta, optional=False, whole=False, parent=parent)
        self.step = step

    def set_unit(self, unit: str) -> None:
        self._meta = {**self._meta, "unit": unit}

    def stepBy(self, steps: int) -> None:
        base = self._base()
        if base is None:
            return
        if self.step.share:
            target = base * (1.0 + self.step.size) ** steps
        else:
            target = (round(base / self.step.size) + steps) * self.step.size
        if self._meta["low"] < target < self._meta["high"]:
            self._typing = False
            self.edited.emit(float(f"{target:.6g}"), True)
            self.lineEdit().selectAll()


class HandPage(Page):
    """Signal placed(ByHand, name): another placing; `name` is the field that was changed."""

    placed = Signal(object, str)
    refused = Signal(str)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._hand: Any = None
        self.fields = {
            "x": StepField("nm", Step(1.0)), "y": StepField("nm", Step(1.0)),
            "angle": StepField("°", Step(TURN_STEP)),
            "scale": StepField("nm", Step(SCALE_STEP, share=True), low=0.0),
        }  # fmt: skip
        words = {"x": "Middle, x", "y": "Middle, y", "angle": "Turned", "scale": "Its pixel"}
        tips = {
            "x": "Where the middle of the picture lies on the map",
            "y": "Where the middle of the picture lies on the map",
            "angle": "Anticlockwise about its middle",
            "scale": "Length of one of its pixels",
        }
        self.units: dict[str, QLabel] = {}
        grid = QGridLayout()
        for row, (name, field) in enumerate(self.fields.items()):
            label = QLabel(words[name], self)
            label.setBuddy(field)
            field.setToolTip(tips[name])
            field.setAccessibleName(words[name])
            self.units[name] = QLabel("°" if name == "angle" else "nm", self)
            for column, widget in enumerate((label, field, self.units[name])):
                grid.addWidget(widget, row, column)
            field.edited.connect(lambda value, _, n=name: self._edit(n, value))
            field.refused.connect(self.refused)
        grid.setColumnStretch(1, 1)
        self.mirrored = QCheckBox("Mirrored, left and right exchanged", self)
        self.mirrored.clicked.connect(lambda on: self._edit("mirrored", bool(on)))
        self.body.addLayout(grid)
        self.body.addWidget(self.mirrored)
        self.body.addWidget(wrapped("The arrows of a field step it; the map follows at once.",
                                    "muted"))  # fmt: skip
        self.body.addStretch(1)

    def show_hand(self, hand: Any, unit: str, pitch: float) -> None:
        """Show a placing (core's `ByHand`); `unit` of lengths, `pitch` of the map as the step."""
        self._hand = hand
        for name, field in self.fields.items():
            if name != "angle":
                field.set_unit(unit if unit == "nm" else "")
                self.units[name].setText(unit)
            if name in "xy":
                field.step = Step(pitch)
            field.set_value(float(f"{getattr(hand, name):.6g}"))
        self.mirrored.setChecked(hand.mirrored)

    def _edit(self, name: str, value: Any) -> None:
        if self._hand is None:
            return
        if name == "angle":
            value = (value + 180.0) % 360.0 - 180.0
        if name == "scale" and not value > 0.0:
            self.fields[name].restore()
            self.refused.emit("The length of a pixel is above zero.")
            return
        self.placed.emit(replace(self._hand, **{name: value}), name)


class LandmarksPage(Page):
    """Signals: placing(bool), kind_chosen(name), remove(number), remove_all."""

    placing = Signal(bool)
    kind_chosen = Signal(str)
    remove = Signal(int)
    remove_all = Signal()

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.place, self.take, self.clear_all = (QToolButton(self) for _ in range(3))
        self.place.setText("Place pairs")
        self.place.setCheckable(True)
        self.place.setToolTip("Click a place on the picture, then the same one on the map")
        self.take.setText("Remove")
        self.take.setToolTip("Remove the chosen pair")
        self.clear_all.setText("Remove all")
        self.kind = QComboBox(self)
        self.kind.setAccessibleName("What the pairs may do to the picture")
        for name, words in KINDS.items():
            self.kind.addItem(words, name)
        row = QHBoxLayout()
        row.addWidget(self.place)
        row.addWidget(self.kind, 1)
        self.hint = wrapped("", "muted")
        self.table = Table(
            ["Pair", "on the picture", "on the map", "missed by"],
            "pairs",
            ("", "Column and row", "x and y", "How far the alignment misses it"),
        )
        self.words = wrapped("")
        self.head.addLayout(row)
        self.head.addWidget(self.hint)
        self.body.addWidget(self.table)
        self.body.addWidget(self.words)
        self.body.addStretch(1)
        self.foot.addWidget(self.take)
        self.foot.addWidget(self.clear_all)
        self.foot.addStretch(1)
        self.place.clicked.connect(self.placing)
        self.kind.activated.connect(lambda _: self.kind_chosen.emit(self.kind.currentData()))
        self.table.chosen.connect(lambda _: self.show_buttons())
        self.take.clicked.connect(self._take)
        self.clear_all.clicked.connect(self.remove_all)
        self.show_buttons()

    def show_pairs(self, pairs: Sequence[tuple[float, float, float, float]],
                   missed: Sequence[float], unit: str, words: str = "", wrong: int | None = None,
                   kind: str = "similarity") -> None:  # fmt: skip
        """Show pairs and how far each is missed, in `unit`; `wrong` does not fit the others."""
        self.kind.setCurrentIndex(self.kind.findData(kind))
        lines = []
        for k, (c, r, x, y) in enumerate(pairs):
            off = missed[k] if k < len(missed) else math.nan
            lines.append(Line(
                (str(k + 1), f"{c:.1f}, {r:.1f}", f"{x:.1f}, {y:.1f}",
                 f"{plain(off)} {unit}" if math.isfinite(off) else "–"), key=k,
                note="This pair does not fit the others." if k == wrong else "",
                strong=k == wrong))  # fmt: skip
        self.table.fill(lines)
        self.words.setText(words)
        self.show_buttons()

    def say(self, words: str) -> None:
        """What to do next."""
        self.hint.setText(words)
        self.hint.setVisible(bool(words))

    def show_buttons(self) -> None:
        self.take.setEnabled(self.table.current_key() is not None)
        self.clear_all.setEnabled(bool(self.table.lines))

    def _take(self) -> None:
        key = self.table.current_key()
        if key is not None:
            self.remove.emit(key)


class CorrelationPage(Page):
    """Signals: start(channel, mirrored), stop."""

    start = Signal(str, bool)
    stop = Signal()

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.channel = QComboBox(self)
        self.channel.setAccessibleName("Channel to align with")
        self.mirrored = QCheckBox("The picture is mirrored", self)
        self.go, self.halt = QToolButton(self), QToolButton(self)
        self.go.setText("Align")
        self.go.setToolTip("Look for the place, turn and scale where picture and channel agree "
                           "best")  # fmt: skip
        self.halt.setText("Stop")
        self.bar = QProgressBar(self)
        self.bar.setTextVisible(False)
        self.bar.setFixedHeight(8)
        row, below = QHBoxLayout(), QHBoxLayout()
        row.addWidget(QLabel("Align with", self))
        row.addWidget(self.channel, 1)
        below.addWidget(self.go)
        below.addWidget(self.halt)
        below.addWidget(self.bar, 1)
        self.result = wrapped("")
        self.body.addLayout(row)
        self.body.addWidget(self.mirrored)
        self.body.addLayout(below)
        self.body.addWidget(self.result)
        self.body.addWidget(wrapped(
            "Every turn is tried, and scales from 0.8 to 1.25 times the present one. The contrast "
            "may be inverted or bent.", "muted"))  # fmt: skip
        self.body.addStretch(1)
        self.go.clicked.connect(
            lambda: self.start.emit(self.channel.currentData(), self.mirrored.isChecked())
        )
        self.halt.clicked.connect(self.stop)
        self._ready = False
        self.show_running(False)

    def set_channels(self, channels: Mapping[str, str]) -> None:
        """Name -> words of the channels there are; without any nothing can be aligned yet."""
        kept = self.channel.currentData()
        if [self.channel.itemData(i) for i in range(self.channel.count())] != list(channels):
            self.channel.clear()
            for name, words in channels.items():
                self.channel.addItem(words, name)
            self.channel.setCurrentIndex(max(self.channel.findData(kept), 0))
        self._ready = bool(channels)
        self.show_running(self.halt.isEnabled())

    def show_running(self, on: bool, done: int = 0, total: int = 0) -> None:
        """Whether it is being looked for, and how far."""
        self.go.setEnabled(not on and self._ready)
        self.halt.setEnabled(on)
        self.bar.setVisible(on)
        self.bar.setRange(0, total if on else 1)
        self.bar.setValue(done)

    def say(self, words: str) -> None:
        """What came of it."""
        self.result.setText(words)
        self.result.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
