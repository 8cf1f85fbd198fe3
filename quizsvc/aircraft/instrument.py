"""The cabin instrument of an aircraft: two dials whose scales and coloured bands come from the aircraft's own numbers.

What is returned is a picture description (`quizsvc.pictures`): JSON-able, in the units that the instrument shows.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from quizsvc.aircraft.model import Aircraft
from quizsvc.errors import OutOfRangeError
from quizsvc.physics.units import to_si

__all__ = ["DIALS", "Dial", "cabin_gauge", "dials", "off_the_dial"]

DIALS: Mapping[str, str] = {"cabin": "ft", "differential": "psi"}
"""The dials by id, with the unit in which people give a reading."""

_THOUSAND = 1000.0
_SMALL = 0.2
"""Smallest mark of both scales, in the scale's unit: thousands of feet and psi."""
_MOST_NUMBERS = 12


@dataclass(frozen=True)
class Dial:
    """One scale: what stands on it, in its own unit; `per_si` turns a value in SI into that."""

    id: str
    label: str
    unit: str
    low: float
    high: float
    major: float
    minor: float
    bands: tuple[tuple[float, float, str], ...]
    per_si: float

    def shown(self, value_si: float) -> float:
        """A value as the scale counts it.

        Parameters
        ----------
        value_si : float
            Cabin altitude, m, or differential, Pa.

        Returns
        -------
        float
            In thousands of feet, or in psi.
        """
        return float(f"{value_si * self.per_si:.9g}")

    @property
    def finest(self) -> float:
        """A quarter of the smallest mark, SI: an eye tells no finer."""
        return self.minor / self.per_si / 4


def dials(aircraft: Aircraft) -> dict[str, Dial]:
    """The dials of an aircraft's cabin instrument.

    Parameters
    ----------
    aircraft : Aircraft
        The described aircraft.

    Returns
    -------
    dict of str to Dial
        `cabin` from below the lowest landing field to above the highest mask drop, amber from the warning and red from
        the masks on; `differential` from below the negative relief to above the red line, amber below zero where the
        negative relief opens and from the warning, red from the red line on.
    """
    p, safety = aircraft.pressurisation, aircraft.safety_altitudes
    masks = safety.pax_mask_auto
    thousand, psi = 1 / to_si(_THOUSAND, "ft"), 1 / to_si(1.0, "psi")
    cabin = _scale(
        p.ldg_knob.min * thousand,
        (masks.nominal + masks.tolerance) * thousand,
        ((safety.cab_alt_warn * thousand, "amber"), ((masks.nominal - masks.tolerance) * thousand, "red")),
    )
    differential = _scale(
        p.negative_relief * psi,
        max(p.red_line_diff, p.relief_full_open_diff) * psi,
        ((p.warn_diff * psi, "amber"), (p.red_line_diff * psi, "red")),
        below=p.negative_relief * psi,
    )
    return {
        "cabin": Dial("cabin", "CABIN ALT", "x 1,000 ft", *cabin, thousand),
        "differential": Dial("differential", "DIFF", "psi", *differential, psi),
    }


def _scale(
    lowest: float, highest: float, bands: tuple[tuple[float, str], ...], below: float | None = None
) -> tuple[float, float, float, float, tuple[tuple[float, float, str], ...]]:
    """Ends, marks and bands of a scale that shows these values with room at both ends."""
    major = next(
        (step for step in (1.0, 2.0, 5.0, 10.0) if (highest - lowest) / step <= _MOST_NUMBERS), 20.0
    )  # fmt: skip
    low = math.floor((lowest - 1e-9) / major) * major
    high = math.ceil((highest + 1e-9) / major) * major
    found = [] if below is None else [(low, float(f"{below:.9g}"), "amber")]
    for (start, colour), (end, _) in zip(bands, (*bands[1:], (high, "")), strict=True):
        found.append((float(f"{start:.9g}"), float(f"{min(end, high):.9g}"), colour))
    return low, high, major, _SMALL * max(1.0, major / 2), tuple(found)


def off_the_dial(dial: Dial, value_si: float) -> bool:
    """Whether a value lies outside the scale, so that the pointer could not show it.

    Parameters
    ----------
    dial : Dial
        The scale.
    value_si : float
        Cabin altitude, m, or differential, Pa.

    Returns
    -------
    bool
        An end of the scale counts as on it.
    """
    return not dial.low - 1e-9 <= dial.shown(value_si) <= dial.high + 1e-9


def cabin_gauge(
    aircraft: Aircraft, cabin_m: float, differential_pa: float, *, readings: bool = False
) -> dict[str, Any]:
    """The cabin instrument at one moment.

    Parameters
    ----------
    aircraft : Aircraft
        The described aircraft.
    cabin_m : float
        Cabin altitude, m.
    differential_pa : float
        Cabin differential, Pa.
    readings : bool
        Whether the picture says what the pointers show.

    Returns
    -------
    dict
        A picture description of type `gauge`.

    Raises
    ------
    OutOfRangeError
        A value that lies off its dial.
    """
    found = dials(aircraft)
    shown = []
    for dial, value in ((found["cabin"], cabin_m), (found["differential"], differential_pa)):
        if off_the_dial(dial, value):
            raise OutOfRangeError(
                "gauge-off-dial",
                f"{dial.shown(value):g} is off the {dial.label} dial, which runs from {dial.low:g} to {dial.high:g} "
                f"{dial.unit}",
                mend="give a value on the dial",
            )
        shown.append(
            {
                "id": dial.id,
                "label": dial.label,
                "unit": dial.unit,
                "low": dial.low,
                "high": dial.high,
                "major": dial.major,
                "minor": dial.minor,
                "value": dial.shown(value),
                "bands": [{"from": start, "to": end, "colour": colour} for start, end, colour in dial.bands],
            }
        )
    return {"type": "gauge", "dials": shown, "readings": readings}
