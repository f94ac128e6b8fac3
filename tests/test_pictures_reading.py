"""Picture files, good and bad."""

import numpy as np
import pytest
import tifffile
from PIL import Image

from palpate.core.errors import ReadError
from palpate.core.pictures.reading import read_picture

GREY = np.arange(48, dtype=np.uint8).reshape(6, 8)


def test_the_top_line_of_a_file_is_the_last_row_of_the_picture(tmp_path):
    Image.fromarray(GREY).save(tmp_path / "a.png")
    tifffile.imwrite(tmp_path / "a.tif", GREY.astype(np.uint16) * 1000)
    np.savetxt(tmp_path / "a.csv", GREY, delimiter=",")
    for name, factor in (("a.png", 1), ("a.tif", 1000), ("a.csv", 1)):
        assert np.array_equal(read_picture(tmp_path / name).values, GREY[::-1] * float(factor))


def test_the_resolution_of_a_tiff_is_its_pixel_size(tmp_path):
    tifffile.imwrite(tmp_path / "a.tif", GREY.astype(np.float32), resolution=(1e6, 1e6),
                     resolutionunit="CENTIMETER")  # fmt: skip
    assert read_picture(tmp_path / "a.tif").pixel_size == pytest.approx(10.0)  # 1 cm / 10^6


def test_colour_becomes_luminance_and_says_so(tmp_path):
    colour = np.stack([GREY, GREY * 2, GREY * 3], axis=2)
    Image.fromarray(colour).save(tmp_path / "a.png")
    found = read_picture(tmp_path / "a.png")
    assert "luminance" in found.note
    assert np.array_equal(read_picture(tmp_path / "a.png", "green").values, GREY[::-1] * 2.0)


@pytest.mark.parametrize("mode", ["P", "LA", "RGBA", "CMYK"])
def test_odd_modes_are_read_and_told(tmp_path, mode):
    name = tmp_path / ("a.jpg" if mode == "CMYK" else "a.png")
    Image.fromarray(GREY * 4).convert(mode).save(name)
    found = read_picture(name)
    assert found.values.shape == (6, 8)
    assert found.note


def test_bad_files_are_refused_in_plain_words(tmp_path):
    Image.fromarray(np.random.default_rng(0).integers(0, 255, (90, 90), np.uint8)).save(
        tmp_path / "good.png")  # fmt: skip
    whole = (tmp_path / "good.png").read_bytes()
    tifffile.imwrite(tmp_path / "good.tif", np.random.default_rng(0).random((90, 90)))
    tiff = (tmp_path / "good.tif").read_bytes()
    Image.fromarray(GREY * 0).save(tmp_path / "flat.png")
    bad = {"empty.png": b"", "text.png": b"hello there", "half.png": whole[: len(whole) // 2],
           "half.tif": tiff[: len(tiff) // 2], "one.csv": b"1\n", "ragged.csv": b"1,2\n3\n",
           "flat.png": (tmp_path / "flat.png").read_bytes()}  # fmt: skip
    for name, content in bad.items():
        (tmp_path / name).write_bytes(content)
        with pytest.raises(ReadError, match=name):
            read_picture(tmp_path / name)


def test_the_first_of_several_pages_is_taken_and_told(tmp_path):
    tifffile.imwrite(tmp_path / "a.tif", np.stack([GREY] * 3), photometric="minisblack")
    assert "3 pages" in read_picture(tmp_path / "a.tif").note
