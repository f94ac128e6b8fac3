"""A wrong deflection sensitivity is found from the curves, and told from a wrong law."""

from __future__ import annotations

import numpy as np
import pytest

from palpate.core.mapdoubts.sensitivity import sensitivity_wrong
from palpate.core.mapdoubts.view import View
from palpate.core.pipeline import analyse
from palpate.core.settings import Settings
from palpate.core.simulate import SKI_BOOT, Lever, Ramp, blobs, simulate_map

ROUND = Lever(2.5, 58.0, "paraboloid", 16.0, 0.07)
RECORDED = "Sensitivity, recorded over true"


def map_of(lever=ROUND, factor=1.0, components=3, seed=3, only=0):
    """18 x 18 curves with a recorded sensitivity that is `factor` times the true one."""
    rng = np.random.default_rng(seed)
    labels = np.full((18, 18), only)
    if components > 1:
        labels[blobs(labels.shape, 5, (1.0, 2.5), rng)] = 1
        labels[blobs(labels.shape, 5, (1.0, 2.0), rng)] = 2
    return simulate_map(labels, SKI_BOOT, lever=lever, ramp=Ramp(170.0, 256, 35.0, tilt=2e-4),
                        spoiled=0.02, seed=seed, sensitivity_factor=factor).as_map()  # fmt: skip


def doubts_of(fmap, **changes):
    result = analyse(fmap, Settings().with_values({k.replace("__", "."): v
                                                   for k, v in changes.items()}))  # fmt: skip
    return sensitivity_wrong(View(result))


@pytest.mark.parametrize("factor", [0.85, 0.93, 1.08, 1.2])
def test_a_wrong_sensitivity_is_found_within_its_error(factor):
    """Truth: recorded = factor x true; the slope in contact on the stiffest is 0.8 to 1.1."""
    (doubt,) = doubts_of(map_of(factor=factor))
    assert (doubt.name, doubt.severity) == ("sensitivity_wrong", "severe")
    found, error, _ = doubt.evidence.facts[RECORDED]
    assert found == pytest.approx(factor, rel=0.05)
    assert abs(found - factor) < 3.0 * error
    assert 0.002 < error < 0.03
    assert doubt.evidence.facts["Sensitivity that fits"][0] == pytest.approx(58.0, rel=0.05)
    assert ("too large" in doubt.sentence) == (factor > 1.0)
    assert "A wrong law or tip shape looks alike" in doubt.sentence
    (plot,) = doubt.evidence.plots
    assert np.nanmedian(plot.y) == pytest.approx(factor, rel=0.05)


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
    assert doubts_of(fmap, doubts__worst_sensitivity=15.0) == []
