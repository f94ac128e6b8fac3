"""Reads a saved analysis, behind the same guard as a map, and finds the map it was made from."""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath, PureWindowsPath
from typing import Any

import numpy as np

from ..decisions import Review
from ..errors import ReadError, SettingsError, SourceError
from ..mapparts import frozen
from ..settings import Settings
from ..units import DIMENSIONS
from .door import Seen, look
from .guard import MIB, GuardedFile, as_read_error
from .review import read_review

MAPS = "entry/maps"
_AGAIN = "Make the analysis again from the map."
_DIMENSIONS = tuple(DIMENSIONS)
LARGEST_PLACES, LARGEST_RULE, LARGEST_TABLE, LARGEST_HISTORY = 32 * MIB, 8 * MIB, 8 * MIB, 16 * MIB
"""Bytes of the texts that may be long; a longer one is refused, not cut."""


@dataclass(frozen=True)
class SourceIdentity:
    """Which map an analysis was made from. `file_name` is relative to the analysis."""

    file_name: str
    uuid: str
    size: int
    checksum: str
    algorithm: str
    scope: str


@dataclass(frozen=True, eq=False)
class LoadedChannel:
    """One quantity as saved: `values` and `errors` are float64 (rows, cols) in the core unit."""

    name: str
    label: str
    unit: str
    values: np.ndarray
    errors: np.ndarray | None = None


@dataclass(frozen=True, eq=False)
class LoadedComponents:
    """Components as saved.

    Attributes
    ----------
    labels : int16 (rows, cols), -1 in no component
    membership : float32 (rows, cols), NaN where not looked at
    kinds : uint8 (rows, cols)
    rule : JSON text, for `Rule.from_json`
    table : rows of values, the first is the head; empty if none was saved
    """

    labels: np.ndarray
    membership: np.ndarray
    kinds: np.ndarray
    rule: str
    table: list[list[Any]] = field(default_factory=list)


@dataclass(frozen=True, eq=False)
class LoadedAnalysis:
    """A saved analysis.

    Attributes
    ----------
    settings : as they were; `settings_changed` is True if their checksum no longer fits
    channels : name -> LoadedChannel; `default` is the name of the one shown first
    doubts : uint64 (rows, cols); doubt_meanings : (mask, name, sentence) of each bit
    trusted : bool (rows, cols), pixels whose numbers are to be used; None in an older file
    decision : uint8 (rows, cols), 0 undecided
    review : all decisions about single pixels
    places, component_rule, levelling, picture, sheets, answers : as JSON text, empty where there
        is none; as values they are in `work`
    unread : part ("sheets", "answers") -> why it can't be read; all else opens without it
    work : core's `Work`, put in by `workfile.load_analysis`
    notes : sentences on what is not in the work though the file holds it
    view : plain values: what was looked at
    thickness : of a layer, float64 (rows, cols) [nm], None if none was given
    x, y : pixel centres in nm; pixel numbers if not `has_scale`
    """

    path: Path
    title: str
    uuid: str
    started: str
    ended: str
    settings: Settings
    settings_changed: bool
    channels: dict[str, LoadedChannel]
    default: str
    doubts: np.ndarray
    doubt_meanings: list[tuple[int, str, str]]
    decision: np.ndarray | None
    poisson_ratio: float
    x: np.ndarray
    y: np.ndarray
    has_scale: bool
    source: SourceIdentity
    components: LoadedComponents | None = None
    places: str = ""
    component_rule: str = ""
    review: Review = field(default_factory=Review)
    levelling: str = ""
    picture: str = ""
    sheets: str = ""
    answers: str = ""
    unread: dict[str, str] = field(default_factory=dict)
    view: dict[str, Any] = field(default_factory=dict)
    thickness: np.ndarray | None = None
    trusted: np.ndarray | None = None
    work: Any = None
    notes: tuple[str, ...] = ()
    environment: dict[str, str] = field(default_factory=dict)
    history: list[dict[str, Any]] = field(default_factory=list)


def inspect(seen: Seen) -> None:
    """Do all that `read` does, in another process. Raises ReadError as `read` does."""
    read(seen)


def read(seen: Seen) -> LoadedAnalysis:
    """Read a whole analysis. Raises ReadError naming file, object and repair."""
    if not seen.is_hdf5:
        raise ReadError(seen.path, "this is not a saved analysis", "Choose another file.")
    with GuardedFile(seen.path, swmr=seen.swmr) as g, as_read_error(seen.path):
        if g.attribute("", "palpate_format") != "analysis" or not g.is_group(MAPS):
            raise ReadError(seen.path, "this is not a saved analysis", "Choose another file.")
        channels, default = _channels(g)
        shape = channels[default].values.shape
        settings, changed = _settings(g)
        x, y, has_scale = _axes(g, shape)
        poisson = g.attribute(MAPS, "poisson_ratio")
        decision = _bits(g, "entry/review/decision", shape, np.uint8)
        spare, unread = _spare(g)
        return LoadedAnalysis(
            path=seen.path, title=g.text("entry/title"), uuid=g.text("entry/uuid"),
            started=g.text("entry/start_time"), ended=g.text("entry/end_time"),
            settings=settings, settings_changed=changed, channels=channels, default=default,
            doubts=_bits(g, f"{MAPS}/doubts", shape, np.uint64),
            doubt_meanings=_meanings(g),
            decision=decision, review=read_review(g, decision),
            poisson_ratio=poisson if isinstance(poisson, float) else float("nan"),
            x=x, y=y, has_scale=has_scale, source=_source(g),
            components=_components(g, shape), places=g.text("entry/places", LARGEST_PLACES),
            component_rule=g.text("entry/component_rule", LARGEST_RULE),
            levelling=g.text("entry/levelling", MIB), picture=g.text("entry/picture", MIB),
            sheets=spare.get("sheets", ""), answers=spare.get("answers", ""), unread=unread,
            view=_view(g), thickness=_thickness(g, shape), trusted=_trusted(g, shape),
            environment=_environment(g), history=_history(g),
        )  # fmt: skip


def _spare(g: GuardedFile) -> tuple[dict[str, str], dict[str, str]]:
    """Texts that the numbers do not need, and what is wrong with those that can't be read."""
    found, unread = {}, {}
    for name, most in (("sheets", LARGEST_RULE), ("answers", MIB)):
        try:
            found[name] = g.text(f"entry/{name}", most)
        except ReadError as error:
            unread[name] = error.what
    return found, unread


def _channels(g: GuardedFile) -> tuple[dict[str, LoadedChannel], str]:
    default = g.attribute(MAPS, "signal")
    names = [str(default), *g.attribute_texts(MAPS, "auxiliary_signals")]
    found: dict[str, LoadedChannel] = {}
    for name in names:
        if name == "doubts" or name in found:
            continue
        if not name.isidentifier():
            raise g.fail(f"{MAPS}@auxiliary_signals", f"“{name[:40]}” is not a channel", _AGAIN)
        found[name] = _channel(g, name)
    first = found[names[0]]
    for name, channel in found.items():
        if channel.values.shape != first.values.shape:
            raise g.fail(f"{MAPS}/{name}", "it has another shape than the other maps", _AGAIN)
    return found, names[0]


def _channel(g: GuardedFile, name: str) -> LoadedChannel:
    place = f"{MAPS}/{name}"
    values = g.array(place, ranks=(2,))
    if values is None:
        raise g.fail(place, "it is missing", _AGAIN)
    dimension, factor = g.factor_to_core(place, *_DIMENSIONS)
    errors = g.array(f"{place}_errors", ranks=(2,))
    if errors is not None and errors.shape != values.shape:
        raise g.fail(f"{place}_errors", "it has another shape than its map", _AGAIN)
    label = str(g.attribute(place, "long_name") or name)
    return LoadedChannel(
        name, label.rpartition(" (")[0] or label, DIMENSIONS[dimension][1],
        frozen(values.astype(np.float64) * factor),
        None if errors is None else frozen(errors.astype(np.float64) * factor),
    )  # fmt: skip


def _settings(g: GuardedFile) -> tuple[Settings, bool]:
    place = "entry/process_1/settings"
    text = g.text(place)
    if not text:
        raise g.fail(place, "the settings are missing", _AGAIN)
    try:
        settings = Settings.from_text(text, "json")
    except SettingsError as error:
        raise g.fail(place, str(error).rstrip("."), "Open the map and set them again.") from None
    said = g.attribute(place, "sha256")
    return settings, said != hashlib.sha256(text.encode()).hexdigest()


def _axes(g: GuardedFile, shape: tuple[int, ...]) -> tuple[np.ndarray, np.ndarray, bool]:
    axes, scaled = [], []
    for name, n in (("x", shape[1]), ("y", shape[0])):
        place = f"{MAPS}/{name}"
        axis = g.array(place)
        if axis is None or axis.shape != (n,):
            raise g.fail(place, "it is missing or doesn't fit the maps", _AGAIN)
        dimension, factor = g.factor_to_core(place, "length", "number")
        axes.append(frozen(axis.astype(np.float64) * factor))
        scaled.append(dimension == "length")
    return axes[0], axes[1], all(scaled)


def _bits(g: GuardedFile, place: str, shape: tuple[int, ...], dtype: type) -> Any:
    found = g.array(place, kinds="u", ranks=(2,))
    if found is None or found.shape != shape:
        raise g.fail(place, "it is missing or has another shape than the maps", _AGAIN)
    return frozen(found, dtype)


def _trusted(g: GuardedFile, shape: tuple[int, ...]) -> np.ndarray | None:
    place = f"{MAPS}/trusted"
    if g.array(place, kinds="u", ranks=(2,)) is None:
        return None
    return frozen(_bits(g, place, shape, np.uint8) == 1)


def _components(g: GuardedFile, shape: tuple[int, ...]) -> LoadedComponents | None:
    at = "entry/components"
    if not g.is_group(at):
        return None
    found = []
    for name, kinds in (("labels", "i"), ("membership", "f"), ("kinds", "u")):
        array = g.array(f"{at}/{name}", kinds=kinds, ranks=(2,))
        if array is None or array.shape != shape:
            raise g.fail(f"{at}/{name}", "it is missing or has another shape than the maps", _AGAIN)
        found.append(frozen(array))
    try:
        table = json.loads(g.text(f"{at}/table", LARGEST_TABLE) or "[]")
    except (ValueError, RecursionError):
        table = None
    if not isinstance(table, list) or any(not isinstance(row, list) for row in table):
        raise g.fail(f"{at}/table", "it is not a table", _AGAIN)
    labels, membership, kinds_of = found
    return LoadedComponents(labels, membership, kinds_of, g.text(f"{at}/rule", LARGEST_RULE),
                            table)  # fmt: skip


def _view(g: GuardedFile) -> dict[str, Any]:
    """What was looked at; plain values that whoever uses them checks."""
    text = g.text("entry/view", MIB)
    try:
        data = json.loads(text) if text else {}
    except (ValueError, RecursionError):
        data = None
    if not isinstance(data, dict):
        raise g.fail("entry/view", "it is not a table of values", _AGAIN)
    return data


def _thickness(g: GuardedFile, shape: tuple[int, ...]) -> np.ndarray | None:
    place = "entry/process_1/constants/layer_thickness"
    found = g.array(place, kinds="f", ranks=(2,))
    if found is None:
        return None
    if found.shape != shape:
        raise g.fail(place, "it has another shape than the maps", _AGAIN)
    _, factor = g.factor_to_core(place, "length")
    return frozen(found.astype(np.float64) * factor)


def _meanings(g: GuardedFile) -> list[tuple[int, str, str]]:
    masks = g.attribute_whole_numbers(f"{MAPS}/doubts", "flag_masks")
    names = str(g.attribute(f"{MAPS}/doubts", "flag_meanings") or "").split()
    if len(masks) != len(names):
        raise g.fail(f"{MAPS}/doubts", "its masks and meanings don't fit", _AGAIN)
    rows = _json_lines(g, "entry/process_1/doubts")
    sentences = {str(row.get("name")): str(row.get("sentence", "")) for row in rows}
    return [(m, n, sentences.get(n, "")) for m, n in zip(masks, names, strict=True)]


def _source(g: GuardedFile) -> SourceIdentity:
    at = "entry/source"
    size = g.number(f"{at}/size")
    texts = {k: g.text(f"{at}/{k}") for k in ("file_name", "checksum", "algorithm", "scope")}
    uuid = g.text(f"{at}/entry_identifier_uuid")
    return SourceIdentity(uuid=uuid, size=int(size or 0), **texts)


def _environment(g: GuardedFile) -> dict[str, str]:
    names = ("palpate", "python", "numpy", "h5py", "hdf5", "scipy", "numba", "platform", "seed")
    found = {name: g.text(f"entry/environment/{name}") for name in names}
    return {name: text for name, text in found.items() if text}


def _history(g: GuardedFile) -> list[dict[str, Any]]:
    return _json_lines(g, "entry/history/actions")


def _json_lines(g: GuardedFile, place: str) -> list[dict[str, Any]]:
    """One object a line; a line that is not one is an error."""
    rows = []
    for line in g.text(place, LARGEST_HISTORY).split("\n"):
        if not line:
            continue
        try:
            row = json.loads(line)
        except (ValueError, RecursionError):
            row = None
        if not isinstance(row, dict):
            raise g.fail(place, "a line of it is not JSON", _AGAIN)
        rows.append(row)
    return rows


def find_source(loaded: LoadedAnalysis, near: Path | None = None,
                folders: Iterable[Path] = ()) -> Path:  # fmt: skip
    """The map an analysis was made from.

    It is looked for `near`, at its recorded place, beside the analysis, and in more folders; a
    file of its name is it only if size, UUID and checksum are the same.

    Parameters
    ----------
    near : a file to try, or a folder to look in
    folders : where else a file of its name may be

    Raises
    ------
    SourceError : it is not there, or a file of that name is there but it is another one
    """
    name = _base(loaded.source.file_name)
    if not name and near is None:
        raise SourceError(loaded.path, "it was made from a map that lay in memory only, so there "
                          "is no file to analyse again", "Read its numbers with "
                          "palpate.core.load_analysis.")  # fmt: skip
    places = _places(loaded.source.file_name, loaded.path.parent, near, folders)
    made = f"this is not the map that {loaded.path.name} was made from"
    return find_map(loaded.source, places, loaded.path, made)


def find_map(source: SourceIdentity, places: Iterable[Path], path: Path, another: str) -> Path:
    """The first of some places where the map is; a file there that is another one is refused.

    Parameters
    ----------
    path : what asks for the map; another : what is said of another file

    Raises SourceError.
    """
    refused: SourceError | None = None
    for place in places:
        if not _is_file(place):
            continue
        wrong = difference(source, place)
        if not wrong:
            return Path(os.path.normpath(place))
        refused = refused or SourceError(place, f"{another}: {wrong}", "Point to the original "
                                         "map, or analyse this one anew.")  # fmt: skip
    if refused is not None:
        raise refused
    raise SourceError(path, f"its map “{_base(source.file_name)}” is not at its place",
                      "Point to where the map is now.")  # fmt: skip


def _base(name: str) -> str:
    return PureWindowsPath(name).name if "\\" in name else PurePosixPath(name).name


def _places(name: str, folder: Path, near: Path | None, folders: Iterable[Path]) -> list[Path]:
    base = _base(name)
    places = [folder / base, *(Path(more) / base for more in folders)] if base else []
    relative = not PurePosixPath(name).is_absolute() and not PureWindowsPath(name).anchor
    if name and relative:
        places.insert(0, folder / name)
    if near is not None:
        near = Path(near)
        places.insert(0, near / base if near.is_dir() and base else near)
    return list(dict.fromkeys(places))


def _is_file(place: Path) -> bool:
    try:
        return place.is_file()
    except (OSError, ValueError):  # a name that no system knows
        return False


def difference(source: SourceIdentity, place: Path) -> str:
    """In what a file differs from the recorded one; empty if it is the same. Without a recorded
    checksum size and UUID decide."""
    try:
        size = place.stat().st_size
        if size != source.size:
            return f"it has {size} bytes, not {source.size}"
        if source.checksum:
            with place.open("rb") as stream:
                found = hashlib.file_digest(stream, "sha256").hexdigest()
            if found == source.checksum:
                return ""
        with GuardedFile(look(place).path) as g:
            other = g.text("entry/entry_identifier_uuid") != source.uuid
    except OSError as error:
        return f"it can't be read ({error.strerror})"
    except ReadError as error:
        return error.what
    if other:
        return "its UUID is another one"
    return "its content was changed (the checksum differs)" if source.checksum else ""
