"""What all pixels share, laid on the table: it does not average out, but may cancel in ratios."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from ..uncertainty.groups import group_budget, ratio_budget
from ..uncertainty.inputs import QUANTITIES, common_inputs
from .composition import Composition
from .pairs import Pair
from .table import Row, Table

TRIALS = 500
"""Draws of the Monte Carlo that every budget makes; the table uses the linear terms only."""
AS_ADHESION = ("release_force", "work_of_adhesion", "dissipation", "peak_force")
"""Forces, and areas under them: k and the sensitivity enter as in the adhesion."""


def with_common(composition: Composition, table: Table) -> Table:
    """The table with each channel's common relative uncertainty, as far as it is known.

    Channels without a budget keep NaN: nothing is known of what is common to their pixels. Without
    an analysis (drawn arrays) all do.
    """
    analysis = composition.maps.source
    if analysis is None:
        return table
    return replace(table, rows=tuple(_row(composition, analysis, row) for row in table.rows))


def _row(composition: Composition, analysis: Any, row: Row) -> Row:
    known: dict[str, float] = {}
    pure = composition.pixels(row.number, pure=True)
    found = {}
    for name, summary in row.summaries.items():
        budget = "adhesion" if name in AS_ADHESION else name
        if budget not in known:
            known[budget] = _common(analysis, pure, budget)
        found[name] = replace(summary, common=known[budget])
    return replace(row, summaries=found)


def _common(analysis: Any, pure: np.ndarray, quantity: str) -> float:
    if quantity == "indentation":
        return _of_indentation(analysis, pure)
    if quantity not in QUANTITIES:
        return math.nan
    try:
        return float(group_budget(analysis, pure, quantity=quantity, trials=TRIALS).common)
    except ValueError:  # too few pixels with a value: said by the table's NaN
        return math.nan


def _of_indentation(analysis: Any, pure: np.ndarray) -> float:
    """δ = (z - z₀) - d: an error of the sensitivity moves d, and δ by as much the other way."""
    d = analysis.channel("peak_force")[pure] / analysis.constants.force_scale
    share = d / analysis.channel("indentation")[pure]
    share = share[np.isfinite(share)]
    inputs, _ = common_inputs(analysis, "stiffness")
    error = next((one.relative for one in inputs if one.name == "deflection_sensitivity"), math.nan)
    return float(np.median(share)) * error if share.size else math.nan


def pairs_with_common(composition: Composition, pairs: Sequence[Pair]) -> tuple[Pair, ...]:
    """Pairs with what is left in their ratio of what is common to all pixels."""
    analysis = composition.maps.source
    if analysis is None:
        return tuple(pairs)
    known: dict[tuple[int, int, str], float] = {}
    made = []
    for pair in pairs:
        budget = "adhesion" if pair.channel in AS_ADHESION else pair.channel
        key = (pair.a, pair.b, budget)
        if key not in known:
            known[key] = _left(composition, analysis, *key)
        made.append(replace(pair, common=known[key]))
    return tuple(made)


def _left(composition: Composition, analysis: Any, a: int, b: int, quantity: str) -> float:
    if quantity not in QUANTITIES:
        return math.nan
    masks = composition.pixels(b, pure=True), composition.pixels(a, pure=True)
    try:
        return float(ratio_budget(analysis, *masks, quantity=quantity, trials=TRIALS).common)
    except ValueError:
        return math.nan
