"""Opening a saved analysis again: its file, its map, and all that was decided about it.

The map is found again by name, UUID, size and checksum; another file of the same name is refused.
Running the settings and decisions on it gives the same maps again, and `differences` tells where
it does not.
"""

from __future__ import annotations

import os
from collections.abc import Iterable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from .analysis import Analysis
from .channels import CHANNELS
from .errors import ReadError, SettingsError
from .forcemap import ForceMap
from .progress import Progress
from .readers import open_map
from .readers.analysis import LoadedAnalysis, find_source
from .work import Work
from .workfile import load_analysis
from .writers import nexus

if TYPE_CHECKING:
    from .components.repeating import Repeated

SAME = 1e-9
"""Relative: numbers that differ by less are the same; in a file they stand in other units."""


@dataclass(frozen=True, eq=False)
class Reopened:
    """A saved analysis with its map.

    Attributes
    ----------
    map : open; close it
    loaded : all that stood in the file
    work : what was decided; without a picture that is gone
    notes : sentences on what is not as it was
    """

    map: ForceMap
    loaded: LoadedAnalysis
    work: Work
    notes: tuple[str, ...] = ()


def open_analysis(path: str | os.PathLike[str], near: Path | None = None,
                  folders: Iterable[Path] = ()) -> Reopened:  # fmt: skip
    """Open a saved analysis and the map it was made from.

    Parameters
    ----------
    near : where the map is, a file or a folder, if it is not at its place
    folders : where else a file of its name may be

    Raises
    ------
    SourceError : the map is not there, or a file of its name is another one; says what differs
    ReadError : the file is no saved analysis, or damaged
    """
    loaded = load_analysis(path)
    source = find_source(loaded, near, folders)
    fmap = open_map(source)
    try:
        return _joined(fmap, loaded)
    except BaseException:
        fmap.close()
        raise


def again(opened: Reopened, progress: Progress | None = None) -> Analysis:
    """Analyse the map anew under the settings and decisions of the file."""
    from .corrections import reviewed
    from .pipeline import analyse

    plain = analyse(opened.map, opened.work.settings, progress=progress)
    return reviewed(plain, opened.work.review, progress)


def components_again(loaded: LoadedAnalysis, analysis: Analysis, progress: Progress | None = None,
                     whole: bool = True) -> tuple[Repeated | None, list[str]]:  # fmt: skip
    """The components made anew by the rule of a file, None if it holds none; and a sentence if
    they can't be made. Without `whole` what is common to all pixels and the pairs are left out."""
    from .components.repeating import repeated

    if loaded.components is None:
        return None, []
    try:
        return repeated(analysis, loaded.components, progress, whole), []
    except (ValueError, SettingsError) as error:
        why = str(error).rstrip(".")
        return None, [f"The components of {loaded.path.name} can't be made anew: {why}."]


def differences(loaded: LoadedAnalysis, analysis: Analysis, made: Repeated | None = None
                ) -> list[str]:  # fmt: skip
    """Where the numbers of a file and those made anew differ, in sentences; empty if nowhere.

    Parameters
    ----------
    made : components made anew, compared with the file's
    """
    found, missing = [], []
    for name, channel in loaded.channels.items():
        if name not in CHANNELS:
            missing.append(channel.label)
            continue
        found += _apart(channel.label, channel.values, analysis.channel(name))
        if channel.errors is not None:
            words = f"the ± of {channel.label}"
            errors = analysis.errors(name)
            found += [f"{words}, which is not made anew"] if errors is None else _apart(
                words, channel.errors, errors)  # fmt: skip
    doubts = int(np.count_nonzero(loaded.doubts != analysis.doubts))
    if doubts:
        found.append(f"the doubts in {doubts} pixels")
    trusted = 0 if loaded.trusted is None else np.count_nonzero(loaded.trusted != analysis.trusted)
    if trusted:
        found.append(f"which pixels are used in {trusted} pixels")
    if made is not None and loaded.components is not None:
        from .components.repeating import changes

        found += changes(loaded.components, made)
    said = []
    if found:
        said.append(f"Numbers made anew differ from those in {loaded.path.name}: "
                    f"{', '.join(found)}. {_versions(loaded)}")  # fmt: skip
    if missing:
        said.append(f"{loaded.path.name} holds channels that this version does not know: "
                    f"{', '.join(missing)}.")  # fmt: skip
    return said


def not_compared(loaded: LoadedAnalysis, analysis: Analysis) -> list[str]:
    """What is made anew and does not stand in a file, so that nothing was compared with it: newer
    parts than the program that wrote it knew, or taken out of it."""
    found = []
    for channel, _, errors in analysis.channels():
        old = loaded.channels.get(channel.name)
        if old is None:
            found.append(channel.label)
        elif old.errors is None and errors is not None:
            found.append(f"the ± of {channel.label}")
    return found + (["which pixels are used"] if loaded.trusted is None else [])


def _apart(words: str, old: np.ndarray, new: np.ndarray) -> list[str]:
    """A clause where two maps differ."""
    off, most = _away(old, new)
    more = f" (by up to {100 * most:.2g} %)" if np.isfinite(most) else ""
    return [f"{words} in {off} pixels{more}"] if off else []


def _away(old: np.ndarray, new: np.ndarray) -> tuple[int, float]:
    """In how many pixels two maps differ, and by how much at most; NaN where one is missing. An
    infinite number is no missing one."""
    if old.shape != new.shape:
        return old.size, np.nan
    both = np.isfinite(old) & np.isfinite(new)
    scale = np.maximum(np.abs(old), np.abs(new))
    with np.errstate(invalid="ignore", divide="ignore"):
        share = np.where(both & (scale > 0.0), np.abs(old - new) / scale, 0.0)
    odd = ~both & (old != new) & ~(np.isnan(old) & np.isnan(new))
    return int(np.count_nonzero((share > SAME) | odd)), float(share.max(initial=0.0)) or np.nan


def _versions(loaded: LoadedAnalysis) -> str:
    wrote, here = loaded.environment.get("palpate", ""), nexus.version()
    if wrote and wrote != here:
        return f"It was written by Palpate {wrote}; this is {here}."
    if loaded.settings_changed:
        return "The settings in it were changed since it was written."
    return "It was written on another machine, or with other libraries."


def _joined(fmap: ForceMap, loaded: LoadedAnalysis) -> Reopened:
    shape = loaded.channels[loaded.default].values.shape
    if fmap.shape != shape:
        raise ReadError(loaded.path, f"its maps have {shape[0]} x {shape[1]} pixels, but "
                        f"{fmap.path} has {fmap.shape[0]} x {fmap.shape[1]}",
                        "Analyse the map anew.")  # fmt: skip
    if loaded.thickness is not None:
        fmap = fmap.with_thickness(loaded.thickness)
    notes = list(loaded.notes)
    if loaded.settings_changed:
        notes.append(f"The settings in {loaded.path.name} do not have the checksum that was "
                     "written with them: somebody changed them.")  # fmt: skip
    work, words = with_picture_found(loaded.work, loaded.path.parent, fmap)
    misfit = work.places.misfit(fmap.has_scale) if work.places else ""
    if misfit:
        work, words = replace(work, places=None), f"{words} {misfit}".strip()
    return Reopened(fmap, loaded, work, (*notes, *([words] if words else [])))


def with_picture_found(work: Work, folder: Path, fmap: Any, ours: bool = False
                       ) -> tuple[Work, str]:  # fmt: skip
    """The work with its picture where it is now; without it, and a sentence, if it is gone or
    another one.

    Parameters
    ----------
    folder : what the picture's name is relative to; it may also lie beside the map
    ours : whether an absolute path is looked at too: in a file from elsewhere it is not
    """
    laid = work.picture
    if laid is None:
        return work, ""
    from .pictures.alignment import find_picture, identity_of, with_picture

    near = fmap.path.parent if fmap.path is not None else folder
    places = [folder, near]
    said = f"The picture {laid.path.name} is not at its place"
    if laid.alignment is not None and laid.alignment.picture is not None:
        wanted = laid.alignment.picture.checksum
        try:
            if ours and laid.path.is_absolute() and identity_of(laid.path, near).checksum == wanted:
                return work, ""
        except ReadError:
            pass
        for place in dict.fromkeys(places):
            try:
                path = find_picture(laid.alignment, place).absolute()
                alignment = with_picture(laid.alignment, path, near)  # as the window names it
                return replace(work, picture=replace(laid, path=path, alignment=alignment)), ""
            except ReadError as error:
                if "not the picture" in error.what:
                    said = f"The picture {laid.path.name} was changed since it was aligned"
    return replace(work, picture=None), f"{said}, so it is not laid; lay it again."


def usable_view(view: Any) -> dict[str, Any]:
    """A view from a file as plain values that can be used: channel, pixel, limits, axes; what is
    damaged in it is left out."""
    found: dict[str, Any] = {}
    data = view if isinstance(view, dict) else {}
    if isinstance(data.get("channel"), str) and data["channel"] in CHANNELS:
        found["channel"] = data["channel"]
    pixel = data.get("pixel")
    if isinstance(pixel, list) and len(pixel) == 2 and all(type(n) is int for n in pixel):
        found["pixel"] = tuple(pixel)
    limits = data.get("limits")
    found["limits"] = {
        name: (float(pair[0]), float(pair[1]))
        for name, pair in (limits.items() if isinstance(limits, dict) else ())
        if name in CHANNELS and _pair(pair)
    }  # fmt: skip
    axes = data.get("axes")
    if isinstance(axes, list) and len(axes) == 2 and all(isinstance(a, str) for a in axes):
        found["axes"] = tuple(axes)
    return found


def _pair(pair: Any) -> bool:
    return (isinstance(pair, list) and len(pair) == 2
            and all(type(v) in (int, float) and np.isfinite(v) for v in pair)
            and pair[0] < pair[1])  # fmt: skip
