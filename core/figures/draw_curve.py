"""A panel with one curve: what was measured, and all that was found on it."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from ..channels import CHANNELS
from ..curveaxes import TITLES, Frame, contact_start, fitted_branch, frame_for, window_on
from ..curvereport import CurveReport
from ..decisions import DONE
from ..errors import ReadError
from ..settings import SHAPES, Settings
from ..sheets import CurveOptions, Panel
from ..units import best_unit, text_of
from . import look, mapframe
from .dressing import dress, few_ticks, inside
from .parts import DataTable, DrawnPanel, PanelError, Style
from .placing import height_of, height_with, legend, name_axes, note, place, rows_of

if TYPE_CHECKING:
    from ..findings import Findings

Array = np.ndarray
SHORT = {"pixel": "", "typical": "typical", "best": "surest", "worst": "worst in use",
         "left_out": "worst left out"}  # fmt: skip
NUMBERS = ("modulus", "reduced_modulus", "adhesion", "stiffness", "indentation", "peak_force",
           "contact_point", "dissipation", "noise")  # fmt: skip
THEORIES = {"none": "without adhesion", "constant": "with a constant pull (DMT)",
            "jkr": "by the JKR theory", "maugis": "by the Maugis-Dugdale theory",
            "two_point": "by two points of the JKR theory"}  # fmt: skip
"""How adhesion enters the fitted law."""
STEPS = (4.0, 10.0, 20.0, 50.0, 100.0, 1000.0)
"""Half the height of the residuals is one of these, as in the window."""


def draw(subfigure: Any, panel: Panel, findings: Findings, style: Style) -> DrawnPanel:
    """Draw the curve that the options choose; see `parts.Drawer`."""
    options = panel.options
    assert isinstance(options, CurveOptions)
    row, col, words = chosen(findings, options)
    try:
        report = findings.explain(row, col)
    except ReadError as error:  # of the map's file, meanwhile
        raise PanelError(str(error)) from None
    if report is None:
        raise PanelError(f"There is no curve at column {col}, row {row}: choose another pixel.")
    plot = _Plot.of(report, options, words, findings.map.signal_unit)
    axes = rows_of(subfigure, 2 if plot.residuals else 1)
    handles = _measured(axes[0], plot, style) + _found(axes[0], plot, style)
    if plot.residuals:
        _residuals(axes[1], plot, style)
    top, remarks = _finish(subfigure, axes, plot, style)
    place(subfigure, axes, style, top=top, shares=(2.8, 1.0)[: len(axes)],
          legend=legend(subfigure, handles, style))  # fmt: skip
    if plot.residuals and height_of(axes[1]) < 4.2 * style.small:  # no room for three numbers
        axes[1].set_yticks([-2.0, 2.0], ["−2", "2"])
    return DrawnPanel(panel, tables=_tables(plot), caption=_caption(plot, findings),
                      remarks=remarks)  # fmt: skip


def wanted_height(panel: Panel, findings: Findings, style: Style, width: float) -> float:
    """How high the panel wants to be at a width, both in points."""
    options = panel.options
    assert isinstance(options, CurveOptions)
    marked = (("Fitted law", options.law), ("Fit window", options.window),
              ("Contact", options.contact), ("Adhesion", options.adhesion))  # fmt: skip
    names = ["Approach", "Retract", *(name for name, on in marked if on)]
    return height_with(names, style, width, 0.75 if options.residuals else 0.55)


def chosen(findings: Findings, options: CurveOptions) -> tuple[int, int, str]:
    """The pixel that the options choose, and by which rule. Raises PanelError."""
    from ..findings import pick

    rows, cols = findings.map.shape
    if options.which == "pixel":
        row, col = int(options.row), int(options.col)
        if row >= rows or col >= cols:
            raise PanelError(f"Column {col}, row {row} lies outside this map of {cols} × {rows} "
                             "pixels: choose another pixel, or a rule for one.")  # fmt: skip
        return row, col, ""
    try:
        found = pick(findings, options.which, options.component)
    except ValueError as error:
        raise PanelError(f"The curve can't be chosen: {error}.") from None
    if found is None:
        of = f" of component {options.component}" if options.component else ""
        raise PanelError(f"No pixel{of} fits the rule “{SHORT[options.which]}”: choose another "
                         "rule or a pixel.")  # fmt: skip
    return found.row, found.col, found.words


@dataclass(eq=False)
class _Plot:
    """A curve on its axes: `fx` and `fy` turn core units into those of the axes."""

    report: CurveReport
    options: CurveOptions
    words: str
    frame: Frame
    note: str
    units: tuple[str, str] = ("nm", "nm")
    factors: tuple[float, float] = (1.0, 1.0)
    lines: dict[str, tuple[Array, Array]] = field(default_factory=dict)
    window: tuple[float, float] | None = None
    points: dict[str, tuple[float, float]] = field(default_factory=dict)

    @classmethod
    def of(cls, report: CurveReport, options: CurveOptions, words: str, signal: str) -> _Plot:
        frame, note = frame_for(report, options.x, options.y)
        made = cls(report, options, words, frame, note)
        made._scale(signal)
        a, r, fitted = report.approach, report.retract, fitted_branch(report)
        made.lines = {"approach": made._to(*frame.place(a.z, a.d, a)),
                      "retract": made._to(*frame.place(r.z, r.d, r))}  # fmt: skip
        if options.law and report.law_z.size:
            made.lines["law"] = made._to(*frame.place(report.law_z, report.law_d, fitted))
        ends = window_on(report, frame) if options.window else None
        made.window = None if ends is None else (ends[0] * made.factors[0],
                                                 ends[1] * made.factors[0])  # fmt: skip
        foot = (report.pull_off[0], 0.0)
        for name, at, branch, wanted in (
            ("contact", report.contact, fitted, options.contact),
            ("pull_off", report.pull_off, r, options.adhesion),
            ("pull_off_foot", foot, r, options.adhesion),
        ):
            x, y = frame.point(at, branch)
            if wanted and math.isfinite(x) and math.isfinite(y):
                made.points[name] = (x * made.factors[0], y * made.factors[1])
        if "pull_off" in made.points:  # straight down from the lowest sample's place
            made.points["pull_off_foot"] = (made.points["pull_off"][0],
                                            made.points["pull_off_foot"][1])  # fmt: skip
        return made

    def _scale(self, signal: str) -> None:
        report, found = self.report, []
        if not report.constants.lengths:
            self.units = ("nm", signal)
            return
        for core, values in zip((TITLES[self.frame.x][1], TITLES[self.frame.y][1]),
                                self._reach(report), strict=True):  # fmt: skip
            found.append(best_unit(values, core))
        self.units = (found[0][0], found[1][0])
        self.factors = (found[0][1], found[1][1])

    def _reach(self, report: CurveReport) -> tuple[float, float]:
        ends = [self.frame.place(b.z, b.d, b) for b in (report.approach, report.retract)]
        x, y = (np.concatenate(part) for part in zip(*ends, strict=True))
        if not x.size:
            raise PanelError(f"The curve at column {report.col}, row {report.row} has no sample: "
                             "choose another pixel.")  # fmt: skip
        return float(np.ptp(x)), float(np.abs(y).max())

    def _to(self, x: Array, y: Array) -> tuple[Array, Array]:
        return x * self.factors[0], y * self.factors[1]

    def shown(self) -> tuple[Array, Array]:
        """The samples, on both axes, that have to be in sight."""
        report, found = self.report, []
        part = self.options.part == "contact" and math.isfinite(report.z0)
        start = contact_start(report) if part else -math.inf
        for name, branch in (("approach", report.approach), ("retract", report.retract)):
            found.append([part[branch.z >= start] for part in self.lines[name]])
        x, y = (np.concatenate(part) for part in zip(*found, strict=True))
        return x, y

    def title(self, at: int) -> str:
        key = (self.frame.x, self.frame.y)[at]
        if at == 1 and not self.report.constants.lengths:
            return "Signal as recorded"
        return TITLES[key][0].rpartition(" ")[0]

    @property
    def residuals(self) -> bool:
        return self.options.residuals and self.report.residual.size > 0

    @property
    def where(self) -> str:
        return f"column {self.report.col}, row {self.report.row}"


def _measured(axes: Any, plot: _Plot, style: Style) -> list[Any]:
    axes.axhline(0.0, color=look.MUTED, linewidth=style.stroke(0.7 * style.thin), zorder=1)
    handles = []
    for name, colour, dash, level in (("approach", look.APPROACH, "solid", 4),
                                      ("retract", look.RETRACT, look.DASHED, 3)):  # fmt: skip
        x, y = plot.lines[name]
        if x.size:
            handles += axes.plot(x, y, color=colour, linestyle=dash, linewidth=style.line,
                                 label=name.capitalize(), zorder=level)  # fmt: skip
    return handles


def _found(axes: Any, plot: _Plot, style: Style) -> list[Any]:
    """Law, window and marks; handles for the legend."""
    from matplotlib.patches import Patch

    handles = []
    if "law" in plot.lines:
        handles += axes.plot(*plot.lines["law"], color=look.PALE_INK, linewidth=3.5 * style.line,
                             label="Fitted law", zorder=2, solid_capstyle="butt")  # fmt: skip
    if plot.window is not None:
        axes.axvspan(*plot.window, color=look.WINDOW_FILL, linewidth=0.0, zorder=0)
        for end in plot.window:
            axes.axvline(end, color=look.ACCENT, linewidth=style.thin, zorder=0.5)
        handles.append(Patch(facecolor=look.WINDOW_FILL, edgecolor=look.ACCENT,
                             linewidth=style.thin, label="Fit window"))  # fmt: skip
    size = 0.65 * style.font_size
    if "contact" in plot.points:
        x, y = plot.points["contact"]
        handles += axes.plot([x], [y], "o", markersize=size, markerfacecolor="none",
                             markeredgecolor=look.INK, markeredgewidth=1.2 * style.line,
                             label="Contact", zorder=7)  # fmt: skip
    if "pull_off" in plot.points:
        (x, y), (_, foot) = plot.points["pull_off"], plot.points["pull_off_foot"]
        axes.plot([x, x], [foot, y], color=look.ADHESION, linewidth=1.2 * style.line, zorder=5)
        handles += axes.plot([x], [y], "d", markersize=size, color=look.ADHESION,
                             markeredgecolor=look.PAPER, linestyle="none", zorder=6,
                             markeredgewidth=style.stroke(0.5 * style.thin),
                             label="Adhesion")  # fmt: skip
    return handles


def _along_residuals(plot: _Plot) -> tuple[Array, Array]:
    """Residuals on the axis of the curve."""
    report, fitted = plot.report, fitted_branch(plot.report)
    d = np.interp(report.residual_z, fitted.z, fitted.d)
    x = plot.frame.along(report.residual_z, d) * plot.factors[0]
    keep = np.isfinite(x) & np.isfinite(report.residual)
    return x[keep], report.residual[keep]


def _residuals(axes: Any, plot: _Plot, style: Style) -> None:
    x, r = _along_residuals(plot)
    for at in (-2.0, 0.0, 2.0):
        axes.axhline(at, color=look.FAINT, linewidth=style.thin, zorder=1,
                     linestyle="solid" if at == 0.0 else (0, (4, 3)))  # fmt: skip
    axes.plot(x, r, ".", color=look.INK, markersize=2.2 * style.line, markeredgewidth=0.0, zorder=3)
    size = float(np.percentile(np.abs(r), 99.0)) if r.size else 0.0
    half = next((step for step in STEPS if step >= size), STEPS[-1])
    axes.set_ylim(-half, half)
    marks = (-half / 2, 0.0, half / 2)
    axes.set_yticks(marks, [f"{mark:g}".replace("-", "−") for mark in marks])
    dress(axes, style)


def _finish(subfigure: Any, both: list[Any], plot: _Plot, style: Style
            ) -> tuple[float, tuple[str, ...]]:  # fmt: skip
    """Ticks, titles and limits; returns what the line above takes [pt], and remarks."""
    axes, last = both[0], both[-1]
    dress(axes, style)
    few_ticks(axes)
    across, up = (style.label(plot.title(at), plot.units[at]) for at in (0, 1))
    name_axes(axes, subfigure, "" if plot.residuals else across, up, style,
              0.7 if plot.residuals else 1.0)  # fmt: skip
    if plot.residuals:
        name_axes(last, subfigure, across, "r / σ", style)
        axes.tick_params(labelbottom=False)
    for limits, values in zip((axes.set_xlim, axes.set_ylim), plot.shown(), strict=True):
        low, high = float(values.min()), float(values.max())
        room = 0.04 * (high - low) or 1.0
        limits(low - room, high + room)
    rule = SHORT[plot.options.which]
    sign = f" {plot.options.component.strip()}" if plot.options.component and rule else ""
    words = f"{rule}{sign}: {plot.where}" if rule else plot.where
    return note(axes, words[0].upper() + words[1:], style)


def _tables(plot: _Plot) -> tuple[DataTable, ...]:
    """Every number that is drawn, in the units of the axes."""
    names = [plot.title(at).lower().replace(" ", "_") for at in (0, 1)]
    heads = tuple((name, unit, f"on the {way} axis") for name, unit, way in
                  zip(names, plot.units, ("horizontal", "vertical"), strict=True))  # fmt: skip
    report, found = plot.report, []
    for name, branch in (("approach", report.approach), ("retract", report.retract)):
        found.append(DataTable(
            name, (("z", "nm", "base position, rising towards the sample"), *heads),
            (branch.z, *plot.lines[name]),
            f"{name.capitalize()} of the curve at {plot.where}, baseline taken off"))  # fmt: skip
    if "law" in plot.lines:
        found.append(DataTable("law", heads, plot.lines["law"], "The fitted law over the contact"))
    if plot.residuals:
        found.append(DataTable("residuals", (heads[0], ("residual", "", "in units of the noise")),
                               _along_residuals(plot), "Residuals of the fit"))  # fmt: skip
    marks = dict(plot.points)
    if plot.window is not None:
        marks |= {"window_from": (plot.window[0], math.nan),
                  "window_to": (plot.window[1], math.nan)}  # fmt: skip
    at = np.array(list(marks.values()), float).reshape(-1, 2)
    found.append(DataTable("marks", (("mark", "", "what is marked"), *heads),
                           (list(marks), at[:, 0], at[:, 1]),
                           "Places that are marked; pull_off_foot is the baseline above the "
                           "largest pull"))  # fmt: skip
    return (*found, _numbers(report))


def _numbers(report: CurveReport) -> DataTable:
    known = [name for name in NUMBERS if math.isfinite(report.values[name][0])]
    values = np.array([report.values[name] for name in known], float).reshape(-1, 2)
    return DataTable(
        "numbers", (("quantity", "", "channel"), ("unit", "", "of value and uncertainty"),
                    ("value", "", "of this curve, in the unit beside it"),
                    ("uncertainty", "", "local standard uncertainty; missing if not known")),
        (known, [CHANNELS[name].unit for name in known], values[:, 0], values[:, 1]),
        "What was found on this curve")  # fmt: skip


def _caption(plot: _Plot, findings: Findings) -> str:
    report, rule = plot.report, plot.words
    end = "top" if mapframe.grid_of(findings.map).flip_y else "bottom"
    counted = f"from 0, row 0 at the {end}"
    said = [f"{inside(plot.title(1))} against {plot.title(0).lower()} at {plot.where} ({counted}"
            + (f"; {rule}" if rule else "") + "): approach solid, retract dashed"]  # fmt: skip
    if plot.window is not None:
        said.append("shaded, the fit window")
    if "law" in plot.lines:
        said.append(f"wide grey line, the fitted law, {law_words(report.settings)}"
                    + _number(report, "modulus", "E"))  # fmt: skip
    if "contact" in plot.points:
        said.append("circle, the contact point")
    if "pull_off" in plot.points:
        said.append("diamond, the largest pull below the baseline" + _number(report, "adhesion"))
    if plot.residuals:
        said.append("below, residuals of the fit in units of the noise, dashed at ±2")
    if any("±" in words for words in said):
        said.append("± of this curve alone, without what all curves share (spring constant, "
                    "sensitivity, tip)")  # fmt: skip
    return ". ".join(["; ".join(said), *_doubts(plot, findings)])


def law_words(settings: Settings) -> str:
    """The contact law with its adhesion."""
    return f"{SHAPES[settings.fit.law]}, {THEORIES[settings.fit.adhesion]}"


def _number(report: CurveReport, channel: str, symbol: str = "") -> str:
    value, error = report.values[channel]
    if not math.isfinite(value):
        return ""
    text = text_of(value, CHANNELS[channel].unit, error)
    return f" ({symbol} = {text})" if symbol else f" ({text})"


def _doubts(plot: _Plot, findings: Findings) -> list[str]:
    """What has to be known about this curve: fall-backs, doubts, and whether it is used."""
    report, said = plot.report, [plot.note.rstrip(".")] if plot.note else []
    said += [f"Doubt about this curve ({one.severity}): {one.sentence.rstrip('.')}"
             for one in report.doubts]  # fmt: skip
    decided = findings.analysis.review.at(findings.map.shape, report.row, report.col)
    if decided is not None:
        said.append(f"By hand this pixel was {DONE[decided.kind]}")
    if not findings.analysis.trusted[report.row, report.col]:
        said.append("This pixel is not used in the statistics")
    return said
