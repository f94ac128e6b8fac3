"""With what a pack was made: the versions of everything that the program needs."""

from __future__ import annotations

import platform
import re
from collections.abc import Iterable
from importlib import metadata

from ..writers import nexus

PROGRAM = "palpate"
_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]*")


def versions(more: Iterable[str] = ()) -> dict[str, str]:
    """Name -> version of each installed library that the program needs, itself or by others; and of
    `more`."""
    found: dict[str, str] = {}
    waiting = [*_wanted(PROGRAM), *more]
    while waiting:
        name = waiting.pop()
        if name in found:
            continue
        try:
            found[name] = metadata.version(name)
        except metadata.PackageNotFoundError:  # another system's or an older Python's
            continue
        waiting += _wanted(name)
    found.pop(PROGRAM, None)
    return dict(sorted(found.items()))


def _wanted(name: str) -> list[str]:
    """Libraries that one asks for, without those of its extras."""
    try:
        lines = metadata.requires(name) or []
    except metadata.PackageNotFoundError:
        return []
    names = (_NAME.match(line) for line in lines if "extra ==" not in line)
    return [plain(match[0]) for match in names if match]


def plain(name: str) -> str:
    """A name of a library as installers compare it."""
    return re.sub(r"[-_.]+", "-", name).lower()


def others(text: str) -> list[str]:
    """Where the libraries of a ``requirements.txt`` have another version here, a clause each."""
    found, here = [], versions()
    for line in text.splitlines():
        name, equals, version = line.partition("==")
        have = here.get(name.strip(), "not installed")
        if equals and version.strip() != have and name.strip() in COUNTED:
            found.append(f"{name.strip()} {version.strip()[:20]} then, {have} here")
    return found


COUNTED = ("numpy", "scipy", "numba", "llvmlite", "h5py", "scikit-learn", "scikit-image")
"""Libraries that have a part in the numbers."""
LONGEST = 100_000
"""Signs of a list of versions that are read."""


def python_words() -> str:
    """Python and the kind of machine, without its name: ``Python 3.11.9 on Linux x86_64``."""
    return f"Python {platform.python_version()} on {nexus.machine()}"


def requirements(more: Iterable[str] = ()) -> str:
    """The text of ``requirements.txt``; `more`: libraries beside those that the program's
    description asks for."""
    head = [f"# With these versions the pack was made, by Palpate {nexus.version()},",
            f"# {python_words()}.",
            "# Install them with:  python -m pip install -r requirements.txt",
            "# Palpate itself is installed from its own folder or file: README.md."]  # fmt: skip
    lines = [f"{name}=={version}" for name, version in versions(more).items()]
    return "\n".join([*head, *lines]) + "\n"
