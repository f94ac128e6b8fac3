"""A budget of uncertainty as text to read and as a table of numbers. Pure functions, no Qt."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from ...core import units
from ...core.settings import ADHESIONS, CONTACTS, SHAPES

CAUTION = ("Not for qualifying, releasing or rejecting safety-critical or medical parts: there "
           "accredited tests and the rules that hold where you are decide.")  # fmt: skip
ASSUMED = "assumed"
APART = 0.05
"""Share of the width by which both intervals may differ before that is said."""
KINDS = {"local": "Local: of this pixel alone", "common": "Common: moves all pixels together"}


def about_of(fmap: Any, settings: Any, row: int, col: int, name: str) -> dict[str, str]:
    """What a budget is of, and the settings that its number hangs on, as words."""
    fit, base = settings.fit, settings.baseline
    pull = {"measured": "measured on the retract"}.get(fit.pull_off, fit.pull_off)
    low, high = (getattr(fit, f"{fit.window}_{end}") for end in ("from", "to"))
    by = {"fraction": "% of the peak force", "indentation": "nm of indentation", "force": "nN"}
    found = {
        "map": name, "file": fmap.path.name if fmap.path else "",
        "pixel": f"row {row}, column {col}",
        "contact law": SHAPES.get(fit.law, fit.law),
        "adhesion": ADHESIONS.get(fit.adhesion, fit.adhesion),
        "pull-off": "" if fit.adhesion == "none" else pull,
        "contact point": CONTACTS.get(fit.contact, "given by hand"),
        "branch": fit.branch, "window": f"{low:g} to {high:g} {by[fit.window]}",
        "baseline": f"{base.branches}, fringes {base.fringes}",
        "Poisson ratio": f"{settings.sample.poisson_ratio:g}",
        "tip material": settings.tip.material,
        "layer": "" if settings.layer.base == "none" else f"{settings.layer.base} base",
        "spring constant from": settings.uncertainty.spring_from,
    }  # fmt: skip
    return {key: words for key, words in found.items() if words}


def term_value(term: Any) -> str:
    """The value of a term with its standard uncertainty and unit."""
    if not math.isfinite(term.value):
        spread = term.error
        tail = f" {term.unit}" if term.unit else ""
        return f"± {spread:.2g}{tail}" if math.isfinite(spread) else "–"
    return units.text_of(term.value, term.unit, term.error)


def origin_mark(term: Any) -> str:
    """What stands beside a value that nobody measured."""
    return f", {ASSUMED}" if term.origin == ASSUMED else ""


def sensitivity_of(term: Any) -> tuple[str, str]:
    """By how many per cent the result moves, and per what."""
    if not math.isfinite(term.sensitivity):
        return "–", ""
    if not term.per:
        return minus(f"{term.sensitivity:+.3g} %"), "per 1 %"
    if term.per == "1":  # a slope: far from 1
        return minus(f"{term.sensitivity:+.3g} %"), "per 0.01"
    return minus(f"{100.0 * term.sensitivity:+.3g} %"), f"per {term.per}"


def apart_words(budget: Any) -> str:
    """Why both intervals differ, if they do by more than a twentieth of the width."""
    carlo, (low, high) = budget.monte_carlo, budget.interval
    if carlo is None or not high > low:
        return ""
    share = max(abs(carlo.low - low), abs(carlo.high - high)) / (high - low)
    if not share > APART:
        return ""
    by = f"by {100.0 * share:.0f} % of the width" if math.isfinite(share) else "without bound"
    return (f"The intervals differ {by}: over errors this large the result is not a straight line "
            "in them, so its distribution is skewed. Quote the Monte Carlo interval.")  # fmt: skip


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


def budget_text(budget: Any, title: str = "", about: Mapping[str, str] | None = None) -> str:
    """The whole budget as lines of text."""
    lines = [title] if title else []
    lines += [f"{budget.quantity}: {quantity_value(budget, budget.total)}", ""]
    lines += [f"{key}: {words}" for key, words in (about or {}).items()]
    for kind, words in KINDS.items():
        lines.append(words)
        for term in budget.terms:
            if term.kind == kind:
                moved, per = sensitivity_of(term)
                lines.append(f"  {term.label}: {term_value(term)}, moves the result {moved} {per}, "
                             f"contributes {100 * term.contribution:.2g} % ({term.origin})"
                             )  # fmt: skip
        lines.append(f"  together: {100 * getattr(budget, kind):.2g} %")
    lines += ["", f"Combined standard uncertainty: {100 * budget.total:.2g} %"]
    lines.append("95 % interval by propagation on the logarithm: "
                 + " to ".join(range_of(budget, *budget.interval)))  # fmt: skip
    carlo = budget.monte_carlo
    if carlo is not None:
        ends = " to ".join(range_of(budget, carlo.low, carlo.high))
        lines.append(f"95 % interval by Monte Carlo ({carlo.trials} trials): {ends}")
    lines += filter(None, [apart_words(budget)])
    told = correlation_words(budget)
    lines.append("Correlations: " + ("; ".join(told) if told else "none"))
    return "\n".join([*lines, "", CAUTION, ""])


def budget_csv(budget: Any, about: Mapping[str, str] | None = None) -> str:
    """The budget as comma-separated values, in core units and full precision."""
    from ...core.uncertainty.budget import budget_csv as csv_of

    return csv_of(budget, about or {})
