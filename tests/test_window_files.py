"""Saving and exporting from the window, the guide, faults of ours, and the program's start."""

from __future__ import annotations

import csv
import json
import os
import signal
import subprocess
import sys
import threading
from pathlib import Path

import numpy as np
import pytest
from PySide6.QtCore import QtMsgType
from PySide6.QtWidgets import QApplication
from shell_maps import map_file
from shell_window import LONG, close_errors, error_text, main_window, open_map

from palpate.app import actions
from palpate.app.crash import CrashGuard, crash_folder, earlier_crashes
from palpate.app.dialogs import errors, files
from palpate.app.dialogs.errors import ErrorBox
from palpate.app.dialogs.export import ALL, ExportDialog
from palpate.app.dialogs.help import HelpWindow
from palpate.app.dialogs.help_pages import cited
from palpate.app.saving import Item, export_items
from palpate.core.progress import Progress


@pytest.fixture
def window(qtbot):
    with main_window(qtbot) as made:
        yield made


@pytest.fixture(scope="module")
def blend(tmp_path_factory):
    return map_file(tmp_path_factory.mktemp("maps"))


@pytest.fixture
def opened(window, blend, qtbot):
    open_map(window, blend, qtbot)
    return window


def export(window, qtbot, folder: Path, what: str, ending: str, unit: str = "") -> list[Path]:
    """Fill in the dialog as a person would and export; the files that were promised."""
    from palpate.app.requests import Save
    dialog = ExportDialog(window.session.analysis, window.session.channel, window)
    qtbot.addWidget(dialog)
    dialog.what.setCurrentIndex(dialog.what.findData(what))
    dialog.format.setCurrentIndex(dialog.format.findData(ending))
    if unit:
        dialog.unit.setCurrentIndex(dialog.unit.findData(unit))
    dialog.folder.setText(str(folder))
    dialog.go.click()
    if not dialog.result():
        return []
    promised = dialog.all_files
    window.session.submit(Save(export_items(window.session.analysis, dialog.items)))
    qtbot.waitUntil(lambda: not window.session.background.working_on("save"), timeout=LONG)
    QApplication.processEvents()
    return promised


@pytest.mark.parametrize("ending", [".npy", ".csv", ".tif"])
def test_one_map_is_exported_in_each_format_with_its_numbers(opened, qtbot, tmp_path, ending):
    promised = export(opened, qtbot, tmp_path, "modulus", ending, "MPa")
    assert sorted(tmp_path.iterdir()) == sorted(promised)
    path = tmp_path / f"blend_modulus{ending}"
    analysis = opened.session.analysis
    truth = np.where(analysis.trusted, 1000.0 * analysis.channel("modulus"), np.nan)
    if ending == ".npy":
        found = np.load(path)
        about = json.loads((tmp_path / "blend_modulus.npy.json").read_text())
        assert about["unit"] == "MPa"
    elif ending == ".csv":
        lines = [row for row in csv.reader(path.open()) if not row[0].startswith("#")]
        found = np.array(lines, dtype=float)
    else:
        import tifffile

        found = tifffile.imread(path)
    np.testing.assert_allclose(found, truth, rtol=1e-6)
    assert "Saved" in opened.status.words.text()


def test_pixels_with_a_severe_doubt_are_left_out_unless_asked_for(opened, qtbot, tmp_path):
    analysis = opened.session.analysis
    (tmp_path / "all").mkdir()
    for trusted, folder in ((True, tmp_path), (False, tmp_path / "all")):
        dialog = ExportDialog(analysis, "height", opened)
        qtbot.addWidget(dialog)
        assert dialog.trusted.isChecked()
        dialog.trusted.setChecked(trusted)
        dialog.errors.setChecked(True)
        dialog.what.setCurrentIndex(dialog.what.findData("contact_height"))
        dialog.folder.setText(str(folder))
        items = dialog.items
        assert [item.channel for item in items] == ["contact_height", "contact_height_errors"]
        export_items(analysis, items)(Progress())
        about = json.loads((folder / "blend_contact_height.npy.json").read_text())
        assert f"{int(analysis.severe.sum())} pixels" in about["note"]
        assert ("left out" in about["note"]) == trusted
        assert about["row_order"].startswith("row 0 is the first scan line")
        found = np.load(folder / "blend_contact_height.npy")
        there = np.isfinite(analysis.channel("contact_height"))
        assert np.array_equal(np.isfinite(found), there & analysis.trusted if trusted else there)
        errors = np.load(folder / "blend_contact_height_errors.npy")
        kept = np.isfinite(errors)
        assert np.array_equal(errors[kept], analysis.errors("contact_height")[kept])


def test_the_doubts_are_exported_as_bits_with_their_names(opened, qtbot, tmp_path):
    promised = export(opened, qtbot, tmp_path, "doubts", ".npy")
    assert np.array_equal(np.load(promised[0]), opened.session.analysis.doubts)
    assert "1 no_contact (severe)" in json.loads(promised[1].read_text())["note"]


def test_all_maps_are_exported_one_file_each_and_empty_ones_are_left_out(window, qtbot, tmp_path):
    path = map_file(tmp_path, "bare.h5", radius=None)
    open_map(window, path, qtbot)
    out = tmp_path / "out"
    out.mkdir()
    promised = export(window, qtbot, out, ALL, ".csv")
    assert sorted(out.iterdir()) == sorted(promised)
    names = {p.stem.removeprefix("bare_") for p in promised}
    assert {"height", "adhesion", "stiffness"} <= names
    assert not {"modulus", "reduced_modulus"} & names


def test_nothing_is_replaced_without_asking(opened, qtbot, tmp_path, monkeypatch):
    there = tmp_path / "blend_height.csv"
    there.write_text("mine")
    asked: list = []
    monkeypatch.setattr(files, "confirm", lambda parent, words, yes: asked.append(words))
    assert export(opened, qtbot, tmp_path, "height", ".csv") == []
    assert "blend_height.csv" in asked[0]
    assert there.read_text() == "mine"
    monkeypatch.setattr(files, "confirm", lambda *_: True)
    assert export(opened, qtbot, tmp_path, "height", ".csv") == [there]
    assert there.read_text() != "mine"


def test_a_missing_folder_is_told_before_anything_is_written(opened, qtbot, tmp_path):
    dialog = ExportDialog(opened.session.analysis, "height", opened)
    qtbot.addWidget(dialog)
    dialog.folder.setText(str(tmp_path / "nowhere"))
    assert not dialog.go.isEnabled()
    assert "does not exist" in dialog.plan.text()
    dialog.folder.setText(str(tmp_path))
    dialog.stem.setText("a/b")
    assert not dialog.go.isEnabled()
    dialog.stem.setText("a")
    assert dialog.go.isEnabled()
    assert dialog.items == [Item(tmp_path / "a_height.npy", "height", "nm")]


def test_the_dialog_offers_the_map_that_is_looked_at_and_only_units_that_fit(opened, qtbot):
    dialog = ExportDialog(opened.session.analysis, "adhesion", opened)
    qtbot.addWidget(dialog)
    assert dialog.what.currentData() == "adhesion"
    assert [dialog.unit.itemText(i) for i in range(dialog.unit.count())] == ["nN", "pN", "µN", "N"]
    dialog.what.setCurrentIndex(dialog.what.findData("residual"))
    assert dialog.unit.currentText() == "none"
    assert not dialog.unit.isEnabled()


def test_the_result_file_is_saved_and_reads_back(opened, qtbot, tmp_path, monkeypatch):
    from palpate.core import load_analysis

    opened.session.apply({"tip.radius": 22.0}, "tip radius")
    qtbot.waitUntil(lambda: opened.session.finished, timeout=LONG)
    assert opened.isWindowModified()
    path = tmp_path / "answer.h5"
    monkeypatch.setattr(files, "save_name", lambda *_: (str(path), ""))
    opened.actions_by_id["save_result"].trigger()
    qtbot.waitUntil(lambda: "Saved answer.h5" in opened.status.words.text(), timeout=LONG)
    again = load_analysis(path)
    assert again.settings == opened.session.settings
    assert not opened.isWindowModified()
    assert files.last_folder("save") == tmp_path


def test_the_measured_file_is_never_overwritten_by_a_result(opened, blend, qtbot, monkeypatch):
    before = blend.read_bytes()
    monkeypatch.setattr(files, "save_name", lambda *_: (str(blend), ""))
    opened.actions_by_id["save_result"].trigger()
    qtbot.waitUntil(lambda: bool(error_text(opened)), timeout=LONG)
    assert "measured map itself" in error_text(opened)
    assert blend.read_bytes() == before
    close_errors(opened)


def test_a_missing_ending_is_added_and_the_name_that_results_is_asked_about(
    window, tmp_path, monkeypatch
):
    (tmp_path / "a.h5").write_text("mine")
    monkeypatch.setattr(files, "save_name",
                        lambda *_: (str(tmp_path / "a"), files.RESULTS))  # fmt: skip
    monkeypatch.setattr(files, "confirm", lambda *_: False)
    assert files.ask_save(window, "Save", "x.h5", files.RESULTS) is None
    monkeypatch.setattr(files, "confirm", lambda *_: True)
    assert files.ask_save(window, "Save", "x.h5", files.RESULTS) == tmp_path / "a.h5"


# ---- help


def test_the_guide_tells_every_channel_doubt_law_setting_and_key(window, qtbot):
    from palpate.core.channels import CHANNELS
    from palpate.core.doubts import DOUBTS
    from palpate.core.models import LAWS

    guide = HelpWindow(actions.keys_table(window.actions_by_id), window)
    told: dict = {}
    for title in guide._pages:
        guide.show_page(title)
        told[title] = guide.text.toPlainText()
    for channel in CHANNELS.values():
        assert channel.label in told["Channels"]
        assert channel.formula.split(":")[0] in told["Channels"]
    assert all(doubt.sentence in told["Doubts"] for doubt in DOUBTS.values())
    assert all(cited(law.source) in told["Contact laws"] for law in LAWS.values())
    assert "Poisson ratio (assumed)" in told["Settings"]
    assert "Open a map of force-distance curves" in told["Keys"]
    assert "Not for safety" in told["Cautions"]
    assert "Drag the fit window" in told["Three minutes"]
    guide.close()


def test_the_guide_opens_once_and_turns_to_the_page(window, qtbot):
    qtbot.waitUntil(lambda: window.session.background.tools_ready, timeout=LONG)
    window.actions_by_id["shortcuts"].trigger()
    window.actions_by_id["cautions"].trigger()
    guides = window.findChildren(HelpWindow)
    assert len(guides) == 1
    assert guides[0].list.currentItem().text() == "Cautions"
    guides[0].close()
    QApplication.processEvents()


def test_every_key_belongs_to_one_act_and_every_entry_has_a_tip(window):
    keys: list = []
    for entry in actions.entries():
        assert entry.tip
        keys += [key.toString() for key in window.actions_by_id[entry.id].shortcuts()]
    assert len(keys) == len(set(keys))
    used = {name for name in actions.TOOLBAR if name != "|"}
    assert used <= {entry.id for entry in actions.entries()}


def test_the_about_box_names_version_licence_and_cautions():
    from palpate.app.dialogs.about import about_text

    text = about_text()
    assert "MIT licence" in text
    assert "medical" in text
    assert "PySide6" in text


# ---- faults of ours


@pytest.fixture
def guard(window):
    made = CrashGuard()
    made.caught.connect(window.commands.show_fault)
    yield made
    made.deleteLater()


def raised() -> ValueError:
    try:
        raise ValueError("a test raised it")
    except ValueError as error:
        return error


def test_an_uncaught_error_is_a_sentence_with_a_report_to_copy(window, guard, qtbot):
    error = raised()
    guard.on_message(QtMsgType.QtWarningMsg, None, "a warning before it")
    guard.on_exception(type(error), error, error.__traceback__)
    qtbot.waitUntil(lambda: bool(error_text(window)), timeout=LONG)
    assert "Traceback" not in error_text(window)
    box = window.findChild(ErrorBox)
    assert "a test raised it" in box.details
    assert "a warning before it" in box.details
    assert "Python 3" in box.details
    close_errors(window)


def test_an_uncaught_error_of_another_thread_is_shown_too(window, guard, qtbot):
    def fail() -> None:
        error = raised()
        guard.on_thread(threading.ExceptHookArgs((type(error), error, error.__traceback__, None)))

    thread = threading.Thread(target=fail)
    thread.start()
    thread.join()
    qtbot.waitUntil(lambda: bool(error_text(window)), timeout=LONG)
    close_errors(window)


def test_several_faults_share_one_box(window):
    first = errors.show_error(window, "One.", "details one")
    assert errors.show_error(window, "Two.", "details two") is first
    assert first.text == "One.\n\nTwo."
    assert "details two" in first.details
    close_errors(window)


def test_an_earlier_crash_is_told_once(qapp, tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    folder = crash_folder()
    if tmp_path not in folder.parents:
        pytest.skip("this system keeps the folder elsewhere")
    folder.mkdir(parents=True)
    (folder / "1.txt").write_text("Fatal Python error: Segmentation fault")
    (folder / "2.txt").write_text("")
    told = earlier_crashes()
    assert "Segmentation fault" in told.details
    assert [p.name for p in folder.iterdir()] == ["2.txt"], "that one may be of a running program"
    assert earlier_crashes() is None


def test_what_ends_the_program_leaves_a_report_and_a_clean_end_none(qapp, tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    if tmp_path not in crash_folder().parents:
        pytest.skip("this system keeps the folder elsewhere")
    code = """
import sys, os, threading
from PySide6.QtCore import QCoreApplication, qFatal
from palpate.app.crash import CrashGuard
app = QCoreApplication([])
guard = CrashGuard()
guard.install()
class Bad:
    def __del__(self): raise ValueError("while it went away")
if sys.argv[1] == "clean":
    guard.remove()
else:
    Bad()
    thread = threading.Thread(target=lambda: 1 / 0)
    thread.start(); thread.join()
    qFatal("the window system gave up") if sys.argv[1] == "fatal" else os.abort()
"""
    for how, words in (("clean", ()), ("fatal", ("the window system gave up",)),
                       ("abort", ("Fatal Python error: Aborted",))):  # fmt: skip
        done = subprocess.run([sys.executable, "-P", "-c", code, how], capture_output=True,
                              text=True, check=False, cwd=tmp_path)  # fmt: skip
        assert (done.returncode == 0) == (how == "clean")
        told = earlier_crashes()
        assert (told is None) == (how == "clean")
        for word in (*words, *(("ZeroDivisionError", "while it went away") if words else ())):
            assert word in told.details


# ---- the program

RUN = """
import sys
from PySide6.QtCore import QTimer
from PySide6.QtWidgets import QApplication
from palpate.app import main
app = QApplication([])
seen = []
def look():
    for window in app.topLevelWidgets():
        if window.objectName() == "" and hasattr(window, "session"):
            if not seen:
                seen.append(sorted(m for m in ("numba", "scipy", "matplotlib") if m in sys.modules))
                print("shown", window.isVisible(), seen[0], flush=True)
            wanted = len(sys.argv) > 1
            if not wanted or window.session.finished:
                print("end", window.windowTitle(), flush=True)
                window.close()
timer = QTimer(interval=0)
timer.timeout.connect(look)
timer.start()
sys.exit(main.main(sys.argv[1:]))
"""


@pytest.mark.parametrize("with_map", [True, False])
def test_the_program_shows_its_window_first_opens_the_map_and_ends_cleanly(
    blend, tmp_path, with_map
):
    given = [str(blend)] if with_map else []
    done = subprocess.run(
        [sys.executable, "-P", "-c", RUN, *given], capture_output=True, text=True, check=False,
        env={**os.environ, "QT_QPA_PLATFORM": "offscreen"}, cwd=tmp_path,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    lines = done.stdout.splitlines()
    assert lines[0] == "shown True []"
    title = "invented blend[*] – Palpate" if with_map else "Palpate[*]"
    assert lines[-1] == f"end {title}"
    assert "Destroyed while" not in done.stderr
    assert "Traceback" not in done.stderr


def test_the_window_comes_up_without_the_modules_that_compute(tmp_path):
    code = (
        "import sys\nfrom PySide6.QtWidgets import QApplication\napp = QApplication([])\n"
        "from palpate.app.main_window import MainWindow\nw = MainWindow()\nw.show()\n"
        "print(*[m for m in ('numba', 'h5py', 'scipy', 'pyqtgraph', 'matplotlib') "
        "if m in sys.modules])\nw.close()\n"
    )
    done = subprocess.run(
        [sys.executable, "-P", "-c", code], capture_output=True, text=True, check=False,
        env={**os.environ, "QT_QPA_PLATFORM": "offscreen"}, cwd=tmp_path,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert done.stdout.split() == []


@pytest.mark.skipif(os.name == "nt", reason="a signal can't be sent to one process there")
def test_a_signal_ends_the_program_cleanly_even_while_it_works(blend, tmp_path):
    child = subprocess.Popen(
        [sys.executable, "-P", "-m", "palpate.app.main", "--timing", str(blend)],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, cwd=tmp_path,
        env={**os.environ, "QT_QPA_PLATFORM": "offscreen"},
    )  # fmt: skip
    assert "window shown" in child.stdout.readline()
    child.send_signal(signal.SIGINT)
    _, said = child.communicate(timeout=120)
    assert child.returncode == 128 + signal.SIGINT
    assert "Traceback" not in said
    assert "Destroyed while" not in said


def test_nonsense_in_the_stored_settings_does_not_keep_the_window_from_opening(qtbot):
    from PySide6.QtCore import QSettings

    memory = QSettings("palpate", "palpate")
    for name, value in (("theme", "mauve"), ("window/geometry", "x"), ("window/state", "y"),
                        ("recent", "{"), ("axes/x", "up"), ("marks", "perhaps"),
                        ("folded/tip", "maybe"), ("folder/save", "/no/such/folder")):  # fmt: skip
        memory.setValue(name, value)
    with main_window(qtbot) as window:
        qtbot.waitUntil(lambda: window.workspace is not None, timeout=LONG)
        assert window.theme.name in ("light", "dark")
        assert window.workspace.curve.x_choice.currentData() == "z"
        assert files.last_folder("save") == Path.home()
