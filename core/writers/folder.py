"""A folder of files that is there whole or not at all, as `atomic` does it for single files.

All is written into a folder beside it under another name; only when everything is there it gets
its own name. What stands in its place is looked at before, and once more when all is made, since
somebody may have put something there meanwhile; it is put aside first and removed last. If the
program ends between the two, it is put back at the next write there.
"""

from __future__ import annotations

import glob
import hashlib
import os
import secrets
import shutil
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path

from ..errors import WriteError
from .atomic import _MARK, _reason, _sync_folder, lacks_room
from .datapackage import NAME, listed

_OLD = 86_400.0  # seconds after which a folder that a killed export left is removed
LONGEST = 255
"""Bytes of a name that every usual file system takes."""
OF_THE_SYSTEM = (".DS_Store", "Thumbs.db", "desktop.ini")
"""What systems put into folders by themselves."""
Known = Callable[[Path], Mapping[str, str] | None]
"""The files of a folder that was written before with the SHA-256 of each ("" where it is not
known); None if the folder is none of that kind."""


def known_export(folder: Path) -> Mapping[str, str] | None:
    """Those of an export that describes itself."""
    files = listed(folder)
    return None if files is None else files | {NAME: ""}


@contextmanager
def whole_folder(path: str | os.PathLike[str], *, needs: int = 0, replace: bool = False,
                 known: Known = known_export, parents: bool = False
                 ) -> Iterator[Path]:  # fmt: skip
    """Write a folder so that it is there whole or not at all.

    Parameters
    ----------
    path : where it shall be
    needs : bytes that will be written, as far as known
    replace : put it in the place of an earlier one; anything else in its place is refused, also
        what comes there in the meantime
    known : the files by which an earlier one is known; None if a folder is none
    parents : make the folders above it that are missing; they go again if it can't be written

    Yields
    ------
    Path : the temporary folder to write into

    Raises
    ------
    WriteError : it can't be written there; nothing is left behind and an earlier one stays
    """
    path = Path(path).absolute()
    _put_back(path)
    found = problems(path, needs=needs, replace=replace, known=known, parents=parents,
                     thorough=True)  # fmt: skip
    if found:
        raise WriteError(found[0])
    with _above(path) if parents else beside(path) as part:
        yield part
        _put(part, path, replace, known)
        _sync_folder(path.parent)


@contextmanager
def beside(path: Path) -> Iterator[Path]:
    """A new folder beside a place, which goes again unless it gets another name; what goes wrong
    in it is told of the place. Raises WriteError."""
    clean(path.parent)
    part = path.with_name(f"{_MARK}{secrets.token_hex(6)}.part")
    try:
        part.mkdir()
        yield part
    except WriteError as error:
        raise WriteError(str(error).replace(str(part), str(path))) from error
    except (OSError, RuntimeError) as error:
        words = _reason(error)
        if words is None:
            raise
        raise WriteError(f"{path} could not be written: {words}") from error
    finally:
        shutil.rmtree(part, ignore_errors=True)


@contextmanager
def _above(path: Path) -> Iterator[Path]:
    """As `beside`, with the folders above it."""
    made: list[Path] = []
    try:
        for folder in reversed([one for one in path.parents if not one.exists()]):
            try:
                folder.mkdir()
            except OSError as error:
                raise WriteError(f"{folder} could not be made: {_reason(error)}") from error
            made.append(folder)
        with beside(path) as part:
            yield part
    except BaseException:
        for folder in reversed(made):
            with suppress(OSError):  # somebody has put something there
                folder.rmdir()
        raise


def problems(path: str | os.PathLike[str], *, needs: int = 0, replace: bool = False,
             known: Known = known_export, parents: bool = False, thorough: bool = False
             ) -> list[str]:  # fmt: skip
    """What is known to be wrong with writing a folder there, in sentences; empty if nothing is.

    `thorough` reads every file of an earlier one, to see whether somebody changed it.
    """
    path = Path(path).absolute()
    told = f"{path} can't be written: "
    if len(path.name.encode()) > LONGEST:
        return [f"{told}its name is longer than {LONGEST} bytes. Choose a shorter one."]
    try:
        parent = path.parent
        while parents and not parent.exists() and parent != parent.parent:
            parent = parent.parent
        if not parent.is_dir() and _there(parent):
            return [f"{told}{parent} is a file. Choose another folder."]
        if not parent.is_dir():
            return [f"{told}there is no folder {parent}."]
        found = [_in_the_way(path, path, replace, known, thorough)] if _there(path) else []
        if not os.access(parent, os.W_OK | os.X_OK):
            found.append(f"{told}there is no permission to write in {parent}. Choose another one.")
        lack = lacks_room(parent, needs)
    except (OSError, ValueError) as error:
        return [told + (_reason(error) or str(error))]
    if lack:
        found.append(f"{told}{lack}. Make room, choose another disk, or export less.")
    return [one for one in found if one]


def _there(path: Path) -> bool:
    return path.exists() or path.is_symlink()


def _in_the_way(here: Path, path: Path, replace: bool, known: Known, thorough: bool) -> str:
    """Why what is `here`, and stood or stands at `path`, may not be replaced; "" if it may."""
    if not here.is_dir() or here.is_symlink():
        return f"{path} can't be written: a file of this name is there. Choose another name."
    if not any(here.iterdir()):
        return ""
    files = known(here)
    if files is None:
        return (f"{path} can't be written: it holds other files than an earlier one would. Choose "
                "another name.")  # fmt: skip
    there = {f.relative_to(here).as_posix() for f in here.rglob("*")
             if (f.is_symlink() or not f.is_dir()) and f.name not in OF_THE_SYSTEM}  # fmt: skip
    strange = sorted(there - set(files))
    if strange:
        return (f"{path} can't be replaced: it holds {strange[0]!r}, which is not of an earlier "
                "one. Choose another name.")  # fmt: skip
    if not replace:
        return f"{path} is there already. Replace it, or choose another name."
    changed = _changed(here, {name: files[name] for name in there}) if thorough else ""
    return changed and (f"{path} can't be replaced: {changed!r} in it was changed since it was "
                        "written. Choose another name.")  # fmt: skip


def _changed(folder: Path, files: Mapping[str, str]) -> str:
    """The first file that is not as it was written; "" if there is none."""
    for name in sorted(name for name, digest in files.items() if digest):
        with (folder / name).open("rb") as stream:
            if hashlib.file_digest(stream, "sha256").hexdigest() != files[name]:
                return name
    return ""


def _put(part: Path, path: Path, replace: bool, known: Known) -> None:
    """Give the finished folder its name. What is there now is looked at, at its place and once
    more when nobody finds it any longer; it stays if it may not be replaced. Raises WriteError."""
    if not _there(path):
        part.rename(path)  # refused by the system if something with contents has come there
        return
    _refuse(_in_the_way(path, path, replace, known, thorough=True))
    aside = path.with_name(_aside(path, secrets.token_hex(2)))
    path.rename(aside)
    try:
        _refuse(_in_the_way(aside, path, replace, known, thorough=False))
        part.rename(path)
    except BaseException:
        aside.rename(path)
        raise
    for old in (aside, *_left_aside(path)):
        if not _in_the_way(old, path, True, known, thorough=False):
            shutil.rmtree(old, ignore_errors=True)


def _refuse(why: str) -> None:
    if why:
        raise WriteError(why)


def _aside(path: Path, sign: str) -> str:
    """The name under which what stood at a place is put aside: it begins with its own, so that a
    person finds it."""
    own = hashlib.sha256(path.name.encode()).hexdigest()[:8]
    tail, name = f"{_MARK}{own}{sign}.old", path.name
    while len((name + tail).encode()) > LONGEST:
        name = name[:-1]
    return name + tail


def _left_aside(path: Path) -> list[Path]:
    """What was put aside of this place and is still there, the latest last."""
    found = path.parent.glob(glob.escape(_aside(path, "\0" * 4)).replace("\0", "?"))
    return sorted(found, key=lambda one: one.stat().st_mtime)


def _put_back(path: Path) -> None:
    """Give what a killed write had put aside its name again, if nothing has it."""
    with suppress(OSError):
        old = _left_aside(path)
        if old and not _there(path):
            old[-1].rename(path)


def clean(parent: Path) -> None:
    """Remove what killed exports left more than a day ago."""
    for old in parent.glob(f"{_MARK}*.part"):
        with suppress(OSError):
            if time.time() - old.stat().st_mtime > _OLD:
                shutil.rmtree(old, ignore_errors=True)
