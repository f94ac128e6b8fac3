"""Where the pointer is on a map: places in nm, lengths on the screen, and what can be gripped."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from PySide6.QtCore import QPointF

from .map_places import Handle, Mark, handles

if TYPE_CHECKING:
    from .map_view import MapView

Point = tuple[float, float]
REACH = 8.0
"""So near [px] a handle is under the pointer."""


class Pointing:
    """Places of the drawing area of a map view [px] and on its map: x, y in nm, or pixel numbers
    without a scale."""

    def __init__(self, view: MapView) -> None:
        self._view, self._layers = view, view.layers

    @property
    def pitch(self) -> float:
        """The shorter side of a pixel of the map."""
        m = self._view.image.transform()
        return min(abs(m.m11()), abs(m.m22())) / self._layers.factor

    @property
    def longest(self) -> float:
        """The longer side of the map."""
        area = self._layers.area
        return max(area.width(), area.height()) / self._layers.factor

    @property
    def screen_pixel(self) -> float:
        """Length on the map of a pixel of the screen."""
        return abs(self._view.box.viewPixelSize()[0]) / self._layers.factor

    def place_at(self, pos: QPointF) -> Point:
        """The place on the map under a place of the drawing area."""
        scene = self._view.plot.viewportTransform().inverted()[0].map(pos)
        at = self._view.box.mapSceneToView(scene)
        return at.x() / self._layers.factor, at.y() / self._layers.factor

    def pos_of(self, x: float, y: float) -> QPointF:
        """The way back of `place_at`."""
        f = self._layers.factor
        scene = self._view.box.mapViewToScene(QPointF(x * f, y * f))
        return self._view.plot.viewportTransform().map(scene)

    def inside(self, at: Point) -> Point:
        """The nearest place that is on the map."""
        area, f = self._layers.area, self._layers.factor
        return (min(max(at[0], area.left() / f), area.right() / f),
                min(max(at[1], area.top() / f), area.bottom() / f))  # fmt: skip

    def handle_at(self, pos: QPointF, mark: Mark | None) -> tuple[Mark, Handle] | None:
        """The mark and its handle under the pointer."""
        for handle in handles(mark, self.screen_pixel) if mark is not None else ():
            apart = self.pos_of(handle.x, handle.y) - pos
            if math.hypot(apart.x(), apart.y()) <= REACH:
                return mark, handle
        return None

    def on_divider(self, pos: QPointF) -> bool:
        """Whether the pointer is on the divider between map and picture."""
        divider = self._layers.picture.divider
        x = self.pos_of(divider.x / self._layers.factor, 0.0).x()
        return divider.isVisible() and abs(x - pos.x()) <= divider.GRIP

    def share(self, at: Point) -> float:
        """A place as a share of the map's width."""
        return self._layers.picture.divider.share_at(at[0] * self._layers.factor)
