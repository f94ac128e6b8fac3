"""What an advice is made of: checks with a figure and a verdict, and the laws with theirs."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..settings import ADHESIONS, SHAPES
from ..units import text_of

Array = np.ndarray
FITS, STRAINED, BROKEN, UNKNOWN = "fits", "strained", "broken", "unknown"
VERDICTS = (FITS, STRAINED, BROKEN)
"""A verdict's place here is its code in arrays."""
PRACTICE = "common practice, no source"


@dataclass(frozen=True)
class Check:
    """One condition that a contact law or a measurement sets.

    Attributes
    ----------
    name, label, symbol : identifier, words, symbol
    value, error, unit : the figure and its standard uncertainty; NaN if not known, or if the check
        has no figure
    limit : in words
    verdict : "fits", "strained" (usable, with the bias the sentence names), "broken" or "unknown"
    sentence : what the figure means here, or what is missing
    source : of the limit
    quartiles : of a map: between which the middle half of its curves lies; NaN for a pixel
    outside : of a map: share of its curves that do not fit; NaN for a pixel
    """

    name: str
    label: str
    symbol: str
    value: float
    error: float
    unit: str
    limit: str
    verdict: str
    sentence: str
    source: str
    quartiles: tuple[float, float] = (math.nan, math.nan)
    outside: float = math.nan


@dataclass(frozen=True)
class LawAdvice:
    """One law with one adhesion: may it be used, and why.

    Attributes
    ----------
    verdict : the worst of its checks
    reasons : sentences of the checks that give the verdict, and of no others
    checks : all that were made of it; empty if it can't be judged or can't be at all
    """

    law: str
    adhesion: str
    label: str
    verdict: str
    reasons: tuple[str, ...]
    checks: tuple[Check, ...] = ()


@dataclass(frozen=True)
class Advice:
    """All checks of the law in use, all laws, and a recommendation. Nothing is changed by it."""

    checks: tuple[Check, ...]
    laws: tuple[LawAdvice, ...]
    present: LawAdvice
    sentence: str

    def check(self, name: str) -> Check:
        """The check of that name; KeyError if it was not made for this law."""
        for check in self.checks:
            if check.name == name:
                return check
        raise KeyError(f"no check {name!r}; made: {', '.join(c.name for c in self.checks)}")


def label_of(law: str, adhesion: str) -> str:
    """A law with its adhesion in words."""
    words = "no adhesion" if adhesion == "none" else ADHESIONS[adhesion]
    return f"{SHAPES[law]}, {words}"


def worst(verdicts: Sequence[str]) -> str:
    """The worst of some verdicts. What is broken is so whatever is unknown beside it."""
    for verdict in (BROKEN, UNKNOWN, STRAINED):
        if verdict in verdicts:
            return verdict
    return FITS


def codes_below(values: Array, fits: float, strained: float) -> Array:
    """0 up to `fits`, 1 up to `strained`, 2 above; NaN where there is no value."""
    code = np.where(values <= fits, 0.0, np.where(values <= strained, 1.0, 2.0))
    return np.where(np.isnan(values), np.nan, code)


def in_percent(share: float, sign: str = "") -> str:
    """A share in per cent, with two figures below 10 %."""
    places = 1 if abs(share) < 0.0995 or 0.995 <= abs(share) < 1.0 else 0
    return f"{100.0 * share:{sign}.{places}f} %"


def in_words(value: float, error: float = math.nan, unit: str = "") -> str:
    """A figure with its uncertainty, three figures without one."""
    if unit in ("GPa", "nN", "nm"):
        return text_of(value, unit, error)
    tail = f" {unit}" if unit else ""
    if math.isfinite(error) and error > 0.0:
        return text_of(value, "", error) + tail
    return f"{value:.3g}{tail}"
