"""A sheet drawn: Matplotlib's figure in its exact size, with all panels, letters and the caption.

Drawing sets Matplotlib's global parameters while it runs, so that one sheet is drawn at a time.
"""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from .. import colours
from ..errors import InputError
from ..progress import Progress
from ..sheets import MapOptions, Panel, Sheet
from . import fonts, layout, presets
from .captions import caption_of, lettered
from .colouring import shared_words
from .panel_drawers import DRAWERS, wanted_beside, wanted_height
from .parts import Drawn, DrawnPanel, PanelError, Style
from .presets import Preset, preset

if TYPE_CHECKING:
    from ..findings import Findings

Array = np.ndarray
_ONE = threading.RLock()
SALT = "palpate"
"""Names inside an SVG file are made from it, so that equal sheets give equal files."""
MOST_PIXELS = 20_000
"""Of a picture along one side."""


def settings_of(style: Style, face: fonts.Face) -> dict[str, Any]:
    """Matplotlib's parameters for a sheet."""
    size, small, thin = style.font_size, style.small, style.thin
    return {
        "font.family": fonts.families(face), "font.size": size, "axes.labelsize": size,
        "axes.titlesize": size, "figure.titlesize": size, "xtick.labelsize": small,
        "ytick.labelsize": small, "legend.fontsize": small, "legend.title_fontsize": small,
        "axes.linewidth": thin, "xtick.major.width": thin, "ytick.major.width": thin,
        "xtick.minor.width": thin, "ytick.minor.width": thin, "xtick.major.size": 0.35 * size,
        "ytick.major.size": 0.35 * size, "xtick.minor.size": 0.2 * size,
        "ytick.minor.size": 0.2 * size, "xtick.major.pad": 0.3 * size,
        "ytick.major.pad": 0.3 * size, "axes.labelpad": 0.3 * size, "lines.linewidth": style.line,
        "patch.linewidth": thin, "hatch.linewidth": thin, "grid.linewidth": thin,
        "legend.framealpha": 1.0, "legend.edgecolor": "none", "legend.borderpad": 0.2,
        "legend.handlelength": 1.6, "legend.labelspacing": 0.25, "legend.fancybox": False,
        "axes.grid": False, "axes.unicode_minus": True, "axes.formatter.use_mathtext": False,
        "text.usetex": False, "text.parse_math": False, "savefig.bbox": None,
        "savefig.pad_inches": 0.0, "savefig.facecolor": "white", "figure.facecolor": "white",
        "savefig.transparent": False,
        "pdf.fonttype": 42, "ps.fonttype": 42, "svg.fonttype": "none", "svg.hashsalt": SALT,
        "svg.image_inline": True, "figure.autolayout": False,
        "figure.constrained_layout.use": False, "image.composite_image": False,
        "pdf.compression": 6,
        "path.simplify": True, "agg.path.chunksize": 0,
    }  # fmt: skip


@contextmanager
def drawing_as(style: Style) -> Iterator[None]:
    """Matplotlib set for a sheet, and no other sheet at the same time."""
    import matplotlib

    with _ONE, matplotlib.rc_context():
        matplotlib.rcdefaults()
        wanted: Any = settings_of(style, fonts.face())
        matplotlib.rcParams.update(wanted)
        yield


def draw_sheet(sheet: Sheet, findings: Findings, progress: Progress | None = None) -> Drawn:
    """Draw a sheet.

    A panel that can't be drawn from these findings is drawn as a box with the reason.

    Raises
    ------
    SettingsError : the preset is not known, or the sheet is too small for its grid
    Cancelled : asked for through `progress`
    """
    wanted = preset(sheet.preset)
    style = _with_shared(wanted.style(sheet), sheet, findings)
    progress = progress or Progress()
    with drawing_as(style):
        plan, styles = _planned(sheet, wanted, style, findings)
        figure = _figure(plan)
        made: dict[int, DrawnPanel] = {}
        places = _subfigures(figure, plan)
        for done, at in enumerate(sheet.order):
            panel = sheet.panels[at]
            progress.step(done, len(sheet.panels), f"Panel {done + 1} of {len(sheet.panels)}")
            made[at] = _draw_panel(places[at], panel, findings, styles[at])
        letters = lettered(sheet, style)
        for at, panel in enumerate(sheet.panels):
            cut = _draw_head(figure, plan, at, letters[at], panel, style)
            if cut:
                made[at] = replace(made[at], remarks=(*made[at].remarks, cut))
        raised = fonts.raise_small(figure, min(wanted.text_min, style.small))
        lost = fonts.box_unknown(figure)
    panels = tuple(replace(made[at], letter=letters[at]) for at in range(len(sheet.panels)))
    own = _own_remarks(sheet, wanted, plan, raised, lost)
    remarks = (*own, *_panel_remarks(panels), *_notes(findings))
    return Drawn(figure, sheet, style, panels,
                 tuple(plan.shares(at) for at in range(len(sheet.panels))),
                 caption_of(sheet, panels, findings), fonts.face().name, remarks)  # fmt: skip


def plan_of(sheet: Sheet, findings: Findings) -> layout.Plan:
    """Where the panels of a sheet will lie, without drawing it. Raises as `draw_sheet`."""
    wanted = preset(sheet.preset)
    style = wanted.style(sheet)
    with drawing_as(style):
        return _planned(sheet, wanted, style, findings)[0]


def _planned(sheet: Sheet, wanted: Preset, style: Style, findings: Findings
             ) -> tuple[layout.Plan, list[Style]]:  # fmt: skip
    """The plan of a sheet, and the style of each panel."""
    styles = _styles(style, sheet, wanted, findings)
    heights = [wanted_height(panel, findings, styles[at], width)
               for at, (panel, width) in enumerate(_widths(sheet, wanted, style))]  # fmt: skip
    return layout.plan(sheet, wanted, style, heights), styles


def picture(drawn: Drawn, dpi: float, look: str = "colour") -> Array:
    """A drawn sheet as pixels, uint8 (h, w, 4), opaque; row 0 at the top.

    Parameters
    ----------
    look : a name of `colours.LOOKS`: in colour, in grey, or with one kind of cones missing

    Raises
    ------
    InputError : a picture larger than 20,000 pixels along a side, or an unknown look
    """
    if look not in colours.LOOKS:
        raise InputError(f"There is no look “{look[:40]}”; one of {', '.join(colours.LOOKS)}.")
    sides = [dpi * side for side in drawn.figure.get_size_inches()]
    if not (min(sides) >= 1.0 and max(sides) <= MOST_PIXELS):
        raise InputError(f"At {dpi:g} dpi the sheet would be {sides[0]:.0f} x {sides[1]:.0f} "
                         f"pixels; at most {MOST_PIXELS} are possible.")  # fmt: skip
    with drawing_as(drawn.style):
        figure = drawn.figure
        before = figure.dpi
        try:
            figure.set_dpi(dpi)
            figure.canvas.draw()
            pixels = np.array(figure.canvas.buffer_rgba())
        finally:
            figure.set_dpi(before)
    pixels[..., 3] = 255
    return colours.seen(pixels, look)


def _figure(plan: layout.Plan) -> Any:
    """An empty figure of the sheet's size with a canvas of its own. No layout engine: panels lie
    where they were planned, and a solver's last digits differ from run to run."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    size = plan.width / 72.0, plan.height / 72.0
    figure = Figure(figsize=size, dpi=72.0, facecolor="white", layout=None)
    FigureCanvasAgg(figure)
    return figure


def _subfigures(figure: Any, plan: layout.Plan) -> list[Any]:
    """One subfigure a panel, exactly in its body: cells of a grid whose lines are all edges."""
    if not plan.bodies:
        return []
    across = _lines([b[i] for b in plan.bodies for i in (0, 2)], plan.width)
    upwards = _lines([b[i] for b in plan.bodies for i in (1, 3)], plan.height)
    grid = figure.add_gridspec(len(upwards) - 1, len(across) - 1, width_ratios=np.diff(across),
                               height_ratios=np.diff(upwards)[::-1], wspace=0.0, hspace=0.0,
                               left=0.0, right=1.0, bottom=0.0, top=1.0)  # fmt: skip
    rows, found = len(upwards) - 1, []
    for left, bottom, right, top in plan.bodies:
        x0, x1 = _at(across, left), _at(across, right)
        y0, y1 = _at(upwards, bottom), _at(upwards, top)
        found.append(figure.add_subfigure(grid[rows - y1 : rows - y0, x0:x1]))
    return found


def _lines(edges: list[float], end: float) -> list[float]:
    """Edges in order, each once, with both ends of the sheet."""
    return sorted({round(edge, 6) for edge in (0.0, *edges, end)})


def _at(lines: list[float], edge: float) -> int:
    return lines.index(round(edge, 6))


def _draw_panel(subfigure: Any, panel: Panel, findings: Findings, style: Style) -> DrawnPanel:
    """One panel; what is missing is said in its place."""
    try:
        return DRAWERS[panel.kind](subfigure, panel, findings, style)
    except PanelError as error:
        subfigure.clear()
        _say(subfigure, str(error), style)
        return DrawnPanel(panel, problem=str(error))


def _say(subfigure: Any, words: str, style: Style) -> None:
    """A box with a sentence."""
    from matplotlib.patches import Rectangle

    from .mapframe import body_of, paper

    width, height = body_of(subfigure)
    axes = paper(subfigure, width, height)
    axes.add_patch(Rectangle((0.5, 0.5), width - 1.0, height - 1.0, facecolor="white",
                             edgecolor="black", linewidth=style.thin, linestyle="--"))  # fmt: skip
    lines = fonts.wrapped(words, style.small, width - 2.0 * style.font_size)
    most = max(int(height / (1.25 * style.small)) - 1, 1)
    if len(lines) > most:  # the remarks tell it whole
        lines = [*lines[: most - 1], lines[most - 1] + " …"]
    lines = [fonts.shortened(one, style.small, width - 2.0) for one in lines]
    axes.text(width / 2, height / 2, "\n".join(lines), fontsize=style.small, ha="center",
              va="center", linespacing=1.25, clip_on=True)  # fmt: skip


def _draw_head(figure: Any, plan: layout.Plan, at: int, letter: str, panel: Panel, style: Style
               ) -> str:  # fmt: skip
    """The letter and the title above a panel's body; a remark if the title had to be cut."""
    left, bottom, right, top = plan.heads[at]
    if top <= bottom:
        return ""
    base = (bottom + 0.32 * style.letter_size) / plan.height
    if letter:
        weight = "bold" if style.letter_bold else "normal"
        figure.text(left / plan.width, base, letter, fontsize=style.letter_size, ha="left",
                    va="baseline", fontweight=weight)  # fmt: skip
    title, start = panel.options.title, left
    if not title:
        return ""
    if letter:
        start += fonts.text_width(letter, style.letter_size, style.letter_bold)
        start += 0.6 * style.font_size
    words = fonts.shortened(title, style.font_size, right - start)
    figure.text(start / plan.width, base, words, fontsize=style.font_size, ha="left",
                va="baseline")  # fmt: skip
    return "" if words == title else f"The title is too long and was cut to “{words}”."


def _with_shared(style: Style, sheet: Sheet, findings: Findings) -> Style:
    """With the limits of those maps that share theirs: from the lowest to the highest of all."""
    from .draw_map import own_limits

    found: dict[str, tuple[float, float]] = {}
    rules: dict[str, list[str]] = {}
    for panel in sheet.panels:
        if isinstance(panel.options, MapOptions) and panel.options.shared:
            try:
                name, low, high = own_limits(panel, findings)
            except PanelError:
                continue
            known = found.get(name, (low, high))
            found[name] = min(low, known[0]), max(high, known[1])
            rules.setdefault(name, []).append(panel.options.limits)
    by = {name: shared_words(limits) for name, limits in rules.items()}
    return replace(style, shared=found, shared_by=by)


def _widths(sheet: Sheet, wanted: Preset, style: Style) -> list[tuple[Panel, float]]:
    """Each panel with its width [pt]."""
    edges = layout.columns(sheet, wanted, style)
    return [(p, edges[p.col + p.cols - 1][1] - edges[p.col][0]) for p in sheet.panels]


def _styles(style: Style, sheet: Sheet, wanted: Preset, findings: Findings) -> list[Style]:
    """The style of each panel, with the room that the widest colour bar or legend takes among
    panels of the same width, so that their maps are of one size."""
    panels = _widths(sheet, wanted, style)
    rooms = [(round(width), wanted_beside(panel, findings, style, width))
             for panel, width in panels]  # fmt: skip
    return [replace(style, beside=max(room for wide, room in rooms if wide == own))
            for own, _ in rooms]  # fmt: skip


def _own_remarks(sheet: Sheet, wanted: Preset, plan: layout.Plan, raised: int, lost: str
                 ) -> list[str]:  # fmt: skip
    """What the person should be told about the sheet itself."""
    found = [words for words in (*plan.remarks, presets.OWN_PROBLEM) if words]
    if fonts.face().words:
        found.append(fonts.face().words)
    if sheet.width == "middle" and not wanted.middle:
        found.append(f"{wanted.name} states no width between one column and two: "
                     f"{wanted.width(sheet):.0f} mm, half way, was taken.")  # fmt: skip
    if raised:
        found.append(f"{raised} texts were smaller than {wanted.text_min:g} pt and were enlarged.")
    if lost:
        found.append(f"No typeface here has “{lost[:20]}”: {fonts.BOX} is drawn instead. Use other "
                     "signs in titles and names.")  # fmt: skip
    return found


def _panel_remarks(panels: tuple[DrawnPanel, ...]) -> list[str]:
    """What should be told about single panels, each with its letter."""
    names = [f"Panel {one.letter or at + 1}: " for at, one in enumerate(panels)]
    return [name + words for name, one in zip(names, panels, strict=True)
            for words in (one.problem, *one.remarks) if words]  # fmt: skip


def _notes(findings: Findings) -> list[str]:
    """What is not as it should be with the findings; that there are no components says the panel
    that wants them."""
    return [note for note in findings.notes if not note.startswith("No components")]
