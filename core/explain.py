"""Everything there is to see on one curve: what was found, where, and how sure.

The numbers come from the same compiled loops as the map's (`pipeline.one_curve`), so curve view
and map agree to the last bit; the arrays here are only for drawing.
"""

from __future__ import annotations

import math

import numpy as np

from .analysis import Analysis
from .channels import CHANNELS
from .columns import baseline as bl
from .columns import fit as ft
from .columns import law as cl
from .columns import retract as rt
from .columns import stiffness as st
from .curvereport import NOWHERE, Branch, CurveReport, Raised
from .doubts import DOUBTS, WITHOUT_LENGTHS
from .forcemap import ForceMap
from .pipeline import Request, backwards, kernel_law, one_curve
from .settings import Settings
from .steps.baseline import take_off
from .steps.contact_law import law_curve

Array = np.ndarray


def _branch(z: Array, signal: Array, scale: float, row: Array, at: int) -> Branch:
    if z.size > 1 and z[0] > z[-1]:
        z, signal = z[::-1], signal[::-1]
    raw = signal * scale
    keep = np.isfinite(z) & np.isfinite(raw)
    z, raw = np.ascontiguousarray(z[keep]), raw[keep]
    line = np.zeros(z.size)
    take_off(z, line, z.size, row, at)  # of nothing: the baseline itself, with the other sign
    line = -line
    first, last = row[at + bl.B_FIRST], row[at + bl.B_LAST]
    free = (z[int(first)], z[int(last) - 1]) if last == last and z.size >= last else NOWHERE
    return Branch(z, raw - line, raw, line, free)


def branches_of(fmap: ForceMap, curve: int, scale: float, base: Array) -> tuple[Branch, Branch]:
    """Approach and retract of a curve with the baselines that its row `base` of the baseline stage
    holds; `scale` is nm per unit of the recorded signal. Empty where a branch is absent."""
    samples, scale = fmap.samples(curve), scale / fmap.signal_scale
    return (_branch(samples.approach_z, samples.approach_signal, scale, base, bl.APPROACH),
            _branch(samples.retract_z, samples.retract_signal, scale, base, bl.RETRACT))


def _law_at(z: Array, request: Request, fit: Array) -> Array:
    """The fitted law's deflection at base positions (n,); NaN where it has no contact."""
    numbers, rows = kernel_law(request)
    numbers[cl.UNIT] = fit[ft.UNIT]
    par = np.array([fit[ft.LN_C], fit[ft.Z0], fit[ft.PULL], fit[ft.EXPONENT]])
    d, by_c, by_z0 = (np.empty(z.size) for _ in range(3))
    law_curve(np.ascontiguousarray(z), par, numbers, rows, d, by_c, by_z0)
    return d


def _law(request: Request, fit: Array, low: float, high: float) -> tuple[Array, Array]:
    """The fitted law drawn densely from first contact to the peak."""
    if fit[ft.STATE] != ft.GOOD:
        return np.empty(0), np.empty(0)
    inside, outside = high, low
    for _ in range(50):  # where the law's contact begins
        middle = 0.5 * (inside + outside)
        touches = math.isfinite(_law_at(np.array([middle]), request, fit)[0])
        inside, outside = (middle, outside) if touches else (inside, middle)
    z = np.linspace(inside, high, 200)
    return z, _law_at(z, request, fit)


def _residuals(branch: Branch, request: Request, fit: Array, noise: float
               ) -> tuple[Array, Array]:  # fmt: skip
    if fit[ft.STATE] != ft.GOOD:
        return np.empty(0), np.empty(0)
    inside = (branch.z >= fit[ft.FIRST_Z]) & (branch.z <= fit[ft.LAST_Z])
    z = branch.z[inside]
    return z, (branch.d[inside] - _law_at(z, request, fit)) / noise


def _raised(one: Analysis, whole: Analysis | None, curve: int) -> list[Raised]:
    case = one.case
    if whole is not None:
        case = whole.case_of(one, np.array([curve]))
    found = []
    with np.errstate(divide="ignore", invalid="ignore"):
        for doubt in DOUBTS.values():
            if not (case.lengths or doubt.name in WITHOUT_LENGTHS):
                continue
            figure = doubt.figure(case)
            if doubt.trips(figure, case.limits)[0]:
                found.append(Raised(doubt.name, doubt.severity, doubt.sentence, float(figure[0]),
                                    float(doubt.threshold(case.limits)), doubt.unit,
                                    doubt.seen_at(case, 0), doubt.repair))  # fmt: skip
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
    one = _alone(fmap, request, rows, None if whole is None else whole.walk)
    values = {}
    for name in CHANNELS:
        value, error = one.per_curve(name)
        values[name] = (float(value[0]), float(error[0]) if error is not None else math.nan)
    return _report(fmap, request, rows, values, _raised(one, whole, curve), (row, col, curve))


def _alone(fmap: ForceMap, request: Request, rows: dict[str, Array], walk: float | None
           ) -> Analysis:  # fmt: skip
    return Analysis(fmap, request.settings, request.constants, rows, {}, np.ones(1, bool),
                    pooled_walk=walk)  # fmt: skip


def _report(fmap: ForceMap, request: Request, rows: dict[str, Array],
            values: dict[str, tuple[float, float]], doubts: list[Raised],
            which: tuple[int, int, int]) -> CurveReport:  # fmt: skip
    base, pull, fit, slope = (rows[name][0] for name in ("baseline", "retract", "fit", "stiffness"))
    approach, retract = branches_of(fmap, which[2], request.constants.scale[2], base)
    fitted = retract if backwards(request.settings) else approach
    low = fit[ft.Z0] - 3.0 * fit[ft.PULL]
    law_z, law_d = _law(request, fit, low + 1e-9, float(base[bl.PEAK_Z]))
    at = bl.APPROACH if fitted is approach else bl.RETRACT
    noise = float(base[at + bl.B_NOISE])
    residual_z, residual = _residuals(fitted, request, fit, noise)
    slope_z = np.array([slope[st.FIRST_Z], slope[st.LAST_Z]])
    return CurveReport(
        *which, request.settings, request.constants, values, doubts, approach, retract,
        contact=(float(fit[ft.Z0]), 0.0) if fit[ft.STATE] == ft.GOOD else NOWHERE,
        peak=(float(base[bl.PEAK_Z]), float(base[bl.PEAK_D])),
        pull_off=(float(pull[rt.PULL_Z]), -float(pull[rt.PULL])) if pull[rt.SEEN] else NOWHERE,
        zero=(float(pull[rt.ZERO_Z]), 0.0),
        release=(float(pull[rt.RELEASE_Z]), 0.0),
        window=(float(fit[ft.FIRST_Z]), float(fit[ft.LAST_Z])),
        window_branch="retract" if fitted is retract else "approach",
        law_z=law_z, law_d=law_d, residual_z=residual_z, residual=residual,
        slope_z=slope_z, slope_d=slope[st.OFFSET] + slope[st.SLOPE] * slope_z,
        spring_constant=request.constants.force_scale, noise=noise,
    )  # fmt: skip
