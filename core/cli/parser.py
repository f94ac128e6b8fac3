"""The words of the command line."""

from __future__ import annotations

import argparse

from ..errors import InputError

COMMANDS = ("analyse", "again", "components", "export", "speeds", "fields", "rehearse",
            "figure", "methods", "report", "pack", "rebuild", "settings", "info", "simulate",
            "window")  # fmt: skip
CAUTION = ("Not for qualifying safety-critical or medical parts: accredited tests and local rules "
           "decide.")  # fmt: skip


class UsageError(InputError):
    """The command line itself is wrong; exit code 2."""


def parser() -> argparse.ArgumentParser:
    """The parser of all commands."""
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
    _export(commands.add_parser("export", help="maps, tables, curves and surface as plain files"))
    _speeds(commands.add_parser("speeds", help="the modulus against the speed of the approach"))
    _fields(commands.add_parser("fields", help="the same components over several maps"))
    _rehearse(commands.add_parser("rehearse", help="what the settings do to known moduli"))
    _report(commands.add_parser("report", help="the report of one analysis, as HTML or PDF"))
    _figure(commands.add_parser("figure", help="figure sheets for paper"))
    _methods(commands.add_parser("methods", help="the methods section of a paper, in words"))
    _pack(commands.add_parser("pack", help="all that a reviewer needs, in one folder or zip"))
    _rebuild(commands.add_parser("rebuild", help="check a pack, and make its numbers again"))
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


def _choices(run: argparse.ArgumentParser) -> None:
    run.add_argument("--settings", metavar="FILE", help="settings, .toml or .json")
    run.add_argument("--set", action="append", default=[], metavar="NAME=VALUE", dest="changes",
                     help="one setting, such as fit.law=cone; may be repeated; `palpate settings` "
                     "lists them")  # fmt: skip


def _analyse(run: argparse.ArgumentParser) -> None:
    run.add_argument("maps", nargs="+", metavar="MAP", help="map files")
    _choices(run)
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
    _choices(run)
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


def _export(run: argparse.ArgumentParser) -> None:
    run.description = ("Writes what an analysis holds as plain files into a new folder, which "
                       "describes itself in its datapackage.json.")  # fmt: skip
    run.add_argument("map", metavar="RESULT_OR_MAP",
                     help="a saved result with all that was decided, or a map")  # fmt: skip
    _choices(run)
    run.add_argument("--out", metavar="FOLDER", required=True, help="the new folder")
    run.add_argument("--replace", action="store_true",
                     help="put it in the place of an earlier export")  # fmt: skip
    run.add_argument("--what", default="channels,errors,tables", metavar="WORDS",
                     help="channels, errors, tables, curves, surface, or all; several with commas "
                     "(default: channels,errors,tables)")  # fmt: skip
    run.add_argument("--format", default="csv", metavar="WORDS",
                     help="of maps and curves: csv, npy, npz, h5, tif (maps only); several with "
                     "commas (default: csv)")  # fmt: skip
    run.add_argument("--channel", action="append", default=[], metavar="NAME",
                     help="this channel only; may be repeated")  # fmt: skip
    run.add_argument("--unit", action="append", default=[], metavar="UNIT",
                     help="write channels of its kind so, such as MPa or pN; may be "
                     "repeated")  # fmt: skip
    run.add_argument("--pixel", nargs="+", action="extend", default=[], metavar="ROW,COL",
                     help="pixels whose curves are written")  # fmt: skip
    run.add_argument("--all-pixels", action="store_true", help="the curves of all pixels")
    run.add_argument("--curves", default="raw,corrected", metavar="WORDS",
                     help="raw, corrected, or both (default)")  # fmt: skip
    run.add_argument("--with-doubtful", action="store_true",
                     help="also the numbers of pixels with a severe doubt or left out by "
                     "hand")  # fmt: skip
    run.add_argument("--surface", default="stl,ply", metavar="WORDS",
                     help="formats of the surface: stl, ply, obj, glb (default: stl,ply)")
    run.add_argument("--colour", metavar="CHANNEL", help="channel that colours the surface")
    run.add_argument("--vertical", type=float, default=1.0, metavar="TIMES",
                     help="stretch the heights of the surface (default 1)")  # fmt: skip
    run.add_argument("--source", metavar="FILE_OR_FOLDER",
                     help="where a result's map is now, if it is not at its place")  # fmt: skip
    run.add_argument("--quiet", action="store_true", help="no progress bar")


def _speeds(run: argparse.ArgumentParser) -> None:
    run.description = ("Analyses maps of one sample that were taken at several speeds, and fits "
                       "the slope of ln(modulus) against ln(speed).")  # fmt: skip
    run.add_argument(
        "maps",
        nargs="+",
        metavar="RESULT_OR_MAP",
        help="map files; a saved result stands for its map and its settings",
    )
    _choices(run)
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
    _choices(run)
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
    _choices(run)
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


def _report(run: argparse.ArgumentParser) -> None:
    run.description = ("Writes the report of one analysis: maps, components, budgets, calibration, "
                       "doubts, decisions, example curves, settings and checksums, in one "
                       "file.")  # fmt: skip
    run.add_argument(
        "map",
        metavar="RESULT_OR_MAP",
        help="a saved result, with all that was decided, or a map, which is analysed",
    )
    _choices(run)
    run.add_argument("--out", action="append", required=True, metavar="FILE",
                     help="the report, .html or .pdf; may be repeated")  # fmt: skip
    run.add_argument("--source", metavar="FILE_OR_FOLDER",
                     help="where a result's map is now, if it is not at its place")  # fmt: skip
    run.add_argument("--replace", action="store_true", help="replace files that are there already")
    run.add_argument("--quiet", action="store_true", help="no progress bar")


def _figure(run: argparse.ArgumentParser) -> None:
    run.description = ("Draws figure sheets of a result or a map by recipes, reads each file back "
                       "and tells what it holds; with --data also the numbers behind it and a "
                       "script that draws it again.")  # fmt: skip
    run.add_argument("map", metavar="RESULT_OR_MAP", help="a saved result, or a map file")
    _choices(run)
    run.add_argument("--recipe", nargs="+", action="extend", default=[],
                     metavar="NAME_OR_FILE.json",
                     help="recipes of the result by name, or of files; all for every one of the "
                     "result (default: a first sheet of what there is)")  # fmt: skip
    run.add_argument("--out", nargs="+", action="extend", default=[], metavar="FILE",
                     help=".pdf, .svg, .png or .tif; may be repeated; with several recipes each "
                     "adds its name")  # fmt: skip
    run.add_argument("--data", metavar="FOLDER", help="write the numbers behind it there")
    run.add_argument("--save-recipe", metavar="FILE.json", help="write the recipe as a file")
    run.add_argument("--preset", metavar="ID", help="of a publisher; --list tells them")
    run.add_argument("--width", metavar="WORD_OR_MM", help="single, middle, double, or mm")
    run.add_argument("--source", metavar="FILE_OR_FOLDER",
                     help="where a result's map is now, if it is not at its place")  # fmt: skip
    run.add_argument("--replace", action="store_true", help="replace files that are there")
    run.add_argument("--list", action="store_true", help="tell the recipes and presets there are")
    run.add_argument("--quiet", action="store_true", help="no progress bar, no caption, of the "
                     "checks only warnings")  # fmt: skip


def _methods(run: argparse.ArgumentParser) -> None:
    run.description = ("Writes in words what was really done, for the methods section of a paper; "
                       "what the program does not know is a marked gap.")  # fmt: skip
    run.epilog = CAUTION
    run.add_argument("map", metavar="RESULT_OR_MAP", help="a saved result, with all that was "
                     "decided and answered; or a map, which is analysed first")  # fmt: skip
    _choices(run)
    run.add_argument("--out", metavar="FILE", help="write it, as .txt, .md or .html; .csv is the "
                     "table of all statements with where each is from")  # fmt: skip
    run.add_argument("--bibtex", metavar="FILE.bib", help="write the references as BibTeX")
    run.add_argument("--source", metavar="FILE_OR_FOLDER",
                     help="where the map of a result is now, if not at its place")  # fmt: skip
    run.add_argument("--replace", action="store_true", help="replace files that exist")
    run.add_argument("--quiet", action="store_true", help="no progress bar")


def _pack(run: argparse.ArgumentParser) -> None:
    run.description = ("Writes a pack that a reviewer can check: the measured map, the result, "
                       "figures, tables and texts, with checksums, a description for machines "
                       "(RO-Crate) and a script that makes the numbers again.")  # fmt: skip
    run.epilog = CAUTION
    run.add_argument("result", metavar="RESULT_OR_MAP",
                     help="a saved result, or a map file, which is analysed")  # fmt: skip
    _choices(run)
    run.add_argument("--source", metavar="FILE_OR_FOLDER",
                     help="where a result's map is now, if it is not at its place")  # fmt: skip
    run.add_argument("--out", required=True, metavar="FOLDER_OR_ZIP",
                     help="the pack: a zip if the name ends in .zip, else a folder")  # fmt: skip
    run.add_argument("--without-map", action="store_true", help="leave the measured map out; it is "
                     "named with its checksum, and whoever checks the pack needs it")  # fmt: skip
    run.add_argument("--map-at", default="", metavar="ADDRESS", help="where the measured map is "
                     "published: https://… or a DOI")  # fmt: skip
    run.add_argument("--licence", default="CC-BY-4.0", metavar="ID_OR_FILE", help="of the data: "
                     "CC-BY-4.0 (default), CC0-1.0, or a text file of your own")  # fmt: skip
    run.add_argument("--author", action="append", default=[], metavar="NAME",
                     help="an author; may be repeated")  # fmt: skip
    run.add_argument("--orcid", action="append", default=[], metavar="ID", help="ORCID iD of an "
                     "author, in their order; none for who has none")  # fmt: skip
    run.add_argument("--title", default="", help="title of the pack (default: the map's name)")
    run.add_argument("--description", default="", help="what was measured and why, in a few "
                     "sentences")  # fmt: skip
    run.add_argument("--leave-out", default="", metavar="PART,PART", help="parts that do not go "
                     "in, of: tables, figures, methods, report, program")  # fmt: skip
    run.add_argument("--replace", action="store_true", help="replace a pack that is there already")
    run.add_argument("--quiet", action="store_true", help="no progress bar, no size, no summary")


def _rebuild(run: argparse.ArgumentParser) -> None:
    run.description = ("Checks the checksums of a pack, analyses its map anew under its settings "
                       "and decisions, makes components, tables and the numbers behind figures "
                       "anew, and tells what is the same. The exit code is 0 only if all is.")
    run.add_argument("pack", metavar="PACK", help="the folder or the zip")
    run.add_argument("--map", metavar="FILE", help="the measured map, if it is not in the pack")
    run.add_argument("--out", metavar="FOLDER", help="keep what is made anew in a new folder")
    run.add_argument("--quiet", action="store_true", help="tell only what is not the same")


def _simulate(run: argparse.ArgumentParser) -> None:
    run.add_argument("out", metavar="FILE", help="the map to write; its truth goes beside it")
    run.add_argument("--scene", default="ski-boot", choices=("ski-boot", "door-seal"))
    run.add_argument("--size", type=int, default=64, help="pixels along each side (4 to 1024)")
    run.add_argument("--samples", type=int, default=384, help="of each branch (32 to 8192)")
    run.add_argument("--seed", type=int, default=7)
