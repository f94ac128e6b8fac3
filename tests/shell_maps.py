"""Small invented maps and a few helpers for the tests of session and window."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

SHAPE = (10, 14)
SPRING, RADIUS = 2.0, 20.0


def curves(shape: tuple[int, int] = SHAPE, seed: int = 7) -> tuple[np.ndarray, np.ndarray]:
    """(z, deflection) in nm, each (rows, cols, 2, samples): two components, stiff and soft, by
    k d = (4/3) E √R δ^(3/2) - F_ad with a constant pull, and white noise of 0.05 nm."""
    rng = np.random.default_rng(seed)
    rows, cols = shape
    n = 240
    approach = np.linspace(-160.0, 25.0, n)
    z = np.empty((rows, cols, 2, n))
    d = np.empty_like(z)
    delta = np.concatenate([[0.0], np.geomspace(1e-4, 60.0, 800)])
    for r in range(rows):
        for c in range(cols):
            modulus, pull = (1.5, 4.0) if (c // 4) % 2 else (0.4, 9.0)
            height = 3.0 * np.sin(r / 3.0) + 2.0 * np.cos(c / 2.5)
            law = (4 / 3 * modulus / 0.84 * np.sqrt(RADIUS) * delta**1.5 - pull) / SPRING
            at = delta + law
            contact = np.interp(approach - height, at, law)
            z[r, c, 0] = approach
            d[r, c, 0] = np.where(approach - height > at[0], contact, 0.0)
            back = approach[::-1]
            z[r, c, 1] = back
            d[r, c, 1] = np.where(back - height > at[0], np.interp(back - height, at, law), 0.0)
    d += rng.normal(0.0, 0.05, d.shape) + 0.3
    return z, d


def made(shape: tuple[int, int] = SHAPE, **given: Any) -> dict[str, Any]:
    """Arguments for `write_map` or `ForceMap.from_arrays`."""
    z, d = curves(shape)
    usual = dict(spring_constant=SPRING, radius=RADIUS, title="invented blend",
                 scan_size=(1400.0, 1000.0), digitise=True)  # fmt: skip
    return dict(z=z, deflection=d) | usual | given


def put(path: Path, scene: Any, **kw: Any) -> Path:
    """Write a simulated scene as a map; `kw` go to its `arrays`."""
    from palpate.core import write_map

    arrays = scene.arrays(**kw)
    return write_map(path, arrays.pop("z"), arrays.pop("deflection"), **arrays)


def map_file(
    folder: Path, name: str = "blend.h5", shape: tuple[int, int] = SHAPE, **given: Any
) -> Path:
    """A native map file of its own."""
    from palpate.core import write_map

    path = folder / name
    write_map(path, **made(shape, **given))
    return path


def memory_map(**given: Any) -> Any:
    """A map in memory."""
    from palpate.core import ForceMap

    return ForceMap.from_arrays(**made(**given))
