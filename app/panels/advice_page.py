"""*Which law may be used?* The checks, the laws with their verdicts, and the adhesion map."""

from __future__ import annotations

import math
from typing import Any

from PySide6.QtCore import Signal
from PySide6.QtWidgets import QPushButton, QWidget

from ...core import units
from ..theme import Theme
from ..views.adhesion_view import AdhesionView
from .law_page import WORDS, Page, Switch, plain, verdict_icon, wrapped
from .law_table import Line, Table

PIXEL, MAP, DRAWN = "pixel", "map", "drawn"
SCOPES = {PIXEL: "This pixel", MAP: "Whole map", DRAWN: "Adhesion map"}


def figure_of(check: Any) -> str:
    """The figure of a check with its uncertainty and unit."""
    if not math.isfinite(check.value):
        return "–"
    tail = f" {check.unit}" if check.unit else ""
    if math.isfinite(check.error) and check.error > 0:
        return f"{units.text_of(check.value, '', check.error)}{tail}"
    return f"{plain(check.value)}{tail}"


def spread_of(check: Any) -> str:
    """Between which values the middle half of a map's curves lies; empty for a pixel."""
    low, high = check.quartiles
    if not (math.isfinite(low) and math.isfinite(high)):
        return ""
    return f"half of all: {plain(low)} to {plain(high)}"


class AdvicePage(Page):
    """Signals, each only for what the person did
    ---------------------------------------------
    law_chosen(law, adhesion), scope_chosen(scope), pixel_picked(row, col)
    """

    law_chosen = Signal(str, str)
    scope_chosen = Signal(str)
    pixel_picked = Signal(int, int)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._advice: Any = None
        self.scope = Switch(SCOPES)
        self.scope.chosen.connect(self._change_scope)
        self.sentence = wrapped("", "strong")
        self.checks = Table(
            ("Check", "Figure and limit", "Verdict"), "Checks of the contact law",
            ("Point at a check to read what it means and where it comes from",
             "What was found here, for a map the median and between which values the middle half "
             "of its curves lies; below it what the law allows"), words=(0, 2),
        )  # fmt: skip
        self.laws = Table(("Law", "Verdict"), "Contact laws and their verdicts",
                          ("A double click uses the law; that can be undone",),
                          words=(0, 1))  # fmt: skip
        self.drawn = AdhesionView()
        self.drawn.picked.connect(self.pixel_picked)
        self.drawn.hide()
        self.use = QPushButton("Use this law")
        self.use.setToolTip("Fit with the law that is chosen in the table (can be undone)")
        self.use.clicked.connect(lambda: self._use(self.laws.current_key()))
        self.laws.activated_line.connect(self._use)
        self.laws.chosen.connect(lambda _: self.show_buttons())
        self.head.addWidget(self.scope)
        for part in (self.sentence, self.checks, self.laws):
            self.body.addWidget(part)
        self.body.addStretch(1)
        self.layout().insertWidget(3, self.drawn, 1)
        self.foot.addStretch(1)
        self.foot.addWidget(self.use)
        self.show_buttons()

    # -- what is shown --------------------------------------------------------------------------

    def set_theme(self, theme: Theme) -> None:
        super().set_theme(theme)
        self.drawn.set_theme(theme)
        if self._advice is not None:
            self._fill(self._advice)

    def show_advice(self, advice: Any) -> None:
        """An `Advice` for the picked pixel or the whole map."""
        self._advice = advice
        self._fill(advice)
        self._arrange(False)
        self.show_numbers()

    def show_map(self, drawn: Any) -> None:
        """An `AdhesionMap`."""
        self.drawn.show_map(drawn)
        self._reasoned(False)
        self._arrange(True)
        self.drawn.setEnabled(True)

    def _arrange(self, drawn: bool) -> None:
        self.drawn.setVisible(drawn)
        self.area.setVisible(not drawn)
        self.use.setVisible(not drawn)

    def show_waiting(self) -> None:
        super().show_waiting()
        self.use.setEnabled(False)

    def show_reason(self, words: str) -> None:
        super().show_reason(words)
        self.drawn.hide()

    def clear(self) -> None:
        super().clear()
        self._advice = None
        self.sentence.setText("")
        self.drawn.clear()
        self.show_buttons()

    def _fill(self, advice: Any) -> None:
        self.sentence.setText(advice.sentence)
        self.checks.fill([self._check_line(check) for check in advice.checks])
        self.laws.fill([self._law_line(law, advice.present) for law in advice.laws])

    def _check_line(self, check: Any) -> Line:
        symbol = f" {check.symbol}" if check.symbol and "_" not in check.symbol else ""
        tip = f"{check.symbol}\n{check.sentence}\nSource: {check.source.rstrip('.')}.".strip()
        told = check.sentence if check.verdict in ("strained", "broken") else ""
        figure = "\n".join(filter(None, (figure_of(check), spread_of(check), check.limit)))
        return Line(
            (f"{check.label}{symbol}", figure, WORDS[check.verdict]),
            key=check.name, note=told, tip=tip, icon=verdict_icon(check.verdict, self.theme),
            icon_at=2,
        )  # fmt: skip

    def _law_line(self, law: Any, present: Any) -> Line:
        used = (law.law, law.adhesion) == (present.law, present.adhesion)
        return Line(
            (f"{law.label}\nin use" if used else law.label, WORDS[law.verdict]),
            key=(law.law, law.adhesion), note=" ".join(law.reasons), strong=used,
            tip="In use" if used else "A double click uses this law",
            icon=verdict_icon(law.verdict, self.theme), icon_at=1,
        )  # fmt: skip

    # -- what the person does -------------------------------------------------------------------

    def _change_scope(self, scope: str) -> None:
        if scope != DRAWN:
            self._arrange(False)
        self.scope_chosen.emit(scope)

    def show_buttons(self) -> None:
        key, advice = self.laws.current_key(), self._advice
        there = key is not None and advice is not None
        self.use.setEnabled(there and key != (advice.present.law, advice.present.adhesion))

    def _use(self, key: Any) -> None:
        if key is not None and self.inside.isEnabled():
            self.law_chosen.emit(*key)
