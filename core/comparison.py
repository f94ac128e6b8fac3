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
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field

import numpy as np

from .analysis import Analysis
from .calibration import constants
from .columns import baseline as bl
from .columns import fit as ft
from .doubts import DOUBTS, severe_mask
from .errors import InputError
from .forcemap import ForceMap
from .models import LAWS
from .pipeline import (
    CHUNK,
    STAGES,
    Request,
    Rows,
    backwards,
    fits_in_memory,
    free_of,
    run_rows,
    workers,
)
from .progress import Progress
from .settings import ADHESIONS, SHAPES, Settings

Array = np.ndarray
MANY = 20_000
"""Above so many curves a regular grid of pixels stands for the map."""
SAME = 1e-6
"""Criteria that differ by less belong to one and the same curve: such laws share a first place."""
OF_THE_FIT = ("fit_failed", "at_bound", "fit_stuck", "beyond_law")
"""Doubts about the law in use; they are no reason to leave a curve out of a comparison."""


@dataclass(frozen=True)
class Option:
    """A law and an adhesion, by their names in the settings, with words for both."""

    law: str
    adhesion: str
    label: str


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


# ---- which options, and why not


def option_of(law: str, adhesion: str) -> Option:
    """The option with its label."""
    shape = SHAPES.get(law, law)
    words = {"none": "no adhesion"}.get(adhesion, ADHESIONS.get(adhesion, adhesion))
    return Option(law, adhesion, f"{shape}, {words}")


def default_options(fmap: ForceMap, settings: Settings) -> list[Option]:
    """The options that a comparison takes by itself.

    Each law without adhesion and with a constant pull, JKR and Maugis-Dugdale for the paraboloid,
    and the free exponent. A law whose size is missing stands there once, to say what is missing.
    The flat punch is left out where the map records a tip of another shape, whose radius is not
    that of a face. JKR from two points is not among them: it uses other samples.
    """
    found = []
    round_tip = fmap.recorded.tip_shape not in ("", "punch") and settings.fit.law != "punch"
    sticky = "none" if settings.fit.adhesion == "none" else "constant"
    for law in LAWS:
        if law == "free_exponent" or (law == "punch" and round_tip):
            continue
        if missing_size(fmap, settings.with_value("fit.adhesion", sticky), law):
            found.append(option_of(law, sticky))
            continue
        found += [option_of(law, adhesion) for adhesion in ("none", "constant")]
        if law == "paraboloid":
            found += [option_of(law, adhesion) for adhesion in ("jkr", "maugis")]
    return [*found, option_of("free_exponent", sticky)]


def missing_size(fmap: ForceMap, settings: Settings, law: str) -> str:
    """Why a law can't be used with this tip or layer, as a sentence; empty if it can."""
    if law == "free_exponent":
        return ""
    use = constants(fmap, settings.with_value("fit.law", law))
    lost = [size.label.lower() for size in use.sizes if math.isnan(size.value)]
    if lost:
        return f"No {' and no '.join(lost)} is known."
    return use.shape.fault[:1].upper() + use.shape.fault[1:]


def settings_of(fmap: ForceMap, settings: Settings, option: Option) -> tuple[Settings | None, str]:
    """The settings of an option, or None and why it is impossible.

    A window by indentation becomes one by share of the peak force.
    """
    if option.law not in LAWS:
        return None, f"{option.law!r} is not among the contact laws."
    if option.adhesion == "two_point":
        return None, ("JKR from two points uses the retract alone, not these samples: there is "
                      "nothing to compare.")  # fmt: skip
    change = {"fit.law": option.law, "fit.adhesion": option.adhesion}
    if settings.fit.window == "indentation":
        change["fit.window"] = "fraction"
    try:
        made = settings.with_values(change)
    except InputError as error:
        return None, str(error)
    why = missing_size(fmap, made, option.law)
    return (None, why) if why else (made, "")


def window_note(settings: Settings) -> str:
    """What the comparison says of its window; empty if it is the settings' own."""
    fit = settings.fit
    if fit.window != "indentation":
        return ""
    return (f"Fitted from {fit.fraction_from:g} to {fit.fraction_to:g} % of the peak force: a "
            "window by indentation would hold other samples for each law.")  # fmt: skip


# ---- running them


@dataclass(eq=False)
class _Run:
    """One option over some curves: its rows and what follows from them."""

    fmap: ForceMap
    option: Option
    settings: Settings | None
    reason: str
    walk: float | None = None
    rows: Rows = field(default_factory=dict)
    criterion: Array = field(default_factory=lambda: np.empty(0))
    residual: Array = field(default_factory=lambda: np.empty(0))
    values: dict[str, tuple[Array, Array]] = field(default_factory=dict)

    def finish(self) -> None:
        """Criterion, residual and modulus of each curve; NaN where the fit found no answer."""
        assert self.settings is not None
        fit, base = self.rows["fit"], self.rows["baseline"]
        good = fit[:, ft.STATE] == ft.GOOD
        parameters = len(free_of(self.settings))
        n = np.where(good, fit[:, ft.SAMPLES], np.nan)
        mean_square = fit[:, ft.RESIDUAL] ** 2 * np.maximum(n - parameters, 1.0) / n
        at = bl.RETRACT if backwards(self.settings) else bl.APPROACH
        with np.errstate(all="ignore"):
            self.criterion = n * np.log(mean_square) + parameters * np.log(n)
            self.residual = np.where(good, fit[:, ft.RESIDUAL], np.nan) / base[:, at + bl.B_NOISE]
        self.criterion[~np.isfinite(self.criterion)] = np.nan
        one = self.analysis()
        value, error = one.per_curve("modulus")
        if self.option.law == "free_exponent":
            value, error = np.full(n.size, np.nan), np.full(n.size, np.nan)
        assert error is not None
        self.values = {"modulus": (value, error)}

    def analysis(self) -> Analysis:
        """The rows as an analysis of these curves alone."""
        assert self.settings is not None
        use = constants(self.fmap, self.settings)
        return Analysis(self.fmap, self.settings, use, self.rows, {},
                        np.ones(len(self.rows["fit"]), bool), pooled_walk=self.walk)  # fmt: skip

    @property
    def exponent(self) -> Array:
        """Of each curve: as fitted, or the law's."""
        if self.option.law == "free_exponent":
            fit = self.rows["fit"]
            return np.where(fit[:, ft.STATE] == ft.GOOD, fit[:, ft.EXPONENT], np.nan)
        return np.full(self.criterion.size, LAWS[self.option.law].exponent)


def _rows_of(fmap: ForceMap, settings: Settings, curves: Array, known: Analysis | None,
             progress: Progress) -> Rows:  # fmt: skip
    """The rows of all stages for some curves; stages that `known` has already are taken over."""
    request = Request(settings, constants(fmap, settings))
    rows: Rows = {}
    stale = []
    for name, stage in STAGES.items():
        if known is not None and known.keys.get(name) == stage.key(request):
            rows[name] = known.stage_tables[name][curves]
        else:
            stale.append(name)
            rows[name] = np.full((curves.size, stage.columns), np.nan)
    done = 0

    def piece(places: Array) -> int:
        if not progress.cancelled:
            part = {name: table[places] for name, table in rows.items()}
            run_rows(request, fmap, fmap.read_block(curves[places]), part, stale)
            for name in stale:
                rows[name][places] = part[name]
        return places.size

    pieces = [np.arange(i, min(i + CHUNK, curves.size)) for i in range(0, curves.size, CHUNK)]
    with ThreadPoolExecutor(workers()) as pool:
        for count in pool.map(piece, pieces):
            done += count
            progress.step(done, curves.size, "Comparing laws")
    return rows


class _Share(Progress):
    """One of several equal parts of a longer run."""

    def __init__(self, whole: Progress, part: int, parts: int) -> None:
        super().__init__()
        self._whole, self._part, self._parts = whole, part, parts

    @property
    def cancelled(self) -> bool:
        return self._whole.cancelled

    def check(self) -> None:
        self._whole.check()

    def step(self, done: int, total: int, words: str = "") -> None:
        self._whole.step(self._part * total + done, self._parts * total, words)


def _run_all(fmap: ForceMap, settings: Settings, options: Sequence[Option] | None, curves: Array,
             known: Analysis | None, progress: Progress, walk: float | None
             ) -> Iterator[_Run]:  # fmt: skip
    chosen = default_options(fmap, settings) if options is None else list(options)
    for i, option in enumerate(chosen):
        made, reason = settings_of(fmap, settings, option)
        run = _Run(fmap, option, made, reason, walk)
        if made is not None:
            share = _Share(progress, i, len(chosen))
            try:
                run.rows = _rows_of(fmap, made, curves, known, share)
                run.finish()
            except (KeyError, NotImplementedError) as error:  # a law without its kernel
                run.settings, run.reason = None, f"This law can't be fitted: {error}"
        yield run


def _excess(runs: list[_Run]) -> Array:
    """Criterion above each curve's best, (options, curves); NaN where an option has none."""
    if not runs:
        return np.empty((0, 0))
    all_of = np.stack([run.criterion for run in runs])
    best = np.where(np.isnan(all_of), np.inf, all_of).min(axis=0)
    found = all_of - np.where(np.isfinite(best), best, np.nan)
    return np.where(found < SAME, np.minimum(found, 0.0), found)


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
    present = _Run(fmap, option_of(settings.fit.law, settings.fit.adhesion), settings, "")
    present.rows = _rows_of(fmap, settings, curves, None, Progress())
    present.finish()
    before = float(present.values["modulus"][0][0])
    runs = list(_run_all(fmap, settings, options, curves, None, Progress(), walk))
    fitted = [run for run in runs if run.settings is not None and np.isfinite(run.criterion[0])]
    excess = dict(zip(map(id, fitted), _excess(fitted), strict=True))
    note = window_note(settings)
    return [
        _on_curve(run, float(excess[id(run)][0]), before, note) if id(run) in excess
        else OnCurve(run.option, False, _why_not(run), note=note) for run in runs
    ]  # fmt: skip


def _why_not(run: _Run) -> str:
    if run.settings is None:
        return run.reason
    state = float(run.rows["fit"][0, ft.STATE])
    return FAILURES.get(state, "Nothing could be fitted: a constant or the contact is missing.")


def _on_curve(run: _Run, excess: float, before: float, note: str) -> OnCurve:
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
    runs = list(_run_all(fmap, settings, options, curves, analysis, progress, analysis.walk))
    fitted = [run for run in runs if run.settings is not None and np.isfinite(run.criterion).any()]
    excess = _excess(fitted)
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


def _on_map(run: _Run, curves: Array, excess: Array, compared: Array, before: Array, note: str
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
