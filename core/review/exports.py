"""The decisions as a table: one row a pixel, so that a reviewer can check each."""

from __future__ import annotations

import json
from typing import Any

import numpy as np

from ..analysis import Analysis
from ..decisions import Decision
from ..doubts import names_of

HEAD = ("row", "column", "decision", "number", "doubts", "note", "who", "when", "settings")


def decision_rows(analysis: Analysis) -> list[list[Any]]:
    """The table with its head: every decided pixel in the order of the map.

    ``number`` counts the decisions from 1; pixels that were decided together share it. ``settings``
    is JSON, empty where nothing was corrected.
    """
    fmap, review = analysis.map, analysis.review
    numbers, bits = review.numbers((fmap.shape[0], fmap.shape[1])), analysis.doubts
    rows: list[list[Any]] = [list(HEAD)]
    for row, col in zip(*np.nonzero(numbers >= 0), strict=True):
        number = int(numbers[row, col])
        rows.append([int(row), int(col), *_about(review.decisions[number], number,
                                                 int(bits[row, col]))])  # fmt: skip
    return rows


def _about(decision: Decision, number: int, bits: int) -> list[Any]:
    change = json.dumps(dict(decision.change), sort_keys=True) if decision.change else ""
    return [decision.words, number + 1, " ".join(names_of(bits)), decision.note, decision.who,
            decision.when, change]  # fmt: skip
