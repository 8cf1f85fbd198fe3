"""The fully right response to a question of any kind, read from its grading record."""

from __future__ import annotations

from quizsvc.physics.units import from_si


def right_answer(record):
    """The raw response that must be graded full."""
    return _BY_KIND[record["kind"]](record)


def _number(record):
    number = from_si(record["key"], record["unit"])
    return f"{number:.{max(record['decimals'], 0)}f}"


def _readings(record):
    return {
        entry["id"]: f"{from_si(entry['key'], entry['unit']):.{max(entry['decimals'], 0)}f}"
        for entry in record["readings"]
    }


_BY_KIND = {
    "one": lambda record: {"option": record["keys"][0]},
    "profile": lambda record: {"option": record["keys"][0]},
    "some": lambda record: {"options": record["keys"]},
    "number": lambda record: {"text": _number(record)},
    "order": lambda record: {"order": record["right"]},
    "match": lambda record: {"pairs": record["pairs"]},
    "still-works": lambda record: {"rows": {row["id"]: row["keys"][0] for row in record["rows"]}},
    "gauge": lambda record: {"readings": _readings(record), "option": record["keys"][0]},
    "say": lambda record: {"points": [point["id"] for point in record["points"]]},
}
