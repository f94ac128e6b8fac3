"""A detector (or a z) that is not straight, as another reason for curves that ask for a factor.

A photodiode reads less the further its spot has moved. To first order that is a quadratic term:
recorded d = D (1 - a D/d_peak), so D = d (1 + a d/d_peak). A bend of 1 % moves the factor that
stiff curves ask for by some 6 %: both bend z against d, and a law that is a little off does so too.
So a factor that a small bend could bring about is never sure.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from .pooled import Pooled, Sampled, cost_without, pooled_fit

BEND = 0.02
"""Largest bend that a sound instrument may have, as a share of the peak deflection: photodiodes are
straight within a few per cent over the range that is used. Common practice, no source."""
MISFIT = 0.001
"""Bend that stands for what no law and no instrument describes; a standard uncertainty. Ours."""


@dataclass(frozen=True)
class Bend:
    """What a bend does to the factor, and whether it does without one.

    Attributes
    ----------
    response : change of the factor by a bend of one
    alone : bend that describes the curves best without a factor, within ±`BEND`
    cost : sum of squares of that bend without a factor, in noises
    """

    response: float
    alone: float
    cost: float

    @property
    def reach(self) -> float:
        """How far off one the largest bend moves a factor."""
        return abs(self.response) * BEND


def straightened(parts: list[Sampled], a: float) -> list[Sampled]:
    """The curves with a bend `a` of the detector taken out."""
    peak = _peak(parts)
    return [replace(p, d=p.d * (1.0 + a * p.d / peak), pull=p.pull * (1.0 - a * p.pull / peak))
            for p in parts]  # fmt: skip


def _peak(parts: list[Sampled]) -> float:
    """Deflection that all reach [nm]: that of the map, for the detector is common to all."""
    tops = sorted(float(p.d.max()) for p in parts)
    return tops[len(tops) // 2]


def bend_of(parts: list[Sampled], found: Pooled) -> Bend:
    """What a bend does to a factor that was found, and what it does without one."""
    ends = [straightened(parts, a) for a in (-BEND, BEND)]
    factors = [pooled_fit(some, found.law).factor for some in ends]
    response = (factors[0] - factors[1]) / (2.0 * BEND)
    low, high = (cost_without(some, found) for some in ends)
    here = cost_without(parts, found)
    alone = _lowest(low, here, high)
    return Bend(response, alone, cost_without(straightened(parts, alone), found))


def _lowest(low: float, here: float, high: float) -> float:
    """Where the parabola through the costs at -BEND, 0 and BEND is lowest between them."""
    curved = low + high - 2.0 * here
    at = 0.5 * (low - high) / curved if curved > 0.0 else math.copysign(1.0, low - high)
    return BEND * min(max(at, -1.0), 1.0)
