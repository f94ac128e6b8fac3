"""Line profiles: what is read, what is left out, and how well it is known."""

from __future__ import annotations

import math
import time

import numpy as np
import pytest

from palpate.core.errors import SettingsError
from palpate.core.places import (
    Profile,
    between,
    points_between,
    sample,
    sample_analysis,
)
from palpate.core.simulate import smooth_field

X = (np.arange(80) + 0.5) * 10.0
Y = (np.arange(60) + 0.5) * 15.0
XX, YY = np.meshgrid(X, Y)
SMOOTH = np.sin(XX / 90.0) * np.cos(YY / 120.0) + 1e-3 * XX


def index_of(px, py):
    return np.array([py / 15.0 - 0.5, px / 10.0 - 0.5])


# ---- what is read


@pytest.mark.parametrize(("method", "order"), [("nearest", 0), ("linear", 1)])
def test_a_thin_line_reads_what_scipy_reads(method, order):
    from scipy.ndimage import map_coordinates

    line = Profile("a", ((33.0, 41.0), (712.0, 803.0)))
    got = sample(line, {"f": SMOOTH}, X, Y, method=method)
    want = map_coordinates(SMOOTH, index_of(got.x, got.y), order=order, mode="nearest")
    assert got.distance.size > 90
    np.testing.assert_allclose(got.channels["f"].values, want, atol=1e-12)


@pytest.mark.parametrize(("method", "order"), [("nearest", 0), ("linear", 1)])
def test_a_wide_line_is_the_mean_of_thin_ones_beside_each_other(method, order):
    from scipy.ndimage import map_coordinates

    start, end, width = np.array([150.0, 200.0]), np.array([600.0, 650.0]), 80.0
    got = sample(Profile("a", (start, end), width), {"f": SMOOTH}, X, Y, method=method)
    along = (end - start) / np.linalg.norm(end - start)
    aside = np.array([-along[1], along[0]])
    offsets = ((np.arange(16) + 0.5) / 16 - 0.5) * width  # half a pixel apart
    places = np.array([got.x, got.y])[:, None] + aside[:, None, None] * offsets[:, None]
    want = map_coordinates(SMOOTH, index_of(*places), order=order).mean(axis=0)
    np.testing.assert_allclose(got.channels["f"].values, want, atol=1e-12)


def test_it_agrees_with_the_profile_line_of_scikit_image():
    from skimage.measure import profile_line

    field = smooth_field((90, 90), 4.0, np.random.default_rng(2))
    axis = np.arange(90.0)
    got = sample(Profile("a", ((10, 20), (70, 65)), 9.0), {"f": field}, axis, axis, method="linear")
    theirs = profile_line(field, (20, 10), (65, 70), linewidth=9, order=1)
    assert got.distance.size == len(theirs)
    np.testing.assert_allclose(got.channels["f"].values, theirs, atol=0.03)


@pytest.mark.parametrize("width", [0.0, 70.0])
def test_a_plane_is_read_exactly_by_interpolation_round_corners_too(width):
    plane = 3.0 + 0.02 * XX - 0.05 * YY
    line = Profile("a", ((100.0, 150.0), (600.0, 250.0), (500.0, 700.0)), width)
    got = sample(line, {"f": plane}, X, Y, method="linear")
    np.testing.assert_allclose(got.channels["f"].values, 3.0 + 0.02 * got.x - 0.05 * got.y,
                               atol=1e-10)  # fmt: skip
    assert got.distance[-1] == pytest.approx(line.length)
    assert (got.x[0], got.y[0], got.x[-1], got.y[-1]) == pytest.approx((100, 150, 500, 700))
    assert np.allclose(np.diff(got.distance), got.step)


def test_a_corner_belongs_to_the_piece_that_begins_there():
    """The strip of each piece is straight up to the corner: right of x = 500 the second piece
    (going up) reads columns left and right of it, the first one rows above and below."""
    axis = np.arange(101.0)
    xx = np.tile(axis, (101, 1))
    got = sample(Profile("a", ((20, 50), (50, 50), (50, 80)), 10.0), {"x": xx}, axis, axis,
                 method="linear")  # fmt: skip
    np.testing.assert_allclose(got.channels["x"].values, got.x, atol=1e-9)
    spread = got.channels["x"].errors
    assert np.all(spread[:30] < 1e-9)  # rows above and below have the same x
    assert np.all(spread[30:] > 0.5)


def test_a_step_is_met_where_it_is_and_no_value_is_invented_by_nearest():
    step = np.where(XX < 400.0, 1.0, 5.0)
    got = sample(Profile("a", ((100.0, 300.0), (700.0, 300.0)), 90.0), {"f": step}, X, Y, step=2.0)
    values = got.channels["f"].values
    assert set(values) == {1.0, 5.0}
    crossing = got.x[np.argmax(values > 3.0)]
    assert crossing == pytest.approx(400.0, abs=2.0)


def test_an_axis_that_falls_or_is_uneven_reads_the_same_places():
    line = Profile("a", ((130.0, 180.0), (600.0, 700.0)), 40.0)
    plain = sample(line, {"f": SMOOTH}, X, Y).channels["f"].values
    turned = sample(line, {"f": SMOOTH[:, ::-1]}, X[::-1], Y).channels["f"].values
    np.testing.assert_allclose(turned, plain, atol=1e-12)
    uneven = X + 3.0 * np.sin(X / 50.0)
    plane = np.broadcast_to(uneven, SMOOTH.shape)
    got = sample(line, {"f": plane}, uneven, Y, method="linear")
    np.testing.assert_allclose(got.channels["f"].values, got.x, atol=0.1)


def test_a_map_of_one_scan_line_is_as_high_as_its_pixels_are_wide():
    row, y = np.arange(80.0)[None, :], np.array([5.0])
    got = sample(Profile("a", ((0.0, 5.0), (799.0, 5.0)), 40.0), {"f": row}, X, y)
    np.testing.assert_array_equal(got.channels["f"].values, np.floor(got.x / 10.0))
    assert (got.channels["f"].pixels == 1).all()
    off = sample(Profile("a", ((0.0, 11.0), (799.0, 11.0))), {"f": row}, X, y)
    assert "beside the map" in off.reason


# ---- what is left out


@pytest.mark.parametrize("by_mask", [True, False])
def test_nothing_is_interpolated_across_a_gap(by_mask):
    values, usable = SMOOTH.copy(), np.ones(SMOOTH.shape, dtype=bool)
    hole = (slice(20, 30), slice(30, 45))
    if by_mask:
        usable[hole], values[hole] = False, 1e6
    else:
        values[hole] = np.nan
    line = Profile("a", ((50.0, 372.0), (750.0, 372.0)))
    for method in ("nearest", "linear"):
        got = sample(line, {"f": values}, X, Y, usable, step=1.0, method=method)
        found = got.channels["f"]
        gap = ~np.isfinite(found.values)
        assert np.nanmax(np.abs(found.values)) < 5.0
        assert np.array_equal(gap, found.pixels == 0)
        reach = 0.0 if method == "nearest" else 5.0  # half a pixel more where four are needed
        assert got.x[gap].min() == pytest.approx(300.0 - reach, abs=1.0)
        assert got.x[gap].max() == pytest.approx(450.0 + reach, abs=1.0)


def test_a_gap_of_one_channel_is_no_gap_of_another_and_a_wide_line_uses_what_is_left():
    holed = SMOOTH.copy()
    holed[:20] = np.nan  # y < 300
    got = sample(Profile("a", ((100.0, 300.0), (700.0, 300.0)), 150.0),
                 {"f": SMOOTH, "g": holed}, X, Y)  # fmt: skip
    f, g = got.channels["f"], got.channels["g"]
    assert np.isfinite(f.values).all()
    assert np.isfinite(g.values).all()
    assert (f.pixels == 10).all()  # 150 nm over rows of 15 nm
    assert (g.pixels == 5).all()
    assert not np.allclose(f.values, g.values, atol=1e-3)


def test_the_pixels_behind_a_point_are_counted_once_each():
    rng = np.random.default_rng(4)
    number = np.arange(4800.0).reshape(60, 80)
    for _ in range(5):
        a, b = rng.uniform((200, 200), (600, 700)), rng.uniform((200, 200), (600, 700))
        line = Profile("a", (a, b), 123.0)
        got = sample(line, {"f": number}, X, Y, step=7.0)
        along = (b - a) / np.linalg.norm(b - a)
        m = round(123.0 / got.across)
        offsets = ((np.arange(m) + 0.5) / m - 0.5) * 123.0
        assert got.across < 10.0
        for i in range(0, got.distance.size, 9):
            px, py = got.x[i] - offsets * along[1], got.y[i] + offsets * along[0]
            crossed = set(zip(px // 10.0, py // 15.0, strict=True))
            assert got.channels["f"].pixels[i] == len(crossed)


def test_beyond_the_map_there_is_nothing_and_beside_it_a_sentence():
    got = sample(Profile("a", ((-200.0, 400.0), (1000.0, 400.0))), {"f": SMOOTH}, X, Y, step=1.0)
    there = np.isfinite(got.channels["f"].values)
    assert np.array_equal(there, (got.x >= 0.0) & (got.x < 800.0))
    away = sample(Profile("a", ((-200.0, 400.0), (-100.0, 400.0))), {"f": SMOOTH}, X, Y)
    assert "beside the map" in away.reason
    assert not np.isfinite(away.channels["f"].values).any()
    none = sample(Profile("a", ((5.0, 5.0), (5.0, 5.0))), {"f": SMOOTH}, X, Y)
    assert "no length" in none.reason
    assert none.distance.size == 0
    empty = sample(Profile("a", ((5.0, 5.0), (500.0, 5.0))), {"f": SMOOTH}, X, Y,
                   np.zeros(SMOOTH.shape, dtype=bool))  # fmt: skip
    assert "no pixel that is used" in empty.reason


def test_a_line_as_long_as_a_file_may_ask_for_is_read_at_fewer_points():
    got = sample(Profile("a", ((-1e9, 400.0), (1e9, 400.0)), 1e9), {"f": SMOOTH}, X, Y)
    assert got.distance.size == 20_000
    assert "beside" in got.reason or "long" in got.reason


def test_the_component_along_the_line_is_that_of_most_of_its_width():
    labels = np.where(XX < 300.0, 0, np.where(XX < 500.0, 2, 1))
    labels[:, 60:] = -1
    labels[:25, :] = np.where(labels[:25, :] == 2, 0, labels[:25, :])
    usable = np.ones(labels.shape, dtype=bool)
    got = sample(Profile("a", ((50.0, 390.0), (750.0, 390.0)), 90.0), {"f": SMOOTH}, X, Y, usable,
                 labels=labels)  # fmt: skip
    want = np.where(got.x < 300.0, 0, np.where(got.x < 500.0, 2, np.where(got.x < 600.0, 1, -1)))
    assert np.array_equal(got.component, want)


# ---- how well it is known


def misses(field_of, truth, width, method="nearest", lines=24, seed=1):
    """Shares of points whose 95 % interval misses the truth: ours, and by counting pixels."""
    rng = np.random.default_rng(seed)
    axis, ours, naive = np.arange(160) + 0.5, [], []
    for _ in range(lines):
        turn = rng.uniform(0, 2 * math.pi)
        step = 50.0 * np.array([math.cos(turn), math.sin(turn)])
        line = Profile("a", (80.0 - step, 80.0 + step), width)
        got = sample(line, {"f": field_of(rng)}, axis, axis, method=method).channels["f"]
        low, high = got.interval()
        ours.append((low > truth) | (high < truth))
        error = got.errors * np.sqrt((got.effective - 1.0) / got.pixels)
        naive.append(np.abs(got.values - truth) > 1.96 * error)
    return float(np.mean(ours)), float(np.mean(naive))


@pytest.mark.parametrize("method", ["nearest", "linear"])
@pytest.mark.parametrize("width", [4.0, 20.0])
def test_intervals_hold_on_independent_pixels(method, width):
    missed, _ = misses(lambda rng: rng.normal(size=(160, 160)), 0.0, width, method)
    assert 0.03 < missed < 0.09


def test_intervals_hold_on_pixels_that_are_alike_where_counting_pixels_fails():
    """Gaussian-correlated fields, exp(-r²/4w²) with w = 1.2 pixels, 40 pixels wide lines."""
    missed, naive = misses(lambda rng: smooth_field((160, 160), 1.2, rng), 0.0, 40.0, lines=40)
    assert missed < 0.10
    assert naive > 0.30


def test_the_independent_pixels_across_a_wide_line_are_those_of_the_known_correlation():
    """N²/ΣΣρ with the field's own ρ(r) = exp(-r²/4w²) over the places across the line."""
    axis, width, w = np.arange(300) + 0.5, 60.0, 1.5
    r = np.subtract.outer(np.arange(60.0), np.arange(60.0))
    exact = 60.0**2 / np.exp(-(r**2) / (4 * w**2)).sum()
    rng = np.random.default_rng(8)
    found = [
        np.mean(sample(Profile("a", ((40.0, 150.0), (260.0, 150.0)), width),
                       {"f": smooth_field((300, 300), w, rng)}, axis, axis)
                .channels["f"].effective) for _ in range(8)
    ]  # fmt: skip
    assert np.mean(found) == pytest.approx(exact, rel=0.12)


def test_one_pixel_behind_a_point_hands_on_its_own_uncertainty():
    own = 0.1 + 0.001 * XX
    got = sample(Profile("a", ((55.0, 367.5), (705.0, 367.5))), {"f": SMOOTH}, X, Y,
                 errors={"f": own})  # fmt: skip
    line = got.channels["f"]
    np.testing.assert_allclose(line.errors, 0.1 + 0.001 * (np.floor(got.x / 10.0) * 10.0 + 5.0))
    assert not line.from_spread.any()
    bare = sample(got.profile, {"f": SMOOTH}, X, Y).channels["f"]
    assert not np.isfinite(bare.errors).any()


def test_the_same_line_read_with_a_finer_step_is_not_known_any_better():
    field = np.random.default_rng(5).normal(size=SMOOTH.shape)
    line = Profile("a", ((100.0, 200.0), (700.0, 650.0)), 120.0)
    coarse, fine = (sample(line, {"f": field}, X, Y, step=s).channels["f"] for s in (10.0, 2.0))
    assert np.median(fine.errors) == pytest.approx(np.median(coarse.errors), rel=0.15)
    assert np.median(fine.effective) == pytest.approx(np.median(coarse.effective), rel=0.2)


# ---- an analysis


def test_an_analysis_is_read_without_its_doubted_and_decided_pixels():
    from palpate.core import Settings, analyse
    from palpate.core.simulate import SKI_BOOT, Lever, Ramp, simulate_map

    made = simulate_map(np.zeros((6, 24), dtype=np.int64), SKI_BOOT[:1], spoiled=0.1, seed=4,
                        lever=Lever(2.5, 58.0, "paraboloid", 16.0, 0.07),
                        ramp=Ramp(travel=170.0, samples=200, set_force=35.0),
                        scan_size=(480.0, 120.0))  # fmt: skip
    analysis = analyse(made.as_map(), Settings())
    x, y = analysis.map.x, analysis.map.y
    row = int(np.argmax(analysis.severe.sum(axis=1)))
    decided = np.zeros((6, 24), dtype=bool)
    decided[row, 3] = True
    line = Profile("a", ((x[0], y[row]), (x[-1], y[row])))
    got = sample_analysis(line, analysis, ("modulus", "height"), left_out=decided)
    lost = ~analysis.trusted[row] | decided[row]
    assert lost.sum() >= 2
    want = np.where(lost, np.nan, analysis.channel("modulus")[row])
    np.testing.assert_array_equal(got.channels["modulus"].values, want)
    own = analysis.errors("modulus")[row]
    np.testing.assert_array_equal(got.channels["modulus"].errors, np.where(lost, np.nan, own))
    assert got.units == {"modulus": "GPa", "height": "nm"}
    assert got.unit == "nm"
    assert len(sample_analysis(line, analysis).channels) > 10


# ---- cursors


def test_cursors_read_values_slope_and_distance_of_a_plane():
    plane = 2.0 + 0.03 * XX
    got = sample(Profile("a", ((105.0, 307.5), (505.0, 307.5), (505.0, 607.5)), 60.0),
                 {"f": plane}, X, Y, method="linear")  # fmt: skip
    read = between(got, "f", 33.0, 287.0)
    assert (read.at_a, read.at_b) == pytest.approx((2 + 0.03 * 138, 2 + 0.03 * 392))
    assert read.slope == pytest.approx(0.03)
    assert read.distance == read.straight == pytest.approx(254.0)
    assert read.mean == pytest.approx(2 + 0.03 * (105 + 160), abs=0.1)
    back = between(got, "f", 287.0, 33.0)
    assert (back.slope, back.distance) == pytest.approx((0.03, -254.0))
    corner = between(got, "f", 100.0, 700.0)
    assert corner.distance == pytest.approx(600.0)
    assert corner.straight == pytest.approx(math.hypot(300.0, 300.0))


def test_the_error_of_a_mean_between_cursors_holds_on_smooth_fields_where_counting_fails():
    rng, axis, ours, naive = np.random.default_rng(6), np.arange(240) + 0.5, [], []
    for _ in range(60):
        field = smooth_field((60, 240), 2.5, rng)
        got = sample(Profile("a", ((5.0, 30.0), (235.0, 30.0))), {"f": field}, axis, axis[:60])
        read = between(got, "f", 10.0, 210.0)
        ours.append(abs(read.mean) / read.error_mean)
        spread = got.channels["f"].values.std()
        naive.append(abs(read.mean) / (spread / math.sqrt(read.points)))
    assert np.mean(np.array(ours) < 2.0) > 0.87
    assert np.mean(np.array(naive) < 2.0) < 0.70


def test_the_error_of_a_difference_between_cursors_is_its_scatter():
    rng, axis, scaled = np.random.default_rng(7), np.arange(100) + 0.5, []
    for _ in range(150):
        field = rng.normal(size=(40, 100)) + np.where(axis < 50.0, 0.0, 3.0)
        got = sample(Profile("a", ((5.0, 20.0), (95.0, 20.0)), 24.0), {"f": field}, axis, axis[:40])
        read = between(got, "f", 20.0, 70.0)
        assert read.reason == ""
        scaled.append((read.difference - 3.0) / read.error_difference)
    assert np.std(scaled) == pytest.approx(1.0, abs=0.17)
    assert np.mean(scaled) == pytest.approx(0.0, abs=0.25)


def test_a_cursor_at_a_gap_gives_no_value_and_says_so():
    holed = SMOOTH.copy()
    holed[:, 30:40] = np.nan
    got = sample(Profile("a", ((5.0, 367.5), (795.0, 367.5)), 60.0), {"f": holed}, X, Y)
    read = between(got, "f", 100.0, 345.0)
    assert math.isnan(read.at_b)
    assert math.isnan(read.difference)
    assert math.isfinite(read.at_a)
    assert "One cursor" in read.reason
    assert math.isfinite(read.mean)
    assert "one place" in between(got, "f", 100.0, 100.0).reason
    assert "same or neighbouring" in between(got, "f", 100.0, 104.0).reason
    none = sample(Profile("a", ((5.0, 5.0), (5.0, 5.0))), {"f": SMOOTH}, X, Y)
    assert "no length" in between(none, "f", 0.0, 1.0).reason
    with pytest.raises(ValueError, match="no channel"):
        between(got, "g", 0.0, 1.0)


# ---- what may be asked


@pytest.mark.parametrize(
    ("make", "field"),
    [
        (lambda: Profile("a", ((0, 0),)), "profile.points"),
        (lambda: Profile("a", ((0.0, 1.0),) * 1001), "profile.points"),
        (lambda: Profile("a", ((0, 0), (1, float("nan")))), "profile.points[1]"),
        (lambda: Profile("a", ((0, 0), (1, 1)), -1.0), "profile.width"),
        (lambda: Profile("", ((0, 0), (1, 1))), "profile.name"),
        (lambda: Profile("a", ((0, 0), (1, 1)), 1.0, 5), "profile.note"),
    ],
)
def test_what_cannot_be_a_profile_is_refused_by_its_field(make, field):
    with pytest.raises(SettingsError) as caught:
        make()
    assert caught.value.field == field


def test_what_cannot_be_sampled_is_refused():
    line = Profile("a", ((0, 0), (500, 500)))
    with pytest.raises(ValueError, match="no method"):
        sample(line, {"f": SMOOTH}, X, Y, method="cubic")
    with pytest.raises(ValueError, match="above zero"):
        sample(line, {"f": SMOOTH}, X, Y, step=0.0)
    with pytest.raises(ValueError, match="f has the shape"):
        sample(line, {"f": SMOOTH[1:]}, X, Y)


def test_all_channels_of_a_large_map_follow_a_drag():
    """A profile of 1,000 points, 10 pixels wide, over 20 channels of 512 x 512, against reading
    one channel by scipy's spline of order 3 at the same places, which costs about as much."""
    from scipy.ndimage import map_coordinates

    rng, axis = np.random.default_rng(9), np.arange(512) + 0.5
    maps = {f"c{i}": rng.normal(size=(512, 512)) for i in range(20)}
    line = Profile("a", ((10.0, 20.0), (480.0, 500.0)), 10.0)
    places = rng.uniform(5, 500, (2, 20_000))
    ours, theirs = [], []
    for _ in range(5):
        start = time.perf_counter()
        got = sample(line, maps, axis, axis, step=line.length / 999)
        middle = time.perf_counter()
        map_coordinates(maps["c0"], places, order=3, prefilter=True)
        ours.append(middle - start)
        theirs.append(time.perf_counter() - middle)
    assert got.distance.size == 1000
    print(f"20 channels, 1,000 points: {1e3 * min(ours):.1f} ms; scipy {1e3 * min(theirs):.1f} ms")
    assert min(ours) < 3.0 * min(theirs)


# ---- edges


def test_the_points_between_cursors_are_those_that_have_a_value():
    edge = 2.0 + np.vectorize(math.erf)((XX - 400.0) / (math.sqrt(2.0) * 40.0))
    edge[:, 30:33] = np.nan
    got = sample(Profile("a", ((5.0, 367.5), (795.0, 367.5)), 60.0), {"f": edge}, X, Y)
    x, y, errors = points_between(got, "f", 600.0, 100.0)
    assert x.size == y.size == errors.size
    assert np.isfinite(y).all()
    assert x.min() >= 100.0 - 1e-9
    assert x.max() <= 600.0 + 1e-9
    assert x.size == np.isfinite(got.channels["f"].values[10:61]).sum() == 48
    from scipy.optimize import curve_fit
    from scipy.special import erf

    def law(s, base, half, middle, width):
        return base + half * erf((s - middle) / (math.sqrt(2.0) * width))

    (_, _, middle, width), _ = curve_fit(law, x, y, (2.0, 0.9, 380.0, 30.0))
    assert width == pytest.approx(40.0, rel=0.01)
    assert middle + 5.0 == pytest.approx(400.0, abs=1.0)
