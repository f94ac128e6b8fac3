"""What is seen without a map: the samples, the maps opened last, and how to open one's own."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from PySide6.QtCore import QSize, Qt, Signal
from PySide6.QtGui import QIcon, QImage, QPixmap
from PySide6.QtWidgets import (
    QGridLayout,
    QHBoxLayout,
    QLabel,
    QPushButton,
    QScrollArea,
    QSizePolicy,
    QToolButton,
    QVBoxLayout,
    QWidget,
)

from .. import icons, sample_maps
from . import recent
from . import theme as look
from .requests import Gone, Peek, PeekAt
from .theme import LIGHT, SPACE, Theme

SENTENCE = ("Maps of force-distance curves on polymers: a curve and a number at every pixel, and a "
            "reason to believe it.")  # fmt: skip
PICTURE = 196


def sample_paths() -> list[Path]:
    """The maps that come with the program."""
    folder = Path(sample_maps.__file__).parent
    return [p for p in sorted(folder.glob("*.h5")) if not p.name.endswith(".truth.h5")]


def picture(overview: np.ndarray, size: int) -> QPixmap:
    """A height map as a picture, first row at the bottom; clear where no value is."""
    finite = overview[np.isfinite(overview)]
    low, high = np.percentile(finite, [2.0, 98.0]) if finite.size else (0.0, 1.0)
    share = (overview[::-1] - low) / ((high - low) or 1.0)
    table = np.concatenate([look.colour_table("height"), np.zeros((1, 4), np.uint8)])
    index = np.where(np.isfinite(share), np.clip(share, 0.0, 1.0) * 254.0, 255.0).astype(int)
    rgba = np.ascontiguousarray(table[index])
    rows, cols = overview.shape
    image = QImage(rgba.data, cols, rows, 4 * cols, QImage.Format.Format_RGBA8888)
    return QPixmap.fromImage(image).scaled(
        size, size, Qt.AspectRatioMode.KeepAspectRatio, Qt.TransformationMode.FastTransformation
    )


class Card(QToolButton):
    """A sample to open: a picture and its title in two lines."""

    def __init__(self, path: Path, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.path = path
        self.setToolButtonStyle(Qt.ToolButtonStyle.ToolButtonTextUnderIcon)
        self.setIconSize(QSize(PICTURE, PICTURE))
        self.setFixedSize(PICTURE + 16, PICTURE + 62)
        self._blank()
        self.show_title(path.stem.replace("_", " ").capitalize())

    def _blank(self) -> None:
        blank = QPixmap(PICTURE, PICTURE)
        blank.fill(Qt.GlobalColor.transparent)
        self.setIcon(QIcon(blank))

    def show_title(self, title: str) -> None:
        head, _, tail = title.partition(": ")
        tail = tail.removesuffix(")").partition(" (")[0] if tail else ""
        fit = self.fontMetrics().elidedText(tail, Qt.TextElideMode.ElideRight, PICTURE + 6)
        self.setText(f"{head}\n{fit}".rstrip().replace("&", "&&"))
        self.setToolTip(f"{title}\n{self.path.name}")

    def show_peek(self, peek: Peek) -> None:
        self.show_title(peek.title)
        if peek.problem:
            self.setToolTip(peek.problem)
        elif peek.overview is not None:
            self.setIcon(QIcon(picture(np.asarray(peek.overview), PICTURE)))


class RecentRow(QWidget):
    """A map opened before: its name and folder; grey if it is gone."""

    opened = Signal(object)
    forgotten = Signal(object)

    def __init__(self, path: Path, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.path = path
        self.button = QPushButton(path.name, self)
        self.button.setFlat(True)
        self.button.setStyleSheet("text-align: left; padding: 3px 0;")
        self.button.setToolTip(str(path))
        self.place = look.toned(QLabel(self), "muted")
        self.place.setTextFormat(Qt.TextFormat.PlainText)
        self.place.setToolTip(str(path))
        self._say(str(path.parent))
        self.away = QToolButton(self)
        self.away.setAutoRaise(True)
        self.away.setToolTip("Take this map off the list")
        self.away.setAccessibleName(f"Take {path.name} off the list")
        self.button.clicked.connect(lambda: self.opened.emit(path))
        self.away.clicked.connect(lambda: self.forgotten.emit(path))
        row = QHBoxLayout(self)
        row.setContentsMargins(0, 0, 0, 0)
        row.setSpacing(SPACE)
        self.button.setFixedWidth(240)
        row.addWidget(self.button)
        row.addWidget(self.place, 1)
        row.addWidget(self.away)

    def _say(self, where: str) -> None:
        metrics = self.place.fontMetrics()
        self.place.setText(metrics.elidedText(where, Qt.TextElideMode.ElideMiddle, 420))

    def show_gone(self) -> None:
        """Grey the row: the map is not there any more."""
        self.button.setEnabled(False)
        self._say(f"not there any more: {self.path.parent}")


class StartPage(QWidget):
    """Signals: open_asked, and chosen(path) for a sample or a map opened before."""

    open_asked = Signal()
    chosen = Signal(object)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._theme = LIGHT
        self.cards = {path: Card(path) for path in sample_paths()}
        for path, card in self.cards.items():
            card.clicked.connect(lambda _=False, p=path: self.chosen.emit(p))
        self.recent_rows: list[RecentRow] = []
        self._build()
        self.show_recent()

    def _build(self) -> None:
        inside = QWidget()
        inside.setMaximumWidth(840)
        column = QVBoxLayout(inside)
        column.setContentsMargins(4 * SPACE, 5 * SPACE, 4 * SPACE, 3 * SPACE)
        column.setSpacing(2 * SPACE)
        column.addLayout(self._head())
        column.addWidget(self._heading("Samples to try"))
        samples = QHBoxLayout()
        samples.setSpacing(2 * SPACE)
        for card in self.cards.values():
            samples.addWidget(card)
        if not self.cards:
            samples.addWidget(look.toned(QLabel("No sample is installed."), "muted"))
        samples.addStretch(1)
        column.addLayout(samples)
        self.recent_heading = self._heading("Opened before")
        column.addWidget(self.recent_heading)
        self.recent_box = QVBoxLayout()
        self.recent_box.setSpacing(2)
        column.addLayout(self.recent_box)
        column.addStretch(1)
        outer = QWidget()
        around = QHBoxLayout(outer)
        around.setContentsMargins(0, 0, 0, 0)
        around.addStretch(1)
        around.addWidget(inside, 8)
        around.addStretch(1)
        area = QScrollArea(self)
        area.setWidget(outer)
        area.setWidgetResizable(True)
        area.setFrameShape(QScrollArea.Shape.NoFrame)
        box = QVBoxLayout(self)
        box.setContentsMargins(0, 0, 0, 0)
        box.addWidget(area)

    def _head(self) -> QGridLayout:
        mark, name = QLabel(), QLabel("Palpate")
        mark.setPixmap(QIcon(str(icons.path("palpate"))).pixmap(QSize(72, 72)))
        font = name.font()
        font.setPointSizeF(font.pointSizeF() * 2.0)
        name.setFont(font)
        words = look.toned(QLabel(SENTENCE), "muted")
        words.setWordWrap(True)
        self.open_button = QPushButton("Open a map…")
        self.open_button.setMinimumHeight(34)
        self.open_button.clicked.connect(self.open_asked)
        hint = look.toned(QLabel("or drop a file anywhere on this window"), "muted")
        grid = QGridLayout()
        grid.setHorizontalSpacing(2 * SPACE)
        grid.setVerticalSpacing(SPACE // 2)
        grid.addWidget(mark, 0, 0, 2, 1, Qt.AlignmentFlag.AlignTop)
        grid.addWidget(name, 0, 1)
        grid.addWidget(words, 1, 1)
        line = QHBoxLayout()
        line.setSpacing(SPACE)
        line.addWidget(self.open_button)
        line.addWidget(hint)
        line.addStretch(1)
        grid.setRowMinimumHeight(2, 2 * SPACE)
        grid.addLayout(line, 3, 1)
        grid.setColumnStretch(1, 1)
        return grid

    def _heading(self, text: str) -> QLabel:
        label = look.toned(QLabel(text), "strong")
        label.setSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Fixed)
        return label

    def show_recent(self) -> None:
        """Read the list of maps opened before."""
        for row in self.recent_rows:
            self.recent_box.removeWidget(row)
            row.hide()
            row.deleteLater()
        self.recent_rows = [RecentRow(path) for path in recent.paths()]
        for row in self.recent_rows:
            row.opened.connect(self.chosen)
            row.forgotten.connect(self._forget)
            row.away.setIcon(look.icon("cancel", self._theme))
            self.recent_box.addWidget(row)
        self.recent_heading.setVisible(bool(self.recent_rows))

    def _forget(self, path: Path) -> None:
        recent.remove(path)
        self.show_recent()

    @property
    def wanted(self) -> PeekAt:
        """What the worker should look at for this page."""
        return PeekAt(tuple(self.cards), tuple(row.path for row in self.recent_rows))

    def show_seen(self, seen: Peek | Gone) -> None:
        """Show what the worker saw."""
        if isinstance(seen, Peek) and seen.path in self.cards:
            self.cards[seen.path].show_peek(seen)
        elif isinstance(seen, Gone):
            for row in self.recent_rows:
                if row.path in seen.paths:
                    row.show_gone()

    def set_theme(self, theme: Theme) -> None:
        self._theme = theme
        for row in self.recent_rows:
            row.away.setIcon(look.icon("cancel", theme))
