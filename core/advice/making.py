"""From a figure and its limits to a check, for a pixel or for a map."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from .contact import Contacts, Figures
from .parts import FITS, STRAINED, UNKNOWN, VERDICTS, Array, Check, in_percent, in_words

TOLERATED = 0.10
"""Share of a map's pixels that may be worse than the median pixel before the verdict says so."""


@dataclass(frozen=True)
class Rule:
    """A condition: its name, its limit and where that comes from."""

    name: str
    label: str
    symbol: str
    unit: str
    limit: str
    source: str


def unknown(rule: Rule, why: str) -> Check:
    return Check(rule.name, rule.label, rule.symbol, math.nan, math.nan, rule.unit, rule.limit,
                 UNKNOWN, why, rule.source)  # fmt: skip


def plain(rule: Rule, verdict: str, sentence: str) -> Check:
    """A check without a figure."""
    return Check(rule.name, rule.label, rule.symbol, math.nan, math.nan, rule.unit, rule.limit,
                 verdict, sentence, rule.source)  # fmt: skip


def lost_words(figures: Figures, *needed: str) -> str:
    """What is missing, as a sentence."""
    lost = list(figures.lost)
    words = {"radius": "tip radius", "half_angle": "half-angle"}
    for name in needed:
        if math.isnan(getattr(figures.contacts, name)) and words[name] not in lost:
            lost.append(words[name])
    if lost:
        return f"The {' and the '.join(lost)} {'is' if len(lost) == 1 else 'are'} not known."
    if figures.contacts.fitted_law == "free_exponent":
        return "The free exponent gives no modulus to judge a law by."
    if not figures.curves.size:
        return "No curve of the map is free of severe doubts."
    return "The fit found no answer here." if figures.one else (
        "No fit of the map found an answer.")  # fmt: skip


def share_worse(codes: Array, verdict: str) -> float:
    """Share of some curves whose code is worse than a verdict."""
    codes = codes[np.isfinite(codes)]
    return float(np.mean(codes > VERDICTS.index(verdict))) if codes.size else 0.0


def judged(
    figures: Figures,
    rule: Rule,
    quantity: Callable[[Contacts], Array],
    grade: Callable[[Array], Array],
    words: Callable[[str, str], str],
    *needed: str,
) -> Check:
    """A check of a figure that follows from the contacts.

    Parameters
    ----------
    grade : values (n,) -> codes (n,), the place in `VERDICTS`; NaN where there is no value
    words : (figure in words, verdict of the median) -> the sentence
    needed : constants without which there is no figure
    """
    figure = figures.of(quantity)
    if not math.isfinite(figure.value):
        return unknown(rule, lost_words(figures, *needed))
    return from_values(figures.one, rule, figure.value, figure.error, figure.values, grade, words)


def from_values(one: bool, rule: Rule, value: float, error: float, values: Array,
                grade: Callable[[Array], Array], words: Callable[[str, str], str]
                ) -> Check:  # fmt: skip
    """A check of values that are there."""
    with np.errstate(invalid="ignore"):
        codes = np.asarray(grade(values), dtype=float)
    here = codes[np.isfinite(codes)]
    verdict = VERDICTS[int(np.median(here))] if here.size else UNKNOWN
    told = error if one else math.nan  # of a map: that of the median, not of its curves
    sentence = words(in_words(value, told, rule.unit), verdict)
    quartiles, outside = (math.nan, math.nan), math.nan
    if not one and verdict != UNKNOWN:
        quartiles, outside = middle_half(values), share_worse(codes, FITS)
        worse = share_worse(codes, verdict)
        if worse > TOLERATED and verdict == FITS:
            verdict = STRAINED
            sentence = (f"{rule.label} {rule.symbol}: the median of the map is within the limit "
                        f"({rule.limit}), but {in_percent(worse)} of its curves are not."
                        )  # fmt: skip
        elif worse > TOLERATED:
            sentence += f" Broken on {in_percent(worse)} of the curves."
    return Check(rule.name, rule.label, rule.symbol, value, error, rule.unit, rule.limit, verdict,
                 sentence, rule.source, quartiles, outside)  # fmt: skip


def middle_half(values: Array) -> tuple[float, float]:
    """The quartiles of what is finite; NaN if nothing is."""
    values = values[np.isfinite(values)]
    if not values.size:
        return math.nan, math.nan
    low, high = np.percentile(values, [25.0, 75.0])
    return float(low), float(high)
