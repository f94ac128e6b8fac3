"""The table of components: how much of each, and each channel's statistics with honest errors.

Pixels are not independent, so every standard error uses the effective number n_eff of independent
pixels, from the correlation that the map itself shows over the component. What is common to all
pixels (spring constant, sensitivity, tip, Poisson ratio) does not average out and stands apart.

References
----------
Log-normal: median e^μ, mean e^(μ+σ²/2), mode e^(μ-σ²), CV √(e^(σ²)-1); any handbook of statistics.
Standard error of an area fraction: √(p(1-p)/n_eff); its interval is taken on the logit, with
Student's t of n_eff - 1, so that it stays between 0 and 1. Area fraction is volume fraction only
for a random section of an isotropic body (Delesse 1847), which a free surface seldom is.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from functools import lru_cache, partial

import numpy as np

from ..channels import CHANNELS
from ..pipeline import workers
from ..steps.tools import MAD_TO_SIGMA, MEDIAN_COST
from ..uncertainty.effective import Independence, Lags
from .composition import Composition
from .rule import SIGNED, letter
from .zones import MIXED, MIXED_BELOW

Array = np.ndarray
USUAL = ("reduced_modulus", "modulus", "adhesion", "release_force", "work_of_adhesion",
         "dissipation", "indentation", "stiffness")  # fmt: skip
"""Channels of the table unless others are asked for."""
YOUNG = ("modulus", "relaxation_modulus", "modulus_instant", "modulus_relaxed")
"""Channels that hold the Poisson ratio."""
FEWEST = 2
UNKNOWN = Independence(math.nan, math.nan)
FEW_INDEPENDENT = 10.0
"""Below this many independent pixels an interval is only a rough one."""


@dataclass(frozen=True)
class Share:
    """How much of the map one component takes.

    Attributes
    ----------
    pixels, area : of the component [area: nm², or pixels without a scale]
    fraction : of all pixels that belong to a component; NaN if there are none
    error, low, high : standard error, 95 % interval
    naive : half width of the interval if all pixels were independent, which they are not
    independent, length : n_eff of the component's pattern and its correlation length
    low_zone, high_zone : the fraction if all pixels of the boundary zones were the others' or its
        own: what contact and pixel size leave open
    """

    pixels: int
    area: float
    fraction: float
    error: float
    low: float
    high: float
    naive: float
    independent: float
    length: float
    low_zone: float
    high_zone: float


@dataclass(frozen=True)
class Summary:
    """One channel over the pure pixels of one component; NaN where there are too few.

    Attributes
    ----------
    channel, unit : core's own
    pixels, independent, length : used, n_eff, correlation length [unit of the pitch]
    median, median_error, low, high : with its standard error and 95 % interval
    mean, mean_error : arithmetic
    mu, sigma : of ln of the values, by median and median absolute deviation; NaN if any is not > 0
    lognormal_mean, mode, cv : that follow from them
    deviation, spread : standard deviation; robust one (1.4826 times the median absolute deviation)
    lower, upper : quartiles
    own : median of the pixels' own local standard uncertainty, NaN if the channel has none; the
        spread holds it
    common : relative standard uncertainty that all pixels share; NaN until it is asked for
    """

    channel: str
    unit: str
    pixels: int
    independent: float
    length: float
    median: float
    median_error: float
    low: float
    high: float
    mean: float
    mean_error: float
    mu: float
    sigma: float
    lognormal_mean: float
    mode: float
    cv: float
    deviation: float
    spread: float
    lower: float
    upper: float
    own: float
    common: float = math.nan

    @property
    def total(self) -> float:
        """Standard uncertainty of the median with what is common to all pixels."""
        common = self.common if math.isfinite(self.common) else 0.0
        return math.hypot(self.median_error, common * self.median)

    @property
    def beyond(self) -> float:
        """What of the spread the pixels' own uncertainty does not explain; 0 if it explains all."""
        if not math.isfinite(self.own):
            return math.nan
        return math.sqrt(max(self.spread**2 - self.own**2, 0.0))


@dataclass(frozen=True)
class Row:
    """One component of the table; `summaries` by channel."""

    number: int
    letter: str
    name: str
    share: Share
    summaries: dict[str, Summary]
    poisson_ratio: float | None = None


@dataclass(frozen=True)
class Table:
    """The table of components.

    Attributes
    ----------
    rows : one a component
    channels : in order
    unit : of lengths, "nm" or "pixels"
    left_out, set_aside : pixels in no component, and labelled ones out of the statistics, by reason
    labelled, total : pixels in any component, and of the map
    remarks : what should be told
    """

    rows: tuple[Row, ...]
    channels: tuple[str, ...]
    unit: str
    left_out: dict[str, int]
    set_aside: dict[str, int]
    labelled: int
    total: int
    remarks: tuple[str, ...] = field(default=())


def table_of(composition: Composition, channels: Sequence[str] | None = None) -> Table:
    """The table of a composition.

    Parameters
    ----------
    channels : names; the usual ones that the analysis has if None

    Returns
    -------
    Table : without the common uncertainties, see `with_common`

    Raises
    ------
    KeyError : a channel that the analysis does not have
    """
    values = composition.maps.values
    if channels is None:
        channels = [n for n in USUAL if n in values and np.isfinite(values[n]).any()]
    with ThreadPoolExecutor(workers()) as pool:  # Fourier transforms let the others go on
        rows = tuple(pool.map(partial(_row, composition, tuple(channels)),
                              range(composition.count)))  # fmt: skip
    few = [f"{r.letter}" for r in rows if 0 < r.share.independent < FEW_INDEPENDENT]
    remarks = list(composition.remarks)
    if few:
        remarks.append(f"The pattern of {', '.join(few)} holds fewer than ten independent pixels: "
                       "its area fraction is known roughly only. Measure a larger or another "
                       "field.")  # fmt: skip
    return Table(rows, tuple(channels), "nm" if composition.maps.scaled else "pixels",
                 composition.left_out, composition.set_aside,
                 int(np.count_nonzero(composition.labelled)), composition.labels.size,
                 tuple(remarks))  # fmt: skip


def _row(composition: Composition, channels: tuple[str, ...], number: int) -> Row:
    rule = composition.rule
    pure = composition.pixels(number, pure=True)
    lags: dict[bytes, Lags] = {}
    found = {name: _summary(composition, pure, name, lags, number) for name in channels}
    return Row(number, letter(number), rule.name(number), share_of(composition, number), found,
               rule.poisson_ratio(number))  # fmt: skip


def share_of(composition: Composition, number: int) -> Share:
    """How much of the labelled area a component takes."""
    mask, labelled = composition.pixels(number), composition.labelled
    count, total = int(np.count_nonzero(mask)), int(np.count_nonzero(labelled))
    area = count * composition.maps.pixel_area
    if not total:
        return Share(0, 0.0, *[math.nan] * 9)
    p = count / total
    alone = composition.area_lags.measure(mask.astype(float)) if 0 < count < total else UNKNOWN
    error, low, high = fraction_interval(p, alone.number)
    open_ = composition.kinds == MIXED  # may as well be the other's
    inner = int(np.count_nonzero(mask & ~open_ & ~_in_zone(composition, number)))
    wide = float(composition.widths.max(initial=0.0))
    around = (composition.beside == number) & (composition.distances < wide)
    around |= ~mask & open_ & (composition.shares[number] > 1.0 - MIXED_BELOW)
    naive = 1.96 * math.sqrt(p * (1.0 - p) / total)
    return Share(count, area, p, error, low, high, naive, alone.number, alone.length,
                 inner / total, (count + int(np.count_nonzero(around))) / total)  # fmt: skip


def _in_zone(composition: Composition, number: int) -> Array:
    """Pixels within a component's own boundary zone."""
    return composition.distances < composition.widths[number]


def fraction_interval(p: float, independent: float) -> tuple[float, float, float]:
    """Standard error and 95 % interval of an area fraction p of n_eff independent pixels.

    NaN where p is 0 or 1: a pattern that is not there can't tell how it varies.
    """
    if not (0.0 < p < 1.0 and independent >= 2.0):
        return math.nan, math.nan, math.nan
    error = math.sqrt(p * (1.0 - p) / independent)
    reach = student(independent) * error / (p * (1.0 - p))
    middle = math.log(p / (1.0 - p))
    return error, 1.0 / (1.0 + math.exp(reach - middle)), 1.0 / (1.0 + math.exp(-reach - middle))


@lru_cache(maxsize=4096)
def student(independent: float) -> float:
    """97.5 % point of Student's t with n_eff - 1 degrees of freedom (at least one)."""
    from scipy.special import stdtrit

    return float(stdtrit(max(independent - 1.0, 1.0), 0.975))


def _summary(composition: Composition, pure: Array, name: str, lags: dict[bytes, Lags],
             number: int) -> Summary:  # fmt: skip
    maps = composition.maps
    values, errors = maps.values[name], maps.errors.get(name)
    factor = ratio_factor(composition, name, number)
    used = pure & np.isfinite(values)
    key = np.packbits(used).tobytes()  # channels differ in where they have no value
    if key not in lags:
        lags[key] = Lags(used, maps.pitch)
    return summary_of(name, values * factor, None if errors is None else errors * factor, used,
                      lags[key], composition.shared_weights(number))  # fmt: skip


def ratio_factor(composition: Composition, name: str, number: int) -> float:
    """What turns Young's modulus under the map's Poisson ratio into that under the component's; 1
    for any other channel."""
    own, source = composition.rule.poisson_ratio(number), composition.maps.source
    if own is None or source is None or name not in YOUNG:
        return 1.0
    return float((1.0 - own**2) / (1.0 - source.poisson_ratio**2))


def summary_of(name: str, values: Array, errors: Array | None, used: Array, lags: Lags,
               weights: Array | None = None) -> Summary:  # fmt: skip
    """One channel over the pixels `used`, all of them finite; `lags` are those of `used`.

    `weights` (rows, cols): memberships of all pixels that count, for a component that overlaps
    another; median, spread, mean and quartiles are then those of the weighted pixels.
    """
    inside = values[used]
    unit = CHANNELS[name].unit if name in CHANNELS else ""
    if inside.size < FEWEST:
        return Summary(name, unit, inside.size, *[math.nan] * 18)
    positive = name not in SIGNED and bool((inside > 0.0).all())
    scale = np.log(inside) if positive else inside
    centre = float(np.median(scale))
    wide = MAD_TO_SIGMA * float(np.median(np.abs(scale - centre)))
    whole, share = inside, np.ones(inside.size)
    if weights is not None:
        counted = (weights > 0.0) & np.isfinite(values) & ((values > 0.0) if positive else True)
        whole, share = values[counted], weights[counted]
        logs_of = np.log(whole) if positive else whole
        centre = _weighted(logs_of, share, 0.5)
        wide = MAD_TO_SIGMA * _weighted(np.abs(logs_of - centre), share, 0.5)
    image = np.zeros(values.shape)
    image[used] = np.clip(scale, centre - 3.0 * wide, centre + 3.0 * wide) if wide > 0.0 else scale
    seen = lags.measure(image)
    mean = float(np.average(whole, weights=share))
    deviation = math.sqrt(float(np.average((whole - mean) ** 2, weights=share))
                          * inside.size / (inside.size - 1))  # fmt: skip
    known = wide > 0.0 or deviation == 0.0  # more than half alike: saturated, or at a floor
    step = MEDIAN_COST * wide / math.sqrt(seen.number) if known else math.nan
    reach = student(seen.number) * step
    if positive:
        median = math.exp(centre)
        ends = median * math.exp(-reach), median * math.exp(reach)
        median_error, spread = median * step, median * wide
        logs = centre, wide, *lognormal(centre, wide)
    else:
        median, median_error, spread = centre, step, wide
        ends = centre - reach, centre + reach
        logs = (math.nan,) * 5  # type: ignore[assignment]
    lower, upper = (_weighted(whole, share, q) for q in (0.25, 0.75))
    own = math.nan
    if errors is not None and np.isfinite(errors[used]).any():
        own = float(np.nanmedian(errors[used]))
    return Summary(name, unit, inside.size, seen.number, seen.length, median, median_error, *ends,
                   mean, deviation / math.sqrt(seen.number), *logs, deviation,
                   spread, float(lower), float(upper), own)  # fmt: skip


def _weighted(values: Array, weights: Array, share: float) -> float:
    """A quantile of weighted values; that of NumPy where all weights are one."""
    if np.ptp(weights) == 0.0:
        return float(np.quantile(values, share))
    order = np.argsort(values)
    heaped = np.cumsum(weights[order])
    return float(np.interp(share * heaped[-1], heaped - 0.5 * weights[order], values[order]))


def lognormal(mu: float, sigma: float) -> tuple[float, float, float]:
    """Mean, mode and coefficient of variation of a log-normal distribution."""
    square = sigma * sigma
    with np.errstate(over="ignore"):
        return (float(np.exp(mu + square / 2.0)), float(np.exp(mu - square)),
                float(np.sqrt(np.expm1(square))))  # fmt: skip
