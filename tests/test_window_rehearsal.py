"""The tab Rehearsal in the window: offer, run, look, grow stale, save, and let go of the map."""

from __future__ import annotations

import csv

import pytest
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication
from shell_maps import map_file
from shell_window import LONG, main_window, open_map, type_into

from palpate.app.rehearsal_calls import AskRehearsal
from palpate.app.rehearsal_desk import NOT_YET, STALE, STOPPED
from palpate.app.theme import DARK

LEFT = Qt.MouseButton.LeftButton


def click(button):
    QTest.mouseClick(button, LEFT)


def test_a_rehearsal_from_offer_to_file(qtbot, tmp_path, monkeypatch):
    with main_window(qtbot) as window:
        open_map(window, map_file(tmp_path), qtbot)
        desk = window.workspace.rehearsal_desk
        page, views = desk.page, window.workspace.views
        views.setCurrentWidget(page)

        # the range is offered from the map: moduli of 0.4 and 1.5 GPa, see shell_maps
        low, high = (page.fields[name].value() for name in ("low", "high"))
        assert low == pytest.approx(0.2, rel=0.15)
        assert high == pytest.approx(3.0, rel=0.15)
        measured = page.scene["noise"].lineEdit().placeholderText()
        assert float(measured.split()[-1]) == pytest.approx(0.05, rel=0.03)  # its white noise, nm
        assert page.run.isEnabled()
        assert not page.save.isEnabled()

        # what is impossible is refused in words, and the field keeps its number
        told = []
        page.refused.connect(told.append)
        type_into(page.fields["curves"], "2")
        assert "8 to 10000" in told[0]
        assert page.fields["curves"].value() == 100

        type_into(page.fields["steps"], "3")
        type_into(page.fields["curves"], "40")
        click(page.run)
        assert page.stop.isEnabled()
        qtbot.waitUntil(lambda: desk.made is not None, timeout=LONG)
        made = desk.made
        assert [row.curves for row in made.rows] == [40, 40, 40]
        assert (made.moduli[0], made.moduli[-1]) == pytest.approx((low, high))
        assert len(page.table.lines) == 3
        assert "stated ±" in page.meaning.text()
        assert "slow noise" in page.assumed.text()
        assert page.bars.shown["no contact"] == 1.0
        assert page.stale.isHidden()

        # a click beside a point shows its numbers everywhere
        page.area.ensureWidgetVisible(page.bias)
        QApplication.processEvents()
        at = page.bias.plot.mapFromScene(page.bias.place(2))
        QTest.mouseClick(page.bias.plot.viewport(), LEFT, pos=at)
        assert page.chosen == 2
        assert page.table.current_key() == 2
        assert page.held.mark.isVisible()
        assert f"Put in: {made.rows[2].modulus:.4g} GPa" in page.detail.text()
        window.workspace.set_theme(DARK)
        assert page.chosen == 2

        # other settings: what is shown stays, and says so; running again renews it
        window.session.apply({"fit.fraction_from": 40.0}, "fit window")
        qtbot.waitUntil(lambda: window.session.finished, timeout=LONG)
        assert page.stale.text() == STALE
        assert desk.made is made
        window.session.undo()
        qtbot.waitUntil(lambda: window.session.finished, timeout=LONG)
        assert page.stale.text() != STALE
        type_into(page.scene["noise"], "0.2")
        page.faults.setChecked(False)
        click(page.run)
        qtbot.waitUntil(lambda: desk.made is not made, timeout=LONG)
        assert page.stale.isHidden()
        assert desk.made.scene.noise == 0.2
        assert page.bars.isHidden()
        noisier = [row.fared["modulus"].scatter for row in desk.made.rows]
        assert all(a > b.fared["modulus"].scatter for a, b in zip(noisier, made.rows, strict=True))

        # stopped: what was there stays
        before = desk.made
        type_into(page.fields["curves"], "10000")
        click(page.run)
        qtbot.waitUntil(lambda: window.session.background.working_on(AskRehearsal.lane))
        click(page.stop)
        qtbot.waitUntil(lambda: not desk.running, timeout=LONG)
        assert page.reason.text() == STOPPED
        assert desk.made is before

        path = tmp_path / "told.csv"
        monkeypatch.setattr("palpate.app.dialogs.files.ask_save", lambda *_: path)
        click(page.save)
        qtbot.waitUntil(path.with_name("told_scene.json").exists, timeout=LONG)
        rows = list(csv.DictReader(path.open(encoding="utf-8")))
        put_in = sorted({float(row["modulus_GPa"]) for row in rows})
        assert put_in == pytest.approx(list(made.moduli))

        window.session.close_map()
        assert desk.made is None
        assert page.reason.text() == NOT_YET
        assert not page.run.isEnabled()
