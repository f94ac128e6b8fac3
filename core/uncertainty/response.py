"""What a common input does to a quantity: exact where the structure gives it, else by analysing the
curves again.

E* = k c/g: the spring constant counts 1, a tip size that g is a power or a tangent of has a closed
form. The sensitivity stretches the deflection, and with it the indentation, the contact point and
the pull-off; a layer and a law that is no power have no closed form either. There the real
analysis is run again on the stretched curve, by ±0.5 % for the coefficient, and as far as five
standard uncertainties for the Monte Carlo, which so sees the bend of it.
"""

from __future__ import annotations

import copy
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from ..analysis import Analysis
from ..calibration import constants
from ..columns import baseline as bl
from ..columns import fit as ft
from ..columns import stiffness as st
from ..errors import SettingsError
from ..forcemap import Block, ForceMap
from ..models import law_of
from ..pipeline import STAGES, request_of, run_rows
from ..settings import Settings
from .gum import half_angle_sensitivity
from .inputs import MODULI, Input

Array = np.ndarray
STEP = 0.005
REACH, NODES = 5.0, 21
"""How many standard uncertainties the nodes of a bent response reach, and how many they are."""
NEEDED = [name for name in STAGES if name not in ("stiffness", "viscous")]
"""The stages that a modulus follows from."""
POWER_OF_RADIUS = {"paraboloid": 0.5, "punch": 1.0}


@dataclass(frozen=True, eq=False)
class Answer:
    """ln Q as one input moves.

    Attributes
    ----------
    slope : ∂ ln Q/∂ ln x
    at, change : ln(x/x₀) at some nodes and ln(Q/Q₀) there; empty: a straight line of that slope.
        NaN where the curve can't be analysed
    """

    slope: float
    at: Array
    change: Array

    def of(self, log: Array) -> Array:
        """ln(Q/Q₀) at ln(x/x₀), any shape; NaN where the analysis gave nothing."""
        if not self.at.size:
            return self.slope * log
        return smooth(log, self.at, self.change)


def smooth(x: Array, at: Array, values: Array) -> Array:
    """Cubic Hermite interpolation at even nodes; NaN next to a node that is, the end value beyond.

    The slopes are central differences, one-sided at the ends and beside NaN.
    """
    step = at[1] - at[0]
    up = np.append(np.diff(values), np.nan) / step
    down = np.append(np.nan, np.diff(values)) / step
    slope = np.where(np.isnan(up), down, np.where(np.isnan(down), up, 0.5 * (up + down)))
    place = np.clip((x - at[0]) / step, 0.0, at.size - 1.0)
    i = np.minimum(place.astype(np.int64), at.size - 2)
    t = place - i
    rise = values[i + 1] - values[i]
    first, second = slope[i] * step, slope[i + 1] * step
    bend = first + second - 2.0 * rise
    return np.asarray(values[i] + t * (first + t * (rise - first - bend + t * bend)))


def straight(slope: float) -> Answer:
    """An answer that is a straight line."""
    return Answer(slope, np.empty(0), np.empty(0))


@dataclass(frozen=True, eq=False)
class Curves:
    """Some curves of an analysis, their samples at hand, to be analysed again."""

    analysis: Analysis
    block: Block

    @classmethod
    def of(cls, analysis: Analysis, curves: Array) -> Curves:
        return cls(analysis, analysis.map.read_block(np.asarray(curves, dtype=np.int64)))

    def under(self, path: str, value: float) -> Array:
        """As `again` with one setting changed; NaN if it can't have that value."""
        try:
            return self.again(self.analysis.settings.with_value(path, value))
        except SettingsError:
            return np.full(self.block.curves.size, np.nan)

    def again(self, settings: Settings | None = None, fmap: ForceMap | None = None,
              stretch: float = 1.0) -> Array:  # fmt: skip
        """ln(E*/k) of each curve under changed settings, or with the deflection stretched; NaN
        where the fit finds nothing or no indentation is left."""
        settings, fmap = settings or self.analysis.settings, fmap or self.analysis.map
        use = constants(fmap, settings)
        z_scale, z_shift, d_scale, d_shift = use.scale
        use = replace(use, scale=(z_scale, z_shift, d_scale * stretch, d_shift * stretch))
        rows: dict[str, Any] = {name: np.full((self.block.curves.size, stage.columns), np.nan)
                                for name, stage in STAGES.items()}  # fmt: skip
        request = replace(request_of(self.analysis.map, settings), constants=use, map=fmap)
        run_rows(request, fmap, self.block, rows, NEEDED)
        fit, base = rows["fit"], rows["baseline"]
        with np.errstate(invalid="ignore"):
            depth = base[:, bl.PEAK_Z] - fit[:, ft.Z0] - base[:, bl.PEAK_D]
            good = (fit[:, ft.STATE] == ft.GOOD) & (depth > 0.0)
        factor = use.factor if use.factor > 0.0 else math.nan
        return np.where(good, fit[:, ft.LN_C] - math.log(factor), np.nan)


Change = Callable[[float], Array]


def slope_of(change: Change, now: Array, step: float = STEP) -> Array:
    """d(change)/dx at x = 0 for each curve, by central differences; one-sided where one side is
    impossible or can't be analysed."""
    up, down = change(step), change(-step)
    one = np.where(np.isfinite(up), up - now, now - down) / step
    both = (up - down) / (2.0 * step)
    return np.where(np.isfinite(both), both, one)


def middle(values: Array, axis: int | None = None) -> Any:
    """The median of what is finite; NaN where less than half is."""
    finite = np.isfinite(values)
    with np.errstate(all="ignore"):
        found = np.median(np.where(finite, values, np.inf), axis=axis)
    return np.where(np.isfinite(found) & (finite.mean(axis=axis) >= 0.5), found, np.nan)


def bent(change: Change, now: Array, relative: float) -> Answer:
    """The answer of some curves together (medians), from nodes out to `REACH` times `relative`."""
    slope = float(middle(slope_of(change, now)))
    if not relative > 0.0:
        return straight(slope)
    at = np.linspace(-REACH, REACH, NODES) * relative
    moved = np.array([change(float(x)) - now if x else np.zeros_like(now) for x in at])
    return Answer(slope, at, np.asarray(middle(moved, axis=1)))


def answers_of(curves: Curves, quantity: str, inputs: Sequence[Input]) -> dict[str, Answer]:
    """What each input does to E*, S or F_ad (not what ν and the tip's own modulus do beside)."""
    found = {"spring_constant": straight(1.0), "temperature": straight(1.0),
             "tip_modulus": straight(0.0), "poisson_ratio": straight(0.0)}  # fmt: skip
    if quantity == "adhesion":
        found["deflection_sensitivity"] = straight(1.0)
        return found
    if quantity == "stiffness":
        m = curves.analysis.stage_tables["stiffness"][curves.block.curves, st.SLOPE]
        found["deflection_sensitivity"] = straight(float(middle(1.0 / (1.0 - m))))
        return found
    assert quantity in MODULI
    now = curves.again()
    for one in inputs:
        if one.name == "deflection_sensitivity":
            found[one.name] = bent(lambda x: curves.again(stretch=math.exp(x)), now, one.relative)
        elif one.name == "thickness":
            found[one.name] = bent(lambda x: _thicker(curves, x), now, one.relative)
        elif one.name == "poisson_ratio" and curves.analysis.settings.layer.base != "none":
            found[one.name] = straight(_by_ratio(curves, now))
        elif one.name in ("radius", "half_angle", "rounding"):
            found[one.name] = straight(_by_size(curves, one, now))
    return found


def _thicker(curves: Curves, x: float) -> Array:
    """With the layer's thickness, or the map of it, times eˣ."""
    fmap, settings = curves.analysis.map, curves.analysis.settings
    if fmap.thickness is None:
        return curves.under("layer.thickness", settings.layer.thickness * math.exp(x))
    other = copy.copy(fmap)
    other.thickness = fmap.thickness * math.exp(x)
    return curves.again(settings, other)


def _by_size(curves: Curves, size: Input, now: Array) -> float:
    """∂ ln E*/∂ ln x of a tip size: closed for a power without a layer, else analysed again."""
    settings = curves.analysis.settings
    law = law_of(settings.fit.law)
    if law.profile is None and settings.layer.base == "none":
        if size.name == "half_angle":
            return half_angle_sensitivity(size.value)
        if law.name in POWER_OF_RADIUS:
            return -POWER_OF_RADIUS[law.name]
    path = f"tip.{size.name}"
    return float(middle(slope_of(lambda x: curves.under(path, size.value * math.exp(x)), now)))


def _by_ratio(curves: Curves, now: Array) -> float:
    """∂ ln E*/∂ν through the layer's correction [per unit of ν]."""
    ratio = curves.analysis.settings.sample.poisson_ratio
    step = STEP * max(ratio, 0.1)
    slope = slope_of(lambda x: curves.under("sample.poisson_ratio", ratio + x), now, step)
    return float(middle(slope))
