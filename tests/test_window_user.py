"""What a person met who used the window for the first time, and does not meet again."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QLabel
from shell_window import LONG, click_pixel, main_window, open_map

import palpate.sample_maps

SAMPLE = Path(palpate.sample_maps.__path__[0]) / "ski_boot.h5"


@pytest.fixture
def window(qtbot):
    with main_window(qtbot) as window:
        open_map(window, SAMPLE, qtbot)
        yield window


def test_a_click_on_a_mark_of_doubt_picks_the_pixel_below(window):
    severe = np.argwhere(window.session.analysis.severe)
    assert len(severe) > 10
    for row, col in severe[:10].tolist():
        click_pixel(window, row, col)
        assert window.session.selection == (row, col)


def test_numbers_that_are_not_to_be_used_are_grey_and_keep_their_units(window, qtbot):
    analysis, values = window.session.analysis, window.workspace.values
    good = np.argwhere(analysis.trusted & np.isfinite(analysis.channel("modulus")))[0].tolist()
    bad = np.argwhere(analysis.severe & np.isfinite(analysis.channel("modulus")))[0].tolist()
    for pixel, believed in ((good, True), (bad, False)):
        window.session.select(*pixel)
        cells = values.cells["modulus"]
        assert cells[0].isEnabled() == believed
        assert cells[2].text() in ("GPa", "MPa")
        right = cells[2].mapTo(values, cells[2].rect().topRight()).x()
        assert right < values.width()  # the unit is inside the panel
    assert "do not use" in values.heading.text()
    assert values.rows[0].isVisible()
    assert values.rows[0].sentence.wordWrap()


def test_arrow_keys_in_a_list_of_axes_do_not_walk_the_map(window):
    combo, before = window.workspace.curve.x_choice, window.session.selection
    for place in (combo.view(), combo.view().viewport()):
        QTest.keyClick(place, Qt.Key.Key_Down)
    assert window.session.selection == before


def test_words_about_one_map_do_not_stay_for_the_next(window):
    window.say("Saved something")
    window.session.close_map()
    assert "Saved" not in window.status.words.text()


def test_a_tip_that_does_not_fit_the_law_is_told(window):
    def told() -> bool:
        return any("records a tip of the shape" in label.text() and label.isVisible()
                   for label in window.findChildren(QLabel))  # fmt: skip

    assert window.session.map.recorded.tip_shape == "paraboloid"
    assert not told()
    window.session.apply({"fit.law": "punch"}, "contact law")
    assert told()


def test_the_samples_are_in_the_file_menu(window, qtbot):
    entries = {action.text().replace("&", ""): action for action in window.menus["File"].actions()}
    samples = {action.text(): action for action in entries["Samples"].menu().actions()}
    assert set(samples) == {"Ski boot", "Door seal"}
    samples["Door seal"].trigger()
    qtbot.waitUntil(lambda: window.session.map.path.stem == "door_seal", timeout=LONG)


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="elsewhere is always a display")
@pytest.mark.parametrize(("words", "code", "said"), [
    (["frob"], 2, "no such file or command"), ([], 1, "there is no display"),
])  # fmt: skip
def test_without_a_display_or_a_file_there_is_a_sentence_and_an_exit_code(words, code, said):
    bare = {k: v for k, v in os.environ.items()
            if k not in ("DISPLAY", "WAYLAND_DISPLAY", "QT_QPA_PLATFORM")}  # fmt: skip
    done = subprocess.run([sys.executable, "-P", "-m", "palpate.core.cli", *words], text=True,
                          capture_output=True, check=False, env=bare, timeout=60)  # fmt: skip
    assert done.returncode == code
    assert said in done.stderr
    assert "Traceback" not in done.stderr
