"""The line of a map's key that tells the layers over it."""

from __future__ import annotations

import re

from PySide6.QtCore import QRectF, Qt
from PySide6.QtGui import QBrush, QPainter, QPaintEvent, QResizeEvent, QTransform
from PySide6.QtWidgets import QWidget

from .. import theme as look
from ..theme import LIGHT, SPACE, Theme
from . import layer_items


class LayerKey(QWidget):
    """The part of a map's key that tells the layers.

    It comes with the first layer or tool and keeps its room from then on, so that the map does not
    change its size whenever something is selected.
    """

    def __init__(self) -> None:
        super().__init__()
        self._theme = LIGHT
        self._entries: list[tuple[str, str, str]] = []
        self.hide()

    @property
    def text(self) -> str:
        """All that it says."""
        return ", ".join(text for _, _, text in self._entries)

    def show_entries(self, entries: list[tuple[str, str, str]]) -> None:
        """(kind, colour, text): kind is a letter of a component, "left out" or "selected"."""
        if entries == self._entries:
            return
        self._entries = entries
        self.setAccessibleName(self.text)
        self.setToolTip(self.text)
        self.reserve(bool(entries) or not self.isHidden())
        self._refit()
        self.update()

    def reserve(self, on: bool) -> None:
        """Keep room for it, or give the room back."""
        self.setVisible(on)

    def set_theme(self, theme: Theme) -> None:
        self._theme = theme
        look.shrink(self)
        self._refit()

    def resizeEvent(self, event: QResizeEvent) -> None:
        super().resizeEvent(event)
        self._refit()

    def _lines(self) -> list[list[tuple[float, tuple[str, str, str]]]]:
        """The entries in lines that fit, each with its left edge."""
        lines: list[list[tuple[float, tuple[str, str, str]]]] = [[]]
        left, wide = 0.0, self.fontMetrics().horizontalAdvance
        for entry in self._entries:
            widest = re.sub(r"\d+ of (\d+)", r"\1 of \1", entry[2])
            room = 25 + wide("0" * max(len(widest), 7)) + 2 * SPACE
            if lines[-1] and left + room > self.width():
                lines.append([])
                left = 0.0
            lines[-1].append((left, entry))
            left += room
        return lines

    def _refit(self) -> None:
        self.setFixedHeight(len(self._lines()) * (self.fontMetrics().height() + 4))

    def paintEvent(self, event: QPaintEvent) -> None:
        painter, high = QPainter(self), self.fontMetrics().height() + 4
        for i, line in enumerate(self._lines()):
            for left, (kind, colour, text) in line:
                top = i * high + (high - 12) // 2
                self._swatch(painter, QRectF(left + 0.5, top + 0.5, 18, 11), kind, colour)
                painter.setPen(look.colour(self._theme.muted))
                room = QRectF(left + 25, i * high, self.width(), high)
                painter.drawText(room, Qt.AlignmentFlag.AlignVCenter, text)

    def _swatch(self, painter: QPainter, area: QRectF, kind: str, colour: str) -> None:
        theme = self._theme
        painter.setPen(look.colour(theme.dark_edge))
        if not kind:
            return
        if kind == "left out":
            tile = layer_items.hatch_tile(theme, max(1, round(self.devicePixelRatioF())))
            brush = QBrush(tile)
            fine = layer_items.TILE / tile.width()
            brush.setTransform(QTransform.fromScale(fine, fine))
            painter.fillRect(area, look.colour(theme.no_value))
            painter.fillRect(area, brush)
        elif kind == "selected":
            painter.fillRect(area, look.colour(theme.no_value))
            painter.drawRect(area)
            painter.setPen(look.colour(theme.light_edge))
            painter.drawRect(area.adjusted(1, 1, -1, -1))
        else:
            painter.setBrush(look.colour(colour))
            painter.drawRect(area)
            painter.setBrush(Qt.BrushStyle.NoBrush)
