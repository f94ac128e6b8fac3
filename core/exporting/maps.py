"""Maps for export: channels, their uncertainties, doubts, decisions, components, thickness."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from ..channels import CHANNELS, asked_for
from ..components import letter
from ..decisions import DONE
from ..doubts import DOUBTS
from ..errors import InputError
from ..progress import Progress
from ..units import parse_unit
from ..writers import nexus
from ..writers.atomic import check_room, saving
from ..writers.datapackage import Column, Resource, write_table
from ..writers.exports import export_channel
from .wanted import Wanted

if TYPE_CHECKING:
    from ..findings import Findings

Array = np.ndarray
LOCAL = ("local standard uncertainty (k = 1): noise, contact point, baseline and sampling of this "
         "curve")  # fmt: skip
ROW_ORDER = "row 0 is the first scan line; y grows with the row"


@dataclass(frozen=True, eq=False)
class OneMap:
    """A map as it will be written.

    Attributes
    ----------
    name, label, unit : identifier, words, and the unit of `values`
    values : (rows, cols); floats are NaN where missing, else whole numbers or bool
    description : a sentence
    """

    name: str
    label: str
    unit: str
    values: Array
    description: str = ""

    @property
    def title(self) -> str:
        """Name with unit, as the head of a table."""
        return f"{self.name} ({self.unit})" if self.unit else self.name


def maps_of(findings: Findings, wanted: Wanted) -> list[OneMap]:
    """All maps that are wanted; channels without any value are left out.

    Raises InputError for a channel that is not there.
    """
    analysis = findings.analysis
    asked = asked_for(analysis.settings)
    for name in wanted.channels:
        if name not in asked:
            raise InputError(f"There is no channel “{name[:40]}” in this analysis; there are: "
                             f"{', '.join(asked)}.")  # fmt: skip
    found: list[OneMap] = []
    for name in wanted.channels or tuple(asked):
        channel, values = CHANNELS[name], analysis.channel(name)
        if not np.isfinite(values).any():
            continue
        if "channels" in wanted.parts:
            found.append(_one(analysis, wanted, name, channel.label, channel.unit, values,
                              channel.formula))  # fmt: skip
        errors = analysis.errors(name) if "errors" in wanted.parts else None
        if errors is not None:
            found.append(_one(analysis, wanted, f"{name}_errors", f"± of {channel.label}",
                              channel.unit, errors, LOCAL))  # fmt: skip
    return found + (_beside(findings, wanted) if "channels" in wanted.parts else [])


def _one(analysis: Any, wanted: Wanted, name: str, label: str, core: str, values: Array,
         words: str) -> OneMap:  # fmt: skip
    unit = wanted.unit(core)
    factor = parse_unit(core)[1] / parse_unit(unit)[1] if unit else 1.0
    numbers = np.where(analysis.trusted, values, np.nan) if wanted.trusted else np.array(values)
    return OneMap(name, label, unit, numbers * factor, words)


def _beside(findings: Findings, wanted: Wanted) -> list[OneMap]:
    """What is known of each pixel beside the channels."""
    analysis = findings.analysis
    shape = (findings.map.shape[0], findings.map.shape[1])
    bits = "; ".join(f"{d.mask} {d.name} ({d.severity})" for d in DOUBTS.values())
    kinds = ", ".join(f"{kind} {words}" for kind, words in enumerate(DONE))
    found = [
        OneMap("doubts", "Doubts (sum of bits)", "", analysis.doubts, bits),
        OneMap("trusted", "Trusted", "", analysis.trusted,
               "has a curve, no severe doubt (or was kept in spite of it), not left out by hand"),
        OneMap("decision", "Decision", "", analysis.review.kinds(shape), kinds),
    ]  # fmt: skip
    composition = findings.composition
    if composition is not None:
        titles = ", ".join(f"{k} {letter(k)} {composition.rule.name(k)}".rstrip()
                           for k in range(composition.count))  # fmt: skip
        found.append(OneMap("component", "Component", "", np.asarray(composition.labels, np.int16),
                            f"-1 in none, {titles}"))  # fmt: skip
        found.append(OneMap("membership", "Membership", "",
                            np.asarray(composition.membership, float),
                            "probability of the own component"))  # fmt: skip
    if findings.map.thickness is not None:
        index = findings.map.index_map
        thick = np.where(index >= 0, findings.map.thickness[np.maximum(index, 0)], np.nan)
        unit = wanted.unit("nm")
        thick = thick * (parse_unit("nm")[1] / parse_unit(unit)[1])
        found.append(OneMap("thickness", "Thickness of the layer", unit, thick,
                            "as given, not measured by the curves"))  # fmt: skip
    return found


# ---- writing


def write_maps(folder: Path, findings: Findings, wanted: Wanted, progress: Progress
               ) -> list[Resource]:  # fmt: skip
    """Write the maps in each format; what was written, for the package."""
    maps = maps_of(findings, wanted)
    writers = {"csv": _csv, "npy": _single, "npz": _npz, "h5": _h5, "tif": _single}
    made: list[Resource] = []
    for ending in wanted.formats:
        progress.step(0, 0, "Exporting maps")
        made += writers[ending](folder, findings, maps, ending, progress)
    return made


def pixel_columns(findings: Findings, maps: Sequence[OneMap]) -> tuple[Column, ...]:
    """The columns of the table of all pixels."""
    length = "nm" if findings.map.has_scale else ""
    own = [Column("row", "integer", "", ROW_ORDER), Column("column", "integer"),
           *(Column(f"{axis} (nm)" if length else axis, "number", length, "centre of the pixel")
             for axis in "xy")]  # fmt: skip
    types = {"f": "number", "b": "boolean"}
    return (*own, *(Column(one.title, types.get(one.values.dtype.kind, "integer"), one.unit,
                           f"{one.label}: {one.description}") for one in maps))  # fmt: skip


def _csv(folder: Path, findings: Findings, maps: Sequence[OneMap], _: str, progress: Progress
         ) -> list[Resource]:  # fmt: skip
    fmap = findings.map
    columns = pixel_columns(findings, maps)

    def rows():  # type: ignore[no-untyped-def]
        for r in range(fmap.shape[0]):
            progress.step(r, fmap.shape[0], "Exporting maps as a table")
            for c in range(fmap.shape[1]):
                yield [r, c, fmap.x[c], fmap.y[r],
                       *(one.values[r, c] for one in maps)]  # fmt: skip

    write_table(folder / "pixels.csv", columns, rows())
    return [Resource("pixels.csv", "One row a pixel.", columns)]


def _single(folder: Path, findings: Findings, maps: Sequence[OneMap], ending: str,
            progress: Progress) -> list[Resource]:  # fmt: skip
    fmap, analysis = findings.map, findings.analysis
    x, y = (fmap.x, fmap.y) if fmap.has_scale else (None, None)
    place = folder / "maps"
    place.mkdir(exist_ok=True)
    made = []
    for done, one in enumerate(maps):
        progress.step(done, len(maps), "Exporting maps")
        files = export_channel(
            place / f"{one.name}.{ending}", one, one.values, x, y, note=one.description,
            settings_json=analysis.settings.to_json(), source=findings.name,
            review_sha256=analysis.review.checksum,
        )  # fmt: skip
        words = f"{one.label} ({one.unit})" if one.unit else one.label
        made += [Resource(f"maps/{file.name}", f"{words}: {one.description}") for file in files]
    return made


def _npz(folder: Path, findings: Findings, maps: Sequence[OneMap], _: str, progress: Progress
         ) -> list[Resource]:  # fmt: skip
    fmap = findings.map
    arrays = {one.name: one.values for one in maps} | {"x": fmap.x, "y": fmap.y}
    told = {one.name: {"unit": one.unit, "label": one.label, "description": one.description}
            for one in maps}  # fmt: skip
    arrays["about"] = np.array(json.dumps(told | {"rows": ROW_ORDER}))
    with saving(folder / "maps.npz") as temporary, temporary.open("wb") as out:
        np.savez_compressed(out, **arrays)  # type: ignore[arg-type]
    words = "All maps by name; about: units and descriptions as JSON; x, y: centres of the pixels"
    return [Resource("maps.npz", words + (" (nm)" if fmap.has_scale else ""))]


def _h5(folder: Path, findings: Findings, maps: Sequence[OneMap], _: str, progress: Progress
        ) -> list[Resource]:  # fmt: skip
    fmap = findings.map
    real = [one for one in maps if one.values.dtype.kind == "f"]
    signal = next((one.name for one in real if one.name == "modulus"), real[0].name if real else "")
    path = folder / "maps.h5"
    check_room(folder, sum(one.values.nbytes for one in maps))
    with saving(path) as temporary, nexus.create(temporary, "export-maps") as file:
        entry = nexus.group(file, "entry", "NXentry", default="maps")
        describe_entry(entry, findings)
        group = nexus.group(entry, "maps", "NXdata", signal=signal, row_order=ROW_ORDER)
        others = [one.name for one in maps if one.name != signal]
        group.attrs["auxiliary_signals"] = nexus.texts(others)
        group.attrs["axes"] = nexus.texts(["y", "x"])
        for axis, places in (("x", fmap.x), ("y", fmap.y)):
            nexus.number(group, axis, places, "nm" if fmap.has_scale else "")
        for one in maps:
            values = one.values.astype(np.uint8) if one.values.dtype.kind == "b" else one.values
            made = nexus.image(group, one.name, values, one.unit or "1", one.label)
            made.attrs["description"] = one.description
    return [Resource("maps.h5", "All maps under /entry/maps, with units as attributes.")]


def describe_entry(entry: Any, findings: Findings) -> None:
    """Title, settings and checksum of the decisions in an HDF5 entry."""
    settings = findings.analysis.settings.to_json()
    nexus.text(entry, "title", findings.name)
    nexus.text(entry, "settings", settings)
    entry.attrs["settings_sha256"] = hashlib.sha256(settings.encode()).hexdigest()
    entry.attrs["review_sha256"] = findings.analysis.review.checksum
