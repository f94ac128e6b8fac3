"""The constants in use: as recorded in the map, or as set by the user; and what is missing."""

from __future__ import annotations

import math
from dataclasses import dataclass

from ..forcemap import Constant, ForceMap
from ..mapparts import Recorded
from ..models import law_of
from ..settings import CONTACTS, GIVEN, Settings
from .shape import Shape, shape_of

RECORDED, SET, ABSENT = "recorded", "set here", "missing"


@dataclass(frozen=True)
class InUse:
    """One constant as the analysis uses it; `value` NaN if it is missing."""

    name: str
    label: str
    value: float
    error: float
    unit: str
    origin: str
    method: str = ""


@dataclass(frozen=True)
class Constants:
    """All constants an analysis uses, and how the raw signal becomes a deflection in nm.

    `sizes` and `shape` are the tip's; `tip_compliance` is (1-ν²)/E of an elastic one [1/GPa].

    `scale` is (z scale, z shift, d scale, d shift), value = raw * scale + shift; `lengths` is False
    if the signal can't be turned into nm, and `scale` then leaves it in its own unit.
    """

    spring_constant: InUse
    deflection_sensitivity: InUse
    sizes: tuple[InUse, ...]
    shape: Shape
    poisson_ratio: float
    set_force: float
    scale: tuple[float, float, float, float]
    lengths: bool
    tip_compliance: float = 0.0

    @property
    def factor(self) -> float:
        """g in F = E* g δⁿ q; NaN if the tip is not known."""
        return self.shape.factor

    @property
    def radius(self) -> float:
        """Tip radius [nm]; NaN if the law has none."""
        return next((size.value for size in self.sizes if size.name == "radius"), math.nan)

    @property
    def force_scale(self) -> float:
        """Spring constant for turning nm into nN; NaN if it is missing."""
        return self.spring_constant.value


def _use(name: str, label: str, unit: str, chosen: float | None, recorded: Constant | None
         ) -> InUse:  # fmt: skip
    if chosen is not None:
        error = recorded.error if recorded and recorded.value == chosen else math.nan
        return InUse(name, label, chosen, error, unit, SET)
    if recorded is not None:
        return InUse(name, label, recorded.value, recorded.error, unit, RECORDED, recorded.method)
    return InUse(name, label, math.nan, math.nan, unit, ABSENT)


def _size(name: str, settings: Settings, was: Recorded) -> InUse:
    """One size of the tip as the analysis uses it."""
    if name == "radius":
        return _use("radius", "Tip radius", "nm", settings.tip.radius, was.radius)
    if name == "half_angle":
        return _use("half_angle", "Half-angle", "deg", settings.tip.half_angle, was.half_angle)
    return InUse("rounding", "Rounding ends at", settings.tip.rounding, math.nan, "nm", SET)


def _rescaled(signal: str, k: InUse, s: InUse, was: Recorded) -> float:
    """What a set force that was recorded as a force has to be taken times: the instrument stops at
    a signal of the detector, and took its own constants for the force. 1 where those are not
    recorded, or where the signal itself is a force."""
    factor = 1.0
    pairs = {"V": ((k, was.spring_constant), (s, was.deflection_sensitivity)),
             "nm": ((k, was.spring_constant),)}  # fmt: skip
    for one, recorded in pairs.get(signal, ()):
        if recorded is not None and recorded.value > 0.0 and math.isfinite(one.value):
            factor *= one.value / recorded.value
    return factor


def constants(fmap: ForceMap, settings: Settings) -> Constants:
    """The constants that an analysis of this map under these settings uses."""
    was = fmap.recorded
    k = _use("spring_constant", "Spring constant", "N/m", settings.calibration.spring_constant,
             was.spring_constant)  # fmt: skip
    s = _use("deflection_sensitivity", "Deflection sensitivity", "nm/V",
             settings.calibration.deflection_sensitivity, was.deflection_sensitivity)  # fmt: skip
    law = law_of(settings.fit.law)
    sizes = tuple(_size(name, settings, was) for name in law.sizes)
    per_unit = {"V": s.value, "nm": 1.0, "nN": 1.0 / k.value}[fmap.signal_unit]
    lengths = math.isfinite(per_unit)
    d = per_unit if lengths else 1.0
    scale = (fmap.z_scale, fmap.z_shift, fmap.signal_scale * d, fmap.signal_shift * d)
    force = {"V": s.value * k.value, "nN": _rescaled(fmap.signal_unit, k, s, was), "nm": k.value}
    set_force = was.set_point.value * force[was.set_point.unit] if was.set_point else math.nan
    if not set_force > 0.0:  # nothing to compare a peak force with
        set_force = math.nan
    shape = shape_of(fmap, settings, tuple(size.value for size in sizes))
    tip = settings.tip
    compliance = (1.0 - tip.poisson_ratio**2) / tip.modulus if tip.material == "elastic" else 0.0
    return Constants(k, s, sizes, shape, settings.sample.poisson_ratio, set_force, scale, lengths,
                     compliance)  # fmt: skip


def missing(fmap: ForceMap, settings: Settings) -> list[tuple[str, str]]:
    """(settings path, sentence) of each constant that is missing and what can't be had without it.

    Empty if everything that the settings ask for can be computed.
    """
    use = constants(fmap, settings)
    found = []
    if fmap.signal_unit == "V" and math.isnan(use.deflection_sensitivity.value):
        found.append(("calibration.deflection_sensitivity",
                      "No deflection sensitivity (nm/V): only the height at peak force can be "
                      "computed; no force, stiffness, modulus, adhesion or indentation.")
                     )  # fmt: skip
    if math.isnan(use.spring_constant.value):
        lost = "no force, stiffness, modulus, adhesion, work or dissipation can be computed"
        if fmap.signal_unit == "nN":
            lost = "only the height at peak force can be computed"
        found.append(("calibration.spring_constant", f"No spring constant (N/m): {lost}."))
    found += [
        (f"tip.{size.name}", f"No {size.label.lower()} ({size.unit}): no modulus can be computed; "
         "stiffness, adhesion and indentation can.")
        for size in use.sizes if math.isnan(size.value)
    ]  # fmt: skip
    if use.shape.fault:
        where = "layer.base" if settings.layer.base != "none" else "tip.radius"
        found.append((where, f"No modulus can be computed so: {use.shape.fault}"))
    if settings.viscous.model != "none" and fmap.sampling_rate is None:
        found.append(("viscous.model",
                      "No sampling rate (Hz) is recorded: no relaxation can be fitted; loss "
                      "fraction and works can be computed."))  # fmt: skip
    return found


def remarks(fmap: ForceMap, settings: Settings) -> list[str]:
    """Sentences about constants that are there but do not fit each other."""
    shape, law = fmap.recorded.tip_shape, settings.fit.law
    found = []
    if shape and shape != law and not (shape == "sphere" and law == "paraboloid"):
        found.append(f"The map records a tip of the shape “{shape}”, but the contact law is the "
                     f"{law}.")  # fmt: skip
    if settings.fit.contact != "free" and settings.fit.adhesion != "two_point":
        by_hand = settings.fit.contact == GIVEN
        how = "given by hand" if by_hand else f"found by {CONTACTS[settings.fit.contact]}"
        found.append(f"The contact point is {how} and held. "
                     "What that way of finding it is known to be off by is not in the ± of the "
                     "modulus; the page “Contact point” tells it.")  # fmt: skip
    return found
