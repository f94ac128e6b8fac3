"""Binds the reference to the views: its page, its maps, and its fit on the picked curve.

Changes are worked out on the worker: the channel in front while a hand drags, all of them once
things rest. The fit of the picked pixel and the maps are made at once, from tables that are there.
"""

from __future__ import annotations

from collections.abc import Hashable
from typing import Any

import numpy as np
from PySide6.QtCore import QObject, QTimer, Signal
from PySide6.QtWidgets import QTabWidget

from ..core.channels import CHANNELS, asked_for
from ..core.errors import Cancelled, InputError
from .component_desk import ComponentDesk
from .derived import Derived, channel_of
from .law_calls import Refused
from .panels.reference_page import NONE, ReferencePage
from .recompute import Answer
from .reference_calls import AskChanges
from .session import Session
from .theme import Theme

SETTLE = 150  # ms that what it depends on must rest
WAITING = "What changed follows when the map has been analysed."
STOPPED = "Stopped. Change a setting or hold another result to go on."
TRUSTED = "Grey where one of them has no trusted value."
SHOWN = {
    "difference": ("difference to the reference", "Δ{}", "now less the reference"),
    "ratio": ("ratio to the reference", "Δ ln {}", "100 ln(now / reference)"),
    "significance": ("change in ±", "Δ{}/±", "change over √(s₁² + s₂²) of both local ±"),
}
"""Picture -> words after the channel's label, symbol, formula."""


class ReferenceDesk(QObject):
    """See the module. `tabs` gets the page.

    Signals
    -------
    derived_changed(Derived or None) : what the map is to show in place of the channel
    line_changed(report or None, words) : the reference's fit of the picked pixel
    hold_wanted : the person wants to hold the present result
    """

    derived_changed = Signal(object)
    line_changed = Signal(object, str)
    hold_wanted = Signal()

    def __init__(self, session: Session, components: ComponentDesk, tabs: QTabWidget) -> None:
        super().__init__(tabs)
        self._session, self._components, self._tabs = session, components, tabs
        self.page = ReferencePage()
        self.picture = ""  # what the map shows, as the page names it
        self.changes: Any = None
        self._drawn: Hashable = None
        self._shown: Hashable = None
        self._glimpsed: Hashable = None  # shown while a hand dragged: the channel in front alone
        self._asked: tuple[int, Hashable] | None = None
        self._told: set[str] = set()
        self._wanting = False
        self._timer = QTimer(self, singleShot=True, interval=SETTLE)
        self._timer.timeout.connect(self._ask)
        tabs.addTab(self.page, "Reference")
        self._listen()
        self._renew()

    def _listen(self) -> None:
        session, page = self._session, self.page
        session.reference_changed.connect(self._renew)
        for signal in (session.settings_changed, session.review_changed):
            signal.connect(self._show_settings)
        for signal in (session.analysis_changed, session.channel_changed, session.review_changed,
                       session.history_changed, self._components.made_changed,
                       self._tabs.currentChanged, page.channel_chosen):  # fmt: skip
            signal.connect(self.refresh)
        session.review_changed.connect(lambda: self.show_map(self.picture))
        session.report_changed.connect(self._draw_line)
        session.answered.connect(self._take)
        page.map_wanted.connect(self.show_map)
        page.hold_wanted.connect(self.hold_wanted)
        page.let_go_wanted.connect(session.drop_reference)
        page.settings_wanted.connect(self._use_settings)

    def set_theme(self, theme: Theme) -> None:
        self.page.set_theme(theme)

    # -- what is wanted -------------------------------------------------------------------------

    @property
    def in_front(self) -> bool:
        return self._tabs.currentWidget() is self.page

    @property
    def channel(self) -> str:
        """The channel in front of the page."""
        return self.page.channel or self._session.channel

    def _channels(self) -> tuple[str, ...]:
        """All to look at, the one in front first."""
        from ..core.reference import USUAL

        asked = asked_for(self._session.settings)
        return tuple(dict.fromkeys((self.channel, *(n for n in USUAL if n in asked))))

    def _labels(self) -> tuple[Any, tuple[str, ...]]:
        """Labels and titles of the components as they were worked out last; None without any."""
        made, fmap = self._components.made, self._session.map
        if made is None or fmap is None or made.composition.labels.shape != fmap.shape:
            return None, ()
        found = made.composition
        return found.labels, tuple(found.title(k) for k in range(found.count))

    def _key(self) -> Hashable:
        session, made = self._session, self._components.made
        return (session.reference, session.analysis, self.channel,
                made.composition if made is not None else None)  # fmt: skip

    def refresh(self, *_: object) -> None:
        """See to it that the page is up to date, if it can be seen."""
        session, held = self._session, self._session.reference
        self._want_components(self.in_front and held is not None
                              and self._components.made is not None)  # fmt: skip
        self.page.show_state(session.finished, held is not None
                             and held.settings != session.settings)  # fmt: skip
        if held is None or not self.in_front or session.analysis is None:
            self._timer.stop()
            return
        key = self._key()
        if not (session.finished or session.dragging):
            self._timer.stop()
            self.page.show_waiting()  # of settings that are not in force any more
        elif key == self._shown:
            self._timer.stop()
            self.page.show_again()
        elif session.dragging:
            if key != self._glimpsed:
                self._ask()
        elif self._asked is None or self._asked[1] != key:
            self.page.show_waiting()
            self._timer.start()

    def _want_components(self, on: bool) -> None:
        """Components that were made once are kept up to date while the page shows them."""
        if on != self._wanting:
            self._wanting = on
            self._components.want("reference", on)

    def _ask(self) -> None:
        session, held = self._session, self._session.reference
        if held is None or session.analysis is None or not self.in_front:
            return
        labels, titles = self._labels()
        quick = session.dragging
        before = held.labels if labels is not None else None
        request = AskChanges(held.analysis, session.analysis, self._channels(), labels, titles,
                             before, quick)  # fmt: skip
        self._asked = (session.submit(request, gentle=quick), self._key())

    # -- answers --------------------------------------------------------------------------------

    def _take(self, answer: Answer) -> None:
        if not isinstance(answer.request, AskChanges) or self._asked is None:
            return
        generation, key = self._asked
        if answer.generation != generation:
            return
        self._asked = None
        if answer.error is not None:
            self._fail(STOPPED if isinstance(answer.error, Cancelled) else str(answer.error))
        elif isinstance(answer.value, Refused):
            self._fail(answer.value.words)
            self._tell_fault(answer.value)
        else:
            self.changes = answer.value
            self._shown = key if answer.value.whole else None
            self._glimpsed = key
            self.page.show_changes(answer.value, answer.request.channels[0])
            if not answer.value.whole:
                self.refresh()

    def _fail(self, words: str) -> None:
        self._shown = self.changes = None
        self.page.show_reason(words)

    def _tell_fault(self, refused: Refused) -> None:
        """A fault of ours is told once."""
        if refused.fault is not None and refused.place not in self._told:
            self._told.add(refused.place)
            self._session.faulted.emit(refused.fault)

    # -- another reference, or none -------------------------------------------------------------

    def _renew(self) -> None:
        held = self._session.reference
        self._shown = self._glimpsed = self._drawn = self._asked = self.changes = None
        self._session.background.cancel(AskChanges.lane)
        self.page.show_channels(list(asked_for(self._session.settings).values()))
        if held is None:
            self.page.show_reference("", False, NONE if self._session.map else "There is no map.")
            self.show_map("")
        else:
            self.page.show_reason(WAITING)
            self._show_settings()
            self.show_map(self.picture)
        self._draw_line()
        self.refresh()

    def _show_settings(self) -> None:
        """What differs from the reference, in words."""
        from ..core.reference import differing

        held, session = self._session.reference, self._session
        if held is None:
            return
        found = differing(held.settings, session.settings)
        self.page.show_settings(found, decided_lines(held.analysis.review, session.review))
        count = len(found)
        said = (f"{count} settings differ" if count > 1 else "one setting differs" if count
                else "the settings are the same")  # fmt: skip
        self.page.show_reference(f"Held at {held.when}; {said}.", True)
        self.page.show_channels(list(asked_for(session.settings).values()))
        self.refresh()

    def _use_settings(self) -> None:
        held = self._session.reference
        if held is not None:
            self._session.use_settings(held.settings, "settings of the reference")

    # -- on the curve ---------------------------------------------------------------------------

    def _draw_line(self, *_: object) -> None:
        """The reference's fit of the picked pixel; worked out once a pixel."""
        session, held = self._session, self._session.reference
        at = session.selection
        if held is None or at is None or session.report is None:
            if self._drawn is not None or held is None:
                self._drawn = None
                self.line_changed.emit(None, "")
            return
        key = (held, at)
        if key == self._drawn:
            return
        self._drawn = key
        self.line_changed.emit(self._explained(held, at), "the fit of the reference held at "
                               f"{held.when}, on the present axes")  # fmt: skip

    def _explained(self, held: Any, at: tuple[int, int]) -> Any:
        from ..core.explain import explain

        try:
            return explain(self._session.map, held.settings_at(*at), *at, held.analysis)
        except InputError as error:
            self._session.noted.emit(str(error))
            return None

    # -- on the map -----------------------------------------------------------------------------

    def show_map(self, name: str) -> None:
        """Have the map show a difference or a ratio in place of the channel; "" for the channel."""
        if self._session.reference is None:
            name = ""
        was, self.picture = self.picture, name
        self.page.show_map(name)
        if name or was:
            self.derived_changed.emit(self.derived())

    def derived(self) -> Derived | None:
        """The map of the picture under the present analysis and channel; None for the channel."""
        from ..core import reference as core

        session, held = self._session, self._session.reference
        if not self.picture or held is None or session.analysis is None:
            return None
        name = session.channel
        own, (words, symbol, formula) = CHANNELS[name], SHOWN[self.picture]
        make = {"difference": core.difference_map, "ratio": core.ratio_map,
                "significance": core.significance_map}[self.picture]  # fmt: skip
        values = make(held.analysis, session.analysis, name)
        if values is None:
            values = np.full(session.map.shape, np.nan)
        unit = {"difference": own.unit, "ratio": "%", "significance": ""}[self.picture]
        channel = channel_of(f"{self.picture}_{name}", f"{own.label}, {words}",
                             symbol.format(own.symbol), unit, formula, "signed")  # fmt: skip
        said = self._said(held, values, name)
        return Derived(channel, values, said, session.analysis, follows=name)

    def _said(self, held: Any, values: Any, name: str) -> str:
        if np.isfinite(values).any():
            return f"Held at {held.when}. {TRUSTED}"
        if not CHANNELS[name].asked(held.settings):
            return "The reference has no such channel."
        if self.picture == "significance" and held.analysis.errors(name) is None:
            return "This channel has no ±."
        if self.picture == "ratio":
            return "No pixel is above zero in both, so there is no ratio."
        return "There is no pixel that both trust."


def decided_lines(before: Any, now: Any) -> list[tuple[str, str, str]]:
    """What was decided otherwise about single pixels: (words, before, now), counts as text."""
    lines = []
    for words, one, other in (("Pixels left out", before.left_out, now.left_out),
                              ("Pixels kept", before.kept, now.kept)):  # fmt: skip
        if one != other:
            lines.append((words, *_counts(one.count, other.count)))
    if before.corrections != now.corrections:
        lines.append(("Pixels corrected", *_counts(*(
            sum(d.pixels.count for d in each.corrections) for each in (before, now)))))  # fmt: skip
    return lines


def _counts(one: int, other: int) -> tuple[str, str]:
    return str(one), f"{other}, others" if one == other else str(other)
