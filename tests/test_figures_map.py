"""Maps on paper: limits by NumPy's percentiles, what is clipped told, pixels never blurred."""

from __future__ import annotations

import math
import warnings
from dataclasses import replace

import numpy as np
import pytest
from figures_data import BY_HAND, GAPS, SHAPE, found, map_sheet, with_places

from palpate.core import colours, figures
from palpate.core.channels import CHANNELS
from palpate.core.errors import InputError
from palpate.core.figures import colouring, draw_map, mapframe, pixels
from palpate.core.figures.parts import PanelError, Style
from palpate.core.places import OfComponent, Places, Polygon, Profile, Rectangle, Region
from palpate.core.sheets import ComponentOptions, MapOptions, Panel, Sheet


def seen(**options):
    return draw_map.shown(Panel("map", options=MapOptions(**options)), found(), Style())


def used(name="modulus"):
    values = found().analysis.channel(name)
    return values[found().analysis.trusted & np.isfinite(values)]


def texts(drawn):
    from matplotlib.text import Text

    return [t.get_text() for t in drawn.figure.findobj(Text) if t.get_text()]


# ---- numbers


def test_robust_limits_and_clipped_shares_are_those_of_numpy():
    shown, values = seen(), used()
    low, high = np.percentile(values, [2.0, 98.0])
    assert (shown.scale.low, shown.scale.high) == (low, high)
    assert shown.scale.below == np.mean(values < low) > 0.0
    assert shown.scale.above == np.mean(values > high) > 0.0
    words = shown.scale.words
    assert f"from {low:.2f} to {high:.2f} GPa (2nd to 98th percentile)" in words
    assert f"{100 * np.mean(values < low):.1f} % below" in words
    full = seen(limits="full").scale
    assert (full.low, full.high, full.below, full.above) == (values.min(), values.max(), 0.0, 0.0)
    assert "%" not in full.words


def test_set_limits_units_and_logarithms():
    scale = seen(limits="set", low=0.2, high=1.0, unit="MPa").scale
    assert scale.unit == "MPa"
    assert scale.factor == pytest.approx(1000.0)
    assert "from 200 to 1000 MPa (set by hand)" in scale.words
    log = seen(scale="log", limits="full").scale
    assert log.place(np.array([math.sqrt(log.low * log.high)]))[0] == pytest.approx(0.5)
    assert log.words.startswith("logarithmic colour scale from")
    table = colours.table("viridis")
    index = scale.indices(np.array([0.0, 0.2, 0.61, 1.0, 9.0, np.nan]), len(table))
    assert list(index) == [0, 0, 131, 255, 255, -1]


def test_a_small_limit_beside_a_large_one_keeps_its_figures():
    scale = colouring.Scale(0.0571, 3.004, unit="GPa", rule="set by hand")
    assert "from 0.057 to 3.00 GPa" in scale.words


def test_a_signed_channel_is_centred_on_zero():
    scale = seen(channel="baseline_slope").scale
    low, high = np.percentile(used("baseline_slope"), [2.0, 98.0])
    assert -scale.low == scale.high == max(abs(low), abs(high))
    assert "symmetric about zero" in scale.words


def test_pixels_without_colour_are_counted_by_reason():
    analysis = found().analysis
    shown = seen()
    counts = shown.excluded.counts
    severe = int((analysis.severe & (analysis.map.index_map >= 0)).sum())
    by_hand = sum(not analysis.severe[at] for at in BY_HAND)
    assert counts["no curve"] == GAPS
    assert counts["left out"] == severe + by_hand
    assert f"{GAPS} without a curve" in shown.excluded.words
    assert "left out by hand" in shown.excluded.words
    everything = seen(trusted=False)
    assert "left out" not in everything.excluded.counts
    values = analysis.channel("modulus")
    kept = int((np.isfinite(values) & ~analysis.trusted).sum())
    assert everything.excluded.kept == kept > 0
    frame = mapframe.lay(everything.grid, mapframe.Needs(), Style(), 100.0)
    assert f"{kept} pixels that are not to be used" in draw_map.caption_of(everything, frame)
    only = np.where(analysis.trusted, np.nan, everything.values)
    words = draw_map.caption_of(replace(everything, values=only), frame)
    assert "none of the pixels that are drawn is to be used" in words
    assert np.isfinite(shown.values).sum() + sum(counts.values()) == math.prod(SHAPE)


@pytest.mark.parametrize(("options", "words"), [
    (dict(channel="nothing"), "no channel “nothing”"),
    (dict(channel="drift"), "no value anywhere"),
    (dict(colours="rainbow"), "no colours “rainbow”"),
    (dict(unit="nN"), "is a pressure and can't be drawn in “nN”"),
    (dict(unit="lightyears"), "is not known"),
    (dict(limits="set", low=2.0, high=1.0), "has to be larger"),
    (dict(limits="set", low=0.0, high=1.0, scale="log"), "can't begin at 0"),
    (dict(channel="height", scale="log"), "no value above zero"),
])  # fmt: skip
def test_what_can_t_be_drawn_is_said(options, words):
    if options.get("channel") == "height":
        assert (used("height") < 0.0).all()
    with pytest.raises(PanelError, match=words):
        seen(**options)


def test_a_panel_that_fails_leaves_the_others():
    panels = (Panel("map", options=MapOptions(channel="nothing")), Panel("map", 0, 1))
    drawn = figures.draw_sheet(Sheet(panels=panels), found())
    assert "no channel" in drawn.panels[0].problem
    assert drawn.panels[1].caption
    assert any("Panel a: There is no channel" in words for words in drawn.remarks)
    assert any("There is no channel" in text for text in texts(drawn))
    assert drawn.caption.startswith("b, ")
    assert f"{SHAPE[1]} × {SHAPE[0]} pixels, not smoothed" in drawn.caption  # columns first
    alone = figures.draw_sheet(Sheet(panels=panels[:1]), found())
    assert "smoothed" not in alone.caption  # of nothing drawn


@pytest.mark.parametrize(("low", "high", "log", "wanted"), [
    (0.03, 1.68, False, ["0.5", "1.0", "1.5"]), (0.02, 30.0, True, ["0.1", "1", "10"]),
    (-49.0, -15.0, False, ["−40", "−30", "−20"]), (0.9, 1.6, True, ["1.0", "1.2", "1.4", "1.6"]),
])  # fmt: skip
def test_ticks_are_plain_round_numbers(low, high, log, wanted):
    scale = colouring.Scale(low, high, log)
    places, words = colouring.ticks(scale, 4)
    assert words == wanted
    assert all(0.0 <= place <= 1.0 for place in places)


@pytest.mark.parametrize("width", [0.7, 3.0, 48.0, 900.0, 2000.0, 77777.0])
def test_a_scale_bar_is_1_2_or_5_and_a_fifth_to_two_fifths_of_the_map(width):
    length = colouring.nice_length(width)
    assert f"{length:.0e}"[0] in "125"
    assert 0.15 < length / width < 0.41


def test_lengths_stand_in_the_unit_of_the_map():
    wide = mapframe.Grid(10, 10, 5000.0, 5000.0, 0.0, 0.0, True, False, False)
    assert mapframe.scale_bar(wide, 100.0).text == "1 µm"
    assert mapframe.scale_bar(replace(wide, width=900.0, height=900.0), 1.0).text == "200 nm"
    bare = replace(wide, width=40.0, height=40.0, scaled=False)
    assert mapframe.scale_bar(bare, 1.0).text == "10 pixels"


@pytest.mark.parametrize(("shape", "where"), [((1, 40), "below"), ((40, 1), "right"),
                                              ((3, 300), "below"), ((2, 2), "right")])  # fmt: skip
def test_maps_of_a_few_lines_keep_their_pixels_square_and_their_parts_inside(shape, where):
    from types import SimpleNamespace

    values = np.arange(math.prod(shape), dtype=float).reshape(shape)
    fmap = SimpleNamespace(shape=shape, has_scale=True, x=5.0 + 10.0 * np.arange(shape[1]),
                           y=5.0 + 10.0 * np.arange(shape[0]))  # fmt: skip
    grid = mapframe.grid_of(fmap)
    assert (grid.width, grid.height) == (10.0 * shape[1], 10.0 * shape[0])
    options, channel = MapOptions(), CHANNELS["modulus"]
    scale = colouring.scale_of(values, channel, options, {})
    one = draw_map.Shown(channel, values, pixels.Excluded({}), scale, colours.COLOURS["viridis"],
                         colours.table("viridis"), grid, options)  # fmt: skip
    for height in (0.0, 90.0):
        needs, frame = draw_map._framed(one, Style(), 150.0, height)
        assert needs.bar == where
        assert frame.across / shape[1] == pytest.approx(frame.up / shape[0])
        assert frame.bar[0] + frame.bar[2] <= 150.0
        assert frame.bottom + frame.up <= frame.height + 1e-6


def test_axes_that_fall_are_turned_with_their_pixels():
    from types import SimpleNamespace

    fmap = SimpleNamespace(shape=(2, 3), has_scale=True, x=np.array([5.0, 3.0, 1.0]),
                           y=np.array([10.0, 20.0]))  # fmt: skip
    grid = mapframe.grid_of(fmap)
    assert (grid.x, grid.width, grid.flip_x, grid.flip_y) == (0.0, 6.0, True, False)
    assert (grid.y, grid.height) == (5.0, 20.0)
    assert list(grid.upright(np.array([[1, 2, 3], [4, 5, 6]]))[0]) == [3, 2, 1]


def test_boundaries_run_along_pixel_edges():
    labels = np.array([[0, 0, 1], [0, 1, 1], [-1, 1, 1]])
    lines = {tuple(map(tuple, line)) for line in pixels.edge_lines(labels)}
    assert lines == {((2, 0), (2, 1)), ((1, 1), (1, 2)), ((1, 1), (2, 1))}


# ---- what is drawn


def test_map_pixels_are_table_colours_and_never_blurred():
    """Of the whole picture, inside the map only colours of the table and the greys of excluded
    pixels, in squares: each map pixel of one colour, where nothing is drawn over it."""
    drawn = figures.draw_sheet(map_sheet("nature", trusted=False), found())
    picture = figures.picture(drawn, 450)
    axes = next(a for sub in drawn.figure.subfigs for a in sub.axes if a.get_images())
    box = axes.get_window_extent().transformed(drawn.figure.transFigure.inverted())
    high, wide = picture.shape[:2]
    x0, x1 = round(box.x0 * wide) + 4, round(box.x1 * wide) - 4
    y0, y1 = round((1 - box.y1) * high) + 4, round((1 - box.y0) * high) - 4
    inside = picture[y0:y1, x0:x1, :3].reshape(-1, 3)
    known = {tuple(c) for c in colours.table("viridis")[:, :3].tolist()}
    known |= {pixels.LIGHT, pixels.DARK}
    packed = np.unique(inside.astype(np.uint32) @ (65536, 256, 1))
    assert {(c >> 16, c >> 8 & 255, c & 255) for c in packed.tolist()} <= known
    shown = seen(trusted=False)
    rows, cols = SHAPE
    middle = shown.grid.upright(shown.scale.indices(shown.values))
    for row, col in ((1, 1), (7, 9), (rows - 2, cols - 2)):
        x = round((box.x0 + (col + 0.5) / cols * box.width) * wide)
        y = round((1 - box.y0 - (row + 0.5) / rows * box.height) * high)
        square = picture[y - 6 : y + 7, x - 6 : x + 7, :3].reshape(-1, 3)
        assert (square == colours.table("viridis")[middle[row, col], :3]).all()


def test_all_that_is_asked_for_stands_on_the_panel():
    drawn = figures.draw_sheet(map_sheet("rsc", title="Blend"), found())
    said = texts(drawn)
    assert "(a)" in said
    assert "Blend" in said
    assert any(t.startswith("Young modulus / ") for t in said)
    assert f"no curve ({GAPS})" in said
    assert "200 nm" in said
    caption = drawn.caption
    for words in ("(a) map of Young modulus", "2nd to 98th percentile", "drawn in the end colours",
                  "hatched:", "left out by hand", "scale bar 200 nm", "not smoothed"):
        assert words in caption
    log = figures.draw_sheet(map_sheet(scale="log", scale_bar=False, bar="none"), found())
    assert "logarithmic colour scale" in log.caption
    assert "200 nm" not in texts(log)
    axes = figures.draw_sheet(map_sheet(axes=True, bar="below"), found())
    assert {"x (nm)", "y (nm)"} <= set(texts(axes))


def test_no_two_texts_touch_and_none_leaves_the_sheet():
    panels = (Panel("map", options=MapOptions(axes=True)),
              Panel("map", 0, 1, options=MapOptions(channel="adhesion", bar="below")),
              Panel("components", 1, 0), Panel("map", 1, 1, options=MapOptions(scale="log")))
    for preset, width in (("nature", "double"), ("aps", "double"), ("slide", "double"),
                          ("elsevier", 100.0)):
        drawn = figures.draw_sheet(Sheet(preset=preset, width=width, panels=panels), found())
        boxes = _text_boxes(drawn)
        sheet = drawn.figure.bbox
        for name, box in boxes:
            assert box.x0 >= -0.5, name
            assert box.y0 >= -0.5, name
            assert box.x1 <= sheet.x1 + 0.5, (preset, name)
            assert box.y1 <= sheet.y1 + 0.5, name
        for at, (name, box) in enumerate(boxes):
            for other, there in boxes[:at]:
                assert not box.overlaps(there), (preset, name, other)


def _text_boxes(drawn):
    from matplotlib.text import Text

    with figures.drawing.drawing_as(drawn.style):
        drawn.figure.draw_without_rendering()  # ticks lie where they lie only then
        renderer = drawn.figure.canvas.get_renderer()
        return [(t.get_text(), t.get_window_extent(renderer)) for t in drawn.figure.findobj(Text)
                if t.get_text().strip() and t.get_visible() and not t.get_bbox_patch()]  # fmt: skip


def test_maps_of_a_sheet_are_of_one_size_and_letters_stand_alike():
    panels = (Panel("map"), Panel("map", 0, 1, options=MapOptions(channel="baseline_slope")),
              Panel("components", 0, 2))  # fmt: skip
    drawn = figures.draw_sheet(Sheet(preset="nature", panels=panels), found())
    sizes = [a.get_position().size * s.bbox.size for s in drawn.figure.subfigs
             for a in s.axes if len(a.get_images()) == 1 and a.get_xlim()[1] == 900.0]  # fmt: skip
    assert len(sizes) == 3
    assert np.ptp(np.array(sizes), axis=0).max() < 0.01
    letters = [t for t in drawn.figure.texts if t.get_text() in "abc"]
    assert [t.get_text() for t in letters] == ["a", "b", "c"]
    assert len({round(t.get_position()[1], 9) for t in letters}) == 1
    for letter, box in zip(letters, drawn.boxes, strict=True):
        assert letter.get_position()[0] == pytest.approx(box[0])


def test_shared_limits_are_those_of_all_who_share_them():
    panels = tuple(Panel("map", 0, k, options=MapOptions(shared=True, limits=limits))
                   for k, limits in enumerate(("robust", "full")))  # fmt: skip
    drawn = figures.draw_sheet(Sheet(panels=panels), found())
    assert drawn.style.shared["modulus"] == (used().min(), used().max())
    words = "the widest of the panels' 2nd to 98th percentiles and smallest to largest values"
    assert words in drawn.panels[0].caption
    assert not any("typed" in one for one in drawn.remarks)
    typed = MapOptions(shared=True, limits="set", low=0.5, high=0.6)
    drawn = figures.draw_sheet(Sheet(panels=(panels[0], Panel("map", 0, 1, options=typed))),
                               found())  # fmt: skip
    low, high = np.percentile(used(), [2.0, 98.0])
    told = f"typed as 0.50 to 0.60 GPa and widened to {low:.2f} to {high:.2f} GPa"
    assert any(told in one for one in drawn.remarks), drawn.remarks


def test_places_and_boundaries_are_drawn_and_named():
    places = Places((Region("window", Rectangle(100, 100, 400, 300)),
                     Region("corner", Polygon(((500, 500), (800, 500), (700, 650)))),
                     Region("stiff part", OfComponent(1))),
                    (Profile("line", ((50.0, 350.0), (850.0, 350.0))),))  # fmt: skip
    drawn = figures.draw_sheet(map_sheet(places=True, boundaries=True), with_places(places))
    assert {"window", "corner", "stiff part", "line"} <= set(texts(drawn))
    assert "lines: boundaries of components" in drawn.caption
    bare = replace(found(), composition=None, table=None)
    told = figures.draw_sheet(map_sheet(places=True, boundaries=True), bare).remarks
    assert any("no boundaries" in words for words in told)
    assert any("no regions or profiles" in words for words in told)


def test_strange_signs_and_long_titles_are_drawn_and_told():
    """No sign starts a formula, whose exponents would be smaller than the rule."""
    places = Places((Region("$x^2$ 区", Rectangle(100, 100, 400, 300)),))
    title = "a title that is much too long for one column " * 3
    drawn = figures.draw_sheet(map_sheet(places=True, title=title), with_places(places))
    assert "$x^2$ □" in texts(drawn)
    assert any("No typeface here has “区”" in words for words in drawn.remarks)
    assert any("too long and was cut" in words for words in drawn.remarks)
    assert any(t.startswith("a title") and t.endswith("…") for t in texts(drawn))
    made = found().composition
    named = replace(made, rule=replace(made.rule, names=("区", "$a_b$")))
    with warnings.catch_warnings():  # a legend is measured, and Matplotlib warns of missing signs
        warnings.simplefilter("error")
        drawn = figures.draw_sheet(Sheet(panels=(Panel("histogram"),)),
                                   replace(found(), composition=named))  # fmt: skip
    keys = [t.get_text() for t in drawn.figure.subfigs[0].legends[0].get_texts()]
    assert keys[0].startswith("A □")
    assert any("No typeface here has “区”" in words for words in drawn.remarks)
    empty = figures.draw_sheet(Sheet(), found())
    assert (empty.panels, empty.boxes) == ((), ())


def test_components_carry_letters_names_and_areas():
    panel = Panel("components")
    drawn = figures.draw_sheet(Sheet(panels=(panel,)), found())
    said, share = texts(drawn), found().table.rows[1].share
    assert {"A", "B", "A soft", "B stiff"} <= set(said)
    area = next(t for t in said if t.startswith(f"{100 * share.fraction:.0f}"))
    assert "±" in area
    assert "B stiff" in drawn.caption
    assert "one standard error" in drawn.caption
    assert any(t.startswith("boundary zone (") for t in said)
    plain = Panel("components", options=ComponentOptions(zones=False, shares=False))
    said = texts(figures.draw_sheet(Sheet(panels=(plain,)), found()))
    assert not any("%" in t or "zone" in t for t in said)
    none = replace(found(), composition=None, table=None, notes=("No components: too few.",))
    assert "too few" in figures.draw_sheet(Sheet(panels=(panel,)), none).panels[0].problem


def test_the_numbers_behind_a_panel_are_the_analysis():
    drawn = figures.draw_sheet(map_sheet(), found())
    (table,) = drawn.panels[0].tables
    columns = {name: values for (name, _, _), values in zip(table.columns, table.values,
                                                            strict=True)}  # fmt: skip
    grid = columns["modulus"].reshape(SHAPE)
    assert np.array_equal(grid, found().analysis.channel("modulus"), equal_nan=True)
    assert (columns["state"] == "no curve").sum() == GAPS
    assert {n: u for n, u, _ in table.columns}["modulus"] == CHANNELS["modulus"].unit


def test_looks_of_a_picture():
    drawn = figures.draw_sheet(map_sheet(), found())
    plain = figures.picture(drawn, 60)
    assert plain.shape[1] == int(85.0 / 25.4 * 60)
    assert plain.dtype == np.uint8
    assert (plain[..., 3] == 255).all()
    grey = figures.picture(drawn, 60, "grey")
    assert (grey[..., 0] == grey[..., 2]).all()
    assert (figures.picture(drawn, 60, "deutan") != plain).any()
    with pytest.raises(InputError, match="one of colour, grey"):
        figures.picture(drawn, 60, "infrared")
    with pytest.raises(InputError, match="at most 20000"):
        figures.picture(drawn, 1e6)
