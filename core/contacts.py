"""The contact point of one curve by every method, and what each makes of the modulus.

The fit with a contact point held runs through the same compiled loop as the map's.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from .analysis import Analysis
from .columns import baseline as bl
from .columns import fit as ft
from .columns import retract as rt
from .forcemap import Block, ForceMap
from .models import law_of, precision
from .pipeline import (
    Request,
    Rows,
    backwards,
    cuts,
    free_of,
    kernel_law,
    one_curve,
    pull_columns,
    window_of,
)
from .settings import CONTACTS, Settings
from .steps import contact as steps
from .steps import loops
from .steps.baseline import take_off
from .steps.tools import load_branch

Array = np.ndarray


class Method(NamedTuple):
    """One way to find the contact point, in words."""

    label: str
    how: str
    bias: str
    source: str


METHODS: dict[str, Method] = {
    "free": Method(
        CONTACTS["free"],
        "The contact point is a parameter of the fit, found together with the modulus in the fit "
        "window.",
        "None if the law is right. It goes with the modulus: what moves one moves the other.",
        "least squares; the smallest possible error by Kay, Fundamentals of Statistical Signal "
        "Processing (1993), chapter 3 (from memory)"),
    "threshold": Method(
        CONTACTS["threshold"],
        f"The deflection leaves the baseline by {steps.LEVEL:g} standard deviations σ of its "
        "noise for good. Where the tip jumped on: the place that it jumped to.",
        "Late by (mσ/C)^(1/n), so more on soft samples than on stiff ones: contrasts of the "
        "modulus are distorted. After a jump late by the depth at which the tip landed.",
        "common practice, no source; the delay follows from F = C δⁿ"),
    "variance_ratio": Method(
        CONTACTS["variance_ratio"],
        "The variance of the next N samples is the largest multiple of the variance of the "
        "previous N. Where the tip jumped on, the largest step among these samples.",
        "Depends on N. Early or late by a few samples on stiff samples, late on soft ones.",
        "Gavara, Sci. Rep. 6 (2016) 21267 (from memory); the step after a jump is our own"),
    "goodness": Method(
        CONTACTS["goodness"],
        "Trial contact points: the baseline before and the law after each, with the best modulus; "
        "the least sum of squares wins.",
        "None if the law is right from the first touch on; a wrong law, or an attraction that "
        "reaches far, moves it.",
        "Lin, Dimitriadis & Horkay, J. Biomech. Eng. 129 (2007) 430; with adhesion 904 (from "
        "memory)"),
    "change_point": Method(
        CONTACTS["change_point"],
        "The probability of each trial contact point, given the curve, with the modulus "
        "integrated out; its mean and its standard deviation.",
        "As for goodness of fit. The noise is taken as white: if it is not, the ± is too small.",
        "Rudoy, Yuen, Howe & Wolfe, Appl. Statist. 59 (2010) part 5, arXiv 0909.5438"),
}  # fmt: skip
"""Every method: label, how it works, its known bias, where it comes from."""


@dataclass(frozen=True)
class ContactEstimate:
    """The contact point of one curve by one method.

    Attributes
    ----------
    method, label : key and words of `settings.CONTACTS`
    z0, error : contact point and its standard uncertainty [nm]; NaN if not found. The bias is not
        in the uncertainty. Of the method in use, the numbers of the channel
    bias : the known bias in words, with its figure for this curve where there is one
    modulus : Young's modulus [GPa] with this contact point held; NaN if there is none
    used : whether the settings choose this method
    modulus_error : its local standard uncertainty [GPa]
    """

    method: str
    label: str
    z0: float
    error: float
    bias: str
    modulus: float
    used: bool
    modulus_error: float = math.nan


@dataclass(frozen=True)
class _Curve:
    """One curve with its free fit."""

    map: ForceMap
    request: Request
    block: Block
    rows: Rows
    walk: float | None = None

    @property
    def branch(self) -> int:
        return bl.RETRACT if backwards(self.request.settings) else bl.APPROACH

    @property
    def exponent(self) -> float:
        return law_of(self.request.settings.fit.law).exponent

    def channel(self, name: str, fit: Array) -> tuple[float, float]:
        """A channel that follows from a row of the fit stage, and its local uncertainty."""
        rows = dict(self.rows, fit=fit)
        one = Analysis(self.map, self.request.settings, self.request.constants, rows, {},
                       np.ones(1, bool), pooled_walk=self.walk)  # fmt: skip
        value, error = one.per_curve(name)
        return float(value[0]), math.nan if error is None else float(error[0])

    def pull(self) -> Array:
        """Pull-off deflection [nm], its variance and its slow variance, (1, 3), as the fit takes
        them."""
        adhesion = self.request.settings.fit.adhesion
        if adhesion == "none":
            return np.zeros((1, 3))
        return np.array(self.rows["retract"][:, [*pull_columns(adhesion), rt.SLOW_PULL]])

    def contact(self, method: str) -> Array:
        """(1, 2) contact point [nm] and its variance by a method; NaN if it finds none.

        Laws that are no powers are taken as the power that they begin with, and JKR and its kin
        as a constant pull.
        """
        out = np.full((1, 2), np.nan)
        b = self.block
        steps.contact_loop(b.z, b.signal, b.start, cuts(self.map, b.curves), self.request.scale,
                           self.rows["baseline"], self.pull(), backwards(self.request.settings),
                           self.exponent, list(CONTACTS).index(method), out)  # fmt: skip
        return out

    def held(self, contact: Array, method: str) -> Array:
        """The row of the fit stage with a contact point held: the map's own loop."""
        r, b = self.request, self.block
        settings = r.settings.with_value("fit.contact", method)
        by, low, high = window_of(r)
        out = np.full((1, ft.COLUMNS), np.nan)
        if math.isnan(low):
            return out
        if settings.fit.adhesion == "two_point":
            by = 3
        numbers, table = kernel_law(r)
        loops.fit_loop(b.z, b.signal, b.start, cuts(self.map, b.curves), r.scale,
                       self.rows["baseline"], self.pull(), contact, backwards(settings), numbers,
                       table, r.constants.shape.units_of(b.curves), by, low, high,
                       np.array(free_of(settings)), out)  # fmt: skip
        return out

    def jumped(self) -> bool:
        """Whether the tip jumped to the surface, as the methods see it."""
        b, base = self.block, self.rows["baseline"][0]
        first, samples = cuts(self.map, b.curves)[0, 2 if self.branch else 0 :][:2]
        z, d = np.empty(samples), np.empty(samples)
        count = load_branch(b.z, b.signal, b.start[0] + first, samples,
                            backwards(self.request.settings), self.request.scale, z, d)  # fmt: skip
        take_off(z, d, count, base, self.branch)
        return bool(steps.jumped(d, base, self.branch))

    def spacing(self) -> float:
        """Mean distance of the samples of the branch [nm]."""
        count = cuts(self.map, self.block.curves)[0, 3 if self.branch else 1]
        reach = self.rows["baseline"][0, bl.Z_RANGE]
        return float(abs(reach) / max(count - 1, 1))


def _free_words(curve: _Curve) -> str:
    rho = precision.contact_floor(curve.exponent, 1.0, 1.0, 1).correlation
    return (f"none if the law is right. Contact point and modulus go together (correlation "
            f"{rho:.2f}): whatever moves one, as a curved baseline or a wrong pull-off, moves the "
            "other.")  # fmt: skip


def _shift(curve: _Curve, late: float) -> str:
    """What a contact point that is `late` [nm] does to the modulus, in words; "" if unknown."""
    base, fit = curve.rows["baseline"][0], curve.rows["fit"][0]
    depth = base[bl.PEAK_Z] - base[bl.PEAK_D] - fit[ft.Z0]
    if not depth > abs(late):
        return ""
    change = precision.late_contact_bias(curve.exponent, late / depth)
    return f", {late / depth:.0%} of the indentation, which changes the modulus by {change:+.0%}"


def _threshold_words(curve: _Curve, z0: float) -> str:
    base, fit = curve.rows["baseline"][0], curve.rows["fit"][0]
    if fit[ft.STATE] != ft.GOOD or math.isnan(z0):
        return "late; no figure without a fit of the law."
    noise, a = base[curve.branch + bl.B_NOISE], float(curve.pull()[0, 0])
    if curve.jumped():
        late = z0 - float(fit[ft.Z0])
        if not late > 0.0:
            return "late by the depth at which the tip landed; by the fitted law there is none."
        return (f"the tip jumped to the surface, and z₀ is late by the depth at which it landed: "
                f"by the fitted law {late:.2g} nm{_shift(curve, late)}.")  # fmt: skip
    late = precision.threshold_delay(steps.LEVEL * noise + a, math.exp(fit[ft.LN_C]),
                                     curve.exponent)  # fmt: skip
    return (f"late by (mσ/C)^(1/n): here {late:.2g} nm{_shift(curve, late)}. More on soft samples "
            "than on stiff ones, so contrasts are distorted.")  # fmt: skip


def _ratio_words(curve: _Curve) -> str:
    count = cuts(curve.map, curve.block.curves)[0, 3 if curve.branch else 1]
    n = steps.window_of(int(count))
    return (f"depends on the window, here N = {n} samples or {n * curve.spacing():.2g} nm: off by "
            "a few samples on stiff samples, late on soft ones. After a jump late by the depth "
            "at which the tip landed.")  # fmt: skip


def _model_words(curve: _Curve, method: str) -> str:
    words = "none if the law is right from the first touch on; an attraction that reaches far "
    words += "moves it."
    if curve.request.settings.fit.adhesion not in ("none", "constant"):
        words += " It is found with a constant pull in place of the adhesion that is set."
    if len(kernel_law(curve.request)[1]):
        words += f" The law is taken as the power {curve.exponent:g} that it begins with."
    if method == "change_point":
        words += " The noise is taken as white: if it is not, the ± is too small."
    return words


def _words(curve: _Curve, method: str, z0: float) -> str:
    if curve.request.settings.fit.adhesion == "two_point":
        return "not used: two points of a JKR curve need no contact point."
    if method == "free":
        return _free_words(curve)
    if method == "threshold":
        return _threshold_words(curve, z0)
    return _ratio_words(curve) if method == "variance_ratio" else _model_words(curve, method)


def compare_contacts(fmap: ForceMap, settings: Settings, row: int, col: int,
                     walk: float | None = None) -> list[ContactEstimate]:  # fmt: skip
    """The contact point of a pixel by every method, in the order of `settings.CONTACTS`.

    `walk` is the map's slow noise (`Analysis.walk`) for the uncertainties; without it the curve's
    own, which one curve alone knows badly.

    Returns an empty list where there is no curve. A method that finds nothing has NaN.

    Raises ReadError if the file is damaged or gone.
    """
    index = fmap.curve_at(row, col)
    if index < 0:
        return []
    curve = _Curve(fmap, *one_curve(fmap, settings.with_value("fit.contact", "free"), index),
                   walk)  # fmt: skip
    known = curve.request.constants.lengths
    found = []
    for method, words in METHODS.items():
        fit = curve.rows["fit"]
        contact = fit[:, [ft.Z0, ft.VAR_Z0]]
        if method != "free":
            contact = curve.contact(method) if known else np.full((1, 2), np.nan)
            fit = curve.held(contact, method) if np.isfinite(contact).all() else fit * np.nan
        z0, error = float(contact[0, 0]), math.sqrt(contact[0, 1])
        if method == "free":
            error = curve.channel("contact_point", fit)[1]
        modulus, spread = curve.channel("modulus", fit)
        found.append(ContactEstimate(method, words.label, z0, error, _words(curve, method, z0),
                                     modulus, method == settings.fit.contact, spread)
                     )  # fmt: skip
    return found
