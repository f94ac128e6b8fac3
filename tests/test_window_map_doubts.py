"""Doubts about the whole map are told once with their evidence; a decision's effect is shown."""

from __future__ import annotations

import csv

import numpy as np
import pytest
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from shell_window import main_window, open_map

from palpate.app.dialogs import files
from palpate.core.simulate import Lever, Material, Ramp, TipChange, blobs, simulate_map
from palpate.core.writers.native import write_map

LINE, FACTOR, LONG = 17, 1.4, 60_000
STIFF = Material("stiff", 1.5, 0.4, 6.0, 0.05, 0.04)
SOFT = Material("soft", 0.1, 0.48, 10.0, 0.05, 0.04)


@pytest.fixture(scope="module")
def worn(tmp_path_factory):
    """A map whose tip became blunter at one line."""
    rng = np.random.default_rng(3)
    labels = np.zeros((40, 40), int)
    labels[blobs((40, 40), 12, (2, 5), rng)] = 1
    made = simulate_map(labels, (STIFF, SOFT), lever=Lever(2.0, 60.0, noise=0.07),
                        ramp=Ramp(samples=200, travel=130, set_force=30), seed=5,
                        tip_changes=(TipChange(LINE, FACTOR),))  # fmt: skip
    path = tmp_path_factory.mktemp("maps") / "worn.h5"
    write_map(path, **made.arrays())
    return path


def test_a_changed_tip_is_told_once_and_what_leaving_a_part_out_does_is_shown(
    qtbot, worn, tmp_path, monkeypatch
):
    with main_window(qtbot) as window:
        window.resize(1280, 800)
        open_map(window, worn, qtbot)
        session, workspace = window.session, window.workspace
        panel, desk = workspace.doubts, workspace.map_doubts_desk
        told = []
        desk.told.connect(told.append)
        window.show_doubts_panel(True)
        qtbot.waitUntil(lambda: bool(desk.doubts), timeout=LONG)
        found = next(d for d in desk.doubts if d.name == "tip_changed")
        assert abs(found.evidence.line - LINE) <= 1
        value, _, _ = found.evidence.facts["Tip radius after over before"]
        assert value == pytest.approx(FACTOR, rel=0.05)

        # the page has the sentence, the facts and a plot of both sides of the line
        panel.show_page("map")
        page = panel.whole
        page.table.choose(desk.doubts.index(found))
        page._show_chosen()
        assert f"From row {found.evidence.line} on" in page.table.text()
        assert "Tip radius" in page.facts.text()
        x, y = page._points.getData()
        assert min(x) < LINE < max(x)
        assert np.isfinite(y).all()
        assert "Whole map (" in panel.tabs.tabText(2)

        # the part after the line, gathered and left out, changes the pull-off
        QTest.mouseClick(page.after, Qt.MouseButton.LeftButton)
        rows = np.nonzero(session.group.any(axis=1))[0]
        assert (rows[0], rows[-1]) == (found.evidence.line, 39)
        workspace.map.setFocus()
        QTest.keyClick(workspace.map, Qt.Key.Key_L)
        assert session.left_out.count == int((40 - rows[0]) * 40)
        panel.show_page("decided")
        decided = panel.decided
        qtbot.waitUntil(lambda: bool(decided.effect.lines), timeout=LONG)
        assert "Leaving out" in decided.effect_title.text() or "Deciding" in (
            decided.effect_title.text())  # fmt: skip
        before, after = (float(t.replace("−", "-")) for t in _line(decided, "Adhesion", "All")[1:3])
        assert after < 0.95 * before  # the blunter part stuck more
        assert sum("tip changed" in words for words in told) <= 1

        # the list leaves as a table; taking the decision back brings the pixels back
        path = tmp_path / "list.csv"
        monkeypatch.setattr(files, "ask_save", lambda *_: path)
        QTest.mouseClick(decided.buttons["save"], Qt.MouseButton.LeftButton)
        qtbot.waitUntil(path.is_file, timeout=LONG)
        with path.open(encoding="utf-8", newline="") as file:
            table = list(csv.DictReader(file))
        assert len(table) == session.left_out.count
        assert {row["decision"] for row in table} == {"leave out"}
        decided.table.choose(0)
        decided.show_buttons()
        QTest.mouseClick(decided.buttons["take_back"], Qt.MouseButton.LeftButton)
        assert session.left_out.count == 0


def _line(page, channel, title):
    """The cells of a title's line under a channel's heading."""
    lines = page.effect.lines
    at = next(i for i, line in enumerate(lines) if line.cells[0].startswith(channel))
    return next(line.cells for line in lines[at:] if line.cells[0].strip() == title)
