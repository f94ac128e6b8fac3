"""Which channel of the map does a picture's contrast follow?

Neighbouring pixels are alike in both, so chance correlations are far larger than between
independent pixels. The variance of a correlation of two unrelated stationary fields is
ΣΣ ρx(h) ρy(h) / N², as if there were N²/ΣΣ independent pixels (Clifford, Richardson & Hémon,
Biometrics 45 (1989) 123; Dutilleul, Biometrics 49 (1993) 305; from memory). Everything is done on
ranks, so the contrast may be any rising or falling function. In a partial correlation the other
channels are taken out of both by least squares on the ranks.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from ..errors import InputError
from ..uncertainty.effective import effective_pair

Array = np.ndarray
LEVEL = 0.05
FEWEST = 6.0
"""Independent pixels below which nothing is said."""
TOPOGRAPHY = ("height", "slope")
VERDICTS = ("modulus", "adhesion", "both", "alike", "topography", "other", "neither", "unknown")


@dataclass(frozen=True)
class Correlated:
    """A rank correlation with what spatial correlation leaves of its certainty.

    Attributes
    ----------
    value : -1 to 1; NaN if it can't be had
    low, high : its interval of 95 %
    p : chance of one so large between unrelated fields as smooth as these
    effective : independent pixels; pixels : how many there are
    p_naive : what p would be if all pixels were independent, for comparison only
    reason : why it is NaN
    """

    value: float = math.nan
    low: float = math.nan
    high: float = math.nan
    p: float = math.nan
    effective: float = math.nan
    pixels: int = 0
    p_naive: float = math.nan
    reason: str = ""


@dataclass(frozen=True)
class Apart:
    """How far two components lie apart in the picture.

    `distance` is the difference of the mean ranks over the spread of the ranks within them, upper
    minus lower; `correlated` that of the picture with membership.
    """

    lower: int
    upper: int
    distance: float
    correlated: Correlated


@dataclass(frozen=True)
class Followed:
    """One channel: correlation over all pixels, with the other channels taken out, and within
    the components (their mean ranks taken out); `within` is empty without components."""

    name: str
    overall: Correlated
    partial: Correlated
    within: Correlated


@dataclass(frozen=True)
class Comparison:
    """What a picture's contrast follows.

    Attributes
    ----------
    channels : name -> Followed; adhesion_given etc. are in `partial`: given all other channels
    pairwise : (channel, given) -> partial correlation given that one channel alone
    between : components next to each other in stiffness
    verdict : one of `VERDICTS`; words : the same in plain words
    missed : how large a correlation had to be to be found with a chance of 80 %
    """

    channels: dict[str, Followed]
    pairwise: dict[tuple[str, str], Correlated]
    between: tuple[Apart, ...]
    verdict: str
    words: str
    missed: float


def ranks_of(values: Array, mask: Array) -> Array:
    """Ranks of the pixels of a mask, centred, of variance one; NaN elsewhere."""
    from scipy.stats import rankdata

    out = np.full(values.shape, np.nan)
    found = rankdata(values[mask])
    spread = float(found.std()) if found.size else 0.0
    if spread > 0.0:
        out[mask] = (found - found.mean()) / spread
    return out


def correlated(
    one: Array, other: Array, mask: Array, pitch: tuple[float, float] = (1.0, 1.0),
    given: Sequence[Array] = (),
) -> Correlated:  # fmt: skip
    """Rank correlation of two maps over a mask, others taken out, by the modified t test.

    Parameters
    ----------
    one, other : (rows, cols); given : further maps, taken out of both
    mask : bool (rows, cols); pixels where a map is not finite are left out
    """
    for field in (one, other, *given):
        mask = mask & np.isfinite(field)
    n = int(np.count_nonzero(mask))
    if n < 4:
        return Correlated(pixels=n, reason="Fewer than 4 pixels have all values.")
    a, b = ranks_of(one, mask), ranks_of(other, mask)
    if given:
        basis = np.stack([np.ones(n), *(ranks_of(g, mask)[mask] for g in given)], axis=1)
        a, b = _without(a, mask, basis), _without(b, mask, basis)
    return _tested(a, b, mask, pitch, len(given))


def _without(field: Array, mask: Array, basis: Array) -> Array:
    """A map less what a basis (n, k) explains of it over a mask."""
    out = np.full(field.shape, np.nan)
    basis = np.nan_to_num(basis)
    out[mask] = field[mask] - basis @ np.linalg.lstsq(basis, field[mask], rcond=None)[0]
    if np.std(out[mask]) < 1e-7:
        out[mask] = 0.0
    return out


def _tested(
    a: Array, b: Array, mask: Array, pitch: tuple[float, float], taken: int
) -> Correlated:  # fmt: skip
    from scipy.stats import t

    n = int(np.count_nonzero(mask))
    x, y = a[mask], b[mask]
    scale = float(np.sqrt(np.sum(x * x) * np.sum(y * y)))
    if not scale > 0.0:
        return Correlated(pixels=n, reason="One of the two does not vary beside the others.")
    r = float(np.clip(np.sum(x * y) / scale, -1.0, 1.0))
    effective = effective_pair(a, b, mask, pitch)
    if not effective >= FEWEST + taken:
        return Correlated(pixels=n, effective=effective, reason="The fields are so smooth that "
                          f"only {effective:.2g} pixels are independent.")  # fmt: skip

    def chance(count: float) -> float:
        free = count - 1.0 - taken  # n_eff = 1 + 1/var(r), so two fewer is one fewer here
        safe = max(1.0 - r * r, 1e-15)
        return float(2.0 * t.sf(abs(r) * math.sqrt(free / safe), free))

    half = 1.96 / math.sqrt(max(effective - 2.0 - taken, 1.0))
    z = math.atanh(min(max(r, -1 + 1e-12), 1 - 1e-12))
    return Correlated(r, math.tanh(z - half), math.tanh(z + half), chance(effective), effective,
                      n, chance(float(n)))  # fmt: skip


def slope_of(height: Array, pitch: tuple[float, float]) -> Array:
    """Steepness of a height map, without unit; NaN beside missing pixels."""
    if min(height.shape) < 2:
        return np.full(height.shape, np.nan)
    down, along = np.gradient(height, *pitch)
    return np.hypot(down, along)


def compare(
    laid: Array, channels: Mapping[str, Array], usable: Array | None = None,
    pitch: tuple[float, float] = (1.0, 1.0), labels: Array | None = None,
) -> Comparison:  # fmt: skip
    """Say which channel the contrast of a picture follows.

    Parameters
    ----------
    laid : (rows, cols), the picture on the map's grid, NaN outside
    channels : name -> (rows, cols); "modulus", "adhesion", "height" and "slope" are understood;
        the slope is worked out from a height
    usable : bool (rows, cols), None for all
    pitch : distance between rows and between columns
    labels : int (rows, cols), component by rising stiffness, -1 for none

    Raises InputError if shapes differ or there is no channel.
    """
    fields = {name: np.asarray(v, dtype=float) for name, v in channels.items()}
    if not fields:
        raise InputError("There is no channel to compare the picture with.")
    if "height" in fields and "slope" not in fields:
        fields["slope"] = slope_of(fields["height"], pitch)
    mask = np.isfinite(laid) & (True if usable is None else np.asarray(usable, dtype=bool))
    for name, field in fields.items():
        if field.shape != laid.shape:
            raise InputError(f"The map “{name}” has another shape than the laid picture.")
        mask = mask & np.isfinite(field)
    found, pairwise = {}, {}
    for name, field in fields.items():
        others = [f for n, f in fields.items() if n != name]
        overall = correlated(laid, field, mask, pitch)
        partial = correlated(laid, field, mask, pitch, others) if others else overall
        within = Correlated(reason="There are no components.")
        if labels is not None:
            within = _within(laid, field, mask, pitch, labels)
        found[name] = Followed(name, overall, partial, within)
        for other in fields:
            if other != name:
                pairwise[name, other] = correlated(laid, field, mask, pitch, [fields[other]])
    between = () if labels is None else _between(laid, mask, pitch, labels)
    verdict, words, missed = _verdict(found)
    return Comparison(found, pairwise, between, verdict, words, missed)


def _within(
    laid: Array, field: Array, mask: Array, pitch: tuple[float, float], labels: Array
) -> Correlated:  # fmt: skip
    """Rank correlation with ranks taken inside each component."""
    a, b = np.full(laid.shape, np.nan), np.full(laid.shape, np.nan)
    kept = np.zeros(laid.shape, dtype=bool)
    for k in np.unique(labels[mask & (labels >= 0)]):
        inside = mask & (labels == k)
        x, y = ranks_of(laid, inside), ranks_of(field, inside)
        if np.isfinite(x[inside]).all() and np.isfinite(y[inside]).all():
            a[inside], b[inside] = x[inside], y[inside]
            kept |= inside
    if np.count_nonzero(kept) < 4:
        return Correlated(reason="No component has enough pixels that vary.")
    return _tested(a, b, kept, pitch, 0)


def _between(
    laid: Array, mask: Array, pitch: tuple[float, float], labels: Array
) -> tuple[Apart, ...]:  # fmt: skip
    known = [int(k) for k in np.unique(labels[mask & (labels >= 0)])]
    out = []
    for low, high in zip(known, known[1:], strict=False):
        both = mask & ((labels == low) | (labels == high))
        member = np.where(both, (labels == high).astype(float), np.nan)
        ranks = ranks_of(laid, both)
        a, b = ranks[both & (labels == low)], ranks[both & (labels == high)]
        inner = math.sqrt((a.size * a.var() + b.size * b.var()) / (a.size + b.size))
        distance = float(b.mean() - a.mean()) / inner if inner > 0.0 else math.nan
        out.append(Apart(low, high, distance, correlated(laid, member, both, pitch)))
    return tuple(out)


def _verdict(found: dict[str, Followed]) -> tuple[str, str, float]:
    tested = [f for f in found.values() if math.isfinite(f.overall.p)]
    if not tested:
        reason = next(iter(found.values())).overall.reason
        return "unknown", f"It can't be said what the picture follows. {reason}", math.nan
    fewest = min(f.overall.effective for f in tested)
    need = 1.96 + 1.15 * math.log10(max(len(tested), 1)) + 0.84  # several channels are looked at
    missed = math.tanh(need / math.sqrt(max(fewest - 2.0, 1.0)))
    level = LEVEL / len(tested)
    strong = [f.name for f in tested if f.overall.p < level]
    own = [f.name for f in tested if f.partial.p < level]
    if not strong and not own:
        return "neither", ("The picture follows none of the channels; a correlation below "
                           f"{missed:.2f} could have been missed."), missed  # fmt: skip
    named = own or strong
    pieces = ", ".join(f"{n} ({found[n].overall.value:+.2f})" for n in named)
    if not own and len(strong) > 1:
        return "alike", (f"The picture follows {pieces}, which go together here and can't be told "
                         "apart."), missed  # fmt: skip
    core = [n for n in named if n in ("modulus", "adhesion")]
    if len(core) == 2:
        return "both", (f"The picture follows both modulus and adhesion, each beyond the other: "
                        f"{pieces}."), missed  # fmt: skip
    if core:
        beside = [n for n in named if n not in core]
        more = f" It also goes with {', '.join(beside)}." if beside else ""
        one = found[core[0]].overall.value
        return core[0], f"The picture follows {core[0]} ({one:+.2f}).{more}", missed
    if all(n in TOPOGRAPHY for n in named):
        return "topography", f"The picture follows topography: {pieces}.", missed
    return "other", f"The picture follows {pieces}.", missed
