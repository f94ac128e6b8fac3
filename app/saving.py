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


@dataclass(frozen=True)
class Item:
    """One map to export: the file, the channel's name and the unit."""

    path: Path
    channel: str
    unit: str = ""

    @property
    def files(self) -> list[Path]:
        """Every file that is written for it."""
        beside = [self.path.with_name(self.path.name + ".json")]
        return [self.path, *(beside if self.path.suffix == ".npy" else [])]


def export_items(analysis: Any, items: list[Item]) -> Write:
    """Write single maps, as they are in this analysis."""

    def write(progress: Progress) -> list[Path]:
        from ..core.channels import CHANNELS
        from ..core.writers.exports import export_channel

        fmap, written = analysis.map, []
        x, y = (fmap.x, fmap.y) if fmap.has_scale else (None, None)
        settings = analysis.settings.to_json()
        for done, item in enumerate(items):
            progress.step(done, len(items), "Exporting")
            written += export_channel(
                item.path, CHANNELS[item.channel], analysis.channel(item.channel), x, y,
                unit=item.unit, settings_json=settings, source=map_name(fmap),
            )  # fmt: skip
        return written

    return write


def result_file(analysis: Any, path: Path) -> Write:
    """Write the whole analysis as a result file."""

    def write(progress: Progress) -> list[Path]:
        from ..core.workfile import save_analysis

        progress.step(0, 0, "Saving the result")
        return [Path(save_analysis(path, analysis))]

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
