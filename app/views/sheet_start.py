"""What stands on the paper while there is no sheet yet: two buttons to begin one. It is passive."""

from __future__ import annotations

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QLabel, QPushButton, QVBoxLayout, QWidget

from ..theme import SPACE

WORDS = "There is no figure sheet yet."
FOUND = "New sheet from what was found"
FOUND_TIP = "Map, components, an example curve and distributions, as far as there are any"
LATER = "This can be done when the map has been analysed"
EMPTY = "Empty sheet"
EMPTY_TIP = "A sheet without panels; Add panel puts some on it"


class SheetStart(QWidget):
    """See the module. Signal wanted(empty): a new sheet is wanted."""

    wanted = Signal(bool)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.words = QLabel(WORDS, self)
        self.words.setAlignment(Qt.AlignmentFlag.AlignCenter)
        self.words.setWordWrap(True)
        self.found, self.empty = QPushButton(FOUND, self), QPushButton(EMPTY, self)
        self.found.setMinimumWidth(self.found.sizeHint().width() + 3 * SPACE)
        self.empty.setToolTip(EMPTY_TIP)
        self.found.clicked.connect(lambda: self.wanted.emit(False))
        self.empty.clicked.connect(lambda: self.wanted.emit(True))
        box = QVBoxLayout(self)
        box.setContentsMargins(SPACE, SPACE, SPACE, SPACE)
        box.setSpacing(SPACE)
        for widget in (self.words, self.found, self.empty):
            box.addWidget(widget)
        self.hide()

    def offer(self, on: bool, found: bool = False) -> None:
        """Whether a sheet is to be begun here, and whether anything was found to begin with."""
        self.found.setEnabled(found)
        self.found.setToolTip(FOUND_TIP if found else LATER)
        self.setVisible(on)
        if on:
            self.lie_in_the_middle()

    def lie_in_the_middle(self) -> None:
        """Of what it lies on."""
        area = self.parentWidget()
        self.resize(self.sizeHint())
        self.move((area.width() - self.width()) // 2, (area.height() - self.height()) // 2)
