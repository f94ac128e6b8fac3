"""Numbers and names as the report writes them, and what the sections share."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np

from ..channels import CHANNELS
from ..methods.words import counted as count  # noqa: F401  (the other files take it here)
from ..methods.words import listed  # noqa: F401
from ..progress import Progress
from ..units import best_unit, parse_unit, text_of

if TYPE_CHECKING:
    from ..findings import Example, Findings

Array = np.ndarray
NONE = "–"
STIFF = ("modulus", "reduced_modulus", "stiffness")
"""How stiff a map is told to be: by the first of these that it has."""
CAUTION = ("Not for qualifying, releasing or rejecting safety-critical or medical parts: there "
           "accredited tests and the rules that hold where you are decide.")  # fmt: skip


class Within(Progress):
    """Passes a cancel on, and tells nothing: of what is one step of a longer way."""

    def __init__(self, outer: Progress) -> None:
        super().__init__()
        self._outer = outer

    def check(self) -> None:
        self._outer.check()


@dataclass(frozen=True, eq=False)
class Draft:
    """What the sections of one report are made from.

    Attributes
    ----------
    findings : of the report
    progress : passes a cancel on
    left_out : sentences on what could not be in it, filled while it is made
    budgets : what was made so far, by component and channel
    """

    findings: Findings
    progress: Progress
    left_out: list[str] = field(default_factory=list)
    budgets: dict[tuple[int | None, str], Any] = field(default_factory=dict)

    @cached_property
    def stiff(self) -> str:
        """The channel that tells how stiff the map is; "" if it has none of them."""
        return next((name for name in STIFF if self.has(name)), "")

    @cached_property
    def examples(self) -> tuple[Example, ...]:
        from ..findings import examples

        return examples(self.findings)

    @cached_property
    def trusted(self) -> Array:
        return np.asarray(self.findings.analysis.trusted)

    def has(self, name: str) -> bool:
        """Whether a channel has a value in any pixel that is used."""
        if name not in CHANNELS or not CHANNELS[name].asked(self.findings.analysis.settings):
            return False
        return bool(np.isfinite(self.findings.analysis.channel(name)[self.trusted]).any())

    def groups(self) -> list[tuple[str, Array]]:
        """(title, pixels) of each component; all trusted pixels where there are none."""
        composition = self.findings.composition
        if composition is None:
            return [("All pixels that are used", self.trusted)]
        return [(composition.title(k), composition.pixels(k, pure=True) > 0)
                for k in range(composition.count)]  # fmt: skip


def label(name: str) -> str:
    """A channel with its symbol."""
    channel = CHANNELS[name]
    return f"{channel.label} {channel.symbol}"


def inside(name: str) -> str:
    """A channel's name within a sentence."""
    words = CHANNELS[name].label
    return words if words.startswith("Young") else words[0].lower() + words[1:]


def plain(value: float, digits: int = 3) -> str:
    """A pure number; an en dash for none."""
    if not math.isfinite(value):
        return "∞" if value == math.inf else NONE
    if abs(value) >= 1000.0:
        return f"{value:,.0f}".replace("-", "−") if abs(value) < 1e9 else f"{value:.{digits}g}"
    return f"{value:.{digits}g}".replace("-", "−")


def percent(share: float, digits: int = 2) -> str:
    """A share in per cent with its unit; two figures, more where less than all would be 100 %."""
    if not math.isfinite(share):
        return NONE
    size = abs(100.0 * share)
    places = 0 if size >= 9.95 or size == 0.0 else min(digits - 1 - math.floor(math.log10(size)), 4)
    if 99.5 <= size < 100.0:
        places = min(1 + math.floor(-math.log10(2.0 * (100.0 - size))), 6)
    return f"{100.0 * share:.{max(places, 0)}f} %".replace("-", "−")


def area(share: float) -> str:
    """A share of the area in per cent, one decimal, without its unit."""
    return f"{100.0 * share:.1f}" if math.isfinite(share) else NONE


def unit_for(values: Iterable[float], core: str) -> str:
    """The unit that fits the largest of some values."""
    sizes = [abs(v) for v in values if math.isfinite(v)]
    return best_unit(max(sizes), core)[0] if sizes and core else core


def common_unit(values: Iterable[float], core: str) -> str:
    """The unit that fits the middle of some values."""
    sizes = sorted(abs(v) for v in values if math.isfinite(v))
    return best_unit(sizes[len(sizes) // 2], core)[0] if sizes and core else core


def factor(core: str, unit: str) -> float:
    return parse_unit(core)[1] / parse_unit(unit)[1] if unit != core else 1.0


def figures(value: float, error: float = math.nan) -> str:
    """A number without its unit: as many decimals as the ± has with two figures, or four figures
    where there is no ±."""
    if not math.isfinite(value):
        return NONE
    if math.isfinite(error) and error > 0.0:
        return f"{value:.{places(error)}f}".replace("-", "−")
    return text_of(value, "").replace("-", "−")


def places(error: float) -> int:
    """Decimals of a number with this ±."""
    return max(0, min(1 - math.floor(math.log10(error)), 8))


def spread(error: float) -> str:
    """A ± with two figures, without its unit."""
    if not (math.isfinite(error) and error > 0.0):
        return NONE if error != 0.0 else "0"
    return f"{error:.{places(error)}f}"


def number(value: float, core: str, error: float = math.nan) -> str:
    """A number with its ± and unit, as in a sentence."""
    return text_of(value, core, error).replace("-", "−")


def sentence(text: str) -> str:
    """With a full stop."""
    text = text.strip()
    return text if not text or text[-1] in ".?:" else text + "."


def with_unit(value: float, unit: str) -> str:
    """A figure of a doubt with its unit, whatever words this is."""
    if not math.isfinite(value):
        return NONE
    if unit == "samples" and value == 1.0:
        unit = "sample"
    times = "× " if unit.startswith("of a ") else ""  # a ratio to it
    return f"{plain(value)} {times}{unit.removeprefix('of ') if times else unit}".strip()
