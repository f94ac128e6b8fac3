"""Presets: what a publisher asks of a figure, as data with source and date.

They come from `presets.toml` beside this file, and from a file of the same form that a person puts
into `own_file()`. Nothing here says that a figure complies with anything: it is drawn by these
figures and checked against them.
"""

from __future__ import annotations

import math
import os
import sys
import tomllib
from collections.abc import Mapping
from dataclasses import MISSING, dataclass, field, fields
from datetime import date
from pathlib import Path
from typing import Any

from ..errors import ReadError, SettingsError
from ..sheets import Sheet
from .parts import Style

LETTERS = ("a", "A", "(a)", "a)", "(A)")
UNIT_FORMS = ("round", "solidus")
FORMATS = ("pdf", "svg", "png", "tif")
READ = {
    "page": "read in the publisher's own pages",
    "collection": "read in a public collection that names the publisher's document",
    "memory": "from memory",
    "derived": "derived",
    "ours": "our own choice",
}
"""How a preset's figures are known."""
FIGURES = ("single", "middle", "double", "max_height", "text_min", "text_max", "letter", "line_min",
           "dpi")  # fmt: skip
"""Figures of a preset whose origin can be told each by itself."""
LARGEST_FILE = 1_000_000
MIDDLE = "half way between one column and two, since no width between them is stated"


@dataclass(frozen=True)
class Preset:
    """What one publisher asks of figures.

    Attributes
    ----------
    id, name : for recipes and for people
    single, middle, double : widths [mm]; middle 0 where none is stated
    max_height : [mm]; 0 where none is stated
    text_min, text : the smallest text, and the usual one [pt]
    letter, letter_bold, letter_size : of panel letters; a form of `LETTERS`, size in points
    line_min, line, thin : the thinnest line, curves, axes [pt]
    dpi : of pixels
    formats : that are preferred, the first one most
    unit_form : "round", E (GPa), or "solidus", E / GPa
    source_url, retrieved, stage : where the rules stand, when they were looked at, and which
    read : how they are known, a name of `READ`
    note : what else the source says, and which figures are not from it
    text_max : the largest text but for letters [pt]; 0 where none is stated
    ranges : (from, to) of widths that are taken besides those [mm]
    known : a figure's name -> how it is known, a name of `READ`, where that differs from `read`
    """

    id: str
    name: str
    single: float
    middle: float
    double: float
    max_height: float
    text_min: float
    text: float
    letter: str
    letter_bold: bool
    letter_size: float
    line_min: float
    line: float
    thin: float
    dpi: int
    formats: tuple[str, ...]
    unit_form: str
    source_url: str
    retrieved: str
    stage: str
    read: str
    note: str = ""
    text_max: float = 0.0
    ranges: tuple[tuple[float, float], ...] = ()
    known: dict[str, str] = field(default_factory=dict)

    @property
    def source(self) -> str:
        """Where the figures come from, a line for people."""
        where = f", {self.source_url}" if self.source_url else ""
        return f"{self.name}, {self.stage}{where}; {READ[self.read]}, looked at {self.retrieved}"

    def takes(self, width: float, slack: float) -> bool:
        """Whether a width [mm] is one of those that are stated."""
        stated = ((w, w) for w in (self.single, self.middle, self.double) if w)
        return any(a - slack <= width <= b + slack for a, b in (*stated, *self.ranges))

    @property
    def widths(self) -> str:
        """The widths that are taken, as words."""
        single = [w for w in (self.single, self.middle, self.double)
                  if w and not any(a <= w <= b for a, b in self.ranges)]  # fmt: skip
        known = sorted([(w, f"{w:g}") for w in single]
                       + [(a, f"{a:g} to {b:g}") for a, b in self.ranges])  # fmt: skip
        words = [text for _, text in known]
        return f"{', '.join(words[:-1])} or {words[-1]} mm" if words[1:] else f"{words[0]} mm"

    def rule(self, name: str, words: str, verb: str = "asks for") -> str:
        """What one of the figures asks for, with how it is known: nothing that the publisher does
        not say is put into its mouth."""
        how = self.known.get(name, self.read)
        if how == "ours":
            states = "" if self.read == "ours" else f", {self.name} states none"
            return f"{words} by our own choice{states}"
        tail = f" ({READ[how]})" if how in ("memory", "derived") else ""
        return f"{self.name} {verb} {words}{tail}"

    def width(self, sheet: Sheet) -> float:
        """Width of a sheet [mm]."""
        if not isinstance(sheet.width, str):
            return float(sheet.width)
        if sheet.width == "middle" and not self.middle:
            return 0.5 * (self.single + self.double)
        return float(getattr(self, sheet.width))

    def style(self, sheet: Sheet, shared: dict[str, tuple[float, float]] | None = None) -> Style:
        """How a sheet is drawn by this preset."""
        size = sheet.font_size or self.text
        small = min(size, max(self.text_min, 0.86 * size))
        letter = max(self.letter_size, size)
        line, thin = max(self.line, self.line_min), max(self.thin, self.line_min)
        return Style(size, small, letter, self.letter, self.letter_bold, line, thin, self.line_min,
                     self.unit_form, sheet.dpi or self.dpi, shared or {})


def preset(name: str) -> Preset:
    """A preset by its id. Raises SettingsError listing what there is."""
    if name not in PRESETS:
        raise SettingsError("preset", f"“{name[:40]}” is not known; one of {', '.join(PRESETS)}. "
                            "A file of presets of your own can be loaded.")  # fmt: skip
    return PRESETS[name]


def load_presets(path: str | Path) -> tuple[Preset, ...]:
    """Read a file of presets and add them to `PRESETS`; one of a known id takes its place.

    Raises
    ------
    ReadError : the file can't be read, or an entry is missing, unknown or impossible; names it
    """
    found = read_presets(path)
    PRESETS.update({one.id: one for one in found})
    return found


def read_presets(path: str | Path) -> tuple[Preset, ...]:
    """Presets of a file, not added to anything. Raises ReadError."""
    path = Path(path)
    try:
        if path.stat().st_size > LARGEST_FILE:
            raise ReadError(path, "it is larger than a file of presets can be")
        data = tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError, RecursionError) as error:
        said = getattr(error, "strerror", None) or " ".join(str(error).split())[:160]
        raise ReadError(path, f"it can't be read ({said})", "Correct it with a text editor."
                        ) from None  # fmt: skip
    if not data:
        raise ReadError(path, "it holds no preset", "Write one table a preset, such as [mine].")
    return tuple(_made(path, name, one) for name, one in data.items())


def _made(path: Path, name: str, data: Any) -> Preset:
    """One preset of a file, checked."""
    if not isinstance(data, Mapping):
        raise ReadError(path, f"“{name[:40]}” is no table of values", _REPAIR)
    known = {spec.name: spec for spec in fields(Preset) if spec.name != "id"}
    unknown = sorted(set(data) - set(known))
    if unknown:
        raise ReadError(path, f"“{str(unknown[0])[:40]}” is unknown; known: {', '.join(known)}",
                        _REPAIR, f"[{name[:40]}]")  # fmt: skip
    values = {}
    for key, spec in known.items():
        if key not in data and spec.default is MISSING and spec.default_factory is MISSING:
            raise ReadError(path, f"“{key}” is missing", "Write it there.", f"[{name[:40]}]")
        if key not in data:
            continue
        wrong, values[key] = _value(key, str(spec.type), data[key])
        if wrong:
            raise ReadError(path, f"“{key}” {wrong}", _REPAIR, f"[{name[:40]}]")
    made = Preset(id=name, **values)
    wrong = _odd(made)
    if wrong:
        raise ReadError(path, wrong, _REPAIR, f"[{name[:40]}]")
    return made


_REPAIR = "Correct it with a text editor."
_CHOICES = {"letter": LETTERS, "unit_form": UNIT_FORMS, "read": tuple(READ)}
_ZERO = ("middle", "max_height", "text_max")


def _value(key: str, kind: str, value: Any) -> tuple[str, Any]:
    """What is wrong with an entry, "" if nothing, and the entry as the preset keeps it."""
    if key == "retrieved":
        good = isinstance(value, date) or (isinstance(value, str) and len(value) <= 40)
        return ("" if good else "is no date such as 2026-11-28"), str(value)
    if key == "formats":
        good = isinstance(value, list) and bool(value) and all(one in FORMATS for one in value)
        return ("" if good else f"is no list of {', '.join(FORMATS)}"), tuple(value if good else ())
    if key == "ranges":
        return _ranges(value)
    if key == "known":
        good = isinstance(value, Mapping) and all(
            name in FIGURES and how in READ for name, how in value.items())  # fmt: skip
        words = f"is no table of {', '.join(FIGURES)} with one of {', '.join(READ)} each"
        return ("" if good else words), dict(value) if good else {}
    if kind == "bool":
        return ("" if isinstance(value, bool) else "is neither true nor false"), value
    if kind == "str":
        if not isinstance(value, str) or len(value) > 600:
            return "is no text of at most 600 characters", ""
        options = _CHOICES.get(key, ())
        return (f"is none of {', '.join(options)}" if options and value not in options else "",
                value)  # fmt: skip
    number = isinstance(value, (int, float)) and not isinstance(value, bool)
    least = 0.0 if key in _ZERO else 0.01
    if not (number and math.isfinite(value) and least <= value <= 10_000):
        return f"is no number from {least:g} to 10000", 0
    return "", int(value) if kind == "int" else float(value)


def _ranges(value: Any) -> tuple[str, tuple[tuple[float, float], ...]]:
    """As `_value`, of ranges of widths."""
    pairs: list[Any] = value if isinstance(value, list) else [None]
    good = all(isinstance(pair, list) and len(pair) == 2
               and all(isinstance(v, (int, float)) and not isinstance(v, bool) for v in pair)
               and 0.01 <= pair[0] < pair[1] <= 10_000 for pair in pairs)  # fmt: skip
    made = tuple((float(a), float(b)) for a, b in pairs) if good else ()
    return ("" if good else "is no list of pairs such as [[120.0, 136.0]]"), made


def _odd(made: Preset) -> str:
    """What does not go together in a preset; "" if all does."""
    if made.single > made.double:
        return "one column is wider than two"
    if made.text < made.text_min:
        return "the usual text is smaller than the smallest"
    if made.text_max and made.text > made.text_max:
        return "the usual text is larger than the largest"
    return "" if 36 <= made.dpi <= 2400 else "the dpi are not from 36 to 2400"


def own_file() -> Path:
    """Where a person's own presets are looked for."""
    home = Path.home()
    if sys.platform == "win32":
        folder = Path(os.environ.get("APPDATA") or home / "AppData" / "Roaming")
    elif sys.platform == "darwin":
        folder = home / "Library" / "Application Support"
    else:
        folder = Path(os.environ.get("XDG_CONFIG_HOME") or home / ".config")
    return folder / "palpate" / "presets.toml"


def load_own() -> str:
    """Add the person's own presets, if there are any; returns what is wrong with the file, "" if
    nothing is."""
    try:
        path = own_file()
        if path.is_file():
            load_presets(path)
    except (ReadError, OSError, RuntimeError) as error:  # no home, or a folder that is closed
        return f"Your own presets were not read. {error}"
    return ""


PRESETS: dict[str, Preset] = {
    one.id: one for one in read_presets(Path(__file__).with_name("presets.toml"))
}
"""Id -> preset."""
OWN_PROBLEM = load_own()
"""What is wrong with the person's own file; "" if nothing is. Told with every sheet."""
