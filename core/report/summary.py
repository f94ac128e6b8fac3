"""The summary: what the map is made of, how much, how stiff and sticky, how sure, and what not to
believe."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

import numpy as np

from ..calibration import missing, remarks
from ..doubts import DOUBTS, SEVERE
from .parts import WARNING, Block, Note, Paragraph, Section
from .words import STIFF, Draft, area, count, inside, listed, number, percent

FEW = 4
"""Pixels below which no median is told."""


def summary(draft: Draft) -> Section:
    blocks: list[Block] = [Paragraph(" ".join(_measured(draft)))]
    blocks += [Note(words, WARNING) for _, words in
               missing(draft.findings.map, draft.findings.analysis.settings)]  # fmt: skip
    blocks += [Paragraph(words) for words in _made_of(draft)]
    blocks.append(Paragraph(" ".join(believed(draft))))
    blocks += [Note(words, WARNING) for words in _map_doubts(draft)]
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
    yield (f"The map is made of {count(findings.composition.count, 'component')}. "
           f"{findings.composition.words}")  # fmt: skip
    for row in findings.table.rows:
        yield _component(row, findings.composition.title(row.number))
    yield from findings.table.remarks


def _component(row: Any, title: str) -> str:
    share = row.share
    words = f"{title} takes {area(share.fraction)}"
    if math.isfinite(share.error):
        words += (f" ± {area(share.error)} % of the area (95 %: {area(share.low)} to "
                  f"{area(share.high)} %)")  # fmt: skip
    else:
        words += " % of the area"
    told = [_median(row.summaries[name]) for name in (_stiff(row), "adhesion")
            if name in row.summaries and math.isfinite(row.summaries[name].median)]  # fmt: skip
    return f"{words}; {', '.join(told)}." if told else f"{words}; it has no median."


def _stiff(row: Any) -> str:
    return next((name for name in STIFF if name in row.summaries
                 and math.isfinite(row.summaries[name].median)), "")  # fmt: skip


def _median(one: Any) -> str:
    """With all that is known of its ±; what is local and what is common apart."""
    name = inside(one.channel)
    if not math.isfinite(one.common):
        return f"{name} {number(one.median, one.unit, one.median_error)} (local)"
    local = abs(one.median_error / one.median) if one.median else math.nan
    return (f"{name} {number(one.median, one.unit, one.total)} (local ± {percent(local)}, common "
            f"± {percent(one.common)})")  # fmt: skip


def _whole(draft: Draft) -> Iterator[str]:
    """Medians over all used pixels, for a map without components."""
    told = []
    names = [name for name in (draft.stiff, "adhesion", "indentation", "height")
             if name and draft.has(name)]  # fmt: skip
    for name in names:
        one = summary_of_all(draft, name)
        if one is not None and math.isfinite(one.median):
            told.append(_median(one))
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
    from ..uncertainty.groups import group_budget, pitch_of
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
        return replace(found, common=float(group_budget(analysis, used, quantity=name,
                                                        trials=500).common))  # fmt: skip
    except ValueError:
        return found


def believed(draft: Draft) -> Iterator[str]:
    """How many pixels are not believed, and why."""
    findings, analysis = draft.findings, draft.findings.analysis
    there = int(np.count_nonzero(findings.map.index_map >= 0))
    severe = int(np.count_nonzero(analysis.severe))
    if not there:
        yield "No pixel has a curve."
        return
    if severe:
        reasons = [(n, DOUBTS[name].sentence) for name, n in analysis.doubt_counts().items()
                   if DOUBTS[name].severity == SEVERE]  # fmt: skip
        worst = max(reasons, default=(0, ""))
        yield (f"{count(severe, 'pixel is', 'pixels are')} not believed, {percent(severe / there)} "
               f"of those with a curve, because of a severe doubt; the commonest, on "
               f"{count(worst[0], 'curve')}: “{worst[1]}”")  # fmt: skip
    else:
        yield "No pixel carries a severe doubt that holds."
    kept = int(np.count_nonzero(analysis.review.kinds(findings.map.shape) == 1))
    out = 0 if analysis.left_out is None else int(np.count_nonzero(analysis.left_out))
    if out or kept:
        said = [words for n, words in ((out, f"{count(out, 'pixel')} left out"),
                                       (kept, f"{count(kept, 'pixel')} kept in spite of doubts"))
                if n]  # fmt: skip
        yield f"By hand {listed(said)}."
    mild = findings.ranking.count - int(np.count_nonzero(findings.ranking.severe))
    if not mild:
        return
    are = "is" if mild == 1 else "are"
    yield f"{count(mild, 'pixel carries', 'pixels carry')} mild doubts only and {are} used."


def _map_doubts(draft: Draft) -> Iterator[str]:
    for doubt in draft.findings.map_doubts:
        yield f"Doubt about the whole map ({doubt.severity}): {doubt.sentence}"
    if not draft.findings.map_doubts and draft.findings.analysis.constants.lengths:
        return


