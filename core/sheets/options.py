"""What can be chosen for each kind of panel; forms, files and messages are made from it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import Field, dataclass, field, fields
from typing import Any

from ..errors import SettingsError
from ..sections.declare import as_declared, choice, number

LONGEST = 200
"""Characters of a text in a recipe."""


def flag(default: bool, label: str, text: str, *, shown_if: str = "") -> Any:
    """Declare a yes or no."""
    return field(default=default, metadata=dict(kind="flag", label=label, unit="", help=text,
                                                source="", shown_if=shown_if))  # fmt: skip


def words(default: str, label: str, text: str, *, of: str = "", shown_if: str = "") -> Any:
    """Declare a text; `of` says what it names: "channel", "component", "profile" or nothing."""
    return field(default=default, metadata=dict(kind="words", label=label, unit="", help=text,
                                                of=of, source="", shown_if=shown_if))  # fmt: skip


LIMITS = {"robust": "2 to 98 %", "full": "smallest to largest", "set": "typed"}
SCALES = {"linear": "linear", "log": "logarithmic"}
TRUSTED = "Only pixels that are to be used; the others are drawn as such and named in the legend"
COLOURS = "Name of a colour map; empty: the one of the channel's kind"


@dataclass(frozen=True)
class Options:
    """What all kinds have."""

    title: str = words("", "Title", "Above the panel; empty: none")

    def __post_init__(self) -> None:
        for spec in fields(self):
            value = _checked(spec.name, spec, getattr(self, spec.name))
            object.__setattr__(self, spec.name, value)

    def as_dict(self) -> dict[str, Any]:
        """What differs from the defaults."""
        return {spec.name: getattr(self, spec.name) for spec in fields(self)
                if getattr(self, spec.name) != spec.default}  # fmt: skip


@dataclass(frozen=True)
class MapOptions(Options):
    """A map of one channel."""

    channel: str = words("modulus", "Channel", "What is drawn", of="channel")
    trusted: bool = flag(True, "Without distrusted pixels", TRUSTED)
    limits: str = choice("robust", "Limits of the colours", LIMITS, "Values beyond the limits are "
                         "drawn in the end colours, and the colour bar shows it", "")  # fmt: skip
    low: float = number(0.0, "From", "", -1e12, 1e12, "In the channel's core unit", "",
                        shown_if="limits=set")  # fmt: skip
    high: float = number(1.0, "To", "", -1e12, 1e12, "In the channel's core unit", "",
                         shown_if="limits=set")  # fmt: skip
    shared: bool = flag(False, "Same limits as other maps", "In all panels of "
                        "this channel that share theirs, so that they can be compared")  # fmt: skip
    scale: str = choice("linear", "Scale of the colours", SCALES,
                        "Logarithmic: equal ratios look alike; the caption tells", "")  # fmt: skip
    colours: str = words("", "Colours", COLOURS, of="colours")
    unit: str = words("", "Unit", "Empty: the one that fits the numbers", of="unit")
    bar: str = choice("right", "Colour bar", {"right": "right", "below": "below", "none": "none"},
                      "Where it stands", "")  # fmt: skip
    scale_bar: bool = flag(True, "Scale bar", "A bar of known length under the map")
    axes: bool = flag(False, "Axes", "x and y with ticks instead of a bare map")
    boundaries: bool = flag(False, "Boundaries of components", "Drawn as lines over the map")
    places: bool = flag(False, "Regions and profiles", "With their names")


@dataclass(frozen=True)
class ComponentOptions(Options):
    """Which pixel belongs to which component."""

    zones: bool = flag(True, "Boundary zones", "Pixels near a boundary are hatched")
    shares: bool = flag(True, "Areas in the legend", "The share of each component with its ±")
    scale_bar: bool = flag(True, "Scale bar", "A bar of known length under the map")
    axes: bool = flag(False, "Axes", "x and y with ticks instead of a bare map")


@dataclass(frozen=True)
class DoubtOptions(Options):
    """Which pixels are doubted, and what was decided about them."""

    counts: bool = flag(True, "Counts in the legend", "How many pixels there are of each kind")
    scale_bar: bool = flag(True, "Scale bar", "A bar of known length under the map")
    axes: bool = flag(False, "Axes", "x and y with ticks instead of a bare map")


EXAMPLES = {"pixel": "this pixel", "typical": "a typical one", "best": "the surest one",
            "worst": "the worst one in use", "left_out": "the worst one left out"}  # fmt: skip


@dataclass(frozen=True)
class CurveOptions(Options):
    """One curve with all that was found on it."""

    which: str = choice("typical", "Curve", EXAMPLES, "By a rule, so that the sheet can be applied "
                        "to another map, or of one pixel", "")  # fmt: skip
    row: int = number(0, "Row", "", 0, 1e6, "From 0, first scan line", "", shown_if="which=pixel")
    col: int = number(0, "Column", "", 0, 1e6, "From 0", "", shown_if="which=pixel")
    component: str = words("", "Of component", "Letter of the component that it is chosen from; "
                           "empty: of all pixels", of="component")  # fmt: skip
    x: str = choice("separation", "Across", {"z": "base position", "separation": "separation",
                    "indentation": "indentation"}, "What goes across", "")  # fmt: skip
    y: str = choice("force", "Up", {"force": "force", "deflection": "deflection"},
                    "What goes up", "")  # fmt: skip
    part: str = choice("contact", "Part", {"contact": "contact and release", "whole": "all of it"},
                       "Which part of the curve is shown", "")  # fmt: skip
    window: bool = flag(True, "Fit window", "Shaded where the law was fitted")
    contact: bool = flag(True, "Contact point", "Marked on the baseline")
    adhesion: bool = flag(True, "Adhesion marker", "From the baseline to the largest pull")
    law: bool = flag(True, "Fitted law", "Drawn over the contact")
    residuals: bool = flag(False, "Residuals", "Below the curve, in units of the noise")


@dataclass(frozen=True)
class HistogramOptions(Options):
    """How one channel is distributed."""

    channel: str = words("modulus", "Channel", "What is counted", of="channel")
    trusted: bool = flag(True, "Without distrusted pixels", TRUSTED)
    bins: int = number(0, "Bins", "", 0, 1000, "0: by the rule of Freedman and Diaconis",
                       "Freedman & Diaconis, Z. Wahrscheinlichkeitstheorie 57 (1981) 453")
    log: bool = flag(False, "Logarithmic", "Equal ratios take equal room")
    components: bool = flag(True, "By component", "A curve for each component")
    unit: str = words("", "Unit", "Empty: the one that fits the numbers", of="unit")


@dataclass(frozen=True)
class JointOptions(Options):
    """Two channels against each other."""

    x: str = words("reduced_modulus", "Across", "Channel", of="channel")
    y: str = words("adhesion", "Up", "Channel", of="channel")
    trusted: bool = flag(True, "Without distrusted pixels", TRUSTED)
    bins: int = number(60, "Bins", "", 5, 500, "On each axis", "")
    log_x: bool = flag(True, "Across logarithmic", "Where all values are positive")
    log_y: bool = flag(False, "Up logarithmic", "Where all values are positive")
    components: bool = flag(True, "Components", "Outlined, with their letters")
    colours: str = words("", "Colours", COLOURS, of="colours")


@dataclass(frozen=True)
class ProfileOptions(Options):
    """A channel along a line of the map."""

    profile: str = words("", "Profile", "Its name; empty: the first one", of="profile")
    channel: str = words("modulus", "Channel", "What is drawn", of="channel")
    second: str = words("", "Second channel", "On an axis of its own below; empty: none",
                        of="channel")  # fmt: skip
    edges: bool = flag(True, "Width of the edge", "The edge fitted to the middle half of the line, "
                       "if there is one")  # fmt: skip


@dataclass(frozen=True)
class EvidenceOptions(Options):
    """What a doubt about the whole map is seen on."""

    doubt: str = words("", "Doubt", "Its name, such as tip_changed; empty: the gravest one")
    plot: int = number(1, "Picture", "", 1, 20, "Which of its pictures, from 1", "")


TABLES = {"components": "components", "calibration": "calibration and settings",
          "doubts": "doubts and decisions"}  # fmt: skip


@dataclass(frozen=True)
class TableOptions(Options):
    """A small table among the panels."""

    what: str = choice("components", "Table", TABLES, "What stands in it", "")
    channels: str = words("reduced_modulus, adhesion", "Channels",
                          "Names with commas", shown_if="what=components")  # fmt: skip


KINDS: dict[str, tuple[str, type[Options]]] = {
    "map": ("Map", MapOptions), "components": ("Component map", ComponentOptions),
    "doubts": ("Doubt map", DoubtOptions),
    "curve": ("Curve", CurveOptions), "histogram": ("Histogram", HistogramOptions),
    "joint": ("Two channels", JointOptions), "profile": ("Profile", ProfileOptions),
    "evidence": ("Evidence for a doubt", EvidenceOptions), "table": ("Table", TableOptions),
}  # fmt: skip
"""Kind of a panel -> its name for people, and what can be chosen for it."""


def declared(kind: str) -> Iterator[Field[Any]]:
    """The options of a kind of panel, in the order of their form."""
    specs = fields(KINDS[kind][1])
    yield from (*specs[1:], specs[0])  # the title last


def options_from(kind: str, data: Any) -> Options:
    """Options from plain values. Raises SettingsError naming what is wrong."""
    if not isinstance(data, Mapping):
        raise SettingsError("options", "are not a table of values.")
    made = KINDS[kind][1]
    known = {spec.name for spec in fields(made)}
    for name in data:
        if name not in known:
            raise SettingsError(f"{kind}.{str(name)[:60]}", "is unknown: it is misspelt or of a "
                                "newer version. Take it out or update Palpate.")  # fmt: skip
    return made(**data)


def refuse_unprintable(name: str, text: str, lines: bool = True) -> None:
    """Raise SettingsError for signs that no file of text can hold or that control a terminal: all
    but the characters of XML 1.0 (section 2.2), and of those U+007F to U+009F. `lines`: whether
    it may have several."""
    for sign in text:
        at = ord(sign)
        wrong = (at < 0x20 and not (lines and sign in "\t\n\r")) or 0x7F <= at < 0xA0
        if wrong or 0xD800 <= at < 0xE000 or at in (0xFFFE, 0xFFFF):
            raise SettingsError(name, f"holds a sign that can't be printed (U+{at:04X}). Take it "
                                "out.")  # fmt: skip


def _checked(name: str, spec: Field[Any], value: Any) -> Any:
    kind = spec.metadata["kind"]
    if kind == "flag":
        if not isinstance(value, bool):
            raise SettingsError(name, "is neither true nor false.")
        return value
    if kind == "words":
        if not isinstance(value, str) or len(value) > LONGEST:
            raise SettingsError(name, f"is not a text of at most {LONGEST} characters.")
        refuse_unprintable(name, value)
        return value
    return as_declared(name, spec, value)
