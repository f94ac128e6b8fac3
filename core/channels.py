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
from .columns import viscous as vs
from .settings import Settings

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
    viscous : (P, columns), or without columns where no relaxing solid is fitted
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
    viscous: Array | None = None


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
    asked : whether these settings ask for it at all; else it is NaN everywhere and left out
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
    asked: Callable[[Settings], bool] = field(default=lambda settings: True, repr=False)

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
    own = t.slope[:, st.VAR_SLOPE] + t.walk * t.slope[:, st.SLOW_SLOPE]
    return (t.spring_constant / (1.0 - m) ** 2) ** 2 * own


def _indentation(t: Tables) -> Array:
    return t.base[:, bl.PEAK_Z] - _good(t, ft.Z0) - t.base[:, bl.PEAK_D]


def _forced(column: int) -> Getter:
    return lambda t: t.pull[:, column] * t.spring_constant


def _forced_variance(white: int, slow: int) -> Getter:
    return lambda t: (t.pull[:, white] + t.walk * t.pull[:, slow]) * t.spring_constant**2


def _tilt_variance(t: Tables) -> Array:
    own = t.base[:, bl.VAR_TILT]
    white = np.where(np.isfinite(own), own, t.base[:, bl.B_VAR_SLOPE])
    return white + t.walk * t.base[:, bl.SLOW_TILT]


def _drag_variance(t: Tables) -> Array:
    white = t.base[:, bl.VAR_DRAG]
    return (white + t.walk * t.base[:, bl.SLOW_DRAG]) * t.spring_constant**2


def _drift_variance(t: Tables) -> Array:
    white = t.base[:, bl.VAR_DRIFT]
    return (white + t.walk * t.base[:, bl.SLOW_DRIFT]) / t.base[:, bl.DURATION] ** 2


def _z0_variance(t: Tables) -> Array:
    return _fitted(t, ft.VAR_Z0, ft.SLOW_Z0)


def _relaxing(column: int) -> Getter:
    """A column of the viscous stage where its fit is good."""
    return lambda t: np.where(_column(vs.STATE)(t) == vs.GOOD, _column(column)(t), np.nan)


def _relaxing_variance(white: int, slow: int) -> Getter:
    return lambda t: _relaxing(white)(t) + t.walk * _relaxing(slow)(t)


def _column(column: int) -> Getter:
    """A column of the viscous stage; NaN where it was not asked for."""

    def get(t: Tables) -> Array:
        if t.viscous is None or t.viscous.shape[1] <= column:
            return np.full(t.base.shape[0], np.nan)
        return t.viscous[:, column]

    return get


def _work(column: int) -> Getter:
    return lambda t: _column(column)(t) * t.spring_constant


def _work_variance(white: int, slow: int, power: int = 2) -> Getter:
    return lambda t: (_column(white)(t) + t.walk * _column(slow)(t)) * t.spring_constant**power


def _young(column: int) -> Getter:
    """Young's modulus from a column that holds ln c, the tip's own compliance taken off."""

    def get(t: Tables) -> Array:
        reduced = np.exp(_relaxing(column)(t)) * t.spring_constant / t.factor
        share = 1.0 - reduced * t.tip_compliance
        return np.where(share > 0.0, reduced * (1.0 - t.poisson_ratio**2) / share, np.nan)

    return get


def _young_variance(column: int, white: int, slow: int) -> Getter:
    def get(t: Tables) -> Array:
        reduced = np.exp(_relaxing(column)(t)) * t.spring_constant / t.factor
        return (_young(column)(t) / (1.0 - reduced * t.tip_compliance)) ** 2 * (
            _relaxing_variance(white, slow)(t)
        )

    return get


def _relaxation_time(t: Tables) -> Array:
    return np.exp(_relaxing(vs.TIME)(t))


def _pull_fitted(settings: Settings) -> bool:
    fit = settings.fit
    fitted = fit.pull_off == "fitted" and fit.adhesion != "none"
    return fitted or fit.adhesion == "two_point"


def _viscous(settings: Settings) -> bool:
    return settings.viscous.model != "none"


def _power_law(settings: Settings) -> bool:
    return settings.viscous.model == "power_law"


def _standard_solid(settings: Settings) -> bool:
    return settings.viscous.model == "standard_solid"


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
    Channel("release_force", "Pull-off at release", "F_r", "nN",
            "the pull where the lever lets go: at a steep release half a sampling step beyond the "
            "lowest sample, on average; adhesion without the bias of its sampling",
            _forced(rt.PULL_LET_GO), _forced_variance(rt.VAR_LET_GO, rt.SLOW_PULL), needs=FORCE),
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
    Channel("exponent", "Fitted exponent", "n", "", "n of F = C δⁿ: 1 punch, 1.5 sphere, 2 cone",
            lambda t: _good(t, ft.EXPONENT),
            lambda t: _fitted(t, ft.VAR_EXPONENT, ft.SLOW_EXPONENT), needs=LENGTH,
            asked=lambda settings: settings.fit.law == "free_exponent"),
    Channel("fitted_pull_off", "Fitted pull-off", "F_fit", "nN",
            "the pull-off force as a parameter of the fitted law",
            lambda t: _good(t, ft.PULL) * t.spring_constant,
            lambda t: _fitted(t, ft.VAR_PULL, ft.SLOW_PULL) * t.spring_constant**2, needs=FORCE,
            asked=_pull_fitted),
    Channel("drag", "Offset of the branches", "ΔF", "nN",
            "baseline of the approach less that of the retract at contact, times k: twice the drag "
            "on the lever where nothing else parts them",
            lambda t: t.base[:, bl.DRAG] * t.spring_constant,
            _drag_variance, "signed", FORCE),
    Channel("drift", "Drift of the deflection", "dd/dt", "nm/s",
            "slope of both free parts against time; fitted only where one line with a drift serves "
            "both branches, and given where a sampling rate is recorded",
            lambda t: t.base[:, bl.DRIFT] / t.base[:, bl.DURATION],
            _drift_variance, "signed", LENGTH,
            lambda settings: settings.baseline.branches == "drift"),
    Channel("relaxation_modulus", "Modulus after loading", "E(t_L)", "GPa",
            "relaxation modulus a loading time after a step, from both branches together",
            _young(vs.LN_C), _young_variance(vs.LN_C, vs.VAR_LN_C, vs.SLOW_LN_C),
            needs=ELASTIC, asked=_viscous),
    Channel("loading_time", "Loading time", "t_L", "s", "from contact to the turn",
            _relaxing(vs.LOADING), needs=LENGTH, asked=_viscous),
    Channel("relaxation_exponent", "Relaxation exponent", "β", "", "E(t) = E(t_L) (t/t_L)^(-β)",
            _relaxing(vs.BETA), _relaxing_variance(vs.VAR_BETA, vs.SLOW_BETA),
            needs=LENGTH, asked=_power_law),
    Channel("modulus_instant", "Instantaneous modulus", "E₀", "GPa",
            "E(t) = E∞ + (E₀ - E∞) exp(-t/τ)", _young(vs.INSTANT),
            _young_variance(vs.INSTANT, vs.VAR_INSTANT, vs.SLOW_INSTANT),
            needs=ELASTIC, asked=_standard_solid),
    Channel("modulus_relaxed", "Relaxed modulus", "E∞", "GPa",
            "E(t) = E∞ + (E₀ - E∞) exp(-t/τ)", _young(vs.RELAXED),
            _young_variance(vs.RELAXED, vs.VAR_RELAXED, vs.SLOW_RELAXED),
            needs=ELASTIC, asked=_standard_solid),
    Channel("relaxation_time", "Relaxation time", "τ", "s", "E(t) = E∞ + (E₀ - E∞) exp(-t/τ)",
            _relaxation_time, lambda t: _relaxation_time(t) ** 2
            * _relaxing_variance(vs.VAR_TIME, vs.SLOW_TIME)(t),
            needs=LENGTH, asked=_standard_solid),
    Channel("loss_fraction", "Loss fraction", "η", "",
            "η = 1 - W_out/W_in, the works ∫F dδ of both branches under a positive force; the "
            "adhesive part is left out", _column(vs.LOSS),
            _work_variance(vs.VAR_LOSS, vs.SLOW_LOSS, 0),
            needs=LENGTH, asked=_viscous),
    Channel("viscous_work", "Viscous work", "W_v", "aJ",
            "W_in - W_out: the part of the dissipated energy that is lost under a positive force "
            "(plastic work and drag are in it too)",
            _work(vs.VISCOUS), _work_variance(vs.VAR_VISCOUS, vs.SLOW_VISCOUS),
            needs=FORCE, asked=_viscous),
    Channel("adhesion_loss", "Adhesive loss", "W_h", "aJ",
            "the rest of the dissipated energy: the work of adhesion less what the jump on gave",
            _work(vs.ADHESIVE), _work_variance(vs.VAR_ADHESIVE, vs.SLOW_ADHESIVE),
            needs=FORCE, asked=_viscous),
)  # fmt: skip

CHANNELS: dict[str, Channel] = {channel.name: channel for channel in _ALL}


def asked_for(settings: Settings) -> dict[str, Channel]:
    """The channels that an analysis under these settings gives, in the order of the registry."""
    return {name: channel for name, channel in CHANNELS.items() if channel.asked(settings)}
