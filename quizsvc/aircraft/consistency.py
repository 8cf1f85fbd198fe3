"""Whether the numbers of an aircraft file agree with each other and with the standard atmosphere.

Each rule names both numbers that disagree. The frame of some rules is a regulation, used as plausibility only: an
aircraft described for training has no certification basis.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Literal

from quizsvc.aircraft.fields import Path
from quizsvc.aircraft.model import Aircraft
from quizsvc.aircraft.pressurisation import differential, schedule
from quizsvc.physics.atmosphere import pressure
from quizsvc.physics.constants import FOOT, LOWEST_ALTITUDE
from quizsvc.physics.units import format_quantity, to_si

__all__ = ["Contradiction", "altitude_contradictions", "pressure_contradictions"]

# 14 CFR 25.841(a) (read as of April 2021): cabin at most 8,000 ft at the maximum operating altitude.
HIGHEST_CABIN_AT_CEILING = 8_000 * FOOT
# 14 CFR 25.841(b)(6) (read as of April 2021): warning at 10,000 ft.
HIGHEST_PLAIN_WARNING = 10_000 * FOOT
# 14 CFR 25.1447(c)(1) (from memory): passenger masks presented before the cabin exceeds 15,000 ft.
MASKS_BEFORE = 15_000 * FOOT

SCAN_STEP = 250 * FOOT
"""Step at which the schedule is compared with the atmosphere between its rows, m."""
SAME_ALTITUDE = 0.5 * FOOT
"""Altitudes that agree to the printed foot, m."""
SAME_DIFFERENTIAL = to_si(0.005, "psi")
"""Differentials that agree to the printed hundredth of a psi, Pa."""


@dataclass(frozen=True)
class Contradiction:
    """Numbers of a file that disagree, and the place of one of them."""

    path: Path
    reference: str
    what: str
    mend: str
    severity: Literal["fault", "remark"] = "fault"


def ft(value_m: float) -> str:
    """An altitude for a finding."""
    return format_quantity(value_m, "ft", 0)


def psi(value_pa: float) -> str:
    """A pressure for a finding."""
    return format_quantity(value_pa, "psi", 2)


@dataclass(frozen=True)
class Named:
    """A number with its words in the file, so that a ladder of numbers can be checked pair by pair."""

    words: str
    value: float
    path: Path


def rising(
    ladder: list[Named], reference: str, print_value: Callable[[float], str], mend: str
) -> Iterator[Contradiction]:
    """A contradiction for each rung that is not below the next."""
    for lower, upper in zip(ladder, ladder[1:], strict=False):
        if not lower.value < upper.value - 1e-9 * abs(upper.value):
            yield Contradiction(
                upper.path,
                reference,
                f"{lower.words} ({print_value(lower.value)}) is not below {upper.words} ({print_value(upper.value)})",
                mend,
            )


def at_most(value: Named, limit: Named, reference: str, print_value: Callable[[float], str]) -> Iterator[Contradiction]:
    """A contradiction where a number exceeds another."""
    if value.value > limit.value + 1e-9 * abs(limit.value):
        yield Contradiction(
            value.path,
            reference,
            f"{value.words} ({print_value(value.value)}) is more than {limit.words} ({print_value(limit.value)})",
            f"lower '{value.path[-1]}' or raise the other",
        )


def pressure_contradictions(aircraft: Aircraft) -> Iterator[Contradiction]:
    """Schedule, placard and limits against the standard atmosphere and each other.

    Parameters
    ----------
    aircraft : Aircraft
        A description that was read without faults.

    Yields
    ------
    Contradiction
        One for each rule that is broken.
    """
    rows_rise = True
    for word, table in _tables(aircraft):
        for i, (lower, upper) in enumerate(zip(table, table[1:], strict=False)):
            if not (lower[0] < upper[0] and lower[1] < upper[1]):
                rows_rise = False
                yield Contradiction(
                    (*word, i + 1),
                    "aircraft-rows-not-rising",
                    f"'{word[-1]}' does not rise from {ft(lower[0])} -> {ft(lower[1])} "
                    f"to {ft(upper[0])} -> {ft(upper[1])}",
                    "sort the rows, and let level and cabin rise from each to the next",
                )
        if abs(table[-1][0] - aircraft.pressurisation.ceiling) > SAME_ALTITUDE:
            rows_rise = False
            yield Contradiction(
                (*word, len(table) - 1, 0),
                "aircraft-table-top",
                f"the top row of '{word[-1]}' is at {ft(table[-1][0])}, "
                f"the ceiling at {ft(aircraft.pressurisation.ceiling)}",
                "let the table end at the ceiling",
            )
    yield from _limits(aircraft)
    if rows_rise:
        yield from _schedule(aircraft)
        yield from _placard(aircraft)


def _tables(aircraft: Aircraft) -> Iterator[tuple[Path, tuple[tuple[float, float], ...]]]:
    yield ("pressurisation", "schedule_ft"), aircraft.pressurisation.schedule
    if aircraft.crew_target is not None:
        yield ("crew_target", "placard_ft"), aircraft.crew_target.placard


def _limits(aircraft: Aircraft) -> Iterator[Contradiction]:
    p = aircraft.pressurisation
    front = ("pressurisation",)
    control = Named("the control limit", p.diff_control_limit, (*front, "diff_control_limit_psi"))
    crack = Named("the relief crack", p.relief_crack_diff, (*front, "relief_crack_diff_psi"))
    warn = Named("the CABIN DIFF warning", p.warn_diff, (*front, "warn_diff_psi"))
    full = Named("relief full open", p.relief_full_open_diff, (*front, "relief_full_open_diff_psi"))
    red = Named("the red line", p.red_line_diff, (*front, "red_line_diff_psi"))
    landing = Named("the landing limit", p.landing_diff_limit, (*front, "landing_diff_limit_psi"))
    door = Named("the door interlock", p.door_interlock_diff, (*front, "door_interlock_diff_psi"))
    zero = Named("zero", 0.0, (*front, "negative_relief_psi"))
    negative = Named("the negative relief", p.negative_relief, (*front, "negative_relief_psi"))
    mend = "put the limits in order: control, relief crack, full open, red line"
    yield from rising([control, crack, full], "aircraft-relief-order", psi, mend)
    yield from rising([crack, warn], "aircraft-relief-order", psi, "let the warning come after the relief heads crack")
    yield from rising(
        [door, landing, control], "aircraft-landing-limit", psi, "let door, landing and control limits rise"
    )
    yield from rising([negative, zero], "aircraft-negative-relief", psi, "write the negative relief below zero")
    yield from at_most(full, red, "aircraft-relief-order", psi)
    yield from at_most(warn, red, "aircraft-relief-order", psi)

    # A landing with the target met leaves the differential of the offset; it is largest low down, where air is densest.
    lowest = max(p.ldg_knob.min, LOWEST_ALTITUDE, LOWEST_ALTITUDE - p.ldg_target_offset)
    left = pressure(lowest + p.ldg_target_offset) - pressure(lowest)
    if left > p.landing_diff_limit:
        yield Contradiction(
            (*front, "ldg_target_offset_ft"),
            "aircraft-landing-limit",
            f"a landing at {ft(lowest)} with the target {ft(p.ldg_target_offset)} off leaves {psi(left)}, "
            f"the landing limit is {psi(p.landing_diff_limit)}",
            "take a smaller offset or a higher limit",
        )


def _schedule(aircraft: Aircraft) -> Iterator[Contradiction]:
    p = aircraft.pressurisation
    place = ("pressurisation", "schedule_ft")
    levels = _scan(p.schedule[0][0], p.ceiling) + [level for level, _ in p.schedule]
    worst = max(levels, key=lambda level: differential(level, schedule(aircraft, level)))
    asked = differential(worst, schedule(aircraft, worst))
    if asked >= p.diff_control_limit:
        yield Contradiction(
            place,
            "aircraft-schedule-differential",
            f"at {ft(worst)} the schedule asks for {psi(asked)}, the control limit is {psi(p.diff_control_limit)}",
            "raise the cabin there or the limit",
        )
    for i, (level, cabin) in enumerate(p.schedule):
        if cabin > level:
            yield Contradiction(
                (*place, i),
                "aircraft-schedule-above-aircraft",
                f"at {ft(level)} the schedule asks for a cabin of {ft(cabin)}, above the aircraft",
                "lower the cabin of this row",
            )
    top = p.schedule[-1][1]
    computed = differential(p.ceiling, top)
    if abs(computed - p.schedule_diff_at_ceiling) > SAME_DIFFERENTIAL:
        yield Contradiction(
            ("pressurisation", "schedule_diff_at_ceiling_psi"),
            "aircraft-schedule-differential",
            f"the file gives {psi(p.schedule_diff_at_ceiling)} at the ceiling, its schedule gives {psi(computed)}",
            f"write {psi(computed).removesuffix(' psi')}, or change the top row",
        )
    if top > HIGHEST_CABIN_AT_CEILING + SAME_ALTITUDE:
        yield Contradiction(
            (*place, len(p.schedule) - 1, 1),
            "aircraft-cabin-at-ceiling",
            f"the cabin at the ceiling is {ft(top)}, more than {ft(HIGHEST_CABIN_AT_CEILING)}",
            "lower the top row's cabin, or the ceiling",
        )
    if abs(top - p.departure_hold.max_field) > SAME_ALTITUDE:
        yield Contradiction(
            ("pressurisation", "departure_hold", "max_field_ft"),
            "aircraft-hold-top",
            f"the hold ends for fields above {ft(p.departure_hold.max_field)}, the schedule at a cabin of {ft(top)}",
            "let the highest field with a hold be the top of the schedule",
        )


def _scan(lowest: float, highest: float) -> list[float]:
    steps = int((highest - lowest) / SCAN_STEP) + 1
    return [min(lowest + i * SCAN_STEP, highest) for i in range(steps)]


def _placard(aircraft: Aircraft) -> Iterator[Contradiction]:
    crew = aircraft.crew_target
    if crew is None:
        return
    for i, (level, cabin) in enumerate(crew.placard):
        expected = schedule(aircraft, level) + crew.placard_offset
        if abs(cabin - expected) > SAME_ALTITUDE:
            yield Contradiction(
                ("crew_target", "placard_ft", i, 1),
                "aircraft-placard",
                f"at {ft(level)} the placard says {ft(cabin)}, schedule and offset make {ft(expected)}",
                f"write {ft(expected).removesuffix(' ft')}, or change schedule or offset",
            )
        asked = differential(level, cabin)
        if asked >= aircraft.pressurisation.relief_crack_diff:
            yield Contradiction(
                ("crew_target", "placard_ft", i),
                "aircraft-placard-differential",
                f"at {ft(level)} the placard asks for {psi(asked)}, "
                f"the relief heads crack at {psi(aircraft.pressurisation.relief_crack_diff)}",
                "raise the cabin of this row",
            )


def altitude_contradictions(aircraft: Aircraft) -> Iterator[Contradiction]:
    """The ladder of cabin altitudes, the landing regimes, the knob and the airfields against each other.

    Parameters
    ----------
    aircraft : Aircraft
        A description that was read without faults.

    Yields
    ------
    Contradiction
        One for each rule that is broken.
    """
    p, safety, high, crew = (
        aircraft.pressurisation,
        aircraft.safety_altitudes,
        aircraft.high_field,
        aircraft.crew_target,
    )
    knob = ("pressurisation", "ldg_knob")
    knob_max = Named("the knob's highest setting", p.ldg_knob.max, (*knob, "max_ft"))
    knob_min = Named("the knob's lowest setting", p.ldg_knob.min, (*knob, "min_ft"))
    warn = Named("CABIN ALT", safety.cab_alt_warn, ("safety_altitudes", "cab_alt_warn_ft"))
    ceiling = Named("the ceiling", p.ceiling, ("pressurisation", "ceiling_ft"))
    yield from rising([knob_min, knob_max], "aircraft-knob", ft, "swap min_ft and max_ft")
    cabin = Named("the cabin at the ceiling", p.schedule[-1][1], ("pressurisation", "schedule_ft", len(p.schedule) - 1))
    yield from rising([cabin, warn], "aircraft-altitude-ladder", ft, "raise the warning or lower the schedule")

    ladder = [warn]
    if high is not None:
        front = ("high_field",)
        highest_field = Named("the highest field", high.max_field_elevation, (*front, "max_field_elevation_ft"))
        switch = Named("the high-field switch", high.switch_ldg_above, (*front, "switch_ldg_above_ft"))
        gate = Named("the gate", high.gate_aircraft_below, (*front, "gate_aircraft_below_ft"))
        target = high.max_field_elevation + high.ldg_target_offset
        shifted = Named("the shifted CABIN ALT", high.warn_shifted, (*front, "warn_shifted_ft"))
        ladder += [Named("the highest target", target, (*front, "ldg_target_offset_ft")), shifted]
        normal = Named(
            "the highest normal target",
            high.switch_ldg_above + p.ldg_target_offset,
            (*front, "switch_ldg_above_ft"),
        )
        until = high.departure_warn_shift_until
        end = Named(
            "the end of the departure shift",
            until.cabin_below,
            (*front, "departure_warn_shift_until", "cabin_below_ft"),
        )
        yield from rising([normal, warn], "aircraft-altitude-ladder", ft, "lower the switch or raise the warning")
        yield from rising([end, warn], "aircraft-departure-shift", ft, "end the shift below the plain warning")
        yield from rising(
            [switch, highest_field], "aircraft-high-field", ft, "let the highest field lie above the switch"
        )
        yield from rising([shifted, gate], "aircraft-high-field", ft, "let the gate lie above the shifted warning")
        yield from rising([gate, ceiling], "aircraft-high-field", ft, "let the gate lie below the ceiling")
        yield from at_most(highest_field, knob_max, "aircraft-knob", ft)
    limiter, masks = safety.limiter, safety.pax_mask_auto
    at = ("safety_altitudes", "limiter", "nominal_ft")
    ladder += [
        Named("the limiter's low end", limiter.nominal - limiter.tolerance, at),
        Named("the limiter's high end", limiter.nominal + limiter.tolerance, at),
    ]
    at = ("safety_altitudes", "pax_mask_auto", "nominal_ft")
    ladder += [
        Named("the masks' low end", masks.nominal - masks.tolerance, at),
        Named("the masks' high end", masks.nominal + masks.tolerance, at),
        Named("the mask rule", MASKS_BEFORE, at),
    ]
    yield from rising(ladder, "aircraft-altitude-ladder", ft, "leave room between each altitude and the next")
    if safety.cab_alt_warn > HIGHEST_PLAIN_WARNING + SAME_ALTITUDE:
        yield Contradiction(
            warn.path,
            "aircraft-warning-high",
            f"CABIN ALT at {ft(safety.cab_alt_warn)} is above the usual {ft(HIGHEST_PLAIN_WARNING)}",
            "check it",
            "remark",
        )
    if crew is not None:
        limit = Named(
            "the crew-target landing limit", crew.max_landing_elevation, ("crew_target", "max_landing_elevation_ft")
        )
        yield from rising(
            [limit, warn], "aircraft-altitude-ladder", ft, "lower the limit: the warning does not shift there"
        )
    yield from _airfields(aircraft)


def _airfields(aircraft: Aircraft) -> Iterator[Contradiction]:
    high, knob = aircraft.high_field, aircraft.pressurisation.ldg_knob
    highest = high.max_field_elevation if high is not None else knob.max
    seen: dict[str, int] = {}
    for i, airfield in enumerate(aircraft.airfields):
        place = ("airfields", i, "elevation_ft")
        if airfield.elevation_m > highest:
            yield Contradiction(
                place,
                "aircraft-airfield-range",
                f"{airfield.name} lies at {ft(airfield.elevation_m)}, the highest field is {ft(highest)}",
                "correct one of them",
            )
        if airfield.elevation_m < knob.min:
            yield Contradiction(
                place,
                "aircraft-airfield-range",
                f"{airfield.name} lies at {ft(airfield.elevation_m)}, the knob ends at {ft(knob.min)}",
                "correct one of them",
            )
        for word in (airfield.name, airfield.id):
            if word in seen:
                yield Contradiction(
                    ("airfields", i),
                    "aircraft-airfield-twice",
                    f"airfield {i + 1} is called '{word}' as airfield {seen[word] + 1} is",
                    "give each its own name and id",
                )
            seen[word] = i
