"""Where journals are kept, and who is at which: the folder and its locks."""

from __future__ import annotations

import json
import os
import socket
import sys
import time
from contextlib import suppress
from dataclasses import asdict, dataclass
from pathlib import Path

ENDING, LOCKED, DISCARDED = ".jsonl", ".lock", ".discarded"
SILENT = 600.0
"""Seconds after which a lock from another machine that nobody touched is stale."""
OLD = 30 * 86400.0
"""Seconds for which a discarded journal is kept."""


def journal_folder() -> Path:
    """The folder for journals, by the custom of the system; it need not exist."""
    home = Path.home()
    if os.name == "nt":
        state = Path(os.environ.get("LOCALAPPDATA") or home / "AppData" / "Local")
    elif sys.platform == "darwin":
        state = home / "Library" / "Application Support"
    else:
        state = Path(os.environ.get("XDG_STATE_HOME") or home / ".local" / "state")
    return state / "palpate" / "journals"


def discard(path: Path) -> None:
    """Offer a journal no more. It is kept aside for a month."""
    with suppress(OSError):
        aside = path.with_name(path.name + DISCARDED)
        path.replace(aside)
        os.utime(aside)
    with suppress(OSError):
        path.with_suffix(LOCKED).unlink()


def keep_tidy(folder: Path) -> None:
    """Remove journals that were discarded long ago, and locks that nothing belongs to."""
    with suppress(OSError):
        for path in folder.glob(f"*{DISCARDED}"):
            with suppress(OSError):
                if time.time() - path.stat().st_mtime > OLD:
                    path.unlink()
        for path in folder.glob(f"*{LOCKED}"):
            lone = not path.with_suffix(ENDING).exists()
            if lone and time.time() - path.stat().st_mtime > OLD:
                path.unlink()


@dataclass(frozen=True)
class Owner:
    """Who holds a lock: process, its start (so that a number used again is told), machine."""

    pid: int
    host: str
    started: str = ""

    @classmethod
    def here(cls) -> Owner:
        return cls(os.getpid(), socket.gethostname(), started_at(os.getpid()))

    @property
    def alive(self) -> bool:
        """Whether it still runs; only for a process of this machine."""
        if not runs(self.pid):
            return False
        now = started_at(self.pid)
        return not (now and self.started) or now == self.started


class Lock:
    """The lock of one journal: a file beside it with process and machine."""

    def __init__(self, journal: Path) -> None:
        self.path = journal.with_suffix(LOCKED)

    def owner(self) -> Owner | None:
        """Who holds it; None for nobody, or for a torn file."""
        try:
            data = json.loads(self.path.read_text(encoding="utf-8"))
            return Owner(int(data["pid"]), str(data["host"]), str(data["started"]))
        except (OSError, ValueError, KeyError, TypeError):
            return None

    @property
    def stale(self) -> bool:
        """Whether nobody is at the journal any more."""
        owner = self.owner()
        if owner is None:
            return not self.path.exists() or self._silent(5.0)  # else being written just now
        if owner.host == socket.gethostname():
            return not owner.alive
        return self._silent(SILENT)

    def _silent(self, seconds: float) -> bool:
        """Whether nobody touched it for so long, by the clock of the disk itself."""
        probe = self.path.with_name(f"probe-{os.getpid()}")
        try:
            probe.write_bytes(b"")
            now = probe.stat().st_mtime
            probe.unlink()
            return now - self.path.stat().st_mtime > seconds
        except OSError:
            return False

    def take(self) -> bool:
        """Take it; False if somebody else has it. Raises OSError if the folder can't be written."""
        mine = json.dumps(asdict(Owner.here())).encode()
        for _ in range(2):
            try:
                handle = os.open(self.path, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600)
            except FileExistsError:
                if self.owner() == Owner.here():
                    return True
                if not self.stale or not self._break():
                    return False
                continue
            with os.fdopen(handle, "wb") as stream:
                stream.write(mine)
            return True
        return False

    def _break(self) -> bool:
        """Take a stale lock away; of two that try, one does."""
        judged, aside = self.owner(), self.path.with_name(f"{self.path.name}-{os.getpid()}")
        try:
            self.path.replace(aside)
            if Lock.owner(_At(aside)) != judged:  # type: ignore[arg-type]
                aside.replace(self.path)  # somebody was faster: it is theirs
                return False
            aside.unlink()
            return True
        except OSError:
            return False

    def touch(self) -> None:
        with suppress(OSError):
            os.utime(self.path)

    def leave(self) -> None:
        """Give it back, if it is ours."""
        if self.owner() == Owner.here():
            with suppress(OSError):
                self.path.unlink()


@dataclass(frozen=True)
class _At:
    path: Path


def started_at(pid: int) -> str:
    """When a process was started, as the system counts; empty where that is not told."""
    try:
        text = Path(f"/proc/{pid}/stat").read_text(encoding="utf-8", errors="replace")
        return text.rpartition(")")[2].split()[19]
    except (OSError, IndexError):
        return ""


def runs(pid: int) -> bool:
    """Whether a process of this machine runs."""
    if pid <= 0:
        return False
    if os.name == "nt":
        return _runs_on_windows(pid)
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    except OSError:
        return True
    return not started_at(pid) or _state(pid) != "Z"


def _state(pid: int) -> str:
    try:
        text = Path(f"/proc/{pid}/stat").read_text(encoding="utf-8", errors="replace")
        return text.rpartition(")")[2].split()[0]
    except (OSError, IndexError):
        return ""


def _runs_on_windows(pid: int) -> bool:
    import ctypes

    kernel = ctypes.windll.kernel32  # type: ignore[attr-defined]
    handle = kernel.OpenProcess(0x1000, False, pid)
    if not handle:
        return False
    code = ctypes.c_ulong()
    kernel.GetExitCodeProcess(handle, ctypes.byref(code))
    kernel.CloseHandle(handle)
    return code.value == 259
