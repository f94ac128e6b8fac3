"""What is doubted: single curves and the map as a whole, with thresholds and evidence; and what was
decided about it, with its effect."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator
from typing import Any

import numpy as np

from ..channels import CHANNELS
from ..corrections import problems
from ..doubts import DOUBTS, SEVERE
from ..errors import InputError
from ..review import effect
from ..review.effects import share_of
from ..review.ranking import figures as figures_of
from .drawing import evidence
from .parts import WARNING, Block, Column, Heading, Listing, Note, Paragraph, Section, Table
from .summary import believed, not_judged
from .words import (
    NONE,
    Draft,
    common_unit,
    count,
    factor,
    figures,
    inside,
    percent,
    sentence,
    with_unit,
)

SHOWN_EFFECTS = 8
"""Decisions whose own effect is worked out, those about most pixels first; each means going through
the map again."""
MOST_DECISIONS = 200


def doubts(draft: Draft) -> Section:
    analysis = draft.findings.analysis
    blocks: list[Block] = [Paragraph(" ".join(believed(draft)))]
    rows: list[tuple[str, ...]] = []
    strong: set[int] = set()
    total = max(draft.findings.map.n_curves, 1)
    for name in _in_order(analysis):
        doubt, n = DOUBTS[name], analysis.doubt_counts()[name]
        if doubt.severity == SEVERE:
            strong.add(len(rows))
        rows.append((doubt.sentence, doubt.severity, f"{n:,}", percent(n / total),
                     *_figures(analysis, doubt), doubt.repair or NONE))  # fmt: skip
    if rows:
        columns = (
            Column("Doubt"), Column("Severity"), Column("Curves", number=True),
            Column("Share", number=True), Column("Threshold"), Column("Median figure of these"),
            Column("What to do"),
        )  # fmt: skip
        notes = ("A severe doubt keeps a curve out of every statistic unless somebody decided to "
                 "keep it; a mild one does not. A curve can carry several. Counted are all curves, "
                 "also those that were left out or kept by hand.",)  # fmt: skip
        blocks.append(Table("Doubts about single curves", columns, tuple(rows), notes,
                            frozenset(strong)))  # fmt: skip
    else:
        blocks.append(Paragraph("No curve carries a doubt."))
    blocks += _of_map(draft)
    return Section("doubts", "Doubts", tuple(blocks))


def _in_order(analysis: Any) -> list[str]:
    counts = analysis.doubt_counts()
    return sorted(counts, key=lambda name: (DOUBTS[name].severity != SEVERE, -counts[name]))


def _figures(analysis: Any, doubt: Any) -> tuple[str, str]:
    """The threshold, and the median figure of the curves that carry the doubt."""
    limit = float(doubt.threshold(analysis.settings.doubts))
    has = (analysis.curve_doubts & np.uint64(doubt.mask)) != 0
    found = figures_of(analysis, doubt)[has]
    found = found[np.isfinite(found)]
    middle = float(np.median(found)) if found.size and doubt.unit else math.nan
    return with_unit(limit, doubt.unit), with_unit(middle, doubt.unit)


def _of_map(draft: Draft) -> list[Block]:
    blocks: list[Block] = [Heading("The map as a whole")]
    found = draft.findings.map_doubts
    if not draft.findings.analysis.constants.lengths:
        return [*blocks, Note("Without a deflection in nm the map as a whole can't be judged.")]
    lacking = not_judged(draft)
    if not found:
        blocks.append(Paragraph("No doubt about the map as a whole was found in what could be "
                                "judged." if lacking else
            "No doubt about the map as a whole was found: no change of the tip, no drift and no "
            "wrong sensitivity stands out."))  # fmt: skip
    blocks += [Note(words) for words in lacking]
    for doubt in found:
        limit = with_unit(doubt.threshold, doubt.unit)
        ours = f" Judged by {_fact(doubt.figure, doubt.error, doubt.unit)}; threshold {limit}."
        blocks.append(Note(f"{doubt.severity.capitalize()}: {doubt.sentence}{ours} {doubt.repair}",
                           WARNING))  # fmt: skip
        blocks += evidence(draft, doubt)
        if doubt.evidence.facts:
            rows = tuple((words, _fact(*fact)) for words, fact in doubt.evidence.facts.items())
            about = doubt.name.replace("_", " ")
            blocks.append(Table(f"Figures behind the doubt “{about}”",
                                (Column("What"), Column("Figure", number=True)), rows))
    return blocks


def _fact(value: float, error: float, unit: str) -> str:
    if not math.isfinite(value):
        return NONE
    if math.isfinite(error) and error > 0.0:
        from .words import spread

        return f"{figures(value, error)} ± {spread(error)} {unit}".strip()
    return with_unit(value, unit)


# ---- decisions


def decisions(draft: Draft) -> Section:
    findings = draft.findings
    review = findings.analysis.review
    if not review:
        return Section("decisions", "Decisions", (Paragraph(
            "Nothing was decided about single pixels by hand."),))  # fmt: skip
    blocks: list[Block] = [Paragraph(sentence(review.words.capitalize()))]
    blocks += [Note(words, WARNING) for words in problems(findings.analysis)]
    blocks.append(_table(review.decisions))
    if len(review.decisions) > MOST_DECISIONS:
        left = len(review.decisions) - MOST_DECISIONS
        draft.left_out.append(f"The last {left:,} of {len(review.decisions):,} decisions: they are "
                              "in the result file and its table of decisions.")  # fmt: skip
    blocks += _effects(draft)
    return Section("decisions", "Decisions and what they change", tuple(blocks))


def _table(found: Any) -> Table:
    columns = (Column("Number"), Column("Decision"), Column("Pixels", number=True), Column("Who"),
               Column("When"), Column("Note"), Column("Settings instead"))  # fmt: skip
    rows = tuple((str(at), one.words, f"{one.pixels.count:,}", one.who or NONE, one.when or NONE,
                  one.note or NONE, _change(one)) for at, one in
                 enumerate(found[:MOST_DECISIONS], start=1))  # fmt: skip
    return Table("What was decided about single pixels, oldest first", columns, rows)


def _change(decision: Any) -> str:
    pairs = dict(decision.change)
    return ", ".join(f"{k} = {json.dumps(v)}" for k, v in pairs.items()) if pairs else NONE


def _effects(draft: Draft) -> Iterator[Block]:
    """What all decisions together do, and the largest ones by themselves."""
    findings, review = draft.findings, draft.findings.analysis.review
    labels = findings.labels
    names = () if findings.composition is None else tuple(
        findings.composition.title(k) for k in range(findings.composition.count))  # fmt: skip
    try:
        whole = effect(findings.analysis, None, labels, names, draft.progress)
    except InputError as error:
        draft.left_out.append(f"What the decisions change: {error}")
        yield Note(f"What the decisions change can't be told: {error}", WARNING)
        return
    yield Heading("What they change")
    yield Listing(tuple(_first(words) for words in whole.sentences))
    yield _effect_table(whole)
    order = sorted(range(len(review.decisions)), key=lambda n: -review.decisions[n].pixels.count)
    if len(order) < 2:
        return
    told = []
    for at in sorted(order[:SHOWN_EFFECTS]):
        one = effect(findings.analysis, at, labels, names, draft.progress)
        told.append(f"Number {at + 1}: {_first(one.sentences[0])}")
    yield Paragraph("Each by itself, its strongest effect:")
    yield Listing(tuple(told))
    if len(order) > SHOWN_EFFECTS:
        draft.left_out.append(
            f"The effect of {count(len(order) - SHOWN_EFFECTS, 'decision')} by themselves: told of "
            f"the {SHOWN_EFFECTS} about most pixels, and of all together.")  # fmt: skip


def _first(text: str) -> str:
    return text[:1].upper() + text[1:]


def _effect_table(whole: Any) -> Table:
    columns = (Column("Quantity, pixels"), Column("Without", number=True),
               Column("With", number=True), Column("Change", number=True),
               Column("Pixels without", number=True),
               Column("Pixels with", number=True))  # fmt: skip
    rows = []
    for row in whole.rows:
        if not (math.isfinite(row.before) or math.isfinite(row.after)):
            continue
        core = CHANNELS[row.channel].unit
        unit = common_unit([row.before, row.after], core)
        times = factor(core, unit)
        head = f"{_first(inside(row.channel))} ({unit}), {row.title}"
        rows.append((head, figures(row.before * times), figures(row.after * times),
                     percent(share_of(row)), f"{row.trusted_before:,}", f"{row.trusted_after:,}"))
    return Table("Medians without and with all decisions", columns, tuple(rows), (
        "Components are held as they are, so that only the numbers change and not what they are "
        "taken over.",))  # fmt: skip
