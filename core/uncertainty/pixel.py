"""The budget of one pixel."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ..analysis import Analysis
from ..channels import CHANNELS
from ..units import text_of
from .budget import LOCAL, Budget, Term, combine
from .case import Case, budget_of, gain_of
from .inputs import QUANTITIES, common_inputs
from .local import local_terms
from .response import Curves, answers_of


def pixel_budget(
    analysis: Analysis, row: int, col: int, trials: int = 100_000, seed: int = 1,
    quantity: str = "modulus",
) -> Budget | None:  # fmt: skip
    """What makes up the uncertainty of one number of one pixel.

    Parameters
    ----------
    analysis : of the map
    row, col : the pixel
    trials, seed : of the Monte Carlo; the same seed gives the same answer
    quantity : "modulus", "reduced_modulus", "stiffness" or "adhesion"

    Returns
    -------
    Budget, or None where there is no such number (no curve, a failed fit, a constant missing, an
    adhesion of 0). The Monte Carlo bends with the sensitivity and the thickness as the real
    analysis does, takes other inputs as powers, and the local terms as one normal error of ln c.

    Raises
    ------
    ValueError : an unknown quantity
    ReadError : the file is damaged or gone
    """
    check_quantity(quantity)
    curve = analysis.map.curve_at(row, col)
    if curve < 0:
        return None
    analysis = analysis.under_correction(curve)
    value = float(analysis.per_curve(quantity)[0][curve])
    if not value > 0.0:
        return None
    use = analysis.constants
    gain = gain_of(quantity, value, use.poisson_ratio, use.tip_compliance)
    terms = tuple(_beside_channel(analysis, curve, term)
                  for term in local_terms(analysis, curve, quantity, gain))  # fmt: skip
    inputs, links = common_inputs(analysis, quantity)
    answers = answers_of(Curves.of(analysis, np.array([curve])), quantity, inputs)
    case = Case.of(analysis, quantity, value, combine(terms, LOCAL), inputs, links, answers)
    return budget_of(case, terms, trials, seed)


BESIDE = {
    "contact_point": ("contact_point", "A part of the whole ± of the contact point, which is "
                      "{} with baseline and slow noise, as elsewhere."),
    "pull_off": ("adhesion", "The law takes the pull where the tip lets go; the channel Adhesion "
                 "shows the lowest sample, {}, which a constant pull passes by half a step."),
}  # fmt: skip
"""Term -> the channel that shows a number of the same name, and how the two belong together."""


def _beside_channel(analysis: Analysis, curve: int, term: Term) -> Term:
    """A local term, which goes by its unit, with the channel's number in its note where both could
    be taken for one."""
    if np.isfinite(term.sensitivity):
        term = replace(term, per=term.unit or "1")
    channel, words = BESIDE.get(term.name, ("", ""))
    if not channel:
        return term
    value, error = analysis.per_curve(channel)
    if error is None or not np.isfinite(value[curve]):
        return term
    shown = text_of(float(value[curve]), CHANNELS[channel].unit, float(error[curve]))
    return replace(term, note=f"{term.note} {words.format(shown)}")


def check_quantity(quantity: str) -> None:
    """Raise ValueError unless a budget can be made of it."""
    if quantity not in QUANTITIES:
        raise ValueError(f"no budget is known for {quantity!r}; known: {', '.join(QUANTITIES)}")
