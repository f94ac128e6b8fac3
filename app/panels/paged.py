"""What the panels with several pages share: their tabs, and whether they can be seen."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from PySide6.QtCore import QSize, Signal
from PySide6.QtWidgets import QTabWidget, QVBoxLayout, QWidget

from ..theme import LIGHT, Theme


class PagedPanel(QWidget):
    """Pages behind each other. It is passive.

    Signals
    -------
    asked : another page is in front
    seen(bool) : it came into sight or went out of it
    """

    asked = Signal()
    seen = Signal(bool)

    def __init__(self, pages: Mapping[str, Any], words: Mapping[str, str],
                 parent: QWidget | None = None) -> None:  # fmt: skip
        """`pages` and `words`: name -> the page, and the word on its tab."""
        super().__init__(parent)
        self.in_sight = False
        self.pages = dict(pages)
        self.tabs = QTabWidget(self)
        self.tabs.setDocumentMode(True)
        self.tabs.setUsesScrollButtons(False)
        for name, page in self.pages.items():
            self.tabs.addTab(page, words[name])
        box = QVBoxLayout(self)
        box.setContentsMargins(0, 0, 0, 0)
        box.addWidget(self.tabs)
        self.tabs.currentChanged.connect(lambda _: self.asked.emit())
        self.set_theme(LIGHT)

    @property
    def page(self) -> str:
        """Name of the page in front."""
        return list(self.pages)[self.tabs.currentIndex()]

    def show_page(self, name: str) -> None:
        self.tabs.setCurrentIndex(list(self.pages).index(name))

    def set_theme(self, theme: Theme) -> None:
        for page in self.pages.values():
            page.set_theme(theme)

    def set_in_sight(self, seen: bool) -> None:
        """Whether it can be seen; a panel behind another can't, though Qt calls it visible."""
        if seen != self.in_sight:
            self.in_sight = seen
            self.seen.emit(seen)

    def sizeHint(self) -> QSize:
        return QSize(380, 420)
