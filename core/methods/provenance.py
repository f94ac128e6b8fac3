"""Software, settings, files: what another needs to make the same numbers again."""

from __future__ import annotations

import hashlib
import platform
from collections.abc import Iterator
from importlib import metadata

from ..settings import Settings
from .facts import Facts, said
from .parts import PROGRAM, RECORDED, SET, Cite, Said
from .words import counted

SHOWN = 12
"""Signs of a checksum that are shown; a row of the table holds all."""
LIBRARIES = ("numpy", "scipy", "numba", "h5py")


def version(name: str) -> str:
    """Installed version of a distribution; "not installed" if there is none."""
    try:
        return metadata.version(name)
    except metadata.PackageNotFoundError:
        return "not installed"


def software(f: Facts) -> Iterator[Said]:
    others = ", ".join(f"{name} {version(name)}" for name in LIBRARIES)
    yield said(f"All was computed with Palpate {version('palpate')} (Python "
               f"{platform.python_version()}, {others})", Cite(("numpy2020", "scipy2020")), ".",
               by=PROGRAM)  # fmt: skip


def settings(f: Facts) -> Iterator[Said]:
    whole = hashlib.sha256(f.settings.to_json().encode()).hexdigest()
    number = len(f.settings.changed())
    default = "all at their defaults" if f.settings == Settings() else (
        f"{counted(number, 'of them', 'of them')} changed from {'its' if number == 1 else 'their'} "
        f"default{'' if number == 1 else 's'}")  # fmt: skip
    parts, detail = [f"settings ({default}; SHA-256 {whole[:SHOWN]}…)"], [f"settings {whole}"]
    if f.findings.composition is not None:
        rule = hashlib.sha256(f.findings.composition.rule.to_json().encode()).hexdigest()
        parts.append(f"rule of the components ({rule[:SHOWN]}…)")
        detail.append(f"rule {rule}")
    if f.analysis.review:
        review = f.analysis.review.checksum
        parts.append(f"decisions about pixels ({review[:SHOWN]}…)")
        detail.append(f"decisions {review}")
    words = parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}"
    where = f.findings.result
    if where is not None:
        text = f"The {words} stand in the result file “{where.name}”."
    else:
        text = f"The {words} are not in a result file yet."
    yield said(text, by=(SET, PROGRAM), detail="; ".join(detail))


def source(f: Facts) -> Iterator[Said]:
    """The map's own identity, and where the data can be had. Raises ReadError if it is gone."""
    whole = f.map.checksum()
    path = f.map.path
    name = f"the file “{path.name}”" if path is not None else "a map in memory"
    where = f.hole("source", "repository", "where can the data and the result file be had?",
                   "a public repository, doi:...")  # fmt: skip
    yield said(f"The curves are those of {name} (SHA-256 {whole[:SHOWN]}…); data and result file "
               "can be had from ", where, ".", by=RECORDED,
               detail=f"SHA-256 {whole}; UUID {f.map.uuid}")  # fmt: skip
