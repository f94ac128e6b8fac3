"""The doubtful pixels of an analysis, worst first, and those that are like one of them."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from ..analysis import Analysis
from ..decisions import KEPT, LEFT_OUT, UNDECIDED
from ..doubts import DOUBTS, SEVERE, Doubt

Array = np.ndarray
FARTHEST = 1e3
"""An excess is not counted beyond this: some figures are infinitely far from their threshold."""
DECIDED = -1
"""In a `Filter`: any decision at all."""


def figures(analysis: Analysis, doubt: Doubt) -> Array:
    """What a doubt is judged by, (P,) a curve each; NaN where it can't be had.

    Corrected curves have the figure of their own settings.
    """
    with np.errstate(all="ignore"):
        found = np.array(doubt.figure(analysis.case), dtype=float)
        for curves, own in analysis.corrections:
            found[curves] = doubt.figure(analysis.case_of(own, curves))
    return found


def _excess(found: Array, limit: float) -> Array:
    """How many times the threshold is passed, 1 to `FARTHEST`; 1 where that has no meaning."""
    if not (math.isfinite(limit) and limit != 0.0):
        return np.ones(found.shape)
    with np.errstate(all="ignore"):
        ratio = np.abs(found / limit)
        times = np.where(ratio < 1.0, 1.0 / ratio, ratio)
    return np.clip(np.nan_to_num(times, nan=1.0, posinf=FARTHEST), 1.0, FARTHEST)


@dataclass(frozen=True)
class Filter:
    """Which doubtful pixels are wanted; None is any.

    Attributes
    ----------
    doubt : name of one that they carry
    component : number of the component that they lie in, -1 for none
    decision : UNDECIDED, KEPT, LEFT_OUT, CORRECTED, or DECIDED for any of the last three
    severe : only those with a severe doubt
    """

    doubt: str | None = None
    component: int | None = None
    decision: int | None = None
    severe: bool = False


@dataclass(frozen=True, eq=False)
class Ranking:
    """The doubtful pixels of a map, worst first.

    The order is by the number of severe doubts, then by how far the worst figure is beyond its
    threshold (that of a severe doubt first), then by the number of mild ones, then by place.

    Attributes
    ----------
    shape : rows and columns of the map
    flat : (n,) numbers of the pixels, row after row, worst first
    bits : (n,) uint64, their doubts
    severe, mild : (n,) how many of each
    excess : (n,) how many times the threshold of the worst one is passed
    pixels : pixels of the map that have a curve
    """

    shape: tuple[int, int]
    flat: Array = field(repr=False)
    bits: Array = field(repr=False)
    severe: Array = field(repr=False)
    mild: Array = field(repr=False)
    excess: Array = field(repr=False)
    pixels: int = 0

    @property
    def count(self) -> int:
        return int(self.flat.size)

    @cached_property
    def place(self) -> Array:
        """Place of each pixel in the ranking, (rows * cols,); -1 for pixels without a doubt."""
        out = np.full(self.shape[0] * self.shape[1], -1)
        out[self.flat] = np.arange(self.flat.size)
        return out

    def wanted(self, want: Filter, kinds: Array, labels: Array | None = None) -> Array:
        """Places in the ranking that pass a filter, rising: worst first.

        Parameters
        ----------
        kinds : uint8 (rows, cols), the decision at each pixel (`Review.kinds`)
        labels : int (rows, cols), component of each pixel; needed to filter by it
        """
        keep = np.ones(self.count, bool)
        if want.doubt is not None:
            keep &= (self.bits & np.uint64(DOUBTS[want.doubt].mask)) != 0
        if want.severe:
            keep &= self.severe > 0
        if want.decision is not None:
            decided = kinds.ravel()[self.flat]
            keep &= decided != UNDECIDED if want.decision == DECIDED else decided == want.decision
        if want.component is not None and labels is not None:
            keep &= labels.ravel()[self.flat] == want.component
        return np.flatnonzero(keep)

    def counts(self, kinds: Array) -> dict[str, int]:
        """How many pixels: "pixels", "doubted", "severe", and of the doubted "undecided", "kept",
        "left out", "corrected"; "others" are decided without a doubt."""
        decided = kinds.ravel()[self.flat]
        each = np.bincount(decided, minlength=4)
        return {
            "pixels": self.pixels, "doubted": self.count,
            "severe": int(np.count_nonzero(self.severe)),
            "undecided": int(each[UNDECIDED]), "kept": int(each[KEPT]),
            "left out": int(each[LEFT_OUT]), "corrected": int(each[3]),
            "others": int(np.count_nonzero(kinds)) - int(np.count_nonzero(decided)),
        }  # fmt: skip

    def by_doubt(self) -> dict[str, int]:
        """Doubt -> how many pixels carry it, severe doubts first, then the most frequent."""
        found = {d.name: int(np.count_nonzero(self.bits & np.uint64(d.mask)))
                 for d in DOUBTS.values()}  # fmt: skip
        order = sorted(found, key=lambda n: (DOUBTS[n].severity != SEVERE, -found[n]))
        return {name: found[name] for name in order if found[name]}


def ranking(analysis: Analysis) -> Ranking:
    """Rank the doubtful pixels of an analysis."""
    fmap, bits = analysis.map, analysis.curve_doubts
    severe, mild = np.zeros(bits.size, int), np.zeros(bits.size, int)
    worst = np.ones(bits.size)
    for doubt in DOUBTS.values():
        has = (bits & np.uint64(doubt.mask)) != 0
        if not has.any():
            continue
        heavy = doubt.severity == SEVERE
        (severe if heavy else mild)[has] += 1
        limit = float(doubt.threshold(analysis.settings.doubts))
        times = _excess(figures(analysis, doubt)[has], limit) * (FARTHEST if heavy else 1.0)
        worst[has] = np.maximum(worst[has], times)
    index = fmap.index_map.ravel()
    flat = np.flatnonzero((index >= 0) & (bits[np.maximum(index, 0)] != 0))
    curves = index[flat]
    order = np.lexsort((flat, -mild[curves], -worst[curves], -severe[curves]))
    curves = curves[order]
    excess = np.where(severe[curves] > 0, worst[curves] / FARTHEST, worst[curves])
    return Ranking((fmap.shape[0], fmap.shape[1]), flat[order], bits[curves], severe[curves],
                   mild[curves], excess, int(np.count_nonzero(index >= 0)))  # fmt: skip


@dataclass(frozen=True)
class Alike:
    """Pixels that carry the same doubt with a figure in a range.

    Attributes
    ----------
    doubt : its name
    low, high : range of the figure, both ends in it; infinite where open
    """

    doubt: str
    low: float = -math.inf
    high: float = math.inf


def like(analysis: Analysis, name: str, row: int, col: int) -> Alike:
    """All that are at least as bad as this pixel by this doubt; all that carry it where the doubt
    has no threshold that can be passed by more or less."""
    curve = analysis.map.curve_at(row, col)
    doubt = DOUBTS[name]
    figure = float(figures(analysis, doubt)[curve]) if curve >= 0 else math.nan
    limit = float(doubt.threshold(analysis.settings.doubts))
    if not (math.isfinite(figure) and math.isfinite(limit)):
        return Alike(name)
    return Alike(name, high=figure) if figure < limit else Alike(name, low=figure)


def alike(analysis: Analysis, what: Alike) -> Array:
    """The pixels, bool (rows, cols): that doubt, and a figure in that range."""
    doubt = DOUBTS[what.doubt]
    found = figures(analysis, doubt)
    has = (analysis.curve_doubts & np.uint64(doubt.mask)) != 0
    inside = (found >= what.low) & (found <= what.high) | ~np.isfinite(found)
    index = analysis.map.index_map
    return (index >= 0) & (has & inside)[np.maximum(index, 0)]
