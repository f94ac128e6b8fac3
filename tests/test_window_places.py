"""Regions and profiles in the window: drawn, dragged, named, measured and saved, by mouse and keys.

The numbers are compared with core's own functions on the same pixels, which its own tests hold
against solutions by other means.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from PySide6.QtCore import QEvent, QPoint, QPointF, Qt
from PySide6.QtGui import QMouseEvent
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication
from shell_maps import map_file
from shell_window import main_window, open_map

from palpate.app.dialogs import files
from palpate.core.places import (
    Brush,
    Places,
    Profile,
    Rectangle,
    differences,
    mask_of,
    sample_analysis,
    statistics_of,
)

LEFT, NONE = Qt.MouseButton.LeftButton, Qt.MouseButton.NoButton
PLAIN = Qt.KeyboardModifier.NoModifier


@pytest.fixture(scope="module")
def blend(tmp_path_factory):
    return map_file(tmp_path_factory.mktemp("maps"))


@pytest.fixture
def window(qtbot, blend):
    with main_window(qtbot) as window:
        window.resize(1400, 860)
        open_map(window, blend, qtbot)
        window.places_dock.raise_()
        QApplication.processEvents()
        yield window


def send(port, kind, at, button, held, keys=PLAIN):
    place = QPointF(at)
    event = QMouseEvent(kind, place, port.mapToGlobal(place), button, held, keys)
    QApplication.sendEvent(port, event)


def drag(window, *places, keys=PLAIN, release=True):
    """Press at the first place of the map (x, y in its unit), move through the others, let go."""
    view = window.workspace.map
    port = view.plot.viewport()
    at = [view.tools.pointing.pos_of(*place).toPoint() for place in places]
    send(port, QEvent.Type.MouseMove, at[0], NONE, NONE, keys)
    send(port, QEvent.Type.MouseButtonPress, at[0], LEFT, LEFT, keys)
    for a, b in zip(at, at[1:], strict=False):
        for share in (0.3, 0.6, 1.0):
            between = QPoint(round(a.x() + share * (b.x() - a.x())),
                             round(a.y() + share * (b.y() - a.y())))  # fmt: skip
            send(port, QEvent.Type.MouseMove, between, NONE, LEFT, keys)
    if release:
        send(port, QEvent.Type.MouseButtonRelease, at[-1], LEFT, NONE, keys)
    QApplication.processEvents()


def take(window, tool):
    """Choose a tool by its button or its menu over the map."""
    bar = window.workspace.map.toolbar
    bar.actions_of[tool].trigger()
    assert window.workspace.map.tools.tool == tool


def draw_profile(window, *ends):
    take(window, "profile")
    drag(window, *ends)
    return window.session.places.profiles[-1]


def draw_region(window, *ends):
    take(window, "region rectangle")
    drag(window, *ends)
    return window.session.places.regions[-1]


def statistics_there(window, qtbot):
    desk = window.workspace.places_desk
    qtbot.waitUntil(lambda: desk._shown == desk._key() and desk._asked is None, timeout=20_000)


def near(a, b, window):
    """Whether two places are the same but for the pixels of the screen."""
    return np.allclose(a, b, atol=1.5 * window.workspace.map.tools.pointing.screen_pixel)


def test_a_drawn_line_is_a_profile_whose_values_are_those_of_core(window):
    profile = draw_profile(window, (100.0, 500.0), (1300.0, 500.0))
    assert near(profile.points, [(100.0, 500.0), (1300.0, 500.0)], window)
    desk, views = window.workspace.profile_desk, window.workspace.views
    assert views.currentWidget() is desk.page
    assert desk.channels == ("height", "adhesion")  # the map shows the height: once is enough
    core = sample_analysis(profile, window.session.analysis, desk.channels)
    line = desk.view.plots[1].line.getData()[1]
    np.testing.assert_allclose(line, core.channels["adhesion"].values)
    assert window.session.undo_words == "new profile"
    window.session.undo()
    assert window.session.places is None and desk.sampled is None
