"""The whole export: planned, then written into one folder."""

from __future__ import annotations

import hashlib
import json
import math
import os
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ..channels import asked_for
from ..errors import InputError
from ..progress import Progress
from ..writers.atomic import size_words
from ..writers.datapackage import NAME, Resource, write_package
from ..writers.folder import problems, whole_folder
from . import curvefiles, curves, maps, surface, tables
from .wanted import Wanted

if TYPE_CHECKING:
    from ..findings import Findings

CAUTION = "Not for qualifying safety-critical or medical parts."
READ = ("Missing numbers are nan. ± are standard uncertainties (k = 1). Signs: z grows towards the "
        "sample; deflection and force are positive when the tip is pushed away; indentation is "
        "positive into the sample.")  # fmt: skip


@dataclass(frozen=True)
class Plan:
    """What will be written: (name, bytes as estimated) of each file, and what to know of it."""

    files: tuple[tuple[str, int], ...]
    notes: tuple[str, ...] = ()

    @property
    def size(self) -> int:
        """Bytes, as estimated."""
        return sum(size for _, size in self.files)

    @property
    def words(self) -> str:
        """Number and size in a sentence."""
        count = len(self.files)
        return f"{count} file{'s' if count != 1 else ''}, about {size_words(self.size)}."


@dataclass(frozen=True)
class Exported:
    """What was written."""

    folder: Path
    files: tuple[Path, ...]
    size: int


def plan(findings: Findings, wanted: Wanted) -> Plan:
    """What an export will write.

    Raises InputError if it can't be done so: a pixel without a curve, no map scale for a surface,
    nothing to write.
    """
    files: list[tuple[str, int]] = []
    if {"channels", "errors"} & set(wanted.parts):
        files += _map_files(findings, wanted)
    if "tables" in wanted.parts:
        files += [(f"{name}.csv", 10_000) for name in tables.names_of(findings)]
        files.append(("settings.toml", 3000))
    if "curves" in wanted.parts:
        files += _curve_files(findings, wanted)
    if "surface" in wanted.parts:
        files += surface.needs_of(findings, wanted.body)
    if not files:
        raise InputError("Nothing is chosen that could be exported.")
    files.append((NAME, 400 * len(files)))
    return Plan(tuple(files), _notes(findings, wanted))


def _map_files(findings: Findings, wanted: Wanted) -> list[tuple[str, int]]:
    analysis, names = findings.analysis, []
    for name in wanted.channels or tuple(asked_for(analysis.settings)):
        names += [name] if "channels" in wanted.parts else []
        names += [f"{name}_errors"] if "errors" in wanted.parts else []
    if "channels" in wanted.parts:
        names += ["doubts", "trusted", "decision"]
        names += ["component", "membership"] if findings.composition is not None else []
    pixels = math.prod(findings.map.shape)
    found: list[tuple[str, int]] = []
    for ending in wanted.formats:
        if ending in ("npy", "tif"):
            found += [(f"maps/{name}.{ending}", pixels * (8 if ending == "npy" else 4) + 500)
                      for name in names]  # fmt: skip
        else:
            name, each = {"csv": ("pixels.csv", 11), "npz": ("maps.npz", 6), "h5": ("maps.h5", 6)
                          }[ending]  # fmt: skip
            found.append((name, pixels * each * (len(names) + 4)))
    return found


def _curve_files(findings: Findings, wanted: Wanted) -> list[tuple[str, int]]:
    chosen = curves.curves_wanted(findings, wanted)
    samples = int(findings.map.curve_count[chosen].sum())
    columns = len(curves.columns_of(findings, wanted.curves))
    each = curvefiles.kind_of(wanted)(0).itemsize
    rows = len(set(findings.map.pixel[chosen, 0].tolist()))
    found: list[tuple[str, int]] = []
    for ending in wanted.formats:
        if ending == "csv":
            count, size = rows if wanted.all_pixels else chosen.size, samples * (10 + 12 * columns)
            found += [(f"curves/{number}.csv", size // count) for number in range(count)]
        elif ending == "npy":
            found += [("curves/*.npy", samples * each)] * columns
            found += [("curves/segment.npy", samples), ("curves/pixel.npy", 16 * chosen.size),
                      ("curves/start.npy", 8 * chosen.size), ("curves/count.npy", 8 * chosen.size)]
        elif ending == "npz":
            found.append(("curves/curves.npz", samples * (each * columns + 1)))
        elif ending == "h5":
            found.append(("curves/curves.h5", int(0.9 * samples * each * columns)))
    if not found:
        raise InputError("Curves can't be written as TIFF. Choose another format for them.")
    return found


def _notes(findings: Findings, wanted: Wanted) -> tuple[str, ...]:
    analysis, found = findings.analysis, []
    out = int((findings.map.index_map >= 0).sum()) - int(analysis.trusted.sum())
    if out and {"channels", "errors"} & set(wanted.parts):
        words = "missing in the maps" if wanted.trusted else "in the maps all the same"
        found.append(f"Pixels with a severe doubt or left out by hand: {out}, {words}.")
    if "tables" in wanted.parts and findings.composition is None and not findings.notes:
        found.append("Components are worked out first; their tables come on top.")
    if "curves" in wanted.parts and not analysis.constants.lengths:
        lacking = {"V": "deflection sensitivity", "nN": "spring constant"}
        found.append("The curves have no deflection in nm, and so nothing corrected: the "
                     f"{lacking[findings.map.signal_unit]} is missing.")  # fmt: skip
    return (*found, *findings.notes)


def export_all(
    findings: Findings, folder: str | os.PathLike[str], wanted: Wanted | None = None, *,
    progress: Progress | None = None, replace: bool = False, parents: bool = False,
) -> Exported:  # fmt: skip
    """Write everything that is wanted into a folder, which is there whole or not at all.

    Parameters
    ----------
    folder : the new folder
    replace : put it in the place of an earlier export
    parents : make the folders above it that are missing

    Raises
    ------
    InputError : it can't be done so; WriteError : it can't be written there, known before or after
    beginning; ReadError : the map is damaged or gone; Cancelled : on request. Nothing half-written
    is left, and an earlier export stays.
    """
    wanted, progress, folder = wanted or Wanted(), progress or Progress(), Path(folder).absolute()
    if "tables" in wanted.parts or "channels" in wanted.parts:
        from ..findings import completed

        findings = completed(findings, progress)
    planned = plan(findings, wanted)
    with whole_folder(folder, needs=planned.size, replace=replace, parents=parents) as part:
        made = _write(part, findings, wanted, progress)
        progress.step(0, 0, "Describing the files")
        write_package(part, made, about_of(findings, wanted, planned))
        progress.check()
    names = [*(one.file for one in made), NAME]
    paths = tuple(folder / name for name in names)
    return Exported(folder, paths, sum(path.stat().st_size for path in paths))


def _write(part: Path, findings: Findings, wanted: Wanted, progress: Progress) -> list[Resource]:
    made: list[Resource] = []
    if {"channels", "errors"} & set(wanted.parts):
        made += maps.write_maps(part, findings, wanted, progress)
    if "tables" in wanted.parts:
        made += tables.write_tables(part, findings, progress)
    if "curves" in wanted.parts:
        made += curvefiles.write_curves(part, findings, wanted, progress)
    if "surface" in wanted.parts:
        made += surface.write_surface(part, findings, wanted, progress)
    return made


def about_of(findings: Findings, wanted: Wanted, planned: Plan) -> dict[str, Any]:
    """What a reader of the folder has to know, as properties of the package."""
    analysis, source = findings.analysis, findings.map.path
    settings = analysis.settings.to_json()
    return {
        "title": f"Analysis of {findings.name}",
        "description": f"{READ} {CAUTION}",
        "sources": [{"title": source.name if source is not None else findings.name}],
        "settings": json.loads(settings),
        "settings_sha256": hashlib.sha256(settings.encode()).hexdigest(),
        "decisions": analysis.review.words,
        "review_sha256": analysis.review.checksum,
        "notes": list(planned.notes),
        "analysed": analysis.ended,
    }


__all__ = ["Exported", "Plan", "export_all", "plan", "problems", "size_words"]
