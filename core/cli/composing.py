"""``components``: what a map is made of, how much of each, how stiff and how sticky."""

from __future__ import annotations

import argparse
import math
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

from ..components.rule import Rule
from ..errors import InputError, SettingsError
from ..units import best_unit, text_of
from .analysing import bar_of
from .choosing import chosen
from .given import Given, given
from .parser import UsageError
from .telling import wrapped

SHOWN = ("reduced_modulus", "modulus", "adhesion", "release_force", "dissipation", "indentation")


def components(args: argparse.Namespace) -> int:
    """Find the components of one map, print their table, and write it if asked."""
    (one,), start = given([Path(args.map)])
    rule = rule_of(args, one.saved)
    composition, table, pairs = _worked_out(one, chosen(args, start), rule)
    print("\n".join(lines_of(composition, table, pairs)))
    if one.decided:
        print("\n".join(wrapped(one.decided)))
    if args.out:
        from ..components.exports import save_tables

        for path in save_tables(args.out, composition, table, pairs):
            print(f"Written: {path}")
    if args.result:
        _save(Path(args.result), composition, table, pairs)
        print(f"Result: {args.result}")
    return 0


def rule_of(args: argparse.Namespace, saved: Any = None) -> Rule:
    """The rule that the command line asks for: a file's, else that of a saved result.

    Raises
    ------
    UsageError : an impossible number; SettingsError : the file can't be used
    """
    rule = Rule()
    if args.rule:
        rule = Rule.load(args.rule)
    elif saved is not None and saved.components is not None and saved.components.rule:
        rule = Rule.from_json(saved.components.rule)
    try:
        if args.count is not None:
            rule = replace(rule, method="mixture", count=args.count)
        if args.names:
            rule = replace(rule, names=tuple(name.strip() for name in args.names.split(",")))
    except SettingsError as error:
        raise UsageError(str(error)) from None
    return rule


def _worked_out(one: Given, settings: Any, rule: Rule) -> tuple[Any, Any, Any]:
    from ..calibration import missing
    from ..components import Maps, find

    with one.opened() as fmap:
        lacking = missing(fmap, settings)
        bar, progress = bar_of(one.path.name)
        with bar:
            result = one.analysed(fmap, settings, progress)
            try:
                found = find(Maps.of(result), rule, progress)
            except ValueError as error:
                why = "".join(f" {sentence} Give it with --set {where}=VALUE."
                              for where, sentence in lacking)  # fmt: skip
                raise InputError(f"{one.path}: no components: {error}.{why}") from None
            return found, *tables_of(found)


def tables_of(found: Any) -> tuple[Any, Any]:
    """The table of some components and its pairs, with what is common to all pixels."""
    from ..components import pairs_of, pairs_with_common, table_of, with_common

    table = with_common(found, table_of(found))
    return table, pairs_with_common(found, pairs_of(found, table), table)


def _save(path: Path, composition: Any, table: Any, pairs: Any) -> None:
    from ..components.saving import write_components
    from ..work import Work
    from ..workfile import Beside, save_analysis

    source = composition.maps.source
    work = Work(source.settings, composition.rule, source.review)
    beside = Beside(lambda entry: write_components(entry, composition, table, pairs), work)
    save_analysis(path, source, beside)


def lines_of(composition: Any, table: Any, pairs: Any) -> Iterator[str]:
    """All that is printed."""
    yield from wrapped(composition.words)
    if composition.candidates:
        yield "  components  criterion (lowest counts)  as if pixels were independent"
        for one in composition.candidates:
            mark = " *" if one.count == composition.count else ""
            yield f"  {one.count:10d}  {one.criterion:25.0f}  {one.naive:29.0f}{mark}"
    for row in table.rows:
        yield ""
        yield from _component(row, table)
    yield ""
    source = composition.maps.source
    if source is not None and not any(composition.rule.poisson_ratios):
        yield (f"Young moduli with the Poisson ratio {source.poisson_ratio:g} for every component; "
               "compare them by E*.")  # fmt: skip
    yield "The ± of an area is of the material, of which this field is a sample."
    yield from _in_pairs(table, pairs)
    for words, count in {**table.left_out, **table.set_aside}.items():
        where = "counted in the area only" if words in table.set_aside else "in no component"
        yield f"{count:7d} pixels {where}: {words}"
    for remark in table.remarks:
        yield from wrapped(f"Note: {remark}")


def _component(row: Any, table: Any) -> Iterator[str]:
    share = row.share
    name = row.letter if row.name == row.letter else f"{row.letter} {row.name}"
    yield (f"{name}: {100 * share.fraction:.1f} ± {_percent(share.error)} % of the area (95 %: "
           f"{_percent(share.low)} to {_percent(share.high)} %; pixels as if independent "
           f"± {_percent(share.naive / 1.96)} %), {share.pixels} pixels")  # fmt: skip
    yield (f"  pattern of {share.independent:.3g} independent pixels, correlation length "
           f"{share.length:.3g} {table.unit}")  # fmt: skip
    for channel in SHOWN:
        if channel not in row.summaries:
            continue
        yield _channel(row.summaries[channel])


def _channel(one: Any) -> str:
    from ..channels import CHANNELS

    unit = best_unit(one.median, one.unit)[0] if one.unit else ""
    common = f", common ± {100 * one.common:.2g} %" if math.isfinite(one.common) else ""
    text = text_of(one.median, one.unit, one.median_error, unit=unit)
    low, high = (text_of(v, one.unit, unit=unit) for v in (one.lower, one.upper))
    return (f"  {CHANNELS[one.channel].label:22} median {text:24} quartiles {low} to {high}"
            f"{common}")  # fmt: skip


def _percent(share: float) -> str:
    return f"{100 * share:.1f}" if math.isfinite(share) else "–"


def _in_pairs(table: Any, pairs: Any) -> Iterator[str]:
    from ..channels import CHANNELS
    from ..components.pairs import words_of

    letters = {row.number: row.letter for row in table.rows}
    for pair in pairs:
        if pair.channel in ("reduced_modulus", "adhesion"):
            names = letters[pair.a], letters[pair.b]
            yield from wrapped(words_of(pair, names, CHANNELS[pair.channel].label))

