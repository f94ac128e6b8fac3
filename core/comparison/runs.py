"""Fitting several laws to the same samples of some curves, and their criteria."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field

import numpy as np

from ..analysis import Analysis
from ..calibration import constants
from ..columns import baseline as bl
from ..columns import fit as ft
from ..forcemap import ForceMap
from ..models import LAWS
from ..pipeline import CHUNK, STAGES, Rows, backwards, free_of, request_of, run_rows, workers
from ..progress import Progress
from ..settings import Settings
from .options import Option, default_options, settings_of

Array = np.ndarray
SAME = 1e-6
"""Criteria that differ by less belong to one and the same curve: such laws share a first place."""


@dataclass(eq=False)
class Run:
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

    def slow_share(self, walk: float | None) -> float:
        """Variance of ln c by slow noise over that by white noise, the median of the curves; 0 if
        there is none. `walk` None: the curves' own."""
        fit = self.rows["fit"]
        walk = self.analysis().walk if walk is None else walk
        with np.errstate(all="ignore"):
            share = walk * fit[:, ft.SLOW_LN_C] / fit[:, ft.VAR_LN_C]
        share = share[np.isfinite(share)]
        return float(np.median(share)) if share.size else 0.0

    @property
    def exponent(self) -> Array:
        """Of each curve: as fitted, or the law's."""
        if self.option.law == "free_exponent":
            fit = self.rows["fit"]
            return np.where(fit[:, ft.STATE] == ft.GOOD, fit[:, ft.EXPONENT], np.nan)
        return np.full(self.criterion.size, LAWS[self.option.law].exponent)


def rows_of(fmap: ForceMap, settings: Settings, curves: Array, known: Analysis | None,
             progress: Progress) -> Rows:  # fmt: skip
    """The rows of all stages for some curves; stages that `known` has already are taken over."""
    request = request_of(fmap, settings)
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


def run_all(fmap: ForceMap, settings: Settings, options: Sequence[Option] | None, curves: Array,
             known: Analysis | None, progress: Progress, walk: float | None
             ) -> Iterator[Run]:  # fmt: skip
    chosen = default_options(fmap, settings) if options is None else list(options)
    for i, option in enumerate(chosen):
        made, reason = settings_of(fmap, settings, option)
        run = Run(fmap, option, made, reason, walk)
        if made is not None:
            share = _Share(progress, i, len(chosen))
            try:
                run.rows = rows_of(fmap, made, curves, known, share)
                run.finish()
            except (KeyError, NotImplementedError) as error:  # a law without its kernel
                run.settings, run.reason = None, f"This law can't be fitted: {error}"
        yield run


def excess_of(runs: list[Run]) -> Array:
    """Criterion above each curve's best, (options, curves); NaN where an option has none."""
    if not runs:
        return np.empty((0, 0))
    all_of = np.stack([run.criterion for run in runs])
    best = np.where(np.isnan(all_of), np.inf, all_of).min(axis=0)
    found = all_of - np.where(np.isfinite(best), best, np.nan)
    return np.where(found < SAME, np.minimum(found, 0.0), found)
