"""Colours of the components, on screen and on paper."""

from __future__ import annotations

COMPONENTS = {
    "light": ("#332288", "#3c9f8f", "#882255", "#bf5a6b", "#117733", "#aa4499",
              "#7d7d20", "#2f7fa8", "#94762a", "#6e4a32", "#54657c", "#c2358f"),
    "dark": ("#6f60d6", "#a0ece0", "#d8638f", "#f0a3ad", "#4fb36b", "#cf7cc2",
             "#b9b94e", "#88ccee", "#ddcc77", "#b58a6c", "#9aabc2", "#ee7fc6"),
}  # fmt: skip
"""Colours of the components, in their order; neighbours differ in lightness.

After the qualitative scheme "muted" of P. Tol (Colour Schemes, SRON/EPS/TN/09-002, from memory:
indigo, wine, green, rose, teal, purple, olive, cyan, sand), each darkened or lightened until it
shows on the panel; three hues were added for components ten to twelve. The first five also differ
in lightness, so that they can be told apart in grey; beyond them marks and letters do.
"""


def component_colour(number: int, ground: str = "light") -> str:
    """Colour of component `number` as #rrggbb on a light or dark ground."""
    colours = COMPONENTS[ground]
    return colours[number % len(colours)]


def rgb(colour: str) -> tuple[int, int, int]:
    """#rrggbb as three numbers from 0 to 255."""
    return int(colour[1:3], 16), int(colour[3:5], 16), int(colour[5:7], 16)
