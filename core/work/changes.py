"""What differs between two works, as small plain values: one act of a journal.

Lists (decisions, regions, profiles) are told as a splice: runs ``[from, to]`` of entries that stay
and, between them, the new ones. So a new decision is one decision, whatever else was decided.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

from ..decisions import Decision, Review
from ..errors import SettingsError
from ..settings import Settings, declarations
from .parts import PARTS
from .values import Work

Plain = dict[str, Any]


def change_of(before: Work, after: Work) -> Plain:
    """The parts that differ, as `changed` takes them; empty if none does."""
    found: Plain = {}
    for name, (plain, _) in PARTS.items():
        old, new = getattr(before, name), getattr(after, name)
        if old is new or old == new:
            continue
        how = _SPECIAL.get(name)
        found[name] = how[0](old, new) if how else plain(new)
    return found


def changed(before: Work, change: Any) -> Work:
    """The work after a change. Raises SettingsError if it can't be made.

    That no two decisions are about one pixel is not looked at again: see `Review.of`.
    """
    if not isinstance(change, dict) or any(name not in PARTS for name in change):
        raise SettingsError("change", "is none that this version of Palpate knows.")
    parts = {}
    for name, data in change.items():
        how = _SPECIAL.get(name)
        old = getattr(before, name)
        parts[name] = how[1](old, data) if how else PARTS[name][1](data)
    return replace(before, **parts)


# ---- settings: the values that differ


def _settings(old: Settings, new: Settings) -> Plain:
    paths = (path for path, _ in declarations())
    return {path: new.value(path) for path in paths if old.value(path) != new.value(path)}


def _set(old: Settings, data: Any) -> Settings:
    if not isinstance(data, dict):
        raise SettingsError("settings", "are no table of values.")
    return old.with_values(data)


# ---- lists: a splice


def splice(old: Sequence[Any], new: Sequence[Any], plain: Callable[[Any], Any]) -> list[Any]:
    """Runs of entries that stay, being the same objects, and new entries as plain values."""
    places = {id(one): at for at, one in enumerate(old)}
    found: list[Any] = []
    for one in new:
        at = places.get(id(one))
        if at is None:
            found.append(plain(one))
        elif found and isinstance(found[-1], list) and found[-1][1] == at:
            found[-1][1] = at + 1
        else:
            found.append([at, at + 1])
    return found


def spliced(old: Sequence[Any], data: Any, read: Callable[[Any], Any]) -> list[Any]:
    """Back again. Raises SettingsError if it does not fit."""
    if not isinstance(data, list):
        raise SettingsError("change", "is not a list of what stays and what is new.")
    found: list[Any] = []
    for one in data:
        if not isinstance(one, list):
            found.append(read(one))
            continue
        whole = len(one) == 2 and all(type(n) is int for n in one)
        if not whole or not 0 <= one[0] < one[1] <= len(old):
            raise SettingsError("change", "names entries that are not there.")
        found += old[one[0] : one[1]]
    return found


def _review(old: Review, new: Review) -> Plain:
    return {"decisions": splice(old.decisions, new.decisions, Decision.as_dict)}


def _reviewed(old: Review, data: Any) -> Review:
    given = data.get("decisions") if isinstance(data, dict) else None
    return Review(tuple(spliced(old.decisions, given, Decision.from_dict)))


def _places(old: Any, new: Any) -> Any:
    from ..places import described

    if not new:
        return None
    regions, profiles = (old.regions, old.profiles) if old else ((), ())
    return {"unit": new.unit, "regions": splice(regions, new.regions, described.of_region),
            "profiles": splice(profiles, new.profiles, described.of_profile)}  # fmt: skip


def _placed(old: Any, data: Any) -> Any:
    from ..places import Places, described

    if data is None:
        return None
    if not isinstance(data, dict):
        raise SettingsError("places", "are no table of places.")
    regions, profiles = (old.regions, old.profiles) if old else ((), ())
    return Places(
        tuple(spliced(regions, data.get("regions"),
                      lambda one: described.region_from("regions", one))),
        tuple(spliced(profiles, data.get("profiles"),
                      lambda one: described.profile_from("profiles", one))),
        data.get("unit"),  # type: ignore[arg-type]
    )  # fmt: skip


_SPECIAL: dict[str, tuple[Callable[..., Any], Callable[..., Any]]] = {
    "settings": (_settings, _set), "review": (_review, _reviewed), "places": (_places, _placed),
}  # fmt: skip
