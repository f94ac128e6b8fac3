"""Components by every rule on drawn maps; what is left out, and what becomes of boundaries."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from component_maps import MIDDLE, SOFT, STIFF, drawn
from scipy import ndimage

from palpate.core.components import Axis, EndMember, Gate, Maps, Rule, find, in_shape, table_of
from palpate.core.components.maps import EXCLUDED, NO_CURVE, SEVERE
from palpate.core.components.zones import BOUNDARY, PURE, boundary_distances
from palpate.core.pipeline import analyse
from palpate.core.simulate import ski_boot

E_AND_F = (Axis("reduced_modulus", True), Axis("adhesion"))


def plain_maps(labels, kinds, noise=0.04, seed=0, blur=0.0, **more):
    """Maps with labels as drawn: ln E* and adhesion with independent noise."""
    rng = np.random.default_rng(seed)
    logs = np.log(np.array([k.modulus for k in kinds]))[labels]
    adhesion = np.array([k.adhesion for k in kinds])[labels]
    if blur:
        logs, adhesion = (ndimage.gaussian_filter(v, blur) for v in (logs, adhesion))
    return Maps({"reduced_modulus": np.exp(logs + noise * rng.normal(size=labels.shape)),
                 "adhesion": adhesion + 0.2 * rng.normal(size=labels.shape),
                 "indentation": np.full(labels.shape, 4.0)}, **more)  # fmt: skip


def half(size=40):
    return (np.mgrid[:size, :size][1] >= size // 2).astype(int)


def test_thresholds_gates_and_end_members_label_as_they_say():
    labels = half()
    maps = plain_maps(labels, (SOFT, STIFF))
    cut = find(maps, Rule("thresholds", E_AND_F, thresholds=(0.3,)))
    assert (cut.labels == labels).all()
    box = Gate(((1.0, 3.0), (3.0, 3.0), (3.0, 7.0), (1.0, 7.0)))
    gate = find(maps, Rule("gates", E_AND_F, gates=(box,)))
    assert ((gate.labels == 0) == (labels == 1)).all()  # in the rule's own order
    assert gate.left_out["in no gate"] == (labels == 0).sum()
    members = (EndMember((0.05, 9.0), (0.05, 0.4)), EndMember((1.8, 4.8), (0.05, 0.4)))
    ends = find(maps, Rule("end_members", E_AND_F, members=members))
    assert (ends.labels == labels).all()
    assert in_shape(maps, E_AND_F, box.vertices).sum() == (labels == 1).sum()


def test_a_pixel_at_a_threshold_belongs_to_both_sides_by_its_own_error():
    values = np.full((6, 6), 1.0)
    values[0, 0] = 1.1
    maps = Maps({"stiffness": values}, {"stiffness": np.full((6, 6), 0.1)})
    rule = Rule("thresholds", (Axis("stiffness", False),), thresholds=(1.0,), least=0.0)
    found = find(maps, rule)
    assert found.membership[3, 3] == pytest.approx(0.5)
    assert found.membership[0, 0] == pytest.approx(0.8413, abs=1e-4)  # one standard deviation
    assert (find(maps, replace(rule, least=0.7)).labels >= 0).sum() == 1


@pytest.mark.parametrize(
    ("rule", "why"),
    [
        (Rule("gates", E_AND_F), "nothing is drawn"),
        (Rule("end_members", E_AND_F), "no end members"),
        (Rule(axes=(Axis("stiffness", True),)), "no channel 'stiffness'"),
        (Rule("thresholds", E_AND_F, thresholds=(-1.0,)), "above zero"),
        (Rule(count=12), "need as many different values|can be used"),
    ],
)
def test_a_rule_that_can_not_be_followed_says_why(rule, why):
    small = Maps({"reduced_modulus": np.full((3, 3), 2.0), "adhesion": np.full((3, 3), 5.0)})
    with pytest.raises(ValueError, match=why):
        find(small, rule)


def test_smoothing_brings_lone_pixels_back_and_leaves_the_edge():
    labels = half()
    maps = plain_maps(labels, (SOFT, MIDDLE), noise=0.75)
    rule = Rule("thresholds", E_AND_F, thresholds=(np.sqrt(SOFT.modulus * MIDDLE.modulus),))
    raw = find(maps, rule)
    noisy = Maps(maps.values, {"reduced_modulus": 0.75 * maps.values["reduced_modulus"]})
    plain, smooth = find(noisy, rule), find(noisy, replace(rule, smooth=2.0))
    assert (plain.labels == raw.labels).all()
    wrong, left = (plain.labels != labels).sum(), (smooth.labels != labels).sum()
    assert wrong > 60
    assert left < 0.25 * wrong
    assert (smooth.labels[:, :18] == 0).mean() > 0.99
    assert (smooth.labels[:, 22:] == 1).mean() > 0.99


def test_a_sharp_edge_is_not_moved_by_smoothing():
    labels = half()
    maps = plain_maps(labels, (SOFT, STIFF))
    assert (find(maps, Rule(count=2, smooth=5.0)).labels == labels).all()


def test_boundary_zones_go_by_contact_radius_and_pixel():
    labels = half()
    maps = plain_maps(labels, (SOFT, STIFF), pitch=(10.0, 10.0), scaled=True,
                      contact_radius=lambda depth: 5.0 * depth)  # fmt: skip
    found = find(maps, Rule(count=2))
    assert found.widths == pytest.approx([7.0711 + 20.0] * 2, rel=1e-4)
    distances = boundary_distances(labels.astype(np.int16), (10.0, 10.0))
    assert distances[0, 20] == pytest.approx(5.0)
    assert ((found.kinds == BOUNDARY) == (distances < 27.07)).all()
    none = find(maps, Rule(count=2, zone="none"))
    assert (none.kinds == PURE).all()
    given = find(maps, Rule(count=2, zone="given", zone_width=6.0))
    assert (given.kinds == BOUNDARY).sum() == 2 * 40
    share = table_of(given, ["adhesion"]).rows[0].share
    assert share.fraction == 0.5
    assert share.low_zone == pytest.approx((20 - 1) / 40)
    assert share.high_zone == pytest.approx((20 + 1) / 40)


def test_pixels_between_two_components_keep_the_nearer_label_and_no_statistics():
    labels = half()
    maps = plain_maps(labels, (SOFT, STIFF), blur=1.0)
    found = find(maps, Rule(count=2, zone="none"))
    assert (found.labels == labels).mean() > 0.99
    mixed = found.labelled & (found.kinds != PURE)
    assert 0.02 < mixed.mean() < 0.15
    assert (np.abs(np.argwhere(mixed)[:, 1] - 19.5) < 4).all()


def test_a_rim_that_looks_like_a_third_component_is_taken_for_the_boundary_unless_kept():
    """A blurred boundary of a soft and a stiff component passes through the middle one."""
    labels = half(60)
    labels[20:34, 5:17] = 2
    maps = plain_maps(labels, (SOFT, STIFF, MIDDLE), blur=0.9)
    rule = Rule(count=3)
    kept = find(maps, replace(rule, rims=False))
    found = find(maps, rule)
    rim = (slice(None), slice(28, 32))
    assert (kept.labels[rim] == 1).sum() > 20
    assert (found.labels[rim] == 1).sum() == 0
    assert found.rim[rim].sum() > 20
    assert any("rim" in remark for remark in found.remarks)
    assert "rims" in found.words
    assert (found.labels[22:32, 7:15] == 1).all()  # the real one stays
    assert (found.shares.argmax(0) == found.labels)[found.labelled].all()


def test_what_was_cut_or_drawn_by_hand_is_not_given_to_others():
    labels = half(60)
    labels[:, 29:31] = 2  # a layer two pixels thin between the others
    maps = plain_maps(labels, (SOFT, STIFF, MIDDLE))
    cut = find(maps, Rule("thresholds", E_AND_F, thresholds=(0.15, 0.85)))
    assert (cut.labels[:, 29:31] == 1).all()


def test_boundary_zones_hold_on_oblong_pixels_in_both_directions():
    """A row or column beside a boundary is as far from it as half a pixel in that direction."""
    rows = (np.mgrid[:20, :20][0] >= 10).astype(np.int16)
    assert boundary_distances(rows, (40.0, 10.0))[9, 0] == pytest.approx(20.0)
    assert boundary_distances(rows.T, (40.0, 10.0))[0, 9] == pytest.approx(5.0)


def test_medians_of_components_that_overlap_are_not_cut_by_the_labels():
    """Two components 3.75 standard deviations apart: medians over labels lie too far out, weighted
    by membership they hold; and it is told that they overlap."""
    errors, said = [], 0
    for seed in range(12):
        rng = np.random.default_rng(seed)
        labels = (np.mgrid[:64, :64][1] // 16) % 2
        logs = np.log10([0.5, 1.0])[labels] + 0.08 * rng.normal(size=labels.shape)
        found = find(Maps({"reduced_modulus": 10.0**logs}),
                     Rule(axes=(Axis("reduced_modulus", True),), count=2, plain=False))  # fmt: skip
        table = table_of(found, ["reduced_modulus"])
        said += any("Overlap" in remark for remark in table.remarks)
        errors.append([np.log(row.summaries["reduced_modulus"].median / truth)
                       for row, truth in zip(table.rows, (0.5, 1.0), strict=True)])  # fmt: skip
    assert np.abs(np.mean(errors, 0)).max() < 0.01
    assert said == 12


def test_one_missing_value_changes_one_channel_and_its_errors_hardly():
    made = drawn((STIFF, SOFT), (0.3,), seed=2)
    values = {**made.maps.values, "dissipation": made.maps.values["adhesion"] * 3.0}
    found = find(Maps(values), Rule(count=2))
    whole = table_of(found, ["adhesion", "dissipation"]).rows[1].summaries
    here = np.argwhere(found.pixels(1, pure=True))
    values["adhesion"] = values["adhesion"].copy()
    values["dissipation"] = values["dissipation"].copy()
    values["adhesion"][tuple(here[5])] = np.nan
    values["dissipation"][tuple(here[50])] = np.nan
    other = replace(found, maps=Maps(values))
    holed = table_of(other, ["adhesion", "dissipation"]).rows[1].summaries
    for name in ("adhesion", "dissipation"):
        assert holed[name].pixels == whole[name].pixels - 1
        assert holed[name].independent == pytest.approx(whole[name].independent, rel=0.03)


def test_left_out_pixels_that_may_bend_the_areas_are_told():
    made = drawn((STIFF, SOFT), (0.3,), seed=2)
    reasons = np.zeros(made.labels.shape, np.uint8)
    reasons[:8] = SEVERE
    found = find(Maps(dict(made.maps.values), {}, reasons), Rule(count=2))
    assert any("left out of the areas" in remark for remark in found.remarks)


def test_what_is_left_out_is_counted_by_reason_and_changes_nothing():
    made = drawn((STIFF, SOFT), (0.3,), seed=4)
    clean = dict(made.maps.values)
    reasons = np.zeros(made.labels.shape, np.uint8)
    reasons[:4], reasons[4:6], reasons[6:7] = SEVERE, EXCLUDED, NO_CURVE
    values = {name: v.copy() for name, v in clean.items()}
    for v in values.values():
        v[reasons > 0] = 1e9  # poison
    rule = Rule(count=2)
    found = find(Maps(values, {}, reasons), rule)
    left = {name: np.where(reasons > 0, np.nan, v) for name, v in clean.items()}
    other = find(Maps(left), rule)
    assert (found.labels == other.labels).all()
    assert found.left_out["a severe doubt"] == 4 * 64
    assert found.left_out["left out by hand"] == 2 * 64
    assert found.left_out["no curve"] == 64
    assert sum(found.left_out.values()) + found.labelled.sum() == found.labels.size
    assert table_of(found).rows[0].summaries["adhesion"].median == pytest.approx(
        table_of(other).rows[0].summaries["adhesion"].median)  # fmt: skip


def test_the_three_components_of_a_whole_analysis_are_found_without_a_hint():
    """From curves to components: every pixel away from boundaries right, medians within 2 %."""
    made = ski_boot(64, samples=256)
    result = analyse(made.as_map())
    found = find(Maps.of(result), Rule())
    rank = np.argsort(np.argsort([m.modulus for m in made.materials]))
    truth = rank[made.truth["label"]]
    good = made.truth["spoiled"] == ""
    assert found.count == 3
    away = good & (boundary_distances(truth.astype(np.int16), (1.0, 1.0)) > 1.0)
    assert (found.labels == truth)[away].mean() > 0.97
    table = table_of(found, ["reduced_modulus", "release_force"])
    for row in table.rows:
        here = good & (truth == row.number)
        assert row.share.fraction == pytest.approx(here.sum() / good.sum(), abs=0.01)
        modulus = np.median(made.truth["reduced_modulus"][here])
        assert row.summaries["reduced_modulus"].median == pytest.approx(modulus, rel=0.02)
        pull = np.median(made.truth["pull_off"][here])
        assert row.summaries["release_force"].median == pytest.approx(pull, rel=0.03)
    assert found.left_out["a severe doubt"] == int(result.severe.sum())


def test_a_composition_says_how_it_was_made():
    found = find(drawn((STIFF, SOFT), (0.3,)).maps, Rule(seed=7))
    assert "mixture of 2 normal distributions" in found.words
    assert "seed 7" in found.words
    assert "independent pixels" in found.words
    assert found.names == ("A", "B")
    named = replace(found, rule=found.rule.named(0, "rubber"))
    assert named.title(0) == "A rubber"


def test_pixels_left_out_by_hand_are_in_no_number_of_the_program():
    """Trusted pixels, components, advice, comparison and budgets pass over them."""
    from palpate.core.advice import adhesion_map
    from palpate.core.uncertainty.groups import group_of

    made = ski_boot(24, seed=5, samples=128)
    result = analyse(made.as_map())
    gone = np.zeros((24, 24), bool)
    gone[:12] = True
    other = result.without(gone)
    assert (other.trusted == (result.trusted & ~gone)).all()
    assert other.per_curve("modulus")[0] is result.per_curve("modulus")[0]
    assert not Maps.of(other).usable[:12].any()
    assert (adhesion_map(other).pixels[:, 0] >= 12).all()
    assert (adhesion_map(result).pixels[:, 0] < 12).any()
    everything = np.ones((24, 24), bool)
    pixels = group_of(other, everything, "median", "reduced_modulus").pixels
    assert pixels == np.count_nonzero(other.trusted & (other.channel("reduced_modulus") > 0.0))


def test_names_go_with_their_components_when_a_threshold_is_added_or_taken_away():
    rule = Rule("thresholds", E_AND_F, thresholds=(0.4, 2.0), names=("rubber", "matrix", "beads"),
                poisson_ratios=(0.49, 0.4))  # fmt: skip
    more = rule.cut_at(0.1)
    assert more.thresholds == (0.1, 0.4, 2.0)
    assert more.names == ("rubber", "", "matrix", "beads")
    assert more.poisson_ratios == (0.49, None, 0.4)
    assert rule.cut_at(0.4) is rule
    fewer = rule.joined_at(1)
    assert fewer.thresholds == (0.4,)
    assert fewer.names == ("rubber", "")
