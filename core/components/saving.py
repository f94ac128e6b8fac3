"""Components in a result file: labels, memberships, the table, and the rule that made them."""

from __future__ import annotations

import json
from typing import Any

import numpy as np

from ..writers import nexus
from .composition import Composition
from .exports import about, pair_rows, table_rows
from .pairs import Pair
from .table import Table
from .zones import KINDS


def write_components(entry: Any, composition: Composition, table: Table | None = None,
                     pairs: tuple[Pair, ...] = ()) -> None:  # fmt: skip
    """Write the group ``components`` into a result file's entry.

    ``labels`` int16, -1 in no component; ``membership`` and ``kinds`` beside it; ``names``,
    ``rule`` as canonical JSON with its seed, ``about`` in words, ``table`` and ``pairs`` as JSON
    lists of rows whose first is the head.
    """
    group = nexus.group(entry, "components", "NXcollection")
    labels = nexus.image(
        group, "labels", np.asarray(composition.labels, np.int16), "1", "Component"
    )
    labels.attrs["description"] = "index into names; -1: in no component"
    nexus.image(group, "membership", np.asarray(composition.membership, np.float32), "1",
                "Probability of the own component", fillvalue=np.nan)  # fmt: skip
    kinds = nexus.image(group, "kinds", composition.kinds, "1", "Kind of pixel")
    words = " ".join(word.replace(" ", "_") for word in KINDS.values())
    kinds.attrs.update(flag_values=np.array(list(KINDS), np.uint8), flag_meanings=words)
    group["names"] = nexus.texts(list(composition.names))
    nexus.text(group, "rule", composition.rule.to_json())
    group["rule"].attrs["type"] = "application/json"
    nexus.number(group, "seed", np.int64(composition.rule.seed), "")
    if table is not None:
        nexus.text(group, "about", json.dumps(about(composition, table), allow_nan=False))
        nexus.text(group, "table", _rows(table_rows(table)))
        if pairs:
            nexus.text(group, "pairs", _rows(pair_rows(table, pairs)))


def _rows(rows: list[list[Any]]) -> str:
    """JSON; what is not a number is null."""
    plain = [[None if isinstance(v, float) and not np.isfinite(v) else v for v in r] for r in rows]
    return json.dumps(plain, allow_nan=False)
