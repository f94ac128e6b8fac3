"""A map of one channel as a panel."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from .. import colours
from ..channels import Channel
from ..sheets import MapOptions, Panel
from . import map_parts, mapframe, pixels
from .colouring import Scale, channel_of, limits_of, scale_of, shown_number
from .dressing import many
from .mapframe import BELOW, RIGHT, Entry, Frame, Grid, Needs
from .parts import DataTable, DrawnPanel, PanelError, Style

if TYPE_CHECKING:
    from ..findings import Findings

Array = np.ndarray
LEAST_BAR = 5.0
"""A colour bar beside a map is at least so high, in heights of small text."""


@dataclass(frozen=True, eq=False)
class Shown:
    """What a map panel shows.

    Attributes
    ----------
    values : (rows, cols) in core units, NaN where there is no colour
    excluded : which pixels have none, and why
    scale, table : colours
    """

    channel: Channel
    values: Array
    excluded: pixels.Excluded
    scale: Scale
    colour_map: colours.ColourMap
    table: Array
    grid: Grid
    options: MapOptions


def shown(panel: Panel, findings: Findings, style: Style) -> Shown:
    """What a map panel shows. Raises PanelError."""
    options = panel.options
    assert isinstance(options, MapOptions)
    channel = channel_of(options.channel)
    values, excluded = drawn_values(findings, channel, options.trusted)
    name = options.colours.strip() or colours.for_kind(channel.kind)
    if name not in colours.COLOURS:
        raise PanelError(f"There are no colours “{name[:40]}”; one of "
                         f"{', '.join(colours.COLOURS)}.")  # fmt: skip
    scale = scale_of(values, channel, options, style.shared, style.shared_by)
    return Shown(channel, values, excluded, scale, colours.COLOURS[name], colours.table(name),
                 mapframe.grid_of(findings.map), options)  # fmt: skip


def drawn_values(findings: Findings, channel: Channel, trusted: bool
                 ) -> tuple[Array, pixels.Excluded]:  # fmt: skip
    """A channel with NaN where no colour is drawn, and why. Raises PanelError if none is left."""
    values = np.array(findings.analysis.channel(channel.name), float)
    out = pixels.excluded(findings.analysis, values, trusted)
    if not np.isfinite(values).any():
        raise PanelError(f"{channel.label} has no value anywhere in this analysis: a constant is "
                         "missing, or its setting is off.")  # fmt: skip
    values[out.masks[pixels.LEFT]] = np.nan
    if not np.isfinite(values).any():
        raise PanelError(f"All pixels with {channel.label.lower()} are left out. Review them, or "
                         "draw distrusted pixels, too.")  # fmt: skip
    return values, out


def own_limits(panel: Panel, findings: Findings) -> tuple[str, float, float]:
    """Channel and limits of a panel by its own options. Raises PanelError."""
    options = panel.options
    assert isinstance(options, MapOptions)
    channel = channel_of(options.channel)
    values, _ = drawn_values(findings, channel, options.trusted)
    return (channel.name, *limits_of(values, channel, options))


def wanted_beside(panel: Panel, findings: Findings, style: Style, width: float) -> float:
    """Room right of the map [pt]; 0 where it can't be drawn."""
    try:
        return _framed(shown(panel, findings, style), style, width)[0].beside
    except PanelError:
        return 0.0


def wanted_height(panel: Panel, findings: Findings, style: Style, width: float) -> float:
    """How high the panel wants to be at a width [pt]."""
    try:
        wanted = _framed(shown(panel, findings, style), style, width)[1].height
    except PanelError:
        return 0.6 * width
    return min(wanted, mapframe.TALLEST * width)


def _framed(seen: Shown, style: Style, width: float, height: float = 0.0) -> tuple[Needs, Frame]:
    """What the panel needs and where it lies; with a height of 0 as high as it wants to be.

    The room beside the map depends on the length of the bar, which follows from the map.
    """
    length = 0.7 * width * seen.grid.height / seen.grid.width
    where = seen.options.bar
    if where == RIGHT and length < LEAST_BAR * style.small:
        where = BELOW
    for _ in range(4):
        needs = _needs(seen, style, where, length)
        frame = mapframe.lay(seen.grid, needs, style, width, height)
        if where != RIGHT or frame.bar is None or abs(frame.bar[3] - length) < 0.5:
            break
        length = frame.bar[3]
    return needs, frame


def _needs(seen: Shown, style: Style, where: str, length: float) -> Needs:
    """What the panel needs beside a bar of this length [pt]."""
    label = style.label(seen.channel.label, seen.scale.unit)
    beside = 0.0
    if where == RIGHT:
        texts = mapframe.bar_ticks(seen.scale, style, length)[1]
        more = len(mapframe.label_lines(label, style, length)) - 1
        beside = mapframe.bar_room(style, texts) + mapframe.LINE * style.font_size * more
    counts = seen.excluded.counts
    entries = tuple(Entry(kind, f"{kind} ({count:,})") for kind, count in counts.items())
    return Needs(where, label, beside, axes=seen.options.axes, scale_bar=seen.options.scale_bar,
                 entries=entries)  # fmt: skip


def draw(subfigure: Any, panel: Panel, findings: Findings, style: Style) -> DrawnPanel:
    """Draw a map panel. Raises PanelError."""
    seen = shown(panel, findings, style)
    width, height = mapframe.body_of(subfigure)
    needs, frame = _framed(seen, style, width, height)
    axes = map_parts.map_axes(subfigure, frame, seen.grid, style, seen.options.axes)
    map_parts.show_pixels(axes, picture_of(seen, frame, style), seen.grid)
    remarks = (*_widened(seen), *_draw_over(axes, seen, findings, style))
    paper = mapframe.paper(subfigure, width, height)
    map_parts.draw_strip(paper, frame, seen.grid, style)
    map_parts.draw_bar(paper, frame, needs, seen.scale, seen.table, style)
    return DrawnPanel(panel, tables=(table_of(seen, findings),),
                      caption=caption_of(seen, frame), remarks=remarks)  # fmt: skip


def picture_of(seen: Shown, frame: Frame, style: Style) -> Array:
    """The map's pixels, uint8 (rows, cols, 3), enlarged by a whole factor to the dpi at least."""
    grid = seen.grid
    factor = max(pixels.factor_for(grid.cols, frame.across, style.dpi),
                 pixels.factor_for(grid.rows, frame.up, style.dpi))  # fmt: skip
    index = grid.upright(seen.scale.indices(seen.values, len(seen.table)))
    picture = pixels.enlarged(seen.table[:, :3][index], factor)
    period = pixels.period_of(factor, frame.across / grid.cols, style)
    for kind, mask in seen.excluded.masks.items():
        if mask.any():
            pixels.hatch_into(picture, grid.upright(mask), kind, factor, period)
    return picture


def _widened(seen: Shown) -> tuple[str, ...]:
    """That typed limits gave way to those of the panels that share them."""
    options, scale = seen.options, seen.scale
    if not (options.limits == "set" and options.shared) or (
            (scale.low, scale.high) == (options.low, options.high)):  # fmt: skip
        return ()
    ends = [shown_number(v * scale.factor, scale.span) for v in
            (options.low, options.high, scale.low, scale.high)]  # fmt: skip
    unit = f" {scale.unit}" if scale.unit else ""
    return (f"Limits were typed as {ends[0]} to {ends[1]}{unit} and widened to {ends[2]} to "
            f"{ends[3]}{unit}, since they are shared with other panels.",)  # fmt: skip


def _draw_over(axes: Any, seen: Shown, findings: Findings, style: Style) -> tuple[str, ...]:
    """Boundaries and places; what can't be drawn is told."""
    remarks = []
    labels = findings.labels
    if seen.options.boundaries:
        if labels is None:
            remarks.append("There are no components, so no boundaries over the map.")
        else:
            map_parts.draw_edges(axes, labels, seen.grid, style.thin)
    places = findings.work.places
    if seen.options.places and places is not None and len(places):
        misfit = places.misfit(findings.map.has_scale)
        if misfit:
            remarks.append(misfit)
        else:
            map_parts.draw_places(axes, places, labels, np.asarray(findings.map.x, float),
                                  np.asarray(findings.map.y, float), seen.grid, style)  # fmt: skip
    elif seen.options.places:
        remarks.append("There are no regions or profiles to draw over the map.")
    return tuple(remarks)


def within(label: str) -> str:
    """A channel's label inside a sentence: names keep their capital."""
    return label if label.startswith("Young") else label[0].lower() + label[1:]


def _kept_words(seen: Shown) -> str:
    """That pixels are drawn which are not to be used."""
    if seen.excluded.kept >= np.count_nonzero(np.isfinite(seen.values)):
        return "none of the pixels that are drawn is to be used"
    kept = many(seen.excluded.kept)
    verb = "is" if seen.excluded.kept == 1 else "are"
    return f"{kept} that {verb} not to be used {verb} drawn as well"


def caption_of(seen: Shown, frame: Frame) -> str:
    """What the panel shows, a phrase for the caption."""
    parts = [f"map of {within(seen.channel.label)}", seen.scale.words]
    if seen.excluded.words:
        parts.append(f"hatched: {seen.excluded.words}")
    if seen.excluded.kept:
        parts.append(_kept_words(seen))
    bar = next((p.entry.text for p in frame.strip if p.entry.kind == "bar"), "")
    if bar:
        parts.append(f"scale bar {bar}")
    if seen.options.boundaries:
        parts.append("lines: boundaries of components")
    return "; ".join(parts)


def table_of(seen: Shown, findings: Findings) -> DataTable:
    """The numbers behind the map, a row a pixel."""
    channel, fmap = seen.channel, findings.map
    rows, cols = np.divmod(np.arange(seen.values.size), fmap.shape[1])
    values = np.asarray(findings.analysis.channel(channel.name), float).ravel()
    errors = findings.analysis.errors(channel.name)
    state = np.full(values.size, "drawn", dtype="<U10")
    for kind, mask in seen.excluded.masks.items():
        state[mask.ravel()] = kind
    length = "nm" if fmap.has_scale else "pixel"
    columns = [("row", "", "scan line, from 0"), ("column", "", "from 0"),
               ("x", length, "centre of the pixel"), ("y", length, "centre of the pixel"),
               (channel.name, channel.unit, channel.formula)]  # fmt: skip
    data: list[Array] = [rows, cols, np.asarray(fmap.x, float)[cols],
                         np.asarray(fmap.y, float)[rows], values]  # fmt: skip
    if errors is not None:
        columns.append((f"u_{channel.name}", channel.unit, "local standard uncertainty"))
        data.append(np.asarray(errors, float).ravel())
    columns.append(("state", "", "drawn, left out, no value or no curve"))
    data.append(state)
    return DataTable(f"map_{channel.name}", tuple(columns), tuple(data),
                     f"{channel.label} at each pixel, as drawn.")  # fmt: skip
