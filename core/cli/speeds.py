"""``speeds``: the modulus of one sample against the speed of the approach."""

from __future__ import annotations

import argparse
import csv
from pathlib import Path

from ..analysis import Analysis
from ..channels import CHANNELS
from ..errors import InputError
from ..models import law_of
from ..rates import SpeedSlope, beta_at_equal_force, modulus_against_speed
from ..settings import Settings
from ..units import best_unit, text_of
from .analysing import bar_of
from .choosing import chosen
from .given import Given, given
from .parser import UsageError
from .telling import wrapped

CAVEAT = ("The ± takes the pixels as independent; neighbours that share a component or a drift are "
          "not, so it is a lower limit.")  # fmt: skip


def speeds(args: argparse.Namespace) -> int:
    """Analyse all maps, print the table and the slope, and write the table if asked."""
    if args.channel not in CHANNELS:
        raise UsageError(f"--channel {args.channel} is unknown; known: {', '.join(CHANNELS)}.")
    paths = [Path(name) for name in args.maps]
    if len({path.absolute() for path in paths}) < 2:
        raise UsageError("only one map is given: a slope needs maps of one sample at two speeds "
                         "or more.")  # fmt: skip
    maps, start = given(paths)
    settings = chosen(args, start)
    analyses = [_analysed(one, settings, args.channel) for one in maps]
    found = modulus_against_speed(analyses, args.channel)
    _refuse(found, paths, args.channel)
    print(table_of(found, paths, args.channel))
    for sentence in filter(None, (one.decided for one in maps)):
        print("\n".join(wrapped(sentence)))
    for sentence in meaning(found, settings, args.channel):
        print("\n".join(wrapped(sentence)))
    if args.out:
        _write(Path(args.out), found, paths, args.channel, maps)
        print(f"Table: {args.out}")
    return 0


# -- reading ---------------------------------------------------------------------------------------


def _analysed(one: Given, settings: Settings, channel: str) -> Analysis:
    from ..calibration import missing

    path = one.path
    with one.opened() as fmap:
        if fmap.sampling_rate is None:
            raise InputError(f"{path}: no sampling rate (Hz) is recorded, so its speed is not "
                             "known. Write the map again with sampling_rate.")  # fmt: skip
        lacking = missing(fmap, settings)
        bar, progress = bar_of(path.name)
        with bar:
            result = one.analysed(fmap, settings, progress)
        if (result.trusted & (result.channel(channel) > 0.0)).sum() < 2:
            why = "".join(f" {sentence} Give it with --set {where}=VALUE."
                          for where, sentence in lacking)  # fmt: skip
            raise InputError(
                f"{path}: fewer than two pixels without a severe doubt have a "
                f"{CHANNELS[channel].label.lower()} above zero.{why}"
            )
        return result


def _refuse(found: SpeedSlope, paths: list[Path], channel: str) -> None:
    """Raise InputError where there is no slope."""
    if found.slope == found.slope:
        return
    at = ", ".join(f"{path.name} {row.speed:.4g} nm/s"
                   for path, row in zip(paths, found.table, strict=True))  # fmt: skip
    raise InputError(f"No slope of the {CHANNELS[channel].label.lower()}: {found.reason} "
                     f"The speeds are: {at}.")  # fmt: skip


# -- telling ---------------------------------------------------------------------------------------


def table_of(found: SpeedSlope, paths: list[Path], channel: str) -> str:
    """A row a map: name, speed, median ± standard error, indentation, pixels."""
    unit = CHANNELS[channel].unit
    shown = best_unit(min(row.modulus for row in found.table), unit)[0]
    width = max(12, *(len(path.name) for path in paths))
    lines = [f"{'map':{width}}  {'speed':>14}  {CHANNELS[channel].label:>24}  "
             f"{'indentation':>12}  pixels"]  # fmt: skip
    for path, row in zip(paths, found.table, strict=True):
        speed = f"{row.speed:,.5g} nm/s" if row.speed < 1e5 else f"{row.speed / 1e3:,.5g} µm/s"
        value = text_of(row.modulus, unit, row.error, shown)
        lines.append(f"{path.name:{width}}  {speed:>14}  {value:>24}  "
                     f"{text_of(row.depth, 'nm'):>12}  {row.count}")  # fmt: skip
    return "\n".join(lines)


def meaning(found: SpeedSlope, settings: Settings, channel: str) -> list[str]:
    """The slope and what it says."""
    slope, error = found.slope, found.error
    n = law_of(settings.fit.law).exponent
    lines = [f"d ln({CHANNELS[channel].label.lower()})/d ln(speed) = {text_of(slope, '', error)}"]
    if CHANNELS[channel].unit == "GPa":
        beta = beta_at_equal_force(slope, n)
        lines.append(
            "For a power-law solid the slope is β where all maps are dented to the same depth; "
            f"where all have the same peak force β is s/(1 + s/n) = "
            f"{text_of(beta, '', error / (1.0 + slope / n) ** 2)} with n = {n:g} of the law."
        )
        lines.append("A slope of 0 is an elastic sample." + (
            " This one is within two ± of it." if abs(slope) < 2.0 * error else ""))  # fmt: skip
    lines.append(CAVEAT)
    if found.reason:
        lines.append(f"Note: {found.reason}")
    return lines


def _write(path: Path, found: SpeedSlope, paths: list[Path], channel: str,
           maps: list[Given]) -> None:  # fmt: skip
    from ..writers.atomic import same_file, saving

    if any(same_file(path, measured) for measured in paths):
        raise UsageError(f"--out {path} is one of the maps. Choose another name.")
    unit = CHANNELS[channel].unit or "1"
    with saving(path) as temporary, temporary.open("w", newline="", encoding="utf-8") as file:
        file.write(f"# slope,{found.slope!r}\n# standard error of the slope,{found.error!r}\n")
        file.writelines(f"# {one.decided} {one.checksum}\n" for one in maps if one.decided)
        rows = csv.writer(file, lineterminator="\n")
        rows.writerow(["map", "speed (nm/s)", f"{channel} ({unit})", f"standard error ({unit})",
                       "pixels", "indentation (nm)"])  # fmt: skip
        rows.writerows([name, row.speed, row.modulus, row.error, row.count, row.depth]
                       for name, row in zip(paths, found.table, strict=True))  # fmt: skip
