"""The local terms: what noise, baseline, contact point, pull-off and sampling leave open.

The parts of a fit's covariance are worked out again from the law's derivatives at the samples of
the window. With J the derivatives by the free parameters, H = (JᵀJ)⁻¹: noise gives s² H, and an
error e of something that was held (baseline, pull-off, contact point) shifts the parameters by
-H Jᵀ(∂d/∂held) e. The noise's share is split by letting parameters go one after the other: first
ln c alone, then the contact point with it, and so on; each adds its own uncertainty times what it
does to ln c, and the shares add up to s² H exactly.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ..analysis import Analysis
from ..columns import baseline as bl
from ..columns import fit as ft
from ..columns import law as cl
from ..columns import retract as rt
from ..columns import stiffness as st
from ..pipeline import Request, backwards, free_of, kernel_law, pull_columns
from ..steps.contact_law import law_curve
from .budget import LOCAL, Term
from .inputs import MODULI

Array = np.ndarray
FITTED = {cl.Z0: ("contact_point", "Contact point", "nm"),
          cl.PULL: ("pull_off", "Pull-off deflection, fitted", "nm"),
          cl.EXPONENT: ("exponent", "Exponent, fitted", "")}  # fmt: skip
PER_UNIT = "Sensitivity: change of the logarithm per {}."


@dataclass(frozen=True, eq=False)
class Window:
    """What the fit of one curve saw.

    Attributes
    ----------
    z : (n,) base positions [nm]; step : between samples
    jacobian : (n, 4) ∂d/∂(ln c, z0, a, exponent)
    free : indices of the free parameters
    inverse : H
    """

    z: Array
    step: float
    jacobian: Array
    free: tuple[int, ...]
    inverse: Array

    def shift(self, along: Array) -> float:
        """What a unit error along a direction (n,) of the model does to ln c: -(H Jᵀ along). For a
        baseline the direction is the line itself, since it was taken off the data."""
        return -float((self.inverse @ (self.jacobian[:, self.free].T @ along))[0])


def term(name: str, label: str, value: float, error: float, unit: str, slope: float,
         note: str = "", origin: str = "fit") -> Term:  # fmt: skip
    """A local term; `slope` is per unit."""
    per = PER_UNIT.format(unit or "1")
    return Term(name, label, LOCAL, value, error, unit, slope, abs(slope) * error, origin,
                f"{note} {per}".strip())  # fmt: skip


def local_terms(analysis: Analysis, curve: int, quantity: str, gain: float) -> tuple[Term, ...]:
    """The local terms of a quantity of one curve; `gain` is ∂ ln Q/∂ ln c for a modulus."""
    if quantity in MODULI:
        return fit_terms(analysis, curve, gain)
    return (adhesion_terms if quantity == "adhesion" else stiffness_terms)(analysis, curve)


# ---- a modulus


def branch_z(analysis: Analysis, curve: int) -> Array:
    """Base positions of the fitted branch, rising, where both channels are numbers."""
    samples = analysis.map.samples(curve)
    z, signal = samples.approach_z, samples.approach_signal
    if backwards(analysis.settings):
        z, signal = samples.retract_z[::-1], samples.retract_signal[::-1]
    return np.ascontiguousarray(z[np.isfinite(z) & np.isfinite(signal)])


def derivatives(z: Array, row: Array, numbers: Array, rows: Array) -> Array:
    """∂d/∂(ln c, z0, a, n) of the fitted law, (n, 4)."""
    par = np.array([row[ft.LN_C], row[ft.Z0], row[ft.PULL], row[ft.EXPONENT]])
    out = np.zeros((z.size, 4))
    d, other = np.empty(z.size), np.zeros((2, z.size))
    by_c, by_z0 = np.zeros(z.size), np.zeros(z.size)
    law_curve(z, par, numbers, rows, d, by_c, by_z0)
    out[:, cl.LN_C], out[:, cl.Z0] = by_c, by_z0
    for which, step in ((cl.PULL, max(1e-4 * par[cl.PULL], 1e-7)), (cl.EXPONENT, 1e-5)):
        if which == cl.PULL and numbers[cl.KIND] == cl.SHAPE:
            out[:, which] = -1.0 - by_z0  # u = z - z0 + a and d = f(u) - a
            continue
        both = np.empty((2, z.size))
        for side, values in zip((1.0, -1.0), both, strict=True):
            moved = par.copy()
            moved[which] += side * step
            law_curve(z, moved, numbers, rows, values, *other)
        out[:, which] = np.nan_to_num((both[0] - both[1]) / (2.0 * step))
    return out


def window_of_curve(analysis: Analysis, curve: int) -> Window:
    """The samples that the fit used and the law's derivatives there."""
    row, settings = analysis.stage_tables["fit"][curve], analysis.settings
    numbers, rows = kernel_law(Request(settings, analysis.constants))
    numbers[cl.UNIT] = row[ft.UNIT]
    z = branch_z(analysis, curve)
    z = z[(z >= row[ft.FIRST_Z] - 1e-9) & (z <= row[ft.LAST_Z] + 1e-9)]
    jacobian, free = derivatives(z, row, numbers, rows), free_of(settings)
    used = jacobian[:, free]
    with np.errstate(all="ignore"):
        try:
            inverse = np.linalg.inv(used.T @ used)
        except np.linalg.LinAlgError:
            inverse = np.full((len(free), len(free)), np.nan)
    step = float(z[-1] - z[0]) / max(z.size - 1, 1) if z.size else math.nan
    return Window(z, step, jacobian, free, inverse)


def fit_terms(analysis: Analysis, curve: int, gain: float) -> tuple[Term, ...]:
    """Local terms of a modulus; their squares add up to the map's own variance."""
    row = analysis.stage_tables["fit"][curve]
    window = window_of_curve(analysis, curve)
    if not np.isfinite(window.inverse).all():
        return (_rest(gain * math.sqrt(row[ft.VAR_LN_C]), "It could not be split."),)
    terms = [*noise_terms(window, row, gain), *baseline_terms(analysis, curve, window, gain)]
    if cl.PULL not in window.free and analysis.settings.fit.adhesion != "none":
        terms += held_pull_terms(analysis, curve, window, gain)
    if cl.Z0 not in window.free:
        terms += held_contact_terms(row, window, gain)
    known = math.fsum(t.contribution**2 for t in terms)
    rest = row[ft.VAR_LN_C] * gain**2 - known
    terms.append(slow_term(analysis.walk, gain**2 * row[ft.SLOW_LN_C]))
    if rest > 1e-6 * known:
        terms.append(_rest(math.sqrt(rest), "In the map's own ± and in no other term."))
    return tuple(terms)


def _rest(size: float, note: str) -> Term:
    return Term("rest", "The rest", LOCAL, math.nan, math.nan, "", math.nan, size, "fit", note)


def noise_terms(window: Window, row: Array, gain: float) -> list[Term]:
    """The noise with all else known, and what each parameter that is fitted beside adds."""
    noise, jacobian, free = row[ft.SCALE] ** 2, window.jacobian, window.free
    values = {cl.Z0: row[ft.Z0], cl.PULL: row[ft.PULL], cl.EXPONENT: row[ft.EXPONENT]}
    before = np.array([[1.0 / float(jacobian[:, 0] @ jacobian[:, 0])]])
    slope = gain * math.sqrt(before[0, 0])
    found = [term("noise", "Noise", math.nan, row[ft.SCALE], "nm", slope,
                  f"White noise of {window.z.size} samples, all else known.")]  # fmt: skip
    for count in range(2, len(free) + 1):
        held, which = jacobian[:, free[: count - 1]], free[count - 1]
        now = np.linalg.inv(jacobian[:, free[:count]].T @ jacobian[:, free[:count]])
        slope = -gain * float((before @ (held.T @ jacobian[:, which]))[0])
        name, label, unit = FITTED[which]
        note = ("Fitted with the law: what the noise leaves open of it. Samples are "
                f"{window.step:.2g} nm apart.")  # fmt: skip
        found.append(term(name, label, values[which], math.sqrt(noise * now[-1, -1]), unit, slope,
                          note))  # fmt: skip
        before = now
    return found


def baseline_terms(analysis: Analysis, curve: int, window: Window, gain: float) -> list[Term]:
    """Offset and slope of the line that was taken off, about the place where they are
    independent."""
    base = analysis.stage_tables["baseline"][curve]
    branch = bl.RETRACT if backwards(analysis.settings) else bl.APPROACH
    offset, slope, centre = base[branch + bl.B_OFFSET : branch + bl.B_CENTRE + 1]
    vo, vs, vos = base[branch + bl.B_VAR_OFFSET : branch + bl.B_COV + 1]
    tilted = vs > 0.0
    place = centre - vos / vs if tilted else centre
    error = math.sqrt(max(vo - vos**2 / vs, 0.0)) if tilted else math.sqrt(max(vo, 0.0))
    ones = np.ones(window.z.size)
    found = [term("baseline_offset", "Baseline, offset", offset + slope * (place - centre), error,
                  "nm", gain * window.shift(ones), f"At z = {place:.4g} nm.")]  # fmt: skip
    if tilted:
        found.append(term("baseline_slope", "Baseline, slope", slope, math.sqrt(vs), "",
                          gain * window.shift(window.z - place)))  # fmt: skip
    return found


def held_pull_terms(analysis: Analysis, curve: int, window: Window, gain: float) -> list[Term]:
    """A pull-off that was measured and held: its noise and baseline, and the samples' spacing."""
    pull = analysis.stage_tables["retract"][curve]
    column, variance = pull_columns(analysis.settings.fit.adhesion)
    sampling = pull_variances(analysis, curve)[2]
    if column == rt.PULL_LET_GO:  # given half a step beyond the lowest sample: half the error
        sampling *= 0.25
    sampling = max(min(sampling, float(pull[variance])), 0.0)
    error = math.sqrt(max(pull[variance] - sampling, 0.0))
    slope = gain * window.shift(window.jacobian[:, cl.PULL])
    return [
        term("pull_off", "Pull-off deflection", pull[column], error, "nm", slope,
             "Noise and baseline of the retract."),
        term("pull_off_sampling", "Pull-off between samples", math.nan, math.sqrt(sampling), "nm",
             slope, "The tip lets go somewhere between two samples."),
    ]  # fmt: skip


def held_contact_terms(row: Array, window: Window, gain: float) -> list[Term]:
    """A contact point that was found beforehand: no better than the samples allow."""
    slope = gain * window.shift(window.jacobian[:, cl.Z0])
    variance = max(float(row[ft.VAR_Z0]), 0.0)
    between = min(window.step**2 / 12.0, variance)
    return [
        term("contact_point", "Contact point", row[ft.Z0], math.sqrt(variance - between), "nm",
             slope, "Found before the fit and held."),
        term("contact_sampling", "Contact between samples", math.nan, math.sqrt(between), "nm",
             slope, "Contact lies somewhere between two samples, "
             f"{window.step:.2g} nm apart."),
    ]  # fmt: skip


def slow_term(walk: float, variance: float) -> Term:
    """Drift, waves and 1/f noise, from the free parts of the whole map."""
    size = math.sqrt(max(walk * variance, 0.0)) if walk > 0.0 else 0.0
    return Term("slow_noise", "Slow noise", LOCAL, math.nan, math.sqrt(max(walk, 0.0)), "nm/√nm",
                math.sqrt(variance) if variance >= 0.0 else math.nan, size, "fit",
                "How far the zero wanders over 1 nm of travel, pooled over the map. "
                + PER_UNIT.format("nm/√nm"))  # fmt: skip


# ---- adhesion and stiffness


def pull_variances(analysis: Analysis, curve: int) -> tuple[float, float, float]:
    """Variance of the measured pull-off deflection [nm²]: noise, baseline, and the samples'
    spacing."""
    pull, base = (analysis.stage_tables[name][curve] for name in ("retract", "baseline"))
    samples = analysis.settings.adhesion.samples
    share = (4.0 * samples - 2.0) / (samples * (samples + 1.0)) if samples >= 3 else 1.0
    noise = share * base[bl.RETRACT + bl.B_NOISE] ** 2
    arm = pull[rt.PULL_Z] - base[bl.RETRACT + bl.B_CENTRE]
    vo, vs, vos = base[bl.RETRACT + bl.B_VAR_OFFSET : bl.RETRACT + bl.B_COV + 1]
    line = vo + arm**2 * vs + 2.0 * arm * vos
    return noise, line, max(pull[rt.VAR_PULL] - noise - line, 0.0)


def adhesion_terms(analysis: Analysis, curve: int) -> tuple[Term, ...]:
    """Local terms of the adhesion force."""
    pull = analysis.stage_tables["retract"][curve]
    size = pull[rt.PULL]
    noise, line, sampling = (math.sqrt(max(v, 0.0)) for v in pull_variances(analysis, curve))
    return (
        term("noise", "Noise", math.nan, noise, "nm", 1.0 / size, "Of the lowest sample."),
        term("baseline", "Baseline of the retract", math.nan, line, "nm", 1.0 / size,
             "Offset and slope, where the tip lets go."),
        term("pull_off_sampling", "Pull-off between samples", math.nan, sampling, "nm",
             1.0 / size, "The tip lets go somewhere between two samples."),
        slow_term(analysis.walk, pull[rt.SLOW_PULL] / size**2),
    )  # fmt: skip


def stiffness_terms(analysis: Analysis, curve: int) -> tuple[Term, ...]:
    """Local terms of the contact stiffness S = k m/(1-m)."""
    row, base = (analysis.stage_tables[name][curve] for name in ("stiffness", "baseline"))
    branch = bl.RETRACT if analysis.settings.stiffness.branch == "retract" else bl.APPROACH
    m, line = row[st.SLOPE], base[branch + bl.B_VAR_SLOPE]
    slope = 1.0 / (m * (1.0 - m))
    noise = math.sqrt(max(row[st.VAR_SLOPE] - line, 0.0))
    return (
        term("noise", "Slope in contact", m, noise, "", slope, "White noise of its samples."),
        term("baseline_slope", "Baseline, slope", base[branch + bl.B_SLOPE],
             math.sqrt(max(line, 0.0)), "", -slope),
        slow_term(analysis.walk, row[st.SLOW_SLOPE] * slope**2),
    )  # fmt: skip
