"""Components in the window: map, histogram, joint histogram and table linked, by mouse and keys."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from PySide6.QtCore import QEvent, QPoint, QPointF, Qt
from PySide6.QtGui import QMouseEvent
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication
from shell_window import click_pixel, main_window, move_mouse, open_map

from palpate.app.component_desk import cuts_of, members_of
from palpate.core.components import Axis, Rule, find
from palpate.core.simulate import Lever, Material, Ramp, simulate_map
from palpate.core.workfile import load_analysis
from palpate.core.writers import write_map

LEFT = Qt.MouseButton.LeftButton
SOFT, STIFF = Material("soft", 0.06, 0.45, 9.0, 0.05, 0.03), Material("stiff", 1.2, 0.4, 5.0, 0.05)
SHAPE = (20, 24)


def drawn_labels():
    """A soft disc and a soft stripe in a stiff ground."""
    rows, cols = np.mgrid[: SHAPE[0], : SHAPE[1]]
    soft = (rows - 9) ** 2 + (cols - 7) ** 2 <= 25
    return np.where(soft | (cols >= 20), 0, 1)


@pytest.fixture(scope="module")
def blend(tmp_path_factory):
    made = simulate_map(drawn_labels(), (SOFT, STIFF), lever=Lever(2.0, 60.0, noise=0.06),
                        ramp=Ramp(travel=120.0, samples=160, set_force=30.0),
                        scan_size=(1200.0, 1000.0), seed=3)  # fmt: skip
    path = tmp_path_factory.mktemp("maps") / "blend.h5"
    write_map(path, **made.arrays())
    return path


@pytest.fixture
def window(qtbot, blend):
    with main_window(qtbot) as window:
        window.resize(1400, 860)
        open_map(window, blend, qtbot)
        window.components_dock.raise_()
        settled(window, qtbot)
        yield window


def settled(window, qtbot):
    """Wait until the components of the present rule are worked out whole."""
    desk = window.workspace.component_desk
    qtbot.waitUntil(lambda: desk._shown == desk._key() and desk._asked is None, timeout=60_000)
    QApplication.processEvents()


def front(window, name):
    """One of the two histograms to the front; returns it."""
    view = getattr(window.workspace.component_views, name)
    window.workspace.views.setCurrentWidget(view)
    QApplication.processEvents()
    view.fit()
    QApplication.processEvents()
    return view


def at(view, x, y):
    """Where a place of a plot, in its own coordinates, lies on its drawing area."""
    return view.plot.mapFromScene(view.box.mapViewToScene(QPointF(x, y)))


def drag(view, places, modifier=Qt.KeyboardModifier.NoModifier):
    """Press at the first place, move through the others, let go at the last."""
    area = view.plot.viewport()
    move_mouse(area, places[0], Qt.MouseButton.NoButton)
    QTest.mousePress(area, LEFT, modifier, places[0])
    for place in places[1:]:
        QTest.qWait(15)  # quicker moves than a hand's are passed over
        move_mouse(area, place, LEFT)
        QApplication.processEvents()
    QTest.mouseRelease(area, LEFT, modifier, places[-1])
    QApplication.processEvents()


def composition(window):
    return window.workspace.component_desk.made.composition


def double_click(area, place):
    """Press, release, press again as a double click, release."""
    for kind in ("MouseButtonPress", "MouseButtonRelease", "MouseButtonDblClick",
                 "MouseButtonRelease"):  # fmt: skip
        held = LEFT if kind != "MouseButtonRelease" else Qt.MouseButton.NoButton
        event = QMouseEvent(getattr(QEvent.Type, kind), QPointF(place),
                            QPointF(area.mapToGlobal(place)), LEFT, held,
                            Qt.KeyboardModifier.NoModifier)  # fmt: skip
        QApplication.sendEvent(area, event)
    QApplication.processEvents()


def test_the_components_are_found_drawn_and_tabled_without_a_hint(window):
    found, truth = composition(window), drawn_labels()
    assert found.count == 2
    good = found.labelled
    assert (found.labels[good] == truth[good]).mean() > 0.99
    layers = window.workspace.map.layers
    assert layers.component_look == "outlines"
    page = window.workspace.components.find
    said = page.found.text()
    share = 100.0 * (truth == 0).mean()
    assert f"{share:.0f}" in said.split("%")[0] or abs(share - float(
        said.split("%")[0].split()[-1])) < 1.0  # fmt: skip
    assert "MPa" in said
    assert "GPa" in said


def test_a_range_on_the_histogram_gathers_its_pixels_on_the_map(window):
    view = front(window, "histogram")
    low, high = np.log10(0.03), np.log10(0.3)
    middle = view.box.viewRect().center().y()
    drag(view, [at(view, low, middle), at(view, -1.0, middle), at(view, high, middle)])
    group = window.session.group
    soft = composition(window).pixels(0)
    assert (group & soft).sum() > 0.98 * soft.sum()
    assert not (group & composition(window).pixels(1)).any()
    assert "selected" in window.workspace.map.layers.key.text
    QTest.keyClick(view, Qt.Key.Key_Escape)
    assert window.session.group is None


def test_a_shape_on_the_joint_histogram_gathers_its_pixels_on_the_map(window):
    view = front(window, "joint")
    found = composition(window)
    _, centre, covariance = found.ellipses(window.session.rule.axes)[1]
    wide, high = 5.0 * np.sqrt(np.diag(covariance))
    corner, other = (at(view, *(centre + s * np.array([wide, high]))) for s in (-1, 1))
    drag(view, [corner, QPoint(other.x(), corner.y()), other, QPoint(corner.x(), other.y())])
    group = window.session.group
    assert (group & found.pixels(1)).sum() > 0.98 * found.pixels(1).sum()
    assert not (group & found.pixels(0)).any()


def test_a_brush_on_the_map_shows_its_pixels_in_both_histograms(window):
    workspace = window.workspace
    joint = front(window, "joint")
    tools = workspace.map.tools
    tools.choose("select rectangle")
    places = [workspace.map.plot.mapFromScene(workspace.map.scene_at(r, c))
              for r, c in ((6, 4), (8, 6), (12, 10))]  # fmt: skip
    drag(workspace.map, places)
    tools.choose("")
    group = window.session.group
    assert group[7:12, 5:10].all()
    assert not np.delete(np.delete(group, slice(6, 13), 0), slice(4, 11), 1).any()
    x, _ = joint.chosen.getData()
    assert len(x) == np.count_nonzero(group & composition(window).maps.usable)
    assert (x < np.log10(0.3)).all()  # the disc is soft
    histogram = front(window, "histogram")
    _, counts = histogram.chosen.getData()
    assert counts.sum() == len(x)


def test_a_click_on_the_map_shows_where_the_pixel_lies(window):
    joint = front(window, "joint")
    click_pixel(window, 9, 7)
    x, y = joint.picked.getData()
    values = [window.session.analysis.channel(axis.channel)[9, 7]
              for axis in window.session.rule.axes]  # fmt: skip
    assert (x[0], y[0]) == pytest.approx((np.log10(values[0]), values[1]))
    assert window.workspace.components.find.found.current_key() == 0
    click_pixel(window, 2, 15)
    assert window.workspace.components.find.found.current_key() == 1


def test_a_component_chosen_in_the_table_is_gathered(window):
    table = window.workspace.components.find.found
    row = table.row_of(1)
    QTest.mouseClick(table.viewport(), LEFT, pos=table.visualItemRect(table.item(row, 0)).center())
    assert (window.session.group == composition(window).pixels(1)).all()


def test_a_dragged_threshold_moves_the_labels_and_is_one_act(window, qtbot):
    window.workspace.component_desk.use_rule(
        replace(window.session.rule, method="thresholds"), "way of finding")  # fmt: skip
    settled(window, qtbot)
    view = front(window, "histogram")
    cut = window.session.rule.thresholds[0]
    before = composition(window).pixels(0).sum()
    level = view.box.viewRect().center().y()
    start = at(view, np.log10(cut), level)
    end = at(view, np.log10(1.2 / 0.84), level)  # into the middle of the stiff ones
    drag(view, [start, QPoint((start.x() + end.x()) // 2, start.y()), end])
    settled(window, qtbot)
    assert window.session.rule.thresholds[0] == pytest.approx(1.2 / 0.84, rel=0.05)
    assert composition(window).pixels(0).sum() > before + 50
    assert window.session.undo_words == "threshold"
    window.session.undo()
    settled(window, qtbot)
    assert window.session.rule.thresholds[0] == cut
    assert composition(window).pixels(0).sum() == before


def test_thresholds_are_added_moved_by_keys_and_removed(window, qtbot):
    window.workspace.component_desk.use_rule(
        replace(window.session.rule, method="thresholds"), "way of finding")  # fmt: skip
    view = front(window, "histogram")
    settled(window, qtbot)
    area, place = view.plot.viewport(), at(view, np.log10(0.6), view.box.viewRect().center().y())
    double_click(area, place)
    QApplication.processEvents()
    assert len(window.session.rule.thresholds) == 2
    settled(window, qtbot)
    assert composition(window).count == 3
    view.setFocus()
    last = window.session.rule.thresholds[-1]
    QTest.keyClick(view, Qt.Key.Key_Right)
    assert window.session.rule.thresholds[-1] > last
    QTest.keyClick(view, Qt.Key.Key_Delete)
    assert len(window.session.rule.thresholds) == 1


def test_gates_drawn_on_the_joint_histogram_are_components_in_their_order(window, qtbot):
    window.workspace.component_desk.use_rule(
        replace(window.session.rule, method="gates"), "way of finding")  # fmt: skip
    view = front(window, "joint")
    qtbot.waitUntil(lambda: window.workspace.component_desk.reason != "", timeout=20_000)
    assert "nothing is drawn" in window.workspace.components.find.reason.text()
    truth = drawn_labels()
    for middle in ((0.0, 1.2), (-1.0, 0.06)):
        x, seen = np.log10(middle[1] / 0.83), view.box.viewRect()
        low, high = (4.0, 6.5) if middle[1] > 1 else (7.5, 10.5)
        low, high = max(low, seen.top() + 0.1), min(high, seen.bottom() - 0.1)
        drag(view, [at(view, x - 0.15, low), at(view, x + 0.15, low), at(view, x + 0.15, high),
                    at(view, x - 0.15, high)])  # fmt: skip
        QTest.qWait(600)  # two drags in a row are no double click
    settled(window, qtbot)
    found = composition(window)
    assert len(window.session.rule.gates) == 2
    assert (truth[found.pixels(0)] == 1).mean() > 0.98  # the first that was drawn
    assert (truth[found.pixels(1)] == 0).mean() > 0.98
    assert window.session.undo_words == "gate"
    corner = view.gates.corners[1][0].pos()
    drag(view, [at(view, corner.x(), corner.y()), at(view, corner.x() - 0.04, corner.y()),
                at(view, corner.x() - 0.08, corner.y())])  # fmt: skip
    settled(window, qtbot)
    moved = np.log10(window.session.rule.gates[1].vertices[0][0])
    assert moved == pytest.approx(corner.x() - 0.08, abs=0.02)
    assert window.session.undo_words == "gate B"


def test_end_members_begin_with_what_is_there_and_can_be_typed(window, qtbot):
    desk, page = window.workspace.component_desk, window.workspace.components.find
    desk.use_rule(replace(window.session.rule, method="end_members"), "way of finding")
    settled(window, qtbot)
    members = window.session.rule.members
    assert len(members) == 2
    assert members[1].centre[0] == pytest.approx(1.2 / 0.84, rel=0.03)
    page.members.table.item(0, 0).setText("95 MPa")
    assert window.session.rule.members[0].centre[0] == pytest.approx(0.095)
    page.members.table.item(0, 0).setText("much")
    assert window.session.rule.members[0].centre[0] == pytest.approx(0.095)


def test_a_name_and_a_ratio_change_the_table_and_not_the_labels(window, qtbot):
    page, labels = window.workspace.components.find, composition(window).labels
    page.found.choose(0)
    page.choose(0)
    page.name.setFocus()
    QTest.keyClicks(page.name, "rubber")
    QTest.keyClick(page.name, Qt.Key.Key_Return)
    settled(window, qtbot)
    assert "rubber" in page.found.text()
    assert composition(window).labels is labels
    before = window.workspace.component_desk.made.table.rows[0].summaries["modulus"].median
    page.ratio_given.emit(0, 0.49)
    settled(window, qtbot)
    after = window.workspace.component_desk.made.table.rows[0].summaries["modulus"].median
    own = window.session.analysis.poisson_ratio
    assert after / before == pytest.approx((1 - 0.49**2) / (1 - own**2))
    window.session.undo()
    window.session.undo()
    assert window.session.rule == Rule()


def test_left_out_pixels_are_in_no_number_and_come_back(window, qtbot):
    page, session = window.workspace.components.find, window.session
    session.gather(composition(window).pixels(0))
    QTest.mouseClick(page.leave_out, LEFT)
    settled(window, qtbot)
    assert composition(window).count == 1
    assert composition(window).left_out["left out by hand"] == session.left_out.count > 50
    assert "left out by hand" in page.excluded.text()
    QTest.mouseClick(page.take_back, LEFT)
    settled(window, qtbot)
    assert composition(window).count == 2


def test_what_can_not_be_is_said_and_the_form_stays(window, qtbot):
    page = window.workspace.components.find
    field = page.form.numbers["count"]
    field.edited.emit(2.5, False)
    QApplication.processEvents()
    assert window.session.rule.count == 0
    window.session.use_rule(replace(window.session.rule, axes=(Axis("exponent"),)), "axes")
    qtbot.waitUntil(lambda: "exponent" in page.reason.text(), timeout=20_000)
    assert page.form.isVisibleTo(page)
    from palpate.app.dialogs.errors import ErrorBox

    for box in window.findChildren(ErrorBox):
        box.close()


def test_the_tables_and_the_result_hold_what_is_shown(window, qtbot, tmp_path):
    from palpate.app import saving
    from palpate.core.progress import Progress

    made = window.workspace.component_desk.made
    written = saving.component_tables(made, tmp_path / "blend.csv")(Progress())
    assert [p.name for p in written] == ["blend.csv", "blend_pairs.csv", "blend_rule.json"]
    lines = (tmp_path / "blend.csv").read_text().splitlines()
    assert len({line.count(",") for line in lines}) == 1
    assert len(lines) == 1 + 2 * len(made.table.channels)
    path = tmp_path / "blend_result.h5"
    saving.result_file(window.session.analysis, path, window.session.work, made)(Progress())
    again = load_analysis(path).components
    assert (again.labels == made.composition.labels).all()
    assert Rule.from_json(again.rule) == window.session.rule
    head = again.table[0]
    row = next(r for r in again.table[1:] if r[head.index("channel")] == "reduced_modulus")
    shown = made.table.rows[0].summaries["reduced_modulus"].median
    assert row[head.index("median")] == pytest.approx(shown)


def test_components_are_outlined_filled_or_not_drawn_on_the_map(window):
    switch, layers = window.workspace.components.find.on_map, window.workspace.map.layers
    for name in ("fill", "off", "outlines"):
        QTest.mouseClick(switch.buttons[name], LEFT)
        assert layers.component_look == name


def test_both_themes_draw_every_view(window, qtbot):
    for theme in (window.theme_dark, window.theme_light):
        theme()
        for name in ("histogram", "joint"):
            view = front(window, name)
            picture = view.grab().toImage()
            colours = {picture.pixelColor(x, y).name() for x in range(60, picture.width(), 7)
                       for y in range(60, picture.height(), 7)}  # fmt: skip
            assert len(colours) > 8


def test_a_threshold_found_from_components_lies_between_them():
    from component_maps import SOFT as SOFT_KIND
    from component_maps import STIFF as STIFF_KIND
    from component_maps import drawn

    found = find(drawn((STIFF_KIND, SOFT_KIND), (0.3,)).maps, Rule())
    (cut,) = cuts_of(found, found.rule)
    assert SOFT_KIND.modulus < cut < STIFF_KIND.modulus
    assert cut == pytest.approx(np.sqrt(SOFT_KIND.modulus * STIFF_KIND.modulus), rel=0.3)
    members = members_of(found, found.rule)
    assert members[0].centre == pytest.approx((SOFT_KIND.modulus, SOFT_KIND.adhesion), rel=0.05)
