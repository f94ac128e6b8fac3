"""The result file: everything comes back, viewers find the default map, sources are checked."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path
from types import SimpleNamespace

import h5py
import numpy as np
import pytest
from native_files import curves, good_map

from palpate.core.errors import ReadError, WriteError
from palpate.core.forcemap import ForceMap
from palpate.core.readers import open_map
from palpate.core.settings import Settings
from palpate.core.workfile import find_source, load_analysis, save_analysis

RNG = np.random.default_rng(11)
SHAPE = (3, 4)
MODULUS = np.where(RNG.random(SHAPE) > 0.3, RNG.random(SHAPE), np.nan)
ERRORS = 0.01 * RNG.random(SHAPE)
DOUBTS = RNG.integers(0, 2**63, SHAPE, dtype=np.uint64) | np.uint64(2**63)
MEANINGS = [(1, "noisy", "The noise is far above the map's."), (2**63, "last", "The last bit.")]


def analysis(force_map, settings=None) -> SimpleNamespace:
    def channel(name, label, unit):
        return SimpleNamespace(name=name, label=label, unit=unit)

    maps = [
        (channel("height", "Height", "nm"), RNG.normal(0, 20, SHAPE), None),
        (channel("modulus", "Young modulus", "GPa"), MODULUS, ERRORS),
        (channel("work_of_adhesion", "Work of adhesion", "aJ"), RNG.random(SHAPE), ERRORS),
        (channel("n_points", "Samples in the window", ""), np.full(SHAPE, 31.0), None),
    ]
    return SimpleNamespace(
        map=force_map, settings=settings or Settings().with_value("fit.law", "cone"),
        channels=lambda: maps, doubts=DOUBTS, doubt_meanings=MEANINGS, poisson_ratio=0.37,
        started="2026-03-02T10:00:00+00:00", ended="2026-03-02T10:00:09+00:00",
    )  # fmt: skip


@pytest.fixture
def saved(tmp_path):
    """(path of the analysis, the analysis) in a folder of its own beside the map's."""
    (tmp_path / "maps").mkdir()
    (tmp_path / "results").mkdir()
    with open_map(good_map(tmp_path / "maps" / "blend.h5")) as force_map:
        made = analysis(force_map)
        path = save_analysis(tmp_path / "results" / "blend.analysis.h5", made)
        yield path, made


def bend(path: Path):
    return h5py.File(path, "r+")


def test_everything_that_is_saved_is_loaded(saved):
    path, made = saved
    loaded = load_analysis(path)
    assert loaded.settings == made.settings
    assert not loaded.settings_changed
    assert (loaded.started, loaded.ended) == (made.started, made.ended)
    assert (loaded.poisson_ratio, loaded.default) == (0.37, "modulus")
    assert set(loaded.channels) == {"height", "modulus", "work_of_adhesion", "n_points"}
    for channel, values, errors in made.channels():
        found = loaded.channels[channel.name]
        assert (found.label, found.unit) == (channel.label, channel.unit)
        np.testing.assert_allclose(found.values, values, rtol=1e-14)
        if errors is None:
            assert found.errors is None
        else:
            np.testing.assert_allclose(found.errors, errors, rtol=1e-14)
    np.testing.assert_array_equal(loaded.doubts, DOUBTS)
    assert loaded.doubt_meanings == MEANINGS
    np.testing.assert_allclose(loaded.x, made.map.x)
    assert loaded.has_scale
    assert not loaded.decision.any()
    assert loaded.environment["numpy"] == np.__version__
    assert [row["action"] for row in loaded.history][-1] == "saved"


def test_numbers_in_the_file_are_in_si(saved):
    path, _ = saved
    with h5py.File(path) as f:
        maps = f["entry/maps"]
        np.testing.assert_allclose(maps["modulus"][:], MODULUS * 1e9)
        assert maps["modulus"].attrs["units"] == "Pa"
        assert maps["modulus"].attrs["long_name"] == "Young modulus (Pa)"
        np.testing.assert_allclose(maps["modulus_errors"][:], ERRORS * 1e9)
        assert maps["work_of_adhesion"].attrs["units"] == "J"
        assert maps["height"].attrs["units"] == "m"
        assert np.isnan(maps["modulus"].fillvalue)
        assert maps.attrs["poisson_ratio"] == 0.37


def test_a_general_viewer_opens_at_the_default_map(saved):
    """The rules of NeXus for NXdata (manual.nexusformat.org, classes NXdata and NXroot, from
    memory): @default leads from the root to an NXdata; @signal names a dataset in it; @axes
    names one axis a dimension of matching length; @auxiliary_signals have the signal's shape;
    DATANAME_errors has the shape of DATANAME; all numbers have units."""
    with h5py.File(saved[0]) as f:
        assert f.attrs["NX_class"] == "NXroot"
        entry = f[f.attrs["default"]]
        assert entry.attrs["NX_class"] == "NXentry"
        data = entry[entry.attrs["default"]]
        assert data.attrs["NX_class"] == "NXdata"
        signal = data[data.attrs["signal"]]
        assert signal.ndim == 2
        assert np.isfinite(signal[:]).any()
        assert signal.attrs["interpretation"] == "image"
        axes = data.attrs["axes"]
        assert isinstance(axes, np.ndarray)
        assert axes.tolist() == ["y", "x"]
        for size, axis in zip(signal.shape, axes, strict=True):
            assert data[axis].shape == (size,)
            assert data[axis].dtype.kind == "f"
        others = data.attrs["auxiliary_signals"].tolist()
        assert set(others) == {"height", "work_of_adhesion", "n_points", "doubts"}
        assert all(data[name].shape == signal.shape for name in others)
        for name, item in data.items():
            assert item.attrs["units"]
            base = name.removesuffix("_errors")
            assert base in data
            assert data[base].shape == item.shape
        for name in ("process_1", "source", "review", "environment", "history"):
            assert entry[name].attrs["NX_class"].startswith("NX")
        assert entry["process_1"].attrs["NX_class"] == "NXprocess"
        assert entry["source"].attrs["NX_class"] == "NXnote"


def test_doubts_carry_their_meaning(saved):
    with h5py.File(saved[0]) as f:
        doubts = f["entry/maps/doubts"]
        assert doubts.dtype == np.uint64
        assert doubts.attrs["flag_masks"].tolist() == [1, 2**63]
        assert doubts.attrs["flag_meanings"].split() == ["noisy", "last"]
        decision = f["entry/review/decision"]
        assert decision.dtype == np.uint8
        assert decision.attrs["flag_meanings"].split()[0] == "undecided"


def test_the_settings_lie_in_the_file_with_their_checksum(saved):
    path, made = saved
    with bend(path) as f:
        text = f["entry/process_1/settings"].asstr()[()]
        assert text == made.settings.to_json()
        assert f["entry/process_1/settings"].attrs["sha256"] == hashlib.sha256(
            text.encode()).hexdigest()  # fmt: skip
        kept = dict(f["entry/process_1/settings"].attrs)
        del f["entry/process_1/settings"]
        f["entry/process_1/settings"] = text.replace('"law":"cone"', '"law":"punch"')
        f["entry/process_1/settings"].attrs.update(kept)
    loaded = load_analysis(path)
    assert loaded.settings.fit.law == "punch"
    assert loaded.settings_changed


def test_the_earlier_version_is_kept(saved):
    path, made = saved
    before = load_analysis(path).uuid
    save_analysis(path, made)
    assert load_analysis(path).uuid != before
    assert load_analysis(path.with_name("blend.analysis.previous.h5")).uuid == before
    assert len(list(path.parent.iterdir())) == 2


def test_the_measured_file_is_never_overwritten(saved):
    _, made = saved
    whole = made.map.path.read_bytes()
    with pytest.raises(WriteError, match="measured map itself"):
        save_analysis(made.map.path, made)
    assert made.map.path.read_bytes() == whole


def test_a_measured_file_that_changed_meanwhile_is_noticed(tmp_path):
    path = good_map(tmp_path / "blend.h5")
    with open_map(path) as force_map:
        good_map(path, title="another")
        with pytest.raises(ReadError, match="changed"):
            save_analysis(tmp_path / "r.h5", analysis(force_map))
    assert not (tmp_path / "r.h5").exists()


def test_a_map_without_scale_or_file_is_saved_too(tmp_path):
    made = analysis(ForceMap.from_arrays(*curves()))
    loaded = load_analysis(save_analysis(tmp_path / "r.h5", made))
    assert not loaded.has_scale
    assert loaded.x.tolist() == [0, 1, 2, 3]
    assert (loaded.source.scope, loaded.source.file_name) == ("arrays in memory", "")
    with pytest.raises(ReadError, match="lay in memory only"):
        find_source(loaded)


# -- the source -------------------------------------------------------------------------------


def test_the_source_is_found_by_its_relative_place(saved):
    path, made = saved
    loaded = load_analysis(path)
    assert loaded.source.file_name == "../maps/blend.h5"
    assert loaded.source.checksum == hashlib.sha256(made.map.path.read_bytes()).hexdigest()
    assert find_source(loaded).samefile(made.map.path)


def test_a_moved_source_is_found_beside_the_analysis_or_where_one_says(saved, tmp_path):
    path, made = saved
    loaded = load_analysis(path)
    other = tmp_path / "elsewhere"
    other.mkdir()
    made.map.path.rename(other / "blend.h5")
    with pytest.raises(ReadError, match="not at its place"):
        find_source(loaded)
    assert find_source(loaded, other) == other / "blend.h5"
    (other / "blend.h5").rename(other / "renamed.h5")
    assert find_source(loaded, other / "renamed.h5") == other / "renamed.h5"
    (other / "renamed.h5").rename(path.parent / "blend.h5")
    assert find_source(loaded) == path.parent / "blend.h5"


def test_another_file_of_the_same_name_is_refused(saved):
    path, made = saved
    loaded = load_analysis(path)
    place = made.map.path
    whole = place.read_bytes()
    good_map(place)  # other UUID, size may be the same
    with pytest.raises(ReadError, match=r"not the map that .* was made from: (it has|its UUID)"):
        find_source(loaded)
    at = whole.index(b"invented")
    place.write_bytes(whole[:at] + b"Invented" + whole[at + 8 :])
    with pytest.raises(ReadError, match="checksum"):
        find_source(loaded)
    place.write_text("not a map")
    with pytest.raises(ReadError, match="not the map"):
        find_source(loaded)


@pytest.mark.parametrize("name", ["/etc/passwd", "\\\\host\\share\\blend.h5", "C:\\blend.h5"])
def test_a_place_outside_is_not_visited(saved, name):
    path, made = saved
    with bend(path) as f:
        del f["entry/source/file_name"]
        f["entry/source/file_name"] = name
    made.map.path.rename(path.parent / "blend.h5")
    loaded = load_analysis(path)
    if name.endswith("blend.h5"):
        assert find_source(loaded) == path.parent / "blend.h5"
    else:
        with pytest.raises(ReadError, match="not at its place"):
            find_source(loaded)


# -- hostile ----------------------------------------------------------------------------------


def test_a_map_is_not_an_analysis_and_the_other_way_round(saved):
    path, made = saved
    with pytest.raises(ReadError, match="not a saved analysis"):
        load_analysis(made.map.path)
    with pytest.raises(ReadError, match="saved analysis"):
        open_map(path)


@pytest.mark.parametrize(
    "text",
    ["", "{", "[]", '{"palpate_settings":99}', '{"palpate_settings":1,"new":{}}',
     '{"palpate_settings":1,"tip":{"radius":1e400}}', '{"palpate_settings":1,"tip":{"radius":NaN}}',
     '{"palpate_settings":1,"tip":{"radius":' + "9" * 400 + "}}",
     '{"palpate_settings":' + "[" * 20_000 + "]" * 20_000 + "}"],
    ids=["none", "cut", "list", "newer", "unknown", "huge", "nan", "digits", "deep"],
)  # fmt: skip
def test_settings_that_are_broken_are_refused_by_name(saved, text):
    path, _ = saved
    with bend(path) as f:
        del f["entry/process_1/settings"]
        if text:
            f["entry/process_1/settings"] = text
    with pytest.raises(ReadError, match="entry/process_1/settings"):
        load_analysis(path)


def _link(f):
    f["entry/maps/adhesion"] = h5py.ExternalLink("other.h5", "x")
    f["entry/maps"].attrs["auxiliary_signals"] = np.array(["adhesion"], h5py.string_dtype())


def _path_as_name(f):
    f["entry/maps"].attrs["auxiliary_signals"] = np.array(["../source"], h5py.string_dtype())


def _bomb(f):
    kept = dict(f["entry/maps/height"].attrs)
    del f["entry/maps/height"]
    f.create_dataset("entry/maps/height", shape=(10**6, 10**6), chunks=(64, 64), dtype="f8")
    f["entry/maps/height"].attrs.update(kept)


def _shape(f):
    del f["entry/maps/doubts"]
    f["entry/maps/doubts"] = np.zeros((2, 2), "u8")


def _unit(f):
    f["entry/maps/modulus"].attrs["units"] = "stone"


def _history(f):
    del f["entry/history/actions"]
    f["entry/history/actions"] = json.dumps([1]) + "\nnonsense"


@pytest.mark.parametrize(
    ("change", "words"),
    [(_link, "maps/adhesion: it is a link"), (_path_as_name, "not a channel"),
     (_bomb, "declares"), (_shape, "doubts"), (_unit, "stone"), (_history, "history/actions")],
)  # fmt: skip
def test_a_bent_analysis_is_refused_by_name(saved, change, words):
    path, _ = saved
    with bend(path) as f:
        change(f)
    with pytest.raises(ReadError, match=words):
        load_analysis(path)


def test_a_flood_of_damage_gives_sentences_only(saved):
    path, _ = saved
    whole = path.read_bytes()
    answers = set()
    for at in range(0, len(whole), len(whole) // 60):
        data = bytearray(whole)
        data[at] ^= 0xFF
        path.write_bytes(data)
        try:
            load_analysis(path)
            answers.add("read")
        except ReadError as error:
            answers.add("refused" if str(error).endswith(".") else str(error))
    assert answers == {"read", "refused"}
