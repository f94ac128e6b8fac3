"""The modulus against the lower and the upper end of the fit window, as lines and as a picture.

A window is chosen by a click on the picture or on a line, or by the keyboard: the arrows move a
cursor over the picture and Enter takes the window under it.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pyqtgraph as pg
from PySide6.QtCore import QPointF, Qt, Signal
from PySide6.QtGui import QFocusEvent, QKeyEvent
from PySide6.QtWidgets import QGridLayout, QHBoxLayout, QLabel, QVBoxLayout, QWidget

from ...core import units
from .. import theme as look
from ..theme import LIGHT, SPACE, Theme
from .colour_bar import Gradient
from .distribution import dress
from .range_lines import EndPlot
from .scales import colour_index, robust_limits

Array = np.ndarray
KEY = ("Square: window in force. Diamond: window that the plateau offers. Outline: plateau. "
       "A click, or arrows and Enter, sets the fit window.")  # fmt: skip
STEPS = {Qt.Key.Key_Left: (-1, 0), Qt.Key.Key_Right: (1, 0), Qt.Key.Key_Up: (0, 1),
         Qt.Key.Key_Down: (0, -1)}  # fmt: skip
BOX = np.array([(0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0), (0.0, 0.0)])


class RangeView(QWidget):
    """Signal chosen(i, j): the person wants this window, lower end i and upper end j."""

    chosen = Signal(int, int)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._theme: Theme = LIGHT
        self.scan: Any = None
        self.cursor = (0, 0)
        self._unit, self._factor = "GPa", 1.0
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setAccessibleName("Modulus against the ends of the fit window")
        self.lower, self.upper = EndPlot("Lower end"), EndPlot("Upper end")
        self.lower.clicked.connect(lambda i: self._choose(i, self.scan.at[1]))
        self.upper.clicked.connect(lambda j: self._choose(self.scan.at[0], j))
        self.lower.hovered.connect(lambda i: self._tell(i, self.scan.at[1]))
        self.upper.hovered.connect(lambda j: self._tell(self.scan.at[0], j))
        self._make_picture()
        self.readout, self.key = QLabel(self), QLabel(KEY, self)
        self.readout.setAccessibleName("The window under the pointer or the cursor")
        for label in (self.readout, self.key):
            label.setWordWrap(True)
        self.readout.setMinimumHeight(2 * self.fontMetrics().lineSpacing())
        self._lay_out()
        self.set_theme(LIGHT)

    def _make_picture(self) -> None:
        self.plot = pg.PlotWidget(self)
        self.plot.hideButtons()
        self.plot.setMenuEnabled(False)
        self.plot.setMouseEnabled(False, False)
        self.plot.setFrameShape(self.plot.Shape.NoFrame)
        self.plot.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self.image = pg.ImageItem(axisOrder="row-major")
        self.outline = pg.PlotCurveItem(connect="pairs")
        self.rim = pg.PlotCurveItem(connect="pairs")
        self.mark, self.mark_rim = pg.PlotCurveItem(), pg.PlotCurveItem()
        self.held = pg.PlotCurveItem()
        self.offer = pg.ScatterPlotItem(symbol="d", size=11)
        for level, item in enumerate((self.image, self.rim, self.outline, self.mark_rim, self.mark,
                                      self.offer, self.held)):  # fmt: skip
            item.setZValue(level)
            self.plot.addItem(item, ignoreBounds=True)
        self.plot.scene().sigMouseMoved.connect(self._moved)
        self.plot.scene().sigMouseClicked.connect(self._clicked)
        self.gradient, self.bar_unit = Gradient(self), QLabel(self)
        self.gradient.setEnabled(False)  # its limits are those of the values
        self.gradient.setToolTip("Young modulus of a window; blank where a window has no answer")
        self.gradient.unsetCursor()

    def _lay_out(self) -> None:
        bar = QVBoxLayout()
        bar.addWidget(self.bar_unit)
        bar.addWidget(self.gradient, 1)
        picture = QHBoxLayout()
        picture.setSpacing(SPACE // 2)
        picture.addWidget(self.plot, 1)
        picture.addLayout(bar)
        grid = QGridLayout(self)
        grid.setContentsMargins(0, 0, 0, 0)
        grid.setSpacing(SPACE)
        grid.addWidget(self.lower, 0, 0)
        grid.addWidget(self.upper, 0, 1)
        grid.addLayout(picture, 1, 0, 1, 2)
        grid.addWidget(self.readout, 2, 0, 1, 2)
        grid.addWidget(self.key, 3, 0, 1, 2)
        grid.setRowStretch(0, 2)
        grid.setRowStretch(1, 3)

    # -- what is shown --------------------------------------------------------------------------

    def show_scan(self, scan: Any) -> None:
        """Core's `Scan`; None for nothing."""
        same = (self.scan is not None and scan is not None
                and self.scan.modulus.shape == scan.modulus.shape)  # fmt: skip
        self.scan = scan
        if scan is None:
            return
        if not (same and self.hasFocus()):
            self.cursor = scan.at
        finite = scan.modulus[np.isfinite(scan.modulus)]
        self._unit, self._factor = units.best_unit(
            float(np.median(finite)) if finite.size else math.nan, "GPa")  # fmt: skip
        self._draw_lines()
        self._draw_picture()
        self._tell(*self.cursor)

    def _draw_lines(self) -> None:
        scan, factor = self.scan, self._factor
        i, j = scan.at
        p = scan.plateau
        inside = np.zeros(scan.modulus.shape, bool) if p is None else p.mask
        spread = None if scan.single else scan.spread * factor
        values, errors = scan.modulus * factor, scan.error * factor
        for plot, ends, at, pick in ((self.lower, scan.lows, i, np.s_[:, j]),
                                     (self.upper, scan.highs, j, np.s_[i, :])):  # fmt: skip
            band = None if spread is None else spread[pick]
            plot.show_line(ends, values[pick], errors[pick], band, inside[pick], at, scan.unit,
                           self._unit)  # fmt: skip
        for plot, name, end in ((self.lower, "Lower end", scan.highs[j]),
                                (self.upper, "Upper end", scan.lows[i])):  # fmt: skip
            other = "upper" if plot is self.lower else "lower"
            plot.name(f"{name} ({scan.unit}), {other} end {end:.3g} {scan.unit}")

    def _draw_picture(self) -> None:
        scan, theme = self.scan, self._theme
        values = scan.modulus.T * self._factor  # upper ends go up
        low, high = robust_limits(values)
        table = np.vstack([look.colour_table("magnitude"), [(0, 0, 0, 0)]])
        self.image.setImage(table[colour_index(values, low, high)], autoLevels=False)
        self.image.setRect(0, 0, scan.lows.size, scan.highs.size)
        finite = values[np.isfinite(values)]
        below, above = (finite < low).any(), (finite > high).any()
        self.gradient.show_limits(low, high, bool(below), bool(above))
        self.bar_unit.setText(f"E ({self._unit})")
        self.plot.setRange(xRange=(0, scan.lows.size), yRange=(0, scan.highs.size), padding=0.01)
        for side, ends, words in (("bottom", scan.lows, "Lower end"),
                                  ("left", scan.highs, "Upper end")):  # fmt: skip
            every = max(1, round(ends.size / 6))
            ticks = [(k + 0.5, f"{end:.3g}") for k, end in enumerate(ends) if k % every == 0]
            self.plot.getAxis(side).setTicks([ticks, []])
            self.plot.setLabel(side, f"{words} ({scan.unit})")
        at = BOX + scan.at
        self.mark.setData(at[:, 0], at[:, 1])
        self.mark_rim.setData(at[:, 0], at[:, 1])
        p = scan.plateau
        edges = np.empty((0, 2)) if p is None else outline_of(p.mask)
        self.outline.setData(edges[:, 0], edges[:, 1])
        self.rim.setData(edges[:, 0], edges[:, 1])
        self.offer.setData(*([], []) if p is None else ([p.at[0] + 0.5], [p.at[1] + 0.5]))
        self._show_cursor()
        self.plot.setAccessibleName(f"Modulus by lower and upper end, {theme.name}")

    def _show_cursor(self) -> None:
        on = self.hasFocus() and self.scan is not None
        at = 0.14 + 0.72 * BOX + self.cursor if on else np.empty((0, 2))
        self.held.setData(at[:, 0], at[:, 1])

    def _tell(self, i: int, j: int) -> None:
        if self.scan is not None:
            self.readout.setText(words_of(self.scan, i, j, self._unit))

    def set_theme(self, theme: Theme) -> None:
        self._theme = theme
        dress(self.plot, theme)
        self.plot.getAxis("left").setWidth(48)
        for plot in (self.lower, self.upper):
            plot.set_theme(theme)
        pen = pg.mkPen
        self.rim.setPen(pen(theme.light_edge, width=4))
        self.outline.setPen(pen(theme.dark_edge, width=2))
        self.mark_rim.setPen(pen(theme.light_edge, width=5))
        self.mark.setPen(pen(theme.accent, width=3))
        self.held.setPen(pen(theme.light_edge, width=2, style=Qt.PenStyle.DotLine))
        self.offer.setPen(pen(theme.dark_edge))
        self.offer.setBrush(theme.light_edge)
        self.gradient.set_look(theme, look.colour_table("magnitude"))
        look.toned(look.shrink(self.key), "muted")
        look.shrink(self.bar_unit)

    # -- what the person does -------------------------------------------------------------------

    def cell_at(self, scene: QPointF) -> tuple[int, int] | None:
        """The window under a place of the picture's scene; None if it has no answer."""
        if self.scan is None or not self.plot.plotItem.vb.sceneBoundingRect().contains(scene):
            return None
        at = self.plot.plotItem.vb.mapSceneToView(scene)
        i, j = math.floor(at.x()), math.floor(at.y())
        rows, cols = self.scan.modulus.shape
        return (i, j) if 0 <= i < rows and 0 <= j < cols else None

    def scene_at(self, i: int, j: int) -> QPointF:
        """The middle of a window in the picture's scene."""
        return self.plot.plotItem.vb.mapViewToScene(QPointF(i + 0.5, j + 0.5))

    def _moved(self, scene: QPointF) -> None:
        cell = self.cell_at(scene)
        self._tell(*(cell or self.cursor))

    def _clicked(self, event: Any) -> None:
        if event.button() != Qt.MouseButton.LeftButton:
            return
        self.setFocus(Qt.FocusReason.MouseFocusReason)
        cell = self.cell_at(event.scenePos())
        if cell is not None:
            self._choose(*cell)

    def _choose(self, i: int, j: int) -> None:
        """A window without an answer is none to fit."""
        self.cursor = (i, j)
        self._show_cursor()
        self._tell(i, j)
        if math.isfinite(self.scan.modulus[i, j]):
            self.chosen.emit(i, j)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        if self.scan is None:
            super().keyPressEvent(event)
        elif event.key() in STEPS:
            step = STEPS[Qt.Key(event.key())]
            rows, cols = self.scan.modulus.shape
            self.cursor = (min(max(self.cursor[0] + step[0], 0), rows - 1),
                           min(max(self.cursor[1] + step[1], 0), cols - 1))  # fmt: skip
            self._show_cursor()
            self._tell(*self.cursor)
        elif event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
            self._choose(*self.cursor)
        else:
            super().keyPressEvent(event)

    def focusInEvent(self, event: QFocusEvent) -> None:
        super().focusInEvent(event)
        self._show_cursor()

    def focusOutEvent(self, event: QFocusEvent) -> None:
        super().focusOutEvent(event)
        self._show_cursor()


def outline_of(mask: Array) -> Array:
    """Pairs of corners of the edges around a region, (2 e, 2) as (x, y) = (i, j)."""
    big = np.pad(mask, 1)
    found = []
    for i, j in np.argwhere(big[1:] != big[:-1]):  # between i - 1 and i
        found += [(i, j - 1), (i, j)]
    for i, j in np.argwhere(big[:, 1:] != big[:, :-1]):
        found += [(i - 1, j), (i, j)]
    return np.array(found, float).reshape(-1, 2)


def words_of(scan: Any, i: int, j: int, unit: str) -> str:
    """A window with its numbers."""
    where = f"{scan.lows[i]:.3g} to {scan.highs[j]:.3g} {scan.unit}"
    value = scan.modulus[i, j]
    if not math.isfinite(value):
        return f"{where}: no answer."
    text = f"{where}: E = {units.text_of(value, 'GPa', scan.error[i, j], unit)}"
    if not scan.single and math.isfinite(scan.spread[i, j]):
        text += f", spread {100.0 * scan.spread[i, j] / value:.2g} %"
    if (i, j) == scan.at:
        text += "; the window in force"
    elif math.isfinite(scan.change[i, j]):
        text += (f"; {100.0 * scan.change[i, j]:+.2g} ± {100.0 * scan.change_error[i, j]:.1g} % "
                 "against the window in force")  # fmt: skip
    if scan.plateau is not None:
        text += "; in the plateau." if scan.plateau.mask[i, j] else "; off the plateau."
        return text
    return f"{text}."
