"""The page *Overlay*: the axes, the curves, and the list of sets, which is their legend too."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from PySide6.QtCore import QSignalBlocker, QSize, Qt, Signal
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import (
    QComboBox,
    QHBoxLayout,
    QLabel,
    QListWidget,
    QListWidgetItem,
    QSizePolicy,
    QToolButton,
    QVBoxLayout,
    QWidget,
)

from ...core.curveaxes import X_AXES
from .. import theme as look
from ..overlay_calls import Axes
from ..panels.law_page import wrapped
from ..theme import LIGHT, SPACE, Theme
from .overlay_look import HIGH, WIDE, SetLook, swatch
from .overlay_view import BOTH, OverlayView

KEY = Qt.ItemDataRole.UserRole
ALIGNMENTS = {"contact": "at contact", "peak": "at the peak", "none": "as measured"}
BRANCHES = {"both": "both", "approach": "approach", "retract": "retract"}
LIST_HEIGHT = 118
FEW = ("Ctrl + click a pixel of the map to lay its curve over others. Ticked below, a component, a "
       "region or the gathered pixels are shown as their median, with the bands of 16 to 84 and of "
       "2.5 to 97.5 % of their curves at each place that at least half of them reach.")  # fmt: skip


@dataclass(frozen=True)
class Entry:
    """One line of the list.

    Attributes
    ----------
    key : what the page tells of it
    look : of the set
    text : its name and its counts
    on : whether it is drawn
    single : whether it is one picked pixel, which can be removed
    tip : more about it
    """

    key: str
    look: SetLook
    text: str
    on: bool
    single: bool = False
    tip: str = ""


class _List(QListWidget):
    """A list whose chosen line Delete removes. Signal removed(key)."""

    removed = Signal(str)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        if event.key() in (Qt.Key.Key_Delete, Qt.Key.Key_Backspace) and self.currentItem():
            self.removed.emit(self.currentItem().data(KEY))
        else:
            super().keyPressEvent(event)


class OverlayPage(QWidget):
    """Signals, each only for what the person did
    ------------------------------------------
    axes_chosen, branches_chosen : see `axes`, `branches`
    doubtful_toggled(on) : pixels that are not trusted count in regions and among gathered ones too
    shown(key, on) : a set was ticked or not
    remove_wanted(key), clear_wanted : picked pixels are to go
    chosen(key) : a line was chosen
    save_wanted : what is drawn, as a file
    """

    axes_chosen = Signal()
    branches_chosen = Signal()
    doubtful_toggled = Signal(bool)
    shown = Signal(str, bool)
    remove_wanted = Signal(str)
    clear_wanted = Signal()
    chosen = Signal(str)
    save_wanted = Signal()

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._theme: Theme = LIGHT
        self._entries: list[Entry] = []
        self.view = OverlayView(self)
        self.note = wrapped("", "muted")
        self.x_choice = self._combo("Horizontal axis", X_AXES)
        self.y_choice = self._combo("Vertical axis", {"force": "force", "deflection": "deflection"})
        self.align_choice = self._combo("Alignment", ALIGNMENTS)
        self.branch_choice = self._combo("Branches", BRANCHES)
        self.align_choice.setToolTip(
            "Where the curves are laid over each other: at contact, each contact point lies at 0. "
            "Indentation and separation begin at contact by their meaning, so they are never “as "
            "measured”")  # fmt: skip
        self.list = _List(self)
        self.list.setIconSize(QSize(WIDE, HIGH))
        self.list.setFixedHeight(LIST_HEIGHT)
        self.list.setAccessibleName("Sets of curves, which are drawn if ticked")
        self.doubtful = self._button(
            "Doubtful too", "In regions and among gathered pixels, count those with a severe doubt "
            "or left out by hand too")  # fmt: skip
        self.doubtful.setCheckable(True)
        self.remove = self._button("Remove", "Take the chosen pixel out of the overlay (Delete)")
        self.clear = self._button("Remove all pixels", "Take all picked pixels out of the overlay")
        self.save = self._button("Export…", "Save what is drawn as comma-separated values")
        self._lay_out()
        self.x_choice.setCurrentIndex(self.x_choice.findData(Axes().x))
        self._fit_alignments()
        self._show_buttons()
        self._listen()

    def _combo(self, name: str, choices: dict[str, str]) -> QComboBox:
        combo = QComboBox(self)
        for key, words in choices.items():
            combo.addItem(words, key)
        combo.setAccessibleName(name)
        combo.setToolTip(name)
        combo.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
        combo.setMinimumContentsLength(6)
        return combo

    def _button(self, text: str, tip: str) -> QToolButton:
        button = QToolButton(self)
        button.setText(text)
        button.setToolTip(tip)
        return button

    def _lay_out(self) -> None:
        head, foot = QHBoxLayout(), QHBoxLayout()
        for row in (head, foot):
            row.setSpacing(SPACE // 2)
        head.addWidget(self.y_choice, 3)
        head.addWidget(QLabel("against", self))
        head.addWidget(self.x_choice, 4)
        head.addWidget(self.align_choice, 4)
        head.addWidget(self.branch_choice, 3)
        for widget in (self.doubtful, self.remove, self.clear):
            foot.addWidget(widget)
        foot.addStretch(1)
        foot.addWidget(self.save)
        self.note.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Preferred)
        box = QVBoxLayout(self)
        box.setContentsMargins(SPACE, SPACE, SPACE, SPACE)
        box.setSpacing(SPACE // 2)
        box.addLayout(head)
        box.addWidget(self.view, 1)
        box.addWidget(self.note)
        box.addWidget(self.list)
        box.addLayout(foot)

    def _listen(self) -> None:
        for combo in (self.x_choice, self.y_choice, self.align_choice):
            combo.activated.connect(self._choose_axes)
        self.branch_choice.activated.connect(lambda _: self.branches_chosen.emit())
        self.doubtful.clicked.connect(self.doubtful_toggled)
        self.list.itemChanged.connect(self._ticked)
        self.list.itemClicked.connect(lambda item: self.chosen.emit(item.data(KEY)))
        self.list.currentItemChanged.connect(lambda *_: self._show_buttons())
        self.list.removed.connect(self._remove)
        self.remove.clicked.connect(lambda: self._remove(self._current))
        self.clear.clicked.connect(self.clear_wanted)
        self.save.clicked.connect(self.save_wanted)

    # -- what is chosen -------------------------------------------------------------------------

    @property
    def axes(self) -> Axes:
        align = self.align_choice.currentData() or "contact"
        return Axes(self.x_choice.currentData(), self.y_choice.currentData(), align)

    @property
    def branches(self) -> tuple[str, ...]:
        """The branches that are drawn."""
        chosen = self.branch_choice.currentData()
        return BOTH if chosen == "both" else (chosen,)

    @property
    def _current(self) -> str:
        item = self.list.currentItem()
        return item.data(KEY) if item is not None else ""

    def _choose_axes(self, _: int) -> None:
        self._fit_alignments()
        self.axes_chosen.emit()

    def _fit_alignments(self) -> None:
        """Only base positions can be shown as measured."""
        there = self.align_choice.findData("none")
        if self.x_choice.currentData() == "z" and there < 0:
            self.align_choice.addItem(ALIGNMENTS["none"], "none")
        elif self.x_choice.currentData() != "z" and there >= 0:
            self.align_choice.removeItem(there)

    # -- what is shown --------------------------------------------------------------------------

    def show_entries(self, entries: Sequence[Entry]) -> None:
        """The sets, in order; the chosen one stays chosen if it is there again."""
        if list(entries) == self._entries:
            return
        kept, at = self._current, self.list.verticalScrollBar().value()
        self._entries = list(entries)
        with QSignalBlocker(self.list):
            self.list.clear()
            for entry in entries:
                item = QListWidgetItem(swatch(entry.look), entry.text)
                item.setData(KEY, entry.key)
                item.setToolTip(entry.tip)
                item.setFlags(item.flags() | Qt.ItemFlag.ItemIsUserCheckable)
                item.setCheckState(Qt.CheckState.Checked if entry.on else Qt.CheckState.Unchecked)
                self.list.addItem(item)
                if entry.key == kept:
                    self.list.setCurrentItem(item)
        self.list.verticalScrollBar().setValue(at)
        self._show_buttons()

    @property
    def texts(self) -> list[str]:
        """What stands in the list."""
        return [self.list.item(i).text() for i in range(self.list.count())]

    def say(self, words: str) -> None:
        """A sentence below the curves; empty takes it away."""
        self.note.setText(words)
        self.note.setVisible(bool(words))

    def show_waiting(self, on: bool) -> None:
        """What is drawn is about to be renewed."""
        self.view.setEnabled(not on)

    def show_can_save(self, on: bool) -> None:
        self.save.setEnabled(on)

    def _show_buttons(self) -> None:
        single = {e.key for e in self._entries if e.single}
        self.remove.setEnabled(self._current in single)
        self.clear.setEnabled(bool(single))

    def set_theme(self, theme: Theme) -> None:
        self._theme = theme
        self.view.set_theme(theme)
        look.shrink(self.list)
        look.shrink(self.note)

    # -- what the person does -------------------------------------------------------------------

    def _ticked(self, item: Any) -> None:
        self.shown.emit(item.data(KEY), item.checkState() == Qt.CheckState.Checked)

    def _remove(self, key: str) -> None:
        if any(e.key == key and e.single for e in self._entries):
            self.remove_wanted.emit(key)

