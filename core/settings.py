"""What a person may choose, declared once.

One frozen dataclass per stage; each field carries its default, unit, range, help and source, and
the window's forms, the command line's messages and the saved files are all made from that.
`Settings` holds one of each. A change makes a new `Settings`; equality decides what runs again.
"""

from __future__ import annotations

import json
import math
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import Field, asdict, dataclass, field, fields, replace
from pathlib import Path
from typing import Any

from .errors import SettingsError

VERSION = 1
PRACTICE = "common practice, no source"
OURS = "chosen for Palpate; see DEVELOPERS.md"


def number(
    default: float | None, label: str, unit: str, low: float, high: float, text: str,
    source: str = PRACTICE, *, open_low: bool = False, shown_if: str = "",
) -> Any:  # fmt: skip
    """Declare a number. `default` None means "as recorded in the map"."""
    return field(
        default=default,
        metadata=dict(kind="number", label=label, unit=unit, low=low, high=high, help=text,
                      source=source, open_low=open_low, shown_if=shown_if),
    )  # fmt: skip


def choice(
    default: str | None, label: str, options: Mapping[str, str], text: str,
    source: str = PRACTICE, *, shown_if: str = "",
) -> Any:  # fmt: skip
    """Declare a choice among named options (name -> words shown)."""
    return field(
        default=default,
        metadata=dict(kind="choice", label=label, unit="", options=dict(options), help=text,
                      source=source, shown_if=shown_if),
    )  # fmt: skip


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


SHAPES = {"paraboloid": "paraboloid", "sphere": "sphere (exact)", "cone": "cone",
          "blunted_cone": "blunted cone", "hyperboloid": "hyperboloid",
          "pyramid": "four-sided pyramid", "pyramid_solved": "four-sided pyramid (solved)",
          "punch": "flat punch", "free_exponent": "free exponent (diagnostic)"}  # fmt: skip
ADHESIONS = {"none": "none", "constant": "constant pull (DMT)", "jkr": "JKR",
             "maugis": "Maugis-Dugdale", "two_point": "JKR, two points"}  # fmt: skip
CONTACTS = {"free": "fitted with the law", "threshold": "threshold",
            "variance_ratio": "ratio of variances", "goodness": "goodness of fit",
            "change_point": "change point"}  # fmt: skip


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
        "About half the wavelength of the light. 0 finds it from the curves of the map if fringes "
        "are subtracted; if they are left, a period given here is looked for and doubted.",
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


_BY = {"fraction": "share of peak force", "force": "force", "indentation": "indentation"}


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
        "free", "Contact point", CONTACTS,
        "Fitted with the law by default. The others find it first and hold it; each has a bias "
        "that its help names.", OURS,
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
        "A peak force further than this from the map's set force is doubted.", OURS,
    )  # fmt: skip
    worst_fringe: float = number(
        3.0, "Fringes", "noise", 0.1, 1000.0,
        "A wave of the given period that is left in the baseline and is this many times its noise "
        "high is doubted.", OURS,
    )  # fmt: skip
    worst_drag: float = number(
        20.0, "Offset of the branches", "%", 0.1, 1e4,
        "Baselines of approach and retract that lie this far apart, in per cent of the adhesion, "
        "are doubted.", OURS,
    )  # fmt: skip


@dataclass(frozen=True)
class Settings:
    """Everything chosen for an analysis: one frozen section per stage.

    ``Settings()`` is the default; ``settings.with_value("fit.law", "cone")`` makes a changed one;
    ``to_toml`` and ``to_json`` give the text of a settings file, ``load`` reads one.
    """

    calibration: Calibration = field(default_factory=Calibration)
    tip: Tip = field(default_factory=Tip)
    sample: Sample = field(default_factory=Sample)
    layer: Layer = field(default_factory=Layer)
    baseline: Baseline = field(default_factory=Baseline)
    adhesion: Adhesion = field(default_factory=Adhesion)
    fit: Fit = field(default_factory=Fit)
    stiffness: Stiffness = field(default_factory=Stiffness)
    viscous: Viscous = field(default_factory=Viscous)
    uncertainty: Uncertainty = field(default_factory=Uncertainty)
    doubts: Doubts = field(default_factory=Doubts)

    def __post_init__(self) -> None:
        for path, spec in declarations():
            check_value(path, spec, self.value(path))
        self._check_order("fit.fraction_from", "fit.fraction_to")
        self._check_order("fit.force_from", "fit.force_to")
        self._check_order("fit.indentation_from", "fit.indentation_to")
        self._check_order("stiffness.share_from", "stiffness.share_to")
        self._check_adhesion()

    def _check_adhesion(self) -> None:
        """JKR and its kin are known for a paraboloid on a thick sample only."""
        if self.fit.adhesion not in ("jkr", "maugis", "two_point"):
            return
        if self.fit.law != "paraboloid":
            raise SettingsError("fit.adhesion", "is known for the paraboloid only: choose that "
                                "contact law, or a constant pull.")  # fmt: skip
        if self.layer.base != "none":
            raise SettingsError("fit.adhesion", "is known for a thick sample only: choose a "
                                "constant pull with a layer.")  # fmt: skip

    def _check_order(self, low: str, high: str) -> None:
        if not self.value(low) < self.value(high):
            raise SettingsError(low, f"must be below {high} ({self.value(high):g}).")

    def value(self, path: str) -> Any:
        """The value at ``section.field``."""
        section, name = split(path)
        return getattr(getattr(self, section), name)

    def with_value(self, path: str, value: Any) -> Settings:
        """A new Settings with one field changed. Raises SettingsError on an impossible value."""
        return self.with_values({path: value})

    def with_values(self, values: Mapping[str, Any]) -> Settings:
        """A new Settings with several fields changed at once (checked together)."""
        changed: dict[str, dict[str, Any]] = {}
        for path, value in values.items():
            section, name = split(path)
            spec = declaration(path)
            changed.setdefault(section, {})[name] = as_declared(path, spec, value)
        sections = {s: replace(getattr(self, s), **kw) for s, kw in changed.items()}
        return replace(self, **sections)

    def changed(self) -> dict[str, Any]:
        """The fields that differ from their defaults, ``section.field`` -> value."""
        default = Settings()
        return {
            path: self.value(path)
            for path, _ in declarations()
            if self.value(path) != default.value(path)
        }

    def as_dict(self) -> dict[str, Any]:
        """Plain nested dictionary with the version; None (as recorded) is left out."""
        out: dict[str, Any] = {"palpate_settings": VERSION}
        for section, values in asdict(self).items():
            out[section] = {k: v for k, v in values.items() if v is not None}
        return out

    def to_json(self) -> str:
        """Canonical JSON: sorted keys, no spaces; equal settings give equal text."""
        return json.dumps(self.as_dict(), sort_keys=True, separators=(",", ":"), allow_nan=False)

    def to_toml(self) -> str:
        """TOML, to be read and edited by a person."""
        import tomli_w

        return tomli_w.dumps(self.as_dict())

    @classmethod
    def from_dict(cls, data: Any) -> Settings:
        """From a nested dictionary; unknown or impossible entries raise SettingsError."""
        if not isinstance(data, Mapping):
            raise SettingsError("(whole file)", "is not a table of settings.")
        version = data.get("palpate_settings")
        if not isinstance(version, int) or isinstance(version, bool):
            raise SettingsError(
                "palpate_settings", "is missing: add the line palpate_settings = 1 at the top."
            )
        if version < 1:
            raise SettingsError("palpate_settings", f"version {version} never was; it should be 1.")
        if version > VERSION:
            raise SettingsError(
                "palpate_settings",
                f"version {version} is newer than this program reads ({VERSION}); update Palpate.",
            )
        values: dict[str, Any] = {}
        for section, table in data.items():
            if section == "palpate_settings":
                continue
            if section not in SECTIONS or not isinstance(table, Mapping):
                raise SettingsError(str(section)[:60], f"is unknown; known: {', '.join(SECTIONS)}.")
            values |= {f"{section}.{name}": value for name, value in table.items()}
        return cls().with_values(values)

    @classmethod
    def from_text(cls, text: str, kind: str) -> Settings:
        """From TOML or JSON text (`kind` is "toml" or "json")."""
        try:
            data = tomllib.loads(text) if kind == "toml" else json.loads(text)
        except (ValueError, RecursionError) as error:
            raise SettingsError("(whole file)", f"is not valid {kind.upper()}: {error}") from None
        return cls.from_dict(data)

    @classmethod
    def load(cls, path: str | Path) -> Settings:
        """From a .toml or .json file. Raises SettingsError naming the file and the field."""
        path = Path(path)
        try:
            if path.stat().st_size > 1_000_000:
                raise SettingsError("(whole file)", "is larger than a settings file can be.")
            text = path.read_text(encoding="utf-8")
            return cls.from_text(text, "json" if path.suffix.lower() == ".json" else "toml")
        except SettingsError as error:
            raise SettingsError(error.field, f"{error.what} (in {path})") from None
        except (OSError, UnicodeDecodeError) as error:
            raise SettingsError("(whole file)", f"{path} can't be read: {error}") from None


SECTIONS: dict[str, type] = {
    "calibration": Calibration, "tip": Tip, "sample": Sample, "layer": Layer,
    "baseline": Baseline, "adhesion": Adhesion, "fit": Fit, "stiffness": Stiffness,
    "viscous": Viscous, "uncertainty": Uncertainty, "doubts": Doubts,
}  # fmt: skip


def split(path: str) -> tuple[str, str]:
    """``section.field`` in two; raises SettingsError if there is no such section."""
    section, _, name = path.partition(".")
    if section not in SECTIONS:
        raise SettingsError(path[:80], f"is unknown; known sections: {', '.join(SECTIONS)}.")
    return section, name


def declarations() -> Iterator[tuple[str, Field[Any]]]:
    """Every field as (``section.field``, declaration), in the order of the forms."""
    for section, cls in SECTIONS.items():
        for spec in fields(cls):
            yield f"{section}.{spec.name}", spec


def declaration(path: str) -> Field[Any]:
    """The declaration of one field; its ``metadata`` has kind, label, unit, low, high, options,
    help, source, shown_if."""
    section, name = split(path)
    for spec in fields(SECTIONS[section]):
        if spec.name == name:
            return spec
    known = ", ".join(f.name for f in fields(SECTIONS[section]))
    raise SettingsError(path[:80], f"is unknown; known in this section: {known}.")


def range_text(spec: Field[Any]) -> str:
    """The range of a field in words, such as ``above 0 to 10000 N/m``."""
    meta = spec.metadata
    if meta["kind"] == "choice":
        return "one of " + ", ".join(meta["options"])
    above = "above " if meta["open_low"] else ""
    return f"{above}{meta['low']:g} to {meta['high']:g} {meta['unit']}".strip()


def as_declared(path: str, spec: Field[Any], value: Any) -> Any:
    """The value in the declared type; raises SettingsError if it can't be."""
    check_value(path, spec, value)
    if spec.metadata["kind"] == "number" and value is not None:
        return int(value) if isinstance(spec.default, int) else float(value)
    return value


def check_value(path: str, spec: Field[Any], value: Any) -> None:
    """Raise SettingsError with name and range unless the value is possible."""
    meta = spec.metadata
    if value is None and spec.default is None:
        return
    if meta["kind"] == "choice":
        if value not in meta["options"]:
            raise SettingsError(path, f"{value!r} is not possible; {range_text(spec)}.")
        return
    good = isinstance(value, (int, float)) and not isinstance(value, bool)
    good = good and abs(value) < 1e300 and math.isfinite(value)
    if good and isinstance(spec.default, int):
        good = float(value) == int(value)
    low_ok = good and (value > meta["low"] if meta["open_low"] else value >= meta["low"])
    if not (low_ok and value <= meta["high"]):
        raise SettingsError(path, f"{str(value)[:40]} is not possible; {range_text(spec)}.")
