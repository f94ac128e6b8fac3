"""``fields``: the same components over several maps, the scatter between them, and a trend."""

from __future__ import annotations

import argparse
import csv
import math
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

from ..components import Maps, Rule
from ..errors import InputError
from ..fields import Entry, FieldsTable, fields_table, match, write_table
from ..settings import Settings
from ..units import best_unit
from .analysing import bar_of
from .choosing import chosen
from .given import Given, given
from .parser import UsageError
from .telling import wrapped

MOST = 10_000_000
"""Bytes of a file of conditions beyond which it is none."""


def fields(args: argparse.Namespace) -> int:
    """Analyse all maps, match and pool their components, print it, and write it if asked."""
    paths = [Path(name) for name in args.maps]
    if len({path.absolute() for path in paths}) < len(paths):
        raise UsageError("a map is given twice: it would count as two.")
    if len(paths) < 2:
        raise UsageError("only one map is given: fields are two maps or more.")
    shared = _shared(args.shared)
    conditions = _conditions(args, paths)
    rule = Rule.load(args.rule) if args.rule else Rule()
    _check_out(args.out, paths)
    maps, start = given(paths)
    settings = chosen(args, start)
    found = [_maps_in(one, settings) for one in maps]
    try:
        matched = match(found, rule, _titles(paths), args.match, args.offsets)
        table = fields_table(matched, conditions=conditions, condition=args.condition_name,
                             log=args.log_condition, shared=shared)  # fmt: skip
    except ValueError as error:
        raise InputError(f"{error}.") from None
    decided = (f"{one.decided} {one.checksum}" for one in maps if one.decided)
    table = replace(table, remarks=(*table.remarks, *decided))
    print("\n".join(told(table)))
    if args.out:
        print(f"Table: {write_table(args.out, table)}")
    return 0


# -- reading ---------------------------------------------------------------------------------------


def _titles(paths: list[Path]) -> tuple[str, ...]:
    """File names, or whole paths where two files are named alike."""
    names = [path.name for path in paths]
    return tuple(names if len(set(names)) == len(names) else map(str, paths))


def _shared(words: str) -> tuple[str, ...]:
    names = tuple(filter(None, (word.strip() for word in words.split(","))))
    if words.strip() == "none":
        return ()
    if not names or not set(names) <= {"lever", "tip"}:
        raise UsageError(f"--shared {words}: write lever, tip, lever,tip or none.")
    return names


def _check_out(out: str | None, paths: list[Path]) -> None:
    from ..writers.atomic import same_file

    if out and any(same_file(Path(out), measured) for measured in paths):
        raise UsageError(f"--out {out} is one of the maps. Choose another name.")


def _maps_in(one: Given, settings: Settings) -> Maps:
    from ..calibration import missing

    path = one.path
    with one.opened() as fmap:
        lacking = missing(fmap, settings)
        bar, progress = bar_of(path.name)
        with bar:
            result = one.analysed(fmap, settings, progress)
        if lacking:
            why = " ".join(f"{sentence} Give it with --set {where}=VALUE."
                           for where, sentence in lacking)  # fmt: skip
            raise InputError(f"{path}: {why}")
        return Maps.of(result)


def _conditions(args: argparse.Namespace, paths: list[Path]) -> list[float] | None:
    """One a map, in the order of the maps; None if none are asked for."""
    if args.condition and args.conditions:
        raise UsageError("--condition and --conditions can't both be given.")
    if args.conditions:
        found, where = _listed(Path(args.conditions), paths), f"{args.conditions}: "
    elif args.condition:
        if len(args.condition) != len(paths):
            raise UsageError(f"--condition has {len(args.condition)} values for {len(paths)} maps.")
        found, where = args.condition, "--condition: "
    else:
        if args.log_condition:
            raise UsageError("--log-condition needs --condition or --conditions.")
        return None
    bad = [value for value in found
           if not math.isfinite(value) or (args.log_condition and value <= 0.0)]  # fmt: skip
    if bad:
        above = " above zero" if args.log_condition else ""
        words = f"{where}{bad[0]:g} is not possible; conditions are numbers{above}."
        raise InputError(words) if args.conditions else UsageError(words)
    return found


def _listed(path: Path, paths: list[Path]) -> list[float]:
    """From a file with a line a map: its name, a comma, its condition."""
    try:
        if path.stat().st_size > MOST:
            raise InputError(f"{path}: is larger than a list of conditions can be.")
        lines = path.read_text(encoding="utf-8-sig").splitlines()
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(f"{path}: can't be read ({error}).") from None
    known: dict[str, float] = {}
    for name, value in _rows(path, lines):
        if known.setdefault(name, value) != value:
            raise InputError(f"{path}: {name} has two conditions.")
    found = [known.get(str(one), known.get(one.name, known.get(one.stem))) for one in paths]
    lacking = [one.name for one, value in zip(paths, found, strict=True) if value is None]
    if lacking:
        raise InputError(f"{path}: no condition of {', '.join(lacking)}; write a line NAME,VALUE "
                         "for each map.")  # fmt: skip
    return [value for value in found if value is not None]


def _rows(path: Path, lines: list[str]) -> Iterator[tuple[str, float]]:
    first = True
    for number, line in enumerate(lines, start=1):
        if not line.strip() or line.lstrip().startswith("#"):
            continue
        row = next(csv.reader([line]))
        try:
            name, text = row
            yield name.strip(), float(text)
        except ValueError:
            if not (first and len(row) == 2):  # a head of the columns
                raise InputError(f"{path}, line {number}: {line.strip()[:60]!r} is not NAME,VALUE "
                                 "with a number.") from None  # fmt: skip
        first = False


# -- telling ---------------------------------------------------------------------------------------


def told(table: FieldsTable) -> Iterator[str]:
    """All that is printed."""
    yield f"{len(table.titles)} maps: {', '.join(table.titles)}"
    yield from wrapped(table.matching)
    yield from wrapped(table.shared)
    last = -1
    for one in table.entries:
        if one.number != last:
            yield f"\n{one.letter if one.name == one.letter else f'{one.letter} {one.name}'}"
            last = one.number
        yield from _entry(one, table)
    yield ""
    for remark in table.remarks:
        yield from wrapped(f"Note: {remark}")


def _entry(one: Entry, table: FieldsTable) -> Iterator[str]:
    middle = one.value if math.isfinite(one.value) else 0.0
    unit, factor = best_unit(middle, one.unit) if one.unit else ("", 1.0)

    def span(ends: tuple[float, float]) -> str:
        return f"{ends[0] * factor:.4g} to {ends[1] * factor:.4g}"

    if one.pooled.reason:
        yield f"  {one.label:26} –  {one.pooled.reason}"
        return
    tail = f" {unit}" if unit else ""
    line = f"  {one.label:26} {one.value * factor:.4g}{tail} ({span(one.interval)}"
    if one.pooled.common > 0.0:
        line += f"; with what is common {span(one.total_interval)}"
    yield f"{line})"
    each = (f"{v * factor:.4g}" if math.isfinite(v) else "–" for v in one.values)
    yield f"      maps {', '.join(each)}{tail}"
    yield from wrapped(one.pooled.words(table.titles, one.scale == "ln"), " " * 6, " " * 6)
    if math.isfinite(one.pooled.other_low):
        yield f"      another map: {span(one.other_interval)}{tail}"
    if one.trend is not None:
        what = f"ln({one.label.lower()})" if one.scale == "ln" else one.label.lower()
        what = f"logit({what})" if one.scale == "logit" else what
        yield from wrapped(one.trend.words(what, table.condition), " " * 6, " " * 6)
