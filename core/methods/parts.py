"""What a methods paragraph is made of: sentences of pieces, gaps, references."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

MEASURED, RECORDED, SET, ASSUMED = "measured", "recorded", "set", "assumed"
ANSWERED, GAP, PROGRAM = "answered", "gap", "program"
ORIGINS = {
    MEASURED: "measured: worked out from the curves",
    RECORDED: "recorded: it stands in the map's file",
    SET: "set: a setting of the analysis, or a decision",
    ASSUMED: "assumed: taken for true, not measured",
    ANSWERED: "answered: the person said so here",
    GAP: "gap: not known",
    PROGRAM: "program: what the software does, whatever the settings",
}
"""Where a statement can be from -> what that means."""


@dataclass(frozen=True)
class Gap:
    """Something that belongs into the paragraph and that the program does not know.

    Attributes
    ----------
    item : name of the item it belongs to
    question : what should be answered, with its question mark
    name : the answer is kept under it in the work
    hint : an answer as it reads well at its place in the sentence
    """

    item: str
    question: str
    name: str
    hint: str = ""


@dataclass(frozen=True)
class Hole:
    """The place of a gap in a sentence, with the person's answer; empty while there is none."""

    gap: Gap
    answer: str = ""


@dataclass(frozen=True)
class Cite:
    """References at a place of a sentence, by their keys."""

    keys: tuple[str, ...]


Piece = str | Hole | Cite


@dataclass(frozen=True)
class Said:
    """A sentence: its pieces, where it is from, and figures in full that would be too long in it.
    """

    pieces: tuple[Piece, ...]
    origins: tuple[str, ...] = ()
    detail: str = ""

    @property
    def holes(self) -> Iterator[Hole]:
        return (piece for piece in self.pieces if isinstance(piece, Hole))

    @property
    def all_origins(self) -> tuple[str, ...]:
        """With what its gaps add."""
        more = [ANSWERED if hole.answer else GAP for hole in self.holes]
        return tuple(dict.fromkeys((*self.origins, *more)))


@dataclass(frozen=True)
class Part:
    """All that is said of one item: its name, its title, the group that it stands in."""

    item: str
    title: str
    group: str
    sentences: tuple[Said, ...]


@dataclass(frozen=True)
class Row:
    """A statement as a reviewer checks it: item, what is said, where that is from, and figures in
    full."""

    item: str
    said: str
    origin: str
    detail: str = ""


OTHERS = "{and others}"
"""Stands for the authors that are not named."""


@dataclass(frozen=True)
class Reference:
    """Something that is cited.

    Attributes
    ----------
    key : unique; kind : "article", "book", "standard" or "software"
    authors : surname, then given names, each; ``{...}`` for an organisation
    volume, number, pages, doi, publisher, eprint : empty where not known or not there
    seen : what was confirmed elsewhere than from memory: "volume, page and year" or nothing
    """

    key: str
    kind: str
    authors: tuple[str, ...]
    title: str
    year: int
    journal: str = ""
    volume: str = ""
    number: str = ""
    pages: str = ""
    doi: str = ""
    publisher: str = ""
    eprint: str = ""
    seen: str = ""

    @property
    def text(self) -> str:
        """As it stands in a list of references."""
        names = list(self.authors)
        who = names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
        if names[-1] == OTHERS:
            who = f"{', '.join(names[:-1])} et al."
        where = [self.journal or self.publisher, self.volume]
        place = " ".join(part for part in where if part)
        at = f"{place}, {self.pages}" if self.pages and place else place
        tail = f" ({self.year})"
        doi = f", doi:{self.doi}" if self.doi else ""
        print_ = f", arXiv:{self.eprint}" if self.eprint else ""
        return f"{who}, “{self.title}”, {at}{tail}{doi}{print_}."


@dataclass(frozen=True)
class Paragraph:
    """The methods of an analysis in words; see `core.methods`.

    Attributes
    ----------
    parts : what is said of each item, in order
    references : those cited, in the order of their numbers
    open : questions without an answer, in order; answered : those with one, and the answers
    notes : what a person should know before it is printed
    """

    parts: tuple[Part, ...]
    references: tuple[Reference, ...]
    open: tuple[Gap, ...]
    answered: tuple[Hole, ...]
    notes: tuple[str, ...] = ()

    @property
    def gaps(self) -> tuple[Gap, ...]:
        """What is not known and not answered."""
        return self.open

    @property
    def holes(self) -> tuple[Hole, ...]:
        """All questions with their answers, in the order of the text."""
        return tuple(hole for part in self.parts for one in part.sentences for hole in one.holes)

    @property
    def text(self) -> str:
        """Plain text with the references below; gaps as ``[… question? …]``."""
        from .rendering import plain_text

        return plain_text(self)

    @property
    def markdown(self) -> str:
        from .rendering import markdown

        return markdown(self)

    @property
    def html(self) -> str:
        """A fragment without scripts and styles; gaps in ``<mark>``."""
        from .rendering import html

        return html(self)

    @property
    def items(self) -> tuple[Row, ...]:
        """Every statement with where it is from, for whoever checks it."""
        from .rendering import rows

        return rows(self)

    def said(self, item: str) -> str:
        """What is said of one item, as plain text without numbers of references; empty if nothing.
        """
        from .rendering import sentence_text

        found = [part for part in self.parts if part.item == item]
        return " ".join(sentence_text(one, {}) for part in found for one in part.sentences)
