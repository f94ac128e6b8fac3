"""The words of the commands that make things for paper and for others."""

from __future__ import annotations

import argparse
from typing import Any

from .parser import CAUTION, choices


def add(commands: Any) -> None:
    """Add these commands to those of the program."""
    for name, (fill, words) in COMMANDS.items():
        fill(commands.add_parser(name, help=words, epilog=CAUTION))


def _given(run: argparse.ArgumentParser, **how: Any) -> None:
    """What all of them are made from; `how` changes the declaration of its name."""
    run.add_argument("map", metavar="RESULT_OR_MAP", **how,
                     help="a saved result with all that was decided, or a map, which is analysed "
                     "first")  # fmt: skip
    choices(run)
    run.add_argument("--source", metavar="FILE_OR_FOLDER",
                     help="where a result's map is now, if it is not at its place")  # fmt: skip


def _export(run: argparse.ArgumentParser) -> None:
    run.description = ("Writes what an analysis holds as plain files into a new folder, which "
                       "describes itself in its datapackage.json.")  # fmt: skip
    _given(run)
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
    run.add_argument("--quiet", action="store_true", help="no progress bar")


def _report(run: argparse.ArgumentParser) -> None:
    run.description = ("Writes the report of one analysis: maps, components, budgets, calibration, "
                       "doubts, decisions, example curves, settings and checksums, in one "
                       "file.")  # fmt: skip
    _given(run)
    run.add_argument("--out", action="append", required=True, metavar="FILE",
                     help="the report, .html or .pdf; may be repeated")  # fmt: skip
    run.add_argument("--replace", action="store_true", help="replace files that are there already")
    run.add_argument("--quiet", action="store_true", help="no progress bar")


def _figure(run: argparse.ArgumentParser) -> None:
    run.description = ("Draws figure sheets of a result or a map by recipes, reads each file back "
                       "and tells what it holds; with --data also the numbers behind it and a "
                       "script that draws it again.")  # fmt: skip
    _given(run, nargs="?", default="")
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
    run.add_argument("--replace", action="store_true", help="replace files that are there")
    run.add_argument("--list", action="store_true", help="tell the recipes and presets there are")
    run.add_argument("--quiet", action="store_true", help="no progress bar, no caption, of the "
                     "checks only warnings")  # fmt: skip


def _methods(run: argparse.ArgumentParser) -> None:
    run.description = ("Writes in words what was really done, for the methods section of a paper; "
                       "what the program does not know is a marked gap.")  # fmt: skip
    _given(run)
    run.add_argument("--out", action="append", default=[], metavar="FILE", help="write it, as "
                     ".txt, .md or .html; .csv is the table of all statements with where each is "
                     "from; may be repeated")  # fmt: skip
    run.add_argument("--bibtex", metavar="FILE.bib", help="write the references as BibTeX")
    run.add_argument("--replace", action="store_true", help="replace files that exist")
    run.add_argument("--quiet", action="store_true", help="no progress bar")


def _pack(run: argparse.ArgumentParser) -> None:
    run.description = ("Writes a pack that a reviewer can check: the measured map, the result, "
                       "figures, tables and texts, with checksums, a description for machines "
                       "(RO-Crate) and a script that makes the numbers again.")  # fmt: skip
    _given(run)
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
    run.add_argument("--recipe", nargs="+", action="extend", default=[], metavar="FILE.json",
                     help="recipes of figures to put in, in the place of those saved in the result "
                     "(default: those, or an overview where there is none)")  # fmt: skip
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


COMMANDS = {
    "figure": (_figure, "figure sheets for paper"),
    "methods": (_methods, "the methods section of a paper, in words"),
    "export": (_export, "maps, tables, curves and the surface as plain files"),
    "report": (_report, "the report of one analysis, as HTML and PDF"),
    "pack": (_pack, "all that a reviewer needs, in one folder or zip"),
    "rebuild": (_rebuild, "check a pack, and make its numbers again"),
}
