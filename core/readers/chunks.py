"""Decodes the packed chunks of samples here instead of in the HDF5 library.

Measured with HDF5 2.0: a chunk that unpacks to fewer bytes than it should makes the library read
past its buffer (segmentation fault), and one that unpacks to more is unpacked whole whatever its
size. Here a chunk must unpack to exactly its size. Threads share the work, because unpacking does
not hold the interpreter's lock.
"""

from __future__ import annotations

import math
import os
import zlib
from typing import Any

import numpy as np

SHUFFLE, DEFLATE, FLETCHER = 2, 1, 3  # codes of the filters, in the order they must come
ORDER = (SHUFFLE, DEFLATE, FLETCHER)
_MANY = 16  # chunks from which on threads are worth starting


class DamagedChunk(ValueError):
    """A chunk that does not unpack to what it should."""


def filters_of(plist: Any) -> list[int]:
    """Codes of the filters of a dataset's creation list, in their order."""
    return [plist.get_filter(i)[0] for i in range(plist.get_nfilters())]


class ChunkReader:
    """Reads runs of a one-dimensional dataset of packed chunks.

    Parameters
    ----------
    dataset : h5py.Dataset that the guard has checked, packed with gzip (`is_packed`)
    """

    def __init__(self, dataset: Any) -> None:
        self._id, self._dtype = dataset.id, dataset.dtype
        self._length, self._n = int(dataset.chunks[0]), int(dataset.shape[0])
        self._bytes = self._length * self._dtype.itemsize
        self._filters = filters_of(dataset.id.get_create_plist())
        self._fill = dataset.fillvalue
        self._last: tuple[int, Any] = (-1, None)  # the newest chunk, for the next read beside it

    @staticmethod
    def is_packed(dataset: Any) -> bool:
        """Whether a dataset is one that this class reads."""
        one_dimension = dataset.chunks is not None and len(dataset.chunks) == 1
        return one_dimension and DEFLATE in filters_of(dataset.id.get_create_plist())

    def read(self, start: int, stop: int) -> np.ndarray:
        """Samples [start, stop) in the dtype of the file.

        Raises DamagedChunk if a chunk does not unpack to its size.
        """
        out = np.empty(max(0, stop - start), self._dtype)
        first, last = start // self._length, -(-stop // self._length)
        known, kept = self._last
        wanted = [(c, None if c == known else self._raw(c)) for c in range(first, last)]

        def place(item: tuple[int, tuple[int, bytes] | None]) -> None:
            chunk, raw = item
            begin = chunk * self._length
            a, b = max(start, begin), min(stop, begin + self._length)
            whole = kept if chunk == known else self._unpacked(raw)
            out[a - start : b - start] = whole[a - begin : b - begin]
            if chunk == last - 1:
                self._last = (chunk, whole)

        threads = min(4, os.cpu_count() or 1)
        if len(wanted) < _MANY or threads == 1:
            for item in wanted:
                place(item)
        else:
            from concurrent.futures import ThreadPoolExecutor

            with ThreadPoolExecutor(threads, "unpack") as pool:
                for _ in pool.map(place, wanted):
                    pass
        return out

    def _raw(self, chunk: int) -> tuple[int, bytes] | None:
        """(mask of filters left out, packed bytes) of one chunk; None if it was never written."""
        at = (chunk * self._length,)
        info = self._id.get_chunk_info_by_coord(at)
        if info.byte_offset is None or info.size == 0:
            return None
        if info.size > 2 * self._bytes + 4096:
            raise DamagedChunk("a block of it has an impossible size")
        return self._id.read_direct_chunk(at)

    def _unpacked(self, packed: tuple[int, bytes] | None) -> np.ndarray:
        """One chunk as samples. The check sum of gzip itself guards its content."""
        if packed is None:
            return np.full(self._length, self._fill, self._dtype)
        mask, raw = packed
        done = [code for bit, code in enumerate(self._filters) if not mask >> bit & 1]
        data = raw[:-4] if FLETCHER in done else raw
        if DEFLATE in done:
            unpacker = zlib.decompressobj()
            try:
                data = unpacker.decompress(data, self._bytes + 1)
            except zlib.error:
                raise DamagedChunk("a block of it is damaged") from None
            if not unpacker.eof and len(data) == self._bytes:
                raise DamagedChunk("a block of it is damaged")  # the check sum is missing
        if len(data) != self._bytes:
            raise DamagedChunk("a block of it is damaged")
        size = self._dtype.itemsize
        if SHUFFLE not in done or size == 1:
            return np.frombuffer(data, self._dtype)
        planes = np.frombuffer(data, np.uint8).reshape(size, self._length)
        mixed = np.empty((self._length, size), np.uint8)
        for i in range(size):
            mixed[:, i] = planes[i]
        return mixed.view(self._dtype).reshape(-1)


def expected_size(dataset: Any, mask: int) -> int | None:
    """Bytes that a chunk must have in the file; None if it is packed and may have any size."""
    filters = filters_of(dataset.id.get_create_plist())
    done = [code for bit, code in enumerate(filters) if not mask >> bit & 1]
    if DEFLATE in done:
        return None
    whole = math.prod(dataset.chunks) * dataset.dtype.itemsize
    return whole + (4 if FLETCHER in done else 0)
