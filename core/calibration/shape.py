"""What tip and layer together make of a law: its factor, its table, and why there may be none."""

from __future__ import annotations

import hashlib
import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from ..forcemap import ForceMap
from ..models import POWER, Law, Table, law_of, tabulate
from ..settings import Settings

Array = np.ndarray
LARGEST_CHI = 5.0
"""Tables of layers go to √(Rδ) (or δ tan α) of five thicknesses."""


@dataclass(frozen=True, eq=False)
class Shape:
    """A law with the sizes of this tip and layer put in.

    Attributes
    ----------
    factor : g in F = E* g δⁿ q; NaN if a size is missing or impossible
    table : of q; empty for a power
    units : the table's unit [nm]: one number, or (P,) with a map of thicknesses
    key : all that the table and its unit depend on
    fault : why there is no such law, in words; else empty
    """

    factor: float
    table: Table = POWER
    units: Array | float = 1.0
    key: tuple[object, ...] = ()
    fault: str = ""

    def units_of(self, curves: Array) -> Array:
        """The unit of some curves, (n,)."""
        if isinstance(self.units, float):
            return np.full(curves.size, self.units)
        return self.units[curves]


@lru_cache(maxsize=8)
def own_table(law: str, *sizes: float) -> Table:
    """The table of a law that is not a power, up to an indentation of 20 radii."""
    return tabulate(law_of(law), 20.0 * sizes[0], *sizes)


@lru_cache(maxsize=8)
def layered_table(law: str, ratio: float, base: str, thickness: float, *sizes: float) -> Table:
    """The table of a law on a layer of one thickness."""
    from ..models import layer_shapes, layers

    shape = layer_shapes.layer_shape(law)
    assert shape is not None
    rows, step = layers.layer_rows(shape, ratio, base, LARGEST_CHI)
    size = layer_shapes.layer_size(law, sizes[0])
    layer = Table(rows, step, float(layers.layer_unit(shape, thickness, size)))
    own = own_table(law, *sizes) if law_of(law).profile is not None else POWER
    return layers.combine(own, layer)


def shape_of(fmap: ForceMap, settings: Settings, sizes: tuple[float, ...]) -> Shape:
    """The law that the settings choose, with these sizes (NaN where missing)."""
    law = law_of(settings.fit.law)
    if not all(map(math.isfinite, sizes)):
        return Shape(math.nan)
    fault = law.fault(*sizes)
    if fault:
        return Shape(math.nan, fault=fault)
    if settings.layer.base != "none":
        return _on_layer(fmap, settings, law, sizes)
    if law.profile is None:
        return Shape(law.factor(*sizes))
    table = own_table(law.name, *sizes)
    return Shape(law.factor(*sizes), table, table.unit, (law.name, *sizes))


def _on_layer(fmap: ForceMap, settings: Settings, law: Law, sizes: tuple[float, ...]) -> Shape:
    from ..models import layer_shapes, layers

    base, ratio, one = settings.layer.base, settings.sample.poisson_ratio, settings.layer.thickness
    shape, thickness = layer_shapes.layer_shape(law.name), fmap.thickness
    factor = law.factor(*sizes)
    if shape is None:
        return Shape(math.nan, fault=layer_shapes.layer_reason(law.name))
    if shape == "punch" or law.profile is not None:
        if thickness is not None:
            why = (f"a map of thicknesses can't be used with the {law.label}: give one thickness, "
                   "or choose the paraboloid or the cone.")  # fmt: skip
            return Shape(math.nan, fault=why)
        if shape == "punch":
            return Shape(factor * float(layers.punch_ratio(sizes[0] / one, ratio, base)))
    key = (law.name, *sizes, base, ratio)
    if thickness is None:
        table = layered_table(law.name, ratio, base, one, *sizes)
        return Shape(factor, table, table.unit, (*key, one))
    rows, step = layers.layer_rows(shape, ratio, base, LARGEST_CHI)
    units = layers.layer_unit(shape, thickness, layer_shapes.layer_size(law.name, sizes[0]))
    digest = hashlib.sha256(thickness.tobytes()).hexdigest()
    return Shape(factor, Table(rows, step, 1.0), units, (*key, digest))
