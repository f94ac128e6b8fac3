"""Which pixel belongs to which component, as a panel.

Each component has a colour, a letter on its largest domain and a line in the legend; boundary zones
are striped, so that nothing is told by colour alone.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np

from .. import colours
from ..sheets import ComponentOptions, Panel
from ..units import text_of
from . import map_parts, mapframe, pixels, side_legend
from .dressing import many
from .mapframe import Entry, Frame, Grid, Needs
from .parts import DataTable, DrawnPanel, PanelError, Style

if TYPE_CHECKING:
    from ..components import Composition, Table
    from ..findings import Findings

Array = np.ndarray
ZONE, REST = "boundary zone", "in no component"


@dataclass(frozen=True)
class Line:
    """One component in the legend: its colour, what stands first, and the area below it."""

    number: int
    title: str
    area: str


def composition_of(findings: Findings) -> Composition:
    """The components. Raises PanelError where there are none."""
    if findings.composition is None:
        why = next((note for note in findings.notes if "omponents" in note), "")
        raise PanelError(why or "There are no components. Find them in the panel Components.")
    return findings.composition


def _options(panel: Panel) -> ComponentOptions:
    assert isinstance(panel.options, ComponentOptions)
    return panel.options


def legend(findings: Findings, options: ComponentOptions) -> tuple[Line, ...]:
    """The legend's lines, one a component."""
    composition = composition_of(findings)
    return tuple(Line(k, composition.title(k), _area(findings.table, k) if options.shares else "")
                 for k in range(composition.count))  # fmt: skip


def _area(table: Table | None, number: int) -> str:
    """The share of a component with its standard error, in per cent; "" if not known."""
    if table is None or number >= len(table.rows):
        return ""
    share = table.rows[number].share
    if not math.isfinite(share.fraction):
        return ""
    per_cent, error = 100.0 * share.fraction, 100.0 * share.error
    if not (math.isfinite(error) and error > 0.0):
        return f"{per_cent:.1f} %"
    return f"{text_of(per_cent, '', error)} %"


def wanted_beside(panel: Panel, findings: Findings, style: Style, width: float) -> float:
    """Room of the legend right of the map [pt]; 0 where there are no components."""
    try:
        lines = legend(findings, _options(panel))
    except PanelError:
        return 0.0
    return side_legend.room_of(_items(lines, style), style, width).beside


def _items(lines: tuple[Line, ...], style: Style) -> list[side_legend.Item]:
    """The legend with its swatches."""
    return [side_legend.Item((one.title, one.area), partial(_paint, one.number, style))
            for one in lines]  # fmt: skip


def _paint(number: int, style: Style, paper: Any, box: side_legend.Box) -> None:
    map_parts.outline(paper, box, style, colours.component_colour(number))


def _needs(panel: Panel, findings: Findings, style: Style, width: float) -> Needs:
    options, composition = _options(panel), composition_of(findings)
    found = [(ZONE, _zone(composition))] if options.zones else []
    found.append((REST, ~composition.labelled))
    entries = tuple(Entry(_hatch(kind), f"{kind} ({int(mask.sum()):,})")
                    for kind, mask in found if mask.any())  # fmt: skip
    room = side_legend.room_of(_items(legend(findings, options), style), style, width)
    return Needs(axes=options.axes, scale_bar=options.scale_bar, entries=entries,
                 beside=room.beside, side=room.side, foot=room.foot)  # fmt: skip


def _hatch(kind: str) -> str:
    return pixels.LEFT if kind == REST else pixels.OVER


def _zone(composition: Composition) -> Array:
    """Labelled pixels near a boundary or between components."""
    from ..components.zones import BOUNDARY, MIXED

    return np.asarray(composition.labelled & np.isin(composition.kinds, (BOUNDARY, MIXED)))


def wanted_height(panel: Panel, findings: Findings, style: Style, width: float) -> float:
    """How high the panel wants to be at a width [pt]."""
    try:
        needs = _needs(panel, findings, style, width)
    except PanelError:
        return 0.6 * width
    wanted = mapframe.lay(mapframe.grid_of(findings.map), needs, style, width).height
    return min(wanted, mapframe.TALLEST * width)


def draw(subfigure: Any, panel: Panel, findings: Findings, style: Style) -> DrawnPanel:
    """Draw the component map. Raises PanelError where there are no components."""
    composition, options = composition_of(findings), _options(panel)
    width, height = mapframe.body_of(subfigure)
    grid = mapframe.grid_of(findings.map)
    needs = _needs(panel, findings, style, width)
    frame = mapframe.lay(grid, needs, style, width, height)
    axes = map_parts.map_axes(subfigure, frame, grid, style, options.axes)
    map_parts.show_pixels(axes, picture_of(composition, options, grid, frame, style), grid)
    for number, (x, y) in letter_places(grid.upright(composition.labels)).items():
        cell = grid.width / grid.cols * grid.unit[1], grid.height / grid.rows * grid.unit[1]
        map_parts.plate(axes, _sign(number), (x * cell[0], y * cell[1]), style, bold=True)
    paper = mapframe.paper(subfigure, width, height)
    map_parts.draw_strip(paper, frame, grid, style)
    remarks = side_legend.draw(paper, _items(legend(findings, options), style), frame, style)
    return DrawnPanel(panel, tables=(table_of(composition, findings),),
                      caption=caption_of(findings, options, frame), remarks=remarks)  # fmt: skip


def picture_of(composition: Composition, options: ComponentOptions, grid: Grid, frame: Frame,
               style: Style) -> Array:  # fmt: skip
    """The pixels in the colours of their components, enlarged by a whole factor."""
    factor = max(pixels.factor_for(grid.cols, frame.across, style.dpi),
                 pixels.factor_for(grid.rows, frame.up, style.dpi))  # fmt: skip
    known = [colours.rgb(colours.component_colour(k)) for k in range(composition.count)]
    table = np.array([*known, (255, 255, 255)], np.uint8)
    labels = grid.upright(composition.labels)
    picture = pixels.enlarged(table[labels], factor)
    period = pixels.period_of(factor, frame.across / grid.cols, style)
    if options.zones:
        pixels.stripe_over(picture, grid.upright(_zone(composition)), factor, period)
    pixels.hatch_into(picture, labels < 0, pixels.LEFT, factor, period)
    return picture


def _sign(number: int) -> str:
    from ..components import letter

    return letter(number)


def letter_places(labels: Array) -> dict[int, tuple[float, float]]:
    """Where each component's letter stands: the pixel of the component that is farthest from
    all others, in columns and rows from the lower left corner."""
    from scipy.ndimage import distance_transform_edt

    found = {}
    for number in np.unique(labels[labels >= 0]):
        inside = np.pad(labels == number, 1)
        depth = distance_transform_edt(inside)[1:-1, 1:-1]
        row, col = np.unravel_index(int(np.argmax(depth)), depth.shape)
        found[int(number)] = (float(col) + 0.5, float(row) + 0.5)
    return found


def caption_of(findings: Findings, options: ComponentOptions, frame: Frame) -> str:
    """What the panel shows, a phrase for the caption."""
    composition = composition_of(findings)
    lines = legend(findings, options)
    names = ", ".join(f"{one.title} {one.area}".strip() for one in lines)
    parts = [f"components: {names}"]
    if any("±" in one.area for one in lines):
        parts[0] += " of the labelled area (± one standard error)"
    if options.zones and _zone(composition).any():
        parts.append("striped: pixels near a boundary or between components")
    rest = int(np.count_nonzero(~composition.labelled))
    if rest:
        why = ", ".join(f"{words}: {count:,}" for words, count in composition.left_out.items())
        parts.append(f"hatched: {many(rest)} in no component ({why})")
    bar = next((p.entry.text for p in frame.strip if p.entry.kind == "bar"), "")
    return "; ".join([*parts, f"scale bar {bar}"] if bar else parts)


def table_of(composition: Composition, findings: Findings) -> DataTable:
    """The numbers behind the panel, a row a pixel."""
    from ..components.zones import KINDS

    fmap = findings.map
    rows, cols = np.divmod(np.arange(composition.labels.size), fmap.shape[1])
    length = "nm" if fmap.has_scale else "pixel"
    labels = np.asarray(composition.labels).ravel()
    signs = np.array([*(_sign(k) for k in range(composition.count)), ""])
    kinds = np.array([KINDS[k] for k in sorted(KINDS)])
    columns = (("row", "", "scan line, from 0"), ("column", "", "from 0"),
               ("x", length, "centre of the pixel"), ("y", length, "centre of the pixel"),
               ("component", "", "letter; empty: in none"),
               ("membership", "", "how probable the label is"),
               ("kind", "", "pure, near a boundary ..."))  # fmt: skip
    values = (rows, cols, np.asarray(fmap.x, float)[cols], np.asarray(fmap.y, float)[rows],
              signs[labels], np.asarray(composition.membership, float).ravel(),
              kinds[np.asarray(composition.kinds).ravel()])  # fmt: skip
    return DataTable("components_map", columns, values, "Component of each pixel, as drawn.")
