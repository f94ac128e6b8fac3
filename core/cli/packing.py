"""``pack``: what a reviewer needs, in one folder or zip; ``rebuild``: a pack checked and made
again."""

from __future__ import annotations

import argparse
import sys
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from ..errors import InputError, ReadError
from ..sheets import read_recipes
from .analysing import bar_of
from .finding import found
from .given import result_of
from .parser import CAUTION, UsageError

if TYPE_CHECKING:
    from ..pack import Wish


def pack(args: argparse.Namespace) -> int:
    """Write a pack of a saved result, or of a map under some settings."""
    from ..pack import check_target, estimate, megabytes, write_pack

    path, out = Path(args.map), Path(args.out)
    wish = _wish(args)
    check_target(out, args.replace)
    saved = result_of(path)
    acts = [] if saved is None else saved.history
    sheets = [sheet for name in args.recipe for sheet in read_recipes(name)]
    with found(args, [("--out", out)]) as (findings, progress, bar):
        if sheets:
            findings = replace(findings, work=replace(findings.work, sheets=tuple(sheets)))
        if not args.quiet:
            bar.write(estimate(findings, wish).words)
        made = write_pack(out, findings, wish, acts=acts, progress=progress,
                          replace_existing=args.replace)  # fmt: skip
    for note in made.notes:
        print(f"palpate: {note}", file=sys.stderr)
    if not args.quiet:
        print(f"Pack: {made.path} ({made.files} files, {megabytes(made.size)}). Check it with: "
              f"palpate rebuild {made.path}")  # fmt: skip
        print(CAUTION)
    return 0


def _wish(args: argparse.Namespace) -> Wish:
    """What the command line says about the pack. Raises UsageError for what is impossible."""
    from ..pack import CHOICES, Author, Wish, licence

    left_out = tuple(word.strip() for word in args.leave_out.split(",") if word.strip())
    for word in left_out:
        if word not in CHOICES:
            raise UsageError(f"--leave-out {word}: the parts are {', '.join(CHOICES)}.")
    names, ids = list(args.author), list(args.orcid)
    if len(ids) > len(names):
        raise UsageError(f"There are {len(ids)} --orcid for {len(names)} --author. Give one for "
                         "each author in their order, and --orcid none for who has none.")
    ids += ["none"] * (len(names) - len(ids))
    try:
        authors = tuple(Author(name, "" if code.lower() == "none" else code)
                        for name, code in zip(names, ids, strict=True))  # fmt: skip
        return Wish(licence(args.licence), args.title, args.description, authors,
                    not args.without_map, args.map_at, left_out)  # fmt: skip
    except ReadError:
        raise
    except InputError as error:
        raise UsageError(str(error)) from None


def rebuild(args: argparse.Namespace) -> int:
    """Check a pack, make its numbers again, and tell what is the same; 0 only if all is."""
    from ..pack import rebuild as again

    path = Path(args.pack)
    bar, progress = bar_of(path.name, args.quiet)

    def say(words: str) -> None:
        if not args.quiet or words.startswith(("NOT", "Note")):
            bar.write(words)

    with bar:
        made = again(path, near=Path(args.map) if args.map else None,
                      out=Path(args.out) if args.out else None, progress=progress, say=say)
    if args.out and not args.quiet:
        print(f"Made anew: {args.out}")
    print("All is the same." if made.good else "Not all is the same.")
    return 0 if made.good else 1
