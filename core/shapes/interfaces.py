"""How wide the interface between two components is.

Pixels are ordered by their distance from the boundary, which is drawn at half the step between the
two components with a resolution finer than a pixel: by the labels alone it would run along pixel
edges and widen the profile. The boundary is drawn on a smoothed map and the profile read off the
measured one, for a boundary that follows the noise of single pixels would sharpen it.

References
----------
W. E. Lorensen, H. E. Cline, Comput. Graph. 21 (1987) 163, for the contour (through scikit-image).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from .edge import Edge, fit_edge, no_edge, true_width

Array = np.ndarray
SMOOTH, MOST_SMOOTH = 1.0, 8.0
"""Standard deviation of the smoothing that the boundary is drawn on [pixels]; it goes with the
width, so that the boundary does not follow the noise of single pixels."""
ROUNDS = 4
SPAN = 3.5
"""The profile reaches at least so many σ to both sides."""
REACH = 6.0
"""How far from the boundary pixels are looked at [pixels], unless asked otherwise."""
BIN = 0.5
FEWEST_PIXELS = 30


@dataclass(frozen=True, eq=False)
class InterfaceWidth:
    """The mean profile across all stretches where two components meet.

    Attributes
    ----------
    edge : fitted error function, distances from a (negative) to b; its ± counts stretches of the
        boundary, not pixels
    distance, values, errors : (M,) the profile; median over the pixels of a bin and its ±
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
    usable : pixels that may be used; all with a value if None
    reach : how far from the boundary to look [unit of the pitch]
    log : fit ln of the values, as fits a modulus
    contact_radius : of the tip [unit of the pitch]; NaN if not known

    Returns
    -------
    InterfaceWidth : `edge.reason` says why there is none
    """
    step = min(pitch)
    usable = np.isfinite(values) & (np.ones(values.shape, bool) if usable is None else usable)
    if log:
        usable = usable & (values > 0.0)
    smooth, far, best = SMOOTH, reach, None
    for _ in range(ROUNDS):
        best = _measured(values, labels, a, b, pitch, usable, log, smooth,
                         REACH * step if far is None else far)  # fmt: skip
        sigma = best.edge.sigma / step
        if not math.isfinite(sigma) or not best.edge.resolved:
            break
        smooth = min(max(sigma, SMOOTH), MOST_SMOOTH)
        far = max(REACH, SPAN * sigma) * step if reach is None else reach
    assert best is not None
    upper, words = true_width(best.edge.sigma, contact_radius)
    radius = _curvature(labels, a, b, pitch)
    if radius < 3.0 * best.edge.sigma:
        words += (f"; domains of radius {radius:.3g} are not wide beside it, so it is only roughly "
                  "known")  # fmt: skip
    return replace(best, upper=upper, words=words)


def _measured(values: Array, labels: Array, a: int, b: int, pitch: tuple[float, float],
              usable: Array, log: bool, smooth: float, reach: float) -> InterfaceWidth:  # fmt: skip
    """The width with a boundary drawn on a map smoothed by `smooth` pixels."""
    step = min(pitch)
    signed, length = signed_distance(values, labels, a, b, pitch, usable, log, reach, smooth)
    near = usable & ((labels == a) | (labels == b)) & (np.abs(signed) <= reach)
    count = int(np.count_nonzero(near))
    if count < FEWEST_PIXELS:
        empty, none = np.empty(0), no_edge("the two components hardly meet", log)
        return InterfaceWidth(a, b, none, empty, empty, empty, count, length, math.nan, "")
    distance, middle, errors = _profile(signed[near], values[near], BIN * step, length, step, log)
    edge = fit_edge(distance, middle, errors, log=log)
    return InterfaceWidth(a, b, edge, distance, middle, errors, count, length, math.nan, "")


def signed_distance(
    values: Array, labels: Array, a: int, b: int, pitch: tuple[float, float], usable: Array,
    log: bool, reach: float, smooth: float = SMOOTH,
) -> tuple[Array, float]:  # fmt: skip
    """Distance of each pixel from the boundary of a and b, negative in a, (rows, cols), and the
    boundary's length. ∞ where there is none, and where a third component lies as near."""
    from scipy.ndimage import distance_transform_edt, gaussian_filter
    from scipy.spatial import cKDTree
    from skimage.measure import find_contours

    both = usable & ((labels == a) | (labels == b))
    out = np.full(labels.shape, math.inf)
    if min(labels.shape) < 2:
        return out, 0.0
    if not (usable & (labels == a)).any() or not (usable & (labels == b)).any():
        return out, 0.0
    scale = np.log(np.where(both, values, 1.0)) if log else np.where(both, values, 0.0)
    ends = [float(np.median(scale[both & (labels == k)])) for k in (a, b)]
    share = np.clip((scale - ends[0]) / (ends[1] - ends[0]), -0.5, 1.5)
    weight = np.maximum(gaussian_filter(both.astype(float), smooth), 1e-9)
    soft = gaussian_filter(np.where(both, share, 0.0), smooth) / weight
    inside_b = gaussian_filter((both & (labels == b)).astype(float), smooth) / weight >= 0.5
    lines = find_contours(np.where(weight > 0.2, soft, np.nan), 0.5, mask=weight > 0.2)
    apart = _from_change(inside_b, both)
    points, length = _fine(lines, pitch, apart)
    if not len(points):
        return out, 0.0
    where = np.argwhere(both & (apart <= reach / min(pitch) + 2.0))
    away, _ = cKDTree(points).query(where * np.array(pitch), distance_upper_bound=reach)
    out[tuple(where.T)] = np.where(soft[tuple(where.T)] < 0.5, -away, away)
    third = (labels >= 0) & ~both if (labels >= 0).any() else np.zeros(labels.shape, bool)
    if third.any():
        from_third = distance_transform_edt(~third, sampling=pitch)
        out[from_third <= np.abs(out)] = math.inf
    return out, length


def _from_change(inside: Array, both: Array) -> Array:
    """How far each pixel is from where the two sides lie side by side, in pixels."""
    from scipy.ndimage import binary_dilation, distance_transform_edt

    square = np.ones((3, 3), bool)
    one, other = both & ~inside, both & inside
    side = (one & binary_dilation(other, square)) | (other & binary_dilation(one, square))
    if not side.any():
        return np.full(inside.shape, math.inf)
    return np.asarray(distance_transform_edt(~side))


def _fine(lines: list[Array], pitch: tuple[float, float], apart: Array) -> tuple[Array, float]:
    """Contour points a tenth of a pixel apart where the labels change too, and their length."""
    found, length = [np.empty((0, 2))], 0.0
    for line in lines:
        if len(line) < 2:
            continue
        whole = np.clip(np.rint(line).astype(int), 0, np.array(apart.shape) - 1)
        real = apart[tuple(whole.T)] <= 3.0
        place = line * np.array(pitch)
        gaps = np.hypot(*np.diff(place, axis=0).T)
        kept = real[1:] & real[:-1]
        length += float(gaps[kept].sum())
        steps = np.linspace(0.0, 1.0, 10, endpoint=False)[:, None, None]
        between = place[:-1][None] + steps * np.diff(place, axis=0)[None]
        found.append(between[:, kept].reshape(-1, 2))
    return np.vstack(found), length


def _profile(signed: Array, values: Array, wide: float, length: float, step: float, log: bool
             ) -> tuple[Array, Array, Array]:  # fmt: skip
    """Mean distance, mean value and its ± in bins of the distance; of ln the values if `log`.

    The ± counts at most one independent pixel for each two steps of the boundary.
    """
    at = np.floor(signed / wide).astype(int)
    scale = np.log(values) if log else values
    distance, middle, errors = [], [], []
    most = max(length / (2.0 * step), 4.0)
    for k in np.unique(at):
        mine = at == k
        count = int(np.count_nonzero(mine))
        if count < 4:
            continue
        mean, spread = float(scale[mine].mean()), float(scale[mine].std(ddof=1))
        error = max(spread, 1e-9) / math.sqrt(min(count, most))
        distance.append(float(signed[mine].mean()))
        middle.append(math.exp(mean) if log else mean)
        errors.append(error * (math.exp(mean) if log else 1.0))
    return np.array(distance), np.array(middle), np.array(errors)


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
