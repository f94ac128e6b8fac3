"""Background work: generation numbers, one worker, cancel, coarse to fine.

All bookkeeping is on the window's thread; the worker takes one job at a time and puts what it has
to say into a box, then wakes the window. An answer of a job that is no longer wanted is dropped;
an error comes back as a value.
"""

from __future__ import annotations

import queue
import threading
import time
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from PySide6.QtCore import QObject, Qt, Signal

from ..core.progress import Progress
from .requests import Request

PARTIAL_EVERY = 1.0 / 15.0  # seconds between coarse answers to the window
PROGRESS_EVERY = 0.05
PATIENCE = 30.0  # seconds that the worker gets to stop


@dataclass(frozen=True, eq=False)
class Answer:
    """What became of a request.

    Attributes
    ----------
    generation : number of the request it answers
    value : the result, or a coarse or early one while `final` is False
    error : what went wrong, None if nothing; `Cancelled` if it was stopped on request
    """

    request: Request
    generation: int
    value: Any = None
    error: BaseException | None = None
    final: bool = True


class _Job:
    """A request on its way: whether it is still wanted, and what it has told so far."""

    def __init__(self, request: Request, generation: int, put: Callable[[_Job, Any], None]) -> None:
        self.request, self.generation, self._put = request, generation, put
        self.progress = Progress(self._report)
        self.told = self.yields = False
        self.wanted = True
        self._last = {"partial": -1e9, "progress": -1e9}

    def _due(self, what: str, every: float) -> bool:
        now = time.monotonic()
        if now - self._last[what] < every:
            return False
        self._last[what] = now
        return True

    def _report(self, done: int, total: int, words: str) -> None:
        if self._due("progress", PROGRESS_EVERY):
            self._put(self, (done, total, words))

    def _tell(self, value: Any) -> None:
        """Coarse analyses may be skipped, for the final one always comes; others may not."""
        if hasattr(value, "complete") and not self._due("partial", PARTIAL_EVERY):
            return
        self._put(self, Answer(self.request, self.generation, value, final=False))

    def work(self) -> Answer:
        """Run the request, on the worker."""
        try:
            self.progress.check()
            value = self.request.run(self.progress, self._tell)
        except BaseException as error:  # it is handed over and shown, not swallowed
            return Answer(self.request, self.generation, error=error)
        return Answer(self.request, self.generation, value)


class Recompute(QObject):
    """One worker thread and the order in which it works.

    Signals
    -------
    answered(Answer) : early, coarse and final answers that are still wanted
    busy_changed(words, done, total) : what is being done; words are empty when nothing is
    """

    answered = Signal(object)
    busy_changed = Signal(str, int, int)
    _woken = Signal()

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._generation = 0
        self._running: _Job | None = None
        self._waiting: list[_Job] = []
        self._jobs: queue.SimpleQueue[_Job | None] = queue.SimpleQueue()
        self._box: deque[Any] = deque()
        self._thread: threading.Thread | None = None
        self._closed = False
        self._woken.connect(self._drain, Qt.ConnectionType.QueuedConnection)

    # -- asking -------------------------------------------------------------------------------

    def submit(self, request: Request, gentle: bool = False) -> int:
        """Ask for something; returns its generation number.

        Parameters
        ----------
        gentle : let a running job of the same lane give its first answer before it makes way, so
            that something is seen while a hand is dragging
        """
        self._generation += 1
        if self._closed:
            return self._generation
        if not request.kept:
            self._waiting = [j for j in self._waiting if j.request.lane != request.lane]
            self._make_way(request.lane, gentle)
        job = _Job(request, self._generation, self._put)
        self._waiting.insert(0 if request.first else len(self._waiting), job)
        self._next()
        return self._generation

    def _make_way(self, lane: str, gentle: bool) -> None:
        job = self._running
        if job is None or job.request.lane != lane or not job.wanted:
            return
        if gentle and not job.told:
            job.yields = True
        else:
            self._drop(job)

    @staticmethod
    def _drop(job: _Job) -> None:
        job.wanted = False
        job.progress.cancel()

    def cancel(self, lane: str = "", tell: bool = False) -> None:
        """Stop a lane, or everything that may be stopped.

        Parameters
        ----------
        tell : answer with `Cancelled`, as when the person pressed Cancel; else nothing is said
        """
        self._waiting = [j for j in self._waiting if not self._in(j, lane)]
        if self._running is not None and self._in(self._running, lane):
            if not tell:
                self._running.wanted = False
            self._running.progress.cancel()
        self._say()

    @staticmethod
    def _in(job: _Job, lane: str) -> bool:
        return job.request.lane == lane or (not lane and job.request.lane != "tools")

    @property
    def busy(self) -> bool:
        return self._running is not None or bool(self._waiting)

    def working_on(self, lane: str) -> bool:
        """Whether a lane has work that is wanted."""
        jobs = [*self._waiting, *([self._running] if self._running else [])]
        return any(job.request.lane == lane and job.wanted for job in jobs)

    # -- the window's side --------------------------------------------------------------------

    def _next(self) -> None:
        if self._running is None and self._waiting:
            self._running = self._waiting.pop(0)
            if self._thread is None:
                self._thread = threading.Thread(
                    target=self._work, name="palpate-worker", daemon=True
                )
                self._thread.start()
            self._jobs.put(self._running)
        self._say()

    def _say(self, words: str = "", done: int = 0, total: int = 0) -> None:
        job = self._running
        if job is None or not job.wanted:
            self.busy_changed.emit("", 0, 0)
        else:
            self.busy_changed.emit(words or job.request.words, done, total)

    def _drain(self) -> None:
        while self._box:
            job, item = self._box.popleft()
            if isinstance(item, tuple):
                done, total, words = item
                if job is self._running and job.wanted:
                    self._say(words, done, total)
            else:
                self._take(job, item)

    def _take(self, job: _Job, answer: Answer) -> None:
        if answer.final and job is self._running:
            self._running = None
        if job.wanted and not self._closed:
            job.told = True
            if job.yields and not answer.final:
                self._drop(job)
            self.answered.emit(answer)
        elif answer.value is not None and answer.final:
            job.request.discard(answer.value)
        if answer.final:
            self._next()

    def close(self) -> bool:
        """Stop the worker and wait for it; False if it did not stop in time."""
        self._closed = True
        self._waiting.clear()
        if self._running is not None:
            self._drop(self._running)
        if self._thread is None:
            return True
        self._jobs.put(None)
        self._thread.join(PATIENCE)
        stopped = not self._thread.is_alive()
        self._thread = None
        self._drain()
        return stopped

    # -- the worker's side --------------------------------------------------------------------

    def _work(self) -> None:
        while (job := self._jobs.get()) is not None:
            self._put(job, job.work())

    def _put(self, job: _Job, item: Any) -> None:
        self._box.append((job, item))
        if not self._closed:
            self._woken.emit()
