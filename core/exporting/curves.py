"""Curves for export: samples as they were recorded, and what the analysis made of them.

With z the base position (it grows towards the sample) and d the deflection without its baseline:
force F = k d, indentation δ = (z - z₀) - d, separation D = -δ. Baseline, contact point z₀ and
constants are those that the map's numbers come from, or a pixel's own correction.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from ..analysis import Analysis
from ..columns import baseline as bl
from ..columns import fit as ft
from ..errors import InputError
from ..mapparts import SEGMENT_NAMES
from ..steps.baseline import take_off
from ..writers.datapackage import Column
from .wanted import Wanted

if TYPE_CHECKING:
    from ..findings import Findings

Array = np.ndarray
SEGMENTS = ", ".join(f"{number} {name}" for number, name in enumerate(SEGMENT_NAMES))
WHERE = "nan in other segments than approach and retract, and where there is no baseline"


@dataclass(frozen=True, eq=False)
class Samples:
    """Samples of some curves, one after the other.

    Attributes
    ----------
    curves : int64 (n,), which; `count` (n,), how many samples of each
    segment : uint8 (samples,), the kind of segment each lies in
    columns : name of a column -> (samples,) float64
    """

    curves: Array
    count: Array
    segment: Array
    columns: dict[str, Array]


@dataclass(frozen=True, eq=False)
class Found:
    """What the analysis holds for some curves, each under the settings its numbers come from.

    `base` (n, columns) rows of the baseline stage; `contact` z₀ (n,) nm, NaN where not found;
    `force` N/m (n,); `gain` nm of deflection per recorded unit (n,), NaN if not known.
    """

    base: Array
    contact: Array
    force: Array
    gain: Array

    @classmethod
    def of(cls, analysis: Analysis, curves: Array) -> Found:
        n = curves.size
        found = cls(np.array(analysis.stage_tables["baseline"][curves], float), np.empty(n),
                    np.empty(n), np.empty(n))  # fmt: skip
        found._fill(analysis, slice(None), analysis.stage_tables["fit"][curves])
        for own_curves, own in analysis.corrections:
            at = np.flatnonzero(np.isin(curves, own_curves))
            if at.size:
                rows = np.searchsorted(own_curves, curves[at])  # they are sorted
                found.base[at] = own.stage_tables["baseline"][rows]
                found._fill(own, at, own.stage_tables["fit"][rows])
        return found

    def _fill(self, own: Analysis, at: slice | Array, fit: Array) -> None:
        good = fit[:, ft.STATE] == ft.GOOD if fit.size else np.zeros(fit.shape[0], bool)
        self.contact[at] = np.where(good, fit[:, ft.Z0], np.nan) if fit.size else np.nan
        use = own.constants
        self.force[at] = use.force_scale
        self.gain[at] = use.scale[2] / own.map.signal_scale if use.lengths else np.nan


def columns_of(findings: Findings, kinds: Sequence[str]) -> tuple[Column, ...]:
    """The columns of a curve: z, then as recorded, then corrected."""
    unit = findings.map.signal_unit
    signal = "force" if unit == "nN" else "deflection"
    found = [Column("z (nm)", "number", "nm", "base position; it grows towards the sample")]
    if "raw" in kinds:
        if unit != "nm":
            found.append(Column(f"recorded {signal} ({unit})", "number", unit, "as recorded"))
        found.append(Column("measured deflection (nm)", "number", "nm", "with its baseline"))
    if "corrected" in kinds:
        found += [
            Column("deflection (nm)", "number", "nm", f"without its baseline; {WHERE}"),
            Column("force (nN)", "number", "nN", "F = k d"),
            Column("separation (nm)", "number", "nm", "D = -δ, 0 at the contact point"),
            Column("indentation (nm)", "number", "nm", "δ = (z - z0) - d, d without baseline; nan "
                   "where no contact point was found"),
        ]  # fmt: skip
    return tuple(found)


def samples_of(findings: Findings, curves: Array, kinds: Sequence[str]) -> Samples:
    """Samples of some curves in the order in which they were recorded.

    Raises ReadError if the file is damaged or gone.
    """
    fmap = findings.map
    block = fmap.read_block(curves)
    count = fmap.curve_count[curves]
    where = np.concatenate([np.arange(s, s + n) for s, n in zip(block.start, count, strict=True)]
                           or [np.empty(0, np.int64)])  # fmt: skip
    z = block.z[where] * fmap.z_scale + fmap.z_shift
    signal = block.signal[where] * fmap.signal_scale + fmap.signal_shift
    kind = np.tile(fmap.segment_kind, curves.size)
    segment = np.repeat(kind, fmap.segment_count[curves].ravel()).astype(np.uint8)
    found = Found.of(findings.analysis, curves)
    raw = signal * np.repeat(found.gain, count)
    given: dict[str, Array] = {"z (nm)": z}
    signal_name = "force" if fmap.signal_unit == "nN" else "deflection"
    given[f"recorded {signal_name} ({fmap.signal_unit})"] = signal
    given["measured deflection (nm)"] = raw
    if "corrected" in kinds:
        d = raw - _lines(findings, curves, count, z, raw, found.base)
        depth = (z - np.repeat(found.contact, count)) - d
        given |= {"deflection (nm)": d, "force (nN)": d * np.repeat(found.force, count),
                  "separation (nm)": -depth, "indentation (nm)": depth}  # fmt: skip
    names = [column.name for column in columns_of(findings, kinds)]
    return Samples(curves, count, segment, {name: given[name] for name in names})


def _lines(findings: Findings, curves: Array, count: Array, z: Array, raw: Array, base: Array
           ) -> Array:  # fmt: skip
    """The baseline under each sample [nm]; NaN where none is known."""
    fmap = findings.map
    out = np.full(z.size, np.nan)
    begins = np.concatenate([[0], np.cumsum(count)[:-1]]) if count.size else count
    cuts = ((fmap.approach[curves], bl.APPROACH, 1), (fmap.retract[curves], bl.RETRACT, -1))
    for i, begin in enumerate(begins):
        for cut, at, step in cuts:
            first = int(begin) + int(cut[i, 0])
            here = slice(first, first + int(cut[i, 1]))
            sound = np.flatnonzero(np.isfinite(z[here]) & np.isfinite(raw[here]))[::step] + first
            if not sound.size or not np.isfinite(base[i, at + bl.B_OFFSET]):
                continue
            taken = np.zeros(sound.size)
            take_off(z[sound], taken, sound.size, base[i], at)  # of nothing: its negative is left
            out[sound] = -taken
    return out


def curves_wanted(findings: Findings, wanted: Wanted) -> Array:
    """The curves of the picked pixels in their order, once each; or of all pixels, row by row.

    Raises InputError for a pixel without a curve.
    """
    fmap = findings.map
    if wanted.all_pixels:
        return fmap.index_map[fmap.index_map >= 0]
    found = []
    for row, col in dict.fromkeys(wanted.pixels):
        curve = fmap.curve_at(row, col)
        if curve < 0:
            rows, cols = fmap.shape[0], fmap.shape[1]
            raise InputError(f"There is no curve at row {row}, column {col}; rows go from 0 to "
                             f"{rows - 1}, columns from 0 to {cols - 1}.")  # fmt: skip
        found.append(curve)
    if not found:
        raise InputError("No pixel is chosen whose curve could be exported. Choose some, or all.")
    return np.array(found, dtype=np.int64)


def portions(findings: Findings, curves: Array, most: int = 2**19) -> Iterator[Array]:
    """Curves in portions of at most so many samples (one curve at least)."""
    upto = np.cumsum(findings.map.curve_count[curves])
    begin = 0
    while begin < curves.size:
        before = int(upto[begin - 1]) if begin else 0
        end = max(int(np.searchsorted(upto, before + most, side="right")), begin + 1)
        yield curves[begin:end]
        begin = end


