"""The numbers that leave with a figure: tables, their description, and the script that draws it
again."""

from __future__ import annotations

import csv
import hashlib
import json
import math
import os
import runpy
import subprocess
import sys
from dataclasses import replace

import numpy as np
import pytest
from figure_maps import SHEETS, found_in, saved_result, written_map

from palpate.core.errors import ReadError, SettingsError, WriteError
from palpate.core.figures import draw_sheet
from palpate.core.figures.data import columns_of, differences, slug, write_data
from palpate.core.figures.parts import DataTable
from palpate.core.figures.script import opened_for_figure
from palpate.core.sheets import read_recipes


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """The folder, the findings with their result saved, and the first sheet drawn."""
    folder = tmp_path_factory.mktemp("figure")
    findings = found_in(written_map(folder))
    findings = replace(findings, result=saved_result(folder, findings))
    yield folder, findings, draw_sheet(SHEETS[0], findings)
    findings.map.close()


@pytest.fixture(scope="module")
def written(made):
    folder, findings, drawn = made
    return write_data(folder / "data", drawn, findings)


def test_each_table_is_a_file_that_the_package_describes(made, written):
    folder, _, drawn = made
    data = folder / "data"
    package = json.loads((data / "datapackage.json").read_text(encoding="utf-8"))
    assert package["$schema"] == "https://datapackage.org/profiles/2.0/datapackage.json"
    assert package["description"] == drawn.caption
    count = sum(len(panel.tables) for panel in drawn.panels)
    tables = [one for one in package["resources"] if one.get("type") == "table"]
    assert len(tables) == count >= 12
    assert {p.name for p in data.iterdir()} == {"datapackage.json"} | {
        one["path"] for one in package["resources"]}  # fmt: skip
    for resource in package["resources"]:
        raw = (data / resource["path"]).read_bytes()
        assert len(raw) == resource["bytes"]
        assert resource["hash"] == f"sha256:{hashlib.sha256(raw).hexdigest()}"
        assert resource["description"]
    for resource in tables:
        raw = (data / resource["path"]).read_bytes()
        head, *rows = csv.reader(raw.decode("utf-8").splitlines())
        fields = resource["schema"]["fields"]
        assert head == [field["name"] for field in fields]
        assert len(set(head)) == len(head)
        for row in rows:
            for field, cell in zip(fields, row, strict=True):
                if cell in resource["schema"]["missingValues"]:
                    continue
                assert cell != "NaN"
                if field["type"] == "number":
                    assert math.isfinite(float(cell))
                elif field["type"] == "integer":
                    assert str(int(cell)) == cell
    assert "created" not in package
    units = {f["name"]: f.get("unit") for f in tables[0]["schema"]["fields"]}
    assert units["x"] == "nm"
    assert units["modulus"] == "GPa"


def test_the_map_behind_the_figure_is_the_analysis(made, written):
    folder, findings, _ = made
    with (folder / "data" / "a_map_modulus.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    values = np.full(findings.map.shape, np.nan)
    for row in rows:
        if row["modulus"] != "nan":
            values[int(row["row"]), int(row["column"])] = float(row["modulus"])
    assert np.allclose(values, findings.analysis.channel("modulus"), rtol=1e-8, equal_nan=True)
    left_out = {(int(r["row"]), int(r["column"])) for r in rows if r["state"] == "left out"}
    assert {(3, 4), (12, 20)} <= left_out


def test_settings_recipe_source_and_caption_lie_beside(made, written):
    folder, findings, drawn = made
    data = folder / "data"
    assert read_recipes(data / "recipe.json") == (drawn.sheet,)
    settings = json.loads((data / "settings.json").read_text(encoding="utf-8"))
    assert type(findings.analysis.settings).from_dict(settings) == findings.analysis.settings
    source = json.loads((data / "source.json").read_text(encoding="utf-8"))
    raw = (folder / "two.h5").read_bytes()
    assert source["map"]["sha256"] == hashlib.sha256(raw).hexdigest()
    assert source["map"]["uuid"] == findings.map.uuid
    assert source["decisions sha256"] == findings.analysis.review.checksum
    assert (data / "caption.txt").read_text(encoding="utf-8").strip() == drawn.caption
    said = "".join(path.read_text(encoding="utf-8") for path in written)
    assert str(folder) not in said  # no path of this computer leaves with it


def test_two_runs_write_the_same_bytes(made, written, tmp_path):
    folder, findings, drawn = made
    again = write_data(folder / "again", draw_sheet(drawn.sheet, findings), findings)
    assert [p.name for p in again] == [p.name for p in written]
    for one, other in zip(written, again, strict=True):
        assert one.read_bytes() == other.read_bytes(), one.name


def test_files_that_are_there_are_replaced_only_if_asked(made, written, tmp_path):
    folder, findings, drawn = made
    with pytest.raises(WriteError) as caught:
        write_data(folder / "data", drawn, findings, replace_existing=False)
    assert "is there already" in str(caught.value)
    own = tmp_path / "own"
    own.mkdir()
    (own / "notes.txt").write_text("mine", encoding="utf-8")
    with pytest.raises(WriteError) as caught:  # nobody's files are taken away
        write_data(own, drawn, findings)
    assert "other files" in str(caught.value)
    assert [p.name for p in own.iterdir()] == ["notes.txt"]
    (tmp_path / "file").write_text("x", encoding="utf-8")
    with pytest.raises(WriteError) as caught:
        write_data(tmp_path / "file" / "data", drawn, findings)
    assert "Choose another folder" in str(caught.value)


# ---- drawing it again


def test_the_script_draws_the_same_figure_in_a_process_of_its_own(made, written):
    folder, _, _ = made
    script = folder / "data" / "redraw.py"
    done = subprocess.run([sys.executable, str(script), "--out", "again.svg"], cwd=folder,
                          capture_output=True, text=True, check=False, timeout=300,
                          env=dict(os.environ, MPLCONFIGDIR=str(folder)))  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert "All numbers are those of the CSV files." in done.stdout
    assert (folder / "again.svg").stat().st_size > 10_000


def test_the_script_fails_where_a_number_is_another_one(made, monkeypatch, capsys):
    folder, findings, drawn = made
    write_data(folder / "changed", drawn, findings)
    table = folder / "changed" / "c_histogram_modulus.csv"
    lines = table.read_text(encoding="utf-8").splitlines()
    cells = lines[1].split(",")
    lines[1] = ",".join([*cells[:2], str(int(cells[2]) + 1), *cells[3:]])
    table.write_text("\r\n".join(lines) + "\r\n", encoding="utf-8")
    out = folder / "changed.png"
    monkeypatch.setattr(sys, "argv", ["redraw.py", "--out", str(out)])
    with pytest.raises(SystemExit) as ended:
        runpy.run_path(str(folder / "changed" / "redraw.py"), run_name="__main__")
    assert ended.value.code == 1
    assert "c_histogram_modulus.csv: pixels differs in 1 of" in capsys.readouterr().out
    drawn_first = out.read_bytes()
    with pytest.raises(SystemExit) as ended:  # a picture that is there is not replaced unasked
        runpy.run_path(str(folder / "changed" / "redraw.py"), run_name="__main__")
    assert "changed.png is there already" in str(ended.value.code)
    assert out.read_bytes() == drawn_first
    there = sorted(folder.rglob("*"))
    monkeypatch.setattr(sys, "argv", ["redraw.py"])
    with pytest.raises(SystemExit) as ended:  # without --out nothing is written
        runpy.run_path(str(folder / "changed" / "redraw.py"), run_name="__main__")
    assert ended.value.code == 1
    assert sorted(folder.rglob("*")) == there
    monkeypatch.setattr(sys, "argv", ["redraw.py", str(folder / "nowhere.h5")])
    with pytest.raises(SystemExit) as ended:
        runpy.run_path(str(folder / "changed" / "redraw.py"), run_name="__main__")
    assert "nowhere.h5" in str(ended.value.code)


def test_the_map_alone_is_enough_with_the_work_beside_it(made, written):
    folder, _, drawn = made
    with opened_for_figure(folder / "two.h5", folder / "data" / "work.json") as findings:
        again = draw_sheet(drawn.sheet, findings)
        assert findings.analysis.review.left_out.count == 2
        assert differences(folder / "data", again) == []


@pytest.mark.parametrize("text", ["", "[]", '{"palpate_work": 9}', '{"palpate_work": 1, "x": 2}',
                                  '{"palpate_work": 1, "review": 5}'])  # fmt: skip
def test_damaged_work_beside_a_figure_is_refused(made, tmp_path, text):
    path = tmp_path / "work.json"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(SettingsError), opened_for_figure(made[0] / "two.h5", path):
        pass


def test_a_panel_that_never_could_be_drawn_is_no_difference(made, tmp_path):
    _, findings, drawn = made
    bare = replace(findings, work=replace(findings.work, places=None))
    without = draw_sheet(drawn.sheet, bare)
    write_data(tmp_path, without, bare)
    package = json.loads((tmp_path / "datapackage.json").read_text(encoding="utf-8"))
    assert "no profile" in package["not_drawn"][0]
    assert differences(tmp_path, without) == []
    (tmp_path / "datapackage.json").write_text("[]", encoding="utf-8")
    assert "could not be drawn" in differences(tmp_path, without)[0]


def test_differences_tell_what_is_missing_and_what_has_another_shape(made, tmp_path):
    _, findings, _ = made
    drawn = draw_sheet(SHEETS[1], findings)
    paths = {path.name: path for path in write_data(tmp_path, drawn, findings)}
    paths["panel1_law.csv"].unlink()
    approach = paths["panel1_approach.csv"]
    lines = approach.read_text(encoding="utf-8").splitlines()
    approach.write_text("\n".join(lines[:-1]), encoding="utf-8")
    retract = paths["panel1_retract.csv"]
    text = retract.read_text(encoding="utf-8")
    retract.write_text(text.replace("force", "pull", 1), encoding="utf-8")
    said = differences(tmp_path, drawn)
    assert [words.partition(":")[0].partition(" is")[0] for words in said] == [
        "panel1_approach.csv", "panel1_retract.csv", "panel1_law.csv"]  # fmt: skip
    assert "159 rows and not 160" in said[0]
    assert "other columns" in said[1]
    assert said[2] == "panel1_law.csv is not there."


# ---- small parts


def test_columns_have_types_and_equal_lengths():
    values = np.array([1.0, math.nan]), np.array([1, 2]), ["a", ""], np.array([True, False])
    heads = tuple((name, "", "") for name in "abcd")
    types = [one.type for one in columns_of(DataTable("odd", heads, values))]
    assert types == ["number", "integer", "string", "boolean"]
    assert slug("Moduli & Überblick: 1") == "moduli_berblick_1"
    with pytest.raises(ValueError, match="do not fit"):
        columns_of(DataTable("odd", heads[:2], ([1.0], [1.0, 2.0])))


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "no JSON text"),
        ("[" * 100_000, "no JSON text"),
        ("{}", "does not begin with palpate_sheet"),
        ('{"palpate_sheet": 99}', "newer"),
        ('{"palpate_sheet": 1, "panels": [{"kind": "magic"}]}', "no kind of panel"),
        ('{"palpate_sheet": 1, "panels": [{"kind": "curve", "options": {"which": "nicest"}}]}',
         "which"),
        ('{"palpate_sheet": 1, "panels": [{"kind": "map", "row": 1e99}]}', "grid"),
        ('{"palpate_sheet": 1, "name": 5}', "name"),
        ('{"palpate_sheet": 1, "height": NaN}', "height"),
        ('{"palpate_sheet": 1, "script": "x"}', "script"),
    ],
)  # fmt: skip
def test_a_damaged_or_hostile_recipe_is_refused_with_its_name(tmp_path, text, said):
    path = tmp_path / "bad.json"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(ReadError) as caught:
        read_recipes(path)
    assert said in str(caught.value)
    assert "bad.json" in str(caught.value)


def test_a_name_of_a_sheet_cannot_break_the_script(made, tmp_path):
    _, findings, _ = made
    for at, name in enumerate(('"""; import os #', "{title} \\ %s", "a\u2028b 'x'")):
        sheet = replace(SHEETS[1], name=name)
        drawn = replace(draw_sheet(SHEETS[1], findings), sheet=sheet)
        write_data(tmp_path / str(at), drawn, findings)
        source = (tmp_path / str(at) / "redraw.py").read_text(encoding="utf-8")
        compile(source, "redraw.py", "exec")
        assert "import os" not in source.partition('"""\n\nimport argparse')[2]
