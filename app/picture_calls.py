"""What a laid picture asks of core, and the requests that carry it to the worker."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, ClassVar

from ..core.progress import Progress
from .law_calls import attempt
from .requests import Request, Tell

CHANNELS = {"modulus": "reduced_modulus", "adhesion": "", "height": ""}
"""What a picture is compared with, and what stands in for it where it is not known."""
LEAST = 0.5
"""Share of the usable pixels that must have a channel."""
BACK = 1000
"""A picture is drawn with about this many pixels along a side at most."""


@dataclass(frozen=True, eq=False)
class Seen:
    """A picture that was read.

    Attributes
    ----------
    picture : core's `Picture`
    identity : of the file, its name relative to the map's folder
    drawn, block : the picture for the screen, each pixel of it the mean of `block` x `block`
    """

    picture: Any
    identity: Any
    drawn: Any
    block: int


@dataclass(frozen=True, eq=False)
class ReadPicture(Request):
    """Read a picture beside a map. Answers `Seen`; a bad file is an error that names it."""

    path: Path
    map: Any
    lane: ClassVar[str] = "picture"
    words: ClassVar[str] = "Reading the picture"

    def run(self, progress: Progress, tell: Tell) -> Seen:
        from ..core.pictures.alignment import identity_of
        from ..core.pictures.laying import thinned
        from ..core.pictures.reading import read_picture

        picture = read_picture(self.path)
        progress.check()
        place = self.map.path.parent if self.map.path else self.path.parent
        block = max(1, -(-max(picture.values.shape) // BACK))
        drawn = thinned(picture.values, block)
        return Seen(picture, identity_of(self.path, place), drawn, block)


@dataclass(frozen=True, eq=False)
class AlignPicture(Request):
    """Align by correlation. Answers core's `Alignment`, which may say that it could not, or
    `Refused`."""

    laid: Any
    picture: Any
    field: Any
    x: Any
    y: Any
    pixel_size: float
    mirrored: bool
    lane: ClassVar[str] = "align picture"
    words: ClassVar[str] = "Aligning the picture"

    def run(self, progress: Progress, tell: Tell) -> Any:
        return attempt(self._found, progress, "this picture")

    def _found(self, progress: Progress) -> Any:
        from ..core.pictures.correlating import search

        return search(self.picture, self.field, self.x, self.y, pixel_size=self.pixel_size,
                      mirrored=self.mirrored, progress=progress)  # fmt: skip


@dataclass(frozen=True, eq=False)
class ComparePicture(Request):
    """Which channel the picture's contrast follows. Answers core's `Comparison` or `Refused`.

    `labels` are the components' (rows, cols), None without.
    """

    picture: Any
    alignment: Any
    analysis: Any
    left_out: Any
    labels: Any = None
    lane: ClassVar[str] = "compare picture"
    words: ClassVar[str] = "Comparing the picture"

    def run(self, progress: Progress, tell: Tell) -> Any:
        return attempt(self._compared, progress, "this picture")

    def _compared(self, progress: Progress) -> Any:
        import numpy as np

        from ..core.components import Maps
        from ..core.pictures.comparing import compare
        from ..core.pictures.laying import on_grid

        fmap = self.analysis.map
        maps = Maps.of(self.analysis, self.left_out)
        laid = on_grid(self.picture, self.alignment, fmap.x, fmap.y)
        progress.check()
        named = {}
        for name, stand_in in CHANNELS.items():
            for each in (name, stand_in):  # what hardly any pixel has can't be compared with
                values = maps.values.get(each)
                if values is not None and np.isfinite(values[maps.usable]).mean() > LEAST:
                    named.setdefault(name, values)
        return compare(laid, named, maps.usable, maps.pitch, self.labels)


def with_identity(alignment: Any, seen: Seen) -> Any:
    """An alignment that knows its file."""
    return replace(alignment, picture=seen.identity)
