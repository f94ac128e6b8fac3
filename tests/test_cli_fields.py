"""``palpate fields``: maps of one scene in, pooled components out; what is lacking is told."""

from __future__ import annotations

import csv
import math

import pytest
from shell_maps import put

from palpate.core.cli import main
from palpate.core.components import Axis, Rule
from palpate.core.simulate import ski_boot

STIFF = 1.4 / (1.0 - 0.40**2)
"""E* of the scene's matrix [GPa], as drawn."""


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    made = tmp_path_factory.mktemp("fields")
    for seed in (1, 2, 3):
        put(made / f"m{seed}.h5", ski_boot(size=14, seed=seed, samples=128))
    put(made / "bare.h5", ski_boot(size=8, seed=4, samples=128), calibrated=False)
    rule = Rule(method="thresholds", axes=(Axis("reduced_modulus", True),), thresholds=(0.5,))
    (made / "rule.json").write_text(rule.to_json(), encoding="utf-8")
    (made / "bad.json").write_text("{}", encoding="utf-8")
    (made / "list.csv").write_text("map,speed\nm1.h5,1\nm2.h5,3\nm3.h5,10\n", encoding="utf-8")
    (made / "short.csv").write_text("m1.h5,1\nm2.h5,3\n", encoding="utf-8")
    (made / "odd.csv").write_text("m1.h5,1\nm2.h5,fast\n", encoding="utf-8")
    return made


def run(folder, words):
    """In the folder's own names."""
    known = (".h5", ".json", ".csv")
    return main(["fields", *(str(folder / w) if w.endswith(known) else w for w in words)])


def rows_of(path):
    lines = path.read_text(encoding="utf-8").splitlines()
    rows = csv.DictReader(line for line in lines if not line.startswith("# "))
    return [row for row in rows if row["quantity"] == "reduced_modulus"]


MAPS = ["m1.h5", "m2.h5", "m3.h5", "--rule", "rule.json"]


def test_fields_pools_components_and_writes_them_with_a_trend(folder, tmp_path, capsys):
    out = tmp_path / "out.csv"
    words = ["--conditions", "list.csv", "--log-condition", "--condition-name", "speed"]
    code = main(["fields", *(str(folder / w) for w in MAPS[:3]), "--rule", str(folder / MAPS[4]),
                 words[0], str(folder / words[1]), *words[2:], "--out", str(out)])  # fmt: skip
    told = " ".join(capsys.readouterr().out.split())
    assert code == 0
    rows = rows_of(out)
    assert [row["condition"] for row in rows[:3]] == ["1.0", "3.0", "10.0"]
    stiff = rows[-1]
    assert float(stiff["value"]) == pytest.approx(STIFF, rel=0.05)
    wide = [math.log(float(stiff[f"high 95 %{w}"]) / float(stiff[f"low 95 %{w}"]))
            for w in ("", " with common")]  # fmt: skip
    common = float(stiff["common (on the scale)"])
    assert wide[1] == pytest.approx(math.hypot(wide[0], 2 * 1.959964 * common), rel=1e-6)
    assert "a unit of ln speed" in told
    assert "the same lever and its calibration and the same tip" in told


def test_fields_of_other_levers_leave_the_lever_out_of_what_is_common(folder, tmp_path):
    found = {}
    for shared in ("lever,tip", "tip", "none"):
        out = tmp_path / "out.csv"
        assert run(folder, [*MAPS[:2], *MAPS[3:], "--shared", shared, "--out", str(out)]) == 0
        found[shared] = float(rows_of(out)[-1]["common (on the scale)"])
    assert found["lever,tip"] > found["tip"] > found["none"] == 0.0


@pytest.mark.parametrize(
    ("words", "code", "sentence"),
    [
        (["m1.h5"], 2, "only one map"),
        (["m1.h5", "m1.h5"], 2, "given twice"),
        (["m1.h5", "m2.h5", "--shared", "egg"], 2, "--shared egg"),
        (["m1.h5", "m2.h5", "--condition", "1"], 2, "1 values for 2 maps"),
        (["m1.h5", "m2.h5", "--condition", "0", "1", "--log-condition"], 2, "above zero"),
        (["m1.h5", "m2.h5", "--log-condition"], 2, "needs --condition"),
        (["m1.h5", "m2.h5", "--out", "m1.h5"], 2, "one of the maps"),
        (["m1.h5", "none.h5"], 1, "none.h5"),
        (["m1.h5", "m2.h5", "--rule", "bad.json"], 1, "bad.json"),
        (["m1.h5", "m2.h5", "m3.h5", "--conditions", "short.csv"], 1, "no condition of m3.h5"),
        (["m1.h5", "m2.h5", "--conditions", "odd.csv"], 1, "odd.csv, line 2"),
        (["m1.h5", "m2.h5", "--conditions", "gone.csv"], 1, "gone.csv"),
        (["bare.h5", "m1.h5"], 1, "bare.h5: "),
    ],
)
def test_fields_says_what_it_lacks(folder, capsys, words, code, sentence):
    before = (folder / "m1.h5").read_bytes()
    assert run(folder, words) == code
    told = capsys.readouterr().err
    assert told.splitlines()[-1].lstrip("\r").startswith("palpate: ")
    assert sentence in told
    assert (folder / "m1.h5").read_bytes() == before
