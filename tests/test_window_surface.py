"""The page Surface in the window: levelling, roughness, slopes, findings, and derived maps."""

from __future__ import annotations

import csv
from dataclasses import replace

import numpy as np
import pytest
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication
from shell_window import main_window, open_map, type_into

from palpate.app.surface_calls import lettered
from palpate.core.simulate import Lever, Material, Ramp, Simulated, simulate_curve, snake
from palpate.core.surface.levelling import Levelling
from palpate.core.surface.roughness import SYMBOLS, roughness
from palpate.core.uncertainty.groups import pitch_of
from palpate.core.writers import write_map

LEFT = Qt.MouseButton.LeftButton
SOFT, STIFF = Material("soft", 0.06, 0.45, 9.0), Material("stiff", 1.2, 0.4, 5.0)
SHAPE, SIZE = (24, 24), (480.0, 480.0)
TILT = 0.04  # nm a nm along x


def drawn_labels():
    """A soft right third beside a stiff ground."""
    return np.where(np.arange(SHAPE[1]) >= 16, 0, 1)[None, :] * np.ones((SHAPE[0], 1), int)


def drawn_height(ripple):
    """nm at contact: a tilt, a ripple of the wanted height with a wavelength of 160 nm, and a
    narrow bump that is steep."""
    y, x = np.mgrid[: SHAPE[0], : SHAPE[1]] * (SIZE[0] / SHAPE[0])
    bump = 40.0 * np.exp(-((x - 100.0) ** 2 + (y - 300.0) ** 2) / (2 * 18.0**2))
    wave = np.sin(2 * np.pi * x / 160.0 + 0.6) * np.sin(2 * np.pi * y / 160.0 + 1.0)
    return TILT * x + ripple * wave + bump


def drawn(artefact, seed=5):
    """A map whose contact lies on the drawn height; the modulus falls with the slope if asked."""
    rng = np.random.default_rng(seed)
    lever, ramp = Lever(2.0, 60.0, noise=0.05), Ramp(travel=180.0, samples=160, set_force=30.0)
    labels, height = drawn_labels(), drawn_height(8.0)
    gy, gx = np.gradient(height, SIZE[0] / SHAPE[0])
    slope = np.hypot(gx - TILT, gy)
    pixel = snake(SHAPE)
    z, d = (np.empty((len(pixel), 2, ramp.samples)) for _ in range(2))
    for i, (r, c) in enumerate(pixel):
        m = (SOFT, STIFF)[labels[r, c]]
        factor = np.exp(-artefact * slope[r, c]) * np.exp(0.04 * rng.normal())
        pull = m.pull_off * np.exp(0.04 * rng.normal())
        z[i], d[i], _ = simulate_curve(lever, ramp, m.modulus * factor, m.poisson_ratio, pull,
                                       -height[r, c], rng)  # fmt: skip
    return Simulated(z, d, pixel, SHAPE, lever, ramp, (SOFT, STIFF), {}, SIZE)


def written(tmp_path_factory, name, artefact):
    path = tmp_path_factory.mktemp("maps") / f"{name}.h5"
    write_map(path, **drawn(artefact).arrays())
    return path


@pytest.fixture(scope="module")
def clean(tmp_path_factory):
    return written(tmp_path_factory, "clean", 0.0)


@pytest.fixture(scope="module")
def spoiled(tmp_path_factory):
    return written(tmp_path_factory, "spoiled", 1.0)


def opened(window, path, qtbot):
    window.resize(1440, 900)
    open_map(window, path, qtbot)
    window.components_dock.raise_()
    window.workspace.components.show_page("surface")
    settled(window, qtbot)


@pytest.fixture
def window(qtbot, clean):
    with main_window(qtbot) as window:
        opened(window, clean, qtbot)
        yield window


def settled(window, qtbot):
    """Wait until components and surface are worked out whole."""
    desk, components = window.workspace.surface_desk, window.workspace.component_desk
    qtbot.waitUntil(
        lambda: (
            components._shown == components._key()
            and desk._shown == desk._key()
            and desk._asked is None
        ),
        timeout=60_000,
    )
    QApplication.processEvents()


def choose(combo, data):
    """Choose an entry as a person does, which is told."""
    combo.setCurrentIndex(combo.findData(data))
    combo.activated.emit(combo.currentIndex())
    QApplication.processEvents()


def tilt_of(height, where):
    """Slope along x of a plane through chosen pixels, by least squares [nm a pixel]."""
    rows, cols = np.nonzero(where & np.isfinite(height))
    design = np.column_stack([np.ones(rows.size), rows, cols])
    return np.linalg.lstsq(design, height[rows, cols], rcond=None)[0][2]


def test_levelling_takes_a_drawn_tilt_off_and_says_so(window, qtbot):
    page, desk = window.workspace.components.surface, window.workspace.surface_desk
    choose(page.form.order, "none")
    settled(window, qtbot)
    assert "not levelled" in page.words.text(), page.reason.text()
    stiff = drawn_labels() == 1
    pixel = SIZE[1] / SHAPE[1]
    raw = window.session.analysis.channel("height")
    assert (desk.surface.levelled.values == raw)[np.isfinite(raw)].all()
    assert tilt_of(raw, stiff) == pytest.approx(TILT * pixel, rel=0.5)
    choose(page.form.order, "1")
    QTest.mouseClick(page.form.checks[1], LEFT)  # the stiff ground decides
    settled(window, qtbot)
    found = desk.surface.levelled
    assert found.tilt[0] == pytest.approx(TILT, abs=0.012)  # ripple and bump are in the way
    assert np.allclose((found.values + found.removed)[np.isfinite(raw)], raw[np.isfinite(raw)])
    assert "a plane was taken off" in page.words.text()
    assert "component B" in page.words.text()


def test_the_component_that_is_ticked_decides_and_each_step_is_one_act(window, qtbot):
    page, session = window.workspace.components.surface, window.session
    desk = window.workspace.surface_desk
    assert session.work.levelling == Levelling()
    everything = desk.surface.levelled.tilt[0]
    QTest.mouseClick(page.form.checks[1], LEFT)
    settled(window, qtbot)
    stiff = desk.surface.levelled
    assert session.work.levelling == Levelling(on=(1,))
    # the dent of the soft third pulls the plane of all pixels down on the right
    assert everything < stiff.tilt[0] - 0.005
    assert stiff.pixels < (drawn_labels() == 1).sum() + 1
    assert session.undo_words == "components that level"
    session.undo()
    settled(window, qtbot)
    assert session.work.levelling == Levelling()
    assert not page.form.checks[1].isChecked()
    assert desk.surface.levelled.tilt[0] == everything
    session.redo()
    settled(window, qtbot)
    assert desk.surface.levelled.tilt[0] == stiff.tilt[0]


def test_the_roughness_shown_is_that_of_core_for_the_mask_and_the_filters(window, qtbot):
    page, desk = window.workspace.components.surface, window.workspace.surface_desk
    type_into(page.numbers["long"], "300")
    choose(page.whom, 1)
    settled(window, qtbot)
    made = window.workspace.component_desk.made.composition
    mask = made.pixels(1, pure=True) & made.maps.usable
    expected = roughness(desk.surface.levelled.values, mask, pitch_of(window.session.analysis),
                         long=300.0)  # fmt: skip
    assert desk.surface.roughness.value("Sq") == expected.value("Sq")
    lines = {line.cells[0].split()[0]: line for line in page.rough.lines}
    assert tuple(lines) == SYMBOLS
    number = float(lines["Sq"].cells[2].split()[0])
    assert number == pytest.approx(expected.value("Sq"), rel=0.05)
    assert "±" in lines["Sq"].cells[2]
    assert expected.parameters["Std"].note[1:] in lines["Std"].tip
    assert "L-filter of 300" in page.rough_words.text()


def test_a_short_cut_off_above_the_long_one_is_refused_in_words(window):
    page, heard = window.workspace.components.surface, []
    page.refused.disconnect()
    page.refused.connect(heard.append)
    type_into(page.numbers["long"], "100")
    type_into(page.numbers["short"], "200")
    assert "below" in heard[0]
    assert page.options.short == 0.0
    assert page.numbers["short"].value() == 0.0


def test_a_clean_map_gives_no_warning_and_nothing_to_correct(window):
    page, found = window.workspace.components.surface, window.workspace.surface_desk.surface
    pooled = [f for f in found.findings["modulus"] if f.component is None]
    assert len(pooled) == 5
    assert not [f for f in pooled if f.verdict == "warn"]
    assert "modulus" not in found.corrected
    assert not page.corrections["modulus"].isEnabled()
    assert "Modulus and slope" in page.findings.text().replace("Young modulus", "Modulus")


def test_an_artefact_is_warned_of_and_its_correction_is_marked_and_changes_no_number(
    qtbot, spoiled
):
    with main_window(qtbot) as window:
        opened(window, spoiled, qtbot)
        window.session.use_rule(replace(window.session.rule, count=2), "how many")
        settled(window, qtbot)
        page, desk = window.workspace.components.surface, window.workspace.surface_desk
        pooled = {f.quantity: f for f in desk.surface.findings["modulus"] if f.component is None}
        assert pooled["slope"].verdict == "warn"
        assert pooled["slope"].change < -5.0
        assert pooled["slope"].words[:20] in page.findings.text()
        table = window.workspace.component_desk.made.table
        raw = window.session.analysis.channel("modulus").copy()
        QTest.mouseClick(page.corrections["modulus"], LEFT)
        QApplication.processEvents()
        view = window.workspace.map
        assert "corrected" in view.title.text()
        assert window.workspace.banner.isVisible()
        assert "was taken off" in window.workspace.banner.words.text()
        shown = view._values
        stiff = (window.workspace.component_desk.made.composition.pixels(1, pure=True)
                 & np.isfinite(shown))  # fmt: skip
        assert np.std(np.log(shown[stiff])) < 0.8 * np.std(np.log(raw[stiff]))
        assert np.array_equal(window.session.analysis.channel("modulus"), raw, equal_nan=True)
        assert window.workspace.component_desk.made.table is table
        QTest.mouseClick(page.corrections["modulus"], LEFT)
        QApplication.processEvents()
        assert "corrected" not in view.title.text()
        assert not window.workspace.banner.isVisible()


def test_the_levelled_height_is_on_the_map_until_a_channel_is_chosen(window, qtbot):
    page, view, session = window.workspace.components.surface, window.workspace.map, window.session
    channel = session.channel
    before = view.title.text()
    choose(page.picture, "levelled")
    found = window.workspace.surface_desk.surface.levelled
    assert "Levelled height" in view.title.text()
    assert np.array_equal(view._values, found.values, equal_nan=True)
    assert "a plane was taken off" in window.workspace.banner.words.text()
    assert window.workspace.strip.current == ""
    choose(page.form.order, "2")  # and it follows the levelling
    settled(window, qtbot)
    assert not np.array_equal(view._values, found.values, equal_nan=True)
    for name, words in (("slope", "Slope"), ("removed", "Taken off")):
        choose(page.picture, name)
        assert words in view.title.text()
    strip = window.workspace.strip
    rect = strip.list.visualItemRect(strip.items[channel])
    QTest.mouseClick(strip.list.viewport(), LEFT, pos=rect.center())
    QApplication.processEvents()
    assert session.channel == channel
    assert view.title.text() == before
    assert page.picture.currentData() == ""
    assert not window.workspace.banner.isVisible()


def test_limits_set_on_a_derived_map_are_not_those_of_the_channel(window):
    page, view, session = window.workspace.components.surface, window.workspace.map, window.session
    choose(page.picture, "slope")
    view.bar.limits_edited.emit((1.0, 2.0))
    assert view.limits == (1.0, 2.0)
    assert session.limits(session.channel) is None
    QTest.mouseClick(window.workspace.banner.back, LEFT)
    assert view.limits != (1.0, 2.0)


def test_steep_pixels_are_gathered_and_may_be_left_out(window, qtbot):
    page, desk = window.workspace.components.surface, window.workspace.surface_desk
    type_into(page.numbers["limit"], "30")
    settled(window, qtbot)
    gy, gx = np.gradient(drawn_height(8.0), SIZE[0] / SHAPE[0])
    steep = np.degrees(np.arctan(np.hypot(gx - TILT, gy)))
    QTest.mouseClick(page.gather, LEFT)
    group = window.session.group
    assert group.any()
    assert f"{group.sum()} of" in page.slope_words.text()
    inner = (np.arange(SHAPE[1]) < 14) & np.ones(SHAPE, bool)  # the soft edge is steep by its dent
    assert (steep[group & inner] > 20.0).all()
    assert group[(steep > 40.0) & inner].mean() > 0.9
    window.session.leave_out(group)
    settled(window, qtbot)
    assert not (desk.surface.subject.usable & group).any()


def test_the_saved_table_is_rectangular_and_names_levelling_and_filters(window, tmp_path):
    from palpate.app import saving
    from palpate.core.progress import Progress

    surface = window.workspace.surface_desk.surface
    path = tmp_path / "surface.csv"
    assert saving.surface_table(surface, path)(Progress()) == [path]
    with path.open(encoding="utf-8", newline="") as file:
        rows = list(csv.reader(file))
    assert len({len(row) for row in rows}) == 1
    head, rows = rows[0], [dict(zip(rows[0], row, strict=True)) for row in rows[1:]]
    assert all(row["levelling"] == surface.words for row in rows)
    rough = [row for row in rows if row["part"] == "roughness"]
    assert len(rough) == 3 * len(SYMBOLS)  # the whole surface and two components
    assert all(row["filters"] for row in rough)
    sq = next(r for r in rough if r["component"] == "all" and r["symbol"] == "Sq")
    assert float(sq["value"]) == pytest.approx(surface.roughness.value("Sq"))
    kinds = {row["part"] for row in rows}
    assert kinds == {"roughness", "height", "contrast", "slope", "finding"}
    assert "verdict" in head


def test_what_does_not_depend_on_a_change_is_not_worked_out_again(window, qtbot):
    page, desk = window.workspace.components.surface, window.workspace.surface_desk
    before = desk.surface
    type_into(page.numbers["limit"], "40")
    settled(window, qtbot)
    after = desk.surface
    assert after.slopes is not before.slopes
    assert after.findings is before.findings
    assert after.roughness is before.roughness
    assert after.levelled is before.levelled


def test_out_of_sight_nothing_is_worked_out(window, qtbot):
    desk = window.workspace.surface_desk
    window.workspace.components.show_page("find")
    window.session.decide(replace(window.session.work, levelling=None), "levelling")
    qtbot.wait(400)
    assert desk._asked is None
    assert desk._shown != desk._key()
    window.workspace.components.show_page("surface")
    settled(window, qtbot)
    assert "not levelled" in window.workspace.components.surface.words.text()


def test_components_are_told_by_their_letters():
    assert lettered("over component 1 (30)") == "over component B (30)"
    assert lettered("of the components 0, 2, each") == "of the components A, C, each"
    assert lettered("Component 1 against 0: 3 nm") == "Component B against A: 3 nm"
    assert lettered("each component (0, 1), by 2 %") == "each component (A, B), by 2 %"


def test_the_window_starts_without_the_modules_that_compute():
    import subprocess
    import sys

    code = "import palpate.app.main_window, sys; print('scipy' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "False"
