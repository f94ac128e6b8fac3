"""One pixel explained: what `explain` found, as the views draw it."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from .calibration import Constants
from .settings import Settings

Array = np.ndarray
NOWHERE = (math.nan, math.nan)


@dataclass(frozen=True)
class Raised:
    """A doubt of this curve with the figure that tripped it.

    `place` is the branch ("" if none) and z from and to [nm, as measured] where it is seen, NaN if
    nowhere in particular; `repair` what to do about it, "" if the sentence says so.
    """

    name: str
    severity: str
    sentence: str
    figure: float
    threshold: float
    unit: str
    place: tuple[str, float, float] = ("", math.nan, math.nan)
    repair: str = ""


@dataclass(frozen=True, eq=False)
class Branch:
    """One branch, z rising, all in nm.

    Attributes
    ----------
    z : (n,) base position
    d : (n,) deflection with the baseline taken off
    raw : (n,) deflection as measured
    line : (n,) the baseline under it, in the frame of `raw`
    free : z at the two ends of the free part that the baseline was fitted to
    """

    z: Array
    d: Array
    raw: Array
    line: Array
    free: tuple[float, float]


@dataclass(frozen=True, eq=False)
class CurveReport:
    """One pixel explained. Points are (z, d) in nm with the baseline taken off; NaN if not found.

    Attributes
    ----------
    row, col, curve : which
    values : channel -> (value, local standard uncertainty or NaN), core units
    doubts : severe ones first
    approach, retract : the branches; empty arrays if absent
    contact : where an undeflected tip would meet the undeformed surface, on the baseline
    peak, pull_off, zero, release : peak; largest pull; zero force on retract; end of the pull
    window : z at the ends of the fit window; `window_branch` says on which branch
    law_z, law_d : the fitted law over the contact
    residual_z, residual : residuals of the fit in units of the noise
    slope_z, slope_d : the two ends of the straight line behind the contact stiffness
    spring_constant, noise : N/m (NaN if missing) and nm
    """

    row: int
    col: int
    curve: int
    settings: Settings
    constants: Constants
    values: dict[str, tuple[float, float]]
    doubts: list[Raised]
    approach: Branch
    retract: Branch
    contact: tuple[float, float]
    peak: tuple[float, float]
    pull_off: tuple[float, float]
    zero: tuple[float, float]
    release: tuple[float, float]
    window: tuple[float, float]
    window_branch: str
    law_z: Array
    law_d: Array
    residual_z: Array
    residual: Array
    slope_z: Array
    slope_d: Array
    spring_constant: float
    noise: float

    def branch(self, name: str) -> Branch:
        """ "approach" or "retract"."""
        return self.approach if name == "approach" else self.retract

    @property
    def z0(self) -> float:
        """Contact point [nm]; NaN if not found."""
        return self.values["contact_point"][0]


def window_change(report: CurveReport, z_from: float, z_to: float) -> dict[str, float]:
    """The settings that put the fit window between two base positions of this curve.

    The ends are read off the fitted law (off the samples where there is none), in whatever the
    window is given by: share of peak force [%], force [nN] or indentation [nm], and kept inside the
    settings' ranges and in order.

    Returns a change for `Settings.with_values`; empty if nothing can be read off.
    """
    fit = report.settings.fit
    branch = report.approach if fit.branch == "approach" else report.retract
    if branch.z.size < 3 or not math.isfinite(report.peak[1]):
        return {}
    low, high = sorted((z_from, z_to))
    d = np.interp([low, high], branch.z, np.convolve(branch.d, np.ones(3) / 3, "same"))
    if report.law_z.size:
        on_law = (np.array([low, high]) >= report.law_z[0]) & (
            np.array([low, high]) <= report.law_z[-1]
        )
        d = np.where(on_law, np.interp([low, high], report.law_z, report.law_d), d)
    if fit.window == "fraction":
        ends = np.clip(100.0 * d / report.peak[1], (-100.0, 1.0), (99.0, 100.0))
        gap = 1.0
    elif fit.window == "force":
        ends, gap = d * report.spring_constant, 1e-3
    else:
        ends, gap = np.maximum([low, high] - d - report.z0, 0.0), 1e-3
    if not np.isfinite(ends).all():
        return {}
    first, last = float(ends[0]), float(max(ends[1], ends[0] + gap))
    if fit.window == "fraction" and last > 100.0:
        first, last = 99.0, 100.0
    return {f"fit.{fit.window}_from": round(first, 3), f"fit.{fit.window}_to": round(last, 3)}
