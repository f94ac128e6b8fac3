"""How a component looks: one colour, one mark, one letter, the same in every view and legend."""

from __future__ import annotations

from dataclasses import dataclass

from PySide6.QtCore import QPointF, Qt
from PySide6.QtGui import QBrush, QIcon, QPainter, QPen, QPixmap

from ...core.colours import COMPONENTS
from ...core.components.rule import letter
from .. import theme as look
from ..theme import Theme
from .symbols import paint_symbol

MARKS = ("o", "s", "t1", "d", "star", "t", "p", "h", "t2", "t3", "+", "arrow_up")
"""As pyqtgraph names them; the cross is kept for doubts."""
DASHES = (
    Qt.PenStyle.SolidLine,
    Qt.PenStyle.DashLine,
    Qt.PenStyle.DotLine,
    Qt.PenStyle.DashDotLine,
    Qt.PenStyle.DashDotDotLine,
)


@dataclass(frozen=True)
class ComponentLook:
    """Colour as #rrggbb, mark as pyqtgraph names it, letter, and dash of lines."""

    colour: str
    mark: str
    letter: str
    dash: Qt.PenStyle


def look_of(number: int, theme: Theme) -> ComponentLook:
    """The look of component `number`; below zero that of pixels in no component."""
    if number < 0:
        return ComponentLook(theme.faint, "o", "", Qt.PenStyle.SolidLine)
    colours = COMPONENTS[theme.name]
    at = number % len(colours)
    return ComponentLook(colours[at], MARKS[at], letter(number), DASHES[number % len(DASHES)])


def swatch(number: int, theme: Theme, side: int = 16) -> QIcon:
    """Mark and colour of a component, for tables and legends."""
    ratio = 3
    picture = QPixmap(side * ratio, side * ratio)
    picture.setDevicePixelRatio(ratio)
    picture.fill(Qt.GlobalColor.transparent)
    painter = QPainter(picture)
    paint_swatch(painter, number, QPointF(side / 2, side / 2), 0.75 * side, theme)
    painter.end()
    return QIcon(picture)


def paint_swatch(painter: QPainter, number: int, centre: QPointF, size: float, theme: Theme
                 ) -> None:  # fmt: skip
    """Paint the mark of a component in its colour, with an edge that shows on any ground."""
    one = look_of(number, theme)
    pen = QPen(look.colour(theme.ink), 1.0)
    pen.setCosmetic(True)
    paint_symbol(painter, one.mark, centre, size, pen, QBrush(look.colour(one.colour)))
