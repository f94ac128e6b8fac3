"""A written figure read back and held against its preset. It warns and never blocks."""

from __future__ import annotations

import math
from collections.abc import Iterable
from pathlib import Path

from . import fonts
from .clashes import clashes, lines_of, texts_of
from .parts import GOOD, WARNING, Check, Drawn
from .presets import Preset, preset
from .reading_back import Found, read_back

EXACT = 0.1
"""A page may differ from its sheet by so much [mm]."""
TEXT_SLACK, LINE_SLACK = 0.02, 0.005
"""Sizes of text and widths of lines are rounded when they are written [pt]."""
DPI_SLACK = 0.995
FEW, LONG = 3, 30
"""Clashes that are told one by one, and letters of each text."""


def check_file(path: str | Path, drawn: Drawn) -> tuple[Check, ...]:
    """Read a written figure back and hold it against its sheet's preset.

    Raises ReadError where the file can't be read.
    """
    path = Path(path)
    found, rules = read_back(path), preset(drawn.sheet.preset)
    checks = [*_size(found, drawn, rules), *_text(found, drawn, rules), *_face(found, drawn),
              *_pixels(found, rules), *_lines(found, drawn, rules), *_form(path, found, rules),
              *_room(drawn)]
    told = [Check("panel", WARNING, words) for words in drawn.remarks if not _of_face(words)]
    return (*checks, *told)


def _made(what: str, good: bool, words: str) -> Check:
    return Check(what, GOOD if good else WARNING, words)


def _size(found: Found, drawn: Drawn, rules: Preset) -> Iterable[Check]:
    wanted, high = (25.4 * side for side in drawn.figure.get_size_inches())
    exact = abs(found.width - wanted) <= EXACT and abs(found.height - high) <= EXACT
    words = f"The file is {found.width:.1f} mm wide"
    if not exact:
        yield _made("width", False, f"{words} and {found.height:.1f} mm high; {wanted:.1f} × "
                    f"{high:.1f} mm were meant.")  # fmt: skip
    else:
        yield _made("width", rules.takes(found.width, EXACT),
                    f"{words}; {rules.name} takes {rules.widths}.")  # fmt: skip
    words = f"The file is {found.height:.1f} mm high"
    if rules.max_height:
        good = found.height <= rules.max_height + EXACT
        yield _made("height", good, f"{words}; {rules.name} takes {rules.max_height:g} mm at most.")
    else:
        yield _made("height", True, f"{words}; {rules.name} states no limit.")


def _text(found: Found, drawn: Drawn, rules: Preset) -> Iterable[Check]:
    rule = rules.rule("text_min", f"{rules.text_min:g} pt at least")
    yield from _largest(drawn, rules)
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


def _largest(drawn: Drawn, rules: Preset) -> Iterable[Check]:
    """The largest text, if the preset states one; panel letters have a size of their own."""
    letters = {one.letter for one in drawn.panels}
    size = max((size for size, text in _drawn_texts(drawn) if text not in letters),
               default=math.nan)  # fmt: skip
    if rules.text_max and math.isfinite(size):
        yield _made("largest text", size <= rules.text_max + TEXT_SLACK,
                    f"The largest text but for panel letters has {size:.1f} pt; "
                    f"{rules.rule('text_max', f'{rules.text_max:g} pt at most')}.")  # fmt: skip


def _drawn_texts(drawn: Drawn) -> list[tuple[float, str]]:
    return [(float(one.get_fontsize()), one.get_text()) for one in texts_of(drawn.figure)]


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
    size = f", {found.pixels[0]} × {found.pixels[1]} pixels" if found.pixels else ""
    yield _made("resolution", good, f"{what} has {found.dpi:.0f} dpi{size}; "
                f"{rules.rule('dpi', f'{rules.dpi} dpi', 'names')}.")  # fmt: skip


def _lines(found: Found, drawn: Drawn, rules: Preset) -> Iterable[Check]:
    """Of pixels that which was drawn is all that is known."""
    widths = found.lines if found.pixels is None else lines_of(drawn.figure)
    if widths:
        yield _made("lines", min(widths) >= rules.line_min - LINE_SLACK, f"The thinnest line has "
                    f"{min(widths):.2g} pt; "
                    f"{rules.rule('line_min', f'{rules.line_min:g} pt at least')}.")  # fmt: skip


def _room(drawn: Drawn) -> Iterable[Check]:
    """Texts over each other, and what ends beyond the sheet."""
    found = clashes(drawn)
    if found.touching:
        few = ", ".join(f"“{_short(a)}” and “{_short(b)}”" for a, b in found.touching[:FEW])
        count = len(found.touching)
        yield _made("overlap", False, f"{count} {'pair' if count == 1 else 'pairs'} of texts lie "
                    f"over each other ({few}): make the sheet wider, or use fewer columns.")
    if found.cut:
        few = ", ".join(f"“{_short(one)}”" for one in found.cut[:FEW])
        yield _made("edge", False, f"Beyond the edge of the sheet: {few}. Make the sheet wider or "
                    "higher, or use fewer columns.")  # fmt: skip
    if not (found.touching or found.cut):
        yield _made("overlap", True, "No text lies over another one or beyond the sheet.")


def _short(text: str) -> str:
    words = " ".join(text.split())
    return words if len(words) <= LONG else words[: LONG - 1] + "…"


def _form(path: Path, found: Found, rules: Preset) -> Iterable[Check]:
    ending = path.suffix.lower().lstrip(".").replace("tiff", "tif")
    if ending not in rules.formats:
        liked = ", ".join(one.upper() for one in rules.formats)
        yield _made("format", False, f"{rules.name} prefers {liked}.")
    if found.see_through:
        yield _made("transparency", False, "Something is drawn half transparent: some printers and "
                    "EPS make it opaque.")  # fmt: skip
