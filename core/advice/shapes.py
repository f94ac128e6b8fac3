"""Checks of tip and layer: how deep, how wide, which shape."""

from __future__ import annotations

import math

import numpy as np

from ..models import layer_series, layer_shapes, layers, sphere
from ..models.law import radius_at
from .contact import Contacts, Figures, median
from .making import Rule, judged, lost_words, plain, unknown
from .parts import (
    BROKEN,
    FITS,
    PRACTICE,
    STRAINED,
    UNKNOWN,
    Array,
    Check,
    codes_below,
    in_percent,
)

ROUND = ("paraboloid", "sphere")
POINTED = ("cone", "pyramid", "pyramid_solved")
ROUNDED_CONES = ("blunted_cone", "hyperboloid")
SNEDDON = "Sneddon, Int. J. Eng. Sci. 3 (1965) 47 (from memory)"
BRISCOE = "Briscoe, Sebastian & Adams, J. Phys. D 27 (1994) 1156 (form from memory); factor ours"


def _nothing(values: Array) -> Array:
    return np.where(np.isnan(values), np.nan, 0.0)


def sphere_share(x: float) -> float:
    """Force of a sphere over a paraboloid's at δ = x R; up to x = 1 by a series good to 1e-4."""
    if x <= 1.0:
        return 1.0 - x / 10 - x**2 / 840 + 11 * x**3 / 15120 + 1357 * x**4 / 6652800
    a = radius_at(sphere.LAW, np.array([x]), 1.0)
    return float(sphere.profile(a, 1.0)[1][0] / (4.0 / 3.0 * x**1.5))


def check_width(figures: Figures) -> Check | None:
    """Contact radius over tip radius; for round tips only."""
    law = figures.contacts.law
    if law not in ROUND:
        return None
    rule = Rule("contact_width", "Contact radius over tip radius", "a/R", "", "below 0.5",
                "small slopes are assumed; 0.5 is common practice, no source")  # fmt: skip

    def words(figure: str, verdict: str) -> str:
        if verdict == FITS:
            return f"a/R is {figure}, so the slopes under the tip are small, as all laws assume."
        return (f"a/R is {figure}: the slopes under the tip are no longer small, as all linear "
                "laws assume. Use a larger tip or less force.")  # fmt: skip

    return judged(figures, rule, lambda c: c.contact_radius / c.radius,
                  lambda v: codes_below(v, 0.5, 1.0), words, "radius")  # fmt: skip


def check_depth(figures: Figures) -> Check | None:
    """Indentation over tip radius: a paraboloid instead of a sphere."""
    c = figures.contacts
    if c.law not in ROUND:
        return None
    exact = c.law == "sphere" or figures.analysis.map.recorded.tip_shape == "paraboloid"
    rule = Rule("depth", "Indentation over tip radius", "δ/R", "",
                "below 1" if exact else "below 0.2 (2 % of the modulus)",
                f"a paraboloid reads a sphere δ/(10 R) low: series of the exact sphere, {SNEDDON}"
                )  # fmt: skip

    def words(figure: str, verdict: str) -> str:
        with np.errstate(all="ignore"):
            x = median(c.depth / c.radius)
        low = 1.0 - sphere_share(x) if x > 0.0 else 0.0
        if c.law == "sphere":
            return f"δ/R is {figure}; a paraboloid would read the modulus {in_percent(low)} low."
        if exact:
            return (f"δ/R is {figure}; the recorded tip is a paraboloid, for which the law holds "
                    f"at any depth (on a sphere it would read {in_percent(low)} low).")  # fmt: skip
        return (f"δ/R is {figure}: on a sphere the paraboloid reads the modulus "
                f"{in_percent(low)} low.")  # fmt: skip

    limits = (1.0, math.inf) if exact else (0.2, 1.0)
    return judged(figures, rule, lambda c: c.depth / c.radius,
                  lambda v: codes_below(v, *limits), words, "radius")  # fmt: skip


def check_rounding(figures: Figures) -> Check | None:
    """Indentation over the one at which the flank of a rounded cone comes into contact."""
    c = figures.contacts
    shape = figures.analysis.map.recorded.tip_shape
    if c.law in ROUND and shape in (*ROUND, "punch"):
        return None
    if c.law not in (*ROUND, *POINTED, *ROUNDED_CONES):
        return None
    limit = {True: "below 1", False: "above 5"}[c.law in ROUND]
    rule = Rule("rounding", "Indentation over that of the rounded end", "δ/δ_b", "",
                "any" if c.law in ROUNDED_CONES else limit, BRISCOE)  # fmt: skip
    if math.isnan(c.flank_begins):
        what = "whether the flank touches" if c.law in ROUND else "where the flank begins"
        return unknown(rule, f"{lost_words(figures, 'radius', 'half_angle')[:-1]}, so {what} "
                             "can't be told.")  # fmt: skip

    def words(figure: str, verdict: str) -> str:
        start = f"The flank begins at {c.flank_begins:.3g} nm; the indentation is {figure} of that"
        if c.law in ROUNDED_CONES:
            return f"{start}, and the law holds on both sides."
        if c.law in ROUND:
            return f"{start}: " + ("the round end alone touches." if verdict == FITS else
                                   "the flank touches too. Use the blunted cone.")  # fmt: skip
        return f"{start}: " + {
            FITS: "the flank carries the contact.",
            STRAINED: "the rounded end still matters. Use the blunted cone.",
        }.get(verdict, "only the round end touches. Use the paraboloid.")

    def grade(v: Array) -> Array:
        if c.law in ROUNDED_CONES:
            return _nothing(v)
        return codes_below(v, 1.0, 2.0) if c.law in ROUND else codes_below(-v, -5.0, -1.0)

    return judged(figures, rule, lambda c: c.depth / c.flank_begins, grade, words, "radius",
                  "half_angle")  # fmt: skip


ALIKE = [{"paraboloid", "sphere"}, {"pyramid", "pyramid_solved"}]
ROUND_ENDED = {"paraboloid", "sphere", "cone", "pyramid", "blunted_cone", "hyperboloid"}


def check_shape(figures: Figures) -> Check | None:
    """The recorded shape of the tip against the law's."""
    law, shape = figures.contacts.law, figures.analysis.map.recorded.tip_shape
    rule = Rule("tip_shape", "Shape of the tip", "", "", "as the law assumes", PRACTICE)
    if law == "free_exponent":
        return None
    if not shape:
        return plain(rule, STRAINED if law == "punch" else UNKNOWN,
                     "The map does not record the shape of the tip.")  # fmt: skip
    if shape == law or any({shape, law} <= group for group in ALIKE):
        return plain(rule, FITS, f"The map records a tip of the shape “{shape}”.")
    words = f"The map records a tip of the shape “{shape}”, but the law is for a {law}."
    cone_like = {"cone", *ROUNDED_CONES}
    near = {shape, law} <= cone_like or (shape in ROUND_ENDED - set(ROUND) and law in ROUND)
    return plain(rule, STRAINED if near else BROKEN, words)


def check_layer(figures: Figures) -> Check | None:
    """Contact radius over layer thickness, and what neglecting the base would do."""
    c, base = figures.contacts, figures.analysis.settings.layer.base
    if not np.isfinite(c.thickness).any():
        return None
    corrected, shape = base != "none", layer_shapes.layer_shape(c.law)
    rule = Rule("layer", "Contact radius over layer thickness", "a/h", "",
                "below 1" if corrected else f"below {layers.WIDE_CONTACT:g}",
                "direct solution: 5 % of the modulus at a/h = 0.042, bonded, ν = 0.5")  # fmt: skip
    if corrected and shape is None:
        return plain(rule, BROKEN, layer_shapes.layer_reason(c.law))
    if corrected and c.adhesion not in ("none", "constant"):
        return plain(rule, BROKEN, "JKR and its kin are known for a thick sample only.")

    def words(figure: str, verdict: str) -> str:
        with np.errstate(all="ignore"):
            chi = median(_chi(c, shape))
        bias = math.nan
        if shape is not None and 0.0 <= chi <= layers.LARGEST_CHI:
            kind = base if corrected else "bonded"
            bias = float(layers.layer_bias(chi, shape, c.poisson_ratio, kind))
        cost = f"{in_percent(bias)} too large" if math.isfinite(bias) else "far too large"
        if corrected:
            more = "" if verdict == FITS else "; the result now hangs on the thickness"
            return (f"a/h is {figure}. Without the correction the modulus would be {cost}{more}."
                    + by_series(chi, shape, c.poisson_ratio, base))  # fmt: skip
        return (f"a/h is {figure}. If the base is rigid and the layer bonded, the modulus is "
                f"{cost}.")  # fmt: skip

    limits = (1.0, layers.USUAL_CHI) if corrected else (layers.WIDE_CONTACT, 0.15)
    return judged(figures, rule, lambda c: c.contact_radius / c.thickness,
                  lambda v: codes_below(v, *limits), words)  # fmt: skip


def by_series(chi: float, shape: str | None, poisson_ratio: float, base: str) -> str:
    """What the published series would say instead of the exact solution; "" where there is none."""
    if shape is None or not 0.0 <= chi <= layers.LARGEST_CHI:
        return ""
    found = []
    for form, label in layer_series.FORMS.items():
        if form == "expansion":  # not published: derived from the exact solution
            continue
        ratio = float(layer_series.layer_series(form, chi, shape, poisson_ratio, base))
        if math.isfinite(ratio):
            found.append(f"{in_percent(ratio - 1.0)} ({label})")
    return f" By the published series it would be {', '.join(found)}." if found else ""


def _chi(c: Contacts, shape: str | None) -> Array:
    if shape == "cone":
        size = layer_shapes.layer_size(c.law, c.half_angle)
        return c.depth * math.tan(math.radians(size)) / c.thickness
    return c.contact_radius / c.thickness
