"""The sections of an aircraft file. Values are SI; the units below are those of the file."""

from __future__ import annotations

from dataclasses import dataclass

from quizsvc.aircraft.fields import count, node, pairs, part, quantity, table, text, texts

__all__ = [
    "Airfield",
    "Battery",
    "Bleed",
    "CrewTarget",
    "Dump",
    "Electrical",
    "FlowRow",
    "General",
    "Generators",
    "HighField",
    "Manual",
    "Oxygen",
    "Performance",
    "Pressurisation",
    "Roles",
    "SafetyAltitudes",
]


@dataclass(frozen=True)
class General:
    """What the aircraft is called."""

    name: str = text()
    short: str = text()
    seats_crew: float = count()
    seats_pax: float = count()
    handbook: str = text()


@dataclass(frozen=True)
class CruiseLeg:
    """When the controller takes the flight for level."""

    band: float = quantity("ft", positive=True)
    for_: float = quantity("s")


@dataclass(frozen=True)
class DescentLeg:
    """When the controller takes the flight for descending, and what climb ends that."""

    below_highest: float = quantity("ft", positive=True)
    for_: float = quantity("s")
    unlatch_climb: float = quantity("ft", positive=True)


@dataclass(frozen=True)
class LandingKnob:
    """Range and steps of the landing field setting."""

    min: float = quantity("ft")
    max: float = quantity("ft")
    step: float = quantity("ft", positive=True)


@dataclass(frozen=True)
class DepartureHold:
    """Highest field from which the cabin is held until the schedule asks for more."""

    max_field: float = quantity("ft")


@dataclass(frozen=True)
class Leak:
    """Largest leak, at a differential."""

    flow: float = quantity("lb/min")
    at_diff: float = quantity("psi", positive=True)


@dataclass(frozen=True)
class Pressurisation:
    """Limits, schedule, rates and landing rules of the cabin pressure controller."""

    ceiling: float = quantity("ft", positive=True)
    diff_control_limit: float = quantity("psi", positive=True)
    relief_crack_diff: float = quantity("psi", positive=True)
    relief_full_open_diff: float = quantity("psi", positive=True)
    red_line_diff: float = quantity("psi", positive=True)
    warn_diff: float = quantity("psi", positive=True)
    negative_relief: float = quantity("psi")
    landing_diff_limit: float = quantity("psi", positive=True)
    door_interlock_diff: float = quantity("psi", positive=True)
    schedule: tuple[tuple[float, float], ...] = pairs("ft")
    schedule_diff_at_ceiling: float = quantity("psi", positive=True)
    cabin_up_limit: float = quantity("fpm", positive=True)
    cabin_down_limit: float = quantity("fpm", positive=True)
    touchdown_rate: float = quantity("fpm", positive=True)
    touchdown_full_open: float = quantity("s")
    cruise_leg: CruiseLeg = part(CruiseLeg)
    descent_leg: DescentLeg = part(DescentLeg)
    return_to_field_below: float = quantity("ft")
    ldg_knob: LandingKnob = part(LandingKnob)
    ldg_target_offset: float = quantity("ft")
    departure_hold: DepartureHold = part(DepartureHold)
    cabin_volume: float = quantity("ft3", positive=True)
    max_leak: Leak = part(Leak)
    cabin_temp: float = quantity("C")
    # How long the valves of a dead controller take to close.
    valves_close: float | None = quantity("s", positive=True, optional=True)


@dataclass(frozen=True)
class DepartureShiftEnd:
    """What ends the shifted warning after a high departure, whichever comes first."""

    cabin_below: float = quantity("ft")
    aircraft_above: float = quantity("ft")


@dataclass(frozen=True)
class HighField:
    """The regime for high landing fields."""

    switch_ldg_above: float = quantity("ft")
    gate_aircraft_below: float = quantity("ft")
    ldg_target_offset: float = quantity("ft")
    warn_shifted: float = quantity("ft")
    shift_indication: str = text()
    departure_warn_shift_until: DepartureShiftEnd = part(DepartureShiftEnd)
    max_field_elevation: float = quantity("ft")


@dataclass(frozen=True)
class Recovery:
    """How long other air data must be valid."""

    valid_for: float = quantity("s")


@dataclass(frozen=True)
class CrewTarget:
    """The mode in which the crew sets the cabin target."""

    entry_invalid_for: float = quantity("s")
    initial_target_step: float = quantity("ft", positive=True)
    recover: Recovery = part(Recovery)
    lost: tuple[str, ...] = texts()
    kept: tuple[str, ...] = texts()
    placard_offset: float = quantity("ft")
    placard: tuple[tuple[float, float], ...] = pairs("ft")
    landing_target_offset: float = quantity("ft")
    max_landing_elevation: float = quantity("ft")


@dataclass(frozen=True)
class Manual:
    """The manual control."""

    control: str = text()
    muscle: str = text()
    min_diff_without_bleed: float = quantity("psi")


@dataclass(frozen=True)
class Dump:
    """The dump switch; `node` is its place in the graph."""

    switch: str = text()
    node: str = text()
    effect: str = text()
    last_resort_below: float = quantity("ft")
    # How long an opened cabin takes to be at the outside pressure.
    equalise: float | None = quantity("s", positive=True, optional=True)


@dataclass(frozen=True)
class Threshold:
    """A nominal altitude and how far a unit may be off it."""

    nominal: float = quantity("ft")
    tolerance: float = quantity("ft")


@dataclass(frozen=True)
class SafetyAltitudes:
    """Cabin altitudes at which something protects."""

    cab_alt_warn: float = quantity("ft")
    limiter: Threshold = part(Threshold)
    pax_mask_auto: Threshold = part(Threshold)


@dataclass(frozen=True)
class Bleed:
    """Air supply."""

    flow_each: float = quantity("lb/min", positive=True)
    flow_emer: float = quantity("lb/min", positive=True)
    single_source_max: float = quantity("ft")
    emer_max: float = quantity("ft")
    duct_overheat: float = quantity("C")
    valves: str = text()


@dataclass(frozen=True)
class FlowRow:
    """Oxygen flow of one mask at a cabin altitude."""

    cabin: float = quantity("ft")
    flow: float = quantity("L/min", positive=True)


@dataclass(frozen=True)
class Oxygen:
    """The bottle and what is drawn from it."""

    bottle_capacity: float = quantity("L", positive=True)
    normal_temp: float = quantity("C")
    normal_pressure: float = quantity("hPa")
    bottle_full: float = quantity("psi", positive=True)
    bottle_ref_temp: float = quantity("C")
    unusable_below: float = quantity("psi")
    low_caution: float = quantity("psi")
    green_disc: float = quantity("psi")
    pax_masks: float = count()
    pax_mask_flow: float = quantity("L/min", positive=True)
    crew_minute_volume: float = quantity("L/min", positive=True)
    crew_100pct: tuple[FlowRow, ...] = table(FlowRow)
    crew_norm: tuple[FlowRow, ...] = table(FlowRow)


@dataclass(frozen=True)
class Generators:
    """The generators; above `limit_high_above` the lower limit holds."""

    count: float = count()
    rated: float = quantity("A", positive=True)
    limit_high: float = quantity("A", positive=True)
    limit_high_above: float = quantity("ft")


@dataclass(frozen=True)
class Battery:
    """Capacity, what of it may be counted on, and the time in the book."""

    capacity: float = quantity("Ah", positive=True)
    usable_fraction: float = count()
    book: float = quantity("min", positive=True)


@dataclass(frozen=True)
class Electrical:
    """Sources and loads; `emergency_buses` are those that the battery carries alone."""

    nominal: float = quantity("V", positive=True)
    generators: Generators = part(Generators)
    load_normal: float = quantity("A")
    load_shed_on_single_gen: float = quantity("A")
    emergency_buses: tuple[str, ...] = texts()
    emergency_load: float = quantity("A", positive=True)
    battery: Battery = part(Battery)


@dataclass(frozen=True)
class Performance:
    """Emergency descent by the book."""

    emergency_descent_avg: float = quantity("fpm", positive=True)
    emergency_descent_no_speedbrake_avg: float = quantity("fpm", positive=True)
    emergency_descent_level: float = quantity("ft")


@dataclass(frozen=True)
class Roles:
    """Which node of the graph plays which part, so that no code needs the node's name; None where none does.

    `automatic` is the control by itself, `crew_target` that to a target set by the crew, `controller` the box behind
    both, `inflow` the air supply, `manual` the manual control and `muscle` what moves it, `dump` the full opening,
    `warning` the cabin altitude warning, `masks` the automatic drop, `speedbrakes` what makes a descent fast.
    """

    automatic: str | None = node()
    crew_target: str | None = node()
    controller: str | None = node()
    inflow: str | None = node()
    manual: str | None = node()
    muscle: str | None = node()
    dump: str | None = node()
    warning: str | None = node()
    masks: str | None = node()
    speedbrakes: str | None = node()


@dataclass(frozen=True)
class Airfield:
    """An airfield and its published elevation."""

    name: str = text()
    id: str = text()
    elevation_m: float = quantity("ft", word="elevation")
    role: str = text()
