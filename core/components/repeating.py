"""Components of a saved result made anew from its rule, and where they differ from the file's."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from ..channels import CHANNELS, asked_for
from .composition import Composition
from .exports import table_rows
from .finding import find
from .maps import Maps
from .pairs import Pair, pairs_of
from .rule import Rule
from .saving import write_components
from .table import Table, table_of

if TYPE_CHECKING:
    from ..analysis import Analysis
    from ..progress import Progress
    from ..readers.analysis import LoadedComponents

SAME = 1e-9
"""Relative: numbers that differ by less are the same."""
COMPARED = {"median": "median", "area_fraction": "area"}
"""Column of the table -> what it is called."""


@dataclass(frozen=True, eq=False)
class Repeated:
    """Components with their table and pairs."""

    composition: Composition
    table: Table
    pairs: tuple[Pair, ...]

    def write(self, entry: Any) -> None:
        """Into a result file's entry."""
        write_components(entry, self.composition, self.table, self.pairs)


def repeated(analysis: Analysis, saved: LoadedComponents, progress: Progress | None = None,
             whole: bool = True) -> Repeated:  # fmt: skip
    """The components of an analysis by the rule of a saved result, with the channels of its table;
    without `whole` without what is common to all pixels and without pairs.

    Raises
    ------
    ValueError : there are none by this rule; SettingsError : the rule can't be used
    """
    from .common import pairs_with_common, with_common

    found = find(Maps.of(analysis), Rule.from_json(saved.rule), progress)
    known = asked_for(analysis.settings)
    channels = tuple(name for name in _channels(saved) if name in known)
    table = table_of(found, channels or None)
    if not whole:
        return Repeated(found, table, ())
    table = with_common(found, table)
    return Repeated(found, table, tuple(pairs_with_common(found, pairs_of(found, table), table)))


def _channels(saved: LoadedComponents) -> tuple[str, ...]:
    """Of the saved table, in its order."""
    if not saved.table or "channel" not in saved.table[0]:
        return ()
    at = saved.table[0].index("channel")
    return tuple(dict.fromkeys(str(row[at]) for row in saved.table[1:] if len(row) > at))


def changes(saved: LoadedComponents, now: Repeated) -> list[str]:
    """Where labels, areas and medians differ from those of the file, in words; empty if nowhere."""
    found = []
    labels = np.asarray(now.composition.labels)
    moved = saved.labels.size if saved.labels.shape != labels.shape else int(
        np.count_nonzero(saved.labels != labels))  # fmt: skip
    if moved:
        found.append(f"{moved:,} pixels belong to another component")
    elif saved.labels.shape == labels.shape:
        found += _sureness(saved, now)
    old, new = _numbers(saved.table), _numbers(table_rows(now.table))
    lost = sorted({key[0] for key in old} ^ {key[0] for key in new}) if old else []
    if lost:
        found.append(f"component {', '.join(lost)} is in one of both only")
    told = set()
    for key, before in old.items():
        letter, channel, column = key
        if key not in new:
            continue
        off = _away(before, new[key])
        words = f"the {COMPARED[column]} of component {letter}"
        if column == "median":
            label = CHANNELS[channel].label if channel in CHANNELS else channel
            words = f"the median {label} of component {letter}"
        if off > SAME and words not in told:
            told.add(words)
            found.append(words + (f" (by {100 * off:.2g} %)" if math.isfinite(off) else ""))
    return found


def _sureness(saved: LoadedComponents, now: Repeated) -> list[str]:
    """Where memberships, which are stored as float32, and kinds of pixels differ."""
    found = []
    alike = np.isclose(saved.membership, np.asarray(now.composition.membership, np.float32),
                       rtol=1e-6, atol=1e-7, equal_nan=True)  # fmt: skip
    for words, off in (("the membership of", ~alike),
                       ("the kind of", saved.kinds != now.composition.kinds)):  # fmt: skip
        if count := int(np.count_nonzero(off)):
            found.append(f"{words} {count:,} pixels")
    return found


def _numbers(rows: list[list[Any]]) -> dict[tuple[str, str, str], float]:
    """(letter, channel, column) -> number, NaN for none, of a table whose first row is the head."""
    found: dict[tuple[str, str, str], float] = {}
    head = rows[0] if rows else []
    if not {"component", "channel", *COMPARED} <= set(head):
        return found
    for row in rows[1:]:
        cells = dict(zip(head, row, strict=False))
        for column in COMPARED:
            value = cells.get(column)
            number = float(value) if isinstance(value, (int, float)) else math.nan
            found[str(cells.get("component")), str(cells.get("channel")), column] = number
    return found


def _away(old: float, new: float) -> float:
    """By what share two numbers differ; infinite where only one is there."""
    if math.isnan(old) or math.isnan(new):
        return 0.0 if math.isnan(old) and math.isnan(new) else math.inf
    scale = max(abs(old), abs(new))
    return abs(old - new) / scale if scale > 0.0 else 0.0
