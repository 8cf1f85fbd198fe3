"""The cabin instrument: scales and bands come from the file's own numbers, for any aircraft."""

from __future__ import annotations

import pytest

from quizsvc.aircraft.instrument import cabin_gauge, dials, off_the_dial
from quizsvc.errors import OutOfRangeError
from quizsvc.physics.constants import FOOT
from quizsvc.physics.units import to_si
from tests.aircraft.files import TOLQUENNY, VESSANDRY, aircraft_of, edited

TQ, VS = aircraft_of(TOLQUENNY), aircraft_of(VESSANDRY)


class TestScales:
    """Limits of the handbook's sections 21-10 and 31: warning 10,000 ft, masks 14,000 to 14,600; 9.0 and 9.1 psi."""

    def test_cabin_scale_holds_the_lowest_field_and_the_masks(self):
        """From -1,000 ft or lower to 14,600 ft or higher, amber from the warning, red from the first mask drop."""
        dial = dials(TQ)["cabin"]

        assert dial.low <= -1.0
        assert dial.high >= 14.6
        assert [(start, colour) for start, _, colour in dial.bands] == [(10.0, "amber"), (14.0, "red")]
        assert dial.bands[-1][1] == dial.high

    def test_differential_scale_holds_both_reliefs(self):
        """Amber below -0.25 psi and from CABIN DIFF at 9.0, red from the red line at 9.1."""
        dial = dials(TQ)["differential"]

        assert dial.low < -0.25
        assert dial.high > 9.1
        assert [(start, end) for start, end, colour in dial.bands if colour == "red"] == [(9.1, dial.high)]
        assert (9.0, 9.1, "amber") in dial.bands
        assert (dial.low, -0.25, "amber") in dial.bands

    def test_another_aircraft_has_other_bands(self):
        """Vessandry: warning at 9,800 ft, red line at 6.5 psi."""
        found = dials(VS)

        assert found["cabin"].bands[0][0] == 9.8
        assert found["differential"].bands[-1][0] == 6.5
        assert found["differential"].high < 9

    @pytest.mark.parametrize(
        ("old", "new", "dial", "edge"),
        [
            ("{nominal_ft: 14300, tolerance_ft: 300}", "{nominal_ft: 14300, tolerance_ft: 250}", "cabin", 14.05),
            ("warn_diff_psi: 9.0", "warn_diff_psi: 8.95", "differential", 8.95),
            ("negative_relief_psi: -0.25", "negative_relief_psi: -0.5", "differential", -0.5),
        ],
    )
    def test_a_changed_number_moves_its_band(self, old, new, dial, edge):
        """No limit of one aircraft stands in the code."""
        changed = dials(aircraft_of(edited((old, new))))[dial]

        assert edge in [value for start, end, _ in changed.bands for value in (start, end)]


class TestPicture:
    """What is drawn."""

    def test_pointers_stand_at_the_values(self):
        """4,700 ft and 8.9 psi."""
        picture = cabin_gauge(TQ, 4700 * FOOT, to_si(8.9, "psi"))

        assert picture["type"] == "gauge"
        assert [dial["value"] for dial in picture["dials"]] == [4.7, 8.9]
        assert [dial["unit"] for dial in picture["dials"]] == ["x 1,000 ft", "psi"]
        assert picture["readings"] is False

    @pytest.mark.parametrize(("cabin", "differential"), [(17_000, 5.0), (-2_100, 5.0), (5_000, 10.3), (5_000, -1.2)])
    def test_off_the_dial(self, cabin, differential):
        """A pointer past the end of its scale would show another value: refused, with the ends."""
        with pytest.raises(OutOfRangeError, match=r"is off the (CABIN ALT|DIFF) dial, which runs from"):
            cabin_gauge(TQ, cabin * FOOT, to_si(differential, "psi"))

    def test_ends_are_on_the_dial(self):
        """The last mark counts."""
        dial = dials(TQ)["differential"]

        assert not off_the_dial(dial, to_si(dial.high, "psi"))
        assert off_the_dial(dial, to_si(dial.high + 0.01, "psi"))
