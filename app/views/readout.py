"""The line under a map: where the pointer and the picked pixel are, and what stands there.

Each figure has its own place and width, so that nothing moves while the mouse does.
"""

from __future__ import annotations

from PySide6.QtGui import QFontMetrics
from PySide6.QtWidgets import QGridLayout, QLabel, QSizePolicy, QWidget

from .. import theme as look

FIELDS = (("row", "0000"), ("col", "0000"), ("x", "0000.0 nm"), ("y", "0000.0 nm"),
          ("value", "-0000.00 N/m"))  # fmt: skip
LINES = ("Pointer", "Picked")


class Readout(QWidget):
    """Two lines of figures: pointer and picked pixel."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        grid = QGridLayout(self)
        grid.setContentsMargins(0, 0, 0, 0)
        grid.setHorizontalSpacing(look.SPACE // 2)
        grid.setVerticalSpacing(0)
        self._cells: dict[tuple[str, str], QLabel] = {}
        self._all: list[QLabel] = []
        for at, line in enumerate(LINES):
            self._put(grid, at, 0, line, muted=True)
            for i, (name, _) in enumerate(FIELDS):
                shown = name if name != "value" else ""
                self._put(grid, at, 1 + 2 * i, shown, muted=True)
                self._cells[line, name] = self._put(grid, at, 2 + 2 * i, "–")
        grid.setColumnStretch(1 + 2 * len(FIELDS), 1)
        self.setSizePolicy(QSizePolicy.Policy.Minimum, QSizePolicy.Policy.Fixed)

    def _put(self, grid: QGridLayout, row: int, column: int, text: str, muted: bool = False
             ) -> QLabel:  # fmt: skip
        label = QLabel(text)
        if muted:
            look.toned(label, "muted")
        self._all.append(label)
        grid.addWidget(label, row, column)
        return label

    def refit(self) -> None:
        """Reserve the widths again, after the font has changed."""
        metrics = QFontMetrics(look.small_font())
        for label in self._all:
            look.shrink(label)
        for (_, name), label in self._cells.items():
            label.setFixedWidth(metrics.horizontalAdvance(dict(FIELDS)[name]) + 4)

    def show_pixel(self, line: str, texts: dict[str, str]) -> None:
        """Set the figures of one line; what is not given becomes a dash."""
        for name, _ in FIELDS:
            label, text = self._cells[line, name], texts.get(name, "–")
            if label.text() != text:
                label.setText(text)

    def text(self, line: str, name: str) -> str:
        return self._cells[line, name].text()
