"""Reading an aircraft file: ours in full, what bad words get, canonical form and constants."""

from __future__ import annotations

import copy
import json

import pint
import pytest
import yaml
from hypothesis import given
from hypothesis import strategies as st

from quizsvc.aircraft.description import Aircraft, read_aircraft
from quizsvc.physics.units import names_of
from tests.aircraft.files import TOLQUENNY, VESSANDRY, aircraft_of, described, edited

TQ = aircraft_of(TOLQUENNY)
RAW = yaml.safe_load(TOLQUENNY)
SECTIONS = [
    word for word, value in RAW.items() if isinstance(value, dict) and word not in ("switches", "nodes", "failures")
]
REGISTRY = pint.UnitRegistry()
ENDINGS = {
    "_l_per_min": "liter/minute", "_lb_per_min": "pound/minute", "_ft3": "foot**3", "_hpa": "hPa", "_ah": "ampere_hour",
    "_fpm": "foot/minute", "_psi": "psi", "_min": "minute", "_ft": "foot", "_s": "second", "_c": "degC", "_a": "ampere",
    "_l": "liter", "_v": "volt",
}  # fmt: skip


def _numbers(front, group):
    """Name without ending, and SI value by pint, of every number of a raw section."""
    for word, value in group.items():
        if isinstance(value, dict):
            yield from _numbers(f"{front}{word}_", value)
        elif isinstance(value, int | float) and not isinstance(value, bool):
            ending = next((end for end in ENDINGS if word.endswith(end)), "")
            peer = REGISTRY.Quantity(value, ENDINGS.get(ending, "dimensionless")).to_base_units()
            yield front + word.removesuffix(ending), peer.magnitude


class TestOurFile:
    """The Tolquenny 19."""

    def test_it_has_no_findings(self):
        """Every consistency rule passes on it."""
        aircraft, findings = described(TOLQUENNY)

        assert findings == []
        assert aircraft.key == "tolquenny-19"
        assert (len(aircraft.nodes), len(aircraft.failures), len(aircraft.airfields)) == (69, 18, 8)

    def test_every_number_is_a_constant(self):
        """Each number of a section, converted by pint, is a constant under the name without its unit."""
        expected = {}
        for word in SECTIONS:
            front = {"pressurisation": "", "aircraft": "aircraft_"}.get(word, f"{word}_")
            expected.update(_numbers(front, RAW[word]))
        constants = TQ.constants()

        assert len(expected) == 83
        assert set(constants) == set(expected)
        for name, constant in constants.items():
            assert constant.value_si == pytest.approx(expected[name], rel=1e-12), name
            assert constant.unit in names_of(constant.dimension)

    @pytest.mark.parametrize(
        ("name", "value", "unit"),
        [
            ("diff_control_limit", 8.7, "psi"),
            ("high_field_ldg_target_offset", 300, "ft"),
            ("electrical_battery_capacity", 44, "Ah"),
            ("crew_target_recover_valid_for", 12, "s"),
            ("cabin_temp", 22, "C"),
            ("electrical_battery_usable_fraction", 0.8, "ratio"),
        ],
    )
    def test_names_of_constants(self, name, value, unit):
        """Names lose the unit ending; sections other than pressurisation stand in front."""
        constant = TQ.constants()[name]
        peer = {"psi": "psi", "ft": "foot", "Ah": "ampere_hour", "s": "second", "C": "degC", "ratio": "dimensionless"}[
            unit
        ]

        assert constant.unit == unit
        assert constant.value_si == pytest.approx(REGISTRY.Quantity(value, peer).to_base_units().magnitude)

    def test_airfields(self):
        """Names, ids and elevations in m."""
        airfield = TQ.airfields[2]

        assert (airfield.name, airfield.id) == ("Hollin Sink", "XQHS")
        assert airfield.elevation_m == pytest.approx(-168 * 0.3048)


class TestCanonicalForm:
    """What the hash of a revision covers."""

    def test_it_survives_json(self):
        """Through JSON and back, the aircraft is equal and hashes the same."""
        again = Aircraft.from_canonical(json.loads(json.dumps(TQ.canonical())))

        assert again == TQ
        assert hash(again) == hash(TQ)
        assert again.canonical() == TQ.canonical()

    def test_layout_and_comments_do_not_matter(self):
        """The same values in another order and another style give the same form."""
        shuffled = {word: RAW[word] for word in reversed(RAW)}
        shuffled["pressurisation"] = {word: RAW["pressurisation"][word] for word in sorted(RAW["pressurisation"])}
        other = aircraft_of(yaml.safe_dump(shuffled, sort_keys=False))

        assert json.dumps(other.canonical(), sort_keys=True) == json.dumps(TQ.canonical(), sort_keys=True)

    @pytest.mark.parametrize(
        ("old", "new"),
        [
            ("red_line_diff_psi: 9.1", "red_line_diff_psi: 9.2"),
            ("[20000, 900]", "[20000, 901]"),
            ("AIR DATA to 2 restores", "AIR DATA to 2 brings back"),
            ("elevation_ft: 23,", "elevation_ft: 24,"),
            ("words: BATT ON}", "words: BATT switch ON}"),
        ],
    )
    def test_any_change_of_content_shows(self, old, new):
        """A changed number, text, row, airfield or action makes another form."""
        other, _ = described(edited((old, new)))

        assert other is not None
        assert other.canonical() != TQ.canonical()


class TestWhatBadFilesGet:
    """Shape faults: place, reference, both texts."""

    @pytest.mark.parametrize(
        ("old", "new", "line_of", "reference", "what", "mend"),
        [
            (
                "  ceiling_ft: 39000",
                "  cieling_ft: 39000",
                "cieling_ft",
                "aircraft-word-unknown",
                "'cieling_ft' is not a word of 'pressurisation'",
                "did you mean 'ceiling_ft'?",
            ),
            (
                "  ceiling_ft: 39000",
                "  ceiling_ft: high",
                "ceiling_ft: high",
                "aircraft-value-shape",
                "'pressurisation.ceiling_ft' is 'high'",
                "write a plain number of ft",
            ),
            (
                "  ceiling_ft: 39000",
                "  ceiling_ft: 390000",
                "ceiling_ft: 390000",
                "aircraft-value-range",
                "'pressurisation.ceiling_ft' is 390,000 ft",
                "write a number above 0 to 65,600 ft",
            ),
            (
                "cabin_up_limit_fpm: 550",
                "cabin_up_limit_fpm: 0",
                "cabin_up_limit_fpm: 0",
                "aircraft-value-range",
                "'pressurisation.cabin_up_limit_fpm' is 0 fpm",
                "write a number above 0 fpm",
            ),
            (
                "    - [20000, 900]",
                "    - [20000, 900, 1]",
                "[20000, 900, 1]",
                "aircraft-rows",
                "'pressurisation.schedule_ft.1' is no pair of numbers",
                "write [aircraft, cabin]",
            ),
            (
                "format: 1",
                "format: 2",
                "format: 2",
                "aircraft-format",
                "format 2 is not known",
                "write `format: 1`",
            ),
            (
                "needs: [L_MAIN], bus: L_MAIN, amps: 2.0",
                "needs: [L_MAINE], bus: L_MAIN, amps: 2.0",
                "L_MAINE",
                "aircraft-name-unknown",
                "'L_MAINE' is no node of this file",
                "use one of: ADC_1, ADC_2, AHRS_1, AP, AUDIO_1, AURAL, AUTO",
            ),
            (
                'needs: [{switch: BATT, at: "ON"}]',
                'needs: [{switch: BATT, at: "UP"}]',
                'at: "UP"',
                "aircraft-name-unknown",
                "'UP' is no position of BATT of this file",
                "use one of: OFF, ON",
            ),
            (
                'needs: [{switch: BATT, at: "ON"}]',
                'needs: [{switch: BAT, at: "ON"}]',
                "{switch: BAT,",
                "aircraft-name-unknown",
                "'BAT' is no switch of this file",
                "use one of: AIR_DATA, BATT, BLEED, PRESS",
            ),
            (
                "  muscle: EJECTOR",
                "  suction: EJECTOR",
                "  suction:",
                "aircraft-word-unknown",
                "'suction' is not a word of 'roles'",
                "take it out; accepted: automatic, controller, crew_target, dump, inflow",
            ),
            (
                "  muscle: EJECTOR",
                "  muscle: 7",
                "  muscle: 7",
                "aircraft-value-shape",
                "'roles.muscle' is 7",
                "write a text",
            ),
            (
                "needs: [L_ENG, ESS], bus",
                "needs: [L_ENG, {either: [ESS]}], bus",
                "{either: [ESS]}",
                "aircraft-need-shape",
                "'{'either': ['ESS']}' is no need",
                "write a node, {any: [...]}, {all: [...]}, {switch: S, at: P} or {lost: NODE}",
            ),
            (
                "expect_after: {AUTO: \"AIR_DATA 2\", WARN_SHIFT",
                "expect_after: {AUTO: \"AIR_DATA 3\", WARN_SHIFT",
                "AIR_DATA 3",
                "aircraft-name-unknown",
                "'AIR_DATA 3' is no action of this file",
                "use one of: AIR_DATA 1, AIR_DATA 2, BATT OFF, BATT ON, BLEED BOTH",
            ),
            (
                "expect_after: {AUTO: \"AIR_DATA 2\", WARN_SHIFT",
                "expect_after: {AUTO: [\"AIR_DATA 2\"], WARN_SHIFT",
                "[\"AIR_DATA 2\"]",
                "aircraft-name-unknown",
                "['AIR_DATA 2'] is no action",
                "use one of: AIR_DATA 1, AIR_DATA 2, BATT OFF, BATT ON, BLEED BOTH",
            ),
        ],
    )  # fmt: skip
    def test_one_fault(self, old, new, line_of, reference, what, mend):
        """One planted fault is one finding at its line, and the aircraft is not read."""
        text = edited((old, new))
        aircraft, findings = described(text)
        line = next(i for i, row in enumerate(text.splitlines(), 1) if line_of in row)

        assert aircraft is None
        found = [f for f in findings if f.reference == reference]
        assert [f.line for f in found] == [line]
        assert found[0].what == what
        assert found[0].mend.startswith(mend)
        assert all(f.severity == "fault" for f in findings)

    def test_faults_of_all_sections_come_in_one_run(self):
        """Ten planted faults are ten findings, in the order of the text."""
        _, findings = described(
            edited(
                ("seats_crew: 2", "seats_crew: two"),
                ("warn_diff_psi: 9.0", "warn_diff_psi: [9.0]"),
                ("touchdown_rate_fpm: 450", "touchdown_rate_fpm: -450"),
                ("  warn_shifted_ft: 13400\n", ""),
                ("placard_offset_ft: 200", "placard_offset_ft:"),
                ("duct_overheat_c: 265", "duct_overheat_c: true"),
                ("pax_masks: 6", "pax_masks: 6 masks"),
                ("rated_a: 300,", "rated_amps: 300,"),
                ("ata: 72}\n  R_ENG", "ata: seventy}\n  R_ENG"),
                ("fail: [ADC_1], ", "fail: ADC_1, "),
            )
        )

        assert len(findings) == 11  # the misspelt word is unknown, and the right one missing
        assert findings == sorted(findings)
        assert {f.file for f in findings} == {"aircraft.yaml"}
        assert all(f.line > 0 and f.column > 0 and f.what and f.mend for f in findings)

    @pytest.mark.parametrize(
        "word", [*SECTIONS, "format", "notice", "airfields", "switches", "actions", "nodes", "failures"]
    )
    @pytest.mark.parametrize("value", [None, "text", 7, [1, 2], {"odd": 1}, [[1], {"a": []}], True, -1.5])
    def test_any_section_may_be_anything(self, word, value):
        """A section of the wrong kind is a finding, never an exception."""
        raw = copy.deepcopy(RAW) | {word: value}
        aircraft, findings = read_aircraft(raw, lambda path: (1, 1), "aircraft.yaml")

        if not (word == "notice" and value == "text"):
            assert findings
        assert aircraft is None or word in ("notice", "airfields", "actions")

    @pytest.mark.parametrize("word", [w for w in RAW if w not in ("switches", "actions", "nodes", "failures")])
    def test_any_section_may_be_missing(self, word):
        """A required one is a finding; an optional one is not there."""
        raw = {key: value for key, value in copy.deepcopy(RAW).items() if key != word}
        aircraft, findings = read_aircraft(raw, lambda path: (1, 1), "aircraft.yaml")

        if word in ("format", "notice", "aircraft", "pressurisation", "safety_altitudes", "airfields"):
            assert aircraft is None
            assert [f.what for f in findings] == [f"'the file' lacks '{word}'"]
        else:
            assert aircraft is not None
            assert getattr(aircraft, word) is None

    @pytest.mark.parametrize("raw", [None, [], "text", 5, {}, {1: 2}])
    def test_no_file_at_all(self, raw):
        """Whatever stands for the file, the answer is findings."""
        aircraft, findings = read_aircraft(raw, lambda path: (0, 0), "aircraft.yaml")

        assert aircraft is None
        assert findings

    @given(st.data())
    def test_any_leaf_may_be_anything(self, data):
        """Any value put at any place of the file gives findings or an aircraft, never an exception."""
        raw = copy.deepcopy(RAW)
        spot, key = raw, data.draw(st.sampled_from(sorted(raw)))
        while isinstance(spot[key], dict | list) and spot[key] and data.draw(st.integers(0, 5)):
            spot = spot[key]
            key = data.draw(st.sampled_from(sorted(spot) if isinstance(spot, dict) else range(len(spot))))
        leaves = st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5)
        spot[key] = data.draw(
            st.recursive(
                leaves, lambda c: st.lists(c, max_size=2) | st.dictionaries(st.text(max_size=3), c, max_size=2)
            )
        )

        aircraft, findings = read_aircraft(raw, lambda path: (1, 1), "aircraft.yaml")

        assert aircraft is not None or findings


def test_second_aircraft_reads():
    """An aircraft without graph, oxygen, electrical and the rest is an aircraft."""
    aircraft = aircraft_of(VESSANDRY)

    assert aircraft.key == "vessandry-40"
    assert aircraft.oxygen is None
    assert aircraft.nodes == {}
    assert "oxygen_low_caution" not in aircraft.constants()
    assert Aircraft.from_canonical(json.loads(json.dumps(aircraft.canonical()))) == aircraft


class TestRoles:
    """Which node plays which part."""

    def test_roles_are_read(self):
        """Ours names all ten."""
        assert TQ.roles.automatic == "AUTO"
        assert TQ.roles.masks == "PAX_O2_AUTO"
        assert set(TQ.canonical()["roles"].values()) <= set(TQ.nodes)

    def test_a_part_that_nobody_plays_is_left_out(self):
        """Without speedbrakes in the aircraft there is no such role, and the canonical form keeps that."""
        other = aircraft_of(edited(("  speedbrakes: SPDBRK\n", "")))

        assert other.roles.speedbrakes is None
        assert other.roles.dump == "DUMP"
        assert Aircraft.from_canonical(json.loads(json.dumps(other.canonical()))) == other

    def test_a_description_from_before_roles_is_still_read(self):
        """Canonical forms that were stored without the section have none."""
        values = {word: value for word, value in TQ.canonical().items() if word != "roles"}

        assert Aircraft.from_canonical(values).roles is None
