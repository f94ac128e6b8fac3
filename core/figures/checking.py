"""A written figure read back and held against its preset. It warns and never blocks."""

from __future__ import annotations

import math
from collections.abc import Iterable
from pathlib import Path

from . import fonts
from .parts import GOOD, WARNING, Check, Drawn
from .presets import Preset, preset
from .reading_back import Found, read_back

EXACT = 0.1
"""A page may differ from its sheet by so much [mm]."""
TEXT_SLACK, LINE_SLACK = 0.02, 0.005
"""Sizes of text and widths of lines are rounded when they are written [pt]."""
DPI_SLACK = 0.995


def check_file(path: str | Path, drawn: Drawn) -> tuple[Check, ...]:
    """Read a written figure back and hold it against its sheet's preset.

    Raises ReadError where the file can't be read.
    """
    path = Path(path)
    found, rules = read_back(path), preset(drawn.sheet.preset)
    checks = [*_size(found, drawn, rules), *_text(found, drawn, rules), *_face(found, drawn),
              *_pixels(found, rules), *_lines(found, drawn, rules), *_form(path, found, rules)]
    told = [Check("panel", WARNING, words) for words in drawn.remarks if not _of_face(words)]
    return (*checks, *told)


def _made(what: str, good: bool, words: str) -> Check:
    return Check(what, GOOD if good else WARNING, words)


def _size(found: Found, drawn: Drawn, rules: Preset) -> Iterable[Check]:
    wanted, high = (25.4 * side for side in drawn.figure.get_size_inches())
    exact = abs(found.width - wanted) <= EXACT and abs(found.height - high) <= EXACT
    words = f"The file is {found.width:.1f} mm wide"
    if not exact:
        yield _made("width", False, f"{words} and {found.height:.1f} mm high; {wanted:.1f} x "
                    f"{high:.1f} mm were meant.")  # fmt: skip
    elif found.width > rules.double + EXACT:
        yield _made("width", False, f"{words}; {rules.name} takes {rules.double:g} mm at most.")
    else:
        yield _made("width", True, f"{words}; {rules.name} takes {_widths(rules)}.")
    words = f"The file is {found.height:.1f} mm high"
    if rules.max_height:
        good = found.height <= rules.max_height + EXACT
        yield _made("height", good, f"{words}; {rules.name} takes {rules.max_height:g} mm at most.")
    else:
        yield _made("height", True, f"{words}; {rules.name} states no limit.")


def _widths(rules: Preset) -> str:
    known = [f"{w:g}" for w in (rules.single, rules.middle, rules.double) if w]
    return f"{', '.join(known[:-1])} or {known[-1]} mm"


def _text(found: Found, drawn: Drawn, rules: Preset) -> Iterable[Check]:
    rule = f"{rules.name} asks for {rules.text_min:g} pt at least"
    if found.text is None:  # pixels: what was drawn is all that is known
        size = min((size for size, _ in _drawn_texts(drawn)), default=math.nan)
        if math.isfinite(size):
            yield _made("text size", size >= rules.text_min - TEXT_SLACK,
                        f"The smallest text was drawn at {size:.1f} pt; {rule}.")  # fmt: skip
        return
    if not found.text:
        if any(text for _, text in _drawn_texts(drawn)):
            yield _made("text", False, "The file holds no text: it was turned into outlines.")
        return
    size = min(found.sizes)
    yield _made("text size", size >= rules.text_min - TEXT_SLACK,
                f"The smallest text has {size:.1f} pt; {rule}.")  # fmt: skip
    yield _made("text", True, f"{len(found.sizes)} pieces of text can be searched and edited.")


def _drawn_texts(drawn: Drawn) -> list[tuple[float, str]]:
    from matplotlib.text import Text

    return [(float(one.get_fontsize()), one.get_text()) for one in drawn.figure.findobj(Text)
            if one.get_visible() and one.get_text().strip()]  # fmt: skip


def _face(found: Found, drawn: Drawn) -> Iterable[Check]:
    if found.pixels is None and found.text:
        names = ", ".join(found.faces) or "none"
        if found.unembedded:
            yield _made("fonts", False, f"Not embedded: {', '.join(found.unembedded)}.")
        elif found.foreign:
            yield _made("fonts", False, f"Embedded, but not as TrueType: "
                        f"{', '.join(found.foreign)}.")  # fmt: skip
        else:
            where = "embedded as TrueType" if found.embeds else "named in the file"
            yield _made("fonts", True, f"Typeface {names}, {where}.")
    missing = fonts.face().words
    if missing and drawn.face == fonts.face().name:
        yield _made("typeface", False, missing)


def _of_face(words: str) -> bool:
    return bool(words) and words == fonts.face().words


def _pixels(found: Found, rules: Preset) -> Iterable[Check]:
    if not math.isfinite(found.dpi):
        if found.pixels is not None:
            yield _made("resolution", False, "The file states no resolution.")
        return
    what = "The picture" if found.pixels else "The coarsest picture in it"
    good = found.dpi >= DPI_SLACK * rules.dpi
    size = f", {found.pixels[0]} x {found.pixels[1]} pixels" if found.pixels else ""
    yield _made("resolution", good, f"{what} has {found.dpi:.0f} dpi{size}; {rules.name}: "
                f"{rules.dpi} dpi.")  # fmt: skip


def _lines(found: Found, drawn: Drawn, rules: Preset) -> Iterable[Check]:
    thinnest = min(found.lines, default=min(drawn.style.thin, drawn.style.line))
    yield _made("lines", thinnest >= rules.line_min - LINE_SLACK, f"The thinnest line has "
                f"{thinnest:.2g} pt; {rules.name}: {rules.line_min:g} pt at least.")  # fmt: skip


def _form(path: Path, found: Found, rules: Preset) -> Iterable[Check]:
    ending = path.suffix.lower().lstrip(".").replace("tiff", "tif")
    if ending not in rules.formats:
        liked = ", ".join(one.upper() for one in rules.formats)
        yield _made("format", False, f"{rules.name} prefers {liked}.")
    if found.see_through:
        yield _made("transparency", False, "Something is drawn half transparent: some printers and "
                    "EPS make it opaque.")  # fmt: skip
