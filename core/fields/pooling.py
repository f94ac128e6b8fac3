"""One number from several maps: the mean over maps, how sure it is, and how much the maps differ.

Each map gives a value with its own local standard error s. The maps differ by more than that where
the sample does: a between-map standard deviation τ. The interval of the mean uses both, so it says
what another set of maps would give and not only what these pixels do.

References
----------
See `between`. Interval for another map, averaged over τ: K. Nagashima, H. Noma, T. A. Furukawa,
Stat. Methods Med. Res. 28 (2019) 1689, here with normal laws in
place of drawn ones. Homogeneity: W. G. Cochran, Biometrics 10 (1954) 101 (from
memory). Standard deviation between fields over √n: the route of ASTM E562 (from memory).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from .between import between, misfit, taus_at

Array = np.ndarray
LEVEL = 0.05
FEWEST = 2
APART_FROM = 4
"""Fewer maps than this can't tell which of them stands apart."""
PARTS = np.concatenate([[0.025], (np.arange(50) + 0.5) / 50.0, [0.975]])
"""Of τ's distribution: the ends of its interval, and between them evenly those over which the
interval for another map is averaged."""


@dataclass(frozen=True)
class Pooled:
    """One number over several maps, on the scale on which it is pooled.

    Attributes
    ----------
    count : maps with a value and an error
    mean, error, low, high : over maps, standard error, 95 % interval by Student's t
    tau, tau_low, tau_high : standard deviation between maps and its 95 % interval
    other_low, other_high : where another map's true value lies, 95 %; NaN with fewer than 3 maps
    q, p : Cochran's Q, and the probability of as much scatter if the maps did not differ
    own : root of the mean variance that the maps' own errors explain
    naive_error : standard error if all pixels were independent and all maps alike; NaN if not given
    common : standard uncertainty that all maps share, which more maps do not lessen
    total_low, total_high : 95 % interval with it
    apart : place of a map that stands apart from the others, -1 for none
    apart_p : its probability, times the number of maps; NaN if not looked at
    used : places of the maps that count
    reason : why there is no number
    """

    count: int
    mean: float = math.nan
    error: float = math.nan
    low: float = math.nan
    high: float = math.nan
    tau: float = math.nan
    tau_low: float = math.nan
    tau_high: float = math.nan
    other_low: float = math.nan
    other_high: float = math.nan
    q: float = math.nan
    p: float = math.nan
    own: float = math.nan
    naive_error: float = math.nan
    common: float = 0.0
    total_low: float = math.nan
    total_high: float = math.nan
    apart: int = -1
    apart_p: float = math.nan
    used: tuple[int, ...] = ()
    reason: str = ""

    @property
    def differ(self) -> bool:
        """Whether the maps differ by more than their own errors explain."""
        return self.p < LEVEL

    def words(self, titles: Sequence[str] = (), relative: bool = False) -> str:
        """What the scatter says, with figures; `relative` for a scale of ln, told in per cent."""
        if self.reason:
            return self.reason
        said = [_scatter_words(self, relative)]
        if self.apart >= 0:
            name = titles[self.apart] if self.apart < len(titles) else f"map {self.apart + 1}"
            said.append(f"{name} stands apart from the others (p = {self.apart_p:.2g}, for "
                        "looking at all of them).")  # fmt: skip
        if self.count < 3:
            said.append("Two maps hardly tell how much maps differ, so the interval is wide.")
        return " ".join(said)


def _scatter_words(pooled: Pooled, relative: bool) -> str:
    def size(value: float) -> str:
        return f"{100.0 * math.expm1(value):.3g} %" if relative else f"{value:.3g}"

    between_maps = f"{size(pooled.tau)} ({size(pooled.tau_low)} to {size(pooled.tau_high)})"
    degrees = f"{pooled.count - 1} degree{'s' * (pooled.count > 2)} of freedom"
    chance = f"Q = {pooled.q:.3g} for {degrees}, p = {pooled.p:.2g}"
    if pooled.differ:
        return (f"The maps differ by more than their own errors explain: {between_maps} between "
                f"maps beside {size(pooled.own)} of their own ({chance}).")  # fmt: skip
    return (f"The maps differ by no more than their own errors explain, {size(pooled.own)} "
            f"({chance}); between maps {between_maps}.")  # fmt: skip


def pool(
    values: Sequence[float] | Array, errors: Sequence[float] | Array,
    common: float = 0.0, naive_error: float = math.nan, look: bool = True,
) -> Pooled:  # fmt: skip
    """Pool one number over maps.

    Parameters
    ----------
    values, errors : (n,) of the maps with their local standard errors; a map with NaN in either is
        left out
    common : standard uncertainty on the same scale that all maps share (same lever, same tip)
    naive_error : for comparison
    look : whether to look for a map that stands apart

    Returns
    -------
    Pooled : NaN with a reason if fewer than two maps have a value
    """
    x, s = np.asarray(values, float), np.asarray(errors, float)
    used = np.flatnonzero(np.isfinite(x) & np.isfinite(s) & (s >= 0.0))
    if used.size < FEWEST:
        have = "no map has" if not used.size else "only one map has"
        return Pooled(int(used.size), used=tuple(map(int, used)), naive_error=naive_error,
                      reason=f"{have} a value with an error here; two maps at least are "
                      "needed.".capitalize())  # fmt: skip
    x, s = x[used], s[used]
    design = np.ones((x.size, 1))
    made = between(x, s, design)
    mean, error = float(made.coefficients[0]), math.sqrt(float(made.covariance[0, 0]))
    reach = _student(made.degrees) * error
    taus = taus_at(x, s, design, PARTS)
    q = misfit(x, s, design)
    # two normal parts of different kind: each one's own reach, added in squares
    wide = math.hypot(reach, 1.959964 * common)
    other = _other(x, s, taus)
    apart, apart_p = _apart(x, s) if look else (-1, math.nan)
    return Pooled(
        int(x.size), mean, error, mean - reach, mean + reach, made.tau,
        float(taus[0]), float(taus[-1]),
        mean - other, mean + other, q, _chance(q, made.degrees),
        math.sqrt(float(np.mean(s**2))), naive_error, common, mean - wide, mean + wide,
        int(used[apart]) if apart >= 0 else -1, apart_p, tuple(map(int, used)),
    )  # fmt: skip


def between_field(values: Sequence[float] | Array) -> tuple[float, float, float]:
    """Mean, standard error s/√n and half width of the 95 % interval from the scatter between
    fields alone, as ASTM E562 has it; NaN with fewer than two."""
    x = np.asarray(values, float)
    x = x[np.isfinite(x)]
    if x.size < FEWEST:
        return math.nan, math.nan, math.nan
    error = float(x.std(ddof=1)) / math.sqrt(x.size)
    return float(x.mean()), error, _student(x.size - 1) * error


def _student(degrees: int, part: float = 0.975) -> float:
    from scipy.special import stdtrit

    return float(stdtrit(degrees, part))


def _chance(q: float, degrees: int) -> float:
    from scipy.special import chdtrc

    return float(chdtrc(degrees, q))


def _other(x: Array, s: Array, taus: Array) -> float:
    """Half width of the interval for another map's true value.

    Averaged over what τ may be (its distribution of confidence), since with few maps the likeliest
    τ is often zero. The mean's own part enters as a normal one with the reach of its Student's t.
    """
    from scipy.special import erfc

    if x.size < 3:
        return math.nan
    taus = taus[1:-1]
    reach = _student(x.size - 1) / 1.959964
    weights = 1.0 / (np.maximum(s, 1e-9 * float(np.ptp(x)) + 1e-150) ** 2 + taus[:, None] ** 2)
    wide = np.sqrt(taus**2 + reach**2 / weights.sum(1))
    low, high = 0.0, 100.0 * float(wide.max())
    for _ in range(30):
        middle = 0.5 * (low + high)
        beyond = float(np.mean(erfc(middle / (math.sqrt(2.0) * wide))))
        low, high = (middle, high) if beyond > LEVEL else (low, middle)
    return high


def _apart(x: Array, s: Array) -> tuple[int, float]:
    """The map furthest from what the others say, and its p times the number of maps; -1 if that is
    not below the level."""
    from scipy.special import stdtr

    n = x.size
    if n < APART_FROM:
        return -1, math.nan
    found = np.empty(n)
    for i in range(n):
        rest = np.arange(n) != i
        design = np.ones((n - 1, 1))
        made = between(x[rest], s[rest], design)
        error = max(float(made.covariance[0, 0]), float(made.plain[0, 0]))
        wide = math.sqrt(float(s[i]) ** 2 + made.tau**2 + error)
        off = abs(float(x[i]) - float(made.coefficients[0])) / max(wide, 1e-300)
        found[i] = 2.0 * float(stdtr(n - 2, -off))
    worst = int(np.argmin(found))
    p = min(1.0, float(found[worst]) * n)
    return (worst, p) if p < LEVEL else (-1, p)
