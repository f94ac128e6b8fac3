"""The channel strip, the values of the picked pixel, and the theme."""

from __future__ import annotations

import dataclasses
import re
from pathlib import Path

import numpy as np
import pytest
from PySide6.QtCore import Qt
from PySide6.QtGui import QColor
from PySide6.QtWidgets import QApplication, QDockWidget, QMainWindow
from pytestqt.qtbot import QtBot
from views_data import bare_report, report, small_map

import palpate.app.views as views_room
from palpate.app import theme as look
from palpate.app.panels.values import ValuesPanel, parts_of
from palpate.app.theme import DARK, LIGHT
from palpate.app.views.channel_strip import MOST, ChannelStrip, preview_image
from palpate.core import ForceMap, Settings, analyse
from palpate.core.channels import CHANNELS
from palpate.core.curvereport import Raised


def strip_of(qtbot: QtBot, fmap: ForceMap) -> tuple[ChannelStrip, list[str]]:
    strip = ChannelStrip()
    qtbot.addWidget(strip)
    strip.resize(1280, strip.height())
    strip.show_analysis(analyse(fmap, Settings()))
    strip.finish()
    strip.show()
    qtbot.waitExposed(strip)
    said: list[str] = []
    strip.chosen.connect(said.append)
    return strip, said


def uncalibrated() -> ForceMap:
    made = small_map()
    block = made.read_block(np.arange(made.n_curves))
    z = (block.z * made.z_scale + made.z_shift).reshape(made.n_curves, 2, -1)
    volts = (block.signal * made.signal_scale + made.signal_shift).reshape(z.shape)
    return ForceMap.from_arrays(z, volts, deflection_unit="V", pixel=made.pixel, shape=made.shape)


# ---- strip


def test_a_click_and_the_arrow_keys_choose_a_channel(qtbot):
    strip, said = strip_of(qtbot, small_map())
    place = strip.list.visualItemRect(strip.items["modulus"]).center()
    qtbot.mouseClick(strip.list.viewport(), Qt.MouseButton.LeftButton, pos=place)
    qtbot.keyClick(strip.list, Qt.Key.Key_Right)
    qtbot.keyClick(strip.list, Qt.Key.Key_Left)
    assert said == ["modulus", "reduced_modulus", "modulus"]


def test_the_program_marks_a_channel_in_silence(qtbot):
    strip, said = strip_of(qtbot, small_map())
    strip.set_current("adhesion")
    strip.show_analysis(analyse(small_map(), Settings()))
    strip.finish()
    strip.set_theme(DARK)
    assert strip.current == "adhesion"
    assert said == []


def test_channels_that_cannot_be_computed_say_what_is_missing(qtbot):
    strip, said = strip_of(qtbot, uncalibrated())
    item = strip.items["modulus"]
    assert not item.flags() & Qt.ItemFlag.ItemIsEnabled
    assert "sensitivity" in item.toolTip()
    assert "spring constant" in item.toolTip()
    assert "radius" in item.toolTip()
    assert strip.items["height"].flags() & Qt.ItemFlag.ItemIsEnabled
    place = strip.list.visualItemRect(item).center()
    qtbot.mouseClick(strip.list.viewport(), Qt.MouseButton.LeftButton, pos=place)
    assert said == []


def test_the_channel_on_the_map_stays_marked_though_it_cannot_be_computed(qtbot):
    strip, said = strip_of(qtbot, uncalibrated())
    strip.set_current("height")
    strip.set_current("modulus")
    assert strip.current == "modulus"
    assert said == []
    place = strip.list.visualItemRect(strip.items["height"]).center()
    qtbot.mouseClick(strip.list.viewport(), Qt.MouseButton.LeftButton, pos=place)
    assert strip.current == "height"
    assert said == ["height"]


def test_channels_come_back_once_the_constants_are_known(qtbot):
    fmap = uncalibrated()
    strip, _ = strip_of(qtbot, fmap)
    known = {"calibration.deflection_sensitivity": 58.0, "calibration.spring_constant": 2.5,
             "tip.radius": 16.0}  # fmt: skip
    strip.show_analysis(analyse(fmap, Settings().with_values(known)))
    strip.finish()
    assert strip.items["modulus"].flags() & Qt.ItemFlag.ItemIsEnabled


def test_previews_are_small_and_have_their_first_row_at_the_bottom():
    values = np.zeros((512, 300))
    values[:256] = 1.0
    image = preview_image(values, CHANNELS["modulus"])
    assert max(image.width(), image.height()) <= MOST
    low, high = (QColor(*look.colour_table("magnitude")[i]) for i in (0, -1))
    assert image.pixelColor(0, 0) == low
    assert image.pixelColor(0, image.height() - 1) == high
    assert preview_image(np.full((4, 4), np.nan), CHANNELS["modulus"]).pixelColor(1, 1).alpha() == 0


def test_the_strip_can_be_emptied_while_it_draws(qtbot):
    strip, _ = strip_of(qtbot, small_map())
    strip.show_analysis(analyse(small_map(), Settings()))
    strip.show_analysis(None)
    qtbot.wait(20)
    strip.finish()


# ---- values


def panel_of(qtbot: QtBot) -> ValuesPanel:
    panel = ValuesPanel()
    qtbot.addWidget(panel)
    panel.resize(400, 640)
    panel.show()
    return panel


def test_every_channel_has_its_number_uncertainty_and_unit(qtbot):
    panel, found = panel_of(qtbot), report()
    panel.show_report(found)
    value, spread, unit = (cell.text() for cell in panel.cells["modulus"])
    assert float(value) == pytest.approx(found.values["modulus"][0], rel=0.02)
    assert float(spread.removeprefix("± ")) == pytest.approx(found.values["modulus"][1], rel=0.05)
    assert unit == "GPa"
    assert set(panel.cells) == set(CHANNELS)
    assert "spring constant" in panel.local.text()


@pytest.mark.parametrize(
    ("value", "error", "unit", "parts"),
    [
        (0.0021, 0.00012, "GPa", ("2.10", "± 0.12", "MPa")),
        (1.4516, 0.0312, "GPa", ("1.452", "± 0.031", "GPa")),
        (3.5, np.nan, "", ("3.500", "", "")),
        (np.nan, np.nan, "nN", ("–", "", "nN")),
    ],
)
def test_numbers_are_split_into_their_columns(value, error, unit, parts):
    assert parts_of(value, error, unit) == parts


def test_columns_keep_their_widths_whatever_the_numbers(qtbot):
    panel = panel_of(qtbot)
    before = [cell.width() for cells in panel.cells.values() for cell in cells]
    for found in (report(), bare_report(), None):
        panel.show_report(found)
        assert [c.width() for cells in panel.cells.values() for c in cells] == before


def test_doubts_are_listed_with_figure_and_limit_and_go_again(qtbot):
    panel = panel_of(qtbot)
    doubts = [Raised("a", "severe", "Too short.", 9.21, 20.0, "nm"),
              Raised("b", "mild", "No pull-off.", 0.0, np.nan, "")]  # fmt: skip
    panel.show_report(dataclasses.replace(report(), doubts=doubts))
    assert panel.heading.text().startswith("2 doubts, 1 severe")
    assert [row.sign.severe for row in panel.rows] == [True, False]
    assert panel.rows[0].figure.text() == "severe: 9.21 nm (limit 20 nm)"
    assert panel.rows[1].figure.text() == "mild"
    panel.show_report(report())
    assert panel.heading.text() == "No doubts"
    assert not any(row.isVisible() for row in panel.rows)


def test_a_curve_that_cannot_be_judged_is_not_called_free_of_doubts(qtbot):
    panel = panel_of(qtbot)
    panel.show_report(bare_report("V"))
    assert "1 severe" in panel.heading.text()
    assert "a constant is missing" in panel.rows[0].sentence.text()


def test_without_a_curve_the_reason_is_shown(qtbot):
    panel = panel_of(qtbot)
    panel.show_report(None, "being prepared")
    assert "being prepared" in panel.title.text()
    assert panel.cells["modulus"][0].text() == "–"


def test_small_text_stays_small_when_a_panel_moves_into_a_dock(qtbot):
    app, panel = QApplication.instance(), panel_of(qtbot)
    before = app.palette(), app.styleSheet(), app.font()
    look.apply_theme(app, LIGHT)
    panel.set_theme(LIGHT)
    window, dock = QMainWindow(), QDockWidget()
    qtbot.addWidget(window)
    window.addDockWidget(Qt.DockWidgetArea.RightDockWidgetArea, dock)
    dock.setWidget(panel)
    window.show()
    sizes = {cell.font().pointSizeF() for cells in panel.cells.values() for cell in cells}
    assert sizes == {look.small_font().pointSizeF()}
    app.setPalette(before[0])
    app.setStyleSheet(before[1])
    app.setFont(before[2])


# ---- theme


def contrast(a: str, b: str) -> float:
    """Contrast ratio of two colours, WCAG 2.2 (w3.org/TR/WCAG22, relative luminance)."""

    def luminance(text: str) -> float:
        c = QColor(text)
        parts = [v / 12.92 if v <= 0.04045 else ((v + 0.055) / 1.055) ** 2.4
                 for v in (c.redF(), c.greenF(), c.blueF())]  # fmt: skip
        return 0.2126 * parts[0] + 0.7152 * parts[1] + 0.0722 * parts[2]

    high, low = sorted((luminance(a), luminance(b)), reverse=True)
    return (high + 0.05) / (low + 0.05)


@pytest.mark.parametrize("theme", [LIGHT, DARK], ids=["light", "dark"])
def test_text_and_lines_stand_out_in_both_themes(theme):
    for ground in (theme.window, theme.panel, theme.raised):
        assert contrast(theme.ink, ground) > 7.0  # WCAG 2.2, 1.4.6
        assert contrast(theme.muted, ground) > 4.5  # WCAG 2.2, 1.4.3
    for line in (theme.approach, theme.retract, theme.adhesion, theme.accent):
        assert contrast(line, theme.panel) > 3.0  # WCAG 2.2, 1.4.11


@pytest.mark.parametrize("kind", ["magnitude", "height"])
def test_sequential_maps_get_steadily_lighter(kind):
    table = look.colour_table(kind).astype(float)
    light = table[:, :3] @ [0.2126, 0.7152, 0.0722]
    assert (np.diff(light) > -1.5).all()
    assert light[-1] - light[0] > 150


@pytest.mark.parametrize("theme", [LIGHT, DARK], ids=["light", "dark"])
@pytest.mark.parametrize("kind", ["magnitude", "height", "signed"])
def test_no_value_grey_is_no_colour_of_a_map(theme, kind):
    grey = np.array(QColor(theme.no_value).getRgb()[:3], float)
    away = np.linalg.norm(look.colour_table(kind)[:, :3].astype(float) - grey, axis=1)
    assert away.min() > 25.0


def test_a_forced_theme_wins_over_the_system(qapp):
    assert look.theme_for(qapp, "dark") is DARK
    assert look.theme_for(qapp, "light") is LIGHT
    assert look.theme_for(qapp) in (LIGHT, DARK)


def test_icons_take_the_ink_of_the_theme_and_missing_ones_are_empty(qapp):
    picture = look.icon("undo", DARK).pixmap(32, 32).toImage()
    inks = {picture.pixelColor(x, y).name() for x in range(32) for y in range(32)
            if picture.pixelColor(x, y).alpha() == 255}  # fmt: skip
    assert inks == {DARK.ink}
    assert look.icon("no such icon", DARK).isNull()


def test_only_the_theme_names_colours():
    app = Path(views_room.__file__).parent.parent
    named = re.compile(r"#[0-9a-fA-F]{6,8}\b|QColor\(\s*\d")
    files = [path for path in app.rglob("*.py") if path.name != "theme.py"]
    assert len(files) > 10
    assert [path.name for path in files if named.search(path.read_text("utf-8"))] == []


def test_the_whole_look_can_change_while_running(qtbot):
    app, panel = QApplication.instance(), panel_of(qtbot)
    panel.show_report(report())
    before = app.palette(), app.styleSheet(), app.font()
    for theme in (DARK, LIGHT):
        look.apply_theme(app, theme)
        panel.set_theme(theme)
        assert app.palette().window().color().name() == theme.window
    app.setPalette(before[0])
    app.setStyleSheet(before[1])
    app.setFont(before[2])
