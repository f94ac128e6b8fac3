"""Characteristic lengths of a component's pattern or of a channel: correlation, spacing, chords.

The correlation is that of `uncertainty.effective`, averaged over directions; along x and along y it
tells a direction. Chords are the runs of a component along rows and columns, those cut by the
border left out.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ..uncertainty.effective import correlation_of

Array = np.ndarray
FEW = 20.0


@dataclass(frozen=True, eq=False)
class Lengths:
    """Lengths in the unit of the pitch; NaN where the map is too small to tell.

    Attributes
    ----------
    lag, correlation : (M,) averaged over directions; along_x, along_y : ρ at lags of whole pixels
    decay : lag where ρ has fallen to 1/e; decay_x, decay_y : along the axes
    integral : ∫ρ dh up to where ρ first reaches zero
    least : lag of the first minimum: half a period of a regular pattern
    spacing : lag of the first maximum after the first minimum: the period of a regular pattern
    strength : ρ there; below about 0.1 there is hardly an order
    spacing_x, spacing_y : the same along the axes, for patterns with a direction
    """

    lag: Array
    correlation: Array
    along_x: Array
    along_y: Array
    decay: float
    decay_x: float
    decay_y: float
    integral: float
    spacing: float
    strength: float
    spacing_x: float
    spacing_y: float
    least: float = math.nan

    @property
    def anisotropy(self) -> float:
        """Decay along x over that along y; 1 if no direction stands out."""
        return self.decay_x / self.decay_y if self.decay_y > 0.0 else math.nan


def lengths_of(values: Array, mask: Array, pitch: tuple[float, float] = (1.0, 1.0)) -> Lengths:
    """Lengths of a map over the pixels of a mask.

    Parameters
    ----------
    values : (rows, cols); of a pattern 1 inside the component and 0 outside
    mask : bool (rows, cols)
    pitch : distance between rows and between columns
    """
    rho, pairs, lengths = correlation_of(values, mask, pitch)
    rows, cols = values.shape
    step = min(pitch)
    ring = np.rint(lengths / step).astype(int).ravel()
    weight = np.bincount(ring, pairs.ravel())
    mean = np.bincount(ring, (pairs * rho).ravel()) / np.maximum(weight, 1.0)
    lag = np.bincount(ring, (pairs * lengths).ravel()) / np.maximum(weight, 1.0)
    most = int(0.5 * min(rows * pitch[0], cols * pitch[1]) / step)
    seen = (weight >= FEW) & (np.arange(len(weight)) <= max(most, 1))
    lag, mean = lag[seen], mean[seen]
    along_x, along_y = rho[0, : max(cols // 2, 1)], rho[: max(rows // 2, 1), 0]
    x, y = np.arange(len(along_x)) * pitch[1], np.arange(len(along_y)) * pitch[0]
    spacing, strength, least = _spacing(lag, mean)
    return Lengths(lag, mean, along_x, along_y, _falls(lag, mean, math.exp(-1.0)),
                   _falls(x, along_x, math.exp(-1.0)), _falls(y, along_y, math.exp(-1.0)),
                   _integral(lag, mean), spacing, strength, _spacing(x, along_x)[0],
                   _spacing(y, along_y)[0], least)  # fmt: skip


def _falls(lag: Array, rho: Array, level: float) -> float:
    """Where ρ first falls to a level, between two lags."""
    down = np.flatnonzero(rho < level)
    if not down.size or down[0] == 0:
        return math.nan
    k = int(down[0])
    share = (rho[k - 1] - level) / (rho[k - 1] - rho[k])
    return float(lag[k - 1] + share * (lag[k] - lag[k - 1]))


def _integral(lag: Array, rho: Array) -> float:
    end = _falls(lag, rho, 0.0)
    if not math.isfinite(end):
        return math.nan
    inside = lag < end
    return float(np.trapezoid(np.append(rho[inside], 0.0), np.append(lag[inside], end)))


def _spacing(lag: Array, rho: Array) -> tuple[float, float, float]:
    """The first maximum after the first minimum of ρ, ρ there, and that minimum, each by a parabola
    through three lags; NaN for what there is not."""
    nan = math.nan
    if rho.size < 5:
        return nan, nan, nan
    smooth = np.convolve(np.pad(rho, 1, mode="edge"), np.ones(3) / 3.0, "valid")
    falls = np.flatnonzero((smooth[1:-1] < smooth[:-2]) & (smooth[1:-1] <= smooth[2:])) + 1
    if not falls.size:
        return nan, nan, nan
    least = _vertex(lag, -smooth, int(falls[0]))
    rises = np.flatnonzero((smooth[1:-1] > smooth[:-2]) & (smooth[1:-1] >= smooth[2:])) + 1
    rises = rises[rises > falls[0]]
    if not rises.size:
        return nan, nan, least
    k = int(rises[0])
    return _vertex(lag, smooth, k), float(rho[k]), least


def _vertex(lag: Array, rho: Array, k: int) -> float:
    """Where a parabola through the lags around k is highest."""
    a, b, c = rho[k - 1 : k + 2]
    bend = a - 2.0 * b + c
    shift = 0.5 * (a - c) / bend if bend < 0.0 else 0.0
    return float(lag[k] + shift * (lag[k + 1] - lag[k]))


@dataclass(frozen=True)
class Chords:
    """Mean lengths of a component's runs along rows (x) and columns (y), and of what lies between.

    NaN where no whole run is inside the map.
    """

    inside_x: float
    inside_y: float
    between_x: float
    between_y: float


def chords_of(
    mine: Array, pitch: tuple[float, float] = (1.0, 1.0), known: Array | None = None
) -> Chords:
    """Chords of a mask.

    Runs that the border cuts are left out, and those that end at a pixel that is not known. Long
    ones are cut more often, so that the mean is a little low where chords are not short beside the
    map.
    """
    state = np.where(np.ones_like(mine) if known is None else known, mine, 2).astype(np.int8)
    (inside_x, between_x), (inside_y, between_y) = _mean_runs(state), _mean_runs(state.T)
    return Chords(inside_x * pitch[1], inside_y * pitch[0], between_x * pitch[1],
                  between_y * pitch[0])  # fmt: skip


def _mean_runs(state: Array) -> tuple[float, float]:
    """Mean length along rows of whole runs of 1 and of 0; 2 is not known."""
    lines = np.pad(state, ((0, 0), (1, 1)), constant_values=2).ravel()
    starts = np.flatnonzero(np.diff(lines, prepend=-1))
    length, kind = np.diff(starts, append=lines.size), lines[starts]
    whole = np.zeros(kind.size, bool)
    whole[1:-1] = (kind[:-2] != 2) & (kind[2:] != 2)
    found = [length[whole & (kind == one)] for one in (1, 0)]
    return tuple(float(one.mean()) if one.size else math.nan for one in found)  # type: ignore


def boundary_length(
    labels: Array, a: int, b: int, pitch: tuple[float, float] = (1.0, 1.0)
) -> float:
    """Length of the boundary between two components [unit of the pitch].

    By Cauchy's formula from crossings along rows and columns: π/4 of the length of the pixel edges,
    right on average over all directions of a boundary, and up to 27 % off for one direction alone.
    """

    def crossings(one: Array, other: Array) -> int:
        return int(np.count_nonzero(((one == a) & (other == b)) | ((one == b) & (other == a))))

    across = crossings(labels[:, :-1], labels[:, 1:]) * pitch[0]
    down = crossings(labels[:-1], labels[1:]) * pitch[1]
    return math.pi / 4.0 * (across + down)


def boundary_density(labels: Array, pitch: tuple[float, float] = (1.0, 1.0)) -> float:
    """Length of all boundaries between components per labelled area [1/unit of the pitch]; as
    `boundary_length`. NaN without labelled pixels."""
    area = float(np.count_nonzero(labels >= 0)) * pitch[0] * pitch[1]

    def crossings(one: Array, other: Array) -> int:
        return int(np.count_nonzero((one != other) & (one >= 0) & (other >= 0)))

    across = crossings(labels[:, :-1], labels[:, 1:]) * pitch[0]
    down = crossings(labels[:-1], labels[1:]) * pitch[1]
    return math.pi / 4.0 * (across + down) / area if area else math.nan
