"""What shall be exported: a frozen value that window and command line make alike."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from ..errors import InputError
from ..units import parse_unit

PARTS = {
    "channels": "every channel as a map, with doubts, decisions and components",
    "errors": "their local uncertainties",
    "tables": "components, pairs, budgets, doubts, decisions, constants, settings, regions, "
    "profiles",
    "curves": "samples of the chosen pixels, as recorded and corrected",
    "surface": "the height as a body, coloured by a channel",
}
"""Part of an export -> what it is."""
FORMATS = {
    "csv": "tables of numbers (.csv)", "npy": "NumPy arrays (.npy)",
    "npz": "NumPy arrays in one file (.npz)", "h5": "HDF5 with NeXus names (.h5)",
    "tif": "TIFF images with scale (.tif); of maps only",
}  # fmt: skip
"""Format of maps and curves -> what it is. Tables are always CSV."""
SURFACES = {"stl": "STL, for print", "ply": "PLY, coloured", "obj": "OBJ, coloured",
            "glb": "glTF in one file (.glb), coloured"}  # fmt: skip
CURVES = {"raw": "as recorded", "corrected": "corrected"}
HEIGHTS = ("height", "contact_height")


@dataclass(frozen=True)
class Body:
    """The surface as a body.

    Attributes
    ----------
    formats : of `SURFACES`
    height : which channel gives the heights, of `HEIGHTS`
    levelled : take the tilt off, as the analysis says
    vertical : how many times the heights are stretched against the lateral scale
    width : of the longer side of the printed body [mm]
    base : below its lowest point, of the printed body [mm]
    colour, table, limits : the channel that colours it, the table of colours, and the ends of the
        colours [core unit]; the 2nd and 98th percentile for None
    """

    formats: tuple[str, ...] = ("stl", "ply")
    height: str = "height"
    levelled: bool = True
    vertical: float = 1.0
    width: float = 100.0
    base: float = 2.0
    colour: str = "reduced_modulus"
    table: str = "viridis"
    limits: tuple[float, float] | None = None

    def __post_init__(self) -> None:
        _known("format of a surface", self.formats, SURFACES)
        _known("height", (self.height,), HEIGHTS)
        sizes = (("vertical factor", self.vertical, 1e-3, 1e4), ("width", self.width, 1.0, 1e4),
                 ("base", self.base, 0.1, 1e3))  # fmt: skip
        for words, value, low, high in sizes:
            if not low <= value <= high:
                raise InputError(f"The {words} of the surface is {value:g}; from {low:g} to "
                                 f"{high:g} can be used.")  # fmt: skip


@dataclass(frozen=True)
class Wanted:
    """What to export.

    Attributes
    ----------
    parts : of `PARTS`
    formats : of maps and curves, of `FORMATS`
    channels : which maps; () for all that have values
    units : units to write instead of core units, such as "MPa"; each goes for every channel of its
        kind
    trusted : leave out (as missing) the numbers of pixels with a severe doubt and of those left out
        by hand
    pixels : (row, col) whose curves are wanted
    all_pixels : the curves of all pixels, in single precision
    curves : of `CURVES`
    body : the surface
    """

    parts: tuple[str, ...] = ("channels", "errors", "tables")
    formats: tuple[str, ...] = ("csv",)
    channels: tuple[str, ...] = ()
    units: tuple[str, ...] = ()
    trusted: bool = True
    pixels: tuple[tuple[int, int], ...] = ()
    all_pixels: bool = False
    curves: tuple[str, ...] = ("raw", "corrected")
    body: Body = field(default_factory=Body)

    def __post_init__(self) -> None:
        _known("part of an export", self.parts, PARTS)
        _known("format", self.formats, FORMATS)
        _known("kind of curve", self.curves, CURVES)
        for unit in self.units:
            try:
                parse_unit(unit)
            except ValueError as error:
                raise InputError(f"“{unit[:40]}” can't be written: {error}.") from None

    def unit(self, core: str) -> str:
        """The unit that a quantity of this core unit is written in."""
        if not core:
            return core
        kind = parse_unit(core)[0]
        return next((unit for unit in self.units if parse_unit(unit)[0] == kind), core)


def _known(what: str, given: Iterable[str], known: Iterable[str]) -> None:
    for one in given:
        if one not in known:
            raise InputError(f"“{one[:40]}” is no {what}; one of {', '.join(known)}.")
