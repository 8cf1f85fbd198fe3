"""Every accepted unit against an independent unit library, and the finding of units by what people type."""

from __future__ import annotations

import pint
import pytest

from quizsvc.errors import InputError
from quizsvc.physics.unit_table import UNITS, find_unit, from_si, names_of, to_si, unit

REGISTRY = pint.UnitRegistry()

# Our name -> pint's, where they differ.
IN_PINT = {
    "FL": "hundred_feet", "NM": "nautical_mile", "fpm": "foot/minute", "kt": "knot", "C": "degC", "F": "degF",
    "K": "kelvin", "Ah": "ampere_hour", "m3": "m**3", "L": "liter", "ft3": "foot**3", "lb/min": "pound/minute",
    "m3/s": "m**3/s", "L/min": "liter/minute", "lbf": "force_pound", "m2": "m**2", "cm2": "cm**2", "in2": "inch**2",
    "ft2": "foot**2", "ratio": "dimensionless", "%": "percent", "in": "inch", "psi/min": "psi/minute", "h": "hour",
    "A": "ampere", "V": "volt", "lb": "pound", "inHg": "inHg", "min": "minute",
}  # fmt: skip
SI = {
    "length": "m", "pressure": "Pa", "time": "s", "speed": "m/s", "pressure-rate": "Pa/s", "temperature": "K",
    "current": "A", "voltage": "V", "charge": "coulomb", "volume": "m**3", "mass": "kg", "mass-flow": "kg/s",
    "volume-flow": "m**3/s", "force": "N", "area": "m**2", "number": "dimensionless",
}  # fmt: skip
REGISTRY.define("hundred_feet = 100 * foot")


@pytest.mark.parametrize("name", UNITS)
def test_factor_and_offset_agree_with_pint(name):
    """Two values of each unit in SI, to 1e-12: factor and offset both."""
    entry = UNITS[name]
    for value in (0.0, 1.0, 250.0):
        peer = REGISTRY.Quantity(value, IN_PINT.get(name, name)).to(SI[entry.dimension]).magnitude

        assert to_si(value, name) == pytest.approx(peer, rel=1e-12, abs=1e-12)


# NIST SP 811 (2008), appendix B.8, as printed there (values from memory).
@pytest.mark.parametrize(
    ("name", "printed"),
    [
        ("psi", "6894.757"),
        ("inHg", "3386.389"),
        ("mmHg", "133.3224"),
        ("lbf", "4.448222"),
        ("lb", "0.4535924"),
        ("ft3", "0.02831685"),
        ("in2", "0.00064516"),
        ("kt", "0.5144444"),
        ("lb/min", "0.007559873"),
        ("fpm", "0.00508"),
    ],
)
def test_factor_prints_as_published(name, printed):
    """The factor rounded to the printed digits."""
    digits = len(printed.replace(".", "").lstrip("0"))

    assert float(f"{UNITS[name].factor:.{digits}g}") == float(printed)


@pytest.mark.parametrize("name", UNITS)
def test_units_go_there_and_back(name):
    """from_si undoes to_si."""
    assert from_si(to_si(123.456, name), name) == pytest.approx(123.456, rel=1e-13)


@pytest.mark.parametrize("name", UNITS)
def test_each_name_and_alias_finds_its_own_unit(name):
    """No alias of one unit is another's, in any case of letters."""
    for spelling in (name, *UNITS[name].aliases):
        assert find_unit(spelling) is UNITS[name]
        found = find_unit(spelling.upper())
        assert found is None or found.dimension == UNITS[name].dimension


@pytest.mark.parametrize(
    ("typed", "name"),
    [
        ("FT", "ft"),
        ("nm", "NM"),
        ("hpa", "hPa"),
        ("MB", "hPa"),
        ("Mins", "min"),
        ("deg  C", "C"),
        ("l/MIN", "L/min"),
        ("a", "A"),
    ],
)
def test_case_and_spaces_do_not_matter(typed, name):
    """A phone's capital at the start is no obstacle."""
    assert find_unit(typed) is UNITS[name]


def test_unknown_unit_names_the_nearest():
    """The error quotes the word, the nearest name and all accepted ones."""
    with pytest.raises(InputError) as error:
        unit("pssi")

    assert error.value.reference == "unit-unknown"
    assert error.value.what == "'pssi' is not a unit"
    assert error.value.mend.startswith("did you mean 'psi'")
    assert "inHg" in error.value.mend


def test_alias_is_not_a_name():
    """Texts use the one name; the error says which."""
    with pytest.raises(InputError) as error:
        unit("feet")

    assert error.value.mend.startswith("did you mean 'ft'? ")


def test_long_word_is_cut():
    """A word of a megabyte does not come back whole."""
    with pytest.raises(InputError) as error:
        unit("x" * 1_000_000)

    assert len(str(error.value)) < 500


def test_names_of_a_dimension():
    """All units of one dimension, and none of a word that is no dimension."""
    assert names_of("pressure") == ("Pa", "hPa", "kPa", "bar", "psi", "inHg", "mmHg")
    assert names_of("colour") == ()


def test_table_cannot_be_changed():
    """One table for all."""
    with pytest.raises(TypeError):
        UNITS["ell"] = UNITS["m"]
