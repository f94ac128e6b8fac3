"""The look that figures share with the window in its light theme: one meaning, one colour, one
dash, one mark. Tints are solid, since some formats know no transparency."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from ..colours import component_colour
from ..components.rule import letter

APPROACH, RETRACT, ADHESION = "#009e73", "#d55e00", "#a8487f"
ACCENT, INK, MUTED, FAINT = "#0072b2", "#1c2126", "#565f68", "#a0a7ae"
WINDOW_FILL = "#e3eef5"
"""The accent laid thinly on white."""
PALE_INK = "#b0b2b4"
"""Ink laid thinly on white: a fitted law beneath the samples."""
BAND = "#d7d8d9"
PAPER = "#ffffff"
DASHED = (0, (6, 4))
MARKS = ("o", "s", "^", "d", "*", "v", "p", "h", ">", "<", "P", "X")
DASHES: tuple[Any, ...] = ("solid", (0, (5, 2)), (0, (1, 1.5)), (0, (5, 2, 1, 2)),
                           (0, (5, 2, 1, 2, 1, 2)))  # fmt: skip


@dataclass(frozen=True)
class ComponentLook:
    """Colour as #rrggbb, mark and dash as Matplotlib names them, letter."""

    colour: str
    mark: str
    letter: str
    dash: Any


def look_of(number: int) -> ComponentLook:
    """The look of component `number`; below zero that of pixels in no component."""
    if number < 0:
        return ComponentLook(FAINT, "o", "", DASHES[2])
    return ComponentLook(component_colour(number), MARKS[number % len(MARKS)], letter(number),
                         DASHES[number % len(DASHES)])  # fmt: skip


def tint(colour: str, strength: float) -> str:
    """A colour laid on white with a strength from 0 to 1."""
    parts = [int(colour[i : i + 2], 16) for i in (1, 3, 5)]
    mixed = (round(255 + strength * (part - 255)) for part in parts)
    return "#" + "".join(f"{part:02x}" for part in mixed)


def colour_map(name: str, fallback: str = "viridis") -> Any:
    """Matplotlib's colour map of a name; the usual one of what is counted where it is empty."""
    import matplotlib
    from matplotlib.colors import ListedColormap

    if not name:
        return matplotlib.colormaps[fallback]
    from ..colours import table

    return ListedColormap(np.asarray(table(name), float) / 255.0, name)
