"""Which component lies in which: core and shell, and how thick the shell is."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from .domains import closed

Array = np.ndarray
INSIDE = 0.9
"""A domain lies inside a component that makes this share of what lies around it."""


@dataclass(frozen=True)
class Border:
    """What a component's domains border on.

    Attributes
    ----------
    component : whose; shares : other component -> share of the border, by length
    inside : other component -> share of the domains that it alone encloses
    domains : how many were looked at; those that the map's border cuts are not
    """

    component: int
    shares: dict[int, float]
    inside: dict[int, float]
    domains: int


@dataclass(frozen=True)
class Shell:
    """A shell between a core and what is outside; lengths in the unit of the pitch.

    Attributes
    ----------
    core, shell : components; cores : how many were looked at
    thickness, spread : mean and standard deviation over the cores of the mean distance from the
        core's edge to the shell's outer edge
    least : mean of the thinnest place of each shell
    touching : share of the cores whose shell is open somewhere: there they touch what is outside
    """

    core: int
    shell: int
    cores: int
    thickness: float
    spread: float
    least: float
    touching: float


def border_of(labels: Array, component: int) -> Border:
    """What the domains of a component border on. Pixels in no component do not count."""
    from scipy import ndimage

    mine, _ = closed(labels, component)
    image, count = ndimage.label(mine, np.ones((3, 3)))
    shares: dict[int, float] = {}
    inside: dict[int, int] = {}
    whole = 0
    for k, box in enumerate(ndimage.find_objects(image), start=1):
        row, col = box
        if row.start == 0 or col.start == 0 or row.stop == image.shape[0] or (
                col.stop == image.shape[1]):  # fmt: skip
            continue
        around = (slice(row.start - 1, row.stop + 1), slice(col.start - 1, col.stop + 1))
        here = image[around] == k
        found = _beside(here, labels[around])
        total = sum(found.values())
        if not total:
            continue
        whole += 1
        for other, edges in found.items():
            shares[other] = shares.get(other, 0.0) + edges
            if _encloses(here, labels[around] == other):
                inside[other] = inside.get(other, 0) + 1
    length = sum(shares.values())
    return Border(component, {k: v / length for k, v in sorted(shares.items())},
                  {k: v / whole for k, v in sorted(inside.items())}, whole)  # fmt: skip


def _beside(here: Array, labels: Array) -> dict[int, float]:
    """Edges between a domain and each other component."""
    found: dict[int, float] = {}
    for axis in (0, 1):
        for one, other in ((slice(None, -1), slice(1, None)), (slice(1, None), slice(None, -1))):
            a = (one, slice(None)) if axis == 0 else (slice(None), one)
            b = (other, slice(None)) if axis == 0 else (slice(None), other)
            across = labels[b][here[a] & ~here[b]]
            for number, count in zip(*np.unique(across[across >= 0], return_counts=True),
                                     strict=True):  # fmt: skip
                found[int(number)] = found.get(int(number), 0.0) + float(count)
    return found


def _encloses(here: Array, other: Array) -> bool:
    """Whether `other` lies all around the domain and what it holds itself: a shell with a core in
    it lies in what is outside."""
    from scipy.ndimage import binary_dilation, binary_fill_holes

    whole = binary_fill_holes(here)
    ring = binary_dilation(whole, np.ones((3, 3))) & ~whole
    return bool(other[ring].mean() >= INSIDE)


def chains(borders: dict[int, Border], least: float = 0.5) -> list[tuple[int, ...]]:
    """Chains such as (2, 1, 0): 2 lies in 1, and 1 in 0; a link holds where at least this share of
    the domains is enclosed."""
    outer = {k: max(b.inside, key=lambda o: b.inside[o]) for k, b in borders.items()
             if b.inside and max(b.inside.values()) >= least}  # fmt: skip
    found = []
    for start in outer:
        if start in outer.values():
            continue
        chain = [start]
        while chain[-1] in outer and outer[chain[-1]] not in chain:
            chain.append(outer[chain[-1]])
        found.append(tuple(chain))
    return found


def shell_of(
    labels: Array, core: int, shell: int, pitch: tuple[float, float] = (1.0, 1.0)
) -> Shell:
    """The shell around each core that does not touch the border of the map.

    The distance is taken from the core's edge, half a pixel inside its outermost pixels' far side,
    to the first pixel beyond the shell; so it is right to about half a pixel.
    """
    from scipy import ndimage

    cores, _ = closed(labels, core)
    image, count = ndimage.label(cores, np.ones((3, 3)))
    outside = (labels >= 0) & (labels != shell) & ~cores
    if not count or not outside.any() or not (labels == shell).any():
        return Shell(core, shell, 0, math.nan, math.nan, math.nan, math.nan)
    away = ndimage.distance_transform_edt(~outside, sampling=pitch) - min(pitch)
    means, least, touching = [], [], 0
    for k, box in enumerate(ndimage.find_objects(image), start=1):
        row, col = box
        if row.start == 0 or col.start == 0 or row.stop == image.shape[0] or (
                col.stop == image.shape[1]):  # fmt: skip
            continue
        mine = image[box] == k
        rim = mine & ~ndimage.binary_erosion(mine)
        distance = np.maximum(away[box][rim], 0.0)
        means.append(float(distance.mean()))
        least.append(float(distance.min()))
        touching += bool(distance.min() < 0.5 * min(pitch))
    if not means:
        return Shell(core, shell, 0, math.nan, math.nan, math.nan, math.nan)
    spread = float(np.std(means, ddof=1)) if len(means) > 1 else math.nan
    return Shell(core, shell, len(means), float(np.mean(means)), spread, float(np.mean(least)),
                 touching / len(means))  # fmt: skip
