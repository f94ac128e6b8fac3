"""``rehearse``: what the settings would do to samples whose moduli are known."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from ..errors import InputError
from ..settings import Settings
from .analysing import bar_of
from .choosing import chosen
from .given import Given, given
from .parser import UsageError
from .telling import wrapped

if TYPE_CHECKING:
    from ..rehearsal import Rehearsal


def rehearse(args: argparse.Namespace) -> int:
    """Read the scene off one map, rehearse, print it, and write it if asked."""
    (one,), start = given([Path(args.map)])
    made = _made(one, chosen(args, start), args)
    print("\n".join(lines_of(made)))
    if one.decided:
        print("\n".join(wrapped(one.decided)))
    if args.out:
        from ..rehearsal.exports import save_rehearsal
        from ..writers.atomic import same_file

        if same_file(Path(args.out), one.path):
            raise UsageError(f"--out {args.out} is the map. Choose another name.")
        for path in save_rehearsal(args.out, made):
            print(f"Written: {path}")
    return 0


def _made(one: Given, settings: Settings, args: argparse.Namespace) -> Rehearsal:
    from ..calibration import missing
    from ..rehearsal import moduli_between, offered_range, scene_of
    from ..rehearsal import rehearse as play

    changes = _changes(args.scene)
    path = one.path
    with one.opened() as fmap:
        lacking = missing(fmap, settings)
        bar, progress = bar_of(path.name)
        with bar:
            result = one.analysed(fmap, settings, progress)
            try:
                scene = scene_of(result).changed(**changes)
            except InputError as error:
                why = "".join(f" {sentence} Give it with --set {where}=VALUE."
                              for where, sentence in lacking)  # fmt: skip
                raise InputError(f"{path}: {error}{why}") from None
            low, high = offered_range(result)
            low = args.low if args.low is not None else low
            high = args.high if args.high is not None else high
            moduli = moduli_between(low, high, args.steps)
            return play(scene, settings, moduli, args.curves, args.seed, progress, args.faults)


def _changes(given: list[str]) -> dict[str, float]:
    """What ``--scene`` changes. Raises UsageError for what is no number."""
    found = {}
    for change in given:
        name, _, text = (part.strip() for part in change.partition("="))
        try:
            found[name] = float(text)
        except ValueError:
            raise UsageError(f"--scene {change}: write NAME=NUMBER, such as noise=0.05.") from None
    return found


def lines_of(made: Rehearsal) -> Iterator[str]:
    """All that is printed."""
    from ..rehearsal import scene_words, sentences
    from ..rehearsal.telling import gpa

    yield (f"{'modulus':>10}  {'bias of E':>16}  {'scatter':>9}  {'stated ±':>9}  "
           f"{'within ±':>9}  {'in 1.96 ±':>9}  {'refused':>8}  "
           f"{'bias of adhesion':>20}")  # fmt: skip
    for row in made.rows:
        e, a = row.fared["modulus"], row.fared["adhesion"]
        shares = (e.scatter, e.stated, e.held.share, e.held_wide.share, row.refused.share)
        widths = (7, 7, 7, 7, 6)
        bias, error = e.shown
        yield (f"{gpa(row.modulus):>10}  {bias:7.2f} ± {error:4.2f} %  "
               + "".join(f"{100 * v:{w}.1f} %  " for v, w in zip(shares, widths, strict=True))
               + f"{a.bias:10.3f} ± {a.bias_error:.3f} nN")  # fmt: skip
    yield "By right 68.3 % of the truths lie within the stated ±, and 95 % within 1.96 times it."
    for sentence in sentences(made):
        yield from wrapped(sentence)
    yield from wrapped(f"Scene: {scene_words(made.scene)}")
    for sentence in made.scene.assumed:
        yield from wrapped(f"Assumed: {sentence}")
