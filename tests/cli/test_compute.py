"""`quizsvc compute`: formulas from the command line and from a pipe."""

from __future__ import annotations

import json
import subprocess

import pytest

from quizsvc.cli import main
from tests.cli.conftest import PROGRAM


@pytest.fixture
def compute(capsys, home):
    """Runs `quizsvc compute` in this process; gives exit code, standard output and standard error."""

    def run(*words):
        code = main.main(["compute", *words], home)
        return code, *capsys.readouterr()

    return run


class TestResult:
    def test_cabin_altitude_at_39_000_ft_and_8_7_psi(self, compute):
        """6,506 ft within 1.

        Source: the standard atmosphere (ISO 2533); recomputed from published layer values in tests/reference.
        """
        code, out, err = compute("cabin_altitude(39000*ft, 8.7*psi)", "--unit", "ft")

        assert (code, err) == (0, "")
        assert out.endswith(" ft\n")
        assert abs(int(out.removesuffix(" ft\n").replace(",", "")) - 6506) <= 1

    @pytest.mark.parametrize(
        ("expression", "text"),
        [
            ("1 + 1", "2"),
            ("7 / 4", "1.75"),
            ("12000*ft - 400*ft", "11,600 ft"),
            ("8.7*psi - 0.25*psi", "8.45 psi"),
            ("3000*ft / (500*fpm)", "6.00 min"),
            ("-1500*ft", "-1,500 ft"),
            ("2*ft > 1*ft", "true"),
            ("2*ft < 1*ft", "false"),
        ],
    )
    def test_a_result_has_the_unit_of_the_trade(self, compute, expression, text):
        """A pilot reads feet, psi and minutes; arithmetic by hand, no source needed."""
        assert compute(expression) == (0, text + "\n", "")

    @pytest.mark.parametrize(
        ("unit", "text"),
        [("m", "305 m"), ("FL", "FL010"), ("km", "0.30 km"), ("in", "12,000 in"), ("feet", "1,000 ft")],
    )
    def test_another_unit_can_be_asked_for(self, compute, unit, text):
        """1 ft = 0.3048 m exactly (NIST SP 811), a flight level is hundreds of feet, 12 inches make a foot."""
        assert compute("1000*ft", "--unit", unit) == (0, text + "\n", "")

    def test_json_carries_the_number_unrounded(self, compute):
        """A script gets value, unit and SI value as numbers."""
        code, out, err = compute("1000*ft", "--unit", "m", "--json")

        assert (code, err) == (0, "")
        assert json.loads(out) == {
            "expression": "1000*ft",
            "value": pytest.approx(304.8, abs=1e-9),
            "unit": "m",
            "text": "305 m",
            "value_si": pytest.approx(304.8, abs=1e-9),
            "dimension": "length",
        }


class TestFaults:
    def test_a_unit_of_another_kind(self, compute):
        """Says what the result is and which units fit."""
        code, out, err = compute("1000*ft", "--unit", "psi")

        assert (code, out) == (1, "")
        assert err == (
            "error: compute-unit\nwhat:  'psi' is no unit of the result, which is a length\nwhere: --unit\n"
            "mend:  one of: m, ft, FL, km, NM, in\n"
        )

    def test_a_unit_that_does_not_exist(self, compute):
        """The nearest name is offered."""
        code, out, err = compute("1000*ft", "--unit", "pssi")

        assert (code, out) == (1, "")
        assert err.startswith("error: unit-unknown\nwhat:  ")
        assert "'pssi'" in err
        assert "'psi'" in err

    @pytest.mark.parametrize(
        "attack",
        [
            "__import__('os').system('id')",
            "(1).__class__",
            "9**9**9**9",
            "[x for x in (1,)]",
            "'%1000000000d' % 1",
            "f'{1:1000000000}'",
            "lambda: 1",
            "open('/etc/passwd')",
            "(" * 200 + "1" + ")" * 200,
            "1+" * 2000 + "1",
            "-" * 20000 + "1",
            "1/0",
            "1e308*10",
            "\x00",
            "",
            "ft ft",
        ],
    )
    def test_what_is_no_formula_is_refused(self, compute, attack):
        """Refused with a sentence and a cure, at once, and nothing is worked out."""
        code, out, err = compute("--", attack)

        assert (code, out) == (1, "")
        assert err.startswith("error: ")
        assert "\nmend:  " in err
        assert "our-bug" not in err
        assert "Traceback" not in err
        assert len(err) < 2000

    def test_an_aircraft_that_the_bank_has_not(self, compute):
        """Says which there are."""
        code, out, err = compute("1 + 1", "--aircraft", "tolqueny-19")

        assert (code, out) == (1, "")
        assert err.startswith("error: compute-aircraft-unknown\nwhat:  the bank has no aircraft 'tolqueny-19'\nwhere: ")
        assert err.endswith("mend:  did you mean 'tolquenny-19'?\n")

    def test_an_aircraft_file_with_faults(self, capsys, home, tmp_path):
        """A contradictory or broken description is not computed with."""
        (tmp_path / "bank/broken").mkdir(parents=True)
        (tmp_path / "bank/broken/aircraft.yaml").write_text("name: [\n")

        code = main.main(["compute", "1 + 1"], home | {"QUIZSVC_BANK": str(tmp_path / "bank")})

        out, err = capsys.readouterr()
        assert (code, out) == (1, "")
        assert "where: broken/aircraft.yaml, line " in err
        assert "error: compute-aircraft\nwhat:  the description of 'broken' has faults\n" in err

    @pytest.mark.parametrize(
        ("content", "reference"),
        [(b"name: \xff", "bank-file-encoding"), (None, "bank-file"), (b"x" * 1_000_001, "bank-file-size")],
    )
    def test_an_aircraft_file_that_cannot_be_read(self, capsys, home, tmp_path, content, reference):
        """Not UTF-8, a folder under its name, or endless: a sentence that names the file."""
        file = tmp_path / "bank/broken/aircraft.yaml"
        file.parent.mkdir(parents=True)
        if content is None:
            file.mkdir()
        else:
            file.write_bytes(content)

        code = main.main(["compute", "1 + 1"], home | {"QUIZSVC_BANK": str(tmp_path / "bank")})

        out, err = capsys.readouterr()
        assert (code, out) == (1, "")
        assert err.startswith(f"error: {reference}\nwhat:  ")
        assert f"\nwhere: {file}\nmend:  " in err

    def test_a_bank_that_is_not_there(self, capsys, home, tmp_path):
        """Not taken for a bank without aircraft."""
        code = main.main(["compute", "1 + 1"], home | {"QUIZSVC_BANK": str(tmp_path / "nowhere")})

        assert (code, capsys.readouterr()) == (
            1,
            (
                "",
                f"error: bank-folder\nwhat:  there is no such folder\nwhere: {tmp_path / 'nowhere'}\n"
                "mend:  name a folder that holds a bank\n",
            ),
        )

    def test_a_bank_without_aircraft_still_adds(self, capsys, home, tmp_path):
        """General formulas need none."""
        (tmp_path / "bank").mkdir()
        assert main.main(["compute", "1*ft + 1*ft"], home | {"QUIZSVC_BANK": str(tmp_path / "bank")}) == 0
        assert capsys.readouterr().out == "2 ft\n"

        assert main.main(["compute", "schedule(30000*ft)"], home | {"QUIZSVC_BANK": str(tmp_path / "bank")}) == 1
        assert "aircraft" in capsys.readouterr().err


class TestLines:
    def test_each_line_is_worked_out_and_each_fault_reported(self, home):
        """The real program in a pipe: results in order, faults with their line, exit code 1."""
        lines = "1000*ft\n\n1000*ft +\n  2000*ft  \nnonsense\n3000*ft"
        result = subprocess.run(
            [PROGRAM, "compute", "-", "--unit", "ft"],
            input=lines,
            env=home,
            capture_output=True,
            text=True,
            timeout=240,
        )

        assert (result.returncode, result.stdout) == (1, "1,000 ft\n2,000 ft\n3,000 ft\n")
        faults = result.stderr.split("error: ")[1:]
        assert [fault.split("where: ")[1].split(",")[0].split("\n")[0] for fault in faults] == ["line 3", "line 5"]
        assert "nonsense" in faults[1]

    def test_json_gives_an_object_a_line(self, home):
        """What a script reads line by line."""
        result = subprocess.run(
            [PROGRAM, "compute", "-", "--json"],
            input="1+1\n2*psi\n",
            env=home,
            capture_output=True,
            text=True,
            timeout=240,
        )

        assert (result.returncode, result.stderr) == (0, "")
        assert [(one["value"], one["unit"]) for one in map(json.loads, result.stdout.splitlines())] == [
            (2.0, None),
            (pytest.approx(2.0), "psi"),
        ]

    def test_nothing_in_is_nothing_out(self, home):
        """An empty pipe is no fault."""
        result = subprocess.run(
            [PROGRAM, "compute", "-"], input="", env=home, capture_output=True, text=True, timeout=240
        )

        assert (result.returncode, result.stdout, result.stderr) == (0, "", "")

    def test_bytes_that_are_no_text_are_a_fault_of_the_input(self, home):
        """A binary file by mistake: a sentence, not a failure of ours."""
        result = subprocess.run(
            [PROGRAM, "compute", "-"], input=b"\xff\xfe1\n1+1\n", env=home, capture_output=True, timeout=240
        )

        assert result.returncode == 1
        assert result.stdout == b"2\n"
        assert b"where: line 1" in result.stderr
        assert b"our-bug" not in result.stderr


class TestList:
    def test_it_prints_functions_units_and_constants(self, compute):
        """What an item author may type, for people."""
        code, out, err = compute("--list")

        assert (code, err) == (0, "")
        functions, units, constants, changes, events = out.split("\n\n")
        assert functions.startswith("functions\n")
        assert "  cabin_altitude(aircraft_altitude, differential)" in functions
        assert units.startswith("units (values: write 39000*ft)\n")
        assert constants.startswith("constants of tolquenny-19\n")
        assert "\n  regime: target-in-cruise " in changes
        assert len(changes.splitlines()) > 8
        assert "\n  inflow lost\n" in events
        assert "with a value" in next(line for line in events.splitlines() if line.startswith("  setting"))

    def test_json_lists_the_same(self, compute):
        """What a program reads; each constant with its value and unit."""
        listed = json.loads(compute("--list", "--json")[1])

        assert set(listed) == {"functions", "units", "constants", "changes", "events", "aircraft"}
        assert {"call", "gives", "says"} == set(listed["functions"][0])
        limit = next(entry for entry in listed["constants"] if entry["name"] == "diff_control_limit")
        assert (limit["unit"], limit["value"]) == ("psi", pytest.approx(8.7))
