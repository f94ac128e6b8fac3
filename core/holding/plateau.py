"""The plateau: the windows that agree with each other.

Two windows agree if their moduli differ by no more than a tolerance and twice the ± of their
difference together (√(tolerance² + (2u)²)), and in no case by more than `FARTHEST`. The tolerance
is there because a model is never right to the last digit, and with many curves u becomes tiny. A
window whose difference is known worse than `KNOWN` agrees with nothing: agreement has to be seen,
not just not refuted, or the noisiest windows would make the widest plateau.

Each window is tried as the centre; its region are the agreeing windows that hang together with it
on the grid (by their sides). The largest region wins; of centres whose regions are nearly as large
(nine tenths) the surest, and the widest of those that are nearly as sure. It is the window that is
offered, if it is better than the present one, and how far it is right is told by the region. A
region of less than `LEAST` of all answers is none: wherever a modulus drifts evenly, some windows
agree by accident.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

Array = np.ndarray
TOLERANCE = 0.02
"""Relative difference that is accepted beside the noise (our rule, no source)."""
FARTHEST = 0.05
"""Relative difference at which windows disagree whatever the noise (our rule, no source)."""
KNOWN = 0.05
"""± of a difference above which it says nothing (our rule, no source)."""
NEARLY = 0.9
"""Of regions at least this large against the largest, the one with the surest centre wins."""
SURE = 1.1
"""Of windows as sure as this times the surest, the widest is offered: the ± of a median of many
curves hardly depends on the window, and more of each curve is harder to argue with."""
LEAST = 1.0 / 3.0
"""Share of all answers that a plateau has at least (our rule, no source)."""


@dataclass(frozen=True, eq=False)
class Plateau:
    """Windows that agree.

    Attributes
    ----------
    mask : (n, m) bool, lower by upper ends
    share : of the windows with an answer
    at, low, high : the window that is offered, its place and its ends
    lows, highs : from which to which lower and upper end the plateau reaches
    within : largest relative difference of its windows to the offered one
    holds_present : whether the window in force is one of them
    """

    mask: Array
    share: float
    at: tuple[int, int]
    low: float
    high: float
    lows: tuple[float, float]
    highs: tuple[float, float]
    within: float
    holds_present: bool


Differences = Callable[[int], tuple[Array, Array]]


def region_of(agree: Array, at: tuple[int, int]) -> Array:
    """The part of a mask that hangs together with one of its places, by their sides."""
    region = np.zeros_like(agree)
    region[at] = agree[at]
    while True:
        grown = region.copy()
        grown[1:] |= region[:-1]
        grown[:-1] |= region[1:]
        grown[:, 1:] |= region[:, :-1]
        grown[:, :-1] |= region[:, 1:]
        grown &= agree
        if grown.sum() == region.sum():
            return region
        region = grown


def find(shape: tuple[int, int], cells: list[tuple[int, int]], answered: Array, error: Array,
         differences: Differences) -> tuple[Array, int] | None:  # fmt: skip
    """The mask (n, m) of the plateau and the place of its centre in `cells`; None if there is none.

    Parameters
    ----------
    answered, error : (w,) whether a window has an answer, and the relative ± of it
    differences : place of a window -> ln E of all minus its own, (w,), and the ± of that
    """
    places = tuple(np.array(cells).T)
    found: list[tuple[int, float, int, Array]] = []
    most = 0
    for k in np.flatnonzero(answered):
        change, u = differences(int(k))
        with np.errstate(invalid="ignore"):
            good = (u <= KNOWN) & (np.abs(change) <= np.minimum(np.hypot(TOLERANCE, 2.0 * u),
                                                                   FARTHEST))  # fmt: skip
        agree = np.zeros(shape, bool)
        agree[places] = good
        agree[cells[k]] = True
        if agree.sum() < NEARLY * most:
            continue  # its region can't be large enough
        region = region_of(agree, cells[k])
        found.append((int(region.sum()), float(error[k]), int(k), region))
        most = max(most, found[-1][0])
    if most < max(2.0, LEAST * np.count_nonzero(answered)):
        return None
    near = [one for one in found if one[0] >= NEARLY * most]
    surest = min(one[1] for one in near)
    sure = [one for one in near if one[1] <= SURE * surest]
    _, _, best, region = max(sure, key=lambda one: (cells[one[2]][1] - cells[one[2]][0], -one[1]))
    return region, best
