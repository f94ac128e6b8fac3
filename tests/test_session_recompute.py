"""The worker: late answers dropped, errors as values, cancel, coarse to fine."""

from __future__ import annotations

import threading
import time
from dataclasses import dataclass, field
from typing import Any, ClassVar

import pytest
from shell_window import LONG

from palpate.app.recompute import Recompute
from palpate.app.requests import Request
from palpate.core.errors import Cancelled, ReadError


@dataclass(frozen=True, eq=False)
class Step(Request):
    """A request that stops at gates, so that a test decides when it goes on."""

    name: str = ""
    lane: ClassVar[str] = "analysis"
    words: ClassVar[str] = "Stepping"
    tells: tuple[str, ...] = ()
    error: BaseException | None = None
    begun: threading.Event = field(default_factory=threading.Event)
    gate: threading.Event = field(default_factory=threading.Event)
    discarded: list = field(default_factory=list)

    def run(self, progress: Any, tell: Any) -> str:
        self.begun.set()
        for text in self.tells:
            tell(text)
        while not self.gate.wait(0.002):
            progress.check()
        progress.step(1, 2, "half way")
        if self.error is not None:
            raise self.error
        return self.name

    def discard(self, value: Any) -> None:
        self.discarded.append(value)


class Keep(Step):
    lane: ClassVar[str] = "save"
    kept: ClassVar[bool] = True


@pytest.fixture
def worker(qapp):
    made = Recompute()
    yield made
    assert made.close()
    made.deleteLater()


def heard(worker: Recompute) -> list:
    answers: list = []
    worker.answered.connect(answers.append)
    return answers


def finals(answers: list) -> list:
    return [answer.value for answer in answers if answer.final]


def test_an_answer_comes_back_on_the_thread_of_the_window(worker, qtbot):
    where: list = []
    worker.answered.connect(lambda _: where.append(threading.current_thread()))
    answers = heard(worker)
    step = Step("one")
    step.gate.set()
    number = worker.submit(step)
    qtbot.waitUntil(lambda: bool(answers), timeout=LONG)
    assert (answers[0].value, answers[0].generation) == ("one", number)
    assert where == [threading.main_thread()]


def test_a_newer_request_cancels_the_running_one_and_only_the_newest_is_answered(worker, qtbot):
    answers = heard(worker)
    steps = [Step(str(i)) for i in range(4)]
    worker.submit(steps[0])
    qtbot.waitUntil(steps[0].begun.is_set, timeout=LONG)
    for step in steps[1:]:
        step.gate.set()
        worker.submit(step)
    qtbot.waitUntil(lambda: not worker.busy, timeout=LONG)
    assert finals(answers) == ["3"]
    assert not steps[1].begun.is_set()


def test_an_answer_that_arrives_after_a_newer_request_is_dropped_and_let_go_of(worker, qtbot):
    answers = heard(worker)
    old, new = Step("old"), Step("new")
    worker.submit(old)
    qtbot.waitUntil(old.begun.is_set, timeout=LONG)
    old.gate.set()
    deadline = time.monotonic() + LONG / 1000
    while not worker._box:  # without events: the window has not looked into the box yet
        assert time.monotonic() < deadline
        time.sleep(0.001)
    new.gate.set()
    worker.submit(new)
    qtbot.waitUntil(lambda: not worker.busy, timeout=LONG)
    assert finals(answers) == ["new"]
    assert old.discarded == ["old"]


def test_a_late_answer_is_let_go_of_and_never_shown(worker, qtbot):
    answers = heard(worker)
    old = Step("old")
    worker.submit(old)
    job = worker._running
    qtbot.waitUntil(old.begun.is_set, timeout=LONG)
    job.wanted = False  # as a newer request would leave it, too late for the worker to notice
    old.gate.set()
    qtbot.waitUntil(lambda: not worker.busy, timeout=LONG)
    assert answers == []
    assert old.discarded == ["old"]


def test_a_gentle_request_lets_the_running_one_give_its_first_answer(worker, qtbot):
    answers = heard(worker)
    blocked = Step("blocked", tells=())
    worker.submit(blocked)
    qtbot.waitUntil(blocked.begun.is_set, timeout=LONG)
    follow = Step("follow", tells=("coarse",))
    worker.submit(Step("skipped"), gentle=True)
    worker.submit(follow, gentle=True)
    assert finals(answers) == []
    blocked.gate.set()
    qtbot.waitUntil(lambda: "blocked" in finals(answers), timeout=LONG)
    qtbot.waitUntil(lambda: any(a.value == "coarse" for a in answers), timeout=LONG)
    last = Step("last")
    last.gate.set()
    worker.submit(last, gentle=True)  # `follow` has told something: it makes way at once
    qtbot.waitUntil(lambda: not worker.busy, timeout=LONG)
    assert finals(answers) == ["blocked", "last"]


def test_an_error_comes_back_as_a_value_and_the_worker_goes_on(worker, qtbot):
    answers = heard(worker)
    bad = Step("bad", error=ReadError("map.h5", "it is damaged"))
    bad.gate.set()
    worker.submit(bad)
    qtbot.waitUntil(lambda: bool(answers), timeout=LONG)
    assert isinstance(answers[0].error, ReadError)
    assert answers[0].value is None
    good = Step("good")
    good.gate.set()
    worker.submit(good)
    qtbot.waitUntil(lambda: not worker.busy, timeout=LONG)
    assert finals(answers)[-1] == "good"


def test_what_the_person_stops_is_answered_as_stopped(worker, qtbot):
    answers = heard(worker)
    step = Step("long")
    worker.submit(step)
    qtbot.waitUntil(step.begun.is_set, timeout=LONG)
    worker.cancel(tell=True)
    qtbot.waitUntil(lambda: bool(answers), timeout=LONG)
    assert isinstance(answers[0].error, Cancelled)


def test_requests_that_are_kept_are_all_done_in_their_order(worker, qtbot):
    answers = heard(worker)
    steps = [Keep(str(i)) for i in range(3)]
    for step in steps:
        step.gate.set()
        worker.submit(step)
    qtbot.waitUntil(lambda: not worker.busy, timeout=LONG)
    assert finals(answers) == ["0", "1", "2"]


def test_progress_is_told_in_words_and_ends_with_silence(worker, qtbot):
    said: list = []
    worker.busy_changed.connect(lambda *what: said.append(what))
    step = Step("one")
    worker.submit(step)
    qtbot.waitUntil(step.begun.is_set, timeout=LONG)
    step.gate.set()
    qtbot.waitUntil(lambda: not worker.busy, timeout=LONG)
    assert said[0] == ("Stepping", 0, 0)
    assert ("half way", 1, 2) in said
    assert said[-1] == ("", 0, 0)


def test_closing_stops_a_running_job_and_answers_nothing(qapp, qtbot):
    worker = Recompute()
    answers = heard(worker)
    step = Step("long")
    worker.submit(step)
    qtbot.waitUntil(step.begun.is_set, timeout=LONG)
    assert worker.close()
    assert answers == []
    assert worker.submit(Step("after")) > 0
    assert not worker.busy
    worker.deleteLater()
