"""Binds the profile view to the chosen profile: channels, cursors, readings, the edge between them.

The shown channels alone are read along the line, at once, so that the profile follows the hand that
drags it. An edge is fitted when things rest.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from PySide6.QtCore import QObject
from PySide6.QtWidgets import QTabWidget

from ..core.channels import CHANNELS, asked_for
from ..core.components.rule import Axis
from ..core.places import Profile, Sampled, points_between, sample_analysis
from ..core.shapes import true_width
from .panels.place_lines import length_text
from .places_desk import PlacesDesk
from .session import Session
from .theme import LIGHT, Theme
from .views.component_look import look_of
from .views.profile_page import ProfilePage
from .views.profile_view import EMPTY_WORDS, reading_rows

try:
    from ..core.shapes import edge as edges
except ImportError:  # that room is not there: no button either
    edges = None  # type: ignore[assignment]

Array = np.ndarray
USUAL = ("", "adhesion", "height")
"""What is shown first; "" is the channel on the map."""
FINE = 200  # points of the line of a fitted edge
NOT_YET = "The profile follows when the map has been analysed."
CHOOSE = "Choose a profile in the panel Places, or draw one on the map."


class ProfileDesk(QObject):
    """See the module. `tabs` gets the page."""

    def __init__(self, session: Session, places: PlacesDesk, tabs: QTabWidget) -> None:
        super().__init__(tabs)
        self._session, self._places, self._tabs = session, places, tabs
        self._theme: Theme = LIGHT
        self.page = ProfilePage(USUAL)
        self.view = self.page.view
        self.page.edge_button.setVisible(edges is not None)
        self.sampled: Sampled | None = None
        self.edge: Any = None
        self._stale = False
        tabs.addTab(self.page, "Profile")
        self._listen()
        self._show_channels()
        self.refresh()

    def _listen(self) -> None:
        session, view = self._session, self.view
        session.settings_changed.connect(self._show_channels)
        session.map_changed.connect(self._show_channels)
        for signal in (session.places_changed, session.analysis_changed, session.channel_changed,
                       session.left_out_changed, session.map_changed, self._places.let_go,
                       self._places.chosen_changed, self._places.labels_changed,
                       self._tabs.currentChanged):  # fmt: skip
            signal.connect(self.refresh)
        self._places.drawn.connect(self._drawn)
        self.page.channels_chosen.connect(self.refresh)
        self.page.edge_toggled.connect(lambda _: self._show_edge())
        view.cursor_dragged.connect(self._cursor_moved)
        view.cursor_dropped.connect(self._cursor_dropped)

    # -- what is shown --------------------------------------------------------------------------

    @property
    def channels(self) -> tuple[str, ...]:
        """The channels that are shown, from top to bottom, each once."""
        asked = asked_for(self._session.settings)
        names = (name or self._session.channel for name in self.page.names)
        return tuple(dict.fromkeys(name for name in names if name in asked))

    @property
    def in_front(self) -> bool:
        return self._tabs.currentWidget() is self.page

    def _show_channels(self) -> None:
        self.page.show_channels(list(asked_for(self._session.settings).values()))

    def _drawn(self, kind: str) -> None:
        """A new profile comes to the front."""
        if kind == "profile":
            self._tabs.setCurrentWidget(self.page)

    def refresh(self, *_: object) -> None:
        """Read the chosen profile anew, if it can be seen."""
        if not self.in_front:
            return
        profile, analysis = self._places.profile, self._session.analysis
        self.page.edge_button.setEnabled(profile is not None)
        if self._session.map is None or profile is None or analysis is None:
            self._empty(EMPTY_WORDS if not self._places.places.profiles else
                        CHOOSE if profile is None else NOT_YET)  # fmt: skip
            return
        self.sampled = sample_analysis(profile, analysis, self.channels,
                                       left_out=self._places.left_out(),
                                       labels=self._places.labels())  # fmt: skip
        self._show(profile, self.sampled)

    def _empty(self, words: str) -> None:
        self.sampled = self.edge = None
        self.view.show_profile(np.empty(0), [])
        self.view.show_reading([])
        self.view.note.setText(words)

    def _show(self, profile: Profile, sampled: Sampled) -> None:
        count = 0
        if sampled.component is not None:
            count = int(max(sampled.component, default=-1)) + 1
        looks = [look_of(k, self._theme) for k in range(count)]
        title = f"{profile.name}  ({length_text(profile.length, sampled.unit)})"
        self.view.show_profile(
            sampled.distance, self._series(sampled), sampled.component, sampled.unit,
            [one.colour for one in looks], [one.letter for one in looks], title,
        )  # fmt: skip
        self.view.set_cursors(*self._places.cursors(profile))
        self._show_reading()
        if self._session.dragging:
            self.edge = None  # fitted again when the hand lets go
            self.view.note.setText(sampled.reason)
        else:
            self._show_edge()

    def _series(self, sampled: Sampled) -> list[tuple[Any, Array, Array]]:
        return [(CHANNELS[name], line.values, line.errors)
                for name, line in sampled.channels.items()]  # fmt: skip

    def _show_reading(self) -> None:
        profile, sampled = self._places.profile, self.sampled
        if profile is None or sampled is None or not sampled.distance.size:
            self.view.show_reading([])
            return
        a, b = self._places.cursors(profile)
        self.view.show_reading(reading_rows(sampled.distance, self._series(sampled), a, b,
                                            sampled.unit))  # fmt: skip

    def _show_edge(self) -> None:
        """Fit the edge of the upper channel between the cursors, if it is wanted."""
        profile, sampled = self._places.profile, self.sampled
        self.edge = None
        if profile is None or sampled is None:
            return
        wanted = edges is not None and self.page.edge_button.isChecked()
        if not (wanted and sampled.channels and sampled.distance.size):
            self.view.show_edge(None)
            self.view.note.setText(sampled.reason)
            return
        name = next(iter(sampled.channels))
        ends = self._places.cursors(profile)
        x, y, _ = points_between(sampled, name, *ends)
        # neighbouring points share pixels: the residuals judge the fit, not the points' errors
        self.edge = edges.fit_edge(x, y, log=Axis.of(name).log)
        if not math.isfinite(self.edge.sigma):
            self.view.show_edge(None)
            self.view.note.setText(f"No edge between A and B: {self.edge.reason}.")
            return
        fine = np.linspace(min(ends), max(ends), FINE)
        middle, half = self.edge.position, self.edge.width_10_90 / 2
        words = self.words_of(self.edge, sampled, ends)
        self.view.show_edge(fine, self.edge.at(fine), words, (middle - half, middle + half))

    def words_of(self, edge: Any, sampled: Sampled, ends: tuple[float, float]) -> str:
        """What a fitted edge tells, and what the contact leaves of its width."""
        unit = sampled.unit
        error = edge.sigma_error / edge.sigma * edge.width_10_90
        spread = f" ± {error:.2g}" if math.isfinite(error) else ""
        words = f"Edge at {edge.position:.4g} {unit}, 10–90 % within "
        words += f"{edge.width_10_90:.3g}{spread} {unit}"
        if not edge.resolved:
            return f"{words}: an upper bound, narrower than the points are apart."
        if unit != "nm":
            return f"{words}."
        found = true_width(edge.sigma, self._contact_radius(ends))
        return f"{words}, σ {edge.sigma:.3g} nm. {found.words}"

    def _contact_radius(self, ends: tuple[float, float]) -> float:
        """Median contact radius √(R δ) at the peak between the cursors [nm]; NaN if the tip has no
        radius or no indentation is known."""
        analysis, profile = self._session.analysis, self._places.profile
        radius = analysis.constants.radius
        if profile is None or not radius > 0.0:
            return math.nan
        read = sample_analysis(profile, analysis, ("indentation",),
                               left_out=self._places.left_out())  # fmt: skip
        depth = points_between(read, "indentation", *ends)[1]
        depth = depth[depth > 0.0]
        return float(np.sqrt(radius * np.median(depth))) if depth.size else math.nan

    def set_theme(self, theme: Theme) -> None:
        self._theme = theme
        self.page.set_theme(theme)
        self.refresh()

    # -- what the person does -------------------------------------------------------------------

    def _cursor_moved(self, which: str, distance: float) -> None:
        self._places.set_cursor(which, distance)
        self._show_reading()

    def _cursor_dropped(self, which: str, distance: float) -> None:
        self._cursor_moved(which, distance)
        self._show_edge()
