"""Whether the deflection sensitivity is wrong, and by which factor; or whether it is the law.

A wrong law bends the curve too, so what a factor explains is compared with what other laws explain
without one, and the factor of the stiff curves with that of the softer ones: a sensitivity is the
same for all, a wrong law is not. So does a detector that is not straight, and that is the same for
all: a factor within the reach of a small bend is mild, names both, and no value is offered.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from ..analysis import Analysis
from ..columns import law as cl
from ..columns import stiffness as st
from ..doubts import DOUBTS
from .bend import MISFIT, Bend, bend_of
from .lines import Array
from .parts import Evidence, MapDoubt, Plot
from .pooled import (
    Law,
    Pooled,
    Sampled,
    cost_without,
    law_in_use,
    pooled_fit,
    power,
    sampled,
)
from .view import View

SENSITIVITY = "a wrong sensitivity"
"""What is judged here, in words."""
STIFF, OTHERS = 60, 40
"""Curves that are looked at: the stiffest, and others from all over the range."""
FEWEST = 8
ITS_FAULT = ("slope_above_one", "slope_near_one", "fit_failed", "at_bound", "fit_stuck",
             "modulus_unknown", "beyond_law", "few_samples")  # fmt: skip
"""Doubts that a wrong sensitivity brings about itself: such curves tell it best."""
SURE = 3.0
"""Standard errors by which the factor has to differ from one, a straight detector assumed."""
GAIN = 16.0
"""By how much (sum of squares in noises) a factor has to be better than another law without one;
four standard deviations of one parameter."""
ALIKE = 1.01
"""Laws whose sums of squares are this near to the best one's are not told apart: no real sample is
described better than so."""
DISAGREE = 4.0
"""Standard errors from which on stiff and soft curves do not share a factor."""


RECORDED, STRAIGHT = "Sensitivity, recorded over true", "The same with a straight detector"
THAT_FITS, ABOVE = "Sensitivity that fits", "Curves with a slope above one"
ALONE = "Bend that fits without a factor"


def chosen(view: View) -> tuple[Array, Array]:
    """Curves to look at, stiffest first, and their slope in contact."""
    analysis = view.analysis
    own = np.uint64(sum(DOUBTS[name].mask for name in ITS_FAULT if name in DOUBTS))
    other = np.uint64(analysis.severe_mask) & ~own
    sound = (analysis.curve_doubts & other) == 0
    sound &= ~analysis.curve_left_out & analysis.done
    slope = analysis.tables.slope[:, st.SLOPE]
    known = np.flatnonzero(sound & np.isfinite(slope) & (slope > 0.0))
    order = known[np.argsort(-slope[known])]
    skip = order.size // 200  # the very first are the noisiest, not the stiffest
    stiff, rest = order[skip : skip + STIFF], order[skip + STIFF :]
    if rest.size > OTHERS:
        ends = slope[rest[-1]], slope[rest[0]]  # evenly by slope, so that rare ones are there
        at = np.searchsorted(-slope[rest], -np.linspace(*ends, OTHERS))
        rest = rest[np.unique(np.minimum(at, rest.size - 1))]
    curves = np.concatenate([stiff, rest])
    return curves, slope[curves]


def sensitivity_wrong(view: View) -> list[MapDoubt]:
    """One doubt if a factor explains the curves, or if it takes another law to do so."""
    analysis = view.analysis
    limit = analysis.settings.doubts.worst_sensitivity
    curves, _ = chosen(view)
    parts = sampled(analysis, curves)
    if len(parts) < FEWEST:
        return view.cannot(SENSITIVITY, f"fewer than {FEWEST} curves tell it")
    use = pooled_fit(parts, law_in_use(analysis))
    parts, use = _without_odd(parts, use)
    gain = _gain(analysis, parts, use)
    if not _told(use, gain, limit):
        return []
    others = [pooled_fit(parts, law) for law in _alternatives(analysis.settings.fit)]
    slope = analysis.tables.slope[[p.curve for p in parts], st.SLOPE]
    return _doubt(view, parts, use, others, slope, gain, limit)


def _told(use: Pooled, gain: float, limit: float) -> bool:
    """Whether a factor is sure, and moves a modulus by more than the limit [%]."""
    off = abs(use.factor - 1.0)
    return math.isfinite(use.error) and 100.0 * off * gain > limit and off > SURE * use.error


def _gain(analysis: Analysis, parts: list[Sampled], use: Pooled) -> float:
    """1 + n d/δ: by how much a modulus errs more than the sensitivity, where it is trusted and the
    contact is stiffest (d/δ of a right sensitivity; a share of the error, common practice)."""
    good = analysis.trusted[tuple(analysis.map.pixel[[p.curve for p in parts]].T)]
    if np.count_nonzero(good) < FEWEST:
        good[:] = True
    top = np.array([(p.z[-1], p.d[-1]) for p in parts])
    bent = top[:, 1] / use.factor
    depth = top[:, 0] - use.start[:, 1] - bent
    ratio = bent[good] / np.maximum(depth[good], 0.02 * bent[good])
    return 1.0 + use.law.exponent * float(np.median(np.sort(ratio)[-max(ratio.size // 3, 1) :]))


def _without_odd(parts: list[Sampled], use: Pooled) -> tuple[list[Sampled], Pooled]:
    """Curves that the law can't describe even so, left out, and the fit without them."""
    each = use.costs / np.array([p.z.size for p in parts])
    keep = each <= 4.0 * max(float(np.median(each)), 1.0)
    if keep.all() or np.count_nonzero(keep) < FEWEST:
        return parts, use
    parts = [p for p, kept in zip(parts, keep, strict=True) if kept]
    return parts, pooled_fit(parts, use.law)


def _alternatives(fit: object) -> list[Law]:
    """Plain laws other than the one in use."""
    law, adhesion = getattr(fit, "law", ""), getattr(fit, "adhesion", "")
    pulls = adhesion != "none"
    found = [power("paraboloid", "a round tip with a constant pull", 1.5, pulls=pulls),
             power("cone", "a pointed tip (cone) with a constant pull", 2.0, pulls=pulls),
             power("jkr", "JKR", 1.5, cl.JKR)]  # fmt: skip
    used = "jkr" if adhesion in ("jkr", "two_point") else law
    return [other for other in found if other.name != used]


def _groups(use: Pooled, slope: Array) -> list[tuple[Array, float, float, float]]:
    """Thirds of the curves by stiffness, each of which knows the factor: (which, slope, f, ±)."""
    out = []
    order = np.argsort(-slope)
    for part in np.array_split(order, 3):
        some = np.zeros(slope.size, bool)
        some[part] = True
        factor, error = use.of(some)
        if math.isfinite(error) and error < 0.25:
            out.append((some, float(np.median(slope[some])), factor, error))
    return out


def _doubt(view: View, parts: list[Sampled], use: Pooled, others: list[Pooled], slope: Array,
           gain: float, limit: float) -> list[MapDoubt]:  # fmt: skip
    """The sensitivity, or the law: whichever describes the curves without the other."""
    every = (use, *others)
    best = min(every, key=lambda p: p.cost)
    scale = max(best.cost / max(best.samples - 2 * len(parts) - 1, 1), 1.0)
    if (use.cost - best.cost) / scale < GAIN:
        best = use
    bend = bend_of(parts, best)
    best = replace(best, error=math.hypot(best.error, _of_choice(every, best, scale),
                                          MISFIT * bend.response))  # fmt: skip
    without = [cost_without(parts, p) for p in every]
    rival = int(np.argmin(without))
    rivalled = (without[rival] - best.cost) / scale < GAIN
    groups = _groups(best, slope)
    evidence = Evidence((_plot(parts, best, slope),), _facts(view, every, best, bend, groups,
                                                             _sure(best, bend) and not rivalled),
                        channels=("stiffness", "reduced_modulus"))  # fmt: skip
    if not rivalled and best.law is use.law and not _told(best, gain, limit):
        return []
    if rivalled or _apart(groups) or not _told(best, gain, limit):
        why = (f"{every[rival].law.label} describes them as well without one" if rivalled else
               f"under {best.law.label}, which describes them better, it would be "
               f"{best.factor:.2f}" if best.law is not use.law else
               f"the stiffest ask for {groups[0][2]:.2f} and the softest for {groups[-1][2]:.2f}")
        end = ("The law, the sensitivity, or the linearity of the detector or of z: these curves "
               "do not tell which" if rivalled and best.law is use.law else
               "Rather the law or the tip's shape is wrong than the sensitivity")
        return [_of_law(use, f"{why}. {end}.", evidence, gain, limit)]
    doubt = Wrong(parts, best, bend, every, gain, limit, _sure(best, bend))
    return [_of_sensitivity(doubt, evidence, _rival_bend(doubt, scale))]


def _whole(best: Pooled, bend: Bend) -> float:
    """± of a factor with what a bend can do to it: limits of an even distribution."""
    return math.hypot(best.error, bend.reach / math.sqrt(3.0))


def _sure(best: Pooled, bend: Bend) -> bool:
    """Whether a factor is beyond what the largest bend could do."""
    return abs(best.factor - 1.0) > bend.reach + SURE * best.error


@dataclass(frozen=True, eq=False)
class Wrong:
    """What a doubt about the sensitivity tells; `sure` if no small bend brings it about."""

    parts: list[Sampled]
    best: Pooled
    bend: Bend
    every: tuple[Pooled, ...]
    gain: float
    limit: float
    sure: bool


def _rival_bend(wrong: Wrong, scale: float) -> str:
    """How well a bend alone describes the curves, in words."""
    bend = wrong.bend
    off = (bend.cost - wrong.best.cost) / scale
    word = "better" if off < -GAIN else "as well" if off < GAIN else "not quite as well"
    return (f"a bend of the detector by {100.0 * bend.alone:+.1f} % of the peak describes the "
            f"curves {word} without a factor")  # fmt: skip


def _of_choice(every: tuple[Pooled, ...], best: Pooled, scale: float) -> float:
    """What it adds to the factor's ± that the curves do not tell these laws apart: a third of the
    largest difference."""
    limit = max(best.cost + GAIN * scale, ALIKE * best.cost)
    return max(abs(p.factor - best.factor) for p in every if p.cost <= limit) / 3.0


def _facts(view: View, every: tuple[Pooled, ...], best: Pooled, bend: Bend,
           groups: list[tuple[Array, float, float, float]], sure: bool
           ) -> dict[str, tuple[float, float, str]]:  # fmt: skip
    error = _whole(best, bend)
    facts = {RECORDED: (best.factor, error, ""), STRAIGHT: (best.factor, best.error, ""),
             ALONE: (100.0 * bend.alone, math.nan, "%")}  # fmt: skip
    s = view.analysis.constants.deflection_sensitivity
    if sure and view.analysis.map.signal_unit == "V" and math.isfinite(s.value):
        true = s.value / best.factor
        facts[THAT_FITS] = (true, true * error / best.factor, "nm/V")
    for _, middle, factor, own in groups:
        facts[f"Factor of curves with a slope near {middle:.3f}"] = (factor, own, "")
    for one in every:
        facts[f"Factor under {one.law.label}"] = (one.factor, one.error, "")
    bit = np.uint64(DOUBTS["slope_above_one"].mask)
    above = np.count_nonzero(view.analysis.curve_doubts & bit)
    facts[ABOVE] = (float(above), math.nan, "")
    return facts


def _of_law(use: Pooled, why: str, evidence: Evidence, gain: float, limit: float) -> MapDoubt:
    way, ratio, error = _ratio(use.factor, use.error)
    return MapDoubt(
        "law_wrong", "mild",
        f"Under the law in use the curves would have a deflection sensitivity too {way} by a "
        f"factor of {ratio:.2f} ± {error:.2f}, but {why}",
        100.0 * gain * abs(use.factor - 1.0), 100.0 * gain * use.error, limit, "%",
        "Compare the laws on a stiff and on a soft pixel, and check the sensitivity on a hard "
        "surface.", evidence)  # fmt: skip


def _ratio(f: float, error: float) -> tuple[str, float, float]:
    """"large" or "small", and by which factor above one, with its error."""
    ratio = f if f > 1.0 else 1.0 / f
    return ("large" if f > 1.0 else "small"), ratio, error * ratio / f


def _of_sensitivity(wrong: Wrong, evidence: Evidence, rival: str) -> MapDoubt:
    """Severe where no small bend could do it; else mild, and without a value to set."""
    best, every, sure = wrong.best, wrong.every, wrong.sure
    whole = _whole(best, wrong.bend)
    way, ratio, error = _ratio(best.factor, whole)
    above = int(evidence.facts[ABOVE][0])
    more = f" In {above} curves the slope in contact is above one: impossible." * (above > 0)
    under = "" if best.law is every[0].law else f" under {best.law.label}, which fits better"
    others = ", ".join(f"{p.factor:.2f} under {p.law.label}" for p in every
                       if p.law is not best.law)  # fmt: skip
    off = 100.0 * wrong.gain * abs(best.factor - 1.0)
    said = (f"The deflection sensitivity is too {way} by a factor of {ratio:.2f} ± {error:.2f}: "
            f"{len(wrong.parts)} curves together say so{under}." if sure else
            "The deflection sensitivity or the linearity of the detector or of z is wrong: with a "
            f"straight detector the sensitivity is too {way} by a factor of {ratio:.2f} ± "
            f"{error:.2f}{under} ({len(wrong.parts)} curves); {rival}.")  # fmt: skip
    return MapDoubt(
        "sensitivity_wrong", "severe" if sure else "mild",
        f"{said}{more} The modulus of the stiffest trusted curves is off by some {off:.0f} %. "
        f"A wrong law or tip shape looks alike: recorded over true is {best.factor:.2f}, and would "
        f"be {others}.",
        off, 100.0 * wrong.gain * whole, wrong.limit, "%", _repair(evidence, sure), evidence,
    )  # fmt: skip


def _repair(evidence: Evidence, sure: bool) -> str:
    if not sure:
        return ("Measure the sensitivity again on a hard surface, up to the deflection of this "
                "map: if the line there is not straight, or z is not, no sensitivity mends these "
                "curves; press less. Don't set the factor without that.")  # fmt: skip
    words = "Measure the sensitivity again on a hard surface"
    if THAT_FITS in evidence.facts:
        value, error, unit = evidence.facts[THAT_FITS]
        words += f", or set it to {value:.3g} ± {error:.1g} {unit}"
    return words + "; look at the tip's shape and the adhesion in the law first."


def _apart(groups: list[tuple[Array, float, float, float]]) -> bool:
    """Whether the groups contradict each other."""
    if len(groups) < 2:
        return False
    first, last = groups[0], groups[-1]
    off = abs(first[2] - last[2])
    return off > DISAGREE * math.hypot(first[3], last[3]) and off > 0.3 * abs(first[2] - 1.0)


def _plot(parts: list[Sampled], use: Pooled, slope: Array) -> Plot:
    """Each curve's own factor against its slope in contact, and the common one."""
    with np.errstate(divide="ignore", invalid="ignore"):
        own = use.factor + np.where(use.weight > 0.0, use.pull / use.weight, np.nan)
        error = np.where(use.weight > 0.0, 1.0 / np.sqrt(use.weight), np.nan)
    ends = np.array([float(slope.min()), float(slope.max())])
    return Plot("Sensitivity, curve by curve", "Slope in contact", "Recorded over true", slope,
                own, error, ends, np.full(2, use.factor))  # fmt: skip
