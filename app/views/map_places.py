"""Named places on a map: regions and line profiles, with the handles of the one that is held.

Points are x, y in nm on the map (pixel numbers without a scale); the item that paints them turns
them into the unit of the view.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import pyqtgraph as pg
from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QFont, QPainter, QPainterPath, QPainterPathStroker, QPolygonF, QTransform

from .. import theme as look
from ..theme import Theme
from .layer_items import paint_plate, visible

Array = np.ndarray
VERTEX, WHOLE, WIDTH = "vertex", "whole", "width"
MANY_CORNERS = 24
"""An outline with more corners than this was drawn by hand and has no handle at each."""
HANDLE = 9.0
"""A handle is so large on the screen [px]."""


@dataclass(frozen=True, eq=False)
class RegionMark:
    """A region: "rectangle" (two opposite corners), "polygon", "brush" (a path and its radius),
    or "pixels" (a mask on the map's grid, without points)."""

    name: str
    kind: str
    points: Array
    radius: float = 0.0
    mask: Array | None = None
    held: bool = False


@dataclass(frozen=True, eq=False)
class ProfileMark:
    """A line profile: its corners in order, the full width of its band, and the distances of the
    cursors A and B from its start (NaN for none)."""

    name: str
    points: Array
    width: float = 0.0
    cursors: tuple[float, float] = (math.nan, math.nan)
    held: bool = False


Mark = RegionMark | ProfileMark


@dataclass(frozen=True)
class Handle:
    """A place to take hold of a mark: what it does, which corner, and where it is."""

    what: str
    index: int
    x: float
    y: float


# ---- geometry, in nm


def corners(mark: Mark) -> Array:
    """The corners that can be taken hold of, (n, 2)."""
    points = np.asarray(mark.points, float).reshape(-1, 2)
    if isinstance(mark, ProfileMark) or mark.kind == "polygon":
        return points
    if mark.kind == "rectangle" and len(points) == 2:
        (x0, y0), (x1, y1) = points
        return np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)])
    return np.empty((0, 2))


def along(points: Array, distance: float) -> tuple[Array, Array]:
    """Place and direction (of length 1) at a distance along a line, held inside the line."""
    points = np.asarray(points, float).reshape(-1, 2)
    steps = np.diff(points, axis=0)
    lengths = np.hypot(*steps.T) if len(steps) else np.zeros(0)
    ends = np.concatenate([[0.0], np.cumsum(lengths)])
    if not ends[-1] > 0:
        return points[0], np.array([1.0, 0.0])
    at = min(max(distance, 0.0), ends[-1])
    i = min(int(np.searchsorted(ends, at, side="right")) - 1, len(lengths) - 1)
    while lengths[i] == 0:
        i -= 1
    way = steps[i] / lengths[i]
    return points[i] + (at - ends[i]) * way, way


def length_of(points: Array) -> float:
    """Length of a line through points."""
    return float(np.hypot(*np.diff(np.asarray(points, float).reshape(-1, 2), axis=0).T).sum())


def handles(mark: Mark, pixel: float) -> list[Handle]:
    """The handles of a mark; `pixel` is the length on the map of a pixel of the screen.

    Where a small handle lies on a large one, the corner comes first.
    """
    each = corners(mark)
    found = []
    if len(each) <= MANY_CORNERS:
        found = [Handle(VERTEX, i, *map(float, p)) for i, p in enumerate(each)]
    if isinstance(mark, ProfileMark):
        whole = length_of(each)
        middle, _ = along(each, 0.5 * whole)
        at, way = along(each, 0.25 * whole)
        out = max(0.5 * mark.width, 16.0 * pixel)
        aside = at + out * np.array([-way[1], way[0]])
        return [*found, Handle(WIDTH, 0, *map(float, aside)),
                Handle(WHOLE, 0, *map(float, middle))]  # fmt: skip
    points = np.asarray(mark.points, float).reshape(-1, 2)
    if not len(points):
        return found
    middle = (points.min(axis=0) + points.max(axis=0)) / 2
    if mark.kind == "brush":
        middle = points[len(points) // 2]
    return [*found, Handle(WHOLE, 0, *map(float, middle))]


def moved(mark: Mark, handle: Handle, x: float, y: float, pixel: float) -> Mark:
    """The mark once a handle has been dragged to a place."""
    points = np.asarray(mark.points, float).reshape(-1, 2)
    if handle.what == WHOLE:
        return replace(mark, points=points + (x - handle.x, y - handle.y))
    if handle.what == WIDTH and isinstance(mark, ProfileMark):
        at, way = along(points, 0.25 * length_of(points))
        out = abs(float((x - at[0]) * -way[1] + (y - at[1]) * way[0]))
        return replace(mark, width=2.0 * out if out > 4.0 * pixel else 0.0)
    each = corners(mark).copy()
    if isinstance(mark, RegionMark) and mark.kind == "rectangle":
        return replace(mark, points=np.array([each[(handle.index + 2) % 4], (x, y)]))
    each[handle.index] = (x, y)
    return replace(mark, points=each)


def thinned(points: Array, tolerance: float) -> Array:
    """A line with as few points as describe it within a tolerance; for drawing only."""
    if len(points) < 50:
        return points
    from skimage.measure import approximate_polygon

    return approximate_polygon(points, tolerance)


def outline(kind: str, points: Array, radius: float = 0.0) -> QPainterPath:
    """The outline of a shape in the unit of its points."""
    path, points = QPainterPath(), np.asarray(points, float).reshape(-1, 2)
    if not len(points):
        return path
    if kind == "rectangle":
        path.addRect(QRectF(QPointF(*points[0]), QPointF(*points[-1])).normalized())
    elif kind == "brush":
        stroker = QPainterPathStroker()
        stroker.setWidth(2.0 * radius)
        stroker.setCapStyle(Qt.PenCapStyle.RoundCap)
        stroker.setJoinStyle(Qt.PenJoinStyle.RoundJoin)
        line = QPainterPath(QPointF(*points[0]))
        if len(points) == 1:
            path.addEllipse(QPointF(*points[0]), radius, radius)
            return path
        for p in thinned(points, 0.05 * radius)[1:]:
            line.lineTo(QPointF(*p))
        path = stroker.createStroke(line).simplified()
    else:
        path.addPolygon(QPolygonF([QPointF(*p) for p in points]))
        if kind == "polygon":
            path.closeSubpath()
    return path


# ---- painting


@dataclass
class Places:
    """All that `PlacesItem` paints; `masks` maps a name to the outline of its pixels."""

    landmarks: Sequence[tuple[float, float]] = ()
    regions: Sequence[RegionMark] = ()
    profiles: Sequence[ProfileMark] = ()
    factor: float = 1.0
    masks: dict[str, QPainterPath] = field(default_factory=dict)


class PlacesItem(pg.GraphicsObject):
    """Paints regions and profiles, all lines of one width on the screen."""

    def __init__(self, level: float) -> None:
        super().__init__()
        self.setZValue(level)
        self.places, self._area = Places(), QRectF()
        self._theme: Theme | None = None
        self._font = QFont()
        self._found: dict[int, tuple[RegionMark, QPainterPath]] = {}

    def set_theme(self, theme: Theme, font: QFont) -> None:
        self._theme, self._font = theme, font
        self.update()

    def set_area(self, area: QRectF) -> None:
        """Where things may be, in the unit of the view."""
        self.prepareGeometryChange()
        self._area = area

    def boundingRect(self) -> QRectF:
        return self._area

    def paint(self, painter: QPainter, *_: object) -> None:
        if self._theme is None:
            return
        way = painter.worldTransform()
        way.scale(self.places.factor, self.places.factor)
        painter.save()
        painter.setWorldTransform(QTransform())
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.setFont(self._font)
        for region in self.places.regions:
            self._paint_region(painter, way, region)
        for profile in self.places.profiles:
            self._paint_profile(painter, way, profile)
        for i, at in enumerate(self.places.landmarks):
            self._paint_landmark(painter, way.map(QPointF(*at)), str(i + 1))
        painter.restore()

    def _paint_landmark(self, painter: QPainter, at: QPointF, number: str) -> None:
        """A ring with a point, and its number."""
        path = QPainterPath()
        for radius in (6.0, 0.5):
            path.addEllipse(at, radius, radius)
        self._line(painter, path, held=False)
        paint_plate(painter, at + QPointF(14, -10), number, self._theme, visible(self))

    def _line(self, painter: QPainter, path: QPainterPath, held: bool) -> None:
        """A light line with a dark rim, so that it shows on any colour; with the accent inside if
        it is held."""
        dark, light = self._theme.dark_edge, self._theme.light_edge
        pens = ((dark, 6.0), (light, 4.0), (self._theme.accent, 2.0))
        for colour, width in pens if held else ((dark, 3.5), (light, 1.5)):
            painter.strokePath(path, pg.mkPen(look.colour(colour), width=width))

    def _paint_region(self, painter: QPainter, way: QTransform, mark: RegionMark) -> None:
        path = way.map(self._outline(mark))
        if path.isEmpty():
            return
        self._line(painter, path, mark.held)
        box = path.boundingRect()
        self._plate(painter, QPointF(box.left(), box.top()), mark)
        self._handles(painter, way, mark)

    def _outline(self, mark: RegionMark) -> QPainterPath:
        """The outline in nm; that of a brush takes long to find and is kept."""
        if mark.kind == "pixels":
            return self.places.masks.get(mark.name, QPainterPath())
        if mark.kind != "brush":
            return outline(mark.kind, mark.points)
        key = id(mark)
        if key not in self._found:
            kept = {id(m) for m in self.places.regions}
            self._found = {k: v for k, v in self._found.items() if k in kept}
            self._found[key] = (mark, outline(mark.kind, mark.points, mark.radius))
        return self._found[key][1]

    def _plate(self, painter: QPainter, corner: QPointF, mark: Mark) -> None:
        """The name, its lower left corner at a place."""
        if mark.name:
            wide = painter.fontMetrics().horizontalAdvance(mark.name) + 8
            centre = corner + QPointF(wide / 2, -painter.fontMetrics().height() / 2 - 4)
            paint_plate(painter, centre, mark.name, self._theme, visible(self))

    def _paint_profile(self, painter: QPainter, way: QTransform, mark: ProfileMark) -> None:
        points = np.asarray(mark.points, float).reshape(-1, 2)
        if len(points) < 2:
            return
        if mark.width > 0:
            self._paint_band(painter, way, points, mark.width)
        seen = QPolygonF([way.map(QPointF(*p)) for p in points])
        path = QPainterPath()
        path.addPolygon(seen)
        self._line(painter, path, mark.held)
        self._arrow(painter, seen, mark.held)
        for letter, distance in zip("AB", mark.cursors, strict=True):
            if math.isfinite(distance):
                self._cursor(painter, way, points, distance, letter)
        start = seen[0]
        below = 18.0 if seen[1].y() < start.y() else 0.0
        self._plate(painter, start + QPointF(6, below + 2), mark)
        self._handles(painter, way, mark)

    def _paint_band(self, painter: QPainter, way: QTransform, points: Array, width: float) -> None:
        stroker = QPainterPathStroker()
        stroker.setWidth(width)
        stroker.setCapStyle(Qt.PenCapStyle.FlatCap)
        stroker.setJoinStyle(Qt.PenJoinStyle.MiterJoin)
        band = stroker.createStroke(outline("line", points)).simplified()
        band = way.map(band)
        painter.fillPath(band, look.colour(self._theme.light_edge, 45))
        painter.strokePath(band, pg.mkPen(look.colour(self._theme.dark_edge), width=1))
        painter.strokePath(band, pg.mkPen(look.colour(self._theme.light_edge), width=1,
                                          style=Qt.PenStyle.DashLine))  # fmt: skip

    def _arrow(self, painter: QPainter, seen: QPolygonF, held: bool) -> None:
        """The end of the profile, which tells its direction; before the handle if it has one."""
        tip, before = seen[seen.size() - 1], seen[seen.size() - 2]
        step = tip - before
        size = math.hypot(step.x(), step.y())
        if size < 1.0:
            return
        ahead, aside = step / size, QPointF(-step.y(), step.x()) / size
        tip = tip - (HANDLE + 5) * ahead if held else tip
        head = QPolygonF([tip + 5 * ahead, tip - 8 * ahead + 6 * aside,
                          tip - 8 * ahead - 6 * aside])  # fmt: skip
        painter.setPen(pg.mkPen(look.colour(self._theme.dark_edge), width=1))
        painter.setBrush(look.colour(self._theme.light_edge))
        painter.drawPolygon(head)

    def _cursor(self, painter: QPainter, way: QTransform, points: Array, distance: float,
                letter: str) -> None:  # fmt: skip
        at, direction = along(points, distance)
        here = way.map(QPointF(*at))
        there = way.map(QPointF(*(at + direction)))
        step = there - here
        size = math.hypot(step.x(), step.y()) or 1.0
        aside = QPointF(-step.y(), step.x()) * (12.0 / size)
        path = QPainterPath(here - aside)
        path.lineTo(here + aside)
        self._line(painter, path, True)
        paint_plate(painter, here + 1.9 * aside, letter, self._theme, visible(self))

    def _handles(self, painter: QPainter, way: QTransform, mark: Mark) -> None:
        if not mark.held:
            return
        pixel = 1.0 / (abs(way.m11()) or 1.0)
        half = HANDLE / 2
        painter.setPen(pg.mkPen(look.colour(self._theme.dark_edge), width=1))
        for handle in handles(mark, pixel):
            at = way.map(QPointF(handle.x, handle.y))
            square = QRectF(at.x() - half, at.y() - half, HANDLE, HANDLE)
            painter.setBrush(look.colour(self._theme.light_edge))
            if handle.what == VERTEX:
                painter.drawRect(square)
            elif handle.what == WHOLE:
                painter.setBrush(look.colour(self._theme.accent))
                painter.drawEllipse(square)
            else:
                steps = ((-1, 0), (0, -1), (1, 0), (0, 1))
                diamond = [at + (half + 1) * QPointF(*step) for step in steps]
                painter.drawPolygon(QPolygonF(diamond))
