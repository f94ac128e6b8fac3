"""Start: window first, data second.

``main(["map.h5"])`` shows the window before anything that computes is loaded.
"""

from __future__ import annotations

import argparse
import contextlib
import os
import signal
import sys
import threading
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from PySide6.QtWidgets import QMainWindow

_BEGUN = time.perf_counter()


def arguments(argv: Sequence[str] | None) -> argparse.Namespace:
    parser = argparse.ArgumentParser(
        prog="palpate-window", description="Palpate's window, on a map or on its start page."
    )
    parser.add_argument("map", nargs="?", type=Path, metavar="MAP", help="the map to open")
    parser.add_argument("--timing", action="store_true",
                        help="print when the window was shown and its map was there")  # fmt: skip
    return parser.parse_args(argv)


def main(argv: Sequence[str] | None = None) -> int:
    """Open the window and run it to its end; returns the exit code."""
    given = arguments(argv)
    if given.map is not None and not given.map.exists():
        print(f"palpate: {given.map}: there is no such file or command.", file=sys.stderr)
        return 2
    if no_display():
        print("palpate: there is no display for a window. Without one use: palpate analyse MAP",
              file=sys.stderr)  # fmt: skip
        return 1
    from PySide6.QtCore import QTimer
    from PySide6.QtGui import QIcon
    from PySide6.QtWidgets import QApplication

    from .. import icons
    from .crash import CrashGuard, earlier_crashes
    from .main_window import MainWindow

    app = QApplication.instance() or QApplication(["palpate"])
    app.setApplicationName("palpate")
    app.setApplicationDisplayName("Palpate")
    app.setDesktopFileName("palpate")
    guard = CrashGuard()
    guard.install()
    window = MainWindow()
    app.setWindowIcon(QIcon(str(icons.path("palpate"))))
    guard.caught.connect(window.commands.show_fault)
    if given.timing:
        print_times(window)

    if given.map is not None:
        threading.Thread(target=get_ready_to_read, name="palpate-ready", daemon=True).start()
        import pyqtgraph  # noqa: F401  (the views need it as soon as the map is there)

    def begin() -> None:
        if given.map is None:
            window.peek()
        else:
            window.session.open(given.map)
        window.make_workspace()  # while the worker reads
        window.session.background.start()  # after the map: that is seen without the calculation
        told = earlier_crashes()
        if told is not None:
            window.commands.show_fault(told)
        window.reopening.look_for_unsaved()

    # Python hears signals only while it runs: the timer lets it
    ear = QTimer(interval=250)
    ear.timeout.connect(lambda: None)
    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, lambda number, _: app.exit(128 + number))
    ear.start()
    after_first_paint(window, begin)
    window.show()
    code = app.exec()
    window.session.close()
    window.deleteLater()
    app.processEvents()
    guard.remove()
    return int(code)


def no_display() -> bool:
    """Whether Qt would find nothing to draw on, and end the program with a dump."""
    names = ("DISPLAY", "WAYLAND_DISPLAY", "QT_QPA_PLATFORM")
    return sys.platform.startswith("linux") and not any(os.environ.get(name) for name in names)


def get_ready_to_read() -> None:
    """Load what opens a map, beside the making of the window; a fault comes up again on opening."""
    with contextlib.suppress(Exception):
        from ..core import readers

        readers.warm_up()


def after_first_paint(window: QMainWindow, do: Callable[[], None]) -> None:
    """Do something once the window has been drawn for the first time."""
    from PySide6.QtCore import QEvent, QObject, QTimer

    class FirstPaint(QObject):
        def eventFilter(self, watched: QObject, event: QEvent) -> bool:
            if event.type() == QEvent.Type.Paint:
                window.removeEventFilter(self)
                QTimer.singleShot(0, window, do)
            return False

    waiting = FirstPaint(window)
    window.installEventFilter(waiting)


def print_times(window: object) -> None:
    """Print the seconds since this module was loaded at which the stages were reached."""
    from PySide6.QtCore import QEvent, QObject

    def say(what: str) -> None:
        print(f"{what}: {time.perf_counter() - _BEGUN:.2f} s", flush=True)

    class Shown(QObject):
        told = False

        def eventFilter(self, watched: QObject, event: QEvent) -> bool:
            if event.type() == QEvent.Type.Paint and not self.told:
                self.told = True
                say("window shown")
            return False

    window._shown = Shown(window)  # type: ignore[attr-defined]
    window.installEventFilter(window._shown)  # type: ignore[attr-defined]
    session = window.session  # type: ignore[attr-defined]
    session.background.tools_loaded.connect(lambda: say("tools loaded"))
    session.map_changed.connect(lambda: say("map shown"))
    session.analysis_changed.connect(
        lambda: say("analysis finished") if session.finished else say("coarse analysis")
    )


if __name__ == "__main__":
    sys.exit(main())
