"""How one channel is distributed: bars by component, thresholds, and what is gathered."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pyqtgraph as pg
from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import QHBoxLayout, QLabel, QToolButton, QVBoxLayout, QWidget

from ...core import units
from ...core.channels import Channel
from .. import theme as look
from ..theme import LIGHT, SPACE, Theme
from .component_look import look_of
from .distribution import (
    ComponentLegend,
    DrawBox,
    back,
    coordinates,
    dress,
    name_axis,
    plot_of,
    reach,
    told,
)

Array = np.ndarray
LEAST_BINS, MOST_BINS = 20, 120
EMPTY = "Nothing to show yet."
HINTS = {"select": "Drag over a range to gather its pixels.",
         "thresholds": "Drag a threshold; a double click adds one, Delete removes the last moved. "
         "Drag elsewhere to gather pixels."}  # fmt: skip


class HistogramView(QWidget):
    """Signals, each only for what the person did
    ------------------------------------------
    threshold_dragged(index, value), threshold_dropped(index, value), threshold_added(value),
    threshold_removed(index) : in the channel's unit
    range_selected(low, high), selection_cleared
    log_toggled(bool)
    """

    threshold_dragged = Signal(int, float)
    threshold_dropped = Signal(int, float)
    threshold_added = Signal(float)
    threshold_removed = Signal(int)
    range_selected = Signal(float, float)
    selection_cleared = Signal()
    log_toggled = Signal(bool)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._theme: Theme = LIGHT
        self._channel: Channel | None = None
        self._x, self._good = np.empty(0), np.empty(0, bool)
        self._labels = np.empty(0, int)
        self._names: tuple[str, ...] = ()
        self._log, self._mode, self._edges = False, "select", np.array([0.0, 1.0])
        self._densities: list[tuple[Array, Array]] = []
        self._selected: Array | None = None
        self._cuts: tuple[float, ...] = ()
        self._last_cut = -1
        self._key: Any = None
        self._bars: list[pg.PlotCurveItem] = []
        self._lines: list[pg.InfiniteLine] = []
        self._letters: list[pg.TextItem] = []
        self._build()
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.set_theme(LIGHT)

    def _build(self) -> None:
        self.box = DrawBox()
        self.plot = plot_of(self.box, "Histogram")
        self.box.setMouseEnabled(y=False)
        self.note, self.hint, self.legend = QLabel(), QLabel(), ComponentLegend()
        self.log_button = QToolButton()
        self.log_button.setText("log")
        self.log_button.setCheckable(True)
        self.log_button.setToolTip("Logarithmic axis, with bins of equal width on it")
        self.whole_button = QToolButton()
        self.whole_button.setText("Whole range")
        self.whole_button.setToolTip("Show the whole range again (Home)")
        for label in (self.note, self.hint):
            label.setWordWrap(True)
        head = QHBoxLayout()
        head.addWidget(self.hint, 1)
        head.addWidget(self.log_button)
        head.addWidget(self.whole_button)
        self.region = pg.LinearRegionItem(movable=False)
        self.region.setZValue(-5)
        self.region.hide()
        self.picked = pg.InfiniteLine(angle=90)
        self.chosen = pg.PlotCurveItem([0.0, 1.0], [0.0], stepMode="center")
        self.picked.setZValue(30)
        self.chosen.setZValue(8)
        for item in (self.region, self.picked, self.chosen):
            self.plot.addItem(item, ignoreBounds=True)
        box = QVBoxLayout(self)
        box.setContentsMargins(SPACE, SPACE, SPACE, SPACE)
        box.setSpacing(SPACE // 2)
        box.addLayout(head)
        box.addWidget(self.plot, 1)
        box.addWidget(self.legend)
        box.addWidget(self.note)
        self.log_button.clicked.connect(self.log_toggled)
        self.whole_button.clicked.connect(self.fit)
        self.box.drawing.connect(lambda points, _: self._mark_range(points))
        self.box.drawn.connect(lambda points, _: self._select(points))
        self.box.doubled.connect(self._doubled)
        self.clear()

    def set_theme(self, theme: Theme) -> None:
        self._theme = theme
        dress(self.plot, theme)
        for label in (self.note, self.hint):
            look.toned(look.shrink(label), "muted")
        self.legend.set_theme(theme)
        self.region.setBrush(pg.mkBrush(look.colour(theme.accent, 40)))
        for line in self.region.lines:
            line.setPen(pg.mkPen(theme.accent, width=1))
        self.picked.setPen(pg.mkPen(theme.accent, width=2))
        self.chosen.setPen(pg.mkPen(theme.accent, width=2))
        self.chosen.setBrush(pg.mkBrush(look.colour(theme.accent, 110)))
        self.plot.getAxis("left").setWidth(54)
        self._draw()

    # -- what is shown --------------------------------------------------------------------------

    def clear(self, words: str = EMPTY) -> None:
        """Show no values, and why."""
        self._channel = self._key = None
        self._x, self._good = np.empty(0), np.empty(0, bool)
        self._labels, self._names, self._densities = np.empty(0, int), (), []
        self._selected = None
        self.picked.hide()
        self._draw()
        self.hint.setText(words)

    def show_values(self, values: Array, labels: Array, channel: Channel, names: Sequence[str], *,
                    log: bool, curves: Sequence[tuple[Array, Array]] = ()) -> None:  # fmt: skip
        """Show a channel.

        Parameters
        ----------
        values, labels : (N,) of the pixels; label -1 in no component
        names : of the components
        log : bins of equal width in log₁₀
        curves : (value, density) of each component in units of the axis's coordinate, its share in
            it, to be drawn over the bars
        """
        self._channel, self._log, self._names = channel, log, tuple(names)
        self._x, self._good = coordinates(values, log)
        self._labels, self._densities = np.asarray(labels), list(curves)
        self.log_button.setChecked(log)
        self._edges = self._bins()
        self._draw()
        key = (channel.name, log, values.size)
        if key != self._key:
            self._key = key
            self.fit()
        self.hint.setText(HINTS[self._mode])

    def _bins(self) -> Array:
        """Edges of the bins: by Freedman and Diaconis within what is shown at first."""
        x = self._x[self._good]
        low, high = reach(x)
        if x.size < 2:
            return np.linspace(low, high, LEAST_BINS + 1)
        quarter = np.subtract(*np.quantile(x, (0.75, 0.25)))
        wide = 2.0 * quarter / x.size ** (1.0 / 3.0)
        count = (high - low) / wide if wide > 0.0 else LEAST_BINS
        return np.linspace(low, high, int(min(max(2.0 * count, LEAST_BINS), MOST_BINS)) + 1)

    def table_rows(self) -> list[list[Any]]:
        """The bins as rows: from, to, and the pixels of each component and of none; values beyond
        what is shown count in the first and the last."""
        if self._channel is None:
            return []
        edges = 10.0**self._edges if self._log else self._edges
        title = self._channel.title
        names = [*(name or str(k) for k, name in enumerate(self._names)), "no component"]
        rows: list[list[Any]] = [[f"{title} from", "to", *(f"pixels of {n}" for n in names[:-1]),
                                  f"pixels of {names[-1]}"]]  # fmt: skip
        numbers = (*range(len(self._names)), -1)
        counts = [self._counts(self._good & (self._labels == k)) for k in numbers]
        rows += [[float(low), float(high), *(int(c[i]) for c in counts)]
                 for i, (low, high) in enumerate(zip(edges, edges[1:], strict=False))]  # fmt: skip
        return rows

    def _counts(self, mask: Array) -> Array:
        """Counts in each bin; what lies beyond counts in the first and the last."""
        first, step = self._edges[0], self._edges[1] - self._edges[0]
        at = np.clip(((self._x[mask] - first) / step).astype(int), 0, len(self._edges) - 2)
        return np.bincount(at, minlength=len(self._edges) - 1)

    def _draw(self) -> None:
        for item in (*self._bars, *self._letters):
            self.plot.removeItem(item)
        self._bars, self._letters = [], []
        if self._channel is None:
            self.legend.show_counts((), np.empty(0, int))
            self.note.setText("")
            self.chosen.setData([0.0, 1.0], [0.0], stepMode="center")
            self._draw_cuts()
            return
        name_axis(self.plot, "bottom", self._channel, self._log)
        self.plot.setLabel("left", "Pixels in a bin")
        self._draw_bars()
        self._draw_densities()
        self._draw_cuts()
        self._draw_selection()
        self.legend.show_counts(self._names, self._labels)
        self._tell()

    def _draw_bars(self) -> None:
        """Bars stacked from the softest up: each outline holds those below it."""
        numbers = [*range(len(self._names)), -1]
        stack = np.cumsum([self._counts(self._good & (self._labels == k)) for k in numbers], axis=0)
        for level, k in reversed(list(enumerate(numbers))):
            one = look_of(k, self._theme)
            pen = pg.mkPen(look.colour(self._theme.ink, 150), width=1)
            brush, height = look.colour(one.colour), stack[level].astype(float)
            bar = pg.PlotCurveItem(self._edges, height, stepMode="center", fillLevel=0.0, pen=pen,
                                   brush=brush)  # fmt: skip
            self.plot.addItem(bar)
            self._bars.append(bar)
        for level, k in enumerate(numbers[:-1]):
            own = stack[level] - (stack[level - 1] if level else 0)
            if own.any():
                self._letter(k, int(np.argmax(own)), float(stack[level][np.argmax(own)]))

    def _letter(self, number: int, at: int, height: float) -> None:
        item = pg.TextItem(look_of(number, self._theme).letter, look.colour(self._theme.ink),
                           anchor=(0.5, 1.0))  # fmt: skip
        item.setFont(look.small_font())
        item.setPos(0.5 * (self._edges[at] + self._edges[at + 1]), height)
        self.plot.addItem(item, ignoreBounds=True)
        self._letters.append(item)

    def _draw_densities(self) -> None:
        total = int(np.count_nonzero(self._good)) * (self._edges[1] - self._edges[0])
        for k, (value, density) in enumerate(self._densities):
            x, good = coordinates(value, self._log)
            one = look_of(k, self._theme)
            for colour, wide in ((self._theme.panel, 4.0), (self._theme.ink, 1.6)):
                pen = pg.mkPen(colour, width=wide, style=one.dash if wide < 3 else None)
                line = pg.PlotCurveItem(x[good], density[good] * total, pen=pen)
                line.setZValue(5)
                self.plot.addItem(line, ignoreBounds=True)
                self._bars.append(line)

    def _tell(self) -> None:
        low, high = self._edges[0], self._edges[-1]
        x = self._x[self._good]
        beyond = int(np.count_nonzero((x < low) | (x > high)))
        words = "at or below zero have no logarithm" if self._log else "have no value"
        text = told({f"pixels {words}": int(np.count_nonzero(~self._good)),
                     "lie beyond and count in the end bins": beyond})  # fmt: skip
        self.note.setText(text)
        self.note.setVisible(bool(text))

    def set_mode(self, mode: str) -> None:
        """ "select" or "thresholds"."""
        self._mode = mode
        if self._channel is not None:
            self.hint.setText(HINTS[mode])

    def set_thresholds(self, values: Sequence[float]) -> None:
        if tuple(values) != self._cuts:
            self._cuts = tuple(values)
            self._draw_cuts()

    def _draw_cuts(self) -> None:
        cuts = self._cuts if self._channel is not None else ()
        while len(self._lines) > len(cuts):
            self.plot.removeItem(self._lines.pop())
        while len(self._lines) < len(cuts):
            self._add_line(len(self._lines))
        for line, cut in zip(self._lines, cuts, strict=True):
            at, good = coordinates(np.array([cut]), self._log)
            line.setVisible(bool(good[0]))
            if good[0] and not line.moving:
                line.setPos(float(at[0]))
            line.label.setFormat(units.text_of(cut, self._channel.unit))
            line.setPen(pg.mkPen(self._theme.ink, width=2))
            line.setHoverPen(pg.mkPen(self._theme.accent, width=3))
            line.label.setColor(look.colour(self._theme.ink))
            line.label.fill = pg.mkBrush(look.colour(self._theme.panel, 210))

    def _add_line(self, index: int) -> None:
        line = pg.InfiniteLine(angle=90, movable=True, label="", labelOpts={"position": 0.95})
        line.setZValue(20)
        line.sigDragged.connect(lambda item, i=index: self._cut_moved(i, item, False))
        line.sigPositionChangeFinished.connect(
            lambda item, i=index: self._cut_moved(i, item, True)
        )
        self.plot.addItem(line, ignoreBounds=True)
        self._lines.append(line)

    def show_selection(self, mask: Array | None) -> None:
        """Pixels that are gathered, (N,) bool; None for none."""
        self._selected = mask
        if mask is None:
            self.region.hide()
        self._draw_selection()

    def _draw_selection(self) -> None:
        mask = self._selected
        there = mask is not None and mask.shape == self._good.shape
        counts = self._counts(self._good & mask) if there else np.zeros(len(self._edges) - 1)
        self.chosen.setData(self._edges, counts.astype(float), fillLevel=0.0, stepMode="center")
        self.chosen.setVisible(bool(there))

    def show_pixel(self, value: float) -> None:
        """Where the picked pixel lies; NaN for none."""
        at, good = coordinates(np.array([value]), self._log)
        self.picked.setVisible(bool(good[0]) and self._channel is not None)
        if good[0]:
            self.picked.setPos(float(at[0]))

    def fit(self) -> None:
        """Show the whole range."""
        heights = self._counts(self._good) if self._x.size else np.array([1])
        top = 1.12 * float(max(heights.max(initial=1), 1))
        self.box.setRange(xRange=(self._edges[0], self._edges[-1]), yRange=(0.0, top), padding=0.0)

    # -- what the person does -------------------------------------------------------------------

    def _cut_moved(self, index: int, line: pg.InfiniteLine, done: bool) -> None:
        self._last_cut = index
        value = back(float(line.value()), self._log)
        (self.threshold_dropped if done else self.threshold_dragged).emit(index, value)

    def _mark_range(self, points: Sequence[tuple[float, float]]) -> None:
        if self._channel is not None:
            self.region.setRegion((points[0][0], points[-1][0]))
            self.region.show()

    def _select(self, points: Sequence[tuple[float, float]]) -> None:
        if self._channel is None:
            return
        self._mark_range(points)
        low, high = sorted((points[0][0], points[-1][0]))
        self.range_selected.emit(back(low, self._log), back(high, self._log))

    def _doubled(self, point: Any) -> None:
        if self._mode == "thresholds" and self._channel is not None:
            self.threshold_added.emit(back(point.x(), self._log))
        else:
            self.fit()

    def keyPressEvent(self, event: QKeyEvent) -> None:
        keys = Qt.Key
        index = self._last_cut if 0 <= self._last_cut < len(self._cuts) else len(self._cuts) - 1
        if event.key() == keys.Key_Escape:
            self.region.hide()
            self.selection_cleared.emit()
        elif event.key() == keys.Key_Home:
            self.fit()
        elif event.key() in (keys.Key_Delete, keys.Key_Backspace) and index >= 0:
            self.threshold_removed.emit(index)
        elif event.key() in (keys.Key_Left, keys.Key_Right) and index >= 0:
            step = (self._edges[1] - self._edges[0]) * (0.2 if event.modifiers() else 1.0)
            at, _ = coordinates(np.array([self._cuts[index]]), self._log)
            sign = 1.0 if event.key() == keys.Key_Right else -1.0
            self.threshold_dropped.emit(index, back(float(at[0]) + sign * step, self._log))
        else:
            super().keyPressEvent(event)


