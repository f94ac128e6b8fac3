"""Numbers and lists as a paper prints them."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

import numpy as np

from ..sections.declare import plain
from ..units import best_unit, text_of

Array = np.ndarray


def exact(value: float, unit: str = "") -> str:
    """A number as it was typed."""
    sign = "" if unit == "°" else " "
    return f"{plain(value)}{sign}{unit}".rstrip() if unit else plain(value)


def rounded(value: float, unit: str = "", error: float = math.nan, figures: int = 3) -> str:
    """A number rounded by its ±; to three figures without one; an en dash if there is none."""
    if not math.isfinite(value):
        return "–"
    if math.isfinite(error) and error > 0.0:
        return text_of(value, unit, error)
    shown, factor = best_unit(value, unit) if unit else ("", 1.0)
    return f"{digits(value * factor, figures)} {shown}".rstrip()


def digits(value: float, figures: int = 3) -> str:
    """A number to so many figures, never with a power of ten while it can be read without."""
    if value == 0.0 or not math.isfinite(value):
        return f"{value:g}"
    size = math.floor(math.log10(abs(value)))
    if size < -4 or size > 8:
        return f"{value:.{figures - 1}e}"
    places = figures - 1 - size
    shown = round(value, places)
    return f"{shown:,.{max(places, 0)}f}"


def span(low: float, high: float, unit: str = "") -> str:
    """``0.4 to 5.2 nm``: both in one unit."""
    shown, factor = best_unit(max(abs(low), abs(high)), unit) if unit else ("", 1.0)
    return f"{digits(low * factor)} to {digits(high * factor)} {shown}".rstrip()


def middle(values: Array, unit: str = "") -> str:
    """``3.1 nm (quartiles 2.8 to 3.6 nm)``; empty if nothing is finite."""
    here = values[np.isfinite(values)]
    if not here.size:
        return ""
    low, centre, high = np.percentile(here, [25.0, 50.0, 75.0])
    if digits(low) == digits(high):
        return rounded(float(centre), unit)
    return f"{rounded(float(centre), unit)} (quartiles {span(float(low), float(high), unit)})"


def reach(values: Array, unit: str = "") -> str:
    """``3.1 nm (median; 5th to 95th percentile 1.9 to 6.0 nm)``; empty if nothing is finite."""
    here = values[np.isfinite(values)]
    if not here.size:
        return ""
    low, centre, high = (float(v) for v in np.percentile(here, [5.0, 50.0, 95.0]))
    return f"{rounded(centre, unit)} (median; 5th to 95th percentile {span(low, high, unit)})"


def percent(share: float) -> str:
    """A share in per cent with two figures, or as few as it needs."""
    value = 100.0 * share
    if 99.95 <= value < 100.0:
        return "more than 99.9 %"
    if value == 0.0 or value >= 10.0:
        return f"{value:.0f} %" if value in (0.0, 100.0) else f"{value:.1f} %"
    return f"{digits(value, 2)} %"


def about(share: float) -> str:
    """A share that is known to two figures, in per cent."""
    return exact(float(f"{100.0 * share:.2g}"), "%")


def counted(number: int, one: str, many: str = "") -> str:
    """``1 pixel``, ``1,024 pixels``."""
    return f"{number:,} {one if number == 1 else many or one + 's'}"


def is_or_are(number: int) -> str:
    """The verb after a count."""
    return "is" if number == 1 else "are"


def was_or_were(number: int) -> str:
    """The verb after a count, in the past."""
    return "was" if number == 1 else "were"


def listed(words: Iterable[str], last: str = "and") -> str:
    """``a, b and c``."""
    found: Sequence[str] = list(words)
    if len(found) < 2:
        return "".join(found)
    return f"{', '.join(found[:-1])} {last} {found[-1]}"
