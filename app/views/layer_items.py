"""What the layers over a map are painted with: sheets of colour, edges, a hatch, and letters.

All of them lie in the coordinates of the image (column, row; pixel edges at whole numbers), and
are as sharp on the screen as it is, at any zoom.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pyqtgraph as pg
from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import (
    QBrush,
    QColor,
    QFont,
    QFontMetricsF,
    QImage,
    QPainter,
    QPainterPath,
    QPen,
    QPixmap,
    QTransform,
)

from .. import theme as look
from ..theme import Theme

Array = np.ndarray
INWARD = ((0, 1), (0, -1), (1, 0), (-1, 0))
"""The four sides of a pixel, as the step (columns, rows) from that side into the pixel."""
TILE = 8
"""The hatch repeats after so many device pixels."""


@dataclass(frozen=True, eq=False)
class Runs:
    """Straight pieces of boundary that have the same label on the same side.

    Attributes
    ----------
    inward : (columns, rows), the step from the line into what it bounds
    label : (n,) int, what it bounds
    x, y : (n, 2) float, the two ends, in columns and rows
    """

    inward: tuple[int, int]
    label: Array
    x: Array
    y: Array

    def path(self, keep: Array | slice = slice(None)) -> QPainterPath:
        """The pieces as a path of separate lines."""
        x, y = self.x[keep].ravel(), self.y[keep].ravel()
        return pg.arrayToQPath(x, y, connect="pairs") if x.size else QPainterPath()


def boundaries(labels: Array, closed: bool = False) -> list[Runs]:
    """The boundaries of labelled areas along the edges of pixels, one `Runs` for each side.

    Parameters
    ----------
    labels : (rows, cols) int; negative is no area
    closed : whether the border of the map bounds an area, too
    """
    found, small = [], labels.astype(np.int16)
    rising, lying = np.ascontiguousarray(small.T), small
    for dx, dy in INWARD:
        turned = rising if dx else lying
        forward = dx + dy > 0  # the neighbour outside comes before the pixel
        beyond = np.empty_like(turned)
        inner, outer = (slice(1, None), slice(0, -1)) if forward else (slice(0, -1), slice(1, None))
        beyond[inner] = turned[outer]
        end = 0 if forward else -1
        beyond[end] = -1 if closed else turned[end]
        edge = np.where(turned != beyond, turned, np.int16(-1))
        line, start, stop, label = _runs(edge)
        across = (line + (not forward)).astype(float)
        along, across = np.stack([start, stop], axis=1).astype(float), np.repeat(across, 2)
        across = across.reshape(-1, 2)
        x, y = (across, along) if dx else (along, across)
        found.append(Runs((dx, dy), label, x, y))
    return found


def _runs(edge: Array) -> tuple[Array, Array, Array, Array]:
    """Line, start, stop and value of each stretch of equal values that are not negative."""
    padded = np.full((edge.shape[0], edge.shape[1] + 2), -1, edge.dtype)
    padded[:, 1:-1] = edge
    change = padded[:, 1:] != padded[:, :-1]
    wide = change.shape[1]
    line, start = np.divmod(np.flatnonzero(change & (padded[:, 1:] >= 0)), wide)
    stop = np.flatnonzero(change & (padded[:, :-1] >= 0)) - line * wide
    return line, start, stop, edge[line, start]


def without_holes(labels: Array) -> Array:
    """Labels with each unlabelled patch that only one label surrounds taken as that label, so that
    single left-out pixels don't get outlines of their own."""
    from scipy import ndimage

    patches, count = ndimage.label(labels < 0)
    if count == 0:
        return labels
    low, high = np.full(count + 1, np.iinfo(np.int64).max), np.full(count + 1, -1)
    for inside, beside in ((patches[1:], labels[:-1]), (patches[:-1], labels[1:]),
                           (patches[:, 1:], labels[:, :-1]),
                           (patches[:, :-1], labels[:, 1:])):  # fmt: skip
        touch = (inside > 0) & (beside >= 0)
        np.minimum.at(low, inside[touch], beside[touch])
        np.maximum.at(high, inside[touch], beside[touch])
    taken = np.where(low == high, high, -1)
    return np.where(labels < 0, taken[patches], labels)


def letter_places(labels: Array, each: int = 3) -> list[tuple[int, float, float, float]]:
    """Where to write the letters: (label, column, row, free radius in pixels), inside the largest
    domains of each label, at most `each` of them, the largest first.

    Looked for on a thinned map of at most 128 pixels a side: a letter need not be exact.
    """
    from scipy import ndimage

    step = max(1, -(-max(labels.shape) // 128))
    thin, found = labels[::step, ::step], []
    for label in range(int(thin.max(initial=-1)) + 1):
        domains, count = ndimage.label(thin == label)
        if count == 0:
            continue
        sizes = np.bincount(domains.ravel())[1:]
        padded = np.pad(thin == label, 1)
        depth = ndimage.distance_transform_edt(padded)[1:-1, 1:-1]
        for domain in np.argsort(sizes)[::-1][:each] + 1:
            place = int(np.argmax(np.where(domains == domain, depth, 0.0)))
            row, col = divmod(place, thin.shape[1])
            found.append((label, (col + 0.5) * step, (row + 0.5) * step,
                          float(depth[row, col]) * step))  # fmt: skip
    return found


class Layer(pg.GraphicsObject):
    """An item as large as the image."""

    def __init__(self, level: float) -> None:
        super().__init__()
        self.setZValue(level)
        self._area = QRectF()

    def set_area(self, rows: int, cols: int) -> None:
        self.prepareGeometryChange()
        self._area = QRectF(0, 0, cols, rows)

    def boundingRect(self) -> QRectF:
        return self._area


class Sheet(Layer):
    """A colour for each pixel, by a table of colours; the clear ones let the map show."""

    def __init__(self, level: float) -> None:
        super().__init__(level)
        self._image: QImage | None = None
        self._words = np.zeros((1, 1), np.uint32)  # the image reads from here

    def show_index(self, index: Array | None, colours: Sequence[QColor] = ()) -> None:
        """Colour `colours[index]` for each pixel, (rows, cols) int; None shows nothing."""
        self._image = None
        if index is not None:
            table = np.array([_premultiplied(c) for c in colours], np.uint32)
            self._words = np.ascontiguousarray(table[index])
            rows, cols = self._words.shape
            self._image = QImage(self._words.data, cols, rows, 4 * cols,
                                 QImage.Format.Format_ARGB32_Premultiplied)  # fmt: skip
        self.update()

    def paint(self, painter: QPainter, *_: object) -> None:
        if self._image is not None:
            painter.setRenderHint(QPainter.RenderHint.SmoothPixmapTransform, False)
            painter.drawImage(self._area, self._image)


def _premultiplied(colour: QColor) -> int:
    a = colour.alpha()
    r, g, b = (round(v * a / 255) for v in (colour.red(), colour.green(), colour.blue()))
    return (a << 24) | (r << 16) | (g << 8) | b


class Edges(Layer):
    """Boundaries, as lines one device pixel wide laid side by side.

    A stroke is (path, inward, colour, from, to): the path is drawn once for each offset of
    `from` to `to` (whole pixels of the window, the last left out) towards the inside.
    """

    def __init__(self, level: float) -> None:
        super().__init__(level)
        self._strokes: list[tuple[QPainterPath, tuple[int, int], QColor, int, int]] = []

    def show_strokes(self, strokes: list[tuple[QPainterPath, tuple[int, int], QColor, int, int]]
                     ) -> None:  # fmt: skip
        self._strokes = strokes
        self.update()

    @property
    def colours(self) -> list[str]:
        """The colours in use, for whoever wants to know what is drawn."""
        return sorted({colour.name() for _, _, colour, _, _ in self._strokes})

    def paint(self, painter: QPainter, *_: object) -> None:
        ratio = max(1, round(painter.device().devicePixelRatioF()))
        across, up = painter.deviceTransform().m11(), painter.deviceTransform().m22()
        if not across or not up:
            return
        painter.setRenderHint(QPainter.RenderHint.Antialiasing, False)
        for path, (dx, dy), colour, first, last in self._strokes:
            pen = QPen(colour, 1)
            pen.setCosmetic(True)
            pen.setCapStyle(Qt.PenCapStyle.FlatCap)
            painter.setPen(pen)
            for offset in range(first * ratio, last * ratio):
                painter.save()
                painter.translate(dx * offset / abs(across), dy * offset / abs(up))
                painter.drawPath(path)
                painter.restore()


class Hatch(Layer):
    """Falling lines, light and dark, over the pixels of a mask; the map shows between them.

    "No value" is grey with rising lines, a severe doubt is a cross: this is neither.
    """

    def __init__(self, level: float) -> None:
        super().__init__(level)
        from pyqtgraph.Qt.internals import PrimitiveArray

        self._rects = PrimitiveArray(QRectF, 4)
        self._tiles: dict[int, QPixmap] = {}
        self._theme: Theme | None = None

    def set_theme(self, theme: Theme) -> None:
        self._theme, self._tiles = theme, {}
        self.update()

    def show_mask(self, mask: Array | None) -> None:
        rects = np.empty((0, 4))
        if mask is not None:
            line, start, stop, _ = _runs(mask.astype(np.int8) - np.int8(1))
            rects = np.stack([start, line, stop - start, np.ones_like(line)], axis=1)
        self._rects.resize(len(rects))
        self._rects.ndarray()[:] = rects
        self.update()

    def paint(self, painter: QPainter, *_: object) -> None:
        if self._theme is None or not len(self._rects):
            return
        ratio = max(1, round(painter.device().devicePixelRatioF()))
        if ratio not in self._tiles:
            self._tiles[ratio] = hatch_tile(self._theme, ratio)
        brush = QBrush(self._tiles[ratio])
        brush.setTransform(painter.deviceTransform().inverted()[0])
        painter.setRenderHint(QPainter.RenderHint.Antialiasing, False)
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(brush)
        painter.drawRects(*self._rects.drawargs())


def hatch_tile(theme: Theme, ratio: int = 1) -> QPixmap:
    """The pattern of left-out pixels, in device pixels."""
    side = TILE * ratio
    image = QImage(side, side, QImage.Format.Format_ARGB32_Premultiplied)
    image.fill(look.colour(theme.dark_edge, 60))
    light, dark = look.colour(theme.light_edge, 190), look.colour(theme.dark_edge, 190)
    for i in range(side):
        for j in range(ratio):
            image.setPixelColor((i + j) % side, i, light)
            image.setPixelColor((i + ratio + j) % side, i, dark)
    return QPixmap.fromImage(image)


class Letters(Layer):
    """Letters on small plates, always of the same size on the screen."""

    LEAST = 9.0
    """A letter is written where so many pixels of the window are free around it; the first one of
    each label always is."""

    def __init__(self, level: float) -> None:
        super().__init__(level)
        self._places: list[tuple[str, float, float, float]] = []
        self._font, self._theme = QFont(), None

    def set_theme(self, theme: Theme, font: QFont) -> None:
        self._theme, self._font = theme, QFont(font)
        self._font.setBold(True)
        self.update()

    def show_letters(self, places: list[tuple[str, float, float, float]]) -> None:
        """(letter, column, row, free radius in pixels of the map)."""
        self._places = places
        self.update()

    @property
    def texts(self) -> list[str]:
        return [letter for letter, *_ in self._places]

    def paint(self, painter: QPainter, *_: object) -> None:
        if self._theme is None or not self._places:
            return
        seen: set[str] = set()
        way, zoom = painter.worldTransform(), abs(painter.worldTransform().m11())
        painter.save()
        painter.setWorldTransform(QTransform())
        painter.setFont(self._font)
        inside = visible(self)
        for letter, x, y, free in self._places:
            if letter not in seen or free * zoom >= self.LEAST:
                paint_plate(painter, way.map(QPointF(x, y)), letter, self._theme, inside)
            seen.add(letter)
        painter.restore()


def visible(item: pg.GraphicsObject) -> QRectF:
    """What of the drawing area an item can be seen in [px]."""
    box = item.getViewBox()
    return box.mapRectToScene(box.boundingRect()) if box is not None else QRectF()


def paint_plate(painter: QPainter, centre: QPointF, text: str, theme: Theme, inside: QRectF
                ) -> None:  # fmt: skip
    """A light text on a small dark plate about a place; readable on any map.

    A plate at the rim of `inside` is moved so that all of it is there; outside, it is not drawn.
    """
    if not inside.contains(centre):
        return
    metrics = QFontMetricsF(painter.font())
    wide = max(metrics.horizontalAdvance(text) + 8, metrics.height())
    plate = QRectF(round(centre.x() - wide / 2), round(centre.y() - metrics.height() / 2),
                   round(wide), round(metrics.height()))  # fmt: skip
    plate.moveLeft(max(inside.left(), min(plate.left(), inside.right() - plate.width())))
    plate.moveTop(max(inside.top(), min(plate.top(), inside.bottom() - plate.height())))
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    painter.setPen(Qt.PenStyle.NoPen)
    painter.setBrush(look.colour(theme.dark_edge, 185))
    painter.drawRoundedRect(plate, 3, 3)
    painter.setPen(look.colour(theme.light_edge))
    painter.drawText(plate, Qt.AlignmentFlag.AlignCenter, text)
