"""The command line: ``palpate [MAP]``, ``analyse``, ``info``, ``simulate``.

Exit codes: 0 all went well; 1 something the user can mend (the message says what); 2 the command
line itself is wrong; 130 stopped by the user.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path

from .errors import Cancelled, InputError, PalpateError
from .progress import Progress

COMMANDS = ("analyse", "info", "simulate", "window")
CAUTION = ("Not for qualifying safety-critical or medical parts: accredited tests and local rules "
           "decide.")  # fmt: skip


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="palpate", epilog=CAUTION,
        description="Maps of force-distance curves: numbers at every pixel, and reasons to "
        "believe them. `palpate [MAP]` opens the window.",
    )  # fmt: skip
    parser.add_argument("--version", action="store_true", help="print the version")
    commands = parser.add_subparsers(dest="command", metavar="COMMAND")
    window = commands.add_parser("window", help="open the window (also: palpate [MAP])")
    window.add_argument("map", nargs="?", help="a map file")
    run = commands.add_parser("analyse", help="analyse maps without a window")
    run.add_argument("maps", nargs="+", metavar="MAP", help="map files")
    run.add_argument("--settings", metavar="FILE", help="settings, .toml or .json")
    run.add_argument("--set", action="append", default=[], metavar="NAME=VALUE", dest="changes",
                     help="one setting, such as fit.law=cone; may be repeated")  # fmt: skip
    run.add_argument("--out", metavar="FILE_OR_FOLDER",
                     help="where the result goes (default: beside each map)")  # fmt: skip
    run.add_argument("--thickness", metavar="FILE",
                     help="layer thickness at each pixel in nm, .npy or .csv (with layer.base set)")
    run.add_argument("--pictures", action="store_true", help="also write a PNG of each main map")
    run.add_argument("--quiet", action="store_true", help="no progress bar, no table")
    info = commands.add_parser("info", help="what is in a map file")
    info.add_argument("map", metavar="MAP")
    simulate = commands.add_parser("simulate", help="make a map whose truth is known")
    simulate.add_argument("out", metavar="FILE", help="the map to write; its truth goes beside it")
    simulate.add_argument("--scene", default="ski-boot", choices=("ski-boot", "door-seal"))
    simulate.add_argument("--size", type=int, default=64, help="pixels along each side (4 to 1024)")
    simulate.add_argument("--samples", type=int, default=384, help="of each branch (32 to 8192)")
    simulate.add_argument("--seed", type=int, default=7)
    return parser


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command line; returns the exit code."""
    words = list(sys.argv[1:] if argv is None else argv)
    if not words or (words[0] not in COMMANDS and not words[0].startswith("-")):
        words = ["window", *words]
    args = _parser().parse_args(words)
    if args.version:
        from importlib.metadata import version

        print(f"palpate {version('palpate')}")
        return 0
    run = {"window": _window, "analyse": _analyse, "info": _info, "simulate": _simulate}
    try:
        return run[args.command](args)
    except (Cancelled, KeyboardInterrupt):
        print("Stopped; nothing half-written is left.", file=sys.stderr)
        return 130
    except PalpateError as error:
        print(f"palpate: {error}", file=sys.stderr)
        return 1


def _window(args: argparse.Namespace) -> int:
    from importlib import import_module

    # by name: core never imports the window, this is the door to another program
    start = import_module(f"{__package__.rpartition('.')[0]}.app.main")
    return int(start.main([args.map] if args.map else []) or 0)


# -- analyse ---------------------------------------------------------------------------------------


def _settings(args: argparse.Namespace):
    from .settings import Settings, declaration

    settings = Settings.load(args.settings) if args.settings else Settings()
    changes: dict[str, object] = {}
    for change in args.changes:
        name, equals, text = change.partition("=")
        spec = declaration(name.strip())
        value: object = text.strip()
        if not equals:
            raise InputError(f"--set {change}: write NAME=VALUE, such as fit.law=cone.")
        if spec.metadata["kind"] == "number":
            try:
                value = float(text)
            except ValueError:
                raise InputError(f"--set {change}: {text.strip()!r} is not a number.") from None
        changes[name.strip()] = value
    return settings.with_values(changes)


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


def _bar(name: str, quiet: bool):
    """A progress bar on stderr and the Progress that drives it."""
    from tqdm import tqdm

    bar = tqdm(total=0, desc=name[:30], unit=" curves", leave=False, disable=quiet or None)

    def report(done: int, total: int, words: str) -> None:
        bar.set_description_str(f"{name[:30]}: {words}")
        bar.total = total
        bar.n = done
        bar.refresh()

    return bar, Progress(report)


def _analyse(args: argparse.Namespace) -> int:
    settings = _settings(args)
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


def _one(path: Path, target: Path, settings, args: argparse.Namespace) -> None:
    from .calibration import missing, remarks
    from .pipeline import analyse
    from .readers import open_map
    from .readers.thickness import read_thickness
    from .workfile import save_analysis

    with open_map(path) as fmap:
        if args.thickness:
            fmap = fmap.with_thickness(read_thickness(args.thickness, fmap.shape))
            if settings.layer.base == "none":
                print(f"{path.name}: a thickness is given, but no layer: --set layer.base=bonded "
                      "or sliding uses it.", file=sys.stderr)  # fmt: skip
        for warning in fmap.warnings + remarks(fmap, settings):
            print(f"{path.name}: {warning}", file=sys.stderr)
        lacking = missing(fmap, settings)
        for where, sentence in lacking:
            print(f"{path.name}: {sentence} Give it with --set {where}=VALUE.", file=sys.stderr)
        bar, progress = _bar(path.name, args.quiet)
        with bar:
            result = analyse(fmap, settings, progress=progress)
        save_analysis(target, result)
        if not args.quiet:
            print(summary(result))
            print(f"Result: {target}")
        if args.pictures:
            from .figures import pictures

            folder = target.with_name(target.name.removesuffix(".h5") + ".pictures")
            try:
                folder.mkdir(exist_ok=True)
            except OSError as error:
                raise InputError(f"{folder}: can't be made ({error.strerror}).") from None
            written = pictures(result, folder)
            print(f"Pictures: {folder} ({len(written)})")
    if lacking:
        raise InputError(f"{path}: saved to {target}, but without what the missing constants would "
                         "give.")  # fmt: skip


def summary(result) -> str:
    """A table of the channels over the pixels without a severe doubt, and the doubts."""
    import numpy as np

    from .doubts import DOUBTS
    from .units import best_unit

    good = result.trusted
    lines = [f"{result.map.title or result.map.path}: {result.map.n_curves} curves, "
             f"{int(good.sum())} pixels without a severe doubt (the medians are theirs)",
             f"{'':26}{'median':>10} {'quartiles':>21}"]  # fmt: skip
    for channel, values, _ in result.channels():
        kept = values[good & np.isfinite(values)]
        if kept.size == 0:
            lines.append(f"{channel.label:26}{'–':>10}")
            continue
        low, middle, high = np.percentile(kept, [25, 50, 75])
        unit, factor = best_unit(middle, channel.unit)
        lines.append(f"{channel.label:26}{middle * factor:10.4g} {low * factor:10.4g} "
                     f"{high * factor:10.4g} {unit}")  # fmt: skip
    for name, count in result.doubt_counts().items():
        doubt = DOUBTS[name]
        lines.append(f"{count:7d} {'curve ' if count == 1 else 'curves'}, {doubt.severity}: "
                     f"{doubt.sentence}")  # fmt: skip
    return "\n".join(lines)


# -- info, simulate --------------------------------------------------------------------------------


def _info(args: argparse.Namespace) -> int:
    from .readers import open_map

    with open_map(args.map) as fmap:
        print(about(fmap))
    return 0


def about(fmap) -> str:
    """What a map file says about itself, in plain lines."""
    from dataclasses import fields

    from .calibration import missing
    from .settings import Settings
    from .units import text_of

    rows, cols = fmap.shape
    lines = [f"{fmap.title or '(no title)'}", f"file        {fmap.path}, {fmap.file_size} bytes",
             f"curves      {fmap.n_curves} on {rows} x {cols} pixels"]  # fmt: skip
    if fmap.has_scale and cols > 1 and rows > 1:
        width = (fmap.x[-1] - fmap.x[0]) * cols / (cols - 1)
        height = (fmap.y[-1] - fmap.y[0]) * rows / (rows - 1)
        lines.append(f"area        {width / 1e3:.4g} x {height / 1e3:.4g} µm")
    counts = fmap.curve_count
    lines.append(f"samples     {counts.min()} to {counts.max()} a curve; signal in "
                 f"{fmap.signal_unit}")  # fmt: skip
    for spec in fields(fmap.recorded):
        value = getattr(fmap.recorded, spec.name)
        if value is None or value == "":
            continue
        if not isinstance(value, str):
            method = f" ({value.method})" if value.method else ""
            value = text_of(value.value, value.unit, value.error) + method
        lines.append(f"{spec.name.replace('_', ' '):24}{value}")
    lines += [f"note: {warning}" for warning in fmap.warnings]
    lines += [f"missing: {sentence}" for _, sentence in missing(fmap, Settings())]
    return "\n".join(lines)


def _simulate(args: argparse.Namespace) -> int:
    from .simulate import SCENES, write_truth
    from .writers.native import write_map

    if not 4 <= args.size <= 1024 or not 32 <= args.samples <= 8192:
        raise InputError("--size goes from 4 to 1024 and --samples from 32 to 8192.")
    made = SCENES[args.scene](args.size, args.seed, args.samples)
    arrays = made.arrays()
    z, deflection = arrays.pop("z"), arrays.pop("deflection")
    out = Path(args.out)
    write_map(out, z, deflection, title=f"Simulated: {args.scene}, seed {args.seed}", **arrays)
    truth = out.with_name(f"{out.stem}.truth.h5")
    write_truth(truth, made)
    print(f"Map: {out}\nTruth: {truth}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
