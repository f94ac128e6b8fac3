"""The legend under a curve: each thing with its look and its number, in fixed places."""

from __future__ import annotations

from PySide6.QtCore import QRectF, Qt
from PySide6.QtGui import QPainter, QPaintEvent, QResizeEvent
from PySide6.QtWidgets import QSizePolicy, QWidget

from .. import theme as look
from ..theme import LIGHT, Theme
from .curve_items import BESIDE, LOOKS, Look, paint_swatch

WIDEST = "0.000 ± 0.000 GPa"
"""A place of the legend has room for this; what is longer is set narrower."""
SWATCH = 20


class Legend(QWidget):
    """A grid of looks. What is not on the curve keeps its place and turns faint; what is drawn
    beside the fit in use has a place only while it is there."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._theme: Theme = LIGHT
        self._texts: dict[str, str] = {}
        self.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Fixed)
        self.setAccessibleName("Legend of the curve")
        self.setToolTip("± is local: noise, contact point and baseline of this curve.\n"
                        "The contact point is where a tip without deflection would meet the "
                        "undeformed surface.")  # fmt: skip

    def show_texts(self, texts: dict[str, str]) -> None:
        """Name of a look -> its number as text; what is left out is not on the curve."""
        if texts != self._texts:
            self._texts = dict(texts)
            looks = self._looks
            said = (f"{looks[n].label} {t}".strip() for n, t in texts.items())
            self.setAccessibleDescription("; ".join(said))
            self._refit()
            self.update()

    @property
    def _looks(self) -> dict[str, Look]:
        """What has a place, in order."""
        return LOOKS | {name: what for name, what in BESIDE.items() if name in self._texts}

    @property
    def texts(self) -> dict[str, str]:
        return dict(self._texts)

    def set_theme(self, theme: Theme) -> None:
        self._theme = theme
        look.shrink(self)
        self._refit()
        self.update()

    @property
    def _columns(self) -> int:
        wide = self.fontMetrics().horizontalAdvance(WIDEST) + SWATCH + 12
        return max(2, min(5, self.width() // wide))

    def _refit(self) -> None:
        rows = -(-len(self._looks) // self._columns)
        self.setFixedHeight(rows * self._row_height)

    @property
    def _row_height(self) -> int:
        return 2 * self.fontMetrics().height() + 6

    def resizeEvent(self, event: QResizeEvent) -> None:
        super().resizeEvent(event)
        self._refit()

    def paintEvent(self, event: QPaintEvent) -> None:
        painter, theme = QPainter(self), self._theme
        columns, high, line = self._columns, self._row_height, self.fontMetrics().height()
        wide = self.width() / columns
        looks = self._looks
        rows = -(-len(looks) // columns)
        for i, (name, what) in enumerate(looks.items()):
            column, row = divmod(i, rows)
            left, top, here = round(column * wide), row * high, name in self._texts
            painter.setOpacity(1.0 if here else 0.4)
            swatch = QRectF(left + 1, top + (line - 12) / 2, SWATCH, 12)
            paint_swatch(painter, swatch, what, theme)
            room = QRectF(left + SWATCH + 8, top, wide - SWATCH - 12, line)
            self._write(painter, room, what.label, theme.muted)
            value = self._texts.get(name, "–")
            self._write(painter, room.translated(0, line), value, theme.ink)

    def _write(self, painter: QPainter, room: QRectF, text: str, colour: str) -> None:
        painter.setPen(look.colour(colour))
        font, wide = self.font(), self.fontMetrics().horizontalAdvance(text)
        if wide > room.width():
            font.setStretch(max(60, int(100 * room.width() / wide)))
        painter.setFont(font)
        painter.drawText(room, Qt.AlignmentFlag.AlignVCenter, text)
