"""Which pixels are doubted, and what was decided about them, as a panel.

Each state has a line in the legend and can be told without colours: doubts by their lightness, what
was corrected by stripes, what has no number by hatching.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np

from .. import colours
from ..decisions import CORRECTED, KEPT, LEFT_OUT
from ..sheets import DoubtOptions, Panel
from . import map_parts, mapframe, pixels, side_legend
from .mapframe import Frame, Grid, Needs
from .parts import DataTable, DrawnPanel, PanelError, Style

if TYPE_CHECKING:
    from ..findings import Findings

Array = np.ndarray


@dataclass(frozen=True)
class State:
    """What a pixel can be: words, colour, with light stripes over it (`hatch` OVER) or hatched in
    its place (the colour is then empty)."""

    words: str
    colour: str = ""
    hatch: str = ""

    def mark(self, picture: Array, mask: Array, factor: int, period: int) -> None:
        """Draw stripes or hatching into an enlarged picture where the mask says."""
        if self.hatch == pixels.OVER:
            pixels.stripe_over(picture, mask, factor, period)
        elif self.hatch:
            pixels.hatch_into(picture, mask, self.hatch, factor, period)


STATES = (
    State("no doubt", "#e9edf0"), State("mild doubts, used", "#e69f00"),
    State("severe doubt, not used", "#8c1c13"), State("kept in spite", "#a9d3f0"),
    State("corrected", "#009e73", pixels.OVER), State("left out by hand", hatch=pixels.LEFT),
    State("no curve", hatch=pixels.NONE),
)  # fmt: skip
"""Number of a state -> what it is; of what holds for a pixel the last counts."""
CLEAR, MILD, SEVERE, IN_SPITE, OTHER, OUT, NO_CURVE = range(7)


def states_of(findings: Findings) -> Array:
    """The state of each pixel, uint8 (rows, cols): index into `STATES`."""
    analysis = findings.analysis
    shape = findings.map.shape
    found = np.full(shape, CLEAR, np.uint8)
    found[np.asarray(analysis.doubts) != 0] = MILD
    found[np.asarray(analysis.severe)] = SEVERE
    kinds = analysis.review.kinds(shape)
    for kind, state in ((KEPT, IN_SPITE), (CORRECTED, OTHER), (LEFT_OUT, OUT)):
        # a corrected pixel may be doubted severely all the same: then it is not used
        found[(kinds == kind) & ((state != OTHER) | (found != SEVERE))] = state
    found[findings.map.index_map < 0] = NO_CURVE
    return found


def _options(panel: Panel) -> DoubtOptions:
    assert isinstance(panel.options, DoubtOptions)
    return panel.options


def legend(findings: Findings, options: DoubtOptions) -> tuple[tuple[int, str], ...]:
    """(state, words) of those that occur, in their order."""
    counts = np.bincount(states_of(findings).ravel(), minlength=len(STATES))
    return tuple((number, state.words + (f": {counts[number]:,}" if options.counts else ""))
                 for number, state in enumerate(STATES) if counts[number])  # fmt: skip


def wanted_beside(panel: Panel, findings: Findings, style: Style, width: float) -> float:
    """Room of the legend right of the map [pt]."""
    return side_legend.room_of(_items(findings, _options(panel), style), style, width).beside


def _needs(panel: Panel, findings: Findings, style: Style, width: float) -> Needs:
    options = _options(panel)
    room = side_legend.room_of(_items(findings, options, style), style, width)
    return Needs(axes=options.axes, scale_bar=options.scale_bar, beside=room.beside,
                 side=room.side, foot=room.foot)  # fmt: skip


def wanted_height(panel: Panel, findings: Findings, style: Style, width: float) -> float:
    """How high the panel wants to be at a width [pt]."""
    needs = _needs(panel, findings, style, width)
    wanted = mapframe.lay(mapframe.grid_of(findings.map), needs, style, width).height
    return min(wanted, mapframe.TALLEST * width)


def draw(subfigure: Any, panel: Panel, findings: Findings, style: Style) -> DrawnPanel:
    """Draw the doubt map. Raises PanelError where the analysis is not complete."""
    if not findings.analysis.complete:
        raise PanelError("The doubts are not known before the whole map is analysed.")
    options, states = _options(panel), states_of(findings)
    width, height = mapframe.body_of(subfigure)
    grid = mapframe.grid_of(findings.map)
    frame = mapframe.lay(grid, _needs(panel, findings, style, width), style, width, height)
    axes = map_parts.map_axes(subfigure, frame, grid, style, options.axes)
    map_parts.show_pixels(axes, picture_of(grid.upright(states), grid, frame, style), grid)
    paper = mapframe.paper(subfigure, width, height)
    map_parts.draw_strip(paper, frame, grid, style)
    remarks = side_legend.draw(paper, _items(findings, options, style), frame, style)
    return DrawnPanel(panel, tables=(table_of(states, findings),),
                      caption=caption_of(states, frame), remarks=remarks)  # fmt: skip


def picture_of(states: Array, grid: Grid, frame: Frame, style: Style) -> Array:
    """The pixels in the colours of their states, enlarged by a whole factor."""
    factor = max(pixels.factor_for(grid.cols, frame.across, style.dpi),
                 pixels.factor_for(grid.rows, frame.up, style.dpi))  # fmt: skip
    table = np.array([colours.rgb(one.colour) if one.colour else pixels.LIGHT for one in STATES],
                     np.uint8)  # fmt: skip
    picture = pixels.enlarged(table[states], factor)
    period = pixels.period_of(factor, frame.across / grid.cols, style)
    for number, state in enumerate(STATES):
        if (states == number).any():
            state.mark(picture, states == number, factor, period)
    return picture


def _items(findings: Findings, options: DoubtOptions, style: Style) -> list[side_legend.Item]:
    """The legend with its swatches."""
    return [side_legend.Item((words,), partial(_paint, STATES[number], style))
            for number, words in legend(findings, options)]  # fmt: skip


def _paint(state: State, style: Style, paper: Any, box: side_legend.Box) -> None:
    """The swatch of a state into a box [pt]."""
    factor = max(2, int(np.ceil(style.dpi / 72.0)))
    shape = (int(np.ceil(box[3])), int(np.ceil(box[2])))
    picture = np.empty((shape[0] * factor, shape[1] * factor, 3), np.uint8)
    picture[:] = colours.rgb(state.colour) if state.colour else pixels.LIGHT
    state.mark(picture, np.ones(shape, bool), factor, pixels.period_of(factor, 1.0, style))
    map_parts.put_image(paper, picture, box)
    map_parts.outline(paper, box, style)


def caption_of(states: Array, frame: Frame) -> str:
    """What the panel shows, a phrase for the caption."""
    counts = np.bincount(states.ravel(), minlength=len(STATES))
    told = ", ".join(f"{counts[n]:,} {state.words}" for n, state in enumerate(STATES) if counts[n])
    bar = next((p.entry.text for p in frame.strip if p.entry.kind == "bar"), "")
    parts = [f"doubts and decisions, in pixels: {told}"]
    return "; ".join([*parts, f"scale bar {bar}"] if bar else parts)


def table_of(states: Array, findings: Findings) -> DataTable:
    """The states behind the panel, a row a pixel."""
    from ..doubts import names_of

    fmap = findings.map
    rows, cols = np.divmod(np.arange(states.size), fmap.shape[1])
    length = "nm" if fmap.has_scale else "pixel"
    names = np.array([state.words for state in STATES])
    bits, back = np.unique(np.asarray(findings.analysis.doubts).ravel(), return_inverse=True)
    doubts = np.array([" ".join(names_of(int(b))) for b in bits])[back]
    columns = (("row", "", "scan line, from 0"), ("column", "", "from 0"),
               ("x", length, "centre of the pixel"), ("y", length, "centre of the pixel"),
               ("state", "", "what is drawn"), ("doubts", "", "their names"))  # fmt: skip
    values = (rows, cols, np.asarray(fmap.x, float)[cols], np.asarray(fmap.y, float)[rows],
              names[states.ravel()], doubts)  # fmt: skip
    return DataTable("doubts_map", columns, values, "Doubts and decisions of each pixel, as drawn.")
