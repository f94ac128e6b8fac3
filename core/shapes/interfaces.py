"""How wide the interface between two components is.

Pixels are ordered by their distance from the boundary, which is drawn at half the step between the
two components with a resolution finer than a pixel: by the labels alone it would run along pixel
edges and change the profile. The boundary is drawn on a smoothed map and the profile read off the
measured one, for a boundary that follows the noise of single pixels would sharpen it.

The ± of the width comes from the boundary itself: it is cut into stretches, and the fit is repeated
without each of them in turn. Noise that is alike along the boundary, and widths that differ from
place to place, are in it. Noise that is alike over more than the interface is wide also moves the
boundary and widens the profile: by about 5 % where it is a tenth of the step and alike over twice
the width.

References
----------
W. E. Lorensen, H. E. Cline, Comput. Graph. 21 (1987) 163, for the contour (through scikit-image).
M. H. Quenouille, Biometrika 43 (1956) 353, for leaving out a part at a time; from memory.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from .edge import Edge, fit_edge, fitted, no_edge
from .widths import true_width

Array = np.ndarray
SMOOTH, MOST_SMOOTH = 1.0, 8.0
"""Standard deviation of the smoothing that the boundary is drawn on [pixels]; it goes with the
width, so that the boundary does not follow the noise of single pixels."""
ROUNDS = 4
SPAN = 3.5
"""The profile reaches at least so many σ to both sides."""
REACH = 6.0
"""How far from the boundary pixels are looked at [pixels], unless asked otherwise."""
SETTLED = 0.02
"""The boundary is not drawn again for a change of smoothing and reach below this share."""
BIN, FEWEST_IN_BIN = 0.5, 4
"""Width of the profile's bins [smaller pitch], and how many pixels one must hold."""
POINTS = 5
"""Points on each piece of a contour; a piece is at most a pixel's diagonal."""
STRETCHES, FEWEST_STRETCHES, SHORTEST = 20, 6, 16.0
"""Into how many stretches the boundary is cut, at least so many and of so many pixels; with fewer
the ± counts one independent pixel for each two steps along the boundary."""
FEWEST_PIXELS = 30


@dataclass(frozen=True, eq=False)
class InterfaceWidth:
    """The mean profile across all stretches where two components meet.

    Attributes
    ----------
    edge : fitted error function, distances from a (negative) to b; its ± counts stretches of the
        boundary, not pixels
    distance, values, errors : (M,) the profile; mean over the pixels of a bin (of the logarithm if
        that is fitted) and its ±
    pixels : of the profile; length : of the boundary [unit of the pitch]
    upper : σ without the contact's own width, an upper bound
    words : what limits it
    """

    a: int
    b: int
    edge: Edge
    distance: Array
    values: Array
    errors: Array
    pixels: int
    length: float
    upper: float
    words: str


def interface_width(
    values: Array, labels: Array, a: int, b: int, pitch: tuple[float, float], *,
    usable: Array | None = None, reach: float | None = None, log: bool = True,
    contact_radius: float = math.nan,
) -> InterfaceWidth:  # fmt: skip
    """Width of the interface between components a and b.

    Parameters
    ----------
    values : (rows, cols) of one channel; labels : int (rows, cols)
    pitch : distance between rows and between columns
    usable : pixels that may be used; all with a value and a component if None. Usable pixels in
        no component whose value lies between the two count as undecided between them, for leaving
        them out would cut the middle from the profile
    reach : how far from the boundary to look [unit of the pitch]
    log : fit ln of the values, as fits a modulus
    contact_radius : of the tip [unit of the pitch]; NaN if not known

    Returns
    -------
    InterfaceWidth : `edge.reason` says why there is none
    """
    step = min(pitch)
    usable = np.isfinite(values) & ((labels >= 0) if usable is None else usable)
    if log:
        usable = usable & (values > 0.0)
    smooth, far = SMOOTH, REACH * step if reach is None else reach
    for turn in range(ROUNDS):
        line = boundary(values, labels, a, b, pitch, usable, log, far, smooth)
        best = _measured(line, values, a, b, step, log)
        sigma = best.edge.sigma / step
        if not math.isfinite(sigma) or not best.edge.resolved or turn == ROUNDS - 1:
            break
        before, smooth = (smooth, far), min(max(sigma, SMOOTH), MOST_SMOOTH)
        far = max(REACH, SPAN * sigma) * step if reach is None else reach
        if np.allclose(before, (smooth, far), rtol=SETTLED, atol=0.0):
            break
    best = _judged(best, line, values, step, log)
    found = true_width(best.edge.sigma, contact_radius)
    upper, words = found.high if math.isfinite(found.high) else found.upper, found.words
    radius = _curvature(labels, a, b, pitch)
    if radius < 3.0 * best.edge.sigma:
        words += (f" Domains of radius {radius:.3g} are not wide beside it, so it is only roughly "
                  "known.")  # fmt: skip
    return replace(best, upper=upper, words=words)


@dataclass(frozen=True, eq=False)
class Boundary:
    """Where two components meet.

    Attributes
    ----------
    near : bool (rows, cols), the pixels of the profile
    signed : of each of them its distance from the boundary, negative in a
    along : how far along the boundary it lies, 0 to `length`
    length : of all stretches [unit of the pitch]
    """

    near: Array
    signed: Array
    along: Array
    length: float


def _measured(line: Boundary, values: Array, a: int, b: int, step: float, log: bool
              ) -> InterfaceWidth:  # fmt: skip
    """The width by one boundary, with a ± that takes pixels for independent along it."""
    count = len(line.signed)
    if count < FEWEST_PIXELS:
        empty, none = np.empty(0), no_edge("the two components hardly meet", log)
        return InterfaceWidth(a, b, none, empty, empty, empty, count, line.length, math.nan, "")
    distance, middle, errors = _profile(line, values[line.near], step, log)
    if log:
        middle = np.exp(middle)
        errors = errors * middle
    edge = fit_edge(distance, middle, errors, log=log)
    return InterfaceWidth(a, b, edge, distance, middle, errors, count, line.length, math.nan, "")


def _judged(found: InterfaceWidth, line: Boundary, values: Array, step: float, log: bool
            ) -> InterfaceWidth:  # fmt: skip
    """The same with the ± that leaving out each stretch of the boundary in turn gives."""
    edge = found.edge
    count = int(min(STRETCHES, line.length / (SHORTEST * step)))
    if not math.isfinite(edge.sigma) or count < FEWEST_STRETCHES:
        return found
    part = np.minimum((line.along / line.length * count).astype(int), count - 1)
    levels = np.log([edge.low, edge.high]) if log else (edge.low, edge.high)
    start = (edge.position, math.log(edge.sigma), *map(float, levels))
    bins = np.floor(line.signed / (BIN * step)).astype(int)
    bins -= bins.min()
    v = np.log(values[line.near]) if log else values[line.near]
    wide = int(bins.max()) + 1
    sums = [np.bincount(part * wide + bins, w, count * wide).reshape(count, wide)
            for w in (np.ones_like(v), line.signed, v)]  # fmt: skip
    kept = sums[0].sum(0) >= FEWEST_IN_BIN
    number, way, total = (one[:, kept] for one in sums)
    n, s = number.sum(0), found.errors / (found.values if log else 1.0)
    mean = total.sum(0) / n
    spread = np.sqrt(count / (count - 1) * ((total - number * mean) ** 2).sum(0)) / n
    rest = []
    for k in range(count):
        left = n - number[k]
        good = left > 0.0
        x = (way.sum(0) - way[k])[good] / left[good]
        y = (total.sum(0) - total[k])[good] / left[good]
        answer = fitted(x, y, s[good], start) if good.sum() >= 5 else None
        if answer is not None:
            rest.append(answer.x)
    if len(rest) < FEWEST_STRETCHES:
        return found
    off = np.array(rest) - np.mean(rest, axis=0)
    errors = np.sqrt((len(rest) - 1) / len(rest) * (off**2).sum(0))
    fresh = replace(
        edge, sigma_error=edge.sigma * float(errors[1]) if edge.resolved else edge.sigma_error,
        position_error=max(float(errors[0]), 0.0 if edge.resolved else edge.position_error),
        low_error=float(errors[2]) * (edge.low if log else 1.0),
        high_error=float(errors[3]) * (edge.high if log else 1.0),
    )  # fmt: skip
    return replace(found, edge=fresh, errors=spread * (found.values if log else 1.0))


def boundary(
    values: Array, labels: Array, a: int, b: int, pitch: tuple[float, float], usable: Array,
    log: bool, reach: float, smooth: float = SMOOTH,
) -> Boundary:  # fmt: skip
    """The boundary of a and b on a map smoothed by `smooth` [smaller pitch], and the pixels that
    lie within `reach` beside it: none that a third component is nearer to, and none beyond the end
    of a stretch, from where no distance is square to it."""
    from scipy.ndimage import distance_transform_edt, gaussian_filter
    from scipy.spatial import cKDTree
    from skimage.measure import find_contours

    empty = np.empty(0)
    none = Boundary(np.zeros(labels.shape, bool), empty, empty, 0.0)
    if min(labels.shape) < 2:
        return none
    if not (usable & (labels == a)).any() or not (usable & (labels == b)).any():
        return none
    scale = np.log(np.where(usable, values, 1.0)) if log else np.where(usable, values, 0.0)
    ends = [float(np.median(scale[usable & (labels == k)])) for k in (a, b)]
    if ends[0] == ends[1]:
        return none
    share = (scale - ends[0]) / (ends[1] - ends[0])
    labels = _decided(labels, usable & (share >= 0.0) & (share <= 1.0), share, a, b)
    share = np.clip(share, -0.5, 1.5)
    both = usable & ((labels == a) | (labels == b))
    blur = [smooth * min(pitch) / one for one in pitch]
    weight = np.maximum(gaussian_filter(both.astype(float), blur), 1e-9)
    soft = gaussian_filter(np.where(both, share, 0.0), blur) / weight
    inside_b = gaussian_filter((both & (labels == b)).astype(float), blur) / weight >= 0.5
    lines = find_contours(np.where(weight > 0.2, soft, np.nan), 0.5, mask=weight > 0.2)
    apart = _from_change(inside_b, both)
    points, along, last, length = _fine(lines, pitch, apart, blur)
    if not len(points):
        return none
    where = np.argwhere(both & (apart <= reach / min(pitch) + 2.0))
    away, at = cKDTree(points).query(where * np.array(pitch), distance_upper_bound=reach)
    rows, cols = where.T
    good = np.isfinite(away)
    at[~good] = 0
    good &= ~last[at] | (away < 0.5 * min(pitch))
    third = (labels >= 0) & (labels != a) & (labels != b)
    if third.any():
        good &= distance_transform_edt(~third, sampling=pitch)[rows, cols] > away
    rows, cols, away, at = rows[good], cols[good], away[good], at[good]
    near = none.near
    near[rows, cols] = True  # argwhere goes row by row, as the pixels of a mask do
    return Boundary(near, np.where(soft[rows, cols] < 0.5, -away, away), along[at], length)


def _decided(labels: Array, between: Array, share: Array, a: int, b: int) -> Array:
    """Labels in which pixels of no component whose value is between those of a and b belong to the
    one they are more like, if the nearest pixel with a component belongs to either."""
    from scipy.ndimage import distance_transform_edt

    open_ = between & (labels < 0)
    if not open_.any():
        return labels
    at = distance_transform_edt(labels < 0, return_distances=False, return_indices=True)
    nearest = labels[tuple(at)]
    open_ &= (nearest == a) | (nearest == b)
    return np.where(open_, np.where(share < 0.5, a, b), labels)


def _from_change(inside: Array, both: Array) -> Array:
    """How far each pixel is from where the two sides lie side by side, in pixels."""
    from scipy.ndimage import binary_dilation, distance_transform_edt

    square = np.ones((3, 3), bool)
    one, other = both & ~inside, both & inside
    side = (one & binary_dilation(other, square)) | (other & binary_dilation(one, square))
    if not side.any():
        return np.full(inside.shape, math.inf)
    return np.asarray(distance_transform_edt(~side))


def _fine(lines: list[Array], pitch: tuple[float, float], apart: Array, blur: list[float]
          ) -> tuple[Array, Array, Array, float]:  # fmt: skip
    """Contour points some tenths of a pixel apart where the labels change too: their places, how
    far along the boundary they are, which ends a stretch, and the length of all.

    Near the border of a map the smoothed map is bent, so the contour is not followed there.
    """
    rows, cols = apart.shape
    edges = [b if size > 10.0 * b else 0.0 for b, size in zip(blur, (rows, cols), strict=True)]
    places, along, last, length = [np.empty((0, 2))], [np.empty(0)], [np.empty(0, bool)], 0.0
    inner = np.linspace(0.0, 1.0, POINTS, endpoint=False)
    for line in lines:
        if len(line) < 2:
            continue
        whole = np.clip(np.rint(line).astype(int), 0, np.array(apart.shape) - 1)
        real = apart[tuple(whole.T)] <= 3.0
        real &= (line >= edges).all(1) & (line <= (rows - 1 - edges[0], cols - 1 - edges[1])).all(1)
        kept = real[1:] & real[:-1]
        if not kept.any():
            continue
        place = line * np.array(pitch)
        pieces = np.diff(place, axis=0)[kept]
        gaps = np.hypot(*pieces.T)
        closed = bool((line[0] == line[-1]).all())
        around = np.concatenate(([closed and kept[-1]], kept, [closed and kept[0]]))
        begins, stops = ~around[:-2][kept], ~around[2:][kept]
        ends = np.zeros((len(pieces), POINTS), bool)
        ends[:, 0], ends[:, -1] = begins, stops
        places.append((place[:-1][kept][:, None] + inner[:, None] * pieces[:, None]).reshape(-1, 2))
        far = np.cumsum(gaps) - gaps
        along.append((length + far[:, None] + inner * gaps[:, None]).ravel())
        last.append(ends.ravel())
        length += float(gaps.sum())
    return np.concatenate(places), np.concatenate(along), np.concatenate(last), length


def _profile(line: Boundary, values: Array, step: float, log: bool) -> tuple[Array, Array, Array]:
    """Mean distance, mean value and its ± in bins of the distance; of ln the values if `log`.

    The ± counts at most one independent pixel for each two steps of the boundary.
    """
    at = np.floor(line.signed / (BIN * step)).astype(int)
    at -= at.min()
    v = np.log(values) if log else values
    count = np.bincount(at)
    kept = count >= FEWEST_IN_BIN
    n = np.maximum(count, 1)
    mean = np.bincount(at, v) / n
    spread = np.sqrt(np.bincount(at, (v - mean[at]) ** 2) / np.maximum(count - 1, 1))
    most = max(line.length / (2.0 * step), 4.0)
    size = float(np.ptp(v)) or 1.0
    errors = np.maximum(spread, 1e-9 * size) / np.sqrt(np.minimum(n, most))
    return (np.bincount(at, line.signed) / n)[kept], mean[kept], errors[kept]


def _curvature(labels: Array, a: int, b: int, pitch: tuple[float, float]) -> float:
    """Radius of the largest disc that fits into the narrower of the two, typical of its domains."""
    from scipy.ndimage import distance_transform_edt

    found = []
    for k in (a, b):
        mine = labels == k
        if mine.any():
            inner = distance_transform_edt(np.pad(mine, 1, mode="edge"), sampling=pitch)
            found.append(float(np.quantile(inner[inner > 0.0], 0.9)))
    return min(found, default=math.inf)
