"""The figures of a contact that the checks are made of, with their uncertainty.

What was measured are lengths: the stiffness of the fit c = C/k, pull-off, peak deflection and
indentation, in nm. Everything else follows from them and from the constants, so an error of a
constant is carried by changing it and working the figure out again (GUM, first order). So what
cancels does cancel: the Tabor parameter of a paraboloid, with w from the pull-off, knows neither
the spring constant nor the radius.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from ..analysis import Analysis
from ..columns import baseline as bl
from ..columns import fit as ft
from ..columns import retract as rt
from ..models import jkr, law_of, tabor
from ..models.blunted_cone import rounding_of
from ..models.law import radius_at

Array = np.ndarray
MOST = 4096
"""A map is judged by so many of its trusted curves at most, evenly spread."""
SMALL = 1e-3
"""Share of a standard uncertainty by which a constant is changed to see what it does."""
ASSUMED = {"spring_constant": 0.10, "sensitivity": 0.04, "radius": 0.20, "half_angle": 0.04}
"""Relative standard uncertainties where none is recorded or set (from memory)."""


@dataclass(frozen=True, eq=False)
class Contacts:
    """Some contacts at the peak force: lengths as measured, (n,), and the constants.

    Attributes
    ----------
    stiff : c = C/k of the fit; pull, peak, depth : nm, at the peak
    fitted_law : the law that gave them; law, adhesion : the one that is judged
    radius, half_angle, rounding : of the tip (nm, degrees, nm); NaN where missing
    thickness : of a layer [nm], (n,) or one; NaN without one
    """

    stiff: Array
    pull: Array
    peak: Array
    depth: Array
    fitted_law: str
    law: str
    adhesion: str
    spring_constant: float
    radius: float
    half_angle: float
    rounding: float
    poisson_ratio: float
    thickness: Array | float
    distance: float

    def sizes(self, law: str) -> tuple[float, ...]:
        """The sizes that a law takes."""
        return tuple(getattr(self, name) for name in law_of(law).sizes)

    @cached_property
    def reduced(self) -> Array:
        """E* [GPa]; NaN without a size."""
        sizes = self.sizes(self.fitted_law)
        known = all(map(math.isfinite, sizes))
        factor = law_of(self.fitted_law).factor(*sizes) if known else math.nan
        return self.stiff * self.spring_constant / factor

    @property
    def load(self) -> Array:
        """Peak force [nN]."""
        return self.peak * self.spring_constant

    @property
    def pull_off(self) -> Array:
        """Pull-off force [nN], not below 0."""
        return np.maximum(self.pull, 0.0) * self.spring_constant

    @property
    def work(self) -> Array:
        """Work of adhesion [nN/nm] from the pull-off, by the judged adhesion."""
        return tabor.work_of(self.pull_off, self.radius, self.adhesion)

    @property
    def tabor(self) -> Array:
        return tabor.tabor(self.radius, self.work, self.reduced, self.distance)

    @cached_property
    def contact_radius(self) -> Array:
        """a [nm] at the peak by the judged law; Maugis-Dugdale by the mean of DMT's and JKR's."""
        law, sizes = law_of(self.law), self.sizes(self.law)
        if not all(map(math.isfinite, sizes)) or law.name == "free_exponent":
            return np.full(self.depth.shape, np.nan)
        if self.adhesion in ("jkr", "two_point", "maugis"):
            wide = jkr.contact_radius(self.load, self.reduced, self.radius, self.work)
            if self.adhesion != "maugis":
                return wide
            dmt = np.cbrt(0.75 * self.radius / self.reduced * (self.load + self.pull_off))
            return 0.5 * (wide + dmt)
        depth = np.maximum(self.depth, 0.0)
        if law.profile is not None:
            return np.where(np.isfinite(depth), radius_at(law, np.nan_to_num(depth), *sizes),
                            np.nan)  # fmt: skip
        return np.array([law.contact_radius(d, *sizes) for d in depth])

    @property
    def flank_begins(self) -> float:
        """The indentation [nm] at which a rounded cone's flank comes into contact, b²/R."""
        b = rounding_of(self.radius, self.half_angle, self.rounding)
        return b * b / self.radius

    def with_sensitivity(self, share: float, thermal: bool) -> Contacts:
        """The same curves with another deflection sensitivity: the indentation changes against it,
        and a spring constant from thermal noise goes with its inverse square."""
        more = 1.0 + share
        depth = self.depth - share * self.peak
        ratio = np.where((depth > 0) & (self.depth > 0), self.depth / depth, np.nan)
        stiff = self.stiff * more * ratio ** law_of(self.fitted_law).exponent
        k = self.spring_constant * (more**-2 if thermal else 1.0)
        return replace(self, stiff=stiff, pull=self.pull * more, peak=self.peak * more,
                       depth=depth, spring_constant=k)  # fmt: skip


@dataclass(frozen=True)
class Figure:
    """One figure: value (a median for a map), standard uncertainty, and (n,) values."""

    value: float
    error: float
    values: Array


@dataclass(frozen=True, eq=False)
class Figures:
    """The contacts that an advice is about, and how they would be with other constants.

    Attributes
    ----------
    contacts : one (a pixel), or many (a map)
    shifted : the contacts with each constant, or each of a pixel's own figures, changed by `SMALL`
        of its standard uncertainty
    lost : constants that are missing, in words
    """

    analysis: Analysis
    curves: Array
    one: bool
    contacts: Contacts
    shifted: tuple[Contacts, ...]
    lost: tuple[str, ...] = ()

    def judging(self, law: str, adhesion: str) -> Figures:
        """The same for another law and adhesion."""
        to = {"law": law, "adhesion": adhesion}
        return replace(self, contacts=replace(self.contacts, **to),
                       shifted=tuple(replace(c, **to) for c in self.shifted))  # fmt: skip

    def of(self, quantity: Callable[[Contacts], Array]) -> Figure:
        """A figure with its uncertainty.

        Common constants for both; a pixel's own noise for a pixel (correlations between its fitted
        figures neglected), the standard error of the median for a map.
        """
        with np.errstate(all="ignore"):
            values = np.broadcast_to(quantity(self.contacts), self.curves.shape)
            value = median(values)
            moved = [median(np.asarray(quantity(c))) - value for c in self.shifted]
            own = 0.0 if self.one else spread(values)
        error = math.sqrt(sum((m / SMALL) ** 2 for m in moved) + own**2)
        return Figure(value, error, values)


def median(values: Array) -> float:
    """Median of what is finite; NaN if nothing is."""
    values = np.asarray(values)[np.isfinite(values)]
    return float(np.median(values)) if values.size else math.nan


def spread(values: Array) -> float:
    """Standard error of a median, from the median absolute deviation (normal scatter)."""
    values = values[np.isfinite(values)]
    if values.size < 2:
        return 0.0
    mad = float(np.median(np.abs(values - np.median(values))))
    return 1.2533 * 1.4826 * mad / math.sqrt(values.size)


# ---- from an analysis


def trusted_curves(analysis: Analysis, most: int = MOST) -> Array:
    """Curves without a severe doubt, at most so many, evenly spread."""
    good = np.flatnonzero((analysis.curve_doubts & np.uint64(analysis.severe_mask)) == 0)
    good = good[analysis.done[good]]
    shown = analysis.map.index_map
    good = good[np.isin(good, shown[shown >= 0])]
    if good.size > most:
        good = good[np.linspace(0, good.size - 1, most).astype(int)]
    return good


def _tip_size(analysis: Analysis, name: str) -> tuple[float, float]:
    """A size of the tip, whatever the law, and its relative standard uncertainty."""
    chosen = getattr(analysis.settings.tip, name)
    recorded = getattr(analysis.map.recorded, name)
    value = chosen if chosen is not None else (recorded.value if recorded else math.nan)
    share = analysis.settings.uncertainty.tip
    if share is not None:
        return value, share / 100.0
    if recorded and recorded.value == value and math.isfinite(recorded.error):
        return value, recorded.error / value
    return value, ASSUMED[name]


def _relative(chosen: float | None, value: float, error: float, assumed: float) -> float:
    if chosen is not None:
        return chosen / 100.0
    return error / value if math.isfinite(error / value) else assumed


def _pulls(analysis: Analysis, curves: Array) -> tuple[Array, Array]:
    """Pull-off deflection [nm] and its variance: as measured on the retract, or as fitted."""
    fit, pull = analysis.tables.fit[curves], analysis.tables.pull[curves]
    chosen = analysis.settings.fit
    fitted = chosen.adhesion == "two_point" or (
        chosen.pull_off == "fitted" and chosen.adhesion != "none"
    )
    if fitted:
        return fit[:, ft.PULL], fit[:, ft.VAR_PULL]
    return pull[:, rt.PULL], pull[:, rt.VAR_PULL] + analysis.walk * pull[:, rt.SLOW_PULL]


def _contacts(analysis: Analysis, curves: Array) -> Contacts:
    settings, use = analysis.settings, analysis.constants
    fit, base = analysis.tables.fit[curves], analysis.tables.base[curves]
    good = fit[:, ft.STATE] == ft.GOOD
    stiff = np.where(good, np.exp(np.where(good, fit[:, ft.LN_C], 0.0)), np.nan)
    thickness: Array | float = math.nan
    if analysis.map.thickness is not None:
        thickness = analysis.map.thickness[curves]
    elif settings.layer.base != "none":
        thickness = settings.layer.thickness
    known = use.lengths
    return Contacts(
        stiff, _pulls(analysis, curves)[0], base[:, bl.PEAK_D] if known else stiff * np.nan,
        analysis.per_curve("indentation")[0][curves],
        settings.fit.law, settings.fit.law, settings.fit.adhesion, use.force_scale,
        _tip_size(analysis, "radius")[0], _tip_size(analysis, "half_angle")[0],
        settings.tip.rounding, settings.sample.poisson_ratio, thickness, settings.fit.distance,
    )  # fmt: skip


def _shifted(analysis: Analysis, here: Contacts) -> list[Contacts]:
    """The contacts with each common constant a little larger."""
    u, use = analysis.settings.uncertainty, analysis.constants
    k, s = use.spring_constant, use.deflection_sensitivity
    by_k = SMALL * _relative(u.spring_constant, k.value, k.error, ASSUMED["spring_constant"])
    by_s = SMALL * _relative(u.sensitivity, s.value, s.error, ASSUMED["sensitivity"])
    radius, angle = (SMALL * _tip_size(analysis, name)[1] for name in ("radius", "half_angle"))
    return [
        replace(here, spring_constant=here.spring_constant * (1.0 + by_k)),
        here.with_sensitivity(by_s, u.spring_from == "thermal"),
        replace(here, radius=here.radius * (1.0 + radius)),
        replace(here, half_angle=here.half_angle * (1.0 + angle)),
        replace(here, poisson_ratio=here.poisson_ratio + SMALL * u.poisson_ratio),
        replace(here, thickness=here.thickness * (1.0 + SMALL * u.thickness / 100.0)),
    ]


def _own(analysis: Analysis, here: Contacts, curves: Array) -> list[Contacts]:
    """The contact of one pixel with each of its own figures a little larger."""
    fit, base = analysis.tables.fit[curves], analysis.tables.base[curves]
    stiff = fit[:, ft.VAR_LN_C] + analysis.walk * fit[:, ft.SLOW_LN_C]
    depth = analysis.per_curve("indentation")[1]
    moves = {
        "stiff": np.sqrt(stiff) * here.stiff,
        "pull": np.sqrt(_pulls(analysis, curves)[1]),
        "peak": np.sqrt(base[:, bl.VAR_PEAK]),
        "depth": np.full(1, np.nan) if depth is None else depth[curves],
    }
    return [replace(here, **{name: getattr(here, name) + SMALL * np.nan_to_num(by)})
            for name, by in moves.items()]  # fmt: skip


def _lost(analysis: Analysis) -> tuple[str, ...]:
    use = analysis.constants
    found = []
    if not use.lengths:
        found.append("deflection sensitivity")
    if math.isnan(use.spring_constant.value):
        found.append("spring constant")
    found += [size.label.lower() for size in use.sizes if math.isnan(size.value)]
    return tuple(found)


def figures_of(analysis: Analysis, curve: int | None = None) -> Figures:
    """The figures of one curve, or of a map's trusted curves."""
    one = curve is not None
    curves = np.array([curve]) if one else trusted_curves(analysis)
    with np.errstate(all="ignore"):
        here = _contacts(analysis, curves)
        shifted = _shifted(analysis, here)
        if one:
            shifted += _own(analysis, here, curves)
    return Figures(analysis, curves, one, here, tuple(shifted), _lost(analysis))
