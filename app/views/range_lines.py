"""One line of the page *Range*: the modulus against one end of the fit window."""

from __future__ import annotations

from typing import Any

import numpy as np
import pyqtgraph as pg
from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QWidget

from .. import theme as look
from ..theme import LIGHT, Theme
from .distribution import dress

Array = np.ndarray


class EndPlot(pg.PlotWidget):
    """Signals clicked(k), hovered(k): the person did so at the k-th end."""

    clicked = Signal(int)
    hovered = Signal(int)

    def __init__(self, name: str, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._theme: Theme = LIGHT
        self._ends = np.empty(0)
        self.hideButtons()
        self.setMenuEnabled(False)
        self.setMouseEnabled(False, False)
        self.setFrameShape(self.Shape.NoFrame)
        self.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self.setAccessibleName(f"Modulus against the {name.lower()}")
        self.setMinimumHeight(120)
        self._sides = [pg.PlotCurveItem() for _ in range(4)]
        self.spread = pg.FillBetweenItem(*self._sides[:2])
        self.band = pg.FillBetweenItem(*self._sides[2:])
        self.line = pg.PlotDataItem(symbol="o", symbolSize=5)
        self.mark = pg.InfiniteLine(angle=90)
        self.mark_text = pg.TextItem("in force", anchor=(0.5, 0.0))
        self.stretch = pg.PlotCurveItem(connect="finite")
        self.stretch_text = pg.TextItem("plateau", anchor=(0.5, 1.0))
        for item in (*self._sides, self.spread, self.band, self.stretch, self.mark, self.line,
                     self.stretch_text, self.mark_text):  # fmt: skip
            self.addItem(item, ignoreBounds=True)
        self.scene().sigMouseMoved.connect(self._moved)
        self.scene().sigMouseClicked.connect(self._clicked)

    def name(self, words: str) -> None:
        self.setLabel("bottom", words)

    def show_line(self, ends: Array, values: Array, errors: Array, spread: Array | None,
                  inside: Array, at: int, unit: str, value_unit: str) -> None:  # fmt: skip
        """Draw one line.

        Parameters
        ----------
        ends, values, errors : (n,); values and errors in `value_unit`, NaN where there is none
        spread : (n,) of the curves; None for one curve
        inside : (n,) bool, in the plateau
        at : which end is in force
        """
        self._ends = ends
        self.setLabel("left", f"E ({value_unit})")
        for sides, half in ((self._sides[:2], spread), (self._sides[2:], errors)):
            seen = np.isfinite(values) & (np.isfinite(half) if half is not None else False)
            off = np.zeros(seen.sum()) if half is None else half[seen]
            sides[0].setData(ends[seen], values[seen] - off)
            sides[1].setData(ends[seen], values[seen] + off)
        good = np.isfinite(values)
        self.line.setData(ends[good], values[good])
        low, high = _reach(values, errors)
        room = 0.16 * (high - low)
        self.setRange(xRange=(ends[0], ends[-1]), yRange=(low - room, high + room), padding=0.03)
        self.mark.setValue(ends[at])
        self.mark_text.setPos(ends[at], high + room)
        where = ends[inside & good]
        shown = where.size > 0
        y = low - 0.6 * room
        self.stretch.setData(where[[0, -1]] if shown else [], [y, y] if shown else [])
        self.stretch_text.setVisible(shown)
        if shown:
            self.stretch_text.setPos(0.5 * (where[0] + where[-1]), y)

    def set_theme(self, theme: Theme) -> None:
        self._theme = theme
        dress(self, theme)
        self.getAxis("left").setWidth(52)
        font = look.small_font()
        for side in self._sides:
            side.setPen(None)
        self.band.setBrush(look.colour(theme.ink, 70))
        self.spread.setBrush(look.colour(theme.ink, 24))
        self.line.setPen(pg.mkPen(theme.ink))
        self.line.setSymbolBrush(theme.ink)
        self.line.setSymbolPen(None)
        self.mark.setPen(pg.mkPen(theme.accent, style=Qt.PenStyle.DashLine))
        self.stretch.setPen(pg.mkPen(theme.muted, width=5))
        for text, colour in ((self.mark_text, theme.accent), (self.stretch_text, theme.muted)):
            text.setFont(font)
            text.setColor(colour)

    def _end_at(self, scene: Any) -> int | None:
        if not self._ends.size or not self.plotItem.vb.sceneBoundingRect().contains(scene):
            return None
        x = self.plotItem.vb.mapSceneToView(scene).x()
        return int(np.argmin(np.abs(self._ends - x)))

    def _moved(self, scene: Any) -> None:
        k = self._end_at(scene)
        if k is not None:
            self.hovered.emit(k)

    def _clicked(self, event: Any) -> None:
        k = self._end_at(event.scenePos())
        if k is not None and event.button() == Qt.MouseButton.LeftButton:
            self.clicked.emit(k)


def _reach(values: Array, errors: Array) -> tuple[float, float]:
    """Lowest and highest of values with their ±, very uncertain ones without it."""
    half = np.where(errors < 0.3 * np.abs(values), errors, 0.0)
    both = np.concatenate([values - half, values + half])
    both = both[np.isfinite(both)]
    if not both.size:
        return 0.0, 1.0
    low, high = float(both.min()), float(both.max())
    least = 0.02 * max(abs(low), abs(high), 1e-12)  # a change of a hundredth is no cliff
    if high - low < least:
        middle = 0.5 * (low + high)
        low, high = middle - 0.5 * least, middle + 0.5 * least
    return low, high
