"""Taking off the tilt, the bow and the line shifts of a height map, over chosen pixels only.

What is taken off is kept and told: a correction is never silent.

References
----------
Robust least squares by weights (P. J. Huber, Robust Statistics, 1981; biweight of J. W. Tukey with
c = 4.685), from memory. Line levelling: common practice, no source.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from .filters import Pitch

Array = np.ndarray
LINES = ("none", "median", "differences")
CUT = 4.685
"""Of the biweight, in robust standard deviations: 95 % efficient for Gaussian scatter."""
MAD_TO_SIGMA = 1.482602218505602
MEDIAN_COST = math.sqrt(math.pi / 2.0)


@dataclass(frozen=True)
class Levelling:
    """What to take off.

    Attributes
    ----------
    order : 0 the level alone, 1 a plane, 2 or 3 a polynomial of that total degree in x and y
    lines : "none"; "median", each line's own median; or "differences", the median of the
        differences of neighbouring lines, summed up from line to line
    on : labels of the components whose pixels decide; () for all usable pixels
    """

    order: int = 1
    lines: str = "none"
    on: tuple[int, ...] = ()

    def __post_init__(self) -> None:
        if self.order not in (0, 1, 2, 3):
            raise ValueError(f"the order of the levelling is {self.order}: 0, 1, 2 or 3 is known")
        if self.lines not in LINES:
            raise ValueError(f"no line levelling {self.lines!r}; known: {', '.join(LINES)}")


@dataclass(frozen=True, eq=False)
class Levelled:
    """A levelled map and what was taken off it.

    Attributes
    ----------
    values : (rows, cols) nm; NaN where the height was missing
    removed : (rows, cols) nm, finite everywhere: height = values + removed
    words : sentences for a methods paragraph
    order : the order that could be fitted, lower than asked if too few pixels decide; -1 for none
    tilt : of the polynomial at the middle of the map along x and along y [nm per unit of pitch]
    shifts : (rows,) nm, of each line; 0 where it was left
    left : lines without pixels to decide
    drift : standard error that the summed differences have gathered at the last line against the
        first [nm]; NaN without "differences". Relief that is smooth across the lines makes it up
        to twice too large
    pixels : how many decided
    """

    values: Array
    removed: Array
    words: str
    order: int
    tilt: tuple[float, float]
    shifts: Array
    left: int
    drift: float
    pixels: int


def level(
    height: Array, levelling: Levelling, *, labels: Array | None = None,
    usable: Array | None = None, pitch: Pitch = (1.0, 1.0), scaled: bool = True,
) -> Levelled:  # fmt: skip
    """Level a height map.

    If several components decide (`on` names two or more), each has a level of its own in the fit,
    so that the step between them tilts nothing; the step stays in the map.

    Parameters
    ----------
    height : (rows, cols) nm, NaN where missing
    labels : int (rows, cols), -1 for no component; needed if `levelling.on` is not empty
    usable : bool (rows, cols); pixels that may decide. All pixels are levelled
    pitch : between rows and between columns
    scaled : whether `pitch` is in nm; else tilts are told in nm a pixel

    Raises
    ------
    ValueError : shapes that differ; `on` without labels
    """
    height = np.asarray(height, dtype=float)
    group = _groups(height, levelling, labels, usable)
    chosen = group >= 0
    pixels = int(np.count_nonzero(chosen))
    if not pixels:
        words = "The heights were not levelled: no usable pixel was there to decide."
        zero = np.zeros(height.shape)
        return Levelled(height.copy(), zero, words, -1, (0.0, 0.0), zero[:, 0], height.shape[0],
                        math.nan, 0)  # fmt: skip
    surface, order, tilt, levels = _polynomial(height, group, levelling.order, pitch)
    rest = height - surface
    flat = np.where(chosen, rest - levels[np.maximum(group, 0)], np.nan)
    shifts, left, drift = _lines(flat, levelling.lines)
    removed = surface + shifts[:, None]
    words = _words(levelling, order, tilt, shifts, left, drift, pixels, scaled)
    return Levelled(height - removed, removed, words, order, tilt, shifts, left, drift, pixels)


def _groups(height: Array, levelling: Levelling, labels: Array | None, usable: Array | None
            ) -> Array:  # fmt: skip
    """Which level of its own a pixel has in the fit; -1 where it does not decide."""
    for other in (labels, usable):
        if other is not None and np.shape(other) != height.shape:
            raise ValueError(f"the heights have the shape {height.shape}, not {np.shape(other)}")
    good = np.isfinite(height)
    if usable is not None:
        good &= np.asarray(usable, dtype=bool)
    if not levelling.on:
        return np.where(good, 0, -1)
    if labels is None:
        raise ValueError("levelling on chosen components needs the labels of the pixels")
    out = np.full(height.shape, -1)
    found = [c for c in levelling.on if (good & (labels == c)).any()]
    for i, component in enumerate(found):
        out[good & (labels == component)] = i
    return out


def _terms(shape: tuple[int, int], order: int) -> tuple[Array, Array, list[tuple[int, int]]]:
    """Legendre polynomials along y and x, and the pairs of degrees without the constant."""
    from numpy.polynomial.legendre import legvander

    y, x = (np.linspace(-1.0, 1.0, n) if n > 1 else np.zeros(1) for n in shape)
    pairs = [(i, j) for i in range(order + 1) for j in range(order + 1) if 0 < i + j <= order]
    return legvander(y, order), legvander(x, order), pairs


def _polynomial(height: Array, group: Array, order: int, pitch: Pitch
                ) -> tuple[Array, int, tuple[float, float], Array]:  # fmt: skip
    """The surface, its order, its tilt in the middle, and each group's level above it."""
    chosen = group >= 0
    kinds, z = group[chosen], height[chosen]
    count = int(group.max()) + 1
    rows, cols = np.nonzero(chosen)
    offset = float(np.median(z))
    while True:
        in_y, in_x, pairs = _terms(height.shape, order)
        parts = [(kinds == g).astype(float) for g in range(count)]
        parts += [in_y[rows, i] * in_x[cols, j] for i, j in pairs]
        found = _robust(np.column_stack(parts), z - offset)
        if found is not None or order == 0:
            break
        order -= 1
    if found is None:  # a level needs one pixel, which is there
        found = np.zeros(count)
    share = np.bincount(kinds, minlength=count) / kinds.size
    middle = float(share @ found[:count])
    shape = np.zeros((order + 1, order + 1))
    for (i, j), a in zip(pairs, found[count:], strict=True):
        shape[i, j] = a
    surface = in_y @ shape @ in_x.T + middle + offset
    return surface, order, _tilt(shape, height.shape, pitch), found[:count] - middle


def _tilt(shape: Array, size: tuple[int, int], pitch: Pitch) -> tuple[float, float]:
    """Slope along x and along y in the middle of the map."""
    from numpy.polynomial.legendre import legder, legval2d

    def along(axis: int) -> float:
        if shape.shape[axis] < 2 or size[axis] < 2:
            return 0.0
        half = 0.5 * (size[axis] - 1) * pitch[axis]
        return float(legval2d(0.0, 0.0, legder(shape, axis=axis))) / half

    return along(1), along(0)


def _robust(design: Array, z: Array) -> Array | None:
    """Coefficients by biweight from a Huber start; None if the pixels don't determine them."""
    weights, found = np.ones(z.size), None
    size = np.sum(design**2, axis=0)
    if z.size < design.shape[1] or not np.all(size > 0.0):
        return None
    for turn in range(25):
        weighted = design * weights[:, None]
        normal = weighted.T @ design
        scale = np.sqrt(np.diag(normal))
        if not np.all(scale > 0.0):
            return found
        even = normal / np.outer(scale, scale)
        if np.linalg.eigvalsh(even)[0] < 1e-8:
            return found
        before, found = found, np.linalg.solve(even, weighted.T @ z / scale) / scale
        rest = z - design @ found
        sigma = MAD_TO_SIGMA * float(np.median(np.abs(rest)))
        if not sigma > 1e-12 * (float(np.ptp(z)) or 1.0):
            return found
        u = np.abs(rest) / sigma
        if turn < 5:
            weights = np.minimum(1.0, 1.345 / np.maximum(u, 1e-12))
        else:
            weights = np.where(u < CUT, (1.0 - (u / CUT) ** 2) ** 2, 0.0)
            if before is not None and np.max(np.abs(found - before)) < 1e-6 * sigma:
                break
    return found


def _median(rows: Array) -> Array:
    """Median of each row without its missing pixels; NaN where there are none."""
    out = np.full(rows.shape[0], np.nan)
    there = np.isfinite(rows).any(axis=1)
    if there.any():
        out[there] = np.nanmedian(rows[there], axis=1)
    return out


def _lines(flat: Array, how: str) -> tuple[Array, int, float]:
    """Shift of each line, how many were left, and what the summed differences may have drifted."""
    count = flat.shape[0]
    if how == "none":
        return np.zeros(count), 0, math.nan
    if how == "median":
        own = _median(flat)
        missing = ~np.isfinite(own)
        return np.where(missing, 0.0, own), int(np.count_nonzero(missing)), math.nan
    steps = np.diff(flat, axis=0)
    own = _median(steps)
    known = np.isfinite(own)
    shifts = np.concatenate([[0.0], np.cumsum(np.where(known, own, 0.0))])
    shifts -= np.median(shifts)
    # lines that no difference reaches, from either side, are left
    reached = np.concatenate([[False], known]) | np.concatenate([known, [False]])
    shifts[~reached] = 0.0
    return shifts, int(np.count_nonzero(~reached)), _drift(steps, known)


def _drift(steps: Array, known: Array) -> float:
    """Standard error of the sum of the medians of differences, from their scatter in each line."""
    from ..uncertainty.effective import effective_number

    if not known.any():
        return math.nan
    away = steps - _median(steps)[:, None]
    spread = MAD_TO_SIGMA * _median(np.abs(away))
    # neighbours along a line are alike: one figure for all lines
    clipped = np.clip(away, -3.0 * spread[:, None], 3.0 * spread[:, None])
    there = np.isfinite(clipped)
    share = effective_number(clipped, there) / max(int(np.count_nonzero(there)), 1)
    own = np.maximum(np.count_nonzero(there, axis=1) * share, 1.0)
    alike = _sign_sum(away, float(np.mean(own)))
    return MEDIAN_COST * math.sqrt(alike * float(np.sum((spread**2 / own)[known])))


def _sign_sum(away: Array, own: float) -> float:
    """1 + 2 Σ of the correlations of signs from line to line: medians err as the signs do.

    White noise gives 1/3: neighbouring differences share a line and pull against each other.
    """
    sign, total = np.sign(away), 1.0
    for lag in range(1, min(20, sign.shape[0] - 1)):
        product = sign[lag:] * sign[:-lag]
        there = np.isfinite(product)
        if not there.any():
            break
        found = float(np.mean(product[there]))
        if abs(found) < 2.0 / math.sqrt(own * product.shape[0]):
            break
        total += 2.0 * found
    return max(total, 0.05)


def _words(levelling: Levelling, order: int, tilt: tuple[float, float], shifts: Array, left: int,
           drift: float, pixels: int, scaled: bool) -> str:  # fmt: skip
    where = "all usable pixels"
    if levelling.on:
        names = ", ".join(str(c) for c in levelling.on)
        where = f"the pixels of component {names}" if len(levelling.on) == 1 else (
            f"the pixels of the components {names}, each with a level of its own")  # fmt: skip
    what = ("the level", "a plane", "a polynomial of second order",
            "a polynomial of third order")[order]  # fmt: skip
    text = f"From the heights {what} was taken off, fitted robustly to {where} ({pixels})"
    if order:
        steep = math.hypot(*tilt)
        text += (f"; tilt {1e3 * steep:.3g} mrad ({math.degrees(math.atan(steep)):.3g}°)"
                 if scaled else f"; tilt {steep:.3g} nm a pixel")  # fmt: skip
        text += " in the middle" if order > 1 else ""
    text += "."
    if order < levelling.order:
        text += f" Order {levelling.order} was asked for, but these pixels don't determine it."
    if levelling.lines == "none":
        return text
    how = ("their medians" if levelling.lines == "median"
           else "the medians of the differences of neighbouring lines")  # fmt: skip
    text += (f" Then lines were shifted by {how} over the same pixels, by "
             f"{shifts.min():.3g} to {shifts.max():.3g} nm.")  # fmt: skip
    if math.isfinite(drift):
        text += (f" Summed differences drift: between the first and the last line the standard "
                 f"error is {drift:.2g} nm, and heights far apart across the lines are no better "
                 "than that.")  # fmt: skip
    if left:
        text += f" {left} lines without such pixels were left as they were."
    return text
