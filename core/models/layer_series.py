"""The published series for a layer on a rigid base, for comparison with the exact ratio.

All are F = F_halfspace (1 + c1 χ + c2 χ² + c3 χ³ + c4 χ⁴), with χ and shapes as in `layers`:

    expansion   the consistent expansion at given indentation, with the exact moments α0 and β0;
                derived for Palpate, checked against the exact ratio
    general     Dimitriadis et al. 2002: paraboloid, bonded and not bonded, any ν
    line        Dimitriadis et al. 2002: the line given for ν = 0.5, bonded and not bonded
    incompressible  Garcia & Garcia 2018: paraboloid, cone and punch; bonded, ν = 0.5

The coefficients of the papers are from memory, the prints were not seen. Against the exact ratio:
the c2 of 2002 is that of the punch (1.283 where 1.482 belongs), so it is 8 % low at χ = 0.5; its
general form gives c4 = -0.0975 where its line has +0.0975; its not-bonded α0 depends on ν where the
sliding layer's does not. The form of 2018 holds to 0.8 % up to χ = 0.5. A cone's series of 2012 is
left out: as remembered it is far from the exact ratio, and the print was not seen.

References
----------
Dimitriadis, Horkay, Maresca, Kachar & Chadwick, Biophys. J. 82 (2002) 2798.
Garcia & Garcia, Biophys. J. 114 (2018) 2923.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from .law import Array
from .layer_solver import check_layer, moments
from .layers import layer_ratio

FORMS = {
    "expansion": "expansion with exact constants",
    "general": "Dimitriadis et al. 2002, any Poisson ratio",
    "line": "Dimitriadis et al. 2002, Poisson ratio 0.5",
    "incompressible": "Garcia & Garcia 2018, Poisson ratio 0.5, bonded",
}
TRUSTED_CHI = 0.5
"""Up to here the form of 2018 is within 0.8 % of the exact ratio (direct solution)."""
_LINE = {"bonded": (1.133, 1.283, 0.769, 0.0975), "sliding": (0.884, 0.781, 0.386, 0.0048)}
_INCOMPRESSIBLE = {
    "paraboloid": (1.133, 1.497, 1.469, 0.755),
    "cone": (0.721, 0.650, 0.491, 0.225),
    "punch": (1.133, 1.283, 0.598, -0.291),
}


def expansion(shape: str, alpha: float, beta: float) -> Array:
    """c1 to c4 of the consistent expansion for moments α0, β0 (`layer_solver.moments`)."""
    a, b, p = alpha, beta, math.pi
    if shape == "paraboloid":
        return np.array([-2 * a / p, 14 / 3 * a**2 / p**2,
                         -32 / (135 * p**3) * (50 * a**3 + 9 * p**2 * b),
                         (1430 * a**4 + 576 * p**2 * a * b) / (45 * p**4)])  # fmt: skip
    if shape == "cone":
        return np.array([-4 * a / p**2, 20 * a**2 / p**4, -16 * (7 * a**3 + p**2 * b) / p**6,
                         224 * a * (3 * a**3 + p**2 * b) / p**8])  # fmt: skip
    if shape == "punch":
        return np.array([-2 * a / p, 4 * a**2 / p**2, -8 * a**3 / p**3 - 8 * b / (3 * p),
                         (48 * a**4 + 32 * p**2 * a * b) / (3 * p**4)])  # fmt: skip
    raise ValueError(f"no layer series for {shape!r}; known: paraboloid, cone, punch")


def published_moments(poisson_ratio: float, base: str) -> tuple[float, float]:
    """α0 and β0 of Dimitriadis et al. 2002 (from memory); "sliding" is their "not bonded"."""
    check_layer(poisson_ratio, base)
    v, rest = poisson_ratio, 1.0 - poisson_ratio
    if base == "bonded":
        return (-(1.2876 - 1.4678 * v + 1.3442 * v * v) / rest,
                (0.6387 - 1.0277 * v + 1.5164 * v * v) / rest)  # fmt: skip
    return -0.347 * (3.0 - 2.0 * v) / rest, 0.056 * (5.0 - 2.0 * v) / rest


def _general(alpha: float, beta: float) -> Array:
    a, b, p = alpha, beta, math.pi
    return np.array([-2 * a / p, 4 * a**2 / p**2, -8 / p**3 * (a**3 + 4 * p**2 / 15 * b),
                     16 * a / p**4 * (a**3 + 3 * p**2 / 5 * b)])  # fmt: skip


def series_coefficients(form: str, shape: str, poisson_ratio: float, base: str) -> Array:
    """c1 to c4; NaN where the form was not given for that shape, ratio or base.

    Raises
    ------
    ValueError : an unknown form, shape or base
    """
    if form not in FORMS:
        raise ValueError(f"no layer series {form!r}; known: {', '.join(FORMS)}")
    exact = expansion(shape, *moments(poisson_ratio, base))
    rubber = abs(poisson_ratio - 0.5) < 1e-9
    if form == "expansion":
        return exact
    if form == "general" and shape == "paraboloid":
        return _general(*published_moments(poisson_ratio, base))
    if form == "line" and shape == "paraboloid" and rubber:
        return np.array(_LINE[base])
    if form == "incompressible" and base == "bonded" and rubber:
        return np.array(_INCOMPRESSIBLE[shape])
    return np.full(4, np.nan)


def layer_series(
    form: str, chi: Array | float, shape: str, poisson_ratio: float, base: str
) -> Array:
    """F_layer/F_halfspace from a series, as `layers.layer_ratio` gives it exactly."""
    c = series_coefficients(form, shape, poisson_ratio, base)
    x = np.asarray(chi, dtype=float)
    return 1.0 + x * (c[0] + x * (c[1] + x * (c[2] + x * c[3])))


@dataclass(frozen=True, eq=False)
class SeriesComparison:
    """Exact ratio and each series at the same χ; arrays as chi.

    Attributes
    ----------
    exact : `layers.layer_ratio`
    series : by the form's name in `FORMS`; NaN where a form does not apply
    error : series over exact, minus 1
    """

    chi: Array
    exact: Array
    series: dict[str, Array]
    error: dict[str, Array]


def series_comparison(
    chi: Array | float, poisson_ratio: float, base: str, shape: str = "paraboloid"
) -> SeriesComparison:
    """The exact ratio with every series beside it."""
    x = np.asarray(chi, dtype=float)
    exact = layer_ratio(x, shape, poisson_ratio, base)
    series = {form: layer_series(form, x, shape, poisson_ratio, base) for form in FORMS}
    return SeriesComparison(x, exact, series, {k: v / exact - 1.0 for k, v in series.items()})
