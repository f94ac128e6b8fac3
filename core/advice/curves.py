"""Checks of the measurement: lever, slope, pressure, samples, residual, the two branches."""

from __future__ import annotations

import math

import numpy as np

from ..analysis import Analysis
from ..columns import fit as ft
from ..columns import retract as rt
from ..columns import stiffness as st
from ..doubts import DOUBTS
from ..models import law_of
from .contact import Contacts, Figures, median, spread
from .making import Rule, from_values, judged, lost_words, unknown
from .parts import BROKEN, FITS, PRACTICE, STRAINED, Array, Check, codes_below, in_percent
from .shapes import POINTED

GLASSY = 0.5
"""Modulus [GPa] above which a polymer yields before it is torn."""
STRENGTH = (0.05, 0.10)
"""Yield stress σ_y [GPa] of glassy polymers (from memory)."""
FIRST_YIELD, FULLY_PLASTIC = 1.1, 2.8
"""Mean pressure over σ_y at which a round contact first yields (largest pressure 1.6 σ_y, some way
below the surface), and at which the whole contact is plastic (Johnson, Contact Mechanics (1985),
chapter 6, from memory)."""
YIELD = (FIRST_YIELD * STRENGTH[0], FULLY_PLASTIC * STRENGTH[1])
"""Mean pressures [GPa]: below the first no glassy polymer yields, above the second all are plastic.
"""
RUBBER = 0.05
"""Modulus [GPa] below which a Poisson ratio near 0.5 is expected (from memory)."""


def check_lever(figures: Figures) -> Check:
    """Deflection over indentation at the peak."""
    rule = Rule("lever", "Deflection over indentation", "d/δ", "", "0.3 to 3", PRACTICE)

    def grade(v: Array) -> Array:
        code = np.where((v >= 0.3) & (v <= 3.0), 0.0, np.where((v < 0.05) | (v > 5.0), 2.0, 1.0))
        return np.where(np.isnan(v), np.nan, np.where(v > 0.0, code, 2.0))

    def words(figure: str, verdict: str) -> str:
        with np.errstate(all="ignore"):
            ratio = median(_bend(figures.contacts))
        if verdict == FITS:
            return f"d/δ is {figure}: lever and contact are matched."
        if not ratio > 0.0:
            return f"d/δ is {figure}: the tip seems not to indent at all."
        n = law_of(figures.contacts.fitted_law).exponent
        soft = ("is soft for this contact: the indentation is a small rest of the travel, and an "
                "error of the deflection sensitivity counts "
                f"{1.0 + n * ratio:.1f} times in the modulus")  # fmt: skip
        stiff = "is stiff for this contact: the deflection drowns in the noise"
        return f"d/δ is {figure}: the lever {soft if ratio > 3.0 else stiff}."

    return judged(figures, rule, _bend, grade, words)


def _bend(c: Contacts) -> Array:
    return c.peak / c.depth


def check_slope(figures: Figures) -> Check:
    """Slope of deflection against travel in contact, from curves with no other severe doubt."""
    rule = Rule("slope", "Slope in contact", "m", "", "below 0.9, never above 1",
                "m = S/(k+S); 0.9 is common practice, no source")  # fmt: skip
    curves = figures.curves if figures.one else _sloped(figures.analysis)
    table = figures.analysis.tables.slope[curves]
    m, error = table[:, st.SLOPE], np.sqrt(table[:, st.VAR_SLOPE])
    if not np.isfinite(m).any():
        why = lost_words(figures) if figures.lost else "No slope in contact was found."
        return unknown(rule, why)

    def grade(v: Array) -> Array:
        with np.errstate(all="ignore"):
            impossible = v - 1.0 > 3.0 * np.nan_to_num(error)
        return np.where(impossible & np.isfinite(v), 2.0, codes_below(v, 0.9, math.inf))

    def words(figure: str, verdict: str) -> str:
        if verdict == FITS:
            return f"In contact the deflection grows by {figure} of the travel."
        if verdict == STRAINED:
            return (f"In contact the deflection grows by {figure} of the travel: the lever is too "
                    "soft to tell the indentation from the travel.")  # fmt: skip
        return (f"In contact the deflection grows by {figure} of the travel. More than 1 is "
                "impossible: the deflection sensitivity is wrong, and no law can mend that."
                )  # fmt: skip

    value = median(m)
    own = float(error[0]) if figures.one else spread(m)
    return from_values(figures.one, rule, value, own, m, grade, words)


def _sloped(analysis: Analysis) -> Array:
    """Curves without a severe doubt other than about their slope and what follows from it."""
    follows = ("slope_above_one", "fit_failed", "at_bound", "fit_stuck", "beyond_law")
    mask = analysis.severe_mask & ~sum(DOUBTS[name].mask for name in follows)
    return np.flatnonzero(analysis.sound(mask) & analysis.done & ~analysis.curve_corrected)


def check_pressure(figures: Figures) -> Check:
    """Mean pressure at the peak against first yield and full plasticity."""
    rule = Rule("pressure", "Mean pressure at the peak", "F/(πa²)", "GPa",
                f"below {YIELD[0]:.2g} GPa (glassy)",
                "Johnson, Contact Mechanics (1985), ch. 6: under a round tip first yield at a mean "
                "pressure of 1.1 σ_y, full plasticity at 2.8 σ_y; σ_y of glassy polymers 50 to "
                "100 MPa (both from memory)")  # fmt: skip
    c = figures.contacts
    with np.errstate(all="ignore"):
        young = np.broadcast_to(c.reduced * (1.0 - c.poisson_ratio**2), figures.curves.shape)

    def grade(v: Array) -> Array:
        return np.where((young > GLASSY) | np.isnan(v), codes_below(v, *YIELD), 0.0)

    def words(figure: str, verdict: str) -> str:
        if not median(young) > GLASSY:
            return (f"The mean pressure is {figure}; below {GLASSY:g} GPa of modulus a polymer "
                    "does not yield so.")  # fmt: skip
        return f"The mean pressure is {figure}{_yield_words(c.law, verdict)}"

    return judged(figures, rule, lambda c: c.load / (math.pi * c.contact_radius**2), grade, words,
                  *(("radius",) if "radius" in law_of(c.law).sizes else ("half_angle",))
                  )  # fmt: skip


def _yield_words(law: str, verdict: str) -> str:
    """What a mean pressure does to a glassy polymer, and what helps; the end of a sentence."""
    pointed = law in POINTED
    if verdict == FITS:
        kept = " Right under the point it yields at any force." if pointed else ""
        return f", below the {YIELD[0]:.2g} GPa from which glassy polymers yield.{kept}"
    factor = FIRST_YIELD if verdict == STRAINED else FULLY_PLASTIC
    limit = f"{factor:g} σ_y ({factor * STRENGTH[0]:.2g} to {factor * STRENGTH[1]:.2g} GPa)"
    if verdict == BROKEN:
        what = f", and at {limit} a glassy polymer is fully plastic, beyond all elastic laws."
    elif pointed:
        what = f", and from {limit} on more of a glassy polymer yields than the very point."
    else:
        what = f", and at {limit} a glassy polymer first yields below the tip."
    if pointed:
        return (f"{what} Under a point the pressure is the same at any depth, so lowering the "
                "force does not help; a blunter or a round tip does.")  # fmt: skip
    return f"{what} Use less force or a larger tip."


def check_poisson(figures: Figures) -> Check:
    """The assumed Poisson ratio against the modulus; E changes with it, E* does not."""
    c = figures.contacts
    ratio = c.poisson_ratio
    rule = Rule("poisson", "Poisson ratio against modulus", "ν", "", "0.45 to 0.5 for rubber, "
                "below 0.45 for glass", "polymer handbooks (from memory)")  # fmt: skip
    with np.errstate(all="ignore"):
        young = np.broadcast_to(c.reduced * (1.0 - ratio**2), figures.curves.shape)
    if math.isnan(median(young)):
        return unknown(rule, lost_words(figures))

    def grade(_: Array) -> Array:
        odd = ((young < RUBBER) & (ratio < 0.45)) | ((young > GLASSY) & (ratio > 0.45))
        return np.where(np.isnan(young), np.nan, np.where(odd, 1.0, 0.0))

    def words(figure: str, verdict: str) -> str:
        if verdict == FITS:
            return f"ν = {ratio:g} suits the modulus."
        better = 0.5 if median(young) < RUBBER else 0.35
        change = (1.0 - better**2) / (1.0 - ratio**2) - 1.0
        return (f"ν = {ratio:g} is unusual here: with {better:g} Young's modulus would change by "
                f"{in_percent(change, '+')}, the reduced modulus not at all.")  # fmt: skip

    u = figures.analysis.settings.uncertainty.poisson_ratio
    return from_values(figures.one, rule, ratio, u, np.full(young.shape, ratio), grade, words)


def check_tip(figures: Figures) -> Check | None:
    """What the tip's own compliance does to the modulus when it is taken as rigid."""
    tip = figures.analysis.settings.tip
    if tip.material != "rigid":
        return None
    rule = Rule("tip_compliance", "Bias of a rigid tip", "E*/Eₜ*", "%", "below 5 %",
                "1/E* = (1-ν²)/E + (1-νₜ²)/Eₜ, Hertz 1882; silicon 170 GPa")  # fmt: skip

    def words(figure: str, _: str) -> str:
        return (f"Taken as rigid, a tip of {tip.modulus:g} GPa makes the modulus {figure} too "
                "small.")  # fmt: skip

    compliance = (1.0 - tip.poisson_ratio**2) / tip.modulus
    return judged(figures, rule, lambda c: 100.0 * c.reduced * compliance,
                  lambda v: codes_below(v, 5.0, math.inf), words)  # fmt: skip


def check_samples(figures: Figures) -> Check:
    """Samples in the fit window."""
    least = figures.analysis.settings.doubts.least_samples
    rule = Rule("samples", "Samples in the window", "N", "", "50 or more", PRACTICE)
    n = figures.analysis.tables.fit[figures.curves, ft.SAMPLES]
    if not np.isfinite(n).any():
        return unknown(rule, lost_words(figures))

    def words(figure: str, verdict: str) -> str:
        if verdict == FITS:
            return f"{figure} samples are fitted."
        return f"Only {figure} samples are fitted; take more samples or a slower ramp."

    return from_values(figures.one, rule, median(n), math.nan, n,
                       lambda v: codes_below(-v, -50.0, -float(least)), words)  # fmt: skip


def check_residual(figures: Figures) -> Check:
    """What is left by the fit, in units of the noise."""
    most = figures.analysis.settings.doubts.worst_residual
    rule = Rule("residual", "Residual over noise", "r/σ", "", "below 1.5",
                "1 for the right law and white noise; 1.5 chosen for Palpate")  # fmt: skip
    values = figures.analysis.per_curve("residual")[0][figures.curves]
    n = figures.analysis.tables.fit[figures.curves, ft.SAMPLES]
    if not np.isfinite(values).any():
        return unknown(rule, lost_words(figures))

    def words(figure: str, verdict: str) -> str:
        if verdict == FITS:
            return f"The residual is {figure} times the noise: the law describes the curve."
        return f"The residual is {figure} times the noise: the law misses part of the curve."

    error = float(values[0] / math.sqrt(2.0 * n[0])) if figures.one else spread(values)
    return from_values(figures.one, rule, median(values), error, values,
                       lambda v: codes_below(v, 1.5, max(most, 1.5)), words)  # fmt: skip


def check_branches(figures: Figures) -> Check:
    """Energy lost beyond adhesion over the elastic energy: an elastic contact loses at most what
    its adhesion takes."""
    rule = Rule("branches", "Loss beyond adhesion", "ΔW/W_el", "%", "below 10 %",
                "an elastic contact loses at most its work of adhesion; 10 % and 30 % chosen for "
                "Palpate")  # fmt: skip
    c, analysis, curves = figures.contacts, figures.analysis, figures.curves
    if not np.isfinite(analysis.tables.pull[curves, rt.LOST]).any():
        return unknown(rule, "There is no retract to compare the approach with.")
    lost, work = (analysis.tables.pull[curves, i] for i in (rt.LOST, rt.WORK))
    with np.errstate(all="ignore"):
        stored = (c.peak + np.maximum(c.pull, 0.0)) * c.depth / (law_of(c.fitted_law).exponent + 1)
        values = 100.0 * (lost - np.maximum(np.nan_to_num(work), 0.0)) / stored
        own = 100.0 * np.sqrt(analysis.tables.pull[curves, rt.VAR_LOST]) / stored
    values = np.where(c.depth > 0.0, values, np.nan)
    if not np.isfinite(values).any():
        return unknown(rule, lost_words(figures))

    def words(figure: str, verdict: str) -> str:
        if verdict == FITS and middle < 0.0:
            return (f"The branches enclose less than the work of adhesion, by "
                    f"{figure.lstrip('-')} of the elastic energy: the contact is elastic."
                    )  # fmt: skip
        if verdict == FITS:
            return (f"Beyond adhesion {figure} of the elastic energy is lost: the contact is "
                    "elastic.")  # fmt: skip
        return (f"Beyond adhesion {figure} of the elastic energy is lost between the branches: "
                "the contact is viscoelastic or plastic, or the base has hysteresis.")  # fmt: skip

    error, middle = float(own[0]) if figures.one else spread(values), median(values)
    return from_values(figures.one, rule, middle, error, values,
                       lambda v: codes_below(v, 10.0, 30.0), words)  # fmt: skip

