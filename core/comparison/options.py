"""Which laws can be compared on a map, and why others can't."""

from __future__ import annotations

import math
from dataclasses import dataclass

from ..calibration import constants
from ..errors import InputError
from ..forcemap import ForceMap
from ..models import LAWS
from ..settings import ADHESIONS, SHAPES, Settings


@dataclass(frozen=True)
class Option:
    """A law and an adhesion, by their names in the settings, with words for both."""

    law: str
    adhesion: str
    label: str


def option_of(law: str, adhesion: str) -> Option:
    """The option with its label."""
    shape = SHAPES.get(law, law)
    words = {"none": "no adhesion"}.get(adhesion, ADHESIONS.get(adhesion, adhesion))
    return Option(law, adhesion, f"{shape}, {words}")


def default_options(fmap: ForceMap, settings: Settings) -> list[Option]:
    """The options that a comparison takes by itself.

    Each law without adhesion and with a constant pull, JKR and Maugis-Dugdale for the paraboloid,
    and the free exponent. A law whose size is missing stands there once, to say what is missing.
    The flat punch is left out where the map records a tip of another shape, whose radius is not
    that of a face. JKR from two points is not among them: it uses other samples.
    """
    found = []
    round_tip = fmap.recorded.tip_shape not in ("", "punch") and settings.fit.law != "punch"
    sticky = "none" if settings.fit.adhesion == "none" else "constant"
    for law in LAWS:
        if law == "free_exponent" or (law == "punch" and round_tip):
            continue
        if missing_size(fmap, settings.with_value("fit.adhesion", sticky), law):
            found.append(option_of(law, sticky))
            continue
        found += [option_of(law, adhesion) for adhesion in ("none", "constant")]
        if law == "paraboloid":
            found += [option_of(law, adhesion) for adhesion in ("jkr", "maugis")]
    return [*found, option_of("free_exponent", sticky)]


def missing_size(fmap: ForceMap, settings: Settings, law: str) -> str:
    """Why a law can't be used with this tip or layer, as a sentence; empty if it can."""
    if law == "free_exponent":
        return ""
    use = constants(fmap, settings.with_value("fit.law", law))
    lost = [size.label.lower() for size in use.sizes if math.isnan(size.value)]
    if lost:
        return f"No {' and no '.join(lost)} is known."
    return use.shape.fault[:1].upper() + use.shape.fault[1:]


def settings_of(fmap: ForceMap, settings: Settings, option: Option) -> tuple[Settings | None, str]:
    """The settings of an option, or None and why it is impossible.

    A window by indentation becomes one by share of the peak force.
    """
    if option.law not in LAWS:
        return None, f"{option.law!r} is not among the contact laws."
    if option.adhesion == "two_point":
        return None, ("JKR from two points uses the retract alone, not these samples: there is "
                      "nothing to compare.")  # fmt: skip
    change = {"fit.law": option.law, "fit.adhesion": option.adhesion}
    if settings.fit.window == "indentation":
        change["fit.window"] = "fraction"
    try:
        made = settings.with_values(change)
    except InputError as error:
        return None, str(error)
    why = missing_size(fmap, made, option.law)
    return (None, why) if why else (made, "")


def window_note(settings: Settings) -> str:
    """What the comparison says of its window; empty if it is the settings' own."""
    fit = settings.fit
    if fit.window != "indentation":
        return ""
    return (f"Fitted from {fit.fraction_from:g} to {fit.fraction_to:g} % of the peak force: a "
            "window by indentation would hold other samples for each law.")  # fmt: skip
