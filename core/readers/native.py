"""Reads maps in the native layout ``ragged-1``: HDF5 with NeXus names.

The layout is described in the project's format description: two channels of samples one curve
after the other, an index that says where each curve and each of its segments begins, and
constants with their units. Numbers are turned into core units here and nowhere else.
"""

from __future__ import annotations

import dataclasses
import math
from pathlib import Path
from typing import Any

import numpy as np

from ..errors import ReadError
from ..forcemap import ForceMap
from ..mapparts import TIP_SHAPES, Constant, MapParts, Recorded, frozen, kept_dtype
from .door import Seen
from .guard import FOREIGN, GuardedFile, as_read_error

NAME = "Palpate force map (HDF5, ragged-1)"
LARGEST_GRID = 2**26  # pixels
MOST_SEGMENTS = 64

CURVES = "entry/curves"
INSTRUMENT = "entry/instrument"
_AGAIN = "Write the map again, for example with palpate.core.write_map."

# place in the file, dimension (several are possible), may it be 0 or below?
_CONSTANTS: dict[str, tuple[str, tuple[str, ...], bool]] = {
    "spring_constant": ("cantilever/spring_constant", ("stiffness",), False),
    "deflection_sensitivity": ("cantilever/deflection_sensitivity", ("sensitivity",), False),
    "resonance_frequency": ("cantilever/resonance_frequency", ("frequency",), False),
    "quality_factor": ("cantilever/quality_factor", ("number",), False),
    "cantilever_length": ("cantilever/cantilever_length", ("length",), False),
    "cantilever_width": ("cantilever/cantilever_width", ("length",), False),
    "cantilever_thickness": ("cantilever/cantilever_thickness", ("length",), False),
    "radius": ("tip/radius", ("length",), False),
    "half_angle": ("tip/half_angle", ("angle",), False),
    "set_point": ("scan/set_point", ("force", "voltage"), True),
    "temperature": ("environment/temperature", ("temperature",), False),
}
_CORE_UNITS = {"stiffness": "N/m", "sensitivity": "nm/V", "frequency": "Hz", "number": "",
               "length": "nm", "angle": "deg", "force": "nN", "voltage": "V",
               "temperature": "K"}  # fmt: skip
_TEXTS = {
    "start_time": "entry/start_time", "end_time": "entry/end_time",
    "description": "entry/experiment_description", "user": "entry/user/name",
    "orcid": "entry/user/orcid", "sample": "entry/sample/name",
    "sample_description": "entry/sample/description", "scan_type": "entry/instrument/scan/scan_type",
}  # fmt: skip


def sniff(seen: Seen) -> bool:
    """Whether a file looks like HDF5 at all; what it holds is looked at by `read`."""
    return seen.is_hdf5


def read(seen: Seen) -> ForceMap:
    """Open a map; samples are read when they are asked for.

    Raises ReadError naming file, object and repair.
    """
    guarded = GuardedFile(seen.path, swmr=seen.swmr)
    try:
        with as_read_error(seen.path):
            return _Reading(guarded, seen).map()
    except BaseException:
        guarded.close()
        raise


class _Samples:
    """Source of the raw samples of an open file."""

    def __init__(self, guarded: GuardedFile, z: Any, signal: Any, names: tuple[str, str]) -> None:
        self._guarded = guarded
        self._data = {"z": (z, names[0]), "signal": (signal, names[1])}

    def read(self, name: str, start: int, stop: int) -> np.ndarray:
        dataset, place = self._data[name]
        where = f"{place}, samples {start} to {stop - 1}"
        with as_read_error(self._guarded.path, where):
            found = GuardedFile.read(dataset, start, stop)
            return found.astype(kept_dtype(found.dtype), copy=False)

    def close(self) -> None:
        self._guarded.close()


class _Reading:
    """One reading of one file: collects the parts and what was odd."""

    def __init__(self, guarded: GuardedFile, seen: Seen) -> None:
        self.g, self.seen = guarded, seen
        self.warnings: list[str] = []

    def map(self) -> ForceMap:
        self._check_layout()
        z, z_name = self._channel("z"), f"{CURVES}/z"
        signal, signal_name = self._signal()
        if signal.shape != z.shape:
            raise self.g.fail(signal_name, f"it holds {signal.shape[0]} samples and "
                              f"{z_name} {z.shape[0]}", _AGAIN)  # fmt: skip
        index = self._index(z.shape[0])
        z_scale, z_shift, _ = self._scale(z_name, "length")
        signal_scale, signal_shift, dimension = self._scale(
            signal_name, *(("voltage", "length") if signal_name.endswith("deflection") else ("force",))
        )  # fmt: skip
        shape = self._shape(index["pixel"])
        self._check_pixels(index["pixel"], shape)
        x, y, has_scale = self._axes(shape)
        parts = MapParts(
            shape=shape, **index, n_samples=z.shape[0],
            z_dtype=kept_dtype(z.dtype), signal_dtype=kept_dtype(signal.dtype),
            z_scale=z_scale, z_shift=z_shift, signal_scale=signal_scale,
            signal_shift=signal_shift, signal_unit=_CORE_UNITS[dimension],
            x=x, y=y, has_scale=has_scale, overview=self._overview(shape),
            recorded=self._recorded(), title=self.g.text("entry/title"),
            uuid=self.g.text("entry/entry_identifier_uuid"), attributes=self._texts(),
            warnings=tuple(self.warnings), path=self.seen.path, file_size=self.seen.size,
        )  # fmt: skip
        return ForceMap(parts, _Samples(self.g, z, signal, (z_name, signal_name)))

    # -- what kind of file --------------------------------------------------------------------

    def _check_layout(self) -> None:
        if not self.g.is_group(CURVES):
            if self.g.attribute("", "palpate_format") == "analysis":
                raise ReadError(self.seen.path, "this is a saved analysis, not a map of curves",
                                "Open the map that it was made from.")  # fmt: skip
            raise ReadError(self.seen.path, "the layout of this file is not known", FOREIGN)
        layout = self.g.attribute(CURVES, "layout")
        if layout != "ragged-1":
            said = f"“{layout}”" if layout is not None else "missing"
            raise self.g.fail(f"{CURVES}@layout", f"the layout is {said}, not “ragged-1”", FOREIGN)

    def _channel(self, name: str) -> Any:
        found = self.g.numbers(f"{CURVES}/{name}")
        if found is None:
            raise self.g.fail(f"{CURVES}/{name}", "it is missing", _AGAIN)
        return found

    def _signal(self) -> tuple[Any, str]:
        for name in (f"{CURVES}/deflection", f"{CURVES}/force"):
            found = self.g.numbers(name)
            if found is not None:
                return found, name
        raise self.g.fail(CURVES, "there is neither a deflection nor a force", _AGAIN)

    def _scale(self, name: str, *dimensions: str) -> tuple[float, float, str]:
        """(scale, shift, dimension): core value = raw * scale + shift."""
        dimension, factor = self.g.factor_to_core(name, *dimensions)
        given = []
        for key, default in (("scaling_factor", 1.0), ("offset", 0.0), ("sign", 1.0)):
            value = self.g.attribute(name, key)
            value = default if value is None else value
            if isinstance(value, str) or not math.isfinite(value):
                raise self.g.fail(f"{name}@{key}", f"{value} is not a usable number", _AGAIN)
            given.append(value)
        scaling, offset, sign = given
        if sign not in (1.0, -1.0):
            raise self.g.fail(f"{name}@sign", f"{sign:g} is neither 1 nor -1", _AGAIN)
        scale = sign * scaling * factor
        if scale == 0 or not math.isfinite(scale) or not math.isfinite(offset * scale):
            raise self.g.fail(f"{name}@scaling_factor", f"{scaling:g} makes every sample the same "
                              "or infinite", "Write the true factor.")  # fmt: skip
        return scale, offset * scale, dimension

    # -- the index ----------------------------------------------------------------------------

    def _index(self, n_samples: int) -> dict[str, Any]:
        start = self._whole("curve_start", (1,))
        count = self._whole("segment_count", (1, 2))
        pixel = self._whole("pixel", (2,))
        count = count[:, None] if count.ndim == 1 else count
        kind = self._whole("segment_kind", (1,))
        n = start.shape[0]
        complete = self._whole("n_complete", (0, 1), missing=np.array([n], np.uint64))
        n = min(n, int(complete.reshape(-1)[0]) if complete.size else 0)
        if n <= 0:
            raise self.g.fail(CURVES, "there is no complete curve in it", "Choose another file.")
        for name, found, wanted in (("segment_count", count, (n, kind.shape[0])),
                                    ("pixel", pixel, (n, 2))):  # fmt: skip
            if found.shape[0] < n or found.shape[1] != wanted[1]:
                raise self.g.fail(f"{CURVES}/{name}", f"its shape is {found.shape} where "
                                  f"{wanted} is needed", _AGAIN)  # fmt: skip
        if not 1 <= kind.shape[0] <= MOST_SEGMENTS:
            raise self.g.fail(f"{CURVES}/segment_kind", f"{kind.shape[0]} segments in a curve "
                              f"can't be used; 1 to {MOST_SEGMENTS} can", _AGAIN)  # fmt: skip
        if (kind > 3).any():
            raise self.g.fail(f"{CURVES}/segment_kind", "a kind is none of 0 approach, 1 hold, "
                              "2 retract, 3 other", _AGAIN)  # fmt: skip
        start, count, pixel = start[:n], count[:n], pixel[:n]
        start, count = self._check_extent(start, count, n_samples)
        self._check_limits("pixel", pixel, 2**31)
        return dict(
            curve_start=start, segment_count=count, segment_kind=kind.astype(np.int64),
            pixel=pixel.astype(np.int64), position=self._position(n),
            sampling_rate=self._rate(n, kind.shape[0]),
        )  # fmt: skip

    def _whole(self, name: str, ranks: tuple[int, ...], missing: Any = None) -> np.ndarray:
        found = self.g.array(f"{CURVES}/{name}", kinds="iu", ranks=ranks)
        if found is None:
            if missing is None:
                raise self.g.fail(f"{CURVES}/{name}", "it is missing", _AGAIN)
            return missing
        if found.dtype.kind == "i" and (found < 0).any():
            curve = int(np.argwhere(found < 0)[0][0])
            raise self.g.fail(f"{CURVES}/{name}, curve {curve}", "it is below zero", _AGAIN)
        return found

    def _check_limits(self, name: str, found: np.ndarray, limit: int) -> None:
        """Every entry at most `limit`, compared before any conversion can overflow."""
        bad = found.astype(np.uint64, copy=False) > np.uint64(limit)
        if bad.any():
            curve = int(np.argwhere(bad)[0][0])
            raise self.g.fail(f"{CURVES}/{name}, curve {curve}",
                              f"{np.atleast_1d(found[curve]).max()} is beyond the end ({limit})",
                              _AGAIN)  # fmt: skip

    def _check_extent(
        self, start: np.ndarray, count: np.ndarray, n_samples: int
    ) -> tuple[np.ndarray, np.ndarray]:
        self._check_limits("curve_start", start, n_samples)
        self._check_limits("segment_count", count, n_samples)
        first, counts = start.astype(np.int64), count.astype(np.int64)
        end = first + counts.sum(axis=1)  # at most 65 * N, far from overflow
        if (end > n_samples).any():
            curve = int(np.argmax(end > n_samples))
            raise self.g.fail(f"{CURVES}, curve {curve}", f"it ends at sample {end[curve]} but "
                              f"there are only {n_samples}", _AGAIN)  # fmt: skip
        self._note_overlaps(first, end)
        return first, counts

    def _note_overlaps(self, first: np.ndarray, end: np.ndarray) -> None:
        order = np.argsort(first, kind="stable")
        order = order[end[order] > first[order]]
        reach = np.maximum.accumulate(end[order])
        n = int(np.count_nonzero(first[order][1:] < reach[:-1]))
        if n:
            self.warnings.append(f"{n} curves share samples with another curve; the index of the "
                                 "file may be wrong.")  # fmt: skip

    def _position(self, n: int) -> np.ndarray | None:
        found = self.g.array(f"{CURVES}/position", kinds="iuf", ranks=(2,))
        if found is None:
            return None
        if found.shape[0] < n or found.shape[1] != 2:
            raise self.g.fail(f"{CURVES}/position", f"its shape is {found.shape} where "
                              f"({n}, 2) is needed", _AGAIN)  # fmt: skip
        _, factor = self.g.factor_to_core(f"{CURVES}/position", "length")
        return frozen(found[:n].astype(np.float64) * factor)

    def _rate(self, n: int, segments: int) -> np.ndarray | None:
        name = f"{CURVES}/sampling_rate"
        found = self.g.array(name, ranks=(0, 1, 2))
        if found is None:
            return None
        _, factor = self.g.factor_to_core(name, "frequency")
        rate = found.astype(np.float64) * factor
        rate = np.broadcast_to(rate, (segments,)) if rate.size == 1 else rate
        rate = rate[:n] if rate.ndim == 2 else rate
        if rate.shape not in ((segments,), (n, segments)) or not (rate > 0).all():
            self.warnings.append("The sampling rate in the file can't be used and is left out.")
            return None
        return frozen(rate)

    # -- the grid -----------------------------------------------------------------------------

    def _shape(self, pixel: np.ndarray) -> tuple[int, int]:
        rows = self.g.number(f"{INSTRUMENT}/scan/scan_points_y")
        cols = self.g.number(f"{INSTRUMENT}/scan/scan_points_x")
        if rows is None or cols is None:
            overview = self.g.numbers("entry/overview/height", ranks=(2,))
            if overview is not None:
                rows, cols = overview.shape
            else:
                rows, cols = pixel.max(axis=0) + 1
                self.warnings.append("The file doesn't say how many rows and columns the map has; "
                                     "they are taken from the pixels that were measured.")  # fmt: skip
        good = all(math.isfinite(v) and v >= 1 and v == int(v) for v in (rows, cols))
        if not good or rows * cols > LARGEST_GRID:
            raise self.g.fail(f"{INSTRUMENT}/scan", f"a map of {rows:g} x {cols:g} pixels can't "
                              "be used", _AGAIN)  # fmt: skip
        return int(rows), int(cols)

    def _check_pixels(self, pixel: np.ndarray, shape: tuple[int, int]) -> None:
        outside = (pixel >= np.array(shape)).any(axis=1)
        if outside.any():
            curve = int(np.argmax(outside))
            row, col = pixel[curve]
            raise self.g.fail(f"{CURVES}/pixel, curve {curve}", f"row {row}, column {col} is "
                              f"outside the map of {shape[0]} x {shape[1]} pixels", _AGAIN)  # fmt: skip
        found = np.zeros(shape, dtype=bool)
        found[pixel[:, 0], pixel[:, 1]] = True
        here = int(np.count_nonzero(found))
        if here < len(pixel):
            self.warnings.append(f"{len(pixel) - here} curves were measured again at the same "
                                 "pixel; the last one of each pixel is used.")  # fmt: skip
        if here < found.size:
            self.warnings.append(f"{found.size - here} of {found.size} pixels have no curve.")

    def _axes(self, shape: tuple[int, int]) -> tuple[np.ndarray, np.ndarray, bool]:
        """Pixel centres in nm from the overview's axes, else from the scan range."""
        axes = []
        for name, n in (("x", shape[1]), ("y", shape[0])):
            axis = self._overview_axis(name, n)
            axes.append(self._range_axis(name, n) if axis is None else axis)
        x, y = axes
        if x is None or y is None:
            self.warnings.append("The size of the map is not recorded; lengths on it are counted "
                                 "in pixels.")  # fmt: skip
            return frozen(np.arange(shape[1], dtype=float)), frozen(
                np.arange(shape[0], dtype=float)), False  # fmt: skip
        return frozen(x), frozen(y), True

    def _overview_axis(self, name: str, n: int) -> np.ndarray | None:
        place = f"entry/overview/{name}"
        found = self.g.array(place)
        if found is None:
            return None
        _, factor = self.g.factor_to_core(place, "length")
        axis = found.astype(np.float64) * factor
        step = np.diff(axis)
        if axis.shape != (n,) or not np.isfinite(axis).all() or not (
            (step > 0).all() or (step < 0).all()
        ):
            self.warnings.append(f"{place} doesn't fit the map and is left out.")
            return None
        return axis

    def _range_axis(self, name: str, n: int) -> np.ndarray | None:
        place = f"{INSTRUMENT}/scan/scan_range_{name}"
        value = self.g.number(place)
        if value is None:
            return None
        _, factor = self.g.factor_to_core(place, "length")
        length = value * factor
        if not (math.isfinite(length) and length > 0):
            self.warnings.append(f"{place} is {value:g}, which is impossible; it is left out.")
            return None
        return (np.arange(n) + 0.5) * (length / n)

    def _overview(self, shape: tuple[int, int]) -> np.ndarray | None:
        place = "entry/overview/height"
        found = self.g.numbers(place, ranks=(2,))
        if found is None:
            return None
        if found.shape != shape:
            self.warnings.append(f"{place} has another shape than the map and is left out.")
            return None
        _, factor = self.g.factor_to_core(place, "length")
        with as_read_error(self.seen.path, place):
            return frozen(GuardedFile.read(found).astype(np.float64) * factor)

    # -- what is recorded ---------------------------------------------------------------------

    def _recorded(self) -> Recorded:
        found: dict[str, Any] = {name: self._constant(name) for name in _CONSTANTS}
        shape = self.g.text(f"{INSTRUMENT}/tip/shape").lower().replace(" ", "_")
        if shape and shape not in TIP_SHAPES:
            self.warnings.append(f"The tip shape “{shape[:40]}” is not known and is left out.")
            shape = ""
        medium = self.g.text(f"{INSTRUMENT}/environment/medium")
        return dataclasses.replace(Recorded(**found), tip_shape=shape, medium=medium)

    def _constant(self, name: str) -> Constant | None:
        place, dimensions, any_sign = _CONSTANTS[name]
        place = f"{INSTRUMENT}/{place}"
        raw = self.g.number(place)
        if raw is None:
            return None
        if dimensions == ("number",):
            dimension, factor = "number", 1.0
        else:
            dimension, factor = self.g.factor_to_core(place, *dimensions)
        factor *= 180.0 / math.pi if dimension == "angle" else 1.0
        value = raw * factor
        possible = math.isfinite(value) and (any_sign or value > 0)
        if not possible or (dimension == "angle" and value >= 90.0):
            words = name.replace("_", " ")
            self.warnings.append(f"The recorded {words} is {raw:g}, which is impossible; it is "
                                 "left out and has to be given by hand.")  # fmt: skip
            return None
        error = self.g.attribute(place, "error")
        good = isinstance(error, float) and math.isfinite(error) and error >= 0
        method = self.g.attribute(place, "method")
        return Constant(
            value, _CORE_UNITS[dimension],
            float(error) * factor if good else math.nan,  # type: ignore[arg-type]
            method if isinstance(method, str) else "",
        )  # fmt: skip

    def _texts(self) -> dict[str, str]:
        found = {key: self.g.text(place) for key, place in _TEXTS.items()}
        return {key: text for key, text in found.items() if text}
