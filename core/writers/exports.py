"""One channel of an analysis as a plain file: NumPy, CSV or TIFF, with its unit and scale."""

from __future__ import annotations

import hashlib
import json
import math
import os
from collections.abc import Callable
from pathlib import Path
from typing import Any, Protocol

import numpy as np

from ..errors import WriteError
from ..units import parse_unit
from . import nexus
from .atomic import saving


class Named(Protocol):
    """What is needed of a channel: its name, its label and its core unit."""

    name: str
    label: str
    unit: str


def export_channel(
    path: str | os.PathLike[str],
    channel: Any,
    values: np.ndarray,
    x_nm: np.ndarray | None,
    y_nm: np.ndarray | None,
    *,
    unit: str = "",
    settings_json: str = "",
    review_sha256: str = "",
    source: str = "",
    note: str = "",
) -> list[Path]:
    """Export one channel; the format goes by the ending of the name.

    ``.npy`` : float64, with the description beside it in ``<name>.npy.json``.
    ``.csv`` : one row a scan line, nine digits, NaN where missing, the description in comment
    lines (#).
    ``.tif`` : 32-bit float; pixels per centimetre in the TIFF tags, the description as JSON in
    the tag ImageDescription, and the tag Orientation says that row 0 is at the bottom.

    Whole numbers, such as bits of doubts, stay whole numbers. In all three row 0 is the first scan
    line, as in the window, where it is drawn at the bottom.

    Parameters
    ----------
    channel : an object with `name`, `label` and `unit` (core unit)
    values : float (rows, cols) in the channel's core unit, row 0 the first scan line
    x_nm, y_nm : pixel centres (cols,) and (rows,) in nm, or None if the map has no scale
    unit : unit to write, default the core unit; for example "MPa" for a channel in GPa
    settings_json : canonical JSON of the settings; its SHA-256 goes into the description
    review_sha256 : checksum of the decisions about single pixels, as a result file has it
    source : name of the map
    note : what else a reader of the file has to know, such as which pixels were left out

    Returns
    -------
    list of Path : the files written

    Raises
    ------
    WriteError : an ending that is not known, a unit that doesn't fit, no place to save
    """
    path = Path(path)
    writer = _WRITERS.get(path.suffix.lower())
    if writer is None:
        raise WriteError(f"{path}: choose a name that ends in {', '.join(_WRITERS)}.")
    unit = unit or channel.unit
    factor, numbers = _factor(channel, unit), np.asarray(values)
    if numbers.dtype.kind not in "iub" or factor != 1.0:
        numbers = np.asarray(values, dtype=np.float64) * factor
    elif numbers.dtype.kind == "b":
        numbers = numbers.astype(np.uint8)
    about = _description(channel, unit, numbers.shape, x_nm, y_nm)
    if settings_json:
        about["settings_sha256"] = hashlib.sha256(settings_json.encode()).hexdigest()
    if review_sha256:
        about["review_sha256"] = review_sha256
    if source:
        about["source"] = source
    if note:
        about["note"] = note
    return writer(path, numbers, about)


def _factor(channel: Named, unit: str) -> float:
    try:
        (have, own), (want, other) = parse_unit(channel.unit), parse_unit(unit)
    except ValueError as error:
        raise WriteError(f"{channel.label} can't be exported: {error}.") from None
    if have != want:
        raise WriteError(f"{channel.label} is a {have} and can't be exported in “{unit}”.")
    return own / other


def _description(
    channel: Named, unit: str, shape: tuple[int, ...],
    x_nm: np.ndarray | None, y_nm: np.ndarray | None,
) -> dict[str, Any]:  # fmt: skip
    about: dict[str, Any] = {
        "name": channel.name, "label": channel.label, "unit": unit or "1", "rows": shape[0],
        "columns": shape[1], "missing": "nan",
        "row_order": "row 0 is the first scan line; y grows with the row",
        "program": f"palpate {nexus.version()}", "time": nexus.now(),
    }  # fmt: skip
    for key, axis in (("pixel_width_nm", x_nm), ("pixel_height_nm", y_nm)):
        size = _pixel_size(axis)
        if size is not None:
            about[key] = float(f"{size:.9g}")
    return about


def _pixel_size(axis: np.ndarray | None) -> float | None:
    """Distance of pixel centres; of a single pixel, which begins at 0, twice its centre."""
    if axis is None or len(axis) == 0:
        return None
    if len(axis) == 1:
        size = 2.0 * abs(float(axis[0]))
    else:
        size = abs(float(axis[-1]) - float(axis[0])) / (len(axis) - 1)
    return size if size > 0 and math.isfinite(size) else None


def _write_npy(path: Path, numbers: np.ndarray, about: dict[str, Any]) -> list[Path]:
    def check(temporary: Path) -> None:
        again = np.load(temporary, allow_pickle=False)
        _must(np.array_equal(again, numbers, equal_nan=numbers.dtype.kind == "f"), path)

    beside = path.with_name(path.name + ".json")
    with saving(beside) as temporary:
        temporary.write_text(json.dumps(about, indent=1), encoding="utf-8")
    with saving(path, needs=numbers.nbytes, check=check) as temporary, temporary.open("wb") as out:
        np.save(out, numbers, allow_pickle=False)
    return [path, beside]


def _write_csv(path: Path, numbers: np.ndarray, about: dict[str, Any]) -> list[Path]:
    whole = numbers.dtype.kind in "iu"

    def check(temporary: Path) -> None:
        kind = numbers.dtype if whole else float
        again = np.loadtxt(temporary, delimiter=",", ndmin=2, encoding="utf-8", dtype=kind)
        same = np.array_equal if whole else _alike
        _must(bool(same(again, numbers)), path)

    head = "\n".join(f"{key}: {' '.join(str(value).split())}" for key, value in about.items())
    with saving(path, needs=20 * numbers.size, check=check) as temporary:
        np.savetxt(temporary, numbers, fmt="%d" if whole else "%.9g", delimiter=",", header=head,
                   encoding="utf-8")  # fmt: skip
    return [path]


def _write_tif(path: Path, numbers: np.ndarray, about: dict[str, Any]) -> list[Path]:
    import tifffile

    real = numbers.dtype.kind == "f"
    single = numbers.astype(np.float32) if real else numbers

    def check(temporary: Path) -> None:
        _must(np.array_equal(tifffile.imread(temporary), single, equal_nan=real), path)

    width, height = about.get("pixel_width_nm"), about.get("pixel_height_nm")
    scale: dict[str, Any] = {}
    if width and height:
        scale = {"resolution": (1e7 / width, 1e7 / height), "resolutionunit": "CENTIMETER"}
    with saving(path, needs=single.nbytes, check=check) as temporary:
        tifffile.imwrite(
            temporary, single, photometric="minisblack", metadata=None,
            description=json.dumps(about), software=about["program"],
            extratags=[(274, "H", 1, 4, True)], **scale,  # Orientation 4: row 0 is at the bottom
        )  # fmt: skip
    return [path]


def _alike(again: np.ndarray, numbers: np.ndarray) -> bool:
    return np.allclose(again, numbers, rtol=1e-8, atol=0.0, equal_nan=True)


def _must(same: bool, path: Path) -> None:
    if not same:
        raise WriteError(f"{path} could not be saved: what was written doesn't read back.")


_WRITERS: dict[str, Callable[[Path, np.ndarray, dict[str, Any]], list[Path]]] = {
    ".npy": _write_npy, ".csv": _write_csv, ".tif": _write_tif, ".tiff": _write_tif,
}  # fmt: skip
