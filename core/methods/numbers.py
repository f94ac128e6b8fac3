"""Components, statistics, heights, places, and what the uncertainties hold."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping

import numpy as np

from ..calibration import SET as AS_SET
from ..components.maps import NO_CURVE, REASONS
from ..components.rule import letter
from ..uncertainty.inputs import common_inputs
from .facts import Facts, said
from .parts import ASSUMED, MEASURED, PROGRAM, RECORDED, SET, Cite, Piece, Said
from .words import about, counted, digits, exact, is_or_are, listed, was_or_were

NAMES = {"reduced_modulus": "E*", "adhesion": "adhesion", "stiffness": "contact stiffness",
         "indentation": "indentation"}  # fmt: skip
"""Channels by which independent pixels are told, in the order of preference."""


def components(f: Facts) -> Iterator[Said]:
    made = f.findings.composition
    if made is None:
        yield said("The map was not divided into components.", by=SET)
        return
    rule = made.rule
    how, _, zone = made.words.rpartition(". Pixels")
    pieces: list[Piece] = [how]
    if rule.method == "mixture":
        keys = ("schwarz1978", "biernacki2000", "sklearn2011")
        pieces.append(Cite(keys if made.candidates else keys[2:]))
    yield said(*pieces, f". Pixels{zone}", by=(SET, MEASURED))
    yield from _details(f)
    names = [f"{made.title(k)} ({np.count_nonzero(made.pixels(k)):,} pixels)"
             for k in range(made.count)]  # fmt: skip
    yield said(f"The components are {listed(names)}." if made.count > 1 else
               f"There is one component, {names[0]}.", by=(MEASURED, SET))  # fmt: skip
    unnamed = [made.title(k) for k in range(made.count) if made.rule.name(k) == letter(k)]
    if unnamed:
        which = f.hole("components", "materials", "which material is each component, and how is "
                       "that known?", "the rubber (A) and the matrix (B), by their moduli")
        yield said(f"{listed(unnamed)} {is_or_are(len(unnamed))} taken to be ", which,
                   ".")  # fmt: skip
    lost = {words: n for words, n in made.left_out.items() if words != REASONS[NO_CURVE]}
    aside = made.set_aside
    if lost or aside:
        both = []
        if lost:
            n = sum(lost.values())
            both.append(f"{n:,} {is_or_are(n)} in no component ({_by_reason(lost)})")
        if aside:
            n = sum(aside.values())
            both.append(f"{n:,} {'counts' if n == 1 else 'count'} in the areas only "
                        f"({_by_reason(aside)})")  # fmt: skip
        yield said(f"Of the pixels with a curve {'; '.join(both)}.", by=MEASURED)


def _by_reason(counts: Mapping[str, int]) -> str:
    """Reasons with their counts; a single one without."""
    if len(counts) == 1:
        return next(iter(counts))
    return "; ".join(f"{words}: {n:,}" for words, n in counts.items())


def _details(f: Facts) -> Iterator[Said]:
    made = f.findings.composition
    assert made is not None
    rule, more = made.rule, []
    if rule.method == "gates":
        corners = sum(len(gate.vertices) for gate in rule.gates)
        more.append(f"the gates are {counted(len(rule.gates), 'polygon')} with "
                    f"{counted(corners, 'corner')} in all, kept in the result file")  # fmt: skip
    if rule.method == "end_members":
        each = ("; ".join(" and ".join(f"{digits(c)} ± {digits(s, 2)}" for c, s in
                                       zip(one.centre, one.spread, strict=True))
                          for one in rule.members))  # fmt: skip
        more.append("the end members (centre ± standard deviation on each axis, in core units, "
                    f"the deviation of log₁₀ where the axis is one) were {each}")  # fmt: skip
    if rule.least > 0.0 and rule.method != "gates":
        more.append(f"a pixel belongs to none where its membership is below {exact(rule.least)}")
    if more:
        yield said(f"{_capital('; '.join(more))}.", by=SET)


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def statistics(f: Facts) -> Iterator[Said]:
    table, used = f.findings.table, int(np.count_nonzero(f.used))
    repeats = f.hole("statistics", "repeats", "how many maps, places and samples were measured?",
                     "three maps at different places on two samples")  # fmt: skip
    if not used:
        yield said("No pixel is used, so no statistics are given; measured in all were ", repeats,
                   ".", by=MEASURED)  # fmt: skip
        return
    of = ""
    if table is not None:
        made = f.findings.composition
        away = " away from boundaries" if made is not None and made.set_aside else ""
        of = f", or over those of a component{away}"
    yield said(f"Numbers are medians with quartiles over the pixels used of this one map ({used:,})"
               f"{of}; measured in all were ", repeats, ".", by=(MEASURED, PROGRAM))  # fmt: skip
    alike = "Neighbouring pixels are alike and not independent samples: "
    if table is None:
        yield said(f"{alike}the number of pixels is no number of independent measurements.",
                   by=PROGRAM)  # fmt: skip
        return
    yield said(f"{alike}standard errors use the effective number of independent pixels, from the "
               f"correlation that the map itself shows{_independent(f)}.", by=(MEASURED, PROGRAM))
    if len(table.rows) > 1:
        yield said("Area fractions are shares of the labelled area, with 95 % intervals on the "
                   "logit with Student's t of the effective number of independent pixels of each "
                   "pattern; they are those of the surface of this field.",
                   by=PROGRAM)  # fmt: skip
        yield said("Components were compared by Welch's test on the medians with these numbers",
                   Cite(("welch1947",)), ", all comparisons counted by Holm's procedure",
                   Cite(("holm1979",)), "; quantities that made the components were not tested.",
                   by=PROGRAM)  # fmt: skip


def _independent(f: Facts) -> str:
    table = f.findings.table
    if table is None:
        return ""
    each, name = [], ""
    for row in table.rows:
        one = next((row.summaries[n] for n in NAMES if n in row.summaries), None)
        if one is not None and math.isfinite(one.independent):
            name = NAMES[one.channel]
            each.append(f"{one.independent:,.0f} for {one.pixels:,} pixels of {row.letter}")
    return f" ({listed(each)}, by {name})" if each else ""


def uncertainty(f: Facts) -> Iterator[Said]:
    quantity = "modulus" if f.gives_moduli else "stiffness"
    if not f.forces or not f.used.any():
        return
    yield said("The standard uncertainty of a pixel holds what its own curve leaves open: noise "
               "(white and slow), baseline, contact point, pull-off and sampling.",
               by=PROGRAM)  # fmt: skip
    inputs, _ = common_inputs(f.analysis, quantity)
    thermal = f.settings.uncertainty.spring_from == "thermal"
    with_ = [f"{_label(one.label)} ({_how_well(one, thermal)})" for one in inputs
             if one.relative > 0.0 or one.error > 0.0]  # fmt: skip
    origins = {ASSUMED if one.origin == "assumed" else SET if one.origin == AS_SET else RECORDED
               for one in inputs}  # fmt: skip
    yield said("What all pixels share is kept apart from it, since it does not fall by averaging: "
               f"{listed(with_)}", Cite(("jcgm100",)), ".", by=tuple(sorted(origins)))  # fmt: skip
    yield from _ratios(f)
    u = f.settings.uncertainty
    if u.spring_from == "thermal":
        yield said("The spring constant was taken as found from thermal noise, k ∝ T/s², so that "
                   "its error is tied to those of the sensitivity s and of the temperature T (± "
                   f"{exact(u.temperature, '%')}).", by=SET)  # fmt: skip
    else:
        was = "thermal" in f.analysis.constants.spring_constant.method.lower()
        though = ", although the first is recorded as found from thermal noise" if was else ""
        yield said("The errors of spring constant and sensitivity were taken as independent"
                   f"{though}.", by=SET)  # fmt: skip


def _ratios(f: Facts) -> Iterator[Said]:
    """What of the common part is left in the ratios of components, and why."""
    made = f.findings.composition
    pairs = [one for one in f.findings.pairs if one.channel == "modulus"
             and math.isfinite(one.common)]  # fmt: skip
    if made is None or not f.gives_moduli or not pairs:
        return
    rows = {row.number: row for row in (f.findings.table.rows if f.findings.table else ())}
    alone = [(k, rows[k].summaries["modulus"].common) for k in sorted(
        {k for one in pairs for k in (one.a, one.b)} & set(rows))]  # fmt: skip
    left = listed(f"{about(one.common)} ({letter(one.b)}/{letter(one.a)})" for one in pairs)
    own = listed(f"{about(share)} ({letter(k)})" for k, share in alone if math.isfinite(share))
    plain = (f.settings.tip.material == "rigid" and f.settings.layer.base == "none"
             and f.settings.fit.adhesion != "maugis" and f.law.profile is None)  # fmt: skip
    own_part = f.settings.uncertainty.spring_from == "thermal"
    spring = "What the spring constant has of its own" if own_part else "Spring constant"
    gone = f"{spring} and tip size cancel in the ratio of two components"
    gone = gone if plain else f"{gone} only in part"
    ratios = "ratio" if len(pairs) == 1 else "ratios"
    yield said(f"{gone}, the sensitivity only as far as they are alike in deflection over "
               f"indentation. Of the moduli of the components the common part leaves open {own}, "
               f"of their {ratios} {left}.", by=(MEASURED, PROGRAM))  # fmt: skip


def _label(label: str) -> str:
    return label if label.startswith("Poisson") else f"{label[:1].lower()}{label[1:]}"


def _how_well(one: object, thermal: bool) -> str:
    name, relative, error = one.name, one.relative, one.error  # type: ignore[attr-defined]
    if name == "poisson_ratio":
        return f"± {exact(error)}"
    own = " of its own" if thermal and name == "spring_constant" else ""
    return f"{about(relative)}{own}"


def heights(f: Facts) -> Iterator[Said]:
    one = f.findings.work.levelling
    if one is None:
        yield said("Heights were not levelled.", by=SET)
        return
    if not f.used.any():
        yield said("Heights were not levelled, since no pixel is used.", by=MEASURED)
        return
    what = ("the level", "a plane", "a polynomial of second order",
            "a polynomial of third order")[one.order]  # fmt: skip
    on = "all usable pixels"
    if one.on:
        made = f.findings.composition
        names = [made.title(k) if made is not None and k < made.count else str(k) for k in one.on]
        on = f"the pixels of {listed(names)}"
    lines = {"none": "", "median": ", and lines were then shifted by their medians",
             "differences": ", and lines were then shifted by the summed medians of the "
             "differences of neighbouring lines"}[one.lines]  # fmt: skip
    yield said(f"For roughness and heights {what} was taken off, fitted robustly to {on}",
               Cite(("huber1981",)), f"{lines}; the other quantities do not depend on it.",
               by=SET)  # fmt: skip


def places(f: Facts) -> Iterator[Said]:
    work = f.findings.work
    found = work.places
    if found:
        parts = [counted(len(group), word) for group, word in
                 ((found.regions, "region"), (found.profiles, "profile")) if group]  # fmt: skip
        named = [one.name for one in (*found.regions, *found.profiles)][:8]
        yield said(f"On the map {listed(parts)} "
                   f"{was_or_were(len(named))} laid by hand "
                   f"({', '.join(f'“{name}”' for name in named)}).", by=SET)  # fmt: skip
    if work.picture is not None:
        how = {"shift": "a shift", "similarity": "shift, rotation and scale",
               "affine": "an affine map"}[work.picture.kind]  # fmt: skip
        marks = len(work.picture.pairs)
        by = f" by {counted(marks, 'landmark')}" if marks else ""
        yield said(f"Another picture of the place (“{work.picture.path.name}”) was laid on the map "
                   f"with {how}{by}.", by=SET)  # fmt: skip


