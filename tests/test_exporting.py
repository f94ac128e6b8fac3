"""Exports read back: against the analysis, and curves against the curves that were put in."""

from __future__ import annotations

import csv
import errno
import json
import shutil
from types import SimpleNamespace

import h5py
import numpy as np
import pytest
import tifffile
from shell_maps import SPRING, curves, made

from palpate.core import ForceMap, Settings, analyse
from palpate.core.components import Axis, Rule
from palpate.core.corrections import reviewed
from palpate.core.decisions import Pixels, Review
from palpate.core.doubts import DOUBTS
from palpate.core.errors import Cancelled, InputError, WriteError
from palpate.core.exporting import Wanted, export_all, plan
from palpate.core.exporting.tables import WORDS
from palpate.core.findings import Findings, findings_of
from palpate.core.places import Places, Profile, Rectangle, Region
from palpate.core.progress import Progress
from palpate.core.work import Work
from palpate.core.writers.folder import problems

SENSITIVITY, NOISE, OFFSET = 40.0, 0.05, 0.3
CORRECTED = (2, 5)
CHANGE = {"calibration.spring_constant": 3.0, "baseline.shape": "offset"}


@pytest.fixture(scope="module")
def case():
    """A map of two components recorded in volts, four pixels left out, one corrected, a region, a
    profile; and the curves without their noise, by the law that made them."""
    z, d = curves()
    noise = np.random.default_rng(7).normal(0.0, NOISE, d.shape)
    d[9, 13] = OFFSET + noise[9, 13]  # nothing touches there
    given = made(deflection=d / SENSITIVITY, deflection_unit="V", digitise=False,
                 deflection_sensitivity=SENSITIVITY, sampling_rate=2000.0)  # fmt: skip
    fmap = ForceMap.from_arrays(**given)
    out, one = np.zeros(fmap.shape, bool), np.zeros(fmap.shape, bool)
    out[0, :4], one[CORRECTED] = True, True
    review = Review().leave_out(Pixels.of(out)).correct(Pixels.of(one), CHANGE)
    rule = Rule(method="thresholds", axes=(Axis("reduced_modulus", True),), thresholds=(0.9,))
    places = Places((Region("left", Rectangle(0.0, 0.0, 700.0, 900.0)),),
                    (Profile("=across", ((50.0, 500.0), (1300.0, 500.0))),), "nm")  # fmt: skip
    work = Work(Settings(), rule, review, places)
    found = findings_of(reviewed(analyse(fmap, work.settings), review), work)
    rows, cols = np.indices(fmap.shape)
    height = 3.0 * np.sin(rows / 3.0) + 2.0 * np.cos(cols / 2.5)
    return SimpleNamespace(findings=found, z=z, d=d, true=d - noise - OFFSET, height=height)


def table(path):
    with path.open(encoding="utf-8", newline="") as file:
        rows = list(csv.reader(file))
    return rows[0], rows[1:]


def numbers(path):
    head, rows = table(path)
    return {name: np.array([float(row[k]) if row[k] != "" else np.nan for row in rows])
            for k, name in enumerate(head)}


# ---- maps


def test_every_format_holds_the_numbers_of_the_analysis_in_the_unit_asked_for(case, tmp_path):
    found, analysis = case.findings, case.findings.analysis
    formats = ("csv", "npy", "npz", "h5", "tif")
    wanted = Wanted(("channels", "errors"), formats, ("modulus",), ("MPa",))
    export_all(found, tmp_path / "out", wanted)
    truth = 1000.0 * np.where(analysis.trusted, analysis.channel("modulus"), np.nan)
    error = 1000.0 * np.where(analysis.trusted, analysis.errors("modulus"), np.nan)
    assert np.isnan(truth[0, :4]).all()
    assert np.isfinite(truth).sum() > 100
    with (tmp_path / "out/pixels.csv").open() as file:
        rows = list(csv.DictReader(file))
    read = np.array([float(row["modulus (MPa)"]) for row in rows]).reshape(truth.shape)
    np.testing.assert_allclose(read, truth, rtol=1e-8)
    bits = np.array([int(row["doubts"]) for row in rows], np.uint64).reshape(truth.shape)
    assert np.array_equal(bits, analysis.doubts)
    trusted = np.array([row["trusted"] == "true" for row in rows]).reshape(truth.shape)
    assert np.array_equal(trusted, analysis.trusted)
    assert [int(row["component"]) for row in rows] == found.labels.ravel().tolist()
    np.testing.assert_allclose(np.load(tmp_path / "out/maps/modulus.npy"), truth)
    np.testing.assert_allclose(np.load(tmp_path / "out/maps/modulus_errors.npy"), error)
    assert np.load(tmp_path / "out/maps/doubts.npy").dtype == np.uint64
    assert np.array_equal(tifffile.imread(tmp_path / "out/maps/doubts.tif"), analysis.doubts)
    with np.load(tmp_path / "out/maps.npz") as arrays:
        np.testing.assert_allclose(arrays["modulus_errors"], error)
        assert json.loads(str(arrays["about"]))["modulus"]["unit"] == "MPa"
    with h5py.File(tmp_path / "out/maps.h5") as file:
        maps = file["entry/maps"]
        np.testing.assert_allclose(maps["modulus"][()], truth)
        assert maps["modulus"].attrs["units"] == "MPa"
        assert maps.attrs["signal"] == "modulus"
        np.testing.assert_allclose(maps["x"][()], found.map.x)
        assert np.array_equal(maps["doubts"][()], analysis.doubts)
        assert json.loads(file["entry/settings"][()]) == analysis.settings.as_dict()
    with tifffile.TiffFile(tmp_path / "out/maps/modulus.tif") as tif:
        np.testing.assert_allclose(tif.asarray(), truth, rtol=1e-6)
        page = tif.pages[0]
        assert json.loads(page.description)["unit"] == "MPa"
        top, below = page.tags["XResolution"].value  # pixels a centimetre
        assert top / below == pytest.approx(1e7 / 100.0, rel=1e-4)


def test_doubtful_numbers_are_in_only_if_asked_for(case, tmp_path):
    found = case.findings
    export_all(found, tmp_path / "out",
               Wanted(("channels",), ("npy",), ("height",), trusted=False))  # fmt: skip
    there = np.load(tmp_path / "out/maps/height.npy")
    assert np.array_equal(there, found.analysis.channel("height"))
    assert np.isfinite(there[0]).all()


# ---- tables


def test_tables_hold_what_was_found_and_decided(case, tmp_path):
    found = case.findings
    export_all(found, tmp_path / "out", Wanted(("tables",)))
    out = tmp_path / "out"
    names = {path.name for path in out.iterdir()}
    assert {"components.csv", "pairs.csv", "budgets.csv", "doubts.csv", "pixels_used.csv",
            "decisions.csv", "constants.csv", "settings.csv", "settings.toml", "rule.json",
            "places.json", "regions.csv", "profile_1.csv", "datapackage.json"} <= names  # fmt: skip
    assert Settings.load(out / "settings.toml") == found.analysis.settings
    assert Rule.load(out / "rule.json") == found.work.rule
    assert Places.load(out / "places.json") == found.work.places
    used = dict(table(out / "pixels_used.csv")[1])
    assert int(used["used"]) == found.analysis.trusted.sum()
    assert used["left out by hand"] == "4"
    constants = {row[0]: row for row in table(out / "constants.csv")[1]}
    assert float(constants["Spring constant"][1]) == SPRING
    assert constants["Deflection sensitivity"][1:5] == ["40", "nan", "nm/V", "recorded"]
    counts = {row[0]: int(row[2]) for row in table(out / "doubts.csv")[1]}
    assert counts == found.analysis.doubt_counts()
    assert set(counts) <= set(DOUBTS)
    head, rows = table(out / "components.csv")
    stiff = [r for r in rows if r[0] == "B" and r[head.index("channel")] == "reduced_modulus"]
    pure = found.composition.pixels(1, pure=True) > 0
    truth = np.median(found.analysis.channel("reduced_modulus")[pure])
    assert float(stiff[0][head.index("median")]) == pytest.approx(truth, rel=1e-6)
    decided = table(out / "decisions.csv")[1]
    assert len(decided) == 5
    assert json.loads(decided[-1][-1]) == CHANGE
    for name, words in WORDS.items():  # what is described is there
        assert set(words) <= set(table(out / f"{name}.csv")[0])
    budget = [r for r in table(out / "budgets.csv")[1] if r[:3] == ["B", "modulus", "common"]]
    assert any("Spring constant" in row[3] for row in budget)


# ---- curves


def test_curves_are_those_that_were_put_in_by_the_law_that_made_them(case, tmp_path):
    """d without baseline is the law's own within the noise; F = k d; D = d - (z - height), since
    the height is where the tip would touch (the formulas of the maker of the curves)."""
    pixels = ((4, 2), (7, 9))
    export_all(case.findings, tmp_path / "out", Wanted(("curves",), ("csv",), pixels=pixels))
    for row, col in pixels:
        got = numbers(tmp_path / f"out/curves/curve_r{row:03d}_c{col:03d}.csv")
        z, d = case.z[row, col].ravel(), case.d[row, col].ravel()
        true = case.true[row, col].ravel()
        np.testing.assert_allclose(got["z (nm)"], z, rtol=1e-8)
        np.testing.assert_allclose(got["recorded deflection (V)"], d / SENSITIVITY, rtol=1e-8)
        np.testing.assert_allclose(got["measured deflection (nm)"], d, rtol=1e-8)
        assert got["segment"].tolist() == [0.0] * 240 + [2.0] * 240
        noise = got["deflection (nm)"] - true
        assert abs(noise.mean()) < 0.02
        assert noise.std() == pytest.approx(NOISE, rel=0.1)
        np.testing.assert_allclose(got["force (nN)"], SPRING * got["deflection (nm)"], rtol=1e-7)
        apart = got["separation (nm)"] - (true - (z - case.height[row, col]))
        assert abs(apart.mean()) < 0.4
        np.testing.assert_array_equal(got["indentation (nm)"], -got["separation (nm)"])
        assert got["indentation (nm)"][239] > 5.0
        assert got["separation (nm)"][0] > 100.0


def test_a_corrected_pixel_has_the_constants_of_its_correction(case, tmp_path):
    export_all(case.findings, tmp_path / "out", Wanted(("curves",), ("npz",), pixels=(CORRECTED,)))
    with np.load(tmp_path / "out/curves/curves.npz") as got:
        d = got["deflection"]
        np.testing.assert_allclose(got["force"], 3.0 * d)
        line = got["measured_deflection"] - d
        assert np.ptp(line[:240]) < 1e-12
        assert line[0] == pytest.approx(OFFSET, abs=0.02)
        report = case.findings.explain(*CORRECTED)
        np.testing.assert_allclose(d[:240], report.approach.d, atol=1e-12)
        depth = report.approach.z - report.z0 - report.approach.d
        np.testing.assert_allclose(got["indentation"][:240], depth, atol=1e-9)
        assert got["pixel"].tolist() == [list(CORRECTED)]


def test_fringes_and_drift_go_off_as_in_the_numbers(case, tmp_path):
    """Both branches as the curve view draws them, where the baseline is more than a line."""
    change = {"baseline.branches": "drift", "baseline.fringes": "subtract"}
    settings = Settings().with_values(change)
    found = Findings(analyse(case.findings.map, settings), Work(settings))
    export_all(found, tmp_path / "out", Wanted(("curves",), ("npz",), pixels=((6, 6),)))
    report = found.explain(6, 6)
    with np.load(tmp_path / "out/curves/curves.npz") as got:
        d = got["deflection"]
    np.testing.assert_allclose(d[:240], report.approach.d, atol=1e-9)
    np.testing.assert_allclose(d[240:][::-1], report.retract.d, atol=1e-9)


def test_all_curves_go_portion_by_portion_and_are_the_same_in_each_format(
    case, tmp_path, monkeypatch
):
    from palpate.core.exporting import curvefiles, curves

    taken = []

    def read(findings, some, kinds):
        taken.append(some.size)
        return curves.samples_of(findings, some, kinds)

    monkeypatch.setattr(curvefiles, "samples_of", read)
    monkeypatch.setattr(
        curvefiles, "portions", lambda f, c, most=0: curves.portions(f, c, most=5000)
    )
    export_all(case.findings, tmp_path / "out",
               Wanted(("curves",), ("csv", "npy", "h5"), all_pixels=True))  # fmt: skip
    assert max(taken) == 5000 // 480
    assert sum(taken) == 3 * 140
    place = tmp_path / "out/curves"
    start, count = np.load(place / "start.npy"), np.load(place / "count.npy")
    pixel = np.load(place / "pixel.npy")
    at = int(np.flatnonzero((pixel == (7, 9)).all(axis=1))[0])
    here = slice(start[at], start[at] + count[at])
    lines = numbers(place / "curves_r007.csv")
    lines = {name: values[lines["column"] == 9] for name, values in lines.items()}
    with h5py.File(place / "curves.h5") as file:
        group = file["entry/curves"]
        assert group["force"].attrs["units"] == "nN"
        assert group["sampling_rate"][0] == 2000.0
        for name in ("z", "measured_deflection", "force", "separation"):
            array = np.load(place / f"{name}.npy", mmap_mode="r")
            assert array.dtype == np.float32
            assert array.size == 140 * 480
            np.testing.assert_array_equal(group[name][()], array)
            words = next(title for title in lines if title.startswith(name.replace("_", " ")))
            np.testing.assert_allclose(array[here], lines[words], rtol=1e-6, atol=1e-6)


# ---- the folder


def test_the_description_is_that_of_the_files(case, tmp_path):
    """Names, hashes, and columns as the Data Package standard wants them (datapackage.org)."""
    import hashlib

    pixels = ((1, 1),)
    export_all(case.findings, tmp_path / "out",
               Wanted(("channels", "tables", "curves"), ("csv",), pixels=pixels))  # fmt: skip
    package = json.loads((tmp_path / "out/datapackage.json").read_text(encoding="utf-8"))
    files = {p.relative_to(tmp_path / "out").as_posix() for p in (tmp_path / "out").rglob("*.*")}
    assert {one["path"] for one in package["resources"]} == files - {"datapackage.json"}
    names = [one["name"] for one in package["resources"]]
    assert len(set(names)) == len(names)
    assert all(n == n.lower() and " " not in n for n in names)
    reads = {"number": float, "integer": int, "string": str,
             "any": str, "boolean": lambda text: ("true", "false").index(text)}  # fmt: skip
    for one in package["resources"]:
        data = (tmp_path / "out" / one["path"]).read_bytes()
        assert one["bytes"] == len(data)
        assert one["hash"] == f"sha256:{hashlib.sha256(data).hexdigest()}"
        if one["format"] != "csv":
            continue
        head, rows = table(tmp_path / "out" / one["path"])
        fields = one["schema"]["fields"]
        assert [field["name"] for field in fields] == head
        for row in rows:
            for field, text in zip(fields, row, strict=True):
                if text not in one["schema"]["missingValues"]:
                    reads[field["type"]](text)
    by_path = {one["path"]: one["schema"] for one in package["resources"] if "schema" in one}
    units = {f["name"]: f.get("unit") for f in by_path["pixels.csv"]["fields"]}
    assert units["modulus (GPa)"] == "GPa"
    assert units["doubts"] is None
    assert package["review_sha256"] == case.findings.analysis.review.checksum


def test_stopped_and_failed_exports_leave_nothing_and_an_earlier_one_stays(
    case, tmp_path, monkeypatch
):
    out = tmp_path / "out"
    export_all(case.findings, out, Wanted(("tables",)))
    before = {path: path.read_bytes() for path in out.iterdir()}
    seen = []

    def stop(done, total, words):
        seen.append(words)
        if words == "Exporting curves" and done:
            progress.cancel()

    progress = Progress(stop)
    everything = Wanted(("channels", "curves"), ("h5",), all_pixels=True)
    from palpate.core.exporting import curvefiles, curves

    monkeypatch.setattr(curvefiles, "portions", lambda f, c: curves.portions(f, c, most=5000))
    with pytest.raises(Cancelled):
        export_all(case.findings, out, everything, progress=progress, replace=True)
    assert "Exporting maps" in seen
    full = OSError(errno.ENOSPC, "No space left on device")
    monkeypatch.setattr(np, "savez_compressed", lambda *_, **__: (_ for _ in ()).throw(full))
    with pytest.raises(WriteError, match=r"the disk is full\. Make room"):
        export_all(case.findings, out, Wanted(("channels",), ("npz",)), replace=True)
    usage = shutil.disk_usage(tmp_path)
    monkeypatch.setattr(shutil, "disk_usage", lambda folder: usage._replace(
        free=10**7 if folder.name == "curves" else usage.free))  # fmt: skip
    with pytest.raises(WriteError, match="out/curves could not be written to: the disk is full"):
        export_all(case.findings, out, everything, replace=True)  # told before HDF5 fails
    assert {path: path.read_bytes() for path in out.iterdir()} == before
    assert list(tmp_path.iterdir()) == [out]
    export_all(case.findings, out, Wanted(("channels",), ("npy",)), replace=True)
    assert (out / "maps").is_dir()
    assert not (out / "settings.csv").exists()
    assert list(tmp_path.iterdir()) == [out]


def test_what_is_wrong_with_the_place_is_said_before(case, tmp_path, monkeypatch):
    found = case.findings
    mine = tmp_path / "mine"
    mine.mkdir()
    (mine / "notes.txt").write_text("mine")
    assert "other files" in problems(mine, replace=True)[0]
    (tmp_path / "file").write_text("mine")
    assert "a file of this name" in problems(tmp_path / "file")[0]
    assert "no folder" in problems(tmp_path / "gone" / "out")[0]
    assert "longer than 255" in problems(tmp_path / ("x" * 256))[0]
    out = tmp_path / "out"
    export_all(found, out, Wanted(("tables",)))
    with pytest.raises(WriteError, match="is there already"):
        export_all(found, out, Wanted(("tables",)))
    (out / "thoughts.txt").write_text("mine")
    assert "thoughts.txt" in problems(out, replace=True)[0]
    usage = shutil.disk_usage(tmp_path)
    monkeypatch.setattr(shutil, "disk_usage", lambda _: usage._replace(free=1000))
    with pytest.raises(WriteError, match=r"it needs about .* MB with a reserve, and 1 kB are"):
        export_all(found, tmp_path / "new", Wanted(("channels",)))
    assert not (tmp_path / "new").exists()
    assert (mine / "notes.txt").read_text() == "mine"


def test_a_plan_tells_number_and_size_within_a_factor_of_two(case, tmp_path):
    for formats, number in ((("csv", "npz"), 12), (("h5",), 3)):
        wanted = Wanted(("channels", "curves"), formats, all_pixels=True)
        planned = plan(case.findings, wanted)
        made = export_all(case.findings, tmp_path / formats[-1], wanted)
        assert len(planned.files) == len(made.files) == number + ("csv" in formats) * 2
        assert 0.5 < planned.size / made.size < 2.0
        assert planned.words.startswith(f"{len(made.files)} files, about ")


@pytest.mark.parametrize(
    ("wanted", "words"),
    [
        (dict(parts=("curves",), pixels=((99, 0),)), "no curve at row 99, column 0"),
        (dict(parts=("curves",)), "No pixel is chosen"),
        (dict(parts=("curves",), formats=("tif",), all_pixels=True), "can't be written as TIFF"),
        (dict(channels=("hardness",)), "no channel “hardness”"),
        (dict(parts=()), "Nothing is chosen"),
    ],
)
def test_what_can_not_be_exported_is_told_in_words(case, tmp_path, wanted, words):
    with pytest.raises(InputError, match=words):
        export_all(case.findings, tmp_path / "out", Wanted(**wanted))
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("wanted", [dict(formats=("docx",)), dict(units=("furlong",)),
                                    dict(parts=("soul",)), dict(curves=("smooth",))])  # fmt: skip
def test_words_that_mean_nothing_are_refused(wanted):
    with pytest.raises(InputError):
        Wanted(**wanted)
