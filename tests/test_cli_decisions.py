"""Commands honour what was decided about the pixels of a saved result.

What they must print is worked out beside them: corrected pixels are those of an analysis of the
whole map under the corrected settings, left-out ones are masked, and medians are numpy's.
"""

from __future__ import annotations

import csv
import shutil
from types import SimpleNamespace

import h5py
import numpy as np
import pytest

from palpate.app.reopen_desk import CompareWithFile
from palpate.core.cli import main
from palpate.core.cli.given import given
from palpate.core.components import Axis, Rule
from palpate.core.corrections import reviewed
from palpate.core.decisions import Pixels, Review
from palpate.core.pipeline import analyse
from palpate.core.progress import Progress
from palpate.core.readers import open_map
from palpate.core.rehearsal import scene_of
from palpate.core.reopening import again, open_analysis
from palpate.core.settings import Settings
from palpate.core.simulate import Lever, Material, Ramp, simulate_map
from palpate.core.workfile import load_analysis, save_analysis
from palpate.core.writers import write_map

SHAPE = (14, 16)
LABELS = np.indices(SHAPE)[1] // 8
MATERIALS = Material("soft", 0.08, 0.45, 9.0, 0.05, 0.03), Material("stiff", 1.2, 0.4, 5.0, 0.05)
CHANGE = {"fit.fraction_to": 60.0, "tip.radius": 40.0}
RULE = Rule(method="thresholds", axes=(Axis("reduced_modulus", True),), thresholds=(0.4,))


def rows(*numbers):
    mask = np.zeros(SHAPE, bool)
    mask[list(numbers)] = True
    return mask


@pytest.fixture(scope="module")
def case(tmp_path_factory):
    """Two maps at two speeds; a result of each, the first with four rows left out and three
    corrected, and what its numbers then are."""
    folder = tmp_path_factory.mktemp("decided")
    out, corrected = rows(0, 3, 4, 9), rows(6, 7, 8)
    review = Review().leave_out(Pixels.of(out)).correct(Pixels.of(corrected), CHANGE)
    maps, results, numbers = [], [], {}
    for seed, decided in ((2, review), (3, Review())):
        scene = simulate_map(LABELS, MATERIALS, lever=Lever(2.0, 60.0, noise=0.06),
                             ramp=Ramp(travel=120.0, samples=160), scan_size=(800.0, 700.0),
                             seed=seed)  # fmt: skip
        arrays = scene.arrays() | {"sampling_rate": 1000.0 * seed**3}
        maps.append(folder / f"m{seed}.h5")
        write_map(maps[-1], **arrays)
        results.append(folder / f"m{seed}.result.h5")
        with open_map(maps[-1]) as fmap:
            plain = analyse(fmap, Settings())
            save_analysis(results[-1], reviewed(plain, decided))
            if decided:
                other = analyse(fmap, Settings().with_values(CHANGE))
                trusted = np.where(corrected, other.trusted, plain.trusted) & ~out
                numbers = {n: np.where(corrected, other.channel(n), plain.channel(n))
                           for n in ("modulus", "reduced_modulus")}  # fmt: skip
    (folder / "rule.json").write_text(RULE.to_json(), encoding="utf-8")
    return SimpleNamespace(folder=folder, maps=maps, results=results, trusted=trusted,
                           numbers=numbers)  # fmt: skip


def table(path):
    lines = path.read_text(encoding="utf-8").splitlines()
    return list(csv.DictReader(line for line in lines if not line.startswith("# ")))


def plainly(capsys):
    return " ".join(capsys.readouterr().out.split())


def test_speeds_of_results_are_those_of_what_was_decided(case, tmp_path, capsys):
    out, plain = tmp_path / "out.csv", tmp_path / "plain.csv"
    assert main(["speeds", *map(str, case.results), "--out", str(out)]) == 0
    assert "m2.result.h5: pixels decided about by hand: 64 left out, 0 kept, 48 corrected." in (
        plainly(capsys))  # fmt: skip
    assert main(["speeds", *map(str, case.maps), "--out", str(plain)]) == 0
    assert "decided about" not in plainly(capsys)
    first, second = table(out)
    assert "# m2.result.h5: pixels decided about by hand: 64 left out" in out.read_text()
    used = case.numbers["modulus"][case.trusted]
    assert int(first["pixels"]) == np.isfinite(used).sum()
    assert float(first["modulus (GPa)"]) == pytest.approx(np.nanmedian(used), rel=1e-6)
    assert float(table(plain)[0]["modulus (GPa)"]) != pytest.approx(np.nanmedian(used), rel=0.02)
    assert second["modulus (GPa)"] == table(plain)[1]["modulus (GPa)"]


def test_fields_of_results_are_those_of_what_was_decided(case, tmp_path, capsys):
    out = tmp_path / "out.csv"
    assert main(["fields", *map(str, case.results), "--rule", str(case.folder / "rule.json"),
                 "--out", str(out)]) == 0  # fmt: skip
    assert "m2.result.h5: pixels decided about by hand: 64 left out" in out.read_text()
    assert "64 left out, 0 kept, 48 corrected" in plainly(capsys)
    stiff = [row for row in table(out) if row["quantity"] == "reduced_modulus"
             and row["component"] == "B" and row["map"] == "m2.result.h5"]  # fmt: skip
    used = case.numbers["reduced_modulus"]
    expected = np.median(used[case.trusted & (used > 0.4)])
    assert float(stiff[0]["value"]) == pytest.approx(expected, rel=0.01)
    plain = tmp_path / "plain.csv"
    assert main(["fields", *map(str, case.maps), "--rule", str(case.folder / "rule.json"),
                 "--out", str(plain)]) == 0  # fmt: skip
    first = next(row for row in table(plain)
                 if row["quantity"] == "reduced_modulus" and row["component"] == "B")  # fmt: skip
    assert float(first["value"]) != pytest.approx(expected, rel=0.02)


def test_a_rehearsal_of_a_result_looks_at_no_pixel_left_out(case, tmp_path, capsys):
    """With all stiff pixels left out the offered moduli end at twice the soft ones."""
    result = tmp_path / "m3.result.h5"
    shutil.copy(case.maps[1], tmp_path)
    with open_map(tmp_path / "m3.h5") as fmap:
        made = analyse(fmap, Settings())
        review = Review().leave_out(Pixels.of(LABELS == 1))
        save_analysis(result, reviewed(made, review))
    out = tmp_path / "r.csv"
    words = ["--steps", "2", "--curves", "8", "--out", str(out)]
    assert main(["rehearse", str(result), *words]) == 0
    assert "decided about by hand: 112 left out" in plainly(capsys)
    assert max(float(row["modulus_GPa"]) for row in table(out)) < 0.3
    assert main(["rehearse", str(case.maps[1]), *words]) == 0
    assert max(float(row["modulus_GPa"]) for row in table(out)) > 1.0


def test_again_makes_components_too_and_compares_them(case, tmp_path, capsys):
    old, new = tmp_path / "old.h5", tmp_path / "new.h5"
    shutil.copy(case.maps[0], tmp_path)
    shutil.copy(case.results[0], tmp_path)
    assert main(["components", str(tmp_path / "m2.result.h5"), "--rule",
                 str(case.folder / "rule.json"), "--result", str(old)]) == 0  # fmt: skip
    assert main(["again", str(old), "--out", str(new)]) == 0
    assert "All numbers are those of old.h5." in capsys.readouterr().out
    one, two = load_analysis(old).components, load_analysis(new).components
    assert (one.labels == two.labels).all()
    assert one.table == two.table
    assert len(one.table) > 4
    assert one.rule == two.rule
    with h5py.File(old, "r+") as f:
        text = f["entry/components/table"].asstr()[()]
        median = one.table[-1][one.table[0].index("median")]
        assert str(median) in text
        f["entry/components/table"][()] = text.replace(str(median), str(1.1 * median))
        f["entry/components/labels"][0, 0] += 1
    assert main(["again", str(old), "--out", str(new)]) == 1
    told = capsys.readouterr()
    assert "1 pixels belong to another component" in told.err
    assert "of component B (by 9.1 %)" in told.err
    assert "All numbers" not in told.out
    opened = open_analysis(old)
    with opened.map:
        request = CompareWithFile(opened.loaded, again(opened))
        assert told.err.strip().endswith(request.run(Progress(), lambda _: None)[0])


def test_a_scene_is_read_off_no_corrected_pixel(case):
    """Their rows are those of the map's settings, their moduli are not: as if left out."""
    mask = rows(5, 6, 7)
    with open_map(case.maps[0]) as fmap:
        plain = analyse(fmap, Settings())
        corrected = reviewed(plain, Review().correct(Pixels.of(mask), CHANGE))
        one, other = scene_of(corrected), scene_of(plain.without(mask))
        assert one.groups == other.groups
        assert one.noise == other.noise
        assert scene_of(plain).noise != one.noise


def test_a_result_of_a_layer_brings_its_thickness(case, tmp_path):
    shutil.copy(case.maps[0], tmp_path)
    thickness = np.random.default_rng(1).uniform(200.0, 400.0, SHAPE)
    settings = Settings().with_value("layer.base", "bonded")
    with open_map(tmp_path / "m2.h5") as fmap:
        made = analyse(fmap.with_thickness(thickness), settings)
        save_analysis(tmp_path / "r.h5", made)
    (one,), start = given([tmp_path / "r.h5"])
    with one.opened() as fmap:
        now = one.analysed(fmap, start, Progress())
    assert start == settings
    assert now.channel("modulus").tobytes() == made.channel("modulus").tobytes()
