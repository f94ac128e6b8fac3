"""The small legend under a map."""

from __future__ import annotations

from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QPainter, QPaintEvent
from PySide6.QtWidgets import QWidget

from .. import theme as look
from ..theme import LIGHT, Theme
from .map_items import mark_style, paint_hatch
from .symbols import paint_symbol


class Key(QWidget):
    """Grey for no value, and the mark of a severe doubt, each with how many pixels have it."""

    def __init__(self) -> None:
        super().__init__()
        self._theme, self.text, self.doubt = LIGHT, "", ""

    def show_counts(self, without: int, severe: int | None) -> None:
        self.text = f"grey: no value ({without})"
        self.doubt = "" if severe is None else f"severe doubt ({severe})"
        self.setAccessibleName(f"{self.text}, {self.doubt}")
        self.update()

    def set_theme(self, theme: Theme) -> None:
        self._theme = theme
        look.shrink(self)
        self.setFixedHeight(self.fontMetrics().height() + 4)

    def paintEvent(self, event: QPaintEvent) -> None:
        painter, height = QPainter(self), self.height()
        swatch = QRectF(0.5, (height - 12) // 2 + 0.5, 18, 11)
        paint_hatch(painter, swatch, self._theme)
        painter.setPen(look.colour(self._theme.muted))
        centre = Qt.AlignmentFlag.AlignVCenter
        wide = self.fontMetrics().horizontalAdvance("grey: no value (0000000)")
        painter.drawText(QRectF(25, 0, wide + 10, height), centre, self.text)
        if self.doubt:
            left = 25 + wide + 24
            paint_symbol(painter, "x", QPointF(left, height / 2), 9.0,
                         *mark_style(self._theme))  # fmt: skip
            painter.drawText(QRectF(left + 11, 0, 400, height), centre, self.doubt)
