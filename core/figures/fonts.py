"""Typefaces: the first of a chain that is on this computer, and how wide a text is.

Journals ask for Arial or Helvetica, which many computers lack; the others are drawn to the same
widths, but for the last one, which Matplotlib brings along. Only TrueType files are taken, since
only they are embedded as TrueType.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any
from weakref import WeakKeyDictionary

CHAIN = ("Arial", "Helvetica", "Liberation Sans", "Nimbus Sans", "TeX Gyre Heros", "Arimo",
         "DejaVu Sans")  # fmt: skip
LAST = CHAIN[-1]


@dataclass(frozen=True)
class Face:
    """The typeface that is used.

    Attributes
    ----------
    name : of the typeface
    missing : those that would have been taken before it and are not on this computer
    """

    name: str
    missing: tuple[str, ...] = ()

    @property
    def words(self) -> str:
        """What is to be told about it; "" if the first choice is there."""
        if not self.missing:
            return ""
        start = f"{self.missing[0]} is not on this computer"
        if len(self.missing) > 1:
            start = f"Neither {self.missing[0]} nor {self.missing[1]} is on this computer"
        words = f"{start}: text is set in {self.name}"
        if self.name != LAST:
            return f"{words}."
        return (f"{words}, about a tenth wider. Install Liberation Sans or Arimo for the widths of "
                "Arial.")  # fmt: skip


def face(wished: str = "") -> Face:
    """The first typeface of the chain that is there, a wished one before all others."""
    return _face(wished)


@lru_cache(maxsize=8)
def _face(wished: str) -> Face:
    there = _installed()
    chain = ((wished,) if wished else ()) + tuple(n for n in CHAIN if n != wished)
    missing: list[str] = []
    for name in chain:
        if name in there:
            return Face(name, tuple(missing))
        missing.append(name)
    return Face(LAST, tuple(missing))


def _installed() -> frozenset[str]:
    """Names of the TrueType faces that Matplotlib knows of."""
    from matplotlib.font_manager import fontManager

    files = ((one.name, str(one.fname).lower()) for one in fontManager.ttflist)
    return frozenset(name for name, path in files if path.endswith((".ttf", ".ttc")))


def families(found: Face) -> list[str]:
    """The face and, for signs that it lacks, the one that Matplotlib brings along."""
    return [found.name] if found.name == LAST else [found.name, LAST]


@lru_cache(maxsize=4096)
def text_width(text: str, size: float, bold: bool = False, name: str = "") -> float:
    """Width of a line of text [pt] in the face of figures (or another one)."""
    from matplotlib.font_manager import FontProperties
    from matplotlib.textpath import TextToPath

    if not text:
        return 0.0
    text = covered(text)
    one = Face(name) if name else face()
    prop = FontProperties(family=families(one), size=size, weight="bold" if bold else "normal")
    return float(TextToPath().get_text_width_height_descent(text, prop, ismath=False)[0])


BOX = "□"
"""Drawn in the place of a sign that no typeface here has."""


@lru_cache(maxsize=4096)
def covered(text: str) -> str:
    """A text with `BOX` for every sign that neither the face nor Matplotlib's own has."""
    known = _signs()
    return "".join(sign if sign in known or sign == "\n" else BOX for sign in text)


@lru_cache(maxsize=1)
def _signs() -> frozenset[str]:
    from matplotlib.font_manager import FontProperties, findfont
    from matplotlib.ft2font import FT2Font

    files = [findfont(FontProperties(family=name)) for name in families(face())]
    return frozenset(chr(code) for path in files for code in FT2Font(path).get_charmap())


_LOST: WeakKeyDictionary[Any, dict[str, None]] = WeakKeyDictionary()
"""Figure -> the signs that it lacks, from all calls of `box_unknown`."""


def box_unknown(part: Any) -> str:
    """Put `BOX` for every sign of a figure, or of a part of it, that can't be drawn; returns all
    signs that its figure has lost so far. Before a text is measured: Matplotlib would warn."""
    from matplotlib.text import Text

    lost = _LOST.setdefault(part.get_figure(root=True), {})
    for one in part.findobj(Text):
        text = one.get_text()
        shown = covered(text)
        if shown != text:
            lost.update(dict.fromkeys(a for a, b in zip(text, shown, strict=True) if a != b))
            one.set_text(shown)
    return "".join(lost)


def wrapped(text: str, size: float, width: float) -> list[str]:
    """A text in lines that are no wider than `width` [pt], broken at spaces; a longer word keeps
    a line of its own."""
    lines: list[str] = []
    for word in text.split():
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and text_width(longer, size) <= width:
            lines[-1] = longer
        else:
            lines.append(word)
    return lines


def shortened(text: str, size: float, width: float) -> str:
    """A text cut so that it is no wider than `width` [pt], with an ellipsis where it was cut."""
    if text_width(text, size) <= width:
        return text
    while text and text_width(text + "…", size) > width:
        text = text[:-1]
    return text.rstrip() + "…"


def raise_small(figure: Any, least: float) -> int:
    """Set every text that is smaller than `least` [pt] to that size; returns how many there were.

    Matplotlib's own exponents and sub- and superscripts can't be helped here: panels avoid them.
    """
    from matplotlib.text import Text

    small = [one for one in figure.findobj(Text)
             if one.get_visible() and one.get_text() and one.get_fontsize() < least - 1e-6]
    for one in small:
        one.set_fontsize(least)
    return len(small)
