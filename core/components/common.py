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
        budget, ratio = budget_name(composition, name, row.number)
        if budget not in known:
            known[budget] = _common(analysis, pure, budget)
        found[name] = replace(summary, common=math.hypot(known[budget], ratio))
    return replace(row, summaries=found)


def budget_name(composition: Composition, name: str, number: int) -> tuple[str, float]:
    """Whose budget a channel takes, and what a Poisson ratio of the component's own adds to it: a
    ratio that is known for itself has an error of its own, 2ν u(ν)/(1 - ν²)."""
    own = composition.rule.poisson_ratio(number)
    if name == "modulus" and own is not None:
        error = composition.maps.source.settings.uncertainty.poisson_ratio
        return "reduced_modulus", 2.0 * own * error / (1.0 - own**2)
    return ("adhesion" if name in AS_ADHESION else name), 0.0


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


def pairs_with_common(
    composition: Composition, pairs: Sequence[Pair], table: Table | None = None
) -> tuple[Pair, ...]:
    """Pairs with what is left in their ratio of what is common to all pixels, and, with a table
    that has the common uncertainties, what that leaves open of their difference: it moves both
    medians together, so it is the difference of what it does to each."""
    analysis = composition.maps.source
    if analysis is None:
        return tuple(pairs)
    rows = {row.number: row for row in table.rows} if table is not None else {}
    known: dict[tuple[int, int, str], float] = {}
    made = []
    for pair in pairs:
        budgets = [budget_name(composition, pair.channel, k) for k in (pair.a, pair.b)]
        budget = budgets[0][0] if budgets[0][1] or not budgets[1][1] else budgets[1][0]
        key = (pair.a, pair.b, budget)
        if key not in known:
            known[key] = _left(composition, analysis, *key)
        left = math.hypot(known[key], *(own for _, own in budgets))
        gap = math.nan
        if pair.a in rows and pair.b in rows:
            one, other = (rows[k].summaries[pair.channel] for k in (pair.a, pair.b))
            gap = abs(other.common * other.median - one.common * one.median)
        made.append(replace(pair, common=left, difference_common=gap))
    return tuple(made)


def _left(composition: Composition, analysis: Any, a: int, b: int, quantity: str) -> float:
    if quantity not in QUANTITIES:
        return math.nan
    masks = composition.pixels(b, pure=True), composition.pixels(a, pure=True)
    try:
        return float(ratio_budget(analysis, *masks, quantity=quantity, trials=TRIALS).common)
    except ValueError:
        return math.nan
