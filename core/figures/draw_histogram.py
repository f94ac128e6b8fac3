"""A panel that tells how one channel is distributed, all pixels together and by component."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from ..channels import Channel
from ..sheets import HistogramOptions, Panel
from . import look
from .counted import Counted, counted, reach
from .dressing import (
    channel_of,
    dress,
    few_ticks,
    halo,
    inside,
    log_ticks,
    many,
    unit_of,
)
from .parts import DataTable, DrawnPanel, PanelError, Style
from .placing import height_of, height_with, legend, name_axes, note, place, rows_of

if TYPE_CHECKING:
    from ..components import Composition
    from ..findings import Findings

Array = np.ndarray
MOST_BINS, FEW_BINS = 120, 20
ENOUGH = 20
"""Pixels of a component that the rule for the bins is asked for."""
BEYOND = "beyond the ends of the axis"


@dataclass(frozen=True, eq=False)
class _Counts:
    """A histogram: `edges` (n + 1,) in the unit that is drawn, `total` (n,), and `parts`: number
    of a component (-1 for none) -> (n,)."""

    channel: Channel
    unit: str
    edges: Array
    total: Array
    parts: dict[int, Array]
    used: Counted
    rule: str


def draw(subfigure: Any, panel: Panel, findings: Findings, style: Style) -> DrawnPanel:
    """Draw the histogram that the options choose; see `parts.Drawer`."""
    from matplotlib.ticker import MaxNLocator

    options = panel.options
    assert isinstance(options, HistogramOptions)
    found = _count(findings, options)
    (axes,) = rows_of(subfigure)
    axes.stairs(found.total, found.edges, fill=True, color=look.BAND, linewidth=0.0, zorder=1)
    axes.stairs(found.total, found.edges, color=look.MUTED, linewidth=style.thin, zorder=2)
    handles = _components(axes, found, findings, style)
    dress(axes, style)
    if options.log:
        axes.set_xscale("log")
        log_ticks(axes.xaxis, found.edges[0], found.edges[-1])
    axes.set_xlim(*_ends(found.edges, options.log))
    few_ticks(axes)
    axes.yaxis.set_major_locator(MaxNLocator(5, integer=True, steps=[1, 2, 5, 10]))
    across = style.label(found.channel.label, found.unit)
    name_axes(axes, subfigure, across, "Pixels in a bin", style)
    (top, remarks), below = note(axes, found.used.note, style), legend(subfigure, handles, style)
    for room in (0.2, 0.0):  # first as an estimate
        room = room or min(1.6 * style.font_size / height_of(axes), 0.5)
        axes.set_ylim(0.0, float(found.total.max()) / (1.0 - room))
        place(subfigure, [axes], style, top=top, legend=below)
    return DrawnPanel(panel, tables=(_table(found),), caption=_caption(found, findings, options),
                      remarks=remarks)  # fmt: skip


def wanted_height(panel: Panel, findings: Findings, style: Style, width: float) -> float:
    """How high the panel wants to be at a width, both in points."""
    options, composition = panel.options, findings.composition
    assert isinstance(options, HistogramOptions)
    names: list[str] = []
    if options.components and composition is not None:
        names = [f"{composition.title(k)}, n = 9,999" for k in range(composition.count)]
        names += ["in none, n = 99"]
    return height_with(names, style, width, 0.52)


def _count(findings: Findings, options: HistogramOptions) -> _Counts:
    channel = channel_of(findings, options.channel)
    values = findings.analysis.channel(channel.name)
    used = counted(findings, [(values, options.log)], options.trusted)
    if not used.number:
        why = "has a value above zero" if options.log else "is to be used and has a value"
        raise PanelError(f"{channel.label}: no pixel {why}. Choose another channel"
                         + (" or a linear axis." if options.log else "."))  # fmt: skip
    unit, factor = unit_of(channel, values[used.mask], options.unit)
    drawn = values * factor
    coordinates = np.full(drawn.shape, np.nan)
    coordinates[used.mask] = np.log10(drawn[used.mask]) if options.log else drawn[used.mask]
    kinds = _kinds(findings, options, used.mask)
    groups = [coordinates[mask] for k, mask in kinds.items()
              if k >= 0 and np.count_nonzero(mask) >= ENOUGH]  # fmt: skip
    edges, rule = edges_of(coordinates[used.mask], groups if len(kinds) > 1 else (), options.bins)
    with np.errstate(invalid="ignore"):
        outside = (coordinates < edges[0]) | (coordinates > edges[-1])
    used = used.without(outside, BEYOND)
    parts = {k: np.histogram(coordinates[mask & used.mask], edges)[0] for k, mask in kinds.items()}
    total = np.sum(list(parts.values()), axis=0)
    shown = 10.0**edges if options.log else edges
    return _Counts(channel, unit, shown, total, parts, used, rule)


def _kinds(findings: Findings, options: HistogramOptions, mask: Array) -> dict[int, Array]:
    """Pixels of each component, and of none as -1; all as -1 where components are not wanted."""
    composition = findings.composition
    if not options.components or composition is None:
        return {-1: mask}
    return {k: mask & (composition.labels == k) for k in (*range(composition.count), -1)}


def edges_of(x: Array, groups: Sequence[Array], bins: int) -> tuple[Array, str]:
    """Edges of the bins, and the rule in words.

    By Freedman and Diaconis; where components are told apart the rule is asked for each of them,
    since it takes the distance between them for a spread, and the widest of its answers serves.
    Where values far out ask for more than `MOST_BINS`, the axis ends before them.

    Parameters
    ----------
    x : (n,) coordinates
    groups : those of each component that has enough pixels; empty without components
    bins : a chosen number; 0 for the rule
    """
    if bins:
        return np.histogram_bin_edges(x, bins, range=_span(x)), "of a chosen number"
    rule = "of the width by Freedman and Diaconis"
    wide = max((width_of(one) for one in groups), default=width_of(x))
    rule += ", the widest of the components'" if groups else ""
    if not wide > 0.0:
        return np.histogram_bin_edges(x, FEW_BINS, range=_span(x)), "of equal width"
    low, high = _span(x)
    if high - low > MOST_BINS * wide:
        low, high = reach(x)
    count = math.ceil((high - low) / wide)
    if count > MOST_BINS:
        return np.linspace(low, high, MOST_BINS + 1), "of equal width"
    return np.linspace(low, high, max(count, 1) + 1), rule


def width_of(x: Array) -> float:
    """Of a bin, by Freedman and Diaconis: 2 IQR n^(-1/3)."""
    quarter = float(np.subtract(*np.percentile(x, (75.0, 25.0))))
    return 2.0 * quarter / x.size ** (1.0 / 3.0)


def _span(x: Array) -> tuple[float, float]:
    low, high = float(x.min()), float(x.max())
    if high > low:
        return low, high
    room = 0.01 * abs(low) or 0.5
    return low - room, high + room


def _components(axes: Any, found: _Counts, findings: Findings, style: Style) -> list[Any]:
    """An outline with a letter for each component; handles for the legend."""
    composition, handles = findings.composition, []
    if composition is None or set(found.parts) == {-1}:
        return []
    for k, counts in found.parts.items():
        if not counts.any():
            continue
        one = look.look_of(k)
        name = composition.title(k) if k >= 0 else "in none"
        width = style.line if k >= 0 else style.thin
        first, last = np.flatnonzero(counts)[[0, -1]]
        axes.stairs(counts[first : last + 1], found.edges[first : last + 2], color=one.colour,
                    linestyle=one.dash, linewidth=1.2 * width, zorder=5 + k)  # fmt: skip
        handles += axes.plot([], [], color=one.colour, linestyle=one.dash, linewidth=1.2 * width,
                             label=f"{name}, n = {int(counts.sum()):,}")  # fmt: skip
    _letters(axes, found, style)
    return handles


def _ends(edges: Array, log: bool) -> tuple[float, float]:
    """The axis with some room for the letter of a component at its end."""
    low, high = (np.log10(edges) if log else edges)[[0, -1]]
    room = 0.03 * (high - low)
    ends = np.array([low - room, high + room])
    low, high = 10.0**ends if log else ends
    return float(low), float(high)


def _letters(axes: Any, found: _Counts, style: Style) -> None:
    """A letter above the mode of each component, on a white rim."""
    for k, counts in found.parts.items():
        if k < 0 or not counts.any():
            continue
        at = int(np.argmax(counts))
        middle = found.edges[at : at + 2]
        x = float(np.sqrt(middle.prod()) if _is_log(found.edges) else middle.mean())
        axes.annotate(look.look_of(k).letter, (x, counts[at]), (0.0, 1.5), ha="center",
                      va="bottom", textcoords="offset points", fontsize=style.font_size,
                      fontweight="bold", color=look.INK, zorder=20,
                      path_effects=halo(2.0))  # fmt: skip


def _is_log(edges: Array) -> bool:
    """Whether the edges have equal ratios rather than equal steps."""
    steps = np.diff(edges)
    return bool(edges[0] > 0.0 and not np.allclose(steps, steps[0], rtol=1e-6))


def _table(found: _Counts) -> DataTable:
    unit, columns = found.unit, []
    columns = [("from", unit, "lower end of the bin, which belongs to it"),
               ("to", unit, "upper end; it belongs to the next bin, or to the last one"),
               ("pixels", "", "in the bin")]  # fmt: skip
    values: list[Any] = [found.edges[:-1], found.edges[1:], found.total]
    if set(found.parts) != {-1}:
        for k, counts in found.parts.items():
            sign = look.look_of(k).letter
            columns.append((f"pixels_{sign}" if sign else "pixels_in_none", "",
                            f"of component {sign}" if sign else "of no component"))  # fmt: skip
            values.append(counts)
    return DataTable(f"histogram_{found.channel.name}", tuple(columns), tuple(values),
                     f"How {inside(found.channel.label)} is distributed")  # fmt: skip


def _impure(found: _Counts, composition: Composition) -> int:
    """Counted pixels of components that are not in the components' statistics."""
    mine = found.used.mask & composition.labelled
    pure = [np.asarray(composition.pixels(k, pure=True)) > 0 for k in range(composition.count)]
    return int(np.count_nonzero(mine & ~np.any(pure, axis=0))) if pure else 0


def _caption(found: _Counts, findings: Findings, options: HistogramOptions) -> str:
    scale = " on a logarithmic axis, with bins of equal ratio" if options.log else ""
    said = [f"histogram of {inside(found.channel.label)}{scale} ({many(found.total.size, 'bin')} "
            f"{found.rule}); {found.used.words}"]  # fmt: skip
    if not options.trusted:
        said.append("distrusted pixels are counted")
    composition = findings.composition
    if composition is not None and set(found.parts) != {-1}:
        names = [composition.title(k) for k, c in found.parts.items() if k >= 0 and c.any()]
        said.append(f"filled, all pixels; outlines, components {', '.join(names)}")
        impure = _impure(found, composition)
        if impure:
            said.append(f"{impure:,} of their pixels lie near a boundary or between components: "
                        "they are counted here and left out of medians and ±")  # fmt: skip
        if found.parts.get(-1, np.zeros(1)).any():
            said.append("dotted grey, pixels of no component")
    return "; ".join(said)
