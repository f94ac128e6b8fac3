"""Every law judged with the figures of the one in use, and what follows from that."""

from __future__ import annotations

import math
from collections.abc import Collection

from ..models import LAWS, law_of
from .contact import Figures
from .making import Rule, lost_words, plain
from .parts import (
    BROKEN,
    FITS,
    PRACTICE,
    STRAINED,
    UNKNOWN,
    Check,
    LawAdvice,
    in_percent,
    in_words,
    label_of,
    worst,
)
from .shapes import ALIKE, check_depth, check_layer, check_rounding, check_shape, check_width
from .sticky import check_domain, check_lambda, check_load, check_tabor, pull_seen

OPTIONAL = ("rounding", "tip_shape", "layer")
"""Checks whose being unknown does not make a law unknown."""
BEYOND_LAWS = ("slope", "lever", "pressure", "branches", "samples")
"""Checks that no choice of law can mend."""
ORDER = {FITS: 0, STRAINED: 1, UNKNOWN: 2, BROKEN: 3}
SECOND_POINT = Rule("second_point", "Pull-off above the noise", "", "", "seen", PRACTICE)
SIMPLEST = ("none", "constant", "jkr", "maugis", "two_point")
NAMES = ("Tabor", "Maugis")
ROUND_FAMILY = {"paraboloid", "sphere", "blunted_cone", "hyperboloid"}


def law_checks(figures: Figures) -> list[Check]:
    """The checks that depend on the law and its adhesion."""
    law = figures.contacts.law
    sticky = [check_tabor(figures), check_lambda(figures), check_load(figures),
              check_domain(figures)]  # fmt: skip
    if figures.contacts.adhesion == "none" and law not in ROUND_FAMILY:
        sticky = [check_load(figures)]
    shapes = [check(figures) for check in
              (check_width, check_depth, check_rounding, check_shape, check_layer)]  # fmt: skip
    return [*sticky, *(check for check in shapes if check is not None)]


def pairs() -> list[tuple[str, str]]:
    """Every law with every adhesion that is known for it; the diagnostic is none."""
    found = []
    for law in LAWS:
        if law == "free_exponent":
            continue
        found += [(law, "none"), (law, "constant")]
        if law == "paraboloid":
            found += [(law, "maugis"), (law, "jkr"), (law, "two_point")]
    return found


def judge(figures: Figures, law: str, adhesion: str) -> LawAdvice:
    """One law by the figures of the one in use (its modulus, pull-off and indentation)."""
    label = label_of(law, adhesion)
    if law == "free_exponent":
        return LawAdvice(law, adhesion, label, UNKNOWN,
                         ("It is a diagnostic of the tip's shape and gives no modulus.",)
                         )  # fmt: skip
    here = figures.judging(law, adhesion)
    sizes = here.contacts.sizes(law)
    if not all(map(math.isfinite, sizes)):
        needed = [n for n in law_of(law).sizes if n != "rounding"]
        return LawAdvice(law, adhesion, label, UNKNOWN, (lost_words(here, *needed),))
    fault = law_of(law).fault(*sizes)
    if fault:
        return LawAdvice(law, adhesion, label, BROKEN, (_upper(fault),))
    checks = [c for c in law_checks(here) if c.name != "tabor"]
    if adhesion == "two_point" and not pull_seen(figures):
        checks.append(plain(SECOND_POINT, BROKEN, "No pull-off stands out of the noise, so there "
                            "is no second point."))  # fmt: skip
    deciding = [c for c in checks if c.verdict != UNKNOWN or c.name not in OPTIONAL]
    verdict = worst([c.verdict for c in deciding])
    reasons = [c.sentence for c in deciding if c.verdict == verdict != FITS]
    if not reasons:
        telling = "adhesive_load" if adhesion == "none" else "lambda"
        reasons = [c.sentence for c in checks if c.name in (telling, "depth", "rounding")]
    return LawAdvice(law, adhesion, label, verdict, tuple(dict.fromkeys(reasons)), tuple(checks))


# ---- the recommendation


def may_replace(figures: Figures, law: str) -> bool:
    """Whether a change from the present law to this one is about the physics, not another tip."""
    present, shape = figures.contacts.fitted_law, figures.analysis.map.recorded.tip_shape
    if law == present:
        return True
    if shape and (law == shape or any({law, shape} <= group for group in ALIKE)):
        return True
    return {law, present} <= ROUND_FAMILY


def candidates_of(figures: Figures, laws: list[LawAdvice]) -> list[LawAdvice]:
    """The laws that a recommendation chooses from: for this tip, and known well enough."""
    return [law for law in laws if may_replace(figures, law.law) and law.verdict != UNKNOWN]


def shared_faults(laws: list[LawAdvice]) -> list[Check]:
    """Checks that are broken for every one of some laws: no choice among these helps."""
    judged = [{c.name: c for c in law.checks} for law in laws if law.checks]
    if len(judged) < 2:
        return []
    return [c for name, c in judged[0].items()
            if all(name in one and one[name].verdict == BROKEN for one in judged)]  # fmt: skip


def choose(laws: list[LawAdvice], present: LawAdvice, shared: Collection[str]) -> LawAdvice:
    """The best of some laws.

    Only checks whose outcome differs between them count: first the verdict, then the tip's shape in
    use, then how many checks speak against it, then the adhesion in use, then the simplest one.
    """
    seen: dict[str, set[str]] = {name: set() for law in laws for name in against(law, shared)}
    for law in laws:
        bad = against(law, shared)
        for name, verdicts in seen.items():
            verdicts.add(bad[name].verdict if name in bad else FITS)
    telling = {name for name, verdicts in seen.items() if len(verdicts) > 1}

    def rank(law: LawAdvice) -> tuple[int, bool, int, bool, int]:
        count = len(telling & against(law, shared).keys())
        return (ORDER[verdict_of(law, shared)], law.law != present.law, count,
                law.adhesion != present.adhesion, SIMPLEST.index(law.adhesion))  # fmt: skip

    return min(laws, key=rank, default=present)


def against(law: LawAdvice, shared: Collection[str]) -> dict[str, Check]:
    """The checks that speak against a law, but for those in `shared`, by name."""
    return {c.name: c for c in law.checks
            if c.verdict in (STRAINED, BROKEN) and c.name not in shared}  # fmt: skip


def verdict_of(law: LawAdvice, shared: Collection[str]) -> str:
    """A law's verdict without the checks in `shared`."""
    if not law.checks:
        return law.verdict
    return worst([c.verdict for c in law.checks if c.name not in shared and
                  (c.verdict != UNKNOWN or c.name not in OPTIONAL)])  # fmt: skip


def recommend(figures: Figures, checks: list[Check], laws: list[LawAdvice], present: LawAdvice
              ) -> str:  # fmt: skip
    """What is in use, whether it may be used, and what is better; before it, what no law helps."""
    here = "for this curve" if figures.one else "over the whole map"
    laws = candidates_of(figures, laws)
    common = shared_faults(laws)
    shared = {c.name for c in common}
    faults = [c for c in checks if c.name in BEYOND_LAWS and c.verdict == BROKEN]
    helpless = " ".join(dict.fromkeys(c.sentence for c in (*faults, *common)))
    start = f"No law helps against this: {helpless} " if helpless else ""
    name = f"Apart from that, {_name(present)}," if start else f"{_upper(_name(present))},"
    verdict = verdict_of(present, shared)
    if verdict == UNKNOWN:
        first = present.reasons[0] if present.reasons else "Nothing is known about it."
        return f"{start}{name} is in use; whether it may be used {here} can't be judged. {first}"
    if verdict == FITS:
        return f"{start}{name} is in use and may be used {here}."
    best = choose(laws, present, shared)
    held = "does not hold" if verdict == BROKEN else "is strained"
    told = f"{start}{name} is in use but {held} {here}, since {because(present, shared)}"
    if not better(best, present, shared):
        return f"{told}; no other known law for this tip is better."
    rest = "" if verdict_of(best, shared) == FITS else " (though that is strained too)"
    if verdict == BROKEN and rest:
        rest = " (which is only strained)"
    return f"{told}; better: {_name(best)}{rest}."


def better(law: LawAdvice, than: LawAdvice, shared: Collection[str]) -> bool:
    """Whether one law has a better verdict, or as a strained one less against it."""
    first, second = (ORDER[verdict_of(one, shared)] for one in (law, than))
    if first != second:
        return first < second
    less = len(against(law, shared)) < len(against(than, shared))
    return less and verdict_of(law, shared) == STRAINED


def because(law: LawAdvice, shared: Collection[str]) -> str:
    """The first check that gives a law's verdict, as a figure with its limit; all of them stand
    with the law."""
    verdict = verdict_of(law, shared)
    for check in against(law, shared).values():
        if check.verdict == verdict:
            return _figure_words(check)
    return _clause(law.reasons[0]).rstrip(".") if law.reasons else "of what stands below"


def _figure_words(check: Check) -> str:
    """A figure with its limit as half a sentence."""
    if not math.isfinite(check.value):
        return _clause(check.sentence).rstrip(".")
    label = check.label if check.label.startswith(NAMES) else _clause(check.label)
    symbol = f" {check.symbol}" if check.symbol and len(check.symbol) < 3 else ""
    figure = in_words(check.value, check.error, check.unit)
    if not check.outside < 0.995:  # one curve, or all of them
        return f"the {label}{symbol} is {figure} (allowed: {check.limit})"
    return (f"the {label}{symbol} (median {figure}) is outside its limit "
            f"({check.limit}) on {in_percent(check.outside)} of the curves")  # fmt: skip


def _name(law: LawAdvice) -> str:
    return f"the {law.label}"


def _upper(words: str) -> str:
    return words[:1].upper() + words[1:]


def _clause(sentence: str) -> str:
    """A sentence as the second half of another."""
    keep = len(sentence) > 1 and not sentence[1].islower()
    return sentence if keep else sentence[:1].lower() + sentence[1:]
