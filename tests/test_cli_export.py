"""The command `export`: what it writes, and what it says where it can't."""

from __future__ import annotations

import csv
import json

import numpy as np
import pytest
from shell_maps import map_file

from palpate.core import Settings, analyse, open_map
from palpate.core.cli import main
from palpate.core.corrections import reviewed
from palpate.core.decisions import Pixels, Review
from palpate.core.work import Work
from palpate.core.workfile import Beside, save_analysis


@pytest.fixture(scope="module")
def files(tmp_path_factory):
    """A map, and a result of it with one row left out."""
    folder = tmp_path_factory.mktemp("export")
    path, result = map_file(folder), folder / "blend.result.h5"
    with open_map(path) as fmap:
        out = np.zeros(fmap.shape, bool)
        out[4] = True
        review = Review().leave_out(Pixels.of(out))
        analysis = reviewed(analyse(fmap, Settings()), review)
        save_analysis(result, analysis, Beside(work=Work(review=review)))
        modulus = np.where(analysis.trusted, analysis.channel("modulus"), np.nan)
    return path, result, modulus


def test_a_result_is_exported_with_its_decisions(files, tmp_path, capsys):
    out = tmp_path / "new" / "out"
    words = ["export", str(files[1]), "--out", str(out), "--what", "all", "--unit", "MPa",
             "--pixel", "1,2", "3,4", "--format", "csv,npy", "--vertical", "5"]  # fmt: skip
    assert main(words) == 0
    said = capsys.readouterr().out
    assert said.startswith(f"Written: {out} (")
    assert "safety-critical" in said
    np.testing.assert_allclose(np.load(out / "maps/modulus.npy"), 1000.0 * files[2])
    with (out / "decisions.csv").open() as file:
        assert len(list(csv.DictReader(file))) == 14
    assert (out / "curves/curve_r003_c004.csv").is_file()
    assert np.load(out / "curves/pixel.npy").tolist() == [[1, 2], [3, 4]]
    assert (out / "surface/height_levelled_z5x_100mm.stl").is_file()
    assert (out / "components.csv").is_file()
    package = json.loads((out / "datapackage.json").read_text(encoding="utf-8"))
    assert "14 left out" in package["decisions"]
    # again: not over it unless asked
    assert main(words) == 1
    assert "Replace it with --replace" in capsys.readouterr().err
    again = ["export", str(files[0]), "--out", str(out), "--what", "channels", "--set",
             "sample.poisson_ratio=0.3", "--channel", "modulus", "--replace"]  # fmt: skip
    assert main(again) == 0
    assert sorted(path.name for path in out.iterdir()) == ["datapackage.json", "pixels.csv"]
    package = json.loads((out / "datapackage.json").read_text(encoding="utf-8"))
    assert package["settings"]["sample"]["poisson_ratio"] == 0.3


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (["--what", "curves"], 2, "Of which pixels?"),
        (["--pixel", "1;2"], 2, "“1;2” is no pixel"),
        (["--pixel", "99,2"], 1, "no curve at row 99"),
        (["--what", "feelings"], 2, "“feelings” is no part of an export"),
        (["--format", "docx"], 2, "“docx” is no format"),
        (["--channel", "hardness"], 1, "no channel “hardness”"),
        (["--vertical", "-1", "--what", "surface"], 2, "vertical factor"),
        (["--set", "fit.law=cone"], 2, "has its own settings"),
        (["--source", "nowhere"], 1, "no such file or folder"),
    ],
)
def test_what_is_wrong_is_told_and_nothing_is_written(files, tmp_path, capsys, words, code, said):
    out = tmp_path / "new" / "out"
    assert main(["export", str(files[1]), "--out", str(out), *words]) == code
    assert said in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []
