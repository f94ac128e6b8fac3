"""The status bar: what is being done and how far, the last message, and the size of the map."""

from __future__ import annotations

from typing import Any

from PySide6.QtCore import Qt, QTimer
from PySide6.QtGui import QAction
from PySide6.QtWidgets import QLabel, QProgressBar, QStatusBar, QToolButton, QWidget

from .theme import SPACE, toned

QUIET = 150  # ms: what is done sooner is not worth a word
READY = "Ready"
LINGER = 12_000  # ms: what was said of something done is old news then


class Status(QStatusBar):
    """Everything has its place from the beginning, so that nothing moves."""

    def __init__(self, stop: QAction, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setSizeGripEnabled(False)
        self.words, self.counts = QLabel(READY, self), toned(QLabel(self), "muted")
        self.words.setTextFormat(Qt.TextFormat.PlainText)
        self.bar = QProgressBar(self)
        self.bar.setTextVisible(False)
        self.bar.setFixedSize(150, 12)
        self.stop = QToolButton(self)
        self.stop.setDefaultAction(stop)
        self.stop.setAutoRaise(True)
        self.stop.setFixedSize(22, 22)
        self.words.setContentsMargins(SPACE, 0, 0, 0)
        self.addWidget(self.words, 1)
        self.addPermanentWidget(self.bar)
        self.addPermanentWidget(self.stop)
        self.addPermanentWidget(self.counts)
        for widget in (self.bar, self.stop):
            policy = widget.sizePolicy()
            policy.setRetainSizeWhenHidden(True)
            widget.setSizePolicy(policy)
            widget.hide()
        self._said, self._now = READY, ("", 0, 0)
        self._timer = QTimer(self, singleShot=True, interval=QUIET)
        self._timer.timeout.connect(self._show)
        self._fade = QTimer(self, singleShot=True)
        self._fade.timeout.connect(self._forget)

    @property
    def busy(self) -> bool:
        return bool(self._now[0])

    def say(self, words: str) -> None:
        """A sentence that stays for a while, until the next one, or until work gets further."""
        self._said = words
        self.words.setText(words)
        self._fade.start(LINGER)

    def _forget(self) -> None:
        """What was said is over; work that is going on is not interrupted."""
        self._said = READY
        if not self.busy:
            self.words.setText(READY)

    def show_busy(self, words: str, done: int, total: int) -> None:
        """What is being done; empty words when nothing is."""
        was = self.busy
        self._now = (words, done, total)
        if not words:
            self._timer.stop()
            self._show()
        elif not was:
            self._timer.start()
        elif not self._timer.isActive():
            self._show()

    def _show(self) -> None:
        words, done, total = self._now
        self.words.setText(words or self._said)
        self.bar.setVisible(bool(words))
        self.stop.setVisible(bool(words) and self.stop.defaultAction().isEnabled())
        if words:
            self.bar.setRange(0, total)
            self.bar.setValue(done)

    def show_counts(self, session: Any) -> None:
        """Size of the map, and how many pixels are in severe doubt."""
        fmap, analysis = session.map, session.analysis
        if fmap is None:
            self.counts.clear()
            return
        rows, cols = fmap.shape
        text = f"{rows} × {cols} pixels, {fmap.n_curves} curves"
        if analysis is not None and analysis.complete:
            undecided = analysis.severe & (session.review.kinds(fmap.shape) == 0)
            text += f", {int(undecided.sum())} in severe doubt"
        self.counts.setText(f"{text}  ")
