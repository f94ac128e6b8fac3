"""Contact with a sample that relaxes: a rigid tip pushed in and drawn out of a linear solid.

The relaxation modulus E(t) is the stress that is left a time t after a unit step of strain; here
two solids, both with a constant Poisson ratio:

    power law        E(t) = E₁ (t/t')^(-β)                 0 <= β < 1
    standard linear  E(t) = E∞ + (E₀ - E∞) exp(-t/τ)       E∞ <= E₀

A tip whose elastic law is F = E G(δ) (G grows with δ; a power g δⁿ for paraboloid and cone) then
meets, while the contact grows (Lee & Radok),

    F(t) = ∫₀ᵗ E(t-ξ) dG(δ(ξ))

and once δ has passed its maximum (Ting) the same integral up to t₁(t) only, the moment at which the
contact was as large as it is now, which follows from

    ∫_{t₁}^t E(t-ξ) dδ(ξ) = 0 ;

contact ends where t₁ = 0. Validity: linear viscoelastic, no adhesion (a constant pull may be
taken off), no friction, one loading and one unloading.

E may be any relaxation modulus times any factor: with E/k in its place the forces are deflections.

References
----------
Lee & Radok, J. Appl. Mech. 27 (1960) 438. Ting, J. Appl. Mech. 33 (1966) 845. Both from memory;
the closed forms for the triangular ramp were derived here and are tested against the integrals.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Protocol

import numpy as np

Array = np.ndarray
Times = Array | float


class Solid(Protocol):
    """What a contact has to know of a solid."""

    def relaxation(self, t: Times) -> Array:
        """E(t)."""

    def primitive(self, t: Times) -> Array:
        """∫₀ᵗ E(s) ds."""

    def moment(self, t: Times) -> Array:
        """∫₀ᵗ s E(s) ds."""


@dataclass(frozen=True)
class PowerLawSolid:
    """E(t) = modulus (t/reference)^(-exponent); times in s.

    Raises ValueError unless modulus and reference are above 0 and 0 <= exponent < 1.
    """

    modulus: float
    exponent: float
    reference: float = 1.0

    def __post_init__(self) -> None:
        if not (self.modulus > 0.0 and self.reference > 0.0 and 0.0 <= self.exponent < 1.0):
            raise ValueError("a power-law solid needs a modulus and a time above 0, and an "
                             "exponent from 0 to below 1")  # fmt: skip

    @property
    def scale(self) -> float:
        """E at t = 1 s."""
        return self.modulus * self.reference**self.exponent

    def relaxation(self, t: Times) -> Array:
        return self.scale * np.asarray(t, dtype=float) ** -self.exponent

    def primitive(self, t: Times) -> Array:
        b = self.exponent
        return self.scale * np.asarray(t, dtype=float) ** (1.0 - b) / (1.0 - b)

    def moment(self, t: Times) -> Array:
        b = self.exponent
        return self.scale * np.asarray(t, dtype=float) ** (2.0 - b) / (2.0 - b)


@dataclass(frozen=True)
class StandardSolid:
    """E(t) = relaxed + (instant - relaxed) exp(-t/time); time in s.

    Raises ValueError unless 0 < relaxed <= instant and time > 0.
    """

    relaxed: float
    instant: float
    time: float

    def __post_init__(self) -> None:
        if not (0.0 < self.relaxed <= self.instant and self.time > 0.0):
            raise ValueError("a standard linear solid needs 0 < relaxed <= instant modulus and a "
                             "time above 0")  # fmt: skip

    @property
    def step(self) -> float:
        """E₀ - E∞."""
        return self.instant - self.relaxed

    def relaxation(self, t: Times) -> Array:
        return self.relaxed + self.step * np.exp(-np.asarray(t, dtype=float) / self.time)

    def primitive(self, t: Times) -> Array:
        t = np.asarray(t, dtype=float)
        return self.relaxed * t - self.step * self.time * np.expm1(-t / self.time)

    def moment(self, t: Times) -> Array:
        t = np.asarray(t, dtype=float)
        tau = self.time
        rest = -tau * np.expm1(-t / tau) - t * np.exp(-t / tau)
        return 0.5 * self.relaxed * t * t + self.step * tau * rest


# ---- any indentation, numerically


def contact_force(
    time: Array, indentation: Array, solid: Solid, exponent: float, factor: float = 1.0
) -> tuple[Array, Array]:
    """Force and the time t₁ of equal contact for any indentation that rises and then falls.

    The indentation is taken as straight between the samples; δⁿ inside a step is the parabola
    through its ends and its middle, and the kernel is integrated exactly, so the error falls with
    the cube of the step.

    Parameters
    ----------
    time : (n,) s, rising; contact begins at the first sample
    indentation : (n,) nm, 0 at the first sample, rising to one maximum, then falling
    solid : the relaxation modulus [GPa]
    exponent, factor : G = factor δ^exponent, as ``Law.exponent`` and ``Law.factor`` (divide by
        1 - ν² if the solid's modulus is Young's)

    Returns
    -------
    force : (n,) nN; 0 once contact has ended
    t1 : (n,) s; the time itself while the contact grows, 0 once contact has ended

    Raises
    ------
    ValueError : times that do not rise, or an indentation that rises again after its maximum
    """
    t, depth = np.asarray(time, dtype=float), np.asarray(indentation, dtype=float)
    width, change = np.diff(t), np.diff(depth)
    top = int(np.argmax(depth))
    if not (width > 0.0).all() or (change[:top] < 0.0).any() or (change[top:] > 0.0).any():
        raise ValueError("times must rise, and the indentation must rise and then fall")
    grown = factor * np.maximum(depth, 0.0) ** exponent
    middle = factor * np.maximum(0.5 * (depth[1:] + depth[:-1]), 0.0) ** exponent
    bend = 4.0 * (grown[1:] - 2.0 * middle + grown[:-1])
    force, t1 = np.zeros(t.size), t.copy()
    for i in range(1, t.size):
        lag = t[i] - t[: i + 1]
        p, q = solid.primitive(lag), solid.moment(lag)
        mean = (p[:-1] - p[1:]) / width[:i]
        centre = 0.5 * (lag[:-1] + lag[1:])
        tilt = (centre * (p[:-1] - p[1:]) - (q[:-1] - q[1:])) / width[:i] ** 2
        if i <= top:
            force[i] = np.sum(np.diff(grown[: i + 1]) * mean + bend[:i] * tilt)
            continue
        back = -np.sum(change[top:i] * mean[top:])
        ahead = np.concatenate([np.cumsum((change[:top] * mean[:top])[::-1])[::-1], [0.0]])
        if back >= ahead[0]:
            t1[i:] = 0.0
            break
        k = int(np.flatnonzero(ahead > back)[-1])  # t1 lies in step k
        t1[i] = _time_of_primitive(p[k + 1] + (back - ahead[k + 1]) * width[k] / change[k], lag[k],
                                   lag[k + 1], t[i], solid)  # fmt: skip
        force[i] = np.sum(np.diff(grown[: k + 1]) * mean[:k] + bend[:k] * tilt[:k])
        force[i] += _part_of_step(t[k], t1[i], t[i], depth[k], change[k] / width[k], solid,
                                  exponent, factor)  # fmt: skip
    return force, t1


def _time_of_primitive(value: float, high: float, low: float, now: float, solid: Solid) -> float:
    """now - lag, with low <= lag <= high where ∫₀^lag E = value."""
    from scipy.optimize import brentq

    def miss(lag: float) -> float:
        return float(solid.primitive(lag)) - value

    if miss(low) >= 0.0:
        return now - low
    return now - (high if miss(high) <= 0.0 else float(brentq(miss, low, high, xtol=1e-15)))


def _part_of_step(start: float, end: float, now: float, depth: float, speed: float, solid: Solid,
                  exponent: float, factor: float) -> float:  # fmt: skip
    """∫ E(now - ξ) dG over a step of constant speed that is cut off at `end`."""
    if end <= start:
        return 0.0
    g = [factor * (depth + speed * part * (end - start)) ** exponent for part in (0.0, 0.5, 1.0)]
    p = solid.primitive(np.array([now - start, now - end]))
    q = solid.moment(np.array([now - start, now - end]))
    centre = now - 0.5 * (start + end)
    tilt = (centre * (p[0] - p[1]) - (q[0] - q[1])) / (end - start) ** 2
    return float((g[2] - g[0]) * (p[0] - p[1]) / (end - start)
                 + 4.0 * (g[2] - 2.0 * g[1] + g[0]) * tilt)  # fmt: skip


# ---- the triangular ramp in closed form: δ = v t up to t_m, then δ = v (2 t_m - t)


def stretch(beta: float) -> float:
    """p = 2^(1/(1-β)) of a power-law solid: t₁ = t - p (t - t_m)."""
    return float(2.0 ** (1.0 / (1.0 - beta)))


def power_law_t1(t: Array, turn: float, beta: float) -> Array:
    """t₁ of the power-law solid on the way out of a triangular ramp; 0 once contact has ended."""
    t = np.asarray(t, dtype=float)
    return np.where(t <= turn, t, np.maximum(t - stretch(beta) * (t - turn), 0.0))


def power_law_ramp_force(t: Array, turn: float, speed: float, solid: PowerLawSolid,
                         exponent: float, factor: float = 1.0) -> Array:  # fmt: skip
    """Force on a triangular ramp.

    F = g E₁ t'^β vⁿ n t^(n-β) B(t₁/t; n, 1-β), B the incomplete beta function (the whole one on
    the way in). Units as in `contact_force`; `speed` in nm/s, `turn` = t_m in s.
    """
    from scipy.special import beta as whole
    from scipy.special import betainc

    t = np.asarray(t, dtype=float)
    b, n = solid.exponent, exponent
    with np.errstate(divide="ignore", invalid="ignore"):
        share = np.where(t > 0.0, power_law_t1(t, turn, b) / t, 0.0)
    part = whole(n, 1.0 - b) * betainc(n, 1.0 - b, np.clip(share, 0.0, 1.0))
    return factor * solid.scale * speed**n * n * np.maximum(t, 0.0) ** (n - b) * part


def power_law_contact_end(beta: float) -> float:
    """t_c/t_m = p/(p-1): when contact ends on a triangular ramp."""
    p = stretch(beta)
    return p / (p - 1.0)


def power_law_loss(beta: float) -> float:
    """Loss fraction η = 1 - W_out/W_in on a triangular ramp: 2 - (t_c/t_m)^(1-β).

    It depends on β alone, for every exponent n: with the order of integration changed both works
    are n B(n, 2-β)/(1-β) times the same constant, W_out with the factor (t_c/t_m)^(1-β) - 1.
    """
    return 2.0 - power_law_contact_end(beta) ** (1.0 - beta)


def standard_t1(t: float, turn: float, solid: StandardSolid) -> float:
    """t₁ of the standard linear solid on the way out of a triangular ramp; 0 after contact.

    t₁ = c/E∞ - τ W₀(x), ln x = ln(ΔE/E∞) - t/τ + c/(E∞ τ), with
    c = E∞ (2 t_m - t) + ΔE τ (2 exp(-(t-t_m)/τ) - 1) and W₀ the Lambert function; where x would
    not fit into a number, w + ln w = ln x is solved instead.
    """
    if t <= turn:
        return t
    low, tau, step = solid.relaxed, solid.time, solid.step
    if step == 0.0:
        return max(2.0 * turn - t, 0.0)
    c = low * (2.0 * turn - t) + step * tau * (2.0 * math.exp(-(t - turn) / tau) - 1.0)
    log_x = math.log(step / low) - t / tau + c / (low * tau)
    return max(c / low - tau * _lambert(log_x), 0.0)


def _lambert(log_x: float) -> float:
    """W₀(exp(log_x)): from SciPy, or from w + ln w = log_x by Newton's method when it is large."""
    from scipy.special import lambertw

    if log_x < 100.0:
        return float(lambertw(math.exp(log_x)).real)
    w = log_x - math.log(log_x)
    for _ in range(20):
        change = (w + math.log(w) - log_x) / (1.0 + 1.0 / w)
        w -= change
        if abs(change) <= 1e-15 * w:
            break
    return w


def standard_ramp_force(t: float, turn: float, speed: float, solid: StandardSolid,
                        exponent: float, factor: float = 1.0) -> float:  # fmt: skip
    """Force of the standard linear solid on a triangular ramp; units as `power_law_ramp_force`.

    F = g vⁿ t₁ⁿ {E∞ + ΔE exp(-(t-t₁)/τ) ₁F₁(1; n+1; -t₁/τ)}.
    """
    from scipy.special import hyp1f1

    t1, tau = standard_t1(t, turn, solid), solid.time
    if t1 <= 0.0:
        return 0.0
    fading = math.exp(-(t - t1) / tau) * float(hyp1f1(1.0, exponent + 1.0, -t1 / tau))
    return factor * (speed * t1) ** exponent * (solid.relaxed + solid.step * fading)


def standard_contact_end(turn: float, solid: StandardSolid) -> float:
    """When contact ends on a triangular ramp [s]: where ∫₀^t E(t-ξ) dδ = 0."""
    from scipy.optimize import brentq

    def pushed(t: float) -> float:
        return float(solid.primitive(t) - 2.0 * solid.primitive(t - turn))

    return float(brentq(pushed, turn, 2.0 * turn, xtol=1e-14)) if pushed(2.0 * turn) < 0.0 else (
        2.0 * turn)  # fmt: skip


def standard_loss(turn: float, solid: StandardSolid, exponent: float) -> float:
    """Loss fraction η = 1 - W_out/W_in of the standard linear solid on a triangular ramp."""
    from scipy.integrate import quad

    end = standard_contact_end(turn, solid)

    def work(start: float, stop: float) -> float:
        return float(quad(standard_ramp_force, start, stop, (turn, 1.0, solid, exponent),
                          epsabs=0.0, epsrel=1e-10, limit=400,
                          points=[min(max(start + solid.time, start), stop)])[0])  # fmt: skip

    return 1.0 - work(turn, end) / work(0.0, turn)
