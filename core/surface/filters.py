"""Gaussian smoothing and differences that know missing pixels.

References
----------
ISO 16610-61 (linear areal Gaussian filter), from memory: weight exp(-π (r/(αλ))²)/(αλ)² with
α = √(ln 2/π) = 0.4697, so that a wave of the cut-off length λ passes with half its height.
Seven-point difference: ISO 25178-2:2012, from memory; it is the central difference of sixth order.
"""

from __future__ import annotations

import math

import numpy as np

Array = np.ndarray
Pitch = tuple[float, float]
ALPHA = math.sqrt(math.log(2.0) / math.pi)
STENCILS = {
    "seven": (45.0 / 60.0, -9.0 / 60.0, 1.0 / 60.0),
    "central": (0.5,),
}
"""Weights of z(+i) - z(-i), i = 1, 2 ..., per distance between neighbours."""


def sigma_of(cutoff: float) -> float:
    """Standard deviation of the Gaussian weight of a cut-off length: αλ/√(2π) = 0.1874 λ."""
    return ALPHA * cutoff / math.sqrt(2.0 * math.pi)


def smooth(values: Array, mask: Array, sigma: float, pitch: Pitch = (1.0, 1.0)) -> Array:
    """Gaussian mean over the pixels of a mask, the weights normalised to those that are there.

    At an edge, of the map or of the mask, the mean is over the part of the Gaussian that lies
    inside: no pixel is invented, but a tilt bends there.

    Parameters
    ----------
    values : (rows, cols); NaN is left out
    sigma : standard deviation in the unit of `pitch`; 0 changes nothing

    Returns
    -------
    (rows, cols), NaN outside the mask
    """
    from scipy.ndimage import gaussian_filter

    mask = mask & np.isfinite(values)
    if not sigma > 0.0:
        return np.where(mask, values, np.nan)
    size = (sigma / pitch[0], sigma / pitch[1])
    middle = float(np.mean(values[mask])) if mask.any() else 0.0
    inside = np.where(mask, values - middle, 0.0)
    top = gaussian_filter(inside, size, mode="constant", truncate=5.0)
    below = gaussian_filter(mask.astype(float), size, mode="constant", truncate=5.0)
    out = np.full(values.shape, np.nan)
    out[mask] = top[mask] / below[mask] + middle
    return out


def difference(values: Array, axis: int, step: float, stencil: str = "seven") -> Array:
    """First derivative along an axis; NaN where the stencil meets a missing pixel or the edge."""
    weights = STENCILS[stencil]
    v = np.moveaxis(values, axis, 0)
    out = np.full(v.shape, np.nan)
    n, reach = v.shape[0], len(weights)
    if n > 2 * reach:
        total = np.zeros((n - 2 * reach, *v.shape[1:]))
        for i, w in enumerate(weights, 1):
            total += w * (v[reach + i : n - reach + i] - v[reach - i : n - reach - i])
        centre = np.isfinite(v[reach : n - reach])
        out[reach : n - reach] = np.where(centre, total / step, np.nan)
    return np.moveaxis(out, 0, axis)


def effective_of(values: Array, mask: Array, pitch: Pitch = (1.0, 1.0)) -> float:
    """The effective number of pixels, on a thinned map where that serves.

    Above 65536 pixels every second (third ...) row and column is taken first. If those are still
    alike (fewer than half count), their number is that of the whole map, or a little below it;
    else the whole map is counted.
    """
    from ..uncertainty.effective import effective_number

    thin = math.ceil(math.sqrt(values.size / 65536.0) - 1e-9)
    if thin > 1:
        cut = np.s_[::thin, ::thin]
        few = mask[cut]
        found = effective_number(values[cut], few, (pitch[0] * thin, pitch[1] * thin))
        if found < 0.5 * np.count_nonzero(few):
            return found
    return effective_number(values, mask, pitch)
