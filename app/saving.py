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
                source=map_name(fmap), note=note, review_sha256=analysis.review.checksum,
            )  # fmt: skip
        return written

    return write


def export_folder(findings: Any, folder: Path, wanted: Any, replace: bool = False) -> Write:
    """Write what is wanted (core's `Wanted`) into a folder of its own."""

    def write(progress: Progress) -> list[Path]:
        from ..core.exporting import export_all

        made = export_all(findings, folder, wanted, progress=progress, replace=replace)
        return [made.folder / "datapackage.json", *made.files[:-1]]

    return write


def content_of(analysis: Any, item: Item) -> tuple[Any, Any, str]:
    """The channel, the numbers and the note of one export."""
    import numpy as np

    from ..core.channels import CHANNELS
    from ..core.doubts import DOUBTS as REGISTRY

    if item.channel == DOUBTS:
        bits = "; ".join(f"{d.mask} {d.name} ({d.severity})" for d in REGISTRY.values())
        described = Described(DOUBTS, "Doubts (sum of bits)")
        return described, analysis.doubts, f"{bits}; {decided(analysis)}"
    name = item.channel.removesuffix(ERRORS)
    channel = CHANNELS[name]
    values = analysis.channel(name)
    if item.channel.endswith(ERRORS):
        values = analysis.errors(name)
        channel = Described(item.channel, f"Standard uncertainty of {channel.label}", channel.unit)
    severe = int(np.count_nonzero(analysis.severe))
    by_hand = analysis.review.left_out.count
    if item.trusted:
        values = np.where(analysis.trusted, values, np.nan)
        note = f"{severe} pixels with a severe doubt are left out (nan)"
        note += f", and {by_hand} by hand" if by_hand else ""
    else:
        note = f"{severe} pixels carry a severe doubt and are in here all the same"
        note += f", and so are {by_hand} that were left out by hand" if by_hand else ""
    return channel, values, f"{note}; {decided(analysis)}"


def decided(analysis: Any) -> str:
    """What was decided by hand about the pixels behind some numbers, for the note beside them."""
    words: str = analysis.review.words
    if analysis.review.corrections:
        words += ", whose numbers are not those of the settings named here but of their own"
    return words


@dataclass(frozen=True)
class Described:
    """What an export needs of a channel, for a map that is none."""

    name: str
    label: str
    unit: str = ""


def result_file(analysis: Any, path: Path, work: Any = None, made: Any = None,
                view: Any = None, acts: Any = ()) -> Write:  # fmt: skip
    """Write the whole analysis as a result file, with what was decided (`Work`), the components
    that are worked out (`Made`), what is looked at, and the history."""

    def write(progress: Progress) -> list[Path]:
        from ..core.workfile import Beside, save_analysis

        progress.step(0, 0, "Saving the result")
        beside = Beside(_components_of(made), work, view or {}, acts)
        return [Path(save_analysis(path, analysis, beside))]

    return write


def _components_of(made: Any) -> Any:
    """What writes the components into a result file; None if none are worked out."""
    if made is None or made.table is None:
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


def surface_table(surface: Any, path: Path) -> Write:
    """Write roughness, heights, slopes and findings of a `Surface` as one table."""

    def write(progress: Progress) -> list[Path]:
        from .surface_table import save_surface

        progress.step(0, 0, "Saving the surface")
        return save_surface(path, surface)

    return write


def domain_table(report: Any, composition: Any, path: Path) -> Write:
    """Write one row for each domain."""

    def write(progress: Progress) -> list[Path]:
        from ..core.components.exports import save_rows
        from ..core.components.shape import domain_rows

        progress.step(0, 0, "Saving the domains")
        return [save_rows(path, domain_rows(report, composition))]

    return write


def decision_table(analysis: Any, path: Path) -> Write:
    """Write one row for each pixel that was decided about."""

    def write(progress: Progress) -> list[Path]:
        from ..core.components.exports import save_rows
        from ..core.review import decision_rows

        progress.step(0, 0, "Saving the decisions")
        return [save_rows(path, decision_rows(analysis))]

    return write


def places_file(places: Any, path: Path) -> Write:
    """Write regions and profiles as a file of places."""

    def write(progress: Progress) -> list[Path]:
        progress.step(0, 0, "Saving the places")
        places.save(path)
        return [path]

    return write


def region_tables(analysis: Any, regions: list[tuple[Any, Any]], left_out: Any, path: Path,
                  pair: bool = False) -> Write:  # fmt: skip
    """Write the statistics of regions, given as (region, mask), in every channel; with `pair`
    the difference of the first two."""

    def write(progress: Progress) -> list[Path]:
        from ..core.places import differences, save_differences, save_statistics, statistics_of

        found = []
        for done, (region, mask) in enumerate(regions):
            progress.step(done, len(regions), "Statistics of regions")
            progress.check()
            found.append(statistics_of(analysis, mask, name=region.name, decided=left_out))
        about = _about(analysis)
        if pair:
            both = found[:2]
            named = (both[0].name, both[1].name, differences(*both))
            return save_differences(path, [named], **about)
        unit = "nm" if analysis.map.has_scale else "pixel"
        return save_statistics(path, found, regions=[r for r, _ in regions], unit=unit, **about)

    return write


def profile_table(analysis: Any, profile: Any, channels: tuple[str, ...], left_out: Any,
                  labels: Any, path: Path) -> Write:  # fmt: skip
    """Write what a profile reads of some channels."""

    def write(progress: Progress) -> list[Path]:
        from ..core.places import sample_analysis, save_profile

        progress.step(0, 0, "Saving the profile")
        sampled = sample_analysis(profile, analysis, channels, left_out=left_out, labels=labels)
        return save_profile(path, sampled, **_about(analysis))

    return write


def _about(analysis: Any) -> dict[str, str]:
    return {"source": map_name(analysis.map), "settings_json": analysis.settings.to_json(),
            "note": decided(analysis), "review_sha256": analysis.review.checksum}  # fmt: skip


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
