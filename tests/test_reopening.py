"""A saved analysis is opened with its map and gives the same maps again, bit for bit."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from types import SimpleNamespace

import h5py
import numpy as np
import pytest

from palpate.app.figure_calls import recipes_of
from palpate.core import write_map
from palpate.core.cli import main
from palpate.core.components.rule import Gate, Rule
from palpate.core.corrections import reviewed
from palpate.core.decisions import CORRECTED, KEPT, LEFT_OUT, Pixels, Review
from palpate.core.errors import ReadError, SourceError
from palpate.core.pictures.alignment import Alignment, with_picture
from palpate.core.pipeline import analyse
from palpate.core.places import Places, Polygon, Profile, Region
from palpate.core.readers import open_map
from palpate.core.reopening import again, differences, not_compared, open_analysis, usable_view
from palpate.core.settings import Settings
from palpate.core.simulate import ski_boot
from palpate.core.surface.levelling import Levelling
from palpate.core.work import Laid, Work
from palpate.core.workfile import Beside, load_analysis, save_analysis

NOTE = "  two lines,\nan é, an emoji 👩‍🔬 and spaces at the end  "
VIEW = {"palpate_view": 1, "channel": "adhesion", "pixel": [3, 5],
        "limits": {"modulus": [0.5, 2.5]}, "axes": ["indentation", "force"]}  # fmt: skip
ACTS = [{"time": "2026-05-01T10:00:00+00:00", "action": "fit window"},
        {"time": "2026-05-01T10:01:00+00:00", "action": "keep a pixel"}]  # fmt: skip


def big_places() -> Places:
    """Ten regions of two thousand corners each: some 400 kB of text."""
    turn = np.linspace(0.0, 2.0 * np.pi, 2000, endpoint=False)
    ring = tuple(zip(100.0 + np.cos(turn), 100.0 + np.sin(turn), strict=True))
    shape = Polygon(tuple((float(x), float(y)) for x, y in ring))
    regions = tuple(Region(f"region {n}", shape) for n in range(10))
    return Places(regions, (Profile("line", ((0.0, 0.0), (50.0, 80.0))),))


def big_rule() -> Rule:
    """Twelve gates of four hundred corners: some 200 kB of text."""
    turn = np.linspace(0.0, 2.0 * np.pi, 400, endpoint=False)
    gates = tuple(Gate(tuple((1.0 + n + float(np.cos(t)) / 3, float(np.sin(t))) for t in turn))
                  for n in range(12))  # fmt: skip
    return Rule(method="gates", gates=gates, names=("matrix", "", "droplets"))


def decisions(shape) -> Review:
    rows = np.zeros(shape, bool)
    rows[2:5] = True
    review = Review().keep(Pixels.of(rows), "looks right", "A. Weaver")
    review = review.correct(Pixels.one(shape, 3, 5), {"fit.fraction_to": 70.0, "fit.law": "cone"})
    review = review.correct(Pixels.one(shape, 9, 1), {"baseline.extent": 35.0}, NOTE)
    for n in range(10):
        review = review.leave_out(Pixels.one(shape, 12, n), f"spike {n}")
    return review


@pytest.fixture(scope="module")
def case(tmp_path_factory):
    """A map, its analysis with decisions and a layer of uneven thickness, and the saved file."""
    folder = tmp_path_factory.mktemp("kept")
    (folder / "maps").mkdir()
    (folder / "results").mkdir()
    scene = ski_boot(16, 3, 160).arrays()
    path = write_map(folder / "maps" / "boot.h5", scene.pop("z"), scene.pop("deflection"), **scene)
    picture = folder / "maps" / "other.csv"
    picture.write_text("1,2,3\n4,5,6\n7,8,9\n")
    lies = Alignment("similarity", ((2.0, 0.0, 1.0), (0.0, 2.0, 3.0), (0.0, 0.0, 1.0)), "by hand")
    laid = Laid(picture, with_picture(lies, picture, path.parent), ((1.0, 2.0, 3.0, 4.5),), "shift")
    settings = Settings().with_values({"fit.fraction_from": 12.5, "tip.radius": 21.0,
                                       "layer.base": "bonded"})  # fmt: skip
    thickness = np.random.default_rng(5).uniform(150.0, 400.0, (16, 16))
    with open_map(path) as fmap:
        fmap = fmap.with_thickness(thickness)
        review = decisions(fmap.shape)
        made = reviewed(analyse(fmap, settings), review)
        work = Work(settings, big_rule(), review, big_places(), laid, Levelling(2, "median", (0,)))
        out = folder / "results" / "boot.result.h5"
        save_analysis(out, made, Beside(None, work, VIEW, ACTS))
        yield SimpleNamespace(path=path, out=out, made=made, work=work, folder=folder)


def copy(case, tmp_path):
    """The file in a folder of its own, beside a copy of its map."""
    for name in (case.path, case.out):
        (tmp_path / name.name).write_bytes(name.read_bytes())
    return tmp_path / case.out.name, tmp_path / case.path.name


def test_all_that_was_decided_comes_back_as_values(case):
    loaded = load_analysis(case.out)
    assert loaded.review == case.made.review
    assert loaded.review.decisions[2].note == NOTE
    assert replace(loaded.work, picture=None) == replace(case.work, picture=None)
    assert loaded.work.picture.path.as_posix() == "../maps/other.csv"
    assert loaded.work.picture.pairs == case.work.picture.pairs
    assert loaded.work.picture.alignment.matrix == case.work.picture.alignment.matrix
    assert usable_view(loaded.view) == {
        "channel": "adhesion", "pixel": (3, 5), "limits": {"modulus": (0.5, 2.5)},
        "axes": ("indentation", "force")}  # fmt: skip
    assert loaded.history[:2] == ACTS
    assert [row["action"] for row in loaded.history[2:]] == ["analysis started", "analysis ended",
                                                            "saved"]  # fmt: skip


def test_any_viewer_can_read_the_decisions(case):
    with h5py.File(case.out) as f:
        review = f["entry/review"]
        kinds, numbers = review["decision"][:], review["number"][:]
        assert (kinds == case.made.review.kinds(kinds.shape)).all()
        assert review["kind"].asstr()[numbers[3, 5]] == "corrected"
        assert json.loads(review["change"].asstr()[numbers[3, 5]])["fit.law"] == "cone"
        assert review["who"].asstr()[numbers[2, 0]] == "A. Weaver"
        assert review["note"].asstr()[numbers[9, 1]] == NOTE
        for name, kind in (("kept", KEPT), ("excluded", LEFT_OUT), ("corrected", CORRECTED)):
            assert review.attrs[name] == np.count_nonzero(kinds == kind)
        over = f["entry/overrides"]
        assert (over["index"][:] >= 0).sum() == 2
        assert json.loads(over["changes"].asstr()[over["index"][9, 1]]) == {"baseline.extent": 35.0}


def test_the_file_says_which_pixels_to_use(case):
    """By its own rule: a severe doubt tells against a pixel that nobody kept; a left-out one is
    out whatever its doubts."""
    with h5py.File(case.out) as f:
        trusted = f["entry/maps/trusted"]
        doubts, kinds = f["entry/maps/doubts"], f["entry/review/decision"][:]
        severe = (doubts[:] & doubts.attrs["severe_mask"]) != 0
        by_rule = np.where(severe, kinds == KEPT, kinds != LEFT_OUT)
        assert trusted.dtype == np.uint8
        assert (trusted[:] == by_rule).all()
        assert not trusted[12, :10].any()
        assert trusted.attrs["flag_meanings"].split()[1] == "to_be_used"
        assert trusted.attrs["interpretation"] == "image"
        assert f"is {KEPT} (kept)" in trusted.attrs["description"]
        assert "trusted" in doubts.attrs["description"]
    assert (load_analysis(case.out).trusted == by_rule).all()


def test_the_maps_made_again_are_the_same_bit_for_bit(case):
    opened = open_analysis(case.out)
    with opened.map:
        assert opened.map.path.samefile(case.path)
        assert opened.notes == ()
        assert opened.work == case.work  # the picture's place and name included
        second = again(opened)
        for channel, values, errors in case.made.channels():
            assert values.tobytes() == second.channel(channel.name).tobytes()
            if errors is not None:
                assert errors.tobytes() == second.errors(channel.name).tobytes()
        assert (second.doubts == case.made.doubts).all()
        assert (second.trusted == case.made.trusted).all()
        assert differences(opened.loaded, second) == []
        other = analyse(opened.map, opened.work.settings.with_value("tip.radius", 22.0))
        said = differences(opened.loaded, other)
        assert "Young modulus in" in said[0]
        assert "%" in said[0]


def test_every_part_of_a_file_is_held_against_what_is_made_anew(case):
    """Each change is one to the values as they were read: ± alone, an infinite number where there
    is none, a ± or a channel that is in one of both only."""
    loaded, made = load_analysis(case.out), case.made

    def with_channel(**changes):
        one = replace(loaded.channels["modulus"], **changes)
        return replace(loaded, channels=loaded.channels | {"modulus": one})

    values, errors = (np.array(part) for part in (loaded.channels["modulus"].values,
                                                  loaded.channels["modulus"].errors))  # fmt: skip
    errors[4, 4] *= 2.0
    said = differences(with_channel(errors=errors), made)
    assert "the ± of Young modulus in 1 pixels (by up to 50 %)" in said[0]
    missing = np.argwhere(np.isnan(values))[0]
    values[tuple(missing)] = np.inf
    assert "differ from those in boot.result.h5: Young modulus in 1 pixels" in differences(
        with_channel(values=values), made)[0]  # fmt: skip
    # what an older version did not write is no difference, but is named
    older = with_channel(errors=None)
    del older.channels["adhesion"]
    older = replace(older, trusted=None)
    assert differences(older, made) == []
    assert not_compared(older, made) == ["the ± of Young modulus", "Adhesion",
                                         "which pixels are used"]  # fmt: skip
    assert not_compared(loaded, made) == []


def test_the_map_is_found_by_what_it_is_and_another_one_is_refused(case, tmp_path):
    out, here = copy(case, tmp_path)
    whole = here.read_bytes()
    open_analysis(out).map.close()
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    here.replace(elsewhere / here.name)
    with pytest.raises(SourceError, match="is not at its place. Point to where the map is now"):
        open_analysis(out)
    open_analysis(out, folders=[tmp_path / "nowhere", elsewhere]).map.close()
    open_analysis(out, near=elsewhere / here.name).map.close()
    scene = ski_boot(16, 4, 160).arrays()
    write_map(here, scene.pop("z"), scene.pop("deflection"), **scene)
    with pytest.raises(SourceError, match="not the map that boot.result.h5 was made from: (it|its) "
                       ".*Point to the original map"):  # fmt: skip
        open_analysis(out)
    open_analysis(out, folders=[elsewhere]).map.close()  # the right one behind a wrong one
    bent = bytearray(whole)
    bent[-1] ^= 1
    here.write_bytes(bent)
    with pytest.raises(SourceError, match="checksum"):
        open_analysis(out)


def test_a_picture_that_changed_is_told_and_not_laid(case, tmp_path):
    out, _ = copy(case, tmp_path)
    (tmp_path / "other.csv").write_text("9,9,9\n")
    kept = case.work.picture.path.read_bytes()
    case.work.picture.path.write_text("9\n")
    try:
        opened = open_analysis(out)
    finally:
        case.work.picture.path.write_bytes(kept)
    opened.map.close()
    assert opened.work.picture is None
    assert opened.notes == ("The picture other.csv was changed since it was aligned, so it is not "
                            "laid; lay it again.",)  # fmt: skip


def test_a_file_of_before_has_its_left_out_pixels_and_opens(case, tmp_path):
    out, _ = copy(case, tmp_path)
    with h5py.File(out, "r+") as f:
        entry = f["entry"]
        for name in ("overrides", "levelling", "picture", "view", "places", "component_rule"):
            del entry[name]
        for name in ("number", "kind", "when", "who", "note", "change"):
            del entry["review"][name]
        kinds = entry["review/decision"]
        kinds[...] = np.where(kinds[...] == LEFT_OUT, LEFT_OUT, 0)
        del entry["maps/trusted"]
    loaded = load_analysis(out)
    assert loaded.trusted is None
    assert (loaded.review.kinds((16, 16)) == loaded.decision).all()
    assert loaded.review.left_out.count == 10
    assert loaded.work == Work(loaded.settings, review=loaded.review)


def put(text):
    def change(f, name):
        del f[name]
        f[name] = text

    return change


def row(at, text):
    def change(f, name):
        f[name][at] = text

    return change


def short(f, name):
    kept = f[name][:-1]
    del f[name]
    f.create_dataset(name, data=kept, dtype=h5py.string_dtype())


def far(f, name):
    f[name][0, 0] = 999


@pytest.mark.parametrize(
    ("name", "change", "words"),
    [("review/number", far, "review/number: it does not fit"),
     ("review/kind", row(0, "eaten"), "review, decision 0.*eaten"),
     ("review/kind", row(0, "excluded"), "review/decision: it says something else"),
     ("review/kind", put(np.arange(3)), "review/kind"),
     ("review/note", short, "columns"),
     ("review/change", row(1, "{"), "review/change, decision 1: it is not JSON"),
     ("review/change", row(1, '{"fit.law":"none"}'), "decision 1"),
     ("overrides/changes", row(0, "{}"), "entry/overrides: it says something else"),
     ("levelling", put('{"palpate_levelling":2,"levelling":null}'), "levelling.*newer"),
     ("levelling", put('{"palpate_levelling":1,"levelling":{"order":9}}'), "entry/levelling"),
     ("picture", put('{"palpate_picture":1,"picture":{"path":3}}'), "entry/picture"),
     ("places", put("[" * 9000), "entry/places"),
     ("component_rule", put("{}"), "entry/component_rule"),
     ("view", put("[]"), "entry/view"),
     ("places", put(" " * (33 << 20)), "entry/places: it is a text of 34.6 MB")],
)  # fmt: skip
def test_a_damaged_part_is_refused_by_its_name(case, tmp_path, name, change, words):
    out = tmp_path / "bent.h5"
    out.write_bytes(case.out.read_bytes())
    with h5py.File(out, "r+") as f:
        change(f["entry"], name)
    with pytest.raises(ReadError, match=words) as caught:
        load_analysis(out)
    assert str(caught.value).endswith(".")


@pytest.mark.parametrize(
    ("name", "change", "words"),
    [("sheets", put('[{"palpate_sheet":2}]'), "figure sheets.*newer.*update"),
     ("sheets", put("[{"), "figure sheets.*not JSON"),
     ("sheets", put([1.0, 2.0]), "figure sheets.*text should be"),
     ("sheets", put(" " * (9 << 20)), "figure sheets.*9.4 MB"),
     ("answers", put('{"palpate_answers":2,"answers":{}}'), "answers.*newer"),
     ("answers", put('{"palpate_answers":1,"answers":{"humidity":5}}'), "answers.*humidity")],
)  # fmt: skip
def test_all_else_opens_where_sheets_or_answers_can_not_be_read(case, tmp_path, name, change,
                                                                words):  # fmt: skip
    out, _ = copy(case, tmp_path)
    with h5py.File(out, "r+") as f:
        change(f["entry"], name)
    opened = open_analysis(out)
    opened.map.close()
    found = [note for note in opened.notes if re.search(words, note)]
    assert len(found) == 1
    assert "boot.result.h5" in found[0]
    assert "would drop them" in found[0]  # it is not lost without a word
    assert set(opened.loaded.unread) == {name}
    assert opened.work.sheets == ()
    assert len(opened.work.answers) == 0
    assert opened.work.review == case.work.review
    assert opened.work.rule == case.work.rule
    if name == "sheets":
        with pytest.raises(ReadError, match="entry/sheets"):
            recipes_of(out)


def test_a_flood_of_damage_gives_sentences_only(case, tmp_path):
    out = tmp_path / "bent.h5"
    work = replace(case.work, rule=Rule(), places=None)
    save_analysis(out, case.made, Beside(None, work, VIEW, ACTS))
    whole = out.read_bytes()
    rng, answers = np.random.default_rng(8), set()
    for at in rng.integers(0, len(whole), 40):
        data = bytearray(whole)
        data[at] ^= 1 << int(rng.integers(8))
        out.write_bytes(data)
        try:
            load_analysis(out)
            answers.add("read")
        except ReadError as error:
            answers.add("refused" if str(error).endswith(".") else str(error))
    assert answers == {"read", "refused"}


def test_the_command_line_makes_a_result_anew(case, tmp_path, capsys):
    out, here = copy(case, tmp_path)
    new = tmp_path / "new.h5"
    assert main(["again", str(out), "--out", str(new)]) == 0
    said = capsys.readouterr().out
    assert "All numbers are those of boot.result.h5." in said
    one, two = load_analysis(out), load_analysis(new)
    for name, channel in one.channels.items():
        assert channel.values.tobytes() == two.channels[name].values.tobytes()
    assert two.review == one.review
    assert replace(two.work, picture=None) == replace(one.work, picture=None)
    assert two.history[: len(one.history)] == one.history
    assert two.view == one.view
    here.unlink()
    assert main(["again", str(out), "--out", str(new)]) == 1
    assert "boot.h5” is not at its place" in capsys.readouterr().err
    assert main(["again", str(out), "--source", str(case.path)]) == 0
