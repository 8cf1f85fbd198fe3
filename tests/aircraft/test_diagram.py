"""Chains as picture descriptions."""

from __future__ import annotations

import pytest

from quizsvc.aircraft.diagram import chain_diagram, edges_between, node_kind
from tests.aircraft.files import TOLQUENNY, aircraft_of

GRAPH = aircraft_of(TOLQUENNY).graph


def _states(picture):
    return {node["id"]: node["state"] for node in picture["nodes"]}


class TestChain:
    """The left generator with the tie open, the handbook's section 24."""

    def test_lost_by_two_failures_with_a_way_back(self):
        """Both failures are seen, the way from the first to AUTO, and the other ADC that would serve."""
        picture = chain_diagram(GRAPH, "AUTO", ("L_GEN", "TIE"))

        assert picture["path"] == ["L_GEN", "L_MAIN", "ADC_1", "AUTO"]
        assert picture["break"] == "L_GEN"
        states = _states(picture)
        assert states["TIE"] == states["L_GEN"] == "failed"
        assert states["AUTO"] == "after"
        assert states["ADC_2"] == "works"

    def test_nothing_breaks_where_it_works(self):
        """The left bleed's valve kept open by lost power is shown as what it is."""
        picture = chain_diagram(GRAPH, "L_BLEED", ("E_BAR",), {"BLEED": "R"})

        assert picture["break"] is None
        assert _states(picture)["L_BLEED"] == "works"
        assert _states(picture)["L_BLEED_SHUT"] == "lost"

    def test_break_at_a_switch(self):
        """Nothing failed: the chain breaks where the selector stands."""
        picture = chain_diagram(GRAPH, "L_BLEED", (), {"BLEED": "R"})

        assert picture["break"] == "L_BLEED"
        assert _states(picture)["L_BLEED"] == "after"

    @pytest.mark.parametrize("node", GRAPH.nodes)
    def test_every_edge_and_step_is_among_the_nodes(self, node):
        """What is drawn hangs together: path from node to node along edges, no more than fits a small screen."""
        picture = chain_diagram(GRAPH, node, ("L_GEN", "R_GEN"))
        shown, edges = set(_states(picture)), {(edge["from"], edge["to"]) for edge in picture["edges"]}

        assert {end for edge in edges for end in edge} <= shown
        assert set(zip(picture["path"], picture["path"][1:], strict=False)) <= edges
        assert picture["path"][-1] == node
        assert len(shown) <= 12


def test_kinds_of_nodes():
    """Engines feed, buses carry, the rest is fed."""
    kinds = {key: node_kind(GRAPH, key) for key in ("L_ENG", "ESS", "HOT", "CPC", "MAN")}

    assert kinds == {"L_ENG": "source", "ESS": "bus", "HOT": "bus", "CPC": "part", "MAN": "source"}


def test_edges_say_where_another_feed_would_do():
    """ESS is fed by either main; its bar is a must."""
    edges = {(edge["from"], edge["to"]): edge["one-of"] for edge in edges_between(GRAPH, ("E_BAR", "L_MAIN", "ESS"))}

    assert edges == {("E_BAR", "ESS"): False, ("L_MAIN", "ESS"): True}
