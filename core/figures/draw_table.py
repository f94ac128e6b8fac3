"""A panel that is a small table of text: components, calibration and settings, or doubts."""

from __future__ import annotations

import textwrap
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from ..sheets import Panel, TableOptions
from .fonts import text_width
from .look import INK, MUTED
from .parts import DrawnPanel, PanelError, Style
from .placing import size_of
from .tabled import TABLED, Tabled

if TYPE_CHECKING:
    from ..findings import Findings

LINE = 1.35
"""Height of a line of text, as a share of its size."""
GAP, MARGIN = 1.2, 0.4
"""Between columns, and around the table, in letters' sizes."""
NARROWEST = 5.0
"""No column is wrapped to less than so many letters' sizes."""
SAFE = 1.03
"""Hinted letters on a screen are a little wider than those of the outlines."""
SHORT = 12
"""Letters of a head that stay in one line with their unit."""
ROOMY, TIGHT = 1.5, 1.15
"""What a row of one line takes, in lines."""


@dataclass(frozen=True)
class _Set:
    """A table as it is set [pt]: `columns` are left ends and widths, `rows` the lines of each cell
    and what each row takes."""

    size: float
    tall: float
    columns: tuple[tuple[float, float], ...]
    cells: tuple[tuple[tuple[str, ...], ...], ...]
    shown: int

    @property
    def heights(self) -> list[float]:
        return [self.size * LINE * (max(map(len, row)) - 1 + self.tall) for row in self.cells]


def draw(subfigure: Any, panel: Panel, findings: Findings, style: Style) -> DrawnPanel:
    """Draw the table that the options choose; see `parts.Drawer`."""
    options = panel.options
    assert isinstance(options, TableOptions)
    table = TABLED[options.what](findings, options)
    if not table.rows:
        raise PanelError(f"Nothing stands in the table of {options.what}: take the panel out.")
    axes = subfigure.add_axes((0.0, 0.0, 1.0, 1.0))
    axes.set_axis_off()
    wide, high = size_of(subfigure)
    axes.set_xlim(0.0, wide)
    axes.set_ylim(high, 0.0)
    found, remarks = _fit(table, wide, high, style)
    _write(axes, found, table, style)
    return DrawnPanel(panel, tables=(table.data,), caption=table.caption, remarks=remarks)


def _fit(table: Tabled, wide: float, high: float, style: Style
         ) -> tuple[_Set, tuple[str, ...]]:  # fmt: skip
    """The largest of the sheet's sizes in which the table fits; else as much of it as does."""
    found = None
    for size, tall in _ways(style):
        found = _laid(table, style, size, tall, wide)
        if found is not None and sum(found.heights) + 1.0 <= high:
            return found, ()
    if found is None:
        raise PanelError("The table is too wide for its panel: make the panel wider, or choose "
                         "fewer channels.")  # fmt: skip
    room, shown = high - LINE * found.size, 0
    for height in found.heights:
        room -= height
        if room < 0.0:
            break
        shown += 1
    if shown < 2:
        raise PanelError("The table is too high for its panel: make the panel higher.")
    rest = len(found.cells) - shown
    return (replace(found, cells=found.cells[:shown], shown=shown),
            (f"{rest} of {len(table.rows)} rows of the table did not fit: make the panel "
             "higher.",))  # fmt: skip


def _ways(style: Style) -> list[tuple[float, float]]:
    """Sizes of the text and how high rows are, the best first."""
    middle = 0.5 * (style.font_size + style.small)
    return [(style.font_size, ROOMY), (middle, ROOMY), (style.small, ROOMY), (style.small, TIGHT)]


def wanted_height(panel: Panel, findings: Findings, style: Style, width: float) -> float:
    """How high the table wants to be at a width, both in points."""
    options = panel.options
    assert isinstance(options, TableOptions)
    try:
        table = TABLED[options.what](findings, options)
    except PanelError:
        return 4.0 * style.font_size
    for size, tall in _ways(style):
        found = _laid(table, style, size, tall, width)
        if found is not None:
            return sum(found.heights) + 2.0
    return 4.0 * style.font_size


def _wide(text: str, size: float, bold: bool = False) -> float:
    return SAFE * text_width(text, size, bold)


def _laid(table: Tabled, style: Style, size: float, tall: float, wide: float) -> _Set | None:
    """The table in one size, wrapped where it is too wide; None if it can't be."""
    texts = [tuple(_headed(label, unit, style) for label, unit in table.head), *table.rows]
    count = len(table.head)
    widths = [max(_wide(part, size, row == 0 or at == 0 and table.bold_first)
                  for row, cells in enumerate(texts) for part in cells[at].split("\n"))
              for at in range(count)]  # fmt: skip
    room = wide - 2.0 * MARGIN * size - (count - 1) * GAP * size
    widths = _squeezed(widths, room, NARROWEST * size)
    if sum(widths) > room + 0.01:
        return None
    cells = tuple(
        tuple(_wrapped(cell, size, widths[at], row == 0) for at, cell in enumerate(line))
        for row, line in enumerate(texts))  # fmt: skip
    left, columns = MARGIN * size, []
    spread = min((room - sum(widths)) / max(count - 1, 1), 2.0 * size)  # not too far apart
    for width in widths:
        columns.append((left, width))
        left += width + GAP * size + spread
    if any(_wide(part, size) > columns[at][1] * 1.02 for line in cells
           for at, cell in enumerate(line) for part in cell):  # fmt: skip
        return None
    return _Set(size, tall, tuple(columns), cells, len(cells))


def _headed(label: str, unit: str, style: Style) -> str:
    """A head with its unit, below it where both are long."""
    whole = style.label(label, unit)
    return f"{label}\n{whole[len(label) :].strip()}" if unit and len(whole) > SHORT else whole


def _squeezed(widths: list[float], room: float, least: float) -> list[float]:
    """Widths that fit into the room: the widest are cut to one measure."""
    over = sum(widths) - room
    if over <= 0.0:
        return widths
    low, high = 0.0, max(widths)
    for _ in range(40):
        cut = 0.5 * (low + high)
        if sum(min(w, cut) for w in widths) > room:
            high = cut
        else:
            low = cut
    return [min(w, max(low, min(least, w))) for w in widths]


def _wrapped(text: str, size: float, width: float, bold: bool) -> tuple[str, ...]:
    lines: list[str] = []
    for part in text.split("\n"):
        letters = max(len(part), 1)
        while letters > 1:
            tried = textwrap.wrap(part, letters, break_long_words=False) or [""]
            if max(_wide(one, size, bold) for one in tried) <= width + 0.01:
                break
            letters -= 1
        lines += textwrap.wrap(part, letters, break_long_words=False) or [""]
    return tuple(lines)


def _write(axes: Any, found: _Set, table: Tabled, style: Style) -> None:
    size, y = found.size, 0.5
    pitch = size * LINE
    end = found.columns[-1][0] + found.columns[-1][1]
    for row, (line, height) in enumerate(zip(found.cells, found.heights, strict=True)):
        for at, (cell, (left, width)) in enumerate(zip(line, found.columns, strict=True)):
            right = table.numeric[at]
            for k, part in enumerate(cell):
                base = y + pitch * (0.5 * found.tall + k)
                axes.text(left + width if right else left, base, part, fontsize=size,
                          ha="right" if right else "left", va="center_baseline", color=INK,
                          fontweight="bold" if row == 0 else "normal",
                          parse_math=False)  # fmt: skip
        y += height
        if row == 0:
            for place, width in ((0.5, 1.6), (y, 1.0)):
                axes.plot([0.0, end + MARGIN * size], [place, place], color=INK, clip_on=False,
                          linewidth=width * style.thin)  # fmt: skip
    axes.plot([0.0, end + MARGIN * size], [y, y], color=INK, linewidth=1.6 * style.thin,
              clip_on=False)  # fmt: skip
    rest = len(table.rows) + 1 - found.shown
    if rest:
        axes.text(MARGIN * size, y + 0.6 * pitch, f"and {rest} more", fontsize=style.small,
                  color=MUTED, va="center_baseline")  # fmt: skip
