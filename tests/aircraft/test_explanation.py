"""Why a component is lost: chains read off the described aircraft by hand, and what any explanation must satisfy."""

from __future__ import annotations

import itertools

import pytest

from quizsvc.aircraft.failures import Cause, causes, path, working
from quizsvc.errors import InputError
from tests.aircraft.files import TOLQUENNY, aircraft_of

GRAPH = aircraft_of(TOLQUENNY).graph


def _chain(node, fail, switches=None):
    return [f"{step.node} {step.state}" for step in path(GRAPH, node, fail, switches)]


def _works_with(found):
    """What works with these causes alone."""
    return working(
        GRAPH, [cause.name for cause in found if not cause.at], {cause.name: cause.at for cause in found if cause.at}
    )


class TestPath:
    """Chains against the bus table of the handbook's section 24, followed by hand."""

    def test_working_component_is_fed_from_its_source(self):
        """CPC: right engine, right generator, R MAIN."""
        assert _chain("CPC", ()) == ["R_ENG works", "R_GEN works", "R_MAIN works", "CPC works"]

    def test_right_bus_bar_takes_automatic_control(self):
        """F09: the bar failed, the bus and the controller are lost, so AUTO is."""
        assert _chain("AUTO", ("R_BAR",)) == ["R_BAR failed", "R_MAIN lost", "CPC lost", "AUTO lost"]

    def test_left_generator_with_the_tie_open(self):
        """F15: AUTO is lost by way of ADC 1, not by way of a switch."""
        assert _chain("AUTO", ("L_GEN", "TIE")) == ["L_GEN failed", "L_MAIN lost", "ADC_1 lost", "AUTO lost"]

    def test_other_branch_feeds_it(self):
        """F05: with the tie closed, L MAIN lives from the right generator."""
        assert _chain("SPDBRK", ("L_GEN",)) == ["R_ENG works", "R_GEN works", "L_MAIN works", "SPDBRK works"]

    def test_lost_power_keeps_a_valve_open(self):
        """F09: the right bleed flows, whatever the selector says, because nothing can shut it."""
        assert _chain("R_BLEED", ("R_BAR",), {"BLEED": "L"}) == [
            "R_BAR failed", "R_MAIN lost", "R_BLEED_SHUT lost", "R_BLEED works",
        ]  # fmt: skip

    def test_break_at_a_switch(self):
        """Nothing failed, BLEED OFF: the break is the selector."""
        (step,) = path(GRAPH, "R_BLEED", (), {"BLEED": "OFF"})

        assert (step.node, step.state, step.switch) == ("R_BLEED", "lost", Cause("BLEED", "OFF"))

    def test_the_failed_component_is_its_own_chain(self):
        """CPC failed: one step."""
        assert _chain("CPC", ("CPC", "R_BAR")) == ["CPC failed"]

    def test_component_without_needs(self):
        """The thumbwheel needs nothing."""
        assert _chain("MAN", ("L_GEN", "R_GEN")) == ["MAN works"]

    @pytest.mark.parametrize("ask", [path, causes])
    def test_unknown_component(self, ask):
        """A name that the graph lacks is named."""
        with pytest.raises(InputError, match="not in the graph: WING"):
            ask(GRAPH, "WING", ())


class TestCauses:
    """What is to blame."""

    def test_both_feeders_are_named(self):
        """F15: L MAIN is lost by the generator and the tie together; one of them alone would not do."""
        assert causes(GRAPH, "L_MAIN", ("L_GEN", "TIE")) == (Cause("L_GEN"), Cause("TIE"))

    def test_what_does_not_matter_is_left_out(self):
        """The CPC is lost by its bus; the failed ADC has no part in it."""
        assert causes(GRAPH, "CPC", ("ADC_1", "R_BAR")) == (Cause("R_BAR"),)

    def test_switch_is_named_with_its_position(self):
        """F11: dump is lost by both generators and BATT OFF."""
        found = causes(GRAPH, "DUMP", ("L_GEN", "R_GEN"), {"BATT": "OFF"})

        assert found == (Cause("L_GEN"), Cause("R_GEN"), Cause("BATT", "OFF"))

    def test_lost_for_good_takes_the_reserve_along(self):
        """F03 by another way: L MAIN takes ADC 1; that AIR DATA to 2 does not help is the other ADC's failure."""
        fail = ("L_BAR", "ADC_2", "CLOCK")

        assert causes(GRAPH, "AUTO", fail) == (Cause("L_BAR"),)
        assert causes(GRAPH, "AUTO", fail, for_good=True) == (Cause("L_BAR"), Cause("ADC_2"))

    def test_for_good_says_no_more_of_what_an_action_brings_back(self):
        """ADC 1 alone: AUTO comes back, so there is nothing more to explain; dump works."""
        assert causes(GRAPH, "AUTO", ("ADC_1",), for_good=True) == (Cause("ADC_1"),)
        assert causes(GRAPH, "DUMP", ("ADC_1",), for_good=True) == ()

    def test_working_component_blames_nobody(self):
        """Dump works with the ADCs lost."""
        assert causes(GRAPH, "DUMP", ("ADC_1", "ADC_2")) == ()

    @pytest.mark.parametrize("switches", [{}, {"BATT": "OFF"}, {"BLEED": "L"}, {"AIR_DATA": "2"}, {"PRESS": "MAN"}])
    def test_causes_alone_explain_it_and_none_is_idle(self, switches):
        """Only the causes at work: still lost; one of them mended: it works."""
        names = ["L_ENG", "R_ENG", "L_BAR", "R_BAR", "E_BAR", "TIE", "BATT", "L_GEN", "R_GEN", "CPC", "ADC_1", "ADC_2"]
        asked = 0
        for fail in itertools.combinations(names, 2):
            for node in set(GRAPH.nodes) - working(GRAPH, fail, switches):
                found = causes(GRAPH, node, fail, switches)
                assert found
                assert node not in _works_with(found)
                for mended in found:
                    assert node in _works_with([cause for cause in found if cause != mended])
                asked += 1
        assert asked > 500

    def test_the_chain_ends_at_a_cause(self):
        """The first step of a lost component's chain is to blame: it failed, or its switch stands wrong."""
        for fail in itertools.islice(itertools.combinations(GRAPH.nodes, 2), 0, None, 41):
            for node in set(GRAPH.nodes) - working(GRAPH, fail, {"BATT": "OFF"}):
                first = path(GRAPH, node, fail, {"BATT": "OFF"})[0]
                blamed = causes(GRAPH, node, fail, {"BATT": "OFF"})
                assert (first.switch or Cause(first.node)) in blamed
