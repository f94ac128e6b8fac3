"""The registry of doubts: why a pixel should not be believed.

A doubt has a name, a sentence a person understands, the measured figure that trips it and the
threshold from the settings. A severe doubt means that the numbers of this curve are not to be
used; a mild one means that they should be looked at. One bad curve never stops a map.

Adding one is one entry in `_ALL`; its place in the tuple is its bit, so new ones go at the end.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from .channels import Tables
from .columns import baseline as bl
from .columns import fit as ft
from .columns import retract as rt
from .columns import stiffness as st
from .columns import viscous as vs
from .settings import Doubts

Array = np.ndarray
SEVERE, MILD = "severe", "mild"


@dataclass(frozen=True)
class Case:
    """What the doubts of a map are judged by.

    `lengths` is False if the signal can't be turned into nm. `set_force` is the force [nN] at which
    the approach should stop, NaN if not recorded. `median_noise` is the median over the whole map,
    so that one curve can be compared with it. `lonely` tells how far each curve's pixel is from its
    neighbours, see ``neighbours.py``; None where there is no map to ask.
    """

    tables: Tables
    limits: Doubts
    set_force: float
    median_noise: float
    lengths: bool = True
    lonely: Callable[[], Array] | None = None


@dataclass(frozen=True)
class Doubt:
    """One reason not to believe a curve.

    Attributes
    ----------
    name, severity, sentence : for people
    figure : the measured figure (P,), NaN where it can't be had; NaN trips nothing
    trips : (figure, limits) -> (P,) bool
    unit : of the figure
    threshold : the limit that was passed, from the settings, for the sentence
    """

    name: str
    severity: str
    sentence: str
    figure: Callable[[Case], Array]
    trips: Callable[[Array, Doubts], Array]
    unit: str = ""
    threshold: Callable[[Doubts], float] = lambda limits: float("nan")
    bit: int = 0

    @property
    def mask(self) -> int:
        return 1 << self.bit


def _base(column: int) -> Callable[[Case], Array]:
    return lambda c: c.tables.base[:, column]


def _free_share(branch: int) -> Callable[[Case], Array]:
    """Length of the free part over the length that is needed; 0 if none was found.

    Needed is the setting, and 30 % of the travel in contact or 100 nm, whichever is less (a rule of
    planning: at least 30 % or 100 nm; common practice, no source). A retract whose baseline stays
    below the approach's by a quarter of the peak, without a jump in it, has not let go at all.
    """

    def figure(c: Case) -> Array:
        b = c.tables.base
        free = np.where(np.isfinite(b[:, branch + bl.B_LENGTH]), b[:, branch + bl.B_LENGTH], 0.0)
        touching = np.nan_to_num(b[:, bl.Z_RANGE] - b[:, bl.B_LENGTH])
        needed = np.maximum(c.limits.shortest_baseline, np.minimum(0.3 * touching, 100.0))
        gap = _line_at_peak(b, bl.APPROACH) - _line_at_peak(b, branch)
        stuck = (gap > 0.25 * b[:, bl.PEAK_D]) & (c.tables.pull[:, rt.SEEN] != 1.0)
        return np.where(stuck, 0.0, free) / needed

    return figure


def _line_at_peak(base: Array, branch: int) -> Array:
    """A branch's baseline under the peak [nm, raw frame]."""
    reach = base[:, bl.PEAK_Z] - base[:, branch + bl.B_CENTRE]
    return base[:, branch + bl.B_OFFSET] + base[:, branch + bl.B_SLOPE] * reach


def _steepness(c: Case) -> Array:
    """Peak deflection in units of the noise; NaN where there is no peak to judge."""
    return c.tables.base[:, bl.PEAK_D] / c.tables.base[:, bl.B_NOISE]


def _kept(c: Case) -> Array:
    """Usable samples of the shorter branch; an absent branch is another doubt's."""
    b = c.tables.base
    there, back = b[:, bl.B_KEPT], b[:, bl.RETRACT + bl.B_KEPT]
    return np.where(back > 0, np.minimum(there, back), there)


def _uncalibrated(c: Case) -> Array:
    return np.full(c.tables.base.shape[0], 0.0 if c.lengths else 1.0)


def _cut_window(c: Case) -> Array:
    return c.tables.fit[:, ft.WINDOW_CUT]


def _gap(c: Case) -> Array:
    """How far apart the branches end at the peak, in steps of z."""
    b = c.tables.base
    step = b[:, bl.Z_RANGE] / np.maximum(b[:, bl.B_KEPT] - 1.0, 1.0)
    return np.abs(c.tables.pull[:, rt.GAP]) / step


def _from_one(c: Case) -> Array:
    """By how many standard errors the slope in contact is below one; NaN without a contact."""
    s = c.tables.slope
    return (1.0 - s[:, st.SLOPE]) / np.sqrt(s[:, st.VAR_SLOPE])


def _missed(c: Case) -> Array:
    """How far the peak force is from the set force, in per cent of it."""
    force = c.tables.base[:, bl.PEAK_D] * c.tables.spring_constant
    return 100.0 * np.abs(force / c.set_force - 1.0)


def _residual(c: Case) -> Array:
    return c.tables.fit[:, ft.RESIDUAL] / c.tables.base[:, bl.B_NOISE]


def _slope_excess(c: Case) -> Array:
    """By how many standard errors the slope in contact exceeds one."""
    s = c.tables.slope
    own = s[:, st.VAR_SLOPE] + c.tables.walk * s[:, st.SLOW_SLOPE]
    return (s[:, st.SLOPE] - 1.0) / np.sqrt(own)


def _fit_state(c: Case) -> Array:
    return c.tables.fit[:, ft.STATE]


def _pull_seen(c: Case) -> Array:
    return c.tables.pull[:, rt.SEEN]


def _zero_load_contact(c: Case) -> Array:
    """JKR's contact radius at zero load over the tip radius; NaN with another adhesion.

    a0³ = 4 a1³ and a1³ = F1 R/K, so with c = K √R/k and a = F1/k it is (4 a/(c R^(3/2)))^(1/3).
    """
    t = c.tables
    if t.adhesion not in ("jkr", "two_point"):
        return np.full(t.base.shape[0], np.nan)
    stiff = np.exp(t.fit[:, ft.LN_C])
    return np.cbrt(4.0 * t.fit[:, ft.PULL] / (stiff * t.radius**1.5))


def _offset_share(c: Case) -> Array:
    """Offset of the branches in per cent of the adhesion; NaN within 5 standard errors of zero or
    where a free part is too short to tell. Adhesion counts as five noises at least."""
    b = c.tables.base
    size = np.abs(b[:, bl.DRAG])
    pull = np.maximum(np.nan_to_num(c.tables.pull[:, rt.PULL]), 5.0 * b[:, bl.B_NOISE])
    error = np.sqrt(b[:, bl.VAR_DRAG] + c.tables.walk * b[:, bl.SLOW_DRAG])
    told = (size > 5.0 * error) & (_free_share(bl.APPROACH)(c) >= 1.0) & (
        _free_share(bl.RETRACT)(c) >= 1.0
    )
    return np.where(told, 100.0 * size / pull, np.nan)


def _viscous(c: Case, column: int) -> Array:
    """A column of the viscous stage; NaN where no relaxing solid was asked for."""
    table = c.tables.viscous
    if table is None or table.shape[1] == 0:
        return np.full(c.tables.base.shape[0], np.nan)
    return table[:, column]


def _viscous_state(c: Case) -> Array:
    return _viscous(c, vs.STATE)


def _modulus_error(c: Case) -> Array:
    """Local standard uncertainty of ln E in per cent; NaN without a modulus."""
    t = c.tables
    own = t.fit[:, ft.VAR_LN_C] + t.walk * t.fit[:, ft.SLOW_LN_C]
    return np.where(_fit_state(c) == ft.GOOD, 100.0 * np.sqrt(own), np.nan)


def _relaxing_error(c: Case) -> Array:
    """The largest local standard uncertainty of ln E(t_L), ln E∞ and ln τ, in per cent."""
    pairs = ((vs.VAR_LN_C, vs.SLOW_LN_C), (vs.VAR_RELAXED, vs.SLOW_RELAXED),
             (vs.VAR_TIME, vs.SLOW_TIME))  # fmt: skip
    own = [_viscous(c, white) + c.tables.walk * _viscous(c, slow) for white, slow in pairs]
    worst = np.fmax(np.fmax(own[0], own[1]), own[2])
    return np.where(_viscous_state(c) == vs.GOOD, 100.0 * np.sqrt(worst), np.nan)


def _below_zero(c: Case) -> Array:
    """By how many standard errors the loss fraction is below zero."""
    own = _viscous(c, vs.VAR_LOSS) + c.tables.walk * _viscous(c, vs.SLOW_LOSS)
    return -_viscous(c, vs.LOSS) / np.sqrt(own)


def _lonely(c: Case) -> Array:
    return np.full(c.tables.base.shape[0], np.nan) if c.lonely is None else c.lonely()


NOISES = "× noise"
UNKNOWN = 50.0
"""± of ln E in per cent from which on a modulus is not to be used: the indentation then is less
than three standard errors from none, and few curves of a rigid contact look softer by chance."""

_ALL = (
    Doubt("no_contact", SEVERE,
          "The deflection never rises above the noise: the surface was not reached.",
          _steepness, lambda f, s: f <= 5.0, NOISES, lambda s: 5.0),
    Doubt("no_baseline", SEVERE,
          "Too little free baseline before contact: the travel was too short. Lengthen it and "
          "measure again.",
          _free_share(bl.APPROACH), lambda f, s: f < 1.0, "of what is needed", lambda s: 1.0),
    Doubt("no_release", SEVERE,
          "Too little free baseline after pull-off: the tip may not have let go. Lengthen the "
          "travel and measure again.",
          _free_share(bl.RETRACT), lambda f, s: f < 1.0, "of what is needed", lambda s: 1.0),
    Doubt("saturated", SEVERE,
          "The signal has a flat top: the detector was saturated.",
          _base(bl.FLAT_TOP), lambda f, s: f >= 1.0, "of a suspicious run", lambda s: 1.0),
    Doubt("spikes", MILD, "Single samples stand out of their neighbours.",
          _base(bl.SPIKES), lambda f, s: f >= 1, "samples", lambda s: 1),
    Doubt("missing_samples", MILD, "Samples are missing or not numbers.",
          _base(bl.MISSING), lambda f, s: f >= 1, "samples", lambda s: 1),
    Doubt("wrong_way", SEVERE,
          "A branch moves the wrong way: the approach away from the sample, or the retract towards "
          "it. Is the sign of z declared?",
          _base(bl.Z_REVERSED), lambda f, s: f > 0),
    Doubt("noisy", MILD, "The noise is far above the map's.",
          lambda c: c.tables.base[:, bl.B_NOISE] / c.median_noise,
          lambda f, s: f > s.worst_noise, "× median", lambda s: s.worst_noise),
    Doubt("set_force_missed", MILD, "The peak force is not the set force.",
          _missed, lambda f, s: f > s.worst_set_force, "%", lambda s: s.worst_set_force),
    Doubt("few_samples", SEVERE, "Too few samples in the fit window.",
          lambda c: c.tables.fit[:, ft.SAMPLES],
          lambda f, s: f < s.least_samples, "samples", lambda s: s.least_samples),
    Doubt("fit_failed", SEVERE,
          "The fit found no answer: it did not converge or its covariance is not positive.",
          _fit_state, lambda f, s: (f == ft.NOT_CONVERGED) | (f == ft.NOT_POSITIVE)),
    Doubt("bad_fit", MILD, "The law does not describe the curve: residuals exceed the noise.",
          _residual, lambda f, s: f > s.worst_residual, NOISES, lambda s: s.worst_residual),
    Doubt("slope_above_one", SEVERE,
          "In contact the deflection grows faster than the base moves, which is impossible: the "
          "deflection sensitivity is wrong.",
          _slope_excess, lambda f, s: f > 3.0, "standard errors", lambda s: 3.0),
    Doubt("no_pull_off", MILD,
          "No pull-off stands out of the noise: the adhesion is no more than an upper limit.",
          _pull_seen, lambda f, s: f == 0.0),
    Doubt("too_short", SEVERE, "A branch has too few samples to find anything on it.",
          _kept, lambda f, s: f < 8, "samples", lambda s: 8),
    Doubt("no_retract", SEVERE,
          "There is no retract: no adhesion, no works, and no law with a constant pull.",
          _base(bl.RETRACT + bl.B_KEPT), lambda f, s: f == 0),
    Doubt("not_calibrated", SEVERE,
          "The signal can't be turned into a deflection: a constant is missing.",
          _uncalibrated, lambda f, s: f > 0),
    Doubt("slope_near_one", MILD,
          "In contact the deflection can't be told from the travel of the base: no stiffness is "
          "given, the sample is too stiff for this lever.",
          _from_one, lambda f, s: (f <= 0.0) & (f >= -3.0), "standard errors", lambda s: 0.0),
    Doubt("few_in_slope", MILD, "Too few samples for the slope in contact.",
          lambda c: c.tables.slope[:, st.SAMPLES], lambda f, s: f < 4, "samples", lambda s: 4),
    Doubt("window_cut", MILD,
          "The fit window began before the tip touched; it was cut there.",
          _cut_window, lambda f, s: f > 0),
    Doubt("z_unsteady", MILD, "The base goes back and forth within a branch.",
          lambda c: 100.0 * c.tables.base[:, bl.Z_BACK], lambda f, s: (f > 20.0) & (f < 80.0),
          "% of steps", lambda s: 20.0),
    Doubt("open_loop", MILD,
          "Approach and retract do not meet at the peak: samples are missing there, or the base "
          "moved during a hold. The dissipated energy was closed by a straight line.",
          _gap, lambda f, s: f > 5.0, "steps", lambda s: 5.0),
    Doubt("at_bound", SEVERE,
          "A parameter of the fit ran to the end of its range: the curve does not tell it (a "
          "pull-off that is none, a contact too stiff for the lever), or the law is not the "
          "curve's.",
          _fit_state, lambda f, s: f == ft.AT_BOUND),
    Doubt("fit_stuck", SEVERE,
          "The fit never moved from its first guess, so its numbers mean nothing.",
          _fit_state, lambda f, s: f == ft.NOT_MOVED),
    Doubt("beyond_law", SEVERE,
          "The tip went deeper than the law is known: no such contact with this tip.",
          lambda c: c.tables.fit[:, ft.BEYOND], lambda f, s: f > 1.0, "of what is known",
          lambda s: 1.0),
    Doubt("no_contact_point", SEVERE,
          "The chosen way of finding the contact point found none.",
          _fit_state, lambda f, s: f == ft.NO_POINT),
    Doubt("jkr_outside", MILD,
          "The contact at zero load is wider than half the tip radius, where JKR ends: the sample "
          "is too soft or too sticky for this tip.",
          _zero_load_contact, lambda f, s: f > 0.5, "of the tip radius", lambda s: 0.5),
    Doubt("fringes", MILD,
          "A wave is in the baseline and was left there: optical fringes.",
          _base(bl.WAVE_SEEN), lambda f, s: f > s.worst_fringe, NOISES, lambda s: s.worst_fringe),
    Doubt("fringes_unknown", MILD,
          "The free part is shorter than half a period of the fringes: they can't be told from a "
          "slope there and were left.",
          _base(bl.WAVE_ROOM), lambda f, s: f < 0.5, "periods", lambda s: 0.5),
    Doubt("drag", MILD,
          "Approach and retract have different baselines: drag, or drift in time.",
          _offset_share, lambda f, s: f > s.worst_drag, "% of the adhesion",
          lambda s: s.worst_drag),
    Doubt("viscous_failed", MILD,
          "The relaxing solid found no answer: too few samples, no convergence, or a covariance "
          "that is not positive.",
          _viscous_state,
          lambda f, s: (f == vs.TOO_FEW) | (f == vs.NOT_CONVERGED) | (f == vs.NOT_POSITIVE)
          | (f == vs.NOT_MOVED)),
    Doubt("viscous_bound", MILD,
          "A parameter of the relaxing solid ran to its bound: the curve does not tell it. An "
          "elastic sample does that, and a relaxation much faster or slower than the curve.",
          _viscous_state, lambda f, s: f == vs.AT_BOUND),
    Doubt("viscous_untimed", MILD,
          "The times of the curve are not known: there is no sampling rate, or it holds more than "
          "one approach and retract.",
          _viscous_state, lambda f, s: f == vs.UNTIMED),
    Doubt("viscous_bad_fit", MILD,
          "The relaxing solid does not describe the curve: residuals exceed the noise.",
          lambda c: _viscous(c, vs.RESIDUAL) / c.tables.base[:, bl.B_NOISE],
          lambda f, s: f > s.worst_residual, NOISES, lambda s: s.worst_residual),
    Doubt("modulus_uncertain", MILD,
          "The curve hardly tells the modulus: its own ± is wide.",
          _modulus_error, lambda f, s: (f > s.worst_modulus) & (f <= UNKNOWN), "%",
          lambda s: s.worst_modulus),
    Doubt("modulus_unknown", SEVERE,
          "The curve does not tell the modulus: its ± is more than half of the number. The sample "
          "is too stiff for this lever, or the window too short.",
          _modulus_error, lambda f, s: f > UNKNOWN, "%", lambda s: UNKNOWN),
    Doubt("viscous_uncertain", MILD,
          "The curve hardly tells how the sample relaxes: the ± of a modulus or of the time is "
          "wide. Where many such curves run to a bound, the median of the rest is biased.",
          _relaxing_error, lambda f, s: f > UNKNOWN, "%", lambda s: UNKNOWN),
    Doubt("loss_below_zero", MILD,
          "More work came back than was put in, beyond the noise: the branches do not belong to "
          "one motion of the base (hysteresis of z, drift), or their baselines differ.",
          _below_zero, lambda f, s: f > 3.0, "standard errors", lambda s: 3.0),
    Doubt("alone", MILD,
          "Modulus or pull-off lies outside all that the pixels around show, and fewer than two of "
          "them are alike.",
          _lonely, lambda f, s: f > s.worst_neighbour, "usual differences",
          lambda s: s.worst_neighbour),
)  # fmt: skip

DOUBTS: dict[str, Doubt] = {
    d.name: Doubt(d.name, d.severity, d.sentence, d.figure, d.trips, d.unit, d.threshold, bit)
    for bit, d in enumerate(_ALL)
}

WITHOUT_LENGTHS = ("saturated", "missing_samples", "wrong_way", "too_short", "no_retract",
                   "not_calibrated", "z_unsteady")  # fmt: skip
"""Doubts that make sense while the signal is not in nm."""


def raise_doubts(case: Case) -> Array:
    """The doubts of every curve as bits, uint64 (P,)."""
    bits = np.zeros(case.tables.base.shape[0], dtype=np.uint64)
    with np.errstate(divide="ignore", invalid="ignore"):
        for doubt in DOUBTS.values():
            if not (case.lengths or doubt.name in WITHOUT_LENGTHS):
                continue
            tripped = doubt.trips(doubt.figure(case), case.limits)
            bits[tripped] |= np.uint64(doubt.mask)
    return bits


def severe_mask() -> int:
    """The bits of all severe doubts."""
    return sum(d.mask for d in DOUBTS.values() if d.severity == SEVERE)


def names_of(bits: int) -> list[str]:
    """Names of the doubts in a bit set, severe ones first."""
    found = [d for d in DOUBTS.values() if bits & d.mask]
    return [d.name for d in sorted(found, key=lambda d: d.severity != SEVERE)]
