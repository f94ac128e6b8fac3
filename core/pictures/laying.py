"""A picture on the map's grid.

A picture finer than the map is averaged over each pixel's footprint: first blocks of whole picture
pixels, then a few points a map pixel. A coarser one is interpolated linearly. Missing pixels of the
picture take no part in the averages.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from ..errors import InputError
from .alignment import Alignment

Array = np.ndarray
LEAST_SEEN = 0.5
"""Share of a pixel's footprint that must hold values."""


def on_grid(picture: Any, alignment: Alignment, x: Array, y: Array) -> Array:
    """The picture's values at the map's pixels.

    Parameters
    ----------
    picture : `Picture`, or float (rows, cols) with row 0 at the bottom
    x, y : (cols,) and (rows,), even axes of the map in nm

    Returns
    -------
    float (rows, cols), NaN outside of the picture and where less than half a footprint has values
    """
    values = np.asarray(getattr(picture, "values", picture), dtype=float)
    start, step = _axes(x, y)
    inverse = np.linalg.inv(alignment.array)
    # (row, col) of the map -> (row, col) of the picture
    swap = np.array([[0.0, 1.0], [1.0, 0.0]])
    linear = swap @ inverse[:2, :2] @ swap @ np.diag(step[::-1])
    offset = swap @ (inverse[:2, :2] @ start + inverse[:2, 2])
    shape = (len(y), len(x))
    reach = np.abs(linear).max(axis=1)  # picture pixels for each map pixel, by row and column
    block = max(1, math.floor(reach.min() / 1.5))
    inside = _inside(linear, offset, shape, values.shape)
    if block > 1:
        values = thinned(values, block)
        linear, offset = linear / block, (offset - (block - 1) / 2.0) / block
    ratio = float(np.sqrt(np.square(linear).sum(axis=0)).max())
    points = min(max(1, math.ceil(ratio - 1e-9)), 3)
    out = _sampled(values, linear, offset, shape, points)
    out[~inside] = np.nan
    return out


def overlap(laid: Array) -> float:
    """Share of the map's pixels that the laid picture covers, 0 to 1."""
    return float(np.mean(np.isfinite(laid))) if np.size(laid) else 0.0


def _axes(x: Array, y: Array) -> tuple[Array, Array]:
    start, step = [], []
    for name, axis in (("x", x), ("y", y)):
        axis = np.asarray(axis, dtype=float)
        if axis.ndim != 1 or axis.size == 0 or not np.isfinite(axis).all():
            raise InputError(f"The map's axis {name} has no places.")
        width = (axis[-1] - axis[0]) / (axis.size - 1) if axis.size > 1 else 1.0
        if width == 0.0 or np.abs(axis - axis[0] - width * np.arange(axis.size)).max() > 0.01 * abs(
            width
        ):
            raise InputError(f"The map's axis {name} is not even: a picture can't be laid on it.")
        start.append(axis[0])
        step.append(width)
    return np.array(start), np.array(step)


def _inside(
    linear: Array, offset: Array, shape: tuple[int, int], size: tuple[int, ...]
) -> Array:  # fmt: skip
    """Whether the centre of each map pixel falls on the picture, edges of its pixels included."""
    i, j = np.arange(shape[0])[:, None], np.arange(shape[1])[None, :]
    good = np.ones(shape, dtype=bool)
    for axis in range(2):
        at = linear[axis, 0] * i + linear[axis, 1] * j + offset[axis]
        good &= (at >= -0.5 - 1e-9) & (at <= size[axis] - 0.5 + 1e-9)
    return good


def thinned(values: Array, n: int) -> Array:
    """Means of n x n blocks of what has a value; what is left over at the end makes smaller blocks.
    NaN where too little of a block has one."""
    if n == 1:
        return values
    known = np.isfinite(values)
    edges = [np.arange(0, size, n) for size in values.shape]

    def summed(a: Array) -> Array:
        return np.add.reduceat(np.add.reduceat(a, edges[0], axis=0), edges[1], axis=1)

    held = summed(known.astype(float))
    total = summed(np.where(known, values, 0.0))
    return np.divide(total, held, out=np.full_like(total, np.nan), where=held >= 0.5 * n)


def _sampled(
    values: Array, linear: Array, offset: Array, shape: tuple[int, int], points: int
) -> Array:  # fmt: skip
    """Means over `points` x `points` places in each map pixel."""
    from scipy import ndimage

    known = np.isfinite(values)
    whole = bool(known.all())
    filled = values if whole else np.where(known, values, 0.0)
    places = (np.arange(points) + 0.5) / points - 0.5
    total, weight = np.zeros(shape), np.zeros(shape)
    for a in places:
        for b in places:
            at = offset + linear @ np.array([a, b])
            kwargs: dict[str, Any] = dict(offset=at, output_shape=shape, order=1, mode="nearest")
            total += ndimage.affine_transform(filled, linear, **kwargs)
            if not whole:
                weight += ndimage.affine_transform(known.astype(float), linear, **kwargs)
    if whole:
        return total / points**2
    least = LEAST_SEEN * points**2
    return np.divide(total, weight, out=np.full(shape, np.nan), where=weight >= least)
