"""The program itself as one file that can be installed, so that a pack can be checked years later.

A wheel by the binary distribution format of the Python Packaging User Guide: the sources of this
very copy, with the description that it was installed with. Sample maps stay out.
"""

from __future__ import annotations

import ast
import base64
import hashlib
import importlib.util
import re
import sys
from collections.abc import Iterator
from functools import cache
from importlib import metadata
from pathlib import Path

from ..progress import Progress
from .environment import PROGRAM, plain, versions
from .zipped import write_texts

ROOMS = ("app", "core", "icons", "sample_maps")
BESIDE = {"icons": ("*.svg", "*.png"), "app.help": ("*.md",), "core.pack": ("licences/*.txt",),
          "core.figures": ("*.toml",)}  # fmt: skip
"""Package -> files of it that go with the sources, as setup.py has it; what else lies in the
folders of a copy that somebody works on stays there."""
WHEEL = "Wheel-Version: 1.0\nGenerator: palpate\nRoot-Is-Purelib: true\nTag: py3-none-any\n"


def missing() -> str:
    """Why the program can't be packed; empty if it can."""
    try:
        return "" if _described() else "it was installed without its description"
    except metadata.PackageNotFoundError:
        return "it is not installed as a package"


def file_name() -> str:
    """As installers want it: ``palpate-0.1.0-py3-none-any.whl``."""
    version = metadata.version(PROGRAM).replace("-", "_")
    return f"{PROGRAM}-{version}-py3-none-any.whl"


def weight() -> int:
    """About how many bytes: texts pack to some three tenths."""
    sizes = (place.stat().st_size * (1.0 if place.suffix == ".png" else 0.3)
             for _, place in _sources())  # fmt: skip
    return int(sum(sizes))


def write_program(path: Path, progress: Progress) -> None:
    """Write the wheel. Raises OSError, Cancelled."""
    info = f"{PROGRAM}-{metadata.version(PROGRAM).replace('-', '_')}.dist-info"
    files = {name: place.read_bytes() for name, place in _sources()}
    found = metadata.distribution(PROGRAM)
    files[f"{info}/METADATA"] = _described().encode()
    files[f"{info}/WHEEL"] = WHEEL.encode()
    files[f"{info}/entry_points.txt"] = (found.read_text("entry_points.txt") or "").encode()
    record = "".join(f"{name},sha256={_digest(data)},{len(data)}\n"
                     for name, data in sorted(files.items()))  # fmt: skip
    files[f"{info}/RECORD"] = f"{record}{info}/RECORD,,\n".encode()
    write_texts(path, files, progress)


def _described() -> str:
    """The description that it was installed with; libraries that came in since are added."""
    found = metadata.distribution(PROGRAM)
    text = found.read_text("METADATA") or found.read_text("PKG-INFO") or ""
    head, blank, body = text.partition("\n\n")
    more = [f"Requires-Dist: {name}" for name in unnamed()] if text else []
    return "\n".join([head.rstrip("\n"), *more]) + (f"{blank}{body}" if blank else "\n")


@cache
def unnamed() -> tuple[str, ...]:
    """Libraries that the sources import and the description of the program does not ask for: the
    copy was installed before it needed them."""
    known, where = set(versions()) | {PROGRAM}, metadata.packages_distributions()
    found: set[str] = set()
    for _, place in _sources():
        if place.suffix != ".py":
            continue
        text = place.read_text(encoding="utf-8")
        maybe = {name: {plain(one) for one in where.get(name, ())}
                 for name in set(_IMPORT.findall(text)) - sys.stdlib_module_names}  # fmt: skip
        strange = {name: of for name, of in maybe.items() if of and not of & known}
        if strange:  # the words of a docstring may look alike
            found |= {min(strange[name]) for name in _imported(text) & set(strange)}
    return tuple(sorted(found))


_IMPORT = re.compile(r"^[ \t]*(?:import|from)[ \t]+([A-Za-z_]\w*)", re.MULTILINE)


def _imported(text: str) -> set[str]:
    """Modules that a source imports, at its head or inside."""
    found: set[str] = set()
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.Import):
            found |= {one.name.partition(".")[0] for one in node.names}
        elif isinstance(node, ast.ImportFrom) and not node.level and node.module:
            found.add(node.module.partition(".")[0])
    return found


def _sources() -> Iterator[tuple[str, Path]]:
    """(name in the wheel, file) of every source, sorted."""
    top = __package__.partition(".")[0]
    for room in ROOMS:
        spec = importlib.util.find_spec(f"{top}.{room}")
        for folder in spec.submodule_search_locations or () if spec else ():
            beside = {place for name, patterns in BESIDE.items() if name.split(".")[0] == room
                      for pattern in patterns
                      for place in Path(folder, *name.split(".")[1:]).glob(pattern)}  # fmt: skip
            for place in sorted({*Path(folder).rglob("*.py"), *beside}):
                if place.is_file() and "__pycache__" not in place.parts:
                    yield f"{top}/{room}/{place.relative_to(folder).as_posix()}", place


def _digest(data: bytes) -> str:
    return base64.urlsafe_b64encode(hashlib.sha256(data).digest()).rstrip(b"=").decode()
