"""The methods paragraph: complete, true to what was done, and with visible gaps for the rest.

What a reviewer expects is listed after Butt, Cappella & Kappl, Surf. Sci. Rep. 59 (2005) 1 and
Schillers et al., Sci. Rep. 7 (2017) 5117 (both from memory).
"""

from __future__ import annotations

import re
from dataclasses import replace
from html.parser import HTMLParser
from typing import Any

import numpy as np
import pytest

from palpate.core import simulate
from palpate.core.calibration import constants
from palpate.core.channels import CHANNELS
from palpate.core.components.rule import Axis, EndMember, Gate, Rule
from palpate.core.corrections import reviewed
from palpate.core.decisions import Pixels, Review
from palpate.core.doubts import DOUBTS, SEVERE
from palpate.core.errors import SettingsError
from palpate.core.findings import Findings, findings_of
from palpate.core.forcemap import Constant, ForceMap
from palpate.core.methods import ITEMS, SILENT, TOLD, Paragraph, bibtex, paragraph, table_text
from palpate.core.methods.belief import MARKS, PHRASES
from palpate.core.methods.references import OF_ADHESION, OF_CONTACT, OF_LAW, REFERENCES
from palpate.core.pipeline import analyse
from palpate.core.settings import ADHESIONS, SHAPES, Settings, declarations
from palpate.core.surface.levelling import Levelling
from palpate.core.work import Answers, Work, as_parts, change_of, changed, from_parts
from palpate.core.workfile import Beside, load_analysis, save_analysis

SIZE, SAMPLES = 20, 256


@pytest.fixture(scope="module")
def made() -> simulate.Simulated:
    return simulate.ski_boot(SIZE, samples=SAMPLES)


@pytest.fixture(scope="module")
def fmap(made: simulate.Simulated) -> ForceMap:
    given = made.arrays() | {
        "spring_constant": Constant(2.5, "N/m", 0.125, "thermal noise"), "medium": "air",
        "temperature": Constant(296.15, "K", 0.5),
    }  # fmt: skip
    return ForceMap.from_arrays(**given)


@pytest.fixture(scope="module")
def findings(fmap: ForceMap) -> Findings:
    found = findings_of(analyse(fmap, Settings()), Work())
    assert found.composition is not None
    return found


@pytest.fixture(scope="module")
def written(findings: Findings) -> Paragraph:
    return paragraph(findings)


def under(findings: Findings, **values: Any) -> Findings:
    """The findings as if the map had been analysed under other settings: constants are those of
    the settings, the tables of the stages stay. For what a setting is called in its item; sentences
    that tell results are tested on maps analysed anew, below."""
    changed = {path.replace("__", "."): value for path, value in values.items()}
    settings = Settings().with_values(changed)
    analysis = replace(findings.analysis, settings=settings, _cache={},
                       constants=constants(findings.map, settings))  # fmt: skip
    found = replace(findings, analysis=analysis, work=replace(findings.work, settings=settings))
    found.__dict__["judged"] = findings.judged
    return found


# ---- complete

EXPECTED = {
    "model and equation": "F = (4/3) E* √R δ^(3/2) - F_r; F is the force, δ the indentation",
    "adhesion treatment": "Adhesion entered as a constant pull (DMT)",
    "tip shape and radius": "paraboloid with a radius of 16 nm (standard uncertainty 20 %",
    "how the tip was found": "[… how were the shape and size of the tip found",
    "tip checked again": "[… was the tip checked again",
    "spring constant": "spring constant was 2.5 N/m (standard uncertainty 5 %, as recorded)",
    "how the spring constant was found": "found by “thermal noise” (as recorded)",
    "sensitivity": "deflection sensitivity was 58 nm/V (standard uncertainty 4 %",
    "how and on what the sensitivity was found": "[… how, and on which stiff sample",
    "tilt": "[… was the tilt of the lever corrected for",
    "Poisson ratio assumed": "ν = 0.4 (standard uncertainty 0.05) was assumed, not measured",
    "E or E*": "The reduced modulus E* is given, and Young's modulus E by E = E*(1 - ν²)",
    "segment": "The law was fitted to the approach",
    "window": r"fit window was given as 10 to 95 % of the peak force; it came to [\d.]+ to [\d.]+ "
    r"nN \([\d.]+ to [\d.]+ % of the peak force\) and [\d.]+ to [\d.]+ nm of indentation",
    "contact point": "The contact point was fitted with the law",
    "baseline": "As baseline a straight line (offset and slope, the virtual deflection)",
    "depth": "The indentation at the peak force was",
    "depth over radius": "Over the tip radius it was",
    "thickness": "[… how thick is the sample or film? …]",
    "speed": r"approach and retract at [\d.]+ µm/s",
    "rate": "[… how many curves a second? …]",
    "set point": "set force of 35.0 nN",
    "dwell": "No dwell at the turn is recorded",
    "medium": "in air at 23.00 ± 0.50 °C",
    "humidity": "[… at which relative humidity? …]",
    "map size": "One map of 20 × 20 pixels (columns × rows, counted from 0, row 0 at the bottom) "
    "over 3.00 µm × 3.00 µm",
    "curves": "400 curves",
    "left out": r"Of 400 curves \d+ \([\d.]+ %\) were left out",
    "rule": "The rule, the same for all pixels, left out each curve with one of these",
    "where": r"They lie in \d+ places",
    "statistics": "medians with quartiles",
    "not independent": "Neighbouring pixels are alike and not independent samples",
    "number of maps": "[… how many maps, places and samples were measured? …]",
    "goodness": r"root mean square residual of the fits was [\d.]+ \(quartiles",
    "calibration repeated": "[… were spring constant and sensitivity measured again afterwards",
    "software": r"Palpate \d+\.\d+",
    "settings": r"settings \(all at their defaults; SHA-256 [0-9a-f]{12}…\)",
    "repository": "[… where can the data and the result file be had? …]",
    "instrument": "[… with which instrument and scanner? …]",
}
"""What a reviewer expects -> how it stands in the text of this map: known, or a gap."""


@pytest.mark.parametrize("what", EXPECTED)
def test_what_a_reviewer_expects_is_told_or_a_gap(written, what):
    wanted = EXPECTED[what]
    pattern = wanted if "\\" in wanted else re.escape(wanted)
    assert re.search(pattern, written.text), what


def test_every_item_is_written_and_nothing_stands_there_as_a_placeholder(written):
    told = [part.item for part in written.parts]
    assert told == [item.name for item in ITEMS if item.name != "places"]  # none are there
    assert not re.search(r"\b(nan|None|inf)\b|\{|\}|  ", written.text)
    assert all(row.said.endswith(".") for row in written.items)


def test_figures_are_those_of_the_simulated_measurement(written, findings, made):
    """Travel, samples and rate are what the simulator was told; the indentation is its truth."""
    speed = made.ramp.travel / (made.ramp.samples - 1) * made.ramp.rate / 1e3  # µm/s
    assert f"approach and retract at {speed:.3g} µm/s" in written.said("ramp")
    told = re.search(r"was ([\d.]+) nm \(median", written.said("validity"))
    truth = np.median(made.truth["indentation"][findings.analysis.trusted])
    assert told
    assert float(told[1]) == pytest.approx(truth, rel=0.03)
    ends = re.search(r"came to ([\d.]+) to ([\d.]+) nN", written.said("window"))
    assert ends
    step = 2.5 * made.ramp.travel / (made.ramp.samples - 1)  # of the force from sample to sample
    assert float(ends[1]) == pytest.approx(3.5, abs=step)
    assert float(ends[2]) == pytest.approx(33.25, abs=step)


def test_counts_are_those_of_the_analysis(written, findings):
    out = int(np.count_nonzero(~findings.analysis.trusted))
    assert f"Of 400 curves {out} " in written.said("excluded")
    for name, count in findings.analysis.doubt_counts().items():
        if DOUBTS[name].severity == SEVERE:
            assert f"({count:,})" in written.said("excluded")


def test_every_law_doubt_and_way_has_its_words():
    severe = {d.name for d in DOUBTS.values() if d.severity == SEVERE}
    assert set(PHRASES) == severe
    assert set(MARKS) == set(DOUBTS) - severe
    assert set(OF_LAW) == set(SHAPES)
    assert set(OF_ADHESION) == set(ADHESIONS)
    cited = {key for table in (OF_LAW, OF_ADHESION, OF_CONTACT) for keys in table.values()
             for key in keys}  # fmt: skip
    assert cited <= set(REFERENCES)


# ---- every setting

CONTEXT: dict[str, dict[str, Any]] = {
    "tip.half_angle": {"fit.law": "cone"},
    "tip.rounding": {"fit.law": "blunted_cone", "tip.half_angle": 20.0},
    "uncertainty.thickness": {"layer.base": "bonded"},
}
"""Settings in use only under others, beyond what their `shown_if` says."""
VALUES = {"adhesion.samples": 7, "tip.rounding": 12.5, "fit.contact_at": 12.5,
          "uncertainty.poisson_ratio": 0.07}  # fmt: skip


def test_every_setting_is_told_or_has_a_reason_why_not():
    paths = [path for path, _ in declarations()]
    assert sorted([*TOLD, *SILENT]) == sorted(paths)
    assert set(TOLD.values()) <= {item.name for item in ITEMS}
    assert all(SILENT.values())


def context(path: str, spec: Any) -> dict[str, Any]:
    """Other settings under which this one is in use."""
    found = dict(CONTEXT.get(path, {}))
    name, _, options = spec.metadata.get("shown_if", "").partition("=")
    if name:
        found[f"{path.partition('.')[0]}.{name}"] = options.split("|")[0]
    return found


def another(path: str, spec: Any) -> float:
    """A possible value that is not the default and would not come up by itself."""
    if path in VALUES:
        return VALUES[path]
    meta, default = spec.metadata, spec.default
    if default is None:
        return 7.7
    if isinstance(default, int):
        return default + 3
    value = float(f"{1.1 * default:.3g}") if default else 1.25
    return min(max(value, meta["low"]), meta["high"])


NUMBERS = [path for path, spec in declarations()
           if path in TOLD and spec.metadata["kind"] == "number"]  # fmt: skip
CHOICES = [path for path, spec in declarations()
           if path in TOLD and spec.metadata["kind"] == "choice"]  # fmt: skip
SPECS = dict(declarations())


@pytest.mark.parametrize("path", NUMBERS)
def test_a_number_that_is_set_stands_in_its_item(findings, path):
    base = context(path, SPECS[path])
    value = another(path, SPECS[path])
    before = paragraph(under(findings, **base)).said(TOLD[path])
    after = paragraph(under(findings, **base, **{path: value})).said(TOLD[path])
    number = f"{value:g}"
    assert re.search(rf"(?<![\d.]){re.escape(number)}(?![\d.]\d)", after), after
    assert before != after


@pytest.mark.parametrize("path", CHOICES)
def test_each_option_of_a_choice_is_told_in_other_words(findings, path):
    base = context(path, SPECS[path])
    said = {}
    for option in SPECS[path].metadata["options"]:
        text = paragraph(under(findings, **base, **{path: option})).said(TOLD[path])
        assert text
        said[option] = text
    assert len(set(said.values())) == len(said), said


def test_what_is_not_told_changes_no_number(findings, fmap):
    """Each silent limit, moved to both of its ends, leaves channels and used pixels as they are.
    A change that also runs a stage again is analysed anew."""
    before = findings.analysis
    for path in SILENT:
        meta = SPECS[path].metadata
        for value in (meta["low"], meta["high"]):
            settings = Settings().with_value(path, value)
            if path == "doubts.spike":
                after = analyse(fmap, settings)
            else:
                after = analyse(fmap, settings, previous=before)
                assert after.keys == before.keys, path
            assert np.array_equal(after.trusted, before.trusted), path
            for name in CHANNELS:
                np.testing.assert_array_equal(after.channel(name), before.channel(name), path)


RULES = (
    Rule(), Rule(count=2), Rule(most=5), Rule(plain=False), Rule(smooth=0.5), Rule(least=0.7),
    Rule(seed=2), Rule(zone="none"), Rule(zone="given", zone_width=40.0),
    Rule(axes=(Axis("adhesion"),)),
    Rule("thresholds", (Axis.of("modulus"),), thresholds=(0.2,)),
    Rule("thresholds", (Axis.of("modulus"),), thresholds=(0.3,)),
    Rule("gates", gates=(Gate(((0.001, 0.0), (9.0, 0.0), (9.0, 30.0), (0.001, 30.0))),)),
    Rule("end_members", members=(EndMember((1.5, 6.0), (0.1, 1.0)), EndMember((0.07, 10.0),
                                                                               (0.1, 1.0)))),
    Rule("end_members", members=(EndMember((1.4, 6.0), (0.1, 1.0)), EndMember((0.07, 10.0),
                                                                               (0.1, 1.0)))),
)  # fmt: skip


def test_the_rule_of_components_is_told(findings, written):
    """Each rule with its own words; and names and Poisson ratios of components."""
    from palpate.core.components import Maps, find

    said = []
    maps = Maps.of(findings.analysis)
    for rule in RULES:
        found = replace(findings, composition=find(maps, rule), table=None, pairs=())
        found.__dict__["judged"] = findings.judged
        said.append(paragraph(found).said("components"))
    assert len(set(said)) == len(said)
    rule = replace(findings.work.rule, names=("rubber",), poisson_ratios=(0.49,))
    composition = replace(findings.composition, rule=rule)
    found = replace(findings, work=replace(findings.work, rule=rule), composition=composition)
    found.__dict__["judged"] = findings.judged
    text = paragraph(found)
    assert "A rubber (" in text.said("components")
    assert "0.49 for component A rubber in the statistics" in text.said("modulus")


def test_decisions_about_pixels_are_told_with_counts_notes_and_settings(findings):
    shape = findings.map.shape
    review = (Review().leave_out(Pixels.one(shape, 3, 3), "a visible slip")
              .keep(Pixels.one(shape, 4, 4)).correct(Pixels.one(shape, 5, 5),
                                                     {"fit.fraction_to": 60.0}))  # fmt: skip
    found = replace(findings, analysis=reviewed(findings.analysis, review),
                    work=replace(findings.work, review=review))  # fmt: skip
    text = paragraph(found)
    said = text.said("decisions")
    assert ", 1 of them by hand." in text.said("excluded")
    assert "1 pixel was kept in spite of the rule, 1 pixel was left out and 1 pixel was" in said
    assert "“a visible slip”" in said
    assert "upper end of the fit window: 60 % (1 pixel)" in said
    assert not any(gap.item == "decisions" for gap in text.gaps)
    bare = Review().leave_out(Pixels.one(shape, 3, 3))
    found = replace(findings, analysis=findings.analysis.with_review(bare))
    assert [gap.name for gap in paragraph(found).gaps if gap.item == "decisions"] == ["decided_why"]


def test_levelling_map_doubts_and_missing_constants_are_told(findings, made):
    ways = [*(Levelling(order) for order in (0, 1, 2, 3)), Levelling(1, "median"),
            Levelling(1, "differences"), Levelling(1, "none", (1,)), None]  # fmt: skip
    said = [paragraph(replace(findings, work=replace(findings.work, levelling=way))).said("heights")
            for way in ways]  # fmt: skip
    assert len(set(said)) == len(said)
    assert said[-1] == "Heights were not levelled."
    bare = ForceMap.from_arrays(**made.arrays(calibrated=False))
    text = paragraph(findings_of(analyse(bare, Settings()), Work()))
    assert "No contact law was fitted" in text.said("law")
    assert not text.said("window")
    assert "no forces are given" in text.said("lever")
    assert "400 (100 %) were left out" in text.said("excluded")


def test_an_unfinished_analysis_is_refused(findings):
    half = replace(findings.analysis, done=np.zeros(findings.map.n_curves, bool))
    with pytest.raises(ValueError, match="not complete"):
        paragraph(replace(findings, analysis=half))


# ---- gaps and answers


def answered(findings: Findings, **texts: str) -> Paragraph:
    answers = Answers()
    for name, text in texts.items():
        answers = answers.with_answer(name, text)
    return paragraph(replace(findings, work=replace(findings.work, answers=answers)))


def test_an_answer_takes_the_place_of_its_gap_and_is_marked_as_the_persons(findings, written):
    text = answered(findings, humidity="45 ± 5 %", repository="doi:10.0/none.")
    assert "a relative humidity of 45 ± 5 %." in text.text
    assert "can be had from doi:10.0/none." in text.text
    assert ".." not in text.text
    assert len(text.gaps) == len(written.gaps) - 2
    row = next(row for row in text.items if "45 ± 5 %" in row.said)
    assert row.origin == "recorded, answered"
    assert {hole.gap.name for hole in text.answered} == {"humidity", "repository"}


def test_what_is_recorded_is_not_asked_and_an_answer_to_it_is_said_to_be_unused(findings, written):
    names = [gap.name for gap in written.gaps]
    assert len(set(names)) == len(names)
    assert not {"medium", "temperature", "spring_constant_found", "set_force"} & set(names)
    text = answered(findings, medium="water")
    assert "water" not in text.text
    assert any("medium" in note for note in text.notes)


def test_a_constant_that_was_typed_over_is_asked_for_again(findings):
    text = paragraph(under(findings, calibration__spring_constant=3.0))
    assert "spring constant was 3 N/m" in text.said("lever")
    assert "spring_constant_found" in [gap.name for gap in text.gaps]


def test_answers_are_kept_in_files_and_in_the_journal(findings, tmp_path):
    work = replace(findings.work, answers=Answers().with_answer("humidity", " 45 %\n rh "))
    assert work.answers.of("humidity") == "45 % rh"
    assert from_parts(as_parts(work)) == work
    change = change_of(findings.work, work)
    assert list(change) == ["answers"]
    assert changed(findings.work, change) == work
    assert work.answers.with_answer("humidity", " ") == Answers()
    path = tmp_path / "result.h5"
    save_analysis(path, findings.analysis, Beside(work=work))
    assert load_analysis(path).work.answers == work.answers


@pytest.mark.parametrize("data", [
    None, [], {}, {"palpate_answers": 1}, {"palpate_answers": 2, "answers": {}},
    {"palpate_answers": True, "answers": {}}, {"palpate_answers": 1, "answers": {"a": 1}},
    {"palpate_answers": 1, "answers": {"a b": "x"}}, {"palpate_answers": 1, "answers": {1: "x"}},
    {"palpate_answers": 1, "answers": {"a": "x" * 601}},
    {"palpate_answers": 1, "answers": {"a": ""}},
    {"palpate_answers": 1, "answers": {f"a{n}": "x" for n in range(101)}},
    {"palpate_answers": 1, "answers": {"a": "x\ny"}},
])  # fmt: skip
def test_damaged_answers_are_refused_in_words(data):
    with pytest.raises(SettingsError, match="answers"):
        Answers.from_dict(data)


# ---- references and forms


def entries(text: str) -> dict[str, dict[str, str]]:
    """A small parser of BibTeX: entries with fields in braces; braces must balance."""
    found: dict[str, dict[str, str]] = {}
    at = 0
    while match := re.compile(r"\s*@(\w+)\{([\w-]+),").match(text, at):
        at, fields = match.end(), found.setdefault(match[2], {"": match[1]})
        while field := re.compile(r"\s*(\w+) = \{").match(text, at):
            depth, start = 1, field.end()
            at = start
            while depth:
                depth += {"{": 1, "}": -1}.get(text[at], 0) if text[at - 1] != "\\" else 0
                at += 1
            fields[field[1]] = text[start : at - 1]
            at += text[at] == ","
        end = re.compile(r"\s*\}").match(text, at)
        assert end, text[at : at + 40]
        at = end.end()
    assert not text[at:].strip()
    return found


def test_bibtex_can_be_parsed_and_holds_what_is_cited(findings, written):
    found = entries(bibtex(written))
    assert list(found) == [one.key for one in written.references]
    assert bibtex(written).isascii()
    hertz = found["hertz1882"]
    assert hertz["title"] == '{Ueber die Ber{\\"u}hrung fester elastischer K{\\"o}rper}'
    assert (hertz["volume"], hertz["pages"], hertz["year"]) == ("92", "156--171", "1882")
    assert "from memory" in hertz["checked"]
    assert found["numpy2020"]["author"] == "Harris, C. R. and others"
    everything = replace(written, references=tuple(REFERENCES.values()))
    for key, fields in entries(bibtex(everything)).items():
        assert {"author", "title", "year", "checked"} <= set(fields), key
        assert fields[""] != "article" or {"journal", "volume", "pages"} <= set(fields), key


def test_only_what_is_used_is_cited_and_numbers_follow_the_text(findings, written):
    keys = {one.key for one in written.references}
    assert {"hertz1882", "dmt1975"} <= keys
    assert not {"jkr1971", "sneddon1965", "ting1966", "gavara2016"} & keys
    jkr = paragraph(under(findings, fit__adhesion="two_point"))
    assert {"jkr1971", "iso21222"} <= {one.key for one in jkr.references}
    numbers = [int(n) for group in re.findall(r"(?<=\w|\)) \[([\d, ]+)\]",
                                              written.text.partition("References")[0])
               for n in group.split(", ")]  # fmt: skip
    first = list(dict.fromkeys(numbers))
    assert first == list(range(1, len(written.references) + 1))


class Marks(HTMLParser):
    """Tags and the text inside ``mark``."""

    def __init__(self) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.open: list[str] = []
        self.marked: list[str] = []

    def handle_starttag(self, tag: str, attrs: Any) -> None:
        self.tags.append(tag)
        self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if "mark" in self.open:
            self.marked.append(data)


def test_html_marks_the_gaps_and_lets_no_answer_in_as_markup(findings):
    text = answered(findings, sample_made="<script>x</script> & *cut*")
    read = Marks()
    read.feed(text.html)
    assert not read.open
    assert set(read.tags) == {"div", "p", "strong", "mark", "sub", "sup", "ol", "li"}
    assert read.marked == [f"[… {gap.question} …]" for gap in text.gaps]
    assert "&lt;script&gt;" in text.html
    assert "\\<script>x\\</script> & \\*cut\\*" in text.markdown


def test_the_table_says_where_each_statement_is_from(written):
    import csv
    import io

    rows = list(csv.reader(io.StringIO(table_text(written))))
    assert rows[0] == ["item", "said", "from", "in full"]
    assert len(rows) == len(written.items) + 1
    known = {"measured", "recorded", "set", "assumed", "answered", "gap", "program"}
    for row in rows[1:]:
        assert set(row[2].split(", ")) <= known, row
    spring = next(row for row in rows if row[1].startswith("Its spring constant"))
    assert spring[2] == "recorded"
    data = next(row for row in rows if "SHA-256" in row[1] and row[0] == "Data")
    assert re.search(r"SHA-256 [0-9a-f]{64}", data[3])


# ---- sentences that depend on results: maps analysed anew


def told(made: simulate.Simulated, values: dict[str, Any] | None = None, **arrays: Any
         ) -> tuple[Findings, Paragraph]:  # fmt: skip
    """The findings and the paragraph of the simulated map with other arrays or settings."""
    given = {name: one for name, one in (made.arrays() | arrays).items() if one is not None}
    settings = Settings().with_values(values or {})
    found = findings_of(analyse(ForceMap.from_arrays(**given), settings), Work(settings))
    return found, paragraph(found)


def line_of(made: simulate.Simulated, axis: int) -> dict[str, Any]:
    """One row (axis 0) or one column (axis 1) of the simulated map as a map of its own."""
    arrays = made.arrays()
    inside = arrays["pixel"][:, axis] == SIZE // 2
    pixel = arrays["pixel"][inside].copy()
    pixel[:, axis] = 0
    return {"z": arrays["z"][inside], "deflection": arrays["deflection"][inside], "pixel": pixel,
            "shape": (1, SIZE) if axis == 0 else (SIZE, 1),
            "scan_size": (3000.0, 150.0) if axis == 0 else (150.0, 3000.0)}  # fmt: skip


@pytest.mark.parametrize(("axis", "size"), [(0, "20 × 1"), (1, "1 × 20")])
def test_a_map_of_one_line_has_its_length_and_is_not_praised_for_what_was_not_judged(
    made, axis, size
):
    found, text = told(made, **line_of(made, axis))
    assert f"One map of {size} pixels (columns × rows, counted from 0, row 0 at the bottom) along "\
        "3.00 µm (150 nm from pixel to pixel) was taken" in text.said("curves")  # fmt: skip
    said = text.said("map_doubts")
    praised, _, rest = said.partition("could not be judged")
    for what in ("change of the tip", "jumps of z", "drift of z", "wear", "noise"):
        assert what in rest, said
        assert what not in praised
    assert "only 1 line" in rest
    assert set(found.not_judged) > {"a change of the tip", "drift of z"}
    assert "1 to 1" not in text.text
    assert "standard errors" in text.said("statistics")  # there is a table


def test_a_drift_is_not_judged_where_all_lines_were_taken_the_same_way(made, findings, written):
    """Then it looks like a slope of the surface; in a scan there and back it does not."""
    assert "drift of z" not in findings.not_judged
    assert "drift of z" in written.said("map_doubts")
    arrays = made.arrays()
    order = np.lexsort((arrays["pixel"][:, 1], arrays["pixel"][:, 0]))
    found, text = told(made, **{name: arrays[name][order] for name in ("z", "deflection", "pixel")})
    assert set(found.not_judged) == {"drift of z"}
    praised, _, rest = text.said("map_doubts").partition("could not be judged")
    assert "drift of z" not in praised
    assert "drift of z (all lines were taken the same way" in rest


def test_what_is_lacking_is_named_and_nothing_is_told_of_what_is_not_there(made):
    """No spring constant; no radius; neither: the cause by its name, no moduli, no E* as a
    parameter, no inputs that enter no number."""
    for lack, cause in (({"spring_constant": None}, "the spring constant is not known"),
                        ({"radius": None}, "the tip radius is not known"),
                        ({"spring_constant": None, "radius": None},
                         "the spring constant and the tip radius are not known")):  # fmt: skip
        _, text = told(made, **lack)
        assert f"No moduli are given: {cause}." in text.said("law")
        assert "the moduli are those of this speed" not in text.text
        assert "were E*" not in text.said("contact")
        assert "standard errors" not in text.said("statistics")  # no components, no table
        assert not re.search("tip radius|Poisson", text.said("uncertainty"))
        assert ("nN as recorded." in text.said("ramp")) == ("spring_constant" in lack)


def test_a_free_exponent_gives_no_modulus_anywhere(made):
    _, text = told(made, {"fit.law": "free_exponent"})
    for item in ("viscous", "excluded", "marked", "map_doubts", "uncertainty"):
        assert "modul" not in text.said(item), item


def test_with_all_pixels_left_out_no_number_is_told(made):
    """More samples are asked for than a curve has in its window."""
    found, text = told(made, {"doubts.least_samples": SAMPLES})
    assert not found.analysis.trusted.any()
    assert text.said("validity") == "No indentation is given, since no pixel is used."
    assert text.said("heights") == "Heights were not levelled, since no pixel is used."
    assert text.said("modulus") == "No moduli are given, since no pixel is used."
    assert not text.said("uncertainty")
    assert not text.said("marked")
    assert "(0)" not in text.text
    assert "of this speed" not in text.text


def test_how_many_curves_have_a_relaxation_is_told(findings, fmap):
    """Fits at their bound have no value: a selection by outcome that must not be denied."""
    settings = Settings().with_values({"viscous.model": "power_law"})
    analysis = analyse(fmap, settings, previous=findings.analysis)
    text = paragraph(Findings(analysis, Work(settings)))
    used = analysis.trusted
    number = int(np.isfinite(analysis.channel("relaxation_exponent")[used]).sum())
    assert 0 < number < used.sum()  # the simulated solid is elastic: many end at the bound
    assert f"Of the {used.sum()} curves used {number} (" in text.said("viscous")
    bound = (analysis.doubts[used] & np.uint64(DOUBTS["viscous_bound"].mask)) != 0
    assert f"ended: {bound.sum()} with a parameter of the relaxing solid at its bound" in text.text
    assert "leaves no pixel out;" not in text.said("marked")


def test_the_validity_holds_the_verdict_of_the_advice(findings, written):
    """The paraboloid's law asks for small strains; the soft domain here is deeper than R."""
    from palpate.core.advice import advise

    check = advise(findings.analysis).check("contact_width")
    said = written.said("validity")
    assert "small strains" in said
    assert check.verdict != "fits"
    assert "the law is strained at these curves" in said
    assert "contact radius over tip radius (limit: below 0.5;" in said


def test_the_rule_counts_only_what_it_left_out_itself(findings):
    """Two severe pixels are kept by hand, and one that is left out by hand is not the rule's."""
    severe = [tuple(map(int, at)) for at in np.argwhere(findings.analysis.severe)]
    shape, review = findings.map.shape, Review()
    for row, col in severe[:2]:
        review = review.keep(Pixels.one(shape, row, col))
    review = review.leave_out(Pixels.one(shape, 3, 3), "a visible slip")
    said = paragraph(replace(findings, analysis=findings.analysis.with_review(review))).said(
        "excluded")  # fmt: skip
    left = len(severe) - 2
    assert f"Of 400 curves {left + 1} " in said
    assert f"({left} curve" in said or f"({left} curves" in said
    counts = [int(n) for n in re.findall(r"\((\d+)\)[;.]", said.partition("They lie")[0])]
    assert counts
    assert max(counts) <= left


def test_what_is_left_in_ratios_is_told_for_each_pair(findings, written):
    said = written.said("uncertainty")
    assert "mostly cancels" not in said
    for pair in findings.pairs:
        if pair.channel == "modulus":
            assert f"{100.0 * pair.common:.2g} % (" in said


def test_a_set_force_is_that_of_the_recorded_constants(findings):
    """35 nN of 2.5 N/m are 42 nN of 3 N/m: the instrument stopped at a deflection."""
    text = paragraph(under(findings, calibration__spring_constant=3.0))
    assert "35.0 nN as recorded, which is 42.0 nN with the spring constant in use" in text.said(
        "ramp")  # fmt: skip


def test_thermal_noise_is_only_cited_if_the_person_says_how(findings, written):
    assert "hutter1993" not in {one.key for one in written.references}
    text = paragraph(under(findings, uncertainty__spring_from="thermal"))
    assert "hutter1993" in {one.key for one in text.references}


def test_shares_and_counts_read_well():
    from palpate.core.methods.words import about, counted, percent

    assert [about(x) for x in (1.0, 0.05, 0.123, 0.077)] == ["100 %", "5 %", "12 %", "7.7 %"]
    assert percent(0.9999) == "more than 99.9 %"
    assert counted(1, "pixel") == "1 pixel"
    assert counted(2, "pixel") == "2 pixels"


# ---- odd maps, places


ODD: dict[str, dict[str, Any]] = {
    "deflections in nm": {}, "no scale": {"scan_size": None},
    "forces": {"force": True}, "one branch": {"segments": ("approach",)},
    "uncalibrated": {"spring_constant": None, "radius": None},
    "a recorded time and rate": {"sampling_rate": 1000.0, "start_time": "2026-03-03T10:00:00"},
}  # fmt: skip


@pytest.mark.parametrize("what", ODD)
@pytest.mark.parametrize("values", [{}, {"fit.law": "free_exponent"},
                                    {"fit.adhesion": "none", "layer.base": "bonded"}])  # fmt: skip
def test_odd_maps_are_described_without_a_placeholder(what, values):
    from shell_maps import made as arrays

    given = arrays((3, 4)) | ODD[what]
    if "force" in given:
        given["force"] = 2.0 * given.pop("deflection")
    if "segments" in given:
        given |= {"z": given["z"][:, :, :1], "deflection": given["deflection"][:, :, :1]}
    settings = Settings().with_values(values)
    analysis = analyse(ForceMap.from_arrays(**given), settings)
    text = paragraph(Findings(analysis, Work(settings)))
    assert not re.search(r"\b(nan|None|inf)\b|\{|\}|  |–", text.text)
    assert (" on 2026-03-03." in text.text) == ("start_time" in given)
    assert ("The map holds forces" in text.text) == ("force" in given)


def test_places_pictures_and_a_map_of_thicknesses_are_told(findings, fmap):
    from pathlib import Path

    from palpate.core.places import Places, Profile, Rectangle, Region
    from palpate.core.work import Laid

    assert not paragraph(findings).said("places")
    region = Region("core", Rectangle(350.0, 350.0, 800.0, 800.0))
    places = Places((region,), (Profile("across", ((0.0, 0.0), (900.0, 900.0))),))
    work = replace(findings.work, places=places, picture=Laid(Path("/far/away/light.png")))
    said = paragraph(replace(findings, work=work)).said("places")
    assert "1 region and 1 profile were laid by hand (“core”, “across”)" in said
    assert "“light.png”" in said
    assert "/far" not in said
    thick = fmap.with_thickness(np.full(fmap.shape, 150.0))
    settings = Settings().with_values({"layer.base": "bonded"})
    text = paragraph(Findings(analyse(thick, settings), Work(settings)))
    assert "from a map of thicknesses (150 nm (median" in text.said("layer")
    assert "the indentation over the thickness was" in text.said("validity")
