"""Named regions with their statistics, and profiles, where the person has drawn any."""

from __future__ import annotations

import math
from typing import Any

from ..places import mask_of, statistics_of
from ..sheets import ProfileOptions
from .drawing import NARROW, WIDTH, figure, sheet_of
from .parts import WARNING, Block, Column, Note, Paragraph, Section, Table
from .words import NONE, Draft, common_unit, factor, figures, label, plain, spread

SHOWN = 6
"""Profiles that are drawn, the first ones."""
REGIONS = 60


def places(draft: Draft) -> Section:
    found, fmap = draft.findings.work.places, draft.findings.map
    if not found:
        return Section("places", "Regions and profiles", (Paragraph(
            "No region and no profile was drawn on this map."),))  # fmt: skip
    misfit = found.misfit(fmap.has_scale)
    if misfit:
        return Section("places", "Regions and profiles", (Note(misfit, WARNING),))
    blocks: list[Block] = []
    if found.regions:
        blocks.append(_regions(draft, found.regions[:REGIONS]))
    if found.profiles:
        blocks.append(_profiles(draft, found.profiles[:SHOWN]))
    for n, most, what in ((len(found.regions), REGIONS, "region"),
                          (len(found.profiles), SHOWN, "profile")):  # fmt: skip
        if n > most:
            draft.left_out.append(f"The {what}s after the first {most} of {n:,}: export them as "
                                  "tables.")  # fmt: skip
    return Section("places", "Regions and profiles", tuple(blocks))


def _channels(draft: Draft) -> tuple[str, ...]:
    return tuple(name for name in (draft.stiff, "adhesion", "indentation", "height")
                 if name and draft.has(name))  # fmt: skip


def _regions(draft: Draft, regions: Any) -> Table:
    columns = (Column("Region, quantity"), Column("Median", number=True),
               Column("± local", number=True), Column("Quartiles", number=True),
               Column("Pixels used", number=True), Column("of", number=True),
               Column("Independent", number=True))  # fmt: skip
    names, fmap = _channels(draft), draft.findings.map
    rows: list[tuple[str, ...]] = []
    for region in regions:
        draft.progress.check()
        mask = mask_of(region, fmap.x, fmap.y, draft.findings.labels)
        one = statistics_of(draft.findings.analysis, mask, name=region.name, channels=names)
        rows += [_row(region.name, name, one.channels[name]) for name in names]
        if not names:
            rows.append((region.name, NONE, NONE, NONE, "0", f"{one.pixels:,}", NONE))
    return Table("Regions of the map", columns, tuple(rows), (
        "Over the pixels of a region that are used. What is common to all pixels is not in the "
        "±.",))  # fmt: skip


def _row(region: str, name: str, one: Any) -> tuple[str, ...]:
    unit = common_unit([one.median], one.unit)
    times = factor(one.unit, unit)
    error = one.median_error * times
    ends = NONE
    if math.isfinite(one.lower_quartile):
        ends = " to ".join(figures(v * times, error)
                           for v in (one.lower_quartile, one.upper_quartile))  # fmt: skip
    head = f"{region}, {label(name)}" + (f" ({unit})" if unit else "")
    return (head, figures(one.median * times, error), spread(error), ends, f"{one.used:,}",
            f"{one.pixels:,}", plain(one.effective))  # fmt: skip


def _profiles(draft: Draft, profiles: Any) -> Block:
    names = _channels(draft)
    channel = names[0] if names else "height"
    panels = [("profile", ProfileOptions(profile=one.name, channel=channel)) for one in profiles]
    alt = f"Profiles of {label(channel)} along {', '.join(one.name for one in profiles)}."
    across = min(2, len(panels))
    return figure(draft, sheet_of("Profiles", panels, across, WIDTH if across > 1 else NARROW), alt)
