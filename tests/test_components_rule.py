"""The rule for components: kept as text and back without loss, and refused where it is broken."""

from __future__ import annotations

import json
from dataclasses import FrozenInstanceError, replace

import pytest

from palpate.core.components import Axis, EndMember, Gate, Rule, letter
from palpate.core.components.rule import MOST
from palpate.core.errors import SettingsError

MODULUS, PULL = Axis("reduced_modulus", True), Axis("adhesion")
SQUARE = Gate(((0.1, 2.0), (1.0, 2.0), (1.0, 9.0), (0.1, 9.0)))
RULES = {
    "mixture": Rule(count=3, most=5, plain=False, smooth=0.7, least=0.6, rims=False,
                    seed=2**31 - 1),
    "thresholds": Rule("thresholds", (Axis("stiffness", True),), thresholds=(0.1, 0.25, 1e3)),
    "gates": Rule("gates", gates=(SQUARE, Gate(((0.0, -1.0), (2.0, 0.0), (1.0, 3.5))))),
    "end_members": Rule("end_members", (MODULUS, PULL), zone="given", zone_width=12.5,
                        members=(EndMember((0.05, 9.0), (0.1, 0.5)),
                                 EndMember((1.8, -4.8), (0.1, 1 / 3)))),
    "named": Rule(count=2, names=("", "rubber"), poisson_ratios=(None, 0.49), zone="none"),
}  # fmt: skip


@pytest.mark.parametrize("name", RULES)
def test_a_rule_comes_back_from_its_text_as_it_was(name):
    rule = RULES[name]
    back = Rule.from_json(rule.to_json())
    assert back == rule
    assert hash(back) == hash(rule)
    assert back.to_json() == rule.to_json()


@pytest.mark.parametrize("name", RULES)
def test_a_rule_comes_back_from_a_file(name, tmp_path):
    path = tmp_path / "rule.json"
    path.write_text(RULES[name].to_json(), encoding="utf-8")
    assert Rule.load(path) == RULES[name]


def test_the_text_of_equal_rules_is_the_same_whatever_the_order_it_was_written_in():
    rule = RULES["end_members"]
    data = json.loads(rule.to_json())
    turned = json.dumps(dict(reversed(data.items())), indent=3)
    assert Rule.from_json(turned).to_json() == rule.to_json()
    assert len({rule.to_json() for rule in RULES.values()}) == len(RULES)


def test_whole_and_broken_numbers_that_are_equal_give_the_same_text():
    one, other = Rule(zone="given", zone_width=3), Rule(zone="given", zone_width=3.0)
    assert one == other
    assert one.to_json() == other.to_json()
    cuts = [Rule("thresholds", thresholds=cuts) for cuts in ((1, 2), (1.0, 2.0))]
    assert cuts[0] == cuts[1]
    assert cuts[0].to_json() == cuts[1].to_json()


def test_a_rule_cannot_be_changed_in_place_so_that_undo_can_keep_it():
    rule = Rule()
    with pytest.raises(FrozenInstanceError):
        rule.count = 3  # type: ignore[misc]
    assert replace(replace(rule, count=3), count=0) == rule
    assert rule.named(1, "rubber").named(1, "") == rule
    assert rule.with_poisson_ratio(2, 0.4).with_poisson_ratio(2, None) == rule


def test_names_and_poisson_ratios_do_not_change_what_is_found():
    rule = Rule(count=2)
    told = rule.named(0, " rubber ").with_poisson_ratio(1, 0.35)
    assert told != rule
    assert told.finding == rule.finding
    assert (told.name(0), told.name(1)) == ("rubber", "B")
    assert [told.poisson_ratio(k) for k in (0, 1, 7)] == [None, 0.35, None]
    assert replace(rule, seed=2).finding != rule.finding


def test_letters_count_the_components():
    assert [letter(k) for k in range(MOST)] == list("ABCDEFGHIJKL")


def test_channels_whose_errors_multiply_are_taken_as_logarithms():
    assert Axis.of("reduced_modulus").log
    assert not Axis.of("adhesion").log
    assert not Axis.of("height").log


def test_the_rule_says_how_many_components_it_names():
    given = {"mixture": 3, "thresholds": 4, "gates": 2, "end_members": 2, "named": 2}
    assert {name: rule.given for name, rule in RULES.items()} == given
    assert Rule().given == 0


NAN, INF = float("nan"), float("inf")
HOSTILE = [
    ("method", "magic"), ("method", None), ("method", []), ("method", 3),
    ("zone", "wide"), ("zone", {}), ("count", -1), ("count", MOST + 1), ("count", 2.5),
    ("count", True), ("count", "2"), ("count", NAN), ("most", 0), ("most", 10**30), ("seed", -1),
    ("seed", 2**31), ("smooth", -0.1), ("smooth", NAN), ("smooth", INF), ("smooth", "1"),
    ("smooth", None), ("smooth", 10**400), ("least", 1.0), ("least", -0.01), ("zone_width", -1.0),
    ("zone_width", True), ("plain", 1), ("rims", "yes"), ("plain", None),
    ("thresholds", [2.0, 1.0]), ("thresholds", [1.0, 1.0]), ("thresholds", [NAN]),
    ("thresholds", ["1"]), ("thresholds", 3.0), ("thresholds", "12"),
    ("thresholds", list(range(MOST))), ("thresholds", None), ("thresholds", {"1": 2}),
    ("axes", []), ("axes", [{"channel": "no such", "log": True}]), ("axes", [{"channel": 3}]),
    ("axes", [{"channel": "adhesion"}] * 2), ("axes", [{"channel": "adhesion", "log": 1}]),
    ("axes", [{"chanel": "adhesion"}]), ("axes", ["adhesion"]), ("axes", 7), ("axes", None),
    ("axes", [{"channel": ["adhesion"]}]),
    ("gates", [{"vertices": [[0, 0], [1, 1]]}]), ("gates", [{"vertices": [[0, 0, 0]] * 3}]),
    ("gates", [{"vertices": [[0, 0], [1, NAN], [1, 0]]}]), ("gates", [{}]), ("gates", [[1, 2]]),
    ("gates", [{"vertices": None}]), ("gates", 5),
    ("gates", [{"vertices": [[0, 0], [1, 1], [1, 0]]}] * (MOST + 1)),
    ("members", [{"centre": [1.0], "spread": [1.0]}]), ("members", [{"centre": [1.0, 2.0]}]),
    ("members", [{"centre": [0.0, 2.0], "spread": [1.0, 1.0]}]),
    ("members", [{"centre": [1.0, 2.0], "spread": [0.0, 1.0]}]),
    ("members", [{"centre": [1.0, INF], "spread": [1.0, 1.0]}]),
    ("members", [{"centre": ["a", "b"], "spread": [1.0, 1.0]}]),
    ("members", [{"centre": [1.0, 2.0], "spread": [1.0, 1.0]}] * (MOST + 1)),
    ("names", ["x" * 61]), ("names", [1]), ("names", ["a", "a"]), ("names", "ab"),
    ("names", [f"n{i}" for i in range(MOST + 1)]), ("names", None), ("names", 4),
    ("poisson_ratios", [0.6]), ("poisson_ratios", [-0.1]), ("poisson_ratios", ["0.4"]),
    ("poisson_ratios", [NAN]), ("poisson_ratios", 0.4), ("poisson_ratios", None),
    ("poisson_ratios", [0.4] * (MOST + 1)),
    ("spring", 1.0),
]  # fmt: skip


@pytest.mark.parametrize(("name", "value"), HOSTILE, ids=[f"{n}-{str(v)[:24]}" for n, v in HOSTILE])
def test_what_cannot_be_followed_is_refused_by_name(name, value):
    data = {**Rule().as_dict(), name: value}
    with pytest.raises(SettingsError) as caught:
        Rule.from_dict(data)
    assert caught.value.field.split(".")[-1] == name


@pytest.mark.parametrize("name", ["thresholds", "gates", "members", "axes", "names"])
def test_lists_within_lists_without_end_are_refused(name):
    deep: list = []
    for _ in range(100):
        deep = [deep]
    with pytest.raises(SettingsError, match=name):
        Rule.from_dict({**Rule().as_dict(), name: deep})


@pytest.mark.parametrize("text", [
    "", "{", "[]", "null", "3", '"rule"', "{}", '{"palpate_rule": 2}', '{"palpate_rule": "1"}',
    "[" * 100_000, '{"palpate_rule": 1, "smooth": NaN}', '{"palpate_rule": 1, "count": 1e999}',
    "\x00", '{"palpate_rule": 1, "count": ' + "9" * 5000 + "}",
])  # fmt: skip
def test_text_that_is_no_rule_is_refused(text):
    with pytest.raises(SettingsError):
        Rule.from_json(text)


def test_files_that_are_no_rule_are_refused_by_name(tmp_path):
    missing, bytes_, large = (tmp_path / name for name in ("no.json", "b.json", "l.json"))
    bytes_.write_bytes(b"\xff\xfe\x00{")
    large.write_text(" " * 1_000_001)
    for path in (missing, bytes_, large, tmp_path):
        with pytest.raises(SettingsError, match=str(path.name)):
            Rule.load(path)


def test_gates_need_two_axes():
    with pytest.raises(SettingsError) as caught:
        Rule("gates", (MODULUS,), gates=(SQUARE,))
    assert caught.value.field == "components.axes"
