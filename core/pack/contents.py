"""What goes into a pack: a list of the makers of its parts. Another part is one line in `PARTS`.

A maker writes its files below a folder and says of each what it is. The numbers among them are made
again when a pack is rebuilt, and compared; so a maker must name its files alike each time.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from ..findings import Findings
from ..progress import Progress


@dataclass(frozen=True)
class Item:
    """One file of a pack.

    Attributes
    ----------
    name : in the pack, with its folders
    words : what it is, a phrase
    again : whether it is made again at a rebuild, and compared
    """

    name: str
    words: str
    again: bool = False


@dataclass(frozen=True, eq=False)
class Making:
    """What a maker is given.

    Attributes
    ----------
    folder : of the whole pack; a maker writes below it
    findings : complete, with components
    progress : what it tells and how it is stopped
    whole : with pictures and texts; at a rebuild only what is compared is wanted
    notes : a maker adds what the person should be told
    """

    folder: Path
    findings: Findings
    progress: Progress
    whole: bool = True
    notes: list[str] = field(default_factory=list)

    def place(self, name: str) -> Path:
        """Where a file of that name goes; its folder is there then."""
        path = self.folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        return path


@dataclass(frozen=True)
class Part:
    """One part of a pack.

    Attributes
    ----------
    name : identifier; title : for people
    words : what it is, for the README and the window
    make : writes it; answers its files
    weighs : about how many bytes
    there : why these findings have no such part; "" if they have
    """

    name: str
    title: str
    words: str
    make: Callable[[Making], list[Item]]
    weighs: Callable[[Findings], int]
    there: Callable[[Findings], str] = lambda findings: ""


# -- settings and tables ---------------------------------------------------------------------------


def make_settings(making: Making) -> list[Item]:
    name = "settings.toml"
    text = making.findings.analysis.settings.to_toml()
    making.place(name).write_text(text, encoding="utf-8", newline="\n")
    words = "all settings of the analysis, by name; `palpate settings` explains each"
    return [Item(name, words, True)]


def make_tables(making: Making) -> list[Item]:
    from ..components.exports import save_rows
    from .tables import TABLES

    found = []
    for title, rows_of, words in TABLES:
        making.progress.check()
        rows = rows_of(making.findings)
        if rows:
            name = f"tables/{title}.csv"
            save_rows(making.place(name), rows)
            found.append(Item(name, words, True))
    return found


# -- the program -----------------------------------------------------------------------------------


def make_program(making: Making) -> list[Item]:
    from .program import file_name, write_program

    name = f"program/{file_name()}"
    if making.whole:
        write_program(making.place(name), making.progress)
    return [Item(name, "Palpate itself, the very copy that made this pack; pip installs it")]


def _program_weight(findings: Findings) -> int:
    from .program import weight

    return weight()


def _no_program(findings: Findings) -> str:
    from .program import missing

    return missing()


PARTS: tuple[Part, ...] = (
    Part("settings", "Settings", "all settings of the analysis, as text", make_settings,
         lambda findings: 8_000),
    Part("tables", "Tables", "components, pairs, decisions, doubts, calibration and budgets of "
         "uncertainty, as comma-separated values", make_tables, lambda findings: 30_000),
    Part("program", "Program", "Palpate itself, to be installed with pip", make_program,
         _program_weight, _no_program),
)  # fmt: skip
