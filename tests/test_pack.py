"""A pack is checked on another machine: it holds all, says what it holds, and is made again alike.

What is the same is judged by hashlib, `sha256sum`, numbers that are changed on purpose, the library
`rocrate`, and the rules of the RO-Crate Metadata Specification 1.1.
"""

from __future__ import annotations

import base64
import csv
import errno
import hashlib
import json
import os
import platform
import re
import shutil
import subprocess
import sys
import time
import zipfile
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import h5py
import numpy as np
import pytest
from pack_case import ACTS, PLACES, SHAPE, make_map, make_result, replaced, sealed
from rocrate.rocrate import ROCrate

import palpate.core
from palpate.core.errors import Cancelled, InputError, SourceError, WriteError
from palpate.core.findings import opened_findings
from palpate.core.pack import Author, Wish, building, estimate, licence, rebuild, write_pack
from palpate.core.pack.comparing import differs
from palpate.core.progress import Progress
from palpate.core.workfile import load_analysis

WISH = Wish(title="Two rubbers, packed", description="A drawn map with known moduli.",
            authors=(Author("Ada Example", "0000-0002-1825-0097"), Author("Bo Ünnamed")))
BARE = Wish(left_out=("tables", "figures", "methods", "report", "program"))
"""Quick to pack."""
PLACE = "a place nobody may hear of"


@pytest.fixture(scope="module")
def case(tmp_path_factory):
    """A map and its result in one folder, the pack of them moved to another, the first one gone."""
    home = tmp_path_factory.mktemp(PLACE)
    make_map(home / "two rubbers ü.h5")
    result = make_result(home / "two rubbers ü.h5", home / "result of mine.h5")
    with opened_findings(result) as findings:
        made = write_pack(home / "pack", findings, WISH, acts=ACTS)
        weight = estimate(findings, WISH)
        write_pack(home / "without.zip", findings, Wish(
            licence("cc0"), with_map=False, published="10.1234/abcd",
            left_out=BARE.left_out[1:]))  # fmt: skip
    other = tmp_path_factory.mktemp("elsewhere")
    for name in ("pack", "without.zip", "two rubbers ü.h5"):
        shutil.move(home / name, other / name)
    shutil.rmtree(home)
    return SimpleNamespace(pack=other / "pack", zip=other / "without.zip", made=made,
                           map=other / "two rubbers ü.h5", weight=weight)  # fmt: skip


@pytest.fixture
def pack(case, tmp_path):
    return shutil.copytree(case.pack, tmp_path / "pack")


# -- what it holds


def test_it_holds_what_a_reviewer_needs_and_says_what_each_file_is(case):
    names = {path.relative_to(case.pack).as_posix() for path in case.pack.rglob("*")
             if path.is_file()}  # fmt: skip
    assert {"README.md", "LICENSE.txt", "LICENSE-SCRIPTS.txt", "CHECKSUMS.sha256", "result.h5",
            "requirements.txt", "rebuild.py", "ro-crate-metadata.json", "settings.toml",
            "map/two_rubbers_u.h5", "picture/electron_image_u.csv"} <= names  # fmt: skip
    assert {f"tables/{name}.csv" for name in ("components", "pairs", "decisions", "doubts",
                                              "constants", "budgets", "regions",
                                              "profile_1")} <= names  # fmt: skip
    readme = (case.pack / "README.md").read_text(encoding="utf-8")
    for name in names:
        folder = name.rpartition("/")[0]
        assert f"`{name}`" in readme or f"`{folder}/`" in readme
    assert "Ada Example (https://orcid.org/0000-0002-1825-0097), Bo Ünnamed" in readme
    assert case.made.files == len(names)


def test_names_are_plain_and_nothing_tells_of_the_machine_or_its_folders(case):
    words = [PLACE, "/tmp/", "/home/", *(w for w in [platform.node()] if len(w) > 5)]
    for path in case.pack.rglob("*"):
        assert re.fullmatch(r"[A-Za-z0-9._-]+", path.name)
        if path.is_file() and path.parent.name != "map":  # a map is as it was measured
            data = path.read_bytes()
            for word in words:
                assert word.encode() not in data, (path, word)
    source = load_analysis(case.pack / "result.h5").source
    assert source.file_name == "map/two_rubbers_u.h5"


def test_checksums_are_those_of_hashlib_and_in_the_form_that_sha256sum_reads(case):
    lines = (case.pack / "CHECKSUMS.sha256").read_text(encoding="utf-8").splitlines()
    listed = dict(reversed(line.split("  ", 1)) for line in lines)
    every = {path.relative_to(case.pack).as_posix(): path for path in case.pack.rglob("*")
             if path.is_file() and path.name != "CHECKSUMS.sha256"}  # fmt: skip
    assert listed == {name: hashlib.sha256(path.read_bytes()).hexdigest()
                      for name, path in every.items()}  # fmt: skip
    if shutil.which("sha256sum"):
        done = subprocess.run(["sha256sum", "--strict", "-c", "CHECKSUMS.sha256"], cwd=case.pack,
                              capture_output=True, check=False)  # fmt: skip
        assert done.returncode == 0


def test_the_result_in_it_holds_what_was_decided_and_its_history(case):
    loaded = load_analysis(case.pack / "result.h5")
    assert [decision.note for decision in loaded.review.decisions] == ["dust", "looks right", ""]
    assert loaded.work.sheets[0].name == "Figure 1"
    assert loaded.work.places == PLACES
    assert loaded.work.picture.path.as_posix() == "picture/electron_image_u.csv"
    assert ACTS[0] in loaded.history
    rows = list(csv.DictReader((case.pack / "tables/decisions.csv").open(encoding="utf-8")))
    assert len(rows) == 3 + 1 + 1
    assert {row["decision"] for row in rows} == {d.words for d in loaded.review.decisions}
    table = list(csv.DictReader((case.pack / "tables/components.csv").open(encoding="utf-8")))
    assert {row["component"] for row in table} == {"A", "B"}


def test_the_program_in_it_is_a_wheel_with_the_sources_that_run_here(case):
    """By the binary distribution format: RECORD holds the SHA-256 of every other file, in the
    alphabet of base64 for addresses without padding (Python Packaging User Guide)."""
    (path,) = (case.pack / "program").iterdir()
    assert re.fullmatch(r"palpate-[^-]+-py3-none-any\.whl", path.name)
    with zipfile.ZipFile(path) as wheel:
        names = wheel.namelist()
        (record,) = (name for name in names if name.endswith(".dist-info/RECORD"))
        rows = [line.split(",") for line in wheel.read(record).decode().splitlines()]
        assert {row[0] for row in rows} == set(names)
        for name, digest, size in rows:
            data = wheel.read(name)
            if name != record:
                code = base64.urlsafe_b64encode(hashlib.sha256(data).digest()).rstrip(b"=")
                assert (digest, int(size)) == (f"sha256={code.decode()}", len(data))
        assert b"Name: palpate" in wheel.read(record.replace("RECORD", "METADATA"))
        for name in ("palpate/core/pack/program.py", "palpate/core/pack/licences/CC0-1.0.txt"):
            inside = Path(palpate.core.__file__).parents[1] / name.partition("/")[2]
            assert wheel.read(name) == inside.read_bytes()


def test_the_estimate_is_of_the_right_size(case):
    assert 0.5 * case.made.size < case.weight.total < 3.0 * case.made.size
    assert case.weight.parts["Measured map"] == case.map.stat().st_size


# -- made again


def test_it_is_made_again_elsewhere_by_one_command_after_the_first_map_is_gone(pack):
    done = subprocess.run([sys.executable, "-P", "rebuild.py"], cwd=pack, capture_output=True,
                          text=True, check=False)  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert done.stdout.splitlines()[-1] == "All is the same."
    assert "2 components" in done.stdout
    for name in ("tables/components.csv", "tables/budgets.csv", "settings.toml"):
        assert f"{name}: the same." in done.stdout


def test_what_is_made_anew_is_kept_where_asked_and_equals_the_pack(case, tmp_path):
    found = rebuild(case.zip, near=case.map, out=tmp_path / "anew")
    assert found.good, found.wrong
    for path in (case.pack / "tables").glob("*.csv"):
        assert (tmp_path / "anew" / "tables" / path.name).read_text() == path.read_text()
    assert [path.name for path in tmp_path.iterdir()] == ["anew"]
    with pytest.raises(WriteError, match="is there already"):
        rebuild(case.zip, near=case.map, out=tmp_path / "anew")


def edit_result(place, change):
    def edit(path):
        with h5py.File(path, "r+") as file:
            file[place][...] = change(file[place][...])

    return edit


def one_higher(values):
    values = values.copy()
    values[4, 4] *= 1.001
    return values


def test_changes_whose_checksums_were_written_anew_are_found_and_named(pack):
    changes = {
        "tables/components.csv": replaced("reduced_modulus", "reduced_modulus "),
        "tables/constants.csv": replaced("Spring constant,2,", "Spring constant,3,"),
        "settings.toml": replaced("extent = 50.0", "extent = 45.0"),
        "figures/Figure_1/data/b_histogram_modulus.csv": replaced(",0,0\n", ",0,1\n"),
    }
    for name, change in changes.items():
        sealed(pack, change, name)
    for place, change in (("maps/modulus", one_higher), ("components/labels", lambda v: 1 - v),
                          ("maps/trusted", lambda v: 1 - v)):  # fmt: skip
        sealed(pack, edit_result(f"entry/{place}", change), "result.h5")
    sealed(pack, lambda path: path.write_text("numpy==1.0\nh5py==1.0\n"), "requirements.txt")
    made = rebuild(pack)
    found = " ".join(made.wrong)
    assert "SHA-256" not in found
    assert f"numpy 1.0 then, {np.__version__} here" in made.notes[0]
    for told in ("Young modulus in 1 pixels (by up to 0.1 %)", "belong to another component",
                 "which pixels are used in 168 pixels", "tables/components.csv: 1 entry differs",
                 "tables/constants.csv: 1 entry differs; first in row 1, value: 3, made anew 2",
                 "settings.toml: line",
                 "figures/Figure_1/data/b_histogram_modulus.csv: 1 entry differs"):  # fmt: skip
        assert told in found


def test_tables_that_a_changed_description_hides_are_told(pack):
    def hide(path):
        data = json.loads(path.read_text(encoding="utf-8"))
        path.write_text(json.dumps(data | {"parts": [], "again": []}), encoding="utf-8")

    sealed(pack, replaced("reduced_modulus", "reduced_modulus "), "tables/components.csv")
    sealed(pack, hide, "pack.json")
    found = rebuild(pack)
    for name in ("tables/components.csv", "figures/Figure_1/data/a_map_modulus.csv"):
        assert any(words.startswith(f"{name} was not made anew") for words in found.wrong)


def test_what_is_changed_missing_or_added_is_named(pack):
    (pack / "README.md").write_text("something else", encoding="utf-8")
    (pack / "tables/pairs.csv").unlink()
    (pack / "more.txt").touch()
    (pack / ".DS_Store").touch()
    found = rebuild(pack)
    assert set(found.wrong) == {
        "README.md is not as it was packed: its SHA-256 differs.",
        "tables/pairs.csv is missing.", "tables/pairs.csv: it is missing in the pack."}  # fmt: skip
    assert found.notes == ("more.txt was not packed: it came in later.",)
    done = subprocess.run([sys.executable, "-P", "rebuild.py", "--checksums"], cwd=pack,
                          capture_output=True, text=True, check=False)  # fmt: skip
    assert done.returncode == 1
    assert "README.md is missing, or not as it was packed." in done.stdout


def test_another_map_is_refused_and_a_missing_one_asked_for(pack, case):
    inside = pack / "map/two_rubbers_u.h5"
    data = bytearray(inside.read_bytes())
    data[-20] ^= 1
    inside.write_bytes(data)
    with pytest.raises(SourceError, match="not the map"):
        rebuild(pack)
    assert rebuild(pack, near=case.map).wrong == (
        "map/two_rubbers_u.h5 is not as it was packed: its SHA-256 differs.",)  # fmt: skip
    inside.unlink()
    with pytest.raises(SourceError, match="--map FILE"):
        rebuild(pack)


def test_a_pack_without_its_map_names_it_and_is_made_again_with_it(case, tmp_path):
    digest = hashlib.sha256(case.map.read_bytes()).hexdigest()
    with pytest.raises(SourceError, match=digest) as told:
        rebuild(case.zip)
    assert "https://doi.org/10.1234/abcd" in str(told.value)
    said: list[str] = []
    found = rebuild(case.zip, near=case.map, say=said.append)
    assert found.good, found.wrong
    assert len(said) == 1 + len(found.same)
    with pytest.raises(InputError, match="no such file"):
        rebuild(case.zip, near=tmp_path / "nowhere.h5")


def test_tables_are_compared_as_numbers_and_not_as_letters(tmp_path):
    one, other = tmp_path / "a.csv", tmp_path / "b.csv"
    one.write_text("# made: 1\nx,y\n1.00000000,nan\n2,1e-20\n5,a\n", encoding="utf-8")
    other.write_text("# made: 2\nx,y\n1.00000001,NaN\n2.0,0\n5,a\n", encoding="utf-8")
    assert "y: 1e-20, made anew 0" in differs(one, other)  # nothing larger stands in that column
    other.write_text("x,y\n1.00000001,\n2.0,1e-20\n5,a\n", encoding="utf-8")
    assert differs(one, other) == ""
    for text, told in (("x,y\n1.0000001,nan\n2,1e-20\n5,a\n", "row 1, x"),
                       ("x,y\n1,2\n2,1e-20\n5,a\n", "row 1, y"), ("x,z\n1,nan\n", "columns"),
                       ("x,y\n1,nan\n2,1e-20\n", "3 rows, made anew 2")):  # fmt: skip
        other.write_text(text, encoding="utf-8")
        assert told in differs(one, other)


# -- whole or not at all


@pytest.mark.parametrize("name", ["new", "new.zip"])
def test_stopping_or_a_full_disk_leave_nothing(case, tmp_path, monkeypatch, name):
    from palpate.core.pack import checksums

    class Stops(Progress):
        def step(self, done, total, words=""):
            if words == "Settings":
                self.cancel()
            super().step(done, total, words)

    def full(*_):
        raise OSError(errno.ENOSPC, "No space left on device")

    (tmp_path / "kept.txt").touch()
    result = shutil.copytree(case.pack, tmp_path / "in") / "result.h5"
    with opened_findings(result) as findings:
        with pytest.raises(Cancelled):
            write_pack(tmp_path / name, findings, BARE, progress=Stops())
        with monkeypatch.context() as patch:
            patch.setattr(checksums, "digest_of", full)
            with pytest.raises(WriteError, match="the disk is full"):
                write_pack(tmp_path / name, findings, BARE)
        with monkeypatch.context() as patch:
            patch.setattr(shutil, "disk_usage", lambda _: SimpleNamespace(free=1000))
            with pytest.raises(WriteError, match="Make room"):
                write_pack(tmp_path / name, findings, BARE)
    assert {path.name for path in tmp_path.iterdir()} == {"kept.txt", "in"}


def test_only_a_pack_is_ever_replaced_and_only_if_asked(case, pack, tmp_path):
    own = tmp_path / "thesis"
    own.mkdir()
    (own / "chapter.txt").write_text("mine", encoding="utf-8")
    before = (pack / "README.md").read_bytes()
    with opened_findings(case.pack / "result.h5") as findings:
        for replacing in (False, True):
            with pytest.raises(WriteError, match="holds other files"):
                write_pack(own, findings, replace_existing=replacing)
        with pytest.raises(WriteError, match="no folder"):
            write_pack(tmp_path / "no" / "where", findings)
        with pytest.raises(WriteError, match="is there already"):
            write_pack(pack, findings)
        assert (pack / "README.md").read_bytes() == before
        write_pack(pack, findings, replace(BARE, title="Second"), replace_existing=True)
    assert (pack / "README.md").read_text(encoding="utf-8").startswith("# Second\n")
    assert (own / "chapter.txt").read_text(encoding="utf-8") == "mine"
    assert {path.name for path in tmp_path.iterdir()} == {"thesis", "pack"}


def test_what_somebody_put_into_a_pack_or_changed_in_it_is_never_lost(case, pack, tmp_path):
    work, readme = pack / "work", pack / "README.md"
    work.mkdir()
    (work / "pyvenv.cfg").touch()
    (work / "thesis.txt").write_text("mine", encoding="utf-8")
    with opened_findings(case.pack / "result.h5") as findings:
        with pytest.raises(WriteError, match=r"it holds 'work/pyvenv\.cfg'"):
            write_pack(pack, findings, BARE, replace_existing=True)
        work.rename(pack / "__MACOSX")
        with pytest.raises(WriteError, match="it holds '__MACOSX/pyvenv"):
            write_pack(pack, findings, BARE, replace_existing=True)
        assert (pack / "__MACOSX/thesis.txt").read_text(encoding="utf-8") == "mine"
        shutil.rmtree(pack / "__MACOSX")
        readme.write_text("my notes", encoding="utf-8")
        with pytest.raises(WriteError, match=r"'README\.md' in it was changed"):
            write_pack(pack, findings, BARE, replace_existing=True)
    assert readme.read_text(encoding="utf-8") == "my notes"
    assert [path.name for path in tmp_path.iterdir()] == ["pack"]


def test_a_zip_takes_no_other_files_place(case, tmp_path, monkeypatch):
    out, thesis = tmp_path / "new.zip", tmp_path / "thesis.zip"
    with zipfile.ZipFile(thesis, "w") as archive:
        archive.writestr("thesis.txt", "mine")
    stale = tmp_path / ".palpate-0a.part"  # a killed one of two days ago
    stale.mkdir()
    os.utime(stale, (time.time() - 2 * 86_400,) * 2)

    class Comes(Progress):
        def step(self, done, total, words=""):
            if words == "Settings":
                out.write_bytes(b"theirs")

    def full(*_):
        raise OSError(errno.ENOSPC, "No space left on device")

    with opened_findings(case.pack / "result.h5") as findings:
        for replacing in (False, True):
            with pytest.raises(WriteError, match="no pack of Palpate"):
                write_pack(thesis, findings, BARE, replace_existing=replacing)
            with pytest.raises(WriteError, match=r"new\.zip can't be replaced|is there already"):
                write_pack(out, findings, BARE, progress=Comes(), replace_existing=replacing)
            assert out.read_bytes() == b"theirs"
            out.unlink()
        with monkeypatch.context() as patch:
            patch.setattr(building, "_write", full)
            with pytest.raises(WriteError) as told:
                write_pack(out, findings, BARE)
        assert str(told.value).startswith(f"{out} could not be written: the disk is full")
        write_pack(out, findings, BARE)
        write_pack(out, findings, BARE, replace_existing=True)
        with zipfile.ZipFile(out, "a") as archive:
            archive.writestr("notes.txt", "mine")
        with pytest.raises(WriteError, match=r"it holds 'notes\.txt'"):
            write_pack(out, findings, BARE, replace_existing=True)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["new.zip", "thesis.zip"]


def test_a_map_that_changes_while_it_is_zipped_is_told(case, tmp_path):
    result = shutil.copytree(case.pack, tmp_path / "in") / "result.h5"
    inside = tmp_path / "in/map/two_rubbers_u.h5"

    class Changes(Progress):
        def step(self, done, total, words=""):
            if words == "Settings":
                data = bytearray(inside.read_bytes())
                data[-20] ^= 1
                inside.write_bytes(data)

    with opened_findings(result) as findings, pytest.raises(WriteError, match="was changed while"):
        write_pack(tmp_path / "out.zip", findings, BARE, progress=Changes())
    assert [path.name for path in tmp_path.iterdir()] == ["in"]


def test_what_could_not_be_made_anew_leaves_nothing(case, tmp_path):
    with pytest.raises(SourceError):
        rebuild(case.zip, out=tmp_path / "anew")
    assert not list(tmp_path.iterdir())


def test_a_map_that_changes_while_it_is_packed_is_told(case, tmp_path, monkeypatch):
    result = shutil.copytree(case.pack, tmp_path / "in") / "result.h5"
    monkeypatch.setattr(building, "_copied", lambda *_: "0" * 64)
    with opened_findings(result) as findings, pytest.raises(InputError, match="was changed"):
        write_pack(tmp_path / "out", findings)
    assert [path.name for path in tmp_path.iterdir()] == ["in"]


def test_a_zip_of_the_same_contents_has_the_same_bytes(case, tmp_path):
    from palpate.core.pack.zipped import write_zip

    files = {path.relative_to(case.pack).as_posix(): path for path in case.pack.rglob("*")
             if path.is_file()}  # fmt: skip
    write_zip(tmp_path / "a.zip", files, Progress())
    other = shutil.copytree(case.pack, tmp_path / "other", copy_function=shutil.copyfile)
    turned = {name: other / name for name in sorted(files, reverse=True)}
    write_zip(tmp_path / "b.zip", turned, Progress())
    assert (tmp_path / "a.zip").read_bytes() == (tmp_path / "b.zip").read_bytes()
    with zipfile.ZipFile(tmp_path / "a.zip") as archive:
        assert archive.testzip() is None
        assert archive.namelist() == sorted(files)


# -- what the person chooses


def test_authors_licences_and_addresses_are_looked_at():
    # 0000-0002-1825-0097 and 0000-0001-5109-3700 are examples of ORCID's own pages; -0098 is a slip
    assert Author(" Ada  Example ", "https://orcid.org/0000-0001-5109-3700").name == "Ada Example"
    for code in ("0000-0002-1825-0098", "1825", "0000-0002-1825-009X", "a" * 400):
        with pytest.raises(InputError, match="ORCID"):
            Author("Ada", code)
    for name in ("", " ", "a\0b"):
        with pytest.raises(InputError, match="name"):
            Author(name)
    assert licence("cc-by-4.0").id == licence("CC-BY").id == "CC-BY-4.0"
    assert licence("CC0").text.startswith("Creative Commons Legal Code")
    with pytest.raises(InputError, match="CC-BY-4.0, CC0-1.0"):
        licence("nonsense")
    assert Wish(published="doi:10.1234/abcd").published == "https://doi.org/10.1234/abcd"
    for words in ("ftp://x.org", "C:\\maps", "javascript:x", "https://x.org/<b>"):
        with pytest.raises(InputError, match="address|published"):
            Wish(published=words)


def test_the_scripts_licence_is_the_programs_own(case):
    root = Path(__file__).resolve().parent.parent
    assert (case.pack / "LICENSE-SCRIPTS.txt").read_text() == (root / "LICENSE").read_text()


# -- RO-Crate


def test_the_library_rocrate_reads_it_as_folder_and_as_zip(case):
    crate = ROCrate(case.pack)
    assert crate.name == "Two rubbers, packed"
    assert crate.root_dataset["license"].id == "https://creativecommons.org/licenses/by/4.0/"
    assert [author["name"] for author in crate.root_dataset["author"]] == ["Ada Example",
                                                                           "Bo Ünnamed"]
    files = {entity.id: entity for entity in crate.data_entities if "File" in entity.type}
    every = {path.relative_to(case.pack).as_posix() for path in case.pack.rglob("*")
             if path.is_file()}  # fmt: skip
    assert set(files) == every - {"ro-crate-metadata.json"}
    made = files["result.h5"]
    assert made["sha256"] == hashlib.sha256((case.pack / "result.h5").read_bytes()).hexdigest()
    action = crate.get("#analysis")
    assert [one.id for one in action["object"]] == ["map/two_rubbers_u.h5", "settings.toml"]
    assert action["instrument"]["name"] == "Palpate"
    units = {one["propertyID"]: one["unitText"] for one in crate.root_dataset["variableMeasured"]}
    assert units["modulus"] == "Pa"
    assert units["adhesion"] == "N"
    zipped = ROCrate(case.zip)
    assert zipped.get("https://doi.org/10.1234/abcd")["sha256"]
    assert zipped.root_dataset["license"]["identifier"] == "CC0-1.0"
    assert "author" not in zipped.root_dataset.properties()


def test_its_metadata_keep_the_rules_of_the_specification(case):
    """Rules of the RO-Crate Metadata Specification 1.1, by its sections; read from memory."""
    data = json.loads((case.pack / "ro-crate-metadata.json").read_text(encoding="utf-8"))
    graph = {entity["@id"]: entity for entity in data["@graph"]}
    # "RO-Crate JSON-LD": a flat graph, each entity once, with an @id and a @type
    assert "https://w3id.org/ro/crate/1.1/context" in data["@context"]
    assert len(graph) == len(data["@graph"])
    assert all("@type" in entity for entity in graph.values())
    # "Root Data Entity": the metadata file descriptor
    descriptor = graph["ro-crate-metadata.json"]
    assert descriptor["@type"] == "CreativeWork"
    assert descriptor["about"] == {"@id": "./"}
    assert descriptor["conformsTo"] == {"@id": "https://w3id.org/ro/crate/1.1"}
    # the same: what the root must have
    root = graph["./"]
    assert root["@type"] == "Dataset"
    assert root["name"]
    assert root["description"]
    assert re.fullmatch(r"\d{4}-\d\d-\d\d", root["datePublished"])
    assert root["license"]["@id"] in graph
    # "Data Entities": files are linked from the root, lie at their @id, folders end in a slash
    for part in root["hasPart"]:
        entity = graph[part["@id"]]
        place = case.pack / part["@id"]
        assert place.is_dir() if entity["@type"] == "Dataset" else place.is_file()
        assert part["@id"].endswith("/") == (entity["@type"] == "Dataset")
        if place.is_file():
            assert "/" in entity["encodingFormat"]
            assert entity.get("contentSize", str(place.stat().st_size)) == str(
                place.stat().st_size)  # fmt: skip
    # "Contextual Entities": whatever is referred to is described, or is a term of schema.org
    def referred(value):
        if isinstance(value, dict):
            yield value["@id"]
        elif isinstance(value, list):
            for one in value:
                yield from referred(one)

    for entity in graph.values():
        for key, value in entity.items():
            if key not in ("@id", "@type", "conformsTo"):
                for name in referred(value):
                    assert name in graph or name.startswith("http://schema.org/"), (key, name)
    # "Provenance of entities": software, and the action that made the result
    action = graph["#analysis"]
    assert action["@type"] == "CreateAction"
    assert graph[action["instrument"]["@id"]]["version"]
    assert graph["https://orcid.org/0000-0002-1825-0097"]["@type"] == "Person"


def test_the_map_of_the_pack_is_the_map_itself(case):
    assert (case.pack / "map/two_rubbers_u.h5").read_bytes() == case.map.read_bytes()
    modulus = load_analysis(case.pack / "result.h5").channels["modulus"].values
    assert modulus.shape == SHAPE
    # known truth of the drawing: 0.08 GPa on the left, 1.2 GPa on the right
    assert np.nanmedian(modulus[:, 1:6]) == pytest.approx(0.08, rel=0.1)
    assert np.nanmedian(modulus[:, 8:13]) == pytest.approx(1.2, rel=0.1)
