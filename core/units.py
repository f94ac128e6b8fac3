"""Parsing and formatting of quantities: the only place that knows prefixes.

Inside core a number is in nm, nN, N/m, GPa, aJ, s, V, Hz, K or rad; those units are mutually
consistent (N/m = nN/nm, GPa = nN/nm², aJ = nN nm), so formulas carry no factors.
"""

from __future__ import annotations

import math
import re

PREFIX = {
    "": 1.0, "f": 1e-15, "p": 1e-12, "n": 1e-9, "u": 1e-6, "µ": 1e-6, "μ": 1e-6,
    "m": 1e-3, "c": 1e-2, "k": 1e3, "M": 1e6, "G": 1e9, "a": 1e-18,
}  # fmt: skip

# dimension -> (SI symbol, core symbol, core units in one SI unit)
DIMENSIONS: dict[str, tuple[str, str, float]] = {
    "length": ("m", "nm", 1e9),
    "force": ("N", "nN", 1e9),
    "stiffness": ("N/m", "N/m", 1.0),
    "pressure": ("Pa", "GPa", 1e-9),
    "energy": ("J", "aJ", 1e18),
    "time": ("s", "s", 1.0),
    "voltage": ("V", "V", 1.0),
    "sensitivity": ("m/V", "nm/V", 1e9),
    "frequency": ("Hz", "Hz", 1.0),
    "speed": ("m/s", "nm/s", 1e9),
    "temperature": ("K", "K", 1.0),
    "angle": ("rad", "rad", 1.0),
    "number": ("", "", 1.0),
}

_BASES = {"m": "length", "N": "force", "Pa": "pressure", "J": "energy", "s": "time",
          "V": "voltage", "Hz": "frequency", "K": "temperature", "rad": "angle"}  # fmt: skip
_WORDS = {"metre": "m", "meter": "m", "newton": "N", "volt": "V", "pascal": "Pa",
          "joule": "J", "second": "s", "hertz": "Hz", "kelvin": "K", "radian": "rad",
          "micron": "um", "degree": "deg"}  # fmt: skip


def _simple(symbol: str) -> tuple[str, float] | None:
    """(dimension, SI units in one of it) of a single prefixed symbol."""
    singular = symbol[:-1] if symbol.endswith("s") and symbol[:-1] in _WORDS else symbol
    symbol = _WORDS.get(singular, symbol)
    if symbol in ("deg", "°"):
        return "angle", math.pi / 180.0
    for base, dimension in _BASES.items():
        if symbol.endswith(base) and symbol[: -len(base)] in PREFIX:
            return dimension, PREFIX[symbol[: -len(base)]]
    return None


def parse_unit(text: str) -> tuple[str, float]:
    """Read a unit symbol such as ``nm``, ``N/m`` or ``µm/V``.

    Returns
    -------
    (dimension, factor) : the dimension's name in `DIMENSIONS`, and how many *core* units one of
    this unit is.

    Raises
    ------
    ValueError : the symbol is not known; says which units are.
    """
    symbol = re.sub(r"\s+", "", text)
    if symbol in ("", "1"):
        return "number", 1.0
    if symbol == "%":
        return "number", 0.01
    above, _, below = symbol.partition("/")
    top, bottom = _simple(above), _simple(below) if below else None
    if top is not None and not below:
        dimension, si = top
        return dimension, si * DIMENSIONS[dimension][2]
    pair = (top[0], bottom[0]) if top and bottom else None
    dimension = {("force", "length"): "stiffness", ("length", "voltage"): "sensitivity",
                 ("length", "time"): "speed"}.get(pair or ("", ""), "")  # fmt: skip
    if not dimension or top is None or bottom is None:
        raise ValueError(f"the unit “{text}” is not known; use such as m, nm, V, N, nN, N/m, Pa")
    return dimension, top[1] / bottom[1] * DIMENSIONS[dimension][2]


def to_core(value: float, unit: str, dimension: str) -> float:
    """Convert a value with its unit into the core unit of a dimension.

    Raises ValueError if the unit is unknown or of another dimension.
    """
    found, factor = parse_unit(unit)
    if found != dimension:
        wanted = DIMENSIONS[dimension][0]
        raise ValueError(f"the unit “{unit}” is a {found}, but a {dimension} ({wanted}) is needed")
    return value * factor


def si_factor(core_unit: str) -> tuple[str, float]:
    """(SI symbol, SI units in one core unit) of a core unit symbol such as ``GPa``."""
    dimension, factor = parse_unit(core_unit)
    symbol, _, core_per_si = DIMENSIONS[dimension]
    return symbol, factor / core_per_si


_STEPS = ((1e9, "G"), (1e6, "M"), (1e3, "k"), (1.0, ""), (1e-3, "m"), (1e-6, "µ"), (1e-9, "n"),
          (1e-12, "p"), (1e-15, "f"), (1e-18, "a"))  # fmt: skip


def best_unit(magnitude: float, core_unit: str) -> tuple[str, float]:
    """The unit a person would write a magnitude in, and its factor from the core unit.

    The core unit stays from 0.1 to 1000 of it, and a small length stays in nm:
    ``best_unit(0.02, "GPa")`` is ``("MPa", 1000.0)``; multiply the core number by the factor.
    """
    size = abs(magnitude)
    small = core_unit == "nm" or size == 0.0
    if core_unit not in ("nm", "nN", "GPa", "aJ", "V", "s") or not math.isfinite(size):
        return core_unit, 1.0
    if (size >= 0.1 or small) and size < 1000.0:
        return core_unit, 1.0
    symbol, si = si_factor(core_unit)
    for step, prefix in _STEPS:
        if size * si >= step * 0.9999:
            return prefix + symbol, si / step
    return core_unit, 1.0


def text_of(value: float, core_unit: str, error: float = math.nan, unit: str = "") -> str:
    """A number as a person writes it: ``1.452(31) GPa`` becomes ``1.452 ± 0.031 GPa``.

    The error has two significant figures and the value as many decimals; without an error four
    significant figures. NaN is an en dash. `unit` overrides the choice of the prefix.
    """
    if not math.isfinite(value):
        return "–"
    shown, factor = best_unit(value, core_unit)
    if unit:
        shown, factor = unit, parse_unit(core_unit)[1] / parse_unit(unit)[1]
    number, spread = value * factor, abs(error) * factor
    tail = f" {shown}" if shown else ""
    if math.isfinite(spread) and spread > 0:
        places = max(0, 1 - math.floor(math.log10(spread)))
        return f"{number:.{places}f} ± {spread:.{places}f}{tail}"
    places = max(0, 3 - math.floor(math.log10(abs(number)))) if number else 3
    return f"{number:.{min(places, 6)}f}{tail}"
