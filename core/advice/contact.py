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
from ..models import law_of, tabor
from ..models.blunted_cone import meeting
from ..models.law import Law
from ..steps.tools import MAD_TO_SIGMA, MEDIAN_COST

Array = np.ndarray
MODELS = {"jkr": "jkr", "two_point": "jkr", "maugis": "maugis"}
"""Adhesion -> the model by which the work of adhesion follows from the pull-off."""
SMALL = 1e-3
"""Share of a standard uncertainty by which a constant is changed to see what it does."""


@dataclass(frozen=True, eq=False)
class Contacts:
    """Some contacts at the peak force: lengths as measured, (n,), and the constants.

    Attributes
    ----------
    stiff : c = C/k of the fit; pull, peak, depth : nm, at the peak
    fitted_law : the law that gave them; law, adhesion : the one that is judged
    radius, half_angle, rounding : of the tip (nm, degrees, nm); NaN where missing
    thickness : of a layer [nm], (n,) or one; NaN without one
    distance : of the surfaces at rest [nm]
    layer_factor : what a layer does to the law's factor (flat punch)
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
    layer_factor: float = 1.0

    def sizes(self, law: str) -> tuple[float, ...]:
        """The sizes that a law takes."""
        return tuple(getattr(self, name) for name in law_of(law).sizes)

    @cached_property
    def reduced(self) -> Array:
        """E* [GPa]; NaN without a size."""
        sizes = self.sizes(self.fitted_law)
        known = all(map(math.isfinite, sizes))
        factor = law_of(self.fitted_law).factor(*sizes) if known else math.nan
        return self.stiff * self.spring_constant / (factor * self.layer_factor)

    @property
    def load(self) -> Array:
        """Peak force [nN]."""
        return self.peak * self.spring_constant

    @property
    def pull_off(self) -> Array:
        """Pull-off force [nN], not below 0."""
        return np.maximum(self.pull, 0.0) * self.spring_constant

    @cached_property
    def work(self) -> Array:
        """Work of adhesion [nN/nm] from the pull-off, by the judged adhesion (DMT for none)."""
        model = MODELS.get(self.adhesion, "dmt")
        return tabor.work_from_pull_off(self.pull_off, self.radius, model, self.reduced,
                                        self.distance)  # fmt: skip

    @property
    def tabor(self) -> Array:
        """μ at the distance of the settings; 0 where nothing pulls."""
        mu = tabor.tabor(self.reduced, self.radius, self.work, self.distance)
        return np.where((self.work == 0.0) & np.isfinite(self.reduced), 0.0, mu)

    @cached_property
    def contact_radius(self) -> Array:
        """a [nm] at the peak by the judged law; Maugis-Dugdale by the mean of DMT's and JKR's."""
        law, sizes = law_of(self.law), self.sizes(self.law)
        if not all(map(math.isfinite, sizes)) or law.name == "free_exponent":
            return np.full(self.depth.shape, np.nan)
        if self.adhesion in ("jkr", "two_point", "maugis"):
            pull = 3.0 * math.pi * self.work * self.radius
            inside = self.load + pull + np.sqrt(2.0 * pull * self.load + pull * pull)
            wide = np.cbrt(0.75 * self.radius / self.reduced * inside)
            if self.adhesion != "maugis":
                return wide
            dmt = np.cbrt(0.75 * self.radius / self.reduced * (self.load + self.pull_off))
            return 0.5 * (wide + dmt)
        depth = np.maximum(self.depth, 0.0)
        if law.profile is not None:
            return radii_of(law, depth, self.radius, self.half_angle, sizes)
        return np.array([law.contact_radius(d, *sizes) for d in depth])

    @property
    def flank_begins(self) -> float:
        """The indentation [nm] at which a rounded cone's flank comes into contact, b²/R."""
        b = meeting(self.radius, self.half_angle, self.rounding)
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


def radii_of(law: Law, depth: Array, radius: float, half_angle: float, sizes: tuple[float, ...]
             ) -> Array:  # fmt: skip
    """Contact radii [nm] at indentations (n,) of a law known by its profile, read off a table.

    Good to 1e-5; `law.radius_at` is exact and too slow for every pixel with every constant.
    """
    assert law.profile is not None
    if law.widest(*sizes) < math.inf:
        shares = np.append(np.geomspace(1e-4, 0.9, 1500), 1.0 - np.geomspace(0.1, 1e-12, 600)[1:])
        a = shares * law.widest(*sizes)
    else:
        deepest = max(float(np.nanmax(depth, initial=0.0)), 1e-3 * radius)
        slope = math.tan(math.radians(half_angle))
        a = np.geomspace(1e-5, 4.0, 3000) * (math.sqrt(radius * deepest) + deepest * slope)
    known = law.profile(a, *sizes)[0]
    with np.errstate(divide="ignore"):
        return np.exp(np.interp(np.log(depth), np.log(known), np.log(a), right=math.nan))


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
        return replace(
            self, contacts=replace(self.contacts, law=law, adhesion=adhesion),
            shifted=tuple(replace(c, law=law, adhesion=adhesion) for c in self.shifted),
        )  # fmt: skip

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
    return MEDIAN_COST * MAD_TO_SIGMA * mad / math.sqrt(values.size)
