"""What went wrong with the room on a drawn sheet: texts over each other, and what ends beyond the
edge of the sheet; and the widths of the lines that are drawn."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from .drawing import drawing_as
from .parts import Drawn

Array = np.ndarray
NEAR = 0.7
"""Texts that share less than this, across or upwards, do not touch for the eye [pt]: a text's box
is higher than its letters."""
BEYOND = 0.5
"""What ends this far beyond the edge is cut [pt]."""


@dataclass(frozen=True)
class Clashes:
    """Pairs of texts that lie over each other, and texts (or "a plot") that leave the sheet."""

    touching: tuple[tuple[str, str], ...] = ()
    cut: tuple[str, ...] = ()


def clashes(drawn: Drawn) -> Clashes:
    """Look for them on a drawn sheet, where everything lies once it is drawn."""
    figure = drawn.figure
    with drawing_as(drawn.style):
        _settle(figure)
        renderer, point = figure.canvas.get_renderer(), figure.dpi / 72.0
        texts = [(one.get_text(), one.get_window_extent(renderer)) for one in texts_of(figure)]
        plots = [("a plot", one.get_window_extent(renderer)) for one in axes_of(figure)
                 if one.get_visible()]  # fmt: skip
    edges = np.array([box.extents for _, box in texts]).reshape(-1, 4) / point
    sheet = figure.bbox.extents / point
    cut = [words for words, box in (*texts, *plots)
           if (box.extents[:2] / point < sheet[:2] - BEYOND).any()
           or (box.extents[2:] / point > sheet[2:] + BEYOND).any()]  # fmt: skip
    pairs = [(texts[a][0], texts[b][0]) for a, b in _over(edges)]
    return Clashes(tuple(pairs), tuple(dict.fromkeys(cut)))


def _settle(figure: Any) -> None:
    """Put ticks and legends where they will lie; without the pictures, which take most of the time
    of drawing and move nothing."""
    from matplotlib.image import AxesImage

    pictures = [one for one in figure.findobj(AxesImage) if one.get_visible()]
    for one in pictures:
        one.set_visible(False)
    try:
        figure.draw_without_rendering()
    finally:
        for one in pictures:
            one.set_visible(True)


def _over(edges: Array) -> list[tuple[int, int]]:
    """Pairs of boxes (n, 4), left, bottom, right, top, that share some room."""
    low = np.maximum(edges[:, None, :2], edges[None, :, :2])
    high = np.minimum(edges[:, None, 2:], edges[None, :, 2:])
    found = np.triu(((high - low) > NEAR).all(2), 1)
    return [(int(a), int(b)) for a, b in zip(*np.nonzero(found), strict=True)]


def _parts(figure: Any) -> Iterator[Any]:
    yield figure
    for one in figure.subfigs:
        yield from _parts(one)


def axes_of(figure: Any) -> list[Any]:
    """All axes of a figure and of its parts."""
    return list(dict.fromkeys(one for part in _parts(figure) for one in part.axes))


def texts_of(figure: Any) -> list[Any]:
    """All texts that can be seen: of ticks only those within the ends of their axis."""
    found = [one for part in _parts(figure) for one in part.texts]
    found += [one for part in _parts(figure) for key in part.legends for one in key.get_texts()]
    for axes in axes_of(figure):
        found += axes.texts
        if not (axes.axison and axes.get_visible()):
            continue
        for axis in (axes.xaxis, axes.yaxis):
            if axis.get_visible():
                found += [axis.label, axis.offsetText, *_ticks(axis)]
    return [one for one in found if one.get_visible() and one.get_text().strip()]


def _ticks(axis: Any) -> list[Any]:
    low, high = sorted(axis.get_view_interval())
    ticks = [*axis.get_major_ticks(), *axis.get_minor_ticks()]
    return [label for tick in ticks if low <= tick.get_loc() <= high
            for label in (tick.label1, tick.label2) if label.get_visible()]  # fmt: skip


def lines_of(figure: Any) -> set[float]:
    """Widths of all lines, rims and ticks that are drawn [pt]; those of ticks stand in their
    marks."""
    from matplotlib.collections import Collection
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    found: set[float] = set()
    for one in figure.findobj(lambda artist: isinstance(artist, (Line2D, Patch, Collection))):
        if not one.get_visible():
            continue
        if isinstance(one, Line2D):
            found |= _of_line(one)
        elif isinstance(one, Patch):
            found |= {float(one.get_linewidth())} if _seen(one.get_edgecolor()) else set()
        elif one.get_paths() and any(map(_seen, np.atleast_2d(one.get_edgecolor()))):
            found |= {float(width) for width in np.atleast_1d(one.get_linewidth())}
    return {width for width in found if width > 0.0}


def _of_line(line: Any) -> set[float]:
    if not np.size(line.get_xdata()):
        return set()
    found = set()
    if line.get_linestyle() not in ("None", "none", "", " "):
        found.add(float(line.get_linewidth()))
    if line.get_marker() not in ("None", "none", "", " ", None):
        found.add(float(line.get_markeredgewidth()))
    return found


def _seen(colour: Any) -> bool:
    return len(colour) == 4 and float(colour[3]) > 0.0
