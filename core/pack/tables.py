"""The tables of a pack: components, pairs, decisions, doubts, constants, budgets, as rows."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from typing import Any

import numpy as np

from ..channels import CHANNELS
from ..components.exports import pair_rows, table_rows
from ..doubts import DOUBTS
from ..findings import Findings
from ..review import decision_rows
from ..uncertainty import QUANTITIES, group_budget
from ..uncertainty.budget import COLUMNS, lines_of

Rows = list[list[Any]]


def component_table(findings: Findings) -> Rows:
    return [] if findings.table is None else table_rows(findings.table)


def pair_table(findings: Findings) -> Rows:
    if findings.table is None or not findings.pairs:
        return []
    return pair_rows(findings.table, findings.pairs)


def decision_table(findings: Findings) -> Rows:
    return decision_rows(findings.analysis) if findings.analysis.review else []


def doubt_table(findings: Findings) -> Rows:
    """Each doubt about curves: how many curves carry it, and of those how many pixels are used."""
    analysis, rows = findings.analysis, []
    bits, trusted = analysis.doubts, analysis.trusted
    for name, curves in analysis.doubt_counts().items():
        doubt = DOUBTS[name]
        pixels = (bits & np.uint64(doubt.mask)) != 0
        used = int(np.count_nonzero(pixels & trusted))
        rows.append([name, doubt.severity, doubt.sentence, int(curves),
                     int(np.count_nonzero(pixels)), used, doubt.repair])  # fmt: skip
    head = ["doubt", "severity", "sentence", "curves", "pixels", "pixels_used_all_the_same",
            "repair"]  # fmt: skip
    return [head, *rows]


def map_doubt_table(findings: Findings) -> Rows:
    """Each doubt about the whole map: the figure that was judged, then the others behind it."""
    rows: Rows = [["doubt", "severity", "sentence", "figure", "value", "standard_uncertainty",
                   "limit", "unit", "repair"]]  # fmt: skip
    for doubt in findings.map_doubts:
        about = [doubt.name, doubt.severity, doubt.sentence]
        rows.append([*about, "the one that was judged", float(doubt.figure), float(doubt.error),
                     float(doubt.threshold), doubt.unit, doubt.repair])  # fmt: skip
        for words, (value, error, unit) in doubt.evidence.facts.items():
            rows.append([*about, words, float(value), float(error), math.nan, unit, ""])
    return rows if len(rows) > 1 else []


def constant_table(findings: Findings) -> Rows:
    """The constants in use, and where each comes from."""
    used = findings.analysis.constants
    rows: Rows = [["constant", "label", "value", "standard_uncertainty", "unit", "origin",
                   "method"]]  # fmt: skip
    for one in (used.spring_constant, used.deflection_sensitivity, *used.sizes):
        rows.append([one.name, one.label, float(one.value), float(one.error), one.unit, one.origin,
                     one.method])  # fmt: skip
    rows.append(["poisson_ratio", "Poisson ratio of the sample", float(used.poisson_ratio),
                 math.nan, "", "assumed", ""])  # fmt: skip
    return rows


def budget_table(findings: Findings) -> Rows:
    """Budgets of the medians: of each component, or of all pixels in use without components."""
    rows: Rows = [["component", *(name.replace(" ", "_") for name in COLUMNS)]]
    for letter, mask in _groups(findings):
        for quantity in QUANTITIES:
            if not CHANNELS[quantity].asked(findings.analysis.settings):
                continue
            try:
                budget = group_budget(findings.analysis, mask, letter, quantity=quantity)
            except ValueError:  # too few pixels with such a value
                continue
            for line in lines_of(budget, {})[1:]:
                if line[0] != "caution":
                    rows.append([letter, *line])
    return rows if len(rows) > 1 else []


def _groups(findings: Findings) -> Iterator[tuple[str, np.ndarray]]:
    composition, table = findings.composition, findings.table
    if composition is None or table is None:
        yield "all", np.asarray(findings.analysis.trusted)
        return
    for row in table.rows:
        yield row.letter, np.asarray(composition.pixels(row.number, pure=True)) > 0


TABLES: tuple[tuple[str, Callable[[Findings], Rows], str], ...] = (
    ("components", component_table, "each component: area, and the statistics of each channel"),
    ("pairs", pair_table, "components against each other: ratios and what tells them apart"),
    ("decisions", decision_table, "each pixel that a person decided about, and why"),
    ("doubts", doubt_table, "each reason not to believe a curve: on how many, and what mends it"),
    ("map_doubts", map_doubt_table, "reasons not to believe the map as a whole, with figures"),
    ("calibration", constant_table, "the constants in use, their ±, and where they come from"),
    ("budgets", budget_table, "budgets of uncertainty of the medians, term by term"),
)
"""Name of the file without its ending, what makes its rows (none: left out), what it holds."""
