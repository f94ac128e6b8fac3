"""Small maps for the tests of the file formats: made with write_map, then bent with h5py."""

from __future__ import annotations

import contextlib
from pathlib import Path

import h5py
import numpy as np

from palpate.core.readers import open_map
from palpate.core.writers import write_map

ROWS, COLS, N = 3, 4, 40


def curves(rows: int = ROWS, cols: int = COLS, n: int = N) -> tuple[np.ndarray, np.ndarray]:
    """(z, deflection) of (rows, cols, 2, n), nm: free, then a slope of one half."""
    z = np.empty((rows, cols, 2, n))
    z[:, :, 0] = np.linspace(-90.0, 10.0, n)
    z[:, :, 1] = z[:, :, 0, ::-1]
    z += np.arange(rows * cols).reshape(rows, cols, 1, 1)
    contact = np.arange(rows * cols).reshape(rows, cols, 1, 1)
    noise = np.random.default_rng(7).normal(0.0, 0.05, z.shape)
    return z, 0.5 * np.maximum(z - contact, 0.0) + noise


def good_map(path: Path, **more) -> Path:
    """A good small native file with all constants."""
    z, deflection = curves()
    described = {
        "scan_size": (400.0, 300.0), "spring_constant": (2.0, 0.1), "radius": 12.0,
        "deflection_sensitivity": 60.0, "deflection_unit": "V", "tip_shape": "paraboloid",
        "set_force": 10.0, "temperature": 296.0, "medium": "air", "sampling_rate": 5000.0,
        "title": "Test map", "sample": "invented", "half_angle": 20.0, "digitise": True,
    }  # fmt: skip
    return write_map(path, z, deflection / 60.0, **(described | more))


@contextlib.contextmanager
def bent(path: Path):
    """A good map opened for bending; give it back closed."""
    good_map(path)
    with h5py.File(path, "r+") as file:
        yield file


def put(file: h5py.File, name: str, data=None, **how):
    """Replace a dataset, keeping its attributes."""
    kept = dict(file[name].attrs) if name in file else {}
    if name in file:
        del file[name]
    made = file.create_dataset(name, data=data, **how)
    made.attrs.update(kept)
    return made


def use(path: Path) -> None:
    """Open a map and use all of it, as an analysis would."""
    with open_map(path) as opened:
        opened.index_map  # noqa: B018
        for curve in range(min(opened.n_curves, 50)):
            opened.samples(curve)
        for _ in opened.blocks():
            pass
        opened.load()
