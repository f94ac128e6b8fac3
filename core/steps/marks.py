"""Marks of a bad curve that a look at the samples shows: spikes, a flat top, a base that stands
still, holes, and noise whose neighbours are alike.

Each mark keeps a figure and the place where it is worst. The figures are judged in ``doubts/``.
"""

from __future__ import annotations

import math

from ..columns.baseline import (
    APPROACH,
    B_LAST,
    B_NOISE,
    B_RISE,
    B_SLOPE,
    BACKS,
    FAR,
    FLAT_BACK,
    FLAT_TOP,
    FLAT_Z,
    HOLE_BACK,
    HOLE_END,
    HOLE_Z,
    MISSING,
    NEAR,
    RETRACT,
    SPIKE_BACK,
    SPIKE_Z,
    SPIKES,
    STILL,
    STILL_BACK,
    STILL_RISE,
    STILL_Z,
)
from ..compiled import kernel
from .slow import block_mean

LAG = 8
"""Samples from which on noise is taken as not correlated; slower noise is the walk's."""
SLUGGISH = 0.03
"""A base that moves less than this share of its mean speed stands still."""


@kernel
def count_spikes(d, first, last, limit):
    """Samples of [first, last) that stand out of both neighbours, to one side, by `limit`; by how
    much the largest does, and which it is."""
    spikes, most, where = 0, 0.0, first
    for i in range(first + 1, last - 1):
        left, right = d[i] - d[i - 1], d[i] - d[i + 1]
        if (left > limit and right > limit) or (left < -limit and right < -limit):
            spikes += 1
            if min(abs(left), abs(right)) > most:
                most, where = min(abs(left), abs(right)), i
    return spikes, most, where


@kernel
def spikes_of(d, count, row, branch, limit):
    """Spikes of one branch as `count_spikes`, but for the stretch between free part and rise.

    There the tip jumps on or lets go, and with coarse sampling that looks like a spike.
    """
    if not row[branch + B_RISE] >= 0.0:
        return 0, 0.0, 0
    free, rise = int(row[branch + B_LAST]), int(row[branch + B_RISE])
    before, size, where = count_spikes(d, 0, free, limit)
    after, more, there = count_spikes(d, min(rise, count), count, limit)
    return before + after, max(size, more), there if more > size else where


@kernel
def marks_of_spikes(za, da, na, zr, dr, nr, limit, row):
    """Spikes of both branches, and the place of the largest, into ``row``."""
    there, size, at = spikes_of(da, na, row, APPROACH, limit)
    back, more, where = spikes_of(dr, nr, row, RETRACT, limit)
    row[SPIKES] = there + back
    row[BACKS] = float(int(row[BACKS]) & ~SPIKE_BACK)
    row[SPIKE_Z] = math.nan
    if more > size:
        row[SPIKE_Z] = zr[where]
        row[BACKS] += SPIKE_BACK
    elif there > 0:
        row[SPIKE_Z] = za[at]


@kernel(fast=True)
def highest(d, count):
    """The largest of some values."""
    top = d[0]
    for i in range(count):
        top = max(top, d[i])
    return top


@kernel(fast=True)
def same(d, count, value):
    """How many of them equal a value."""
    found = 0
    for i in range(count):
        found += 1 if d[i] == value else 0
    return found


@kernel
def flat_top(d, count):
    """The longest run of samples that equal the largest value of the branch, over the length that
    a saturated detector must repeat it: 4 samples, or 1 % of the branch. And where it begins."""
    if count < 1:
        return 0.0, 0
    top, run, longest, where = highest(d, count), 0, 0, 0
    if same(d, count, top) < 2:
        return 1.0 / max(4.0, 0.01 * count), 0
    for i in range(count):
        run = run + 1 if d[i] == top else 0
        if run > longest:
            longest, where = run, i + 1 - run
    return longest / max(4.0, 0.01 * count), where


@kernel
def share_back(z, count):
    """Share of the steps in which z goes back instead of on."""
    back = 0
    for i in range(1, count):
        if z[i] < z[i - 1]:
            back += 1
    return back / max(count - 1, 1)


@kernel
def standstill(z, count, top):
    """Samples at one end over which the base moves at less than `SLUGGISH` of its mean speed, over
    how many that must be at least: 8, or 2 % of the branch (a base that swings as a sine has 1.2 %
    of its samples so near to its turn). 0 if there is none."""
    least = max(8, int(0.02 * count))
    if count < 4 * least:
        return 0.0
    pace = SLUGGISH * abs(z[count - 1] - z[0]) / (count - 1)
    run = least
    if top:
        while run < count and abs(z[count - 1] - z[count - 1 - run]) <= pace * run:
            run += 1
    else:
        while run < count and abs(z[run] - z[0]) <= pace * run:
            run += 1
    return (run - 1) / least if run > least else 0.0


@kernel
def still_ends(za, da, na, zr, nr, row):
    """The longest standstill at an end of a branch; how far the approach's deflection rises in the
    one at its peak, nm."""
    row[STILL] = row[STILL_RISE] = 0.0
    row[STILL_Z] = math.nan
    for which in range(4):
        back, top = which >= 2, which % 2 == 0
        z, count = (zr, nr) if back else (za, na)
        share = standstill(z, count, top)
        if share > row[STILL]:
            row[STILL], row[STILL_Z] = share, z[count - 1] if top else z[0]
            row[BACKS] = float(int(row[BACKS]) & ~STILL_BACK) + (STILL_BACK if back else 0)
        if which == 0 and share >= 1.0:
            first = na - int(0.9 * share * max(8, int(0.02 * na)))
            row[STILL_RISE] = block_mean(da, na - 3, na) - block_mean(da, first, first + 3)


@kernel
def widest_step(z, count):
    """The widest step of z in a branch, and the sample before it."""
    widest, where = 0.0, 0
    for i in range(1, count):
        if z[i] - z[i - 1] > widest:
            widest, where = z[i] - z[i - 1], i - 1
    return widest, where


@kernel
def marks_of_hole(za, na, zr, nr, row):
    """Where samples are missing: the widest step of z, if any are."""
    row[HOLE_Z] = row[HOLE_END] = math.nan
    if not row[MISSING] > 0.0:
        return
    there, at = widest_step(za, na)
    back, where = widest_step(zr, nr)
    if back > there:
        row[HOLE_Z], row[HOLE_END] = zr[where], zr[where + 1]
        row[BACKS] += HOLE_BACK
    elif there > 0.0:
        row[HOLE_Z], row[HOLE_END] = za[at], za[at + 1]


@kernel(fast=True)
def differences(d, last, lag, rise, limit):
    """Half the mean square difference of samples `lag` apart, less the `rise` of the line between
    them; differences beyond `limit` count as none, so that spikes and jumps do not."""
    total = 0.0
    for i in range(last - lag):
        change = d[i + lag] - d[i] - rise
        change = change if abs(change) < limit else 0.0
        total += change * change
    return 0.5 * total / (last - lag)


@kernel
def marks_of_noise(z, d, row):
    """The variance of the approach's noise from neighbours and from samples `LAG` apart.

    White noise gives the same twice. A filter makes neighbours alike, so the first is smaller; a
    drift or a wave changes little in so few samples and is left to the walk (`steps/slow.py`).
    """
    row[NEAR] = row[FAR] = math.nan
    if row[B_LAST] > 2 * LAG:
        last, limit = int(row[B_LAST]), 7.0 * row[B_NOISE]
        rise = row[B_SLOPE] * (z[last - 1] - z[0]) / (last - 1)
        row[NEAR] = differences(d, last, 1, rise, limit)
        row[FAR] = differences(d, last, LAG, LAG * rise, limit)


@kernel
def marks_of_samples(za, da, na, zr, dr, nr, row):
    """All marks but the spikes into ``row``; they need no peak."""
    row[BACKS] = 0.0
    there, at = flat_top(da, na)
    back, where = flat_top(dr, nr)
    row[FLAT_TOP] = max(there, back)
    row[FLAT_Z] = zr[where] if back > there else za[at]
    if back > there:
        row[BACKS] += FLAT_BACK
    still_ends(za, da, na, zr, nr, row)
    marks_of_hole(za, na, zr, nr, row)
    marks_of_noise(za, da, row)
