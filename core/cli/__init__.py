"""The command line: ``palpate [MAP]`` and the commands ``analyse``, ``again``, ``components``,
``export``, ``speeds``, ``fields``, ``rehearse``, ``figure``, ``methods``, ``report``, ``pack``,
``rebuild``, ``settings``, ``info`` and ``simulate``.

Exit codes: 0 all went well; 1 something the user can mend (the message says what); 2 the command
line itself is wrong; 130 stopped by the user; 141 whoever read the output stopped reading.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Sequence
from difflib import get_close_matches
from importlib import import_module
from pathlib import Path

from ..errors import Cancelled, PalpateError, SourceError
from .parser import COMMANDS, UsageError, parser

__all__ = ["COMMANDS", "UsageError", "main"]

ROOMS = {"analyse": "analysing", "again": "repeating", "components": "composing",
         "export": "exporting", "speeds": "speeds", "fields": "fields",
         "rehearse": "rehearsing", "figure": "figuring", "methods": "describing",
         "report": "reporting", "pack": "packing", "rebuild": "packing", "settings": "choosing",
         "info": "looking", "simulate": "looking"}  # fmt: skip
"""Command -> the file of this room whose function of that name runs it."""


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command line; returns the exit code."""
    words = list(sys.argv[1:] if argv is None else argv)
    if not words or (words[0] not in COMMANDS and not words[0].startswith("-")):
        if words and (wrong := no_command(words[0])):
            print(f"palpate: {wrong}", file=sys.stderr)
            return 2
        words = ["window", *words]
    args = parser().parse_args(words)
    if args.version:
        from importlib.metadata import version

        print(f"palpate {version('palpate')}")
        return 0
    try:
        code = _run(args) or int(getattr(args, "lacking", False))
        sys.stdout.flush()  # a reader that has left is told here and not when Python ends
        return code
    except BrokenPipeError:
        _drop_output()
        return 141
    except (Cancelled, KeyboardInterrupt):
        print("Stopped; nothing half-written is left.", file=sys.stderr)
        return 130
    except UsageError as error:
        print(f"palpate: {error}", file=sys.stderr)
        return 2
    except SourceError as error:
        where = " Give its place with --source FILE_OR_FOLDER." if hasattr(args, "source") else ""
        print(f"palpate: {error}{where}", file=sys.stderr)
        return 1
    except PalpateError as error:
        print(f"palpate: {error}", file=sys.stderr)
        return 1


def no_command(word: str) -> str:
    """What is wrong with a first word that is no command; empty if it may be the name of a map."""
    if Path(word).suffix or len(Path(word).parts) > 1 or Path(word).exists():
        return ""
    near = get_close_matches(word, COMMANDS, 1)
    meant = f"Did you mean {near[0]}? " if near else ""
    return f"{word[:40]}: no such file or command. {meant}`palpate --help` lists the commands."


def _run(args: argparse.Namespace) -> int:
    if args.command == "window":
        return _window(args)
    room = import_module(f".{ROOMS[args.command]}", __package__)
    return int(getattr(room, args.command)(args))


def _window(args: argparse.Namespace) -> int:
    # by name: core never imports the window, this is the door to another program
    root = __package__.rpartition(".")[0].rpartition(".")[0]
    start = import_module(f"{root}.app.main")
    return int(start.main([args.map] if args.map else []) or 0)


def _drop_output() -> None:
    """Point stdout at nothing, so that Python does not fail again when it flushes at its end."""
    try:
        nothing = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nothing, sys.stdout.fileno())
    except (OSError, ValueError):  # stdout is no file, so nothing is flushed to one
        pass
