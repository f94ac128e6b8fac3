"""Where everything lies on a sheet: exact boxes in points, before anything is drawn.

Each row of the grid has a head for letters and titles and a body below it, so that letters stand
alike in all panels and bodies begin on one line.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from ..errors import SettingsError
from ..sheets import Panel, Sheet
from .parts import Style
from .presets import Preset

MM = 72.0 / 25.4
"""Points in a millimetre."""
MARGIN = 1.0 * MM
LEAST_BODY = 18.0
"""A row's body is at least so high [pt]."""
LEAST_SHARE = 0.4
"""A sheet that is too high for its preset is made lower down to this share of its bodies."""

Box = tuple[float, float, float, float]
"""Left, bottom, right, top [pt] from the lower left corner of the sheet."""


@dataclass(frozen=True)
class Plan:
    """A sheet laid out: its size [pt], one body a panel, and one head (as wide as the body)."""

    width: float
    height: float
    bodies: tuple[Box, ...]
    heads: tuple[Box, ...]
    remarks: tuple[str, ...] = ()

    def shares(self, at: int) -> Box:
        """All that belongs to a panel, head and body, as shares of the sheet."""
        left, bottom, right, _ = self.bodies[at]
        top = self.heads[at][3]
        return left / self.width, bottom / self.height, right / self.width, top / self.height


def gap(style: Style) -> tuple[float, float]:
    """Between columns and between rows [pt]."""
    return 1.7 * style.font_size, 1.2 * style.font_size


def columns(sheet: Sheet, preset: Preset, style: Style) -> list[tuple[float, float]]:
    """Left and right edge of each column [pt]. Raises SettingsError if there is no room."""
    count = sheet.grid[1]
    between = gap(style)[0]
    room = preset.width(sheet) * MM - 2.0 * MARGIN - between * (count - 1)
    shares = _filled(sheet.widths, count)
    widths = [room * share / sum(shares) for share in shares]
    if min(widths) < 2.0 * style.font_size:
        raise SettingsError("width", f"{preset.width(sheet):.0f} mm is too narrow for {count} "
                            "columns. Make the sheet wider or use fewer columns.")  # fmt: skip
    edges, left = [], MARGIN
    for width in widths:
        edges.append((left, left + width))
        left += width + between
    return edges


def plan(sheet: Sheet, preset: Preset, style: Style, wanted: Sequence[float]) -> Plan:
    """Lay a sheet out; `wanted` tells how high each panel wants to be [pt]."""
    across = columns(sheet, preset, style)
    between = gap(style)[1]
    heads = _heads(sheet, style)
    fixed = 2.0 * MARGIN + sum(heads) + between * (len(heads) - 1)
    remarks: tuple[str, ...] = ()
    if sheet.height:
        bodies = _given(sheet, preset, fixed)
    else:
        bodies, remarks = _needed(sheet, preset, heads, between, fixed, wanted)
    height = fixed + sum(bodies)
    tops, top = [], height - MARGIN
    for head, body in zip(heads, bodies, strict=True):
        tops.append((top, top - head, top - head - body))
        top -= head + body + between
    boxes = [_boxes(panel, across, tops) for panel in sheet.panels]
    return Plan(preset.width(sheet) * MM, height, tuple(b for b, _ in boxes),
                tuple(h for _, h in boxes), remarks)  # fmt: skip


def _boxes(panel: Panel, across: list[tuple[float, float]],
           tops: list[tuple[float, float, float]]) -> tuple[Box, Box]:  # fmt: skip
    left, right = across[panel.col][0], across[panel.col + panel.cols - 1][1]
    head_top, body_top, _ = tops[panel.row]
    bottom = tops[panel.row + panel.rows - 1][2]
    return (left, bottom, right, body_top), (left, body_top, right, head_top)


def _heads(sheet: Sheet, style: Style) -> list[float]:
    """Height of each row's head; 0 where no panel that begins there has a letter or a title."""
    rows = range(sheet.grid[0])
    full = 1.3 * max(style.letter_size, style.font_size)
    named = {p.row for p in sheet.panels if p.lettered or p.options.title}
    return [full if row in named else 0.0 for row in rows]


def _filled(shares: Sequence[float], count: int) -> list[float]:
    return [float(shares[i]) if i < len(shares) else 1.0 for i in range(count)]


def _given(sheet: Sheet, preset: Preset, fixed: float) -> list[float]:
    """Bodies of the rows of a sheet whose height was given."""
    rows = sheet.grid[0]
    room = sheet.height * MM - fixed
    shares = _filled(sheet.heights, rows)
    bodies = [room * share / sum(shares) for share in shares]
    if min(bodies) < LEAST_BODY:
        least = (fixed + LEAST_BODY * sum(shares) / min(shares)) / MM
        raise SettingsError("height", f"{sheet.height:g} mm is too low for {rows} rows; they need "
                            f"{least:.0f} mm at least, or 0 for as much as they want.")  # fmt: skip
    return bodies


def _needed(
    sheet: Sheet, preset: Preset, heads: list[float], between: float, fixed: float,
    wanted: Sequence[float],
) -> tuple[list[float], tuple[str, ...]]:  # fmt: skip
    """Bodies as high as the panels want, or lower where the preset's height would be left."""
    bodies = [LEAST_BODY] * sheet.grid[0]
    for at in sorted(range(len(sheet.panels)), key=lambda at: sheet.panels[at].rows):
        panel = sheet.panels[at]
        rows = range(panel.row, panel.row + panel.rows)
        inner = sum(heads[row] + between for row in rows[1:])
        lacking = wanted[at] - inner - sum(bodies[row] for row in rows)
        for row in rows:
            bodies[row] += max(lacking, 0.0) / len(rows)
    if sheet.heights:
        shares = _filled(sheet.heights, len(bodies))
        unit = max(body / share for body, share in zip(bodies, shares, strict=True))
        bodies = [unit * share for share in shares]
    most = preset.max_height * MM
    if not most or fixed + sum(bodies) <= most:
        return bodies, ()
    share = max((most - fixed) / sum(bodies), LEAST_SHARE)
    words = (f"The panels want {(fixed + sum(bodies)) / MM:.0f} mm of height, {preset.name} takes "
             f"{preset.max_height:g} mm: they were made lower.")  # fmt: skip
    return [share * body for body in bodies], (words,)
