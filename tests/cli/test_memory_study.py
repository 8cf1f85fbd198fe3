"""`quizsvc memory study`: what it prints, writes and refuses."""

from __future__ import annotations

import csv
import xml.etree.ElementTree as ET

import pytest

from quizsvc.memory.simulation.study import SCHEDULES


def test_a_small_study_prints_tables_and_writes_files(quizsvc, tmp_path):
    """Two people in one cell; each schedule with its difference to rotation, each goal met or not, and both files."""
    table, drawing = tmp_path / "study.csv", tmp_path / "study.svg"
    code, out, err = quizsvc(
        *("memory", "study", "--learners", 2, "--cells", "C-sparse-90", "--processes", 1),
        *("--csv", table, "--svg", drawing),
    )

    assert (code, err) == (0, "")
    lines = out.splitlines()
    for schedule in SCHEDULES:
        assert [line for line in lines if line.startswith(f"{schedule}  ") and "(0." in line]
    goals = [line for line in lines if " of 1 " in line and line.endswith(("  met", "  NOT met"))]
    assert len([line for line in goals if line.startswith("recall at the check")]) == 4
    assert len([line for line in goals if line.startswith("wish: ")]) == 3
    assert "1 cell, 2 people in each, seed 1:" in lines[-1]
    with table.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert [row["schedule"] for row in rows] == list(SCHEDULES)
    by_name = {row["schedule"]: row for row in rows}
    assert {row["answers"] for row in rows} == {by_name["rotation"]["answers"]}
    assert float(by_name["rotation"]["less_rotation"]) == 0
    planner, rotation = (float(by_name[name]["recall_at_check"]) for name in ("planner", "rotation"))
    assert float(by_name["planner"]["less_rotation"]) == pytest.approx(planner - rotation)
    assert "C-sparse-90" in "".join(ET.parse(drawing).getroot().itertext())


def test_an_unknown_cell_is_refused(quizsvc):
    """Said what, and what may be given."""
    code, out, err = quizsvc("memory", "study", "--cells", "D-sparse")

    assert (code, out) == (1, "")
    assert "no cell of the study is called 'D-sparse'" in err
    assert "A-sparse-90" in err


def test_a_file_that_cannot_be_written_is_found_before_the_run(quizsvc, tmp_path):
    """Nobody waits minutes for that."""
    code, out, err = quizsvc("memory", "study", "--csv", tmp_path / "gone" / "study.csv")

    assert (code, out) == (1, "")
    assert "error: study-file-unwritable" in err
    assert "gone" in err


@pytest.mark.parametrize(("option", "value"), [("--learners", "1"), ("--seed", "-1"), ("--processes", "0")])
def test_numbers_out_of_bounds_are_wrong_usage(quizsvc, option, value):
    """One person has no standard error; no process does no work."""
    assert quizsvc("memory", "study", option, value)[0] == 2
