"""What the tests of the command line share."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from quizsvc.cli import main
from tests import factories

PROGRAM = Path(sys.executable).parent / "quizsvc"


@pytest.fixture
def home(tmp_path):
    """An empty home, and nothing else in the environment."""
    return {"HOME": str(tmp_path), "PATH": os.environ["PATH"]}


@pytest.fixture
def quizsvc(capsys, home):
    """Runs a command in this process; gives exit code, standard output and standard error."""

    def run(*words, **settings):
        code = main.main(list(map(str, words)), home | settings)
        return code, *capsys.readouterr()

    return run


@pytest.fixture
def program(home):
    """Runs the real program in a process of its own, to its end."""

    def run(*words, **options):
        return subprocess.run([PROGRAM, *words], env=home, capture_output=True, text=True, timeout=120, **options)

    return run


@pytest.fixture
def prepared(quizsvc, home, database_url, tmp_path):
    """An installation with schema and the tests' bank, on each of the databases; returns its environment."""
    bank = factories.write_bank(tmp_path / "question_bank")
    home |= {"QUIZSVC_DATABASE_URL": database_url, "QUIZSVC_BANK": str(bank)}
    assert quizsvc("db", "upgrade")[0] == 0
    assert quizsvc("bank", "load")[0] == 0
    return home
