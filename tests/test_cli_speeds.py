"""``palpate speeds``: the slope of the modulus against the speed, on solids whose β is known.

The curves are those of ``simulate_relaxing`` (Lee & Radok, J. Appl. Mech. 27 (1960) 438, from
memory); the slope is worked out again with numpy.polyfit.
"""

from __future__ import annotations

import csv

import numpy as np
import pytest

from palpate.core.cli import main
from palpate.core.models.viscoelastic import PowerLawSolid
from palpate.core.simulate import Lever, Ramp
from palpate.core.simulate_relaxing import relaxing_curve
from palpate.core.writers.native import write_map

BETA, RATES, COUNT = 0.15, (1000.0, 5000.0, 25000.0), 36
LEVER = Lever(spring_constant=2.0, tip_size=20.0, noise=0.08)
CHOSEN = ["--set", "fit.adhesion=none"]


def put(path, rate, beta=BETA, told=True):
    """A map of one power-law solid, dented at 300/1023 nm a sample."""
    ramp = Ramp(travel=300.0, samples=1024, set_force=8.0, rate=rate)
    curve = relaxing_curve(LEVER, ramp, PowerLawSolid(0.002, beta), 0.4)
    rng = np.random.default_rng(int(rate))
    clean = np.array([curve.approach_d, curve.retract_d])
    z = np.array([curve.approach_z, curve.retract_z])
    d = clean + rng.normal(0.0, LEVER.noise, (1, COUNT, *clean.shape))
    known = {"sampling_rate": rate} if told else {}
    return str(write_map(path, z, d, spring_constant=2.0, radius=20.0, **known))


@pytest.fixture(scope="module")
def maps(tmp_path_factory):
    folder = tmp_path_factory.mktemp("speeds")
    made = [put(folder / f"at{rate:.0f}.h5", rate) for rate in RATES]
    put(folder / "untimed.h5", RATES[0], told=False)
    put(folder / "again.h5", RATES[0])
    return folder, made


def read(path):
    lines = path.read_text(encoding="utf-8").splitlines()
    slope, error = (float(line.rpartition(",")[2]) for line in lines[:2])
    return slope, error, list(csv.DictReader(lines[2:]))


def test_speeds_prints_and_writes_the_slope_of_a_power_law_solid(maps, tmp_path, capsys):
    """At equal peak force E goes with v to β/(1 - β/n): see beta_at_equal_force."""
    out = tmp_path / "speeds.csv"
    assert main(["speeds", *maps[1], *CHOSEN, "--out", str(out)]) == 0
    slope, error, rows = read(out)
    speed = np.array([float(row["speed (nm/s)"]) for row in rows])
    modulus = np.array([float(row["modulus (GPa)"]) for row in rows])
    own = np.array([float(row["standard error (GPa)"]) for row in rows]) / modulus
    assert speed == pytest.approx([300.0 / 1023 * rate for rate in RATES], rel=1e-6)
    assert [int(row["pixels"]) for row in rows] == [COUNT] * 3
    assert slope == pytest.approx(BETA / (1.0 - BETA / 1.5), rel=0.03)
    line = np.polyfit(np.log(speed), np.log(modulus), 1, w=1.0 / own)
    assert slope == pytest.approx(line[0], abs=1e-9)
    assert 0.0 < error < 0.02
    told = " ".join(capsys.readouterr().out.split())
    assert "at5000.h5" in told
    assert f"d ln(young modulus)/d ln(speed) = {slope:.3f}"[:-1] in told
    assert "pixels as independent" in told


def test_speeds_gives_beta_itself_for_maps_at_the_same_force(maps, capsys):
    assert main(["speeds", *maps[1], *CHOSEN]) == 0
    told = " ".join(capsys.readouterr().out.split())
    beta = float(told.partition("β is s/(1 + s/n) = ")[2].split()[0])
    assert beta == pytest.approx(BETA, abs=0.005)
    assert "within two ± of it" not in told


def test_speeds_takes_a_saved_result_for_its_map_and_settings(maps, tmp_path, capsys):
    folder, made = maps
    saved = []
    for path in made[:2]:
        saved.append(str(folder / f"{path.rpartition('/')[2][:-3]}.analysis.h5"))
        assert main(["analyse", path, *CHOSEN, "--out", saved[-1], "--quiet"]) == 0
    out, other = tmp_path / "a.csv", tmp_path / "b.csv"
    assert main(["speeds", *saved, "--out", str(out)]) == 0
    assert main(["speeds", *made[:2], *CHOSEN, "--out", str(other)]) == 0
    assert read(out)[:2] == read(other)[:2]
    assert main(["analyse", made[0], "--out", saved[0], "--quiet"]) == 0  # other settings
    capsys.readouterr()
    assert main(["speeds", *saved]) == 1
    assert "different settings" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("words", "code", "sentence"),
    [
        (["at1000.h5"], 2, "only one map"),
        (["at1000.h5", "at1000.h5"], 2, "only one map"),
        (["at1000.h5", "untimed.h5"], 1, "untimed.h5: no sampling rate"),
        (["at1000.h5", "again.h5"], 1, "two different speeds"),
        (["at1000.h5", "none.h5"], 1, "none.h5"),
        (["at1000.h5", "at5000.h5", "--channel", "egg"], 2, "reduced_modulus"),
        (["at1000.h5", "at5000.h5", "--set", "fit.law=cone"], 1, "tip.half_angle=VALUE"),
        (["at1000.h5", "at5000.h5", "--out", "{}/at1000.h5"], 2, "one of the maps"),
    ],
)
def test_speeds_says_what_it_lacks(maps, capsys, words, code, sentence):
    folder = maps[0]
    words = [str(folder / w) if w.endswith(".h5") and "{" not in w else w for w in words]
    before = (folder / "at1000.h5").read_bytes()
    assert main(["speeds", *(w.format(folder) for w in words), *CHOSEN]) == code
    told = capsys.readouterr().err
    assert told.startswith("palpate: ")
    assert sentence in told
    assert (folder / "at1000.h5").read_bytes() == before
