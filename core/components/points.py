"""Pixels as points: the coordinates that a rule looks at, and which pixels have them all."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from ..steps.tools import MAD_TO_SIGMA
from .maps import NO_VALUE, NOT_POSITIVE, USED, Maps
from .rule import Axis

Array = np.ndarray
STEEP = 3.7
"""Local slopes above this many standard deviations of a plain patch are an edge."""
ODD = 4.5
"""A pixel further than this from its neighbours' median is not one of a plain patch."""


@dataclass(frozen=True, eq=False)
class Points:
    """The usable pixels of a map as points.

    Attributes
    ----------
    axes : of the coordinates
    stack : (rows, cols, D) coordinates, log₁₀ where the axis is one; NaN where not usable
    errors : (rows, cols, D) local standard uncertainties in the same coordinates; 0 if not known
    reasons : uint8 (rows, cols), `maps.USED` or why a pixel is left out
    """

    axes: tuple[Axis, ...]
    stack: Array
    errors: Array
    reasons: Array

    @classmethod
    def of(cls, maps: Maps, axes: tuple[Axis, ...]) -> Points:
        """The points of some maps; raises ValueError naming a channel that they do not have."""
        reasons = maps.reasons.copy()
        stack = np.empty((*maps.shape, len(axes)))
        errors = np.zeros_like(stack)
        for i, axis in enumerate(axes):
            if axis.channel not in maps.values:
                raise ValueError(f"the analysis has no channel {axis.channel!r}")
            stack[..., i], errors[..., i] = on_axis(axis, maps)
            values = maps.values[axis.channel]
            _leave_out(reasons, ~np.isfinite(values), NO_VALUE)
            if axis.log:
                _leave_out(reasons, ~(values > 0.0), NOT_POSITIVE)
        stack[reasons != USED] = np.nan
        return cls(axes, stack, errors, reasons)

    @cached_property
    def used(self) -> Array:
        """(rows, cols) bool."""
        return self.reasons == USED

    @cached_property
    def table(self) -> Array:
        """(N, D) coordinates of the used pixels, row after row."""
        return self.stack[self.used]

    @cached_property
    def plain(self) -> Array:
        """(rows, cols) bool: used pixels inside a patch that is alike, away from every edge.

        A pixel on a boundary measures both sides, so its numbers lie between those of two
        components and would make a component of their own. Edges are found without knowing the
        components: where the local slope (Sobel), or the distance from the neighbours' median,
        stands out of what half of the map shows. With too few such pixels all used ones are taken.
        """
        edge = np.zeros(self.used.shape, bool)
        for i in range(self.stack.shape[2]):
            edge |= _edges(self.stack[..., i], self.used)
        plain = self.used & ~edge
        enough = max(30.0, 0.1 * float(np.count_nonzero(self.used)))
        return plain if np.count_nonzero(plain) >= enough else self.used


def _leave_out(reasons: Array, where: Array, why: int) -> None:
    reasons[where & (reasons == USED)] = why


def on_axis(axis: Axis, maps: Maps) -> tuple[Array, Array]:
    """A channel in an axis's coordinate with its local standard uncertainty (0 if not known)."""
    values = maps.values[axis.channel]
    errors = maps.errors.get(axis.channel)
    errors = np.zeros_like(values) if errors is None else np.where(np.isfinite(errors), errors, 0.0)
    if not axis.log:
        return values, errors
    with np.errstate(all="ignore"):
        return np.log10(values), np.where(values > 0.0, errors / (values * np.log(10.0)), 0.0)


def in_channel(axis: Axis, coordinate: Array) -> Array:
    """A coordinate back in the channel's unit."""
    return 10.0 ** np.asarray(coordinate) if axis.log else np.asarray(coordinate)


def filled(values: Array, known: Array) -> Array:
    """Values with each unknown pixel taking that of the nearest known one; (rows, cols)."""
    from scipy.ndimage import distance_transform_edt

    if known.all() or not known.any():
        return np.where(known, values, 0.0)
    nearest = distance_transform_edt(~known, return_distances=False, return_indices=True)
    return values[tuple(nearest)]


def _edges(values: Array, known: Array) -> Array:
    """Where one coordinate changes from pixel to pixel more than inside a patch."""
    from scipy.ndimage import median_filter, sobel

    if not known.any():
        return np.zeros(known.shape, bool)
    whole = filled(values, known)
    across, along = sobel(whole, 1) / 8.0, sobel(whole, 0) / 8.0
    scale = MAD_TO_SIGMA * float(np.median(np.abs(np.append(across[known], along[known]))))
    odd = np.abs(whole - median_filter(whole, 3))
    usual = MAD_TO_SIGMA * float(np.median(odd[known]))
    return (np.hypot(across, along) > STEEP * max(scale, 1e-300)) | (
        odd > ODD * max(usual, 1e-300))  # fmt: skip
