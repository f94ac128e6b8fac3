"""What the four pages of the panel *Law* share: their frame, their switches and their signs."""

from __future__ import annotations

import math
from collections.abc import Mapping

from PySide6.QtCore import QRectF, Qt, Signal
from PySide6.QtGui import QIcon, QPainter, QPen, QPixmap
from PySide6.QtWidgets import (
    QButtonGroup,
    QFrame,
    QHBoxLayout,
    QLabel,
    QScrollArea,
    QSizePolicy,
    QToolButton,
    QVBoxLayout,
    QWidget,
)

from ...core import units
from .. import theme as look
from ..theme import LIGHT, SPACE, Theme
from .law_table import Table
from .values import paint_sign

WORDS = {"fits": "fits", "strained": "strained", "broken": "broken", "unknown": "not known"}
"""A verdict in words; its sign stands beside it."""


def verdict_icon(verdict: str, theme: Theme) -> QIcon:
    """The sign of a verdict: a tick, the signs of a mild and of a severe doubt, or a ring."""
    side, ratio = 16, 3
    picture = QPixmap(side * ratio, side * ratio)
    picture.setDevicePixelRatio(ratio)
    picture.fill(Qt.GlobalColor.transparent)
    painter = QPainter(picture)
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    if verdict in ("strained", "broken"):
        paint_sign(painter, QRectF(0, 0, side, side), verdict == "broken", theme)
    else:
        pen = QPen(look.colour(theme.ink if verdict == "fits" else theme.muted), 1.8)
        pen.setCapStyle(Qt.PenCapStyle.RoundCap)
        painter.setPen(pen)
        if verdict == "fits":
            painter.drawPolyline([_at(3, 8.5), _at(6.5, 12), _at(13, 4)])
        else:
            painter.drawEllipse(QRectF(4.5, 4.5, 7, 7))
    painter.end()
    return QIcon(picture)


def _at(x: float, y: float):  # noqa: ANN202
    from PySide6.QtCore import QPointF

    return QPointF(x, y)


def percent(share: float, signed: bool = False) -> str:
    """A share as per cent, ``+12 %``; an en dash if there is none."""
    if not math.isfinite(share):
        return "–"
    value = 100.0 * share
    if value == 0.0:
        return "0 %"
    places = 0 if abs(value) >= 99.95 else 1
    return f"{value:{'+' if signed else ''}.{places}f} %".replace("-", "−")


def plain(value: float, figures: int = 3) -> str:
    """A number with a few significant figures; an en dash if there is none."""
    return f"{value:.{figures}g}".replace("-", "−") if math.isfinite(value) else "–"


def number_in(value: float, error: float, core_unit: str, shown: str) -> str:
    """A number in a unit that stands somewhere else."""
    text = units.text_of(value, core_unit, error, unit=shown)
    return text.removesuffix(f" {shown}")


class Switch(QWidget):
    """A few choices side by side, one of them taken. Signal chosen(name): by the person only."""

    chosen = Signal(str)

    def __init__(self, choices: Mapping[str, str], parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.buttons: dict[str, QToolButton] = {}
        group, row = QButtonGroup(self), QHBoxLayout(self)
        row.setContentsMargins(0, 0, 0, 0)
        row.setSpacing(SPACE // 2)
        for name, words in choices.items():
            button = QToolButton(self)
            button.setText(words)
            button.setCheckable(True)
            button.clicked.connect(lambda _=False, n=name: self.chosen.emit(n))
            group.addButton(button)
            row.addWidget(button)
            self.buttons[name] = button
        row.addStretch(1)
        next(iter(self.buttons.values())).setChecked(True)

    @property
    def current(self) -> str:
        return next(name for name, button in self.buttons.items() if button.isChecked())

    def set_current(self, name: str) -> None:
        self.buttons[name].setChecked(True)


class Page(QWidget):
    """Head and foot that stay, a body between them that scrolls, and a line for a reason."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.theme: Theme = LIGHT
        self.head, self.below, self.foot = QVBoxLayout(), QVBoxLayout(), QHBoxLayout()
        self.reason = wrapped("")
        self.filler = QWidget(self)  # in the place of the body while there is only a reason
        self.inside = QWidget(self)
        self.body = QVBoxLayout(self.inside)
        self.body.setContentsMargins(0, 0, SPACE // 2, 0)
        self.body.setSpacing(SPACE)
        self.area = QScrollArea(self)
        self.area.setWidget(self.inside)
        self.area.setWidgetResizable(True)
        self.area.setFrameShape(QFrame.Shape.NoFrame)
        self.area.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.area.setVerticalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOn)
        box = QVBoxLayout(self)
        box.setContentsMargins(SPACE, SPACE // 2, SPACE // 2, SPACE // 2)
        box.setSpacing(SPACE // 2)
        box.addLayout(self.head)
        box.addWidget(self.reason)
        box.addWidget(self.area, 1)
        box.addWidget(self.filler, 1)
        box.addLayout(self.below)
        box.addLayout(self.foot)
        self._reasoned(False)

    def tables(self) -> list[Table]:
        return self.findChildren(Table)

    def set_theme(self, theme: Theme) -> None:
        self.theme = theme
        for table in self.tables():
            table.set_theme(theme)

    # -- the three states: numbers, waiting for them, a reason why there are none

    def show_numbers(self) -> None:
        """The body holds what belongs to the picked pixel and the settings."""
        self._reasoned(False)
        self.show_again()

    def show_again(self) -> None:
        """What is shown holds after all."""
        self.inside.setEnabled(True)
        self.show_buttons()

    def show_buttons(self) -> None:
        """Switch the buttons on or off as what is shown allows."""

    def show_waiting(self) -> None:
        """What is shown belongs to another pixel or other settings: grey until it is renewed."""
        self.inside.setEnabled(False)

    def show_reason(self, words: str) -> None:
        """Why there are no numbers; the old ones go."""
        self.clear()
        self.reason.setText(words)
        self._reasoned(True)

    def _reasoned(self, on: bool) -> None:
        self.reason.setVisible(on)
        self.filler.setVisible(on)
        self.area.setVisible(not on)

    def clear(self) -> None:
        for table in self.tables():
            table.fill([])


def wrapped(text: str, tone: str = "") -> QLabel:
    """A label that wraps and never makes its page wider."""
    label = QLabel(text)
    label.setWordWrap(True)
    label.setTextFormat(Qt.TextFormat.PlainText)
    label.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Minimum)
    return look.toned(label, tone) if tone else label
