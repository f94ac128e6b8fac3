"""The budget of a component, and of the ratio of two.

Errors of the constants move all pixels together, so averaging does not reduce them; what is local
falls with the number of independent pixels. In a ratio the common errors cancel as far as both
components answer to them alike.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ..analysis import Analysis
from ..steps.tools import MAD_TO_SIGMA, MEDIAN_COST
from .budget import COMMON, LOCAL, Budget, RatioBudget, RatioTerm, Term
from .case import Case, budget_of, draws_of
from .effective import effective_number
from .gum import interval
from .inputs import Input, common_inputs
from .montecarlo import MonteCarlo, summary
from .pixel import check_quantity
from .response import Curves, answers_of

Array = np.ndarray
MOST = 40
"""Pixels of a component, evenly over its ranks, whose coefficients are worked out."""
STATISTICS = ("median", "mean")


@dataclass(frozen=True, eq=False)
class Group:
    """The trusted pixels of a mask.

    Attributes
    ----------
    case : their median or mean, with its local standard uncertainty
    pixels, effective : how many, and how many independent ones
    spread : robust standard deviation of ln Q over them
    """

    case: Case
    pixels: int
    effective: float
    spread: float
    statistic: str

    def local_term(self) -> Term:
        cost = MEDIAN_COST if self.statistic == "median" else 1.0
        slope = self.case.local / self.spread if self.spread > 0.0 else math.nan
        note = (f"Robust spread of the logarithm over {self.pixels} pixels, which count as "
                f"{self.effective:,.4g} independent ones: spread/√n"
                + (f", times {cost:.3f} for a median." if cost > 1.0 else "."))  # fmt: skip
        return Term("spread", "Spread over the pixels", LOCAL, math.nan, self.spread, "", slope,
                    self.case.local, "spread", note)  # fmt: skip


def pitch_of(analysis: Analysis) -> tuple[float, float]:
    """Distance between rows and between columns, in nm or in pixels."""
    def step(axis: Array) -> float:
        found = abs(float(axis[-1] - axis[0])) / (axis.size - 1) if axis.size > 1 else 1.0
        return found if found > 0.0 else 1.0

    return step(analysis.map.y), step(analysis.map.x)


def group_of(analysis: Analysis, mask: Array, statistic: str, quantity: str) -> Group:
    """The group of a mask; raises ValueError if there are fewer than two pixels to use."""
    check_quantity(quantity)
    if statistic not in STATISTICS:
        raise ValueError(f"no statistic {statistic!r}; known: {', '.join(STATISTICS)}")
    values = analysis.channel(quantity)
    mask = np.asarray(mask, dtype=bool)
    if mask.shape != values.shape:
        raise ValueError(f"the mask has the shape {mask.shape}, the map {values.shape}")
    used = mask & analysis.trusted & (values > 0.0)
    pixels = int(np.count_nonzero(used))
    if pixels < 2:
        raise ValueError("fewer than two trusted pixels with a value in this component")
    log = np.log(np.where(used, values, 1.0))
    inside = log[used]
    centre = float(np.median(inside))
    spread = MAD_TO_SIGMA * float(np.median(np.abs(inside - centre)))
    clipped = np.clip(log, centre - 3.0 * spread, centre + 3.0 * spread)
    effective = effective_number(clipped, used, pitch_of(analysis))
    if statistic == "median":
        value, local = math.exp(centre), MEDIAN_COST * spread / math.sqrt(effective)
    else:
        value = float(values[used].mean())
        local = math.sqrt(math.expm1(spread**2) / effective)
    ranked = analysis.map.index_map[used][np.argsort(inside)]
    plain = ranked[~analysis.curve_corrected[ranked]]
    if plain.size:  # what is common is worked out under the map's law, on curves that have it
        ranked = plain
    else:
        analysis = analysis.under_correction(int(ranked[0]))
        ranked = ranked[analysis.done[ranked]]
    count = ranked.size
    chosen = ranked[np.unique(np.linspace(0, count - 1, min(count, MOST)).round().astype(int))]
    inputs, links = common_inputs(analysis, quantity)
    answers = answers_of(Curves.of(analysis, chosen), quantity, inputs)
    case = Case.of(analysis, quantity, value, local, inputs, links, answers)
    return Group(case, pixels, effective, spread, statistic)


def group_budget(
    analysis: Analysis, mask: Array, name: str = "", statistic: str = "median",
    quantity: str = "modulus", trials: int = 100_000, seed: int = 1,
) -> Budget:  # fmt: skip
    """The budget of the median or mean over a component.

    Parameters
    ----------
    mask : bool (rows, cols); pixels with a severe doubt or without a value are left out
    name : of the component
    statistic : "median" or "mean" (arithmetic)
    quantity, trials, seed : as in `pixel_budget`

    Returns
    -------
    Budget : its common terms with the coefficients' medians over up to 40 pixels; one local term,
        the robust spread over the root of the effective number of pixels

    Raises
    ------
    ValueError : fewer than two usable pixels, a mask of another shape, an unknown quantity
    """
    group = group_of(analysis, mask, statistic, quantity)
    return budget_of(group.case, (group.local_term(),), trials, seed, name)


def ratio_budget(
    analysis: Analysis, mask_a: Array, mask_b: Array, names: tuple[str, str] = ("A", "B"),
    statistic: str = "median", quantity: str = "modulus", trials: int = 100_000, seed: int = 1,
) -> RatioBudget:  # fmt: skip
    """The budget of the ratio of two components, and what cancels in it.

    A common input counts with the difference of its coefficients: spring constant and tip size
    cancel (exactly, unless the tip is elastic, the law no power or a layer below), and so does the
    Poisson ratio, since one number with one error serves both. The sensitivity leaves more, the
    more the components differ in d/δ: n (d/δ of one - d/δ of the other) at one point. If they have
    Poisson ratios of their own, each known to its own error, the ratio of E* is what can be
    compared: quantity="reduced_modulus".

    Parameters and errors as in `group_budget`; a pixel in both masks raises ValueError.
    """
    if (np.asarray(mask_a, bool) & np.asarray(mask_b, bool)).any():
        raise ValueError("a pixel belongs to both components: their ratio's budget needs two")
    a = group_of(analysis, mask_a, statistic, quantity)
    b = group_of(analysis, mask_b, statistic, quantity)
    terms = [_common_left(one, a.case, b.case) for one in a.case.inputs]
    for which, group, name in ((0, a, names[0]), (1, b, names[1])):
        term = group.local_term()
        sides = (term.contribution, 0.0) if which == 0 else (0.0, term.contribution)
        terms.append(RatioTerm(f"spread_{'ab'[which]}", f"{term.label} of {name}", LOCAL, *sides,
                               term.contribution, False, term.note))  # fmt: skip
    local = math.hypot(a.case.local, b.case.local)
    common = math.sqrt(math.fsum(t.left**2 for t in terms if t.kind == COMMON))
    total, value = math.hypot(local, common), a.case.value / b.case.value
    return RatioBudget(quantity, value, tuple(terms), local, common, total, interval(value, total),
                       _ratio_trials(a.case, b.case, trials, seed), names)  # fmt: skip


def _common_left(one: Input, a: Case, b: Case) -> RatioTerm:
    """What one common input does to both, and the difference."""
    size = one.error if one.name == "poisson_ratio" else one.relative
    in_a, in_b = (abs(case.slope(one)) * size for case in (a, b))
    left = abs(a.slope(one) - b.slope(one)) * size
    gone = left <= 1e-9 * max(in_a, in_b)
    return RatioTerm(one.name, one.label, COMMON, in_a, in_b, 0.0 if gone else left, gone, one.note)


def _ratio_trials(a: Case, b: Case, trials: int, seed: int) -> MonteCarlo:
    """Both with the same draws of the constants and local errors of their own."""
    rng = np.random.default_rng(seed)
    logs, ratio = draws_of(a.inputs, trials, rng, a.ratio)
    with np.errstate(all="ignore"):
        first = a.of_draws(logs, ratio, rng.standard_normal(trials))
        return summary(first / b.of_draws(logs, ratio, rng.standard_normal(trials)))
