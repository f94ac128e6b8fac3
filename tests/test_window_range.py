"""In the window: the page *Range*, with real mouse and keys."""

from __future__ import annotations

import numpy as np
import pytest
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication
from shell_maps import map_file
from shell_window import click_pixel, main_window, open_map

from palpate.app.views.range_page import RangePage


@pytest.fixture(scope="module")
def path(tmp_path_factory):
    return map_file(tmp_path_factory.mktemp("maps"))


def settled(window, qtbot):
    """Wait until the page shows what is wanted now."""
    desk, session = window.workspace.range_desk, window.session
    qtbot.waitUntil(
        lambda: session.finished and desk._asked is None and not desk._timer.isActive()
        and desk._shown == desk._key(), timeout=60_000,
    )  # fmt: skip
    QApplication.processEvents()


def choose(page, key):
    page.scopes.setCurrentIndex(page.scopes.findData(key))
    page.scopes.activated.emit(page.scopes.currentIndex())


def window_in_force(session):
    fit = session.settings.fit
    return fit.fraction_from, fit.fraction_to


def test_a_window_is_chosen_on_the_page_range(qtbot, path):
    with main_window(qtbot) as window:
        window.resize(1300, 850)
        open_map(window, path, qtbot)
        session, workspace = window.session, window.workspace
        desk = workspace.range_desk
        page, view = desk.page, desk.page.view
        workspace.views.setCurrentWidget(page)

        # the picked curve: the very number of the curve view, with its own ±
        row, col = (int(v) for v in np.argwhere(session.analysis.trusted)[0])
        click_pixel(window, row, col)
        settled(window, qtbot)
        scan = desk.scan
        map_value = session.analysis.channel("modulus")[row, col]
        assert scan.single
        assert scan.modulus[scan.at] == pytest.approx(map_value, rel=1e-9)
        assert "the window in force" in view.readout.text()
        assert "E (" in view.bar_unit.text()
        drawn = view.image.image  # colours where there is a modulus, blank where there is none
        assert np.array_equal(drawn[..., 3] > 0, np.isfinite(scan.modulus.T))
        assert drawn.dtype == np.uint8

        # a click on the picture is one entry of the history, and undo takes it back
        before = window_in_force(session)
        i, j = 1, scan.highs.size - 3
        at = view.plot.mapFromScene(view.scene_at(i, j))
        QTest.mouseMove(view.plot.viewport(), at)
        assert f"{scan.lows[i]:.3g} to {scan.highs[j]:.3g} %" in view.readout.text()
        QTest.mouseClick(view.plot.viewport(), Qt.MouseButton.LeftButton, pos=at)
        assert window_in_force(session) == (scan.lows[i], scan.highs[j])
        assert session.undo_words == "fit window"
        settled(window, qtbot)
        assert (desk.scan.lows[desk.scan.at[0]], desk.scan.highs[desk.scan.at[1]]) == \
            window_in_force(session)  # fmt: skip
        session.undo()
        assert window_in_force(session) == before
        settled(window, qtbot)

        # the keyboard: arrows move a cursor, Enter takes its window
        view.setFocus()
        scan, (i, j) = desk.scan, view.cursor
        QTest.keyClick(view, Qt.Key.Key_Down)
        QTest.keyClick(view, Qt.Key.Key_Right)
        assert view.cursor == (i + 1, j - 1)
        assert window_in_force(session) == before  # looking changes nothing
        QTest.keyClick(view, Qt.Key.Key_Return)
        assert window_in_force(session) == (scan.lows[i + 1], scan.highs[j - 1])
        settled(window, qtbot)

        # a click on a line changes one end only
        scan = desk.scan
        low, high = window_in_force(session)
        box = view.lower.plotItem.vb
        x = box.mapViewToScene(box.viewRect().center())
        x.setX(box.mapViewToScene(pg_point(scan.lows[0])).x() + 2)
        QTest.mouseClick(view.lower.viewport(), Qt.MouseButton.LeftButton,
                         pos=view.lower.mapFromScene(x))  # fmt: skip
        assert window_in_force(session) == (scan.lows[0], high)
        settled(window, qtbot)

        # over a sample of the map, and the plateau by its button
        choose(page, "map")
        settled(window, qtbot)
        assert desk.scan.curves.size > 1
        assert page.sentence.text().startswith(f"Median of {desk.scan.curves.size} curves.")
        offered = desk.scan.plateau
        assert page.use.isEnabled() == (offered is not None and offered.at != desk.scan.at)
        if page.use.isEnabled():
            QTest.mouseClick(page.use, Qt.MouseButton.LeftButton)
            assert window_in_force(session) == (offered.low, offered.high)
            settled(window, qtbot)

        # nothing is worked out while the page can't be seen
        workspace.views.setCurrentIndex(0)
        shown = desk.scan
        session.undo()
        qtbot.waitUntil(lambda: session.finished, timeout=60_000)
        QTest.qWait(400)
        assert desk.scan is shown
        assert desk._asked is None


def test_an_empty_page_says_why(qtbot):
    page = RangePage()
    qtbot.addWidget(page)
    page.show_reason("There is no map.")
    page.show()
    assert page.reason.isVisible()
    assert not page.view.isVisible()
    assert not page.use.isEnabled()
    assert page.scope == "curve"


def pg_point(x):
    from PySide6.QtCore import QPointF

    return QPointF(float(x), 0.0)
