"""The lines of the tables of the panel *Places*."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from ...core import units
from .law_page import number_in, plain
from .law_table import Line

KINDS = {"Rectangle": "rectangle", "Polygon": "outline", "Brush": "brush",
         "OfComponent": "component", "Combined": "combined"}  # fmt: skip
OUT = {"no_curve": "no curve", "decided": "left out by hand", "severe": "severe doubt",
       "no_value": "no value"}  # fmt: skip
"""Reason why a pixel is not used -> short words; the long ones are the tooltip."""


def place_line(one: Any, unit: str) -> Line:
    """A region or profile in the list."""
    if hasattr(one, "width"):
        return Line((one.name, "profile", length_text(one.length, unit)), key=one.name,
                    tip=one.note)  # fmt: skip
    return Line((one.name, KINDS[type(one.shape).__name__], ""), key=one.name, tip=one.note)


def length_text(value: float, unit: str) -> str:
    """A length on the map."""
    if unit != "nm":
        return f"{value:.1f} {unit}"
    return f"{value / 1e3:.3g} µm" if value >= 10_000.0 else f"{value:.4g} nm"


def area_text(value: float, unit: str) -> str:
    """An area on the map."""
    if unit == "nm²" and value >= 1e5:
        return f"{value * 1e-6:.4g} µm²"
    return f"{value:.4g} {unit}"


def statistic_lines(found: Sequence[Any], channel: str) -> list[Line]:
    """The statistics of one or two regions in one channel, in one unit."""
    from ...core.places.statistics import REASONS

    each = [one.channels[channel] for one in found if channel in one.channels]
    if not each:
        return []
    core = each[0].unit
    known = [abs(s.median) for s in each if math.isfinite(s.median)]
    shown = units.best_unit(max(known), core)[0] if known and core else core
    tail = f" ({shown})" if shown else ""

    def line(words: str, name: str, error: str = "", tip: str = "", strong: bool = False) -> Line:
        cells = [number_in(getattr(s, name), getattr(s, error) if error else math.nan, core, shown)
                 for s in each]  # fmt: skip
        return Line((words, *cells), tip=tip, strong=strong)

    def ends(words: str, name: str, tip: str) -> list[Line]:
        low, high = ([number_in(getattr(s, name)[i], math.nan, core, shown) for s in each]
                     for i in (0, 1))  # fmt: skip
        return [Line((f"{words} from", *low), tip=tip), Line(("  to", *high))]

    lines = [Line(("Pixels used", *(f"{s.used:,} of {s.pixels:,}" for s in each)), strong=True)]
    for reason, words in OUT.items():
        if any(s.left_out[reason] for s in each):
            lines.append(Line((f"  {words}", *(f"{s.left_out[reason]:,}" for s in each)),
                              tip=f"Not used: {REASONS[reason]}"))  # fmt: skip
    lines += [
        Line(("Area", *(area_text(s.area, one.area_unit)
                        for s, one in zip(each, found, strict=True)))),
        line(f"Median{tail}", "median", "median_error", strong=True),
        *ends("  95 %", "median_interval", "Between two ranks: no law is assumed"),
        line(f"Mean{tail}", "mean", "mean_error"),
        *ends("  95 %", "mean_interval", "By Student's law"),
        line(f"Spread{tail}", "spread", tip="Robust standard deviation of the pixels"),
        line("  standard deviation", "deviation"),
        line("  pixel's own ±", "pixel_error", tip="The part of the spread that is noise"),
        line("Quartile from", "lower_quartile"), line("  to", "upper_quartile"),
        line("Lowest", "minimum"), line("Highest", "maximum"),
        Line(("Independent pixels", *(plain(s.effective) for s in each)),
             tip="Neighbours are alike: so many independent pixels tell as much"),
    ]  # fmt: skip
    reasons = [f"{one.name}: {s.reason}" if len(each) > 1 else s.reason
               for one, s in zip(found, each, strict=True) if s.reason]  # fmt: skip
    return [*lines, *(Line((), note=reason) for reason in reasons)]


def difference_lines(one: Any) -> list[Line]:
    """The difference of two regions in one channel."""
    size = max((abs(v) for v in (one.mean, one.median) if math.isfinite(v)), default=math.nan)
    shown = units.best_unit(size, one.unit)[0] if one.unit and math.isfinite(size) else one.unit
    tail = f" ({shown})" if shown else ""

    def line(words: str, value: float, error: float, ends: tuple[float, float]) -> Line:
        cells = (number_in(value, error, one.unit, shown),
                 *(number_in(end, math.nan, one.unit, shown) for end in ends))  # fmt: skip
        return Line((words, *cells))

    ratio = number_in(one.ratio, one.ratio * one.ratio_error, "", "")
    return [
        line(f"Median{tail}", one.median, one.median_error, one.median_interval),
        line(f"Mean{tail}", one.mean, one.mean_error, one.mean_interval),
        Line(("Ratio of medians", ratio,
              *(number_in(end, math.nan, "", "") for end in one.ratio_interval))),
    ]  # fmt: skip
