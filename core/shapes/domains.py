"""The domains of a component: how many, how large, what shape, how far apart.

Neighbours by an edge or a corner belong to one domain; what surrounds it then touches by edges
only. Shapes come from scikit-image. Domains that the map's border cuts are marked: their sizes and
shapes are those of a part. Dropping them would favour small domains, for a large one is cut more
often; the weights of Miles and Lantuéjoul undo that. For their number per area a cut domain counts
half for a side that cuts it and a quarter for a corner: the mean of the four rules that count those
on two sides that meet and leave out those on the other two, each of which is unbiased.

References
----------
R. E. Miles, Adv. Appl. Probab. 6 (1974) 220, and C. Lantuéjoul, Microsc. Acta Suppl. 4 (1980) 12,
for the weights; H. J. G. Gundersen, J. Microsc. 111 (1977) 219, for the number per area;
P. J. Clark, F. C. Evans, Ecology 35 (1954) 445, for the nearest distance of points at random, and
K. Donnelly in Simulation methods in archaeology (1978) for what the border adds to it; perimeter by
M. W. Crofton's formula (through scikit-image). All from memory.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

Array = np.ndarray
WHICH = ("all", "whole", "weighted")


@dataclass(frozen=True)
class Sizes:
    """Equivalent diameters [unit of the pitch]; NaN without domains.

    Attributes
    ----------
    which : "all" takes cut domains as they are seen, "whole" drops them, which favours small ones,
        "weighted" drops them and makes good for it (Miles and Lantuéjoul)
    count : domains used
    lower, median, upper : quartiles by number; mean : by number; by_area : weighted by area, of
        where most of the component is
    """

    which: str
    count: int
    lower: float
    median: float
    upper: float
    mean: float
    by_area: float


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
    gap, apart : to the nearest other domain, from the middle of an outermost pixel to that of the
        other, and from centre to centre; NaN if there is none
    weight : of Miles and Lantuéjoul, 0 for cut domains; NaN where a domain is as large as the map
    euler : number of domains less number of holes; spans : whether one goes from side to side
    filled : left-out pixels inside a domain that were taken for part of it
    field, around : area and circumference of the map [unit², unit]
    counts : how much each counts for the number per area: 1, ½ if a side cuts it, ¼ if a corner
        does, 0 from side to side
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
    around: float
    counts: Array

    @property
    def count(self) -> int:
        return len(self.area)

    @property
    def density(self) -> float:
        """Domains per area, without bias by those the border cuts [1/unit²]."""
        return float(self.counts.sum()) / self.field

    def sizes(self, which: str = "weighted") -> Sizes:
        """The distribution of diameters; `which` is one of `WHICH`."""
        if which not in WHICH:
            raise ValueError(f"which must be one of {', '.join(WHICH)}; it is {which}")
        weight = self.weight if which == "weighted" else np.ones(self.count)
        kept = np.isfinite(weight) & (weight > 0.0) & ((which == "all") | ~self.cut)
        if not kept.any():
            nan = math.nan
            return Sizes(which, 0, nan, nan, nan, nan, nan)
        size, weight, area = self.diameter[kept], weight[kept], self.area[kept]
        quartiles = np.quantile(size, (0.25, 0.5, 0.75), weights=weight, method="inverted_cdf")
        lower, median, upper = map(float, quartiles)
        mean, by_area = (float(np.average(size, weights=w)) for w in (weight, weight * area))
        return Sizes(which, int(kept.sum()), lower, median, upper, mean, by_area)

    @property
    def largest_share(self) -> float:
        """Share of the component's area in its largest domain: 1 if all hangs together."""
        return float(self.area.max() / self.area.sum()) if self.count else math.nan

    @property
    def mean_diameter(self) -> float:
        """Of whole domains, with the weights that make good for those cut; NaN without any."""
        return self.sizes("weighted").mean

    @property
    def area_weighted_diameter(self) -> float:
        """Mean diameter by area, all domains: where most of the component is."""
        return float(np.average(self.diameter, weights=self.area)) if self.count else math.nan

    @property
    def clustering(self) -> float:
        """Mean nearest distance of centres over that of points at random, ½/√density and what the
        border adds: below 1 if they stand in clusters, above 1 if they keep apart (at most 2.149).
        Domains that have a size of their own can't stand as close as points can."""
        known = self.apart[np.isfinite(self.apart) & ~self.cut]
        if known.size < 5 or not self.density > 0.0:
            return math.nan
        border = (0.0514 + 0.041 / math.sqrt(self.count)) * self.around / self.count
        return float(known.mean()) / (0.5 / math.sqrt(self.density) + border)


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

    Returns
    -------
    Domains : with empty arrays for a component that is nowhere
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
        2.0 * (rows * pitch[0] + cols * pitch[1]), _counts(boxes, rows, cols),
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


def _counts(boxes: Array, rows: int, cols: int) -> Array:
    """How much each domain counts for the number per area."""
    down = 1.0 - 0.5 * (boxes[:, 0] == 0) - 0.5 * (boxes[:, 2] == rows)
    return down * (1.0 - 0.5 * (boxes[:, 1] == 0) - 0.5 * (boxes[:, 3] == cols))


def _perimeter(one: object, pitch: tuple[float, float]) -> float:
    """By Crofton's formula; pixels that are not square are first drawn anew on square ones of the
    larger side (on the smaller side steps would be left, which add up to 5 % at 3 : 2). NaN for a
    single pixel."""
    from scipy.ndimage import zoom
    from skimage.measure import perimeter_crofton

    image, side = np.pad(one.image, 1), max(pitch)  # type: ignore[attr-defined]
    if one.num_pixels < 2:  # type: ignore[attr-defined]
        return math.nan
    if side > 1.001 * min(pitch):
        image = np.pad(image, math.ceil(side / min(pitch)))
        shares = (pitch[0] / side, pitch[1] / side)
        image = zoom(image.astype(float), shares, order=1, grid_mode=True, mode="grid-constant")
        image = image >= 0.5
    found = float(perimeter_crofton(image, 4)) * side
    return found if found > 0.0 else math.nan


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
    """To the nearest other domain: from edge to edge, from centre to centre.

    The background is shared out to the nearest domain. The shortest way between two domains crosses
    the line where their shares meet, so it is found there.
    """
    from scipy.ndimage import distance_transform_edt
    from scipy.spatial import cKDTree

    count = len(centre)
    gap = np.full(count + 1, math.inf)
    if count < 2:
        return np.full(count, math.nan), np.full(count, math.nan)
    apart = cKDTree(centre).query(centre, k=2)[0][:, 1]
    row, col = distance_transform_edt(image == 0, sampling=pitch, return_distances=False,
                                      return_indices=True)  # fmt: skip
    owner = image[row, col]
    ahead, back, all_ = slice(1, None), slice(None, -1), slice(None)
    for one, other in (
        ((back, all_), (ahead, all_)), ((all_, back), (all_, ahead)),
        ((back, back), (ahead, ahead)), ((back, ahead), (ahead, back)),
    ):  # fmt: skip
        meet = owner[one] != owner[other]
        rise = (row[one] - row[other])[meet] * pitch[0]
        run = (col[one] - col[other])[meet] * pitch[1]
        away = np.hypot(rise, run)
        np.minimum.at(gap, owner[one][meet], away)
        np.minimum.at(gap, owner[other][meet], away)
    return np.where(np.isfinite(gap[1:]), gap[1:], math.nan), apart


def _spans(boxes: Array, rows: int, cols: int) -> bool:
    """Whether one domain goes from one side of the map to the opposite one."""
    down = (boxes[:, 0] == 0) & (boxes[:, 2] == rows)
    across = (boxes[:, 1] == 0) & (boxes[:, 3] == cols)
    return bool((down | across).any())
