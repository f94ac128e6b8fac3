"""The pictures of the report: figure sheets, drawn by the room `figures` like any other figure."""

from __future__ import annotations

import io
import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from ..channels import CHANNELS
from ..doubts import DOUBTS
from ..sheets import (
    CurveOptions,
    EvidenceOptions,
    HistogramOptions,
    JointOptions,
    MapOptions,
    Panel,
    Sheet,
)
from .parts import WARNING, Block, Figure, Note, short
from .words import Draft, inside

WIDTH = 170.0
NARROW = 120.0
"""Of a figure on paper [mm], and of one with a single panel."""
DPI = 200
MAIN = ("height", "modulus", "reduced_modulus", "stiffness", "adhesion", "indentation",
        "dissipation")  # fmt: skip
"""Channels whose maps are shown; the reduced modulus only where there is no Young modulus."""


def map_channels(draft: Draft) -> list[str]:
    """Channels whose maps are shown, those with values."""
    found = [name for name in MAIN if _anything(draft, name)]
    if "modulus" in found and "reduced_modulus" in found:
        found.remove("reduced_modulus")
    return found


def _anything(draft: Draft, name: str) -> bool:
    analysis = draft.findings.analysis
    asked = CHANNELS[name].asked(analysis.settings)
    return asked and bool(np.isfinite(analysis.channel(name)).any())


def sheet_of(name: str, panels: Sequence[tuple[str, Any]], across: int, width: float = WIDTH
             ) -> Sheet:  # fmt: skip
    """Panels in rows of so many, on a sheet as wide as the report unless another width is given
    [mm]."""
    placed = tuple(Panel(kind, at // across, at % across, options=options,
                         lettered=len(panels) > 1)
                   for at, (kind, options) in enumerate(panels))  # fmt: skip
    return Sheet(name=name, preset="plain", width=width, dpi=DPI, panels=placed)


def figure(draft: Draft, sheet: Sheet, alt: str, doubts: bool = True) -> Figure:
    """A sheet as a picture of the report, with its caption; `doubts` about single curves may be
    told elsewhere."""
    from ..figures import draw_sheet, picture

    drawn = draw_sheet(sheet, draft.findings, draft.progress)
    pixels = picture(drawn, DPI)
    draft.progress.check()
    said = [words for one in drawn.panels for words in one.remarks]
    caption = " ".join([drawn.caption, *(f"{words.rstrip('.')}." for words in said)])
    if not doubts:
        caption = without_doubts(caption)
    height, width = pixels.shape[:2]
    return Figure(png(pixels), float(sheet.width), (width, height), alt, caption)


def without_doubts(caption: str) -> str:
    """A caption without the doubts that its curves carry."""
    for doubt in DOUBTS.values():
        said = f" Doubt about this curve ({doubt.severity}): {doubt.sentence.rstrip('.')}."
        caption = caption.replace(said, "")
    return caption


def png(pixels: np.ndarray) -> bytes:
    """A picture (h, w, 4) or (h, w, 3) as a PNG on white."""
    from PIL import Image

    image = Image.fromarray(np.ascontiguousarray(pixels))
    if image.mode == "RGBA":
        white = Image.new("RGBA", image.size, "white")
        image = Image.alpha_composite(white, image).convert("RGB")
    out = io.BytesIO()
    image.save(out, "PNG", compress_level=6, dpi=(DPI, DPI))
    return out.getvalue()


def maps(draft: Draft) -> list[Block]:
    """Maps of the main channels, four a figure, and that of the components."""
    found: list[Block] = []
    names = map_channels(draft)
    lost = [inside(name) for name in names if not draft.has(name)]
    if lost:
        found.append(Note(f"No pixel that is used has a value of {', '.join(lost)}: distrusted "
                          "pixels are drawn here.", WARNING))  # fmt: skip
    for start in range(0, len(names), 4):
        part = names[start : start + 4]
        panels = [("map", MapOptions(channel=name, title=CHANNELS[name].label,
                                     trusted=draft.has(name))) for name in part]  # fmt: skip
        alt = (f"Maps of {', '.join(inside(name) for name in part)}. "
               + " ".join(_told(draft, name) for name in part))  # fmt: skip
        found.append(figure(draft, sheet_of(f"Maps {start // 4 + 1}", panels, 2), alt))
    return [*found, *_kinds(draft)]


def _kinds(draft: Draft) -> list[Block]:
    """The map of the components and that of the doubts."""
    found: list[Block] = []
    table = draft.findings.table
    if table is not None:
        alt = "Map of which pixel belongs to which component: " + ", ".join(
            f"{row.letter} {100.0 * row.share.fraction:.1f} % of the area"
            for row in table.rows)  # fmt: skip
        sheet = sheet_of("Components", [("components", None)], 1, NARROW)
        found.append(figure(draft, sheet, alt + "."))
    counts = draft.findings.ranking.counts(
        draft.findings.analysis.review.kinds(draft.findings.map.shape))  # fmt: skip
    alt = ("Map of doubts and decisions: " + ", ".join(
        f"{counts[what]:,} {words}" for what, words in (
            ("pixels", "pixels with a curve"), ("doubted", "doubted"),
            ("severe", "with a severe doubt"), ("left out", "left out"), ("kept", "kept"),
            ("corrected", "corrected"))))  # fmt: skip
    found.append(figure(draft, sheet_of("Doubts", [("doubts", None)], 1, NARROW), alt + "."))
    return found


def _told(draft: Draft, name: str) -> str:
    """The middle and the quartiles of a channel in words."""
    from ..units import text_of

    values = draft.findings.analysis.channel(name)[draft.trusted]
    values = values[np.isfinite(values)]
    if not values.size:
        return f"No pixel that is used has a {inside(name)}."
    low, middle, high = (float(v) for v in np.percentile(values, [25.0, 50.0, 75.0]))
    unit = CHANNELS[name].unit
    return (f"{CHANNELS[name].label}: median {text_of(middle, unit)}, quartiles "
            f"{text_of(low, unit)} and {text_of(high, unit)}.")  # fmt: skip


def distributions(draft: Draft) -> list[Block]:
    """Histograms of stiffness and adhesion, and both against each other."""
    names = [name for name in (draft.stiff, "adhesion", "indentation", "dissipation")
             if name and draft.has(name)]  # fmt: skip
    found: list[Block] = []
    if names:
        panels = [("histogram", HistogramOptions(channel=name, log=_wide(draft, name)))
                  for name in names]  # fmt: skip
        alt = "Histograms. " + " ".join(_told(draft, name) for name in names)
        found.append(figure(draft, sheet_of("Distributions", panels, min(2, len(panels))), alt))
    x = "reduced_modulus" if draft.has("reduced_modulus") else draft.stiff
    if x and draft.has("adhesion"):
        joint = [("joint", JointOptions(x=x, y="adhesion", log_x=True))]
        alt = (f"Joint histogram of {inside(x)} and adhesion. {_told(draft, x)} "
               f"{_told(draft, 'adhesion')}")  # fmt: skip
        found.append(figure(draft, sheet_of("Two channels", joint, 1, NARROW), alt))
    return found


def _wide(draft: Draft, name: str) -> bool:
    """Whether a channel spans so much that equal ratios should take equal room."""
    values = draft.findings.analysis.channel(name)[draft.trusted]
    values = values[np.isfinite(values)]
    if not values.size or not (values > 0.0).all():
        return False
    low, high = np.percentile(values, [2.0, 98.0])
    return bool(high > 20.0 * low)


def evidence(draft: Draft, doubt: Any) -> list[Block]:
    """The pictures that a doubt about the whole map is seen on; none if it has none."""
    plots = doubt.evidence.plots
    if not plots:
        return []
    panels = [("evidence", EvidenceOptions(doubt=doubt.name, plot=at + 1))
              for at in range(min(len(plots), 6))]  # fmt: skip
    alt = f"Evidence: {'; '.join(plot.title for plot in plots)}. {doubt.sentence}"
    width = WIDTH if len(panels) > 1 else NARROW
    sheet = sheet_of("Evidence", panels, min(2, len(panels)), width)
    return [figure(draft, sheet, alt)]


def curves(draft: Draft) -> list[Block]:
    """The example curves, two in a row."""
    found: list[Block] = []
    y = "force" if math.isfinite(draft.findings.analysis.constants.force_scale) else "deflection"
    for start in range(0, len(draft.examples), 4):
        part = draft.examples[start : start + 4]
        panels = [("curve", CurveOptions(which="pixel", row=one.row, col=one.col, y=y,
                                         title=title_of(one))) for one in part]  # fmt: skip
        alt = "Force-distance curves: " + "; ".join(
            f"row {one.row}, column {one.col}, {one.words}" for one in part)  # fmt: skip
        sheet = sheet_of(f"Curves {start // 4 + 1}", panels, min(2, len(panels)),
                         WIDTH if len(panels) > 1 else NARROW)  # fmt: skip
        found.append(figure(draft, sheet, alt + ".", doubts=False))
    return found


def title_of(one: Any) -> str:
    """What an example is of, for a title."""
    what, _, component = one.words.partition(":")
    of = component.rpartition(" of component ")[2] if " of component " in component else ""
    return short(f"{what} of {of}" if of else what, 60)
