"""The words of the command line."""

from __future__ import annotations

import argparse

from ..errors import InputError

COMMANDS = ("analyse", "again", "components", "speeds", "fields", "rehearse", "figure", "methods",
            "export", "report", "pack", "rebuild", "settings", "info", "simulate",
            "window")  # fmt: skip
CAUTION = ("Not for qualifying safety-critical or medical parts: accredited tests and local rules "
           "decide.")  # fmt: skip


class UsageError(InputError):
    """The command line itself is wrong; exit code 2."""


def parser() -> argparse.ArgumentParser:
    """The parser of all commands."""
    from . import parser_paper

    made = argparse.ArgumentParser(
        prog="palpate", epilog=CAUTION,
        description="Maps of force-distance curves: numbers at every pixel, and reasons to "
        "believe them. `palpate [MAP]` opens the window.",
    )  # fmt: skip
    made.add_argument("--version", action="store_true", help="print the version")
    commands = made.add_subparsers(dest="command", metavar="COMMAND")
    window = commands.add_parser("window", help="open the window (also: palpate [MAP])")
    window.add_argument("map", nargs="?", help="a map file")
    _analyse(commands.add_parser("analyse", help="analyse maps without a window"))
    _again(commands.add_parser("again", help="make a saved result anew from its map"))
    _components(commands.add_parser("components", help="what a map is made of"))
    _speeds(commands.add_parser("speeds", help="the modulus against the speed of the approach"))
    _fields(commands.add_parser("fields", help="the same components over several maps"))
    _rehearse(commands.add_parser("rehearse", help="what the settings do to known moduli"))
    parser_paper.add(commands)
    settings = commands.add_parser("settings", help="what --set can change, with ranges")
    settings.add_argument(
        "section",
        nargs="?",
        metavar="SECTION",
        help="one section, such as fit, or one setting, such as fit.law",
    )
    info = commands.add_parser("info", help="what is in a map file")
    info.add_argument("map", metavar="MAP")
    _simulate(commands.add_parser("simulate", help="make a map whose truth is known"))
    return made


def choices(run: argparse.ArgumentParser) -> None:
    """The settings that a map is analysed under."""
    run.add_argument("--settings", metavar="FILE", help="settings, .toml or .json")
    run.add_argument("--set", action="append", default=[], metavar="NAME=VALUE", dest="changes",
                     help="one setting, such as fit.law=cone; may be repeated; `palpate settings` "
                     "lists them")  # fmt: skip


def _analyse(run: argparse.ArgumentParser) -> None:
    run.add_argument("maps", nargs="+", metavar="MAP", help="map files")
    choices(run)
    run.add_argument("--out", metavar="FILE_OR_FOLDER",
                     help="where the result goes (default: beside each map)")  # fmt: skip
    run.add_argument(
        "--thickness",
        metavar="FILE",
        help="layer thickness at each pixel in nm, .npy or .csv (with layer.base set)",
    )
    run.add_argument("--pictures", action="store_true", help="also write a PNG of each main map")
    run.add_argument("--quiet", action="store_true", help="no progress bar, no table, no advice")


def _again(run: argparse.ArgumentParser) -> None:
    run.description = ("Runs the settings and the decisions of a saved result on its map again, "
                       "and tells whether the numbers are the same.")  # fmt: skip
    run.add_argument("result", metavar="RESULT", help="a saved result")
    run.add_argument("--out", metavar="FILE.h5", help="also write the new result, with all that "
                     "was decided")  # fmt: skip
    run.add_argument("--source", metavar="FILE_OR_FOLDER",
                     help="where its map is now, if it is not at its place")  # fmt: skip
    run.add_argument("--quiet", action="store_true", help="no progress bar")


def _components(run: argparse.ArgumentParser) -> None:
    run.description = ("Finds the components of a map: how much of each there is, how stiff and "
                       "how sticky it is, and how sure that is.")  # fmt: skip
    run.add_argument(
        "map",
        metavar="RESULT_OR_MAP",
        help="a map file; a saved result stands for its map and its settings",
    )
    choices(run)
    run.add_argument("--rule", metavar="FILE.json",
                     help="how components are made, as saved beside a table")  # fmt: skip
    run.add_argument(
        "--count",
        type=int,
        metavar="N",
        help="find a mixture of exactly N components (0: the criterion chooses)",
    )
    run.add_argument("--names", metavar="NAME,NAME", help="names of A, B, C …")
    run.add_argument("--out", metavar="FILE.csv", help="write the table, pairs and rule as files")
    run.add_argument("--result", metavar="FILE.h5", help="write a result file with the components")


def _speeds(run: argparse.ArgumentParser) -> None:
    run.description = ("Analyses maps of one sample that were taken at several speeds, and fits "
                       "the slope of ln(modulus) against ln(speed).")  # fmt: skip
    run.add_argument(
        "maps",
        nargs="+",
        metavar="RESULT_OR_MAP",
        help="map files; a saved result stands for its map and its settings",
    )
    choices(run)
    run.add_argument(
        "--channel",
        default="modulus",
        metavar="NAME",
        help="another positive channel than modulus, such as reduced_modulus",
    )
    run.add_argument("--out", metavar="FILE.csv", help="also write the table as a file")


def _fields(run: argparse.ArgumentParser) -> None:
    run.description = ("Finds the same components in several maps and pools their numbers, with "
                       "the scatter between the maps as a term of its own.")  # fmt: skip
    run.add_argument(
        "maps",
        nargs="+",
        metavar="RESULT_OR_MAP",
        help="map files; a saved result stands for its map and its settings",
    )
    choices(run)
    run.add_argument("--rule", metavar="FILE", help="how components are made, .json (default: a "
                     "mixture of log reduced modulus and adhesion)")  # fmt: skip
    run.add_argument("--match", default="together", choices=("together", "nearest"),
                     help="of mixtures: one for all maps together (default), or a mixture a map "
                     "and nearest means")  # fmt: skip
    run.add_argument("--offsets", action="store_true", help="when matching, allow each map a "
                     "factor of its own, as another lever or tip makes it")  # fmt: skip
    run.add_argument("--shared", default="lever,tip", metavar="WORDS",
                     help="what all maps have in common: lever,tip (default), lever, tip or "
                     "none")  # fmt: skip
    run.add_argument("--condition", nargs="+", type=float, metavar="VALUE",
                     help="a number for each map, for trends against it")  # fmt: skip
    run.add_argument("--conditions", metavar="FILE",
                     help="the same from a file with lines NAME,VALUE")  # fmt: skip
    run.add_argument("--condition-name", default="condition", metavar="WORD",
                     help="what the condition is called")  # fmt: skip
    run.add_argument("--log-condition", action="store_true",
                     help="take the condition as its logarithm")  # fmt: skip
    run.add_argument("--out", metavar="FILE.csv", help="also write the table as a file")


def _rehearse(run: argparse.ArgumentParser) -> None:
    run.description = ("Makes curves of known moduli with the noise, tilt, sampling, lever, tip "
                       "and adhesion of a map, runs the settings on them, and tells bias, scatter "
                       "and what the stated ± holds.")  # fmt: skip
    run.add_argument(
        "map",
        metavar="RESULT_OR_MAP",
        help="a map file; a saved result stands for its map and its settings",
    )
    choices(run)
    run.add_argument("--from", type=float, dest="low", metavar="GPa",
                     help="lowest modulus (default: half of what the map has)")  # fmt: skip
    run.add_argument("--to", type=float, dest="high", metavar="GPa",
                     help="highest modulus (default: twice what the map has)")  # fmt: skip
    run.add_argument("--steps", type=int, default=8, help="moduli (2 to 64; default 8)")
    run.add_argument("--curves", type=int, default=100, help="of each modulus (default 100)")
    run.add_argument("--faults", type=int, default=0, metavar="N",
                     help="also plant each kind of fault in N curves of each modulus")  # fmt: skip
    run.add_argument("--scene", action="append", default=[], metavar="NAME=NUMBER",
                     help="another number than the map has, such as noise=0.05 (nm) or "
                     "peak_force=60 (nN); may be repeated")  # fmt: skip
    run.add_argument("--seed", type=int, default=1)
    run.add_argument("--out", metavar="FILE.csv",
                     help="write the table, the contrast, faults and scene as files")  # fmt: skip


def _simulate(run: argparse.ArgumentParser) -> None:
    run.add_argument("out", metavar="FILE", help="the map to write; its truth goes beside it")
    run.add_argument("--scene", default="ski-boot", choices=("ski-boot", "door-seal"))
    run.add_argument("--size", type=int, default=64, help="pixels along each side (4 to 1024)")
    run.add_argument("--samples", type=int, default=384, help="of each branch (32 to 8192)")
    run.add_argument("--seed", type=int, default=7)
