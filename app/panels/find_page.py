"""The page *Find* of the panel Components: the rule, what it made, and how sure that is."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import Any

from PySide6.QtCore import Signal
from PySide6.QtGui import QIcon
from PySide6.QtWidgets import QGridLayout, QLabel, QLineEdit, QPushButton, QToolButton, QWidget

from ...core import units
from ..theme import Theme
from .fields import NumberField
from .law_page import Page, Switch, percent, wrapped
from .law_table import Line, Table
from .member_table import MemberTable
from .rule_form import RuleForm

POISSON = dict(label="Poisson ratio", unit="", low=0.0, high=0.5, open_low=False)
Swatch = Callable[[int, Theme], QIcon]


class FindPage(Page):
    """Signals
    -------
    rule_edited(Rule, words) : another rule is wanted
    refused(words) : what was typed is not possible
    named(number, name), ratio_given(number, value or None) : of a component
    component_chosen(number) : the person went to a component's line
    present_wanted : take the present components as end members
    look_chosen(name) : how components are drawn on the map: outlines, fill or off
    leave_out_wanted, take_back_wanted : the gathered pixels; all pixels left out by hand
    """

    rule_edited = Signal(object, str)
    refused = Signal(str)
    named = Signal(int, str)
    ratio_given = Signal(int, object)
    component_chosen = Signal(int)
    present_wanted = Signal()
    look_chosen = Signal(str)
    leave_out_wanted = Signal()
    take_back_wanted = Signal()

    def __init__(self, swatch: Swatch, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._swatch = swatch
        self._table: Any = None
        self._composition: Any = None
        self._number = -1
        self.form, self.members = RuleForm(self), MemberTable(self)
        self.present = QPushButton("Take the present components", self)
        self.found = Table(["Component", "Area"], "components", words=(0,))
        self.counts = Table(["Components", "Criterion", "as if independent", "least share"],
                            "candidates", words=(0,))  # fmt: skip
        self.counts_title = wrapped("How many: the lowest criterion decides", "muted")
        self.words, self.remarks = wrapped("", "muted"), wrapped("", "strong")
        self.excluded = wrapped("", "muted")
        self.details = self._details()
        self.on_map = Switch({"outlines": "Outlines", "fill": "Filled", "off": "Off"}, self)
        self.on_map.setToolTip("How components are drawn on the map")
        self.head.addWidget(self.on_map)
        for widget in (self.found, self.details, self.remarks, self.form, self.members,
                       self.present, self.excluded, self.counts_title, self.counts,
                       self.words):  # fmt: skip
            self.body.addWidget(widget)
        self.body.addStretch(1)
        self._gathered()
        self._listen()

    def _details(self) -> QWidget:
        """Name and Poisson ratio of the chosen component."""
        box = QWidget(self)
        grid = QGridLayout(box)
        grid.setContentsMargins(0, 0, 0, 0)
        self.name = QLineEdit(box)
        self.name.setMaxLength(60)
        self.name.setAccessibleName("Name of the component")
        self.ratio = NumberField(POISSON, True, False, box)
        self.ratio.setToolTip("Of this component, for its Young modulus. Empty: the map's own.")
        self.name_label = QLabel("Name", box)
        rows = ((self.name_label, self.name), (QLabel("Poisson ratio", box), self.ratio))
        for row, (label, editor) in enumerate(rows):
            label.setBuddy(editor)
            grid.addWidget(label, row, 0)
            grid.addWidget(editor, row, 1)
        grid.setColumnStretch(1, 1)
        box.hide()
        return box

    def _gathered(self) -> None:
        self.gathered = QLabel(self)
        self.leave_out, self.take_back = QToolButton(self), QToolButton(self)
        self.leave_out.setText("Leave out")
        self.leave_out.setToolTip("Leave the gathered pixels out of everything")
        self.take_back.setText("Take back")
        self.take_back.setToolTip("Take back all pixels that were left out by hand")
        self.foot.addWidget(self.gathered, 1)
        self.foot.addWidget(self.leave_out)
        self.foot.addWidget(self.take_back)
        self.show_gathered(0, 0)

    def _listen(self) -> None:
        self.form.edited.connect(self.rule_edited)
        self.form.refused.connect(self.refused)
        self.members.edited.connect(self.rule_edited)
        self.members.refused.connect(self.refused)
        self.present.clicked.connect(self.present_wanted)
        self.found.chosen.connect(self._chose)
        self.name.editingFinished.connect(self._renamed)
        self.ratio.edited.connect(lambda value, _: self.ratio_given.emit(self._number, value))
        self.ratio.refused.connect(self.refused)
        self.on_map.chosen.connect(self.look_chosen)
        self.leave_out.clicked.connect(self.leave_out_wanted)
        self.take_back.clicked.connect(self.take_back_wanted)

    # -- what is shown --------------------------------------------------------------------------

    def show_rule(self, rule: Any) -> None:
        self.form.show_rule(rule)
        self.members.show_rule(rule)
        ends = rule.method == "end_members"
        self.members.setVisible(ends and bool(rule.members))
        self.present.setVisible(ends)

    def set_channels(self, channels: Sequence[Any], unit: str) -> None:
        self.form.set_channels(channels)
        self.form.set_unit(unit)

    def show_made(self, composition: Any, table: Any) -> None:
        """A `Composition` and its `Table`."""
        self._composition, self._table = composition, table
        self.show_numbers()
        shown = [name for name in table.channels
                 if name in (a.channel for a in composition.rule.axes)][:2]  # fmt: skip
        self.found.fill([self._line(row, shown) for row in table.rows])
        self._show_candidates(composition)
        self.words.setText(composition.words)
        self.remarks.setText("\n".join(table.remarks))
        self.remarks.setVisible(bool(table.remarks))
        self.excluded.setText(_left_out(table))
        self._show_details()

    def _line(self, row: Any, shown: Sequence[str]) -> Line:
        share = row.share
        area = f"{percent(share.fraction)} ± {percent(share.error)}"
        numbers = [_number(row.summaries[name]) for name in shown]
        tip = (
            f"Share of the pixels that belong to a component; {share.pixels} pixels. The ± is of "
            "the material, of which this field is a sample; the field itself is known as well as "
            f"its boundaries. 95 % interval: {percent(share.low)} to {percent(share.high)}; as if "
            f"pixels were independent ± {percent(share.naive / 1.96)}. Boundary zones leave open "
            f"{percent(share.low_zone)} to {percent(share.high_zone)}."
        )
        name = row.letter if row.name == row.letter else f"{row.letter}  {row.name}"
        return Line((name, area), row.number, note="median " + ", ".join(numbers), tip=tip,
                    icon=self._swatch(row.number, self.theme), share=share.fraction)  # fmt: skip

    def _show_candidates(self, composition: Any) -> None:
        best = composition.count
        self.counts.fill([
            Line((str(c.count), f"{c.criterion:.0f}", f"{c.naive:.0f}", percent(c.least)),
                 strong=c.count == best, faint=not c.allowed)
            for c in composition.candidates
        ])  # fmt: skip
        for widget in (self.counts, self.counts_title):
            widget.setVisible(bool(composition.candidates))

    def show_gathered(self, gathered: int, left_out: int) -> None:
        """How many pixels are gathered, and how many are left out by hand."""
        words = f"{gathered} pixels gathered" if gathered else ""
        if left_out:
            words += f"{', ' if words else ''}{left_out} left out by hand"
        self.gathered.setText(words)
        self.leave_out.setEnabled(gathered > 0)
        self.take_back.setEnabled(left_out > 0)

    def choose(self, number: int) -> None:
        """Go to a component's line, in silence."""
        self.found.choose(number)
        self._number = number
        self._show_details()

    def _show_details(self) -> None:
        there = self._composition is not None and 0 <= self._number < self._composition.count
        self.details.setVisible(there)
        if there:
            rule = self._composition.rule
            known = rule.names[self._number] if self._number < len(rule.names) else ""
            self.name.setText(known)
            self.name.setPlaceholderText(f"of component {self._table.rows[self._number].letter}")
            self.ratio.set_value(rule.poisson_ratio(self._number))
            source = self._composition.maps.source
            own = source.poisson_ratio if source is not None else None
            self.ratio.set_recorded(own, own is not None)
            self.ratio.lineEdit().setPlaceholderText(f"the map's {own:.3g}" if own else "")

    def clear(self) -> None:
        super().clear()
        self._composition = self._table = None
        for label in (self.words, self.remarks, self.excluded):
            label.setText("")
        self.remarks.hide()
        self.details.hide()
        self.counts.hide()
        self.counts_title.hide()

    def _reasoned(self, on: bool) -> None:
        """The form stays, for it may be what has to be mended."""
        self.reason.setVisible(on)
        self.filler.hide()
        self.area.show()

    def set_theme(self, theme: Theme) -> None:
        super().set_theme(theme)
        if self._composition is not None:
            self.show_made(self._composition, self._table)

    # -- what the person does -------------------------------------------------------------------

    def _chose(self, number: Any) -> None:
        if number is not None:
            self._number = number
            self._show_details()
            self.component_chosen.emit(number)

    def _renamed(self) -> None:
        if self.name.isModified() and self._number >= 0:
            self.name.setModified(False)
            self.named.emit(self._number, self.name.text())


def _number(one: Any) -> str:
    """A median with its ±, and what is common to all pixels as far as it is known."""
    text = units.text_of(one.median, one.unit, one.median_error)
    common = f" (common ± {percent(one.common)})" if math.isfinite(one.common) else ""
    return text + common


def _left_out(table: Any) -> str:
    """What is not in the numbers, in words."""
    said = []
    if table.left_out:
        parts = ", ".join(f"{count} {words}" for words, count in table.left_out.items())
        said.append(f"In no component: {parts}.")
    if table.set_aside:
        parts = ", ".join(f"{count} {words}" for words, count in table.set_aside.items())
        said.append(f"Counted in the area only: {parts}.")
    return "\n".join(said)
