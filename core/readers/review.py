"""Reads what was decided about single pixels from a result file."""

from __future__ import annotations

import json
from typing import Any

import numpy as np

from ..decisions import LEFT_OUT, Decision, Pixels, Review
from ..errors import SettingsError
from .guard import MIB, GuardedFile

AT, OVER = "entry/review", "entry/overrides"
MOST = 1_000_000
"""Decisions of one file."""
ALL_TEXTS = 64 * MIB
"""Bytes of one column of texts."""
REPAIR = "Use the earlier version beside it, or make the decisions again from the map."
COLUMNS = ("kind", "when", "who", "note", "change")


def read_review(g: GuardedFile, decision: np.ndarray) -> Review:
    """All decisions; of a file that has only the map of them, those about left-out pixels.

    Parameters
    ----------
    decision : uint8 (rows, cols), the map of kinds

    Raises
    ------
    ReadError : naming the object that is damaged
    """
    shape = (int(decision.shape[0]), int(decision.shape[1]))
    number = g.array(f"{AT}/number", kinds="i", ranks=(2,))
    if number is None:
        return Review().leave_out(Pixels.of(decision == LEFT_OUT)) if decision.any() else Review()
    rows = _rows(g)
    if number.shape != shape or number.min(initial=-1) < -1 or number.max(initial=-1) >= len(rows):
        raise g.fail(f"{AT}/number", "it does not fit the maps or the decisions", REPAIR)
    made = []
    for at, (row, pixels) in enumerate(zip(rows, _sets(number, len(rows), shape), strict=True)):
        try:
            made.append(Decision.from_row(row, pixels))
        except SettingsError as error:
            raise g.fail(f"{AT}, decision {at}", str(error).rstrip("."), REPAIR) from None
    review = Review.of(made)
    if not np.array_equal(review.kinds(shape), decision):
        raise g.fail(f"{AT}/decision", "it says something else than the single decisions", REPAIR)
    _check_overrides(g, review, shape)
    return review


def _rows(g: GuardedFile) -> list[dict[str, Any]]:
    columns = {name: g.texts(f"{AT}/{name}", MOST, ALL_TEXTS) for name in COLUMNS}
    if len({len(values) for values in columns.values()}) != 1:
        raise g.fail(AT, "its columns are not of one length", REPAIR)
    columns["change"] = [_change(g, at, text) for at, text in enumerate(columns["change"])]
    return [dict(zip(COLUMNS, row, strict=True))
            for row in zip(*(columns[name] for name in COLUMNS), strict=True)]  # fmt: skip


def _change(g: GuardedFile, at: int, text: str) -> Any:
    try:
        return json.loads(text) if text else {}
    except (ValueError, RecursionError):
        raise g.fail(f"{AT}/change, decision {at}", "it is not JSON", REPAIR) from None


def _sets(number: np.ndarray, count: int, shape: tuple[int, int]) -> list[Pixels]:
    """The pixels of each decision: those that bear its number."""
    flat = number.ravel()
    order = np.argsort(flat, kind="stable")
    edges = np.searchsorted(flat[order], np.arange(count + 1))
    return [Pixels.at(shape, order[edges[i] : edges[i + 1]]) for i in range(count)]


def _check_overrides(g: GuardedFile, review: Review, shape: tuple[int, int]) -> None:
    if not g.is_group(OVER):
        return
    index = g.array(f"{OVER}/index", kinds="i", ranks=(2,))
    changes = [_change(g, at, text)
               for at, text in enumerate(g.texts(f"{OVER}/changes", MOST, ALL_TEXTS))]  # fmt: skip
    own = Review(review.corrections)
    same = index is not None and np.array_equal(index, own.numbers(shape))
    if not same or changes != [dict(d.change) for d in own.decisions]:
        raise g.fail(OVER, "it says something else than the decisions in review", REPAIR)
