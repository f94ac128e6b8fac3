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
from dataclasses import dataclass

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


@dataclass(frozen=True)
class Independence:
    """How far neighbours are alike.

    Attributes
    ----------
    number : n_eff, from 1 to N; N if nothing varies, NaN with fewer than 2 pixels
    length : lag at which ρ has fallen to 1/e [unit of the pitch]; at least half a pixel where it
        falls within the first; NaN if it does not fall within the map
    """

    number: float
    length: float


class Lags:
    """The lags of one mask, for the correlation of any number of maps over it.

    Lags up to `reach` pixels are looked at first, which is enough for most maps and much quicker
    than all of them; all are if ρ has not ended there.

    Parameters
    ----------
    mask : bool (rows, cols)
    pitch : distance between rows and between columns, in any unit
    reach : in pixels; None for all lags
    """

    def __init__(self, mask: Array, pitch: tuple[float, float] = (1.0, 1.0),
                 reach: int | None = 48) -> None:  # fmt: skip
        self.mask, self.pitch = mask, pitch
        most = max(mask.shape)
        self.reach = most if reach is None or reach >= most else reach
        self.pairs = np.rint(self._lagged(mask.astype(float)))
        rows, cols = (min(self.reach, size) for size in mask.shape)
        lengths = np.hypot(pitch[0] * np.arange(rows + 1)[:, None],
                           pitch[1] * np.arange(-cols, cols + 1)[None, :])  # fmt: skip
        within = lengths <= min(pitch) * self.reach + 1e-9
        self._rings = np.where(within, np.rint(lengths / min(pitch)), -1).astype(int)
        self._rings[0, :cols] = -1  # the same lags as those to the right
        self.weight = self._by_ring(self.pairs)

    def _lagged(self, values: Array) -> Array:
        """Σᵢ v(i) v(i+h) for lags down to `reach` and as far to both sides."""
        from scipy.fft import irfft2, next_fast_len, rfft2

        rows, cols = (min(self.reach, size) for size in values.shape)
        shape = [next_fast_len(size + reach, True)
                 for size, reach in zip(values.shape, (rows, cols), strict=True)]  # fmt: skip
        whole = irfft2(np.abs(rfft2(values, shape)) ** 2, shape)
        return np.concatenate([whole[: rows + 1, -cols:], whole[: rows + 1, : cols + 1]], axis=1)

    def _by_ring(self, lags: Array) -> Array:
        """Sums over rings one pixel wide, each lag counted both ways."""
        kept = self._rings >= 0
        twice = 2.0 * np.bincount(self._rings[kept], lags[kept])
        twice[0] -= lags[0, lags.shape[1] // 2]
        return twice

    def measure(self, values: Array) -> Independence:
        """Of a map over the mask, in which it must be finite."""
        count = float(np.count_nonzero(self.mask))
        if count < 2.0:
            return Independence(math.nan, math.nan)
        inside = np.where(self.mask, values - np.mean(values[self.mask]), 0.0)
        variance = float(np.square(inside).sum()) / count
        if not variance > 1e-300:
            return Independence(count, math.nan)
        products = self._by_ring(self._lagged(inside)) / variance
        number, ended, length = self._number(products, count)
        if not ended and self.reach < max(self.mask.shape):
            return Lags(self.mask, self.pitch, None).measure(values)
        return Independence(number, length)

    def _number(self, products: Array, count: float) -> tuple[float, bool, float]:
        found, ended = count, False
        for _ in range(20):
            raised = products + (self.weight - products) / found
            mean = raised / np.maximum(self.weight, 1.0)
            noise = 1.0 / np.sqrt(0.5 * np.maximum(self.weight, FEWEST))
            down = np.flatnonzero((self.weight >= FEWEST) & (mean <= noise))
            ended = down.size > 0
            total = float(raised[: down[0] if ended else None].sum())
            before, found = found, min(max(count**2 / max(total, count), 1.0), count)
            if abs(found - before) < 1e-3 * found:
                break
        return found, ended, self._length(mean)

    def _length(self, mean: Array) -> float:
        """Where the mean over directions has fallen to 1/e, between two rings."""
        down = np.flatnonzero((mean < math.exp(-1.0)) & (self.weight >= FEWEST))
        if not down.size:
            return math.nan
        at, step = int(down[0]), min(self.pitch)
        if at <= 1:
            return 0.5 * step
        before, after = float(mean[at - 1]), float(mean[at])
        return step * (at - 1 + (before - math.exp(-1.0)) / max(before - after, 1e-12))


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
    mask : bool (rows, cols): the pixels of one component; those without a value are left out
    pitch : distance between rows and between columns, in any unit

    Returns
    -------
    1 to N; NaN with fewer than 2 pixels. N if they do not vary at all
    """
    return Lags(mask & np.isfinite(values_map), pitch).measure(values_map).number


def first_zero(rho: Array, pairs: Array, lengths: Array, step: float) -> float:
    """The lag at which ρ, averaged over directions in rings of one pixel, first falls into its
    noise: the standard error 1/√pairs that it has where there is no correlation."""
    ring = np.rint(lengths / step).astype(int).ravel()
    weight = np.bincount(ring, pairs.ravel())
    mean = np.bincount(ring, (pairs * rho).ravel()) / np.maximum(weight, 1.0)
    seen = weight >= FEWEST
    down = np.flatnonzero(seen & (mean <= 1.0 / np.sqrt(0.5 * np.maximum(weight, FEWEST))))
    return (float(down[0]) - 0.5) * step if down.size else math.inf


def effective_pair(
    one: Array, other: Array, mask: Array, pitch: tuple[float, float] = (1.0, 1.0)
) -> float:
    """Independent pixels for the correlation of two fields over a mask; NaN if one is constant.

    N²/ΣΣ ρx(h) ρy(h) (Clifford, Richardson & Hémon, Biometrics 45 (1989) 123; Dutilleul, Biometrics
    49 (1993) 305; from memory). Both ρ are the maps' own, each up to where it falls into its noise,
    what taking off the mean has cost put back.

    Parameters
    ----------
    one, other : (rows, cols), finite over the mask
    mask : bool (rows, cols)
    pitch : distance between rows and between columns, in any unit
    """
    product, near = np.ones(()), np.ones((), bool)
    for field in (one, other):
        rho, pairs, lengths = correlation_of(field, mask, pitch)
        if rho[0, 0] == 0.0:
            return math.nan
        own = effective_number(field, mask, pitch)
        raised = np.where(pairs > 0.5, rho + (1.0 - rho) / own, 0.0)
        near = near & (lengths < first_zero(raised, pairs, lengths, min(pitch)))
        product = product * raised
    count = float(pairs[0, 0])
    return count**2 / max(float(np.sum((pairs * product)[near])), count)
