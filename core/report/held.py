"""Which 95 % interval of a median holds: the first-order one, or that of the Monte Carlo.

JCGM 101:2008, clause 8 (from memory): the first-order interval may be used where both of its ends
agree with those of the Monte Carlo within half a unit of the last significant digit of the standard
uncertainty. Here both are taken of the logarithm, as the budgets are, and one digit counts.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from ..errors import InputError
from ..uncertainty import group_budget
from ..uncertainty.inputs import QUANTITIES
from ..uncertainty.montecarlo import tolerance
from .words import Array, Draft, factor, unit_for

TRIALS = 50_000
DIGITS = 1
"""Significant digits of the standard uncertainty to which both intervals have to agree."""


@dataclass(frozen=True)
class Held:
    """The interval of a median by Monte Carlo.

    Attributes
    ----------
    low, high : 95 %, in core's unit; `high` is inf where the trials give no upper bound
    agrees : whether the first-order interval may be used as well
    """

    low: float
    high: float
    agrees: bool


def budget_of(draft: Draft, number: int | None, quantity: str) -> Any:
    """The budget of a component's median, or that of all used pixels for None; made once.

    Raises ValueError or InputError if there is none.
    """
    key = (number, quantity)
    if key not in draft.budgets:
        title, mask = _group(draft, number)
        draft.progress.check()
        draft.budgets[key] = group_budget(draft.findings.analysis, mask, title, "median",
                                          quantity, TRIALS)  # fmt: skip
    return draft.budgets[key]


def _group(draft: Draft, number: int | None) -> tuple[str, Array]:
    if number is None:
        return "all pixels that are used", draft.trusted
    return draft.groups()[number]


def held(draft: Draft, number: int | None, one: Any) -> Held | None:
    """The Monte Carlo interval of one channel's summary; None for a channel without a budget."""
    quantity, more = _quantity(draft, number, one.channel)
    if quantity not in QUANTITIES or not one.median > 0.0:
        return None
    try:
        budget = budget_of(draft, number, quantity)
    except (ValueError, InputError):
        return None
    carlo = budget.monte_carlo
    if not (carlo.low > 0.0 and budget.value > 0.0):
        return None
    down, up = (math.hypot(math.log(end / budget.value), 1.96 * more)
                for end in (carlo.low, carlo.high))  # fmt: skip
    return Held(one.median * math.exp(-down), one.median * math.exp(up), agrees(budget))


def _quantity(draft: Draft, number: int | None, channel: str) -> tuple[str, float]:
    """Whose budget a channel takes, and what a Poisson ratio of the component's own adds to it."""
    from ..components.common import budget_name

    composition = draft.findings.composition
    if channel != "modulus" or number is None or composition is None:
        return channel, 0.0
    return budget_name(composition, channel, number)


def agrees(budget: Any) -> bool:
    """Whether first order and Monte Carlo give the same interval, as clause 8 wants it."""
    slack = tolerance(budget.total, DIGITS)
    carlo = budget.monte_carlo
    return all(far > 0.0 and math.isfinite(far) and abs(math.log(far / near)) <= slack
               for near, far in zip(budget.interval, (carlo.low, carlo.high), strict=True)
               )  # fmt: skip


def interval_words(low: float, high: float, unit: str) -> str:
    """“0.96 to 3.1 GPa”, or to no upper bound; two figures, since trials know no more of an end."""
    shown = unit_for([low, high], unit)
    first, last = (f"{float(f'{value * factor(unit, shown):.2g}'):g}" for value in (low, high))
    if math.isinf(high):
        return f"{first} {shown} to no upper bound"
    return f"{first} to {last} {shown}"
