"""The cabin of a flight between two moments: which rule moves it, and where it is then."""

from __future__ import annotations

import math
from bisect import bisect_right

from quizsvc.aircraft.flight_beliefs import Belief
from quizsvc.aircraft.flight_plan import Plan, Trajectory
from quizsvc.aircraft.flight_rules import Event, Mode
from quizsvc.aircraft.model import Aircraft
from quizsvc.aircraft.pressurisation import landing_setting, schedule, warning_threshold
from quizsvc.errors import InputError
from quizsvc.physics.atmosphere import altitude, pressure
from quizsvc.physics.constants import (
    GAS_CONSTANT_AIR,
    LAPSE_RATE,
    LOWEST_ALTITUDE,
    SEA_LEVEL_PRESSURE,
    SEA_LEVEL_TEMPERATURE,
    STANDARD_GRAVITY,
)
from quizsvc.physics.flow import CRITICAL_RATIO, leak_time_constant, mass_flow

__all__: list[str] = []  # a part of `flight`, which alone uses it

_SAME_M, _SAME_S = 1e-6, 1e-3
_LEAK_STEP_S = 12.5
# Valves closed and the air still coming in drive a cabin further below sea level than any table goes. The lowest layer
# of the standard atmosphere is taken to go on as it begins there.
_EXPONENT = -GAS_CONSTANT_AIR * LAPSE_RATE / STANDARD_GRAVITY
_LOWEST_PA = pressure(LOWEST_ALTITUDE)


def _altitude(pressure_pa: float) -> float:
    if pressure_pa <= _LOWEST_PA:
        return altitude(pressure_pa)
    return SEA_LEVEL_TEMPERATURE / LAPSE_RATE * (math.pow(pressure_pa / SEA_LEVEL_PRESSURE, _EXPONENT) - 1.0)


def _pressure(altitude_m: float) -> float:
    if altitude_m >= LOWEST_ALTITUDE:
        return pressure(altitude_m)
    return SEA_LEVEL_PRESSURE * math.pow(1.0 + LAPSE_RATE * altitude_m / SEA_LEVEL_TEMPERATURE, 1.0 / _EXPONENT)


class Cabin:
    """A cabin in flight: `turn` and `happen` change who controls it, `step` says where it goes, `move` moves it."""

    def __init__(self, aircraft: Aircraft, plan: Plan, path: Trajectory, belief: Belief) -> None:
        p = aircraft.pressurisation
        self.aircraft, self.plan, self.path, self.belief = aircraft, plan, path, belief
        self.altitude = plan.from_m
        self.setting = landing_setting(aircraft, plan.to_m) if plan.setting_m is None else plan.setting_m
        landing_setting(aircraft, self.setting)  # refuses what the knob does not have
        self.mode, self.inflow, self.wheel = Mode.AUTOMATIC, True, "hold"
        self.alive, self.air_data = True, True  # the controller, and what it hears of the aircraft
        self.shifts = True  # whether anything is left that can move the warning
        self.target = self.altitude
        self.since, self.since_pa = 0.0, 0.0  # when valves began to close or open, and the pressure then
        self.moving_s = 0.0  # how long they take
        self.dumping = False
        self.pending: list[tuple[float, Mode]] = []
        self.open_s = path.touchdown_s + p.touchdown_full_open
        self.states: list[tuple[float, bool, float]] = []
        self.shift_ended_s = 0.0 if not self._high(plan.from_m) else math.inf
        inside = pressure(p.ceiling) + p.max_leak.at_diff
        self.leak_tau = leak_time_constant(p.cabin_volume, p.cabin_temp, inside, p.max_leak.flow)
        self.leak_area = p.max_leak.flow / mass_flow(inside, pressure(p.ceiling), p.cabin_temp, 1.0)
        turns = {at for at, _ in path.corners} | {path.touchdown_s, self.open_s}
        for level, _ in p.schedule:
            turns.update(path.passes(level))
        if aircraft.high_field is not None:
            turns.update(path.passes(aircraft.high_field.gate_aircraft_below))
            turns.update(path.passes(aircraft.high_field.departure_warn_shift_until.aircraft_above))
        self.turns = sorted(turns)
        self._sense_from(0.0)
        self._note(0.0)

    # What controls it

    def _sense_from(self, now: float) -> None:
        """The controller begins to watch the aircraft."""
        p, path = self.aircraft.pressurisation, self.path
        self.watched_s = now
        self.cruise_m: float | None = None
        self.descent_s: float | None = None
        self.wait_m = self.altitude
        level_s = max(now, path.top_s) + p.cruise_leg.for_
        self.cruise_due_s = level_s if level_s <= path.descent_s else math.inf
        told = self.belief.gate or self.belief.descent
        if told and path.descent_s >= now:
            self.descent_due_s = path.descent_s  # who believes it sees it from the top of the descent on
        else:
            self.descent_due_s = path.falls_below(p.descent_leg.below_highest, now) + p.descent_leg.for_

    def turn(self, now: float) -> None:
        """Do what is due at a time."""
        while self.pending and self.pending[0][0] <= now + _SAME_S:
            _, mode = self.pending.pop(0)
            self.shifts = mode is Mode.AUTOMATIC
            self._note(now)
            if self.mode is Mode.MANUAL:
                continue  # the selector isolates the valves from what the controller does next
            self.mode = mode
            if mode is Mode.CREW_TARGET and self.aircraft.crew_target is not None:
                step = self.aircraft.crew_target.initial_target_step
                self.target = math.floor(self.altitude / step + 0.5) * step
            if mode is Mode.AUTOMATIC:
                self._sense_from(now)
        if self.mode is not Mode.AUTOMATIC:
            return
        if self.descent_s is None and now >= self.descent_due_s - _SAME_S:
            self.descent_s, self.wait_m = now, self.altitude
            lowest = self.aircraft.pressurisation.return_to_field_below
            if self.watched_s == 0 and self.path.highest(0.0, now) < lowest - _SAME_M:
                self.setting = landing_setting(self.aircraft, self.plan.from_m)
                self._note(now)
        elif self.cruise_m is None and self.descent_s is None and now >= self.cruise_due_s - _SAME_S:
            self.cruise_m = self._before_descent(self.path.altitude(now))[0]

    def next_turn(self, now: float) -> float:
        """The next time at which the rules may change by themselves."""
        place = bisect_right(self.turns, now + _SAME_S)
        found = [self.turns[place]] if place < len(self.turns) else []
        found += [at for at, _ in self.pending[:1]]
        found += [
            at for at in (self.descent_due_s, self.cruise_due_s, self.since + self.moving_s) if at > now + _SAME_S
        ]
        return min(found, default=math.inf)

    def happen(self, event: Event, now: float) -> None:
        """Take an event."""
        what = event.what
        if what == "air data lost" and self.belief.air_data != "automatic":
            if self.air_data and self.alive:
                self._lose_air_data(now)
            self.air_data = False
        elif what == "air data back":
            if not self.air_data and self.alive:
                self._regain_air_data(now)
            self.air_data = True
        elif what == "controller dead":
            self.alive, self.shifts, self.pending = False, False, []
            self._die(now)
        elif what.startswith("manual "):
            if self.aircraft.manual is None:
                raise _has_no(self.aircraft, "manual control")
            self.mode, self.wheel, self.target = Mode.MANUAL, what.removeprefix("manual "), self.altitude
        elif what in ("inflow lost", "inflow back"):
            self.inflow = what == "inflow back"
            closes = self.aircraft.pressurisation.valves_close or 0.0
            self._valves(now, closes if self.mode is Mode.DEAD and self.inflow else 0.0)
            if not self.inflow and self.belief.inflow == "at-once":
                self._valves(now, self._dump_s())
        elif what in ("dump", "dump off"):
            self.dumping = what == "dump"
            self._valves(now, self._dump_s() if self.dumping else 0.0)
        elif what == "target" and event.value is not None:
            self.target = event.value
        elif what == "setting" and event.value is not None:
            landing_setting(self.aircraft, event.value)
            self.setting = event.value
        self._note(now)

    def _lose_air_data(self, now: float) -> None:
        crew_target = self.aircraft.crew_target
        if self.belief.air_data is not None or crew_target is None:
            self.shifts = False
            self._die(now)
        elif self.mode is Mode.CREW_TARGET:
            self.pending = []  # lost again before it was valid for long enough: the crew's target stays
        else:
            self.pending = [(now + crew_target.entry_invalid_for, Mode.CREW_TARGET)]
            if self.mode is not Mode.MANUAL:
                self.mode, self.target = Mode.HOLDING, self.altitude

    def _regain_air_data(self, now: float) -> None:
        crew_target = self.aircraft.crew_target
        if crew_target is None:
            return
        if self.pending and self.pending[0][1] is Mode.CREW_TARGET:
            self.pending = []  # not invalid for long enough: nothing has happened
            self.mode = Mode.AUTOMATIC if self.mode is Mode.HOLDING else self.mode
        else:
            self.pending = [(now + crew_target.recover.valid_for, Mode.AUTOMATIC)]

    def _die(self, now: float) -> None:
        """The valves drift closed, but not those that the selector has isolated from the controller."""
        if self.mode is not Mode.MANUAL:
            self.mode, self.target = Mode.DEAD, self.altitude
            self._valves(now, self.aircraft.pressurisation.valves_close or 0.0)

    def _valves(self, now: float, moving_s: float) -> None:
        """Valves begin to move: the pressure goes evenly to what it will be."""
        self.since, self.since_pa, self.moving_s = now, _pressure(self.altitude), moving_s

    def _dump_s(self) -> float:
        dump = self.aircraft.dump
        if dump is None:
            raise _has_no(self.aircraft, "dump")
        return dump.equalise or 0.0

    def _note(self, now: float) -> None:
        self.states.append((now, self.shifts, self.setting))

    # Where it goes

    def move(self, altitude_m: float, at_s: float) -> None:
        """Put the cabin where a step has led."""
        self.altitude = altitude_m
        high = self.aircraft.high_field
        if high is not None and at_s < self.shift_ended_s:
            until = high.departure_warn_shift_until
            if altitude_m < until.cabin_below or self.path.altitude(at_s) > until.aircraft_above - _SAME_M:
                self.shift_ended_s = at_s

    def step(self, now: float, span_s: float) -> tuple[float, str]:
        """Where the cabin would be after a span, and by which rule, if one rule held throughout."""
        at = now + span_s
        level = self.path.altitude(at)
        if now >= self.open_s - _SAME_S and self.mode not in (Mode.DEAD, Mode.MANUAL):
            return self.plan.to_m, "valves open"
        outside = _pressure(level)
        opened = self.mode is Mode.DEAD and "opens" in (self.belief.controller, self.belief.air_data)
        if self.dumping or opened:
            return self._emptied(at, level, outside)
        if self.mode is Mode.DEAD and self.belief.controller != "holds":
            new, rule = self._closed(now, span_s, outside)
        elif not self.inflow:
            if self.belief.inflow == "at-once":
                return self._emptied(at, level, outside)
            new, rule = self._leaked(now, span_s, outside), "leak"
            driven, other = self._driven(at, span_s, level)
            if self.mode is Mode.MANUAL and self.aircraft.manual is not None:
                # Without bleed the differential alone moves the valve: it opens no further than down to this.
                weak = _altitude(outside + self.aircraft.manual.min_diff_without_bleed)
                driven, other = (weak, "wheel without muscle") if driven > weak else (driven, other)
            if driven > new + _SAME_M:
                new, rule = driven, other
        else:
            new, rule = self._driven(at, span_s, level)
        return self._bounded(new, rule, level, outside)

    def _bounded(self, new: float, rule: str, level: float, outside: float) -> tuple[float, str]:
        p = self.aircraft.pressurisation
        if self.mode is Mode.AUTOMATIC and self.inflow and self.belief.limit is None:
            limit = _altitude(outside + p.diff_control_limit)
            if new < limit - _SAME_M:
                new, rule = limit, "differential limit"
        crack = _altitude(outside + p.relief_crack_diff)
        if new < crack - _SAME_M:
            new, rule = crack, "relief heads"
        if new > level + _SAME_M and self.belief.catch is None:
            new, rule = level, "with the aircraft"
        return new, rule

    def _emptied(self, at: float, level: float, outside: float) -> tuple[float, str]:
        part = 1.0 if self.moving_s <= 0 else min(1.0, (at - self.since) / self.moving_s)
        if part >= 1.0:
            return level, "with the aircraft"
        # Where the aircraft comes down to the cabin meanwhile, the two go on together.
        return _altitude(max(outside, self.since_pa + (outside - self.since_pa) * part)), "valves open"

    def _closed(self, now: float, span_s: float, outside: float) -> tuple[float, str]:
        if not self.inflow:
            return self._leaked(now, span_s, outside), "leak"
        line = outside + self.aircraft.pressurisation.relief_crack_diff
        part = 1.0 if self.moving_s <= 0 else min(1.0, (now + span_s - self.since) / self.moving_s)
        if part >= 1.0:
            return _altitude(line), "relief heads"
        return _altitude(self.since_pa + (line - self.since_pa) * part), "valves closing"

    def _leaked(self, now: float, span_s: float, outside: float) -> float:
        """No air comes in, the valves are closed: what the largest allowed leak leaves."""
        if self.belief.inflow == "none":
            return self.altitude
        inside = _pressure(self.altitude)
        choked = inside * math.exp(-span_s / self.leak_tau)
        if outside <= CRITICAL_RATIO * choked:
            return _altitude(choked)
        p = self.aircraft.pressurisation
        gain = GAS_CONSTANT_AIR * p.cabin_temp / p.cabin_volume

        before = _pressure(self.path.altitude(now))

        def rate(pressure_pa: float, part: float) -> float:
            around = before + (outside - before) * part
            if pressure_pa <= around:
                return 0.0
            return -gain * mass_flow(pressure_pa, around, p.cabin_temp, self.leak_area)

        steps = max(1, math.ceil(span_s / _LEAK_STEP_S))
        size = span_s / steps
        for place in range(steps):
            start, middle, end = place / steps, (place + 0.5) / steps, (place + 1) / steps
            a = rate(inside, start)
            b = rate(inside + size / 2 * a, middle)
            c = rate(inside + size / 2 * b, middle)
            inside += size / 6 * (a + 2 * b + 2 * c + rate(inside + size * c, end))
        return _altitude(inside)

    def _driven(self, at: float, span_s: float, level: float) -> tuple[float, str]:
        """Towards what is wanted, at most at the limits."""
        p = self.aircraft.pressurisation
        wanted, rule = self._wanted(at, level)
        limiter = self.aircraft.safety_altitudes.limiter.nominal
        if wanted > limiter:
            wanted, rule = limiter, "altitude limiter"
        up, down = p.cabin_up_limit, p.cabin_down_limit
        if at > self.path.touchdown_s + _SAME_S and rule == "to the field":
            up = down = p.touchdown_rate
        if self.belief.rate == "none" and self.mode is Mode.AUTOMATIC and math.isfinite(wanted):
            return wanted, rule
        highest, lowest = self.altitude + up * span_s, self.altitude - down * span_s
        if wanted > highest + _SAME_M:
            return highest, "up at the limit"
        if wanted < lowest - _SAME_M:
            return lowest, "down at the limit"
        return wanted, rule

    def _wanted(self, at: float, level: float) -> tuple[float, str]:
        """What the one who controls it wants at a time, and the rule's name once it is there."""
        landed = at > self.path.touchdown_s + _SAME_S
        if self.mode is Mode.MANUAL:
            return {"up": (math.inf, ""), "down": (-math.inf, "")}.get(self.wheel, (self.target, "held by hand"))
        if landed and self.mode is not Mode.DEAD:
            return self.plan.to_m, "to the field"
        if self.mode is not Mode.AUTOMATIC:
            return self.target, "on the crew's target" if self.mode is Mode.CREW_TARGET else "held"
        high = self._high(self.setting) and self.belief.regime != "normal"
        if self.belief.regime == "target-in-cruise" and high and at > self.path.top_s:
            return self._landing_target(high), "on the landing target"
        if self.descent_s is None:
            return self._before_descent(level)
        return self._in_descent(level, high)

    def _before_descent(self, level: float) -> tuple[float, str]:
        if self.cruise_m is not None:
            return self.cruise_m, "on the schedule"
        scheduled = self._schedule(level)
        held = self.plan.from_m <= self.aircraft.pressurisation.departure_hold.max_field + _SAME_M
        if held and self.belief.hold is None and scheduled <= self.plan.from_m:
            return self.plan.from_m, "departure hold"
        return scheduled, "on the schedule"

    def _in_descent(self, level: float, high: bool) -> tuple[float, str]:
        believed = self.belief.descent
        if believed == "stays":
            return self.wait_m, "waiting"
        if believed == "schedule":
            return self._schedule(level), "on the schedule"
        gate = self.aircraft.high_field.gate_aircraft_below if self.aircraft.high_field else 0.0
        if high and level >= gate - _SAME_M and self.belief.gate is None:
            return (-math.inf, "") if believed == "down" else (self.wait_m, "waiting for the gate")
        return self._landing_target(high), "on the landing target"

    def _landing_target(self, high: bool) -> float:
        if self.belief.target == "field":
            return self.setting
        if high and self.aircraft.high_field is not None:
            return self.setting + self.aircraft.high_field.ldg_target_offset
        return self.setting + self.aircraft.pressurisation.ldg_target_offset

    def _schedule(self, level: float) -> float:
        return schedule(self.aircraft, level)

    def _high(self, elevation_m: float) -> bool:
        high = self.aircraft.high_field
        return high is not None and elevation_m > high.switch_ldg_above + _SAME_M

    def changes(self) -> list[float]:
        """Times, s, at which the threshold of the warning may change."""
        ended = [self.shift_ended_s] if math.isfinite(self.shift_ended_s) else []
        return [*self.turns, *ended, *(at for at, _, _ in self.states)]

    def warning_at(self, at_s: float, level_m: float) -> float:
        """Cabin altitude, m, at which the warning sounds at a time and level."""
        plain = self.aircraft.safety_altitudes.cab_alt_warn
        place = max(0, bisect_right([at for at, _, _ in self.states], at_s) - 1)
        _, shifts, setting = self.states[place]
        if not shifts:
            return plain
        if at_s < self.shift_ended_s and self.aircraft.high_field is not None:
            return self.aircraft.high_field.warn_shifted
        return warning_threshold(self.aircraft, setting, level_m)


def _has_no(aircraft: Aircraft, what: str) -> InputError:
    return InputError(
        "flight-event-unknown", f"{aircraft.name} has no {what}", where="events", mend="leave the event out"
    )
