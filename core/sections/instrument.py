"""What the measurement was made with, and on: lever, tip, sample, layer."""

from __future__ import annotations

from dataclasses import dataclass

from .declare import choice, number


@dataclass(frozen=True)
class Calibration:
    """The two constants that turn a detector signal into a force."""

    spring_constant: float | None = number(
        None, "Spring constant", "N/m", 0.0, 1e4,
        "Normal stiffness of the lever. Force is this times the deflection.",
        "F = k d; Butt, Cappella & Kappl, Surf. Sci. Rep. 59 (2005) 1 (from memory)",
        open_low=True,
    )  # fmt: skip
    deflection_sensitivity: float | None = number(
        None, "Deflection sensitivity", "nm/V", 0.0, 1e6,
        "Deflection of the lever for one volt of detector signal, from a stiff reference.",
        "d = s (V - V0), common practice, no source",
        open_low=True,
    )  # fmt: skip


@dataclass(frozen=True)
class Tip:
    """The size of the tip. Its shape is chosen with the contact law."""

    radius: float | None = number(
        None, "Tip radius", "nm", 0.0, 1e6,
        "Radius of curvature at the apex; for a flat punch, the radius of its face.",
        "Hertz, J. reine angew. Math. 92 (1882) 156; Sneddon, Int. J. Eng. Sci. 3 (1965) 47",
        open_low=True,
    )  # fmt: skip
    half_angle: float | None = number(
        None, "Half-angle", "deg", 1.0, 85.0,
        "From the axis to the flank of a cone, or to the face of a pyramid.",
        "Sneddon, Int. J. Eng. Sci. 3 (1965) 47",
    )  # fmt: skip
    rounding: float = number(
        0.0, "Rounding ends at", "nm", 0.0, 1e6,
        "Distance from the axis at which the rounded end of a blunted cone meets its flank. 0: "
        "where a parabola of the tip radius is tangent to the flank (R cot α); R cos α is where a "
        "circle is. The choice is worth several per cent.",
        "Briscoe, Sebastian & Adams, J. Phys. D 27 (1994) 1156 (form from memory)",
    )  # fmt: skip
    material: str = choice(
        "rigid", "Tip itself", {"rigid": "rigid", "elastic": "elastic"},
        "An elastic tip is dented too: 1/E* = (1-ν²)/E + (1-νₜ²)/Eₜ. On polymers that is 1 to 2 %.",
        "Hertz, J. reine angew. Math. 92 (1882) 156",
    )  # fmt: skip
    modulus: float = number(
        170.0, "Tip modulus", "GPa", 0.0, 2e3, "Young modulus of the tip.",
        "silicon 130 to 188 GPa: Hopcroft, Nix & Kenny, J. MEMS 19 (2010) 229; the middle",
        open_low=True, shown_if="material=elastic",
    )  # fmt: skip
    poisson_ratio: float = number(
        0.28, "Tip Poisson ratio", "", 0.0, 0.5, "Poisson ratio of the tip.",
        "silicon, from memory", shown_if="material=elastic",
    )  # fmt: skip


@dataclass(frozen=True)
class Sample:
    """What is assumed of the sample."""

    poisson_ratio: float = number(
        0.40, "Poisson ratio (assumed)", "", 0.0, 0.5,
        "Turns the reduced modulus E* into Young's modulus E = E*(1-ν²). It is assumed, not "
        "measured: glassy polymers are near 0.35, rubbers near 0.5. One number serves all "
        "components, so compare components by E*.",
        "E = E*(1-ν²), Hertz 1882; typical values from memory of polymer handbooks",
    )  # fmt: skip


@dataclass(frozen=True)
class Layer:
    """A soft layer on a rigid base, which makes a sample look stiffer."""

    base: str = choice(
        "none", "Layer", {"none": "none (thick sample)", "bonded": "bonded to a rigid base",
                          "sliding": "sliding on a rigid base"},
        "The law is corrected for a layer of finite thickness with the exact solution of the "
        "linear problem. A thick sample needs none.",
        "exact solution made for Palpate; Dimitriadis et al., Biophys. J. 82 (2002) 2798 and "
        "Garcia & Garcia, Biophys. J. 114 (2018) 2923 beside it",
    )  # fmt: skip
    thickness: float = number(
        200.0, "Thickness", "nm", 0.0, 1e6, "Thickness of the layer, where no map of it is given.",
        open_low=True, shown_if="base=bonded|sliding",
    )  # fmt: skip
