"""A map of layer thicknesses from a plain file."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from ..errors import ReadError

LARGEST = 64 * 1024**2
"""Bytes that such a file may have."""


def read_thickness(path: str | Path, shape: tuple[int, int]) -> np.ndarray:
    """Thicknesses in nm, (rows, cols) float64, from ``.npy`` or comma-separated text.

    Row 0 is the first scan line; NaN (or an empty place in the text) is not known, and a curve
    there has no modulus.

    Raises ReadError if the file is no such table or not of the map's shape.
    """
    path = Path(path)
    if path.is_dir():
        raise ReadError(path, "this is a folder", "Name the file with the thicknesses.")
    if not path.exists():
        raise ReadError(path, "there is no such file", "Check the name and the folder.")
    try:
        if path.stat().st_size > LARGEST:
            raise ReadError(path, "is larger than a map of thicknesses can be",
                            "Give one number a pixel.")  # fmt: skip
        if path.suffix.lower() == ".npy":
            values = np.load(path, allow_pickle=False)
        else:
            values = np.genfromtxt(path, delimiter=",", comments="#", ndmin=2)
        values = np.asarray(values, dtype=float)
    except (OSError, ValueError, EOFError) as error:
        raise ReadError(path, f"can't be read as a table of numbers ({error})",
                        "Save it as .npy or as comma-separated text, one line a row.") from None
    if values.shape != tuple(shape):
        raise ReadError(path, f"has {' x '.join(map(str, values.shape))} values, but the map has "
                        f"{shape[0]} x {shape[1]} pixels", "Make it one value a pixel.")
    if not (values > 0.0).any():
        raise ReadError(path, "has no thickness above zero", "Give it in nanometres.")
    return values
