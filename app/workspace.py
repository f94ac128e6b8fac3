"""The views of a map, bound to the session: they show what it has and tell it what was done."""

from __future__ import annotations

import math
from contextlib import suppress
from typing import Any

import numpy as np
from PySide6.QtCore import QSettings, QSignalBlocker, Qt, Signal
from PySide6.QtWidgets import QSizePolicy, QSplitter, QTabWidget, QVBoxLayout, QWidget

from ..core.channels import CHANNELS
from ..core.corrections import problems
from ..core.curvereport import window_change
from .component_desk import ComponentDesk
from .component_views import ComponentViews
from .derived import Derived, DerivedBanner
from .effect_desk import EffectDesk
from .law_desk import LawDesk
from .map_doubts_desk import MapDoubtsDesk
from .overlay_desk import OverlayDesk
from .pack_desk import PackDesk
from .panels.components import ComponentsPanel
from .panels.doubts import DoubtsPanel
from .panels.law import LawPanel
from .panels.notices import MissingConstants, Notes
from .panels.places import PlacesPanel
from .panels.values import ValuesPanel
from .picture_desk import PictureDesk
from .places_desk import PlacesDesk
from .profile_desk import ProfileDesk
from .range_desk import RangeDesk
from .reference_desk import ReferenceDesk
from .rehearsal_desk import RehearsalDesk
from .report_desk import ReportDesk
from .review_desk import ReviewDesk
from .session import FIRST_CHANNEL, Session
from .shape_desk import ShapeDesk
from .surface_desk import SurfaceDesk
from .theme import Theme, shrink
from .views.channel_strip import ChannelStrip
from .views.curve_view import CurveView
from .views.map_view import MapView
from .walk import Walker


class Workspace(QWidget):
    """Map, channels and what belongs to the picked pixel or to all side by side, notices above
    them; `values`, `law`, `components`, `places` and `doubts` belong into docks.

    Signal marks_toggled(bool): the marks of doubt were switched on the map itself.
    """

    marks_toggled = Signal(bool)

    def __init__(self, session: Session, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._session = session
        self._given_up = False
        self._told: set[str] = set()  # problems of corrections
        self._memory = QSettings("palpate", "palpate")
        self.map, self.strip, self.curve = MapView(self), ChannelStrip(self), CurveView(self)
        self.values, self.law = ValuesPanel(), LawPanel()
        self.law_desk = LawDesk(session, self.law, parent=self)
        self.components = ComponentsPanel()
        self.component_desk = ComponentDesk(session, self.components, parent=self)
        self.shape_desk = ShapeDesk(session, self.component_desk, self.components, parent=self)
        self.surface_desk = SurfaceDesk(session, self.component_desk, parent=self)
        self.doubts = DoubtsPanel()
        self.review_desk = ReviewDesk(session, self.doubts, self.component_desk, parent=self)
        self.effect_desk = EffectDesk(session, self.doubts, self.review_desk, parent=self)
        self.map_doubts_desk = MapDoubtsDesk(session, self.doubts, self.review_desk, parent=self)
        self._derived: Derived | None = None  # shown in place of the channel
        self.banner = DerivedBanner(self)
        self.pack_desk = PackDesk(session, self.component_desk, self)
        self.report_desk = ReportDesk(session, self.component_desk, self)
        self.missing, self.notes = MissingConstants(session, self), Notes(self)
        self._lay_out()
        x = self._memory.value("axes/x", "z", type=str)
        y = self._memory.value("axes/y", "force", type=str)
        if x in ("z", "separation", "indentation") and y in ("force", "deflection"):
            self.curve.set_axes(x, y)
        self.component_views = ComponentViews(session, self.component_desk, self.map, self.views)
        self.picture_desk = PictureDesk(session, self.map, self.views, self.component_desk)
        self._listen()
        self.places = PlacesPanel()
        self.places_desk = PlacesDesk(session, self.places, self.map, self.component_desk, self)
        self.profile_desk = ProfileDesk(session, self.places_desk, self.views)
        self.range_desk = RangeDesk(session, self.component_desk, self.places_desk, self.views)
        self.overlay_desk = OverlayDesk(session, self.map, self.component_desk, self.places_desk,
                                        self.views)  # fmt: skip
        self.reference_desk = ReferenceDesk(session, self.component_desk, self.views)
        self.reference_desk.derived_changed.connect(self._show_against)
        self.reference_desk.line_changed.connect(
            lambda report, words: self.curve.show_other(report, words, "reference"))  # fmt: skip
        self.rehearsal_desk = RehearsalDesk(session, self.component_desk, self.views)
        self.walker = Walker(session.move, self._escape, self.map, self.curve, parent=self)
        self.show_map()

    def _lay_out(self) -> None:
        """Map and curve side by side, all channels below them: so the strip is as long as it can
        be, and both views keep a useful width in a window of 1280."""
        for button in (self.curve.fit_button, self.curve.contact_button):
            button.setToolButtonStyle(Qt.ToolButtonStyle.ToolButtonIconOnly)
        note = self.curve.note  # a long sentence must not make the view wider
        note.setSizePolicy(QSizePolicy.Policy.Ignored, note.sizePolicy().verticalPolicy())
        self.values.title.setWordWrap(True)
        self.map.setMinimumWidth(320)
        self.splitter = QSplitter(Qt.Orientation.Horizontal, self)
        self.views = QTabWidget(self)
        self.views.setDocumentMode(True)
        shrink(self.views.tabBar())  # eight pages beside the map
        self.views.addTab(self.curve, "Curve")
        self.splitter.addWidget(self.map)
        self.splitter.addWidget(self.views)
        self.splitter.setChildrenCollapsible(False)
        self.splitter.setStretchFactor(0, 1)
        self.splitter.setStretchFactor(1, 1)
        box = QVBoxLayout(self)
        box.setContentsMargins(0, 0, 0, 0)
        box.setSpacing(1)
        box.addWidget(self.missing)
        box.addWidget(self.notes)
        box.addWidget(self.report_desk.notice)
        box.addWidget(self.banner)
        box.addWidget(self.splitter, 1)
        box.addWidget(self.strip)

    def _listen(self) -> None:
        session = self._session
        session.map_changed.connect(self.show_map)
        session.channel_changed.connect(self.show_channel)
        session.analysis_changed.connect(self.show_analysis)
        session.selection_changed.connect(self.show_selection)
        session.review_changed.connect(self.show_review)
        for signal in (session.correcting_changed, session.group_changed):
            signal.connect(self._show_correcting)
        self.doubts.seen.connect(lambda _: self.show_review())
        self.doubts.decide.left.connect(self.map.setFocus)
        self.map_doubts_desk.told.connect(self.notes.add)
        for signal in (self.map_doubts_desk.found, session.review_changed):
            signal.connect(self._count_doubts)
        session.report_changed.connect(self.show_report)
        session.noted.connect(self.notes.add)
        self.map.picked.connect(session.select)
        self.map.limits_changed.connect(self._keep_limits)
        self.map.marks_toggled.connect(self.marks_toggled)
        self.strip.chosen.connect(self._choose_channel)
        self.surface_desk.derived_changed.connect(self._show_surface)
        self.banner.left.connect(self._leave_derived)
        self.law_desk.law_drawn.connect(self.curve.show_other)
        self.law_desk.contacts_marked.connect(self.curve.show_contacts)
        self.values.doubt_chosen.connect(self.curve.show_doubt)
        self.curve.axes_changed.connect(self._keep_axes)
        self.curve.window_dragging.connect(self._dragging)
        self.curve.window_dropped.connect(self._dropped)
        self.curve.contact_dragging.connect(self._dragging_contact)
        self.curve.contact_dropped.connect(self._dropped)

    # -- what is shown --------------------------------------------------------------------------

    def show_map(self) -> None:
        """Another map, or none: everything anew."""
        self.notes.clear()
        self._told.clear()
        if self._session.axes is not None:  # a file wants them; else they stay
            with suppress(ValueError), QSignalBlocker(self.curve):
                self.curve.set_axes(*self._session.axes)
        self._session.set_axes(*self._axes())
        fmap = self._session.map
        if fmap is not None:
            self.notes.add(*fmap.warnings)
        self.missing.show_missing()
        self.show_channel()
        self.show_selection()
        self.show_report(True)

    def _axes(self) -> tuple[str, str]:
        return self.curve.x_choice.currentData(), self.curve.y_choice.currentData()

    def show_channel(self) -> None:
        if self.surface_desk.picture:
            self.surface_desk.show_picture("")
        name = self._session.channel
        self._follow_reference()
        self._mark_channel()
        self._draw()
        if self.derived is not None:
            return
        low, high = self._session.limits(name) or (None, None)
        with QSignalBlocker(self.map):
            self.map.set_limits(low, high)

    def show_derived(self, derived: Derived | None) -> None:
        """Show a derived map until a channel is chosen; None goes back to the channel."""
        if derived is None and self._derived is None:
            return
        self._derived = derived
        self._mark_channel()
        self._draw()
        if derived is None:
            low, high = self._session.limits(self._session.channel) or (None, None)
            with QSignalBlocker(self.map):
                self.map.set_limits(low, high)

    def _show_surface(self, derived: Derived | None) -> None:
        if derived is not None:
            self.reference_desk.show_map("")
        self.show_derived(derived)

    def _show_against(self, derived: Derived | None) -> None:
        if derived is not None and self.surface_desk.picture:
            self.surface_desk.show_picture("")
        self.show_derived(derived)

    def _follow_reference(self) -> None:
        """A map against the reference follows the channel and the analysis."""
        if self.reference_desk.picture:
            self._derived = self.reference_desk.derived()

    def _leave_derived(self) -> None:
        self.surface_desk.show_picture("")
        self.reference_desk.show_map("")

    @property
    def derived(self) -> Derived | None:
        """The derived map that is shown; one of another analysis waits to be renewed."""
        derived = self._derived
        return derived if derived and derived.analysis is self._session.analysis else None

    def _mark_channel(self) -> None:
        """Mark the channel on the map in the strip; none while a map that is made of no single
        channel is shown."""
        with QSignalBlocker(self.strip):
            if self.derived is None or self.derived.follows:
                self.strip.set_current(self._session.channel)
            else:
                self.strip.cell.current = ""
                with QSignalBlocker(self.strip.list):
                    self.strip.list.setCurrentRow(-1)
                self.strip.list.viewport().update()

    def show_analysis(self) -> None:
        self.missing.show_missing()
        with QSignalBlocker(self.strip):
            self.strip.show_analysis(self._session.analysis)
        self._follow_reference()
        self._mark_channel()
        self._draw()
        self._tell_problems()

    def _tell_problems(self) -> None:
        """Tell, once each, corrections that do not fit the settings of the map any more."""
        analysis = self._session.analysis
        found = problems(analysis) if analysis is not None and self._session.finished else []
        self.notes.add(*(words for words in found if words not in self._told))
        self._told = set(found)

    def _draw(self) -> None:
        """The map: the chosen channel, or the recorded height while there is no analysis yet."""
        fmap, analysis = self._session.map, self._session.analysis
        if fmap is None:
            return
        name = self._session.channel
        if not CHANNELS[name].asked(self._session.settings):  # that law has no such channel
            self._session.choose_channel("modulus")
            return
        self.banner.show_derived(self.derived)
        if self.derived is not None:
            with QSignalBlocker(self.map):
                self.map.show_values(self.derived.values, fmap.x, fmap.y, self.derived.channel,
                                     fmap.has_scale, analysis.severe)  # fmt: skip
            return
        values, marks = np.full(fmap.shape, np.nan), None
        if analysis is not None:
            values, marks = analysis.preview(name), analysis.severe
        elif fmap.overview is not None:
            name, values = FIRST_CHANNEL, fmap.overview
        with QSignalBlocker(self.map):
            self.map.show_values(values, fmap.x, fmap.y, CHANNELS[name], fmap.has_scale, marks)
        self.show_review()

    def show_review(self) -> None:
        """The marks of doubts and decisions."""
        analysis, fmap = self._session.analysis, self._session.map
        if fmap is None:
            return
        doubted = severe = None
        if analysis is not None:
            doubted, severe = analysis.doubts != 0, analysis.severe
        with QSignalBlocker(self.map):
            self.map.show_review(self._session.review.kinds(fmap.shape), doubted, severe,
                                 mild=self.doubts.in_sight)  # fmt: skip

    def _show_correcting(self) -> None:
        """What the curve's handles hold for. A contact point is one pixel's alone."""
        session = self._session
        self.curve.set_correcting(session.targets().count if session.correcting else 0)

    def _count_doubts(self) -> None:
        self.doubts.show_counts(len(self._session.review.decisions),
                                len(self.map_doubts_desk.doubts))  # fmt: skip

    def show_selection(self) -> None:
        with QSignalBlocker(self.map):
            self.map.set_cursor(*(self._session.selection or (-1, -1)))

    def show_report(self, fresh: bool = False) -> None:
        report, note = self._session.report, self._session.note
        self.curve.show_report(report, reset_view=fresh)
        if report is None and note:
            self.curve.note.setText(note)
        self.values.show_report(report, note)

    def set_theme(self, theme: Theme) -> None:
        for part in (self.map, self.strip, self.curve, self.values, self.law, self.missing,
                     self.notes, self.banner, self.components, self.component_views, self.places,
                     self.profile_desk, self.overlay_desk, self.reference_desk,
                     self.picture_desk, self.doubts, self.rehearsal_desk,
                     self.range_desk, self.report_desk):  # fmt: skip
            part.set_theme(theme)
        self.views.setMinimumWidth(self.views.tabBar().sizeHint().width() + 2)  # no page is hidden

    # -- what the person does -------------------------------------------------------------------

    def _choose_channel(self, name: str) -> None:
        if self.surface_desk.picture:  # the very channel that it stands before may be chosen
            self.surface_desk.show_picture("")
        self._session.choose_channel(name)

    def _keep_limits(self, limits: Any) -> None:
        if self.derived is None:
            self._session.set_limits(self._session.channel, limits)

    def _dragging(self, z_from: float, z_to: float) -> None:
        if self._given_up or not (math.isfinite(z_from) and math.isfinite(z_to)):
            return
        if not self._session.dragging:
            self._session.begin_drag()
        self._preview(z_from, z_to)

    def _preview(self, z_from: float, z_to: float) -> None:
        report = self._session.report
        change: dict[str, Any] = window_change(report, z_from, z_to) if report is not None else {}
        if change:
            self._session.preview(change)

    def _dragging_contact(self, z0: float) -> None:
        """A hand has the contact point; only those pixels follow that are being corrected."""
        if self._given_up or not (math.isfinite(z0) and self._session.correcting):
            return
        if not self._session.dragging:
            self._session.begin_drag()
        self._session.preview({"fit.contact": "given", "fit.contact_at": round(z0, 3)})

    def _dropped(self, *z: float) -> None:
        given_up, self._given_up = self._given_up, False
        if given_up or not self._session.dragging:
            self.show_report()
            return
        self._session.commit("fit window" if len(z) > 1 else "contact point")
        self.show_report()  # the window stands where the settings put it

    def _escape(self) -> bool:
        """Esc in the middle of a drag gives it up; else it lets go what is gathered."""
        if not self._session.dragging or self.places_desk.dragging:
            idle = not self._session.dragging and not self.map.tools.tool  # Esc leaves a tool first
            if not idle or self._session.group is None:
                return False
            self._session.gather(None)
            return True
        self._given_up = True
        self._session.cancel_drag()
        return True

    def _keep_axes(self, x: str, y: str) -> None:
        self._session.set_axes(x, y)
        self._memory.setValue("axes/x", x)
        self._memory.setValue("axes/y", y)
