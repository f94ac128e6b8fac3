"""Compile all kernels into the disk cache: ``python -m palpate.core.warm``.

The first compilation takes some ten seconds and holds the interpreter; the window runs this module
in a child process, so that it never waits. `is_warm` looks for the mark that it leaves.
"""

from __future__ import annotations

import hashlib
import sys
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from . import compiled

if TYPE_CHECKING:
    from .forcemap import ForceMap

KINDS = ("int16", "float64")
"""Sample types that are compiled ahead; float32 is compiled when it is met."""


AFTERWARDS = "+later"
"""Behind a kind: its kernels of `LATER`."""
LATER: tuple[dict[str, object], ...] = (
    {"fit.contact": "goodness"},
    {"baseline.branches": "drift"},
    {"viscous.model": "power_law"},
    {"viscous.model": "standard_solid"},
)
"""Settings whose kernels are not needed for the first picture; the window compiles them afterwards,
without a word."""


@cache
def _checkout() -> str:
    """A word for these very source files. Numba keeps machine code by the path of its source and
    drops it when the file's time changes: what another copy of the program left is of no use."""
    seen = [(str(path), path.stat().st_mtime_ns) for path in compiled._sources()]
    return hashlib.sha256(repr(seen).encode()).hexdigest()[:8]


def mark_of(kind: str) -> Path:
    """The file that says that the kernels for a kind are in the disk cache."""
    return compiled.cache_folder() / f"warm-{kind}-{_checkout()}"


def is_warm(kind: str = "int16") -> bool:
    """Whether the kernels for a sample type are in the disk cache."""
    return mark_of(kind).exists()


def _tiny(kind: str) -> ForceMap:
    """A map of one invented curve with samples of this type."""
    from .forcemap import ForceMap

    z = np.linspace(-200.0, 20.0, 128)
    d = np.where(z > 0, 0.8 * z, 0.0) + 0.01 * np.cos(9 * z)
    both = np.stack([d, d[::-1]])
    return ForceMap.from_arrays(np.stack([z, z[::-1]])[None], both[None], spring_constant=1.0,
                                radius=20.0, shape=(1, 1), digitise=kind == "int16",
                                sampling_rate=1000.0)  # fmt: skip


def warm(kind: str = "int16", later: bool = False) -> None:
    """Compile the kernels for maps with samples of a NumPy type; `later` those of `LATER` too."""
    from .explain import explain
    from .pipeline import analyse
    from .settings import Settings

    fmap = _tiny(kind)
    analyse(fmap, Settings())
    explain(fmap, Settings().with_value("baseline.fringes", "subtract"), 0, 0)
    mark_of(kind).touch()
    if later:
        warm_later(kind)


def warm_later(kind: str = "int16") -> None:
    """Compile the kernels of `LATER`, and those that compare laws and contact points."""
    from .comparison import compare_on_curve
    from .contacts import compare_contacts
    from .pipeline import analyse
    from .settings import Settings
    from .uncertainty import pixel_budget

    fmap = _tiny(kind)
    for change in LATER:
        analyse(fmap, Settings().with_values(change))
    compare_on_curve(fmap, Settings(), 0, 0)
    compare_contacts(fmap, Settings(), 0, 0)
    pixel_budget(analyse(fmap, Settings()), 0, 0, trials=100)
    mark_of(kind + AFTERWARDS).touch()


def main() -> int:
    for kind in KINDS:
        if not is_warm(kind):
            warm(kind, later=True)
    return 0


if __name__ == "__main__":
    sys.exit(main())
