"""The profile view: what it draws, its cursors under the mouse, profiles that lack something."""

from __future__ import annotations

import math
import time

import numpy as np
import pytest
from PySide6.QtCore import QPoint, QPointF, Qt
from PySide6.QtGui import QColor
from PySide6.QtTest import QTest
from pytestqt.qtbot import QtBot
from views_data import double_click, drag, send_move

from palpate.app.theme import DARK
from palpate.app.views.profile_items import lonely, luminance, stretches
from palpate.app.views.profile_view import ProfileView, Series, reading_rows, ten_to_ninety
from palpate.core.channels import CHANNELS

COLOURS, LETTERS = ("#56b4e9", "#e69f00", "#cc79a7"), "ABC"
E, ADHESION, HEIGHT = (CHANNELS[n] for n in ("modulus", "adhesion", "height"))
LEFT = Qt.MouseButton.LeftButton


def line(n: int = 101, longest: float = 500.0) -> tuple[np.ndarray, list[Series]]:
    """Three channels along a line: a step in modulus, a falling adhesion, a rising height."""
    x = np.linspace(0.0, longest, n)
    step = np.where(x < longest / 2, 0.020, 0.050)
    return x, [(E, step, np.full(n, 0.002)), (ADHESION, 8.0 - x / longest, np.full(n, 0.3)),
               (HEIGHT, x / 10.0, None)]  # fmt: skip


def shown(qtbot: QtBot) -> ProfileView:
    view = ProfileView()
    qtbot.addWidget(view)
    view.resize(620, 600)
    x, series = line()
    labels = np.where(x < 250.0, 0, 1)
    labels[40:60] = -1
    view.show_profile(x, series, labels, "nm", COLOURS, LETTERS, "across")
    view.show()
    qtbot.waitExposed(view)
    qtbot.wait(10)
    return view


def heard(view: ProfileView) -> list[tuple]:
    said: list[tuple] = []
    view.cursor_dragged.connect(lambda *a: said.append(("dragged", *a)))
    view.cursor_dropped.connect(lambda *a: said.append(("dropped", *a)))
    return said


def at(view: ProfileView, x: float, plot: int = 0) -> QPoint:
    """A place of the axis of distance [as shown] as a pixel of the canvas, low in a plot."""
    box = view.plots[plot].vb
    seen = box.viewRect()
    scene = box.mapViewToScene(QPointF(x, seen.top() + 0.3 * seen.height()))
    return view.canvas.mapFromScene(scene)


def test_channels_stand_one_above_the_other_on_one_axis_of_distance(qtbot):
    view = shown(qtbot)
    for plot in view.plots:
        assert plot.vb.viewRange()[0] == pytest.approx(view.plots[0].vb.viewRange()[0])
    edges = [plot.vb.sceneBoundingRect() for plot in (*view.plots, view.strip_plot)]
    assert all(a.bottom() <= b.top() + 1 for a, b in zip(edges, edges[1:], strict=False))
    assert {round(e.left()) for e in edges} == {round(edges[0].left())}
    assert max(e.height() for e in edges[:3]) - min(e.height() for e in edges[:3]) < 3


def test_each_channel_has_its_name_and_its_unit(qtbot):
    view = shown(qtbot)
    words = [plot.getAxis("left").labelText for plot in view.plots]
    assert "Young modulus" in words[0]
    assert "(MPa)" in words[0]
    assert "(nN)" in words[1]
    assert "(nm)" in words[2]
    assert view.plots[0].line.getData()[1].max() == pytest.approx(50.0)  # 0.050 GPa in MPa


def test_fewer_channels_get_the_room_of_all(qtbot):
    view = shown(qtbot)
    x, series = line()
    view.show_profile(x, series[:1])
    qtbot.wait(20)
    assert [plot.isVisible() for plot in view.plots] == [True, False, False]
    assert view.plots[0].vb.height() > 300
    with pytest.raises(ValueError, match="at most 3"):
        view.show_profile(x, [*series, series[0]])


def test_left_out_points_interrupt_line_and_band_and_a_lonely_point_is_a_dot(qtbot):
    view = shown(qtbot)
    x, ((channel, values, errors), *_) = line(301)
    values[100:150] = values[200] = values[202] = np.nan
    view.show_profile(x, [(channel, values, errors)])
    drawn = view.plots[0].line.getData()[1]
    assert np.isnan(drawn[100:150]).all()
    assert view.plots[0].dots.x.tolist() == [x[201]]
    holes = view.plots[0].band._path.toSubpathPolygons()
    assert len(holes) == 4
    assert (holes[0].boundingRect().right(), holes[1].boundingRect().left()) == pytest.approx(
        (x[99], x[150]))  # fmt: skip


def test_stretches_and_lonely_points_of_a_mask():
    keep = np.array([1, 0, 1, 1, 0, 0, 1], bool)
    assert stretches(keep) == [(0, 1), (2, 4), (6, 7)]
    assert lonely(np.where(keep, 1.0, np.nan)).tolist() == [1, 0, 0, 0, 0, 0, 1]
    assert stretches(np.zeros(0, bool)) == []


def test_strip_tells_the_components_by_letter_and_changes_half_way_between_points(qtbot):
    view = shown(qtbot)
    assert view.strip.texts == ["A", "–", "B"]
    assert view.strip.ends == [(0.0, 197.5), (197.5, 297.5), (297.5, 500.0)]
    picture = view.canvas.grab().toImage()
    box = view.strip_plot.vb
    for x, colour in ((20.0, COLOURS[0]), (480.0, COLOURS[1])):
        place = view.canvas.mapFromScene(box.mapViewToScene(QPointF(x, 0.5)))
        assert picture.pixelColor(place * picture.devicePixelRatio()).name() == colour


def test_luminance_is_that_of_the_web_guidelines():
    """White 1, black 0, pure green 0.7152 (WCAG 2.2, "relative luminance"); sRGB grey #777777 has
    a contrast of 4.48 to white there, a figure often quoted (from memory)."""
    white, black, green = (luminance(QColor(c)) for c in ("#ffffff", "#000000", "#00ff00"))
    assert (white, black, green) == pytest.approx((1.0, 0.0, 0.7152))
    assert 1.05 / (luminance(QColor("#777777")) + 0.05) == pytest.approx(4.48, abs=0.005)


def test_dragging_a_cursor_in_any_plot_moves_it_in_all_and_drops_once(qtbot):
    for plot in range(3):
        view = shown(qtbot)
        view.set_cursors(100.0, 400.0)
        said = heard(view)
        before = view.plots[0].vb.viewRange()
        drag(view.canvas.viewport(), at(view, 400.0, plot), at(view, 330.0, plot))
        *dragged, last = said
        assert last[:2] == ("dropped", "B")
        assert last[2] == pytest.approx(330.0, abs=2.0)
        assert {s[:2] for s in dragged} == {("dragged", "B")}
        assert len(dragged) >= 4
        assert view.cursors == pytest.approx((100.0, last[2]))
        assert len({p.cursors["B"].value() for p in view.plots}) == 1
        assert view.plots[0].vb.viewRange() == before


def test_a_cursor_cannot_leave_the_profile(qtbot):
    view = shown(qtbot)
    view.set_cursors(100.0, 400.0)
    said = heard(view)
    drag(view.canvas.viewport(), at(view, 400.0), at(view, 400.0) + QPoint(400, 0))
    assert said[-1] == ("dropped", "B", pytest.approx(500.0))


def test_an_answer_during_a_drag_leaves_the_cursor_with_the_mouse(qtbot):
    view = shown(qtbot)
    view.set_cursors(100.0, 400.0)
    canvas, start = view.canvas.viewport(), at(view, 100.0)
    send_move(canvas, start)
    QTest.mousePress(canvas, LEFT, pos=start)
    for i in range(1, 5):
        send_move(canvas, start + QPoint(8 * i, 0), LEFT)
    held = view.cursors[0]
    assert held > 110.0
    x, series = line()
    view.show_profile(x, series)
    view.set_cursors(50.0, 300.0)
    assert view.cursors == pytest.approx((held, 300.0))
    QTest.mouseRelease(canvas, LEFT, pos=start + QPoint(32, 0))


def test_nothing_is_said_when_the_program_shows_things(qtbot):
    view = shown(qtbot)
    said = heard(view)
    x, series = line(51, 200.0)
    view.set_cursors(100.0, 400.0)
    view.show_profile(x, series)
    view.set_cursors(math.nan, 50.0)
    view.show_edge(x, series[0][1])
    view.show_profile(x[:0], [])
    view.set_theme(DARK)
    view.fit()
    assert said == []


def test_hidden_cursors_are_nowhere(qtbot):
    view = shown(qtbot)
    assert all(map(math.isnan, view.cursors))
    view.set_cursors(math.nan, 50.0)
    assert math.isnan(view.cursors[0])
    assert view.cursors[1] == 50.0


def test_table_reads_the_nearest_points_their_difference_and_slope(qtbot):
    x, series = line()
    rows = reading_rows(x, series, 101.0, 399.0)
    assert rows[0] == ("Distance", "101.0 nm", "399.0 nm", "298.0 nm", "")
    assert rows[1] == ("Young modulus", "20.0 ± 2.0 MPa", "50.0 ± 2.0 MPa", "30.00 MPa",
                       "0.101 MPa/nm")  # fmt: skip
    assert rows[3][1:] == ("10.00 nm", "40.00 nm", "30.00 nm", "0.101 nm/nm")
    view = shown(qtbot)
    view.show_reading(rows)
    assert view.reading()[1] == list(rows[1])
    view.show_reading(rows[:2])
    assert view.reading()[2] == [""] * 5


def test_table_has_dashes_where_a_point_was_left_out_or_a_cursor_is_hidden():
    x, series = line()
    series[0][1][:30] = np.nan
    rows = reading_rows(x, series, 100.0, 400.0)
    assert rows[1][1:] == ("–", "50.0 ± 2.0 MPa", "–", "–")
    assert rows[2][1] == "7.80 ± 0.30 nN"
    rows = reading_rows(x, series, math.nan, 400.0)
    assert [row[1] for row in rows] == ["–"] * 4
    assert reading_rows(x, series, 300.0, 300.0)[2][3:] == ("0.000 nN", "–")
    assert reading_rows(x[:0], [(E, x[:0], None)], 1.0, 2.0)[1][1:] == ("–",) * 4


def test_10_90_width_of_a_gaussian_edge_is_2_563_of_its_standard_deviation():
    """The 10 and 90 % points of the normal distribution lie at -1.2816 and 1.2816 standard
    deviations (scipy.stats.norm.ppf)."""
    from scipy.stats import norm

    x = np.linspace(-60.0, 60.0, 481)
    for sign in (1.0, -1.0):
        low, high = ten_to_ninety(x, 3.0 + sign * norm.cdf(x, scale=10.0))
        assert (low, high) == pytest.approx(10.0 * norm.ppf([0.1, 0.9]), abs=0.01)
    assert ten_to_ninety(x, np.zeros(x.size)) is None
    assert ten_to_ninety(x, np.sin(x)) is None
    assert ten_to_ninety(x[:1], x[:1]) is None


def test_a_fitted_edge_is_drawn_in_its_channel_with_its_width_and_words(qtbot):
    view = shown(qtbot)
    x = np.linspace(200.0, 300.0, 101)
    view.show_edge(x, np.linspace(7.0, 8.0, 101), "width 80 nm", which=1)
    assert view.plots[0].fitted.getData()[0] is None or not len(view.plots[0].fitted.getData()[0])
    assert view.plots[1].fitted.getData()[1][[0, -1]].tolist() == [7.0, 8.0]
    assert [e.value() for e in view.plots[1].edges] == pytest.approx([210.0, 290.0])
    assert view.note.text() == "width 80 nm"
    view.show_edge(x, np.linspace(0.02, 0.05, 101), "", (220.0, 270.0))
    assert [e.value() for e in view.plots[0].edges] == [220.0, 270.0]
    assert not view.plots[1].edges[0].isVisible()
    distance, series = line()
    view.show_profile(distance, series)
    assert not view.plots[0].edges[0].isVisible()  # it was another profile's


def test_long_profiles_are_shown_in_micrometres_and_told_in_nm(qtbot):
    view = shown(qtbot)
    x, series = line(101, 20_000.0)
    view.show_profile(x, series)
    assert "(µm)" in view.strip_plot.getAxis("bottom").labelText
    view.set_cursors(5_000.0, 15_000.0)
    assert view.cursors == pytest.approx((5_000.0, 15_000.0))
    said = heard(view)
    drag(view.canvas.viewport(), at(view, 15.0), at(view, 12.0))
    assert said[-1] == ("dropped", "B", pytest.approx(12_000.0, abs=80.0))
    view.show_profile(np.arange(20.0), [(E, np.ones(20), None)], unit="pixel")
    assert "(pixel)" in view.strip_plot.getAxis("bottom").labelText


def test_a_double_click_shows_all_again_and_a_view_moved_by_hand_stays(qtbot):
    view = shown(qtbot)
    whole = view.plots[0].vb.viewRange()
    drag(view.canvas.viewport(), at(view, 200.0), at(view, 260.0))
    moved = view.plots[0].vb.viewRange()
    assert moved != whole
    x, series = line()
    view.show_profile(x, series)
    assert view.plots[0].vb.viewRange() == moved
    double_click(view.canvas.viewport(), at(view, 200.0))
    assert view.plots[0].vb.viewRange()[0] == pytest.approx(whole[0])


@pytest.mark.parametrize("n", [0, 1, 2])
@pytest.mark.parametrize("value", [math.nan, 0.0, 3.0])
def test_awkward_profiles_are_drawn(qtbot, n, value):
    view = shown(qtbot)
    series = [(channel, np.full(n, value), np.full(n, math.nan)) for channel in (E, HEIGHT)]
    view.show_profile(np.arange(n) * 10.0, series, np.full(n, -1), "nm", COLOURS, LETTERS)
    view.set_cursors(0.0, 5.0)
    view.show_reading(reading_rows(np.arange(n) * 10.0, series, 0.0, 5.0))
    assert not view.grab().isNull()
    assert np.isfinite(view.plots[0].vb.viewRange()).all()


def test_an_empty_view_says_what_to_do(qtbot):
    view = shown(qtbot)
    view.set_cursors(10.0, 20.0)
    view.show_profile(np.empty(0), [])
    assert view.title.text() == "No profile"
    assert view.note.text() == "Draw a line on the map to see its profile."
    assert all(map(math.isnan, view.cursors))
    with pytest.raises(ValueError, match="looks"):
        view.show_profile(*line(), np.full(101, 3), "nm", COLOURS, LETTERS)


def test_three_channels_of_a_thousand_points_are_redrawn_within_30_ms(qtbot):
    """Time of this process alone, the best of seven: other programs do not count."""
    view = shown(qtbot)
    x, series = line(1000)
    labels = (x // 60).astype(int) % 3
    times = []
    for i in range(7):
        start = time.process_time()
        view.show_profile(x * (1.0 + 0.01 * i), series, labels, "nm", COLOURS, LETTERS)
        view.set_cursors(100.0, 300.0 + i)
        view.show_reading(reading_rows(x, series, 100.0, 300.0 + i))
        view.canvas.viewport().repaint()
        times.append(time.process_time() - start)
    assert min(times) < 0.030
