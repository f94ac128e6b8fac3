"""Two regions against each other: differences and ratios, and what cancels in them.

The constants (spring constant, sensitivity, tip, Poisson ratio) are common to both regions, so only
local terms enter the statistical error of a difference. What a constant does to a difference is
said in words; a budget with numbers is `ratio_budget` in the room uncertainty.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from .statistics import NAN_PAIR, ChannelStatistics, RegionStatistics


@dataclass(frozen=True)
class Difference:
    """One channel, region A less region B; NaN where it can't be told.

    Attributes
    ----------
    name, unit : of the channel
    mean, mean_error, mean_interval : of the difference of means; 95 % by Student's law with the
        degrees of freedom of Welch and Satterthwaite, from the effective numbers
    median, median_error, median_interval : of the difference of medians; the same
    ratio, ratio_error, ratio_interval : median of A over median of B, the error relative, the
        interval from the logarithm; only where both are above zero
    cancels : what is common to both and what it does here, for people
    reason : why something can't be told; "" if all can
    """

    name: str
    unit: str
    mean: float
    median: float
    cancels: str
    mean_error: float = math.nan
    mean_interval: tuple[float, float] = NAN_PAIR
    median_error: float = math.nan
    median_interval: tuple[float, float] = NAN_PAIR
    ratio: float = math.nan
    ratio_error: float = math.nan
    ratio_interval: tuple[float, float] = NAN_PAIR
    reason: str = ""


def differences(a: RegionStatistics, b: RegionStatistics) -> dict[str, Difference]:
    """Every channel that both regions have, A less B.

    Both regions are taken to be independent. Where they touch, pixels along the border are alike on
    both sides, and the error is a little too large. Where they share pixels no error is given.

    Raises
    ------
    ValueError : regions of maps with different shapes
    """
    if a.mask.shape != b.mask.shape:
        raise ValueError(f"the regions are of maps with the shapes {a.mask.shape} and "
                         f"{b.mask.shape}")  # fmt: skip
    shared = int(np.count_nonzero(a.mask & b.mask))
    return {name: _difference(one, b.channels[name], shared)
            for name, one in a.channels.items() if name in b.channels}  # fmt: skip


def _difference(a: ChannelStatistics, b: ChannelStatistics, shared: int) -> Difference:
    mean, median = a.mean - b.mean, a.median - b.median
    both = a.median > 0.0 and b.median > 0.0
    ratio = a.median / b.median if both else math.nan
    head = (a.name, a.unit, mean, median, what_cancels(a.name))
    if shared:
        return Difference(*head, ratio=ratio, reason=f"The regions share {shared:,} pixels, so "
                          "their errors are not independent: take them apart.")  # fmt: skip
    if not (a.used and b.used):
        return Difference(*head, reason="One of the regions has no pixel that can be used.")
    if not (math.isfinite(a.mean_error) and math.isfinite(b.mean_error)):
        return Difference(*head, ratio=ratio, reason="One of the regions has too few independent "
                          "pixels to tell an error.")  # fmt: skip
    mean_error, mean_reach = _together(a.mean_error, b.mean_error, a, b)
    median_error, median_reach = _together(a.median_error, b.median_error, a, b)
    found = Difference(
        *head, mean_error, (mean - mean_reach, mean + mean_reach), median_error,
        (median - median_reach, median + median_reach), ratio,
    )  # fmt: skip
    if not both:
        return found
    relative, reach = _together(a.median_error / a.median, b.median_error / b.median, a, b)
    ends = ratio * math.exp(-reach), ratio * math.exp(reach)
    return Difference(*head, mean_error, found.mean_interval, median_error, found.median_interval,
                      ratio, relative, ends)  # fmt: skip


def _together(of_a: float, of_b: float, a: ChannelStatistics, b: ChannelStatistics
              ) -> tuple[float, float]:  # fmt: skip
    """Standard error of a difference and half of its 95 % interval (Welch, Satterthwaite)."""
    from scipy.special import stdtrit

    error = math.hypot(of_a, of_b)
    if not error > 0.0:
        return error, error
    shares = of_a**4 / (a.effective - 1.0) + of_b**4 / (b.effective - 1.0)
    return error, float(stdtrit(error**4 / shares, 0.975)) * error


def what_cancels(name: str) -> str:
    """What the constants do to a difference of two regions in one channel, in words."""
    from ..channels import CHANNELS, ELASTIC, FORCE

    channel = CHANNELS.get(name)
    if channel is None:
        return ("An error that is common to both regions is not in this ±: an offset cancels in "
                "the difference, a factor cancels in the ratio.")  # fmt: skip
    if channel.needs == ELASTIC:
        poisson = " One Poisson ratio serves both; where they differ, that does not cancel." * (
            name != "reduced_modulus")  # fmt: skip
        return ("Spring constant and tip are common to both regions and scale both moduli "
                "together: not in this ±, they scale the difference and cancel in the ratio. The "
                "sensitivity cancels only as far as both deflect alike for their indentation."
                + poisson)  # fmt: skip
    if channel.needs == FORCE:
        return ("Spring constant and sensitivity are common to both regions: not in this ±, they "
                "scale the difference; the spring constant cancels in the ratio, the sensitivity "
                "where both numbers are proportional to it.")  # fmt: skip
    if channel.kind == "height" or name == "height":
        return (
            "A common offset of the heights cancels in the difference; a tilt that was not "
            "levelled does not. The scanner's scale is common and scales the difference."
        )
    return ("The sensitivity is common to both regions and not in this ±: it scales or shifts both "
            "together.")  # fmt: skip
