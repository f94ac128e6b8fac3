"""What ``palpate analyse`` says of a result: what made it, and what the advice finds wrong."""

from __future__ import annotations

import numpy as np
import pytest
from shell_maps import put

from palpate.core import Settings, analyse, open_map
from palpate.core.advice import advise
from palpate.core.cli import main
from palpate.core.simulate import door_seal, ski_boot
from palpate.core.units import text_of


@pytest.fixture(scope="module")
def maps(tmp_path_factory):
    folder = tmp_path_factory.mktemp("maps")
    put(folder / "a.h5", ski_boot(size=16, samples=384))
    put(folder / "b.h5", door_seal(size=6, samples=128), calibrated=False)
    np.save(folder / "thick.npy", np.full((16, 16), 150.0))
    return folder


def run(maps, tmp_path, capsys, *words, name="a.h5", code=0):
    assert main(["analyse", str(maps / name), "--out", str(tmp_path), *words]) == code
    return capsys.readouterr()


def test_the_table_is_followed_by_the_advice_and_every_check_that_is_not_well(
    maps, tmp_path, capsys
):
    told = run(maps, tmp_path, capsys).out
    with open_map(maps / "a.h5") as fmap:
        advice = advise(analyse(fmap, Settings()))
    joined = " ".join(told.split())
    assert f"Advice: {advice.sentence}" in joined
    assert all(len(line) <= 100 for line in told.partition("Advice")[2].splitlines()[1:-1])
    lines = [line.strip() for line in told.splitlines()]
    bad = [check for check in advice.checks if check.verdict in ("broken", "strained")]
    assert bad, "the map must strain the law, else nothing is tested here"
    for check in advice.checks:
        if check in bad:
            assert check.sentence in joined
            assert any(x.startswith(check.verdict) and check.label in x for x in lines)
            assert f"(limit: {check.limit}" in joined
        else:
            assert check.sentence not in joined.replace(advice.sentence, "")
    heads = [line for line in told.splitlines() if line.startswith(("  broken ", "  strained "))]
    assert len(heads) == len(bad)
    broken = [line.startswith("  broken") for line in heads]
    assert broken == sorted(broken, reverse=True), "the worse ones come first"
    width = advice.check("lambda")
    assert f"λ = {text_of(width.value, '', width.error)} (limit: {width.limit}; " in joined
    low, high = width.quartiles
    assert f"; middle half of the curves {low:.3g} to {high:.3g})" in joined


def test_quiet_says_nothing_of_it(maps, tmp_path, capsys):
    told = run(maps, tmp_path, capsys, "--quiet", "--pictures")
    assert told.out == ""
    assert told.err == ""


def test_a_map_without_a_sound_pixel_gets_no_advice_but_a_reason(maps, tmp_path, capsys):
    told = run(maps, tmp_path, capsys, name="b.h5", code=1)
    assert "nothing to judge the law by" in told.out


@pytest.mark.parametrize(
    ("words", "line"),
    [
        ([], "Law: paraboloid; adhesion: constant pull (DMT); pull-off as measured; Poisson "
             "ratio 0.4 (assumed)"),
        (["fit.adhesion=jkr", "fit.pull_off=fitted", "sample.poisson_ratio=0.5"],
         "Law: paraboloid; adhesion: JKR; pull-off fitted; Poisson ratio 0.5 (assumed)"),
        (["fit.law=cone", "tip.half_angle=18", "fit.adhesion=none"],
         "Law: cone; adhesion: none; Poisson ratio 0.4 (assumed)"),
        (["layer.base=bonded", "layer.thickness=300"],
         "Law: paraboloid; adhesion: constant pull (DMT); pull-off as measured; layer bonded, "
         "300 nm thick; Poisson ratio 0.4 (assumed)"),
    ],
)  # fmt: skip
def test_one_line_says_what_the_numbers_were_made_with(maps, tmp_path, capsys, words, line):
    told = run(maps, tmp_path, capsys, *(x for word in words for x in ("--set", word)))
    assert line in told.out.splitlines()


def test_a_thickness_that_nobody_gave_is_said_to_be_the_default(maps, tmp_path, capsys):
    layer = ["--set", "layer.base=bonded"]
    assert "is the default, 200 nm, and not measured" in run(maps, tmp_path, capsys, *layer).err
    for given in (["--set", "layer.thickness=200"], ["--set", "layer.thickness=180"],
                  ["--thickness", str(maps / "thick.npy")]):  # fmt: skip
        assert "not measured" not in run(maps, tmp_path, capsys, *layer, *given).err
    assert "not measured" not in run(maps, tmp_path, capsys).err


def test_two_point_jkr_that_fails_on_many_curves_names_the_setting_that_helps(
    maps, tmp_path, capsys
):
    two = run(maps, tmp_path, capsys, "--set", "fit.adhesion=two_point").out
    assert "Hint: in " in two
    assert "--set fit.adhesion=maugis" in " ".join(two.split())
    other = run(maps, tmp_path, capsys, "--set", "fit.adhesion=maugis").out
    assert "Hint" not in other
    lost, kept = (int(x.partition(" pixels without a severe")[0].split()[-1]) for x in (two, other))
    assert kept > 1.5 * lost, "the hint must be true"


def test_a_missing_file_of_thicknesses_is_named_with_the_repair(maps, tmp_path, capsys):
    told = run(maps, tmp_path, capsys, "--thickness", str(maps / "none.npy"), code=1).err
    assert f"{maps / 'none.npy'}: there is no such file. Check the name" in told
    told = run(maps, tmp_path, capsys, "--thickness", str(maps), code=1).err
    assert f"{maps}: this is a folder" in told
