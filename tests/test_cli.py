"""The command line does the main job without a window, and its exit codes are honest."""

from __future__ import annotations

import shutil

import h5py
import numpy as np
import pytest
from shell_maps import put

from palpate.core.cli import main
from palpate.core.simulate import door_seal, ski_boot
from palpate.core.workfile import load_analysis


@pytest.fixture(scope="module")
def maps(tmp_path_factory):
    folder = tmp_path_factory.mktemp("maps")
    put(folder / "a.h5", ski_boot(size=8, samples=128))
    put(folder / "b.h5", door_seal(size=6, samples=128), calibrated=False)
    (folder / "not.h5").write_text("I am not a map")
    return folder


def test_analyse_writes_a_result_that_opens_again(maps, tmp_path, capsys):
    assert main(["analyse", str(maps / "a.h5"), "--out", str(tmp_path), "--set", "fit.law=cone",
                 "--set", "tip.half_angle=18"]) == 0  # fmt: skip
    out = capsys.readouterr().out
    assert "Young modulus" in out
    loaded = load_analysis(tmp_path / "a.analysis.h5")
    assert loaded.settings.fit.law == "cone"
    assert np.isfinite(loaded.channels["modulus"].values).any()
    with h5py.File(tmp_path / "a.analysis.h5") as file:
        used = file["entry/process_1/constants"]
        assert used["half_angle"][()] == pytest.approx(np.radians(18.0))
        assert used["half_angle"].attrs["origin"] == "set here"
        assert used["spring_constant"][()] == 2.5
        assert used["spring_constant"].attrs["origin"] == "recorded"


def test_settings_come_from_a_file(maps, tmp_path):
    (tmp_path / "s.toml").write_text("palpate_settings = 1\n[fit]\nfraction_from = 30\n")
    out = tmp_path / "r.h5"
    assert main(["analyse", str(maps / "a.h5"), "--settings", str(tmp_path / "s.toml"), "--out",
                 str(out), "--quiet"]) == 0  # fmt: skip
    assert load_analysis(out).settings.fit.fraction_from == 30


def test_pictures_are_written(maps, tmp_path):
    assert main(["analyse", str(maps / "a.h5"), "--out", str(tmp_path), "--pictures"]) == 0
    pictures = sorted(p.name for p in (tmp_path / "a.analysis.pictures").iterdir())
    assert "modulus.png" in pictures
    assert "height.png" in pictures


def test_one_bad_map_does_not_stop_the_others_but_is_told(maps, tmp_path, capsys):
    code = main(["analyse", str(maps / "not.h5"), str(maps / "a.h5"), "--out", str(tmp_path)])
    assert code == 1
    told = capsys.readouterr().err
    assert "not.h5" in told
    assert "1 of 2" in told
    assert (tmp_path / "a.analysis.h5").exists()


@pytest.mark.parametrize(
    "words",
    [
        ["analyse", "{maps}/none.h5"],
        ["analyse", "{maps}/a.h5", "--thickness", "{maps}/none.csv"],
        ["analyse", "{maps}/a.h5", "--settings", "{maps}/none.toml"],
        ["analyse", "{maps}/a.h5", "{maps}/b.h5", "--out", "{maps}/one.h5"],
        ["analyse", "{maps}/a.h5", "{maps}/./a.h5"],
        ["analyse", "{maps}/a.h5", "--out", "{maps}/a.h5"],
        ["info", "{maps}/not.h5"],
        ["simulate", "{maps}/s.h5", "--size", "2"],
    ],
)
def test_what_the_user_can_mend_is_exit_code_1_and_a_sentence(maps, words, capsys):
    before = (maps / "a.h5").read_bytes()
    assert main([w.format(maps=maps) for w in words]) == 1
    told = capsys.readouterr().err
    assert told.startswith("palpate: ")
    assert "Traceback" not in told
    assert (maps / "a.h5").read_bytes() == before


def test_a_wrong_command_line_is_exit_code_2(maps):
    with pytest.raises(SystemExit) as caught:
        main(["analyse"])
    assert caught.value.code == 2


def test_missing_calibration_is_told_with_the_repair(maps, tmp_path, capsys):
    assert main(["analyse", str(maps / "b.h5"), "--out", str(tmp_path)]) == 1
    assert (tmp_path / "b.analysis.h5").exists()
    told = capsys.readouterr().err
    for name in ("calibration.spring_constant", "calibration.deflection_sensitivity", "tip.radius"):
        assert f"--set {name}=VALUE" in told


def test_info_says_what_is_there_and_what_is_missing(maps, capsys):
    assert main(["info", str(maps / "a.h5")]) == 0
    assert "8 x 8" in capsys.readouterr().out
    assert main(["info", str(maps / "b.h5")]) == 0
    assert "missing: No spring constant" in capsys.readouterr().out


def test_simulate_makes_a_map_that_can_be_analysed(tmp_path):
    out = tmp_path / "s.h5"
    assert main(["simulate", str(out), "--size", "6", "--samples", "128"]) == 0
    assert (tmp_path / "s.truth.h5").exists()
    assert main(["analyse", str(out), "--quiet"]) == 0
    assert (tmp_path / "s.analysis.h5").exists()


def test_names_with_spaces_and_other_scripts(maps, tmp_path):
    odd = tmp_path / "Öl 中文 🙂.h5"
    shutil.copy(maps / "a.h5", odd)
    assert main(["analyse", str(odd), "--quiet"]) == 0
    assert (tmp_path / "Öl 中文 🙂.analysis.h5").exists()
