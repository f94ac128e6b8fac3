"""Many curves at once: laid over each other at contact, their median and the band they lie in.

Each curve loses its own baseline and is read on a common grid. Against indentation or separation a
measured curve goes to and fro with its noise, since x then holds the deflection; it is made to rise
throughout by the isotonic regression of x on the order of the samples (pool adjacent violators;
Barlow, Bartholomew, Bremner & Brunk, Statistical Inference under Order Restrictions, 1972, from
memory), and the deflection at a place is the one that belongs to x and z there, so that noise moves
a point along the lever's own line and not off it.

Bands are pointwise: at each place the 16 to 84 and the 2.5 to 97.5 % quantiles of the curves that
reach it. They tell how curves scatter, not how well the median is known.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from .analysis import Analysis
from .calibration import Constants
from .columns import baseline as bl
from .columns import fit as ft
from .curvereport import Branch
from .errors import InputError
from .explain import branches_of
from .progress import Progress

Array = np.ndarray
X_AXES = ("z", "separation", "indentation")
Y_AXES = ("force", "deflection")
ALIGNMENTS = ("contact", "peak", "none")
MOST = 200
"""Of more curves than this so many are taken by chance."""
FEWEST = 3
"""Where fewer curves reach a place there is no median and no band."""
POINTS = 500
NEAR, DEEP, LEAST = 0.6, 0.25, 10.0
"""So large a share of the places is about the contact; aligned at the peak, so much of the range
counts as contact; and so many nm before it at least."""
SHARES = (0.025, 0.16, 0.5, 0.84, 0.975)
NO_CURVE, NO_CONTACT, NO_BASELINE = "no curve", "no contact", "no baseline"
BRANCHES = ("approach", "retract")


@dataclass(frozen=True, eq=False)
class Spread:
    """One branch of many curves at the places of the grid; NaN where fewer than `FEWEST` reach.

    Attributes
    ----------
    lowest, low, median, high, highest : (n,) the 2.5, 16, 50, 84 and 97.5 % quantiles
    count : (n,) int, curves that reach each place
    """

    lowest: Array
    low: Array
    median: Array
    high: Array
    highest: Array
    count: Array


@dataclass(frozen=True, eq=False)
class Ensemble:
    """Many curves on one grid.

    Attributes
    ----------
    x : (n,) the grid, rising, denser about the contact; empty with fewer than `FEWEST` curves
    branches : "approach" and "retract" -> `Spread`
    x_axis, y_axis, align : as asked
    asked : how many pixels were asked for
    taken : how many of them were tried, all or a sample; `seed` of the sample
    curves : (m,) int64, the curves that went in
    left_out : reason -> how many were tried and could not be used
    """

    x: Array
    branches: Mapping[str, Spread]
    x_axis: str
    y_axis: str
    align: str
    asked: int
    taken: int
    seed: int
    curves: Array
    left_out: Mapping[str, int] = field(default_factory=dict)

    @property
    def words(self) -> str:
        """How many curves these are, and what was left out, in a sentence."""
        said = f"{self.curves.size} curves"
        if self.taken < self.asked:
            said = f"{self.curves.size} curves of {self.asked}, taken by chance (seed {self.seed})"
        lost = [f"{count} left out ({why})" for why, count in self.left_out.items()]
        few = "fewer than three, so no median" if not self.x.size else ""
        return "; ".join(filter(None, (said, *lost, few))) + "."


@dataclass(frozen=True, eq=False)
class Placed:
    """One curve on the axes: (x, y) of each branch as measured, x in the order of z.

    `reason` says why there is none; the branches are then empty.
    """

    approach: tuple[Array, Array]
    retract: tuple[Array, Array]
    reason: str = ""


@dataclass(frozen=True)
class _Frame:
    """Where a curve is put: `zero` is taken off z, `shift` off x; `gain` turns d into y."""

    x: str
    zero: float
    shift: float
    gain: float

    def along(self, z: Array, d: Array) -> Array:
        """Base positions and deflections [nm] to x."""
        if self.x == "z":
            return z - self.zero
        depth = z - self.zero - d - self.shift
        return depth if self.x == "indentation" else -depth

    def deflection(self, z: Array, x: Array) -> Array:
        """The deflection that belongs to a place x (not "z") at base positions [nm]."""
        depth = x if self.x == "indentation" else -x
        return z - self.zero - self.shift - depth


def check_axes(x: str, y: str, align: str) -> None:
    """Raise InputError for axes that there are not."""
    for name, value, known in (("x axis", x, X_AXES), ("y axis", y, Y_AXES),
                               ("alignment", align, ALIGNMENTS)):  # fmt: skip
        if value not in known:
            raise InputError(f"There is no {name} {value!r}; known: {', '.join(known)}.")


def lacking(analysis: Analysis, y: str) -> str:
    """Why nothing can be drawn against these axes, and the repair; empty if all is known."""
    if not analysis.constants.lengths:
        return "The signal can't be turned into nm: type the deflection sensitivity."
    if y == "force" and not math.isfinite(analysis.constants.force_scale):
        return ("No spring constant is known, so there is no force: type the spring constant, or "
                "choose the deflection.")  # fmt: skip
    return ""


def _check_known(analysis: Analysis, y: str) -> None:
    why = lacking(analysis, y)
    if why:
        raise InputError(why)


def placed(analysis: Analysis, curve: int, *, x: str = "indentation", y: str = "force",
           align: str = "contact") -> Placed:  # fmt: skip
    """One curve as measured on the axes of an ensemble, its baselines taken off.

    Parameters
    ----------
    analysis : has done this curve
    curve : its number in the map; below zero there is none
    x, y, align : as in `aligned`
    """
    check_axes(x, y, align)
    _check_known(analysis, y)
    nothing = (np.empty(0), np.empty(0))
    found = _read(analysis, int(curve), x, y, align)
    if isinstance(found, str):
        return Placed(nothing, nothing, found)
    frame, branches = found
    made = [(frame.along(b.z, b.d), frame.gain * b.d) for b in branches]
    return Placed(made[0], made[1])


def aligned(analysis: Analysis, curves: Array, *, x: str = "indentation", y: str = "force",
            align: str = "contact", points: int = POINTS, most: int = MOST, seed: int = 0,
            progress: Progress | None = None) -> Ensemble:  # fmt: skip
    """Median and bands of some curves of an analysed map.

    Parameters
    ----------
    analysis : complete, or at least done with these curves
    curves : int (m,), numbers of curves in the map; those below zero are pixels without one
    x : "z" (base position), "indentation" δ = z - z₀ - d, or "separation" -δ [nm]
    y : "force" k d [nN] or "deflection" d [nm]
    align : "contact" puts each contact point at 0, "peak" the place of the peak; "none" leaves
        base positions as measured. Indentation and separation begin at contact by their meaning,
        so "none" is the same as "contact" for them
    points : of the grid
    most : of more curves so many are taken by chance, from `seed`
    progress : told after each curve; its ``cancel()`` stops

    Returns
    -------
    Ensemble : curves that can't be placed (no contact, no baseline) are left out and counted

    Raises
    ------
    InputError : unknown axes, a force without a spring constant, or a signal without its
        sensitivity
    ReadError : the file is damaged or gone
    Cancelled : on request
    """
    check_axes(x, y, align)
    _check_known(analysis, y)
    wanted = np.asarray(curves, dtype=np.int64).ravel()
    asked, progress = wanted.size, progress or Progress()
    if asked > most:
        chosen = np.random.default_rng(seed).choice(asked, most, replace=False)
        wanted = wanted[np.sort(chosen)]
    used, lost, ways = [], {}, []  # type: ignore[var-annotated]
    for done, curve in enumerate(wanted):
        progress.check()
        progress.step(done, wanted.size, "Laying curves over each other")
        found = _read(analysis, int(curve), x, y, align)
        if isinstance(found, str):
            lost[found] = lost.get(found, 0) + 1
            continue
        used.append(int(curve))
        ways.append([_way(*found, which) for which in range(2)])
    grid = _grid(ways, points, x, align)
    branches = {name: _spread([_at(way[i], grid) for way in ways], grid.size)
                for i, name in enumerate(BRANCHES)}  # fmt: skip
    return Ensemble(grid, branches, x, y, align, asked, wanted.size, seed,
                    np.array(used, dtype=np.int64), lost)  # fmt: skip


def _read(analysis: Analysis, curve: int, x: str, y: str, align: str
          ) -> tuple[_Frame, tuple[Branch, Branch]] | str:  # fmt: skip
    """A curve's frame and branches, or why it can't be placed."""
    if curve < 0:
        return NO_CURVE
    base, fit, constants = _found(analysis, curve)
    if not math.isfinite(base[bl.B_OFFSET]):
        return NO_BASELINE
    contact = float(fit[ft.Z0]) if fit.size and fit[ft.STATE] == ft.GOOD else math.nan
    if not math.isfinite(contact) and (x != "z" or align == "contact"):
        return NO_CONTACT
    gain = constants.force_scale if y == "force" else 1.0
    peak_z, peak_d = float(base[bl.PEAK_Z]), float(base[bl.PEAK_D])
    if x == "z":
        zero, shift = {"contact": contact, "peak": peak_z, "none": 0.0}[align], 0.0
    else:
        zero, shift = contact, peak_z - contact - peak_d if align == "peak" else 0.0
    if not math.isfinite(zero + shift):
        return NO_CONTACT
    branches = branches_of(analysis.map, curve, constants.scale[2], base)
    return _Frame(x, zero, shift, gain), branches


def _found(analysis: Analysis, curve: int) -> tuple[Array, Array, Constants]:
    """Baseline and fit of a curve, and the constants in use for it, its correction's if it has
    one."""
    for curves, own in analysis.corrections:
        at = np.flatnonzero(curves == curve)
        if at.size:
            tables, row = own.stage_tables, int(at[0])
            return tables["baseline"][row], tables["fit"][row], own.constants
    tables = analysis.stage_tables
    return tables["baseline"][curve], tables["fit"][curve], analysis.constants


# ---- on a grid


@dataclass(frozen=True, eq=False)
class _Way:
    """One branch that can be read at any x: `x` rising, what is read there (z, or y itself)."""

    x: Array
    read: Array
    frame: _Frame


def _way(frame: _Frame, branches: tuple[Branch, Branch], which: int) -> _Way:
    branch = branches[which]
    if frame.x == "z":
        return _Way(*_rising(branch.z - frame.zero, frame.gain * branch.d), frame)
    x, z = _rising(frame.along(branch.z, branch.d), branch.z, frame.x == "separation")
    return _Way(x, z, frame)


def _rising(x: Array, other: Array, falling: bool = False) -> tuple[Array, Array]:
    """x made to rise throughout, and what belongs to it; both shorter where samples were pooled."""
    if falling:
        x, other = x[::-1], other[::-1]
    if x.size < 2 or bool((np.diff(x) > 0.0).all()):
        return x, other
    from scipy.optimize import isotonic_regression

    found = isotonic_regression(x)
    starts = found.blocks[:-1]
    return found.x[starts], np.add.reduceat(other, starts) / np.diff(found.blocks)


def _at(way: _Way, grid: Array) -> Array:
    """y on the grid; NaN beyond the branch."""
    if way.x.size < 2:
        return np.full(grid.size, np.nan)
    read = np.interp(grid, way.x, way.read, np.nan, np.nan)
    if way.frame.x == "z":
        return read
    return way.frame.gain * way.frame.deflection(read, grid)


def _grid(ways: list[list[_Way]], points: int, x: str, align: str) -> Array:
    """Places from where the third curve begins to where the third last one ends; most of them about
    the contact, which against indentation is a small part of the whole."""
    ends = [(min(w.x[0] for w in way if w.x.size), max(w.x[-1] for w in way if w.x.size))
            for way in ways if any(w.x.size for w in way)]  # fmt: skip
    if len(ends) < FEWEST:
        return np.empty(0)
    low = sorted(e[0] for e in ends)[FEWEST - 1]
    high = sorted(e[1] for e in ends)[-FEWEST]
    if not high > low:
        return np.empty(0)
    if align == "none" and x == "z":
        return np.linspace(low, high, points)
    side = -1.0 if x == "separation" else 1.0  # towards the sample
    left, right = sorted((side * low, side * high))
    deep = max(right, 0.0) if align != "peak" else DEEP * (right - left)
    start = max(right - deep - max(deep, LEAST), left)
    near = max(round(NEAR * points), 2)
    found = np.linspace(start, right, near)
    if start > left:
        found = np.concatenate([np.linspace(left, start, points - near, endpoint=False), found])
    return found if side > 0.0 else -found[::-1]


def _spread(rows: list[Array], size: int) -> Spread:
    table = np.array(rows).reshape(len(rows), size)
    count = np.isfinite(table).sum(axis=0)
    found = np.full((len(SHARES), size), np.nan)
    enough = count >= FEWEST
    if enough.any():
        found[:, enough] = np.nanquantile(table[:, enough], SHARES, axis=0)
    lowest, low, median, high, highest = found
    return Spread(lowest, low, median, high, highest, count)


# ---- as a table


def rows_of(name: str, ensemble: Ensemble) -> list[list[Any]]:
    """The rows of an ensemble in `HEAD`'s columns."""
    rows: list[list[Any]] = []
    for branch, s in ensemble.branches.items():
        table = np.stack([ensemble.x, s.median, s.low, s.high, s.lowest, s.highest], axis=1)
        rows += [[name, branch, *map(float, line), int(n)]
                 for line, n in zip(table, s.count, strict=True) if n >= FEWEST]  # fmt: skip
    return rows


def rows_of_curve(name: str, curve: Placed) -> list[list[Any]]:
    """The rows of a single curve in `HEAD`'s columns; its bands are NaN and its count is 1."""
    return [[name, branch, float(a), float(b), *[math.nan] * 4, 1]
            for branch in BRANCHES
            for a, b in zip(*getattr(curve, branch), strict=True)]  # fmt: skip


HEAD = ("set", "branch", "x", "y_median", "y_16", "y_84", "y_2.5", "y_97.5", "curves")
