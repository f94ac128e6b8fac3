"""Regions of a map: frozen shapes in map coordinates, and the pixels that belong to them.

A pixel belongs when its centre does. Of a rectangle's or polygon's outline the left and lower parts
belong and the right and upper parts do not, so that shapes that share an edge never share a pixel.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from ..errors import SettingsError
from . import checks
from .checks import Point

Array = np.ndarray
MOST_STROKES = 2_000
MOST_PARTS = 200
HIGHEST_COMPONENT = 9_999
_AT_ONCE = 4_000_000  # crossings of edges and rows worked out in one go


@dataclass(frozen=True)
class Rectangle:
    """Two opposite corners, in any order; kept with the lower left one first."""

    x0: float
    y0: float
    x1: float
    y1: float

    def __post_init__(self) -> None:
        x0, y0, x1, y1 = (checks.number(f"rectangle.{key}", getattr(self, key))
                          for key in ("x0", "y0", "x1", "y1"))  # fmt: skip
        for key, value in (("x0", min(x0, x1)), ("x1", max(x0, x1)),
                           ("y0", min(y0, y1)), ("y1", max(y0, y1))):  # fmt: skip
            object.__setattr__(self, key, value)


@dataclass(frozen=True)
class Polygon:
    """Corners, the last joined to the first; where it crosses itself the even-odd rule holds."""

    vertices: tuple[Point, ...]

    def __post_init__(self) -> None:
        object.__setattr__(self, "vertices", checks.points("polygon.vertices", self.vertices))


@dataclass(frozen=True)
class Brush:
    """Strokes ``(points, radius)``: all that lies within the radius of a stroke's line, the
    outline itself included."""

    strokes: tuple[tuple[tuple[Point, ...], float], ...]

    def __post_init__(self) -> None:
        made, total = [], 0
        given = checks.listed("brush.strokes", self.strokes)
        if len(given) > MOST_STROKES:
            raise SettingsError(
                "brush.strokes", f"has {len(given):,} strokes; {MOST_STROKES:,} at most."
            )
        for i, stroke in enumerate(given):
            at = f"brush.strokes[{i}]"
            pair = checks.listed(at, stroke)
            if len(pair) != 2:
                raise SettingsError(at, "must be the points of a line and a radius: write both.")
            line = checks.points(f"{at}.points", pair[0])
            made.append((line, checks.number(f"{at}.radius", pair[1], 0.0)))
            total += len(line)
        if total > checks.MOST_POINTS:
            raise SettingsError("brush.strokes", f"has {total:,} points; draw it with "
                                f"{checks.MOST_POINTS:,} at most.")  # fmt: skip
        object.__setattr__(self, "strokes", tuple(made))


@dataclass(frozen=True)
class OfComponent:
    """All pixels with one component label; follows the labels when they are found anew."""

    number: int
    name: str = ""

    def __post_init__(self) -> None:
        value = self.number
        whole = isinstance(value, int | np.integer) and not isinstance(value, bool)
        if not whole or not 0 <= value <= HIGHEST_COMPONENT:
            raise SettingsError("component.number", "must be a whole number from 0 to "
                                f"{HIGHEST_COMPONENT:,}: correct it.")  # fmt: skip
        object.__setattr__(self, "number", int(value))
        if self.name != "":
            checks.name("component.name", self.name)


Simple = Rectangle | Polygon | Brush | OfComponent


@dataclass(frozen=True)
class Combined:
    """What lies in any of the shapes added and in none of those taken away."""

    added: tuple[Simple, ...]
    taken: tuple[Simple, ...] = ()

    def __post_init__(self) -> None:
        for key in ("added", "taken"):
            parts = tuple(checks.listed(f"combined.{key}", getattr(self, key)))
            for i, part in enumerate(parts):
                if not isinstance(part, Simple):
                    raise SettingsError(f"combined.{key}[{i}]", "must be a rectangle, a polygon, "
                                        "a brush or a component: choose one.")  # fmt: skip
            object.__setattr__(self, key, parts)
        count = len(self.added) + len(self.taken)
        if count > MOST_PARTS:
            raise SettingsError("combined", f"has {count:,} parts; {MOST_PARTS} at most.")
        total = points_of(self)
        if total > checks.MOST_POINTS:
            raise SettingsError("combined", f"has {total:,} points; draw it with "
                                f"{checks.MOST_POINTS:,} at most.")  # fmt: skip


Shape = Simple | Combined


def points_of(shape: Shape) -> int:
    """How many points describe a shape."""
    if isinstance(shape, Polygon):
        return len(shape.vertices)
    if isinstance(shape, Brush):
        return sum(len(line) for line, _ in shape.strokes)
    if isinstance(shape, Combined):
        return sum(points_of(part) for part in (*shape.added, *shape.taken))
    return 1


@dataclass(frozen=True)
class Region:
    """A named shape.

    Attributes
    ----------
    name : one printable line of up to 80 characters
    shape : in nm, or in pixels where the map has no scale (see `Places.unit`)
    note : a person's own words
    """

    name: str
    shape: Shape
    note: str = ""

    def __post_init__(self) -> None:
        checks.name("region.name", self.name)
        checks.note("region.note", self.note)
        if not isinstance(self.shape, Shape):
            raise SettingsError("region.shape", "must be a rectangle, a polygon, a brush, a "
                                "component or a combination: choose one.")  # fmt: skip


def mask_of(region: Region | Shape, x: Any, y: Any, labels: Array | None = None) -> Array:
    """The pixels of a region.

    Parameters
    ----------
    region : a region or a bare shape
    x, y : centres of the pixels, (cols,) and (rows,), rising or falling, in the region's unit
    labels : int (rows, cols), component of each pixel; needed by `OfComponent`

    Returns
    -------
    bool (rows, cols) : empty where the shape holds no pixel centre, or its labels are missing;
        `why_empty` then says why

    Raises
    ------
    ValueError : labels of another shape than the map
    """
    x, y = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    if labels is not None and np.shape(labels) != (y.size, x.size):
        raise ValueError(f"the labels have the shape {np.shape(labels)}, the map "
                         f"{(y.size, x.size)}")  # fmt: skip
    return _mask(region.shape if isinstance(region, Region) else region, x, y, labels)


def _mask(shape: Shape, x: Array, y: Array, labels: Array | None) -> Array:
    if isinstance(shape, Rectangle):
        across = (x >= shape.x0) & (x < shape.x1)
        return ((y >= shape.y0) & (y < shape.y1))[:, None] & across[None, :]
    if isinstance(shape, Polygon):
        return _inside(np.array(shape.vertices, dtype=float).reshape(-1, 2), x, y)
    if isinstance(shape, Brush):
        return _painted(shape, x, y)
    if isinstance(shape, OfComponent):
        if labels is None:
            return np.zeros((y.size, x.size), dtype=bool)
        return np.asarray(labels) == shape.number
    found = np.zeros((y.size, x.size), dtype=bool)
    for part in shape.added:
        found |= _mask(part, x, y, labels)
    for part in shape.taken:
        found &= ~_mask(part, x, y, labels)
    return found


def _rising(axis: Array) -> tuple[Array, slice]:
    """An axis in rising order, and the slice that turns results back."""
    falls = axis.size > 1 and axis[0] > axis[-1]
    return (axis[::-1], slice(None, None, -1)) if falls else (axis, slice(None))


def _inside(corners: Array, x: Array, y: Array) -> Array:
    """Even-odd rule: a centre is inside if an odd number of edges lies to its right.

    An edge toggles all centres left of where it crosses the row, so for each row only the index of
    the crossing is needed, and a running parity from the right does the rest.
    """
    x, back = _rising(x)
    toggles = np.zeros((y.size, x.size + 1), dtype=np.int64)
    if len(corners) >= 3:
        ends = np.stack([corners, np.roll(corners, -1, axis=0)], axis=1)
        flip = ends[:, 0, 1] > ends[:, 1, 1]
        ends[flip] = ends[flip, ::-1]  # from below: both neighbours compute the same crossing
        chunk = max(1, _AT_ONCE // max(y.size, 1))
        for first in range(0, len(ends), chunk):
            (x0, y0), (x1, y1) = ends[first : first + chunk].transpose(1, 2, 0)
            edge, row = np.nonzero((y0[:, None] <= y) & (y < y1[:, None]))
            share = (y[row] - y0[edge]) / (y1[edge] - y0[edge])
            crossing = x0[edge] + share * (x1[edge] - x0[edge])
            np.add.at(toggles, (row, np.searchsorted(x, crossing, side="left")), 1)
    later = np.cumsum(toggles[:, ::-1], axis=1)[:, ::-1]
    return (later[:, 1:] % 2 == 1)[:, back]


def _painted(brush: Brush, x: Array, y: Array) -> Array:
    """Centres within the radius of a segment; only the box around each segment is looked at."""
    xs, back_x = _rising(x)
    ys, back_y = _rising(y)
    found = np.zeros((y.size, x.size), dtype=bool)
    for (ax, ay), (bx, by), radius in _segments(brush):
        low = np.searchsorted(xs, min(ax, bx) - radius), np.searchsorted(ys, min(ay, by) - radius)
        high = (np.searchsorted(xs, max(ax, bx) + radius, side="right"),
                np.searchsorted(ys, max(ay, by) + radius, side="right"))  # fmt: skip
        box = slice(low[1], high[1]), slice(low[0], high[0])
        if found[box].all():  # also of a box without pixels
            continue
        px, py = xs[None, box[1]] - ax, ys[box[0], None] - ay
        dx, dy = bx - ax, by - ay
        length = dx * dx + dy * dy
        along = np.clip((px * dx + py * dy) / length, 0.0, 1.0) if length > 0.0 else 0.0
        found[box] |= (px - along * dx) ** 2 + (py - along * dy) ** 2 <= radius * radius
    return found[back_y, back_x]


def _segments(brush: Brush) -> Iterator[tuple[Point, Point, float]]:
    for line, radius in brush.strokes:
        if len(line) == 1:
            yield line[0], line[0], radius
        for one, other in zip(line, line[1:], strict=False):
            yield one, other, radius


def why_empty(region: Region | Shape, x: Any, y: Any, labels: Array | None = None) -> str:
    """Why a region holds no pixel, one sentence; empty text if it holds some."""
    if mask_of(region, x, y, labels).any():
        return ""
    shape = region.shape if isinstance(region, Region) else region
    return _degenerate(shape, labels) or _beside(np.asarray(x, float), np.asarray(y, float), shape)


def _degenerate(shape: Shape, labels: Array | None) -> str:
    if isinstance(shape, Rectangle) and (shape.x0 == shape.x1 or shape.y0 == shape.y1):
        return "The rectangle has no width or no height."
    if isinstance(shape, Polygon) and len(set(shape.vertices)) < 3:
        return "The polygon has fewer than three different corners."
    if isinstance(shape, Brush) and not any(line for line, _ in shape.strokes):
        return "Nothing was painted."
    if isinstance(shape, OfComponent):
        name = f" ({shape.name})" if shape.name else ""
        if labels is None:
            return "No components have been found yet, and the region is one of them."
        return f"No pixel belongs to component {shape.number}{name}."
    if isinstance(shape, Combined) and not shape.added:
        return "Nothing was added to the region."
    if isinstance(shape, Combined) and shape.taken:
        return "What was taken away leaves no pixel."
    return ""


def _beside(x: Array, y: Array, shape: Shape) -> str:
    low, high = bounds_of(shape)
    if x.size and y.size and all(np.isfinite((*low, *high))):
        apart = high[0] < x.min() or low[0] > x.max() or high[1] < y.min() or low[1] > y.max()
        if apart:
            return "The region lies beside the map."
    return "The region lies between the centres of the pixels: make it larger."


def bounds_of(shape: Shape) -> tuple[Point, Point]:
    """Lower left and upper right corner of the box around a shape; NaN if it has none."""
    corners: list[Point] = []
    if isinstance(shape, Rectangle):
        corners = [(shape.x0, shape.y0), (shape.x1, shape.y1)]
    elif isinstance(shape, Polygon):
        corners = list(shape.vertices)
    elif isinstance(shape, Brush):
        corners = [(px + s * r, py + s * r) for line, r in shape.strokes for px, py in line
                   for s in (-1.0, 1.0)]  # fmt: skip
    elif isinstance(shape, Combined):
        boxes = [bounds_of(part) for part in shape.added]
        corners = [corner for box in boxes for corner in box if np.isfinite(corner).all()]
    if not corners:
        return (np.nan, np.nan), (np.nan, np.nan)
    xs, ys = zip(*corners, strict=True)
    return (min(xs), min(ys)), (max(xs), max(ys))
