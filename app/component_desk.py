"""Binds what shows components to the session: panel, histogram, joint histogram and map.

Components are worked out on the worker once analysis and rule have rested for a moment, and only
while something shows them. While a hand drags a threshold, only labels and the rule's own channels
are renewed; the whole table follows when it rests.
"""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import replace
from typing import Any

import numpy as np
from PySide6.QtCore import QObject, QTimer, Signal

from ..core.components.rule import EndMember, Rule
from ..core.errors import Cancelled
from .component_calls import AskComponents, Made
from .law_calls import Refused
from .panels.components import ComponentsPanel
from .recompute import Answer
from .session import Session

SETTLE = 150  # ms that analysis and rule must rest
NOT_YET = "Components follow when the map has been analysed."
STOPPED = "Stopped. Change the rule to go on."
NO_MAP = "There is no map."


class ComponentDesk(QObject):
    """See the module.

    Signals
    -------
    made_changed : `made` is another one, or None with `reason`
    """

    made_changed = Signal()

    def __init__(self, session: Session, panel: ComponentsPanel,
                 parent: QObject | None = None) -> None:  # fmt: skip
        super().__init__(parent)
        self._session, self.panel = session, panel
        self.made: Made | None = None
        self.reason = NO_MAP
        self._wanted_by: set[str] = set()
        self._shown: Hashable = None
        self._asked: tuple[int, Hashable] | None = None  # generation, key
        self._told: set[str] = set()
        self._mask: Any = None  # pixels left out by hand in what is shown
        self._timer = QTimer(self, singleShot=True, interval=SETTLE)
        self._timer.timeout.connect(self._ask)
        self._listen()

    def _listen(self) -> None:
        session, find = self._session, self.panel.find
        session.map_changed.connect(self._forget)
        session.analysis_changed.connect(self.refresh)
        session.left_out_changed.connect(self.refresh)
        session.left_out_changed.connect(self._show_gathered)
        session.group_changed.connect(self._show_gathered)
        session.rule_changed.connect(self._rule_moved)
        session.settings_changed.connect(self.refresh)
        session.answered.connect(self._take)
        self.panel.seen.connect(lambda on: self.want("panel", on))
        find.rule_edited.connect(self.use_rule)
        find.refused.connect(session.failed)
        find.named.connect(self._name)
        find.ratio_given.connect(self._give_ratio)
        find.component_chosen.connect(self._gather_component)
        find.present_wanted.connect(self._take_present)
        find.leave_out_wanted.connect(self._leave_out)
        find.take_back_wanted.connect(self._take_back)

    # -- what is wanted -------------------------------------------------------------------------

    def want(self, who: str, on: bool) -> None:
        """Something begins or ceases to show components."""
        (self._wanted_by.add if on else self._wanted_by.discard)(who)
        self.refresh()

    def _key(self) -> Hashable:
        session = self._session
        return (id(session.map), session.settings, session.finished, session.rule, session.left_out)

    def refresh(self, *_: object) -> None:
        """See to it that what is shown is up to date, in a moment."""
        session = self._session
        if not self._wanted_by or session.map is None:
            self._timer.stop()
            return
        if self._key() == self._shown:
            self._timer.stop()
            return
        if not session.finished:
            if self.made is None:
                self._fail(NOT_YET)
            else:
                self.panel.show_waiting()
            return
        if session.dragging:
            self._ask(quick=True)
        elif self._asked is None or self._asked[1] != self._key():
            self.panel.show_waiting()
            self._timer.start()

    def _rule_moved(self) -> None:
        self.panel.find.show_rule(self._session.rule)
        self.refresh()

    def _ask(self, quick: bool = False) -> None:
        session = self._session
        if session.map is None or not session.finished:
            return
        key = self._key()
        mask = session.left_out.mask(session.map.shape)
        request = AskComponents(session.analysis, mask, session.rule, self._known(), quick=quick)
        self._asked = (session.submit(request, gentle=quick), key)

    def _known(self) -> Any:
        """The present composition, if its labels hold under the present rule."""
        session, made = self._session, self.made
        if made is None or made.composition.maps.source is not session.analysis:
            return None
        same = made.composition.rule.finding == session.rule.finding
        mask = session.left_out.mask(session.map.shape)
        return made.composition if same and np.array_equal(self._mask, mask) else None

    @property
    def fits(self) -> bool:
        """Whether what is there belongs to the present analysis and rule."""
        session, made = self._session, self.made
        return (made is not None and made.composition.maps.source is session.analysis
                and made.composition.rule.finding == session.rule.finding)  # fmt: skip

    @property
    def renewing(self) -> bool:
        """Whether what is there is on its way to be renewed."""
        return bool(self._wanted_by) and (self._timer.isActive() or self._asked is not None
                                          or not self._session.finished)  # fmt: skip

    # -- answers --------------------------------------------------------------------------------

    def _take(self, answer: Answer) -> None:
        request = answer.request
        if not isinstance(request, AskComponents) or self._asked is None:
            return
        generation, key = self._asked
        if answer.generation != generation:
            return
        if answer.final:
            self._asked = None
        if answer.error is not None:
            self._fail(STOPPED if isinstance(answer.error, Cancelled) else str(answer.error), key)
        elif isinstance(answer.value, Refused):
            self._fail(answer.value.words, key)
            self._tell_fault(answer.value)
        else:
            self._show(answer.value, key, request)

    def _show(self, made: Made, key: Hashable, request: AskComponents) -> None:
        self._mask = request.left_out
        self.made, self.reason = made, ""
        if made.whole:
            self._shown = key
        if made.table is not None:
            self.panel.find.show_made(made.composition, made.table)
            if not request.quick:
                self.panel.table.show_made(made)
        self.made_changed.emit()
        if request.quick and not self._session.dragging:
            self.refresh()

    def _fail(self, words: str, key: Hashable = None) -> None:
        self._shown = key
        self.made, self.reason = None, words
        self.panel.show_reason(words)
        self.made_changed.emit()

    def _tell_fault(self, refused: Refused) -> None:
        """A fault of ours is told once."""
        if refused.fault is not None and refused.place not in self._told:
            self._told.add(refused.place)
            self._session.faulted.emit(refused.fault)

    def _forget(self) -> None:
        """Another map, or none."""
        self._asked = None
        self._session.background.cancel(AskComponents.lane)
        fmap = self._session.map
        self._fail(NOT_YET if fmap is not None else NO_MAP)
        self.panel.find.show_rule(self._session.rule)
        if fmap is not None:
            from ..core.channels import asked_for

            channels = list(asked_for(self._session.settings).values())
            self.panel.find.set_channels(channels, "nm" if fmap.has_scale else "pixels")
        self._show_gathered()
        self.refresh()

    # -- what the person does -------------------------------------------------------------------

    def use_rule(self, rule: Rule, words: str) -> None:
        """Make components by another rule. A way of finding that begins with nothing of its own
        takes what is there at present."""
        before = self._session.rule
        if rule.method != before.method and self.made is not None:
            rule = begun(rule, self.made.composition)
        if rule.given != before.given:  # other components: whose names those were nobody knows
            rule = replace(rule, names=(), poisson_ratios=())
        self._session.use_rule(rule, words)

    def _name(self, number: int, name: str) -> None:
        self._change("name of a component", lambda rule: rule.named(number, name))

    def _give_ratio(self, number: int, value: float | None) -> None:
        self._change("Poisson ratio of a component",
                     lambda rule: rule.with_poisson_ratio(number, value))  # fmt: skip

    def _change(self, words: str, change: Any) -> None:
        from ..core.errors import SettingsError

        try:
            rule = change(self._session.rule)
        except SettingsError as error:
            self._session.failed.emit(error.what)
            self.panel.find.show_rule(self._session.rule)
            return
        self._session.use_rule(rule, words)

    def _take_present(self) -> None:
        if self.made is not None:
            members = members_of(self.made.composition, self._session.rule)
            self._session.use_rule(replace(self._session.rule, members=members), "end members")

    def _gather_component(self, number: int) -> None:
        if self.made is not None:
            self._session.gather(self.made.composition.pixels(number))

    def _leave_out(self) -> None:
        session = self._session
        if session.group is not None:
            session.leave_out(session.left_out.mask(session.map.shape) | session.group)
            session.gather(None)

    def _take_back(self) -> None:
        if self._session.map is not None:
            self._session.leave_out(np.zeros(self._session.map.shape, bool), "pixels taken back")

    def _show_gathered(self) -> None:
        group = self._session.group
        count = int(np.count_nonzero(group)) if group is not None else 0
        self.panel.find.show_gathered(count, self._session.left_out.count)


def begun(rule: Rule, composition: Any) -> Rule:
    """A rule whose way of finding has nothing of its own yet, begun with what is there."""
    if rule.method == "thresholds" and not rule.thresholds:
        return replace(rule, thresholds=cuts_of(composition, rule))
    if rule.method == "end_members" and not rule.members:
        return replace(rule, members=members_of(composition, rule))
    return rule


def members_of(composition: Any, rule: Rule) -> tuple[EndMember, ...]:
    """End members at the present components."""
    found = []
    for _, centre, spread in composition.ellipses(rule.axes):
        values = [10.0 ** float(c) if axis.log else float(c)
                  for axis, c in zip(rule.axes, centre, strict=True)]  # fmt: skip
        wide = np.sqrt(np.maximum(np.diag(np.atleast_2d(spread)), 1e-12))
        found.append(EndMember(tuple(values), tuple(map(float, wide))))
    return tuple(found)


def cuts_of(composition: Any, rule: Rule) -> tuple[float, ...]:
    """Thresholds between the present components on the first axis: halfway in units of their
    spreads."""
    axis = rule.axes[:1]
    places = sorted((float(centre[0]), float(np.sqrt(max(np.atleast_2d(spread)[0, 0], 1e-12))))
                    for _, centre, spread in composition.ellipses(axis))  # fmt: skip
    cuts = [a + (b - a) * s / (s + t) for (a, s), (b, t) in zip(places, places[1:], strict=False)]
    return tuple(10.0**cut if axis[0].log else cut for cut in cuts)


