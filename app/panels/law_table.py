"""A quiet table of a few rows: as high as its contents, in the small font, read only.

A line may carry a note, which takes the whole width below its cells. What the person chooses is
told by the line's key; what the program fills in is not.
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from typing import Any

from PySide6.QtCore import QModelIndex, QRectF, QSignalBlocker, Qt, QTimer, Signal
from PySide6.QtGui import QFont, QIcon, QKeyEvent, QPainter, QResizeEvent
from PySide6.QtWidgets import (
    QAbstractItemView,
    QFrame,
    QStyle,
    QStyledItemDelegate,
    QStyleOptionViewItem,
    QTableWidget,
    QTableWidgetItem,
    QWidget,
)

from .. import theme as look
from ..theme import LIGHT, Theme

KEY = Qt.ItemDataRole.UserRole
SHARE = Qt.ItemDataRole.UserRole + 1
PAD, HEAD = 10, 14
"""What a text and a title need beside their letters [px]."""
FIRST_WIDTH = 90
"""The first column, which holds words, is never narrower [px]."""


@dataclass(frozen=True)
class Line:
    """One line of a table.

    Attributes
    ----------
    cells : texts; fewer than columns leave the last ones empty
    key : what `chosen` tells of it; None for a line that can't be chosen
    note : a sentence below it
    tip : tooltip
    icon, icon_at : a sign, and the column that it stands in
    strong : in bold, as what is in use
    faint : as what can't be had
    share : length of a bar in the last column, 0 to 1; NaN for none
    """

    cells: tuple[str, ...]
    key: Hashable = None
    note: str = ""
    tip: str = ""
    icon: QIcon | None = None
    icon_at: int = 0
    strong: bool = False
    faint: bool = False
    share: float = math.nan


class Cell(QStyledItemDelegate):
    """Paints a bar under a text, and the hairline that ends a line."""

    def __init__(self, table: Table) -> None:
        super().__init__(table)
        self._table = table

    def initStyleOption(self, option: QStyleOptionViewItem, index: QModelIndex) -> None:
        super().initStyleOption(option, index)
        option.decorationAlignment = Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignTop
        option.state &= ~QStyle.StateFlag.State_HasFocus
        if self._table.in_chosen_line(index.row()):
            option.state |= QStyle.StateFlag.State_Selected

    def paint(self, painter: QPainter, option: QStyleOptionViewItem, index: QModelIndex) -> None:
        share = index.data(SHARE)
        theme = self._table.theme
        if isinstance(share, float) and math.isfinite(share):
            area = QRectF(option.rect).adjusted(3, 2, -3, -2)
            wide = area.width() * min(max(share, 0.0), 1.0)
            bar = QRectF(area.right() - wide, area.bottom() - 3, wide, 3)
            painter.fillRect(bar, look.colour(theme.muted))
        super().paint(painter, option, index)
        if self._table.ends_line(index.row()):
            painter.setPen(look.colour(theme.line))
            painter.drawLine(option.rect.bottomLeft(), option.rect.bottomRight())


class Table(QTableWidget):
    """See the module.

    Signals
    -------
    chosen(key) : the person went to a line
    activated_line(key) : a double click on a line, or Enter on it
    """

    chosen = Signal(object)
    activated_line = Signal(object)

    def __init__(self, titles: Sequence[str], name: str, tips: Sequence[str] = (),
                 words: Sequence[int] = (0,), parent: QWidget | None = None) -> None:  # fmt: skip
        super().__init__(0, len(titles), parent)
        self._words = tuple(words)  # the columns of words, which stand at the left
        self.theme: Theme = LIGHT
        self._lines: list[Line] = []
        self._of_row: list[int] = []
        self.setAccessibleName(name)
        self.set_titles(titles, tips)
        self.verticalHeader().hide()
        self.verticalHeader().setMinimumSectionSize(12)
        self.setShowGrid(False)
        self.setWordWrap(True)
        self.setFrameShape(QFrame.Shape.NoFrame)
        self.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        self.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        self.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        self.setTabKeyNavigation(False)
        off = Qt.ScrollBarPolicy.ScrollBarAlwaysOff
        self.setHorizontalScrollBarPolicy(off)
        self.setVerticalScrollBarPolicy(off)
        self.setHorizontalScrollMode(QAbstractItemView.ScrollMode.ScrollPerPixel)
        self.horizontalHeader().setHighlightSections(False)
        self.horizontalHeader().setSectionsClickable(False)
        self.horizontalHeader().setMinimumSectionSize(24)
        self.setItemDelegate(Cell(self))
        self.currentCellChanged.connect(self._went)
        self.cellDoubleClicked.connect(lambda row, _: self._activate(row))
        self._fitter = QTimer(self, singleShot=True, interval=0)
        self._fitter.timeout.connect(self.fit)

    def set_titles(self, titles: Sequence[str], tips: Sequence[str] = ()) -> None:
        for column, title in enumerate(titles):
            item = QTableWidgetItem(title)
            item.setTextAlignment(self._side(column) | Qt.AlignmentFlag.AlignVCenter)
            item.setToolTip(tips[column] if column < len(tips) else "")
            self.setHorizontalHeaderItem(column, item)

    def _side(self, column: int) -> Qt.AlignmentFlag:
        left = column in self._words
        return Qt.AlignmentFlag.AlignLeft if left else Qt.AlignmentFlag.AlignRight

    def set_theme(self, theme: Theme) -> None:
        self.theme = theme
        look.shrink(self)
        look.shrink(self.horizontalHeader())
        self.fill(self._lines)

    # -- what is shown --------------------------------------------------------------------------

    @property
    def lines(self) -> list[Line]:
        return list(self._lines)

    def text(self) -> str:
        """All that stands in it, line by line; for copying and for tests."""
        return "\n".join("  ".join((*line.cells, line.note)).strip() for line in self._lines)

    def fill(self, lines: Sequence[Line]) -> None:
        """Show lines; the chosen one stays chosen if it is there again."""
        kept = self.current_key()
        with QSignalBlocker(self):
            self._lines, self._of_row = list(lines), []
            self.clearSpans()
            self.setRowCount(sum(1 + bool(line.note) for line in lines))
            for number, line in enumerate(lines):
                self._put(number, line)
            self.setCurrentCell(-1, -1)
            self.choose(kept)
        self.fit()

    def _put(self, number: int, line: Line) -> None:
        row = len(self._of_row)
        self._of_row.append(number)
        cells = [*line.cells, *[""] * (self.columnCount() - len(line.cells))]
        for column, text in enumerate(cells):
            item = self._item(text, line)
            item.setTextAlignment(self._side(column) | Qt.AlignmentFlag.AlignTop)
            if line.icon is not None and column == line.icon_at:
                item.setIcon(line.icon)
            self.setItem(row, column, item)
        if math.isfinite(line.share):
            item.setData(SHARE, float(line.share))
        if line.note:
            self._of_row.append(number)
            item = self._item(line.note, line, note=True)
            self.setItem(row + 1, 0, item)
            self.setSpan(row + 1, 0, 1, self.columnCount())

    def _item(self, text: str, line: Line, note: bool = False) -> QTableWidgetItem:
        item = QTableWidgetItem(text)
        item.setData(KEY, line.key)
        item.setToolTip(line.tip)
        font = QFont(look.small_font())
        font.setBold(line.strong and not note)
        item.setFont(font)
        if line.faint or note:
            item.setForeground(look.colour(self.theme.muted))
        flags = Qt.ItemFlag.ItemIsEnabled
        if line.key is not None:
            flags |= Qt.ItemFlag.ItemIsSelectable
        item.setFlags(flags)
        return item

    def ends_line(self, row: int) -> bool:
        """Whether a row of the view is the last one of its line."""
        return row + 1 >= len(self._of_row) or self._of_row[row + 1] != self._of_row[row]

    def in_chosen_line(self, row: int) -> bool:
        """Whether a row of the view belongs to the line that is chosen, note or not."""
        current = self.currentRow()
        if not (0 <= current < len(self._of_row) and row < len(self._of_row)):
            return False
        return self._of_row[row] == self._of_row[current] and self.current_key() is not None

    def fit(self) -> None:
        """Widths by contents, the first column takes the rest; height by the rows."""
        shown = [c for c in range(1, self.columnCount()) if not self.isColumnHidden(c)]
        for column in shown:
            title = self.horizontalHeaderItem(column).text().split("\n")
            header = max(map(self.fontMetrics().horizontalAdvance, title)) + HEAD
            self.setColumnWidth(column, max(self._widest(column), header))
        rest = self.viewport().width() - sum(self.columnWidth(c) for c in shown)
        if rest < FIRST_WIDTH and shown:  # words wrap in the widest column; nothing is cut off
            widest = max(shown, key=self.columnWidth)
            self.setColumnWidth(widest, max(self.columnWidth(widest) - (FIRST_WIDTH - rest), 60))
            rest = self.viewport().width() - sum(self.columnWidth(c) for c in shown)
        self.setColumnWidth(0, max(rest, FIRST_WIDTH))
        for row in range(self.rowCount()):  # without the hidden header's own height
            self.setRowHeight(row, self.sizeHintForRow(row) + 2)
        height = sum(self.rowHeight(row) for row in range(self.rowCount()))
        self.setFixedHeight(height + self.horizontalHeader().sizeHint().height() + 2)

    def _widest(self, column: int) -> int:
        """Width that a column's texts need; a note, which spans all, does not count."""
        widest = 0
        for row in range(self.rowCount()):
            item = self.item(row, column)
            if item is not None and self.columnSpan(row, 0) == 1:
                metrics = self.fontMetrics()
                bold = 1.08 if item.font().bold() else 1.0
                wide = max((metrics.horizontalAdvance(t) for t in item.text().split("\n")),
                           default=0)  # fmt: skip
                wide = math.ceil(bold * wide) + PAD
                widest = max(widest, wide + (0 if item.icon().isNull() else 20))
        return widest

    # -- what the person does -------------------------------------------------------------------

    def current_key(self) -> Any:
        """The key of the chosen line; None if there is none."""
        row = self.currentRow()
        return self._lines[self._of_row[row]].key if 0 <= row < len(self._of_row) else None

    def row_of(self, key: Hashable) -> int:
        """The first row of a key's line; -1 if it is not here."""
        for row, number in enumerate(self._of_row):
            if self._lines[number].key == key:
                return row
        return -1

    def choose(self, key: Hashable) -> None:
        """Go to a line, in silence; a key that is not here changes nothing."""
        row = self.row_of(key) if key is not None else -1
        if row >= 0:
            with QSignalBlocker(self):
                self.setCurrentCell(row, 0)

    def _went(self, row: int, *_: int) -> None:
        self.viewport().update()
        if 0 <= row < len(self._of_row):
            self.chosen.emit(self.current_key())

    def _activate(self, row: int) -> None:
        key = self._lines[self._of_row[row]].key if 0 <= row < len(self._of_row) else None
        if key is not None:
            self.activated_line.emit(key)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        if event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
            self._activate(self.currentRow())
        else:
            super().keyPressEvent(event)

    def resizeEvent(self, event: QResizeEvent) -> None:
        super().resizeEvent(event)
        if event.size().width() != event.oldSize().width():
            self._fitter.start()
