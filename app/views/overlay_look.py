"""How a set of curves in the overlay looks: colour, letter, and dash of its retract.

The approach is solid and the retract dashed, as everywhere; so sets are told apart by the letter at
their end and by the pattern of the dashes, beside the colour.
"""

from __future__ import annotations

from dataclasses import dataclass

import pyqtgraph as pg
from PySide6.QtCore import QPointF, QRectF, QSize, Qt
from PySide6.QtGui import QIcon, QPainter, QPen, QPixmap

from .. import theme as look
from ..theme import PICKS, Theme
from .component_look import look_of

PATTERNS = ((6, 4), (2, 3), (10, 4), (8, 3, 2, 3), (4, 2, 1, 2, 1, 2))
"""Dashes and gaps, in widths of the line."""
WIDE, HIGH = 44, 16


@dataclass(frozen=True)
class SetLook:
    """Colour as #rrggbb; `letter` stands at the end of the curve; `number` chooses the dashes."""

    colour: str
    letter: str
    number: int = 0

    def pen(self, branch: str, ratio: float = 1.0) -> QPen:
        """The pen of a branch; `ratio` is how many device pixels a pixel of the window has."""
        pen = pg.mkPen(look.colour(self.colour), width=round(ratio))
        if branch == "retract":
            pen.setStyle(Qt.PenStyle.CustomDashLine)
            pen.setDashPattern(list(PATTERNS[self.number % len(PATTERNS)]))
        return pen


def small_letter(number: int) -> str:
    """a, b, c ... of the picked pixels; components have the capitals."""
    return chr(ord("a") + number % 26)


def look_of_pick(number: int, theme: Theme) -> SetLook:
    """Of the picked pixel of that place in the order of picking."""
    colours = PICKS[theme.name]
    return SetLook(colours[number % len(colours)], small_letter(number), number)


def look_of_component(number: int, theme: Theme) -> SetLook:
    one = look_of(number, theme)
    return SetLook(one.colour, one.letter, number)


def look_of_region(number: int, name: str, theme: Theme) -> SetLook:
    """Regions are of one colour on the map, so here too; names and dashes tell them apart."""
    return SetLook(theme.muted, name if len(name) <= 12 else f"{name[:11]}…", number)


def look_of_group(theme: Theme) -> SetLook:
    return SetLook(theme.accent, "gathered", 2)


def swatch(one: SetLook, ratio: float = 2.0) -> QIcon:
    """Approach above, retract below, in the set's colour."""
    picture = QPixmap(QSize(round(WIDE * ratio), round(HIGH * ratio)))
    picture.setDevicePixelRatio(ratio)
    picture.fill(Qt.GlobalColor.transparent)
    painter = QPainter(picture)
    area = QRectF(2, 0, WIDE - 4, HIGH)
    for branch, y in (("approach", 5.0), ("retract", 11.0)):
        pen = one.pen(branch)
        pen.setWidthF(1.6)
        pen.setCosmetic(False)
        painter.setPen(pen)
        painter.drawLine(QPointF(area.left(), y), QPointF(area.right(), y))
    painter.end()
    return QIcon(picture)
