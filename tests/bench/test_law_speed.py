"""Time of a whole map under each law, over that of the paraboloid with a constant pull."""

from __future__ import annotations

import pytest

from palpate.core.pipeline import analyse
from palpate.core.settings import Settings

from .scene import best, tiled_map

pytestmark = pytest.mark.bench

LAWS = {
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
    "contact by threshold": {"fit.contact": "threshold"},
    "contact by ratio of variances": {"fit.contact": "variance_ratio"},
    "contact by goodness of fit": {"fit.contact": "goodness"},
    "contact by change point": {"fit.contact": "change_point"},
    "fringes subtracted": {"baseline.fringes": "subtract", "baseline.period": 335.0},
    "power-law solid": {"viscous.model": "power_law"},
    "standard solid": {"viscous.model": "standard_solid"},
}  # fmt: skip


def test_time_of_each_law():
    fmap = tiled_map(96)
    one = Settings()
    analyse(fmap, one)
    unit = best(lambda: analyse(fmap, one))
    print(f"\n96 x 96 x 2 x 512: paraboloid with a constant pull {unit:.3f} s")
    for name, change in LAWS.items():
        settings = one.with_values(change)
        analyse(fmap, settings)
        print(f"  {name:32} {best(lambda s=settings: analyse(fmap, s)) / unit:5.2f} x")
    assert unit > 0.0
