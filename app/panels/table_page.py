"""The page *Table* of the panel Components: each channel's statistics, and components in pairs."""

from __future__ import annotations

import math
from typing import Any

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QComboBox, QHBoxLayout, QLabel, QToolButton, QWidget

from ...core import units
from ...core.channels import CHANNELS
from .law_page import Page, number_in, percent, plain, wrapped
from .law_table import Line, Table

BEST = 12
AREA = "area"


class TablePage(Page):
    """Signal save_wanted: the tables as files."""

    save_wanted = Signal()

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._made: Any = None
        self.channel = QComboBox(self)
        self.channel.setAccessibleName("Channel of the table")
        self.save = QToolButton(self)
        self.save.setText("Save tables…")
        self.save.setToolTip("Save all channels, all pairs and the rule")
        row = QHBoxLayout()
        row.addWidget(QLabel("Channel", self))
        row.addWidget(self.channel, 1)
        self.head.addLayout(row)
        self.table = Table(["", *[""] * BEST], "statistics", words=(0,))
        self.pairs_title = wrapped("In pairs", "strong")
        self.pairs = Table(["", "Difference", "Ratio", "p"], "pairs", words=(0,))
        self.note = wrapped(
            "± are standard errors with the effective number of independent pixels. What all "
            "pixels share (spring constant, sensitivity, tip, Poisson ratio) stands apart: it does "
            "not average out, but partly cancels in a ratio.", "muted")  # fmt: skip
        for widget in (self.table, self.pairs_title, self.pairs, self.note):
            self.body.addWidget(widget)
        self.body.addStretch(1)
        self.area.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAsNeeded)
        self.foot.addStretch(1)
        self.foot.addWidget(self.save)
        self.channel.activated.connect(lambda _: self._fill())
        self.save.clicked.connect(self.save_wanted)
        self.show_buttons()

    def show_made(self, made: Any) -> None:
        """A `Made`, as far as it is worked out."""
        self._made = made
        self.show_numbers()
        table = made.table
        kept = self.channel.currentData()
        if [self.channel.itemData(i) for i in range(self.channel.count())] != list(table.channels):
            self.channel.clear()
            for name in table.channels:
                self.channel.addItem(CHANNELS[name].title, name)
            self.channel.setCurrentIndex(max(self.channel.findData(kept), 0))
        self._fill()

    def show_buttons(self) -> None:
        self.save.setEnabled(self._made is not None and self._made.whole)

    def clear(self) -> None:
        super().clear()
        self._made = None
        self.show_buttons()

    def _fill(self) -> None:
        if self._made is None:
            return
        table, name = self._made.table, self.channel.currentData()
        rows = table.rows[:BEST]
        self.table.set_titles(["", *(row.letter for row in rows), *[""] * (BEST - len(rows))],
                              ["", *(row.name for row in rows)])  # fmt: skip
        for column in range(1, BEST + 1):
            self.table.setColumnHidden(column, column > len(rows))
        self.table.setMinimumWidth(120 + 58 * len(rows))  # more than fit are scrolled to
        shares = [row.share for row in rows]
        found = [row.summaries[name] for row in rows]
        self.table.fill([*_area_lines(shares, table.unit), *_channel_lines(found, table.unit)])
        self._fill_pairs(name)
        self.show_buttons()

    def _fill_pairs(self, name: str) -> None:
        pairs = [p for p in self._made.pairs or () if p.channel == name]
        letters = {row.number: row.letter for row in self._made.table.rows}
        self.pairs.fill([_pair_line(p, letters) for p in pairs])
        for widget in (self.pairs_title, self.pairs):
            widget.setVisible(bool(pairs))


def _area_lines(shares: list[Any], unit: str) -> list[Line]:
    def line(words: str, cells: list[str], tip: str = "", strong: bool = False) -> Line:
        return Line((words, *cells), tip=tip, strong=strong)

    return [
        line("Area", [percent(s.fraction) for s in shares], strong=True),
        line("  ±", [percent(s.error) for s in shares],
             "Standard error, from the effective number of independent pixels"),
        line("  95 % from", [percent(s.low) for s in shares]),
        line("  to", [percent(s.high) for s in shares]),
        line("  ± if independent", [percent(s.naive / 1.96) for s in shares],
             "What counting pixels as independent would claim; much too little"),
        line("  independent pixels", [plain(s.independent) for s in shares]),
        line(f"  correlation length ({unit})", [plain(s.length) for s in shares],
             "Where the pattern's correlation has fallen to 1/e"),
        line("  boundaries: from", [percent(s.low_zone) for s in shares],
             "If all pixels of its boundary zone belonged to the others"),
        line("  to", [percent(s.high_zone) for s in shares],
             "If all pixels of the others' zones along it belonged to it"),
    ]  # fmt: skip


def _channel_lines(found: list[Any], unit: str) -> list[Line]:
    """All statistics of one channel, in one unit."""
    core = found[0].unit
    known = [abs(s.median) for s in found if math.isfinite(s.median)]
    shown = units.best_unit(max(known), core)[0] if known and core else core

    def line(words: str, name: str, tip: str = "", strong: bool = False) -> Line:
        cells = [number_in(getattr(s, name), math.nan, core, shown) for s in found]
        return Line((words, *cells), tip=tip, strong=strong)

    def share(words: str, name: str, tip: str = "") -> Line:
        return Line((words, *(percent(getattr(s, name)) for s in found)), tip=tip)

    title = CHANNELS[found[0].channel].label + (f" ({shown})" if shown else "")
    return [
        Line((title,), strong=True),
        line("  median", "median", strong=True),
        line("  ±", "median_error", "Standard error from the spread, local terms only"),
        line("  95 % from", "low"), line("  to", "high"),
        share("  common ±", "common", "Standard uncertainty that all pixels share, relative; it "
              "comes on top of the ± of the median and does not average out"),
        line("  ± with common", "total"),
        line("  mean", "mean"), line("  ±", "mean_error"),
        line("  log-normal mean", "lognormal_mean", tip="e^(μ + σ²/2)"),
        line("  mode", "mode", tip="e^(μ - σ²)"),
        Line(("  μ of ln", *(plain(s.mu, 4) for s in found))),
        Line(("  σ of ln", *(plain(s.sigma) for s in found))),
        share("  CV", "cv", "√(e^(σ²) - 1)"),
        line("  quartile from", "lower"), line("  to", "upper"),
        line("  spread", "spread", tip="Robust standard deviation of the pixels"),
        line("  standard deviation", "deviation"),
        line("  pixel's own ±", "own", tip="Median of the local uncertainty of single pixels"),
        line("  spread beyond it", "beyond", tip="What the pixels' own ± does not explain"),
        Line(("  pixels", *(str(s.pixels) for s in found))),
        Line(("  independent pixels", *(plain(s.independent) for s in found))),
        Line((f"  correlation length ({unit})", *(plain(s.length) for s in found))),
    ]  # fmt: skip


def _pair_line(pair: Any, letters: dict[int, str]) -> Line:
    a, b = letters[pair.a], letters[pair.b]
    if not math.isfinite(pair.difference):
        tip = "One of them has too few pixels"
        return Line((f"{b} against {a}", "–", "–", "–"), tip=tip, faint=True)
    shown = units.best_unit(abs(pair.difference), pair.unit)[0] if pair.unit else ""
    difference = units.text_of(pair.difference, pair.unit, pair.difference_error, unit=shown)
    ratio = "–"
    if math.isfinite(pair.ratio):
        ratio = number_in(pair.ratio, pair.ratio_error, "", "")
    p = "< 0.001" if pair.adjusted < 0.001 else plain(pair.adjusted, 2)
    note = "" if pair.told_apart else "These can't be told apart in this channel."
    if pair.made_by:
        p, note = "–", "No test: the components were made by this channel."
    if math.isfinite(pair.difference_common):
        common = units.text_of(pair.difference_common, pair.unit, unit=shown)
        note = f"± {common} of the difference is common to all pixels. {note}".strip()
    left = (f" What is common leaves {percent(pair.common)} in the ratio."
            if math.isfinite(pair.common) else "")  # fmt: skip
    tip = (f"A pixel of {b} shows more than one of {a} in {percent(pair.superiority)} of all "
           f"choices. p holds for all comparisons together.{left}")  # fmt: skip
    return Line((f"{b} against {a}", difference, ratio, p), note=note, tip=tip)
