"""Properties of the standard atmosphere: edges, range, shape, NaN, round trips. Outside numbers: tests/reference."""

from __future__ import annotations

import math
import time
import timeit

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from quizsvc.errors import OutOfRangeError
from quizsvc.physics import atmosphere
from quizsvc.physics.constants import HIGHEST_ALTITUDE, LOWEST_ALTITUDE

FT = 0.3048
FUNCTIONS = [atmosphere.pressure, atmosphere.temperature, atmosphere.density, atmosphere.speed_of_sound]
altitudes = st.floats(LOWEST_ALTITUDE, HIGHEST_ALTITUDE)


class TestRange:
    """From -2,000 to 65,600 ft, and no further."""

    @pytest.mark.parametrize("function", FUNCTIONS)
    @pytest.mark.parametrize("edge", [-2000 * FT, 65_600 * FT])
    def test_edges_belong_to_it(self, function, edge):
        """Both ends are computed, as float and in an array."""
        assert function(edge) > 0
        assert function([edge])[0] == pytest.approx(function(edge), rel=1e-14)

    @pytest.mark.parametrize("function", FUNCTIONS)
    @pytest.mark.parametrize("feet", [-2000.1, 65_600.1, -1e9, 1e9, math.inf, -math.inf])
    def test_outside_is_refused(self, function, feet):
        """A float outside is an error that shows it in feet."""
        with pytest.raises(OutOfRangeError) as error:
            function(feet * FT)

        assert error.value.reference == "altitude-out-of-range"
        assert f"{feet:,.1f} ft" in error.value.what
        assert "-2,000 to 65,600 ft" in error.value.mend

    def test_whole_text_of_the_error(self):
        """What, where and how to mend it, word for word."""
        with pytest.raises(OutOfRangeError) as error:
            atmosphere.pressure([0.0, 30_000.0, 40_000.0])

        assert str(error.value) == (
            "the altitude 98,425.2 ft (30,000.0 m) is outside the standard atmosphere of this service "
            "(index 1) - give a pressure altitude from -2,000 to 65,600 ft"
        )

    def test_first_of_two_dimensions_is_named(self):
        """The index of the first value outside, also in a table."""
        with pytest.raises(OutOfRangeError) as error:
            atmosphere.density(np.array([[0.0, math.nan], [1.0, -700.0]]))

        assert error.value.where == "index (1, 1)"

    @pytest.mark.parametrize("pascals", [5_400.0, 109_000.0, 0.0, -1.0, math.inf])
    def test_pressure_outside_is_refused(self, pascals):
        """The way back has the same range."""
        with pytest.raises(OutOfRangeError, match="outside the standard atmosphere"):
            atmosphere.altitude(pascals)
        with pytest.raises(OutOfRangeError) as error:
            atmosphere.altitude([101_325.0, pascals])

        assert (error.value.reference, error.value.where) == ("pressure-out-of-range", "index 1")


class TestShape:
    """A float gives a float; an array gives an array of its shape."""

    @pytest.mark.parametrize("function", [*FUNCTIONS, lambda h: atmosphere.altitude(atmosphere.pressure(h))])
    def test_kinds(self, function):
        """Float, int, numpy scalar, list, empty list, table."""
        assert type(function(1000.0)) is float
        assert type(function(1000)) is float
        assert isinstance(function(np.float64(1000)), float)
        assert function([0.0, 1000.0]).shape == (2,)
        assert function([]).shape == (0,)
        assert function(np.zeros((3, 4))).shape == (3, 4)
        assert function(np.zeros((3, 4), dtype=np.float32)).dtype == np.float64

    @pytest.mark.parametrize("function", FUNCTIONS)
    def test_input_is_left_alone(self, function):
        """The caller's array is not written to."""
        given_array = np.array([-100.0, 5000.0, 15_000.0])
        function(given_array)

        assert given_array.tolist() == [-100.0, 5000.0, 15_000.0]

    @pytest.mark.parametrize("function", [*FUNCTIONS, atmosphere.altitude])
    def test_nan_stays_nan(self, function):
        """NaN in, NaN out, and its neighbours are computed."""
        values = function([101_325.0 if function is atmosphere.altitude else 0.0, math.nan])

        assert math.isnan(function(math.nan))
        assert math.isfinite(values[0])
        assert math.isnan(values[1])
        assert np.isnan(function([math.nan, math.nan])).all()


class TestRoundTrip:
    """Altitude and pressure undo each other."""

    @given(altitudes)
    def test_scalar(self, metres):
        """Within a hundredth of a millimetre."""
        assert atmosphere.altitude(atmosphere.pressure(metres)) == pytest.approx(metres, abs=1e-5)

    @given(st.lists(altitudes, min_size=1, max_size=20))
    def test_array(self, metres):
        """The same for arrays, which agree with the scalar way."""
        pressures = atmosphere.pressure(metres)

        assert atmosphere.altitude(pressures) == pytest.approx(np.array(metres), abs=1e-5)
        assert pressures == pytest.approx(np.array([atmosphere.pressure(h) for h in metres]), rel=1e-13)

    @given(st.floats(5_480.0, 108_860.0))
    def test_from_pressure(self, pascals):
        """Starting with a pressure, within 1e-12 relative."""
        assert atmosphere.pressure(atmosphere.altitude(pascals)) == pytest.approx(pascals, rel=1e-12)

    @given(altitudes, altitudes)
    def test_pressure_falls_with_altitude(self, one, other):
        """Higher is never denser or of higher pressure, across the tropopause too."""
        lower, higher = sorted((one, other))

        assert atmosphere.pressure(lower) >= atmosphere.pressure(higher)
        assert atmosphere.density(lower) >= atmosphere.density(higher) * (1 - 1e-15)


@pytest.mark.parametrize("function", FUNCTIONS)
def test_layers_meet(function):
    """No step at the tropopause."""
    assert function(11_000 - 1e-7) == pytest.approx(function(11_000 + 1e-7), rel=1e-10)


def test_pressure_gradient_is_the_weight_of_the_air():
    """dp/dh = -rho g, by central differences: the equation the layers were integrated from."""
    h = np.linspace(-500, 19_900, 400)
    gradient = (atmosphere.pressure(h + 0.5) - atmosphere.pressure(h - 0.5)) / 1.0

    assert gradient == pytest.approx(-atmosphere.density(h) * 9.80665, rel=1e-6)


def test_scalar_takes_microseconds():
    """A formula asks a million times: a scalar stays far below the array machinery (20 us would be that)."""

    def there_and_back():
        return atmosphere.altitude(atmosphere.pressure(8000.0))

    seconds = min(timeit.repeat(there_and_back, timer=time.thread_time, number=200, repeat=5)) / 200

    assert seconds < 20e-6
