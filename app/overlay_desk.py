"""Binds the page *Overlay* to the session: picked pixels, components, regions, gathered pixels.

Single curves are placed at once, from tables that are there; medians and bands are worked out on
the worker once things rest, and only while the page is in front. Which sets are ticked is a matter
of looking and stands here.
"""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import dataclass
from typing import Any

import numpy as np
from PySide6.QtCore import QObject, QTimer, Signal
from PySide6.QtWidgets import QTabWidget

from ..core.ensemble import lacking, placed
from ..core.errors import Cancelled, InputError
from .component_desk import ComponentDesk
from .law_calls import Refused
from .overlay_calls import AskOverlay, table_text
from .places_desk import PlacesDesk
from .recompute import Answer
from .session import Session
from .theme import LIGHT, Theme
from .views import overlay_look as looks
from .views.map_view import MapView
from .views.overlay_page import FEW, Entry, OverlayPage
from .views.overlay_view import Drawn, drawn_curve, drawn_ensemble

Array = np.ndarray
SETTLE = 200  # ms that what it depends on must rest
WAITING = "The curves follow when the map has been analysed."
WAITING_SETS = "The curves are being laid over each other."
NO_MAP = "There is no map."
STOPPED = "Stopped. Tick a set or change the axes to go on."
PICK, GROUP, COMPONENT, REGION = "pixel", "gathered", "component", "region"


@dataclass(frozen=True, eq=False)
class Set:
    """A set of pixels whose curves are shown as median and bands.

    Attributes
    ----------
    key, name, look : which, what it is called, and how it looks
    curves : (m,) numbers of its curves
    mark : equal marks mean the same curves
    doubtful : pixels of it that are not counted, since they are not trusted
    """

    key: str
    name: str
    look: looks.SetLook
    curves: Array
    mark: Hashable
    doubtful: int


class OverlayDesk(QObject):
    """See the module. `tabs` gets the page. Signal save_wanted: what is drawn, as a file."""

    save_wanted = Signal()

    def __init__(self, session: Session, map_view: MapView, components: ComponentDesk,
                 places: PlacesDesk, tabs: QTabWidget) -> None:  # fmt: skip
        super().__init__(tabs)
        self._session, self._map, self._tabs = session, map_view, tabs
        self._components, self._places = components, places
        self._theme: Theme = LIGHT
        self.page = OverlayPage()
        self._ticked: dict[str, bool] = {}
        self._sets: dict[str, Set] = {}
        self.made: dict[str, Any] = {}  # set -> core's `Ensemble`
        self._marks: dict[str, Hashable] = {}  # set -> what its ensemble was made of
        self._asked: tuple[int, dict[str, Hashable]] | None = None
        self._refused: tuple[Hashable, str] = (None, "")
        self._wanting = False
        self._told: set[str] = set()
        self._timer = QTimer(self, singleShot=True, interval=SETTLE)
        self._timer.timeout.connect(self._ask)
        tabs.addTab(self.page, "Overlay")
        self._listen()
        self.refresh()

    def _listen(self) -> None:
        session, page = self._session, self.page
        session.map_changed.connect(self._forget)
        session.overlaid_changed.connect(self._show_picks)
        for signal in (session.overlaid_changed, session.group_changed, session.places_changed,
                       session.analysis_changed, session.review_changed, session.history_changed,
                       self._components.made_changed, self._tabs.currentChanged,
                       page.axes_chosen, page.branches_chosen, page.doubtful_toggled):  # fmt: skip
            signal.connect(self.refresh)
        session.answered.connect(self._take)
        self._map.added.connect(session.toggle_overlaid)
        page.shown.connect(self._tick)
        page.chosen.connect(self._go_to)
        page.remove_wanted.connect(lambda key: session.remove_overlaid(*_pixel(key)))
        page.clear_wanted.connect(session.clear_overlaid)
        page.save_wanted.connect(self.save_wanted)

    def set_theme(self, theme: Theme) -> None:
        self._theme = theme
        self.page.set_theme(theme)
        self.refresh()

    # -- what is there --------------------------------------------------------------------------

    @property
    def in_front(self) -> bool:
        return self._tabs.currentWidget() is self.page

    def is_on(self, key: str) -> bool:
        """Whether a set is drawn: as it was ticked; before that all but regions."""
        return self._ticked.get(key, not key.startswith(REGION))

    def _find_sets(self) -> dict[str, Set]:
        """Components, regions and gathered pixels that there are."""
        session, found = self._session, []
        labels = self._places.labels()
        if labels is not None:
            composition = self._components.made.composition
            for k in range(composition.count):
                look = looks.look_of_component(k, self._theme)
                found.append(self._set(f"{COMPONENT} {k}", composition.title(k), look, labels == k))
        if session.group is not None:
            found.append(self._set(GROUP, "gathered pixels", looks.look_of_group(self._theme),
                                   session.group))  # fmt: skip
        for i, region in enumerate(self._places.places.regions):
            look = looks.look_of_region(i, region.name, self._theme)
            found.append(self._set(f"{REGION} {region.name}", region.name, look,
                                   self._places.mask(region)))  # fmt: skip
        return {one.key: one for one in found}

    def _set(self, key: str, name: str, look: looks.SetLook, mask: Array) -> Set:
        session = self._session
        index, trusted = session.map.index_map, session.analysis.trusted
        there = mask & (index >= 0)
        used = there if self.page.doubtful.isChecked() else there & trusted
        mark = (session.analysis, np.packbits(used).tobytes(), self.page.axes)
        return Set(key, name, look, index[used], mark, int(np.count_nonzero(there & ~used)))

    def _wanted(self) -> dict[str, Set]:
        return {key: one for key, one in self._sets.items() if self.is_on(key)}

    # -- keeping it up to date ------------------------------------------------------------------

    def refresh(self, *_: object) -> None:
        """See to it that the page is up to date, if it can be seen."""
        if self._wanting != self.in_front:
            self._wanting = self.in_front
            self._components.want("overlay", self.in_front)
        if not self.in_front:
            self._timer.stop()
            return
        session = self._session
        if session.map is None or session.analysis is None or not session.finished:
            self._timer.stop()
            self.page.show_waiting(bool(self.page.view.sets))
            if session.map is None or not self.page.view.sets:
                self._empty(NO_MAP if session.map is None else WAITING)
            return
        self._sets = self._find_sets()
        self.made = {k: e for k, e in self.made.items() if k in self._sets}
        self._show()
        missing = {k: one.mark for k, one in self._wanted().items()
                   if self._marks.get(k) != one.mark}  # fmt: skip
        if not missing or self._refused[0] == tuple(missing.values()) or self._lacking:
            self._timer.stop()
        elif self._asked is None or self._asked[1] != self._goal():
            self._timer.start()

    @property
    def _lacking(self) -> str:
        """Which constant is missing for these axes, in words; empty if none is."""
        return lacking(self._session.analysis, self.page.axes.y)

    def _goal(self) -> dict[str, Hashable]:
        return {k: one.mark for k, one in self._wanted().items()}

    def _ask(self) -> None:
        session = self._session
        if not (self.in_front and session.finished):
            return
        wanted, goal = self._wanted(), self._goal()
        known = {k: self.made[k] for k, mark in goal.items()
                 if k in self.made and self._marks.get(k) == mark}  # fmt: skip
        request = AskOverlay(session.analysis, self.page.axes,
                             {k: one.curves for k, one in wanted.items()}, known)  # fmt: skip
        self._asked = (session.submit(request), goal)

    def _take(self, answer: Answer) -> None:
        if not isinstance(answer.request, AskOverlay) or self._asked is None:
            return
        generation, goal = self._asked
        if answer.generation != generation:
            return
        if answer.final:
            self._asked = None
        if answer.error is not None:
            stopped = isinstance(answer.error, Cancelled)
            self._refuse(goal, STOPPED if stopped else str(answer.error))
        elif isinstance(answer.value, Refused):
            self._refuse(goal, answer.value.words)
            self._tell_fault(answer.value)
        else:
            self._refused = (None, "")
            self.made |= answer.value
            self._marks |= {k: goal[k] for k in answer.value}
        self.refresh()

    def _refuse(self, goal: dict[str, Hashable], words: str) -> None:
        missing = tuple(mark for k, mark in goal.items() if self._marks.get(k) != mark)
        self._refused = (missing, words)

    def _tell_fault(self, refused: Refused) -> None:
        """A fault of ours is told once."""
        if refused.fault is not None and refused.place not in self._told:
            self._told.add(refused.place)
            self._session.faulted.emit(refused.fault)

    def _forget(self) -> None:
        """Another map, or none."""
        self._asked, self._refused = None, (None, "")
        self._session.background.cancel(AskOverlay.lane)
        self._ticked.clear()
        self._sets, self.made, self._marks = {}, {}, {}
        self._empty(NO_MAP if self._session.map is None else WAITING)
        self.refresh()

    # -- what is shown --------------------------------------------------------------------------

    def _empty(self, words: str) -> None:
        axes = self.page.axes
        self.page.view.show_sets([], axes.x, axes.y, axes.align)
        self.page.show_entries([])
        self.page.show_can_save(False)
        self.page.say(words)

    def _show(self) -> None:
        page, axes = self.page, self.page.axes
        entries, drawn = self._singles()
        for key, one in self._sets.items():
            ensemble = self.made.get(key) if self._marks.get(key) == one.mark else None
            entries.append(Entry(key, one.look, _text(one, ensemble), self.is_on(key),
                                 tip=_tip(one, ensemble)))  # fmt: skip
            if ensemble is not None and self.is_on(key):
                drawn.append(drawn_ensemble(one.look, one.name, ensemble, page.branches))
        page.show_entries(entries)
        page.view.show_sets(drawn, axes.x, axes.y, axes.align)
        page.show_waiting(False)
        page.show_can_save(bool(drawn))
        on = any(e.on for e in entries)
        page.say(self._lacking or self._refused[1] or
                 ("" if drawn else WAITING_SETS if on else FEW))  # fmt: skip

    def _singles(self) -> tuple[list[Entry], list[Drawn]]:
        """The picked pixels: their lines of the list, and their curves."""
        session, lacks = self._session, self._lacking
        entries, drawn = [], []
        for i, (row, col) in enumerate(session.overlaid):
            look = looks.look_of_pick(i, self._theme)
            key, name = f"{PICK} {row} {col}", f"{look.letter}: row {row}, column {col}"
            curve, why = self._placed(row, col) if not lacks else (None, "")
            doubted = "" if session.analysis.trusted[row, col] else ", not trusted"
            text = f"{name}{doubted}" + (f" ({why})" if why else "")
            entries.append(Entry(key, look, text, self.is_on(key), True,
                                 "Ctrl + click the pixel again to take it out"))  # fmt: skip
            if curve is not None and self.is_on(key):
                drawn.append(drawn_curve(look, name, curve, self.page.branches))
        return entries, drawn

    def _placed(self, row: int, col: int) -> tuple[Any, str]:
        """The curve of a pixel on the axes, or None and why not."""
        session, axes = self._session, self.page.axes
        try:
            curve = placed(session.analysis, session.map.curve_at(row, col), x=axes.x, y=axes.y,
                           align=axes.align)  # fmt: skip
        except InputError as error:
            return None, str(error)
        return (None, curve.reason) if curve.reason else (curve, "")

    def _show_picks(self) -> None:
        """Letters of the picked pixels on the map."""
        picks = self._session.overlaid if self._session.map is not None else ()
        self._map.layers.show_picks([(looks.small_letter(i), row, col)
                                     for i, (row, col) in enumerate(picks)])  # fmt: skip

    # -- what the person does -------------------------------------------------------------------

    def _tick(self, key: str, on: bool) -> None:
        self._ticked[key] = on
        self._refused = (None, "")
        self.refresh()

    def _go_to(self, key: str) -> None:
        """A picked pixel that is chosen in the list is picked on the map."""
        if key.startswith(PICK):
            self._session.select(*_pixel(key))

    def table_text(self) -> str:
        """What is drawn as comma-separated values; empty if nothing is."""
        session, page = self._session, self.page
        if session.map is None or not page.view.sets:
            return ""
        ensembles = {_title(one): self.made[k] for k, one in self._wanted().items()
                     if self._marks.get(k) == one.mark}  # fmt: skip
        curves = {}
        for i, (row, col) in enumerate(session.overlaid):
            curve, _ = self._placed(row, col)
            if curve is not None and self.is_on(f"{PICK} {row} {col}"):
                curves[f"{PICK} {looks.small_letter(i)}: row {row}, column {col}"] = curve
        return table_text(page.axes, ensembles, curves, page.branches)



def _pixel(key: str) -> tuple[int, int]:
    row, col = key.split(" ")[1:]
    return int(row), int(col)


def _title(one: Set) -> str:
    """A set's name with what it is, since a region may be called as a component is."""
    return one.name if one.key == GROUP else f"{one.key.split(' ')[0]} {one.name}"


def _text(one: Set, ensemble: Any) -> str:
    """A set's name and how many curves are in what is drawn."""
    if ensemble is None:
        return f"{one.name}: {one.curves.size} curves"
    return f"{one.name}: {ensemble.words.rstrip('.')}"


def _tip(one: Set, ensemble: Any) -> str:
    said = [ensemble.words] if ensemble is not None else []
    if one.doubtful:
        said.append(f"{one.doubtful} pixels are not trusted or left out by hand, and not counted.")
    return " ".join(said)
