"""The guide inside the program: pages at the left, the text at the right."""

from __future__ import annotations

from collections.abc import Iterable

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QDialog, QHBoxLayout, QListWidget, QTextBrowser, QWidget

from ..theme import SPACE
from .help_pages import pages

PAD = 5


class HelpWindow(QDialog):
    """Stays open beside the work; it links to nothing outside."""

    def __init__(self, keys: Iterable[tuple[str, str]], parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setWindowTitle("Guide")
        self.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        self._pages = pages(keys)
        self.list, self.text = QListWidget(self), QTextBrowser(self)
        self.list.addItems(list(self._pages))
        self.list.setStyleSheet(f"QListWidget::item {{ padding: {PAD}px; }}")
        self.list.setAccessibleName("Pages")
        self.text.document().setDocumentMargin(2 * SPACE)
        self.list.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.list.setFixedWidth(self._needed())
        self.list.currentTextChanged.connect(self._show)
        box = QHBoxLayout(self)
        box.setContentsMargins(SPACE, SPACE, SPACE, SPACE)
        box.setSpacing(SPACE)
        box.addWidget(self.list)
        box.addWidget(self.text, 1)
        self.resize(860, 620)
        self.list.setCurrentRow(0)

    def _needed(self) -> int:
        """Width at which the longest title is whole, whatever the font."""
        room = 2 * self.list.frameWidth() + 2 * PAD
        bar = self.list.verticalScrollBar().sizeHint().width()
        return max(self.list.sizeHintForColumn(0) + bar, 120) + room

    def show_page(self, title: str) -> None:
        """Turn to a page."""
        self.list.setCurrentRow(list(self._pages).index(title))

    def _show(self, title: str) -> None:
        self.text.setMarkdown(self._pages[title])
