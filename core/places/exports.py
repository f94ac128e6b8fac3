"""Profiles and the numbers of regions as tables (CSV), with the definition of the place beside.

Comment lines (#) tell what the file is; then one header row, with units, and one row a point or one
a region and channel, all of the same length. Nine digits, ``nan`` where missing. The definition is
a file of places, ``<name>.csv.json``, that `Places.load` reads.
"""

from __future__ import annotations

import csv
import hashlib
import io
import os
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from ..errors import WriteError
from .collection import Places
from .differences import Difference
from .profiles import Sampled
from .regions import Region
from .statistics import REASONS, RegionStatistics

Array = np.ndarray
_FORMULA = ("=", "+", "-", "@")


def save_profile(
    path: str | os.PathLike[str], sampled: Sampled, *, channels: tuple[str, ...] = (),
    source: str = "", settings_json: str = "", note: str = "",
    review_sha256: str = "",
) -> list[Path]:  # fmt: skip
    """Save what a profile read, one row a point.

    Columns: distance along the line, x, y, the component if one is known, and for each channel its
    mean across the width, the standard error of that, the pixels behind it and the independent
    ones among them.

    Parameters
    ----------
    path : ends in .csv
    channels : which; all that were read if empty
    source : name of the map
    settings_json : canonical JSON of the settings; its SHA-256 goes into the comments
    note : what else a reader of the file has to know
    review_sha256 : checksum of the decisions about single pixels

    Returns
    -------
    list of Path : the table, and the definition beside it

    Raises
    ------
    WriteError : another ending, no place to save, or a line that read nothing
    """
    if not sampled.distance.size:
        raise WriteError(f"{path} was not saved: {sampled.reason or 'the line read nothing.'}")
    columns = profile_columns(sampled, channels)
    profile = sampled.profile
    about = {
        "profile": profile.name, "width": f"{profile.width:.9g} {sampled.unit}",
        "step": f"{sampled.step:.9g} {sampled.unit}", "read": sampled.method,
        "errors": "local only; constants common to all pixels are not in them",
        "remark": sampled.reason, "note": note,
    }  # fmt: skip
    rows = [list(row) for row in zip(*(values for _, values in columns), strict=True)]
    return _save(Path(path), [title for title, _ in columns], rows,
                 _about("line profile", about, source, settings_json, review_sha256),
                 Places((), (profile,), sampled.unit))  # fmt: skip


def profile_columns(sampled: Sampled, channels: tuple[str, ...] = ()) -> list[tuple[str, Array]]:
    """Head and values (n,) of each column of the table of a profile."""
    columns: list[tuple[str, Array]] = [
        (f"{label} ({sampled.unit})", values) for label, values in
        (("distance", sampled.distance), ("x", sampled.x), ("y", sampled.y))
    ]  # fmt: skip
    if sampled.component is not None:
        columns.append(("component", sampled.component))
    for name in channels or tuple(sampled.channels):
        line, unit = sampled.channels[name], sampled.units.get(name) or "1"
        columns += [(f"{name} ({unit})", line.values),
                    (f"standard error of {name} ({unit})", line.errors),
                    (f"pixels of {name}", line.pixels),
                    (f"independent pixels of {name}", line.effective)]  # fmt: skip
    return columns


def save_statistics(
    path: str | os.PathLike[str], found: Sequence[RegionStatistics], *,
    regions: Iterable[Region] = (), unit: str = "nm", source: str = "", settings_json: str = "",
    note: str = "", review_sha256: str = "",
) -> list[Path]:  # fmt: skip
    """Save the statistics of regions, one row a region and channel.

    Parameters
    ----------
    found : of `statistics_of`, one a region
    regions : their definitions, saved beside; `unit` is that of their coordinates
    path, source, settings_json, note, review_sha256 : as in `save_profile`

    Raises
    ------
    WriteError : another ending, no place to save, no region
    """
    if not found:
        raise WriteError(f"{path} was not saved: there is no region. Draw one first.")
    header, rows = statistic_rows(found)
    about = {"errors": "local only; constants common to all pixels are not in them", "note": note}
    return _save(Path(path), header, rows,
                 _about("statistics of regions", about, source, settings_json, review_sha256),
                 Places(tuple(regions), (), unit))  # fmt: skip


def statistic_rows(found: Sequence[RegionStatistics]) -> tuple[list[str], list[list[Any]]]:
    """Head and rows of the table of regions, one row a region and channel."""
    area = found[0].area_unit
    header = [
        "region", "channel", "unit", "pixels", "used",
        *(f"left out: {words}" for words in REASONS.values()), f"area ({area})",
        f"used area ({area})", "mean", "standard error of mean", "mean from (95 %)",
        "mean to (95 %)", "median", "standard error of median", "median from (95 %)",
        "median to (95 %)", "standard deviation", "robust spread", "lower quartile",
        "upper quartile", "minimum", "maximum", "independent pixels",
        "uncertainty of one pixel (rms)", "remark",
    ]  # fmt: skip
    rows: list[list[Any]] = [
        [region.name, c.name, c.unit or "1", c.pixels, c.used,
         *(c.left_out[reason] for reason in REASONS), c.area, c.used_area, c.mean, c.mean_error,
         *c.mean_interval, c.median, c.median_error, *c.median_interval, c.deviation, c.spread,
         c.lower_quartile, c.upper_quartile, c.minimum, c.maximum, c.effective, c.pixel_error,
         c.reason]
        for region in found for c in region.channels.values()
    ]  # fmt: skip
    return header, rows


def save_differences(
    path: str | os.PathLike[str],
    found: Sequence[tuple[str, str, Mapping[str, Difference]]], *,
    source: str = "", settings_json: str = "", note: str = "",
    review_sha256: str = "",
) -> list[Path]:  # fmt: skip
    """Save differences of regions, one row a pair and channel.

    Parameters
    ----------
    found : name of A, name of B, and what `differences` gave, for each pair
    path, source, settings_json, note, review_sha256 : as in `save_profile`

    Raises
    ------
    WriteError : another ending, no place to save, no pair
    """
    if not found:
        raise WriteError(f"{path} was not saved: there are no two regions to compare.")
    header = ["region A", "region B", "channel", "unit"]
    for what in ("mean", "median"):
        header += [f"{what} of A less B", f"standard error ({what})", f"{what} from (95 %)",
                   f"{what} to (95 %)"]  # fmt: skip
    header += ["ratio of medians", "standard error of ratio (relative)", "ratio from (95 %)",
               "ratio to (95 %)", "what is common", "remark"]  # fmt: skip
    rows: list[list[Any]] = [
        [a, b, d.name, d.unit or "1", d.mean, d.mean_error, *d.mean_interval, d.median,
         d.median_error, *d.median_interval, d.ratio, d.ratio_error, *d.ratio_interval, d.cancels,
         d.reason]
        for a, b, pairs in found for d in pairs.values()
    ]  # fmt: skip
    return _save(Path(path), header, rows,
                 _about("differences of regions", {"note": note}, source, settings_json,
                        review_sha256), None)  # fmt: skip


def _about(what: str, about: Mapping[str, str], source: str, settings_json: str,
           review_sha256: str) -> dict[str, str]:  # fmt: skip
    from ..writers import nexus

    found = {"content": what, **about, "missing": "nan", "source": source,
             "program": f"palpate {nexus.version()}", "time": nexus.now()}  # fmt: skip
    if settings_json:
        found["settings_sha256"] = hashlib.sha256(settings_json.encode()).hexdigest()
    found["review_sha256"] = review_sha256
    return {key: value for key, value in found.items() if value}


def _save(path: Path, header: list[str], rows: list[list[Any]], about: Mapping[str, str],
          definition: Places | None) -> list[Path]:  # fmt: skip
    from ..writers.atomic import saving

    if path.suffix.lower() != ".csv":
        raise WriteError(f"{path}: choose a name that ends in .csv.")
    text = _text(header, rows, about)

    def check(temporary: Path) -> None:
        if temporary.read_text(encoding="utf-8") != text:
            raise WriteError(f"{path} could not be saved: what was written doesn't read back.")

    made = [path]
    if definition is not None and len(definition):
        beside = path.with_name(path.name + ".json")
        definition.save(beside)
        made.append(beside)
    with saving(path, needs=4 * len(text), check=check) as temporary:
        temporary.write_text(text, encoding="utf-8", newline="")
    return made


def _text(header: list[str], rows: list[list[Any]], about: Mapping[str, str]) -> str:
    out = io.StringIO()
    for key, value in about.items():
        out.write(f"# {key}: {' '.join(value.split())}\n")
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(header)
    writer.writerows([_cell(value) for value in row] for row in rows)
    return out.getvalue()


def _cell(value: Any) -> str:
    """Nine digits; a text that a spreadsheet would take for a formula gets an apostrophe."""
    if isinstance(value, str):
        line = " ".join(value.split())
        return f"'{line}" if line.startswith(_FORMULA) else line
    return f"{value:.9g}" if isinstance(value, float | np.floating) else str(int(value))
