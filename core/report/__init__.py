"""The report of one analysis: one value, written as an HTML file or as a PDF.

`make` gathers everything into a `Report`; both writers carry the same texts and pictures. The HTML
file needs nothing but itself; the PDF holds real text in an embedded typeface.
"""

from .html import write_html
from .making import make
from .parts import (
    Block,
    Column,
    Figure,
    Heading,
    Listing,
    Note,
    Paragraph,
    Report,
    Section,
    Table,
)
from .pdf import write_pdf
from .writing import ENDINGS, check_place, write

__all__ = [
    "ENDINGS", "Block", "Column", "Figure", "Heading", "Listing", "Note", "Paragraph", "Report",
    "Section", "Table", "check_place", "make", "write", "write_html", "write_pdf",
]  # fmt: skip
