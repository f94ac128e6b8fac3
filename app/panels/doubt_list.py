"""The list of doubtful pixels: a table of any length, drawn as it is scrolled."""

from __future__ import annotations

from typing import Any

import numpy as np
from PySide6.QtCore import QAbstractTableModel, QItemSelection, QModelIndex, QRectF, Qt, Signal
from PySide6.QtGui import QIcon, QPainter, QPixmap
from PySide6.QtWidgets import QAbstractItemView, QFrame, QHeaderView, QTableView, QWidget

from ...core.decisions import WORDS
from ...core.doubts import DOUBTS, names_of
from .. import theme as look
from ..theme import LIGHT, Theme
from .values import paint_sign

Array = np.ndarray
TITLES = ("Pixel", "Doubts", "Comp.", "Decision")
TIPS = ("Row and column", "All doubts of the pixel, severe ones first",
        "Component that the pixel lies in", "What was decided about it")  # fmt: skip


def doubt_words(name: str) -> str:
    """A doubt's name as a person reads it: ``no_baseline`` is "no baseline"."""
    return name.replace("_", " ")


class DoubtModel(QAbstractTableModel):
    """Rows of a ranking; nothing is copied into items."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._ranking: Any = None
        self._places: Array = np.empty(0, int)
        self._kinds: Array | None = None
        self._letters: Array | None = None
        self._signs: dict[bool, QIcon] = {}

    def set_signs(self, signs: dict[bool, QIcon]) -> None:
        self._signs = signs

    def show_rows(self, ranking: Any, places: Array, kinds: Array, letters: Array | None) -> None:
        """Show some places of a ranking; `letters` (rows, cols) are those of the components."""
        self.beginResetModel()
        self._ranking, self._places = ranking, places
        self._kinds, self._letters = kinds, letters
        self.endResetModel()

    def clear(self) -> None:
        self.beginResetModel()
        self._ranking, self._places = None, np.empty(0, int)
        self.endResetModel()

    def pixel(self, row: int) -> tuple[int, int]:
        """Row and column on the map of a row of the list."""
        at, col = divmod(int(self._ranking.flat[self._places[row]]), self._ranking.shape[1])
        return at, col

    def row_of(self, row: int, col: int) -> int:
        """The row of the list that shows a pixel; -1 if none does."""
        if self._ranking is None:
            return -1
        place = int(self._ranking.place[row * self._ranking.shape[1] + col])
        at = int(np.searchsorted(self._places, place))
        there = at < self._places.size and self._places[at] == place
        return at if place >= 0 and there else -1

    # -- as Qt asks

    def rowCount(self, parent: QModelIndex = QModelIndex()) -> int:  # noqa: B008
        return 0 if parent.isValid() else int(self._places.size)

    def columnCount(self, parent: QModelIndex = QModelIndex()) -> int:  # noqa: B008
        return 0 if parent.isValid() else len(TITLES)

    def headerData(self, section: int, side: Qt.Orientation, role: int = 0) -> Any:
        if side != Qt.Orientation.Horizontal:
            return None
        if role == Qt.ItemDataRole.DisplayRole:
            return TITLES[section]
        return TIPS[section] if role == Qt.ItemDataRole.ToolTipRole else None

    def data(self, index: QModelIndex, role: int = 0) -> Any:
        place, column = int(self._places[index.row()]), index.column()
        if role == Qt.ItemDataRole.DisplayRole:
            return self._text(place, column)
        if role == Qt.ItemDataRole.DecorationRole and column == 1:
            return self._signs.get(bool(self._ranking.severe[place] > 0))
        if role == Qt.ItemDataRole.ToolTipRole and column == 1:
            names = names_of(int(self._ranking.bits[place]))
            return "\n".join(f"{DOUBTS[n].severity}: {DOUBTS[n].sentence}" for n in names)
        return None

    def _text(self, place: int, column: int) -> str:
        row, col = divmod(int(self._ranking.flat[place]), self._ranking.shape[1])
        if column == 0:
            return f"{row}, {col}"
        if column == 1:
            return ", ".join(doubt_words(n) for n in names_of(int(self._ranking.bits[place])))
        if column == 2:
            return str(self._letters[row, col]) if self._letters is not None else ""
        kind = int(self._kinds[row, col]) if self._kinds is not None else 0
        return WORDS[kind] if kind else ""


class DoubtList(QTableView):
    """Signals, each only for what the person did
    ------------------------------------------
    picked(row, col) : went to a pixel
    gathered(list of (row, col)) : several rows are marked
    """

    picked = Signal(int, int)
    gathered = Signal(list)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.rows = DoubtModel(self)
        self._quiet = False
        self.setModel(self.rows)
        self.setAccessibleName("Doubtful pixels, worst first")
        self.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        self.setSelectionMode(QAbstractItemView.SelectionMode.ExtendedSelection)
        self.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        self.setFrameShape(QFrame.Shape.NoFrame)
        self.setShowGrid(False)
        self.setWordWrap(False)
        self.setTabKeyNavigation(False)
        self.verticalHeader().hide()
        header = self.horizontalHeader()
        header.setHighlightSections(False)
        header.setSectionsClickable(False)
        header.setSectionResizeMode(QHeaderView.ResizeMode.Fixed)
        header.setSectionResizeMode(1, QHeaderView.ResizeMode.Stretch)
        self.set_theme(LIGHT)

    def set_theme(self, theme: Theme) -> None:
        look.shrink(self)
        look.shrink(self.horizontalHeader())
        wide = self.fontMetrics().horizontalAdvance
        self.verticalHeader().setDefaultSectionSize(self.fontMetrics().height() + 4)
        for column, text in ((0, "0000, 0000"), (2, "Comp."), (3, "undecided")):
            self.setColumnWidth(column, wide(text) + 12)
        self.rows.set_signs({severe: _sign(severe, theme) for severe in (True, False)})
        self.viewport().update()

    def show_rows(self, ranking: Any, places: Array, kinds: Array, letters: Array | None,
                  picked: tuple[int, int] | None) -> None:  # fmt: skip
        """Show some places of a ranking, the picked pixel marked; nothing is told."""
        self._quiet = True
        self.rows.show_rows(ranking, places, kinds, letters)
        self._quiet = False
        self.setColumnHidden(2, letters is None)
        self.setColumnHidden(3, not kinds.any())
        if picked is not None:
            self.mark(*picked)

    def clear(self) -> None:
        self._quiet = True
        self.rows.clear()
        self._quiet = False

    def mark(self, row: int, col: int) -> None:
        """Mark the row of a pixel and bring it into sight; nothing is told."""
        at = self.rows.row_of(row, col)
        self._quiet = True
        if at < 0:
            self.clearSelection()
            self.setCurrentIndex(QModelIndex())
        elif at not in {i.row() for i in self.selectionModel().selectedRows()}:
            self.selectRow(at)
        self._quiet = False
        if at >= 0:
            self.scrollTo(self.rows.index(at, 0))

    def selectionChanged(self, chosen: QItemSelection, gone: QItemSelection) -> None:
        super().selectionChanged(chosen, gone)
        if self._quiet:
            return
        rows = sorted(index.row() for index in self.selectionModel().selectedRows())
        if len(rows) > 1:
            self.gathered.emit([self.rows.pixel(row) for row in rows])
        elif rows:
            self.gathered.emit([])
            self.picked.emit(*self.rows.pixel(rows[0]))


def _sign(severe: bool, theme: Theme) -> QIcon:
    side, ratio = 14, 3
    picture = QPixmap(side * ratio, side * ratio)
    picture.setDevicePixelRatio(ratio)
    picture.fill(Qt.GlobalColor.transparent)
    painter = QPainter(picture)
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    paint_sign(painter, QRectF(0, 0, side, side), severe, theme)
    painter.end()
    return QIcon(picture)
