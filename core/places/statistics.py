"""The numbers of a region: each channel's centre and spread, how well both are known, and which
pixels are not in them and why.

Neighbouring pixels are alike, so the standard errors count the effective number of independent
pixels and not the pixels (see ``uncertainty/effective.py``). They are local: the constants
(spring constant, sensitivity, tip, Poisson ratio) move a whole map together and are not in them.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from ..analysis import Analysis

Array = np.ndarray
REASONS = {
    "no_curve": "no curve was measured there",
    "decided": "a person decided against it",
    "severe": "a severe doubt",
    "no_value": "no value of this channel",
}
"""Why a pixel is not used, in the order in which the first that holds is counted."""
NAN_PAIR = (math.nan, math.nan)


@dataclass(frozen=True)
class ChannelStatistics:
    """One channel over a region, in the channel's core unit; NaN where it can't be told.

    Attributes
    ----------
    name, unit : of the channel
    pixels, used : of the region, and those that count here
    left_out : reason (see `REASONS`) -> pixels; with `used` they add up to `pixels`
    area, used_area : nm², or pixels where the map has no scale
    mean, median, lower_quartile, upper_quartile, minimum, maximum : of the used pixels
    deviation : standard deviation over the used pixels
    spread : robust standard deviation, from the median absolute deviation
    effective : independent pixels among the used ones
    mean_error : standard error of the mean, deviation/√(effective - 1) of all used pixels
    median_error : the same of the spread, times what a median costs on a normal law
    mean_interval : 95 %, by Student's law
    median_interval : 95 %, between two ranks: no law is assumed
    pixel_error : root mean square of the pixels' own local uncertainties; the part of the spread
        that is noise of measurement
    reason : why something can't be told; "" if all can
    """

    name: str
    unit: str
    pixels: int
    used: int
    left_out: Mapping[str, int]
    area: float
    used_area: float
    mean: float = math.nan
    median: float = math.nan
    lower_quartile: float = math.nan
    upper_quartile: float = math.nan
    minimum: float = math.nan
    maximum: float = math.nan
    deviation: float = math.nan
    spread: float = math.nan
    effective: float = math.nan
    mean_error: float = math.nan
    median_error: float = math.nan
    mean_interval: tuple[float, float] = NAN_PAIR
    median_interval: tuple[float, float] = NAN_PAIR
    pixel_error: float = math.nan
    reason: str = ""


@dataclass(frozen=True, eq=False)
class RegionStatistics:
    """All channels over one region.

    Attributes
    ----------
    name : of the region
    mask : bool (rows, cols)
    pixels, area : of the region; area in nm² or pixels (`area_unit`)
    channels : name -> `ChannelStatistics`
    """

    name: str
    mask: Array
    pixels: int
    area: float
    area_unit: str
    channels: Mapping[str, ChannelStatistics]


def statistics_of(
    what: Analysis | Mapping[str, Array], mask: Array, *, name: str = "",
    channels: tuple[str, ...] = (), decided: Array | None = None, no_curve: Array | None = None,
    severe: Array | None = None, errors: Mapping[str, Array | None] | None = None,
    units: Mapping[str, str] | None = None, pitch: tuple[float, float] = (1.0, 1.0),
    area_unit: str = "pixels",
) -> RegionStatistics:  # fmt: skip
    """The statistics of a region.

    Parameters
    ----------
    what : an analysis, or maps by name, (rows, cols) each, NaN where missing
    mask : bool (rows, cols), see `mask_of`
    channels : which; all that the settings ask for (or all maps given) if empty
    decided : bool (rows, cols), pixels that a person decided against; those left out in the
        analysis, if one is given, where None

    The rest is taken from the analysis if one is given.

    no_curve, severe : bool (rows, cols), pixels without a curve and with a severe doubt
    errors : name -> local standard uncertainties, (rows, cols)
    units : name -> unit
    pitch : distance between rows and between columns
    area_unit : "nm²" or "pixels"

    Returns
    -------
    RegionStatistics : an empty region gives NaN with a reason

    Raises
    ------
    ValueError : a mask of another shape than the map
    """
    if not isinstance(what, Mapping):
        from ..channels import CHANNELS, asked_for
        from ..uncertainty.groups import pitch_of

        names = channels or tuple(asked_for(what.settings))
        no_curve, severe, pitch = what.map.index_map < 0, what.severe, pitch_of(what)
        area_unit = "nm²" if what.map.has_scale else "pixels"
        errors = {n: what.errors(n) for n in names}
        units = {n: CHANNELS[n].unit for n in names}
        decided = what.left_out if decided is None else decided
        what = {n: what.channel(n) for n in names}
    mask = np.asarray(mask, dtype=bool)
    chosen = {n: np.asarray(what[n], dtype=float) for n in channels or tuple(what)}
    for key, one in {**chosen, "decided": decided, "no_curve": no_curve, "severe": severe}.items():
        if one is not None and np.shape(one) != mask.shape:
            raise ValueError(f"{key} has the shape {np.shape(one)}, the mask {mask.shape}")
    box = _box(mask)
    inside = mask[box]
    out = _left_out(inside, {"no_curve": no_curve, "decided": decided, "severe": severe}, box)
    size = pitch[0] * pitch[1] if area_unit != "pixels" else 1.0
    found = {
        n: _channel(n, (units or {}).get(n, ""), values[box], inside, out,
                    _part((errors or {}).get(n), box), pitch, size)
        for n, values in chosen.items()
    }  # fmt: skip
    count = int(np.count_nonzero(inside))
    return RegionStatistics(name, mask, count, count * size, area_unit, found)


def _box(mask: Array) -> tuple[slice, slice]:
    """The smallest box with all pixels of a mask: nothing outside it is worked on."""
    rows, cols = np.flatnonzero(mask.any(axis=1)), np.flatnonzero(mask.any(axis=0))
    if not rows.size:
        return slice(0, 0), slice(0, 0)
    return slice(int(rows[0]), int(rows[-1]) + 1), slice(int(cols[0]), int(cols[-1]) + 1)


def _part(values: Array | None, box: tuple[slice, slice]) -> Array | None:
    return None if values is None else np.asarray(values)[box]


def _left_out(inside: Array, masks: Mapping[str, Array | None], box: tuple[slice, slice]
              ) -> dict[str, Array]:  # fmt: skip
    """Pixels of the region by the first reason that holds."""
    found, left = {}, inside.copy()
    for reason, mask in masks.items():
        hit = left & np.asarray(mask, dtype=bool)[box] if mask is not None else left & False
        found[reason], left = hit, left & ~hit
    return found


def _channel(name: str, unit: str, values: Array, inside: Array, out: Mapping[str, Array],
             own: Array | None, pitch: tuple[float, float], size: float
             ) -> ChannelStatistics:  # fmt: skip
    used = inside.copy()
    for mask in out.values():
        used &= ~mask
    missing = used & ~np.isfinite(values)
    used &= ~missing
    counts = {reason: int(np.count_nonzero(mask)) for reason, mask in out.items()}
    counts["no_value"] = int(np.count_nonzero(missing))
    pixels, count = int(np.count_nonzero(inside)), int(np.count_nonzero(used))
    head = (name, unit, pixels, count, counts, pixels * size, count * size)
    if not count:
        return ChannelStatistics(*head, reason="The region holds no pixel." if not pixels else
                                 "No pixel of the region can be used.")  # fmt: skip
    noise = np.asarray(own, dtype=float)[used] if own is not None else np.empty(0)
    noise = noise[np.isfinite(noise)]
    return replace(
        ChannelStatistics(*head), **_centre(values[used]), **_known(values, used, pitch),
        pixel_error=math.sqrt(float(np.mean(noise**2))) if noise.size else math.nan,
    )  # fmt: skip


def _centre(inside: Array) -> dict[str, Any]:
    low, lower, median, upper, high = np.percentile(inside, [0, 25, 50, 75, 100])
    return {"mean": float(inside.mean()), "median": float(median), "lower_quartile": float(lower),
            "upper_quartile": float(upper), "minimum": float(low), "maximum": float(high),
            "deviation": float(inside.std(ddof=1)) if inside.size > 1 else math.nan,
            "spread": robust_spread(inside)}  # fmt: skip


def robust_spread(inside: Array) -> float:
    """Standard deviation of a normal law with the same median absolute deviation."""
    from ..steps.tools import MAD_TO_SIGMA

    if inside.size < 2:
        return math.nan
    return MAD_TO_SIGMA * float(np.median(np.abs(inside - np.median(inside))))


def _known(values: Array, used: Array, pitch: tuple[float, float]) -> dict[str, Any]:
    """The standard errors and intervals of mean and median."""
    from scipy.special import stdtrit

    from ..steps.tools import MEDIAN_COST

    inside = values[used]
    effective = _effective(values, used, pitch)
    if not effective > 1.2:
        words = (
            "One pixel has no spread."
            if inside.size < 2
            else ("All pixels are alike to their neighbours: as good as one independent pixel.")
        )
        return {"effective": effective if inside.size > 1 else 1.0, "reason": words}
    root, mean = math.sqrt(effective - 1.0), float(inside.mean())
    mean_error = float(inside.std()) / root
    reach = float(stdtrit(effective - 1.0, 0.975)) * mean_error
    found: dict[str, Any] = {
        "effective": effective, "mean_error": mean_error,
        "median_error": MEDIAN_COST * robust_spread(inside) / root,
        "mean_interval": (mean - reach, mean + reach),
    }  # fmt: skip
    # of n independent values as many lie below the true median as a coin shows heads in n throws
    half = 0.5 * 1.959964 / math.sqrt(effective)
    if half < 0.5:
        low, high = np.percentile(inside, [100.0 * (0.5 - half), 100.0 * (0.5 + half)])
        return found | {"median_interval": (float(low), float(high))}
    return found | {"reason": "Fewer than four independent pixels: the median has no interval."}


def _effective(values: Array, used: Array, pitch: tuple[float, float]) -> float:
    """Independent pixels; values beyond three spreads are cut down, so that single ones do not
    hide how alike the others are."""
    from ..uncertainty.effective import effective_number

    if np.count_nonzero(used) < 2:
        return math.nan
    filled = np.where(used, values, 0.0)
    middle, spread = float(np.median(values[used])), robust_spread(values[used])
    if spread > 0.0:
        filled = np.clip(filled, middle - 3.0 * spread, middle + 3.0 * spread)
    return effective_number(filled, used, pitch)
