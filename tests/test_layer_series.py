"""The published series for a layer stand beside the exact ratio, with what is wrong in them.

Coefficients of papers are from memory; "direct solution" marks numbers of the integral equation
solved once, apart from this program.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from palpate.core.models.layer_series import (
    FORMS,
    TRUSTED_CHI,
    expansion,
    published_moments,
    series_coefficients,
    series_comparison,
)
from palpate.core.models.layer_solver import moments, solve_contact


@pytest.mark.parametrize(
    ("shape", "base", "expected"),
    [  # consistent expansion with the exact moments, ν = 0.5: direct solution
        ("paraboloid", "bonded", (1.126955, 1.481699, 1.470007, 1.004678)),
        ("cone", "bonded", (0.717442, 0.643404, 0.488927, 0.300431)),
        ("punch", "bonded", (1.126955, 1.270028, 0.618284, -0.219413)),
        ("paraboloid", "sliding", (0.743303, 0.644582, 0.339917, 0.007566)),
        ("cone", "sliding", (0.473201, 0.279899, 0.120484, 0.024057)),
    ],
)
def test_expansion_with_exact_constants(shape, base, expected):
    found = series_coefficients("expansion", shape, 0.5, base)
    assert found == pytest.approx(np.array(expected), abs=6e-7)


@pytest.mark.parametrize("shape", ["paraboloid", "cone", "punch"])
@pytest.mark.parametrize(("nu", "base"), [(0.35, "bonded"), (0.5, "bonded"), (0.5, "sliding")])
def test_expansion_is_that_of_the_solved_contacts(shape, nu, base):
    # a polynomial through solved contacts of small radius has the expansion's coefficients
    a = 0.15 * (1.0 + np.cos(math.pi * (np.arange(30) + 0.5) / 30.0))
    solved = [solve_contact(x, nu, base, "cone" if shape == "cone" else "paraboloid") for x in a]
    depth, force, flat = np.array([(one.depth, one.force, one.stiffness) for one in solved]).T
    chi = {"paraboloid": a * np.sqrt(depth), "cone": a * depth, "punch": a}[shape]
    ratio = {"paraboloid": force / (4.0 / 3.0 * depth**1.5),
             "cone": force / (2.0 / math.pi * depth**2), "punch": flat / 2.0}[shape]  # fmt: skip
    found = np.polynomial.polynomial.polyfit(chi, (ratio - 1.0) / chi, 11)[:4]
    assert found == pytest.approx(series_coefficients("expansion", shape, nu, base), abs=1e-3)


@pytest.mark.parametrize(
    ("nu", "base", "expected", "tolerance"),
    [  # Dimitriadis et al., Biophys. J. 82 (2002) 2798, general form (from memory), evaluated
        (0.5, "bonded", (1.132865, 1.283383, 0.769474, -0.0974925), 1e-6),
        (0.35, "bonded", (0.919215, 0.844956, 0.291153, -0.290266), 1e-6),
        (0.5, "sliding", (0.883628, 0.780799, 0.385717, 0.00480902), 1e-6),
    ],
)
def test_general_form_of_2002(nu, base, expected, tolerance):
    found = series_coefficients("general", "paraboloid", nu, base)
    assert found == pytest.approx(np.array(expected), abs=tolerance)


def test_moments_of_2002_are_not_the_exact_ones():
    assert published_moments(0.35, "bonded") == pytest.approx((-1.443899, 0.715022), abs=1e-6)
    # from memory: 1.7795 at ν = 0.5, 1.2876 at ν = 0; not bonded -1.388 at 0.5
    paper, exact = published_moments(0.5, "bonded")[0], moments(0.5, "bonded")[0]
    assert paper == pytest.approx(-1.7795, abs=5e-5)
    assert paper / exact - 1.0 == pytest.approx(0.0052, abs=5e-5)
    assert published_moments(0.0, "bonded")[0] == -1.2876
    assert -1.2876 / moments(0.0, "bonded")[0] - 1.0 == pytest.approx(0.063, abs=5e-4)
    assert published_moments(0.5, "sliding")[0] == pytest.approx(-1.388, abs=1e-9)
    assert published_moments(0.3, "sliding")[0] != pytest.approx(-1.388, abs=0.1)


def test_line_of_2002_and_its_general_form_differ_in_the_sign_of_the_last_term():
    # the line for ν = 0.5, both bases, from memory
    line = series_coefficients("line", "paraboloid", 0.5, "bonded")
    assert tuple(line) == (1.133, 1.283, 0.769, 0.0975)
    general = series_coefficients("general", "paraboloid", 0.5, "bonded")
    assert general[:3] == pytest.approx(line[:3], abs=6e-4)
    assert general[3] == pytest.approx(-line[3], abs=1e-4)
    free = series_coefficients("line", "paraboloid", 0.5, "sliding")
    assert tuple(free) == (0.884, 0.781, 0.386, 0.0048)
    same = series_coefficients("general", "paraboloid", 0.5, "sliding")
    assert same == pytest.approx(free, abs=5e-4)


def test_coefficients_of_2018():
    # Garcia & Garcia, Biophys. J. 114 (2018) 2923, ν = 0.5 bonded (from memory), beside the
    # consistent expansion with their moments -1.7795 and 1.0079: the fourth ones of paraboloid and
    # cone differ (0.945182, 0.292278: direct evaluation), all others agree
    form = {s: series_coefficients("incompressible", s, 0.5, "bonded") for s in
            ("paraboloid", "cone", "punch")}  # fmt: skip
    assert tuple(form["paraboloid"]) == (1.133, 1.497, 1.469, 0.755)
    assert tuple(form["cone"]) == (0.721, 0.650, 0.491, 0.225)
    assert tuple(form["punch"]) == (1.133, 1.283, 0.598, -0.291)
    ours = {shape: expansion(shape, -1.7795, 1.0079) for shape in form}
    for shape in form:
        assert ours[shape][:3] == pytest.approx(form[shape][:3], abs=1e-3)
    assert ours["punch"] == pytest.approx(form["punch"], abs=1e-3)
    assert ours["paraboloid"][3] == pytest.approx(0.945182, abs=1e-6)
    assert ours["cone"][3] == pytest.approx(0.292278, abs=1e-6)


def test_series_beside_the_exact_ratio():
    # bonded, ν = 0.5, χ = 0.1, 0.5, 1: direct solution and evaluation
    result = series_comparison(np.array([0.1, 0.5, 1.0]), 0.5, "bonded")
    assert result.exact == pytest.approx(np.array([1.12908, 2.15622, 5.11537]), abs=6e-6)
    late = result.series["incompressible"]
    assert late == pytest.approx(np.array([1.12981, 2.17156, 5.854]), abs=6e-6)
    early = result.series["line"]
    assert early == pytest.approx(np.array([1.12691, 1.98947, 4.2825]), abs=6e-6)
    assert result.error["line"] == pytest.approx(np.array([-0.002, -0.077, -0.16]), abs=3e-3)
    cone = series_comparison(0.1, 0.5, "bonded", "cone")
    assert float(cone.exact) == pytest.approx(1.07870, abs=6e-6)
    assert float(cone.series["incompressible"]) == pytest.approx(1.07911, abs=6e-6)


def test_form_of_2018_is_good_up_to_where_it_is_trusted():
    chi = np.linspace(0.0, TRUSTED_CHI, 51)
    assert np.abs(series_comparison(chi, 0.5, "bonded").error["incompressible"]).max() < 0.008


def test_second_coefficient_of_2002_is_that_of_the_punch():
    alpha, beta = published_moments(0.5, "bonded")
    general = series_coefficients("general", "paraboloid", 0.5, "bonded")
    assert general[1] == pytest.approx(expansion("punch", alpha, beta)[1], rel=1e-12)
    assert expansion("paraboloid", alpha, beta)[1] == pytest.approx(1.497, abs=5e-4)


def test_series_are_blank_where_they_were_not_given():
    assert np.isnan(series_coefficients("incompressible", "cone", 0.4, "bonded")).all()
    assert np.isnan(series_coefficients("incompressible", "cone", 0.5, "sliding")).all()
    assert np.isnan(series_coefficients("general", "cone", 0.5, "bonded")).all()
    assert np.isnan(series_coefficients("line", "paraboloid", 0.4, "bonded")).all()
    assert set(series_comparison(0.1, 0.4, "bonded").series) == set(FORMS)
    with pytest.raises(ValueError, match="2012"):
        series_coefficients("2012", "cone", 0.5, "bonded")
