"""A panel of two channels against each other: counts in colour, components outlined."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from ..channels import Channel
from ..components.outlines import ellipse
from ..components.rule import Axis
from ..sheets import JointOptions, Panel
from . import look
from .counted import Counted, counted, reach
from .dressing import (
    channel_of,
    dress,
    few_ticks,
    halo,
    inside,
    log_ticks,
    unit_of,
)
from .fonts import text_width
from .parts import DataTable, DrawnPanel, PanelError, Style
from .pixels import enlarged, factor_for
from .placing import height_of, name_axes, note, place, rows_of, size_of

if TYPE_CHECKING:
    from ..findings import Findings

Array = np.ndarray
INSIDE = (0.5, 0.95)
"""Shares of a normal distribution that the outlines hold, as in the window."""


@dataclass(frozen=True, eq=False)
class _Side:
    """One axis: its channel, unit, factor, whether it is logarithmic, and its edges as drawn."""

    channel: Channel
    unit: str
    factor: float
    log: bool
    edges: Array

    def drawn(self, coordinate: Array) -> Array:
        """From the coordinate in core units (log₁₀ where the axis is one) to what is drawn."""
        value = 10.0 ** np.asarray(coordinate) if self.log else np.asarray(coordinate)
        return value * self.factor


@dataclass(frozen=True, eq=False)
class _Joint:
    """`counts` (ny, nx); `outlines`: component -> share -> (x, y) as drawn."""

    x: _Side
    y: _Side
    counts: Array
    used: Counted
    outlines: dict[int, dict[float, tuple[Array, Array]]]


def draw(subfigure: Any, panel: Panel, findings: Findings, style: Style) -> DrawnPanel:
    """Draw the joint histogram that the options choose; see `parts.Drawer`."""
    options = panel.options
    assert isinstance(options, JointOptions)
    found = _count(findings, options)
    ground, axes = subfigure.add_axes((0.1, 0.1, 0.8, 0.8)), rows_of(subfigure)[0]
    axes.patch.set_visible(False)
    for side, name in ((found.x, "x"), (found.y, "y")):
        if side.log:
            getattr(axes, f"set_{name}scale")("log")
    axes.set_xlim(found.x.edges[0], found.x.edges[-1])
    axes.set_ylim(found.y.edges[0], found.y.edges[-1])
    _outlines(axes, found, style)
    scale = _colours(options, found)
    bar = _bar(subfigure, scale, style)
    dress(axes, style)
    few_ticks(axes)
    for side, axis in ((found.x, axes.xaxis), (found.y, axes.yaxis)):
        if side.log:
            log_ticks(axis, side.edges[0], side.edges[-1])
    across, up = (style.label(side.channel.label, side.unit) for side in (found.x, found.y))
    name_axes(axes, subfigure, across, up, style)
    top, remarks = note(axes, found.used.note, style)
    place(subfigure, [axes], style, top=top, bar=bar)
    _room_for_letters(axes, found, style)
    _bins(ground, axes, found, scale, style)
    return DrawnPanel(panel, tables=_tables(found), caption=_caption(found, findings, options),
                      remarks=remarks)  # fmt: skip


def _count(findings: Findings, options: JointOptions) -> _Joint:
    if options.x == options.y:
        raise PanelError(f"“{options.x}” against itself is a line: choose two channels.")
    channels = [channel_of(findings, name) for name in (options.x, options.y)]
    maps = [findings.analysis.channel(channel.name) for channel in channels]
    used = counted(findings, [(values, False) for values in maps], options.trusted)
    if not used.number:
        raise PanelError(f"No pixel that is to be used has values of both {channels[0].label} and "
                         f"{channels[1].label}: choose other channels.")  # fmt: skip
    wanted = (options.log_x, options.log_y)
    logs = [log and bool((values[used.mask] > 0.0).all())
            for values, log in zip(maps, wanted, strict=True)]  # fmt: skip
    axes = (Axis(options.x, logs[0]), Axis(options.y, logs[1]))
    ellipses = _ellipses(findings, axes) if options.components else {}
    sides = []
    for at, (channel, values, log) in enumerate(zip(channels, maps, logs, strict=True)):
        ends = [line[at] for lines in ellipses.values() for line in lines.values()]
        sides.append(_side(channel, values[used.mask], log, ends, int(options.bins)))
    x, y = sides
    drawn = [v * side.factor for v, side in zip(maps, sides, strict=True)]
    with np.errstate(invalid="ignore"):
        beyond = np.zeros(used.mask.shape, bool)
        for v, side in zip(drawn, sides, strict=True):
            beyond |= (v < side.edges[0]) | (v > side.edges[-1])
    used = used.without(beyond, "beyond the ends of the axes")
    counts = np.histogram2d(drawn[1][used.mask], drawn[0][used.mask], (y.edges, x.edges))[0]
    return _Joint(x, y, counts.astype(int), used, {
        k: {share: (x.drawn(a), y.drawn(b)) for share, (a, b) in lines.items()}
        for k, lines in ellipses.items()})


def _side(channel: Channel, values: Array, log: bool, outlines: list[Array], bins: int) -> _Side:
    """One axis: all but a few pixels far out, and the outlines of the components."""
    unit, factor = unit_of(channel, values)
    low, high = reach(np.log10(values) if log else values)
    low = min([low, *(float(line.min()) for line in outlines)])
    high = max([high, *(float(line.max()) for line in outlines)])
    room = 0.04 * (high - low) or 0.01 * abs(low) or 0.5
    at = np.linspace(low - room, high + room, bins + 1)
    return _Side(channel, unit, factor, log, (10.0**at if log else at) * factor)


def _ellipses(findings: Findings, axes: tuple[Axis, Axis]
              ) -> dict[int, dict[float, tuple[Array, Array]]]:  # fmt: skip
    """Component -> share -> its outline, in coordinates (log₁₀ where the axis is one)."""
    composition = findings.composition
    if composition is None:
        return {}
    return {k: {share: ellipse(centre, covariance, share) for share in INSIDE}
            for k, centre, covariance in composition.ellipses(axes)}  # fmt: skip


def _outlines(axes: Any, found: _Joint, style: Style) -> None:
    for k, lines in found.outlines.items():
        one = look.look_of(k)
        for x, y in lines.values():
            axes.plot(x, y, color="white", linewidth=2.2 * style.line, zorder=4)
            axes.plot(x, y, color=one.colour, linestyle=one.dash, linewidth=style.line,
                      zorder=5)  # fmt: skip
        x, y = lines[INSIDE[-1]]
        at = int(np.argmax(y))  # the letter stands on the top of the outer outline
        axes.annotate(one.letter, (x[at], y[at]), (0.0, 1.0), textcoords="offset points",
                      ha="center", va="bottom", fontsize=style.font_size, fontweight="bold",
                      color=look.INK, path_effects=halo(2.0), zorder=9,
                      annotation_clip=True)  # fmt: skip


def _room_for_letters(axes: Any, found: _Joint, style: Style) -> None:
    """The axis ends above the letter of the highest outline."""
    tops = [float(lines[INSIDE[-1]][1].max()) for lines in found.outlines.values()]
    if not tops:
        return
    low, high, top = (np.log10(v) if found.y.log else v
                      for v in (found.y.edges[0], found.y.edges[-1], max(tops)))  # fmt: skip
    share = min(1.3 * style.font_size / height_of(axes), 0.5)
    high = max(high, low + (top - low) / (1.0 - share))
    axes.set_ylim(found.y.edges[0], 10.0**high if found.y.log else high)


def _colours(options: JointOptions, found: _Joint) -> Any:
    """From counts to colours. Raises PanelError for colours that are not known."""
    from matplotlib.cm import ScalarMappable
    from matplotlib.colors import Normalize

    from ..colours import COLOURS

    name = options.colours.strip()
    if name and name not in COLOURS:
        raise PanelError(f"There are no colours “{name[:40]}”; one of {', '.join(COLOURS)}.")
    return ScalarMappable(Normalize(0.0, max(float(found.counts.max()), 1.0)),
                          look.colour_map(name))  # fmt: skip


def _bins(ground: Any, axes: Any, found: _Joint, scale: Any, style: Style) -> None:
    """The bins as a picture of whole pixels beneath the axes, white where there is none: vector
    files would show seams between areas, and know no empty ones without transparency."""
    picture = np.array(scale.to_rgba(found.counts, bytes=True))[..., :3]
    picture[found.counts == 0] = 255
    ground.set_position(axes.get_position())
    ground.set_axis_off()
    ground.set_zorder(axes.get_zorder() - 1)
    limits = [np.log10(ends) if side.log else np.asarray(ends) for side, ends in
              ((found.x, axes.get_xlim()), (found.y, axes.get_ylim()))]  # fmt: skip
    (x0, x1), (y0, y1) = (_coordinates(side)[[0, -1]] for side in (found.x, found.y))
    inch = axes.get_figure(root=True).dpi / 72.0
    wide = axes.bbox.width / inch * (x1 - x0) / float(np.ptp(limits[0]))
    high = axes.bbox.height / inch * (y1 - y0) / float(np.ptp(limits[1]))
    factor = max(factor_for(picture.shape[1], wide, style.dpi),
                 factor_for(picture.shape[0], high, style.dpi))  # fmt: skip
    ground.imshow(enlarged(picture, factor), extent=(x0, x1, y0, y1), origin="lower",
                  interpolation="none", aspect="auto")  # fmt: skip
    ground.set_xlim(*limits[0])
    ground.set_ylim(*limits[1])


def _coordinates(side: _Side) -> Array:
    return np.log10(side.edges) if side.log else side.edges


def _bar(subfigure: Any, scale: Any, style: Style) -> Any:
    """The colour bar; returns its axes."""
    from matplotlib.ticker import MaxNLocator

    bar = subfigure.colorbar(scale, cax=subfigure.add_axes((0.9, 0.2, 0.05, 0.6)))
    bar.locator = MaxNLocator(4, integer=True)
    bar.update_ticks()
    bar.outline.set_linewidth(style.thin)
    bar.ax.tick_params(labelsize=style.small, width=style.thin, length=2.0, pad=2.0)
    label = "Pixels in a bin"
    if text_width(label, style.font_size) > 0.5 * size_of(subfigure)[1]:
        label = "Pixels"  # the caption says of what
    bar.set_label(label, fontsize=style.font_size, labelpad=2.0)
    return bar.ax


def _tables(found: _Joint) -> tuple[DataTable, ...]:
    rows, cols = np.nonzero(found.counts)
    x, y = found.x, found.y
    names = (x.channel.name, y.channel.name)
    bins = DataTable(
        f"joint_{names[0]}_{names[1]}",
        ((f"{names[0]}_from", x.unit, "lower end of the bin across"),
         (f"{names[0]}_to", x.unit, "upper end"),
         (f"{names[1]}_from", y.unit, "lower end of the bin upwards"),
         (f"{names[1]}_to", y.unit, "upper end"), ("pixels", "", "in the bin")),
        (x.edges[cols], x.edges[cols + 1], y.edges[rows], y.edges[rows + 1],
         found.counts[rows, cols]),
        f"{x.channel.label} against {inside(y.channel.label)}; bins that are not listed hold no "
        "pixel")  # fmt: skip
    if not found.outlines:
        return (bins,)
    parts: list[list[Any]] = [[], [], [], []]
    for k, lines in found.outlines.items():
        for share, (along, up) in lines.items():
            parts[0] += [look.look_of(k).letter] * along.size
            parts[1] += [share] * along.size
            parts[2] += list(along)
            parts[3] += list(up)
    outlines = DataTable(
        "outlines", (("component", "", "letter"), ("share", "", "of a normal distribution inside"),
                     (names[0], x.unit, "across"), (names[1], y.unit, "up")),
        (parts[0], *(np.array(part) for part in parts[1:])),
        "Corners of the components' outlines, in their order")  # fmt: skip
    return bins, outlines


def _caption(found: _Joint, findings: Findings, options: JointOptions) -> str:
    logs = [inside(s.channel.label) for s in (found.x, found.y) if s.log]
    axes = f" ({' and '.join(logs)} on a logarithmic axis)" if logs else ""
    said = [f"{inside(found.y.channel.label)} against {inside(found.x.channel.label)}{axes}, "
            f"pixels in each of {options.bins} × {options.bins} bins in colour, white for none",
            found.used.words]  # fmt: skip
    for side, wanted in ((found.x, options.log_x), (found.y, options.log_y)):
        if wanted and not side.log:
            said.append(f"{inside(side.channel.label)} on a linear axis, since not all values are "
                        "above zero")  # fmt: skip
    if not options.trusted:
        said.append("distrusted pixels are counted")
    composition = findings.composition
    if found.outlines and composition is not None:
        names = ", ".join(composition.title(k) for k in found.outlines)
        said.append("outlines hold 50 and 95 % of a normal distribution with the mean and the "
                    f"covariance of each component ({names})")  # fmt: skip
    return "; ".join(said)
