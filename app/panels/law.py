"""The panel *Law*: which law may be used, what others would give, and how sure the numbers are.

It is passive: it shows what it is given and tells what the person did.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from PySide6.QtCore import Signal
from PySide6.QtWidgets import QWidget

from .advice_page import AdvicePage
from .budget_page import BudgetPage
from .comparison_page import ComparisonPage
from .contact_page import ContactPage
from .paged import PagedPanel

PAGES = {"advice": "Which law", "comparison": "Compare", "contact": "Contact point",
         "budget": "How sure"}  # fmt: skip
"""Page -> the word on its tab."""


class LawPanel(PagedPanel):
    """Signals, each only for what the person did, except `seen`
    ----------------------------------------------------------
    law_chosen(law, adhesion), contact_chosen(method) : to be used from now on
    pixel_picked(row, col) : a point of the adhesion map was clicked
    map_comparison_wanted : compare the laws over the whole map
    save_wanted(text) : save a budget, as comma-separated values
    asked : another page, scope or quantity is wanted
    seen(bool) : as of every panel with pages
    """

    law_chosen = Signal(str, str)
    contact_chosen = Signal(str)
    pixel_picked = Signal(int, int)
    map_comparison_wanted = Signal()
    save_wanted = Signal(str)
    def __init__(self, parent: QWidget | None = None) -> None:
        self.advice, self.comparison = AdvicePage(), ComparisonPage()
        self.contact, self.budget = ContactPage(), BudgetPage()
        pages = (self.advice, self.comparison, self.contact, self.budget)
        super().__init__(dict(zip(PAGES, pages, strict=True)), PAGES, parent)
        self._listen()

    def _listen(self) -> None:
        self.advice.scope_chosen.connect(lambda _: self.asked.emit())
        self.budget.quantity_chosen.connect(lambda _: self.asked.emit())
        self.advice.law_chosen.connect(self.law_chosen)
        self.comparison.law_chosen.connect(self.law_chosen)
        self.advice.pixel_picked.connect(self.pixel_picked)
        self.comparison.map_wanted.connect(self.map_comparison_wanted)
        self.contact.contact_chosen.connect(self.contact_chosen)
        self.budget.save_wanted.connect(self.save_wanted)

    @property
    def scope(self) -> str:
        """Of the advice: "pixel", "map" or "drawn"."""
        return self.advice.scope.current

    @property
    def quantity(self) -> str:
        """Channel whose budget is wanted."""
        return self.budget.quantity.currentData()

    # -- what is shown --------------------------------------------------------------------------

    def show_advice(self, advice: Any) -> None:
        """An `Advice`."""
        self.advice.show_advice(advice)

    def show_adhesion_map(self, drawn: Any) -> None:
        """An `AdhesionMap`."""
        self.advice.show_map(drawn)

    def show_picked(self, pixel: tuple[int, int] | None) -> None:
        """Mark the picked pixel on the adhesion map."""
        self.advice.drawn.show_picked(pixel)

    def show_comparison(self, found: list[Any], verdicts: Mapping[Any, str] | None = None) -> None:
        """A list of `OnCurve`, and the advice's verdicts by (law, adhesion)."""
        self.comparison.show_comparison(found, verdicts or {})

    def show_map_comparison(self, found: list[Any], verdicts: Mapping[Any, str] | None = None,
                            stale: bool = False) -> None:  # fmt: skip
        """A list of `OnMap`, empty if there is none; `stale` if it was made with other settings."""
        self.comparison.show_map(found, verdicts or {}, stale)

    def show_contacts(self, found: list[Any]) -> None:
        """A list of `ContactEstimate`."""
        self.contact.show_contacts(found)

    def show_budget(self, budget: Any, title: str = "", about: Mapping[str, str] | None = None
                    ) -> None:  # fmt: skip
        """A `Budget`, and what it is of."""
        self.budget.show_budget(budget, title, about)

    def show_reason(self, page: str, words: str) -> None:
        """Why a page has no numbers."""
        self.pages[page].show_reason(words)

    def show_waiting(self, page: str) -> None:
        """A page's numbers are being renewed."""
        self.pages[page].show_waiting()

    def show_again(self, page: str) -> None:
        """A page's numbers hold after all."""
        self.pages[page].show_again()
