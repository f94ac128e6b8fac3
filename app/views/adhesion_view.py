"""The adhesion map: where the pixels stand among the regimes of adhesive contact."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pyqtgraph as pg
from PySide6.QtCore import QPointF, QSize, Qt, Signal
from PySide6.QtGui import QFontMetrics
from PySide6.QtWidgets import QVBoxLayout, QWidget

from .. import theme as look
from ..theme import LIGHT, Theme

NEAR = 14.0
"""A click picks the nearest point that is not further away than this [px]."""
MANY = 1000
"""So many points are drawn smaller."""
TITLES = {"bottom": "Transition parameter λ", "left": "Load F/(π w R)"}


class PointBox(pg.ViewBox):
    """The area of the points: clicks are told, the wheel zooms, a left drag moves."""

    clicked = Signal(object)
    fitted = Signal()

    def __init__(self) -> None:
        super().__init__(enableMenu=False)

    def mouseClickEvent(self, ev: Any) -> None:
        if ev.button() == Qt.MouseButton.LeftButton:
            ev.accept()
            (self.fitted.emit if ev.double() else lambda: self.clicked.emit(ev.scenePos()))()


class Points(pg.ScatterPlotItem):
    """Points whose clicks belong to the area, which takes the nearest one."""

    def mouseClickEvent(self, ev: Any) -> None:
        ev.ignore()


class AdhesionView(QWidget):
    """Signal picked(row, col): the pixel of a point that was clicked."""

    picked = Signal(int, int)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._theme: Theme = LIGHT
        self._x = self._y = np.empty(0)
        self._pixels = np.empty((0, 2), int)
        self._picked: tuple[int, int] | None = None
        self._edges: list[pg.PlotCurveItem] = []
        self._names: list[pg.TextItem] = []
        self.box = PointBox()
        self.plot = pg.PlotWidget(viewBox=self.box)
        self.plot.hideButtons()
        self.plot.setFrameShape(self.plot.Shape.NoFrame)
        self.plot.setAccessibleName("Adhesion map")
        self.plot.setToolTip("Each point is a pixel; click one to pick it. A double click shows "
                             "all.")  # fmt: skip
        self.points = Points(pxMode=True, size=5)
        self.mark = Points(pxMode=True, size=13, symbol="s")
        self.rim = Points(pxMode=True, size=13, symbol="s")  # so that the mark shows on points
        self.mark.setZValue(20)
        self.rim.setZValue(19)
        for item in (self.points, self.rim, self.mark):
            self.plot.addItem(item)
        self.box.clicked.connect(self._clicked)
        self.box.fitted.connect(self.fit)
        box = QVBoxLayout(self)
        box.setContentsMargins(0, 0, 0, 0)
        box.addWidget(self.plot)
        self.set_theme(LIGHT)

    def set_theme(self, theme: Theme) -> None:
        self._theme = theme
        font = look.small_font()
        self.plot.setBackground(theme.panel)
        for side, title in TITLES.items():
            axis = self.plot.getAxis(side)
            axis.setPen(theme.faint)
            axis.setTextPen(theme.muted)
            axis.setTickFont(font)
            axis.label.setFont(font)
            axis.enableAutoSIPrefix(False)
            axis.setLogMode(**{"x" if side == "bottom" else "y": True})
            self.plot.setLabel(side, title)
        self.plot.getAxis("left").setWidth(QFontMetrics(font).horizontalAdvance("0.0001") + 26)
        self.points.setPen(None)
        self.points.setBrush(pg.mkBrush(look.colour(theme.muted, 110)))
        self.mark.setPen(pg.mkPen(theme.accent, width=2))
        self.rim.setPen(pg.mkPen(theme.panel, width=6))
        for item in (self.mark, self.rim):
            item.setBrush(pg.mkBrush(None))
        for edge in self._edges:
            edge.setPen(pg.mkPen(theme.ink, width=1))
        for name in self._names:
            name.setColor(look.colour(theme.ink))
            name.fill = pg.mkBrush(look.colour(theme.panel, 190))
            name.setFont(font)

    # -- what is shown --------------------------------------------------------------------------

    def show_map(self, drawn: Any) -> None:
        """Show an `AdhesionMap`: points, edges (label, x, y) and names (label, x, y)."""
        self.clear()
        good = np.isfinite(drawn.x) & np.isfinite(drawn.y)
        self._x, self._y = np.asarray(drawn.x)[good], np.asarray(drawn.y)[good]
        self._pixels = np.asarray(drawn.pixels)[good]
        self.points.setData(self._x, self._y)
        self.points.setSize(5 if len(self._x) < MANY else 3)
        for _, x, y in drawn.edges:
            edge = pg.PlotCurveItem(np.asarray(x, float), np.asarray(y, float), connect="finite")
            self.plot.addItem(edge, ignoreBounds=True)
            self._edges.append(edge)
        for label, x, y in drawn.names:
            name = pg.TextItem(label, anchor=(0.5, 0.5))
            name.setPos(float(x), float(y))
            self.plot.addItem(name, ignoreBounds=True)
            self._names.append(name)
        self.set_theme(self._theme)
        self.show_picked(self._picked)
        self.fit()

    def fit(self) -> None:
        """All points and the names of the regimes in sight."""
        places = [name.pos() for name in self._names]
        x = [*self._x, *(place.x() for place in places)]
        y = [*self._y, *(place.y() for place in places)]
        if x:
            self.box.setRange(xRange=(min(x), max(x)), yRange=(min(y), max(y)), padding=0.08)

    def show_picked(self, pixel: tuple[int, int] | None) -> None:
        """Mark the picked pixel; None, or one without a point, marks none."""
        self._picked = pixel
        here = np.zeros(len(self._pixels), bool)
        if pixel is not None and len(self._pixels):
            here = (self._pixels == np.asarray(pixel)).all(axis=1)
        for item in (self.mark, self.rim):
            item.setData(self._x[here], self._y[here])

    def clear(self) -> None:
        for item in (*self._edges, *self._names):
            self.plot.removeItem(item)
        self._edges, self._names = [], []
        self._x = self._y = np.empty(0)
        self._pixels = np.empty((0, 2), int)
        for item in (self.points, self.mark, self.rim):
            item.setData([], [])

    # -- what the person does -------------------------------------------------------------------

    def scene_at(self, row: int, col: int) -> QPointF:
        """Where a pixel's point stands, as a place of the scene."""
        here = np.flatnonzero((self._pixels == (row, col)).all(axis=1))[0]
        return self.box.mapViewToScene(QPointF(self._x[here], self._y[here]))

    def _clicked(self, scene: QPointF) -> None:
        if not self._x.size:
            return
        at = self.box.mapSceneToView(scene)
        wide, high = self.box.viewPixelSize()
        away = np.hypot((self._x - at.x()) / wide, (self._y - at.y()) / high)
        nearest = int(np.argmin(away))
        if math.isfinite(away[nearest]) and away[nearest] <= NEAR:
            self.picked.emit(*(int(v) for v in self._pixels[nearest]))

    def sizeHint(self) -> QSize:
        return QSize(340, 320)
