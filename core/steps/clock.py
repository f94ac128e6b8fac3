"""When the samples of a curve were taken, as far as the map knows."""

from __future__ import annotations

import numpy as np

from ..forcemap import ForceMap
from ..mapparts import APPROACH, RETRACT

Array = np.ndarray


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
    count = fmap.segment_count[curves].astype(float)
    rate = np.ones_like(count)
    recorded = fmap.sampling_rate
    if recorded is not None:
        rate = np.broadcast_to(recorded if recorded.ndim == 1 else recorded[curves], count.shape)
    begin = np.cumsum(count / rate, axis=1) - count / rate
    go = (fmap.segment_kind == APPROACH) & (count > 0)
    back = (fmap.segment_kind == RETRACT) & (count > 0)
    which = np.arange(len(curves))
    a, r = go.argmax(axis=1), count.shape[1] - 1 - back[:, ::-1].argmax(axis=1)
    along = np.maximum(count - 1.0, 0.0) / rate
    there, home = along[which, a], along[which, r]
    total = begin[which, r] + home - begin[which, a]
    out = np.full((len(curves), 3), np.nan)
    known = go.any(axis=1) & back.any(axis=1) & (total > 0.0)
    out[known, 0], out[known, 1] = there[known] / total[known], home[known] / total[known]
    if recorded is not None:
        out[known, 2] = total[known]
    return out
