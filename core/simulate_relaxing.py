"""Curves on a solid that relaxes, whose truth is known.

The base goes in at constant speed until the set force, may be held, and goes out at the same speed.
The equations are those of ``models/viscoelastic.py``, solved here on a fine grid of time with
scipy.optimize.brentq, one node after the other, and not with the solver that the fit uses, so that
one can test the other.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from .models import law_of
from .models.viscoelastic import Solid
from .simulate import Lever, Ramp

Array = np.ndarray
FINE = 700
"""Nodes on the way in; as many on the way out."""


@dataclass(frozen=True, eq=False)
class RelaxingCurve:
    """One clean curve in time order [nm], and what is known of it.

    `approach_time` and `retract_time` [s] run on from one another; `loading` is the time from
    contact to the turn, `peak_force` [nN] the force at the turn, `indentation` [nm] there, `end`
    when contact ends (counted from contact; infinite if the retract is too short).
    """

    approach_z: Array
    approach_d: Array
    retract_z: Array
    retract_d: Array
    approach_time: Array
    retract_time: Array
    loading: float
    peak_force: float
    indentation: float
    end: float
    z0: float


class _March:
    """The history of one contact, node by node: δ(t) + f(t) = u(t), f in units of length."""

    def __init__(self, solid: Solid, stiff: float, exponent: float) -> None:
        self.solid, self.stiff, self.exponent = solid, stiff, exponent
        self.t, self.depth = np.zeros(1), np.zeros(1)
        self.force = np.zeros(1)
        self.top = 0

    def _grown(self, depth: Any) -> Any:
        return self.stiff * np.maximum(depth, 0.0) ** self.exponent

    def step(self, now: float, u: float) -> bool:
        """Solve the next node; False once contact has ended."""
        from scipy.optimize import brentq

        p = self.solid.primitive(now - np.append(self.t, now))
        mean = (p[:-1] - p[1:]) / np.diff(np.append(self.t, now))
        gains, changes = np.diff(self._grown(self.depth)), np.diff(self.depth)
        last, before = float(mean[-1]), float(self.depth[-1])
        if self.top == self.t.size - 1:
            past = float(gains @ mean[:-1])
            grown = float(self._grown(before))

            def rest(depth: float) -> float:
                return depth + past + (self._grown(depth) - grown) * last - u

            depth = brentq(rest, 0.0, max(u, before) + 1e-9, xtol=1e-13)
            if depth >= before:
                self._keep(now, depth, u - depth)
                self.top += 1
                return True
        top = self.top
        back = -float(changes[top:] @ mean[top:-1])
        ahead = np.append(np.cumsum((changes[:top] * mean[:top])[::-1])[::-1], 0.0)[::-1]
        upto = np.append(0.0, np.cumsum(gains[:top] * mean[:top]))[::-1]

        def miss(depth: float) -> float:
            return depth + float(np.interp(back - (depth - before) * last, ahead, upto)) - u

        depth = brentq(miss, min(u, 0.0) - 1.0, before + 1e-9, xtol=1e-13)
        if back - (depth - before) * last >= ahead[-1]:
            return False
        self._keep(now, depth, u - depth)
        return True

    def _keep(self, now: float, depth: float, force: float) -> None:
        self.t, self.depth = np.append(self.t, now), np.append(self.depth, depth)
        self.force = np.append(self.force, force)


def _load(solid: Solid, stiff: float, exponent: float, speed: float, target: float
          ) -> _March:  # fmt: skip
    """The way in, up to the moment at which the force (over k) reaches `target`."""
    slow = float(solid.relaxation(1e-3)) * stiff
    until = (target + (target / slow) ** (1.0 / exponent)) / speed
    for _ in range(60):  # a coarse search for the time of the turn
        found = _ramp(solid, stiff, exponent, speed, until, 150)
        if found.force[-1] >= target:
            break
        until *= 1.4
    for _ in range(3):
        until = float(np.interp(target, found.force, found.t))
        found = _ramp(solid, stiff, exponent, speed, until * (1.0 + 1e-6), FINE)
    return found


def _ramp(solid: Solid, stiff: float, exponent: float, speed: float, until: float, nodes: int
          ) -> _March:  # fmt: skip
    made = _March(solid, stiff, exponent)
    for now in np.linspace(0.0, until, nodes + 1)[1:]:
        made.step(now, speed * now)
    return made


def relaxing_curve(
    lever: Lever, ramp: Ramp, solid: Solid, poisson_ratio: float = 0.4, pull_off: float = 0.0,
    contact: float = 0.0, hold: float = 0.0,
) -> RelaxingCurve:  # fmt: skip
    """One clean curve on a relaxing solid under a constant pull.

    Parameters
    ----------
    lever : spring constant, tip (a power law of the indentation), noise is not used
    ramp : travel, samples, set force and rate are used; the approach's last sample is the turn,
        the retract's first is one sample later (plus `hold`) and one step back
    solid : relaxation of Young's modulus [GPa], times in s
    hold : seconds during which the base stands still at the turn
    """
    law, k = law_of(lever.law), lever.spring_constant
    stiff = law.factor(*lever.sizes) / (1.0 - poisson_ratio**2) / k
    a, step = pull_off / k, ramp.travel / (ramp.samples - 1)
    speed = step * ramp.rate
    made = _load(solid, stiff, law.exponent, speed, ramp.set_force / k + a)
    turn, high = float(made.t[-1]), speed * float(made.t[-1])
    peak, deepest = float(made.force[-1]) - a, float(made.depth[-1])
    early = np.linspace(0.0, 1.0, FINE + 1)[1:] ** 2
    if hold > 0.0:
        for now in turn + hold * early[:: FINE // 150]:
            made.step(now, high)
        if made.t[-1] < turn + hold * (1.0 - 1e-9):
            made.step(turn + hold, high)
    back = turn + hold
    touched, end = True, np.inf
    for now in back + 1.05 * ramp.travel / speed * np.minimum(early * 2.0 * turn * speed
                                                               / ramp.travel, 1.0):  # fmt: skip
        if now <= made.t[-1]:
            break
        touched = made.step(now, high - speed * (now - back))
        if not touched:
            end = now
            break
    za = contact - a + high - step * np.arange(ramp.samples)[::-1]
    zr = contact - a + high - step * np.arange(1, ramp.samples + 1)
    at = turn - np.arange(ramp.samples)[::-1] / ramp.rate
    rt = back + np.arange(1, ramp.samples + 1) / ramp.rate
    da = np.where(at > 0.0, np.interp(at, made.t, made.force) - a, 0.0)
    dr = np.where(rt < made.t[-1], np.interp(rt, made.t, made.force) - a, 0.0)
    return RelaxingCurve(za, da, zr, dr, at, rt, turn, peak * k, deepest, end, contact)
