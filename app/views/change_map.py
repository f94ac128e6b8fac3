"""A small map of relative changes with its own key; row 0 at the bottom."""

from __future__ import annotations

import numpy as np
from PySide6.QtCore import QRectF, QSize, Qt
from PySide6.QtGui import QImage, QPainter, QPaintEvent
from PySide6.QtWidgets import QSizePolicy, QWidget

from .. import theme as look
from ..theme import LIGHT, Theme
from .map_items import paint_hatch
from .scales import NO_VALUE, colour_index, robust_limits

Array = np.ndarray
LEAST, MOST, BAR, GAP = 140, 320, 12, 8


class ChangeMap(QWidget):
    """Red is more, blue is less, the middle is no change; hatched grey has no value."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._theme: Theme = LIGHT
        self._image = QImage()
        self.limits = (0.0, 1.0)
        self.setMinimumHeight(LEAST)
        self.setMaximumHeight(MOST)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Preferred)
        self.setAccessibleName("Map of the change of the modulus")

    def set_theme(self, theme: Theme) -> None:
        self._theme = theme
        self.update()

    def show_change(self, change: Array) -> None:
        """Show (rows, cols) of relative change, 0.1 for 10 % more; NaN where there is none."""
        values = np.asarray(change, dtype=float)
        self.limits = robust_limits(values, "signed")
        table = np.concatenate([look.colour_table("signed"), np.zeros((1, 4), np.uint8)])
        assert len(table) == NO_VALUE + 1
        pixels = np.ascontiguousarray(table[colour_index(values, *self.limits)][::-1])
        rows, cols = values.shape
        self._image = QImage(pixels.data, cols, rows, 4 * cols,
                             QImage.Format.Format_RGBA8888).copy()  # fmt: skip
        self.setToolTip(f"From {self.texts[0]} to {self.texts[2]}; hatched: no value")
        self.update()

    @property
    def texts(self) -> tuple[str, str, str]:
        """What stands at the lower end, the middle and the upper end of the key."""
        high = 100.0 * self.limits[1]
        places = 0 if high >= 10 else 1 if high >= 1 else 2
        return f"−{high:.{places}f} %", "0", f"+{high:.{places}f} %"

    def paintEvent(self, event: QPaintEvent) -> None:
        if self._image.isNull():
            return
        painter = QPainter(self)
        painter.setFont(look.small_font())
        metrics = painter.fontMetrics()
        key = BAR + GAP // 2 + max(metrics.horizontalAdvance(text) for text in self.texts)
        room = QRectF(0, 2, self.width() - key - GAP, self.height() - 4)
        scale = min(room.width() / self._image.width(), room.height() / self._image.height())
        area = QRectF(0, room.top(), self._image.width() * scale, self._image.height() * scale)
        paint_hatch(painter, area, self._theme)
        painter.drawImage(area, self._image)
        painter.setPen(look.colour(self._theme.line))
        painter.drawRect(area)
        self._paint_key(painter, QRectF(area.right() + GAP, area.top(), BAR, area.height()))

    def _paint_key(self, painter: QPainter, bar: QRectF) -> None:
        table = np.ascontiguousarray(look.colour_table("signed")[::-1])
        image = QImage(table.data, 1, len(table), 4, QImage.Format.Format_RGBA8888).copy()
        painter.drawImage(bar, image)
        painter.setPen(look.colour(self._theme.ink))
        high = painter.fontMetrics().height()
        left = bar.right() + GAP / 2
        for text, y in zip(self.texts, (bar.bottom() - high, bar.center().y() - high / 2,
                                        bar.top()), strict=True):  # fmt: skip
            painter.drawText(QRectF(left, y, 80, high), Qt.AlignmentFlag.AlignLeft, text)

    def sizeHint(self) -> QSize:
        return QSize(300, LEAST)
