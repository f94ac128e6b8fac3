"""What lies on the joint histogram: ellipses, gates that can be dragged, and end members."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pyqtgraph as pg
from PySide6.QtCore import QObject, QSignalBlocker, Signal

from .. import theme as look
from ..theme import LIGHT, Theme
from .component_look import look_of

__all__ = ["Gates", "Members"]

Array = np.ndarray
Place = tuple[float, float]


class Gates(QObject):
    """Polygons whose corners can be dragged.

    Signal changed(index, vertices) when a hand lets a corner go. The polygons themselves take no
    mouse: one can gather pixels and draw others through them.
    """

    changed = Signal(int, object)

    def __init__(self, plot: pg.PlotWidget) -> None:
        super().__init__(plot)
        self._plot, self._theme = plot, LIGHT
        self._shown: list[tuple[int, list[Place]]] = []
        self._lines: list[pg.PlotCurveItem] = []
        self._names: list[pg.TextItem] = []
        self._corners: list[list[pg.TargetItem]] = []

    def set_theme(self, theme: Theme) -> None:
        self._theme = theme
        shown, self._shown = self._shown, []
        self.show(shown)

    def show(self, gates: Sequence[tuple[int, list[Place]]]) -> None:
        """(number, vertices) of each, in the view's coordinates."""
        if list(gates) == self._shown:
            return
        alike = [(k, len(v)) for k, v in gates] == [(k, len(v)) for k, v in self._shown]
        self._shown = list(gates)
        if alike:
            self._move()
            return
        for item in (*self._lines, *self._names, *(c for row in self._corners for c in row)):
            self._plot.removeItem(item)
        self._lines, self._names, self._corners = [], [], []
        for index, (number, vertices) in enumerate(gates):
            self._add(index, number, vertices)

    @property
    def corners(self) -> list[list[pg.TargetItem]]:
        """The handles of each gate."""
        return [list(row) for row in self._corners]

    def at(self, x: float, y: float) -> int:
        """Which gate holds a place, the last drawn first; -1 for none."""
        from skimage.measure import points_in_poly

        for index in reversed(range(len(self._shown))):
            if points_in_poly([(x, y)], self._shown[index][1])[0]:
                return index
        return -1

    def _add(self, index: int, number: int, vertices: list[Place]) -> None:
        one = look_of(number, self._theme)
        line = pg.PlotCurveItem(pen=pg.mkPen(one.colour, width=3))
        line.setZValue(15)
        name = pg.TextItem(one.letter, look.colour(self._theme.ink), anchor=(0.5, 0.5))
        name.fill = pg.mkBrush(look.colour(self._theme.panel, 220))
        name.setZValue(16)
        row = []
        for place in vertices:
            corner = pg.TargetItem(
                place, size=9, symbol="s", pen=pg.mkPen(self._theme.ink, width=1),
                brush=pg.mkBrush(one.colour), hoverPen=pg.mkPen(self._theme.accent, width=2),
            )  # fmt: skip
            corner.setZValue(18)
            corner.sigPositionChanged.connect(lambda *_, i=index: self._follow(i))
            corner.sigPositionChangeFinished.connect(lambda *_, i=index: self._tell(i))
            row.append(corner)
        self._lines.append(line)
        self._names.append(name)
        self._corners.append(row)
        for item in (line, name, *row):
            self._plot.addItem(item, ignoreBounds=True)
        self._follow(index)

    def _move(self) -> None:
        """The same polygons with their corners elsewhere."""
        for index, (_, vertices) in enumerate(self._shown):
            for corner, place in zip(self._corners[index], vertices, strict=True):
                with QSignalBlocker(corner):
                    corner.setPos(place)
            self._follow(index)

    def _places(self, index: int) -> list[Place]:
        return [(c.pos().x(), c.pos().y()) for c in self._corners[index]]

    def _follow(self, index: int) -> None:
        """The outline and the letter follow the corners."""
        places = np.array(self._places(index))
        closed = np.vstack([places, places[:1]])
        self._lines[index].setData(closed[:, 0], closed[:, 1])
        self._names[index].setPos(*places.mean(0))

    def _tell(self, index: int) -> None:
        self.changed.emit(index, self._places(index))


class Members(QObject):
    """Crosses that can be dragged. Signal moved(index, x, y) when a hand lets one go."""

    moved = Signal(int, float, float)

    def __init__(self, plot: pg.PlotWidget) -> None:
        super().__init__(plot)
        self._plot, self._theme = plot, LIGHT
        self._shown: list[tuple[int, float, float]] = []
        self._items: list[pg.TargetItem] = []

    @property
    def items(self) -> list[pg.TargetItem]:
        return list(self._items)

    def set_theme(self, theme: Theme) -> None:
        self._theme = theme
        shown, self._shown = self._shown, []
        self.show(shown)

    def show(self, members: Sequence[tuple[int, float, float]]) -> None:
        """(number, x, y) of each, in the view's coordinates."""
        if list(members) == self._shown:
            return
        alike = [k for k, _, _ in members] == [k for k, _, _ in self._shown]
        self._shown = list(members)
        if alike:
            for item, (_, x, y) in zip(self._items, members, strict=True):
                with QSignalBlocker(item):
                    item.setPos((x, y))
            return
        for item in self._items:
            self._plot.removeItem(item)
        self._items = []
        for index, (number, x, y) in enumerate(members):
            one = look_of(number, self._theme)
            item = pg.TargetItem(
                (x, y), size=16, symbol="crosshair", label=one.letter,
                pen=pg.mkPen(self._theme.ink, width=2), brush=pg.mkBrush(one.colour),
                hoverPen=pg.mkPen(self._theme.accent, width=3),
                labelOpts={"color": self._theme.ink, "offset": (10, -6)},
            )  # fmt: skip
            item.setZValue(18)
            item.sigPositionChangeFinished.connect(lambda it, i=index: self._tell(i, it))
            self._plot.addItem(item, ignoreBounds=True)
            self._items.append(item)

    def _tell(self, index: int, item: pg.TargetItem) -> None:
        self.moved.emit(index, float(item.pos().x()), float(item.pos().y()))
