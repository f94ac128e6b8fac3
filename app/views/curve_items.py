"""The things on a curve: one look each, used by the plot and by its legend alike."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pyqtgraph as pg
from PySide6.QtCore import QPointF, QRectF, Qt, Signal
from PySide6.QtGui import QBrush, QPainter, QPen, QPolygonF
from PySide6.QtWidgets import QGraphicsItem

from .. import theme as look
from ..theme import Theme
from .map_items import Marks
from .symbols import paint_symbol

Array = np.ndarray
LINE, SYMBOL, FILL = "line", "symbol", "fill"
EMPTY = np.empty(0)


@dataclass(frozen=True)
class Look:
    """How one thing is drawn.

    `colour` names a field of the theme; `width` and `size` in px; `symbol` as pyqtgraph
    names it; `level` is its place from back to front.
    """

    name: str
    label: str
    kind: str
    colour: str
    level: int
    style: Qt.PenStyle = Qt.PenStyle.SolidLine
    width: float = 1.0
    symbol: str = ""
    hollow: bool = False
    size: float = 11.0
    alpha: int = 255

    def pen(self, theme: Theme, ratio: float = 1.0) -> QPen:
        """The pen; `ratio` is how many device pixels a pixel of the window has."""
        colour = look.colour(getattr(theme, self.colour))
        if self.alpha < 255:
            colour.setAlpha(self.alpha)
        pen = pg.mkPen(colour, width=round(self.width * ratio), style=self.style)
        if self.style == Qt.PenStyle.DashLine:
            pen.setDashPattern([6, 4])
        return pen


LOOKS: dict[str, Look] = {
    each.name: each
    for each in (
        Look("approach", "Approach", LINE, "approach", 2),
        Look("retract", "Retract", LINE, "retract", 1, Qt.PenStyle.DashLine),
        Look("baseline", "Baseline, free part", LINE, "muted", 3, width=3.0),
        Look("contact", "Contact point z₀", SYMBOL, "ink", 12, symbol="o", hollow=True, size=12.0),
        Look("peak", "Peak", SYMBOL, "ink", 10, symbol="t1"),
        Look("window", "Fit window", FILL, "window_fill", -5),
        Look("law", "Fitted law, E", LINE, "ink", 0, width=4.0, alpha=90),
        Look("slope", "Stiffness", LINE, "ink", 5, Qt.PenStyle.DotLine, 2.0),
        Look("adhesion", "Adhesion", SYMBOL, "adhesion", 11, symbol="d"),
        Look("work", "Dissipated energy", FILL, "work", -10),
        Look("doubt", "Doubt seen here", LINE, "doubt", 7, width=5.0, alpha=170),
    )
}
"""All that can be on a curve, in the order of the legend."""
OTHER = Look("other", "Another law", LINE, "ink", 6, Qt.PenStyle.DashDotLine)
"""A law that is compared with the one in use; the note under the curve names it."""
REFERENCE = Look("reference", "Reference, E", LINE, "ink", 7, Qt.PenStyle.DashLine, 2.0)
"""The fit of the result that is held as reference; in the legend while there is one."""
BESIDE = {each.name: each for each in (OTHER, REFERENCE)}
"""What is drawn beside the fit in use."""


class Marker(QGraphicsItem):
    """One symbol at one place, always of the same size on the screen."""

    def __init__(self, what: Look) -> None:
        super().__init__()
        self.setFlag(QGraphicsItem.GraphicsItemFlag.ItemIgnoresTransformations)
        self.setZValue(what.level)
        self._look, self._style = what, (QPen(), QBrush())
        self.place(math.nan, math.nan)

    @property
    def at(self) -> tuple[float, float] | None:
        """Where it stands on the axes; None if nowhere."""
        return (self.x(), self.y()) if self.isVisible() else None

    def place(self, x: float, y: float) -> None:
        """Put it somewhere; nowhere if not finite."""
        there = math.isfinite(x) and math.isfinite(y)
        self.setVisible(there)
        if there:
            self.setPos(x, y)

    def set_theme(self, theme: Theme) -> None:
        self._style = symbol_style(self._look, theme)
        self.update()

    def boundingRect(self) -> QRectF:
        half = self._look.size / 2 + 2
        return QRectF(-half, -half, 2 * half, 2 * half)

    def paint(self, painter: QPainter, *_: object) -> None:
        paint_symbol(painter, self._look.symbol, QPointF(), self._look.size, *self._style)


class Area(pg.GraphicsObject):
    """The light fill between the branches, without an outline."""

    def __init__(self) -> None:
        super().__init__()
        self._polygon, self._brush = QPolygonF(), pg.mkBrush(None)

    def setBrush(self, brush: object) -> None:
        self._brush = pg.mkBrush(brush)
        self.update()

    def setData(self, x: Array, y: Array) -> None:
        """The corners, in order round the area."""
        self.prepareGeometryChange()
        self._polygon = pg.functions.arrayToQPolygonF(x, y) if len(x) else QPolygonF()

    def boundingRect(self) -> QRectF:
        return self._polygon.boundingRect()

    def paint(self, painter: QPainter, *_: object) -> None:
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(self._brush)
        painter.drawPolygon(self._polygon, Qt.FillRule.WindingFill)


class FitWindow(pg.LinearRegionItem):
    """The fit window: its edges and its body can be dragged along the x axis.

    pyqtgraph's region also signals when the program moves it. The signals here tell only what the
    person did: `dragging` at each move, `dropped` once at the end.
    """

    dragging = Signal(float, float)
    dropped = Signal(float, float)

    def __init__(self) -> None:
        super().__init__(swapMode="block")
        self._placing = False
        for line in self.lines:
            line.setCursor(Qt.CursorShape.SizeHorCursor)
        self.sigRegionChanged.connect(self._moved)
        self.sigRegionChangeFinished.connect(self._finished)
        self.setZValue(LOOKS["window"].level)

    @property
    def held(self) -> bool:
        """True while the mouse has an edge or the body."""
        return self.moving or any(line.moving for line in self.lines)

    def place(self, ends: tuple[float, float] | None) -> None:
        """Put the region where the program wants it; while it is held, the mouse wins."""
        if self.held and ends is not None:
            return
        self.setVisible(ends is not None)
        if ends is not None:
            self._placing = True
            self.setRegion(ends)
            self._placing = False

    def set_theme(self, theme: Theme, ratio: float) -> None:
        fill = look.colour(theme.window_fill)
        self.setBrush(fill)
        self.setHoverBrush(look.colour(theme.window_fill, min(255, fill.alpha() * 2)))
        for line in self.lines:
            line.setPen(pg.mkPen(theme.accent, width=round(ratio)))
            line.setHoverPen(pg.mkPen(theme.accent, width=3 * round(ratio)))
        self.update()

    def _moved(self) -> None:
        if not self._placing and self.held:
            self.dragging.emit(*self.getRegion())

    def _finished(self) -> None:
        if not self._placing:
            self.dropped.emit(*self.getRegion())


class ContactLine(pg.InfiniteLine):
    """The contact point as a line that can be dragged along the x axis, while single pixels are
    being corrected. Signals, for the person's hand only: dragging(x), dropped(x)."""

    dragging = Signal(float)
    dropped = Signal(float)

    def __init__(self) -> None:
        super().__init__(angle=90, movable=True)
        self.setCursor(Qt.CursorShape.SizeHorCursor)
        self.setZValue(LOOKS["contact"].level - 2)
        self.sigDragged.connect(lambda _: self.dragging.emit(self.value()))
        self.sigPositionChangeFinished.connect(lambda _: self.dropped.emit(self.value()))
        self.place(math.nan)

    @property
    def held(self) -> bool:
        """True while the mouse has it."""
        return self.moving

    def place(self, x: float) -> None:
        """Put it where the program wants it, nowhere if not finite; while it is held, the mouse
        wins."""
        if self.held:
            return
        self.setVisible(math.isfinite(x))
        if math.isfinite(x):
            self.setValue(x)

    def set_theme(self, theme: Theme, ratio: float) -> None:
        self.setPen(pg.mkPen(theme.accent, width=round(ratio), style=Qt.PenStyle.DashLine))
        self.setHoverPen(pg.mkPen(theme.accent, width=3 * round(ratio)))


class CurveItems:
    """All items of the upper plot, made once and given new data for ever."""

    def __init__(self, plot: pg.PlotItem) -> None:
        self.lines = {n: pg.PlotCurveItem(skipFiniteCheck=True) for n in
                      ("approach", "retract", "law", "slope", "doubt")}  # fmt: skip
        self.lines["baseline"] = pg.PlotCurveItem(connect="pairs")
        self.lines["zero"] = pg.PlotCurveItem(connect="pairs")
        self.lines["drop"] = pg.PlotCurveItem()
        for name, what in BESIDE.items():
            self.lines[name] = pg.PlotCurveItem()
            self.lines[name].setZValue(what.level)
        self.marks = Marks(pxMode=True, size=11.0, brush=None)
        self.marks.setZValue(LOOKS["contact"].level - 1)
        self.points = {n: Marker(LOOKS[n]) for n in ("contact", "peak", "adhesion")}
        self.work, self.window, self.hand = Area(), FitWindow(), ContactLine()
        self.work.setZValue(LOOKS["work"].level)
        self.lines["zero"].setZValue(0)
        self.lines["drop"].setZValue(LOOKS["adhesion"].level - 1)
        for name, item in self.lines.items():
            if name in LOOKS:
                item.setZValue(LOOKS[name].level)
        for item in (*self.lines.values(), *self.points.values(), self.work, self.window,
                     self.marks, self.hand):  # fmt: skip
            plot.addItem(item, ignoreBounds=True)
        self.window.place(None)

    def set_theme(self, theme: Theme, ratio: float) -> None:
        """Take the colours anew; `ratio` is how many device pixels a pixel of the window has
        (pyqtgraph's pens count device pixels)."""
        for name, item in self.lines.items():
            if name in LOOKS:
                item.setPen(LOOKS[name].pen(theme, ratio))
        fine = round(ratio)
        for name, what in BESIDE.items():
            self.lines[name].setPen(what.pen(theme, ratio))
        self.marks.setPen(pg.mkPen(theme.ink, width=fine))
        self.lines["zero"].setPen(pg.mkPen(theme.muted, width=fine))
        self.lines["drop"].setPen(pg.mkPen(theme.adhesion, width=fine))
        for item in self.points.values():
            item.set_theme(theme)
        self.work.setBrush(look.colour(theme.work))
        self.window.set_theme(theme, ratio)
        self.hand.set_theme(theme, ratio)

    def set_line(self, name: str, x: Array, y: Array) -> None:
        self.lines[name].setData(x, y)

    def set_point(self, name: str, x: float, y: float) -> None:
        """One marker; nowhere if not finite."""
        self.points[name].place(x, y)

    def set_marks(self, symbols: list[str], x: Array, y: Array) -> None:
        """Contact points by other methods, each with the symbol of its method."""
        self.marks.setData(x, y, symbol=symbols)

    def clear(self) -> None:
        self.marks.setData(EMPTY, EMPTY)
        for item in self.lines.values():
            item.setData(EMPTY, EMPTY)
        for item in self.points.values():
            item.place(math.nan, math.nan)
        self.work.setData(EMPTY, EMPTY)
        self.window.place(None)
        self.hand.place(math.nan)


def symbol_style(what: Look, theme: Theme) -> tuple[QPen, QBrush]:
    """Pen and brush of a marker: filled with a rim of the background, or a ring."""
    colour = look.colour(getattr(theme, what.colour))
    if what.hollow:
        return pg.mkPen(colour, width=2), pg.mkBrush(None)
    return pg.mkPen(look.colour(theme.panel), width=1), pg.mkBrush(colour)


def paint_swatch(painter: QPainter, area: QRectF, what: Look, theme: Theme) -> None:
    """The look of one thing, for the legend."""
    middle, ratio = area.center(), painter.device().devicePixelRatioF()
    if what.kind == FILL:
        painter.fillRect(area, look.colour(getattr(theme, what.colour)))
        if what.name == "window":
            painter.setPen(pg.mkPen(theme.accent, width=round(ratio)))
            for x in (area.left(), area.right()):
                painter.drawLine(QPointF(x, area.top()), QPointF(x, area.bottom()))
    elif what.kind == LINE:
        painter.setPen(what.pen(theme, ratio))
        painter.drawLine(QPointF(area.left(), middle.y()), QPointF(area.right(), middle.y()))
    else:
        paint_symbol(painter, what.symbol, middle, what.size, *symbol_style(what, theme))
