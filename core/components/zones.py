"""Pixels that measure more than one component: along boundaries, and those that fit none.

The tip touches a disc of the contact radius, and a pixel stands for a square, so a pixel nearer to
a boundary than both together may have felt the other side. Such pixels keep their label, and count
in the area, but can be kept out of a component's statistics.
"""

from __future__ import annotations

import math

import numpy as np

from .maps import Maps
from .rule import Rule

Array = np.ndarray

NONE, PURE, BOUNDARY, MIXED, FOREIGN = range(5)
KINDS = {
    NONE: "in no component",
    PURE: "pure",
    BOUNDARY: "near a boundary",
    MIXED: "between components",
    FOREIGN: "far from every component",
}
"""What a pixel is; a number of the map `kinds`."""
MIXED_BELOW = 0.9
"""A pixel away from boundaries whose membership is below this is called mixed."""


def contact_radii(maps: Maps, labels: Array, count: int) -> Array:
    """Contact radius [nm] at each component's median indentation, (count,); NaN where not known."""
    out = np.full(count, math.nan)
    depth = maps.values.get("indentation")
    if maps.contact_radius is None or depth is None:
        return out
    for k in range(count):
        inside = depth[(labels == k) & np.isfinite(depth)]
        if inside.size:
            out[k] = float(maps.contact_radius(np.array([np.median(inside)]))[0])
    return out


def zone_widths(maps: Maps, rule: Rule, labels: Array, count: int) -> Array:
    """How wide each component's boundary zone is, on its own side, (count,).

    Half a pixel's diagonal and the component's own contact radius; that alone where it is not
    known. In nm, or in pixels without a scale.
    """
    if rule.zone == "none":
        return np.zeros(count)
    if rule.zone == "given":
        return np.full(count, rule.zone_width)
    half = 0.5 * math.hypot(*maps.pitch)
    radii = contact_radii(maps, labels, count)
    return half + np.where(np.isfinite(radii), radii, 0.0)


def boundary_distances(labels: Array, pitch: tuple[float, float]) -> Array:
    """Distance from each labelled pixel to the nearest pixel of another component, less the half of
    that pixel on the way: about the distance to the boundary. (rows, cols), ∞ where there is no
    other, NaN without a label. Pixels of no component make no boundary: nobody knows what they are.
    """
    return nearest_other(labels, pitch)[0]


def nearest_other(labels: Array, pitch: tuple[float, float]) -> tuple[Array, Array]:
    """As `boundary_distances`, and which component the nearest other pixel belongs to; -1 where
    there is none."""
    from scipy.ndimage import distance_transform_edt

    labelled = labels >= 0
    far = np.where(labelled, math.inf, math.nan)
    other = np.full(labels.shape, -1, labels.dtype)
    present = np.unique(labels[labelled])
    for k in present if len(present) > 1 else ():
        mine = labels == k
        away, at = distance_transform_edt(~(labelled & ~mine), sampling=pitch, return_indices=True)
        there = at[0][mine], at[1][mine]
        steps = np.maximum(*(np.abs(t - h) for t, h in zip(there, np.nonzero(mine), strict=True)))
        far[mine] = away[mine] * (1.0 - 0.5 / steps)
        other[mine] = labels[there]
    return far, other


def kinds_of(
    labels: Array, membership: Array, foreign: Array, widths: Array, distances: Array
) -> Array:
    """What each pixel is, uint8 (rows, cols).

    Parameters
    ----------
    labels, membership : of each pixel and how probable its own label is
    foreign : bool, far from every component
    widths : of the boundary zone of each component
    distances : from `boundary_distances`
    """
    kinds = np.zeros(labels.shape, np.uint8)
    inside = labels >= 0
    kinds[inside] = PURE
    kinds[inside & (membership < MIXED_BELOW)] = MIXED
    width = np.zeros(labels.shape)
    width[inside] = widths[labels[inside]]
    kinds[inside & (distances < width)] = BOUNDARY
    kinds[foreign] = FOREIGN
    return kinds
