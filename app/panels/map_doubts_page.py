"""The page *Whole map* of the panel Doubts: what is wrong with all pixels at once, and its
evidence."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
import pyqtgraph as pg
from PySide6.QtCore import Signal
from PySide6.QtGui import QFontMetrics
from PySide6.QtWidgets import QComboBox, QToolButton, QWidget

from .. import theme as look
from ..theme import Theme
from ..views.curve_view import style_axes
from .law_page import Page, plain, verdict_icon
from .law_table import Line, Table

NOT_YET = "This follows when the map has been analysed."
NONE = ("No doubt about the map as a whole: no step or drift along the scan, and a deflection "
        "sensitivity that fits the curves.")  # fmt: skip
VERDICT = {"severe": "broken", "mild": "strained"}


class MapDoubtsPage(Page):
    """Signal gather_wanted(MapDoubt): the person wants the pixels after the line where something
    changes."""

    gather_wanted = Signal(object)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._doubts: tuple[Any, ...] = ()
        self.table = Table([""], "doubts about the whole map", words=(0,))
        self.table.horizontalHeader().hide()
        self.choice = QComboBox(self)
        self.choice.setAccessibleName("What it is seen on")
        self.plot = pg.PlotWidget()
        self.plot.setFrameShape(self.plot.Shape.NoFrame)
        self.plot.setMouseEnabled(False, False)
        self.plot.hideButtons()
        self.plot.setMenuEnabled(False)
        self.plot.setFixedHeight(190)
        self._bars = pg.ErrorBarItem(x=np.zeros(1), y=np.zeros(1), height=np.zeros(1))
        self._points = pg.ScatterPlotItem(size=5.0)
        self._line = pg.PlotCurveItem()
        for item in (self._bars, self._points, self._line):
            self.plot.addItem(item)
        self.facts = Table(["", "Value", "±", ""], "facts", words=(0, 3))
        self.after = QToolButton(self)
        self.after.setText("Gather from that line on")
        self.after.setToolTip("Gather the pixels after the change, to leave out or to correct them")
        for widget in (self.table, self.choice, self.plot, self.facts):
            self.body.addWidget(widget)
        self.body.addStretch(1)
        self.foot.addWidget(self.after)
        self.foot.addStretch(1)
        self.table.chosen.connect(lambda _: self._show_chosen())
        self.choice.activated.connect(lambda _: self._draw())
        self.after.clicked.connect(self._after)
        self.show_reason(NOT_YET)

    def set_theme(self, theme: Theme) -> None:
        super().set_theme(theme)
        font = look.small_font()
        self.plot.setBackground(theme.panel)
        style_axes(self.plot.getPlotItem(), theme, font,
                   QFontMetrics(font).horizontalAdvance("-0000.0") + 24)  # fmt: skip
        self._points.setPen(pg.mkPen(theme.panel))
        self._points.setBrush(pg.mkBrush(theme.ink))
        self._bars.setOpts(pen=pg.mkPen(theme.muted))
        self._line.setPen(pg.mkPen(theme.accent, width=2))
        if self._doubts:
            self.show_doubts(self._doubts)

    def show_doubts(self, doubts: Sequence[Any]) -> None:
        """Core's `MapDoubt`s, severe ones first."""
        self._doubts = tuple(doubts)
        if not doubts:
            self.show_reason(NONE)
            return
        self.show_numbers()
        self.table.fill([
            Line((f"{d.sentence} {d.repair}",), key=number, tip=d.severity,
                 icon=verdict_icon(VERDICT[d.severity], self.theme))
            for number, d in enumerate(doubts)
        ])  # fmt: skip
        if self.table.current_key() is None:
            self.table.choose(0)
        self._show_chosen()

    @property
    def chosen(self) -> Any:
        """The doubt that is chosen; None for none."""
        key = self.table.current_key()
        return self._doubts[key] if key is not None and key < len(self._doubts) else None

    def show_buttons(self) -> None:
        doubt = self.chosen
        self.after.setVisible(doubt is not None and doubt.evidence.line >= 0)

    def clear(self) -> None:
        self._doubts = ()
        super().clear()
        self.show_buttons()

    def _show_chosen(self) -> None:
        doubt = self.chosen
        self.show_buttons()
        if doubt is None:
            return
        self.choice.clear()
        for plot in doubt.evidence.plots:
            self.choice.addItem(plot.title)
        self.choice.setVisible(len(doubt.evidence.plots) > 1)
        facts = [_fact(words, *fact) for words, fact in doubt.evidence.facts.items()]
        self.facts.fill(facts)
        self.facts.setVisible(bool(facts))
        self._draw()

    def _draw(self) -> None:
        doubt, at = self.chosen, self.choice.currentIndex()
        plots = doubt.evidence.plots if doubt is not None else ()
        self.plot.setVisible(bool(plots))
        if not 0 <= at < len(plots):
            return
        one = plots[at]
        good = np.isfinite(one.x) & np.isfinite(one.y)
        x, y = one.x[good], one.y[good]
        error = np.nan_to_num(np.broadcast_to(one.error, one.y.shape)[good])
        self._bars.setData(x=x, y=y, height=2.0 * error)
        self._points.setData(x, y)
        self._line.setData(np.asarray(one.fit_x, float), np.asarray(one.fit_y, float))
        self.plot.setLabel("bottom", one.x_label)
        self.plot.setLabel("left", one.y_label)
        self.plot.setToolTip(one.title)
        self.plot.getViewBox().autoRange(padding=0.05)

    def _after(self) -> None:
        if self.chosen is not None:
            self.gather_wanted.emit(self.chosen)


def _fact(words: str, value: float, error: float, unit: str) -> Line:
    return Line((words, plain(value, 4), plain(error, 2) if math.isfinite(error) else "", unit))
