"""Written figures, read back with libraries that had no part in writing them: pypdf, Pillow and the
XML parser of Python. Millimetres by ISO 32000: 72 units of a PDF page are 25.4 mm.
"""

from __future__ import annotations

import errno
import os
import re
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest
from figures_data import found, map_sheet
from PIL import Image
from pypdf import PdfReader

from palpate.core import figures
from palpate.core.errors import Cancelled, InputError, ReadError, WriteError
from palpate.core.figures import checking, writing
from palpate.core.progress import Progress
from palpate.core.sheets import MapOptions, Panel, Sheet


def small(preset="plain", width="single", **kw):
    return Sheet("Figure 1", preset, width,
                 panels=(Panel("map", options=MapOptions(boundaries=True)),), **kw)  # fmt: skip


@pytest.fixture(scope="module")
def drawn():
    return figures.draw_sheet(small(), found())


def fonts_of(page):
    """Subtype and embedded file of each typeface."""
    for font in page["/Resources"]["/Font"].values():
        below = font.get_object()
        below = below["/DescendantFonts"][0].get_object() if "/DescendantFonts" in below else below
        yield below["/Subtype"], below["/FontDescriptor"].get_object()


def sizes_of(page):
    found = []

    def visit(text, cm, tm, _font, size):
        if text.strip():
            grown = abs(tm[0] * tm[3] - tm[1] * tm[2]) ** 0.5
            grown *= abs(cm[0] * cm[3] - cm[1] * cm[2]) ** 0.5
            found.append(size * grown)

    page.extract_text(visitor_text=visit)
    return found


@pytest.mark.parametrize(("name", "width"), [*((name, "single") for name in figures.PRESETS),
                                             ("science", "double"), ("acs", "middle")]
                         )  # fmt: skip
def test_a_pdf_of_every_preset_has_its_width_its_fonts_and_its_text(tmp_path, name, width):
    sheet = small(name, width)
    made = figures.write_sheet(tmp_path / "a.pdf", sheet, found())
    page, rules = PdfReader(tmp_path / "a.pdf").pages[0], figures.preset(name)
    wanted = {"single": rules.single, "double": rules.double, "middle": 131.25}[width]
    assert abs(float(page.mediabox.width) / 72.0 * 25.4 - wanted) < 0.1
    if rules.max_height:
        assert float(page.mediabox.height) / 72.0 * 25.4 < rules.max_height + 0.1
    kinds = list(fonts_of(page))
    assert kinds
    for kind, descriptor in kinds:
        assert kind in ("/CIDFontType2", "/TrueType")
        assert "/FontFile2" in descriptor
    assert min(sizes_of(page)) >= rules.text_min - 0.01
    said = {check.what for check in made.warnings}
    between = {"width"} if width == "middle" else set()  # ACS states none between the columns
    assert said - between <= {"typeface", "format", "panel"}, made.warnings  # faces: this computer
    assert between <= said


def test_text_of_an_svg_is_text(tmp_path, drawn):
    figures.write_drawn(tmp_path / "a.svg", drawn)
    root = ElementTree.parse(tmp_path / "a.svg").getroot()
    assert float(root.get("width").removesuffix("pt")) / 72.0 * 25.4 == pytest.approx(85.0, abs=0.1)
    texts = ["".join(node.itertext()) for node in root.iter("{http://www.w3.org/2000/svg}text")]
    assert any("Young modulus" in text for text in texts)
    assert "a" in texts
    styles = [node.get("style") for node in root.iter("{http://www.w3.org/2000/svg}text")]
    sizes = [float(re.search(r"([\d.]+)px", style)[1]) for style in styles]
    assert min(sizes) >= 6.0


@pytest.mark.parametrize(("ending", "kind"), [("png", "PNG"), ("tif", "TIFF"), ("TIFF", "TIFF")])
def test_pixels_have_the_stated_resolution(tmp_path, drawn, ending, kind):
    made = figures.write_drawn(tmp_path / f"a.{ending}", drawn)
    with Image.open(made.paths[0]) as image:
        assert image.format == kind
        assert image.mode == "RGB"
        assert image.info["dpi"][0] == pytest.approx(600.0, abs=0.01)
        assert abs(image.size[0] - 85.0 / 25.4 * 600.0) < 1.0
        if kind == "TIFF":
            assert image.tag_v2[259] == 5  # LZW, TIFF 6.0
        pixels = np.asarray(image)
    assert (pixels == figures.picture(drawn, 600)[..., :3]).all()  # what is seen is written


def test_the_same_sheet_gives_the_same_file_without_a_date(tmp_path):
    panels = (Panel("map"), Panel("map", 0, 1, options=MapOptions(axes=True)),
              Panel("components", 0, 2))  # fmt: skip
    sheet = Sheet(preset="nature", dpi=72, panels=panels)
    drawn = [figures.draw_sheet(sheet, found()) for _ in range(2)]
    for ending in ("pdf", "svg", "png", "tif"):
        both = [writing.made(ending, one) for one in drawn]
        assert both[0] == both[1], ending
        assert b"Palpate" in both[0]
        assert str(tmp_path).encode() not in both[0]
        assert not re.search(rb"(Creation|Mod)Date|dc:date", both[0])


def test_what_does_not_suit_the_preset_is_warned_of_with_figures(tmp_path):
    sheet = replace(small("nature", 250.0, font_size=4.0, dpi=72), height=180.0)
    made = figures.write_sheet(tmp_path / "a.pdf", sheet, found())
    said = {check.what: check.words for check in made.warnings}
    assert "250.0 mm wide; Nature takes 89, 120 to 136 or 183 mm" in said["width"]
    assert "180.0 mm high; Nature takes 170 mm" in said["height"]
    assert "4.0 pt; Nature asks for 5 pt" in said["text size"]
    assert "450 dpi" in said["resolution"]
    good = figures.write_sheet(tmp_path / "a.png", small("nature"), found())
    checks = {check.what: check for check in good.checks}
    assert checks["width"].state == checks["text size"].state == figures.GOOD
    assert "3242" not in checks["resolution"].words
    assert f"{int(89 / 25.4 * 450)} ×" in checks["resolution"].words
    assert "format" in {check.what for check in good.warnings}  # Nature wants PDF
    assert not any("complian" in check.words.lower() for check in good.checks)


@pytest.mark.parametrize(("preset", "width", "good"), [  # widths: see presets.toml
    ("nature", 100.0, False), ("nature", 89.05, True), ("nature", 125.0, True),
    ("nature", 140.0, False), ("science", 136.5, False), ("plos", 70.0, True),
    ("plos", 60.0, False), ("elsevier", 140.0, True), ("plain", 101.0, True),
])  # fmt: skip
def test_only_a_stated_width_is_good(preset, width, good):
    assert figures.preset(preset).takes(width, checking.EXACT) == good


def test_a_text_larger_than_stated_and_whose_rule_it_is_are_told(tmp_path):
    sheet = small("nature", font_size=14.0, dpi=72)
    checks = figures.write_sheet(tmp_path / "a.png", sheet, found()).checks
    said = {check.what: check for check in checks}
    assert said["largest text"].state == figures.WARNING
    assert "14.0 pt; Nature asks for 7 pt at most" in said["largest text"].words
    checks = figures.write_sheet(tmp_path / "b.png", small("wiley", dpi=72), found()).checks
    said = {check.what: check.words for check in checks}
    assert "6 pt at least by our own choice, Wiley states none" in said["text size"]
    assert "from memory" in said["resolution"]


@pytest.mark.parametrize("ending", ["png", "pdf"])
def test_thin_lines_and_texts_over_each_other_or_cut_are_found(tmp_path, ending):
    made = figures.draw_sheet(small("acs", dpi=72), found())
    fine = figures.write_drawn(tmp_path / f"a.{ending}", made).checks
    states = {check.what: check for check in fine}
    assert states["lines"].state == states["overlap"].state == figures.GOOD
    with figures.drawing.drawing_as(made.style):
        for text in ("one text", "another"):
            made.figure.text(0.5, 0.5, text)
        made.figure.text(0.97, 0.2, "over the edge")
        made.figure.subfigs[0].axes[0].axhline(100.0, linewidth=0.2)
    told = {check.what: check.words for check in
            figures.write_drawn(tmp_path / f"a.{ending}", made).warnings}  # fmt: skip
    assert "0.2 pt" in told["lines"]
    assert "“one text” and “another”" in told["overlap"]
    assert "“over the edge”" in told["edge"]


def test_half_transparent_things_and_outlines_are_found(tmp_path):
    made = figures.draw_sheet(small(dpi=100), found())
    made.figure.text(0.5, 0.5, "faint", alpha=0.5)
    checks = figures.write_drawn(tmp_path / "a.pdf", made).checks
    assert "transparency" in {check.what for check in checks}
    assert "transparency" in {c.what for c in figures.write_drawn(tmp_path / "a.svg", made).checks}


def test_a_missing_face_is_told_and_a_wished_one_goes_first(monkeypatch):
    from palpate.core.figures import fonts

    fonts._face.cache_clear()
    monkeypatch.setattr(fonts, "_installed", lambda: frozenset({"Arimo", "DejaVu Sans", "Mine"}))
    try:
        assert fonts.face().name == "Arimo"
        assert "Neither Arial nor Helvetica" in fonts.face().words
        assert fonts.face("Mine").words == ""
        absent = fonts.face("Absent")
        assert absent.name == "Arimo"
        assert "Absent" in absent.words
    finally:
        fonts._face.cache_clear()


# ---- bad places


@pytest.mark.parametrize(("name", "kind", "words"), [
    ("a.docx", InputError, "ends in .docx"), ("a", InputError, "without ending"),
    ("none/a.pdf", WriteError, "no folder"), ("folder.pdf", WriteError, "is a folder"),
])  # fmt: skip
def test_an_impossible_place_is_told_before_anything_is_drawn(tmp_path, monkeypatch, name, kind,
                                                              words):  # fmt: skip
    (tmp_path / "folder.pdf").mkdir()
    monkeypatch.setattr(writing, "draw_sheet", lambda *_: pytest.fail("it was drawn"))
    with pytest.raises(kind, match=words):
        figures.write_sheet(tmp_path / name, small(), found())


def test_an_existing_file_is_kept_unless_it_may_be_replaced(tmp_path, drawn):
    path = tmp_path / "a.pdf"
    path.write_bytes(b"mine")
    with pytest.raises(WriteError, match="is there already"):
        figures.write_drawn(path, drawn, replace_existing=False)
    assert path.read_bytes() == b"mine"
    figures.write_drawn(path, drawn)
    assert path.read_bytes().startswith(b"%PDF")


@pytest.mark.filterwarnings("ignore:Glyph 1")
def test_a_figure_that_can_not_be_read_back_takes_no_files_place(tmp_path):
    """By XML 1.0, section 2.2, a document can't hold U+0001."""
    path = tmp_path / "a.svg"
    path.write_bytes(b"mine")
    odd = figures.draw_sheet(small(), found())
    odd.figure.text(0.5, 0.5, "x\x01")
    with pytest.raises(ReadError, match="It was not saved") as told:
        figures.write_drawn(path, odd)
    assert str(told.value).startswith(f"{path}: ")
    assert path.read_bytes() == b"mine"
    assert list(tmp_path.iterdir()) == [path]


@pytest.mark.parametrize("ending", ["pdf", "svg", "png", "tif"])
@pytest.mark.parametrize(("number", "words"), [(errno.ENOSPC, "disk is full"),
                                               (errno.EACCES, "no permission")])  # fmt: skip
def test_a_write_that_fails_leaves_the_old_file_and_nothing_else(
    tmp_path, monkeypatch, drawn, ending, number, words
):
    path = tmp_path / f"a.{ending}"
    path.write_text("mine")

    def fails(target, data):
        with open(target, "wb") as stream:  # noqa: PTH123
            stream.write(data[: len(data) // 2])
        raise OSError(number, os.strerror(number))

    monkeypatch.setattr(Path, "write_bytes", fails)
    with pytest.raises(WriteError, match=words):
        figures.write_drawn(path, drawn)
    assert path.read_bytes() == b"mine"
    assert [one.name for one in tmp_path.iterdir()] == [path.name]


def test_a_disk_without_room_is_told_beforehand(tmp_path, monkeypatch, drawn):
    from collections import namedtuple

    from palpate.core.writers import atomic

    usage = namedtuple("usage", "total used free")
    monkeypatch.setattr(atomic.shutil, "disk_usage", lambda _: usage(10**9, 10**9, 1000))
    with pytest.raises(WriteError, match="1 kB are free"):
        figures.write_drawn(tmp_path / "a.pdf", drawn)
    assert not list(tmp_path.iterdir())


def test_a_sheet_can_be_stopped(tmp_path):
    stopped = Progress()
    stopped.cancel()
    with pytest.raises(Cancelled):
        figures.write_sheet(tmp_path / "a.pdf", small(), found(), stopped)
    assert not list(tmp_path.iterdir())


def test_pictures_of_an_analysis_are_drawn_the_same_way(tmp_path):
    written = figures.pictures(found().analysis, tmp_path, ("modulus", "drift", "adhesion"))
    assert [path.name for path in written] == ["modulus.png", "adhesion.png"]
    with Image.open(written[0]) as image:
        assert image.size[0] == round(100.0 / 25.4 * 200)
    assert map_sheet().panels[0].kind == "map"
