"""Which pixels a distribution counts, and which it does not and why."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from .dressing import many

if TYPE_CHECKING:
    from ..findings import Findings

Array = np.ndarray


@dataclass(frozen=True, eq=False)
class Counted:
    """The pixels that are counted.

    Attributes
    ----------
    mask : bool (rows, cols)
    left : how many are not, by reason; none that do not occur
    """

    mask: Array
    left: dict[str, int] = field(default_factory=dict)

    @property
    def number(self) -> int:
        return int(np.count_nonzero(self.mask))

    @property
    def note(self) -> str:
        """The figures in a few words, for a line in the panel."""
        gone = sum(self.left.values())
        return f"n = {self.number:,}" + (f", {gone:,} not counted" if gone else "")

    @property
    def words(self) -> str:
        """The figures for a caption."""
        said = f"n = {many(self.number)}"
        if not self.left:
            return f"{said}, all there are"
        return f"{said}; not counted: " + ", ".join(f"{n:,} {why}" for why, n in self.left.items())

    def without(self, mask: Array, why: str) -> Counted:
        """With some more of them not counted."""
        gone = self.mask & mask
        number = int(np.count_nonzero(gone))
        return Counted(self.mask & ~gone, self.left | {why: number}) if number else self


def counted(findings: Findings, maps: Sequence[tuple[Array, bool]], trusted: bool) -> Counted:
    """The pixels that have a value in all maps.

    Parameters
    ----------
    maps : (rows, cols) each, and whether its logarithm is taken
    trusted : without pixels of a severe doubt and those left out by hand
    """
    analysis = findings.analysis
    found = Counted(np.ones(findings.map.shape, bool))
    found = found.without(analysis.map.index_map < 0, "without a curve")
    if trusted:
        if analysis.left_out is not None:
            found = found.without(analysis.left_out, "left out by hand")
        found = found.without(~analysis.trusted, "with a severe doubt")
    for values, _ in maps:
        found = found.without(~np.isfinite(values), "without a value")
    for values, log in maps:
        if log:
            with np.errstate(invalid="ignore"):
                found = found.without(~(values > 0.0), "at or below zero, which has no logarithm")
    return found


def reach(x: Array) -> tuple[float, float]:
    """What of an axis is shown: all but a small share at both ends, with some room."""
    low, high = np.quantile(x, (EDGE, 1.0 - EDGE)) if x.size > 20 else (x.min(), x.max())
    room = 0.12 * (high - low) or 0.05 * max(abs(float(high)), 1e-300)
    return float(max(low - room, x.min())), float(min(high + room, x.max()))


EDGE = 0.005
"""Share of the pixels at each end that may lie beyond what is shown."""
