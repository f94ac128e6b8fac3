"""From findings to a paragraph."""

from __future__ import annotations

from dataclasses import replace

from ..findings import Findings
from .facts import Facts
from .parts import Cite, Hole, Paragraph, Part, Said
from .references import REFERENCES
from .registry import ITEMS

MEMORY = ("Check the references against their print: titles and identifiers were written down from "
          "memory.")  # fmt: skip


def paragraph(findings: Findings) -> Paragraph:
    """The methods of an analysis in words, from what was really done.

    Parameters
    ----------
    findings : of a complete analysis; its components, table and answers are told as far as they
        are there. The map must be open: some of its curves are read

    Raises
    ------
    ValueError : the analysis is not complete
    ReadError : the map's file is damaged, changed or gone
    """
    if not findings.analysis.complete:
        raise ValueError("the analysis is not complete: let it end first")
    facts = Facts(findings)
    parts = []
    for item in ITEMS:
        sentences = tuple(_begun(one) for one in item.write(facts))
        if sentences:
            parts.append(Part(item.name, item.title, item.group, sentences))
    keys = _cited(parts)
    holes = [hole for part in parts for one in part.sentences for hole in one.holes]
    notes = [MEMORY] if keys else []
    notes += list(findings.notes)
    notes += _unused(findings, holes)
    return Paragraph(
        tuple(parts), tuple(REFERENCES[key] for key in keys),
        tuple(hole.gap for hole in holes if not hole.answer),
        tuple(hole for hole in holes if hole.answer), tuple(notes),
    )  # fmt: skip


def _begun(said: Said) -> Said:
    """With a full stop after an answer that ends with one taken away, so that none is doubled."""
    pieces = list(said.pieces)
    for at, piece in enumerate(pieces[:-1]):
        after = pieces[at + 1]
        if isinstance(piece, Hole) and piece.answer.endswith(".") and isinstance(after, str):
            pieces[at] = replace(piece, answer=piece.answer.rstrip("."))
    return replace(said, pieces=tuple(pieces))


def _cited(parts: list[Part]) -> list[str]:
    """Keys of what is cited, in the order in which it is met."""
    found: dict[str, None] = {}
    for part in parts:
        for said in part.sentences:
            for piece in said.pieces:
                if isinstance(piece, Cite):
                    found |= dict.fromkeys(piece.keys)
    return list(found)


def _unused(findings: Findings, holes: list[Hole]) -> list[str]:
    """Answers to what is not asked any more, in a sentence."""
    asked = {hole.gap.name for hole in holes}
    lost = [name for name, _ in findings.work.answers if name not in asked]
    if not lost:
        return []
    names = ", ".join(name.replace("_", " ") for name in lost)
    return [f"Answers that are not in the text, since it does not ask for them now: {names}."]
