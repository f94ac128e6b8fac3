"""*How sure*: what makes up the uncertainty of one number of the picked pixel."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from PySide6.QtCore import QSignalBlocker, Signal
from PySide6.QtWidgets import QApplication, QComboBox, QHBoxLayout, QPushButton, QWidget

from ..law_calls import QUANTITIES
from .budget_text import (
    CAUTION,
    KINDS,
    apart_words,
    budget_csv,
    budget_text,
    correlation_words,
    origin_mark,
    quantity_value,
    range_of,
    sensitivity_of,
    term_value,
)
from .law_page import Page, percent, wrapped
from .law_table import Line, Table


class BudgetPage(Page):
    """Signals, each only for what the person did
    ---------------------------------------------
    quantity_chosen(name), save_wanted(csv text)
    """

    quantity_chosen = Signal(str)
    save_wanted = Signal(str)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._budget: Any = None
        self.title = ""
        self._about: Mapping[str, str] = {}
        self.quantity = QComboBox()
        for name, words in QUANTITIES.items():
            self.quantity.addItem(words, name)
        self.quantity.setAccessibleName("Quantity of the budget")
        self.quantity.activated.connect(
            lambda _: self.quantity_chosen.emit(self.quantity.currentData())
        )
        self.result = wrapped("", "strong")
        self.terms = Table(
            ("Term", "Sensitivity", "Adds"), "Budget of uncertainty",
            ("What is not known exactly, with its standard uncertainty; point at it to read where "
             "that comes from",
             "How many per cent the result moves when the term moves by 1 % of itself or, where "
             "a unit is named, by one of that unit",
             "Standard uncertainty of the result that comes from this term"),
        )  # fmt: skip
        self.ends = Table(
            ("95 % interval", "from", "to"), "Intervals",
            ("Where the true value lies with 95 % probability if law and constants hold",),
        )  # fmt: skip
        self.apart = wrapped("")
        self.linked = wrapped("", "muted")
        self.caution = wrapped(CAUTION, "muted")
        self.copy, self.save = QPushButton("Copy as text"), QPushButton("Save as CSV…")
        self.copy.clicked.connect(self._copy)
        self.save.clicked.connect(self._save)
        head = QHBoxLayout()
        head.addWidget(self.quantity, 1)
        self.head.addLayout(head)
        for part in (self.result, self.terms, self.ends, self.apart, self.linked, self.caution):
            self.body.addWidget(part)
        self.body.addStretch(1)
        self.foot.addStretch(1)
        self.foot.addWidget(self.copy)
        self.foot.addWidget(self.save)
        self.show_buttons()

    @property
    def budget(self) -> Any:
        return self._budget

    def set_quantity(self, name: str) -> None:
        with QSignalBlocker(self.quantity):
            self.quantity.setCurrentIndex(self.quantity.findData(name))

    def show_budget(self, budget: Any, title: str = "", about: Mapping[str, str] | None = None
                    ) -> None:  # fmt: skip
        """A `Budget`; `title` and `about` say of what pixel of which map and under which settings,
        for the text and the file."""
        self._budget, self.title, self._about = budget, title, about or {}
        words = QUANTITIES.get(budget.quantity, budget.quantity)
        self.result.setText(
            f"{words} {quantity_value(budget, budget.total)} ({percent(budget.total)}), local and "
            f"common terms. The local ones alone, as in Values: "
            f"{quantity_value(budget, budget.local)}."
        )
        words = apart_words(budget)
        self.apart.setText(words)
        self.apart.setVisible(bool(words))
        self.terms.fill(self._lines(budget))
        self.ends.fill(_interval_lines(budget))
        told = correlation_words(budget)
        self.linked.setText("Correlated: " + "; ".join(told) + "." if told else
                            "No term is correlated with another.")  # fmt: skip
        self.show_numbers()

    def _lines(self, budget: Any) -> list[Line]:
        sizes = [abs(t.contribution) for t in budget.terms if math.isfinite(t.contribution)]
        largest = max(sizes, default=0.0)
        lines = []
        for kind, words in KINDS.items():
            lines.append(Line((words, "", percent(getattr(budget, kind))), strong=True))
            for term in budget.terms:
                if term.kind == kind:
                    lines.append(_term_line(term, largest))
        lines.append(Line(("All together", "", percent(budget.total)), strong=True))
        return lines

    def show_waiting(self) -> None:
        super().show_waiting()
        for button in (self.copy, self.save):
            button.setEnabled(False)

    def clear(self) -> None:
        super().clear()
        self._budget = None
        self.show_buttons()

    def show_buttons(self) -> None:
        for button in (self.copy, self.save):
            button.setEnabled(self._budget is not None)

    # -- what the person does -------------------------------------------------------------------

    def _copy(self) -> None:
        if self._budget is not None:
            QApplication.clipboard().setText(budget_text(self._budget, self.title, self._about))

    def _save(self) -> None:
        if self._budget is not None:
            self.save_wanted.emit(budget_csv(self._budget, self._about))


def _term_line(term: Any, largest: float) -> Line:
    tip = "\n".join(text for text in (term.note, f"From: {term.origin}" if term.origin else "")
                    if text)  # fmt: skip
    share = abs(term.contribution) / largest if largest > 0 else math.nan
    return Line(
        (f"{term.label}\n{term_value(term)}{origin_mark(term)}",
         "\n".join(sensitivity_of(term)).strip(), percent(abs(term.contribution))),
        key=term.name, tip=tip, share=share,
    )  # fmt: skip


def _interval_lines(budget: Any) -> list[Line]:
    found = [Line(("Propagation (GUM, on the logarithm)", *range_of(budget, *budget.interval)))]
    carlo = budget.monte_carlo
    if carlo is not None:
        ends = range_of(budget, carlo.low, carlo.high)
        middle = range_of(budget, carlo.median, carlo.high)[0]
        note = f"{carlo.trials:,} trials, median {middle}".replace(",", " ")
        found.append(Line(("Monte Carlo (JCGM 101)", *ends), note=note))
    return found
