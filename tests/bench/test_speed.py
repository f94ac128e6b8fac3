"""Speed of the core, as ratios against something measured in the same run.

No test here fails on a clock; they print. Run: ``pytest tests/bench -m bench -s``
"""

from __future__ import annotations

import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from time import perf_counter

import numpy as np
import pytest
from scipy.optimize import curve_fit

from palpate.core.columns import fit as ft
from palpate.core.pipeline import CHUNK, analyse, cuts, workers
from palpate.core.settings import Settings
from palpate.core.steps import loops

from .scene import best, tiled_map

pytestmark = pytest.mark.bench
K, RADIUS = 2.0, 20.0


@pytest.fixture(scope="module")
def fmap():
    return tiled_map(256)


def one_sum(fmap):
    """The yardstick: one compiled pass on all cores that only sums the raw samples."""
    blocks = [fmap.read_block(np.arange(i, min(i + CHUNK, fmap.n_curves)))
              for i in range(0, fmap.n_curves, CHUNK)]  # fmt: skip
    with ThreadPoolExecutor(workers()) as pool:

        def run():
            return list(pool.map(lambda b: loops.sum_loop(
                b.z, b.signal, b.start, cuts(fmap, b.curves)), blocks))  # fmt: skip

        run()
        return best(run)


def scipy_seconds_a_curve(fmap, result, count=60):
    """The same fit by scipy.optimize.curve_fit: d(z) by tabulating z(δ), same window."""
    fit = result.stage_tables["fit"]

    def model(x, ln_c, z0, a):
        delta = np.linspace(0, 1, 400) ** 2 * max(x[-1] - z0 + a, 1e-6)
        elastic = np.exp(ln_c) * delta**1.5
        return np.interp(x - z0 + a, delta + elastic, elastic) - a

    spent = 0.0
    for i in range(count):
        s = fmap.samples(i)
        z, d = s.approach_z, s.approach_signal * 60.0
        inside = (z >= fit[i, ft.FIRST_Z]) & (z <= fit[i, ft.LAST_Z])
        x, y, a = z[inside], d[inside] - np.median(d[:200]), fit[i, ft.PULL]
        start = perf_counter()
        curve_fit(lambda x, ln_c, z0, a=a: model(x, ln_c, z0, a), x, y,
                  (fit[i, ft.LN_C] + 0.3, fit[i, ft.Z0] - 0.3))  # fmt: skip
        spent += perf_counter() - start
    return spent / count


def test_a_changed_setting_against_one_pass_over_the_samples(fmap, capsys):
    first = analyse(fmap)
    unit = one_sum(fmap)
    other = Settings().with_value("baseline.threshold", 6.0)
    window = Settings().with_value("fit.fraction_from", 12.0)

    def everything(result):
        for channel, _, _ in result.channels():
            assert channel.name
        assert result.doubts.size

    baseline = best(lambda: everything(analyse(fmap, other, previous=first)), 3)
    refit = best(lambda: everything(analyse(fmap, window, previous=first)), 3)
    fit_only = best(lambda: analyse(fmap, window, previous=first), 3)
    scipy_all = scipy_seconds_a_curve(fmap, first) * fmap.n_curves
    with capsys.disabled():
        print(f"\n256 x 256 x 2 x 512 int16 on {workers()} threads; one summing pass {unit:.3f} s")
        print(f"  changed baseline setting, all channels and doubts: {baseline / unit:5.1f} x "
              f"({baseline:.2f} s)")  # fmt: skip
        print(f"  changed fit window, all channels and doubts:       {refit / unit:5.1f} x "
              f"({refit:.2f} s)")  # fmt: skip
        print(f"  a loop of scipy curve_fit would take {scipy_all / fit_only:.0f} x the fit stage")


def test_time_per_curve_does_not_depend_on_the_size_of_the_map(capsys):
    maps = {size: tiled_map(size) for size in (64, 512)}
    times = {64: 64, 512: 1}  # the small map many times, so that both run for as long
    rounds = []
    for size, fmap in maps.items():
        analyse(fmap)
        assert fmap.n_curves == size**2
    for _ in range(5):  # side by side, so that both meet the same machine
        each = {s: best(lambda f=f, n=times[s]: [analyse(f) for _ in range(n)], 1) / times[s] / s**2
                for s, f in maps.items()}  # fmt: skip
        rounds.append((each[512] / each[64], each[64], each[512]))
    ratio, small, large = sorted(rounds)[len(rounds) // 2]
    with capsys.disabled():
        print(f"\n  per curve: 64 x 64 {small * 1e6:.2f} µs, 512 x 512 {large * 1e6:.2f} µs, "
              f"ratio {ratio:.3f} (median of {len(rounds)})")  # fmt: skip


MEMORY = """
import sys
from palpate.core import analyse, open_map
fmap = open_map(sys.argv[1])
result = analyse(fmap)
again = analyse(fmap, result.settings.with_value("baseline.threshold", 6.0), previous=result)
again.channels(); again.doubts
peak = [line for line in open("/proc/self/status") if line.startswith("VmHWM")][0].split()[1]
print(fmap.raw_bytes, 1024 * int(peak))
"""


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="reads /proc")
def test_peak_memory_is_the_raw_samples_and_little_more(fmap, tmp_path, capsys):
    from palpate.core.writers.native import save_map

    save_map(tmp_path / "m.h5", fmap)
    out = subprocess.run([sys.executable, "-c", MEMORY, str(tmp_path / "m.h5")], text=True,
                         capture_output=True, check=True).stdout.split()  # fmt: skip
    raw, peak = int(out[0]), int(out[1])
    with capsys.disabled():
        print(f"\n  raw samples {raw / 1e6:.0f} MB, peak of the whole process {peak / 1e6:.0f} MB, "
              f"{(peak - raw) / 1e6:.0f} MB above them")  # fmt: skip
