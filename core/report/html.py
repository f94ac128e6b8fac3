"""A report as one HTML file that needs nothing else: no network, no script, no second file."""

from __future__ import annotations

import base64
import os
from collections.abc import Iterator
from html import escape
from pathlib import Path

from ..progress import Progress
from ..writers.atomic import saving
from .parts import (
    Block,
    Figure,
    Heading,
    Listing,
    Note,
    Paragraph,
    Report,
    Section,
    Table,
    right_to_left,
    together,
)
from .style import CSS

POLICY = "default-src 'none'; img-src data:; style-src 'unsafe-inline'"
"""What a browser may load for this page: nothing but the pictures and the style within it."""
LONG_WORD = 24
"""Letters of a word that is broken where a column is too narrow for it."""


def write_html(
    path: str | os.PathLike[str], report: Report, progress: Progress | None = None
) -> Path:
    """Write a report as one HTML file.

    Raises
    ------
    WriteError : it can't be saved there, in words; nothing half-written is left
    Cancelled : on request; the file that was there before stays
    """
    path, progress = Path(path), progress or Progress()
    with saving(path, needs=report.needs) as place, place.open("w", encoding="utf-8") as out:
        for at, part in enumerate(page(report)):
            progress.step(at, len(report.sections) + 3, "Writing the page")
            out.write(part)
    return path


def page(report: Report) -> Iterator[str]:
    """The page, piece by piece: its head, its title block, each section, its end."""
    yield _head(report)
    yield (f"<body>\n<header>\n<h1{_way(report.title)}>{escape(report.title)}</h1>\n"
           f'<p class="subtitle">{escape(report.subtitle)}</p>\n</header>\n<main>\n'
           f"{''.join(map(_block, report.lead))}{_contents(report)}")  # fmt: skip
    for number, section in enumerate(report.sections, start=1):
        yield _section(number, section)
    yield (f'</main>\n<footer><p>{escape(report.caution)}</p>'
           f"<p>{escape(report.author)}, {escape(report.made)}</p></footer>\n"
           "</body>\n</html>\n")  # fmt: skip


def _head(report: Report) -> str:
    return f"""<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta http-equiv="Content-Security-Policy" content="{POLICY}">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="color-scheme" content="light dark">
<meta name="generator" content="{escape(report.author)}">
<meta name="description" content="{escape(report.subject)}">
<title>{escape(report.title)}</title>
<style>
{CSS}</style>
</head>
"""


def _contents(report: Report) -> str:
    items = "".join(f'<li><a href="#{escape(s.name)}">{escape(s.title)}</a></li>\n'
                    for s in report.sections)  # fmt: skip
    return f'<nav aria-label="Contents">\n<ol>\n{items}</ol>\n</nav>\n'


def _section(number: int, section: Section) -> str:
    name = escape(section.name)
    blocks = "".join(map(_block, section.blocks))
    return (f'<section id="{name}" aria-labelledby="{name}-title">\n'
            f'<h2 id="{name}-title">{number} {escape(section.title)}</h2>\n{blocks}</section>\n'
            )  # fmt: skip


def _block(block: Block) -> str:
    if isinstance(block, Table):
        return _table(block)
    if isinstance(block, Figure):
        return _figure(block)
    if isinstance(block, Heading):
        return f"<h3{_way(block.text)}>{escape(block.text)}</h3>\n"
    if isinstance(block, Note):
        return f'<p class="{escape(block.kind)}"{_way(block.text)}>{escape(block.text)}</p>\n'
    if isinstance(block, Listing):
        items = "".join(f"<li{_way(item)}>{escape(item)}</li>\n" for item in block.items)
        kind = "ol" if block.ordered else "ul"
        return f"<{kind}>\n{items}</{kind}>\n"
    assert isinstance(block, Paragraph)
    return f"<p{_way(block.text)}>{escape(block.text)}</p>\n"


def _table(table: Table) -> str:
    heads = "".join(f'<th scope="col"{_classes(number=c.number)}>{escape(c.head)}</th>'
                    for c in table.columns)  # fmt: skip
    rows = "".join(_row(table, at) for at in range(len(table.rows)))
    notes = "".join(f"<p{_way(note)}>{escape(note)}</p>\n" for note in table.notes)
    notes = f'<div class="notes">\n{notes}</div>\n' if notes else ""
    return (f'<div class="table" id="table-{table.number}">\n<div class="wide" tabindex="0" '
            f'role="region" aria-labelledby="table-{table.number}-title"><table>\n'
            f'<caption id="table-{table.number}-title">{escape(table.title)}</caption>\n'
            f"<thead><tr>{heads}</tr></thead>\n<tbody>\n{rows}</tbody>\n</table></div>\n"
            f"{notes}</div>\n")  # fmt: skip


def _row(table: Table, at: int) -> str:
    first, *rest = table.rows[at]
    strong = ' class="strong"' if at in table.strong else ""
    plain = _classes(plain=not table.short_heads, long=_long(first))
    cells = f'<th scope="row"{plain}{_way(first)}>{escape(first)}</th>'
    for column, cell in zip(table.columns[1:], rest, strict=True):
        words = together(cell) if column.number else cell
        kind = _classes(number=column.number, long=_long(cell))
        cells += f"<td{kind}{_way(cell)}>{escape(words)}</td>"
    return f"<tr{strong}>{cells}</tr>\n"


def _figure(figure: Figure) -> str:
    data = base64.b64encode(figure.data).decode("ascii")
    width, height = (round(mm * 96 / 25.4) for mm in (figure.width, figure.height))
    return (f'<figure id="figure-{figure.number}">\n'
            f'<img src="data:image/png;base64,{data}" width="{width}" height="{height}" '
            f'alt="{escape(figure.alt)}">\n'
            f"<figcaption>{escape(figure.title)}</figcaption>\n</figure>\n")  # fmt: skip


def _classes(**wanted: bool) -> str:
    names = " ".join(name for name, there in wanted.items() if there)
    return f' class="{names}"' if names else ""


def _long(cell: str) -> bool:
    """Whether a word is so long that it has to be broken somewhere."""
    return any(len(word) > LONG_WORD for word in cell.split())


def _way(text: str) -> str:
    """Text from the right to the left finds its own direction."""
    return ' dir="auto"' if right_to_left(text) else ""
