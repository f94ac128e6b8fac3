"""Domains, lengths and nesting on drawn shapes whose numbers are known."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import ndimage

from palpate.core.components import Rule, find
from palpate.core.components.shape import domain_rows, shape_report
from palpate.core.shapes.domains import closed, domains_of
from palpate.core.shapes.lengths import boundary_length, chords_of, lengths_of
from palpate.core.shapes.nesting import border_of, chains, shell_of

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


def test_domains_that_the_border_cuts_are_marked_and_weighed():
    """On many fields of discs of two sizes the mean with the weights of Miles and Lantuéjoul is
    the true one; the mean of all whole ones favours the small."""
    rng = np.random.default_rng(3)
    plain, weighed = [], []
    for _ in range(60):
        labels = np.zeros((120, 160), int)
        for _ in range(5):
            radius = 8.0 if rng.random() < 0.5 else 24.0
            row, col = rng.uniform(-40, 160), rng.uniform(-40, 200)
            fresh = disc(row, col, radius)
            if not (ndimage.binary_dilation(fresh, np.ones((3, 3))) & (labels == 1)).any():
                labels[fresh] = 1
        found = domains_of(labels, 1, smallest=4)
        whole = ~found.cut
        plain += list(found.diameter[whole])
        weighed += list(found.weight[whole])
    plain, weighed = np.array(plain), np.array(weighed)
    big = plain > 32.0
    share = weighed[big].sum() / weighed.sum()
    naive = big.mean()
    assert naive < share
    # overlapping discs are not drawn twice, which costs the large ones some: near a half
    assert 0.3 < share < 0.6


def test_points_at_random_are_neither_in_clusters_nor_apart():
    """Mean nearest distance ½/√density (Clark & Evans 1954, from memory)."""
    rng = np.random.default_rng(5)
    labels = np.zeros((300, 300), int)
    at = rng.integers(0, 300, (220, 2))
    labels[tuple(at.T)] = 1
    assert domains_of(labels, 1).clustering == pytest.approx(1.0, abs=0.12)
    grid = np.zeros((300, 300), int)
    grid[10::20, 10::20] = 1
    assert domains_of(grid, 1).clustering == pytest.approx(2.0, abs=0.05)


def test_a_network_spans_the_map_and_holds_nearly_all():
    labels = 1 - np.where(caps() > 0, 1, 0)
    found = domains_of(labels, 1)
    assert found.spans
    assert found.largest_share == 1.0
    assert found.euler == 1 - 4


def test_stripes_have_their_period_and_chords():
    stripes = (COLS % 20) < 8
    found = lengths_of(stripes.astype(float), np.ones(stripes.shape, bool), (3.0, 3.0))
    assert found.spacing_x == pytest.approx(60.0, rel=0.02)
    assert math.isnan(found.decay_y)  # it never falls along a stripe
    chords = chords_of(stripes, (3.0, 3.0))
    assert (chords.inside_x, chords.between_x) == pytest.approx((24.0, 36.0))
    assert math.isnan(chords.inside_y)


def test_an_exponential_field_has_its_correlation_length():
    """ρ = exp(-h/ξ) has its 1/e length and its integral at ξ."""
    rng = np.random.default_rng(7)
    size, xi = 1024, 8.0
    k2 = np.fft.fftfreq(size)[:, None] ** 2 + np.fft.fftfreq(size)[None, :] ** 2
    damp = (1.0 + (2.0 * np.pi * xi) ** 2 * k2) ** -0.75
    field = np.fft.ifft2(np.fft.fft2(rng.normal(size=(size, size))) * damp).real
    found = lengths_of(field, np.ones(field.shape, bool))
    assert found.decay == pytest.approx(xi, rel=0.08)
    assert found.integral == pytest.approx(xi, rel=0.15)
    assert found.anisotropy == pytest.approx(1.0, rel=0.15)


def test_the_length_of_a_boundary_is_that_of_the_circles():
    labels = caps()
    around = sum(2.0 * math.pi * radius for _, _, radius in PLACES)
    assert boundary_length(labels, 0, 1, (1.0, 1.0)) == pytest.approx(around, rel=0.06)
    assert boundary_length(labels, 0, 2) == 0.0


def test_cores_lie_in_shells_and_shells_in_the_ground():
    labels = caps()
    borders = {k: border_of(labels, k) for k in range(3)}
    assert borders[2].inside == {1: 1.0}
    assert borders[1].inside == {0: 1.0}
    assert borders[2].shares == {1: 1.0}
    assert chains(borders) == [(2, 1, 0)]


def test_the_thickness_of_a_shell_is_right_to_half_a_pixel():
    found = shell_of(caps(), 2, 1, (2.0, 2.0))
    truth = [2.0 * 0.45 * radius for _, _, radius in PLACES]
    assert found.cores == 4
    assert found.thickness == pytest.approx(np.mean(truth), abs=1.0)
    assert found.spread == pytest.approx(np.std(truth, ddof=1), rel=0.2)
    assert found.touching == 0.0
    open_ = caps()
    open_[70, 100:120] = np.where(open_[70, 100:120] == 1, 0, open_[70, 100:120])
    assert shell_of(open_, 2, 1).touching == 0.25


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
