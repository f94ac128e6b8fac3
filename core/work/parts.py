"""A work as plain values: what stands in a journal, and in part in a result file.

Each part carries a version of its own. Whatever comes in is taken for damaged: a `SettingsError`
names the part and what is wrong with it.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import asdict
from pathlib import Path
from typing import Any

from ..components.rule import Rule
from ..decisions import Decision, Review
from ..errors import InputError, SettingsError
from ..settings import Settings
from ..sheets import of_sheets, sheets_from
from ..surface.levelling import Levelling
from .answers import Answers
from .values import Laid, Work

VERSION = 1
MOST_PAIRS = 1000
_FAULTS = (TypeError, ValueError, KeyError, OverflowError, RecursionError)


def of_review(review: Review) -> list[dict[str, Any]]:
    """The decisions, oldest first."""
    return [d.as_dict() for d in review.decisions]


def review_from(data: Any) -> Review:
    if not isinstance(data, list):
        raise SettingsError("review", "is not a list of decisions.")
    return Review.of(Decision.from_dict(one) for one in data)


def of_places(places: Any) -> dict[str, Any] | None:
    return places.as_dict() if places else None


def places_from(data: Any) -> Any:
    from ..places import Places

    return None if data is None else Places.from_dict(data)


def of_levelling(levelling: Levelling | None) -> dict[str, Any]:
    """With its version; a levelling that takes nothing off is null."""
    data = None if levelling is None else asdict(levelling)
    return {"palpate_levelling": VERSION, "levelling": data}


def levelling_from(data: Any) -> Levelling | None:
    found = _versioned(data, "levelling")
    if found is None:
        return None
    try:
        order, lines, on = found["order"], found["lines"], found["on"]
        whole = all(type(n) is int for n in (order, *on))
        if not whole or not isinstance(lines, str) or len(on) > 100:
            raise ValueError("a number or a word is none")
        return Levelling(order, lines, tuple(on))
    except _FAULTS as error:
        raise SettingsError("levelling", f"is none ({_short(error)}).") from None


def of_picture(laid: Laid | None) -> dict[str, Any]:
    """File, alignment and landmarks, with a version; no picture is null."""
    data = None
    if laid is not None:
        alignment = laid.alignment
        data = {"path": str(laid.path), "kind": laid.kind, "pairs": [list(p) for p in laid.pairs],
                "alignment": None if alignment is None else json.loads(alignment.to_json())
                }  # fmt: skip
    return {"palpate_picture": VERSION, "picture": data}


def picture_from(data: Any) -> Laid | None:
    found = _versioned(data, "picture")
    if found is None:
        return None
    from ..pictures.alignment import KINDS, Alignment

    try:
        pairs = tuple(tuple(float(v) for v in pair) for pair in found["pairs"])
        if any(len(p) != 4 or not all(map(math.isfinite, p)) for p in pairs[:MOST_PAIRS]):
            raise ValueError("a landmark is not four numbers")
        if found["kind"] not in KINDS or len(pairs) > MOST_PAIRS:
            raise ValueError("its kind is not known, or it has too many landmarks")
        given, path = found["alignment"], found["path"]
        alignment = None if given is None else Alignment.from_json(json.dumps(given))
        if not isinstance(path, str) or "\0" in path:
            raise ValueError("its file has no name")
        return Laid(Path(path), alignment, pairs, found["kind"])  # type: ignore[arg-type]
    except InputError as error:
        raise SettingsError("picture", str(error)) from None
    except _FAULTS as error:
        raise SettingsError("picture", f"is none ({_short(error)}).") from None


PARTS: dict[str, tuple[Any, Any]] = {
    "settings": (Settings.as_dict, Settings.from_dict),
    "rule": (Rule.as_dict, Rule.from_dict),
    "review": (of_review, review_from),
    "places": (of_places, places_from),
    "levelling": (of_levelling, levelling_from),
    "picture": (of_picture, picture_from),
    "sheets": (of_sheets, sheets_from),
    "answers": (Answers.as_dict, Answers.from_dict),
}
"""Field of a `Work` -> what makes it plain, and what reads that."""


def as_parts(work: Work) -> dict[str, Any]:
    """The whole work as plain values, fit for JSON."""
    return {name: plain(getattr(work, name)) for name, (plain, _) in PARTS.items()}


def from_parts(data: Any) -> Work:
    """Back again; a part that is absent is as at the beginning.

    Raises SettingsError naming what is wrong.
    """
    if not isinstance(data, Mapping):
        raise SettingsError("work", "is not a table of parts.")
    unknown = [name for name in data if name not in PARTS]
    if unknown:
        raise SettingsError(str(unknown[0])[:60], "is unknown: it is of a newer version. Update "
                            "Palpate.")  # fmt: skip
    return Work(**{name: PARTS[name][1](data[name]) for name in data})


def _versioned(data: Any, name: str) -> Any:
    if not isinstance(data, Mapping) or name not in data:
        raise SettingsError(name, "is not a table of values.")
    version = data.get(f"palpate_{name}")
    if type(version) is int and version > VERSION:
        raise SettingsError(name, f"is of version {version}, newer than this program reads "
                            f"({VERSION}); update Palpate.")  # fmt: skip
    if version != VERSION or not isinstance(data[name], (Mapping, type(None))):
        raise SettingsError(name, "is of no version that is known.")
    return data[name]


def _short(error: Exception) -> str:
    return " ".join(str(error).split())[:120] or type(error).__name__
