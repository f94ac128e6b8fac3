"""Binds the page *Range* to the session: the modulus against both ends of the fit window.

Worked out on the worker once things rest, only while the page is in front; a late answer is
dropped. Which curves are asked is a matter of looking and stands here.
"""

from __future__ import annotations

from collections.abc import Hashable
from typing import Any

from PySide6.QtCore import QObject, QTimer
from PySide6.QtWidgets import QTabWidget

from .component_desk import ComponentDesk
from .law_calls import Refused, why_not
from .places_desk import PlacesDesk
from .range_calls import AskRange
from .recompute import Answer
from .session import Session
from .theme import Theme
from .views.range_page import COMPONENT, CURVE, MAP, RangePage

SETTLE = 250  # ms that what it depends on must rest
NO_MAP = "There is no map."
NO_CURVE = "Pick a pixel on the map: its curve is then fitted in many windows."
NO_CONTACT = "No contact was found on this curve, so no window can be fitted. Pick another pixel."
WAITING = "The windows follow when the map has been analysed."
WORKING = "Fitting a grid of windows."
NO_COMPONENTS = "There are no components yet. Find them in the panel Components."
FINDING = "The components are being looked for."
STOPPED = "Stopped. Choose other curves or change a setting to go on."


class RangeDesk(QObject):
    """See the module. `tabs` gets the page."""

    def __init__(self, session: Session, components: ComponentDesk, places: PlacesDesk,
                 tabs: QTabWidget) -> None:  # fmt: skip
        super().__init__(tabs)
        self._session, self._tabs = session, tabs
        self._components, self._places = components, places
        self.page = RangePage()
        self.scan: Any = None
        self._shown: Hashable = None  # what is on the page belongs to
        self._asked: tuple[int, Hashable] | None = None
        self._wanting = False
        self._told: set[str] = set()
        self._timer = QTimer(self, singleShot=True, interval=SETTLE)
        self._timer.timeout.connect(self._ask)
        tabs.addTab(self.page, "Range")
        self._listen()
        self.refresh()

    def _listen(self) -> None:
        session, page = self._session, self.page
        session.map_changed.connect(self._forget)
        for signal in (session.selection_changed, session.analysis_changed, session.review_changed,
                       session.settings_changed, session.history_changed,
                       session.correcting_changed, session.report_changed,
                       self._components.made_changed,
                       self._tabs.currentChanged, page.scope_chosen):  # fmt: skip
            signal.connect(self.refresh)
        session.answered.connect(self._take)
        page.chosen.connect(self._use)
        page.plateau_wanted.connect(self._use_plateau)

    def set_theme(self, theme: Theme) -> None:
        self.page.set_theme(theme)

    # -- what is wanted -------------------------------------------------------------------------

    @property
    def in_front(self) -> bool:
        return self._tabs.currentWidget() is self.page

    @property
    def settings(self) -> Any:
        """Those that a chosen window changes: the pixel's own while it is being corrected."""
        session = self._session
        if self.page.scope == CURVE and session.correcting and session.selection:
            return session.settings_at(*session.selection)
        return session.settings

    def _key(self) -> Hashable:
        session, scope = self._session, self.page.scope
        about = (id(session.map), self.settings, scope)
        if scope == CURVE:
            return (*about, session.selection, session.finished)
        analysis = session.analysis if session.finished else None
        made = self._components.made if scope.startswith(COMPONENT) else None
        return (*about, id(analysis), id(made and made.composition))

    def _why_empty(self) -> str:
        """Why there is nothing to try windows on; empty if there is."""
        session, scope = self._session, self.page.scope
        if session.map is None:
            return NO_MAP
        if scope == CURVE and (session.selection is None or self._curve() < 0):
            return NO_CURVE
        if scope == CURVE and session.report is None:
            return session.note or NO_CONTACT
        if scope != CURVE and not session.finished:
            return WAITING
        if scope.startswith(COMPONENT) and self._labels() is None:
            return FINDING if self._components.renewing else NO_COMPONENTS
        return ""

    def _curve(self) -> int:
        return int(self._session.map.curve_at(*self._session.selection))

    def _labels(self) -> Any:
        return self._places.labels() if self._components.fits else None

    def refresh(self, *_: object) -> None:
        """See to it that the page is up to date, if it can be seen."""
        wanting = self.in_front and self.page.scope.startswith(COMPONENT)
        if self._wanting != wanting:  # finding them takes a while: only if they are asked for
            self._wanting = wanting
            self._components.want("range", wanting)
        if not self.in_front:
            self._timer.stop()
            return
        made = self._components.made
        titles = []
        if made is not None:
            titles = [made.composition.title(k) for k in range(made.composition.count)]
        self.page.show_scopes(titles)
        reason = self._why_empty()
        if reason:
            self._drop()
            self._empty(reason)
        elif self._shown == self._key():
            self._timer.stop()
        elif self._asked is None or self._asked[1] != self._key():
            self._drop()
            self.page.show_waiting(WORKING)
            self._timer.start()

    def _drop(self) -> None:
        self._timer.stop()
        if self._asked is not None:
            self._asked = None
            self._session.background.cancel(AskRange.lane)

    def _empty(self, words: str) -> None:
        self.scan, self._shown = None, None
        self.page.show_reason(words)

    def _forget(self) -> None:
        self._drop()
        self._empty(NO_MAP if self._session.map is None else WAITING)
        self.refresh()

    def _ask(self) -> None:
        session, scope = self._session, self.page.scope
        if not self.in_front or session.dragging or self._why_empty():
            return
        known = session.analysis if session.finished else None
        curve = self._curve() if scope == CURVE else None
        mask = None
        if scope.startswith(COMPONENT):
            mask = self._labels() == int(scope.split()[1])
        request = AskRange(session.map, self.settings, known, curve, mask)
        self._asked = (session.submit(request), self._key())

    def _take(self, answer: Answer) -> None:
        if not isinstance(answer.request, AskRange) or self._asked is None:
            return
        generation, key = self._asked
        if answer.generation != generation or not answer.final:
            return
        self._asked = None
        if key != self._key():
            self.refresh()
            return
        words = why_not(answer, STOPPED)
        if words:
            self._empty(words)
            if isinstance(answer.value, Refused):
                self._tell_fault(answer.value)
        else:
            self.scan = answer.value
            self.page.show_scan(self.scan)
        self._shown = key

    def _tell_fault(self, refused: Refused) -> None:
        """A fault of ours is told once."""
        if refused.fault is not None and refused.place not in self._told:
            self._told.add(refused.place)
            self._session.faulted.emit(refused.fault)

    # -- what the person does -------------------------------------------------------------------

    def _use(self, i: int, j: int) -> None:
        """Make a window of the grid the fit window: one entry of the history."""
        if self.scan is not None and self._shown == self._key():
            self._session.apply(self.scan.change_to(i, j), "fit window")

    def _use_plateau(self) -> None:
        if self.scan is not None and self.scan.plateau is not None:
            self._use(*self.scan.plateau.at)


__all__ = ["MAP", "RangeDesk"]
