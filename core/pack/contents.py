"""What goes into a pack: a list of the makers of its parts. Another part is one line in `PARTS`.

A maker writes its files below a folder and says of each what it is. The numbers among them are made
again when a pack is rebuilt, and compared; so a maker must name its files alike each time.
"""

from __future__ import annotations

from collections.abc import Callable, Container
from dataclasses import dataclass, field
from pathlib import Path

from ..findings import Findings
from ..progress import Progress
from ..sheets import Sheet
from .names import plain_name


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
    there : why these findings have no such part, a clause; "" if they have
    always : whether it can't be left out
    compared : whether files of it are made anew and compared
    """

    name: str
    title: str
    words: str
    make: Callable[[Making], list[Item]]
    weighs: Callable[[Findings], int]
    there: Callable[[Findings], str] = lambda findings: ""
    always: bool = False
    compared: bool = False


# -- settings and tables ---------------------------------------------------------------------------


def make_settings(making: Making) -> list[Item]:
    name = "settings.toml"
    text = making.findings.analysis.settings.to_toml()
    making.place(name).write_text(text, encoding="utf-8", newline="\n")
    words = "all settings of the analysis, by name; `palpate settings` explains each"
    return [Item(name, words, True)]


def make_tables(making: Making) -> list[Item]:
    from ..exporting.tables import tables_of
    from ..writers.datapackage import NAME, Resource, columns_of, write_package, write_table

    folder = making.place(f"tables/{NAME}").parent
    made, found = [], []
    for table in tables_of(making.findings, making.progress):
        columns = columns_of(table.rows)
        file = f"{table.name}.csv"
        write_table(folder / file, columns, table.rows[1:])
        made.append(Resource(file, table.description, columns))
        words = table.description[:1].lower() + table.description[1:].rstrip(".")
        found.append(Item(f"tables/{file}", words, True))
    write_package(folder, made, {"title": "Tables of the analysis"})
    return [*found, Item(f"tables/{NAME}", "the tables and their columns, for machines", True)]


# -- figures, with the numbers behind them ---------------------------------------------------------


def make_figures(making: Making) -> list[Item]:
    """Each recipe of the analysis: as PDF and PNG, and a folder with its numbers."""
    found: list[Item] = []
    taken: set[str] = set()
    for sheet in making.findings.work.sheets:
        making.progress.check()
        taken.add(name := plain_name(sheet.name, taken))
        found += _figure(making, sheet, name)
    return found


def _figure(making: Making, sheet: Sheet, name: str) -> list[Item]:
    from ..figures import draw_sheet, write_data, write_drawn

    drawn = draw_sheet(sheet, making.findings, making.progress)
    found = []
    if making.whole:
        for ending in (".pdf", ".png"):
            file = f"figures/{name}/{name}{ending}"
            write_drawn(making.place(file), drawn)
            found.append(Item(file, f"{sheet.name} as {ending[1:].upper()}"))
    folder = making.place(f"figures/{name}/data/x").parent
    for path in write_data(folder, drawn, making.findings):
        words = DATA.get(path.name, "numbers behind each panel, as tables")
        found.append(Item(f"figures/{name}/data/{path.name}", words, True))
    making.notes.extend(f"{sheet.name}: {panel.problem}" for panel in drawn.panels
                        if panel.problem)  # fmt: skip
    return found


DATA = {"datapackage.json": "the tables with their columns and units, for machines",
        "settings.json": "settings of the analysis", "recipe.json": "recipe of the figure",
        "work.json": "all that was decided", "caption.txt": "caption",
        "source.json": "what the figure was made from",
        "redraw.py": "draws the figure again"}  # fmt: skip


def _no_figures(findings: Findings) -> str:
    return "" if findings.work.sheets else "the analysis has no figure sheet"


def _figure_weight(findings: Findings) -> int:
    pixels = findings.analysis.doubts.size
    panels = [panel.kind for sheet in findings.work.sheets for panel in sheet.panels]
    tables = sum(40 * pixels for kind in panels if kind in ("map", "components", "joint"))
    return tables + 100_000 * len(panels) + 500_000 * len(findings.work.sheets)


# -- texts -----------------------------------------------------------------------------------------


def make_methods(making: Making) -> list[Item]:
    """The methods paragraph with its table and references; all but the versions of libraries in it
    is compared at a rebuild."""
    from ..methods import bibtex, paragraph, table_text

    try:
        made = paragraph(making.findings)
    except ValueError as error:
        making.notes.append(f"No methods paragraph: {str(error).rstrip('.')}.")
        return []
    texts = {
        "methods.txt": (made.text, "the methods paragraph, with gaps for what is not known"),
        "methods.csv": (table_text(made), "the same as a table: what each is from"),
        "references.bib": (bibtex(made), "the works that it cites, as BibTeX"),
    }
    for name, (text, _) in texts.items():
        making.place(f"methods/{name}").write_text(text, encoding="utf-8", newline="\n")
    if made.gaps:
        making.notes.append(f"The methods paragraph has {len(made.gaps)} gaps to fill; they are "
                            "marked in it.")  # fmt: skip
    return [Item(f"methods/{name}", words, True) for name, (_, words) in texts.items()]


def make_report(making: Making) -> list[Item]:
    from ..report import make, write_html, write_pdf

    if not making.whole:
        return []
    made = make(making.findings, making.progress)
    found = []
    for name, write in (("report.html", write_html), ("report.pdf", write_pdf)):
        write(making.place(f"report/{name}"), made, making.progress)
        found.append(Item(f"report/{name}", f"the report, as {name[7:].upper()}"))
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
         lambda findings: 8_000, always=True, compared=True),
    Part("tables", "Tables", "components, pairs, decisions, doubts, calibration and budgets of "
         "uncertainty, as comma-separated values", make_tables, lambda findings: 50_000,
         compared=True),
    Part("figures", "Figures", "each figure as PDF and PNG, with the numbers behind it and a "
         "script that draws it again", make_figures, _figure_weight, _no_figures,
         compared=True),
    Part("methods", "Methods", "the methods paragraph and its references", make_methods,
         lambda findings: 40_000, compared=True),
    Part("report", "Report", "one report of everything, as HTML and PDF", make_report,
         lambda findings: 2_500_000),
    Part("program", "Program", "Palpate itself, to be installed with pip", make_program,
         _program_weight, _no_program),
)  # fmt: skip
CHOICES = tuple(part.name for part in PARTS if not part.always)
"""Parts that a person may leave out."""


def parts_of(findings: Findings, left_out: Container[str] = ()) -> list[Part]:
    """The parts that a pack of these findings has."""
    return [part for part in PARTS
            if not part.there(findings) and (part.always or part.name not in left_out)]  # fmt: skip


def lacking(findings: Findings) -> list[str]:
    """Parts that these findings can't have, a sentence each."""
    why = ((part.title, part.there(findings)) for part in PARTS)
    return [f"No {title.lower()} in it: {words}." for title, words in why if words]
