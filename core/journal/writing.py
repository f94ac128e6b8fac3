"""Writing a journal: each act a line, on a thread of its own, so that nobody waits for a disk."""

from __future__ import annotations

import hashlib
import os
import queue
import threading
import time
import uuid
from collections.abc import Callable
from contextlib import suppress
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, BinaryIO

from ..work import Work, as_parts, change_of
from ..writers.nexus import version
from .folder import ENDING, Lock
from .lines import ACT, HEAD, SAVED, SOURCE, VERSION, WHOLE, line_of

SYNC_SECONDS, SYNC_ACTS = 2.0, 20
WHOLE_SECONDS, WHOLE_LINES = 300.0, 500
RETRY_SECONDS = 60.0
PIECE = 8 * 1024**2
PROBLEM = ("Your work can't be kept safe against a crash: {} Work goes on; save the result from "
           "time to time.")  # fmt: skip


@dataclass(frozen=True)
class Source:
    """The map that a journal is about. `checksum` may follow later; `path` is absolute."""

    path: str
    uuid: str
    size: int
    checksum: str = ""
    title: str = ""


@dataclass(frozen=True)
class _Item:
    """What the thread is asked to do."""

    do: str
    work: Work | None = None
    words: str = ""
    how: str = ""
    time: str = ""
    done: threading.Event | None = None


class Journal:
    """One journal. All methods return at once; the thread does what is slow.

    Parameters
    ----------
    folder : where journals are kept
    source : the map
    work : what holds before the first act
    saved : the result file that holds it, if any
    path, number : a journal to go on with, and its last number
    tell : called once from the thread, with a sentence, if nothing can be written
    """

    def __init__(self, folder: Path, source: Source, work: Work, saved: str = "", *,
                 path: Path | None = None, number: int = -1,
                 tell: Callable[[str], None] | None = None) -> None:  # fmt: skip
        self.path = path or folder / f"{uuid.uuid4()}{ENDING}"
        self.problem = ""
        self._source, self._saved, self._tell = source, saved, tell
        self._work = self._first = work
        self._number, self._goes_on = number, path is not None
        self._lock = Lock(self.path)
        self._stream: BinaryIO | None = None
        self._hash = None if source.checksum else hashlib.sha256()
        self._hashed: BinaryIO | None = None
        self._unsynced = self._lines = 0
        self._since = self._whole_at = self._touched = time.monotonic()
        self._failed_at: float | None = None
        self._queue: queue.SimpleQueue[_Item] = queue.SimpleQueue()
        self._thread = threading.Thread(target=self._run, name="palpate-journal", daemon=True)
        self._thread.start()

    # -- from any thread ------------------------------------------------------------------------

    def act(self, work: Work, words: str, how: str = "act") -> None:
        """Note what holds after an act; `how` is "act", "undo" or "redo"."""
        self._queue.put(_Item("act", work, words, how, now()))

    def saved(self, path: str) -> None:
        """Note that an earlier state is in a result file now."""
        self._queue.put(_Item("saved", words=path, time=now()))

    def flush(self, timeout: float = 10.0) -> bool:
        """Wait until all is on the disk; False if it took too long."""
        done = threading.Event()
        self._queue.put(_Item("flush", done=done))
        return done.wait(timeout)

    def close(self, remove: bool = False, timeout: float = 10.0) -> bool:
        """End; `remove` takes the journal away, since all is saved or not wanted. With a timeout
        of 0 nothing is waited for."""
        self._queue.put(_Item("remove" if remove else "close"))
        self._thread.join(timeout)
        return not self._thread.is_alive()

    # -- on the thread --------------------------------------------------------------------------

    def _run(self) -> None:
        if self._goes_on:
            self._guarded(self._open)
        while True:
            try:
                item = self._queue.get(timeout=self._patience())
            except queue.Empty:
                item = _Item("rest")
            if item.do == "act":
                assert item.work is not None
                if self._resting:
                    self._work = item.work  # for the next snapshot
                self._guarded(lambda item=item: self._act(item))  # type: ignore[misc]
            elif item.do == "saved":
                self._saved = item.words
                self._guarded(lambda item=item: self._put(  # type: ignore[misc]
                    SAVED, item.time, {"saved": item.words}))  # fmt: skip
            elif item.do in ("close", "remove"):
                self._end(item.do == "remove")
                return
            self._guarded(lambda item=item: self._rest(item.do == "flush"))  # type: ignore[misc]
            if item.done is not None:
                item.done.set()

    def _patience(self) -> float:
        """Seconds to wait for the next act."""
        if self._stream is not None and self._hash is not None and self._queue.empty():
            return 0.001
        left = self._since + SYNC_SECONDS - time.monotonic() if self._unsynced else 30.0
        return min(max(left, 0.0), 30.0)

    @property
    def _resting(self) -> bool:
        """Whether nothing is tried for a while, since it failed just now."""
        failed = self._failed_at
        return failed is not None and time.monotonic() - failed < RETRY_SECONDS

    def _guarded(self, do: Callable[[], None]) -> None:
        """What can't be written is told once, and tried again with a whole snapshot later."""
        if self._resting:
            return
        try:
            if self._failed_at is not None and self._stream is not None:
                self._begin()
            do()
            self._failed_at = None
        except OSError as error:
            self._failed_at = time.monotonic()
            if not self.problem:
                self.problem = PROBLEM.format(f"{self.path.parent}: {error.strerror or error}.")
                if self._tell is not None:
                    self._tell(self.problem)

    def _open(self) -> None:
        """Make the journal, or go on with one."""
        if self._stream is not None:
            return
        self.path.parent.mkdir(parents=True, exist_ok=True)
        if not self._lock.take():
            raise OSError(0, "another window is at it")
        self._stream = self.path.open("ab", buffering=0)
        with suppress(OSError):
            self.path.chmod(0o600)
        self._begin()

    def _begin(self) -> None:
        """Head and snapshot: whatever stands before them, a reader can begin here."""
        assert self._stream is not None
        if self._goes_on or self._failed_at is not None:
            self._stream.write(b"\n")  # ends a torn line
        self._put(HEAD, now(), {"palpate_journal": VERSION, "version": version(),
                                "source": asdict(self._source), "saved": self._saved})  # fmt: skip
        self._whole()

    def _act(self, item: _Item) -> None:
        assert item.work is not None
        before, self._work = self._work, item.work
        fresh = self._stream is None
        if fresh:
            self._work = before
            try:
                self._open()
            finally:
                self._work = item.work
        data = {"words": item.words, "how": item.how, "change": change_of(before, item.work)}
        self._put(ACT, item.time, data)

    def _put(self, kind: str, time_of: str, data: dict[str, Any]) -> None:
        if self._stream is None:
            return
        line = line_of(self._number + 1, kind, time_of, data)
        if self._stream.write(line) != len(line):
            raise OSError(28, os.strerror(28))
        self._number += 1
        if not self._unsynced:
            self._since = time.monotonic()
        self._unsynced += 1
        self._lines += 1

    def _whole(self) -> None:
        """A snapshot, from which a reader can begin."""
        self._put(WHOLE, now(), {"parts": as_parts(self._work)})
        self._lines, self._whole_at = 0, time.monotonic()

    def _rest(self, at_once: bool = False) -> None:
        """What is due: a snapshot, forcing to the disk, a sign of life, a piece of the checksum."""
        if self._stream is None:
            return
        here = time.monotonic()
        if self._lines >= WHOLE_LINES or (self._lines and here - self._whole_at > WHOLE_SECONDS):
            self._whole()
        late = self._unsynced >= SYNC_ACTS or here - self._since >= SYNC_SECONDS
        if self._unsynced and (at_once or late):
            self._sync()
        if here - self._touched > 60.0:
            self._touched = here
            self._lock.touch()
        if self._hash is not None:
            self._piece()

    def _sync(self) -> None:
        assert self._stream is not None
        os.fsync(self._stream.fileno())
        self._unsynced = 0

    def _piece(self) -> None:
        """A little more of the map's checksum; a line with it at the end."""
        assert self._hash is not None
        try:
            if self._hashed is None:
                self._hashed = Path(self._source.path).open("rb")  # noqa: SIM115
            data = self._hashed.read(PIECE)
        except OSError:
            self._let_go()
            return
        self._hash.update(data)
        if not data:
            found = self._hash.hexdigest()
            self._let_go()
            self._put(SOURCE, now(), {"checksum": found})

    def _let_go(self) -> None:
        self._hash = None
        if self._hashed is not None:
            self._hashed.close()
            self._hashed = None

    def _end(self, remove: bool) -> None:
        self._let_go()
        with suppress(OSError):
            if self._stream is not None:
                if not remove and self._unsynced:
                    self._sync()
                self._stream.close()
        if remove and (self._stream is not None or self._goes_on):
            with suppress(OSError):
                self.path.unlink()
        self._lock.leave()


def source_of(fmap: Any) -> Source | None:
    """How a journal names a map; None for one in memory, which can't be found again."""
    if fmap.path is None:
        return None
    return Source(str(fmap.path.absolute()), fmap.uuid, fmap.file_size, title=fmap.title)


def now() -> str:
    return datetime.now(UTC).isoformat(timespec="milliseconds")
