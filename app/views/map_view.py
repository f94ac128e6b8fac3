"""The map of one channel: colours, marks, cursor, scale, limits, and what stands under the mouse.

Row 0, the first scan line, is at the bottom and rows go upwards, so that x to the right and y up
make a right-handed map. The view holds what is only a matter of looking (zoom, limits of the
colours); what is picked belongs to the session and is told by `picked`.
"""

from __future__ import annotations

import math

import numpy as np
import pyqtgraph as pg
from PySide6.QtCore import QPointF, QRectF, QSize, Qt, Signal, SignalInstance
from PySide6.QtGui import QFocusEvent, QFontMetrics, QKeyEvent, QPainter, QPaintEvent, QTransform
from PySide6.QtWidgets import QGridLayout, QLabel, QToolButton, QWidget

from ...core import units
from ...core.channels import Channel
from .. import theme as look
from ..theme import LIGHT, SPACE, Theme
from . import scales
from .colour_bar import ColourBar, Limits
from .map_items import Ground, PixelCursor, ScaleBar
from .map_key import Key
from .map_layers import MapLayers
from .map_marks import PixelMarks
from .map_toolbar import MapHead, MapToolbar
from .map_tools import MapTools
from .readout import Readout
from .symbols import rich

Array = np.ndarray


class MapBox(pg.ViewBox):
    """The area of the image: a drag moves it, the wheel zooms, clicks are told."""

    clicked = Signal(object)
    added = Signal(object)
    fitted = Signal()
    moved = Signal(object)

    def __init__(self) -> None:
        super().__init__(lockAspect=True, enableMenu=False, defaultPadding=0.0)

    def mouseClickEvent(self, ev: object) -> None:
        if ev.button() == Qt.MouseButton.LeftButton:
            ev.accept()
            if ev.modifiers() & Qt.KeyboardModifier.ControlModifier:
                self.added.emit(ev.scenePos())
                return
            (self.fitted.emit if ev.double() else lambda: self.clicked.emit(ev.scenePos()))()

    def mouseDragEvent(self, ev: object, axis: int | None = None) -> None:
        if ev.button() in (Qt.MouseButton.LeftButton, Qt.MouseButton.MiddleButton):
            super().mouseDragEvent(ev, axis)

    def hoverEvent(self, ev: object) -> None:
        self.moved.emit(None if ev.isExit() else ev.scenePos())


class MapView(QWidget):
    """The map of one channel.

    Signals, each only for what the person did
    ------------------------------------------
    picked(row, col) : a pixel was clicked
    added(row, col) : a pixel was clicked while Ctrl was held
    hovered(row, col) : the pointer came over a pixel; (-1, -1) when it left the map
    limits_changed(object) : (low, high) in core units, or None for robust limits
    marks_toggled(bool) : the marks of doubt were switched
    """

    picked = Signal(int, int)
    added = Signal(int, int)
    hovered = Signal(int, int)
    limits_changed = Signal(object)
    marks_toggled = Signal(bool)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._values: Array = np.full((1, 1), np.nan)
        self._x = self._y = np.zeros(1)
        self._channel: Channel | None = None
        self._has_scale, self._factor, self._length_unit = True, 1.0, "nm"
        self._severe: Array | None = None
        self._chosen: Limits | None = None
        self._whole = True  # the whole map is shown, until the person moves or zooms it
        self._limits: Limits = (0.0, 1.0)
        self._hover, self._cursor = (-1, -1), (-1, -1)
        self._theme: Theme = LIGHT
        self._build()
        self.set_theme(LIGHT)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)

    # -- building

    def _build(self) -> None:
        self.box = MapBox()
        self.plot = pg.PlotWidget(viewBox=self.box)
        self.plot.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self.plot.hideButtons()
        self.plot.setFrameShape(self.plot.Shape.NoFrame)
        self.image = pg.ImageItem(axisOrder="row-major")
        self.ground, self.cursor_item = Ground(), PixelCursor()
        for item in (self.ground, self.image, self.cursor_item):
            self.box.addItem(item, ignoreBounds=True)
        self.marks = PixelMarks(self.box, self)
        self.layers = MapLayers(self.box, self)
        self.scale_bar = ScaleBar(self.box)
        self.bar, self.readout, self.key = ColourBar(), Readout(), Key()
        grid = QGridLayout(self)
        grid.setContentsMargins(SPACE, SPACE, SPACE, SPACE)
        grid.setSpacing(SPACE)
        self.tools = MapTools(self)
        self.toolbar = MapToolbar(self.tools, self)
        grid.addWidget(self._head(), 0, 0, 1, 2)
        grid.addWidget(self.plot, 1, 0)
        grid.addWidget(self.bar, 1, 1)
        grid.addWidget(self.readout, 2, 0, 1, 2)
        grid.addWidget(self.key, 3, 0, 1, 2)
        grid.addWidget(self.layers.key, 4, 0, 1, 2)
        grid.setRowStretch(1, 1)
        grid.setColumnStretch(0, 1)
        self.box.clicked.connect(lambda at: self._on_click(at, self.picked))
        self.box.added.connect(lambda at: self._on_click(at, self.added))
        self.box.moved.connect(self._on_move)
        self.box.fitted.connect(self.fit)
        self.box.sigRangeChanged.connect(lambda *_: self._on_range())
        self.box.sigResized.connect(lambda *_: self.fit() if self._whole else self._on_range())
        self.box.sigRangeChangedManually.connect(lambda *_: setattr(self, "_whole", False))
        self.bar.limits_edited.connect(self._on_limits)

    def _head(self) -> MapHead:
        self.title = look.toned(QLabel(), "strong")
        self.marks_button, self.fit_button = QToolButton(), QToolButton()
        self.marks_button.setText("Doubts")
        self.marks_button.setCheckable(True)
        self.marks_button.setChecked(True)
        self.marks_button.setToolTip("Mark the doubtful pixels, and what was decided about them")
        self.marks_button.toggled.connect(self.marks.set_visible)
        self.marks_button.clicked.connect(self.marks_toggled)
        self.fit_button.setText("Whole map")
        self.fit_button.setToolButtonStyle(Qt.ToolButtonStyle.ToolButtonTextBesideIcon)
        self.fit_button.setToolTip("Show the whole map (Home, or double click)")
        self.fit_button.clicked.connect(self.fit)
        return MapHead(self.title, self.toolbar, self.marks_button, self.fit_button)

    # -- what is shown

    def show_values(self, values: Array, x_nm: Array, y_nm: Array, channel: Channel,
                    has_scale: bool = True, marks: Array | None = None) -> None:  # fmt: skip
        """Show one channel.

        Parameters
        ----------
        values : (rows, cols) in the channel's core unit; NaN where there is no value
        x_nm, y_nm : (cols,) and (rows,), pixel centres in nm; pixel numbers without a scale
        channel : what it is, for words, unit and colours
        marks : (rows, cols) bool, pixels with a severe doubt; None if not known
        """
        grid = (values.shape, has_scale, _ends(x_nm), _ends(y_nm))
        before = (self._values.shape, self._has_scale, _ends(self._x), _ends(self._y))
        new_grid = self._channel is None or grid != before
        self._values, self._x, self._y, self._has_scale = values, x_nm, y_nm, has_scale
        if self._channel is None or channel.kind != self._channel.kind:
            self._recolour(channel.kind)
        if self._channel is not None and channel.name != self._channel.name:
            self._chosen = None
        self._channel, self._severe = channel, marks
        if new_grid:
            self._place_image()
        self._apply_limits()
        self.marks.show_doubts(self._severe, self.image.transform())
        self._show_words()
        if new_grid:
            self.fit()

    def show_review(self, kinds: Array | None, doubted: Array | None, severe: Array | None,
                    mild: bool = False) -> None:  # fmt: skip
        """Mark what was decided, and the doubts of what was not.

        Parameters
        ----------
        kinds : uint8 (rows, cols), the decision at each pixel
        doubted, severe : bool (rows, cols), pixels with any doubt, and with a severe one
        mild : whether mild doubts are marked, too
        """
        self._severe = severe
        self.marks.set_review(kinds, doubted, mild)
        self.marks.show_doubts(severe, self.image.transform())
        self._show_key()

    def set_cursor(self, row: int, col: int) -> None:
        """Put the outline around a pixel; outside the map it disappears."""
        rows, cols = self._values.shape
        inside = 0 <= row < rows and 0 <= col < cols
        self._cursor = (row, col) if inside else (-1, -1)
        self.cursor_item.setVisible(inside)
        if inside:
            self.cursor_item.setPos(self.image.mapToParent(QPointF(col + 0.5, row + 0.5)))
        self.readout.show_pixel("Picked", self._pixel_texts(*self._cursor))

    def set_theme(self, theme: Theme) -> None:
        """Take the colours and the font anew."""
        self._theme = theme
        font = look.small_font()
        self.plot.setBackground(theme.panel)
        for side in ("bottom", "left"):
            axis = self.plot.getAxis(side)
            axis.setPen(theme.faint)
            axis.setTextPen(theme.muted)
            axis.setTickFont(font)
            axis.label.setFont(font)
            axis.enableAutoSIPrefix(False)
        self.plot.getAxis("left").setWidth(QFontMetrics(font).horizontalAdvance("00000") + 28)
        for item in (self.ground, self.cursor_item, self.key):
            item.set_theme(theme)
        self.scale_bar.set_theme(theme, font)
        self.layers.set_theme(theme, font)
        self.tools.set_theme(theme)
        self.toolbar.set_theme(theme)
        self.marks.set_theme(theme)
        self.fit_button.setIcon(look.icon("map", theme))
        self.readout.refit()
        self._recolour(self._channel.kind if self._channel else "magnitude")
        self._on_range()

    @property
    def limits(self) -> Limits:
        """The limits of the colours in core units."""
        return self._limits

    @property
    def shown(self) -> tuple[Channel | None, Array]:
        """What is shown: the channel (None at first) and its values (rows, cols)."""
        return self._channel, self._values

    def set_limits(self, low: float | None, high: float | None = None) -> None:
        """Choose the limits in core units; None takes robust ones, and so does another channel."""
        self._chosen = None
        if low is not None and high is not None and low < high:
            self._chosen = (float(low), float(high))
        if self._channel is not None:
            self._apply_limits()

    def set_marks_visible(self, on: bool) -> None:
        """Show or hide the marks of severe doubts."""
        self.marks_button.setChecked(on)

    def fit(self) -> None:
        """Show the whole map."""
        self._whole = True
        self.box.setRange(self._image_rect(), padding=0.0)
        self._on_range()

    # -- inside

    def _place_image(self) -> None:
        (x0, dx), (y0, dy) = scales.edges(self._x), scales.edges(self._y)
        if len(self._y) == 1 and len(self._x) > 1:
            y0, dy = float(self._y[0]) - abs(dx) / 2, abs(dx)
        if len(self._x) == 1 and len(self._y) > 1:
            x0, dx = float(self._x[0]) - abs(dy) / 2, abs(dy)
        rows, cols = self._values.shape
        longest = max(abs(dx) * cols, abs(dy) * rows)
        big = self._has_scale and longest >= 10_000.0
        self._factor, self._length_unit = (1e-3, "µm") if big else (1.0, "nm")
        f = self._factor
        self.image.setTransform(QTransform(dx * f, 0, 0, dy * f, x0 * f, y0 * f))
        self.ground.setRect(self._image_rect())
        self.scale_bar.set_unit(self._length_unit)
        self.scale_bar.setVisible(self._has_scale)
        unit = self._length_unit if self._has_scale else "pixel"
        for side, name in (("bottom", "x"), ("left", "y")):
            self.plot.setLabel(side, f"{name} ({unit})")
        rect, reach = self._image_rect(), 4.0 * longest * f  # a narrow view shows all of it too
        self.box.setLimits(xMin=rect.left() - reach, xMax=rect.right() + reach,
                           yMin=rect.top() - reach, yMax=rect.bottom() + reach,
                           minXRange=2 * abs(dx) * f, minYRange=2 * abs(dy) * f)  # fmt: skip
        self.layers.place(self.image.transform(), self._values.shape, f)
        self.tools.renew()
        self.set_cursor(*self._cursor)

    def _image_rect(self) -> QRectF:
        rows, cols = self._values.shape
        return self.image.transform().mapRect(QRectF(0, 0, cols, rows))

    def _recolour(self, kind: str) -> None:
        table = look.colour_table(kind)
        clear = np.zeros((1, 4), np.uint8)
        self.image.setLookupTable(np.concatenate([table, clear]))
        self.bar.set_look(self._theme, table)

    def _apply_limits(self) -> None:
        channel = self._channel
        self._limits = self._chosen or scales.robust_limits(self._values, channel.kind)
        index = scales.colour_index(self._values, *self._limits)
        self.image.setImage(index, autoLevels=False, levels=(0, 255))
        finite = self._values[np.isfinite(self._values)]
        reach = (finite.min(), finite.max()) if finite.size else (math.nan, math.nan)
        self.bar.show_limits(self._limits, channel.unit, self._chosen is None, reach)

    def _show_words(self) -> None:
        channel = self._channel
        self.title.setText(f"{channel.label} <i>{rich(channel.symbol)}</i>")
        self.title.setToolTip(channel.formula)
        self._show_key()
        for line, pixel in (("Picked", self._cursor), ("Pointer", self._hover)):
            self.readout.show_pixel(line, self._pixel_texts(*pixel))

    def _show_key(self) -> None:
        without = int(np.count_nonzero(~np.isfinite(self._values)))
        self.key.show_counts(without, self.marks.counts)

    def _pixel_texts(self, row: int, col: int) -> dict[str, str]:
        rows, cols = self._values.shape
        if self._channel is None or not (0 <= row < rows and 0 <= col < cols):
            return {}
        value = float(self._values[row, col])
        said = "no value"
        if math.isfinite(value):
            said = units.text_of(value, self._channel.unit, unit=self.bar.unit)
        texts = {"row": str(row), "col": str(col), "value": said}
        if self._has_scale:
            for name, centre in (("x", self._x[col]), ("y", self._y[row])):
                texts[name] = f"{centre * self._factor:.1f} {self._length_unit}"
        return texts

    def pixel_at(self, scene: QPointF) -> tuple[int, int]:
        """Row and column under a place of the scene; (-1, -1) outside the map."""
        at = self.image.mapFromScene(scene)
        row, col = math.floor(at.y()), math.floor(at.x())
        rows, cols = self._values.shape
        inside = 0 <= row < rows and 0 <= col < cols and self._channel is not None
        return (row, col) if inside else (-1, -1)

    def scene_at(self, row: int, col: int) -> QPointF:
        """The centre of a pixel as a place of the scene (the way back of `pixel_at`)."""
        return self.image.mapToScene(QPointF(col + 0.5, row + 0.5))

    # -- what the person does

    def _on_click(self, scene: QPointF, signal: SignalInstance) -> None:
        row, col = self.pixel_at(scene)
        if row >= 0:
            signal.emit(row, col)

    def _on_move(self, scene: QPointF | None) -> None:
        pixel = (-1, -1) if scene is None else self.pixel_at(scene)
        if pixel != self._hover:
            self._hover = pixel
            self.readout.show_pixel("Pointer", self._pixel_texts(*pixel))
            self.hovered.emit(*pixel)

    def _on_limits(self, limits: Limits | None) -> None:
        self.set_limits(*(limits or (None, None)))
        self._show_words()
        self.limits_changed.emit(limits)

    def _on_range(self) -> None:
        wide, high = (abs(v) for v in self.box.viewPixelSize())
        m = self.image.transform()
        if wide > 0 and high > 0:
            w, h = abs(m.m11()) / wide, abs(m.m22()) / high
            self.cursor_item.set_pixel_size(w, h)
            self.marks.set_size(min(9.0, max(4.0, 0.6 * min(w, h))))
            self.scale_bar.place(self._image_rect())

    def keyPressEvent(self, event: QKeyEvent) -> None:
        if event.key() == Qt.Key.Key_Home:
            self.fit()
        else:
            super().keyPressEvent(event)

    def focusInEvent(self, event: QFocusEvent) -> None:
        super().focusInEvent(event)
        self.update()

    def focusOutEvent(self, event: QFocusEvent) -> None:
        super().focusOutEvent(event)
        self.update()

    def paintEvent(self, event: QPaintEvent) -> None:
        """A frame around the image, in the accent while the arrow keys go here."""
        painter = QPainter(self)
        colour = self._theme.accent if self.hasFocus() else self._theme.line
        painter.setPen(look.colour(colour))
        painter.drawRect(self.plot.geometry().adjusted(-1, -1, 0, 0))

    def sizeHint(self) -> QSize:
        return QSize(560, 520)


def _ends(values: Array) -> tuple[float, ...]:
    return (len(values), float(values[0]), float(values[-1])) if len(values) else ()
