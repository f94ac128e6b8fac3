"""The comparison of a picture with the map as a table of comma-separated values."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterator, Sequence

from .alignment import Alignment
from .comparing import Comparison, Correlated

HEAD = ("what", "beside", "rank_correlation", "low_95", "high_95", "p", "independent_pixels",
        "pixels", "p_if_all_were_independent", "distance", "reason")  # fmt: skip


def comparison_csv(
    found: Comparison, alignment: Alignment, names: Sequence[str] = ()
) -> str:  # fmt: skip
    """A comparison with its verdict and alignment above it, lines beginning with ``#``.

    One row a correlation: of each channel over all pixels, with all others or one of them taken
    out ("beside"), within components, and of the membership of components in pairs, with their
    distance in spreads; `names` are the components', their numbers without. An empty cell is a
    number that can't be had; `reason` says why.
    """
    out = io.StringIO()
    source = alignment.picture
    if source is not None:
        out.write(f"# picture: {source.file_name} ({source.algorithm} {source.checksum})\n")
    matrix = "; ".join(" ".join(f"{v:.9g}" for v in row) for row in alignment.matrix[:2])
    out.write(f"# aligned {alignment.how}, {alignment.kind}: {alignment.words}\n")
    out.write(f"# x, y in nm from (column, row, 1), row 0 at the bottom: {matrix}\n")
    out.write(f"# verdict: {found.verdict}. {found.words}\n")
    table = csv.writer(out, lineterminator="\n")
    table.writerow(HEAD)
    for what, beside, one, distance in _rows(found, names):
        table.writerow([what, beside, *_cells(one), _text(distance), one.reason])
    return out.getvalue()


def _rows(found: Comparison, names: Sequence[str]) -> Iterator[tuple[str, str, Correlated, float]]:
    """What, beside what, correlation, distance."""
    for name, each in found.channels.items():
        yield name, "", each.overall, math.nan
        yield name, "all others", each.partial, math.nan
        for (one, given), pair in found.pairwise.items():
            if one == name:
                yield name, given, pair, math.nan
        if math.isfinite(each.within.value):
            yield name, "within components", each.within, math.nan
    for apart in found.between:
        upper, lower = (names[k] if k < len(names) else str(k) for k in (apart.upper, apart.lower))
        words = f"component {upper} against {lower}"
        yield words, "", apart.correlated, apart.distance


def _cells(one: Correlated) -> list[str]:
    values = (one.value, one.low, one.high, one.p, one.effective)
    return [*map(_text, values), str(one.pixels), _text(one.p_naive)]


def _text(value: float) -> str:
    return f"{value:.6g}" if math.isfinite(value) else ""
