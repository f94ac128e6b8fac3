"""How a step is compiled, and where the machine code is kept.

``@kernel`` is numba's ``njit`` without the GIL, cached on disk. Numba looks only at the file of the
cached function when it decides whether a cache is fresh, not at the functions it calls, so a change
in a helper would go unseen. Here the cache folder carries a hash of every compiled source file and
of the library versions: old code can't be mistaken for new.
"""

from __future__ import annotations

import hashlib
import os
import shutil
import sys
import tempfile
import time
from collections.abc import Callable
from functools import cache
from importlib.metadata import version
from pathlib import Path
from typing import Any

FAST = {"reassoc", "contract", "nsz"}
"""Sums may be taken in any order (so they use vector instructions); NaN and infinity still hold."""


def _sources() -> list[Path]:
    here = Path(__file__).parent
    rooms = ("steps", "models", "columns")
    return [Path(__file__), *(p for room in rooms for p in sorted((here / room).glob("*.py")))]


def user_cache() -> Path:
    """The folder for things that can be made again, by the custom of the system."""
    home = Path.home()
    if os.name == "nt":
        return Path(os.environ.get("LOCALAPPDATA", home / "AppData" / "Local")) / "palpate"
    if sys.platform == "darwin":
        return home / "Library" / "Caches" / "palpate"
    return Path(os.environ.get("XDG_CACHE_HOME") or home / ".cache") / "palpate"


def _forget_old(home: Path) -> None:
    """Remove machine code of earlier versions that has not been touched for a month."""
    for old in home.glob("compiled-*"):
        if old.is_dir() and time.time() - old.stat().st_mtime > 30 * 86400:
            shutil.rmtree(old, ignore_errors=True)


@cache
def cache_folder() -> Path:
    """The folder for this version's machine code; a temporary one if the usual can't be written."""
    digest = hashlib.sha256(
        f"{version('numba')} {sys.version} {os.environ.get('NUMBA_BOUNDSCHECK', '')}".encode()
    )
    for source in _sources():
        digest.update(source.read_bytes())
    folder = user_cache() / f"compiled-{digest.hexdigest()[:16]}"
    try:
        if not folder.exists():
            _forget_old(folder.parent)
        folder.mkdir(parents=True, exist_ok=True)
        probe = folder / f"probe-{os.getpid()}"
        probe.write_bytes(b"")
        probe.unlink()
    except OSError:
        return Path(tempfile.mkdtemp(prefix="palpate-"))  # private; compiled anew each time
    return folder


def kernel(function: Callable[..., Any] | None = None, *, fast: bool = False) -> Any:
    """Compile a function: no Python objects, no GIL, cached under `cache_folder`.

    A division by zero is infinite or NaN, as in NumPy: one bad curve raises nothing.

    Parameters
    ----------
    fast : let sums be reordered (see `FAST`)
    """
    if function is None:
        return lambda f: kernel(f, fast=fast)
    import numba  # a quarter of a second: the window is shown, and a map opened, without it

    config: Any = numba.config  # its attributes are made at run time
    before = config.CACHE_DIR
    config.CACHE_DIR = str(cache_folder())
    try:
        return numba.njit(cache=True, nogil=True, fastmath=FAST if fast else False,
                          error_model="numpy")(function)  # fmt: skip
    finally:
        config.CACHE_DIR = before
