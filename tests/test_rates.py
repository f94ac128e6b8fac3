"""The slope of the modulus against the speed: what it means, and when there is none."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.optimize import brentq

from palpate.core.forcemap import ForceMap
from palpate.core.pipeline import analyse
from palpate.core.rates import beta_at_equal_force, modulus_against_speed
from palpate.core.settings import Settings
from palpate.core.simulate import ski_boot


@pytest.mark.parametrize("beta", [0.0, 0.1, 0.3])
@pytest.mark.parametrize("exponent", [1.0, 1.5, 2.0])
def test_beta_comes_back_from_the_slope_at_equal_force(beta, exponent):
    """F = (v/δ)^β δⁿ = 1 solved by brentq at two speeds; E = (v/δ)^β there."""
    moduli = []
    for v in (1.0, 100.0):
        depth = brentq(lambda d, v=v: (v / d) ** beta * d**exponent - 1.0, 1e-9, 10.0, xtol=1e-15)
        moduli.append((v / depth) ** beta)
    slope = math.log(moduli[1] / moduli[0]) / math.log(100.0)
    assert beta_at_equal_force(slope, exponent) == pytest.approx(beta, abs=1e-9)


def at(rate):
    arrays = ski_boot(size=6, samples=256).arrays()
    arrays["sampling_rate"] = rate
    z, d = arrays.pop("z"), arrays.pop("deflection")
    return analyse(ForceMap.from_arrays(z, d, **arrays), Settings())


def test_speeds_that_differ_by_less_than_one_per_cent_are_one_speed():
    """Two such maps would give a slope of pure noise."""
    none = modulus_against_speed([at(1000.0), at(1004.0)])
    assert math.isnan(none.slope)
    assert "two different speeds" in none.reason
    two = modulus_against_speed([at(1000.0), at(2000.0)])
    assert two.slope == pytest.approx(0.0, abs=1e-9)  # the very same curves
    assert two.table[1].speed == pytest.approx(2.0 * two.table[0].speed)
    assert two.table[0].depth == two.table[1].depth > 0.0


def test_a_map_without_a_value_is_told_and_left_out():
    with np.errstate(all="ignore"):
        found = modulus_against_speed([at(1000.0), at(3000.0)], "relaxation_exponent")
    assert math.isnan(found.slope)
    assert "fewer than two trusted pixels" in found.reason
