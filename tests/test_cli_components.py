"""``palpate components``: the table of components on the command line."""

from __future__ import annotations

import csv
import json

import numpy as np
import pytest

from palpate.core.cli import main
from palpate.core.components import Rule
from palpate.core.simulate import Lever, Material, Ramp, simulate_map
from palpate.core.workfile import load_analysis
from palpate.core.writers import write_map

SOFT, STIFF = Material("soft", 0.06, 0.45, 9.0, 0.05, 0.03), Material("stiff", 1.2, 0.4, 5.0, 0.05)


@pytest.fixture(scope="module")
def blend(tmp_path_factory):
    rows, cols = np.mgrid[:16, :20]
    labels = np.where((rows - 8) ** 2 + (cols - 9) ** 2 <= 30, 0, 1)
    made = simulate_map(labels, (SOFT, STIFF), lever=Lever(2.0, 60.0, noise=0.06),
                        ramp=Ramp(travel=120.0, samples=160), scan_size=(1000.0, 800.0),
                        seed=2)  # fmt: skip
    path = tmp_path_factory.mktemp("maps") / "blend.h5"
    write_map(path, **made.arrays())
    return path, (labels == 0).mean()


def test_it_prints_each_component_with_its_area_and_medians(blend, capsys):
    path, share = blend
    assert main(["components", str(path), "--names", "rubber,matrix"]) == 0
    out = capsys.readouterr().out
    assert "A rubber" in out
    assert "B matrix" in out
    line = next(line for line in out.splitlines() if line.startswith("A rubber"))
    assert float(line.split()[2]) == pytest.approx(100 * share, abs=1.5)
    assert "as if independent" in line
    assert "B shows" in " ".join(out.split())


def test_its_files_and_its_result_hold_the_same_and_make_it_again(blend, tmp_path, capsys):
    path, _ = blend
    table, result = tmp_path / "table.csv", tmp_path / "result.h5"
    assert main(["components", str(path), "--out", str(table), "--result", str(result)]) == 0
    first = capsys.readouterr().out
    rows = list(csv.DictReader(table.open(encoding="utf-8")))
    assert {row["component"] for row in rows} == {"A", "B"}
    rule = tmp_path / "table_rule.json"
    assert Rule.load(rule) == Rule()
    assert json.loads(rule.read_text(encoding="utf-8"))["pixels"]["map"] == 16 * 20
    saved = load_analysis(result).components
    assert set(np.unique(saved.labels)) <= {-1, 0, 1}
    assert main(["components", str(result), "--rule", str(rule)]) == 0
    again = capsys.readouterr().out
    assert again.splitlines()[:12] == first.splitlines()[:12]


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (["--count", "99"], 2, "count"),
        (["--names", "a,a"], 2, "same name"),
        (["--rule", "nowhere.json"], 1, "nowhere.json"),
        (["--set", "fit.law=nonsense"], 2, "nonsense"),
    ],
)
def test_wrong_words_are_refused_with_the_name_of_what_is_wrong(blend, capsys, words, code, said):
    assert main(["components", str(blend[0]), *words]) == code
    assert said in capsys.readouterr().err


def test_a_rule_file_that_is_none_is_named(blend, tmp_path, capsys):
    bad = tmp_path / "bad.json"
    for text in ("", "[1", '{"palpate_rule": 99}', '{"palpate_rule": 1, "method": "magic"}'):
        bad.write_text(text, encoding="utf-8")
        assert main(["components", str(blend[0]), "--rule", str(bad)]) == 1
        assert "bad.json" in capsys.readouterr().err


def test_a_map_without_constants_says_what_to_give(tmp_path, capsys):
    made = simulate_map(np.zeros((4, 4), int), (STIFF,), ramp=Ramp(travel=120.0, samples=120))
    path = tmp_path / "bare.h5"
    write_map(path, **made.arrays(calibrated=False))
    assert main(["components", str(path)]) == 1
    error = capsys.readouterr().err
    assert "bare.h5" in error
    assert "--set calibration" in error
