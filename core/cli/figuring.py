"""``figure``: figure sheets of a result or a map by recipes, with the numbers behind them."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Iterator
from contextlib import ExitStack
from dataclasses import replace
from pathlib import Path
from typing import Any

from ..errors import InputError, SettingsError, WriteError
from ..sheets import Sheet, named
from .analysing import bar_of
from .choosing import chosen
from .given import result_of
from .parser import UsageError
from .telling import wrapped

ALL = "all"
WIDTHS = ("single", "middle", "double")


def figure(args: argparse.Namespace) -> int:
    """Draw, write and check the figures that the command line asks for."""
    path = Path(args.map)
    if args.list:
        print("\n".join(listed(path)))
        return 0
    if not args.out and not args.data and not args.save_recipe:
        raise UsageError("figure: say where it goes with --out FILE, such as figure.pdf; --list "
                         "tells the recipes there are.")  # fmt: skip
    if len(args.recipe) > 1 and ALL in args.recipe:
        raise UsageError("--recipe all takes every recipe: leave the other names out.")
    files = [(word, _from_file(word)) for word in args.recipe]
    _check_targets(args)  # faults of words and recipes are told before the map is analysed
    _as_asked(Sheet(), args)
    saved = result_of(path)
    recipes = _recipes(saved, files)
    failed = 0
    with _opened(path, saved, args) as findings:
        for note in findings.notes:
            print(f"{path.name}: {note}", file=sys.stderr)
        sheets = [_as_asked(sheet, args) for sheet in recipes or [_first(findings)]]
        targets = _targets(args, sheets)
        _refuse_taken(targets, args.replace)
        for sheet, (outs, data, recipe) in zip(sheets, targets, strict=True):
            failed += _one(sheet, findings, outs, data, recipe, args)
    return 1 if failed else 0


# -- which recipes ---------------------------------------------------------------------------------


def listed(path: Path) -> Iterator[str]:
    """The recipes of a result, and the presets."""
    from ..figures import PRESETS

    sheets = _saved_sheets(result_of(path))
    if not sheets:
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


def _from_file(word: str) -> Sheet | None:
    """The recipe of a file; None for a name of one in the result."""
    from ..figures.data import read_sheet

    if not word.lower().endswith(".json"):
        return None
    return read_sheet(Path(word))


def _saved_sheets(saved: Any) -> tuple[Sheet, ...]:
    return saved.work.sheets if saved is not None and saved.work is not None else ()


def _recipes(saved: Any, files: list[tuple[str, Sheet | None]]) -> list[Sheet]:
    """The recipes that are asked for; none if a first sheet is to be made."""
    sheets = _saved_sheets(saved)
    if not files or files[0] != (ALL, None):
        return [named(sheets, word) if sheet is None else sheet for word, sheet in files]
    if not sheets:
        raise InputError("There is no recipe in this analysis, so none can be drawn. Leave "
                         "--recipe out for a first sheet.")  # fmt: skip
    return list(sheets)


def _first(findings: Any) -> Sheet:
    from ..figures.first import first_sheet

    return first_sheet(findings)


def _as_asked(sheet: Sheet, args: argparse.Namespace) -> Sheet:
    """With the preset and the width of the command line. Raises UsageError."""
    from ..figures import preset

    changes: dict[str, Any] = {}
    if args.preset:
        try:
            preset(args.preset)
        except SettingsError as error:
            raise UsageError(f"--preset {args.preset}: {error}") from None
        changes["preset"] = args.preset
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


def _check_targets(args: argparse.Namespace) -> None:
    """Refuse what can't be written before anything is worked out."""
    from ..figures.writing import format_of

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

    found = []
    for sheet in sheets:
        sign = slug(sheet.name).replace("_", "-") if len(sheets) > 1 else ""
        outs = [_with(Path(out), sign) for out in args.out]
        data = Path(args.data) / sign if args.data else None
        recipe = _with(Path(args.save_recipe), sign) if args.save_recipe else None
        found.append((outs, data, recipe))
    every = [str(path) for outs, data, recipe in found for path in (*outs, data, recipe)
             if path is not None]  # fmt: skip
    if len(set(every)) < len(every):
        raise InputError("Two figures would go into one file: draw them one by one.")
    return found


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


def _opened(path: Path, saved: Any, args: argparse.Namespace) -> Any:
    """The findings of the file that was named, as a context manager."""
    from ..findings import opened_findings

    near = Path(args.near) if args.near else None
    if near is not None and not near.exists():
        raise InputError(f"--near {near}: there is no such file or folder.")
    settings = None
    if args.settings or args.changes:
        if saved is not None:
            raise UsageError("--settings and --set are for maps: a saved result has its own "
                             "settings. Name its map to analyse it otherwise.")  # fmt: skip
        settings = chosen(args)
    stack = ExitStack()
    bar, progress = bar_of(path.name, args.quiet)
    stack.enter_context(bar)
    manager = opened_findings(path, near=near, settings=settings, progress=progress)
    return _Both(stack, manager)


class _Both:
    """A progress bar that ends when the findings are there, and the findings."""

    def __init__(self, bar: ExitStack, manager: Any) -> None:
        self._bar, self._manager = bar, manager

    def __enter__(self) -> Any:
        with self._bar:
            return self._manager.__enter__()

    def __exit__(self, *reason: Any) -> Any:
        return self._manager.__exit__(*reason)


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
        _save_recipe(recipe, sheet)
        print(f"Recipe: {recipe}")
    for remark in drawn.remarks:
        if remark not in told:
            print("\n".join(wrapped(f"Note: {remark}")))
    if not args.quiet:
        print("\n".join(wrapped(f"Caption: {drawn.caption}")))
    return sum(1 for panel in drawn.panels if panel.problem)


def _save_recipe(path: Path, sheet: Sheet) -> None:
    from ..writers.atomic import saving

    with saving(path) as temporary:
        text = json.dumps(sheet.as_dict(), indent=1, ensure_ascii=False, allow_nan=False)
        temporary.write_text(text + "\n", encoding="utf-8")
