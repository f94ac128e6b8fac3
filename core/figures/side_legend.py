"""The legend of a map panel: a swatch and words an item, right of the map where there is room for
its longest line, else below it. Nothing is cut while a line can hold it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from .fonts import shortened, text_width
from .look import INK
from .mapframe import Frame, bar_gap, swatch_width
from .parts import Style

MOST_BESIDE = 0.48
"""A legend that wants more than this share of the panel's width goes below the map."""
PITCH, TIGHT, FLAT = 1.6, 1.25, 1.35
"""From item to item beside a map, from line to line of one item, and from line to line below a map,
in heights of small text."""
CUT = "Words in the legend had to be shortened: make the panel wider."

Box = tuple[float, float, float, float]


@dataclass(frozen=True)
class Item:
    """One line of the legend: words that stand below each other beside a map, and along one line
    below it; `paint` draws the swatch into a box (left, bottom, width, height) [pt] of the
    paper."""

    words: tuple[str, ...]
    paint: Callable[[Any, Box], None]

    @property
    def line(self) -> str:
        return ": ".join(one for one in self.words if one)

    @property
    def tall(self) -> float:
        """Height beside a map, in heights of small text."""
        return PITCH + TIGHT * (sum(bool(one) for one in self.words) - 1)


@dataclass(frozen=True)
class Room:
    """What a legend takes [pt]: width and height beside a map, or height below it."""

    beside: float = 0.0
    side: float = 0.0
    foot: float = 0.0


def _start(style: Style) -> float:
    return swatch_width(style) + 0.4 * style.small


def room_of(items: Sequence[Item], style: Style, width: float) -> Room:
    """Where the legend of a panel of this width [pt] stands."""
    if not items:
        return Room()
    widest = max(text_width(one, style.small) for item in items for one in item.words)
    beside = bar_gap(style) + _start(style) + widest
    if beside <= MOST_BESIDE * width:
        return Room(beside, style.small * sum(item.tall for item in items))
    lines = 1 + _flowed(items, style, width)[-1][1]
    return Room(foot=(FLAT * lines + 0.2) * style.small)


def _flowed(items: Sequence[Item], style: Style, width: float) -> list[tuple[float, int]]:
    """Left end and line of each item along lines of a width."""
    found: list[tuple[float, int]] = []
    x, line = 0.0, 0
    for item in items:
        need = _start(style) + text_width(item.line, style.small)
        if x and x + need > width:
            x, line = 0.0, line + 1
        found.append((x, line))
        x += need + 1.2 * style.small
    return found


def draw(paper: Any, items: Sequence[Item], frame: Frame, style: Style) -> tuple[str, ...]:
    """Draw the legend where `room_of` wants it; a remark if words had to be cut."""
    if room_of(items, style, frame.width).foot:
        return _below(paper, items, frame, style)
    left, top = frame.left + frame.across + bar_gap(style), frame.bottom + frame.up
    cut = False
    for item in items:
        cut |= _item(paper, item, item.words, (left, top), frame.width, style)
        top -= item.tall * style.small
    return (CUT,) if cut else ()


def _below(paper: Any, items: Sequence[Item], frame: Frame, style: Style) -> tuple[str, ...]:
    cut = False
    for item, (left, line) in zip(items, _flowed(items, style, frame.width), strict=True):
        top = frame.foot - (FLAT * line + 0.2) * style.small
        cut |= _item(paper, item, (item.line,), (left, top), frame.width, style)
    return (CUT,) if cut else ()


def _item(paper: Any, item: Item, words: tuple[str, ...], corner: tuple[float, float], end: float,
          style: Style) -> bool:  # fmt: skip
    """One swatch with its words from the upper left corner on; whether they were cut."""
    left, top = corner
    tall = 0.85 * style.small
    item.paint(paper, (left, top - tall, swatch_width(style), tall))
    start, cut = left + _start(style), False
    for line, text in enumerate(one for one in words if one):
        shown = shortened(text, style.small, end - start + 0.5)
        cut |= shown != text
        base = top - tall + (0.06 - TIGHT * line) * style.small
        paper.text(start, base, shown, fontsize=style.small, ha="left", va="baseline", color=INK,
                   parse_math=False)  # fmt: skip
    return cut
