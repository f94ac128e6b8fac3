"""Example curves: which, by what rule, and their values with each doubt they carry."""

from __future__ import annotations

import math
from typing import Any

from ..channels import CHANNELS
from ..errors import ReadError
from ..units import text_of
from .drawing import title_of
from .parts import Block, Column, Listing, Note, Paragraph, Section, Table
from .words import NONE, Draft, plain, unit_for, with_unit

VALUES = ("modulus", "adhesion", "indentation", "peak_force", "contact_point")


def examples(draft: Draft) -> Section:
    from .drawing import curves

    found = draft.examples
    if not found:
        return Section("curves", "Example curves", (Note(
            "No pixel fits any of the rules by which curves are shown."),))  # fmt: skip
    reports = []
    for one in found:
        draft.progress.check()
        try:
            reports.append((one, draft.findings.explain(one.row, one.col)))
        except ReadError as error:
            draft.left_out.append(f"The curve at row {one.row}, column {one.col}: {error}")
    blocks: list[Block] = [Paragraph("By which rule each curve was chosen:"), Listing(tuple(
        f"Row {one.row}, column {one.col}: {one.words}" for one in found)), *curves(draft)]
    known = [(one, report) for one, report in reports if report is not None]
    if known:
        blocks += [_table(known), *_doubts(known)]
    return Section("curves", "Example curves", tuple(blocks))


def _table(known: list[tuple[Any, Any]]) -> Table:
    columns = (
        Column("Curve"), Column("Row, column"),
        *(Column(CHANNELS[name].label, number=True) for name in VALUES),
        Column("Fit window, z", "nm", True), Column("Residual", "× noise", True),
    )  # fmt: skip
    rows = []
    for one, report in known:
        values = [_shown(v, CHANNELS[name].unit, e) for name in VALUES
                  for v, e in [report.values.get(name, (math.nan, math.nan))]]  # fmt: skip
        low, high = report.window
        window = f"{low:.4g} to {high:.4g}" if math.isfinite(low) else NONE
        branch = f", {report.window_branch}" if math.isfinite(low) else ""
        residual = plain(report.values.get("residual", (math.nan, math.nan))[0])
        rows.append((title_of(one), f"{one.row}, {one.col}", *values, window + branch, residual))
    notes = ("Chosen by rule, not by hand, as told above. ± is the curve's own standard "
             "uncertainty; what is common to all pixels is not in it. Rows and columns count from "
             "0; row 0 is the first scan line, drawn at the bottom.",)  # fmt: skip
    return Table("The values of these curves", columns, tuple(rows), notes)


def _shown(value: float, core: str, error: float) -> str:
    """A number with its ± in the unit that fits the larger of both."""
    unit = unit_for([value, error], core)
    return text_of(value, core, error, unit).replace("-", "−")


def _doubts(known: list[tuple[Any, Any]]) -> list[Block]:
    """Each doubt once, with the curve's own figure beside the threshold."""
    columns = (Column("Curve"), Column("Row, column"), Column("Severity"), Column("Doubt"),
               Column("Figure here", number=True), Column("Threshold", number=True))  # fmt: skip
    rows = tuple((title_of(one), f"{one.row}, {one.col}", doubt.severity, doubt.sentence,
                  *(with_unit(value, doubt.unit) if doubt.unit else NONE
                    for value in (doubt.figure, doubt.threshold)))
                 for one, report in known for doubt in report.doubts)  # fmt: skip
    if not rows:
        return [Paragraph("None of these curves carries a doubt.")]
    return [Table("Doubts about these curves", columns, rows)]
