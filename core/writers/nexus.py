"""Small helpers that write HDF5 groups, numbers and texts with NeXus names and attributes."""

from __future__ import annotations

import math
import platform
from datetime import UTC, datetime
from importlib import metadata
from pathlib import Path
from typing import Any

import numpy as np

from ..mapparts import Constant
from ..units import si_factor

LIBVER = ("v110", "v110")  # readable by every HDF5 library from 1.10 on
PACKED = {"compression": "gzip", "compression_opts": 1, "shuffle": True, "fletcher32": True}
INDEX_ROWS = 8192


def version() -> str:
    """The installed version of Palpate."""
    try:
        return metadata.version("palpate")
    except metadata.PackageNotFoundError:
        return "unknown"


def machine() -> str:
    """The kind of machine, without its name and the build of its system: ``Linux x86_64``."""
    return f"{platform.system()} {platform.machine()}"


def now() -> str:
    """The present time, ISO 8601 with its zone."""
    return datetime.now(UTC).isoformat(timespec="seconds")


def create(path: Path, kind: str) -> Any:
    """A new HDF5 file (h5py.File) with the root attributes of one of our kinds."""
    import h5py

    file = h5py.File(path, "w-", libver=LIBVER)
    file.attrs.update(
        NX_class="NXroot", default="entry", creator="palpate", creator_version=version(),
        file_time=now(), palpate_format=kind, palpate_format_version="1.0",
    )  # fmt: skip
    return file


def group(parent: Any, name: str, nx_class: str, **attributes: Any) -> Any:
    """A group with its NeXus class."""
    made = parent.create_group(name)
    made.attrs["NX_class"] = nx_class
    made.attrs.update(attributes)
    return made


def texts(values: list[str]) -> np.ndarray:
    """An attribute that is an array of texts, as NeXus wants for axes and signals."""
    import h5py

    return np.array(values, dtype=h5py.string_dtype())


def text(parent: Any, name: str, value: str) -> None:
    """A text as a scalar dataset; an empty one is left out."""
    if value:
        import h5py

        parent.create_dataset(name, data=value, dtype=h5py.string_dtype())


def column(parent: Any, name: str, values: list[str]) -> None:
    """Texts as one array, one a row; what HDF5 can't hold in a text is replaced by a mark."""
    import h5py

    sound = [v.replace("\0", "\ufffd").encode("utf-8", "replace").decode("utf-8") for v in values]
    parent.create_dataset(name, data=np.array(sound, dtype=object), shape=(len(sound),),
                          dtype=h5py.string_dtype())  # fmt: skip


def number(parent: Any, name: str, value: Any, units: str, **attributes: Any) -> Any:
    """A number or a plain array with its unit."""
    made = parent.create_dataset(name, data=value)
    if units:
        made.attrs["units"] = units
    made.attrs.update(attributes)
    return made


def constant(parent: Any, name: str, value: Constant | None) -> None:
    """A recorded constant in SI with its error and method; None is left out."""
    if value is None:
        return
    if value.unit == "deg":
        symbol, factor = "rad", math.pi / 180.0
    else:
        symbol, factor = si_factor(value.unit)
    made = number(parent, name, value.value * factor, symbol)
    if math.isfinite(value.error):
        made.attrs["error"] = value.error * factor
    if value.method:
        made.attrs["method"] = value.method


def packed(
    parent: Any, name: str, values: np.ndarray, rows: int = INDEX_ROWS, **more: Any
) -> Any:
    """An array in compressed, checksummed chunks of `rows` rows; plain if it is empty."""
    if values.size == 0:
        return parent.create_dataset(name, data=values)
    chunks = (min(rows, values.shape[0]), *values.shape[1:])
    return parent.create_dataset(name, data=values, chunks=chunks, **PACKED, **more)


def image(
    parent: Any, name: str, values: np.ndarray, units: str, long_name: str = "", **more: Any
) -> Any:
    """A map (rows, cols) that viewers show as an image; NaN where missing."""
    rows = max(1, 2**20 // max(1, values.shape[1] * values.itemsize))
    made = packed(parent, name, values, rows, **more)
    made.attrs["interpretation"] = "image"
    if units:
        made.attrs["units"] = units
    if long_name:
        made.attrs["long_name"] = long_name
    return made
