"""The table of components as comma-separated values: one row a component and channel.

Every row has the same columns, numbers are in the core units that their unit column names, and
what was not worked out is ``nan``. A second file holds the pairs, a third the rule and what was
left out, so that a reviewer can follow the numbers.
"""

from __future__ import annotations

import csv
import json
import math
from collections.abc import Iterable, Sequence
from dataclasses import asdict, fields
from pathlib import Path
from typing import Any

from ..writers.atomic import saving
from .composition import Composition
from .pairs import Pair
from .table import Share, Summary, Table

SHARE = tuple(spec.name for spec in fields(Share))
SUMMARY = tuple(spec.name for spec in fields(Summary) if spec.name not in ("channel", "unit"))


def table_rows(table: Table) -> list[list[Any]]:
    """A head and one row for each component and channel."""
    told = {"naive": "naive_half_width_95"}
    area = (f"area_{told.get(name, name)}" for name in SHARE)
    summary = ("common_relative" if name == "common" else name for name in SUMMARY)
    head = ["component", "name", *area, "length_unit", "channel", "unit", *summary]
    rows: list[list[Any]] = [head]
    for row in table.rows:
        share = [getattr(row.share, name) for name in SHARE]
        for name in table.channels:
            one = row.summaries[name]
            rows.append([row.letter, row.name, *share, table.unit, name, one.unit,
                         *(getattr(one, key) for key in SUMMARY)])  # fmt: skip
    return rows


def pair_rows(table: Table, pairs: Sequence[Pair]) -> list[list[Any]]:
    """A head and one row for each pair and channel; b against a."""
    names = [spec.name for spec in fields(Pair)]
    letters = {row.number: row.letter for row in table.rows}
    told = {"common": "ratio_common_relative", "made_by": "components_made_by_this"}
    rows: list[list[Any]] = [[*(told.get(name, name) for name in names), "told_apart"]]
    for pair in pairs:
        values = asdict(pair) | {"a": letters[pair.a], "b": letters[pair.b]}
        rows.append([*(values[name] for name in names), pair.told_apart])
    return rows


def about(composition: Composition, table: Table) -> dict[str, Any]:
    """Rule, words and what was left out, for JSON."""
    review = getattr(composition.maps.source, "review", None)
    return {
        "decisions": "" if review is None else review.words,
        "decisions sha256": "" if review is None else review.checksum,
        "rule": composition.rule.as_dict(),
        "words": composition.words,
        "remarks": list(table.remarks),
        "pixels": {"map": table.total, "in components": table.labelled},
        "left out": table.left_out,
        "counted in areas only": table.set_aside,
        "independent pixels of the criterion": _finite(composition.independent),
        "candidates": [asdict(one) for one in composition.candidates],
        "caution": "not for qualifying safety-critical or medical parts",
    }


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None


def save_tables(path: str | Path, composition: Composition, table: Table,
                pairs: Sequence[Pair] = ()) -> list[Path]:  # fmt: skip
    """Write the table to `path`, pairs to ``…_pairs.csv`` and the rule to ``…_rule.json``.

    Returns the files written. Raises WriteError in words.
    """
    path = Path(path)
    written = [save_rows(path, table_rows(table))]
    if pairs:
        beside = path.with_name(f"{path.stem}_pairs.csv")
        written.append(save_rows(beside, pair_rows(table, pairs)))
    beside = path.with_name(f"{path.stem}_rule.json")
    with saving(beside) as temporary:
        text = json.dumps(about(composition, table), indent=1, allow_nan=False)
        temporary.write_text(text + "\n", encoding="utf-8")
    return [*written, beside]


def save_rows(path: Path, rows: Iterable[Iterable[Any]]) -> Path:
    """Write rows whose first is the head; returns the file. Raises WriteError in words."""
    with saving(path) as temporary, temporary.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows([_text(value) for value in row] for row in rows)
    return path


def _text(value: Any) -> Any:
    return f"{value:.9g}" if isinstance(value, float) else value
