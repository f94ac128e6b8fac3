"""End members that are known beforehand, to be typed in."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from PySide6.QtCore import QSignalBlocker, Qt, Signal
from PySide6.QtWidgets import (
    QAbstractItemView,
    QHBoxLayout,
    QTableWidget,
    QTableWidgetItem,
    QToolButton,
    QVBoxLayout,
    QWidget,
)

from ...core.channels import CHANNELS
from ...core.components.rule import MOST, EndMember, Rule, letter
from ...core.errors import SettingsError
from .. import theme as look
from .fields import number_in


class MemberTable(QWidget):
    """A row a component: centre and spread on each axis. Signals as of `RuleForm`."""

    edited = Signal(object, str)
    refused = Signal(str)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._rule = Rule()
        self.table = QTableWidget(self)
        self.table.setVerticalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.table.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        self.add, self.remove = QToolButton(self), QToolButton(self)
        self.add.setText("Add")
        self.add.setToolTip("Add an end member like the chosen one")
        self.remove.setText("Remove")
        self.remove.setToolTip("Remove the chosen end member")
        row = QHBoxLayout()
        row.addWidget(self.add)
        row.addWidget(self.remove)
        row.addStretch(1)
        box = QVBoxLayout(self)
        box.setContentsMargins(0, 0, 0, 0)
        box.addWidget(self.table)
        box.addLayout(row)
        self.table.itemChanged.connect(self._typed)
        self.add.clicked.connect(self._add)
        self.remove.clicked.connect(self._remove)

    def show_rule(self, rule: Rule) -> None:
        self._rule = rule
        with QSignalBlocker(self.table):
            self.table.setRowCount(len(rule.members))
            self.table.setColumnCount(2 * len(rule.axes))
            titles = []
            for axis in rule.axes:
                channel = CHANNELS[axis.channel]
                titles += [channel.title.replace(" (", "\n("), "±, log₁₀" if axis.log else "±"]
            self.table.setHorizontalHeaderLabels(titles)
            self.table.setVerticalHeaderLabels([letter(k) for k in range(len(rule.members))])
            for row, member in enumerate(rule.members):
                pairs = zip(member.centre, member.spread, strict=True)
                for i, (centre, spread) in enumerate(pairs):
                    self.table.setItem(row, 2 * i, QTableWidgetItem(f"{centre:.6g}"))
                    self.table.setItem(row, 2 * i + 1, QTableWidgetItem(f"{spread:.4g}"))
        look.shrink(self.table)
        self.table.resizeColumnsToContents()
        high = sum(self.table.rowHeight(r) for r in range(self.table.rowCount()))
        self.table.setFixedHeight(high + self.table.horizontalHeader().sizeHint().height() + 4)
        self.remove.setEnabled(len(rule.members) > 1)
        self.add.setEnabled(0 < len(rule.members) < MOST)

    def _typed(self, item: QTableWidgetItem) -> None:
        member = self._rule.members[item.row()]
        at, spread = divmod(item.column(), 2)
        unit = "" if spread else CHANNELS[self._rule.axes[at].channel].unit
        try:
            value = number_in(item.text(), unit)
        except ValueError as error:
            self._refuse(str(error))
            return
        name = "spread" if spread else "centre"
        values = list(getattr(member, name))
        values[at] = value
        self._want(item.row(), replace(member, **{name: tuple(values)}), "end member")

    def _want(self, row: int, member: EndMember, words: str) -> None:
        members = list(self._rule.members)
        members[row] = member
        self._tell(tuple(members), words)

    def _tell(self, members: tuple[EndMember, ...], words: str) -> None:
        try:
            rule: Any = replace(self._rule, members=members)
        except SettingsError as error:
            self._refuse(error.what)
            return
        self.edited.emit(rule, words)

    def _refuse(self, words: str) -> None:
        self.refused.emit(words)
        self.show_rule(self._rule)

    def _add(self) -> None:
        row = max(self.table.currentRow(), 0)
        members = self._rule.members
        self._tell((*members, members[row]), "added end member")

    def _remove(self) -> None:
        row = self.table.currentRow()
        row = row if row >= 0 else len(self._rule.members) - 1
        members = self._rule.members
        self._tell((*members[:row], *members[row + 1 :]), "removed end member")
