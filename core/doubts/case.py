"""What a doubt is, and what the doubts of a map are judged by."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from ..channels import Tables
from ..columns import baseline as bl
from ..settings import Doubts

Array = np.ndarray
SEVERE, MILD = "severe", "mild"
APPROACH, RETRACT, NO_BRANCH = 0, 1, -1
BRANCHES = {APPROACH: "approach", RETRACT: "retract", NO_BRANCH: ""}
"""What the branch of a place is called."""


@dataclass(frozen=True, eq=False)
class Case:
    """What the doubts of a map are judged by.

    `lengths` is False if the signal can't be turned into nm. `set_force` is the force [nN] at which
    the approach should stop, NaN if not recorded. `median_noise` is the median over the whole map,
    so that one curve can be compared with it. `fit_back` and `slope_back` say that the law, or the
    slope in contact, was taken from the retract. `steepness` (P,) is how steep the surface is at
    each curve [degrees], NaN where unknown; None without a map in nm. `lonely` tells how far each
    curve's pixel is from its neighbours, see ``neighbours.py``; None where there is no map to ask.
    """

    tables: Tables
    limits: Doubts
    set_force: float
    median_noise: float
    lengths: bool = True
    fit_back: bool = False
    slope_back: bool = False
    steepness: Array | None = None
    lonely: Callable[[], Array] | None = None

    @property
    def curves(self) -> int:
        return int(self.tables.base.shape[0])

    def filled(self, value: float) -> Array:
        """One number for every curve."""
        return np.full(self.curves, value)


Figure = Callable[[Case], Array]
Places = tuple[Array, Array, Array]
"""Branch (`APPROACH`, `RETRACT`, `NO_BRANCH`) and z from and to [nm, as measured], (P,) each."""


def nowhere(c: Case) -> Places:
    """No place in particular."""
    return np.full(c.curves, NO_BRANCH), c.filled(np.nan), c.filled(np.nan)


@dataclass(frozen=True)
class Doubt:
    """One reason not to believe a curve.

    Attributes
    ----------
    name, severity, sentence : for people
    figure : the measured figure (P,), NaN where it can't be had; NaN trips nothing
    trips : (figure, limits) -> (P,) bool
    unit : of the figure
    threshold : the limit that was passed, from the settings, for the sentence; NaN if there is none
    place : where on the curve it is seen
    repair : what to do about it, unless the sentence says so
    """

    name: str
    severity: str
    sentence: str
    figure: Figure
    trips: Callable[[Array, Doubts], Array]
    unit: str = ""
    threshold: Callable[[Doubts], float] = lambda limits: float("nan")
    place: Callable[[Case], Places] = nowhere
    repair: str = ""
    bit: int = 0

    @property
    def mask(self) -> int:
        return 1 << self.bit

    def seen_at(self, case: Case, curve: int) -> tuple[str, float, float]:
        """Branch ("" if none), z from and to of one curve; NaN if it is seen nowhere in particular.
        """
        branch, low, high = (part[curve] for part in self.place(case))
        if not (np.isfinite(low) and np.isfinite(high)):
            return "", float("nan"), float("nan")
        return BRANCHES[int(branch)], float(low), float(high)


def base(column: int) -> Figure:
    """A column of the baseline stage as a figure."""
    return lambda c: c.tables.base[:, column]


def step_of(c: Case, branch: int = bl.APPROACH) -> Array:
    """Mean step of z in a branch [nm]; the retract goes as far as the approach."""
    b = c.tables.base
    return b[:, bl.Z_RANGE] / np.maximum(b[:, branch + bl.B_KEPT] - 1.0, 1.0)
