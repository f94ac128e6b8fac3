"""A report as a PDF: real text in an embedded typeface, bookmarks, page numbers, split tables with
their heads. It says what the page says, in the same order."""

from __future__ import annotations

import io
import os
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

from ..progress import Progress
from ..writers.atomic import saving
from .faces import BOLD, PLAIN, markup, register, shown
from .parts import (
    Block,
    Figure,
    Heading,
    Listing,
    Note,
    Paragraph,
    Report,
    Table,
    short,
    together,
)
from .widths import widths_of

MM = 72.0 / 25.4
PAGE = (210.0 * MM, 297.0 * MM)
MARGIN, TOP, BOTTOM = 17.0 * MM, 20.0 * MM, 20.0 * MM
WIDTH = PAGE[0] - 2.0 * MARGIN
HEIGHT = PAGE[1] - TOP - BOTTOM
KEPT_WHOLE = 0.4
"""A table that takes less than this share of a page is on one page."""
QUIET, LINE, BAND, STRONG = "#4d5660", "#c9d0d6", "#f1f4f6", "#fff3d6"
EDGES = {"note": "#0b5a8f", "warning": "#9a4b00", "caution": "#9b1c1c"}


def write_pdf(
    path: str | os.PathLike[str], report: Report, progress: Progress | None = None
) -> Path:
    """Write a report as a PDF on A4.

    Raises
    ------
    WriteError : it can't be saved there, in words; nothing half-written is left
    Cancelled : on request; the file that was there before stays
    """
    path, progress = Path(path), progress or Progress()
    with saving(path, needs=report.needs) as temporary:
        document = _document(str(temporary), report, progress)
        document.build(list(_story(report)), canvasmaker=_pages())
    return path


def _document(path: str, report: Report, progress: Progress) -> Any:
    from reportlab.platypus import BaseDocTemplate, Frame, PageTemplate

    register()

    class Document(BaseDocTemplate):
        """Tells how far it is, and marks each heading for the bookmarks."""

        def afterFlowable(self, flowable: Any) -> None:  # noqa: N802  (the library's name)
            progress.check()
            level = getattr(flowable, "outline_level", None)
            if level is not None:
                key = f"part-{self.page}-{id(flowable)}"
                self.canv.bookmarkPage(key)
                self.canv.addOutlineEntry(flowable.outline_words, key, level, closed=level > 0)

        def handle_pageBegin(self) -> None:  # noqa: N802
            super().handle_pageBegin()
            progress.step(self.page, 0, "Writing the PDF")

    frame = Frame(MARGIN, BOTTOM, WIDTH, HEIGHT, 0, 0, 0, 0, id="text")
    made = Document(path, pagesize=PAGE, title=report.title, author=report.author,
                    subject=report.subject, creator=report.author, lang="en",
                    keywords="force-distance curves, atomic force microscopy")  # fmt: skip
    made.addPageTemplates(PageTemplate("page", [frame], onPage=lambda c, d: _around(c, d, report)))
    return made


def _around(canvas: Any, document: Any, report: Report) -> None:
    """What stands around the text of each page: the map above, the caution below."""
    canvas.saveState()
    canvas.setFont(PLAIN, 7.0)
    canvas.setFillColor(QUIET)
    canvas.setStrokeColor(LINE)
    canvas.setLineWidth(0.5)
    if document.page > 1:
        canvas.drawString(MARGIN, PAGE[1] - 12.0 * MM, shown(short(report.title, 80)))
        canvas.line(MARGIN, PAGE[1] - 14.0 * MM, PAGE[0] - MARGIN, PAGE[1] - 14.0 * MM)
    lines = _lines(shown(report.caution), WIDTH - 20.0 * MM)
    for at, words in enumerate(lines):
        canvas.drawString(MARGIN, 11.0 * MM - 8.5 * at, words)
    canvas.restoreState()


def _lines(words: str, width: float) -> list[str]:
    """Words in lines of a width [pt], as they stand around the text."""
    from reportlab.lib.utils import simpleSplit

    return list(simpleSplit(words, PLAIN, 7.0, width))


def _pages() -> Any:
    """A canvas that knows how many pages there are before it writes the numbers."""
    from reportlab.pdfgen.canvas import Canvas

    class Pages(Canvas):
        def __init__(self, *given: Any, **named: Any) -> None:
            super().__init__(*given, **(named | {"initialFontName": PLAIN}))
            self._kept: list[dict[str, Any]] = []

        def showPage(self) -> None:  # noqa: N802
            self._kept.append(dict(self.__dict__))
            self._startPage()

        def save(self) -> None:
            for state in self._kept:
                self.__dict__.update(state)
                self.setFont(PLAIN, 7.0)
                self.setFillColor(QUIET)
                self.drawRightString(PAGE[0] - MARGIN, 11.0 * MM,
                                     f"{self._pageNumber} / {len(self._kept)}")  # fmt: skip
                Canvas.showPage(self)
            Canvas.save(self)

    return Pages


def _style(size: float, **more: Any) -> Any:
    from reportlab.lib.styles import ParagraphStyle

    usual: dict[str, Any] = dict(fontName=PLAIN, bulletFontName=PLAIN, fontSize=size,
                                 leading=1.38 * size, splitLongWords=1, allowWidows=0,
                                 allowOrphans=0)  # fmt: skip
    return ParagraphStyle(f"s{size}", **(usual | more))


def _text(words: str, style: Any) -> Any:
    from reportlab.platypus import Paragraph as Flowing

    return Flowing(markup(words), style)


def _outlined(words: str, style: Any, level: int) -> Any:
    made = _text(words, style)
    made.outline_level, made.outline_words = level, shown(short(words, 120))
    return made


def _story(report: Report) -> Iterator[Any]:
    yield _outlined(report.title, _style(19.0, fontName=BOLD, leading=23.0, spaceAfter=3.0), 0)
    yield _text(report.subtitle, _style(9.5, textColor=QUIET, spaceAfter=8.0))
    yield from _blocks(report.lead)
    for number, section in enumerate(report.sections, start=1):
        yield _room_for(section.blocks, 50.0)
        head = _style(13.5, fontName=BOLD, spaceBefore=14.0, spaceAfter=5.0)
        yield _outlined(f"{number} {section.title}", head, 0)
        yield from _blocks(section.blocks)


def _blocks(blocks: Sequence[Block]) -> Iterator[Any]:
    for at, block in enumerate(blocks):
        if isinstance(block, Heading):
            yield _room_for(blocks[at + 1 :], 30.0)
        yield from _flow(block)


def _room_for(following: Sequence[Block], own: float) -> Any:
    """A new page unless a heading of a height fits here with the beginning of what follows it."""
    from reportlab.platypus import CondPageBreak

    next_height = 60.0
    if following and isinstance(following[0], Figure):
        next_height = sum(_size(following[0])) - _size(following[0])[0] + 12.0
    return CondPageBreak(min(own + next_height, HEIGHT - 1.0))


def _flow(block: Block) -> Iterator[Any]:
    body = _style(8.8, spaceAfter=5.0)
    if isinstance(block, Table):
        yield from _table(block)
    elif isinstance(block, Figure):
        yield _figure(block)
    elif isinstance(block, Heading):
        style = _style(10.5, fontName=BOLD, spaceBefore=7.0, spaceAfter=4.0)
        yield _outlined(block.text, style, 1)
    elif isinstance(block, Note):
        yield _note(block)
    elif isinstance(block, Listing):
        yield from _listing(block, body)
    else:
        assert isinstance(block, Paragraph)
        yield _text(block.text, body)


def _listing(block: Listing, body: Any) -> Iterator[Any]:
    from reportlab.platypus import ListFlowable

    items = [_text(item, _style(8.8, spaceAfter=2.0)) for item in block.items]
    kind = "1" if block.ordered else "bullet"
    yield ListFlowable(items, bulletType=kind, start=None if block.ordered else "•",
                       bulletFontName=PLAIN, bulletFontSize=8.0, leftIndent=14.0,
                       spaceAfter=body.spaceAfter)  # fmt: skip


def _note(block: Note) -> Any:
    from reportlab.platypus import Table as Grid

    grid = Grid([[_text(block.text, _style(8.8))]], colWidths=[WIDTH], spaceBefore=2.0,
                spaceAfter=6.0, hAlign="LEFT", splitInRow=1)  # fmt: skip
    grid.setStyle([("FONT", (0, 0), (-1, -1), PLAIN), ("BACKGROUND", (0, 0), (-1, -1), BAND),
                   ("LINEBEFORE", (0, 0), (0, -1), 3.0, EDGES.get(block.kind, QUIET)),
                   ("LEFTPADDING", (0, 0), (-1, -1), 9.0), ("TOPPADDING", (0, 0), (-1, -1), 5.0),
                   ("BOTTOMPADDING", (0, 0), (-1, -1), 6.0)])  # fmt: skip
    return grid


def _size(figure: Figure) -> tuple[float, float, float]:
    """Width and height of the picture in points, and the height of its caption."""
    caption = _caption(figure).wrap(WIDTH, HEIGHT)[1]
    width, height = figure.width * MM, figure.height * MM
    share = min(1.0, WIDTH / width, (HEIGHT - caption - 90.0) / height)
    return width * share, height * share, caption


def _caption(figure: Figure) -> Any:
    return _text(figure.title, _style(7.8, textColor=QUIET, spaceAfter=8.0))


def _figure(figure: Figure) -> Any:
    from reportlab.platypus import Image, KeepTogether, Spacer

    width, height, _ = _size(figure)
    picture = Image(io.BytesIO(figure.data), width, height, hAlign="LEFT")
    return KeepTogether([Spacer(1.0, 4.0), picture, Spacer(1.0, 3.0), _caption(figure)])


def _table(table: Table) -> Iterator[Any]:
    from reportlab.platypus import CondPageBreak, Spacer
    from reportlab.platypus import Table as Grid

    size = 7.0 if len(table.columns) < 9 else 6.5
    plain, right = _style(size), _style(size, alignment=2)
    bold, bold_right = _style(size, fontName=BOLD), _style(size, fontName=BOLD, alignment=2)
    heads = [_text(c.head, bold_right if c.number else bold) for c in table.columns]
    first = bold if table.short_heads else plain
    rows = [[_text(cell, first) if at == 0 else
             _text(together(cell), right) if column.number else _text(cell, plain)
             for at, (column, cell) in enumerate(zip(table.columns, row, strict=True))]
            for row in table.rows]  # fmt: skip
    widths = widths_of(table, size, WIDTH)
    split = any(cell.wrap(width, HEIGHT)[1] > 0.5 * HEIGHT for row in rows
                for cell, width in zip(row, widths, strict=True))  # fmt: skip
    grid = Grid([heads, *rows], colWidths=widths, repeatRows=1, hAlign="LEFT", spaceAfter=3.0,
                splitInRow=int(split))  # fmt: skip
    look: list[tuple[Any, ...]] = [
        ("FONT", (0, 0), (-1, -1), PLAIN),  # else the library's own is named in the file
        ("VALIGN", (0, 0), (-1, -1), "TOP"), ("VALIGN", (0, 0), (-1, 0), "BOTTOM"),
        ("LINEBELOW", (0, 0), (-1, 0), 1.0, QUIET), ("LINEBELOW", (0, 1), (-1, -1), 0.4, LINE),
        ("LEFTPADDING", (0, 0), (-1, -1), 2.5), ("RIGHTPADDING", (0, 0), (-1, -1), 2.5),
        ("TOPPADDING", (0, 0), (-1, -1), 1.6), ("BOTTOMPADDING", (0, 0), (-1, -1), 2.4),
    ]  # fmt: skip
    look += [("BACKGROUND", (0, at + 1), (-1, at + 1), STRONG) for at in sorted(table.strong)]
    grid.setStyle(look)
    whole = grid.wrap(WIDTH, HEIGHT)[1]
    yield CondPageBreak(34.0 + (whole if whole < KEPT_WHOLE * HEIGHT else 40.0))
    yield _text(table.title, _style(8.6, fontName=BOLD, spaceBefore=5.0, spaceAfter=3.0))
    yield grid
    for note in table.notes:
        yield _text(note, _style(7.2, textColor=QUIET, spaceAfter=2.0))
    yield Spacer(1.0, 7.0)
