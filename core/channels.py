"""The registry of per-pixel quantities: name, symbol, unit, formula, and how to colour each.

A channel is worked out from the small per-curve tables that the stages leave, so that a changed
spring constant or Poisson ratio costs no pass over the samples. Adding one is one entry in
`CHANNELS`.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from .columns import baseline as bl
from .columns import fit as ft
from .columns import retract as rt
from .columns import stiffness as st

Array = np.ndarray


@dataclass(frozen=True, eq=False)
class Tables:
    """What the stages found, one row a curve, and the constants that turn lengths into forces.

    Attributes
    ----------
    base, pull, fit, slope : (P, columns), see ``steps/``; None where the stage could not run
    spring_constant : N/m; NaN if not known
    factor : g(size) of the law in use, so that C = E* g; NaN if the tip is not known
    poisson_ratio : assumed
    tip_compliance : (1-ν²)/E of the tip itself [1/GPa]; 0 for a rigid one
    radius, adhesion : of the tip [nm, NaN if the law has none] and as chosen
    walk : slow noise of the map's deflection [nm²/nm], see ``steps/slow.py``
    """

    base: Array
    pull: Array
    fit: Array
    slope: Array
    spring_constant: float
    factor: float
    poisson_ratio: float
    walk: float = 0.0
    tip_compliance: float = 0.0
    radius: float = math.nan
    adhesion: str = "none"


Getter = Callable[[Tables], Array]


@dataclass(frozen=True)
class Channel:
    """One per-pixel quantity.

    Attributes
    ----------
    name : identifier, also the dataset's name in a result file
    label, symbol, unit, formula : for people; the unit is the core unit
    kind : "magnitude" (bright means more), "signed" (centred on zero) or "height"
    value, variance : from the tables; NaN where missing; None if no local uncertainty is kept
    needs : which constants it can't do without
    """

    name: str
    label: str
    symbol: str
    unit: str
    formula: str
    value: Getter
    variance: Getter | None = None
    kind: str = "magnitude"
    needs: tuple[str, ...] = field(default=())

    @property
    def title(self) -> str:
        """Label with unit, such as ``Modulus (GPa)``."""
        return f"{self.label} ({self.unit})" if self.unit else self.label


def _good(t: Tables, column: int) -> Array:
    return np.where(t.fit[:, ft.STATE] == ft.GOOD, t.fit[:, column], np.nan)


def reduced_modulus(t: Tables) -> Array:
    """E* = k c / g(size)."""
    return np.exp(_good(t, ft.LN_C)) * t.spring_constant / t.factor


def _fitted(t: Tables, white: int, slow: int) -> Array:
    """A variance of the fit: white and slow noise."""
    return _good(t, white) + t.walk * _good(t, slow)


def _reduced_variance(t: Tables) -> Array:
    return reduced_modulus(t) ** 2 * _fitted(t, ft.VAR_LN_C, ft.SLOW_LN_C)


def _sample_share(t: Tables) -> Array:
    """The share of the compliance 1/E* that is the sample's; NaN if the tip has more than all."""
    share = 1.0 - reduced_modulus(t) * t.tip_compliance
    return np.where(share > 0.0, share, np.nan)


def _modulus(t: Tables) -> Array:
    return reduced_modulus(t) * (1.0 - t.poisson_ratio**2) / _sample_share(t)


def _modulus_variance(t: Tables) -> Array:
    relative = _fitted(t, ft.VAR_LN_C, ft.SLOW_LN_C) / _sample_share(t) ** 2
    return _modulus(t) ** 2 * relative


def _slope(t: Tables) -> Array:
    m = t.slope[:, st.SLOPE]
    return np.where((m > 0.0) & (m < 1.0), m, np.nan)


def _stiffness(t: Tables) -> Array:
    m = _slope(t)
    return t.spring_constant * m / (1.0 - m)


def _stiffness_variance(t: Tables) -> Array:
    m = _slope(t)
    return (t.spring_constant / (1.0 - m) ** 2) ** 2 * t.slope[:, st.VAR_SLOPE]


def _indentation(t: Tables) -> Array:
    return t.base[:, bl.PEAK_Z] - _good(t, ft.Z0) - t.base[:, bl.PEAK_D]


def _forced(column: int) -> Getter:
    return lambda t: t.pull[:, column] * t.spring_constant


def _forced_variance(white: int, slow: int) -> Getter:
    return lambda t: (t.pull[:, white] + t.walk * t.pull[:, slow]) * t.spring_constant**2


def _tilt_variance(t: Tables) -> Array:
    own = t.base[:, bl.VAR_TILT]
    return np.where(np.isfinite(own), own, t.base[:, bl.B_VAR_SLOPE])


def _z0_variance(t: Tables) -> Array:
    return _fitted(t, ft.VAR_Z0, ft.SLOW_Z0)


FORCE = ("deflection_sensitivity", "spring_constant")
ELASTIC = (*FORCE, "tip")
LENGTH = ("deflection_sensitivity",)

_ALL = (
    Channel("height", "Height", "h", "nm", "-z at the peak force, where the approach stopped",
            lambda t: -t.base[:, bl.PEAK_Z], kind="height"),
    Channel("contact_height", "Height at contact", "h₀", "nm",
            "-z₀: the surface without the dent that the tip makes",
            lambda t: -_good(t, ft.Z0), _z0_variance, "height", LENGTH),
    Channel("modulus", "Young modulus", "E", "GPa",
            "1/E* = (1 - ν²)/E + (1 - νₜ²)/Eₜ, ν assumed; a rigid tip has no second term",
            _modulus, _modulus_variance, needs=ELASTIC),
    Channel("reduced_modulus", "Reduced modulus", "E*", "GPa",
            "from the contact law fitted to deflection against base position",
            reduced_modulus, _reduced_variance, needs=ELASTIC),
    Channel("stiffness", "Contact stiffness", "S", "N/m",
            "S = k m/(1 - m), m the slope of deflection against base position in contact",
            _stiffness, _stiffness_variance, needs=FORCE),
    Channel("adhesion", "Adhesion", "F_ad", "nN",
            "the largest pull below the retract baseline (pull-off force)",
            _forced(rt.PULL), _forced_variance(rt.VAR_PULL, rt.SLOW_PULL), needs=FORCE),
    Channel("work_of_adhesion", "Work of adhesion", "W_ad", "aJ",
            "area between the retract and its baseline, from zero force to release: the work of "
            "parting one contact, not an energy per area",
            _forced(rt.WORK), _forced_variance(rt.VAR_WORK, rt.SLOW_WORK), needs=FORCE),
    Channel("dissipation", "Dissipated energy", "W_dis", "aJ",
            "area between approach and retract, contact and adhesion included",
            _forced(rt.LOST), _forced_variance(rt.VAR_LOST, rt.SLOW_LOST), needs=FORCE),
    Channel("indentation", "Indentation at peak", "δ", "nm", "δ = (z - z₀) - d at the peak force",
            _indentation, lambda t: _fitted(t, ft.VAR_DEPTH, ft.SLOW_DEPTH), needs=LENGTH),
    Channel("peak_force", "Peak force", "F_p", "nN", "F = k d where the approach stopped",
            lambda t: t.base[:, bl.PEAK_D] * t.spring_constant,
            lambda t: (t.base[:, bl.VAR_PEAK] + t.walk * t.base[:, bl.SLOW_PEAK])
            * t.spring_constant**2, needs=FORCE),
    Channel("contact_point", "Contact point", "z₀", "nm",
            "base position where an undeflected tip meets the undeformed surface",
            lambda t: _good(t, ft.Z0), _z0_variance, "height", LENGTH),
    Channel("noise", "Noise of the deflection", "σ", "nm",
            "standard deviation of the approach about its baseline, without outliers",
            lambda t: t.base[:, bl.B_NOISE], needs=LENGTH),
    Channel("baseline_slope", "Slope of the baseline", "b", "",
            "slope of the free part of the approach, nm of deflection per nm of travel",
            lambda t: t.base[:, bl.B_SLOPE], _tilt_variance, "signed", LENGTH),
    Channel("residual", "Residual of the fit", "r/σ", "",
            "root mean square residual of the fit, in units of the noise",
            lambda t: _good(t, ft.RESIDUAL) / t.base[:, bl.B_NOISE], needs=LENGTH),
    Channel("n_points", "Samples in the window", "N", "", "samples that the fit used",
            lambda t: t.fit[:, ft.SAMPLES], needs=LENGTH),
    Channel("drag", "Offset of the branches", "ΔF", "nN",
            "baseline of the approach less that of the retract at contact, times k: twice the drag "
            "on the lever where nothing else parts them",
            lambda t: t.base[:, bl.DRAG] * t.spring_constant,
            lambda t: t.base[:, bl.VAR_DRAG] * t.spring_constant**2, "signed", FORCE),
    Channel("drift", "Drift of the deflection", "dd/dt", "nm/s",
            "slope of both free parts against time; fitted only where one line with a drift serves "
            "both branches, and given where a sampling rate is recorded",
            lambda t: t.base[:, bl.DRIFT] / t.base[:, bl.DURATION],
            lambda t: t.base[:, bl.VAR_DRIFT] / t.base[:, bl.DURATION] ** 2, "signed", LENGTH),
)  # fmt: skip

CHANNELS: dict[str, Channel] = {channel.name: channel for channel in _ALL}
