"""Panel letters, and the caption that a sheet writes for itself."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ..sheets import Sheet
from .parts import DrawnPanel, Style

if TYPE_CHECKING:
    from ..findings import Findings


MAPS = ("map", "components", "doubts")
"""Kinds of panels that show the pixels of the map."""


def lettered(sheet: Sheet, style: Style) -> tuple[str, ...]:
    """The letter of each panel in the preset's form, along the rows; "" for one without."""
    found, number = [""] * len(sheet.panels), 0
    for at in sheet.order:
        if sheet.panels[at].lettered:
            found[at] = in_form(number, style.letter)
            number += 1
    return tuple(found)


def in_form(number: int, form: str) -> str:
    """Letter `number` in a form such as "a", "A", "(a)" or "a)"; aa, ab ... after z."""
    digits = ""
    while number >= 0:
        digits = chr(ord("a") + number % 26) + digits
        number = number // 26 - 1
    sign = digits.upper() if "A" in form else digits
    return form.replace("A", sign) if "A" in form else form.replace("a", sign)


def caption_of(sheet: Sheet, panels: tuple[DrawnPanel, ...], findings: Findings) -> str:
    """The whole caption: the person's words, then each panel in the order of the letters, then
    what holds for all of them."""
    parts = [_ended(sheet.caption)] if sheet.caption.strip() else []
    for at in sheet.order:
        panel = panels[at]
        if panel.problem or not panel.caption:
            continue
        words = _ended(panel.caption)
        letter = panel.letter.strip("()")
        parts.append(f"{panel.letter}{'' if panel.letter != letter else ','} {words}" if letter
                     else words[0].upper() + words[1:])  # fmt: skip
    if any(one.panel.kind in MAPS and not one.problem for one in panels):
        rows, cols = findings.map.shape
        parts.append(f"Maps have {cols} × {rows} pixels, not smoothed.")
    return " ".join(parts)


def _ended(words: str) -> str:
    words = words.strip()
    return words if words[-1:] in ".!?" else words + "."
