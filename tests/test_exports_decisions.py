"""Exports say what was decided by hand about the pixels behind their numbers."""

from __future__ import annotations

import hashlib
import json

import h5py
import numpy as np
import pytest

from palpate.app import saving
from palpate.core.components import Rule, find, table_of
from palpate.core.components.exports import about
from palpate.core.components.maps import Maps
from palpate.core.corrections import reviewed
from palpate.core.decisions import Pixels, Review
from palpate.core.pipeline import analyse
from palpate.core.places import Profile, Rectangle, Region
from palpate.core.progress import Progress
from palpate.core.simulate import ski_boot
from palpate.core.workfile import save_analysis

LEFT = np.zeros((16, 16), bool)
LEFT[2:6, 2:6] = True
WORDS = "pixels decided about by hand: 16 left out, 0 kept, 32 corrected"


@pytest.fixture(scope="module")
def analysis():
    corrected = np.zeros((16, 16), bool)
    corrected[9:11] = True
    review = Review().leave_out(Pixels.of(LEFT)).correct(Pixels.of(corrected), {"fit.law": "cone"})
    return reviewed(analyse(ski_boot(16, 3, 160).as_map()), review)


def exported(analysis, folder, **kw):
    item = saving.Item(folder / "m.npy", **{"channel": "modulus", **kw})
    saving.export_items(analysis, [item])(Progress())
    return np.load(item.path), json.loads((folder / "m.npy.json").read_text())


def test_a_map_says_whether_pixels_left_out_by_hand_are_in_it(analysis, tmp_path):
    for trusted in (True, False):
        values, note = exported(analysis, tmp_path, trusted=trusted)
        there = np.isfinite(values[LEFT])
        assert there.any() != trusted
        assert ("and so are 16 that were left out by hand" in note["note"]) != trusted
        assert ("left out (nan), and 16 by hand" in note["note"]) == trusted
    _, doubts = exported(analysis, tmp_path, channel="doubts")
    assert WORDS in doubts["note"]


def test_each_export_carries_the_checksum_of_the_decisions(analysis, tmp_path):
    """Of the canonical JSON, by hashlib; the same stands in the result file."""
    review = analysis.review
    digest = hashlib.sha256(review.to_json().encode()).hexdigest()
    _, note = exported(analysis, tmp_path)
    assert note["review_sha256"] == digest
    assert f"{WORDS}, whose numbers are not those of the settings" in note["note"]
    profile = Profile("line", ((50.0, 50.0), (400.0, 400.0)))
    box = Rectangle(0.0, 0.0, 500.0, 500.0)
    regions = [(Region("outside", box), ~LEFT), (Region("inside", box), LEFT)]
    for write in (saving.region_tables(analysis, regions, LEFT, tmp_path / "a.csv"),
                  saving.region_tables(analysis, regions, LEFT, tmp_path / "b.csv", pair=True),
                  saving.profile_table(analysis, profile, ("modulus",), None, None,
                                       tmp_path / "c.csv")):  # fmt: skip
        text = write(Progress())[0].read_text(encoding="utf-8")
        assert f"# review_sha256: {digest}" in text
        assert WORDS in text
    found = find(Maps.of(analysis), Rule(method="mixture", count=2))
    assert about(found, table_of(found))["decisions sha256"] == digest
    save_analysis(tmp_path / "r.h5", analysis)
    with h5py.File(tmp_path / "r.h5") as f:
        assert f["entry/review"].attrs["sha256"] == digest


def test_without_decisions_there_is_no_checksum(analysis, tmp_path):
    _, note = exported(analysis.with_review(Review()), tmp_path)
    assert "review_sha256" not in note
    assert "no pixel was decided about by hand" in note["note"]
