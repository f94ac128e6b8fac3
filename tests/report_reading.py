"""Reading a written report back with general libraries: html.parser of Python, and pypdf."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from html.parser import HTMLParser
from pathlib import Path


@contextmanager
def coarse(panels: int | None = None) -> Iterator[None]:
    """Reports are drawn with few pixels: the tests read texts and count pictures. `panels`: so many
    of each figure are drawn at most, where what they show is not what is tested."""
    from palpate.core import figures
    from palpate.core.report import drawing

    was, drawing.DPI = drawing.DPI, 50
    whole = figures.draw_sheet
    if panels is not None:
        figures.draw_sheet = lambda sheet, *rest: whole(
            replace(sheet, panels=sheet.panels[:panels]), *rest)  # fmt: skip
    try:
        yield
    finally:
        drawing.DPI, figures.draw_sheet = was, whole


VOID = {"meta", "img", "br", "link", "hr"}


@dataclass
class Page(HTMLParser):
    """What stands in an HTML file: tags with their attributes, and the visible texts in order."""

    tags: list = field(default_factory=list)
    texts: list = field(default_factory=list)
    open: list = field(default_factory=list)
    style: str = ""

    def __post_init__(self):
        super().__init__(convert_charrefs=True)

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag, f"</{tag}> closes another tag"

    def handle_data(self, data):
        if self.open and self.open[-1] == "style":
            self.style += data
        elif data.strip():
            self.texts.append(data)

    def all(self, tag):
        return [attrs for name, attrs in self.tags if name == tag]

    def values(self, attribute):
        return [attrs[attribute] for _, attrs in self.tags if attribute in attrs]


def read_page(path: Path) -> Page:
    page = Page()
    page.feed(path.read_text(encoding="utf-8"))
    page.close()
    assert page.open == [], f"never closed: {page.open}"
    return page


def bare(text: str) -> str:
    """A text without any white space: lines are broken elsewhere in each form."""
    return re.sub(r"\s+", "", text)


def fonts_of(reader):
    """(name, type, whether embedded) of every font of a PDF."""
    found = set()
    for page in reader.pages:
        for font in page["/Resources"].get_object().get("/Font", {}).values():
            font = font.get_object()
            inner = font["/DescendantFonts"][0].get_object() if "/DescendantFonts" in font else font
            described = inner.get("/FontDescriptor")
            embedded = described is not None and "/FontFile2" in described.get_object()
            found.add((font["/BaseFont"], inner["/Subtype"], embedded))
    return found
