"""Another picture of the map's place, by itself: grey, with its own scale and its landmarks.

Row 0 is at the bottom, as in the map. Places are told as (column, row) of the picture, whole
numbers being the centres of its pixels.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pyqtgraph as pg
from PySide6.QtCore import QPointF, QRectF, QSize, Qt, Signal
from PySide6.QtGui import QKeyEvent, QTransform
from PySide6.QtWidgets import QGridLayout, QLabel, QToolButton, QWidget

from .. import theme as look
from ..theme import LIGHT, SPACE, Theme
from . import scales
from .map_items import Ground, ScaleBar
from .map_places import PlacesItem
from .map_view import MapBox

Array = np.ndarray


class PictureView(QWidget):
    """The picture.

    Signal placed(column, row), for what the person did: a place was clicked while landmarks are
    being set.
    """

    placed = Signal(float, float)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._values: Array | None = None
        self._block, self._unit, self._factor = 1, 1.0, 1.0
        self._placing, self._whole = False, True
        self._theme: Theme = LIGHT
        self._build()
        self.set_theme(LIGHT)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)

    def _build(self) -> None:
        self.box = MapBox()
        self.plot = pg.PlotWidget(viewBox=self.box)
        self.plot.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self.plot.hideButtons()
        self.plot.setFrameShape(self.plot.Shape.NoFrame)
        for side in ("bottom", "left"):
            self.plot.hideAxis(side)
        self.ground, self.image = Ground(), pg.ImageItem(axisOrder="row-major")
        self.marks = PlacesItem(25.0)
        for item in (self.ground, self.image, self.marks):
            self.box.addItem(item, ignoreBounds=True)
        grey = np.arange(255, dtype=np.uint8)
        table = np.stack([grey, grey, grey, np.full(255, 255, np.uint8)], axis=1)
        self.image.setLookupTable(np.concatenate([table, np.zeros((1, 4), np.uint8)]))
        self.scale_bar = ScaleBar(self.box)
        self.title, self.readout = look.toned(QLabel(), "strong"), look.toned(QLabel(), "muted")
        self.fit_button = QToolButton()
        self.fit_button.setText("Whole picture")
        self.fit_button.setToolTip("Show the whole picture (Home, or double click)")
        grid = QGridLayout(self)
        grid.setContentsMargins(SPACE, SPACE, SPACE, SPACE)
        grid.setSpacing(SPACE // 2)
        grid.addWidget(self.title, 0, 0)
        grid.addWidget(self.fit_button, 0, 1)
        grid.addWidget(self.plot, 1, 0, 1, 2)
        grid.addWidget(self.readout, 2, 0, 1, 2)
        grid.setRowStretch(1, 1)
        grid.setColumnStretch(0, 1)
        self.fit_button.clicked.connect(self.fit)
        self.box.clicked.connect(self._on_click)
        self.box.moved.connect(self._on_move)
        self.box.fitted.connect(self.fit)
        self.box.sigRangeChanged.connect(lambda *_: self._place_bar())
        self.box.sigResized.connect(lambda *_: self.fit() if self._whole else self._place_bar())
        self.box.sigRangeChangedManually.connect(lambda *_: setattr(self, "_whole", False))

    # -- what is shown

    def show_picture(self, values: Array | None, name: str = "", pixel_size: float | None = None,
                     block: int = 1) -> None:  # fmt: skip
        """Show a picture.

        Parameters
        ----------
        values : (rows, cols), NaN where missing; None for none
        pixel_size : nm between the picture's pixels; None if it is not known
        block : how many pixels of the picture one of `values` stands for, along a side
        """
        self._values, self._block = values, block
        self.title.setText(name)
        self.readout.setText("")
        if values is None:
            self.image.clear()
            self.show_landmarks(())
            return
        self._unit = pixel_size or 1.0
        big = pixel_size is not None and max(values.shape) * block * pixel_size >= 10_000.0
        self._factor = self._unit * (1e-3 if big else 1.0)
        self.scale_bar.set_unit("µm" if big else "nm")
        self.scale_bar.setVisible(pixel_size is not None)
        index = scales.colour_index(values, *scales.robust_limits(values))
        self.image.setImage(index, autoLevels=False, levels=(0, 255))
        side = block * self._factor
        self.image.setTransform(QTransform.fromScale(side, side))
        rect, reach = self._rect(), side * max(values.shape)
        self.ground.setRect(rect)
        self.marks.set_area(rect.adjusted(-reach, -reach, reach, reach))
        self.marks.places = replace(self.marks.places, factor=self._factor)
        self.box.setLimits(xMin=rect.left() - reach, xMax=rect.right() + reach,
                           yMin=rect.top() - reach, yMax=rect.bottom() + reach,
                           minXRange=2 * self._factor, minYRange=2 * self._factor)  # fmt: skip
        self.fit()

    def show_landmarks(self, points: Sequence[tuple[float, float]]) -> None:
        """Mark numbered places, (column, row), the first one as 1."""
        self.marks.places = replace(
            self.marks.places, landmarks=tuple((c + 0.5, r + 0.5) for c, r in points)
        )
        self.marks.update()

    def set_placing(self, on: bool) -> None:
        """Whether clicks set landmarks."""
        self._placing = on
        port = self.plot.viewport()
        port.setCursor(Qt.CursorShape.PointingHandCursor) if on else port.unsetCursor()

    def set_theme(self, theme: Theme) -> None:
        self._theme = theme
        self.plot.setBackground(theme.panel)
        self.ground.set_theme(theme)
        self.marks.set_theme(theme, look.small_font())
        self.scale_bar.set_theme(theme, look.small_font())
        self.fit_button.setIcon(look.icon("map", theme))
        self.fit_button.setToolButtonStyle(Qt.ToolButtonStyle.ToolButtonTextBesideIcon)
        look.shrink(self.readout)
        self._place_bar()

    def fit(self) -> None:
        """Show the whole picture."""
        self._whole = True
        if self._values is not None:
            self.box.setRange(self._rect(), padding=0.0)
            self._place_bar()

    # -- inside

    def _rect(self) -> QRectF:
        assert self._values is not None
        rows, cols = self._values.shape
        side = self._block * self._factor
        return QRectF(0, 0, cols * side, rows * side)

    def _place_bar(self) -> None:
        if self._values is not None:
            self.scale_bar.place(self._rect())

    def place_at(self, scene: QPointF) -> tuple[float, float] | None:
        """Column and row under a place of the scene; None outside of the picture."""
        if self._values is None:
            return None
        at = self.box.mapSceneToView(scene)
        if not self._rect().contains(at):
            return None
        return at.x() / self._factor - 0.5, at.y() / self._factor - 0.5

    def scene_at(self, column: float, row: float) -> QPointF:
        """The way back of `place_at`."""
        f = self._factor
        return self.box.mapViewToScene(QPointF((column + 0.5) * f, (row + 0.5) * f))

    # -- what the person does

    def _on_click(self, scene: QPointF) -> None:
        at = self.place_at(scene)
        if self._placing and at is not None:
            self.placed.emit(*at)

    def _on_move(self, scene: QPointF | None) -> None:
        at = None if scene is None else self.place_at(scene)
        if at is None or self._values is None:
            self.readout.setText("")
            return
        column, row = (max(round(v), 0) for v in at)
        last = np.array(self._values.shape) - 1
        r, c = np.minimum([row // self._block, column // self._block], last)
        value = self._values[r, c]
        said = f"{value:.4g}" if np.isfinite(value) else "no value"
        self.readout.setText(f"column {column}  row {row}  {said}")

    def keyPressEvent(self, event: QKeyEvent) -> None:
        if event.key() == Qt.Key.Key_Home:
            self.fit()
        else:
            super().keyPressEvent(event)

    def sizeHint(self) -> QSize:
        return QSize(420, 320)
