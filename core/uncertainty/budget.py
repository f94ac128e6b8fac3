"""What a budget is: its terms, what they add up to, and its table."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

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
    sensitivity : ∂ ln Q/∂ ln x of the quantity Q; or ∂ ln Q/∂x, if `per` names a unit
    contribution : its standard uncertainty in ln Q (0.05 is 5 %), never negative
    origin : where the error comes from: "recorded", "set here", "assumed", "fit", "spread"
    note : what it stands for
    per : unit of x by which `sensitivity` goes ("1" if x has none); empty if both are relative
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
    per: str = ""


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

    def to_csv(self, path: str | Path | None = None, about: Mapping[str, str] | None = None
               ) -> str:  # fmt: skip
        """One table in core units and full precision (see `budget_csv`), also written if a path is
        given; `about` says what the number is of.

        Raises WriteError if it can't be saved there.
        """
        return _table(lines_of(self, about or {}), path)


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
        lines: list[Sequence[object]] = []
        lines.append(["term", "kind", f"in {self.names[0]} (relative)",
                      f"in {self.names[1]} (relative)", "left in the ratio (relative)", "cancels",
                      "note"])  # fmt: skip
        lines += [[t.label, t.kind, t.in_a, t.in_b, t.left, "yes" if t.cancels else "no", t.note]
                  for t in self.terms]  # fmt: skip
        lines += _results(f"ratio of {self.quantity}", self.value, self.total, "", self.interval,
                          self.monte_carlo)  # fmt: skip
        lines.append(["", "caution", "", "", "", "", CAUTION])
        return _table(lines, path)


def combine(terms: Sequence[Term], kind: str) -> float:
    """Root of the sum of squares of the contributions of one kind; NaN if one is not known."""
    return math.sqrt(math.fsum(t.contribution**2 for t in terms if t.kind == kind))


def largest_first(terms: Sequence[Term]) -> list[Term]:
    """Sorted by contribution; those that are not known first."""
    return sorted(terms, key=lambda t: -t.contribution if math.isfinite(t.contribution)
                  else -math.inf)  # fmt: skip


COLUMNS = (
    "kind", "name", "value", "unit", "standard uncertainty", "from (95 %)", "to (95 %)",
    "contribution (relative)", "sensitivity", "sensitivity per", "origin", "note",
)  # fmt: skip
"""Columns of the file of a budget; the sensitivity is ∂ ln Q/∂ ln x where no unit is named."""


def lines_of(budget: Any, about: Mapping[str, str]) -> list[Sequence[object]]:
    """A budget as the lines of one table, each with all of `COLUMNS`."""
    found: list[Sequence[object]] = [COLUMNS]

    def line(kind: str, name: str, value: object = "", unit: str = "", error: object = "",
             ends: tuple[object, object] = ("", ""), size: object = "", slope: object = "",
             per: str = "", origin: str = "", note: str = "") -> None:  # fmt: skip
        found.append((kind, name, value, unit, error, *ends, size, slope, per, origin, note))

    for name, words in about.items():
        line("about", name, words)
    line("result", budget.quantity, budget.value, budget.unit, abs(budget.value) * budget.total,
         budget.interval, budget.total, note="propagation on the logarithm")  # fmt: skip
    carlo = budget.monte_carlo
    if carlo is not None:
        line("result", f"{budget.quantity}, Monte Carlo median", carlo.median, budget.unit,
             carlo.deviation, (carlo.low, carlo.high), note=f"{carlo.trials} trials")  # fmt: skip
        line("result", f"{budget.quantity}, Monte Carlo mean", carlo.mean, budget.unit)
    for t in largest_first(budget.terms):
        line(t.kind, t.label, t.value, t.unit, t.error, size=t.contribution, slope=t.sensitivity,
             per=t.per, origin=t.origin, note=t.note)  # fmt: skip
    for name in (LOCAL, COMMON, "total"):
        line("combined", name, size=getattr(budget, name))
    for a, b, r in budget.correlations:
        line("correlation", f"{a} with {b}", r, note="as stated; the terms hold it already")
    line("caution", "", note=CAUTION)
    return found


def budget_csv(budget: Any, about: Mapping[str, str]) -> str:
    """A budget as comma-separated values: one table without ragged lines."""
    return _table(lines_of(budget, about), None)


def _results(quantity: str, value: float, total: float, unit: str,
             interval: tuple[float, float], carlo: MonteCarlo) -> list[list[object]]:  # fmt: skip
    return [
        [quantity, "result", value, abs(value) * total, unit, "", ""],
        *([f"95 % interval, {words}", "result", end, "", unit, "", ""] for words, end in (
            ("propagation on the logarithm, from", interval[0]),
            ("propagation on the logarithm, to", interval[1]),
            (f"Monte Carlo of {carlo.trials} trials, from", carlo.low),
            (f"Monte Carlo of {carlo.trials} trials, to", carlo.high))),
        ["median, Monte Carlo", "result", carlo.median, carlo.deviation, unit, "", ""],
        ["mean, Monte Carlo", "result", carlo.mean, "", unit, "", ""],
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
