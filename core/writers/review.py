"""What was decided about single pixels, in a result file: maps and rows that any viewer shows."""

from __future__ import annotations

import json
from typing import Any

import numpy as np

from ..decisions import CORRECTED, KEPT, KINDS, LEFT_OUT, UNDECIDED, Review
from . import nexus

COUNTS = {"kept": KEPT, "excluded": LEFT_OUT, "corrected": CORRECTED}
"""Attribute of the group -> kind of decision whose pixels it counts."""


def write_review(entry: Any, shape: tuple[int, int], review: Review) -> None:
    """Write the groups ``review`` and ``overrides`` into a result file's entry.

    ``review/decision`` uint8 and ``review/number`` int32 are maps: what was decided about a pixel,
    and by which decision (-1: none). ``kind``, ``when``, ``who``, ``note`` and ``change`` hold one
    text a decision; its pixels are those with its number. ``overrides`` says the same of
    corrections alone: ``index`` int32 (-1: the settings of the map) into ``changes``, each the
    JSON of the settings that differ.
    """
    group = nexus.group(entry, "review", "NXcollection")
    kinds = review.kinds(shape)
    made = nexus.image(group, "decision", kinds, "", "Decision")
    made.attrs.update(
        flag_values=np.arange(len(KINDS), dtype=np.uint8), flag_meanings=" ".join(KINDS)
    )
    for name, kind in COUNTS.items():
        group.attrs[name] = np.uint64(np.count_nonzero(kinds == kind))
    group.attrs["sha256"] = review.checksum
    group.attrs["undecided"] = np.uint64(np.count_nonzero(kinds == UNDECIDED))
    number = nexus.image(group, "number", review.numbers(shape), "", "Number of the decision")
    number.attrs["description"] = "place in kind, when, who, note and change; -1: none"
    about = review.decisions
    columns = {
        "kind": [KINDS[d.kind] for d in about], "when": [d.when for d in about],
        "who": [d.who for d in about], "note": [d.note for d in about],
        "change": [as_json(d.change) for d in about],
    }  # fmt: skip
    for name, values in columns.items():
        nexus.column(group, name, values)
    _write_overrides(entry, shape, review)


def _write_overrides(entry: Any, shape: tuple[int, int], review: Review) -> None:
    corrections = review.corrections
    if not corrections:
        return
    group = nexus.group(entry, "overrides", "NXcollection")
    index = nexus.image(group, "index", Review(corrections).numbers(shape), "", "Correction")
    index.attrs["description"] = "place in changes; -1: the settings of the map"
    nexus.column(group, "changes", [as_json(d.change) for d in corrections])


def as_json(change: Any) -> str:
    """Settings that differ as canonical JSON; empty for none."""
    if not change:
        return ""
    return json.dumps(dict(change), sort_keys=True, separators=(",", ":"), allow_nan=False)
