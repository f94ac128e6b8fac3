"""The report of a large map: making it and writing both files, beside drawing one map.

No test here fails on a clock; they print. Run: ``pytest tests/bench -m bench -s``
"""

from __future__ import annotations

from dataclasses import replace
from time import perf_counter

import numpy as np
import pytest

from palpate.core import report as rp
from palpate.core.corrections import reviewed
from palpate.core.decisions import Pixels, Review
from palpate.core.figures import draw_sheet, picture
from palpate.core.findings import findings_of
from palpate.core.forcemap import ForceMap
from palpate.core.pipeline import analyse
from palpate.core.sheets import MapOptions, Panel, Sheet
from palpate.core.simulate import smooth_field
from palpate.core.work import Work

from .scene import tiled_map

pytestmark = pytest.mark.bench
SIZE = 256


def patterned(size):
    """A tiled map whose three materials lie in domains and not at random."""
    fmap = tiled_map(size)
    rng = np.random.default_rng(3)
    field = smooth_field((size, size), 9.0, rng)
    which = np.digitize(field, np.quantile(field, [0.2, 0.55])).ravel()
    unique = 768  # of `tiled_map`: curve n is of material n % 3
    own = rng.integers(0, unique // 3, size * size) * 3 + which
    parts = fmap.parts
    order = replace(parts, curve_start=parts.curve_start[own])
    return ForceMap(order, fmap.source)


def test_the_report_of_a_large_map(tmp_path, capsys):
    fmap = patterned(SIZE)
    out = np.zeros(fmap.shape, bool)
    out[10:14, 20:60] = True
    review = Review().leave_out(Pixels.of(out), "a scratch").keep(Pixels.of(~out & (
        np.add.outer(np.arange(SIZE), np.arange(SIZE)) % 97 == 0)))  # fmt: skip
    work = Work(review=review)
    found = findings_of(reviewed(analyse(fmap, work.settings), review), work)
    sheet = Sheet(panels=(Panel("map", options=MapOptions(channel="modulus")),))

    start = perf_counter()
    picture(draw_sheet(sheet, found), 200)
    warm = perf_counter()
    picture(draw_sheet(sheet, found), 200)
    one_map = perf_counter() - warm

    first = perf_counter()
    made = rp.make(found)
    ready = perf_counter()
    rp.write(tmp_path / "a.html", made)
    page = perf_counter()
    rp.write(tmp_path / "a.pdf", made)
    end = perf_counter()
    sizes = {path.suffix: path.stat().st_size / 1e6 for path in tmp_path.iterdir()}
    with capsys.disabled():
        print(f"\n  report of {SIZE} x {SIZE}: {end - first:.1f} s (make {ready - first:.1f}, page "
              f"{page - ready:.1f}, PDF {end - page:.1f}), {(end - first) / one_map:.0f} x one map "
              f"drawn ({one_map:.2f} s, the first {warm - start:.2f}); "
              + ", ".join(f"{k} {v:.1f} MB" for k, v in sorted(sizes.items())))  # fmt: skip
    assert sizes[".html"] < 8.0
