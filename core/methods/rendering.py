"""A paragraph as plain text, Markdown, an HTML fragment, and a table of its statements."""

from __future__ import annotations

import html as _html
import re
from collections.abc import Callable, Mapping
from itertools import groupby

from .parts import Cite, Hole, Paragraph, Part, Piece, Row, Said

Numbers = Mapping[str, int]
UNIT = re.compile(r"(\d) (%|°C|(?:[nµmkMG]?(?:m|N|V|Pa|Hz|s|J)|pixels|times)\b)")
"""A number and what belongs to it on one line."""


def hole_text(hole: Hole) -> str:
    """An answer as it is, or the question as a visible gap."""
    return hole.answer or f"[… {hole.gap.question} …]"


def _piece(piece: Piece, numbers: Numbers) -> str:
    if isinstance(piece, Hole):
        return hole_text(piece)
    if isinstance(piece, Cite):
        known = sorted(numbers[key] for key in piece.keys if key in numbers)
        return f" [{', '.join(map(str, known))}]" if known else ""
    return piece


def sentence_text(said: Said, numbers: Numbers) -> str:
    return "".join(_piece(piece, numbers) for piece in said.pieces)


def _numbers(paragraph: Paragraph) -> dict[str, int]:
    return {one.key: at + 1 for at, one in enumerate(paragraph.references)}


def _groups(paragraph: Paragraph, sentence: Callable[[Said], str]) -> list[tuple[str, str]]:
    """(heading, all its sentences), in order."""
    found = []
    for group, parts in groupby(paragraph.parts, key=lambda part: part.group):
        words = " ".join(sentence(one) for part in parts for one in part.sentences)
        if words:
            found.append((group, words))
    return found


def plain_text(paragraph: Paragraph) -> str:
    numbers = _numbers(paragraph)
    blocks = [f"{group}. {words}" for group, words in
              _groups(paragraph, lambda one: sentence_text(one, numbers))]  # fmt: skip
    if paragraph.references:
        lines = [f"[{numbers[one.key]}] {one.text}" for one in paragraph.references]
        blocks.append("\n".join(["References", *(line.replace("{", "").replace("}", "")
                                                 for line in lines)]))  # fmt: skip
    return "\n\n".join(blocks) + "\n"


def markdown(paragraph: Paragraph) -> str:
    numbers = _numbers(paragraph)

    def piece(one: Piece) -> str:
        if isinstance(one, Hole) and not one.answer:
            return f"**{_marked(hole_text(one))}**"
        return _marked(_piece(one, numbers))

    blocks = [f"**{group}.** {words}" for group, words in _groups(
        paragraph, lambda one: "".join(map(piece, one.pieces)))]  # fmt: skip
    if paragraph.references:
        blocks.append("**References**")
        blocks.append("\n".join(f"{numbers[one.key]}. {_marked(_bare(one.text))}"
                                for one in paragraph.references))  # fmt: skip
    return "\n\n".join(blocks) + "\n"


def html(paragraph: Paragraph) -> str:
    numbers = _numbers(paragraph)

    def piece(one: Piece) -> str:
        if isinstance(one, Hole) and not one.answer:
            return f"<mark>{_html.escape(hole_text(one))}</mark>"
        text = _html.escape(_piece(one, numbers))
        return text if isinstance(one, Hole) else _typeset(text)

    blocks = [f"<p><strong>{_html.escape(group)}.</strong> {words}</p>" for group, words in
              _groups(paragraph, lambda one: "".join(map(piece, one.pieces)))]  # fmt: skip
    if paragraph.references:
        lines = "".join(f"<li>{_html.escape(_bare(one.text))}</li>"
                        for one in paragraph.references)  # fmt: skip
        blocks.append(f"<p><strong>References</strong></p><ol>{lines}</ol>")
    return f'<div class="methods">{"".join(blocks)}</div>'


def _typeset(text: str) -> str:
    """Powers and indices as such, and no break between a number and its unit."""
    text = re.sub(r"\^\(([^)]+)\)", r"<sup>\1</sup>", text)
    text = re.sub(r"(?<=[FWt])_(ad|r|fit|in|out|L)\b", r"<sub>\1</sub>", text)
    return UNIT.sub("\\1\u00a0\\2", text)


def rows(paragraph: Paragraph) -> tuple[Row, ...]:
    numbers = _numbers(paragraph)
    return tuple(row for part in paragraph.parts for row in _rows(part, numbers))


def _rows(part: Part, numbers: Numbers) -> list[Row]:
    return [Row(part.title, sentence_text(one, numbers), ", ".join(one.all_origins), one.detail)
            for one in part.sentences]  # fmt: skip


def table_text(paragraph: Paragraph) -> str:
    """The statements as comma-separated values with a head."""
    import csv
    import io

    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(["item", "said", "from", "in full"])
    for row in paragraph.items:
        writer.writerow([row.item, row.said, row.origin, row.detail])
    return out.getvalue()


ENDINGS = {".txt": "plain text", ".md": "Markdown", ".html": "HTML page",
           ".csv": "table of statements", ".bib": "BibTeX"}  # fmt: skip
"""Ending of a file -> what it holds."""


def file_text(paragraph: Paragraph, ending: str) -> str:
    """What a file of one of the `ENDINGS` holds. Raises KeyError for another."""
    from .bibtex import bibtex

    return {".txt": plain_text, ".md": markdown, ".html": page, ".csv": table_text,
            ".bib": bibtex}[ending](paragraph)  # fmt: skip


def page(paragraph: Paragraph) -> str:
    """A whole HTML page around the fragment."""
    return ('<!doctype html>\n<html lang="en"><head><meta charset="utf-8"><title>Methods</title>'
            f"</head><body>{html(paragraph)}</body></html>\n")  # fmt: skip


def _bare(text: str) -> str:
    return text.replace("{", "").replace("}", "")


def _marked(text: str) -> str:
    """Signs that Markdown would take for its own, escaped."""
    for sign in ("\\", "*", "_", "`", "<"):
        text = text.replace(sign, f"\\{sign}")
    return text
