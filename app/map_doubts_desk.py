"""Binds the page *Whole map* of the panel Doubts, and tells severe doubts about the map once."""

from __future__ import annotations

from typing import Any

import numpy as np
from PySide6.QtCore import QObject, QTimer, Signal

from .law_calls import why_not
from .panels.doubts import DoubtsPanel
from .panels.map_doubts_page import NOT_YET
from .recompute import Answer
from .review_calls import AskMapDoubts
from .session import Session

SETTLE = 400  # ms that an analysis must rest


class MapDoubtsDesk(QObject):
    """See the module. `review` is the desk of the list; it knows the components.

    Signal told(sentence): a severe doubt that was not told of this map yet.
    """

    told = Signal(str)
    found = Signal()

    def __init__(self, session: Session, panel: DoubtsPanel, review: Any,
                 parent: QObject | None = None) -> None:  # fmt: skip
        super().__init__(parent)
        self._session, self.panel, self._review = session, panel, review
        self.doubts: tuple[Any, ...] = ()
        self._asked = -1
        self._of: Any = None
        self._told: set[str] = set()
        self._timer = QTimer(self, singleShot=True, interval=SETTLE)
        self._timer.timeout.connect(self._ask)
        session.map_changed.connect(self._forget)
        session.analysis_changed.connect(self.refresh)
        session.left_out_changed.connect(self.refresh)
        session.answered.connect(self._take)
        panel.whole.gather_wanted.connect(self._gather)

    def _forget(self) -> None:
        self.doubts, self._of, self._asked = (), None, -1
        self._told.clear()
        self._timer.stop()
        self.panel.whole.show_reason(NOT_YET)
        self.found.emit()

    def refresh(self, *_: object) -> None:
        """See to it that the doubts are of the present analysis, in a moment."""
        session = self._session
        if session.map is not None and session.finished and session.analysis is not self._of:
            self._timer.start()

    def _ask(self) -> None:
        session = self._session
        if session.map is None or not session.finished or session.dragging:
            return
        self._of = session.analysis
        self._asked = session.submit(AskMapDoubts(session.analysis, self._review.labels()))

    def _take(self, answer: Answer) -> None:
        if not isinstance(answer.request, AskMapDoubts) or answer.generation != self._asked:
            return
        words = why_not(answer)
        if words:
            self._of = None
            self.panel.whole.show_reason(words)
            return
        self.doubts = answer.value
        self.panel.whole.show_doubts(self.doubts)
        self.found.emit()
        for doubt in self.doubts:
            if doubt.severity == "severe" and doubt.name not in self._told:
                self._told.add(doubt.name)
                self.told.emit(f"{doubt.sentence} The dock Doubts (F3) has the evidence.")

    def _gather(self, doubt: Any) -> None:
        """Gather all pixels from the line on where something changes, in the order of the scan."""
        evidence, fmap = doubt.evidence, self._session.map
        if fmap is None or evidence.line < 0:
            return
        rows, cols = np.indices(fmap.shape)
        at = rows if evidence.along == "row" else cols
        first, last = (int(n) for n in at[fmap.pixel[[0, -1], 0], fmap.pixel[[0, -1], 1]])
        self._session.gather(at >= evidence.line if first <= last else at <= evidence.line)
