"""``palpate figure``: sheets by recipes, their checks, and the numbers behind them."""

from __future__ import annotations

import json
import os
from pathlib import Path

import pytest
from figure_maps import SHEETS, found_in, saved_result, written_map

from palpate.core.cli import main
from palpate.core.figures import first_sheet
from palpate.core.sheets import read_recipes


@pytest.fixture(scope="module")
def result(tmp_path_factory):
    folder = tmp_path_factory.mktemp("maps")
    findings = found_in(written_map(folder))
    path = saved_result(folder, findings)
    sheet = first_sheet(findings)
    findings.map.close()
    return path, sheet


def test_recipes_and_presets_are_listed_without_analysing(result, capsys):
    assert main(["figure", str(result[0]), "--list"]) == 0
    out = capsys.readouterr().out
    for sheet in SHEETS:
        assert sheet.name in out
    assert "Presets for --preset:" in out


def test_every_recipe_is_drawn_into_files_of_its_name(result, tmp_path, capsys):
    out = tmp_path / "fig.pdf"
    code = main(["figure", str(result[0]), "--recipe", "all", "--out", str(out), "--data",
                 str(tmp_path / "data"), "--save-recipe", str(tmp_path / "r.json")])  # fmt: skip
    said = capsys.readouterr().out
    assert code == 0, said
    for sign, sheet in zip(("moduli-and-curves", "figure-2"), SHEETS, strict=True):
        assert (tmp_path / f"fig-{sign}.pdf").read_bytes()[:5] == b"%PDF-"
        assert read_recipes(tmp_path / f"r-{sign}.json") == (sheet,)
        assert (tmp_path / "data" / sign / "datapackage.json").is_file()
    assert "Caption: a, map of Young modulus" in said
    assert "force against separation" in said


def test_a_first_sheet_holds_what_there_is(result, tmp_path, capsys):
    path, sheet = result
    kinds = [panel.kind for panel in sheet.panels]
    assert kinds == ["map", "map", "map", "components", "curve", "histogram", "joint", "profile",
                     "table"]  # fmt: skip
    recipe, png = tmp_path / "first.json", tmp_path / "first.png"
    assert main(["figure", str(path), "--out", str(png), "--save-recipe", str(recipe), "--width",
                 "120", "--preset", "nature", "--quiet"]) == 0  # fmt: skip
    (saved,) = read_recipes(recipe)
    assert (saved.width, saved.preset) == (120.0, "nature")
    assert [panel.kind for panel in saved.panels] == kinds
    from PIL import Image

    with Image.open(png) as picture:
        wide = picture.width / picture.info["dpi"][0] * 25.4
    assert wide == pytest.approx(120.0, abs=0.1)
    again = ["figure", str(path.with_name("two.h5")), "--recipe", str(recipe), "--out", str(png)]
    assert main(again) == 1  # it is there
    assert "--replace" in capsys.readouterr().err
    data = tmp_path / "data"
    data.mkdir()
    (data / "notes.txt").write_text("mine", encoding="utf-8")
    other = ["figure", str(path), "--out", str(tmp_path / "other.pdf"), "--data", str(data)]
    assert main([*other, "--replace", "--quiet"]) == 1
    assert not (tmp_path / "other.pdf").exists()  # refused before anything is written
    capsys.readouterr()
    # the map alone has no profile: the panel says so, the others are drawn, and the code tells
    assert main([*again, "--replace", "--quiet"]) == 1
    assert "This analysis has no profile" in " ".join(capsys.readouterr().out.split())


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        ([], 2, "--out FILE"),
        (["--out", "x.doc"], 2, ".doc"),
        (["--out", "nowhere/x.pdf"], 1, "nowhere"),
        (["--out", "x.pdf", "--recipe", "Nonsense"], 1, "there is none called “Nonsense”"),
        (["--out", "x.pdf", "--recipe", "missing.json"], 1, "missing.json"),
        (["--out", "x.pdf", "--recipe", "all", "Figure 2"], 2, "takes every recipe"),
        (["--out", "x.pdf", "--preset", "nonsense"], 2, "nonsense"),
        (["--out", "x.pdf", "--width", "wide"], 2, "--width wide"),
        (["--out", "x.pdf", "--width", "3"], 2, "--width 3"),
        (["--out", "x.pdf", "--source", "nowhere"], 1, "no such file or folder"),
        (["--out", "x.pdf", "--set", "fit.law=cone"], 2, "has its own settings"),
    ],
)
def test_wrong_words_are_refused_and_nothing_is_written(result, tmp_path, monkeypatch, capsys,
                                                        words, code, said):  # fmt: skip
    monkeypatch.chdir(tmp_path)
    assert main(["figure", str(result[0]), "--quiet", *words]) == code
    assert said in capsys.readouterr().err
    assert list(Path(tmp_path).iterdir()) == []


def test_the_map_of_a_result_is_never_written_over(result, tmp_path, capsys):
    measured = result[0].with_name("two.h5")
    before = measured.read_bytes()
    linked = tmp_path / "same.json"
    os.link(measured, linked)  # another name of the map
    for name, said in ((measured, "must end in .json"), (linked, "is a file that is read")):
        words = ["figure", str(result[0]), "--save-recipe", str(name), "--replace", "--quiet"]
        assert main(words) == 2
        assert said in capsys.readouterr().err
    assert measured.read_bytes() == before


def test_a_recipe_of_a_file_is_judged_before_the_map_is_read(result, tmp_path, capsys):
    bad = tmp_path / "bad.json"
    bad.write_text(json.dumps({"palpate_sheet": 1, "panels": [{"kind": "magic"}]}),
                   encoding="utf-8")  # fmt: skip
    words = ["figure", str(tmp_path / "nowhere.h5"), "--recipe", str(bad), "--out",
             str(tmp_path / "x.pdf")]  # fmt: skip
    assert main(words) == 1
    assert "bad.json" in capsys.readouterr().err
