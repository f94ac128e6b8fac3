"""Another picture of the map's place in the window: laid, aligned, compared, by mouse and keys."""

from __future__ import annotations

import numpy as np
import pytest
from PIL import Image
from PySide6.QtCore import QPointF, Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication
from scipy import ndimage
from shell_window import close_errors, error_text, main_window, open_map

from palpate.core.pictures.alignment import ByHand, by_hand
from palpate.core.simulate import Lever, Material, Ramp, simulate_map
from palpate.core.writers import write_map

LEFT = Qt.MouseButton.LeftButton
SOFT, STIFF = Material("soft", 0.06, 0.45, 9.0, 0.05, 0.03), Material("stiff", 1.2, 0.4, 5.0, 0.05)
SHAPE, SIZE = (32, 32), (1240.0, 1240.0)
TRUE = by_hand((80, 80), ByHand(600.0, 630.0, 8.0, 17.0))
"""How the drawn picture lies on the map: 80 pixels of 17 nm, turned."""


def blobs(n):
    """Soft patches of no order in a stiff ground, (n, n) on a plane three times the map's width."""
    field = ndimage.gaussian_filter(np.random.default_rng(5).standard_normal((96, 96)), 2.5)
    return ndimage.zoom(field, n / 96, order=1) < np.median(field)


WORLD = blobs(960)
CORNER, GRAIN = -1240.0, 3 * 1240.0 / 960


def soft_at(points):
    """Whether places on the map (n, 2) in nm are soft."""
    col, row = np.rint((points - CORNER) / GRAIN).astype(int).T
    return WORLD[row, col]


@pytest.fixture(scope="module")
def drawn(tmp_path_factory):
    """A map of a blend, and a picture of its place in which stiff is bright."""
    folder = tmp_path_factory.mktemp("pictures")
    x, y = np.meshgrid(np.linspace(0, SIZE[0], SHAPE[1]), np.linspace(0, SIZE[1], SHAPE[0]))
    labels = np.where(soft_at(np.stack([x.ravel(), y.ravel()], 1)).reshape(SHAPE), 0, 1)
    made = simulate_map(labels, (SOFT, STIFF), lever=Lever(2.0, 60.0, noise=0.06),
                        ramp=Ramp(travel=120.0, samples=160, set_force=30.0), scan_size=SIZE,
                        seed=3)  # fmt: skip
    write_map(folder / "blend.h5", **made.arrays())
    cols, rows = np.meshgrid(np.arange(80), np.arange(80))
    soft = soft_at(TRUE.to_map(np.stack([cols.ravel(), rows.ravel()], 1))).reshape(80, 80)
    grey = np.where(soft, 70.0, 170.0) + np.random.default_rng(1).normal(0.0, 8.0, (80, 80))
    Image.fromarray(np.clip(grey, 0, 255).astype(np.uint8)[::-1].copy()).save(folder / "place.png")
    (folder / "broken.png").write_bytes((folder / "place.png").read_bytes()[:300])
    return folder


@pytest.fixture
def window(qtbot, drawn):
    with main_window(qtbot) as window:
        window.resize(1400, 860)
        open_map(window, drawn / "blend.h5", qtbot)
        yield window


@pytest.fixture
def laid(window, qtbot, drawn, monkeypatch):
    """The picture laid, by the menu. Gives nothing: what is held here would outlive the window."""
    asked = lambda *_: drawn / "place.png"  # noqa: E731
    monkeypatch.setattr("palpate.app.dialogs.files.ask_open", asked)
    window.actions_by_id["picture"].trigger()
    desk = window.workspace.picture_desk
    qtbot.waitUntil(lambda: desk.laid is not None, timeout=20_000)
    QApplication.processEvents()


def off(desk):
    """How far the corners of the picture lie from where they should [nm]."""
    corners = [[0, 0], [79, 0], [0, 79], [79, 79]]
    return np.abs(desk.laid.alignment.to_map(corners) - TRUE.to_map(corners)).max()


def click_picture(desk, column, row):
    view = desk.view
    at = view.plot.mapFromScene(view.scene_at(column, row))
    QTest.mouseClick(view.plot.viewport(), LEFT, pos=at)
    QTest.qWait(10)


def click_map(window, x, y):
    view = window.workspace.map
    f = view.layers.factor
    at = view.plot.mapFromScene(view.box.mapViewToScene(QPointF(x * f, y * f)))
    QTest.mouseClick(view.plot.viewport(), LEFT, pos=at)
    QTest.qWait(10)


def test_a_picture_gets_a_tab_and_lies_over_the_map_until_it_is_removed(window, laid):
    desk = window.workspace.picture_desk
    views, picture = window.workspace.views, window.workspace.map.layers.picture
    assert views.tabText(views.currentIndex()) == "Picture"
    assert picture.frame.isVisible()
    assert "not aligned" in desk.panel.words.text()
    QTest.mouseClick(desk.panel.take, LEFT)
    assert desk.laid is None
    assert views.indexOf(desk.page) < 0
    assert not picture.frame.isVisible()
    window.actions_by_id["undo"].trigger()
    assert desk.laid is not None
    assert views.indexOf(desk.page) >= 0
    assert picture.frame.isVisible()


def test_landmarks_set_by_mouse_align_the_picture_and_undo_takes_each_back(window, laid):
    desk = window.workspace.picture_desk
    desk.panel.show_page("landmarks")
    QApplication.processEvents()
    page = desk.panel.landmarks
    QTest.mouseClick(page.place, LEFT)
    assert off(desk) > 60.0
    places = np.array([[15, 15], [65, 20], [60, 62], [18, 60]])
    for k, ((c, r), (x, y)) in enumerate(zip(places, TRUE.to_map(places), strict=True)):
        click_picture(desk, c, r)
        click_map(window, x, y)
        assert len(desk.laid.pairs) == k + 1
    assert off(desk) < 15.0  # a pixel of the picture is 17 nm, one of the screen about 4
    assert desk.laid.alignment.how == "landmarks"
    assert len(page.table.lines) == 4
    for left in (3, 2, 1, 0):
        window.actions_by_id["undo"].trigger()
        assert len(desk.laid.pairs) == left
    assert off(desk) > 60.0


def test_a_wrong_pair_is_named_and_can_be_removed(window, laid):
    desk = window.workspace.picture_desk
    places = np.array([[5, 5], [75, 8], [70, 72], [8, 70], [40, 40], [30, 60]])
    pairs = np.hstack([places, TRUE.to_map(places)])
    pairs[:, 2:] += np.random.default_rng(0).normal(0.0, 2.0, (6, 2))
    pairs[2, 2:] += 150.0
    desk._use_pairs(tuple(map(tuple, pairs.tolist())), "landmarks")
    page = desk.panel.landmarks
    assert "Pair 3 does not fit" in page.words.text()
    assert page.table.lines[2].note
    desk.panel.show_page("landmarks")
    page.table.choose(2)
    page.show_buttons()
    QTest.mouseClick(page.take, LEFT)
    assert len(desk.laid.pairs) == 5
    assert off(desk) < 15.0
    assert "does not fit" not in page.words.text()


def test_steps_of_a_field_move_the_picture_at_once_and_are_one_act(window, laid):
    desk = window.workspace.picture_desk
    before = desk.laid.alignment
    field = desk.panel.hand.fields["x"]
    image = window.workspace.map.layers.picture.image
    x = image.transform().dx()
    for _ in range(3):
        field.stepBy(1)
    assert image.transform().dx() > x
    pitch = 1240.0 / 31
    assert desk.laid.alignment.matrix[0][2] == pytest.approx(before.matrix[0][2] + 3 * pitch,
                                                             abs=pitch / 2)  # fmt: skip
    window.actions_by_id["undo"].trigger()
    assert desk.laid.alignment.matrix == before.matrix
    assert image.transform().dx() == pytest.approx(x)


def test_correlation_finds_the_picture(window, laid, qtbot):
    desk = window.workspace.picture_desk
    desk.panel.show_page("correlation")
    page = desk.panel.correlation
    page.channel.setCurrentIndex(page.channel.findData("modulus"))
    qtbot.waitUntil(page.go.isEnabled)
    QTest.mouseClick(page.go, LEFT)
    assert page.halt.isEnabled()
    qtbot.waitUntil(lambda: desk._aligning is None, timeout=60_000)
    assert "Aligned by correlation" in page.result.text()
    assert off(desk) < 40.0  # a pixel of the map, at the far corners
    assert window.session.undo_words == "alignment by correlation"


def test_a_search_can_be_stopped_and_changes_nothing(window, laid, qtbot):
    desk = window.workspace.picture_desk
    page = desk.panel.correlation
    before = desk.laid
    desk._align("modulus", False)
    QTest.qWait(50)
    desk.panel.show_page("correlation")
    QTest.mouseClick(page.halt, LEFT)
    qtbot.waitUntil(lambda: desk._aligning is None, timeout=10_000)
    assert page.result.text() == "Stopped."
    assert desk.laid == before


def test_opacity_and_the_divider_show_more_or_less_of_the_picture(window, laid):
    desk = window.workspace.picture_desk
    picture = window.workspace.map.layers.picture
    desk.panel.slider.setValue(80)
    assert picture.image.opacity() == pytest.approx(0.8)
    QTest.mouseClick(desk.panel.switch.buttons["split"], LEFT)
    assert picture.divider.isVisible()
    QTest.mouseClick(desk.panel.switch.buttons["beside"], LEFT)
    assert not picture.frame.isVisible()
    QTest.mouseClick(desk.panel.switch.buttons["over"], LEFT)
    assert picture.frame.isVisible()
    assert picture.image.opacity() == pytest.approx(0.8)


def test_the_comparison_says_that_the_picture_follows_the_blend(window, laid, qtbot, tmp_path,
                                                                monkeypatch):  # fmt: skip
    desk = window.workspace.picture_desk
    from dataclasses import replace

    aligned = replace(TRUE, picture=desk.laid.alignment.picture)
    desk._decide(replace(desk.laid, alignment=aligned), "alignment")
    desk.panel.show_page("compare")
    qtbot.waitUntil(lambda: desk.comparison is not None and bool(desk.comparison.between),
                    timeout=60_000)  # fmt: skip
    page, found = desk.panel.compare, desk.comparison
    assert found.channels["modulus"].overall.value > 0.7  # stiff was drawn bright
    assert found.verdict in ("modulus", "both", "alike")
    assert "modulus" in page.words.text()
    assert "B against A" in page.inner.text()
    monkeypatch.setattr("palpate.app.dialogs.files.ask_save", lambda *_: tmp_path / "out.csv")
    QTest.mouseClick(page.save, LEFT)
    qtbot.waitUntil((tmp_path / "out.csv").is_file, timeout=10_000)
    text = (tmp_path / "out.csv").read_text()
    assert "place.png" in text
    assert f"verdict: {found.verdict}" in text


def test_a_bad_file_is_an_error_that_names_it_and_lays_nothing(window, qtbot, drawn):
    desk = window.workspace.picture_desk
    desk.lay(drawn / "broken.png")
    qtbot.waitUntil(lambda: bool(error_text(window)), timeout=10_000)
    assert "broken.png" in error_text(window)
    assert desk.laid is None
    close_errors(window)
