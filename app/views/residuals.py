"""The small plot under a curve: residuals of the fit in units of the noise."""

from __future__ import annotations

import numpy as np
import pyqtgraph as pg
from PySide6.QtCore import QRectF, Qt
from PySide6.QtGui import QPainter, QPen, QPolygonF

from ..theme import Theme

Array = np.ndarray
STEPS = (4.0, 10.0, 20.0, 50.0, 100.0, 1000.0)
"""Half the height of the plot is one of these, so that it hardly ever jumps."""


class Dots(pg.GraphicsObject):
    """Square dots of a few device pixels; much lighter than a scatter plot of symbols."""

    def __init__(self) -> None:
        super().__init__()
        self.x, self.y = np.empty(0), np.empty(0)
        self._points, self._pen = QPolygonF(), QPen()

    def setData(self, x: Array, y: Array) -> None:
        self.prepareGeometryChange()
        self.x, self.y = x, y
        self._points = pg.functions.arrayToQPolygonF(x, y) if len(x) else QPolygonF()

    def setPen(self, pen: QPen) -> None:
        self._pen = pen
        self.update()

    def boundingRect(self) -> QRectF:
        return self._points.boundingRect().adjusted(-1.0, -1.0, 1.0, 1.0)

    def paint(self, painter: QPainter, *_: object) -> None:
        painter.setPen(self._pen)
        painter.drawPoints(self._points)


class ResidualPlot:
    """Dots about zero, with lines at ±2 noises; its x axis follows the curve's."""

    def __init__(self, canvas: pg.GraphicsLayoutWidget, box: pg.ViewBox, above: pg.PlotItem
                 ) -> None:  # fmt: skip
        self.box = box
        self.plot = canvas.addPlot(row=1, col=0, viewBox=box)
        self.plot.hideButtons()
        self.plot.setXLink(above)
        self.plot.setMouseEnabled(x=True, y=False)
        self.plot.setLabel("left", "r / σ")
        canvas.ci.layout.setRowStretchFactor(0, 4)
        canvas.ci.layout.setRowStretchFactor(1, 1)
        self.plot.setMinimumHeight(96)
        self.dots = Dots()
        self.guides = [pg.InfiniteLine(pos=at, angle=0) for at in (-2.0, 0.0, 2.0)]
        for item in (*self.guides, self.dots):
            self.plot.addItem(item, ignoreBounds=True)
        self._half = 0.0
        self._show_half(STEPS[0])

    def show(self, x: Array, residual: Array) -> None:
        """x on the axis of the curve; residuals in units of the noise."""
        if x.size != residual.size:  # no branch to put them on
            x = residual = np.empty(0)
        keep = np.isfinite(x) & np.isfinite(residual)
        self.dots.setData(x[keep], residual[keep])
        size = float(np.percentile(np.abs(residual[keep]), 99.0)) if keep.any() else 0.0
        self._show_half(next((s for s in STEPS if s >= size), STEPS[-1]))

    def _show_half(self, half: float) -> None:
        if half != self._half:
            self._half = half
            self.box.setYRange(-half, half, padding=0.0)
            axis = self.plot.getAxis("left")
            marks = (-half / 2, 0.0, half / 2)
            axis.setTicks([[(m, f"{m:g}") for m in marks]])

    def set_theme(self, theme: Theme, ratio: float) -> None:
        self.dots.setPen(pg.mkPen(theme.ink, width=3 * round(ratio)))
        for line in self.guides:
            style = Qt.PenStyle.SolidLine if line.value() == 0.0 else Qt.PenStyle.DashLine
            line.setPen(pg.mkPen(theme.faint, width=round(ratio), style=style))
