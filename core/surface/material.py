"""The material ratio curve: core, peaks and dales.

References
----------
ISO 13565-2:1996: the 40 % of the curve whose secant is flattest, a straight line by least squares
through it, met with 0 and 100 %; the peaks and dales beyond become triangles of equal area.
ISO 25178-2:2012: volumes at material ratios of 10 and 80 %. Both from memory.
"""

from __future__ import annotations

import numpy as np

Array = np.ndarray
CORE = 0.4
PEAKS, DALES = 0.1, 0.8


def material_curve(heights: Array) -> tuple[Array, Array]:
    """Material ratio (0 to 1) and the height above which that share of the surface lies."""
    down = np.sort(heights)[::-1]
    return (np.arange(down.size) + 0.5) / down.size, down


def material_values(heights: Array) -> dict[str, float]:
    """Sk, Spk, Svk, Smr1, Smr2 and the volumes of heights (N,), N at least 3."""
    ratio, down = material_curve(heights)
    middle, slope = _core_line(ratio, down)
    upper, lower = middle - slope * 0.5, middle + slope * 0.5
    first = float(np.mean(down > upper)) if upper > lower else 0.0
    second = float(np.mean(down >= lower)) if upper > lower else 1.0
    above = float(np.mean(np.maximum(down - upper, 0.0)))
    below = float(np.mean(np.maximum(lower - down, 0.0)))
    at_peaks, at_dales = (float(np.interp(q, ratio, down)) for q in (PEAKS, DALES))
    mean = float(np.mean(down))
    peak_material = float(np.mean(np.maximum(down - at_peaks, 0.0)))
    dale_material = float(np.mean(np.maximum(down - at_dales, 0.0)))
    peak_void, dale_void = at_peaks - mean + peak_material, at_dales - mean + dale_material
    return {
        "Sk": upper - lower,
        "Spk": 2.0 * above / first if first > 0.0 else 0.0,
        "Svk": 2.0 * below / (1.0 - second) if second < 1.0 else 0.0,
        "Smr1": first, "Smr2": second,
        "Vmp": peak_material, "Vmc": dale_material - peak_material,
        "Vvc": peak_void - dale_void, "Vvv": dale_void,
    }  # fmt: skip


def _core_line(ratio: Array, down: Array) -> tuple[float, float]:
    """Height at a ratio of one half and slope (at most 0) of the equivalent straight line.

    Of several equally flat stretches (within a billionth of the range) the middle one is taken:
    no step in between is then preferred by rounding.
    """
    span = max(int(round(CORE * down.size)), 2)
    falls = down[: down.size - span + 1] - down[span - 1 :]
    level = falls.min() + 1e-9 * (down[0] - down[-1])
    flat = np.flatnonzero(falls <= level)
    start = int(flat[flat.size // 2])
    x, y = ratio[start : start + span], down[start : start + span]
    centre = float(x.mean())
    slope = float(np.sum((x - centre) * (y - y.mean())) / np.sum((x - centre) ** 2))
    return float(y.mean()) + slope * (0.5 - centre), min(slope, 0.0)
