"""What the histogram and the joint histogram share: axes in decades, drawing by hand, a legend."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
import pyqtgraph as pg
from PySide6.QtCore import QPointF, QRectF, Qt, Signal
from PySide6.QtGui import QPainter, QPaintEvent
from PySide6.QtWidgets import QSizePolicy, QWidget

from ...core.channels import Channel
from .. import theme as look
from ..theme import LIGHT, Theme
from .component_look import look_of, paint_swatch
from .symbols import rich

Array = np.ndarray
EDGE = 0.005
"""Share of the pixels at each end that may lie beyond what is shown at first."""


class DrawBox(pg.ViewBox):
    """The area of a distribution: a left drag draws, the middle button moves, the wheel zooms.

    Signals
    -------
    drawing(points, modifiers), drawn(points, modifiers) : view coordinates, while and when
    doubled(point) : a double click at a place
    asked(point) : a right click at a place
    """

    drawing = Signal(object, object)
    drawn = Signal(object, object)
    doubled = Signal(object)
    asked = Signal(object)

    def __init__(self) -> None:
        super().__init__(enableMenu=False, defaultPadding=0.0)
        self._path: list[QPointF] = []

    def mouseClickEvent(self, ev: Any) -> None:
        if ev.button() == Qt.MouseButton.LeftButton and ev.double():
            ev.accept()
            self.doubled.emit(self.mapSceneToView(ev.scenePos()))
        elif ev.button() == Qt.MouseButton.RightButton:
            ev.accept()
            self.asked.emit(self.mapSceneToView(ev.scenePos()))

    def mouseDragEvent(self, ev: Any, axis: int | None = None) -> None:
        if ev.button() == Qt.MouseButton.MiddleButton:
            super().mouseDragEvent(ev, axis)
            return
        if ev.button() != Qt.MouseButton.LeftButton:
            return
        ev.accept()
        if ev.isStart():
            self._path = [self.mapSceneToView(ev.buttonDownScenePos())]
        self._path.append(self.mapSceneToView(ev.scenePos()))
        points = [(p.x(), p.y()) for p in self._path]
        (self.drawn if ev.isFinish() else self.drawing).emit(points, ev.modifiers())


class DecadeAxis(pg.AxisItem):
    """An axis that, where it is logarithmic, writes 1, 2, 5 of a decade and marks the rest."""

    def logTickValues(self, low: float, high: float, size: float, std: Any) -> Any:
        decades = range(math.floor(low), math.ceil(high) + 1)
        inside = [(n, d + math.log10(n)) for d in decades for n in range(1, 10)]
        inside = [(n, at) for n, at in inside if low <= at <= high]
        room = size / max(high - low, 1e-9)  # px a decade
        written = {1, 2, 5} if room > 90.0 else {1}
        if room > 400.0:
            written = set(range(1, 10))
        major = [at for n, at in inside if n in written]
        if len(major) < 2:  # less than a decade is shown: even steps of the number itself
            return self._even(low, high, size)
        return [(1.0, major), (None, [at for n, at in inside if n not in written])]

    def _even(self, low: float, high: float, size: float) -> Any:
        first, last = 10.0**low, 10.0**high
        levels = self.tickSpacing(first, last, size)
        step = levels[0][0]
        at = np.arange(math.ceil(first / step), math.floor(last / step) + 1) * step
        return [(1.0, list(np.log10(at[at > 0.0])))]

    def tickStrings(self, values: Any, scale: float, spacing: Any) -> list[str]:
        if self.logMode:
            return [f"{10.0**value:.4g}" if spacing is not None else "" for value in values]
        return super().tickStrings(values, scale, spacing)


def plot_of(box: DrawBox, name: str) -> pg.PlotWidget:
    """A plot in the house's look around a box."""
    axes = {side: DecadeAxis(side) for side in ("bottom", "left")}
    plot = pg.PlotWidget(viewBox=box, axisItems=axes)
    plot.hideButtons()
    plot.setFrameShape(plot.Shape.NoFrame)
    plot.setAccessibleName(name)
    plot.setFocusPolicy(Qt.FocusPolicy.NoFocus)
    return plot


def dress(plot: pg.PlotWidget, theme: Theme) -> None:
    """The colours and fonts of a theme on a plot."""
    font = look.small_font()
    plot.setBackground(theme.panel)
    for side in ("bottom", "left"):
        axis = plot.getAxis(side)
        axis.setPen(theme.faint)
        axis.setTextPen(theme.muted)
        axis.setTickFont(font)
        axis.label.setFont(font)
        axis.enableAutoSIPrefix(False)


def name_axis(plot: pg.PlotWidget, side: str, channel: Channel, log: bool) -> None:
    """Title with unit, and decades where the axis is logarithmic."""
    axis = plot.getAxis(side)
    axis.setLogMode(**{"x" if side == "bottom" else "y": log})
    unit = f" ({channel.unit})" if channel.unit else ""
    plot.setLabel(side, f"{channel.label} {rich(channel.symbol)}{unit}")


def coordinates(values: Array, log: bool) -> tuple[Array, Array]:
    """Coordinates of values on an axis, and which of them have one (N,)."""
    values = np.asarray(values, float)
    good = np.isfinite(values) & ((values > 0.0) if log else True)
    out = np.zeros(values.shape)
    out[good] = np.log10(values[good]) if log else values[good]
    return out, good


def back(coordinate: float, log: bool) -> float:
    """A coordinate back to the channel's unit."""
    return float(10.0**coordinate) if log else float(coordinate)


def reach(x: Array) -> tuple[float, float]:
    """What of an axis is shown at first: all but a small share at both ends, with some room."""
    if not x.size:
        return 0.0, 1.0
    low, high = np.quantile(x, (EDGE, 1.0 - EDGE)) if x.size > 20 else (x.min(), x.max())
    room = 0.12 * (high - low) or 0.05 * max(abs(float(high)), 1.0)
    return float(low - room), float(high + room)


class ComponentLegend(QWidget):
    """One row: the mark of each component, its name and its share."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._theme: Theme = LIGHT
        self._entries: list[tuple[int, str]] = []
        self.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Fixed)
        self.setAccessibleName("Legend of the components")

    def show_counts(self, names: Sequence[str], labels: Array) -> None:
        """Names of the components, and the label of each pixel (N,)."""
        counts = np.bincount(labels[labels >= 0], minlength=len(names)) if labels.size else []
        total = max(int(np.sum(counts)), 1)
        self._entries = []
        for k, name in enumerate(names):
            sign = look_of(k, self._theme).letter
            words = name if name == sign else f"{sign} {name}"
            self._entries.append((k, f"{words} {100.0 * counts[k] / total:.1f} %"))
        rest = int(np.count_nonzero(labels < 0)) if names else 0
        if rest:
            self._entries.append((-1, f"in none: {rest}"))
        self.setAccessibleDescription("; ".join(text for _, text in self._entries))
        self._refit()

    @property
    def text(self) -> str:
        return "; ".join(text for _, text in self._entries)

    def set_theme(self, theme: Theme) -> None:
        self._theme = theme
        look.shrink(self)
        self._refit()

    def _places(self) -> list[tuple[float, float]]:
        """Left end and row of each entry."""
        x, row, found = 0.0, 0, []
        for _, text in self._entries:
            wide = self.fontMetrics().horizontalAdvance(text) + 34
            if x and x + wide > self.width():
                x, row = 0.0, row + 1
            found.append((x, row))
            x += wide
        return found

    def _refit(self) -> None:
        places = self._places()
        rows = 1 + (places[-1][1] if places else 0)
        self.setFixedHeight(int(rows) * (self.fontMetrics().height() + 4))
        self.update()

    def resizeEvent(self, event: Any) -> None:
        super().resizeEvent(event)
        self._refit()

    def paintEvent(self, event: QPaintEvent) -> None:
        painter, high = QPainter(self), self.fontMetrics().height() + 4
        for (number, text), (x, row) in zip(self._entries, self._places(), strict=True):
            paint_swatch(painter, number, QPointF(x + 8, (row + 0.5) * high), 11, self._theme)
            painter.setPen(look.colour(self._theme.ink))
            room = QRectF(x + 18, row * high, self.width(), high)
            painter.drawText(room, Qt.AlignmentFlag.AlignVCenter, text)


def told(counts: dict[str, int]) -> str:
    """What is not in the picture, in words; empty if all is."""
    return ", ".join(f"{count} {words}" for words, count in counts.items() if count)


