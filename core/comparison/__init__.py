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
NOTHING = 2.0
"""Difference of the criterion below which it says nothing (Kass & Raftery 1995)."""
FEWEST = 0.5
"""Share of the curves on which an option must give a value to be compared over the map."""
SLOW = 0.1
"""Slow over white variance of a modulus from which a comparison warns."""
OF_THE_FIT = ("fit_failed", "at_bound", "fit_stuck", "beyond_law")
"""Doubts about the law in use; they are no reason to leave a curve out of a comparison."""


@dataclass(frozen=True)
class Found:
    """What one option makes of a curve, or of a map (medians).

    Attributes
    ----------
    possible, reason : whether it could be fitted; if not, why, in a sentence
    residual : root mean square residual over the noise of the baseline
    criterion, excess : see the module's text; `excess` is above the best option's, 0 for the best
    modulus : Young modulus [GPa]
    change : modulus over the one under the present settings, minus 1
    exponent : of the law; fitted for the free exponent
    note : which curves and which window were taken, if not all and the settings' own, and whether
        slow noise makes the differences too large
    """

    option: Option
    possible: bool
    reason: str = ""
    residual: float = math.nan
    criterion: float = math.nan
    excess: float = math.nan
    modulus: float = math.nan
    change: float = math.nan
    exponent: float = math.nan
    note: str = ""


@dataclass(frozen=True)
class OnCurve(Found):
    """One curve; `modulus_error` is the local standard uncertainty [GPa], slow noise included."""

    modulus_error: float = math.nan


@dataclass(frozen=True, eq=False)
class OnMap(Found):
    """A map. Medians and shares are over the same curves for all options: those on which every
    possible one gave a value.

    Attributes
    ----------
    best_share : share of these curves that this option describes best; options that are the same
        curve (cone and pyramid) share the place. NaN if there are no such curves
    alike : share of these curves on which the criterion says nothing against this option: within
        `NOTHING` of the best
    count : how many these are, of `taken` curves without a severe doubt
    failed : on how many of the taken curves this option gave no value
    change_map : (rows, cols), NaN where there is none; None if the option is not possible
    """

    best_share: float = math.nan
    alike: float = math.nan
    count: int = 0
    taken: int = 0
    failed: int = 0
    change_map: Array | None = None


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
    note = " ".join(filter(None, (window_note(settings), slow_note(fitted, walk))))
    return [
        _on_curve(run, float(excess[id(run)][0]), before, note) if id(run) in excess
        else OnCurve(run.option, False, _why_not(run), note=note) for run in runs
    ]  # fmt: skip


def slow_note(runs: Sequence[Run], walk: float | None) -> str:
    """What slow noise does to the criterion; empty where it adds little to a modulus's variance."""
    shares = [run.slow_share(walk) for run in runs if run.option.law != "free_exponent"]
    if not shares or not float(np.median(shares)) > SLOW:
        return ""
    return ("Slow noise (drift, waves) makes neighbouring samples err together, so the differences "
            "of the criterion are overstated; take small ones for none.")  # fmt: skip


def _why_not(run: Run) -> str:
    if run.settings is None:
        return run.reason
    state = float(run.rows["fit"][0, ft.STATE])
    return FAILURES.get(state, "Nothing could be fitted: a constant or the contact is missing.")


def _on_curve(run: Run, excess: float, before: float, note: str) -> OnCurve:
    modulus, error = (float(column[0]) for column in run.values["modulus"])
    return OnCurve(
        run.option, True, residual=float(run.residual[0]), criterion=float(run.criterion[0]),
        excess=excess, modulus=modulus, change=modulus / before - 1.0,
        exponent=float(run.exponent[0]), note=note, modulus_error=error,
    )  # fmt: skip


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
    curves = curves[(analysis.sound(mask) & ~analysis.curve_corrected)[curves]]
    before = analysis.per_curve("modulus")[0][curves]
    runs = list(run_all(fmap, settings, options, curves, analysis, progress, analysis.walk))
    fitted = [run for run in runs if run.settings is not None and _enough(run)]
    excess = excess_of(fitted)
    common = np.isfinite(excess).all(axis=0) if fitted else np.zeros(curves.size, bool)
    note = " ".join(filter(None, (note, slow_note(fitted, analysis.walk))))
    found = []
    for run in runs:
        if run not in fitted:
            found.append(OnMap(run.option, False, _why_not_map(run, curves.size), note=note,
                               taken=curves.size, failed=_failed(run, curves.size)))  # fmt: skip
            continue
        above = excess[fitted.index(run)]
        found.append(_on_map(run, curves, above, common, before, note))
    return found


def _enough(run: Run) -> bool:
    """Whether an option gave a value on at least half of the curves: one that fails more often
    would leave too few to compare the others on."""
    seen = np.isfinite(run.criterion)
    return bool(seen.any()) and float(seen.mean()) >= FEWEST


def _failed(run: Run, taken: int) -> int:
    return taken - int(np.count_nonzero(np.isfinite(run.criterion)))


def _why_not_map(run: Run, taken: int) -> str:
    failed = _failed(run, taken)
    if run.reason or failed == taken:
        return run.reason or "This law could not be fitted to any curve."
    return (f"This law gave no value on {failed} of {taken} curves; it is left out, so that the "
            "others can be compared on the same curves.")  # fmt: skip


def _median(values: Array) -> float:
    values = values[np.isfinite(values)]
    return float(np.median(values)) if values.size else math.nan


def _on_map(run: Run, curves: Array, excess: Array, common: Array, before: Array, note: str
            ) -> OnMap:  # fmt: skip
    modulus = run.values["modulus"][0]
    with np.errstate(all="ignore"):
        change = modulus / before - 1.0
    whole = np.full(run.fmap.shape, np.nan)
    at = run.fmap.pixel[curves]
    whole[at[:, 0], at[:, 1]] = np.where(np.isfinite(change), change, np.nan)
    whole.flags.writeable = False
    count = int(np.count_nonzero(common))
    return OnMap(
        run.option, True, residual=_median(run.residual[common]),
        criterion=_median(run.criterion[common]), excess=_median(excess[common]),
        modulus=_median(modulus[common]), change=_median(change[common]),
        exponent=_median(run.exponent[common]), note=note,
        best_share=float(np.mean(excess[common] <= 0.0)) if count else math.nan,
        alike=float(np.mean(excess[common] < NOTHING)) if count else math.nan, count=count,
        taken=curves.size, failed=_failed(run, curves.size), change_map=whole,
    )  # fmt: skip
