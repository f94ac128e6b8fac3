"""A file of a pack against the same file made anew: tables number by number, texts as they are."""

from __future__ import annotations

import csv
import io
import json
import math
import re
from collections.abc import Mapping
from collections.abc import Set as AbstractSet
from pathlib import Path
from typing import Any

from ..errors import ReadError
from .checksums import AGAIN

SAME = 2e-8
"""Relative: numbers in tables have nine digits, so their last one may round the other way."""
ZERO = 1e-12
"""Of the largest number in a column: what is less is what is left of a difference."""
PROBABILITIES = ("p", "adjusted")
"""Columns whose small numbers are no leftovers: each has its own size."""
MISSING = ("", "nan")
"""How tables write that there is no number."""
LARGEST = 512 * 1024**2
ELSEWHERE: dict[str, set[str]] = {
    "datapackage.json": {"created", "program", "sources", "resources.hash", "resources.bytes"},
    "source.json": {"map.file", "notes", "palpate"},
}
"""File -> entries that say when, with what and from where it was made, not what it holds; sums of
its files are held by ``CHECKSUMS.sha256``."""
_FROM = (r"Palpate \S+ \(Python [^()]*\)", r"the file “[^”]*” \(SHA-256")
"""What a methods paragraph says of libraries, and of a map's name, which a pack makes plain."""


def differs(packed: Path, anew: Path) -> str:
    """In what a file of a pack differs from the one made anew, a clause; empty if in nothing.

    Raises ReadError if the pack's can't be read.
    """
    if not packed.is_file():
        return "it is missing in the pack"
    old, new = _read(packed), _read(anew)
    if old == new:
        return ""
    if packed.suffix.lower() == ".json":
        return _plain(old, new, ELSEWHERE.get(packed.name, set()))
    if packed.parent.name == "methods":
        for pattern in _FROM:
            old, new = re.sub(pattern, "", old), re.sub(pattern, "", new)
        return _text(old, new)
    return _table(old, new) if packed.suffix.lower() == ".csv" else _text(old, new)


def _read(path: Path) -> str:
    try:
        if path.stat().st_size > LARGEST:
            raise ReadError(path, "it is too large to be compared", AGAIN)
        return path.read_text(encoding="utf-8")
    except UnicodeDecodeError:
        raise ReadError(path, "it is damaged: it is no text", AGAIN) from None
    except OSError as error:
        raise ReadError(path, f"it can't be read ({error.strerror})", AGAIN) from None


def _table(old: str, new: str) -> str:
    try:
        before, after = _rows(old), _rows(new)
    except csv.Error as error:
        return f"it is no table ({error})"
    if old.startswith("#") and not new.startswith("#"):
        return f"it begins with “{old.splitlines()[0][:60]}”, which was not made anew"
    return rows_apart(before, after)


def rows_apart(before: list[list[str]], after: list[list[str]], same: float = SAME) -> str:
    """In what two tables differ, whose first row is the head; empty if in nothing."""
    if not (before and after) or before[0] != after[0]:
        return "its columns are others"
    if len(before) != len(after):
        return f"it has {len(before) - 1:,} rows, made anew {len(after) - 1:,}"
    scales = [0.0 if name in PROBABILITIES else scale
              for name, scale in zip(after[0], _scales(after), strict=True)]  # fmt: skip
    found, first = 0, ""
    for number, (was, now) in enumerate(zip(before, after, strict=True)):
        if len(was) != len(now):
            return f"row {number} has another length"
        for at, (a, b) in enumerate(zip(was, now, strict=True)):
            if a == b or _close(a, b, scales[at] if at < len(scales) else 0.0, same):
                continue
            found += 1
            column = after[0][at] if at < len(after[0]) else f"column {at + 1}"
            was_now = (value[:40] or "empty" for value in (a, b))
            first = first or f"first in row {number}, {column}: {', made anew '.join(was_now)}"
    count = "1 entry differs" if found == 1 else f"{found:,} entries differ"
    return f"{count}; {first}" if found else ""


def _rows(text: str) -> list[list[str]]:
    return list(csv.reader(io.StringIO(text, newline="")))


def _scales(rows: list[list[str]]) -> list[float]:
    """The largest finite number of each column, without its sign."""
    width = len(rows[0]) if rows else 0
    found = [0.0] * width
    for row in rows[1:]:
        for at, cell in enumerate(row[:width]):
            value = abs(_number(cell))
            if math.isfinite(value) and value > found[at]:
                found[at] = value
    return found


def _close(a: str, b: str, scale: float, same: float) -> bool:
    old, new = _number(a), _number(b)
    if math.isnan(old) or math.isnan(new):
        return a.lower() in MISSING and b.lower() in MISSING
    return math.isclose(old, new, rel_tol=same, abs_tol=ZERO * scale)


def _number(cell: str) -> float:
    try:
        return float(cell)
    except ValueError:
        return math.nan


def _plain(old: str, new: str, left_out: AbstractSet[str]) -> str:
    try:
        before, after = json.loads(old), json.loads(new)
    except (ValueError, RecursionError):
        return "it is no JSON"
    return plain_apart(before, after, "", left_out)


def plain_apart(old: Any, new: Any, at: str = "", left_out: AbstractSet[str] = frozenset(),
                same: float = SAME) -> str:  # fmt: skip
    """The first place where two plain values differ; empty if there is none."""
    if isinstance(old, Mapping) and isinstance(new, Mapping):
        place = re.sub(r"\d+\.", "", at)
        for name in sorted({*old, *new}):
            if f"{place}{name}" in left_out:
                continue
            if name not in old or name not in new:
                return f"{at}{name} is in one of both only"
            if found := plain_apart(old[name], new[name], f"{at}{name}.", left_out, same):
                return found
        return ""
    if isinstance(old, list) and isinstance(new, list):
        if len(old) != len(new):
            return f"{at.rstrip('.')} has another length"
        every = (plain_apart(a, b, f"{at}{n}.", left_out, same)
                 for n, (a, b) in enumerate(zip(old, new, strict=True)))  # fmt: skip
        return next((found for found in every if found), "")
    numbers = [type(value) in (int, float) for value in (old, new)]
    if all(numbers) and (old == new or math.isclose(old, new, rel_tol=same)):
        return ""
    if old == new or (old != old and new != new):
        return ""
    return f"{at.rstrip('.')} is {str(old)[:40]}, made anew {str(new)[:40]}"


def _text(old: str, new: str) -> str:
    was, now = old.splitlines(), new.splitlines()
    for number, (a, b) in enumerate(zip(was, now, strict=False), 1):
        if a != b:
            return f"line {number} is “{a.strip()[:60]}”, made anew “{b.strip()[:60]}”"
    return f"it has {len(was)} lines, made anew {len(now)}" if len(was) != len(now) else ""
