"""Nothing dies silently: faults of ours become a window with a report to copy.

Python's errors on any thread, also those that Python itself lets pass, and Qt's critical messages
are shown at once, and written to a file that goes away at a clean end. What ends the process itself
(a fault in a C library, a fatal message of Qt) stands there too, and the next start tells.
"""

from __future__ import annotations

import contextlib
import faulthandler
import os
import sys
import threading
import time
import traceback
from collections import deque
from pathlib import Path
from types import TracebackType
from typing import IO, Any

from PySide6.QtCore import (
    QCoreApplication,
    QObject,
    QStandardPaths,
    Qt,
    QtMsgType,
    Signal,
    qInstallMessageHandler,
)

from .faults import Fault, about_this, fault_of

OLD = 24 * 3600.0  # seconds after which an empty file is a left-over


def crash_folder() -> Path:
    """Where the reports of crashes are kept until they have been told."""
    place = QStandardPaths.StandardLocation.GenericCacheLocation
    return Path(QStandardPaths.writableLocation(place)) / "palpate" / "crashes"


class CrashGuard(QObject):
    """Catches what nobody else caught; `caught` brings it to the window's thread.

    Signal caught(Fault).
    """

    caught = Signal(object)
    _from_anywhere = Signal(object)

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self.messages: deque[str] = deque(maxlen=50)
        self._stream: IO[str] | None = None
        self._before: Any = None
        self._from_anywhere.connect(self.caught, Qt.ConnectionType.QueuedConnection)

    def install(self) -> None:
        sys.excepthook = self.on_exception
        threading.excepthook = self.on_thread
        sys.unraisablehook = self.on_unraisable
        self._before = qInstallMessageHandler(self.on_message)
        with contextlib.suppress(OSError):
            folder = crash_folder()
            folder.mkdir(parents=True, exist_ok=True)
            self._stream = (folder / f"{os.getpid()}.txt").open("w", encoding="utf-8")
            self._write(f"{about_this()}, started {time.strftime('%Y-%m-%d %H:%M:%S')} "
                        f"{_mark(os.getpid())}")  # fmt: skip
        faulthandler.enable(self._stream or sys.__stderr__ or self._stream)

    def remove(self) -> None:
        """Give the hooks back; the empty file of this process goes away."""
        sys.excepthook, threading.excepthook = sys.__excepthook__, threading.__excepthook__
        sys.unraisablehook = sys.__unraisablehook__
        qInstallMessageHandler(self._before)
        faulthandler.disable()
        if self._stream is not None:
            path = Path(self._stream.name)
            self._stream.close()
            self._stream = None
            with contextlib.suppress(OSError):
                path.unlink()

    # -- hooks ----------------------------------------------------------------------------------

    def on_exception(
        self, kind: type[BaseException], error: BaseException, trace: TracebackType | None
    ) -> None:
        if issubclass(kind, KeyboardInterrupt):
            QCoreApplication.quit()
            return
        error = error.with_traceback(trace)
        self._tell(fault_of(error))

    def on_thread(self, args: Any) -> None:
        if args.exc_value is not None and not issubclass(args.exc_type, SystemExit):
            self._tell(fault_of(args.exc_value))

    def on_unraisable(self, args: Any) -> None:
        """An error where nobody can catch it, as while an object goes away: no box, but a line for
        the report."""
        if args.exc_value is not None:
            said = "".join(traceback.format_exception(args.exc_value))
            self._write(f"{args.err_msg or 'Passed over'}: {args.object!r:.200}\n{said}")
            if sys.__stderr__ is not None:
                print(said, file=sys.__stderr__)

    def on_message(self, kind: QtMsgType, context: Any, text: str) -> None:
        self.messages.append(f"{kind.name}: {text}")
        if sys.__stderr__ is not None:
            print(text, file=sys.__stderr__)
        if kind == QtMsgType.QtFatalMsg:  # Qt ends the process next
            self._write("\n".join(self.messages))
        if kind == QtMsgType.QtCriticalMsg:
            words = "The window system reported a fault. Save your work and start Palpate again."
            self._tell(Fault(words, f"{about_this()}\n\n{text}"))

    def _tell(self, fault: Fault) -> None:
        if sys.__stderr__ is not None:
            print(fault.details, file=sys.__stderr__)
        self._write(fault.details)
        said = "\n".join(self.messages)
        more = f"\n\nMessages of the window system:\n{said}" if said else ""
        self._from_anywhere.emit(Fault(fault.words, fault.details + more))


    def _write(self, text: str) -> None:
        """Add to the file of this process, at once."""
        if self._stream is not None:
            with contextlib.suppress(OSError, ValueError):
                self._stream.write(f"{text}\n")
                self._stream.flush()


def _mark(pid: int) -> str:
    """What tells a process from a later one with its number."""
    from ..core.journal.folder import started_at

    return f"[{pid} {started_at(pid)}]"


def of_another(path: Path, text: str) -> bool:
    """Whether a report is that of a process that runs now."""
    from ..core.journal.folder import runs

    pid = int(path.stem) if path.stem.isdigit() else 0
    return pid != os.getpid() and runs(pid) and _mark(pid) in text.partition("\n")[0]


def earlier_crashes() -> Fault | None:
    """What an earlier run that ended by itself left; told once."""
    found = []
    folder = crash_folder()
    for path in sorted(folder.glob("*.txt")) if folder.is_dir() else []:
        with contextlib.suppress(OSError):
            text = path.read_text(encoding="utf-8", errors="replace").strip()
            if of_another(path, text):
                continue
            if text and not (text.startswith("Palpate ") and "\n" not in text):  # more than a head
                found.append(text)
                path.unlink()
            elif time.time() - path.stat().st_mtime > OLD:
                path.unlink()
    if not found:
        return None
    words = ("Palpate ended by itself the last time. Your files are as they were, and unsaved work "
             "is offered to you. To help mend this, copy the details and send them to its "
             "makers.")  # fmt: skip
    return Fault(words, "\n\n".join([about_this(), *found]))
