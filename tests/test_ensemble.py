"""Many curves at once against simulated truth: the median is the law, the band is the scatter."""

from __future__ import annotations

import csv
import io
from dataclasses import replace

import numpy as np
import pytest

from palpate.core import Settings
from palpate.core.ensemble import (
    FEWEST,
    MOST,
    NO_CONTACT,
    NO_CURVE,
    aligned,
    placed,
    rows_of,
    rows_of_curve,
)
from palpate.core.errors import Cancelled, InputError
from palpate.core.pipeline import analyse
from palpate.core.progress import Progress
from palpate.core.simulate import Lever, Material, Ramp, simulate_map, stable_branch

LEVER, RAMP = Lever(2.0, 60.0, noise=0.08), Ramp(travel=180.0, samples=300)
SOFT, STIFF = Material("soft", 0.3, 0.4, 6.0), Material("stiff", 2.0, 0.4, 4.0)
MEDIAN_COST = np.sqrt(np.pi / 2)  # of a median against a mean, normal distribution: any handbook


@pytest.fixture(scope="module")
def made():
    labels = np.repeat([[0, 1]], 12, axis=0).repeat([12, 12], axis=1)
    return simulate_map(labels, (SOFT, STIFF), lever=LEVER, ramp=RAMP, seed=3)


@pytest.fixture(scope="module")
def analysis(made):
    return analyse(made.as_map(), Settings())


def curves_of(analysis, made, kind):
    return analysis.map.index_map[made.truth["label"] == kind]


def law(material):
    """u = z - z₀ and d of the noise-free law, and its slope dd/du."""
    u, d = stable_branch(LEVER, material.modulus / (1 - material.poisson_ratio**2),
                         material.pull_off, RAMP.travel)  # fmt: skip
    return u, d, np.gradient(d, u)


@pytest.mark.parametrize("branch", ["approach", "retract"])
@pytest.mark.parametrize("x", ["z", "indentation", "separation"])
@pytest.mark.parametrize("kind", [0, 1])
def test_the_median_is_the_law_within_its_standard_error(analysis, made, kind, x, branch):
    """Scatter of one curve at a place: the noise σ, and the contact point's own error times the
    slope; against indentation a deflection moves along the lever's line, which widens both by
    1/(1 - dd/dz). A median of n of them is known to 1.2533/√n of that. What the contact points are
    off in common (0.02 nm) is the fit's, not the median's: the law is put where they are."""
    material = (SOFT, STIFF)[kind]
    found = aligned(analysis, curves_of(analysis, made, kind), x=x, y="deflection")
    u, d, slope = law(material)
    z0 = (analysis.channel("contact_point") - made.truth["contact"])[made.truth["label"] == kind]
    assert abs(np.median(z0)) < 0.04
    depth = (found.x if x != "separation" else -found.x) + np.median(z0)
    at = depth if x == "z" else np.interp(depth, u - d, u)
    inside = (at > 2.0) & (found.branches[branch].count == found.curves.size)
    wide = 1.0 if x == "z" else 1.0 - np.interp(at, u, slope)
    bound = MEDIAN_COST * np.hypot(LEVER.noise, np.interp(at, u, slope) * np.std(z0)) / wide
    bound /= np.sqrt(found.curves.size)
    away = found.branches[branch].median - np.interp(at, u, d)
    assert np.count_nonzero(inside) > 20
    assert found.curves.size == 144
    assert np.abs(away[inside] / bound[inside]).max() < 4.0
    assert np.sqrt(np.mean((away[inside] / bound[inside]) ** 2)) < 1.6


def test_bands_hold_the_shares_that_they_are_called_by(analysis, made):
    """Far from contact the curves scatter by the white noise alone: quantiles of a normal law."""
    found = aligned(analysis, curves_of(analysis, made, 0), x="z", y="deflection")
    spread = found.branches["approach"]
    free = (found.x < -40.0) & (found.x > -120.0)
    inner = np.median((spread.high - spread.low)[free]) / (2 * 0.9945 * LEVER.noise)
    outer = np.median((spread.highest - spread.lowest)[free]) / (2 * 1.96 * LEVER.noise)
    assert 0.75 < inner < 1.1
    assert 0.75 < outer < 1.1
    assert np.all(spread.lowest[free] <= spread.low[free])
    assert np.all(spread.low[free] <= spread.median[free])


def test_alignment_puts_contact_or_peak_at_zero_and_as_measured_leaves_z(analysis, made):
    curves = curves_of(analysis, made, 0)
    number = int(curves[5])
    table = analysis.per_curve("contact_point")[0]
    plain = placed(analysis, number, x="z", align="none")
    moved = placed(analysis, number, x="z", align="contact")
    assert np.allclose(plain.approach[0] - moved.approach[0], table[number])
    peak = placed(analysis, number, x="z", align="peak")
    assert abs(peak.approach[0].max()) < 1e-9
    deep = placed(analysis, number, x="indentation", align="peak")
    assert abs(deep.approach[0][-1]) < 1.0  # the last sample, up to its noise
    by_force = placed(analysis, number, x="z", y="force")
    by_length = placed(analysis, number, x="z", y="deflection")
    assert np.allclose(by_force.approach[1], 2.0 * by_length.approach[1])  # F = k d, k = 2 N/m
    other = placed(analysis, number, x="separation").approach[0]
    assert np.allclose(other, -placed(analysis, number, x="indentation").approach[0])


def test_curves_that_cannot_be_placed_are_left_out_and_counted(made):
    spoiled = simulate_map(np.zeros((5, 5), int), (SOFT,), lever=LEVER, ramp=RAMP, seed=4)
    rng = np.random.default_rng(1)
    deflection = spoiled.deflection.copy()
    deflection[:4] = rng.normal(0.0, LEVER.noise, deflection[:4].shape)  # never touches
    fmap = replace(spoiled, deflection=deflection).as_map()
    found = aligned(analyse(fmap), np.array([*range(25), -1, -1]))
    assert found.left_out == {NO_CONTACT: 4, NO_CURVE: 2}
    assert found.curves.size == 21
    assert "4 left out (no contact)" in found.words
    all_of_them = aligned(analyse(fmap), np.arange(25), x="z", align="none")
    assert all_of_them.curves.size == 25


def test_a_corrected_pixel_is_placed_by_its_own_settings(analysis):
    """Another baseline and contact point: as on a map that has these settings all over."""
    from palpate.core.corrections import reviewed
    from palpate.core.decisions import Pixels

    change = {"baseline.extent": 90.0, "fit.fraction_from": 50.0}
    row, col = 3, 4
    review = analysis.review.correct(Pixels.one(analysis.map.shape, row, col), change)
    curve = analysis.map.curve_at(row, col)
    mine = placed(reviewed(analysis, review), curve)
    whole = placed(analyse(analysis.map, analysis.settings.with_values(change)), curve)
    assert np.array_equal(mine.approach[0], whole.approach[0])
    assert not np.array_equal(mine.approach[0], placed(analysis, curve).approach[0])


def test_many_curves_are_sampled_with_a_seed_that_is_told(analysis):
    every = np.arange(analysis.map.n_curves)
    one, same = (aligned(analysis, every, most=50, seed=7) for _ in range(2))
    other = aligned(analysis, every, most=50, seed=8)
    assert one.asked == 288
    assert one.taken == 50
    assert "of 288, taken by chance (seed 7)" in one.words
    assert np.array_equal(one.curves, same.curves)
    assert not np.array_equal(one.curves, other.curves)
    assert np.array_equal(one.branches["approach"].median, same.branches["approach"].median,
                          equal_nan=True)  # fmt: skip
    assert aligned(analysis, every).taken == MOST


def test_few_curves_have_no_median_and_say_so(analysis):
    found = aligned(analysis, np.array([1, 2]))
    assert found.x.size == 0
    assert "fewer than three" in found.words
    three = aligned(analysis, np.array([1, 2, 3]))
    count = three.branches["approach"].count
    assert np.array_equal(np.isfinite(three.branches["approach"].median), count >= FEWEST)


def test_wrong_axes_a_missing_spring_constant_and_a_stop_are_told(analysis, made):
    with pytest.raises(InputError, match="x axis 'time'"):
        aligned(analysis, np.array([1]), x="time")
    with pytest.raises(InputError, match="alignment 'middle'"):
        placed(analysis, 1, align="middle")
    given = made.arrays() | {"spring_constant": None}
    from palpate.core import ForceMap

    bare = analyse(ForceMap.from_arrays(**given))
    with pytest.raises(InputError, match="type the spring constant"):
        aligned(bare, np.arange(10))
    with pytest.raises(InputError, match="type the spring constant"):
        placed(bare, 1)
    assert aligned(bare, np.arange(10), y="deflection").curves.size == 10
    volts = analyse(ForceMap.from_arrays(**given | {"deflection_sensitivity": None}))
    with pytest.raises(InputError, match="type the deflection sensitivity"):
        aligned(volts, np.arange(10), x="z", y="deflection", align="none")
    progress = Progress()
    progress.cancel()
    with pytest.raises(Cancelled):
        aligned(analysis, np.arange(10), progress=progress)


def test_the_rows_of_a_file_hold_what_is_drawn(analysis):
    found = aligned(analysis, np.arange(20), points=50)
    rows = rows_of("A", found)
    approach = [row for row in rows if row[1] == "approach"]
    there = found.branches["approach"].count >= FEWEST
    assert np.allclose([row[2] for row in approach], found.x[there])
    assert np.allclose([row[3] for row in approach], found.branches["approach"].median[there])
    single = rows_of_curve("a", placed(analysis, 3))
    assert len(single) == 2 * RAMP.samples
    assert single[0][-1] == 1
    text = io.StringIO()
    csv.writer(text).writerows(rows)
    assert text.getvalue().count("\n") == len(rows)
