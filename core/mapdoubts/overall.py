"""A map of which many curves are not to be believed: the leading cause, and the one repair."""

from __future__ import annotations

import math

import numpy as np

from ..columns import baseline as bl
from ..doubts import DOUBTS, SEVERE
from ..doubts.samples import free_part_needed
from .lines import Array
from .parts import Evidence, MapDoubt
from .view import View

TRAVEL = {"no_baseline": bl.APPROACH, "no_release": bl.RETRACT}
"""Doubts that a longer travel mends, and the branch that was too short."""
LEVER = {"modulus_unknown"}
"""Doubts that come from a lever that does not suit the contact."""
REPAIR = {
    "slope_above_one": "Put the deflection sensitivity right first, then look what is left.",
    "no_contact": "Approach further, or raise the set force: the surface was not reached.",
    "saturated": "Lower the set force or the gain of the detector.",
    "wrong_way": "Declare the sign of z.",
    "few_samples": "Take more samples a curve, or widen the fit window.",
    "fit_failed": "Look at some of these curves, and try another law.",
    "fit_stuck": "Look at some of these curves, and try another law.",
    "no_retract": "Record the retract too, or choose a law without adhesion.",
    "not_calibrated": "Give the missing constant.",
    "too_short": "Take more samples a curve.",
    "beyond_law": "Choose a law that holds as deep, or lower the set force.",
    "at_bound": "Hold what the curves do not tell (the exponent, the pull-off), or take a lever "
                "that suits the contact.",
    "no_contact_point": "Choose another way of finding the contact point.",
}
MANY = "the share of doubtful curves"
"""What is judged here, in words."""
FEWEST = 10
"""Curves of which a share can be told."""


def many_doubts(view: View) -> list[MapDoubt]:
    """One doubt if more curves than the limit carry a severe one. What was left out by hand counts
    no more, and what was kept by hand is no severe one."""
    analysis = view.analysis
    there = analysis.map.index_map >= 0
    severe = analysis.severe & there
    if analysis.left_out is not None:
        severe &= ~analysis.left_out
    counted = severe | analysis.trusted
    shown, bad = analysis.map.index_map[counted], severe[counted]
    bits = np.where(bad, analysis.curve_doubts[shown], np.uint64(0))
    limit = analysis.settings.doubts.worst_share
    share = 100.0 * float(np.mean(bad)) if bad.size else 0.0
    if bad.size < FEWEST:
        return view.cannot(MANY, f"fewer than {FEWEST} curves")
    if share <= limit:
        return []
    counts = {d.name: int(np.count_nonzero(bits & np.uint64(d.mask))) for d in DOUBTS.values()
              if d.severity == SEVERE}  # fmt: skip
    name = max(counts, key=lambda n: counts[n])
    leading = 100.0 * counts[name] / bad.size
    ranked = sorted(counts.items(), key=lambda pair: -pair[1])
    facts = {f"Curves with the doubt “{n}”": (float(c), math.nan, "") for n, c in ranked if c}
    if counts["slope_above_one"] > 0.5 * counts[name]:
        name = "slope_above_one"  # what else is wrong may follow from it
        leading = 100.0 * counts[name] / bad.size
    words, more = _repair(view, name, shown[(bits & np.uint64(DOUBTS[name].mask)) != 0])
    error = 100.0 * math.sqrt(share / 100.0 * (1.0 - share / 100.0) / bad.size)
    return [MapDoubt(
        "many_doubts", "severe",
        f"{share:.0f} % of the curves carry a severe doubt; the leading one, in {leading:.0f} %: "
        f"{DOUBTS[name].sentence}", share, error, limit, "%", words,
        Evidence((), facts | more, along=view.scan.word),
    )]  # fmt: skip


def _repair(view: View, name: str, curves: Array
            ) -> tuple[str, dict[str, tuple[float, float, str]]]:  # fmt: skip
    """What mends the leading doubt, and the figures in it."""
    if name in TRAVEL:
        lacking = _lacking(view, TRAVEL[name], curves)
        most, middle = (float(np.nanquantile(lacking, q)) for q in (0.9, 0.5))
        side = "begun further off" if name == "no_baseline" else "drawn further back"
        return (f"Lengthen the travel by {most:.3g} nm, {side}: that is enough for 90 % of these "
                f"curves ({middle:.3g} nm for half of them)."), {
            "Travel lacking, for 90 % of them": (most, math.nan, "nm")}  # fmt: skip
    if name in LEVER:
        k = view.analysis.constants.force_scale
        stiff = view.analysis.per_curve("stiffness")[0][curves]
        stiff = float(np.nanmedian(stiff)) if np.isfinite(stiff).any() else math.inf
        if math.isfinite(stiff) and stiff < 0.3 * k:
            return (f"The lever ({k:.3g} N/m) is too stiff for these contacts ({stiff:.3g} N/m): "
                    "take a softer one, or press harder."), {}  # fmt: skip
        known = f" ({stiff:.3g} N/m)" if math.isfinite(stiff) else ""
        return (f"The lever ({k:.3g} N/m) is too soft for these contacts{known}: take a stiffer "
                "one, and check the deflection sensitivity."), {}  # fmt: skip
    return REPAIR.get(name, "Look at some of these curves."), {}


def _lacking(view: View, branch: int, curves: Array) -> Array:
    """By how much the free part is too short [nm], as the doubt about a curve has it."""
    b = view.analysis.tables.base[curves]
    free = np.nan_to_num(b[:, branch + bl.B_LENGTH])
    needed = free_part_needed(b, view.analysis.settings.doubts.shortest_baseline)
    return np.maximum(needed - free, 0.0)
