"""The contact laws give the published numbers.

Sources stand beside each value. Values marked "direct solution" were computed from the cited
formula; the inputs are E = 2 GPa, ν = 0.35, so E* = 2.279202279 GPa.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from palpate.core.models import law_of
from palpate.core.models.forward import deflection

POWERS = ("paraboloid", "cone", "pyramid", "pyramid_solved", "punch")
E_STAR = 2.0 / (1.0 - 0.35**2)  # GPa = nN/nm²


def test_reduced_modulus_of_the_check_input():
    assert pytest.approx(2.279202279, rel=1e-9) == E_STAR


@pytest.mark.parametrize(
    ("law", "depth", "size", "force"),
    [
        # Hertz, J. reine angew. Math. 92 (1882) 156: F = (4/3) E* √R δ^(3/2), direct solution
        ("paraboloid", 5.0, 20.0, 151.9468),
        # Sneddon, Int. J. Eng. Sci. 3 (1965) 47: F = (2/π) E* tan α δ², direct solution
        ("cone", 20.0, 35.0, 406.3963),
        # Bilodeau, J. Appl. Mech. 59 (1992) 519: 0.7453 E* tan θ δ² (coefficient from memory)
        ("pyramid", 20.0, 35.0, 475.7741),
        # Sneddon 1965: F = 2 E* a δ, direct solution
        ("punch", 2.0, 10.0, 91.16809),
    ],
)
def test_force_of_each_law(law, depth, size, force):
    assert law_of(law).force(depth, E_STAR, size) == pytest.approx(force, rel=1e-6)


@pytest.mark.parametrize(
    ("law", "depth", "size", "radius", "stiffness"),
    [
        # S = 2 E* a: Pharr, Oliver & Brotzen, J. Mater. Res. 7 (1992) 613
        ("paraboloid", 5.0, 20.0, 10.0, 45.58405),
        ("cone", 20.0, 35.0, 8.915319, 40.63963),
        ("punch", 2.0, 10.0, 10.0, 45.58405),
    ],
)
def test_stiffness_is_twice_reduced_modulus_times_contact_radius(
    law, depth, size, radius, stiffness
):
    contact = law_of(law)
    assert contact.contact_radius(depth, size) == pytest.approx(radius, rel=1e-6)
    assert contact.stiffness(depth, E_STAR, size) == pytest.approx(stiffness, rel=1e-6)
    assert contact.stiffness(depth, E_STAR, size) == pytest.approx(2 * E_STAR * radius, rel=1e-6)


def test_constant_adhesion_shifts_the_force_down():
    # Derjaguin, Muller & Toporov, J. Colloid Interface Sci. 53 (1975) 314: F_ad = 2πwR;
    # E* as above, R = 20 nm, δ = 3 nm, w = 0.1 J/m² = 0.1 nN/nm: 58.05213 nN, direct solution
    # through the compiled law: a lever of k = 2 N/m whose base stands where δ = 3 nm
    k, pull_off = 2.0, 2 * math.pi * 0.1 * 20.0
    c, a = E_STAR * law_of("paraboloid").factor(20.0) / k, pull_off / k
    z = 3.0 + 58.05213 / k  # δ + d, contact point at 0
    _, delta, elastic, _ = deflection(z + a, c, 1.5, -1.0)
    assert delta == pytest.approx(3.0, rel=1e-6)
    assert k * (elastic - a) == pytest.approx(58.05213, rel=1e-6)


@pytest.mark.parametrize("law", POWERS)
@pytest.mark.parametrize("c", [1e-4, 0.1, 3.0, 200.0])
def test_solved_depth_satisfies_the_two_springs(law, c):
    """δ + c δⁿ = u to rounding, whatever the start."""
    n = law_of(law).exponent
    for u in np.geomspace(1e-4, 1e3, 30):
        for guess in (-1.0, 1e-3, 50.0):
            _, delta, elastic, slope = deflection(u, c, n, guess)
            assert delta + c * delta**n == pytest.approx(u, rel=1e-9)
            assert elastic == pytest.approx(c * delta**n, rel=1e-9)
            assert slope == pytest.approx(n * c * delta ** (n - 1), rel=1e-9)


@pytest.mark.parametrize("law", POWERS)
def test_nothing_is_felt_before_contact(law):
    assert deflection(-1.0, 2.0, law_of(law).exponent, -1.0) == (0.0,) * 4


@pytest.mark.parametrize("law", POWERS)
def test_force_and_stiffness_agree_by_finite_difference(law):
    contact, size, h = law_of(law), 20.0, 1e-5
    slope = (contact.force(4 + h, 1.3, size) - contact.force(4 - h, 1.3, size)) / (2 * h)
    assert contact.stiffness(4.0, 1.3, size) == pytest.approx(slope, rel=1e-8)


def test_unknown_law_is_refused_with_the_known_ones():
    with pytest.raises(KeyError, match="paraboloid"):
        law_of("egg")
