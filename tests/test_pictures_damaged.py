"""Picture files that are too large, damaged or odd: a picture or a ReadError, nothing else."""

import struct
import warnings
import zlib

import numpy as np
import pytest
import tifffile
from PIL import Image

from palpate.core.errors import ReadError
from palpate.core.pictures import reading
from palpate.core.pictures.reading import read_picture

GREY = np.random.default_rng(0).integers(0, 255, (24, 30), np.uint8)


def png_that_declares(wide, high):
    """A PNG of the given size with hardly any data (PNG specification: length, kind, data, CRC)."""

    def chunk(kind, data):
        return struct.pack(">I", len(data)) + kind + data + struct.pack(
            ">I", zlib.crc32(kind + data))  # fmt: skip

    head = struct.pack(">IIBBBBB", wide, high, 8, 0, 0, 0, 0)
    return (b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head)
            + chunk(b"IDAT", zlib.compress(bytes(1000))) + chunk(b"IEND", b""))  # fmt: skip


@pytest.mark.parametrize("side", [9_000, 12_000, 100_000])
def test_more_pixels_than_can_be_read_are_refused_before_they_are_decoded(tmp_path, side):
    (tmp_path / "a.png").write_bytes(png_that_declares(side, side))
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        with pytest.raises(ReadError, match="million values|more pixels than can be read"):
            read_picture(tmp_path / "a.png")


def test_a_tiff_that_unpacks_to_more_than_it_declares_is_refused(tmp_path):
    tifffile.imwrite(tmp_path / "a.tif", GREY, compression="zlib")
    with tifffile.TiffFile(tmp_path / "a.tif") as file:
        page = file.pages[0]
        at, count = page.dataoffsets[0], page.databytecounts[0]
    bomb = zlib.compress(bytes(400_000), 9)
    assert len(bomb) <= count
    whole = bytearray((tmp_path / "a.tif").read_bytes())
    whole[at : at + len(bomb)] = bomb
    (tmp_path / "b.tif").write_bytes(whole)
    assert read_picture(tmp_path / "a.tif").values.shape == GREY.shape
    with pytest.raises(ReadError, match="unpacks to more"):
        read_picture(tmp_path / "b.tif")


def test_sixteen_bits_are_kept(tmp_path):
    deep = GREY.astype(np.uint16) * 257
    Image.fromarray(deep).save(tmp_path / "a.png")
    assert np.array_equal(read_picture(tmp_path / "a.png").values, deep[::-1].astype(float))


def test_the_first_frame_of_an_animated_picture_is_taken_and_told(tmp_path):
    first, second = Image.fromarray(GREY), Image.fromarray(255 - GREY)
    first.save(tmp_path / "a.png", save_all=True, append_images=[second])
    found = read_picture(tmp_path / "a.png")
    assert "first one was taken" in found.note
    assert np.array_equal(found.values, GREY[::-1].astype(float))


def read_or_refused(path):
    """Whether it was read; if not, the error names the file."""
    try:
        read_picture(path)
    except ReadError as error:
        said = str(error)
    else:
        return True
    assert path.name in said
    return False


@pytest.mark.parametrize("name", ["a.png", "a.jpg", "a.tif", "packed.tif"])
def test_flipped_and_missing_bytes_are_never_anything_but_a_read_error(tmp_path, name):
    path, rng = tmp_path / name, np.random.default_rng(1)
    if name == "packed.tif":
        tifffile.imwrite(path, GREY, compression="zlib")
    else:
        Image.fromarray(GREY).save(path)
    whole, refused = path.read_bytes(), 0
    for k in range(150):
        bad = bytearray(whole)
        for at in rng.integers(0, min(len(bad), 250 if k % 2 else len(bad)), 1 + k % 4):
            bad[at] ^= int(rng.integers(1, 256))
        if k % 10 == 0:
            bad = bad[: int(rng.integers(1, len(bad)))]
        path.write_bytes(bad)
        refused += not read_or_refused(path)
    assert refused > 20  # the damage does reach what is read


def test_a_file_of_our_own_kind_goes_through_the_other_process_first(tmp_path, monkeypatch):
    import h5py

    from palpate.core.readers.child import INSPECTOR

    with h5py.File(tmp_path / "a.h5", "w") as file:
        file["x"] = 1

    def refuse(seen, module):
        assert module == reading.__name__
        raise ReadError(seen.path, "the other process said no")

    monkeypatch.setattr(INSPECTOR, "inspect", refuse)
    monkeypatch.setattr("palpate.core.readers.guard.GuardedFile.__init__", pytest.fail)
    with pytest.raises(ReadError, match="said no"):
        read_picture(tmp_path / "a.h5")


def test_a_damaged_file_of_our_own_kind_is_refused_by_the_other_process(tmp_path):
    import h5py

    with h5py.File(tmp_path / "a.h5", "w") as file:
        file["x"] = np.arange(1000)
    bad = bytearray((tmp_path / "a.h5").read_bytes())
    bad[96:400] = b"\xff" * 304
    (tmp_path / "a.h5").write_bytes(bad)
    with pytest.raises(ReadError, match="a.h5"):
        read_picture(tmp_path / "a.h5")
