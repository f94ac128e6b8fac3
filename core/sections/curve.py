"""What is done with a curve: baseline, pull-off, contact law, slope, relaxation."""

from __future__ import annotations

from dataclasses import dataclass

from .declare import OURS, choice, number

SHAPES = {"paraboloid": "paraboloid", "sphere": "sphere (exact)", "cone": "cone",
          "blunted_cone": "blunted cone", "hyperboloid": "hyperboloid",
          "pyramid": "four-sided pyramid", "pyramid_solved": "four-sided pyramid (solved)",
          "punch": "flat punch", "free_exponent": "free exponent (diagnostic)"}  # fmt: skip
ADHESIONS = {"none": "none", "constant": "constant pull (DMT)", "jkr": "JKR",
             "maugis": "Maugis-Dugdale", "two_point": "JKR, two points"}  # fmt: skip
CONTACTS = {"free": "fitted with the law", "threshold": "threshold",
            "variance_ratio": "ratio of variances", "goodness": "goodness of fit",
            "change_point": "change point"}  # fmt: skip
GIVEN = "given"
"""A contact point that a person set; for single curves, where a look at the curve knows better."""
_BY = {"fraction": "share of peak force", "force": "force", "indentation": "indentation"}


@dataclass(frozen=True)
class Baseline:
    """The free part of a curve: where nothing touches."""

    shape: str = choice(
        "line", "Shape", {"offset": "offset only", "line": "offset and slope"},
        "What is fitted to the free part of the approach and taken off the whole curve.",
    )  # fmt: skip
    extent: float = number(
        50.0, "Use of the free part", "%", 5.0, 100.0,
        "How much of the free part is used, counted from its end nearest to contact. Less follows "
        "a curved baseline better; more averages noise better.",
        OURS,
    )  # fmt: skip
    threshold: float = number(
        5.0, "Leaves the baseline at", "noise", 3.0, 20.0,
        "The free part ends where the smoothed deflection leaves the baseline by this many times "
        "its noise.",
        OURS,
    )  # fmt: skip
    fringes: str = choice(
        "leave", "Optical fringes", {"leave": "leave", "subtract": "fit and subtract"},
        "A wave of light reflected from the sample. It is fitted together with the line, and only "
        "where the free part is at least half a period long; all of the free part is used then.",
        "common practice, no source",
    )  # fmt: skip
    period: float = number(
        0.0, "Period of the fringes", "nm", 0.0, 1e5,
        "About half the wavelength of the light. 0 finds it from the curves of the map. Fringes "
        "that are left are looked for too, and doubted where they are high.",
        "Λ ≈ λ/2 near normal incidence, common practice, no source",
    )  # fmt: skip
    branches: str = choice(
        "separate", "The two branches",
        {"separate": "a line for each", "drag": "one slope, two offsets (drag)",
         "drift": "one line, and drift in time"},
        "A line for each branch takes out drag and drift without telling them apart. One slope "
        "with two offsets tells the drag; one line with a drift in time tells the drift.",
        OURS,
    )  # fmt: skip


@dataclass(frozen=True)
class Adhesion:
    """The pull on the way back."""

    samples: int = number(
        1, "Read off", "samples", 1, 50,
        "With more than two, the largest pull is read off a straight line through that many "
        "samples on the contact side, which averages the noise where the curve is straight. 1 "
        "takes the lowest sample as it is.",
        OURS,
    )  # fmt: skip


@dataclass(frozen=True)
class Fit:
    """The contact law and the part of the curve it is fitted to."""

    law: str = choice(
        "paraboloid", "Contact law", SHAPES,
        "The shape of the tip that the law assumes: F = C (indentation)^n with n = 3/2 for the "
        "paraboloid, 2 for cone and pyramid, 1 for the punch.",
        "Hertz 1882; Sneddon 1965; Bilodeau, J. Appl. Mech. 59 (1992) 519 (from memory)",
    )  # fmt: skip
    adhesion: str = choice(
        "constant", "Adhesion", ADHESIONS,
        "A constant pull shifts the law down by the pull-off force; it suits stiff samples and "
        "small tips. JKR suits soft samples and large tips, Maugis-Dugdale all between; both are "
        "for a paraboloid. JKR from two points uses the retract's zero and its minimum only.",
        "Derjaguin, Muller & Toporov, J. Colloid Interface Sci. 53 (1975) 314; Johnson, Kendall & "
        "Roberts, Proc. R. Soc. A 324 (1971) 301; Maugis, J. Colloid Interface Sci. 150 (1992) 243",
    )  # fmt: skip
    pull_off: str = choice(
        "measured", "Pull-off force", {"measured": "as measured", "fitted": "fitted"},
        "As measured on the retract, or a third parameter of the fit. A fitted one needs a window "
        "that reaches below zero force.", OURS, shown_if="adhesion=constant|jkr|maugis",
    )  # fmt: skip
    distance: float = number(
        0.2, "Distance at rest", "nm", 0.05, 5.0,
        "Distance of the surfaces at rest; with the work of adhesion it sets the strength of the "
        "attraction. 0.16 to 0.4 nm are in use.",
        "Maugis, J. Colloid Interface Sci. 150 (1992) 243; range from memory",
        shown_if="adhesion=maugis",
    )  # fmt: skip
    contact: str = choice(
        "free", "Contact point", {**CONTACTS, GIVEN: "given by hand"},
        "Fitted with the law by default. The others find it first and hold it; each has a bias "
        "that its help names. Given by hand is meant for single curves: drag the contact point of "
        "a pixel that you correct.", OURS,
    )  # fmt: skip
    contact_at: float = number(
        0.0, "Contact point at", "nm", -1e7, 1e7,
        "Base position of the contact point, held; its ± is taken as one sampling step.", OURS,
        shown_if="contact=given",
    )  # fmt: skip
    branch: str = choice(
        "approach", "Branch", {"approach": "approach", "retract": "retract"},
        "The branch the law is fitted to.",
    )  # fmt: skip
    window: str = choice(
        "fraction", "Window given by", _BY,
        "How the ends of the fit window are given.",
    )  # fmt: skip
    fraction_from: float = number(
        10.0, "From", "%", -100.0, 99.0, "Lower end of the fit window, share of the peak force.",
        OURS, shown_if="window=fraction",
    )  # fmt: skip
    fraction_to: float = number(
        95.0, "To", "%", 1.0, 100.0, "Upper end of the fit window, share of the peak force.",
        OURS, shown_if="window=fraction",
    )  # fmt: skip
    force_from: float = number(
        1.0, "From", "nN", -1e6, 1e6, "Lower end of the fit window.", OURS,
        shown_if="window=force",
    )  # fmt: skip
    force_to: float = number(
        20.0, "To", "nN", -1e6, 1e6, "Upper end of the fit window.", OURS,
        shown_if="window=force",
    )  # fmt: skip
    indentation_from: float = number(
        0.5, "From", "nm", 0.0, 1e6, "Lower end of the fit window.", OURS,
        shown_if="window=indentation",
    )  # fmt: skip
    indentation_to: float = number(
        5.0, "To", "nm", 0.0, 1e6, "Upper end of the fit window.", OURS,
        shown_if="window=indentation",
    )  # fmt: skip


@dataclass(frozen=True)
class Stiffness:
    """The slope in contact, without any contact law."""

    branch: str = choice(
        "retract", "Branch", {"approach": "approach", "retract": "retract"},
        "The branch whose slope is taken.",
    )  # fmt: skip
    share_from: float = number(
        60.0, "From", "%", 0.0, 99.0, "Lower end, share of the peak force.", OURS,
    )  # fmt: skip
    share_to: float = number(
        95.0, "To", "%", 1.0, 100.0, "Upper end, share of the peak force.", OURS,
    )  # fmt: skip


@dataclass(frozen=True)
class Viscous:
    """A linear viscoelastic law fitted to approach and retract together."""

    model: str = choice(
        "none", "Time", {"none": "not fitted", "power_law": "power-law solid",
                         "standard_solid": "standard linear solid"},
        "Fits how the sample relaxes while it is loaded and unloaded; needs the sampling rate.",
        "Lee & Radok, J. Appl. Mech. 27 (1960) 438; Ting, J. Appl. Mech. 33 (1966) 845 "
        "(both from memory)",
    )  # fmt: skip
