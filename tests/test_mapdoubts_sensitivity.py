"""A wrong deflection sensitivity is found from the curves, and told from a wrong law."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest

from palpate.core.mapdoubts.sensitivity import sensitivity_wrong
from palpate.core.mapdoubts.view import View
from palpate.core.pipeline import analyse
from palpate.core.settings import Settings
from palpate.core.simulate import SKI_BOOT, Lever, Ramp, blobs, simulate_map

ROUND = Lever(2.5, 58.0, "paraboloid", 16.0, 0.07)
RECORDED = "Sensitivity, recorded over true"


@lru_cache(maxsize=8)
def simulated(lever=ROUND, factor=1.0, components=3, seed=3, only=0):
    """18 x 18 curves with a recorded sensitivity that is `factor` times the true one."""
    rng = np.random.default_rng(seed)
    labels = np.full((18, 18), only)
    if components > 1:
        labels[blobs(labels.shape, 5, (1.0, 2.5), rng)] = 1
        labels[blobs(labels.shape, 5, (1.0, 2.0), rng)] = 2
    return simulate_map(labels, SKI_BOOT, lever=lever, ramp=Ramp(170.0, 256, 35.0, tilt=2e-4),
                        spoiled=0.02, seed=seed, sensitivity_factor=factor)  # fmt: skip


def map_of(*args, **options):
    return simulated(*args, **options).as_map()


def doubts_of(fmap, **changes):
    result = analyse(fmap, Settings().with_values({k.replace("__", "."): v
                                                   for k, v in changes.items()}))  # fmt: skip
    return sensitivity_wrong(View(result))


@pytest.mark.parametrize("factor", [0.85, 0.93, 1.08, 1.2])
def test_a_wrong_sensitivity_is_found_within_its_error(factor):
    """Truth: recorded = factor x true; the slope in contact on the stiffest is 0.8 to 1.1. Severe
    where a bend of the detector of 2 % could not do it; that is some 12 % of a factor here."""
    (doubt,) = doubts_of(map_of(factor=factor))
    sure = abs(factor - 1.0) > 0.12
    assert (doubt.name, doubt.severity) == ("sensitivity_wrong", "severe" if sure else "mild")
    found, error, _ = doubt.evidence.facts[RECORDED]
    assert found == pytest.approx(factor, rel=0.05)
    _, own, _ = doubt.evidence.facts["The same with a straight detector"]
    assert abs(found - factor) < 3.0 * own
    assert 0.002 < own < 0.03 < error < 0.1
    assert ("Sensitivity that fits" in doubt.evidence.facts) == ("or set it to" in doubt.repair)
    assert ("or set it to" in doubt.repair) == sure
    if sure:
        fits, own, _ = doubt.evidence.facts["Sensitivity that fits"]
        assert fits == pytest.approx(58.0, rel=0.05)
        assert 0.02 < own / fits < 0.1
    assert ("linearity of the detector" in doubt.sentence) != sure
    ratio = max(found, 1.0 / found)
    assert f"by a factor of {ratio:.2f} ± {error * ratio / found:.2f}" in doubt.sentence
    assert ("too large" in doubt.sentence) == (factor > 1.0)
    assert "A wrong law or tip shape looks alike" in doubt.sentence
    (plot,) = doubt.evidence.plots
    assert np.nanmedian(plot.y) == pytest.approx(factor, rel=0.05)


@pytest.mark.parametrize(("bend", "components"), [(-0.02, 1), (-0.01, 3), (0.01, 3), (0.02, 3)])
def test_a_detector_that_is_not_straight_is_never_a_severe_sensitivity(bend, components):
    """Truth: the sensitivity is right, the recorded deflection is d (1 - bend d/14 nm), with 14 nm
    the peak. Stiff curves then ask for a factor of 0.89 to 1.11."""
    made = simulated(components=components)
    straight = made.deflection
    fmap = replace(made, deflection=straight * (1.0 - bend * straight / 14.0)).as_map()
    (doubt,) = doubts_of(fmap)
    assert doubt.severity == "mild"
    assert "linearity of the detector or of z" in doubt.sentence
    assert "Rather the law" not in doubt.sentence
    assert "set it to" not in doubt.repair
    facts = doubt.evidence.facts
    assert "Sensitivity that fits" not in facts
    found, error, _ = facts[RECORDED]
    assert abs(found - 1.0) < 3.0 * error
    assert facts["Bend that fits without a factor"][0] * bend > 0.0


def test_a_scale_of_z_looks_like_a_factor_and_is_not_severe():
    """Truth: the sensitivity is right, z is recorded 5 % too long."""
    made = simulated()
    (doubt,) = doubts_of(replace(made, z=1.05 * made.z).as_map())
    assert (doubt.name, doubt.severity) == ("sensitivity_wrong", "mild")
    assert "or of z" in doubt.sentence


def test_a_small_factor_counts_by_what_it_does_to_the_modulus():
    """A sensitivity 5 % too large: below the former limit of 5 %, but the modulus of the stiffest
    component (the beads, label 2) is then far off, checked against the simulated truth."""
    made = simulated(factor=1.05)
    result = analyse(made.as_map(), Settings())
    beads = result.trusted & (made.truth["label"] == 2)
    off = np.nanmedian((result.channel("modulus") / made.truth["modulus"])[beads])
    assert off > 1.5
    (doubt,) = sensitivity_wrong(View(result))
    assert doubt.severity == "mild"
    assert "these curves do not tell which" in doubt.sentence  # a cone is a rival here
    assert "The law, the sensitivity, or the linearity of the detector" in doubt.sentence
    assert doubt.figure > doubt.threshold == 25.0
    assert doubt.evidence.facts[RECORDED][0] == pytest.approx(1.05, abs=0.02)


def test_a_slope_above_one_is_told_with_it():
    (doubt,) = doubts_of(map_of(factor=1.2))
    assert doubt.evidence.facts["Curves with a slope above one"][0] > 50
    assert "above one: impossible" in doubt.sentence


@pytest.mark.parametrize("adhesion", ["constant", "jkr"])
def test_a_right_sensitivity_raises_nothing(adhesion):
    lever = Lever(2.5, 58.0, "paraboloid", 16.0, 0.07, adhesion)
    for seed in (3, 4):
        assert doubts_of(map_of(lever, seed=seed), fit__adhesion=adhesion) == []
        assert doubts_of(map_of(lever, seed=seed)) == []  # JKR under a constant pull: nearly alike


@pytest.mark.parametrize("factor", [0.85, 1.2])
def test_a_soft_sample_alone_can_not_tell_and_says_nothing(factor):
    """On one soft component (slope 0.45) a pointed tip explains the curves as well, with another
    factor: what the laws differ by is in the ±."""
    assert doubts_of(map_of(factor=factor, components=1, only=1)) == []


def test_the_curves_of_a_cone_fitted_as_a_sphere_ask_for_the_law():
    cone = Lever(2.5, 58.0, "cone", 25.0, 0.07)
    asked = dict(fit__law="paraboloid", tip__radius=16.0)
    for components in (1, 3):
        (doubt,) = doubts_of(map_of(cone, components=components), **asked)
        assert (doubt.name, doubt.severity) == ("law_wrong", "mild")
        assert "pointed tip (cone)" in doubt.sentence
        facts = doubt.evidence.facts
        assert facts["Factor under a pointed tip (cone) with a constant pull"][0] == pytest.approx(
            1.0, abs=0.03)  # fmt: skip
        assert facts["Factor under the law in use"][0] > 1.15
    assert doubts_of(map_of(cone), fit__law="cone", tip__half_angle=25.0) == []


def test_a_cone_fitted_as_a_sphere_does_not_hide_a_wrong_sensitivity():
    """Soft and stiff curves together tell the law, so the factor is the one under the cone."""
    cone = Lever(2.5, 58.0, "cone", 25.0, 0.07)
    (doubt,) = doubts_of(map_of(cone, factor=1.15), fit__law="paraboloid", tip__radius=16.0)
    assert doubt.name == "sensitivity_wrong"
    assert doubt.evidence.facts[RECORDED][0] == pytest.approx(1.15, rel=0.03)
    assert "under a pointed tip (cone)" in doubt.sentence


@pytest.mark.parametrize("factor", [0.4, 2.0])
def test_a_sensitivity_that_is_very_wrong_is_found_too(factor):
    (doubt,) = doubts_of(map_of(factor=factor))
    assert doubt.evidence.facts[RECORDED][0] == pytest.approx(factor, rel=0.06)


def test_the_threshold_is_that_of_the_settings():
    fmap = map_of(factor=1.08)
    assert doubts_of(fmap, doubts__worst_sensitivity=300.0) == []
