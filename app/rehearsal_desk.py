"""Binds the tab *Rehearsal* to the session: what the present settings do to known moduli.

It runs on the worker when the person asks for it, and never by itself. What is shown stays when the
settings change, with a word that it was made with others.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

from PySide6.QtCore import QObject, Signal
from PySide6.QtWidgets import QTabWidget

from ..core.errors import Cancelled
from .component_desk import ComponentDesk
from .recompute import Answer
from .rehearsal_calls import AskRehearsal, Offer, Refused, offered
from .saving import Write
from .session import Session
from .theme import Theme
from .views.rehearsal_page import RehearsalPage

NOT_YET = "A rehearsal can begin when the map has been analysed."
READY = ("Curves of known moduli are made with this map's noise, tilt, sampling, lever, tip and "
         "adhesion, and the present settings are run on them. Press Run.")  # fmt: skip
STOPPED = "Stopped; nothing was kept."
STALE = "Made with other settings: run again."
OTHER = "Made before the map was analysed anew: run again."


class RehearsalDesk(QObject):
    """See the module. `tabs` gets the page.

    Signal save_wanted: the tables as files.
    """

    save_wanted = Signal()

    def __init__(self, session: Session, components: ComponentDesk, tabs: QTabWidget) -> None:
        super().__init__(tabs)
        self._session, self._components, self._tabs = session, components, tabs
        self.page = RehearsalPage()
        self.made: Any = None
        self._of: Any = None  # the analysis that it was read off
        self._asked: tuple[int, Any] | None = None  # generation, analysis
        self._offered_for: Any = None
        tabs.addTab(self.page, "Rehearsal")
        session.map_changed.connect(self._forget)
        for signal in (session.analysis_changed, session.settings_changed, tabs.currentChanged,
                       session.left_out_changed):  # fmt: skip
            signal.connect(self.refresh)
        session.answered.connect(self._take)
        self.page.run_wanted.connect(self.run)
        self.page.stop_wanted.connect(self.stop)
        self.page.refused.connect(session.failed)
        self.page.save_wanted.connect(self.save_wanted)
        self._forget()

    # -- what is shown --------------------------------------------------------------------------

    @property
    def in_front(self) -> bool:
        return self._tabs.currentWidget() is self.page

    @property
    def running(self) -> bool:
        return self._asked is not None

    def refresh(self, *_: object) -> None:
        """Offer a range, and say whether what is shown still holds."""
        if not self.in_front:
            return
        session, ready = self._session, self._session.finished and self._session.map is not None
        reach = self._offer() if ready else Refused(NOT_YET)
        self.page.set_ready(isinstance(reach, Offer), self.running)
        if self.made is None:
            self.page.show_reason(reach.words if isinstance(reach, Refused) else READY)
            return
        self.page.set_stale(self._stale(session))

    def _stale(self, session: Session) -> str:
        """Why what is shown does not belong to the present; empty if it does."""
        if self._of.settings != session.settings:
            return STALE
        if session.finished and self._of is not session.analysis:
            return OTHER
        return ""

    def _offer(self) -> Offer | Refused:
        """Range and scene of this map, shown where the person gives no other numbers."""
        analysis = self._session.analysis
        if self._offered_for is None or self._offered_for[0] is not analysis:
            self._offered_for = analysis, offered(analysis, self._labels())
        reach: Offer | Refused = self._offered_for[1]
        if isinstance(reach, Offer):
            self.page.offer(reach.low, reach.high, reach.scene)
        return reach

    def _labels(self) -> Any:
        """Labels of the components, if they belong to the present analysis."""
        desk = self._components
        return desk.made.composition.labels if desk.made is not None and desk.fits else None

    def set_theme(self, theme: Theme) -> None:
        self.page.set_theme(theme)

    # -- what the person does -------------------------------------------------------------------

    def run(self) -> None:
        """Begin."""
        session = self._session
        if session.map is None or not session.finished:
            return
        request = AskRehearsal(session.analysis, self.page.wish(), self._labels())
        self._asked = session.submit(request), session.analysis
        self.page.set_ready(True, running=True)

    def stop(self) -> None:
        if self.running:
            self._session.background.cancel(AskRehearsal.lane)
            self._end(STOPPED)

    def write(self, path: Path) -> Write:
        """What saves the tables of what is shown."""
        made = self.made

        def write(progress: Any) -> list[Path]:
            from ..core.rehearsal.exports import save_rehearsal

            progress.step(0, 0, "Saving the rehearsal")
            return save_rehearsal(path, made)

        return write

    # -- answers --------------------------------------------------------------------------------

    def _take(self, answer: Answer) -> None:
        if not isinstance(answer.request, AskRehearsal) or self._asked is None:
            return
        generation, analysis = self._asked
        if answer.generation != generation:
            return
        if answer.error is not None:
            stopped = isinstance(answer.error, Cancelled)
            self._end(STOPPED if stopped else str(answer.error))
        elif isinstance(answer.value, Refused):
            self._end(answer.value.words)
            if answer.value.fault is not None:
                self._session.faulted.emit(answer.value.fault)
        else:
            self._asked, self.made, self._of = None, answer.value, analysis
            self.page.show_made(answer.value)
            self.refresh()

    def _end(self, words: str) -> None:
        """No answer, and why; what was shown before stays."""
        self._asked = None
        self.refresh()
        self.page.tell(words)

    def _forget(self) -> None:
        """Another map, or none."""
        if self.running:
            self._session.background.cancel(AskRehearsal.lane)
        self.made = self._of = self._asked = self._offered_for = None
        self.page.clear()
        self.refresh()
