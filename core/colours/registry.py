"""The colour maps that are offered: few, each with its source and what it is good for."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from ..errors import SettingsError

Array = np.ndarray
SEQUENTIAL, DIVERGING, CYCLIC = "sequential", "diverging", "cyclic"


@dataclass(frozen=True)
class ColourMap:
    """One colour map.

    Attributes
    ----------
    name, words : as it is chosen, and a phrase for people
    kind : "sequential", "diverging" (its middle stands for zero) or "cyclic" (both ends are one)
    source : who made it, with the year
    uniform : whether equal steps look equal, as its makers claim and a test measures
    safe : whether its order is kept under every kind of colour-vision deficiency
    key : its name in the library
    """

    name: str
    words: str
    kind: str
    source: str
    uniform: bool
    safe: bool
    key: str

    @property
    def label(self) -> str:
        """For a list of choices."""
        return f"{self.name}: {self.words}"


_BIDS = "van der Walt & Smith, Matplotlib 1.5 (2015)"
_CRAMERI = "Crameri, Scientific colour maps, Zenodo 1243862 (2018)"
_ALL = (
    ColourMap("viridis", "dark blue to yellow", SEQUENTIAL, _BIDS, True, True, "bids:viridis"),
    ColourMap("cividis", "blue to yellow, made for colour-vision deficiency", SEQUENTIAL,
              "Nuñez, Anderton & Renslow, PLoS ONE 13, e0199239 (2018)", True, True,
              "cividis:cividis"),
    ColourMap("batlow", "dark blue over olive to pink", SEQUENTIAL, _CRAMERI, True, True,
              "crameri:batlow"),
    ColourMap("lajolla", "black over red to pale yellow", SEQUENTIAL,
              _CRAMERI, True, True, "crameri:lajolla"),
    ColourMap("plasma", "dark blue over pink to yellow", SEQUENTIAL, _BIDS, True, True,
              "bids:plasma"),
    ColourMap("grey", "black to white", SEQUENTIAL,
              "equal steps of CIE L* (CIE 1976), by us", True, True, ""),
    ColourMap("CET-D1A", "blue over white to red", DIVERGING,
              "Kovesi, arXiv:1509.03700 (2015)", True, True, "colorcet:cet_d1a"),
    ColourMap("vik", "dark blue over white to dark red", DIVERGING, _CRAMERI, True, True,
              "crameri:vik"),
    ColourMap("romaO", "brown, yellow, blue and back, for angles", CYCLIC, _CRAMERI, True, True,
              "crameri:romaO"),
)  # fmt: skip
COLOURS: dict[str, ColourMap] = {one.name: one for one in _ALL}
"""Name -> colour map, in the order of offering."""

KIND_COLOURS = {"magnitude": "viridis", "height": "plasma", "signed": "CET-D1A"}
"""Kind of a channel -> its colour map; in all of them, bright or red means more."""


def for_kind(kind: str) -> str:
    """Name of the colour map for a kind of channel: "magnitude", "height" or "signed"."""
    return KIND_COLOURS.get(kind, KIND_COLOURS["magnitude"])


def colour_map(name: str) -> ColourMap:
    """A colour map that is offered. Raises SettingsError listing what there is."""
    if name not in COLOURS:
        raise SettingsError("colours", f"“{name[:40]}” is not offered; one of "
                            f"{', '.join(COLOURS)}.")  # fmt: skip
    return COLOURS[name]


@lru_cache(maxsize=64)
def table(name: str, n: int = 256) -> Array:
    """The colours of a map from low to high, uint8 (n, 4), opaque and read-only.

    With 256 colours they are those of the source; another number is interpolated between them.
    Raises SettingsError for a name that is not offered.
    """
    stops = _stops(name)
    if n == len(stops):
        made = stops.copy()
    else:
        at, known = np.linspace(0.0, 1.0, n), np.linspace(0.0, 1.0, len(stops))
        made = np.stack([np.interp(at, known, stops[:, i]) for i in range(4)], 1).astype(np.uint8)
    made.flags.writeable = False
    return made


@lru_cache(maxsize=16)
def _stops(name: str) -> Array:
    """The 256 colours of a source, uint8 (256, 4)."""
    entry = colour_map(name)
    if not entry.key:
        return _greys()
    import cmap

    found = np.asarray(cmap.Colormap(entry.key).color_stops.color_array, float)
    return np.rint(255.0 * found).astype(np.uint8)


def _greys() -> Array:
    """256 greys at equal steps of L*."""
    from .vision import grey_of_lightness

    level = grey_of_lightness(np.linspace(0.0, 100.0, 256))
    return np.stack([level, level, level, np.full(256, 255, np.uint8)], 1)
