"""Another picture of the same place over a map: grey, as see-through as wanted, or side by side."""

from __future__ import annotations

import numpy as np
import pyqtgraph as pg
from PySide6.QtCore import QPointF, QRectF, Qt, Signal
from PySide6.QtGui import QPainter, QPen, QTransform
from PySide6.QtWidgets import QGraphicsItem, QGraphicsRectItem

from .. import theme as look
from ..theme import Theme
from . import scales

Array = np.ndarray


class Divider(pg.GraphicsObject):
    """The line between the map on the left and the picture on the right; it can be dragged.

    `dragged` tells the share of the map's width at each move, `dropped` once at the end.
    """

    dragged = Signal(float)
    dropped = Signal(float)
    GRIP = 7.0

    def __init__(self) -> None:
        super().__init__()
        self.setZValue(27)
        self.setCursor(Qt.CursorShape.SplitHCursor)
        self._area, self.share = QRectF(0, 0, 1, 1), 0.5
        self._theme: Theme | None = None
        self.hide()

    def set_theme(self, theme: Theme) -> None:
        self._theme = theme
        self.update()

    def set_area(self, area: QRectF) -> None:
        self.prepareGeometryChange()
        self._area = area

    def set_share(self, share: float) -> None:
        self.prepareGeometryChange()
        self.share = min(max(share, 0.0), 1.0)
        self.update()

    @property
    def x(self) -> float:
        """Where it stands, in the unit of the view."""
        return self._area.left() + self.share * self._area.width()

    def share_at(self, x: float) -> float:
        """The share of the width at a place of the view."""
        return min(max((x - self._area.left()) / self._area.width(), 0.0), 1.0)

    def boundingRect(self) -> QRectF:
        pixel = self.pixelWidth() if self.getViewBox() is not None else 0.0
        half = self.GRIP * (pixel or 0.0)
        return QRectF(self.x - half, self._area.top(), 2 * half, self._area.height())

    def viewTransformChanged(self) -> None:
        self.prepareGeometryChange()

    def mouseDragEvent(self, ev: object) -> None:
        if ev.button() != Qt.MouseButton.LeftButton:
            ev.ignore()
            return
        ev.accept()
        self.set_share(self.share_at(ev.pos().x()))
        (self.dropped if ev.isFinish() else self.dragged).emit(self.share)

    def mouseClickEvent(self, ev: object) -> None:
        ev.ignore()

    def paint(self, painter: QPainter, *_: object) -> None:
        if self._theme is None:
            return
        way = painter.worldTransform()
        top, bottom = (way.map(QPointF(self.x, y)) for y in (self._area.bottom(), self._area.top()))
        painter.save()
        painter.setWorldTransform(QTransform())
        painter.setRenderHint(QPainter.RenderHint.Antialiasing, False)
        for colour, width in ((self._theme.dark_edge, 3), (self._theme.light_edge, 1)):
            painter.setPen(QPen(look.colour(colour), width))
            painter.drawLine(top, bottom)
        middle = (top + bottom) / 2
        grip = QRectF(middle.x() - 6, middle.y() - 14, 12, 28)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.setPen(QPen(look.colour(self._theme.dark_edge), 1))
        painter.setBrush(look.colour(self._theme.light_edge))
        painter.drawRoundedRect(grip, 3, 3)
        for x in (-2, 2):
            painter.drawLine(middle + QPointF(x, -7), middle + QPointF(x, 7))
        painter.restore()


class Picture:
    """The picture's items: an image that a frame cuts off at the divider.

    Parameters
    ----------
    box : the area of the map
    """

    def __init__(self, box: pg.ViewBox) -> None:
        self.frame = QGraphicsRectItem()
        self.frame.setFlag(QGraphicsItem.GraphicsItemFlag.ItemClipsChildrenToShape)
        self.frame.setPen(QPen(Qt.PenStyle.NoPen))
        self.frame.setZValue(5)
        self.image = pg.ImageItem(axisOrder="row-major")
        self.image.setParentItem(self.frame)
        self.divider = Divider()
        for item in (self.frame, self.divider):
            box.addItem(item, ignoreBounds=True)
        self._area, self._opacity, self.split = QRectF(0, 0, 1, 1), 0.5, False
        self._grid, self._factor = QTransform(), 1.0
        self._own: QTransform | None = None
        self._there = False
        self.divider.dragged.connect(lambda _: self._cut())
        self.divider.dropped.connect(lambda _: self._cut())
        grey = np.arange(255, dtype=np.uint8)
        table = np.stack([grey, grey, grey, np.full(255, 255, np.uint8)], axis=1)
        self.image.setLookupTable(np.concatenate([table, np.zeros((1, 4), np.uint8)]))
        self._show()

    def place(self, grid: QTransform, area: QRectF, factor: float) -> None:
        """Follow the map: its pixels to the view, its area, and the view's unit per nm."""
        self._grid, self._area, self._factor = grid, area, factor
        self.divider.set_area(area)
        self._lay()

    def show_values(self, values: Array | None, transform: QTransform | None) -> None:
        self._there, self._own = values is not None, transform
        if values is not None:
            values = np.asarray(values, float)
            if values.ndim != 2 or not values.size:
                raise ValueError("a picture to lay over the map has rows and columns of grey")
            index = scales.colour_index(values, *scales.robust_limits(values))
            self.image.setImage(index, autoLevels=False, levels=(0, 255))
        self._lay()

    def set_opacity(self, opacity: float) -> None:
        self._opacity = min(max(opacity, 0.0), 1.0)
        self._show()

    def set_split(self, on: bool, share: float | None = None) -> None:
        self.split = on
        if share is not None:
            self.divider.set_share(share)
        self._show()

    def set_share(self, share: float) -> None:
        """Move the divider."""
        self.divider.set_share(share)
        self._cut()

    def _lay(self) -> None:
        """Put the image in its place: on the map's grid, or by its own transform to nm."""
        if self._own is None:
            self.image.setTransform(self._grid)
        else:
            self.image.setTransform(self._own * QTransform.fromScale(self._factor, self._factor))
        self._show()

    def _show(self) -> None:
        split = self._there and self.split
        self.frame.setVisible(self._there)
        self.divider.setVisible(split)
        self.image.setOpacity(1.0 if split else self._opacity)
        self._cut()

    def _cut(self) -> None:
        area = QRectF(self._area)
        if self.split:
            area.setLeft(self.divider.x)
        self.frame.setRect(area)
        self.frame.setBrush(Qt.BrushStyle.NoBrush)
