"""Reads what a native file records about the measurement: constants and texts."""

from __future__ import annotations

import dataclasses
import math
from typing import Any

from ..mapparts import TIP_SHAPES, Constant, Recorded
from .guard import GuardedFile

INSTRUMENT = "entry/instrument"

# place in the file, dimension (several are possible), may it be 0 or below?
_CONSTANTS: dict[str, tuple[str, tuple[str, ...], bool]] = {
    "spring_constant": ("cantilever/spring_constant", ("stiffness",), False),
    "deflection_sensitivity": ("cantilever/deflection_sensitivity", ("sensitivity",), False),
    "resonance_frequency": ("cantilever/resonance_frequency", ("frequency",), False),
    "quality_factor": ("cantilever/quality_factor", ("number",), False),
    "cantilever_length": ("cantilever/cantilever_length", ("length",), False),
    "cantilever_width": ("cantilever/cantilever_width", ("length",), False),
    "cantilever_thickness": ("cantilever/cantilever_thickness", ("length",), False),
    "radius": ("tip/radius", ("length",), False),
    "half_angle": ("tip/half_angle", ("angle",), False),
    "set_point": ("scan/set_point", ("force", "voltage"), True),
    "temperature": ("environment/temperature", ("temperature",), False),
}
CORE_UNITS = {"stiffness": "N/m", "sensitivity": "nm/V", "frequency": "Hz", "number": "",
               "length": "nm", "angle": "deg", "force": "nN", "voltage": "V",
               "temperature": "K"}  # fmt: skip
_TEXTS = {
    "start_time": "entry/start_time", "end_time": "entry/end_time",
    "description": "entry/experiment_description", "user": "entry/user/name",
    "orcid": "entry/user/orcid", "sample": "entry/sample/name",
    "sample_description": "entry/sample/description", "scan_type": f"{INSTRUMENT}/scan/scan_type",
}  # fmt: skip


def read_recorded(g: GuardedFile, warnings: list[str]) -> Recorded:
    """The constants in core units. An impossible one (zero, negative, NaN) is left out with a
    warning; one without a unit or with a wrong unit raises ReadError."""
    found: dict[str, Any] = {name: _constant(g, name, warnings) for name in _CONSTANTS}
    shape = g.text(f"{INSTRUMENT}/tip/shape").lower().replace(" ", "_")
    if shape and shape not in TIP_SHAPES:
        warnings.append(f"The tip shape “{shape[:40]}” is not known and is left out.")
        shape = ""
    medium = g.text(f"{INSTRUMENT}/environment/medium")
    return dataclasses.replace(Recorded(**found), tip_shape=shape, medium=medium)


def read_texts(g: GuardedFile) -> dict[str, str]:
    """Further recorded text, name -> text; what is empty is left out."""
    found = {key: g.text(place) for key, place in _TEXTS.items()}
    return {key: text for key, text in found.items() if text}


def _constant(g: GuardedFile, name: str, warnings: list[str]) -> Constant | None:
    place, dimensions, any_sign = _CONSTANTS[name]
    place = f"{INSTRUMENT}/{place}"
    raw = g.number(place)
    if raw is None:
        return None
    if dimensions == ("number",):
        dimension, factor = "number", 1.0
    else:
        dimension, factor = g.factor_to_core(place, *dimensions)
    factor *= 180.0 / math.pi if dimension == "angle" else 1.0
    value = raw * factor
    possible = math.isfinite(value) and (any_sign or value > 0)
    if not possible or (dimension == "angle" and value >= 90.0):
        warnings.append(
            f"The recorded {name.replace('_', ' ')} is {raw:g}, which is impossible; it is left "
            "out and has to be given by hand."
        )
        return None
    error, method = g.attribute(place, "error"), g.attribute(place, "method")
    spread = math.nan
    if isinstance(error, float) and math.isfinite(error) and error >= 0:
        spread = error * factor
    said = method if isinstance(method, str) else ""
    return Constant(value, CORE_UNITS[dimension], spread, said)
