"""How well the doubts tell spoiled curves from good ones, where the fault of each is known.

Only tests, benchmarks and simulated maps know the faults; no analysis does.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from .case import MILD, Array
from .registry import DOUBTS, severe_mask


@dataclass(frozen=True)
class Line:
    """How the curves of one kind fared.

    Attributes
    ----------
    kind : of fault; "" for good curves
    curves : how many there are
    right : share that carries one of the doubts that this kind deserves; for good curves, none at
        all
    severe : share that carries a severe doubt
    others : doubt -> share of the curves that carry it, the most frequent first; without the
        deserved ones
    """

    kind: str
    curves: int
    right: float
    severe: float
    others: dict[str, float]


def carries(bits: Array, names: tuple[str, ...] | list[str]) -> Array:
    """Which curves carry at least one of some doubts."""
    return (bits & np.uint64(sum(DOUBTS[name].mask for name in names))) != 0


def score(bits: Array, kinds: Array, expected: Mapping[str, tuple[str, ...]]) -> list[Line]:
    """The confusion table: one line a kind, the good curves first.

    Parameters
    ----------
    bits : uint64, the doubts of each curve
    kinds : text of the same shape, "" where the curve is good
    expected : kind -> the doubts any of which tells it rightly

    Raises KeyError for a kind that `expected` does not know.
    """
    bits, kinds = np.ravel(bits), np.ravel(kinds)
    return [_line(bits[kinds == kind], str(kind), expected) for kind in sorted(set(kinds.tolist()))]


def _line(bits: Array, kind: str, expected: Mapping[str, tuple[str, ...]]) -> Line:
    deserved = expected[kind] if kind else ()
    right = carries(bits, deserved) if kind else bits == 0
    severe = (bits & np.uint64(severe_mask())) != 0
    shares = {name: float(carries(bits, [name]).mean()) for name in DOUBTS if name not in deserved}
    others = sorted((item for item in shares.items() if item[1] > 0.0), key=lambda item: -item[1])
    return Line(kind, bits.size, float(right.mean()), float(severe.mean()), dict(others))


def told(lines: list[Line]) -> float:
    """Share of all spoiled curves that carry a right doubt."""
    spoiled = [line for line in lines if line.kind]
    return sum(x.right * x.curves for x in spoiled) / max(sum(x.curves for x in spoiled), 1)


def worst_mild(line: Line) -> float:
    """The largest share of a line's curves that any one mild doubt is raised on."""
    return max((s for n, s in line.others.items() if DOUBTS[n].severity == MILD), default=0.0)


def as_markdown(lines: list[Line]) -> str:
    """The confusion table as Markdown."""
    rows = ["| kind | curves | right doubt | severe | also carried |", "|---|---|---|---|---|"]
    for line in lines:
        others = ", ".join(f"{name} {100 * share:.1f} %" for name, share in line.others.items())
        shares = f"{100 * line.right:.1f} % | {100 * line.severe:.1f} %"
        rows.append(f"| {line.kind or 'good (no doubt)'} | {line.curves} | {shares} | {others} |")
    return "\n".join(rows)
