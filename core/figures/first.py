"""A first sheet for an analysis: what most would put into a paper, of what there is."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ..sheets import (
    ComponentOptions,
    CurveOptions,
    HistogramOptions,
    JointOptions,
    MapOptions,
    Options,
    Panel,
    ProfileOptions,
    Sheet,
    TableOptions,
)

if TYPE_CHECKING:
    from ..findings import Findings

ACROSS = 3
MODULI = ("modulus", "stiffness", "indentation")
"""What is drawn for stiffness: the first that has values."""
CAPTION = "Draft: look at each panel before it is used."


def first_sheet(findings: Findings, preset: str = "plain", name: str = "Figure 1") -> Sheet:
    """Maps of height, modulus and adhesion, the component map, a typical curve, a histogram, and
    the table of components; a profile if one was drawn. What this analysis does not have is left
    out, and never fewer than one panel."""
    wanted = _wanted(findings)
    across = min(ACROSS, len(wanted)) or 1
    panels = [Panel(kind, *divmod(at, across), options=options)
              for at, (kind, options) in enumerate(wanted)]  # fmt: skip
    if findings.table is not None:
        row, col = divmod(len(wanted), across)
        if col and across - col < 2:  # too narrow for it: a row of its own
            row, col = row + 1, 0
        panels.append(Panel("table", row, col, cols=across - col,
                            options=TableOptions(channels=_table_channels(findings))))  # fmt: skip
    return Sheet(name, preset, "double" if across > 1 else "single", panels=tuple(panels))


def _wanted(findings: Findings) -> list[tuple[str, Options]]:
    stiff = next((one for one in MODULI if _has(findings, one)), "")
    maps = [one for one in ("height", stiff, "adhesion") if one and _has(findings, one)]
    found: list[tuple[str, Options]] = [("map", MapOptions(channel=one)) for one in maps]
    if findings.composition is not None:
        found.append(("components", ComponentOptions()))
    if (findings.map.index_map >= 0).any():
        found.append(("curve", CurveOptions(which=_curve(findings))))
    positive = stiff and bool((_values(findings, stiff) > 0.0).all())
    if stiff:
        found.append(("histogram", HistogramOptions(channel=stiff, log=bool(positive))))
    if findings.composition is not None and _has(findings, "reduced_modulus", "adhesion"):
        found.append(("joint", JointOptions()))
    places = findings.work.places
    fits = places is not None and not places.misfit(findings.map.has_scale)
    if fits and places.profiles and maps:
        channel = stiff or maps[0]
        second = "adhesion" if "adhesion" in maps and channel != "adhesion" else ""
        found.append(("profile", ProfileOptions(channel=channel, second=second)))
    return found


def _curve(findings: Findings) -> str:
    """A typical curve; where none can be told, the worst that is left out."""
    from ..findings import pick

    return next((rule for rule in ("typical", "best", "worst", "left_out")
                 if pick(findings, rule) is not None), "pixel")  # fmt: skip


def _table_channels(findings: Findings) -> str:
    assert findings.table is not None
    names = [one for one in ("reduced_modulus", "adhesion", "dissipation")
             if one in findings.table.channels]  # fmt: skip
    return ", ".join(names or findings.table.channels[:2])


def _values(findings: Findings, name: str) -> np.ndarray:
    """Of the pixels that are used."""
    values = findings.analysis.channel(name)[findings.analysis.trusted]
    return values[np.isfinite(values)]


def _has(findings: Findings, *names: str) -> bool:
    return all(_values(findings, name).size > 0 for name in names)
