"""Binds the panel *Doubts* to the session: the list, the walk by keys, decisions and corrections.

What is decided about is the gathered pixels if there are any, else the picked one. Every decision
is one entry of the history. The list is ranked on the worker when an analysis has rested; a
decision only filters it anew, so that a key is answered at once.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
from PySide6.QtCore import QObject, QTimer, Signal

from ..core.decisions import DONE, Pixels, Review
from .component_desk import ComponentDesk
from .correcting import about
from .law_calls import why_not
from .panels.decide_page import NO_MAP
from .panels.doubts import DoubtsPanel
from .recompute import Answer
from .review_calls import AskRanking
from .session import Session

Array = np.ndarray
SETTLE = 120  # ms that an analysis must rest
NOT_YET = "The list follows when the map has been analysed."
STOPPED = "Stopped. Recompute the map (F5) to go on."
NONE = "No pixel is in doubt."
NONE_LEFT = "No pixel of this kind is left in the list."


class ReviewDesk(QObject):
    """See the module.

    Signals
    -------
    said(words) : what a key did, for the status bar
    components_changed : `labels` and `names` are others
    ranked : the list of doubtful pixels is another one
    """

    said = Signal(str)
    components_changed = Signal()
    ranked = Signal()

    def __init__(self, session: Session, panel: DoubtsPanel, components: ComponentDesk,
                 parent: QObject | None = None) -> None:  # fmt: skip
        super().__init__(parent)
        self._session, self.panel, self._components = session, panel, components
        self.ranking: Any = None
        self._places = np.empty(0, int)
        self._came_from = (-1, -1)
        self._trail: list[tuple[int, int]] = []  # the pixels that keys went on from
        self._noted: dict[tuple[int, int], str] = {}  # notes on pixels that are not decided yet
        self._listed: Any = None  # the review that the page Decided shows
        self._of: Any = None  # the analysis that is ranked
        self._asked: tuple[int, Any] | None = None  # generation, analysis
        self._timer = QTimer(self, singleShot=True, interval=SETTLE)
        self._timer.timeout.connect(self._ask)
        self._listen()

    def _listen(self) -> None:
        session, page = self._session, self.panel.decide
        session.map_changed.connect(self._forget)
        session.analysis_changed.connect(self.refresh)
        session.settings_changed.connect(self.refresh)
        session.review_changed.connect(self._review_moved)
        session.selection_changed.connect(self._picked)
        session.report_changed.connect(lambda _: self._show_picked())
        session.group_changed.connect(self.show_about)
        session.correcting_changed.connect(self.show_about)
        session.answered.connect(self._take)
        self._components.made_changed.connect(self._components_moved)
        self.panel.seen.connect(self._seen)
        self.panel.asked.connect(self._show_decided)
        page.filtered.connect(lambda _: self.show_list())
        page.acted.connect(lambda act: getattr(self, act)())
        page.note_given.connect(self.write_note)
        page.gather_wanted.connect(self.gather_alike)
        page.list.picked.connect(session.select)
        page.list.gathered.connect(self._gather_rows)
        decided = self.panel.decided
        decided.gather_wanted.connect(self._gather_decision)
        decided.taken_back.connect(self._take_decision_back)

    # -- the ranking ----------------------------------------------------------------------------

    def _seen(self, on: bool) -> None:
        self._components.want("doubts", on)
        self._show_decided()
        self.refresh()

    def refresh(self, *_: object) -> None:
        """See to it that the list is of the present analysis, in a moment."""
        session = self._session
        if session.map is None:
            return
        if not session.finished:
            if self.ranking is None:
                self.panel.decide.show_reason(NOT_YET)
            return
        wanted = self._wanted()
        if self._of is not wanted and (self._asked is None or self._asked[1] is not wanted):
            self._timer.start()

    def _wanted(self) -> Any:
        """The analysis to rank; which pixels are kept or left out does not matter to it."""
        return self._session.worked_out

    def _ask(self) -> None:
        if self._session.map is None or not self._session.finished:
            return
        analysis = self._wanted()
        self._asked = (self._session.submit(AskRanking(analysis)), analysis)

    def _take(self, answer: Answer) -> None:
        if not isinstance(answer.request, AskRanking) or self._asked is None:
            return
        generation, analysis = self._asked
        if answer.generation != generation:
            return
        self._asked = None
        words = why_not(answer, STOPPED)
        if words:
            self.panel.decide.show_reason(words)
            return
        self.ranking, self._of = answer.value, analysis
        self.show_list()
        self.ranked.emit()

    def _forget(self) -> None:
        self.ranking = self._of = self._asked = None
        self._places = np.empty(0, int)
        self._trail.clear()
        self._noted.clear()
        self._timer.stop()
        page = self.panel.decide
        page.list.clear()
        page.show_reason(NO_MAP if self._session.map is None else NOT_YET)
        page.counts.setText("")
        page.show_doubts({})
        page.show_components(())
        self._listed = None
        self._show_decided()
        self.show_about()
        self.refresh()

    # -- what is shown --------------------------------------------------------------------------

    def labels(self) -> Array | None:
        """Component of each pixel, (rows, cols); None if none are worked out."""
        made, fmap = self._components.made, self._session.map
        if made is None or fmap is None or made.composition.labels.shape != tuple(fmap.shape):
            return None
        return made.composition.labels

    def kinds(self) -> Array:
        return self._session.review.kinds(self._session.map.shape)

    def show_list(self) -> None:
        """The list as it is filtered, and the counts."""
        if self.ranking is None or self._session.map is None:
            return
        page, kinds, labels = self.panel.decide, self.kinds(), self.labels()
        page.show_doubts(self.ranking.by_doubt())
        self._places = self.ranking.wanted(page.wanted, kinds, labels)
        page.show_reason("" if self._places.size else NONE if not self.ranking.count else NONE_LEFT)
        page.show_counts(self.ranking.counts(kinds), self._places.size)
        page.list.show_rows(self.ranking, self._places, kinds, self._letters(labels),
                            self._session.selection)  # fmt: skip

    def _letters(self, labels: Array | None) -> Array | None:
        from ..core.components.rule import letter

        if labels is None:
            return None
        names = np.array([*(letter(k) for k in range(int(labels.max(initial=-1)) + 1)), ""])
        return names[labels]

    def _show_decided(self) -> None:
        """The list of decisions, while it can be seen: it may be long, and a key must not wait."""
        panel, review = self.panel, self._session.review
        seen = panel.in_sight and panel.page == "decided"
        if (seen or not review) and review is not self._listed:
            self._listed = review
            panel.decided.show_review(review)

    def names(self) -> tuple[str, ...]:
        """Names of the components; () if none are worked out."""
        return tuple(self._components.made.composition.names) if self.labels() is not None else ()

    def _components_moved(self) -> None:
        self.panel.decide.show_components(self.names())
        self.show_list()
        self.components_changed.emit()

    def _review_moved(self) -> None:
        if self._session.map is None:
            return
        self.show_list()
        self._show_decided()
        self._show_picked()
        self.refresh()

    def _picked(self) -> None:
        at = self._session.selection
        if at is not None:
            self.panel.decide.list.mark(*at)
        self._show_picked()

    def _show_picked(self) -> None:
        report = self._session.report
        self.panel.decide.show_picked(report.doubts if report is not None else ())
        self.show_about()

    def show_about(self) -> None:
        """What a decision would be about, and what was decided."""
        session, page = self._session, self.panel.decide
        pixels, at = session.targets(), session.selection
        if not pixels:
            page.show_about("No pixel is picked", False, False, False)
            return
        decided = bool((self.kinds().ravel()[pixels.flat] != 0).any())
        if session.group is not None:
            page.show_about(f"{pixels.count:,} gathered pixels", decided, session.correcting, True)
            return
        decision = session.decision_at(*at)
        words = f"Row {at[0]}, column {at[1]}" + (f": {DONE[decision.kind]}" if decision else "")
        page.show_about(words, decided, session.correcting, True)
        page.show_note(decision.note if decision is not None else self._noted.get(at, ""))

    # -- deciding -------------------------------------------------------------------------------

    def keep(self) -> None:
        self._decide("keep", lambda review, pixels, note, who: review.keep(pixels, note, who))

    def leave_out(self) -> None:
        self._decide("leave out",
                     lambda review, pixels, note, who: review.leave_out(pixels, note, who))

    def take_back(self) -> None:
        pixels, review = self._session.targets(), self._session.review
        after = review.take_back(pixels)
        if after == review:
            self.said.emit("Nothing was decided about this.")
            return
        self._session.set_correcting(False)
        self._use(after, "decision taken back", pixels)

    def _decide(self, words: str, act: Any) -> None:
        """One decision; from the list it goes on to the next pixel."""
        session, pixels = self._session, self._session.targets()
        if not pixels:
            self.said.emit("No pixel is picked.")
            return
        place = self._place()
        at = session.selection or (-1, -1)
        note = self._noted.pop(at, "")
        after = act(session.review, pixels, note, self._session.who)
        self._session.set_correcting(False)
        if session.group is not None:
            session.gather(None)
        self._use(after, words, pixels)
        if place >= 0 and pixels.count == 1:
            self._trail.append(at)
            self._go(place, 1, stay=True)

    def _use(self, review: Review, words: str, pixels: Pixels) -> None:
        self._session.use_review(review, f"{words} ({about(pixels)})")
        left = int((self.kinds().ravel()[self.ranking.flat] == 0).sum()) if self.ranking else 0
        self.said.emit(f"{words.capitalize()}: {about(pixels)}. {left:,} in doubt are undecided.")

    def write_note(self, text: str) -> None:
        """Give the picked pixel's decision another note; a note before a decision waits for it."""
        session, at = self._session, self._session.selection
        decision = session.decision_at(*at) if at is not None and session.map is not None else None
        if at is not None and (session.group is not None or decision is None):
            self._noted[at] = text
            self.said.emit("The note waits for a decision about this pixel." if text else "")
            return
        if text != decision.note:
            numbers = session.review.decisions
            noted = tuple(replace(d, note=text) if d is decision else d for d in numbers)
            session.use_review(Review(noted), "note")

    # -- corrections ----------------------------------------------------------------------------

    def correct(self) -> None:
        """Begin to correct the picked pixel (or the gathered ones), or stop doing so."""
        session = self._session
        session.set_correcting(not session.correcting)
        if session.correcting:
            self.said.emit(f"Settings and fit window now hold for {about(session.targets())} "
                           "alone; C ends it.")  # fmt: skip
        self.show_about()

    # -- walking --------------------------------------------------------------------------------

    def next_doubtful(self) -> None:
        if self._session.selection is not None and self._go(self._place(), 1):
            self._trail.append(self._came_from)

    def previous_doubtful(self) -> None:
        """Back along the walk, to a pixel that was just decided too; then up the list."""
        if self._trail:
            self._session.gather(None)
            self._session.select(*self._trail.pop())
            return
        self._go(self._place(), -1)

    def _place(self) -> int:
        """Place of the picked pixel in the ranking; -1 if it is in no doubt."""
        at = self._session.selection
        if self.ranking is None or at is None:
            return -1
        return int(self.ranking.place[at[0] * self.ranking.shape[1] + at[1]])

    def _go(self, place: int, step: int, stay: bool = False) -> bool:
        """Pick the next pixel of the list after a place of the ranking; whether there was one. At
        an end the walk stops, and says so; after a decision (`stay`) it begins anew with what is
        left."""
        places = self._places
        if not places.size:
            none = NONE if self.ranking is not None and not self.ranking.count else NONE_LEFT
            self.said.emit(none if self.ranking is not None else NOT_YET)
            return False
        after = np.searchsorted(places, place, "right" if step > 0 else "left")
        at = int(after) if step > 0 else int(after) - 1
        if not 0 <= at < places.size:
            if not stay:
                self.said.emit("That was the last one of the list." if step > 0 else
                               "That was the first one of the list.")  # fmt: skip
                return False
            at = 0
        self._came_from = self._session.selection or (-1, -1)
        self._session.gather(None)
        self._session.select(*divmod(int(self.ranking.flat[places[at]]), self.ranking.shape[1]))
        return True

    # -- gathering ------------------------------------------------------------------------------

    def gather_alike(self, what: Any = None) -> None:
        """Gather all pixels like the picked one by the doubt and range that are offered."""
        what = what or self.panel.decide.alike
        if what is None or not self._session.finished:
            self.said.emit("The picked pixel is in no doubt that others could share.")
            return
        from ..core.review import alike

        mask = alike(self._session.analysis, what)
        self._session.gather(mask)
        self.said.emit(f"{int(mask.sum()):,} pixels gathered: K keeps, L leaves out, C corrects "
                       "them all.")  # fmt: skip

    def _gather_rows(self, pixels: list[tuple[int, int]]) -> None:
        if self._session.map is None:
            return
        mask = np.zeros(self._session.map.shape, bool)
        for row, col in pixels:
            mask[row, col] = True
        self._session.gather(mask)

    def _gather_decision(self, number: int) -> None:
        decisions = self._session.review.decisions
        if 0 <= number < len(decisions):
            self._session.gather(decisions[number].pixels.mask(self._session.map.shape))

    def _take_decision_back(self, number: int) -> None:
        decisions = self._session.review.decisions
        if 0 <= number < len(decisions):
            pixels = decisions[number].pixels
            self._use(self._session.review.take_back(pixels), "decision taken back", pixels)
