"""The joint histogram of two channels: where pixels lie, components on it, and drawing on it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pyqtgraph as pg
from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QCursor, QKeyEvent, QTransform
from PySide6.QtWidgets import (
    QComboBox,
    QGridLayout,
    QLabel,
    QMenu,
    QToolButton,
    QVBoxLayout,
    QWidget,
)

from ...core.channels import Channel
from ...core.components.outlines import ellipse
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
from .joint_items import Gates, Members

Array = np.ndarray
BINS = 110
FEW = 3000
"""Fewer pixels than this are drawn as marks, not counted in bins."""
EMPTY = "Nothing to show yet."
INSIDE = (0.5, 0.95)
"""Shares of a normal distribution that the ellipses hold."""
HINTS = {
    "select": "Draw around points to gather their pixels; with Shift, a rectangle. Ellipses hold "
    "50 and 95 % of each distribution.",
    "gates": "Draw around points for a new component; drag a corner to change one, right click to "
    "remove it. With Ctrl, gather pixels instead.",
    "end members": "Drag a cross to move an end member. Draw around points to gather pixels.",
}


class JointView(QWidget):
    """Signals, each only for what the person did
    ------------------------------------------
    polygon_selected(vertices), selection_cleared : vertices (x, y) in channel units
    gate_drawn(vertices), gate_changed(index, vertices), gate_removed(index)
    end_member_moved(index, x, y)
    channels_chosen(x, y), log_toggled("x" or "y", on)
    """

    polygon_selected = Signal(object)
    selection_cleared = Signal()
    gate_drawn = Signal(object)
    gate_changed = Signal(int, object)
    gate_removed = Signal(int)
    end_member_moved = Signal(int, float, float)
    channels_chosen = Signal(str, str)
    log_toggled = Signal(str, bool)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._theme: Theme = LIGHT
        self._channels: tuple[Channel, Channel] | None = None
        self._logs = (False, False)
        self._points, self._good = np.empty((0, 2)), np.empty(0, bool)
        self._labels = np.empty(0, int)
        self._names: tuple[str, ...] = ()
        self._ellipses: list[Any] = []
        self._selected: Array | None = None
        self._mode, self._key = "select", None
        self._marks: list[Any] = []
        self._build()
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.set_theme(LIGHT)

    def _build(self) -> None:
        self.box = DrawBox()
        self.plot = plot_of(self.box, "Joint histogram")
        self.image = pg.ImageItem(axisOrder="row-major")
        self.chosen = pg.ScatterPlotItem(pxMode=True, size=4, pen=None)
        self.path = pg.PlotCurveItem()
        self.picked = pg.ScatterPlotItem(pxMode=True, size=13, symbol="s", brush=None)
        self.rim = pg.ScatterPlotItem(pxMode=True, size=13, symbol="s", brush=None)
        for item, level in ((self.image, -10), (self.chosen, 10), (self.path, 25), (self.rim, 29),
                            (self.picked, 30)):  # fmt: skip
            item.setZValue(level)
            self.plot.addItem(item, ignoreBounds=True)
        self.gates, self.members = Gates(self.plot), Members(self.plot)
        self.hint, self.note, self.legend = QLabel(), QLabel(), ComponentLegend()
        self.combos, self.logs = (QComboBox(), QComboBox()), (QToolButton(), QToolButton())
        self.whole_button = QToolButton()
        self.whole_button.setText("Whole range")
        self.whole_button.setToolTip("Show the whole range again (Home, or double click)")
        grid = QGridLayout()
        for row, (axis, combo, log) in enumerate(zip("xy", self.combos, self.logs, strict=True)):
            log.setText("log")
            log.setCheckable(True)
            log.setToolTip("Logarithmic axis")
            log.clicked.connect(lambda on, a=axis: self.log_toggled.emit(a, on))
            combo.setSizeAdjustPolicy(
                QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)  # fmt: skip
            combo.setMinimumContentsLength(10)
            combo.setAccessibleName(f"Channel along {axis}")
            combo.activated.connect(lambda _: self._choose())
            grid.addWidget(QLabel("Across" if axis == "x" else "Up"), row, 0)
            grid.addWidget(combo, row, 1)
            grid.addWidget(log, row, 2)
        grid.addWidget(self.whole_button, 0, 3)
        grid.setColumnStretch(1, 1)
        for label in (self.hint, self.note):
            label.setWordWrap(True)
        box = QVBoxLayout(self)
        box.setContentsMargins(SPACE, SPACE, SPACE, SPACE)
        box.setSpacing(SPACE // 2)
        box.addLayout(grid)
        for widget, stretch in ((self.hint, 0), (self.plot, 1), (self.legend, 0), (self.note, 0)):
            box.addWidget(widget, stretch)
        self.box.drawing.connect(self._show_path)
        self.box.drawn.connect(self._drawn)
        self.box.doubled.connect(lambda _: self.fit())
        self.whole_button.clicked.connect(self.fit)
        self.gates.changed.connect(lambda i, v: self.gate_changed.emit(i, self._back(v)))
        self.box.asked.connect(self._offer)
        self.members.moved.connect(
            lambda i, x, y: self.end_member_moved.emit(i, *self._back([(x, y)])[0])
        )
        self.clear()

    def set_theme(self, theme: Theme) -> None:
        self._theme = theme
        dress(self.plot, theme)
        for label in (self.hint, self.note):
            look.toned(look.shrink(label), "muted")
        self.legend.set_theme(theme)
        self.plot.getAxis("left").setWidth(54)
        self.chosen.setBrush(pg.mkBrush(look.colour(theme.accent, 200)))
        self.path.setPen(pg.mkPen(theme.accent, width=2))
        self.picked.setPen(pg.mkPen(theme.accent, width=2))
        self.rim.setPen(pg.mkPen(theme.panel, width=6))
        self.gates.set_theme(theme)
        self.members.set_theme(theme)
        self._draw()

    # -- what is shown --------------------------------------------------------------------------

    def clear(self, words: str = EMPTY) -> None:
        """Show no values, and why."""
        self._channels = self._key = None
        self._points, self._good = np.empty((0, 2)), np.empty(0, bool)
        self._labels, self._names, self._ellipses = np.empty(0, int), (), []
        self._selected = None
        self.gates.show([])
        self.members.show([])
        self.show_pixel(np.nan, np.nan)
        self._draw()
        self.hint.setText(words)

    def set_channels(self, channels: Sequence[Channel]) -> None:
        """What can be chosen for the axes."""
        names = [c.name for c in channels]
        for combo in self.combos:
            if [combo.itemData(i) for i in range(combo.count())] != names:
                combo.clear()
                for channel in channels:
                    combo.addItem(channel.title, channel.name)

    def show_values(self, x: Array, y: Array, labels: Array, channel_x: Channel, channel_y: Channel,
                    names: Sequence[str], *, log_x: bool, log_y: bool) -> None:  # fmt: skip
        """Show two channels of the same pixels, (N,) each, with their labels; -1 in none."""
        self._channels, self._logs = (channel_x, channel_y), (log_x, log_y)
        (cx, gx), (cy, gy) = coordinates(x, log_x), coordinates(y, log_y)
        self._points, self._good = np.stack([cx, cy], axis=1), gx & gy
        self._labels, self._names = np.asarray(labels), tuple(names)
        for combo, channel, button, log in zip(self.combos, self._channels, self.logs, self._logs,
                                               strict=True):  # fmt: skip
            combo.setCurrentIndex(combo.findData(channel.name))
            button.setChecked(log)
        key = (channel_x.name, channel_y.name, log_x, log_y, len(cx))
        if key != self._key:
            self._ellipses = []  # of the axes before
        self._draw()
        if key != self._key:
            self._key = key
            self.fit()
        self.hint.setText(HINTS[self._mode])

    def _ranges(self) -> tuple[tuple[float, float], tuple[float, float]]:
        inside = self._points[self._good]
        return reach(inside[:, 0]), reach(inside[:, 1])

    def _draw(self) -> None:
        for item in self._marks:
            self.plot.removeItem(item)
        self._marks = []
        there = self._channels is not None and bool(self._good.any())
        self.image.setVisible(there)
        if self._channels is None:
            self.legend.show_counts((), np.empty(0, int))
            self.note.setText("")
            self.chosen.setData([], [])
            return
        name_axis(self.plot, "bottom", self._channels[0], self._logs[0])
        name_axis(self.plot, "left", self._channels[1], self._logs[1])
        if there and np.count_nonzero(self._good) < FEW:
            self._draw_points()
        elif there:
            self._draw_bins()
        self._draw_ellipses()
        self._draw_selection()
        self.legend.show_counts(self._names, self._labels)
        self._tell()

    def _draw_points(self) -> None:
        self.image.clear()
        for k in (-1, *range(len(self._names))):
            mine = self._good & (self._labels == k)
            if not mine.any():
                continue
            one = look_of(k, self._theme)
            item = pg.ScatterPlotItem(
                self._points[mine, 0], self._points[mine, 1], pxMode=True, symbol=one.mark,
                size=6, pen=pg.mkPen(look.colour(self._theme.ink, 120), width=0.5),
                brush=pg.mkBrush(look.colour(one.colour, 200)),
            )  # fmt: skip
            item.setZValue(-5)
            self.plot.addItem(item, ignoreBounds=True)
            self._marks.append(item)

    def _draw_bins(self) -> None:
        """Each bin in the colour of the component that has most pixels in it, the more of them the
        stronger (by the root of the count)."""
        (x0, x1), (y0, y1) = self._ranges()
        inside = self._points[self._good]
        size = np.array([(x1 - x0) / BINS, (y1 - y0) / BINS])
        at = ((inside - (x0, y0)) / size).astype(int)
        seen = ((at >= 0) & (at < BINS)).all(1) & (inside >= (x0, y0)).all(1)
        labels = self._labels[self._good][seen] + 1
        kinds = len(self._names) + 1
        flat = (at[seen, 1] * BINS + at[seen, 0]) * kinds + np.minimum(labels, kinds - 1)
        counts = np.bincount(flat, minlength=BINS * BINS * kinds).reshape(BINS, BINS, kinds)
        total, most = counts.sum(2), counts.argmax(2)
        colours = [look.colour(look_of(k - 1, self._theme).colour).getRgb()[:3]
                   for k in range(kinds)]  # fmt: skip
        picture = np.zeros((BINS, BINS, 4), np.uint8)
        picture[..., :3] = np.array(colours, np.uint8)[most]
        strength = np.sqrt(total / max(float(total.max()), 1.0))
        picture[..., 3] = np.where(total > 0, 50.0 + 205.0 * strength, 0.0)
        self.image.setImage(picture, autoLevels=False, levels=(0, 255))
        self.image.setTransform(QTransform(size[0], 0, 0, size[1], x0, y0))

    def show_ellipses(self, ellipses: Sequence[tuple[int, Array, Array]]) -> None:
        """(number, centre, covariance) of each component, in the axes' coordinates."""
        self._ellipses = list(ellipses)
        if self._channels is not None:
            self._draw()

    def _draw_ellipses(self) -> None:
        for number, centre, covariance in self._ellipses:
            one = look_of(number, self._theme)
            for share in INSIDE:
                x, y = ellipse(centre, covariance, share)
                for colour, wide in ((self._theme.panel, 4), (self._theme.ink, 1.5)):
                    line = pg.PlotCurveItem(x, y, pen=pg.mkPen(colour, width=wide))
                    line.setZValue(4)
                    self.plot.addItem(line, ignoreBounds=True)
                    self._marks.append(line)
            name = pg.TextItem(one.letter, look.colour(self._theme.ink), anchor=(0.5, 0.5))
            name.fill = pg.mkBrush(look.colour(self._theme.panel, 200))
            name.setFont(look.small_font())
            name.setPos(float(centre[0]), float(centre[1]))
            name.setZValue(6)
            self.plot.addItem(name, ignoreBounds=True)
            self._marks.append(name)

    def _tell(self) -> None:
        logs = [c.label.lower() for c, log in zip(self._channels, self._logs, strict=True) if log]
        words = f"pixels have no value or no logarithm ({', '.join(logs)})" if logs else (
            "pixels have no value")  # fmt: skip
        (x0, x1), (y0, y1) = self._ranges() if self._good.any() else ((0.0, 0.0), (0.0, 0.0))
        x, y = self._points[self._good].T
        beyond = int(np.count_nonzero((x < x0) | (x > x1) | (y < y0) | (y > y1)))
        binned = int(np.count_nonzero(self._good)) >= FEW
        text = told({words: int(np.count_nonzero(~self._good)),
                     "lie beyond what is counted here": beyond if binned else 0})  # fmt: skip
        self.note.setText(text)
        self.note.setVisible(bool(text))

    def set_mode(self, mode: str) -> None:
        """ "select", "gates" or "end members"."""
        self._mode = mode
        if self._channels is not None:
            self.hint.setText(HINTS[mode])

    def set_gates(self, gates: Sequence[tuple[int, Sequence[tuple[float, float]]]]) -> None:
        """(number, vertices in channel units) of each gate."""
        self.gates.show([(k, self._there(vertices)) for k, vertices in gates])

    def set_end_members(self, members: Sequence[tuple[int, float, float]]) -> None:
        """(number, x, y in channel units) of each end member."""
        self.members.show([(k, *self._there([(x, y)])[0]) for k, x, y in members])

    def show_selection(self, mask: Array | None) -> None:
        """Pixels that are gathered, (N,) bool; None for none."""
        self._selected = mask
        if mask is None:
            self.path.setData([], [])
        self._draw_selection()

    def _draw_selection(self) -> None:
        mask = self._selected
        if mask is None or mask.shape != self._good.shape:
            self.chosen.setData([], [])
            return
        points = self._points[self._good & mask]
        if len(points) > FEW:  # a thinned cloud shows the same and follows the hand
            points = points[:: len(points) // FEW + 1]
        self.chosen.setData(points[:, 0], points[:, 1])

    def show_pixel(self, x: float, y: float) -> None:
        """Where the picked pixel lies; NaN for none."""
        (cx, gx), (cy, gy) = (coordinates(np.array([v]), log)
                              for v, log in zip((x, y), self._logs, strict=True))  # fmt: skip
        here = gx & gy if self._channels is not None else np.zeros(1, bool)
        for item in (self.picked, self.rim):
            item.setData(cx[here], cy[here])

    def fit(self) -> None:
        """Show the whole range."""
        if self._good.any():
            x, y = self._ranges()
            for _, centre, covariance in self._ellipses:  # a rare component lies in sight too
                out = ellipse(centre, covariance, INSIDE[-1])
                x, y = ((min(low, line.min()), max(high, line.max()))
                        for (low, high), line in zip((x, y), out, strict=True))  # fmt: skip
            self.box.setRange(xRange=x, yRange=y, padding=0.02)

    # -- what the person does -------------------------------------------------------------------

    def _there(self, vertices: Any) -> list[tuple[float, float]]:
        """Channel units to coordinates; what has no logarithm lies at the lower end."""
        found = []
        for vertex in vertices:
            place = []
            for value, log, (low, _) in zip(vertex, self._logs, self._ranges(), strict=True):
                at, good = coordinates(np.array([value]), log)
                place.append(float(at[0]) if good[0] else low)
            found.append((place[0], place[1]))
        return found

    def _back(self, points: Any) -> list[tuple[float, float]]:
        return [(back(x, self._logs[0]), back(y, self._logs[1])) for x, y in points]

    def _outline(self, points: Any, modifiers: Any) -> list[tuple[float, float]]:
        """What was drawn: the path, or with Shift a rectangle between its ends."""
        if modifiers & Qt.KeyboardModifier.ShiftModifier:
            (x0, y0), (x1, y1) = points[0], points[-1]
            return [(x0, y0), (x1, y0), (x1, y1), (x0, y1)]
        return [(float(x), float(y)) for x, y in points]

    def _show_path(self, points: Any, modifiers: Any) -> None:
        if self._channels is not None:
            outline = np.array([*self._outline(points, modifiers), points[0]])
            self.path.setData(outline[:, 0], outline[:, 1])

    def _drawn(self, points: Any, modifiers: Any) -> None:
        outline = self._outline(points, modifiers)
        if self._channels is None or len(outline) < 3:
            self.path.setData([], [])
            return
        self._show_path(points, modifiers)
        gather = bool(modifiers & Qt.KeyboardModifier.ControlModifier)
        if self._mode == "gates" and not gather:
            self.path.setData([], [])
            self.gate_drawn.emit(self._back(self._thinned(outline)))
        else:
            self.polygon_selected.emit(self._back(outline))

    def _thinned(self, outline: list[tuple[float, float]]) -> list[tuple[float, float]]:
        """A drawn path with few corners, which can be dragged one by one."""
        from skimage.measure import approximate_polygon

        size = np.array(self.box.viewPixelSize())
        found = approximate_polygon(np.array([*outline, outline[0]]) / size, 4.0)[:-1] * size
        return [(float(x), float(y)) for x, y in found] if len(found) > 2 else outline

    def _choose(self) -> None:
        x, y = (combo.currentData() for combo in self.combos)
        self.channels_chosen.emit(x, y)

    def _offer(self, point: Any) -> None:
        """A menu for the gate under the pointer."""
        index = self.gates.at(point.x(), point.y())
        if index >= 0:
            menu = QMenu(self)
            menu.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
            act = menu.addAction(f"Remove the gate of {look_of(index, self._theme).letter}")
            act.triggered.connect(lambda: self.gate_removed.emit(index))
            menu.popup(QCursor.pos())

    def keyPressEvent(self, event: QKeyEvent) -> None:
        if event.key() == Qt.Key.Key_Escape:
            self.path.setData([], [])
            self.selection_cleared.emit()
        elif event.key() == Qt.Key.Key_Home:
            self.fit()
        else:
            super().keyPressEvent(event)


