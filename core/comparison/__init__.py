"""Comparison of contact laws: on one curve, and over the map.

Every option is fitted to the same samples, since only then can what is left be compared. A window
by share of the peak force, or by force, is read off the curve and is the same for all laws. One by
indentation depends on the law; the comparison then takes the window by share of the peak force
that the settings hold.

The criterion is n ln(RSS/n) + p ln n, with RSS the sum of squared residuals of n samples and p the
free parameters (Schwarz, Ann. Stat. 6 (1978) 461, with the noise fitted; from memory). It needs no
known noise. A difference below 2 says nothing, one above 10 is decisive (Kass & Raftery, J. Am.
Stat. Assoc. 90 (1995) 773, from memory), as long as the noise is independent from sample to
sample; with correlated noise all differences are too large. A pull-off that was measured on the
retract is no free parameter.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..analysis import Analysis
from ..columns import fit as ft
from ..doubts import DOUBTS, severe_mask
from ..errors import InputError
from ..forcemap import ForceMap
from ..pipeline import fits_in_memory
from ..progress import Progress
from ..settings import Settings
from .options import Option, default_options, option_of, settings_of, window_note
from .runs import Array, Run, excess_of, rows_of, run_all

__all__ = ["OnCurve", "OnMap", "Option", "compare_on_curve", "compare_on_map", "curves_of",
           "default_options", "option_of", "settings_of"]  # fmt: skip
MANY = 20_000
"""Above so many curves a regular grid of pixels stands for the map."""
OF_THE_FIT = ("fit_failed", "at_bound", "fit_stuck", "beyond_law")
"""Doubts about the law in use; they are no reason to leave a curve out of a comparison."""


@dataclass(frozen=True)
class OnCurve:
    """What one option makes of one curve.

    Attributes
    ----------
    possible, reason : whether it could be fitted; if not, why, in a sentence
    residual : root mean square residual over the noise of the baseline
    criterion, excess : see the module's text; `excess` is above the best option's, 0 for the best
    modulus, modulus_error : Young modulus and its local standard uncertainty [GPa]
    change : modulus over the one under the present settings, minus 1
    exponent : of the law; fitted for the free exponent
    note : which window was taken, if not the settings' own
    """

    option: Option
    possible: bool
    reason: str = ""
    residual: float = math.nan
    criterion: float = math.nan
    excess: float = math.nan
    modulus: float = math.nan
    modulus_error: float = math.nan
    change: float = math.nan
    exponent: float = math.nan
    note: str = ""


@dataclass(frozen=True, eq=False)
class OnMap:
    """What one option makes of a map; medians are over the curves that it could be fitted to.

    Attributes
    ----------
    possible, reason, residual, modulus : as for one curve
    criterion : median of the curves' criteria; excess : median above each curve's best option
    best_share : share of the compared curves that this option describes best; options that are the
        same curve (cone and pyramid) share the place. NaN if no curve could be compared
    change : median over curves of modulus over the present one, minus 1
    count : curves compared
    change_map : (rows, cols), NaN where there is none; None if the option is not possible
    exponent : median exponent
    note : how many curves and which window were taken, if not all and the settings' own
    """

    option: Option
    possible: bool
    reason: str = ""
    residual: float = math.nan
    criterion: float = math.nan
    excess: float = math.nan
    best_share: float = math.nan
    modulus: float = math.nan
    change: float = math.nan
    count: int = 0
    change_map: Array | None = None
    exponent: float = math.nan
    note: str = ""


# ---- on one curve

FAILURES = {
    ft.TOO_FEW: "Too few samples in the fit window.",
    ft.NO_CONTACT: "No contact was found on this curve.",
    ft.NOT_CONVERGED: "The fit did not converge.",
    ft.NOT_POSITIVE: "The fit found no answer: its covariance is not positive.",
    ft.AT_BOUND: "A parameter ran to the end of its range: this law is not the curve's.",
    ft.NOT_MOVED: "The fit never moved from its first guess.",
}
"""State of a fit -> why there is no answer."""


def compare_on_curve(fmap: ForceMap, settings: Settings, row: int, col: int,
                     options: Sequence[Option] | None = None,
                     walk: float | None = None) -> list[OnCurve]:  # fmt: skip
    """Fit several laws to the same samples of one curve.

    Parameters
    ----------
    settings : window, branch, baseline and constants; its law is what `change` refers to
    options : `default_options` if None
    walk : the map's slow noise (`Analysis.walk`) for the uncertainties; without it the curve's own,
        which one curve alone knows badly

    Returns
    -------
    One entry an option, in order. One that can't be fitted has ``possible`` False and a reason.

    Raises
    ------
    InputError : there is no curve at that pixel
    ReadError : the file is damaged or gone
    """
    curve = fmap.curve_at(row, col)
    if curve < 0:
        raise InputError(f"There is no curve at row {row}, column {col}.")
    curves = np.array([curve])
    present = Run(fmap, option_of(settings.fit.law, settings.fit.adhesion), settings, "")
    present.rows = rows_of(fmap, settings, curves, None, Progress())
    present.finish()
    before = float(present.values["modulus"][0][0])
    runs = list(run_all(fmap, settings, options, curves, None, Progress(), walk))
    fitted = [run for run in runs if run.settings is not None and np.isfinite(run.criterion[0])]
    excess = dict(zip(map(id, fitted), excess_of(fitted), strict=True))
    note = window_note(settings)
    return [
        _on_curve(run, float(excess[id(run)][0]), before, note) if id(run) in excess
        else OnCurve(run.option, False, _why_not(run), note=note) for run in runs
    ]  # fmt: skip


def _why_not(run: Run) -> str:
    if run.settings is None:
        return run.reason
    state = float(run.rows["fit"][0, ft.STATE])
    return FAILURES.get(state, "Nothing could be fitted: a constant or the contact is missing.")


def _on_curve(run: Run, excess: float, before: float, note: str) -> OnCurve:
    modulus, error = (float(column[0]) for column in run.values["modulus"])
    return OnCurve(run.option, True, "", float(run.residual[0]), float(run.criterion[0]), excess,
                   modulus, error, modulus / before - 1.0, float(run.exponent[0]),
                   note)  # fmt: skip


# ---- over the map


def curves_of(fmap: ForceMap, most: int = MANY) -> tuple[Array, str]:
    """The curves that a comparison takes, and a sentence if these are not all.

    Of a large map each pixel whose row and column can be divided by a step is taken.
    """
    seen = fmap.index_map[fmap.index_map >= 0]
    if seen.size <= most:
        return np.sort(seen), ""
    step = math.ceil(math.sqrt(seen.size / most))
    grid = fmap.index_map[::step, ::step]
    taken = np.sort(grid[grid >= 0])
    return taken, (f"{taken.size} of {seen.size} curves were compared: every {step}th pixel of "
                   f"every {step}th row.")  # fmt: skip


def compare_on_map(analysis: Analysis, options: Sequence[Option] | None = None,
                   progress: Progress | None = None) -> list[OnMap]:  # fmt: skip
    """Fit several laws to the same samples of every curve of a map (or of a grid of its pixels).

    Curves that carry a severe doubt other than about the present fit are left out.

    Parameters
    ----------
    analysis : complete; what its stages found already is taken over
    options : `default_options` if None
    progress : told after each chunk; its ``cancel()`` stops the run

    Raises
    ------
    ReadError : the file is damaged or gone
    Cancelled : on request
    """
    fmap, settings, progress = analysis.map, analysis.settings, progress or Progress()
    if not fmap.resident and fits_in_memory(fmap):
        fmap.load(progress)
    curves, note = curves_of(fmap)
    note = " ".join(filter(None, (note, window_note(settings))))
    mask = severe_mask() & ~sum(DOUBTS[name].mask for name in OF_THE_FIT if name in DOUBTS)
    curves = curves[(analysis.curve_doubts[curves] & np.uint64(mask)) == 0]
    before = analysis.per_curve("modulus")[0][curves]
    runs = list(run_all(fmap, settings, options, curves, analysis, progress, analysis.walk))
    fitted = [run for run in runs if run.settings is not None and np.isfinite(run.criterion).any()]
    excess = excess_of(fitted)
    compared = np.isfinite(excess).any(axis=0) if fitted else np.zeros(curves.size, bool)
    found = []
    for run in runs:
        if run not in fitted:
            why = run.reason or "This law could not be fitted to any curve."
            found.append(OnMap(run.option, False, why, note=note))
            continue
        above = excess[fitted.index(run)]
        found.append(_on_map(run, curves, above, compared, before, note))
    return found


def _median(values: Array) -> float:
    values = values[np.isfinite(values)]
    return float(np.median(values)) if values.size else math.nan


def _on_map(run: Run, curves: Array, excess: Array, compared: Array, before: Array, note: str
            ) -> OnMap:  # fmt: skip
    modulus = run.values["modulus"][0]
    with np.errstate(all="ignore"):
        change = modulus / before - 1.0
    whole = np.full(run.fmap.shape, np.nan)
    at = run.fmap.pixel[curves]
    whole[at[:, 0], at[:, 1]] = np.where(np.isfinite(change), change, np.nan)
    whole.flags.writeable = False
    best = float(np.count_nonzero(excess <= 0.0) / np.count_nonzero(compared))
    return OnMap(run.option, True, "", _median(run.residual), _median(run.criterion),
                 _median(excess), best, _median(modulus), _median(change),
                 int(np.count_nonzero(compared)), whole, _median(run.exponent), note)  # fmt: skip
