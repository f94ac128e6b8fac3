"""The panel under a laid picture: what it is, how it is shown, how it lies, what it follows.

It is passive: it shows what it is given and tells what the person did.
"""

from __future__ import annotations

from PySide6.QtCore import QSignalBlocker, QSize, Qt, Signal
from PySide6.QtWidgets import (
    QHBoxLayout,
    QLabel,
    QSlider,
    QTabWidget,
    QToolButton,
    QVBoxLayout,
    QWidget,
)

from .. import theme as look
from ..theme import LIGHT, SPACE, Theme
from .law_page import Page, Switch, wrapped
from .picture_compare import ComparePage
from .picture_pages import CorrelationPage, HandPage, LandmarksPage

PAGES = {"hand": "By hand", "landmarks": "Landmarks", "correlation": "Correlation",
         "compare": "Compare"}  # fmt: skip
"""Page -> the word on its tab."""
SHOWN = {"over": "Over the map", "split": "Split", "beside": "Beside"}
"""How map and picture are shown -> words."""


class PicturePanel(QWidget):
    """Signals: asked (another page is in front), shown_as(name of `SHOWN`), opacity(0 to 1),
    remove; those of the pages are theirs."""

    asked = Signal()
    shown_as = Signal(str)
    opacity = Signal(float)
    remove = Signal()

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.words = wrapped("", "muted")
        self.switch = Switch(SHOWN, self)
        self.switch.buttons["split"].setToolTip("Left of the divider the map, right of it the "
                                                "picture; drag the divider")  # fmt: skip
        self.switch.buttons["beside"].setToolTip("The map alone, and the picture here")
        self.slider = QSlider(Qt.Orientation.Horizontal, self)
        self.slider.setRange(0, 100)
        self.slider.setValue(50)
        self.slider.setAccessibleName("Opacity of the picture")
        self.slider.setToolTip("How much of the picture is seen over the map")
        self.take = QToolButton(self)
        self.take.setText("Remove")
        self.take.setToolTip("Take the picture away")
        self.hand, self.landmarks = HandPage(), LandmarksPage()
        self.correlation, self.compare = CorrelationPage(), ComparePage()
        self.pages: dict[str, Page] = {name: getattr(self, name) for name in PAGES}
        self.tabs = QTabWidget(self)
        self.tabs.setDocumentMode(True)
        self.tabs.setUsesScrollButtons(False)
        for name, words in PAGES.items():
            self.tabs.addTab(self.pages[name], words)
        self._lay_out()
        self.switch.chosen.connect(self.shown_as)
        self.slider.valueChanged.connect(lambda value: self.opacity.emit(value / 100.0))
        self.take.clicked.connect(self.remove)
        self.tabs.currentChanged.connect(lambda _: self.asked.emit())
        self.set_theme(LIGHT)

    def _lay_out(self) -> None:
        row, below = QHBoxLayout(), QHBoxLayout()
        row.addWidget(self.switch, 1)
        row.addWidget(self.take)
        below.addWidget(QLabel("Opacity", self))
        below.addWidget(self.slider, 1)
        box = QVBoxLayout(self)
        box.setContentsMargins(SPACE, 0, 0, 0)
        box.setSpacing(SPACE // 2)
        for each in (row, below):
            box.addLayout(each)
        box.addWidget(self.words)
        box.addWidget(self.tabs, 1)

    @property
    def page(self) -> str:
        """Name of the page in front."""
        return list(PAGES)[self.tabs.currentIndex()]

    def show_page(self, name: str) -> None:
        self.tabs.setCurrentIndex(list(PAGES).index(name))

    def show_look(self, shown: str, opacity: float) -> None:
        """How map and picture are shown together."""
        self.switch.set_current(shown)
        with QSignalBlocker(self.slider):
            self.slider.setValue(round(100 * opacity))
        self.slider.setEnabled(shown == "over")

    def set_theme(self, theme: Theme) -> None:
        look.shrink(self.words)
        for page in self.pages.values():
            page.set_theme(theme)

    def sizeHint(self) -> QSize:
        return QSize(380, 330)
