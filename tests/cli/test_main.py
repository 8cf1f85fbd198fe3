"""The edge of the command line: exit codes, the text of errors, and quiet ends."""

from __future__ import annotations

import re
import signal
import subprocess
import sys

import pytest

from quizsvc.cli import console, main, words
from quizsvc.errors import Finding, FindingsError, InputError, NotPreparedError, QuizsvcError
from tests.cli.conftest import PROGRAM


def run(home, *words, **options):
    """The real program in a process of its own."""
    return subprocess.run([PROGRAM, *words], env=home, capture_output=True, text=True, timeout=240, **options)


class TestUsage:
    @pytest.mark.parametrize(
        ("typed", "text"),
        [
            (
                "",
                "error: usage\nwhat:  the following arguments are required: COMMAND\nwhere: quizsvc\n"
                "mend:  type 'quizsvc --help'\n",
            ),
            (
                "bnk check",
                "error: usage-choice\nwhat:  'bnk' is not a command\nwhere: quizsvc\n"
                "mend:  did you mean 'bank'? Known: demo, serve, db, bank, compute, account, memory\n",
            ),
            (
                "bank shw x",
                "error: usage-choice\nwhat:  'shw' is not a command\nwhere: quizsvc bank\n"
                "mend:  did you mean 'show'? Known: check, load, show, list\n",
            ),
            (
                "bank check --jsn",
                "error: usage-word\nwhat:  '--jsn' is not an option\nwhere: quizsvc bank check\n"
                "mend:  did you mean '--json'? Options: --help, --json, --summary\n",
            ),
            (
                "bank show item-1 item-2",
                "error: usage-word\nwhat:  'item-2' is one word too many\nwhere: quizsvc bank show\n"
                "mend:  type 'quizsvc bank show --help'; put a text with spaces in quotes\n",
            ),
            (
                "bank show item-1 --draws 0",
                "error: usage\nwhat:  argument --draws: '0' is not a whole number from 1 to 1000\n"
                "where: quizsvc bank show\nmend:  type 'quizsvc bank show --help'\n",
            ),
            (
                "demo --port 65536",
                "error: usage\nwhat:  argument --port: '65536' is not a whole number from 1 to 65535\n"
                "where: quizsvc demo\nmend:  type 'quizsvc demo --help'\n",
            ),
            (
                "serve --bind localhost",
                "error: usage\nwhat:  argument --bind: 'localhost' is not HOST:PORT, such as 127.0.0.1:8019\n"
                "where: quizsvc serve\nmend:  type 'quizsvc serve --help'\n",
            ),
            (
                "account add anna --role captain",
                "error: usage-choice\nwhat:  'captain' is not one of ROLE\nwhere: quizsvc account add\n"
                "mend:  known: pilot, instructor, head of training, item author, reviewer, keeper\n",
            ),
            (
                "db backup",
                "error: usage\nwhat:  the following arguments are required: FILE\nwhere: quizsvc db backup\n"
                "mend:  type 'quizsvc db backup --help'\n",
            ),
            (
                "compute",
                "error: usage\nwhat:  one of EXPRESSION, - and --list is needed\nwhere: quizsvc compute\n"
                "mend:  quizsvc compute 'cabin_altitude(39000*ft, 8.7*psi)' --unit ft\n",
            ),
        ],
    )
    def test_wrong_words_end_with_2_and_say_the_right_ones(self, capsys, home, typed, text):
        """What was typed, which command it was typed to, and the nearest word that exists."""
        code = main.main(typed.split(), home)

        assert capsys.readouterr() == ("", text)
        assert code == 2

    def test_the_program_itself_ends_with_2(self, home):
        """The exit code reaches the shell, and nothing stands on standard output."""
        result = run(home, "bank", "chek")

        assert (result.returncode, result.stdout) == (2, "")
        assert "did you mean 'check'?" in result.stderr

    def test_help_and_version_end_with_0(self, home):
        """Asking for help is no fault."""
        assert run(home, "--help").returncode == 0
        assert run(home, "bank", "check", "--help").returncode == 0
        assert re.fullmatch(r"quizsvc \d+\.\d+\.\d+\n", run(home, "--version").stdout)

    def test_an_option_cannot_be_abbreviated(self, capsys, home):
        """An abbreviation would change its meaning when an option is added."""
        assert main.main(["demo", "--fre"], home) == 2
        assert "did you mean '--fresh'?" in capsys.readouterr().err


class TestErrors:
    def test_an_error_is_what_where_mend(self):
        """The four lines of style, in their order."""
        error = InputError("unit-unknown", "unit 'pssi' is not known", where="line 4", mend="did you mean 'psi'?")

        assert console.rendered_error(error) == (
            "error: unit-unknown\nwhat:  unit 'pssi' is not known\nwhere: line 4\nmend:  did you mean 'psi'?"
        )

    def test_a_line_with_nothing_to_say_is_left_out(self):
        """No empty labels."""
        assert console.rendered_error(QuizsvcError("gone", "it is gone")) == "error: gone\nwhat:  it is gone"

    def test_every_finding_is_reported_and_the_sum_comes_last(self):
        """All faults of one input in one run, each with its place; a remark is named one."""
        findings = [
            Finding("21.yaml", 4, 7, "unit-unknown", "unit 'pssi' is not known", "did you mean 'psi'?", item="a-b"),
            Finding("21.yaml", 9, 1, "stem-long", "stem has 71 words", "60 at most", severity="remark"),
            Finding("22.yaml", 0, 0, "file-empty", "the file is empty", "delete it"),
        ]

        text = console.rendered_error(FindingsError("bank-refused", "2 faults", findings, mend="mend them"))

        assert text == (
            "error: unit-unknown\nwhat:  unit 'pssi' is not known\nwhere: 21.yaml, line 4, column 7, item 'a-b'\n"
            "mend:  did you mean 'psi'?\n\n"
            "remark: stem-long\nwhat:  stem has 71 words\nwhere: 21.yaml, line 9, column 1\nmend:  60 at most\n\n"
            "error: file-empty\nwhat:  the file is empty\nwhere: 22.yaml\nmend:  delete it\n\n"
            "error: bank-refused\nwhat:  2 faults\nmend:  mend them"
        )

    def test_a_quoted_value_cannot_steer_the_terminal(self):
        """Control characters of a value are shown, not sent."""
        error = InputError("name", "name '\x1b[2Jx\r\n\x00' is taken")

        assert console.rendered_error(error) == "error: name\nwhat:  name '\\x1b[2Jx\\r\\n\\x00' is taken"

    def test_an_unknown_setting_ends_with_1_before_anything_is_done(self, capsys, home):
        """A mistyped variable would otherwise be ignored in silence."""
        code = main.main(["db", "check"], home | {"QUIZSVC_DATABSE_URL": "sqlite:////x.db"})

        assert code == 1
        assert capsys.readouterr().err.startswith(
            "error: setting-unknown\nwhat:  'QUIZSVC_DATABSE_URL' is not a setting\nwhere: environment\nmend:  "
        )


def plant(monkeypatch, error):
    """Make `bank check` raise: the edge is what is tested here, and a correct program has no bug to show."""

    def run(arguments, surroundings):
        raise error

    monkeypatch.setattr("quizsvc.cli.bank.check", run)


class TestBug:
    def test_a_bug_ends_with_3_an_id_and_no_traceback(self, monkeypatch, capsys, home, tmp_path):
        """The person gets an id; the details wait in a file that only the owner reads."""
        plant(monkeypatch, KeyError("secret value"))

        code = main.main(["bank", "check"], home)

        out, err = capsys.readouterr()
        assert code == 3
        assert out == ""
        log = tmp_path / ".local/share/quizsvc/bugs.log"
        quoted = re.search(r"bug ([0-9a-f]{8})\n", err)[1]
        assert err == (
            f"error: our-bug\nwhat:  quizsvc itself failed, not what you typed: bug {quoted}\n"
            f"mend:  report it and quote {quoted}; the details are in {log}\n"
        )
        kept = log.read_text()
        assert quoted in kept
        assert "KeyError: 'secret value'" in kept
        assert log.stat().st_mode & 0o777 == 0o600

    def test_a_bug_where_no_file_can_be_written_still_has_its_id(self, monkeypatch, capsys, tmp_path):
        """A broken data folder does not turn the message into a traceback."""
        plant(monkeypatch, ZeroDivisionError())
        (tmp_path / "file").write_text("")

        code = main.main(["bank", "check"], {"HOME": str(tmp_path / "file")})

        assert code == 3
        assert re.fullmatch(
            r"error: our-bug\nwhat:  quizsvc itself failed, not what you typed: bug ([0-9a-f]{8})\n"
            r"mend:  report it and quote \1\n",
            capsys.readouterr().err,
        )

    def test_a_named_error_is_no_bug(self, monkeypatch, capsys, home, tmp_path):
        """What the service can name ends with 1 and leaves no log."""
        plant(monkeypatch, NotPreparedError("not-prepared", "no bank is loaded", mend="quizsvc bank load"))

        assert main.main(["bank", "check"], home) == 1
        assert capsys.readouterr().err == "error: not-prepared\nwhat:  no bank is loaded\nmend:  quizsvc bank load\n"
        assert not (tmp_path / ".local").exists()


class TestQuietEnds:
    def test_ctrl_c_is_quiet(self, monkeypatch, capsys, home):
        """No traceback, and the code that shells give a program stopped by hand."""
        plant(monkeypatch, KeyboardInterrupt())

        assert main.main(["bank", "check"], home) == 130
        assert capsys.readouterr() == ("", "")

    def test_ctrl_c_while_reading_lines_is_quiet(self, home):
        """The real program, waiting for standard input, ends at the signal without a word."""
        process = subprocess.Popen(
            [PROGRAM, "compute", "-"], env=home, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE
        )
        process.stdin.write(b"1 + 1\n")
        process.stdin.flush()
        first = process.stdout.readline()
        process.send_signal(signal.SIGINT)
        out, err = process.communicate(timeout=120)

        assert first == b"2\n"
        assert (process.returncode, out, err) == (130, b"", b"")

    def test_a_reader_that_goes_away_is_no_error(self, home):
        """`quizsvc compute --list | head -1` leaves nothing on standard error."""
        process = subprocess.Popen(
            [PROGRAM, "compute", "--list"], env=home, stdout=subprocess.PIPE, stderr=subprocess.PIPE
        )
        process.stdout.close()
        err = process.stderr.read()
        process.stderr.close()

        assert process.wait(timeout=120) == 141
        assert err == b""

    def test_a_terminal_without_the_characters_gets_escapes(self, home):
        """An ASCII-only terminal never turns a message into a failure of ours."""
        result = run(home | {"PYTHONIOENCODING": "ascii"}, "bank", "chéck")

        assert result.returncode == 2
        assert "'ch\\xe9ck' is not a command" in result.stderr


class Terminal:
    """A stream that counts as a terminal or not, and keeps what is written."""

    def __init__(self, is_terminal):
        self.is_terminal = is_terminal
        self.text = ""

    def isatty(self):
        return self.is_terminal

    def write(self, text):
        self.text += text

    def flush(self):
        pass


class TestProgress:
    def test_a_terminal_sees_it_and_it_is_wiped(self):
        """First and last step are drawn, and the line is gone afterwards."""
        terminal = Terminal(True)
        with console.Progress("checking", terminal) as progress:
            for done in range(1, 1201):
                progress(done, 1200)

        assert terminal.text.startswith("\rchecking: 1 of 1,200\x1b[K")
        assert terminal.text.endswith("\rchecking: 1,200 of 1,200\x1b[K\r\x1b[K")
        assert terminal.text.count("checking") < 100

    def test_a_pipe_sees_nothing(self):
        """Logs are not filled with a moving line."""
        pipe = Terminal(False)
        with console.Progress("checking", pipe) as progress:
            progress(1, 1)

        assert pipe.text == ""


def test_starting_is_fast(home):
    """Asking for the version loads neither the database's nor the web's libraries."""
    code = "import sys; from quizsvc.cli import main; main.parser(); print(*sorted(sys.modules))"
    loaded = subprocess.run([sys.executable, "-c", code], env=home, capture_output=True, text=True, check=True).stdout

    assert not {"sqlalchemy", "flask", "numpy", "pint", "yaml", "werkzeug"} & set(loaded.split())


def test_columns_line_up(capsys):
    """A table pads all but its last column."""
    console.print_table([("a", "bb", "c"), ("aaa", "b", "")])

    assert capsys.readouterr().out == "a    bb  c\naaa  b\n"


def test_whole_numbers_only():
    """Neither signs nor other digits nor long texts pass as a count."""
    read = words.whole_number(1, 99)
    assert read("7") == 7
    for text in ("0", "100", "-1", "+1", "1.0", "٣", "9" * 5000, ""):
        with pytest.raises(Exception, match="is not a whole number from 1 to 99"):
            read(text)
