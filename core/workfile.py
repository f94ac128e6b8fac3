"""The result file: a whole analysis in one HDF5 file with NeXus conventions.

Maps are saved in SI units with their uncertainties beside them, so that any viewer of NeXus or
HDF5 files opens at the default map; settings, doubts, the identity of the measured file and the
versions of what computed them lie with them. An analysis is always a new file and never a change
to the measured one.
"""

from __future__ import annotations

import hashlib
import json
import os
import platform
import uuid
from collections.abc import Callable
from dataclasses import dataclass
from importlib import metadata
from pathlib import Path
from typing import Any

import numpy as np

from .errors import WriteError
from .readers import analysis as _reader
from .readers.analysis import LoadedAnalysis, LoadedChannel, SourceIdentity, find_source
from .readers.child import INSPECTOR
from .readers.door import look
from .units import si_factor
from .writers import nexus
from .writers.atomic import same_file, saving

__all__ = [
    "Beside",
    "LoadedAnalysis",
    "LoadedChannel",
    "SourceIdentity",
    "find_source",
    "load_analysis",
    "save_analysis",
]

LOCAL = ("local terms of this curve only: noise, contact point, baseline, sampling; not the spring "
         "constant, sensitivity, tip or Poisson ratio, which are common to all pixels")  # fmt: skip
DECISIONS = ("undecided", "kept", "excluded", "corrected")


@dataclass(frozen=True, eq=False)
class Beside:
    """What was decided and found beside the maps of channels; each part may be missing.

    Attributes
    ----------
    components : writes the group ``components`` into an entry
    left_out : bool (rows, cols), pixels left out by hand
    places : regions and profiles as JSON text
    rule : for components as JSON text, also where none are worked out
    """

    components: Callable[[Any], None] | None = None
    left_out: np.ndarray | None = None
    places: str = ""
    rule: str = ""


def save_analysis(path: str | os.PathLike[str], analysis: Any, beside: Beside | None = None
                  ) -> Path:  # fmt: skip
    """Save an analysis; an earlier version at the same place is kept as ``.previous``.

    Parameters
    ----------
    path : the new file, usually ending in ``.h5``
    analysis : has `map` (ForceMap), `settings` (Settings), `channels()` giving (channel with
        name, label and core unit; values (rows, cols) with NaN where missing; errors or None),
        `doubts` uint64 (rows, cols), `doubt_meanings` giving (mask, name, sentence),
        `poisson_ratio`, `started` and `ended` as ISO 8601 text
    beside : components, left-out pixels and places, if there are any

    Returns
    -------
    Path : the file

    Raises
    ------
    WriteError : it can't be saved there, or the place is the measured file itself
    ReadError : the measured file was changed or removed meanwhile
    """
    path = Path(path)
    force_map = analysis.map
    if force_map.path is not None and same_file(path, force_map.path):
        raise WriteError(f"{path} is the measured map itself. Choose another name.")
    channels = list(analysis.channels())
    if not channels:
        raise WriteError(f"{path} could not be saved: the analysis has no maps yet.")
    source = _identity(path, force_map)
    needs = 2 * sum(np.asarray(values).nbytes for _, values, _ in channels)

    def check(temporary: Path) -> None:
        again = _reader.read(look(temporary))
        if again.settings != analysis.settings or len(again.channels) != len(channels):
            raise WriteError(f"{path} could not be saved: what was written doesn't read back.")

    with (
        saving(path, needs=needs, check=check, keep_previous=True) as temporary,
        nexus.create(temporary, "analysis") as file,
    ):
        entry = nexus.group(file, "entry", "NXentry", default="maps")
        nexus.text(entry, "title", f"Analysis of {force_map.title or source.file_name}")
        nexus.text(entry, "uuid", str(uuid.uuid4()))
        nexus.text(entry, "start_time", analysis.started)
        nexus.text(entry, "end_time", analysis.ended)
        _write_maps(entry, analysis, channels)
        beside = beside or Beside()
        _write_review(entry, force_map.shape, beside.left_out)
        if beside.components is not None:
            beside.components(entry)
        nexus.text(entry, "places", beside.places)
        nexus.text(entry, "component_rule", beside.rule)
        _write_process(entry, analysis)
        _write_source(entry, source)
        _write_environment(entry)
        _write_history(entry, analysis)
    return path


def load_analysis(path: str | os.PathLike[str]) -> LoadedAnalysis:
    """Read a saved analysis whole, behind the same guard as a map.

    Raises
    ------
    ReadError : not an analysis, damaged, hostile or from a newer version; names the file, the
        object and the repair
    """
    seen = look(path)
    INSPECTOR.inspect(seen, _reader.__name__)
    return _reader.read(seen)


def _identity(path: Path, force_map: Any) -> SourceIdentity:
    """Name, UUID, size and checksum of the measured file."""
    name, scope = "", "arrays in memory"
    if force_map.path is not None:
        scope = "whole file"
        try:
            name = Path(os.path.relpath(force_map.path.resolve(), path.parent.resolve())).as_posix()
        except ValueError:  # another drive
            name = force_map.path.name
    return SourceIdentity(
        name, force_map.uuid, force_map.file_size, force_map.checksum(), "sha256", scope
    )


def _write_maps(entry: Any, analysis: Any, channels: list[Any]) -> None:
    names = [channel.name for channel, _, _ in channels]
    signal = "modulus" if "modulus" in names else names[0]
    maps = nexus.group(
        entry, "maps", "NXdata", signal=signal, poisson_ratio=float(analysis.poisson_ratio)
    )
    others = [name for name in names if name != signal]
    maps.attrs["auxiliary_signals"] = nexus.texts([*others, "doubts"])
    maps.attrs["axes"] = nexus.texts(["y", "x"])
    for name, axis in (("x", analysis.map.x), ("y", analysis.map.y)):
        if analysis.map.has_scale:
            nexus.number(maps, name, axis * 1e-9, "m", long_name=f"{name} (m)")
        else:
            nexus.number(maps, name, axis, "1", long_name=f"{name} (pixels)")
    for channel, values, errors in channels:
        symbol, factor = si_factor(channel.unit)
        long_name = f"{channel.label} ({symbol})" if symbol else channel.label
        _write_channel(maps, channel.name, values, factor, symbol, long_name)
        if errors is not None:
            name = f"Standard uncertainty of {channel.label}"
            name += f" ({symbol})" if symbol else ""
            _write_channel(maps, f"{channel.name}_errors", errors, factor, symbol, name)
            maps[f"{channel.name}_errors"].attrs["scope"] = LOCAL
    _write_doubts(maps, analysis)


def _write_channel(
    maps: Any, name: str, values: np.ndarray, factor: float, symbol: str, long_name: str
) -> None:
    si = np.asarray(values, dtype=np.float64) * factor
    nexus.image(maps, name, si, symbol or "1", long_name, fillvalue=np.nan)


def _write_doubts(maps: Any, analysis: Any) -> None:
    made = nexus.image(maps, "doubts", np.asarray(analysis.doubts, dtype=np.uint64), "1", "Doubts")
    meanings = list(analysis.doubt_meanings)
    made.attrs["flag_masks"] = np.array([mask for mask, _, _ in meanings], dtype=np.uint64)
    made.attrs["flag_meanings"] = " ".join(name for _, name, _ in meanings)
    made.attrs["severe_mask"] = np.uint64(getattr(analysis, "severe_mask", 0))
    made.attrs["description"] = ("a pixel is not to be used where doubts & severe_mask is not 0; "
                                 "sentences in process_1/doubts")  # fmt: skip


def _write_review(entry: Any, shape: tuple[int, int], left_out: np.ndarray | None) -> None:
    review = nexus.group(entry, "review", "NXcollection")
    decision = np.zeros(shape, dtype=np.uint8)
    if left_out is not None:
        decision[left_out] = DECISIONS.index("excluded")
    made = nexus.image(review, "decision", decision, "")
    made.attrs.update(
        flag_values=np.arange(len(DECISIONS), dtype=np.uint8), flag_meanings=" ".join(DECISIONS)
    )


def _write_process(entry: Any, analysis: Any) -> None:
    process = nexus.group(entry, "process_1", "NXprocess")
    nexus.text(process, "program", "palpate")
    nexus.text(process, "version", nexus.version())
    nexus.text(process, "date", analysis.ended)
    nexus.number(process, "sequence_index", np.int32(1), "")
    text = analysis.settings.to_json()
    nexus.text(process, "settings", text)
    process["settings"].attrs["sha256"] = hashlib.sha256(text.encode()).hexdigest()
    process["settings"].attrs["type"] = "application/json"
    rows = [
        {"mask": int(mask), "name": name, "sentence": sentence}
        for mask, name, sentence in analysis.doubt_meanings
    ]
    nexus.text(process, "doubts", _json_lines(rows))
    _write_constants(process, analysis)


def _write_constants(process: Any, analysis: Any) -> None:
    """The constants that were in use, in SI, with where each came from; NaN if it was missing."""
    used = getattr(analysis, "constants", None)
    if used is None:
        return
    group = nexus.group(process, "constants", "NXcollection")
    for one in (used.spring_constant, used.deflection_sensitivity, *used.sizes):
        symbol, factor = si_factor(one.unit)
        made = nexus.number(group, one.name, one.value * factor, symbol)
        made.attrs.update(error=one.error * factor, origin=one.origin, method=one.method)
    nexus.number(group, "poisson_ratio", used.poisson_ratio, "1").attrs["origin"] = "assumed"
    if getattr(analysis.map, "thickness", None) is not None:
        index = analysis.map.index_map
        here = np.where(index >= 0, analysis.map.thickness[np.maximum(index, 0)], np.nan)
        nexus.image(group, "layer_thickness", here * 1e-9, "m", "Layer thickness (m)")


def _write_source(entry: Any, source: SourceIdentity) -> None:
    note = nexus.group(entry, "source", "NXnote")
    nexus.text(note, "type", "application/x-hdf5")
    nexus.text(note, "description", "the measured map; it is named here and never changed")
    for name in ("file_name", "checksum", "algorithm", "scope"):
        nexus.text(note, name, getattr(source, name))
    nexus.text(note, "entry_identifier_uuid", source.uuid)
    nexus.number(note, "size", np.uint64(source.size), "", long_name="size in bytes")


def _write_environment(entry: Any) -> None:
    import h5py

    found = {"palpate": nexus.version(), "python": platform.python_version(),
             "platform": platform.platform(), "hdf5": h5py.version.hdf5_version,
             "seed": "none used"}  # fmt: skip
    for name in ("numpy", "h5py", "scipy", "numba"):
        try:
            found[name] = metadata.version(name)
        except metadata.PackageNotFoundError:
            found[name] = "not installed"
    group = nexus.group(entry, "environment", "NXcollection")
    for name, text in found.items():
        nexus.text(group, name, text)


def _write_history(entry: Any, analysis: Any) -> None:
    rows = [
        {"time": analysis.started, "action": "analysis started"},
        {"time": analysis.ended, "action": "analysis ended"},
        {"time": nexus.now(), "action": "saved"},
    ]
    nexus.text(nexus.group(entry, "history", "NXcollection"), "actions", _json_lines(rows))


def _json_lines(rows: list[dict[str, Any]]) -> str:
    return "\n".join(json.dumps(row, sort_keys=True) for row in rows)
