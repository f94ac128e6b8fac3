"""How the modulus depends on the speed of the approach, from maps taken at several speeds.

A power-law solid looks stiffer the faster it is dented: at equal depth the modulus goes with the
speed to the power β (PowerLawSolid in ``models/viscoelastic.py``). The slope of ln E against ln v
over some maps therefore tells β without any fit of a relaxation.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from .advice.contact import median
from .advice.contact import spread as error_of_median
from .analysis import Analysis
from .columns import baseline as bl

Array = np.ndarray
SAME = 0.01
"""Speeds that differ by less than this share are one speed."""


@dataclass(frozen=True)
class AtSpeed:
    """One map: approach speed [nm/s], median of the trusted pixels' modulus [GPa] and its standard
    error, and how many pixels. The error takes the pixels as independent."""

    title: str
    speed: float
    modulus: float
    error: float
    count: int
    depth: float = math.nan
    """Median indentation of the same pixels [nm]: is it the same at all speeds?"""


@dataclass(frozen=True)
class SpeedSlope:
    """d ln E/d ln v and its standard error; NaN with a `reason` if it can't be had.

    With more than two maps the error is raised to what the scatter about the line shows. `table`
    has a row a map, in the order given.
    """

    slope: float
    error: float
    table: tuple[AtSpeed, ...]
    reason: str = ""


def approach_speed(analysis: Analysis) -> float:
    """Median speed of the base on the approach [nm/s]; NaN without a sampling rate.

    Travel over time of the whole branch: right for a ramp of constant speed.
    """
    fmap = analysis.map
    if fmap.sampling_rate is None:
        return math.nan
    base = analysis.stage_tables["baseline"]
    rate = np.broadcast_to(fmap.sampling_rate, fmap.segment_count.shape)
    first = np.argmax((fmap.segment_kind == 0) & (fmap.segment_count > 0), axis=1)
    own = rate[np.arange(fmap.n_curves), first]
    with np.errstate(divide="ignore", invalid="ignore"):
        speed = base[:, bl.Z_RANGE] / (base[:, bl.B_KEPT] - 1.0) * own
    speed = speed[np.isfinite(speed) & (speed > 0.0)]
    return float(np.median(speed)) if speed.size else math.nan


def _at_speed(analysis: Analysis, channel: str) -> AtSpeed:
    found = analysis.channel(channel)
    used = analysis.trusted & np.isfinite(found) & (found > 0.0)
    values, depth = found[used], analysis.channel("indentation")[used]
    title = analysis.map.title or str(analysis.map.path or "map in memory")
    if values.size < 2:
        return AtSpeed(title, approach_speed(analysis), math.nan, math.nan, int(values.size))
    return AtSpeed(title, approach_speed(analysis), median(values), error_of_median(values),
                   int(values.size), median(depth))  # fmt: skip


def modulus_against_speed(analyses: Sequence[Analysis], channel: str = "modulus") -> SpeedSlope:
    """The slope of ln(modulus) against ln(speed) over maps of the same sample.

    Parameters
    ----------
    analyses : of maps at two speeds or more, under the same settings
    channel : "modulus" or another positive channel

    Returns
    -------
    SpeedSlope : a line through the maps' medians, weighted by their errors. What is common to all
        maps (spring constant, tip) cancels; a depth that changes with the speed does not.
    """
    table = tuple(_at_speed(analysis, channel) for analysis in analyses)
    used = [row for row in table if row.speed > 0.0 and row.modulus > 0.0]
    reasons = []
    if any(math.isnan(row.speed) for row in table):
        reasons.append("A map records no sampling rate, so its speed is not known.")
    if any(math.isnan(row.modulus) for row in table):
        reasons.append("A map has fewer than two trusted pixels with a value.")
    speeds = [row.speed for row in used]
    if not used or max(speeds) < (1.0 + SAME) * min(speeds):
        reasons.append("Maps at two different speeds at least are needed.")
        return SpeedSlope(math.nan, math.nan, table, " ".join(reasons))
    x = np.log([row.speed for row in used])
    y = np.log([row.modulus for row in used])
    error = np.array([row.error / row.modulus for row in used])
    error = np.maximum(error, 1e-12)
    weight = 1.0 / error**2
    centre = float(np.sum(weight * x) / np.sum(weight))
    spread = float(np.sum(weight * (x - centre) ** 2))
    slope = float(np.sum(weight * (x - centre) * y) / spread)
    rest = y - np.sum(weight * y) / np.sum(weight) - slope * (x - centre)
    scatter = float(np.sum(weight * rest**2)) / (x.size - 2) if x.size > 2 else 1.0
    return SpeedSlope(slope, math.sqrt(max(scatter, 1.0) / spread), table, " ".join(reasons))


def beta_at_equal_force(slope: float, exponent: float) -> float:
    """β of a power-law solid from the slope, where all maps were pressed by the same peak force.

    At equal depth the slope is β itself. At equal force the faster dent is shallower and shorter:
    F ∝ E δⁿ with E ∝ (v/δ)^β gives E ∝ v^(β/(1 - β/n)), so β = s/(1 + s/n).

    Parameters
    ----------
    slope : d ln E/d ln v
    exponent : n of the law, 3/2 for a paraboloid, 2 for a cone
    """
    return slope / (1.0 + slope / exponent)
