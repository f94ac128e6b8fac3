"""The worker and the first compilation as one: what the session asks, and who is told."""

from __future__ import annotations

from PySide6.QtCore import QObject, Signal

from .kernels import AFTERWARDS, USUAL
from .preparation import Preparation
from .recompute import Answer, Recompute
from .requests import LoadTools, Request


class Background(QObject):
    """Signals
    -------
    answered(Answer) : early, coarse and final answers that are still wanted
    busy_changed(words, done, total) : words are empty when nothing is being done
    ready(kind) : maps with samples of this kind can be analysed
    tools_loaded : the modules that compute are there
    """

    answered = Signal(object)
    busy_changed = Signal(str, int, int)
    ready = Signal(str)
    tools_loaded = Signal()

    def __init__(
        self,
        parent: QObject | None = None,
        recompute: Recompute | None = None,
        preparation: Preparation | None = None,
    ) -> None:
        super().__init__(parent)
        self._recompute = recompute or Recompute(self)
        self._preparation = preparation or Preparation(self)
        self._preparing = ""
        self.tools_ready = False
        self._recompute.answered.connect(self._take)
        self._recompute.busy_changed.connect(self._tell_busy)
        self._preparation.ready.connect(self.ready)
        self._preparation.busy_changed.connect(self._note_preparing)

    def start(self) -> None:
        """Load what computes."""
        self._recompute.submit(LoadTools())

    def submit(self, request: Request, gentle: bool = False) -> int:
        return self._recompute.submit(request, gentle)

    def cancel(self, *lanes: str) -> None:
        """Stop some lanes without a word."""
        for lane in lanes:
            self._recompute.cancel(lane)

    def stop(self) -> None:
        """The person asks to stop what is being done; that is answered with `Cancelled`."""
        self._recompute.cancel(tell=True)

    @property
    def stoppable(self) -> bool:
        """Whether there is something that `stop` stops; the first compilation goes on."""
        return self._recompute.busy

    def working_on(self, lane: str) -> bool:
        return self._recompute.working_on(lane)

    def is_ready(self, kind: str) -> bool:
        return self._preparation.is_ready(kind)

    def prepare(self, kind: str, compiled: bool) -> None:
        """See that a kind of samples can be analysed; `ready` tells."""
        if compiled:
            self._preparation.mark(kind)
        else:
            self._preparation.ensure(kind, urgent=True)

    def close(self) -> bool:
        """Stop for good; False if the worker did not stop in time."""
        self._preparation.close()
        return self._recompute.close()

    def _take(self, answer: Answer) -> None:
        if isinstance(answer.request, LoadTools):
            self.tools_ready = True
            for kind in (*USUAL, *AFTERWARDS):
                if kind in (answer.value or ()):
                    self._preparation.ensure(kind)
                else:
                    self._preparation.mark(kind)
            self.tools_loaded.emit()
        self.answered.emit(answer)

    def _note_preparing(self, words: str) -> None:
        self._preparing = words
        self._tell_busy("", 0, 0)

    def _tell_busy(self, words: str, done: int, total: int) -> None:
        if words:
            self.busy_changed.emit(words, done, total)
        else:
            self.busy_changed.emit(self._preparing, 0, 0)
