"""A look at a path before any library opens it: is it a file, and what do its first bytes say?"""

from __future__ import annotations

import os
import stat
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from ..errors import ReadError
from .guard import AGAIN, FOREIGN

SIGNATURE = b"\x89HDF\r\n\x1a\n"


@dataclass(frozen=True)
class Seen:
    """What a first look showed.

    Attributes
    ----------
    path : the file; size : its bytes; identity : changes when the file does
    is_hdf5 : the HDF5 signature is at a place the standard allows
    swmr : the file says it is being written for others to read meanwhile (or its writer died)
    """

    path: Path
    size: int
    identity: tuple[int, int, int]
    is_hdf5: bool
    swmr: bool


def look(path: str | os.PathLike[str]) -> Seen:
    """Look at a path without opening it with any library.

    Raises ReadError if it is not a readable regular file or is empty.
    """
    path = Path(path)
    try:
        status = path.stat()
        if stat.S_ISDIR(status.st_mode):
            raise ReadError(path, "this is a folder", "Choose a file in it.")
        if not stat.S_ISREG(status.st_mode):
            raise ReadError(path, "this is a device or a pipe, not a file", "Choose a file.")
        if status.st_size == 0:
            raise ReadError(path, "the file is empty", AGAIN)
        with path.open("rb") as stream:
            at = _signature(stream, status.st_size)
            flags = _open_flags(stream, at)
    except (OSError, ValueError) as error:
        raise ReadError(path, *_words(path, error)) from None
    if flags & ~5:
        raise ReadError(path, "the head of the file is damaged", AGAIN)
    if flags & 1 and not flags & 4:
        raise ReadError(
            path, "another program is writing this file, or was stopped while it wrote",
            "Close that program; if it was stopped, mend the file with `h5clear -s` of the HDF5 "
            "tools.",
        )  # fmt: skip
    identity = (status.st_size, status.st_mtime_ns, status.st_ino)
    return Seen(path, status.st_size, identity, at is not None, bool(flags & 4))


def not_a_map(seen: Seen) -> ReadError:
    """The error for a file that no reader knows."""
    return ReadError(seen.path, "this is not a map in a format that is known", FOREIGN)


def _signature(stream: BinaryIO, size: int) -> int | None:
    """Where the HDF5 signature is: at 0, 512, 1024, 2048 and so on; None if nowhere."""
    at = 0
    while at + 12 <= size:
        stream.seek(at)
        if stream.read(8) == SIGNATURE:
            return at
        at = max(512, at * 2)
    return None


def _open_flags(stream: BinaryIO, at: int | None) -> int:
    """The superblock's consistency flags: 1 open for writing, 4 open for SWMR writing."""
    if at is None:
        return 0
    stream.seek(at + 8)
    head = stream.read(4)
    return head[3] if len(head) == 4 and head[0] >= 2 else 0


def _words(path: Path, error: Exception) -> tuple[str, str]:
    if isinstance(error, FileNotFoundError):
        if path.is_symlink():
            return "this link leads to a file that is gone", "Find the file it should lead to."
        return "there is no such file", "Look where it is now."
    if isinstance(error, PermissionError):
        return "there is no permission to read it", "Ask its owner, or copy it to your own folder."
    words = (getattr(error, "strerror", None) or str(error)).lower()
    return f"it can't be opened ({words})", "Choose another file, or copy it elsewhere first."
