"""What a place may be made of: finite bounded numbers, short printable names, not too many points.

A place may come from a file that somebody else wrote, so every value is looked at when it is made;
`SettingsError` names the field and the repair.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Any

from ..errors import SettingsError

FARTHEST = 1e9
"""Largest coordinate, either sign: 1 m in nm, or pixels."""
MOST_POINTS = 20_000
"""Points of one place."""
LONGEST_NAME = 80
LONGEST_NOTE = 2_000

Point = tuple[float, float]


def number(field: str, value: Any, low: float = -FARTHEST, high: float = FARTHEST) -> float:
    """A finite float in a range; raises SettingsError."""
    real = isinstance(value, int | float) or hasattr(value, "__float__")
    if isinstance(value, bool | str | bytes) or not real:
        raise SettingsError(field, "must be a number: write one there.")
    try:
        found = float(value)
    except (OverflowError, TypeError, ValueError):
        found = math.nan
    if not math.isfinite(found) or not low <= found <= high:
        raise SettingsError(field, f"must be a number from {low:g} to {high:g}: correct it.")
    return found + 0.0  # no negative zero: equal places give equal text


def points(field: str, values: Any) -> tuple[Point, ...]:
    """Pairs (x, y) as a tuple of tuples; raises SettingsError."""
    listed = _listed(field, values)
    if len(listed) > MOST_POINTS:
        raise SettingsError(
            field, f"has {len(listed):,} points; draw it with {MOST_POINTS:,} at most."
        )
    found = []
    for i, pair in enumerate(listed):
        at = f"{field}[{i}]"
        two = _listed(at, pair)
        if len(two) != 2:
            raise SettingsError(at, "must be two numbers, x and y: write both.")
        found.append((number(at, two[0]), number(at, two[1])))
    return tuple(found)


def _listed(field: str, values: Any) -> list[Any]:
    if isinstance(values, str | bytes | dict) or not isinstance(values, Iterable):
        raise SettingsError(field, "must be a list: write it in brackets.")
    return list(values)


listed = _listed


def name(field: str, value: Any) -> str:
    """A name: one printable line of up to 80 characters, without blanks around it."""
    if not isinstance(value, str):
        raise SettingsError(field, "must be text: write a name in quotes.")
    if not value.strip():
        raise SettingsError(field, "is empty: give it a name.")
    if len(value) > LONGEST_NAME:
        raise SettingsError(
            field, f"has {len(value):,} characters; choose a name of {LONGEST_NAME} at most."
        )
    if value != value.strip() or not value.isprintable():
        raise SettingsError(
            field, "has blanks around it or signs that can't be printed: choose a plain name."
        )
    return value


def note(field: str, value: Any) -> str:
    """A note: printable text, lines allowed, up to 2,000 characters."""
    if not isinstance(value, str):
        raise SettingsError(field, "must be text: write it in quotes.")
    if len(value) > LONGEST_NOTE:
        raise SettingsError(
            field, f"has {len(value):,} characters; shorten it to {LONGEST_NOTE:,}."
        )
    if not all(sign.isprintable() or sign in "\n\t" for sign in value):
        raise SettingsError(field, "has signs that can't be printed: take them out.")
    return value
