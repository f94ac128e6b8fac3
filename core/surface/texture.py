"""How far a surface is like itself, and in which direction it runs.

References
----------
ISO 25178-2:2012, from memory: Sal and Str by the decay of the autocorrelation to 0.2, Std by the
angular power spectrum. The standard counts Std from the direction of the largest power; here the
lay itself is given, which is square to it.
"""

from __future__ import annotations

import math

import numpy as np

from .filters import Pitch

Array = np.ndarray
DECAY = 0.2
ANGLES = 180


def decay_values(h: Array, mask: Array, pitch: Pitch) -> tuple[dict[str, float], dict[str, str]]:
    """Sal and Str, and notes where they are missing.

    The autocorrelation is followed outwards from zero lag in 180 directions, up to half the map, to
    where it first falls to 0.2.
    """
    from ..uncertainty.effective import correlation_of

    rho, pairs, _ = correlation_of(h, mask, pitch)
    if rho[0, 0] == 0.0:
        return {}, dict.fromkeys(("Sal", "Str"), "the surface is flat")
    reach = _reaches(rho, pairs, h.shape, pitch)
    found = np.isfinite(reach)
    if not found.any():
        text = "the autocorrelation does not fall to 0.2 within half the map"
        return {}, dict.fromkeys(("Sal", "Str"), text)
    values, notes = {"Sal": float(np.min(reach[found]))}, {}
    half = 0.5 * min(n * p for n, p in zip(h.shape, pitch, strict=True))
    if found.all():
        values["Str"] = values["Sal"] / float(np.max(reach))
    else:
        most = values["Sal"] / half
        notes["Str"] = (f"along the lay the autocorrelation does not fall to 0.2 within half the "
                        f"map: below about {most:.2g}")  # fmt: skip
    if values["Sal"] > 0.2 * half:
        notes["Sal"] = "more than a tenth of the map: level or use an L-filter first, or map more"
    return values, notes


def _reaches(rho: Array, pairs: Array, shape: tuple[int, int], pitch: Pitch) -> Array:
    """(180,) distance of the first fall to 0.2 in each direction; inf if there is none."""
    from scipy.ndimage import map_coordinates

    half = (max(shape[0] // 2, 1), max(shape[1] // 2, 1))
    window = np.ix_(np.arange(-half[0], half[0] + 1), np.arange(-half[1], half[1] + 1))
    near = np.where(pairs[window] > 0.5, rho[window], 0.0)
    step = 0.5 * min(pitch)
    longest = math.hypot(half[0] * pitch[0], half[1] * pitch[1])
    radii = np.arange(0.0, longest + step, step)
    angles = np.pi * np.arange(ANGLES) / ANGLES
    y = half[0] + np.outer(np.sin(angles), radii) / pitch[0]
    x = half[1] + np.outer(np.cos(angles), radii) / pitch[1]
    inside = (y >= 0) & (y <= 2 * half[0]) & (x >= 0) & (x <= 2 * half[1])
    along = map_coordinates(near, [y, x], order=3, mode="nearest")
    along[:, 0] = 1.0
    low = inside & (along <= DECAY)
    first = np.argmax(low, axis=1)
    rows = np.flatnonzero(low[np.arange(ANGLES), first])
    out = np.full(ANGLES, math.inf)
    i = first[rows]
    a, b = along[rows, i - 1], along[rows, i]
    out[rows] = radii[i] - step * (DECAY - b) / np.maximum(a - b, 1e-30)
    return out


def texture_direction(h: Array, mask: Array, pitch: Pitch, aspect: float = math.nan
                      ) -> tuple[float, str]:  # fmt: skip
    """Direction of the lay [degrees, 0 to 180] and a note."""
    power = angular_spectrum(h, mask, pitch)
    if not power.max() > 0.0:
        return math.nan, "the surface is flat"
    best = int(np.argmax(power))
    around = np.arange(-15, 16)
    weight = power[(best + around) % ANGLES]
    weight = np.maximum(weight - 0.5 * weight.max(), 0.0)
    across = best + float(np.sum(around * weight) / np.sum(weight))
    lay = (across + 90.0) % 180.0
    note = ""
    if aspect > 0.5:
        note = f"of little meaning: nearly alike in all directions (Str {aspect:.2g})"
    return lay, note


def angular_spectrum(h: Array, mask: Array, pitch: Pitch) -> Array:
    """(180,) spectral power per direction, 0° along +x towards +y, normalised to a sum of 1.

    A Hann window lies over the map; missing pixels count as the mean.
    """
    from scipy.ndimage import map_coordinates

    rows, cols = h.shape
    window = np.outer(np.hanning(rows + 2)[1:-1], np.hanning(cols + 2)[1:-1])
    inside = np.where(mask, h, 0.0) * window
    inside -= inside.sum() / window.sum() * window
    power = np.fft.fftshift(np.abs(np.fft.fft2(inside)) ** 2)
    fy, fx = 1.0 / (rows * pitch[0]), 1.0 / (cols * pitch[1])
    top = 0.5 / max(pitch)
    radii = np.arange(2.0 * max(fy, fx), top, 0.5 * min(fy, fx))
    angles = np.pi * np.arange(ANGLES) / ANGLES
    y = rows // 2 + np.outer(np.sin(angles), radii) / fy
    x = cols // 2 + np.outer(np.cos(angles), radii) / fx
    total = (map_coordinates(power, [y, x], order=1, mode="constant") * radii).sum(axis=1)
    return total / total.sum() if total.sum() > 0.0 else total
