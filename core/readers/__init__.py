"""Opening a map: the reader is chosen by what the file holds, never by its name.

A reader is a module with ``NAME``, ``sniff(seen)``, ``inspect(seen)`` and ``read(seen)``; `Seen`
is what `door.look` found out about the path. To add one, write the file and add it to
`_READERS`.
"""

from __future__ import annotations

import os
from types import ModuleType

from ..forcemap import ForceMap
from . import native
from .child import INSPECTOR, warm_up
from .door import Seen, look, not_a_map

__all__ = ["open_map", "reader_for", "warm_up"]

_READERS: tuple[ModuleType, ...] = (native,)


def reader_for(seen: Seen) -> ModuleType:
    """The reader that knows a file. Raises ReadError if none does."""
    for reader in _READERS:
        if reader.sniff(seen):
            return reader
    raise not_a_map(seen)


def open_map(path: str | os.PathLike[str]) -> ForceMap:
    """Open a map of force-distance curves.

    A file that is new to this process is looked into by another process first; see `child`.

    Parameters
    ----------
    path : the file; a native map (HDF5, layout ragged-1)

    Returns
    -------
    ForceMap : lazy; close it, or use it in a ``with`` block

    Raises
    ------
    ReadError : not a map, damaged, hostile, or inconsistent; names the file, the object or curve
        in it, and the repair
    """
    seen = look(path)
    reader = reader_for(seen)
    INSPECTOR.start()
    reader.prepare()  # while the other process starts
    INSPECTOR.inspect(seen, reader.__name__)
    return reader.read(seen)
