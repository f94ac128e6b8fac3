"""Binds the page *Decided* of the panel Doubts: what a decision does to the numbers.

It is worked out for the chosen decision, or for all of them together where none is chosen, once
things rest, and only while the page can be seen.
"""

from __future__ import annotations

import math
from typing import Any

from PySide6.QtCore import QObject, QTimer

from ..core import units
from ..core.channels import CHANNELS
from ..core.reference import Change
from ..core.review.effects import Effect, share_of
from .law_calls import why_not
from .panels.doubts import DoubtsPanel
from .panels.law_page import number_in, percent
from .panels.law_table import Line
from .recompute import Answer
from .review_calls import AskEffect
from .session import Session

SETTLE = 200  # ms that decisions and analysis must rest
WAIT = "Worked out when the map has been analysed…"
HELD = ("Medians over trusted pixels. Components are held as they are now: they are not looked for "
        "anew without the decision.")  # fmt: skip


class EffectDesk(QObject):
    """See the module. `review` is the desk of the list; it knows the components."""

    def __init__(self, session: Session, panel: DoubtsPanel, review: Any,
                 parent: QObject | None = None) -> None:  # fmt: skip
        super().__init__(parent)
        self._session, self.panel, self._review = session, panel, review
        self._asked = -1
        self._shown: Any = None
        self._timer = QTimer(self, singleShot=True, interval=SETTLE)
        self._timer.timeout.connect(self._ask)
        for signal in (session.review_changed, session.analysis_changed, session.map_changed,
                       panel.asked, panel.seen, panel.decided.chosen,
                       review.components_changed):  # fmt: skip
            signal.connect(self.refresh)
        session.answered.connect(self._take)

    def _key(self) -> Any:
        session, page = self._session, self.panel.decided
        return (id(session.analysis), session.review, page.number, id(self._review.labels()))

    def refresh(self, *_: object) -> None:
        """See to it that what is shown belongs to the present decisions."""
        session, page = self._session, self.panel.decided
        page.show_buttons()
        seen = self.panel.in_sight and self.panel.page == "decided"
        if not seen or session.map is None or not session.review:
            self._timer.stop()
            return
        if self._key() != self._shown:
            self._timer.start()

    def _ask(self) -> None:
        session, page = self._session, self.panel.decided
        if session.map is None or not session.review:
            return
        if not session.finished:
            page.show_effect(WAIT, [])
            return
        number = page.number if page.number >= 0 else None
        self._shown = self._key()
        request = AskEffect(session.analysis, number, self._review.labels(), self._review.names())
        self._asked = session.submit(request)

    def _take(self, answer: Answer) -> None:
        if not isinstance(answer.request, AskEffect) or answer.generation != self._asked:
            return
        page = self.panel.decided
        words = why_not(answer, "Stopped. Choose a decision to go on.")
        if words:
            self._shown = None
            page.show_effect(words, [])
        else:
            page.show_effect(*effect_lines(answer.value))


def effect_lines(effect: Effect) -> tuple[str, list[Line], str]:
    """Title, lines and note of an effect: the strongest sentence, then every median that there
    is."""
    title = effect.sentences[0]
    if effect.decision is None:
        title = f"All decisions together. {title}"
    lines = []
    for name in dict.fromkeys(row.channel for row in effect.rows):
        rows = [row for row in effect.rows if row.channel == name]
        known = [abs(v) for row in rows for v in (row.before, row.after) if math.isfinite(v)]
        if known:
            core = CHANNELS[name].unit
            unit = units.best_unit(max(known), core)[0] if core else ""
            heading = CHANNELS[name].label + (f" ({unit})" if unit else "")
            lines += [Line((heading,), strong=True), *(_line(row, core, unit) for row in rows)]
    return title, lines, HELD


def _line(row: Change, core: str, unit: str) -> Line:
    texts = [number_in(v, math.nan, core, unit) for v in (row.before, row.after)]
    tip = f"{row.trusted_before:,} trusted pixels without it, {row.trusted_after:,} with it"
    return Line((f"  {row.title}", *texts, percent(share_of(row), signed=True)), tip=tip)
