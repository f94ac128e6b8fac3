"""How much of each component there is, how stiff and sticky, pairs, and what the ± is made of."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

from ..channels import CHANNELS
from ..components.pairs import words_of
from ..errors import InputError
from ..uncertainty import group_budget, pixel_budget
from ..units import text_of
from .parts import Block, Column, Heading, Listing, Note, Paragraph, Section, Table
from .summary import summary_of_all
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

TRIALS = 50_000
TOLD = ("modulus", "reduced_modulus", "stiffness", "adhesion", "release_force",
        "work_of_adhesion", "dissipation", "indentation")  # fmt: skip
SUMMARY = (
    Column("Quantity, component"), Column("Median", number=True), Column("± local", number=True),
    Column("± common", number=True), Column("± in all", number=True),
    Column("Quartiles", number=True), Column("95 % interval (local)", number=True),
    Column("Pixels", number=True), Column("Independent", number=True),
)  # fmt: skip
SUMMARY_NOTES = (
    "Medians over pixels that are used and lie away from boundaries. ± local: standard error of "
    "the median over the independent pixels. ± common: what spring constant, sensitivity, tip and "
    "assumed constants leave open for all pixels alike. ± in all: both together.",
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
        blocks.append(_summaries(findings.table, findings.composition))
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
        open_ = f"{area(s.low_zone)} to {area(s.high_zone)}"
        rows.append((findings.composition.title(row.number), area(s.fraction), area(s.error),
                     f"{area(s.low)} to {area(s.high)}", open_, f"{s.pixels:,}",
                     plain(s.independent), plain(s.length), f"{assumed:g}"))  # fmt: skip
    notes = ("The ± of an area is of the material, of which this field is one sample. “With "
             "boundaries either way” counts all pixels of the boundary zones as the others' or as "
             "its own.",)  # fmt: skip
    return Table("How much of each component there is", columns, tuple(rows), notes)


def _summaries(table: Any, composition: Any) -> Table:
    rows: list[tuple[str, ...]] = []
    strong: set[int] = set()
    for name in (n for n in TOLD if n in table.channels):
        found = [row.summaries[name] for row in table.rows]
        unit = common_unit((one.median for one in found), found[0].unit)
        titles = [composition.title(row.number) for row in table.rows]
        rows += _lines(name, unit, zip(titles, found, strict=True))
    return Table("How stiff and how sticky each component is", SUMMARY, tuple(rows), SUMMARY_NOTES,
                 frozenset(strong))  # fmt: skip


def _lines(name: str, unit: str, found: Any) -> Iterator[tuple[str, ...]]:
    times = factor(CHANNELS[name].unit, unit)
    head = f"{label(name)} ({unit})" if unit else label(name)
    for title, one in found:
        yield (f"{head}, {title}", *_numbers(one, times))


def _numbers(one: Any, times: float) -> tuple[str, ...]:
    error = one.median_error * times
    common = abs(one.common * one.median) * times
    total = one.total * times if math.isfinite(one.common) else math.nan
    ends = [figures(v * times, error) for v in (one.lower, one.upper, one.low, one.high)]
    return (figures(one.median * times, error), spread(error), spread(common), spread(total),
            f"{ends[0]} to {ends[1]}", f"{ends[2]} to {ends[3]}", f"{one.pixels:,}",
            plain(one.independent))  # fmt: skip


def _whole_table(draft: Draft) -> list[Block]:
    rows: list[tuple[str, ...]] = []
    for name in (*TOLD, "height", "contact_height"):
        one = summary_of_all(draft, name) if draft.has(name) else None
        if one is not None and math.isfinite(one.median):
            unit = common_unit([one.median], one.unit)
            rows += _lines(name, unit, [("all pixels", one)])
    if not rows:
        return [Paragraph("There are too few pixels with a value for a table.")]
    return [Table("Medians over all pixels that are used", SUMMARY, tuple(rows), SUMMARY_NOTES)]


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
        Column("95 % of the ratio", number=True), Column("± common of it", number=True),
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
             "common to all pixels cancels in a ratio as far as both answer to it alike. p: by "
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
            spread(pair.difference_common * times), plain(pair.ratio), ends, percent(pair.common),
            p, apart)  # fmt: skip


# ---- what the ± is made of

BUDGET = (
    Column("Input"), Column("Kind"), Column("Value", number=True), Column("±", number=True),
    Column("Sensitivity", number=True), Column("Contribution", number=True), Column("From"),
    Column("What it stands for"),
)  # fmt: skip


def budgets(draft: Draft) -> Section:
    """The uncertainty budget of each component's modulus, and of a typical pixel's."""
    blocks: list[Block] = []
    for title, mask in draft.groups():
        draft.progress.check()
        name = _quantity(draft, mask)
        if not name:
            continue
        try:
            budget = group_budget(draft.findings.analysis, mask, title, "median", name, TRIALS)
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


def _quantity(draft: Draft, mask: Any) -> str:
    import numpy as np

    analysis = draft.findings.analysis
    good = mask & draft.trusted
    for name in STIFF:
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
    ends = f"{_interval(low, high, budget.unit)} (95 %, on the logarithm)"
    rows.append(("In all", "combined", value, NONE, NONE, percent(budget.total), NONE, ends))
    return Table(caption, BUDGET, tuple(rows), tuple(_budget_notes(budget)),
                 frozenset({first + 2}))  # fmt: skip


def _term(term: Any) -> tuple[str, ...]:
    slope = plain(term.sensitivity)
    if term.per not in ("", "1"):
        slope += f" per {term.per}"
    error = f"{term.error:.2g} {term.unit}".strip() if math.isfinite(term.error) else NONE
    return (term.label, term.kind, text_of(term.value, term.unit), error, slope,
            percent(term.contribution), term.origin, term.note or NONE)  # fmt: skip


def _budget_notes(budget: Any) -> Iterator[str]:
    carlo = budget.monte_carlo
    yield (f"Monte Carlo of {carlo.trials:,} trials: median {text_of(carlo.median, budget.unit)}, "
           f"95 % from {_interval(carlo.low, carlo.high, budget.unit)}.")  # fmt: skip
    for a, b, r in budget.correlations:
        yield f"{a.replace('_', ' ')} with {b.replace('_', ' ')}: correlation {r:.2f} as stated."


def _interval(low: float, high: float, unit: str) -> str:
    shown = unit_for([low, high], unit)
    end = "no upper bound" if math.isinf(high) else text_of(high, unit, unit=shown)
    return f"{text_of(low, unit, unit=shown)} to {end}"
