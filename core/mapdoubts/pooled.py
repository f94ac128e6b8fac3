"""One factor of the deflection sensitivity, fitted to many curves at once.

A recorded deflection that is f times the true one obeys d(z) = f D(z; c, z₀, a/f): the law D gives
the true deflection, and the pull a was recorded with the same f. For a plain power law of exponent
n that is z = z₀ + d/f + c' (d + a)^(1/n): the straight part of z against d tells f, and it does so
the better the stiffer the contact. Contact point and stiffness are each curve's own, f is common to
all. The residual is in d, where the noise is, so noise in d biases nothing.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from ..analysis import Analysis
from ..columns import baseline as bl
from ..columns import fit as ft
from ..columns import law as cl
from ..columns import retract as rt
from ..models import POWER
from ..pipeline import Request, backwards, kernel_law, pull_columns
from ..steps.baseline import take_off
from ..steps.contact_law import law_curve

Array = np.ndarray
SAMPLES = 96
"""Samples of a curve that are kept; more are averaged in groups."""
FROM, TO = 0.05, 0.97
"""Shares of the peak deflection between which a curve is compared."""
STEP = 1e-4
LEAST, MOST = 0.2, 5.0
"""Between which a factor is looked for."""


@dataclass(frozen=True, eq=False)
class Sampled:
    """One curve's contact: z and d [nm], noise of one d, pull-off deflection a, unit of the law."""

    curve: int
    z: Array
    d: Array
    noise: float
    pull: float
    unit: float


@dataclass(frozen=True, eq=False)
class Law:
    """A contact law as the kernels take it, and its exponent to begin with."""

    name: str
    label: str
    numbers: Array
    rows: Array
    exponent: float
    pulls: bool = True


def law_in_use(analysis: Analysis) -> Law:
    """The law of the settings."""
    fit = analysis.settings.fit
    numbers, rows = kernel_law(Request(analysis.settings, analysis.constants))
    return Law("in use", "the law in use", numbers, rows, numbers[cl.EXPONENT_START],
               fit.adhesion != "none")  # fmt: skip


def power(name: str, label: str, exponent: float, kind: float = cl.SHAPE, pulls: bool = True
          ) -> Law:  # fmt: skip
    """A power law, or JKR."""
    numbers = np.zeros(cl.NUMBERS)
    numbers[[cl.STEP, cl.UNIT, cl.DEEPEST]] = 1.0, 1.0, math.inf
    numbers[cl.KIND], numbers[cl.EXPONENT_START] = kind, exponent
    return Law(name, label, numbers, POWER.rows, exponent, pulls)


def sampled(analysis: Analysis, curves: Array) -> list[Sampled]:
    """The contacts of some curves, from the branch that is fitted; those too short are left out."""
    retract = backwards(analysis.settings)
    at = bl.RETRACT if retract else bl.APPROACH
    base, fit = analysis.tables.base, analysis.tables.fit
    scale = analysis.constants.scale[2] / analysis.map.signal_scale
    shift = analysis.constants.scale[3] - scale * analysis.map.signal_shift
    column = pull_columns(analysis.settings.fit.adhesion)[0]
    found = []
    for curve in curves:
        raw = analysis.map.samples(int(curve))
        z, signal = ((raw.retract_z[::-1], raw.retract_signal[::-1]) if retract else
                     (raw.approach_z, raw.approach_signal))  # fmt: skip
        keep = np.isfinite(z) & np.isfinite(signal)
        z, d = np.ascontiguousarray(z[keep]), scale * signal[keep] + shift
        take_off(z, d, z.size, base[curve], at)
        part = _contact(z, d, base[curve, bl.PEAK_D])
        if part is None:
            continue
        (z, d), noise = part, base[curve, at + bl.B_NOISE]
        z, d, noise = _fewer(z, d, float(noise))
        unit = fit[curve, ft.UNIT]
        pull = max(float(np.nan_to_num(analysis.tables.pull[curve, column])), 0.0)
        if analysis.tables.pull[curve, rt.SEEN] != 1.0:
            pull = 0.0
        found.append(Sampled(int(curve), z, d, noise, pull, unit if unit > 0.0 else 1.0))
    return found


def _contact(z: Array, d: Array, peak: float) -> tuple[Array, Array] | None:
    """The unbroken last stretch between two shares of the peak, by a mean of five samples."""
    if z.size < 16 or not peak > 0.0:
        return None
    smooth = np.convolve(d, np.full(5, 0.2), "same")
    smooth[:2], smooth[-2:] = d[:2].mean(), d[-2:].mean()
    low = np.flatnonzero(smooth < FROM * peak)
    first = int(low[-1]) + 1 if low.size else 0
    high = np.flatnonzero(smooth[first:] > TO * peak)
    last = first + (int(high[0]) if high.size else z.size - first)
    return (z[first:last], d[first:last]) if last - first >= 10 else None


def _fewer(z: Array, d: Array, noise: float) -> tuple[Array, Array, float]:
    """Means of groups where there are very many samples, and the noise of one mean."""
    group = max(z.size // SAMPLES, 1)
    n = z.size // group * group
    return (z[:n].reshape(-1, group).mean(axis=1), d[:n].reshape(-1, group).mean(axis=1),
            noise / math.sqrt(group))  # fmt: skip


@dataclass(frozen=True, eq=False)
class Pooled:
    """What a law finds.

    Attributes
    ----------
    factor : recorded over true sensitivity; error from how the curves scatter about it
    cost : sum of squared residuals in noises
    samples : that were compared
    costs : (curves,) share of each in the cost
    pull, weight : (curves,) what each curve pulls the factor by and how much it counts, so that
        the factor of some curves is `factor` + sum(pull)/sum(weight)
    start : (curves, 2) ln c and z0
    """

    law: Law
    factor: float
    error: float
    cost: float
    samples: int
    costs: Array
    pull: Array
    weight: Array
    start: Array

    def of(self, some: Array) -> tuple[float, float]:
        """Factor and error of some of the curves."""
        total = float(self.weight[some].sum())
        if not total > 0.0 or np.count_nonzero(some) < 4:
            return math.nan, math.nan
        shift = float(self.pull[some].sum()) / total
        off = self.pull[some] - shift * self.weight[some]
        return self.factor + shift, math.sqrt(float((off**2).sum())) / total


def first_guess(curves: list[Sampled], exponent: float) -> tuple[float, Array]:
    """f common to all and (curves, 2) ln c and z0, from z = z0 + d/f + c' (d + a)^(1/n)."""
    top = bottom = 0.0
    parts = []
    for one in curves:
        base = np.column_stack([np.ones(one.d.size), _bent(one, exponent)])
        q, _ = np.linalg.qr(base)
        x, y = (v - q @ (q.T @ v) for v in (one.d, one.z))
        top, bottom = top + float(x @ y) / one.noise**2, bottom + float(x @ x) / one.noise**2
        parts.append(base)
    straight = min(max(top / bottom if bottom > 0.0 else 1.0, LEAST), MOST)
    return 1.0 / straight, np.array([_own(one, base, straight, exponent)
                                     for one, base in zip(curves, parts, strict=True)])  # fmt: skip


def _bent(one: Sampled, exponent: float) -> Array:
    return np.maximum(one.d + one.pull, 1e-3 * one.noise) ** (1.0 / exponent)


def _own(one: Sampled, base: Array, straight: float, exponent: float) -> tuple[float, float]:
    """ln c and z0 of one curve, given the straight part."""
    (z0, bent), *_ = np.linalg.lstsq(base, one.z - straight * one.d, rcond=None)
    least = 0.01 * float(np.ptp(one.z)) / max(float(np.ptp(base[:, 1])), 1e-9)
    bent = max(float(bent), least)
    return math.log(straight) - exponent * math.log(bent), float(z0)


Ask = Callable[[Sampled, Array, float], tuple[Array, Array, Array]]


def _asker(law: Law) -> Ask:
    """(curve, (ln c, z0), f) -> f D and its derivatives by ln c and z0."""
    numbers = law.numbers.copy()

    def ask(one: Sampled, par: Array, f: float) -> tuple[Array, Array, Array]:
        numbers[cl.UNIT] = one.unit if law.name == "in use" else 1.0
        pull = one.pull if law.pulls else 0.0
        full = np.array([par[0], par[1], pull / f, law.exponent])
        d, by_c, by_z0 = (np.empty(one.z.size) for _ in range(3))
        law_curve(one.z, full, numbers, law.rows, d, by_c, by_z0)
        d = np.where(np.isfinite(d), d, -pull / f)
        return f * d, f * np.nan_to_num(by_c), f * np.nan_to_num(by_z0)

    return ask


def _own_fit(ask: Ask, one: Sampled, par: Array, f: float, rounds: int) -> tuple[Array, float]:
    """ln c and z0 of one curve at a given f, and its cost; damped Gauss-Newton."""
    damping = 1e-3
    d, by_c, by_z0 = ask(one, par, f)
    r = (one.d - d) / one.noise
    cost = float(r @ r)
    for _ in range(rounds):
        j = np.column_stack([by_c, by_z0]) / one.noise
        normal = j.T @ j
        normal[np.diag_indices(2)] *= 1.0 + damping
        try:
            step = np.linalg.solve(normal, j.T @ r)
        except np.linalg.LinAlgError:
            break
        new = par + np.clip(step, -2.0, 2.0)
        d, more_c, more_z0 = ask(one, new, f)
        rest = (one.d - d) / one.noise
        value = float(rest @ rest)
        if value < cost:
            small = cost - value < 1e-3
            par, r, cost, by_c, by_z0, damping = new, rest, value, more_c, more_z0, damping / 10.0
            if small:
                break
        else:
            damping = damping * 30.0 + 1e-3
    return par, cost


def pooled_fit(curves: list[Sampled], law: Law, rounds: int = 6) -> Pooled:
    """The factor that all curves share under a law."""
    ask = _asker(law)
    f, start = first_guess(curves, law.exponent)
    for _ in range(rounds):
        start, cost, pull, weight = _round(ask, curves, start, f, 8)
        step = float(pull.sum() / weight.sum()) if weight.sum() > 0.0 else 0.0
        if abs(step) < 1e-4:
            break
        f = min(max(f + max(min(step, 0.2), -0.2), LEAST), MOST)
    total = float(weight.sum())
    error = math.sqrt(float((pull**2).sum())) / total if total > 0.0 else math.nan
    return Pooled(law, f, error, float(cost.sum()), sum(c.z.size for c in curves),
                  cost, pull, weight, start)  # fmt: skip


def cost_without(curves: list[Sampled], found: Pooled) -> float:
    """Sum of squared residuals in noises under the same law with a right sensitivity."""
    ask = _asker(found.law)
    return sum(_own_fit(ask, one, par, 1.0, 12)[1]
               for one, par in zip(curves, found.start, strict=True))  # fmt: skip


def _round(ask: Ask, curves: list[Sampled], start: Array, f: float, rounds: int
           ) -> tuple[Array, Array, Array, Array]:  # fmt: skip
    """Each curve fitted at f: parameters, costs, and what each pulls f by and weighs."""
    pars, costs = np.empty_like(start), np.empty(len(curves))
    pull, weight = np.zeros(len(curves)), np.zeros(len(curves))
    for i, one in enumerate(curves):
        pars[i], costs[i] = _own_fit(ask, one, start[i], f, rounds)
        d, by_c, by_z0 = ask(one, pars[i], f)
        more, _, _ = ask(one, pars[i], f * (1.0 + STEP))
        r, by_f = (one.d - d) / one.noise, (more - d) / (f * STEP * one.noise)
        q, _ = np.linalg.qr(np.column_stack([by_c, by_z0]) / one.noise)
        left = by_f - q @ (q.T @ by_f)
        pull[i], weight[i] = float(left @ r), float(left @ left)
    return pars, costs, pull, weight
