"""The panel *Components*: how they are made, their table, their shape, and the surface.

It is passive: it shows what it is given and tells what the person did.
"""

from __future__ import annotations

from PySide6.QtCore import QSize, Signal
from PySide6.QtWidgets import QTabWidget, QVBoxLayout, QWidget

from ..theme import LIGHT, Theme
from ..views.component_look import swatch
from .find_page import FindPage
from .law_page import Page
from .shape_page import ShapePage
from .surface_page import SurfacePage
from .table_page import TablePage

PAGES = {"find": "Find", "table": "Table", "shape": "Shape", "surface": "Surface"}
"""Page -> the word on its tab."""


class ComponentsPanel(QWidget):
    """Signals: asked (another page is in front), seen(bool) (came into sight or went out of it);
    those of the pages are theirs."""

    asked = Signal()
    seen = Signal(bool)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.in_sight = False
        self.find, self.table, self.shape = FindPage(swatch), TablePage(), ShapePage()
        self.surface = SurfacePage(swatch)  # has a desk of its own
        self.pages: dict[str, Page] = {"find": self.find, "table": self.table, "shape": self.shape,
                                       "surface": self.surface}  # fmt: skip
        self.tabs = QTabWidget(self)
        self.tabs.setDocumentMode(True)
        self.tabs.setUsesScrollButtons(False)
        for name, words in PAGES.items():
            self.tabs.addTab(self.pages[name], words)
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

    def show_reason(self, words: str) -> None:
        """Why there are no components."""
        for page in (self.find, self.table, self.shape):
            page.show_reason(words)

    def show_waiting(self) -> None:
        """What is shown is being renewed. The form can be used meanwhile."""
        for page in (self.table, self.shape):
            page.show_waiting()

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
