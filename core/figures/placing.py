"""Where the axes of a panel lie in their box: measured, so that nothing is cut or overlaps, and
independent of the layout of the sheet around it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from .dressing import fewer_ticks
from .fonts import box_unknown, shortened, text_width, wrapped
from .look import INK, MUTED
from .parts import Style

PAD = 1.0
"""Left free around everything [pt]."""
LEAST = 0.2
"""Share of the box that axes get at least, whatever their labels want."""
LONG = 2.0
"""Length of a line in a legend, in letters' sizes."""
BAR, BAR_GAP = 0.8, 0.7
"""Width of a colour bar, and its distance, in letters' sizes."""


def size_of(subfigure: Any) -> tuple[float, float]:
    """Width and height of a subfigure [pt]."""
    box, inch = subfigure.bbox, 72.0 / subfigure.figure.dpi
    return float(box.width * inch), float(box.height * inch)


def rows_of(subfigure: Any, count: int = 1) -> list[Any]:
    """Axes above each other that share their x axis; `place` says where."""
    made: list[Any] = []
    for at in range(count):
        high = 1.0 / count
        rect = (0.15, 1.0 - (at + 0.85) * high, 0.8, 0.7 * high)
        made.append(subfigure.add_axes(rect, sharex=made[0] if made else None))
    return made


def note(axes: Any, text: str, style: Style) -> tuple[float, tuple[str, ...]]:
    """Small type above the axes, at the right edge of the panel, in as many lines as it needs.

    Returns what it takes [pt], and a remark where a single word was too long and cut.
    """
    if not text:
        return 0.0, ()
    room = size_of(axes.figure)[0] - 2.0 * PAD
    whole = wrapped(text, style.small, room)
    lines = [shortened(one, style.small, room) for one in whole]
    axes.annotate("\n".join(lines), (1.0, 1.0), (-PAD, 2.5),
                  xycoords=("subfigure fraction", "axes fraction"), textcoords="offset points",
                  ha="right", va="bottom", fontsize=style.small, color=MUTED, linespacing=1.15,
                  annotation_clip=False, parse_math=False)  # fmt: skip
    remarks = () if lines == whole else (f"“{text[:60]}” is too long for the panel and was cut.",)
    return 2.5 + (1.25 + 1.2 * (len(lines) - 1)) * style.small, remarks


def legend(subfigure: Any, handles: Sequence[Any], style: Style, long: float = LONG) -> Any:
    """A legend along the lower edge of the box, in as many columns as fit; None for none."""
    if not handles:
        return None
    labels = [str(handle.get_label()) for handle in handles]
    columns = _columns(labels, style, size_of(subfigure)[0], long)
    made = subfigure.legend(
        handles, labels, loc="lower center", bbox_to_anchor=(0.5, 0.0),
        ncols=columns, fontsize=style.small, frameon=False,
        handlelength=long, handletextpad=0.5, columnspacing=1.0, labelspacing=0.25, borderpad=0.1,
        borderaxespad=0.1, labelcolor=INK,
    )  # fmt: skip
    for text in made.get_texts():
        text.set_parse_math(False)  # names are a person's own
    box_unknown(made)  # before it is measured
    return made


def _columns(labels: Sequence[str], style: Style, width: float, long: float) -> int:
    """In how many columns a legend goes."""
    widest = max(text_width(label, style.small) for label in labels) + (long + 1.8) * style.small
    columns = int(min(max(width // widest, 1), len(labels)))
    return math.ceil(len(labels) / math.ceil(len(labels) / columns))


def height_with(labels: Sequence[str], style: Style, width: float, share: float) -> float:
    """How high a panel wants to be [pt] whose axes are `share` as high as the panel is wide, with
    the titles of its axes, a line above and a legend below."""
    rows = math.ceil(len(labels) / _columns(labels, style, width, LONG)) if labels else 0
    around = 2.8 * style.font_size + (1.3 * (rows + 1) + 0.6) * style.small
    return share * width + around


def height_of(axes: Any) -> float:
    """Of axes where they lie now [pt]."""
    return float(axes.bbox.height * 72.0 / axes.get_figure(root=True).dpi)


def place(subfigure: Any, axes: Sequence[Any], style: Style, *, top: float = 0.0,
          shares: Sequence[float] = (1.0,), legend: Any = None,
          bar: Any = None) -> None:  # fmt: skip
    """Give the axes all of the box that their labels leave.

    Parameters
    ----------
    axes : from top to bottom, sharing x
    top : taken above them [pt]
    shares : of their heights
    legend, bar : what stands below, and the axes of a colour bar at the right
    """
    root = subfigure.get_figure(root=True)
    scale = 72.0 / root.dpi
    wide, high = size_of(subfigure)
    below = PAD
    if legend is not None:
        below += legend.get_window_extent().height * scale + 0.4 * style.small
    beside = (BAR + BAR_GAP) * style.font_size if bar is not None else 0.0
    before: list[float] = []
    for _ in range(4):  # other ticks and titles may need another room
        out = [_overhang(one, scale) for one in axes]
        left, right = (max(o[side] for o in out) for side in (0, 2))
        if bar is not None:
            right = beside + _overhang(bar, scale)[2]
        gaps = [upper[1] + 0.6 * style.font_size for upper in out[:-1]]
        now = [left, right, out[-1][1], *gaps]
        if before and max(abs(a - b) for a, b in zip(now, before, strict=True)) < 0.01:
            break
        before = now
        across = max(wide - left - right - 2.0 * PAD, LEAST * wide)
        up = max(high - top - below - out[-1][1] - sum(gaps) - PAD, LEAST * high)
        at = high - PAD - top
        for one, share, gap in zip(axes, shares, [*gaps, 0.0], strict=True):
            tall = up * share / sum(shares)
            _put(one, (left + PAD, at - tall, across, tall), wide, high)
            at -= tall + gap
            _fit(one, tall, style)
        if bar is not None:
            gap = BAR_GAP * style.font_size
            _put(bar, (left + PAD + across + gap, high - PAD - top - up, BAR * style.font_size, up),
                 wide, high)  # fmt: skip
            _fit(bar, up, style)


def _fit(axes: Any, tall: float, style: Style) -> None:
    """Break a title at the side that is longer than its axes are high [pt], and take ticks away
    until their numbers stand apart."""
    title = axes.yaxis.label.get_text()
    axes.yaxis.set_label_text(broken(title, tall, style.font_size) if "\n" not in title else title)
    for axis in (axes.xaxis, axes.yaxis):
        for most in (4, 3, 2):
            if not _crowded(axis, style):
                break
            fewer_ticks(axis, most)


def _crowded(axis: Any, style: Style) -> bool:
    """Whether numbers at an axis stand nearer than a third of a letter."""
    root = axis.axes.get_figure(root=True)
    axis.get_tightbbox(root.canvas.get_renderer())  # ticks lie where they lie only then
    low, high = sorted(axis.get_view_interval())
    boxes = [tick.label1.get_window_extent() for tick in axis.get_major_ticks()
             if low <= tick.get_loc() <= high and tick.label1.get_visible()]  # fmt: skip
    ends = sorted((box.x0, box.x1) if axis.axis_name == "x" else (box.y0, box.y1) for box in boxes)
    room = (0.35 if axis.axis_name == "x" else -0.15) * style.small * root.dpi / 72.0
    return any(b[0] - a[1] < room for a, b in zip(ends, ends[1:], strict=False))


def _put(axes: Any, box: tuple[float, float, float, float], wide: float, high: float) -> None:
    left, bottom, across, up = box
    axes.set_position((left / wide, bottom / high, across / wide, up / high))


def _overhang(axes: Any, scale: float) -> tuple[float, float, float, float]:
    """How far ticks and labels stand out of the axes at left, bottom, right and top [pt]."""
    box, out = axes.bbox, [0.0, 0.0, 0.0, 0.0]
    for axis in (axes.xaxis, axes.yaxis):
        if not axis.get_visible():
            continue
        renderer = axes.get_figure(root=True).canvas.get_renderer()
        found = axis.get_tightbbox(renderer)
        if found is None:
            continue
        reach = (box.x0 - found.x0, box.y0 - found.y0, found.x1 - box.x1, found.y1 - box.y1)
        out = [max(a, b * scale) for a, b in zip(out, reach, strict=True)]
    return out[0], out[1], out[2], out[3]


def name_axes(axes: Any, subfigure: Any, x: str, y: str, style: Style, share: float = 1.0) -> None:
    """Titles of both axes, in two lines where one would be longer than the axis; `share` of the
    box's height is the axes'. An empty title takes no room."""
    wide, high = size_of(subfigure)
    for axis, text, room in ((axes.xaxis, x, wide - 5.0 * style.font_size),
                             (axes.yaxis, y, share * (high - 6.0 * style.font_size))):  # fmt: skip
        axis.set_label_text(broken(text, room, style.font_size), fontsize=style.font_size)


def broken(text: str, room: float, size: float) -> str:
    """A text in two lines if it is longer than the room [pt]; the unit stays whole."""
    if text_width(text, size) <= room or " " not in text:
        return text
    if text.endswith(")") and " (" in text:
        head, _, tail = text.rpartition(" (")
        return f"{head}\n({tail}"
    head, _, tail = text.rpartition(" / ")
    if head:
        return f"{head}\n/ {tail}"
    middle = min((at for at, sign in enumerate(text) if sign == " "),
                 key=lambda at: abs(at - len(text) / 2))  # fmt: skip
    return f"{text[:middle]}\n{text[middle + 1 :]}"
