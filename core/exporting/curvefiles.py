"""Curves as files, portion by portion: never are all samples in memory.

Picked curves are written in double precision, all curves of a map in single precision. Files are
written from front to back (a memory map would kill the process where a disk fills up).
"""

from __future__ import annotations

import zipfile
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from ..progress import Progress
from ..writers import nexus
from ..writers.atomic import check_room, saving
from ..writers.datapackage import Column, Resource
from .curves import SEGMENTS, Samples, columns_of, curves_wanted, portions, samples_of
from .maps import describe_entry
from .wanted import Wanted

if TYPE_CHECKING:
    from ..findings import Findings

Array = np.ndarray
CHUNK = 65_536
OWN = (Column("row", "integer", "", "of the pixel"),
       Column("column", "integer", "", "of the pixel"),
       Column("segment", "integer", "", SEGMENTS))  # fmt: skip
INDEX = {"pixel": "row and column of each curve", "start": "where its samples begin",
         "count": "how many samples it has"}  # fmt: skip


def write_curves(folder: Path, findings: Findings, wanted: Wanted, progress: Progress
                 ) -> list[Resource]:  # fmt: skip
    """Write the curves in each format that curves have; what was written, for the package.

    Raises InputError for a pixel without a curve, ReadError if the file is damaged or gone.
    """
    curves = curves_wanted(findings, wanted)
    place = folder / "curves"
    place.mkdir()
    made: list[Resource] = []
    for ending in wanted.formats:
        if ending != "tif":
            files = WRITERS[ending](place, findings, wanted, curves, progress)
            made += [Resource(f"curves/{r.file}", r.description, r.columns) for r in files]
    return made


def kind_of(wanted: Wanted) -> Any:
    """The precision of arrays of samples."""
    return np.float32 if wanted.all_pixels else np.float64


def _read(findings: Findings, wanted: Wanted, curves: Array, progress: Progress
          ) -> Iterator[Samples]:  # fmt: skip
    done = 0
    for some in portions(findings, curves):
        progress.step(done, curves.size, "Exporting curves")
        yield samples_of(findings, some, wanted.curves)
        done += some.size
    progress.step(done, curves.size, "Exporting curves")


# ---- CSV


def _csv(place: Path, findings: Findings, wanted: Wanted, curves: Array, progress: Progress
         ) -> list[Resource]:  # fmt: skip
    """A file for each picked pixel; for all pixels a file for each row of the map."""
    pixel = findings.map.pixel[curves]
    columns = (*OWN, *columns_of(findings, wanted.curves))
    made: list[Resource] = []
    for name, words, some in _files(pixel, curves, wanted.all_pixels):
        progress.step(len(made), pixel[-1, 0] + 1 if wanted.all_pixels else curves.size,
                      "Exporting curves as tables")  # fmt: skip
        with saving(place / name) as temporary, temporary.open("w", encoding="utf-8") as out:
            out.write(",".join(column.name for column in columns) + "\n")
            for part in portions(findings, some):
                progress.check()
                out.writelines(_lines(findings, samples_of(findings, part, wanted.curves)))
        made.append(Resource(name, words, columns))
    return made


def _files(pixel: Array, curves: Array, by_row: bool) -> Iterator[tuple[str, str, Array]]:
    if not by_row:
        for (row, col), curve in zip(pixel.tolist(), curves, strict=True):
            yield (f"curve_r{row:03d}_c{col:03d}.csv", f"The curve at row {row}, column {col}.",
                   np.array([curve]))  # fmt: skip
        return
    for row in np.unique(pixel[:, 0]).tolist():
        yield f"curves_r{row:03d}.csv", f"The curves of row {row}.", curves[pixel[:, 0] == row]


def _lines(findings: Findings, samples: Samples) -> Iterator[str]:
    """The samples as lines of a table: three times as fast as cell by cell, and there are many."""
    pixel = np.repeat(findings.map.pixel[samples.curves], samples.count, axis=0)
    line = "%d,%d,%d" + ",%.9g" * len(samples.columns) + "\n"
    rows = zip(pixel[:, 0].tolist(), pixel[:, 1].tolist(), samples.segment.tolist(),
               *(values.tolist() for values in samples.columns.values()), strict=True)  # fmt: skip
    return (line % row for row in rows)


# ---- NumPy


def _npy(place: Path, findings: Findings, wanted: Wanted, curves: Array, progress: Progress
         ) -> list[Resource]:  # fmt: skip
    """One array a quantity, curve after curve, and an index."""
    count = findings.map.curve_count[curves]
    columns = columns_of(findings, wanted.curves)
    total, kind = int(count.sum()), kind_of(wanted)
    with ExitStack() as stack:
        files = {column.name: stack.enter_context((place / file_name(column)).open("wb"))
                 for column in columns}  # fmt: skip
        segment = stack.enter_context((place / "segment.npy").open("wb"))
        for file in files.values():
            _head(file, total, kind)
        _head(segment, total, np.uint8)
        for samples in _read(findings, wanted, curves, progress):
            segment.write(samples.segment.tobytes())
            for name, values in samples.columns.items():
                files[name].write(values.astype(kind).tobytes())
    for name, values in index_of(findings, curves).items():
        np.save(place / f"{name}.npy", values, allow_pickle=False)
    made = [Resource(file_name(column), f"{column.name}: {column.description}")
            for column in columns]  # fmt: skip
    made.append(Resource("segment.npy", f"Kind of segment of each sample: {SEGMENTS}"))
    return made + [Resource(f"{name}.npy", words) for name, words in INDEX.items()]


def file_name(column: Column) -> str:
    """Name of a quantity's own array: its words without the unit."""
    return column.name.rpartition(" (")[0].replace(" ", "_") + ".npy"


def _head(file: Any, total: int, kind: Any) -> None:
    np.lib.format.write_array_header_1_0(
        file, {"descr": np.dtype(kind).newbyteorder("<").str, "fortran_order": False,
               "shape": (total,)})  # fmt: skip


def index_of(findings: Findings, curves: Array) -> dict[str, Array]:
    """Pixel (n, 2), start and count (n,) of curves that lie one after the other."""
    count = findings.map.curve_count[curves]
    start = np.concatenate([[0], np.cumsum(count)[:-1]]) if count.size else count
    return {"pixel": findings.map.pixel[curves], "start": start, "count": count}


def _npz(place: Path, findings: Findings, wanted: Wanted, curves: Array, progress: Progress
         ) -> list[Resource]:  # fmt: skip
    """The same arrays in one file, which `numpy.load` opens."""
    inside = place / "npz"
    inside.mkdir()
    made = _npy(inside, findings, wanted, curves, progress)
    with zipfile.ZipFile(place / "curves.npz", "w", zipfile.ZIP_STORED) as out:
        for number, one in enumerate(made):
            progress.step(number, len(made), "Packing the curves")
            out.write(inside / one.file, one.file)
            (inside / one.file).unlink()
    inside.rmdir()
    words = "; ".join(f"{one.file.removesuffix('.npy')}: {one.description}" for one in made)
    return [Resource("curves.npz", f"All arrays by name. {words}")]


# ---- HDF5


def _h5(place: Path, findings: Findings, wanted: Wanted, curves: Array, progress: Progress
        ) -> list[Resource]:  # fmt: skip
    fmap, kind = findings.map, kind_of(wanted)
    total = int(fmap.curve_count[curves].sum())
    path = place / "curves.h5"
    with saving(path) as temporary, nexus.create(temporary, "export-curves") as file:
        entry = nexus.group(file, "entry", "NXentry", default="curves")
        describe_entry(entry, findings)
        group = nexus.group(entry, "curves", "NXcollection", layout="one after the other")
        for name, values in index_of(findings, curves).items():
            nexus.packed(group, name, values).attrs["description"] = INDEX[name]
        if fmap.sampling_rate is not None:
            nexus.number(group, "sampling_rate", fmap.sampling_rate, "Hz")
        made = {column.name: _dataset(group, column, total, kind)
                for column in columns_of(findings, wanted.curves)}  # fmt: skip
        segment = _dataset(group, OWN[2], total, np.uint8)
        at = 0
        each = len(made) * np.dtype(kind).itemsize + 1
        for samples in _read(findings, wanted, curves, progress):
            file.flush()  # what waits in the library takes no room yet
            check_room(place, 2 * each * samples.segment.size)
            here = slice(at, at + samples.segment.size)
            segment[here] = samples.segment
            for name, values in samples.columns.items():
                made[name][here] = values.astype(kind)
            at = here.stop
    return [Resource("curves.h5", "The curves under /entry/curves, one after the other: `start` "
                     "and `count` of each, `pixel` its row and column; units as attributes.")]


def _dataset(group: Any, column: Column, total: int, kind: Any) -> Any:
    name = file_name(column).removesuffix(".npy") if column.unit else column.name
    packing = {**nexus.PACKED, "chunks": (min(CHUNK, total),)} if total else {}
    made = group.create_dataset(name, shape=(total,), dtype=kind, **packing)
    made.attrs["description"] = column.description
    if column.unit:
        made.attrs["units"] = column.unit
    return made


WRITERS = {"csv": _csv, "npy": _npy, "npz": _npz, "h5": _h5}
