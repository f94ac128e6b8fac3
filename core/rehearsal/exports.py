"""A rehearsal as comma-separated values: one row a modulus and quantity; faults and scene beside.

Numbers are in the unit that their column or the unit column names; what was not worked out is
``nan``. A modulus is compared by its logarithm, ln(measured/true).
"""

from __future__ import annotations

import json
import math
from dataclasses import asdict, fields
from pathlib import Path
from typing import Any

from ..components.exports import save_rows
from ..writers.atomic import saving
from .faring import Ratio
from .running import Rehearsal
from .telling import sentences

NUMBERS = ("bias", "bias_error", "scatter", "scatter_error", "deviation", "stated")


def rows_of(made: Rehearsal) -> list[list[Any]]:
    """A head and one row for each modulus and quantity."""
    shares = ("held_68", "held_95", "refused", "doubted")
    ends = [f"{name}{end}" for name in shares for end in ("", "_low", "_high")]
    rows: list[list[Any]] = [["modulus_GPa", "pull_off_nN", "indentation_nm", "curves", "quantity",
                              "unit", "used", *NUMBERS, *ends]]  # fmt: skip
    for row in made.rows:
        for name, one in row.fared.items():
            counted = (one.held, one.held_wide, row.refused, row.doubted)
            rows.append([row.modulus, row.pull_off, row.indentation, row.curves, name,
                         one.unit or "ln(measured/true)", one.curves,
                         *(getattr(one, key) for key in NUMBERS),
                         *(v for r in counted for v in _interval(r))])  # fmt: skip
    return rows


def fault_rows(made: Rehearsal) -> list[list[Any]]:
    """A head and one row for each modulus and kind of planted fault."""
    rows: list[list[Any]] = [["modulus_GPa", "fault", "curves", "right_doubt", "right_doubt_low",
                              "right_doubt_high", "severe", "severe_low", "severe_high"]]
    for row in made.rows:
        rows += [[row.modulus, one.kind, one.right.of, *_interval(one.right),
                  *_interval(one.severe)] for one in row.told]  # fmt: skip
    return rows


def contrast_rows(made: Rehearsal) -> list[list[Any]]:
    """A head and one row a modulus: whether two pull-offs are told apart."""
    rows: list[list[Any]] = [["modulus_GPa", "planted_nN", "found_nN", "error_nN", "told",
                              "pairs_in_order", "pixels_needed"]]  # fmt: skip
    for row in made.rows:
        c = row.contrast
        rows.append([row.modulus, c.planted, c.found, c.error, c.told, c.single, c.pixels])
    return rows


def _interval(one: Ratio) -> tuple[float, float, float]:
    return one.share, one.low, one.high


def about(made: Rehearsal) -> dict[str, Any]:
    """Scene, settings and meaning, for JSON."""
    scene = {spec.name: getattr(made.scene, spec.name) for spec in fields(made.scene)
             if spec.name not in ("grids", "groups")}  # fmt: skip
    return _plain({
        "meaning": sentences(made), "curves of each modulus": made.curves,
        "curves of each fault": made.faults, "seed": made.seed, "scene": scene,
        "groups": [asdict(group) for group in made.scene.groups],
        "settings": made.settings.as_dict(),
        "caution": "not for qualifying safety-critical or medical parts",
    })  # fmt: skip


def _plain(value: Any) -> Any:
    """As JSON takes it: what is not finite becomes null."""
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, dict):
        return {key: _plain(v) for key, v in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(v) for v in value]
    return value


def save_rehearsal(path: str | Path, made: Rehearsal) -> list[Path]:
    """Write the table to `path`, and beside it ``…_contrast.csv``, ``…_faults.csv`` if faults were
    planted, and ``…_scene.json``.

    Returns the files written. Raises WriteError in words.
    """
    path = Path(path)
    written = [save_rows(path, rows_of(made)),
               save_rows(path.with_name(f"{path.stem}_contrast.csv"), contrast_rows(made))]
    if made.faults:
        written.append(save_rows(path.with_name(f"{path.stem}_faults.csv"), fault_rows(made)))
    beside = path.with_name(f"{path.stem}_scene.json")
    with saving(beside) as temporary:
        text = json.dumps(about(made), indent=1, allow_nan=False)
        temporary.write_text(text + "\n", encoding="utf-8")
    return [*written, beside]
