"""Speed of the window, offscreen, beside something plain measured in the same run.

No test here fails on a clock; they print. Run: ``pytest tests/bench -m bench -s``
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path
from time import perf_counter

import numpy as np
import pytest

import palpate.sample_maps
from palpate.core.explain import explain
from palpate.core.pipeline import analyse

from .scene import tiled_map

pytestmark = pytest.mark.bench
SAMPLE = Path(palpate.sample_maps.__path__[0]) / "ski_boot.h5"


def median_ms(run, times: int = 80) -> float:
    found = []
    for i in range(times + 10):
        start = perf_counter()
        run(i)
        found.append(perf_counter() - start)
    return 1e3 * float(np.median(found[10:]))


def test_a_picked_curve_is_recomputed_and_drawn(qtbot, capsys):
    import pyqtgraph as pg
    from PySide6.QtWidgets import QApplication

    from palpate.app.views.curve_view import CurveView

    fmap = tiled_map(32)
    result = analyse(fmap)
    view = CurveView()
    qtbot.addWidget(view)
    view.resize(520, 560)
    view.show()
    qtbot.waitExposed(view)
    pixels = np.random.default_rng(0).integers(0, 32, (200, 2))

    def pick(i):
        view.show_report(explain(fmap, result.settings, *pixels[i], result))
        view.canvas.viewport().repaint()
        QApplication.processEvents()

    bare = pg.PlotWidget()
    qtbot.addWidget(bare)
    bare.resize(520, 400)
    lines = [bare.plot(pen="k"), bare.plot(pen="r")]
    bare.show()
    qtbot.waitExposed(bare)

    def plain(i):
        samples = fmap.samples(i)
        lines[0].setData(samples.approach_z, samples.approach_signal)
        lines[1].setData(samples.retract_z, samples.retract_signal)
        bare.viewport().repaint()
        QApplication.processEvents()

    compute = median_ms(lambda i: explain(fmap, result.settings, *pixels[i], result))
    drawn, least = median_ms(pick), median_ms(plain)
    with capsys.disabled():
        print(f"\n  picked curve of 2 x 512 samples: explained {compute:.1f} ms, explained and "
              f"drawn {drawn:.1f} ms (median), {drawn / least:.1f} x two bare lines")  # fmt: skip


def times_of_a_start() -> dict[str, float]:
    """Start the window on a sample, read what it prints until it is done, and end it."""
    words = [sys.executable, "-m", "palpate.app.main", "--timing", str(SAMPLE)]
    said: dict[str, float] = {}
    with subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True
                          ) as window:  # fmt: skip
        assert window.stdout is not None
        for line in window.stdout:
            what, _, seconds = line.partition(": ")
            said[what] = float(seconds.split()[0])
            if what == "analysis finished":
                break
        window.terminate()
    return said


def test_start_of_the_window(capsys):
    """Seconds from the first import to the window and to the first map, five starts."""
    plain = "import PySide6.QtWidgets, numpy, pyqtgraph, h5py"
    shown, maps, bare = [], [], []
    for _ in range(5):
        start = perf_counter()
        subprocess.run([sys.executable, "-c", plain], check=True)
        bare.append(perf_counter() - start)
        said = times_of_a_start()
        shown.append(said["window shown"])
        maps.append(said["map shown"])
    with capsys.disabled():
        first, second, least = (float(np.median(x)) for x in (shown, maps, bare))
        print(f"\n  warm start: window {first:.2f} s, first map {second:.2f} s (medians); "
              f"importing the libraries alone {least:.2f} s")  # fmt: skip
