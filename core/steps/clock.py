"""When the samples of a curve were taken, as far as the map knows."""

from __future__ import annotations

import numpy as np

from ..forcemap import ForceMap
from ..mapparts import APPROACH, RETRACT

Array = np.ndarray


def _segments(fmap: ForceMap, curves: Array) -> tuple[Array, Array, Array, Array]:
    """Samples of each segment, their rate (1 if none is recorded), and which are an approach or a
    retract with samples, each (n, segments)."""
    count = fmap.segment_count[curves]
    rate = np.ones(count.shape)
    if fmap.sampling_rate is not None:
        rate = np.broadcast_to(fmap.sampling_rate, fmap.segment_count.shape)[curves]
    kind = np.asarray(fmap.segment_kind)
    return count, rate, (kind == APPROACH) & (count > 0), (kind == RETRACT) & (count > 0)


def clock_of(fmap: ForceMap, curves: Array) -> Array:
    """How the time of a curve is shared, from its first approach to its last retract sample.

    Parameters
    ----------
    curves : (n,) which

    Returns
    -------
    (n, 3) : share of the approach and of the retract in that time (a hold between them, or samples
        left out, have the rest), and the time itself [s]; NaN where no sampling rate is recorded
        (the shares are then made from the numbers of samples).
    """
    count, rate, go, back = _segments(fmap, curves)
    begin = np.cumsum(count / rate, axis=1) - count / rate
    which = np.arange(len(curves))
    a, r = go.argmax(axis=1), count.shape[1] - 1 - back[:, ::-1].argmax(axis=1)
    along = np.maximum(count - 1.0, 0.0) / rate
    there, home = along[which, a], along[which, r]
    total = begin[which, r] + home - begin[which, a]
    out = np.full((len(curves), 3), np.nan)
    known = go.any(axis=1) & back.any(axis=1) & (total > 0.0)
    out[known, 0], out[known, 1] = there[known] / total[known], home[known] / total[known]
    if fmap.sampling_rate is not None:
        out[known, 2] = total[known]
    return out


def timing(fmap: ForceMap | None, curves: Array) -> Array:
    """(n, 3) s a sample on the approach and on the retract, and the s that lie between them.

    NaN where a rate is not recorded, or where another approach or retract lies between.
    """
    out = np.full((curves.size, 3), np.nan)
    if fmap is None or fmap.sampling_rate is None:
        return out
    count, rate, there, back = _segments(fmap, curves)
    many = count.shape[1]
    number = np.arange(many)
    first = np.where(there, number, many).min(axis=1, initial=many)
    last = np.where(back, number, -1).max(axis=1, initial=-1)
    both = np.flatnonzero((first < last) & (last >= 0) & (first < many))
    between = (number > first[:, None]) & (number < last[:, None]) & (count > 0)
    once = ~(between & (there | back)).any(axis=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        period = np.where(rate > 0.0, 1.0 / rate, np.nan)
        between_time = np.where(between, count * period, 0.0).sum(axis=1)
    both = both[once[both]]
    out[both, 0] = period[both, first[both]]
    out[both, 1] = period[both, last[both]]
    out[both, 2] = between_time[both]
    return out
