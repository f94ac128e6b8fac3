"""What `ForceMap` promises, whatever it was read from."""

from __future__ import annotations

import threading

import numpy as np
import pytest
from native_files import COLS, ROWS, N, curves, good_map

from palpate.core.errors import Cancelled, InputError, ReadError
from palpate.core.forcemap import ForceMap
from palpate.core.progress import Progress
from palpate.core.readers import open_map


@pytest.fixture
def opened(tmp_path):
    with open_map(good_map(tmp_path / "good.h5")) as force_map:
        yield force_map


def ragged() -> tuple[ForceMap, list, list]:
    """Five curves out of order on a 2 x 3 grid: one pixel twice, two pixels empty, and segments
    that are short, empty or absent."""
    rng = np.random.default_rng(3)
    sizes = [(9, 3, 8), (4, 0, 0), (0, 0, 5), (1, 2, 1), (6, 0, 6)]
    z = [[np.cumsum(rng.random(n)) for n in curve] for curve in sizes]
    d = [[rng.random(n) for n in curve] for curve in sizes]
    pixel = [[1, 2], [0, 1], [1, 0], [0, 1], [0, 0]]
    made = ForceMap.from_arrays(
        z, d, pixel=pixel, segments=("approach", "hold", "retract"), shape=(2, 3)
    )
    return made, z, d


def test_a_curve_is_given_in_core_units_split_by_segment(opened):
    z, d = curves()
    assert opened.signal_unit == "V"
    for curve in (0, 5, ROWS * COLS - 1):
        s = opened.samples(curve)
        row, col = opened.pixel[curve]
        np.testing.assert_allclose(s.approach_z, z[row, col, 0], atol=2e-3)
        np.testing.assert_allclose(s.retract_z, z[row, col, 1], atol=2e-3)
        np.testing.assert_allclose(s.approach_signal, d[row, col, 0] / 60, atol=2e-6)
        np.testing.assert_allclose(s.retract_signal, d[row, col, 1] / 60, atol=2e-6)
        assert s.hold_z.size == 0


def test_segments_of_any_length_lie_where_the_index_says():
    made, z, d = ragged()
    for curve in range(5):
        s = made.samples(curve)
        for segment, name in enumerate(("approach", "hold", "retract")):
            np.testing.assert_array_equal(getattr(s, f"{name}_z"), z[curve][segment])
            np.testing.assert_array_equal(getattr(s, f"{name}_signal"), d[curve][segment])
    assert made.approach.tolist() == [[0, 9], [0, 4], [0, 0], [0, 1], [0, 6]]
    assert made.retract.tolist() == [[12, 8], [0, 0], [0, 5], [3, 1], [6, 6]]


def test_the_first_approach_and_the_last_retract_count():
    one = [np.arange(3.0), np.arange(2.0), np.arange(4.0), np.arange(5.0)]
    made = ForceMap.from_arrays(
        [one], [one], shape=(1, 1), segments=("approach", "retract", "approach", "retract")
    )
    assert made.approach.tolist() == [[0, 3]]
    assert made.retract.tolist() == [[9, 5]]


def test_of_curves_at_the_same_pixel_the_last_one_is_used():
    made, _, _ = ragged()
    assert made.index_map.tolist() == [[4, 3, -1], [2, -1, 0]]
    assert made.n_repeated == 1
    assert made.curve_at(0, 1) == 3
    assert made.curve_at(0, 2) == -1
    assert made.curve_at(-1, 0) == made.curve_at(0, 3) == -1


def test_blocks_hold_the_asked_curves_in_any_order(opened):
    everything = {c: opened.samples(c) for c in range(opened.n_curves)}
    for asked in ([7, 2, 3, 11, 2], [0], list(range(12)), []):
        block = opened.read_block(np.array(asked, dtype=np.int64))
        assert block.curves.tolist() == asked
        for curve, start in zip(asked, block.start, strict=True):
            raw = block.signal[start : start + N]
            expected = everything[curve].approach_signal
            np.testing.assert_array_equal(
                raw * opened.signal_scale + opened.signal_shift, expected
            )
        assert block.z.size == len(set(asked)) * 2 * N  # nothing is read twice


def test_neighbouring_curves_are_read_in_one_go(opened):
    reads = []
    source = opened.source
    original = source.read
    source.read = lambda name, a, b: reads.append((name, a, b)) or original(name, a, b)
    opened.read_block(np.array([5, 4, 6, 9]))
    assert [(a, b) for name, a, b in reads if name == "z"] == [
        (4 * 2 * N, 7 * 2 * N),
        (9 * 2 * N, 10 * 2 * N),
    ]


def test_a_loaded_map_gives_the_same_samples_as_views(opened):
    before = [opened.samples(c) for c in range(opened.n_curves)]
    assert not opened.resident
    opened.load()
    assert opened.resident
    one, two = opened.read_block(np.array([3])), opened.read_block(np.array([8, 1]))
    assert one.z is two.z
    assert one.start.tolist() == [3 * 2 * N]
    for curve, old in enumerate(before):
        np.testing.assert_array_equal(opened.samples(curve).retract_signal, old.retract_signal)
    opened.close()
    opened.samples(0)  # still there without the file


def test_streaming_in_small_blocks_gives_every_curve_once(opened):
    seen, largest = [], 0
    for block in opened.blocks(max_bytes=5 * 2 * N * 4):
        seen += block.curves.tolist()
        largest = max(largest, block.z.nbytes + block.signal.nbytes)
    assert seen == list(range(12))
    assert largest == 5 * 2 * N * 4
    assert [b.curves.size for b in opened.blocks(max_bytes=1)] == [1] * 12


def test_raw_samples_keep_their_kind_and_cannot_be_written(opened):
    block = opened.read_block(np.array([0]))
    assert block.z.dtype == block.signal.dtype == np.int16
    for array in (block.z, block.signal, opened.pixel, opened.index_map, opened.curve_start):
        assert not array.flags.writeable
        assert array.flags.c_contiguous
    made = ForceMap.from_arrays(*(a.astype(np.float32) for a in curves()))
    assert made.read_block(np.array([0])).z.dtype == np.float32
    assert made.raw_bytes == ROWS * COLS * 2 * N * 8


def test_loading_can_be_stopped_and_leaves_the_map_as_it_was(opened):
    progress = Progress()
    progress.cancel()
    with pytest.raises(Cancelled):
        opened.load(progress)
    assert not opened.resident
    told = []
    opened.load(Progress(lambda done, total, words: told.append((done, total))))
    assert told[-1] == (opened.n_curves * 2 * N, opened.n_curves * 2 * N)


def test_many_threads_read_the_right_samples(opened):
    expected = {c: opened.samples(c).approach_signal for c in range(12)}
    wrong = []

    def work(seed: int) -> None:
        for curve in np.random.default_rng(seed).integers(0, 12, 60):
            got = opened.samples(int(curve)).approach_signal
            if not np.array_equal(got, expected[int(curve)]):
                wrong.append(curve)

    threads = [threading.Thread(target=work, args=(s,)) for s in range(4)]
    for t in threads:
        t.start()
    for t in threads:
        t.join()
    assert not wrong


def test_a_closed_map_says_so(opened):
    opened.close()
    with pytest.raises(ReadError, match="closed"):
        opened.samples(0)


def test_a_curve_that_is_not_there_is_an_index_error(opened):
    with pytest.raises(IndexError, match="0 to 11"):
        opened.read_block(np.array([12]))
    with pytest.raises(IndexError):
        opened.read_block(np.array([-1]))


def test_the_checksum_is_that_of_the_file_and_notices_a_change(tmp_path):
    import hashlib

    path = good_map(tmp_path / "a.h5")
    with open_map(path) as force_map:
        assert force_map.checksum() == hashlib.sha256(path.read_bytes()).hexdigest()
    with open_map(path) as force_map:
        good_map(path)
        with pytest.raises(ReadError, match="changed"):
            force_map.checksum()


def test_maps_in_memory_with_the_same_samples_have_the_same_checksum():
    z, d = curves()
    one, two = ForceMap.from_arrays(z, d), ForceMap.from_arrays(z, d)
    d = d.copy()
    d[0, 0, 0, 0] += 1.0
    assert one.checksum() == two.checksum() != ForceMap.from_arrays(z, d).checksum()


def test_pixel_centres_are_half_a_pixel_inside_the_scan():
    z, d = curves()
    made = ForceMap.from_arrays(z, d, scan_size=(400.0, 300.0))
    assert made.x.tolist() == [50.0, 150.0, 250.0, 350.0]
    assert made.y.tolist() == [50.0, 150.0, 250.0]
    assert made.has_scale
    plain = ForceMap.from_arrays(z, d)
    assert not plain.has_scale
    assert plain.x.tolist() == [0.0, 1.0, 2.0, 3.0]


def test_one_ramp_serves_all_curves():
    z, d = curves()
    made = ForceMap.from_arrays(z[0, 0], d)
    np.testing.assert_array_equal(made.samples(7).retract_z, z[0, 0, 1])


def test_digitised_samples_are_within_half_a_step():
    z, d = curves()
    made = ForceMap.from_arrays(z, d, digitise=(0.01, 0.001))
    assert (made.z_scale, made.signal_scale) == (0.01, 0.001)
    s = made.samples(5)
    assert np.abs(s.approach_signal - d[1, 1, 0]).max() <= 0.0005 + 1e-12
    assert np.abs(s.approach_z - z[1, 1, 0]).max() <= 0.005 + 1e-12


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"force": 1.0}, "one of the two"),
        ({"spring_k": 2.0}, "“spring_k” is not known; known are deflection_unit, seg"),
        ({"deflection_unit": "mV"}, "nm or V"),
        ({"segments": ("up", "down")}, "approach, hold, retract, other"),
        ({"segments": ("approach",)}, "should be"),
        ({"spring_constant": 0.0}, "spring_constant is 0"),
        ({"spring_constant": float("nan")}, "spring_constant is nan"),
        ({"radius": -1.0}, "radius is -1"),
        ({"half_angle": 90.0}, "below 90"),
        ({"scan_size": (0.0, 1.0)}, "above 0 nm"),
        ({"tip_shape": "needle"}, "needle"),
        ({"overview": np.zeros((2, 2))}, "overview"),
        ({"position": np.zeros((3, 2))}, "position"),
        ({"pixel": np.zeros((3, 2), int)}, "pixel has the shape"),
        ({"pixel": np.full((12, 2), 9), "shape": (3, 4)}, "Curve 0: pixel"),
        ({"sampling_rate": 0.0}, "above 0 Hz"),
        ({"digitise": (1e-9, 0.1)}, "16 bits"),
    ],
)
def test_arrays_that_do_not_fit_are_refused_by_name(change, words):
    z, d = curves()
    with pytest.raises(InputError, match=words):
        ForceMap.from_arrays(z, d, **change)


def test_curves_without_a_place_are_refused():
    z, d = curves()
    flat = d.reshape(12, 2, N)
    with pytest.raises(InputError, match=r"shape=\(rows, cols\)"):
        ForceMap.from_arrays(z.reshape(12, 2, N), flat)
    with pytest.raises(InputError, match="don't fill"):
        ForceMap.from_arrays(z.reshape(12, 2, N), flat, shape=(3, 5))
    with pytest.raises(InputError, match="doesn't fit"):
        ForceMap.from_arrays(z[..., :-1], d)
    with pytest.raises(InputError, match="Curve 1, segment 0"):
        ForceMap.from_arrays([[z[0, 0, 0]] * 2] * 2, [[d[0, 0, 0]] * 2, [d[0, 0, 0, 1:]] * 2],
                             shape=(1, 2))  # fmt: skip


def test_metres_in_the_place_of_nanometres_are_noticed():
    z, d = curves()
    with pytest.raises(InputError, match="metres"):
        ForceMap.from_arrays(z * 1e-9, d * 1e-9)
