"""A panel of one or two channels along a named profile of the map."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from ..channels import Channel
from ..components.rule import Axis
from ..sheets import Panel, ProfileOptions
from ..units import best_unit, text_of
from . import look
from .dressing import (
    channel_of,
    dress,
    few_ticks,
    inside,
    unit_of,
)
from .parts import DataTable, DrawnPanel, PanelError, Style
from .placing import name_axes, note, place, rows_of, size_of

if TYPE_CHECKING:
    from ..findings import Findings
    from ..places import Profile, Sampled
    from ..shapes.edge import Edge

Array = np.ndarray
ENDS = (0.25, 0.75)
"""Between these shares of the line an edge is looked for: where the window's cursors stand until a
hand moves them."""
FINE = 200
FEW = 60
"""Fewer points than this are marked as such."""


@dataclass(frozen=True, eq=False)
class _Series:
    """One channel along the line, in the unit that is drawn."""

    channel: Channel
    unit: str
    factor: float
    values: Array
    errors: Array


@dataclass(frozen=True, eq=False)
class _Along:
    """A profile as drawn: `unit` and `factor` of lengths; the edge in core units or None."""

    profile: Profile
    sampled: Sampled
    unit: str
    factor: float
    series: tuple[_Series, ...]
    edge: Edge | None
    why: str

    @property
    def x(self) -> Array:
        return self.sampled.distance * self.factor

    @property
    def ends(self) -> tuple[float, float]:
        return ENDS[0] * self.profile.length, ENDS[1] * self.profile.length

    @property
    def line(self) -> tuple[Array, Array]:
        """The fitted edge, as drawn."""
        assert self.edge is not None
        at = np.linspace(*self.ends, FINE)
        return at * self.factor, self.edge.at(at) * self.series[0].factor

    @property
    def between(self) -> tuple[float, float]:
        """Where the edge has gone 10 and 90 % of its way, as drawn."""
        assert self.edge is not None
        half = 0.5 * self.edge.width_10_90
        return ((self.edge.position - half) * self.factor,
                (self.edge.position + half) * self.factor)  # fmt: skip


def draw(subfigure: Any, panel: Panel, findings: Findings, style: Style) -> DrawnPanel:
    """Draw the profile that the options choose; see `parts.Drawer`."""
    options = panel.options
    assert isinstance(options, ProfileOptions)
    found = _read(findings, options)
    plots = rows_of(subfigure, len(found.series))
    below = style.label("Distance along the line", found.unit)
    for axes, series in zip(plots, found.series, strict=True):
        _line(axes, found, series, style)
        dress(axes, style)
        few_ticks(axes, y=4 if len(plots) > 1 else 5)
        name_axes(axes, subfigure, below if axes is plots[-1] else "",
                  style.label(series.channel.label, series.unit), style,
                  1.0 / len(plots))  # fmt: skip
    if found.edge is not None:
        _edge(plots[0], found, style)
    _strip(subfigure, plots, found, style)
    for axes in plots[:-1]:
        axes.tick_params(labelbottom=False)
    plots[-1].set_xlim(0.0, float(found.x[-1]))
    top, remarks = note(plots[0], found.profile.name, style)
    place(subfigure, plots, style, top=top, shares=[1.0] * len(plots))
    subfigure.align_ylabels(plots)
    remarks += (found.sampled.reason,) if found.sampled.reason else ()
    return DrawnPanel(panel, tables=_tables(found), caption=_caption(found, findings),
                      remarks=remarks)  # fmt: skip


def profile_of(findings: Findings, name: str) -> Profile:
    """The profile of a name, the first one without. Raises PanelError that lists what there is."""
    places = findings.work.places
    profiles = () if places is None else places.profiles
    if not profiles:
        raise PanelError("This analysis has no profile: draw a line on the map, or take the panel "
                         "out.")  # fmt: skip
    misfit = places.misfit(findings.map.has_scale)
    if misfit:
        raise PanelError(misfit)
    if not name.strip():
        return profiles[0]
    for profile in profiles:
        if profile.name == name.strip():
            return profile
    there = ", ".join(f"“{one.name}”" for one in profiles[:8])
    raise PanelError(f"There is no profile “{name.strip()[:40]}”; there are: {there}.")


def _read(findings: Findings, options: ProfileOptions) -> _Along:
    from ..places import sample_analysis

    profile = profile_of(findings, options.profile)
    names = [options.channel, *([options.second] if options.second.strip() else [])]
    channels = [channel_of(findings, name.strip()) for name in dict.fromkeys(names)]
    asked = tuple(channel.name for channel in channels)
    sampled = sample_analysis(profile, findings.analysis, asked, labels=findings.labels)
    if not any(np.isfinite(line.values).any() for line in sampled.channels.values()):
        why = sampled.reason or "No pixel on it has a value."
        raise PanelError(f"Nothing to draw along “{profile.name}”. {why}")
    unit, factor = ("pixel", 1.0)
    if sampled.unit == "nm":
        unit, factor = best_unit(profile.length, "nm")
    series = []
    for channel in channels:
        line = sampled.channels[channel.name]
        own, times = unit_of(channel, line.values)
        series.append(_Series(channel, own, times, line.values * times, line.errors * times))
    edge, why = _fitted(profile, sampled, channels[0]) if options.edges else (None, "")
    return _Along(profile, sampled, unit, factor, tuple(series), edge, why)


def _fitted(profile: Profile, sampled: Sampled, channel: Channel) -> tuple[Edge | None, str]:
    """The edge of the first channel in the middle half of the line; why there is none."""
    from ..places import points_between
    from ..shapes.edge import fit_edge

    low, high = (share * profile.length for share in ENDS)
    x, y, _ = points_between(sampled, channel.name, low, high)
    edge = fit_edge(x, y, log=Axis.of(channel.name).log)
    return (edge, "") if math.isfinite(edge.sigma) else (None, edge.reason)


def _line(axes: Any, found: _Along, series: _Series, style: Style) -> None:
    x, y, spread = found.x, series.values, np.nan_to_num(series.errors)
    axes.fill_between(x, y - spread, y + spread, color=look.BAND, linewidth=0.0, zorder=1)
    marked = "." if x.size <= FEW else ""
    axes.plot(x, y, color=look.INK, linewidth=style.line, marker=marked, zorder=3,
              markersize=3.5 * style.line, markeredgewidth=0.0)  # fmt: skip


def _edge(axes: Any, found: _Along, style: Style) -> None:
    assert found.edge is not None
    if found.edge.resolved:  # else its width is a bound, and no line that the values follow
        axes.plot(*found.line, color=look.PALE_INK, linewidth=3.5 * style.line, zorder=2,
                  solid_capstyle="butt")  # fmt: skip
    for at in found.between:
        axes.axvline(at, color=look.INK, linestyle=(0, (1, 2)), linewidth=style.thin, zorder=2.5)


def _strip(subfigure: Any, plots: Any, found: _Along, style: Style) -> None:
    """Which component each part lies in: a strip along the top with letters."""
    labels, axes = found.sampled.component, plots[0]
    if labels is None or not (labels >= 0).any():
        return
    wide, high = size_of(subfigure)
    share = min(1.3 * style.small / (0.75 * high / len(plots)), 0.4)
    bottom, top = axes.get_ylim()
    axes.set_ylim(bottom, top + share * (top - bottom))
    for first, last, k in stretches(found.x, labels):
        if k < 0:
            continue
        one = look.look_of(k)
        axes.axvspan(first, last, 1.0 - share, 1.0, color=look.tint(one.colour, 0.35),
                     linewidth=0.0, zorder=1)  # fmt: skip
        if (last - first) / found.x[-1] * 0.8 * wide > style.small:
            axes.text(0.5 * (first + last), 1.0 - 0.5 * share, one.letter, fontsize=style.small,
                      ha="center", va="center_baseline", color=look.INK, zorder=5,
                      transform=axes.get_xaxis_transform())  # fmt: skip


def stretches(x: Array, labels: Array) -> list[tuple[float, float, int]]:
    """(from, to, label) of each stretch of equal labels, half way between points."""
    borders = np.concatenate([x[:1], (x[1:] + x[:-1]) / 2.0, x[-1:]])
    starts = np.flatnonzero(np.concatenate([[True], labels[1:] != labels[:-1]]))
    stops = np.append(starts[1:], x.size)
    return [(float(borders[a]), float(borders[b]), int(labels[a]))
            for a, b in zip(starts, stops, strict=True)]  # fmt: skip


def _tables(found: _Along) -> tuple[DataTable, ...]:
    sampled, unit = found.sampled, found.unit
    columns = [("distance", unit, "along the line from its first corner"),
               ("x", unit, "on the map"), ("y", unit, "on the map")]  # fmt: skip
    values: list[Any] = [found.x, sampled.x * found.factor, sampled.y * found.factor]
    for series in found.series:
        name, line = series.channel.name, sampled.channels[series.channel.name]
        columns += [(name, series.unit, "mean across the width of the line"),
                    (f"{name}_uncertainty", series.unit, "its standard error"),
                    (f"{name}_pixels", "", "behind it")]  # fmt: skip
        values += [series.values, series.errors, line.pixels]
    if sampled.component is not None:
        columns.append(("component", "", "letter of most of the width; empty for none"))
        values.append([look.look_of(int(k)).letter for k in sampled.component])
    about = f"{found.profile.name}, {found.profile.width * found.factor:.4g} {unit} wide"
    tables = [DataTable("profile", tuple(columns), tuple(values), about)]
    if found.edge is not None:
        tables += _edge_tables(found, found.edge)
    return tuple(tables)


def _edge_tables(found: _Along, edge: Edge) -> list[DataTable]:
    first, unit = found.series[0], found.unit
    name, at = first.channel.name, np.array([found.factor] * 3 + [first.factor] * 2)
    width = edge.width_10_90 / edge.sigma * edge.sigma_error
    values = np.array([edge.position, edge.sigma, edge.width_10_90, edge.low, edge.high]) * at
    errors = np.array([edge.position_error, edge.sigma_error, width, edge.low_error,
                       edge.high_error]) * at  # fmt: skip
    line = DataTable("edge_line", (("distance", unit, "along the line"),
                                   (name, first.unit, "of the fitted edge")),
                     found.line, "The fitted edge as drawn")  # fmt: skip
    numbers = DataTable(
        "edge", (("quantity", "", ""), ("unit", "", "of value and uncertainty"),
                 ("value", "", ""), ("uncertainty", "", "standard; missing where not known")),
        (["position", "sigma", "width_10_90", "level_before", "level_after"],
         [unit, unit, unit, first.unit, first.unit], values, errors),
        "The fitted edge" + ("" if edge.resolved else "; its width is an upper bound"))  # fmt: skip
    return [line, numbers] if edge.resolved else [numbers]


def _caption(found: _Along, findings: Findings) -> str:
    names = " and ".join(inside(one.channel.label) for one in found.series)
    wide = found.profile.width * found.factor
    unit = found.unit if found.unit != "pixel" else "pixels"
    across = f"averaged over {wide:.4g} {unit}" if wide > 0.0 else "of single pixels"
    said = [f"{names} along “{found.profile.name}” "
            f"({found.profile.length * found.factor:.4g} {unit} long, {across}); band, "
            "± one standard error"]  # fmt: skip
    if any(np.isnan(one.values).any() for one in found.series):
        said.append("gaps, where no pixel is used")
    if found.edge is not None:
        said.append(_edge_words(found, found.edge))
    elif found.why:
        said.append(f"no edge is told in its middle half ({found.why})")
    labels, composition = found.sampled.component, findings.composition
    if labels is not None and composition is not None and (labels >= 0).any():
        there = ", ".join(composition.title(int(k)) for k in np.unique(labels[labels >= 0]))
        said.append(f"strip along the top, components {there}")
    return "; ".join(said)


def _edge_words(found: _Along, edge: Edge) -> str:
    core = "nm" if found.sampled.unit == "nm" else ""
    tail = "" if core else " pixels"
    error = edge.width_10_90 / edge.sigma * edge.sigma_error
    width = text_of(edge.width_10_90, core, error) + tail
    at = text_of(edge.position, core, edge.position_error) + tail
    if not edge.resolved:
        near = text_of(edge.position, core) + tail
        return (f"dotted, an edge near {near}, whose width from 10 to 90 % is below {width}: the "
                "points tell no more")  # fmt: skip
    return (f"wide grey line, the edge fitted to the middle half, at {at}; dotted, its 10 to 90 %: "
            f"{width}")  # fmt: skip
