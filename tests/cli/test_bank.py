"""`quizsvc bank`: check, load and show, on the shipped bank and on banks with planted faults."""

from __future__ import annotations

import contextlib
import json
import os
import subprocess
from collections import Counter

import pytest
import yaml

from quizsvc.cli.bank_list import SORTS
from quizsvc.services import listing
from quizsvc.settings import question_bank_folder, settings_from
from quizsvc.store.session import Database
from quizsvc.store.tables import Item, Revision
from tests import factories
from tests.cli.conftest import PROGRAM


@pytest.fixture
def bank(tmp_path):
    """The tests' own bank, in a folder of this test."""
    return factories.write_bank(tmp_path / "question_bank")


@pytest.fixture
def home(home, bank):
    """The empty home, its settings naming the tests' bank."""
    return home | {"QUIZSVC_BANK": str(bank)}


OWN_CONCEPT = """\
- concept: CLUB-RADIO
  title: Who answers on the club frequency
  system: club rules
  what: recall
  consequence: 1
"""

OWN_ITEM = """\
- item: club-radio-who
  kind: one
  concept: CLUB-RADIO
  demand: rote
  stem: Who answers on the club frequency at weekends?
  options:
    - {id: duty, text: the duty instructor, key: true}
    - {id: nobody, text: nobody, belief: thinks it is unmanned}
  why: The duty instructor keeps the radio.
  author: first author
  read-by: second reader
  status: live
"""


def plant(bank, old, new, file="tolquenny-19/items.yaml"):
    """Change a place of the bank's text; returns the line it stands in."""
    path = bank / file
    text = path.read_text()
    assert text.count(old) == 1
    path.write_text(text.replace(old, new))
    return text[: text.index(old)].count("\n") + 1


class TestCheck:
    def test_the_shipped_bank_has_no_fault(self, quizsvc):
        """What ships passes its own check."""
        code, out, err = quizsvc("bank", "check", question_bank_folder())

        assert (code, err) == (0, "")
        assert ", no fault, " in out
        assert "error: " not in out
        assert "left out" not in out

    def test_a_sound_bank_ends_with_0_and_a_count(self, quizsvc, bank):
        """The last line of standard output."""
        code, out, err = quizsvc("bank", "check")

        items = sum(path.read_text().count("- item: ") for path in bank.rglob("*.yaml"))
        last = out.splitlines()[-1]
        assert (code, last.split(": ")[0]) == (0, str(bank))
        assert f": {items} items, " in last
        assert "no fault" in last

    def test_every_fault_is_reported_with_its_place_and_the_run_ends_with_1(self, quizsvc, bank):
        """Three faults in one run: each with file, line, item and a cure."""
        lines = [
            plant(bank, "unit: ft\n  within: 150 ft", "unit: pssi\n  within: 150 ft"),
            plant(bank, "concept: D-BUS\n  demand: rote", "concept: D-BUSS\n  demand: rote"),
            plant(bank, "kind: some\n", "kind: sum\n"),
        ]

        code, out, err = quizsvc("bank", "check")

        places = [line for line in out.splitlines() if line.startswith("where: ")]
        items = sum(path.read_text().count("- item: ") for path in bank.rglob("*.yaml"))
        assert (code, err) == (1, "")
        assert out.splitlines()[-1].startswith(f"{bank}: {items - 3} items (3 more left out for faults), ")
        assert "3 faults" in out
        for line in lines:
            assert [place for place in places if f"items.yaml, line {line}, column " in place and ", item '" in place]
        assert out.count("error: ") == 3
        assert "mend:  did you mean 'psi' or 'psi/min'?\n" in out

    def test_json_reports_the_same_for_a_program(self, quizsvc, bank):
        """Findings as objects, nothing on standard error."""
        line = plant(bank, "unit: ft\n  within: 150 ft", "unit: pssi\n  within: 150 ft")

        code, out, err = quizsvc("bank", "check", bank, "--json", "--summary")

        report = json.loads(out)
        assert (code, err) == (1, "")
        assert (report["faults"], report["left_out"]) == (1, 1)
        fault = next(finding for finding in report["findings"] if finding["severity"] == "fault")
        assert (fault["line"], fault["item"]) == (line, "cabin-from-differential")
        assert set(fault) == {"file", "line", "column", "reference", "what", "mend", "item", "severity"}
        assert report["summary"]["by_status"]["live"] > 10

    def test_the_summary_counts_items_by_concept(self, quizsvc, bank):
        """Counts that can be made by hand in the text."""
        code, out, err = quizsvc("bank", "check", "--summary")

        kinds = Counter(
            line.split(": ")[1]
            for path in bank.rglob("*.yaml")
            for line in path.read_text().splitlines()
            if "  kind: " in line
        )
        assert code == 0
        assert "by kind: " + ", ".join(f"{kind} {count}" for kind, count in sorted(kinds.items())) in out
        rows = {line.split()[0]: line.split()[1:] for line in out.splitlines() if line.startswith("  ")}
        assert rows["P-DIFF"][:2] == ["live", "2"] and rows["P-DIFF"][2] in kinds
        table = out[out.index("system  ") :].splitlines()
        assert table[0].split() == ["system", *sorted(kinds), "all"]
        (whole,) = [line.split() for line in table if line.startswith("all ")]
        assert whole == ["all", *(str(count) for _, count in sorted(kinds.items())), str(sum(kinds.values()))]

    def test_a_folder_that_is_none_is_a_clear_error(self, quizsvc, tmp_path):
        """Says which folder, and ends with 1."""
        code, out, err = quizsvc("bank", "check", tmp_path / "nowhere")

        assert (code, out) == (1, "")
        assert f"{tmp_path / 'nowhere'}" in err
        assert "mend:  " in err

    def test_a_pipe_gets_no_progress(self, home):
        """The real program with its output caught: only findings and the count."""
        result = subprocess.run([PROGRAM, "bank", "check"], env=home, capture_output=True, text=True, timeout=120)

        assert result.returncode == 0
        assert "\r" not in result.stdout + result.stderr
        assert "checking" not in result.stderr

    def test_a_terminal_gets_progress(self, home):
        """The real program on a pseudo-terminal draws its line and wipes it."""
        leader, follower = os.openpty()
        with subprocess.Popen(
            [PROGRAM, "bank", "check"], env=home, stdout=subprocess.DEVNULL, stderr=follower
        ) as process:
            os.close(follower)
            seen = b""
            # Reading a terminal whose program has ended is an error on Linux, and the end.
            with contextlib.suppress(OSError):
                while piece := os.read(leader, 4096):
                    seen += piece
            os.close(leader)

        assert process.returncode == 0
        assert b"\rchecking items: " in seen
        assert seen.rstrip().endswith(b"\x1b[K")


class TestLoad:
    def test_it_stores_the_bank_and_says_what_is_new(self, quizsvc, bank, home):
        """Each item is named, and its revision is in the database."""
        assert quizsvc("db", "upgrade")[0] == 0

        code, out, err = quizsvc("bank", "load")

        named = {line.split()[1] for line in out.splitlines() if line.startswith("new ")}
        with contextlib.closing(Database.open(settings_from(home).database_url)) as db, db.reading() as session:
            stored = {item.id for item in session.query(Item)}
        assert (code, err) == (0, "")
        assert named == stored
        assert f"loaded {bank} (school): {len(stored)} new, 0 changed, 0 unchanged, 0 withdrawn; " in out

    def test_a_second_load_changes_nothing_and_a_changed_item_is_named(self, quizsvc, bank, home):
        """Loading is safe to repeat; a changed text makes one new revision; a removed item is withdrawn."""
        quizsvc("db", "upgrade")
        first = json.loads(quizsvc("bank", "load", "--json")[1])
        again = json.loads(quizsvc("bank", "load", "--json")[1])
        plant(bank, "Which bus feeds the dump switch?", "Which bus is it that feeds the dump switch?")
        changed = json.loads(quizsvc("bank", "load", "--json")[1])

        assert (again["new"], again["changed"], again["unchanged"]) == ([], [], len(first["new"]))
        assert (changed["new"], changed["changed"]) == ([], ["essential-bus-feeds"])
        with contextlib.closing(Database.open(settings_from(home).database_url)) as db, db.reading() as session:
            revisions = Counter(revision.item_id for revision in session.query(Revision))
        assert revisions.pop("essential-bus-feeds") == 2
        assert set(revisions.values()) == {1}

    def test_a_bank_with_a_fault_is_refused_whole(self, quizsvc, bank, home):
        """Every finding is printed, the sum says that nothing was loaded, and nothing was."""
        quizsvc("db", "upgrade")
        plant(bank, "unit: ft\n  within: 150 ft", "unit: pssi\n  within: 150 ft")

        code, out, err = quizsvc("bank", "load")

        with contextlib.closing(Database.open(settings_from(home).database_url)) as db, db.reading() as session:
            stored = session.query(Item).count()
        assert (code, out, stored) == (1, "", 0)
        assert "where: question_bank/tolquenny-19/items.yaml, line " in err
        assert "error: bank-faults\nwhat:  the bank has 1 fault; nothing was loaded\n" in err

    def test_a_schools_own_bank_stands_beside_the_shipped_one(self, quizsvc, tmp_path, home):
        """Loading either withdraws nothing of the other; an id of the other one is refused."""
        quizsvc("db", "upgrade")
        shipped = json.loads(quizsvc("bank", "load", question_bank_folder(), "--json")[1])
        own = tmp_path / "own" / "general"
        own.mkdir(parents=True)
        (own / "concepts.yaml").write_text(OWN_CONCEPT)
        (own / "rules.yaml").write_text(OWN_ITEM)
        beside = json.loads(quizsvc("bank", "load", own.parent, "--json")[1])
        again = json.loads(quizsvc("bank", "load", question_bank_folder(), "--json")[1])
        assert (beside["new"], beside["withdrawn"]) == (["club-radio-who"], [])
        assert (again["unchanged"], again["withdrawn"]) == (len(shipped["new"]), [])

        (own / "rules.yaml").write_text(OWN_ITEM.replace("club-radio-who", shipped["new"][0]))
        code, out, err = quizsvc("bank", "load", own.parent)
        assert (code, out) == (1, "")
        assert err.endswith(
            f"error: bank-other-source\nwhat:  item '{shipped['new'][0]}' belongs to the bank 'shipped'\n"
            f"where: item '{shipped['new'][0]}'\nmend:  give it another id\n"
        )

    def test_a_database_without_schema_names_the_command(self, quizsvc):
        """Loading never migrates."""
        code, out, err = quizsvc("bank", "load")

        assert (code, out) == (1, "")
        assert "quizsvc db upgrade" in err


class TestShow:
    def test_a_number_with_key_traps_and_working(self, quizsvc):
        """What an author checks before a second reader gets it."""
        code, out, err = quizsvc("bank", "show", "cabin-from-differential", "--draws", "3")

        assert (code, err) == (0, "")
        assert out.startswith("cabin-from-differential: number, concept P-DIFF, live, ")
        assert [line for line in out.splitlines() if line.startswith("draw ")] == ["draw 1", "draw 2", "draw 3"]
        assert out.count("\ntrap from-sea-level: ") == 3
        assert out.count(" ft   <- took it off sea-level pressure\n") == 3

    def test_options_with_their_beliefs(self, quizsvc):
        """Each option with its id, and the belief behind a wrong one."""
        code, out, err = quizsvc("bank", "show", "gate-slow-leak")

        assert code == 0
        assert "\n  never: not before the masks   <- a high-field regime has no warning\n" in out
        assert "\nkey: 10,000 ft cabin\n" in out

    def test_rows_with_what_the_graph_says(self, quizsvc):
        """Each row with its key, the way to it, and the beliefs behind wrong answers."""
        code, out, err = quizsvc("bank", "show", "left-generator-tie-open", QUIZSVC_BANK="")

        assert (code, err) == (0, "")
        assert "\n  speedbrakes: lost (left generator and bus tie failed → L MAIN DC → speedbrakes)\n" in out
        assert "\n    <- works: a lost generator is never a lost bus\n" in out
        assert "\nchoices: works; lost; works after AIR DATA to 2; " in out

    def test_gauge_in_words(self, quizsvc):
        """The picture as its text equivalent, the second question, the readings."""
        code, out, err = quizsvc("bank", "show", "who-holds-the-cabin", QUIZSVC_BANK="")

        assert (code, err) == (0, "")
        assert "\npicture: Angles are clockwise from the top. Outer scale CABIN ALT" in out
        assert "\nWhat is holding the cabin?\n" in out
        assert "\n  CABIN ALT: 4,700 ft\n" in out

    def test_a_scenario_part_by_part(self, quizsvc):
        """Sample S09 of the item design: CAB 7,100 before the climb, 8,350 to land; what follows, what is revealed."""
        code, out, err = quizsvc("bank", "show", "both-sources-gone-to-a-high-field", QUIZSVC_BANK="")

        assert (code, err) == (0, "")
        assert "\npart b: one, concept C-BACK, put right before going on\n" in out
        assert "\npart f: number, concept P-RATE, follows c, e\n" in out
        assert "\nkey: 7,100 ft\n" in out
        assert "\nkey: 8,350 ft\n" in out

    def test_json_holds_each_draw(self, quizsvc):
        """For a program: one object, as many draws as asked for."""
        code, out, err = quizsvc("bank", "show", "cabin-from-differential", "--draws", "2", "--json")

        shown = json.loads(out)
        assert (code, len(shown["draws"])) == (0, 2)
        assert {"stem", "key", "accepted", "traps", "why", "working"} <= set(shown["draws"][0])

    def test_an_item_that_is_not_there(self, quizsvc):
        """Says so and ends with 1."""
        code, out, err = quizsvc("bank", "show", "no-such-item")

        assert (code, out) == (1, "")
        assert err.startswith("error: item-not-found\nwhat:  the bank has no item 'no-such-item' that could be shown\n")


class TestList:
    @pytest.mark.parametrize(
        ("sort", "line"),
        [
            ("concepts", "D-BUS"),
            ("sections", "24-40"),
            ("nodes", "ESS"),
            ("switches", "BATT"),
            ("actions", "BATT ON"),
            ("failures", "F05"),
            ("airfields", "XQDQ"),
        ],
    )
    def test_each_sort_names_its_ids(self, quizsvc, sort, line):
        """An id of the shipped texts stands at the beginning of one line, its name after it."""
        code, out, err = quizsvc("bank", "list", sort, question_bank_folder())

        assert (code, err) == (0, "")
        found = [text for text in out.splitlines() if text.startswith(f"  {line}  ")]
        assert len(found) == 1, out
        assert len(found[0].split()) > len(line.split())

    def test_everything_of_the_aircraft_file_is_there(self, quizsvc):
        """Held against the file's own text, read without this project."""
        raw = yaml.safe_load((question_bank_folder() / "tolquenny-19" / "aircraft.yaml").read_text(encoding="utf-8"))
        for sort in ("nodes", "switches", "failures"):
            listed = json.loads(quizsvc("bank", "list", sort, question_bank_folder(), "--json")[1])[sort]
            assert [row["id"] for row in listed] == list(raw[sort])
            assert {row["folder"] for row in listed} == {"tolquenny-19"}
        fields = json.loads(quizsvc("bank", "list", "airfields", question_bank_folder(), "--json")[1])["airfields"]
        assert {row["id"] for row in fields} == {field["id"] for field in raw["airfields"]}

    def test_concepts_of_every_folder_under_their_folder(self, quizsvc, bank):
        """The tests' bank, by its setting."""
        code, out, err = quizsvc("bank", "list", "concepts")

        ids = [
            concept["concept"] for path in bank.rglob("concepts.yaml") for concept in yaml.safe_load(path.read_text())
        ]
        assert (code, err) == (0, "")
        assert sorted(line.split()[0] for line in out.splitlines() if line.startswith("  ")) == sorted(ids)
        assert {line for line in out.splitlines() if line and not line.startswith("  ")} <= {"general", "tolquenny-19"}

    def test_a_faulty_item_hides_nothing(self, quizsvc, bank):
        """Items are not read for it."""
        before = quizsvc("bank", "list", "concepts")
        plant(bank, "kind: some\n", "kind: sum\n")

        assert quizsvc("bank", "list", "concepts") == before

    def test_a_broken_aircraft_file_is_a_clear_error(self, quizsvc, bank):
        """Nothing to list: says where the file breaks."""
        path = bank / "tolquenny-19" / "aircraft.yaml"
        path.write_text("- no aircraft\n")

        code, out, err = quizsvc("bank", "list", "nodes")

        assert (code, out) == (1, "")
        assert err.startswith("error: bank-list\n")
        assert "aircraft.yaml" in err

    def test_a_sort_that_is_none_names_those_there_are(self, quizsvc):
        """A mistake in typing."""
        code, out, err = quizsvc("bank", "list", "knobs")

        assert (code, out) == (2, "")
        assert all(sort in err for sort in SORTS)

    def test_the_command_line_knows_every_sort(self):
        """Written twice, so that the help needs no bank."""
        assert listing.SORTS == SORTS
