"""Two cursors on a profile: the values at both, what lies between, and how well all of it is known.

Errors are local: the constants (spring constant, sensitivity, tip) move a whole profile together.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from .profiles import Sampled

Array = np.ndarray


@dataclass(frozen=True)
class Between:
    """What two cursors read off one channel; NaN where it can't be told.

    Attributes
    ----------
    a, b : where they stand, along the line; they are moved onto the line if beyond its ends
    at_a, at_b, error_a, error_b : values there and their standard errors
    difference, error_difference : at_b - at_a
    slope, error_slope : difference over distance
    distance : b - a, along the line
    straight : from one to the other as the crow flies; less than the distance past a corner
    mean, error_mean : over the points between, both ends included; the error from their spread and
        their effective number
    points, effective : how many, and how many independent ones
    reason : what is not known and why, or what makes an error too large; "" if nothing
    """

    channel: str
    a: float
    b: float
    at_a: float
    at_b: float
    error_a: float
    error_b: float
    difference: float
    error_difference: float
    slope: float
    error_slope: float
    distance: float
    straight: float
    mean: float
    error_mean: float
    points: int
    effective: float
    reason: str = ""


def between(sampled: Sampled, channel: str, a: float, b: float) -> Between:
    """Read one channel at two cursors and between them.

    A cursor between two points reads on the straight line between them, and nothing where one of
    the two is a gap. Its error is interpolated alike, as if both points erred together.

    Parameters
    ----------
    sampled : from `sample`
    a, b : distances along the line, in either order

    Raises
    ------
    ValueError : no such channel, or a cursor that is not a number
    """
    if channel not in sampled.channels:
        raise ValueError(f"no channel {channel!r} was read along this line")
    if not (math.isfinite(a) and math.isfinite(b)):
        raise ValueError(f"cursors at {a} and {b}: both must be numbers")
    if not sampled.distance.size:
        return Between(channel, a, b, *(math.nan,) * 12, 0, math.nan, sampled.reason)
    end = float(sampled.distance[-1])
    a, b = min(max(a, 0.0), end), min(max(b, 0.0), end)
    line = sampled.channels[channel]
    (at_a, at_b), (error_a, error_b), (xa, xb), (ya, yb) = (
        (_at(sampled.distance, v, a), _at(sampled.distance, v, b))
        for v in (line.values, line.errors, sampled.x, sampled.y))  # fmt: skip
    distance, difference = b - a, at_b - at_a
    error = math.hypot(error_a, error_b)
    mean, error_mean, points, effective = _mean(sampled, line.values, min(a, b), max(a, b))
    apart = abs(distance) > 0.0
    return Between(
        channel, a, b, at_a, at_b, error_a, error_b, difference, error,
        difference / distance if apart else math.nan,
        error / abs(distance) if apart else math.nan,
        distance, math.hypot(xb - xa, yb - ya), mean, error_mean, points, effective,
        _reason(sampled, (at_a, at_b), (error_a, error_b), distance),
    )  # fmt: skip


def _at(distance: Array, values: Array, where: float) -> float:
    """A value between two points, on the straight line; NaN beside a gap."""
    i = int(np.clip(np.searchsorted(distance, where, side="right") - 1, 0, distance.size - 2))
    share = (where - distance[i]) / (distance[i + 1] - distance[i])
    if share <= 1e-9 or share >= 1.0 - 1e-9:  # on a point: the other one may be a gap
        return float(values[i + round(share)])
    return float(values[i] + share * (values[i + 1] - values[i]))


def stretch(sampled: Sampled, low: float, high: float) -> Array:
    """bool (n,): points between two distances, both ends included."""
    slack = 1e-9 * max(float(sampled.step), 0.0)
    return (sampled.distance >= low - slack) & (sampled.distance <= high + slack)


def points_between(sampled: Sampled, channel: str, a: float, b: float
                   ) -> tuple[Array, Array, Array]:  # fmt: skip
    """The points between two cursors that have a value, for the fit of an edge.

    Returns
    -------
    distance, value, error : (k,) each, both ends included; the error is NaN where it is not known.
        Neighbouring points read some of the same pixels, so the errors are not independent

    Raises ValueError if there is no such channel.
    """
    if channel not in sampled.channels:
        raise ValueError(f"no channel {channel!r} was read along this line")
    line = sampled.channels[channel]
    used = stretch(sampled, min(a, b), max(a, b)) & np.isfinite(line.values)
    return sampled.distance[used], line.values[used], line.errors[used]


def _mean(sampled: Sampled, values: Array, low: float, high: float
          ) -> tuple[float, float, int, float]:  # fmt: skip
    """Mean over a stretch, its standard error, its points, and how many are independent."""
    from ..uncertainty.effective import effective_number

    inside = stretch(sampled, low, high) & np.isfinite(values)
    count = int(np.count_nonzero(inside))
    if not count:
        return math.nan, math.nan, 0, math.nan
    mean = float(values[inside].mean())
    if count < 2:
        return mean, math.nan, count, math.nan
    first, last = np.flatnonzero(inside)[[0, -1]]
    part = slice(first, last + 1)
    effective = effective_number(np.where(inside, values, np.nan)[None, part], inside[None, part],
                                 (sampled.step, sampled.step))  # fmt: skip
    spread = float(values[inside].std())
    error = spread / math.sqrt(effective - 1.0) if effective > 1.2 else math.nan
    return mean, error, count, effective


def _reason(sampled: Sampled, values: tuple[float, float], errors: tuple[float, float],
            distance: float) -> str:  # fmt: skip
    if not all(map(math.isfinite, values)):
        which = "Both cursors stand" if not any(map(math.isfinite, values)) else "One cursor stands"
        return f"{which} where no pixel is used."
    if not all(map(math.isfinite, errors)):
        return "Too few independent pixels stand behind a cursor to tell its error."
    if distance == 0.0:
        return "Both cursors stand at one place."
    reach = max(sampled.step, sampled.across)
    if abs(distance) < 1.5 * reach:
        return ("The cursors read the same or neighbouring pixels: the error of the difference is "
                "not that of independent values.")  # fmt: skip
    return ""
