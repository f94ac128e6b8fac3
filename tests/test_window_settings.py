"""The settings form: typed, stepped, refused, reset, undone, saved and loaded."""

from __future__ import annotations

import json

import pytest
from PySide6.QtCore import QPoint, QPointF, Qt
from PySide6.QtGui import QWheelEvent
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication
from shell_maps import map_file
from shell_window import (
    LONG,
    close_errors,
    error_text,
    main_window,
    open_map,
    type_into,
)

from palpate.app.dialogs import files
from palpate.app.panels.fields import number_in, step_of
from palpate.app.panels.row import words_of
from palpate.app.panels.settings import SettingsPanel
from palpate.app.session import Session
from palpate.core.settings import Settings, declarations


@pytest.fixture
def panel(qtbot):
    """The form alone, with a session that has no map."""
    session = Session()
    made = SettingsPanel(session)
    qtbot.addWidget(made)
    made.resize(360, 900)
    made.show()
    qtbot.waitExposed(made)
    yield made
    session.close()
    session.deleteLater()


def chosen(panel) -> Settings:
    return panel._session.settings


def test_every_declared_setting_has_a_row_with_label_unit_help_and_source(panel):
    assert list(panel.rows) == [path for path, _ in declarations()]
    for path, spec in declarations():
        row = panel.rows[path]
        assert row.label.text() == spec.metadata["label"]
        assert row.unit.text() == spec.metadata["unit"]
        panel.show_help(path)
        told = panel.help.toPlainText()
        assert spec.metadata["help"].split(".")[0] in told
        assert "Source: " in told


def test_typing_is_taken_over_with_enter_and_when_the_field_is_left(panel):
    field = panel.rows["baseline.extent"].editor
    type_into(field, "60", key=None)
    assert chosen(panel).baseline.extent == 50.0
    QTest.keyClick(field, Qt.Key.Key_Return)
    assert chosen(panel).baseline.extent == 60.0
    type_into(field, "70", key=Qt.Key.Key_Tab)
    assert chosen(panel).baseline.extent == 70.0


def test_leaving_a_field_untouched_is_no_act(panel):
    field = panel.rows["sample.poisson_ratio"].editor
    field.setFocus()
    QTest.keyClick(field, Qt.Key.Key_Return)
    panel.rows["baseline.extent"].editor.setFocus()
    assert panel._session.undo_words == ""


@pytest.mark.parametrize(
    ("path", "typed", "told"),
    [
        ("sample.poisson_ratio", "0.7", "0 to 0.5"),
        ("sample.poisson_ratio", "much", "not a number"),
        ("tip.radius", "0", "above 0 to 1,000,000 nm (1 mm)"),
        ("tip.radius", "20 N", "the unit is nm"),
        ("adhesion.samples", "2.5", "1 to 50"),
        ("fit.fraction_from", "96", "Must be below “To” (95)"),
        ("baseline.extent", "1e400", "5 to 100"),
        ("baseline.extent", "nan", "not a number"),
    ],
)
def test_an_impossible_entry_is_refused_in_place_and_the_value_stays(panel, path, typed, told):
    row = panel.rows[path]
    before = chosen(panel)
    type_into(row.editor, typed)
    assert row.problem.isVisible()
    assert told in row.problem.text()
    assert "It stays" in row.problem.text()
    assert chosen(panel) is before
    assert row.editor.value() == before.value(path)
    assert panel._session.undo_words == ""
    good = {"tip.radius": "20", "sample.poisson_ratio": "0.3"}.get(path, "15")
    type_into(row.editor, good)
    assert not row.problem.isVisible()


def test_a_choice_that_does_not_fit_the_others_is_refused_in_place(panel):
    """JKR is known for the paraboloid only; the form goes on showing what is in use."""
    panel._session.apply({"fit.adhesion": "jkr"}, "adhesion")
    row = panel.rows["fit.law"]
    row.editor.setCurrentIndex(row.editor.findData("cone"))
    row.editor.activated.emit(row.editor.currentIndex())
    assert chosen(panel).fit.law == "paraboloid"
    assert row.editor.currentData() == "paraboloid"
    assert "paraboloid only" in row.problem.text()
    assert "It stays “paraboloid”" in row.problem.text()


def test_steps_are_live_and_a_row_of_them_is_one_act(panel):
    row = panel.rows["fit.fraction_to"]
    row.editor.setFocus()
    for _ in range(3):
        QTest.keyClick(row.editor, Qt.Key.Key_Down)
    assert chosen(panel).fit.fraction_to == 92.0
    assert panel._session.undo_words == "fit window"
    panel._session.undo()
    assert chosen(panel).fit.fraction_to == 95.0
    assert row.editor.lineEdit().text() == "95"


def test_the_wheel_changes_a_number_only_where_the_focus_is(panel):
    row, other = panel.rows["baseline.extent"], panel.rows["baseline.threshold"]
    combo = panel.rows["fit.law"]
    other.editor.setFocus()
    for target in (row.editor, combo.editor):
        turn_wheel(target)
    assert chosen(panel) == Settings()
    turn_wheel(other.editor)
    assert chosen(panel).baseline.threshold > 5.0


def turn_wheel(widget) -> None:
    at = QPointF(widget.rect().center())
    event = QWheelEvent(
        at, QPointF(widget.mapToGlobal(at.toPoint())), QPoint(), QPoint(0, 120),
        Qt.MouseButton.NoButton, Qt.KeyboardModifier.NoModifier, Qt.ScrollPhase.NoScrollPhase,
        False,
    )  # fmt: skip
    QApplication.sendEvent(widget, event)


def test_only_what_matters_is_shown(panel):
    assert panel.rows["fit.fraction_from"].isVisibleTo(panel)
    assert not panel.rows["fit.force_from"].isVisibleTo(panel)
    combo = panel.rows["fit.window"].editor
    combo.setCurrentIndex(combo.findData("force"))
    assert chosen(panel).fit.window == "fraction", "set by the program: no act"
    combo.activated.emit(combo.currentIndex())
    assert chosen(panel).fit.window == "force"
    assert panel.rows["fit.force_from"].isVisibleTo(panel)
    assert not panel.rows["fit.fraction_from"].isVisibleTo(panel)


def test_a_change_is_marked_and_the_row_puts_it_back(panel):
    row = panel.rows["sample.poisson_ratio"]
    assert not row.undo.isVisible()
    type_into(row.editor, "0.35")
    assert row.undo.isVisible()
    assert not row.mark.pixmap().isNull()
    row.undo.click()
    assert chosen(panel) == Settings()
    assert not row.undo.isVisible()
    assert row.mark.pixmap().isNull()
    assert panel._session.undo_words == "reset of poisson ratio"


def test_reset_all_is_one_act(panel):
    type_into(panel.rows["sample.poisson_ratio"].editor, "0.35")
    type_into(panel.rows["baseline.extent"].editor, "60")
    panel.reset_all.click()
    assert chosen(panel) == Settings()
    assert not panel.reset_all.isEnabled()
    panel._session.undo()
    assert chosen(panel).sample.poisson_ratio == 0.35
    assert panel.reset_all.isEnabled()


def test_the_program_sets_values_without_an_act(panel):
    said: list = []
    for row in panel.rows.values():
        row.edited.connect(lambda *what: said.append(what))
    panel._session.use_settings(
        Settings().with_values({"fit.law": "cone", "tip.half_angle": 20.0}), "from outside"
    )
    assert panel.rows["tip.half_angle"].editor.lineEdit().text() == "20"
    assert panel.rows["fit.law"].editor.value() == "cone"
    assert said == []


def test_escape_takes_back_what_is_being_typed(panel):
    field = panel.rows["baseline.extent"].editor
    type_into(field, "77", key=Qt.Key.Key_Escape)
    assert field.lineEdit().text() == "50"
    QTest.keyClick(field, Qt.Key.Key_Return)
    assert chosen(panel).baseline.extent == 50.0


def test_groups_fold_and_stay_folded(panel, qtbot):
    section = panel.sections["tip"]
    assert section.body.isVisible()
    qtbot.mouseClick(section.head, Qt.MouseButton.LeftButton)
    assert not section.body.isVisible()
    again = SettingsPanel(panel._session)
    qtbot.addWidget(again)
    assert not again.sections["tip"].head.isChecked()
    assert again.sections["fit"].head.isChecked()


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [("20", "nm", 20.0), ("20 nm", "nm", 20.0), ("0,02 µm", "nm", 20.0), ("2e-8m", "nm", 20.0),
     ("-10 %", "%", -10.0), ("−3", "nN", -3.0), ("1500 pN", "nN", 1.5),
     ("0.06 µm/V", "nm/V", 60.0)],
)  # fmt: skip
def test_a_number_may_be_typed_in_any_unit_of_its_kind(text, unit, value):
    assert number_in(text, unit) == pytest.approx(value, rel=1e-12)


@pytest.mark.parametrize("text", ["", "nm", "1.2.3", "20 N", "--3", "20 furlong", "1,2,3"])
def test_what_is_no_number_of_its_kind_is_refused_in_words(text):
    with pytest.raises(ValueError, match="not a number|does not fit"):
        number_in(text, "nm")


def test_a_step_changes_the_second_figure():
    assert [step_of(v, False) for v in (3.0, 0.4, 50.0, 1000.0, 0.0)] == pytest.approx(
        [0.1, 0.01, 1.0, 100.0, 0.1]
    )
    assert step_of(9, True) == 1.0


def test_each_act_has_a_name_that_tells_it_from_the_others():
    names = [words_of(path) for path, _ in declarations()]
    shared = {name for name in names if names.count(name) > 1}
    assert shared == {"fit window", "stiffness window"}


# ---- with a map


@pytest.fixture
def window(qtbot):
    with main_window(qtbot) as made:
        yield made


@pytest.fixture(scope="module")
def blend(tmp_path_factory):
    return map_file(tmp_path_factory.mktemp("maps"))


def test_an_empty_field_means_as_recorded(window, blend, qtbot):
    form = window.settings_panel
    row = form.rows["calibration.spring_constant"]
    assert row.editor.lineEdit().placeholderText() == "as recorded"
    open_map(window, blend, qtbot)
    assert row.editor.lineEdit().placeholderText() == "recorded 2"
    assert form.rows["tip.half_angle"].editor.lineEdit().placeholderText() == "not recorded"
    type_into(row.editor, "3")
    assert window.session.settings.calibration.spring_constant == 3.0
    assert window.session.report.spring_constant == 3.0
    type_into(row.editor, "")
    assert window.session.settings.calibration.spring_constant is None
    assert window.session.report.spring_constant == 2.0
    row.editor.setFocus()
    QTest.keyClick(row.editor, Qt.Key.Key_Up)
    assert window.session.settings.calibration.spring_constant == 2.1
    qtbot.waitUntil(lambda: window.session.finished, timeout=LONG)


def test_a_typed_setting_changes_curve_and_map_and_undo_by_key_takes_it_back(window, blend, qtbot):
    open_map(window, blend, qtbot)
    session = window.session
    before = session.report.values["modulus"][0]
    field = window.settings_panel.rows["sample.poisson_ratio"].editor
    type_into(field, "0.5")
    assert session.report.values["modulus"][0] < before
    assert window.isWindowModified()
    QTest.keyClick(field, Qt.Key.Key_Z, Qt.KeyboardModifier.ControlModifier)
    assert session.report.values["modulus"][0] == before
    assert field.lineEdit().text() == "0.4"
    qtbot.waitUntil(lambda: session.finished, timeout=LONG)


@pytest.mark.parametrize("name", ["mine.toml", "mine.json", "mine"])
def test_settings_are_saved_and_loaded_and_are_then_not_marked_as_changed(
    window, blend, qtbot, tmp_path, monkeypatch, name
):
    open_map(window, blend, qtbot)
    window.session.apply({"fit.law": "cone", "tip.half_angle": 20.0}, "law")
    assert window.isWindowModified()
    qtbot.waitUntil(lambda: window.session.finished, timeout=LONG)
    kind = "Settings as TOML (*.toml)" if name == "mine" else ""
    monkeypatch.setattr(files, "save_name",
                        lambda *_: (str(tmp_path / name), kind))  # fmt: skip
    window.settings_panel.save.click()
    path = tmp_path / (name if "." in name else "mine.toml")
    assert path.exists()
    assert not window.isWindowModified()
    assert path.name in window.status.words.text()
    window.session.undo()
    assert window.isWindowModified()
    monkeypatch.setattr(files.QFileDialog, "getOpenFileName", lambda *_: (str(path), ""))
    window.settings_panel.load.click()
    assert window.session.settings.fit.law == "cone"
    assert window.session.undo_words == f"settings from {path.name}"
    assert not window.isWindowModified()
    qtbot.waitUntil(lambda: window.session.finished, timeout=LONG)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("{", "not valid JSON"),
        ('{"palpate_settings": 99}', "newer"),
        ('{"palpate_settings": 1, "fit": {"law": "ball"}}', "fit.law"),
        ('{"palpate_settings": 1, "fit": {"speed": 1}}', "speed"),
        ('{"palpate_settings": 1, "tip": {"radius": 1e400}}', "radius"),
        ("[" * 100_000, "not valid JSON"),
    ],
)
def test_a_bad_settings_file_gets_a_sentence_and_changes_nothing(
    window, tmp_path, monkeypatch, text, told
):
    path = tmp_path / "bad.json"
    path.write_text(text)
    before = window.session.settings
    monkeypatch.setattr(files.QFileDialog, "getOpenFileName", lambda *_: (str(path), ""))
    window.commands.ask_load_settings()
    assert told in error_text(window)
    assert "bad.json" in error_text(window)
    assert window.session.settings is before
    close_errors(window)


def test_settings_that_can_not_be_saved_get_a_sentence(window, tmp_path, monkeypatch):
    place = tmp_path / "nowhere" / "mine.toml"
    monkeypatch.setattr(files, "save_name", lambda *_: (str(place), ""))
    assert not window.commands.ask_save_settings()
    assert "no folder" in error_text(window)
    close_errors(window)


def test_saved_settings_are_what_the_command_line_reads(window, tmp_path, monkeypatch):
    path = tmp_path / "mine.json"
    window.session.apply({"baseline.extent": 42.0}, "extent")
    monkeypatch.setattr(files, "save_name", lambda *_: (str(path), ""))
    window.commands.ask_save_settings()
    assert json.loads(path.read_text())["baseline"]["extent"] == 42.0
    assert Settings.load(path) == window.session.settings
