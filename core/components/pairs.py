"""Two components against each other: difference, ratio, and whether they can be told apart.

Both are measured with the same lever, tip and assumptions, so what is common to all pixels cancels
in a ratio as far as both answer to it alike; what is left is worked out by `ratio_budget`. A
channel that made the components is not tested: they differ in it by the way they were made. The
test is Welch's with the effective numbers of pixels in place of N, on logarithms where the channel
is positive, on the medians with their robust errors; with several pairs its p-values are Holm's.

References
----------
B. L. Welch, Biometrika 34 (1947) 28; S. Holm, Scand. J. Stat. 6 (1979) 65; probability of
superiority: H. B. Mann, D. R. Whitney, Ann. Math. Stat. 18 (1947) 50 (all from memory).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np

from ..units import best_unit, text_of
from .composition import Composition
from .table import Summary, Table, ratio_factor

LEVEL = 0.05
KIN = ({"modulus", "reduced_modulus"}, {"adhesion", "release_force"}, {"height", "contact_height"})
"""Channels that are one measurement in two forms."""


@dataclass(frozen=True)
class Pair:
    """One channel of two components; b against a.

    Attributes
    ----------
    a, b, channel, unit : which
    difference, difference_error : of the medians, b - a; the error is of local terms only
    low, high : 95 % interval of the difference
    ratio, ratio_error : b/a and its standard error from local terms; NaN for a channel that is not
        positive
    ratio_low, ratio_high : 95 % interval of the ratio, local terms only
    common : relative standard uncertainty of the ratio that is left of what is common to all
        pixels; NaN until it is asked for
    p, adjusted : of the hypothesis that both are the same; adjusted for all pairs and channels
    superiority : probability that a pixel of b shows more than one of a; 0.5 if they are alike
    degrees : of freedom of Student's t
    made_by : whether the components were made by this channel; p is then NaN
    difference_common : what all pixels share leaves open of the difference; NaN until it is asked
    """

    a: int
    b: int
    channel: str
    unit: str
    difference: float
    difference_error: float
    low: float
    high: float
    ratio: float
    ratio_error: float
    ratio_low: float
    ratio_high: float
    p: float
    superiority: float
    degrees: float
    adjusted: float = math.nan
    common: float = math.nan
    made_by: bool = False
    difference_common: float = math.nan

    @property
    def told_apart(self) -> bool:
        """Whether the two differ at the 5 % level, all comparisons counted."""
        p = self.adjusted if math.isfinite(self.adjusted) else self.p
        return p < LEVEL


def pairs_of(
    composition: Composition, table: Table, channels: Sequence[str] | None = None
) -> tuple[Pair, ...]:
    """Every pair of components in every channel of the table.

    Pairs with a component that has fewer than two pixels come out with NaN.
    """
    made = []
    made_by = made_by_rule(composition)
    for name in channels or table.channels:
        for one, other in combinations(table.rows, 2):
            chance = _superiority(composition, one.number, other.number, name)
            pair = pair_of(
                one.number, other.number, one.summaries[name], other.summaries[name], chance
            )
            by = name in made_by
            made.append(replace(pair, made_by=by, p=math.nan if by else pair.p))
    return _adjusted(made)


def made_by_rule(composition: Composition) -> set[str]:
    """Channels that made the components, and those that are the same but for a factor."""
    axes = composition.rule.axes
    used = {axis.channel for axis in axes[: {"thresholds": 1, "gates": 2}.get(
        composition.rule.method, len(axes))]}  # fmt: skip
    for kin in KIN:
        if used & kin:
            used |= kin
    return used


def pair_of(a: int, b: int, one: Summary, other: Summary, superiority: float = math.nan) -> Pair:
    """Two summaries of the same channel."""
    from scipy.special import stdtr

    positive = math.isfinite(one.mu) and math.isfinite(other.mu)
    errors = [s.median_error / s.median if positive else s.median_error for s in (one, other)]
    step = math.hypot(*errors)
    degrees = _welch(errors, (one.independent, other.independent))
    gap = other.mu - one.mu if positive else other.median - one.median
    p = 2.0 * float(stdtr(degrees, -abs(gap) / step)) if step > 0.0 else math.nan
    reach = _t(degrees)
    plain = math.hypot(one.median_error, other.median_error)
    difference = other.median - one.median
    ratio = (math.nan,) * 4
    if positive:
        ratio = (
            math.exp(gap),
            math.exp(gap) * step,
            math.exp(gap - reach * step),
            math.exp(gap + reach * step),
        )
    return Pair(a, b, one.channel, one.unit, difference, plain, difference - reach * plain,
                difference + reach * plain, *ratio, p, superiority, degrees)  # fmt: skip


def _welch(errors: Sequence[float], numbers: Sequence[float]) -> float:
    """Degrees of freedom of Welch and Satterthwaite, with n_eff; NaN if not known."""
    squares = [error * error for error in errors]
    below = sum(s * s / max(n - 1.0, 1.0) for s, n in zip(squares, numbers, strict=True))
    return sum(squares) ** 2 / below if below > 0.0 else math.nan


def _t(degrees: float) -> float:
    from scipy.special import stdtrit

    return float(stdtrit(degrees, 0.975)) if math.isfinite(degrees) else math.nan


def _superiority(composition: Composition, a: int, b: int, name: str) -> float:
    """P(a pixel of b shows more than one of a), ties counted half."""
    values = composition.maps.values[name]
    sides = [values[composition.pixels(k, pure=True)] * ratio_factor(composition, name, k)
             for k in (a, b)]  # fmt: skip
    one, other = (np.sort(side[np.isfinite(side)]) for side in sides)
    if not one.size or not other.size:
        return math.nan
    below = np.searchsorted(one, other, "left") + np.searchsorted(one, other, "right")
    return float(below.mean()) / (2.0 * one.size)


def _adjusted(pairs: list[Pair]) -> tuple[Pair, ...]:
    """Holm's p-values over all pairs that have one."""
    known = sorted((i for i, pair in enumerate(pairs) if math.isfinite(pair.p)),
                   key=lambda i: pairs[i].p)  # fmt: skip
    worst = 0.0
    for rank, i in enumerate(known):
        worst = max(worst, min((len(known) - rank) * pairs[i].p, 1.0))
        pairs[i] = replace(pairs[i], adjusted=worst)
    return tuple(pairs)


def words_of(pair: Pair, names: tuple[str, str], label: str) -> str:
    """The pair in a sentence, such as a reader wants it."""
    a, b = names
    if not math.isfinite(pair.difference):
        return f"{label}: {a} and {b} can't be compared; one has too few pixels."
    more = "more" if pair.difference > 0.0 else "less"
    times = f", {pair.ratio:.3g} times" if math.isfinite(pair.ratio) else ""
    gap = text_of(abs(pair.difference), pair.unit, pair.difference_error)
    size = f"{b} shows {gap} {more} than {a}{_common_words(pair)}{times}"
    if pair.made_by:
        return f"{label}: {size}; the components were made by it, so there is no test."
    if not math.isfinite(pair.p):
        return f"{label}: {a} and {b} can't be tested; no pixels differ."
    if not pair.told_apart:
        gap = text_of(pair.difference, pair.unit, pair.difference_error).replace("-", "−")
        return (f"{label}: {a} and {b} can't be told apart (difference {gap}, p = "
                f"{pair.adjusted:.2g}).")  # fmt: skip
    p = "p < 0.001" if pair.adjusted < 0.001 else f"p = {pair.adjusted:.2g}"
    return f"{label}: {size} ({p})."


def _common_words(pair: Pair) -> str:
    """What all pixels share of the difference, with two figures in the difference's unit."""
    if not math.isfinite(pair.difference_common):
        return ""
    unit, factor = best_unit(pair.difference, pair.unit)
    size = pair.difference_common * factor
    places = max(0, 1 - math.floor(math.log10(size))) if size > 0.0 else 0
    return f" (and ± {size:.{places}f} {unit}".rstrip() + " common to all pixels)"
