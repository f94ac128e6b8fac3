"""Recipes of figure sheets: what they refuse, how panels move about the grid, and their files."""

from __future__ import annotations

import json
import random
from dataclasses import replace

import pytest

from palpate.core.errors import ReadError, SettingsError
from palpate.core.sheets import (
    KINDS,
    LIMIT,
    CurveOptions,
    MapOptions,
    Panel,
    Sheet,
    declared,
    named,
    of_sheets,
    read_recipes,
    sheets_from,
    write_recipes,
)
from palpate.core.sheets import moving as m


def sheet(*cells, **more):
    """A sheet with a map on each (row, col) or (row, col, rows, cols)."""
    return Sheet(panels=tuple(Panel("map", *cell) for cell in cells), **more)


def cells(found):
    return [(p.row, p.col, p.rows, p.cols) for p in found.panels]


FOUR = sheet((0, 0), (0, 1), (1, 0), (1, 1))


# ---- the model


def test_a_recipe_goes_through_json_and_comes_back_the_same():
    every = tuple(Panel(kind, k // 3, k % 3, options=replace(made(), title=f"no. {k} µm"))
                  for k, (kind, (_, made)) in enumerate(KINDS.items()))  # fmt: skip
    whole = Sheet("Figure 2", "nature", 120.5, 80.0, every, 6.5, 450, (1.0, 2.0), (0.5,), "Words.")
    text = json.dumps(of_sheets([whole, FOUR]))
    assert sheets_from(json.loads(text)) == (whole, FOUR)
    assert Sheet.from_dict(whole.as_dict()) == whole
    assert "title" in json.loads(text)[0]["panels"][0]["options"]
    assert FOUR.as_dict()["panels"][0]["options"] == {}  # defaults are not written


def test_every_option_is_declared_with_words_and_a_default_that_is_possible():
    for kind, (_, made) in KINDS.items():
        assert made() == made()
        names = [spec.name for spec in declared(kind)]
        assert names[-1] == "title"
        for spec in declared(kind):
            assert spec.metadata["label"]
            assert spec.metadata["help"]
            condition = spec.metadata["shown_if"].partition("=")[0]
            assert not condition or condition in names


def test_letters_go_along_the_rows():
    assert sheet((1, 0), (0, 1), (0, 0)).order == (2, 1, 0)
    assert FOUR.grid == (2, 2)
    assert Sheet().grid == (1, 1)


BAD = {
    "panels over each other": lambda: sheet((0, 0, 1, 2), (0, 1)),
    "off the grid": lambda: sheet((LIMIT, 0)),
    "too wide": lambda: sheet((0, 0, 1, LIMIT + 1)),
    "a cell that is a fraction": lambda: Panel("map", 0.5, 0),
    "true for a number": lambda: Panel("map", True, 0),
    "no kind": lambda: Panel("pie"),
    "options of another kind": lambda: Panel("map", options=CurveOptions()),
    "no name": lambda: Sheet("  "),
    "a name without end": lambda: Sheet("x" * 81),
    "a name that a terminal obeys": lambda: Sheet("x\x1b[2J"),
    "a name of two lines": lambda: Sheet("x\ny"),
    "a caption that no XML can hold": lambda: Sheet(caption="a\x0bb"),
    "half a sign": lambda: MapOptions(title="\ud800"),
    "a title that no XML can hold": lambda: MapOptions(title="t\x02"),
    "no sign at all": lambda: Sheet(caption="\uffff"),
    "no width": lambda: Sheet(width="huge"),
    "a width of nothing": lambda: Sheet(width=0.0),
    "not a number": lambda: Sheet(width=float("nan")),
    "a height beyond all paper": lambda: Sheet(height=5000.0),
    "tiny text": lambda: Sheet(font_size=0.5),
    "columns of no width": lambda: Sheet(widths=(0.0, 1.0)),
    "too many columns": lambda: Sheet(widths=(1.0,) * (LIMIT + 1)),
    "a channel that is a number": lambda: MapOptions(channel=3),
    "a yes that is a one": lambda: MapOptions(trusted=1),
    "no way of limits": lambda: MapOptions(limits="some"),
    "a row that is endless": lambda: CurveOptions(row=float("inf")),
}


@pytest.mark.parametrize("what", BAD)
def test_an_impossible_sheet_is_refused_in_words(what):
    with pytest.raises(SettingsError) as caught:
        BAD[what]()
    assert len(str(caught.value)) > 15


HOSTILE = [
    None, [], 7, "sheet", {"palpate_sheet": "1"}, {"palpate_sheet": True}, {"palpate_sheet": 99},
    {"palpate_sheet": 1, "evil": 1}, {"palpate_sheet": 1, "panels": 5},
    {"palpate_sheet": 1, "panels": [3]}, {"palpate_sheet": 1, "panels": [{"kind": ["map"]}]},
    {"palpate_sheet": 1, "panels": [{"kind": "map", "options": [1]}]},
    {"palpate_sheet": 1, "panels": [{"kind": "map", "options": {"__class__": "x"}}]},
    {"palpate_sheet": 1, "panels": [{"kind": "map", "where": 1}]},
    {"palpate_sheet": 1, "panels": [{"kind": "map", "row": 10**30}]},
    {"palpate_sheet": 1, "widths": "wide"}, {"palpate_sheet": 1, "widths": [[1]]},
    {"palpate_sheet": 1, "width": {"mm": 1}}, {"palpate_sheet": 1, "name": None},
    {"palpate_sheet": 1, "panels": [{"kind": "map"}] * 2},
    {"palpate_sheet": 1, "panels": [{"kind": "curve", "options": {"row": 1e300}}]},
]  # fmt: skip


@pytest.mark.parametrize("data", HOSTILE, ids=range(len(HOSTILE)))
def test_a_hostile_recipe_is_refused_in_words(data):
    with pytest.raises(SettingsError):
        Sheet.from_dict(data)


def test_a_list_of_recipes_is_bounded_and_names_differ():
    one = FOUR.as_dict()
    with pytest.raises(SettingsError, match="same name"):
        sheets_from([one, one])
    with pytest.raises(SettingsError, match="at most"):
        sheets_from([one] * 101)
    with pytest.raises(SettingsError, match="Figure 1"):
        named([FOUR], "Figure 9")


# ---- files


def test_recipes_are_written_and_read(tmp_path):
    path = tmp_path / "mine.json"
    write_recipes(path, [FOUR])
    assert read_recipes(path) == (FOUR,)
    other = replace(FOUR, name="Figure 2")
    write_recipes(path, [FOUR, other])
    assert read_recipes(path) == (FOUR, other)


@pytest.mark.parametrize("text", ["", "{", "[]", "{}", "[" * 5000, '{"palpate_sheet": 2}', "\x00"])
def test_a_file_that_is_no_recipe_is_named_with_the_repair(tmp_path, text):
    path = tmp_path / "odd.json"
    path.write_text(text)
    with pytest.raises(ReadError, match=r"odd\.json.*Choose"):
        read_recipes(path)
    with pytest.raises(ReadError, match="gone.json"):
        read_recipes(tmp_path / "gone.json")


# ---- moving


def test_a_panel_changes_places_with_the_one_where_it_lands():
    assert cells(m.moved(FOUR, 0, 1, 1)) == [(1, 1, 1, 1), (0, 1, 1, 1), (1, 0, 1, 1), (0, 0, 1, 1)]
    wide = sheet((0, 0, 1, 2), (1, 0), (1, 1))  # sizes are changed, too
    assert cells(m.moved(wide, 1, 0, 0)) == [(1, 0, 1, 1), (0, 0, 1, 2), (1, 1, 1, 1)]
    assert m.moved(FOUR, 0, 0, 0) is FOUR


def test_a_panel_on_a_free_cell_keeps_what_fits_of_its_size():
    three = sheet((0, 0, 1, 2), (1, 0), (1, 2))
    assert cells(m.moved(three, 0, 1, 1)) == [(0, 1, 1, 1), (0, 0, 1, 1), (0, 2, 1, 1)]
    assert cells(m.moved(three, 0, 2, 0))[0] == (1, 0, 1, 2)  # the row that it left is gone
    with pytest.raises(SettingsError, match="12"):
        m.moved(FOUR, 0, LIMIT, 0)


def test_arrows_step_over_neighbours_and_stop_at_the_edge():
    assert cells(m.stepped(FOUR, 0, 0, 1))[:2] == [(0, 1, 1, 1), (0, 0, 1, 1)]
    assert m.stepped(FOUR, 0, -1, 0) is FOUR
    assert m.stepped(FOUR, 0, 0, -1) is FOUR
    assert cells(m.stepped(FOUR, 3, 1, 0))[3] == (2, 1, 1, 1)  # a row of its own
    pair = sheet((0, 0), (0, 1))
    assert m.stepped(pair, 1, 0, 1) == pair  # a column beyond would leave one empty


def test_what_is_in_the_way_of_a_larger_panel_moves_down():
    found = m.spanned(FOUR, 0, 1, 2)
    assert cells(found) == [(0, 0, 1, 2), (1, 1, 1, 1), (1, 0, 1, 1), (2, 1, 1, 1)]
    assert cells(m.spanned(found, 0, 1, 1)) == [(0, 0, 1, 1), *cells(found)[1:]]
    assert cells(m.spanned(FOUR, 0, 2, 1))[2] == (2, 0, 1, 1)
    assert cells(m.spanned(FOUR, 0, -4, 0)) == cells(FOUR)
    full = sheet(*((row, 0) for row in range(LIMIT)))
    with pytest.raises(SettingsError, match="no room"):
        m.spanned(full, 0, 2, 1)


def test_rows_and_columns_that_nothing_covers_go_away_with_their_sizes():
    uneven = replace(FOUR, widths=(1.0, 3.0), heights=(2.0, 1.0))
    without = m.removed(m.removed(uneven, 2), 0)
    assert cells(without) == [(0, 0, 1, 1), (1, 0, 1, 1)]
    assert without.widths == (3.0,)
    assert without.heights == (2.0, 1.0)
    assert m.compact(Sheet(widths=(2.0,))).widths == ()


def test_a_new_panel_takes_the_first_free_cell():
    found, at = m.inserted(Sheet(), Panel("map"))
    assert (at, cells(found)) == (0, [(0, 0, 1, 1)])
    for wanted in [(0, 1, 1, 1), (1, 0, 1, 1), (1, 1, 1, 1), (2, 0, 1, 1)]:
        found, at = m.inserted(found, Panel("map"))
        assert cells(found)[at] == wanted
    gap = sheet((0, 0), (0, 2), (1, 1))
    assert cells(m.inserted(gap, Panel("map"))[0])[3] == (0, 1, 1, 1)
    full = sheet(*((row, col) for row in range(LIMIT) for col in range(2)))
    with pytest.raises(SettingsError, match="no room"):
        m.inserted(full, Panel("map"))


def test_a_line_between_columns_shares_their_sizes_anew():
    found = m.line_moved(replace(FOUR, widths=(1.0, 3.0)), True, 1, 0.5)
    assert found.widths == (2.0, 2.0)
    low = m.line_moved(FOUR, False, 1, -3.0).heights
    assert low[0] == pytest.approx(2 * m.LEAST)
    assert sum(low) == pytest.approx(2.0)
    for line in (0, 2):
        with pytest.raises(SettingsError):
            m.line_moved(FOUR, True, line, 0.5)
    assert m.even(found) == FOUR


def test_names_are_made_to_differ():
    assert m.fresh_name([], "Figure 1") == "Figure 1"
    assert m.fresh_name(["Figure 1", "Figure 2"], "Figure 1") == "Figure 3"
    assert m.fresh_name(["maps"], "maps") == "maps 2"
    assert m.fresh_name(["2"], "2") == "2 2"
    assert len(m.fresh_name(["x" * 80], "x" * 80)) <= 80


def test_no_order_of_acts_loses_a_panel_or_lays_one_on_another():
    """`Sheet` refuses overlaps and cells off the grid, so that every act gives a sheet is the
    promise; 400 acts by a hand that knows no rule, seeds fixed."""
    rng = random.Random(5)
    now, wanted, refused = FOUR, 4, set()
    for _ in range(400):
        at = rng.randrange(len(now.panels))
        try:
            match rng.randrange(6):
                case 0:
                    now = m.moved(now, at, rng.randrange(5), rng.randrange(5))
                case 1:
                    now = m.stepped(now, at, *rng.choice([(0, 1), (1, 0), (-1, 0), (0, -1)]))
                case 2:
                    now = m.spanned(now, at, rng.randrange(1, 4), rng.randrange(1, 4))
                case 3:
                    now, wanted = m.inserted(now, Panel("curve"))[0], wanted + 1
                case 4 if len(now.panels) > 2:
                    now, wanted = m.removed(now, at), wanted - 1
                case _:
                    now = m.line_moved(now, rng.random() < 0.5, rng.randrange(3), rng.random())
        except SettingsError as error:
            refused.add(error.what.split(":")[0])
        rows, cols = now.grid
        assert len(now.panels) == wanted
        assert all(any(p.covers(r, c) for p in now.panels for c in range(cols))
                   for r in range(rows))  # fmt: skip
        assert len(now.widths) <= cols
        assert Sheet.from_dict(now.as_dict()) == now
    assert refused <= {"there is no room", "there is no line to move here."}
