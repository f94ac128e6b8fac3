"""A file of a pack against the same file made anew: tables number by number, texts as they are."""

from __future__ import annotations

import csv
import io
import json
import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from ..errors import ReadError
from .checksums import AGAIN

SAME = 2e-8
"""Relative: numbers in tables have nine digits, so their last one may round the other way."""
ZERO = 1e-12
"""Of the largest number in a column: what is less is what is left of a difference."""
MISSING = ("", "nan")
"""How tables write that there is no number."""
LARGEST = 512 * 1024**2
TIMES = {"time", "date", "created", "made", "program", "version", "palpate", "python"}
"""Entries of a description that say when and with what it was made, not what."""


def differs(packed: Path, anew: Path) -> str:
    """In what a file of a pack differs from the one made anew, a clause; empty if in nothing.

    Raises ReadError if the pack's can't be read.
    """
    if not packed.is_file():
        return "it is missing in the pack"
    kind = _KINDS.get(packed.suffix.lower(), _text)
    old, new = _read(packed), _read(anew)
    return kind(old, new) if old != new else ""


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
    if not (before and after) or before[0] != after[0]:
        return "its columns are others"
    if len(before) != len(after):
        return f"it has {len(before) - 1:,} rows, made anew {len(after) - 1:,}"
    scales = _scales(after)
    found, first = 0, ""
    for number, (was, now) in enumerate(zip(before, after, strict=True)):
        if len(was) != len(now):
            return f"row {number} has another length"
        for at, (a, b) in enumerate(zip(was, now, strict=True)):
            if a == b or _close(a, b, scales[at] if at < len(scales) else 0.0):
                continue
            found += 1
            column = after[0][at] if at < len(after[0]) else f"column {at + 1}"
            was_now = (value[:40] or "empty" for value in (a, b))
            first = first or f"first in row {number}, {column}: {', made anew '.join(was_now)}"
    count = "1 entry differs" if found == 1 else f"{found:,} entries differ"
    return f"{count}; {first}" if found else ""


def _rows(text: str) -> list[list[str]]:
    """Rows of a table; lines that begin with # describe it."""
    lines = (line for line in io.StringIO(text, newline="") if not line.startswith("#"))
    return list(csv.reader(lines))


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


def _close(a: str, b: str, scale: float) -> bool:
    old, new = _number(a), _number(b)
    if math.isnan(old) or math.isnan(new):
        return a.lower() in MISSING and b.lower() in MISSING
    return math.isclose(old, new, rel_tol=SAME, abs_tol=ZERO * scale)


def _number(cell: str) -> float:
    try:
        return float(cell)
    except ValueError:
        return math.nan


def _plain(old: str, new: str) -> str:
    try:
        before, after = json.loads(old), json.loads(new)
    except (ValueError, RecursionError):
        return "it is no JSON"
    return _apart(before, after, "")


def _apart(old: Any, new: Any, at: str) -> str:
    """The first place where two plain values differ; empty if there is none."""
    if isinstance(old, Mapping) and isinstance(new, Mapping):
        for name in sorted({*old, *new} - TIMES):
            if name not in old or name not in new:
                return f"{at}{name} is in one of both only"
            if found := _apart(old[name], new[name], f"{at}{name}."):
                return found
        return ""
    if isinstance(old, list) and isinstance(new, list):
        if len(old) != len(new):
            return f"{at.rstrip('.')} has another length"
        every = (_apart(a, b, f"{at}{n}.") for n, (a, b) in enumerate(zip(old, new, strict=True)))
        return next((found for found in every if found), "")
    numbers = [type(value) in (int, float) for value in (old, new)]
    if all(numbers) and (old == new or math.isclose(old, new, rel_tol=SAME)):
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


_KINDS = {".csv": _table, ".json": _plain}
