"""A change runs only what depends on it; a run can be watched and stopped; nothing depends on how
the samples reached memory."""

from __future__ import annotations

import numpy as np
import pytest

from palpate.core import pipeline
from palpate.core.channels import CHANNELS
from palpate.core.errors import Cancelled
from palpate.core.forcemap import ForceMap
from palpate.core.pipeline import STAGES, analyse
from palpate.core.progress import Progress
from palpate.core.readers import open_map
from palpate.core.settings import Settings
from palpate.core.simulate import door_seal, ski_boot
from palpate.core.writers.native import write_map


@pytest.fixture(scope="module")
def made():
    return ski_boot(size=20, seed=3)


@pytest.fixture(scope="module")
def fmap(made):
    return made.as_map()


@pytest.fixture(scope="module")
def first(fmap):
    return analyse(fmap)


def changed_stages(before, after):
    return {n for n in STAGES if after.stage_tables[n] is not before.stage_tables[n]}


@pytest.mark.parametrize(
    ("path", "value", "stages"),
    [
        ("baseline.threshold", 6.0, {"baseline", "retract", "fit", "stiffness"}),
        ("adhesion.samples", 3, {"retract", "fit"}),
        ("fit.fraction_from", 20.0, {"fit"}),
        ("fit.law", "cone", {"fit"}),
        ("stiffness.share_from", 50.0, {"stiffness"}),
        # lengths know no force: these cost no pass over the samples
        ("calibration.spring_constant", 3.0, set()),
        ("tip.radius", 30.0, set()),
        ("sample.poisson_ratio", 0.3, set()),
        ("fit.force_from", 2.0, set()),
        ("doubts.least_samples", 20, set()),
        ("calibration.deflection_sensitivity", 61.0, set(STAGES) - {"viscous"}),
    ],
)
def test_a_change_runs_only_what_depends_on_it(fmap, first, path, value, stages):
    settings = first.settings.with_value(path, value)
    again = analyse(fmap, settings, previous=first)
    assert changed_stages(first, again) == stages
    fresh = analyse(fmap, settings)
    for name in CHANNELS:
        assert np.array_equal(again.channel(name), fresh.channel(name), equal_nan=True), name
    assert np.array_equal(again.doubts, fresh.doubts)


def test_pyramid_and_cone_share_a_fit(fmap, first):
    cone = analyse(fmap, first.settings.with_value("fit.law", "cone"))
    pyramid = analyse(fmap, first.settings.with_value("fit.law", "pyramid"), previous=cone)
    assert changed_stages(cone, pyramid) == set()


def test_without_constant_adhesion_the_pull_off_does_not_matter(fmap, first):
    plain = analyse(fmap, first.settings.with_value("fit.adhesion", "none"))
    again = analyse(fmap, plain.settings.with_value("adhesion.samples", 5), previous=plain)
    assert changed_stages(plain, again) == {"retract"}


def test_a_window_by_force_depends_on_the_spring_constant(fmap, first):
    by_force = analyse(fmap, first.settings.with_value("fit.window", "force"))
    stiffer = by_force.settings.with_value("calibration.spring_constant", 5.0)
    assert changed_stages(by_force, analyse(fmap, stiffer, previous=by_force)) == {"fit"}


def test_spring_constant_scales_force_and_modulus_exactly(fmap, first):
    k = first.constants.spring_constant.value
    double = analyse(fmap, first.settings.with_value("calibration.spring_constant", 2 * k))
    for name, factor in (("adhesion", 2), ("reduced_modulus", 2), ("indentation", 1)):
        assert np.allclose(double.channel(name), factor * first.channel(name), rtol=1e-12,
                           equal_nan=True), name  # fmt: skip


def test_results_are_read_only_and_nan_where_no_curve_is(made):
    arrays = made.arrays()
    keep = np.arange(len(arrays["pixel"])) % 7 != 3
    for name in ("z", "deflection", "pixel"):
        arrays[name] = arrays[name][keep]
    result = analyse(ForceMap.from_arrays(**arrays))
    height = result.channel("height")
    assert np.isnan(height[result.map.index_map < 0]).all()
    assert np.isfinite(height[result.map.index_map >= 0]).all()
    with pytest.raises(ValueError, match="read-only"):
        height[0, 0] = 1.0


def test_streaming_gives_the_same_bits_as_memory(made, tmp_path, monkeypatch):
    arrays = made.arrays()
    write_map(tmp_path / "m.h5", arrays.pop("z"), arrays.pop("deflection"), **arrays)
    with open_map(tmp_path / "m.h5") as from_file:
        whole = analyse(from_file)
        assert from_file.resident
    monkeypatch.setattr(pipeline, "fits_in_memory", lambda fmap: False)
    with open_map(tmp_path / "m.h5") as from_file:
        result = analyse(from_file)
        assert not from_file.resident
    for name in CHANNELS:
        assert np.array_equal(result.channel(name), whole.channel(name), equal_nan=True), name


def test_progress_is_told_and_cancel_stops(fmap):
    seen = []
    analyse(fmap, Settings(), progress=Progress(lambda *words: seen.append(words)))
    assert seen[-1][:2] == (fmap.n_curves, fmap.n_curves)
    progress = Progress()
    progress.cancel()
    with pytest.raises(Cancelled):
        analyse(fmap, Settings(), progress=progress)


def test_a_map_is_refined_from_coarse_to_fine():
    fmap = door_seal(size=130, samples=32).as_map()
    seen = []
    result = analyse(fmap, Settings(), partial=lambda a: seen.append((a.step, a.done.mean(), a)))
    assert [step for step, _, _ in seen] == [8, 4, 2]
    shares = [share for _, share, _ in seen]
    assert shares == pytest.approx([1 / 64, 1 / 16, 1 / 4], rel=0.1)
    coarse = seen[0][2]
    assert np.isfinite(coarse.preview("height")).all()
    assert np.array_equal(coarse.channel("height")[::8, ::8], result.channel("height")[::8, ::8])
    assert result.complete
    assert result.step == 1


def test_one_bad_curve_is_a_doubt_and_not_an_exception():
    """Curves of 0 to 3 samples, NaN, constant, infinite, backwards, one branch only."""
    z = np.linspace(-100.0, 10.0, 200)
    d = np.where(z > 0, 0.5 * z, 0.0) + 0.02 * np.cos(7.0 * np.arange(z.size))
    back, good = z[::-1], d[::-1]
    nan, flat = np.full(z.size, np.nan), np.zeros(z.size)
    odd_z = [[z, back], [z[:0], back[:0]], [z[:1], back[:1]], [z[:3], back[:3]], [z, back],
             [z, back], [z, back], [back, z], [z, back[:0]], [z[:0], back],
             [flat, flat]]  # fmt: skip
    odd_d = [[d, good], [d[:0], good[:0]], [d[:1], good[:1]], [d[:3], good[:3]], [nan, nan],
             [flat, flat], [d + np.inf, good], [d, good], [d, good[:0]], [d[:0], good],
             [d, good]]  # fmt: skip
    fmap = ForceMap.from_arrays(odd_z, odd_d, shape=(1, len(odd_z)), spring_constant=1.0,
                                radius=10.0)  # fmt: skip
    result = analyse(fmap)
    assert np.isfinite(result.channel("modulus")[0, 0])
    assert not result.severe[0, 0]
    assert np.isnan(result.channel("modulus")[0, 1:7]).all()
    assert result.severe[0, 1:8].all(), result.severe
    assert result.severe[0, 9:].all()
    for _, values, errors in result.channels():
        assert not np.isinf(values).any()
        assert errors is None or not np.isinf(errors).any()


def test_without_calibration_only_the_height_is_given(made):
    arrays = made.arrays(calibrated=False)
    fmap = ForceMap.from_arrays(**arrays)
    result = analyse(fmap)
    assert np.isfinite(result.channel("height")).all()
    for name in CHANNELS:
        if name != "height":
            assert np.isnan(result.channel(name)).all(), name
    known = {"calibration.spring_constant": made.lever.spring_constant,
             "calibration.deflection_sensitivity": made.lever.sensitivity,
             "tip.radius": made.lever.tip_size}  # fmt: skip
    told = analyse(fmap, Settings().with_values(known), previous=result)
    whole = analyse(made.as_map())
    assert np.allclose(told.channel("modulus"), whole.channel("modulus"), equal_nan=True)


def test_force_channel_gives_the_same_answer_as_deflection(made):
    k = made.lever.spring_constant
    common = dict(pixel=made.pixel, shape=made.shape, spring_constant=k, radius=16.0)
    by_d = analyse(ForceMap.from_arrays(made.z, made.deflection, **common))
    by_f = analyse(ForceMap.from_arrays(made.z, force=made.deflection * k, **common))
    assert np.allclose(by_d.channel("modulus"), by_f.channel("modulus"), rtol=1e-9, equal_nan=True)


def test_young_modulus_is_the_reduced_one_times_one_minus_poisson_squared(fmap, first):
    # E = E* (1 - ν²), Hertz 1882; E(ν = 0.5)/E(ν = 0.35) = 0.854701, direct solution
    rubber, glass = (analyse(fmap, first.settings.with_value("sample.poisson_ratio", nu),
                             previous=first).channel("modulus") for nu in (0.5, 0.35))  # fmt: skip
    assert np.nanmax(np.abs(rubber / glass - 0.854701)) < 1e-6


def test_trusted_pixels_have_a_curve_and_no_severe_doubt(made):
    arrays = made.arrays(calibrated=False)
    keep = np.arange(len(arrays["pixel"])) % 7 != 3
    for name in ("z", "deflection", "pixel"):
        arrays[name] = arrays[name][keep]
    raw = analyse(ForceMap.from_arrays(**arrays))
    assert not raw.trusted.any()  # nothing is calibrated
    known = {"calibration.spring_constant": made.lever.spring_constant,
             "calibration.deflection_sensitivity": made.lever.sensitivity,
             "tip.radius": made.lever.tip_size}  # fmt: skip
    told = analyse(raw.map, Settings().with_values(known))
    assert not told.trusted[told.map.index_map < 0].any()
    assert told.trusted[told.map.index_map >= 0].mean() > 0.9
    for _, values, errors in raw.channels():
        assert errors is None or np.isnan(errors[np.isnan(values)]).all()
