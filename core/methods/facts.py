"""What the sentences are made of: the findings, and figures worked out from them once."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from ..analysis import Analysis
from ..calibration import InUse
from ..columns import baseline as bl
from ..columns import fit as ft
from ..findings import Findings
from ..forcemap import ForceMap
from ..mapparts import HOLD
from ..models import Law, law_of
from ..pipeline import backwards
from ..settings import Settings
from ..work import Answers
from .parts import Gap, Hole, Piece, Said

Array = np.ndarray
LOOKED_AT = 60
"""Used curves, evenly spread, whose samples are read for what the fit window came to."""


@dataclass(frozen=True)
class Window:
    """What the fit window came to on the curves looked at, (n, 2) each, lower and upper end: forces
    [nN], indentations [nm], and both as shares of their values at the peak."""

    force: Array
    depth: Array
    force_share: Array
    depth_share: Array


@dataclass(frozen=True, eq=False)
class Facts:
    """See the module."""

    findings: Findings

    @property
    def analysis(self) -> Analysis:
        return self.findings.analysis

    @property
    def settings(self) -> Settings:
        return self.analysis.settings

    @property
    def map(self) -> ForceMap:
        return self.analysis.map

    @property
    def answers(self) -> Answers:
        return self.findings.work.answers

    @property
    def law(self) -> Law:
        return law_of(self.settings.fit.law)

    @property
    def sizes(self) -> tuple[InUse, ...]:
        return self.analysis.constants.sizes

    @property
    def forces(self) -> bool:
        """Whether there are forces: lengths and a spring constant."""
        use = self.analysis.constants
        return use.lengths and math.isfinite(use.spring_constant.value)

    @property
    def moduli(self) -> bool:
        """Whether there are moduli."""
        return self.forces and math.isfinite(self.analysis.constants.factor)

    @property
    def gives_moduli(self) -> bool:
        """Whether moduli are given: there are, and the law is not one of a free exponent."""
        return self.moduli and self.settings.fit.law != "free_exponent"

    @cached_property
    def lacking(self) -> tuple[str, ...]:
        """What is not known and without which there is no modulus, in words."""
        use = self.analysis.constants
        return tuple(f"the {one.label.lower()}" for one in (use.spring_constant, *use.sizes)
                     if not math.isfinite(one.value))  # fmt: skip

    @property
    def retract(self) -> bool:
        """Whether any curve has a retract."""
        return bool(((self.map.segment_kind == 2) & (self.map.segment_count > 0)).any())

    @property
    def backwards(self) -> bool:
        return backwards(self.settings)

    def hole(self, item: str, name: str, question: str, hint: str = "") -> Hole:
        """The place of a gap, with the answer that the person gave."""
        return Hole(Gap(item, question, name, hint), self.answers.of(name))

    # -- curves

    @cached_property
    def used(self) -> Array:
        """(rows, cols) bool: pixels whose numbers are used."""
        return np.asarray(self.analysis.trusted)

    @cached_property
    def used_curves(self) -> Array:
        """Numbers of the used curves that have no correction of their own; of all where none is
        used, so that travel and speed can still be told."""
        there = self.map.index_map >= 0
        index = self.map.index_map[self.used if self.used.any() else there]
        return index[~self.analysis.curve_corrected[index]]

    def channel(self, name: str) -> Array:
        """The finite values of a channel over the used pixels, (n,)."""
        values = self.analysis.channel(name)[self.used]
        return values[np.isfinite(values)]

    def base(self, column: int) -> Array:
        """A column of the baseline stage over the used curves, what is finite."""
        values = self.analysis.tables.base[self.used_curves, column]
        return values[np.isfinite(values)]

    def median(self, values: Array) -> float:
        return float(np.median(values)) if values.size else math.nan

    @property
    def rate(self) -> float:
        """Samples a second of the approach; NaN if not recorded."""
        rate = self.map.sampling_rate
        if rate is None:
            return math.nan
        each = np.broadcast_to(rate, self.map.segment_count.shape)
        there = (self.map.segment_count > 0) & (self.map.segment_kind == 0)
        return self.median(each[there])

    def speed(self, back: bool = False) -> float:
        """Median speed of the base [nm/s] on the approach or on the retract; NaN if not known."""
        rate = self.map.sampling_rate
        if rate is None:
            return math.nan
        kind, branch = (2, bl.RETRACT) if back else (0, bl.APPROACH)
        used = self.used_curves
        each = np.broadcast_to(rate, self.map.segment_count.shape)[used]
        there = (self.map.segment_count[used] > 0) & (self.map.segment_kind == kind)
        first = np.argmax(there, axis=1)  # of that kind; where there is none, the branch is empty
        own = np.where(there.any(axis=1), each[np.arange(used.size), first], math.nan)
        table = self.analysis.tables.base[used]
        with np.errstate(divide="ignore", invalid="ignore"):
            found = table[:, bl.Z_RANGE] / (table[:, branch + bl.B_KEPT] - 1.0) * own
        return self.median(found[np.isfinite(found) & (found > 0.0)])

    @property
    def hold(self) -> tuple[int, float]:
        """Curves with a hold, and its median length [s] (NaN if no rate is recorded)."""
        count = np.where(self.map.segment_kind == HOLD, self.map.segment_count, 0)
        held = count.sum(axis=1) > 0
        if not held.any() or self.map.sampling_rate is None:
            return int(held.sum()), math.nan
        each = np.broadcast_to(self.map.sampling_rate, count.shape)
        return int(held.sum()), self.median((count / each).sum(axis=1)[held])

    # -- the fit window

    @cached_property
    def window(self) -> Window:
        """What the window came to. Raises ReadError if the file is damaged or gone."""
        from ..explain import branches_of

        good = self.used_curves
        fit = self.analysis.tables.fit
        good = good[fit[good, ft.STATE] == ft.GOOD]
        if good.size > LOOKED_AT:
            good = good[np.linspace(0, good.size - 1, LOOKED_AT).astype(int)]
        k = self.analysis.constants.force_scale
        rows = []
        for curve in good if self.analysis.constants.lengths else ():
            row = self.analysis.tables.base[curve]
            branch = branches_of(self.map, int(curve), self.analysis.constants.scale[2], row)[
                int(self.backwards)]  # fmt: skip
            rows.append(_ends(branch, fit[curve], row, k))
        found = np.array(rows).reshape(-1, 8) if rows else np.full((0, 8), math.nan)
        return Window(found[:, 0:2], found[:, 2:4], found[:, 4:6], found[:, 6:8])

    @cached_property
    def figures(self) -> Any:
        """What the advice on laws judges by."""
        from ..advice.measured import figures_of

        return figures_of(self.analysis)

    @property
    def contacts(self) -> Any:
        """The contacts at the peak, as the advice on laws judges them."""
        return self.figures.contacts


def _ends(branch: Any, fit: Array, base: Array, k: float) -> list[float]:
    """Forces, indentations and their shares at both ends of a window."""
    inside = np.flatnonzero((branch.z >= fit[ft.FIRST_Z]) & (branch.z <= fit[ft.LAST_Z]))
    if inside.size < 3:
        return [math.nan] * 8
    d, z = branch.d[inside[[0, -1]]], branch.z[inside[[0, -1]]]
    depth = z - fit[ft.Z0] - d
    deepest = base[bl.PEAK_Z] - fit[ft.Z0] - base[bl.PEAK_D]
    return [*(k * d), *depth, *(d / base[bl.PEAK_D]), *(depth / deepest)]


def said(*pieces: Piece, by: str | tuple[str, ...] = (), detail: str = "") -> Said:
    """A sentence; `by` tells where it is from."""
    origins = (by,) if isinstance(by, str) else by
    return Said(pieces, tuple(origin for origin in origins if origin), detail)
