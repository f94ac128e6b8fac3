"""Components of a large map: what follows a changed threshold, beside plain work of a library.

No test here fails on a clock; they print. Run: ``pytest tests/bench -m bench -s``
"""

from __future__ import annotations

import sys
from pathlib import Path
from time import perf_counter

import numpy as np
import pytest
from scipy import ndimage

from palpate.core.channels import CHANNELS
from palpate.core.components import Axis, Rule, find, table_of

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from component_maps import MIDDLE, SOFT, STIFF, drawn  # noqa: E402

pytestmark = pytest.mark.bench
SIZE = 512


def median_of(run, times=7):
    found = []
    for i in range(times):
        start = perf_counter()
        run(i)
        found.append(perf_counter() - start)
    return float(np.median(found))


def test_a_changed_threshold_on_a_large_map(qtbot, capsys):
    """Labels, zones, the table of the rule's channels and the joint histogram, 512 x 512."""
    from PySide6.QtWidgets import QApplication

    from palpate.app.views.joint_view import JointView

    maps = drawn((STIFF, SOFT, MIDDLE), (0.25, 0.1), size=SIZE, width=5.0, seed=1).maps
    axes = (Axis("reduced_modulus", True), Axis("adhesion"))
    view = JointView()
    qtbot.addWidget(view)
    view.resize(560, 560)
    view.show()
    qtbot.waitExposed(view)
    shares = {}

    def step(i):
        start = perf_counter()
        rule = Rule("thresholds", axes, thresholds=(0.15 + 0.002 * i, 0.8))
        made = find(maps, rule)
        found = perf_counter()
        table_of(made, ["reduced_modulus", "adhesion"])
        tabled = perf_counter()
        usable = maps.usable
        view.show_values(maps.values["reduced_modulus"][usable], maps.values["adhesion"][usable],
                         made.labels[usable], CHANNELS["reduced_modulus"], CHANNELS["adhesion"],
                         made.names, log_x=True, log_y=False)  # fmt: skip
        view.plot.viewport().repaint()
        QApplication.processEvents()
        shares.update(find=found - start, table=tabled - found, joint=perf_counter() - tabled)

    plain = median_of(lambda _: ndimage.distance_transform_edt(maps.values["adhesion"] > 6.0))
    whole = median_of(step)
    mixture = median_of(lambda i: find(maps, Rule(seed=i)), 2)
    parts = ", ".join(f"{name} {value:.2f}" for name, value in shares.items())
    with capsys.disabled():
        print(f"\n  changed threshold, {SIZE} x {SIZE}: {whole:.2f} s ({parts}), "
              f"{whole / plain:.0f} x one distance transform of it; mixture found anew "
              f"{mixture:.1f} s, {mixture / plain:.0f} x")  # fmt: skip
