"""Where a picture lies on a map, found from the two by themselves.

The contrast may be inverted or bent, so both are turned to ranks and only the size of the
correlation counts. On coarse copies every rotation and scale of a grid is tried, each with all
shifts at once by masked correlation through Fourier transforms (Padfield, IEEE Trans. Image
Process. 21 (2012) 2706, from memory); the best few are refined on finer copies so that the size of
the correlation of ranks, weighed by the overlap, is largest.

The quality is how far the best coarse match stands out of the matches at all other rotations,
which are chance ones, in their robust spreads. `LIMIT` comes from pairs of unrelated fields.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from ..errors import InputError
from ..progress import Progress
from .alignment import Alignment, ByHand, similarity_matrix
from .comparing import ranks_of
from .laying import on_grid

Array = np.ndarray
COARSE = 48
"""Pixels along the longer side of the coarse map."""
FINE = 128
STEP = 7.5
"""Degrees between the rotations that are tried."""
SCALES = 5
LEAST_OVERLAP = 0.3
"""Of the smaller of the two; what overlaps less is not tried."""
LIMIT = 9.0
"""Quality below which nothing is claimed. Of 200 pairs of unrelated pictures (96 x 96 on maps of
64 x 64, grains of 1.5 to 6 pixels of the map, smooth or in two phases) the quality was 3.0 in the
middle, 5.6 at the 99th percentile and 7.3 at most: none is above, so that fewer than 1.5 % of
unrelated pairs would be aligned (95 % confidence)."""
KEPT = 4


def correlate(
    picture: Any, field: Array, x: Array, y: Array, *, pixel_size: float | None = None,
    scales: tuple[float, float] = (0.8, 1.25), mirrored: bool = False,
    progress: Progress | None = None,
) -> Alignment | None:  # fmt: skip
    """Align a picture with a map channel by correlation; None if it could not be aligned.

    See `search` for the parameters and for what was found all the same.
    """
    found = search(picture, field, x, y, pixel_size=pixel_size, scales=scales, mirrored=mirrored,
                   progress=progress)  # fmt: skip
    return found if is_aligned(found) else None


def is_aligned(found: Alignment) -> bool:
    """Whether a match found by `search` is good enough to be claimed."""
    return found.quality >= LIMIT


def search(
    picture: Any, field: Array, x: Array, y: Array, *, pixel_size: float | None = None,
    scales: tuple[float, float] = (0.8, 1.25), mirrored: bool = False,
    progress: Progress | None = None,
) -> Alignment:  # fmt: skip
    """The best match of a picture with a map channel, be it good or not.

    Parameters
    ----------
    picture : `Picture`, or (rows, cols) with row 0 at the bottom; NaN is missing
    field : (rows, cols), the channel; NaN is missing
    x, y : axes of the map in nm
    pixel_size : nm between the picture's pixels; None: the picture's own, or else as if it were
        as wide as the map
    scales : range of the true pixel size over that one
    mirrored : look for the mirrored picture instead
    progress : told of each turn that is tried; stops the search with `Cancelled`

    Returns
    -------
    Alignment : `quality` as in the module's text; `words` begin with "Could not align" below
        `LIMIT`; `residual` is NaN, as a correlation has no distances

    Raises InputError if one of the two has hardly any values or does not vary.
    """
    values = np.asarray(getattr(picture, "values", picture), dtype=float)
    size = pixel_size or getattr(picture, "pixel_size", None)
    x, y = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    for name, image in (("picture", values), ("map", field)):
        known = image[np.isfinite(image)]
        if min(image.shape) < 8 or known.size < 64 or known.min() == known.max():
            raise InputError(f"The {name} has too few values, or does not vary: nothing to align.")
    wide, high = _extent(x), _extent(y)
    size = size or wide / values.shape[1]
    if not 0.0 < scales[0] <= scales[1]:
        raise InputError("The range of scales is from a number above zero to a larger one.")
    coarse_pitch = max(wide, high) / COARSE
    frame = _Frame(field, x, y, coarse_pitch)
    progress = progress or Progress()
    sizes = size * np.geomspace(*scales, SCALES if scales[1] > scales[0] else 1)
    tried = _try_all(values, frame, sizes, mirrored, progress)
    places = sorted(tried, key=lambda t: -t[0])
    quality = _quality(tried, places[0])
    fine = _Frame(field, x, y, max(max(wide, high) / FINE, abs(x[1] - x[0]), abs(y[1] - y[0])))
    bounds = (size * scales[0] * 0.95, size * scales[1] * 1.05)
    rough = [_refined(values, p[1], frame, bounds, 0.3, progress) for p in places[:KEPT]]
    start = max(rough, key=lambda t: t[0])[1]
    start = _refined(values, start, fine, bounds, 0.05, progress)[1]
    score, best, r, share = _refined(values, start, fine, bounds, 0.01, progress, exact=True)
    good = quality >= LIMIT
    words = (f"{'Aligned by' if good else 'Could not align by'} correlation: ranks correlate by "
             f"{r:+.2f} over {100 * share:.0f} % of the map; the match stands {quality:.1f} "
             f"spreads out of chance ones ({LIMIT:g} are asked for).")  # fmt: skip
    return Alignment("similarity", similarity_matrix(_shape(values), best), "correlation", words,
                     quality=quality)  # fmt: skip


def _shape(values: Array) -> tuple[int, int]:
    return int(values.shape[0]), int(values.shape[1])


def _extent(axis: Array) -> float:
    """Length of an axis, pixels' own widths included."""
    return float(abs(axis[-1] - axis[0]) * axis.size / max(axis.size - 1, 1))


class _Frame:
    """The map's ranks on a square grid of some pitch."""

    def __init__(self, field: Array, x: Array, y: Array, pitch: float) -> None:
        wide, high = _extent(x), _extent(y)
        cols, rows = max(round(wide / pitch), 4), max(round(high / pitch), 4)
        self.pitch = pitch
        self.x = (x[0] + x[-1]) / 2.0 + pitch * (np.arange(cols) - (cols - 1) / 2.0)
        self.y = (y[0] + y[-1]) / 2.0 + pitch * (np.arange(rows) - (rows - 1) / 2.0)
        dx = (x[-1] - x[0]) / (x.size - 1)
        dy = (y[-1] - y[0]) / (y.size - 1)
        own = Alignment("affine", ((dx, 0.0, x[0]), (0.0, dy, y[0]), (0.0, 0.0, 1.0)), "by hand")
        laid = on_grid(field, own, self.x, self.y)
        self.mask = np.isfinite(laid)
        self.ranks = ranks_of(laid, self.mask)
        self.centre = np.array([self.x.mean(), self.y.mean()])


def _try_all(
    values: Array, frame: _Frame, sizes: Array, mirrored: bool, progress: Progress
) -> list[tuple[float, ByHand]]:  # fmt: skip
    """(score, placing) of the best shift at each rotation and scale."""
    from scipy import fft

    shape = _shape(values)
    reach = float(sizes.max()) * math.hypot(*shape)
    side = math.ceil(reach / frame.pitch) + 1
    axis = frame.pitch * (np.arange(side) - (side - 1) / 2.0)
    full = [fft.next_fast_len(n + side - 1, real=True) for n in frame.ranks.shape]
    fixed = np.stack([np.nan_to_num(frame.ranks), frame.mask.astype(float),
                      np.nan_to_num(frame.ranks) ** 2]).astype(np.float32)  # fmt: skip
    fixed_f = fft.rfft2(fixed, full)
    out = []
    small, block = _shrunk(values, float(sizes.min()), frame.pitch)
    turns = np.arange(-180.0, 180.0, STEP)
    for done, angle in enumerate(turns):
        progress.step(done, len(turns), "Aligning the picture")
        for size in sizes:
            placed = ByHand(0.0, 0.0, float(angle), float(size), mirrored)
            laid = _laid(small, _for_small(placed, shape, block), axis, axis)
            mask = np.isfinite(laid)
            if np.count_nonzero(mask) < 16:
                continue
            m = mask.astype(np.float32)
            t = np.where(mask, laid, 0.0).astype(np.float32)
            spectrum = np.conj(fft.rfft2(np.stack([t, m, t * t]), full))
            score, row, col = _best_shift(fixed_f, spectrum, full, min(m.sum(), fixed[1].sum()))
            at = []
            for lag, length, whole in ((col, frame.x.size, full[1]), (row, frame.y.size, full[0])):
                lag = lag if lag < length else lag - whole
                at.append(frame.pitch * (lag + (side - 1) / 2.0 - (length - 1) / 2.0))
            place = frame.centre + at
            out.append((score, ByHand(float(place[0]), float(place[1]), float(angle), float(size),
                                      mirrored)))  # fmt: skip
    return out


def _shrunk(values: Array, size: float, pitch: float) -> tuple[Array, int]:
    """Ranks of a picture with pixels of about the pitch, and how many make one."""
    from .laying import thinned

    block = max(1, round(pitch / size))
    small = thinned(values, block)
    return ranks_of(small, np.isfinite(small)), block


def _laid(small: Array, alignment: Alignment, x: Array, y: Array) -> Array:
    """A picture with pixels of about the grid's pitch on an even grid, linear between pixels; NaN
    outside. Much quicker than `on_grid`, which averages over footprints."""
    from scipy import ndimage

    inverse = np.linalg.inv(alignment.array)
    turned, pitch = inverse[1::-1, 1::-1], np.array([y[1] - y[0], x[1] - x[0]])
    offset = turned @ np.array([y[0], x[0]]) + inverse[1::-1, 2]
    return np.asarray(ndimage.affine_transform(
        small, turned * pitch, offset, (y.size, x.size), order=1, mode="constant", cval=np.nan
    ))  # fmt: skip


def _for_small(placed: ByHand, shape: tuple[int, int], block: int) -> Alignment:
    """The alignment of a shrunk picture whose whole one is placed so."""
    shrink = np.array([[block, 0, (block - 1) / 2], [0, block, (block - 1) / 2], [0, 0, 1.0]])
    matrix = np.array(similarity_matrix(shape, placed)) @ shrink
    return Alignment("similarity", tuple(map(tuple, matrix)), "correlation")


def _best_shift(
    fixed: Array, moving: Array, full: list[int], smaller: float
) -> tuple[float, int, int]:  # fmt: skip
    """The largest score over all shifts: |arctanh r| times the root of the overlapping pixels."""
    from scipy import fft

    a, m, aa = fixed
    b, k, bb = moving
    n, sa, sb, saa, sbb, sab = fft.irfft2(
        np.stack([m * k, a * k, m * b, aa * k, m * bb, a * b]), full
    )
    enough = n > LEAST_OVERLAP * smaller
    n = np.where(enough, n, 1.0)
    va, vb = saa - sa * sa / n, sbb - sb * sb / n
    enough &= (va > 0.05 * n) & (vb > 0.05 * n)
    below = np.sqrt(np.where(enough, va * vb, 1.0))
    r = np.where(enough, np.clip((sab - sa * sb / n) / below, -0.999, 0.999), 0.0)
    score = np.abs(np.arctanh(r)) * np.sqrt(n / smaller)
    at = int(np.argmax(score))
    row, col = np.unravel_index(at, score.shape)
    return float(score.flat[at]), int(row), int(col)


def _quality(tried: list[tuple[float, ByHand]], best: tuple[float, ByHand]) -> float:
    """How far the best stands out of the best matches at each rotation away from it."""
    away: dict[float, float] = {}
    for score, placed in tried:
        apart = abs((placed.angle - best[1].angle + 180.0) % 360.0 - 180.0)
        if apart > 3.0 * STEP:
            away[placed.angle] = max(score, away.get(placed.angle, 0.0))
    rest = np.array(list(away.values()))
    if rest.size < 8:
        return math.nan
    middle = float(np.median(rest))
    spread = 1.4826 * float(np.median(np.abs(rest - middle)))
    return (best[0] - middle) / max(spread, 0.02 * middle, 1e-12)


def _refined(
    values: Array, start: ByHand, frame: _Frame, bounds: tuple[float, float], tolerance: float,
    progress: Progress, exact: bool = False,
) -> tuple[float, ByHand, float, float]:  # fmt: skip
    """Score, placing, correlation and share of the map after a search about a start; `exact` for
    the last steps, with each map pixel's whole footprint."""
    from scipy.optimize import minimize

    shape = _shape(values)
    small, block = _shrunk(values, start.scale, frame.pitch / (2.0 if exact else 1.0))
    lay = on_grid if exact else _laid
    reach = start.scale * math.hypot(*shape) / 2.0
    unit = frame.pitch / reach  # the turn that moves the picture's corner by one pixel
    smaller = min(frame.mask.sum(), shape[0] * shape[1] * (start.scale / frame.pitch) ** 2)

    def placed(p: Array) -> ByHand:
        scale = float(np.clip(start.scale * math.exp(p[3] * unit), *bounds))
        return ByHand(start.x + p[0] * frame.pitch, start.y + p[1] * frame.pitch,
                      start.angle + math.degrees(p[2] * unit), scale, start.mirrored)  # fmt: skip

    def match(p: Array) -> tuple[float, float, float]:
        progress.check()
        laid = lay(small, _for_small(placed(p), shape, block), frame.x, frame.y)
        both = frame.mask & np.isfinite(laid)
        n = int(np.count_nonzero(both))
        if n < LEAST_OVERLAP * smaller:
            return 0.0, 0.0, 0.0
        a, b = frame.ranks[both], laid[both]
        a, b = a - a.mean(), b - b.mean()
        r = float(a @ b / max(math.sqrt(float(a @ a) * float(b @ b)), 1e-300))
        score = abs(math.atanh(min(max(r, -0.9999), 0.9999))) * math.sqrt(n / smaller)
        return score, r, n / both.size

    first = np.vstack([np.zeros(4), (0.3 if exact else 1.5) * np.eye(4)])
    options = {"xatol": tolerance, "fatol": 1e-6, "initial_simplex": first,
               "maxiter": 50 if exact else 150}  # fmt: skip
    found = minimize(lambda p: -match(p)[0], np.zeros(4), method="Nelder-Mead", options=options)
    score, r, share = match(found.x)
    return score, placed(found.x), r, share
