"""A set of pixels as a frozen value: small, comparable, fit for an entry of a history."""

from __future__ import annotations

import base64
import binascii
import zlib
from dataclasses import dataclass
from typing import Any

import numpy as np

from ..errors import SettingsError

Array = np.ndarray
LARGEST = 1 << 28
"""Pixels of the largest map whose set is read from a text."""


@dataclass(frozen=True)
class Pixels:
    """Some pixels of a map. Equal sets are equal values.

    Attributes
    ----------
    shape : rows and columns of the map; (0, 0) for no pixels
    packed : flat numbers as int32 while there are few of them; else a bit for each pixel of the
        map, row after row
    sparse : which of the two
    """

    shape: tuple[int, int] = (0, 0)
    packed: bytes = b""
    sparse: bool = True

    @classmethod
    def of(cls, mask: Array) -> Pixels:
        """From a bool map; without any pixel it is the same as none."""
        return cls._at((int(mask.shape[0]), int(mask.shape[1])), np.flatnonzero(mask), mask)

    @classmethod
    def one(cls, shape: tuple[int, int], row: int, col: int) -> Pixels:
        """A single pixel of a map of this shape."""
        return cls._at(shape, np.array([row * shape[1] + col]))

    @classmethod
    def at(cls, shape: tuple[int, int], flat: Array) -> Pixels:
        """From flat numbers of pixels, each once and rising."""
        return cls._at((int(shape[0]), int(shape[1])), np.asarray(flat))

    @classmethod
    def _at(cls, shape: tuple[int, int], flat: Array, mask: Array | None = None) -> Pixels:
        if not flat.size:
            return cls()
        size = shape[0] * shape[1]
        if 32 * flat.size <= size:
            return cls(shape, flat.astype("<i4").tobytes())
        if mask is None:
            mask = np.zeros(size, bool)
            mask[flat] = True
        return cls(shape, np.packbits(mask).tobytes(), False)

    @property
    def flat(self) -> Array:
        """Numbers of the pixels, row after row, rising; int64 (n,)."""
        if self.sparse:
            return np.frombuffer(self.packed, "<i4").astype(np.int64)
        return np.flatnonzero(self._bits())

    def _bits(self) -> Array:
        size = self.shape[0] * self.shape[1]
        return np.unpackbits(np.frombuffer(self.packed, np.uint8), count=size).astype(bool)

    def mask(self, shape: tuple[int, int]) -> Array:
        """(rows, cols) bool; empty for a map of another shape."""
        if tuple(shape) != self.shape:
            return np.zeros(shape, bool)
        if not self.sparse:
            return self._bits().reshape(shape)
        out = np.zeros(shape, bool)
        out.flat[self.flat] = True
        return out

    @property
    def count(self) -> int:
        if self.sparse:
            return len(self.packed) // 4
        return int(np.bitwise_count(np.frombuffer(self.packed, np.uint8)).sum())

    def __bool__(self) -> bool:
        return bool(self.packed)

    def without(self, other: Pixels) -> Pixels:
        """These pixels less the other ones of the same map; itself if none is shared."""
        if not self or not other or self.shape != other.shape:
            return self
        mine = self.flat
        shared = other.mask(self.shape).ravel()[mine]
        return Pixels._at(self.shape, mine[~shared]) if shared.any() else self

    def shared(self, other: Pixels) -> Pixels:
        """The pixels that are in both."""
        return self.without(self.without(other))

    def __or__(self, other: Pixels) -> Pixels:
        if not self or not other:
            return self or other
        return Pixels.of(self.mask(self.shape) | other.mask(self.shape))

    def to_text(self) -> str:
        """Short text for a file, as `from_text` reads it."""
        return base64.b64encode(zlib.compress(self.packed)).decode("ascii")

    @classmethod
    def from_text(cls, shape: Any, sparse: Any, text: Any) -> Pixels:
        """Back from a file. Raises SettingsError on anything that is no set of pixels."""
        try:
            rows, cols = (int(n) for n in shape)
            most = (4 if sparse else 1) * rows * cols // (1 if sparse else 8) + 8
            if not (rows >= 0 and cols >= 0 and rows * cols <= LARGEST):
                raise ValueError("the map is too large")
            unpack = zlib.decompressobj()
            packed = unpack.decompress(base64.b64decode(text, validate=True), max_length=most)
            if unpack.unconsumed_tail or not unpack.eof:
                raise ValueError("it does not end where it should")
            found = cls((rows, cols), packed, bool(sparse))
            return cls.of(found._checked())
        except (ValueError, TypeError, binascii.Error, zlib.error, OverflowError) as error:
            raise SettingsError("pixels", f"are no pixels of a map ({error}).") from None

    def _checked(self) -> Array:
        """As a mask; raises ValueError if the bytes do not fit the shape."""
        size = self.shape[0] * self.shape[1]
        if not self.sparse:
            if len(self.packed) != (size + 7) // 8:
                raise ValueError("bytes are missing or too many")
            return self._bits().reshape(self.shape)
        flat = self.flat
        if flat.size and not (flat.min() >= 0 and flat.max() < size):
            raise ValueError("a pixel lies outside the map")
        return self.mask(self.shape)
