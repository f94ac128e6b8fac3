"""The panel *Doubts*: which pixels not to believe, and what was decided about them.

Three pages: what is to be decided, what was decided and what that does to the numbers, and doubts
about the whole map. The panel is passive: it shows what it is given and tells what the person did.
"""

from __future__ import annotations

from PySide6.QtCore import QSize, Signal
from PySide6.QtWidgets import QTabWidget, QVBoxLayout, QWidget

from ..theme import LIGHT, Theme
from .decide_page import DecidePage
from .decided_page import DecidedPage
from .map_doubts_page import MapDoubtsPage

PAGES = {"decide": "To decide", "decided": "Decided", "map": "Whole map"}
"""Page -> the word on its tab."""


class DoubtsPanel(QWidget):
    """Signals: asked (another page is in front), seen(bool) (came into sight or went out of it);
    those of the pages are theirs."""

    asked = Signal()
    seen = Signal(bool)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.in_sight = False
        self.decide, self.decided, self.whole = DecidePage(), DecidedPage(), MapDoubtsPage()
        self.tabs = QTabWidget(self)
        self.tabs.setDocumentMode(True)
        for page, words in zip((self.decide, self.decided, self.whole), PAGES.values(),
                               strict=True):  # fmt: skip
            self.tabs.addTab(page, words)
        box = QVBoxLayout(self)
        box.setContentsMargins(0, 0, 0, 0)
        box.addWidget(self.tabs)
        self.tabs.currentChanged.connect(lambda _: self.asked.emit())
        self.set_theme(LIGHT)

    @property
    def page(self) -> str:
        """Name of the page in front."""
        return list(PAGES)[self.tabs.currentIndex()]

    def show_page(self, name: str) -> None:
        self.tabs.setCurrentIndex(list(PAGES).index(name))

    def show_counts(self, decided: int, whole: int) -> None:
        """How many decisions and doubts about the whole map there are, on the tabs."""
        for at, count in ((1, decided), (2, whole)):
            words = list(PAGES.values())[at]
            self.tabs.setTabText(at, f"{words} ({count})" if count else words)

    def set_theme(self, theme: Theme) -> None:
        for page in (self.decide, self.decided, self.whole):
            page.set_theme(theme)

    def set_in_sight(self, seen: bool) -> None:
        """Whether it can be seen; a panel behind another can't, though Qt calls it visible."""
        if seen != self.in_sight:
            self.in_sight = seen
            self.seen.emit(seen)

    def sizeHint(self) -> QSize:
        return QSize(380, 420)
