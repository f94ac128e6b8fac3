"""The adhesion map: a map's own pixels among the regimes of adhesive contact."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from ..analysis import Analysis
from ..models.tabor import (
    DMT_BELOW,
    JKR_ABOVE,
    LAMBDA_PER_MU,
    ZONES,
    hertz_edge,
    rigid_load,
    zone,
)
from .contact import Contacts
from .measured import figures_of
from .parts import Array
from .sticky import DISTANCES

LOWEST, HIGHEST = -4.0, 3.0
"""log10 λ at the two ends of the edges."""
BOTTOM = -1.0
"""log10 of the load at the lower end of the edges."""
MIDDLE = 0.5
"""log10 of the load at which the names below Hertz's regime stand."""


@dataclass(frozen=True, eq=False)
class AdhesionMap:
    """Pixels and regimes in the plane of log10 λ and log10 of the load F/(πwR).

    Attributes
    ----------
    x, y : (n,) of the trusted pixels that have both; pixels : (n, 2) their row and column
    edges : (label, x, y) of each edge between regimes; arrays of equal length
    names : (label, x, y) of each regime, where its name can stand
    error_x : standard uncertainty of log10 λ from the common constants; NaN if not known
    shift : what the range of the distance at rest adds to x at its two ends
    note : whose limits these are
    """

    x: Array
    y: Array
    pixels: Array
    edges: tuple[tuple[str, Array, Array], ...]
    names: tuple[tuple[str, float, float], ...]
    error_x: float
    shift: tuple[float, float]
    note: str


@lru_cache(maxsize=1)
def rigid_edge() -> tuple[Array, Array]:
    """log10 λ, and log10 of the load below which the contact is rigid; only below the DMT limit."""
    x = np.linspace(LOWEST, np.log10(DMT_BELOW), 57)
    y = np.array([rigid_load(10.0**at) for at in x])
    seen = y > 10.0**BOTTOM
    x, y = x[seen], np.log10(y[seen])
    hertz = np.interp(x, *hertz_edge())
    x, y = x[y < hertz], y[y < hertz]
    x.flags.writeable = y.flags.writeable = False
    return x, y


def _place(c: Contacts) -> tuple[Array, Array]:
    """log10 λ and log10 F/(πwR); the second knows no radius, since w is from the pull-off."""
    with np.errstate(all="ignore"):
        lam = np.log10(LAMBDA_PER_MU * c.tabor)
        load = np.log10(c.load / (np.pi * c.work * c.radius))
    return lam, load


def shares(x: Array, y: Array) -> str:
    """How many of the pixels lie in which regime, in words; "" without pixels."""
    if not x.size:
        return ""
    count = np.bincount(zone(10.0**x, 10.0**y), minlength=len(ZONES)) / x.size
    found = [f"{ZONES[i]} {100.0 * count[i]:.0f} %" for i in np.argsort(-count) if count[i] > 0.005]
    return f"Of the pixels: {', '.join(found)}. "


def adhesion_map(analysis: Analysis) -> AdhesionMap:
    """Where the trusted pixels of a map lie; at most some thousand, evenly spread.

    Empty arrays where a constant is missing; the regimes are there all the same.
    """
    figures = figures_of(analysis)
    lam, load = (np.broadcast_to(v, figures.curves.shape) for v in _place(figures.contacts))
    seen = np.isfinite(lam) & np.isfinite(load)
    edge_x, edge_y = (v[hertz_edge()[0] <= HIGHEST] for v in hertz_edge())
    edges = [("Hertz", edge_x, edge_y), ("rigid", *rigid_edge())]
    for label, at in (("DMT", DMT_BELOW), ("JKR", JKR_ABOVE)):
        x = np.log10(at)
        top = float(np.interp(x, edge_x, edge_y))
        edges.append((label, np.array([x, x]), np.array([BOTTOM, top])))
    middle = 0.5 * (np.log10(DMT_BELOW) + np.log10(JKR_ABOVE))
    names = (("Hertz", middle, 3.0), ("DMT", np.log10(DMT_BELOW) - 0.6, MIDDLE),
             ("Maugis", middle, MIDDLE), ("JKR", np.log10(JKR_ABOVE) + 0.6, MIDDLE),
             ("rigid", LOWEST + 1.0, 0.0))  # fmt: skip
    distance = analysis.settings.fit.distance
    shift = tuple(float(np.log10(distance / d)) for d in DISTANCES[::-1])
    error = figures.of(lambda c: _place(c)[0]).error
    note = (f"{shares(lam[seen], load[seen])}λ = 1.157 μ with {distance:g} nm between the surfaces "
            "at rest. The limits 0.1 and 5 are for λ (Maugis 1992); other authors use the same "
            "numbers for μ. Above the upper edge adhesion is below 5 % of the load that the "
            "contact feels; in the lower left corner the indentation is below 5 % of that distance "
            "(Johnson & Greenwood 1997, from memory; the edges are computed).")  # fmt: skip
    return AdhesionMap(lam[seen], load[seen], analysis.map.pixel[figures.curves[seen]],
                       tuple(edges), tuple((n, float(x), y) for n, x, y in names), error,
                       (shift[0], shift[1]), note)  # fmt: skip
