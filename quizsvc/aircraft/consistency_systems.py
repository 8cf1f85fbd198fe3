"""Whether bleed, oxygen and electrical of an aircraft file agree with each other; each rule names both sides."""

from __future__ import annotations

from collections.abc import Iterator

from quizsvc.aircraft.consistency import Contradiction, Named, at_most, ft, psi, rising
from quizsvc.aircraft.model import Aircraft
from quizsvc.aircraft.sections import FlowRow, Oxygen
from quizsvc.errors import OutOfRangeError
from quizsvc.physics.gas import breathed_flow
from quizsvc.physics.units import format_quantity, to_si

__all__ = ["system_contradictions"]

# Former 14 CFR 23.1353(h) (from memory): 60 minutes of battery for aeroplanes approved above 25,000 ft.
BATTERY_TIME = to_si(60.0, "min")
BATTERY_TIME_ABOVE = to_si(25_000.0, "ft")

SAME_FLOW = to_si(0.05, "L/min")
"""Flows that agree to the printed tenth of a litre a minute, m3/s."""
SAME_CURRENT = 0.05
"""Loads that agree to the printed tenth of an ampere, A."""


def _flow(value: float) -> str:
    return format_quantity(value, "L/min", 1)


def _amps(value: float) -> str:
    return format_quantity(value, "A", 1)


def _minutes(value: float) -> str:
    return format_quantity(value, "min", 0)


def _air(value: float) -> str:
    return format_quantity(value, "lb/min", 1)


def _fpm(value: float) -> str:
    return format_quantity(value, "fpm", 0)


def _plain(value: float) -> str:
    return format_quantity(value, "ratio", 0)


def system_contradictions(aircraft: Aircraft) -> Iterator[Contradiction]:
    """Bleed, descent, oxygen and electrical numbers against each other.

    Parameters
    ----------
    aircraft : Aircraft
        A description that was read without faults.

    Yields
    ------
    Contradiction
        One for each rule that is broken.
    """
    p = aircraft.pressurisation
    if aircraft.bleed is not None:
        bleed = aircraft.bleed
        single = Named("the single-source limit", bleed.single_source_max, ("bleed", "single_source_max_ft"))
        emergency = Named("the EMER limit", bleed.emer_max, ("bleed", "emer_max_ft"))
        ceiling = Named("the ceiling", p.ceiling, ("pressurisation", "ceiling_ft"))
        leak = Named("the largest leak", p.max_leak.flow, ("pressurisation", "max_leak", "flow_lb_per_min"))
        side = Named("the flow of one side", bleed.flow_each, ("bleed", "flow_each_lb_per_min"))
        yield from at_most(single, ceiling, "aircraft-bleed", ft)
        yield from at_most(emergency, ceiling, "aircraft-bleed", ft)
        yield from rising([leak, side], "aircraft-bleed", _air, "one side must make up for the leak")
    if aircraft.performance is not None:
        words = ("performance",)
        slow = Named(
            "the descent without speedbrakes",
            aircraft.performance.emergency_descent_no_speedbrake_avg,
            (*words, "emergency_descent_no_speedbrake_avg_fpm"),
        )
        fast = Named("the descent", aircraft.performance.emergency_descent_avg, (*words, "emergency_descent_avg_fpm"))
        level = Named(
            "the descent's level", aircraft.performance.emergency_descent_level, (*words, "emergency_descent_level_ft")
        )
        warn = Named("CABIN ALT", aircraft.safety_altitudes.cab_alt_warn, ("safety_altitudes", "cab_alt_warn_ft"))
        yield from at_most(slow, fast, "aircraft-descent", _fpm)
        yield from at_most(level, warn, "aircraft-descent", ft)
    if aircraft.oxygen is not None:
        yield from _oxygen(aircraft, aircraft.oxygen)
    yield from _electrical(aircraft)


def _oxygen(aircraft: Aircraft, oxygen: Oxygen) -> Iterator[Contradiction]:
    unusable = Named("the unusable pressure", oxygen.unusable_below, ("oxygen", "unusable_below_psi"))
    low = Named("OXY LOW", oxygen.low_caution, ("oxygen", "low_caution_psi"))
    full = Named("a full bottle", oxygen.bottle_full, ("oxygen", "bottle_full_psi"))
    disc = Named("the green disc", oxygen.green_disc, ("oxygen", "green_disc_psi"))
    yield from rising([unusable, low, full, disc], "aircraft-oxygen-pressures", psi, "put the pressures in order")
    seats = Named("the passenger seats", aircraft.general.seats_pax, ("aircraft", "seats_pax"))
    masks = Named("the passenger masks", oxygen.pax_masks, ("oxygen", "pax_masks"))
    yield from at_most(seats, masks, "aircraft-oxygen-masks", _plain)

    # Breathed volume at body temperature, saturated; the bottle's litres are dry at normal temperature and pressure.
    for i, row in enumerate(oxygen.crew_100pct):
        try:
            breathed = breathed_flow(oxygen.crew_minute_volume, row.cabin, oxygen.normal_temp, oxygen.normal_pressure)
        except OutOfRangeError as error:
            yield Contradiction(("oxygen", "crew_100pct", i, "cabin_ft"), error.reference, error.what, error.mend)
            continue
        if abs(row.flow - breathed) > SAME_FLOW + 1e-12:
            yield Contradiction(
                ("oxygen", "crew_100pct", i, "flow_l_per_min"),
                "aircraft-oxygen-flow",
                f"at {ft(row.cabin)} the table says {_flow(row.flow)}, the breathed volume makes {_flow(breathed)}",
                f"write {_flow(breathed).removesuffix(' L/min')}, or change the minute volume",
            )
    pure = {round(row.cabin, 3): row for row in oxygen.crew_100pct}
    for i, row in enumerate(oxygen.crew_norm):
        whole: FlowRow | None = pure.get(round(row.cabin, 3))
        if whole is not None:
            path = ("oxygen", "crew_norm", i, "flow_l_per_min")
            yield from at_most(
                Named(f"the NORM flow at {ft(row.cabin)}", row.flow, path),
                Named("the 100 % flow", whole.flow, path),
                "aircraft-oxygen-flow",
                _flow,
            )


def _electrical(aircraft: Aircraft) -> Iterator[Contradiction]:
    electrical = aircraft.electrical
    if electrical is None:
        return
    front = ("electrical",)
    rated = Named("the generator's rating", electrical.generators.rated, (*front, "generators", "rated_a"))
    high = Named("its limit high up", electrical.generators.limit_high, (*front, "generators", "limit_high_a"))
    left = electrical.load_normal - electrical.load_shed_on_single_gen
    single = Named("the load left on one generator", left, (*front, "load_shed_on_single_gen_a"))
    yield from at_most(high, rated, "aircraft-generator", _amps)
    yield from at_most(single, high, "aircraft-generator", _amps)

    for i, bus in enumerate(electrical.emergency_buses):
        if bus not in aircraft.nodes:
            yield Contradiction(
                (*front, "emergency_buses", i),
                "aircraft-name-unknown",
                f"'{bus}' is no node of this file",
                "name a bus of the graph",
            )
    drawn = sum(node.amps or 0.0 for node in aircraft.nodes.values() if node.bus in electrical.emergency_buses)
    if abs(drawn - electrical.emergency_load) > SAME_CURRENT:
        yield Contradiction(
            (*front, "emergency_load_a"),
            "aircraft-emergency-load",
            f"the file gives {_amps(electrical.emergency_load)}, "
            f"the loads on {' and '.join(electrical.emergency_buses)} make {_amps(drawn)}",
            f"write {_amps(drawn).removesuffix(' A')}, or change a load",
        )
    battery = electrical.battery
    one = Named("the usable fraction in percent", battery.usable_fraction * 100, (*front, "battery", "usable_fraction"))
    yield from at_most(one, Named("the whole", 100.0, one.path), "aircraft-battery", _plain)
    lasts = Named(
        "what capacity and load allow",
        battery.capacity * battery.usable_fraction / electrical.emergency_load,
        (*front, "battery", "capacity_ah"),
    )
    book = Named("the battery's book time", battery.book, (*front, "battery", "book_min"))
    yield from at_most(book, lasts, "aircraft-battery", _minutes)
    if aircraft.pressurisation.ceiling > BATTERY_TIME_ABOVE:
        yield from at_most(
            Named("the battery rule", BATTERY_TIME, book.path), book, "aircraft-battery", _minutes
        )  # fmt: skip
