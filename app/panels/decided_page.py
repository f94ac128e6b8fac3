"""The page *Decided* of the panel Doubts: every decision, and what it does to the numbers."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from PySide6.QtCore import Signal
from PySide6.QtWidgets import QLineEdit, QToolButton, QWidget

from ...core.decisions import Review
from ...core.settings import declaration
from .law_page import Page, wrapped
from .law_table import Line, Table

EMPTY = ("Nothing is decided yet. Pick a doubtful pixel and keep it (K), leave it out (L) or "
         "correct it (C).")  # fmt: skip
BUTTONS = {"show": ("Show", "Gather the pixels of this decision on the map"),
           "take_back": ("Take back", "Forget this decision; undo brings it back"),
           "save": ("Save list…", "Save all decisions with their pixels as a table")}  # fmt: skip


class DecidedPage(Page):
    """Signals, each only for what the person did
    ------------------------------------------
    chosen(number) : went to a decision
    gather_wanted(number), taken_back(number)
    save_wanted : the list as a file
    who_given(name) : that decisions carry from now on
    """

    who_given = Signal(str)
    chosen = Signal(int)
    gather_wanted = Signal(int)
    taken_back = Signal(int)
    save_wanted = Signal()

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.who = QLineEdit(self)
        self.who.setPlaceholderText("Your name or initials, kept with each decision")
        self.who.setAccessibleName("Who decides")
        self.who.setMaxLength(80)
        self.who.editingFinished.connect(lambda: self.who_given.emit(self.who.text().strip()))
        self.head.addWidget(self.who)
        self.table = Table(["Decision", "Pixels", "Note"], "decisions", words=(0, 2))
        self.effect_title = wrapped("", "strong")
        self.effect = Table(["", "Without it", "With it", "Change"], "effect", words=(0,))
        self.note = wrapped("", "muted")
        for widget in (self.table, self.effect_title, self.effect, self.note):
            self.body.addWidget(widget)
        self.body.addStretch(1)
        self.buttons: dict[str, QToolButton] = {}
        for name, (words, tip) in BUTTONS.items():
            button = QToolButton(self)
            button.setText(words)
            button.setToolTip(tip)
            self.buttons[name] = button
            self.foot.addWidget(button)
        self.foot.addStretch(1)
        self.table.chosen.connect(lambda key: self.chosen.emit(key) if key is not None else None)
        self.table.activated_line.connect(lambda key: self.gather_wanted.emit(key))
        self.buttons["show"].clicked.connect(lambda: self.gather_wanted.emit(self.number))
        self.buttons["take_back"].clicked.connect(lambda: self.taken_back.emit(self.number))
        self.buttons["save"].clicked.connect(self.save_wanted)
        self.show_review(Review())

    @property
    def number(self) -> int:
        """The decision that is chosen; -1 for none."""
        key = self.table.current_key()
        return -1 if key is None else int(key)

    def show_review(self, review: Review) -> None:
        """All decisions, the newest first."""
        if not review:
            self.show_reason(EMPTY)
            self.show_buttons()
            return
        self.show_numbers()
        rows = [decision_line(number, d) for number, d in enumerate(review.decisions)]
        self.table.fill(rows[::-1])
        self.show_buttons()

    def show_effect(self, title: str, lines: Sequence[Line], note: str = "") -> None:
        """What the chosen decision changes."""
        self.effect_title.setText(title)
        self.effect_title.setVisible(bool(title))
        self.effect.fill(lines)
        self.effect.setVisible(bool(lines))
        self.note.setText(note)
        self.note.setVisible(bool(note))

    def show_buttons(self) -> None:
        for name, button in self.buttons.items():
            button.setEnabled(self.table.rowCount() > 0 and (name == "save" or self.number >= 0))

    def clear(self) -> None:
        super().clear()
        self.show_effect("", [])


def decision_line(number: int, decision: Any) -> Line:
    """One line of the list."""
    words = decision.words
    if decision.change:
        words += ": " + ", ".join(change_words(path, value) for path, value in decision.change)
    when = decision.when.replace("T", " ").removesuffix("+00:00")
    by = f" by {decision.who}" if decision.who else ""
    return Line((words, f"{decision.pixels.count:,}", decision.note), key=number,
                tip=f"Decided {when} UTC{by}")  # fmt: skip


def change_words(path: str, value: Any) -> str:
    """A setting of single pixels in words: ``upper end of the fit window 60 %``."""
    meta = declaration(path).metadata
    label = {"fit.fraction_from": "window from", "fit.force_from": "window from",
             "fit.indentation_from": "window from", "fit.fraction_to": "window to",
             "fit.force_to": "window to", "fit.indentation_to": "window to"}.get(
        path, meta["label"].lower())  # fmt: skip
    if meta["kind"] == "choice":
        return f"{label} {meta['options'][value]}"
    shown = "as recorded" if value is None else f"{value:.6g} {meta['unit']}".strip()
    return f"{label} {shown}"
