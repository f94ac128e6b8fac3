"""Odd content: the index is checked as a whole before use; what is odd but legal is kept."""

from __future__ import annotations

import math

import numpy as np
import pytest
from native_files import bent, put, use

from palpate.core.errors import ReadError
from palpate.core.readers import open_map
from palpate.core.writers import write_map

C = "entry/curves"
LEVER = "entry/instrument/cantilever"


def change(path, name, index, value, dtype=None):
    with bent(path) as f:
        data = f[f"{C}/{name}"][:]
        data = data.astype(dtype) if dtype else data
        data[index] = value
        put(f, f"{C}/{name}", data)


@pytest.mark.parametrize(
    ("name", "index", "value", "dtype", "words"),
    [
        ("curve_start", 3, 2**63 + 5, None, "curve_start, curve 3"),
        ("curve_start", 3, -1, "i8", "curve_start, curve 3"),
        ("curve_start", 11, 881, None, "curve 11"),
        ("curve_start", 2, 2**64 - 40, None, "curve_start, curve 2"),
        ("segment_count", (4, 1), 2**32 - 1, None, "segment_count, curve 4"),
        ("segment_count", (4, 1), 2**64 - 39, "u8", "segment_count, curve 4"),
        ("segment_count", (5, slice(None)), 900, None, "curve 5"),
        ("pixel", (6, 0), 3, None, "pixel, curve 6"),
        ("pixel", (6, 1), 2**32 - 1, None, "pixel, curve 6"),
        ("pixel", (7, 1), -1, "i4", "pixel, curve 7"),
        ("segment_kind", 0, 9, None, "segment_kind"),
    ],
)
def test_an_index_that_points_outside_names_the_curve(tmp_path, name, index, value, dtype, words):
    change(tmp_path / "a.h5", name, index, value, dtype)
    with pytest.raises(ReadError) as caught:
        use(tmp_path / "a.h5")
    assert words in str(caught.value)


@pytest.mark.parametrize(
    ("name", "shape"),
    [("segment_count", (12, 3)), ("segment_count", (11, 2)), ("pixel", (12, 3)), ("pixel", (24,)),
     ("segment_kind", (2, 2)), ("position", (11, 2))],
)  # fmt: skip
def test_an_index_of_the_wrong_shape_is_refused_by_name(tmp_path, name, shape):
    with bent(tmp_path / "a.h5") as f:
        put(f, f"{C}/{name}", np.zeros(shape, "u4")).attrs["units"] = "m"
    with pytest.raises(ReadError, match=name):
        use(tmp_path / "a.h5")


def test_curves_that_share_samples_are_read_with_a_warning(tmp_path):
    change(tmp_path / "a.h5", "curve_start", 4, 3 * 80 + 10)
    with open_map(tmp_path / "a.h5") as m:
        assert any("1 curves share samples" in w for w in m.warnings)
        a, b = m.samples(3), m.samples(4)
        np.testing.assert_array_equal(a.approach_z[10:], b.approach_z[:30])


def test_curves_in_any_order_of_storage_are_read(tmp_path):
    with bent(tmp_path / "a.h5") as f:
        f[f"{C}/curve_start"][:] = f[f"{C}/curve_start"][:][::-1]
    with open_map(tmp_path / "a.h5") as m:
        assert m.warnings == []
        assert [c for b in m.blocks() for c in b.curves.tolist()] == list(range(12))[::-1]


def test_repeated_and_missing_pixels_are_told(tmp_path):
    change(tmp_path / "a.h5", "pixel", 5, (0, 0))
    with open_map(tmp_path / "a.h5") as m:
        assert len(m.warnings) == 2
        assert m.curve_at(0, 0) == 5
        assert m.curve_at(1, 1) == -1


@pytest.mark.parametrize("count", [0, 1, 2, 3])
def test_curves_of_hardly_any_samples_are_legal(tmp_path, count):
    change(tmp_path / "a.h5", "segment_count", slice(None), count)
    use(tmp_path / "a.h5")
    with open_map(tmp_path / "a.h5") as m:
        assert m.samples(11).retract_z.size == count


def test_a_map_without_any_sample_opens(tmp_path):
    write_map(tmp_path / "a.h5", [[[], []]], [[[], []]], shape=(1, 1))
    use(tmp_path / "a.h5")


def test_missing_branches_are_legal(tmp_path):
    with bent(tmp_path / "a.h5") as f:
        f[f"{C}/segment_kind"][:] = (3, 2)
    with open_map(tmp_path / "a.h5") as m:
        assert (m.approach[:, 1] == 0).all()
        assert m.samples(2).approach_z.size == 0


def test_samples_that_are_not_finite_or_constant_are_kept_as_they_are(tmp_path):
    z = np.tile(np.linspace(0.0, 1.0, 5), (1, 4, 2, 1))
    d = np.zeros_like(z)
    d[0, 0], d[0, 1], d[0, 2, 0, 2] = np.nan, np.inf, 1e30
    write_map(tmp_path / "a.h5", z, d)
    with open_map(tmp_path / "a.h5") as m:
        assert np.isnan(m.samples(0).approach_signal).all()
        assert np.isposinf(m.samples(1).retract_signal).all()
        assert m.samples(2).approach_signal[2] == 1e30


# -- units and constants ----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "needed"),
    [(f"{C}/z", "m"), (f"{C}/deflection", "V or m"), (f"{C}/sampling_rate", "Hz"),
     (f"{LEVER}/spring_constant", "N/m"), (f"{LEVER}/deflection_sensitivity", "m/V"),
     ("entry/instrument/tip/radius", "m"), ("entry/instrument/tip/half_angle", "rad"),
     ("entry/instrument/scan/set_point", "N or V"), ("entry/overview/x", "m"),
     ("entry/overview/height", "m"), ("entry/instrument/environment/temperature", "K")],
)  # fmt: skip
@pytest.mark.parametrize("unit", [None, "parsec", "s", 3.0, "", b"\xff\xfe"])
def test_a_missing_or_wrong_unit_is_named_with_the_one_that_is_needed(
    tmp_path, name, needed, unit
):
    with bent(tmp_path / "a.h5") as f:
        if unit is None:
            del f[name].attrs["units"]
        else:
            f[name].attrs["units"] = np.bytes_(unit) if isinstance(unit, bytes) else unit
    with pytest.raises(ReadError) as caught:
        use(tmp_path / "a.h5")
    assert name in str(caught.value)
    assert f"for example {needed}." in str(caught.value)


@pytest.mark.parametrize("unit", ["um", "µm", "μm", "micron", "metre", "m"])
def test_ways_to_write_a_length_are_understood(tmp_path, unit):
    with bent(tmp_path / "a.h5") as f:
        f["entry/overview/x"].attrs["units"] = unit
    use(tmp_path / "a.h5")


@pytest.mark.parametrize("key", ["scaling_factor", "offset", "sign"])
@pytest.mark.parametrize("value", [math.nan, math.inf, "one", [1.0, 2.0], 1e308])
def test_a_useless_factor_is_refused_by_name(tmp_path, key, value):
    with bent(tmp_path / "a.h5") as f:
        f[f"{C}/z"].attrs[key] = value
        f[f"{C}/z"].attrs.setdefault("scaling_factor", 1.0)
    with pytest.raises(ReadError, match="curves/z@(scaling_factor|offset|sign)"):
        use(tmp_path / "a.h5")


def test_a_factor_that_flattens_all_samples_is_refused(tmp_path):
    with bent(tmp_path / "a.h5") as f:
        f[f"{C}/deflection"].attrs["scaling_factor"] = 0.0
    with pytest.raises(ReadError, match="deflection@scaling_factor: 0 makes every sample the same"):
        use(tmp_path / "a.h5")


@pytest.mark.parametrize(
    ("place", "field"),
    [(f"{LEVER}/spring_constant", "spring_constant"),
     (f"{LEVER}/deflection_sensitivity", "deflection_sensitivity"),
     ("entry/instrument/tip/radius", "radius"), ("entry/instrument/tip/half_angle", "half_angle")],
)  # fmt: skip
@pytest.mark.parametrize("value", [0.0, -1.0, math.nan, math.inf])
def test_an_impossible_constant_is_left_out_and_told(tmp_path, place, field, value):
    with bent(tmp_path / "a.h5") as f:
        f[place][()] = value
    with open_map(tmp_path / "a.h5") as m:
        assert getattr(m.recorded, field) is None
        assert len(m.warnings) == 1
        assert field.replace("_", " ") in m.warnings[0]


def test_a_constant_of_several_numbers_or_text_is_refused(tmp_path):
    for data in (np.ones(3), "two"):
        with bent(tmp_path / "a.h5") as f:
            put(f, f"{LEVER}/spring_constant", data)
        with pytest.raises(ReadError, match="spring_constant"):
            use(tmp_path / "a.h5")


# -- the grid ---------------------------------------------------------------------------------


@pytest.mark.parametrize(("rows", "cols"), [(10_000, 10_000), (2**32 - 1, 2**32 - 1), (0, 4),
                                            (1.5, 4), (math.nan, 4), (2000, 2000)])  # fmt: skip
def test_an_absurd_grid_is_refused(tmp_path, rows, cols):
    with bent(tmp_path / "a.h5") as f:
        put(f, "entry/instrument/scan/scan_points_y", float(rows))
        put(f, "entry/instrument/scan/scan_points_x", float(cols))
    with pytest.raises(ReadError, match="pixels"):
        use(tmp_path / "a.h5")


def test_an_overview_of_another_shape_is_left_out_and_told(tmp_path):
    with bent(tmp_path / "a.h5") as f:
        put(f, "entry/overview/height", np.zeros((9, 9), "f4"))
        put(f, "entry/overview/x", np.zeros(4))
        f["entry/instrument/scan/scan_range_y"][()] = -1.0
    with open_map(tmp_path / "a.h5") as m:
        assert m.overview is None
        assert len(m.warnings) == 2
        np.testing.assert_allclose(m.x, [50, 150, 250, 350])  # from the scan range
