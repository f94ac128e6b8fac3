"""Everything there is to see on one curve: what was found, where, and how sure.

The numbers come from the same compiled loops as the map's (`pipeline.one_curve`), so curve view
and map agree to the last bit; the arrays here are only for drawing.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from .analysis import Analysis
from .calibration import Constants
from .channels import CHANNELS
from .doubts import DOUBTS
from .forcemap import ForceMap
from .models import law_of
from .pipeline import Request, one_curve, window_of
from .settings import Settings
from .steps import baseline as bl
from .steps import fit as ft
from .steps import loops
from .steps import retract as rt
from .steps import stiffness as st

Array = np.ndarray
NOWHERE = (math.nan, math.nan)


@dataclass(frozen=True)
class Raised:
    """A doubt of this curve with the figure that tripped it."""

    name: str
    severity: str
    sentence: str
    figure: float
    threshold: float
    unit: str


@dataclass(frozen=True, eq=False)
class Branch:
    """One branch, z rising, all in nm.

    Attributes
    ----------
    z : (n,) base position
    d : (n,) deflection with the baseline taken off
    raw : (n,) deflection as measured
    line : (n,) the baseline under it, in the frame of `raw`
    free : z at the two ends of the free part that the baseline was fitted to
    """

    z: Array
    d: Array
    raw: Array
    line: Array
    free: tuple[float, float]


@dataclass(frozen=True, eq=False)
class CurveReport:
    """One pixel explained. Points are (z, d) in nm with the baseline taken off; NaN if not found.

    Attributes
    ----------
    row, col, curve : which
    values : channel -> (value, local standard uncertainty or NaN), core units
    doubts : severe ones first
    approach, retract : the branches; empty arrays if absent
    contact : where an undeflected tip would meet the undeformed surface, on the baseline
    peak, pull_off, zero, release : peak; largest pull; zero force on retract; end of the pull
    window : z at the ends of the fit window; `window_branch` says on which branch
    law_z, law_d : the fitted law over the contact
    residual_z, residual : residuals of the fit in units of the noise
    slope_z, slope_d : the two ends of the straight line behind the contact stiffness
    spring_constant, noise : N/m (NaN if missing) and nm
    """

    row: int
    col: int
    curve: int
    settings: Settings
    constants: Constants
    values: dict[str, tuple[float, float]]
    doubts: list[Raised]
    approach: Branch
    retract: Branch
    contact: tuple[float, float]
    peak: tuple[float, float]
    pull_off: tuple[float, float]
    zero: tuple[float, float]
    release: tuple[float, float]
    window: tuple[float, float]
    window_branch: str
    law_z: Array
    law_d: Array
    residual_z: Array
    residual: Array
    slope_z: Array
    slope_d: Array
    spring_constant: float
    noise: float

    @property
    def z0(self) -> float:
        """Contact point [nm]; NaN if not found."""
        return self.values["contact_point"][0]


def _branch(z: Array, signal: Array, scale: float, row: Array, at: int) -> Branch:
    if z.size > 1 and z[0] > z[-1]:
        z, signal = z[::-1], signal[::-1]
    raw = signal * scale
    line = row[at] + row[at + bl.B_SLOPE] * (z - row[at + bl.B_CENTRE])
    keep = np.isfinite(z) & np.isfinite(raw)
    z, raw, line = z[keep], raw[keep], line[keep]
    first, last = row[at + bl.B_FIRST], row[at + bl.B_LAST]
    free = (z[int(first)], z[int(last) - 1]) if last == last and z.size >= last else NOWHERE
    return Branch(z, raw - line, raw, line, free)


def _law(report_branch: Branch, fit: Array, n: float, low: float, high: float
         ) -> tuple[Array, Array]:  # fmt: skip
    """The fitted law drawn densely from first contact to the peak."""
    if fit[ft.STATE] != ft.GOOD:
        return np.empty(0), np.empty(0)
    z = np.linspace(low, high, 200)
    d = np.empty(z.size)
    loops.law_curve(z, math.exp(fit[ft.LN_C]), fit[ft.Z0], fit[ft.PULL], n, d)
    keep = np.isfinite(d)
    return z[keep], d[keep]


def _residuals(branch: Branch, fit: Array, n: float, noise: float) -> tuple[Array, Array]:
    if fit[ft.STATE] != ft.GOOD:
        return np.empty(0), np.empty(0)
    inside = (branch.z >= fit[ft.FIRST_Z]) & (branch.z <= fit[ft.LAST_Z])
    z = np.ascontiguousarray(branch.z[inside])
    d = np.empty(z.size)
    loops.law_curve(z, math.exp(fit[ft.LN_C]), fit[ft.Z0], fit[ft.PULL], n, d)
    return z, (branch.d[inside] - d) / noise


def _raised(one: Analysis, whole: Analysis | None) -> list[Raised]:
    case = one.case
    if whole is not None:
        case = replace(case, median_noise=whole.case.median_noise)
    found = []
    with np.errstate(divide="ignore", invalid="ignore"):
        for doubt in DOUBTS.values():
            figure = doubt.figure(case)
            if one.constants.lengths and doubt.trips(figure, case.limits)[0]:
                found.append(Raised(doubt.name, doubt.severity, doubt.sentence, float(figure[0]),
                                    float(doubt.threshold(case.limits)), doubt.unit))  # fmt: skip
    return sorted(found, key=lambda r: r.severity != "severe")


def explain(
    fmap: ForceMap, settings: Settings, row: int, col: int, whole: Analysis | None = None
) -> CurveReport | None:
    """Explain one pixel; None where there is no curve.

    Parameters
    ----------
    whole : the analysis of the map, for doubts that compare a curve with the others; without it
        the curve is compared with itself

    Raises ReadError if the file is damaged or gone.
    """
    curve = fmap.curve_at(row, col)
    if curve < 0:
        return None
    request, _, rows = one_curve(fmap, settings, curve)
    one = _alone(fmap, request, rows)
    values = {}
    for name in CHANNELS:
        value, error = one.per_curve(name)
        values[name] = (float(value[0]), float(error[0]) if error is not None else math.nan)
    return _report(fmap, request, rows, values, _raised(one, whole), (row, col, curve))


def _alone(fmap: ForceMap, request: Request, rows: dict[str, Array]) -> Analysis:
    return Analysis(fmap, request.settings, request.constants, rows, {}, np.ones(1, bool))


def _report(fmap: ForceMap, request: Request, rows: dict[str, Array],
            values: dict[str, tuple[float, float]], doubts: list[Raised],
            which: tuple[int, int, int]) -> CurveReport:  # fmt: skip
    base, pull, fit, slope = (rows[name][0] for name in ("baseline", "retract", "fit", "stiffness"))
    samples = fmap.samples(which[2])
    scale = request.constants.scale[2] / fmap.signal_scale
    approach = _branch(samples.approach_z, samples.approach_signal, scale, base, bl.APPROACH)
    retract = _branch(samples.retract_z, samples.retract_signal, scale, base, bl.RETRACT)
    n = law_of(request.settings.fit.law).exponent
    fitted = approach if request.settings.fit.branch == "approach" else retract
    low = fit[ft.Z0] - fit[ft.PULL]
    law_z, law_d = _law(fitted, fit, n, low + 1e-9, float(base[bl.PEAK_Z]))
    at = bl.APPROACH if fitted is approach else bl.RETRACT
    noise = float(base[at + bl.B_NOISE])
    residual_z, residual = _residuals(fitted, fit, n, noise)
    slope_z = np.array([slope[st.FIRST_Z], slope[st.LAST_Z]])
    return CurveReport(
        *which, request.settings, request.constants, values, doubts, approach, retract,
        contact=(float(fit[ft.Z0]), 0.0) if fit[ft.STATE] == ft.GOOD else NOWHERE,
        peak=(float(base[bl.PEAK_Z]), float(base[bl.PEAK_D])),
        pull_off=(float(pull[rt.PULL_Z]), -float(pull[rt.PULL])) if pull[rt.SEEN] else NOWHERE,
        zero=(float(pull[rt.ZERO_Z]), 0.0),
        release=(float(pull[rt.RELEASE_Z]), 0.0),
        window=(float(fit[ft.FIRST_Z]), float(fit[ft.LAST_Z])),
        window_branch=request.settings.fit.branch,
        law_z=law_z, law_d=law_d, residual_z=residual_z, residual=residual,
        slope_z=slope_z, slope_d=slope[st.OFFSET] + slope[st.SLOPE] * slope_z,
        spring_constant=request.constants.force_scale, noise=noise,
    )  # fmt: skip


def window_change(report: CurveReport, z_from: float, z_to: float) -> dict[str, float]:
    """The settings that put the fit window between two base positions of this curve.

    The ends are read off the fitted law (off the samples where there is none), in whatever the
    window is given by: share of peak force [%], force [nN] or indentation [nm], and kept inside the
    settings' ranges and in order.

    Returns a change for `Settings.with_values`; empty if nothing can be read off.
    """
    fit = report.settings.fit
    branch = report.approach if fit.branch == "approach" else report.retract
    if branch.z.size < 3 or not math.isfinite(report.peak[1]):
        return {}
    low, high = sorted((z_from, z_to))
    d = np.interp([low, high], branch.z, np.convolve(branch.d, np.ones(3) / 3, "same"))
    if report.law_z.size:
        on_law = (np.array([low, high]) >= report.law_z[0]) & (
            np.array([low, high]) <= report.law_z[-1]
        )
        d = np.where(on_law, np.interp([low, high], report.law_z, report.law_d), d)
    if fit.window == "fraction":
        ends = np.clip(100.0 * d / report.peak[1], (-100.0, 1.0), (99.0, 100.0))
        gap = 1.0
    elif fit.window == "force":
        ends, gap = d * report.spring_constant, 1e-3
    else:
        ends, gap = np.maximum([low, high] - d - report.z0, 0.0), 1e-3
    if not np.isfinite(ends).all():
        return {}
    first, last = float(ends[0]), float(max(ends[1], ends[0] + gap))
    if fit.window == "fraction" and last > 100.0:
        first, last = 99.0, 100.0
    return {f"fit.{fit.window}_from": round(first, 3), f"fit.{fit.window}_to": round(last, 3)}


def window_limits(report: CurveReport) -> tuple[int, float, float]:
    """The window as the fit took it (see `pipeline.window_of`)."""
    return window_of(Request(report.settings, report.constants))
