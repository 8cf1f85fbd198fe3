"""Aircraft files for the tests: ours with edits of its text, and a second invented aircraft with other numbers."""

from __future__ import annotations

from quizsvc.aircraft.description import Aircraft, read_aircraft
from quizsvc.bank.text import plain, read_text
from quizsvc.errors import Finding
from quizsvc.settings import question_bank_folder

TOLQUENNY = (question_bank_folder() / "tolquenny-19" / "aircraft.yaml").read_text(encoding="utf-8")


def described(text: str) -> tuple[Aircraft | None, list[Finding]]:
    """What the service reads of a text."""
    document = read_text("aircraft.yaml", text)
    assert not document.findings, document.findings
    return read_aircraft(plain(document.root), document.place, "aircraft.yaml")


def edited(*changes: tuple[str, str], text: str = TOLQUENNY) -> str:
    """The text with each old part, which must stand in it once, replaced by the new one."""
    for old, new in changes:
        assert text.count(old) == 1, f"{old!r} stands {text.count(old)} times in the file"
        text = text.replace(old, new)
    return text


def aircraft_of(text: str) -> Aircraft:
    """The aircraft of a text that must be without findings."""
    aircraft, findings = described(text)
    assert findings == []
    assert aircraft is not None
    return aircraft


VESSANDRY = """
format: 1
notice: Invented training aircraft. Not a real aircraft. Not for operational use.
aircraft: {name: Vessandry 40, short: VS40, seats_crew: 2, seats_pax: 30, handbook: "VS40 Systems Handbook"}
pressurisation:
  ceiling_ft: 25000
  diff_control_limit_psi: 6.0
  relief_crack_diff_psi: 6.2
  relief_full_open_diff_psi: 6.4
  red_line_diff_psi: 6.5
  warn_diff_psi: 6.3
  negative_relief_psi: -0.3
  landing_diff_limit_psi: 0.2
  door_interlock_diff_psi: 0.1
  schedule_ft: [[10000, 500], [18000, 4100], [25000, 7500]]
  schedule_diff_at_ceiling_psi: 5.67
  cabin_up_limit_fpm: 500
  cabin_down_limit_fpm: 300
  touchdown_rate_fpm: 400
  touchdown_full_open_s: 30
  cruise_leg: {band_ft: 200, for_s: 60}
  descent_leg: {below_highest_ft: 500, for_s: 10, unlatch_climb_ft: 1000}
  return_to_field_below_ft: 8000
  ldg_knob: {min_ft: -1000, max_ft: 10000, step_ft: 100}
  ldg_target_offset_ft: -200
  departure_hold: {max_field_ft: 7500}
  cabin_volume_ft3: 2400
  max_leak: {flow_lb_per_min: 4, at_diff_psi: 6}
  cabin_temp_c: 21
high_field:
  switch_ldg_above_ft: 8000
  gate_aircraft_below_ft: 20000
  ldg_target_offset_ft: 200
  warn_shifted_ft: 12000
  shift_indication: HIGH LDG
  departure_warn_shift_until: {cabin_below_ft: 9500, aircraft_above_ft: 20000}
  max_field_elevation_ft: 10000
crew_target:
  entry_invalid_for_s: 2
  initial_target_step_ft: 100
  recover: {valid_for_s: 5}
  lost: [flight legs]
  kept: [cabin target hold]
  placard_offset_ft: 300
  placard_ft: [[18000, 4400], [25000, 7800]]
  landing_target_offset_ft: -200
  max_landing_elevation_ft: 8000
safety_altitudes:
  cab_alt_warn_ft: 9800
  limiter: {nominal_ft: 13000, tolerance_ft: 300}
  pax_mask_auto: {nominal_ft: 14000, tolerance_ft: 300}
airfields:
  - {name: Brackmoor Sands, id: XQBS, elevation_ft: 40, role: home base}
  - {name: Upper Thessen, id: XQUT, elevation_ft: 8630, role: high}
"""
"""Invented: other schedule, other steps, and none of the sections and groups that an aircraft may lack."""
