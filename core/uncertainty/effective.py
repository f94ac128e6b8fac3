"""How many independent pixels a component holds: neighbours are alike, so fewer than it seems.

The variance of a mean over N pixels whose correlation is ρ is σ² ΣΣρᵢⱼ/N², as if there were
n_eff = N²/ΣΣρᵢⱼ independent ones. ΣΣ is taken lag by lag: pairs(h) ρ(h), both from Fourier
transforms of the mask, so any shape of region will do.

References
----------
The variance of the mean of a stationary field: any text on spatial statistics. Cut where
the correlation first falls into its noise, because beyond it noise would add up: common practice,
no source.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

Array = np.ndarray
FEWEST = 20.0
"""A ring of lags with fewer pairs, each counted both ways, does not decide where ρ ends."""


def _lagged(values: Array) -> Array:
    """Σᵢ v(i) v(i+h) for all lags h, zero lag first, (2 rows, 2 cols): no wrap-around."""
    rows, cols = values.shape
    spectrum = np.fft.rfft2(values, (2 * rows, 2 * cols))
    return np.fft.irfft2(np.abs(spectrum) ** 2, (2 * rows, 2 * cols))


def lag_lengths(shape: tuple[int, int], pitch: tuple[float, float] = (1.0, 1.0)) -> Array:
    """Length of each lag of `_lagged`, in units of `pitch` (row, column)."""
    rows, cols = shape
    y = np.fft.fftfreq(2 * rows, 1.0 / (2 * rows)) * pitch[0]
    x = np.fft.fftfreq(2 * cols, 1.0 / (2 * cols)) * pitch[1]
    return np.hypot(y[:, None], x[None, :])


def effective_number_of(
    correlation: Callable[[Array], Array], mask: Array, pitch: tuple[float, float] = (1.0, 1.0)
) -> float:
    """n_eff of the pixels of a mask when the correlation is known.

    Parameters
    ----------
    correlation : ρ of an array of distances, in the unit of `pitch`
    mask : bool (rows, cols)
    pitch : distance between rows and between columns
    """
    pairs = np.rint(_lagged(mask.astype(float)))
    count = float(pairs[0, 0])
    if not count:
        return math.nan
    return count**2 / float(np.sum(pairs * correlation(lag_lengths(mask.shape, pitch))))


def correlation_of(
    values: Array, mask: Array, pitch: tuple[float, float] = (1.0, 1.0)
) -> tuple[Array, Array, Array]:
    """The map's own correlation over the pixels of a mask.

    Parameters
    ----------
    values : (rows, cols); pixels that are not finite are left out
    mask : bool (rows, cols)

    Returns
    -------
    ρ(h), pairs(h) : (2 rows, 2 cols), zero lag first; ρ is 0 where there are no pairs
    lengths : of the lags
    """
    mask = mask & np.isfinite(values)
    inside = np.where(mask, values - np.mean(values[mask]), 0.0) if mask.any() else 0.0 * mask
    pairs, products = np.rint(_lagged(mask.astype(float))), _lagged(inside)
    variance = products[0, 0] / max(pairs[0, 0], 1.0)
    if not variance > 0.0:
        return np.zeros_like(products), pairs, lag_lengths(mask.shape, pitch)
    rho = np.divide(products, pairs * variance, out=np.zeros_like(products), where=pairs > 0.5)
    return rho, pairs, lag_lengths(mask.shape, pitch)


def effective_number(
    values_map: Array, mask: Array, pitch: tuple[float, float] = (1.0, 1.0)
) -> float:
    """n_eff of the pixels of a mask, with ρ estimated from the map itself.

    ρ is used up to the lag at which its mean over all directions first falls into its noise. Taking
    off the mean has lowered every ρ by about 1/n_eff; that is put back, by iteration. A region that
    is only a few correlation lengths wide can't see its own correlation: n_eff is then up to twice
    too large.

    Parameters
    ----------
    values_map : (rows, cols), such as ln E; take the logarithm of a modulus first
    mask : bool (rows, cols): the pixels of one component
    pitch : distance between rows and between columns, in any unit

    Returns
    -------
    1 to N; NaN with fewer than 2 pixels. N if they do not vary at all
    """
    rho, pairs, lengths = correlation_of(values_map, mask, pitch)
    count = float(pairs[0, 0])
    if count < 2.0:
        return math.nan
    if rho[0, 0] == 0.0:
        return count
    found = count
    for _ in range(20):
        raised = np.where(pairs > 0.5, rho + (1.0 - rho) / found, 0.0)
        near = lengths < first_zero(raised, pairs, lengths, min(pitch))
        total = float(np.sum((pairs * raised)[near]))
        before, found = found, min(max(count**2 / max(total, count), 1.0), count)
        if abs(found - before) < 1e-3 * found:
            break
    return found


def first_zero(rho: Array, pairs: Array, lengths: Array, step: float) -> float:
    """The lag at which ρ, averaged over directions in rings of one pixel, first falls into its
    noise: the standard error 1/√pairs that it has where there is no correlation."""
    ring = np.rint(lengths / step).astype(int).ravel()
    weight = np.bincount(ring, pairs.ravel())
    mean = np.bincount(ring, (pairs * rho).ravel()) / np.maximum(weight, 1.0)
    seen = weight >= FEWEST
    down = np.flatnonzero(seen & (mean <= 1.0 / np.sqrt(0.5 * np.maximum(weight, FEWEST))))
    return (float(down[0]) - 0.5) * step if down.size else math.inf
