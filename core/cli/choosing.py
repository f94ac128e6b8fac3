"""``--settings`` and ``--set``, and ``settings``, which lists what they can change."""

from __future__ import annotations

import argparse
import textwrap
from collections.abc import Iterator
from dataclasses import Field
from typing import Any

from ..errors import SettingsError
from ..settings import (
    SECTIONS,
    Settings,
    as_declared,
    declaration,
    declarations,
    range_text,
    split,
)
from .parser import UsageError

WIDTH = 88


def chosen(args: argparse.Namespace, start: Settings | None = None) -> Settings:
    """The settings that a command asks for: a file's (else `start`), then each ``--set``.

    Raises
    ------
    UsageError : a ``--set`` can't be used; says where the possible ones are listed
    SettingsError : the file can't be used
    """
    settings = Settings.load(args.settings) if args.settings else start or Settings()
    changes: dict[str, object] = {}
    for change in args.changes:
        name, equals, text = (part.strip() for part in change.partition("="))
        if not equals:
            raise UsageError(f"--set {change}: write NAME=VALUE, such as fit.law=cone. "
                             f"{_see(name)}")  # fmt: skip
        try:
            changes[name] = _value(name, text)
        except SettingsError as error:
            raise UsageError(f"--set {change}: {error} {_see(name)}") from None
    try:
        return settings.with_values(changes)
    except SettingsError as error:
        raise UsageError(f"--set: {error} {_see(error.field)}") from None


def _value(name: str, text: str) -> object:
    """A value as declared; raises SettingsError for what is impossible whatever else is set."""
    spec = declaration(name)
    if spec.metadata["kind"] != "number":
        return as_declared(name, spec, text)
    try:
        return as_declared(name, spec, float(text))
    except ValueError:
        raise SettingsError(name, f"{text!r} is not a number; {range_text(spec)}.") from None


def _see(name: str) -> str:
    section = name.partition(".")[0]
    return f"`palpate settings{f' {section}' if section in SECTIONS else ''}` lists what there is."


# -- the list --------------------------------------------------------------------------------------


def settings(args: argparse.Namespace) -> int:
    """Print the settings, all or of one section, or a single one."""
    print("\n".join(listed(args.section or "")))
    return 0


def listed(wanted: str = "") -> Iterator[str]:
    """Lines that tell every setting, made from the declarations.

    Raises UsageError if there is no such section or setting.
    """
    try:
        if "." in wanted:
            declaration(wanted)
        elif wanted:
            split(wanted)
    except SettingsError as error:
        raise UsageError(str(error)) from None
    last = ""
    for path, spec in declarations():
        section = split(path)[0]
        if wanted not in ("", section, path):
            continue
        if section != last and path != wanted:
            words = (SECTIONS[section].__doc__ or "").strip()
            yield from textwrap.wrap(f"{section}: {words}", WIDTH, subsequent_indent="  ")
        last = section
        yield from _one(path, spec)


def _one(path: str, spec: Field[Any]) -> Iterator[str]:
    meta = spec.metadata
    unit = f" {meta['unit']}" if meta["unit"] and spec.default is not None else ""
    default = "as recorded in the map" if spec.default is None else spec.default
    default = f"{default:g}" if isinstance(default, float) else default
    yield f"  {path} = {default}{unit}"
    yield from _wrapped(f"{meta['label']}. {meta['help']}")
    if meta["kind"] == "choice":
        yield from (f"        {name:16}{words}" for name, words in meta["options"].items())
    else:
        yield from _wrapped(f"Range: {range_text(spec)}.")
    if meta["shown_if"]:
        on, _, values = meta["shown_if"].partition("=")
        yield from _wrapped(f"Used with {split(path)[0]}.{on} = {values.replace('|', ' or ')}.")


def _wrapped(text: str) -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent=" " * 6, subsequent_indent=" " * 6,
                         break_on_hyphens=False)  # fmt: skip
