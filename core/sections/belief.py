"""What is believed: how well the constants are known, and where a figure becomes a doubt."""

from __future__ import annotations

from dataclasses import dataclass

from .declare import OURS, PRACTICE, choice, number


@dataclass(frozen=True)
class Uncertainty:
    """How well the constants that all pixels share are known. They never enter a pixel's own ±."""

    spring_constant: float | None = number(
        None, "Spring constant ±", "%", 0.0, 100.0,
        "Standard uncertainty. Empty: as recorded in the map, or 10 % where nothing is recorded.",
        "5 to 10 %: ISO 11775:2015, scope; 10 to 20 % for a nominal value, from memory",
    )  # fmt: skip
    sensitivity: float | None = number(
        None, "Deflection sensitivity ±", "%", 0.0, 100.0,
        "Standard uncertainty. Empty: as recorded in the map, or 4 % where nothing is recorded.",
        "3 to 5 %, from memory",
    )  # fmt: skip
    spring_from: str = choice(
        "independent", "Spring constant found",
        {"independent": "without the sensitivity", "thermal": "from thermal noise"},
        "A spring constant from thermal noise goes with the inverse square of the sensitivity, so "
        "that part of their errors cancels or adds.",
        "k = kT/<q²>; Hutter & Bechhoefer, Rev. Sci. Instrum. 64 (1993) 1868 (from memory)",
    )  # fmt: skip
    tip: float | None = number(
        None, "Tip radius or angle ±", "%", 0.0, 100.0,
        "Standard uncertainty. Empty: as recorded in the map, or 20 % of a radius and 4 % of an "
        "angle where nothing is recorded.",
        "radius 10 to 30 %, angle 2 to 5 %, from memory",
    )  # fmt: skip
    poisson_ratio: float = number(
        0.05, "Poisson ratio ±", "", 0.0, 0.25, "Standard uncertainty.", "0.05, from memory",
    )  # fmt: skip
    thickness: float = number(
        10.0, "Layer thickness ±", "%", 0.0, 100.0, "Standard uncertainty; used with a layer.",
        OURS,
    )  # fmt: skip
    temperature: float = number(
        0.3, "Temperature ±", "%", 0.0, 10.0,
        "Standard uncertainty of the absolute temperature; it moves a spring constant from thermal "
        "noise.", "0.3 %, from memory", shown_if="spring_from=thermal",
    )  # fmt: skip


@dataclass(frozen=True)
class Doubts:
    """Where a measured figure becomes a doubt."""

    least_samples: int = number(
        10, "Fewest samples in the window", "samples", 4, 1000,
        "A fit to fewer samples is doubted.",
        "fewer than 10 samples in contact are too few; common practice, no source",
    )  # fmt: skip
    shortest_baseline: float = number(
        20.0, "Shortest baseline", "nm", 0.0, 1e6,
        "With a shorter free part, before contact or after pull-off, the travel was too short.",
        PRACTICE,
    )  # fmt: skip
    worst_residual: float = number(
        3.0, "Residual", "noise", 1.1, 100.0,
        "A fit whose residuals exceed the baseline noise by this factor is doubted.", OURS,
    )  # fmt: skip
    worst_noise: float = number(
        4.0, "Noise", "× median", 1.1, 100.0,
        "A curve noisier than the map's median by this factor is doubted.", OURS,
    )  # fmt: skip
    spike: float = number(
        8.0, "Spike", "noise", 4.0, 1000.0,
        "A single sample that stands out of its neighbours by this many times the noise.", OURS,
    )  # fmt: skip
    worst_set_force: float = number(
        10.0, "Set force missed by", "%", 0.1, 100.0,
        "A peak force further below or above the map's set force is doubted.", OURS,
    )  # fmt: skip
    worst_fringe: float = number(
        3.0, "Fringes", "noise", 0.1, 1000.0,
        "A wave that is left in the baseline and is this many times its noise high is doubted.",
        OURS,
    )  # fmt: skip
    worst_drag: float = number(
        20.0, "Offset of the branches", "%", 0.1, 1e4,
        "Baselines of approach and retract that lie this far apart, in per cent of the adhesion, "
        "are doubted.", OURS,
    )  # fmt: skip
    worst_modulus: float = number(
        30.0, "± of the modulus", "%", 0.1, 50.0,
        "A modulus that its own curve tells no better than this (standard uncertainty, local terms "
        "only) is doubted; above 50 % it is not to be used.", OURS,
    )  # fmt: skip
    worst_likeness: float = number(
        1.3, "Noise correlated", "× white", 1.05, 10.0,
        "Noise from samples a little apart over that from neighbours, beyond chance: white noise "
        "gives 1, a correlation of 0.4 gives 1.3.",
        "differences of samples tell filtered noise; common practice, no source",
    )  # fmt: skip
    worst_wave: float = number(
        3.0, "Baseline not straight", "noise", 1.1, 100.0,
        "Spread of the free part about a line, over the noise from neighbouring samples.", OURS,
    )  # fmt: skip
    worst_tilt: float = number(
        100.0, "Tilt of the baseline", "%", 1.0, 1e4,
        "Change of the baseline over the travel, in per cent of the adhesion.", OURS,
    )  # fmt: skip
    worst_contact: float = number(
        25.0, "± of the contact point", "%", 1.0, 100.0,
        "In per cent of the indentation; a sphere's modulus goes with twice of it.", OURS,
    )  # fmt: skip
    worst_structure: float = number(
        6.0, "Structure in the residuals", "σ", 3.0, 1000.0,
        "How sure it is that residuals are more than noise: by their size and by the correlation "
        "of neighbours, in standard errors.", OURS,
    )  # fmt: skip
    softest_lever: float = number(
        15.0, "Lever too soft", "d/δ", 1.0, 1000.0,
        "Deflection over indentation at the peak. 0.3 to 3 is good, 5 strained; at 15 an error of "
        "4 % of the deflection sensitivity is 90 % of a sphere's modulus.",
        "a share 1 + n d/δ of that error is the modulus's; limit chosen for Palpate",
    )  # fmt: skip
    weakest_peak: float = number(
        20.0, "Lever too stiff", "noise", 5.0, 1000.0,
        "A peak deflection of fewer noises is doubted.", OURS,
    )  # fmt: skip
    second_pull: float = number(
        20.0, "Second pull", "%", 1.0, 100.0,
        "How far a second well on the retract stands out, in per cent of the largest pull.", OURS,
    )  # fmt: skip
    longest_neck: float = number(
        0.6, "Slow release", "×", 0.1, 100.0,
        "Way over which the pull falls to a quarter, over the way from zero force to the lowest "
        "point. An elastic contact has 0 to 0.4.", OURS,
    )  # fmt: skip
    worst_hysteresis: float = number(
        20.0, "Branches apart", "%", 1.0, 1000.0,
        "Distance of the branches in contact at equal force, in per cent of the indentation.",
        OURS,
    )  # fmt: skip
    worst_fall: float = number(
        30.0, "Slope falls towards the peak", "%", 5.0, 100.0,
        "By how much the slope of the uppermost quarter is below that of the half under it.",
        OURS,
    )  # fmt: skip
    steepest: float = number(
        25.0, "Steepest surface", "°", 1.0, 89.0,
        "A pixel on a steeper slope is doubted.",
        "20 to 30 degrees; common practice, no source",
    )  # fmt: skip
    worst_neighbour: float = number(
        6.0, "Unlike its neighbours", "usual differences", 2.0, 1000.0,
        "A pixel of which fewer than two of the 24 around are alike, and that lies outside what "
        "they show, by this many times what neighbours usually differ by.", OURS,
    )  # fmt: skip
    least_step: float = number(
        5.0, "Step between lines", "%", 1.0, 100.0,
        "A step of modulus or pull-off from one scan line to the next that all components share, "
        "and that is larger than this, is a doubt about the map: the tip has changed.", OURS,
    )  # fmt: skip
    worst_sensitivity: float = number(
        25.0, "Modulus off by the sensitivity", "%", 1.0, 1000.0,
        "A deflection sensitivity that the curves find wrong, and that moves the modulus of the "
        "stiffest trusted ones by more than this, is a doubt about the map.",
        "a share 1 + n d/δ of that error is the modulus's; limit chosen for Palpate",
    )  # fmt: skip
    worst_trend: float = number(
        20.0, "Trend along the scan", "%", 1.0, 1000.0,
        "Noise, pull-off or modulus that drifts over the map by more than this, beyond what chance "
        "does, is a doubt about the map.", OURS,
    )  # fmt: skip
    worst_height_drift: float = number(
        0.2, "Drift of z", "nm per line", 0.0, 1e4,
        "A height that drifts by more than this from line to line is a doubt about the map.", OURS,
    )  # fmt: skip
    worst_height_step: float = number(
        2.0, "Height jumps by", "nm", 0.0, 1e6,
        "A jump of the height from one line to the next that the whole line shares, and that is "
        "larger than this, is a doubt about the map.", OURS,
    )  # fmt: skip
    worst_share: float = number(
        10.0, "Curves severely doubted", "%", 0.1, 100.0,
        "A map of which more curves than this carry a severe doubt is told with the leading cause "
        "and what mends it.", OURS,
    )  # fmt: skip
