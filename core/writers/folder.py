"""A folder of files that is there whole or not at all, as `atomic` does it for single files.

All is written into a folder beside it under another name; only when everything is there it gets
its own name. A folder that stands in its place is put aside first and removed last.
"""

from __future__ import annotations

import os
import secrets
import shutil
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from ..errors import WriteError
from .atomic import _RESERVE, _reason, _sync_folder
from .datapackage import NAME, listed

_MARK = ".palpate-"
_OLD = 86_400.0  # seconds after which a folder that a killed export left is removed
LONGEST = 255
"""Bytes of a name that every usual file system takes."""
OF_THE_SYSTEM = (".DS_Store", "Thumbs.db", "desktop.ini")
"""What systems put into folders by themselves."""


Known = Callable[[Path], set[str] | None]
"""The files of a folder that was written before; None if it is none of that kind."""


def known_export(folder: Path) -> set[str] | None:
    """Those of an export that describes itself."""
    files = listed(folder)
    return None if files is None else files | {NAME}


@contextmanager
def whole_folder(path: str | os.PathLike[str], *, needs: int = 0, replace: bool = False,
                 known: Known = known_export) -> Iterator[Path]:  # fmt: skip
    """Write a folder so that it is there whole or not at all.

    Parameters
    ----------
    path : where it shall be; its parent is there already
    needs : bytes that will be written, as far as known
    replace : put it in the place of an earlier one; anything else in its place is refused
    known : the files by which an earlier one is known; None if a folder is none

    Yields
    ------
    Path : the temporary folder to write into

    Raises
    ------
    WriteError : it can't be written there; nothing is left behind and an earlier one stays
    """
    path = Path(path).absolute()
    for problem in problems(path, needs=needs, replace=replace, known=known):
        raise WriteError(problem)
    _clean(path.parent)
    part = path.with_name(f"{_MARK}{secrets.token_hex(6)}.part")
    try:
        part.mkdir()
        yield part
        _put(part, path)
        _sync_folder(path.parent)
    except WriteError as error:
        raise WriteError(str(error).replace(str(part), str(path))) from error
    except (OSError, RuntimeError) as error:
        words = _reason(error)
        if words is None:
            raise
        raise WriteError(f"{path} could not be written: {words}") from error
    finally:
        shutil.rmtree(part, ignore_errors=True)


def problems(path: str | os.PathLike[str], *, needs: int = 0, replace: bool = False,
             known: Known = known_export) -> list[str]:  # fmt: skip
    """What is known to be wrong with writing a folder there, in sentences; empty if nothing is."""
    path = Path(path).absolute()
    told = f"{path} can't be written: "
    if len(path.name.encode()) > LONGEST:
        return [f"{told}its name is longer than {LONGEST} bytes. Choose a shorter one."]
    try:
        parent = path.parent
        if not parent.is_dir():
            return [f"{told}there is no folder {parent}."]
        found = [_in_the_way(path, replace, known)] if path.exists() or path.is_symlink() else []
        if not os.access(parent, os.W_OK | os.X_OK):
            found.append(f"{told}there is no permission to write in {parent}. Choose another one.")
        free = shutil.disk_usage(parent).free
    except (OSError, ValueError) as error:
        return [told + (_reason(error) or str(error))]
    if needs and free < needs + _RESERVE:
        found.append(f"{told}it needs about {needs / 1e6:.1f} MB and {free / 1e6:.1f} MB are free. "
                     "Make room, choose another disk, or export less.")  # fmt: skip
    return [one for one in found if one]


def _in_the_way(path: Path, replace: bool, known: Known) -> str:
    """Why what is there already may not be replaced; "" if it may."""
    if not path.is_dir() or path.is_symlink():
        return f"{path} can't be written: a file of this name is there. Choose another name."
    if not any(path.iterdir()):
        return ""
    files = known(path)
    if files is None:
        return (f"{path} can't be written: it holds other files than an earlier one would. Choose "
                "another name.")  # fmt: skip
    there = {f.relative_to(path).as_posix() for f in path.rglob("*")
             if not f.is_dir() and f.name not in OF_THE_SYSTEM}  # fmt: skip
    strange = sorted(there - files)
    if strange:
        return (f"{path} can't be replaced: it holds {strange[0]!r}, which is not of an earlier "
                "one. Choose another name.")  # fmt: skip
    return "" if replace else f"{path} is there already. Replace it, or choose another name."


def _put(part: Path, path: Path) -> None:
    """Give the finished folder its name; what was there stays if that fails."""
    if not path.exists():
        part.rename(path)
        return
    aside = path.with_name(f"{_MARK}{secrets.token_hex(6)}.old")
    path.rename(aside)
    try:
        part.rename(path)
    except OSError:
        aside.rename(path)
        raise
    shutil.rmtree(aside, ignore_errors=True)


def _clean(parent: Path) -> None:
    """Remove what killed exports left more than a day ago."""
    for old in parent.glob(f"{_MARK}*.part"):
        with suppress(OSError):
            if time.time() - old.stat().st_mtime > _OLD:
                shutil.rmtree(old, ignore_errors=True)
