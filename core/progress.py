"""Progress and cancel, without threads and without Qt.

A long loop calls ``progress.step(done, total)``. Whoever started it may show that, and may set
``progress.cancel()`` from any thread; the next ``step`` then raises `Cancelled`.
"""

from __future__ import annotations

from collections.abc import Callable

from .errors import Cancelled


class Progress:
    """What a long loop tells, and how it is stopped.

    Parameters
    ----------
    report : called with (done, total, words) from the thread of the loop; None shows nothing
    """

    def __init__(self, report: Callable[[int, int, str], None] | None = None) -> None:
        self._report = report
        self._cancelled = False

    def cancel(self) -> None:
        """Ask the loop to stop at its next step; safe from any thread."""
        self._cancelled = True

    @property
    def cancelled(self) -> bool:
        return self._cancelled

    def check(self) -> None:
        """Raise `Cancelled` if somebody asked to stop."""
        if self._cancelled:
            raise Cancelled("Stopped on request.")

    def step(self, done: int, total: int, words: str = "") -> None:
        """Tell how far the loop is; raise `Cancelled` if somebody asked to stop."""
        self.check()
        if self._report is not None:
            self._report(done, total, words)
