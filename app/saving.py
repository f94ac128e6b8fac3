"""What is written on the person's word: the result file, single maps, settings.

Each function returns a ``write(progress)`` for the worker; core sees to it that a file is replaced
whole or not at all.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from ..core.progress import Progress
from ..core.settings import Settings

Write = Callable[[Progress], list[Path]]

FORMATS = {".npy": "NumPy array (.npy)", ".csv": "Table of numbers (.csv)",
           ".tif": "TIFF image, 32-bit (.tif)"}  # fmt: skip
UNITS = {"GPa": ("GPa", "MPa", "kPa", "Pa"), "nm": ("nm", "µm", "m"), "nN": ("nN", "pN", "µN", "N"),
         "aJ": ("aJ", "fJ", "J"), "N/m": ("N/m",)}  # fmt: skip
"""Core unit -> the units a channel can be exported in."""


DOUBTS, ERRORS = "doubts", "_errors"


@dataclass(frozen=True)
class Item:
    """One map to export.

    Attributes
    ----------
    path, unit : the file, and the unit to write
    channel : the channel's name; with "_errors" behind it its local standard uncertainty; "doubts"
        for the bits of the doubts
    trusted : leave out the pixels with a severe doubt
    """

    path: Path
    channel: str
    unit: str = ""
    trusted: bool = True

    @property
    def files(self) -> list[Path]:
        """Every file that is written for it."""
        beside = [self.path.with_name(self.path.name + ".json")]
        return [self.path, *(beside if self.path.suffix == ".npy" else [])]


def export_items(analysis: Any, items: list[Item]) -> Write:
    """Write single maps, as they are in this analysis."""

    def write(progress: Progress) -> list[Path]:
        from ..core.writers.exports import export_channel

        fmap, written = analysis.map, []
        x, y = (fmap.x, fmap.y) if fmap.has_scale else (None, None)
        settings = analysis.settings.to_json()
        for done, item in enumerate(items):
            progress.step(done, len(items), "Exporting")
            channel, values, note = content_of(analysis, item)
            written += export_channel(
                item.path, channel, values, x, y, unit=item.unit, settings_json=settings,
                source=map_name(fmap), note=note,
            )  # fmt: skip
        return written

    return write


def content_of(analysis: Any, item: Item) -> tuple[Any, Any, str]:
    """The channel, the numbers and the note of one export."""
    import numpy as np

    from ..core.channels import CHANNELS
    from ..core.doubts import DOUBTS as REGISTRY

    if item.channel == DOUBTS:
        bits = "; ".join(f"{d.mask} {d.name} ({d.severity})" for d in REGISTRY.values())
        return Described(DOUBTS, "Doubts (sum of bits)"), analysis.doubts.astype(float), bits
    name = item.channel.removesuffix(ERRORS)
    channel = CHANNELS[name]
    values = analysis.channel(name)
    if item.channel.endswith(ERRORS):
        values = analysis.errors(name)
        channel = Described(item.channel, f"Standard uncertainty of {channel.label}", channel.unit)
    severe = int(np.count_nonzero(analysis.severe))
    if not item.trusted:
        return channel, values, f"{severe} pixels carry a severe doubt and are in here all the same"
    note = f"{severe} pixels with a severe doubt are left out (nan)"
    return channel, np.where(analysis.trusted, values, np.nan), note


@dataclass(frozen=True)
class Described:
    """What an export needs of a channel, for a map that is none."""

    name: str
    label: str
    unit: str = ""


def result_file(analysis: Any, path: Path, work: Any = None, made: Any = None) -> Write:
    """Write the whole analysis as a result file, with what was decided (`Work`) and the components
    that are worked out (`Made`)."""

    def write(progress: Progress) -> list[Path]:
        from ..core.workfile import Beside, save_analysis

        progress.step(0, 0, "Saving the result")
        beside = Beside()
        if work is not None:
            left_out = work.left_out.mask(analysis.map.shape)
            places = work.places.to_json() if work.places else ""
            beside = Beside(_components_of(made), left_out, places)
        return [Path(save_analysis(path, analysis, beside))]

    return write


def _components_of(made: Any) -> Any:
    """What writes the components into a result file; None if none are worked out."""
    if made is None:
        return None
    from ..core.components.saving import write_components

    return lambda entry: write_components(entry, made.composition, made.table, made.pairs or ())


def component_tables(made: Any, path: Path) -> Write:
    """Write the table of components, its pairs and its rule."""

    def write(progress: Progress) -> list[Path]:
        from ..core.components.exports import save_tables

        progress.step(0, 0, "Saving the tables")
        return save_tables(path, made.composition, made.table, made.pairs or ())

    return write


def domain_table(report: Any, composition: Any, path: Path) -> Write:
    """Write one row for each domain."""

    def write(progress: Progress) -> list[Path]:
        from ..core.components.exports import save_rows
        from ..core.components.shape import domain_rows

        progress.step(0, 0, "Saving the domains")
        return [save_rows(path, domain_rows(report, composition))]

    return write


def text_file(path: Path, text: str) -> Write:
    """Write a text that is there already."""

    def write(progress: Progress) -> list[Path]:
        from ..core.writers.atomic import saving

        progress.step(0, 0, "Saving")
        with saving(path) as temporary:
            temporary.write_text(text, encoding="utf-8", newline="")
        return [path]

    return write


def save_settings(path: Path, settings: Settings) -> None:
    """Write settings as TOML, or as JSON where the name ends so. Raises WriteError in words."""
    from ..core.writers.atomic import saving

    text = settings.to_json() if path.suffix.lower() == ".json" else settings.to_toml()
    with saving(path) as temporary:
        temporary.write_text(text, encoding="utf-8")


def map_name(fmap: Any) -> str:
    """What to call a map."""
    return fmap.title or (fmap.path.stem if fmap.path else "map in memory")


def stem_of(fmap: Any) -> str:
    """How the names of files about a map begin."""
    return fmap.path.stem if fmap.path else "map"
