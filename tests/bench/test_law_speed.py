"""Time of a whole map under each law, over that of the paraboloid with a constant pull.

Each is measured beside the paraboloid, in turns, the best of three: so a busy machine slows both.
An elastic law may take four times as long, a relaxing solid twenty times. How the contact is found
and the fringes are printed only.
"""

from __future__ import annotations

import math

import pytest

from palpate.core.columns import viscous as vs
from palpate.core.pipeline import analyse
from palpate.core.settings import Settings

from .scene import best, relaxing_map, tiled_map

pytestmark = pytest.mark.bench

ELASTIC = {
    "paraboloid, none": {"fit.adhesion": "none"},
    "sphere": {"fit.law": "sphere"},
    "cone": {"fit.law": "cone", "tip.half_angle": 20.0},
    "pyramid": {"fit.law": "pyramid", "tip.half_angle": 20.0},
    "pyramid solved": {"fit.law": "pyramid_solved", "tip.half_angle": 20.0},
    "punch": {"fit.law": "punch"},
    "blunted cone": {"fit.law": "blunted_cone", "tip.half_angle": 20.0},
    "hyperboloid": {"fit.law": "hyperboloid", "tip.half_angle": 20.0},
    "free exponent": {"fit.law": "free_exponent"},
    "JKR": {"fit.adhesion": "jkr"},
    "JKR, pull fitted": {"fit.adhesion": "jkr", "fit.pull_off": "fitted", "fit.branch": "retract",
                         "fit.fraction_from": -15.0},
    "JKR, two points": {"fit.adhesion": "two_point"},
    "Maugis-Dugdale": {"fit.adhesion": "maugis"},
    "Maugis-Dugdale, pull fitted": {"fit.adhesion": "maugis", "fit.pull_off": "fitted",
                                    "fit.branch": "retract", "fit.fraction_from": -15.0},
    "layer, bonded": {"layer.base": "bonded", "layer.thickness": 50.0},
}  # fmt: skip
OTHERS = {
    "contact by threshold": {"fit.contact": "threshold"},
    "contact by ratio of variances": {"fit.contact": "variance_ratio"},
    "contact by goodness of fit": {"fit.contact": "goodness"},
    "contact by change point": {"fit.contact": "change_point"},
    "fringes subtracted": {"baseline.fringes": "subtract", "baseline.period": 335.0},
}  # fmt: skip


LIMIT_ELASTIC, LIMIT_VISCOUS = 4.0, 20.0


def ratio(fmap, change) -> tuple[float, float]:
    """Time under changed settings over the paraboloid's, and the paraboloid's [s]."""
    plain = Settings()
    settings = plain.with_values(change)
    analyse(fmap, plain)
    analyse(fmap, settings)  # compiled, and its tables made
    units, times = zip(*((best(lambda: analyse(fmap, plain), 1),
                          best(lambda: analyse(fmap, settings), 1))
                         for _ in range(3)), strict=True)  # fmt: skip
    return min(times) / min(units), min(units)


@pytest.mark.parametrize(("laws", "limit"), [(ELASTIC, LIMIT_ELASTIC), (OTHERS, math.inf)],
                         ids=["elastic", "others"])  # fmt: skip
def test_a_law_takes_no_longer_than_it_may(laws, limit, capsys):
    fmap, ratios = tiled_map(96), {}
    for name, change in laws.items():
        ratios[name], unit = ratio(fmap, change)
        with capsys.disabled():
            print(f"\n  {name:32} {ratios[name]:5.2f} x ({unit:.3f} s)", end="")
    slow = {name: round(r, 1) for name, r in ratios.items() if r > limit}
    assert not slow, f"more than {limit:g} times the paraboloid's time"


@pytest.mark.parametrize("model", ["power_law", "standard_solid"])
def test_a_relaxing_solid_takes_no_longer_than_it_may(model, capsys):
    """On curves that do relax: most of the fits must be good, or their time would mean nothing."""
    fmap, change = relaxing_map(64, model), {"viscous.model": model}
    states = analyse(fmap, Settings().with_values(change)).stage_tables["viscous"][:, vs.STATE]
    assert (states == vs.GOOD).mean() > 0.9
    found, unit = ratio(fmap, change)
    with capsys.disabled():
        print(f"\n  {model:32} {found:5.2f} x ({unit:.3f} s)", end="")
    assert found < LIMIT_VISCOUS
