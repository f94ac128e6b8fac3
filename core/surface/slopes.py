"""Slope, its direction, and curvature of the levelled heights; where the slope is too steep.

References
----------
Mean curvature of a surface z(x, y): any text on differential geometry. That a slope of more than
20 to 30 degrees changes contact area and force direction so far that the contact law misleads:
common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .filters import Pitch, difference, smooth

Array = np.ndarray
LIMIT = 25.0
"""Degrees; between the 20 and 30 at which slopes are commonly flagged."""


@dataclass(frozen=True, eq=False)
class Slopes:
    """All (rows, cols), NaN where missing or where a neighbour that is needed is missing.

    Attributes
    ----------
    along_x, along_y : ∂h/∂x and ∂h/∂y, nm per unit of pitch
    slope : angle of the surface against the level [degrees]; of no meaning if pitch is in pixels
    direction : where it rises most steeply, degrees from +x towards +y, -180 to 180
    curvature : mean curvature [1/nm], positive in a valley, negative on a ridge
    steep : bool, slope above the limit
    smoothing : standard deviation of the Gaussian used before
    limit : degrees
    words : one sentence
    """

    along_x: Array
    along_y: Array
    slope: Array
    direction: Array
    curvature: Array
    steep: Array
    smoothing: float
    limit: float
    words: str


def slopes(
    height: Array, pitch: Pitch = (1.0, 1.0), smoothing: float = 0.0, limit: float = LIMIT,
    usable: Array | None = None,
) -> Slopes:  # fmt: skip
    """Slopes by central differences of the heights, smoothed first if asked.

    Parameters
    ----------
    height : (rows, cols) nm, levelled; NaN where missing
    pitch : between rows and between columns, nm; then angles and curvatures mean what they say
    smoothing : standard deviation of a Gaussian, in the unit of `pitch`. About the contact radius
        of the tip: what the tip can't feel does not tilt it. 0 for none
    limit : slope above which pixels are flagged [degrees]
    usable : bool (rows, cols); others count as missing
    """
    height = np.asarray(height, dtype=float)
    mask = np.isfinite(height) if usable is None else np.isfinite(height) & usable
    h = smooth(height, mask, smoothing, pitch)
    hy, hx = (difference(h, axis, pitch[axis], "central") for axis in (0, 1))
    hyy, hxx = (_second(h, axis, pitch[axis]) for axis in (0, 1))
    hxy = difference(hx, 0, pitch[0], "central")
    one = 1.0 + hx**2 + hy**2
    curvature = (1.0 + hy**2) * hxx - 2.0 * hx * hy * hxy + (1.0 + hx**2) * hyy
    curvature /= 2.0 * one**1.5
    slope = np.degrees(np.arctan(np.hypot(hx, hy)))
    with np.errstate(invalid="ignore"):
        steep = slope > limit
    known = int(np.count_nonzero(np.isfinite(slope)))
    count = int(np.count_nonzero(steep))
    words = (
        f"Slopes after Gaussian smoothing of {smoothing:.3g} (standard deviation, in units"
        f" of the pitch): {count} of {known} pixels are steeper than {limit:.3g}°."
    )
    return Slopes(hx, hy, slope, np.degrees(np.arctan2(hy, hx)), curvature, steep, smoothing,
                  limit, words)  # fmt: skip


def _second(h: Array, axis: int, step: float) -> Array:
    v = np.moveaxis(h, axis, 0)
    out = np.full(v.shape, np.nan)
    if v.shape[0] > 2:
        out[1:-1] = (v[2:] - 2.0 * v[1:-1] + v[:-2]) / step**2
    return np.moveaxis(out, 0, axis)
