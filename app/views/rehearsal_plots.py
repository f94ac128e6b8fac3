"""The plots of a rehearsal: bias, scatter against the stated ±, what that ± holds, faults told.

All but the last share a logarithmic axis of the moduli; a click near a point chooses its modulus.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
import pyqtgraph as pg
from PySide6.QtCore import QPointF, Qt, Signal
from PySide6.QtWidgets import QLabel, QVBoxLayout, QWidget

from .. import theme as look
from ..theme import LIGHT, Theme
from .distribution import dress, plot_of

Array = np.ndarray
NEAR = 40.0
"""A click chooses the nearest modulus that is not further away than this along the axis [px]."""
ROOM = 0.08
LEFT = 50
BAR, REST = 17, 46
"""Height of one kind of fault in the bars, and of what is beside them [px]."""


class StillBox(pg.ViewBox):
    """An area that shows all there is: no zoom, no drag."""

    def __init__(self) -> None:
        super().__init__(enableMenu=False)
        self.setMouseEnabled(x=False, y=False)

    def mouseDragEvent(self, ev: Any, axis: Any = None) -> None:
        ev.ignore()


class ModulusPlot(QWidget):
    """One plot against the modulus. Signal chosen(index): the person clicked near a modulus."""

    chosen = Signal(int)

    def __init__(self, title: str, name: str, tip: str, caption: str,
                 parent: QWidget | None = None) -> None:  # fmt: skip
        super().__init__(parent)
        self._theme: Theme = LIGHT
        self._x = np.empty(0)
        self.box = StillBox()
        self.plot = plot_of(self.box, name)
        self.plot.setToolTip(tip)
        self.plot.setLabel("left", title)
        self.plot.setLabel("bottom", "Young modulus E put in (GPa)")
        self.plot.getAxis("bottom").setLogMode(x=True)
        self.plot.getAxis("left").setWidth(LEFT)
        self.mark = pg.InfiniteLine(angle=90)
        self.mark.setZValue(-8)
        self.mark.hide()
        self.plot.addItem(self.mark, ignoreBounds=True)
        self._items: list[Any] = []
        self.plot.scene().sigMouseClicked.connect(self._clicked)  # also on a point itself
        self.caption = QLabel(caption, self)
        look.toned(look.shrink(self.caption), "muted")
        self.caption.setAlignment(Qt.AlignmentFlag.AlignRight)
        box = QVBoxLayout(self)
        box.setContentsMargins(0, 0, 0, 0)
        box.setSpacing(0)
        box.addWidget(self.plot, 1)
        box.addWidget(self.caption)

    def clear(self) -> None:
        for item in self._items:
            self.plot.removeItem(item)
        self._items = []
        self._x = np.empty(0)
        self.mark.hide()

    def set_theme(self, theme: Theme) -> None:
        self._theme = theme
        dress(self.plot, theme)
        look.shrink(self.caption)
        self.mark.setPen(pg.mkPen(look.colour(theme.accent, 70), width=9))

    def begin(self, moduli: Array) -> None:
        """An empty plot over these moduli [GPa]."""
        self.clear()
        self._x = np.log10(moduli)
        room = ROOM * max(float(np.ptp(self._x)), 0.2)
        self.plot.setXRange(float(self._x[0]) - room, float(self._x[-1]) + room, padding=0.0)

    def choose(self, index: int) -> None:
        """Mark one modulus; -1 marks none."""
        there = 0 <= index < self._x.size
        self.mark.setVisible(there)
        if there:
            self.mark.setValue(float(self._x[index]))

    def _add(self, item: Any) -> None:
        self.plot.addItem(item)
        self._items.append(item)

    def level(self, value: float) -> None:
        """A dashed line right across at what is so by right."""
        pen = pg.mkPen(self._theme.muted, width=1, style=Qt.PenStyle.DashLine)
        line = pg.InfiniteLine(pos=value, angle=0, pen=pen)
        line.setZValue(-5)
        self._add(line)

    def band(self, low: Array, high: Array) -> None:
        """What lies between two lines, shaded."""
        edges = [pg.PlotCurveItem(self._x, edge, pen=pg.mkPen(None)) for edge in (low, high)]
        fill = pg.FillBetweenItem(*edges, brush=pg.mkBrush(look.colour(self._theme.accent, 45)))
        fill.setZValue(-6)
        for item in (*edges, fill):
            self._add(item)

    def line(self, values: Array, symbol: str, *, dashed: bool = False, faint: bool = False
             ) -> None:  # fmt: skip
        """Values with a symbol at each."""
        ink = self._theme.muted if faint else self._theme.ink
        style = Qt.PenStyle.DashLine if dashed else Qt.PenStyle.SolidLine
        filled = self._theme.panel if dashed else ink
        self._add(pg.PlotDataItem(
            self._x, values, pen=pg.mkPen(ink, width=1, style=style), symbol=symbol, symbolSize=7,
            symbolPen=pg.mkPen(ink, width=1), symbolBrush=pg.mkBrush(filled), connect="finite",
        ))  # fmt: skip

    def errors(self, values: Array, low: Array, high: Array) -> None:
        """A bar from low to high at each value."""
        good = np.isfinite(values) & np.isfinite(low) & np.isfinite(high)
        self._add(pg.ErrorBarItem(
            x=self._x[good], y=values[good], top=(high - values)[good],
            bottom=(values - low)[good], beam=0.0, pen=pg.mkPen(self._theme.ink, width=1),
        ))  # fmt: skip

    def place(self, index: int) -> QPointF:
        """Where a modulus lies in the scene."""
        middle = self.box.viewRect().center().y()
        return self.box.mapViewToScene(QPointF(float(self._x[index]), middle))

    def _clicked(self, event: Any) -> None:
        at = event.scenePos()
        left = event.button() == Qt.MouseButton.LeftButton
        if not (left and self._x.size and self.box.sceneBoundingRect().contains(at)):
            return
        away = [abs(self.place(i).x() - at.x()) for i in range(self._x.size)]
        nearest = int(np.argmin(away))
        self.chosen.emit(nearest if away[nearest] <= NEAR else -1)


class FaultBars(QWidget):
    """How often each kind of fault carries the right doubt; a bar each, with its interval."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._theme: Theme = LIGHT
        self._shown: list[tuple[str, float, float, float]] = []
        self.plot = plot_of(StillBox(), "Faults that are told")
        self.plot.setLabel("bottom", "Planted faults that carry the right doubt (%)")
        self.plot.setToolTip("Each fault is planted alone in a good curve. The line is the exact "
                             "interval of 95 % for so few curves.")  # fmt: skip
        self._items: list[Any] = []
        box = QVBoxLayout(self)
        box.setContentsMargins(0, 0, 0, 0)
        box.addWidget(self.plot)

    def set_theme(self, theme: Theme) -> None:
        self._theme = theme
        dress(self.plot, theme)
        self._draw()

    @property
    def shown(self) -> dict[str, float]:
        """Kind in words -> share."""
        return {kind: share for kind, share, _, _ in self._shown}

    def show_faults(self, faults: Sequence[tuple[str, float, float, float]]) -> None:
        """Kind in words, share, and the ends of its interval."""
        self._shown = list(faults)
        self.setVisible(bool(faults))
        self.setFixedHeight(BAR * len(self._shown) + REST)
        self._draw()

    def _draw(self) -> None:
        for item in self._items:
            self.plot.removeItem(item)
        self._items = []
        if not self._shown:
            return
        count = len(self._shown)
        y = np.arange(count)[::-1].astype(float)
        share, low, high = (100.0 * np.array([row[k] for row in self._shown]) for k in (1, 2, 3))
        bars = pg.BarGraphItem(x0=0.0, y=y, width=share, height=0.62, pen=pg.mkPen(None),
                               brush=pg.mkBrush(look.colour(self._theme.accent, 150)))  # fmt: skip
        ends = pg.ErrorBarItem(x=share, y=y, left=share - low, right=high - share, beam=0.0,
                               pen=pg.mkPen(self._theme.ink, width=1))  # fmt: skip
        for item in (bars, ends):
            self.plot.addItem(item)
            self._items.append(item)
        axis = self.plot.getAxis("left")
        axis.setTicks([[(float(at), row[0]) for at, row in zip(y, self._shown, strict=True)]])
        wide = max(self.fontMetrics().horizontalAdvance(row[0]) for row in self._shown)
        axis.setWidth(wide + 14)
        bottom = self.plot.getAxis("bottom")
        bottom.setTicks([[(float(at), f"{at}") for at in range(0, 101, 20)]])
        self.plot.setXRange(0.0, 103.0, padding=0.02)
        self.plot.setYRange(-0.7, count - 0.3, padding=0.0)


def draw_bias(plot: ModulusPlot, moduli: Array, rows: Sequence[Any]) -> None:
    """Bias in per cent with its ± (line), and the scatter of one pixel about it (band)."""
    bias, error, scatter = (_of(rows, key) for key in ("bias", "bias_error", "scatter"))
    low, high = _percent(bias - scatter), _percent(bias + scatter)
    plot.begin(moduli)
    plot.band(low, high)
    plot.level(0.0)
    plot.errors(_percent(bias), _percent(bias - 1.96 * error), _percent(bias + 1.96 * error))
    plot.line(_percent(bias), "o")
    _reach(plot, np.concatenate([low, high, [0.0]]))


def draw_scatter(plot: ModulusPlot, moduli: Array, rows: Sequence[Any]) -> None:
    """Scatter (filled, solid) and the stated ± (open, dashed), in per cent."""
    scatter, stated = 100.0 * _of(rows, "scatter"), 100.0 * _of(rows, "stated")
    error = 100.0 * _of(rows, "scatter_error")
    plot.begin(moduli)
    plot.line(stated, "s", dashed=True, faint=True)
    plot.errors(scatter, scatter - 1.96 * error, scatter + 1.96 * error)
    plot.line(scatter, "o")
    _reach(plot, np.concatenate([scatter, stated, [0.0]]))


def draw_held(plot: ModulusPlot, moduli: Array, rows: Sequence[Any]) -> None:
    """What of the truths the stated ± holds, at 68.3 % (circles) and 95 % (triangles) by right."""
    plot.begin(moduli)
    lowest = 60.0
    for key, symbol, right in (("held", "o", 68.27), ("held_wide", "t", 95.0)):
        ratios = [getattr(row.fared["modulus"], key) for row in rows]
        share, low, high = (100.0 * np.array([getattr(r, k) for r in ratios])
                            for k in ("share", "low", "high"))  # fmt: skip
        plot.level(right)
        plot.errors(share, low, high)
        plot.line(share, symbol)
        lowest = min(lowest, float(np.nanmin(low))) if np.isfinite(low).any() else lowest
    plot.plot.setYRange(max(lowest - 5.0, -2.0), 104.0, padding=0.0)


def _percent(log: Array) -> Array:
    """A difference of logarithms as per cent of the truth."""
    return 100.0 * np.expm1(log)


def _of(rows: Sequence[Any], key: str) -> Array:
    return np.array([getattr(row.fared["modulus"], key) for row in rows])


def _reach(plot: ModulusPlot, values: Array) -> None:
    known = values[np.isfinite(values)]
    low, high = float(known.min(initial=0.0)), float(known.max(initial=0.0))
    room = 0.08 * (high - low) or 1.0
    plot.plot.setYRange(low - room if low < 0.0 else 0.0, high + room, padding=0.0)


def share_of(rows: Sequence[Any], pooled: Any) -> list[tuple[str, float, float, float]]:
    """Each kind of fault over some moduli, as `FaultBars` takes it."""
    found: dict[str, list[Any]] = {}
    for row in rows:
        for one in row.told:
            found.setdefault(one.kind, []).append(one.right)
    ratios = {kind: pooled(sum(r.hits for r in of), sum(r.of for r in of))
              for kind, of in found.items()}  # fmt: skip
    return [(kind.replace("_", " "), r.share, r.low, r.high) for kind, r in ratios.items()
            if math.isfinite(r.share)]  # fmt: skip
