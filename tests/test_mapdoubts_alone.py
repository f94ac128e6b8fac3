"""A pixel that stands alone is doubted; one of a thin domain or of a boundary is not."""

from __future__ import annotations

import numpy as np
import pytest
from component_maps import Kind, drawn

from palpate.core.doubts import DOUBTS, names_of
from palpate.core.explain import explain
from palpate.core.neighbours import loneliness
from palpate.core.pipeline import analyse
from palpate.core.settings import Settings
from palpate.core.simulate import SKI_BOOT, Lever, Material, Ramp, simulate_map

LIMIT = Settings().doubts.worst_neighbour
ALONE = np.uint64(DOUBTS["alone"].mask)
KINDS = tuple(Kind(e, f, 0.05, 0.05 * f) for e, f in ((1.8, 4.8), (0.05, 9.0), (0.4, 6.4)))


def logs_of(made):
    values = made.maps.values
    logs = [np.log(values["reduced_modulus"]), np.log(np.maximum(values["adhesion"], 0.01))]
    return logs, [np.zeros(y.shape) for y in logs]


@pytest.mark.parametrize("fractions", [(), (0.3,), (0.5,), (0.3, 0.3)])
def test_good_pixels_of_blurred_domains_are_not_alone(fractions):
    """Fewer than 1 % of them are asked for."""
    shares = [np.mean(loneliness(*logs_of(drawn(KINDS[: len(fractions) + 1], fractions, seed=seed)))
                      > LIMIT) for seed in range(5)]  # fmt: skip
    assert np.mean(shares) < 0.002


def test_a_domain_one_pixel_wide_has_company_and_a_lone_pixel_has_none():
    rng = np.random.default_rng(1)
    y = 0.05 * rng.normal(size=(32, 32))
    y[:, 10] += 2.0  # a line
    y[20, 20] += 2.0
    y[5, 25:27] += 2.0  # two side by side, one like pixel each
    far = loneliness([y], [np.zeros(y.shape)]) > LIMIT
    assert far[20, 20]
    assert not far[:, 10].any()
    assert np.count_nonzero(far) <= 3


def test_a_pixel_between_its_neighbours_is_not_alone_and_its_own_error_counts():
    y = 0.05 * np.random.default_rng(2).normal(size=(24, 24))
    y[:, 12:] += 3.0
    y[8, 12] = 1.5  # on the boundary: a mixture
    y[15, 5] = 2.0
    error = np.zeros(y.shape)
    assert loneliness([y], [error])[8, 12] < LIMIT < loneliness([y], [error])[15, 5]
    error[15, 5] = 1.0
    assert loneliness([y], [error])[15, 5] < LIMIT


def test_nothing_is_said_where_there_is_nothing_to_compare_with():
    y = np.full((16, 16), np.nan)
    y[3, 3] = 1.0
    assert np.isnan(loneliness([y, y], [y, y])).all()
    assert np.isnan(loneliness([np.ones((1, 5))], [np.zeros((1, 5))])).all()


def test_map_and_single_curve_agree_on_who_is_alone():
    labels = np.zeros((16, 16), int)
    labels[:, 8:] = 1
    labels[5, 3], labels[11, 12] = 2, 2
    odd = Material("odd", 0.3, 0.40, 14.0)
    made = simulate_map(labels, (*SKI_BOOT[:2], odd), ramp=Ramp(170.0, 256, 35.0),
                        lever=Lever(2.5, 58.0, "paraboloid", 16.0, 0.07))  # fmt: skip
    fmap = made.as_map()
    whole = analyse(fmap)
    alone = (whole.doubts & ALONE) != 0
    assert alone[5, 3]
    assert alone[11, 12]
    assert np.count_nonzero(alone) <= 3
    for row, col in ((5, 3), (5, 4), (11, 12)):
        report = explain(fmap, Settings(), row, col, whole)
        told = {raised.name: raised.figure for raised in report.doubts}
        assert set(told) == set(names_of(int(whole.doubts[row, col])))
        if alone[row, col]:
            assert told["alone"] == whole.lonely[fmap.curve_at(row, col)]
    assert "alone" not in {r.name for r in explain(fmap, Settings(), 5, 3).doubts}
    assert not whole.severe[5, 3]
