"""Histogram, joint histogram and map, linked: what is chosen in one is seen in the others.

They show the components that the desk has, in one colour, mark and name each. Pixels gathered in
one view, by a range, a polygon or a component, are seen in all; nothing is held here but what is a
matter of looking.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
from PySide6.QtCore import QObject
from PySide6.QtWidgets import QTabWidget

from ..core.channels import CHANNELS, asked_for
from ..core.components.rule import Axis, Gate, Rule, letter
from ..core.errors import SettingsError
from .component_desk import ComponentDesk
from .session import Session
from .theme import LIGHT, Theme
from .views.component_look import look_of
from .views.histogram_view import HistogramView
from .views.joint_view import JointView
from .views.map_view import MapView

Array = np.ndarray


class ComponentViews(QObject):
    """See the module. `tabs` gets the two histograms."""

    def __init__(self, session: Session, desk: ComponentDesk, map_view: MapView,
                 tabs: QTabWidget) -> None:  # fmt: skip
        super().__init__(tabs)
        self._session, self._desk, self._map, self._tabs = session, desk, map_view, tabs
        self._theme: Theme = LIGHT
        self._maps: tuple[Any, Any, Any] = (None, None, None)  # analysis, left out, core's Maps
        self.histogram, self.joint = HistogramView(), JointView()
        tabs.addTab(self.histogram, "Histogram")
        tabs.setTabToolTip(tabs.addTab(self.joint, "Joint"), "Joint histogram of two channels")
        self._listen()

    def _listen(self) -> None:
        session, desk = self._session, self._desk
        self._tabs.currentChanged.connect(self._in_front)
        for signal in (desk.made_changed, session.analysis_changed, session.rule_changed):
            signal.connect(self.refresh)
        session.selection_changed.connect(self.show_picked)
        session.group_changed.connect(self.show_group)
        session.map_changed.connect(self.refresh)
        self._map.tools.selected.connect(self._gather_on_map)
        desk.panel.find.look_chosen.connect(self._map.layers.set_component_look)
        h, j = self.histogram, self.joint
        h.threshold_dragged.connect(lambda i, value: self._drag_cut(i, value))
        h.threshold_dropped.connect(lambda i, value: self._drop_cut(i, value))
        h.threshold_added.connect(self._add_cut)
        h.threshold_removed.connect(self._remove_cut)
        h.range_selected.connect(self._gather_range)
        h.selection_cleared.connect(lambda: session.gather(None))
        h.log_toggled.connect(lambda on: self._want_axis(0, log=on))
        j.polygon_selected.connect(self._gather_polygon)
        j.selection_cleared.connect(lambda: session.gather(None))
        j.gate_drawn.connect(lambda v: self._want_gates([*session.rule.gates, _gate(v)], "gate"))
        j.gate_changed.connect(self._change_gate)
        j.gate_removed.connect(self._remove_gate)
        j.end_member_moved.connect(self._move_member)
        j.channels_chosen.connect(self._want_channels)
        j.log_toggled.connect(lambda axis, on: self._want_axis("xy".index(axis), log=on))

    # -- what is shown --------------------------------------------------------------------------

    def _in_front(self, *_: object) -> None:
        seen = self._tabs.currentWidget() in (self.histogram, self.joint)
        self._desk.want("histograms", seen)
        self.refresh()

    def core_maps(self) -> Any:
        """Core's `Maps` of the finished analysis without what is left out; None before."""
        session = self._session
        if not session.finished or session.map is None:
            return None
        analysis, left_out, maps = self._maps
        if analysis is not session.analysis or left_out != session.left_out:
            from ..core.components import Maps

            maps = Maps.of(session.analysis, session.left_out.mask(session.map.shape))
            self._maps = session.analysis, session.left_out, maps
        return maps

    def refresh(self, *_: object) -> None:
        """Renew what is in front, and the layer on the map."""
        if self._session.map is None:
            self.histogram.clear()
            self.joint.clear()
            return
        self._show_on_map()
        front = self._tabs.currentWidget()
        if front is self.histogram:
            self._show_histogram()
        elif front is self.joint:
            self._show_joint()

    def _labels(self) -> Array | None:
        """Labels of what is worked out; None if there is nothing."""
        made = self._desk.made
        held = made is not None and (self._desk.fits or self._session.dragging)
        return made.composition.labels if held else None

    def _names(self) -> tuple[str, ...]:
        made = self._desk.made
        return made.composition.names if made is not None else ()

    def _show_on_map(self) -> None:
        made, layers = self._desk.made, self._map.layers
        stale = not self._desk.fits and not self._desk.renewing
        if made is None or stale or made.composition.maps.shape != self._session.map.shape:
            layers.show_components(None, (), ())
            layers.show_left_out(None)
            return
        found = made.composition
        looks = [look_of(k, self._theme) for k in range(found.count)]
        layers.show_components(found.labels, [one.colour for one in looks],
                               [one.letter for one in looks])  # fmt: skip
        by_hand = self._session.left_out.mask(found.maps.shape)
        layers.show_left_out((found.maps.usable & ~found.labelled) | by_hand)

    def _show_histogram(self) -> None:
        maps, rule = self.core_maps(), self._session.rule
        if maps is None:
            self.histogram.clear(self._desk.reason)
            return
        axis, labels = rule.axes[0], self._labels()
        if axis.channel not in maps.values:
            self.histogram.clear(f"This analysis has no {CHANNELS[axis.channel].label.lower()}.")
            return
        usable = maps.usable
        self.histogram.show_values(
            maps.values[axis.channel][usable], _flat(labels, usable), CHANNELS[axis.channel],
            self._names(), log=axis.log, curves=self._densities(axis),
        )  # fmt: skip
        self.histogram.set_mode("thresholds" if rule.method == "thresholds" else "select")
        self.histogram.set_thresholds(rule.thresholds if rule.method == "thresholds" else ())
        self.show_group()
        self.show_picked()

    def _densities(self, axis: Axis) -> list[tuple[Array, Array]]:
        """(coordinate, density per unit of it, times the component's share) of each component."""
        made = self._desk.made
        if made is None or made.composition.model is None or axis not in made.composition.rule.axes:
            return []
        model, at = made.composition.model, made.composition.rule.axes.index(axis)
        found = []
        for k in range(model.count):
            centre, wide = model.means[k, at], math.sqrt(model.covariances[k, at, at])
            x = np.linspace(centre - 4.0 * wide, centre + 4.0 * wide, 121)
            y = model.weights[k] * np.exp(-0.5 * ((x - centre) / wide) ** 2)
            y /= wide * math.sqrt(2.0 * math.pi)
            found.append((10.0**x if axis.log else x, y))
        return found

    def _show_joint(self) -> None:
        maps, rule = self.core_maps(), self._session.rule
        if maps is None:
            self.joint.clear(self._desk.reason)
            return
        asked = asked_for(self._session.settings)
        self.joint.set_channels([asked[name] for name in maps.values if name in asked])
        one, other = self.joint_axes()
        lacking = [a.channel for a in (one, other) if a.channel not in maps.values]
        if lacking:
            self.joint.clear(f"This analysis has no {CHANNELS[lacking[0]].label.lower()}.")
            return
        usable = maps.usable
        self.joint.show_values(
            maps.values[one.channel][usable], maps.values[other.channel][usable],
            _flat(self._labels(), usable), CHANNELS[one.channel], CHANNELS[other.channel],
            self._names(), log_x=one.log, log_y=other.log,
        )  # fmt: skip
        made = self._desk.made
        self.joint.show_ellipses(made.composition.ellipses((one, other)) if made else [])
        self.joint.set_gates([(k, gate.vertices) for k, gate in enumerate(rule.gates)]
                             if rule.method == "gates" else [])  # fmt: skip
        self.joint.set_end_members(
            [(k, m.centre[0], m.centre[1]) for k, m in enumerate(rule.members)]
            if rule.method == "end_members" and len(rule.axes) > 1 else []
        )  # fmt: skip
        modes = {"gates": "gates", "end_members": "end members"}
        self.joint.set_mode(modes.get(rule.method, "select"))
        self.show_group()
        self.show_picked()

    def joint_axes(self) -> tuple[Axis, Axis]:
        """What the joint histogram shows: the rule's first two channels, or one beside it."""
        axes = self._session.rule.axes
        if len(axes) > 1:
            return axes[0], axes[1]
        other = "adhesion" if axes[0].channel != "adhesion" else "reduced_modulus"
        return axes[0], Axis.of(other)

    def show_group(self) -> None:
        """The gathered pixels, everywhere."""
        group, maps = self._session.group, self.core_maps()
        if self._session.map is not None:
            self._map.layers.show_selection(group)
        if maps is None:
            return
        flat = group[maps.usable] if group is not None else None
        front = self._tabs.currentWidget()
        if front is self.histogram:
            self.histogram.show_selection(flat)
        elif front is self.joint:
            self.joint.show_selection(flat)

    def show_picked(self) -> None:
        """Where the picked pixel lies in both histograms."""
        maps, at = self.core_maps(), self._session.selection
        if maps is None or at is None:
            return
        one, other = self.joint_axes()
        if any(axis.channel not in maps.values for axis in (one, other)):
            return
        self.histogram.show_pixel(float(maps.values[self._session.rule.axes[0].channel][at]))
        self.joint.show_pixel(float(maps.values[one.channel][at]),
                              float(maps.values[other.channel][at]))  # fmt: skip
        made = self._desk.made
        if made is not None and maps.shape == made.composition.labels.shape:
            number = int(made.composition.labels[at])
            self._desk.panel.find.choose(number)

    def set_theme(self, theme: Theme) -> None:
        self._theme = theme
        self.histogram.set_theme(theme)
        self.joint.set_theme(theme)
        if self._session.map is not None:
            self.refresh()

    # -- gathering ------------------------------------------------------------------------------

    def _gather_range(self, low: float, high: float) -> None:
        from ..core.components import in_range

        maps = self.core_maps()
        if maps is not None:
            self._session.gather(in_range(maps, self._session.rule.axes[0], low, high))

    def _gather_polygon(self, vertices: Any) -> None:
        from ..core.components import in_shape

        maps = self.core_maps()
        if maps is not None:
            self._session.gather(in_shape(maps, self.joint_axes(), _gate(vertices).vertices))

    def _gather_on_map(self, kind: str, points: Any, radius: float, how: str) -> None:
        """A shape drawn on the map: gathered anew, added or taken away."""
        from ..core.places import mask_of

        fmap, before = self._session.map, self._session.group
        mask = mask_of(shape_of(kind, points, radius), fmap.x, fmap.y)
        if how == "add" and before is not None:
            mask = mask | before
        elif how == "take away":
            mask = before & ~mask if before is not None else None
        self._session.gather(mask)

    # -- thresholds, gates, end members ---------------------------------------------------------

    def _cuts(self, index: int, value: float) -> Any:
        """The rule with one threshold moved, which can't pass its neighbours."""
        cuts = list(self._session.rule.thresholds)
        if not 0 <= index < len(cuts):
            return None
        low = cuts[index - 1] if index else -math.inf
        high = cuts[index + 1] if index + 1 < len(cuts) else math.inf
        above, below = math.nextafter(low, math.inf), math.nextafter(high, -math.inf)
        cuts[index] = min(max(value, above), below)
        return self._tried(thresholds=tuple(cuts))

    def _tried(self, **change: Any) -> Any:
        """The rule with a change; None, and told, if that is not possible."""
        return self._attempt(lambda rule: replace(rule, **change))

    def _attempt(self, change: Callable[[Rule], Rule]) -> Any:
        try:
            return change(self._session.rule)
        except SettingsError as error:
            self._session.noted.emit(error.what)
            return None

    def _drag_cut(self, index: int, value: float) -> None:
        session = self._session
        if not session.dragging:
            session.begin_drag()
        rule = self._cuts(index, value)
        if rule is not None:
            session.preview_work(replace(session.work, rule=rule))

    def _drop_cut(self, index: int, value: float) -> None:
        self._drag_cut(index, value)
        self._session.commit("threshold")
        self._desk.refresh()

    def _add_cut(self, value: float) -> None:
        self._want(self._attempt(lambda rule: rule.cut_at(value)), "threshold")

    def _remove_cut(self, index: int) -> None:
        self._want(self._attempt(lambda rule: rule.joined_at(index)), "removed threshold")

    def _want(self, rule: Any, words: str) -> None:
        if rule is not None:
            self._session.use_rule(rule, words)
        self.refresh()

    def _want_gates(self, gates: list[Gate], words: str) -> None:
        self._want(self._tried(gates=tuple(gates)), words)

    def _change_gate(self, index: int, vertices: Any) -> None:
        gates = list(self._session.rule.gates)
        gates[index] = _gate(vertices)
        self._want_gates(gates, f"gate {letter(index)}")

    def _remove_gate(self, index: int) -> None:
        gates = list(self._session.rule.gates)
        del gates[index]
        self._want_gates(gates, f"removed gate {letter(index)}")

    def _move_member(self, index: int, x: float, y: float) -> None:
        members = list(self._session.rule.members)
        centre = (x, y, *members[index].centre[2:])
        members[index] = replace(members[index], centre=centre)
        self._want(self._tried(members=tuple(members)), f"end member {letter(index)}")

    # -- channels -------------------------------------------------------------------------------

    def _want_channels(self, x: str, y: str) -> None:
        rule = self._session.rule
        old = {axis.channel: axis for axis in rule.axes}
        if x == y:
            self.refresh()
            return
        axes = tuple(old.get(name, Axis.of(name)) for name in (x, y))
        if [a.channel for a in axes] == [a.channel for a in rule.axes[:2]]:
            return
        self._want(self._tried(axes=axes, thresholds=(), gates=(), members=()),
                   "channels of the components")  # fmt: skip

    def _want_axis(self, which: int, log: bool) -> None:
        axes = list(self._session.rule.axes)
        if which < len(axes) and axes[which].log != log:
            axes[which] = replace(axes[which], log=log)
            self._want(self._tried(axes=tuple(axes)), "axis of the components")


def shape_of(kind: str, points: Any, radius: float) -> Any:
    """What was drawn on the map as a shape of core's."""
    from ..core.places import Brush, Polygon, Rectangle

    corners = tuple((float(x), float(y)) for x, y in points)
    if kind == "rectangle":
        return Rectangle(*corners[0], *corners[1])
    return Polygon(corners) if kind == "polygon" else Brush(((corners, float(radius)),))


def _flat(labels: Array | None, usable: Array) -> Array:
    """Labels of the usable pixels; -1 while there are none."""
    if labels is None or labels.shape != usable.shape:
        return np.full(int(np.count_nonzero(usable)), -1)
    return labels[usable]


def _gate(vertices: Any) -> Gate:
    return Gate(tuple((float(x), float(y)) for x, y in vertices))
