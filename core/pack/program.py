"""The program itself as one file that can be installed, so that a pack can be checked years later.

A wheel by the binary distribution format of the Python Packaging User Guide: the sources of this
very copy, with the description that it was installed with. Sample maps stay out.
"""

from __future__ import annotations

import base64
import hashlib
import importlib.util
from collections.abc import Iterator
from importlib import metadata
from pathlib import Path

from ..progress import Progress
from .environment import PROGRAM
from .zipped import write_texts

ROOMS = ("app", "core", "icons", "sample_maps")
ENDINGS = {".py", ".md", ".txt", ".toml", ".svg", ".png"}
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
    found = metadata.distribution(PROGRAM)
    return found.read_text("METADATA") or found.read_text("PKG-INFO") or ""


def _sources() -> Iterator[tuple[str, Path]]:
    """(name in the wheel, file) of every source, sorted."""
    top = __package__.partition(".")[0]
    for room in ROOMS:
        spec = importlib.util.find_spec(f"{top}.{room}")
        for folder in spec.submodule_search_locations or () if spec else ():
            for place in sorted(Path(folder).rglob("*")):
                wanted = place.suffix in ENDINGS and "__pycache__" not in place.parts
                if wanted and place.is_file():
                    yield f"{top}/{room}/{place.relative_to(folder).as_posix()}", place


def _digest(data: bytes) -> str:
    return base64.urlsafe_b64encode(hashlib.sha256(data).digest()).rstrip(b"=").decode()
