"""The page *Compare* of a laid picture: which channel its contrast follows."""

from __future__ import annotations

import math
from typing import Any

from PySide6.QtCore import Signal
from PySide6.QtWidgets import QToolButton, QWidget

from ...core.components.rule import letter
from .law_page import Page, plain, wrapped
from .law_table import Line, Table

TITLES = {"modulus": "Modulus", "adhesion": "Adhesion", "height": "Height", "slope": "Slope"}
HEADS = {"modulus": "It follows the modulus.", "adhesion": "It follows the adhesion.",
         "both": "It follows both modulus and adhesion.",
         "alike": "It follows channels that can't be told apart here.",
         "topography": "It follows the topography.", "other": "It follows another channel.",
         "neither": "It follows none of the channels.",
         "unknown": "It can't be said what it follows."}  # fmt: skip
"""A verdict of core's in words."""


class ComparePage(Page):
    """Signal save_wanted: the numbers as a file."""

    save_wanted = Signal()

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._found: Any = None
        self.verdict, self.words = wrapped("", "strong"), wrapped("")
        self.table = Table(
            ["Channel", "correlation", "95 % from", "to", "p", "beside others"], "correlations",
            ("", "Of ranks, -1 to 1", "", "", "Chance of one so large between unrelated fields as "
             "smooth as these", "With the other channels taken out of both; in brackets its p"),
        )  # fmt: skip
        self.inner_title = wrapped("Within and between components", "strong")
        self.inner = Table(["", "correlation", "p", "apart"], "components",
                           ("", "Of ranks", "", "Difference of the mean ranks over the spread "
                            "within"))  # fmt: skip
        self.note = wrapped(
            "Neighbouring pixels are alike, so p counts the independent pixels only, not all. What "
            "goes together need not follow from each other.", "muted")  # fmt: skip
        for widget in (self.verdict, self.words, self.table, self.inner_title, self.inner,
                       self.note):  # fmt: skip
            self.body.addWidget(widget)
        self.body.addStretch(1)
        self.save = QToolButton(self)
        self.save.setText("Save comparison…")
        self.foot.addStretch(1)
        self.foot.addWidget(self.save)
        self.save.clicked.connect(self.save_wanted)
        self.show_buttons()

    def show_buttons(self) -> None:
        self.save.setEnabled(self._found is not None)

    def clear(self) -> None:
        super().clear()
        self._found = None
        self.verdict.setText("")
        self.words.setText("")
        self.show_buttons()

    def show_comparison(self, found: Any) -> None:
        """Show core's `Comparison`."""
        self._found = found
        self.verdict.setText(HEADS[found.verdict])
        self.words.setText(found.words)
        self.table.fill([_channel_line(each) for each in found.channels.values()])
        lines = [_within_line(each) for each in found.channels.values()
                 if math.isfinite(each.within.value)]  # fmt: skip
        lines += [_between_line(each) for each in found.between]
        self.inner.fill(lines)
        for widget in (self.inner_title, self.inner):
            widget.setVisible(bool(lines))
        self.show_numbers()


def signed(value: float) -> str:
    """A correlation, with its sign."""
    return f"{value:+.2f}".replace("-", "−") if math.isfinite(value) else "–"


def chance(p: float) -> str:
    """A p value."""
    if not math.isfinite(p):
        return "–"
    return "< 0.001" if p < 0.001 else plain(p, 2)


def _channel_line(each: Any) -> Line:
    one, rest = each.overall, each.partial
    tip = (f"{plain(one.effective)} of {one.pixels} pixels are independent; p would be "
           f"{chance(one.p_naive)} if all were") if not one.reason else one.reason  # fmt: skip
    beside = f"{signed(rest.value)} ({chance(rest.p)})" if math.isfinite(rest.value) else "–"
    return Line((TITLES.get(each.name, each.name), signed(one.value), signed(one.low),
                 signed(one.high), chance(one.p), beside), tip=tip, note=one.reason,
                faint=bool(one.reason))  # fmt: skip


def _within_line(each: Any) -> Line:
    name = TITLES.get(each.name, each.name)
    return Line((f"{name}, within components", signed(each.within.value), chance(each.within.p)))


def _between_line(each: Any) -> Line:
    letters = f"{letter(each.upper)} against {letter(each.lower)}"
    return Line((letters, signed(each.correlated.value), chance(each.correlated.p),
                 plain(each.distance)), note=each.correlated.reason)  # fmt: skip
