"""What a person may choose, declared once.

One frozen dataclass per stage, in ``sections``; each field carries its default, unit, range, help
and source, and the window's forms, the command line's messages and the saved files are all made
from that. `Settings` holds one of each. A change makes a new `Settings`; equality decides what runs
again.
"""

from __future__ import annotations

import json
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import Field, asdict, dataclass, field, fields, replace
from pathlib import Path
from typing import Any

from .errors import SettingsError
from .sections import (
    SECTIONS,
    Adhesion,
    Baseline,
    Calibration,
    Doubts,
    Fit,
    Layer,
    Sample,
    Stiffness,
    Tip,
    Uncertainty,
    Viscous,
)
from .sections.curve import ADHESIONS, CONTACTS, GIVEN, SHAPES
from .sections.declare import OURS, PRACTICE, as_declared, check_value, choice, number, range_text

__all__ = [
    "ADHESIONS", "CONTACTS", "GIVEN", "OURS", "PRACTICE", "SECTIONS", "SHAPES", "VERSION",
    "Adhesion", "Baseline", "Calibration", "Doubts", "Fit", "Layer", "Sample", "Settings",
    "Stiffness", "Tip", "Uncertainty", "Viscous", "as_declared", "check_value", "choice",
    "declaration",
    "declarations", "number", "range_text", "split",
]  # fmt: skip

VERSION = 1


@dataclass(frozen=True)
class Settings:
    """Everything chosen for an analysis: one frozen section per stage.

    ``Settings()`` is the default; ``settings.with_value("fit.law", "cone")`` makes a changed one;
    ``to_toml`` and ``to_json`` give the text of a settings file, ``load`` reads one.
    """

    calibration: Calibration = field(default_factory=Calibration)
    tip: Tip = field(default_factory=Tip)
    sample: Sample = field(default_factory=Sample)
    layer: Layer = field(default_factory=Layer)
    baseline: Baseline = field(default_factory=Baseline)
    adhesion: Adhesion = field(default_factory=Adhesion)
    fit: Fit = field(default_factory=Fit)
    stiffness: Stiffness = field(default_factory=Stiffness)
    viscous: Viscous = field(default_factory=Viscous)
    uncertainty: Uncertainty = field(default_factory=Uncertainty)
    doubts: Doubts = field(default_factory=Doubts)

    def __post_init__(self) -> None:
        for path, spec in declarations():
            check_value(path, spec, self.value(path))
        self._check_order("fit.fraction_from", "fit.fraction_to")
        self._check_order("fit.force_from", "fit.force_to")
        self._check_order("fit.indentation_from", "fit.indentation_to")
        self._check_order("stiffness.share_from", "stiffness.share_to")
        self._check_adhesion()

    def _check_adhesion(self) -> None:
        """JKR and its kin are known for a paraboloid on a thick sample only."""
        if self.fit.adhesion not in ("jkr", "maugis", "two_point"):
            return
        if self.fit.law != "paraboloid":
            raise SettingsError("fit.adhesion", "is known for the paraboloid only: choose that "
                                "contact law, or a constant pull.")  # fmt: skip
        if self.layer.base != "none":
            raise SettingsError("fit.adhesion", "is known for a thick sample only: choose a "
                                "constant pull with a layer.")  # fmt: skip

    def _check_order(self, low: str, high: str) -> None:
        if not self.value(low) < self.value(high):
            raise SettingsError(low, f"must be below {high} ({self.value(high):g}).")

    def value(self, path: str) -> Any:
        """The value at ``section.field``."""
        section, name = split(path)
        return getattr(getattr(self, section), name)

    def with_value(self, path: str, value: Any) -> Settings:
        """A new Settings with one field changed. Raises SettingsError on an impossible value."""
        return self.with_values({path: value})

    def with_values(self, values: Mapping[str, Any]) -> Settings:
        """A new Settings with several fields changed at once (checked together)."""
        changed: dict[str, dict[str, Any]] = {}
        for path, value in values.items():
            section, name = split(path)
            spec = declaration(path)
            changed.setdefault(section, {})[name] = as_declared(path, spec, value)
        sections = {s: replace(getattr(self, s), **kw) for s, kw in changed.items()}
        return replace(self, **sections)

    def changed(self) -> dict[str, Any]:
        """The fields that differ from their defaults, ``section.field`` -> value."""
        default = Settings()
        return {
            path: self.value(path)
            for path, _ in declarations()
            if self.value(path) != default.value(path)
        }

    def as_dict(self) -> dict[str, Any]:
        """Plain nested dictionary with the version; None (as recorded) is left out."""
        out: dict[str, Any] = {"palpate_settings": VERSION}
        for section, values in asdict(self).items():
            out[section] = {k: v for k, v in values.items() if v is not None}
        return out

    def to_json(self) -> str:
        """Canonical JSON: sorted keys, no spaces; equal settings give equal text."""
        return json.dumps(self.as_dict(), sort_keys=True, separators=(",", ":"), allow_nan=False)

    def to_toml(self) -> str:
        """TOML, to be read and edited by a person."""
        import tomli_w

        return tomli_w.dumps(self.as_dict())

    @classmethod
    def from_dict(cls, data: Any) -> Settings:
        """From a nested dictionary; unknown or impossible entries raise SettingsError."""
        if not isinstance(data, Mapping):
            raise SettingsError("(whole file)", "is not a table of settings.")
        version = data.get("palpate_settings")
        if not isinstance(version, int) or isinstance(version, bool):
            raise SettingsError(
                "palpate_settings", "is missing: add the line palpate_settings = 1 at the top."
            )
        if version < 1:
            raise SettingsError("palpate_settings", f"version {version} never was; it should be 1.")
        if version > VERSION:
            raise SettingsError(
                "palpate_settings",
                f"version {version} is newer than this program reads ({VERSION}); update Palpate.",
            )
        values: dict[str, Any] = {}
        for section, table in data.items():
            if section == "palpate_settings":
                continue
            if section not in SECTIONS or not isinstance(table, Mapping):
                raise SettingsError(str(section)[:60], f"is unknown; known: {', '.join(SECTIONS)}.")
            values |= {f"{section}.{name}": value for name, value in table.items()}
        return cls().with_values(values)

    @classmethod
    def from_text(cls, text: str, kind: str) -> Settings:
        """From TOML or JSON text (`kind` is "toml" or "json")."""
        try:
            data = tomllib.loads(text) if kind == "toml" else json.loads(text)
        except (ValueError, RecursionError) as error:
            raise SettingsError("(whole file)", f"is not valid {kind.upper()}: {error}") from None
        return cls.from_dict(data)

    @classmethod
    def load(cls, path: str | Path) -> Settings:
        """From a .toml or .json file. Raises SettingsError naming the file and the field."""
        path = Path(path)
        try:
            if path.stat().st_size > 1_000_000:
                raise SettingsError("(whole file)", "is larger than a settings file can be.")
            text = path.read_text(encoding="utf-8")
            return cls.from_text(text, "json" if path.suffix.lower() == ".json" else "toml")
        except SettingsError as error:
            raise SettingsError(error.field, f"{error.what} (in {path})") from None
        except (OSError, UnicodeDecodeError) as error:
            raise SettingsError("(whole file)", f"{path} can't be read: {error}") from None


def split(path: str) -> tuple[str, str]:
    """``section.field`` in two; raises SettingsError if there is no such section."""
    section, _, name = path.partition(".")
    if section not in SECTIONS:
        raise SettingsError(path[:80], f"is unknown; known sections: {', '.join(SECTIONS)}.")
    return section, name


def declarations() -> Iterator[tuple[str, Field[Any]]]:
    """Every field as (``section.field``, declaration), in the order of the forms."""
    for section, cls in SECTIONS.items():
        for spec in fields(cls):
            yield f"{section}.{spec.name}", spec


def declaration(path: str) -> Field[Any]:
    """The declaration of one field; its ``metadata`` has kind, label, unit, low, high, options,
    help, source, shown_if."""
    section, name = split(path)
    for spec in fields(SECTIONS[section]):
        if spec.name == name:
            return spec
    known = ", ".join(f.name for f in fields(SECTIONS[section]))
    raise SettingsError(path[:80], f"is unknown; known in this section: {known}.")
