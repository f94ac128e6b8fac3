"""`ForceMap`: a map of force-distance curves, read-only and lazy.

The map knows the grid, the segments of each curve and the constants that were recorded; raw
samples come in blocks, from the file or, once loaded, from memory. Nothing here knows a file
format: a reader gives a `MapParts` and a source of samples.
"""

from __future__ import annotations

import copy
import hashlib
import threading
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np

from .errors import InputError, ReadError
from .mapparts import APPROACH, HOLD, RETRACT, Constant, MapParts, Recorded, Source, frozen
from .progress import Progress

__all__ = ["Block", "Constant", "CurveSamples", "ForceMap", "Recorded"]

_READ_SAMPLES = 64 * 65_536  # samples read at a time by load(): whole chunks of either size


@dataclass(frozen=True, eq=False)
class Block:
    """Raw samples of some curves.

    Attributes
    ----------
    curves : int64 (n,), which curves
    start : int64 (n,), where each one begins inside `z` and `signal`
    z, signal : 1-D raw samples (int16, float32 or float64), read-only, contiguous, native; the
        map's `z_scale`, `z_shift`, `signal_scale` and `signal_shift` turn them into core units
    """

    curves: np.ndarray
    start: np.ndarray
    z: np.ndarray
    signal: np.ndarray


@dataclass(frozen=True, eq=False)
class CurveSamples:
    """One curve in core units, split by segment; an absent segment has length 0.

    z in nm; the signal in the map's `signal_unit`. `hold` is all samples of hold segments, one
    after the other.
    """

    approach_z: np.ndarray
    approach_signal: np.ndarray
    hold_z: np.ndarray
    hold_signal: np.ndarray
    retract_z: np.ndarray
    retract_signal: np.ndarray


class ForceMap:
    """A map of force-distance curves: read-only, lazy by curve and by block.

    Made by `palpate.core.open_map` from a file or by `from_arrays` from NumPy arrays. P curves
    of up to S segments lie one after the other in two channels, z and signal.

    Attributes
    ----------
    path : Path or None; title, uuid : str; file_size : int, bytes
    attributes : dict, further recorded text
    warnings : list of str, what was odd but legal in the file
    shape : (rows, cols); n_curves : P
    pixel : int64 (P, 2), row and column of each curve
    x, y : float64 (cols,) and (rows,), pixel centres in nm; pixel numbers if not `has_scale`
    position : float64 (P, 2), real x and y in nm, or None
    curve_start : int64 (P,); segment_count : int64 (P, S); segment_kind : int64 (S,)
    curve_count : int64 (P,), samples of each curve over all segments
    sampling_rate : float64 (S,) or (P, S) in Hz, or None
    z_scale, z_shift : z in nm is raw * z_scale + z_shift; z grows towards the sample
    signal_scale, signal_shift, signal_unit : the same for the signal, in "V", "nm" or "nN";
        positive when the tip is pushed away
    recorded : Recorded, constants in core units
    overview : float64 (rows, cols), height in nm, NaN where not measured, or None
    index_map : int64 (rows, cols), the curve at each pixel, -1 where none; of curves at the same
        pixel the last one counts, and `n_repeated` says how many are hidden so
    approach, retract : int64 (P, 2), offset from curve_start and count of the first approach and
        the last retract of each curve; count 0 where absent
    """

    def __init__(self, parts: MapParts, source: Source) -> None:
        self._parts, self._source = parts, source
        self._lock = threading.Lock()
        self._z: np.ndarray | None = None
        self._signal: np.ndarray | None = None
        self._closed = False
        self.path, self.title, self.uuid = parts.path, parts.title, parts.uuid
        self.file_size, self.attributes = parts.file_size, dict(parts.attributes)
        self.warnings = list(parts.warnings)
        self.shape, self.n_curves = parts.shape, len(parts.curve_start)
        self.pixel, self.position = frozen(parts.pixel), parts.position
        self.x, self.y, self.has_scale = parts.x, parts.y, parts.has_scale
        self.curve_start = frozen(parts.curve_start)
        self.segment_count = frozen(parts.segment_count)
        self.segment_kind = frozen(parts.segment_kind)
        self.curve_count = frozen(self.segment_count.sum(axis=1))
        self.sampling_rate = parts.sampling_rate
        self.z_scale, self.z_shift = parts.z_scale, parts.z_shift
        self.signal_scale, self.signal_shift = parts.signal_scale, parts.signal_shift
        self.signal_unit, self.recorded = parts.signal_unit, parts.recorded
        self.overview = parts.overview
        self.approach = frozen(self._segment(APPROACH, last=False))
        self.retract = frozen(self._segment(RETRACT, last=True))
        self._identity = _identity(self.path)
        self.thickness: np.ndarray | None = None

    def with_thickness(self, values: Any) -> ForceMap:
        """The same map with a layer thickness at each pixel, (rows, cols) [nm]; NaN: not known.

        Raises InputError if the shape is not the map's or nothing in it is above zero.
        """
        given = np.asarray(values, dtype=float)
        if given.shape != self.shape:
            raise InputError(f"the thickness has the shape {given.shape}, but the map is "
                             f"{self.shape} (rows, columns): make it that shape.")  # fmt: skip
        if not (given > 0.0).any():
            raise InputError("the thickness has no value above zero: give it in nanometres.")
        other = copy.copy(self)
        other.thickness = frozen(given[self.pixel[:, 0], self.pixel[:, 1]])
        return other

    @classmethod
    def from_arrays(
        cls, z: Any, deflection: Any = None, *, force: Any = None, **described: Any
    ) -> ForceMap:
        """A map in memory from NumPy arrays; takes what `palpate.core.write_map` takes.

        See there for shapes and units. Raises InputError on arrays that don't fit.
        """
        from .packing import ArraySource, check_names, pack

        check_names(described)
        parts, z_raw, signal_raw = pack(z, deflection, force=force, **described)
        made = cls(parts, ArraySource(z_raw, signal_raw))
        made._z, made._signal = frozen(z_raw), frozen(signal_raw)
        return made

    # -- the grid -----------------------------------------------------------------------------

    @cached_property
    def index_map(self) -> np.ndarray:
        grid = np.full(self.shape, -1, dtype=np.int64)
        grid[self.pixel[:, 0], self.pixel[:, 1]] = np.arange(self.n_curves)
        return frozen(grid)

    @cached_property
    def in_order(self) -> bool:
        """Whether the curves come pixel by pixel and row by row, one at each."""
        every = np.arange(self.shape[0] * self.shape[1])
        return bool(np.array_equal(self.index_map.ravel(), every))

    @property
    def n_repeated(self) -> int:
        """How many curves are hidden by a later one at the same pixel."""
        return self.n_curves - int(np.count_nonzero(self.index_map >= 0))

    def curve_at(self, row: int, col: int) -> int:
        """The curve at a pixel; -1 if there is none or the pixel is outside the map."""
        rows, cols = self.shape
        return int(self.index_map[row, col]) if 0 <= row < rows and 0 <= col < cols else -1

    def _segment(self, kind: int, *, last: bool) -> np.ndarray:
        """[offset, count] of the first (or last) segment of a kind in each curve."""
        out = np.zeros((self.n_curves, 2), dtype=np.int64)
        offset = np.zeros(self.n_curves, dtype=np.int64)
        for s, this in enumerate(self.segment_kind):
            count = self.segment_count[:, s]
            if this == kind:
                take = (count > 0) if last else (count > 0) & (out[:, 1] == 0)
                out[take, 0], out[take, 1] = offset[take], count[take]
            offset = offset + count
        return out

    # -- samples ------------------------------------------------------------------------------

    @property
    def raw_bytes(self) -> int:
        """Bytes of all raw samples in memory once loaded."""
        return self._end * self._sample_bytes

    @property
    def resident(self) -> bool:
        """Whether all samples are in memory."""
        return self._z is not None

    @property
    def _sample_bytes(self) -> int:
        return self._parts.z_dtype.itemsize + self._parts.signal_dtype.itemsize

    @cached_property
    def _end(self) -> int:
        """One past the last sample that belongs to a curve."""
        return int((self.curve_start + self.curve_count).max(initial=0))

    def load(self, progress: Progress | None = None) -> None:
        """Read all samples into memory; from then on blocks are views and cost nothing.

        Raises ReadError if the file is damaged or gone, Cancelled on request (the map then
        stays as it was).
        """
        if self.resident:
            return
        progress = progress or Progress()
        z = np.empty(self._end, self._parts.z_dtype)
        signal = np.empty(self._end, self._parts.signal_dtype)
        for start in range(0, self._end, _READ_SAMPLES):
            progress.step(start, self._end, "Reading the curves")
            stop = min(start + _READ_SAMPLES, self._end)
            self._fill(z, signal, start, start, stop)
        progress.step(self._end, self._end, "Reading the curves")
        self._signal, self._z = frozen(signal), frozen(z)

    def _fill(self, z: np.ndarray, signal: np.ndarray, at: int, start: int, stop: int) -> None:
        """Read samples [start, stop) into place `at` of both arrays."""
        with self._lock:
            if self._closed:
                raise ReadError(self.path or "map in memory", "the map has been closed",
                                "Open it again.")  # fmt: skip
            try:
                z[at : at + stop - start] = self._source.read("z", start, stop)
                signal[at : at + stop - start] = self._source.read("signal", start, stop)
            except ReadError as error:
                raise self._naming_curves(error, start, stop) from None

    def _naming_curves(self, error: ReadError, start: int, stop: int) -> ReadError:
        ends = self.curve_start + self.curve_count
        touched = np.flatnonzero((self.curve_start < stop) & (ends > start))
        names = f"curves {touched[0]} to {touched[-1]}" if touched.size > 1 else (
            f"curve {touched[0]}" if touched.size else "")  # fmt: skip
        where = ", ".join(part for part in (error.where, names) if part)
        return ReadError(error.path, error.what, error.repair, where)

    def read_block(self, curves: np.ndarray) -> Block:
        """Raw samples of any curves.

        Curves that lie next to each other in the file are read in one go. A resident map gives
        views of its own arrays at no cost.

        Parameters
        ----------
        curves : int64 (n,), curve numbers in any order

        Raises
        ------
        ReadError : the file is damaged or gone; names the samples and the curves
        IndexError : a curve number outside 0 to n_curves - 1
        """
        curves = np.atleast_1d(np.asarray(curves, dtype=np.int64))
        if curves.size and (curves.min() < 0 or curves.max() >= self.n_curves):
            raise IndexError(f"curve numbers run from 0 to {self.n_curves - 1}")
        z, signal = self._z, self._signal
        if z is not None and signal is not None:
            return Block(frozen(curves), frozen(self.curve_start[curves]), z, signal)
        first, last, at, start = self._runs(curves)
        total = int((last - first).sum())
        z = np.empty(total, self._parts.z_dtype)
        signal = np.empty(total, self._parts.signal_dtype)
        for i in range(first.size):
            self._fill(z, signal, int(at[i]), int(first[i]), int(last[i]))
        return Block(frozen(curves), frozen(start), frozen(z), frozen(signal))

    def _runs(self, curves: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
        """Runs of samples to read for some curves: first, one past last, place in the block;
        and for each curve its place in the block. Samples shared by curves are read once."""
        begin = self.curve_start[curves]
        order = np.argsort(begin, kind="stable")
        b, e = begin[order], (begin + self.curve_count[curves])[order]
        reach = np.maximum.accumulate(e) if e.size else e
        new = np.ones(b.size, dtype=bool)
        new[1:] = b[1:] > reach[:-1]
        heads = np.flatnonzero(new)
        first = b[heads]
        last = np.append(reach[heads[1:] - 1], reach[-1:]) if heads.size else first
        at = np.concatenate([[0], np.cumsum(last - first)[:-1]]) if heads.size else first
        start = np.empty_like(begin)
        run = np.cumsum(new) - 1
        start[order] = at[run] + (b - first[run])
        return first, last, at, start

    def blocks(self, max_bytes: int = 64 * 1024**2) -> Iterator[Block]:
        """All curves in the order they are stored, in blocks of at most `max_bytes` of samples
        (one curve larger than that is a block of its own)."""
        order = np.argsort(self.curve_start, kind="stable")
        upto = np.cumsum(self.curve_count[order] * self._sample_bytes)
        begin = 0
        while begin < order.size:
            before = int(upto[begin - 1]) if begin else 0
            end = int(np.searchsorted(upto, before + max_bytes, side="right"))
            end = max(end, begin + 1)
            yield self.read_block(order[begin:end])
            begin = end

    def samples(self, curve: int) -> CurveSamples:
        """One curve in core units, float64, split into approach, hold and retract."""
        block = self.read_block(np.array([curve]))
        begin, end = int(block.start[0]), int(block.start[0] + self.curve_count[curve])
        z = block.z[begin:end] * self.z_scale + self.z_shift
        signal = block.signal[begin:end] * self.signal_scale + self.signal_shift
        (a, n), (r, m) = self.approach[curve], self.retract[curve]
        kinds = np.repeat(self.segment_kind, self.segment_count[curve])
        hold = kinds == HOLD
        return CurveSamples(
            z[a : a + n], signal[a : a + n], z[hold], signal[hold], z[r : r + m], signal[r : r + m]
        )

    # -- identity and end ---------------------------------------------------------------------

    @property
    def parts(self) -> MapParts:
        """The plain parts this map was built from (writers use them)."""
        return self._parts

    @property
    def source(self) -> Source:
        """Where the samples come from (writers and readers use it)."""
        return self._source

    def checksum(self) -> str:
        """SHA-256 of the whole file in hexadecimal, worked out once; of the arrays if the map
        lives in memory.

        Raises ReadError if the file was changed, replaced or removed since it was opened.
        """
        return self._checksum

    @cached_property
    def _checksum(self) -> str:
        if self.path is None:
            digest = hashlib.sha256()
            block = self.read_block(np.arange(self.n_curves))
            for array in (self.pixel, self.curve_start, self.segment_count, block.z, block.signal):
                digest.update(array.tobytes())
            return digest.hexdigest()
        if _identity(self.path) != self._identity:
            raise ReadError(self.path, "the file was changed or removed since it was opened",
                            "Open it again.")  # fmt: skip
        try:
            with self.path.open("rb") as stream:
                return hashlib.file_digest(stream, "sha256").hexdigest()
        except OSError as error:
            raise ReadError(self.path, f"the file can't be read ({error.strerror})") from None

    def close(self) -> None:
        """Let go of the file. A resident map can still be used; others can't be read any more."""
        with self._lock:
            self._closed = True
            self._source.close()

    def __enter__(self) -> ForceMap:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def __repr__(self) -> str:
        rows, cols = self.shape
        name = self.title or self.path or "in memory"
        return f"<ForceMap {name}: {rows} x {cols} pixels, {self.n_curves} curves>"


def _identity(path: Any) -> tuple[int, ...] | None:
    """What tells one state of a file from another without reading it."""
    if path is None:
        return None
    try:
        seen = Path(path).stat()
    except OSError:
        return None
    return seen.st_size, seen.st_mtime_ns, seen.st_ino
