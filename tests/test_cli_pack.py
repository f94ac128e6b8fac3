"""``palpate pack`` and ``palpate rebuild`` on the command line."""

from __future__ import annotations

import json
from types import SimpleNamespace

import pytest
from pack_case import make_map, make_result

from palpate.core.cli import main

BARE = ["--leave-out", "tables,figures,methods,report,program"]


@pytest.fixture(scope="module")
def case(tmp_path_factory):
    folder = tmp_path_factory.mktemp("paper")
    path = make_map(folder / "rubbers.h5")
    return SimpleNamespace(map=path, result=make_result(path, folder / "result.h5"), folder=folder)


def test_a_result_is_packed_and_made_again(case, capsys, tmp_path):
    out = tmp_path / "for the reviewer.zip"
    assert main(["pack", str(case.result), "--out", str(out), "--author", "Ada Example", "--author",
                 "Bo Example", "--orcid", "none", "--orcid", "0000-0002-1825-0097", "--licence",
                 "CC0-1.0", "--title", "Rubbers", "--leave-out", "report,figures,program"]
                ) == 0  # fmt: skip
    said = capsys.readouterr().out
    assert said.startswith("About ")
    assert "measured map 107 kB" in said
    assert f"palpate rebuild {out}" in said
    assert "safety-critical" in said
    assert main(["rebuild", str(out), "--out", str(tmp_path / "anew")]) == 0
    said = capsys.readouterr().out
    assert said.startswith("Pack: Rubbers (made by palpate ")
    assert "Checksums: all" in said
    assert said.endswith("All numbers that were compared are the same.\n")
    assert (tmp_path / "anew/tables/components.csv").is_file()
    assert main(["pack", str(case.result), "--out", str(out)]) == 1
    assert "is there already" in capsys.readouterr().err
    assert main(["pack", str(case.result), "--out", str(out), "--replace", "--quiet", *BARE]) == 0
    assert capsys.readouterr().out == ""


def test_a_map_is_packed_under_its_settings_and_without_itself(case, capsys, tmp_path):
    out, own = tmp_path / "pack", tmp_path / "ours.txt"
    own.write_text("Ask us.\n", encoding="utf-8")
    assert main(["pack", str(case.map), "--out", str(out), "--without-map", "--set",
                 "baseline.extent=40", "--licence", str(own), "--quiet", "--leave-out",
                 "report,figures,program"]) == 0  # fmt: skip
    assert not (out / "map").exists()
    assert (out / "LICENSE.txt").read_text(encoding="utf-8") == "Ask us.\n"
    root = json.loads((out / "ro-crate-metadata.json").read_text(encoding="utf-8"))["@graph"][1]
    assert root["license"] == {"@id": "LICENSE.txt"}
    assert "extent = 40.0" in (out / "settings.toml").read_text(encoding="utf-8")
    assert main(["rebuild", str(out)]) == 1
    assert "--map FILE" in capsys.readouterr().err
    assert main(["rebuild", str(out), "--map", str(case.map), "--quiet"]) == 0
    assert capsys.readouterr().out == "All numbers that were compared are the same.\n"
    (out / "tables/doubts.csv").unlink()
    assert main(["rebuild", str(out), "--map", str(case.map), "--quiet"]) == 1
    said = capsys.readouterr().out
    assert "NOT THE SAME: tables/doubts.csv is missing." in said
    assert said.endswith("Not all is the same.\n")


@pytest.mark.parametrize(
    ("words", "code", "told"),
    [
        (["--licence", "nonsense"], 2, "CC-BY-4.0"),
        (["--orcid", "0000-0002-1825-0097"], 2, "1 --orcid for 0 --author"),
        (["--author", "A", "--orcid", "0000-0002-1825-0098"], 2, "slip of the pen"),
        (["--map-at", "somewhere"], 2, "https://"),
        (["--leave-out", "map"], 2, "tables, figures"),
        (["--set", "fit.law=cone"], 2, "has its own settings"),
        (["--title", "x" * 400], 2, "Shorten it"),
        (["--source", "nowhere.h5"], 1, "--source nowhere.h5"),
    ],
)
def test_wrong_words_are_refused_before_anything_is_written(case, capsys, tmp_path, words, code,
                                                            told):  # fmt: skip
    assert main(["pack", str(case.result), "--out", str(tmp_path / "p"), *words]) == code
    assert told in capsys.readouterr().err
    assert not list(tmp_path.iterdir())


def test_places_that_can_not_be_are_told(case, capsys, tmp_path):
    (tmp_path / "mine.txt").touch()
    for out in (tmp_path / "no" / "where", tmp_path):
        assert main(["pack", str(case.result), "--out", str(out)]) == 1
        assert str(out) in capsys.readouterr().err
    assert main(["rebuild", str(tmp_path / "no.zip")]) == 1
    assert "no such folder or zip" in capsys.readouterr().err
