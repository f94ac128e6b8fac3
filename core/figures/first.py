"""A first sheet for an analysis: what most would put into a paper, of what there is."""

from __future__ import annotations

from dataclasses import replace
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
from .drawing import plan_of
from .layout import MM
from .presets import preset as preset_of

if TYPE_CHECKING:
    from ..findings import Findings

ACROSS = 3
NARROWEST = 12.5
"""A panel is at least so wide, in letters' sizes."""
FEW_CHANNELS = 28.0
"""A table that is narrower, in letters' sizes, has two channels."""
TALLEST = 240.0
"""A sheet whose preset states no height is planned for this one [mm]: a page."""
MODULI = ("modulus", "stiffness", "indentation")
"""What is drawn for stiffness: the first that has values."""
LEAST_WITH_TABLE = 4
"""Where only so many panels have room, the table is left out as well."""

Wish = tuple[int, str, Options]
"""A panel that is wanted: its rank, 0 for what is left out last; its kind and its options."""


def first_sheet(findings: Findings, preset: str = "plain", name: str = "Figure 1",
                width: float | str = "") -> Sheet:  # fmt: skip
    """Maps of height, modulus and adhesion, the component map, a typical curve, a histogram, and
    the table of components; a profile if one was drawn. What this analysis does not have is left
    out, and what has no room on a page of that width; never fewer than one panel.

    Parameters
    ----------
    preset, name : of the sheet
    width : of the sheet, in its own words or [mm]; "" for two columns where there is more than one
        panel
    """
    wished = _wanted(findings)
    blank = Sheet(name, preset, width or ("double" if len(wished) > 1 else "single"))
    for most in range(len(wished), 0, -1):
        made = _filled(blank, _kept(wished, most), findings, most > LEAST_WITH_TABLE)
        if _fits(made, findings):
            break
    return made if wished else blank


def _filled(blank: Sheet, wanted: list[Wish], findings: Findings, tabled: bool) -> Sheet:
    """The panels along the rows of a sheet, and the table below them."""
    letters = _letters(blank)
    across = int(min(max(letters / NARROWEST, 1), ACROSS, len(wanted)))
    panels = [Panel(kind, *divmod(at, across), options=options)
              for at, (_, kind, options) in enumerate(wanted)]  # fmt: skip
    if tabled and findings.table is not None:
        row, col = divmod(len(wanted), across)
        if col and across - col < 2:  # too narrow for it: a row of its own
            row, col = row + 1, 0
        room = letters * (across - col) / across
        channels = _table_channels(findings, 3 if room >= FEW_CHANNELS else 2)
        panels.append(Panel("table", row, col, cols=across - col,
                            options=TableOptions(channels=channels)))  # fmt: skip
    return replace(blank, panels=tuple(panels))


def _letters(sheet: Sheet) -> float:
    """How wide a sheet is, in letters' sizes."""
    rules = preset_of(sheet.preset)
    return rules.width(sheet) * MM / rules.style(sheet).font_size


def _fits(sheet: Sheet, findings: Findings) -> bool:
    """Whether all panels get the height that they want on a page."""
    most = (preset_of(sheet.preset).max_height or TALLEST) * MM
    plan = plan_of(sheet, findings)
    return not plan.remarks and plan.height <= most


def _kept(wished: list[Wish], most: int) -> list[Wish]:
    """Those for which there is room, in their order."""
    ranks = sorted(rank for rank, *_ in wished)[:most]
    return [one for one in wished if one[0] in ranks]


def _wanted(findings: Findings) -> list[Wish]:
    """What there is, in the order of the sheet; each with a rank of its own."""
    stiff = next((one for one in MODULI if _has(findings, one)), "")
    maps = {6: "height", 0: stiff, 4: "adhesion"}
    found: list[Wish] = [(rank, "map", MapOptions(channel=one)) for rank, one in maps.items()
                         if one and _has(findings, one)]  # fmt: skip
    if findings.composition is not None:
        found.append((1, "components", ComponentOptions()))
    if (findings.map.index_map >= 0).any():
        found.append((2, "curve", CurveOptions(which=_curve(findings))))
    if stiff:
        log = bool((_values(findings, stiff) > 0.0).all())
        found.append((3, "histogram", HistogramOptions(channel=stiff, log=log)))
    if findings.composition is not None and _has(findings, "reduced_modulus", "adhesion"):
        found.append((7, "joint", JointOptions()))
    return [*found, *_profile(findings, stiff)]


def _profile(findings: Findings, stiff: str) -> list[Wish]:
    """The first profile, if one was drawn on this map."""
    places = findings.work.places
    channel = next((one for one in (stiff, "height", "adhesion")
                    if one and _has(findings, one)), "")  # fmt: skip
    if places is None or places.misfit(findings.map.has_scale) or not places.profiles:
        return []
    second = "adhesion" if channel != "adhesion" and _has(findings, "adhesion") else ""
    return [(5, "profile", ProfileOptions(channel=channel, second=second))] if channel else []


def _curve(findings: Findings) -> str:
    """A typical curve; where none can be told, the worst that is left out."""
    from ..findings import pick

    return next((rule for rule in ("typical", "best", "worst", "left_out")
                 if pick(findings, rule) is not None), "pixel")  # fmt: skip


def _table_channels(findings: Findings, most: int) -> str:
    assert findings.table is not None
    names = [one for one in ("reduced_modulus", "adhesion", "dissipation")
             if one in findings.table.channels]  # fmt: skip
    return ", ".join(names[:most] or findings.table.channels[:2])


def _values(findings: Findings, name: str) -> np.ndarray:
    """Of the pixels that are used."""
    values = findings.analysis.channel(name)[findings.analysis.trusted]
    return values[np.isfinite(values)]


def _has(findings: Findings, *names: str) -> bool:
    return all(_values(findings, name).size > 0 for name in names)
