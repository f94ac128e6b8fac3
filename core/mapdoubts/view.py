"""An analysis as the doubts about a map look at it: its channels line by line."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from ..analysis import Analysis
from .lines import Array, Scan
from .parts import MapDoubt
from .steps import Step, find_steps


@dataclass(frozen=True, eq=False)
class View:
    """A map in the order of its scan: (lines, across), the line taken first at the top.

    `labels` are those of the components, int (rows, cols), -1 for none; None if not known.
    """

    analysis: Analysis
    given: Array | None = None
    lacking: dict[str, str] = field(default_factory=dict)
    """What a judge could not judge -> why; filled by the judges."""

    def cannot(self, what: str, why: str) -> list[MapDoubt]:
        """No doubt, since it can't be judged: a judge that returns this is not taken for content.
        """
        self.lacking[what] = why
        return []

    @property
    def few_lines(self) -> str:
        """Why a map of few lines can't be judged line by line."""
        lines, across = self.good.shape
        if not self.good.any():
            return "no curve to go by"
        if across < 4:
            return f"lines of {across} pixel{'' if across == 1 else 's'}"
        if lines < 8:
            return f"only {lines} line{'' if lines == 1 else 's'}"
        return "too few values in the lines"

    @property
    def no_number(self) -> str:
        """Why a map without forces tells nothing of the tip."""
        return "neither stiffness nor pull-off known" if self.good.any() else self.few_lines

    @cached_property
    def scan(self) -> Scan:
        return Scan.of(self.analysis.map)

    @cached_property
    def good(self) -> Array:
        """Pixels without a severe doubt and not left out."""
        return self.scan.turned(self.analysis.trusted)

    @cached_property
    def labels(self) -> Array | None:
        return None if self.given is None else self.scan.turned(np.asarray(self.given, dtype=int))

    @cached_property
    def time(self) -> Array:
        """When each pixel was taken, in lines; NaN where there is no curve."""
        index = self.scan.turned(self.analysis.map.index_map)
        return np.where(index >= 0, index / max(index.shape[1], 1), np.nan)

    @cached_property
    def curves(self) -> Array:
        """Some curves from all over the map."""
        most = self.analysis.map.n_curves
        return np.unique(np.linspace(0, most - 1, min(most, 64)).astype(np.int64))

    @cached_property
    def steps(self) -> list[Step]:
        """Steps of the tip, see `steps.find_steps`."""
        logs = [self.log(name) for name in (self.stiffness_name(), "release_force")]
        least = math.log1p(self.analysis.settings.doubts.least_step / 100.0)
        return find_steps(logs, self.labels, least)

    def channel(self, name: str) -> Array:
        """A channel of the trusted pixels; NaN elsewhere."""
        return np.where(self.good, self.scan.turned(self.analysis.channel(name)), np.nan)

    def log(self, name: str) -> Array:
        """Logarithm of a channel; NaN where it is not above zero."""
        values = self.channel(name)
        with np.errstate(invalid="ignore"):
            return np.log(np.where(values > 0.0, values, np.nan))

    def stiffness_name(self) -> str:
        """The channel that tells how stiff a pixel is: without a tip, the contact stiffness."""
        known = np.isfinite(self.analysis.per_curve("reduced_modulus")[0]).any()
        return "reduced_modulus" if known else "stiffness"

    def number(self, line: int) -> int:
        """Row (or column) of the map."""
        return self.scan.number(line, self.good.shape[0])
