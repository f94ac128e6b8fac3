"""Making a pack: a folder or a zip, whole or not at all."""

from __future__ import annotations

import os
import zipfile
import zlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from ..errors import InputError, ReadError, WriteError
from ..findings import Findings
from ..progress import Progress
from ..writers.atomic import saving
from ..writers.folder import beside, problems, whole_folder
from . import checksums, described
from .building import Built, build
from .contents import parts_of
from .wish import Wish
from .zipped import write_zip

OVERVIEW = "Overview"


@dataclass(frozen=True)
class Estimate:
    """About how much a pack will weigh: words -> bytes."""

    parts: dict[str, int]

    @property
    def total(self) -> int:
        return sum(self.parts.values())

    @property
    def words(self) -> str:
        """``About 12 MB: measured map 10 MB, ...``, the heaviest first."""
        heavy = sorted(self.parts.items(), key=lambda one: -one[1])
        told = ", ".join(f"{words.lower()} {megabytes(size)}" for words, size in heavy)
        return f"About {megabytes(self.total)}: {told}."


@dataclass(frozen=True)
class Packed:
    """A pack that was written: where, how many files, how many bytes, and what is to be told."""

    path: Path
    files: int
    size: int
    notes: tuple[str, ...] = ()


def megabytes(size: int) -> str:
    return f"{size / 1e6:.3g} MB" if size >= 1_000_000 else f"{max(1, round(size / 1e3))} kB"


def with_overview(findings: Findings) -> Findings:
    """With a first figure sheet, called `OVERVIEW`, where none was saved: a pack without a picture
    would leave its reader to the report."""
    if findings.work.sheets:
        return findings
    from ..figures.first import first_sheet

    sheet = first_sheet(findings, name=OVERVIEW)
    return replace(findings, work=replace(findings.work, sheets=(sheet,)))


def estimate(findings: Findings, wish: Wish) -> Estimate:
    """About how much a pack of these findings will weigh."""
    findings = with_overview(findings)
    analysis, found = findings.analysis, {}
    if wish.with_map:
        found["Measured map"] = int(findings.map.file_size)
    maps = 1 + sum(1 if errors is None else 2 for _, _, errors in analysis.channels())
    found["Result"] = 150_000 + maps * 8 * analysis.doubts.size
    laid = findings.work.picture
    if laid is not None and laid.path.is_file():
        found["Picture"] = laid.path.stat().st_size
    for part in parts_of(findings, wish.left_out):
        found[part.title] = part.weighs(findings)
    return Estimate(found)


def write_pack(path: str | os.PathLike[str], findings: Findings, wish: Wish | None = None, *,
               acts: Sequence[Mapping[str, Any]] = (), progress: Progress | None = None,
               replace_existing: bool = False) -> Packed:  # fmt: skip
    """Write a pack that a reviewer can check.

    Parameters
    ----------
    path : a name that ends in .zip, or a folder that is made
    findings : with their components; the map has to be a file
    acts : rows of the history, for the result file in it
    replace_existing : whether a pack that is there already is replaced; nothing else ever is, nor
        what comes there meanwhile, nor a pack of which a file was changed

    Raises
    ------
    WriteError : the place is taken or can't be written to, the disk is full; nothing is left
    ReadError : the map was changed or removed meanwhile
    InputError : the map lies in memory only
    """
    path, wish, progress = Path(path), wish or Wish(), progress or Progress()
    if findings.map.path is None:
        raise InputError("The map lies in memory only, so there is no file that a reviewer can "
                         "check. Save it as a file first, with palpate.core.write_map.")
    check_target(path, replace_existing)
    findings = with_overview(findings)
    needs = estimate(findings, wish).total
    if not is_zip(path):
        with whole_folder(path, needs=needs, replace=replace_existing, known=files_of) as folder:
            built = build(folder, findings, wish, acts, progress, copy_map=True)
            size = sum(place.stat().st_size for place in built.files.values())
            progress.check()
            _synced(folder)
        return Packed(path, len(built.files), size, tuple(built.notes))
    if wish.with_map:  # all but the map lies there twice for a while
        needs -= int(findings.map.file_size) // 2

    def still_free(made: Path) -> None:
        check_target(path, replace_existing)

    with (
        saving(path, needs=2 * needs, check=still_free, replace=replace_existing) as temporary,
        beside(path.absolute()) as folder,
    ):
        built = build(folder, findings, wish, acts, progress, copy_map=False)
        _prove(built, write_zip(temporary, built.files, progress))
    return Packed(path, len(built.files), path.stat().st_size, tuple(built.notes))


def is_zip(path: Path) -> bool:
    return path.suffix.lower() == ".zip"


def check_target(path: Path, replace_existing: bool = False) -> None:
    """Raise WriteError if a pack can't go there: no such folder, or something is in its place."""
    path = path.absolute()
    if not is_zip(path):
        for problem in problems(path, replace=replace_existing, known=files_of):
            raise WriteError(problem)
        return
    if not path.parent.is_dir():
        raise WriteError(f"{path} can't be written: there is no folder {path.parent}.")
    if path.is_dir():
        raise WriteError(f"{path} can't be written: a folder of this name is there. Choose another "
                         "name.")  # fmt: skip
    if path.exists():
        strange = _strange_in_zip(path)
        if strange:
            raise WriteError(f"{path} can't be replaced: {strange}. Choose another name.")
        if not replace_existing:
            raise WriteError(f"{path} is there already. Replace it, or choose another name.")


def files_of(folder: Path) -> dict[str, str] | None:
    """The files of an earlier pack with their SHA-256, so that it may be replaced; None if a folder
    is none."""
    if not (folder / described.NAME).is_file():
        return None
    try:
        return {checksums.NAME: "", **checksums.read(folder)}
    except ReadError:
        return None


def _strange_in_zip(path: Path) -> str:
    """Why a file is no pack that may be replaced, a clause; "" if it is one."""
    try:
        with zipfile.ZipFile(path) as archive:
            names = {one.filename for one in archive.infolist() if not one.is_dir()}
            if described.NAME not in names or checksums.NAME not in names:
                return "it is no pack of Palpate"
            if archive.getinfo(checksums.NAME).file_size > checksums.LARGEST:
                return "it is no pack of Palpate"
            text = archive.read(checksums.NAME).decode()
    except (OSError, zipfile.BadZipFile, NotImplementedError, RuntimeError, ValueError, zlib.error):
        return "it is no pack of Palpate"
    known = {line.partition("  ")[2] for line in text.splitlines()}
    strange = sorted(names - known - {checksums.NAME})
    return f"it holds {strange[0]!r}, which is not of the pack" if strange else ""


def _prove(built: Built, written: Mapping[str, str]) -> None:
    """Raise WriteError if a file, which may be the map at its own place, changed meanwhile."""
    for name, digest in built.digests.items():
        if written[name] != digest:
            raise WriteError(f"{built.files[name]} was changed while it was packed. Open it again.")


def _synced(folder: Path) -> None:
    """Force all to the disk, so that the new name never stands for less."""
    for place in folder.rglob("*"):
        if place.is_file():
            with place.open("rb") as stream:
                os.fsync(stream.fileno())
