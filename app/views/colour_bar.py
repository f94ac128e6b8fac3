"""The bar beside a map: its colours, its limits, and what lies beyond them.

A limit is typed into its field or dragged: the upper half of the bar holds the upper limit, the
lower half the lower one. `limits_edited` tells what the person did and nothing else.
"""

from __future__ import annotations

import math

import numpy as np
from PySide6.QtCore import QPointF, QRectF, Qt, Signal
from PySide6.QtGui import QFontMetrics, QImage, QMouseEvent, QPainter, QPaintEvent, QPolygonF
from PySide6.QtWidgets import QLabel, QLineEdit, QToolButton, QVBoxLayout, QWidget

from ...core import units
from .. import theme as look
from ..theme import LIGHT, Theme
from .scales import nice_ticks, shown_limit, tick_texts

Limits = tuple[float, float]


class Gradient(QWidget):
    """The painted bar. `below` and `above` say whether values lie beyond its ends."""

    dragged = Signal(float, float)
    released = Signal()

    BAR, TIP = 18, 11

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.low, self.high = 0.0, 1.0
        self.below = self.above = False
        self._table = look.colour_table("magnitude")
        self._theme: Theme = LIGHT
        self._grip: tuple[float, float, float, bool] | None = None
        self.setMinimumSize(74, 80)
        self.setCursor(Qt.CursorShape.SizeVerCursor)
        self.setToolTip("Drag the upper half to move the upper limit, the lower half to move the "
                        "lower one.\nA triangle says that values lie beyond that end.")  # fmt: skip

    def show_limits(self, low: float, high: float, below: bool, above: bool) -> None:
        """Limits in the unit shown."""
        self.low, self.high, self.below, self.above = low, high, below, above
        self.update()

    def set_look(self, theme: Theme, table: np.ndarray) -> None:
        self._theme, self._table = theme, table
        self.update()

    def _area(self) -> QRectF:
        return QRectF(1, self.TIP, self.BAR, self.height() - 2 * self.TIP)

    def paintEvent(self, event: QPaintEvent) -> None:
        painter, bar = QPainter(self), self._area()
        table = np.ascontiguousarray(self._table[::-1])
        image = QImage(table.data, 1, len(table), 4, QImage.Format.Format_RGBA8888)
        painter.drawImage(bar, image)
        painter.setPen(look.colour(self._theme.faint))
        painter.drawRect(bar)
        self._tips(painter, bar)
        painter.setPen(look.colour(self._theme.muted))
        ticks = nice_ticks(self.low, self.high, max(2, int(bar.height() / 42)))
        for tick, text in zip(ticks, tick_texts(ticks), strict=True):
            y = bar.bottom() - bar.height() * (tick - self.low) / (self.high - self.low)
            painter.drawLine(QPointF(bar.right(), y), QPointF(bar.right() + 4, y))
            place = QRectF(bar.right() + 7, y - 10, self.width() - bar.right() - 7, 20)
            painter.drawText(place, Qt.AlignmentFlag.AlignVCenter, text)

    def _tips(self, painter: QPainter, bar: QRectF) -> None:
        """Triangles in the end colours where values lie beyond."""
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        ends = ((self.above, bar.top(), -1, -1), (self.below, bar.bottom(), 1, 0))
        for beyond, y, way, which in ends:
            if beyond:
                base, point = y + 2 * way, QPointF(bar.center().x(), y + way * (self.TIP - 1))
                tip = QPolygonF([QPointF(bar.left(), base), QPointF(bar.right(), base), point])
                r, g, b = (int(v) for v in self._table[which][:3])
                painter.setBrush(look.colour(f"#{r:02x}{g:02x}{b:02x}"))
                painter.drawPolygon(tip)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing, False)

    # -- dragging

    def mousePressEvent(self, event: QMouseEvent) -> None:
        if event.button() == Qt.MouseButton.LeftButton:
            y = event.position().y()
            self._grip = (y, self.low, self.high, y < self.height() / 2)

    def mouseMoveEvent(self, event: QMouseEvent) -> None:
        if self._grip is None:
            return
        start, low, high, upper = self._grip
        span = high - low
        move = (start - event.position().y()) / max(self._area().height(), 1.0) * span
        if upper:
            self.dragged.emit(low, max(high + move, low + 0.02 * span))
        else:
            self.dragged.emit(min(low + move, high - 0.02 * span), high)

    def mouseReleaseEvent(self, event: QMouseEvent) -> None:
        if self._grip is not None and event.button() == Qt.MouseButton.LeftButton:
            self._grip = None
            self.released.emit()


class LimitField(QLineEdit):
    """A number that comes back as it was if what is typed is none."""

    entered = Signal(float)

    def __init__(self, what: str) -> None:
        super().__init__()
        self._shown = ""
        self.setAccessibleName(what)
        self.setToolTip(f"{what}: type a number and press Enter")
        self.setMaximumWidth(74)
        self.editingFinished.connect(self._read)

    def show_text(self, text: str) -> None:
        self._shown = text
        if not (self.hasFocus() and self.isModified()):
            self.setText(text)

    def restore(self) -> None:
        self.setText(self._shown)

    def _read(self) -> None:
        text = self.text().strip().replace(",", ".").replace("−", "-")
        changed = self.isModified() and text != self._shown
        self.setModified(False)
        try:
            value = float(text)
        except ValueError:
            value = math.nan
        if changed and math.isfinite(value):
            self.entered.emit(value)
        else:
            self.restore()


class ColourBar(QWidget):
    """Bar, limits, unit and reset. Limits are in core units at its border."""

    limits_edited = Signal(object)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._limits: Limits = (0.0, 1.0)
        self._robust = True
        self._core_unit, self.unit, self._factor = "", "", 1.0
        self.gradient = Gradient()
        self.upper, self.lower = LimitField("Upper limit"), LimitField("Lower limit")
        self._unit_label, self._rule = QLabel(), look.toned(QLabel(), "muted")
        self.reset = QToolButton()
        self.reset.setText("2–98 %")
        self.reset.setToolTip("Back to robust limits: the 2nd and 98th percentile")
        self.reset.setToolButtonStyle(Qt.ToolButtonStyle.ToolButtonTextBesideIcon)
        box = QVBoxLayout(self)
        box.setContentsMargins(0, 0, 0, 0)
        box.setSpacing(4)
        self._column = (self._unit_label, self.upper, self.gradient, self.lower, self._rule,
                        self.reset)  # fmt: skip
        for widget in self._column:
            box.addWidget(widget, 1 if widget is self.gradient else 0)
        self.setFixedWidth(78)
        self.gradient.dragged.connect(lambda low, high: self._edit(low, high))
        self.upper.entered.connect(lambda value: self._edit(self._limits[0] * self._factor, value))
        self.lower.entered.connect(lambda value: self._edit(value, self._limits[1] * self._factor))
        self.reset.clicked.connect(lambda: self.limits_edited.emit(None))

    def show_limits(self, limits: Limits, core_unit: str, robust: bool, reach: Limits) -> None:
        """Show limits in core units; `reach` is the smallest and largest value of the map."""
        self._limits, self._robust = limits, robust
        self._core_unit = core_unit
        size = max(abs(limits[0]), abs(limits[1]))
        self.unit, self._factor = units.best_unit(size, core_unit)
        low, high = (v * self._factor for v in limits)
        empty = math.isnan(reach[0])
        self.gradient.setEnabled(not empty)
        if empty:  # limits of nothing would look like a finding
            low = high = math.nan
        self.gradient.show_limits(low, high, reach[0] < limits[0], reach[1] > limits[1])
        for field, value in ((self.upper, high), (self.lower, low)):
            field.show_text(shown_limit(value, high - low))
            field.setEnabled(not empty)
        self._unit_label.setText(self.unit or "no unit")
        self._rule.setText("no values" if empty else "robust" if robust else "chosen")
        self.reset.setEnabled(not robust)

    def set_look(self, theme: Theme, table: np.ndarray) -> None:
        metrics = QFontMetrics(look.small_font())
        for widget in self._column:
            look.shrink(widget)
        self.upper.setFixedHeight(metrics.height() + 8)
        self.lower.setFixedHeight(metrics.height() + 8)
        self.reset.setIcon(look.icon("reset", theme))
        self.gradient.set_look(theme, table)

    def _edit(self, low: float, high: float) -> None:
        """Limits in the unit shown, as the person put them; impossible ones are refused."""
        if math.isfinite(low) and math.isfinite(high) and low < high:
            self.limits_edited.emit((low / self._factor, high / self._factor))
        else:
            self.upper.restore()
            self.lower.restore()
