"""What a doubt about the whole map is seen on, as a panel: points with their ±, and the line that
was fitted."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from ..sheets import EvidenceOptions, Panel
from . import look
from .dressing import dress, few_ticks
from .parts import DataTable, DrawnPanel, PanelError, Style
from .placing import name_axes, note, place, rows_of

if TYPE_CHECKING:
    from ..findings import Findings
    from ..mapdoubts import MapDoubt, Plot

FEW = 300
"""More points than this are drawn without the bars of their ±."""


def evidence_of(findings: Findings, options: EvidenceOptions) -> tuple[MapDoubt, Plot]:
    """The doubt and its picture that the options choose. Raises PanelError."""
    found = findings.map_doubts
    if not found:
        raise PanelError("There is no doubt about the map as a whole: take the panel out.")
    name = options.doubt.strip()
    doubt = next((one for one in found if name in ("", one.name)), None)
    if doubt is None:
        there = ", ".join(dict.fromkeys(one.name for one in found))
        raise PanelError(f"There is no doubt “{name[:40]}” about this map; there are: {there}.")
    plots = doubt.evidence.plots
    if len(plots) < options.plot:
        raise PanelError(f"The doubt {doubt.name} has {len(plots)} pictures, no number "
                         f"{options.plot}.")  # fmt: skip
    return doubt, plots[options.plot - 1]


def draw(subfigure: Any, panel: Panel, findings: Findings, style: Style) -> DrawnPanel:
    """Draw the evidence that the options choose; see `parts.Drawer`."""
    options = panel.options
    assert isinstance(options, EvidenceOptions)
    doubt, plot = evidence_of(findings, options)
    (axes,) = rows_of(subfigure, 1)
    _points(axes, plot, style)
    if plot.fit_x.size:
        axes.plot(plot.fit_x, plot.fit_y, color=look.RETRACT, linewidth=1.6 * style.line, zorder=3)
    dress(axes, style)
    few_ticks(axes)
    name_axes(axes, subfigure, plot.x_label, plot.y_label, style)
    top, remarks = note(axes, plot.title, style)
    place(subfigure, [axes], style, top=top)
    return DrawnPanel(panel, tables=(_table(doubt, plot),), caption=_caption(doubt, plot),
                      remarks=remarks)  # fmt: skip


def _points(axes: Any, plot: Plot, style: Style) -> None:
    spread = np.nan_to_num(np.asarray(plot.error, float))
    barred = spread.size == plot.x.size and plot.x.size <= FEW and bool((spread > 0.0).any())
    if barred:
        axes.errorbar(plot.x, plot.y, spread, fmt="none", ecolor=look.FAINT,
                      elinewidth=style.thin, zorder=1)  # fmt: skip
    axes.plot(plot.x, plot.y, linestyle="none", marker="o", color=look.INK, markeredgewidth=0.0,
              markersize=2.6 if plot.x.size <= FEW else 1.2, zorder=2)  # fmt: skip


def _caption(doubt: MapDoubt, plot: Plot) -> str:
    about = doubt.name.replace("_", " ")
    words = f"{plot.title[:1].lower()}{plot.title[1:]}, evidence for the doubt “{about}”"
    parts = [words, "points: measured"]
    if np.isfinite(np.asarray(plot.error, float)).any():
        parts[1] += ", bars: ± one standard uncertainty"
    if plot.fit_x.size:
        parts.append("line: fitted")
    return "; ".join(parts)


def _table(doubt: MapDoubt, plot: Plot) -> DataTable:
    columns = (("x", "", plot.x_label), ("y", "", plot.y_label),
               ("error", "", "standard uncertainty of y"))  # fmt: skip
    error = np.asarray(plot.error, float)
    if error.size != plot.x.size:
        error = np.full(plot.x.size, np.nan)
    return DataTable(f"evidence_{doubt.name}", columns, (plot.x, plot.y, error),
                     f"{plot.title}: what the doubt “{doubt.name}” is seen on.")  # fmt: skip
