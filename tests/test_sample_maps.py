"""The sample maps give back the truth that was put into them.

The tolerances are those of the trade's question: components whose adhesion differs by 0.5 nN must
be told apart (common practice, no source), so adhesion has to be right to 0.5 nN at worst; moduli
are compared as E*, which needs no Poisson ratio.
"""

from __future__ import annotations

from pathlib import Path

import h5py
import numpy as np
import pytest

import palpate.sample_maps
from palpate.core import Settings, analyse, open_map

FOLDER = Path(palpate.sample_maps.__path__[0])
SEAL = {"calibration.spring_constant": 0.1, "calibration.deflection_sensitivity": 90.0,
        "tip.half_angle": 20.0, "fit.law": "cone"}  # fmt: skip


@pytest.fixture(scope="module", params=[("ski_boot", {}), ("door_seal", SEAL)],
                ids=["ski_boot", "door_seal"])  # fmt: skip
def case(request):
    name, change = request.param
    fmap = open_map(FOLDER / f"{name}.h5")
    with h5py.File(FOLDER / f"{name}.truth.h5") as file:
        truth = {key: file[key][()] for key in file}
    truth["spoiled"] = truth["spoiled"].astype(str)
    return analyse(fmap, Settings().with_values(change)), truth


def good(truth, label):
    return (truth["label"] == label) & (truth["spoiled"] == "")


def test_every_component_is_right(case):
    result, truth = case
    for label in np.unique(truth["label"]):
        at = good(truth, label)
        median = np.nanmedian(result.channel("reduced_modulus")[at])
        assert median == pytest.approx(np.median(truth["reduced_modulus"][at]), rel=0.02)
        adhesion = np.nanmedian(result.channel("adhesion")[at])
        assert adhesion == pytest.approx(np.median(truth["pull_off"][at]), abs=0.4)
        late = np.abs(result.channel("contact_point") - truth["contact"])[at]
        step = np.ptp(result.map.samples(0).approach_z) / result.map.approach[0, 1]
        assert np.nanmedian(late) < max(0.5, 0.2 * step)
        assert np.isfinite(result.channel("modulus")[at]).mean() >= 0.98
        deep = result.channel("indentation")[at] / truth["indentation"][at]
        assert np.nanmedian(deep) == pytest.approx(1.0, abs=0.02)


def test_bright_means_stiffer(case):
    # common practice, no source
    result, truth = case
    medians = [np.nanmedian(result.channel("modulus")[good(truth, x)])
               for x in np.unique(truth["label"])]  # fmt: skip
    true = [np.median(truth["modulus"][good(truth, x)]) for x in np.unique(truth["label"])]
    assert np.array_equal(np.argsort(medians), np.argsort(true))


def test_intervals_hold(case):
    result, truth = case
    at = truth["spoiled"] == ""
    e = result.channel("reduced_modulus")
    off = np.log(e / truth["reduced_modulus"]) / (result.errors("reduced_modulus") / e)
    assert 0.90 < np.nanmean(np.abs(off[at]) < 1.96) < 0.98


@pytest.mark.parametrize("kind", ["no_contact", "saturated", "short_travel"])
def test_hopeless_curves_are_severely_doubted_and_good_ones_are_not(case, kind):
    result, truth = case
    assert result.severe[truth["spoiled"] == kind].all()
    assert result.severe[truth["spoiled"] == ""].mean() < 0.01


def test_spikes_are_doubted(case):
    from palpate.core.doubts import DOUBTS

    result, truth = case
    seen = (result.doubts & np.uint64(DOUBTS["spikes"].mask)) != 0
    assert seen[truth["spoiled"] == "spikes"].all()
    assert seen[truth["spoiled"] == ""].mean() < 0.01


def test_the_maps_are_made_by_their_script(tmp_path, case):
    """The committed files are what `make.py` makes: same samples, same truth."""
    from palpate.sample_maps.make import main

    main(tmp_path)
    for path in sorted(tmp_path.glob("*.h5")):
        with h5py.File(path) as new, h5py.File(FOLDER / path.name) as old:
            names: list[str] = []
            new.visititems(lambda n, o, names=names: names.append(n) if isinstance(o, h5py.Dataset)
                           else None)  # fmt: skip
            for name in names:
                if new[name].dtype.kind in "iuf":
                    assert np.allclose(new[name][()], old[name][()], rtol=1e-5, atol=2), name
