"""Presets are data with a source, a person's own file is checked, and sheets are laid out by them.
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from palpate.core import figures
from palpate.core.errors import ReadError, SettingsError
from palpate.core.figures import layout, presets
from palpate.core.figures.captions import in_form
from palpate.core.sheets import Panel, Sheet

OURS = ("plain", "slide", "poster")


def test_every_preset_says_where_it_comes_from():
    assert {"nature", "science", "acs", "rsc", "elsevier", "wiley", "aps", "aip", "iop", "pnas",
            "plos", *OURS} == set(figures.PRESETS)  # fmt: skip
    for one in figures.PRESETS.values():
        assert one.read in presets.READ
        assert one.stage
        assert one.note
        assert re.fullmatch(r"\d{4}-\d{2}", one.retrieved)
        assert one.source_url.startswith("https://") == (one.id not in OURS)
        assert "complian" not in (one.note + one.source).lower()


@pytest.mark.parametrize(("name", "widths", "text"), [
    # the publishers' own figures, see presets; half way between where they state no middle
    ("nature", (89.0, 120.0, 183.0), 5.0), ("science", (90.0, (90.0 + 183.0) / 2, 183.0), 6.0),
    ("acs", (84.7, (84.7 + 177.8) / 2, 177.8), 4.5),
    ("rsc", (83.0, (83.0 + 171.0) / 2, 171.0), 7.0),
    ("elsevier", (90.0, 140.0, 190.0), 6.0), ("pnas", (87.0, 114.0, 178.0), 6.0),
])  # fmt: skip
def test_widths_are_the_stated_ones(name, widths, text):
    one = figures.preset(name)
    assert tuple(one.width(Sheet(width=w)) for w in ("single", "middle", "double")) == widths
    assert bool(one.middle) == one.takes(widths[1], 0.1)  # half way is no width that is taken
    assert one.width(Sheet(width=101.5)) == 101.5
    assert one.text_min == text


def test_a_style_keeps_above_the_smallest_text():
    for one in figures.PRESETS.values():
        style = one.style(Sheet(preset=one.id))
        assert style.small >= one.text_min
        assert style.font_size == one.text
        assert style.thin >= one.line_min
    asked = figures.preset("rsc").style(Sheet(preset="rsc", font_size=5.0, dpi=300))
    assert (asked.font_size, asked.small, asked.dpi) == (5.0, 5.0, 300)  # drawn, and warned of
    assert asked.label("Modulus", "GPa") == "Modulus / GPa"
    assert figures.preset("aps").style(Sheet()).label("Modulus", "GPa") == "Modulus (GPa)"


@pytest.mark.parametrize(("number", "form", "letter"), [
    (0, "a", "a"), (1, "A", "B"), (2, "(a)", "(c)"), (3, "a)", "d)"), (25, "(A)", "(Z)"),
    (26, "a", "aa"), (27, "A", "AB"),
])  # fmt: skip
def test_letters_take_the_form_of_the_preset(number, form, letter):
    assert in_form(number, form) == letter


def own(tmp_path, change=("", "")):
    text = Path(presets.__file__).with_name("presets.toml").read_text(encoding="utf-8")
    text = "[mine]" + text.split("[nature]")[1].split("[science]")[0]
    path = tmp_path / "mine.toml"
    path.write_text(text.replace(*change) if change[0] else text, encoding="utf-8")
    return path


def test_a_person_adds_presets_of_their_own(tmp_path, monkeypatch):
    monkeypatch.setattr(presets, "PRESETS", dict(presets.PRESETS))
    (made,) = presets.load_presets(own(tmp_path, ("single = 89.0", "single = 71.5")))
    assert presets.preset("mine") == made
    assert made.width(Sheet(width="single")) == 71.5


def test_a_file_in_its_place_is_read_and_a_faulty_one_told(tmp_path, monkeypatch):
    monkeypatch.setattr(presets, "PRESETS", dict(presets.PRESETS))
    place = tmp_path / "presets.toml"
    monkeypatch.setattr(presets, "own_file", lambda: place)
    assert presets.load_own() == ""
    own(tmp_path).rename(place)
    assert presets.load_own() == ""
    assert "mine" in presets.PRESETS
    place.write_text("[mine]\nsingle = 3")
    assert "Your own presets were not read" in presets.load_own()
    assert str(place) in presets.load_own()


@pytest.mark.parametrize(("change", "words"), [
    (("single = 89.0", ""), "“single” is missing"),
    (("single = 89.0", "single = true"), "“single” is no number"),
    (("single = 89.0", "single = nan"), "“single” is no number"),
    (("single = 89.0", "single = 500.0"), "one column is wider than two"),
    (("single = 89.0", "singel = 89.0"), "“singel” is unknown"),
    (('letter = "a"', 'letter = "i."'), "“letter” is none of a, A"),
    (('formats = ["pdf"]', 'formats = ["docx"]'), "“formats” is no list of pdf"),
    (("text_min = 5.0", "text_min = 9.0"), "smaller than the smallest"),
    (("text_max = 7.0", "text_max = 6.0"), "larger than the largest"),
    (("[[120.0, 136.0]]", "[[136.0, 120.0]]"), "“ranges” is no list of pairs"),
    (('line_min = "memory"', 'colour = "memory"'), "“known” is no table"),
    (("dpi = 450", "dpi = 3"), "dpi are not"),
    (('read = "page"', 'read = "rumour"'), "“read” is none of"),
    (("[mine]", "[mine"), "can't be read"),
    (("letter_bold = true", "letter_bold = 1"), "neither true nor false"),
])  # fmt: skip
def test_a_faulty_file_is_refused_by_its_place(tmp_path, change, words):
    path = own(tmp_path, change)
    with pytest.raises(ReadError, match=re.escape(words)) as told:
        presets.read_presets(path)
    assert str(path) in str(told.value)


def test_a_file_that_is_not_there_is_told(tmp_path):
    with pytest.raises(ReadError, match="can't be read"):
        presets.read_presets(tmp_path / "none.toml")
    with pytest.raises(SettingsError, match="one of plain, nature"):
        figures.preset("unheard")


# ---- the layout, without drawing


def planned(sheet, wanted):
    one = figures.preset(sheet.preset)
    return layout.plan(sheet, one, one.style(sheet), wanted)


def test_panels_lie_on_the_grid_and_nowhere_else():
    panels = (Panel("map", 0, 0, 2, 1), Panel("map", 0, 1), Panel("map", 1, 1),
              Panel("map", 2, 0, 1, 2, lettered=False))  # fmt: skip
    sheet = Sheet(preset="nature", width="double", panels=panels, widths=(2.0, 1.0))
    made = planned(sheet, [200.0, 80.0, 90.0, 60.0])
    assert made.width / layout.MM == pytest.approx(183.0)
    left, upper, lower, foot = made.bodies
    wide = [box[2] - box[0] for box in made.bodies]
    assert wide[0] == pytest.approx(2.0 * wide[1])
    assert upper[0] == lower[0] > left[2]
    assert left[3] == upper[3]
    assert left[1] == lower[1]
    assert foot[0] == left[0]
    assert foot[2] == upper[2]
    for at, box in enumerate(made.bodies):
        high = box[3] - box[1]
        assert high >= [200.0, 80.0, 90.0, 60.0][at] - 1e-6
        assert 0.0 < box[0] < box[2] < made.width
        assert 0.0 < box[1] < box[3] < made.height
    assert made.heads[3][3] == made.heads[3][1]  # no letter in that row, so no head


def test_a_given_height_is_kept_and_too_little_is_refused():
    panels = (Panel("map"), Panel("map", 1, 0))
    sheet = Sheet(preset="nature", height=80.0, panels=panels, heights=(3.0, 1.0))
    made = planned(sheet, [1.0, 1.0])
    assert made.height / layout.MM == pytest.approx(80.0)
    high = [box[3] - box[1] for box in made.bodies]
    assert high[0] == pytest.approx(3.0 * high[1])
    with pytest.raises(SettingsError, match="12 mm is too low for 2 rows"):
        planned(Sheet(height=12.0, panels=panels), [1.0, 1.0])
    with pytest.raises(SettingsError, match="too narrow for 12 columns"):
        planned(Sheet(width=20.0, panels=(Panel("map", 0, 11),)), [1.0])


def test_a_sheet_that_wants_more_than_a_page_is_made_lower_and_told():
    sheet = Sheet(preset="nature", panels=(Panel("map"),))
    made = planned(sheet, [600.0])  # 212 mm; Nature's guide takes 170
    assert made.height / layout.MM == pytest.approx(170.0)
    assert "170 mm" in made.remarks[0]
    assert not planned(sheet, [200.0]).remarks
