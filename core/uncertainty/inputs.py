"""The constants that all pixels share, and how well each is known.

An error is taken from the settings, where it is set; else from the map, where it is recorded; else
it is a typical value (the one that the setting's help names), and its origin then says "assumed".

A spring constant from thermal noise is k = κ T/s², κ holding the spectrum and the lever's shape.
Its stated uncertainty holds what comes from the sensitivity and the temperature:
u²(k) = u²(κ) + u²(T) + 4 u²(s), all relative. So κ gets what is left, and the sensitivity's
coefficient falls by 2. A stated u(k) below 2 u(s) can't hold the sensitivity's part: then it is
read as κ's own, and u(k) is larger than stated. The note of the term says which.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from ..analysis import Analysis
from ..calibration import SET, InUse
from ..calibration.typical import ASSUMED, relative_error
from ..settings import Settings, Uncertainty

CHOSEN = SET
TIP_MODULUS = (188.0 - 130.0) / 2.0 / math.sqrt(3.0) / 170.0
"""Relative: silicon is 130 to 188 GPa by direction (Hopcroft, Nix & Kenny, J. MEMS 19 (2010) 229),
any of which is as likely (JCGM 100, 4.3.7)."""
MODULI = ("modulus", "reduced_modulus")
QUANTITIES = (*MODULI, "stiffness", "adhesion")
"""Channels that a budget can be made of."""


@dataclass(frozen=True)
class Input:
    """One common input: `relative` is the standard uncertainty of ln x; for the Poisson ratio,
    which may be 0, `error` counts. `low`, `high`: what it can't pass."""

    name: str
    label: str
    value: float
    error: float
    unit: str
    relative: float
    origin: str
    note: str = ""
    low: float = -math.inf
    high: float = math.inf


Link = tuple[str, str, float]


def common_inputs(analysis: Analysis, quantity: str) -> tuple[tuple[Input, ...], tuple[Link, ...]]:
    """The inputs that matter to a quantity, and the correlations of the stated constants."""
    settings = analysis.settings
    k, s = _spring(analysis), _sensitivity(analysis)
    found: list[Input] = [k, s]
    links: tuple[Link, ...] = ()
    if settings.uncertainty.spring_from == "thermal":
        temperature = _temperature(analysis)
        own, links = split_spring(k, s, temperature)
        found = [own, s, temperature]
    if quantity in MODULI:
        found += [_size(size, settings) for size in analysis.constants.sizes
                  if size.name != "rounding" or size.value > 0.0]  # fmt: skip
        if settings.layer.base != "none":
            found.append(_thickness(analysis))
    if quantity == "modulus" or (quantity in MODULI and settings.layer.base != "none"):
        found.append(_poisson(settings))
    if quantity == "modulus" and settings.tip.material == "elastic":
        found.append(_tip_modulus(settings))
    return tuple(found), links


def split_spring(k: Input, s: Input, temperature: Input) -> tuple[Input, tuple[Link, ...]]:
    """The part of a thermal spring constant's uncertainty that is its own, and how the whole is
    correlated with the sensitivity and the temperature."""
    linked = math.hypot(2.0 * s.relative, temperature.relative)
    if k.relative >= linked:
        own, total = math.sqrt(k.relative**2 - linked**2), k.relative
        note = (f"k = κT/s²: of the stated {100 * total:.2g} % this is what κ has of its own; the "
                "rest stands with the sensitivity and the temperature.")  # fmt: skip
    else:
        own, total = k.relative, math.hypot(k.relative, linked)
        note = (f"k = κT/s²: the stated {100 * own:.2g} % is less than the sensitivity alone gives "
                f"({100 * linked:.2g} %), so it is read as κ's own; k is then known to "
                f"{100 * total:.2g} %.")  # fmt: skip
    links: tuple[Link, ...] = ()
    if total > 0.0:
        links = ((k.name, s.name, -2.0 * s.relative / total),
                 (k.name, temperature.name, temperature.relative / total))  # fmt: skip
    return replace(k, error=own * k.value, relative=own, note=note), links


def _constant(use: InUse, chosen: float | None, note: str = "", high: float = math.inf) -> Input:
    relative, origin = relative_error(use.name, use.value, use.error, chosen)
    return Input(use.name, use.label, use.value, relative * use.value, use.unit, relative, origin,
                 note, 0.0, high)  # fmt: skip


def _spring(analysis: Analysis) -> Input:
    use, chosen = analysis.constants.spring_constant, analysis.settings.uncertainty
    note = ""
    if "thermal" in use.method.lower() and chosen.spring_from == "independent":
        note = (f"The map records it as found by “{use.method}”, so its error is tied to the "
                "sensitivity's; it is taken as independent, as the settings say.")  # fmt: skip
    return _constant(use, chosen.spring_constant, note)


def _sensitivity(analysis: Analysis) -> Input:
    use, chosen = (analysis.constants.deflection_sensitivity,
                   analysis.settings.uncertainty.sensitivity)  # fmt: skip
    if analysis.map.signal_unit == "V":
        return _constant(use, chosen)
    relative, origin = relative_error(use.name, use.value, use.error, chosen)
    what = "deflection" if analysis.map.signal_unit == "nm" else "force"
    note = (f"The map holds a {what}; the sensitivity that it was made with scales the deflection. "
            "1 stands for the map as it is.")  # fmt: skip
    return Input(use.name, use.label, 1.0, relative, "", relative, origin, note, 0.0)


def _size(size: InUse, settings: Settings) -> Input:
    high = 89.9 if size.unit == "deg" else math.inf
    return _constant(size, settings.uncertainty.tip, high=high)


def _percentage(name: str, label: str, value: float, unit: str, settings: Settings, note: str
                ) -> Input:  # fmt: skip
    given = float(getattr(settings.uncertainty, name))
    origin = ASSUMED if given == getattr(Uncertainty(), name) else CHOSEN
    return Input(name, label, value, given / 100.0 * value, unit, given / 100.0, origin, note, 0.0)


def _temperature(analysis: Analysis) -> Input:
    recorded = analysis.map.recorded.temperature
    known = recorded is not None and recorded.value > 0.0
    value = recorded.value if recorded is not None and known else 295.0
    note = "Moves a spring constant from thermal noise." + (
        "" if known else " Not recorded: 295 K stands for it; only the relative error counts.")
    return _percentage("temperature", "Temperature", value, "K", analysis.settings, note)


def _thickness(analysis: Analysis) -> Input:
    note = "" if analysis.map.thickness is None else (
        "From the map of thicknesses: one common factor on all of it.")
    value = analysis.settings.layer.thickness
    if analysis.map.thickness is not None:
        value = 1.0
    unit = "nm" if analysis.map.thickness is None else ""
    return _percentage("thickness", "Layer thickness", value, unit, analysis.settings, note)


def _poisson(settings: Settings) -> Input:
    value, error = settings.sample.poisson_ratio, settings.uncertainty.poisson_ratio
    origin = ASSUMED if error == Uncertainty().poisson_ratio else CHOSEN
    relative = error / value if value > 0.0 else math.nan
    return Input("poisson_ratio", "Poisson ratio", value, error, "", relative, origin,
                 "Assumed for the sample; drawn between 0 and 0.5.", 0.0, 0.5)  # fmt: skip


def _tip_modulus(settings: Settings) -> Input:
    value = settings.tip.modulus
    return Input("tip_modulus", "Tip modulus", value, TIP_MODULUS * value, "GPa", TIP_MODULUS,
                 ASSUMED, "130 to 188 GPa for silicon, any as likely; the same share elsewhere.",
                 0.0)  # fmt: skip

