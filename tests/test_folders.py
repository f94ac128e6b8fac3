"""A folder that is there whole or not at all, and what somebody else puts in its place."""

from __future__ import annotations

import os
import subprocess
import sys
import textwrap
from pathlib import Path

import pytest

from palpate.core.errors import WriteError
from palpate.core.writers.atomic import saving
from palpate.core.writers.datapackage import write_package
from palpate.core.writers.folder import problems, whole_folder


def write(path, text="new", during=lambda: None, **given):
    with whole_folder(path, **given) as part:
        (part / "tables").mkdir()
        (part / "tables/a.txt").write_text(text, encoding="utf-8")
        write_package(part, [("tables/a.txt", "words", ())], {"title": "t"})
        during()


def text_of(path):
    return (path / "tables/a.txt").read_text(encoding="utf-8")


def names(folder):
    return sorted(path.name for path in folder.iterdir())


def test_a_folder_that_comes_meanwhile_is_never_taken_away(tmp_path):
    out = tmp_path / "out"

    def comes():
        out.mkdir()
        (out / "theirs.txt").write_text("theirs", encoding="utf-8")

    for replacing in (False, True):
        with pytest.raises(WriteError, match="can't be written: it holds other files"):
            write(out, during=comes, replace=replacing)
        assert (out / "theirs.txt").read_text(encoding="utf-8") == "theirs"
        (out / "theirs.txt").unlink()
        out.rmdir()
    with pytest.raises(WriteError, match="is there already"):  # an export of somebody else
        write(out, during=lambda: write(out, "theirs"))
    assert text_of(out) == "theirs"
    assert names(tmp_path) == ["out"]


def test_a_file_or_link_that_comes_meanwhile_is_kept(tmp_path):
    out, own = tmp_path / "out", tmp_path / "own"
    with pytest.raises(WriteError, match="a file of this name is there"):
        write(out, during=lambda: out.write_text("theirs", encoding="utf-8"), replace=True)
    assert out.read_text(encoding="utf-8") == "theirs"
    out.unlink()
    own.mkdir()
    if os.name != "nt":
        write(out, "old")
        (out / "link").symlink_to(own)  # a link to a folder is no file of an export either
        with pytest.raises(WriteError, match="it holds 'link'"):
            write(out, replace=True)
        assert text_of(out) == "old"


def test_notes_put_into_an_earlier_one_meanwhile_stop_its_replacement(tmp_path):
    out = tmp_path / "out"
    write(out, "old")
    notes = out / "my_notes.txt"
    with pytest.raises(WriteError, match=r"it holds 'my_notes\.txt'"):
        write(out, during=lambda: notes.write_text("precious", encoding="utf-8"), replace=True)
    assert notes.read_text(encoding="utf-8") == "precious"
    assert text_of(out) == "old"
    assert names(tmp_path) == ["out"]
    notes.unlink()
    write(out, replace=True)
    assert text_of(out) == "new"
    assert names(tmp_path) == ["out"]


def test_what_comes_in_the_last_moment_is_seen_once_nobody_finds_the_folder(tmp_path, monkeypatch):
    out, real = tmp_path / "out", Path.rename
    write(out, "old")

    def late(self, target):
        real(self, target)
        if str(target).endswith(".old"):  # by a program that works in that folder
            (target / "late.txt").write_text("precious", encoding="utf-8")

    monkeypatch.setattr(Path, "rename", late)
    with pytest.raises(WriteError, match=r"it holds 'late\.txt'"):
        write(out, replace=True)
    assert (out / "late.txt").read_text(encoding="utf-8") == "precious"
    assert text_of(out) == "old"
    assert names(tmp_path) == ["out"]


def test_an_earlier_one_in_which_a_file_was_changed_is_not_replaced(tmp_path):
    out = tmp_path / "out"
    write(out, "old")

    def edit():
        (out / "tables/a.txt").write_text("odd", encoding="utf-8")  # of the same length

    with pytest.raises(WriteError, match=r"'tables/a\.txt' in it was changed since"):
        write(out, during=edit, replace=True)
    assert problems(out, replace=True, thorough=True)
    with pytest.raises(WriteError, match="was changed since"):
        write(out, replace=True)
    assert text_of(out) == "odd"


KILLED = """
    import os, sys
    sys.path.insert(0, sys.argv[2])
    from pathlib import Path
    from test_folders import write
    real = Path.rename
    def rename(self, target):
        real(self, target)
        if str(target).endswith(".old"):
            os._exit(9)
    Path.rename = rename
    write(Path(sys.argv[1]), replace=True)
"""


def test_killed_while_it_is_replaced_the_earlier_one_comes_back(tmp_path):
    out = tmp_path / "résults [1]"
    write(out, "old")
    done = subprocess.run([sys.executable, "-c", textwrap.dedent(KILLED), str(out),
                           str(Path(__file__).parent)], check=False)  # fmt: skip
    assert done.returncode == 9
    assert not out.exists()
    assert any(name.startswith(out.name) for name in names(tmp_path))  # a person finds it
    with pytest.raises(WriteError, match="is there already"):
        write(out)
    assert text_of(out) == "old"
    for part in tmp_path.glob(".palpate-*.part"):
        os.utime(part, (0, 0))
    write(out, replace=True)
    assert text_of(out) == "new"
    assert names(tmp_path) == [out.name]


def test_folders_above_are_made_and_go_again_if_nothing_comes_of_it(tmp_path):
    out = tmp_path / "a" / "b" / "out"
    with pytest.raises(WriteError, match="no folder"):
        write(out)

    def fails():
        raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        write(out, during=fails, parents=True)
    assert names(tmp_path) == []
    write(out, parents=True)
    assert text_of(out) == "new"


def test_a_new_file_does_not_take_the_place_of_one_that_came_meanwhile(tmp_path):
    path = tmp_path / "a.txt"

    def saved():
        with saving(path, replace=False) as temporary:
            temporary.write_text("new", encoding="utf-8")
            if not path.exists():
                path.write_text("theirs", encoding="utf-8")

    for _ in range(2):
        with pytest.raises(WriteError, match="is there already"):
            saved()
    assert path.read_text(encoding="utf-8") == "theirs"
    assert names(tmp_path) == ["a.txt"]
    path.unlink()
    with saving(path, replace=False) as temporary:
        temporary.write_text("new", encoding="utf-8")
    assert path.read_text(encoding="utf-8") == "new"
    assert names(tmp_path) == ["a.txt"]
