"""The things on a profile: its line with the band of its errors, the cursors, a fitted edge, and
the strip of components under the axis."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pyqtgraph as pg
from PySide6.QtCore import QPointF, QRectF, Qt, Signal
from PySide6.QtGui import QBrush, QColor, QFont, QFontMetricsF, QPainter, QPainterPath, QTransform

from .. import theme as look
from ..theme import Theme
from .layer_items import hatch_tile
from .residuals import Dots

Array = np.ndarray
EMPTY = np.empty(0)
FEW = 200
"""A profile of no more points than this shows each of them as a dot."""


class Band(pg.GraphicsObject):
    """The range of ± one standard error, interrupted where there is no value."""

    def __init__(self) -> None:
        super().__init__()
        self._path, self._brush = QPainterPath(), pg.mkBrush(None)
        self.setZValue(-1)

    def set_brush(self, brush: QBrush) -> None:
        self._brush = brush
        self.update()

    def show_range(self, x: Array, low: Array, high: Array) -> None:
        """Fill between two lines; NaN interrupts."""
        self.prepareGeometryChange()
        self._path = QPainterPath()
        for first, last in stretches(np.isfinite(low) & np.isfinite(high)):
            part = slice(first, last)
            around = np.concatenate([x[part], x[part][::-1]])
            edge = np.concatenate([low[part], high[part][::-1]])
            self._path.addPolygon(pg.functions.arrayToQPolygonF(around, edge))

    def boundingRect(self) -> QRectF:
        return self._path.boundingRect()

    def paint(self, painter: QPainter, *_: object) -> None:
        painter.fillPath(self._path, self._brush)


def stretches(keep: Array) -> list[tuple[int, int]]:
    """First and one past the last index of each unbroken stretch of True."""
    change = np.flatnonzero(np.diff(np.concatenate([[False], keep, [False]]).astype(np.int8)))
    return [(int(a), int(b)) for a, b in zip(change[::2], change[1::2], strict=True)]


def lonely(values: Array) -> Array:
    """Mask of the values without a finite neighbour, which a line can't show."""
    there = np.isfinite(values)
    beside = np.zeros_like(there)
    beside[1:] |= there[:-1]
    beside[:-1] |= there[1:]
    return there & ~beside


class ProfileCursor(pg.InfiniteLine):
    """A line across one plot that is dragged along the profile."""

    def __init__(self, letter: str) -> None:
        style = {"position": 0.9, "movable": False, "anchors": [(0.5, 0.5), (0.5, 0.5)]}
        super().__init__(angle=90, movable=True, label=letter, labelOpts=style)
        self.setCursor(Qt.CursorShape.SizeHorCursor)
        self.setZValue(20)
        self.letter = letter

    def show_letter(self, on: bool) -> None:
        """Write its letter on it, or not."""
        self.label.setVisible(on)

    def set_theme(self, theme: Theme, ratio: float, font: QFont) -> None:
        style = Qt.PenStyle.SolidLine if self.letter == "A" else Qt.PenStyle.DashLine
        self.setPen(pg.mkPen(theme.accent, width=round(ratio), style=style))
        self.setHoverPen(pg.mkPen(theme.accent, width=3 * round(ratio)))
        self.label.setColor(theme.on_accent)
        self.label.fill = pg.mkBrush(theme.accent)
        self.label.setFont(font)
        self.label.update()


class Channels(pg.PlotItem):
    """One plot of the stack: one channel against the distance.

    `moved(letter, x)` and `dropped(letter, x)` tell of a cursor that the person drags.
    """

    moved = Signal(str, float)
    dropped = Signal(str, float)

    def __init__(self, box: pg.ViewBox) -> None:
        super().__init__(viewBox=box)
        self.hideButtons()
        self.band, self.dots = Band(), Dots()
        self.line = pg.PlotCurveItem(connect="finite")
        self.fitted = pg.PlotCurveItem()
        self.edges = [pg.InfiniteLine(angle=90) for _ in range(2)]
        self.cursors = {letter: ProfileCursor(letter) for letter in "AB"}
        self.fitted.setZValue(-0.5)
        for item in (self.band, self.line, self.dots, self.fitted, *self.edges,
                     *self.cursors.values()):  # fmt: skip
            self.addItem(item, ignoreBounds=True)
        for letter, cursor in self.cursors.items():
            cursor.hide()
            cursor.sigDragged.connect(lambda c, w=letter: self.moved.emit(w, c.value()))
            cursor.sigPositionChangeFinished.connect(
                lambda c, w=letter: self.dropped.emit(w, c.value()))  # fmt: skip
        self.show_edge(EMPTY, EMPTY, None)

    def show_values(self, x: Array, values: Array, errors: Array | None) -> None:
        self.line.setData(x, values)
        shown = np.isfinite(values) if len(x) <= FEW else lonely(values)
        self.dots.setData(x[shown], values[shown])
        if errors is None:
            self.band.show_range(EMPTY, EMPTY, EMPTY)
        else:
            self.band.show_range(x, values - errors, values + errors)

    def show_edge(self, x: Array, values: Array, between: tuple[float, float] | None) -> None:
        """A fitted line, and the two places between which its width is."""
        self.fitted.setData(x, values)
        for line, at in zip(self.edges, between or (math.nan, math.nan), strict=True):
            line.setVisible(math.isfinite(at))
            if math.isfinite(at):
                line.setValue(at)

    def show_cursor(self, letter: str, at: float) -> None:
        """Put a cursor somewhere, nowhere if not finite; the mouse wins while it has it."""
        cursor = self.cursors[letter]
        cursor.setVisible(math.isfinite(at))
        if math.isfinite(at) and not cursor.moving:
            cursor.setValue(at)

    def set_theme(self, theme: Theme, ratio: float, font: QFont) -> None:
        fine = round(ratio)
        self.line.setPen(pg.mkPen(theme.ink, width=fine))
        self.dots.setPen(pg.mkPen(theme.ink, width=3 * fine))
        self.band.set_brush(QBrush(look.colour(theme.ink, 45)))
        self.fitted.setPen(pg.mkPen(look.colour(theme.ink, 90), width=4 * fine))
        for line in self.edges:
            line.setPen(pg.mkPen(theme.ink, width=fine, style=Qt.PenStyle.DotLine))
        for cursor in self.cursors.values():
            cursor.set_theme(theme, ratio, font)


class Strip(pg.GraphicsObject):
    """Which component each part of the profile lies in: its colour and its letter; hatched where
    there is none."""

    def __init__(self) -> None:
        super().__init__()
        self._parts: list[tuple[float, float, int]] = []
        self._colours: Sequence[str] = ()
        self._letters: Sequence[str] = ()
        self._theme: Theme | None = None
        self._font = QFont()

    @property
    def texts(self) -> list[str]:
        """The letters from left to right; a dash where there is no component."""
        return [self._letters[k] if k >= 0 else "–" for _, _, k in self._parts]

    @property
    def ends(self) -> list[tuple[float, float]]:
        return [(a, b) for a, b, _ in self._parts]

    def show_labels(self, x: Array, labels: Array | None, colours: Sequence[str],
                    letters: Sequence[str]) -> None:  # fmt: skip
        """A part for each stretch of equal labels, from half way to half way between points."""
        self.prepareGeometryChange()
        self._colours, self._letters, self._parts = colours, letters, []
        if labels is not None and len(x):
            borders = np.concatenate([x[:1], (x[1:] + x[:-1]) / 2, x[-1:]])
            starts = np.flatnonzero(np.concatenate([[True], labels[1:] != labels[:-1]]))
            stops = np.append(starts[1:], len(x))
            self._parts = [(float(borders[a]), float(borders[b]), int(labels[a]))
                           for a, b in zip(starts, stops, strict=True)]  # fmt: skip
        self.update()

    def set_theme(self, theme: Theme, font: QFont) -> None:
        self._theme, self._font = theme, QFont(font)
        self._font.setBold(True)
        self.update()

    def boundingRect(self) -> QRectF:
        if not self._parts:
            return QRectF()
        return QRectF(self._parts[0][0], 0.0, self._parts[-1][1] - self._parts[0][0], 1.0)

    def paint(self, painter: QPainter, *_: object) -> None:
        if self._theme is None:
            return
        way, wide = painter.worldTransform(), QFontMetricsF(self._font).horizontalAdvance
        ratio = max(1, round(painter.device().devicePixelRatioF()))
        hatch = QBrush(hatch_tile(self._theme, ratio))
        hatch.setTransform(QTransform.fromScale(1 / ratio, 1 / ratio))
        painter.save()
        painter.setWorldTransform(QTransform())
        painter.setFont(self._font)
        for first, last, label in self._parts:
            area = QRectF(way.map(QPointF(first, 0.0)), way.map(QPointF(last, 1.0))).normalized()
            if label < 0:
                painter.fillRect(area, look.colour(self._theme.no_value))
                painter.fillRect(area, hatch)
                continue
            filled = look.colour(self._colours[label])
            painter.fillRect(area, filled)
            if area.width() >= wide(self._letters[label]) + 2:
                bright = luminance(filled) > 0.18  # there, black and white stand out alike
                painter.setPen(look.colour(self._theme.dark_edge if bright
                                           else self._theme.light_edge))  # fmt: skip
                painter.drawText(area, Qt.AlignmentFlag.AlignCenter, self._letters[label])
        painter.restore()


def luminance(colour: QColor) -> float:
    """Relative luminance, 0 (black) to 1 (white), as the Web Content Accessibility Guidelines
    2.2 define it for sRGB."""
    parts = (colour.redF(), colour.greenF(), colour.blueF())
    r, g, b = (p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts)
    return 0.2126 * r + 0.7152 * g + 0.0722 * b
