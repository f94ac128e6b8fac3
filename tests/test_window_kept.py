"""A result is opened again with all that was decided, and unsaved work comes back after a crash."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from shell_maps import map_file
from shell_window import LONG, error_text, main_window, open_map

from palpate.app.dialogs import files
from palpate.core.components.rule import Rule
from palpate.core.decisions import Pixels
from palpate.core.journal import find, read
from palpate.core.places import Places, Rectangle, Region
from palpate.core.surface.levelling import Levelling
from palpate.core.workfile import load_analysis


@pytest.fixture
def blend(tmp_path):
    return map_file(tmp_path, "blend.h5")


@pytest.fixture
def state(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    monkeypatch.setenv("LOCALAPPDATA", str(tmp_path / "state"))
    return tmp_path / "state"


def decide_much(window, qtbot) -> None:
    """Every part of the work is changed."""
    session = window.session
    shape = session.map.shape
    session.apply({"fit.fraction_from": 15.0}, "fit window")
    review = session.review.keep(Pixels.one(shape, 1, 1), "sound", "A. Weaver")
    review = review.leave_out(Pixels.one(shape, 2, 2), "spike")
    session.use_review(review.correct(Pixels.one(shape, 3, 3), {"fit.fraction_to": 80.0}), "three")
    session.use_places(Places((Region("corner", Rectangle(0.0, 0.0, 300.0, 300.0)),)), "region")
    session.use_rule(Rule(method="thresholds", thresholds=(1.0,), names=("soft", "stiff")), "rule")
    session.decide(replace(session.work, levelling=Levelling(2, "median")), "levelling")
    qtbot.waitUntil(lambda: session.finished, timeout=LONG)


def save_as(window, path, qtbot, monkeypatch) -> None:
    monkeypatch.setattr(files, "save_name", lambda *_: (str(path), ""))
    window.actions_by_id["save_result"].trigger()
    qtbot.waitUntil(lambda: f"Saved {path.name}" in window.status.words.text(), timeout=LONG)


def test_a_result_is_opened_again_with_everything(blend, state, qtbot, tmp_path, monkeypatch):
    result = tmp_path / "blend_result.h5"
    with main_window(qtbot) as window:
        session = window.session
        open_map(window, blend, qtbot)
        assert window.journal.path is None
        picture = tmp_path / "other.csv"
        picture.write_text("\n".join(",".join(str(r * c) for c in range(9)) for r in range(8)))
        pictures = window.workspace.picture_desk
        pictures.lay(picture)
        qtbot.waitUntil(lambda: session.work.picture is not None, timeout=LONG)
        decide_much(window, qtbot)
        assert window.journal.flush()
        journal = window.journal.path
        assert read(journal).work == session.work
        session.choose_channel("adhesion")
        window.workspace.map.limits_changed.emit((2.0, 9.0))
        session.select(4, 6)
        window.workspace.curve.set_axes("indentation", "force")
        window.workspace.curve.axes_changed.emit("indentation", "force")
        save_as(window, result, qtbot, monkeypatch)
        assert not window.isWindowModified()
        qtbot.waitUntil(lambda: not journal.exists(), timeout=LONG)
        work, whole = session.work, session.analysis
        assert [row["action"] for row in load_analysis(result).history[:6]] == [
            "picture other.csv", "fit window", "three", "region", "rule", "levelling"]  # fmt: skip
        session.apply({"tip.radius": 33.0}, "tip radius")
        window.commands.close_map()

        window.workspace.curve.set_axes("z", "force")
        window.commands.open(result)
        qtbot.waitUntil(lambda: session.map is not None and session.finished, timeout=LONG)
        assert session.work == work
        assert (session.changed, session.undo_words) == (False, "")
        qtbot.waitUntil(lambda: picture in pictures.seen, timeout=LONG)
        assert window.workspace.views.indexOf(pictures.page) >= 0
        assert (session.channel, session.selection) == ("adhesion", (4, 6))
        assert session.limits("adhesion") == (2.0, 9.0)
        assert window.workspace.curve.x_choice.currentData() == "indentation"
        for name in ("modulus", "adhesion", "contact_height"):
            assert session.analysis.channel(name).tobytes() == whole.channel(name).tobytes()
        qtbot.waitUntil(lambda: "All numbers are those of" in window.status.words.text(),
                        timeout=LONG)  # fmt: skip

        # decided further, all of it is in the next file, with what was done before
        session.leave_out(np.eye(*session.map.shape, dtype=bool), "diagonal")
        qtbot.waitUntil(lambda: session.finished, timeout=LONG)  # a corrected pixel is in it
        save_as(window, tmp_path / "second.h5", qtbot, monkeypatch)
        again = load_analysis(tmp_path / "second.h5")
        assert replace(again.work, picture=session.work.picture) == session.work
        acts = [row["action"] for row in again.history]
        assert acts[:6] == ["picture other.csv", "fit window", "three", "region", "rule",
                            "levelling"]  # fmt: skip
        assert "diagonal" in acts

        # the map has gone elsewhere: one may point to it, but not to another one
        window.commands.close_map()
        (tmp_path / "elsewhere").mkdir()
        moved = blend.replace(tmp_path / "elsewhere" / "moved.h5")
        other = map_file(tmp_path, "blend.h5", spring_constant=3.0)
        asked: list = []
        answers = [other, moved]
        window.reopening.ask_source = lambda parent, words: asked.append(words) or True
        monkeypatch.setattr(files, "ask_open", lambda *_: answers.pop(0))
        window.commands.open(result)
        qtbot.waitUntil(lambda: session.map is not None and session.finished, timeout=LONG)
        assert len(asked) == 2
        assert all("not the map that blend_result.h5 was made from" in words for words in asked)
        assert session.map.path == moved
        assert replace(session.work, picture=work.picture) == work
        assert session.work.picture.path == picture
        assert error_text(window) == ""


def test_unsaved_work_is_offered_and_goes_on(blend, state, qtbot, tmp_path):
    with main_window(qtbot) as window:
        open_map(window, blend, qtbot)
        decide_much(window, qtbot)
        window.session.undo()
        work = window.session.work
        window.journal.flush()
        path = window.journal.path
        left = path.read_bytes()  # as a crash would leave it
    assert find(path.parent) == []  # left on purpose
    path.write_bytes(left)

    asked: list = []
    with main_window(qtbot) as window:
        session = window.session
        window.reopening.ask_recover = lambda parent, words, saved: asked.append(words) or "later"
        window.reopening.look_for_unsaved()
        qtbot.waitUntil(lambda: len(asked) == 1, timeout=LONG)
        assert "“invented blend” was saved: 6 acts" in asked[0]
        assert "The last was “undo: levelling”" in asked[0]
        window.reopening.ask_recover = lambda *_: "recover"
        window.reopening.look_for_unsaved()
        qtbot.waitUntil(lambda: session.map is not None and session.finished, timeout=LONG)
        assert session.work == work
        assert session.changed
        assert window.journal.path == path
        session.apply({"tip.radius": 25.0}, "tip radius")
        newer = session.work
        window.journal.flush()
        again = path.read_bytes()
        window.commands.close_map()
        assert not path.exists()

        path.write_bytes(again)  # the recovered work is lost and recovered once more
        window.reopening.look_for_unsaved()
        qtbot.waitUntil(lambda: session.map is not None and session.finished, timeout=LONG)
        assert session.work == newer
        session.undo()  # undo begins fresh
        assert session.work == newer
        window.commands.close_map()
        path.write_bytes(again)
        window.reopening.ask_recover = lambda *_: "discard"
        window.reopening.look_for_unsaved()
        qtbot.waitUntil(lambda: not path.exists(), timeout=LONG)
        assert find(path.parent) == []
