"""The domains of a component: how many, how large, what shape, how far apart.

Neighbours by an edge or a corner belong to one domain; what surrounds it then touches by edges
only. Shapes come from scikit-image. Domains that the map's border cuts are marked: their sizes and
shapes are those of a part. Dropping them would favour small domains, for a large one is cut more
often; the weights of Miles and Lantuéjoul undo that.

References
----------
R. E. Miles, Adv. Appl. Probab. 6 (1974) 220, and C. Lantuéjoul, Microsc. Acta Suppl. 4 (1980) 12,
for the weights; P. J. Clark, F. C. Evans, Ecology 35 (1954) 445, for the nearest distance of points
at random; perimeter by M. W. Crofton's formula (through scikit-image). All from memory.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

Array = np.ndarray
MOST_PAIRED = 4000
"""More domains than this get no distances from edge to edge."""


@dataclass(frozen=True, eq=False)
class Domains:
    """All domains of one component; arrays are (D,), lengths in the unit of the pitch.

    Attributes
    ----------
    image : int (rows, cols), 1 to D; 0 outside
    area, diameter : of a circle of the same area; perimeter : NaN for a single pixel
    circularity : 4π area/perimeter², 1 for a circle; not above 1
    orientation : of the long axis against x, y upwards, -90 to 90 degrees; NaN if round
    aspect : long axis over short axis
    centre : (D, 2) x, y
    cut : touches the border of the map; ragged : touches left-out pixels
    gap, apart : to the nearest other domain, from edge to edge and from centre to centre; NaN if
        there is none
    weight : of Miles and Lantuéjoul, 0 for cut domains; NaN where a domain is as large as the map
    euler : number of domains less number of holes; spans : whether one goes from side to side
    filled : left-out pixels inside a domain that were taken for part of it
    field : area of the map [unit²]
    """

    image: Array
    area: Array
    diameter: Array
    perimeter: Array
    circularity: Array
    orientation: Array
    aspect: Array
    centre: Array
    cut: Array
    ragged: Array
    gap: Array
    apart: Array
    weight: Array
    euler: int
    spans: bool
    filled: int
    field: float

    @property
    def count(self) -> int:
        return len(self.area)

    @property
    def density(self) -> float:
        """Domains per area, each cut one counted half [1/unit²]."""
        return (self.count - 0.5 * float(self.cut.sum())) / self.field

    @property
    def largest_share(self) -> float:
        """Share of the component's area in its largest domain: 1 if all hangs together."""
        return float(self.area.max() / self.area.sum()) if self.count else math.nan

    @property
    def mean_diameter(self) -> float:
        """Of whole domains, with the weights that make good for those cut; NaN without any."""
        good = np.isfinite(self.weight) & (self.weight > 0.0)
        if not good.any():
            return math.nan
        return float(np.average(self.diameter[good], weights=self.weight[good]))

    @property
    def area_weighted_diameter(self) -> float:
        """Mean diameter by area, all domains: where most of the component is."""
        return float(np.average(self.diameter, weights=self.area)) if self.count else math.nan

    @property
    def clustering(self) -> float:
        """Mean nearest distance of centres over that of points at random, ½/√density: below 1 if
        they stand in clusters, above 1 if they keep apart (at most 2.149)."""
        known = self.apart[np.isfinite(self.apart) & ~self.cut]
        if known.size < 5:
            return math.nan
        return float(known.mean()) * 2.0 * math.sqrt(self.count / self.field)


def domains_of(
    labels: Array, component: int, pitch: tuple[float, float] = (1.0, 1.0), *,
    usable: Array | None = None, smallest: int = 1,
) -> Domains:  # fmt: skip
    """The domains of a component.

    Parameters
    ----------
    labels : int (rows, cols), -1 in no component
    pitch : distance between rows and between columns
    usable : not used for what counts, only to tell left-out pixels; labels >= 0 if None
    smallest : domains of fewer pixels are passed over
    """
    from scipy import ndimage
    from skimage.measure import euler_number, label, regionprops

    mine, filled = closed(labels, component, usable)
    image = label(mine, connectivity=2)
    if smallest > 1:
        sizes = np.bincount(image.ravel())
        image[(sizes < smallest)[image]] = 0
        image = label(image > 0, connectivity=2)
    found = regionprops(image, spacing=pitch)
    rows, cols = labels.shape
    unknown = (labels < 0) if usable is None else ~usable
    beside = ndimage.binary_dilation(unknown & ~mine, np.ones((3, 3)))
    area = np.array([one.num_pixels for one in found], float) * pitch[0] * pitch[1]
    boxes = np.array([one.bbox for one in found]).reshape(-1, 4)
    cut = (boxes[:, 0] == 0) | (boxes[:, 1] == 0) | (boxes[:, 2] == rows) | (boxes[:, 3] == cols)
    perimeter = np.array([_perimeter(one, pitch) for one in found])
    with np.errstate(all="ignore"):
        circularity = np.minimum(4.0 * math.pi * area / perimeter**2, 1.0)
    axes = np.array([_axes(one) for one in found]).reshape(-1, 2)
    centre = np.array([one.centroid[::-1] for one in found]).reshape(-1, 2)
    gap, apart = _distances(image, centre, pitch)
    high, wide = (boxes[:, 2] - boxes[:, 0]) / rows, (boxes[:, 3] - boxes[:, 1]) / cols
    with np.errstate(divide="ignore"):
        weight = np.where(cut, 0.0, 1.0 / ((1.0 - high) * (1.0 - wide)))
    weight[~np.isfinite(weight)] = math.nan
    ragged = np.array([bool(beside[one.slice][one.image].any()) for one in found], bool)
    return Domains(
        image, area, np.sqrt(4.0 * area / math.pi), perimeter, circularity, axes[:, 0], axes[:, 1],
        centre, cut, ragged, gap, apart, weight, int(euler_number(image > 0, connectivity=2)),
        _spans(boxes, rows, cols), filled, rows * cols * pitch[0] * pitch[1],
    )  # fmt: skip


def closed(labels: Array, component: int, usable: Array | None = None) -> tuple[Array, int]:
    """The mask of a component with left-out pixels that it alone encloses, and how many those are.

    A lone spoiled pixel inside a domain must not make a hole in it.
    """
    from scipy import ndimage

    mine = labels == component
    unknown = (labels < 0) if usable is None else ~usable & ~mine
    islands, count = ndimage.label(unknown, np.ones((3, 3)))
    if not count:
        return mine, 0
    grown = ndimage.binary_dilation(mine, np.ones((3, 3)))
    numbers = np.arange(1, count + 1)
    touches_other = np.zeros(count, bool)
    others = ~mine & ~unknown
    near_other = ndimage.binary_dilation(others, np.ones((3, 3)))
    touches_other[:] = ndimage.maximum(near_other, islands, numbers) > 0
    touches_mine = ndimage.maximum(grown, islands, numbers) > 0
    edge = np.zeros(labels.shape, bool)
    edge[[0, -1], :] = edge[:, [0, -1]] = True
    touches_edge = ndimage.maximum(edge, islands, numbers) > 0
    take = np.append(False, touches_mine & ~touches_other & ~touches_edge)
    inside = take[islands]
    return mine | inside, int(np.count_nonzero(inside))


def _perimeter(one: object, pitch: tuple[float, float]) -> float:
    """By Crofton's formula; of pixels that are not square it is scaled by their mean side, which is
    right to a few per cent up to 1 : 1.2 and NaN beyond. NaN for a single pixel."""
    from skimage.measure import perimeter_crofton

    pixels = one.num_pixels  # type: ignore[attr-defined]
    if pixels < 2 or max(pitch) > 1.2 * min(pitch):
        return math.nan
    side = math.sqrt(pitch[0] * pitch[1])
    return float(perimeter_crofton(np.pad(one.image, 1), 4)) * side  # type: ignore[attr-defined]


def _axes(one: object) -> tuple[float, float]:
    """Orientation [degrees] and aspect ratio from the second moments."""
    long, short = one.axis_major_length, one.axis_minor_length  # type: ignore[attr-defined]
    if not short > 0.0:
        return math.nan, math.nan
    aspect = float(long / short)
    if aspect < 1.05:
        return math.nan, aspect
    # scikit-image counts from the rows' direction (here y, upwards) to the columns' (x)
    angle = 90.0 - math.degrees(one.orientation)  # type: ignore[attr-defined]
    return (angle + 90.0) % 180.0 - 90.0, aspect


def _distances(image: Array, centre: Array, pitch: tuple[float, float]) -> tuple[Array, Array]:
    """To the nearest other domain: from edge to edge, from centre to centre."""
    from scipy.ndimage import binary_erosion
    from scipy.spatial import cKDTree

    count = len(centre)
    none = np.full(count, math.nan)
    if count < 2:
        return none, none.copy()
    apart = cKDTree(centre).query(centre, k=2)[0][:, 1]
    if count > MOST_PAIRED:
        return none, apart
    outline = (image > 0) & ~binary_erosion(image > 0, np.ones((3, 3)), border_value=1)
    places, owner = np.argwhere(outline) * np.array(pitch), image[outline]
    gap = none
    order = np.argsort(owner, kind="stable")
    places, owner = places[order], owner[order]
    first = np.searchsorted(owner, np.arange(1, count + 2))
    tree = cKDTree(places)
    for k in range(count):
        mine = places[first[k] : first[k + 1]]
        if len(mine):
            gap[k] = _nearest_other(tree, places, owner, mine, k + 1)
    return gap, apart


def _nearest_other(tree: object, places: Array, owner: Array, mine: Array, number: int) -> float:
    """Shortest distance from some outline points to one of another domain."""
    near = 8
    while True:
        near = min(near, len(places))
        away, at = tree.query(mine, k=near)  # type: ignore[attr-defined]
        away, at = np.atleast_2d(away.T).T, np.atleast_2d(at.T).T
        other = owner[at] != number
        if near == len(places):
            return float(away[other].min()) if other.any() else math.nan
        best = np.where(other, away, np.inf).min()
        if best <= away[:, -1].min() or other.any(1).all():
            return float(best)
        near *= 8


def _spans(boxes: Array, rows: int, cols: int) -> bool:
    """Whether one domain goes from one side of the map to the opposite one."""
    down = (boxes[:, 0] == 0) & (boxes[:, 2] == rows)
    across = (boxes[:, 1] == 0) & (boxes[:, 3] == cols)
    return bool((down | across).any())
