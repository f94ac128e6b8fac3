"""Reads maps in the native layout ``ragged-1``: HDF5 with NeXus names.

The layout is described in the project's format description: two channels of samples one curve
after the other, an index that says where each curve and each of its segments begins, and
constants with their units. Numbers are turned into core units here and nowhere else.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from ..errors import ReadError
from ..forcemap import ForceMap
from ..mapparts import MapParts, frozen, kept_dtype
from .chunks import ChunkReader
from .door import Seen
from .grid import read_grid
from .guard import FOREIGN, GuardedFile, as_read_error
from .recorded import CORE_UNITS, read_recorded, read_texts

NAME = "Palpate force map (HDF5, ragged-1)"
MOST_SEGMENTS = 64
FARTHEST = 1e12  # core units; beyond, a double no longer tells samples apart

CURVES = "entry/curves"
_AGAIN = "Write the map again, for example with palpate.core.write_map."


def sniff(seen: Seen) -> bool:
    """Whether a file looks like HDF5 at all; what it holds is looked at by `read`."""
    return seen.is_hdf5


def prepare() -> None:
    """Import the library this reader needs."""
    import h5py  # noqa: F401


def inspect(seen: Seen) -> None:
    """Do all that `read` does and touch all that reading samples will use, in another process.

    Raises ReadError as `read` does.
    """
    with read(seen) as opened:
        source = opened.source
        assert isinstance(source, _Samples)
        source.check_chunks()
        ends = opened.curve_start + opened.curve_count
        opened.read_block(np.array([int(np.argmin(opened.curve_start)), int(np.argmax(ends))]))


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
        self._unpack = {
            name: ChunkReader(data)
            for name, (data, _) in self._data.items()
            if ChunkReader.is_packed(data)
        }
        for name, (data, place) in self._data.items():
            if name not in self._unpack:  # the library reads these; sizes must be exact
                guarded.check_chunks(place, data)

    def read(self, name: str, start: int, stop: int) -> np.ndarray:
        dataset, place = self._data[name]
        where = f"{place}, samples {start} to {stop - 1}"
        with as_read_error(self._guarded.path, where):
            unpack = self._unpack.get(name)
            found = unpack.read(start, stop) if unpack else dataset[start:stop]
            return found.astype(kept_dtype(found.dtype), copy=False)

    def check_chunks(self) -> None:
        """Walk the index of the chunks of both channels."""
        for dataset, place in self._data.values():
            self._guarded.check_chunks(place, dataset)

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
        possible = ("force",) if signal_name.endswith("force") else ("voltage", "length")
        signal_scale, signal_shift, dimension = self._scale(signal_name, *possible)
        grid = read_grid(self.g, index["pixel"], self.warnings)
        parts = MapParts(
            **grid, **index, n_samples=z.shape[0],
            z_dtype=kept_dtype(z.dtype), signal_dtype=kept_dtype(signal.dtype),
            z_scale=z_scale, z_shift=z_shift, signal_scale=signal_scale,
            signal_shift=signal_shift, signal_unit=CORE_UNITS[dimension],
            recorded=read_recorded(self.g, self.warnings), title=self.g.text("entry/title"),
            uuid=self.g.text("entry/entry_identifier_uuid"), attributes=read_texts(self.g),
            warnings=tuple(self.warnings), path=self.seen.path, file_size=self.seen.size,
        )  # fmt: skip
        return ForceMap(parts, _Samples(self.g, z, signal, (z_name, signal_name)))

    # -- what kind of file --------------------------------------------------------------------

    def _check_layout(self) -> None:
        if not self.g.is_group(CURVES):
            if self.g.attribute("", "palpate_format") == "truth":
                raise ReadError(self.seen.path, "this is the truth behind a simulated map",
                                "Open the map beside it.")  # fmt: skip
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
        if abs(offset * scale) > FARTHEST:
            raise self.g.fail(f"{name}@offset", f"{offset:g} moves the samples out of any range",
                              "Write the true offset.")  # fmt: skip
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
        return {
            "curve_start": start, "segment_count": count, "segment_kind": kind.astype(np.int64),
            "pixel": pixel.astype(np.int64), "position": self._position(n),
            "sampling_rate": self._rate(n, kind.shape[0]),
        }  # fmt: skip

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
