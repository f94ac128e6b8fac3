"""The session: one owner of state, from opening a map to its analysis."""

from __future__ import annotations

import importlib
import os
import sys

import numpy as np
import pytest
from shell_maps import SHAPE, map_file, memory_map
from shell_window import LONG

from palpate.app import background as background_module
from palpate.app.background import Background
from palpate.app.preparation import WORDS, Preparation
from palpate.app.session import Session
from palpate.core.curvereport import window_change


@pytest.fixture
def make_session(qapp):
    """Makes sessions that are closed when the test ends, however it ends."""
    made: list[Session] = []

    def make(command: list[str] | None = None) -> Session:
        """`command` stands in for the child that compiles."""
        background = None
        if command is not None:
            background = Background(preparation=Preparation(command=command))
        made.append(Session(background=background))
        return made[-1]

    yield make
    stopped = [session.close() for session in made]
    for session in made:
        session.background._preparation.deleteLater()
        session.deleteLater()
    assert all(stopped)


@pytest.fixture
def session(make_session):
    made = make_session()
    made.background.start()
    return made


@pytest.fixture(scope="module")
def blend(tmp_path_factory):
    return map_file(tmp_path_factory.mktemp("maps"))


@pytest.fixture
def opened(session, blend, qtbot):
    session.open(blend)
    qtbot.waitUntil(lambda: session.finished, timeout=LONG)
    return session


def heard(signal) -> list:
    said: list = []
    signal.connect(lambda *what: said.append(what))
    return said


def test_opening_a_map_leads_to_an_analysis_and_a_report_of_the_middle(opened):
    assert opened.map.shape == SHAPE
    assert opened.selection in {(4, 6), (5, 6), (4, 7), (5, 7)}
    assert opened.report.row, opened.report.col == opened.selection
    assert np.isfinite(opened.analysis.channel("modulus")).mean() > 0.95
    assert not opened.changed
    assert opened.undo_words == ""


def test_the_report_shows_the_number_of_the_map_to_the_last_bit(opened):
    for row, col in ((0, 0), (3, 9), (9, 13)):
        opened.select(row, col)
        assert opened.report.values["modulus"][0] == opened.analysis.channel("modulus")[row, col]


def test_a_changed_setting_is_followed_by_curve_and_map_and_can_be_undone(opened, qtbot):
    before = opened.report.values["modulus"][0]
    pixel = opened.selection
    assert opened.apply({"tip.radius": 40.0}, "tip radius")
    after = opened.report.values["modulus"][0]
    assert after == pytest.approx(before / np.sqrt(2.0), rel=1e-12)
    assert opened.undo_words == "tip radius"
    assert opened.changed
    qtbot.waitUntil(lambda: opened.finished, timeout=LONG)
    assert opened.analysis.channel("modulus")[pixel] == after
    opened.undo()
    assert opened.report.values["modulus"][0] == before
    assert opened.selection == pixel
    qtbot.waitUntil(lambda: opened.finished, timeout=LONG)
    assert opened.analysis.channel("modulus")[pixel] == before
    opened.redo()
    assert opened.settings.tip.radius == 40.0


def test_an_impossible_value_is_refused_with_its_sentence_and_changes_nothing(opened):
    said = heard(opened.failed)
    moved = heard(opened.settings_changed)
    before = opened.settings
    assert not opened.apply({"sample.poisson_ratio": 0.7}, "Poisson ratio")
    assert "0 to 0.5" in said[0][0]
    assert opened.settings is before
    assert moved == []
    assert "must be below" in opened.check({"fit.fraction_from": 96.0})
    assert opened.check({"fit.fraction_from": 20.0}) == ""


def test_a_drag_is_followed_at_each_move_and_is_one_act(opened, qtbot):
    said = heard(opened.history_changed)
    first = opened.report
    low, high = first.window
    opened.begin_drag()
    seen = []
    for share in (0.05, 0.1, 0.2, 0.3):
        z = low + share * (high - low)
        opened.preview(window_change(opened.report, z, high))
        seen.append(opened.report.window[0])
    assert sorted(seen) == seen
    assert seen[0] > low
    assert said == []
    assert opened.undo_words == ""
    assert opened.commit("fit window")
    assert opened.undo_words == "fit window"
    qtbot.waitUntil(lambda: opened.finished, timeout=LONG)
    opened.undo()
    assert opened.report.window == first.window


def test_a_drag_that_is_given_up_leaves_no_trace(opened, qtbot):
    before = opened.settings
    opened.begin_drag()
    opened.preview({"fit.fraction_from": 40.0})
    assert opened.settings != before
    opened.cancel_drag()
    assert opened.settings == before
    assert opened.undo_words == ""
    qtbot.waitUntil(lambda: opened.finished, timeout=LONG)


def test_walking_stops_at_the_edge_of_the_map(opened):
    opened.select(0, 0)
    opened.move(-1, -10)
    assert opened.selection == (0, 0)
    opened.move(100, 100)
    assert opened.selection == (SHAPE[0] - 1, SHAPE[1] - 1)
    opened.select(99, 0)
    assert opened.selection == (SHAPE[0] - 1, SHAPE[1] - 1)


def test_a_file_that_is_no_map_leaves_the_present_map_as_it_is(opened, tmp_path, qtbot):
    bad = tmp_path / "notes.h5"
    bad.write_text("not a map")
    said = heard(opened.failed)
    fmap = opened.map
    opened.open(bad)
    qtbot.waitUntil(lambda: bool(said), timeout=LONG)
    assert "notes.h5" in said[0][0]
    assert opened.map is fmap
    assert opened.finished
    assert opened.report is not None


def test_typed_constants_do_not_follow_to_another_map_but_other_settings_do(
    opened, tmp_path, qtbot
):
    other = map_file(tmp_path, "other.h5", spring_constant=5.0)
    opened.apply({"calibration.spring_constant": 3.0, "fit.fraction_to": 80.0}, "two things")
    said = heard(opened.noted)
    opened.open(other)
    qtbot.waitUntil(lambda: opened.map.path == other and opened.finished, timeout=LONG)
    assert opened.settings.calibration.spring_constant is None
    assert opened.settings.fit.fraction_to == 80.0
    assert opened.report.spring_constant == 5.0
    assert said
    assert opened.undo_words == ""


def test_a_pixel_without_a_curve_says_so(session, tmp_path, qtbot):
    from shell_maps import made

    from palpate.core import write_map

    given = made((4, 4))
    z, d = given.pop("z").reshape(16, 2, -1), given.pop("deflection").reshape(16, 2, -1)
    pixels = np.stack(np.divmod(np.arange(16), 4), axis=1)[:-1]
    path = tmp_path / "gap.h5"
    write_map(path, z[:-1], d[:-1], shape=(4, 4), pixel=pixels, **given)
    session.open(path)
    qtbot.waitUntil(lambda: session.finished, timeout=LONG)
    session.select(3, 3)
    assert session.report is None
    assert "no curve at row 3, column 3" in session.note


def test_closing_the_map_leaves_an_empty_session(opened):
    opened.close_map()
    assert opened.map is None
    assert opened.report is None
    assert opened.analysis is None
    assert opened.selection is None
    assert not opened.changed
    opened.move(1, 0)
    opened.recompute()


def test_what_is_stopped_can_be_done_again(opened, qtbot):
    opened.apply({"baseline.extent": 30.0}, "extent")
    opened.background.stop()
    qtbot.waitUntil(lambda: not opened.background.working_on("analysis"), timeout=LONG)
    opened.recompute()
    qtbot.waitUntil(lambda: opened.finished, timeout=LONG)


def test_a_fault_of_ours_is_a_sentence_and_a_report_and_the_state_stays(opened, qtbot, monkeypatch):
    from palpate.core import pipeline

    def broken(*args, **kwargs):
        raise ZeroDivisionError("a test broke it")

    monkeypatch.setattr(pipeline, "analyse", broken)
    said = heard(opened.faulted)
    fmap = opened.map
    opened.apply({"baseline.extent": 30.0}, "extent")
    qtbot.waitUntil(lambda: bool(said), timeout=LONG)
    fault = said[0][0]
    assert "Traceback" not in fault.words
    assert "a test broke it" in fault.details
    assert opened.map is fmap
    assert opened.settings.baseline.extent == 30.0


def test_until_the_kernels_are_compiled_the_map_waits_and_the_curve_says_why(
    make_session, qtbot, blend, monkeypatch, tmp_path
):
    """The child is a stand-in here that ends when a file appears."""
    from palpate.app import requests

    go = tmp_path / "go"
    code = f"import pathlib, time\nwhile not pathlib.Path({str(go)!r}).exists(): time.sleep(0.01)"
    monkeypatch.setattr(requests, "is_compiled", lambda kind: False)
    session = make_session([sys.executable, "-c", code])
    said = heard(session.busy_changed)
    session.background.start()
    session.open(blend)
    qtbot.waitUntil(lambda: session.map is not None, timeout=LONG)
    assert not session.prepared
    assert session.report is None
    assert "being prepared" in session.note
    assert session.map.overview.shape == SHAPE
    qtbot.waitUntil(lambda: (WORDS, 0, 0) in said, timeout=LONG)
    session.select(1, 1)
    assert session.report is None
    session.apply({"fit.fraction_to": 90.0}, "to")
    go.touch()
    qtbot.waitUntil(lambda: session.finished, timeout=LONG)
    assert (session.report.row, session.report.col) == (1, 1)
    assert session.analysis.settings.fit.fraction_to == 90.0


def test_a_child_that_can_not_start_still_leads_to_an_analysis(
    make_session, qtbot, blend, monkeypatch
):
    from palpate.app import requests

    monkeypatch.setattr(requests, "is_compiled", lambda kind: False)
    session = make_session(["/no/such/program"])
    session.background.start()
    session.open(blend)
    qtbot.waitUntil(lambda: session.finished, timeout=LONG)


def test_closing_while_the_child_compiles_ends_it(qapp, qtbot, monkeypatch):
    monkeypatch.setattr(background_module, "USUAL", ("int16",))
    preparation = Preparation(command=[sys.executable, "-c", "import time; time.sleep(600)"])
    preparation.ensure("int16")
    process = preparation._process
    try:
        qtbot.waitUntil(lambda: process.state() == process.ProcessState.Running, timeout=LONG)
    finally:
        preparation.close()
    assert process.state() == process.ProcessState.NotRunning
    preparation.deleteLater()


def test_what_nobody_waits_for_is_compiled_without_a_word_and_makes_room(qapp, qtbot):
    preparation = Preparation(command=[sys.executable, "-c", "import time; time.sleep(600)"])
    said = heard(preparation.busy_changed)
    preparation.mark("int16")
    preparation.ensure("int16+later")
    quiet = preparation._process
    try:
        qtbot.waitUntil(lambda: quiet.state() == quiet.ProcessState.Running, timeout=LONG)
        assert set(said) == {("",)}
        preparation.ensure("float64", urgent=True)
        assert said[-1] == (WORDS,)
        assert preparation._process is not quiet
        assert (preparation._current, preparation._waiting) == ("float64", ["int16+later"])
    finally:
        preparation.close()
    preparation.deleteLater()


def test_what_is_compiled_later_is_that_of_the_kind(monkeypatch):
    from palpate.app import kernels
    from palpate.core import warm

    asked, gentle = [], []
    monkeypatch.setattr(warm, "warm_later", asked.append)
    monkeypatch.setattr(kernels.os, "nice", gentle.append, raising=False)
    for kind in kernels.AFTERWARDS:
        kernels.compile_kind(kind)
    assert asked == list(kernels.USUAL)
    assert len(gentle) == 2
    assert all(kind.endswith(warm.AFTERWARDS) for kind in kernels.AFTERWARDS)


def test_any_kind_of_samples_can_be_compiled_ahead(monkeypatch, tmp_path):
    from palpate.app import kernels
    from palpate.core import compiled, warm

    for module in ("explain", "pipeline"):  # kernels keep to the folder of their load
        importlib.import_module(f"palpate.core.{module}")
    for kind in ("float32", "float64-float32", "int32-int16"):
        assert kernels.kind_of(kernels._tiny_map(*kind.partition("-")[::2])) == kind
    left = tmp_path / "marks"
    left.mkdir()
    monkeypatch.setattr(compiled, "cache_folder", lambda: left)
    kernels.compile_kind("float64-float32")
    assert list(left.iterdir()) == [warm.mark_of("float64-float32")]
    assert warm.is_warm("float64-float32")
    assert not warm.is_warm("float32")


def test_machine_code_of_another_copy_of_the_program_does_not_count(monkeypatch, tmp_path):
    """Numba keeps it by the path and the time of the source: numba/core/caching.py."""
    from palpate.core import compiled, warm

    here = warm.mark_of("int16")
    for other in ("path", "time"):
        for source in compiled._sources():
            copy = tmp_path / f"{source.parent.name}_{source.name}"
            copy.write_bytes(source.read_bytes())
            os.utime(copy, ns=(0, source.stat().st_mtime_ns + (other == "time")))
        copies = sorted(tmp_path.iterdir())
        monkeypatch.setattr(warm.compiled, "_sources", lambda copies=copies: copies)
        warm._checkout.cache_clear()
        assert warm.mark_of("int16") != here
        here = warm.mark_of("int16")
    monkeypatch.undo()
    warm._checkout.cache_clear()


def test_a_map_in_memory_has_the_kind_of_its_samples():
    from palpate.app.kernels import kind_of

    assert kind_of(memory_map()) == "int16"
    assert kind_of(memory_map(digitise=False)) == "float64"


def test_quiet_work_does_not_keep_the_words_of_what_was_done_before(
    make_session, qtbot, tmp_path, monkeypatch
):
    """Nothing is being compiled here, for while it is, that is what the status bar tells."""
    from palpate.app import requests

    monkeypatch.setattr(requests, "is_compiled", lambda kind: True)
    session = make_session()
    said = heard(session.busy_changed)
    seen = heard(session.answered)
    session.background.start()
    session.submit(requests.PeekAt((tmp_path / "none.h5",), (tmp_path / "gone.h5",)))
    words = ["Loading the calculation", "Loading the calculation", "", ""]
    # told as each of the two is asked for, when the quiet one begins, and when it has ended
    qtbot.waitUntil(lambda: [what[0] for what in said] == words, timeout=LONG)
    answers = [a for (a,) in seen if isinstance(a.request, requests.PeekAt)]
    assert [a.final for a in answers] == [False, False, True]
    assert answers[0].value.paths == (tmp_path / "gone.h5",)
    assert "no such file" in answers[1].value.problem


def test_while_the_kernels_are_compiled_quiet_work_leaves_the_words_of_that(
    make_session, qtbot, tmp_path, monkeypatch
):
    from palpate.app import requests

    monkeypatch.setattr(requests, "is_compiled", lambda kind: False)
    session = make_session([sys.executable, "-c", "import time; time.sleep(600)"])
    said = heard(session.busy_changed)
    seen = heard(session.answered)
    session.background.start()
    session.submit(requests.PeekAt((tmp_path / "none.h5",)))
    qtbot.waitUntil(
        lambda: any(a.final and isinstance(a.request, requests.PeekAt) for (a,) in seen),
        timeout=LONG,
    )
    assert {what[0] for what in said} == {"Loading the calculation", WORDS}
    assert said[-1] == (WORDS, 0, 0)


def test_the_child_that_compiles_ends_with_its_parent(tmp_path):
    """A killed window must not leave a process behind that computes for nobody."""
    import subprocess
    import sys

    script = ("import sys, time; from palpate.app import kernels; "
              "kernels.compile_kind = lambda kind: time.sleep(60); "
              "kernels.is_compiled = lambda kind: False; kernels.main(sys.argv[1:])")  # fmt: skip
    child = subprocess.Popen([sys.executable, "-P", "-c", script, "--with-parent", "int16"],
                             stdin=subprocess.PIPE)  # fmt: skip
    try:
        with pytest.raises(subprocess.TimeoutExpired):
            child.wait(1.0)
        child.stdin.close()  # as when the parent is gone
        assert child.wait(20.0) == 1
    finally:
        child.kill()
