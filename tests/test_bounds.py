"""No compiled step reads outside its arrays, whatever the curve.

Compiled code does not check indices, and a step past the end would give numbers that change from
run to run. Here a child process runs the same code compiled *with* the checks over odd curves. It
is not optimised there: that saves a third of the time and changes no index.
"""

from __future__ import annotations

import os
import subprocess
import sys

CHILD = '''
import numpy as np
from palpate.core.forcemap import ForceMap
from palpate.core.pipeline import analyse
from palpate.core.settings import Settings

rng = np.random.default_rng(1)

def odd(kind, n):
    z = np.linspace(-80.0, 15.0, n)
    d = np.where(z > 0, 0.7 * z, 0.0)
    if kind == 0: d = rng.normal(0, 0.1, n)
    if kind == 1: d = d + rng.normal(0, 0.05, n)
    if kind == 2: d = np.zeros(n)
    if kind == 3: d[rng.random(n) < 0.3] = np.nan
    if kind == 4: z = z[::-1].copy()
    if kind == 5: d = np.minimum(d, 2.0)
    if kind == 6: d = d[::-1].copy()
    if kind == 7: z = rng.normal(0, 50, n)
    if kind == 8: d = d * 1e6 + rng.normal(0, 1, n)
    if kind == 9: d = -d
    if kind == 10: z = z * 0.0
    if kind == 11: d = np.where(z > -79, 0.7 * (z + 79), 0.0)
    if kind == 12: d[n // 2:] = np.inf
    return z, d

zs, ds = [], []
for kind in range(13):
    for n in (0, 1, 2, 3, 5, 7, 8, 9, 12, 20, 64, 200, 700):
        z, d = odd(kind, n)
        z2, d2 = odd(int(rng.integers(13)), int(rng.choice([0, 1, 8, 30, 200])))
        zs.append([z, z2[::-1]]); ds.append([d, d2[::-1]])
fmap = ForceMap.from_arrays(zs, ds, shape=(13, 13), spring_constant=1.0, radius=10.0,
                            half_angle=20.0, sampling_rate=1000.0)
for change in ({}, {"fit.window": "indentation"}, {"fit.window": "force", "fit.law": "cone"},
               {"fit.branch": "retract", "fit.law": "punch", "stiffness.branch": "approach"},
               {"fit.fraction_from": -100.0, "fit.fraction_to": 100.0, "baseline.extent": 5.0,
                "adhesion.samples": 21, "stiffness.share_from": 0.0},
               {"baseline.shape": "offset", "baseline.threshold": 3.0, "fit.adhesion": "none"},
               {"fit.adhesion": "jkr"}, {"fit.adhesion": "two_point"},
               {"fit.adhesion": "maugis", "fit.pull_off": "fitted", "fit.branch": "retract",
                "fit.fraction_from": -50.0},
               {"fit.law": "free_exponent"}, {"fit.law": "sphere", "fit.window": "indentation"},
               {"layer.base": "bonded", "layer.thickness": 30.0},
               {"fit.contact": "threshold"}, {"fit.contact": "variance_ratio"},
               {"fit.contact": "goodness"}, {"fit.contact": "change_point", "fit.law": "cone"},
               {"baseline.branches": "drift", "baseline.fringes": "subtract",
                "baseline.period": 60.0},
               {"baseline.branches": "drag"}, {"baseline.fringes": "subtract"},
               {"viscous.model": "power_law"}, {"viscous.model": "standard_solid"}):
    first = analyse(fmap, Settings().with_values(change))
    again = analyse(fmap, Settings().with_values(change))
    for name, table in first.stage_tables.items():
        assert np.array_equal(table, again.stage_tables[name], equal_nan=True), name
    first.doubts
    for _, values, errors in first.channels():
        assert not np.isinf(values).any()
print("held")
'''


def test_no_step_reads_outside_its_arrays(tmp_path):
    env = os.environ | {"NUMBA_BOUNDSCHECK": "1", "NUMBA_OPT": "0", "NUMBA_LOOP_VECTORIZE": "0",
                        "NUMBA_SLP_VECTORIZE": "0", "XDG_CACHE_HOME": str(tmp_path),
                        "LOCALAPPDATA": str(tmp_path)}  # fmt: skip
    done = subprocess.run([sys.executable, "-W", "ignore", "-c", CHILD], env=env, text=True,
                          capture_output=True, check=False, cwd=tmp_path)  # fmt: skip
    assert done.returncode == 0, done.stderr[-3000:]
    assert "held" in done.stdout
