"""Making a pack: a folder or a zip, whole or not at all."""

from __future__ import annotations

import os
import secrets
import shutil
import time
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from ..errors import InputError, WriteError
from ..findings import Findings
from ..progress import Progress
from ..writers.atomic import reason_of, saving
from . import described
from .building import Built, build
from .contents import PARTS
from .wish import Wish
from .zipped import write_zip

_OLD = 3600.0
_RESERVE = 4 * 1024**2


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


def estimate(findings: Findings, wish: Wish) -> Estimate:
    """About how much a pack of these findings will weigh."""
    analysis, found = findings.analysis, {}
    if wish.with_map:
        found["Measured map"] = int(findings.map.file_size)
    maps = 1 + sum(1 if errors is None else 2 for _, _, errors in analysis.channels())
    found["Result"] = 150_000 + maps * 8 * analysis.doubts.size
    laid = findings.work.picture
    if laid is not None and laid.path.is_file():
        found["Picture"] = laid.path.stat().st_size
    for part in PARTS:
        if not part.there(findings):
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
    replace_existing : whether a pack that is there already is replaced; nothing else ever is

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
    zipped = is_zip(path)
    check_target(path, replace_existing)
    weight = estimate(findings, wish)
    _room(path, weight, wish, zipped, findings)
    with _told(path), _unfinished(path) as folder:
        built = build(folder, findings, wish, acts, progress, copy_map=not zipped)
        size = sum(place.stat().st_size for place in built.files.values())
        if zipped:
            with saving(path) as temporary:
                _prove(built, write_zip(temporary, built.files, progress))
            size = path.stat().st_size
        else:
            progress.check()
            _synced(folder)
            _put(folder, path)
    return Packed(path, len(built.files), size, tuple(built.notes))


def is_zip(path: Path) -> bool:
    return path.suffix.lower() == ".zip"


def check_target(path: Path, replace_existing: bool = False) -> None:
    """Raise WriteError if a pack can't go there: no such folder, or something is in its place."""
    try:
        if not path.absolute().parent.is_dir():
            raise WriteError(f"{path} could not be written: there is no folder "
                             f"{path.absolute().parent}.")  # fmt: skip
        if not (path.exists() or path.is_symlink()):
            return
        ours = path.is_file() and not path.is_symlink() if is_zip(path) else is_pack(path)
    except OSError as error:
        raise WriteError(f"{path} could not be written: {reason_of(error)}") from None
    if not ours:
        raise WriteError(f"{path} is there already, and it is no pack. Choose another name.")
    if not replace_existing:
        raise WriteError(f"{path} is there already. Choose another name, or say that it is to be "
                         "replaced (--replace).")  # fmt: skip


def is_pack(path: Path) -> bool:
    """Whether a folder is a pack, so that it may be replaced."""
    return path.is_dir() and not path.is_symlink() and (path / described.NAME).is_file()


def _room(path: Path, weight: Estimate, wish: Wish, zipped: bool, findings: Findings) -> None:
    try:
        free = shutil.disk_usage(path.absolute().parent).free
    except OSError as error:
        raise WriteError(f"{path} could not be written: {reason_of(error)}") from None
    needs = weight.total
    if zipped:  # all but the map lies there twice for a while
        needs += weight.total - (findings.map.file_size if wish.with_map else 0)
    if free < needs + _RESERVE:
        raise WriteError(f"{path} could not be written: it needs about {megabytes(needs)}, and "
                         f"{megabytes(free)} are free. Make room or choose another disk.")


@contextmanager
def _told(path: Path) -> Iterator[None]:
    """Errors of the operating system in words."""
    try:
        yield
    except (OSError, RuntimeError) as error:
        words = reason_of(error)
        if words is None:
            raise
        raise WriteError(f"{path} could not be written: {words}") from error


MARK = "UNFINISHED"
"""Stands in a folder while it is being filled, so that a left-over is known as one."""


@contextmanager
def _unfinished(path: Path) -> Iterator[Path]:
    """A new folder beside the target, gone at the end unless it was moved."""
    beside = path.absolute()
    _clean(beside)
    folder = beside.with_name(f"{beside.name[:100]}.{secrets.token_hex(4)}.part")
    folder.mkdir()
    try:
        (folder / MARK).touch()
        yield folder
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def _clean(beside: Path) -> None:
    """Remove what a killed run left there more than an hour ago."""
    with suppress(OSError):
        for old in beside.parent.iterdir():
            ours = old.name.startswith(f"{beside.name[:100]}.") and old.name.endswith(".part")
            if ours and (old / MARK).is_file() and time.time() - old.stat().st_mtime > _OLD:
                shutil.rmtree(old, ignore_errors=True)


def _prove(built: Built, written: Mapping[str, str]) -> None:
    """Raise WriteError if a file, which may be the map at its own place, changed meanwhile."""
    for name, digest in built.digests.items():
        if written[name] != digest:
            raise WriteError(f"{built.files[name]} was changed while it was packed. Open it again.")


def _synced(folder: Path) -> None:
    """Force all to the disk, so that the new name never stands for less."""
    for place in folder.rglob("*"):
        if place.is_file():
            with place.open("rb") as stream, suppress(OSError):
                os.fsync(stream.fileno())


def _put(folder: Path, path: Path) -> None:
    """The finished folder in its place; an older pack there goes only once the new one is in."""
    (folder / MARK).unlink()
    old = None
    if path.exists():
        old = folder.with_name(f"{folder.stem}.old")
        path.rename(old)
    try:
        folder.rename(path)
    except OSError:
        if old is not None:
            old.rename(path)
        raise
    if old is not None:
        shutil.rmtree(old, ignore_errors=True)
