"""Tools that take the left mouse button on a map while they are chosen.

Without a tool the map is looked at: a drag moves it, a click picks a pixel. With one, the middle
button or the space bar with the left one still move it, and the wheel zooms. Esc gives up what is
being drawn, and leaves the tool if nothing is. The handles of the profile or region that is held
can be dragged without a tool, and with that of their kind.

Shift adds to a selection; Alt, or Ctrl where the desktop keeps Alt, takes away from it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from PySide6.QtCore import QEvent, QObject, QPointF, Qt, Signal
from PySide6.QtGui import QKeyEvent, QMouseEvent, QWheelEvent

from ..theme import Theme
from .map_places import Handle, Mark, ProfileMark, RegionMark, moved
from .map_pointing import REACH, Point, Pointing
from .map_sketch import Sketch

if TYPE_CHECKING:
    from .map_view import MapView

Array = np.ndarray
NEW, ADD, TAKE = "new", "add", "take away"
CLICK = 4.0
"""A press that moves less than this on the screen [px] is a click."""
STEP = 1.25
"""The brush grows and shrinks by this factor."""
Button, Key, Shape = Qt.MouseButton, Qt.Key, Qt.CursorShape


@dataclass(frozen=True)
class Tool:
    """What a tool is for ("select", "region", "profile", "landmark", "divider"), the shape that is
    drawn with it, and the pointer that tells it."""

    purpose: str
    shape: str
    pointer: Qt.CursorShape = Shape.CrossCursor


TOOLS = {f"{purpose} {shape}": Tool(purpose, shape) for purpose in ("select", "region")
         for shape in ("rectangle", "polygon", "brush")}  # fmt: skip
TOOLS |= {"profile": Tool("profile", "line"),
          "landmark": Tool("landmark", "point", Shape.PointingHandCursor),
          "divider": Tool("divider", "point", Shape.SplitHCursor)}  # fmt: skip


class MapTools(QObject):
    """The tools of one map view. Points are x, y in nm, or pixel numbers without a scale.

    Signals, each only for what the person did
    ------------------------------------------
    selected(kind, points, radius, how) : a shape was drawn to select with: "rectangle" (two
        opposite corners), "polygon" or "brush" (a path); points (n, 2); how is "new", "add" or
        "take away"
    region_drawn(kind, points, radius) : the same for a region
    region_dragged(kind, points, radius), region_changed(...) : a handle of the held region is being
        dragged, and was let go
    profile_drawn(points, width) : a new profile
    profile_dragged(points, width), profile_changed(points, width) : a handle of the held profile is
        being dragged, and was let go; or it got another corner
    landmark_placed(x, y) : a place was clicked
    radius_changed(radius) : the brush was made larger or smaller
    tool_left() : Esc was pressed; the tool is no longer chosen

    tool_changed(name) tells whenever another tool is chosen, by whomever.
    """

    selected = Signal(str, object, float, str)
    region_drawn = Signal(str, object, float)
    region_dragged = Signal(str, object, float)
    region_changed = Signal(str, object, float)
    profile_drawn = Signal(object, float)
    profile_dragged = Signal(object, float)
    profile_changed = Signal(object, float)
    landmark_placed = Signal(float, float)
    radius_changed = Signal(float)
    tool_left = Signal()
    tool_changed = Signal(str)

    def __init__(self, view: MapView) -> None:
        super().__init__(view)
        self._view, self._layers = view, view.layers
        self._port, self.pointing = view.plot.viewport(), Pointing(view)
        self._name = ""
        self._radius, self._width = math.nan, 0.0
        self._points: list[Point] = []
        self._how, self._begun = NEW, QPointF()
        self._down = self._free = self._panning = self._swallow = False
        self._grip: tuple[Mark, Handle] | None = None
        self._pointed: Qt.CursorShape | None = None
        self.sketch = Sketch()
        view.box.addItem(self.sketch, ignoreBounds=True)
        self._port.installEventFilter(self)
        self._port.setMouseTracking(True)
        view.installEventFilter(self)

    # -- what the program chooses

    @property
    def tool(self) -> str:
        """The name of the tool in `TOOLS`; empty for plain looking."""
        return self._name

    def choose(self, name: str) -> None:
        """Choose a tool by its name in `TOOLS`; an empty name goes back to plain looking."""
        if name and name not in TOOLS:
            raise ValueError(f"there is no tool {name!r}: {', '.join(TOOLS)}")
        self._forget()
        changed, self._name = name != self._name, name
        self.sketch.show_ring(None)
        self._point()
        if name:
            self._layers.key.reserve(True)
            self._view.setFocus()
        if changed:
            self.tool_changed.emit(name)

    def renew(self) -> None:
        """Another map is shown: give up what is being drawn, and the radius of the brush."""
        self._grip, self._radius = None, math.nan
        self._forget()
        self.sketch.show_ring(None)

    def set_radius(self, radius: float) -> None:
        """Radius of the brush."""
        least, most = 0.5 * self.pointing.pitch, 0.5 * self.pointing.longest
        self._radius = min(max(radius, least), max(most, least))

    @property
    def radius(self) -> float:
        """Radius of the brush; 2.5 pixels of the map until another is set."""
        return self._radius if math.isfinite(self._radius) else 2.5 * self.pointing.pitch

    def set_width(self, width: float) -> None:
        """Full width of the band of a new profile."""
        self._width = max(0.0, width)

    def set_theme(self, theme: Theme) -> None:
        self.sketch.set_theme(theme)

    def _handle_at(self, pos: QPointF) -> tuple[Mark, Handle] | None:
        """The held mark and its handle under the pointer, if this tool may drag it."""
        mark, tool = self._layers.held, TOOLS.get(self._name)
        kind = "profile" if isinstance(mark, ProfileMark) else "region"
        if self._points or (tool is not None and tool.purpose != kind):
            return None
        return self.pointing.handle_at(pos, mark)

    # -- events

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        kind, types = event.type(), QEvent.Type
        if watched is self._port:
            if kind in (types.MouseButtonPress, types.MouseButtonDblClick):
                return event.button() == Button.LeftButton and self._on_press(event)
            if kind == types.MouseMove:
                return self._on_move(event)
            if kind == types.MouseButtonRelease:
                return event.button() == Button.LeftButton and self._on_release(event)
            if kind == types.Wheel:
                return self._on_wheel(event)
            if kind == types.Leave:
                self.sketch.show_ring(None)
        elif kind == types.KeyPress:
            return self._on_key(event)
        elif kind == types.KeyRelease and event.key() == Key.Key_Space and self._panning:
            self._set_panning(event.isAutoRepeat())
            return True
        elif kind == types.FocusOut:
            self._set_panning(False)
        return False

    def _on_press(self, event: QMouseEvent) -> bool:
        pos, tool = event.position(), TOOLS.get(self._name)
        if self._panning or (not self._points and self.pointing.on_divider(pos)):
            return False
        if event.type() == QEvent.Type.MouseButtonDblClick and tool and tool.shape == "polygon":
            self._swallow = True
            self._close()
            return True
        self._grip = self._handle_at(pos)
        if tool is None and self._grip is None:
            return False
        self._view.setFocus()
        self._down, self._swallow, self._begun = True, True, pos
        if self._grip is None:
            self._begin(tool, self.pointing.place_at(pos), event.modifiers())
        return True

    def _begin(self, tool: Tool, at: Point, keys: Qt.KeyboardModifier) -> None:
        first = not self._points
        if first:
            self._how = how_of(keys)
            self._free = tool.shape == "polygon"  # by hand, until it proves to be a click
        if tool.shape in ("rectangle", "line"):
            self._points = [self.pointing.inside(at)] * 2
        elif tool.shape == "brush":
            self._points = [at]
        elif tool.purpose == "divider":
            self._layers.picture.set_share(self.pointing.share(at))
        self._draw()

    def _on_move(self, event: QMouseEvent) -> bool:
        pos = event.position()
        at, tool = self.pointing.place_at(pos), TOOLS.get(self._name)
        if self._grip is not None:
            self._drag_handle(at)
        elif self._down and tool is not None:
            self._drag(tool, at, pos)
        else:
            self._hover(tool, at, pos)
            return self._swallow
        self._view.box.moved.emit(self._view.plot.mapToScene(pos.toPoint()))
        return True

    def _hover(self, tool: Tool | None, at: Point, pos: QPointF) -> None:
        if tool is not None and tool.shape == "brush":
            self.sketch.show_ring(at, self.radius)
        elif tool is not None and self._points:
            self.sketch.show_shape("polygon", [*self._points, at], how=self._how)
        self._point(self._handle_at(pos) is not None)

    def _drag(self, tool: Tool, at: Point, pos: QPointF) -> None:
        apart = pos - self._begun
        far = math.hypot(apart.x(), apart.y()) > CLICK
        if tool.shape in ("rectangle", "line"):
            self._points[1] = self.pointing.inside(at)
        elif tool.shape == "brush":
            self._extend(at)
            self.sketch.show_ring(at, self.radius)
        elif tool.shape == "polygon" and self._free and (far or self._points):
            if not self._points:
                self._points = [self.pointing.place_at(self._begun)]
            self._extend(at)
        elif tool.purpose == "divider":
            self._layers.picture.set_share(self.pointing.share(at))
            self._layers.divider_dragged.emit(self.pointing.share(at))
        self._draw()

    def _extend(self, at: Point) -> None:
        """Add a point by hand, unless it is hardly elsewhere."""
        if math.dist(at, self._points[-1]) >= 2.0 * self.pointing.screen_pixel:
            self._points.append(at)

    def _on_release(self, event: QMouseEvent) -> bool:
        taken, self._swallow = self._swallow, False
        tool, pos = TOOLS.get(self._name), event.position()
        if self._grip is not None:
            self._drag_handle(self.pointing.place_at(pos), done=True)
        elif self._down and tool is not None:
            apart = pos - self._begun
            click = math.hypot(apart.x(), apart.y()) <= CLICK
            self._finish(tool, self.pointing.place_at(pos), click, event.modifiers())
        self._down = False
        return taken

    def _finish(self, tool: Tool, at: Point, click: bool, keys: Qt.KeyboardModifier) -> None:
        if tool.purpose == "divider":
            self._layers.divider_dropped.emit(self.pointing.share(at))
        elif tool.purpose == "landmark":
            if click and self.pointing.inside(at) == at:
                self.landmark_placed.emit(*at)
        elif tool.shape == "polygon":
            self._finish_polygon(at, click)
        elif tool.shape == "line":
            self._finish_line(at, click, keys)
        elif tool.shape == "brush":
            self._tell()
        else:
            self._points[1] = self.pointing.inside(at)
            self._forget() if click else self._tell()

    def _finish_line(self, at: Point, click: bool, keys: Qt.KeyboardModifier) -> None:
        held = self._layers.held
        extend = bool(keys & Qt.KeyboardModifier.ShiftModifier) and isinstance(held, ProfileMark)
        points, at = np.array([self._points[0], self.pointing.inside(at)]), self.pointing.inside(at)
        self._forget()
        if extend:
            longer = replace(held, points=np.vstack([held.points, at]))
            self._layers.show_held(longer, until_shown=True)
            self.profile_changed.emit(longer.points, longer.width)
        elif not click:
            self.profile_drawn.emit(points, self._width)

    def _finish_polygon(self, at: Point, click: bool) -> None:
        if self._free and not click:
            self._tell()
            return
        self._free = False
        near = REACH * self.pointing.screen_pixel
        if len(self._points) > 2 and math.dist(at, self._points[0]) <= near:
            self._tell()
        else:
            self._points.append(at)
            self._draw()

    def _close(self) -> None:
        """Close a polygon that is drawn corner by corner."""
        self._tell() if len(self._points) > 2 else self._forget()

    def _tell(self) -> None:
        """The shape is done."""
        tool, points, how = TOOLS[self._name], np.array(self._points), self._how
        radius = self.radius if tool.shape == "brush" else 0.0
        self._forget()
        if tool.shape == "polygon" and len(points) < 3:
            return
        if tool.purpose == "select":
            self.selected.emit(tool.shape, points, radius, how)
        else:
            self.region_drawn.emit(tool.shape, points, radius)

    def _drag_handle(self, at: Point, done: bool = False) -> None:
        mark, handle = self._grip
        new = moved(mark, handle, *self.pointing.inside(at), self.pointing.screen_pixel)
        self._layers.show_held(new, until_shown=done)
        if done:
            self._grip = None
        self._emit_mark(new, done)

    def _emit_mark(self, mark: Mark, done: bool) -> None:
        if isinstance(mark, RegionMark):
            signal = self.region_changed if done else self.region_dragged
            signal.emit(mark.kind, mark.points, mark.radius)
        else:
            signal = self.profile_changed if done else self.profile_dragged
            signal.emit(mark.points, mark.width)

    def _forget(self) -> None:
        """Give up what is being drawn or dragged."""
        self._points, self._down, self._free = [], False, False
        if self._grip is not None:
            mark, self._grip = self._grip[0], None
            self._layers.show_held(None)
            self._emit_mark(mark, done=True)  # whoever followed the drag goes back
        self.sketch.show_shape("", [])

    def _draw(self) -> None:
        area, tool = self._layers.area, TOOLS[self._name]
        reach = max(area.width(), area.height())
        self.sketch.set_area(area.adjusted(-reach, -reach, reach, reach), self._layers.factor)
        self.sketch.show_shape(tool.shape, self._points, self.radius, self._how)

    # -- wheel, keys, pointer

    def _on_wheel(self, event: QWheelEvent) -> bool:
        tool, keys = TOOLS.get(self._name), event.modifiers()
        shift = keys & Qt.KeyboardModifier.ShiftModifier
        if tool is None or tool.shape != "brush" or not shift:
            return False
        turned = event.angleDelta().y() or event.angleDelta().x()  # some desktops turn it aside
        self._resize(STEP ** (turned / 120.0), event.position())
        return True

    def _resize(self, factor: float, pos: QPointF | None = None) -> None:
        self.set_radius(self.radius * factor)
        at = self.pointing.place_at(pos) if pos is not None else self.sketch.ring
        self.sketch.show_ring(at, self.radius)
        self.radius_changed.emit(self.radius)

    def _on_key(self, event: QKeyEvent) -> bool:
        tool, key = TOOLS.get(self._name), event.key()
        if key == Key.Key_Escape and (self._points or self._grip is not None):
            self._forget()
            return True
        if tool is None:
            return False
        if key == Key.Key_Escape:
            self.choose("")
            self.tool_left.emit()
        elif key == Key.Key_Space:
            self._set_panning(True)
        elif key in (Key.Key_BracketLeft, Key.Key_BracketRight) and tool.shape == "brush":
            self._resize(STEP if key == Key.Key_BracketRight else 1.0 / STEP)
        elif key in (Key.Key_Return, Key.Key_Enter) and self._points and not self._down:
            self._close()
        elif key == Key.Key_Backspace and self._points and not self._down:
            self._points.pop()
            self._draw()
        else:
            return False
        return True

    def _set_panning(self, on: bool) -> None:
        if on != self._panning:
            self._panning = on
            self._point()

    def _point(self, on_handle: bool = False) -> None:
        """Give the pointer the shape of what it would do; what the map's own items want is left
        alone where no tool wants another."""
        tool = TOOLS.get(self._name)
        wanted = tool.pointer if tool is not None else None
        if self._panning or on_handle:
            wanted = Shape.OpenHandCursor if self._panning else Shape.SizeAllCursor
        if wanted is not None:
            self._port.setCursor(wanted)
        elif self._pointed is not None:
            self._port.unsetCursor()
        self._pointed = wanted


def how_of(keys: Qt.KeyboardModifier) -> str:
    """What the held keys make of a selection."""
    modifier = Qt.KeyboardModifier
    if keys & (modifier.AltModifier | modifier.ControlModifier):
        return TAKE
    return ADD if keys & modifier.ShiftModifier else NEW
