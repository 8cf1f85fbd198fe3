"""`quizsvc memory fit` and `quizsvc memory accept`, on each database."""

from __future__ import annotations

import contextlib
import json
import re
from datetime import UTC, datetime

import pytest

from quizsvc.memory import refitting
from quizsvc.services import memory_study, schema
from quizsvc.settings import settings_from
from quizsvc.store.tables import ConceptState, Learner
from tests import factories, log_rows
from tests.memory.logs import model_log

NOW = datetime(2026, 3, 2, 18, 0, tzinfo=UTC)


@pytest.fixture
def answered(prepared, monkeypatch):
    """An installation where twelve people have given 60 answers each, and 500 are held to be enough."""
    monkeypatch.setattr(refitting, "LEAST_ANSWERS", 500)
    answer(prepared)
    return prepared


def answer(environment):
    """Write the answers."""
    with contextlib.closing(schema.open_database(settings_from(environment))) as db:
        concepts = log_rows.bank_concepts(db)
        people = log_rows.write_people(db, [f"pilot {number}" for number in range(12)], NOW)
        log_rows.write_logs(db, {person: model_log(seed, 60, concepts=concepts) for seed, person in enumerate(people)})


def test_fit_prints_weights_scores_and_gates_and_accept_takes_the_file(quizsvc, answered, tmp_path):
    """From the log to version 2: nothing is stored before `accept`, which refuses what was not tried unless told."""
    file = tmp_path / "weights.json"
    code, out, err = quizsvc("memory", "fit", file, "--quick")

    assert (code, err) == (0, "")
    for word in ("b0", "w5", "standard error", "log loss", "Brier", "ECE", "AUC", "best gap rises", "not tried"):
        assert word in out
    shown_concepts(out, json.loads(file.read_text(encoding="utf-8")))
    assert f"nothing is stored until a person accepts: quizsvc memory accept {file}" in out
    assert json.loads(quizsvc("memory", "fit", "--quick", "--json")[1]) == json.loads(file.read_text(encoding="utf-8"))
    assert json.loads(quizsvc("memory", "replay", "--json")[1])["weights_version"] == 1

    code, out, err = quizsvc("memory", "accept", file)
    assert (code, out) == (1, "")
    assert "error: weights-gate" in err
    code, out, err = quizsvc("memory", "accept", file, "--anyway")
    assert (code, err) == (0, "")
    assert out == "12 learners rebuilt from 720 answers, weights version 2\n"
    assert json.loads(quizsvc("memory", "replay", "--json")[1])["weights_version"] == 2


def shown_concepts(out, raw):
    """The table of difficulties: the three hardest and the three easiest of the file, with titles, and how many."""
    concepts = sorted(raw["concepts"], key=lambda one: one["after"])
    assert {one["concept"]: one["after"] for one in concepts} == raw["weights"]["concept_shift"]
    assert len(concepts) > 6
    lines = out.splitlines()
    place = next(at for at, line in enumerate(lines) if line.startswith("concept, hardest first"))
    assert lines[place - 1] == (
        f"concepts with a difficulty: {len(concepts)} of {raw['concepts_answered']} answered "
        "(it takes 30 answers of 5 learners)"
    )
    for line, one in zip(lines[place + 1 : place + 7], concepts[:3] + concepts[-3:], strict=True):
        cells = re.split(r" {2,}", line)
        assert cells[0] == one["concept"] and cells[1]
        assert cells[2:] == ["+0.000", f"{one['after']:+.3f}", f"{one['se']:.3f}", str(one["answers"]),
                             str(one["learners"])]  # fmt: skip
        assert one["answers"] >= 30 and one["learners"] >= 5
    assert lines[place + 7] == ""


def test_the_way_back_to_older_weights(quizsvc, answered, tmp_path):
    """After version 2 the weights of version 1 come back as version 3, and every learner is what it was before; what is
    not there, or in use, is refused, and so are a file and a version at once."""
    file = tmp_path / "weights.json"
    assert quizsvc("memory", "replay")[0] == 0
    before = stored_states(answered)
    assert quizsvc("memory", "fit", file, "--quick")[0] == 0
    assert quizsvc("memory", "accept", file, "--anyway")[0] == 0
    assert stored_states(answered) != before

    code, out, err = quizsvc("memory", "accept", "--older", "1")
    assert (code, out, err) == (0, "12 learners rebuilt from 720 answers, weights version 3\n", "")
    assert stored_states(answered) == before

    found = json.loads(quizsvc("memory", "weights", "--json")[1])["weights"]
    assert [one["version"] for one in found] == [1, 2, 3]
    assert found[2]["origin"] == "version 1 again"
    listed = quizsvc("memory", "weights")[1].splitlines()
    assert listed[0].split() == ["version", "accepted", "origin"] and listed[3].endswith("version 1 again")
    for version, words in (("3", "is in use\n"), ("9", "is not there\n")):
        code, out, err = quizsvc("memory", "accept", "--older", version)
        assert (code, out) == (1, "")
        assert words in err and "mend:  older versions: 1, 2\n" in err
    for wrong in (("--older", "1", file), ("--older", "0"), ()):
        assert quizsvc("memory", "accept", *wrong)[0] == 2
    assert len(json.loads(quizsvc("memory", "weights", "--json")[1])["weights"]) == 3


def stored_states(environment):
    """What is stored of every learner and concept."""
    with contextlib.closing(schema.open_database(settings_from(environment))) as db, db.reading() as session:
        return (
            {row.person_id: row.state for row in session.query(Learner)},
            {(row.person_id, row.concept_id): row.state for row in session.query(ConceptState)},
        )


def test_all_three_gates_are_tried(quizsvc, home, tmp_path, monkeypatch):
    """Without --quick the planner is simulated with both weights, in each of the three worlds; here for one person."""
    monkeypatch.setattr(refitting, "LEAST_ANSWERS", 500)
    monkeypatch.setattr(memory_study, "_REFERENCE_PEOPLE", 1)
    home |= {"QUIZSVC_BANK": str(factories.write_bank(tmp_path / "question_bank"))}
    assert quizsvc("db", "upgrade")[0] == 0
    assert quizsvc("bank", "load")[0] == 0
    answer(home)
    code, out, err = quizsvc("memory", "fit", "--json")

    assert (code, err) == (0, "")
    gates = json.loads(out)["gates"]
    assert all(gate["passed"] in (True, False) for gate in gates)
    assert re.fullmatch(r"A-\S+ \.\d{3} to \.\d{3}, B-\S+ .*, C-\S+ .*", gates[2]["said"].replace("0.", "."))


def test_a_small_log_is_refused_politely(quizsvc, prepared):
    """With the number of answers, and without a file."""
    code, out, err = quizsvc("memory", "fit", "weights.json")

    assert (code, out) == (1, "")
    assert "error: fit-too-few-answers\nwhat:  0 answers (repeats apart) are too few" in err
    assert "10,000" in err


def test_a_file_that_is_there_is_not_written_over(quizsvc, prepared, tmp_path):
    """Before any fitting."""
    file = tmp_path / "weights.json"
    file.write_text("mine", encoding="utf-8")
    code, _, err = quizsvc("memory", "fit", file)

    assert code == 1
    assert "error: file-exists" in err
    assert file.read_text(encoding="utf-8") == "mine"


def test_a_file_that_cannot_be_written_says_where(quizsvc, answered, tmp_path):
    """A folder that is not there."""
    code, _, err = quizsvc("memory", "fit", tmp_path / "nowhere" / "weights.json", "--quick")

    assert code == 1
    assert "error: file-unwritable" in err
    assert "nowhere" in err


@pytest.mark.parametrize(
    ("content", "reference"),
    [(b"", "weights-file"), (b"\xff\xfe", "weights-file"), (b"[" * 100_000, "weights-file"), (b"{}", "weights-file"),
     (b" " * 1_000_001, "weights-file"), (None, "file-unreadable")],
)  # fmt: skip
def test_what_is_no_file_of_weights_is_refused(quizsvc, prepared, tmp_path, content, reference):
    """Empty, no text, nested without end, another JSON, too long, not there."""
    file = tmp_path / "weights.json"
    if content is not None:
        file.write_bytes(content)
    code, out, err = quizsvc("memory", "accept", file)

    assert (code, out) == (1, "")
    assert f"error: {reference}" in err
