"""The command ``methods``: a paragraph from a map or a saved result, its files and its messages."""

from __future__ import annotations

import os
import re
from pathlib import Path

import pytest
from shell_maps import map_file

from palpate.core.cli import main
from palpate.core.findings import opened_findings
from palpate.core.methods import paragraph
from palpate.core.work import Answers, Work
from palpate.core.workfile import Beside, save_analysis


@pytest.fixture(scope="module")
def blend(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return map_file(tmp_path_factory.mktemp("maps"))


@pytest.fixture(scope="module")
def result(blend: Path) -> Path:
    """A saved result with an answer."""
    path = blend.with_name("blend_result.h5")
    with opened_findings(blend) as found:
        answers = Answers().with_answer("humidity", "45 %")
        save_analysis(path, found.analysis, Beside(work=Work(answers=answers)))
    return path


def test_a_map_is_described_under_the_chosen_settings_and_its_gaps_are_told(blend, capsys):
    assert main(["methods", str(blend), "--set", "fit.contact=threshold", "--quiet"]) == 0
    out, told = capsys.readouterr()
    assert "by a threshold" in out
    assert "“blend.h5”" in out
    assert "[… in which medium? …]" in out
    assert "gaps are to be filled" in told
    assert "in which medium?" in told


def test_a_result_is_described_with_its_answers_in_every_form(blend, result, tmp_path, capsys):
    with opened_findings(result) as found:
        made = paragraph(found)
    assert "a relative humidity of 45 %" in made.text
    assert "stand in the result file “blend_result.h5”" in made.text
    wanted = {".txt": made.text, ".md": made.markdown, ".html": made.html}
    for ending, text in wanted.items():
        out = tmp_path / f"methods{ending}"
        assert main(["methods", str(result), "--out", str(out), "--quiet"]) == 0
        assert text in out.read_text(encoding="utf-8")
    both = [tmp_path / "both.txt", tmp_path / "both.csv"]
    assert main(["methods", str(result), "--out", str(both[0]), "--out", str(both[1])]) == 0
    assert all(path.stat().st_size for path in both)
    bib = tmp_path / "methods.bib"
    table = tmp_path / "methods.csv"
    assert main(["methods", str(result), "--out", str(table), "--bibtex", str(bib)]) == 0
    assert bib.read_text(encoding="utf-8").count("@") == len(made.references)
    assert re.search(r"45 %.*,answered|answered", table.read_text(encoding="utf-8"))
    capsys.readouterr()


def test_what_can_not_be_done_is_refused_in_words(blend, result, tmp_path, capsys):
    there = tmp_path / "there.txt"
    there.write_text("mine", encoding="utf-8")
    assert main(["methods", str(result), "--out", str(there)]) == 1
    assert "exists already" in capsys.readouterr().err
    assert there.read_text(encoding="utf-8") == "mine"
    assert main(["methods", str(result), "--out", str(there), "--replace", "--quiet"]) == 0
    assert "Sample and measurement" in there.read_text(encoding="utf-8")
    capsys.readouterr()
    for words, code, said in (
        (["--out", "x.docx"], 2, "must end in one of .txt, .md, .html, .csv"),
        (["--set", "fit.law=cone"], 2, "has its own settings"),
        (["--out", "a.txt", "--bibtex", "a.txt"], 2, "choose two names"),
    ):
        assert main(["methods", str(result), *words]) == code
        assert said in capsys.readouterr().err
    assert main(["methods", str(blend), "--out", str(tmp_path / "no" / "x.txt"), "--quiet"]) == 1
    assert "no folder" in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == [there]
    blend_bytes = blend.read_bytes()
    linked = tmp_path / "same.bib"
    os.link(blend, linked)  # another name of the measured map
    for words, said in ((["--bibtex", str(blend)], "must end in .bib"),
                        (["--bibtex", str(linked)], "is a file that is read")):  # fmt: skip
        for given in (result, blend):
            assert main(["methods", str(given), *words, "--replace", "--quiet"]) == 2
            assert said in capsys.readouterr().err
    assert blend.read_bytes() == blend_bytes
