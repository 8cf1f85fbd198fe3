"""The graph in failures: the 18 hand-written rows proven, by our evaluation and by a second one."""

from __future__ import annotations

import itertools

import pytest

from quizsvc.aircraft.failures import broken_claims, consequence, evaluation_order, restored_by, working
from quizsvc.aircraft.graph import AllOf, AnyOf, Lost, SwitchAt, Works
from quizsvc.errors import InputError
from tests.aircraft.files import TOLQUENNY, VESSANDRY, aircraft_of, described

TQ = aircraft_of(TOLQUENNY)

# The hand-written failure table of the aircraft, from before switches were data: what is lost and what still works.
# AUTO_1 is AUTO without crew action, AUTO_ANY is AUTO on either air data source.
ROWS = {
    "F01": ("AUTO_1", "AUTO_ANY CREW_TGT SHIFT_ANY MAN"),
    "F02": ("", "AUTO_1 CREW_TGT"),
    "F03": ("AUTO_ANY SHIFT_ANY", "CREW_TGT CAB_ALT_WARN MAN DUMP"),
    "F04": ("AUTO_ANY CREW_TGT SHIFT_ANY CAB_DIGITS", "MAN DUMP CAB_ALT_WARN CAB_GAUGE RELIEF"),
    "F05": ("", "L_MAIN R_MAIN ESS AUTO_1"),
    "F06": ("", "L_MAIN R_MAIN ESS AUTO_1"),
    "F07": (
        "L_MAIN R_MAIN CPC AUTO_ANY CREW_TGT SPDBRK FLAPS SHIFT_ANY",
        "ESS HOT ADC_2 DUMP CAB_ALT_WARN MAN PAX_O2_AUTO INFLOW GEAR",
    ),
    "F08": ("ADC_1 AUTO_1 MFD SPDBRK CAB_DIGITS", "CPC AUTO_ANY ESS CREW_TGT"),
    "F09": ("CPC AUTO_ANY CREW_TGT R_BLEED_SHUT COM_2 PFD_2", "ADC_1 MAN DUMP R_BLEED SPDBRK"),
    "F10": (
        "CAB_ALT_WARN AURAL DUMP PAX_O2_AUTO EMER_BLEED COM_1 ADC_2 PFD_1",
        "AUTO_1 CPC MAN PAX_O2_MAN CREW_O2 CAB_GAUGE",
    ),
    "F11": (
        "ESS DUMP CAB_ALT_WARN PAX_O2_AUTO EMER_BLEED",
        "HOT STBY FIRE_BTL MAN CREW_O2 PAX_O2_MAN INFLOW CAB_GAUGE",
    ),
    "F12": ("L_BLEED EMER_BLEED L_GEN", "R_BLEED INFLOW L_MAIN R_MAIN AUTO_1"),
    "F13": ("R_BLEED R_GEN", "L_BLEED EMER_BLEED INFLOW AUTO_1"),
    "F14": ("INFLOW EJECTOR L_MAIN R_MAIN CPC EMER_BLEED", "ESS DUMP MAN PAX_O2_AUTO CAB_ALT_WARN"),
    "F15": ("L_MAIN ADC_1 AUTO_1 SPDBRK", "R_MAIN CPC AUTO_ANY ESS"),
    "F16": ("R_MAIN CPC AUTO_ANY CREW_TGT", "L_MAIN ADC_1 ESS MAN DUMP"),
    "F17": ("HOT STBY FIRE_BTL", "ESS AUTO_1 DUMP"),
    "F18": ("", "AUTO_1 L_MAIN"),
}


def _works(failure, claim):
    """Whether a claim of the table's older words holds."""
    now = working(TQ.graph, failure.fail, failure.switches)
    if claim == "AUTO_1":
        return "AUTO" in now
    node = {"AUTO_ANY": "AUTO", "SHIFT_ANY": "WARN_SHIFT"}.get(claim)
    if node is None:
        return claim in now
    return any(
        node in working(TQ.graph, failure.fail, dict(failure.switches) | {"AIR_DATA": position})
        for position in ("1", "2")
    )


def _second_evaluation(graph, fail, switches):
    """Greatest and least fixed point by plain sweeps: another way than the ordered one of the code under test."""
    positions = {key: switch.normal for key, switch in graph.switches.items()} | switches

    def met(need, state):
        if isinstance(need, Works):
            return state[need.node]
        if isinstance(need, Lost):
            return not state[need.node]
        if isinstance(need, SwitchAt):
            return positions[need.switch] == need.position
        combine = any if isinstance(need, AnyOf) else all
        assert isinstance(need, AnyOf | AllOf)
        return combine([met(entry, state) for entry in need.needs])

    state = dict.fromkeys(graph.nodes, True)
    for _ in range(len(state) + 1):
        state = {
            key: key not in fail and all(met(need, state) for need in node.needs) for key, node in graph.nodes.items()
        }
    return {key for key, works in state.items() if works}


@pytest.mark.parametrize("key", ROWS)
class TestRowsOfTheTable:
    """F01 to F18."""

    def test_claims_of_the_file_are_proven(self, key):
        """Each row has claims, and the graph bears all of them out."""
        failure = TQ.failures[key]

        assert failure.expect_kept or failure.expect_lost
        assert list(broken_claims(TQ.graph, failure)) == []

    def test_table_before_switches_were_data_holds(self, key):
        """What the hand-written table says is lost is lost, and what it says is kept is kept."""
        lost, kept = (text.split() for text in ROWS[key])

        assert [claim for claim in lost if _works(TQ.failures[key], claim)] == []
        assert [claim for claim in kept if not _works(TQ.failures[key], claim)] == []

    def test_second_evaluation_agrees(self, key):
        """Sweeping until nothing changes gives the same nodes, with each switch position."""
        failure = TQ.failures[key]
        for switch, entry in TQ.switches.items():
            for position in entry.positions:
                switches = dict(failure.switches) | {switch: position}

                assert working(TQ.graph, failure.fail, switches) == _second_evaluation(TQ.graph, failure.fail, switches)


def test_every_pair_of_failed_nodes_agrees_with_the_second_evaluation():
    """All pairs of sources and buses failed together."""
    names = ["L_ENG", "R_ENG", "L_BAR", "R_BAR", "E_BAR", "TIE", "BATT", "L_GEN", "R_GEN", "CPC", "ADC_1", "ADC_2"]
    for fail in itertools.combinations(names, 2):
        assert working(TQ.graph, fail) == _second_evaluation(TQ.graph, fail, {})


def test_nothing_failed_everything_works():
    """With the switches at normal all 69 nodes work."""
    assert working(TQ.graph, ()) == set(TQ.nodes)


class TestBleedSelector:
    """Valves that close by power stay open without it."""

    def test_selected_off_stops_the_inflow(self):
        """BLEED OFF closes both valves."""
        assert "INFLOW" not in working(TQ.graph, (), {"BLEED": "OFF"})

    def test_valve_without_power_stays_open(self):
        """R MAIN lost: the right bleed cannot be shut with the selector. ESS lost: the left one cannot."""
        assert "R_BLEED" in working(TQ.graph, ("R_BAR",), {"BLEED": "OFF"})
        assert "L_BLEED" not in working(TQ.graph, ("R_BAR",), {"BLEED": "OFF"})
        assert "L_BLEED" in working(TQ.graph, ("E_BAR",), {"BLEED": "R"})

    def test_emergency_source_is_the_left_engine(self):
        """EMER gives air with the left engine running, none without."""
        assert "INFLOW" in working(TQ.graph, ("R_ENG",), {"BLEED": "EMER"})
        assert "INFLOW" not in working(TQ.graph, ("L_ENG",), {"BLEED": "EMER"})


class TestActions:
    """What one action brings back."""

    def test_air_data_two_restores_auto(self):
        """ADC 1 lost: AIR DATA 2 brings AUTO and the warning shift back, and nothing else does."""
        restored = restored_by(TQ.graph, ("ADC_1",))

        assert restored == {"AUTO": ("AIR_DATA 2",), "WARN_SHIFT": ("AIR_DATA 2",)}

    def test_battery_switch_restores_ess(self):
        """Both generators lost with BATT OFF: BATT ON brings ESS and all on it back, not the mains."""
        restored = restored_by(TQ.graph, ("L_GEN", "R_GEN"), {"BATT": "OFF"})

        assert {"ESS", "DUMP", "CAB_ALT_WARN", "COM_1"} <= set(restored)
        assert not {"L_MAIN", "R_MAIN", "CPC", "AUTO"} & set(restored)
        assert set(itertools.chain(*restored.values())) == {"BATT ON"}

    def test_two_losses_leave_no_way_back(self):
        """Both ADCs lost: no single action restores AUTO."""
        assert "AUTO" not in restored_by(TQ.graph, ("ADC_1", "ADC_2"))


class TestConsequences:
    """Texts with the aircraft's own numbers."""

    def test_numbers_are_filled_in(self):
        """F01 and F12 print quantities; no text keeps a brace."""
        assert consequence(TQ, TQ.failures["F01"]).endswith("restores AUTO after 12 s of valid data.")
        assert "max FL350" in consequence(TQ, TQ.failures["F12"])
        assert all("{" not in consequence(TQ, failure) for failure in TQ.failures.values())

    def test_another_number_makes_another_text(self):
        """A school that changes the relief crack changes the words of F04."""
        other, _ = described(TOLQUENNY.replace("relief_crack_diff_psi: 8.9", "relief_crack_diff_psi: 8.8"))

        assert "relief heads hold 8.8 psi" in consequence(other, other.failures["F04"])


class TestBadStates:
    """Names that are not in the graph, and graphs that go round."""

    def test_unknown_names(self):
        """A failed node or a switch that is not there is named."""
        with pytest.raises(InputError, match="not in the graph: L_WING, SPARE"):
            working(TQ.graph, ("L_WING",), {"SPARE": "ON"})

    def test_circle(self):
        """A graph with a circle has no order and is not evaluated."""
        other, _ = described(
            TOLQUENNY.replace("  BATT: {name: battery, ata: 24}", "  BATT: {name: battery, ata: 24, needs: [ESS]}")
        )
        order, circle = evaluation_order(other.graph)

        assert {"BATT", "ESS"} <= set(circle)
        assert "L_ENG" in order
        with pytest.raises(InputError) as error:
            working(other.graph, ())
        assert error.value.reference == "graph-circle"

    def test_empty_graph(self):
        """An aircraft without a graph has nothing that works."""
        assert working(aircraft_of(VESSANDRY).graph, ()) == frozenset()
