"""How a sheet of paper is painted: its picture, the chosen panel, and what a drag would do.

A part of the canvas, kept apart for its length.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from PySide6.QtCore import QPointF, QRectF, QSize, Qt
from PySide6.QtGui import QImage, QPainter, QPaintEvent, QPen
from PySide6.QtWidgets import QWidget

from .. import theme as look
from ..theme import LIGHT, Theme
from .sheet_grid import Box, SheetGrid
from .sheet_holds import COLUMNS, LOWER, RIGHT, ROWS, Hold, Landing, handles, line_box


class SheetPainting(QWidget):
    """See the module; `SheetCanvas` is made of it."""

    if TYPE_CHECKING:
        image: QImage | None
        grid: SheetGrid | None
        current: int | None
        paper: QRectF
        paper_size: QSize
        hint: str
        veiled: bool
        hold: Hold | None
        ghost: Landing | None
        _hover: Hold | None
        _fitted: tuple[Any, QImage] | None
        _theme: Theme

    def point_of(self, x: float, y: float) -> QPointF:
        """A place of the sheet, given as shares, on the widget."""
        paper = self.paper
        return QPointF(paper.left() + x * paper.width(), paper.top() + y * paper.height())

    def _rect(self, box: Box) -> QRectF:
        return QRectF(self.point_of(box[0], box[1]), self.point_of(box[2], box[3]))

    def paintEvent(self, event: QPaintEvent) -> None:
        painter = QPainter(self)
        theme, paper = self._theme, self.paper
        painter.fillRect(self.rect(), look.colour(theme.window))
        painter.fillRect(paper, look.colour(LIGHT.raised))
        if self.image is not None:
            painter.setRenderHint(QPainter.RenderHint.SmoothPixmapTransform)
            painter.drawImage(paper, self._fitting(self.image))
        if self.veiled:
            painter.fillRect(paper, look.colour(LIGHT.raised, 90))
        painter.setPen(QPen(look.colour(theme.faint), 1))
        painter.drawRect(paper)
        if self.image is None:
            self._paint_hint(painter)
        if self.grid is not None:
            painter.setRenderHint(QPainter.RenderHint.Antialiasing)
            self._paint_marks(painter, self.grid)
        painter.end()

    def _fitting(self, image: QImage) -> QImage:
        """The picture in the size that it has on the screen, each pixel the mean of what it
        covers; made once a size."""
        size = self.paper_size * self.devicePixelRatioF()
        key = (image.cacheKey(), size.width(), size.height())
        if size.width() >= image.width():
            return image
        if self._fitted is None or self._fitted[0] != key:
            smooth = Qt.TransformationMode.SmoothTransformation
            made = image.scaled(size, Qt.AspectRatioMode.IgnoreAspectRatio, smooth)
            self._fitted = key, made
        return self._fitted[1]

    def _paint_hint(self, painter: QPainter) -> None:
        """Why there is no picture, over the cells as far as there are any."""
        painter.setPen(QPen(look.colour(LIGHT.line), 1))
        for at in range(len(self.grid.cells) if self.grid is not None else 0):
            painter.drawRect(self._rect(self.grid.outline(at)))
        flags = Qt.AlignmentFlag.AlignCenter | Qt.TextFlag.TextWordWrap
        room = self.paper.adjusted(12, 12, -12, -12)
        words = painter.fontMetrics().boundingRect(room.toRect(), flags, self.hint)
        painter.fillRect(words.adjusted(-6, -4, 6, 4), look.colour(LIGHT.raised))
        painter.setPen(look.colour(LIGHT.muted))
        painter.drawText(room, flags, self.hint)

    def _paint_marks(self, painter: QPainter, grid: SheetGrid) -> None:
        accent = look.colour(LIGHT.accent)  # the paper is white in every theme
        hover = self._hover
        if hover is not None and hover.what in (COLUMNS, ROWS) and self.ghost is None:
            lines = grid.x if hover.what == COLUMNS else grid.y
            at = lines[hover.number]
            box = (at, 0.0, at, 1.0) if hover.what == COLUMNS else (0.0, at, 1.0, at)
            painter.setPen(QPen(accent, 1, Qt.PenStyle.DashLine))
            painter.drawLine(self.point_of(*box[:2]), self.point_of(*box[2:]))
        if self.current is not None:
            self._paint_chosen(painter, grid, self.current)
        if self.hold is not None and self.ghost is not None:
            self._paint_ghost(painter, grid, self.hold, self.ghost)

    def _paint_chosen(self, painter: QPainter, grid: SheetGrid, number: int) -> None:
        accent = look.colour(LIGHT.accent)
        wide = 2.0 if self.hasFocus() else 1.2
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.setPen(QPen(accent, wide))
        painter.drawRect(self._rect(grid.outline(number)))
        painter.setPen(QPen(look.colour(LIGHT.raised), 1))
        painter.setBrush(accent)
        for x, y in handles(grid, number).values():
            at = self.point_of(x, y)
            painter.drawRect(QRectF(at.x() - 5, at.y() - 5, 10, 10))

    def _paint_ghost(self, painter: QPainter, grid: SheetGrid, hold: Hold, ghost: Landing) -> None:
        accent = look.colour(LIGHT.accent)
        painter.setPen(QPen(accent, 2, Qt.PenStyle.DashLine))
        if hold.what in (COLUMNS, ROWS):
            box = line_box(grid, hold, ghost.share)
            painter.drawLine(self.point_of(*box[:2]), self.point_of(*box[2:]))
            self._paint_word(painter, self.point_of(*box[:2]), self.ghost_words)
            return
        painter.setBrush(look.colour(LIGHT.accent, 60))
        rect = self._rect(grid.rect(ghost.row, ghost.col, ghost.rows, ghost.cols))
        painter.drawRect(rect)
        if ghost.other is not None:
            painter.setBrush(look.colour(LIGHT.doubt, 50))
            painter.setPen(QPen(look.colour(LIGHT.doubt), 2, Qt.PenStyle.DashLine))
            painter.drawRect(self._rect(grid.outline(hold.number)))
        self._paint_word(painter, rect.topLeft(), self.ghost_words)

    def _paint_word(self, painter: QPainter, at: QPointF, words: str) -> None:
        painter.setFont(look.small_font())
        size = painter.fontMetrics().boundingRect(words).size()
        plate = QRectF(at.x() + 6, at.y() + 6, size.width() + 12, size.height() + 6)
        plate.moveRight(min(plate.right(), float(self.width() - 4)))
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(look.colour(LIGHT.accent))
        painter.drawRoundedRect(plate, 4, 4)
        painter.setPen(look.colour(LIGHT.on_accent))
        painter.drawText(plate, Qt.AlignmentFlag.AlignCenter, words)

    @property
    def ghost_words(self) -> str:
        """What letting go would do."""
        hold, ghost = self.hold, self.ghost
        if hold is None or ghost is None or self.grid is None:
            return ""
        if hold.what in (COLUMNS, ROWS):
            before, behind = 100.0 * ghost.share, 100.0 * (1.0 - ghost.share)
            return f"{before:.0f} : {behind:.0f}"
        if hold.what in (RIGHT, LOWER):
            rows = "row" if ghost.rows == 1 else "rows"
            cols = "column" if ghost.cols == 1 else "columns"
            return f"over {ghost.rows} {rows}, {ghost.cols} {cols}"
        if ghost.other is not None:
            return "change places"
        same = (ghost.row, ghost.col) == self.grid.cells[hold.number][:2]
        return "stays" if same else "move here"
