"""How one setting is declared, and what its declaration allows."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import Field, field
from typing import Any

from ..errors import SettingsError
from ..units import best_unit

PRACTICE = "common practice, no source"
OURS = "chosen for Palpate; see DEVELOPERS.md"


def number(
    default: float | None, label: str, unit: str, low: float, high: float, text: str,
    source: str = PRACTICE, *, open_low: bool = False, shown_if: str = "",
) -> Any:  # fmt: skip
    """Declare a number. `default` None means "as recorded in the map"."""
    return field(
        default=default,
        metadata=dict(kind="number", label=label, unit=unit, low=low, high=high, help=text,
                      source=source, open_low=open_low, shown_if=shown_if),
    )  # fmt: skip


def choice(
    default: str | None, label: str, options: Mapping[str, str], text: str,
    source: str = PRACTICE, *, shown_if: str = "",
) -> Any:  # fmt: skip
    """Declare a choice among named options (name -> words shown)."""
    return field(
        default=default,
        metadata=dict(kind="choice", label=label, unit="", options=dict(options), help=text,
                      source=source, shown_if=shown_if),
    )  # fmt: skip


def range_text(spec: Field[Any]) -> str:
    """The range of a field in words, such as ``above 0 to 1,000,000 nm (1 mm)``."""
    meta = spec.metadata
    if meta["kind"] == "choice":
        return "one of " + ", ".join(meta["options"])
    above = "above " if meta["open_low"] else ""
    text = f"{above}{plain(meta['low'])} to {plain(meta['high'])} {meta['unit']}".strip()
    shown, factor = best_unit(meta["high"], meta["unit"])
    return text if shown == meta["unit"] else f"{text} ({plain(meta['high'] * factor)} {shown})"


def plain(value: float) -> str:
    """A number without powers of ten, as it can be typed but for the commas between thousands."""
    return f"{value:,.12g}"


def as_declared(path: str, spec: Field[Any], value: Any) -> Any:
    """The value in the declared type; raises SettingsError if it can't be."""
    check_value(path, spec, value)
    if spec.metadata["kind"] == "number" and value is not None:
        return int(value) if isinstance(spec.default, int) else float(value)
    return value


def check_value(path: str, spec: Field[Any], value: Any) -> None:
    """Raise SettingsError with name and range unless the value is possible."""
    meta = spec.metadata
    if value is None and spec.default is None:
        return
    if meta["kind"] == "choice":
        if value not in meta["options"]:
            raise SettingsError(path, f"{value!r} is not possible; {range_text(spec)}.")
        return
    good = isinstance(value, (int, float)) and not isinstance(value, bool)
    good = good and abs(value) < 1e300 and math.isfinite(value)
    if good and isinstance(spec.default, int):
        good = float(value) == int(value)
    low_ok = good and (value > meta["low"] if meta["open_low"] else value >= meta["low"])
    if not (low_ok and value <= meta["high"]):
        raise SettingsError(path, f"{str(value)[:40]} is not possible; {range_text(spec)}.")
