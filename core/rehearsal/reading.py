"""Reads a scene off an analysed map: everything measured on its trusted curves."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np

from ..analysis import Analysis
from ..columns import baseline as bl
from ..columns import fit as ft
from ..columns import retract as rt
from ..errors import InputError
from ..mapparts import HOLD
from ..pipeline import request_of, some_curves
from ..steps.tools import MAD_TO_SIGMA
from .scene import Group, Scene

Array = np.ndarray
FEWEST = 4
MOST = 64
"""Curves whose samples are looked at."""
WAVED = 256
"""Curves on which the wave is told from the slow noise."""
BINS = 5
FEW_IN_BIN = 8
CLEAR = 0.02
"""A spread of the noise below this is none: the noise of a curve is not known better."""


def scene_of(analysis: Analysis, labels: Array | None = None) -> Scene:
    """How a map was measured, read off its analysis.

    Parameters
    ----------
    analysis : of the whole map
    labels : int (rows, cols), component of each pixel, -1 in none: pull-off and jump are then
        taken by component; else by fifths of the moduli

    Raises
    ------
    InputError : the scene can't be had; says why and what mends it
    """
    use = _trusted(analysis)
    base = analysis.stage_tables["baseline"][use]
    assumed: list[str] = []
    calm = _without_wave(analysis, use)
    lines, fringe = calm.stage_tables["baseline"], _fringe(calm)
    few = use[np.unique(np.linspace(0, use.size - 1, MOST).astype(int))]
    peak, peak_error = (v[use] for v in (analysis.per_curve("peak_force")[0],
                                         _errors(analysis, "peak_force")))  # fmt: skip
    tilt_error = _middle(_errors(calm, "baseline_slope"))
    shape, count = _grids(analysis, few, assumed)
    groups = _groups(analysis, use, labels, assumed)
    known = _instrument(analysis, assumed)
    return Scene(
        noise=_white(analysis, few), noise_spread=_noise_spread(lines),
        walk=calm.walk if fringe > 0.0 else analysis.walk,
        tilt=_middle(lines[:, bl.B_SLOPE]),
        tilt_spread=_beyond(_spread(lines[:, bl.B_SLOPE]), tilt_error),
        fringe=fringe, period=calm.period if fringe > 0.0 else math.nan,
        drag=_or_zero(_middle(base[:, bl.DRAG])), drift=_drift(analysis, base, assumed),
        samples=count, travel=float(np.ptp(shape[0][0])), grids=shape,
        peak_force=_middle(peak), peak_spread=_beyond(_spread(peak), _middle(peak_error)),
        groups=groups, assumed=tuple(assumed), **known,
    )  # fmt: skip


def _trusted(analysis: Analysis) -> Array:
    """Numbers of the curves that are looked at. Raises InputError if they are too few."""
    if not analysis.complete:
        raise InputError("The map is not analysed to its end yet: wait for it, or run it again.")
    if analysis.settings.fit.law == "free_exponent":
        raise InputError("A free exponent gives no modulus to rehearse: choose the law of a tip.")
    modulus = analysis.per_curve("modulus")[0]
    use = np.flatnonzero(analysis.sound() & ~analysis.curve_corrected & (modulus > 0.0))
    if use.size < FEWEST:
        raise InputError(f"Only {use.size} curves have a modulus and no severe doubt; {FEWEST} are "
                         "needed to see how this map was measured. Look at the constants and the "
                         "fit window.")  # fmt: skip
    return use


def offered_range(analysis: Analysis, labels: Array | None = None) -> tuple[float, float]:
    """Moduli [GPa] worth a rehearsal, rounded to two digits: from half of the softest component's
    median to twice the stiffest's; without components of the 5th and 95th percentile.

    Raises InputError if the map has no moduli.
    """
    use = _trusted(analysis)
    low, high = np.percentile(analysis.per_curve("modulus")[0][use], [5.0, 95.0])
    if labels is not None:
        groups = _groups(analysis, use, labels, [])
        low, high = groups[0].modulus, groups[-1].modulus
    return float(f"{0.5 * low:.2g}"), float(f"{2.0 * high:.2g}")


# -- noise -----------------------------------------------------------------------------------------


def _white(analysis: Analysis, curves: Array) -> float:
    """White noise of the deflection [nm], from the steps from sample to sample before contact."""
    base, per_unit = analysis.stage_tables["baseline"], _per_unit(analysis)
    found = []
    for curve in curves:
        last = int(np.nan_to_num(base[curve, bl.B_LAST]))
        steps = np.diff(analysis.map.samples(int(curve)).approach_signal[:last]) * per_unit
        steps = steps[np.isfinite(steps)]
        if steps.size < 8:
            continue
        steps = steps - np.median(steps)
        keep = np.abs(steps) < 5.0 * MAD_TO_SIGMA * np.median(np.abs(steps)) + 1e-12
        found.append(0.5 * float(np.mean(steps[keep] ** 2)))
    white = math.sqrt(_middle(np.array(found))) if found else math.nan
    return white if white > 0.0 else _middle(base[curves, bl.B_NOISE])


def _noise_spread(base: Array) -> float:
    """Relative deviation of the noise between curves, beyond what one curve knows of it."""
    noise = base[:, bl.B_NOISE]
    count = np.nanmedian(base[:, bl.B_LAST] - base[:, bl.B_FIRST])
    own = 1.0 / math.sqrt(2.0 * max(float(count), 2.0))
    found = _beyond(_spread(np.log(noise[noise > 0.0])), own)
    return found if found > CLEAR else 0.0


def _without_wave(analysis: Analysis, use: Array) -> Analysis:
    """Some trusted curves with the fringes taken off, so that tilt and slow noise hold no part of
    them; all trusted ones where there are no fringes or where they are off already."""
    rows = {name: table[use] for name, table in analysis.stage_tables.items()}
    if analysis.period > 0.0 and analysis.settings.baseline.fringes != "subtract":
        settings = analysis.settings.with_values(
            {"baseline.fringes": "subtract", "baseline.period": analysis.period})  # fmt: skip
        some = use[np.unique(np.linspace(0, use.size - 1, WAVED).astype(int))]
        rows = some_curves(analysis.map, request_of(analysis.map, settings), some)[1]
    return replace(analysis, stage_tables=rows, done=np.ones(len(rows["fit"]), bool),
                   corrections=(), pooled_walk=None, _cache={})  # fmt: skip


def _fringe(calm: Analysis) -> float:
    """Amplitude of the fringes [nm]; 0 if there are none."""
    base = calm.stage_tables["baseline"]
    squares = base[:, bl.WAVE_SIN] ** 2 + base[:, bl.WAVE_COS] ** 2 - 2.0 * base[:, bl.VAR_WAVE]
    return math.sqrt(max(_or_zero(_middle(squares)), 0.0)) if calm.period > 0.0 else 0.0


def _drift(analysis: Analysis, base: Array, assumed: list[str]) -> float:
    if analysis.settings.baseline.branches == "drift":
        return _or_zero(_middle(base[:, bl.DRIFT]))
    assumed.append("Drift in time is not told from drag under these settings; all of the offset "
                   "between the branches is taken as drag.")  # fmt: skip
    return 0.0


# -- base and instrument ---------------------------------------------------------------------------


def _grids(analysis: Analysis, curves: Array, assumed: list[str]
           ) -> tuple[tuple[tuple[Array, Array], ...], tuple[int, int]]:  # fmt: skip
    """z of some curves less that of their peak, those of the usual numbers of samples."""
    found = []
    for curve in curves:
        one = analysis.map.samples(int(curve))
        if one.approach_z.size and one.retract_z.size:
            peak = one.approach_z[-1]
            found.append((one.approach_z - peak, one.retract_z - peak))
    found = [g for g in found if all(np.isfinite(z).all() for z in g)]
    if not found:
        raise InputError("No curve has an approach and a retract without gaps in z, so there is "
                         "no way of the base to rehearse.")  # fmt: skip
    counts = [(out.size, back.size) for out, back in found]
    usual = max(set(counts), key=counts.count)
    if (analysis.map.segment_kind == HOLD).any():
        assumed.append("The hold between approach and retract is left out.")
    return tuple(g for g, n in zip(found, counts, strict=True) if n == usual), usual


def _instrument(analysis: Analysis, assumed: list[str]) -> dict[str, Any]:
    """Constants, law and digitisation."""
    use, settings, fmap = analysis.constants, analysis.settings, analysis.map
    law, adhesion = settings.fit.law, settings.fit.adhesion
    if settings.layer.base != "none":
        assumed.append("Truth and law are of a thick sample: the layer is left out of both.")
    if adhesion == "none":
        assumed.append("The settings leave adhesion out; the truth pulls as was measured.")
    adhesion = {"two_point": "jkr", "none": "constant"}.get(adhesion, adhesion)
    if adhesion in ("jkr", "maugis") and law != "paraboloid":
        adhesion = "constant"
    whole = fmap.parts.z_dtype.kind == "i", fmap.parts.signal_dtype.kind == "i"
    rates = np.array([]) if fmap.sampling_rate is None else np.ravel(fmap.sampling_rate)
    if not rates.size:
        assumed.append("No sampling rate is recorded; times are not rehearsed.")
    if not use.set_force > 0.0:
        assumed.append("No set force is recorded; the force where the approaches stop is taken.")
    assumed.append("Pull-off, jump and peak force at a modulus are those of the curves nearest in "
                   "modulus, and every curve has its own phase of the wave.")  # fmt: skip
    return {
        "law": law, "sizes": tuple(size.value for size in use.sizes),
        "tip_compliance": use.tip_compliance, "poisson_ratio": use.poisson_ratio,
        "spring_constant": use.spring_constant.value, "adhesion": adhesion,
        "distance": settings.fit.distance, "set_force": use.set_force,
        "sensitivity": use.deflection_sensitivity.value if fmap.signal_unit == "V" else math.nan,
        "rate": float(np.median(rates)) if rates.size else math.nan,
        "z_step": abs(fmap.z_scale) if whole[0] else 0.0,
        "d_step": abs(fmap.signal_scale) * _per_unit(analysis) if whole[1] else 0.0,
    }  # fmt: skip


def _per_unit(analysis: Analysis) -> float:
    """Deflection in nm of one unit of the signal."""
    return analysis.constants.scale[2] / analysis.map.signal_scale


# -- what the surface does -------------------------------------------------------------------------


def _groups(analysis: Analysis, use: Array, labels: Array | None, assumed: list[str]
            ) -> tuple[Group, ...]:  # fmt: skip
    modulus = analysis.per_curve("modulus")[0][use]
    if labels is None:
        bins = max(1, min(BINS, use.size // FEW_IN_BIN))
        edges = np.quantile(modulus, np.linspace(0.0, 1.0, bins + 1)[1:-1])
        kinds = np.searchsorted(edges, modulus)
    else:
        rows, cols = analysis.map.pixel[use].T
        kinds = np.asarray(labels)[rows, cols]
    found = [_group(analysis, use[kinds == kind]) for kind in np.unique(kinds[kinds >= 0])
             if np.count_nonzero(kinds == kind) >= FEWEST]  # fmt: skip
    if not found:
        found = [_group(analysis, use)]
        assumed.append("No component has enough trusted curves: one pull-off serves all moduli.")
    return tuple(sorted(found, key=lambda group: group.modulus))


def _group(analysis: Analysis, curves: Array) -> Group:
    sticky = analysis.settings.fit.adhesion in ("jkr", "maugis", "two_point")
    name = "adhesion" if sticky else "release_force"
    pull = analysis.per_curve(name)[0][curves]
    own = _middle(_errors(analysis, name)[curves])
    seen = analysis.stage_tables["retract"][curves, rt.SEEN] == 1.0
    middle = max(_or_zero(_middle(pull)), 0.0)
    spread = _beyond(_spread(pull), own) / middle if middle > 0.0 and seen.any() else 0.0
    peak, peak_error = analysis.per_curve("peak_force")
    unsure = math.nan if peak_error is None else _middle(peak_error[curves])
    return Group(_middle(analysis.per_curve("modulus")[0][curves]), middle, min(spread, 0.5),
                 0.0 if sticky else _jump(analysis, curves), curves.size, _middle(peak[curves]),
                 _beyond(_spread(peak[curves]), unsure))  # fmt: skip


def _jump(analysis: Analysis, curves: Array) -> float:
    """Distance from contact at which the tip jumps on, as a share of the pull-off deflection."""
    base, fit = analysis.stage_tables["baseline"], analysis.stage_tables["fit"]
    pull = analysis.stage_tables["retract"][:, rt.PULL]
    found = []
    for curve in curves[np.unique(np.linspace(0, curves.size - 1, MOST).astype(int))]:
        z = analysis.map.samples(int(curve)).approach_z
        touch = base[curve, bl.B_TOUCH]
        if 0.0 <= touch < z.size and pull[curve] > 0.0:
            found.append((fit[curve, ft.Z0] - z[int(touch)]) / pull[curve])
    return float(np.clip(_or_zero(_middle(np.array(found))), 0.0, 1.0))


# -- statistics ------------------------------------------------------------------------------------


def _errors(analysis: Analysis, name: str) -> Array:
    error = analysis.per_curve(name)[1]
    return np.full(analysis.map.n_curves, math.nan) if error is None else error


def _middle(values: Array) -> float:
    known = values[np.isfinite(values)]
    return float(np.median(known)) if known.size else math.nan


def _spread(values: Array) -> float:
    """Robust standard deviation; 0 if nothing is known."""
    return _or_zero(MAD_TO_SIGMA * _middle(np.abs(values - _middle(values))))


def _beyond(spread: float, own: float) -> float:
    """What of a spread the curves' own uncertainty does not explain."""
    return math.sqrt(max(spread**2 - _or_zero(own) ** 2, 0.0))


def _or_zero(value: float) -> float:
    return value if math.isfinite(value) else 0.0
