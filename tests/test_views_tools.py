"""The tools on a map, driven with a real mouse, wheel and keyboard."""

from __future__ import annotations

import math

import numpy as np
import pytest
from PySide6.QtCore import QEvent, QPoint, QPointF, Qt
from PySide6.QtGui import QMouseEvent, QWheelEvent
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication
from pytestqt.qtbot import QtBot

from palpate.app.views.map_places import ProfileMark, RegionMark
from palpate.app.views.map_tools import TOOLS
from palpate.app.views.map_view import MapView
from palpate.core.channels import CHANNELS

LEFT, MIDDLE, NONE = Qt.MouseButton.LeftButton, Qt.MouseButton.MiddleButton, Qt.MouseButton.NoButton
PLAIN, SHIFT = Qt.KeyboardModifier.NoModifier, Qt.KeyboardModifier.ShiftModifier
ALT, CTRL = Qt.KeyboardModifier.AltModifier, Qt.KeyboardModifier.ControlModifier
Key = Qt.Key


class Hand:
    """A map view of 30 x 30 pixels, a mouse over it that is told places in nm, and all that the
    tools said."""

    def __init__(self, qtbot: QtBot, tool: str = "", pitch: float = 20.0, has_scale: bool = True,
                 shape: tuple[int, int] = (30, 30)) -> None:  # fmt: skip
        self.view = MapView()
        qtbot.addWidget(self.view)
        self.view.resize(620, 620)
        rows, cols = shape
        self.view.show_values(np.ones(shape), np.arange(cols) * pitch, np.arange(rows) * pitch,
                              CHANNELS["modulus"], has_scale)  # fmt: skip
        self.view.show()
        self.view.activateWindow()
        qtbot.waitExposed(self.view)
        self.tools, self.port = self.view.tools, self.view.plot.viewport()
        self.pause = 0  # pyqtgraph takes no more than a hundred moves a second, the tools all
        self.said: list[tuple] = []
        for name in ("selected", "region_drawn", "region_dragged", "region_changed",
                     "profile_drawn", "profile_dragged", "profile_changed", "landmark_placed",
                     "radius_changed", "tool_left"):  # fmt: skip
            signal = getattr(self.tools, name)
            signal.connect(lambda *args, name=name: self.said.append((name, *args)))
        self.picked: list[tuple] = []
        self.view.picked.connect(lambda *args: self.picked.append(args))
        self.tools.choose(tool)

    def pos(self, x: float, y: float) -> QPoint:
        return self.tools.pointing.pos_of(x, y).toPoint()

    def send(self, kind: QEvent.Type, at: QPoint, button: Qt.MouseButton, held: Qt.MouseButton,
             keys: Qt.KeyboardModifier = PLAIN) -> None:  # fmt: skip
        QTest.qWait(self.pause)
        place = QPointF(at)
        event = QMouseEvent(kind, place, self.port.mapToGlobal(place), button, held, keys)
        QApplication.sendEvent(self.port, event)

    def move(self, x: float, y: float, held: Qt.MouseButton = NONE,
             keys: Qt.KeyboardModifier = PLAIN) -> None:  # fmt: skip
        self.send(QEvent.Type.MouseMove, self.pos(x, y), NONE, held, keys)

    def press(self, x: float, y: float, keys: Qt.KeyboardModifier = PLAIN,
              button: Qt.MouseButton = LEFT) -> None:  # fmt: skip
        self.send(QEvent.Type.MouseButtonPress, self.pos(x, y), button, button, keys)

    def release(self, x: float, y: float, keys: Qt.KeyboardModifier = PLAIN,
                button: Qt.MouseButton = LEFT) -> None:  # fmt: skip
        self.send(QEvent.Type.MouseButtonRelease, self.pos(x, y), button, NONE, keys)

    def drag(self, *places: tuple[float, float], keys: Qt.KeyboardModifier = PLAIN,
             button: Qt.MouseButton = LEFT) -> None:  # fmt: skip
        self.move(*places[0])
        self.press(*places[0], keys, button)
        for a, b in zip(places, places[1:], strict=False):
            for t in (0.25, 0.5, 0.75, 1.0):
                self.move(a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1]), button, keys)
        self.release(*places[-1], keys, button)

    def click(self, x: float, y: float, keys: Qt.KeyboardModifier = PLAIN) -> None:
        self.move(x, y)
        self.press(x, y, keys)
        self.release(x, y, keys)

    def double_click(self, x: float, y: float) -> None:
        self.click(x, y)
        self.send(QEvent.Type.MouseButtonDblClick, self.pos(x, y), LEFT, LEFT)
        self.release(x, y)

    def key(self, key: Qt.Key) -> None:
        QTest.keyClick(self.view, key)

    def wheel(self, turns: float, keys: Qt.KeyboardModifier, aside: bool = False) -> None:
        at = QPointF(self.pos(300, 300))
        angle = QPoint(int(120 * turns), 0) if aside else QPoint(0, int(120 * turns))
        event = QWheelEvent(at, self.port.mapToGlobal(at), QPoint(), angle, NONE, keys,
                            Qt.ScrollPhase.NoScrollPhase, False)  # fmt: skip
        QApplication.sendEvent(self.port, event)

    @property
    def near(self) -> float:
        """What a place may be off, as the mouse has whole pixels [nm]."""
        return 1.1 * self.tools.pointing.screen_pixel


def test_the_map_keeps_its_size_when_the_first_selection_is_shown(qtbot):
    hand = Hand(qtbot, "select rectangle")
    qtbot.wait(20)
    size = hand.view.plot.size()
    hand.view.layers.show_selection(np.ones((30, 30), bool))
    qtbot.wait(20)
    assert hand.view.plot.size() == size


def test_rectangle_tells_its_two_corners(qtbot):
    hand = Hand(qtbot, "select rectangle")
    hand.drag((100, 400), (300, 150))
    ((name, kind, points, radius, how),) = hand.said
    assert (name, kind, radius, how) == ("selected", "rectangle", 0.0, "new")
    assert points == pytest.approx(np.array([(100, 400), (300, 150)]), abs=hand.near)


@pytest.mark.parametrize(("keys", "how"), [(SHIFT, "add"), (ALT, "take away"), (CTRL, "take away")])
@pytest.mark.parametrize("shape", ["rectangle", "polygon", "brush"])
def test_keys_say_whether_a_selection_adds_or_takes_away(qtbot, shape, keys, how):
    hand = Hand(qtbot, f"select {shape}")
    hand.drag((100, 100), (300, 100), (300, 300), keys=keys)
    ((_, kind, _, _, said),) = hand.said
    assert (kind, said) == (shape, how)


def test_lasso_by_hand_tells_the_way_the_mouse_went(qtbot):
    hand = Hand(qtbot, "select polygon")
    way = [(100, 100), (400, 100), (400, 400), (100, 400)]
    hand.drag(*way)
    ((_, kind, points, _, how),) = hand.said
    assert (kind, how) == ("polygon", "new")
    for corner in way:
        assert min(math.dist(corner, p) for p in points) < hand.near


def test_polygon_by_clicks_ends_with_a_double_click_enter_or_its_first_corner(qtbot):
    hand = Hand(qtbot, "select polygon")
    corners = [(100, 100), (400, 120), (350, 400)]
    wanted = np.array(corners)
    for i, end in enumerate(("double", "enter", "first")):
        for x, y in corners[:2]:
            hand.click(x, y)
        assert len(hand.said) == i  # nothing is told before it is closed
        if end == "double":
            hand.double_click(*corners[2])
        else:
            hand.click(*corners[2])
            hand.key(Key.Key_Return) if end == "enter" else hand.click(*corners[0])
        assert hand.said[i][2] == pytest.approx(wanted, abs=hand.near)
    assert hand.picked == []


def test_backspace_takes_the_last_corner_back(qtbot):
    hand = Hand(qtbot, "select polygon")
    for at in ((100, 100), (400, 120), (500, 500)):
        hand.click(*at)
    hand.key(Key.Key_Backspace)
    hand.click(350, 400)
    hand.key(Key.Key_Return)
    assert hand.said[0][2][:, 0] == pytest.approx([100, 400, 350], abs=hand.near)


def test_two_corners_are_no_polygon(qtbot):
    hand = Hand(qtbot, "select polygon")
    hand.click(100, 100)
    hand.click(400, 120)
    hand.key(Key.Key_Return)
    assert hand.said == []
    assert len(hand.tools.sketch.points) == 0


def test_brush_tells_its_path_and_radius_and_a_click_is_one_dab(qtbot):
    hand = Hand(qtbot, "select brush")
    hand.tools.set_radius(35.0)
    hand.drag((100, 100), (300, 100), (300, 250))
    hand.click(500, 500)
    (_, kind, points, radius, _), (_, _, dab, _, _) = hand.said
    assert (kind, radius) == ("brush", 35.0)
    assert points[[0, -1]] == pytest.approx(np.array([(100, 100), (300, 250)]), abs=hand.near)
    assert len(points) >= 8
    assert dab == pytest.approx(np.array([(500, 500)]), abs=hand.near)


def test_brush_grows_with_shift_and_wheel_and_with_brackets_and_the_wheel_still_zooms(qtbot):
    hand = Hand(qtbot, "select brush")
    before = hand.tools.radius
    assert before == pytest.approx(50.0)  # 2.5 pixels of 20 nm
    hand.move(300, 300)
    hand.wheel(1, SHIFT)
    hand.wheel(1, SHIFT, aside=True)
    hand.key(Key.Key_BracketRight)
    assert hand.tools.radius == pytest.approx(before * 1.25**3)
    for _ in range(3):
        hand.key(Key.Key_BracketLeft)
    assert hand.tools.radius == pytest.approx(before)
    assert [name for name, _ in hand.said] == ["radius_changed"] * 6
    seen = hand.view.box.viewRect()
    hand.wheel(1, PLAIN)
    assert hand.view.box.viewRect().width() < seen.width()
    assert hand.tools.radius == pytest.approx(before)


def test_brush_is_never_smaller_than_half_a_pixel_nor_larger_than_half_the_map(qtbot):
    hand = Hand(qtbot, "select brush")
    hand.tools.set_radius(0.0)
    assert hand.tools.radius == pytest.approx(10.0)
    hand.tools.set_radius(1e9)
    assert hand.tools.radius == pytest.approx(300.0)


def test_ring_of_the_brush_follows_the_pointer_and_goes_with_the_tool(qtbot):
    hand = Hand(qtbot, "select brush")
    hand.move(200, 240)
    assert hand.tools.sketch.ring == pytest.approx((200, 240), abs=hand.near)
    hand.tools.choose("")
    assert hand.tools.sketch.ring is None


@pytest.mark.parametrize("shape", ["rectangle", "polygon", "brush"])
def test_a_region_is_told_as_a_region(qtbot, shape):
    hand = Hand(qtbot, f"region {shape}")
    hand.drag((100, 100), (300, 100), (300, 300))
    ((name, kind, points, radius),) = hand.said
    assert (name, kind) == ("region_drawn", shape)
    assert len(points) >= 2
    assert (radius > 0) == (shape == "brush")


def test_a_profile_is_dragged_and_keeps_to_the_map(qtbot):
    hand = Hand(qtbot, "profile")
    hand.tools.set_width(40.0)
    hand.drag((100, 100), (400, 300))
    hand.drag((300, 300), (300, 900))
    (name, points, width), (_, beyond, _) = hand.said
    assert (name, width) == ("profile_drawn", 40.0)
    assert points == pytest.approx(np.array([(100, 100), (400, 300)]), abs=hand.near)
    assert beyond[1, 1] == pytest.approx(590.0)  # the edge of the last row


def held_profile(hand: Hand, width: float = 0.0) -> np.ndarray:
    points = np.array([(100.0, 100.0), (500.0, 100.0)])
    hand.view.layers.show_profiles([ProfileMark("one", points, width, held=True)])
    return points


def test_shift_and_click_gives_the_held_profile_another_corner(qtbot):
    hand = Hand(qtbot, "profile")
    points = held_profile(hand, 30.0)
    hand.click(500, 400, SHIFT)
    ((name, longer, width),) = hand.said
    assert (name, width) == ("profile_changed", 30.0)
    assert longer == pytest.approx(np.vstack([points, (500, 400)]), abs=hand.near)


@pytest.mark.parametrize("tool", ["", "profile"])
def test_end_and_middle_of_the_held_profile_are_dragged(qtbot, tool):
    hand = Hand(qtbot, tool)
    held_profile(hand)
    before = hand.view.box.viewRect()
    hand.drag((500, 100), (450, 300))
    *dragged, (name, points, _) = hand.said
    assert name == "profile_changed"
    assert {said[0] for said in dragged} == {"profile_dragged"}
    assert len(dragged) >= 4
    assert points == pytest.approx(np.array([(100, 100), (450, 300)]), abs=hand.near)
    hand.said.clear()
    held_profile(hand)
    hand.drag((300, 100), (300, 200))
    assert hand.said[-1][1] == pytest.approx(np.array([(100, 200), (500, 200)]), abs=hand.near)
    assert hand.view.box.viewRect() == before
    assert hand.picked == []


def test_width_of_the_held_profile_is_dragged_from_its_side(qtbot):
    hand = Hand(qtbot)
    held_profile(hand, 60.0)
    hand.drag((200, 130), (200, 180))
    name, points, width = hand.said[-1]
    assert name == "profile_changed"
    assert width == pytest.approx(160.0, abs=2 * hand.near)
    assert points == pytest.approx(np.array([(100, 100), (500, 100)]))


def test_while_a_profile_is_dragged_the_mouse_wins_and_then_the_program(qtbot):
    hand = Hand(qtbot)
    held_profile(hand)
    hand.move(500, 100)
    hand.press(500, 100)
    hand.move(500, 300, LEFT)
    held_profile(hand)  # a late answer
    assert hand.view.layers.held.points[1] == pytest.approx((500, 300), abs=hand.near)
    hand.release(500, 300)
    assert hand.view.layers.held.points[1] == pytest.approx((500, 300), abs=hand.near)
    held_profile(hand)
    assert tuple(hand.view.layers.held.points[1]) == (500.0, 100.0)


def test_escape_during_a_drag_goes_back_and_says_so(qtbot):
    hand = Hand(qtbot)
    points = held_profile(hand)
    hand.move(500, 100)
    hand.press(500, 100)
    hand.move(500, 300, LEFT)
    hand.key(Key.Key_Escape)
    hand.move(500, 400, LEFT)
    hand.release(500, 400)
    name, last, _ = hand.said[-1]
    assert name == "profile_changed"
    assert (last == points).all()
    assert hand.picked == []


@pytest.mark.parametrize(
    ("kind", "points", "start", "stop", "wanted"),
    [("rectangle", [(100, 100), (300, 200)], (300, 200), (400, 350), [(100, 100), (400, 350)]),
     ("rectangle", [(100, 100), (300, 200)], (100, 200), (50, 250), [(300, 100), (50, 250)]),
     ("rectangle", [(100, 100), (300, 200)], (200, 150), (220, 250), [(120, 200), (320, 300)]),
     ("polygon", [(100, 100), (400, 100), (400, 300)], (400, 100), (350, 50),
      [(100, 100), (350, 50), (400, 300)]),
     ("brush", [(200, 200), (300, 200), (300, 300)], (300, 200), (320, 240),
      [(220, 240), (320, 240), (320, 340)])],
)  # fmt: skip
def test_handles_of_the_held_region_change_it(qtbot, kind, points, start, stop, wanted):
    hand = Hand(qtbot)
    radius = 25.0 if kind == "brush" else 0.0
    mark = RegionMark("one", kind, np.array(points, float), radius, held=True)
    hand.view.layers.show_regions([mark])
    hand.drag(start, stop)
    name, told, new, r = hand.said[-1]
    assert (name, told, r) == ("region_changed", kind, radius)
    assert hand.said[0][0] == "region_dragged"
    assert new == pytest.approx(np.array(wanted, float), abs=2 * hand.near)


def test_a_region_that_is_not_held_lets_the_map_be_dragged(qtbot):
    hand = Hand(qtbot)
    mark = RegionMark("one", "rectangle", np.array([(100.0, 100.0), (300.0, 200.0)]))
    hand.view.layers.show_regions([mark])
    hand.pause = 11
    before = hand.view.box.viewRect()
    hand.drag((300, 200), (400, 300))
    assert hand.said == []
    assert hand.view.box.viewRect() != before


def test_a_landmark_is_placed_on_the_map_only(qtbot):
    hand = Hand(qtbot, "landmark")
    hand.click(210, 330)
    hand.view.box.scaleBy((1.5, 1.5))
    hand.click(-60, 330)
    ((name, x, y),) = hand.said
    assert name == "landmark_placed"
    assert (x, y) == pytest.approx((210, 330), abs=hand.near)


def test_the_divider_goes_where_the_mouse_is(qtbot):
    hand = Hand(qtbot, "divider")
    said: list[float] = []
    hand.view.layers.divider_dropped.connect(said.append)
    hand.view.layers.set_picture(np.ones((30, 30)))
    hand.view.layers.set_split(True)
    hand.drag((440, 200), (140, 200))
    assert said == [pytest.approx(0.25, abs=0.01)]  # 150 of 600 nm from the edge


def test_the_divider_can_be_dragged_while_another_tool_is_chosen(qtbot):
    hand = Hand(qtbot, "select rectangle")
    hand.pause = 11
    said: list[float] = []
    hand.view.layers.divider_dropped.connect(said.append)
    hand.view.layers.set_picture(np.ones((30, 30)))
    hand.view.layers.set_split(True, 0.5)
    hand.drag((290, 200), (440, 200))
    assert said == [pytest.approx(0.75, abs=0.01)]
    assert hand.said == []
    hand.drag((100, 200), (200, 300))
    assert hand.said[0][0] == "selected"


def test_without_a_tool_a_click_picks_and_a_drag_moves_the_map(qtbot):
    hand = Hand(qtbot)
    hand.click(200, 400)
    qtbot.wait(QApplication.doubleClickInterval() + 50)
    assert hand.picked == [(20, 10)]
    hand.pause = 11
    before = hand.view.box.viewRect()
    hand.drag((200, 400), (300, 300))
    assert hand.view.box.viewRect() != before
    assert hand.said == []


@pytest.mark.parametrize("tool", sorted(TOOLS))
def test_a_tool_keeps_the_left_button_and_the_middle_one_or_space_move_the_map(qtbot, tool):
    hand = Hand(qtbot, tool)
    hand.pause = 11
    before = hand.view.box.viewRect()
    hand.drag((200, 200), (300, 350))
    assert hand.view.box.viewRect() == before
    hand.said.clear()
    hand.drag((200, 200), (260, 250), button=MIDDLE)
    moved = hand.view.box.viewRect()
    assert moved != before
    QTest.keyPress(hand.view, Key.Key_Space)
    hand.drag((250, 250), (200, 200))
    QTest.keyRelease(hand.view, Key.Key_Space)
    assert hand.view.box.viewRect() != moved
    qtbot.wait(10)
    assert (hand.said, hand.picked) == ([], [])


def test_escape_gives_up_the_drawing_first_and_then_leaves_the_tool(qtbot):
    hand = Hand(qtbot, "select rectangle")
    hand.move(100, 100)
    hand.press(100, 100)
    hand.move(300, 300, LEFT)
    assert len(hand.tools.sketch.points) == 2
    hand.key(Key.Key_Escape)
    hand.release(300, 300)
    assert (hand.said, hand.tools.tool) == ([], "select rectangle")
    assert len(hand.tools.sketch.points) == 0
    hand.key(Key.Key_Escape)
    assert (hand.said, hand.tools.tool) == ([("tool_left",)], "")


def test_pointer_tells_the_tool(qtbot):
    hand = Hand(qtbot)
    plain = hand.port.cursor().shape()
    for name, tool in TOOLS.items():
        hand.tools.choose(name)
        assert hand.port.cursor().shape() == tool.pointer != plain
    hand.tools.choose("")
    assert hand.port.cursor().shape() == plain
    held_profile(hand)
    hand.move(500, 100)
    assert hand.port.cursor().shape() == Qt.CursorShape.SizeAllCursor
    hand.move(500, 300)
    assert hand.port.cursor().shape() == plain


def test_a_click_of_the_rectangle_or_the_profile_tool_draws_nothing(qtbot):
    for tool in ("select rectangle", "region rectangle", "profile"):
        hand = Hand(qtbot, tool)
        hand.click(200, 200)
        assert (hand.said, hand.picked) == ([], [])


def test_nothing_is_said_when_the_program_chooses(qtbot):
    hand = Hand(qtbot)
    for name in (*TOOLS, ""):
        hand.tools.choose(name)
    hand.tools.set_radius(30.0)
    hand.tools.set_width(30.0)
    held_profile(hand)
    assert hand.said == []
    with pytest.raises(ValueError, match="no tool"):
        hand.tools.choose("magic")


def test_another_map_gives_up_what_is_being_drawn(qtbot):
    hand = Hand(qtbot, "select polygon")
    hand.tools.set_radius(100.0)
    hand.click(100, 100)
    axis = np.arange(10) * 5.0
    hand.view.show_values(np.ones((10, 10)), axis, axis, CHANNELS["modulus"])
    assert len(hand.tools.sketch.points) == 0
    assert hand.tools.radius == pytest.approx(12.5)
    assert (hand.tools.tool, hand.said) == ("select polygon", [])


@pytest.mark.parametrize(("pitch", "has_scale"), [(2000.0, True), (1.0, False)])
def test_places_are_in_nm_on_large_maps_and_in_pixels_without_a_scale(qtbot, pitch, has_scale):
    hand = Hand(qtbot, "select rectangle", pitch, has_scale)
    a, b = (5 * pitch, 6 * pitch), (20 * pitch, 25 * pitch)
    hand.drag(a, b)
    assert hand.said[0][2] == pytest.approx(np.array([a, b]), abs=hand.near)
    hand.tools.choose("")
    hand.view.layers.show_profiles([ProfileMark("one", np.array([a, b]), held=True)])
    hand.drag(b, (25 * pitch, 25 * pitch))
    assert hand.said[-1][1][1] == pytest.approx((25 * pitch, 25 * pitch), abs=hand.near)


@pytest.mark.parametrize("shape", [(1, 1), (1, 12), (12, 1)])
def test_tools_work_on_the_smallest_maps(qtbot, shape):
    hand = Hand(qtbot, shape=shape)
    for tool in TOOLS:
        hand.tools.choose(tool)
        hand.drag((0, 0), (4, 4))
        assert not hand.view.grab().isNull()
    names = [said[0] for said in hand.said]
    assert names == ["selected"] * 3 + ["region_drawn"] * 3 + ["profile_drawn"]
