"""A file that is no map, is damaged or is hostile gives one plain sentence and nothing else."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
import zlib

import h5py
import numpy as np
import pytest
from native_files import bent, good_map, put, use

from palpate.core.errors import ReadError
from palpate.core.readers import open_map
from palpate.core.readers.child import Inspector
from palpate.core.readers.door import look

C = "entry/curves"


def refused(path, *words: str) -> str:
    """Opening and using the file raises a ReadError that names it and says these words."""
    with pytest.raises(ReadError) as caught:
        use(path)
    message = str(caught.value)
    assert str(path) in message
    assert message.endswith((".", "!"))
    for word in words:
        assert word in message, message
    assert "Traceback" not in message
    return message


# -- paths and whole files --------------------------------------------------------------------


def test_a_name_without_a_file(tmp_path):
    refused(tmp_path / "none.h5", "no such file")


def test_a_folder(tmp_path):
    refused(tmp_path, "folder")


def test_an_empty_file(tmp_path):
    (tmp_path / "a.h5").write_bytes(b"")
    refused(tmp_path / "a.h5", "empty")


def test_text_under_the_name_of_a_map(tmp_path):
    (tmp_path / "a.h5").write_text("z,deflection\n1,2\n" * 100)
    refused(tmp_path / "a.h5", "not a map", "write_map")


def test_hdf5_of_another_layout_says_how_to_bring_the_data_in(tmp_path):
    with h5py.File(tmp_path / "a.h5", "w") as f:
        f["measurement/volts"] = np.zeros((3, 4))
    refused(tmp_path / "a.h5", "layout", "not known", "palpate.core.write_map")


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="needs named pipes")
def test_pipes_and_devices_are_not_waited_for(tmp_path):
    os.mkfifo(tmp_path / "a.h5")
    begin = time.perf_counter()
    refused(tmp_path / "a.h5", "not a file")
    with pytest.raises(ReadError, match="not a file"):
        open_map("/dev/zero")
    assert time.perf_counter() - begin < 5


@pytest.mark.skipif(os.name == "nt", reason="links need rights there")
def test_broken_and_circular_links(tmp_path):
    (tmp_path / "gone.h5").symlink_to(tmp_path / "nothing")
    refused(tmp_path / "gone.h5", "leads to a file that is gone")
    (tmp_path / "loop.h5").symlink_to(tmp_path / "loop.h5")
    refused(tmp_path / "loop.h5", "can't be opened")
    good_map(tmp_path / "good.h5")
    (tmp_path / "link.h5").symlink_to(tmp_path / "good.h5")
    use(tmp_path / "link.h5")


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="root may read all")
def test_a_file_that_may_not_be_read(tmp_path):
    good_map(tmp_path / "a.h5").chmod(0)
    refused(tmp_path / "a.h5", "permission")


@pytest.mark.parametrize("kept", [0.02, 0.5, 0.9, -1])
def test_a_truncated_file(tmp_path, kept):
    whole = good_map(tmp_path / "a.h5").read_bytes()
    (tmp_path / "a.h5").write_bytes(whole[:-1] if kept == -1 else whole[: int(kept * len(whole))])
    refused(tmp_path / "a.h5", "cut short", "Copy the file again")


def test_a_user_block_before_the_signature_does_no_harm(tmp_path):
    whole = good_map(tmp_path / "a.h5")
    with h5py.File(tmp_path / "b.h5", "w", userblock_size=1024) as new, h5py.File(whole) as old:
        for name in old:
            old.copy(name, new)
    use(tmp_path / "b.h5")


def test_a_flipped_byte_in_a_checked_chunk_names_samples_and_curves(tmp_path):
    path = good_map(tmp_path / "a.h5")
    with h5py.File(path) as f:
        info = f[f"{C}/deflection"].id.get_chunk_info(0)
    whole = bytearray(path.read_bytes())
    whole[info.byte_offset + info.size // 2] ^= 0x10
    path.write_bytes(whole)
    refused(path, "deflection", "damaged", "curve")


def test_a_chunk_damaged_after_the_first_look_names_the_curves(tmp_path):
    path = good_map(tmp_path / "a.h5")
    with open_map(path) as m:
        with h5py.File(path) as f:
            info = f[f"{C}/deflection"].id.get_chunk_info(0)
        with path.open("r+b") as raw:
            raw.seek(info.byte_offset + info.size // 2)
            byte = raw.read(1)
            raw.seek(-1, os.SEEK_CUR)
            raw.write(bytes([byte[0] ^ 0x10]))
        where = "deflection, samples 240 to 479, curves 3 to 5: a block of it is damaged"
        with pytest.raises(ReadError, match=where):
            m.read_block(np.array([3, 4, 5]))


@pytest.mark.skipif(os.name == "nt", reason="open files can't be removed there")
def test_a_file_removed_while_open_can_still_be_read_to_its_end(tmp_path):
    path = good_map(tmp_path / "a.h5")
    with open_map(path) as m:
        path.unlink()
        m.load()
        assert m.resident
    refused(path, "no such file")


def test_a_file_locked_by_a_writer(tmp_path):
    path = good_map(tmp_path / "a.h5")
    code = ("import h5py, sys\nf = h5py.File(sys.argv[1], 'r+', locking=True)\n"
            "print('ready', flush=True)\nsys.stdin.readline()")  # fmt: skip
    with subprocess.Popen([sys.executable, "-c", code, str(path)], stdin=subprocess.PIPE,
                          stdout=subprocess.PIPE, text=True) as writer:  # fmt: skip
        assert writer.stdout.readline().strip() == "ready"
        refused(path, "a.h5")
        writer.stdin.write("\n")


# -- what lies inside -------------------------------------------------------------------------


def external_link(f):
    del f[f"{C}/z"]
    f[f"{C}/z"] = h5py.ExternalLink("other.h5", f"{C}/z")


def external_link_in_the_middle(f):
    del f["entry/curves"]
    f["entry/curves"] = h5py.ExternalLink("other.h5", "entry/curves")


def soft_link(f):
    f.move(f"{C}/z", f"{C}/hidden")
    f[f"{C}/z"] = h5py.SoftLink(f"/{C}/hidden")


def soft_link_loop(f):
    del f[f"{C}/z"]
    f[f"{C}/z"] = h5py.SoftLink(f"/{C}/z")


def external_storage(f):
    size = f[f"{C}/deflection"].size
    put(f, f"{C}/deflection", shape=(size,), dtype="i2", external=[("/etc/hostname", 0, 2 * size)])


def virtual(f):
    size = f[f"{C}/z"].size
    layout = h5py.VirtualLayout((size,), "i2")
    layout[:] = h5py.VirtualSource("missing.h5", "z", (size,))
    kept = dict(f[f"{C}/z"].attrs)
    del f[f"{C}/z"]
    f.create_virtual_dataset(f"{C}/z", layout).attrs.update(kept)


def shape_bomb(f):
    for name in ("z", "deflection"):
        put(f, f"{C}/{name}", shape=(10**12,), dtype="i2", chunks=(65536,))


def index_bomb(f):
    put(f, f"{C}/curve_start", shape=(10**11,), dtype="u8", chunks=(8192,))


def many_small_bombs(f):
    for name in ("z", "deflection"):
        put(f, f"{C}/{name}", shape=(2**25 - 1,), dtype="i2", chunks=(65536,))


def giant_chunk(f):
    put(f, f"{C}/z", np.zeros(f[f"{C}/z"].size, "i2"), chunks=(2**26,), maxshape=(None,),
        compression="gzip")  # fmt: skip


def unknown_filter(f):
    plist = h5py.h5p.create(h5py.h5p.DATASET_CREATE)
    plist.set_chunk((64,))
    plist.set_filter(32_123, h5py.h5z.FLAG_OPTIONAL, ())
    space = h5py.h5s.create_simple((f[f"{C}/z"].size,))
    kept = dict(f[f"{C}/z"].attrs)
    del f[f"{C}/z"]
    h5py.h5d.create(f[C].id, b"z", h5py.h5t.STD_I16LE, space, plist)
    f[f"{C}/z"].attrs.update(kept)


def group_for_dataset(f):
    del f[f"{C}/z"]
    f.create_group(f"{C}/z")


def dataset_for_group(f):
    del f[C]
    f[C] = np.zeros(3)


def no_channel(f):
    del f[f"{C}/deflection"]


def no_index(f):
    del f[f"{C}/segment_count"]


def unequal_channels(f):
    put(f, f"{C}/z", np.zeros(17, "i2"))


def null_space(f):
    put(f, f"{C}/z", h5py.Empty("i2"))


def scalar_channel(f):
    put(f, f"{C}/z", np.int16(3))


def square_channel(f):
    put(f, f"{C}/z", np.zeros((30, 32), "i2"))


def other_layout(f):
    f[C].attrs["layout"] = "ragged-9"


def no_curves(f):
    for name, shape in (("curve_start", (0,)), ("segment_count", (0, 2)), ("pixel", (0, 2))):
        put(f, f"{C}/{name}", shape=shape, dtype="u4")


@pytest.mark.parametrize(
    ("bend", "words"),
    [
        (external_link, "link"), (external_link_in_the_middle, "link"), (soft_link, "link"),
        (soft_link_loop, "link"), (external_storage, "another file"), (virtual, "other files"),
        (shape_bomb, "declares"), (index_bomb, "declares"), (many_small_bombs, "declares"),
        (giant_chunk, "chunks"), (unknown_filter, "filter"), (group_for_dataset, "group"),
        (dataset_for_group, "dataset"), (no_channel, "neither a deflection nor a force"),
        (no_index, "segment_count: it is missing"), (unequal_channels, "17"),
        (null_space, "empty"), (scalar_channel, "dimensions"), (square_channel, "dimensions"),
        (other_layout, "ragged-9"), (no_curves, "no complete curve"),
    ],
)  # fmt: skip
def test_a_bent_file_is_refused_by_name(tmp_path, bend, words):
    good_map(tmp_path / "other.h5")
    with bent(tmp_path / "a.h5") as f:
        bend(f)
    refused(tmp_path / "a.h5", words)


@pytest.mark.parametrize(
    "data",
    [
        np.zeros(960, np.dtype([("a", "i2"), ("b", "f4")])),
        np.array([b"text"] * 960),
        np.zeros(960, "c8"),
        np.zeros(960, bool),
        np.zeros(960, "i2").astype(h5py.enum_dtype({"A": 0}, basetype="i2")),
        np.array(["text"] * 960, dtype=h5py.string_dtype()),
        np.array([np.zeros(2)] * 960 + [None], dtype=h5py.vlen_dtype("f8"))[:-1],
        np.zeros(960, h5py.ref_dtype),
        np.zeros(960, np.dtype("V3")),
    ],
    ids=["compound", "string", "complex", "bool", "enum", "text", "ragged", "reference", "opaque"],
)
def test_samples_that_are_not_numbers_are_refused(tmp_path, data):
    with bent(tmp_path / "a.h5") as f:
        if data.dtype == h5py.ref_dtype:
            put(f, f"{C}/z", shape=(960,), dtype=h5py.ref_dtype)
        else:
            put(f, f"{C}/z", data)
    refused(tmp_path / "a.h5", "curves/z", "numbers should be")


def test_an_index_of_fractions_is_refused(tmp_path):
    with bent(tmp_path / "a.h5") as f:
        put(f, f"{C}/curve_start", f[f"{C}/curve_start"][:].astype("f8"))
    refused(tmp_path / "a.h5", "whole numbers")


def test_cycles_depth_and_crowds_beside_the_map_do_no_harm(tmp_path):
    with bent(tmp_path / "a.h5") as f:
        f[f"{C}/up"] = f["entry"]
        deep = f
        for _ in range(1000):
            deep = deep.create_group("d")
        crowd = f.create_group("crowd")
        for i in range(5000):
            crowd.create_group(str(i))
    begin = time.perf_counter()
    use(tmp_path / "a.h5")
    assert time.perf_counter() - begin < 5


def test_a_long_or_broken_title_is_bounded_and_cleaned(tmp_path):
    with bent(tmp_path / "a.h5") as f:
        put(f, "entry/title", np.bytes_(b"M\xff\x07" + b"x" * 50_000))
    with open_map(tmp_path / "a.h5") as m:
        assert m.title.startswith("M��xxx")
    with h5py.File(tmp_path / "a.h5", "r+") as f:
        put(f, "entry/title", "y" * 10**6, dtype=h5py.string_dtype())
    with open_map(tmp_path / "a.h5") as m:
        assert len(m.title) == 64 * 1024
    with h5py.File(tmp_path / "a.h5", "r+") as f:
        put(f, "entry/title", np.zeros(3))
    refused(tmp_path / "a.h5", "entry/title", "text should be")


# -- packed chunks ----------------------------------------------------------------------------


def packed(path, *, chunk=64, n=960, **how):
    """A good map whose deflection lies in many small chunks; returns its values."""
    values = np.arange(n, dtype="<i2")
    with bent(path) as f:
        put(f, f"{C}/deflection", values, chunks=(chunk,), **how)
    return values


@pytest.mark.parametrize("dtype", ["<i2", ">i2", "i1", "<f4", ">f8", "<i4"])
@pytest.mark.parametrize("how", [{}, {"shuffle": True}, {"fletcher32": True},
                                 {"shuffle": True, "fletcher32": True}])  # fmt: skip
@pytest.mark.parametrize("gzip", [True, False])
def test_samples_in_chunks_are_what_the_library_reads(tmp_path, dtype, how, gzip):
    values = (np.arange(960) * 7 % 101).astype(dtype)
    more = {"compression": "gzip"} if gzip else {}
    with bent(tmp_path / "a.h5") as f:
        put(f, f"{C}/deflection", values, chunks=(100,), **how, **more)
    with open_map(tmp_path / "a.h5") as m:
        for a, b in ((0, 960), (3, 4), (99, 101), (100, 200), (150, 950), (950, 960), (5, 5)):
            np.testing.assert_array_equal(m.source.read("signal", a, b), values[a:b])


def test_a_chunk_that_was_never_written_holds_the_fill_value(tmp_path):
    with bent(tmp_path / "a.h5") as f:
        put(f, f"{C}/deflection", shape=(960,), dtype="f4", chunks=(64,), compression="gzip",
            fillvalue=np.nan)  # fmt: skip
        f[f"{C}/deflection"][64:128] = 1.0
    with open_map(tmp_path / "a.h5") as m:
        m.load()
        signal = m.read_block(np.arange(12)).signal
        assert np.flatnonzero(signal == 1.0).tolist() == list(range(64, 128))
        assert np.isnan(signal).sum() == 960 - 64


@pytest.mark.parametrize(
    ("raw", "mask"),
    [
        (zlib.compress(b"\0" * 10), 0),  # too short: crashes the HDF5 library
        (zlib.compress(b"\0" * 10_000_000), 0),  # far too long
        (zlib.compress(b"\0" * 127), 0),
        (zlib.compress(b"\0" * 129), 0),
        (zlib.compress(b"\0" * 128)[:-2], 0),  # without the end of its check sum
        (b"nonsense", 0),
        (b"\0" * 10, 1),  # said to be unpacked, but too short
    ],
)
def test_a_chunk_that_unpacks_to_another_size_is_refused_wherever_it_lies(tmp_path, raw, mask):
    for chunk in (0, 7, 14):
        values = packed(tmp_path / "a.h5", compression="gzip")
        with h5py.File(tmp_path / "a.h5", "r+") as f:
            f[f"{C}/deflection"].id.write_direct_chunk((64 * chunk,), raw, mask)
        refused(tmp_path / "a.h5", "deflection", "block of it")
    assert values.size == 960


def test_a_chunk_left_unpacked_by_its_writer_is_read(tmp_path):
    values = packed(tmp_path / "a.h5", compression="gzip")
    with h5py.File(tmp_path / "a.h5", "r+") as f:
        f[f"{C}/deflection"].id.write_direct_chunk((128,), values[128:192].tobytes(), 1)
    with open_map(tmp_path / "a.h5") as m:
        np.testing.assert_array_equal(m.source.read("signal", 0, 960), values)


def test_filters_in_an_odd_order_are_refused(tmp_path):
    plist = h5py.h5p.create(h5py.h5p.DATASET_CREATE)
    plist.set_chunk((64,))
    plist.set_deflate(1)
    plist.set_shuffle()
    with bent(tmp_path / "a.h5") as f:
        kept = dict(f[f"{C}/z"].attrs)
        del f[f"{C}/z"]
        space = h5py.h5s.create_simple((960,))
        h5py.h5d.create(f[C].id, b"z", h5py.h5t.STD_I16LE, space, plist)
        f[f"{C}/z"].attrs.update(kept)
    refused(tmp_path / "a.h5", "filters")


# -- the other process ------------------------------------------------------------------------

_ANSWER = "import sys\nprint('ready', flush=True)\nsys.stdin.readline()\n"


@pytest.mark.skipif(os.name == "nt", reason="no signals there")
def test_a_crash_of_the_library_is_a_message_and_the_next_file_opens(tmp_path):
    seen = look(good_map(tmp_path / "a.h5"))
    crash = _ANSWER + "import os, signal\nos.kill(os.getpid(), signal.SIGSEGV)"
    inspector = Inspector([sys.executable, "-c", crash])
    try:
        for _ in range(2):  # it is started again
            with pytest.raises(ReadError, match=rf"crashes.*{-signal.SIGSEGV.value}"):
                inspector.inspect(seen, "palpate.core.readers.native")
    finally:
        inspector.stop()


def test_a_file_that_takes_for_ever_is_given_up(tmp_path):
    seen = look(good_map(tmp_path / "a.h5"))
    inspector = Inspector([sys.executable, "-c", _ANSWER + "import time\ntime.sleep(60)"], 1.0)
    begin = time.perf_counter()
    try:
        with pytest.raises(ReadError, match="longer|crashes"):
            inspector.inspect(seen, "palpate.core.readers.native")
    finally:
        inspector.stop()
    assert time.perf_counter() - begin < 10


def test_without_a_second_process_the_guard_still_reads(tmp_path):
    seen = look(good_map(tmp_path / "a.h5"))
    for command in ([str(tmp_path / "no-such-program")], [""], [sys.executable, "-c", "1/0"]):
        inspector = Inspector(command)
        inspector.inspect(seen, "palpate.core.readers.native")  # no exception
        inspector.stop()


def test_the_other_process_says_what_the_reader_says_and_asks_once(tmp_path):
    inspector = Inspector()
    try:
        bad = tmp_path / "bad.h5"
        with bent(bad) as f:
            soft_link(f)
        with pytest.raises(ReadError, match="link"):
            inspector.inspect(look(bad), "palpate.core.readers.native")
        good = look(good_map(tmp_path / "good.h5"))
        inspector.inspect(good, "palpate.core.readers.native")
        inspector.stop()
        inspector._command = [sys.executable, "-c", _ANSWER]  # would end at the next question
        inspector.inspect(good, "palpate.core.readers.native")
        with pytest.raises(ReadError, match="crashes"):
            inspector.inspect(look(good_map(tmp_path / "new.h5")), "palpate.core.readers.native")
    finally:
        inspector.stop()
