"""The curve view: the fit window under the mouse, axes, and curves that lack something."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from PySide6.QtCore import QPoint, QPointF, Qt
from PySide6.QtTest import QTest
from pytestqt.qtbot import QtBot
from views_data import bare_report, double_click, drag, report, send_move

from palpate.app.theme import DARK
from palpate.app.views.curve_items import LOOKS
from palpate.app.views.curve_view import CONTACT, CurveView, law_beside
from palpate.core import curveaxes as axes
from palpate.core.curveaxes import Frame, baseline_of

LEFT = Qt.MouseButton.LeftButton


class Heard:
    """All that the view says."""

    def __init__(self, view: CurveView) -> None:
        self.dragging: list[tuple] = []
        self.dropped: list[tuple] = []
        self.axes: list[tuple] = []
        view.window_dragging.connect(lambda *a: self.dragging.append(a))
        view.window_dropped.connect(lambda *a: self.dropped.append(a))
        view.axes_changed.connect(lambda *a: self.axes.append(a))

    @property
    def nothing(self) -> bool:
        return not (self.dragging or self.dropped or self.axes)


def shown(qtbot: QtBot, x: str = "z", y: str = "force") -> tuple[CurveView, Heard]:
    view = CurveView()
    qtbot.addWidget(view)
    view.resize(640, 620)
    view.set_axes(x, y)
    view.show_report(report(), reset_view=True)
    view.show()
    qtbot.waitExposed(view)
    view.fit(CONTACT)
    qtbot.wait(10)
    return view, Heard(view)


def at(view: CurveView, x: float) -> QPoint:
    """A place of the x axis as a pixel of the canvas, half way up."""
    middle = view.box.viewRect().center().y()
    scene = view.box.mapViewToScene(QPointF(x, middle))
    return view.canvas.mapFromScene(scene)


@pytest.mark.parametrize("x", ["z", "separation", "indentation"])
def test_dragging_an_edge_tells_z_many_times_and_drops_once(qtbot, x):
    view, heard = shown(qtbot, x)
    first, last = report().window
    wanted = first + 0.4 * (last - first)
    start = axes.x_at(report(), view.frame, first)
    stop = axes.x_at(report(), view.frame, wanted)
    drag(view.canvas.viewport(), at(view, start), at(view, stop), steps=10)
    assert len(heard.dragging) > 4
    assert len(heard.dropped) == 1
    assert heard.dropped[0] == pytest.approx((wanted, last), abs=0.4)
    assert (np.diff([a for a, _ in heard.dragging]) > -1e-6).all()


def test_dragging_the_body_moves_both_ends(qtbot):
    view, heard = shown(qtbot)
    first, last = report().window
    middle = (first + last) / 2
    drag(view.canvas.viewport(), at(view, middle), at(view, middle - 2.0))
    assert len(heard.dropped) == 1
    assert heard.dropped[0] == pytest.approx((first - 2.0, last - 2.0), abs=0.3)


def test_edges_cannot_pass_each_other(qtbot):
    view, heard = shown(qtbot)
    first, last = report().window
    drag(view.canvas.viewport(), at(view, first), at(view, last + 3.0))
    assert heard.dropped[0][0] <= heard.dropped[0][1]
    assert heard.dropped[0][1] == pytest.approx(last, abs=0.3)


def test_nothing_is_said_when_the_program_shows_things(qtbot):
    view, heard = shown(qtbot)
    for found in (report(0, 0), None, report(2, 4), bare_report(), report(1, 1, fit__law="cone")):
        view.show_report(found)
    view.set_axes("indentation", "deflection")
    view.show_report(report(), reset_view=True)
    view.set_theme(DARK)
    view.fit()
    assert heard.nothing


def test_an_answer_during_a_drag_leaves_the_edge_with_the_mouse(qtbot):
    view, heard = shown(qtbot, "indentation")
    canvas, first = view.canvas.viewport(), report().window[0]
    start = axes.x_at(report(), view.frame, first)
    law_before = view.items.lines["law"].getData()[1].copy()
    frame = view.frame
    send_move(canvas, at(view, start))
    QTest.mousePress(canvas, LEFT, pos=at(view, start))
    for i in range(1, 6):
        send_move(canvas, at(view, start) + QPoint(6 * i, 0), LEFT)
        held = view.items.window.getRegion()
        view.show_report(report(fit__fraction_from=60.0))
        assert view.items.window.getRegion() == held
    assert view.frame == frame
    assert not np.array_equal(view.items.lines["law"].getData()[1], law_before)
    QTest.mouseRelease(canvas, LEFT, pos=at(view, start) + QPoint(30, 0))
    assert len(heard.dropped) == 1
    view.show_report(report())
    assert view.items.window.getRegion() == pytest.approx(
        axes.window_on(report(), view.frame), abs=1e-9
    )


def test_a_drag_goes_on_though_the_curve_is_taken_away(qtbot):
    view, heard = shown(qtbot)
    canvas, start = view.canvas.viewport(), at(view, report().window[0])
    send_move(canvas, start)
    QTest.mousePress(canvas, LEFT, pos=start)
    send_move(canvas, start + QPoint(20, 0), LEFT)
    view.show_report(None)
    send_move(canvas, start + QPoint(30, 0), LEFT)
    QTest.mouseRelease(canvas, LEFT, pos=start + QPoint(30, 0))
    assert heard.dropped == []
    assert all(np.isfinite(pair).all() for pair in heard.dragging)


def test_choosing_axes_is_told_once_and_keeps_the_window(qtbot):
    view, heard = shown(qtbot)
    view.x_choice.setFocus()
    qtbot.keyClick(view.x_choice, Qt.Key.Key_Down)
    assert heard.axes == [("separation", "force")]
    assert axes.window_in_z(report(), view.frame, view.items.window.getRegion()) == pytest.approx(
        report().window, abs=1e-3
    )
    assert heard.dragging == heard.dropped == []


def test_everything_found_is_drawn_where_it_was_found(qtbot):
    view, _ = shown(qtbot)
    found = report()
    k = found.spring_constant
    for name, point in (("contact", found.contact), ("peak", found.peak),
                        ("adhesion", found.pull_off)):  # fmt: skip
        assert view.items.points[name].at == pytest.approx((point[0], k * point[1]))
    x, y = view.items.lines["approach"].getData()
    assert np.array_equal(x, found.approach.z)
    assert y == pytest.approx(k * found.approach.d)
    assert view.items.window.getRegion() == pytest.approx(found.window)
    assert np.array_equal(view.residuals.dots.y, found.residual)
    assert np.array_equal(view.residuals.dots.x, found.residual_z)
    assert set(view.legend.texts) == set(LOOKS) - {"doubt"}  # which is marked when it is chosen


def test_as_measured_shows_raw_samples_and_the_baseline_under_them(qtbot):
    view, _ = shown(qtbot, y="measured")
    found = report()
    assert view.items.lines["approach"].getData()[1] == pytest.approx(found.approach.raw)
    x, y = view.items.lines["zero"].getData()
    assert y[:2] == pytest.approx(found.approach.line[[0, -1]])
    assert y[2:] == pytest.approx(found.retract.line[[0, -1]])
    assert view.items.window.getRegion() == pytest.approx(found.window)


def test_residuals_of_the_window_scatter_with_the_noise(qtbot):
    view, _ = shown(qtbot)
    residual = view.residuals.dots.y
    assert 0.6 < float(np.std(residual)) < 1.6  # in units of the noise, 1 if the law is right


def test_a_curve_without_contact_shows_its_branches_and_no_window(qtbot):
    view, _ = shown(qtbot)
    view.set_axes("separation", "force")
    view.show_report(bare_report())
    assert not view.items.window.isVisible()
    assert (view.frame.x, view.frame.y) == ("z", "deflection")
    assert view.x_choice.currentData() == "separation"  # still what the person wants
    assert "spring constant" in view.note.text()
    assert "contact" not in view.legend.texts
    assert len(view.items.lines["approach"].getData()[0]) == 200
    assert view.items.points["contact"].at is None
    view.show_report(report())
    assert view.frame.x == "separation"


def test_no_curve_empties_the_view_and_says_what_to_do(qtbot):
    view, _ = shown(qtbot)
    view.show_report(None)
    x, _ = view.items.lines["approach"].getData()
    assert x is None or len(x) == 0
    assert "Click a pixel" in view.note.text()
    assert view.legend.texts == {}
    view.fit()


def test_branches_may_be_absent(qtbot):
    view, _ = shown(qtbot)
    found = report()
    nothing = dataclasses.replace(found.retract, z=np.empty(0), d=np.empty(0), raw=np.empty(0),
                                  line=np.empty(0), free=(np.nan, np.nan))  # fmt: skip
    view.show_report(dataclasses.replace(found, retract=nothing), reset_view=True)
    assert "retract" not in view.legend.texts
    view.show_report(dataclasses.replace(found, retract=nothing, approach=nothing), True)
    assert "approach" not in view.legend.texts


def test_a_view_moved_by_hand_stays_while_walking(qtbot):
    view, _ = shown(qtbot)
    view.fit()
    view.box.translateBy(x=0.5, y=0.5)
    view.box.sigRangeChangedManually.emit([True, True])
    seen = view.box.viewRect()
    view.show_report(report(1, 3))
    assert view.box.viewRect() == seen


def test_a_view_left_alone_grows_to_hold_each_curve_and_then_rests(qtbot):
    view, _ = shown(qtbot)
    view.fit()
    for pixel in ((1, 3), (0, 0), (1, 3)):
        found = report(*pixel)
        view.show_report(found)
        seen = view.box.viewRect()
        assert seen.left() <= found.approach.z[0]
        assert seen.right() >= found.peak[0]
        assert seen.bottom() >= found.peak[1] * found.spring_constant
    view.show_report(report(0, 0))
    assert view.box.viewRect() == seen


def test_a_curve_that_left_the_view_is_followed(qtbot):
    view, _ = shown(qtbot)
    view.fit()
    far = report()
    moved = {name: dataclasses.replace(getattr(far, name), z=getattr(far, name).z + 1e4)
             for name in ("approach", "retract")}  # fmt: skip
    view.show_report(dataclasses.replace(far, **moved))
    assert view.box.viewRect().left() > 5e3


def test_double_click_shows_the_whole_curve(qtbot):
    view, heard = shown(qtbot)
    view.fit()
    whole = view.box.viewRect()
    view.box.scaleBy((0.5, 0.5))
    place = QPoint(at(view, view.box.viewRect().left()).x() + 30, 60)
    double_click(view.canvas.viewport(), place)
    assert view.box.viewRect() == whole
    assert heard.nothing


def test_unknown_axes_are_refused(qtbot):
    view, _ = shown(qtbot)
    with pytest.raises(ValueError, match="time"):
        view.set_axes("time", "force")
    assert view.x_choice.currentData() == "z"


def test_a_reference_under_another_baseline_lies_on_the_samples_it_was_fitted_to(qtbot):
    """As measured, both laws stand on their own baselines; without, the reference is moved by what
    the two baselines differ, so its distance from the raw samples stays the same."""
    own, other = report(), report(baseline__extent=95.0, baseline__shape="offset")
    plain = law_beside(other, own, Frame("z", "deflection"))
    raw = law_beside(other, own, Frame("z", "measured"))
    assert np.allclose(plain[1] + baseline_of(own.approach, plain[0]), raw[1])
    assert not np.allclose(plain[1], other.law_d)
    view = CurveView()
    qtbot.addWidget(view)
    view.show_report(own)
    view.show_other(other, "the fit of before", "reference")
    view.show_other(report(fit__law="cone"), "cone")
    assert "reference" in view.legend.texts
    assert view.note.text() == "Thin line: cone. Dashed: the fit of before."
    view.show_report(report(2, 2))  # the next pixel has neither
    assert "reference" not in view.legend.texts
    assert view.items.lines["reference"].getData()[0].size == 0
    assert view.note.text() == ""
