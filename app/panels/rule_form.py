"""The form of the rule by which components are made."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from PySide6.QtCore import Signal
from PySide6.QtGui import QWheelEvent
from PySide6.QtWidgets import QCheckBox, QComboBox, QGridLayout, QLabel, QWidget

from ...core.components.rule import METHODS, MOST, ZONES, Axis, Rule
from ...core.errors import SettingsError
from .fields import ChoiceField, NumberField
from .law_page import wrapped

NONE = ""
"""No second channel."""
HINTS = {
    "mixture": "",
    "thresholds": "Drag the thresholds on the histogram; a double click adds one, Delete takes the "
    "chosen one away.",
    "gates": "Draw a polygon on the joint histogram for each component; the first is A.",
    "end_members": "Type what is known of each component below, or drag the crosses on the joint "
    "histogram.",
}


def _number(label: str, unit: str, low: float, high: float, text: str) -> dict[str, Any]:
    return dict(label=label, unit=unit, low=low, high=high, open_low=False, help=text)


NUMBERS: dict[str, tuple[dict[str, Any], bool, tuple[str, ...]]] = {
    "count": (_number("How many", "", 0, MOST, "Number of components; 0: the criterion chooses."),
              True, ("mixture",)),
    "most": (_number("At most", "", 1, MOST, "The criterion chooses from 1 to this number."),
             True, ("mixture",)),
    "seed": (_number("Seed", "", 0, 2**31 - 1, "Of all that is random: the same seed gives the "
                     "same components."), True, ("mixture",)),
    "smooth": (_number("With neighbours", "", 0.0, 10.0, "How strongly a pixel goes with "
                       "neighbours that look like it; edges stay where they are. 0: not at all."),
               False, ("mixture", "thresholds", "end_members")),
    "least": (_number("Undecided below", "%", 0.0, 99.9, "A pixel whose membership is below this "
                      "belongs to no component."), False, ("mixture", "thresholds", "end_members")),
    "zone_width": (_number("Width of the zone", "nm", 0.0, 1e9, "Pixels nearer to a boundary are "
                           "kept out of a component's statistics."), False, ()),
}  # fmt: skip
"""Field of the rule -> its declaration, whether it is a whole number, methods that use it."""
CHECKS = {
    "plain": ("Fit away from edges", "A mixture is fitted to pixels away from edges only. Switch "
              "it off where domains are only a few pixels wide.", ("mixture",)),
    "rims": ("Thin rims are mixed", "A component that only runs as a rim hardly wider than two "
             "pixels between two others is taken for their boundary. Switch it off to keep a thin "
             "layer.", ("mixture",)),
}  # fmt: skip


class QuietBox(QComboBox):
    """A box that lets the wheel scroll the page."""

    def wheelEvent(self, event: QWheelEvent) -> None:
        event.ignore()


class RuleForm(QWidget):
    """Signal edited(Rule, words): what the person wants, and the act as undo names it.
    Signal refused(words): what was typed is not possible."""

    edited = Signal(object, str)
    refused = Signal(str)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.rule = Rule()
        self._channels: list[Any] = []
        self.method = ChoiceField(dict(options=METHODS), self)
        self.zone = ChoiceField(dict(options=ZONES), self)
        self.axes = (QuietBox(self), QuietBox(self))
        self.logs = (QCheckBox("log", self), QCheckBox("log", self))
        self.numbers = {name: NumberField(meta, False, whole, self)
                        for name, (meta, whole, _) in NUMBERS.items()}  # fmt: skip
        self.checks = {name: QCheckBox(words, self) for name, (words, _, _) in CHECKS.items()}
        self.hint = wrapped("", "muted")
        self._labels: dict[str, QLabel] = {}
        self._lay_out()
        self._listen()
        self.show_rule(self.rule)

    def _lay_out(self) -> None:
        grid = QGridLayout(self)
        grid.setContentsMargins(0, 0, 0, 0)
        grid.setVerticalSpacing(3)
        grid.setColumnStretch(1, 1)
        rows: list[tuple[str, str, QWidget, QWidget | None]] = [
            ("method", "Components", self.method, None),
            ("x", "First channel", self.axes[0], self.logs[0]),
            ("y", "Second channel", self.axes[1], self.logs[1]),
        ]
        rows += [(n, NUMBERS[n][0]["label"], self.numbers[n], None)
                 for n in ("count", "most", "smooth", "least", "seed")]  # fmt: skip
        rows += [("zone", "Boundary zone", self.zone, None)]
        wide = self.numbers["zone_width"]
        rows += [("zone_width", NUMBERS["zone_width"][0]["label"], wide, None)]
        for row, (name, words, editor, beside) in enumerate(rows):
            label = self._labels[name] = QLabel(words, self)
            label.setBuddy(editor)
            editor.setAccessibleName(words)
            grid.addWidget(label, row, 0)
            grid.addWidget(editor, row, 1, 1, 1 if beside else 2)
            if beside:
                grid.addWidget(beside, row, 2)
        for at, (name, check) in enumerate(self.checks.items()):
            check.setToolTip(CHECKS[name][1])
            grid.addWidget(check, len(rows) + at, 0, 1, 3)
        grid.addWidget(self.hint, len(rows) + len(self.checks), 0, 1, 3)
        for name, (meta, _, _) in NUMBERS.items():
            unit = f" ({meta['unit']})" if meta["unit"] else ""
            self._labels[name].setText(meta["label"] + unit)
            for widget in (self.numbers[name], self._labels[name]):
                widget.setToolTip(meta["help"])
        for combo in self.axes:
            combo.setSizeAdjustPolicy(
                QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)  # fmt: skip
            combo.setMinimumContentsLength(8)

    def _listen(self) -> None:
        self.method.edited.connect(lambda value, _: self._want("way of finding", method=value))
        self.zone.edited.connect(lambda value, _: self._want("boundary zone", zone=value))
        for combo in self.axes:
            combo.activated.connect(lambda _: self._want_axes())
        for check in self.logs:
            check.clicked.connect(lambda _: self._want_axes(keep_logs=True))
        for name, field in self.numbers.items():
            field.edited.connect(lambda value, _, n=name: self._want_number(n, value))
            field.refused.connect(self.refused)
        for name, check in self.checks.items():
            check.clicked.connect(
                lambda on, n=name: self._want(CHECKS[n][0].lower(), **{n: bool(on)})
            )

    # -- what is shown --------------------------------------------------------------------------

    def set_channels(self, channels: Sequence[Any]) -> None:
        """The channels (core's `Channel`) that the analysis has."""
        if [c.name for c in channels] == [c.name for c in self._channels]:
            return
        self._channels = list(channels)
        for which, combo in enumerate(self.axes):
            combo.clear()
            if which:
                combo.addItem("none", NONE)
            for channel in channels:
                combo.addItem(channel.title, channel.name)
        self.show_rule(self.rule)

    def set_unit(self, unit: str) -> None:
        """The unit of lengths: nm, or pixels."""
        self._labels["zone_width"].setText(f"Width of the zone ({unit})")

    def show_rule(self, rule: Rule) -> None:
        self.rule = rule
        self.method.set_value(rule.method)
        self.zone.set_value(rule.zone)
        for which, (combo, check) in enumerate(zip(self.axes, self.logs, strict=True)):
            axis = rule.axes[which] if which < len(rule.axes) else None
            combo.setCurrentIndex(combo.findData(axis.channel if axis else NONE))
            check.setChecked(bool(axis and axis.log))
            check.setEnabled(axis is not None)
        for name, field in self.numbers.items():
            value = getattr(rule, name)
            field.set_value(100.0 * value if name == "least" else value)
            uses = rule.zone == "given" if name == "zone_width" else rule.method in NUMBERS[name][2]
            self._show(name, field, uses and not (name == "most" and rule.count))
        for name, check in self.checks.items():
            check.setChecked(getattr(rule, name))
            check.setVisible(rule.method in CHECKS[name][2])
        self._show("y", self.axes[1], rule.method != "thresholds")
        self.logs[1].setVisible(rule.method != "thresholds")
        self.hint.setText(HINTS[rule.method])
        self.hint.setVisible(bool(HINTS[rule.method]))

    def _show(self, name: str, editor: QWidget, on: bool) -> None:
        self._labels[name].setVisible(on)
        editor.setVisible(on)

    # -- what the person does -------------------------------------------------------------------

    def _want_number(self, name: str, value: float | None) -> None:
        meta, whole, _ = NUMBERS[name]
        if value is None:
            return
        wanted: Any = value / 100.0 if name == "least" else value
        if whole:
            if value != int(value):
                self.refused.emit(f"{meta['label']} must be a whole number.")
                self.show_rule(self.rule)
                return
            wanted = int(value)
        self._want(meta["label"].lower(), **{name: wanted})

    def _want_axes(self, keep_logs: bool = False) -> None:
        names = [combo.currentData() for combo in self.axes]
        old = {axis.channel: axis for axis in self.rule.axes}
        made = []
        for name, check in zip(names, self.logs, strict=True):
            if not name or name in [axis.channel for axis in made]:
                continue
            usual = old.get(name, Axis.of(name))
            made.append(Axis(name, check.isChecked()) if keep_logs else usual)
        if not made:
            self.show_rule(self.rule)
            return
        more = self.rule.axes[2:] if len(made) == 2 else ()
        axes = (*made, *(axis for axis in more if axis.channel not in names))
        other = [a.channel for a in axes[:2]] != [a.channel for a in self.rule.axes[:2]]
        cleared: dict[str, Any] = dict(thresholds=(), gates=(), members=()) if other else {}
        self._want("channels of the components", axes=axes, **cleared)

    def _want(self, words: str, **change: Any) -> None:
        """Thresholds, gates and end members are kept apart, so that one may come back to them."""
        try:
            rule = replace(self.rule, **change)
        except SettingsError as error:
            self.refused.emit(error.what)
            self.show_rule(self.rule)
            return
        self.edited.emit(rule, words)
