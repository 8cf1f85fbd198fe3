"""Reads the reference tables: comment lines with sources, a header, rows of numbers and words."""

from __future__ import annotations

import csv
from pathlib import Path

DATA = Path(__file__).resolve().parent / "data"


def rows_of(name: str) -> list[dict[str, str]]:
    """The rows of `data/<name>` by column; fails on a table that has lost its source lines."""
    lines = (DATA / name).read_text(encoding="utf-8").splitlines()
    comments = [line for line in lines if line.startswith("#")]
    assert any(line.startswith("# source:") for line in comments), f"{name} says no source"
    rows = list(csv.DictReader(line for line in lines if not line.startswith("#")))
    assert rows, f"{name} is empty"
    return rows


def half_last_digit(printed: str) -> float:
    """Half a unit of the last printed digit: what a rounded number can be off."""
    decimals = len(printed.partition(".")[2])
    return 0.5000001 * 10.0**-decimals
