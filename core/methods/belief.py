"""What was left out and why, what was decided by hand, and what is doubted about the whole map."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping

import numpy as np

from ..channels import CHANNELS
from ..decisions import CORRECTED, KEPT, LEFT_OUT, Decision
from ..doubts import DOUBTS, SEVERE
from ..mapdoubts import JUDGED
from ..settings import Doubts, declaration
from .facts import Array, Facts, said
from .mechanics import RELAXING
from .parts import MEASURED, PROGRAM, SET, Piece, Said
from .words import counted, exact, listed, percent, was_or_were

Phrase = Callable[[Doubts], str]
PHRASES: Mapping[str, str | Phrase] = {
    "no_contact": "a peak of less than 5 times the noise (no contact)",
    "no_baseline": lambda s: f"a free part before contact that is too short ({_free_part(s)})",
    "no_release": lambda s: f"a free part after pull-off that is too short ({_free_part(s)})",
    "saturated": "a signal with a flat top (saturated detector)",
    "wrong_way": "a branch that moves the wrong way",
    "few_samples": lambda s: f"fewer than {counted(s.least_samples, 'sample')} in the fit window",
    "fit_failed": "a fit that did not converge",
    "slope_above_one": "a slope of deflection against z above 1 by more than three standard errors",
    "too_short": "a branch of fewer than 8 samples",
    "no_retract": "no retract",
    "not_calibrated": "a missing constant",
    "at_bound": "a parameter of the fit at the end of its range",
    "fit_stuck": "a fit that never left its first guess",
    "beyond_law": "an indentation beyond the range of the law",
    "no_contact_point": "no contact point",
    "modulus_unknown": "a standard uncertainty of the modulus above 50 % from the curve alone",
    "z_lost": "a deflection that rises while the recorded z stands still",
    "slope_falls": lambda s: f"a slope that falls by more than {exact(s.worst_fall, '%')} towards "
    "the peak",
}
"""Severe doubt -> the criterion as a methods section puts it."""
TWINS = ("no_baseline", "no_release")
"""Doubts with one criterion; it is told once."""
MARKS: Mapping[str, str] = {
    "spikes": "single samples out of their neighbours", "missing_samples": "missing samples",
    "noisy": "much noise", "set_force_missed": "a set force not reached",
    "set_force_exceeded": "a set force exceeded", "bad_fit": "residuals above the noise",
    "no_pull_off": "no pull-off above the noise", "slope_near_one": "a contact hardly softer than "
    "the travel", "few_in_slope": "few samples for the contact stiffness",
    "window_cut": "a fit window cut at contact", "z_unsteady": "an unsteady z",
    "open_loop": "branches that do not meet at the peak", "jkr_outside": "a contact at zero load "
    "wider than half the tip radius", "fringes": "optical fringes", "fringes_unknown": "fringes "
    "that can't be told from a slope", "drag": "different baselines of the branches",
    "viscous_failed": "no fit of the relaxing solid", "viscous_bound": "a relaxation at its bound",
    "viscous_untimed": "no times", "viscous_bad_fit": "residuals of the relaxing solid",
    "modulus_uncertain": "a wide uncertainty of the modulus", "viscous_uncertain": "a wide "
    "uncertainty of the relaxation", "loss_below_zero": "a loss below zero",
    "z_clipped": "a z that stands still at an end", "noise_correlated": "correlated noise",
    "baseline_wavy": "a baseline that is not straight", "tilt": "a steep baseline",
    "contact_uncertain": "an uncertain contact point", "residuals_structured": "structure in the "
    "residuals", "lever_too_soft": "a lever too soft for the contact", "lever_too_stiff": "a lever "
    "too stiff for the contact", "second_pull": "a second pull-off", "neck": "a slow release",
    "branches_differ": "branches apart in contact", "steep_surface": "a steep surface",
    "alone": "a value unlike all around",
}  # fmt: skip
"""Mild doubt -> what it marks."""
UNLIMITED = ("missing_samples", "few_in_slope", "slope_near_one", "open_loop", "z_unsteady",
             "z_clipped", "fringes_unknown")  # fmt: skip
"""Those whose limit is the program's own and says nothing in a paper."""
MOST_MARKS = 4
"""Mild doubts that are named; the result file holds all."""


def _free_part(s: Doubts) -> str:
    return (f"below the larger of {exact(s.shortest_baseline, 'nm')} and 30 % of the travel in "
            "contact, the latter at most 100 nm")  # fmt: skip


def phrase(name: str, limits: Doubts) -> str:
    """A severe doubt as a criterion, with its threshold."""
    found = PHRASES[name]
    return found if isinstance(found, str) else found(limits)


def excluded(f: Facts) -> Iterator[Said]:
    """How many pixels, by which rule, and where."""
    there = f.map.index_map >= 0
    total = int(np.count_nonzero(there))
    out = there & ~f.used
    number = int(np.count_nonzero(out))
    if not total:
        return
    limits = f.settings.doubts
    by_hand = f.analysis.left_out
    hand = 0 if by_hand is None else int(np.count_nonzero(by_hand & there))
    yield said(f"Of {counted(total, 'curve')} {number:,} ({percent(number / total)}) "
               f"{was_or_were(number)} left out of all numbers"
               f"{f', {hand:,} of them by hand' if hand else ''}.", by=(MEASURED, SET))  # fmt: skip
    yield from _rule(f, there)
    if 0 < number < total:
        yield said(_where(f, out, there), by=MEASURED)
    asked = ("no_baseline", "few_samples", "slope_falls") if f.analysis.constants.lengths else ()
    seen = f.analysis.doubt_counts()
    never = [phrase(name, limits) for name in asked if not seen.get(name)]
    if never:
        yield said("Criteria that no curve met included "
                   f"{listed(never, 'and')}.", by=(SET, MEASURED))  # fmt: skip


def _rule(f: Facts, there: Array) -> Iterator[Said]:
    """The criteria, with the curves that the rule left out: neither those kept nor those left out
    by hand."""
    every = np.uint64(f.analysis.severe_mask)
    out = there & ~f.used & ((f.analysis.doubts & every) != 0)
    if f.analysis.left_out is not None:
        out &= ~f.analysis.left_out
    bits, number = f.analysis.doubts[out], int(np.count_nonzero(out))
    severe = [d for d in DOUBTS.values() if d.severity == SEVERE]
    counts = [(int(np.count_nonzero((bits & np.uint64(d.mask)) != 0)), d.name) for d in severe]
    met = sorted((pair for pair in counts if pair[0]), reverse=True)
    if not met:
        some = bool(f.analysis.review) and any(
            name in PHRASES for name, count in f.analysis.doubt_counts().items() if count)
        yield said("The rule left out no other curve." if some else
                   "No curve met a criterion by which the rule leaves out.",
                   by=(MEASURED, PROGRAM))  # fmt: skip
        return
    each = "; ".join(f"{words} ({count:,})" for words, count in _criteria(f, met))
    several = "; a curve may meet several" if sum(n for n, _ in met) > number else ""
    kept = ", unless it was kept by hand" if f.analysis.review.kept else ""
    hand = "; those left out by hand are not counted here" if f.analysis.left_out is not None and (
        f.analysis.left_out.any()) else ""  # fmt: skip
    yield said(f"The rule, the same for all pixels, left out each curve with one of these{kept} "
               f"({counted(number, 'curve')}{several}{hand}): {each}.",
               by=(SET, MEASURED))  # fmt: skip


def _criteria(f: Facts, met: list[tuple[int, str]]) -> Iterator[tuple[str, int]]:
    """Criteria with their counts; the second of twins without telling it all again."""
    told = False
    for count, name in met:
        words = _of_factor(f, phrase(name, f.settings.doubts))
        if name in TWINS and told:
            words = f"{words.partition(' (')[0].replace(' that is too short', '')} by the same rule"
            words = words.replace("a free part", "a too short free part")
        told |= name in TWINS
        yield words, count


def _of_factor(f: Facts, words: str) -> str:
    """Without moduli it is the factor of the law whose uncertainty is judged."""
    return words if f.gives_moduli else words.replace("the modulus", "the factor of the law")


def _where(f: Facts, out: Array, there: Array) -> str:
    """Where the pixels lie that are left out: in how many places, and how evenly."""
    from scipy.ndimage import label

    marks, places = label(out, np.ones((3, 3)))
    sizes = np.bincount(marks.ravel())[1:]
    row, col = np.argwhere(marks == int(np.argmax(sizes)) + 1).mean(axis=0)
    rows, cols = out.shape
    shares = []
    for part in np.array_split(np.arange(rows), 2):
        for other in np.array_split(np.arange(cols), 2):
            here = np.ix_(part, other)
            if there[here].any():
                shares.append(float(out[here].sum() / there[here].sum()))
    text = f"They lie in {counted(places, 'place')}" if sizes.sum() > 1 else (
        f"It lies at column {col:.0f}, row {row:.0f} of the map")  # fmt: skip
    if sizes.sum() == 1:
        return f"{text}."
    if sizes.size == 1:
        text += (f" of {counted(int(sizes[0]), 'pixel')} around column {col:.0f}, row {row:.0f} of "
                 "the map")  # fmt: skip
    elif sizes.max() > 1:
        text += (f", the largest of {counted(int(sizes.max()), 'pixel')} around column {col:.0f}, "
                 f"row {row:.0f} of the map")  # fmt: skip
    if len(shares) == 4:
        low, high = percent(min(shares)), percent(max(shares))
        each = f"{low} of the curves in each" if low == high else (
            f"{low.removesuffix(' %')} to {high} of the curves in a")  # fmt: skip
        text += f", and make up {each} quarter of the map"
    return f"{text}."


def marked(f: Facts) -> Iterator[Said]:
    """Mild doubts: they leave nothing out."""
    used = f.analysis.doubts[f.used]
    if not used.size:
        return
    mild = [d for d in DOUBTS.values() if d.severity != SEVERE]
    every = np.uint64(sum(d.mask for d in mild))
    number = int(np.count_nonzero((used & every) != 0))
    if not number:
        yield said("No curve that was used carried a lesser mark of doubt.", by=MEASURED)
        return
    counts = sorted(((int(np.count_nonzero((used & np.uint64(d.mask)) != 0)), d.name)
                     for d in mild), reverse=True)  # fmt: skip
    most = [pair for pair in counts if pair[0]]
    named = [f"{_of_factor(f, MARKS[name])}{_limit(f, name)} ({count:,})"
             for count, name in most[:MOST_MARKS]]  # fmt: skip
    rest = f", and {counted(len(most) - MOST_MARKS, 'other kind')} of mark" if len(
        most) > MOST_MARKS else ""  # fmt: skip
    blank = ("no pixel out of anything but the numbers of the relaxation" if any(
        name in RELAXING for _, name in most) else "no pixel out")  # fmt: skip
    yield said(f"Of the curves used {number:,} carried a lesser mark of doubt, which leaves "
               f"{blank}; {'most often' if len(most) > 1 else 'namely'} "
               f"{listed(named) if not rest else ', '.join(named)}{rest}.",
               by=(MEASURED, SET))  # fmt: skip


QUANTITIES = ("modulus", "stiffness", "adhesion", "release_force", "work_of_adhesion",
              "dissipation", "indentation")  # fmt: skip
"""Quantities of which it is told at how many of the used pixels they have no value."""


def blanks(f: Facts) -> Iterator[Said]:
    """Quantities that single used pixels have no value of."""
    used = int(np.count_nonzero(f.used))
    sizes = {name: f.channel(name).size for name in QUANTITIES}
    lost = [f"{CHANNELS[name].label.lower()} ({used - n:,})" for name, n in sizes.items()
            if 0 < n < used]  # fmt: skip
    if lost:
        yield said("Curves used that have no value of a quantity do not count in the numbers of "
                   f"that quantity: {listed(lost)}.", by=MEASURED)  # fmt: skip


def lesser(f: Facts) -> Iterator[Said]:
    """Mild doubts, and values that are not there."""
    yield from marked(f)
    yield from blanks(f)


def _limit(f: Facts, name: str) -> str:
    doubt = DOUBTS[name]
    limit = doubt.threshold(f.settings.doubts)
    if name == "spikes":
        return f" (by {exact(f.settings.doubts.spike)} times the noise)"
    if limit != limit or not doubt.unit or name in UNLIMITED:
        return ""
    way = "below" if name == "lever_too_stiff" else "above"
    unit = doubt.unit.replace("× noise", "times the noise").replace("× ", "times ")
    unit = unit.replace("% below", "%").replace("% above", "%")
    return f" ({way} {exact(limit)} {unit})"


def decisions(f: Facts) -> Iterator[Said]:
    """What was decided by hand."""
    review = f.analysis.review
    if not review:
        yield said("No pixel was decided about by hand.", by=SET)
        return
    counts = {kind: sum(_number(f, d) for d in review.of_kind(kind))
              for kind in (KEPT, LEFT_OUT, CORRECTED)}  # fmt: skip
    words = {KEPT: "kept in spite of the rule", LEFT_OUT: "left out", CORRECTED: "analysed under "
             "settings of their own"}  # fmt: skip
    done = [f"{counted(n, 'pixel')} {was_or_were(n)} {words[kind]}"
            for kind, n in counts.items() if n]  # fmt: skip
    pieces: list[Piece] = [f"By hand, after a look at the curves, {listed(done)}"]
    notes = list(dict.fromkeys(d.note for d in review.decisions if d.note))
    if notes:
        pieces.append(f" (noted reasons: {'; '.join(f'“{note}”' for note in notes[:6])}"
                      f"{' and others' if len(notes) > 6 else ''}).")  # fmt: skip
    else:
        why = f.hole("decisions", "decided_why", "by which rule were pixels decided about by hand?",
                     "curves with a visible slip were left out, blind to their modulus")
        pieces += ["; the rule was: ", why, "."]
    yield said(*pieces, by=SET)
    yield from _corrections(f)


def _number(f: Facts, decision: Decision) -> int:
    return decision.pixels.count if decision.pixels.shape == f.map.shape else 0


def _corrections(f: Facts) -> Iterator[Said]:
    found: dict[str, int] = {}
    for decision in f.analysis.review.corrections:
        words = listed(_changed(path, value) for path, value in decision.change)
        found[words] = found.get(words, 0) + _number(f, decision)
    if found:
        each = "; ".join(f"{words} ({counted(n, 'pixel')})" for words, n in
                         list(found.items())[:5])  # fmt: skip
        more = "; and others, which the result file holds" if len(found) > 5 else ""
        yield said(f"The settings of the corrected pixels differed in: {each}{more}.", by=SET)


ENDS = {"from": "lower end of the fit window", "to": "upper end of the fit window"}


def _changed(path: str, value: object) -> str:
    meta = declaration(path).metadata
    section = path.partition(".")[0].replace("_", " ")
    shown = meta["options"].get(value, value) if meta["kind"] == "choice" else (
        exact(float(value), meta["unit"]) if isinstance(value, (int, float)) else "as recorded")
    name = ENDS.get(path.rpartition("_")[2], "") if path.startswith("fit.") else ""
    return f"{name}: {shown}" if name else f"{section}, “{meta['label']}”: {shown}"


def map_doubts(f: Facts) -> Iterator[Said]:
    """Doubts about the map as a whole that stand."""
    if not f.analysis.constants.lengths:
        yield said("The map as a whole was not judged, since there are no lengths.", by=PROGRAM)
        return
    found, lacking = f.findings.map_doubts, f.findings.not_judged
    judged = [what for what in JUDGED if what not in lacking]
    if not found:
        looked = f"nothing was doubted (looked for: {listed(judged)})"
        yield said(f"Of the map as a whole {looked if judged else 'nothing could be judged'}.",
                   by=(MEASURED, PROGRAM))  # fmt: skip
    for doubt in found:
        words = doubt.sentence.strip()
        words = _of_factor(f, words) if doubt.name == "many_doubts" else words
        yield said(f"Doubt about the map as a whole: {words}", by=MEASURED)
    whys: dict[str, list[str]] = {}
    for what, why in lacking.items():
        whys.setdefault(why, []).append(what)
    if whys:
        each = "; ".join(f"{listed(names)} ({why})" for why, names in whys.items())
        yield said(f"What could not be judged of the map as a whole: {each}.",
                   by=(MEASURED, PROGRAM))  # fmt: skip
