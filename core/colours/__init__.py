"""Colours of maps and components: one name on screen and on paper, and how others see them.

Colour tables come from the library `cmap`, which is loaded when a table is first asked for.
"""

from .palette import COMPONENTS, component_colour, rgb
from .registry import COLOURS, KIND_COLOURS, ColourMap, colour_map, for_kind, table
from .vision import DEFICIENCIES, LOOKS, deficient, grey, lightness, seen

__all__ = [
    "COLOURS", "COMPONENTS", "DEFICIENCIES", "KIND_COLOURS", "LOOKS", "ColourMap", "colour_map",
    "component_colour", "deficient", "for_kind", "grey", "lightness", "rgb", "seen", "table",
]  # fmt: skip
