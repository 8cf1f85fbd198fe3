"""Orifice flow, blow-down and leaks against scipy integration of the same balance, and at their edges."""

from __future__ import annotations

import math

import pytest
from fluids.control_valve import is_choked_turbulent_g
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from quizsvc.errors import OutOfRangeError
from quizsvc.physics import blow_down, flow, leak

R = 287.05287  # J/(kg K), ICAO Doc 7488/3
OUTSIDE = st.floats(8_000.0, 60_000.0)
RATIO = st.floats(1.01, 6.0)


def test_critical_ratio_is_that_of_air():
    """0.528282, orifice_flow.csv; the flow is continuous across it."""
    assert pytest.approx(0.528282, abs=5e-7) == flow.CRITICAL_RATIO
    edge = 50_000.0 / flow.CRITICAL_RATIO
    below, above = (flow.mass_flow(edge * (1 + step), 50_000.0, 288.15, 1e-4) for step in (-1e-9, 1e-9))
    assert above == pytest.approx(below, rel=1e-8)
    assert not flow.is_choked(edge * (1 - 1e-9), 50_000.0) and flow.is_choked(edge * (1 + 1e-9), 50_000.0)


@given(outside=OUTSIDE, ratio=RATIO)
def test_regime_agrees_with_a_library(outside, ratio):
    """The regime that `fluids` gives for a gas with its critical pressure drop ratio (IEC 60534, xT of a nozzle)."""
    if abs(1 / ratio - flow.CRITICAL_RATIO) > 1e-6:
        drop = 1 - 1 / ratio
        assert flow.is_choked(ratio * outside, outside) == is_choked_turbulent_g(
            x=drop, Fgamma=1.0, xT=1 - 0.5282817877, xTP=None
        )


def test_flow_turns_with_the_pressures():
    """Thinner inside than outside: the same flow inwards; equal: none."""
    out = flow.mass_flow(70_000.0, 60_000.0, 288.15, 1e-3)

    assert out > 0
    assert flow.mass_flow(60_000.0, 70_000.0, 288.15, 1e-3) == -out
    assert flow.mass_flow(60_000.0, 60_000.0, 288.15, 1e-3) == 0


def _integrated(volume, area, temperature, inflow, start, outside, time, adiabatic):
    def rate(_, p):
        kelvin = temperature * (p[0] / start) ** (0.4 / 1.4) if adiabatic else temperature
        net = inflow - flow.mass_flow(max(p[0], outside), outside, kelvin, area)
        return [(1.4 if adiabatic else 1.0) * net * R * kelvin / volume]

    solution = solve_ivp(rate, (0.0, time), [start], method="DOP853", rtol=1e-11, atol=1e-7, max_step=time / 50)
    return solution.y[0, -1]


@settings(max_examples=15, deadline=None)
@given(outside=OUTSIDE, ratio=RATIO, share=st.floats(0.05, 0.9), adiabatic=st.booleans())
def test_blow_down_agrees_with_integration(outside, ratio, share, adiabatic):
    """Pressure after part of the whole time, within 1e-6 relative of scipy's DOP853 at rtol 1e-11."""
    start = ratio * outside
    whole = blow_down.blow_down_time(11.0, 2e-3, 295.15, start, outside, outside, adiabatic=adiabatic)
    time = share * whole
    after = blow_down.pressure_after(11.0, 2e-3, 295.15, start, outside, time, adiabatic=adiabatic)

    assert after == pytest.approx(_integrated(11.0, 2e-3, 295.15, 0.0, start, outside, time, adiabatic), rel=1e-6)
    assert blow_down.blow_down_time(11.0, 2e-3, 295.15, start, after, outside, adiabatic=adiabatic) == pytest.approx(
        time, rel=1e-9
    )


@settings(max_examples=15, deadline=None)
@given(
    outside=OUTSIDE, ratio=RATIO, inflow=st.floats(1e-4, 0.3), area=st.floats(5e-5, 2e-3), time=st.floats(1.0, 600.0)
)
def test_leak_with_inflow_agrees_with_integration(outside, ratio, inflow, area, time):
    """Falling or rising, choked or not, over the critical pressure or short of it: within 1e-6 of scipy."""
    start = ratio * outside
    after = leak.leak_pressure(11.0, area, 295.15, inflow, start, outside, time)

    assert after == pytest.approx(_integrated(11.0, area, 295.15, inflow, start, outside, time, False), rel=1e-6)
    balance = flow.balance_pressure(inflow, area, 295.15, outside)
    if abs(after - balance) > 1e-6 * balance and abs(after - start) > 1e-6 * start:
        assert leak.leak_time(11.0, area, 295.15, inflow, start, after, outside) == pytest.approx(time, rel=1e-6)


def test_leak_without_inflow_is_the_blow_down():
    """With nothing coming in, both modules say the same."""
    time = leak.leak_time(11.0, 1e-4, 295.15, 0.0, 78_000.0, 40_000.0, 20_000.0)

    assert time == blow_down.blow_down_time(11.0, 1e-4, 295.15, 78_000.0, 40_000.0, 20_000.0)
    assert leak.leak_pressure(11.0, 1e-4, 295.15, 0.0, 78_000.0, 20_000.0, time) == pytest.approx(40_000.0)


def test_leak_never_passes_its_balance():
    """A pressure at, beyond or away from the balance is never reached."""
    balance = flow.balance_pressure(0.05, 5e-4, 295.15, 20_000.0)

    for final in (balance, balance - 100.0, 79_000.0):
        assert leak.leak_time(11.0, 5e-4, 295.15, 0.05, 78_000.0, final, 20_000.0) == math.inf
    assert leak.leak_time(11.0, 5e-4, 295.15, 0.0, 78_000.0, 79_000.0, 20_000.0) == math.inf
    assert leak.leak_time(11.0, 5e-4, 295.15, 0.05, 78_000.0, 78_000.0, 20_000.0) == 0
    assert leak.leak_pressure(11.0, 5e-4, 295.15, 0.05, balance, 20_000.0, 900.0) == balance
    assert leak.leak_pressure(11.0, 5e-4, 295.15, 0.05, 78_000.0, 20_000.0, 0.0) == 78_000.0
    assert leak.leak_pressure(11.0, 5e-4, 295.15, 0.05, 78_000.0, 20_000.0, 1e6) == pytest.approx(balance, rel=1e-12)


@given(outside=OUTSIDE, inflow=st.floats(1e-3, 1.0), area=st.floats(1e-4, 1e-2))
def test_balance_lets_out_what_comes_in(outside, inflow, area):
    """The flow at the balance pressure is the inflow."""
    balance = flow.balance_pressure(inflow, area, 295.15, outside)

    assert balance >= outside
    assert flow.mass_flow(balance, outside, 295.15, area) == pytest.approx(inflow, rel=1e-6)


def test_time_constant_is_the_time_of_a_choked_fall_by_e():
    """In one time constant a choked cabin keeps 1/e of its pressure."""
    out = flow.mass_flow(90_000.0, 10_000.0, 295.15, 1e-3)
    tau = flow.leak_time_constant(11.0, 295.15, 90_000.0, out)

    assert blow_down.blow_down_time(11.0, 1e-3, 295.15, 90_000.0, 90_000.0 / math.e, 10_000.0) == pytest.approx(tau)


@pytest.mark.parametrize(
    ("call", "reference"),
    [
        (lambda: flow.mass_flow(0.0, 1.0, 288.0, 1e-4), "flow-inside-pressure"),
        (lambda: flow.mass_flow(1.0, math.nan, 288.0, 1e-4), "flow-outside-pressure"),
        (lambda: flow.mass_flow(1.0, 1.0, -1.0, 1e-4), "flow-temperature"),
        (lambda: flow.mass_flow(1.0, 1.0, 288.0, -1e-4), "flow-area"),
        (lambda: flow.pressure_rate(1.0, 288.0, 0.0), "flow-volume"),
        (lambda: flow.leak_time_constant(1.0, 288.0, 1e5, 0.0), "flow-flow"),
        (lambda: blow_down.blow_down_time(1.0, 1e-4, 288.0, 1e5, 9e4, 9.5e4), "blow-down-pressures"),
        (lambda: blow_down.blow_down_time(1.0, 1e-4, 288.0, 9e4, 1e5, 8e4), "blow-down-pressures"),
        (lambda: blow_down.blow_down_time(1.0, 0.0, 288.0, 9e4, 8e4, 8e4), "flow-area"),
        (lambda: blow_down.pressure_after(1.0, 1e-4, 288.0, 9e4, 8e4, -1.0), "blow-down-time"),
        (lambda: blow_down.pressure_after(1.0, 1e-4, 288.0, 7e4, 8e4, 1.0), "blow-down-pressures"),
        (lambda: blow_down.hole_area(1.0, 288.0, 9e4, 8e4, 8e4, 0.0), "flow-time"),
        (lambda: flow.balance_pressure(-1.0, 1e-4, 288.0, 8e4), "flow-inflow"),
        (lambda: leak.leak_time(1.0, 1e-4, 288.0, 0.1, 7e4, 9e4, 8e4), "leak-pressure"),
        (lambda: leak.leak_pressure(1.0, 1e-4, 288.0, 0.1, 9e4, 8e4, -1.0), "leak-elapsed"),
    ],
)
def test_values_outside_the_range_are_refused(call, reference):
    """Each names the value and how to mend it."""
    with pytest.raises(OutOfRangeError) as caught:
        call()
    assert caught.value.reference == reference and caught.value.mend
