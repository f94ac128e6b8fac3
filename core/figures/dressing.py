"""What the panels with axes share: their dress, ticks and units."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np

from ..channels import CHANNELS, Channel, asked_for
from .colouring import shown_unit, texts
from .look import INK
from .parts import PanelError, Style

if TYPE_CHECKING:
    from ..findings import Findings

Array = np.ndarray
TICK = 2.0
"""Length of a tick [pt]."""


def channel_of(findings: Findings, name: str) -> Channel:
    """The channel of a name, if this analysis has values of it. Raises PanelError."""
    asked = asked_for(findings.analysis.settings)
    if name not in asked:
        why = ("is not worked out under these settings" if name in CHANNELS
               else "is no channel that this version knows")  # fmt: skip
        raise PanelError(f"“{name[:40]}” {why}: choose another channel.")
    channel = asked[name]
    if not np.isfinite(findings.analysis.channel(name)).any():
        needs = ", ".join(one.replace("_", " ") for one in channel.needs)
        raise PanelError(f"{channel.label} has no value at any pixel"
                         + (f": it needs {needs}." if needs else "."))  # fmt: skip
    return channel


def unit_of(channel: Channel, values: Array, wanted: str = "") -> tuple[str, float]:
    """The unit in which values of a channel are drawn, and its factor from the core unit.

    Raises PanelError for a wanted unit of another kind.
    """
    finite = np.abs(values[np.isfinite(values)])
    size = float(np.percentile(finite, 98.0)) if finite.size else 0.0
    return shown_unit(channel, wanted, size)


def dress(axes: Any, style: Style) -> None:
    """Spines, ticks and sizes of a pair of axes."""
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    for spine in axes.spines.values():
        spine.set(linewidth=style.thin, color=INK)
    axes.tick_params(which="major", labelsize=style.small, width=style.thin, length=TICK, pad=2.0,
                     color=INK, labelcolor=INK)  # fmt: skip
    axes.tick_params(which="minor", width=style.stroke(0.7 * style.thin), length=0.6 * TICK,
                     color=INK)  # fmt: skip
    for axis in (axes.xaxis, axes.yaxis):
        axis.label.set_size(style.font_size)
        axis.label.set_color(INK)
        axis.labelpad = 2.0


def few_ticks(axes: Any, x: int = 5, y: int = 5) -> None:
    """No more ticks than can be read in a small panel, with plain numbers."""
    from matplotlib.ticker import MaxNLocator, ScalarFormatter

    for axis, most in ((axes.xaxis, x), (axes.yaxis, y)):
        if axis.get_scale() == "linear":
            axis.set_major_locator(MaxNLocator(most, steps=[1, 2, 2.5, 5, 10]))
            plain = ScalarFormatter(useOffset=False)
            plain.set_powerlimits((-4, 6))
            axis.set_major_formatter(plain)


def fewer_ticks(axis: Any, most: int) -> None:
    """No more than so many numbers at an axis; where they were set one by one, its ends and the
    middle of them stay."""
    from matplotlib.ticker import FixedLocator, MaxNLocator

    if axis.get_scale() == "log":
        low, high = sorted(axis.get_view_interval())
        log_ticks(axis, low, high, most)
    elif isinstance(axis.get_major_locator(), MaxNLocator):
        axis.get_major_locator().set_params(nbins=most)
    elif isinstance(axis.get_major_locator(), FixedLocator) and most == 2:
        places = axis.get_majorticklocs()
        if len(places) > 2:
            axis.set_major_locator(FixedLocator([places[len(places) // 2]]))


def log_ticks(axis: Any, low: float, high: float, most: int = 5) -> None:
    """Plain numbers at 1, 2 and 5 of each decade, or at each decade where there are many; at even
    steps where less than a decade is shown."""
    from matplotlib.ticker import FixedLocator, FuncFormatter, NullFormatter

    marks = log_marks(low, high, most)
    decades = range(math.floor(math.log10(low)), math.ceil(math.log10(high)) + 1)
    minor = [n * 10.0**d for d in decades for n in range(1, 10)]
    axis.set_major_locator(FixedLocator(marks))
    axis.set_major_formatter(FuncFormatter(lambda value, _: texts([value])[0]))
    axis.set_minor_locator(FixedLocator([m for m in minor if m not in marks]))
    axis.set_minor_formatter(NullFormatter())


def log_marks(low: float, high: float, most: int) -> list[float]:
    """Where numbers stand on a logarithmic axis from low to high, at most so many."""
    first, last = math.floor(math.log10(low)), math.ceil(math.log10(high))
    for digits, step in (((1, 2, 5), 1), ((1, 3), 1), ((1,), 1), ((1,), 2), ((1,), 3)):
        found = [float(f"{n}e{d}") for d in range(first, last + 1, step) for n in digits]
        found = [mark for mark in found if low <= mark <= high]
        if 2 <= len(found) <= most:
            return found
        if len(found) < 2 and digits == (1, 2, 5):  # less than a decade
            step_ = _even_step(high - low, most)
            at = np.arange(math.ceil(low / step_), math.floor(high / step_) + 1) * step_
            return [float(f"{value:.6g}") for value in at]
    return found[:most]


def _even_step(reach: float, most: int) -> float:
    size = 10.0 ** math.floor(math.log10(reach / most))
    return next(n * size for n in (1.0, 2.0, 5.0, 10.0) if reach / (n * size) <= most)


def inside(label: str) -> str:
    """A label within a sentence; a name keeps its capital."""
    return label if label.startswith("Young") else label[:1].lower() + label[1:]


def halo(width: float) -> list[Any]:
    """A white rim around a letter or a line, so that it shows on any ground."""
    from matplotlib.patheffects import Normal, Stroke

    return [Stroke(linewidth=width, foreground="white"), Normal()]


def many(number: int, word: str = "pixel") -> str:
    """A number with its noun."""
    return f"{number:,} {word}{'' if number == 1 else 's'}"
