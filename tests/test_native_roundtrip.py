"""What the native format promises: what is written is read, in any legal variant."""

from __future__ import annotations

import math
import subprocess
import sys
import textwrap
import time

import h5py
import numpy as np
import pytest
from native_files import COLS, ROWS, N, bent, curves, good_map, put

from palpate.core.errors import InputError, ReadError, WriteError
from palpate.core.forcemap import ForceMap
from palpate.core.mapparts import Constant
from palpate.core.readers import open_map
from palpate.core.writers import save_map, write_map

CURVES = "entry/curves"


def test_everything_that_is_written_is_read(tmp_path):
    path = good_map(
        tmp_path / "a.h5", start_time="2026-03-02T09:30:00+00:00", uuid="u-1",
        position=np.arange(24.0).reshape(12, 2), overview=np.arange(12.0).reshape(3, 4),
        radius=Constant(12.0, "nm", 1.5, "reference sample"),
    )  # fmt: skip
    with open_map(path) as m:
        assert (m.shape, m.n_curves, m.title, m.uuid) == ((3, 4), 12, "Test map", "u-1")
        assert m.warnings == []
        assert m.file_size == path.stat().st_size
        r = m.recorded
        assert r.spring_constant == Constant(2.0, "N/m", 0.1)
        assert (r.radius.value, r.radius.method) == (pytest.approx(12.0), "reference sample")
        assert r.radius.error == pytest.approx(1.5)
        assert r.deflection_sensitivity.value == pytest.approx(60.0)
        assert math.isnan(r.deflection_sensitivity.error)
        assert (r.half_angle.value, r.half_angle.unit) == (pytest.approx(20.0), "deg")
        assert (r.set_point.value, r.set_point.unit) == (pytest.approx(10.0), "nN")
        assert (r.temperature.value, r.medium, r.tip_shape) == (296.0, "air", "paraboloid")
        assert m.attributes == {"sample": "invented", "start_time": "2026-03-02T09:30:00+00:00"}
        np.testing.assert_allclose(m.x, [50, 150, 250, 350])
        np.testing.assert_allclose(m.overview, np.arange(12.0).reshape(3, 4), rtol=1e-6)
        np.testing.assert_allclose(m.position, np.arange(24.0).reshape(12, 2))
        assert m.sampling_rate.tolist() == [5000.0, 5000.0]


@pytest.mark.parametrize("unit", ["nm", "V", "nN"])
@pytest.mark.parametrize("dtype", [np.float32, np.float64])
def test_samples_return_to_the_last_bit_of_their_kind(tmp_path, unit, dtype):
    z, d = (a.astype(dtype) for a in curves())
    d[0, 0, 1, 3] = np.nan
    if unit == "nN":
        write_map(tmp_path / "a.h5", z, force=d)
    else:
        write_map(tmp_path / "a.h5", z, d, deflection_unit=unit)
    with open_map(tmp_path / "a.h5") as m:
        assert m.signal_unit == unit
        block = m.read_block(np.arange(12))
        assert block.signal.dtype == dtype
        np.testing.assert_array_equal(block.signal.reshape(d.shape), d)
        np.testing.assert_allclose(m.samples(0).approach_z, z[0, 0, 0], rtol=1e-14)


def test_ragged_curves_in_any_order_return(tmp_path):
    rng = np.random.default_rng(2)
    sizes = [(5, 0, 9), (0, 0, 0), (1, 3, 2), (30, 2, 1)]
    z = [[rng.random(n) for n in c] for c in sizes]
    f = [[rng.random(n) for n in c] for c in sizes]
    pixel = [[1, 1], [0, 1], [0, 0], [1, 1]]
    write_map(tmp_path / "a.h5", z, force=f, pixel=pixel, segments=("approach", "hold", "retract"))
    with open_map(tmp_path / "a.h5") as m:
        assert m.segment_count.tolist() == [list(c) for c in sizes]
        assert m.pixel.tolist() == pixel
        assert m.index_map.tolist() == [[2, 1], [-1, 3]]
        for i in range(4):
            s = m.samples(i)
            np.testing.assert_allclose(s.hold_signal, f[i][1])
            np.testing.assert_allclose(s.retract_signal, f[i][2])
        assert any("again at the same pixel" in w for w in m.warnings)
        assert any("1 of 4 pixels have no curve" in w for w in m.warnings)


def test_a_map_in_memory_is_saved_and_read_the_same(tmp_path):
    z, d = curves()
    made = ForceMap.from_arrays(z, d, scan_size=(400, 300), spring_constant=3.0, digitise=True)
    save_map(tmp_path / "a.h5", made)
    with open_map(tmp_path / "a.h5") as m:
        assert m.uuid == made.uuid
        assert repr(m.recorded) == repr(made.recorded)  # nan is not always equal to itself
        for curve in range(12):
            np.testing.assert_allclose(
                m.samples(curve).retract_signal, made.samples(curve).retract_signal, atol=1e-12
            )
        with pytest.raises(WriteError, match="map that is open"):
            save_map(tmp_path / "a.h5", m)


def test_a_map_of_one_pixel_and_of_one_row(tmp_path):
    for rows, cols in ((1, 1), (1, 7), (5, 1)):
        write_map(tmp_path / "a.h5", *curves(rows, cols), scan_size=(70.0, 50.0))
        with open_map(tmp_path / "a.h5") as m:
            assert m.shape == (rows, cols)
            np.testing.assert_allclose(m.x[0], 35.0 / cols)
            np.testing.assert_allclose(m.y[0], 25.0 / rows)


def test_the_sign_that_a_file_declares_is_applied(tmp_path):
    with bent(tmp_path / "a.h5") as f:
        f[f"{CURVES}/z"].attrs["sign"] = -1
        f[f"{CURVES}/deflection"].attrs["sign"] = -1
    with open_map(good_map(tmp_path / "b.h5")) as plain, open_map(tmp_path / "a.h5") as turned:
        a, b = plain.samples(4), turned.samples(4)
        np.testing.assert_allclose(a.approach_z, -b.approach_z)
        np.testing.assert_allclose(a.retract_signal, -b.retract_signal)


def test_offset_and_scale_follow_the_format(tmp_path):
    """FORMAT: value = (raw + offset) * scaling_factor, in the declared unit."""
    with bent(tmp_path / "a.h5") as f:
        f[f"{CURVES}/deflection"].attrs.update(scaling_factor=0.5, offset=3.0, units="mV")
        f[f"{CURVES}/z"].attrs.update(scaling_factor=2.0, offset=-1.0, units="µm")
        raw_z, raw_d = f[f"{CURVES}/z"][:5], f[f"{CURVES}/deflection"][:5]
    with open_map(tmp_path / "a.h5") as m:
        s = m.samples(0)
        np.testing.assert_allclose(s.approach_signal[:5], (raw_d + 3.0) * 0.5e-3)
        np.testing.assert_allclose(s.approach_z[:5], (raw_z - 1.0) * 2000.0)


@pytest.mark.parametrize(
    ("stored", "held"),
    [("<i2", "int16"), (">i2", "int16"), ("i1", "int16"), ("u2", "float32"), ("<i4", "float64"),
     (">f4", "float32"), ("<f2", "float32"), (">f8", "float64"), ("<u4", "float64")],
)  # fmt: skip
def test_any_kind_of_number_is_read_as_one_of_three(tmp_path, stored, held):
    with bent(tmp_path / "a.h5") as f:
        size = f[f"{CURVES}/z"].size
        put(f, f"{CURVES}/z", np.arange(size) % 100, dtype=stored)
        f[f"{CURVES}/z"].attrs.update(scaling_factor=1e-9, offset=0.0)
    with open_map(tmp_path / "a.h5") as m:
        assert m.read_block(np.array([0])).z.dtype == np.dtype(held)
        assert m.read_block(np.array([0])).z.dtype.isnative
        np.testing.assert_allclose(m.samples(1).approach_z, np.arange(2 * N, 3 * N) % 100)


def test_without_calibration_a_map_opens_and_says_none(tmp_path):
    write_map(tmp_path / "a.h5", *curves(), deflection_unit="V")
    with open_map(tmp_path / "a.h5") as m:
        assert m.recorded.spring_constant is m.recorded.deflection_sensitivity is None
        assert m.recorded.radius is None


def test_without_overview_the_scan_range_gives_the_scale(tmp_path):
    with bent(tmp_path / "a.h5") as f:
        del f["entry/overview"]
    with open_map(tmp_path / "a.h5") as m:
        assert m.overview is None
        np.testing.assert_allclose(m.x, [50, 150, 250, 350])
    with h5py.File(tmp_path / "a.h5", "r+") as f:
        del f["entry/instrument/scan"]
    with open_map(tmp_path / "a.h5") as m:
        assert m.shape == (ROWS, COLS)
        assert not m.has_scale
        assert len(m.warnings) == 2


def test_only_complete_curves_are_read(tmp_path):
    with bent(tmp_path / "a.h5") as f:
        f[f"{CURVES}/n_complete"][0] = 5
        index = f[f"{CURVES}/curve_start"][:]
        index[5:] = 2**63  # not yet written
        f[f"{CURVES}/curve_start"][:] = index
    with open_map(tmp_path / "a.h5") as m:
        assert m.n_curves == 5
        assert int((m.index_map >= 0).sum()) == 5
        m.load()
        assert m.read_block(np.array([4])).z.size == 5 * 2 * N


def test_the_file_is_packed_and_checked_as_the_format_says(tmp_path):
    with h5py.File(good_map(tmp_path / "a.h5")) as f:
        for name in ("z", "deflection"):
            d = f[f"{CURVES}/{name}"]
            assert (d.compression, d.compression_opts, d.shuffle, d.fletcher32) == (
                "gzip", 1, True, True)  # fmt: skip
        assert f[f"{CURVES}/n_complete"].chunks == (1,)
        assert f.attrs["palpate_format"] == "force-map"
        assert f.attrs["palpate_format_version"] == "1.0"


def test_a_general_viewer_finds_the_default_picture(tmp_path):
    """NeXus: follow @default to an NXdata, whose @signal and @axes name what to plot."""
    with h5py.File(good_map(tmp_path / "a.h5")) as f:
        entry = f[f.attrs["default"]]
        data = entry[entry.attrs["default"]]
        assert data.attrs["NX_class"] == "NXdata"
        signal = data[data.attrs["signal"]]
        axes = [data[str(a)] for a in data.attrs["axes"]]
        assert tuple(a.size for a in axes) == signal.shape == (ROWS, COLS)
        assert all(a.attrs["units"] == "m" for a in (*axes, signal))


@pytest.mark.parametrize(
    "name", ["maß 中文 🙂.h5", "with space.h5", "line\nbreak.h5", "x" * 252 + ".h5"]
)
def test_any_file_name_works(tmp_path, name):
    with open_map(good_map(tmp_path / name)) as m:
        assert m.n_curves == 12


def test_nothing_is_written_when_the_arrays_do_not_fit(tmp_path):
    z, d = curves()
    with pytest.raises(InputError):
        write_map(tmp_path / "a.h5", z[:2], d[:, :2])
    assert list(tmp_path.iterdir()) == []


def test_opening_is_fast_once_the_looking_process_runs(tmp_path):
    """Budget: 0.25 s a small map, measured as the best of three new files."""
    open_map(good_map(tmp_path / "first.h5")).close()
    took = []
    for i in range(3):
        path = good_map(tmp_path / f"{i}.h5")
        begin = time.perf_counter()
        open_map(path).close()
        took.append(time.perf_counter() - begin)
    assert min(took) < 0.25


WRITER = """
import sys, time
import h5py, numpy as np
path, n = sys.argv[1], int(sys.argv[2])
with h5py.File(path, "r+", libver="latest") as f:
    f.swmr_mode = True
    print("ready", flush=True)
    sys.stdin.readline()
"""


def swmr_file(path):
    """A map whose arrays are all chunked, as one that is being measured has to be."""
    write_map(path, *curves(), spring_constant=2.0)
    with h5py.File(path) as old, h5py.File(path.with_suffix(".swmr"), "w", libver="latest") as new:
        def copy(name, item):
            if isinstance(item, h5py.Dataset):
                data = item[()] if item.ndim == 0 else item[:]
                if item.ndim == 0:
                    made = new.create_dataset(name, data=data, dtype=item.dtype)
                else:
                    made = new.create_dataset(
                        name, data=data, chunks=item.chunks or item.shape,
                        maxshape=(None, *item.shape[1:]))  # fmt: skip
            else:
                made = new.create_group(name)
            made.attrs.update(item.attrs)

        old.visititems(copy)
        new.attrs.update(old.attrs)
    return path.with_suffix(".swmr")


@pytest.mark.parametrize("killed", [False, True])
def test_a_map_that_is_being_measured_or_whose_writer_died_is_read(tmp_path, killed):
    path = swmr_file(tmp_path / "a.h5")
    code = textwrap.dedent(WRITER)
    with subprocess.Popen([sys.executable, "-c", code, str(path), "3"], stdin=subprocess.PIPE,
                          stdout=subprocess.PIPE, text=True) as writer:  # fmt: skip
        assert writer.stdout.readline().strip() == "ready"
        if killed:
            writer.kill()
            writer.wait()
        with open_map(path) as m:
            assert m.n_curves == 12
            m.load()
        if not killed:
            writer.stdin.write("\n")


def test_a_file_left_open_by_a_killed_plain_writer_says_how_to_mend_it(tmp_path):
    path = swmr_file(tmp_path / "a.h5")
    code = "import h5py, sys, os\nf = h5py.File(sys.argv[1], 'r+', libver='latest')\nos._exit(1)"
    subprocess.run([sys.executable, "-c", code, str(path)], check=False)
    with pytest.raises(ReadError, match="h5clear"):
        open_map(path)
