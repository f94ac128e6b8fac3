"""Example curves by a rule: a typical one, the surest, the worst in use, the worst left out."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from ..components import letter

if TYPE_CHECKING:
    from .all import Findings

Array = np.ndarray
RULES = {
    "typical": "typical{of}: {what} nearest to {whose}",
    "best": "surest{of}: the smallest relative ± of the {what}, without any doubt",
    "worst": "worst in use{of}: of the pixels that are used, the one with the gravest doubts",
    "left_out": "worst left out{of}: of the pixels that are not used, the one with the gravest "
    "doubts",
}
"""Rule -> what it looks for; `of` names a component, `what` the channels that were judged."""
SHORT = {"reduced_modulus": "modulus"}
"""Channels whose name is too long for these words."""
JUDGED = (("reduced_modulus", "stiffness"), ("adhesion",))
"""What a typical pixel is typical in; of each group the first channel that has values."""


@dataclass(frozen=True)
class Example:
    """A pixel chosen by a rule; `words` say by which, with the component."""

    which: str
    row: int
    col: int
    words: str


def pick(findings: Findings, which: str, component: str = "") -> Example | None:
    """The pixel that a rule chooses; None where no pixel fits.

    Parameters
    ----------
    which : a name of `RULES`
    component : letter of the component that it is chosen from; "" for all pixels

    Raises
    ------
    ValueError : a rule or a component that is not there
    """
    if which not in RULES:
        raise ValueError(f"“{which}” is no rule for an example; one of {', '.join(RULES)}")
    number = number_of(findings, component) if component else None
    flat, judged = _RULES[which](findings, number)
    if flat is None:
        return None
    row, col = divmod(int(flat), findings.map.shape[1])
    return Example(which, row, col, _words(findings, which, number, judged))


def _words(findings: Findings, which: str, number: int | None, judged: tuple[str, ...]) -> str:
    """By which rule a pixel was chosen, from the channels that were judged."""
    of = ""
    if number is not None:
        assert findings.composition is not None
        of = f" of component {findings.composition.title(number)}"
    whose = "their medians" if len(judged) > 1 else "its median"
    what = " and ".join(SHORT.get(name, name) for name in judged)
    return RULES[which].format(of=of, what=what, whose=whose if not of else f"{whose} there")


def examples(findings: Findings) -> tuple[Example, ...]:
    """Those of a report: a typical one of each component (of all pixels without components), then
    the surest, the worst in use and the worst left out; what is not there is left out."""
    composition = findings.composition
    letters = [""] if composition is None else [letter(k) for k in range(composition.count)]
    wanted = [("typical", sign) for sign in letters]
    wanted += [(which, "") for which in ("best", "worst", "left_out")]
    found = (pick(findings, which, sign) for which, sign in wanted)
    return tuple(one for one in found if one is not None)


def number_of(findings: Findings, component: str) -> int:
    """Number of the component of a letter or a name. Raises ValueError listing what there is."""
    composition = findings.composition
    count = 0 if composition is None else composition.count
    for k in range(count):
        assert composition is not None
        if component.strip() in (letter(k), composition.rule.name(k)):
            return k
    there = ", ".join(letter(k) for k in range(count)) or "none"
    raise ValueError(f"there is no component “{component[:40]}”; there are: {there}")


def _usable(findings: Findings, number: int | None) -> Array:
    inside = np.array(findings.analysis.trusted)
    if number is not None:
        assert findings.composition is not None
        inside &= findings.composition.pixels(number, pure=True) > 0
    return inside


Chosen = tuple[int | None, tuple[str, ...]]
"""The flat number of a pixel, None where none fits, and the channels that it was judged by."""


def _typical(findings: Findings, number: int | None) -> Chosen:
    inside = _usable(findings, number)
    distance = np.zeros(findings.map.shape)
    judged: list[str] = []
    for group in JUDGED:
        for name in group:
            values = findings.analysis.channel(name)
            here = values[inside & np.isfinite(values)]
            if not here.size:
                continue
            middle = np.median(here)
            spread = 1.4826 * np.median(np.abs(here - middle)) or 1.0
            distance = distance + ((values - middle) / spread) ** 2
            judged.append(name)
            break
    if not judged:
        return None, ()
    return _least(np.where(inside, distance, np.nan)), tuple(judged)


def _best(findings: Findings, number: int | None) -> Chosen:
    analysis = findings.analysis
    inside = _usable(findings, number) & (analysis.doubts == 0)
    for name in ("reduced_modulus", "stiffness", "adhesion"):
        errors = analysis.errors(name)
        if errors is None:
            continue
        with np.errstate(all="ignore"):
            relative = np.abs(errors / analysis.channel(name))
        found = _least(np.where(inside, relative, np.nan))
        if found is not None:
            return found, (name,)
    return None, ()


def _worst(findings: Findings, number: int | None, used: bool = True) -> Chosen:
    flat = findings.ranking.flat
    wanted = findings.analysis.trusted.ravel()[flat] == used
    if number is not None:
        assert findings.labels is not None
        wanted &= findings.labels.ravel()[flat] == number
    found = flat[wanted]
    return (int(found[0]) if found.size else None), ()


def _left_out(findings: Findings, number: int | None) -> Chosen:
    return _worst(findings, number, used=False)


def _least(values: Array) -> int | None:
    return int(np.nanargmin(values)) if np.isfinite(values).any() else None


_RULES = {"typical": _typical, "best": _best, "worst": _worst, "left_out": _left_out}
