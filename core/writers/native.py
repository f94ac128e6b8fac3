"""Writes maps in the native layout ``ragged-1``, from NumPy arrays or from a `ForceMap`."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import numpy as np

from ..errors import InputError, WriteError
from ..forcemap import ForceMap
from ..mapparts import SEGMENT_NAMES, MapParts
from ..packing import check_names, pack
from ..readers import native
from ..readers.door import look
from ..units import si_factor
from . import nexus
from .atomic import same_file, saving

_TEXTS = {
    "start_time": "start_time", "end_time": "end_time", "description": "experiment_description",
    "user": "user/name", "orcid": "user/orcid", "sample": "sample/name",
    "sample_description": "sample/description", "scan_type": "instrument/scan/scan_type",
}  # fmt: skip


def write_map(
    path: str | os.PathLike[str],
    z: Any,
    deflection: Any = None,
    *,
    force: Any = None,
    **described: Any,
) -> Path:
    """Write a map of force-distance curves from NumPy arrays, readable by `open_map`.

    ::

        write_map("blend.h5", z, deflection, scan_size=(2000, 2000), spring_constant=2.1,
                  radius=12, tip_shape="paraboloid")

    Parameters
    ----------
    path : the file; an existing one is replaced only when the new one is whole
    z : travel of the base of the lever in nm, growing towards the sample, in order of time
        (approach rising, retract falling). An array (rows, cols, 2, n), or (P, 2, n) for P
        curves, with approach and retract of n samples each; or anything that broadcasts to the
        deflection, such as (2, n) for one ramp that serves all curves; or, for segments of
        unequal length, a list of P curves, each a list of one-dimensional arrays (an empty one
        where a segment is absent)
    deflection : the same shape, in nm (or V, see `deflection_unit`), positive when the tip is
        pushed away; NaN marks a lost sample
    force : instead of the deflection, in nN
    deflection_unit : "nm", or "V" for the signal of the detector as it is
    segments : names of the segments, default ("approach", "retract"); others: "hold", "other"
    shape : (rows, cols); needed for (P, 2, n) and for lists unless `pixel` is given
    pixel : int (P, 2), row and column of each curve, in any order; default row by row
    position : float (P, 2), real x and y of each curve in nm
    scan_size : (x, y), width and height of the scanned area in nm
    sampling_rate : Hz, one number or one a segment
    spring_constant : N/m. Each constant is a number, a pair (number, standard deviation), or a
        `Constant` with its method
    deflection_sensitivity : nm/V, needed for a deflection in V
    radius : of the tip, nm
    half_angle : of the tip, degrees from the axis to the flank or face
    tip_shape : paraboloid, sphere, cone, pyramid, punch, blunted_cone or hyperboloid
    set_force : the peak force that was aimed at, nN
    temperature : K
    medium, title, sample, start_time (ISO 8601), uuid : text
    overview : float (rows, cols), height in nm for a first picture, NaN where not measured;
        default: minus z at the end of each approach, from its median
    digitise : True stores the samples as 16-bit numbers with a step taken from their range;
        (z step in nm, signal step in its unit) takes these steps

    Returns
    -------
    Path : the file

    Raises
    ------
    InputError : the arrays don't fit each other, a constant is impossible or a keyword is not
        known; nothing is written
    WriteError : the file can't be saved there
    """
    check_names(described)
    parts, z_raw, signal_raw = pack(z, deflection, force=force, **described)
    return _write(Path(path), parts, parts.curve_start, z_raw, signal_raw)


def save_map(path: str | os.PathLike[str], force_map: ForceMap) -> Path:
    """Write a `ForceMap`, for example one made by `ForceMap.from_arrays`, as a native file.

    Only samples that belong to a curve are written. Raises WriteError.
    """
    path = Path(path)
    if force_map.path is not None and same_file(path, force_map.path):
        raise WriteError(f"{path} is the map that is open. Choose another name.")
    block = force_map.read_block(np.arange(force_map.n_curves))
    return _write(path, force_map.parts, block.start, block.z, block.signal)


def _write(
    path: Path, parts: MapParts, start: np.ndarray, z: np.ndarray, signal: np.ndarray
) -> Path:
    def check(temporary: Path) -> None:
        with native.read(look(temporary)) as again:
            whole = again.n_curves == len(start) and again.parts.n_samples == z.size
            if z.size:  # the last chunk decodes to what was given
                last = int(np.argmax(start + parts.segment_count.sum(axis=1)))
                seen = again.read_block(np.array([last]))
                end = int(start[last] + parts.segment_count[last].sum())
                begin = int(start[last])
                whole = whole and np.array_equal(
                    seen.signal, signal[begin:end], equal_nan=signal.dtype.kind == "f"
                )
        if not whole:
            raise WriteError(f"{path} could not be saved: what was written doesn't read back.")

    _check_texts(parts)
    needs = (z.nbytes + signal.nbytes) // 2  # packed
    with (
        saving(path, needs=needs, check=check) as temporary,
        nexus.create(temporary, "force-map") as file,
    ):
        entry = nexus.group(file, "entry", "NXentry", default="overview")
        _write_described(entry, parts)
        _write_overview(entry, parts)
        _write_curves(entry, parts, start, z, signal)
    return path


def _check_texts(parts: MapParts) -> None:
    for text in (parts.title, parts.uuid, parts.recorded.medium, *parts.attributes.values()):
        if "\0" in text or len(text) > 10_000:
            raise InputError(f"The text “{text[:40]}…” is too long or holds a null character.")


def _write_described(entry: Any, parts: MapParts) -> None:
    recorded = parts.recorded
    nexus.text(entry, "title", parts.title)
    nexus.text(entry, "entry_identifier_uuid", parts.uuid)
    instrument = nexus.group(entry, "instrument", "NXinstrument")
    cantilever = nexus.group(instrument, "cantilever", "NXcollection")
    for name in ("spring_constant", "deflection_sensitivity", "resonance_frequency",
                 "quality_factor", "cantilever_length", "cantilever_width",
                 "cantilever_thickness"):  # fmt: skip
        nexus.constant(cantilever, name, getattr(recorded, name))
    tip = nexus.group(instrument, "tip", "NXcollection")
    nexus.text(tip, "shape", recorded.tip_shape)
    nexus.constant(tip, "radius", recorded.radius)
    nexus.constant(tip, "half_angle", recorded.half_angle)
    scan = nexus.group(instrument, "scan", "NXcollection")
    nexus.constant(scan, "set_point", recorded.set_point)
    for name, n, axis in (("x", parts.shape[1], parts.x), ("y", parts.shape[0], parts.y)):
        nexus.number(scan, f"scan_points_{name}", np.uint32(n), "")
        if parts.has_scale:
            step = abs(axis[-1] - axis[0]) / (n - 1) if n > 1 else 2 * abs(axis[0])
            nexus.number(scan, f"scan_range_{name}", step * n * 1e-9, "m")
    environment = nexus.group(instrument, "environment", "NXenvironment")
    nexus.constant(environment, "temperature", recorded.temperature)
    nexus.text(environment, "medium", recorded.medium)
    _write_texts(entry, parts.attributes)


def _write_texts(entry: Any, attributes: dict[str, str]) -> None:
    classes = {"user": "NXuser", "sample": "NXsample"}
    for key, value in attributes.items():
        place = _TEXTS.get(key)
        if place is None:
            continue
        top, _, rest = place.partition("/")
        if rest and top not in entry:
            nexus.group(entry, top, classes[top])
        nexus.text(entry, place, value)


def _write_overview(entry: Any, parts: MapParts) -> None:
    overview = nexus.group(entry, "overview", "NXdata", signal="height")
    if parts.has_scale:
        overview.attrs["axes"] = nexus.texts(["y", "x"])
        nexus.number(overview, "x", parts.x * 1e-9, "m")
        nexus.number(overview, "y", parts.y * 1e-9, "m")
    height = parts.overview if parts.overview is not None else np.full(parts.shape, np.nan)
    nexus.image(overview, "height", (height * 1e-9).astype(np.float32), "m")


def _write_curves(
    entry: Any, parts: MapParts, start: np.ndarray, z: np.ndarray, signal: np.ndarray
) -> None:
    curves = nexus.group(entry, "curves", "NXcollection", layout="ragged-1")
    chunk = 16_384 if z.nbytes + signal.nbytes < 2**30 else 65_536
    channel = "force" if parts.signal_unit == "nN" else "deflection"
    for name, values, unit, scale, shift in (
        ("z", z, "nm", parts.z_scale, parts.z_shift),
        (channel, signal, parts.signal_unit, parts.signal_scale, parts.signal_shift),
    ):
        symbol, factor = si_factor(unit)
        made = nexus.packed(curves, name, values, chunk)
        made.attrs.update(units=symbol, scaling_factor=scale * factor, offset=shift / scale)
    nexus.packed(curves, "curve_start", start.astype(np.uint64))
    nexus.packed(curves, "segment_count", parts.segment_count.astype(np.uint32))
    nexus.packed(curves, "pixel", parts.pixel.astype(np.uint32))
    kind = nexus.number(curves, "segment_kind", parts.segment_kind.astype(np.uint8), "")
    kind.attrs.update(
        flag_values=np.arange(4, dtype=np.uint8), flag_meanings=" ".join(SEGMENT_NAMES)
    )
    if parts.sampling_rate is not None:
        nexus.number(curves, "sampling_rate", parts.sampling_rate, "Hz")
    if parts.position is not None:
        nexus.packed(curves, "position", parts.position * 1e-9).attrs["units"] = "m"
    done = np.array([len(start)], np.uint64)
    curves.create_dataset("n_complete", data=done, chunks=(1,), maxshape=(1,))
