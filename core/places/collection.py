"""All places of a map as one value: regions and profiles, their unit, and their file."""

from __future__ import annotations

import json
import os
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from ..errors import ReadError, SettingsError
from . import checks, described
from .profiles import Profile
from .regions import Region, points_of

VERSION = 1
MOST_PLACES = 1_000
MOST_POINTS = 200_000
"""Points of all places together."""
LARGEST_FILE = 20_000_000
UNITS = ("nm", "pixel")
_REPAIR = "Correct it with a text editor, or save the places again."

Place = Region | Profile


@dataclass(frozen=True)
class Places:
    """Named regions and profiles; every change gives a new one.

    Attributes
    ----------
    regions, profiles : in the order in which they were made
    unit : of all their coordinates: "nm", or "pixel" if the map has no scale (centres of pixels
        are then 0, 1, 2 ...)

    Raises SettingsError if two places have one name (capitals count as small letters), or there
    are more than 1,000 or more than 200,000 points in all.
    """

    regions: tuple[Region, ...] = ()
    profiles: tuple[Profile, ...] = ()
    unit: str = "nm"

    def __post_init__(self) -> None:
        for key, kind in (("regions", Region), ("profiles", Profile)):
            found = tuple(getattr(self, key))
            for i, one in enumerate(found):
                if not isinstance(one, kind):
                    raise SettingsError(f"places.{key}[{i}]", f"must be a {kind.__name__.lower()}.")
            object.__setattr__(self, key, found)
        if self.unit not in UNITS:
            raise SettingsError("places.unit", "must be “nm” or “pixel”: choose one.")
        if len(self) > MOST_PLACES:
            raise SettingsError("places", f"are {len(self):,}; keep {MOST_PLACES:,} at most.")
        points = sum(points_of(r.shape) for r in self.regions)
        points += sum(len(p.points) for p in self.profiles)
        if points > MOST_POINTS:
            raise SettingsError("places", f"have {points:,} points; keep {MOST_POINTS:,} at most.")
        seen: set[str] = set()
        for name in self.names:
            if name.casefold() in seen:
                raise SettingsError("places", f"have the name “{name}” twice: rename one.")
            seen.add(name.casefold())

    def __len__(self) -> int:
        return len(self.regions) + len(self.profiles)

    @property
    def all(self) -> tuple[Place, ...]:
        """The regions, then the profiles."""
        return (*self.regions, *self.profiles)

    @property
    def names(self) -> tuple[str, ...]:
        """Of the regions, then of the profiles."""
        return tuple(one.name for one in self.all)

    def find(self, name: str) -> Place:
        """The place with this name; raises SettingsError if there is none."""
        for one in self.all:
            if one.name == name:
                return one
        raise SettingsError("places", f"have no “{described.shown(name)}”.")

    def free_name(self, stem: str) -> str:
        """A name that is not taken yet: the stem with the next number."""
        taken = {name.casefold() for name in self.names}
        for number in range(1, MOST_PLACES + 2):
            tail = f" {number}"
            found = stem[: checks.LONGEST_NAME - len(tail)].rstrip() + tail
            if found.casefold() not in taken:
                return found
        raise SettingsError("places", f"are {len(self):,}; keep {MOST_PLACES:,} at most.")

    def add(self, place: Place) -> Places:
        """With one more, at the end of its kind."""
        if isinstance(place, Region):
            return replace(self, regions=(*self.regions, place))
        return replace(self, profiles=(*self.profiles, place))

    def remove(self, name: str) -> Places:
        """Without the place of this name."""
        gone = self.find(name)
        return replace(self, regions=tuple(r for r in self.regions if r is not gone),
                       profiles=tuple(p for p in self.profiles if p is not gone))  # fmt: skip

    def replace(self, name: str, place: Place) -> Places:
        """With another of the same kind in the place of this name, under its own name."""
        old = self.find(name)
        if type(old) is not type(place):
            raise SettingsError("places", f"“{name}” can only be replaced by a "
                                f"{type(old).__name__.lower()}.")  # fmt: skip
        return replace(
            self, regions=tuple(place if r is old else r for r in self.regions),  # type: ignore[misc]
            profiles=tuple(place if p is old else p for p in self.profiles),  # type: ignore[misc]
        )  # fmt: skip

    def rename(self, old: str, new: str) -> Places:
        """With another name for one place."""
        return self.replace(old, replace(self.find(old), name=new))

    def misfit(self, has_scale: bool) -> str:
        """Why these places can't be laid on a map with or without a scale; "" if they can."""
        if not len(self) or (self.unit == "nm") == has_scale:
            return ""
        if has_scale:
            return ("These places were drawn on a map without a scale, in pixels; this map has "
                    "one. Draw them anew.")  # fmt: skip
        return ("These places are in nanometres, but this map has no scale. Draw them anew, or "
                "give the map its scan size.")  # fmt: skip

    def as_dict(self) -> dict[str, Any]:
        """Plain nested dictionaries with the version."""
        return {"palpate_places": VERSION, "unit": self.unit,
                "regions": [described.of_region(r) for r in self.regions],
                "profiles": [described.of_profile(p) for p in self.profiles]}  # fmt: skip

    def to_json(self) -> str:
        """Canonical JSON: sorted keys, no spaces; equal places give equal text."""
        return json.dumps(self.as_dict(), sort_keys=True, separators=(",", ":"), allow_nan=False)

    @classmethod
    def from_dict(cls, data: Any) -> Places:
        """From nested dictionaries; what is unknown or impossible raises SettingsError."""
        where = "(whole file)"
        if not isinstance(data, Mapping):
            raise SettingsError(where, "is not a table of places: choose another file.")
        version = data.get("palpate_places")
        if not isinstance(version, int) or isinstance(version, bool):
            raise SettingsError("palpate_places", "is missing, so this is not a file of places: "
                                "choose another file.")  # fmt: skip
        if version < 1:
            raise SettingsError("palpate_places", f"version {described.shown(version)} never was; "
                                f"it should be {VERSION}.")  # fmt: skip
        if version > VERSION:
            raise SettingsError("palpate_places", f"version {described.shown(version)} is "
                                f"newer than this program reads ({VERSION}); update Palpate."
                                )  # fmt: skip
        given = described.table(where, data, ("palpate_places", "unit", "regions", "profiles"))
        for key in ("regions", "profiles"):
            if not isinstance(given[key], list):
                raise SettingsError(key, "must be a list: write it in brackets.")
        if len(given["regions"]) + len(given["profiles"]) > MOST_PLACES:
            raise SettingsError(where, f"has more than {MOST_PLACES:,} places: split it.")
        if not isinstance(given["unit"], str):
            raise SettingsError("unit", "must be “nm” or “pixel”: choose one.")
        return cls(
            tuple(described.region_from(f"regions[{i}]", r)
                  for i, r in enumerate(given["regions"])),
            tuple(described.profile_from(f"profiles[{i}]", p)
                  for i, p in enumerate(given["profiles"])), given["unit"],
        )  # fmt: skip

    @classmethod
    def from_json(cls, text: str) -> Places:
        """From JSON text; raises SettingsError that names the place in it and the repair."""
        if len(text) > LARGEST_FILE:
            raise SettingsError("(whole file)", "is larger than a file of places can be.")
        try:
            data = json.loads(text, parse_constant=_refuse, object_pairs_hook=_once)
        except SettingsError:
            raise
        except (ValueError, RecursionError) as error:
            raise SettingsError("(whole file)", "is not valid JSON: "
                                f"{described.shown(error)}.") from None  # fmt: skip
        return cls.from_dict(data)

    def save(self, path: str | os.PathLike[str]) -> None:
        """Save as JSON; the old file or the new one is there, whole. Raises WriteError."""
        from ..writers.atomic import saving

        text = json.dumps(self.as_dict(), sort_keys=True, indent=1, ensure_ascii=False,
                          allow_nan=False)  # fmt: skip
        with saving(path, needs=len(text)) as temporary:
            temporary.write_text(text + "\n", encoding="utf-8")

    @classmethod
    def load(cls, path: str | os.PathLike[str]) -> Places:
        """Read a file of places. Raises ReadError that names the file, the place and the repair."""
        path = Path(path)
        try:
            if not path.is_file():
                what = "this is a folder or a device" if path.exists() else "there is no such file"
                raise ReadError(path, what, "Choose a file of places.")
            if path.stat().st_size > LARGEST_FILE:
                raise ReadError(path, "it is larger than a file of places can be",
                                "Choose another file.")  # fmt: skip
            return cls.from_json(path.read_text(encoding="utf-8"))
        except SettingsError as error:
            raise ReadError(path, error.what.rstrip("."), _REPAIR, error.field) from None
        except UnicodeDecodeError:
            raise ReadError(path, "it is not text in UTF-8, so not a file of places",
                            "Choose another file.") from None  # fmt: skip
        except (OSError, ValueError) as error:
            said = getattr(error, "strerror", None) or described.shown(error)
            raise ReadError(path, f"it can't be read ({said})", "Choose another file.") from None


def _refuse(constant: str) -> float:
    raise SettingsError("(whole file)", f"holds {constant}, which is no number: correct it.")


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) != len(pairs):
        keys = [key for key, _ in pairs]
        twice = next(key for key in keys if keys.count(key) > 1)
        raise SettingsError("(whole file)", f"has the key “{described.shown(twice)}” twice in one "
                            "table: take one out.")  # fmt: skip
    return found
