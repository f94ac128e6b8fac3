"""Propagation of distributions by the Monte Carlo method (JCGM 101), vectorised and seeded.

What a draw looks like is an assumption and is said with each input:

- log-normal for constants that are positive and known to so many per cent (spring constant,
  sensitivity, radius, angle, thickness). Their errors are factors: a calibration is as likely twice
  too high as twice too low, and never negative. A normal draw of a radius known to 30 % would be
  negative in 4 of 10,000 trials, and its powers would have no mean. The median stays at the stated
  value, ln x has the stated relative uncertainty, so ln E has the input that JCGM 100 gives it and
  what differs between both is the model's curvature alone.
- normal for what may have either sign (noise, contact point, offset) and for ln c, the fit's own
  parameter; cut off at limits that can't be passed (Poisson ratio 0 to 0.5).

A fixed number of trials serves the window: 100,000 give the ends of a 95 % interval to about 1 % of
its width in some hundredths of a second, and the same answer each time. `monte_carlo_until`
is the adaptive scheme, which goes on until the figures are good to a number of digits.

References
----------
JCGM 101:2008, clauses 7.2 (10⁶ trials usually serve for 95 %), 7.7 (intervals), 7.9 (adaptive);
clause titles seen, wording from memory.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from .gum import Pair, correlation_matrix

Array = np.ndarray
Model = Callable[..., Array]
BLOCK = 10_000


@dataclass(frozen=True)
class Draw:
    """How one input is drawn.

    Attributes
    ----------
    value, error : median and standard uncertainty, in the input's unit (of a log-normal: `error`
        over `value` is the standard deviation of ln x)
    kind : "normal", "lognormal" or "uniform" (of that standard deviation)
    low, high : limits that a draw never passes
    """

    value: float
    error: float
    kind: str = "normal"
    low: float = -math.inf
    high: float = math.inf


@dataclass(frozen=True)
class MonteCarlo:
    """What the trials gave, in the unit of the value.

    Attributes
    ----------
    mean, deviation : NaN if any trial gave no number
    median, low, high : the middle and the 95 % interval that leaves 2.5 % on either side; trials
        without a number count as above all others, so an end of inf says: no upper bound
    trials : how many; failed : the share that gave no number
    """

    mean: float
    median: float
    deviation: float
    low: float
    high: float
    trials: int
    failed: float = 0.0


def values_of(draw: Draw, normal: Array) -> Array:
    """Standard normal numbers turned into draws, cut off at the limits."""
    from scipy.special import ndtr, ndtri

    if not draw.error > 0.0:
        return np.full_like(normal, draw.value if draw.error == 0.0 else math.nan)
    if draw.kind == "lognormal":
        middle, width = math.log(draw.value), draw.error / draw.value
        low = math.log(draw.low) if draw.low > 0.0 else -math.inf
        high = math.log(draw.high) if draw.high > 0.0 else -math.inf
    else:
        middle, width, low, high = draw.value, draw.error, draw.low, draw.high
    if draw.kind == "uniform":
        return np.clip(middle + width * math.sqrt(12.0) * (ndtr(normal) - 0.5), low, high)
    if math.isfinite(low) or math.isfinite(high):
        start, end = ndtr((low - middle) / width), ndtr((high - middle) / width)
        normal = ndtri(start + (end - start) * ndtr(normal))
    out = middle + width * normal
    return np.exp(out) if draw.kind == "lognormal" else out


def draw_all(
    draws: Sequence[Draw], trials: int, rng: np.random.Generator,
    correlations: Mapping[Pair, float] | None = None,
) -> list[Array]:  # fmt: skip
    """`trials` values of each input; correlations are those of the underlying normal numbers
    (of ln x for a log-normal).

    Raises ValueError on correlations that are impossible together.
    """
    normal = rng.standard_normal((len(draws), trials))
    if correlations:
        values, vectors = np.linalg.eigh(correlation_matrix(len(draws), correlations))
        normal = (vectors * np.sqrt(np.maximum(values, 0.0))) @ normal
    return [values_of(draw, row) for draw, row in zip(draws, normal, strict=True)]


def summary(found: Array) -> MonteCarlo:
    """Mean, median, spread and 95 % interval of the trials (n,)."""
    good = np.isfinite(found)
    failed = float(1.0 - np.count_nonzero(good) / found.size)
    ordered = np.sort(np.where(good, found, math.inf))
    low, median, high = (_quantile(ordered, share) for share in (0.025, 0.5, 0.975))
    mean = float(found.mean()) if not failed else math.nan
    spread = float(found.std(ddof=1)) if not failed and found.size > 1 else math.nan
    return MonteCarlo(mean, median, spread, low, high, found.size, failed)


def _quantile(ordered: Array, share: float) -> float:
    """Between two of the sorted trials; infinite as soon as the upper one is."""
    place = share * (ordered.size - 1)
    below = int(place)
    first, second = ordered[below], ordered[min(below + 1, ordered.size - 1)]
    part = place - below
    if part == 0.0 or not math.isfinite(second):
        return float(second if part else first)
    return float(first + part * (second - first))


def monte_carlo(
    function: Model, draws: Sequence[Draw], trials: int = 1_000_000, seed: int = 1,
    correlations: Mapping[Pair, float] | None = None,
) -> MonteCarlo:  # fmt: skip
    """Propagate distributions through a function of arrays.

    Parameters
    ----------
    function : takes one array (trials,) per draw, returns (trials,)
    draws : how each input is drawn
    trials : a fixed number; see the module's text
    seed : the same seed gives the same answer
    """
    rng = np.random.default_rng(seed)
    with np.errstate(all="ignore"):
        return summary(np.asarray(function(*draw_all(draws, trials, rng, correlations))))


def monte_carlo_until(
    function: Model, draws: Sequence[Draw], digits: int = 2, most: int = 4_000_000, seed: int = 1,
    correlations: Mapping[Pair, float] | None = None,
) -> MonteCarlo:  # fmt: skip
    """As `monte_carlo`, in blocks of 10,000 until the figures are good to `digits` digits.

    Stops when twice the standard deviation of the mean over the blocks, of the mean, the standard
    deviation and both ends of the interval, is within half a unit of the last of `digits` digits of
    the standard deviation (JCGM 101, 7.9.4, from memory); or at `most` trials, as `trials` tells.
    """
    rng = np.random.default_rng(seed)
    blocks: list[Array] = []
    figures: list[tuple[float, ...]] = []
    while (len(blocks) + 1) * BLOCK <= max(most, 2 * BLOCK):
        with np.errstate(all="ignore"):
            blocks.append(np.asarray(function(*draw_all(draws, BLOCK, rng, correlations))))
        one = summary(blocks[-1])
        figures.append((one.mean, one.deviation, one.low, one.high))
        if len(blocks) < 2:
            continue
        scatter = 2.0 * np.std(figures, axis=0, ddof=1) / math.sqrt(len(blocks))
        if (scatter <= tolerance(float(np.mean([f[1] for f in figures])), digits)).all():
            break
    return summary(np.concatenate(blocks))


def tolerance(deviation: float, digits: int) -> float:
    """Half a unit in the last of `digits` significant digits of a standard uncertainty."""
    if not deviation > 0.0:
        return math.inf if deviation == 0.0 else 0.0
    return float(0.5 * 10.0 ** (math.floor(math.log10(deviation)) - digits + 1))
