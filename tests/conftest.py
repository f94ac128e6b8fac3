"""What every test runs under: no display, nobody's own settings, and a look for leaks.

A test that uses `qtbot` or `qapp` is a window test. It fails when it leaves a top-level widget or a
running thread behind, or when Qt printed a warning that `QUIET` does not explain. Tests of core
get the check for Python threads alone, and Qt is not imported for them here.
"""

from __future__ import annotations

import gc
import os
import re
import shutil
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
if "PYTEST_XDIST_WORKER" in os.environ:
    # The workers fill the cores. Threads of the linear algebra would wait for each other, spinning:
    # on the small matrices of a mixture that took five times the processor time. Read at its load.
    for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ.setdefault(name, "1")

WINDOW_FIXTURES = {"qapp", "qtbot", "qtmodeltester"}
PATIENCE = 3.0  # seconds that a thread gets to end after its test

# Qt messages that do not fail a test: pattern, and why.
QUIET = {
    r'Detected locale "C" with character encoding': "the machine has no UTF-8 locale; Qt helps "
    "itself to C.UTF-8, which is what we want",
    r"This plugin does not support propagateSizeHints": "the offscreen platform has no window "
    "manager to tell; nothing is lost",
    r"This plugin does not support raise\(\)": "the same, for the stacking of windows",
    r"^Populating font family aliases took": "a slow font folder of the machine",
    r"^Cannot find font directory|QFontDatabase: Cannot find font": "a machine without fonts; "
    "the tests read texts, not pixels of letters",
    r"^XDG_RUNTIME_DIR not set|QStandardPaths: (XDG_RUNTIME_DIR|wrong permissions on runtime)": (
        "a container without a login; we keep nothing there"
    ),
}

# Python threads that may outlive a test: start of the name, and why.
LASTING_THREADS = {
    "tqdm_monitor": "one for the process; tqdm ends it at exit",
    "TMonitor": "the same, by the name of its class",
}


# ---- the person's own files stay out of reach


def pytest_configure(config: pytest.Config) -> None:
    """Point the folders of settings away from the person's, before anything can read them."""
    folder = tempfile.mkdtemp(prefix="palpate-tests-")
    config.add_cleanup(lambda: shutil.rmtree(folder, ignore_errors=True))
    for name in ("XDG_CONFIG_HOME", "XDG_DATA_HOME", "XDG_STATE_HOME"):
        os.environ[name] = str(Path(folder) / name.lower())


@pytest.hookimpl(trylast=True)  # when it is known what runs
def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """What compiles for itself comes first, beside the worker that compiles for all. One reader of
    Qt's messages, ours: it also sees what is said while windows close."""
    items.sort(key=lambda item: item.path.stem not in COMPILES_ITSELF)
    config.stash[WHOLE] = len({item.path for item in items}) >= MANY_FILES
    if config.pluginmanager.hasplugin("pytest-qt"):
        for item in items:
            if window_test(item):
                item.add_marker(pytest.mark.no_qt_log)


def window_test(item: pytest.Item) -> bool:
    return bool(WINDOW_FIXTURES & set(getattr(item, "fixturenames", ())))


# ---- the compiled code, made once for all workers

COMPILES_ITSELF = {"test_bounds"}
MANY_FILES = 12
WHOLE = pytest.StashKey[bool]()
"""Whether so much of the suite runs that it pays to compile ahead."""
AHEAD = {
    "usual": "from palpate.core.warm import *\nfor k in KINDS: is_warm(k) or warm(k)",
    "later": "from palpate.core.warm import *\n"
    "for k in KINDS: is_warm(k + AFTERWARDS) or warm_later(k)",
}
"""What is compiled ahead. Every test may need the usual kernels; few need the later ones, but each
window would begin to compile them in a child."""


def pytest_runtest_setup(item: pytest.Item) -> None:
    run = os.environ.get("PYTEST_XDIST_TESTRUNUID")  # set in each of several workers
    if run and item.config.stash.get(WHOLE, False) and item.path.stem not in COMPILES_ITSELF:
        item.config.stash[WHOLE] = False
        compile_once(run)


def compile_once(run: str) -> None:
    """The first worker of a run to come here compiles the usual kernels, and the others wait: each
    would else compile the same for itself. The next one compiles the later ones, while the first
    tests. If that fails, each compiles for itself, and the tests tell why."""
    from palpate.core.compiled import cache_folder

    def mark(part: str, word: str) -> Path:
        return cache_folder() / f"tests-{run}-{part}-{word}"

    for part in AHEAD:
        try:
            mark(part, "begun").touch(exist_ok=False)
        except FileExistsError:
            wait_for(mark("usual", "done"), 600.0)
            continue
        try:
            subprocess.run([sys.executable, "-P", "-c", AHEAD[part]], timeout=900, check=False)
        finally:
            mark(part, "done").touch()
        return


def wait_for(path: Path, seconds: float) -> None:
    deadline = time.monotonic() + seconds
    while not path.exists() and time.monotonic() < deadline:
        time.sleep(0.1)


# ---- the checks

FROZEN = pytest.StashKey[bool]()
"""Whether something was put out of the collector's sight since it last saw everything."""


@pytest.fixture(autouse=True)
def nothing_left_behind(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[None]:
    """Fail a test that leaves widgets or threads, or that made Qt complain.

    What is still there after a window test is put out of the collector's sight until its file is
    done: to look through all compiled code after each test would take longer than most tests.
    """
    threads = set(threading.enumerate())
    if not window_test(request.node):
        yield
        faults = left_threads(threads)
    else:
        with WindowWatch() as watch:
            own_settings(tmp_path_factory.mktemp("settings"))
            request.getfixturevalue("qapp")
            watch.begin()
            yield
            faults = [*watch.left_widgets(), *watch.left_qthreads(), *left_threads(threads)]
        faults += watch.complaints()
        gc.freeze()
        request.config.stash[FROZEN] = True
    if faults:
        pytest.fail("\n".join(faults), pytrace=False)


@pytest.fixture(autouse=True, scope="module")
def collect_all_after_a_file(request: pytest.FixtureRequest) -> Iterator[None]:
    """At the end of a file of window tests, and not of others, the collector looks at everything
    once: that takes half a second."""
    yield
    if request.config.stash.get(FROZEN, False):
        request.config.stash[FROZEN] = False
        gc.unfreeze()
        gc.collect()
        gc.freeze()


def own_settings(folder: Path) -> None:
    """Each window test starts with settings of its own, on every system."""
    from PySide6.QtCore import QSettings

    QSettings.setDefaultFormat(QSettings.Format.IniFormat)
    for kind in (QSettings.Format.IniFormat, QSettings.Format.NativeFormat):
        QSettings.setPath(kind, QSettings.Scope.UserScope, str(folder))


def left_threads(before: set[threading.Thread]) -> list[str]:
    """A line for each Python thread that is still running, after some patience."""
    deadline = time.monotonic() + PATIENCE
    while True:
        left = [thread for thread in threading.enumerate() if lasting(thread, before)]
        if not left or time.monotonic() > deadline:
            return [f"left running: Python thread {thread.name!r}" for thread in left]
        left[0].join(0.02)


def lasting(thread: threading.Thread, before: set[threading.Thread]) -> bool:
    """True for a new thread that nothing excuses; a dummy stands for a thread of Qt's, whose
    end Python does not notice, so it tells nothing."""
    if thread in before or isinstance(thread, threading._DummyThread):
        return False
    names = (thread.name, type(thread).__name__)
    return not any(name.startswith(known) for name in names for known in LASTING_THREADS)


class WindowWatch:
    """Reads Qt's messages while it is open, and counts widgets and threads of Qt."""

    def __init__(self) -> None:
        self.messages: list[tuple[str, str]] = []
        self.widgets: set[int] = set()

    def __enter__(self) -> WindowWatch:
        from PySide6.QtCore import qInstallMessageHandler

        self.previous = qInstallMessageHandler(self.hear)
        return self

    def __exit__(self, *reason: object) -> None:
        from PySide6.QtCore import qInstallMessageHandler

        qInstallMessageHandler(self.previous)

    def hear(self, kind: object, context: object, text: str) -> None:
        self.messages.append((getattr(kind, "name", str(kind)), text))

    def begin(self) -> None:
        self.kept = top_level_widgets()  # held, so that no new widget gets an old one's address

    def left_widgets(self) -> list[str]:
        """A line for each new top-level widget that still stands once the events are done."""
        settle()
        new = [widget for widget in top_level_widgets() if widget not in self.kept]
        lines = [
            f"left open: {type(w).__name__} {w.windowTitle() or w.objectName()!r}" for w in new
        ]
        for widget in new:  # the next test starts clean
            widget.close()
            widget.deleteLater()
        settle()
        return lines

    def left_qthreads(self) -> list[str]:
        """A line for each QThread, and for work in Qt's pool, still running after some patience."""
        from PySide6.QtCore import QCoreApplication, QThread, QThreadPool

        main = QThread.currentThread()
        threads = [o for o in gc.get_objects() if issubclass(type(o), QThread) and o is not main]
        deadline = time.monotonic() + PATIENCE
        while time.monotonic() < deadline and any(map(running, threads)):
            QCoreApplication.processEvents()
            time.sleep(0.01)
        left = [f"left running: {type(t).__name__}" for t in threads if running(t)]
        if not QThreadPool.globalInstance().waitForDone(int(1000 * PATIENCE)):
            left.append("left running: work in QThreadPool.globalInstance()")
        return left

    def complaints(self) -> list[str]:
        """Qt's warnings and worse that no entry of QUIET explains."""
        loud = ("QtWarningMsg", "QtCriticalMsg", "QtFatalMsg")
        unexplained = [
            text
            for kind, text in self.messages
            if kind in loud and not any(re.search(pattern, text) for pattern in QUIET)
        ]
        return [f"Qt complained: {text}" for text in unexplained]


def running(thread: object) -> bool:
    try:
        return thread.isRunning()  # type: ignore[attr-defined]
    except RuntimeError:  # its C++ half is gone, so it is not running
        return False


def settle() -> None:
    """Let the application finish what it has been asked for, deletions included."""
    from PySide6.QtCore import QCoreApplication, QEvent

    for _ in range(3):
        QCoreApplication.processEvents()
        QCoreApplication.sendPostedEvents(None, QEvent.Type.DeferredDelete.value)
        gc.collect()


def top_level_widgets() -> list:
    from PySide6.QtWidgets import QApplication

    return list(QApplication.topLevelWidgets())
