"""The typeface of the PDF, and what of a text it can show.

DejaVu Sans comes with Matplotlib, so it is on every machine that this program runs on, and it has
the Greek letters and signs that the numbers need. It is embedded.
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import lru_cache
from pathlib import Path
from typing import Any

from .parts import right_to_left

FACES = {"": "DejaVuSans.ttf", "-Bold": "DejaVuSans-Bold.ttf",
         "-Oblique": "DejaVuSans-Oblique.ttf"}  # fmt: skip
NAME = "PalpateSans"
LAST = 0xFFFF
"""Beyond it the PDF library writes a table of characters that readers refuse."""
PLAIN, BOLD, SLANTED = (NAME + tail for tail in FACES)


@lru_cache(maxsize=1)
def register() -> frozenset[int]:
    """Make the typeface known to the PDF library; returns the code points that it has."""
    from matplotlib import get_data_path
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont

    folder = Path(get_data_path()) / "fonts" / "ttf"
    for tail, file in FACES.items():
        pdfmetrics.registerFont(TTFont(NAME + tail, str(folder / file)))
    pdfmetrics.registerFontFamily(NAME, PLAIN, BOLD, SLANTED, BOLD)
    return frozenset(c for c in pdfmetrics.getFont(PLAIN).face.charToGlyph if c <= LAST)


def shown(text: str) -> str:
    """A text as the PDF can show it: what the typeface has no sign for by its number, such as
    ‹U+1F600›, and runs of letters from the right to the left in the order they are seen in."""
    known = register()
    if right_to_left(text):
        text = "".join(_seen(run) for run in _runs(text))
    if all(ord(c) in known for c in text):
        return text
    return "".join(c if ord(c) in known else "" if _silent(c) else f"‹U+{ord(c):04X}›"
                   for c in text)  # fmt: skip


def markup(text: str) -> str:
    """The same with what the PDF library would read as markup made harmless."""
    from xml.sax.saxutils import escape

    return escape(shown(text))


def _silent(char: str) -> bool:
    """Joiners and selectors of variants, which have no look of their own."""
    return char in "\u200b\u200c\u200d\ufe0e\ufe0f"


def _runs(text: str) -> Iterable[str]:
    """The text cut into runs that go one way; spaces between letters of one run are in it."""
    start, way = 0, False
    last = 0
    for at, char in enumerate(text):
        if right_to_left(char):
            if not way:
                yield text[start:at]
                start, way = at, True
            last = at
        elif way and (char.isalpha() or char.isdigit()):
            yield text[start : last + 1]
            start, way = last + 1, False
    if way:
        yield text[start : last + 1]
        start = last + 1
    yield text[start:]


def _seen(run: str) -> str:
    return run[::-1] if run and right_to_left(run[0]) else run


def width_of(text: str, size: float, bold: bool = False) -> float:
    """Of a text in points."""
    from reportlab.pdfbase.pdfmetrics import stringWidth

    found: Any = stringWidth(shown(text), BOLD if bold else PLAIN, size)
    return float(found)
