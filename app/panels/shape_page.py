"""The page *Shape* of the panel Components: domains, lengths, interfaces, what lies in what."""

from __future__ import annotations

import math
from typing import Any

from PySide6.QtCore import Signal
from PySide6.QtWidgets import QToolButton, QWidget

from ...core import units
from ...core.components.rule import letter
from .law_page import Page, percent, plain, wrapped
from .law_table import Line, Table

MOST = 12


class ShapePage(Page):
    """Signal save_wanted: the table of all domains as a file."""

    save_wanted = Signal()

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._there = False
        self.words = wrapped("")
        self.table = Table(["", *[""] * MOST], "shapes", words=(0,))
        self.pairs_title = wrapped("Boundaries", "strong")
        self.pairs = Table(["", "Length", "10 to 90 %", "12 to 88 %"], "interfaces", words=(0,))
        self.note = wrapped(
            "Domains touch by edges or corners. Those cut by the border count by half or a quarter "
            "and, with the weights of Miles and Lantuéjoul, not in the mean diameter. Widths are "
            "those of the measured profile; the contact's own is in them.", "muted")  # fmt: skip
        self.save = QToolButton(self)
        self.save.setText("Save domains…")
        self.save.setToolTip("Save a table with one row for each domain")
        for widget in (self.words, self.table, self.pairs_title, self.pairs, self.note):
            self.body.addWidget(widget)
        self.body.addStretch(1)
        self.foot.addStretch(1)
        self.foot.addWidget(self.save)
        self.save.clicked.connect(self.save_wanted)
        self.show_buttons()

    def show_shape(self, report: Any, composition: Any) -> None:
        """A `ShapeReport` and what it is of."""
        self._there = True
        self.show_numbers()
        numbers = list(report.domains)[:MOST]
        letters = [letter(k) for k in numbers]
        self.words.setText("\n".join(report.words(composition)))
        self.table.set_titles(["", *letters, *[""] * (MOST - len(numbers))])
        for column in range(1, MOST + 1):
            self.table.setColumnHidden(column, column > len(numbers))
        self.table.setMinimumWidth(120 + 58 * len(numbers))
        self.table.fill(_lines(report, numbers))
        self.pairs.fill([_pair(report, pair) for pair in report.boundary])
        for widget in (self.pairs, self.pairs_title):
            widget.setVisible(bool(report.boundary))

    def show_buttons(self) -> None:
        self.save.setEnabled(self._there)

    def clear(self) -> None:
        super().clear()
        self._there = False
        self.words.setText("")
        self.show_buttons()


def _lines(report: Any, numbers: list[int]) -> list[Line]:
    domains = [report.domains[k] for k in numbers]
    lengths = [report.lengths[k] for k in numbers]
    chords = [report.chords[k] for k in numbers]
    unit, area = report.unit, "µm²" if report.unit == "nm" else "pixels"
    factor = 1e6 if report.unit == "nm" else 1.0

    def line(words: str, cells: list[str], tip: str = "", strong: bool = False) -> Line:
        return Line((words, *cells), tip=tip, strong=strong)

    def median(name: str) -> list[str]:
        return [plain(_median(getattr(d, name))) for d in domains]

    return [
        line("Domains", [str(d.count) for d in domains], strong=True),
        line("  cut by the border", [str(int(d.cut.sum())) for d in domains]),
        line(f"  per {area}", [plain(d.density * factor) for d in domains]),
        line("  in the largest", [percent(d.largest_share) for d in domains],
             "Share of the component's area in its largest domain"),
        line("  from side to side", ["yes" if d.spans else "no" for d in domains]),
        line("  domains less holes", [str(d.euler) for d in domains], "Euler number"),
        line(f"Diameter ({unit})", ["" for _ in domains], strong=True),
        line("  mean, whole ones", [plain(d.mean_diameter) for d in domains],
             "Of a circle of the same area, weighted for those that the border cuts"),
        line("  median, all", median("diameter")),
        line("  mean by area", [plain(d.area_weighted_diameter) for d in domains]),
        line("Shape", ["" for _ in domains], strong=True),
        line("  circularity", median("circularity"), "Median of 4π area/perimeter²"),
        line("  aspect ratio", median("aspect")),
        line(f"Distance ({unit})", ["" for _ in domains], strong=True),
        line("  edge to edge", median("gap"), "To the nearest other domain, median"),
        line("  centre to centre", median("apart")),
        line("  against random", [plain(d.clustering) for d in domains],
             "Mean nearest distance over that of points at random: below 1 in clusters, above 1 "
             "if domains keep apart"),
        line(f"Lengths ({unit})", ["" for _ in domains], strong=True),
        line("  correlation, 1/e", [plain(one.decay) for one in lengths]),
        line("  along x / along y", [plain(one.anisotropy) for one in lengths]),
        line("  spacing", [plain(one.spacing) for one in lengths],
             "First maximum of the correlation after its first minimum"),
        line("  its strength", [plain(one.strength, 2) for one in lengths]),
        line("  chord along x", [plain(one.inside_x) for one in chords]),
        line("  chord along y", [plain(one.inside_y) for one in chords]),
    ]  # fmt: skip


def _median(values: Any) -> float:
    known = [v for v in values if math.isfinite(v)]
    return sorted(known)[len(known) // 2] if known else math.nan


def _pair(report: Any, pair: tuple[int, int]) -> Line:
    a, b = (letter(k) for k in pair)
    edge = report.interfaces[pair].edge
    widths = [plain(edge.width_10_90), plain(edge.width_12_88)]
    if edge.sigma == edge.sigma and not edge.resolved:
        widths = [f"≤ {w}" for w in widths]
    length = f"{plain(report.boundary[pair])} {report.unit}"
    if report.unit == "nm":
        length = units.text_of(report.boundary[pair], "nm")
    return Line((f"{a} and {b}", length, *(f"{w} {report.unit}" for w in widths)), tip=edge.reason)
