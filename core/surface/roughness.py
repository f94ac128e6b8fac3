"""Areal roughness parameters under the names of ISO 25178-2, over a map or one component of it.

The surface is first put on its mean. What counts as missing: pixels that are NaN, not usable or
outside the mask. They are left out of every mean; the filters and the autocorrelation weigh what
is there; a slope needs all pixels of its stencil.

References
----------
ISO 25178-2:2012 (definitions), ISO 13565-2:1996 (the equivalent straight line of the material ratio
curve), ISO 16610-61 (Gaussian filter): from memory.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from .filters import Pitch, difference, effective_of, sigma_of, smooth
from .material import material_values
from .texture import decay_values, texture_direction

Array = np.ndarray


@dataclass(frozen=True)
class Parameter:
    """One roughness parameter.

    Attributes
    ----------
    symbol, name, unit, formula : for people; lengths in nm, or lateral ones in the pitch's unit
    value : NaN if it can't be told
    error : standard error from the effective number of pixels; NaN where none is given
    note : why it is missing, or what to beware of; "" if nothing
    """

    symbol: str
    name: str
    unit: str
    formula: str
    value: float
    error: float = math.nan
    note: str = ""


@dataclass(frozen=True, eq=False)
class Roughness:
    """The parameters of one mask.

    Attributes
    ----------
    parameters : by symbol, in the order of the standard
    pixels : used
    heights : (rows, cols) the scale-limited surface, mean 0; NaN outside the mask
    words : what was done before, for a methods paragraph
    """

    parameters: dict[str, Parameter]
    pixels: int
    heights: Array
    words: str

    def value(self, symbol: str) -> float:
        return self.parameters[symbol].value


_NAMES = {
    "Sq": ("Root mean square height", "nm", "root of the mean of h²"),
    "Sa": ("Arithmetical mean height", "nm", "mean of |h|"),
    "Ssk": ("Skewness", "", "mean of h³ over Sq³"),
    "Sku": ("Kurtosis", "", "mean of h⁴ over Sq⁴; 3 for Gaussian heights"),
    "Sp": ("Maximum peak height", "nm", "largest h"),
    "Sv": ("Maximum pit height", "nm", "-(smallest h)"),
    "Sz": ("Maximum height", "nm", "Sp + Sv"),
    "Sdq": ("Root mean square gradient", "", "root of the mean of (∂h/∂x)² + (∂h/∂y)²"),
    "Sdr": ("Developed interfacial area ratio", "",
            "mean of √(1 + (∂h/∂x)² + (∂h/∂y)²), less 1"),
    "Sal": ("Autocorrelation length", "lateral",
            "shortest distance at which the autocorrelation falls to 0.2"),
    "Str": ("Texture aspect ratio", "",
            "shortest over longest distance at which the autocorrelation falls to 0.2"),
    "Std": ("Texture direction", "°",
            "direction along the lay, from +x towards +y, 0 to 180: square to the direction in "
            "which the angular power spectrum is largest"),
    "Sk": ("Core height", "nm",
           "height of the straight line through the flattest 40 % of the material ratio curve, "
           "between 0 and 100 %"),
    "Spk": ("Reduced peak height", "nm", "height of the triangle with the area of the peaks"),
    "Svk": ("Reduced dale height", "nm", "height of the triangle with the area of the dales"),
    "Smr1": ("Material ratio of the peaks", "", "share of the surface above the core"),
    "Smr2": ("Material ratio of the dales", "", "share of the surface above the core's lower end"),
    "Vmp": ("Peak material volume", "nm", "material above the height of 10 %, per area"),
    "Vmc": ("Core material volume", "nm", "material between the heights of 10 and 80 %, per area"),
    "Vvc": ("Core void volume", "nm", "void between the heights of 10 and 80 %, per area"),
    "Vvv": ("Dale void volume", "nm", "void below the height of 80 %, per area"),
}  # fmt: skip
SYMBOLS = tuple(_NAMES)
FEWEST = 20
"""Pixels below which nothing is told."""
MOSTLY = 0.9
"""A mask with this share of the map is as good as the whole."""
_ON_A_MASK = {
    "Sp": "against the mean of the mask, not of the map",
    "Sv": "against the mean of the mask, not of the map",
    "Sal": "over pairs inside the mask; the shape of the domains limits it",
    "Str": "makes little sense on a mask: it tells the shape of the domains too",
    "Std": "makes little sense on a mask: it tells the shape of the domains too",
    "Sdq": "only where the whole stencil lies in the mask: edges of domains are not in it",
    "Sdr": "only where the whole stencil lies in the mask: edges of domains are not in it",
    "Vmc": "per area of the mask",
}


def roughness(
    height: Array, mask: Array | None = None, pitch: Pitch = (1.0, 1.0), *, short: float = 0.0,
    long: float = 0.0, stencil: str = "seven", scaled: bool = True,
) -> Roughness:  # fmt: skip
    """The areal parameters of a levelled map, or of the pixels of a mask.

    Parameters
    ----------
    height : (rows, cols) nm, levelled; NaN where missing
    mask : bool (rows, cols), such as one component's trusted pixels; None for all
    pitch : between rows and between columns, nm
    short : cut-off of the S-filter, in the unit of `pitch`: shorter waves are smoothed away; 0 none
    long : cut-off of the L-filter: longer waves are taken off; 0 none
    stencil : of the gradient. "seven" is the seven-point formula of the standard: for a wave of
        eight pixels it reads 0.15 % low, where "central" (two neighbours) reads 10 % low, but it
        loses three pixels at every edge and passes on more of white noise
    scaled : whether `pitch` is in nm. If not, what needs a length against a height is NaN

    Raises
    ------
    ValueError : a mask of another shape, an unknown stencil, a short cut-off above the long one
    """
    height = np.asarray(height, dtype=float)
    whole = mask is None
    mask = np.ones(height.shape, bool) if mask is None else np.asarray(mask, bool)
    if mask.shape != height.shape:
        raise ValueError(f"the mask has the shape {mask.shape}, the map {height.shape}")
    if short > 0.0 and long > 0.0 and short >= long:
        raise ValueError(f"the short cut-off {short:.4g} is not below the long one {long:.4g}")
    mask = mask & np.isfinite(height)
    pixels = int(np.count_nonzero(mask))
    if pixels < FEWEST:
        note = f"only {pixels} pixels, {FEWEST} are needed"
        return Roughness(_table({}, {}, dict.fromkeys(SYMBOLS, note), scaled), pixels,
                         np.full(height.shape, np.nan), "No roughness: " + note + ".")  # fmt: skip
    h = smooth(height, mask, sigma_of(short), pitch)
    if long > 0.0:
        h = h - smooth(h, mask, sigma_of(long), pitch)
    h = h - np.mean(h[mask])
    values, errors, notes = _amplitudes(h, mask, pitch)
    _add(values, notes, _gradients(h, pitch, stencil, scaled))
    _add(values, notes, decay_values(h, mask, pitch))
    aspect = values.get("Str", math.nan)
    values["Std"], notes["Std"] = texture_direction(h, mask, pitch, aspect)
    values |= material_values(h[mask])
    if not whole and np.mean(mask) < MOSTLY:
        for symbol, text in _ON_A_MASK.items():
            notes[symbol] = "; ".join(n for n in (notes.get(symbol, ""), text) if n)
    return Roughness(_table(values, errors, notes, scaled), pixels, h, _words(short, long, pixels))


def _add(values: dict[str, float], notes: dict[str, str],
         found: tuple[dict[str, float], dict[str, str]]) -> None:  # fmt: skip
    values |= found[0]
    notes |= found[1]


def _table(values: dict[str, float], errors: dict[str, float], notes: dict[str, str],
           scaled: bool) -> dict[str, Parameter]:  # fmt: skip
    lateral = "nm" if scaled else "pixels"
    return {
        symbol: Parameter(
            symbol,
            name,
            lateral if unit == "lateral" else unit,
            formula,
            values.get(symbol, math.nan),
            errors.get(symbol, math.nan),
            notes.get(symbol, ""),
        )  # fmt: skip
        for symbol, (name, unit, formula) in _NAMES.items()
    }


def _amplitudes(h: Array, mask: Array, pitch: Pitch
                ) -> tuple[dict[str, float], dict[str, float], dict[str, str]]:  # fmt: skip
    """Height parameters; standard errors of Sq and Sa from the correlation of h² and of |h|."""
    v = h[mask]
    power = float(np.mean(v**2))
    sq, sa = math.sqrt(power), float(np.mean(np.abs(v)))
    values = {"Sq": sq, "Sa": sa, "Sp": float(v.max()), "Sv": -float(v.min()),
              "Sz": float(np.ptp(v))}  # fmt: skip
    notes: dict[str, str] = {}
    if not sq > 1e-12 * (float(np.max(np.abs(v))) or 1.0) or sq == 0.0:
        notes |= dict.fromkeys(("Ssk", "Sku"), "the surface is flat")
        return values, {}, notes
    values["Ssk"] = float(np.mean(v**3)) / sq**3
    values["Sku"] = float(np.mean(v**4)) / sq**4
    square, size = np.where(mask, h, 0.0) ** 2, np.abs(np.where(mask, h, 0.0))
    in_square = effective_of(square, mask, pitch)
    in_size = effective_of(size, mask, pitch)
    errors = {"Sq": float(np.std(square[mask])) / math.sqrt(in_square) / (2.0 * sq),
              "Sa": float(np.std(size[mask])) / math.sqrt(in_size)}  # fmt: skip
    fewest = min(in_square, in_size)
    if fewest < 10.0:
        text = f"the surface holds only about {fewest:.2g} independent pixels: a poor sample"
        notes |= dict.fromkeys(("Sq", "Sa"), text)
    return values, errors, notes


def _gradients(h: Array, pitch: Pitch, stencil: str, scaled: bool
               ) -> tuple[dict[str, float], dict[str, str]]:  # fmt: skip
    if not scaled:
        text = "needs the distance between pixels in nm"
        difference(h[:1, :1], 0, 1.0, stencil)
        return {}, dict.fromkeys(("Sdq", "Sdr"), text)
    hy, hx = (difference(h, axis, pitch[axis], stencil) for axis in (0, 1))
    square = hx**2 + hy**2
    square = square[np.isfinite(square)]
    if not square.size:
        return {}, dict.fromkeys(("Sdq", "Sdr"), "no pixel has all its neighbours")
    values = {"Sdq": math.sqrt(float(np.mean(square))),
              "Sdr": float(np.mean(square / (np.sqrt(1.0 + square) + 1.0)))}  # fmt: skip
    return values, {}


def _words(short: float, long: float, pixels: int) -> str:
    text = f"Roughness over {pixels} pixels about their mean"
    parts = [f"an S-filter of {short:.4g}"] * (short > 0.0)
    parts += [f"an L-filter of {long:.4g}"] * (long > 0.0)
    if parts:
        text += (f", after {' and '.join(parts)} (Gaussian, ISO 16610-61; lateral units), with "
                 "weights normalised at edges and holes")  # fmt: skip
    return text + "."
