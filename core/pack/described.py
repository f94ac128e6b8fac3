"""``pack.json``: what a pack holds and what it was made from, for the program that opens it."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from ..errors import ReadError
from ..readers.guard import clean_text
from .checksums import AGAIN
from .names import wrong_name

NAME, VERSION = "pack.json", 1
LARGEST = 4 * 1024**2


@dataclass(frozen=True)
class MapAt:
    """The measured map of a pack: its file in it ("" if it is not in it), how it is called, its
    size in bytes, SHA-256 and UUID, and where it is published ("" if nowhere)."""

    file: str
    name: str
    size: int
    sha256: str
    uuid: str = ""
    published: str = ""


@dataclass(frozen=True)
class Described:
    """What stands in the file.

    Attributes
    ----------
    title, made, program : of the pack, its day, and what made it with its version
    result : the result file in it
    map : see `MapAt`
    parts : names of the parts that it has, in their order
    again : files of it that are made again and compared
    """

    title: str
    made: str
    program: str
    result: str
    map: MapAt
    parts: tuple[str, ...] = ()
    again: tuple[str, ...] = ()

    def text(self) -> str:
        found = {"palpate_pack": VERSION, "title": self.title, "made": self.made,
                 "program": self.program, "result": self.result, "map": dict(vars(self.map)),
                 "parts": list(self.parts), "again": list(self.again)}  # fmt: skip
        return json.dumps(found, indent=1, ensure_ascii=False) + "\n"


def read(folder: Path) -> Described:
    """Read the description of a pack. Raises ReadError naming what is wrong."""
    path = folder / NAME
    data = _plain(path)
    version = data.get("palpate_pack")
    if type(version) is not int or version < 1:
        raise ReadError(path, "it does not say that this is a pack of Palpate", AGAIN)
    if version > VERSION:
        raise ReadError(path, f"the pack is of version {version}, newer than this program reads "
                        f"({VERSION})", "Update Palpate.")  # fmt: skip
    try:
        at = data["map"]
        place = MapAt(_text(at, "file"), _text(at, "name"), int(at["size"]), _text(at, "sha256"),
                      _text(at, "uuid"), _text(at, "published"))  # fmt: skip
        names = [*map(str, data["again"])]
        found = Described(_text(data, "title"), _text(data, "made"), _text(data, "program"),
                          _text(data, "result"), place, tuple(map(str, data["parts"])),
                          tuple(names))  # fmt: skip
    except (KeyError, TypeError, ValueError, OverflowError) as error:
        said = " ".join(str(error).split())[:80]
        raise ReadError(path, f"the description of the pack is damaged ({said})", AGAIN) from None
    for name in (found.result, *names, *filter(None, [place.file]), place.name):
        why = wrong_name(name)
        if name == place.name and "/" in name:
            why = why or "a map is called by its name alone"
        if why:
            said = f"it names “{clean_text(name[:60])}”, which can't be: {why}"
            raise ReadError(path, said, AGAIN)
    return found


def _plain(path: Path) -> Mapping[str, Any]:
    try:
        if path.stat().st_size > LARGEST:
            raise ReadError(path, "a description of this size is none", AGAIN)
        data = json.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        raise ReadError(path.parent, f"this is no pack of Palpate: there is no {path.name} in it",
                        "Name the folder or zip that `palpate pack` wrote.") from None  # fmt: skip
    except (ValueError, RecursionError):
        raise ReadError(path, "the description of the pack is damaged", AGAIN) from None
    except OSError as error:
        raise ReadError(path, f"it can't be read ({error.strerror})", AGAIN) from None
    if not isinstance(data, Mapping):
        raise ReadError(path, "the description of the pack is damaged", AGAIN)
    return data


def _text(data: Any, name: str) -> str:
    value = data[name]
    if not isinstance(value, str):
        raise TypeError(f"{name} is no text")
    return clean_text(value)
