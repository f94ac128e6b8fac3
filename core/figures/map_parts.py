"""Drawing the parts of a map panel into its frame: pixels, axes, strip, colour bar, lines."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from . import pixels
from .colouring import Scale, even_ticks, texts
from .fonts import text_width
from .mapframe import (
    BELOW,
    LINE,
    Frame,
    Grid,
    Needs,
    bar_ends,
    bar_ticks,
    label_lines,
    mark_of,
    swatch_width,
    tick_room,
)
from .parts import Style

if TYPE_CHECKING:
    from ..places import Places

Array = np.ndarray
INK, PAPER = "#000000", "#ffffff"
HALO = 2.4
"""How much wider the light line under a dark one is."""


def map_axes(subfigure: Any, frame: Frame, grid: Grid, style: Style, axes: bool) -> Any:
    """The map's own axes, in the unit shown."""
    place = (frame.left / frame.width, frame.bottom / frame.height,
             frame.across / frame.width, frame.up / frame.height)  # fmt: skip
    made = subfigure.add_axes(place, zorder=1)
    unit, factor = grid.unit
    made.set_xlim(0.0, grid.width * factor)
    made.set_ylim(0.0, grid.height * factor)
    made.set_facecolor(PAPER)
    for spine in made.spines.values():
        spine.set_linewidth(style.thin)
    if not axes:
        made.set_xticks([])
        made.set_yticks([])
        return made
    for axis, length, end, name in ((made.xaxis, frame.across, grid.width, "x"),
                                    (made.yaxis, frame.up, grid.height, "y")):
        if length < 3.0 * style.small:  # a map of a few lines
            axis.set_ticks([])
            continue
        places = even_ticks(0.0, end * factor, int(min(max(length / (4.0 * style.small), 2), 5)))
        axis.set_ticks(places, labels=texts(places))
        axis.set_label_text(style.label(name, unit), fontsize=style.font_size)
    made.tick_params(labelsize=style.small, width=style.thin, length=0.3 * style.font_size,
                     pad=0.25 * style.font_size)  # fmt: skip
    made.xaxis.labelpad = made.yaxis.labelpad = 0.2 * style.font_size
    return made


def show_pixels(axes: Any, picture: Array, grid: Grid) -> None:
    """An enlarged picture, uint8 (rows, cols, 3), row 0 at the bottom, over the whole map."""
    factor = grid.unit[1]
    axes.imshow(picture, origin="lower", interpolation="none", aspect="auto", zorder=1,
                extent=(0.0, grid.width * factor, 0.0, grid.height * factor))  # fmt: skip


def put_image(paper: Any, picture: Array, box: tuple[float, float, float, float]) -> None:
    """A picture in a box (left, bottom, width, height) [pt] of the paper."""
    left, bottom, width, height = box
    limits = paper.get_xlim(), paper.get_ylim()
    paper.imshow(picture, origin="lower", interpolation="none", aspect="auto",
                 extent=(left, left + width, bottom, bottom + height))  # fmt: skip
    paper.set_xlim(limits[0])
    paper.set_ylim(limits[1])


def outline(paper: Any, box: tuple[float, float, float, float], style: Style, fill: str = "none"
            ) -> None:  # fmt: skip
    """A box (left, bottom, width, height) [pt] with a thin rim."""
    from matplotlib.patches import Rectangle

    left, bottom, width, height = box
    paper.add_patch(Rectangle((left, bottom), width, height, facecolor=fill, edgecolor=INK,
                              linewidth=style.thin, zorder=3))  # fmt: skip


def draw_strip(paper: Any, frame: Frame, grid: Grid, style: Style) -> None:
    """Scale bar and legend under the map."""
    for placed in frame.strip:
        entry, x, y = placed.entry, placed.x, placed.y
        mark = mark_of(entry, style, grid, frame.across)
        if entry.kind == "bar":
            _draw_scale_bar(paper, x, y, mark, style)
        else:
            _draw_swatch(paper, entry.kind, (x, y - 0.05 * style.small, swatch_width(style),
                                             0.8 * style.small), style)  # fmt: skip
        paper.text(x + mark + 0.4 * style.small, y, entry.text, fontsize=style.small, color=INK,
                   va="baseline", ha="left")  # fmt: skip


def _draw_scale_bar(paper: Any, x: float, y: float, length: float, style: Style) -> None:
    from matplotlib.patches import Rectangle

    thick = 0.28 * style.small
    paper.add_patch(Rectangle((x, y + 0.36 * style.small - thick / 2), length, thick,
                              facecolor=INK, edgecolor="none", zorder=3))  # fmt: skip


def _draw_swatch(paper: Any, kind: str, box: tuple[float, float, float, float], style: Style
                 ) -> None:  # fmt: skip
    """A little field with the stripes of a kind of excluded pixels."""
    factor = max(2, int(np.ceil(style.dpi / 72.0)))
    shape = (int(np.ceil(box[3])), int(np.ceil(box[2])))
    picture = np.full((shape[0] * factor, shape[1] * factor, 3), 255, np.uint8)
    every, period = np.ones(shape, bool), pixels.period_of(factor, 1.0, style)
    if kind == pixels.OVER:
        picture[:] = pixels.DARK
        pixels.stripe_over(picture, every, factor, period)
    else:
        pixels.hatch_into(picture, every, kind, factor, period)
    put_image(paper, picture, box)
    outline(paper, box, style)


def draw_bar(paper: Any, frame: Frame, needs: Needs, scale: Scale, table: Array, style: Style
             ) -> None:  # fmt: skip
    """The colour bar with triangles at ends that values lie beyond, ticks and label."""
    if frame.bar is None:
        return
    left, bottom, width, height = frame.bar
    lying = needs.bar == BELOW
    length, thick = (width, height) if lying else (height, width)
    start, stop = bar_ends(scale, style, length)
    _draw_colours(paper, (left, bottom, start, stop, thick), lying, scale, table, style)
    places, words = bar_ticks(scale, style, length)
    tick = 0.3 * style.font_size
    for share, text in zip(places, words, strict=True):
        along = start + share * (stop - start)
        if lying:
            _line(paper, (left + along, bottom), (left + along, bottom - tick), style)
            paper.text(left + along, bottom - tick_room(style), text, fontsize=style.small,
                       ha="center", va="top")  # fmt: skip
        else:
            edge = left + thick
            _line(paper, (edge, bottom + along), (edge + tick, bottom + along), style)
            paper.text(edge + tick_room(style), bottom + along, text, fontsize=style.small,
                       ha="left", va="center_baseline")  # fmt: skip
    _draw_label(paper, frame, needs, style, lying,
                max(text_width(text, style.small) for text in (*words, "0.0")))  # fmt: skip


def _draw_colours(paper: Any, place: tuple[float, float, float, float, float], lying: bool,
                  scale: Scale, table: Array, style: Style) -> None:  # fmt: skip
    from matplotlib.patches import Polygon

    left, bottom, start, stop, thick = place
    fine = max(1, int(np.ceil((stop - start) / 72.0 * style.dpi / len(table))))
    colours = np.repeat(table[:, :3], fine, axis=0)
    wide = max(2, int(np.ceil(thick / 72.0 * style.dpi)))
    strip = np.repeat(colours[:, None], wide, axis=1)

    def at(along: float, aside: float) -> tuple[float, float]:
        x, y = (along, aside) if lying else (aside, along)
        return left + x, bottom + y

    picture = strip.transpose(1, 0, 2) if lying else strip
    (x0, y0), (x1, y1) = at(start, 0.0), at(stop, thick)
    put_image(paper, picture, (x0, y0, x1 - x0, y1 - y0))
    length = stop + (0.9 * thick if scale.above > 0.0 else 0.0)
    ends = ((start > 0.0, start, 0.0, table[0]), (scale.above > 0.0, stop, length, table[-1]))
    for there, base, point, colour in ends:
        if there:
            corners = [at(base, 0.0), at(point, thick / 2), at(base, thick)]
            paper.add_patch(Polygon(corners, closed=True, facecolor=colour[:3] / 255.0,
                                    edgecolor=INK, linewidth=style.thin, zorder=3))  # fmt: skip
    outline(paper, (x0, y0, x1 - x0, y1 - y0), style)


def _draw_label(paper: Any, frame: Frame, needs: Needs, style: Style, lying: bool,
                widest: float) -> None:  # fmt: skip
    """The label, beside tick texts that are `widest` wide [pt]."""
    assert frame.bar is not None
    left, bottom, width, height = frame.bar
    if lying:
        down = tick_room(style) + 1.15 * style.small
        paper.text(left + width / 2, bottom - down, needs.label, fontsize=style.font_size,
                   ha="center", va="top")  # fmt: skip
        return
    lines = label_lines(needs.label, style, height)
    start = left + width + tick_room(style) + widest + 0.5 * style.font_size
    for at, line in enumerate(lines):
        paper.text(start + (LINE * at + 0.85) * style.font_size, bottom + height / 2, line,
                   fontsize=style.font_size, rotation=90, ha="right", va="center",
                   rotation_mode="default")  # fmt: skip


def _line(paper: Any, one: tuple[float, float], other: tuple[float, float], style: Style) -> None:
    paper.plot([one[0], other[0]], [one[1], other[1]], color=INK, linewidth=style.thin,
               solid_capstyle="butt", zorder=3)  # fmt: skip


# ---- lines over the map


def draw_edges(axes: Any, labels: Array, grid: Grid, width: float) -> None:
    """Boundaries between labels along pixel edges: a dark line [pt] on a light one."""
    from matplotlib.patches import PathPatch
    from matplotlib.path import Path

    lines = pixels.edge_lines(grid.upright(labels))
    if not lines:
        return
    cell = np.array([grid.width / grid.cols, grid.height / grid.rows]) * grid.unit[1]
    way = Path(np.concatenate(lines) * cell, [Path.MOVETO, Path.LINETO] * len(lines))
    for colour, wide in ((PAPER, HALO * width), (INK, width)):
        axes.add_patch(PathPatch(way, fill=False, edgecolor=colour, linewidth=wide, zorder=3,
                                 capstyle="projecting"))  # fmt: skip


def draw_places(axes: Any, places: Places, labels: Array | None, x: Array, y: Array, grid: Grid,
                style: Style) -> None:  # fmt: skip
    """Regions and profiles of a map with their names."""
    from ..places import Polygon, Rectangle, mask_of

    factor = grid.unit[1]
    for region in places.regions:
        shape = region.shape
        if isinstance(shape, Rectangle):
            corners = [(shape.x0, shape.y0), (shape.x1, shape.y0), (shape.x1, shape.y1),
                       (shape.x0, shape.y1), (shape.x0, shape.y0)]  # fmt: skip
            points = _on_paper(np.array(corners), grid, factor)
            _haloed(axes, points, style)
        elif isinstance(shape, Polygon):
            points = _on_paper(np.array((*shape.vertices, shape.vertices[0])), grid, factor)
            _haloed(axes, points, style)
        else:
            mask = mask_of(region, x, y, labels)
            if not mask.any():
                continue
            draw_edges(axes, mask.astype(int), grid, style.line)
            rows, cols = np.nonzero(mask)
            points = _on_paper(np.stack([x[cols], y[rows]], 1), grid, factor)
        highest = points[np.lexsort((points[:, 0], -points[:, 1]))[0]]
        _named(axes, region.name, highest, style)
    for profile in places.profiles:
        points = _on_paper(np.array(profile.points), grid, factor)
        _haloed(axes, points, style, dashed=True)
        _named(axes, profile.name, points[0], style, above=bool(points[1, 1] < points[0, 1]))


def _on_paper(points: Array, grid: Grid, factor: float) -> Array:
    return (np.asarray(points, float) - (grid.x, grid.y)) * factor


def _haloed(axes: Any, points: Array, style: Style, dashed: bool = False) -> None:
    """A dark line on a light one, so that it shows on every colour."""
    for colour, width, dash in ((PAPER, style.line * HALO, "-"),
                                (INK, style.line, (0, (4, 2)) if dashed else "-")):  # fmt: skip
        axes.plot(points[:, 0], points[:, 1], color=colour, linewidth=width, linestyle=dash,
                  zorder=4, solid_joinstyle="miter")  # fmt: skip


def _named(axes: Any, name: str, point: Array, style: Style, above: bool = True) -> None:
    """A name on a white plate at a point, above or below it, kept inside the map."""
    right, top = axes.get_xlim()[1], axes.get_ylim()[1]
    x, y = min(max(float(point[0]), 0.0), right), min(max(float(point[1]), 0.0), top)
    side = "right" if x > 0.7 * right else "left"
    above = (above or y < 0.1 * top) and y < 0.9 * top
    plate(axes, name, (x, y), style, side, "bottom" if above else "top")


def plate(axes: Any, text: str, at: tuple[float, float], style: Style, across: str = "center",
          up: str = "center", bold: bool = False) -> None:  # fmt: skip
    """Black text on a white plate: readable on every colour, and real text in the file."""
    away = {"left": 1.6, "right": -1.6, "center": 0.0, "bottom": 1.6, "top": -1.6}
    axes.annotate(
        text, at, xytext=(away[across], away[up]), textcoords="offset points", ha=across,
        va="center_baseline" if up == "center" else up, fontsize=style.small, color=INK, zorder=6,
        fontweight="bold" if bold else "normal", annotation_clip=False,
        bbox=dict(boxstyle="square,pad=0.15", facecolor=PAPER, edgecolor="none"),
    )  # fmt: skip
