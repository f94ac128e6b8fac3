"""What was decided survives a crash: the journal, its locks, and kills at random moments."""

from __future__ import annotations

import json
import os
import random
import signal
import socket
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from palpate.core.components.rule import Rule
from palpate.core.decisions import Pixels
from palpate.core.errors import SourceError
from palpate.core.journal import Journal, Lock, Source, discard, find, read
from palpate.core.journal.lines import VERSION, line_of, plain_of
from palpate.core.places import Places, Rectangle, Region
from palpate.core.surface.levelling import Levelling
from palpate.core.work import Work, as_parts, change_of, changed, from_parts

SHAPE = (32, 32)
MAP = Source("/maps/blend.h5", "some-uuid", 1234, "0" * 64, "blend")


def acts(seed: int = 1):
    """Works one after the other, as a person makes them, without end: (work, words)."""
    rng = random.Random(seed)
    work = Work()
    while True:
        pixel = Pixels.one(SHAPE, rng.randrange(32), rng.randrange(32))
        kind = rng.randrange(8)
        if kind < 4:
            made = replace(work, review=work.review.keep(pixel, f"note {rng.random()}"))
            words = "keep"
        elif kind == 4:
            review = work.review.correct(pixel, {"fit.fraction_to": rng.uniform(60, 90)})
            made, words = replace(work, review=review), "correct"
        elif kind == 5:
            chosen = work.settings.with_value("tip.radius", rng.uniform(5, 50))
            made, words = replace(work, settings=chosen), "tip radius"
        elif kind == 6:
            rows = np.random.default_rng(rng.randrange(999)).random(SHAPE) > 0.8
            made, words = replace(work, review=work.review.with_left_out(rows)), "left-out pixels"
        else:
            made, words = replace(work, review=work.review.take_back(pixel)), "take back"
        if made != work:
            work = made
            yield work, words


def some(count: int, seed: int = 1):
    found = acts(seed)
    return [next(found) for _ in range(count)]


def journal(tmp_path, **how):
    return Journal(tmp_path, MAP, Work(), **how)


def written(tmp_path, works, **how):
    """A journal of these works, left as a crash leaves it."""
    made = journal(tmp_path, **how)
    for work, words in works:
        made.act(work, words)
    made.flush()
    data = made.path.read_bytes()
    made.close(remove=True)
    made.path.write_bytes(data)
    return made.path


# ---- what a change is


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10**6))
def test_a_change_laid_on_the_work_before_gives_the_work_after(seed):
    before = Work()
    for after, _ in some(12, seed):
        for one, two in ((before, after), (after, before)):  # an act, and its undo
            plain = json.loads(json.dumps(change_of(one, two)))
            assert changed(one, plain) == two
        before = after
    assert from_parts(json.loads(json.dumps(as_parts(before)))) == before


def test_a_new_decision_is_one_entry_whatever_else_was_decided():
    work = Work()
    for n in range(200):
        work = replace(work, review=work.review.keep(Pixels.one(SHAPE, n // 32, n % 32)))
    again = replace(work, review=work.review.leave_out(Pixels.one(SHAPE, 3, 3)))
    found = change_of(work, again)["review"]["decisions"]
    assert [type(one) for one in found] == [list, list, dict]
    assert len(json.dumps(found)) < 400


def test_places_levelling_and_rule_are_told_too():
    first = Places((Region("a", Rectangle(0.0, 0.0, 5.0, 5.0)),))
    second = first.add(Region("b", Rectangle(1.0, 1.0, 4.0, 6.0)))
    work = replace(Work(), places=first)
    for other in (replace(work, places=second), replace(work, places=None),
                  replace(work, levelling=None), replace(work, levelling=Levelling(3)),
                  replace(work, rule=Rule(names=("x",)))):  # fmt: skip
        plain = json.loads(json.dumps(change_of(work, other)))
        assert len(plain) == 1
        assert changed(work, plain) == other
    assert change_of(work, replace(work, places=second))["places"]["regions"][0] == [0, 1]


# ---- the journal


def test_the_newest_work_is_read_back_with_its_acts(tmp_path):
    works = some(40)
    found = read(written(tmp_path, works, saved="/results/r.h5"))
    assert found.work == works[-1][0]
    assert found.source == MAP
    assert found.saved == "/results/r.h5"
    assert [row["action"] for row in found.acts] == [words for _, words in works]
    assert found.problem == ""


def test_every_beginning_of_a_journal_gives_one_of_the_works(tmp_path):
    """A kill leaves the file cut anywhere."""
    works = [Work(), *(work for work, _ in some(12))]
    path = written(tmp_path, some(12))
    whole = path.read_bytes()
    head = whole.index(b"\n", whole.index(b"\n") + 1) + 1
    seen = set()
    for at in [*range(head, len(whole), 97), len(whole)]:
        path.write_bytes(whole[:at])
        found = read(path)
        assert found.work == works[len(found.acts)]
        assert found.problem == ""
        seen.add(len(found.acts))
    assert seen == set(range(13))


def test_a_damaged_line_costs_what_follows_up_to_the_next_snapshot(tmp_path, monkeypatch):
    monkeypatch.setattr("palpate.core.journal.writing.WHOLE_LINES", 10)
    works = some(30)
    path = written(tmp_path, works)
    lines = path.read_bytes().splitlines(keepends=True)
    assert sum(plain_of(line)["kind"] == "whole" for line in lines) >= 3
    lines[5] = lines[5].replace(b'"how"', b'"hoW"')
    path.write_bytes(b"".join(lines))
    assert read(path).work == works[-1][0]
    assert read(path).problem == ""
    whole = [at for at, line in enumerate(lines) if plain_of(line) and b'"whole"' in line]
    path.write_bytes(b"".join(lines[: whole[1]]))
    found = read(path)
    assert found.work == works[len(found.acts) - 1][0]
    assert "its end is damaged" in found.problem


def test_the_number_decides_and_not_the_clock_or_the_place(tmp_path):
    works = some(5)
    path = written(tmp_path, works)
    lines = path.read_bytes().splitlines(keepends=True)
    old = line_of(1, "whole", "2999-01-01T00:00:00", {"parts": as_parts(Work())})
    path.write_bytes(b"".join([*lines, lines[2], old]))
    assert read(path).work == works[-1][0]


def test_a_recovered_journal_goes_on_and_is_recovered_again(tmp_path):
    works = some(30)
    path = written(tmp_path, works[:10])
    path.write_bytes(path.read_bytes() + b'{"crc":"torn')
    for first, last in ((10, 20), (20, 30)):
        found = find(tmp_path)[0]
        assert found.work == works[first - 1][0]
        going = Journal(tmp_path, found.source, found.work, found.saved, path=found.path,
                        number=found.number)  # fmt: skip
        for work, words in works[first:last]:
            going.act(work, words)
        going.flush()
        going.close()
        assert [one.path for one in find(tmp_path)] == [path]
    found = read(path)
    assert found.work == works[-1][0]
    assert len(found.acts) == 30
    assert found.problem == ""


def test_a_journal_that_is_saved_is_gone_and_one_that_is_not_begun_never_was(tmp_path):
    made = journal(tmp_path)
    made.flush()
    assert list(tmp_path.iterdir()) == []
    made.act(*some(1)[0])
    made.flush()
    assert sorted(p.suffix for p in tmp_path.iterdir()) == [".jsonl", ".lock"]
    assert find(tmp_path) == []  # somebody is at it: we
    made.close(remove=True)
    assert list(tmp_path.iterdir()) == []


def test_a_lock_of_a_dead_process_is_stale_and_of_another_machine_for_a_while_not(tmp_path):
    path = written(tmp_path, some(2))
    lock = Lock(path)
    gone = subprocess.Popen([sys.executable, "-c", ""])
    gone.wait()
    here = {"pid": os.getpid(), "host": socket.gethostname(), "started": ""}
    for owner, stale in ((here, False), (here | {"pid": gone.pid}, True),
                         (here | {"started": "1"}, sys.platform.startswith("linux")),
                         (here | {"host": "elsewhere", "pid": gone.pid}, False)):  # fmt: skip
        lock.path.write_text(json.dumps(owner))
        assert lock.stale == stale
        assert len(find(tmp_path)) == stale
    os.utime(lock.path, (time.time() - 3600, time.time() - 3600))
    assert lock.stale
    assert lock.take()
    assert not lock.stale
    lock.leave()
    assert not lock.path.exists()


def test_discard_is_remembered_for_that_journal_only(tmp_path):
    one, two = (written(tmp_path, some(3, seed)) for seed in (1, 2))
    discard(one)
    assert [found.path for found in find(tmp_path)] == [two]


def test_a_journal_of_another_version_is_told_and_left(tmp_path):
    path = tmp_path / "newer.jsonl"
    head = {"palpate_journal": VERSION + 1, "version": "9.0", "source": {}, "saved": ""}
    path.write_bytes(line_of(0, "head", "", head))
    found = find(tmp_path)[0]
    assert found.work is None
    assert "by a newer version of Palpate (9.0)" in found.problem
    assert path.exists()


def test_nonsense_is_a_sentence(tmp_path):
    good = written(tmp_path, some(3)).read_bytes()
    rng = random.Random(3)
    for _ in range(40):
        data = bytearray(good)
        for _ in range(rng.randrange(1, 6)):
            data[rng.randrange(len(data))] = rng.randrange(256)
        (tmp_path / "bent.jsonl").write_bytes(data)
        found = read(tmp_path / "bent.jsonl")
        assert found.problem == "" or found.problem.endswith(".")


def test_a_map_that_moved_or_changed_is_told(tmp_path):
    import hashlib

    from native_files import good_map

    path = good_map(tmp_path / "blend.h5")
    from palpate.core.readers import open_map

    with open_map(path) as fmap:
        source = Source(str(path), fmap.uuid, fmap.file_size)
    going = Journal(tmp_path / "state", source, Work())
    going.act(*some(1)[0])
    going.flush()
    end = time.monotonic() + 5.0
    while not read(going.path).source.checksum and time.monotonic() < end:
        time.sleep(0.01)
    found = read(going.path)
    going.close()
    whole = path.read_bytes()
    assert found.source.checksum == hashlib.sha256(whole).hexdigest()
    assert found.find_map() == path
    other = tmp_path / "other"
    other.mkdir()
    path.replace(other / "blend.h5")
    with pytest.raises(SourceError, match="not at its place"):
        found.find_map()
    assert found.find_map(other / "blend.h5") == other / "blend.h5"
    path.write_bytes(whole[:-1] + b"?")
    with pytest.raises(SourceError, match="not the map that the unsaved work is about: .*checksum"):
        found.find_map()
    assert found.find_map(folders=[other]) == other / "blend.h5"


def test_a_map_known_by_size_and_uuid_alone_is_told_so(tmp_path):
    """A crash before the checksum was worked out; the change of one byte is then not seen."""
    from native_files import good_map

    from palpate.app.reopen_desk import words_of
    from palpate.app.requests import OpenMap
    from palpate.core.readers import open_map

    path = good_map(tmp_path / "blend.h5")
    with open_map(path) as fmap:
        source = Source(str(path), fmap.uuid, fmap.file_size)
        own = fmap.checksum()
    for checksum in ("", own):
        going = Journal(tmp_path / "state", replace(source, checksum=checksum), Work())
        going.act(*some(1)[0])
        going.flush()
        lines = going.path.read_bytes().splitlines(keepends=True)
        going.close()
        cut = tmp_path / "cut.jsonl"
        cut.write_bytes(b"".join(line for line in lines if b'"kind":"source"' not in line))
        found = read(cut)
        assert found.source.checksum == checksum
        opened, kept = OpenMap(path, journal=found)._recovered()
        opened.close()
        told = "The map is known by its size and UUID alone, since its checksum was not"
        assert any(told in note for note in kept.notes) == (not checksum)
        assert (told in words_of(found, None)) == (not checksum)


def test_a_place_that_cannot_be_written_is_told_once_and_work_goes_on(tmp_path):
    (tmp_path / "file").write_text("")
    said: list = []
    made = Journal(tmp_path / "file" / "journals", MAP, Work(), tell=said.append)
    for work, words in some(5):
        made.act(work, words)
    assert made.flush()
    assert len(said) == 1
    assert "can't be kept safe against a crash" in said[0]
    assert made.close()


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no device that is always full")
def test_a_full_disk_is_told_once_and_the_journal_begins_again_when_there_is_room(
    tmp_path, monkeypatch
):
    said: list = []
    works = some(9)
    made = journal(tmp_path, tell=said.append)
    made.act(*works[0])
    made.flush()
    stream = made._stream
    made._stream = open("/dev/full", "ab", buffering=0)  # noqa: PTH123, SIM115
    for work, words in works[1:5]:
        made.act(work, words)
    made.flush()
    assert len(said) == 1
    assert "No space left" in said[0]
    made._stream.close()
    made._stream = stream
    stream.write(b'{"crc":"half a line')
    monkeypatch.setattr("palpate.core.journal.writing.RETRY_SECONDS", 0.0)
    for work, words in works[5:]:
        made.act(work, words)
    made.flush()
    found = read(made.path)
    made.close()
    assert found.work == works[-1][0]
    assert found.problem == ""


# ---- kills

CHILD = """
import itertools, sys, time
sys.path.insert(0, sys.argv[1])
from pathlib import Path
from test_journal import MAP, acts
from palpate.core.journal import Journal
from palpate.core.work import Work
journal = Journal(Path(sys.argv[2]), MAP, Work())
for number, (work, words) in enumerate(acts(int(sys.argv[3])), 1):
    journal.act(work, words)
    print(number, time.time(), flush=True)
    time.sleep(0.006)
"""


@pytest.mark.skipif(os.name == "nt", reason="a process can't be killed by a signal there")
def test_a_kill_at_any_moment_costs_less_than_a_second_of_work(tmp_path):
    """`tests/bench/test_kills.py` does the same fifty times with a session of the window."""
    rng = random.Random(int.from_bytes(os.urandom(4)))
    seeds = range(4)
    children = []
    for seed in seeds:
        folder = tmp_path / str(seed)
        out = (tmp_path / f"{seed}.txt").open("w")
        child = subprocess.Popen([sys.executable, "-P", "-c", CHILD, str(Path(__file__).parent),
                                  str(folder), str(seed)], stdout=out)  # fmt: skip
        children.append((child, folder, out, seed))
    for child, folder, out, seed in children:
        told = Path(out.name)
        end = time.monotonic() + 60.0
        while told.read_text().count("\n") < 180 and time.monotonic() < end:
            time.sleep(0.01)
        time.sleep(rng.uniform(0.0, 0.4))
        child.send_signal(signal.SIGKILL)
        killed = time.time()
        child.wait()
        out.close()
        rows = [line.split() for line in told.read_text().splitlines() if line.count(" ") == 1]
        due = sum(float(when) < killed - 1.0 for _, when in rows)
        found = find(folder)[0]
        there = len(found.acts)
        assert len(rows) >= 180
        assert there >= max(due, 1)
        stream = acts(seed)
        works = [next(stream)[0] for _ in range(there)]
        assert equal(found.work, works[-1] if works else Work())
        assert found.problem == ""


def equal(one: Work, two: Work) -> bool:
    """The same but for the times at which things were decided."""
    timeless = [replace(w, review=replace(w.review, decisions=tuple(
        replace(d, when="") for d in w.review.decisions))) for w in (one, two)]  # fmt: skip
    return timeless[0] == timeless[1]
