"""Keeps the journal of the present map: each act of the history goes into it as it happens.

The journal's own thread writes; here it costs a comparison. A journal lives as long as something
is in no file: it begins with the first act, goes away when all is saved or left on purpose, and
stays when the program ends in any other way.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from PySide6.QtCore import QObject, Signal

from .session import Session

if TYPE_CHECKING:
    from ..core.journal import Journal


class JournalDesk(QObject):
    """See the module.

    Signal told(sentence): the journal can't be written; once a journal.
    """

    told = Signal(str)

    def __init__(self, session: Session, folder: Path | None = None, parent: QObject | None = None
                 ) -> None:  # fmt: skip
        super().__init__(parent)
        self._session, self._folder = session, folder
        self._journal: Journal | None = None
        self._source: Any = None
        self._work, self._saved_as = session.work, ""
        session.map_changed.connect(self._begin)
        session.history_changed.connect(self._note)
        session.ended.connect(self.close)
        self.told.connect(session.noted)

    @property
    def folder(self) -> Path:
        """Where journals are kept."""
        from ..core.journal import journal_folder

        return self._folder or journal_folder()

    @property
    def path(self) -> Path | None:
        """The present journal; None while there is nothing to lose."""
        return self._journal.path if self._journal is not None else None

    def finish(self) -> None:
        """The person is done with this map: nothing is to be recovered."""
        self._end(remove=True)

    def close(self) -> None:
        """The program ends: what is in no file stays in the journal."""
        self._end(remove=not self._session.changed)

    def flush(self) -> bool:
        """Wait until all is on the disk."""
        return self._journal is None or self._journal.flush()

    def _end(self, remove: bool, timeout: float = 10.0) -> None:
        journal, self._journal = self._journal, None
        if journal is not None:
            journal.close(remove, timeout)

    def _begin(self) -> None:
        """Another map, or none."""
        self._end(remove=True)
        session = self._session
        self._source = None
        self._work, self._saved_as = session.work, session.saved_as
        if session.map is None:
            return
        from ..core.journal.writing import source_of

        self._source = source_of(session.map)
        found = session.begun.journal if session.begun is not None else None
        if found is not None:  # the recovered journal goes on
            self._start(path=found.path, number=found.number)

    def _start(self, **how: Any) -> None:
        from ..core.journal import Journal

        if self._source is not None:
            self._journal = Journal(self.folder, self._source, self._work,
                                    self._session.saved_as, tell=self.told.emit, **how)  # fmt: skip

    def _note(self) -> None:
        """An act, or something was saved."""
        session = self._session
        if session.map is None or session.dragging:
            return
        work = session.work
        if not session.changed:
            self._work, self._saved_as = work, session.saved_as
            self._end(remove=True, timeout=0.0)
            return
        if session.saved_as != self._saved_as:
            self._saved_as = session.saved_as
            if self._journal is not None:
                self._journal.saved(self._saved_as)
        if work is self._work or work == self._work:
            return
        if self._journal is None:
            self._start()
        self._work = work
        if self._journal is not None:
            how, words = session.last_act
            self._journal.act(work, words, how)
