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
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from importlib import metadata
from pathlib import Path
from typing import Any

import numpy as np

from .decisions import KEPT, LEFT_OUT, Review
from .decisions import KINDS as DECISIONS
from .errors import InputError, ReadError, WriteError
from .readers import analysis as _reader
from .readers.analysis import LoadedAnalysis, LoadedChannel, SourceIdentity, find_source
from .readers.child import INSPECTOR
from .readers.door import look
from .units import si_factor
from .work import PARTS, Work
from .writers import nexus
from .writers.atomic import same_file, saving
from .writers.review import write_review

__all__ = [
    "DECISIONS",
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
MOST_ACTS = 20_000
"""Acts kept in a history; older ones are left out."""
DAMAGED = "Use the earlier version beside it, or analyse the map anew."


@dataclass(frozen=True, eq=False)
class Beside:
    """What was decided and found beside the maps of channels; each part may be missing.

    Attributes
    ----------
    components : writes the group ``components`` into an entry
    work : whose rule, places, levelling, picture, sheets and answers are written; settings
        and decisions about pixels are those of the analysis
    view : plain values: what was looked at
    acts : rows of the history, each with "time" and "action"
    source_name : what the measured file is called, from the folder of the result; empty: where it
        lies now
    """

    components: Callable[[Any], None] | None = None
    work: Work | None = None
    view: Mapping[str, Any] = field(default_factory=dict)
    acts: Sequence[Mapping[str, Any]] = ()
    source_name: str = ""


def save_analysis(path: str | os.PathLike[str], analysis: Any, beside: Beside | None = None
                  ) -> Path:  # fmt: skip
    """Save an analysis; an earlier version at the same place is kept as ``.previous``.

    Parameters
    ----------
    path : the new file, usually ending in ``.h5``
    analysis : has `map` (ForceMap), `settings` (Settings), `channels()` giving (channel with
        name, label and core unit; values (rows, cols) with NaN where missing; errors or None),
        `doubts` uint64 (rows, cols), `doubt_meanings` giving (mask, name, sentence),
        `poisson_ratio`, `started` and `ended` as ISO 8601 text; may have a `review`, and
        `trusted` bool (rows, cols)
    beside : components, rule, places and the like, if there are any

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
    beside = beside or Beside()
    source = _identity(path, force_map, beside.source_name)
    needs = 2 * sum(np.asarray(values).nbytes for _, values, _ in channels)
    review = getattr(analysis, "review", None) or Review()

    def check(temporary: Path) -> None:
        again = _reader.read(look(temporary))
        same = again.settings == analysis.settings and len(again.channels) == len(channels)
        kinds = review.kinds(force_map.shape)
        trusted = again.trusted
        same &= trusted is not None and np.array_equal(trusted, _trusted(analysis))
        if not same or not np.array_equal(again.review.kinds(force_map.shape), kinds):
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
        write_review(entry, force_map.shape, review)
        if beside.components is not None:
            beside.components(entry)
        _write_work(entry, beside, path.parent)
        _write_process(entry, analysis)
        _write_source(entry, source)
        _write_environment(entry)
        _write_history(entry, analysis, beside.acts)
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
    loaded = _reader.read(seen)
    work, unread = _work_of(loaded)
    notes = tuple(_left_out(loaded.path.name, SPARE[name], said) for name, said in unread.items())
    return replace(loaded, work=work, unread=unread, notes=notes)


TEXTS = {"rule": ("component_rule", "component_rule"), "places": ("places", "places"),
         "levelling": ("levelling", "levelling"), "picture": ("picture", "picture"),
         "sheets": ("sheets", "sheets"), "answers": ("answers", "answers")}  # fmt: skip
"""Part of a work -> its dataset in the entry, and the attribute of what is loaded."""
SPARE = {"sheets": "figure sheets", "answers": "answers for the methods paragraph"}
"""Parts that no number depends on, in words."""


def _work_of(loaded: LoadedAnalysis) -> tuple[Work, dict[str, str]]:
    """All that was decided, as values, and what had to be left out of it with the reason.

    What an older file lacks is as at the beginning. Sheets and answers change no number, so the
    rest opens without them; any other part that can't be read is refused.
    """
    found: dict[str, Any] = {}
    unread = dict(loaded.unread)
    for name, (place, attribute) in TEXTS.items():
        text = getattr(loaded, attribute)
        if not text:
            continue
        try:
            found[name] = PARTS[name][1](json.loads(text))
            continue
        except (ValueError, RecursionError):
            said = "it is not JSON"
        except InputError as error:
            said = str(error).rstrip(".")
        if name not in SPARE:
            raise ReadError(loaded.path, said, DAMAGED, f"entry/{place}")
        unread[name] = said
    return Work(loaded.settings, review=loaded.review, **found), unread


def _left_out(file: str, words: str, why: str) -> str:
    return (f"The {words} in {file} can't be read ({why}), so it opens without them. Saving "
            f"under this name would drop them; another name keeps them in {file}.")


def _write_work(entry: Any, beside: Beside, folder: Path) -> None:
    work = beside.work
    if work is not None:
        laid = work.picture
        if laid is not None and laid.alignment is not None and laid.path.is_file():
            from .pictures.alignment import with_picture

            found = with_picture(laid.alignment, laid.path, folder)
            assert found.picture is not None
            laid = replace(laid, path=Path(found.picture.file_name), alignment=found)
        values = {"rule": work.rule, "places": work.places, "levelling": work.levelling,
                  "picture": laid, "sheets": work.sheets, "answers": work.answers}  # fmt: skip
        for name, (place, _) in TEXTS.items():
            plain = PARTS[name][0](values[name])
            nexus.text(entry, place, "" if plain is None else _canonical(plain))
    if beside.view:
        nexus.text(entry, "view", _canonical(beside.view))


def _canonical(data: Any) -> str:
    return json.dumps(data, sort_keys=True, separators=(",", ":"), allow_nan=False)


def _identity(path: Path, force_map: Any, called: str = "") -> SourceIdentity:
    """Name, UUID, size and checksum of the measured file."""
    name, scope = called, "arrays in memory"
    if force_map.path is not None:
        scope = "whole file"
    if force_map.path is not None and not called:
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
    made.attrs["description"] = (
        "sentences in process_1/doubts; which pixels to use is in trusted, since a person may have "
        "decided otherwise than doubts & severe_mask: see review/decision"
    )
    made = nexus.image(maps, "trusted", _trusted(analysis).astype(np.uint8), "1", "To be used")
    made.attrs.update(
        flag_values=np.arange(2, dtype=np.uint8), flag_meanings="not_to_be_used to_be_used",
        description="1 where the pixel's numbers are to be used: it has a curve, review/decision "
        f"is not {LEFT_OUT} ({DECISIONS[LEFT_OUT]}), and doubts & severe_mask is 0 or "
        f"review/decision is {KEPT} ({DECISIONS[KEPT]})",
    )  # fmt: skip


def _trusted(analysis: Any) -> np.ndarray:
    """(rows, cols) bool; by the doubts alone where the analysis does not say."""
    found = getattr(analysis, "trusted", None)
    if found is None:
        severe = np.uint64(getattr(analysis, "severe_mask", 0))
        found = (np.asarray(analysis.doubts, dtype=np.uint64) & severe) == 0
    return np.asarray(found, bool)


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
        # in nm: the very numbers that were given, so that the maps can be made again
        nexus.image(group, "layer_thickness", here, "nm", "Layer thickness (nm)")


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
             "platform": nexus.machine(), "hdf5": h5py.version.hdf5_version,
             "seed": "none used"}  # fmt: skip
    for name in ("numpy", "h5py", "scipy", "numba"):
        try:
            found[name] = metadata.version(name)
        except metadata.PackageNotFoundError:
            found[name] = "not installed"
    group = nexus.group(entry, "environment", "NXcollection")
    for name, text in found.items():
        nexus.text(group, name, text)


def _write_history(entry: Any, analysis: Any, acts: Sequence[Mapping[str, Any]]) -> None:
    """The acts of the person, then what the program did."""
    rows: list[Mapping[str, Any]] = [
        *acts[-MOST_ACTS:],
        {"time": analysis.started, "action": "analysis started"},
        {"time": analysis.ended, "action": "analysis ended"},
        {"time": nexus.now(), "action": "saved"},
    ]
    nexus.text(nexus.group(entry, "history", "NXcollection"), "actions", _json_lines(rows))


def _json_lines(rows: Sequence[Mapping[str, Any]]) -> str:
    return "\n".join(json.dumps(dict(row), sort_keys=True) for row in rows)
