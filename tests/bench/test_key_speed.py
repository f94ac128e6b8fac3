"""How soon a key of the walk through the doubtful pixels is answered, against the curve alone.

A key decides about the picked pixel, goes to the next one, and has its curve, values, list, counts
and marks drawn before it returns.
"""

from __future__ import annotations

import statistics
import sys
import time
from pathlib import Path

import numpy as np
import pytest
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication

sys.path.insert(0, str(Path(__file__).parents[1]))
from shell_window import main_window, open_map

from palpate.core.explain import explain
from palpate.core.simulate import ski_boot
from palpate.core.writers.native import write_map

pytestmark = pytest.mark.bench


def test_a_key_of_the_walk_against_explaining_one_curve(qtbot, tmp_path):
    made = ski_boot(size=64, seed=5, samples=512)
    rng = np.random.default_rng(1)
    for i in rng.choice(len(made.pixel), 300, replace=False):
        made.deflection[i, 0, rng.integers(20, 120)] += 8.0
    path = tmp_path / "map.h5"
    write_map(path, **made.arrays())
    with main_window(qtbot) as window:
        window.resize(1280, 800)
        open_map(window, path, qtbot)
        window.show_doubts_panel(True)
        desk, session = window.workspace.review_desk, window.session
        qtbot.waitUntil(lambda: desk.ranking is not None, timeout=60_000)
        qtbot.wait(3000)
        window.workspace.map.setFocus()
        QTest.keyClick(window.workspace.map, Qt.Key.Key_N)
        keys, curves = [], []
        for number in range(100):
            begun = time.perf_counter()
            QTest.keyClick(window.workspace.map, Qt.Key.Key_L if number % 2 else Qt.Key.Key_K)
            QApplication.processEvents()
            keys.append(1e3 * (time.perf_counter() - begun))
            begun = time.perf_counter()
            explain(session.map, session.settings, *session.selection, session.worked_out)
            curves.append(1e3 * (time.perf_counter() - begun))
        assert session.left_out.count == 50
    key, curve = statistics.median(keys), statistics.median(curves)
    print(f"\na key {key:.0f} ms (median; 95 % below {np.quantile(keys, 0.95):.0f}), "
          f"{key / curve:.1f} times one curve explained ({curve:.1f} ms)")  # fmt: skip
