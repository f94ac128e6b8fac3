"""Saving: the old file or the new one is there, whole, whatever happens; and single channels."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import subprocess
import sys
import textwrap
import time
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
import tifffile
from native_files import curves, good_map

from palpate.core.errors import WriteError
from palpate.core.readers import open_map
from palpate.core.writers import export_channel, write_map
from palpate.core.writers.atomic import clean_leftovers, previous_name, saving


def names(folder) -> list[str]:
    return sorted(p.name for p in folder.iterdir())


def test_a_failure_while_writing_keeps_the_old_file_and_leaves_nothing_else(tmp_path):
    path = tmp_path / "a.txt"
    path.write_text("old")

    def write_and_fail():
        with saving(path) as temporary:
            temporary.write_text("half")
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        write_and_fail()
    assert path.read_text() == "old"
    assert names(tmp_path) == ["a.txt"]


def test_a_file_that_does_not_read_back_is_not_put_in_place(tmp_path):
    def check(temporary):
        assert temporary.read_text() == "new"
        raise WriteError("It doesn't read back.")

    path = tmp_path / "a.txt"
    path.write_text("old")
    with pytest.raises(WriteError, match="read back"), saving(path, check=check) as temporary:
        temporary.write_text("new")
    assert path.read_text() == "old"
    assert names(tmp_path) == ["a.txt"]


def test_one_previous_version_is_kept_when_asked(tmp_path):
    path = tmp_path / "a.h5"
    for text in ("1", "2", "3"):
        with saving(path, keep_previous=True) as temporary:
            temporary.write_text(text)
    assert path.read_text() == "3"
    assert (tmp_path / "a.previous.h5").read_text() == "2"
    assert names(tmp_path) == ["a.h5", "a.previous.h5"]


def test_the_name_of_the_previous_version_is_never_too_long(tmp_path):
    for stem in ("x" * 250, "中" * 83):
        name = previous_name(tmp_path / f"{stem}.h5").name
        assert len(name.encode()) <= 255
        assert name.endswith(".previous.h5")


def test_places_where_nothing_can_be_saved_are_said_plainly(tmp_path):
    with pytest.raises(WriteError, match="is a folder"), saving(tmp_path):
        pass
    with pytest.raises(WriteError, match="there is no folder"), saving(tmp_path / "no" / "a.h5"):
        pass
    lacking = pytest.raises(WriteError, match="needs about 1e.09 GB .* are free")
    with lacking, saving(tmp_path / "a.h5", needs=10**18):
        pass
    with pytest.raises(WriteError, match="too long"), saving(tmp_path / ("x" * 300)) as temporary:
        temporary.write_text("new")
    assert names(tmp_path) == []


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="root may write all")
def test_a_folder_that_may_not_be_written(tmp_path):
    (tmp_path / "shut").mkdir(mode=0o500)
    with pytest.raises(WriteError, match="permission"):
        write_map(tmp_path / "shut" / "a.h5", *curves())


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs a device that is always full")
def test_a_full_disk_is_said_plainly(tmp_path):
    def fill():
        with saving(tmp_path / "a.txt") as temporary:
            temporary.write_text("begin")
            Path("/dev/full").write_text("x" * 10**6)

    with pytest.raises(WriteError, match="disk is full"):
        fill()
    assert names(tmp_path) == []


def test_an_error_that_the_library_tells_in_its_own_way_is_understood(tmp_path):
    words = "Can't write data (file write failed: errno = 28, error message = 'No space left')"
    with pytest.raises(WriteError, match="disk is full"), saving(tmp_path / "a.txt"):
        raise RuntimeError(words)
    with pytest.raises(RuntimeError, match="a fault of ours"), saving(tmp_path / "a.txt"):
        raise RuntimeError("a fault of ours")


@pytest.mark.skipif(os.name == "nt", reason="links need rights there")
def test_a_link_is_followed_and_stays(tmp_path):
    (tmp_path / "real.txt").write_text("old")
    (tmp_path / "link.txt").symlink_to(tmp_path / "real.txt")
    with saving(tmp_path / "link.txt") as temporary:
        temporary.write_text("new")
    assert (tmp_path / "link.txt").is_symlink()
    assert (tmp_path / "real.txt").read_text() == "new"


def test_leftovers_of_killed_saves_are_cleaned_once_they_are_old(tmp_path):
    old, new = tmp_path / ".palpate-aa.tmp", tmp_path / ".palpate-bb.tmp"
    for path in (old, new, tmp_path / "other.tmp"):
        path.write_text("x")
    os.utime(old, (time.time() - 7200,) * 2)
    assert clean_leftovers(tmp_path) == 1
    assert names(tmp_path) == [".palpate-bb.tmp", "other.tmp"]


def test_killed_at_any_moment_the_old_or_the_new_map_is_whole(tmp_path):
    path = good_map(tmp_path / "a.h5", title="0")
    code = """
        import sys
        sys.path.insert(0, sys.argv[2])
        from native_files import good_map
        from pathlib import Path
        print("ready", flush=True)
        for i in range(10_000):
            good_map(Path(sys.argv[1]), title=str(i))
    """
    rng = np.random.default_rng(5)
    titles = set()
    for _ in range(4):
        with subprocess.Popen(
            [sys.executable, "-c", textwrap.dedent(code), str(path), str(Path(__file__).parent)],
            stdout=subprocess.PIPE, text=True,
        ) as writer:  # fmt: skip
            assert writer.stdout.readline().strip() == "ready"
            time.sleep(0.05 + 0.3 * rng.random())
            writer.kill()
        with open_map(path) as m:
            m.load()
            titles.add(m.title)
    assert len(titles) > 1  # it was caught at work
    left = [n for n in names(tmp_path) if n != "a.h5"]
    assert len(left) <= 4
    assert all(n.startswith(".palpate-") for n in left)


# -- single channels --------------------------------------------------------------------------

CHANNEL = SimpleNamespace(name="modulus", label="Young modulus", unit="GPa")
VALUES = np.array([[0.5, np.nan, 2.25], [1e-3, 3.0, 1.0 / 3.0]])
X, Y = np.array([50.0, 150.0, 250.0]), np.array([25.0, 75.0])
MORE = {"settings_json": '{"a":1}', "source": "blend.h5"}
SHA = hashlib.sha256(b'{"a":1}').hexdigest()


def test_numpy_export_returns_to_the_last_bit_with_its_description_beside_it(tmp_path):
    written = export_channel(tmp_path / "m.npy", CHANNEL, VALUES, X, Y, **MORE)
    assert [p.name for p in written] == ["m.npy", "m.npy.json"]
    np.testing.assert_array_equal(np.load(written[0], allow_pickle=False), VALUES)
    about = json.loads(written[1].read_text(encoding="utf-8"))
    assert (about["name"], about["unit"], about["rows"], about["columns"]) == (
        "modulus", "GPa", 2, 3)  # fmt: skip
    assert (about["pixel_width_nm"], about["pixel_height_nm"]) == (100.0, 50.0)
    assert (about["settings_sha256"], about["source"]) == (SHA, "blend.h5")


def test_csv_export_has_a_row_a_scan_line_and_says_its_unit(tmp_path):
    export_channel(tmp_path / "m.csv", CHANNEL, VALUES, X, Y, unit="MPa", **MORE)
    text = (tmp_path / "m.csv").read_text(encoding="utf-8")
    assert "# name: modulus\n" in text
    assert "# unit: MPa\n" in text
    assert "# row_order: row 0 is the first scan line" in text
    assert "# pixel_width_nm: 100.0\n" in text
    again = np.loadtxt(tmp_path / "m.csv", delimiter=",")
    np.testing.assert_allclose(again, VALUES * 1000.0, rtol=1e-8)  # nine digits


def test_tiff_export_carries_its_scale_in_the_tags(tmp_path):
    export_channel(tmp_path / "m.tif", CHANNEL, VALUES, X, Y, **MORE)
    with tifffile.TiffFile(tmp_path / "m.tif") as tif:
        page = tif.pages[0]
        np.testing.assert_array_equal(page.asarray(), VALUES.astype(np.float32))
        assert page.resolutionunit.name == "CENTIMETER"
        np.testing.assert_allclose(page.resolution, (1e5, 2e5))  # 100 nm and 50 nm a pixel
        about = json.loads(page.description)
    assert (about["unit"], about["settings_sha256"]) == ("GPa", SHA)


def test_without_a_scale_none_is_claimed(tmp_path):
    export_channel(tmp_path / "m.tif", CHANNEL, VALUES, None, None)
    with tifffile.TiffFile(tmp_path / "m.tif") as tif:
        assert tif.pages[0].resolutionunit.name != "CENTIMETER"
        assert "pixel_width_nm" not in json.loads(tif.pages[0].description)


def test_an_export_that_makes_no_sense_is_refused(tmp_path):
    with pytest.raises(WriteError, match=r"\.npy, \.csv, \.tif"):
        export_channel(tmp_path / "m.doc", CHANNEL, VALUES, X, Y)
    with pytest.raises(WriteError, match="pressure"):
        export_channel(tmp_path / "m.csv", CHANNEL, VALUES, X, Y, unit="nN")
    with pytest.raises(WriteError, match="not known"):
        export_channel(tmp_path / "m.csv", CHANNEL, VALUES, X, Y, unit="psi")
    assert names(tmp_path) == []


def test_an_old_export_survives_a_failed_one(tmp_path, monkeypatch):
    export_channel(tmp_path / "m.csv", CHANNEL, VALUES, X, Y)
    before = (tmp_path / "m.csv").read_bytes()
    usage = shutil.disk_usage(tmp_path)
    monkeypatch.setattr(shutil, "disk_usage", lambda _: usage._replace(free=10))
    with pytest.raises(WriteError, match="free"):
        export_channel(tmp_path / "m.csv", CHANNEL, VALUES + 1, X, Y)
    assert (tmp_path / "m.csv").read_bytes() == before
