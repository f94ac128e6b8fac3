"""The windows of a scan: lower ends by upper ends, given as the settings give the window."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from ..settings import Settings

Array = np.ndarray
LOWEST, HIGHEST = (0.0, 0.75), (0.25, 1.0)
"""Lower and upper ends, as shares of the whole range. Windows below zero force are left to the
person: what adhesion does there is a matter of the law."""
NARROW = 0.08
"""Windows of a smaller share of the range are not fitted: too few samples to tell anything."""
UNITS = {"fraction": "%", "force": "nN", "indentation": "nm"}


@dataclass(frozen=True, eq=False)
class Grid:
    """Ends of windows.

    Attributes
    ----------
    kind, unit : how the window is given (``fit.window``), and "%", "nN" or "nm"
    lows, highs : (n,), (m,) rising
    at : place (i, j) of the present window, whose ends are among them
    """

    kind: str
    lows: Array
    highs: Array
    at: tuple[int, int]

    @property
    def unit(self) -> str:
        return UNITS[self.kind]

    def cells(self) -> list[tuple[int, int]]:
        """Windows that are wide enough to be fitted, and the present one in any case."""
        least = NARROW * max(abs(self.highs[-1]), abs(self.highs[-1] - self.lows[0]))
        wide = self.highs[None, :] - self.lows[:, None] >= least
        wide[self.at] = self.lows[self.at[0]] < self.highs[self.at[1]]
        return [(int(i), int(j)) for i, j in np.argwhere(wide)]

    def settings(self, settings: Settings, i: int, j: int) -> Settings:
        """The settings with one of the windows."""
        return windowed(settings, self.kind, float(self.lows[i]), float(self.highs[j]))


def windowed(settings: Settings, kind: str, low: float, high: float) -> Settings:
    """The settings with the window given so, from low to high."""
    ends: dict[str, Any] = {"window": kind, f"{kind}_from": low, f"{kind}_to": high}
    return replace(settings, fit=replace(settings.fit, **ends))


def present_of(settings: Settings) -> tuple[float, float]:
    """The ends of the window in force, in the unit in which it is given."""
    fit = settings.fit
    return getattr(fit, f"{fit.window}_from"), getattr(fit, f"{fit.window}_to")


def grid_of(settings: Settings, top: float, steps: int) -> Grid:
    """The windows of a scan.

    Parameters
    ----------
    top : the end of the range: 100 %, or the force [nN] or indentation [nm] at the peak
    steps : ends on each side; the ends in force take the place of the nearest ones
    """
    low, high = present_of(settings)
    lows, i = _with(_round(np.linspace(*LOWEST, steps) * top), low)
    highs, j = _with(_round(np.linspace(*HIGHEST, steps) * top), high)
    return Grid(settings.fit.window, lows, highs, (i, j))


def _round(ends: Array) -> Array:
    return np.array([float(f"{end:.3g}") for end in ends])


def _with(ends: Array, value: float) -> tuple[Array, int]:
    """Ends with a value in the place of the nearest, in order; and that place."""
    ends = ends.copy()
    ends[int(np.argmin(np.abs(ends - value)))] = value
    ends = np.unique(ends)
    return ends, int(np.flatnonzero(ends == value)[0])
