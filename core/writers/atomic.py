"""Saving without losing: whatever happens, the old file or the new one is there, whole.

The new file is written beside the old one under another name, closed, checked, forced to the
disk, and only then put in the old one's place in one step.
"""

from __future__ import annotations

import errno
import os
import re
import secrets
import shutil
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from ..errors import WriteError

_MARK = ".palpate-"
_OLD = 3600.0  # seconds after which a temporary file is a left-over
_RESERVE = 1024**2  # bytes kept free beyond what is asked for


@contextmanager
def saving(
    path: str | os.PathLike[str],
    *,
    needs: int = 0,
    check: Callable[[Path], object] | None = None,
    keep_previous: bool = False,
    replace: bool = True,
) -> Iterator[Path]:
    """Write a file so that it is replaced whole or not at all.

    Parameters
    ----------
    path : where the file shall be; a link is followed
    needs : bytes that will be written, as far as known; free space is looked at first
    check : called with the finished temporary file; an exception keeps the old file
    keep_previous : keep one earlier version beside it (see `previous_name`)
    replace : whether a file that is there, or comes there meanwhile, is replaced

    Yields
    ------
    Path : the temporary file to write and to close; it has the ending of `path`

    Raises
    ------
    WriteError : no such folder, no permission, a full disk, a file that may not be replaced;
        nothing half-written is left
    """
    path = _check_place(Path(path), needs)
    _free(path, replace)
    ending = path.suffix if len(path.suffix) < 10 else ""
    temporary = path.with_name(f"{_MARK}{secrets.token_hex(6)}.tmp{ending}")
    try:
        yield temporary
        if check is not None:
            check(temporary)
        if path.exists():
            shutil.copymode(path, temporary)
        _sync(temporary)
        if keep_previous and path.exists():
            _keep(path)
        if replace:
            temporary.replace(path)
        else:
            _place_new(temporary, path)
        _sync_folder(path.parent)
    except (OSError, RuntimeError) as error:
        words = _reason(error)
        if words is None:
            raise
        raise WriteError(f"{path} could not be saved: {words}") from error
    finally:
        with suppress(OSError):
            temporary.unlink(missing_ok=True)


def _free(path: Path, replace: bool) -> None:
    if not replace and path.exists():
        raise WriteError(f"{path} is there already. Replace it, or choose another name.")


def _place_new(temporary: Path, path: Path) -> None:
    """Give a file a name that nothing has, in one step where the disk can. Raises WriteError."""
    try:
        os.link(temporary, path)
    except FileExistsError:
        _free(path, replace=False)
        raise
    except OSError:  # a disk without links
        _free(path, replace=False)
        temporary.rename(path)


def previous_name(path: Path) -> Path:
    """Where the earlier version of a file is kept: ``a.h5`` -> ``a.previous.h5``."""
    stem, tail = path.stem, f".previous{path.suffix}"
    while len((stem + tail).encode()) > 255:
        stem = stem[:-1]
    return path.with_name(stem + tail)


def clean_leftovers(folder: Path) -> int:
    """Remove temporary files that a killed save left in a folder more than an hour ago; returns
    how many."""
    removed = 0
    for old in folder.glob(f"{_MARK}*.tmp*"):
        with suppress(OSError):
            if time.time() - old.stat().st_mtime > _OLD:
                old.unlink()
                removed += 1
    return removed


def same_file(one: Path, other: Path) -> bool:
    """Whether two names lead to the same file; False if one of them leads nowhere."""
    try:
        return one.samefile(other)
    except OSError:
        return False


def check_room(folder: Path, needs: int) -> None:
    """Raise WriteError if a disk has no room for so many bytes more.

    To be asked before each large step of an HDF5 file: its library can't let go of a file that it
    could not write to its end, and takes the process with it when it ends.
    """
    free = shutil.disk_usage(folder).free
    if free < needs + 16 * _RESERVE:
        raise WriteError(f"{folder} could not be written to: {_REASONS[errno.ENOSPC]}")


def lacks_room(folder: Path, needs: int) -> str:
    """A clause on how much is needed and free on a disk that has no room for so many bytes; ""
    where there is room or nothing is needed. Raises OSError."""
    free = shutil.disk_usage(folder).free
    if not needs or free >= needs + _RESERVE:
        return ""
    return (f"it needs about {size_words(needs + _RESERVE)} with a reserve, and {size_words(free)} "
            "are free")  # fmt: skip


def size_words(size: float) -> str:
    """A number of bytes for people: ``12.3 MB``."""
    for unit in ("kB", "MB"):
        size /= 1000.0
        if size < 1000.0:
            return f"{size:.3g} {unit}"
    return f"{size / 1000.0:.3g} GB"


def _check_place(path: Path, needs: int) -> Path:
    """The path with links followed. Raises WriteError if nothing can be saved there."""
    try:
        path = path.resolve() if path.is_symlink() else path
        folder = path.parent
        if path.is_dir():
            raise WriteError(f"{path} is a folder. Choose a file name.")
        if not folder.is_dir():
            raise WriteError(f"{path} could not be saved: there is no folder {folder}.")
        lack = lacks_room(folder, needs)
        clean_leftovers(folder)
    except (OSError, ValueError, RuntimeError) as error:
        words = _reason(error) or str(error)
        raise WriteError(f"{path} could not be saved: {words}") from None
    if lack:
        raise WriteError(f"{path} could not be saved: {lack}. Make room or choose another disk.")
    return path


def _keep(path: Path) -> None:
    """Keep the present file under its second name, without a moment in which it is missing."""
    kept = previous_name(path)
    spare = path.with_name(f"{_MARK}{secrets.token_hex(6)}.tmp")
    try:
        os.link(path, spare)
    except OSError:
        shutil.copy2(path, spare)
    try:
        spare.replace(kept)
    finally:
        with suppress(OSError):  # replacing a file by itself under another name leaves both
            spare.unlink(missing_ok=True)


def _sync(path: Path) -> None:
    with path.open("r+b") as stream:
        os.fsync(stream.fileno())


def _sync_folder(folder: Path) -> None:
    if os.name == "nt":  # folders can't be opened there; the replacement is already ordered
        return
    with suppress(OSError):  # some network shares refuse this
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


_REASONS = {
    errno.ENOSPC: "the disk is full. Make room or choose another disk.",
    errno.EDQUOT: "your share of the disk is full. Make room or choose another disk.",
    errno.EROFS: "the disk can only be read. Choose another folder.",
    errno.EACCES: "there is no permission to write there, or the file is open in another "
    "program. Choose another folder or close that program.",
    errno.ENAMETOOLONG: "the name is too long. Choose a shorter one.",
    errno.ENOENT: "the folder is gone. Choose another folder.",
}
_REASONS[errno.EPERM] = _REASONS[errno.EACCES]


def _reason(error: Exception) -> str | None:
    """Plain words for an error of the operating system, also one told by the HDF5 library; None
    for an error that is not one of those."""
    number = getattr(error, "errno", None)
    told = re.search(r"errno = (\d+)", str(error))
    if number is None and told:
        number = int(told.group(1))
    if number in _REASONS:
        return _REASONS[number]
    if isinstance(error, OSError):
        words = error.strerror or " ".join(str(error).split())[:200]
        return f"{words.rstrip('.')}. Choose another place."
    return None
