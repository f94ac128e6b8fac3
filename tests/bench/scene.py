"""A simulated map of any size for the benchmarks, quickly: unique curves, tiled."""

from __future__ import annotations

import numpy as np

from palpate.core.forcemap import ForceMap
from palpate.core.models.viscoelastic import PowerLawSolid, StandardSolid
from palpate.core.simulate import SKI_BOOT, Lever, Ramp, simulate_curve
from palpate.core.simulate_relaxing import relaxing_curve

LEVER = Lever(2.0, 60.0, "paraboloid", 20.0, 0.08)


def tiled_map(size: int, samples: int = 512, unique: int = 768) -> ForceMap:
    """size x size curves of 2 x samples int16, from `unique` different ones of three materials."""
    rng, ramp = np.random.default_rng(1), Ramp(travel=200.0, samples=samples, tilt=5e-4)
    curves = []
    for i in range(unique):
        m = SKI_BOOT[i % 3]
        pull = m.pull_off * np.exp(0.1 * rng.normal())
        z0 = 3.0 * rng.normal()
        curves.append(
            simulate_curve(LEVER, ramp, m.modulus, m.poisson_ratio, pull, z0, rng)[:2]
        )
    z, d = (np.array(part, dtype=np.float32) for part in zip(*curves, strict=True))
    pick = np.arange(size * size) % unique
    return ForceMap.from_arrays(z[pick], d[pick] / LEVER.sensitivity, deflection_unit="V",
                                shape=(size, size), scan_size=(5000.0, 5000.0), digitise=True,
                                spring_constant=2.0, deflection_sensitivity=60.0, radius=20.0,
                                set_force=30.0, sampling_rate=5000.0)  # fmt: skip


def relaxing_map(size: int, model: str, samples: int = 512) -> ForceMap:
    """size x size curves of relaxing solids, `power_law` or `standard_solid`: three of them, each
    with its own noise in every pixel."""
    solids = {"power_law": [PowerLawSolid(e, b) for e, b in ((0.05, 0.1), (0.3, 0.2), (1.0, 0.15))],
              "standard_solid": [StandardSolid(e, 3.0 * e, t)
                                 for e, t in ((0.03, 0.004), (0.1, 0.01), (0.3, 0.002))]}
    rng, ramp = np.random.default_rng(2), Ramp(200.0, samples, 30.0, rate=5000.0)
    made = [relaxing_curve(LEVER, ramp, solid, 0.4, 6.0) for solid in solids[model]]
    z = np.array([[c.approach_z, c.retract_z] for c in made], dtype=np.float32)
    d = np.array([[c.approach_d, c.retract_d] for c in made], dtype=np.float32)
    pick = np.arange(size * size) % len(made)
    noisy = d[pick] + rng.normal(0, LEVER.noise, (size * size, 2, samples)).astype(np.float32)
    return ForceMap.from_arrays(z[pick], noisy / LEVER.sensitivity, deflection_unit="V",
                                shape=(size, size), scan_size=(5000.0, 5000.0), digitise=True,
                                spring_constant=2.0, deflection_sensitivity=60.0, radius=20.0,
                                set_force=30.0, sampling_rate=5000.0)  # fmt: skip


def best(run, times: int = 5) -> float:
    """Shortest of several runs, in seconds."""
    from time import perf_counter

    found = []
    for _ in range(times):
        start = perf_counter()
        run()
        found.append(perf_counter() - start)
    return min(found)
