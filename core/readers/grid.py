"""Reads the grid of a native file: its shape, the pixel centres, and the height overview."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from .guard import GuardedFile, as_read_error
from .recorded import INSTRUMENT

LARGEST_GRID = 2**24  # pixels, 4096 x 4096
SMALL_GRID = 2**20  # up to here a map may be as empty as it likes
_HEIGHT = "entry/overview/height"
_REPAIR = "Write the map again, for example with palpate.core.write_map."


def read_grid(g: GuardedFile, pixel: np.ndarray, warnings: list[str]) -> dict[str, Any]:
    """shape, x, y, has_scale and overview of `MapParts`, checked against the curves' pixels.

    Raises ReadError if a curve lies outside the grid (naming the curve) or the grid is absurd.
    """
    shape = _shape(g, pixel, warnings)
    _check_pixels(g, pixel, shape, warnings)
    axes = [
        _overview_axis(g, name, n, warnings) or _range_axis(g, name, n, warnings)
        for name, n in (("x", shape[1]), ("y", shape[0]))
    ]
    has_scale = all(axes)
    if not has_scale:
        warnings.append("The size of the map is not recorded; lengths on it are counted in pixels.")
        axes = [tuple(range(n)) for n in (shape[1], shape[0])]
    x, y = (_read_only(np.array(axis, dtype=np.float64)) for axis in axes)
    overview = _overview(g, shape, warnings)
    return {"shape": shape, "x": x, "y": y, "has_scale": has_scale, "overview": overview}


def _read_only(array: np.ndarray) -> np.ndarray:
    array.flags.writeable = False
    return array


def _shape(g: GuardedFile, pixel: np.ndarray, warnings: list[str]) -> tuple[int, int]:
    rows = g.number(f"{INSTRUMENT}/scan/scan_points_y")
    cols = g.number(f"{INSTRUMENT}/scan/scan_points_x")
    if rows is None or cols is None:
        overview = g.numbers(_HEIGHT, ranks=(2,))
        if overview is not None:
            rows, cols = overview.shape
        else:
            rows, cols = (float(n) for n in pixel.max(axis=0) + 1)
            warnings.append(
                "The file doesn't say how many rows and columns the map has; they are taken from "
                "the pixels that were measured."
            )
    good = all(math.isfinite(v) and v >= 1 and v == int(v) for v in (rows, cols))
    if not good or rows * cols > LARGEST_GRID:
        what = f"a map of {rows:g} x {cols:g} pixels can't be used"
        raise g.fail(f"{INSTRUMENT}/scan", what, f"The limit is {LARGEST_GRID} pixels. {_REPAIR}")
    if rows * cols > SMALL_GRID and rows * cols > 1000 * len(pixel):
        what = f"the map has {rows:g} x {cols:g} pixels but only {len(pixel)} curves"
        raise g.fail(f"{INSTRUMENT}/scan", what, _REPAIR)
    return int(rows), int(cols)


def _check_pixels(
    g: GuardedFile, pixel: np.ndarray, shape: tuple[int, int], warnings: list[str]
) -> None:
    outside = (pixel >= np.array(shape)).any(axis=1)
    if outside.any():
        curve = int(np.argmax(outside))
        row, col = pixel[curve]
        what = f"row {row}, column {col} is outside the map of {shape[0]} x {shape[1]} pixels"
        raise g.fail(f"entry/curves/pixel, curve {curve}", what, _REPAIR)
    found = np.zeros(shape, dtype=bool)
    found[pixel[:, 0], pixel[:, 1]] = True
    here = int(np.count_nonzero(found))
    if here < len(pixel):
        warnings.append(
            f"{len(pixel) - here} curves were measured again at the same pixel; the last one of "
            "each pixel is used."
        )
    if here < found.size:
        warnings.append(f"{found.size - here} of {found.size} pixels have no curve.")


def _overview_axis(
    g: GuardedFile, name: str, n: int, warnings: list[str]
) -> tuple[float, ...] | None:
    place = f"entry/overview/{name}"
    found = g.array(place)
    if found is None:
        return None
    _, factor = g.factor_to_core(place, "length")
    axis = found.astype(np.float64) * factor
    step = np.diff(axis)
    ordered = (step > 0).all() or (step < 0).all()
    if axis.shape != (n,) or not np.isfinite(axis).all() or not ordered:
        warnings.append(f"{place} doesn't fit the map and is left out.")
        return None
    return tuple(axis.tolist())


def _range_axis(
    g: GuardedFile, name: str, n: int, warnings: list[str]
) -> tuple[float, ...] | None:
    place = f"{INSTRUMENT}/scan/scan_range_{name}"
    value = g.number(place)
    if value is None:
        return None
    _, factor = g.factor_to_core(place, "length")
    length = value * factor
    if not (math.isfinite(length) and length > 0):
        warnings.append(f"{place} is {value:g}, which is impossible; it is left out.")
        return None
    return tuple(((np.arange(n) + 0.5) * (length / n)).tolist())


def _overview(g: GuardedFile, shape: tuple[int, int], warnings: list[str]) -> np.ndarray | None:
    found = g.numbers(_HEIGHT, ranks=(2,))
    if found is None:
        return None
    if found.shape != shape:
        warnings.append(f"{_HEIGHT} has another shape than the map and is left out.")
        return None
    _, factor = g.factor_to_core(_HEIGHT, "length")
    with as_read_error(g.path, _HEIGHT):
        return _read_only(GuardedFile.read(found).astype(np.float64) * factor)
