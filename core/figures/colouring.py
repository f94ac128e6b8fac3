"""From numbers to colours: limits, what lies beyond them, and ticks. Pure NumPy."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from ..channels import CHANNELS, Channel
from ..sheets import MapOptions
from ..units import best_unit, parse_unit
from .parts import PanelError

Array = np.ndarray
PERCENTILES = (2.0, 98.0)
ROBUST = "2nd to 98th percentile"


@dataclass(frozen=True, eq=False)
class Scale:
    """How the colours of a map go with its numbers.

    Attributes
    ----------
    low, high : of the colours, in core units
    log : whether equal ratios look alike
    unit, factor : that is shown; core numbers times the factor
    rule : how the limits were found, for the caption
    below, above : values beyond the limits, as a share of all that are drawn
    nonpositive : values that a logarithmic scale can't hold; drawn in the lower end colour
    """

    low: float
    high: float
    log: bool = False
    unit: str = ""
    factor: float = 1.0
    rule: str = ""
    below: float = 0.0
    above: float = 0.0
    nonpositive: int = 0

    def place(self, values: Array) -> Array:
        """0 at the lower limit, 1 at the upper; NaN stays."""
        values = np.asarray(values, float)
        with np.errstate(all="ignore"):
            if self.log:
                top, bottom = math.log(self.high), math.log(self.low)
                found = (np.log(np.maximum(values, 1e-300)) - bottom) / (top - bottom)
                return np.where(np.isnan(values), np.nan, found)
            return (values - self.low) / (self.high - self.low)

    def indices(self, values: Array, colours: int = 256) -> Array:
        """Which colour each value gets; -1 for NaN."""
        place = self.place(values)
        missing = ~np.isfinite(values)
        found = np.clip(np.where(missing, 0.0, place) * colours, 0, colours - 1).astype(int)
        return np.where(missing, -1, found)

    @property
    def span(self) -> float:
        return (self.high - self.low) * self.factor

    @property
    def words(self) -> str:
        """The scale and its limits as a phrase for a caption."""
        ends = [v * self.factor for v in (self.low, self.high)]
        low, high = (shown_number(v, v) if self.log else limit_number(v, self.span)
                     for v in ends)  # fmt: skip
        unit = f" {self.unit}" if self.unit else ""
        how = "logarithmic colour scale" if self.log else "colour scale"
        text = f"{how} from {low} to {high}{unit} ({self.rule})"
        beyond = [f"{share_words(share)} {side}" for share, side in
                  ((self.below, "below"), (self.above, "above")) if share > 0.0]  # fmt: skip
        if beyond:
            text += f", {' and '.join(beyond)} drawn in the end colours"
        if self.nonpositive:
            text += f" ({self.nonpositive} of them zero or negative)"
        return text


def share_words(share: float) -> str:
    """A share of the pixels in per cent."""
    per_cent = 100.0 * share
    return f"{per_cent:.1f} %" if per_cent >= 0.05 else "fewer than 0.1 %"


def shown_number(value: float, span: float) -> str:
    """A number with three significant figures of the span."""
    size = abs(span) if math.isfinite(span) and span else abs(value) or 1.0
    places = min(max(0, 2 - math.floor(math.log10(size))), 9)
    text = f"{value:.{places}f}"
    return text.replace("-", "−") if float(text) else text.lstrip("-")


def limit_number(value: float, span: float) -> str:
    """As `shown_number`, with two significant figures of the number at least, so that a small
    limit beside a large one does not lose its own; at most two decimals more for it."""
    places = max(0, 2 - math.floor(math.log10(span))) if span > 0.0 else 3
    if value:
        places = max(places, min(1 - math.floor(math.log10(abs(value))), places + 2))
    text = f"{value:.{min(places, 9)}f}"
    return text.replace("-", "−") if float(text) else text.lstrip("-")


def robust_limits(values: Array, signed: bool = False) -> tuple[float, float]:
    """The 2nd and 98th percentile of the finite values, widened if they are equal.

    Signed quantities get limits that are symmetric about zero; without a finite value 0 and 1.
    """
    finite = values[np.isfinite(values)]
    if finite.size == 0:
        return 0.0, 1.0
    low, high = (float(v) for v in np.percentile(finite, PERCENTILES))
    return _opened(low, high, signed)


def full_limits(values: Array, signed: bool = False) -> tuple[float, float]:
    """The smallest and the largest finite value, as `robust_limits`."""
    finite = values[np.isfinite(values)]
    if finite.size == 0:
        return 0.0, 1.0
    return _opened(float(finite.min()), float(finite.max()), signed)


def _opened(low: float, high: float, signed: bool) -> tuple[float, float]:
    if signed:
        high = max(abs(low), abs(high))
        low = -high
    if not high > low:
        pad = abs(low) * 0.01 or 0.5
        low, high = low - pad, high + pad
    return low, high


def limits_of(values: Array, channel: Channel, options: MapOptions) -> tuple[float, float]:
    """Limits of the colours by a panel's own options, in core units. Raises PanelError."""
    log = options.scale == "log"
    signed = channel.kind == "signed" and not log
    if options.limits == "set":
        low, high = options.low, options.high
        if not high > low:
            raise PanelError(f"The limits of {channel.label.lower()} go from {low:g} to {high:g}. "
                             "The second has to be larger.")  # fmt: skip
    else:
        used = values[values > 0.0] if log else values
        if not np.isfinite(used).any():
            raise PanelError(f"{channel.label} has no value above zero, so no logarithmic scale. "
                             "Choose a linear one.")  # fmt: skip
        low, high = (full_limits if options.limits == "full" else robust_limits)(used, signed)
        if log and not low > 0.0:
            low = float(used[np.isfinite(used)].min())
    if log and not low > 0.0:
        raise PanelError(f"A logarithmic scale of {channel.label.lower()} can't begin at {low:g}. "
                         "Set a limit above zero or choose a linear scale.")  # fmt: skip
    return low, high


RULES = {"robust": ROBUST, "full": "smallest to largest value", "set": "set by hand"}


def shared_words(limits: Sequence[str]) -> str:
    """How limits came about that panels share, from the rule of each: names of `RULES`."""
    many = {"robust": "2nd to 98th percentiles", "full": "smallest to largest values",
            "set": "limits set by hand"}  # fmt: skip
    kinds = [many[one] for one in dict.fromkeys(limits)]
    return f"shared: the widest of the panels' {' and '.join(kinds)}"


def scale_of(values: Array, channel: Channel, options: MapOptions,
             shared: dict[str, tuple[float, float]],
             shared_by: Mapping[str, str] | None = None) -> Scale:  # fmt: skip
    """The scale of one map's colours; `shared_by` tells how shared limits came about. Raises
    PanelError."""
    low, high = limits_of(values, channel, options)
    said = RULES[options.limits]
    if channel.kind == "signed" and options.limits != "set" and options.scale != "log":
        said += ", symmetric about zero"
    if options.shared and channel.name in shared:
        low, high = shared[channel.name]
        said = (shared_by or {}).get(channel.name, "the same in all panels that share it")
    log = options.scale == "log"
    unit, factor = shown_unit(channel, options.unit, max(abs(low), abs(high)))
    finite = values[np.isfinite(values)]
    count = max(finite.size, 1)
    return Scale(low, high, log, unit, factor, said,
                 float(np.count_nonzero(finite < low)) / count,
                 float(np.count_nonzero(finite > high)) / count,
                 int(np.count_nonzero(finite <= 0.0)) if log else 0)  # fmt: skip


def shown_unit(channel: Channel, wished: str, size: float) -> tuple[str, float]:
    """Unit that is shown and how many of it one core unit is. Raises PanelError."""
    if not wished.strip():
        return best_unit(size, channel.unit)
    try:
        dimension, factor = parse_unit(wished)
    except ValueError as error:
        raise PanelError(f"{channel.label}: {str(error).rstrip('.')}.") from None
    own, core = parse_unit(channel.unit)
    if dimension != own:
        raise PanelError(f"{channel.label} is a {own} and can't be drawn in “{wished.strip()}”: "
                         f"choose another unit, such as {channel.unit or 'none'}.")  # fmt: skip
    return wished.strip(), core / factor


def channel_of(name: str) -> Channel:
    """A channel by its name. Raises PanelError."""
    if name not in CHANNELS:
        raise PanelError(f"There is no channel “{name[:40]}”; one of {', '.join(CHANNELS)}.")
    return CHANNELS[name]


def nice_length(width: float, share: float = 0.25) -> float:
    """The length 1, 2 or 5 times a power of ten that is nearest to a share of a width."""
    target = share * width
    if not (math.isfinite(target) and target > 0.0):
        return 0.0
    decade = 10.0 ** math.floor(math.log10(target))
    steps = [m * decade for m in (1.0, 2.0, 5.0, 10.0)]
    return min(steps, key=lambda s: abs(math.log(s / target)))


def ticks(scale: Scale, at_most: int) -> tuple[list[float], list[str]]:
    """Places (0 to 1) and texts of the ticks of a colour bar."""
    low, high = scale.low * scale.factor, scale.high * scale.factor
    values = _log_ticks(low, high, at_most) if scale.log else even_ticks(low, high, at_most)
    for more in range(at_most + 1, at_most + 6):  # one tick alone tells no scale
        if len(values) < 2:
            values = even_ticks(low, high, more)
    places = scale.place(np.array(values) / scale.factor)
    return [float(p) for p in places], texts(values)


def texts(values: list[float]) -> list[str]:
    """Ticks as text: plain numbers, all with the decimals that the finest needs."""
    fine = [_decimals(v) for v in values]
    even = len({round(b - a, 12) for a, b in zip(values, values[1:], strict=False)}) <= 1
    shown = [f"{v:.{max(fine) if even else own}f}" for v, own in zip(values, fine, strict=True)]
    return [text.replace("-", "−") for text in shown]


def _decimals(value: float) -> int:
    for places in range(9):
        if abs(round(value, places) - value) <= 1e-9 * max(abs(value), 1e-300):
            return places
    return 9


def even_ticks(low: float, high: float, at_most: int) -> list[float]:
    """Round numbers between the limits, 1-2-5 apart."""
    span = high - low
    step = 10.0 ** math.floor(math.log10(span / at_most))
    for factor in (1.0, 2.0, 5.0, 10.0):
        if span / (step * factor) <= at_most:
            step *= factor
            break
    first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
    return [round(i * step, 12) for i in range(first, last + 1)]


def _log_ticks(low: float, high: float, at_most: int) -> list[float]:
    """Decades, with 2 and 5 between them where there is room for them; even ticks within one."""
    decades = range(math.floor(math.log10(low)), math.ceil(math.log10(high)) + 1)
    for factors in ((1.0, 2.0, 5.0), (1.0, 3.0), (1.0,)):
        found = [f * 10.0**d for d in decades for f in factors
                 if low * (1 - 1e-9) <= f * 10.0**d <= high * (1 + 1e-9)]  # fmt: skip
        if len(found) <= at_most or factors == (1.0,):
            break
    return found if len(found) >= 2 else even_ticks(low, high, at_most)
