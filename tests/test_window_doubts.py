"""The doubtful pixels walked and decided with the keyboard, corrected with the mouse, undone."""

from __future__ import annotations

import statistics
import time

import numpy as np
import pytest
from PySide6.QtCore import QPointF, Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication
from shell_window import main_window, open_map

from palpate.core.decisions import CORRECTED, KEPT, LEFT_OUT
from palpate.core.doubts import DOUBTS
from palpate.core.simulate import ski_boot
from palpate.core.writers.native import write_map

SLOW = 60_000


@pytest.fixture(scope="module")
def spoiled(tmp_path_factory):
    """A map with some 150 doubtful pixels."""
    import dataclasses

    made = ski_boot(size=40, seed=5, samples=256)
    rng = np.random.default_rng(1)
    d = made.deflection.copy()
    for i in rng.choice(len(made.pixel), 140, replace=False):  # single samples stand out
        d[i, 0, rng.integers(20, 80)] += 8.0
    path = tmp_path_factory.mktemp("maps") / "spoiled.h5"
    write_map(path, **dataclasses.replace(made, deflection=d).arrays())
    return path


@pytest.fixture
def window(qtbot, spoiled):
    with main_window(qtbot) as window:
        window.resize(1280, 800)
        open_map(window, spoiled, qtbot)
        window.show_doubts_panel(True)
        qtbot.waitUntil(lambda: window.workspace.review_desk.ranking is not None, timeout=SLOW)
        yield window


def press(window, key, modifier=Qt.KeyboardModifier.NoModifier):
    QTest.keyClick(window.workspace.map, key, modifier)


def test_a_hundred_doubtful_pixels_are_walked_and_decided_by_keys_alone(qtbot, window):
    """And each key is answered at once: the next curve, list, counts and marks are there when the
    key returns. The time is printed and not judged (see tests/bench)."""
    session, desk = window.session, window.workspace.review_desk
    window.workspace.map.setFocus()
    assert desk.ranking.count >= 120
    start = session.selection
    press(window, Qt.Key.Key_N)
    press(window, Qt.Key.Key_B)
    assert session.selection == start
    press(window, Qt.Key.Key_N)
    order = [divmod(int(f), 40) for f in desk.ranking.flat[:100]]
    assert session.selection == order[0]
    took, report = [], None
    for number, at in enumerate(order):
        assert session.selection == at
        assert session.report is not report  # the curve of this very pixel
        report = session.report
        begun = time.perf_counter()
        press(window, Qt.Key.Key_L if number % 2 else Qt.Key.Key_K)
        took.append(time.perf_counter() - begun)
    print(f"a key takes {1e3 * statistics.median(took):.0f} ms (median)")
    kinds = session.review.kinds((40, 40))
    assert [kinds[at] for at in order] == [KEPT, LEFT_OUT] * 50
    assert window.workspace.map.marks.counts["kept"] == 50
    assert window.workspace.map.marks.counts["left out"] == 50
    page = window.workspace.doubts.decide
    assert "50 kept, 50 left out" in page.counts.text()
    assert page.list.rows.rowCount() == desk.ranking.count - 100
    trusted = session.analysis.trusted
    assert all(trusted[at] for at in order[::2])
    assert not any(trusted[at] for at in order[1::2])

    # B goes back to what was just decided; undo takes it back; a note goes with a decision
    press(window, Qt.Key.Key_B)
    assert session.selection == order[-1]
    press(window, Qt.Key.Key_Z, Qt.KeyboardModifier.ControlModifier)
    assert session.review.kinds((40, 40))[order[-1]] == 0
    session.select(*order[3])
    press(window, Qt.Key.Key_T)
    qtbot.keyClicks(page.note, "keeps like lint")
    qtbot.keyClick(page.note, Qt.Key.Key_Return)
    assert session.decision_at(*order[3]).note == "keeps like lint"
    assert QApplication.focusWidget() is window.workspace.map  # Enter leaves the note
    assert session.review.kinds((40, 40))[order[3]] == LEFT_OUT  # letters typed are no keys
    press(window, Qt.Key.Key_U)
    assert session.decision_at(*order[3]) is None

    # a note on an undecided pixel waits for its decision
    press(window, Qt.Key.Key_T)
    qtbot.keyClicks(page.note, "a scratch")
    qtbot.keyClick(page.note, Qt.Key.Key_Escape)
    press(window, Qt.Key.Key_N)
    session.select(*order[3])
    press(window, Qt.Key.Key_K)
    assert session.decision_at(*order[3]).note == "a scratch"

    # all like one, at once
    spikes = np.uint64(DOUBTS["spikes"].mask)
    carrying = (session.analysis.doubts & spikes) != 0
    session.select(*np.argwhere(carrying & (session.review.kinds((40, 40)) == 0))[0])
    page.own.setCurrentIndex(page.own.findData("spikes"))
    page.low.set_value(None)
    press(window, Qt.Key.Key_A)
    press(window, Qt.Key.Key_Escape)
    assert session.group is None
    press(window, Qt.Key.Key_A)
    assert (session.group == carrying).all()
    press(window, Qt.Key.Key_L)
    assert (session.left_out.mask((40, 40)) & carrying).sum() == carrying.sum()
    assert session.group is None


def test_a_single_pixel_is_corrected_by_dragging_its_window_and_its_contact_point(qtbot, window):
    session = window.session
    good = np.argwhere(session.analysis.trusted & (session.analysis.channel("modulus") < 2.0))
    at = tuple(int(n) for n in good[len(good) // 2])
    session.select(*at)
    settings, before = session.settings, session.analysis.channel("modulus").copy()
    curve = window.workspace.curve
    curve.set_axes("z", "force")
    window.workspace.map.setFocus()
    press(window, Qt.Key.Key_C)
    assert session.correcting
    assert "alone" in curve.note.text()
    drag(qtbot, curve, curve.items.window.lines[1].value(), -3.0)
    assert session.settings == settings
    assert session.decision_at(*at).kind == CORRECTED
    qtbot.waitUntil(lambda: session.finished, timeout=SLOW)
    now = session.analysis.channel("modulus")
    changed = now != before
    assert changed[at]
    assert np.count_nonzero(changed & np.isfinite(before)) == 1
    assert session.report.values["modulus"][0] == pytest.approx(now[at], rel=1e-12)

    curve.fit("contact")
    z0 = session.report.z0
    drag(qtbot, curve, curve.items.hand.value(), 1.5)
    assert session.report.z0 == pytest.approx(z0 + 1.5, abs=0.4)
    assert dict(session.decision_at(*at).change)["fit.contact"] == "given"
    qtbot.waitUntil(lambda: session.finished, timeout=SLOW)
    assert session.analysis.channel("contact_point")[at] == pytest.approx(session.report.z0)
    assert "1 pixel" in session.undo_words

    # any setting, from the form, which shows those of the pixel
    row = window.settings_panel.rows["baseline.extent"]
    window.settings_dock.raise_()
    row.editor.setFocus()
    row.editor.selectAll()
    qtbot.keyClicks(row.editor, "80")
    qtbot.keyClick(row.editor, Qt.Key.Key_Return)
    assert dict(session.decision_at(*at).change)["baseline.extent"] == 80.0
    assert session.settings == settings
    assert "1 pixel alone" in window.settings_panel.whose.text()
    session.select(at[0], at[1] - 1)
    assert not session.correcting
    assert row.editor.value() == settings.baseline.extent
    session.select(*at)
    assert session.correcting
    assert row.editor.value() == 80.0

    for _ in range(3):
        session.undo()
    qtbot.waitUntil(lambda: session.finished, timeout=SLOW)
    np.testing.assert_array_equal(session.analysis.channel("modulus"), before)

    # a correction that does not fit the map's settings any more is told, and not silently dropped
    session.set_correcting(True)
    assert session.apply({"fit.adhesion": "jkr"}, "adhesion")
    session.set_correcting(False)
    assert session.apply({"fit.law": "cone"}, "law")
    qtbot.waitUntil(lambda: session.finished, timeout=SLOW)
    assert any("is not in the numbers" in text for text in window.workspace.notes.texts)


def drag(qtbot, curve, x, by):
    """Drag what stands at `x` of the curve's axis by some nm, with the mouse."""
    box, port = curve.box, curve.canvas.viewport()
    middle = box.viewRect().center().y()
    steps = [x, x + 0.5 * by, x + by]
    places = [curve.canvas.mapFromScene(box.mapViewToScene(QPointF(v, middle))) for v in steps]
    QTest.mouseMove(port, places[0])
    qtbot.wait(30)
    QTest.mousePress(port, Qt.MouseButton.LeftButton, pos=places[0])
    for place in places[1:]:
        qtbot.wait(30)
        QTest.mouseMove(port, place)
    qtbot.wait(30)
    QTest.mouseRelease(port, Qt.MouseButton.LeftButton, pos=places[-1])
    qtbot.wait(30)
