"""Turns NumPy arrays into the parts of a map: used by `ForceMap.from_arrays` and `write_map`."""

from __future__ import annotations

import inspect
import math
import uuid as _uuid
from collections.abc import Sequence
from typing import Any

import numpy as np

from .errors import InputError
from .mapparts import (
    APPROACH,
    SEGMENT_NAMES,
    TIP_SHAPES,
    Constant,
    MapParts,
    Recorded,
    frozen,
    kept_dtype,
)


class ArraySource:
    """Samples that are already in memory."""

    def __init__(self, z: np.ndarray, signal: np.ndarray) -> None:
        self._arrays = {"z": z, "signal": signal}

    def read(self, name: str, start: int, stop: int) -> np.ndarray:
        return self._arrays[name][start:stop]

    def close(self) -> None:
        """Nothing to let go of."""


def pack(
    z: Any,
    deflection: Any = None,
    *,
    force: Any = None,
    deflection_unit: str = "nm",
    segments: Sequence[str] = ("approach", "retract"),
    shape: tuple[int, int] | None = None,
    pixel: Any = None,
    position: Any = None,
    scan_size: tuple[float, float] | None = None,
    sampling_rate: Any = None,
    spring_constant: Any = None,
    deflection_sensitivity: Any = None,
    radius: Any = None,
    half_angle: Any = None,
    tip_shape: str = "",
    set_force: Any = None,
    temperature: Any = None,
    medium: str = "",
    overview: Any = None,
    title: str = "",
    sample: str = "",
    start_time: str = "",
    uuid: str = "",
    digitise: bool | tuple[float, float] = False,
) -> tuple[MapParts, np.ndarray, np.ndarray]:
    """Pack arrays of force-distance curves into a map.

    The parameters are described at `writers.native.write_map`.

    Returns
    -------
    (parts, z, signal) : the parts, and both channels as 1-D raw arrays

    Raises
    ------
    InputError : the arrays don't fit each other, or a constant is impossible; says which
    """
    if (deflection is None) == (force is None):
        raise InputError("Give either the deflection or the force, one of the two.")
    signal = force if deflection is None else deflection
    unit = "nN" if deflection is None else deflection_unit
    if unit not in ("nm", "V", "nN"):
        raise InputError(f"deflection_unit is “{unit}”; it can be nm or V.")
    kinds = _kinds(segments)
    grid, counts, z_flat, signal_flat = _flatten(z, signal, len(kinds))
    _check_travel(z_flat)
    pixel_rc, shape_rc = _pixels(len(counts), pixel, shape or grid)
    ends = np.cumsum(counts.sum(axis=1))
    start = ends - counts.sum(axis=1)
    steps = digitise if isinstance(digitise, tuple) else (0.0, 0.0)
    z_raw, z_scale, z_shift = _stored(z_flat, bool(digitise), steps[0], "z")
    s_raw, s_scale, s_shift = _stored(signal_flat, bool(digitise), steps[1], "deflection or force")
    x, y, has_scale = _axes(shape_rc, scan_size)
    texts = {"sample": sample, "start_time": start_time}
    parts = MapParts(
        shape=shape_rc, pixel=frozen(pixel_rc), curve_start=frozen(start, np.int64),
        segment_count=frozen(counts), segment_kind=frozen(kinds), n_samples=z_raw.size,
        z_dtype=z_raw.dtype, signal_dtype=s_raw.dtype, z_scale=z_scale, z_shift=z_shift,
        signal_scale=s_scale, signal_shift=s_shift, signal_unit=unit, x=x, y=y,
        has_scale=has_scale, position=_position(position, len(counts)),
        sampling_rate=_rate(sampling_rate, len(kinds)),
        recorded=Recorded(
            spring_constant=constant("spring_constant", spring_constant, "N/m"),
            deflection_sensitivity=constant(
                "deflection_sensitivity", deflection_sensitivity, "nm/V"),
            radius=constant("radius", radius, "nm"),
            half_angle=constant("half_angle", half_angle, "deg", below=90.0),
            set_point=constant("set_force", set_force, "nN"),
            temperature=constant("temperature", temperature, "K"),
            tip_shape=_tip_shape(tip_shape), medium=medium,
        ),
        overview=_overview(overview, shape_rc, pixel_rc, z_flat, start, counts, kinds),
        title=title, uuid=uuid or str(_uuid.uuid4()),
        attributes={key: text for key, text in texts.items() if text},
    )  # fmt: skip
    return parts, z_raw, s_raw


def check_names(described: dict[str, Any]) -> None:
    """Raise InputError if a keyword is not one that `pack` knows."""
    known = list(inspect.signature(pack).parameters)[3:]
    for name in described:
        if name not in known:
            raise InputError(f"“{name}” is not known; known are {', '.join(known)}.")


def constant(name: str, value: Any, unit: str, below: float = math.inf) -> Constant | None:
    """A recorded constant from a number, (number, standard deviation), a Constant or None.

    Raises InputError if it is not a finite number above zero.
    """
    if value is None:
        return None
    if not isinstance(value, Constant):
        number, error = value if isinstance(value, tuple) else (value, math.nan)
        value = Constant(float(number), unit, float(error))
    if value.unit != unit and name != "set_force":
        raise InputError(f"{name} is needed in {unit}, not in “{value.unit}”.")
    if not (math.isfinite(value.value) and 0 < value.value < below):
        limit = f" and below {below:g}" if math.isfinite(below) else ""
        raise InputError(f"{name} is {value.value:g}; it must be above 0{limit} {unit}.")
    return value


def _kinds(segments: Sequence[str]) -> np.ndarray:
    unknown = [s for s in segments if s not in SEGMENT_NAMES]
    if unknown or not segments:
        raise InputError(f"segments can be {', '.join(SEGMENT_NAMES)}; not {unknown or 'none'}.")
    return np.array([SEGMENT_NAMES.index(s) for s in segments], dtype=np.int64)


def _flatten(
    z: Any, signal: Any, n_segments: int
) -> tuple[tuple[int, int] | None, np.ndarray, np.ndarray, np.ndarray]:
    """(rows and cols if known, segment counts (P, S), z, signal), both flat and in file order."""
    if isinstance(signal, (list, tuple)):
        return None, *_flatten_ragged(z, signal, n_segments)
    signal = _floats(signal)
    if signal.ndim not in (3, 4) or signal.shape[-2] != n_segments:
        raise InputError(
            f"The deflection or force has the shape {signal.shape}; it should be (rows, cols, "
            f"{n_segments}, samples) or (curves, {n_segments}, samples)."
        )
    try:
        z = np.broadcast_to(_floats(z), signal.shape)
    except ValueError:
        raise InputError(
            f"z has the shape {np.shape(z)}, which doesn't fit {signal.shape}, the other channel's."
        ) from None
    grid = (signal.shape[0], signal.shape[1]) if signal.ndim == 4 else None
    n = math.prod(signal.shape[:-2])
    if n == 0:
        raise InputError("There is no curve in the arrays.")
    counts = np.full((n, n_segments), signal.shape[-1], dtype=np.int64)
    return grid, counts, z.reshape(-1), signal.reshape(-1)


def _flatten_ragged(
    z: Any, signal: Sequence[Any], n_segments: int
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    if not len(signal):
        raise InputError("There is no curve in the list.")
    if len(z) != len(signal):
        raise InputError(f"z has {len(z)} curves and the other channel {len(signal)}.")
    counts = np.zeros((len(signal), n_segments), dtype=np.int64)
    pieces: tuple[list[np.ndarray], list[np.ndarray]] = ([], [])
    for i, (zc, sc) in enumerate(zip(z, signal, strict=True)):
        if len(zc) != n_segments or len(sc) != n_segments:
            raise InputError(f"Curve {i} should have {n_segments} segments, each one array.")
        for s in range(n_segments):
            za, sa = _floats(zc[s]), _floats(sc[s])
            if za.ndim != 1 or za.shape != sa.shape:
                raise InputError(
                    f"Curve {i}, segment {s}: z has the shape {za.shape} and the other channel "
                    f"{sa.shape}; both should be (samples,)."
                )
            counts[i, s] = za.size
            pieces[0].append(za)
            pieces[1].append(sa)
    return counts, np.concatenate(pieces[0]), np.concatenate(pieces[1])


def _check_travel(z: np.ndarray) -> None:
    """No lever travels less than a thousandth of a nanometre: such numbers are metres."""
    known = np.isfinite(z)
    span = float(z.max(initial=-math.inf, where=known) - z.min(initial=math.inf, where=known))
    if 0.0 < span < 1e-3:
        raise InputError(f"z spans only {span:.3g} nm in all. Is it in metres? Give nm.")


def _floats(values: Any) -> np.ndarray:
    """As float32 if it is that already, else float64."""
    array = np.asarray(values)
    if array.dtype.kind not in "iuf":
        raise InputError(f"Arrays of numbers are needed, not of {array.dtype}.")
    return array if array.dtype == np.float32 else array.astype(np.float64, copy=False)


def _pixels(
    n: int, pixel: Any, shape: tuple[int, int] | None
) -> tuple[np.ndarray, tuple[int, int]]:
    if pixel is None:
        if shape is None:
            raise InputError(f"Where are the {n} curves? Give shape=(rows, cols) or pixel.")
        if shape[0] * shape[1] != n:
            raise InputError(f"{n} curves don't fill {shape[0]} x {shape[1]} pixels; give pixel.")
        row, col = np.divmod(np.arange(n, dtype=np.int64), shape[1])
        return np.stack([row, col], axis=1), (int(shape[0]), int(shape[1]))
    found = np.asarray(pixel)
    if found.dtype.kind not in "iu" or found.reshape(-1, found.shape[-1]).shape != (n, 2):
        raise InputError(f"pixel has the shape {found.shape}; whole numbers ({n}, 2) are needed.")
    found = found.reshape(n, 2).astype(np.int64)
    rows, cols = shape or (int(found[:, 0].max()) + 1, int(found[:, 1].max()) + 1)
    outside = (found < 0) | (found >= (rows, cols))
    if outside.any():
        curve = int(np.argmax(outside.any(axis=1)))
        raise InputError(f"Curve {curve}: pixel {tuple(found[curve].tolist())} is outside the map "
                         f"of {rows} x {cols} pixels.")  # fmt: skip
    return found, (int(rows), int(cols))


def _stored(
    values: np.ndarray, digitise: bool, step: float, name: str
) -> tuple[np.ndarray, float, float]:
    """(raw, scale, shift) with value = raw * scale + shift."""
    if not digitise:
        return frozen(values, kept_dtype(values.dtype)), 1.0, 0.0
    if not np.isfinite(values).all():
        raise InputError(f"{name} has NaN or infinite samples, which can't be digitised.")
    low = float(values.min(initial=math.inf)) if values.size else 0.0
    high = float(values.max(initial=-math.inf)) if values.size else 0.0
    middle = 0.5 * (low + high)
    if step > 0:
        middle = round(middle / step) * step
    else:
        step = (high - low) / 65_000 or 1.0
    raw = np.rint((values.astype(np.float64) - middle) / step)
    if raw.size and np.abs(raw).max() > 32_767:
        raise InputError(f"{name} spans {high - low:g}, too much for 16 bits in steps of {step:g}.")
    return frozen(raw, np.int16), step, middle


def _axes(
    shape: tuple[int, int], scan_size: tuple[float, float] | None
) -> tuple[np.ndarray, np.ndarray, bool]:
    rows, cols = shape
    if scan_size is None:
        return frozen(np.arange(cols, dtype=float)), frozen(np.arange(rows, dtype=float)), False
    if not all(math.isfinite(v) and v > 0 for v in scan_size):
        raise InputError(f"scan_size is {scan_size}; both lengths must be above 0 nm.")
    x, y = ((np.arange(n) + 0.5) * (v / n) for n, v in ((cols, scan_size[0]), (rows, scan_size[1])))
    return frozen(x), frozen(y), True


def _position(position: Any, n: int) -> np.ndarray | None:
    if position is None:
        return None
    found = np.asarray(position, dtype=np.float64)
    if found.shape != (n, 2):
        raise InputError(f"position has the shape {found.shape}; ({n}, 2) is needed.")
    return frozen(found)


def _rate(rate: Any, segments: int) -> np.ndarray | None:
    if rate is None:
        return None
    found = np.asarray(rate, dtype=np.float64)
    if found.ndim == 0:
        found = np.full(segments, found)
    if found.shape != (segments,) or not (found > 0).all():
        raise InputError("sampling_rate must be above 0 Hz, one number or one for each segment.")
    return frozen(found)


def _tip_shape(name: str) -> str:
    if name and name not in TIP_SHAPES:
        raise InputError(f"tip_shape “{name}” is not known; it can be {', '.join(TIP_SHAPES)}.")
    return name


def _overview(
    overview: Any, shape: tuple[int, int], pixel: np.ndarray, z: np.ndarray,
    start: np.ndarray, counts: np.ndarray, kinds: np.ndarray,
) -> np.ndarray:  # fmt: skip
    """The given height, or minus z at the end of each first approach, from its median."""
    if overview is not None:
        found = np.asarray(overview, dtype=np.float64)
        if found.shape != shape:
            raise InputError(f"overview has the shape {found.shape}; {shape} is needed.")
        return frozen(found)
    out = np.full(shape, np.nan)
    for s in np.flatnonzero(kinds == APPROACH)[:1]:
        here = counts[:, s] > 0
        end = start[here] + counts[here, : s + 1].sum(axis=1) - 1
        out[pixel[here, 0], pixel[here, 1]] = -z[end]
    known = out[np.isfinite(out)]
    return frozen(out - np.median(known) if known.size else out)
