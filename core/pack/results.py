"""The result file of a pack against one that was written anew: each object, unit and description.

The packed file may come from anyone, so it is read through the guard, by the names of the new one.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from ..errors import ReadError
from ..readers.guard import MIB, GuardedFile, as_read_error, clean_text
from .comparing import plain_apart, rows_apart

if TYPE_CHECKING:
    import h5py

SAME, SAME_SINGLE = 1e-9, 1e-6
"""Relative: numbers that differ by less are the same; the second for those of single precision."""
TAKEN = ("entry/uuid", "entry/start_time", "entry/end_time", "entry/picture", "entry/history",
         "entry/environment", "entry/process_1/date", "entry/process_1/version")  # fmt: skip
"""Tells when, with what and beside what it was written; not made anew. `LEFT` says it in words."""
LEFT = "the times, the history, the names of libraries and the place of a picture"
MOST, LONGEST = 4000, 64 * MIB


@dataclass
class Compared:
    """Clauses: where both differ, what only the packed file has, what only the new one has."""

    different: list[str] = field(default_factory=list)
    strange: list[str] = field(default_factory=list)
    lacking: list[str] = field(default_factory=list)


def compare(packed: Path, anew: Path) -> Compared:
    """Hold a packed result against one written anew. Raises ReadError if it is damaged."""
    import h5py

    found = Compared()
    with GuardedFile(packed) as old, as_read_error(packed), h5py.File(anew, "r") as new:
        here, there = _names(new), _names(old.file)
        if len(there) > MOST:
            raise ReadError(packed, f"it holds {len(there):,} objects, more than a result can",
                            "Ask for the pack again.")  # fmt: skip
        found.strange += sorted(there - here)
        found.lacking += sorted(here - there)
        for name in sorted(here & there):
            _attributes(old, name, new[name], found)
            if isinstance(new[name], h5py.Dataset):
                why = _values(old, name, new[name])
                found.different += [f"{name}: {why}"] if why else []
    return found


def _names(file: h5py.File) -> set[str]:
    """Of all objects; links to other places are not among them."""
    names: list[str] = []
    file.visit(names.append)
    return {clean_text(name) for name in names
            if not any(name == one or name.startswith(f"{one}/") for one in TAKEN)}  # fmt: skip


def _values(old: GuardedFile, name: str, new: h5py.Dataset) -> str:
    """In what a dataset differs, a clause; empty if in nothing."""
    import h5py

    if new.dtype.kind == "O" and new.ndim == 0:
        return _texts_apart(old.text(name, LONGEST), clean_text(new[()], LONGEST))
    if new.dtype.kind == "O":
        was = old.texts(name, max(1, 10 * len(new)), LONGEST)
        now = [str(one) for one in new.asstr()[()]] if h5py.check_string_dtype(new.dtype) else []
        return "" if was == now else "it is another one"
    was = old.array(name, ranks=(new.ndim,))
    return "it is missing" if was is None else _arrays_apart(was, np.asarray(new[()]))


def _arrays_apart(old: np.ndarray, new: np.ndarray) -> str:
    if old.shape != new.shape or old.dtype.kind != new.dtype.kind:
        return "it has another shape or type"
    if new.dtype.kind != "f":
        off = old != new
    else:
        near = SAME if new.dtype.itemsize > 4 else SAME_SINGLE
        with np.errstate(invalid="ignore"):
            alike = np.abs(old - new) <= near * np.maximum(np.abs(old), np.abs(new))
        both = np.isfinite(old) & np.isfinite(new)
        off = ~((both & alike) | (old == new) | (np.isnan(old) & np.isnan(new)))
    count = int(np.count_nonzero(off))
    if new.ndim == 0:
        return f"it is {old}, made anew {new}" if count else ""
    return f"{count:,} of {new.size:,} values differ" if count else ""


def _texts_apart(old: str, new: str) -> str:
    """Tables as numbers, all else letter by letter."""
    if old == new:
        return ""
    try:
        before, after = json.loads(old), json.loads(new)
    except (ValueError, RecursionError):
        before = after = None
    if _is_table(before) and _is_table(after):
        return rows_apart(_cells(before), _cells(after), SAME)
    if isinstance(before, dict) and isinstance(after, dict):
        return plain_apart(before, after, same=SAME)
    return f"it is “{old[:40]}”, made anew “{new[:40]}”"


def _is_table(data: Any) -> bool:
    return isinstance(data, list) and bool(data) and all(isinstance(row, list) for row in data)


def _cells(rows: list[list[Any]]) -> list[list[str]]:
    return [["" if cell is None else str(cell) for cell in row] for row in rows]


def _attributes(old: GuardedFile, name: str, new: Any, found: Compared) -> None:
    """Units, labels and the like."""
    there = _attribute_names(old.walk(name))
    found.strange += sorted(f"{name}@{key}" for key in there - set(new.attrs))
    found.lacking += sorted(f"{name}@{key}" for key in set(new.attrs) - there)
    for key in sorted(there & set(new.attrs)):
        was, now = _attribute(old, name, key, new.attrs[key])
        number = isinstance(was, float) and isinstance(now, float)
        if was != now and not (number and _arrays_apart(np.array(was), np.array(now)) == ""):
            said = (str(value)[:40] or "empty" for value in (was, now))
            found.different.append(f"{name}@{key}: it is {', made anew '.join(said)}")


def _attribute(old: GuardedFile, name: str, key: str, value: Any) -> tuple[Any, Any]:
    """An attribute of the packed file and of the new one, each as plain values."""
    if isinstance(value, np.ndarray) and value.dtype.kind in "iu":
        return old.attribute_whole_numbers(name, key), [int(one) for one in value.reshape(-1)]
    if isinstance(value, np.ndarray):
        return old.attribute_texts(name, key), [clean_text(one) for one in value.reshape(-1)]
    now = clean_text(value) if isinstance(value, str | bytes) else float(value)
    return old.attribute(name, key), now


def _attribute_names(here: Any) -> set[str]:
    from h5py import h5a

    found: list[bytes] = []
    h5a.iterate(here, found.append)
    return {clean_text(name) for name in found}
