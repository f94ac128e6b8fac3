"""What the person decides about a map: each act is one entry of the history.

A part of the session, kept apart for its length. Everything that can be decided stands in one
frozen `Work`; what a hand drags runs ahead of it, and what differs is announced.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from ..core.components.rule import Rule
from ..core.decisions import Pixels, Review
from ..core.errors import SettingsError
from ..core.settings import GIVEN, Settings
from ..core.sheets import Sheet
from ..core.work.answers import Answers
from .correcting import about, corrected
from .work import Work

if TYPE_CHECKING:
    from .history import History


ONE_PIXEL = "given by hand holds for one pixel: correct it (C) first."


def asked_of(work: Work) -> tuple[Settings, Any]:
    """What an analysis depends on."""
    return work.settings, work.review.corrections


class Deciding:
    """See the module; `Session` is made of it."""

    if TYPE_CHECKING:
        _history: History[Work]
        _selection: tuple[int, int] | None
        _correcting: tuple[int, int] | None
        _group: Any
        _asked: Any
        _kept: Work
        map: Any
        who: str

    def check(self, change: Mapping[str, Any]) -> str:
        """What is wrong with a change, in words; empty if it is possible."""
        try:
            self._with(change)
        except SettingsError as error:
            return error.what
        return ""

    def _with(self, change: Mapping[str, Any]) -> Work:
        """The work in force with settings changed: the map's, or those of the pixels that are being
        corrected. Raises SettingsError on impossible values."""
        work = self._history.current
        if not self.correcting:
            if change.get("fit.contact") == GIVEN:
                raise SettingsError("fit.contact", ONE_PIXEL)
            return replace(work, settings=work.settings.with_values(change))
        return corrected(work, self.targets(), change, self.who)

    def apply(self, change: Mapping[str, Any], words: str, merge: str = "") -> bool:
        """Change settings: one entry of the history. Impossible values are refused: `failed` says
        why, and nothing changes.

        Parameters
        ----------
        words : the act as undo names it, such as "tip radius"
        merge : acts that follow each other with the same word here become one entry

        Returns
        -------
        bool : whether the settings changed
        """
        try:
            work = self._with(change)
        except SettingsError as error:
            self.failed.emit(str(error))
            return False
        return self.decide(work, self._named(words), merge)

    def _named(self, words: str) -> str:
        """An act on settings as undo names it."""
        return f"{words} of {about(self.targets())}" if self.correcting else words

    def use_settings(self, settings: Settings, words: str, merge: str = "") -> bool:
        """As `apply`, with all settings at once."""
        if settings.fit.contact == GIVEN:
            self.failed.emit(str(SettingsError("fit.contact", ONE_PIXEL)))
            return False
        return self.decide(replace(self._history.current, settings=settings), words, merge)

    def decide(self, work: Work, words: str, merge: str = "") -> bool:
        """Decide anything about the map: one entry of the history, as in `apply`."""
        before = self.work
        changed = self._history.push(work, words, merge)
        self._moved(before, acted=changed)
        return changed

    def use_rule(self, rule: Rule, words: str, merge: str = "") -> bool:
        """Make components by another rule, or name them."""
        return self.decide(replace(self._history.current, rule=rule), words, merge)

    def use_places(self, places: Any, words: str, merge: str = "") -> bool:
        """Have other regions and profiles on the map."""
        return self.decide(replace(self._history.current, places=places), words, merge)

    def use_sheets(self, sheets: tuple[Sheet, ...], words: str, merge: str = "") -> bool:
        """Have other figure sheets."""
        return self.decide(replace(self._history.current, sheets=sheets), words, merge)

    def use_answers(self, answers: Answers, words: str, merge: str = "") -> bool:
        """Answer otherwise what the methods paragraph asks."""
        return self.decide(replace(self._history.current, answers=answers), words, merge)

    def leave_out(self, mask: Any, words: str = "left-out pixels") -> bool:
        """Leave exactly these pixels out by hand, bool (rows, cols)."""
        return self.use_review(self._history.current.review.with_left_out(mask), words)

    def use_review(self, review: Review, words: str, merge: str = "") -> bool:
        """Decide otherwise about single pixels."""
        return self.decide(replace(self._history.current, review=review), words, merge)

    @property
    def correcting(self) -> bool:
        """Whether changed settings hold for the picked pixel alone, or for the gathered ones."""
        return self._correcting is not None and self._correcting == self._selection

    def set_correcting(self, on: bool) -> None:
        """Begin or end to correct the picked pixel. Another pixel ends it, too, unless it has been
        corrected before."""
        was = self.correcting
        self._correcting = self._selection if on and self.targets() else None
        if self.correcting != was:
            self.correcting_changed.emit()

    @property
    def own_settings(self) -> Settings:
        """The settings that a change is made to: those of the picked pixel while it is corrected,
        else the map's."""
        at = self._selection
        return self.settings_at(*at) if self.correcting and at is not None else self.settings

    def targets(self) -> Pixels:
        """What is decided about: the gathered pixels if there are any, else the picked one."""
        if self.map is None:
            return Pixels()
        if self._group is not None:
            return Pixels.of(self._group & (self.map.index_map >= 0))
        at = self._selection
        if at is None or self.map.curve_at(*at) < 0:
            return Pixels()
        return Pixels.one((self.map.shape[0], self.map.shape[1]), *at)

    def begin_drag(self) -> None:
        """A hand takes hold: what follows by `preview` becomes one act with `commit`."""
        self._history.drag()

    def preview(self, change: Mapping[str, Any]) -> None:
        """Show a change while a hand is dragging; an impossible one is passed over."""
        try:
            self.preview_work(self._with(change))
        except SettingsError:
            return

    def preview_work(self, work: Work) -> None:
        """As `preview`, with anything that can be decided."""
        before = self.work
        if self._history.drag(work):
            self._moved(before, gentle=True)

    def commit(self, words: str) -> bool:
        """The hand lets go: what is shown becomes one entry of the history."""
        before, dragged = self.work, self._history.drop()
        settings = dragged is not None and dragged.review != self._history.current.review
        if dragged is None or not self._history.push(dragged, self._named(words) if settings
                                                     else words):  # fmt: skip
            return False
        self._moved(before, acted=True)
        if asked_of(dragged) != self._asked and not self._asked_for(dragged):
            self._ask()
        return True

    def cancel_drag(self) -> None:
        """The hand lets go without wanting it: back to what was before."""
        before, dragged = self.work, self._history.drop()
        if dragged is not None:
            self._moved(before)

    def undo(self) -> None:
        before = self.work
        if self._history.undo():
            self._moved(before, acted=True)

    def redo(self) -> None:
        before = self.work
        if self._history.redo():
            self._moved(before, acted=True)

    def mark_saved(self, settings: Settings) -> None:
        """Note that these settings are in a file of the person's."""
        if self._kept is not None:
            self._kept = replace(self._kept, settings=settings)
        self.history_changed.emit()

    def mark_work_saved(self, work: Work, path: str = "") -> None:
        """Note that all of this is in a file of the person's: the result file at `path`."""
        self._kept, self.saved_as = work, path or self.saved_as
        self.history_changed.emit()

    def _moved(self, before: Work, gentle: bool = False, acted: bool = False) -> None:
        """Announce what differs from before, and have it worked out."""
        now = self.work
        if now.settings != before.settings:
            self._settings_moved(gentle)
        if now.review != before.review:
            self._review_moved(before, gentle)
        for part, signal in (("rule", self.rule_changed), ("places", self.places_changed),
                             ("sheets", self.sheets_changed),
                             ("answers", self.answers_changed)):  # fmt: skip
            if getattr(now, part) != getattr(before, part):
                signal.emit()
        if acted or (now != before and not gentle):
            self.history_changed.emit()

    def _review_moved(self, before: Work, gentle: bool) -> None:
        """Tell what was decided anew; the worker is asked only if a correction is another one."""
        corrected = self.review.corrections != before.review.corrections
        if corrected:
            self._renew_report()
        self.review_changed.emit()
        if self.correcting:
            self.correcting_changed.emit()
        if self.left_out != before.review.left_out:
            self.left_out_changed.emit()
        if corrected:
            self.report_changed.emit(False)
            self._ask(gentle)

    def _settings_moved(self, gentle: bool = False) -> None:
        self._renew_report()
        self.settings_changed.emit()
        self.report_changed.emit(False)
        self._ask(gentle)
