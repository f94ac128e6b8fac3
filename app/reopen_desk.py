"""Saved analyses and unsaved work: asks where a map is, tells whether the numbers are the same
again, and offers what a crash left."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, ClassVar

from PySide6.QtCore import QObject, QTimer

from ..core.progress import Progress
from .commands import known_folders
from .dialogs import errors, files
from .journal_desk import JournalDesk
from .recompute import Answer
from .requests import OpenMap, Request, Tell

if TYPE_CHECKING:
    from .main_window import MainWindow


@dataclass(frozen=True, eq=False)
class CompareWithFile(Request):
    """Where the numbers of a result file and those made anew differ. Answers sentences."""

    loaded: Any
    analysis: Any
    lane: ClassVar[str] = "compare with file"
    words: ClassVar[str] = "Comparing with the file"

    def run(self, progress: Progress, tell: Tell) -> list[str]:
        from ..core.reopening import components_again, differences

        made, lacking = components_again(self.loaded, self.analysis, progress, whole=False)
        return [*differences(self.loaded, self.analysis, made), *lacking]


@dataclass(frozen=True, eq=False)
class FindUnsaved(Request):
    """What earlier runs left unsaved. Answers core's `Found`, newest first."""

    folder: Path
    lane: ClassVar[str] = "unsaved"

    def run(self, progress: Progress, tell: Tell) -> list[Any]:
        from ..core.journal import find

        return find(self.folder)[::-1]


class ReopenDesk(QObject):
    """See the module. The questions may be answered by a test."""

    def __init__(self, window: MainWindow, journal: JournalDesk) -> None:
        super().__init__(window)
        self._window, self._session, self._journal = window, window.session, journal
        self.ask_source, self.ask_recover = errors.ask_source, errors.ask_recover
        self._compared: Any = None
        self._session.source_wanted.connect(self._ask_source)
        self._session.analysis_changed.connect(self._compare)
        self._session.answered.connect(self._answered)

    # -- the map of a saved analysis ------------------------------------------------------------

    def _ask_source(self, request: OpenMap, words: str) -> None:
        """The map is not there, or another one: let the person point to it. Questions wait until
        the answer that brought them is done with."""
        QTimer.singleShot(0, self, lambda: self._point_to_source(request, words))

    def _point_to_source(self, request: OpenMap, words: str) -> None:
        if not self.ask_source(self._window, words):
            return
        path = files.ask_open(self._window, "Point to the map", files.MAPS)
        if path is not None:
            self._session.open(request.path, near=path, folders=request.folders,
                               journal=request.journal)  # fmt: skip

    def _compare(self) -> None:
        """Once the maps are made anew, look whether they are those of the file."""
        session = self._session
        begun = session.begun
        if begun is None or begun.loaded is None or begun is self._compared:
            return
        if session.finished and session.work == begun.work:
            self._compared = begun
            session.submit(CompareWithFile(begun.loaded, session.analysis))

    def _answered(self, answer: Answer) -> None:
        request = answer.request
        if answer.error is not None:
            return
        if isinstance(request, CompareWithFile):
            self._tell(request, answer.value)
        elif isinstance(request, FindUnsaved):
            QTimer.singleShot(0, self, lambda: self._offer(answer.value))

    def _tell(self, request: CompareWithFile, said: list[str]) -> None:
        begun = self._session.begun
        if begun is None or begun.loaded is not request.loaded:
            return
        for sentence in said:
            self._session.noted.emit(sentence)
        if not said:
            self._window.say(f"All numbers are those of {request.loaded.path.name}.")

    # -- unsaved work ---------------------------------------------------------------------------

    def look_for_unsaved(self) -> None:
        """Look for what earlier runs left, and offer it."""
        self._session.submit(FindUnsaved(self._journal.folder))

    def _offer(self, left: list[Any]) -> None:
        for number, found in enumerate(left):
            if found.work is None or found.source is None:
                errors.show_error(self._window, found.problem)
                continue
            if self._one(found):
                rest = len(left) - number - 1
                if rest:
                    self._window.say(f"{rest} more with unsaved work; they are offered at the "
                                     "next start.")  # fmt: skip
                return

    def _one(self, found: Any) -> bool:
        """Offer one journal; whether something is opened by it."""
        from ..core.journal import discard

        saved = Path(found.saved) if found.saved and Path(found.saved).is_file() else None
        answer = self.ask_recover(self._window, words_of(found, saved), saved is not None)
        if answer == "discard":
            discard(found.path)
        if answer not in ("recover", "saved") or not self._window.commands.may_leave():
            return False
        if answer == "saved" and saved is not None:
            self._session.open(saved, folders=known_folders())
        else:
            self._session.open(Path(found.source.path), journal=found, folders=known_folders())
        return True


def words_of(found: Any, saved: Path | None) -> str:
    """What is told of unsaved work."""
    name = found.source.title or Path(found.source.path).name
    count = len(found.acts)
    acts = "one act" if count == 1 else f"{count} acts"
    when = f", the last at {local_time(found.last)}" if found.last else ""
    text = f"Palpate ended before the work on “{name}” was saved: {acts}{when}."
    if found.acts:
        text += f" The last was “{found.acts[-1]['action']}”."
    if saved is not None:
        text += f"\n\nThere is also a saved result, {saved.name}."
    return "\n\n".join(words for words in (text, found.problem, found.unsure) if words)


def local_time(text: str) -> str:
    """A time of a file as the clock here shows it."""
    from datetime import datetime

    try:
        return datetime.fromisoformat(text).astimezone().strftime("%H:%M on %d %B %Y")
    except ValueError:
        return text
