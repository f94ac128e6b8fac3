"""A budget of uncertainty as text to read and as a table of numbers. Pure functions, no Qt."""

from __future__ import annotations

import csv
import io
import math
from typing import Any

from ...core import units

CAUTION = ("Not for qualifying, releasing or rejecting safety-critical or medical parts: there "
           "accredited tests and the rules that hold where you are decide.")  # fmt: skip
KINDS = {"local": "Local: of this pixel alone", "common": "Common: moves all pixels together"}


def term_value(term: Any) -> str:
    """The value of a term with its standard uncertainty and unit."""
    if not math.isfinite(term.value):
        spread = term.error
        tail = f" {term.unit}" if term.unit else ""
        return f"± {spread:.2g}{tail}" if math.isfinite(spread) else "–"
    return units.text_of(term.value, term.unit, term.error)


def quantity_value(budget: Any, relative: float) -> str:
    """The quantity with the standard uncertainty that a relative one makes of it."""
    return units.text_of(budget.value, budget.unit, abs(budget.value) * relative)


def range_of(budget: Any, low: float, high: float) -> tuple[str, str]:
    """The ends of an interval in one unit, the one that suits the value."""
    unit = units.best_unit(budget.value, budget.unit)[0]
    places = _places(budget, low, high)
    factor = units.best_unit(budget.value, budget.unit)[1]
    ends = [f"{end * factor:.{places}f} {unit}".strip() if math.isfinite(end) else "–"
            for end in (low, high)]  # fmt: skip
    return ends[0], ends[1]


def _places(budget: Any, low: float, high: float) -> int:
    """Decimals at which a width has three figures."""
    width = abs(high - low) * units.best_unit(budget.value, budget.unit)[1]
    if not (math.isfinite(width) and width > 0):
        return 3
    return min(max(0, 2 - math.floor(math.log10(width))), 6)


def correlation_words(budget: Any) -> list[str]:
    """Each correlation as words, with the terms called as the table calls them."""
    labels = {term.name: term.label for term in budget.terms}
    return [f"{labels.get(a, a)} with {labels.get(b, b)}, r = {minus(f'{r:+.2f}')}"
            for a, b, r in budget.correlations]  # fmt: skip


def minus(text: str) -> str:
    """A number with the sign of the trade for minus, not a hyphen."""
    return text.replace("-", "−")


def budget_text(budget: Any, title: str = "") -> str:
    """The whole budget as lines of text."""
    lines = [title] if title else []
    lines += [f"{budget.quantity}: {quantity_value(budget, budget.total)}", ""]
    for kind, words in KINDS.items():
        lines.append(words)
        for term in budget.terms:
            if term.kind == kind:
                lines.append(f"  {term.label}: {term_value(term)}, sensitivity "
                             f"{term.sensitivity:+.3g}, contributes "
                             f"{100 * term.contribution:.2g} % ({term.origin})")  # fmt: skip
        lines.append(f"  together: {100 * getattr(budget, kind):.2g} %")
    lines += ["", f"Combined standard uncertainty: {100 * budget.total:.2g} %"]
    lines.append("95 % interval by propagation on the logarithm: "
                 + " to ".join(range_of(budget, *budget.interval)))  # fmt: skip
    carlo = budget.monte_carlo
    if carlo is not None:
        ends = " to ".join(range_of(budget, carlo.low, carlo.high))
        lines.append(f"95 % interval by Monte Carlo ({carlo.trials} trials): {ends}")
    told = correlation_words(budget)
    lines.append("Correlations: " + ("; ".join(told) if told else "none"))
    return "\n".join([*lines, "", CAUTION, ""])


def budget_csv(budget: Any, title: str = "") -> str:
    """The budget as comma-separated values, in core units and full precision."""
    out = io.StringIO()
    table = csv.writer(out, lineterminator="\n")
    table.writerow(["# " + (title or "Budget of uncertainty")])
    table.writerow(["# " + CAUTION])
    table.writerow(["term", "kind", "value", "standard uncertainty", "unit", "sensitivity",
                    "contribution (relative)", "origin", "note"])  # fmt: skip
    for t in budget.terms:
        table.writerow([t.label, t.kind, *map(_csv, (t.value, t.error)), t.unit,
                        *map(_csv, (t.sensitivity, t.contribution)), t.origin, t.note])  # fmt: skip
    for name in ("local", "common", "total"):
        table.writerow([f"combined, {name}", name, "", "", "", "", _csv(getattr(budget, name))])
    value, unit = budget.value, budget.unit
    table.writerow([budget.quantity, "result", _csv(value), _csv(abs(value) * budget.total), unit])
    ends = [("95 % interval, propagation", *budget.interval)]
    if budget.monte_carlo is not None:
        carlo = budget.monte_carlo
        ends.append((f"95 % interval, Monte Carlo of {carlo.trials}", carlo.low, carlo.high))
    for words, low, high in ends:
        table.writerow([f"{words}, lower end", "result", _csv(low), "", unit])
        table.writerow([f"{words}, upper end", "result", _csv(high), "", unit])
    for a, b, r in budget.correlations:
        table.writerow([f"correlation of {a} and {b}", "correlation", _csv(r)])
    return out.getvalue()


def _csv(value: float) -> str:
    return repr(float(value)) if math.isfinite(value) else ""
