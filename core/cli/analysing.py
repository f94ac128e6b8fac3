"""``analyse``: maps in, result files, tables and pictures out."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import Any

from ..errors import InputError
from ..forcemap import ForceMap
from ..progress import Progress
from ..settings import Settings
from .choosing import chosen


def _targets(maps: list[Path], out: str | None) -> list[Path]:
    """Where each result goes; refuses to write two results, or a map, into one place."""
    if out is not None and (Path(out).suffix.lower() in (".h5", ".hdf5", ".nxs")):
        if len(maps) > 1:
            raise InputError(f"--out {out} is one file, but there are {len(maps)} maps; give a "
                             "folder.")  # fmt: skip
        found = [Path(out)]
    else:
        found = [(Path(out) if out else m.parent) / f"{m.stem}.analysis.h5" for m in maps]
    if len(set(found)) < len(found):
        raise InputError("Two maps have the same name, so their results would go into one file; "
                         "analyse them one by one with --out.")  # fmt: skip
    if out is not None:
        for target in found:
            target.parent.mkdir(parents=True, exist_ok=True)
    return found


def bar_of(name: str, quiet: bool = False) -> tuple[Any, Progress]:
    """A progress bar on stderr and the Progress that drives it."""
    from tqdm import tqdm

    bar = tqdm(total=0, desc=name[:30], unit=" curves", leave=False, disable=quiet or None)

    def report(done: int, total: int, words: str) -> None:
        bar.set_description_str(f"{name[:30]}: {words}")
        bar.total = total
        bar.n = done
        bar.refresh()

    return bar, Progress(report)


def analyse(args: argparse.Namespace) -> int:
    """Analyse each map; the exit code says whether all went well."""
    settings = chosen(args)
    maps = [Path(m) for m in args.maps]
    try:
        targets = _targets(maps, args.out)
    except OSError as error:
        raise InputError(f"{error.filename}: can't be made ({error.strerror}).") from None
    failed = 0
    for path, target in zip(maps, targets, strict=True):
        try:
            _one(path, target, settings, args)
        except InputError as error:
            print(f"palpate: {error}", file=sys.stderr)
            failed += 1
    if failed and len(maps) > 1:
        print(f"{failed} of {len(maps)} maps could not be analysed.", file=sys.stderr)
    return 1 if failed else 0


def _one(path: Path, target: Path, settings: Settings, args: argparse.Namespace) -> None:
    from .. import pipeline
    from ..calibration import missing, remarks
    from ..readers import open_map
    from ..readers.thickness import read_thickness
    from ..work import Work
    from ..workfile import Beside, save_analysis
    from .telling import told

    with open_map(path) as fmap:
        if args.thickness:
            fmap = fmap.with_thickness(read_thickness(args.thickness, fmap.shape))
        given = [change.partition("=")[0].strip() for change in args.changes]
        notes = fmap.warnings + remarks(fmap, settings) + layer_notes(fmap, settings, given)
        for note in notes:
            print(f"{path.name}: {note}", file=sys.stderr)
        lacking = missing(fmap, settings)
        for where, sentence in lacking:
            print(f"{path.name}: {sentence} Give it with --set {where}=VALUE.", file=sys.stderr)
        bar, progress = bar_of(path.name, args.quiet)
        with bar:
            result = pipeline.analyse(fmap, settings, progress=progress)
        save_analysis(target, result, Beside(work=Work(settings)))
        if not args.quiet:
            print(told(result))
            print(f"Result: {target}")
        if args.pictures:
            drawn = _draw(result, target)
            if not args.quiet:
                print(drawn)
    if lacking:
        raise InputError(f"{path}: saved to {target}, but without what the missing constants would "
                         "give.")  # fmt: skip


def layer_notes(fmap: ForceMap, settings: Settings, given: list[str]) -> list[str]:
    """What is to be said about a layer and its thickness; `given` are the names set by hand."""
    layer = settings.layer
    if layer.base == "none":
        if fmap.thickness is None:
            return []
        return ["a thickness is given, but no layer: --set layer.base=bonded or sliding uses it."]
    untouched = layer.thickness == Settings().layer.thickness and "layer.thickness" not in given
    if fmap.thickness is not None or not untouched:
        return []
    return [f"the layer's thickness is the default, {layer.thickness:g} nm, and not measured: give "
            "it with --set layer.thickness=VALUE or --thickness FILE."]  # fmt: skip


def _draw(result: Any, target: Path) -> str:
    from ..figures import pictures

    folder = target.with_name(target.name.removesuffix(".h5") + ".pictures")
    try:
        folder.mkdir(exist_ok=True)
    except OSError as error:
        raise InputError(f"{folder}: can't be made ({error.strerror}).") from None
    return f"Pictures: {folder} ({len(pictures(result, folder))})"
