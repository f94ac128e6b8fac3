"""The small legend under a map."""

from __future__ import annotations

from collections.abc import Mapping

from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QPainter, QPaintEvent, QResizeEvent
from PySide6.QtWidgets import QWidget

from .. import theme as look
from ..theme import LIGHT, Theme
from .map_items import mark_style, paint_hatch
from .map_marks import SIGNS, Sign
from .symbols import paint_symbol


class Key(QWidget):
    """Grey for no value, and each kind of mark, with how many pixels have it."""

    def __init__(self) -> None:
        super().__init__()
        self._theme, self.text = LIGHT, ""
        self._signs: list[tuple[Sign, str]] = []

    @property
    def doubt(self) -> str:
        """What is said of the marks."""
        return ", ".join(words for _, words in self._signs)

    def show_counts(self, without: int, marks: Mapping[str, int]) -> None:
        """Pixels without a value, and kind of mark -> pixels that have it. Severe doubts are told
        even if there are none."""
        self.text = f"grey: no value ({without})"
        self._signs = [(SIGNS[name], f"{SIGNS[name].words} ({count})")
                       for name, count in marks.items() if count or name == "severe"]  # fmt: skip
        self.setAccessibleName(f"{self.text}, {self.doubt}")
        self.setToolTip(f"{self.text}, {self.doubt}")
        self._refit()
        self.update()

    def set_theme(self, theme: Theme) -> None:
        self._theme = theme
        look.shrink(self)
        self._refit()

    def resizeEvent(self, event: QResizeEvent) -> None:
        super().resizeEvent(event)
        self._refit()

    def _places(self) -> list[tuple[float, int]]:
        """Left edge and line of each sign; what does not fit goes into the next line."""
        wide = self.fontMetrics().horizontalAdvance
        left, line, found = 25.0 + wide(self.text) + 16, 0, []
        for _, words in self._signs:
            room = 11 + wide(words) + 14
            if left + room > self.width() and left > 6:
                left, line = 6.0, line + 1
            found.append((left, line))
            left += room
        return found

    def _refit(self) -> None:
        lines = 1 + max((line for _, line in self._places()), default=0)
        self.setFixedHeight(lines * (self.fontMetrics().height() + 4))

    def paintEvent(self, event: QPaintEvent) -> None:
        painter, height = QPainter(self), self.fontMetrics().height() + 4
        swatch = QRectF(0.5, (height - 12) // 2 + 0.5, 18, 11)
        paint_hatch(painter, swatch, self._theme)
        painter.setPen(look.colour(self._theme.muted))
        centre = Qt.AlignmentFlag.AlignVCenter
        painter.drawText(QRectF(25, 0, self.width(), height), centre, self.text)
        for (sign, words), (left, line) in zip(self._signs, self._places(), strict=True):
            paint_symbol(painter, sign.symbol, QPointF(left, (line + 0.5) * height),
                         9.0 * sign.size, *mark_style(self._theme))  # fmt: skip
            painter.drawText(QRectF(left + 11, line * height, 400, height), centre, words)
