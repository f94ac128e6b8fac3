"""The panel *Law*: advice, comparison, contact points and budgets, used with mouse and keys.

The numbers come from `law_data`, so that what is tested is the window alone.
"""

from __future__ import annotations

import csv
import io
import math

import numpy as np
import pytest
from law_data import Provider, budget, map_comparison, on_curve
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication, QLabel
from shell_maps import SHAPE, curves, map_file
from shell_window import main_window, open_map

from palpate.app.dialogs.help_pages import pages
from palpate.app.panels.budget_text import CAUTION, apart_words, budget_csv, budget_text
from palpate.app.panels.law import PAGES
from palpate.core.errors import InputError

LEFT = Qt.MouseButton.LeftButton
DMT, JKR, CONE = ("paraboloid", "constant"), ("paraboloid", "jkr"), ("cone", "constant")


@pytest.fixture(scope="module")
def blend(tmp_path_factory):
    return map_file(tmp_path_factory.mktemp("maps"))


@pytest.fixture
def window(qtbot, blend):
    with main_window(qtbot) as window:
        open_map(window, blend, qtbot)
        window.provider = Provider()
        window.workspace.law_desk.calls = window.provider.calls()
        window.law = window.workspace.law
        yield window


def bring(window, qtbot, page):
    """The panel to the front with a page, and wait for its numbers."""
    window.law_dock.raise_()
    window.law.show_page(page)
    settled(window, qtbot)


def settled(window, qtbot):
    desk = window.workspace.law_desk
    page = window.law.page
    qtbot.waitUntil(
        lambda: window.law.in_sight and desk._asked is None and not desk._timer.isActive()
        and desk._shown.get(page) == desk._key(), timeout=20_000,
    )  # fmt: skip


def click_line(table, key, double=False):
    """Click a line of a table, scrolled into sight first."""
    row = table.row_of(key)
    assert row >= 0
    at = table.visualItemRect(table.item(row, 0)).center()
    outer = table.window().findChildren(type(table.parent().parent().parent()))
    for area in outer:
        if area.isAncestorOf(table):
            where = table.mapTo(area.widget(), at)
            area.ensureVisible(where.x(), where.y())
    QApplication.processEvents()
    QTest.mouseClick(table.viewport(), LEFT, pos=at)
    if double:
        QTest.mouseDClick(table.viewport(), LEFT, pos=at)


def holed(pixel, shape):
    """Arguments for a map whose curves stand at some pixels only."""
    z, d = curves((1, len(pixel)))
    return dict(z=z[0], deflection=d[0], pixel=pixel, shape=shape)


def fit_of(window):
    return window.session.settings.fit.law, window.session.settings.fit.adhesion


# ---- which law


def test_the_panel_shares_a_place_and_asks_nothing_while_it_cannot_be_seen(window, qtbot):
    assert window.settings_dock in window.tabifiedDockWidgets(window.law_dock)
    assert window.law.minimumSizeHint().width() <= window.values_dock.width()
    window.session.select(2, 3)
    qtbot.wait(400)
    assert window.provider.asked == []
    bring(window, qtbot, "advice")
    assert window.provider.asked == [("advise", 2, 3)]


def test_a_key_brings_the_panel_forward_and_then_puts_it_away(window, qtbot):
    action = window.actions_by_id["panel_law"]
    action.trigger()  # it lies behind the settings
    qtbot.waitUntil(lambda: window.law.in_sight)
    assert action.isChecked()
    action.trigger()
    qtbot.waitUntil(lambda: not window.law.in_sight)
    assert not action.isChecked()
    assert window.law_dock.isHidden()


def test_a_broken_verdict_is_shown_in_words_with_its_figure_limit_and_source(window, qtbot):
    bring(window, qtbot, "advice")
    advice = window.law.advice
    assert advice.sentence.text().startswith("Use Maugis-Dugdale here")
    line = next(line for line in advice.checks.lines if line.key == "contact_radius")
    assert line.cells[1] == "0.470 ± 0.020\nbelow 0.3"
    assert line.cells[2] == "broken"
    assert "use the exact sphere" in line.note
    assert "Source: invented." in line.tip
    assert not line.icon.isNull()
    icons = {ln.cells[2]: ln.icon.pixmap(16).toImage() for ln in advice.checks.lines}
    assert len(icons) == 4  # each verdict has a word, and a sign of its own
    assert all(icons[a] != icons[b] for a in icons for b in icons if a != b)
    broken = next(line for line in advice.laws.lines if line.key == JKR)
    assert broken.cells[1] == "broken"
    assert broken.note == "The work of adhesion is too small for JKR."
    item = advice.checks.item(advice.checks.row_of("contact_radius"), 2)
    assert item.text() == "broken"
    unknown = next(line for line in advice.checks.lines if line.key == "pressure")
    assert unknown.cells[1:] == ("–\nbelow yield", "not known")


def test_a_double_click_on_a_law_uses_it_and_undo_takes_it_back(window, qtbot):
    bring(window, qtbot, "advice")
    assert fit_of(window) == DMT
    click_line(window.law.advice.laws, CONE, double=True)
    assert fit_of(window) == CONE
    assert window.session.undo_words == "contact law"
    settled(window, qtbot)
    used = [ln.key for ln in window.law.advice.laws.lines if "in use" in ln.cells[0]]
    assert used == [CONE]
    window.actions_by_id["undo"].trigger()
    assert fit_of(window) == DMT
    settled(window, qtbot)
    used = [ln.key for ln in window.law.advice.laws.lines if "in use" in ln.cells[0]]
    assert used == [DMT]


def test_the_button_uses_the_chosen_law_and_is_off_for_the_one_in_use(window, qtbot):
    bring(window, qtbot, "advice")
    advice = window.law.advice
    assert not advice.use.isEnabled()
    click_line(advice.laws, DMT)
    assert not advice.use.isEnabled()
    click_line(advice.laws, CONE)
    assert fit_of(window) == DMT  # a single click only looks
    QTest.mouseClick(advice.use, LEFT)
    assert fit_of(window) == CONE


def test_advice_for_the_whole_map_does_not_follow_the_picked_pixel(window, qtbot):
    bring(window, qtbot, "advice")
    QTest.mouseClick(window.law.advice.scope.buttons["map"], LEFT)
    settled(window, qtbot)
    assert window.provider.asked[-1] == ("advise", None, None)
    assert "median of the map" in window.law.advice.sentence.text()
    line = next(line for line in window.law.advice.checks.lines if line.key == "tabor")
    assert line.cells[1] == "0.420 ± 0.080\nhalf of all: 0.2 to 0.9\nbelow 0.1"
    before = len(window.provider.asked)
    window.session.select(0, 0)
    qtbot.wait(300)
    assert len(window.provider.asked) == before


def test_a_click_on_a_point_of_the_adhesion_map_picks_its_pixel(window, qtbot):
    bring(window, qtbot, "advice")
    QTest.mouseClick(window.law.advice.scope.buttons["drawn"], LEFT)
    settled(window, qtbot)
    drawn = window.law.advice.drawn
    assert drawn.isVisible()
    assert {name.toPlainText() for name in drawn._names} == {"JKR", "Maugis", "DMT", "Hertz"}
    qtbot.wait(50)
    for pixel in ((2, 3), (8, 12)):
        at = drawn.plot.mapFromScene(drawn.scene_at(*pixel))
        QTest.mouseClick(drawn.plot.viewport(), LEFT, pos=at)
        assert window.session.selection == pixel
        x, y = (float(v[0]) for v in drawn.mark.getData())
        here = drawn.box.mapViewToScene(drawn.box.viewRect().center())
        assert here is not None
        assert math.isclose(x, -0.8 + 1.4 * pixel[1] / SHAPE[1] + 0.02 * pixel[0])
        assert math.isclose(y, 0.2 + 1.5 * pixel[0] / SHAPE[0])


# ---- comparing


def test_laws_are_compared_on_the_picked_curve(window, qtbot):
    window.session.select(4, 5)
    bring(window, qtbot, "comparison")
    assert window.provider.asked == [("compare_on_curve", 4, 5), ("advise", 4, 5)]
    lines = {line.key: line for line in window.law.comparison.table.lines}
    # the criterion's winner and the physics' verdict stand in one row
    assert lines[JKR].cells[0].endswith("\nbroken, best")
    assert lines[DMT].cells[0].endswith("\nstrained, in use")
    assert lines[CONE].cells[0].endswith("\nfits")
    assert "its verdict is “broken”" in window.law.comparison.sentence.text()
    assert lines[DMT].strong
    assert lines[DMT].cells[1:5] == ("1.02", "6.2", "1.452\n± 0.031", "0 %")
    assert lines[JKR].cells[4] == "+17.1 %"
    assert lines[CONE].cells[4] == "−38.0 %"
    impossible = lines["punch", "none"]
    assert set(impossible.cells[1:5]) == {"–"}
    assert impossible.note == "The radius of the face is not recorded."
    shown = [c for c in range(8) if not window.law.comparison.table.isColumnHidden(c)]
    assert shown == [0, 1, 2, 3, 4]


def test_an_impossible_law_cannot_be_used_from_the_comparison(window, qtbot):
    bring(window, qtbot, "comparison")
    page = window.law.comparison
    click_line(page.table, ("punch", "none"))
    assert not page.use.isEnabled()
    click_line(page.table, CONE)
    QTest.mouseClick(page.use, LEFT)
    assert fit_of(window) == CONE


def test_laws_are_compared_over_the_map_and_a_chosen_one_shows_where_it_differs(window, qtbot):
    bring(window, qtbot, "comparison")
    page = window.law.comparison
    QTest.mouseClick(page.compare, LEFT)
    qtbot.waitUntil(lambda: bool(page._map), timeout=20_000)
    assert window.provider.asked[-1] == ("advise", None, None)
    assert "best in 62.0 % of 140 curves" in page.sentence.text()
    lines = {line.key: line for line in page.table.lines}
    assert lines[CONE].cells[5:] == ("2.24", "38.0 %", "−21.0 %")
    assert lines[DMT].cells[0].endswith("\nstrained, best, in use")
    shown = [c for c in range(8) if not page.table.isColumnHidden(c)]
    assert shown == [0, 5, 6, 7]
    assert not page.change_map.isVisible()
    click_line(page.table, CONE)
    assert page.change_map.isVisible()
    assert page.change_map.texts == ("−25 %", "0", "+25 %")
    image = page.change_map._image
    rows, cols = SHAPE
    assert (image.width(), image.height()) == (cols, rows)
    assert image.pixelColor(0, rows - 1).alpha() == 0  # row 0 is at the bottom, its first is nan
    right, left = image.pixelColor(cols - 1, 0), image.pixelColor(0, 0)
    assert page.change_map.height() >= 140  # large enough to see where
    assert page.area.height() >= 110  # and the table does not go for it
    assert right.red() > right.blue()  # more is red
    assert left.blue() > left.red()  # less is blue


def test_a_changed_setting_stops_the_comparison_over_the_map_and_its_answer_is_dropped(
    window, qtbot
):
    bring(window, qtbot, "comparison")
    page = window.law.comparison
    window.provider.gate.clear()
    QTest.mouseClick(page.compare, LEFT)
    qtbot.waitUntil(lambda: window.provider.asked[-1] == ("compare_on_map",), timeout=20_000)
    assert not page.compare.isEnabled()
    window.session.apply({"sample.poisson_ratio": 0.3}, "Poisson ratio")
    window.provider.gate.set()
    qtbot.waitUntil(lambda: window.session.finished, timeout=20_000)
    settled(window, qtbot)
    assert page._map == []
    assert page.compare.isEnabled()
    assert "not been compared" in page.sentence.text()


def test_stop_ends_the_comparison_over_the_map(window, qtbot):
    bring(window, qtbot, "comparison")
    page = window.law.comparison
    window.provider.gate.clear()
    QTest.mouseClick(page.compare, LEFT)
    qtbot.waitUntil(lambda: window.provider.asked[-1] == ("compare_on_map",), timeout=20_000)
    window.actions_by_id["cancel"].trigger()
    window.provider.gate.set()
    qtbot.waitUntil(page.compare.isEnabled, timeout=20_000)
    assert page._map == []
    assert window.status._said == "Stopped."


def test_a_comparison_over_the_map_stays_and_says_that_it_is_of_earlier_settings(window, qtbot):
    bring(window, qtbot, "comparison")
    page = window.law.comparison
    QTest.mouseClick(page.compare, LEFT)
    qtbot.waitUntil(lambda: bool(page._map), timeout=20_000)
    made = len(map_comparison(SHAPE))
    assert not page.stale.isVisible()
    click_line(page.table, CONE, double=True)
    assert fit_of(window) == CONE
    settled(window, qtbot)
    assert len(page._map) == made
    assert page.stale.isVisible()
    assert page.stale.text() == "Made before the last change; run it again."
    window.session.undo()
    assert len(page._map) == made
    assert not page.stale.isVisible()


def test_laws_that_a_curve_can_not_tell_apart_are_not_ranked(window, qtbot):
    """Below 2 the criterion says nothing: Kass & Raftery 1995 (from memory)."""
    found = [on_curve(DMT, 1.9), on_curve(JKR), on_curve(CONE, 2.1)]
    window.provider.compare_on_curve = lambda *_, **__: found
    window.workspace.law_desk.calls = window.provider.calls()
    bring(window, qtbot, "comparison")
    page = window.law.comparison
    assert page.sentence.text().startswith("This curve can't tell paraboloid, constant pull (DMT)")
    lines = {line.key: line.cells[0] for line in page.table.lines}
    assert "among the best" in lines[DMT]
    assert "among the best" in lines[JKR]
    assert "best" not in lines[CONE]


def test_laws_that_differ_on_a_part_of_the_map_are_not_called_alike(window, qtbot):
    """A median would not see the soft tenth on which one law is far off."""
    page = window.law.comparison
    page.scope.set_current("map")
    found = map_comparison(SHAPE)
    found[1].excess = 0.5
    for share, alike in ((0.95, True), (0.7, False)):
        found[1].alike = share
        page.show_map(found, {})
        assert page.sentence.text().startswith("The map can't tell ") == alike
        assert ("among the best" in page.table.lines[0].cells[0]) == alike


def test_curves_on_which_a_law_failed_are_told(window, qtbot):
    found = map_comparison(SHAPE)
    for one in found:
        one.count = 120
    found[1].failed = 20
    window.provider.compare_on_map = lambda *_, **__: found
    window.workspace.law_desk.calls = window.provider.calls()
    bring(window, qtbot, "comparison")
    page = window.law.comparison
    QTest.mouseClick(page.compare, LEFT)
    qtbot.waitUntil(lambda: bool(page._map), timeout=20_000)
    assert "the 120 of 140 curves that every law fitted" in page.sentence.text()
    lines = {line.key: line.note for line in page.table.lines}
    assert lines[CONE] == "It gave no value on 20 of 140 curves."
    assert lines[DMT] == ""


def test_a_free_exponent_and_another_window_are_told(window, qtbot):
    free = on_curve(DMT, note="The window is taken by share of the peak force.")
    free.option.law, free.exponent = "free_exponent", 1.617
    window.provider.compare_on_curve = lambda *_, **__: [free]
    window.workspace.law_desk.calls = window.provider.calls()
    bring(window, qtbot, "comparison")
    assert "n = 1.62" in window.law.comparison.table.lines[0].cells[0]
    assert window.law.comparison.note.text() == free.note


def test_equal_best_laws_are_all_marked(window, qtbot):
    window.provider.compare_on_curve = lambda *_, **__: [on_curve(DMT), on_curve(JKR)]
    window.workspace.law_desk.calls = window.provider.calls()
    bring(window, qtbot, "comparison")
    assert all("among the best" in line.cells[0] for line in window.law.comparison.table.lines)


# ---- contact point


def test_a_contact_point_method_is_told_with_its_bias_and_can_be_used_and_undone(window, qtbot):
    window.session.select(1, 1)
    bring(window, qtbot, "contact")
    page = window.law.contact
    lines = {line.key: line for line in page.table.lines}
    assert lines["threshold"].cells == ("▽ threshold", "13.90\n± 0.40", "1.610\n± 0.030")
    assert lines["threshold"].note == "Late on soft samples; it grows with noise."
    assert lines["change_point"].cells[1:] == ("not found", "–")
    assert lines["free"].cells[0].endswith("\nin use")
    click_line(page.table, "threshold")
    QTest.mouseClick(page.use, LEFT)
    assert window.session.settings.fit.contact == "threshold"
    settled(window, qtbot)
    assert {ln.key for ln in page.table.lines if ln.strong} == {"threshold"}
    window.session.undo()
    assert window.session.settings.fit.contact == "free"


# ---- budget


def test_the_budget_of_a_pixel_opens_with_terms_totals_intervals_and_correlations(window, qtbot):
    window.session.select(3, 7)
    bring(window, qtbot, "budget")
    assert window.provider.asked == [("pixel_budget", 3, 7, "modulus")]
    page = window.law.budget
    text = page.terms.text()
    # each sensitivity says what it goes by, and what nobody measured says so
    assert "Spring constant\n2.00 ± 0.20 N/m  +1 %\nper 1 %  10.0 %" in text
    assert "Contact point\n12.310 ± 0.080 nm  +21 %\nper nm  1.7 %" in text
    assert "Poisson ratio\n0.400 ± 0.030, assumed  −0.95 %" in text
    assert text.count("assumed") == 1
    assert "alone, as in Values: 1.452 ± 0.033 GPa" in page.result.text()
    assert text.index("Local") < text.index("Contact point") < text.index("Common")
    assert text.index("Common") < text.index("Tip radius\n20.0 ± 4.0 nm  −0.5 %\nper 1 %  10.0 %")
    assert text.endswith("All together    11.9 %")
    bars = [line.share for line in page.terms.lines if math.isfinite(line.share)]
    assert max(bars) == 1.0
    ends = [line.cells[1:] for line in page.ends.lines]
    assert ends == [("1.150 GPa", "1.834 GPa"), ("1.138 GPa", "1.871 GPa")]
    told = "Correlated: Spring constant with Deflection sensitivity, r = −0.80."
    assert page.linked.text() == told
    assert page.caution.text() == CAUTION
    for word in ("safety-critical", "medical", "accredited"):
        assert word in CAUTION


def test_another_quantity_has_a_budget_of_its_own(window, qtbot):
    bring(window, qtbot, "budget")
    page = window.law.budget
    page.quantity.setFocus()
    QTest.keyClick(page.quantity, Qt.Key.Key_End)
    QTest.keyClick(page.quantity, Qt.Key.Key_Return)
    page.quantity.activated.emit(page.quantity.currentIndex())
    settled(window, qtbot)
    assert window.provider.asked[-1][-1] == "adhesion"
    assert page.result.text().startswith("Adhesion 9.0 ± 1.1 nN")


def test_a_budget_is_copied_as_text_and_saved_as_numbers(window, qtbot, tmp_path, monkeypatch):
    window.session.select(3, 7)
    bring(window, qtbot, "budget")
    QTest.mouseClick(window.law.budget.copy, LEFT)
    copied = QApplication.clipboard().text()
    assert "invented blend, row 3, column 7" in copied
    assert "Spring constant: 2.00 ± 0.20 N/m" in copied
    assert CAUTION in copied
    path = tmp_path / "budget.csv"
    monkeypatch.setattr("palpate.app.dialogs.files.ask_save", lambda *_: path)
    QTest.mouseClick(window.law.budget.save, LEFT)
    qtbot.waitUntil(lambda: "budget.csv" in window.status.words.text(), timeout=20_000)
    rows = list(csv.DictReader(io.StringIO(path.read_text("utf-8"))))
    named = {row["name"]: row for row in rows}
    assert all(None not in row and None not in row.values() for row in rows)  # not ragged
    assert float(named["Tip radius"]["standard uncertainty"]) == 4.0
    assert named["Contact point"]["sensitivity per"] == "nm"
    assert float(named["total"]["contribution (relative)"]) == budget().total
    assert float(named["modulus"]["from (95 %)"]) == budget().interval[0]
    assert float(named["spring_constant with sensitivity"]["value"]) == -0.8
    assert named["map"]["value"] == "invented blend"
    assert named["pixel"]["value"] == "row 3, column 7"
    assert named["contact law"]["value"] == "paraboloid"
    assert named["adhesion"]["value"] == "constant pull (DMT)"
    assert named["window"]["value"] == "10 to 95 % of the peak force"
    assert CAUTION in named[""]["note"]


def test_intervals_that_differ_say_which_one_to_quote(window, qtbot):
    """JCGM 101 is for where a straight line will not do; a twentieth of the width is our limit."""
    made = budget()
    width = made.interval[1] - made.interval[0]
    made.monte_carlo.low, made.monte_carlo.high = made.interval[0], made.interval[1] + 0.04 * width
    assert apart_words(made) == ""
    made.monte_carlo.high = made.interval[1] + 0.3 * width
    assert "30 % of the width" in apart_words(made)
    assert "Quote the Monte Carlo interval" in budget_text(made)
    window.provider.pixel_budget = lambda *_, **__: made
    window.workspace.law_desk.calls = window.provider.calls()
    bring(window, qtbot, "budget")
    assert window.law.budget.apart.isVisible()


def test_the_text_of_a_budget_holds_what_the_table_holds():
    made = budget()
    made.terms[0].error = math.nan
    made.monte_carlo = None
    text, table = budget_text(made), budget_csv(made)
    assert "nan" not in text
    assert "nan" not in table
    assert "Monte Carlo" not in text + table
    assert "r = −0.80" in text


# ---- late answers, reasons, faults


def test_a_late_answer_for_another_pixel_is_dropped(window, qtbot):
    window.session.select(0, 1)
    bring(window, qtbot, "budget")
    window.provider.gate.clear()
    window.session.select(0, 2)
    qtbot.waitUntil(lambda: window.provider.asked[-1][1:3] == (0, 2), timeout=20_000)
    assert not window.law.budget.inside.isEnabled()  # the old numbers are grey
    shown: list[str] = []
    before = window.law.budget.show_budget
    window.law.budget.show_budget = lambda b, t, about: (shown.append(t), before(b, t, about))
    window.session.select(9, 13)
    window.provider.gate.set()
    settled(window, qtbot)
    assert shown == ["invented blend, row 9, column 13"]
    assert window.law.budget.inside.isEnabled()


def test_a_walk_asks_only_where_it_rests(window, qtbot):
    window.session.select(5, 0)
    bring(window, qtbot, "contact")
    window.workspace.law_desk._timer.setInterval(2000)  # a slow machine walks slowly
    for col in range(1, 12):
        window.session.select(5, col)
        QApplication.processEvents()
    settled(window, qtbot)
    assert [asked[1:] for asked in window.provider.asked] == [(5, 0), (5, 11)]


def test_going_back_before_the_answer_shows_the_numbers_that_are_there(window, qtbot):
    window.session.select(5, 0)
    bring(window, qtbot, "contact")
    window.session.select(5, 1)
    assert not window.law.contact.inside.isEnabled()
    window.session.select(5, 0)
    qtbot.wait(300)
    assert window.law.contact.inside.isEnabled()
    assert [asked[1:] for asked in window.provider.asked] == [(5, 0)]


def test_a_curve_that_has_no_answer_says_why_and_the_next_one_is_shown_again(window, qtbot):
    window.provider.trouble = InputError("The tip radius is not recorded; type it in Settings.")
    bring(window, qtbot, "budget")
    page = window.law.budget
    assert page.reason.isVisible()
    assert page.reason.text() == "The tip radius is not recorded; type it in Settings."
    assert not page.area.isVisible()
    assert page.terms.lines == []
    assert not page.copy.isEnabled()
    window.provider.trouble = None
    window.session.select(0, 0)
    settled(window, qtbot)
    assert page.area.isVisible()
    assert not page.reason.isVisible()


def test_a_part_that_is_not_there_is_named(window, qtbot):
    window.provider.trouble = ModuleNotFoundError("gone", name="palpate.core.contacts")
    bring(window, qtbot, "contact")
    assert "palpate.core.contacts" in window.law.contact.reason.text()


def test_a_fault_of_ours_is_told_once_and_not_at_every_pixel(window, qtbot):
    faults: list[object] = []
    window.session.faulted.disconnect()
    window.session.faulted.connect(faults.append)
    window.provider.trouble = KeyError("what")
    for pixel in ((0, 0), (0, 1)):
        window.session.select(*pixel)
        bring(window, qtbot, "contact")
        assert "the fault is in Palpate" in window.law.contact.reason.text()
    assert len(faults) == 1


def test_a_pixel_without_a_curve_says_so(qtbot, tmp_path):
    shape = (3, 4)
    pixel = np.argwhere(np.arange(12).reshape(shape) != 11)
    path = map_file(tmp_path, **holed(pixel, shape))
    with main_window(qtbot) as window:
        open_map(window, path, qtbot)
        window.law = window.workspace.law
        window.provider = Provider()
        window.workspace.law_desk.calls = window.provider.calls()
        window.session.select(2, 3)
        for page in PAGES:
            bring(window, qtbot, page)
            reason = window.law.pages[page].reason
            assert reason.isVisible()
            assert reason.text() == "There is no curve at row 2, column 3."
        assert window.provider.asked == []


def test_another_map_takes_everything_away(window, qtbot):
    bring(window, qtbot, "comparison")
    QTest.mouseClick(window.law.comparison.compare, LEFT)
    qtbot.waitUntil(lambda: bool(window.law.comparison._map), timeout=20_000)
    window.session.close_map()
    assert window.law.comparison._map == []
    assert window.law.comparison.table.lines == []
    assert window.law_dock.isHidden()


# ---- looks


def test_tables_fit_the_panel_in_both_looks(window, qtbot):
    for theme in ("dark", "light"):
        getattr(window, f"theme_{theme}")()
        for page in PAGES:
            bring(window, qtbot, page)
            qtbot.wait(30)
            for table in window.law.pages[page].tables():
                wide = sum(table.columnWidth(c) for c in range(table.columnCount()))
                assert wide <= table.viewport().width(), (page, theme)
                last = table.item(table.rowCount() - 1, 0)
                bottom = table.visualItemRect(last).bottom()
                assert bottom <= table.viewport().height(), (page, theme)
            for label in window.law.pages[page].findChildren(QLabel):
                if label.isVisible() and label.wordWrap():
                    assert label.height() >= label.heightForWidth(label.width()), label.text()


def test_enter_on_a_law_uses_it(window, qtbot):
    bring(window, qtbot, "advice")
    table = window.law.advice.laws
    table.setFocus()
    table.choose(DMT)
    QTest.keyClick(table, Qt.Key.Key_Down)
    while table.current_key() != CONE:
        QTest.keyClick(table, Qt.Key.Key_Down)
    QTest.keyClick(table, Qt.Key.Key_Return)
    assert fit_of(window) == CONE


def test_the_guide_tells_what_each_law_and_each_part_of_the_uncertainty_is_for():
    from palpate.core.settings import CONTACTS

    page = pages([])["Which law, and how sure"].lower()
    for words in ("paraboloid", "exact sphere", "cone", "four-sided pyramid", "blunted cone",
                  "hyperboloid", "flat punch", "free exponent", "constant pull", "jkr",
                  "maugis-dugdale", "local", "common", "medical"):  # fmt: skip
        assert words in page
    for words in CONTACTS.values():
        assert words.lower() in page


