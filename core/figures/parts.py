"""What the drawing of a sheet hands on: its style, its panels, the numbers behind them, checks."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from ..errors import InputError
from ..sheets import Panel, Sheet

if TYPE_CHECKING:
    from ..findings import Findings

Array = np.ndarray
GOOD, WARNING = "good", "warning"


class PanelError(InputError):
    """A panel can't be drawn from these findings; says what is missing and what to do. The sheet is
    drawn with the sentence in the panel's place, and told."""


@dataclass(frozen=True)
class Style:
    """How a sheet is drawn, from its preset; points and millimetres.

    Attributes
    ----------
    font_size, small : of text, and the smallest that the rule allows (ticks, legends)
    letter_size, letter : of panel letters, and their form: "a", "A", "(a)" or "a)"
    letter_bold : whether they are bold
    line, thin, least : widths of curves, of axes and ticks, and of the thinnest line
    unit_form : how a unit stands behind a quantity: "round", E (GPa), or "solidus",
        E / GPa
    dpi : of pixels
    shared : channel -> (low, high) in core units, for panels that share their limits
    shared_by : channel -> how those came about, a phrase
    beside : least room right of a map [pt], so that all maps of a sheet are of one size
    """

    font_size: float = 7.0
    small: float = 6.0
    letter_size: float = 8.0
    letter: str = "a"
    letter_bold: bool = True
    line: float = 0.8
    thin: float = 0.5
    least: float = 0.25
    unit_form: str = "round"
    dpi: int = 600
    shared: dict[str, tuple[float, float]] = field(default_factory=dict)
    shared_by: dict[str, str] = field(default_factory=dict)
    beside: float = 0.0

    def stroke(self, width: float) -> float:
        """A width of a line that is wanted, not below the thinnest that the preset allows."""
        return max(width, self.least)

    def label(self, quantity: str, unit: str) -> str:
        """A quantity with its unit, as the preset wants it."""
        if not unit:
            return quantity
        return f"{quantity} / {unit}" if self.unit_form == "solidus" else f"{quantity} ({unit})"


@dataclass(frozen=True, eq=False)
class DataTable:
    """Numbers behind a panel, as columns of equal length.

    Attributes
    ----------
    name : of the file, without its ending: letters, digits, underscores
    columns : (name, unit, description) each; the unit is "" for a pure number or a text
    values : one array (n,) each, of floats, integers or texts
    description : a sentence
    """

    name: str
    columns: tuple[tuple[str, str, str], ...]
    values: tuple[Any, ...]
    description: str = ""


@dataclass(frozen=True, eq=False)
class DrawnPanel:
    """One panel as it was drawn.

    Attributes
    ----------
    panel, letter : from the sheet; the letter in the preset's form, "" for none
    tables : the numbers behind it
    caption : a phrase for the caption: what is shown, limits and scale of the colours, what is
        clipped, which pixels are excluded
    remarks : what the person should be told, such as text that had to be shortened
    problem : why it could not be drawn; "" if it was
    """

    panel: Panel
    letter: str = ""
    tables: tuple[DataTable, ...] = ()
    caption: str = ""
    remarks: tuple[str, ...] = ()
    problem: str = ""


@dataclass(frozen=True, eq=False)
class Drawn:
    """A sheet as it was drawn.

    Attributes
    ----------
    figure : Matplotlib's figure on a canvas of its own, of the sheet's exact size
    sheet, style : what it was drawn by
    panels : in the order of the sheet's panels
    boxes : (left, bottom, right, top) of each panel as shares of the figure, all that belongs to it
    caption : the whole caption
    face : the typeface that was really used
    remarks : of the sheet and its panels
    """

    figure: Any
    sheet: Sheet
    style: Style
    panels: tuple[DrawnPanel, ...]
    boxes: tuple[tuple[float, float, float, float], ...]
    caption: str
    face: str
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True)
class Check:
    """One thing that was read back from a written file.

    Attributes
    ----------
    what, state : "width", "fonts", "text size", "resolution" ...; GOOD or WARNING
    words : what was found and what the rule is, with both figures
    """

    what: str
    state: str
    words: str


@dataclass(frozen=True)
class Written:
    """Files of one sheet, and what was read back from the figure itself."""

    paths: tuple[Path, ...]
    checks: tuple[Check, ...]
    caption: str = ""

    @property
    def warnings(self) -> tuple[Check, ...]:
        return tuple(check for check in self.checks if check.state == WARNING)


Drawer = Callable[[Any, Panel, "Findings", Style], DrawnPanel]
"""Draws into a Matplotlib SubFigure, which it may divide, and says what it drew; raises
PanelError."""
