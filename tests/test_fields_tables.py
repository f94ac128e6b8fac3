"""The table of several maps' components on drawn maps, and its file."""

from __future__ import annotations

import csv
import math

import numpy as np
import pytest
from component_maps import SOFT, STIFF, Kind, drawn

from palpate.core.components import Axis, Rule
from palpate.core.errors import WriteError
from palpate.core.fields import between_field, fields_table, match, write_table
from palpate.core.fields.tables import AREA, COLUMNS, group_of_constant

RULE = Rule(method="thresholds", axes=(Axis("reduced_modulus", True),), thresholds=(0.3,))
FACTORS = (1.0, 1.2, 0.9, 1.3, 1.05)


@pytest.fixture(scope="module")
def table():
    """Five maps whose stiff component differs by known factors; the soft one does not."""
    maps = [
        drawn((Kind(STIFF.modulus * f, 4.8), SOFT), (0.3,), seed=seed, size=48).maps
        for seed, f in enumerate(FACTORS, start=1)
    ]
    made = match(maps, RULE, [f"m{i}" for i in range(5)])
    return fields_table(made, conditions=[1, 2, 3, 4, 5], condition="week")


def test_scatter_drawn_between_maps_is_found_and_none_where_none_was_drawn(table):
    stiff, soft = (table.entry(k, "reduced_modulus") for k in (1, 0))
    assert stiff.scale == "ln"
    assert stiff.pooled.tau == pytest.approx(np.std(np.log(FACTORS), ddof=1), rel=0.15)
    assert stiff.pooled.differ
    assert soft.pooled.tau_low == 0.0
    assert stiff.value == pytest.approx(
        STIFF.modulus * math.exp(np.mean(np.log(FACTORS))), rel=0.03
    )
    assert stiff.pooled.naive_error < 0.2 * stiff.pooled.error


def test_what_is_shown_is_the_scale_turned_back(table):
    area = table.entry(1, AREA)
    low, high = area.interval
    assert 0.0 < low < area.value < high < 1.0
    assert math.log(area.value / (1 - area.value)) == pytest.approx(area.pooled.mean)
    mean, _, reach = between_field(area.values)
    assert area.value == pytest.approx(mean, abs=reach)
    adhesion = table.entry(0, "adhesion")
    assert adhesion.scale == "plain"
    assert adhesion.value == adhesion.pooled.mean


def test_a_map_without_a_component_does_not_count_and_is_told():
    maps = [drawn((STIFF, SOFT), (f,), seed=s, size=48).maps for f, s in ((0.3, 1), (0.3, 2))]
    none = drawn((STIFF,), (), seed=3, size=48).maps
    made = fields_table(match([*maps, none], RULE, ["a", "b", "bare"]))
    soft = made.entry(0, "reduced_modulus")
    assert soft.pooled.used == (0, 1)
    assert math.isnan(soft.values[2])
    assert any("bare has no component A" in remark for remark in made.remarks)


def test_without_an_analysis_nothing_common_is_claimed(table):
    assert all(one.pooled.common == 0.0 for one in table.entries)
    assert "Nothing is known" in table.shared
    assert group_of_constant("deflection_sensitivity") == "lever"
    assert group_of_constant("radius") == "tip"
    assert group_of_constant("poisson_ratio") == "sample"


def test_the_file_holds_what_the_table_holds(table, tmp_path):
    path = write_table(tmp_path / "fields.csv", table)
    lines = path.read_text(encoding="utf-8").splitlines()
    rows = list(csv.DictReader(line for line in lines if not line.startswith("# ")))
    assert len(rows) == 6 * len(table.entries)
    assert tuple(rows[0]) == COLUMNS
    whole = [r for r in rows if r["map"] == "(all maps)" and r["quantity"] == "reduced_modulus"]
    stiff = table.entry(1, "reduced_modulus")
    assert float(whole[1]["value"]) == stiff.value
    assert float(whole[1]["between maps (on the scale)"]) == stiff.pooled.tau
    assert float(whole[1]["slope (on the scale)"]) == stiff.trend.slope
    own = [r for r in rows if r["map"] == "m3" and r["quantity"] == AREA]
    assert float(own[0]["value"]) == table.entry(0, AREA).values[3]
    assert float(own[0]["condition"]) == 4.0
    assert any(line.startswith("# matching: ") for line in lines)
    with pytest.raises(WriteError):
        write_table(tmp_path / "no" / "where.csv", table)


def test_wrong_conditions_or_words_are_refused(table):
    maps = [drawn((STIFF, SOFT), (0.3,), seed=s, size=32).maps for s in (1, 2)]
    made = match(maps, RULE)
    with pytest.raises(ValueError, match="3 conditions are given for 2 maps"):
        fields_table(made, conditions=[1, 2, 3])
    with pytest.raises(ValueError, match="maps can share"):
        fields_table(made, shared=("laser",))
