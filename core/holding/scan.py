"""Running a scan of windows, and what comes out."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from ..analysis import Analysis
from ..columns import law as cl
from ..errors import InputError
from ..forcemap import ForceMap
from ..pipeline import free_of
from ..progress import Progress
from ..settings import Settings
from .differences import alone, median_of, paired, percent
from .drift import Drift, drift_of
from .grid import Grid, grid_of, present_of
from .plateau import KNOWN, LEAST, Plateau, find
from .runs import Bench

Array = np.ndarray
STEPS, MOST = 16, 200


@dataclass(frozen=True, eq=False)
class Scan:
    """The modulus over a grid of windows; maps are (n, m), lower by upper ends, NaN where a window
    has no answer.

    Attributes
    ----------
    kind, unit : how windows are given, and the unit of their ends
    lows, highs : (n,), (m,) ends; `at` is the place of the window in force
    modulus : Young modulus [GPa]; of many curves the median
    error : its standard uncertainty [GPa]: the curve's own, local; or that of the median
    spread : of many curves their robust standard deviation [GPa]; NaN for one
    change, change_error : modulus over that of the window in force, minus 1, and the ± of that
        difference: windows share samples, so it is smaller than the two ± together
    curves : (k,) numbers of the curves
    plateau : None if there is none
    drift : with depth
    words : what was found, in sentences
    """

    kind: str
    unit: str
    lows: Array
    highs: Array
    at: tuple[int, int]
    modulus: Array
    error: Array
    spread: Array
    change: Array
    change_error: Array
    curves: Array
    plateau: Plateau | None
    drift: Drift
    words: str = ""

    @property
    def single(self) -> bool:
        return self.curves.size == 1

    def change_to(self, i: int, j: int) -> dict[str, float]:
        """What makes one of the windows that of the settings."""
        return {f"fit.{self.kind}_from": float(self.lows[i]),
                f"fit.{self.kind}_to": float(self.highs[j])}  # fmt: skip


def sample_of(analysis: Analysis, mask: Array | None = None, most: int = MOST) -> Array:
    """Curves that stand for a component or for the map: trusted ones, evenly taken.

    Parameters
    ----------
    mask : bool (rows, cols), the pixels in question; None for the whole map
    """
    good = analysis.trusted if mask is None else analysis.trusted & mask
    curves = np.sort(analysis.map.index_map[good])
    if curves.size <= most:
        return curves
    # an even step along the rows would meet the same columns again and again
    return np.sort(np.random.default_rng(1).choice(curves, most, replace=False))


def scan(fmap: ForceMap, settings: Settings, curves: Array, *, known: Analysis | None = None,
         walk: float | None = None, steps: int = STEPS, progress: Progress | None = None
         ) -> Scan:  # fmt: skip
    """Fit a grid of windows to some curves.

    Parameters
    ----------
    curves : numbers of the curves (k,), from `sample_of` or `ForceMap.curve_at`
    known : an analysis of the map; baselines and pull-offs that hold are taken over
    walk : the map's slow noise for one curve's ±; that of `known` if None
    steps : ends on each side of the grid
    progress : told after each window; its ``cancel()`` stops the run

    Returns
    -------
    Scan

    Raises
    ------
    InputError : no curves, no constants, or two-point JKR, which has no window
    ReadError : the file is damaged or gone
    Cancelled : on request
    """
    curves, progress = np.atleast_1d(np.asarray(curves, dtype=np.int64)), progress or Progress()
    _check(settings, curves)
    bench = Bench(fmap, settings, curves, known, walk)
    grid = grid_of(settings, _top(bench, settings), steps)
    cells = grid.cells()
    if grid.at not in cells:
        raise InputError("The lower end of the fit window lies above its upper end. Change one.")
    windows = bench.fit([grid.settings(settings, *cell) for cell in cells], progress,
                        "Trying windows")  # fmt: skip
    held = cl.Z0 not in free_of(settings)

    def differences(k: int) -> tuple[Array, Array]:
        progress.check()
        if curves.size == 1:
            return alone(windows, grid, cells, k, held)
        return paired(windows.value, k)

    middle, error, spread = median_of(windows.value)
    if curves.size == 1:
        error = windows.error[0] if windows.error.ndim == 1 else windows.error[:, 0]
    place = cells.index(grid.at)
    change, change_error = differences(place)
    found = find((grid.lows.size, grid.highs.size), cells, np.isfinite(middle), error, differences)
    plateau = _plateau(grid, cells, middle, found) if found is not None else None
    drift = drift_of(bench, grid, settings, progress)
    over = _Over(grid, cells)
    size = np.exp(middle)
    made = Scan(grid.kind, grid.unit, grid.lows, grid.highs, grid.at, over(size),
                over(size * error), over(size * spread), over(np.expm1(change)),
                over(np.where(np.isfinite(change), np.exp(change) * change_error, np.nan)),
                curves, plateau, drift)  # fmt: skip
    return replace(made, words=words_of(made))


def _check(settings: Settings, curves: Array) -> None:
    if not curves.size or (curves < 0).any():
        raise InputError("There is no trusted curve to try windows on. Pick another place.")
    if settings.fit.adhesion == "two_point":
        raise InputError("JKR from two points reads two places off the retract and has no fit "
                         "window. Choose another adhesion to try windows.")  # fmt: skip
    if settings.fit.law == "free_exponent":
        raise InputError("The free exponent gives no modulus. Choose a contact law to try windows.")


def _top(bench: Bench, settings: Settings) -> float:
    """The end of the range: 100 %, or the peak force or indentation that half the curves reach."""
    kind = settings.fit.window
    if kind == "fraction":
        return 100.0
    values, _ = bench.one.per_curve("peak_force" if kind == "force" else "indentation")
    values = values[np.isfinite(values)]
    if not values.size:
        return 1.25 * max(present_of(settings))
    return float(np.median(values))


class _Over:
    """Puts values of windows on their grid."""

    def __init__(self, grid: Grid, cells: list[tuple[int, int]]) -> None:
        self.shape, self.places = (grid.lows.size, grid.highs.size), tuple(np.array(cells).T)

    def __call__(self, values: Array) -> Array:
        out = np.full(self.shape, np.nan)
        out[self.places] = values
        out.flags.writeable = False
        return out


def _plateau(grid: Grid, cells: list[tuple[int, int]], middle: Array, found: tuple[Array, int]
             ) -> Plateau:  # fmt: skip
    """The region's figures; the window in force is offered if it is the centre's equal."""
    mask, centre = found
    inside = np.array([k for k, cell in enumerate(cells) if mask[cell]])
    i, j = cells[centre]
    rows, cols = np.flatnonzero(mask.any(axis=1)), np.flatnonzero(mask.any(axis=0))
    within = float(np.expm1(np.abs(middle[inside] - middle[centre]).max()))
    return Plateau(
        mask, inside.size / np.count_nonzero(np.isfinite(middle)), (i, j), float(grid.lows[i]),
        float(grid.highs[j]), (float(grid.lows[rows[0]]), float(grid.lows[rows[-1]])),
        (float(grid.highs[cols[0]]), float(grid.highs[cols[-1]])), within, bool(mask[grid.at]),
    )  # fmt: skip


def words_of(found: Scan) -> str:
    """Plateau and drift in sentences."""
    said = []
    p, unit = found.plateau, found.unit
    if p is None:
        seen = np.isfinite(found.change)
        told = np.count_nonzero(found.change_error[seen] <= KNOWN) >= LEAST * np.count_nonzero(seen)
        said.append("No plateau: the windows do not agree with each other." if told else
                    "No plateau can be told: most differences between windows are known to no "
                    f"better than {100.0 * KNOWN:.0f} %.")  # fmt: skip
    else:
        said.append(f"Plateau over {100.0 * p.share:.0f} % of the windows: E stays within "
                    f"{100.0 * p.within:.2g} % for lower ends from {p.lows[0]:.3g} to "
                    f"{p.lows[1]:.3g} {unit} and upper ends from {p.highs[0]:.3g} to "
                    f"{p.highs[1]:.3g} {unit}.")  # fmt: skip
        if not p.holds_present:
            i, j = found.at
            off = found.modulus[i, j] / found.modulus[p.at]
            tail = f" by {percent(math.log(off)):+.2g} %" if off > 0.0 else ""
            said.append(f"The window in force lies off it{tail}.")
    said.append(found.drift.words or "No drift with depth stands out of its ±.")
    return " ".join(said)
