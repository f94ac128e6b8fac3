"""``figure``: figure sheets of a result or a map by recipes, with the numbers behind them."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

from ..errors import InputError, SettingsError, WriteError
from ..sheets import Sheet, named, read_recipes, write_recipes
from .finding import check_outs, found
from .given import result_of
from .parser import UsageError
from .telling import wrapped

ALL = "all"
WIDTHS = ("single", "middle", "double")


def figure(args: argparse.Namespace) -> int:
    """Draw, write and check the figures that the command line asks for."""
    path = Path(args.map)
    if args.list:
        print("\n".join(listed(path if args.map else None)))
        return 0
    if not args.map:
        raise UsageError("figure: name a saved result, or a map.")
    if not args.out and not args.data and not args.save_recipe:
        raise UsageError("figure: say where it goes with --out FILE, such as figure.pdf; --list "
                         "tells the recipes there are.")  # fmt: skip
    if len(args.recipe) > 1 and ALL in args.recipe:
        raise UsageError("--recipe all takes every recipe: leave the other names out.")
    files = {word: _from_file(word) for word in args.recipe}
    _check_targets(args)  # faults of words and recipes are told before the map is analysed
    _as_asked(Sheet(), args)
    saved = result_of(path)
    recipes = _recipes(saved, files)
    failed = 0
    with found(args, _named(args)) as (findings, _, bar):
        bar.close()
        sheets = [_as_asked(sheet, args) for sheet in recipes or [_first(findings, args)]]
        targets = _targets(args, sheets)
        _refuse_taken(targets, args.replace)
        check_outs((("--out", path) for outs, _, recipe in targets for path in (*outs, recipe)),
                   (args.map, findings.map.path))  # fmt: skip
        for sheet, (outs, data, recipe) in zip(sheets, targets, strict=True):
            failed += _one(sheet, findings, outs, data, recipe, args)
    return 1 if failed else 0


# -- which recipes ---------------------------------------------------------------------------------


def listed(path: Path | None) -> Iterator[str]:
    """The recipes of a result, if one is named, and the presets."""
    from ..figures import PRESETS

    sheets = () if path is None else _saved_sheets(result_of(path))
    if path is not None and not sheets:
        yield f"{path.name} holds no recipe; without --recipe a first sheet is made."
    for sheet in sheets:
        kinds = ", ".join(panel.kind for panel in sheet.panels) or "no panels"
        yield f"{sheet.name}  (preset {sheet.preset}, {_width(sheet)}: {kinds})"
    yield ""
    yield "Presets for --preset:"
    for preset in _presets(PRESETS):
        yield f"  {preset.id:16} {preset.name}"


def _presets(presets: Any) -> Any:
    return presets.values() if hasattr(presets, "values") else presets


def _width(sheet: Sheet) -> str:
    return f"{sheet.width} width" if isinstance(sheet.width, str) else f"{sheet.width:g} mm"


def _from_file(word: str) -> tuple[Sheet, ...] | None:
    """The recipes of a file; None for a name of one in the result."""
    return read_recipes(word) if word.lower().endswith(".json") else None


def _saved_sheets(saved: Any) -> tuple[Sheet, ...]:
    return saved.work.sheets if saved is not None and saved.work is not None else ()


def _recipes(saved: Any, files: dict[str, tuple[Sheet, ...] | None]) -> list[Sheet]:
    """The recipes that are asked for; none if a first sheet is to be made."""
    sheets = _saved_sheets(saved)
    if ALL not in files:
        return [sheet for word, read in files.items() for sheet in read or [named(sheets, word)]]
    if not sheets:
        raise InputError("There is no recipe in this analysis, so none can be drawn. Leave "
                         "--recipe out for a first sheet.")  # fmt: skip
    return list(sheets)


def _first(findings: Any, args: argparse.Namespace) -> Sheet:
    """A first sheet that suits the preset and the width."""
    from ..figures.first import first_sheet

    asked = _as_asked(Sheet(), args)
    return first_sheet(findings, asked.preset, width=asked.width if args.width else "")


def _as_asked(sheet: Sheet, args: argparse.Namespace) -> Sheet:
    """With the preset and the width of the command line. Raises UsageError."""
    from ..figures import preset

    changes: dict[str, Any] = {}
    if args.preset:
        try:
            preset(args.preset.lower())
        except SettingsError as error:
            raise UsageError(f"--preset {args.preset}: {error}") from None
        changes["preset"] = args.preset.lower()
    if args.width:
        changes["width"] = args.width if args.width in WIDTHS else _millimetres(args.width)
    try:
        return replace(sheet, **changes)
    except SettingsError as error:
        raise UsageError(f"--width {args.width}: {error}") from None


def _millimetres(text: str) -> float:
    try:
        return float(text.removesuffix("mm"))
    except ValueError:
        raise UsageError(f"--width {text}: single, middle, double or a number of millimetres."
                         ) from None  # fmt: skip


# -- where they go ---------------------------------------------------------------------------------


def _named(args: argparse.Namespace) -> list[tuple[str, Any]]:
    """What the command line wants to be written, with its flags."""
    return [*(("--out", out) for out in args.out), ("--data", args.data),
            ("--save-recipe", args.save_recipe)]  # fmt: skip


def _check_targets(args: argparse.Namespace) -> None:
    """Refuse what can't be written before anything is worked out."""
    from ..figures.writing import format_of

    check_outs(_named(args), (), {"--save-recipe": (".json",)})
    for out in args.out:
        try:
            format_of(out)
        except InputError as error:
            raise UsageError(f"--out {error}") from None
        if not Path(out).parent.is_dir():
            raise WriteError(f"{out} could not be saved: there is no folder {Path(out).parent}.")
    if len(args.recipe) < 2 and ALL not in args.recipe and not args.replace:
        for out in (*args.out, *([args.save_recipe] if args.save_recipe else [])):
            if Path(out).exists():
                raise WriteError(f"{out} is there already. Choose another name, or give "
                                 "--replace.")  # fmt: skip


def _targets(args: argparse.Namespace, sheets: list[Sheet]
             ) -> list[tuple[list[Path], Path | None, Path | None]]:  # fmt: skip
    """Files, folder of the data and file of the recipe of each sheet; with several sheets each
    gets its name in them."""
    from ..figures.data import slug

    every: list[tuple[list[Path], Path | None, Path | None]] = []
    for sheet in sheets:
        sign = slug(sheet.name).replace("_", "-") if len(sheets) > 1 else ""
        outs = [_with(Path(out), sign) for out in args.out]
        data = Path(args.data) / sign if args.data else None
        recipe = _with(Path(args.save_recipe), sign) if args.save_recipe else None
        every.append((outs, data, recipe))
    names = [str(path) for outs, data, recipe in every for path in (*outs, data, recipe)
             if path is not None]  # fmt: skip
    if len(set(names)) < len(names):
        raise InputError("Two figures would go into one file: draw them one by one.")
    return every


def _refuse_taken(targets: list[tuple[list[Path], Path | None, Path | None]], replace_: bool
                  ) -> None:  # fmt: skip
    """Refuse what would have to replace something, before the first figure is drawn."""
    from ..figures.writing import check_path
    from ..writers.folder import problems

    for outs, data, recipe in targets:
        for out in outs:
            check_path(out, replace_)
        if recipe is not None and recipe.exists() and not replace_:
            raise WriteError(f"{recipe} is there already. Choose another name, or give --replace.")
        for problem in problems(data, replace=replace_) if data and data.exists() else ():
            raise WriteError(problem)


def _with(path: Path, sign: str) -> Path:
    return path.with_name(f"{path.stem}-{sign}{path.suffix}") if sign else path


# -- drawing ---------------------------------------------------------------------------------------


def _one(sheet: Sheet, findings: Any, outs: list[Path], data: Path | None, recipe: Path | None,
         args: argparse.Namespace) -> int:  # fmt: skip
    """Draw one sheet into its files; returns how many of its panels could not be drawn."""
    from ..figures import draw_sheet, write_drawn
    from ..figures.data import write_data

    drawn, told = draw_sheet(sheet, findings), set()
    for out in outs:
        written = write_drawn(out, drawn, args.replace)
        print(f"Figure: {out}")
        told |= {check.words for check in written.warnings}
        for check in written.checks:
            if not args.quiet or check in written.warnings:
                print("\n".join(wrapped(f"{check.state}: {check.words}", "  ", "    ")))
    if data is not None:
        written_data = write_data(data, drawn, findings, args.replace)
        print(f"Data: {len(written_data)} files in {data}")
    if recipe is not None:
        write_recipes(recipe, [sheet], args.replace)
        print(f"Recipe: {recipe}")
    for remark in drawn.remarks:
        if remark not in told:
            print("\n".join(wrapped(f"Note: {remark}")))
    if not args.quiet:
        print("\n".join(wrapped(f"Caption: {drawn.caption}")))
    return sum(1 for panel in drawn.panels if panel.problem)


