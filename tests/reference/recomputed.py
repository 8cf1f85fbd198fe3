"""The key of every number item, recomputed from what a person reads: plain arithmetic on `ambiance`, none of our code.

Each entry takes the drawn values as they are shown (ft, psi, min, A, ...) and gives the key in the unit asked for. The
formulas are those of the domain paper on numeric families; the aircraft's numbers are typed from the paper on it.
"""

from __future__ import annotations

import re

import numpy as np
from ambiance import Atmosphere

FT = 0.3048
PSI = 6894.757293168361  # Pa, NIST SP 811
MMHG = 133.322387415  # Pa, NIST SP 811
EARTH_RADIUS = 6_356_766.0  # m, nominal, the library's own: it takes geometric heights
SCHEDULE = [(15_000, 0), (20_000, 900), (25_000, 2400), (30_000, 4000), (35_000, 5600), (39_000, 6900)]
PLACARD = [(20_000, 1100), (25_000, 2600), (30_000, 4200), (35_000, 5800), (39_000, 7100)]
CREW_100 = {8000: 12.9, 10_000: 11.8, 15_000: 9.5, 20_000: 7.5, 25_000: 5.8, 30_000: 4.4, 35_000: 3.3}

_SHOWN = re.compile(r"(-?)FL([0-9]+)|(-?[0-9][0-9,]*(?:\.[0-9]+)?)(?: .*)?")


def read_shown(text):
    """The number that a person reads: `FL330` is 33000, `1,200 psi` 1200, `80 %` 0.8."""
    found = _SHOWN.fullmatch(text)
    assert found, text
    if found[2]:
        return float(found[1] + found[2]) * 100
    number = float(found[3].replace(",", ""))
    return number / 100 if text.endswith(" %") else number


def psi(feet):
    """Pressure by `ambiance` at a pressure altitude."""
    metres = np.asarray(feet, float) * FT
    return Atmosphere(EARTH_RADIUS * metres / (EARTH_RADIUS - metres)).pressure / PSI


def feet(pressure):
    """Pressure altitude by the closed form of ISO 2533, each one confirmed by `ambiance`."""
    pascals = np.asarray(pressure, float) * PSI
    low = (288.15 / 0.0065) * (1 - (pascals / 101_325.0) ** (287.05287 * 0.0065 / 9.80665))
    high = 11_000 + 287.05287 * 216.65 / 9.80665 * np.log(22_632.06 / pascals)
    found = np.where(low <= 11_000, low, high) / FT
    np.testing.assert_allclose(psi(found) * PSI, pascals, rtol=3e-6)
    return found


def schedule(level):
    """Straight lines between the rows of SH 21-20."""
    return np.interp(level, *zip(*SCHEDULE, strict=True))


def to_step(value, step):
    """To the nearest step, halves upwards."""
    return np.floor(np.asarray(value) / step + 0.5) * step


def target(elevation):
    """Landing target: LDG to the nearest 50, above 7,200 plus 300, otherwise minus 150."""
    setting = to_step(elevation, 50)
    return np.where(setting > 7200, setting + 300, setting - 150)


def placard(level):
    """The next higher row."""
    rows = np.array([row for row, _ in PLACARD])
    return np.array([cabin for _, cabin in PLACARD])[np.searchsorted(rows, level)]


def crew(cabin):
    """Row of the 100 % table, L/min."""
    return np.array([CREW_100[int(round(c))] for c in np.atleast_1d(cabin)])


def leak_minutes(cabin, threshold, tau):
    """tau ln(p0/p)."""
    return tau * np.log(psi(cabin) / psi(threshold))


def one_generator(load, shed, level):
    """N31: 260 A above FL300, otherwise 300 A."""
    return np.where(level > 30_000, 260, 300) - (load - shed)


def steepest(elev, level):
    """N15: height from the gate to the target over the minutes of the cabin's climb."""
    return (23_000 - target(elev)) / ((target(elev) - schedule(level)) / 550)


def catch(level, rate):
    """N09: two straight lines."""
    cabin = schedule(level)
    return level - rate * (level - cabin) / (rate - 350)


def fpm_of(fall, cabin):
    """N39: hydrostatic balance with the density of `ambiance` at the cabin."""
    metres = cabin * FT
    density = Atmosphere(EARTH_RADIUS * metres / (EARTH_RADIUS - metres)).density
    return fall * PSI / (density * 9.80665) / FT


AIR_LB = 144 * 390 / (53.35 * (22 + 273.15) * 1.8)  # pounds of air in the cabin for each psi, N38

# item: how its key comes from the shown values
KEYS = {
    "cabin-from-differential": lambda level, diff: feet(psi(level) + diff),
    "differential-from-cabin": lambda level, cabin: psi(cabin) - psi(level),
    "highest-level-for-a-cabin": lambda cabin: feet(psi(cabin) - 8.7),
    "negative-relief-cabin-altitude": lambda altitude: feet(psi(altitude) - 0.25),
    "schedule-between-rows": lambda level: schedule(level),
    "schedule-rows": lambda level: schedule(level),
    "hold-where-it-ends": lambda elev: np.interp(elev, *[[row[i] for row in SCHEDULE] for i in (1, 0)]),
    "rate-minutes-up": lambda start, end: (end - start) / 550,
    "rate-climb-the-cabin-can-follow": lambda lower: 550 / ((schedule(lower + 2000) - schedule(lower)) / 2000),
    "landing-minutes-down": lambda cabin, field_elevation: (cabin - target(field_elevation)) / 350,
    "landing-latest-descent": lambda level, speed, field_elevation: (
        (schedule(level) - target(field_elevation)) / 350 * speed / 60
    ),
    "landing-knob-setting": lambda elev: to_step(elev, 50),
    "stale-touchdown-differential": lambda elev, setting: psi(setting - 150) - psi(elev),
    "catch-where-they-meet": catch,
    "crew-target-window-figure": lambda hundreds, rest, landing: to_step(hundreds + rest, 50),
    "placard-figure-for-a-level": lambda level: placard(level),
    "placard-rows": lambda level: np.interp(level, *zip(*PLACARD, strict=True)),
    "relief-heads-in-a-climb": lambda target: feet(psi(target) - 8.9),
    "cabin-figure-for-landing": lambda hundreds, rest: to_step(hundreds + rest, 50) - 150,
    "cabin-with-valves-closed": lambda level: feet(psi(level) + 8.9),
    "dead-controller-in-the-descent": lambda level: feet(psi(level) + 8.9),
    "switch-target-near-the-boundary": lambda elev: target(elev),
    "regime-landing-target": lambda elev: target(elev),
    "regime-minutes-after-the-gate": lambda elev, level: (target(elev) - schedule(level)) / 550,
    "regime-steepest-descent": steepest,
    "warning-unshifted-minutes": lambda elev, level: (10_000 - schedule(level)) / 550,
    "high-departure-minutes": lambda elev: (elev - 9700) / 350,
    "leak-cabin-after-minutes": lambda level, tau, elapsed: feet(psi(schedule(level)) * np.exp(-elapsed / tau)),
    "leak-minutes-to-a-threshold": lambda level, tau, threshold: leak_minutes(schedule(level), threshold, tau),
    "descent-minutes": lambda level, goal: (level - goal) / 5200,
    "descent-minutes-without-speedbrakes": lambda level, goal: (level - goal) / 3100,
    "descent-against-the-masks": lambda level, tau: (
        leak_minutes(schedule(level), 14_300, tau) - 0.5 - (level - 14_300) / 5200
    ),
    "oxygen-usable-litres": lambda bottle: 1400 * (bottle - 150) / 1850,
    "oxygen-reading-at-21": lambda gauge, cold: (gauge + 14.69595) * 294.15 / (cold + 273.15) - 14.69595,
    "oxygen-crew-minutes": lambda litres, masks, cabin: litres / (masks * crew(cabin)),
    "oxygen-least-pressure": lambda pax, hold: 150 + 1850 * (pax * 32 + 2 * 5.8 * 10 + 2 * 11.8 * hold) / 1400,
    "battery-minutes-at-a-load": lambda load, usable: 44 * usable / load * 60,
    "battery-minutes-after-shedding": lambda before, waited, after: (
        (44 * 0.8 - before * waited / 60) / after * 60 + waited
    ),
    "one-generator-margin": one_generator,
    "battery-load-after-switching-off": lambda off_amps_total, main_amps: 33.0 - off_amps_total,
    "psi-to-hpa": lambda p: p * 68.94757,
    "trapped-gas": lambda low, high: (psi(low) - 47 * MMHG / PSI) / (psi(high) - 47 * MMHG / PSI),
    "inspired-oxygen-on-air": lambda cabin: 0.2095 * (psi(cabin) * PSI / MMHG - 47),
    "pure-oxygen-equal-to-air": lambda low: feet((0.2095 * (psi(low) * PSI / MMHG - 47) + 47) * MMHG / PSI),
    "force-on-a-window": lambda diff, area, cabin: diff * area,
    "air-change-minutes": lambda inflow, cabin: psi(cabin) * AIR_LB / inflow,
    "cabin-rate-from-pressure-rate": fpm_of,
    "high-field-failure-limit": lambda elev: np.maximum(15_000, elev + 2000),
    "pressure-altitude-of-a-field": lambda elev, qnh: elev + feet(qnh * 100 / PSI),
    "minutes-on-a-battery": lambda capacity, usable, load: capacity * usable / load * 60,
    "masks-reset-for-a-high-field": lambda elev: elev + 2000,
    "crew-only-what-it-buys": lambda litres, pax, cabin: (
        litres / (2 * crew(cabin)) - litres / (2 * crew(cabin) + 3.2 * pax)
    ),
}
"""By item; the names of the arguments are those of its drawn quantities."""


def at_limit(start, end):
    """Minutes of a cabin from one altitude to another at its limit: up 550, down 350."""
    return np.where(end > start, (end - start) / 550, (start - end) / 350)


def litres_at_21(gauge, cold):
    """Gay-Lussac's law to 21 C, then 1,400 L at 1,850 psi less the last 150 psi."""
    return 1400 * (KEYS["oxygen-reading-at-21"](gauge, cold) - 150) / 1850


# scenario/part: as above, the person's earlier answers being the keys
PARTS = {
    "both-sources-gone-to-a-high-field/a": lambda level: to_step(schedule(level), 50),
    "both-sources-gone-to-a-high-field/c": lambda level: 7100.0,
    "both-sources-gone-to-a-high-field/e": lambda level: 8350.0,
    "both-sources-gone-to-a-high-field/f": lambda level: (8350 - 7100) / 550,
    "a-tie-that-waited/d": lambda level: (level - 10_000) / 3100,
    "the-knob-of-the-last-flight/a": lambda low_elevation: target(low_elevation),
    "the-knob-of-the-last-flight/b": lambda low_elevation: psi(target(low_elevation)) - psi(4764),
    "the-knob-of-the-last-flight/d": lambda cabin: (4600 - cabin) / 550,
    "a-dead-controller-before-the-descent/a": lambda level: feet(psi(level) + 8.9),
    "a-dead-controller-before-the-descent/c": lambda low: -feet(psi(low) + 8.9),
    "landing-by-crew-target/a": lambda field_elevation: to_step(field_elevation - 150, 50),
    "landing-by-crew-target/b": lambda field_elevation, level: at_limit(
        to_step(schedule(level), 50), to_step(field_elevation - 150, 50)
    ),
    "sudden-loss-over-high-ground/b": lambda safe: np.maximum(safe, 10_000),
    "sudden-loss-over-high-ground/c": lambda level, safe: (level - np.maximum(safe, 10_000)) / 3100,
    "dark-with-the-battery-off/c": lambda off_amps_total: 44 * 0.8 / (33.0 - off_amps_total) * 60,
    "dark-with-the-battery-off/d": lambda level: (level - 10_000) / 3100,
    "the-regime-lost-half-way/b": lambda cabin: to_step(cabin, 50),
    "the-regime-lost-half-way/e": lambda cabin: (10_950 - cabin) / 550,
    "smoke-that-cannot-be-shut-off/c": lambda level, safe: (level - safe) / 5200,
    "nobody-is-warned/b": lambda level, tau: leak_minutes(schedule(level), 10_000, tau),
    "nobody-is-warned/d": lambda level: (level - 10_000) / 5200,
    "no-engine-and-a-leak/b": lambda level, tau: leak_minutes(schedule(level), 14_300, tau),
    "no-engine-and-a-leak/c": lambda level: (level - 14_300) / 3100,
    "no-engine-and-a-leak/d": lambda level, tau: (
        leak_minutes(schedule(level), 14_300, tau) - (level - 14_300) / 3100 - 0.5
    ),
    "over-pressure-above-one-source/a": lambda level, diff: feet(psi(level) + diff),
    "over-pressure-above-one-source/d": lambda level: level - 35_000,
    "by-the-wheel-to-the-stand/a": lambda level, cabin: psi(cabin) - psi(level),
    "by-the-wheel-to-the-stand/d": lambda final: psi(final) - psi(2237),
    "back-to-the-field-above-eleven-thousand/b": lambda elev: (elev - 9700) / 350,
    "back-to-the-field-above-eleven-thousand/d": lambda elev: to_step(elev, 50),
    "back-to-the-field-above-eleven-thousand/f": lambda elev: to_step(elev, 50) + 300,
    "a-hot-duct-and-then-ess/b": lambda level: level - 35_000,
    "a-hot-duct-and-then-ess/c": lambda lower: psi(schedule(lower)) * AIR_LB / 9,
    "cold-bottle-then-smoke/a": lambda gauge, cold: KEYS["oxygen-reading-at-21"](gauge, cold),
    "cold-bottle-then-smoke/b": lambda gauge, cold: litres_at_21(gauge, cold),
    "cold-bottle-then-smoke/c": lambda gauge, cold, pax: litres_at_21(gauge, cold) / (2 * 12.9 + 3.2 * pax),
    "cold-bottle-then-smoke/e": lambda gauge, cold: litres_at_21(gauge, cold) / (2 * 12.9),
    "nobody-will-warn-you/e": lambda level: (level - 10_000) / 3100,
}
"""By scenario and part."""
