"""Binds the page *Surface* to the session, and what it shows to the map.

The surface is looked at on the worker, step by step, once analysis, components and levelling have
rested for a moment, and only while the page is in sight or the map shows something of it. Parts
that do not depend on what changed are kept.
"""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import replace
from typing import Any

from PySide6.QtCore import QObject, QTimer, Signal

from ..core.channels import CHANNELS
from ..core.errors import Cancelled
from ..core.surface.levelling import Levelling
from .component_desk import NO_MAP, NOT_YET, STOPPED, ComponentDesk
from .derived import Derived, channel_of
from .panels.surface_page import CORRECTED, SurfacePage
from .recompute import Answer
from .session import Session
from .surface_calls import AskSurface, Options, Refused, Subject, Surface, lettered

SETTLE = 150  # ms that what it depends on must rest
WAITING = "The surface follows when the map has been analysed."


class SurfaceDesk(QObject):
    """See the module.

    Signals
    -------
    derived_changed(Derived or None) : what the map is to show in place of the channel
    """

    derived_changed = Signal(object)

    def __init__(self, session: Session, components: ComponentDesk,
                 parent: QObject | None = None) -> None:  # fmt: skip
        super().__init__(parent)
        self._session, self._components = session, components
        self.page: SurfacePage = components.panel.surface
        self.surface: Surface | None = None
        self.picture = ""  # what the map shows, as the page names it
        self._shown: Hashable = None
        self._asked: tuple[int, Hashable] | None = None  # generation, key
        self._told: set[str] = set()
        self._timer = QTimer(self, singleShot=True, interval=SETTLE)
        self._timer.timeout.connect(self._ask)
        self._listen()

    def _listen(self) -> None:
        session, page, panel = self._session, self.page, self._components.panel
        session.map_changed.connect(self._forget)
        session.history_changed.connect(self._decided)
        for signal in (session.analysis_changed, session.left_out_changed, panel.asked,
                       panel.seen, self._components.made_changed):  # fmt: skip
            signal.connect(self.refresh)
        session.answered.connect(self._take)
        page.levelling_edited.connect(self._level)
        page.options_edited.connect(lambda _: self.refresh())
        page.refused.connect(session.failed)
        page.picture_wanted.connect(self.show_picture)
        page.steep_wanted.connect(self._gather_steep)

    # -- what is wanted -------------------------------------------------------------------------

    @property
    def wanted(self) -> bool:
        panel = self._components.panel
        return bool(self.picture) or (panel.in_sight and panel.page == "surface")

    def _composition(self) -> Any:
        """The components of the present analysis; None if there are none."""
        made = self._components.made
        fits = made is not None and made.composition.maps.source is self._session.analysis
        return made.composition if fits else None

    def _keys(self) -> dict[str, Hashable]:
        """Part -> what it depends on; equal keys mean equal numbers."""
        session, options = self._session, self.page.options
        found = self._composition()
        made = (id(found.labels), id(found.kinds), found.names) if found is not None else None
        base = (id(session.map), id(session.analysis), session.left_out, made,
                session.work.levelling)  # fmt: skip
        return {
            "levelled": base,
            "roughness": (base, options.whom, options.short, options.long),
            "slopes": (base, options.smoothing, options.limit),
            "heights": base,
            "findings": (base, options.smoothing),
        }

    def _key(self) -> Hashable:
        return tuple(self._keys().values())

    def _decided(self) -> None:
        self.page.form.show_levelling(self._session.work.levelling)
        self.refresh()

    def refresh(self, *_: object) -> None:
        """See to it that what is shown is up to date, in a moment."""
        session = self._session
        if not self.wanted or session.map is None:
            self._timer.stop()
            return
        if not session.finished:
            self._timer.stop()
            self.page.show_waiting()
            if self.surface is None:
                self.page.show_reason(WAITING)
            return
        key = self._key()
        if key == self._shown:
            self._timer.stop()
            self.page.show_again()
        elif self._asked is None or self._asked[1] != key:
            self.page.show_waiting()
            self._timer.start()

    def _ask(self) -> None:
        session = self._session
        if not (self.wanted and session.finished) or session.dragging:
            return
        found = self._composition()
        if found is None and self._components.reason in ("", NOT_YET, NO_MAP):
            return  # the components are on their way
        self._fit_options(found)
        key = self._key()
        subject = Subject.of(session.analysis, session.left_out.mask(session.map.shape), found)
        request = AskSurface(subject, session.work.levelling, self.page.options, self._keys(),
                             self.surface)  # fmt: skip
        self._asked = (session.submit(request), key)

    def _fit_options(self, found: Any) -> None:
        """A component that is not there any more has no roughness: back to the whole surface."""
        options = self.page.options
        count = found.count if found is not None else 0
        if options.whom is not None and options.whom >= count:
            self.page.show_options(replace(options, whom=None))

    # -- answers --------------------------------------------------------------------------------

    def _take(self, answer: Answer) -> None:
        if not isinstance(answer.request, AskSurface) or self._asked is None:
            return
        generation, key = self._asked
        if answer.generation != generation:
            return
        if answer.final:
            self._asked = None
        if key != self._key():
            return  # the person has gone on; what is wanted now is on its way
        if answer.error is not None:
            self._fail(STOPPED if isinstance(answer.error, Cancelled) else str(answer.error), key)
        elif isinstance(answer.value, Refused):
            self._fail(answer.value.words, key)
            self._tell_fault(answer.value)
        else:
            self._show(answer.value, key)

    def _show(self, surface: Surface, key: Hashable) -> None:
        if surface.whole:
            self._shown = key
        self.surface = surface
        self.page.show_surface(surface)
        if self.picture and (surface.whole or not self.picture.startswith(CORRECTED)):
            self._draw()

    def _fail(self, words: str, key: Hashable = None) -> None:
        self._shown, self.surface = key, None
        self.page.show_reason(words)
        self._leave()

    def _tell_fault(self, refused: Refused) -> None:
        """A fault of ours is told once."""
        if refused.fault is not None and refused.place not in self._told:
            self._told.add(refused.place)
            self._session.faulted.emit(refused.fault)

    def _forget(self) -> None:
        """Another map, or none."""
        self._asked = None
        self._session.background.cancel(AskSurface.lane)
        fmap = self._session.map
        self._fail(WAITING if fmap is not None else NO_MAP)
        self.page.show_components(())
        self.page.show_options(Options())
        self.page.form.show_levelling(self._session.work.levelling)
        if fmap is not None:
            self.page.set_unit("nm" if fmap.has_scale else "pixels")
        self.refresh()

    # -- on the map -----------------------------------------------------------------------------

    def show_picture(self, name: str) -> None:
        """Show something of the surface in place of the channel; "" for the channel."""
        self.picture = name
        self._components.want("surface", bool(name))
        self.page.show_picture(name)
        self._draw()
        self.refresh()

    def _leave(self) -> None:
        if self.picture:
            self.show_picture("")

    def _draw(self) -> None:
        """Tell what the map is to show; a correction that is not there any more goes."""
        derived = derived_of(self.surface, self.picture)
        if self.picture and derived is None and self.surface is not None and self.surface.whole:
            self._session.noted.emit("The map shows the channel again: there is nothing to "
                                     "correct any more.")  # fmt: skip
            self._leave()
            return
        self.derived_changed.emit(derived)

    # -- what the person does -------------------------------------------------------------------

    def _level(self, levelling: Levelling | None, words: str) -> None:
        session = self._session
        session.decide(replace(session.work, levelling=levelling), words)

    def _gather_steep(self) -> None:
        if self.surface is not None and self.surface.slopes is not None:
            self._session.gather(self.surface.slopes.steep)


def derived_of(surface: Surface | None, picture: str) -> Derived | None:
    """The map that a picture of the page stands for; None if it is not there."""
    if surface is None or not picture:
        return None
    analysis, levelled, words = surface.subject.analysis, surface.levelled, surface.words
    if picture == "levelled":
        channel = channel_of("levelled_height", "Levelled height", "h", "nm",
                             "height at the peak force, less what was taken off", "height")
        return Derived(channel, levelled.values, words, analysis)
    if picture == "removed":
        channel = channel_of("removed_height", "Taken off the height", "Δh", "nm",
                             "what was taken off the height", "height")
        return Derived(channel, levelled.removed, words, analysis)
    if picture == "slope":
        return _slope(surface)
    name = picture.removeprefix(CORRECTED)
    made, own = surface.corrected.get(name), CHANNELS[name]
    if made is None:
        return None
    channel = channel_of(f"corrected_{name}", f"{own.label}, corrected", own.symbol, own.unit,
                         "the channel without what follows the surface", own.kind)  # fmt: skip
    return Derived(channel, made.values, lettered(made.words), analysis)


def _slope(surface: Surface) -> Derived | None:
    slopes, subject = surface.slopes, surface.subject
    if slopes is None:
        return None
    values, unit = slopes.slope, "°"
    if not subject.scaled:
        import numpy as np

        values, unit = np.hypot(slopes.along_x, slopes.along_y), ""
    channel = channel_of("slope", "Slope" if unit else "Slope (nm a pixel)", "θ", unit,
                         "angle of the levelled heights against the level")  # fmt: skip
    words = f"{surface.words} {slopes.words if unit else ''}"
    return Derived(channel, values, words.strip(), subject.analysis)
