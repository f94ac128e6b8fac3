"""Packs that are damaged, cut short, from the future, or made to do harm: told, and nothing else.

The ways a zip does harm are those of the general literature (paths that lead out, links, bombs,
overlapping entries), made here with Python's `zipfile`.
"""

from __future__ import annotations

import hashlib
import json
import os
import stat
import zipfile

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from palpate.core.errors import PalpateError, ReadError
from palpate.core.pack import checksums, described, rebuild
from palpate.core.pack.names import plain_name, wrong_name
from palpate.core.pack.zipped import unpack
from palpate.core.progress import Progress

MAP = {"file": "map/a.h5", "name": "a.h5", "size": 1, "sha256": "0" * 64, "uuid": "",
       "published": ""}  # fmt: skip
GOOD = {"palpate_pack": 1, "title": "t", "made": "2026-01-01", "program": "palpate 0.1.0",
        "result": "result.h5", "map": MAP, "parts": [], "again": []}  # fmt: skip


def a_zip(path, *entries):
    """A zip of (name or ZipInfo, bytes)."""
    with zipfile.ZipFile(path, "w") as out:
        for name, data in entries:
            out.writestr(name, data)
    return path


def folder_with(tmp_path, **changes):
    folder = tmp_path / "pack"
    folder.mkdir()
    text = json.dumps(GOOD | changes)
    (folder / "pack.json").write_text(text, encoding="utf-8")
    (folder / "CHECKSUMS.sha256").write_text("", encoding="utf-8")
    return folder


def linked():
    info = zipfile.ZipInfo("map/link.h5")
    info.create_system, info.external_attr = 3, (stat.S_IFLNK | 0o777) << 16
    return info


@pytest.mark.parametrize(
    ("entry", "told"),
    [
        ("../out.txt", "leads out"), ("a/../../out.txt", "leads out"), ("/etc/x", "root"),
        ("C:/x", "signs"), ("a\\..\\..\\x", "signs|leads out"), ("a/./b", "leads out"),
        ("a//b", "leads out"), ("con/x", "some systems"), ("a/nul.txt", "some systems"),
        ("trailing. ", "some systems"), ("new\nline", "signs"), ("x" * 300, "too long"),
        (linked(), "link"),
    ],
    ids=str,
)  # fmt: skip
def test_a_name_that_leads_elsewhere_is_refused_before_anything_is_unpacked(tmp_path, entry, told):
    path = a_zip(tmp_path / "p.zip", ("good.txt", b"x"), (entry, b"outside"))
    inner = tmp_path / "deep" / "in"
    inner.mkdir(parents=True)
    with pytest.raises(ReadError, match=told):
        unpack(path, inner, Progress())
    assert sorted(p.name for p in tmp_path.rglob("*")) == ["deep", "in", "p.zip"]


def test_bombs_and_crowds_are_refused(tmp_path, monkeypatch):
    from palpate.core.pack import zipped

    bomb = tmp_path / "bomb.zip"
    with zipfile.ZipFile(bomb, "w", zipfile.ZIP_DEFLATED) as out:
        out.writestr("zeros", b"\0" * (80 * 1024**2))
    with pytest.raises(ReadError, match="more than a pack can"):
        unpack(bomb, tmp_path, Progress())
    crowd = a_zip(tmp_path / "crowd.zip", *((f"f{n}", b"") for n in range(20)))
    monkeypatch.setattr(zipped, "MOST_FILES", 10)
    with pytest.raises(ReadError, match="20 files"):
        unpack(crowd, tmp_path, Progress())
    with pytest.raises(ReadError, match="same name"):
        unpack(a_zip(tmp_path / "twice.zip", ("a", b"1"), ("A", b"2")), tmp_path, Progress())
    assert {path.name for path in tmp_path.iterdir()} == {"bomb.zip", "crowd.zip", "twice.zip"}


def test_a_zip_whose_entries_lie_over_each_other_or_lie_about_their_size_is_refused(tmp_path):
    """One block of data named by many entries, each as large as the whole (Fifield, "A better zip
    bomb", WOOT 2019)."""
    path = tmp_path / "p.zip"
    with zipfile.ZipFile(path, "w") as out:
        out.writestr("a", os.urandom(50_000))
        for n in range(20):
            again = zipfile.ZipInfo(f"b{n}")
            first = out.filelist[0]
            again.compress_size = again.file_size = first.file_size
            again.CRC, again.header_offset = first.CRC, first.header_offset
            out.filelist.append(again)
            out.NameToInfo[again.filename] = again
    with pytest.raises(ReadError, match="more than a pack can"):
        unpack(path, tmp_path, Progress())
    data = bytearray(a_zip(tmp_path / "q.zip", ("a", b"x" * 1000)).read_bytes())
    at = data.rindex(b"PK\x01\x02")
    data[at + 24 : at + 28] = (10).to_bytes(4, "little")  # what it says it weighs
    (tmp_path / "q.zip").write_bytes(data)
    inner = tmp_path / "in"
    inner.mkdir()
    with pytest.raises(ReadError, match="damaged|larger"):
        unpack(tmp_path / "q.zip", inner, Progress())


def test_a_zip_cut_short_flipped_locked_or_none_is_told(tmp_path):
    path = a_zip(tmp_path / "p.zip", ("pack.json", json.dumps(GOOD)), ("a", b"x" * 5000))
    whole = path.read_bytes()
    flipped = bytearray(whole)
    flipped[whole.index(b"xxxx") + 9] ^= 4
    locked = bytearray(whole)
    locked[whole.rindex(b"PK\x01\x02") + 8] |= 1
    odd = bytearray(whole)
    odd[whole.rindex(b"PK\x01\x02") + 10] = 99
    for data, told in ((whole[: len(whole) // 2], "damaged or cut short"), (whole[:-1], "damaged"),
                       (b"", "damaged"), (b"text", "damaged"), (flipped, "damaged"),
                       (locked, "password"), (odd, "not usual")):  # fmt: skip
        path.write_bytes(bytes(data))
        with pytest.raises(ReadError, match=told):
            rebuild(path)


def test_what_is_no_pack_is_told(tmp_path):
    (tmp_path / "empty").mkdir()
    for place in (tmp_path / "empty", tmp_path / "nowhere", a_zip(tmp_path / "o.zip", ("a", b""))):
        with pytest.raises(ReadError, match="no pack|no such folder"):
            rebuild(place)


def test_a_pack_of_a_newer_version_says_so(tmp_path):
    with pytest.raises(ReadError, match="version 2, newer than this program reads.*Update Palpate"):
        rebuild(folder_with(tmp_path, palpate_pack=2))


@pytest.mark.parametrize(
    "changes",
    [dict(palpate_pack="1"), dict(palpate_pack=0), dict(result="../../etc/passwd"), dict(map=[]),
     dict(map=MAP | {"file": "/etc/passwd"}), dict(again=["../x"]), dict(title=7), dict(parts=None),
     dict(map=MAP | {"size": 1e400})],
    ids=str,
)  # fmt: skip
def test_a_description_that_is_damaged_or_leads_out_is_told(tmp_path, changes):
    with pytest.raises(ReadError, match="pack.json"):
        rebuild(folder_with(tmp_path, **changes))


def test_texts_that_are_none_are_told(tmp_path):
    folder = folder_with(tmp_path)
    for text in (b"", b"[", b"[" * 100_000, b"\xff\xfe", b"[]"):
        (folder / "pack.json").write_bytes(text)
        with pytest.raises(ReadError, match="pack.json"):
            described.read(folder)
    for text in (b"nonsense", b"0" * 64 + b"  ../../x\n", b"0" * 64 + b"  /etc/passwd\n", b"\xff"):
        (folder / "CHECKSUMS.sha256").write_bytes(text)
        with pytest.raises(ReadError, match="CHECKSUMS"):
            checksums.hold(folder, Progress())
    (folder / "CHECKSUMS.sha256").unlink()
    with pytest.raises(ReadError, match="is missing"):
        checksums.hold(folder, Progress())


def test_signs_that_a_terminal_obeys_are_never_printed(tmp_path):
    said: list[str] = []
    with pytest.raises(ReadError, match="result is missing"):
        rebuild(folder_with(tmp_path, title="\x1b]0;owned\x07 \x1b[2J"), say=said.append)
    assert said
    assert all(words.isprintable() for words in said)


@pytest.mark.skipif(os.name == "nt", reason="links need rights there")
def test_links_in_a_folder_are_not_followed(tmp_path):
    folder = folder_with(tmp_path)
    (folder / "map").symlink_to("/etc")
    with pytest.raises(ReadError, match="link"):
        rebuild(folder)
    (folder / "map").unlink()
    (folder / "result.h5").symlink_to("/etc/passwd")
    with pytest.raises(ReadError, match="link"):
        rebuild(folder)


@pytest.mark.skipif(os.name == "nt", reason="links need rights there")
@pytest.mark.parametrize("way", ["description", "checksums", "own folder"])
def test_links_that_an_environment_of_python_hides_are_not_followed(tmp_path, way):
    outside = tmp_path / "outside.h5"
    outside.write_bytes(b"theirs")
    hidden = "tables/x" if way == "own folder" else "work"
    name = f"{hidden}/r.h5"
    folder = folder_with(tmp_path, **({"result": name} if way == "description" else {}))
    (folder / hidden).mkdir(parents=True)
    (folder / hidden / "pyvenv.cfg").touch()
    (folder / name).symlink_to(outside)
    if way == "checksums":
        digest = hashlib.sha256(b"theirs").hexdigest()
        (folder / "CHECKSUMS.sha256").write_text(f"{digest}  {name}\n", encoding="utf-8")
    with pytest.raises(ReadError, match="it is a link to another place"):
        rebuild(folder)


@settings(max_examples=30, deadline=None,
          suppress_health_check=[HealthCheck.function_scoped_fixture])  # fmt: skip
@given(st.data())
def test_flipped_bytes_yield_words_and_never_anything_else(tmp_path_factory, data):
    tmp_path = tmp_path_factory.mktemp("flips")
    path = a_zip(tmp_path / "p.zip", ("pack.json", json.dumps(GOOD)), ("CHECKSUMS.sha256", ""),
                 ("result.h5", b"\x89HDF\r\n\x1a\n" + b"\0" * 200))  # fmt: skip
    whole = bytearray(path.read_bytes())
    for _ in range(data.draw(st.integers(1, 4))):
        whole[data.draw(st.integers(0, len(whole) - 1))] = data.draw(st.integers(0, 255))
    path.write_bytes(bytes(whole))
    with pytest.raises(PalpateError):
        rebuild(path)


@settings(max_examples=50, deadline=None)
@given(st.text(max_size=80))
def test_every_name_that_is_made_can_be_used_everywhere(words):
    name = plain_name(words)
    assert wrong_name(name) == ""
    assert name.isascii()
    assert plain_name(words, {name}) != name

