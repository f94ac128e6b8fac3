"""In the window: a result held as reference, and curves laid over each other."""

from __future__ import annotations

import csv
import io
import math

import numpy as np
import pytest
from PySide6.QtCore import QPointF, Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication
from shell_maps import map_file
from shell_window import click_pixel, main_window, open_map

from palpate.app.derived import Derived, channel_of
from palpate.app.dialogs import files
from palpate.app.views.overlay_look import small_letter
from palpate.core.ensemble import aligned
from palpate.core.explain import explain
from palpate.core.places import Places, Rectangle, Region

CTRL = Qt.KeyboardModifier.ControlModifier


@pytest.fixture(scope="module")
def path(tmp_path_factory):
    return map_file(tmp_path_factory.mktemp("maps"))


def settled(window, qtbot):
    """Wait until the analysis and the page Reference are up to date."""
    desk, session = window.workspace.reference_desk, window.session
    qtbot.waitUntil(
        lambda: session.finished and desk._asked is None and desk._shown == desk._key(),
        timeout=60_000,
    )
    QApplication.processEvents()


def shown_map(window):
    return window.workspace.map._values


def with_ctrl(window, row, col):
    view = window.workspace.map
    at = view.plot.mapFromScene(view.scene_at(row, col))
    QTest.mouseMove(view.plot.viewport(), at)
    QTest.mouseClick(view.plot.viewport(), Qt.MouseButton.LeftButton, CTRL, at)
    QTest.qWait(20)


def tick(page, key, on):
    item = next(page.list.item(i) for i in range(page.list.count())
                if page.list.item(i).data(Qt.ItemDataRole.UserRole) == key)  # fmt: skip
    item.setCheckState(Qt.CheckState.Checked if on else Qt.CheckState.Unchecked)


def laid(window, qtbot):
    """Wait until all that is ticked is drawn."""
    desk = window.workspace.overlay_desk
    qtbot.waitUntil(
        lambda: bool(desk._wanted()) and all(
            desk._marks.get(k) == one.mark for k, one in desk._wanted().items()
        ),
        timeout=60_000,
    )  # fmt: skip
    QApplication.processEvents()


def test_a_held_result_is_compared_live_on_page_map_and_curve(qtbot, path):
    with main_window(qtbot) as window:
        window.resize(1300, 850)
        hold = window.actions_by_id["hold_reference"]
        assert not hold.isEnabled()
        open_map(window, path, qtbot)
        session, workspace = window.session, window.workspace
        desk = workspace.reference_desk
        page = desk.page
        workspace.views.setCurrentWidget(page)
        assert "No result is held" in page.reason.text()

        # held: the same settings change nothing
        hold.trigger()
        before, held = session.analysis, session.reference
        assert held.analysis is before
        settled(window, qtbot)
        assert page.sentence.text().endswith("the settings are the same.")
        assert page.all.lines[0].cells[-1] == "none"
        assert not page.use.isEnabled()
        assert window.actions_by_id["drop_reference"].isEnabled()

        # a hand drags: the table follows before it lets go
        session.choose_channel("modulus")
        session.begin_drag()
        session.preview({"fit.fraction_from": 40.0})
        qtbot.waitUntil(lambda: desk.changes is not None and not desk.changes.whole
                        and desk.changes.rows[0].difference != 0.0, timeout=60_000)  # fmt: skip
        assert session.dragging
        assert "one setting differs" in page.sentence.text()
        assert session.commit("fit window")
        settled(window, qtbot)
        now = session.analysis
        both = before.trusted & now.trusted
        ratio = (now.channel("modulus") / before.channel("modulus"))[both]
        row = desk.changes.rows[0]
        assert row.relative == pytest.approx(np.nanmedian(ratio) - 1.0)
        said = page.table.lines[0].cells
        assert said[0] == "All"
        assert f"{100 * row.relative:+.1f}".replace("-", "−") in said[3]
        assert page.settings.text().split("  ") == ["Fit window", "10 %", "40 %"]

        # the map: difference and ratio, following channel and settings
        page.maps.buttons["ratio"].click()
        expected = 100 * np.log(now.channel("modulus") / before.channel("modulus"))
        assert np.allclose(shown_map(window)[both], expected[both], equal_nan=True)
        assert "ratio to the reference" in workspace.banner.words.text()
        page.maps.buttons["difference"].click()
        workspace.strip.chosen.emit("indentation")
        expected = now.channel("indentation") - before.channel("indentation")
        assert np.allclose(shown_map(window)[both], expected[both], equal_nan=True)
        other = channel_of("levelled", "Levelled height", "h", "nm", "", "height")
        workspace.surface_desk.derived_changed.emit(
            Derived(other, np.zeros(session.map.shape), "", now))  # fmt: skip
        assert desk.picture == ""  # one map at a time
        assert "Levelled height" in workspace.banner.words.text()
        page.maps.buttons["difference"].click()

        # the curve: the reference's own fit, dashed and in the legend, pixel by pixel
        for at in ((4, 6), (7, 2)):
            click_pixel(window, *at)
            qtbot.waitUntil(lambda at=at: session.selection == at)
            QApplication.processEvents()
            own = explain(session.map, held.settings, *at, before)
            z, d = workspace.curve.items.lines["reference"].getData()
            assert np.allclose(z, own.law_z)
            assert np.allclose(d, own.law_d * own.spring_constant)  # force against z
            modulus = own.values["modulus"][0]
            told = workspace.curve.legend.texts["reference"]
            assert float(told.split()[0]) == pytest.approx(modulus * (
                1000.0 if "MPa" in told else 1.0), rel=0.02)  # fmt: skip
        assert "fit of the reference" in workspace.curve.note.text()

        # a decision about a pixel is in it at once
        out = np.zeros(session.map.shape, bool)
        out[1, 3] = True
        assert np.isfinite(shown_map(window)[1, 3])
        session.leave_out(out)
        QApplication.processEvents()
        assert np.isnan(shown_map(window)[1, 3])
        assert "Pixels left out  0  1" in page.settings.text()
        session.undo()

        # its settings come back as one step, and can be undone
        page.use.click()
        assert session.settings == held.settings
        assert session.undo_words == "settings of the reference"
        settled(window, qtbot)
        assert np.nanmax(np.abs(shown_map(window))) == 0.0
        session.undo()
        settled(window, qtbot)
        assert session.settings.fit.fraction_from == 40.0
        assert np.nanmax(np.abs(shown_map(window))) > 0.0

        # let go: everything of it goes
        window.actions_by_id["drop_reference"].trigger()
        assert session.reference is None
        assert "No result is held" in page.reason.text()
        assert not workspace.banner.isVisible()
        assert "reference" not in workspace.curve.legend.texts
        hold.trigger()
        session.close_map()
        assert session.reference is None


def test_curves_of_pixels_and_sets_are_laid_over_each_other(qtbot, path, tmp_path, monkeypatch):
    with main_window(qtbot) as window:
        window.resize(1300, 850)
        open_map(window, path, qtbot)
        session, workspace = window.session, window.workspace
        desk = workspace.overlay_desk
        page = desk.page
        workspace.views.setCurrentWidget(page)

        # Ctrl + click adds and takes away; the picked pixel stays what it was
        picked = session.selection
        with_ctrl(window, 2, 5)
        with_ctrl(window, 8, 9)
        assert session.overlaid == ((2, 5), (8, 9))
        assert session.selection == picked
        assert workspace.map.layers.picks.texts == [small_letter(0), small_letter(1)]
        assert page.texts[:2] == ["a: row 2, column 5", "b: row 8, column 9"]
        with_ctrl(window, 2, 5)
        assert session.overlaid == ((8, 9),)
        window.actions_by_id["overlay_pixel"].trigger()
        assert session.overlaid == ((8, 9), picked)
        page.list.setCurrentRow(1)
        QTest.keyClick(page.list, Qt.Key.Key_Delete)
        assert session.overlaid == ((8, 9),)
        # the curve is the measured one, on its own contact
        at, z0 = session.map.curve_at(8, 9), session.analysis.channel("contact_point")[8, 9]
        found = page.view.sets[0].branches["approach"]
        report = explain(session.map, session.settings, 8, 9)
        assert at >= 0
        assert np.allclose(found.x, report.approach.z - z0 - report.approach.d)
        assert np.allclose(found.y, report.spring_constant * report.approach.d)

        # components, a region and gathered pixels: medians as core makes them
        qtbot.waitUntil(lambda: workspace.component_desk.made is not None
                        and workspace.component_desk.made.whole, timeout=60_000)  # fmt: skip
        laid(window, qtbot)
        composition = workspace.component_desk.made.composition
        own = aligned(session.analysis, session.map.index_map[composition.labels == 0])
        line = next(s for s in page.view.sets if s.look.letter == "A").branches["approach"]
        there = np.isfinite(line.y)
        assert there.sum() > 100
        assert np.allclose(line.y[there], own.branches["approach"].median[there])
        mask = np.zeros(session.map.shape, bool)
        mask[2:6, 2:9] = True
        session.gather(mask)
        box = Rectangle(100.0, 100.0, 700.0, 500.0)
        session.use_places(Places(regions=(Region("corner", box),), unit="nm"), "region")
        laid(window, qtbot)
        assert not desk.is_on("region corner")
        tick(page, "region corner", True)
        laid(window, qtbot)
        names = [s.name for s in page.view.sets]
        assert "gathered pixels" in names
        assert "corner" in names
        count = int(np.count_nonzero(mask & session.analysis.trusted))
        assert f"gathered pixels: {count} curves" in page.texts

        # other axes, one branch, and what the pointer reads
        page.x_choice.setCurrentIndex(page.x_choice.findData("z"))
        page.x_choice.activated.emit(page.x_choice.currentIndex())
        page.branch_choice.setCurrentIndex(page.branch_choice.findData("retract"))
        page.branch_choice.activated.emit(page.branch_choice.currentIndex())
        laid(window, qtbot)
        assert page.align_choice.findData("none") >= 0
        group = next(s for s in page.view.sets if s.name == "gathered pixels")
        assert set(group.branches) == {"retract"}
        line = group.branches["retract"]
        for name in [s.key for s in page._entries if s.key != "gathered"]:
            tick(page, name, False)
        i = int(np.nanargmax(line.y))
        text = page.view.text_at(page.view.box.mapViewToScene(QPointF(line.x[i], line.y[i])))
        assert text.startswith("gathered pixels, retract")
        assert f"{line.y[i]:.3f} nN" in text

        # the file holds what is drawn
        target = tmp_path / "curves.csv"
        monkeypatch.setattr(files, "ask_save", lambda *_, **__: target)
        with qtbot.waitSignal(session.answered, timeout=10_000):
            page.save.click()
        rows = list(csv.DictReader(io.StringIO(target.read_text(encoding="utf-8"))))
        assert {r["set"] for r in rows} == {"gathered pixels"}
        assert {r["branch"] for r in rows} == {"retract"}
        top = max(float(r["y_median_nN"]) for r in rows)
        assert top >= np.nanmax(line.y) - 1e-4
        assert rows[0]["axes"] == "force against base position, aligned at contact"

        # components have lines of their own on the page Reference
        window.actions_by_id["hold_reference"].trigger()
        assert np.array_equal(session.reference.labels, composition.labels)
        workspace.views.setCurrentWidget(workspace.reference_desk.page)
        settled(window, qtbot)
        lines = workspace.reference_desk.page.table.lines
        assert [line.cells[0] for line in lines] == ["All", *composition.names]
        counts = [int(np.count_nonzero(composition.labels == k)) for k in range(composition.count)]
        assert [line.cells[-1] for line in lines[1:]] == [f"{n} → {n}" for n in counts]
        workspace.views.setCurrentWidget(page)

        # nothing ticked says what to do; another map forgets
        tick(page, "gathered", False)
        assert "Ctrl + click" in page.note.text()
        assert not page.save.isEnabled()
        for i in range(13):
            session.add_overlaid(i % 10, i)
        assert len(session.overlaid) == 12
        assert "taken away" not in page.note.text()
        session.close_map()
        assert session.overlaid == ()
        assert math.isfinite(page.view.box.viewRect().width())
