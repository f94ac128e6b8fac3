"""The figures of one curve or of a map's trusted curves, taken from an analysis."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from ..analysis import Analysis
from ..calibration.typical import relative_error
from ..columns import baseline as bl
from ..columns import fit as ft
from ..columns import retract as rt
from ..models import law_of
from .contact import SMALL, Array, Contacts, Figures

MOST = 4096
"""A map is judged by so many of its trusted curves at most, evenly spread."""


def trusted_curves(analysis: Analysis, most: int = MOST) -> Array:
    """Curves without a severe doubt, at most so many, evenly spread."""
    good = np.flatnonzero(analysis.sound() & analysis.done & ~analysis.curve_corrected)
    shown = analysis.map.index_map
    good = good[np.isin(good, shown[shown >= 0])]
    if good.size > most:
        good = good[np.linspace(0, good.size - 1, most).astype(int)]
    return good


def _tip_size(analysis: Analysis, name: str) -> tuple[float, float]:
    """A size of the tip, whatever the law, and its relative standard uncertainty."""
    chosen = getattr(analysis.settings.tip, name)
    recorded = getattr(analysis.map.recorded, name)
    value = chosen if chosen is not None else (recorded.value if recorded else math.nan)
    error = recorded.error if recorded and recorded.value == value else math.nan
    return value, relative_error(name, value, error, analysis.settings.uncertainty.tip)[0]


def _pulls(analysis: Analysis, curves: Array) -> tuple[Array, Array]:
    """Pull-off deflection [nm] and its variance: as measured on the retract, or as fitted."""
    fit, pull = analysis.tables.fit[curves], analysis.tables.pull[curves]
    chosen = analysis.settings.fit
    fitted = chosen.adhesion == "two_point" or (
        chosen.pull_off == "fitted" and chosen.adhesion != "none"
    )
    if fitted:
        return fit[:, ft.PULL], fit[:, ft.VAR_PULL] + analysis.walk * fit[:, ft.SLOW_PULL]
    return pull[:, rt.PULL], pull[:, rt.VAR_PULL] + analysis.walk * pull[:, rt.SLOW_PULL]


def _contacts(analysis: Analysis, curves: Array) -> Contacts:
    settings, use = analysis.settings, analysis.constants
    fit, base = analysis.tables.fit[curves], analysis.tables.base[curves]
    good = fit[:, ft.STATE] == ft.GOOD
    stiff = np.where(good, np.exp(np.where(good, fit[:, ft.LN_C], 0.0)), np.nan)
    thickness: Array | float = math.nan
    if analysis.map.thickness is not None:
        thickness = analysis.map.thickness[curves]
    elif settings.layer.base != "none":
        thickness = settings.layer.thickness
    known, own = use.lengths, tuple(size.value for size in use.sizes)
    law = law_of(settings.fit.law)
    layer = use.factor / law.factor(*own) if all(map(math.isfinite, own)) else math.nan
    return Contacts(
        stiff, _pulls(analysis, curves)[0], base[:, bl.PEAK_D] if known else stiff * np.nan,
        analysis.per_curve("indentation")[0][curves],
        settings.fit.law, settings.fit.law, settings.fit.adhesion, use.force_scale,
        _tip_size(analysis, "radius")[0], _tip_size(analysis, "half_angle")[0],
        settings.tip.rounding, settings.sample.poisson_ratio, thickness, settings.fit.distance,
        layer if math.isfinite(layer) else 1.0,
    )  # fmt: skip


def _shifted(analysis: Analysis, here: Contacts) -> list[Contacts]:
    """The contacts with each common constant a little larger."""
    u, use = analysis.settings.uncertainty, analysis.constants
    k, s = use.spring_constant, use.deflection_sensitivity
    by_k = SMALL * relative_error(k.name, k.value, k.error, u.spring_constant)[0]
    by_s = SMALL * relative_error(s.name, s.value, s.error, u.sensitivity)[0]
    radius, angle = (SMALL * _tip_size(analysis, name)[1] for name in ("radius", "half_angle"))
    return [
        replace(here, spring_constant=here.spring_constant * (1.0 + by_k)),
        here.with_sensitivity(by_s, u.spring_from == "thermal"),
        replace(here, radius=here.radius * (1.0 + radius)),
        replace(here, half_angle=here.half_angle * (1.0 + angle)),
        replace(here, poisson_ratio=here.poisson_ratio + SMALL * u.poisson_ratio),
        replace(here, thickness=here.thickness * (1.0 + SMALL * u.thickness / 100.0)),
    ]


def _own(analysis: Analysis, here: Contacts, curves: Array) -> list[Contacts]:
    """The contact of one pixel with each of its own figures a little larger."""
    fit, base = analysis.tables.fit[curves], analysis.tables.base[curves]
    stiff = fit[:, ft.VAR_LN_C] + analysis.walk * fit[:, ft.SLOW_LN_C]
    depth = analysis.per_curve("indentation")[1]
    moves: dict[str, Array] = {
        "stiff": np.sqrt(stiff) * here.stiff,
        "pull": np.sqrt(_pulls(analysis, curves)[1]),
        "peak": np.sqrt(base[:, bl.VAR_PEAK] + analysis.walk * base[:, bl.SLOW_PEAK]),
        "depth": np.full(1, np.nan) if depth is None else depth[curves],
    }
    more = {name: getattr(here, name) + SMALL * np.nan_to_num(by) for name, by in moves.items()}
    return [replace(here, stiff=more["stiff"]), replace(here, pull=more["pull"]),
            replace(here, peak=more["peak"]), replace(here, depth=more["depth"])]  # fmt: skip


def _lost(analysis: Analysis) -> tuple[str, ...]:
    use = analysis.constants
    found = []
    if not use.lengths:
        found.append("deflection sensitivity")
    if math.isnan(use.spring_constant.value):
        found.append("spring constant")
    found += [size.label.lower() for size in use.sizes if math.isnan(size.value)]
    return tuple(found)


def figures_of(analysis: Analysis, curve: int | None = None) -> Figures:
    """The figures of one curve, or of a map's trusted curves."""
    one = curve is not None
    curves = np.array([curve]) if one else trusted_curves(analysis)
    with np.errstate(all="ignore"):
        here = _contacts(analysis, curves)
        shifted = _shifted(analysis, here)
        if one:
            shifted += _own(analysis, here, curves)
    return Figures(analysis, curves, one, here, tuple(shifted), _lost(analysis))
