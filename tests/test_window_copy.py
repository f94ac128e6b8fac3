"""Edit > Copy and the pages of File > Export, in one window."""

from __future__ import annotations

import csv
import json

import numpy as np
import pytest
from PySide6.QtCore import QMimeData, Qt
from PySide6.QtGui import QImage
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication, QLineEdit
from shell_maps import SHAPE, map_file
from shell_window import LONG, click_pixel, main_window, open_map

from palpate.app.clipboard import PNG, SVG, Copied, DrawToCopy, Picture, mime_of, put
from palpate.app.dialogs import export
from palpate.app.dialogs.export import TABS, ExportDialog
from palpate.app.findings import present
from palpate.app.recompute import Answer
from palpate.core import Settings


@pytest.fixture(scope="module")
def blend(tmp_path_factory):
    return map_file(tmp_path_factory.mktemp("maps"))


def text():
    return QApplication.clipboard().mimeData().text()


def table(words=None):
    return [line.split("\t") for line in (words or text()).splitlines()]


def test_several_forms_go_to_the_clipboard_at_once(qapp):
    """Read back from the clipboard: text with tabs, a table, the picture in all its pixels, SVG."""
    image = QImage(40, 20, QImage.Format.Format_RGBA8888)
    image.fill(Qt.GlobalColor.red)
    rows = [["E (GPa)", "word"], [1.25, "a < b"], [float("nan"), "tab\there"]]
    put(Copied("it", rows=rows, image=image, svg=b"<svg/>", formatted=True))
    data = QApplication.clipboard().mimeData()
    assert data.text() == "E (GPa)\tword\n1.25\ta < b\n\ttab here\n"
    assert "<th>E (GPa)</th>" in data.html()
    assert "a &lt; b" in data.html()
    assert bytes(data.data(SVG).data()) == b"<svg/>"
    png = QImage.fromData(data.data(PNG), "PNG")
    assert (png.width(), png.height()) == (40, 20)
    assert QImage(data.imageData()).pixelColor(3, 3) == Qt.GlobalColor.red
    bare = mime_of(Copied("numbers", rows=rows))
    assert isinstance(bare, QMimeData)
    assert not bare.hasImage()
    assert not bare.hasHtml()


def test_what_has_the_focus_is_copied_and_told(qtbot, blend, tmp_path, monkeypatch):
    with main_window(qtbot) as window:
        open_map(window, blend, qtbot)
        window.heard = [""]
        window.say = window.heard.append  # work in the background has words for the bar, too
        click_pixel(window, 3, 5)
        qtbot.waitUntil(lambda: window.session.report.col == 5, timeout=LONG)
        copies_by_keys(window, qtbot)
        copies_by_menu(window, qtbot)
        drawn_picture_follows(window)
        exports_by_pages(window, qtbot, tmp_path, monkeypatch)


def said(window):
    return window.heard[-1]


def copies_by_keys(window, qtbot):
    """Ctrl+C on the map, the curve, a table and a field of text."""
    workspace, session = window.workspace, window.session
    workspace.map.setFocus()
    QTest.keyClick(workspace.map, Qt.Key.Key_C, Qt.KeyboardModifier.ControlModifier)
    assert said(window).startswith("Copied the map of height")
    rows = table()
    assert rows[0][0] == "Height (nm); x across, y down (nm)"
    numbers = np.array([[float(v or "nan") for v in row] for row in rows[1:]])
    truth = np.where(session.analysis.trusted, session.analysis.channel("height"), np.nan)
    np.testing.assert_allclose(numbers[:, 1:], truth, rtol=1e-8)
    np.testing.assert_allclose(numbers[:, 0], session.map.y)
    np.testing.assert_allclose([float(v) for v in rows[0][1:]], session.map.x)
    assert QApplication.clipboard().mimeData().hasImage()
    workspace.curve.setFocus(Qt.FocusReason.OtherFocusReason)
    workspace.curve.x_choice.setFocus()
    window.copying.copy()
    assert "the curve at row 3, column 5" in said(window)
    rows = table()
    assert rows[0][4] == "force (nN)"
    report = session.report
    force = [float(row[4]) for row in rows[1:] if row[0] == "approach"]
    np.testing.assert_allclose(force, report.spring_constant * report.approach.d, rtol=1e-7)
    window.components_dock.raise_()
    workspace.components.show_page("table")
    qtbot.waitUntil(lambda: workspace.component_desk.fits and workspace.component_desk.made.whole,
                    timeout=LONG)  # fmt: skip
    shown = workspace.components.table.table
    shown.setFocus()
    window.copying.copy()
    assert "of the table" in said(window)
    assert table()[0][1] == "A"
    histogram = workspace.component_views.histogram
    workspace.views.setCurrentWidget(histogram)
    histogram.setFocus()
    window.copying.copy()
    assert said(window) == "Copied the histogram."
    rows = table()
    assert rows[0][0] == "Reduced modulus (GPa) from"
    counted = np.array([[int(n) for n in row[2:]] for row in rows[1:]]).sum(axis=0)
    made = workspace.component_desk.made.composition
    assert counted[:-1].tolist() == [int((made.labels == k).sum()) for k in range(made.count)]
    field = workspace.map.bar.findChild(QLineEdit)
    field.setFocus()
    field.setText("12.5")
    field.selectAll()
    window.copying.copy()
    assert text() == "12.5"


def copies_by_menu(window, qtbot):
    actions = {a.objectName(): a for a in window.findChildren(type(window.actions_by_id["copy"]))}

    def choose(name):
        window.heard.append("")
        actions[f"copy_{name}"].trigger()
        if name == "map_picture":
            qtbot.waitUntil(lambda: said(window).startswith("Copied "), timeout=LONG)
        assert said(window).startswith("Copied ")

    choose("values")
    by_name = {row[0]: row for row in table()}
    value, error = window.session.report.values["modulus"]
    assert float(by_name["Young modulus"][2]) == pytest.approx(value, rel=1e-8)
    assert float(by_name["Young modulus"][3]) == pytest.approx(error, rel=1e-8)
    assert by_name["Young modulus"][4] == "GPa"
    choose("settings")
    assert Settings.from_text(text(), "toml") == window.session.settings
    choose("components")
    assert table()[0][:2] == ["component", "name"]
    assert QApplication.clipboard().mimeData().hasHtml()
    choose("note")
    for words in ("Height of “invented blend”", "14 × 10 pixels", "1.400 µm × 1.000 µm",
                  "spring constant 2 N/m", "tip radius 20 nm"):  # fmt: skip
        assert words in text()
    choose("map_picture")
    assert not text()
    image = QImage(QApplication.clipboard().mimeData().imageData())
    assert image.width() > 200
    assert QApplication.clipboard().mimeData().data(SVG)  # the drawn one, and not the screen's
    choose("curve_numbers")
    assert not QApplication.clipboard().mimeData().hasImage()


def drawn_picture_follows(window):
    """A picture drawn on the worker replaces that of the screen, unless something else came."""
    desk = window.copying
    rgba = np.full((30, 60, 4), 255, np.uint8)
    rgba[..., 1] = 0
    for meanwhile, width in ((False, 60), (True, None)):
        desk.copy_as("map")
        pending = desk._pending
        assert pending is not None
        if meanwhile:
            QApplication.clipboard().setText("something else")
        request = DrawToCopy(None, None)
        desk._take(Answer(request, pending.number, Picture(rgba, b"<svg/>", "")))
        data = QApplication.clipboard().mimeData()
        if meanwhile:
            assert data.text() == "something else"
        else:
            assert QImage(data.imageData()).width() == width
            assert bytes(data.data(SVG).data()) == b"<svg/>"
            assert data.text().startswith("Height (nm)")


def exports_by_pages(window, qtbot, folder, monkeypatch):
    """Each page writes its folder; one that is there is asked about."""
    session = window.session
    gathered = np.zeros(SHAPE, bool)
    gathered[2, 2:5] = True
    session.gather(gathered)
    asked: list = []

    def show(dialog):
        dialog.folder.setText(str(folder))
        for title, wanted in steps.items():
            if title == "one":
                dialog.tabs.setCurrentIndex(TABS.index(wanted))
        if wanted == "Curves":
            dialog.pages[1].of.setCurrentIndex(1)
        asked.append(dialog.plan.text())
        dialog.go.click()
        return dialog.result()

    monkeypatch.setattr(ExportDialog, "exec", show)
    monkeypatch.setattr(export, "confirm", lambda *words: asked.append(words[1]) or True)
    for page, name, there in (("Tables", "blend_tables", "components.csv"),
                              ("Curves", "blend_curves", "curves/curve_r002_c003.csv"),
                              ("Surface", "blend_surface", "surface/height_levelled_z1x.ply"),
                              ("Together", "blend_export", "maps.h5"),
                              ("Tables", "blend_tables", "settings.csv")):  # fmt: skip
        steps = {"one": page}
        window.commands.ask_export()
        qtbot.waitUntil(lambda: not session.background.working_on("save"), timeout=LONG)
        QApplication.processEvents()
        assert (folder / name / there).is_file()
        package = json.loads((folder / name / "datapackage.json").read_text(encoding="utf-8"))
        assert len(package["resources"]) >= 3
    assert any("files, about" in words for words in asked)
    assert any("blend_tables is in" in words for words in asked)
    with (folder / "blend_curves/curves/curve_r002_c003.csv").open() as file:
        assert len(next(csv.reader(file))) == 9
    dialog = ExportDialog(session.analysis, "height", window, findings=present(session, None))
    qtbot.addWidget(dialog)
    dialog.tabs.setCurrentIndex(TABS.index("Surface"))
    for check in dialog.pages[2].formats.values():
        check.setChecked(False)
    assert not dialog.go.isEnabled()
    assert "Nothing is chosen" in dialog.plan.text()
