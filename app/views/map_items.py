"""What lies on the map image: the pixel cursor, the scale bar, and the marks of doubt."""

from __future__ import annotations

import pyqtgraph as pg
from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QBrush, QFont, QFontMetricsF, QPainter, QPen
from PySide6.QtWidgets import QGraphicsItem, QGraphicsRectItem

from .. import theme as look
from ..theme import Theme
from .scales import nice_length

LEAST_CURSOR = 11.0
"""The cursor is never smaller than this on the screen [px], however small its pixel."""


class PixelCursor(QGraphicsItem):
    """A square outline around one pixel: light with a dark rim, so that it shows on any colour."""

    def __init__(self) -> None:
        super().__init__()
        self.setFlag(QGraphicsItem.GraphicsItemFlag.ItemIgnoresTransformations)
        self.setZValue(30)
        self._half = (LEAST_CURSOR / 2, LEAST_CURSOR / 2)
        self._theme: Theme | None = None
        self.hide()

    def set_theme(self, theme: Theme) -> None:
        self._theme = theme
        self.update()

    def set_pixel_size(self, width: float, height: float) -> None:
        """Size of a map pixel on the screen [px]."""
        half = (max(width, LEAST_CURSOR) / 2, max(height, LEAST_CURSOR) / 2)
        if half != self._half:
            self.prepareGeometryChange()
            self._half = half

    def boundingRect(self) -> QRectF:
        w, h = self._half
        return QRectF(-w - 3, -h - 3, 2 * w + 6, 2 * h + 6)

    def paint(self, painter: QPainter, *_: object) -> None:
        if self._theme is None:
            return
        w, h = self._half
        painter.setRenderHint(QPainter.RenderHint.Antialiasing, False)
        painter.setBrush(Qt.BrushStyle.NoBrush)
        outline = QRectF(-w - 0.5, -h - 0.5, 2 * w + 1, 2 * h + 1)
        for colour, width in ((self._theme.dark_edge, 3), (self._theme.light_edge, 1)):
            pen = QPen(look.colour(colour), width)
            pen.setJoinStyle(Qt.PenJoinStyle.MiterJoin)
            painter.setPen(pen)
            painter.drawRect(outline)


class ScaleBar(QGraphicsItem):
    """A bar of a round length (1-2-5 times a power of ten) on a dark plate in the corner."""

    PAD, THICK = 6.0, 4.0

    def __init__(self, view: pg.ViewBox) -> None:
        super().__init__(view)
        self.setZValue(40)
        self._box, self._length, self._text = view, 0.0, ""
        self._unit, self._font = "nm", QFont()
        self._theme: Theme | None = None

    @property
    def text(self) -> str:
        """The length as it is written, such as ``500 nm``."""
        return self._text

    def set_theme(self, theme: Theme, font: QFont) -> None:
        self.prepareGeometryChange()
        self._theme, self._font = theme, font

    def set_unit(self, unit: str) -> None:
        self._unit = unit

    def place(self, image: QRectF) -> None:
        """Choose the length for the visible part of the image (a rectangle of the view), and put
        the bar into its lower left corner."""
        box = self._box
        seen = image.intersected(box.viewRect())
        pixel = box.viewPixelSize()[0]
        self.prepareGeometryChange()
        length = nice_length(seen.width()) if pixel > 0 else 0.0
        self._length = length / pixel if pixel > 0 else 0.0
        large = self._unit == "nm" and length >= 1000.0
        self._text = f"{length / 1000.0:g} µm" if large else f"{length:g} {self._unit}"
        corner = box.mapFromView(QPointF(seen.left(), seen.top()))  # y grows upwards in the view
        self.setPos(round(corner.x()) + 8, round(corner.y()) - 8)
        self.update()

    def boundingRect(self) -> QRectF:
        metrics = QFontMetricsF(self._font)
        width = max(self._length, metrics.horizontalAdvance(self._text)) + 2 * self.PAD
        height = metrics.height() + self.THICK + 2 * self.PAD
        return QRectF(0, -height, round(width), round(height))

    def paint(self, painter: QPainter, *_: object) -> None:
        if self._theme is None or self._length <= 0:
            return
        plate = self.boundingRect()
        painter.fillRect(plate, look.colour(self._theme.dark_edge, 170))
        light = look.colour(self._theme.light_edge)
        left = plate.center().x() - self._length / 2
        top = plate.bottom() - self.PAD - self.THICK
        painter.fillRect(QRectF(round(left), top, round(self._length), self.THICK), light)
        painter.setPen(light)
        painter.setFont(self._font)
        above = plate.adjusted(0, self.PAD - 2, 0, 0)
        painter.drawText(above, Qt.AlignmentFlag.AlignHCenter, self._text)


class Ground(QGraphicsRectItem):
    """The hatched grey under the image; it shows through where a pixel has no value."""

    def __init__(self) -> None:
        super().__init__()
        self.setZValue(-20)
        self.setPen(QPen(Qt.PenStyle.NoPen))
        self._hatch = QBrush()

    def set_theme(self, theme: Theme) -> None:
        self.setBrush(QBrush(look.colour(theme.no_value)))
        self._hatch = QBrush(look.colour(theme.hatch), Qt.BrushStyle.BDiagPattern)

    def paint(self, painter: QPainter, *args: object) -> None:
        super().paint(painter, *args)
        painter.fillRect(self.rect(), self._hatch)


def paint_hatch(painter: QPainter, area: QRectF, theme: Theme) -> None:
    """The look of "no value", for legends and previews."""
    painter.fillRect(area, look.colour(theme.no_value))
    painter.fillRect(area, QBrush(look.colour(theme.hatch), Qt.BrushStyle.BDiagPattern))


class Marks(pg.ScatterPlotItem):
    """Points that are only looked at: a click on one belongs to the pixel below it."""

    def mouseClickEvent(self, ev: object) -> None:
        ev.ignore()


def mark_item() -> pg.ScatterPlotItem:
    """The marks of severe doubts: crosses, light with a dark rim; no colour of their own."""
    item = Marks(pxMode=True, symbol="x", antialias=True)
    item.setZValue(20)
    return item


def mark_style(theme: Theme) -> tuple[QPen, QBrush]:
    """Pen and brush of a mark."""
    return pg.mkPen(theme.dark_edge, width=1), pg.mkBrush(theme.light_edge)
