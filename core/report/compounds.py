"""How much of each component there is, how stiff and sticky, pairs, and what the ± is made of."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

from ..channels import CHANNELS
from ..components.pairs import words_of
from ..errors import InputError
from ..uncertainty import pixel_budget
from ..units import text_of
from .held import TRIALS, agrees, budget_of, held, interval_words
from .parts import Block, Column, Heading, Listing, Note, Paragraph, Section, Table
from .summary import area_words, summary_of_all
from .words import (
    NONE,
    STIFF,
    Draft,
    area,
    common_unit,
    factor,
    figures,
    inside,
    label,
    number,
    percent,
    plain,
    spread,
    unit_for,
)

TOLD = ("modulus", "reduced_modulus", "stiffness", "adhesion", "release_force",
        "work_of_adhesion", "dissipation", "indentation")  # fmt: skip
SUMMARY = (
    Column("Quantity, component"), Column("Median", number=True), Column("± local", number=True),
    Column("± common", number=True), Column("± in all", number=True),
    Column("Quartiles", number=True), Column("95 %, local", number=True),
    Column("95 % in all, Monte Carlo", number=True),
    Column("Pixels", number=True), Column("Independent", number=True),
)  # fmt: skip
APART = "†"
"""Marks a first-order ± that Monte Carlo does not bear out."""
SUMMARY_NOTES = (
    "Medians over pixels that are used and lie away from boundaries. ± local: standard error of "
    "the median over the independent pixels. ± common: what spring constant, sensitivity, tip and "
    "assumed constants leave open for all pixels alike. ± in all: both together, of first order. "
    f"{APART}: first order and Monte Carlo differ by more than JCGM 101 (clause 8) tolerates, so "
    "the Monte Carlo interval holds and not the ±.",
    "Independent: how many independent pixels the correlated ones are worth. – : not known.",
)


def components(draft: Draft) -> Section:
    findings = draft.findings
    blocks: list[Block] = []
    if findings.table is None or findings.composition is None:
        why = next((n for n in findings.notes if n.startswith("No components")), "")
        blocks.append(Note(why or "No components were made."))
        draft.left_out.append("Components, their table and pairs: " + (why or "none were made."))
        blocks += _whole_table(draft)
    else:
        blocks.append(Paragraph(findings.composition.words))
        blocks.append(_areas(findings))
        blocks.append(_summaries(draft))
        blocks += [Note(words) for words in findings.table.remarks]
        blocks += _lost(findings.table)
        blocks += _pairs(findings)
    return Section("components", "Components and their numbers", tuple(blocks))


def _areas(findings: Any) -> Table:
    unit = findings.table.unit
    columns = (
        Column("Component"), Column("Area", "%", True), Column("±", "%", True),
        Column("95 % interval", "%", True), Column("With boundaries either way", "%", True),
        Column("Pixels", number=True), Column("Independent", number=True),
        Column("Correlation length", unit, True), Column("Poisson ratio", number=True),
    )  # fmt: skip
    rows = []
    for row in findings.table.rows:
        s = row.share
        ratio = row.poisson_ratio
        assumed = findings.analysis.poisson_ratio if ratio is None else ratio
        likely = _ends([area(s.low), area(s.high)])
        open_ = _ends([area(s.low_zone), area(s.high_zone)])
        rows.append((findings.composition.title(row.number), area(s.fraction), area(s.error),
                     likely, open_, f"{s.pixels:,}",
                     plain(s.independent), plain(s.length), f"{assumed:g}"))  # fmt: skip
    notes = (f"Areas are shares of {area_words(findings.table)}. The ± of an area is of the "
             "material, of which this field is one sample. “With boundaries either way” counts all "
             "pixels of the boundary zones as the others' or as its own.",)  # fmt: skip
    return Table("How much of each component there is", columns, tuple(rows), notes)


def _summaries(draft: Draft) -> Table:
    table, composition = draft.findings.table, draft.findings.composition
    assert table is not None
    assert composition is not None
    rows: list[tuple[str, ...]] = []
    for name in (n for n in TOLD if n in table.channels):
        found = [row.summaries[name] for row in table.rows]
        unit = common_unit((one.median for one in found), found[0].unit)
        rows += [_line(draft, row.number, composition.title(row.number), one, unit)
                 for row, one in zip(table.rows, found, strict=True)]  # fmt: skip
    return _medians("How stiff and how sticky each component is", rows)


def _medians(caption: str, rows: list[tuple[str, ...]]) -> Table:
    """The table, with the rows standing out whose first-order ± does not hold."""
    strong = frozenset(at for at, row in enumerate(rows) if any(APART in cell for cell in row))
    return Table(caption, SUMMARY, tuple(rows), SUMMARY_NOTES, strong)


def _line(draft: Draft, number: int | None, title: str, one: Any, unit: str) -> tuple[str, ...]:
    """One channel of one component, or of all pixels."""
    head = f"{label(one.channel)} ({unit})" if unit else label(one.channel)
    times = factor(CHANNELS[one.channel].unit, unit)
    error = one.median_error * times
    common = abs(one.common * one.median) * times
    total = one.total * times if math.isfinite(one.common) else math.nan
    ends = [figures(v * times, error) for v in (one.lower, one.upper, one.low, one.high)]
    found = held(draft, number, one)
    mark = "" if found is None or found.agrees else f" {APART}"
    return (f"{head}, {title}", figures(one.median * times, error), spread(error), spread(common),
            spread(total) + mark, _ends(ends[:2]), _ends(ends[2:]),
            _whole(found, times), f"{one.pixels:,}", plain(one.independent))  # fmt: skip


def _ends(ends: list[str]) -> str:
    return NONE if ends[0] == ends[1] == NONE else f"{ends[0]} to {ends[1]}"


def _whole(found: Any, times: float) -> str:
    if found is None:
        return NONE
    end = "no upper bound" if math.isinf(found.high) else plain(found.high * times)
    return f"{plain(found.low * times)} to {end}"


def _whole_table(draft: Draft) -> list[Block]:
    rows: list[tuple[str, ...]] = []
    for name in (*TOLD, "height", "contact_height"):
        one = summary_of_all(draft, name) if draft.has(name) else None
        if one is not None and math.isfinite(one.median):
            unit = common_unit([one.median], one.unit)
            rows.append(_line(draft, None, "all pixels", one, unit))
    if not rows:
        return [Paragraph("There are too few pixels with a value for a table.")]
    return [_medians("Medians over all pixels that are used", rows)]


def _lost(table: Any) -> list[Block]:
    found = [f"{n:,} in no component: {words}" for words, n in table.left_out.items()]
    found += [f"{n:,} counted in the areas only: {words}" for words, n in table.set_aside.items()]
    if not found:
        return []
    return [Paragraph(f"Of the {table.total:,} pixels of the map:"), Listing(tuple(found))]


def _pairs(findings: Any) -> list[Block]:
    if not findings.pairs:
        return []
    letters = {row.number: row.letter for row in findings.table.rows}
    columns = (
        Column("Quantity, pair"), Column("Difference", number=True), Column("± local", number=True),
        Column("± common", number=True), Column("Ratio", number=True),
        Column("95 % of the ratio, local", number=True), Column("± common of it", number=True),
        Column("p", number=True), Column("Told apart"),
    )  # fmt: skip
    rows, said = [], []
    for pair in findings.pairs:
        if pair.channel not in TOLD:
            continue
        a, b = letters[pair.a], letters[pair.b]
        rows.append(_pair(pair, a, b))
        if pair.channel in ("reduced_modulus", "adhesion"):
            said.append(words_of(pair, (a, b), CHANNELS[pair.channel].label))
    if not rows:
        return []
    notes = ("Differences and ratios are of the second against the first, of medians. What is "
             "common to all pixels cancels in a ratio as far as both answer to it alike; what is "
             "left of it is told by first order, which is too little where a median bears a "
             f"{APART} in the table above. p: by "
             "Welch, with the independent pixels, and Holm for all comparisons; none where the "
             "components were made by that quantity.",)  # fmt: skip
    return [Heading("Components against each other"), Listing(tuple(said)),
            Table("Pairs of components", columns, tuple(rows), notes)]  # fmt: skip


def _pair(pair: Any, a: str, b: str) -> tuple[str, ...]:
    unit = unit_for([pair.difference], pair.unit)
    times = factor(pair.unit, unit)
    error = pair.difference_error * times
    ends = (f"{plain(pair.ratio_low)} to {plain(pair.ratio_high)}" if math.isfinite(pair.ratio)
            else NONE)  # fmt: skip
    p = NONE if not math.isfinite(pair.adjusted) else (
        "< 0.001" if pair.adjusted < 0.001 else f"{pair.adjusted:.2g}")  # fmt: skip
    apart = "made by it" if pair.made_by else "yes" if pair.told_apart else "no"
    head = f"{CHANNELS[pair.channel].symbol} ({unit}), {b} against {a}"
    return (head, figures(pair.difference * times, error), spread(error),
            spread(pair.difference_common * times), plain(pair.ratio), ends,
            percent(pair.common if math.isfinite(pair.ratio) else math.nan), p, apart)  # fmt: skip


# ---- what the ± is made of

BUDGET = (
    Column("Input"), Column("Kind"), Column("Value", number=True), Column("±", number=True),
    Column("Sensitivity", number=True), Column("Contribution", number=True), Column("From"),
    Column("What it stands for"),
)  # fmt: skip


def budgets(draft: Draft) -> Section:
    """The uncertainty budget of each component's modulus, and of a typical pixel's."""
    blocks: list[Block] = []
    for at, (title, mask) in enumerate(draft.groups()):
        name = _quantity(draft, mask, at)
        if not name:
            continue
        try:
            budget = budget_of(draft, None if draft.findings.composition is None else at, name)
        except (ValueError, InputError) as error:
            draft.left_out.append(f"The uncertainty budget of {title}: {error}.")
            continue
        blocks.append(_budget(budget, f"Median {inside(name)} of {title}: what its ± is made of"))
    blocks += _of_pixel(draft)
    if not blocks:
        blocks.append(Note("No uncertainty budget can be made: no component has a modulus or a "
                           "stiffness."))  # fmt: skip
    else:
        blocks.insert(0, Paragraph(
            "Contributions are relative standard uncertainties of the result; local ones fall with "
            "more pixels, common ones do not. The sensitivity is ∂ ln Q/∂ ln x, and for the local "
            "terms of a pixel by the unit named."))  # fmt: skip
    return Section("uncertainty", "What the uncertainty is made of", tuple(blocks))


def _quantity(draft: Draft, mask: Any, component: int) -> str:
    """What the budget is of: of E* where Young's modulus takes a Poisson ratio of the component's
    own, since the budgets know that of the map."""
    import numpy as np

    analysis, composition = draft.findings.analysis, draft.findings.composition
    own = composition is not None and composition.rule.poisson_ratio(component) is not None
    good = mask & draft.trusted
    for name in STIFF[1:] if own else STIFF:
        values = analysis.channel(name)
        if np.count_nonzero(good & (values > 0.0)) >= 2:
            return name
    return ""


def _of_pixel(draft: Draft) -> list[Block]:
    typical = next((one for one in draft.examples if one.which == "typical"), None)
    if typical is None or not draft.stiff:
        return []
    budget = pixel_budget(draft.findings.analysis, typical.row, typical.col, TRIALS,
                          quantity=draft.stiff)  # fmt: skip
    if budget is None:
        return []
    caption = (f"{label(draft.stiff)} of a single typical pixel (row {typical.row}, column "
               f"{typical.col}): what its ± is made of")  # fmt: skip
    return [_budget(budget, caption)]


def _budget(budget: Any, caption: str) -> Table:
    from ..uncertainty.budget import largest_first

    rows = [_term(term) for term in largest_first(budget.terms)]
    first = len(rows)
    rows += [(words, "combined", NONE, NONE, NONE, percent(size), NONE, NONE) for words, size in (
        ("All local", budget.local), ("All common", budget.common))]  # fmt: skip
    value = number(budget.value, budget.unit, budget.total * abs(budget.value))
    low, high = budget.interval
    ends = f"95 %: {interval_words(low, high, budget.unit)}, first order on the logarithm"
    rows.append(("In all", "combined", value, NONE, NONE, percent(budget.total), NONE, ends))
    carlo, agree = budget.monte_carlo, agrees(budget)
    ends = f"95 %: {interval_words(carlo.low, carlo.high, budget.unit)}"
    rows.append((f"Monte Carlo, {carlo.trials:,} trials", "combined",
                 text_of(carlo.median, budget.unit), NONE, NONE, NONE, NONE,
                 f"{ends}; {'both agree' if agree else 'this interval holds'}"))  # fmt: skip
    return Table(caption, BUDGET, tuple(rows), tuple(_budget_notes(budget)),
                 frozenset({first + 2 if agree else first + 3}))  # fmt: skip


def _term(term: Any) -> tuple[str, ...]:
    slope = plain(term.sensitivity)
    if term.per not in ("", "1"):
        slope += f" per {term.per}"
    error = f"{term.error:.2g} {term.unit}".strip() if math.isfinite(term.error) else NONE
    return (term.label, term.kind, text_of(term.value, term.unit), error, slope,
            percent(term.contribution), term.origin, term.note or NONE)  # fmt: skip


def _budget_notes(budget: Any) -> Iterator[str]:
    if not agrees(budget):
        yield ("First order and Monte Carlo differ by more than half of the last digit of the "
               "standard uncertainty, taken with one digit: then JCGM 101 (clause 8) has the Monte "
               "Carlo interval used.")  # fmt: skip
    for a, b, r in budget.correlations:
        yield f"{a.replace('_', ' ')} with {b.replace('_', ' ')}: correlation {r:.2f} as stated."
