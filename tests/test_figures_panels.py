"""Panels of a figure sheet: what is drawn is what the tables say, and these are the analysis."""

from __future__ import annotations

import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from figure_maps import (
    BAD,
    BORDER,
    SHAPE,
    SPRING,
    column,
    found_in,
    named,
    on_paper,
    without_components,
    written_map,
)

from palpate.core.channels import CHANNELS
from palpate.core.figures import PRESETS, PanelError, Style, draw_sheet
from palpate.core.figures.clashes import clashes, lines_of
from palpate.core.figures.counted import counted
from palpate.core.figures.draw_histogram import edges_of
from palpate.core.figures.tabled import calibration
from palpate.core.findings import pick
from palpate.core.mapdoubts.parts import Evidence, MapDoubt, Plot
from palpate.core.settings import Settings, declaration
from palpate.core.sheets import (
    KINDS,
    CurveOptions,
    HistogramOptions,
    JointOptions,
    MapOptions,
    Panel,
    ProfileOptions,
    Sheet,
    TableOptions,
)


@pytest.fixture(scope="module")
def found(tmp_path_factory):
    findings = found_in(written_map(tmp_path_factory.mktemp("maps")))
    yield findings
    findings.map.close()


def line(figure, label):
    """The drawn line of a label in the legend."""
    lines = [one for axes in figure.subfigs[0].axes for one in axes.lines]
    return next(one for one in lines if one.get_label() == label)


# ---- curves


def test_a_curve_is_drawn_as_its_tables_say_and_they_are_the_report(found):
    options = CurveOptions(which="pixel", row=4, col=18, residuals=True, part="whole")
    figure, drawn = on_paper(Panel("curve", options=options), found)
    report = found.explain(4, 18)
    for name, branch in (("approach", report.approach), ("retract", report.retract)):
        table = named(drawn, name)
        x, y = line(figure, name.capitalize()).get_data()
        assert np.array_equal(x, column(table, "separation"))
        assert np.array_equal(y, column(table, "force"))
        assert np.array_equal(column(table, "z"), branch.z)
        # F = k d and D = -((z - z0) - d), with the lever that the map was simulated with
        assert np.allclose(y, SPRING * branch.d, rtol=1e-9)
        assert np.allclose(x, -(branch.z - report.z0 - branch.d), atol=1e-9)
    marks = dict(zip(column(named(drawn, "marks"), "mark"),
                     zip(*(column(named(drawn, "marks"), n) for n in ("separation", "force")),
                         strict=True), strict=True))  # fmt: skip
    adhesion = found.analysis.channel("adhesion")[4, 18]
    assert marks["pull_off"][1] == pytest.approx(-adhesion, rel=1e-6)
    assert marks["contact"] == pytest.approx((0.0, 0.0), abs=1e-9)
    assert line(figure, "Adhesion").get_data()[1] == pytest.approx([-adhesion])
    law_x, law_y = line(figure, "Fitted law").get_data()
    assert np.array_equal(law_y, column(named(drawn, "law"), "force"))
    dots = figure.subfigs[0].axes[1].lines[-1].get_data()[1]
    assert np.array_equal(dots, column(named(drawn, "residuals"), "residual"))
    assert dots.std() == pytest.approx(1.0, abs=0.4)  # in units of the noise
    numbers = named(drawn, "numbers")
    values = dict(zip(column(numbers, "quantity"), column(numbers, "value"), strict=True))
    assert values["modulus"] == found.analysis.channel("modulus")[4, 18]
    low, high = (marks[name][0] for name in ("window_from", "window_to"))
    assert law_x.min() <= low < high <= law_x.max() + 1e-6


def test_a_curve_says_which_pixel_it_is_by_which_rule_and_its_doubts(found):
    _, drawn = on_paper(Panel("curve", options=CurveOptions(which="left_out")), found)
    assert "worst left out" in drawn.caption
    assert f"column {BAD[1]}, row {BAD[0]} (from 0, row 0 at the bottom" in drawn.caption
    assert "Doubt about this curve (severe): The deflection never rises above" in drawn.caption
    assert "not used in the statistics" in drawn.caption
    _, drawn = on_paper(Panel("curve", options=CurveOptions(component="A", x="z")), found)
    said = "typical of component A: modulus and adhesion nearest to their medians there"
    assert said in drawn.caption
    assert "the fitted law, paraboloid, with a constant pull (DMT) (E = " in drawn.caption
    assert "± of this curve alone" in drawn.caption
    gone = CurveOptions(which="pixel", row=3, col=4)
    _, drawn = on_paper(Panel("curve", options=gone), found)
    assert "By hand this pixel was left out" in drawn.caption


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (CurveOptions(which="pixel", row=99), "outside this map of 24 × 20"),
        (CurveOptions(component="Q"), "there is no component “Q”; there are: A, B"),
        (HistogramOptions(channel="nonsense"), "“nonsense” is no channel"),
        (HistogramOptions(channel="relaxation_time"), "not worked out under these settings"),
        (HistogramOptions(unit="kg"), "“kg” is not known"),
        (HistogramOptions(unit="nN"), "is a pressure and can't be drawn in “nN”"),
        (HistogramOptions(channel="height", log=True), "no pixel has a value above zero"),
        (JointOptions(x="adhesion", y="adhesion"), "choose two channels"),
        (ProfileOptions(profile="Along"), "There is no profile “Along”; there are: “Across”"),
        (ProfileOptions(second="nonsense"), "“nonsense” is no channel"),
        (TableOptions(channels="nonsense"), "“nonsense” has no values here"),
        (TableOptions(channels=" , "), "No channel is named"),
    ],
)
def test_what_cannot_be_drawn_is_said_with_what_there_is(found, options, said):
    kinds = {CurveOptions: "curve", HistogramOptions: "histogram", JointOptions: "joint",
             ProfileOptions: "profile", TableOptions: "table"}  # fmt: skip
    with pytest.raises(PanelError) as caught:
        on_paper(Panel(kinds[type(options)], options=options), found)
    assert said in str(caught.value)


def test_without_components_profiles_or_curves_the_reason_is_said(found):
    bare = replace(without_components(found), work=replace(found.work, places=None))
    for panel, said in ((Panel("table"), "No components: for this test."),
                        (Panel("profile"), "has no profile: draw a line"),
                        (Panel("curve", options=CurveOptions(component="A")),
                         "there are: none")):  # fmt: skip
        with pytest.raises(PanelError) as caught:
            on_paper(panel, bare)
        assert said in str(caught.value)
    _, drawn = on_paper(Panel("joint"), bare)
    assert [table.name for table in drawn.tables] == ["joint_reduced_modulus_adhesion"]


# ---- histograms


def test_a_histogram_counts_as_numpy_does_by_the_rule_of_freedman_and_diaconis(found):
    panel = Panel("histogram", options=HistogramOptions(channel="adhesion", components=False))
    figure, drawn = on_paper(panel, found)
    values = found.analysis.channel("adhesion")
    used = values[found.analysis.trusted & np.isfinite(values)]
    edges = np.histogram_bin_edges(used, "fd")  # the general library's own rule
    (table,) = drawn.tables
    assert np.allclose(column(table, "from"), edges[:-1], rtol=1e-12)
    assert np.allclose(column(table, "to"), edges[1:], rtol=1e-12)
    assert np.array_equal(column(table, "pixels"), np.histogram(used, edges)[0])
    bars = figure.subfigs[0].axes[0].patches[0].get_data()
    assert np.array_equal(bars.values, column(table, "pixels"))
    assert np.array_equal(bars.edges[:-1], column(table, "from"))
    assert f"n = {used.size:,} pixels" in drawn.caption
    assert "2 left out by hand" in drawn.caption


def test_components_are_outlined_with_letters_and_add_up(found):
    panel = Panel("histogram", options=HistogramOptions(log=True))
    figure, drawn = on_paper(panel, found)
    (table,) = drawn.tables
    names = [name for name, _, _ in table.columns if name.startswith("pixels_")]
    parts = {name: column(table, name) for name in names}
    assert np.array_equal(sum(parts.values()), column(table, "pixels"))
    labels, values = found.composition.labels, found.analysis.channel("modulus")
    used = found.analysis.trusted & np.isfinite(values)
    for k, sign in enumerate("AB"):
        mine = np.log10(values[used & (labels == k)])
        edges = np.append(column(table, "from"), column(table, "to")[-1])
        _, factor = unit_in(table, "modulus")
        assert np.array_equal(parts[f"pixels_{sign}"],
                              np.histogram(mine, np.log10(edges / factor))[0])  # fmt: skip
    ratios = column(table, "to") / column(table, "from")
    assert np.allclose(ratios, ratios[0])
    axes = figure.subfigs[0].axes[0]
    assert {"A", "B"} <= {text.get_text() for text in axes.texts}
    dashes = {str(one.get_linestyle()) for one in axes.patches[2:]}
    assert len(dashes) >= 2  # not by colour alone
    pure = sum(found.composition.pixels(k, pure=True).astype(bool) for k in (0, 1))
    near = np.count_nonzero(used & (labels >= 0) & ~pure)
    assert f"{near} of their pixels lie near a boundary" in drawn.caption
    # the rule is asked within components: else the distance between them counts as a spread
    widths = [np.diff(np.histogram_bin_edges(np.log10(values[used & (labels == k)]), "fd"))[0]
              for k in (0, 1)]  # fmt: skip
    assert np.log10(ratios[0]) == pytest.approx(max(widths), rel=0.05)


def unit_in(table, channel):
    """Unit of a table's first column and its factor from the core unit."""
    from palpate.core.units import parse_unit

    unit = table.columns[0][1]
    return unit, parse_unit(CHANNELS[channel].unit)[1] / parse_unit(unit)[1]


def test_a_value_far_out_does_not_flatten_the_histogram():
    rng = np.random.default_rng(3)
    x = np.append(rng.normal(1.0, 0.1, 2000), 1e6)
    edges, rule = edges_of(x, (), 0)
    assert edges.size <= 121
    assert edges[-1] < 3.0
    assert "Freedman" in rule
    for odd in (np.full(9, 3.5), np.array([2.0]), np.zeros(4), np.array([-1e-300, 1e-300])):
        edges, _ = edges_of(odd, (), 0)
        assert (np.diff(edges) > 0.0).all()
        assert np.histogram(odd, edges)[0].sum() == odd.size


def test_what_is_not_counted_is_counted_by_reason(found):
    values = found.analysis.channel("adhesion")
    some = counted(found, [(np.where(values > 7.0, values, np.nan), False)], True)
    every = counted(found, [(values - 7.0, True)], False)
    assert some.number + sum(some.left.values()) == SHAPE[0] * SHAPE[1]
    assert some.left["left out by hand"] == 2
    assert every.number == np.count_nonzero(values > 7.0)


# ---- two channels


def test_a_joint_histogram_counts_as_numpy_does(found):
    figure, drawn = on_paper(Panel("joint", options=JointOptions(bins=20)), found)
    table, outlines = drawn.tables
    (image,) = figure.subfigs[0].axes[0].images
    x0, x1, y0, y1 = image.get_extent()  # of log₁₀ across
    x, y = 10.0 ** np.linspace(x0, x1, 21), np.linspace(y0, y1, 21)
    at_x = np.abs(x[:, None] - column(table, "reduced_modulus_from")).argmin(0)
    at_y = np.abs(y[:, None] - column(table, "adhesion_from")).argmin(0)
    assert np.allclose(x[at_x], column(table, "reduced_modulus_from"))
    counts = np.zeros((20, 20), int)
    counts[at_y, at_x] = column(table, "pixels")
    picture = image.get_array()
    factor = picture.shape[0] // 20
    assert picture.shape == (20 * factor, 20 * factor, 3)
    small = np.asarray(picture[factor // 2 :: factor, factor // 2 :: factor])
    assert np.array_equal(np.kron(small, np.ones((factor, factor, 1))), picture)  # never blurred
    assert np.array_equal((small == 255).all(2), counts == 0)
    bar = figure.subfigs[0].axes[2].collections[-1]
    colours = (255 * bar.cmap(bar.norm(counts[counts > 0]))[:, :3]).round()
    assert np.abs(small[counts > 0] - colours).max() <= 1
    used = found.analysis.trusted
    modulus, adhesion = (found.analysis.channel(n)[used] for n in ("reduced_modulus", "adhesion"))
    good = np.isfinite(modulus) & np.isfinite(adhesion)
    scale = 1.0 if table.columns[0][1] == "GPa" else 1000.0
    edges = [np.append(column(table, f"{n}_from"), column(table, f"{n}_to")) for n in
             ("adhesion", "reduced_modulus")]  # fmt: skip
    assert all(np.isfinite(one).all() for one in edges)
    truth = np.histogram2d(adhesion[good], scale * modulus[good], (y, x))[0]
    assert np.array_equal(truth, counts)
    beyond = int(np.sum(((adhesion < y[0]) | (adhesion > y[-1]) | (scale * modulus < x[0])
                         | (scale * modulus > x[-1])) & good))  # fmt: skip
    assert counts.sum() == good.sum() - beyond
    assert f"n = {good.sum() - beyond:,} pixels" in drawn.caption
    assert ("beyond the ends of the axes" in drawn.caption) == (beyond > 0)
    assert f"{beyond} beyond the ends" in drawn.caption or not beyond
    assert "a normal distribution with the mean and the covariance" in drawn.caption
    assert set(column(outlines, "component")) == {"A", "B"}


def test_an_outline_holds_its_share_of_a_normal_distribution(found):
    from scipy.stats import chi2

    _, drawn = on_paper(Panel("joint"), found)
    outlines = named(drawn, "outlines")
    mine = (column(outlines, "component") == "B") & (column(outlines, "share") == 0.95)
    factor = 1.0 if outlines.columns[2][1] == "GPa" else 1000.0
    points = np.stack([np.log10(column(outlines, "reduced_modulus")[mine] / factor),
                       column(outlines, "adhesion")[mine]], 1)  # fmt: skip
    model = found.composition.model
    order = np.argsort(model.means[:, 0])
    mean, inverse = model.means[order[1]], np.linalg.inv(model.covariances[order[1]])
    distance = np.einsum("ij,jk,ik->i", points - mean, inverse, points - mean)
    assert np.allclose(distance, chi2.ppf(0.95, 2), rtol=1e-6)  # squared Mahalanobis distance


def test_an_axis_is_logarithmic_only_where_all_values_are_positive(found):
    panel = Panel("joint", options=JointOptions(x="height", y="modulus", log_x=True, log_y=True))
    figure, drawn = on_paper(panel, found)
    axes = figure.subfigs[0].axes[1]
    assert (axes.get_xscale(), axes.get_yscale()) == ("linear", "log")
    assert "height on a linear axis, since not all values are above zero" in drawn.caption


# ---- profiles


def test_a_profile_reads_the_map_and_finds_the_border(found):
    panel = Panel("profile", options=ProfileOptions(channel="adhesion", second="modulus"))
    figure, drawn = on_paper(panel, found)
    upper, lower = figure.subfigs[0].axes
    table = named(drawn, "profile")
    for axes, name in ((upper, "adhesion"), (lower, "modulus")):
        x, y = axes.lines[0].get_data()
        assert np.array_equal(x, column(table, "distance"))
        assert np.array_equal(y, column(table, name), equal_nan=True)
    nm = {"nm": 1.0, "µm": 1000.0}[table.columns[0][1]]
    at = int(np.argmin(np.abs(nm * column(table, "distance") - 200.0)))
    inside = np.abs(found.map.y - 475.0) < 200.0
    col = int(np.argmin(np.abs(found.map.x - nm * column(table, "x")[at])))
    values = np.where(found.analysis.trusted, found.analysis.channel("adhesion"), np.nan)
    assert column(table, "adhesion")[at] == pytest.approx(np.nanmean(values[inside, col]), rel=0.02)
    edge = named(drawn, "edge")
    position = column(edge, "value")[list(column(edge, "quantity")).index("position")]
    pitch = found.map.x[1] - found.map.x[0]
    assert nm * position == pytest.approx(BORDER - 100.0, abs=pitch)
    assert list(column(table, "component")[[0, -1]]) == ["A", "B"]
    assert "“Across”" in drawn.caption


# ---- tables


def texts_of(figure):
    return [text.get_text() for axes in figure.subfigs[0].axes for text in axes.texts]


def test_the_table_of_components_holds_medians_of_the_pure_pixels(found):
    figure, drawn = on_paper(Panel("table"), found, 120.0)
    (table,) = drawn.tables
    factor = 1.0 if {n: u for n, u, _ in table.columns}["reduced_modulus"] == "GPa" else 1e3
    for k in (0, 1):
        pure = found.composition.pixels(k, pure=True)
        median = np.median(found.analysis.channel("reduced_modulus")[pure])
        assert column(table, "reduced_modulus")[k] == pytest.approx(factor * median, rel=1e-3)
        share = 100.0 * found.composition.pixels(k).sum() / found.composition.labelled.sum()
        assert column(table, "area")[k] == pytest.approx(share, rel=1e-9)
        value, error = (column(table, n)[k] for n in ("reduced_modulus",
                                                      "reduced_modulus_uncertainty"))  # fmt: skip
        places = max(0, 1 - math.floor(math.log10(error)))
        assert f"{value:.{places}f} ± {error:.{places}f}" in texts_of(figure)


def test_calibration_and_doubts_stand_in_tables(found):
    figure, drawn = on_paper(Panel("table", options=TableOptions(what="calibration")), found, 120.0)
    said = " ".join(texts_of(figure))
    assert "2 N/m" in said or "2.00" in said
    assert "paraboloid" in said
    assert "10 to 95 % of the peak force" in said
    assert "Contact point" in texts_of(figure)
    settings = Settings().with_values({"fit.adhesion": "two_point", "fit.pull_off": "fitted",
                                       "doubts.worst_fall": 5.0})  # fmt: skip
    other = replace(found, analysis=replace(found.analysis, settings=settings))
    rows = {row[0]: row[1] for row in calibration(other, TableOptions()).rows}
    assert rows["Fitted branch"] == "retract"  # two-point JKR reads the retract
    assert rows["Fit window"] == "release to a third of the largest pull above zero force"
    assert "5" in rows[declaration("doubts.worst_fall").metadata["label"]]
    assert not {"Contact point", "Pull-off force"} & set(rows)
    figure, drawn = on_paper(Panel("table", options=TableOptions(what="doubts")), found, 120.0)
    (table,) = drawn.tables
    rows = dict(zip(column(table, "what"), column(table, "curves"), strict=True))
    assert rows["Pixels in use"] == found.analysis.trusted.sum()
    assert rows["Left out by hand"] == 2
    for name, number in found.analysis.doubt_counts().items():
        words = name.replace("_", " ")
        assert rows[words[0].upper() + words[1:]] == number


def test_a_table_too_large_for_its_panel_is_cut_and_told(found):
    panel = Panel("table", options=TableOptions(what="calibration"))
    figure, drawn = on_paper(panel, found, 120.0, 14.0)
    assert "did not fit: make the panel higher" in drawn.remarks[0]
    assert any(text.startswith("and ") for text in texts_of(figure))
    for size, said in (((30.0, 40.0), "too wide"), ((120.0, 4.0), "too high")):
        with pytest.raises(PanelError) as caught:
            on_paper(panel if size[0] > 100 else Panel("table"), found, *size)
        assert said in str(caught.value)


# ---- all


def shown_texts(figure):
    """All texts but those of ticks beyond the ends of their axis, which are not drawn."""
    (sub,) = figure.subfigs
    found = [text for one in sub.legends for text in one.get_texts()]
    for axes in sub.axes:
        found += axes.texts
        for axis in (axes.xaxis, axes.yaxis):
            found.append(axis.label)
            low, high = sorted(axis.get_view_interval())
            found += [tick.label1 for tick in axis.get_major_ticks()
                      if low <= tick.get_loc() <= high and tick.label1.get_visible()]  # fmt: skip
    return [text for text in found if text.get_text().strip()]


def test_the_words_of_an_example_name_what_was_judged(found):
    """Without a tip radius there is no modulus, so stiffness is what a typical pixel is typical
    in."""
    def channel(name):
        values = found.analysis.channel(name)
        return np.full_like(values, np.nan) if name == "reduced_modulus" else values

    analysis = SimpleNamespace(trusted=found.analysis.trusted, channel=channel)
    bare = SimpleNamespace(analysis=analysis, map=found.map, composition=None)
    assert pick(bare, "typical").words == "typical: stiffness and adhesion nearest to their medians"


EACH = (Panel("map", options=MapOptions(axes=True)), Panel("components"), Panel("doubts"),
        Panel("curve", options=CurveOptions(residuals=True)),
        Panel("histogram", options=HistogramOptions(log=True)), Panel("joint"),
        Panel("profile", options=ProfileOptions(second="adhesion")), Panel("evidence"),
        Panel("table"), Panel("table", options=TableOptions(what="doubts")))  # fmt: skip


def with_evidence(findings):
    """With a doubt about the map: this one has none."""
    at = np.arange(20.0)
    plot = Plot("Modulus against the line of the scan", "Line", "Modulus (GPa)", at, at, 0.1 * at,
                at, at)  # fmt: skip
    other = replace(findings)
    other.__dict__["map_doubts"] = (MapDoubt("tip_changed", "mild", "It did.", 1.0, 0.1, 0.5, "",
                                             "Look.", Evidence((plot,))),)  # fmt: skip
    return other


@pytest.mark.parametrize("preset", ["rsc", "aps", "slide"])
def test_every_kind_stays_on_the_page_at_single_width(found, monkeypatch, preset):
    """By Matplotlib's own box around all that is drawn. The most and the fewest letters across,
    units behind a solidus, and the thickest least line; other presets lie between."""
    assert {one.kind for one in EACH} == set(KINDS)
    rules = replace(PRESETS[preset], max_height=0.0)  # each as high as it wants to be
    monkeypatch.setitem(PRESETS, preset, rules)
    panels = tuple(replace(one, row=at) for at, one in enumerate(EACH))
    drawn = draw_sheet(Sheet(preset=preset, width="single", panels=panels),
                       with_evidence(found))  # fmt: skip
    assert not [one.problem for one in drawn.panels if one.problem]
    seen = clashes(drawn)
    assert not seen.touching
    assert not seen.cut
    box, size = drawn.figure.get_tightbbox(), drawn.figure.get_size_inches()
    slack = 0.5 / 72.0
    assert min(box.x0, box.y0) >= -slack
    assert box.x1 <= size[0] + slack
    assert box.y1 <= size[1] + slack
    assert min(lines_of(drawn.figure)) >= rules.line_min
    assert not any("shortened" in words or "was cut" in words for words in drawn.remarks)


@pytest.mark.parametrize("width", [42.0, 89.0])
def test_no_text_is_smaller_than_the_rule_or_leaves_its_panel(found, width):
    style = Style()
    for panel in (Panel("curve", options=CurveOptions(residuals=True)), Panel("histogram"),
                  Panel("histogram", options=HistogramOptions(log=True)), Panel("joint"),
                  Panel("profile", options=ProfileOptions(second="adhesion")),
                  Panel("table", options=TableOptions(what="doubts"))):  # fmt: skip
        if panel.kind == "table" and width < 60.0:
            continue  # too wide, and told
        figure, _ = on_paper(panel, found, width, 55.0)
        box, texts = figure.bbox, shown_texts(figure)
        for text in texts:
            extent = text.get_window_extent()
            assert text.get_fontsize() >= style.small, text
            out = (box.x0 - extent.x0, extent.x1 - box.x1, box.y0 - extent.y0,
                   extent.y1 - box.y1)  # fmt: skip
            assert max(out) < 1.0, (panel.kind, text)
        assert len(texts) > 5


def test_the_look_is_that_of_the_window():
    from palpate.app.theme import LIGHT
    from palpate.core.figures import look

    for mine, theirs in (("APPROACH", "approach"), ("RETRACT", "retract"), ("ADHESION", "adhesion"),
                         ("ACCENT", "accent"), ("INK", "ink"), ("MUTED", "muted"),
                         ("FAINT", "faint")):  # fmt: skip
        assert getattr(look, mine) == getattr(LIGHT, theirs)
