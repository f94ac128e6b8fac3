"""What lies on the joint histogram: ellipses, gates that can be dragged, and end members."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pyqtgraph as pg
from PySide6.QtCore import QObject, Signal

from .. import theme as look
from ..theme import LIGHT, Theme
from .component_look import look_of

Array = np.ndarray
Place = tuple[float, float]


def ellipse(centre: Array, covariance: Array, share: float, corners: int = 72
            ) -> tuple[Array, Array]:  # fmt: skip
    """Outline that holds a share of a normal distribution of two dimensions.

    Its radius is √(-2 ln(1 - share)) standard deviations, since the square of the distance is
    exponentially distributed.
    """
    angle = np.linspace(0.0, 2.0 * math.pi, corners + 1)
    values, axes = np.linalg.eigh(np.asarray(covariance, float))
    round_ = np.stack([np.cos(angle), np.sin(angle)])
    reach = math.sqrt(-2.0 * math.log(1.0 - share))
    out = axes @ (np.sqrt(np.maximum(values, 0.0))[:, None] * round_) * reach
    return out[0] + float(centre[0]), out[1] + float(centre[1])


class Gates(QObject):
    """Polygons whose corners can be dragged. Signals changed(index, vertices), removed(index)."""

    changed = Signal(int, object)
    removed = Signal(int)

    def __init__(self, plot: pg.PlotWidget) -> None:
        super().__init__(plot)
        self._plot, self._theme = plot, LIGHT
        self._shown: list[tuple[int, list[Place]]] = []
        self._items: list[pg.PolyLineROI] = []
        self._names: list[pg.TextItem] = []

    def set_theme(self, theme: Theme) -> None:
        self._theme = theme
        shown, self._shown = self._shown, []
        self.show(shown)

    def show(self, gates: Sequence[tuple[int, list[Place]]]) -> None:
        """(number, vertices) of each, in the view's coordinates."""
        if list(gates) == self._shown:
            return
        self._shown = list(gates)
        for item in (*self._items, *self._names):
            self._plot.removeItem(item)
        self._items, self._names = [], []
        for index, (number, vertices) in enumerate(gates):
            self._add(index, number, vertices)

    @property
    def items(self) -> list[pg.PolyLineROI]:
        return list(self._items)

    def _add(self, index: int, number: int, vertices: list[Place]) -> None:
        one = look_of(number, self._theme)
        pen = pg.mkPen(one.colour, width=3)
        roi = pg.PolyLineROI(vertices, closed=True, movable=True, removable=True, pen=pen,
                             hoverPen=pg.mkPen(self._theme.accent, width=3),
                             handlePen=pg.mkPen(self._theme.ink, width=1.5))  # fmt: skip
        roi.setZValue(15)
        roi.sigRegionChangeFinished.connect(lambda item, i=index: self._tell(i, item))
        roi.sigRemoveRequested.connect(lambda item, i=index: self.removed.emit(i))
        self._plot.addItem(roi, ignoreBounds=True)
        name = pg.TextItem(one.letter, look.colour(self._theme.ink), anchor=(0.5, 0.5))
        name.fill = pg.mkBrush(look.colour(self._theme.panel, 220))
        name.setPos(*np.mean(vertices, axis=0))
        name.setZValue(16)
        self._plot.addItem(name, ignoreBounds=True)
        self._items.append(roi)
        self._names.append(name)

    def _tell(self, index: int, roi: pg.PolyLineROI) -> None:
        corners = [roi.mapToParent(handle.pos()) for handle in roi.getHandles()]
        found = [(p.x(), p.y()) for p in corners]
        if not np.allclose(found, self._shown[index][1], rtol=1e-9, atol=1e-12):
            self.changed.emit(index, found)


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
        self._shown = list(members)
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
