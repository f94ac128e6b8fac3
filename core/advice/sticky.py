"""Checks of the adhesion: Tabor parameter, share of the load, JKR's own domain."""

from __future__ import annotations

import math

import numpy as np

from ..columns import retract as rt
from ..models import jkr
from ..models.tabor import DMT_BELOW, JKR_ABOVE, LAMBDA_PER_MU
from .contact import Contacts, Figures, median
from .making import Rule, judged
from .parts import Array, Check, codes_below, in_percent

LITTLE, MUCH = 0.05, 0.20
"""Pull-off over peak force below which adhesion may be neglected, and above which it may not."""
IGNORED = np.array([[2.0, 1.408], [5.0, 1.189], [20.0, 1.054], [100.0, 1.011]])
"""Peak force over pull-off, and the modulus that Hertz's law with a free contact point reads on
JKR curves over the true one (direct solution)."""
DISTANCES = (0.16, 0.4)
"""Distances of the surfaces at rest that are in use [nm] (from memory)."""
JKR_LIKE = ("jkr", "two_point")

TABOR_SOURCE = (
    "Tabor, J. Colloid Interface Sci. 58 (1977) 2 (from memory); limits 0.1 and 5 of λ: Maugis, "
    "J. Colloid Interface Sci. 150 (1992) 243. Others use the same limits for μ, a factor 1.157"
)
LOAD_SOURCE = (
    "adhesive part below about 5 % of the load: Johnson & Greenwood, J. Colloid Interface Sci. 192 "
    "(1997) 326 (from memory)"
)
DOMAIN_SOURCE = (
    "zero-load contact radius (6πw/(K R))^(1/3) below half the tip radius; Johnson, Kendall & "
    "Roberts, Proc. R. Soc. A 324 (1971) 301"
)


def share(c: Contacts) -> Array:
    """Pull-off over peak force."""
    return c.pull_off / c.load


def pull_seen(figures: Figures) -> bool:
    """Whether a pull-off stands out of the noise on most of the curves."""
    seen = figures.analysis.tables.pull[figures.curves, rt.SEEN]
    return bool(seen.size) and float(np.mean(seen == 1.0)) > 0.5


def hertz_bias(load_over_pull: float) -> float:
    """Relative error of the modulus if adhesion is neglected, JKR curves, free contact point."""
    x, y = np.log(IGNORED[:, 0]), np.log(IGNORED[:, 1] - 1.0)
    return math.exp(float(np.interp(math.log(load_over_pull), x, y)))


def _lambda_codes(figures: Figures, lam: Array) -> Array:
    """Codes of λ for the judged adhesion; where adhesion is a small part of the load, any fits."""
    adhesion = figures.contacts.adhesion
    with np.errstate(all="ignore"):
        small = np.broadcast_to(share(figures.contacts), lam.shape) < LITTLE
        if adhesion == "constant":
            code = codes_below(lam, DMT_BELOW, JKR_ABOVE)
        elif adhesion in JKR_LIKE:
            code = codes_below(-lam, -JKR_ABOVE, -DMT_BELOW)
        else:
            code = np.where(np.isnan(lam), np.nan, 0.0)
    return np.where(small & np.isfinite(code), 0.0, code)


def _limit(adhesion: str) -> str:
    if adhesion == "constant":
        return f"below {DMT_BELOW:g}"
    return f"above {JKR_ABOVE:g}" if adhesion in JKR_LIKE else "any"


def _meaning(figures: Figures, lam: float) -> str:
    """What λ means for the judged adhesion."""
    adhesion = figures.contacts.adhesion
    with np.errstate(all="ignore"):
        part = median(share(figures.contacts))
    if not pull_seen(figures):
        return "this is an upper limit, since no pull-off stands out of the noise"
    if lam < DMT_BELOW:
        where = "the attraction reaches beyond the contact, as a constant pull assumes"
    elif lam > JKR_ABOVE:
        where = "the attraction acts inside the contact alone, as JKR assumes"
    else:
        where = "this lies between a constant pull and JKR, where Maugis-Dugdale holds"
    if adhesion == "none":
        return f"{where}; a law without adhesion does not ask for it"
    if part < LITTLE:
        return (f"{where}, but adhesion is only {in_percent(part)} of the load, so any law of it "
                "will do")  # fmt: skip
    return where


def check_tabor(figures: Figures) -> Check:
    """μ at the distance of the settings, with its range over the distances in use."""
    c = figures.contacts
    rule = Rule("tabor", "Tabor parameter", "μ", "",
                _limit(c.adhesion) if _limit(c.adhesion) == "any" else f"λ {_limit(c.adhesion)}",
                TABOR_SOURCE)  # fmt: skip
    with np.errstate(all="ignore"):
        mu = median(c.tabor)
    far, near = (mu * c.distance / d for d in DISTANCES[::-1])

    def words(figure: str, _: str) -> str:
        return (f"μ is {figure} with {c.distance:g} nm between the surfaces at rest ({far:.3g} "
                f"with {DISTANCES[1]:g} nm, {near:.3g} with {DISTANCES[0]:g} nm), so λ = 1.157 μ "
                f"is {LAMBDA_PER_MU * mu:.3g}: {_meaning(figures, LAMBDA_PER_MU * mu)}."
                )  # fmt: skip

    return judged(figures, rule, lambda c: c.tabor,
                  lambda mu: _lambda_codes(figures, LAMBDA_PER_MU * mu), words, "radius"
                  )  # fmt: skip


def check_lambda(figures: Figures) -> Check:
    """Maugis's λ, by which the verdict of the Tabor parameter is found."""
    rule = Rule("lambda", "Maugis parameter", "λ", "", _limit(figures.contacts.adhesion),
                TABOR_SOURCE)  # fmt: skip

    with np.errstate(all="ignore"):
        middle = LAMBDA_PER_MU * median(figures.contacts.tabor)

    def words(figure: str, _: str) -> str:
        return f"λ is {figure}: {_meaning(figures, middle)}."

    return judged(figures, rule, lambda c: LAMBDA_PER_MU * c.tabor,
                  lambda lam: _lambda_codes(figures, lam), words, "radius")  # fmt: skip


def check_load(figures: Figures) -> Check:
    """How much of the peak force is adhesion."""
    none = figures.contacts.adhesion == "none"
    rule = Rule("adhesive_load", "Adhesion over peak force", "F_ad/F_p", "%",
                f"below {100 * LITTLE:g} %" if none else "any", LOAD_SOURCE)  # fmt: skip

    def grade(values: Array) -> Array:
        code = codes_below(values, 100.0 * LITTLE, 100.0 * MUCH)
        return code if none else np.where(np.isnan(code), np.nan, 0.0)

    def words(figure: str, verdict: str) -> str:
        with np.errstate(all="ignore"):
            part = median(share(figures.contacts))
        if not pull_seen(figures):
            return (f"No pull-off stands out of the noise; the lowest sample is {figure} of the "
                    "peak force.")  # fmt: skip
        if not none:
            return f"The pull-off is {figure} of the peak force; the law takes it into account."
        if part <= 0.0:
            return "No adhesion was measured, so a law without it is right."
        bias = hertz_bias(1.0 / part)
        more = "more than " if part > 0.5 else ""
        return (f"The pull-off is {figure} of the peak force. Neglected on a curve of JKR, it "
                f"makes the modulus {more}{in_percent(bias)} too large with a free contact point."
                )  # fmt: skip

    return judged(figures, rule, lambda c: 100.0 * share(c), grade, words)


def check_domain(figures: Figures) -> Check:
    """JKR's w/(E* R)."""
    adhesion = figures.contacts.adhesion
    rule = Rule("jkr_domain", "Work of adhesion over E* R", "w/(E*R)", "",
                f"below {jkr.DOMAIN:g}", DOMAIN_SOURCE)  # fmt: skip

    def grade(values: Array) -> Array:
        code = codes_below(values, jkr.DOMAIN, math.inf)
        if adhesion in (*JKR_LIKE, "maugis"):
            return 2.0 * code
        if adhesion == "none":
            with np.errstate(all="ignore"):
                small = np.broadcast_to(share(figures.contacts), values.shape) < LITTLE
            return np.where(small & np.isfinite(code), 0.0, code)
        return code

    def words(figure: str, verdict: str) -> str:
        with np.errstate(all="ignore"):
            ratio = (4.5 * math.pi * median(strength(figures.contacts))) ** (1.0 / 3.0)
        start = f"w/(E* R) is {figure}: by JKR the contact at zero load is {ratio:.2g} tip radii"
        if ratio <= 0.5:
            return f"{start} wide, which is narrow enough."
        return (f"{start} wide, beyond the half that theories of adhesion with small slopes hold "
                "for: the sample is too soft or too sticky for this tip.")  # fmt: skip

    return judged(figures, rule, strength, grade, words, "radius")


def strength(c: Contacts) -> Array:
    """w/(E* R)."""
    return c.work / (c.reduced * c.radius)
