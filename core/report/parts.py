"""What a report is made of: sections of blocks, as plain frozen values that both writers read.

Every text in here is plain text: the writers escape it, so a name out of a file can't become
markup. Nothing is written that does not stand in the value.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

NOTE, WARNING, CAUTION = "note", "warning", "caution"
DIRECTIONS = frozenset("\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069\ufeff")
"""Marks that turn the direction of the text behind them: a name must not turn ours."""
UNPARTED = 20
"""Characters of a number that stays on one line."""
LONGEST = 4000
"""Characters of one text; what a file holds beyond is told and cut."""


@dataclass(frozen=True)
class Paragraph:
    """Sentences."""

    text: str


@dataclass(frozen=True)
class Heading:
    """A heading within a section."""

    text: str


@dataclass(frozen=True)
class Note:
    """Something that must not be overlooked; `kind` is "note", "warning" or "caution"."""

    text: str
    kind: str = NOTE


@dataclass(frozen=True)
class Listing:
    """Items of a list, in an order that matters or not."""

    items: tuple[str, ...]
    ordered: bool = False


@dataclass(frozen=True)
class Column:
    """One column of a table.

    Attributes
    ----------
    title, unit : the unit is "" for texts and pure numbers
    number : whether it holds numbers, which stand at the right
    """

    title: str
    unit: str = ""
    number: bool = False

    @property
    def head(self) -> str:
        return f"{self.title} ({self.unit})" if self.unit else self.title


@dataclass(frozen=True)
class Table:
    """A table; the first column heads its rows.

    Attributes
    ----------
    caption : what it shows
    columns, rows : every row has as many texts as there are columns
    notes : what the columns mean, below it
    strong : numbers of rows that stand out, such as changed settings
    number : in the order of the report, given by `Report.of`
    """

    caption: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[str, ...], ...]
    notes: tuple[str, ...] = ()
    strong: frozenset[int] = frozenset()
    number: int = 0

    def __post_init__(self) -> None:
        for row in self.rows:
            if len(row) != len(self.columns):
                raise ValueError(f"a row of “{self.caption}” has {len(row)} cells and not "
                                 f"{len(self.columns)}")  # fmt: skip

    @property
    def title(self) -> str:
        return f"Table {self.number}. {self.caption}"

    @property
    def short_heads(self) -> bool:
        """Whether the heads of the rows are words, not sentences."""
        return all(len(row[0]) <= 40 for row in self.rows)


@dataclass(frozen=True, eq=False)
class Figure:
    """A picture.

    Attributes
    ----------
    data : a PNG file
    width : on paper [mm]; pixels : (width, height) of the file
    alt : what there is to see, for those who can't
    caption : as a figure's in a paper
    number : in the order of the report
    """

    data: bytes
    width: float
    pixels: tuple[int, int]
    alt: str
    caption: str
    number: int = 0

    @property
    def title(self) -> str:
        return f"Figure {self.number}. {self.caption}"

    @property
    def height(self) -> float:
        """On paper [mm]."""
        return self.width * self.pixels[1] / self.pixels[0]


Block = Paragraph | Heading | Note | Listing | Table | Figure


@dataclass(frozen=True, eq=False)
class Section:
    """A numbered part of the report; `name` is its identifier."""

    name: str
    title: str
    blocks: tuple[Block, ...]


@dataclass(frozen=True, eq=False)
class Report:
    """The report of one analysis.

    Attributes
    ----------
    title : the map's, for people
    subtitle : what this is
    lead : blocks of the title block
    sections : in order
    author, subject, made : for the file's own description; `made` is ISO 8601
    caution : stands on every page
    """

    title: str
    subtitle: str
    lead: tuple[Block, ...]
    sections: tuple[Section, ...]
    author: str
    subject: str
    made: str
    caution: str

    @classmethod
    def of(cls, title: str, subtitle: str, lead: Iterable[Block], sections: Iterable[Section],
           **about: str) -> Report:  # fmt: skip
        """A report with its tables and figures numbered and all texts cleaned."""
        count = {Table: 0, Figure: 0}

        def ready(block: Block) -> Block:
            found = _cleaned(block)
            if isinstance(found, Table | Figure):
                count[type(found)] += 1
                found = replace(found, number=count[type(found)])
            return found

        first = tuple(ready(block) for block in lead)
        rest = tuple(Section(s.name, clean(s.title), tuple(ready(b) for b in s.blocks))
                     for s in sections)  # fmt: skip
        names = [section.name for section in rest]
        if len(set(names)) < len(names):
            raise ValueError("two sections of the report have the same name")
        return cls(clean(title), clean(subtitle), first, rest,
                   **{name: clean(text) for name, text in about.items()})  # fmt: skip

    @property
    def needs(self) -> int:
        """About how many bytes a file of it takes."""
        return 2 * sum(len(figure.data) for figure in self.figures) + 500_000

    @property
    def blocks(self) -> Iterator[Block]:
        yield from self.lead
        for section in self.sections:
            yield from section.blocks

    @property
    def figures(self) -> tuple[Figure, ...]:
        return tuple(block for block in self.blocks if isinstance(block, Figure))

    @property
    def tables(self) -> tuple[Table, ...]:
        return tuple(block for block in self.blocks if isinstance(block, Table))

    def section(self, name: str) -> Section:
        """Raises KeyError if there is none of that name."""
        for section in self.sections:
            if section.name == name:
                return section
        raise KeyError(name)

    def texts(self) -> Iterator[str]:
        """Every text that a reader sees, in order, as both writers have to carry it."""
        yield from (self.title, self.subtitle)
        for block in self.lead:
            yield from texts_of(block)
        for number, section in enumerate(self.sections, start=1):
            yield f"{number} {section.title}"
            for block in section.blocks:
                yield from texts_of(block)


def texts_of(block: Block) -> Iterator[str]:
    """Every text of a block that a reader sees."""
    if isinstance(block, Table):
        yield block.title
        yield from (column.head for column in block.columns)
        for row in block.rows:
            yield from row
        yield from block.notes
    elif isinstance(block, Figure):
        yield block.title
    elif isinstance(block, Listing):
        yield from block.items
    else:
        yield block.text


def clean(text: str) -> str:
    """A text without control characters, halves of characters and marks of direction, its white
    space made even; cut where it is longer than a report can hold, and told so."""
    text = text.encode("utf-8", "replace").decode("utf-8")
    kept = (" " if unicodedata.category(c) in ("Cc", "Zl", "Zp") else c for c in text
            if c not in DIRECTIONS)  # fmt: skip
    found = " ".join("".join(kept).split())
    if len(found) > LONGEST:
        found = f"{found[:LONGEST]}… (cut: {len(found):,} characters)"
    return found


def together(cell: str) -> str:
    """A number with its ± and unit that no line break parts, where it is short enough."""
    return cell.replace(" ", "\u00a0") if len(cell) <= UNPARTED else cell


def short(text: str, most: int = 100) -> str:
    """A text cut to fit a headline."""
    text = clean(text)
    return text if len(text) <= most else text[: most - 1].rstrip() + "…"


def right_to_left(text: str) -> bool:
    """Whether a text holds letters of a script that runs from the right to the left."""
    return any(unicodedata.bidirectional(c) in ("R", "AL") for c in text)


def _cleaned(block: Block) -> Block:
    if isinstance(block, Table):
        columns = tuple(replace(c, title=clean(c.title), unit=clean(c.unit)) for c in block.columns)
        rows = tuple(tuple(clean(cell) for cell in row) for row in block.rows)
        return replace(block, caption=clean(block.caption), columns=columns, rows=rows,
                       notes=tuple(map(clean, block.notes)))  # fmt: skip
    if isinstance(block, Figure):
        return replace(block, alt=clean(block.alt), caption=clean(block.caption))
    if isinstance(block, Listing):
        return replace(block, items=tuple(map(clean, block.items)))
    return replace(block, text=clean(block.text))
