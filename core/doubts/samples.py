"""Figures that tell of the samples themselves, the base and the baselines."""

from __future__ import annotations

import numpy as np

from ..columns import baseline as bl
from ..columns import retract as rt
from .case import Array, Case, Figure, step_of

STEEPEST = 0.1
"""Slope of a baseline [nm/nm] that no free lever has: the line lies in the contact."""


def free_part_needed(rows: Array, shortest: float) -> Array:
    """Free part that curves need [nm], from their baseline rows and the setting.

    The setting, and 30 % of the travel in contact or 100 nm, whichever is less (a rule of planning:
    at least 30 % or 100 nm; common practice, no source).
    """
    touching = np.nan_to_num(rows[:, bl.Z_RANGE] - rows[:, bl.B_LENGTH])
    return np.maximum(shortest, np.minimum(0.3 * touching, 100.0))


def too_short_by(branch: int) -> Figure:
    """How much longer the travel should be [nm]; negative if it is long enough.

    A retract whose baseline stays below the approach's by a quarter of the peak, without a jump in
    it, has not let go at all, and a line as steep as a contact's is one: nothing of it is free.
    """

    def figure(c: Case) -> Array:
        b = c.tables.base
        free = np.where(np.isfinite(b[:, branch + bl.B_LENGTH]), b[:, branch + bl.B_LENGTH], 0.0)
        gap = _line_at_peak(b, bl.APPROACH) - _line_at_peak(b, branch)
        stuck = (gap > 0.25 * b[:, bl.PEAK_D]) & (c.tables.pull[:, rt.SEEN] != 1.0)
        stuck |= b[:, branch + bl.B_SLOPE] > STEEPEST
        return free_part_needed(b, c.limits.shortest_baseline) - np.where(stuck, 0.0, free)

    return figure


def _line_at_peak(rows: Array, branch: int) -> Array:
    """A branch's baseline under the peak [nm, raw frame]."""
    reach = rows[:, bl.PEAK_Z] - rows[:, branch + bl.B_CENTRE]
    return rows[:, branch + bl.B_OFFSET] + rows[:, branch + bl.B_SLOPE] * reach


def steepness(c: Case) -> Array:
    """Peak deflection in units of the noise; NaN where there is no peak to judge."""
    return c.tables.base[:, bl.PEAK_D] / c.tables.base[:, bl.B_NOISE]


def kept(c: Case) -> Array:
    """Usable samples of the shorter branch; an absent branch is another doubt's."""
    b = c.tables.base
    there, back = b[:, bl.B_KEPT], b[:, bl.RETRACT + bl.B_KEPT]
    return np.where(back > 0, np.minimum(there, back), there)


def uncalibrated(c: Case) -> Array:
    return c.filled(0.0 if c.lengths else 1.0)


def loudness(c: Case) -> Array:
    """Noise over the map's median."""
    return c.tables.base[:, bl.B_NOISE] / c.median_noise


def gap(c: Case) -> Array:
    """How far apart the branches end at the peak, in steps of z."""
    return np.abs(c.tables.pull[:, rt.GAP]) / step_of(c)


def below_set_force(c: Case) -> Array:
    """By how much the peak force is below the set force, in per cent of it."""
    return 100.0 * (1.0 - c.tables.base[:, bl.PEAK_D] * c.tables.spring_constant / c.set_force)


def above_set_force(c: Case) -> Array:
    """By how much the peak force is above the set force, in per cent of it."""
    return -below_set_force(c)


def pull_or_noise(c: Case) -> Array:
    """The pull-off deflection, but five noises at least [nm]."""
    least = 5.0 * c.tables.base[:, bl.B_NOISE]
    return np.maximum(np.nan_to_num(c.tables.pull[:, rt.PULL]), least)


def offset_share(c: Case) -> Array:
    """Offset of the branches in per cent of the adhesion; NaN within 5 standard errors of zero or
    where a free part is too short to tell. Adhesion counts as five noises at least."""
    b = c.tables.base
    size = np.abs(b[:, bl.DRAG])
    error = np.sqrt(b[:, bl.VAR_DRAG] + c.tables.walk * b[:, bl.SLOW_DRAG])
    told = (size > 5.0 * error) & (too_short_by(bl.APPROACH)(c) <= 0.0) & (
        too_short_by(bl.RETRACT)(c) <= 0.0
    )
    return np.where(told, 100.0 * size / pull_or_noise(c), np.nan)


def tilt_share(c: Case) -> Array:
    """Rise of the baseline's line over the travel in per cent of the adhesion."""
    b = c.tables.base
    return 100.0 * np.abs(b[:, bl.B_SLOPE]) * b[:, bl.Z_RANGE] / pull_or_noise(c)


def waviness(c: Case) -> Array:
    """Spread of the free part about a line over the noise from neighbouring samples.

    NaN up to 3 where samples a little apart differ as much: then it is a filter and no wave.
    """
    b = c.tables.base
    near, far = b[:, bl.NEAR], b[:, bl.FAR]
    ratio = np.where(near > 0.0, b[:, bl.SPREAD] / np.sqrt(near), np.nan)
    return np.where((b[:, bl.SPREAD] ** 2 > 1.5 * far) | (ratio > 3.0), ratio, np.nan)


def likeness(c: Case) -> Array:
    """Noise from samples a little apart over that from neighbours, or the inverse if that is more;
    NaN within 4 standard errors of one (1/√n), or where a wave is the cause.

    White noise gives 1; with a correlation ρ of neighbours it is 1/√(1 - ρ).
    """
    b = c.tables.base
    near, far = b[:, bl.NEAR], b[:, bl.FAR]
    ratio = np.sqrt(far / near)
    ratio = np.where(near > 0.0, np.maximum(ratio, 1.0 / ratio), np.nan)
    error = 1.0 / np.sqrt(b[:, bl.B_LAST])
    told = (ratio - 1.0 > 4.0 * error) & ~(waviness(c) > c.limits.worst_wave)
    return np.where(told, ratio, np.nan)


def correlation(c: Case) -> Array:
    """Correlation of neighbouring noise; 0 where none is told."""
    b = c.tables.base
    told = np.isfinite(likeness(c))
    return np.where(told, np.clip(1.0 - b[:, bl.NEAR] / b[:, bl.FAR], 0.0, 0.99), 0.0)


def rise_while_still(c: Case) -> Array:
    """Rise of the deflection while the base stands still at the peak, in per cent of the peak;
    NaN if it does not stand, or within six noises."""
    b = c.tables.base
    rise = b[:, bl.STILL_RISE]
    told = (b[:, bl.STILL] >= 1.0) & (rise > 6.0 * b[:, bl.B_NOISE])
    return np.where(told, 100.0 * rise / b[:, bl.PEAK_D], np.nan)


def surface_slope(c: Case) -> Array:
    return c.filled(np.nan) if c.steepness is None else c.steepness


def loneliness(c: Case) -> Array:
    """How far the pixel is from all of its neighbours, in what neighbours usually differ by."""
    return c.filled(np.nan) if c.lonely is None else c.lonely()
