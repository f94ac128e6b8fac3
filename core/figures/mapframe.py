"""Where the parts of a map panel lie: map, axes, strip with scale bar and legend, colour bar.

All in points inside the panel's body, worked out from the widths of the texts, so that the maps of
a sheet can be of one size, and nothing touches. Scale bar and legend stand under the map: nothing
is written over a picture.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from .colouring import Scale, nice_length, ticks
from .fonts import text_width, wrapped
from .parts import Style

if TYPE_CHECKING:
    from ..forcemap import ForceMap

Array = np.ndarray
LEAST_MAP = 12.0
"""A map is at least so wide [pt], whatever else wants room."""
LINE = 1.15
"""From line to line of a colour bar's label, in heights of text."""
TALLEST = 1.6
"""A panel with a map wants no more height than this, in widths; a longer map gets narrower."""
RIGHT, BELOW, NO_BAR = "right", "below", "none"


@dataclass(frozen=True)
class Grid:
    """A map's pixels in space.

    Attributes
    ----------
    rows, cols : of pixels
    width, height : of the map [nm, or pixels without a scale]
    x, y : lower left corner in map coordinates
    scaled : whether lengths are in nm
    flip_x, flip_y : whether columns and rows run against the axes
    """

    rows: int
    cols: int
    width: float
    height: float
    x: float
    y: float
    scaled: bool
    flip_x: bool
    flip_y: bool

    def upright(self, values: Array) -> Array:
        """A map with its columns and rows along the axes."""
        values = values[:, ::-1] if self.flip_x else values
        return values[::-1] if self.flip_y else values

    @property
    def unit(self) -> tuple[str, float]:
        """Unit of lengths for people and how many of it one of the map's is."""
        if not self.scaled:
            return "pixels", 1.0
        return ("µm", 1e-3) if max(self.width, self.height) >= 1000.0 else ("nm", 1.0)


def grid_of(fmap: ForceMap) -> Grid:
    """The pixels of a map in space."""
    rows, cols = fmap.shape
    across, up = np.asarray(fmap.x, float), np.asarray(fmap.y, float)
    wide, high = _pitch(across), _pitch(up)
    wide, high = wide or abs(high) or 1.0, high or abs(wide) or 1.0  # of one line: as the other way
    x, y = (float(v.min(initial=math.inf)) - 0.5 * abs(p) for v, p in ((across, wide), (up, high)))
    return Grid(rows, cols, abs(wide) * cols, abs(high) * rows, x, y, fmap.has_scale, wide < 0.0,
                high < 0.0)  # fmt: skip


def _pitch(centres: Array) -> float:
    """From one pixel to the next, below zero where they fall; 0 where it can't be told."""
    return float(centres[-1] - centres[0]) / (centres.size - 1) if centres.size > 1 else 0.0


@dataclass(frozen=True)
class Entry:
    """Something in the strip under the map: `kind` of a hatch, or "bar" for the scale bar."""

    kind: str
    text: str
    length: float = 0.0
    """Of a scale bar, in map units."""


@dataclass(frozen=True)
class Placed:
    """An entry at its place: left edge and baseline [pt]."""

    entry: Entry
    x: float
    y: float


@dataclass(frozen=True)
class Frame:
    """A map panel laid out [pt].

    Attributes
    ----------
    width, height : of the body
    left, bottom, across, up : of the map
    strip : what stands under it
    bar : left, bottom, width, height of the colour bar, ends included; None without
    axes_room : height of tick texts and label under the map
    foot : upper edge of what stands below all of it
    """

    width: float
    height: float
    left: float
    bottom: float
    across: float
    up: float
    strip: tuple[Placed, ...] = ()
    bar: tuple[float, float, float, float] | None = None
    axes_room: float = 0.0
    foot: float = 0.0


@dataclass(frozen=True)
class Needs:
    """What a map panel wants beside its map.

    Attributes
    ----------
    bar : RIGHT, BELOW or NO_BAR; its label and longest tick text
    beside : room at the right [pt], at least that of the bar
    side : height of what stands there and may be higher than the map [pt]
    foot : height of what stands below all of it [pt]
    axes : whether there are axes
    scale_bar : whether there is one
    entries : legend under the map
    """

    bar: str = NO_BAR
    label: str = ""
    beside: float = 0.0
    side: float = 0.0
    foot: float = 0.0
    axes: bool = False
    scale_bar: bool = True
    entries: tuple[Entry, ...] = field(default=())


def bar_gap(style: Style) -> float:
    return 0.6 * style.font_size


def bar_width(style: Style) -> float:
    return 0.95 * style.font_size


def bar_room(style: Style, texts: list[str]) -> float:
    """Room that a colour bar at the right takes with its ticks and its label [pt]."""
    widest = max([text_width(t, style.small) for t in texts] + [text_width("0.0", style.small)])
    return bar_gap(style) + bar_width(style) + tick_room(style) + widest + 1.6 * style.font_size


def tick_room(style: Style) -> float:
    """Length of a tick and the space to its text [pt]."""
    return 0.55 * style.font_size


def bar_ends(scale: Scale, style: Style, length: float) -> tuple[float, float]:
    """Where the colours of a bar begin and end [pt]: before and beyond are the triangles."""
    tip = 0.9 * bar_width(style)
    start, stop = (tip if share > 0.0 else 0.0 for share in (scale.below, scale.above))
    return start, max(length - stop, start + 1.0)


def bar_ticks(scale: Scale, style: Style, length: float) -> tuple[list[float], list[str]]:
    """Ticks of a colour bar that is as long as this with its ends [pt]."""
    start, stop = bar_ends(scale, style, length)
    length = stop - start
    return ticks(scale, int(min(max(length / (3.0 * style.small), 2), 6)))


def lay(grid: Grid, needs: Needs, style: Style, width: float, height: float = 0.0) -> Frame:
    """Lay a map panel out; with a height of 0 as high as it wants to be."""
    left = _axis_left(grid, style) if needs.axes else 0.0
    beside = max(needs.beside, style.beside)
    across = max(width - left - beside, LEAST_MAP)
    ratio = grid.height / grid.width
    frame = _laid(grid, needs, style, width, left, across, across * ratio)
    wanted = frame.height
    if height and wanted > height:
        up = max(across * ratio - (wanted - height), LEAST_MAP * min(ratio, 1.0))
        frame = _laid(grid, needs, style, width, left, up / ratio, up)
    return _shifted(frame, height - frame.height) if height else frame


def _laid(grid: Grid, needs: Needs, style: Style, width: float, left: float, across: float,
          up: float) -> Frame:  # fmt: skip
    """All parts, from a map of this size at the top downwards."""
    axes_room = _axis_below(style) if needs.axes else 0.0
    top_room = 0.45 * style.small if needs.axes else 0.0  # of the uppermost tick's text
    entries = needs.entries
    if needs.scale_bar:
        entries = (scale_bar(grid, across), *entries)
    strip, used = _flow(entries, style, grid, left, across, width - left)
    spare = max(needs.side - up - axes_room, 0.0)  # what stands beside the map ends lower than it
    below = axes_room + spare + used
    bar = None
    if needs.bar == BELOW:
        below += bar_gap(style) + bar_width(style)
        bar = (left, -below, across, bar_width(style))
        below += tick_room(style) + 1.1 * style.small + 1.25 * style.font_size
    elif needs.bar == RIGHT:
        bar = (left + across + bar_gap(style), 0.0, bar_width(style), up)
    below += needs.foot
    height = top_room + up + below
    strip = tuple(replace(one, y=below - axes_room - spare + one.y) for one in strip)
    if bar is not None:
        bar = (bar[0], below + bar[1], bar[2], bar[3])
    return Frame(width, height, left, below, across, up, strip, bar, axes_room, needs.foot)


def _shifted(frame: Frame, by: float) -> Frame:
    """The frame moved up to the top of a higher body."""
    bar = frame.bar and (frame.bar[0], frame.bar[1] + by, frame.bar[2], frame.bar[3])
    strip = tuple(replace(one, y=one.y + by) for one in frame.strip)
    return replace(frame, height=frame.height + by, bottom=frame.bottom + by, strip=strip, bar=bar,
                   foot=frame.foot + by)  # fmt: skip


def scale_bar(grid: Grid, across: float) -> Entry:
    """A bar of a round length for a map that is drawn so wide."""
    length = nice_length(max(grid.width, 0.35 * grid.height))
    unit, factor = grid.unit
    if unit == "µm" and length < 1000.0:
        unit, factor = "nm", 1.0
    shown = length * factor
    if unit == "pixels":
        length = shown = max(1.0, round(length))
        unit = "pixel" if shown == 1.0 else "pixels"
    return Entry("bar", f"{shown:g} {unit}", length)


def swatch_width(style: Style) -> float:
    return 1.5 * style.small


def _flow(entries: tuple[Entry, ...], style: Style, grid: Grid, left: float, across: float,
          width: float) -> tuple[tuple[Placed, ...], float]:  # fmt: skip
    """Entries along lines under the map, the first baseline below zero; and the height used."""
    if not entries:
        return (), 0.0
    step, first = 1.35 * style.small, 1.3 * style.small
    x, line, found = 0.0, 0, []
    for entry in entries:
        need = _length(entry, style, grid, across)
        if x and x + need > width:
            x, line = 0.0, line + 1
        found.append(Placed(entry, left + x, -(first + line * step)))
        x += need + 1.2 * style.small
    return tuple(found), first + line * step + 0.3 * style.small


def mark_of(entry: Entry, style: Style, grid: Grid, across: float) -> float:
    """Width of what stands before an entry's text [pt]."""
    if entry.kind == "bar":
        return entry.length / grid.width * across
    return swatch_width(style)


def _length(entry: Entry, style: Style, grid: Grid, across: float) -> float:
    return (mark_of(entry, style, grid, across) + 0.4 * style.small
            + text_width(entry.text, style.small))


def _axis_left(grid: Grid, style: Style) -> float:
    longest = (f"{grid.height * grid.unit[1]:.0f}", "0.0")
    widest = max(text_width(text, style.small) for text in longest)
    return 1.5 * style.font_size + tick_room(style) + widest


def _axis_below(style: Style) -> float:
    return 1.3 * style.font_size + tick_room(style) + 1.1 * style.small


def label_lines(label: str, style: Style, length: float) -> list[str]:
    """The label of a colour bar in as many lines as it needs."""
    if text_width(label, style.font_size) <= length:
        return [label]
    return wrapped(label, style.font_size, length)


def paper(subfigure: Any, width: float, height: float) -> Any:
    """Invisible axes over the whole body, in points."""
    axes = subfigure.add_axes((0.0, 0.0, 1.0, 1.0), zorder=2)
    axes.set_xlim(0.0, width)
    axes.set_ylim(0.0, height)
    axes.axis("off")
    axes.patch.set_visible(False)
    return axes


def body_of(subfigure: Any) -> tuple[float, float]:
    """Width and height of a subfigure [pt]."""
    box, dpi = subfigure.bbox, subfigure.figure.dpi
    return 72.0 * box.width / dpi, 72.0 * box.height / dpi
