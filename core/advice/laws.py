"""Every law judged with the figures of the one in use, and what follows from that."""

from __future__ import annotations

import math

from ..models import LAWS, law_of
from .contact import Figures
from .making import lost_words
from .parts import BROKEN, FITS, STRAINED, UNKNOWN, Check, LawAdvice, label_of, worst
from .shapes import ALIKE, check_depth, check_layer, check_rounding, check_shape, check_width
from .sticky import check_domain, check_lambda, check_load, check_tabor, pull_seen

OPTIONAL = ("rounding", "tip_shape", "layer")
"""Checks whose being unknown does not make a law unknown."""
BEYOND_LAWS = ("slope", "lever", "pressure", "branches", "samples")
"""Checks that no choice of law can mend."""
ORDER = {FITS: 0, STRAINED: 1, UNKNOWN: 2, BROKEN: 3}
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
    verdict = worst([c.verdict for c in checks if c.verdict != UNKNOWN or c.name not in OPTIONAL])
    reasons = [c.sentence for c in checks if c.verdict in (BROKEN, STRAINED)]
    if verdict == UNKNOWN:
        reasons += [c.sentence for c in checks
                    if c.verdict == UNKNOWN and c.name not in OPTIONAL]  # fmt: skip
    if adhesion == "two_point" and not pull_seen(figures):
        verdict = worst([verdict, BROKEN])
        reasons.append("No pull-off stands out of the noise, so there is no second point.")
    if not reasons:
        telling = "adhesive_load" if adhesion == "none" else "lambda"
        reasons = [c.sentence for c in checks if c.name in (telling, "depth", "rounding")]
    return LawAdvice(law, adhesion, label, verdict, tuple(dict.fromkeys(reasons)))


# ---- the recommendation


def may_replace(figures: Figures, law: str) -> bool:
    """Whether a change from the present law to this one is about the physics, not another tip."""
    present, shape = figures.contacts.fitted_law, figures.analysis.map.recorded.tip_shape
    if law == present:
        return True
    if shape and (law == shape or any({law, shape} <= group for group in ALIKE)):
        return True
    return {law, present} <= ROUND_FAMILY


def recommend(figures: Figures, checks: list[Check], laws: list[LawAdvice], present: LawAdvice
              ) -> str:  # fmt: skip
    """One or two sentences: what no law can mend, and which law to take."""
    faults = [c.sentence for c in checks if c.name in BEYOND_LAWS and c.verdict == BROKEN]
    start = f"{faults[0]} " if faults else ""
    if present.verdict == FITS:
        return f"{start}Keep {_name(present)}: {_clause(present.reasons[0])}"
    first = present.reasons[0] if present.reasons else "nothing is known about it."
    if present.verdict == UNKNOWN:
        return f"{start}{_upper(_name(present))} can't be judged here. {first}"

    def badness(law: LawAdvice) -> tuple[int, int]:
        return ORDER[law.verdict], len(law.reasons) if law.verdict != FITS else 0

    def rank(law: LawAdvice) -> tuple[int, bool, int, bool]:
        verdict, count = badness(law)
        return verdict, law.law != present.law, count, law.adhesion != present.adhesion

    open_to = [law for law in laws if may_replace(figures, law.law)]
    best = min(open_to, key=rank, default=present)
    if badness(best) < badness(present):
        rest = "."
        if best.verdict != FITS:
            rest = f", though {best.verdict}: {_clause(best.reasons[0])}"
        return (f"{start}{_upper(_name(present))} is {present.verdict} here: {_clause(first)} "
                f"Better: {_name(best)}{rest}")  # fmt: skip
    return (f"{start}{_upper(_name(present))} is {present.verdict} here, and no other known "
            f"law for this tip is better: {_clause(first)}")  # fmt: skip


def _name(law: LawAdvice) -> str:
    return f"the {law.label}"


def _upper(words: str) -> str:
    return words[:1].upper() + words[1:]


def _clause(sentence: str) -> str:
    """A sentence as the second half of another."""
    keep = len(sentence) > 1 and not sentence[1].islower()
    return sentence if keep else sentence[:1].lower() + sentence[1:]
