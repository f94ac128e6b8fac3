"""Tables of places: rectangular, with units, and read back as they were."""

from __future__ import annotations

import csv
import io

import numpy as np
import pytest

from palpate.core.errors import WriteError
from palpate.core.places import (
    Places,
    Profile,
    Rectangle,
    Region,
    differences,
    mask_of,
    sample,
    save_differences,
    save_profile,
    save_statistics,
    statistics_of,
)

X, Y = (np.arange(40) + 0.5) * 10.0, (np.arange(30) + 0.5) * 10.0
RNG = np.random.default_rng(1)
MAPS = {"modulus": RNG.lognormal(0, 0.3, (30, 40)), "residual": RNG.normal(1, 0.1, (30, 40))}
MAPS["modulus"][10:14, 10:14] = np.nan
LINE = Profile("=SUM(A1), edge", ((15.0, 125.0), (385.0, 125.0)), 60.0, "two\nlines")
UNITS = {"modulus": "GPa", "residual": ""}


def table(path):
    """Comments, header and rows of a file, by the csv module."""
    text = path.read_text(encoding="utf-8")
    comments = [line for line in text.splitlines() if line.startswith("#")]
    rest = "".join(f"{line}\n" for line in text.splitlines() if not line.startswith("#"))
    header, *rows = csv.reader(io.StringIO(rest))
    assert {len(row) for row in rows} == {len(header)}
    return comments, header, rows


def test_a_profile_is_one_row_a_point_with_units_and_reads_back(tmp_path):
    labels = np.where(X < 200, 0, 1) + np.zeros((30, 1), dtype=int)
    got = sample(LINE, MAPS, X, Y, labels=labels, units=UNITS)
    path = tmp_path / "line.csv"
    assert save_profile(path, got, source="blend.h5", settings_json="{}", note="a, b\nc") == [
        path, tmp_path / "line.csv.json"]  # fmt: skip
    comments, header, rows = table(path)
    assert header[:6] == ["distance (nm)", "x (nm)", "y (nm)", "component", "modulus (GPa)",
                          "standard error of modulus (GPa)"]  # fmt: skip
    assert "residual (1)" in header
    assert len(rows) == got.distance.size
    numbers = np.array(rows, dtype=float)
    for title, want in (
        ("distance (nm)", got.distance),
        ("component", got.component),
        ("modulus (GPa)", got.channels["modulus"].values),
        ("pixels of modulus", got.channels["modulus"].pixels),
        ("standard error of residual (1)", got.channels["residual"].errors),
    ):
        np.testing.assert_allclose(numbers[:, header.index(title)], want, rtol=1e-8)
    said = "\n".join(comments)
    for words in (
        "source: blend.h5",
        "note: a, b c",
        "width: 60 nm",
        "missing: nan",
        "44136fa355b3678a1146ad16f7e8649e94fb4fc21fe77e8310c060f61caaff8a",
    ):  # SHA of {}
        assert words in said
    assert Places.load(tmp_path / "line.csv.json") == Places((), (LINE,), "nm")


def test_plain_readers_need_no_more_than_the_comment_sign(tmp_path):
    path = tmp_path / "line.csv"
    got = sample(LINE, MAPS, X, Y, units=UNITS)
    save_profile(path, got, channels=("modulus",))
    head = sum(line.startswith("#") for line in path.read_text(encoding="utf-8").splitlines())
    read = np.loadtxt(path, delimiter=",", skiprows=head + 1, encoding="utf-8")
    assert read.shape == (got.distance.size, 7)


def test_a_gap_of_a_profile_is_written_as_nan(tmp_path):
    path = tmp_path / "line.csv"
    got = sample(Profile("thin", LINE.points), MAPS, X, Y, units=UNITS)
    save_profile(path, got)
    _, header, rows = table(path)
    values = np.array([float(row[header.index("modulus (GPa)")]) for row in rows])
    assert np.array_equal(np.isnan(values), np.isnan(got.channels["modulus"].values))
    assert np.isnan(values).sum() == 4


def test_statistics_are_one_row_a_region_and_channel(tmp_path):
    regions = (
        Region("=1+1, left", Rectangle(0, 0, 200, 300)),
        Region("none", Rectangle(0, 0, 0, 0)),
    )
    found = [statistics_of(MAPS, mask_of(r, X, Y), name=r.name, units=UNITS, pitch=(10.0, 10.0),
                           area_unit="nm²") for r in regions]  # fmt: skip
    path = tmp_path / "regions.csv"
    made = save_statistics(path, found, regions=regions)
    assert Places.load(made[1]) == Places(regions)
    _, header, rows = table(path)
    assert [(row[0], row[1], row[2]) for row in rows] == [
        ("'=1+1, left", "modulus", "GPa"), ("'=1+1, left", "residual", "1"),
        ("none", "modulus", "GPa"), ("none", "residual", "1")]  # fmt: skip
    one = dict(zip(header, rows[0], strict=True))
    want = found[0].channels["modulus"]
    assert float(one["median"]) == pytest.approx(want.median, rel=1e-8)
    assert float(one["mean to (95 %)"]) == pytest.approx(want.mean_interval[1], rel=1e-8)
    assert float(one["area (nm²)"]) == 600 * 100.0
    assert int(one["left out: no value of this channel"]) == 16
    assert int(one["used"]) + 16 == int(one["pixels"]) == 600
    empty = dict(zip(header, rows[2], strict=True))
    assert empty["mean"] == "nan"
    assert "no pixel" in empty["remark"]


def test_differences_are_one_row_a_pair_and_channel(tmp_path):
    a, b = (statistics_of(MAPS, mask_of(Rectangle(x, 0, x + 200, 300), X, Y)) for x in (0, 200))
    path = tmp_path / "pairs.csv"
    pairs = differences(a, b)
    assert save_differences(path, [("left", "right", pairs)]) == [path]
    _, header, rows = table(path)
    one = dict(zip(header, rows[0], strict=True))
    assert (one["region A"], one["region B"], one["channel"]) == ("left", "right", "modulus")
    assert float(one["ratio of medians"]) == pytest.approx(pairs["modulus"].ratio, rel=1e-8)
    assert "common" in one["what is common"]


def test_what_cannot_be_saved_says_why_and_leaves_nothing(tmp_path):
    got = sample(LINE, MAPS, X, Y)
    none = sample(Profile("a", ((5, 5), (5, 5))), MAPS, X, Y)
    for save, words in (
        (lambda: save_profile(tmp_path / "line.txt", got), "ends in .csv"),
        (lambda: save_profile(tmp_path / "line.csv", none), "no length"),
        (lambda: save_profile(tmp_path / "gone" / "line.csv", got), "no folder"),
        (lambda: save_statistics(tmp_path / "r.csv", []), "no region"),
        (lambda: save_differences(tmp_path / "r.csv", []), "no two regions"),
    ):
        with pytest.raises(WriteError, match=words):
            save()
    assert list(tmp_path.iterdir()) == []
