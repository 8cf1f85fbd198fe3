"""What people type as a quantity, and how quantities are printed."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from quizsvc.errors import InputError, OutOfRangeError
from quizsvc.physics.units import UNITS, format_quantity, from_si, read_quantity, to_si

FT = 0.3048


class TestWhatIsRead:
    """The text, the unit that is asked for, and the value in the unit it was read in."""

    @pytest.mark.parametrize(
        ("typed", "asked", "value", "unit"),
        [
            # the issue's own examples
            ("5,500", "ft", 5500, "ft"),
            ("5 500 ft", "ft", 5500, "ft"),
            ("2 h", "min", 2, "h"),
            ("8,7 psi", "psi", 8.7, "psi"),
            ("FL055", "ft", 55, "FL"),
            ("-150", "ft", -150, "ft"),
            ("0.3 inHg", "psi", 0.3, "inHg"),
            # numeric-families.md, "Accept"
            ("17", "min", 17, "min"),
            ("17.0", "min", 17, "min"),
            ("17 min", "min", 17, "min"),
            ("7,050", "ft", 7050, "ft"),
            ("7050", "ft", 7050, "ft"),
            ("7 050", "ft", 7050, "ft"),
            # thousands and decimals
            ("7,05", "ft", 7.05, "ft"),
            ("1,000,000", "ft", 1e6, "ft"),
            ("1 000 000", "ft", 1e6, "ft"),
            ("5,500.5", "ft", 5500.5, "ft"),
            ("5 500,5", "ft", 5500.5, "ft"),
            ("5 500.5", "ft", 5500.5, "ft"),
            ("5.500", "ft", 5.5, "ft"),
            ("1234,567", "ft", 1234.567, "ft"),
            ("0,050", "psi", 0.05, "psi"),
            ("0,150 psi", "psi", 0.15, "psi"),
            (".5", "psi", 0.5, "psi"),
            (",5", "psi", 0.5, "psi"),
            ("5.", "ft", 5, "ft"),
            ("007", "ft", 7, "ft"),
            # spaces and signs from other keyboards
            ("5\u00a0500\u202fft", "ft", 5500, "ft"),
            ("5\u2009500", "ft", 5500, "ft"),
            ("\u2212150", "ft", -150, "ft"),
            ("\u2013150", "ft", -150, "ft"),
            ("- 150", "ft", -150, "ft"),
            ("+150", "ft", 150, "ft"),
            ("  5500\t", "ft", 5500, "ft"),
            ("-0", "ft", 0, "ft"),
            # units
            ("5500'", "ft", 5500, "ft"),
            ("5500\u2019", "ft", 5500, "ft"),
            ("5500ft", "ft", 5500, "ft"),
            ("5500 Feet", "ft", 5500, "ft"),
            ("5500 ft.", "ft", 5500, "ft"),
            ("1.7 km", "ft", 1.7, "km"),
            ("fl 330", "ft", 330, "FL"),
            ("330 FL", "ft", 330, "FL"),
            ("FL330", "FL", 330, "FL"),
            ("330", "FL", 330, "FL"),
            ("Flight level 330", "ft", 330, "FL"),
            ("90 secs", "min", 90, "s"),
            ("127 nm", "NM", 127, "NM"),
            ("600 mb", "psi", 600, "hPa"),
            ("-10 °C", "C", -10, "C"),
            ("14 degF", "C", 14, "F"),
            ("80%", "ratio", 80, "%"),
            ("80 percent", "ratio", 80, "%"),
            ("2.14", "ratio", 2.14, "ratio"),
            ("1000 ft/min", "fpm", 1000, "fpm"),
            ("3.2 litres per minute", "L/min", 3.2, "L/min"),
            ("150 in²", "in2", 150, "in2"),
        ],
    )
    def test_reading(self, typed, asked, value, unit):
        """Value, unit and the typed text are kept."""
        read = read_quantity(typed, unit=asked)

        assert read.unit == unit
        assert read.value_si == pytest.approx(to_si(value, unit), rel=1e-15)
        assert read.typed == typed

    @pytest.mark.parametrize(
        ("typed", "value"), [("8,700", 8.7), ("8,7", 8.7), ("0,300", 0.3), ("1,000,000", 1e6), ("12,345", 12.345)]
    )
    def test_comma_is_decimal_where_answers_stay_small(self, typed, value):
        """Three digits after one comma are decimals there; two commas are thousands still."""
        read = read_quantity(typed, unit="psi", answers_below_100=True)

        assert read.value_si == pytest.approx(to_si(value, "psi"))

    def test_sixty_characters_are_read(self):
        """The longest text that is read, and one character more."""
        assert read_quantity("0" * 56 + "5 ft", unit="ft").value_si == pytest.approx(5 * FT)
        with pytest.raises(InputError, match=r"^0{20}\.\.\. cannot be read as a number: it is too long for a number"):
            read_quantity("0" * 57 + "5 ft", unit="ft")

    def test_flight_level_in_feet(self):
        """FL055 is 5,500 ft."""
        assert from_si(read_quantity("FL055", unit="ft").value_si, "ft") == pytest.approx(5500)


class TestWhatIsRefused:
    """Unreadable texts give a sentence, never a number."""

    @pytest.mark.parametrize(
        "typed",
        [
            *("", " ", "\u00a0", "ft", "-", "--5", "+-5", "5-", ".", ",", "%", "''"),
            *("5,5,0", "5,500,00", "5.5.5", "5.500,5", "5,500 500", "5 50", "50 0000", "12 34", "1,23,456"),
            *("1 000,000,0", "1e3", "1E3", "nan", "inf", "-inf", "Infinity", "NaN", "0x10", "1_000", "five", "5 ft 3"),
            *("1:30", "5/2", "5*2", "(5)", "٣", "５", "²", "½", "٠", "5\x00", "\x00", "5\x1f", "\ud800", "5\udfff"),
            *("5\n6", "5\r", "5\x7f", "9" * 400, "9" * 61, "FL", "FL0555", "FL-55", "FL5.5", "-FL055", "5 xyzzy"),
            *("fl\u0131ght level 55", "5 psi psi", "0,500,000", "5 <b>", "5\u200b", "😀", "5 😀", "' or 1=1", "5;"),
        ],
    )  # fmt: skip
    def test_unreadable(self, typed):
        """Each is an InputError with the reference that views show beside the field."""
        with pytest.raises(InputError) as error:
            read_quantity(typed, unit="ft")

        assert error.value.reference == "quantity-unreadable"
        assert error.value.what
        assert error.value.mend
        str(error.value).encode("utf-8")  # a lone surrogate must not come back raw
        assert "\x00" not in str(error.value)
        assert len(str(error.value)) < 400

    @pytest.mark.parametrize(
        ("typed", "asked"), [("17 min", "ft"), ("8.7 psi", "ft"), ("FL055", "psi"), ("5 ft", "ratio"), ("5 %", "ft")]
    )
    def test_another_dimension(self, typed, asked):
        """A unit of another dimension is no answer, and the sentence says what was asked for."""
        with pytest.raises(InputError) as error:
            read_quantity(typed, unit=asked)

        assert error.value.reference == "quantity-dimension"

    @pytest.mark.parametrize(
        ("typed", "whole"),
        [
            (
                "17 min",
                "'17 min' is a time, but a length or altitude is asked for - "
                "type a number, with or without a unit (m, ft, FL, km, NM, in)",
            ),
            ("", "nothing was typed - type a number, with or without a unit (m, ft, FL, km, NM, in)"),
            (
                "5,5,0",
                "'5,5,0' cannot be read as a number: its digits can be read in more than one way - "
                "type a number, with or without a unit (m, ft, FL, km, NM, in)",
            ),
            (
                "5500 fet",
                "'fet' is not a unit that can be read here, in '5500 fet' - "
                "did you mean 'ft'? Accepted: m, ft, FL, km, NM, in",
            ),
            (
                "five",
                "'five' cannot be read as a number - type a number, with or without a unit (m, ft, FL, km, NM, in)",
            ),
        ],
    )  # fmt: skip
    def test_sentence(self, typed, whole):
        """What the learner reads, word for word."""
        with pytest.raises(InputError) as error:
            read_quantity(typed, unit="ft")

        assert str(error.value) == whole

    def test_unknown_asked_unit_is_our_fault(self):
        """The shown unit must be of the table."""
        with pytest.raises(InputError) as error:
            read_quantity("5", unit="furlong")

        assert error.value.reference == "unit-unknown"

    @given(st.text(max_size=80), st.sampled_from(sorted(UNITS)), st.booleans())
    def test_any_text_is_read_or_refused(self, typed, asked, below):
        """No text gives another exception or a number that is not finite."""
        try:
            read = read_quantity(typed, unit=asked, answers_below_100=below)
        except InputError as error:
            assert error.reference in {"quantity-unreadable", "quantity-dimension"}
        else:
            assert math.isfinite(read.value_si)


class TestPrinting:
    """How a quantity stands on the screen."""

    @pytest.mark.parametrize(
        ("value", "unit", "decimals", "printed"),
        [
            (6506.2, "ft", 0, "6,506 ft"),
            (6506.2, "ft", -2, "6,500 ft"),
            (6550, "ft", -2, "6,600 ft"),
            (8.2, "psi", 1, "8.2 psi"),
            (8.7, "psi", 0, "9 psi"),
            (2.675, "ft", 2, "2.68 ft"),
            (2.5, "min", 0, "3 min"),
            (-2.5, "min", 0, "-3 min"),
            (-0.4, "ft", 0, "0 ft"),
            (-49, "ft", -2, "0 ft"),
            (-50, "ft", -2, "-100 ft"),
            (0, "ft", 0, "0 ft"),
            (-168, "ft", 0, "-168 ft"),
            (330, "FL", 0, "FL330"),
            (55, "FL", 0, "FL055"),
            (5, "FL", 2, "FL005"),
            (0, "FL", 0, "FL000"),
            (-0.4, "FL", 0, "FL000"),
            (-10, "FL", 0, "-FL010"),
            (-10, "C", 0, "-10 C"),
            (80, "%", 0, "80 %"),
            (2.138, "ratio", 2, "2.14"),
            (1234567.891, "ratio", 1, "1,234,567.9"),
        ],
    )  # fmt: skip
    def test_printed(self, value, unit, decimals, printed):
        """Rounded half up, thousands by comma, no minus before zero."""
        assert format_quantity(to_si(value, unit), unit, decimals) == printed

    def test_huge_and_not_finite(self):
        """A number without meaning is printed short or refused."""
        assert format_quantity(1e200, "m", 2) == "1.000000e+200 m"
        assert format_quantity(-1e15, "m", 2) == "-1.000000e+15 m"
        assert format_quantity(999_999_999_999_000, "m", -3) == "999,999,999,999,000 m"
        for value in (math.nan, math.inf):
            with pytest.raises(OutOfRangeError):
                format_quantity(value, "ft", 0)

    @given(st.floats(-1e6, 1e6), st.sampled_from(["ft", "psi", "min", "L", "A", "in2", "NM"]))
    def test_what_is_printed_can_be_read(self, value, unit):
        """Reading the printed quantity gives it back to its digits."""
        printed = format_quantity(to_si(value, unit), unit, 2)
        read = read_quantity(printed, unit=unit)

        assert read.unit == unit
        assert from_si(read.value_si, unit) == pytest.approx(value, abs=0.00500001 + 1e-9 * abs(value))


def test_a_pressure_setting_has_no_thousands_comma():
    """QNH is said and written as four plain digits (common practice, no source)."""
    assert format_quantity(101325.0, "hPa", 0) == "1013 hPa"
