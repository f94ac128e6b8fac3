"""Numbers behind the map's colours and lengths. Pure functions, no Qt."""

from __future__ import annotations

import math

import numpy as np

Array = np.ndarray
NO_VALUE = 255
"""The colour index of a pixel without a value; 0 to 254 go from low to high."""


def robust_limits(values: Array, kind: str = "magnitude") -> tuple[float, float]:
    """Limits of the colours: the 2nd and 98th percentile of what is finite.

    A signed quantity gets limits centred on zero. Equal values get limits around them, and no
    value at all 0 to 1. Never equal, always finite.
    """
    finite = values[np.isfinite(values)]
    if finite.size == 0:
        return 0.0, 1.0
    low, high = (float(v) for v in np.percentile(finite, (2.0, 98.0)))
    if kind == "signed":
        high = max(abs(low), abs(high))
        low = -high
    if high - low <= 1e-9 * max(abs(low), abs(high)):
        half = 0.05 * abs(high) if high else 1.0
        low, high = low - half, high + half
    return low, high


def colour_index(values: Array, low: float, high: float) -> Array:
    """Values as uint8 indices into a colour table; `NO_VALUE` where not finite."""
    with np.errstate(invalid="ignore"):
        scaled = (values - low) * (254.0 / (high - low)) + 0.5
        index = np.clip(scaled, 0.0, 254.0, out=scaled)
        missing = ~np.isfinite(values)
        index[missing] = NO_VALUE
        return index.astype(np.uint8)


def nice_length(width: float, share: float = 0.25) -> float:
    """The length 1, 2 or 5 times a power of ten that is nearest to a share of a width.

    With the steps of this series it is 16 to 40 % of the width, 25 % at best.
    """
    if not (math.isfinite(width) and width > 0.0):
        return 0.0
    target = share * width
    decade = 10.0 ** math.floor(math.log10(target))
    steps = [m * decade for m in (1.0, 2.0, 5.0, 10.0)]
    return min(steps, key=lambda s: abs(math.log(s / target)))


def nice_ticks(low: float, high: float, at_most: int = 6) -> list[float]:
    """Round numbers between two limits, 1-2-5 apart, not more than `at_most`."""
    span = high - low
    if not (math.isfinite(span) and span > 0.0):
        return []
    step = 10.0 ** math.floor(math.log10(span / at_most))
    for factor in (1.0, 2.0, 5.0, 10.0):
        if span / (step * factor) <= at_most:
            step *= factor
            break
    first = math.ceil(low / step - 1e-9)
    last = math.floor(high / step + 1e-9)
    return [i * step for i in range(first, last + 1)]


def tick_texts(ticks: list[float]) -> list[str]:
    """Ticks as text, all with as many decimals as their step needs."""
    if len(ticks) < 2:
        return [f"{t:.4g}" for t in ticks]
    step = ticks[1] - ticks[0]
    places = max(0, -math.floor(math.log10(step) + 1e-9))
    return [f"{t:.{min(places, 9)}f}" for t in ticks]


def shown_limit(value: float, span: float) -> str:
    """A limit as text, with decimals that suit the span of the limits."""
    if not math.isfinite(value):
        return "–"
    places = max(0, 2 - math.floor(math.log10(span))) if span > 0 else 3
    return f"{value:.{min(places, 9)}f}"


def edges(centres: Array) -> tuple[float, float]:
    """First edge and pitch of pixels with these centres; a single one is one unit wide."""
    if len(centres) < 2:
        return (float(centres[0]) - 0.5 if len(centres) else -0.5), 1.0
    pitch = (float(centres[-1]) - float(centres[0])) / (len(centres) - 1)
    return float(centres[0]) - 0.5 * pitch, pitch or 1.0
