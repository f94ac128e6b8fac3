"""What a budget is: its terms, what they add up to, and its table."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from ..units import text_of
from ..writers.atomic import saving
from .montecarlo import MonteCarlo

LOCAL, COMMON = "local", "common"
CAUTION = ("Not for qualifying, releasing or rejecting safety-critical or medical parts: there "
           "accredited tests and the rules that hold where you are decide.")  # fmt: skip

Row = tuple[str, str, str, str, str]


@dataclass(frozen=True)
class Term:
    """One input of a budget.

    Attributes
    ----------
    name, label : identifier and words
    kind : "local" (of this curve alone) or "common" (moves all pixels together)
    value, error, unit : the input and its standard uncertainty; value NaN where it has none
    sensitivity : ∂ ln Q/∂ ln x of the quantity Q; per `unit` where `note` says so
    contribution : its standard uncertainty in ln Q (0.05 is 5 %), never negative
    origin : where the error comes from: "recorded", "set here", "assumed", "fit", "spread"
    note : what it stands for
    """

    name: str
    label: str
    kind: str
    value: float
    error: float
    unit: str
    sensitivity: float
    contribution: float
    origin: str
    note: str = ""


@dataclass(frozen=True)
class Budget:
    """The uncertainty of one number.

    Attributes
    ----------
    quantity : channel name; value, unit : the number
    terms : independent of each other, so that contributions add in squares
    correlations : (name, name, r) of constants as they are stated. The terms hold them already: a
        spring constant from thermal noise is κT/s², and the part that the sensitivity has in it
        stands in the sensitivity's coefficient, not in the spring constant's error
    local, common, total : relative standard uncertainties (of ln Q)
    interval : 95 %, value · exp(∓1.96 total)
    monte_carlo : the same by JCGM 101
    """

    quantity: str
    value: float
    unit: str
    terms: tuple[Term, ...]
    correlations: tuple[tuple[str, str, float], ...]
    local: float
    common: float
    total: float
    interval: tuple[float, float]
    monte_carlo: MonteCarlo
    name: str = ""

    def rows(self) -> list[Row]:
        """(label, value with unit, ±, sensitivity, contribution in %), the largest first."""
        return [(t.label, _shown(t.value, t.unit), _spread(t), _figure(t.sensitivity),
                 _percent(t.contribution)) for t in largest_first(self.terms)]  # fmt: skip

    def to_csv(self, path: str | Path | None = None) -> str:
        """Comma-separated values in core units and full precision; also written if a path is given.

        Raises WriteError if it can't be saved there.
        """
        lines: list[Sequence[object]] = [["# " + CAUTION]]
        lines.append(["term", "kind", "value", "standard uncertainty", "unit", "sensitivity",
                      "contribution (relative)", "origin", "note"])  # fmt: skip
        lines += [[t.label, t.kind, t.value, t.error, t.unit, t.sensitivity, t.contribution,
                   t.origin, t.note] for t in largest_first(self.terms)]  # fmt: skip
        lines += [[f"combined, {name}", name, "", "", "", "", getattr(self, name)]
                  for name in ("local", "common", "total")]  # fmt: skip
        lines += _results(self.quantity, self.value, self.total, self.unit, self.interval,
                          self.monte_carlo)  # fmt: skip
        for a, b, r in self.correlations:
            lines.append([f"correlation of {a} and {b}, as stated", "correlation", r])
        return _table(lines, path)


@dataclass(frozen=True)
class RatioTerm:
    """One input in the ratio of two components.

    `in_a`, `in_b` are its contributions to each (relative), `left` to the ratio; `cancels` where
    nothing of a common term is left.
    """

    name: str
    label: str
    kind: str
    in_a: float
    in_b: float
    left: float
    cancels: bool
    note: str = ""


@dataclass(frozen=True)
class RatioBudget:
    """The uncertainty of the ratio of two components; fields as in `Budget`."""

    quantity: str
    value: float
    terms: tuple[RatioTerm, ...]
    local: float
    common: float
    total: float
    interval: tuple[float, float]
    monte_carlo: MonteCarlo
    names: tuple[str, str] = ("A", "B")

    def rows(self) -> list[Row]:
        """(label, in the first, in the second, left in the ratio, word), the largest first."""
        order = sorted(self.terms, key=lambda t: (math.isnan(t.left), -t.left))
        return [(t.label, _percent(t.in_a), _percent(t.in_b), _percent(t.left),
                 "cancels" if t.cancels else "") for t in order]  # fmt: skip

    def to_csv(self, path: str | Path | None = None) -> str:
        """As `Budget.to_csv`."""
        lines: list[Sequence[object]] = [["# " + CAUTION]]
        lines.append(["term", "kind", f"in {self.names[0]} (relative)",
                      f"in {self.names[1]} (relative)", "left in the ratio (relative)", "cancels",
                      "note"])  # fmt: skip
        lines += [[t.label, t.kind, t.in_a, t.in_b, t.left, "yes" if t.cancels else "no", t.note]
                  for t in self.terms]  # fmt: skip
        lines += _results(f"ratio of {self.quantity}", self.value, self.total, "", self.interval,
                          self.monte_carlo)  # fmt: skip
        return _table(lines, path)


def combine(terms: Sequence[Term], kind: str) -> float:
    """Root of the sum of squares of the contributions of one kind; NaN if one is not known."""
    return math.sqrt(math.fsum(t.contribution**2 for t in terms if t.kind == kind))


def largest_first(terms: Sequence[Term]) -> list[Term]:
    """Sorted by contribution; those that are not known first."""
    return sorted(terms, key=lambda t: -t.contribution if math.isfinite(t.contribution)
                  else -math.inf)  # fmt: skip


def _results(quantity: str, value: float, total: float, unit: str,
             interval: tuple[float, float], carlo: MonteCarlo) -> list[list[object]]:  # fmt: skip
    return [
        [quantity, "result", value, abs(value) * total, unit],
        ["95 % interval, propagation on the logarithm, from", "result", interval[0], "", unit],
        ["95 % interval, propagation on the logarithm, to", "result", interval[1], "", unit],
        [f"95 % interval, Monte Carlo of {carlo.trials} trials, from", "result", carlo.low, "",
         unit],
        [f"95 % interval, Monte Carlo of {carlo.trials} trials, to", "result", carlo.high, "",
         unit],
        ["median, Monte Carlo", "result", carlo.median, carlo.deviation, unit],
        ["mean, Monte Carlo", "result", carlo.mean, "", unit],
    ]  # fmt: skip


def _table(lines: list[Sequence[object]], path: str | Path | None) -> str:
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    for line in lines:
        writer.writerow([_csv(cell) if isinstance(cell, float) else cell for cell in line])
    if path is not None:
        with saving(Path(path)) as temporary:
            temporary.write_text(out.getvalue(), encoding="utf-8")
    return out.getvalue()


def _csv(value: float) -> str:
    return "" if math.isnan(value) else repr(float(value))


def _shown(value: float, unit: str) -> str:
    return text_of(value, unit)


def _spread(term: Term) -> str:
    if not math.isfinite(term.error):
        return "–"
    return f"{term.error:.2g} {term.unit}".strip()


def _figure(value: float) -> str:
    return f"{value:+.3g}".replace("-", "−") if math.isfinite(value) else "–"


def _percent(value: float) -> str:
    return f"{100.0 * value:.2g} %" if math.isfinite(value) else "–"
