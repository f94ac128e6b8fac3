"""The surface as comma-separated values: one row a number, every row with the same columns.

What was levelled and filtered stands in every row, so that no number can lose it. What was not
worked out is ``nan``.
"""

from __future__ import annotations

import csv
import math
from pathlib import Path
from typing import Any

from ..core.channels import CHANNELS
from ..core.components.rule import letter
from .surface_calls import Surface, lettered, roughness_of

HEAD = ("part", "component", "against", "channel", "symbol", "name", "value", "error", "unit",
        "p_value", "correlation", "effective_pixels", "pixels", "verdict", "note", "levelling",
        "filters")  # fmt: skip


def surface_rows(surface: Surface) -> list[list[Any]]:
    """A head, and one row for each number."""
    rows = [*_roughness(surface), *_heights(surface), *_slopes(surface), *_findings(surface)]
    about = {"levelling": surface.words}
    return [list(HEAD), *([({**about, **row}).get(name, "") for name in HEAD] for row in rows)]


def save_surface(path: str | Path, surface: Surface) -> list[Path]:
    """Write the table. Returns the files written; raises WriteError in words."""
    from ..core.writers.atomic import saving

    path = Path(path)
    with saving(path) as temporary, temporary.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows([_text(v) for v in row] for row in surface_rows(surface))
    return [path]


def _text(value: Any) -> Any:
    return f"{value:.9g}" if isinstance(value, float) else value


def _who(number: int | None) -> str:
    return "all" if number is None else letter(number)


def _roughness(surface: Surface) -> list[dict[str, Any]]:
    """Of the whole surface and of every component."""
    rows: list[dict[str, Any]] = []
    for whom in (None, *range(len(surface.subject.titles))):
        kept = surface.options.whom == whom and surface.roughness is not None
        found = surface.roughness if kept else roughness_of(surface, whom)
        rows += [
            dict(part="roughness", component=_who(whom), symbol=p.symbol, name=p.name,
                 value=p.value, error=p.error, unit=p.unit, pixels=found.pixels, note=p.note,
                 filters=found.words)
            for p in found.parameters.values()
        ]  # fmt: skip
    return rows


def _heights(surface: Surface) -> list[dict[str, Any]]:
    if surface.heights is None:
        return []
    rows: list[dict[str, Any]] = []
    names = {"at_peak": "height at the peak force", "at_contact": "height at contact",
             "dent": "indentation at the peak force", "bending": "bending of the lever",
             "drop": "height at contact less that at the peak"}  # fmt: skip
    for one in surface.heights.components:
        for name, words in names.items():
            m = getattr(one, name)
            rows.append(dict(part="height", component=_who(one.component), name=words,
                             value=m.value, error=m.error, unit="nm", pixels=m.pixels,
                             effective_pixels=m.effective))  # fmt: skip
    for pair in surface.heights.contrasts:
        both = dict(part="contrast", component=_who(pair.upper), against=_who(pair.lower),
                    note=lettered(pair.words))  # fmt: skip
        rows += [dict(**both, name=words, value=value, error=error, unit="nm")
                 for words, (value, error) in (("contrast at the peak force", pair.at_peak),
                                               ("contrast at contact", pair.at_contact),
                                               ("part of the dents in it", pair.dent))]
        rows.append(dict(**both, name="share of the dents in the contrast at the peak force",
                         value=pair.share, error=math.nan))  # fmt: skip
    return rows


def _slopes(surface: Surface) -> list[dict[str, Any]]:
    found = surface.slopes
    if found is None or not surface.subject.scaled:
        return []
    return [dict(part="slope", component="all", name=f"pixels steeper than {found.limit:.3g}°",
                 value=int(found.steep.sum()), error=math.nan, note=found.words,
                 filters=f"smoothing {found.smoothing:.4g} nm")]  # fmt: skip


def _findings(surface: Surface) -> list[dict[str, Any]]:
    rows: list[dict[str, Any]] = []
    smoothing = f"smoothing {surface.options.smoothing:.4g}"
    for channel, findings in surface.findings.items():
        rows += [
            dict(part="finding", component=_who(f.component), channel=channel,
                 name=f"{CHANNELS[channel].label} with {f.quantity}: change from the 10 % to the "
                 "90 % quantile", value=f.change, error=math.nan, unit="%", p_value=f.p_value,
                 correlation=f.correlation, effective_pixels=f.effective, pixels=f.pixels,
                 verdict=f.verdict, note=lettered(f.words), filters=smoothing)
            for f in findings
        ]  # fmt: skip
    return rows
