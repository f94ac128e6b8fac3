"""``CHECKSUMS.sha256``: written, read, and held against the files; the format of `sha256sum`."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from ..errors import ReadError
from ..progress import Progress
from ..readers.guard import clean_text
from .names import left_by_system, wrong_name

NAME = "CHECKSUMS.sha256"
LARGEST = 8 * 1024**2
OWN = {"map", "picture", "tables", "figures", "methods", "report", "program"}
"""Folders that a pack has itself."""
_LINE = re.compile(r"([0-9a-fA-F]{64}) [ *](.+)")
_AT_ONCE = 4 * 1024**2


@dataclass(frozen=True)
class Held:
    """Files of a pack against their checksums, by name.

    Attributes
    ----------
    same, changed, missing : of those that are listed
    extra : there, but not listed
    """

    same: tuple[str, ...] = ()
    changed: tuple[str, ...] = ()
    missing: tuple[str, ...] = ()
    extra: tuple[str, ...] = ()

    @property
    def good(self) -> bool:
        return not (self.changed or self.missing)

    @property
    def words(self) -> list[str]:
        """What is not as it was packed, a sentence each."""
        told = [f"{name} is not as it was packed: its SHA-256 differs." for name in self.changed]
        return told + [f"{name} is missing." for name in self.missing]

    @property
    def notes(self) -> list[str]:
        """What is there besides, which nothing is known of."""
        return [f"{name} was not packed: it came in later." for name in self.extra]


def digest_of(path: Path, progress: Progress | None = None) -> str:
    """SHA-256 of a file in hexadecimal. Raises OSError, Cancelled."""
    found = hashlib.sha256()
    with path.open("rb") as stream:
        while block := stream.read(_AT_ONCE):
            found.update(block)
            if progress is not None:
                progress.check()
    return found.hexdigest()


def text_of(digests: Mapping[str, str]) -> str:
    """The file's text, sorted by name."""
    return "".join(f"{digests[name]}  {name}\n" for name in sorted(digests))


def read(folder: Path) -> dict[str, str]:
    """Name -> checksum of a pack. Raises ReadError if the list is missing, damaged or hostile."""
    path = folder / NAME
    try:
        if path.stat().st_size > LARGEST:
            raise ReadError(path, "a list of checksums of this size is none", AGAIN)
        lines = path.read_text(encoding="utf-8").splitlines()
    except FileNotFoundError:
        raise ReadError(path, "the list of checksums is missing", AGAIN) from None
    except UnicodeDecodeError:
        raise ReadError(path, "the list of checksums is damaged", AGAIN) from None
    except OSError as error:
        raise ReadError(path, f"it can't be read ({error.strerror})", AGAIN) from None
    found: dict[str, str] = {}
    for number, line in enumerate(lines, 1):
        match = _LINE.fullmatch(line)
        if match is None:
            raise ReadError(path, f"line {number} is no checksum with a name", AGAIN)
        name = match[2]
        why = wrong_name(name)
        if why:
            said = f"line {number} names “{clean_text(name[:60])}”, which can't be: {why}"
            raise ReadError(path, said, AGAIN)
        found[name] = match[1].lower()
    return found


AGAIN = "Ask for the pack again."


def hold(folder: Path, progress: Progress) -> Held:
    """Hold the files of a pack against their checksums.

    Raises
    ------
    ReadError : the list can't be used, or a file can't be read
    """
    listed = read(folder)
    refuse_links(folder, listed)
    same: list[str] = []
    changed: list[str] = []
    missing: list[str] = []
    for done, (name, wanted) in enumerate(sorted(listed.items())):
        progress.step(done, len(listed), f"Checking {name}")
        path = folder / name
        if not path.is_file():
            missing.append(name)
            continue
        try:
            (same if digest_of(path, progress) == wanted else changed).append(name)
        except OSError as error:
            raise ReadError(path, f"it can't be read ({error.strerror})", AGAIN) from None
    extra = [name for name in files_in(folder) if name not in listed and name != NAME]
    return Held(tuple(same), tuple(changed), tuple(missing), tuple(extra))


def refuse_links(folder: Path, names: Iterable[str]) -> None:
    """Raise ReadError if one of these files, or a folder on the way to it, is a link."""
    for name in names:
        place = folder
        for part in name.split("/"):
            place = place / part
            if place.is_symlink():
                raise ReadError(place, "it is a link to another place, which is not followed",
                                "A pack of Palpate has none; ask for the pack again."
                                )  # fmt: skip


def files_in(folder: Path) -> list[str]:
    """All files and links of a pack by name, sorted, without what systems leave behind."""
    every = (place for place in _below(folder) if place.is_symlink() or not place.is_dir())
    return sorted(place.relative_to(folder).as_posix() for place in every)


def _below(folder: Path, ours: bool = False) -> Iterator[Path]:
    """Everything in a folder; links are not followed, environments of Python that somebody made
    beside our own folders not looked into."""
    for place in folder.iterdir():
        own = ours or place.name in OWN
        if left_by_system(place.name) or (not own and (place / "pyvenv.cfg").is_file()):
            continue
        yield place
        if place.is_dir() and not place.is_symlink():
            yield from _below(place, own)
