"""The summary: what the map is made of, how much, how stiff and sticky, how sure, and what not to
believe."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

import numpy as np

from ..calibration import missing, remarks
from ..doubts import DOUBTS, SEVERE
from ..errors import InputError
from .held import budget_of, held, interval_words
from .parts import WARNING, Block, Note, Paragraph, Section
from .words import STIFF, Draft, area, count, inside, listed, number, percent

FEW = 4
"""Pixels below which no median is told."""


def summary(draft: Draft) -> Section:
    blocks: list[Block] = [Paragraph(" ".join(_measured(draft)))]
    blocks += [Note(words, WARNING) for _, words in
               missing(draft.findings.map, draft.findings.analysis.settings)]  # fmt: skip
    blocks += [Paragraph(words) for words in _made_of(draft)]
    blocks += [Note(words, WARNING) for words in _not_first_order(draft)]
    blocks.append(Paragraph(" ".join(believed(draft))))
    blocks += [Note(words, WARNING) for words in _map_doubts(draft)]
    blocks += [Note(words) for words in not_judged(draft)]
    notes = [*remarks(draft.findings.map, draft.findings.analysis.settings),
             *draft.findings.analysis.remarks]  # fmt: skip
    blocks += [Note(words) for words in notes]
    return Section("summary", "Summary", tuple(blocks))


def _measured(draft: Draft) -> Iterator[str]:
    from .about import field_words

    yield f"The map has {field_words(draft.findings.map)}."
    used = int(np.count_nonzero(draft.trusted))
    yield f"Used for the numbers below: {count(used, 'pixel')}."
    yield ("Each ± is one standard uncertainty. “Local” is what this map tells of itself, “common” "
           "what moves all pixels together (spring constant, sensitivity, tip, Poisson ratio) and "
           "does not fall by averaging.")  # fmt: skip


def _made_of(draft: Draft) -> Iterator[str]:
    findings = draft.findings
    if findings.table is None or findings.composition is None:
        yield from _whole(draft)
        return
    yield (f"The map has {count(findings.composition.count, 'component')}. "
           f"{findings.composition.words}")  # fmt: skip
    whole = area_words(findings.table)
    none = findings.table.total - findings.table.labelled
    if none:
        yield (f"{count(none, 'pixel belongs', 'pixels belong')} to no component: areas are shares "
               f"of the {findings.table.labelled:,} that do.")  # fmt: skip
    for row in findings.table.rows:
        yield _component(draft, row, findings.composition.title(row.number), whole)
    yield from findings.table.remarks


def area_words(table: Any) -> str:
    """What an area is a share of."""
    return "the area" if table.labelled == table.total else "the labelled area"


def _component(draft: Draft, row: Any, title: str, whole: str) -> str:
    share = row.share
    words = f"{title} takes {area(share.fraction)}"
    if math.isfinite(share.error):
        words += (f" ± {area(share.error)} % of {whole} (95 %: {area(share.low)} to "
                  f"{area(share.high)} %)")  # fmt: skip
    else:
        words += f" % of {whole}"
    told = [_median(draft, row.number, row.summaries[name]) for name in (_stiff(row), "adhesion")
            if name in row.summaries and math.isfinite(row.summaries[name].median)]  # fmt: skip
    return f"{words}; {'; '.join(told)}." if told else f"{words}; it has no median."


def _not_first_order(draft: Draft) -> Iterator[str]:
    """Medians of the summary whose first-order ± does not hold."""
    table, composition = draft.findings.table, draft.findings.composition
    if table is None or composition is None:
        names = [name for name in (draft.stiff, "adhesion") if name and draft.has(name)]
        kept = [one for name in names if (one := summary_of_all(draft, name)) is not None
                and not holds(draft, None, one)]  # fmt: skip
        said = [inside(one.channel) for one in kept]
    else:
        kept_in = {name: [composition.title(row.number) for row in table.rows
                          if name in row.summaries and name in (_stiff(row), "adhesion")
                          and not holds(draft, row.number, row.summaries[name])]
                   for name in (*STIFF, "adhesion")}  # fmt: skip
        said = [f"{inside(name)} of {listed(of)}" for name, of in kept_in.items() if of]
    if said:
        yield (f"First-order propagation and Monte Carlo differ by more than JCGM 101 (clause 8) "
               f"tolerates for: {listed(said)}. There the 95 % interval by Monte Carlo holds; a "
               "first-order ± is only told in brackets.")  # fmt: skip


def holds(draft: Draft, number: int | None, one: Any) -> bool:
    """Whether the first-order ± of a median may be used."""
    found = held(draft, number, one)
    return found is None or found.agrees


def _stiff(row: Any) -> str:
    return next((name for name in STIFF if name in row.summaries
                 and math.isfinite(row.summaries[name].median)), "")  # fmt: skip


def _median(draft: Draft, component: int | None, one: Any) -> str:
    """With all that is known of its ±; what is local and what is common apart."""
    name = inside(one.channel)
    if not math.isfinite(one.common):
        return f"{name} {number(one.median, one.unit, one.median_error)} (local)"
    local = abs(one.median_error / one.median) if one.median else math.nan
    parts = f"local ± {percent(local)}, common ± {percent(one.common)}"
    found = held(draft, component, one)
    if found is None or found.agrees:
        return f"{name} {number(one.median, one.unit, one.total)} ({parts})"
    ends = interval_words(found.low, found.high, one.unit)
    return (f"{name} {number(one.median, one.unit)}, 95 % by Monte Carlo {ends} (first-order "
            f"{parts})")  # fmt: skip


def _whole(draft: Draft) -> Iterator[str]:
    """Medians over all used pixels, for a map without components."""
    told = []
    names = [name for name in (draft.stiff, "adhesion", "indentation", "height")
             if name and draft.has(name)]  # fmt: skip
    for name in names:
        one = summary_of_all(draft, name)
        if one is not None and math.isfinite(one.median):
            told.append(_median(draft, None, one))
    if names and not told:
        yield f"Fewer than {FEW} pixels are used: too few for a median."
    elif told:
        yield f"Medians over all pixels that are used: {'; '.join(told)}."
    else:
        yield "No pixel that is used has a stiffness, an adhesion or a height."


def summary_of_all(draft: Draft, name: str) -> Any:
    """The statistics of a channel over all used pixels, as components have them; None where there
    are too few."""
    from dataclasses import replace

    from ..components.table import summary_of
    from ..uncertainty.effective import Lags
    from ..uncertainty.groups import pitch_of
    from ..uncertainty.inputs import QUANTITIES

    analysis = draft.findings.analysis
    values = np.asarray(analysis.channel(name))
    used = draft.trusted & np.isfinite(values)
    if np.count_nonzero(used) < FEW:
        return None
    found = summary_of(name, values, analysis.errors(name), used, Lags(used, pitch_of(analysis)))
    if name not in QUANTITIES:
        return found
    try:
        return replace(found, common=float(budget_of(draft, None, name).common))
    except (ValueError, InputError):
        return found


def believed(draft: Draft) -> Iterator[str]:
    """How many pixels are not believed, and why."""
    findings, analysis = draft.findings, draft.findings.analysis
    there = int(np.count_nonzero(findings.map.index_map >= 0))
    by_hand = np.zeros(findings.map.shape, bool)
    if analysis.left_out is not None:
        by_hand |= analysis.left_out
    by_rule = np.asarray(analysis.severe) & ~by_hand
    severe = int(np.count_nonzero(by_rule))
    if not there:
        yield "No pixel has a curve."
        return
    if severe:
        bits = np.asarray(analysis.doubts)[by_rule]
        worst = max((int(np.count_nonzero(bits & np.uint64(doubt.mask))), doubt.sentence)
                    for doubt in DOUBTS.values() if doubt.severity == SEVERE)  # fmt: skip
        commonest = "" if severe == 1 else f"; the commonest, on {worst[0]:,} of them"
        yield (f"{count(severe, 'pixel is', 'pixels are')} not believed, {percent(severe / there)} "
               f"of those with a curve, because of a severe doubt{commonest}: “{worst[1]}”"
               )  # fmt: skip
    else:
        yield "No pixel is left out for a severe doubt."
    kept = int(np.count_nonzero(analysis.review.kinds(findings.map.shape) == 1))
    out = 0 if analysis.left_out is None else int(np.count_nonzero(analysis.left_out))
    if out or kept:
        said = [words for n, words in ((out, f"{count(out, 'pixel')} left out"),
                                       (kept, f"{count(kept, 'pixel')} kept in spite of doubts"))
                if n]  # fmt: skip
        yield f"By hand: {listed(said)}."
    clear = (np.asarray(analysis.doubts) & np.uint64(analysis.severe_mask)) == 0
    mild = int(np.count_nonzero((analysis.doubts != 0) & clear & draft.trusted))
    if not mild:
        return
    are = "is" if mild == 1 else "are"
    yield f"{count(mild, 'pixel carries', 'pixels carry')} mild doubts only and {are} used."


def not_judged(draft: Draft) -> list[str]:
    """What of the map as a whole could not be judged, and why; one sentence a reason."""
    reasons: dict[str, list[str]] = {}
    for what, why in draft.findings.not_judged.items():
        reasons.setdefault(why, []).append(what)
    return [f"What could not be judged of the map as a whole: {listed(what)} ({why})."
            for why, what in reasons.items()]  # fmt: skip


def _map_doubts(draft: Draft) -> Iterator[str]:
    for doubt in draft.findings.map_doubts:
        yield f"Doubt about the whole map ({doubt.severity}): {doubt.sentence}"

