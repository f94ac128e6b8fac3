"""What the person has decided about a map: one frozen value, an entry of the history each.

Undo takes back settings, the rule for components, places on the map and pixels left out alike,
since all of them stand in here.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from ..core.components.rule import Rule
from ..core.settings import Settings
from ..core.surface.levelling import Levelling


@dataclass(frozen=True)
class LeftOut:
    """Pixels that were left out by hand.

    Attributes
    ----------
    shape : rows and columns of the map; (0, 0) for none
    bits : the pixels, row after row, eight to a byte
    """

    shape: tuple[int, int] = (0, 0)
    bits: bytes = b""

    @classmethod
    def of(cls, mask: np.ndarray) -> LeftOut:
        """From a bool map; without any pixel it is the same as none."""
        if not mask.any():
            return cls()
        return cls((mask.shape[0], mask.shape[1]), np.packbits(mask).tobytes())

    def mask(self, shape: tuple[int, int]) -> np.ndarray:
        """(rows, cols) bool; empty for a map of another shape."""
        if shape != self.shape:
            return np.zeros(shape, bool)
        size = shape[0] * shape[1]
        bits = np.frombuffer(self.bits, np.uint8)
        return np.unpackbits(bits, count=size).astype(bool).reshape(shape)

    @property
    def count(self) -> int:
        return int(self.mask(self.shape).sum())


@dataclass(frozen=True)
class Laid:
    """Another picture of the place, and how it lies on the map.

    Attributes
    ----------
    path : the file
    alignment : core's `Alignment`, which also knows the file by its checksum
    pairs : landmarks as (column, row) in the picture and (x, y) on the map [nm]
    kind : what landmarks may do to the picture: "shift", "similarity" or "affine"
    """

    path: Path
    alignment: Any = None
    pairs: tuple[tuple[float, float, float, float], ...] = ()
    kind: str = "similarity"


@dataclass(frozen=True)
class Work:
    """See the module. `places` holds regions and profiles, `picture` another picture of the map's
    place, None while there are none; `levelling` is what is taken off the heights, None for
    nothing."""

    settings: Settings = field(default_factory=Settings)
    rule: Rule = field(default_factory=Rule)
    left_out: LeftOut = field(default_factory=LeftOut)
    places: Any = None
    picture: Laid | None = None
    levelling: Levelling | None = field(default_factory=Levelling)
