"""The calibration card: each constant with its ±, where it comes from, and what is missing."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

from ..calibration import ABSENT, RECORDED, SET, missing, remarks
from ..calibration.typical import ASSUMED, relative_error
from ..uncertainty.inputs import common_inputs
from .parts import WARNING, Block, Column, Listing, Note, Paragraph, Section, Table
from .words import NONE, Draft, number, percent

CARD = (
    Column("Constant"), Column("Value", number=True), Column("±", number=True),
    Column("Value from"), Column("± from"), Column("Found by"), Column("Remark"),
)  # fmt: skip
NOTES = (
    "± is a standard uncertainty. recorded: as the map's file says; set here: given in the "
    "settings; assumed: nothing is known, so a typical value stands for it, or the settings' "
    "default was left as it is.",
)
NEEDS = {"spring_constant": "spring_constant", "deflection_sensitivity": "sensitivity",
         "radius": "tip", "half_angle": "tip", "rounding": "tip"}  # fmt: skip
"""Constant -> the setting that holds its ±."""


def calibration(draft: Draft) -> Section:
    fmap, settings = draft.findings.map, draft.findings.analysis.settings
    blocks: list[Block] = [Table("Constants that all pixels share", CARD, tuple(_rows(draft)),
                                 NOTES)]  # fmt: skip
    lacking = missing(fmap, settings)
    if lacking:
        blocks.append(Paragraph("What is missing, and what that costs:"))
        blocks += [Note(words, WARNING) for _, words in lacking]
    else:
        blocks.append(Paragraph("No constant that these settings need is missing."))
    blocks += [Note(words) for words in remarks(fmap, settings)]
    assumed = list(_assumed(draft))
    if assumed:
        blocks += [Paragraph("Assumed and not measured:"), Listing(tuple(assumed))]
    return Section("calibration", "Calibration card", tuple(blocks))


def _rows(draft: Draft) -> Iterator[tuple[str, ...]]:
    use = draft.findings.analysis.constants
    inputs = {one.name: one for one in _inputs(draft)}
    for one in (use.spring_constant, use.deflection_sensitivity, *use.sizes):
        yield _constant(draft, one, inputs.pop(one.name, None))
    ratio = inputs.pop("poisson_ratio", None)
    yield _poisson(draft, ratio)
    for rest in inputs.values():
        yield (rest.label, number(rest.value, rest.unit), percent(rest.relative),
               NONE, rest.origin, NONE, rest.note or NONE)  # fmt: skip
    if math.isfinite(use.set_force):
        yield ("Set force", number(use.set_force, "nN"), NONE, RECORDED, NONE, NONE,
               "Where the approach was to stop")  # fmt: skip


def _inputs(draft: Draft) -> tuple[Any, ...]:
    """The common inputs of the modulus, with the ± that the budgets take."""
    return common_inputs(draft.findings.analysis, "modulus")[0]


def _constant(draft: Draft, one: Any, given: Any) -> tuple[str, ...]:
    limits = draft.findings.analysis.settings.uncertainty
    note = given.note if given is not None else ""
    if one.origin == ABSENT:
        needed = one.name != "deflection_sensitivity" or draft.findings.map.signal_unit == "V"
        why = "missing" if needed else f"not needed: the map holds {draft.findings.map.signal_unit}"
        if given is None or needed:
            return (one.label, NONE, NONE, why, NONE, NONE, note or NONE)
        return (one.label, NONE, percent(given.relative), why, given.origin, NONE, note or NONE)
    relative, origin = relative_error(one.name, one.value, one.error,
                                      getattr(limits, NEEDS[one.name]))  # fmt: skip
    error = f"{number(relative * one.value, one.unit)} ({percent(relative)})"
    return (one.label, number(one.value, one.unit), error, one.origin, origin, one.method or NONE,
            note or NONE)  # fmt: skip


def _poisson(draft: Draft, given: Any) -> tuple[str, ...]:
    from ..settings import Settings

    settings = draft.findings.analysis.settings
    ratio = settings.sample.poisson_ratio
    origin = ASSUMED if ratio == Settings().sample.poisson_ratio else SET
    error = settings.uncertainty.poisson_ratio
    own = given.origin if given is not None else ASSUMED
    own_ratios = _own_ratios(draft)
    return ("Poisson ratio of the sample", f"{ratio:g}", f"{error:g}", origin, own, NONE,
            own_ratios or "One number for all pixels")  # fmt: skip


def _own_ratios(draft: Draft) -> str:
    table = draft.findings.table
    found = [f"{row.letter}: {row.poisson_ratio:g}" for row in (table.rows if table else ())
             if row.poisson_ratio is not None]  # fmt: skip
    return f"Components with one of their own: {', '.join(found)}" if found else ""


def _assumed(draft: Draft) -> Iterator[str]:
    for one in _inputs(draft):
        known = math.isfinite(one.value)
        if known and one.origin == ASSUMED and one.name != "poisson_ratio":
            yield f"± of the {one.label.lower()}: {percent(one.relative)}, a typical value."
    yield "The Poisson ratio: no force curve tells it."
