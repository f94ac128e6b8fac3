"""Opening a map: the reader is chosen by what the file holds, never by its name.

A reader is a module with ``NAME``, ``sniff(seen)`` and ``read(seen)``. To add one, write the file
and add it to `_READERS`.
"""

from __future__ import annotations

import os

from ..forcemap import ForceMap
from . import native
from .door import look, not_a_map

_READERS = (native,)


def open_map(path: str | os.PathLike[str]) -> ForceMap:
    """Open a map of force-distance curves.

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
    for reader in _READERS:
        if reader.sniff(seen):
            return reader.read(seen)
    raise not_a_map(seen)
