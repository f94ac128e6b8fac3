"""The report: its numbers against the analysis, both writers against each other, hostile texts, and
maps that lack things."""

from __future__ import annotations

import re
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from pypdf import PdfReader
from report_reading import bare, coarse, fonts_of, read_page

from palpate.core import report as rp
from palpate.core.components.rule import Rule
from palpate.core.corrections import reviewed
from palpate.core.decisions import Pixels, Review
from palpate.core.doubts import DOUBTS
from palpate.core.errors import Cancelled, WriteError
from palpate.core.figures import draw_sheet
from palpate.core.figures.draw_doubts import (
    CLEAR,
    IN_SPITE,
    MILD,
    OTHER,
    OUT,
    SEVERE,
    STATES,
    states_of,
)
from palpate.core.findings import examples, findings_of
from palpate.core.mapdoubts import Evidence, MapDoubt, Plot
from palpate.core.pipeline import analyse
from palpate.core.places import Places, Profile, Rectangle, Region
from palpate.core.progress import Progress
from palpate.core.report import compounds, doubting
from palpate.core.report.about import field_words
from palpate.core.report.faces import register, shown
from palpate.core.report.held import agrees
from palpate.core.report.html import POLICY
from palpate.core.report.parts import clean, texts_of
from palpate.core.report.style import CSS
from palpate.core.report.summary import believed, summary
from palpate.core.report.words import Draft, percent, with_unit
from palpate.core.settings import Settings
from palpate.core.sheets import EvidenceOptions, Panel, Sheet
from palpate.core.simulate import Lever, Material, Ramp, simulate_map
from palpate.core.uncertainty.montecarlo import MonteCarlo
from palpate.core.units import parse_unit
from palpate.core.work import Work

SOFT, STIFF = Material("soft", 0.06, 0.45, 9.0, 0.05, 0.03), Material("stiff", 1.2, 0.4, 5.0, 0.05)
HOSTILE = ("<script>alert(1)</script> & <b>bold</b> “quoted” \u202eturned\x07 \U0001f600 "
           "\u05e9\u05dc\u05d5\u05dd " + "verylongname" * 40)  # fmt: skip
NAME = "<u>soft</u> $\\frac{1}{ & \u05e9 \U0001f9ea " + "long" * 6
NOTE = "looked at it: <para> & <i>tip</i> ]]> &amp; \U0001f9ea"


def scene(shape=(16, 16), spoilt=0, **given):
    rows, cols = np.mgrid[: shape[0], : shape[1]]
    labels = np.where((rows - 8) ** 2 + (cols - 7) ** 2 <= 24, 0, 1)
    made = simulate_map(labels, (SOFT, STIFF), lever=Lever(2.0, 60.0, noise=0.06),
                        ramp=Ramp(travel=120.0, samples=160), scan_size=(1000.0, 1000.0),
                        seed=2)  # fmt: skip
    if spoilt:
        made.deflection[:spoilt] = np.random.default_rng(1).normal(0, 0.05, (spoilt, 2, 160))
    arrays = made.arrays(**given)
    from palpate.core.forcemap import ForceMap

    return lambda title: ForceMap.from_arrays(**arrays, title=title)


def analysed(fmap, work=None):
    work = work or Work()
    return findings_of(reviewed(analyse(fmap, work.settings), work.review), work)


@pytest.fixture(autouse=True, scope="module")
def _coarse():
    with coarse():
        yield


@pytest.fixture(scope="module")
def findings():
    """A map with a hostile title, some curves without contact, decisions, one setting changed."""
    fmap = scene(spoilt=3)(HOSTILE)
    out, kept = np.zeros(fmap.shape, bool), np.zeros(fmap.shape, bool)
    out[12, 3:8], kept[0, 1] = True, True
    review = (Review().leave_out(Pixels.of(out), NOTE, "A. N. Other <x@y>")
              .keep(Pixels.of(kept), "kept & told"))  # fmt: skip
    settings = Settings().with_value("fit.fraction_from", 12.0)
    rule = replace(Rule(), names=(NAME, ""))
    lines = Places((Region("left <half>", Rectangle(0.0, 0.0, 500.0, 1000.0)),),
                   (Profile("across & back", ((20.0, 500.0), (980.0, 500.0))),))  # fmt: skip
    return analysed(fmap, Work(settings, rule, review, lines))


@pytest.fixture(scope="module")
def report(findings):
    return rp.make(findings)


@pytest.fixture(scope="module")
def written(report, tmp_path_factory):
    folder = tmp_path_factory.mktemp("report")
    page = read_page(rp.write(folder / "a.html", report))
    return page, PdfReader(rp.write(folder / "a.pdf", report)), folder


def rows_of(report, caption):
    table = next(t for t in report.tables if t.caption.startswith(caption))
    heads = [column.head for column in table.columns]
    return {row[0]: dict(zip(heads, row, strict=True)) for row in table.rows}


# ---- numbers


def test_areas_and_medians_are_those_of_the_pixels(findings, report):
    composition, analysis = findings.composition, findings.analysis
    areas = rows_of(report, "How much of each")
    medians = rows_of(report, "How stiff and how sticky")
    labelled = np.count_nonzero(composition.labels >= 0)
    titles = f"A {clean(NAME)}", "B"
    assert set(areas) == set(titles)
    for k, sign in enumerate(titles):
        share = 100.0 * np.count_nonzero(composition.labels == k) / labelled
        assert float(areas[sign]["Area (%)"]) == pytest.approx(share, abs=0.051)
        assert int(areas[sign]["Pixels"]) == np.count_nonzero(composition.labels == k)
        pure = composition.pixels(k, pure=True)
        for name, told in (("modulus", "Young modulus E"), ("adhesion", "Adhesion F_ad")):
            head, row = next((h, r) for h, r in medians.items()
                             if h.startswith(told) and h.endswith(f", {sign}"))  # fmt: skip
            unit = parse_unit(re.search(r"\((.+?)\)", head).group(1))[1]
            values = analysis.channel(name)[pure]
            # robust medians of a log-normal quantity are medians of the logarithm: the same number
            shown_, error = (float(row[c].replace("−", "-")) for c in ("Median", "± local"))
            assert shown_ * unit == pytest.approx(np.nanmedian(values), abs=0.6 * error * unit)
            assert int(row["Pixels"]) == np.count_nonzero(np.isfinite(values))


def test_doubts_and_decisions_are_counted_as_they_are(findings, report):
    bits = findings.analysis.curve_doubts
    rows = rows_of(report, "Doubts about single curves")
    for name, doubt in DOUBTS.items():
        n = int(np.count_nonzero(bits & np.uint64(1 << doubt.bit)))
        assert (doubt.sentence in rows) == (n > 0), name
        if n:
            assert int(rows[doubt.sentence]["Curves"]) == n
            assert rows[doubt.sentence]["Severity"] == doubt.severity
    decided = rows_of(report, "What was decided")
    assert decided["1"]["Pixels"] == "5"
    assert decided["1"]["Decision"] == "leave out"
    assert decided["1"]["Note"] == clean(NOTE)
    assert decided["2"]["Decision"] == "keep"
    effects = rows_of(report, "Medians without and with")
    assert any(int(r["Pixels without"]) > int(r["Pixels with"]) for r in effects.values())


def test_a_region_counts_its_own_pixels(findings, report):
    rows = rows_of(report, "Regions of the map")
    head, row = next((h, r) for h, r in rows.items() if h.startswith("left <half>, Adhesion"))
    used = findings.analysis.trusted[:, :8]  # pixels 62.5 nm wide: the centres of eight columns
    values = findings.analysis.channel("adhesion")[:, :8][used]
    assert head.endswith("(nN)")
    assert (row["of"], int(row["Pixels used"])) == ("128", np.count_nonzero(np.isfinite(values)))
    assert float(row["Median"]) == pytest.approx(np.nanmedian(values), rel=1e-2)
    (profile,) = (f for f in report.figures if "across & back" in f.alt)
    assert profile.caption


def test_the_changed_setting_stands_out_and_the_checksums_are_there(findings, report):
    table = next(t for t in report.tables if t.caption == "All settings")
    assert [table.rows[at][0] for at in sorted(table.strong)] == ["fit.fraction_from"]
    facts = rows_of(report, "What was analysed")
    assert facts["SHA-256 of the map"]["Found"] == findings.map.checksum()
    assert facts["SHA-256 of the decisions"]["Found"] == findings.analysis.review.checksum
    assert re.fullmatch("[0-9a-f]{64}", facts["SHA-256 of the settings"]["Found"])


def test_the_budget_adds_up_in_squares(report):
    """JCGM 100:2008, 5.1.2: independent contributions add in squares."""
    table = next(t for t in report.tables if "what its ± is made of" in t.caption)
    kind = [column.title for column in table.columns].index("Kind")
    part = [column.title for column in table.columns].index("Contribution")
    shares = {row[0]: float(row[part].rstrip(" %")) for row in table.rows if row[part] != "–"}
    single = [shares[r[0]] for r in table.rows if r[kind] in ("local", "common") and r[0] in shares]
    assert np.hypot.reduce(single) == pytest.approx(shares["In all"], rel=0.06)  # two figures


def test_an_interval_holds_by_the_rule_of_jcgm_101():
    """JCGM 101:2008, 8.1 (from memory): d_low = |y - U - y_low| and d_high = |y + U - y_high| may
    not be above half a unit of the last digit of u(y), here of ln y with one digit."""
    def budget(total, low, high):
        trials = MonteCarlo(2.0, 2.0, 0.1, low, high, 50_000)
        return SimpleNamespace(total=total, monte_carlo=trials, interval=(
            2.0 * np.exp(-1.96 * total), 2.0 * np.exp(1.96 * total)))  # fmt: skip

    for total, half in ((0.32, 0.05), (0.096, 0.005), (0.013, 0.005)):
        low, high = budget(total, 1.0, 1.0).interval
        assert agrees(budget(total, low * np.exp(0.9 * half), high * np.exp(-0.9 * half)))
        assert not agrees(budget(total, low * np.exp(1.1 * half), high))
        assert not agrees(budget(total, low, high * np.exp(1.1 * half)))
    assert not agrees(budget(0.79, 0.9, np.inf))


def test_where_first_order_does_not_hold_the_monte_carlo_interval_is_told():
    """The reference is this test's own Monte Carlo of S = k m/(1 - m), the contact in series with
    the lever, with k and m log-normal (JCGM 101:2008, 7; from memory)."""
    hard = Material("hard", 2.0, 0.4, 5.0, 0.05)
    fmap = simulate_map(np.zeros((8, 8), int), (hard,), lever=Lever(2.0, 60.0, noise=0.06), seed=5,
                        scan_size=(500.0, 500.0), ramp=Ramp(travel=120.0, samples=160)).as_map()
    settings = Settings().with_values({"uncertainty.sensitivity": 2.5,
                                       "uncertainty.spring_constant": 10.0})  # fmt: skip
    draft = Draft(analysed(fmap, Work(settings)), Progress())
    found = rp.Report.of("t", "s", (), (compounds.components(draft),), author="", subject="",
                         made="", caution="")  # fmt: skip
    rows = rows_of(found, "How stiff and how sticky").items()
    row = next(r for head, r in rows if head.startswith("Contact stiffness"))

    k, middle = 2.0, float(row["Median"])
    rng = np.random.default_rng(7)
    lever, sensitive, own = (np.exp(rng.normal(0.0, e, 200_000)) for e in (
        0.1, 0.025, float(row["± local"]) / middle))
    slope = middle / (k + middle) * sensitive
    trials = np.where(slope < 1.0, own * lever * k * slope / (1.0 - slope), np.inf)
    low, high = np.quantile(trials, (0.025, 0.975), method="lower")
    ends = [float(end) for end in row["95 % in all, Monte Carlo"].split(" to ")]
    assert ends == pytest.approx([low, high], rel=0.05)
    first = 1.96 * float(row["± in all"].removesuffix(" †")) / middle
    assert high > 1.05 * middle * np.exp(first)  # so that the ± would have told too little
    assert row["± in all"].endswith("†")
    assert any("differ by more" in text for text in texts_in(summary(draft)))


def test_only_what_the_rule_left_out_is_counted_as_not_believed():
    fmap = scene((8, 8), spoilt=6)("kept")
    found = analysed(fmap)
    severe = np.argwhere(found.analysis.severe)
    assert len(severe) > 4
    out, kept = np.zeros(fmap.shape, bool), np.zeros(fmap.shape, bool)
    kept[tuple(severe[:3].T)] = True
    out[tuple(severe[3])] = True
    review = Review().keep(Pixels.of(kept), "", "").leave_out(Pixels.of(out), "", "")
    decided = findings_of(reviewed(found.analysis, review), Work(review=review))
    said = " ".join(believed(Draft(decided, Progress())))
    told = re.search(r"(\d+) pixels? (?:is|are) not believed", said)
    assert int(told[1]) == len(severe) - 4
    commonest = re.search(r"commonest, on (\d+) of them", said)
    assert commonest is None or int(commonest[1]) <= len(severe) - 4
    assert "1 pixel left out and 3 pixels kept in spite of doubts" in said


def test_numbers_are_written_as_they_are():
    assert percent(4081 / 4096) == "99.6 %"
    assert (percent(0.99996), percent(1.0), percent(0.5), percent(0.0037)) == (
        "99.996 %", "100 %", "50 %", "0.37 %")  # fmt: skip
    assert (with_unit(1.0, "samples"), with_unit(2.0, "samples")) == ("1 sample", "2 samples")
    assert with_unit(3.0, "of a suspicious run") == "3 × a suspicious run"
    wide = scene((4, 6))("wide")
    assert field_words(wide).startswith("6 × 4 pixels (columns × rows) over 1 × 1 µm, ")
    line = scene((1, 6))("line")
    assert "6 × 1 pixels (columns × rows) in one line, 166.7 nm apart" in field_words(line)


def test_areas_are_shares_of_what_is_labelled(findings):
    table = findings.table
    assert table.labelled < table.total
    draft = Draft(findings, Progress())
    said = " ".join(texts_in(summary(draft)))
    assert f"{table.total - table.labelled} pixels belong to no component" in said
    assert "of the labelled area" in said
    assert "of the area" not in said


# ---- the two files


def test_both_files_say_the_same(report, written):
    page, pdf, _ = written
    html = bare(" ".join(page.texts))
    around = [bare(shown(report.caution)), bare(shown(report.title))[:60]]
    text = bare(" ".join(one.extract_text() for one in pdf.pages))
    missing = {"html": [], "pdf": []}
    for words in report.texts():
        if bare(words) not in html:
            missing["html"].append(words)
        if not _in_pdf(words, text):
            missing["pdf"].append(words)
    assert missing == {"html": [], "pdf": []}
    assert around[0][:60] in text


def _in_pdf(words, text):
    """Whether each sentence is there; one may go over the end of a page, or be turned about where
    it holds letters from the right to the left."""
    if "\u05e9" in words:
        words = words.split("\U0001f600")[0]
    return all(bare(shown(part)) in text for part in re.split(r"(?<=[.;:,)]) ", words)) or all(
        bare(shown(part)) in text for part in words.split())  # fmt: skip


def test_the_page_needs_nothing_but_itself(report, written):
    page, _, folder = written
    text = (folder / "a.html").read_text(encoding="utf-8")
    assert [a["content"] for a in page.all("meta") if "http-equiv" in a] == [POLICY]
    assert "'none'" in POLICY
    assert page.all("script") == page.all("link") == page.all("iframe") == page.all("b") == []
    assert all(name[:2] != "on" for _, attrs in page.tags for name in attrs)
    assert all(value.startswith("data:image/png;base64,") for value in page.values("src"))
    ids = page.values("id")
    assert len(ids) == len(set(ids))
    assert all(value.startswith("#") and value[1:] in ids for value in page.values("href"))
    assert not re.search(r"@import|url\(|expression\(", page.style)
    outside = r"(?i)(src|href|srcset|action|data)\s*=\s*[\"']?\s*(https?:|//|file:)"
    assert not re.search(outside, text)
    assert len(page.all("img")) == len(report.figures) > 4


def test_the_page_can_be_read_without_seeing_it(report, written):
    page, _, _ = written
    assert page.all("html")[0]["lang"] == "en"
    assert all(len(image["alt"]) > 20 for image in page.all("img"))
    assert len(page.all("caption")) == len(page.all("table")) == len(report.tables)
    assert {a["scope"] for a in page.all("th")} == {"row", "col"}
    levels = [int(tag[1]) for tag, _ in page.tags if re.fullmatch("h[1-6]", tag)]
    assert levels.count(1) == 1
    assert levels[0] == 1
    assert all(b - a <= 1 for a, b in zip(levels, levels[1:], strict=False))


def luminance(colour):
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return np.dot(linear, (0.2126, 0.7152, 0.0722))


def test_text_stands_out_of_its_ground_in_light_and_dark():
    """WCAG 2.2, 1.4.3: a contrast of 4.5 at least; formula from its definitions of contrast ratio
    and relative luminance."""
    schemes = [dict(re.findall(r"--(\w+): (#[0-9a-f]{6})", part))
               for part in re.findall(r":root \{(.*?)\}", CSS, re.DOTALL)]  # fmt: skip
    assert len([s for s in schemes if "ink" in s]) >= 2
    for scheme in (s for s in schemes if {"ink", "paper", "band"} <= set(s)):
        for text in ("ink", "quiet", "link"):
            for ground in ("paper", "band"):
                one, other = sorted((luminance(scheme[text]), luminance(scheme[ground])))
                assert (other + 0.05) / (one + 0.05) >= 4.5, (text, ground)


def test_the_pdf_has_its_typeface_bookmarks_numbers_and_name(report, written):
    _, pdf, _ = written
    fonts = fonts_of(pdf)
    assert fonts
    assert all(kind in ("/TrueType", "/CIDFontType2") and embedded for _, kind, embedded in fonts)
    titles = [one.title for one in pdf.outline if not isinstance(one, list)]
    assert [t.split(" ", 1)[1] for t in titles[1:]] == [s.title for s in report.sections]
    assert pdf.metadata.title == report.title
    assert pdf.metadata.author.startswith("Palpate")
    width, height = (float(v) for v in pdf.pages[0].mediabox[2:])
    assert (width * 25.4 / 72, height * 25.4 / 72) == pytest.approx((210.0, 297.0), abs=0.1)
    for number, page in enumerate(pdf.pages, start=1):
        assert f"{number} / {len(pdf.pages)}" in page.extract_text()
    pictures = sum(len(page.images) for page in pdf.pages)
    assert pictures == len(report.figures)


# ---- what is only drawn here


def test_the_doubt_map_counts_each_pixel_once_and_as_it_is_used(findings):
    states = states_of(findings)
    analysis = findings.analysis
    used = np.isin(states, (CLEAR, MILD, IN_SPITE, OTHER))
    assert np.array_equal(used, analysis.trusted)
    assert np.count_nonzero(states == OUT) == 5
    assert states[0, 1] == IN_SPITE
    assert set(np.argwhere(states == SEVERE)[:, 0]) == {0}  # curves 0 and 2, without contact
    assert np.array_equal(states == CLEAR, (analysis.doubts == 0) & analysis.trusted)
    # what is used and what is not can be told apart without colour
    shades = {n: luminance(STATES[n].colour) for n in (CLEAR, MILD, SEVERE)}
    assert shades[CLEAR] - shades[MILD] > 0.2 < shades[MILD] - shades[SEVERE]


def test_a_doubt_about_the_map_is_told_with_its_evidence(findings):
    nothing = np.array([])
    plot = Plot("Modulus, row by row", "Row", "E* over that before", np.arange(6.0),
                np.array([1.0, 1.1, 0.9, 1.5, 1.6, 1.5]), np.full(6, 0.1), nothing, nothing)
    facts = {"Tip radius after over before": (2.25, 0.03, "")}
    doubt = MapDoubt("tip_changed", "severe", "From row 3 on all is 1.5 times as stiff.", 50.0, 2.0,
                     5.0, "%", "Look at the tip.", Evidence((plot,), facts))  # fmt: skip
    doubted = replace(findings)
    doubted.__dict__["map_doubts"] = (doubt,)
    draft = Draft(doubted, Progress())
    assert any("From row 3 on" in text for text in texts_in(summary(draft)))
    section = doubting.doubts(draft)
    told = texts_in(section)
    assert any("50.0 ± 2.0 %; threshold 5 %" in text and "Look at the tip" in text for text in told)
    assert "2.250 ± 0.030" in told
    picture = next(b for b in section.blocks if isinstance(b, rp.Figure))
    assert "Modulus, row by row" in picture.caption
    assert "Modulus, row by row" in picture.alt
    sheet = Sheet(panels=(Panel("evidence", options=EvidenceOptions(doubt="z_drift")),))
    assert "there are: tip_changed" in draw_sheet(sheet, doubted).panels[0].problem


def test_doubts_about_the_example_curves_are_told_once(findings, report):
    section = report.section("curves")
    table = next(t for t in report.tables if t.caption == "Doubts about these curves")
    carried = sum(len(findings.explain(one.row, one.col).doubts) for one in examples(findings))
    assert len(table.rows) == carried > 0
    captions = " ".join(b.caption for b in section.blocks if isinstance(b, rp.Figure))
    assert "the contact point" in captions
    for row in table.rows:
        assert row[3].rstrip(".") not in captions


def texts_in(section):
    return [text for block in section.blocks for text in texts_of(block)]


# ---- hostile texts


def test_hostile_texts_stay_texts(report, written):
    page, pdf, _ = written
    assert page.all("script") == []
    assert page.all("title") == [{}]
    title = clean(HOSTILE)
    assert "\u202e" not in title
    assert "\x07" not in title
    assert title in page.texts  # as it is: angle brackets, emoji and all
    assert len(page.texts[0]) <= 120  # the headline is cut, the table of facts is not
    text = bare(" ".join(one.extract_text() for one in pdf.pages))
    assert "<script>alert(1)</script>&<b>bold</b>" in text
    assert bare(shown(NOTE)) in text
    assert "‹U+1F9EA›" in shown(NOTE)
    assert ord("δ") in register()
    assert max(register()) <= 0xFFFF  # else the file's table of characters has halves of bytes
    # letters from the right to the left stand in the order in which they are seen
    assert shown("ab \u05e9\u05dc 12") == "ab \u05dc\u05e9 12"


def test_texts_are_cut_only_where_it_is_told():
    long = "x" * 10_000
    assert clean(long).endswith("(cut: 10,000 characters)")
    assert list(texts_of(rp.Note("a\ud800b"))) == ["a\ud800b"]
    made = rp.Report.of("t", "s", (rp.Note("a\ud800b\nc"),), (), author="", subject="", made="",
                        caution="")  # fmt: skip
    assert list(made.texts())[-1] == "a?b c"


def test_a_cell_longer_than_a_page_is_carried_over(tmp_path):
    words = " ".join(f"word{n}" for n in range(500))
    table = rp.Table("long", (rp.Column("one"), rp.Column("two")), (("a", words), ("b", words)))
    made = rp.Report.of("t", "s", (table,), (), author="", subject="", made="", caution="")
    pdf = PdfReader(rp.write_pdf(tmp_path / "a.pdf", made))
    text = " ".join(page.extract_text() for page in pdf.pages)
    assert len(re.findall(r"word\d+", text)) == 1000


# ---- stopping, and places that can't be written to


def test_it_tells_how_far_it_is_and_can_be_stopped_at_each_step(findings):
    told = []
    watched = Progress(lambda done, total, words: told.append((done, total, words)))
    with coarse(panels=0):
        rp.make(findings, watched)
    assert [done for done, _, _ in told] == list(range(told[0][1]))  # each once, none back
    assert told[1][2] == "Report: maps"
    stopped = Progress(lambda done, total, words: stopped.cancel() if done == 1 else None)
    with pytest.raises(Cancelled):  # within the maps
        rp.make(findings, stopped)


def test_stopping_leaves_nothing_behind(findings, report, tmp_path):
    stopped = Progress()
    stopped.cancel()
    with pytest.raises(Cancelled):
        rp.make(findings, stopped)
    for name in ("a.html", "a.pdf"):
        with pytest.raises(Cancelled):
            rp.write(tmp_path / name, report, stopped)
        assert list(tmp_path.iterdir()) == []
    old = tmp_path / "a.pdf"
    old.write_text("old")
    with pytest.raises(Cancelled):
        rp.write(old, report, stopped)
    assert [(p.name, p.read_text()) for p in tmp_path.iterdir()] == [("a.pdf", "old")]


def test_places_that_cannot_be_are_told(report, tmp_path):
    with pytest.raises(WriteError, match=r"\.html or as \.pdf"):
        rp.write(tmp_path / "a.doc", report)
    with pytest.raises(WriteError, match="no folder"):
        rp.write(tmp_path / "none" / "a.html", report)


# ---- maps that lack things


@pytest.mark.parametrize(("lacking", "told"), [
    ("components", "No components"),
    ("spring constant", "No spring constant (N/m)"),
    ("all but one pixel", "1 × 1"),
    ("all but one line", "What could not be judged of the map as a whole: "),
    ("every contact", "not believed"),
])  # fmt: skip
def test_a_map_that_lacks_much_still_has_its_report(lacking, told, tmp_path):
    work = Work()
    if lacking == "components":
        fmap = scene((8, 8))("plain")
        work = replace(work, rule=replace(work.rule, method="thresholds", thresholds=()))
        found = analysed(fmap, work)
        found = replace(found, composition=None, table=None, pairs=(),
                        notes=("No components: none are wanted.",))  # fmt: skip
    elif lacking == "spring constant":
        found = analysed(scene((8, 8), calibrated=False)("without"))
    elif lacking == "all but one line":
        found = analysed(scene((1, 8))("line"))
    elif lacking == "all but one pixel":
        found = analysed(scene((1, 1))("one"))
    else:
        found = analysed(scene((8, 8), spoilt=64)("spoilt"))
    with coarse(panels=1 if lacking in ("components", "all but one line") else None):
        made = rp.make(found)
    said = " ".join(made.texts())
    assert told in said
    assert not re.search(r"\bnan\b|\binf\b", said)
    page = read_page(rp.write(tmp_path / "a.html", made))
    pdf = PdfReader(rp.write(tmp_path / "a.pdf", made))
    assert len(page.all("section")) == len(made.sections)
    assert len(pdf.pages) > 3
