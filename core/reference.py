"""One analysis against another of the same map: what other settings did to the numbers.

Both read the same curves, so they share the noise: the ± of a change can't be made of the ± of the
two medians. It comes from the changes themselves, pixel by pixel: the median of the paired
differences, with the standard error that the scatter of these differences gives it over as many
independent pixels as they show.

The standard error of a median is half the distance between the quantiles 1/2 ± 1/(2 √n_eff): the
interval that order statistics give, whatever the distribution (H. A. David & H. N. Nagaraja, Order
Statistics, 3rd ed. 2003, section 7.1, from memory). Changes are often skewed, and where more than
half of the pixels did not change at all the median is exactly 0.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import partial
from typing import Any

import numpy as np

from .analysis import Analysis, filled
from .channels import CHANNELS
from .errors import InputError
from .pipeline import workers
from .settings import Settings, declarations
from .steps.tools import MAD_TO_SIGMA
from .uncertainty.effective import Lags
from .uncertainty.groups import pitch_of

Array = np.ndarray
USUAL = ("modulus", "adhesion", "work_of_adhesion", "dissipation", "indentation", "stiffness",
         "contact_height", "residual")  # fmt: skip
"""Channels of the rows unless others are asked for."""
UNDEFINED = 0.05
"""With a greater share of pixels at or below zero before, a change has no ratio."""
FEWEST = 4.0
"""Below so many independent pixels a median has no standard error."""
SAME = 1e-9
"""Values that differ by less, relative to the largest, are the same but for rounding."""
ALL = "All"


@dataclass(frozen=True)
class Change:
    """One channel over the pixels of one component (or all), before and after; NaN where there is
    none.

    Attributes
    ----------
    channel, unit : core's own
    number, title : of the component; None and "All" for all pixels
    before, after : medians, each over the pixels that its own analysis trusts
    pixels, independent : that both trust with a value, and as how many independent ones they count
        in the relative change, or in the difference where there is no ratio
    difference, error, low, high : median of after - before over these, its standard error and 95 %
        interval
    relative, relative_error, relative_low, relative_high : median of after/before - 1; NaN for a
        signed channel, a height, or one with many values at or below zero
    others : of the change of the medians what comes from other pixels being trusted, and not from
        other values of the same ones
    beyond : share of the pixels that changed by more than twice the joint ± (`significance_map`);
        NaN for a channel without ±
    trusted_before, trusted_after : pixels of the component
    gained, lost : pixels trusted now and not before, and the other way round; -1 where it is not
        known which component a lost pixel belonged to
    """

    channel: str
    unit: str
    number: int | None
    title: str
    before: float
    after: float
    pixels: int
    independent: float
    difference: float
    error: float
    low: float
    high: float
    relative: float
    relative_error: float
    relative_low: float
    relative_high: float
    others: float
    beyond: float
    trusted_before: int
    trusted_after: int
    gained: int
    lost: int

    @property
    def has_ratio(self) -> bool:
        """Whether the change can be told in per cent."""
        return math.isfinite(self.relative)


@dataclass(frozen=True)
class Differing:
    """One setting that is not the same in both; values as in the settings, and in words."""

    path: str
    label: str
    before: Any
    now: Any
    before_words: str
    now_words: str


def differing(before: Settings, now: Settings) -> tuple[Differing, ...]:
    """The settings in which two differ, in the order of the forms."""
    found = []
    for path, spec in declarations():
        old, new = before.value(path), now.value(path)
        if old != new:
            found.append(Differing(path, spec.metadata["label"], old, new,
                                   value_words(spec, old), value_words(spec, new)))  # fmt: skip
    return tuple(found)


def value_words(spec: Any, value: Any) -> str:
    """A setting's value with its unit, as a person reads it."""
    if value is None:
        return "empty" if "Empty:" in spec.metadata["help"] else "as recorded"
    options = spec.metadata.get("options")
    if options:
        return str(options[value])
    return f"{value:.10g} {spec.metadata['unit']}".strip()


# ---- maps


def check_pair(reference: Analysis, now: Analysis) -> None:
    """Raise InputError unless both are of the same map."""
    one, other = reference.map, now.map
    if one is not other and (one.shape != other.shape or one.uuid != other.uuid or not one.uuid):
        raise InputError("The two analyses are of different maps: analyse the same map under both "
                         "settings.")  # fmt: skip


def done_map(analysis: Analysis) -> Array:
    """(rows, cols) bool: pixels with a curve that has been analysed so far."""
    index = analysis.map.index_map
    return (index >= 0) & analysis.done[np.maximum(index, 0)]


def both_trusted(reference: Analysis, now: Analysis) -> Array:
    """(rows, cols) bool: pixels that both analyses have reached and trust."""
    return reference.trusted & now.trusted & done_map(reference) & done_map(now)


def difference_map(reference: Analysis, now: Analysis, channel: str) -> Array:
    """Now less before, (rows, cols) in the channel's core unit.

    NaN where either has no value or is not trusted. While `now` is still being refined, pixels that
    it has not reached are filled from the coarse ones around.
    """
    check_pair(reference, now)
    return _shown(now, _paired(reference, now, channel, now.channel(channel)
                               - reference.channel(channel)))  # fmt: skip


def ratio_map(reference: Analysis, now: Analysis, channel: str) -> Array:
    """100 ln(now/before), (rows, cols): in per cent for small changes, and symmetric, so that twice
    as much is +69 and half as much -69. NaN as in `difference_map`, and where either is not above
    zero."""
    check_pair(reference, now)
    return _shown(now, _paired(reference, now, channel, _log_ratio(
        reference.channel(channel), now.channel(channel))))  # fmt: skip


def significance_map(reference: Analysis, now: Analysis, channel: str) -> Array | None:
    """Now less before in units of the joint ±, (rows, cols); None for a channel without ±.

    The joint ± is √(s₁² + s₂²) of the two local ±, as if they were independent. They share the
    noise of the curve, so the true ± of the change is smaller as a rule, and a pixel is further
    from no change than the figure says.
    """
    check_pair(reference, now)
    found = _in_errors(reference, now, channel)
    return None if found is None else _shown(now, _paired(reference, now, channel, found))


def _paired(reference: Analysis, now: Analysis, channel: str, values: Array) -> Array:
    return np.where(both_trusted(reference, now) & np.isfinite(values), values, np.nan)


def _shown(now: Analysis, values: Array) -> Array:
    return filled(values, now.step)


def _log_ratio(before: Array, after: Array) -> Array:
    with np.errstate(divide="ignore", invalid="ignore"):
        return 100.0 * (np.log(np.where(after > 0.0, after, np.nan))
                        - np.log(np.where(before > 0.0, before, np.nan)))  # fmt: skip


def _in_errors(reference: Analysis, now: Analysis, channel: str) -> Array | None:
    one, other = reference.errors(channel), now.errors(channel)
    if one is None or other is None:
        return None
    with np.errstate(divide="ignore", invalid="ignore"):
        return (now.channel(channel) - reference.channel(channel)) / np.hypot(one, other)


# ---- rows


@dataclass(frozen=True, eq=False)
class _Group:
    """The pixels of one component, or all: trusted before, now, and by both."""

    number: int | None
    title: str
    before: Array
    after: Array
    counts: tuple[int, int, int, int]

    @property
    def both(self) -> Array:
        return self.before & self.after


def changes(reference: Analysis, now: Analysis, labels: Array | None = None,
            channels: Sequence[str] | None = None, titles: Sequence[str] = (),
            labels_before: Array | None = None) -> tuple[Change, ...]:  # fmt: skip
    """What changed from one analysis to another, for all pixels and for each component.

    Parameters
    ----------
    reference, now : of the same map; `now` may still be on its way, only pixels that are done count
    labels : (rows, cols) int, the component of each pixel now; -1 for none. None: all pixels only
    channels : names; the usual ones if None
        Labels that were made by the very channel that changed choose pixels by their value now, and
        so, near a threshold, by their change
    titles : of the components, in order; their numbers if there are fewer
    labels_before : the components under the reference, for pixels that have lost trust and so have
        no label now; without it the lost ones of a component are not known

    Returns
    -------
    tuple of Change : channel by channel, all pixels first

    Raises
    ------
    InputError : the analyses are of different maps, or labels of another shape
    """
    check_pair(reference, now)
    names = tuple(channels if channels is not None else USUAL)
    unknown = [name for name in names if name not in CHANNELS]
    if unknown:
        raise InputError(f"There is no channel {unknown[0]!r}; known: {', '.join(CHANNELS)}.")
    groups = _groups(reference, now, labels, titles, labels_before)
    for name in names:  # worked out once, before the threads ask for them
        for each in (reference, now):
            each.per_curve(name)
    jobs = [(name, group) for name in names for group in groups]
    lags: dict[bytes, Lags] = {}
    with ThreadPoolExecutor(workers()) as pool:  # Fourier transforms let the others go on
        return tuple(pool.map(partial(_change, reference, now, lags), jobs))


def _groups(reference: Analysis, now: Analysis, labels: Array | None, titles: Sequence[str],
            labels_before: Array | None) -> list[_Group]:  # fmt: skip
    seen = done_map(reference) & done_map(now)
    before, after = reference.trusted & seen, now.trusted & seen
    found = [_group(None, ALL, np.ones(seen.shape, bool), before, after, True)]
    if labels is None:
        return found
    for name, one in (("labels", labels), ("labels before", labels_before)):
        if one is not None and one.shape != seen.shape:
            raise InputError(f"The {name} have the shape {one.shape}, the map has {seen.shape}.")
    belongs = labels
    if labels_before is not None:
        belongs = np.where((labels < 0) & ~after, labels_before, labels)
    for k in range(max(int(labels.max(initial=-1)) + 1, len(titles))):
        title = titles[k] if k < len(titles) else str(k + 1)
        found.append(_group(k, title, belongs == k, before, after, labels_before is not None))
    return found


def _group(number: int | None, title: str, mask: Array, before: Array, after: Array,
           lost_known: bool) -> _Group:  # fmt: skip
    one, other = mask & before, mask & after
    lost = int(np.count_nonzero(one & ~other)) if lost_known else -1
    gained = int(np.count_nonzero(other & ~one))
    counts = int(np.count_nonzero(one)), int(np.count_nonzero(other)), gained, lost
    return _Group(number, title, one, other, counts)


def _change(reference: Analysis, now: Analysis, lags: dict[bytes, Lags],
            job: tuple[str, _Group]) -> Change:  # fmt: skip
    name, group = job
    old, new = reference.channel(name), now.channel(name)
    paired = group.both & np.isfinite(old) & np.isfinite(new)
    was, now_is = old[paired], new[paired]
    step = now_is - was
    ratio = _ratio(name, was, now_is)
    seen = partial(_independent, paired, pitch_of(now), lags)
    independent = seen(step)
    change, relative = median_of(step, independent), (math.nan,) * 4
    if ratio is not None:
        independent = seen(_filled_ratio(ratio))
        middle, error, low, high = median_of(ratio[np.isfinite(ratio)], independent)
        relative = middle - 1.0, error, low - 1.0, high - 1.0
    before, after = _median(old[group.before]), _median(new[group.after])
    others = (after - _median(now_is)) - (before - _median(was))
    return Change(name, CHANNELS[name].unit, group.number, group.title, before, after,
                  int(step.size), independent, *change, *relative, others,
                  _beyond(reference, now, name, paired), *group.counts)  # fmt: skip


def _ratio(name: str, before: Array, after: Array) -> Array | None:
    """after/before, NaN where before is not above zero; None where a ratio has no meaning."""
    good = before > 0.0
    if CHANNELS[name].kind != "magnitude" or not before.size:
        return None
    if np.count_nonzero(~good) > UNDEFINED * before.size:
        return None
    return np.divide(after, before, out=np.full(before.size, np.nan), where=good)


def _filled_ratio(ratio: Array) -> Array:
    """Without NaN, so that each pixel has a figure in the correlation."""
    return np.where(np.isfinite(ratio), ratio, np.nanmedian(ratio))


def _calmed(values: Array) -> Array:
    """Held within three robust standard deviations of the median, so that single pixels do not
    decide about the correlation."""
    if not values.size:
        return values
    centre = float(np.median(values))
    wide = MAD_TO_SIGMA * float(np.median(np.abs(values - centre)))
    return np.clip(values, centre - 3.0 * wide, centre + 3.0 * wide) if wide > 0.0 else values


def _independent(mask: Array, pitch: tuple[float, float], lags: dict[bytes, Lags],
                 values: Array) -> float:  # fmt: skip
    """n_eff of the values of a mask's pixels (N,); N where they differ by rounding alone."""
    if values.size < 2:
        return math.nan
    if float(np.ptp(values)) <= SAME * float(np.abs(values).max()):
        return float(values.size)
    key = np.packbits(mask).tobytes()
    if key not in lags:
        lags[key] = Lags(mask, pitch)
    image = np.zeros(mask.shape)
    image[mask] = _calmed(values)
    return lags[key].measure(image).number


def median_of(values: Array, independent: float) -> tuple[float, float, float, float]:
    """Median, its standard error, and its 95 % interval, for values that count as `independent`
    ones; NaN where there are too few."""
    if not values.size:
        return (math.nan,) * 4
    middle = float(np.median(values))
    if not independent >= FEWEST:
        return middle, math.nan, math.nan, math.nan
    near = 0.5 / math.sqrt(independent)
    lower, upper = np.quantile(values, (0.5 - near, 0.5 + near))
    far = 1.96 * near
    ends = (math.nan, math.nan)
    if far < 0.5:
        ends = tuple(map(float, np.quantile(values, (0.5 - far, 0.5 + far))))  # type: ignore
    return middle, 0.5 * float(upper - lower), *ends


def _median(values: Array) -> float:
    values = values[np.isfinite(values)]
    return float(np.median(values)) if values.size else math.nan


def _beyond(reference: Analysis, now: Analysis, name: str, paired: Array) -> float:
    found = _in_errors(reference, now, name)
    if found is None:
        return math.nan
    known = found[paired]
    known = known[np.isfinite(known)]
    return float(np.mean(np.abs(known) > 2.0)) if known.size else math.nan
