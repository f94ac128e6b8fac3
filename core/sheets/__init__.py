"""Recipes of figure sheets: what is drawn where, as frozen values that name no map's numbers.

A recipe belongs to an analysis and can be applied to another: it names channels, components and
rules for pixels, never values. Drawing is the room `figures`.
"""

from .files import read_recipes, write_recipes
from .options import (
    KINDS,
    ComponentOptions,
    CurveOptions,
    DoubtOptions,
    EvidenceOptions,
    HistogramOptions,
    JointOptions,
    MapOptions,
    Options,
    ProfileOptions,
    TableOptions,
    declared,
)
from .sheet import LIMIT, Panel, Sheet, named, of_sheets, sheets_from

__all__ = [
    "KINDS", "LIMIT", "ComponentOptions", "CurveOptions", "DoubtOptions", "EvidenceOptions",
    "HistogramOptions", "JointOptions", "MapOptions", "Options", "Panel", "ProfileOptions", "Sheet",
    "TableOptions", "declared", "named", "of_sheets", "read_recipes", "sheets_from",
    "write_recipes",
]  # fmt: skip
