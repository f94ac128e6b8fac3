"""Reading journals: what a crash left, as far as it is whole.

The newest state is that of the highest number, whatever clocks said. A torn last line is dropped;
after a damaged line in the middle nothing is taken until the next snapshot.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from ..decisions import Review
from ..errors import InputError
from ..readers.analysis import SourceIdentity, find_map
from ..work import Work, changed, from_parts
from .folder import ENDING, Lock, keep_tidy
from .lines import ACT, HEAD, LONGEST, SAVED, SOURCE, VERSION, WHOLE, plain_of
from .writing import Source


@dataclass(frozen=True)
class Found:
    """What a journal holds.

    Attributes
    ----------
    source : the map it is about, None if its head is damaged
    saved : the result file that the work began from or was saved in, empty for none
    work : the newest state; None if nothing can be recovered
    number : of the newest line
    acts : rows of the history, each with "time" and "action"
    last : time of the newest act
    problem : a sentence on what is damaged, or why it can't be used; empty if all is well
    """

    path: Path
    source: Source | None = None
    saved: str = ""
    work: Work | None = None
    number: int = -1
    acts: tuple[dict[str, Any], ...] = ()
    last: str = ""
    problem: str = ""

    @property
    def unsure(self) -> str:
        """A sentence where the map is known by less than its checksum; empty if it is known by it.
        """
        if self.source is None or self.source.checksum:
            return ""
        by = "its size and UUID" if self.source.uuid else "its size"
        return (f"The map is known by {by} alone, since its checksum was not worked out yet: a "
                "change of its content since then would not be seen.")  # fmt: skip

    def find_map(self, near: Path | None = None, folders: Iterable[Path] = ()) -> Path:
        """The map, checked by size, UUID and checksum, or by what is known of these (see `unsure`).
        Raises SourceError."""
        assert self.source is not None
        at = Path(self.source.path)
        identity = SourceIdentity(at.name, self.source.uuid, self.source.size,
                                  self.source.checksum, "sha256", "whole file")  # fmt: skip
        places = [at, *(Path(folder) / at.name for folder in folders)]
        if near is not None:
            places.insert(0, near / at.name if near.is_dir() else near)
        another = "this is not the map that the unsaved work is about"
        return find_map(identity, dict.fromkeys(places), at, another)


@dataclass
class _State:
    """What was read so far."""

    found: Found
    work: Work | None = None
    broken: bool = False
    acts: list[dict[str, Any]] = field(default_factory=list)


def find(folder: Path) -> list[Found]:
    """Every journal that nobody is at, newest act last; those of other versions with a problem."""
    keep_tidy(folder)
    try:
        paths = sorted(folder.glob(f"*{ENDING}"))
    except OSError:
        return []
    return sorted((read(path) for path in paths if Lock(path).stale), key=lambda one: one.last)


def read(path: Path) -> Found:
    """What a journal holds; damage is a `problem`, not an error."""
    state = _State(Found(path))
    try:
        for line in _lines(path):
            plain = plain_of(line)
            if plain is None:
                state.broken = state.broken or line.strip() != b""
            elif plain["n"] > state.found.number:
                _take(state, plain)
            if state.found.problem:
                return state.found
    except OSError as error:
        return replace(state.found, problem=f"{path}: it can't be read ({error.strerror}).")
    problem = ""
    if state.work is None:
        problem = f"{path}: it is damaged, and nothing of it can be recovered."
    elif state.broken:
        problem = (f"{path}: its end is damaged; what was done after "
                   f"{state.found.last or 'its beginning'} is lost.")  # fmt: skip
    work = state.work
    if work is not None:
        work = replace(work, review=Review.of(work.review.decisions))
    return replace(state.found, work=work, acts=tuple(state.acts), problem=problem)


def _lines(path: Path) -> Iterator[bytes]:
    """Whole lines; what follows the last line's end is dropped, as it was being written."""
    with path.open("rb") as stream:
        while line := stream.readline(LONGEST):
            if line.endswith(b"\n"):
                yield line


def _take(state: _State, plain: dict[str, Any]) -> None:
    kind, number, found = plain["kind"], plain["n"], state.found
    follows = number == found.number + 1
    if kind == HEAD:
        _take_head(state, plain)
        follows = True
    elif kind == WHOLE:
        _take_whole(state, plain)
    elif kind == ACT:
        _take_act(state, plain, follows)
    elif kind == SOURCE and found.source is not None:
        checksum = str(plain.get("checksum", ""))
        state.found = replace(found, source=replace(found.source, checksum=checksum))
    elif kind == SAVED:
        state.found = replace(found, saved=str(plain.get("saved", "")))
    if not follows and kind in (SOURCE, SAVED):
        state.broken = True
    state.found = replace(state.found, number=number)


def _take_head(state: _State, plain: dict[str, Any]) -> None:
    given = plain.get("palpate_journal")
    if given != VERSION:
        words = "newer" if isinstance(given, int) and given > VERSION else "other"
        state.found = replace(state.found, problem=f"{state.found.path}: unsaved work that was "
                              f"written by {words} version of Palpate ({plain.get('version')}); "
                              "open it with that one. It is left as it is.")  # fmt: skip
        state.found = replace(state.found, problem=state.found.problem.replace(
            "by newer", "by a newer").replace("by other", "by another"))  # fmt: skip
        return
    try:
        data = plain["source"]
        source = Source(str(data["path"]), str(data["uuid"]), int(data["size"]),
                        str(data["checksum"]), str(data["title"]))  # fmt: skip
    except (KeyError, TypeError, ValueError):
        return
    if state.found.source is None or source.checksum:
        state.found = replace(state.found, source=source)
    state.found = replace(state.found, saved=str(plain.get("saved", "")))


def _take_whole(state: _State, plain: dict[str, Any]) -> None:
    try:
        state.work = from_parts(plain.get("parts"))
        state.broken = False
    except InputError:
        state.broken = True


def _take_act(state: _State, plain: dict[str, Any], follows: bool) -> None:
    if state.broken or not follows or state.work is None:
        state.broken = True
        return
    try:
        state.work = changed(state.work, plain.get("change"))
    except InputError:
        state.broken = True
        return
    how, words = plain.get("how", "act"), str(plain.get("words", ""))
    time = str(plain.get("time", ""))
    state.acts.append({"time": time, "action": words if how == "act" else f"{how}: {words}"})
    state.found = replace(state.found, last=time)
