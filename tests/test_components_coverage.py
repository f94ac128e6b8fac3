"""The 95 % intervals of area fraction and component modulus hold the truth, map after map.

Truth is the population's: the pattern is where a Gaussian field lies above a level, so over all
maps its expected area fraction is the normal distribution's tail; the component's median is the
one that was put in. An interval that only held what one field happens to show would say nothing
about the material. 200 maps that keep 95 % lie within 92 to 98 % with probability 0.967 (binomial
distribution), so the seeds are fixed.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from component_maps import SOFT, STIFF, drawn

from palpate.core.components import Rule, find
from palpate.core.components.table import table_of

MAPS = 200
FRACTION = 0.3  # of the soft one
LOW, HIGH = 0.92, 0.98
NAMES = ("fraction", "stiff", "soft", "fraction, naive", "stiff, naive", "soft, naive")


def held(low: float, true: float, high: float) -> bool:
    return bool(low <= true <= high)


def one_map(seed: int) -> list[bool]:
    """Whether each of `NAMES` holds the truth on one map."""
    scene = drawn((STIFF, SOFT), (FRACTION,), seed=seed)
    table = table_of(find(scene.maps, Rule(count=2)), ["reduced_modulus"])
    soft, stiff = table.rows
    out = [held(soft.share.low, FRACTION, soft.share.high)]
    out += [held(row.summaries["reduced_modulus"].low, kind.modulus,
                 row.summaries["reduced_modulus"].high)
            for row, kind in ((stiff, STIFF), (soft, SOFT))]  # fmt: skip
    naive = 1.96 * math.sqrt(soft.share.fraction * (1.0 - soft.share.fraction) / table.labelled)
    assert soft.share.naive == pytest.approx(naive, rel=1e-12)
    out.append(abs(soft.share.fraction - FRACTION) <= naive)
    for row, kind in ((stiff, STIFF), (soft, SOFT)):
        seen = row.summaries["reduced_modulus"]
        step = 1.96 * 1.2533 * seen.sigma / math.sqrt(seen.pixels)  # of a median, normal law
        out.append(abs(math.log(seen.median / kind.modulus)) <= step)
    return out


@pytest.fixture(scope="module")
def coverage() -> dict[str, float]:
    found = np.mean([one_map(seed) for seed in range(1000, 1000 + MAPS)], axis=0)
    return dict(zip(NAMES, found, strict=True))


def test_intervals_hold_the_truth_in_92_to_98_percent_of_maps(coverage):
    print("".join(f"\n{name}: {100 * value:.1f} %" for name, value in coverage.items()))
    for name in NAMES[:3]:
        assert LOW <= coverage[name] <= HIGH, name


def test_counting_pixels_as_independent_holds_it_far_less_often(coverage):
    assert coverage["fraction, naive"] < 0.35
    assert coverage["stiff, naive"] < 0.6
    assert coverage["soft, naive"] < 0.75
