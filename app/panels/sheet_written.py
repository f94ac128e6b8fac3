"""What was written, what was read back from the file, and what to do about a warning."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from PySide6.QtCore import QSize, Qt, QUrl
from PySide6.QtGui import QDesktopServices
from PySide6.QtWidgets import QGridLayout, QLabel, QPushButton, QVBoxLayout, QWidget

from ...core.figures.parts import WARNING
from .. import theme as look
from ..theme import LIGHT, SPACE, Theme, toned

NOT_DRAWN = "not drawn"
"""What was checked, of a panel that holds a message in place of what was wanted."""
NOTHING = "Nothing has been written yet. Write… asks where to, and reads back what is there."
REPAIRS = {
    "width": "Choose a width of the preset on the page Sheet.",
    "height": "Give the sheet a smaller height on the page Sheet, or fewer rows: copy it and take "
              "panels away from each.",
    "text size": "Make the font larger on the page Sheet, or give the panels more room: fewer "
                 "columns, or a greater width.",
    "text": "Write it anew as PDF or SVG.",
    "fonts": "Write it anew as PDF; if that does not help, install another typeface.",
    "resolution": "Leave the resolution on the page Sheet empty, or type a higher one.",
    "lines": "Take the preset of the publisher that it is for.",
    "format": "Write it again as that.",
    "transparency": "PNG and TIFF are safe everywhere.",
}  # fmt: skip
"""What was checked -> what to do about a warning, where its words do not say it themselves."""


class WrittenPage(QWidget):
    """See the module. It is passive."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.written: Any = None
        self.lines: list[tuple[str, str]] = []
        self._theme = LIGHT
        self.head = QLabel(NOTHING, self)
        self.head.setWordWrap(True)
        self.head.setTextFormat(Qt.TextFormat.PlainText)
        self.head.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        self.show_folder = QPushButton("Show the folder", self)
        self.show_folder.clicked.connect(self._open_folder)
        self.show_folder.hide()
        self._grid = QGridLayout()
        self._grid.setColumnStretch(1, 1)
        self._grid.setHorizontalSpacing(SPACE)
        box = QVBoxLayout(self)
        box.setContentsMargins(SPACE, SPACE, SPACE, SPACE)
        box.setSpacing(SPACE)
        box.addWidget(self.head)
        box.addLayout(self._grid)
        box.addWidget(self.show_folder, 0, Qt.AlignmentFlag.AlignLeft)
        box.addStretch(1)

    def forget(self) -> None:
        """What was written was of another map."""
        self.written = None
        self.head.setText(NOTHING)
        self.show_folder.hide()
        self._show_checks()

    def show_written(self, written: Any) -> None:
        """Core's `Written`."""
        self.written = written
        paths = written.paths
        more = f" and {len(paths) - 1} files with numbers" if len(paths) > 1 else ""
        warned = len(written.warnings)
        verdict = "Everything that was read back is as the preset asks." if not warned else (
            "One thing is not as the preset asks." if warned == 1 else
            f"{warned} things are not as the preset asks.")  # fmt: skip
        if not written.checks:
            verdict = "Nothing of it was read back."
        empty = sum(check.what == NOT_DRAWN for check in written.checks)
        if empty:
            verdict = (f"{'One panel' if empty == 1 else f'{empty} panels'} could not be drawn: "
                       "this is no finished figure.")  # fmt: skip
        self.head.setText(f"{paths[0].name}{more} in {paths[0].parent}. {verdict}")
        self.show_folder.show()
        self._show_checks()

    def _show_checks(self) -> None:
        while (item := self._grid.takeAt(0)) is not None:
            item.widget().deleteLater()
        self.lines = []
        for row, check in enumerate(self.written.checks if self.written else ()):
            bad = check.state == WARNING
            sign = QLabel(self)
            drawn = look.icon("warning" if bad else "good", self._theme)
            sign.setPixmap(drawn.pixmap(QSize(18, 18)))
            sign.setToolTip("warning" if bad else "as it should be")
            repair = REPAIRS.get(check.what, "") if bad else ""
            words = f"{check.words} {repair}".rstrip()
            label = QLabel(words, self)
            label.setWordWrap(True)
            label.setTextFormat(Qt.TextFormat.PlainText)
            label.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
            self._grid.addWidget(sign, row, 0, Qt.AlignmentFlag.AlignTop)
            self._grid.addWidget(toned(label, "strong") if bad else label, row, 1)
            self.lines.append((check.state, words))

    def set_theme(self, theme: Theme) -> None:
        self._theme = theme
        self._show_checks()

    def _open_folder(self) -> None:
        folder = Path(self.written.paths[0]).parent
        QDesktopServices.openUrl(QUrl.fromLocalFile(str(folder)))
