"""A sheet: panels on a grid, in the size and manner of a preset; and its plain form for files."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from ..errors import SettingsError
from .options import KINDS, LONGEST, Options, options_from, refuse_unprintable

VERSION = 1
LIMIT = 12
"""Rows and columns of a sheet."""
MOST = 100
"""Sheets of one analysis."""


@dataclass(frozen=True)
class Panel:
    """One panel.

    Attributes
    ----------
    kind : a name of `KINDS`
    row, col, rows, cols : the cells that it covers, from the upper left
    options : of its kind; the defaults if None
    lettered : whether it has a letter
    """

    kind: str
    row: int = 0
    col: int = 0
    rows: int = 1
    cols: int = 1
    options: Options = None  # type: ignore[assignment]
    lettered: bool = True

    def __post_init__(self) -> None:
        if self.kind not in KINDS:
            raise SettingsError("kind", f"{str(self.kind)[:40]!r} is no kind of panel; one of "
                                f"{', '.join(KINDS)}.")  # fmt: skip
        made = KINDS[self.kind][1]
        if self.options is None:
            object.__setattr__(self, "options", made())
        if type(self.options) is not made:
            raise SettingsError("options", f"are not those of a {self.kind}.")
        cells = (self.row, self.col, self.rows, self.cols)
        whole = all(type(n) is int for n in cells)
        if not (whole and min(cells[:2]) >= 0 and min(cells[2:]) >= 1
                and self.row + self.rows <= LIMIT and self.col + self.cols <= LIMIT):  # fmt: skip
            raise SettingsError("panel", f"it does not lie on a grid of {LIMIT} x {LIMIT} cells.")

    def covers(self, row: int, col: int) -> bool:
        inside = self.row <= row < self.row + self.rows
        return inside and self.col <= col < self.col + self.cols

    def meets(self, other: Panel) -> bool:
        """Whether both want the same cell."""
        return (self.row < other.row + other.rows and other.row < self.row + self.rows
                and self.col < other.col + other.cols and other.col < self.col + self.cols)


@dataclass(frozen=True)
class Sheet:
    """A figure sheet, complete but for the map.

    Attributes
    ----------
    name : what it is called, unlike the other sheets of the analysis
    preset : id of a preset in the room `figures`
    width : "single", "middle" or "double" of the preset, or millimetres
    height : millimetres; 0: as the panels need it
    panels : none over another; letters go along the rows
    font_size : points; 0: that of the preset
    dpi : of pixels; 0: that of the preset
    widths, heights : of columns and rows relative to each other; equal where they are too few
    caption : words before what the caption says by itself
    """

    name: str = "Figure 1"
    preset: str = "plain"
    width: str | float = "double"
    height: float = 0.0
    panels: tuple[Panel, ...] = ()
    font_size: float = 0.0
    dpi: int = 0
    widths: tuple[float, ...] = field(default=())
    heights: tuple[float, ...] = field(default=())
    caption: str = ""

    def __post_init__(self) -> None:
        _word("name", self.name, 80)
        _word("preset", self.preset, 80)
        if not self.name.strip():
            raise SettingsError("name", "is empty: a sheet needs a name.")
        if isinstance(self.width, str):
            if self.width not in ("single", "middle", "double"):
                raise SettingsError("width", "is neither single, middle or double nor a number of "
                                    "millimetres.")  # fmt: skip
        else:
            _between("width", self.width, 10.0, 1000.0, "mm")
        if self.height != 0:
            _between("height", self.height, 10.0, 1000.0, "mm")
        if self.font_size != 0:
            _between("font_size", self.font_size, 2.0, 72.0, "pt")
        if self.dpi != 0:
            _between("dpi", self.dpi, 36, 2400, "per inch")
        for name in ("widths", "heights"):
            if len(getattr(self, name)) > LIMIT:
                raise SettingsError(name, f"are more than {LIMIT}.")
            for share in getattr(self, name):
                _between(name, share, 0.05, 20.0, "")
        _word("caption", self.caption, 10 * LONGEST)
        for at, panel in enumerate(self.panels):
            if any(panel.meets(other) for other in self.panels[:at]):
                raise SettingsError("panels", f"two of them lie on row {panel.row + 1}, column "
                                    f"{panel.col + 1}.")  # fmt: skip

    @property
    def grid(self) -> tuple[int, int]:
        """Rows and columns that the panels cover; at least 1 x 1."""
        rows = max((p.row + p.rows for p in self.panels), default=1)
        return rows, max((p.col + p.cols for p in self.panels), default=1)

    @property
    def order(self) -> tuple[int, ...]:
        """Numbers of the panels along the rows: the order of their letters."""
        places = sorted((p.row, p.col, at) for at, p in enumerate(self.panels))
        return tuple(at for _, _, at in places)

    def with_panel(self, at: int, panel: Panel) -> Sheet:
        """Another panel in the place of number `at`."""
        panels = (*self.panels[:at], panel, *self.panels[at + 1 :])
        return replace(self, panels=panels)

    def without(self, at: int) -> Sheet:
        return replace(self, panels=(*self.panels[:at], *self.panels[at + 1 :]))

    def as_dict(self) -> dict[str, Any]:
        """Plain values, with the version."""
        panels = [{"kind": p.kind, "row": p.row, "col": p.col, "rows": p.rows, "cols": p.cols,
                   "lettered": p.lettered, "options": p.options.as_dict()}
                  for p in self.panels]  # fmt: skip
        return {"palpate_sheet": VERSION, "name": self.name, "preset": self.preset,
                "width": self.width, "height": self.height, "font_size": self.font_size,
                "dpi": self.dpi, "widths": list(self.widths), "heights": list(self.heights),
                "caption": self.caption, "panels": panels}  # fmt: skip

    @classmethod
    def from_dict(cls, data: Any) -> Sheet:
        """Back again. Raises SettingsError naming what is wrong."""
        if not isinstance(data, Mapping) or "palpate_sheet" not in data:
            raise SettingsError("sheet", "is not a recipe: it does not begin with palpate_sheet.")
        version = data["palpate_sheet"]
        if type(version) is not int or version < 1:
            raise SettingsError("sheet", "is of no version that is known.")
        if version > VERSION:
            raise SettingsError("sheet", f"is of version {version}, newer than this program reads "
                                f"({VERSION}); update Palpate.")  # fmt: skip
        found = {name: data[name] for name in data if name != "palpate_sheet"}
        unknown = set(found) - set(cls.__dataclass_fields__)
        if unknown:
            raise SettingsError(str(min(unknown, key=str))[:60], "is unknown: it is misspelt or of "
                                "a newer version.")  # fmt: skip
        try:
            found["panels"] = tuple(_panel(one) for one in found.get("panels", ()))
            for name in ("widths", "heights"):
                found[name] = tuple(found.get(name, ()))
            return cls(**found)
        except (TypeError, AttributeError, OverflowError, RecursionError) as error:
            said = " ".join(str(error).split())[:120]
            raise SettingsError("sheet", f"is damaged ({said}).") from None


def _panel(data: Any) -> Panel:
    if not isinstance(data, Mapping):
        raise SettingsError("panels", "one of them is no table of values.")
    found = dict(data)
    kind = found.get("kind")
    if not isinstance(kind, str) or kind not in KINDS:
        raise SettingsError("kind", f"{str(kind)[:40]!r} is no kind of panel; one of "
                            f"{', '.join(KINDS)}.")  # fmt: skip
    found["options"] = options_from(kind, found.get("options", {}))
    return Panel(**found)


def of_sheets(sheets: Sequence[Sheet]) -> list[dict[str, Any]]:
    """Sheets as plain values."""
    return [sheet.as_dict() for sheet in sheets]


def sheets_from(data: Any) -> tuple[Sheet, ...]:
    """Back again. Raises SettingsError naming what is wrong."""
    if not isinstance(data, list) or len(data) > MOST:
        raise SettingsError("sheets", f"are not a list of at most {MOST} recipes.")
    found = tuple(Sheet.from_dict(one) for one in data)
    if len({sheet.name for sheet in found}) < len(found):
        raise SettingsError("sheets", "two of them have the same name.")
    return found


def named(sheets: Iterable[Sheet], name: str) -> Sheet:
    """The sheet of a name. Raises SettingsError that lists the names there are."""
    every = tuple(sheets)
    for sheet in every:
        if sheet.name == name:
            return sheet
    names = ", ".join(f"“{sheet.name}”" for sheet in every) or "none"
    raise SettingsError("sheet", f"there is none called “{name[:80]}”; there are: {names}.")


def _word(name: str, value: Any, longest: int) -> None:
    if not isinstance(value, str) or len(value) > longest:
        raise SettingsError(name, f"is not a text of at most {longest} characters.")
    refuse_unprintable(name, value, lines=name == "caption")


def _between(name: str, value: Any, low: float, high: float, unit: str) -> None:
    good = isinstance(value, (int, float)) and not isinstance(value, bool)
    if not (good and math.isfinite(value) and low <= value <= high):
        raise SettingsError(name, f"{str(value)[:40]} is not possible; {low:g} to {high:g} {unit}."
                            .replace(" .", "."))  # fmt: skip
