"""Contact mechanics: law, adhesion, contact point, segment, window, layer, time, validity, fit."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import wraps

import numpy as np

from ..doubts import DOUBTS
from ..settings import CONTACTS, GIVEN
from ..steps.contact import LEVEL
from .facts import Array, Facts, said
from .parts import ASSUMED, MEASURED, PROGRAM, RECORDED, SET, Cite, Piece, Said
from .references import OF_ADHESION, OF_CONTACT, OF_LAW
from .words import counted, digits, exact, listed, percent, reach, span, was_or_were

SYMBOLS = {
    "F": "the force", "δ": "the indentation", "E*": "the reduced modulus", "R": "the tip radius",
    "a": "the contact radius", "α": "the half-angle", "θ": "the half-angle from axis to face",
    "b": "the distance from the axis at which the rounding ends", "n": "the exponent",
    "w": "the work of adhesion", "m": "the radius of the adhesive zone over a",
    "A": "the ratio a/(π w R²/K)^(1/3)", "F_r": "the pull-off at release", "F_fit": "the fitted "
    "pull-off",
}  # fmt: skip
USED = {
    "paraboloid": ("F", "δ", "E*", "R"), "sphere": ("F", "δ", "E*", "R", "a"),
    "cone": ("F", "δ", "E*", "α"), "blunted_cone": ("F", "δ", "E*", "R", "α", "a", "b"),
    "hyperboloid": ("F", "δ", "E*", "R", "α", "a"), "pyramid": ("F", "δ", "E*", "θ"),
    "pyramid_solved": ("F", "δ", "E*", "θ"), "punch": ("F", "δ", "E*", "a"),
    "free_exponent": ("F", "δ", "n"), "jkr": ("F", "δ", "E*", "R", "a", "w"),
    "maugis": ("F", "δ", "E*", "R", "a", "w", "m", "A"), "two_point": ("E*", "R", "w"),
}  # fmt: skip
"""Law or adhesion -> the symbols of its formula that are to be explained."""
Writer = Callable[[Facts], Iterator[Said]]
FORMULAS = {
    "jkr": "F = K a³/R - √(6π w K a³), δ = a²/R - (2/3) √(6π w a/K) with K = 4 E*/3",
    "maugis": "F = π w R (A³ - λA² W), δ = (π² w² R/K²)^(1/3) (A² - (4/3) λ A t) with K = 4 E*/3, "
    "1 = (λA²/2)(t + (m² - 2) θ) + (4λ²A/3)(t θ - m + 1), W = t + m² θ, t = √(m² - 1), "
    "θ = arctan t, and λ = 2 σ₀ [R/(π w K²)]^(1/3)",
    "two_point": "K = 1.2709 F₁/√(R (δ₀ - δ₁)³), w = 2 F₁/(3π R), E* = 3K/4, F₁ being the largest "
    "pull, δ₁ the indentation there and δ₀ that at zero force",
}  # fmt: skip
KINDS = {
    "paraboloid": "Hertz's contact law of a paraboloid", "sphere": "the exact contact law of a "
    "sphere", "cone": "Sneddon's contact law of a cone", "blunted_cone": "the contact law of a "
    "cone with a rounded end", "hyperboloid": "the contact law of a hyperboloid",
    "pyramid": "the contact law of a four-sided pyramid", "pyramid_solved": "the contact law of a "
    "four-sided pyramid, its coefficient from a boundary-element solution of the frictionless "
    "contact", "punch": "the contact law of a flat-ended cylinder",
    "free_exponent": "a power law with a free exponent",
}  # fmt: skip
NAMES = {"jkr": "the theory of Johnson, Kendall and Roberts (JKR)",
         "maugis": "the theory of Maugis and Dugdale",
         "two_point": "the two-point method of the JKR theory"}  # fmt: skip
PULLS = {
    "measured": "The pull-off force was taken as measured on the retract of the same curve.",
    "fitted": "The pull-off force was a further parameter of the fit.",
}
WAYS = {
    "threshold": f"by a threshold: where the deflection left the baseline for good by {LEVEL:g} "
    "times the noise, or where the tip had jumped on",
    "variance_ratio": "where the variance of the next samples was the largest multiple of that of "
    "the samples before",
    "goodness": "by trial contact points, the one with the least sum of squares of baseline and "
    "contact law",
    "change_point": "as the mean of the posterior of a change from baseline to contact law",
}


def fitted(write: Writer) -> Writer:
    """An item that is only told where a law could be fitted."""

    @wraps(write)
    def told(f: Facts) -> Iterator[Said]:
        if f.analysis.constants.lengths:
            yield from write(f)

    return told


def law(f: Facts) -> Iterator[Said]:
    fit = f.settings.fit
    if not f.analysis.constants.lengths:
        yield said("No contact law was fitted: a constant is missing, without which the signal is "
                   "no deflection.", by=(RECORDED, PROGRAM))  # fmt: skip
        return
    if not f.moduli and fit.law != "free_exponent":
        yield said(f"No moduli are given: {_no_moduli(f)}", by=(RECORDED, SET))
    if fit.adhesion in NAMES:
        pieces: list[Piece] = [f"Each curve was described by {NAMES[fit.adhesion]} for a "
                               "paraboloid", Cite(OF_ADHESION[fit.adhesion]),
                               f": {FORMULAS[fit.adhesion]}; {symbols(fit.adhesion)}."]  # fmt: skip
    else:
        pull = _pull(f)
        formula, known = _formula(f.law.formula, pull), symbols(fit.law, pull)
        pieces = [f"Each curve was described by {KINDS[fit.law]}", Cite(OF_LAW[fit.law]),
                  f": {formula}; {known}."]  # fmt: skip
    yield said(*pieces, by=SET)
    yield from _adhesion(f)
    if fit.adhesion == "two_point":
        yield said("Zero and minimum were read off the JKR curve that was fitted to the samples "
                   "between release and a third of the largest pull above zero force.",
                   by=PROGRAM)  # fmt: skip
    else:
        yield said("The deflection d was fitted as a function of the base position z, with "
                   "δ = (z - z₀) - d and F = k d solved at each sample, by least "
                   "squares.", by=(SET, PROGRAM))  # fmt: skip


def _no_moduli(f: Facts) -> str:
    """Why there are none: what is lacking, by its name."""
    if f.lacking:
        are = "is" if len(f.lacking) == 1 else "are"
        return f"{listed(f.lacking)} {are} not known."
    why = f.analysis.constants.shape.fault or "the shape of the tip is not known."
    return f"{why[:1].lower()}{why[1:]}"


def _pull(f: Facts) -> str:
    """Symbol of a constant pull, as the channel that holds it has it; empty without one."""
    fit = f.settings.fit
    if fit.adhesion != "constant":
        return ""
    return "F_fit" if fit.pull_off == "fitted" else "F_r"


def _formula(text: str, pull: str) -> str:
    """A law's formula with the pull behind the force; in words where there are several equations.
    """
    if not pull:
        return text
    first, comma, rest = text.partition(", n fitted")
    return f"{text}, less the pull {pull}" if "," in first else f"{first} - {pull}{comma}{rest}"


def symbols(law: str, pull: str = "") -> str:
    """What the symbols of a law's formula mean."""
    known = SYMBOLS | ({"a": "the radius of the face"} if law == "punch" else {})
    used = (*USED[law], pull) if pull else USED[law]
    return listed(f"{sign} {'is ' if at == 0 else ''}{known[sign]}"
                  for at, sign in enumerate(used))  # fmt: skip


def _free(f: Facts) -> str:
    """The free parameters of the fit, in words."""
    fit = f.settings.fit
    found = ["E*" if f.gives_moduli else "the factor C" if fit.law == "free_exponent" else
             "the factor of the law (E*, the size of the tip and the spring constant in one)"]
    if fit.contact == "free":
        found.append("the contact point z₀")
    if fit.pull_off == "fitted" and fit.adhesion not in ("none", "two_point"):
        found.append("the pull-off force")
    if fit.law == "free_exponent":
        found.append("the exponent n")
    return f"the free parameter was {found[0]}" if len(found) == 1 else (
        f"free parameters were {listed(found)}")  # fmt: skip


def _adhesion(f: Facts) -> Iterator[Said]:
    fit = f.settings.fit
    if fit.adhesion == "none":
        yield said("Adhesion was not part of the law.", by=SET)
    elif fit.adhesion == "constant":
        pull = PULLS[fit.pull_off]
        if fit.pull_off == "measured" and not f.retract:
            pull = ("The pull-off force (F_r) was to be taken off the retract, and none was "
                    "recorded.")  # fmt: skip
        elif fit.pull_off == "measured":
            pull = (f"{pull[:-1]}, at a steep release half a sampling step beyond the lowest "
                    "sample (F_r).")  # fmt: skip
        else:
            pull = pull[:-1] + " (F_fit)."
        yield said("Adhesion entered as a constant pull (DMT)", Cite(OF_ADHESION["constant"]),
                   f". {pull}", by=SET)  # fmt: skip
    elif fit.adhesion != "two_point":
        yield said(PULLS[fit.pull_off], by=SET)
    if fit.adhesion == "maugis":
        yield said("The strength of the attraction σ₀ = 16 w/(9√3 ε) followed from a distance at "
                   f"rest of ε = {exact(fit.distance, 'nm')}.", by=(SET, ASSUMED))  # fmt: skip


@fitted
def poisson(f: Facts) -> Iterator[Said]:
    """What modulus is given, and with which Poisson ratio."""
    if not f.moduli and f.settings.fit.law != "free_exponent":
        return  # the law's first sentence says why
    if f.settings.fit.law == "free_exponent":
        yield said("A free exponent is a test of the shape of the tip; it gives no modulus.",
                   by=PROGRAM)  # fmt: skip
        return
    if not f.used.any():
        yield said("No moduli are given, since no pixel is used.", by=MEASURED)
        return
    ratio, error = f.settings.sample.poisson_ratio, f.settings.uncertainty.poisson_ratio
    law_ = "E = E*(1 - ν²)"
    if f.settings.tip.material == "elastic":
        law_ = "1/E* = (1 - ν²)/E + (1 - νₜ²)/Eₜ, the second term being the tip's"
    own = f.findings.work.rule.poisson_ratios if f.findings.composition is not None else ()
    for_ = "for all of the sample"
    some = [(k, v) for k, v in enumerate(own) if v is not None]
    if some and f.findings.composition is not None:
        each = listed(f"{exact(v)} for component {f.findings.composition.title(k)}"
                      for k, v in some)  # fmt: skip
        for_ = f"in the maps, and {each} in the statistics of the components"
    if f.settings.layer.base != "none":
        for_ += "; with a layer it enters E* as well"
    yield said("The reduced modulus E* is given, and Young's modulus E by "
               f"{law_}", Cite(("hertz1882",)), f". The Poisson ratio ν = {exact(ratio)} "
               f"(standard uncertainty {exact(error)}) was assumed, not measured, {for_}.",
               by=(SET, ASSUMED))  # fmt: skip


@fitted
def contact(f: Facts) -> Iterator[Said]:
    fit = f.settings.fit
    if fit.adhesion == "two_point":
        yield said("The two-point method needs no contact point; z₀ is that of the JKR curve.",
                   by=PROGRAM)  # fmt: skip
    elif fit.contact == "free":
        yield said(f"The contact point was fitted with the law: {_free(f)}.", by=SET)
    elif fit.contact == GIVEN:
        yield said(f"The contact point was held at a base position of "
                   f"{exact(fit.contact_at, 'nm')}, given by hand; {_free(f)}.",
                   by=SET)  # fmt: skip
    else:
        assert fit.contact in CONTACTS
        yield said(f"The contact point was found beforehand {WAYS[fit.contact]}",
                   Cite(OF_CONTACT[fit.contact]), f", and held in the fit; {_free(f)}. What that "
                   "way of finding it is known to be off by is not in the stated uncertainty.",
                   by=SET)  # fmt: skip


@fitted
def segment(f: Facts) -> Iterator[Said]:
    branch = "retract" if f.backwards else "approach"
    yield said(f"The law was fitted to the {branch}.", by=SET)


@fitted
def window(f: Facts) -> Iterator[Said]:
    fit, came = f.settings.fit, f.window
    if fit.adhesion == "two_point":
        begin, given = "The stretch that was fitted", ""
    else:
        low, high, unit, of = {
            "fraction": (fit.fraction_from, fit.fraction_to, "%", " of the peak force"),
            "force": (fit.force_from, fit.force_to, "nN", " of force"),
            "indentation": (fit.indentation_from, fit.indentation_to, "nm", " of indentation"),
        }[fit.window]
        begin = "The fit window"
        given = f" was given as {exact(low)} to {exact(high, unit)}{of}"
    words = _came_to(came.force, came.depth, came.force_share, came.depth_share, f.forces)
    if not words:
        if given:
            yield said(f"{begin}{given}.", by=SET)
        return
    join = ("; it" if given else "") + " came to"
    over = counted(came.force.shape[0], "curve")
    yield said(f"{begin}{given}{join} {words} (medians over {over} spread over the map).",
               by=(SET, MEASURED) if given else (PROGRAM, MEASURED))  # fmt: skip


def _came_to(force: Array, depth: Array, force_share: Array, depth_share: Array, forces: bool
             ) -> str:  # fmt: skip
    if not np.isfinite(depth).any():
        return ""
    low, high = (float(v) for v in np.nanmedian(depth, axis=0))
    first, last = (100.0 * float(v) for v in np.nanmedian(depth_share, axis=0))
    text = (f"{span(low, high, 'nm')} of indentation ({digits(first, 2)} to {digits(last, 2)} % of "
            "the largest indentation)")  # fmt: skip
    if forces:
        low, high = (float(v) for v in np.nanmedian(force, axis=0))
        first, last = (100.0 * float(v) for v in np.nanmedian(force_share, axis=0))
        text = (f"{span(low, high, 'nN')} ({digits(first, 2)} to {digits(last, 2)} % of the peak "
                f"force) and {text}")  # fmt: skip
    return text


def layer(f: Facts) -> Iterator[Said]:
    one, error = f.settings.layer, f.settings.uncertainty.thickness
    if one.base == "none" or not f.analysis.constants.lengths:
        thick = f.hole("layer", "thickness", "how thick is the sample or film?",
                       "200 µm, on a metal disc")  # fmt: skip
        taken = "sample was taken as thick, without a correction for what lies below it; its "
        taken = taken if f.analysis.constants.lengths else "sample's "
        yield said(f"The {taken}thickness was ", thick, ".", by=SET)
        return
    base = {"bonded": "bonded to a rigid base", "sliding": "sliding on a rigid base"}[one.base]
    if f.map.thickness is not None:
        known = f.map.thickness[f.used_curves]
        thick_ = f"from a map of thicknesses ({reach(known, 'nm')})"
    else:
        thick_ = f"of {exact(one.thickness, 'nm')}"
    how = f.hole("layer", "thickness_found", "how was the thickness found?",
                 "a scratch and a height profile across it")  # fmt: skip
    yield said(f"The law was corrected for a layer {base}, by a numerical solution of the linear "
               f"elastic contact problem, with a thickness {thick_} (standard uncertainty "
               f"{exact(error, '%')}), found by ", how, ".", by=SET)  # fmt: skip


@fitted
def viscous(f: Facts) -> Iterator[Said]:
    model = f.settings.viscous.model
    if model == "none":
        known = f.gives_moduli and f.used.any()
        speed = "the moduli are those of this speed, and " if known else ""
        yield said(f"The law is elastic: {speed}no dependence on time was fitted.", by=SET)
        return
    solid = {"power_law": "a power-law solid, E(t) = E(t_L) (t/t_L)^(-β), t_L being the time of "
             "loading", "standard_solid": "a standard linear solid, E(t) = E∞ + (E₀ - E∞) "
             "exp(-t/τ)"}[model]  # fmt: skip
    pull = ", with a constant pull" if f.settings.fit.adhesion != "none" else ""
    yield said(f"Beside it, {solid}, was fitted to approach and retract together by the hereditary "
               "integral for growing and for shrinking contact", Cite(("lee1960", "ting1966")),
               f"{pull}; the loss fraction is 1 - W_out/W_in of the works under "
               "positive force.", by=SET)  # fmt: skip
    yield from _relaxing(f)


RELAXING = {"viscous_bound": "with a parameter of the relaxing solid at its bound (as an elastic "
            "curve does, and one that relaxes much faster or more slowly than it lasts)",
            "viscous_failed": "without an answer of the fit",
            "viscous_untimed": "without known times"}  # fmt: skip
"""Doubts under which a curve has no numbers of the relaxation -> how its fit ended."""


def _relaxing(f: Facts) -> Iterator[Said]:
    """How many of the used curves have numbers of the relaxation, and why the others have none."""
    used = int(np.count_nonzero(f.used))
    if not used:
        return
    name = {"power_law": "relaxation_exponent", "standard_solid": "relaxation_time"}
    number = f.channel(name[f.settings.viscous.model]).size
    if number == used:
        yield said("Every curve that was used has numbers of the relaxation.", by=MEASURED)
        return
    works = f.channel("loss_fraction").size
    bits = f.analysis.doubts[f.used]
    lost = {doubt: int(np.count_nonzero((bits & np.uint64(DOUBTS[doubt].mask)) != 0))
            for doubt in RELAXING}  # fmt: skip
    ended = listed(f"{n:,} {RELAXING[doubt]}" for doubt, n in lost.items() if n)
    share = percent(number / used)
    why = f"; the fit of the others ended: {ended}" if ended else ""
    yield said(f"Of the {counted(used, 'curve')} used {number:,} ({share}) "
               f"{'has' if number == 1 else 'have'} numbers of the relaxation{why}.",
               by=MEASURED)  # fmt: skip
    if number:
        yield said(f"The other {counted(used - number, 'curve')} {was_or_were(used - number)} "
                   "left out of the numbers of the relaxation, by how the fit ended, so that "
                   f"these are of the curves that tell it, not of all{_lossy(works)}.",
                   by=(MEASURED, PROGRAM))  # fmt: skip
    else:
        yield said(f"So there are no numbers of the relaxation{_lossy(works)}.", by=MEASURED)


def _lossy(works: int) -> str:
    """On how many curves the loss is known, which needs no fit."""
    return f"; the loss fraction, which needs no fit of it, is known on {works:,}" if works else ""
