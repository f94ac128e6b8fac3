"""The page *To decide* of the panel Doubts: the doubtful pixels, worst first, and the decision."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from PySide6.QtCore import QSignalBlocker, Qt, Signal
from PySide6.QtGui import QKeySequence, QShortcut
from PySide6.QtWidgets import (
    QComboBox,
    QFormLayout,
    QGridLayout,
    QHBoxLayout,
    QLabel,
    QLineEdit,
    QSizePolicy,
    QToolButton,
    QVBoxLayout,
    QWidget,
)

from ...core.curvereport import Raised
from ...core.decisions import CORRECTED, KEPT, LEFT_OUT, UNDECIDED
from ...core.doubts import DOUBTS, SEVERE
from ...core.review import Alike, Filter
from ...core.review.ranking import DECIDED
from .. import theme as look
from ..theme import SPACE, Theme
from .doubt_list import DoubtList, doubt_words
from .fields import NumberField
from .law_page import wrapped

Array = np.ndarray
ANY = "any"
DECISIONS = {"undecided": UNDECIDED, ANY: None, "decided": DECIDED, "kept": KEPT,
             "left out": LEFT_OUT, "corrected": CORRECTED}  # fmt: skip
ACTS = {"keep": ("Keep", "K", "Believe it in spite of its doubts, and go to the next one"),
        "leave_out": ("Leave out", "L", "Use it in no statistic, and go to the next one"),
        "correct": ("Correct", "C", "Give it settings of its own: drag its fit window or its "
                    "contact point on the curve"),
        "take_back": ("Take back", "U", "Forget what was decided about it")}  # fmt: skip
"""Act -> word, key, and what it does."""
OPEN = dict(unit="", low=-math.inf, high=math.inf, open_low=False)
NO_MAP = "There is no map."


class DecidePage(QWidget):
    """Signals, each only for what the person did
    ------------------------------------------
    filtered(Filter) : other pixels are wanted in the list
    acted(act) : a button was pressed; act is one of `ACTS`
    note_given(text) : a note was typed
    gather_wanted(Alike) : gather all pixels like this
    left : done with the note, by Enter or Esc
    Those of the list are its own.
    """

    filtered = Signal(object)
    acted = Signal(str)
    note_given = Signal(str)
    gather_wanted = Signal(object)
    left = Signal()

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._raised: Sequence[Raised] = ()
        self.counts = wrapped("", "muted")
        self.list = DoubtList(self)
        self.reason = wrapped("")
        self.doubt, self.component, self.decision = (QComboBox(self) for _ in range(3))
        self.about = look.toned(QLabel(self), "strong")
        self.buttons: dict[str, QToolButton] = {}
        self.note = QLineEdit(self)
        self._lay_out()
        for combo in (self.doubt, self.component, self.decision):
            combo.activated.connect(lambda _: self.filtered.emit(self.wanted))
        self.note.editingFinished.connect(self._note_done)
        self.note.returnPressed.connect(self.left)
        leave = QShortcut(QKeySequence(Qt.Key.Key_Escape), self.note)
        leave.setContext(Qt.ShortcutContext.WidgetShortcut)
        leave.activated.connect(self.left)
        self.show_reason(NO_MAP)

    def _lay_out(self) -> None:
        box = QVBoxLayout(self)
        box.setContentsMargins(SPACE, SPACE // 2, SPACE // 2, SPACE // 2)
        box.setSpacing(SPACE // 2)
        box.addWidget(self.counts)
        box.addLayout(self._filters())
        box.addWidget(self.reason)
        box.addWidget(self.list, 1)
        self.filler = QWidget(self)
        box.addWidget(self.filler, 1)
        box.addWidget(self.about)
        row = QHBoxLayout()
        row.setSpacing(SPACE // 2)
        for act, (word, key, tip) in ACTS.items():
            button = QToolButton(self)
            button.setText(word)
            button.setToolTip(f"{tip} ({key})")
            button.clicked.connect(lambda _=False, a=act: self.acted.emit(a))
            self.buttons[act] = button
            row.addWidget(button)
        row.addStretch(1)
        self.buttons["correct"].setCheckable(True)
        box.addLayout(row)
        self.note.setPlaceholderText("Note (T)")
        self.note.setAccessibleName("Note of the decision")
        self.note.setMaxLength(2000)
        box.addWidget(self.note)
        box.addLayout(self._alike())

    def _filters(self) -> QGridLayout:
        grid = QGridLayout()
        grid.setSpacing(SPACE // 2)
        self.doubt.setAccessibleName("Doubt")
        self.component.setAccessibleName("Component")
        self.decision.setAccessibleName("Decision")
        for words, kind in DECISIONS.items():
            self.decision.addItem(words if words != ANY else "any decision", kind)
        self.doubt.setMinimumContentsLength(8)
        self.doubt.setSizeAdjustPolicy(
            QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon
        )
        for column, combo in enumerate((self.doubt, self.component, self.decision)):
            grid.addWidget(combo, 0, column)
        grid.setColumnStretch(0, 1)
        self.show_doubts({})
        self.show_components(())
        return grid

    def _alike(self) -> QFormLayout:
        """All like this one: a doubt of the picked pixel, and a range of its figure."""
        self.own = QComboBox(self)
        self.own.setAccessibleName("Doubt that the pixels share")
        self.low, self.high = (NumberField(OPEN, True, False, self) for _ in range(2))
        for field, word in ((self.low, "from"), (self.high, "to")):
            field.setFixedWidth(70)
            field.lineEdit().setPlaceholderText("any")
            field.setAccessibleName(f"Figure {word}")
            field.edited.connect(lambda value, _, f=field: f.set_value(value))
        self.unit = look.toned(QLabel(self), "muted")
        self.gather = QToolButton(self)
        self.gather.setText("Gather all")
        self.gather.setToolTip("Gather all pixels that carry this doubt with a figure in this "
                               "range; what is decided then holds for all of them (A)")  # fmt: skip
        self.own.setMinimumContentsLength(8)
        self.own.setSizeAdjustPolicy(
            QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon
        )
        self.unit.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Preferred)
        row, first = QHBoxLayout(), QHBoxLayout()
        for line in (row, first):
            line.setSpacing(SPACE // 2)
        for widget in (self.low, QLabel("to", self), self.high):
            row.addWidget(widget)
        row.addWidget(self.unit, 1)
        first.addWidget(self.own, 1)
        first.addWidget(self.gather)
        form = QFormLayout()
        form.setVerticalSpacing(SPACE // 2)
        form.addRow("Alike by", first)
        form.addRow("figure", row)
        self.own.activated.connect(lambda _: self._offer_range())
        self.gather.clicked.connect(lambda: self.gather_wanted.emit(self.alike))
        return form

    # -- what is chosen

    @property
    def wanted(self) -> Filter:
        """The pixels that the list is to show."""
        return Filter(self.doubt.currentData(), self.component.currentData(),
                      self.decision.currentData())  # fmt: skip

    @property
    def alike(self) -> Alike | None:
        """The doubt and the range that are offered; None without a doubt."""
        name = self.own.currentData()
        if name is None:
            return None
        low, high = self.low.value(), self.high.value()
        return Alike(name, -math.inf if low is None else low, math.inf if high is None else high)

    # -- what is shown

    def set_theme(self, theme: Theme) -> None:
        self.list.set_theme(theme)

    def show_reason(self, words: str) -> None:
        """Why there is no list; empty if there is one."""
        self.reason.setText(words)
        self.reason.setVisible(bool(words))
        self.filler.setVisible(bool(words))
        self.list.setVisible(not words)

    def show_counts(self, found: Mapping[str, int], shown: int) -> None:
        words = (f"{found['doubted']:,} of {found['pixels']:,} pixels are in doubt, "
                 f"{found['severe']:,} of them severely. Decided: {found['kept']:,} kept, "
                 f"{found['left out']:,} left out, {found['corrected']:,} corrected; "
                 f"{found['undecided']:,} to go.")  # fmt: skip
        if found["others"]:
            words += f" {found['others']:,} more were decided without a doubt."
        self.counts.setText(words)
        if not self.reason.text():
            self.list.setToolTip(f"{shown:,} pixels in the list")

    def show_doubts(self, by_doubt: Mapping[str, int]) -> None:
        """The doubts that occur, each with how many pixels carry it."""
        entries = [("all doubts", None)]
        for name, count in by_doubt.items():
            severe = ", severe" if DOUBTS[name].severity == SEVERE else ""
            entries.append((f"{doubt_words(name)} ({count:,}{severe})", name))
        self._refill(self.doubt, entries)

    def show_components(self, names: Sequence[str]) -> None:
        entries = [("any component", None), *((name, k) for k, name in enumerate(names))]
        self._refill(self.component, entries)
        self.component.setVisible(bool(names))

    @staticmethod
    def _refill(combo: QComboBox, entries: Sequence[tuple[str, Any]]) -> None:
        """Offer other entries; what was chosen stays chosen if it is there again."""
        kept = combo.currentData()
        with QSignalBlocker(combo):
            combo.clear()
            for words, data in entries:
                combo.addItem(words, data)
                combo.setItemData(combo.count() - 1, words, 3)  # tooltip
            at = next((i for i, (_, data) in enumerate(entries) if data == kept), 0)
            combo.setCurrentIndex(at)

    def show_about(self, words: str, decided: bool, correcting: bool, ready: bool) -> None:
        """What the buttons decide about."""
        self.about.setText(words)
        for act, button in self.buttons.items():
            button.setEnabled(ready and (decided or act != "take_back"))
        with QSignalBlocker(self.buttons["correct"]):
            self.buttons["correct"].setChecked(correcting)

    def show_note(self, text: str) -> None:
        """The note of what was decided about the picked pixel, unless one is being typed."""
        if not self.note.hasFocus() and text != self.note.text():
            self.note.setText(text)

    def show_picked(self, raised: Sequence[Raised]) -> None:
        """The doubts of the picked pixel, to look for others like it."""
        names = [r.name for r in raised]
        if names != [r.name for r in self._raised]:
            self._refill(self.own, [(doubt_words(r.name), r.name) for r in raised])
        self._raised = tuple(raised)
        for widget in (self.own, self.low, self.high, self.gather):
            widget.setEnabled(bool(raised))
        self._offer_range()

    def _offer_range(self) -> None:
        """At least as bad as this one."""
        one = next((r for r in self._raised if r.name == self.own.currentData()), None)
        low = high = None
        if one is not None and math.isfinite(one.figure) and math.isfinite(one.threshold):
            below = one.figure < one.threshold
            low, high = (None, rounded(one.figure, 1)) if below else (rounded(one.figure, -1), None)
        for field, value in ((self.low, low), (self.high, high)):
            field.set_value(value)
        self.unit.setText(one.unit if one is not None else "")

    def _note_done(self) -> None:
        if self.note.isModified():
            self.note.setModified(False)
            self.note_given.emit(self.note.text())


def rounded(value: float, side: int) -> float:
    """Four figures, never less than the value with `side` 1, never more with -1."""
    if value == 0.0:
        return 0.0
    step = 10.0 ** (math.floor(math.log10(abs(value))) - 3)
    return float(f"{(math.ceil if side > 0 else math.floor)(value / step) * step:.6g}")
