"""Putting a backup in place: whatever was there before is kept, each under a name of its own."""

from __future__ import annotations

import contextlib
import sqlite3

import pytest

from quizsvc.store import embedded_file

STAMP = "20261126T124500Z"


def written(file, word):
    """A database that passes for one of the service, with a word to know it by."""
    with contextlib.closing(sqlite3.connect(file)) as connection, connection:
        connection.execute("CREATE TABLE alembic_version (version_num TEXT)")
        connection.execute("INSERT INTO alembic_version VALUES (?)", (word,))
    return file


def test_two_restores_within_a_second_keep_both_databases(tmp_path):
    """Three databases in a row, restored over each other with one stamp: no one of them is lost."""
    target = written(tmp_path / "quizsvc.db", "first")
    backups = [written(tmp_path / f"{word}.db", word) for word in ("second", "third")]

    kept = [embedded_file.put_in_place(backup, target, stamp=STAMP) for backup in backups]

    assert [embedded_file.inspect(file) for file in (*kept, target)] == ["first", "second", "third"]
    assert [file.name for file in kept] == [
        f"quizsvc.before-restore-{STAMP}.db",
        f"quizsvc.before-restore-{STAMP}-2.db",
    ]


def test_a_file_that_has_the_name_already_stays(tmp_path):
    """Whatever it is: it is nobody's to overwrite."""
    target = written(tmp_path / "quizsvc.db", "first")
    taken = tmp_path / f"quizsvc.before-restore-{STAMP}.db"
    taken.write_text("precious")

    kept = embedded_file.put_in_place(written(tmp_path / "copy.db", "second"), target, stamp=STAMP)

    assert taken.read_text() == "precious"
    assert (embedded_file.inspect(kept), embedded_file.inspect(target)) == ("first", "second")


def test_a_database_that_vanished_meanwhile_leaves_no_empty_file(tmp_path):
    """Of two restores at once the second may find nothing to keep: the name that it took is given back."""
    with pytest.raises(FileNotFoundError):
        embedded_file._keep(tmp_path / "quizsvc.db", STAMP)

    assert list(tmp_path.iterdir()) == []
