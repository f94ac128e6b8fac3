"""The page *Range*: which curves, the views of the scan, what was found in words, the plateau."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QComboBox, QHBoxLayout, QLabel, QPushButton, QVBoxLayout, QWidget

from .. import theme as look
from ..theme import SPACE, Theme
from .range_view import RangeView

CURVE, MAP, COMPONENT = "curve", "map", "component"
"""Scopes; a component is "component 0" and so on."""
PLATEAU_TIP = ("Make the window that the plateau offers the fit window. It is the plateau's window "
               "with the smallest ±.")  # fmt: skip
NO_PLATEAU_TIP = "There is no plateau to use."


class RangePage(QWidget):
    """Signals, each only for what the person did
    ------------------------------------------
    scope_chosen : see `scope`
    chosen(i, j) : a window of the grid is to be the fit window
    plateau_wanted
    """

    scope_chosen = Signal()
    chosen = Signal(int, int)
    plateau_wanted = Signal()

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.scopes = QComboBox(self)
        self.scopes.setAccessibleName("Curves that the windows are tried on")
        self.scopes.setToolTip("One curve with its own ±, or the median over a sample of at most "
                               "200 trusted curves")  # fmt: skip
        self.scopes.activated.connect(lambda _: self.scope_chosen.emit())
        self.use = QPushButton("Use the plateau", self)
        self.use.clicked.connect(self.plateau_wanted)
        self.view = RangeView(self)
        self.view.chosen.connect(self.chosen)
        self.sentence, self.reason = QLabel(self), QLabel(self)
        self.sentence.setAccessibleName("What the windows tell")
        for label in (self.sentence, self.reason):
            label.setWordWrap(True)
            label.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        self.reason.setAlignment(Qt.AlignmentFlag.AlignCenter)
        row = QHBoxLayout()
        row.setSpacing(SPACE)
        row.addWidget(QLabel("Windows on", self))
        row.addWidget(self.scopes, 1)
        row.addWidget(self.use)
        box = QVBoxLayout(self)
        box.setContentsMargins(SPACE, SPACE, SPACE, SPACE)
        box.setSpacing(SPACE)
        box.addLayout(row)
        for widget, stretch in ((self.reason, 1), (self.sentence, 0), (self.view, 1)):
            box.addWidget(widget, stretch)
        self.show_scopes([])
        self.show_reason("")

    @property
    def scope(self) -> str:
        return self.scopes.currentData()

    def show_scopes(self, components: Sequence[str]) -> None:
        """What can be chosen; components that are not there yet stand as one entry that says so."""
        wanted = [("this curve", CURVE), ("sample of the map", MAP)]
        wanted += [(title, f"{COMPONENT} {k}") for k, title in enumerate(components)]
        if not components:
            wanted.append(("a component", f"{COMPONENT} 0"))
        if [(self.scopes.itemText(i), self.scopes.itemData(i))
                for i in range(self.scopes.count())] == wanted:  # fmt: skip
            return
        kept = self.scopes.currentData()
        self.scopes.clear()
        for text, key in wanted:
            self.scopes.addItem(text, key)
        self.scopes.setCurrentIndex(max(self.scopes.findData(kept), 0))

    def show_scan(self, scan: Any) -> None:
        self.view.show_scan(scan)
        some = "" if scan.single else f"Median of {scan.curves.size} curves. "
        self.sentence.setText(some + scan.words)
        self._arrange(True)
        offered = scan.plateau
        self.use.setEnabled(offered is not None and offered.at != scan.at)
        self.use.setToolTip(NO_PLATEAU_TIP if offered is None else
                            "The window in force is the one that the plateau offers."
                            if offered.at == scan.at else
                            f"{PLATEAU_TIP}\nHere: {offered.low:.3g} to {offered.high:.3g} "
                            f"{scan.unit}.")  # fmt: skip

    def show_waiting(self, words: str) -> None:
        """An answer is on its way; an older one stays in sight, but nothing of it can be used."""
        self.use.setEnabled(False)
        if self.view.scan is None:
            self.show_reason(words)
        else:
            self.sentence.setText(words)

    def show_reason(self, words: str) -> None:
        """Why there is nothing to show."""
        self.view.show_scan(None)
        self.reason.setText(words)
        self.use.setEnabled(False)
        self.use.setToolTip(NO_PLATEAU_TIP)
        self._arrange(False)

    def _arrange(self, there: bool) -> None:
        self.view.setVisible(there)
        self.sentence.setVisible(there)
        self.reason.setVisible(not there)

    def set_theme(self, theme: Theme) -> None:
        look.toned(self.reason, "muted")
        self.view.set_theme(theme)
