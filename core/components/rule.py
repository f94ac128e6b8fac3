"""The rule by which pixels become components: a frozen value, kept with the labels it made."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields, replace
from pathlib import Path
from typing import Any

from ..channels import CHANNELS
from ..errors import SettingsError

VERSION = 1
MOST = 12
"""Components that can be told apart by colour, mark and letter."""
METHODS = {
    "mixture": "found as a mixture",
    "thresholds": "between thresholds",
    "gates": "drawn on the joint histogram",
    "end_members": "nearest to known end members",
}
ZONES = {"contact": "contact radius and half a pixel", "none": "none", "given": "of a given width"}
SIGNED = (
    "height",
    "contact_height",
    "adhesion",
    "contact_point",
    "baseline_slope",
    "drag",
    "drift",
)
"""Channels that are taken as they are; the others are positive and taken as log₁₀."""
REALS = ("smooth", "least", "zone_width", "thresholds", "gates", "members", "poisson_ratios")
LISTS = ("axes", "thresholds", "gates", "members", "names", "poisson_ratios")


@dataclass(frozen=True)
class Axis:
    """One channel that the rule looks at; `log` takes log₁₀ of it."""

    channel: str
    log: bool = False

    @classmethod
    def of(cls, channel: str) -> Axis:
        """An axis as a channel is usually taken: log₁₀ where its errors multiply."""
        return cls(channel, channel not in SIGNED)


@dataclass(frozen=True)
class Gate:
    """A polygon on the first two axes, in channel units, whose pixels are one component."""

    vertices: tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class EndMember:
    """A component that is known beforehand.

    Attributes
    ----------
    centre : of each axis, in channel units
    spread : standard deviation on each axis; of log₁₀ where the axis is one
    """

    centre: tuple[float, ...]
    spread: tuple[float, ...]


@dataclass(frozen=True)
class Rule:
    """How components are made.

    Attributes
    ----------
    method : one of `METHODS`
    axes : what is looked at; thresholds look at the first, gates at the first two
    count, most : of components in a mixture; count 0 lets the criterion choose from 1 to `most`
    plain : whether a mixture is fitted to pixels away from edges only; switch it off where domains
        are only a few pixels wide
    thresholds : in channel units, rising
    gates, members : in the order of their components
    smooth : how strongly a pixel goes with its neighbours that look alike; 0 not at all
    least : a pixel whose membership is below this is undecided and belongs to none
    rims : whether thin rims of a mixture's component between two others are taken for mixed pixels
        of these
    zone, zone_width : which pixels along boundaries are kept out of a component's statistics;
        `zone_width` [nm, or pixels without a scale] when it is given
    seed : of all that is random
    names, poisson_ratios : of the components, as far as given; "" and None where not
    """

    method: str = "mixture"
    axes: tuple[Axis, ...] = (Axis("reduced_modulus", True), Axis("adhesion", False))
    count: int = 0
    most: int = 6
    plain: bool = True
    thresholds: tuple[float, ...] = ()
    gates: tuple[Gate, ...] = ()
    members: tuple[EndMember, ...] = ()
    smooth: float = 0.0
    least: float = 0.5
    rims: bool = True
    zone: str = "contact"
    zone_width: float = 0.0
    seed: int = 1
    names: tuple[str, ...] = ()
    poisson_ratios: tuple[float | None, ...] = ()

    def __post_init__(self) -> None:
        _check(self)

    @property
    def given(self) -> int:
        """How many components the rule itself names; 0 if they are to be counted."""
        known = {
            "mixture": self.count,
            "thresholds": len(self.thresholds) + 1,
            "gates": len(self.gates),
            "end_members": len(self.members),
        }
        return known[self.method]

    def name(self, number: int) -> str:
        """What component `number` is called: as given, or its letter."""
        given = self.names[number] if number < len(self.names) else ""
        return given or letter(number)

    def poisson_ratio(self, number: int) -> float | None:
        """Of component `number`, None if the map's own serves."""
        known = self.poisson_ratios
        return known[number] if number < len(known) else None

    def named(self, number: int, name: str) -> Rule:
        """The rule with another name for a component."""
        return replace(self, names=_at(self.names, number, name.strip(), ""))

    def with_poisson_ratio(self, number: int, value: float | None) -> Rule:
        """The rule with another Poisson ratio for a component."""
        return replace(self, poisson_ratios=_at(self.poisson_ratios, number, value, None))

    def cut_at(self, value: float) -> Rule:
        """The rule with one threshold more; names go with the component that keeps the lower end
        of what is cut in two, and the new one has none."""
        if value in self.thresholds:
            return self
        cuts = tuple(sorted((*self.thresholds, value)))
        at = cuts.index(value) + 1
        return replace(self, thresholds=cuts, names=_opened(self.names, at, ""),
                       poisson_ratios=_opened(self.poisson_ratios, at, None))  # fmt: skip

    def joined_at(self, index: int) -> Rule:
        """The rule with a threshold less; the component that comes of two has no name."""
        cuts = self.thresholds[:index] + self.thresholds[index + 1 :]
        return replace(self, thresholds=cuts, names=_joined(self.names, index, ""),
                       poisson_ratios=_joined(self.poisson_ratios, index, None))  # fmt: skip

    @property
    def finding(self) -> Rule:
        """The rule without what only names things: equal ones make the same labels."""
        return replace(self, names=(), poisson_ratios=())

    # -- files

    def as_dict(self) -> dict[str, Any]:
        """Plain nested dictionary with the version."""
        data = asdict(self)
        return {"palpate_rule": VERSION, **data, **{name: _floats(data[name]) for name in REALS}}

    def to_json(self) -> str:
        """Canonical JSON: equal rules give equal text."""
        return json.dumps(self.as_dict(), sort_keys=True, separators=(",", ":"), allow_nan=False)

    @classmethod
    def from_dict(cls, data: Any) -> Rule:
        """From a nested dictionary, or one that holds it under ``rule`` as the file beside a table
        does; unknown or impossible entries raise SettingsError."""
        if isinstance(data, Mapping) and isinstance(data.get("rule"), Mapping):
            data = data["rule"]
        if not isinstance(data, Mapping) or data.get("palpate_rule") != VERSION:
            raise SettingsError("palpate_rule", f"is missing or not {VERSION}: this is not a rule "
                                "for components that this program reads.")  # fmt: skip
        known = {spec.name for spec in fields(cls)}
        values = {name: value for name, value in data.items() if name != "palpate_rule"}
        unknown = sorted(set(values) - known)
        if unknown:
            names = ", ".join(sorted(known))
            raise SettingsError(str(unknown[0])[:60], f"is unknown; known: {names}.")
        return cls(**{name: _entry(name, value) for name, value in values.items()})

    @classmethod
    def from_json(cls, text: str) -> Rule:
        """From JSON text; raises SettingsError."""
        try:
            data = json.loads(text)
        except (ValueError, RecursionError) as error:
            raise SettingsError("(whole file)", f"is not valid JSON: {error}") from None
        return cls.from_dict(data)

    @classmethod
    def load(cls, path: str | Path) -> Rule:
        """From a .json file. Raises SettingsError naming the file."""
        path = Path(path)
        try:
            if path.stat().st_size > 1_000_000:
                raise SettingsError("(whole file)", "is larger than a rule can be.")
            return cls.from_json(path.read_text(encoding="utf-8"))
        except SettingsError as error:
            raise SettingsError(error.field, f"{error.what} (in {path})") from None
        except (OSError, UnicodeDecodeError) as error:
            raise SettingsError("(whole file)", f"{path} can't be read: {error}") from None


def letter(number: int) -> str:
    """The letter of a component: A, B, C ..."""
    return chr(ord("A") + number) if 0 <= number < 26 else f"A{number}"


def _at(known: tuple[Any, ...], number: int, value: Any, empty: Any) -> tuple[Any, ...]:
    """A tuple with one entry changed, filled up and without empty ones at its end."""
    made = list(known) + [empty] * max(0, number + 1 - len(known))
    made[number] = value
    while made and made[-1] == empty:
        made.pop()
    return tuple(made)


def _floats(value: Any) -> Any:
    """Numbers as floats without a negative zero, so that equal ones make the same text."""
    if isinstance(value, dict):
        return {key: _floats(one) for key, one in value.items()}
    if isinstance(value, (list, tuple)):
        return [_floats(one) for one in value]
    return value if value is None else float(value) + 0.0


def _entry(name: str, value: Any) -> Any:
    """One entry of a file in the type of the rule; raises SettingsError naming it."""
    if name in LISTS and not isinstance(value, (list, tuple)):
        raise SettingsError(f"components.{name}", "must be a list.")
    try:
        return _read(name, value)
    except (TypeError, ValueError, KeyError, OverflowError):
        raise SettingsError(f"components.{name}", "is not what belongs there.") from None


def _opened(known: tuple[Any, ...], at: int, empty: Any) -> tuple[Any, ...]:
    """A tuple with an empty entry put in, if it reaches that far."""
    return known if len(known) <= at else (*known[:at], empty, *known[at:])


def _joined(known: tuple[Any, ...], at: int, empty: Any) -> tuple[Any, ...]:
    """A tuple with entries `at` and the next replaced by one empty entry."""
    return known if len(known) <= at else (*known[:at], empty, *known[at + 2 :])


def _read(name: str, value: Any) -> Any:
    if name == "axes":
        return tuple(Axis(**one) for one in value)
    if name == "gates":
        return tuple(Gate(tuple((float(x), float(y)) for x, y in one["vertices"])) for one in value)
    if name == "members":
        return tuple(EndMember(tuple(map(float, one["centre"])), tuple(map(float, one["spread"])))
                     for one in value)  # fmt: skip
    return tuple(value) if isinstance(value, list) else value


def _check(rule: Rule) -> None:
    """Raise SettingsError naming the entry unless the rule can be followed."""
    _choice("method", rule.method, METHODS)
    _choice("zone", rule.zone, ZONES)
    _check_axes(rule)
    _whole("count", rule.count, 0, MOST)
    _whole("most", rule.most, 1, MOST)
    _whole("seed", rule.seed, 0, 2**31 - 1)
    _real("smooth", rule.smooth, 0.0, 10.0)
    _real("least", rule.least, 0.0, 0.999)
    _real("zone_width", rule.zone_width, 0.0, 1e9)
    for name in ("plain", "rims"):
        if not isinstance(getattr(rule, name), bool):
            raise SettingsError(f"components.{name}", "must be true or false.")
    _check_places(rule)
    if len(rule.names) > MOST or any(not isinstance(n, str) or len(n) > 60 for n in rule.names):
        raise SettingsError("components.names", "must be texts of at most 60 signs.")
    given = [name for name in rule.names if name]
    if len(set(given)) < len(given):
        raise SettingsError("components.names", "two components can't have the same name.")
    if len(rule.poisson_ratios) > MOST:
        raise SettingsError("components.poisson_ratios", f"at most {MOST} components have one.")
    for value in rule.poisson_ratios:
        if value is not None:
            _real("poisson_ratios", value, 0.0, 0.5)


def _check_axes(rule: Rule) -> None:
    names = [axis.channel for axis in rule.axes]
    unknown = [name for name in names if not isinstance(name, str) or name not in CHANNELS]
    if not names or unknown or len(set(names)) < len(names) or len(names) > 8:
        which = f"; {str(unknown[0])[:40]!r} is none." if unknown else "."
        raise SettingsError("components.axes", "must be one to eight different channels" + which)
    if any(not isinstance(axis.log, bool) for axis in rule.axes):
        raise SettingsError("components.axes", "log must be true or false.")


def _check_places(rule: Rule) -> None:
    """Thresholds, gates and end members."""
    cuts = rule.thresholds
    for cut in cuts:
        _real("thresholds", cut, -1e300, 1e300)
    if len(cuts) >= MOST or any(a >= b for a, b in zip(cuts, cuts[1:], strict=False)):
        raise SettingsError("components.thresholds", f"must rise, and be fewer than {MOST}.")
    if rule.method == "gates" and len(rule.axes) < 2:
        raise SettingsError(
            "components.axes", "must be two for gates drawn on the joint histogram."
        )
    for name in ("gates", "members"):
        if len(getattr(rule, name)) > MOST:
            raise SettingsError(f"components.{name}", f"at most {MOST} can be told apart.")
    for gate in rule.gates:
        if not 3 <= len(gate.vertices) <= 10_000:
            raise SettingsError("components.gates", "each needs three corners or more.")
        for x, y in gate.vertices:
            _real("gates", x, -1e300, 1e300)
            _real("gates", y, -1e300, 1e300)
    for member in rule.members:
        if not len(member.centre) == len(member.spread) == len(rule.axes):
            raise SettingsError("components.members", "need a centre and a spread for each axis.")
        for axis, centre, spread in zip(rule.axes, member.centre, member.spread, strict=True):
            _real("members", centre, 1e-300 if axis.log else -1e300, 1e300)
            _real("members", spread, 1e-300, 1e300)


def _choice(name: str, value: Any, options: Mapping[str, str]) -> None:
    if not isinstance(value, str) or value not in options:
        raise SettingsError(f"components.{name}", f"{str(value)[:40]!r} is not possible; one of "
                            f"{', '.join(options)}.")  # fmt: skip


def _whole(name: str, value: Any, low: int, high: int) -> None:
    if not isinstance(value, int) or isinstance(value, bool) or not low <= value <= high:
        raise SettingsError(f"components.{name}", f"{str(value)[:40]} is not possible; a whole "
                            f"number from {low} to {high}.")  # fmt: skip


def _real(name: str, value: Any, low: float, high: float) -> None:
    good = isinstance(value, (int, float)) and not isinstance(value, bool)
    if not good or not low <= value <= high:  # which NaN is not
        words = f"{str(value)[:40]} is not possible; from {low:g} to {high:g}."
        raise SettingsError(f"components.{name}", words)
