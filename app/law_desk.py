"""Binds the panel *Law* to the session.

Only the page in front is worked out, only while it can be seen, and only once pixel and settings
have rested for a moment. It runs on the worker; an answer for another pixel or other settings is
dropped.
"""

from __future__ import annotations

from collections.abc import Hashable
from functools import partial
from typing import Any

from PySide6.QtCore import QObject, QTimer, Signal

from ..core.errors import Cancelled, SettingsError
from ..core.settings import ADHESIONS, SHAPES
from .law_calls import AskLaw, Calls, Compared, CompareMap, DrawLaw, Refused, compared
from .panels.advice_page import DRAWN, MAP
from .panels.budget_text import about_of
from .panels.contact_page import SIGNS
from .panels.law import LawPanel
from .recompute import Answer
from .saving import map_name
from .session import Session

SETTLE = 150  # ms that pixel and settings must rest
NOT_YET = "This follows when the map has been analysed."
STOPPED = "Stopped. Pick a pixel or change a setting to go on."


class LawDesk(QObject):
    """See the module. `calls` is where the numbers come from.

    Signals, for the curve view: law_drawn(report or None, words), contacts_marked([(symbol, z0)])
    """

    law_drawn = Signal(object, str)
    contacts_marked = Signal(list)

    def __init__(self, session: Session, panel: LawPanel, calls: Calls | None = None,
                 parent: QObject | None = None) -> None:  # fmt: skip
        super().__init__(parent)
        self._session, self.panel, self.calls = session, panel, calls or Calls()
        self._shown: dict[str, Hashable] = {}
        self._asked: tuple[int, str, Hashable] | None = None  # generation, page, key
        self._comparing: tuple[int, Any, Any] | None = None  # generation, map, settings
        self._compared: tuple[Any, Any, Compared] | None = None
        self._drawing = -1  # generation of the line that was asked for last
        self._told: set[str] = set()
        self._timer = QTimer(self, singleShot=True, interval=SETTLE)
        self._timer.timeout.connect(self._ask)
        self._listen()

    def _listen(self) -> None:
        session, panel = self._session, self.panel
        session.map_changed.connect(self._forget)
        session.settings_changed.connect(self._settings_moved)
        for signal in (session.selection_changed, session.analysis_changed,
                       session.left_out_changed,
                       session.report_changed, panel.asked, panel.seen):  # fmt: skip
            signal.connect(self.refresh)
        session.answered.connect(self._take)
        panel.law_chosen.connect(self._use_law)
        panel.contact_chosen.connect(self._use_contact)
        panel.pixel_picked.connect(session.select)
        panel.map_comparison_wanted.connect(self._compare_map)
        panel.comparison.line_chosen.connect(self._draw_law)

    # -- what is wanted -------------------------------------------------------------------------

    def _key(self) -> Hashable:
        """What the page in front depends on; equal keys mean equal numbers."""
        session, panel = self._session, self.panel
        page, about = panel.page, (id(session.map), session.settings, session.left_out)
        whole = page == "advice" and panel.scope in (MAP, DRAWN)
        if not whole:
            about = (*about, session.selection)
        if page == "advice":
            about = (*about, panel.scope)
        if page == "budget":
            about = (*about, panel.quantity)
        # an unfinished analysis is none; the curve's own pages begin with its report, and are
        # renewed with the map's slow noise and verdicts once it is there
        own = () if page in ("advice", "budget") else (session.report is not None,)
        return (*about, *own, session.finished)

    def refresh(self, *_: object) -> None:
        """See to it that the page in front is up to date, in a moment."""
        self.panel.show_picked(self._session.selection)
        if not self.panel.in_sight or self._session.map is None:
            self._timer.stop()
            return
        page, key = self.panel.page, self._key()
        if self._shown.get(page) == key:
            self._timer.stop()
            self._drop()
            self.panel.show_again(page)
            return
        if self._asked is not None and self._asked[1:] == (page, key):
            return
        self._drop()
        self.panel.show_waiting(page)
        self._timer.start()

    def _drop(self) -> None:
        """What was asked before is not wanted any more."""
        if self._asked is not None:
            self._asked = None
            self._session.background.cancel(AskLaw.lane)

    def _ask(self) -> None:
        if not self.panel.in_sight or self._session.map is None:
            return
        page, key = self.panel.page, self._key()
        reason = self._missing(page)
        if reason:
            self._shown[page] = key
            self.panel.show_reason(page, reason)
            return
        number = self._session.submit(AskLaw(self._work(page)))
        self._asked = (number, page, key)

    def _missing(self, page: str) -> str:
        """Why a page can't be worked out now; empty if it can."""
        session = self._session
        whole = page == "advice" and self.panel.scope in (MAP, DRAWN)
        if not whole and session.report is None:
            return session.note or "Pick a pixel on the map."
        if page in ("advice", "budget") and not session.finished:
            return NOT_YET
        return ""

    def _work(self, page: str) -> Any:
        """What the worker is to do; all that it needs is bound now."""
        session, calls, panel = self._session, self.calls, self.panel
        row, col = session.selection or (None, None)
        fmap, settings = session.map, session.settings
        analysis = session.analysis if session.finished else None
        walk = analysis.walk if analysis is not None else None  # the map's own slow noise
        if page == "advice" and panel.scope == DRAWN:
            return _plain(calls.adhesion_map, analysis)
        if page == "advice":
            return _plain(calls.advise, analysis, *((None, None) if panel.scope == MAP else
                                                    (row, col)))  # fmt: skip
        if page == "comparison":
            advise = partial(calls.advise, analysis, row, col) if analysis is not None else None
            compare = _plain(calls.compare_on_curve, fmap, settings, row, col, walk=walk)
            return partial(compared, compare, advise)
        if page == "contact":
            return _plain(calls.compare_contacts, fmap, settings, row, col, walk=walk)
        return _plain(calls.pixel_budget, analysis, row, col, quantity=panel.quantity)

    # -- answers --------------------------------------------------------------------------------

    def _take(self, answer: Answer) -> None:
        if isinstance(answer.request, AskLaw):
            self._take_page(answer)
        elif isinstance(answer.request, CompareMap):
            self._take_map(answer)
        elif isinstance(answer.request, DrawLaw) and answer.generation == self._drawing:
            drawn = answer.error is None and not isinstance(answer.value, Refused)
            self.law_drawn.emit(answer.value if drawn else None, answer.request.label)

    def _take_page(self, answer: Answer) -> None:
        if self._asked is None or answer.generation != self._asked[0]:
            return
        _, page, key = self._asked
        self._asked = None
        if page != self.panel.page or key != self._key():
            return  # the person has gone on; what is wanted now is on its way
        self._shown[page] = key
        if answer.error is not None:
            stopped = isinstance(answer.error, Cancelled)
            self.panel.show_reason(page, STOPPED if stopped else str(answer.error))
        elif isinstance(answer.value, Refused):
            self.panel.show_reason(page, answer.value.words)
            self._tell_fault(answer.value)
        else:
            self._show(page, answer.value)

    def _show(self, page: str, value: Any) -> None:
        panel, session = self.panel, self._session
        if page == "advice" and panel.scope == DRAWN:
            panel.show_adhesion_map(value)
            panel.show_picked(session.selection)
        elif page == "advice":
            panel.show_advice(value)
        elif page == "comparison":
            panel.show_comparison(value.found, value.verdicts)
        elif page == "contact":
            panel.show_contacts(value)
            self.contacts_marked.emit([(SIGNS[c.method][0], c.z0) for c in value
                                       if c.method in SIGNS])  # fmt: skip
        else:
            row, col = session.selection or (-1, -1)
            name = map_name(session.map)
            about = about_of(session.map, session.settings, row, col, name)
            panel.show_budget(value, f"{name}, row {row}, column {col}", about)

    def _tell_fault(self, refused: Refused) -> None:
        """A fault of ours is told once, not at every pixel of a walk."""
        if refused.fault is not None and refused.place not in self._told:
            self._told.add(refused.place)
            self._session.faulted.emit(refused.fault)

    def _draw_law(self, law: str, adhesion: str) -> None:
        """Draw another law's fit beside the one in use, on the picked curve."""
        session = self._session
        try:
            settings = session.settings.with_values({"fit.law": law, "fit.adhesion": adhesion})
        except SettingsError:
            return
        if settings == session.settings or session.selection is None or session.map is None:
            self._drawing = -1
            self.law_drawn.emit(None, "")
            return
        work = _plain(self.calls.explain, session.map, settings, *session.selection)
        label = f"{SHAPES[law]}, adhesion {ADHESIONS[adhesion]}"
        self._drawing = session.submit(DrawLaw(work, label))

    # -- over the map ---------------------------------------------------------------------------

    def _compare_map(self) -> None:
        session = self._session
        if not session.finished:
            self._show_compared()
            session.noted.emit("The laws can be compared over the map when it has been analysed.")
            return
        calls, analysis = self.calls, session.analysis
        work = partial(compared, _telling(calls.compare_on_map, analysis),
                       partial(calls.advise, analysis, None, None))  # fmt: skip
        number = session.submit(CompareMap(work))
        self._comparing = (number, session.map, session.settings)
        self.panel.comparison.show_map_busy(True)

    def _take_map(self, answer: Answer) -> None:
        if self._comparing is None or answer.generation != self._comparing[0]:
            return
        _, fmap, settings = self._comparing
        self._comparing = None
        if answer.error is None and not isinstance(answer.value, Refused):
            self._compared = (fmap, settings, answer.value)
        elif isinstance(answer.value, Refused):
            self._session.noted.emit(answer.value.words)
            self._tell_fault(answer.value)
        self._show_compared()

    def _show_compared(self) -> None:
        """The columns of the map, if they belong to this map; those of other settings say so."""
        session, known = self._session, self._compared
        if known is None or known[0] is not session.map:
            self.panel.show_map_comparison([])
        else:
            _, settings, value = known
            self.panel.show_map_comparison(value.found, value.verdicts,
                                           stale=settings != session.settings)  # fmt: skip
        self.panel.comparison.show_map_busy(self._comparing is not None)

    # -- what changes underneath ----------------------------------------------------------------

    def _forget(self) -> None:
        """Another map, or none."""
        self._shown.clear()
        self._compared = None
        self._drop()
        self._stop_map()
        for page in self.panel.pages:
            self.panel.pages[page].clear()
        self._settings_moved()

    def _stop_map(self) -> None:
        if self._comparing is not None:
            self._comparing = None
            self._session.background.cancel(CompareMap.lane)

    def _settings_moved(self) -> None:
        settings = self._session.settings
        self._drawing = -1
        self.law_drawn.emit(None, "")
        self.contacts_marked.emit([])
        self.panel.comparison.set_present(settings.fit.law, settings.fit.adhesion)
        if self._comparing is not None and self._comparing[2] != settings:
            self._stop_map()
        self._show_compared()
        self.refresh()

    # -- what the person does -------------------------------------------------------------------

    def _use_law(self, law: str, adhesion: str) -> None:
        self._change({"fit.law": law, "fit.adhesion": adhesion}, "contact law")

    def _use_contact(self, method: str) -> None:
        self._change({"fit.contact": method}, "contact point")

    def _change(self, change: dict[str, Any], words: str) -> None:
        """Change settings as one act that can be undone; an impossible one is told."""
        self._session.apply(change, words)


def _plain(call: Any, *given: Any, **named: Any) -> Any:
    """Work for the worker out of a call that takes no progress."""
    return lambda _: call(*given, **named)


def _telling(call: Any, *given: Any) -> Any:
    """Work for the worker out of a call that tells its progress."""
    return lambda progress: call(*given, progress=progress)
