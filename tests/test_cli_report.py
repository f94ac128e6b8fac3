"""``palpate report``: the report of a result or a map on the command line."""

from __future__ import annotations

import numpy as np
import pytest
from pypdf import PdfReader
from report_reading import bare, coarse, read_page
from shell_maps import map_file

from palpate.core.cli import main
from palpate.core.corrections import reviewed
from palpate.core.decisions import Pixels, Review
from palpate.core.pipeline import analyse
from palpate.core.readers import open_map
from palpate.core.settings import Settings
from palpate.core.work import Work
from palpate.core.workfile import Beside, save_analysis


@pytest.fixture(autouse=True, scope="module")
def _coarse():
    with coarse(panels=0):
        yield


@pytest.fixture(scope="module")
def result(tmp_path_factory):
    """A saved result with one decision and one changed setting, and its map."""
    folder = tmp_path_factory.mktemp("maps")
    path = map_file(folder)
    settings = Settings().with_value("sample.poisson_ratio", 0.45)
    with open_map(path) as fmap:
        out = np.zeros(fmap.shape, bool)
        out[2, 3:5] = True
        work = Work(settings, review=Review().leave_out(Pixels.of(out), "two odd ones", "me"))
        save_analysis(folder / "r.h5", reviewed(analyse(fmap, settings), work.review),
                      Beside(work=work))  # fmt: skip
    return folder / "r.h5", path


def test_both_files_of_a_saved_result_tell_what_was_decided(result, tmp_path, capsys):
    saved, _ = result
    page, pdf = tmp_path / "r.html", tmp_path / "r.pdf"
    assert main(["report", str(saved), "--out", str(page), "--out", str(pdf), "--quiet"]) == 0
    assert f"Report: {page}" in capsys.readouterr().out
    texts = " ".join(read_page(page).texts)
    printed = bare(" ".join(one.extract_text() for one in PdfReader(pdf).pages))
    for words in ("two odd ones", "r.h5", "blend.h5", "sample.poisson_ratio"):
        assert words in texts
        assert bare(words) in printed
    assert "1 setting differs from the defaults" in texts


def test_a_map_is_analysed_under_the_settings_given(result, tmp_path):
    _, fmap = result
    page = tmp_path / "m.html"
    words = ["report", str(fmap), "--set", "fit.fraction_from=15", "--out", str(page), "--quiet"]
    assert main(words) == 0
    assert "From (fit.fraction_from): 15 % in place of 10 %" in " ".join(read_page(page).texts)


def test_nothing_is_replaced_or_begun_that_cannot_be(result, tmp_path, capsys):
    saved, fmap = result
    old = tmp_path / "old.html"
    old.write_text("old")
    told = {
        "--replace": (2, [str(saved), "--out", str(old)]),
        ".html or as .pdf": (2, [str(saved), "--out", str(tmp_path / "a.doc")]),
        "same file twice": (2, [str(saved), "--out", str(tmp_path / "a.pdf"),
                                "--out", str(tmp_path / "." / "a.pdf")]),
        "no folder": (2, [str(saved), "--out", str(tmp_path / "none" / "a.pdf")]),
        "has its own settings": (2, [str(saved), "--out", str(tmp_path / "a.pdf"),
                                     "--set", "fit.law=cone"]),
        "--source": (1, [str(saved), "--out", str(tmp_path / "a.pdf"), "--source", "/none/x"]),
    }  # fmt: skip
    for words, (code, given) in told.items():
        assert main(["report", *given, "--quiet"]) == code, words
        assert words in capsys.readouterr().err
    assert [p.name for p in tmp_path.iterdir()] == ["old.html"]
    assert old.read_text() == "old"
    assert main(["report", str(saved), "--out", str(old), "--replace", "--quiet"]) == 0
    assert read_page(old).texts
    assert fmap.exists()
