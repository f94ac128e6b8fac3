"""The period of optical fringes, found once for a map.

A wave with a straight line is fitted to the free parts of some curves at many trial frequencies (a
Lomb-type scan: least squares, so the samples need not be even), and what it takes off their sums of
squares is added up over the curves: the period is one for all, the phases and sizes need not be.

References
----------
Lomb, Astrophys. Space Sci. 39 (1976) 447 (from memory).
"""

from __future__ import annotations

import math
from weakref import WeakKeyDictionary

import numpy as np

from ..columns.baseline import B_LAST, BRANCH_COLUMNS
from ..compiled import kernel
from ..forcemap import ForceMap
from ..settings import Settings
from .baseline import MOST, free_part
from .tools import load_branch

Array = np.ndarray
CURVES = 32
"""Curves that are looked at, evenly taken over the map."""
SAMPLES = 256
"""Samples of a free part that are looked at: means of neighbours if there are more."""
FINEST = 40.0
"""Most periods in a free part."""
PER_PERIOD = 8
"""Trial frequencies for each period in the free part."""
PLAIN = 12.0
"""N ln(Σr² without / Σr² with the wave) that half of the curves must reach. Noise alone reaches it
at one frequency with a probability of exp(-6)."""
ALONE = 8.0
"""Times that a wave must take off what a second one does after it; a random walk gives about 3."""

_FOUND: WeakKeyDictionary[ForceMap, float] = WeakKeyDictionary()


@kernel
def thinned_free_part(z, d, count, most, scratch, found, u, y):
    """Means of neighbours of a branch's free part, no more than `most`, into `u` and `y`.

    Returns how many.
    """
    free_part(z, d, count, True, 1.0, 5.0, scratch, found)
    if not found[B_LAST] >= 8.0:
        return 0
    last = int(found[B_LAST])
    width = (last + most - 1) // most
    kept = last // width
    for i in range(kept):
        u[i] = y[i] = 0.0
        for j in range(width):
            u[i] += z[i * width + j] / width
            y[i] += d[i * width + j] / width
    return kept


@kernel
def free_parts(z, d, start, cut, scale, most, u, y, kept):
    """The thinned free parts of both branches of some curves: ``u``, ``y`` (2n, most), ``kept``."""
    m = 8
    for i in range(cut.shape[0]):
        m = max(m, cut[i, 1], cut[i, 3])
    zb, db = np.empty(m), np.empty(m)
    scratch, found = np.empty(4 * MOST), np.empty(BRANCH_COLUMNS)
    for i in range(start.size):
        for back in range(2):
            count = load_branch(z, d, start[i] + cut[i, 2 * back], cut[i, 2 * back + 1], back == 1,
                                scale, zb, db)  # fmt: skip
            at = 2 * i + back
            kept[at] = thinned_free_part(zb, db, count, most, scratch, found, u[at], y[at])


@kernel
def gain(x, y, s, c, count, spread):
    """N ln(Σr² of a line / Σr² of a line and a wave) of one free part.

    `x` are its places less their mean, with Σx² = `spread`; `y` has the line off; `s` and `c` are
    the sine and cosine of the trial wave.
    """
    s0 = c0 = s1 = c1 = ss = sc = sy = cy = yy = 0.0
    for i in range(count):
        s0 += s[i]
        c0 += c[i]
        s1 += s[i] * x[i]
        c1 += c[i] * x[i]
        ss += s[i] * s[i]
        sc += s[i] * c[i]
        sy += s[i] * y[i]
        cy += c[i] * y[i]
        yy += y[i] * y[i]
    cc = count - ss
    ss -= s0 * s0 / count + s1 * s1 / spread
    cc -= c0 * c0 / count + c1 * c1 / spread
    sc -= s0 * c0 / count + s1 * c1 / spread
    determinant = ss * cc - sc * sc
    if not (determinant > 1e-10 * count * count and yy > 0.0):
        return 0.0
    taken = (sy * sy * cc - 2.0 * sy * cy * sc + cy * cy * ss) / determinant
    return count * math.log(yy / max(yy - taken, 1e-12 * yy))


@kernel
def line_off(u, y, count):
    """Centre the places and subtract the straight line from the samples, in place; Σu²."""
    mean = level = spread = both = 0.0
    for i in range(count):
        mean += u[i] / count
        level += y[i] / count
    for i in range(count):
        u[i] -= mean
        spread += u[i] * u[i]
        both += u[i] * (y[i] - level)
    slope = both / spread if spread > 0.0 else 0.0
    for i in range(count):
        y[i] -= level + slope * u[i]
    return spread


@kernel
def scan(u, y, kept, first, step, out):
    """`gain` of every free part at frequencies `first`, first + step ...: ``out`` (parts, trials).

    Sine and cosine are turned on from trial to trial, so that each is worked out once a sample.
    """
    m = u.shape[1]
    s, c, turn_s, turn_c = np.empty(m), np.empty(m), np.empty(m), np.empty(m)
    for part in range(kept.size):
        count = kept[part]
        spread = line_off(u[part], y[part], count)
        for i in range(count):
            angle = 2.0 * math.pi * u[part, i]
            s[i], c[i] = math.sin(angle * first), math.cos(angle * first)
            turn_s[i], turn_c[i] = math.sin(angle * step), math.cos(angle * step)
        for j in range(out.shape[1]):
            out[part, j] = gain(u[part], y[part], s, c, count, spread)
            for i in range(count):
                before = s[i]
                s[i] = before * turn_c[i] + c[i] * turn_s[i]
                c[i] = c[i] * turn_c[i] - before * turn_s[i]


def _gains(u: Array, y: Array, kept: Array, frequencies: Array) -> Array:
    """`gain` of all free parts at evenly spaced frequencies, (parts, frequencies)."""
    out = np.empty((kept.size, frequencies.size))
    scan(u, y, kept, frequencies[0], frequencies[1] - frequencies[0], out)
    return out


def _parts(fmap: ForceMap) -> tuple[Array, Array, Array]:
    """The long free parts of some curves, thinned: places, deflection (parts, SAMPLES), samples."""
    curves = np.unique(np.linspace(0, fmap.n_curves - 1, CURVES).astype(np.int64))
    block = fmap.read_block(curves)
    cut = np.hstack([fmap.approach[curves], fmap.retract[curves]])
    scale = np.array([fmap.z_scale, fmap.z_shift, fmap.signal_scale, fmap.signal_shift])
    u, y = np.zeros((2, 2 * curves.size, SAMPLES))
    kept = np.zeros(2 * curves.size, dtype=np.int64)
    free_parts(block.z, block.signal, block.start, cut, scale, SAMPLES, u, y, kept)
    length = _lengths(u, kept)
    known = length[length > 0.0]
    use = length >= 0.7 * np.percentile(known, 75.0) if known.size else length > 0.0
    return u[use], y[use], kept[use]


def _lengths(u: Array, kept: Array) -> Array:
    """Lengths of the free parts [nm]; 0 for those of fewer than 16 samples."""
    ends = u[np.arange(kept.size), np.maximum(kept - 1, 0)]
    return np.where(kept >= 16, ends - u[:, 0], 0.0)


def _mean_squares(u: Array, y: Array, kept: Array, frequency: float) -> tuple[Array, Array]:
    """Mean squares of each free part about its line before and after one wave is taken off, which
    is done in place."""
    before, after = np.empty(kept.size), np.empty(kept.size)
    for i, n in enumerate(kept):
        angle = 2.0 * np.pi * frequency * u[i, :n]
        terms = np.stack([np.ones(n), u[i, :n], np.sin(angle), np.cos(angle)], axis=1)
        before[i] = np.mean(y[i, :n] ** 2)
        y[i, :n] -= terms @ np.linalg.lstsq(terms, y[i, :n], rcond=None)[0]
        after[i] = np.mean(y[i, :n] ** 2)
    return before, after


def _search(fmap: ForceMap) -> float:
    """The period [nm] of a wave in the free parts of the map's curves; NaN if none is plain.

    It must take off much more than a second wave does after it: a wandering zero, which a wave
    fits well too, has its power at many frequencies.
    """
    u, y, kept = _parts(fmap)
    if not kept.size:
        return math.nan
    length = _lengths(u, kept)
    longest, shortest = float(length.max()), float(length.min())
    step = float(np.median(length / (kept - 1)))
    finest = min(FINEST / longest, 1.0 / (6.0 * step))
    trial = np.arange(0.5 / shortest, finest, 1.0 / (PER_PERIOD * longest))
    if trial.size < 3:
        return math.nan
    gains = _gains(u, y, kept, trial)
    at = int(np.argmax(gains.sum(axis=0)))
    if np.median(gains[:, at]) < PLAIN or at == trial.size - 1:
        return math.nan
    best, width = float(trial[at]), float(trial[1] - trial[0])
    for _ in range(2):  # closer and closer around the best
        near = best + width * np.linspace(-1.0, 1.0, 21)
        best = float(near[int(np.argmax(_gains(u, y, kept, near).sum(axis=0)))])
        width *= 0.1
    if best < 0.48 / shortest:  # better and better towards longer waves: a bend, not a wave
        return math.nan
    before, after = _mean_squares(u, y, kept, best)
    left = after[:, None] * (1.0 - np.exp(-_gains(u, y, kept, trial) / kept[:, None]))
    if np.median(before - after) < ALONE * np.median(left, axis=0).max():
        return math.nan
    return 1.0 / best


def fringe_period(fmap: ForceMap, settings: Settings) -> float:
    """The period of the fringes [nm] that an analysis uses.

    As set; else as found from the curves of the map, worked out once: fringes that are left in are
    looked for too, so that they can be told. NaN if there are none.

    Raises ReadError if the file is damaged or gone.
    """
    b = settings.baseline
    if b.period > 0.0:
        return b.period
    if fmap not in _FOUND:
        _FOUND[fmap] = _search(fmap)
    return _FOUND[fmap]
