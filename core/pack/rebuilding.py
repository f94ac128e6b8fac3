"""A pack made again from its map: what is the same, and what is not."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from pathlib import Path

from ..errors import InputError, ReadError, SourceError, WriteError
from ..findings import Findings, opened_findings
from ..progress import Progress
from ..readers.guard import clean_text
from ..writers.folder import whole_folder
from . import checksums, described
from .comparing import differs
from .contents import PARTS, Item, Making
from .environment import others
from .zipped import unpack

Say = Callable[[str], None]


@dataclass(frozen=True)
class Rebuilt:
    """What was found.

    Attributes
    ----------
    same : sentences on what is as it was
    wrong : sentences on what differs, is missing or could not be made
    notes : on files that came in later, which are not looked at
    """

    about: described.Described
    same: tuple[str, ...] = ()
    wrong: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()

    @property
    def good(self) -> bool:
        return not self.wrong


@dataclass
class _Telling:
    """Gathers sentences and says each as soon as it is known."""

    say: Say
    same: list[str] = field(default_factory=list)
    wrong: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    def tell(self, words: str) -> None:
        """Say it; what a pack brings in may hold signs that a terminal obeys."""
        self.say(clean_text(words))

    def note(self, words: str) -> None:
        self.notes.append(words)
        self.tell(f"Note: {words}")

    def good(self, words: str) -> None:
        self.same.append(words)
        self.tell(words)

    def bad(self, words: str) -> None:
        self.wrong.append(words)
        self.tell(f"NOT THE SAME: {words}")


def rebuild(path: str | os.PathLike[str], *, near: Path | None = None, out: Path | None = None,
            progress: Progress | None = None, say: Say = lambda words: None
            ) -> Rebuilt:  # fmt: skip
    """Check a pack and make its numbers again.

    Parameters
    ----------
    path : the pack's folder or zip
    near : the measured map, if the pack has none
    out : a new folder that keeps what is made anew; None keeps nothing
    say : is given each sentence as soon as it is known

    Raises
    ------
    ReadError : this is no pack, it is damaged so that nothing can be made again, or hostile
    SourceError : the map is not in it, or another one was named
    WriteError : `out` is taken or can't be written to
    """
    progress = progress or Progress()
    with ExitStack() as stack:
        anew = stack.enter_context(_place(out))
        folder = stack.enter_context(_unpacked(Path(path), anew.parent if out else None, progress))
        about = described.read(folder)
        telling = _Telling(say)
        telling.tell(f"Pack: {about.title} (made by {about.program} on {about.made}).")
        _hold(folder, telling, progress)
        _run(folder, about, near, anew, telling, progress, whole=out is not None)
        if telling.wrong:
            _libraries(folder, telling)
        return Rebuilt(about, tuple(telling.same), tuple(telling.wrong),
                       tuple(telling.notes))


@contextmanager
def _place(out: Path | None) -> Iterator[Path]:
    """Where things are made anew: a folder that is new, or one that goes again."""
    if out is None:
        with tempfile.TemporaryDirectory(prefix="palpate-rebuild-") as folder:
            yield Path(folder)
        return
    if out.exists():
        raise WriteError(f"{out} is there already. Choose another name.")
    with whole_folder(out) as folder:
        yield folder


@contextmanager
def _unpacked(path: Path, beside: Path | None, progress: Progress) -> Iterator[Path]:
    """The folder of a pack; a zip is unpacked into one that goes again."""
    if path.is_dir():
        _no_links(path)
        yield path
        return
    if not path.is_file():
        raise ReadError(path, "there is no such folder or zip", "Look where the pack is now.")
    with tempfile.TemporaryDirectory(prefix="palpate-pack-", dir=beside) as name:
        folder = Path(name)
        unpack(path, folder, progress)
        inside = [one for one in folder.iterdir() if one.is_dir()]
        if not (folder / described.NAME).exists() and len(inside) == 1:
            folder = inside[0]  # somebody zipped the folder itself
        yield folder


def _no_links(folder: Path) -> None:
    checksums.refuse_links(folder, checksums.files_in(folder))
    about = described.read(folder)
    named = (about.result, about.map.file, f"map/{about.map.name}", *about.again)
    checksums.refuse_links(folder, filter(None, named))


def _hold(folder: Path, telling: _Telling, progress: Progress) -> None:
    held = checksums.hold(folder, progress)
    if held.good:
        telling.good(f"Checksums: all {len(held.same)} files are as they were packed.")
    for words in held.words:
        telling.bad(words)
    for words in held.notes:
        telling.note(words)


def _run(folder: Path, about: described.Described, near: Path | None, anew: Path,
         telling: _Telling, progress: Progress, whole: bool) -> None:  # fmt: skip
    result = folder / about.result
    if not result.is_file():
        raise ReadError(result, "the result is missing, so nothing can be made again",
                        "Ask for the pack again.")  # fmt: skip
    with opened_findings(result, near=_near(folder, about, near), progress=progress) as findings:
        _told_map(findings, about, telling)
        for note in findings.notes:
            telling.bad(note)
        if not findings.notes:
            telling.good(_maps_words(findings, about))
        _compare(folder, about, findings, anew, telling, progress, whole)


def _near(folder: Path, about: described.Described, near: Path | None) -> Path | None:
    """Where the map is. Raises SourceError or InputError in words if it is nowhere."""
    if near is not None:
        if not near.is_file():
            raise InputError(f"--map {near}: there is no such file.")
        return near
    at = about.map
    if at.file and not (folder / at.file).is_file():
        raise SourceError(folder / at.file, "the measured map is missing",
                          "Name the map with --map FILE.")  # fmt: skip
    if at.file:
        return folder / at.file
    if (folder / "map" / at.name).is_file():
        return folder / "map" / at.name
    where = f" It is published at {at.published}." if at.published else ""
    raise SourceError(folder, f"the measured map is not in this pack: {at.name}, {at.size:,} "
                      f"bytes, SHA-256 {at.sha256}",
                      f"Name it with --map FILE.{where}")  # fmt: skip


def _told_map(findings: Findings, about: described.Described, telling: _Telling) -> None:
    """The result's word on the map was held when it was opened; the pack's word here."""
    here = findings.map.checksum()
    if here == about.map.sha256:
        telling.good(f"Map: {about.map.name} is the very file that was packed (SHA-256 "
                     f"{here[:12]}…).")  # fmt: skip
    else:
        telling.bad(f"The map {about.map.name} is not the one that {described.NAME} names.")


def _maps_words(findings: Findings, about: described.Described) -> str:
    channels = len(list(findings.analysis.channels()))
    rows, cols = findings.map.shape
    found = (f"Maps: {channels} channels of {rows} x {cols} pixels, their ±, doubts and decisions "
             f"made anew are those of {about.result}.")  # fmt: skip
    if findings.composition is not None:
        found += f" So are the {findings.composition.count} components."
    return found


def _compare(folder: Path, about: described.Described, findings: Findings, anew: Path,
             telling: _Telling, progress: Progress, whole: bool) -> None:  # fmt: skip
    """Make the parts anew and compare their numbers; a table that none of them makes is told."""
    wanted = {**dict.fromkeys(about.again), **dict.fromkeys(_tables(folder))}
    for part in PARTS:
        if part.name not in about.parts or part.there(findings):
            continue
        progress.step(0, 0, part.title)
        for item in part.make(Making(anew, findings, progress, whole)):
            if item.again:
                _one(folder, item, anew, telling)
                wanted.pop(item.name, None)
    for name in wanted:
        telling.bad(f"{name} was not made anew, so it is not known whether it is right: what it "
                    f"was made from is not in {about.result}.")  # fmt: skip


def _tables(folder: Path) -> list[str]:
    """The tables in a pack by name, whatever its description says."""
    tops = {part.name for part in PARTS if part.compared}
    every = checksums.files_in(folder)
    return [name for name in every if name.endswith(".csv") and name.split("/")[0] in tops]


def _libraries(folder: Path, telling: _Telling) -> None:
    """Where numbers differ, other versions of libraries may be why."""
    try:
        found = others((folder / "requirements.txt").read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError):
        return
    if found:
        telling.note(f"Libraries have other versions: {'; '.join(found)}. Install those of "
                     "requirements.txt to tell whether that is why.")  # fmt: skip


def _one(folder: Path, item: Item, anew: Path, telling: _Telling) -> None:
    why = differs(folder / item.name, anew / item.name)
    if why:
        telling.bad(f"{item.name}: {why}.")
    else:
        telling.good(f"{item.name}: the same.")
