"""Small painted signs that legends share with the plots."""

from __future__ import annotations

import re

from pyqtgraph.graphicsItems.ScatterPlotItem import Symbols
from PySide6.QtCore import QPointF
from PySide6.QtGui import QBrush, QPainter, QPen


def paint_symbol(painter: QPainter, symbol: str, centre: QPointF, size: float,
                 pen: QPen, brush: QBrush) -> None:  # fmt: skip
    """Paint a marker as the plots do: `symbol` as pyqtgraph names it, `size` in px."""
    painter.save()
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    painter.translate(centre)
    painter.scale(size, size)
    painter.setPen(pen)
    painter.setBrush(brush)
    painter.drawPath(Symbols[symbol])
    painter.restore()


def rich(symbol: str) -> str:
    """A symbol such as ``F_ad`` as rich text with its index below the line."""
    return re.sub(r"_(\w+)", r"<sub>\1</sub>", symbol)
