"""Which contact law may be used: checks with figures, the laws with verdicts, a recommendation.

The program advises and never switches. Each law is judged by the modulus, pull-off and indentation
that the law in use gave; where that one is far off, advice and fit have to be gone through twice.
"""

from __future__ import annotations

from ..analysis import Analysis
from ..errors import InputError
from .curves import (
    check_branches,
    check_lever,
    check_poisson,
    check_pressure,
    check_residual,
    check_samples,
    check_slope,
    check_tip,
)
from .laws import judge, law_checks, pairs, recommend
from .measured import figures_of
from .parts import Advice, Check, LawAdvice
from .regimes import AdhesionMap, adhesion_map

__all__ = ["AdhesionMap", "Advice", "Check", "LawAdvice", "adhesion_map", "advise"]


def advise(analysis: Analysis, row: int | None = None, col: int | None = None) -> Advice:
    """Judge the law in use, and all others, on one pixel or on a whole map.

    Parameters
    ----------
    row, col : the pixel; without them the medians of the map's trusted pixels are judged (of some
        thousand, evenly spread, on a large map)

    Returns
    -------
    Advice. A figure that can't be had is NaN with the verdict "unknown" and what is missing.

    Raises
    ------
    InputError : there is no curve at that pixel
    """
    curve = None
    if row is not None and col is not None:
        curve = analysis.map.curve_at(row, col)
        if curve < 0:
            raise InputError(f"There is no curve at row {row}, column {col}.")
    figures = figures_of(analysis, curve)
    of_curve = [
        check(figures) for check in (check_slope, check_lever, check_pressure, check_branches,
                                     check_residual, check_samples, check_poisson, check_tip)
    ]  # fmt: skip
    checks = [*law_checks(figures), *(check for check in of_curve if check is not None)]
    fit = analysis.settings.fit
    laws = [judge(figures, law, adhesion) for law, adhesion in pairs()]
    present = next((law for law in laws if (law.law, law.adhesion) == (fit.law, fit.adhesion)),
                   None) or judge(figures, fit.law, fit.adhesion)  # fmt: skip
    return Advice(tuple(checks), tuple(laws), present, recommend(figures, checks, laws, present))
