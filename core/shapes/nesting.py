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


def border_of(labels: Array, component: int, pitch: tuple[float, float] = (1.0, 1.0)) -> Border:
    """What the domains of a component border on, by the length of the pixels' edges. Pixels in no
    component do not count."""
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
        found = _beside(here, labels[around], pitch)
        if not found:
            continue
        whole += 1
        for other, edges in found.items():
            shares[other] = shares.get(other, 0.0) + edges
        ring = _ring(here)
        lies = labels[around][ring]
        lies = lies[lies >= 0]
        for other in found:
            if lies.size and np.mean(lies == other) >= INSIDE:
                inside[other] = inside.get(other, 0) + 1
    length = sum(shares.values())
    return Border(component, {k: v / length for k, v in sorted(shares.items())},
                  {k: v / whole for k, v in sorted(inside.items())}, whole)  # fmt: skip


def _beside(here: Array, labels: Array, pitch: tuple[float, float]) -> dict[int, float]:
    """Length of the pixels' edges between a domain and each other component."""
    sums: dict[int, float] = {}
    back, ahead, all_ = slice(None, -1), slice(1, None), slice(None)
    for one, other, long in (((back, all_), (ahead, all_), pitch[1]),
                             ((all_, back), (all_, ahead), pitch[0])):  # fmt: skip
        leaves, enters = here[one] & ~here[other], here[other] & ~here[one]
        across = np.concatenate((labels[other][leaves], labels[one][enters]))
        counts = np.bincount(across[across >= 0])
        for number in np.flatnonzero(counts):
            sums[int(number)] = sums.get(int(number), 0.0) + long * float(counts[number])
    return sums


def _ring(here: Array) -> Array:
    """The pixels all around a domain and what it holds itself: a shell with a core in it lies in
    what is outside."""
    from scipy.ndimage import binary_dilation, binary_fill_holes

    whole = binary_fill_holes(here) if np.count_nonzero(here) > 3 else here
    return binary_dilation(whole, np.ones((3, 3))) & ~whole


def share_inside(labels: Array, a: int, b: int) -> float:
    """Share of the domains of a that lie inside b with its holes filled; NaN without domains.

    Domains that the map's border cuts are left out, as what is around them is not seen. A core in a
    shell of another component still lies in what is around that shell.
    """
    from scipy import ndimage

    image, count = ndimage.label(closed(labels, a)[0], np.ones((3, 3)))
    whole = np.setdiff1d(np.arange(1, count + 1), _on_border(image))
    if not whole.size:
        return math.nan
    filled = ndimage.binary_fill_holes(closed(labels, b)[0])
    inside = ndimage.mean(filled, image, whole)
    return float(np.mean(np.asarray(inside) >= INSIDE))


def _on_border(image: Array) -> Array:
    """Numbers of the domains that touch the border of the map, with 0."""
    sides = (image[0], image[-1], image[:, 0], image[:, -1])
    return np.unique(np.concatenate((*sides, [0])))


@dataclass(frozen=True, eq=False)
class DepthProfile:
    """A channel against the depth inside the domains of a component, cores and all.

    Attributes
    ----------
    depth : (M,) mean distance from the domain's outer edge [unit of the pitch]
    values, errors : (M,) mean over domains and its standard error, which is the scatter between
        domains; NaN with fewer than three
    domains, pixels : (M,) of each step of depth
    """

    depth: Array
    values: Array
    errors: Array
    domains: Array
    pixels: Array


def depth_profile(
    values: Array, labels: Array, component: int, pitch: tuple[float, float] = (1.0, 1.0), *,
    usable: Array | None = None, step: float | None = None, log: bool = False,
) -> DepthProfile:  # fmt: skip
    """Mean of a channel at each depth inside the domains of a component.

    Each domain counts once at each depth that it reaches, so that neighbouring pixels are not taken
    for independent. What a domain encloses belongs to it: a shell goes over into its core. Domains
    that the map's border cuts are left out, as their edge is not seen.

    Parameters
    ----------
    values : (rows, cols); labels : int (rows, cols)
    usable : pixels that may be used; all with a value if None
    step : of depth [unit of the pitch]; one pixel if None
    log : mean of ln the values, given back as a value; those not positive are then left out
    """
    from scipy import ndimage

    step = max(pitch) if step is None else step
    mask = ndimage.binary_fill_holes(closed(labels, component)[0])
    image, count = ndimage.label(mask, np.ones((3, 3)))
    image[np.isin(image, _on_border(image))] = 0
    good = (image > 0) & np.isfinite(values) & (np.ones_like(mask) if usable is None else usable)
    if log:
        good &= values > 0.0
    # from the middle of a pixel to the edge that it shares with the first one outside
    depth = ndimage.distance_transform_edt(image > 0, sampling=pitch)[good] - 0.5 * min(pitch)
    at = np.floor(depth / step).astype(int)
    if not at.size:
        return DepthProfile(*[np.empty(0)] * 5)
    wide = int(at.max()) + 1
    cell = image[good] * wide + at
    v = np.log(values[good]) if log else values[good]
    number, total = (np.bincount(cell, w, (count + 1) * wide).reshape(-1, wide)
                     for w in (None, v))  # fmt: skip
    seen = number > 0
    with np.errstate(all="ignore"):
        each = np.where(seen, total / number, 0.0)
        domains = seen.sum(0)
        mean = each.sum(0) / domains
        scatter = (np.where(seen, each - mean, 0.0) ** 2).sum(0) / (domains - 1)
        errors = np.where(domains > 2, np.sqrt(scatter / domains), math.nan)
        where = np.bincount(at, depth) / number.sum(0)
    if log:
        mean = np.exp(mean)
        errors = errors * mean
    kept = domains > 0
    return DepthProfile(where[kept], mean[kept], errors[kept], domains[kept],
                        number.sum(0)[kept])  # fmt: skip


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
