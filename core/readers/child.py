"""Unknown files are looked into by another process first, so that a crash is a message.

Memory faults in a C library can't be caught. So one small process waits, opens each new file the
way the reader will, and answers in one line; if it dies instead, the file is refused. It is
started once and lives as long as this process; `warm_up` starts it before it is needed. A file
that was looked into and has not changed since is not looked into again.
"""

from __future__ import annotations

import atexit
import contextlib
import importlib
import json
import os
import subprocess
import sys
import threading
from collections.abc import Sequence
from pathlib import Path

from ..errors import ReadError
from .door import Seen, look
from .guard import AGAIN

PATIENCE = 30.0  # seconds for one file; the library can loop for ever on a damaged one

# Runs with no site and no environment of its own: it gets our sys.path, and stands in for the
# packages above this one, whose own imports it doesn't need.
_BOOT = """
import importlib, json, sys, types
paths, packages, name = json.loads(sys.argv[1])
sys.path[:] = paths
for package, folders in packages:
    sys.modules[package] = module = types.ModuleType(package)
    module.__path__ = folders
importlib.import_module(name).serve()
"""


def _command() -> list[str]:
    above = __package__.split(".")[:-1]
    packages = []
    for n in range(1, len(above) + 1):
        folder = Path(__file__).resolve().parents[len(above) - n + 1]
        packages.append((".".join(above[:n]), [str(folder)]))
    plan = json.dumps([[p for p in sys.path if p], packages, __name__])
    return [sys.executable, "-I", "-S", "-c", _BOOT, plan]


class Inspector:
    """The parent's side: one child process, asked one file at a time.

    Parameters
    ----------
    command : what to run; the default runs `serve` of this module
    patience : seconds that one file may take
    """

    def __init__(self, command: Sequence[str] | None = None, patience: float = PATIENCE) -> None:
        self._command, self.patience = command, patience
        self._lock = threading.Lock()
        self._process: subprocess.Popen[str] | None = None
        self._owner = 0
        self._ready = False
        self._passed: set[tuple[str, tuple[int, int, int]]] = set()

    def start(self) -> bool:
        """Start the child without waiting for it; False if no process can be started here."""
        with self._lock:
            return self._start()

    def _start(self) -> bool:
        mine = self._owner == os.getpid()
        if mine and self._process is not None and self._process.poll() is None:
            return True
        command = self._command or _command()
        if not command[0]:
            return False
        few = dict.fromkeys(("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS"), "1")
        group = {"start_new_session": True}  # Ctrl-C is for us, not for the child
        if os.name == "nt":
            quiet = subprocess.CREATE_NO_WINDOW | subprocess.CREATE_NEW_PROCESS_GROUP  # type: ignore[attr-defined]
            group = {"creationflags": quiet}
        try:
            self._process = subprocess.Popen(
                command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL,
                encoding="utf-8", env={**os.environ, **few}, **group,  # type: ignore[call-overload]
            )  # fmt: skip
        except OSError:
            self._process = None
            return False
        self._owner, self._ready = os.getpid(), False
        return True

    def inspect(self, seen: Seen, module: str) -> None:
        """Let the child look into a file unless it has passed already.

        `module` is the full name of the module whose ``inspect(seen)`` looks.

        Where no process can be started the file is read without this precaution; the guard's own
        checks hold all the same.

        Raises
        ------
        ReadError : what the reader said in the child, or that the file crashes it or takes too
            long
        """
        key = (os.fspath(seen.path.absolute()), seen.identity)
        with self._lock:
            if key in self._passed or not self._start():
                return
            answer = self._ask([module, key[0]])
            if answer is not None:
                if "error" in answer:
                    _, what, repair, where = answer["error"]
                    raise ReadError(seen.path, what, repair, where)
                self._passed.add(key)
                return
            if self._ready:
                raise ReadError(seen.path, self._end_in_words(), AGAIN)

    def _ask(self, question: list[str]) -> dict | None:
        """The child's answer, or None if it ended instead."""
        process = self._process
        assert process is not None
        assert process.stdin is not None
        assert process.stdout is not None
        watch = threading.Timer(self.patience, process.kill)
        watch.daemon = True
        watch.start()
        try:
            if not self._ready:
                self._ready = bool(process.stdout.readline())
            process.stdin.write(json.dumps(question) + "\n")
            process.stdin.flush()
            line = process.stdout.readline()
            return json.loads(line) if line else None
        except (OSError, ValueError):
            return None
        finally:
            watch.cancel()

    def _end_in_words(self) -> str:
        assert self._process is not None
        code = self._process.wait()
        if os.name != "nt" and code == -9:
            return f"reading it takes longer than {self.patience:.0f} s; it is damaged"
        return f"reading it crashes the HDF5 library (exit code {code}); it is damaged or hostile"

    def stop(self) -> None:
        """End the child."""
        with self._lock:
            process, self._process = self._process, None
        if process is None or self._owner != os.getpid():
            return
        with contextlib.suppress(OSError):
            if process.stdin is not None:
                process.stdin.close()
        try:
            process.wait(timeout=2.0)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()
        if process.stdout is not None:
            process.stdout.close()


INSPECTOR = Inspector()
atexit.register(INSPECTOR.stop)


def warm_up() -> None:
    """Start the process that looks into unknown files, so that the first file opens faster."""
    INSPECTOR.start()


def serve() -> None:
    """The child's side: for each line with a module and a path, one line with what it found."""
    answers = os.fdopen(os.dup(1), "w", encoding="utf-8")
    os.dup2(2, 1)  # whatever a library prints goes nowhere
    import h5py  # noqa: F401  (before the first question, while the parent does other things)

    print(json.dumps({"ready": True}), file=answers, flush=True)
    for line in sys.stdin:
        answer: dict = {"passed": True}
        try:
            module, path = json.loads(line)
            importlib.import_module(module).inspect(look(path))
        except ReadError as error:
            answer = {"error": [error.path, error.what, error.repair, error.where]}
        print(json.dumps(answer), file=answers, flush=True)
