"""The first compilation, in a child process, so that the window never waits for it."""

from __future__ import annotations

import sys

from PySide6.QtCore import QObject, QProcess, Signal

from .kernels import AFTERWARDS, WITH_PARENT

WORDS = "Preparing the calculation (first start only) …"


class Preparation(QObject):
    """Which kinds of samples the kernels are ready for, and the child that makes them ready.

    Signals
    -------
    ready(kind) : the kernels for this kind are in the disk cache. Also sent if the child failed:
        then the worker compiles them itself, which is slower but works.
    busy_changed(words) : empty when nothing is being prepared that anybody waits for: that is the
        first kind of all, and one that is asked for urgently
    """

    ready = Signal(str)
    busy_changed = Signal(str)

    def __init__(self, parent: QObject | None = None, command: list[str] | None = None) -> None:
        super().__init__(parent)
        self._command = command or [sys.executable, "-P", "-m", f"{__package__}.kernels",
                                    WITH_PARENT]  # fmt: skip
        self._ready: set[str] = set()
        self._waiting: list[str] = []
        self._current = ""
        self._loud: set[str] = set()
        self._process: QProcess | None = None

    def is_ready(self, kind: str) -> bool:
        return kind in self._ready

    def mark(self, kind: str) -> None:
        """Note that a kind is ready."""
        if kind not in self._ready:
            self._ready.add(kind)
            self.ready.emit(kind)

    def ensure(self, kind: str, urgent: bool = False) -> None:
        """See that a kind becomes ready; `urgent` puts it before others that wait, and before what
        is being compiled without anybody waiting."""
        if kind in self._ready:
            return
        if urgent or not self._ready:
            self._loud.add(kind)
        if kind == self._current:
            self._tell()
            return
        if kind in self._waiting:
            if not urgent:
                return
            self._waiting.remove(kind)
        self._waiting.insert(0 if urgent else len(self._waiting), kind)
        if urgent and self._current in AFTERWARDS:
            self._waiting.append(self._current)
            self._current = ""
            self._end()
        self._next()

    def _tell(self) -> None:
        self.busy_changed.emit(WORDS if self._current in self._loud else "")

    def _next(self) -> None:
        if self._current:
            return
        if not self._waiting:
            self.busy_changed.emit("")
            return
        self._current = self._waiting.pop(0)
        self._tell()
        process = self._process = QProcess(self)
        process.setStandardOutputFile(QProcess.nullDevice())
        process.setStandardErrorFile(QProcess.nullDevice())
        process.finished.connect(self._finished)
        process.errorOccurred.connect(self._failed_to_start)
        process.start(self._command[0], [*self._command[1:], self._current])

    def _failed_to_start(self, error: QProcess.ProcessError) -> None:
        if error == QProcess.ProcessError.FailedToStart:
            self._finished()

    def _finished(self, *_: object) -> None:
        if self._process is None:
            return
        self._process.deleteLater()
        self._process = None
        kind, self._current = self._current, ""
        self.mark(kind)
        self._next()

    def close(self) -> None:
        """Stop for good."""
        self._waiting.clear()
        self._end()

    def _end(self) -> None:
        """End the child."""
        process, self._process = self._process, None
        if process is None:
            return
        process.finished.disconnect(self._finished)
        process.kill()
        process.waitForFinished(3000)
        process.deleteLater()
