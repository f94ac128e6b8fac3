"""Units are read and written in one place."""

from __future__ import annotations

import math

import pytest

from palpate.core.units import best_unit, parse_unit, si_factor, text_of, to_core


@pytest.mark.parametrize(
    ("text", "dimension", "core"),
    [("m", "length", 1e9), ("nm", "length", 1.0), ("µm", "length", 1e3), ("um", "length", 1e3),
     ("μm", "length", 1e3), ("metres", "length", 1e9), ("N", "force", 1e9), ("N/m", "stiffness", 1),
     ("nN/nm", "stiffness", 1.0), ("pN/nm", "stiffness", 1e-3), ("GPa", "pressure", 1.0),
     ("Pa", "pressure", 1e-9), ("m/V", "sensitivity", 1e9), ("nm/mV", "sensitivity", 1e3),
     ("V", "voltage", 1.0), ("mV", "voltage", 1e-3), ("deg", "angle", math.pi / 180),
     ("aJ", "energy", 1.0), ("", "number", 1.0), ("min", None, 0), ("furlong", None, 0),
     ("V/m", None, 0), ("m/m/m", None, 0)],
)  # fmt: skip
def test_units_are_parsed(text, dimension, core):
    if dimension is None:
        with pytest.raises(ValueError, match="not known"):
            parse_unit(text)
    else:
        found, factor = parse_unit(text)
        assert found == dimension
        assert factor == pytest.approx(core)


def test_core_units_are_consistent():
    """nN/nm = N/m, nN/nm² = GPa, nN nm = aJ: formulas need no factor."""
    n, length = si_factor("nN")[1], si_factor("nm")[1]
    assert n / length == pytest.approx(si_factor("N/m")[1])
    assert n / length**2 == pytest.approx(si_factor("GPa")[1])
    assert n * length == pytest.approx(si_factor("aJ")[1])


def test_wrong_dimension_is_named():
    with pytest.raises(ValueError, match="force.*length"):
        to_core(1.0, "N", "length")


@pytest.mark.parametrize(
    ("value", "unit", "error", "shown"),
    [(1.4523, "GPa", 0.031, "1.452 ± 0.031 GPa"), (0.0345, "GPa", math.nan, "34.50 MPa"),
     (0.05, "nm", math.nan, "0.05000 nm"), (2500.0, "nm", math.nan, "2.500 µm"),
     (math.nan, "nN", math.nan, "–"), (0.0, "nN", math.nan, "0.000 nN"),
     (12.0, "", math.nan, "12.00")],
)  # fmt: skip
def test_numbers_are_written_as_a_person_would(value, unit, error, shown):
    assert text_of(value, unit, error) == shown


def test_best_unit_keeps_the_number():
    unit, factor = best_unit(2.5e-5, "GPa")
    assert (unit, 2.5e-5 * factor) == ("kPa", pytest.approx(25.0))
