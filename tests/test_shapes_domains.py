"""Domains on drawn shapes whose numbers are known."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import ndimage

from palpate.core.components import Rule, find
from palpate.core.components.shape import domain_rows, shape_report
from palpate.core.shapes.domains import closed, domains_of

ROWS, COLS = np.mgrid[:120, :160]
PLACES = ((30, 40, 12), (70, 100, 15), (90, 30, 9), (40, 130, 8))


def disc(row, col, radius):
    return np.hypot(ROWS - row, COLS - col) <= radius


def caps(core=0.55):
    """Discs of 1 with cores of 2 in a ground of 0."""
    labels = np.zeros(ROWS.shape, int)
    for row, col, radius in PLACES:
        labels[disc(row, col, radius)] = 1
        labels[disc(row, col, core * radius)] = 2
    return labels


def test_discs_have_their_diameters_distances_and_shape():
    labels = np.where(caps() > 0, 1, 0)
    found = domains_of(labels, 1, (2.0, 2.0))
    order = np.argsort(found.diameter)
    assert found.count == 4
    assert found.diameter[order] == pytest.approx([32.0, 36.0, 48.0, 60.0], rel=0.04)
    assert (found.circularity > 0.9).all()
    assert found.perimeter[order] == pytest.approx(np.pi * np.array([32, 36, 48, 60]), rel=0.06)
    assert (found.aspect < 1.05).all()
    assert not found.cut.any()
    (a,), (b,) = (np.flatnonzero(np.isclose(found.centre, at).all(1)) for at in
                  ((200.0, 140.0), (260.0, 80.0)))  # fmt: skip
    apart = math.hypot(60.0, 60.0)
    assert found.apart[a] == pytest.approx(apart)
    assert found.gap[a] == pytest.approx(apart - 30.0 - 16.0, abs=2.5)
    assert found.apart[b] == pytest.approx(apart)
    assert found.euler == 4
    assert not found.spans


@pytest.mark.parametrize("angle", [0.0, 30.0, 80.0, -50.0])
def test_an_ellipse_has_its_direction_counted_from_x_upwards(angle):
    t = math.radians(angle)
    u = (COLS - 80) * math.cos(t) + (ROWS - 60) * math.sin(t)
    v = -(COLS - 80) * math.sin(t) + (ROWS - 60) * math.cos(t)
    found = domains_of(((u / 30) ** 2 + (v / 10) ** 2 < 1).astype(int), 1)
    assert found.orientation[0] == pytest.approx(angle, abs=1.0)
    assert found.aspect[0] == pytest.approx(3.0, rel=0.02)
    assert found.area[0] == pytest.approx(math.pi * 300.0, rel=0.02)


def test_a_spoiled_pixel_inside_a_domain_makes_no_hole_and_splits_nothing():
    labels = np.where(caps() > 0, 1, 0)
    labels[70, 100] = -1
    labels[:, 20] = np.where(labels[:, 20] == 0, -1, labels[:, 20])
    mine, filled = closed(labels, 1)
    assert filled == 1
    assert mine[70, 100]
    assert domains_of(labels, 1).euler == 4


def test_domains_that_the_border_cuts_are_counted_and_weighed_without_bias():
    """Fields that see a part of a wide ground: one disc each, small or large with even chances, its
    centre anywhere. The number per area is that of centres; half are large by the weights of Miles
    and Lantuéjoul, while among all whole ones large ones are too few."""
    rng = np.random.default_rng(3)
    rows, cols, far, fields = 60, 80, 26.0, 1500
    counted, plain, weighed = 0.0, [], []
    row_of, col_of = np.mgrid[:rows, :cols]
    for _ in range(fields):
        radius = 6.0 if rng.random() < 0.5 else 18.0
        row, col = rng.uniform(-far, rows + far), rng.uniform(-far, cols + far)
        labels = (np.hypot(row_of - row, col_of - col) < radius).astype(int)
        if labels.any():
            found = domains_of(labels, 1)
            counted += found.density * rows * cols
            plain += list(found.diameter[~found.cut])
            weighed += list(found.weight[~found.cut])
    truth = fields * rows * cols / ((rows + 2.0 * far) * (cols + 2.0 * far))
    assert counted == pytest.approx(truth, rel=0.09)  # three standard errors: 3/√500 less a third
    plain, weighed = np.array(plain), np.array(weighed)
    big = plain > 24.0
    assert weighed[big].sum() / weighed.sum() == pytest.approx(0.5, abs=0.09)
    assert big.mean() < 0.36  # (60-36)(80-36)/(that + (60-12)(80-12)) = 0.244 expected


def test_sizes_are_told_with_and_without_cut_domains():
    labels = np.where(caps() > 0, 1, 0)
    labels[disc(0, 80, 20)] = 1
    found = domains_of(labels, 1)
    assert (found.sizes("all").count, found.sizes("whole").count) == (5, 4)
    whole = found.sizes("whole")
    assert (whole.lower, whole.upper) == pytest.approx((16.0, 24.0), rel=0.04)
    assert whole.mean == pytest.approx((16 + 18 + 24 + 30) / 4, rel=0.03)
    sizes = np.array([16.0, 18.0, 24.0, 30.0])
    assert whole.by_area == pytest.approx((sizes**3).sum() / (sizes**2).sum(), rel=0.03)
    assert found.sizes().mean == found.mean_diameter > whole.mean
    assert found.counts[found.cut] == pytest.approx([0.5])
    with pytest.raises(ValueError, match="which must be one of"):
        found.sizes("some")
    assert math.isnan(domains_of(labels, 7).sizes().median)


def test_a_corner_counts_a_quarter_and_what_spans_the_map_nothing():
    labels = np.zeros((40, 50), int)
    labels[:5, :5] = labels[20:23] = 1
    assert domains_of(labels, 1).counts == pytest.approx([0.25, 0.0])


def test_gaps_are_the_shortest_distances_between_domains():
    """Against all distances between all pixels of all pairs (scipy)."""
    from scipy.spatial.distance import cdist

    field = ndimage.gaussian_filter(np.random.default_rng(2).normal(size=(90, 90)), 2.5)
    labels = (field > 1.2 * field.std()).astype(int)
    pitch = (3.0, 2.0)
    found = domains_of(labels, 1, pitch)
    places = [np.argwhere(found.image == k + 1) * np.array(pitch) for k in range(found.count)]
    assert found.count > 10
    for k, mine in enumerate(places):
        truth = min(cdist(mine, other).min() for j, other in enumerate(places) if j != k)
        assert found.gap[k] == pytest.approx(truth, rel=0.02)


def test_the_perimeter_of_a_circle_is_right_where_pixels_are_oblong():
    inside = np.hypot((ROWS - 60) * 3.0, (COLS - 80) * 2.0) < 90.0
    found = domains_of(inside.astype(int), 1, (3.0, 2.0))
    assert found.perimeter[0] == pytest.approx(2.0 * math.pi * 90.0, rel=0.02)
    assert found.area[0] == pytest.approx(math.pi * 90.0**2, rel=0.01)
    assert found.circularity[0] > 0.94


def test_points_at_random_are_neither_in_clusters_nor_apart():
    """Mean nearest distance ½/√density (Clark & Evans 1954, from memory)."""
    found = []
    for seed in range(12):
        at = np.random.default_rng(seed).choice(500 * 500, 120, replace=False)
        labels = np.zeros((500, 500), int)
        labels.flat[at] = 1
        found.append(domains_of(labels, 1).clustering)
    assert np.mean(found) == pytest.approx(1.0, abs=0.04)  # twice its scatter: 0.5/√(12 · 120)
    grid = np.zeros((300, 300), int)
    grid[10::20, 10::20] = 1
    # on a grid all points have their neighbour, at twice 10: only what is expected holds the border
    border = (0.0514 + 0.041 / 15.0) * 1200.0 / 225.0
    assert domains_of(grid, 1).clustering == pytest.approx(20.0 / (10.0 + border), rel=1e-6)


def test_a_network_spans_the_map_and_holds_nearly_all():
    labels = 1 - np.where(caps() > 0, 1, 0)
    found = domains_of(labels, 1)
    assert found.spans
    assert found.largest_share == 1.0
    assert found.euler == 1 - 4


def test_the_report_of_a_map_tells_domains_interfaces_and_order():
    from component_maps import MIDDLE, SOFT, STIFF

    from palpate.core.components import Maps

    rng = np.random.default_rng(1)
    kinds = np.array([[k.modulus, k.adhesion] for k in (STIFF, SOFT, MIDDLE)])
    labels = caps()
    logs = ndimage.gaussian_filter(np.log(kinds[labels, 0]), 0.7)
    adhesion = ndimage.gaussian_filter(kinds[labels, 1], 0.7)
    noise = rng.normal(size=(2, *labels.shape))
    maps = Maps({"reduced_modulus": np.exp(logs + 0.05 * noise[0]),
                 "adhesion": adhesion + 0.2 * noise[1]})  # fmt: skip
    found = find(maps, Rule())
    report = shape_report(found)
    assert found.count == 3
    assert report.order == [(1, 0, 2)]  # core of middle stiffness, soft shell, stiff ground
    assert [report.domains[k].count for k in (0, 1)] == [4, 4]
    assert report.domains[2].largest_share > 0.99  # and a lone pixel or two
    assert report.interfaces[0, 2].edge.sigma == pytest.approx(0.7, rel=0.15)
    assert any("lies in" in words for words in report.words(found))
    rows = domain_rows(report, found)
    assert len(rows) == 1 + sum(d.count for d in report.domains.values())
    assert len({len(row) for row in rows}) == 1
