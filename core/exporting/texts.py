"""Numbers and notes as text for the clipboard: rows with units in their head, and a caption."""

from __future__ import annotations

import html
import math
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from ..channels import CHANNELS, Channel
from ..components.exports import table_rows
from ..sections.curve import ADHESIONS, SHAPES
from ..units import best_unit, text_of

if TYPE_CHECKING:
    from ..analysis import Analysis
    from ..curvereport import CurveReport

Array = np.ndarray
Rows = list[list[Any]]
BRANCHES = ("approach", "retract")


def tsv(rows: Iterable[Iterable[Any]]) -> str:
    """Rows as text with tabs between the cells; nine digits, an empty cell where missing."""
    return "".join("\t".join(_cell(value) for value in row) + "\n" for row in rows)


def html_table(rows: Sequence[Sequence[Any]]) -> str:
    """Rows as a table in HTML; the first row is the head."""
    def line(row: Sequence[Any], tag: str) -> str:
        return "<tr>" + "".join(f"<{tag}>{html.escape(_cell(v))}</{tag}>" for v in row) + "</tr>"

    body = "".join(line(row, "th" if number == 0 else "td") for number, row in enumerate(rows))
    return f'<meta charset="utf-8"><table border="1">{body}</table>'


def _cell(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, float | np.floating):
        return "" if math.isnan(value) else f"{value:.9g}"
    return " ".join(str(value).split())


def titled(name: str, unit: str) -> str:
    return f"{name} ({unit})" if unit else name


def map_rows(values: Array, x: Array, y: Array, channel: Channel, scaled: bool,
             left_out: Array | None = None) -> Rows:  # fmt: skip
    """A map as rows: x in the head, y in the first column; row 0, the first scan line, first.

    Parameters
    ----------
    values : (rows, cols) in the channel's core unit
    left_out : bool (rows, cols), pixels whose cells are empty
    """
    unit = "nm" if scaled else "pixel"
    corner = f"{titled(channel.label, channel.unit)}; x across, y down ({unit})"
    shown = values if left_out is None else np.where(left_out, np.nan, values)
    rows: Rows = [[corner, *(float(v) for v in x)]]
    rows += [[float(at), *line] for at, line in zip(y, shown.tolist(), strict=True)]
    return rows


def curve_rows(report: CurveReport) -> Rows:
    """A curve as rows, z rising on both branches: as measured and corrected."""
    k, z0 = report.spring_constant, report.z0
    rows: Rows = [["branch", "z (nm)", "measured deflection (nm)", "deflection (nm)", "force (nN)",
                   "separation (nm)", "indentation (nm)"]]  # fmt: skip
    for name in BRANCHES:
        branch = report.branch(name)
        depth = (branch.z - z0) - branch.d
        columns = (branch.z, branch.raw, branch.d, k * branch.d, -depth, depth)
        rows += [[name, *line] for line in zip(*(c.tolist() for c in columns), strict=True)]
    return rows


def value_rows(report: CurveReport) -> Rows:
    """The numbers of a pixel with their local standard uncertainty, and its doubts."""
    rows: Rows = [["quantity", "symbol", "value", "± (local, k = 1)", "unit"]]
    for name, (value, error) in report.values.items():
        channel = CHANNELS[name]
        if channel.asked(report.settings):
            rows.append([channel.label, channel.symbol, value, error, channel.unit])
    rows += [[f"doubt ({d.severity})", "", d.figure, math.nan, d.unit, d.sentence]
             for d in report.doubts]  # fmt: skip
    return rows


def component_rows(table: Any) -> Rows:
    """The table of components, one row a component and channel."""
    return table_rows(table)


def note_of(analysis: Analysis, name: str, channel: Channel, limits: tuple[float, float],
            typed: bool) -> str:  # fmt: skip
    """What a caption of a map has to say: what, where, how large, colours, pixels left out, law.

    Parameters
    ----------
    name : of the map
    limits : of the colours [core unit]; typed : whether a person chose them
    """
    fmap = analysis.map
    rows, cols = fmap.shape[0], fmap.shape[1]
    out = int((fmap.index_map >= 0).sum()) - int(analysis.trusted.sum())
    unit = best_unit(max(abs(limits[0]), abs(limits[1])), channel.unit)[0] if channel.unit else ""
    low, high = (text_of(v, channel.unit, unit=unit) for v in limits)
    words = [f"{channel.label} of “{name}”, {_size(analysis)}{cols} × {rows} pixels.",
             f"Colours from {low} to {high}" + (", chosen by hand." if typed else
                                                ", the 2nd and 98th percentile.")]  # fmt: skip
    if out:
        words.append(f"{out} pixels with a severe doubt or left out by hand count in no statistic.")
    return " ".join([*words, law_words(analysis)])


def _size(analysis: Analysis) -> str:
    if not analysis.map.has_scale:
        return ""
    from ..uncertainty.groups import pitch_of

    high, wide = (step * n for step, n in zip(pitch_of(analysis), analysis.map.shape, strict=True))
    return f"{text_of(wide, 'nm')} × {text_of(high, 'nm')}, "


def law_words(analysis: Analysis) -> str:
    """Law, window and constants in a sentence, each number with its unit."""
    fit, use = analysis.settings.fit, analysis.constants
    low, high = (getattr(fit, f"{fit.window}_{end}") for end in ("from", "to"))
    by = {"fraction": "% of the peak force", "indentation": "nm of indentation", "force": "nN"}
    words = [f"Law: {SHAPES.get(fit.law, fit.law)}, adhesion: {ADHESIONS[fit.adhesion]}, fitted to "
             f"the {fit.branch} from {low:g} to {high:g} {by[fit.window]}"]  # fmt: skip
    for one in (use.spring_constant, *use.sizes):
        if math.isfinite(one.value):
            unit = "°" if one.unit == "deg" else f" {one.unit}"
            words.append(f"{one.label.lower()} {one.value:.4g}{unit} ({one.origin})")
    words.append(f"Poisson ratio {use.poisson_ratio:g} (assumed)")
    return "; ".join(words) + "."
