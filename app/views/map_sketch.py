"""What is being drawn on a map right now: a rectangle, a loop, a brush stroke, a line."""

from __future__ import annotations

import numpy as np
import pyqtgraph as pg
from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QPainter, QPainterPath, QPen, QTransform

from .. import theme as look
from ..theme import Theme
from .map_places import outline

Array = np.ndarray


class Sketch(pg.GraphicsObject):
    """The shape under the mouse, with the ring of the brush. Points in nm."""

    def __init__(self) -> None:
        super().__init__()
        self.setZValue(35)
        self._kind, self._points, self._radius = "", np.empty((0, 2)), 0.0
        self._ring: tuple[float, float] | None = None
        self._how, self._factor = "new", 1.0
        self._theme: Theme | None = None
        self._area = QRectF()

    def set_theme(self, theme: Theme) -> None:
        self._theme = theme
        self.update()

    def set_area(self, area: QRectF, factor: float) -> None:
        """Where things may be drawn, in the view's unit, of which there are `factor` per nm."""
        self.prepareGeometryChange()
        self._area, self._factor = area, factor

    def boundingRect(self) -> QRectF:
        return self._area

    def show_shape(self, kind: str, points: list[tuple[float, float]] | Array,
                   radius: float = 0.0, how: str = "new") -> None:  # fmt: skip
        """Draw "rectangle", "polygon", "line" or "brush"; no points draw nothing."""
        self._kind, self._radius, self._how = kind, radius, how
        self._points = np.asarray(points, float).reshape(-1, 2)
        self.update()

    def show_ring(self, at: tuple[float, float] | None, radius: float = 0.0) -> None:
        """The ring of the brush about the pointer; None takes it away."""
        self._ring, self._radius = at, radius
        self.update()

    @property
    def points(self) -> Array:
        return self._points

    @property
    def ring(self) -> tuple[float, float] | None:
        return self._ring

    def paint(self, painter: QPainter, *_: object) -> None:
        if self._theme is None or (not len(self._points) and self._ring is None):
            return
        way = painter.worldTransform()
        way.scale(self._factor, self._factor)
        painter.save()
        painter.setWorldTransform(QTransform())
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        if len(self._points):
            self._paint_shape(painter, way)
        if self._ring is not None:
            ring = QPainterPath()
            ring.addEllipse(QPointF(*self._ring), self._radius, self._radius)
            self._stroke(painter, way.map(ring))
        painter.restore()

    def _paint_shape(self, painter: QPainter, way: QTransform) -> None:
        theme = self._theme
        taking = self._how == "take away"
        fill = look.colour(theme.dark_edge, 130) if taking else look.colour(theme.light_edge, 110)
        if self._kind == "brush":
            line = way.map(outline("line", self._points))
            pen = QPen(fill, 2.0 * self._radius * abs(way.m11()))
            pen.setCapStyle(Qt.PenCapStyle.RoundCap)
            pen.setJoinStyle(Qt.PenJoinStyle.RoundJoin)
            painter.setPen(pen)
            if len(self._points) == 1:
                painter.drawPoint(way.map(QPointF(*self._points[0])))
            else:
                painter.strokePath(line, pen)
            return
        path = way.map(outline(self._kind, self._points))
        if self._kind != "line":
            painter.fillPath(path, fill)
        self._stroke(painter, path)

    def _stroke(self, painter: QPainter, path: QPainterPath) -> None:
        """Light with a dark rim; dashed where something is taken away."""
        dashed = self._how == "take away"
        style = Qt.PenStyle.DashLine if dashed else Qt.PenStyle.SolidLine
        painter.strokePath(path, pg.mkPen(look.colour(self._theme.dark_edge), width=3))
        painter.strokePath(path, pg.mkPen(look.colour(self._theme.light_edge), width=1,
                                          style=style))  # fmt: skip
