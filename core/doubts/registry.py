"""All doubts, in the order of their bits.

Adding one is one entry in `_ALL`; its place in the tuple is its bit, so new ones go at the end.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ..columns import baseline as bl
from ..columns import fit as ft
from ..columns import stiffness as st
from ..columns import viscous as vs
from . import contact as co
from . import places as at
from . import relaxing as re
from . import samples as sa
from .case import MILD, SEVERE, Array, Case, Doubt, base

NOISES = "× noise"
UNKNOWN = 50.0
"""± of ln E in per cent from which on a modulus is not to be used: the indentation then is less
than three standard errors from none, and few curves of a rigid contact look softer by chance."""
LOST = 5.0
"""A deflection that rises by this share of the peak [%] while z stands still is not on that z."""

_ALL = (
    Doubt("no_contact", SEVERE,
          "The deflection never rises above the noise: the surface was not reached.",
          sa.steepness, lambda f, s: f <= 5.0, NOISES, lambda s: 5.0,
          repair="Let the base travel further towards the sample, or approach again."),
    Doubt("no_baseline", SEVERE,
          "Too little free baseline before contact: the travel was too short.",
          sa.too_short_by(bl.APPROACH), lambda f, s: f > 0.0, "nm too short",
          place=at.start_of_travel,
          repair="Begin the approach further away, by the length given at least, and measure "
          "again."),
    Doubt("no_release", SEVERE,
          "Too little free baseline after pull-off: the tip may not have let go.",
          sa.too_short_by(bl.RETRACT), lambda f, s: f > 0.0, "nm too short",
          place=at.end_of_travel,
          repair="Retract further, by the length given at least, and measure again."),
    Doubt("saturated", SEVERE,
          "The signal has a flat top: the detector was saturated.",
          base(bl.FLAT_TOP), lambda f, s: f >= 1.0, "of a suspicious run", lambda s: 1.0, at.top,
          "Lower the set force, or centre the detector so that the whole curve is in its range."),
    Doubt("spikes", MILD, "Single samples stand out of their neighbours.",
          base(bl.SPIKES), lambda f, s: f >= 1, "samples", lambda s: 1, at.largest_spike,
          "Look whether they are in the fit window or at the pull-off; else they do little harm."),
    Doubt("missing_samples", MILD, "Samples are missing or not numbers.",
          base(bl.MISSING), lambda f, s: f >= 1, "samples", lambda s: 1, at.hole,
          "Look at the acquisition: the recording lost samples."),
    Doubt("wrong_way", SEVERE,
          "A branch moves the wrong way: the approach away from the sample, or the retract towards "
          "it. Is the sign of z declared?",
          base(bl.Z_REVERSED), lambda f, s: f > 0),
    Doubt("noisy", MILD, "The noise is far above the map's.",
          sa.loudness, lambda f, s: f > s.worst_noise, "× median", lambda s: s.worst_noise,
          at.free_part(bl.APPROACH), "Look for a disturbance at that moment of the scan."),
    Doubt("set_force_missed", MILD, "The peak force stays below the set force.",
          sa.below_set_force, lambda f, s: f > s.worst_set_force, "% below",
          lambda s: s.worst_set_force, at.peak,
          "Let the base travel further, or look whether the detector or z ran into its limit."),
    Doubt("few_samples", SEVERE, "Too few samples in the fit window.",
          co.fitted(ft.SAMPLES),
          lambda f, s: f < s.least_samples, "samples", lambda s: s.least_samples, at.window,
          "Widen the fit window, or measure with more samples or more slowly."),
    Doubt("fit_failed", SEVERE,
          "The fit found no answer: it did not converge or its covariance is not positive.",
          co.fit_state, lambda f, s: (f == ft.NOT_CONVERGED) | (f == ft.NOT_POSITIVE),
          place=at.window, repair="Try another fit window or another law."),
    Doubt("bad_fit", MILD, "The law does not describe the curve: residuals exceed the noise.",
          co.residual, lambda f, s: f > s.worst_residual, NOISES, lambda s: s.worst_residual,
          at.window, "Compare the laws on this curve, or narrow the fit window."),
    Doubt("slope_above_one", SEVERE,
          "In contact the deflection grows faster than the base moves, which is impossible: the "
          "deflection sensitivity is wrong.",
          co.slope_excess, lambda f, s: f > 3.0, "standard errors", lambda s: 3.0, at.slope,
          "Measure the deflection sensitivity again on a rigid sample."),
    Doubt("no_pull_off", MILD,
          "No pull-off stands out of the noise: the adhesion is no more than an upper limit.",
          co.pull_seen, lambda f, s: f == 0.0),
    Doubt("too_short", SEVERE, "A branch has too few samples to find anything on it.",
          sa.kept, lambda f, s: f < 8, "samples", lambda s: 8,
          repair="Measure with more samples."),
    Doubt("no_retract", SEVERE,
          "There is no retract: no adhesion, no works, and no law with a constant pull.",
          base(bl.RETRACT + bl.B_KEPT), lambda f, s: f == 0,
          repair="Record the retract too, or choose “none” as adhesion of the law."),
    Doubt("not_calibrated", SEVERE,
          "The signal can't be turned into a deflection: a constant is missing.",
          sa.uncalibrated, lambda f, s: f > 0,
          repair="Give the deflection sensitivity and the spring constant in the settings."),
    Doubt("slope_near_one", MILD,
          "In contact the deflection can't be told from the travel of the base: no stiffness is "
          "given, the sample is too stiff for this lever.",
          co.from_one, lambda f, s: (f <= 0.0) & (f >= -3.0), "standard errors", lambda s: 0.0,
          at.slope, "Take a stiffer lever."),
    Doubt("few_in_slope", MILD, "Too few samples for the slope in contact.",
          lambda c: c.tables.slope[:, st.SAMPLES], lambda f, s: f < 4, "samples", lambda s: 4,
          at.slope, "Widen the stretch of the stiffness, or measure with more samples."),
    Doubt("window_cut", MILD,
          "The fit window began before the tip touched; it was cut there.",
          co.fitted(ft.WINDOW_CUT), lambda f, s: f > 0, place=at.window,
          repair="Let the window begin higher up."),
    Doubt("z_unsteady", MILD, "The base goes back and forth within a branch.",
          lambda c: 100.0 * c.tables.base[:, bl.Z_BACK], lambda f, s: (f > 20.0) & (f < 80.0),
          "% of steps", lambda s: 20.0,
          repair="Is z a measured position with much noise? The commanded one may serve better."),
    Doubt("open_loop", MILD,
          "Approach and retract do not meet at the peak: samples are missing there, or the base "
          "moved during a hold. The dissipated energy was closed by a straight line.",
          sa.gap, lambda f, s: f > 5.0, "steps", lambda s: 5.0, at.peak),
    Doubt("at_bound", SEVERE,
          "A parameter of the fit ran to the end of its range: the curve does not tell it (a "
          "pull-off that is none, a contact too stiff for the lever), or the law is not the "
          "curve's.",
          co.fit_state, lambda f, s: f == ft.AT_BOUND, place=at.window),
    Doubt("fit_stuck", SEVERE,
          "The fit never moved from its first guess, so its numbers mean nothing.",
          co.fit_state, lambda f, s: f == ft.NOT_MOVED, place=at.window,
          repair="Try another fit window or another law."),
    Doubt("beyond_law", SEVERE,
          "The tip went deeper than the law is known: no such contact with this tip.",
          co.fitted(ft.BEYOND), lambda f, s: f > 1.0, "of what is known",
          lambda s: 1.0, at.window, "Take a law for a longer tip, or a narrower fit window."),
    Doubt("no_contact_point", SEVERE,
          "The chosen way of finding the contact point found none.",
          co.fit_state, lambda f, s: f == ft.NO_POINT,
          repair="Fit the contact point with the law."),
    Doubt("jkr_outside", MILD,
          "The contact at zero load is wider than half the tip radius, where JKR ends: the sample "
          "is too soft or too sticky for this tip.",
          co.zero_load_contact, lambda f, s: f > 0.5, "of the tip radius", lambda s: 0.5,
          repair="Take a tip with a larger radius."),
    Doubt("fringes", MILD,
          "A wave is in the baseline and was left there: optical fringes.",
          base(bl.WAVE_SEEN), lambda f, s: f > s.worst_fringe, NOISES, lambda s: s.worst_fringe,
          at.free_part(bl.APPROACH), "Let the fringes be subtracted."),
    Doubt("fringes_unknown", MILD,
          "The free part is shorter than half a period of the fringes: they can't be told from a "
          "slope there and were left.",
          base(bl.WAVE_ROOM), lambda f, s: f < 0.5, "periods", lambda s: 0.5,
          at.free_part(bl.APPROACH), "Lengthen the travel."),
    Doubt("drag", MILD,
          "Approach and retract have different baselines: drag, or drift in time.",
          sa.offset_share, lambda f, s: f > s.worst_drag, "% of the adhesion",
          lambda s: s.worst_drag, at.free_part(bl.RETRACT),
          "Measure more slowly, or let the system settle."),
    Doubt("viscous_failed", MILD,
          "The relaxing solid found no answer: too few samples, no convergence, or a covariance "
          "that is not positive.",
          re.viscous_state,
          lambda f, s: (f == vs.TOO_FEW) | (f == vs.NOT_CONVERGED) | (f == vs.NOT_POSITIVE)
          | (f == vs.NOT_MOVED), place=at.in_contact),
    Doubt("viscous_bound", MILD,
          "A parameter of the relaxing solid ran to its bound: the curve does not tell it. An "
          "elastic sample does that, and a relaxation much faster or slower than the curve.",
          re.viscous_state, lambda f, s: f == vs.AT_BOUND, place=at.in_contact),
    Doubt("viscous_untimed", MILD,
          "The times of the curve are not known: there is no sampling rate, or it holds more than "
          "one approach and retract.",
          re.viscous_state, lambda f, s: f == vs.UNTIMED),
    Doubt("viscous_bad_fit", MILD,
          "The relaxing solid does not describe the curve: residuals exceed the noise.",
          re.viscous_residual,
          lambda f, s: f > s.worst_residual, NOISES, lambda s: s.worst_residual, at.in_contact),
    Doubt("modulus_uncertain", MILD,
          "The curve hardly tells the modulus: its own ± is wide.",
          co.modulus_error, lambda f, s: (f > s.worst_modulus) & (f <= UNKNOWN), "%",
          lambda s: s.worst_modulus, at.window,
          "Widen the fit window, press harder, or take a lever nearer to the sample's stiffness."),
    Doubt("modulus_unknown", SEVERE,
          "The curve does not tell the modulus: its ± is more than half of the number. The sample "
          "is too stiff for this lever, or the window too short.",
          co.modulus_error, lambda f, s: f > UNKNOWN, "%", lambda s: UNKNOWN, at.window,
          "Widen the fit window, press harder, or take a stiffer lever."),
    Doubt("viscous_uncertain", MILD,
          "The curve hardly tells how the sample relaxes: the ± of a modulus or of the time is "
          "wide. Where many such curves run to a bound, the median of the rest is biased.",
          re.relaxing_error, lambda f, s: f > UNKNOWN, "%", lambda s: UNKNOWN, at.in_contact),
    Doubt("loss_below_zero", MILD,
          "More work came back than was put in, beyond the noise: the branches do not belong to "
          "one motion of the base (hysteresis of z, drift), or their baselines differ.",
          re.below_zero, lambda f, s: f > 3.0, "standard errors", lambda s: 3.0, at.upper_half),
    Doubt("set_force_exceeded", MILD, "The peak force is above the set force.",
          sa.above_set_force, lambda f, s: f > s.worst_set_force, "% above",
          lambda s: s.worst_set_force, at.peak,
          "Approach more slowly, so that the base stops in time."),
    Doubt("z_clipped", MILD,
          "At one end of the travel the base stands still while samples go on: z ran into its "
          "limit, or a hold is part of the branch.",
          base(bl.STILL), lambda f, s: f >= 1.0, "of a suspicious run", lambda s: 1.0,
          at.standstill, "Bring the travel into the middle of the range of z."),
    Doubt("z_lost", SEVERE,
          "The deflection rises while the recorded base position stands still: the record of z "
          "was cut off, and the base went on.",
          sa.rise_while_still, lambda f, s: f > LOST, "% of the peak", lambda s: LOST,
          at.standstill, "Bring the travel into the middle of the range of z, and measure again."),
    Doubt("noise_correlated", MILD,
          "The noise is correlated from sample to sample, as by a filter: every ± of this curve is "
          "too small.",
          sa.likeness, lambda f, s: f > s.worst_likeness, "× white noise",
          lambda s: s.worst_likeness, at.free_part(bl.APPROACH),
          "Record with a wider filter or fewer samples a second."),
    Doubt("baseline_wavy", MILD,
          "The baseline is not straight: a wave, a bend or a wandering zero is left about its "
          "line.",
          sa.waviness, lambda f, s: f > s.worst_wave, NOISES, lambda s: s.worst_wave,
          at.free_part(bl.APPROACH),
          "If it is a wave of light, let the fringes be subtracted; else use less of the free "
          "part."),
    Doubt("tilt", MILD,
          "The baseline is steep: over the travel it changes by more than the adhesion.",
          sa.tilt_share, lambda f, s: f > s.worst_tilt, "% of the adhesion",
          lambda s: s.worst_tilt, at.free_part(bl.APPROACH),
          "Realign the light on the lever."),
    Doubt("contact_uncertain", MILD,
          "The curve hardly tells where contact begins: its ± is a large part of the indentation.",
          co.contact_error, lambda f, s: f > s.worst_contact, "% of the indentation",
          lambda s: s.worst_contact, at.contact_point,
          "Let the fit window begin lower, or press deeper."),
    Doubt("residuals_structured", MILD,
          "The residuals are more than noise, or neighbours are alike: the law misses a feature of "
          "the curve, even if a small one (a layer, a slip, a wrong tip).",
          co.structure, lambda f, s: f > s.worst_structure, "standard errors",
          lambda s: s.worst_structure, at.window,
          "Look at the residuals, compare the laws, or narrow the fit window."),
    Doubt("lever_too_soft", MILD,
          "The lever is too soft here: the indentation is a small rest of the travel, and an error "
          "of the deflection sensitivity counts many times in the modulus.",
          co.bend_over_depth, lambda f, s: f > s.softest_lever, "× the indentation",
          lambda s: s.softest_lever, at.in_contact, "Take a stiffer lever."),
    Doubt("lever_too_stiff", MILD,
          "The lever is too stiff here: its deflection hardly rises above the noise.",
          co.feeble_peak, lambda f, s: f < s.weakest_peak, NOISES, lambda s: s.weakest_peak,
          at.peak, "Take a softer lever, or press harder."),
    Doubt("second_pull", MILD,
          "The tip lets go more than once on the retract: adhesion and its work belong to several "
          "contacts.",
          co.second_pull_share, lambda f, s: f > s.second_pull, "% of the pull-off",
          lambda s: s.second_pull, at.second_pull,
          "Look for a tip that picked something up, or for threads of the sample."),
    Doubt("neck", MILD,
          "The pull falls slowly after its lowest point: a neck of liquid or polymer holds the "
          "tip, and the work of adhesion holds its stretching.",
          co.neck_length, lambda f, s: f > s.longest_neck, "× the way from zero force to the pull",
          lambda s: s.longest_neck, at.neck, "Dry the air, or compare with another tip."),
    Doubt("branches_differ", MILD,
          "In contact approach and retract do not lie on each other: the sample yields or creeps, "
          "or z has hysteresis.",
          co.branches_apart, lambda f, s: f > s.worst_hysteresis, "% of the indentation",
          lambda s: s.worst_hysteresis, at.upper_half,
          "Press less, fit the other branch for comparison, or use the closed loop of z."),
    Doubt("slope_falls", SEVERE,
          "Towards the peak the curve bends over, as no contact does: the detector nears the end "
          "of its range, or the tip slips.",
          co.slope_fall, lambda f, s: f > s.worst_fall, "%", lambda s: s.worst_fall, at.uppermost,
          "Lower the set force, or end the fit window below the bend."),
    Doubt("steep_surface", MILD,
          "The surface is steep here: the contact is wider than on the flat and the tip may "
          "slide.",
          sa.surface_slope, lambda f, s: f > s.steepest, "degrees", lambda s: s.steepest),
    Doubt("alone", MILD,
          "Modulus or pull-off lies outside all that the pixels around show, and fewer than two of "
          "them are alike.",
          sa.loneliness, lambda f, s: f > s.worst_neighbour, "usual differences",
          lambda s: s.worst_neighbour),
)  # fmt: skip

DOUBTS: dict[str, Doubt] = {d.name: replace(d, bit=bit) for bit, d in enumerate(_ALL)}

WITHOUT_LENGTHS = ("saturated", "missing_samples", "wrong_way", "too_short", "no_retract",
                   "not_calibrated", "z_unsteady", "z_clipped")  # fmt: skip
"""Doubts that make sense while the signal is not in nm."""


def raise_doubts(case: Case) -> Array:
    """The doubts of every curve as bits, uint64 (P,)."""
    bits = np.zeros(case.curves, dtype=np.uint64)
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
