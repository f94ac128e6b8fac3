"""How well a constant is known: as set, as recorded, or else as is usual in the trade."""

from __future__ import annotations

from . import RECORDED, SET

ASSUMED = "assumed"
TYPICAL = {"spring_constant": 0.10, "deflection_sensitivity": 0.04, "radius": 0.20,
           "half_angle": 0.04, "rounding": 0.20}  # fmt: skip
"""Relative standard uncertainties where nothing is set or recorded (from memory; a spring constant
5 to 10 %: scope of ISO 11775:2015)."""


def relative_error(name: str, value: float, error: float, chosen: float | None
                   ) -> tuple[float, str]:  # fmt: skip
    """Relative standard uncertainty of a constant and where it comes from.

    Parameters
    ----------
    name : key of `TYPICAL`
    value, error : the constant and its recorded standard uncertainty, NaN if there is none
    chosen : as set by the person [%], None if not
    """
    if chosen is not None:
        return chosen / 100.0, SET
    if error > 0.0 and value != 0.0:
        return abs(error / value), RECORDED
    return TYPICAL[name], ASSUMED
