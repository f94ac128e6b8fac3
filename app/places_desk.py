"""Binds regions and profiles to the session: what is drawn on the map, the panel *Places*, and the
statistics of regions.

Which place is chosen, and where the cursors of a profile stand, is a matter of looking and is kept
here; everything else is in the session's history, one act an edit. Statistics are worked out on the
worker once things have rested for a moment, and only while the panel is in sight.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable
from dataclasses import replace
from typing import Any

import numpy as np
from PySide6.QtCore import QObject, QTimer, Signal

from ..core.channels import asked_for
from ..core.errors import SettingsError
from ..core.places import OfComponent, Places, Profile, Region, mask_of
from .component_desk import ComponentDesk
from .component_views import shape_of
from .law_calls import Refused
from .panels.places import PlacesPanel
from .place_calls import AskStatistics
from .place_marks import mark_of_profile, mark_of_region
from .recompute import Answer
from .session import Session
from .views.map_view import MapView

Array = np.ndarray
SETTLE = 150  # ms that places and analysis must rest
NOT_YET = "Statistics follow when the map has been analysed."
NO_LABELS = "The components that this region follows are not worked out yet."


class PlacesDesk(QObject):
    """See the module.

    Signals
    -------
    chosen_changed : another place is chosen, or none
    labels_changed : the components are others
    let_go : a hand let go of a place
    drawn(kind) : the person drew a "region" or a "profile"
    """

    chosen_changed = Signal()
    labels_changed = Signal()
    let_go = Signal()
    drawn = Signal(str)

    def __init__(self, session: Session, panel: PlacesPanel, map_view: MapView,
                 components: ComponentDesk, parent: QObject | None = None) -> None:  # fmt: skip
        super().__init__(parent)
        self._session, self.panel, self._map = session, panel, map_view
        self._components = components
        self.chosen = ""
        self._ends: dict[str, tuple[float, float]] = {}  # cursors, as shares of the length
        self._names: tuple[str, ...] = ()
        self._following = False  # some region needs components
        self._before: Places | None = None  # while a hand drags: what was there
        self._asked: tuple[int, Hashable] | None = None
        self._shown: Hashable = None
        self._timer = QTimer(self, singleShot=True, interval=SETTLE)
        self._timer.timeout.connect(self._ask)
        self._listen()
        self.refresh()

    def _listen(self) -> None:
        session, tools, panel = self._session, self._map.tools, self.panel
        session.map_changed.connect(self._forget)
        session.places_changed.connect(self.refresh)
        self._components.made_changed.connect(self._labels_moved)
        for signal in (session.analysis_changed, session.left_out_changed):
            signal.connect(self.renew_statistics)
        session.settings_changed.connect(self._show_channels)
        session.answered.connect(self._take)
        tools.region_drawn.connect(self._draw_region)
        tools.region_dragged.connect(lambda k, p, r: self._drag(region=(k, p, r)))
        tools.region_changed.connect(lambda k, p, r: self._drop(region=(k, p, r)))
        tools.profile_drawn.connect(self._draw_profile)
        tools.profile_dragged.connect(lambda p, w: self._drag(profile=(p, w)))
        tools.profile_changed.connect(lambda p, w: self._drop(profile=(p, w)))
        panel.chosen.connect(self.choose)
        panel.renamed.connect(self.rename)
        panel.noted.connect(lambda note: self._edit("note of a place", note=note))
        panel.width_given.connect(self._give_width)
        panel.removed.connect(self.remove)
        panel.component_wanted.connect(self._add_component)
        panel.refused.connect(session.failed)
        panel.asked.connect(self.renew_statistics)
        panel.seen.connect(lambda _: self.renew_statistics())

    # -- what is there --------------------------------------------------------------------------

    @property
    def places(self) -> Places:
        """Of the present map; empty if there are none."""
        return self._session.places or Places(unit=self.unit)

    @property
    def unit(self) -> str:
        """Of all lengths: "nm", or "pixel" on a map without a scale."""
        fmap = self._session.map
        return "nm" if fmap is None or fmap.has_scale else "pixel"

    @property
    def place(self) -> Any:
        """The chosen `Region` or `Profile`; None if there is none."""
        return next((one for one in self.places.all if one.name == self.chosen), None)

    @property
    def profile(self) -> Profile | None:
        """The chosen profile."""
        return self.place if isinstance(self.place, Profile) else None

    @property
    def dragging(self) -> bool:
        """Whether a hand has hold of a place."""
        return self._before is not None

    def labels(self) -> Array | None:
        """The component of each pixel, if components belong to what is shown."""
        made, session = self._components.made, self._session
        if made is None or session.map is None:
            return None
        found = made.composition
        fits = found.maps.source is session.analysis and found.labels.shape == session.map.shape
        return found.labels if fits else None

    def left_out(self) -> Array:
        """Pixels left out by hand, bool (rows, cols)."""
        return self._session.left_out.mask(self._session.map.shape)

    def mask(self, region: Region) -> Array:
        """The pixels of a region, bool (rows, cols)."""
        return mask_of(region, self._session.map.x, self._session.map.y, self.labels())

    def cursors(self, profile: Profile) -> tuple[float, float]:
        """Distances of the cursors of a profile from its start."""
        a, b = self._ends.get(profile.name, (0.25, 0.75))
        return a * profile.length, b * profile.length

    def set_cursor(self, which: str, distance: float) -> None:
        """A cursor of the chosen profile stands elsewhere."""
        profile = self.profile
        if profile is None or not profile.length > 0.0:
            return
        ends = list(self._ends.get(profile.name, (0.25, 0.75)))
        ends["AB".index(which)] = min(max(distance / profile.length, 0.0), 1.0)
        self._ends[profile.name] = (ends[0], ends[1])
        self._show_marks()

    # -- what is shown --------------------------------------------------------------------------

    def refresh(self) -> None:
        """Map and panel show what the session has."""
        self._keep_chosen()
        follows = any(_follows(region) for region in self.places.regions)
        if follows != self._following:
            self._following = follows
            self._components.want("places", follows)
        self._show_marks()
        self.panel.show_places(self.places, self.chosen, self._session.map is not None)
        self.renew_statistics()

    def _keep_chosen(self) -> None:
        """The chosen place under the name that it has now, if undo gave it another."""
        before, now = self._names, self.places.names
        self._names = now
        if self.place is None and self.chosen:
            same = len(before) == len(now) and self.chosen in before
            self.chosen = now[before.index(self.chosen)] if same else ""
            self.chosen_changed.emit()

    def _show_marks(self) -> None:
        if self._session.map is None:
            return
        layers, places = self._map.layers, self.places
        layers.show_regions([mark_of_region(r, r.name == self.chosen, self.mask)
                             for r in places.regions])  # fmt: skip
        layers.show_profiles([mark_of_profile(p, p.name == self.chosen, self.cursors(p))
                              for p in places.profiles])  # fmt: skip

    def _labels_moved(self) -> None:
        """Regions that follow a component get other pixels."""
        made = self._components.made
        composition = made.composition if made is not None else None
        self.panel.show_components(composition.names if composition is not None else ())
        if any(_follows(region) for region in self.places.regions):
            self._show_marks()
            self.renew_statistics()
        self.labels_changed.emit()

    def _show_channels(self) -> None:
        if self._session.map is not None:
            self.panel.show_channels(list(asked_for(self._session.settings).values()),
                                     self._session.channel)  # fmt: skip

    def _forget(self) -> None:
        """Another map, or none."""
        self._before, self.chosen, self._shown, self._asked = None, "", None, None
        self._ends.clear()
        self._session.background.cancel(AskStatistics.lane)
        self._map.tools.choose("")
        self._map.tools.set_width(0.0)
        self._show_channels()
        self.refresh()
        self.chosen_changed.emit()

    def choose(self, name: str) -> None:
        """Hold a place: it gets handles on the map, and its numbers are shown."""
        if name == self.chosen:
            return
        self.chosen = name
        self._show_marks()
        self.panel.show_places(self.places, self.chosen, self._session.map is not None)
        self.renew_statistics()
        self.chosen_changed.emit()

    # -- what the person does -------------------------------------------------------------------

    def _change(self, words: str, change: Callable[[Places], Places], merge: str = "") -> bool:
        """One act; an impossible one is told and nothing changes."""
        try:
            changed = change(self.places)
        except SettingsError as error:
            self._session.failed.emit(error.what)
            self.panel.show_places(self.places, self.chosen, self._session.map is not None)
            return False
        return self._session.use_places(changed if len(changed) else None, words, merge)

    def _draw_region(self, kind: str, points: Any, radius: float) -> None:
        self._add("region", lambda name: Region(name, shape_of(kind, points, radius)))

    def _draw_profile(self, points: Any, width: float) -> None:
        corners = tuple(map(tuple, np.asarray(points, float).tolist()))
        self._add("profile", lambda name: Profile(name, corners, width))

    def _add_component(self, number: int) -> None:
        made = self._components.made
        name = made.composition.names[number] if made is not None else ""
        self._add("region", lambda free: Region(free, OfComponent(number, name)))

    def _add(self, kind: str, make: Callable[[str], Any]) -> None:
        name = ""

        def added(places: Places) -> Places:
            nonlocal name
            name = places.free_name(kind.capitalize())
            return places.add(make(name))

        if self._change(f"new {kind}", added):
            self.choose(name)
            self.drawn.emit(kind)

    def _moved(self, region: Any, profile: Any) -> Places | None:
        """The places with the chosen one as the hand has it."""
        place = self.place
        if isinstance(place, Region) and region is not None:
            changed: Any = replace(place, shape=shape_of(*region))
        elif isinstance(place, Profile) and profile is not None:
            corners = tuple(map(tuple, np.asarray(profile[0], float).tolist()))
            changed = replace(place, points=corners, width=profile[1])
        else:
            return None
        return self.places.replace(place.name, changed)

    def _drag(self, region: Any = None, profile: Any = None) -> None:
        try:
            moved = self._moved(region, profile)
        except SettingsError:
            return
        if moved is None:
            return
        if self._before is None:
            self._before = self.places
            self._session.begin_drag()
        self._session.preview_work(replace(self._session.work, places=moved))

    def _drop(self, region: Any = None, profile: Any = None) -> None:
        """The hand let go, or another corner was added at once."""
        before, kind = self._before, "region" if region is not None else "profile"
        self._drag(region, profile)
        self._before = None
        if not self._session.dragging:
            return
        if self.places == before:
            self._session.cancel_drag()
        else:
            self._session.commit(f"{kind} moved")
        if self.profile is not None:
            self._map.tools.set_width(self.profile.width)
        self.refresh()
        self.let_go.emit()

    def rename(self, old: str, new: str) -> None:
        """Give a place another name."""
        ends = self._ends.get(old)
        chosen = self.chosen
        if chosen == old:
            self.chosen = new  # before the places change, so that it stays chosen
        if not self._change("name of a place", lambda places: places.rename(old, new)):
            self.chosen = chosen
            self.refresh()
            return
        if ends is not None:
            self._ends[new] = ends
        self._show_marks()
        self.chosen_changed.emit()

    def _edit(self, words: str, merge: str = "", **changed: Any) -> None:
        place = self.place
        if place is not None:
            self._change(words, lambda all_: all_.replace(place.name, replace(place, **changed)),
                         merge)  # fmt: skip

    def _give_width(self, width: float, stepped: bool) -> None:
        name = self.chosen
        self._edit("width of a profile", f"width {name}" if stepped else "", width=width)
        if self.profile is not None:
            self._map.tools.set_width(self.profile.width)

    def remove(self, name: str) -> None:
        """Take a place away; the next one in the list is chosen."""
        names = list(self.places.names)
        at = names.index(name) if name in names else -1
        if self._change("removed place", lambda places: places.remove(name)):
            left = [n for n in names if n != name]
            self.choose(left[min(at, len(left) - 1)] if left else "")

    def use_file(self, places: Places, words: str) -> str:
        """Take the places of a file in place of the present ones; what is wrong, "" if nothing."""
        fmap = self._session.map
        misfit = places.misfit(fmap.has_scale)
        if misfit:
            return misfit
        self._change(words, lambda _: places)
        return ""

    # -- statistics -----------------------------------------------------------------------------

    def pair(self) -> list[Region]:
        """The chosen region, and the one it is compared with."""
        first = self.place
        if not isinstance(first, Region):
            return []
        other = next((r for r in self.places.regions if r.name == self.panel.other
                      and r is not first), None)  # fmt: skip
        return [first, other] if other is not None else [first]

    def _key(self) -> Hashable:
        session = self._session
        labels = self.labels() if any(map(_follows, self.pair())) else None
        return (id(session.analysis), session.finished, session.left_out, tuple(self.pair()),
                self.panel.channel, id(labels))  # fmt: skip

    def renew_statistics(self) -> None:
        """See to it that the statistics are up to date, in a moment."""
        session = self._session
        self._timer.stop()
        if not self.pair() or session.map is None:
            self._shown = None
            self.panel.show_statistics([], {}, "")
        elif not session.finished:
            self._shown = None
            self.panel.show_statistics([], {}, NOT_YET)
        elif self._key() != self._shown and self.panel.in_sight:
            self.panel.show_waiting()
            self._timer.start()

    def _ask(self) -> None:
        session, pair = self._session, self.pair()
        if session.map is None or not session.finished or not pair or session.dragging:
            return
        key = self._key()
        if any(map(_follows, pair)) and self.labels() is None:
            self._shown = key
            self.panel.show_statistics([], {}, self._components.reason or NO_LABELS)
            return
        masks = [(region.name, self.mask(region)) for region in pair]
        request = AskStatistics(session.analysis, masks, self.panel.channel, self.left_out())
        self._asked = (session.submit(request), key)

    def _take(self, answer: Answer) -> None:
        if not isinstance(answer.request, AskStatistics) or self._asked is None:
            return
        generation, key = self._asked
        if answer.generation != generation or not answer.final:
            return
        self._asked = None
        if key != self._key():
            return
        self._shown = key
        if answer.error is not None:
            self.panel.show_statistics([], {}, str(answer.error))
        elif isinstance(answer.value, Refused):
            self.panel.show_statistics([], {}, answer.value.words)
            if answer.value.fault is not None:
                self._session.faulted.emit(answer.value.fault)
        else:
            self.panel.show_statistics(*answer.value, "")


def _follows(region: Any) -> bool:
    """Whether a region's pixels depend on the components."""
    shape = region.shape
    parts = (*getattr(shape, "added", ()), *getattr(shape, "taken", ()), shape)
    return any(isinstance(part, OfComponent) for part in parts)


