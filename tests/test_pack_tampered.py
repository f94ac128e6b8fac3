"""A pack that somebody changed on purpose, checksums and all: found, or named as not compared.

Each change is made by hand here (`h5py`, `json`, plain texts), none by the program.
"""

from __future__ import annotations

import ast
import hashlib
import json
import platform
import shutil
import zipfile
from importlib import metadata
from pathlib import Path
from types import SimpleNamespace

import h5py
import numpy as np
import pytest
from pack_case import ACTS, make_map, make_result, replaced

from palpate.core.findings import opened_findings
from palpate.core.pack import environment, program, rebuild, write_pack
from palpate.core.progress import Progress
from palpate.core.workfile import load_analysis

DATA = "figures/Figure_1/data"


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    """A pack with all parts but the heavy ones that are not compared."""
    from palpate.core.pack import Wish

    home = tmp_path_factory.mktemp("tampered")
    result = make_result(make_map(home / "two rubbers.h5"), home / "result.h5")
    with opened_findings(result) as findings:
        write_pack(home / "pack", findings, Wish(left_out=("program", "report")), acts=ACTS)
    return home / "pack"


def sealed_anew(pack):
    """All checksums written anew, as somebody would who changes files on purpose."""
    listed = pack / "CHECKSUMS.sha256"
    names = [line.split("  ", 1)[1] for line in listed.read_text(encoding="utf-8").splitlines()]
    there = [name for name in names if (pack / name).is_file()]
    listed.write_text("".join(f"{hashlib.sha256((pack / name).read_bytes()).hexdigest()}  {name}\n"
                              for name in there), encoding="utf-8")  # fmt: skip


def text(name, old, new):
    return lambda pack: replaced(old, new)(pack / name)


def result(change):
    def edit(pack):
        with h5py.File(pack / "result.h5", "r+") as file:
            change(file["entry"])

    return edit


def described(pack, change):
    path = pack / "pack.json"
    data = json.loads(path.read_text(encoding="utf-8"))
    change(data)
    path.write_text(json.dumps(data), encoding="utf-8")


def hidden_settings(pack):
    replaced("poisson_ratio = ", "poisson_ratio = 0.1 # ")(pack / "settings.toml")

    def hide(data):
        data["parts"].remove("settings")
        data["again"].remove("settings.toml")

    described(pack, hide)


def hidden_json(pack):
    (pack / DATA / "recipe.json").write_text("{}", encoding="utf-8")
    described(pack, lambda data: data.update(again=[], parts=[]))


def another_map(pack):
    described(pack, lambda data: data["map"].update(sha256="0" * 64))


def first_line(pack):
    path = pack / "tables/components.csv"
    path.write_text("# All numbers are in MPa\n" + path.read_text(encoding="utf-8"),
                    encoding="utf-8")  # fmt: skip


def row_away(pack):
    path = pack / DATA / "a_map_modulus.csv"
    lines = path.read_text(encoding="utf-8").splitlines()
    path.write_text("\n".join([*lines[:6], f"#{lines[6]}", *lines[7:], ""]), encoding="utf-8")


def no_errors(entry):
    del entry["maps/stiffness_errors"]


def twice(entry):
    entry["maps/modulus_errors"][...] *= 2.0


def memberships(entry):
    values = entry["components/membership"][()]
    assert np.isnan(values).sum() == 4
    values[np.isnan(values)] = np.inf
    values[3, 3] = 0.5
    entry["components/membership"][...] = values


def pairs(entry):
    rows = json.loads(entry["components/pairs"][()])
    at = next(k for k, value in enumerate(rows[1]) if isinstance(value, float))
    rows[1][at] *= 1.001
    del entry["components/pairs"]
    entry["components/pairs"] = json.dumps(rows)


def names(entry):
    entry["components/names"][...] = ["soft", "stiff"]


def spring(entry):
    entry["process_1/constants/spring_constant"][...] = 99.0


def long_name(entry):
    entry["maps/modulus"].attrs["long_name"] = "Young modulus (kPa)"


def unit(entry):
    entry["process_1/constants/radius"].attrs["units"] = "mm"


def added(entry):
    entry["maps"]["modulus_of_ours"] = np.ones((12, 14))


FOUND = {
    "unit in a description": (text(f"{DATA}/datapackage.json", '"GPa"', '"MPa"'), "GPa"),
    "description of tables": (text("tables/datapackage.json", '"integer"', '"number"'),
                              "tables/datapackage.json"),
    "caption": (text(f"{DATA}/caption.txt", "98th", "89th"), "caption.txt: line 1"),
    "methods": (text("methods/methods.txt", "2 N/m", "3 N/m"), "methods.txt: line 1"),
    "methods as a table": (text("methods/methods.csv", "2 N/m", "3 N/m"), "methods.csv: line"),
    "references": (text("methods/references.bib", "1882", "1883"), "references.bib: line"),
    "script of a figure": (lambda pack: (pack / DATA / "redraw.py").write_text("print('all well')"),
                           "redraw.py: line 1"),
    "script of the pack": (text("rebuild.py", "return 1 if wrong", "return 0 if wrong"),
                           "rebuild.py: line"),
    "work of a figure": (text(f"{DATA}/work.json", '"dust"', '"other"'), "work.json"),
    "source of a figure": (text(f"{DATA}/source.json", '"rows": 12', '"rows": 13'), "source.json"),
    "settings hidden": (hidden_settings, "settings.toml: line"),
    "figure hidden": (hidden_json, "recipe.json"),
    "first line of a table": (first_line, "it begins with “# All numbers are in MPa”"),
    "row of a table": (row_away, "a_map_modulus.csv"),
    "map's checksum": (another_map, "is not the one that pack.json names"),
    "no ±": (result(no_errors), "entry/maps/stiffness_errors: it is missing"),
    "other ±": (result(twice), "the ± of Young modulus in"),
    "pairs": (result(pairs), "entry/components/pairs: 1 entry differs"),
    "memberships": (result(memberships), "membership: 5 of 168 values differ"),
    "names": (result(names), "entry/components/names"),
    "constant": (result(spring), "spring_constant: it is 99.0, made anew 2.0"),
    "label": (result(long_name), "made anew Young modulus (Pa)"),
    "unit": (result(unit), "constants/radius@units: it is mm, made anew m"),
    "added": (result(added), "entry/maps/modulus_of_ours: it is not made anew"),
}  # fmt: skip


HIDDEN = ("settings hidden", "figure hidden", "row of a table", "map's checksum")
IN_RESULT = tuple(name for name, (change, _) in FOUND.items() if change.__name__ == "edit")
IN_FILES = tuple(name for name in FOUND if name not in (*HIDDEN, *IN_RESULT))
EACH = {name: told for name, (_, told) in FOUND.items()}


@pytest.mark.parametrize("names", [HIDDEN, IN_RESULT, IN_FILES], ids=["hidden", "result", "files"])
def test_changes_whose_checksums_were_written_anew_are_found_each(whole, tmp_path, names):
    """Many at once, since making a pack anew takes a second; each has to be told by itself."""
    pack = shutil.copytree(whole, tmp_path / "pack")
    for name in names:
        FOUND[name][0](pack)
    sealed_anew(pack)
    said = rebuild(pack).wrong
    assert [name for name in names if not any(EACH[name] in words for words in said)] == []
    assert not any("SHA-256 differs" in words for words in said)


def test_what_can_not_be_proved_is_named(whole, tmp_path):
    """Reports and pictures hold dates and typefaces; nobody may think that they were looked at."""
    pack = shutil.copytree(whole, tmp_path / "pack")
    (pack / "report").mkdir()
    (pack / "report/report.html").write_text("All moduli are in MPa.", encoding="utf-8")
    (pack / "tables/budgets.csv").rename(pack / "tables/budgets.CSV")
    sealed_anew(pack)
    said: list[str] = []
    made = rebuild(pack, say=said.append)
    assert made.wrong == ("tables/budgets.csv: it is missing in the pack.",)
    for name in ("report/report.html", "tables/budgets.CSV", "README.md",
                 "figures/Figure_1/Figure_1.pdf", "picture/electron_image_u.csv"):  # fmt: skip
        assert name in made.not_compared
        assert name in next(words for words in said if words.startswith("Not compared ("))
    assert "history" in next(words for words in said if words.startswith("Not compared in result"))
    assert not any("as they were packed" in words for words in said)


def test_a_pack_of_another_version_is_the_same_and_its_other_words_are_named(whole, tmp_path):
    pack = shutil.copytree(whole, tmp_path / "pack")
    described(pack, lambda data: data.update(program="palpate 0.0.1"))
    replaced("Draws", "Paints")(pack / DATA / "redraw.py")
    with h5py.File(pack / "result.h5", "r+") as file:
        del file["entry/components/about"]
    sealed_anew(pack)
    made = rebuild(pack)
    assert made.good, made.wrong
    assert f"{DATA}/redraw.py" in made.not_compared
    assert "entry/components/about" in made.not_compared
    assert any("redraw.py has other words" in words for words in made.notes)


# -- what else a pack says of the computer and of the program


def test_the_build_of_the_system_is_in_no_result(whole):
    said = load_analysis(whole / "result.h5").environment["platform"]
    assert said == f"{platform.system()} {platform.machine()}"
    assert platform.release() not in said


def test_libraries_that_came_in_since_the_installation_are_asked_for(tmp_path, monkeypatch):
    """In a copy that was installed before, the description lacks some; the sources import them."""
    real = metadata.requires

    def old(name):
        return [line for line in real(name) or () if not line.startswith(("cmap", "trimesh"))]

    monkeypatch.setattr(metadata, "requires", old)
    program.unnamed.cache_clear()
    try:
        assert program.unnamed() == ("cmap", "trimesh")
        lines = environment.requirements(program.unnamed()).splitlines()
        assert f"cmap=={metadata.version('cmap')}" in lines
        assert f"trimesh=={metadata.version('trimesh')}" in lines
        program.write_program(tmp_path / "a.whl", Progress())
    finally:
        program.unnamed.cache_clear()
    with zipfile.ZipFile(tmp_path / "a.whl") as wheel:
        (name,) = (name for name in wheel.namelist() if name.endswith("/METADATA"))
        head = wheel.read(name).decode().partition("\n\n")[0].splitlines()
    assert {"Requires-Dist: cmap", "Requires-Dist: trimesh"} <= set(head)


def test_the_wheel_has_the_files_of_setup_py_and_nothing_that_lies_about(tmp_path, monkeypatch):
    """`setup.py` is read with Python's own parser; sample maps stay out of a pack."""
    root = Path(__file__).resolve().parent.parent
    calls = (node for node in ast.walk(ast.parse((root / "setup.py").read_text(encoding="utf-8")))
             if isinstance(node, ast.keyword) and node.arg == "package_data")  # fmt: skip
    listed = ast.literal_eval(next(calls).value)
    del listed["palpate.sample_maps"]
    ours = {f"palpate.{name}": list(patterns) for name, patterns in program.BESIDE.items()}
    assert ours == listed
    for name in ("core/a.py", "core/notes.txt", "core/todo.md", "core/figures/presets.toml",
                 "core/pack/licences/MIT.txt", "icons/one.svg", "icons/plan.md",
                 "app/help/pack.md", "app/shot.png"):  # fmt: skip
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).touch()

    def found(name):
        return SimpleNamespace(submodule_search_locations=[tmp_path / name.rpartition(".")[2]])

    monkeypatch.setattr(program.importlib.util, "find_spec", found)
    assert [name.partition("/")[2] for name, _ in program._sources()] == [
        "app/help/pack.md", "core/a.py", "core/figures/presets.toml", "core/pack/licences/MIT.txt",
        "icons/one.svg"]  # fmt: skip
