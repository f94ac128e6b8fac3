"""Does a channel follow the topography? And taking the dependence off, told and marked.

A component that simply stands higher and is stiffer is no artefact. So ranks are taken inside each
component, and pooled afterwards: only what goes up and down together within one component counts.

References
----------
P. Clifford, S. Richardson, D. Hémon, Biometrics 45 (1989) 123, and P. Dutilleul, Biometrics 49
(1993) 305, from memory: between two independent stationary fields the variance of their correlation
is ΣΣ ρ₁(h) ρ₂(h) / N² over all pairs of pixels; r is tested with 1 + 1/var pixels.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from .filters import Pitch
from .slopes import slopes

Array = np.ndarray
QUANTITIES = {
    "height": "the height",
    "slope": "the slope",
    "curvature": "the curvature (more in valleys)",
    "along_x": "the slope along the fast axis (left against right)",
    "along_y": "the slope along the slow axis (up against down)",
}
FEWEST, FEWEST_EFFECTIVE = 30, 10.0
MOST = 65536
"""Pixels tested; a larger map is thinned to every second, third ... row and column."""
WARN, NOTHING, UNKNOWN = "warn", "nothing seen", "can't be told"


@dataclass(frozen=True)
class Finding:
    """One channel against one topographic quantity.

    Attributes
    ----------
    quantity : a key of QUANTITIES
    component : its label; None for all, pooled within components
    correlation : Spearman's r; NaN if it can't be told
    p_value : two-sided, with the effective number of both fields; `naive` as if pixels were
        independent (only for comparison)
    effective : pixels that the test counts with
    pixels : that were compared
    change : of the channel from the 10 % to the 90 % quantile of the quantity [%]: the median over
        the highest fifth against that over the lowest fifth, within components
    verdict : "warn", "nothing seen" or "can't be told"
    words : one sentence
    """

    quantity: str
    component: int | None
    correlation: float
    p_value: float
    naive: float
    effective: float
    pixels: int
    change: float
    verdict: str
    words: str


def topography_check(
    values: Array, height: Array, labels: Array | None = None, usable: Array | None = None,
    pitch: Pitch = (1.0, 1.0), *, name: str = "channel", log: bool = True, smoothing: float = 0.0,
    quantities: tuple[str, ...] = tuple(QUANTITIES), level: float = 0.05, smallest: float = 5.0,
    each: bool = True,
) -> list[Finding]:  # fmt: skip
    """Test a channel against height, slope, curvature and the slope's direction.

    Parameters
    ----------
    values, height : (rows, cols), the height in nm and levelled; NaN where missing
    labels : int (rows, cols), -1 is left out; None takes all pixels as one
    usable : bool (rows, cols)
    pitch : between rows and between columns; the fast axis is along the rows (x)
    name : of the channel, for the sentences
    log : the channel is positive and its change is a ratio; pixels that are not are left out
    smoothing : of the height before slopes are taken, in the unit of `pitch`
    quantities : which to test, keys of QUANTITIES
    level : of the test, shared among the quantities (Bonferroni)
    smallest : change that matters [%]
    each : also for each component alone; the pooled findings come first

    Raises
    ------
    ValueError : an unknown quantity, shapes that differ
    """
    _known(quantities)
    rank, v, topography, thin = _prepared(values, height, labels, usable, pitch, log, smoothing)
    groups: list[int | None] = [None]
    present = [int(c) for c in np.unique(rank[rank >= 0])]
    if each and len(present) > 1:
        groups += present
    step = (pitch[0] * thin, pitch[1] * thin)
    return [
        _finding(v, topography[quantity], rank if c is None else np.where(rank == c, c, -1), step,
                 quantity, c, name, log, level / len(quantities), smallest)
        for c in groups for quantity in quantities
    ]  # fmt: skip


def _known(names: tuple[str, ...]) -> None:
    for one in names:
        if one not in QUANTITIES:
            raise ValueError(f"no topographic quantity {one!r}; known: {', '.join(QUANTITIES)}")


def _prepared(values: Array, height: Array, labels: Array | None, usable: Array | None,
              pitch: Pitch, log: bool, smoothing: float, thin: int = 0
              ) -> tuple[Array, Array, dict[str, Array], int]:  # fmt: skip
    """Labels of the pixels to use, the channel, the quantities and the step of the thinning."""
    values, height = np.asarray(values, dtype=float), np.asarray(height, dtype=float)
    for other in (height, labels, usable):
        if other is not None and np.shape(other) != values.shape:
            raise ValueError(f"the channel has the shape {values.shape}, not {np.shape(other)}")
    used = np.zeros(values.shape, int) if labels is None else np.asarray(labels, dtype=int).copy()
    good = np.isfinite(values) & np.isfinite(height)
    if usable is not None:
        good &= np.asarray(usable, dtype=bool)
    if log:
        good &= values > 0.0
    used[~good] = -1
    v = np.log(np.where(good, values, 1.0)) if log else np.where(good, values, 0.0)
    found = slopes(height, pitch, smoothing)
    topography = {"height": height, "slope": found.slope, "curvature": found.curvature,
                  "along_x": found.along_x, "along_y": found.along_y}  # fmt: skip
    thin = thin or max(math.ceil(math.sqrt(values.size / MOST) - 1e-9), 1)
    cut = np.s_[::thin, ::thin]
    return used[cut], v[cut], {k: t[cut] for k, t in topography.items()}, thin


def _ranks(v: Array, labels: Array) -> Array:
    """Ranks within each component, mean 0 and variance 1 there; 0 elsewhere."""
    from scipy.stats import rankdata

    out = np.zeros(v.shape)
    for c in np.unique(labels[labels >= 0]):
        inside = labels == c
        ranks = rankdata(v[inside])
        ranks -= ranks.mean()
        size = float(np.sqrt(np.mean(ranks**2)))
        out[inside] = ranks / size if size > 0.0 else 0.0
    return out


def effective_pairs(a: Array, b: Array, mask: Array, pitch: Pitch = (1.0, 1.0)) -> float:
    """1 + 1/var(r): the pixels with which a correlation of two fields is to be tested."""
    from ..uncertainty.effective import effective_pair

    return 1.0 + effective_pair(a, b, mask, pitch)


def _p_value(r: float, n: float) -> float:
    """Two-sided, from Student's t with n - 2 degrees of freedom."""
    from scipy.stats import t

    if not n > 2.0:
        return math.nan
    r = min(max(r, -1.0 + 1e-15), 1.0 - 1e-15)
    return float(2.0 * t.sf(abs(r) * math.sqrt((n - 2.0) / (1.0 - r * r)), n - 2.0))


def _change(v: Array, t: Array, labels: Array, log: bool) -> float:
    """Per cent from the lowest to the highest fifth, weighted over components by pixels."""
    total, weight = 0.0, 0
    for c in np.unique(labels[labels >= 0]):
        inside = labels == c
        own, topo = v[inside], t[inside]
        low, high = np.quantile(topo, (0.2, 0.8))
        bottom, top = (float(np.median(own[m])) for m in (topo <= low, topo >= high))
        step = top - bottom
        if not log:
            middle = abs(float(np.median(own)))
            step = step / middle if middle > 0.0 else math.nan
        total, weight = total + step * own.size, weight + own.size
    mean = total / weight if weight else math.nan
    return 100.0 * (math.expm1(mean) if log else mean)


def _finding(v: Array, t: Array, labels: Array, pitch: Pitch, quantity: str, component: int | None,
             name: str, log: bool, level: float, smallest: float) -> Finding:  # fmt: skip
    """One test."""
    labels = np.where(np.isfinite(t), labels, -1)
    kinds, counts = np.unique(labels[labels >= 0], return_counts=True)
    for c in kinds[counts < FEWEST]:
        labels = np.where(labels == c, -1, labels)
    mask = labels >= 0
    pixels = int(np.count_nonzero(mask))
    nan = math.nan
    where = "within the components" if kinds.size > 1 else "over the map"
    where = where if component is None else f"within component {component}"
    what = QUANTITIES[quantity]
    if not pixels:
        words = f"Whether the {name} follows {what} {where} can't be told: too few pixels."
        return Finding(quantity, component, nan, nan, nan, nan, 0, nan, UNKNOWN, words)
    a, b = _ranks(v, labels), _ranks(t, labels)
    effective = effective_pairs(a, b, mask, pitch)
    if not math.isfinite(effective):
        words = f"Whether the {name} follows {what} {where} can't be told: one does not vary."
        return Finding(quantity, component, nan, nan, nan, nan, pixels, nan, UNKNOWN, words)
    r = float(np.mean((a * b)[mask]))
    p, naive = _p_value(r, effective), _p_value(r, float(pixels))
    change = _change(v, np.where(mask, t, 0.0), labels, log)
    verdict, words = _verdict(r, p, effective, change, level, smallest,
                              f"the {name}", what, where)  # fmt: skip
    return Finding(quantity, component, r, p, naive, effective, pixels, change, verdict, words)


def _verdict(r: float, p: float, effective: float, change: float, level: float, smallest: float,
             name: str, what: str, where: str) -> tuple[str, str]:  # fmt: skip
    start = name[:1].upper() + name[1:]
    figures = f"(r = {r:.2f}, p = {p:.2g} with {effective:.3g} independent pixels)"
    if effective < FEWEST_EFFECTIVE:
        return UNKNOWN, (f"Whether {name} follows {what} {where} can't be told: the pixels count "
                         f"as only {effective:.2g} independent ones.")  # fmt: skip
    if p < level and abs(change) >= smallest:
        return WARN, (f"{start} follows {what} {where}: {change:+.0f} % from its 10 % "
                      f"to its 90 % quantile {figures}. This may be an artefact of the "
                      "topography.")  # fmt: skip
    if p < level:
        return NOTHING, (f"{start} follows {what} {where}, but by {change:+.1f} % only "
                         f"{figures}.")  # fmt: skip
    if abs(change) >= smallest and 1.96 / math.sqrt(effective - 1.0) > 0.3:
        return UNKNOWN, (f"Whether {name} follows {what} {where} can't be told: {change:+.0f} %, "
                         f"but chance alone can do that {figures}.")  # fmt: skip
    return NOTHING, f"{start} was not seen to follow {what} {where} {figures}."


@dataclass(frozen=True, eq=False)
class Corrected:
    """A channel without what follows the topography.

    Attributes
    ----------
    values : (rows, cols), NaN where the channel or a quantity is missing
    removed : (rows, cols): the channel less `values`, 0 where the component could not be fitted
    words : what was done, and the caution
    components : labels that were corrected
    """

    values: Array
    removed: Array
    words: str
    components: tuple[int, ...]


def corrected(
    values: Array, height: Array, labels: Array | None = None, usable: Array | None = None,
    pitch: Pitch = (1.0, 1.0), *, on: tuple[str, ...] = ("height", "slope"), name: str = "channel",
    log: bool = True, smoothing: float = 0.0,
) -> Corrected:  # fmt: skip
    """Take a linear dependence on topographic quantities off, inside each component.

    The logarithm (or the channel itself) is regressed robustly on the quantities; each component
    keeps its middle. This can remove real structure: where domains are really stiffer *and* higher
    inside one component, that goes too. Pixels outside all components are missing afterwards.

    Parameters are those of `topography_check`; `on` names the quantities.

    Raises
    ------
    ValueError : an unknown quantity, shapes that differ
    """
    from .levelling import _robust

    _known(on)
    values = np.asarray(values, dtype=float)
    height = np.asarray(height, dtype=float)
    used, v, topography, _ = _prepared(values, height, labels, usable, pitch, log, smoothing, 1)
    for one in on:
        used = np.where(np.isfinite(topography[one]), used, -1)
    taken, done, spans = np.zeros(values.shape), [], []
    for c in np.unique(used[used >= 0]):
        inside = used == c
        columns = [topography[one][inside] for one in on]
        columns = [(x - np.median(x)) / (float(np.std(x)) or 1.0) for x in columns]
        design = np.column_stack([np.ones(v[inside].size), *columns])
        found = _robust(design, v[inside]) if inside.sum() >= FEWEST else None
        if found is None:
            continue
        part = design[:, 1:] @ found[1:]
        taken[inside] = part - np.median(part)
        done.append(int(c))
        spans.append(float(np.ptp(np.quantile(part, (0.1, 0.9)))))
    new = np.where(used >= 0, np.exp(v - taken) if log else v - taken, np.nan)
    removed = np.where(used >= 0, values - new, np.nan)
    return Corrected(new, removed, _told(name, on, done, spans, log), tuple(done))


def _told(name: str, on: tuple[str, ...], done: list[int], spans: list[float], log: bool) -> str:
    if not done:
        return f"The {name} was not corrected: no component had enough pixels to fit."
    what = " and ".join(QUANTITIES[one] for one in on)
    size = ", ".join(f"{100.0 * math.expm1(s):.2g} %" if log else f"{s:.3g}" for s in spans)
    return (
        f"From the {name} a linear dependence{' of its logarithm' * log} on {what} was taken "
        f"off inside each component ({', '.join(map(str, done))}), by {size} between the 10 % "
        "and 90 % quantiles. Real structure that follows the topography is removed with it."
    )
