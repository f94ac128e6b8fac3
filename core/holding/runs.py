"""Fitting many windows to the same curves: the pipeline's fit stage, over rows that are there."""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

import numpy as np

from ..analysis import Analysis
from ..columns import fit as ft
from ..comparison.runs import rows_of
from ..forcemap import Block, ForceMap
from ..pipeline import STAGES, Request, Rows, request_of, workers
from ..progress import Progress
from ..settings import Settings

Array = np.ndarray


@dataclass(frozen=True, eq=False)
class Windows:
    """Fits of w windows to the same n curves.

    Attributes
    ----------
    value : (w, n) ln of the Young modulus [ln GPa]; NaN where there is no answer
    error : (w, n) its local standard uncertainty
    covariance : (w, n, 2, 2) of (ln c, z0), without slow noise; z0's part is NaN if it is held
    exponent, exponent_error, contact : (w, n) of the law, and z0 [nm]
    """

    value: Array
    error: Array
    covariance: Array
    exponent: Array
    exponent_error: Array
    contact: Array


class Bench:
    """Some curves whose baselines and pull-offs are there; `fit` fits windows to them."""

    def __init__(self, fmap: ForceMap, settings: Settings, curves: Array,
                 known: Analysis | None, walk: float | None) -> None:  # fmt: skip
        self.map, self.curves = fmap, curves
        self.rows: Rows = rows_of(fmap, settings, curves, known, Progress())
        self.block: Block = fmap.read_block(curves)
        self.request = request_of(fmap, settings)
        self.cut = np.hstack([fmap.approach[curves], fmap.retract[curves]])
        done = np.ones(curves.size, bool)
        self.one = Analysis(fmap, settings, self.request.constants, self.rows, {}, done,
                            pooled_walk=known.walk if walk is None and known else walk)  # fmt: skip
        self.walk = self.one.walk

    def request_under(self, settings: Settings) -> Request:
        """The request of other settings; the constants are made anew only for another law."""
        if settings.fit.law != self.request.settings.fit.law:
            return request_of(self.map, settings)
        return replace(self.request, settings=settings)

    def fit(self, chosen: Sequence[Settings], progress: Progress, words: str = "") -> Windows:
        """Fit the curves under some settings that differ in the fit alone, on all cores.

        Raises Cancelled on request.
        """
        n, tables = self.curves.size, []
        base = self.request_under(chosen[0])

        def one(settings: Settings) -> Array:
            table = np.full((n, ft.COLUMNS), np.nan)
            if not progress.cancelled:
                rows = {**self.rows, "fit": table}
                STAGES["fit"].run(replace(base, settings=settings), self.block, self.cut, rows)
            return table

        with ThreadPoolExecutor(workers()) as pool:  # one curve is done before a thread wakes up
            for done, table in enumerate((map if n == 1 else pool.map)(one, chosen)):
                tables.append(table)
                progress.step(done + 1, len(chosen), words)
        return self._windows(base, np.vstack(tables), len(chosen))

    def _windows(self, request: Request, fit: Array, count: int) -> Windows:
        """All windows' rows as one analysis, so that the channels are worked out once."""
        n = self.curves.size
        tables = {name: np.tile(rows, (count, 1)) for name, rows in self.rows.items()}
        whole = Analysis(self.map, request.settings, request.constants, tables | {"fit": fit}, {},
                         np.ones(n * count, bool), pooled_walk=self.walk)  # fmt: skip
        modulus, error = whole.per_curve("modulus")
        good = fit[:, ft.STATE] == ft.GOOD
        power = request.settings.fit.law == "free_exponent"
        with np.errstate(all="ignore"):
            value = np.where(good, fit[:, ft.LN_C] if power else np.log(modulus), np.nan)
            var = fit[:, ft.VAR_LN_C] + self.walk * fit[:, ft.SLOW_LN_C]
            relative = np.sqrt(var) if power or error is None else error / modulus
            spread = np.sqrt(fit[:, ft.VAR_EXPONENT] + self.walk * fit[:, ft.SLOW_EXPONENT])
        value[~np.isfinite(value)] = np.nan
        covariance = np.empty((fit.shape[0], 2, 2))
        covariance[:, 0, 0] = fit[:, ft.VAR_LN_C]
        covariance[:, 0, 1] = covariance[:, 1, 0] = fit[:, ft.COV]
        covariance[:, 1, 1] = fit[:, ft.VAR_Z0]
        shape = (count, n)
        return Windows(value.reshape(shape), relative.reshape(shape),
                       covariance.reshape(*shape, 2, 2),
                       np.where(good, fit[:, ft.EXPONENT], np.nan).reshape(shape),
                       spread.reshape(shape), fit[:, ft.Z0].reshape(shape))  # fmt: skip
