"""A strip of small maps, one per channel, to choose from.

The pictures are drawn one by one between events, the chosen one first, so that a map that fills
from coarse to fine never waits for its thumbnails.
"""

from __future__ import annotations

import numpy as np
from PySide6.QtCore import (
    QModelIndex,
    QPersistentModelIndex,
    QRect,
    QSignalBlocker,
    QSize,
    Qt,
    QTimer,
    Signal,
)
from PySide6.QtGui import QFontMetrics, QImage, QPainter, QPixmap, QResizeEvent
from PySide6.QtWidgets import (
    QListView,
    QListWidget,
    QListWidgetItem,
    QStyle,
    QStyledItemDelegate,
    QStyleOptionViewItem,
    QVBoxLayout,
    QWidget,
)

from ...core.analysis import Analysis
from ...core.calibration import missing
from ...core.channels import CHANNELS, Channel, asked_for
from .. import theme as look
from ..theme import LIGHT, Theme
from . import scales
from .map_items import paint_hatch

Array = np.ndarray
PICTURE = 72
"""Side of a preview [px]."""
MOST = 96
"""Pixels of the map along a preview, at most."""
PAD = 5
SHORT = {
    "modulus": "Modulus E", "reduced_modulus": "Modulus E*", "contact_height": "Contact height",
    "work_of_adhesion": "Adhesion work", "dissipation": "Dissipation", "stiffness": "Stiffness",
    "indentation": "Indentation", "noise": "Noise", "baseline_slope": "Baseline slope",
    "residual": "Residual", "n_points": "Samples", "drag": "Branch offset", "drift": "Drift",
}  # fmt: skip
"""Labels that would not fit under a preview, shortened; the tool tip has them in full."""


def preview_image(values: Array, channel: Channel) -> QImage:
    """A map as a small image in its colours, first row at the bottom; clear where no value is."""
    step = max(1, -(-max(values.shape) // MOST))
    few = np.asarray(values[::step, ::step], dtype=float)[::-1]
    index = scales.colour_index(few, *scales.robust_limits(few, channel.kind))
    table = np.concatenate([look.colour_table(channel.kind), np.zeros((1, 4), np.uint8)])
    rgba = np.ascontiguousarray(table[index])
    rows, cols = few.shape
    return QImage(rgba.data, cols, rows, 4 * cols, QImage.Format.Format_RGBA8888).copy()


class Cell(QStyledItemDelegate):
    """Draws one channel: picture, label, unit; the current one with a frame and a bar above."""

    theme: Theme = LIGHT
    current = ""

    def size_of(self, metrics: QFontMetrics) -> QSize:
        return QSize(PICTURE + 2 * PAD + 2, PICTURE + 2 * metrics.height() + 2 * PAD + 6)

    def sizeHint(self, option: QStyleOptionViewItem, index: QModelIndex | QPersistentModelIndex
                 ) -> QSize:  # fmt: skip
        return self.size_of(option.fontMetrics)

    def paint(self, painter: QPainter, option: QStyleOptionViewItem,
              index: QModelIndex | QPersistentModelIndex) -> None:  # fmt: skip
        theme, area = self.theme, option.rect
        enabled = bool(option.state & QStyle.StateFlag.State_Enabled)
        current = index.data(Qt.ItemDataRole.UserRole) == self.current
        left = area.center().x() - PICTURE // 2 + 1
        picture = QRect(left, area.top() + PAD + 3, PICTURE, PICTURE)
        painter.save()
        if current:
            painter.fillRect(area.adjusted(2, 0, -2, 0), look.colour(theme.raised))
            painter.fillRect(QRect(area.left() + 2, area.top(), area.width() - 4, 3),
                             look.colour(theme.accent))  # fmt: skip
        self._picture(painter, picture, index.data(Qt.ItemDataRole.UserRole + 1), enabled)
        painter.setPen(look.colour(theme.accent if current else theme.line))
        painter.drawRect(picture.adjusted(-1, -1, 0, 0))
        self._words(painter, option, picture, index)
        painter.restore()

    def _picture(self, painter: QPainter, place: QRect, pixmap: QPixmap | None, enabled: bool
                 ) -> None:  # fmt: skip
        paint_hatch(painter, place.toRectF(), self.theme)
        if pixmap is None or not enabled:
            return
        size = pixmap.size().scaled(place.size(), Qt.AspectRatioMode.KeepAspectRatio)
        fitted = QRect(0, 0, max(1, size.width()), max(1, size.height()))
        fitted.moveCenter(place.center())
        painter.fillRect(place, look.colour(self.theme.panel))
        paint_hatch(painter, fitted.toRectF(), self.theme)
        painter.drawPixmap(fitted, pixmap)

    def _words(self, painter: QPainter, option: QStyleOptionViewItem, picture: QRect,
               index: QModelIndex | QPersistentModelIndex) -> None:  # fmt: skip
        theme, font = self.theme, option.font
        enabled = bool(option.state & QStyle.StateFlag.State_Enabled)
        font.setBold(index.data(Qt.ItemDataRole.UserRole) == self.current)
        painter.setFont(font)
        line = QFontMetrics(font).height()
        place = QRect(option.rect.left() + 1, picture.bottom() + 3, option.rect.width() - 2, line)
        painter.setPen(look.colour(theme.ink if enabled else theme.faint))
        right = Qt.TextElideMode.ElideRight
        text = QFontMetrics(font).elidedText(index.data(), right, place.width())
        painter.drawText(place, Qt.AlignmentFlag.AlignHCenter, text)
        font.setBold(False)
        painter.setFont(font)
        painter.setPen(look.colour(theme.muted if enabled else theme.faint))
        painter.drawText(place.translated(0, line), Qt.AlignmentFlag.AlignHCenter,
                         index.data(Qt.ItemDataRole.UserRole + 2))  # fmt: skip
        if option.state & QStyle.StateFlag.State_HasFocus:
            painter.setPen(look.colour(theme.accent))
            painter.drawRect(option.rect.adjusted(2, 0, -3, -1))


class ChannelStrip(QWidget):
    """Previews of all channels. `chosen` tells the channel that the person chose."""

    chosen = Signal(str)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.list = QListWidget()
        self.list.setViewMode(QListView.ViewMode.IconMode)
        self.list.setFlow(QListView.Flow.LeftToRight)
        self.list.setWrapping(False)
        self.list.setMovement(QListView.Movement.Static)
        self.list.setResizeMode(QListView.ResizeMode.Adjust)
        self.list.setVerticalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.list.setHorizontalScrollMode(QListView.ScrollMode.ScrollPerPixel)
        self.list.setSpacing(0)
        self.list.setUniformItemSizes(True)
        self.list.setFrameShape(QListView.Shape.NoFrame)
        self.list.setAccessibleName("Channels")
        self.cell = Cell(self.list)
        self.list.setItemDelegate(self.cell)
        self.items = {name: self._add(channel) for name, channel in CHANNELS.items()}
        box = QVBoxLayout(self)
        box.setContentsMargins(0, 0, 0, 0)
        box.addWidget(self.list)
        self.setFocusProxy(self.list)
        self.list.currentItemChanged.connect(self._on_current)
        self._analysis: Analysis | None = None
        self._reasons: dict[str, str] = {}
        self._waiting: list[str] = []
        self._timer = QTimer(self, interval=0)
        self._timer.timeout.connect(self._draw_next)
        self.set_theme(LIGHT)

    def _add(self, channel: Channel) -> QListWidgetItem:
        item = QListWidgetItem(SHORT.get(channel.name, channel.label), self.list)
        item.setData(Qt.ItemDataRole.UserRole, channel.name)
        item.setData(Qt.ItemDataRole.UserRole + 2, channel.unit or "no unit")
        item.setData(Qt.ItemDataRole.AccessibleTextRole, channel.title)
        item.setToolTip(_tip(channel))
        return item

    # -- what is shown

    def show_analysis(self, analysis: Analysis | None) -> None:
        """Draw all previews anew, between events; None empties them."""
        self._analysis = analysis
        if analysis is None:
            self._waiting.clear()
            self._timer.stop()
            for item in self.items.values():
                item.setData(Qt.ItemDataRole.UserRole + 1, None)
            return
        asked = asked_for(analysis.settings)
        for name, item in self.items.items():
            item.setHidden(name not in asked)
        self._refit()
        lacks = missing(analysis.map, analysis.settings)
        self._reasons = {path.partition(".")[2]: sentence for path, sentence in lacks}
        stale = [name for name in self._waiting if name in self.items]
        rest = [name for name in self.items if name not in stale]
        first = [name for name in (self.current,) if name]
        self._waiting = [n for n in dict.fromkeys([*first, *stale, *rest]) if n in asked]
        self._timer.start()

    def set_current(self, name: str) -> None:
        """Mark a channel as the one on the map."""
        if name in self.items and name != self.current:
            self.cell.current = name
            with QSignalBlocker(self.list):
                self.list.setCurrentRow(-1)  # Qt refuses an item that can't be computed
                self.list.setCurrentItem(self.items[name])
            self.list.viewport().update()

    def set_theme(self, theme: Theme) -> None:
        """Take the colours and the font anew."""
        self.cell.theme = theme
        look.shrink(self.list)
        size = self.cell.size_of(QFontMetrics(self.list.font()))
        self.list.setGridSize(size)
        self._refit()
        self.list.viewport().update()

    def _refit(self) -> None:
        """Room for the scroll bar only where the window is too narrow for all channels."""
        size = self.list.gridSize()
        shown = sum(not item.isHidden() for item in self.items.values())
        narrow = self.width() < size.width() * shown + 2
        bar = self.list.horizontalScrollBar().sizeHint().height() if narrow else 0
        self.setFixedHeight(size.height() + bar + 2)

    def resizeEvent(self, event: QResizeEvent) -> None:
        super().resizeEvent(event)
        self._refit()

    @property
    def current(self) -> str:
        """The marked channel, even if it can't be computed; empty if there is none."""
        return self.cell.current

    def finish(self) -> None:
        """Draw at once what is still waiting (for pictures of the window and for tests)."""
        while self._waiting:
            self._draw_next()

    # -- inside

    def _draw_next(self) -> None:
        if not self._waiting or self._analysis is None:
            self._timer.stop()
            return
        name = self._waiting.pop(0)
        channel, item, analysis = CHANNELS[name], self.items[name], self._analysis
        values = analysis.preview(name)
        empty = analysis.complete and not np.isfinite(values).any()
        with QSignalBlocker(self.list):
            pixmap = QPixmap.fromImage(preview_image(values, channel))
            item.setData(Qt.ItemDataRole.UserRole + 1, pixmap)
            flags = Qt.ItemFlag.ItemIsSelectable | Qt.ItemFlag.ItemIsEnabled
            item.setFlags(Qt.ItemFlag.NoItemFlags if empty else flags)
            item.setToolTip(_tip(channel, self._why(channel) if empty else ""))
        self.list.viewport().update()

    def _why(self, channel: Channel) -> str:
        said = [self._reasons[need] for need in channel.needs if need in self._reasons]
        if "tip" in channel.needs:
            said += [self._reasons[n] for n in ("radius", "half_angle") if n in self._reasons]
        return " ".join(dict.fromkeys(said)) or "No curve of this map gave a value."

    def _on_current(self, item: QListWidgetItem | None, _: QListWidgetItem | None) -> None:
        if item is not None:
            self.cell.current = item.data(Qt.ItemDataRole.UserRole)
            self.list.viewport().update()
            self.chosen.emit(self.cell.current)

    def sizeHint(self) -> QSize:
        return QSize(640, self.height())


def _tip(channel: Channel, reason: str = "") -> str:
    lines = [channel.title, channel.formula]
    return "\n".join([*lines, "", reason] if reason else lines)
