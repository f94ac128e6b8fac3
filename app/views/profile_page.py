"""The profile view with the choice of its channels and the switch for the fit of an edge."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from PySide6.QtCore import Signal
from PySide6.QtWidgets import QComboBox, QHBoxLayout, QToolButton, QVBoxLayout, QWidget

from ..theme import SPACE, Theme
from .profile_view import MOST, ProfileView

SHOWN, NONE = "shown on the map", "–"
ORDER = ("upper", "middle", "lower")
EDGE_TIP = ("Fit an edge (an error function) to the upper channel between the cursors A and B")


class ProfilePage(QWidget):
    """Signals, each only for what the person did
    ------------------------------------------
    channels_chosen : see `names`
    edge_toggled(on)
    """

    channels_chosen = Signal()
    edge_toggled = Signal(bool)

    def __init__(self, usual: Sequence[str], parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._usual = tuple(usual)
        self.view = ProfileView(self)
        self.edge_button = QToolButton(self)
        self.edge_button.setText("Edge")
        self.edge_button.setCheckable(True)
        self.edge_button.setToolTip(EDGE_TIP)
        self.edge_button.clicked.connect(self.edge_toggled)
        self.choosers = [self._chooser(i) for i in range(MOST)]
        row = QHBoxLayout()
        row.setContentsMargins(SPACE, SPACE, SPACE, 0)
        row.setSpacing(SPACE // 2)
        for box in self.choosers:
            row.addWidget(box, 1)
        row.addWidget(self.edge_button)
        box = QVBoxLayout(self)
        box.setContentsMargins(0, 0, 0, 0)
        box.setSpacing(0)
        box.addLayout(row)
        box.addWidget(self.view, 1)

    def _chooser(self, place: int) -> QComboBox:
        box = QComboBox(self)
        box.setAccessibleName(f"The {ORDER[place]} channel of the profile")
        box.setToolTip(box.accessibleName())
        box.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
        box.setMinimumContentsLength(6)
        box.activated.connect(lambda _: self.channels_chosen.emit())
        return box

    @property
    def names(self) -> tuple[str, ...]:
        """The chosen channels from top to bottom; "" stands for the one shown on the map, and what
        is not wanted is left out."""
        return tuple(box.currentData() for box in self.choosers if box.currentData() is not None)

    def show_channels(self, channels: Sequence[Any]) -> None:
        """What can be chosen; a choice that is gone goes back to the usual one."""
        wanted = [c.name for c in channels]
        for place, (box, usual) in enumerate(zip(self.choosers, self._usual, strict=True)):
            fixed = 1 if place == 0 else 2
            if [box.itemData(i) for i in range(fixed, box.count())] == wanted:
                continue
            kept = box.currentData() if box.count() else usual
            empty = box.count() and kept is None
            box.clear()
            if place:
                box.addItem(NONE, None)
            box.addItem(f"({SHOWN})", "")
            for channel in channels:
                box.addItem(channel.title, channel.name)
            kept = kept if kept in (*wanted, "") else usual
            found = 0 if empty else box.findData(kept)
            box.setCurrentIndex(max(found, 0))

    def set_theme(self, theme: Theme) -> None:
        self.view.set_theme(theme)
