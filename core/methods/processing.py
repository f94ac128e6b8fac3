"""What was done with a curve before a law: baseline, corrections, pull-off, slope."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from ..columns import baseline as bl
from .facts import Facts, said
from .parts import MEASURED, PROGRAM, SET, Cite, Said
from .words import exact, rounded

LINES = {"offset": "an offset", "line": "a straight line (offset and slope, the virtual "
         "deflection)"}  # fmt: skip
BRANCHES = {
    "separate": "each branch had a baseline of its own, which takes off drag and drift without "
    "telling them apart",
    "drag": "both branches shared one slope and had an offset each, so that the drag on the lever "
    "was taken off",
    "drift": "both branches shared one baseline, and a drift of the deflection linear in time was "
    "fitted and taken off with it",
}


def baseline(f: Facts) -> Iterator[Said]:
    b = f.settings.baseline
    share = "the whole" if b.extent == 100.0 else f"the {exact(b.extent, '%')} nearest to contact"
    part = "free part" if b.extent == 100.0 else "of the free part"
    both = "both branches had an offset each, fitted together" if (
        b.shape == "offset" and b.branches == "drag") else BRANCHES[b.branches]  # fmt: skip
    both = both if f.retract else "there was one branch"
    yield said(f"As baseline {LINES[b.shape]} was fitted to {share} {part} of the curve by least "
               "squares without outliers (samples beyond five robust standard deviations) and "
               f"taken off; {both}.", by=SET)  # fmt: skip
    yield said("The free part ended where the smoothed deflection left that line by "
               f"{exact(b.threshold)} times the noise or stepped.", by=SET)  # fmt: skip
    yield from _fringes(f)
    yield said("No other correction was made to the curves: neither for hydrodynamic drag near the "
               "surface nor for hysteresis or non-linearity of z or of the detector.",
               by=PROGRAM)  # fmt: skip


def _fringes(f: Facts) -> Iterator[Said]:
    b, period = f.settings.baseline, f.analysis.period
    given = b.period > 0.0
    size = exact(b.period, "nm") if given else rounded(period, "nm")
    how = " (given)" if given else " (found by a least-squares scan of periods"
    cite = () if given else (Cite(("lomb1976",)), ")")
    if b.fringes == "leave":
        if given:
            yield said(f"Optical fringes of a period of {size}{how} were looked for and left in "
                       "the curves.", by=SET)  # fmt: skip
        elif period > 0.0:
            yield said(f"Optical fringes of a period of {size}{how}", *cite, " were left in the "
                       "curves.", by=(SET, MEASURED))  # fmt: skip
        else:
            yield said("Optical fringes were looked for; none were found, and none were taken "
                       "off.", by=(SET, MEASURED))  # fmt: skip
        return
    if not (given or period > 0.0):
        yield said("Optical fringes were to be subtracted; none were found, so none were.",
                   by=(SET, MEASURED))  # fmt: skip
        return
    waves = f.analysis.tables.base[f.used_curves, bl.WAVE_NUMBER]
    number = int(np.count_nonzero(np.nan_to_num(waves) > 0.0))
    yield said(f"A wave with the period of the optical fringes, {size}{how}", *cite, ", was fitted "
               "together with the baseline over the whole free part and taken off where that was "
               f"at least half a period long ({number:,} of {waves.size:,} curves used).",
               by=(SET, MEASURED))  # fmt: skip


def adhesion(f: Facts) -> Iterator[Said]:
    count = f.settings.adhesion.samples
    read = "its lowest sample" if count < 3 else (
        f"a straight line through {count} samples on its contact side")
    if f.forces and f.retract:
        yield said(f"Adhesion is the largest pull on the retract below its baseline, read off "
                   f"{read}; the work of adhesion is the area of the retract below zero force, "
                   "and the dissipated energy the area between approach and retract, both against "
                   "the base position, the latter closed by a straight line at the peak.",
                   by=(SET, PROGRAM))  # fmt: skip


def stiffness(f: Facts) -> Iterator[Said]:
    s = f.settings.stiffness
    if f.forces and (f.retract or s.branch == "approach"):
        yield said("The contact stiffness is k m/(1 - m), m being the slope of a straight line "
                   f"through d against z between {exact(s.share_from)} and "
                   f"{exact(s.share_to, '%')} of the peak force on the {s.branch}.",
                   by=SET)  # fmt: skip
