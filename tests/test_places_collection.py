"""The collection of places: a value, and a file that may be hostile."""

from __future__ import annotations

import json

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from palpate.core.errors import InputError, ReadError, SettingsError, WriteError
from palpate.core.places import (
    Brush,
    Combined,
    OfComponent,
    Places,
    Polygon,
    Profile,
    Rectangle,
    Region,
)

BOX = Rectangle(0.1, 0.2, 30.0, 40.0)
FULL = Places(
    (
        Region("box", BOX, "two\nlines"),
        Region("outline", Polygon(((0, 0), (5.5, 1e-7), (3, 9)))),
        Region("painted", Brush(((((1, 2), (3, 4)), 2.5), (((9, 9),), 1.0)))),
        Region("rubber", OfComponent(1, "rubber µ")),
        Region("ring", Combined((BOX, OfComponent(2)), (Rectangle(1, 1, 2, 2),))),
    ),
    (
        Profile("across", ((0, 0), (100, 50), (120, 90)), 12.5, "edge"),
        Profile("thin", ((1, 1), (2, 2))),
    ),
    "nm",
)


# ---- a value


def test_changes_give_new_collections_and_leave_the_old_one():
    before = FULL
    more = before.add(Region("new", BOX)).add(Profile("line", ((0, 0), (1, 1))))
    assert more.names == (*[r.name for r in before.regions], "new", "across", "thin", "line")
    assert "new" not in before.names
    assert more.remove("new").remove("line") == before
    named = before.rename("thin", "thick")
    assert named.find("thick").points == before.find("thin").points
    assert named.rename("thick", "thin") == before
    wider = before.replace("across", Profile("across", ((0, 0), (9, 9)), 99.0))
    assert wider.find("across").width == 99.0
    assert wider.names == before.names
    assert len({before, more, named, wider, Places.from_json(before.to_json())}) == 4


def test_names_are_unique_over_both_kinds_whatever_their_capitals():
    for wrong in (lambda: FULL.add(Profile("Box", ((0, 0), (1, 1)))),
                  lambda: FULL.rename("thin", "BOX")):  # fmt: skip
        with pytest.raises(SettingsError, match="twice"):
            wrong()
    assert FULL.rename("box", "Box").find("Box").shape == BOX
    with pytest.raises(SettingsError, match="no “nobody”"):
        FULL.remove("nobody")
    with pytest.raises(SettingsError, match="replaced by a region"):
        FULL.replace("box", FULL.find("thin"))


def test_all_places_together_have_a_bounded_number_of_points():
    large = Polygon(((0.0, 1.0),) * 20_000)
    places = Places(tuple(Region(f"r{i}", large) for i in range(10)))
    with pytest.raises(SettingsError, match="200,000"):
        places.add(Region("more", BOX))


def test_a_free_name_is_never_taken_and_never_too_long():
    places = Places()
    for _ in range(12):
        places = places.add(Region(places.free_name("Region"), BOX))
    assert places.names[-1] == "Region 12"
    assert len(places.free_name("x" * 200)) == 80


def test_places_in_pixels_do_not_lie_on_a_map_with_a_scale():
    assert FULL.misfit(True) == ""
    assert "no scale" in FULL.misfit(False)
    pixels = Places((Region("a", BOX),), (), "pixel")
    assert pixels.misfit(False) == ""
    assert "without a scale" in pixels.misfit(True)
    assert Places(unit="pixel").misfit(True) == ""


# ---- its file


def test_what_was_saved_is_loaded_equal_and_the_text_is_canonical(tmp_path):
    path = tmp_path / "places.json"
    FULL.save(path)
    again = Places.load(path)
    assert again == FULL
    assert again.to_json() == FULL.to_json()
    data = json.loads(FULL.to_json())
    assert data["palpate_places"] == 1
    assert data["unit"] == "nm"
    assert " " not in FULL.to_json().replace("two\\nlines", "").replace("rubber ", "")
    with pytest.raises(WriteError, match="no folder"):
        FULL.save(tmp_path / "nowhere" / "places.json")


numbers = st.floats(-1e9, 1e9, allow_nan=False)
pairs = st.lists(st.tuples(numbers, numbers), max_size=5)
simple = st.one_of(
    st.builds(Rectangle, numbers, numbers, numbers, numbers),
    st.builds(Polygon, pairs.map(tuple)),
    st.builds(Brush, st.lists(st.tuples(pairs.map(tuple), st.floats(0, 1e9)), max_size=3)),
    st.builds(OfComponent, st.integers(0, 9999)),
)
shapes = st.one_of(
    simple, st.builds(Combined, st.lists(simple, max_size=3), st.lists(simple, max_size=3))
)


@settings(max_examples=60, deadline=None)
@given(st.lists(shapes, max_size=3), numbers, st.floats(0, 1e9))
def test_every_collection_survives_its_text_bit_by_bit(found, number, width):
    regions = tuple(Region(f"r{i}", shape) for i, shape in enumerate(found))
    places = Places(regions, (Profile("p", ((number, 0), (1, number)), width),), "pixel")
    assert Places.from_json(places.to_json()) == places


junk = st.recursive(
    st.none() | st.booleans() | st.floats() | st.integers() | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(
        st.sampled_from(["kind", "name", "shape", "points", "width", "x0", "vertices", "strokes"]),
        inner, max_size=4),
    max_leaves=12,
)  # fmt: skip


@settings(max_examples=200, deadline=None)
@given(st.lists(junk, max_size=2), st.lists(junk, max_size=2), junk)
def test_whatever_stands_in_a_file_only_an_input_error_comes_out(regions, profiles, unit):
    text = json.dumps({"palpate_places": 1, "unit": unit, "regions": regions, "profiles": profiles})
    error = None
    try:
        Places.from_json(text)
    except SettingsError as caught:
        error = caught
    assert error is None or error.what.endswith(".")
    assert len(str(error)) < 400


def spoiled(**change) -> str:
    data = json.loads(FULL.to_json()) | change
    return json.dumps(data)


def with_region(**change) -> str:
    region = {"name": "a", "note": "", "shape": {"kind": "rectangle", "x0": 0, "y0": 0, "x1": 1,
                                                  "y1": 1}}  # fmt: skip
    return spoiled(regions=[region | change])


@pytest.mark.parametrize(
    ("text", "where", "words"),
    [
        ("[1, 2]", "(whole file)", "not a table"),
        ("{", "(whole file)", "not valid JSON"),
        ("[" * 100_000, "(whole file)", "not valid JSON"),
        ("{}", "palpate_places", "not a file of places"),
        (spoiled(palpate_places=True), "palpate_places", "not a file of places"),
        (spoiled(palpate_places=2), "palpate_places", "newer"),
        (spoiled(palpate_places=0), "palpate_places", "never was"),
        (spoiled(extra=1), "(whole file)", "“extra”"),
        (spoiled(unit="mm"), "places.unit", "“nm” or “pixel”"),
        (spoiled(unit=[1]), "unit", "“nm” or “pixel”"),
        (spoiled(regions={}), "regions", "list"),
        (spoiled(regions=[{}] * 1001), "(whole file)", "1,000"),
        (spoiled(regions=[5]), "regions[0]", "braces"),
        (with_region(shape={"kind": "circle"}), "regions[0].shape.kind", "“circle” is not known"),
        (with_region(shape={"kind": ["a"]}), "regions[0].shape.kind", "not known"),
        (with_region(shape={"kind": "polygon"}), "regions[0].shape", "lacks the key “vertices”"),
        (with_region(shape={"kind": "polygon", "vertices": [[1, "2"]]}),
         "regions[0].shape.vertices[0]", "number"),
        (with_region(shape={"kind": "polygon", "vertices": [[1, 1e10]]}),
         "regions[0].shape.vertices[0]", "1e+09"),
        (with_region(shape={"kind": "brush", "strokes": [{"points": [[0, 0]], "radius": -1}]}),
         "regions[0].shape.strokes[0].radius", "number from 0"),
        (with_region(shape={"kind": "brush", "strokes": [[0]]}), "regions[0].shape.strokes[0]",
         "braces"),
        (with_region(shape={"kind": "component", "number": 1.5, "name": ""}),
         "regions[0].shape.number", "whole number"),
        (with_region(shape={"kind": "combined", "added": [{"kind": "combined", "added": [],
                                                            "taken": []}], "taken": []}),
         "regions[0].shape.added[0].kind", "not known"),
        (with_region(name="a" * 100_000), "regions[0].name", "100,000 characters"),
        (with_region(name="a\u202eb"), "regions[0].name", "can't be printed"),
        (with_region(name=5), "regions[0].name", "text"),
        (with_region(note="\x1b[2J"), "regions[0].note", "can't be printed"),
        (spoiled(profiles=[{"name": "p", "points": [[0, 0]], "width": 0}]), "profiles[0].points",
         "needs two"),
        (spoiled(profiles=[{"name": "p", "points": [[0, 0], [1, 1]], "width": True}]),
         "profiles[0].width", "number"),
        ('{"palpate_places": 1, "unit": "nm", "regions": [], "profiles": [NaN]}', "(whole file)",
         "NaN"),
        ('{"palpate_places": 1, "palpate_places": 1}', "(whole file)", "twice"),
        (spoiled(profiles=[{"name": "box", "points": [[0, 0], [1, 1]], "width": 0}]), "places",
         "twice"),
    ],
)  # fmt: skip
def test_a_hostile_or_spoiled_file_is_refused_with_the_place_and_the_repair(
    tmp_path, text, where, words
):
    path = tmp_path / "places.json"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(ReadError) as caught:
        Places.load(path)
    assert caught.value.where == where
    assert words in str(caught.value)
    assert str(path) in str(caught.value)
    assert len(str(caught.value)) < 600
    assert caught.value.repair


def test_numbers_beyond_a_float_are_refused():
    for number in ("1e999", "-1e999", "9" * 400, "9" * 5000):
        text = with_region().replace('"x1": 1', f'"x1": {number}')
        with pytest.raises(SettingsError):
            Places.from_json(text)


def test_what_is_no_text_or_no_file_is_refused(tmp_path):
    path = tmp_path / "places.json"
    path.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(ReadError, match="UTF-8"):
        Places.load(path)
    with pytest.raises(ReadError, match="folder"):
        Places.load(tmp_path)
    with pytest.raises(ReadError, match="no such file"):
        Places.load(tmp_path / "none.json")
    with path.open("wb") as out:
        out.truncate(30_000_000)
    with pytest.raises(ReadError, match="larger"):
        Places.load(path)


def test_numpy_numbers_are_taken_and_written_as_plain_ones():
    region = Region("a", Rectangle(*np.array([1.5, 2, 3, 4], dtype=np.float32)))
    line = Profile("p", np.array([[0, 0], [5, 5]]), np.float64(2))
    places = Places((region, Region("c", OfComponent(np.int64(3)))), (line,))
    assert Places.from_json(places.to_json()) == places
    assert not issubclass(type(places.find("a").shape.x0), np.floating)
    assert issubclass(ReadError, InputError)
