"""What the page *Surface* asks of core, and the request that carries it to the worker."""

from __future__ import annotations

import re
from collections.abc import Callable, Hashable
from dataclasses import dataclass, field, replace
from typing import Any, ClassVar

import numpy as np

from ..core.channels import CHANNELS, asked_for
from ..core.components.rule import letter
from ..core.progress import Progress
from ..core.surface.levelling import Levelled, Levelling
from .law_calls import Refused, attempt
from .requests import Request, Tell

Array = np.ndarray
CHECKED = ("modulus", "adhesion")
"""Channels that are looked at: does one follow the surface?"""
UNLEVELLED = "The heights were not levelled: they are as recorded."


@dataclass(frozen=True)
class Options:
    """Matters of looking: nothing in here is decided about the map.

    Attributes
    ----------
    whom : component whose roughness is shown; None for the whole surface
    short, long : cut-offs of the S-filter and of the L-filter; 0 for none
    limit : slope above which a pixel is steep [degrees]
    smoothing : of the heights before slopes are taken (standard deviation)

    All lengths in nm, or in pixels if the map has no scale.
    """

    whom: int | None = None
    short: float = 0.0
    long: float = 0.0
    limit: float = 25.0
    smoothing: float = 0.0


@dataclass(frozen=True, eq=False)
class Subject:
    """The map that is looked at.

    Attributes
    ----------
    analysis : the finished one
    labels : int (rows, cols) of pixels inside components, away from boundaries, -1 elsewhere; None
        if there are no components
    titles : of the components
    usable : bool (rows, cols)
    pitch, scaled : between rows and between columns, and whether that is in nm
    """

    analysis: Any
    labels: Array | None
    titles: tuple[str, ...]
    usable: Array
    pitch: tuple[float, float]
    scaled: bool

    @classmethod
    def of(cls, analysis: Any, left_out: Array, composition: Any = None) -> Subject:
        """From an analysis, with its components if there are any."""
        from ..core.components.zones import PURE
        from ..core.uncertainty.groups import pitch_of

        usable = ~analysis.severe & ~left_out & (analysis.map.index_map >= 0)
        labels, titles = None, ()
        if composition is not None:
            labels = np.where(composition.kinds == PURE, composition.labels, -1)
            titles = tuple(composition.title(k) for k in range(composition.count))
        return cls(analysis, labels, titles, usable, pitch_of(analysis), analysis.map.has_scale)

    def mask(self, whom: int | None) -> Array:
        """(rows, cols) bool: the usable pixels of the whole surface, or of one component."""
        if whom is None or self.labels is None:
            return self.usable
        return self.usable & (self.labels == whom)


@dataclass(frozen=True, eq=False)
class Surface:
    """The surface as far as it is worked out; each part may still be missing.

    Attributes
    ----------
    subject, levelling, options : what went in
    levelled : core's `Levelled`, or the height as it is
    roughness, slopes, heights : core's reports
    findings : channel -> core's list of `Finding`, pooled ones first
    corrected : channel -> core's `Corrected`, for channels that were seen to follow the surface
    whole : whether nothing more follows
    keys : part -> what it depends on
    """

    subject: Subject
    levelling: Levelling | None
    options: Options
    levelled: Levelled
    roughness: Any = None
    slopes: Any = None
    heights: Any = None
    findings: dict[str, list[Any]] = field(default_factory=dict)
    corrected: dict[str, Any] = field(default_factory=dict)
    whole: bool = False
    keys: dict[str, Hashable] = field(default_factory=dict)

    @property
    def words(self) -> str:
        """What was taken off the heights."""
        return lettered(self.levelled.words)


def levelled_of(subject: Subject, levelling: Levelling | None) -> Levelled:
    """The height without what the person wants taken off; as it is for None."""
    from ..core.surface.levelling import level

    height = np.asarray(subject.analysis.channel("height"), float)
    if levelling is None:
        zero = np.zeros(height.shape)
        return Levelled(height, zero, UNLEVELLED, -1, (0.0, 0.0), zero[:, 0], 0, float("nan"), 0)
    if subject.labels is None and levelling.on:
        found = level(height, replace(levelling, on=()), usable=subject.usable,
                      pitch=subject.pitch, scaled=subject.scaled)  # fmt: skip
        words = f"{found.words} There are no components at present, so all pixels decided."
        return replace(found, words=words)
    return level(height, levelling, labels=subject.labels, usable=subject.usable,
                 pitch=subject.pitch, scaled=subject.scaled)  # fmt: skip


@dataclass(frozen=True, eq=False)
class AskSurface(Request):
    """Look at the surface. Tells `Surface` step by step and answers the whole, or `Refused`.

    Attributes
    ----------
    subject, levelling, options : what to work on
    keys : part -> what it depends on; a part of `known` with an equal key is taken from there
    known : an earlier `Surface`; None if there is none
    """

    subject: Subject
    levelling: Levelling | None
    options: Options
    keys: dict[str, Hashable]
    known: Surface | None = None
    lane: ClassVar[str] = "surface"
    words: ClassVar[str] = "Looking at the surface"

    def run(self, progress: Progress, tell: Tell) -> Any:
        return attempt(lambda progress: self._made(progress, tell), progress, "this surface")

    def _part(self, name: str, make: Callable[[], Any]) -> Any:
        known = self.known
        if known is not None and known.keys.get(name) == self.keys[name]:
            there = getattr(known, name)
            if there is not None and there != {}:
                return there
        return make()

    def _made(self, progress: Progress, tell: Tell) -> Surface:
        subject, options = self.subject, self.options
        found = Surface(subject, self.levelling, options,
                        self._part("levelled", lambda: levelled_of(subject, self.levelling)),
                        keys=self.keys)  # fmt: skip
        makers = {
            "roughness": lambda: roughness_of(found, options.whom),
            "slopes": lambda: _slopes(found),
            "heights": lambda: _heights(found),
            "findings": lambda: _findings(found, progress),
        }
        for name, make in makers.items():
            progress.check()
            found = replace(found, **{name: self._part(name, make)})
            tell(found)
        corrected = {name: made for name in found.findings
                     if (made := correction(found, name)) is not None}  # fmt: skip
        return replace(found, corrected=corrected, whole=True)


def roughness_of(found: Surface, whom: int | None) -> Any:
    """Core's `Roughness` of the whole surface (None) or of one component."""
    from ..core.surface.roughness import roughness

    subject, options = found.subject, found.options
    return roughness(found.levelled.values, subject.mask(whom), subject.pitch,
                     short=options.short, long=options.long, scaled=subject.scaled)  # fmt: skip


def _slopes(found: Surface) -> Any:
    from ..core.surface.slopes import slopes

    options = found.options
    return slopes(found.levelled.values, found.subject.pitch, options.smoothing, options.limit)


def _heights(found: Surface) -> Any:
    """Of the components; None without them, or without a contact."""
    from ..core.surface.heights import height_report

    subject = found.subject
    if subject.labels is None:
        return None
    analysis, removed = subject.analysis, found.levelled.removed
    contact = analysis.channel("contact_height") - removed
    return height_report(found.levelled.values, contact, analysis.channel("indentation"),
                         subject.labels, subject.usable, subject.pitch)  # fmt: skip


def _values(subject: Subject, name: str) -> tuple[Array, bool]:
    """A channel, and whether its logarithm is the thing to test: only if it is positive."""
    values = np.asarray(subject.analysis.channel(name), float)
    here = values[subject.mask(None) & np.isfinite(values)]
    return values, bool(here.size and (here > 0.0).all())


def _findings(found: Surface, progress: Progress) -> dict[str, list[Any]]:
    from ..core.surface.artefacts import topography_check

    subject, made = found.subject, {}
    asked = asked_for(subject.analysis.settings)
    for name in CHECKED:
        if name not in asked:
            continue
        progress.check()
        values, log = _values(subject, name)
        if not np.isfinite(values).any():
            continue
        made[name] = topography_check(
            values, found.levelled.values, subject.labels, subject.usable, subject.pitch,
            name=said_of(name), log=log, smoothing=found.options.smoothing,
        )  # fmt: skip
    return made


def correction(found: Surface, name: str) -> Any:
    """Core's `Corrected` of a channel that was seen to follow the surface; None if it was not."""
    from ..core.surface.artefacts import WARN, corrected

    seen = [f.quantity for f in found.findings[name] if f.verdict == WARN]
    on = tuple(dict.fromkeys(seen))
    if not on:
        return None
    subject = found.subject
    values, log = _values(subject, name)
    return corrected(values, found.levelled.values, subject.labels, subject.usable, subject.pitch,
                     on=on, name=said_of(name), log=log,
                     smoothing=found.options.smoothing)  # fmt: skip


def said_of(name: str) -> str:
    """A channel inside a sentence; a person's name keeps its capital."""
    label = CHANNELS[name].label
    return label if label.startswith("Young") else label[:1].lower() + label[1:]


_NUMBERS = re.compile(r"\b[Cc]omponents? \(?\d+(?:(?:, | and | against )\d+)*")


def lettered(words: str) -> str:
    """A sentence of core with the letters of components in place of their numbers."""
    def named(match: re.Match[str]) -> str:
        return re.sub(r"\d+", lambda n: letter(int(n.group())), match.group())

    return _NUMBERS.sub(named, words)


__all__ = ["AskSurface", "Options", "Refused", "Subject", "Surface"]
