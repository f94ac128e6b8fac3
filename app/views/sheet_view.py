"""The sheet in the middle of its window: as large as fits, or true to size, with a word on how new
it is."""

from __future__ import annotations

from typing import Any

from PySide6.QtCore import QSize, Qt, QTimer, Signal
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import QFrame, QLabel, QScrollArea, QVBoxLayout, QWidget

from ..clipboard import image_of
from ..theme import LIGHT, Theme, colour, shrink
from .sheet_canvas import MARGIN, SheetCanvas
from .sheet_grid import SheetGrid
from .sheet_start import SheetStart

FIT, TRUE, DOUBLE = "fit", "true", "double"
ZOOMS = {FIT: "Whole sheet", TRUE: "True to size", DOUBLE: "Twice the size"}
MM = 25.4  # millimetres of an inch
FINE = 150.0  # dpi of a picture, at least
LEAST, MOST = 40, 6000
"""Smallest and largest paper on the screen [px]."""
SETTLE = 120  # ms that the size of the window must rest


class SheetView(QWidget):
    """See the module. `canvas` takes the hands.

    Signals
    -------
    size_changed : the paper has another size on the screen, so a sharper picture is wanted
    """

    size_changed = Signal()

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.canvas = SheetCanvas()
        self.start = SheetStart(self.canvas)
        self.word = shrink(QLabel(self))  # its place is beside what is said of the sheet
        self.word.setTextFormat(Qt.TextFormat.PlainText)
        self.area = QScrollArea(self)
        self.area.setFrameShape(QFrame.Shape.NoFrame)
        self.area.setWidget(self.canvas)
        self.area.setWidgetResizable(True)
        self.area.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self.area.setMinimumSize(220, 160)
        box = QVBoxLayout(self)
        box.setContentsMargins(0, 0, 0, 0)
        box.setSpacing(0)
        box.addWidget(self.area, 1)
        self.zoom = FIT
        self.size_mm = (183.0, 120.0)
        self._timer = QTimer(self, singleShot=True, interval=SETTLE)
        self._timer.timeout.connect(self.size_changed)
        self.set_theme(LIGHT)

    def set_theme(self, theme: Theme) -> None:
        self.canvas.set_theme(theme)
        words = self.start.words.palette()
        words.setColor(words.ColorRole.WindowText, colour(LIGHT.muted))  # the paper is white
        self.start.words.setPalette(words)

    def say(self, words: str) -> None:
        """The quiet word on how new the picture is."""
        self.word.setText(words)

    def show_sheet(self, picture: Any, grid: SheetGrid, size_mm: tuple[float, float],
                   names: tuple[str, ...]) -> None:  # fmt: skip
        """A drawn sheet of a size in mm."""
        self.size_mm = size_mm
        self.start.offer(False)
        self._measure()
        self.canvas.show_picture(image_of(picture), grid, names)

    def show_nothing(self, words: str, size_mm: tuple[float, float] | None = None) -> None:
        """A white sheet with a word on it."""
        self.size_mm = size_mm or self.size_mm
        self.start.offer(False)
        self._measure()
        self.canvas.show_hint(words)
        self.canvas.show_picture(None, None)

    def show_start(self, found: bool) -> None:
        """A white sheet with the ways to begin one; `found`: there is something to begin with."""
        self.show_nothing("")
        self.start.offer(True, found)

    def set_zoom(self, zoom: str) -> None:
        if zoom != self.zoom:
            self.zoom = zoom
            self._measure()
            self.size_changed.emit()

    @property
    def dpi(self) -> float:
        """Pixels per inch at which the picture is sharp on the screen; a small one is drawn larger
        and made smaller, so that its lines and letters stay what they are."""
        wide = self.canvas.paper_size.width() * self.devicePixelRatioF()
        return max(float(wide / self.size_mm[0] * MM), FINE)

    def _measure(self) -> None:
        """Give the paper its size on the screen."""
        wide, high = self.size_mm
        scale = self.true_scale * (2.0 if self.zoom == DOUBLE else 1.0)
        if self.zoom == FIT:
            room = self.area.maximumViewportSize()
            scale = min((room.width() - 2 * MARGIN) / wide, (room.height() - 2 * MARGIN) / high)
        longest = max(wide, high)
        scale = min(max(scale, LEAST / longest), MOST / longest)
        self.canvas.set_paper(QSize(max(round(wide * scale), 1), max(round(high * scale), 1)))
        self.start.lie_in_the_middle()

    @property
    def true_scale(self) -> float:
        """Pixels of the screen per millimetre, as far as the screen tells."""
        screen = self.screen()
        found = screen.physicalDotsPerInch() if screen is not None else 96.0
        return (found if 50.0 <= found <= 400.0 else 96.0) / MM

    def resizeEvent(self, event: QResizeEvent) -> None:
        super().resizeEvent(event)
        if self.zoom == FIT:
            self._measure()
            self._timer.start()
