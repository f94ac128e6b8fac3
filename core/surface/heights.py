"""Height at peak force against height at contact: how much of the relief is a dent.

At the peak the base stands at z = z₀ + δ + d, so the height there, -z, is lower than the height at
contact, -z₀, by the dent δ and the bending d of the lever. Under one set force d is alike in all
components and drops out of their differences; a soft component that looks lower at the peak may be
level at contact.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from .filters import Pitch, effective_of
from .levelling import MAD_TO_SIGMA, MEDIAN_COST

Array = np.ndarray
FEWEST = 3


@dataclass(frozen=True)
class Middle:
    """A median and its standard error by the effective number of pixels; NaN if there are few."""

    value: float
    error: float
    pixels: int
    effective: float


@dataclass(frozen=True)
class ComponentHeights:
    """Of one component [nm].

    Attributes
    ----------
    at_peak, at_contact : heights
    drop : height at contact less that at the peak, pixel by pixel: dent and bending of the lever.
        What moves both heights of a pixel (relief, drift, tilt) is not in its error
    dent : indentation at the peak force
    bending : drop - dent, pixel by pixel: deflection at the peak
    """

    component: int
    at_peak: Middle
    at_contact: Middle
    drop: Middle
    dent: Middle
    bending: Middle


@dataclass(frozen=True)
class Contrast:
    """One component above another [nm], and how much of it is a dent.

    Attributes
    ----------
    upper, lower : labels, in the order in which they were compared: upper less lower
    at_peak, at_contact : difference of the heights and its standard error
    dent : what the difference of the dents adds to the contrast at the peak (lower's dent less
        upper's)
    share : dent / (difference at the peak); NaN if that is within two standard errors of none
    words : one sentence
    """

    upper: int
    lower: int
    at_peak: tuple[float, float]
    at_contact: tuple[float, float]
    dent: tuple[float, float]
    share: float
    words: str


@dataclass(frozen=True)
class HeightReport:
    components: tuple[ComponentHeights, ...]
    contrasts: tuple[Contrast, ...]
    words: str

    def of(self, component: int) -> ComponentHeights:
        return next(c for c in self.components if c.component == component)


COMMON = (
    "Errors are local. The height at the peak needs no calibration but that of the scanner. An "
    "error of the deflection sensitivity changes every bending by the same share, and the dent by "
    "as much the other way: between components it cancels as far as their bendings are alike."
)


def height_report(
    height: Array, contact_height: Array, indentation: Array, labels: Array,
    usable: Array | None = None, pitch: Pitch = (1.0, 1.0),
) -> HeightReport:  # fmt: skip
    """Heights of the components at peak force and at contact.

    Parameters
    ----------
    height, contact_height, indentation : (rows, cols) nm, the channels of these names; NaN where
        missing. If they are levelled, take the *same* map off both heights
    labels : int (rows, cols), -1 is left out
    usable : bool (rows, cols)
    pitch : between rows and between columns

    Raises
    ------
    ValueError : shapes that differ
    """
    maps = [np.asarray(m, dtype=float) for m in (height, contact_height, indentation)]
    shapes = {np.shape(m) for m in (*maps, labels, *([] if usable is None else [usable]))}
    if len(shapes) > 1:
        raise ValueError(f"the maps differ in shape: {sorted(shapes)}")
    peak, contact, dent = maps
    labels = np.asarray(labels)
    good = (labels >= 0) & np.isfinite(peak) & np.isfinite(contact) & np.isfinite(dent)
    if usable is not None:
        good &= np.asarray(usable, dtype=bool)
    drop = contact - peak
    found = tuple(
        ComponentHeights(
            int(c), *(middle_of(m, good & (labels == c), pitch)
                      for m in (peak, contact, drop, dent, drop - dent)))
        for c in np.unique(labels[labels >= 0])
    )  # fmt: skip
    contrasts = tuple(_contrast(b, a) for a, b in combinations(found, 2))
    return HeightReport(found, contrasts, COMMON)


def middle_of(values: Array, mask: Array, pitch: Pitch = (1.0, 1.0)) -> Middle:
    """Median over a mask: 1.2533 robust standard deviations over √n_eff."""
    inside = values[mask]
    if inside.size < FEWEST:
        return Middle(math.nan, math.nan, int(inside.size), math.nan)
    centre = float(np.median(inside))
    spread = MAD_TO_SIGMA * float(np.median(np.abs(inside - centre)))
    clipped = np.clip(np.where(mask, values, centre), centre - 3.0 * spread, centre + 3.0 * spread)
    effective = effective_of(clipped, mask, pitch)
    return Middle(centre, MEDIAN_COST * spread / math.sqrt(effective), int(inside.size), effective)


def _less(a: Middle, b: Middle) -> tuple[float, float]:
    return a.value - b.value, math.hypot(a.error, b.error)


def _contrast(a: ComponentHeights, b: ComponentHeights) -> Contrast:
    """a above b."""
    peak, contact = _less(a.at_peak, b.at_peak), _less(a.at_contact, b.at_contact)
    dent = _less(b.dent, a.dent)
    known = abs(peak[0]) > 2.0 * peak[1]
    share = dent[0] / peak[0] if known else math.nan
    text = (f"Component {a.component} against {b.component}: {peak[0]:+.3g} ± {peak[1]:.2g} nm at "
            f"the peak force, {contact[0]:+.3g} ± {contact[1]:.2g} nm at contact")  # fmt: skip
    if not (math.isfinite(peak[1]) and math.isfinite(contact[1])):
        text = f"Component {a.component} against {b.component}: too few pixels to compare heights."
    elif known:
        text += f"; the dents make {dent[0]:+.3g} ± {dent[1]:.2g} nm of it ({100 * share:.0f} %)."
    else:
        text += f"; the dents alone would make {dent[0]:+.3g} ± {dent[1]:.2g} nm."
    return Contrast(a.component, b.component, peak, contact, dent, share, text)
