"""The bench against the claims that a person wrote into the aircraft file, and which items it leads to."""

from __future__ import annotations

import random
import shutil
from datetime import UTC, datetime
from pathlib import Path

import pytest

from quizsvc.errors import InputError, NotFoundError
from quizsvc.services import banks
from quizsvc.services.bench import Asked, bench, benches
from tests import factories
from tests.aircraft.files import TOLQUENNY, aircraft_of

KEY = "tolquenny-19"
SECOND = Path(__file__).resolve().parents[1] / "aircraft" / "second.yaml"
AIRCRAFT = aircraft_of(TOLQUENNY)


def _ids(rows):
    return {row.id for row in rows}


# The 18 hand-written rows of domain/aircraft.yaml: what is lost, what an action brings back, what is kept.
@pytest.mark.parametrize("failure", AIRCRAFT.failures.values(), ids=AIRCRAFT.failures)
def test_the_hand_written_claims_show_on_the_bench(bank_db, failure):
    """Each part in the list where a person put it."""
    seen = bench(bank_db, KEY, Asked(fail=failure.fail, switches=failure.switches))

    assert set(failure.expect_lost) <= _ids(seen.lost)
    assert set(failure.expect_kept) <= _ids(seen.works)
    actions = {action.id: action.words for action in AIRCRAFT.actions}
    for node, action in failure.expect_after.items():
        row = next(row for row in seen.after if row.id == node)
        assert actions[action] in row.actions
    assert _ids(seen.failed) == set(failure.fail)
    assert [known.title for known in seen.known if known.chosen] == [failure.title]


def test_every_part_stands_in_one_list_and_in_both_pictures(bank_db):
    """Nothing is forgotten, nothing counted twice."""
    seen = bench(bank_db, KEY, Asked(fail=("L_GEN", "TIE")))
    lists = [*seen.failed, *seen.lost, *seen.after, *seen.works]

    assert sorted(row.id for row in lists) == sorted(AIRCRAFT.nodes)
    assert sorted(node.id for group in seen.groups for node in group.nodes) == sorted(AIRCRAFT.nodes)
    for picture in (seen.wide, seen.narrow):
        states = {node["id"]: node["state"] for node in picture["nodes"]}
        assert states == {row.id: row.state for row in lists}


def test_nothing_failed_is_said_to_be_undisturbed(bank_db):
    """A switch at its normal position is no change."""
    seen = bench(bank_db, KEY, Asked(switches={"BATT": "ON"}))

    assert seen.undisturbed and not seen.lost and not seen.after and seen.concepts == ()
    assert not bench(bank_db, KEY, Asked(switches={"BATT": "OFF"})).undisturbed


def test_the_way_to_a_part_ends_where_it_breaks_and_names_what_is_to_blame(bank_db):
    """F15 by hand: speedbrakes hang on L MAIN, whose generator is gone and whose tie stays open."""
    seen = bench(bank_db, KEY, Asked(fail=("TIE", "L_GEN"), node="SPDBRK"))

    assert seen.node.state == "lost"
    assert seen.way["path"][-2:] == ["L_MAIN", "SPDBRK"] and seen.way["break"] == seen.way["path"][0]
    assert sorted(seen.blamed) == ["bus tie failed", "left generator failed"]


def test_a_switch_out_of_place_is_to_blame_too(bank_db):
    """Both generators gone and BATT OFF: the essential bus waits for the switch alone."""
    seen = bench(bank_db, KEY, Asked(fail=("L_GEN", "R_GEN"), switches={"BATT": "OFF"}, node="ESS"))

    assert seen.node.state == "after" and seen.node.actions == ("BATT ON",)
    assert "BATT switch at OFF" in seen.blamed


@pytest.mark.parametrize(
    ("asked", "named"),
    [
        (Asked(fail=("L_GEN", "FLUX")), "'FLUX' is no part"),
        (Asked(node="FLUX"), "'FLUX' is no part"),
        (Asked(switches={"FLUX": "1"}), "'FLUX' is no switch"),
        (Asked(switches={"BATT": "HALF"}), "no position 'HALF'"),
        (Asked(fail=tuple(AIRCRAFT.nodes)), "more than the bench takes"),
    ],
)
def test_names_that_the_aircraft_does_not_have_are_refused(bank_db, asked, named):
    """With the name that was given."""
    with pytest.raises(InputError, match=named) as refused:
        bench(bank_db, KEY, asked)
    assert refused.value.reference == "bench-name-unknown"


@pytest.mark.parametrize("key", ["no-such", "", "\u0007", "general"])
def test_an_aircraft_that_is_not_there_is_not_found(bank_db, key):
    """Whatever was typed for it."""
    with pytest.raises(NotFoundError):
        bench(bank_db, key, Asked())


def test_it_leads_to_the_items_that_name_what_failed(bank_db):
    """The test bank names the relief heads in an option of one item, about C-FAIL, and in no other."""
    seen = bench(bank_db, KEY, Asked(fail=("RELIEF",)))

    assert [(row.id, row.items, row.handbook) for row in seen.concepts] == [("C-FAIL", 1, "21-10")]


def test_items_that_are_not_live_or_not_of_this_aircraft_are_left_out(db, tmp_path):
    """A draft about the part, and an item of the general folder that names it."""
    extra = {
        "tolquenny-19/more.yaml": factories.one_item(
            "heads-draft", "H-GATE", stem="What do the relief heads do?", status="draft", handbook="21-30"
        ),
        "general/more.yaml": factories.one_item("heads-general", "G-T1", stem="What do relief heads do?"),
    }
    banks.load(
        db, factories.write_bank(tmp_path, extra=extra), now=datetime(2026, 3, 1, tzinfo=UTC), rng=random.Random(1)
    )

    assert [row.id for row in bench(db, KEY, Asked(fail=("RELIEF",))).concepts] == ["C-FAIL"]


def test_the_failed_part_counts_more_than_what_dies_with_it(db, tmp_path):
    """An item about the generator itself comes before items about what hangs on its bus."""
    extra = {
        "tolquenny-19/more.yaml": factories.one_item(
            "about-flaps", "H-GATE", stem="What do the flaps need?", handbook="21-30"
        )
        + factories.one_item("about-bar", "D-BUS", stem="What hangs on the L MAIN bus bar?", handbook="24-10"),
    }
    banks.load(
        db, factories.write_bank(tmp_path, extra=extra), now=datetime(2026, 3, 1, tzinfo=UTC), rng=random.Random(1)
    )
    found = [row.id for row in bench(db, KEY, Asked(fail=("L_BAR",))).concepts]

    assert found.index("D-BUS") < found.index("H-GATE")


def test_part_of_a_word_is_no_name(db, tmp_path):
    """`clocks` and `overclock` are not the clock."""
    extra = {"tolquenny-19/more.yaml": factories.one_item(
        "tick", "H-GATE", stem="Which clocks or overclocked parts?", handbook="21-30")}  # fmt: skip
    banks.load(
        db, factories.write_bank(tmp_path, extra=extra), now=datetime(2026, 3, 1, tzinfo=UTC), rng=random.Random(1)
    )

    assert bench(db, KEY, Asked(fail=("CLOCK",))).concepts == ()


class TestFlights:
    """What the cabin does: common practice is in domain/aircraft.md; numbers are from there."""

    def test_there_are_a_few_flights_by_the_aircrafts_own_fields_and_ceiling(self, bank_db):
        """From the home base, Dunquerry, to the highest field, Sant Orrin, at FL390."""
        seen = bench(bank_db, KEY, Asked()).flight

        assert 3 <= len(seen.names) <= 5
        assert "Dunquerry to Sant Orrin, FL390" in seen.names
        assert seen.words == ("Nothing fails.",) and seen.plot["marks"] == []

    def test_a_dead_controller_sinks_the_cabin_to_the_relief_heads(self, bank_db):
        """F04: cabin sinks until the relief heads hold 8.9 psi, at FL390 about 6,050 ft."""
        seen = bench(bank_db, KEY, Asked(fail=("CPC",))).flight
        dials = {dial["id"]: dial["value"] for dial in seen.gauge["dials"]}

        assert dials["cabin"] == pytest.approx(6.05, abs=0.01)
        assert dials["differential"] == pytest.approx(8.9, abs=0.001)
        assert "differential 8.9 psi" in seen.reading
        assert seen.words[0].startswith("It fails") and "the controller is dead" in seen.words[1]
        assert [line["label"] for line in seen.plot["lines"]] == ["cabin", "undisturbed", "aircraft"]

    def test_the_other_air_data_source_brings_automatic_back(self, bank_db):
        """F01: CREW TGT, then AIR DATA to 2 restores AUTO; the crew does it five minutes later."""
        lost = bench(bank_db, KEY, Asked(fail=("ADC_1",), phase="climb")).flight
        mended = bench(bank_db, KEY, Asked(fail=("ADC_1",), switches={"AIR_DATA": "2"}, phase="climb")).flight

        assert any("held for the crew's target" in words for words in lost.words)
        assert not any("automatic control is back" in words for words in lost.words)
        assert "automatic control is back" in mended.words[-1]
        assert [mark["label"] for mark in mended.plot["marks"]] == ["it fails", "switches"]

    def test_both_engines_out_lets_the_cabin_leak_up(self, bank_db):
        """F14: no inflow; CABIN ALT works (ESS on the battery); 10,000 ft after 1.7 min from 6,900."""
        seen = bench(bank_db, KEY, Asked(fail=("L_ENG", "R_ENG"))).flight
        warned = next(words for words in seen.words if "cabin at 10,000 ft" in words)

        assert "CABIN ALT warning comes" in warned
        failed = next(mark["at"] for mark in seen.plot["marks"])
        assert float(warned.split()[1].strip(",")) - failed == pytest.approx(1.7, abs=0.11)

    def test_a_warning_that_is_lost_does_not_come(self, bank_db):
        """F10 with both engines: ESS gone, so nobody is warned and no mask drops."""
        seen = bench(bank_db, KEY, Asked(fail=("L_ENG", "R_ENG", "E_BAR"))).flight

        assert sum("does not come: it is lost" in words for words in seen.words) == 2

    def test_by_hand_the_cabin_is_held(self, bank_db):
        """Pressurisation to MAN with nothing failed: the crew holds what there is."""
        seen = bench(bank_db, KEY, Asked(switches={"PRESS": "MAN"})).flight

        assert any("by hand and holds" in words for words in seen.words)

    @pytest.mark.parametrize("phase", ["climb", "cruise", "descent"])
    def test_every_single_failure_flies_every_flight(self, bank_db, phase):
        """Each part, each flight: a plot, and the minute inside it."""
        from quizsvc.pictures import draw
        from quizsvc.services.bench_flights import flown

        for place, node in enumerate(AIRCRAFT.nodes):
            seen = flown(AIRCRAFT, (node,), {}, place % 4, phase, None)
            assert 0 <= seen.minute <= seen.last
            assert draw(seen.plot)

    def test_a_minute_of_ones_own_is_read_and_one_beyond_the_end_is_the_end(self, bank_db):
        """The slider's ends move with the flight."""
        seen = bench(bank_db, KEY, Asked(minute=5)).flight
        late = bench(bank_db, KEY, Asked(minute=900)).flight

        assert seen.minute == 5 and late.minute == late.last

    def test_a_flight_that_is_not_there_is_refused(self, bank_db):
        """By its number."""
        with pytest.raises(InputError, match="no flight 9"):
            bench(bank_db, KEY, Asked(flight=9))


@pytest.fixture
def second_db(db, tmp_path):
    """A bank of the second invented aircraft: other buses, other switches, other names."""
    folder = factories.write_bank(tmp_path / "bank", without=("tolquenny-19/items.yaml",))
    shutil.rmtree(folder / "tolquenny-19")
    name = aircraft_of(SECOND.read_text(encoding="utf-8")).key
    (folder / name / "handbook").mkdir(parents=True)
    shutil.copyfile(SECOND, folder / name / "aircraft.yaml")
    (folder / name / "handbook" / "21.md").write_text("## 21-10 Cabin\n\nA cabin.\n", encoding="utf-8")
    (folder / name / "concepts.yaml").write_text(
        "- {concept: V-ONE, title: One thing, system: 21 cabin, handbook: 21-10, what: recall, consequence: 1}\n",
        encoding="utf-8",
    )
    (folder / name / "items.yaml").write_text(factories.one_item("v-one", "V-ONE", handbook="21-10"), encoding="utf-8")
    banks.load(db, folder, now=datetime(2026, 3, 1, tzinfo=UTC), rng=random.Random(1))
    return db


def test_another_aircraft_needs_no_word_in_python(second_db):
    """Each single failure of a file with other buses is shown, with both pictures."""
    from quizsvc.pictures import draw

    ((key, name),) = benches(second_db)
    aircraft = aircraft_of(SECOND.read_text(encoding="utf-8"))

    assert name == aircraft.name
    for node in aircraft.nodes:
        seen = bench(second_db, key, Asked(fail=(node,), node=node))
        assert _ids(seen.failed) == {node}
        assert draw(seen.wide).count('class="pic-body"') == len(aircraft.nodes)
        assert draw(seen.narrow) and draw(seen.way)
        assert seen.flight is not None and draw(seen.flight.plot)


def test_an_aircraft_without_a_graph_has_no_bench(db, tmp_path):
    """It is not on the list, and its address is not found."""
    folder = factories.write_bank(tmp_path / "bank")
    file = folder / KEY / "aircraft.yaml"
    text = file.read_text(encoding="utf-8")
    start, end = text.index("\nroles:"), text.index("\nairfields:")
    dump = text[text.index("\ndump:") : text.index("\nsafety_altitudes:")]
    electrical = text[text.index("\nelectrical:") : text.index("\nperformance:")]
    file.write_text((text[:start] + text[end:]).replace(dump, "\n").replace(electrical, "\n"), encoding="utf-8")
    banks.load(db, folder, now=datetime(2026, 3, 1, tzinfo=UTC), rng=random.Random(1))

    assert benches(db) == ()
    with pytest.raises(NotFoundError):
        bench(db, KEY, Asked())
