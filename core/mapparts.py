"""The plain parts a map of force curves is made of, free of any file format.

Readers and `packing` make a `MapParts`; `forcemap.ForceMap` is built from one and a source of
samples. Everything here is in core units: nm, nN, N/m, V, Hz, K, degrees for angles.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from pathlib import Path
from typing import Protocol

import numpy as np

APPROACH, HOLD, RETRACT, OTHER = 0, 1, 2, 3
SEGMENT_NAMES = ("approach", "hold", "retract", "other")
TIP_SHAPES = ("paraboloid", "sphere", "cone", "pyramid", "punch", "blunted_cone", "hyperboloid")


class Source(Protocol):
    """Where the raw samples come from: a file, or arrays in memory."""

    def read(self, name: str, start: int, stop: int) -> np.ndarray:
        """Raw samples [start, stop) of channel ``"z"`` or ``"signal"``, dtype as in the parts."""

    def close(self) -> None:
        """Let go of the file; a second call does nothing."""


@dataclass(frozen=True)
class Constant:
    """A recorded number in core units; `error` is one standard deviation, NaN if not given."""

    value: float
    unit: str
    error: float = math.nan
    method: str = ""


@dataclass(frozen=True)
class Recorded:
    """What the file says about the measurement; None where it says nothing usable.

    Units: spring_constant N/m, deflection_sensitivity nm/V, radius nm, half_angle degrees,
    set_point nN or V (see its unit), temperature K, resonance_frequency Hz, the lever's length,
    width and thickness nm.
    """

    spring_constant: Constant | None = None
    deflection_sensitivity: Constant | None = None
    radius: Constant | None = None
    half_angle: Constant | None = None
    tip_shape: str = ""
    set_point: Constant | None = None
    temperature: Constant | None = None
    medium: str = ""
    resonance_frequency: Constant | None = None
    quality_factor: Constant | None = None
    cantilever_length: Constant | None = None
    cantilever_width: Constant | None = None
    cantilever_thickness: Constant | None = None


@dataclass(frozen=True, eq=False)
class MapParts:
    """Everything of a map but its samples. P curves, S segments, N samples.

    Attributes
    ----------
    shape : (rows, cols) of the grid
    pixel : int64 (P, 2), row and column of each curve
    curve_start : int64 (P,), first sample of each curve
    segment_count : int64 (P, S), samples of each segment, 0 where absent
    segment_kind : int64 (S,), 0 approach, 1 hold, 2 retract, 3 other
    n_samples : N, the length of both channels
    z_dtype, signal_dtype : as the source gives them: int16, float32 or float64
    z_scale, z_shift : z in nm is raw * z_scale + z_shift
    signal_scale, signal_shift, signal_unit : the same for the deflection (V or nm) or force (nN)
    x, y : float64 (cols,), (rows,), pixel centres in nm; pixel numbers if not `has_scale`
    position : float64 (P, 2), real x and y in nm, or None
    sampling_rate : float64 (S,) or (P, S) in Hz, or None
    overview : float64 (rows, cols) in nm, NaN where not measured, or None
    attributes : further recorded text, name -> text
    warnings : what was odd but legal, one sentence each
    """

    shape: tuple[int, int]
    pixel: np.ndarray
    curve_start: np.ndarray
    segment_count: np.ndarray
    segment_kind: np.ndarray
    n_samples: int
    z_dtype: np.dtype
    signal_dtype: np.dtype
    z_scale: float
    z_shift: float
    signal_scale: float
    signal_shift: float
    signal_unit: str
    x: np.ndarray
    y: np.ndarray
    has_scale: bool = True
    position: np.ndarray | None = None
    sampling_rate: np.ndarray | None = None
    recorded: Recorded = Recorded()
    overview: np.ndarray | None = None
    title: str = ""
    uuid: str = ""
    attributes: dict[str, str] = field(default_factory=dict)
    warnings: tuple[str, ...] = ()
    path: Path | None = None
    file_size: int = 0


def frozen(array: np.ndarray, dtype: np.dtype | type | None = None) -> np.ndarray:
    """The array as C-contiguous, native and read-only; copied only if it must be."""
    out = np.ascontiguousarray(array, dtype=dtype)
    if out.flags.writeable:
        out = out.view()
        out.flags.writeable = False
    return out


def kept_dtype(dtype: np.dtype) -> np.dtype:
    """The dtype in which samples stored as `dtype` are held: int16, float32 or float64.

    The choice is the smallest of the three that holds every value (64-bit integers beyond
    2**53 are rounded).
    """
    if dtype.kind in "iu":
        small = dtype.itemsize == 1 or (dtype.kind == "i" and dtype.itemsize == 2)
        if small:
            return np.dtype(np.int16)
        return np.dtype(np.float32 if dtype.itemsize == 2 else np.float64)
    return np.dtype(np.float32 if dtype.itemsize <= 4 else np.float64)
