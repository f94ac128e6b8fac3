"""The curve view and the map give the same number, to the last bit."""

from __future__ import annotations

import math

import numpy as np
import pytest

from palpate.core.channels import CHANNELS
from palpate.core.curvereport import window_change
from palpate.core.doubts import names_of
from palpate.core.explain import explain
from palpate.core.pipeline import analyse
from palpate.core.readers import open_map
from palpate.core.settings import Settings
from palpate.core.simulate import ski_boot
from palpate.core.writers.native import write_map


@pytest.fixture(scope="module")
def fmap():
    return ski_boot(size=24, seed=5).as_map()


CASES = [
    {},
    {"fit.window": "indentation", "fit.indentation_to": 2.0},
    {"fit.branch": "retract", "fit.law": "cone", "tip.half_angle": 20.0, "fit.window": "force"},
    {"fit.law": "punch", "fit.adhesion": "none", "baseline.shape": "offset"},
]


@pytest.mark.parametrize("change", CASES)
def test_curve_view_and_map_agree_to_the_last_bit(fmap, change):
    settings = Settings().with_values(change)
    result = analyse(fmap, settings)
    rng = np.random.default_rng(0)
    for row, col in rng.integers(0, 24, (200, 2)):
        report = explain(fmap, settings, row, col, result)
        for name in CHANNELS:
            value, error = report.values[name]
            there, errors = result.channel(name)[row, col], result.errors(name)
            assert value == there or (math.isnan(value) and math.isnan(there)), name
            if errors is not None:
                assert error == errors[row, col] or math.isnan(error), name
        assert [r.name for r in report.doubts] == names_of(int(result.doubts[row, col]))


def test_the_same_bits_from_a_file_that_is_read_curve_by_curve(tmp_path):
    arrays = ski_boot(size=12, seed=6).arrays()
    write_map(tmp_path / "m.h5", arrays.pop("z"), arrays.pop("deflection"), **arrays)
    with open_map(tmp_path / "m.h5") as lazy, open_map(tmp_path / "m.h5") as whole:
        result = analyse(whole)
        for row, col in ((0, 0), (5, 7), (11, 3)):
            assert not lazy.resident
            report = explain(lazy, Settings(), row, col)
            assert report.values["modulus"][0] == result.channel("modulus")[row, col] or np.isnan(
                result.channel("modulus")[row, col]
            )


def good_pixel(fmap):
    result = analyse(fmap)
    row, col = np.argwhere((result.doubts == 0) & np.isfinite(result.channel("modulus")))[0]
    return explain(fmap, Settings(), row, col, result)


def test_what_is_drawn_is_where_the_numbers_are(fmap):
    r = good_pixel(fmap)
    k = r.spring_constant
    assert r.peak[1] * k == pytest.approx(r.values["peak_force"][0])
    assert -r.pull_off[1] * k == pytest.approx(r.values["adhesion"][0])
    assert r.contact == (r.z0, 0.0)
    assert r.law_z[0] - r.law_d[0] == pytest.approx(r.z0, abs=1e-3)  # δ = 0 where contact begins
    assert r.peak[0] - r.peak[1] - r.z0 == pytest.approx(r.values["indentation"][0])
    at_pull = np.argmin(np.abs(r.retract.z - r.pull_off[0]))
    assert r.retract.d[at_pull] == pytest.approx(r.pull_off[1], abs=1e-9)
    assert r.residual_z.size == r.values["n_points"][0]
    rms = np.sqrt(np.sum(r.residual**2) / (r.residual.size - 2))
    assert rms == pytest.approx(r.values["residual"][0], rel=1e-6)
    assert np.interp(r.peak[0], r.law_z, r.law_d) == pytest.approx(r.peak[1], abs=5 * r.noise)


def test_a_missing_pixel_has_no_report(fmap):
    assert explain(fmap, Settings(), 99, 0) is None
    assert explain(fmap, Settings(), -1, 0) is None


@pytest.mark.parametrize("window", ["fraction", "force", "indentation"])
def test_a_dragged_window_lands_where_it_was_put(fmap, window):
    settings = Settings().with_value("fit.window", window)
    r = explain(fmap, settings, *np.argwhere(fmap.index_map >= 0)[30])
    low = r.contact[0] + 0.45 * (r.peak[0] - r.contact[0])
    high = r.contact[0] + 0.9 * (r.peak[0] - r.contact[0])
    moved = explain(fmap, settings.with_values(window_change(r, low, high)), r.row, r.col)
    step = r.approach.z[1] - r.approach.z[0]
    assert moved.window[0] == pytest.approx(low, abs=2.5 * step)
    assert moved.window[1] == pytest.approx(high, abs=2.5 * step)


def test_a_window_dragged_off_the_curve_stays_legal(fmap):
    for window in ("fraction", "force", "indentation"):
        settings = Settings().with_value("fit.window", window)
        r = explain(fmap, settings, 4, 4)
        for ends in ((-1e4, 1e4), (-1e4, -9e3), (1e4, 2e4), (r.z0, r.z0), (r.z0 + 1, r.z0 - 1)):
            settings.with_values(window_change(r, *ends))  # raises if it is impossible
