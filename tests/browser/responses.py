"""Questions of the kinds that a device judges, and responses to them: right, wrong and odd."""

from __future__ import annotations

import json
import math
import random

from quizsvc.bank.check import check_bank
from quizsvc.bank.draw import DrawError
from quizsvc.bank.portable import OFFLINE_KINDS
from quizsvc.bank.question import compile_item, issue
from quizsvc.physics.units import UNITS, format_quantity, from_si, to_si
from quizsvc.services.bank_files import read_folder
from tests import kinds_bank
from tests.bank.bank_texts import SHIPPED, SHIPPED_AIRCRAFT, check
from tests.bank.kinds import test_second_aircraft as second_aircraft

ODD_TEXTS = (
    *("", "   ", "abc", "12 apples", "1,5,5", "1.2.3", "--5", "1 2 3", "FL", "FL1234", "fl 55", "flight level 330."),
    *("5'", "5 ft.", "5 ft .", "٣", "½", "∞", "1" * 61, "9" * 40, "12\u00a0000", "12\u202f000 ft", "\u22125", "−5 ft"),
    *("5‑6", "3e4", ",5", ".5", "5.", "5,", "0", "-0", "+7", "+ 7 psi", "0,123", "1,234", "12,345.6", "1 234,5"),
    *("01,234", "8,7 psi", "8.7 PSI", "20 kg", "20 °C", "20 degrees", "3 min", "3 MINUTES", "12\u0000", "12\u0007"),
    *("12\n3", "12\t3 ft", "\ufeff12", "1_000", "50 %", "50%", "½ ft", "6 FT", "6 Ft.", "6  ft", "psi", "ft 6"),
    *("1,000,000 m", "1.000.000", "1,000.", "1 000 000", "5\x85ft", "5 constructor", "5 __proto__", "\U0001f600"),
    *("5 \ud800", "9" * 15),
)  # fmt: skip
EACH = 14
FORMS = ("{0}", "{0} {1}", "{0}{1}", " {0} ", "+{0}", "{0} {1}.")


def compiled():
    """Compiled items by kind: those of the shipped bank, of another aircraft, and one of each kind of the tests."""
    ours = kinds_bank.items(OFFLINE_KINDS)
    banks = (
        check_bank(read_folder(SHIPPED), rng=random.Random(3)),
        check_bank(second_aircraft.texts(), rng=random.Random(44)),
        check(ours, concepts=kinds_bank.concepts(OFFLINE_KINDS), aircraft=SHIPPED_AIRCRAFT),
    )
    found = {}
    for checked in banks:
        for item in checked.items:
            if item.kind in OFFLINE_KINDS:
                found.setdefault(item.kind, []).append(compile_item(item.body, checked.aircraft.get(item.folder)))
    return found


def records(items, number, rng):
    """So many records, evenly over the items, as they come back from the database."""
    found = []
    while len(found) < number:
        for item in items:
            try:
                found.append(json.loads(json.dumps(issue(item, rng).record)))
            except DrawError:
                continue
    return found[:number]


def responses(record, rng):
    """Responses to one question: some right, some wrong, some that are none."""
    every = _BY_KIND[record["kind"]](record, rng)
    return [{"pass": True}, *rng.sample(every, min(EACH, len(every)))]


def _one(record, rng):
    options = record["order"]
    return [{"option": option} for option in options] + [{"option": "nobody"}, {"option": ""}, {}]


def _some(record, rng):
    options = record["order"]
    subsets = [[one for at, one in enumerate(options) if bits >> at & 1] for bits in range(2 ** len(options))]
    return [{"options": rng.sample(chosen, len(chosen))} for chosen in subsets] + [{"options": ["nobody"]}, {}]


def _match(record, rng):
    lefts, options = record["lefts"], record["order"]
    given = [dict(record["pairs"])]
    for _ in range(8):
        given.append({left: rng.choice(options) for left in lefts})
        changed = dict(record["pairs"])
        changed[rng.choice(lefts)] = rng.choice(options)
        given.append(changed)
    given += [{entry["left"]: entry["right"]} | {} for entry in record["beliefs"]]
    given += [dict(record["pairs"]) | {entry["left"]: entry["right"]} for entry in record["beliefs"]]
    given += [
        {},
        {lefts[0]: options[0]},
        {"nobody": options[0]},
        dict.fromkeys(lefts, "nothing"),
        dict.fromkeys(lefts, ""),
    ]
    return [{"pairs": pairs} for pairs in given] + [{}]


def _still_works(record, rng):
    choices = [choice["id"] for choice in record["choices"]]
    rows = [row["id"] for row in record["rows"]]
    right = {row["id"]: next(key for key in row["keys"] if key in choices) for row in record["rows"]}
    given = [right]
    for _ in range(12):
        given.append({row: rng.choice(choices) for row in rows})
        given.append(right | {rng.choice(rows): rng.choice(choices)})
    opposite = {"works": "lost", "lost": "works"}
    given += [right | {row: opposite.get(right[row], "lost")} for row in rows]
    given += [
        {row: opposite.get(right[row], "lost") for row in rows},
        {},
        {rows[0]: "works"},
        dict.fromkeys(rows, "maybe"),
    ]
    return [{"rows": one} for one in given] + [{}]


def _order(record, rng):
    right, given = record["right"], []
    for _ in range(8):
        given.append(rng.sample(right, len(right)))
        swapped = list(right)
        at = rng.randrange(len(right) - 1)
        swapped[at : at + 2] = reversed(swapped[at : at + 2])
        given.append(swapped)
    moved = [*right[1:], right[0]]
    for entry in record["beliefs"]:
        one, other = entry["before"]
        taken = [step for step in right if step != one]
        taken.insert(taken.index(other), one)
        given.append(taken)
    given += [list(right), right[::-1], moved, [], right[:-1], [*right, right[0]], ["nobody", *right[1:]]]
    return [{"order": order} for order in given] + [{}]


def _typed(value_si, unit, rng):
    number = from_si(value_si, unit)
    decimals = rng.choice((0, 1, 2, 3, 6))
    written = rng.choice(
        (f"{number:.{decimals}f}", f"{number:,.{decimals}f}", f"{number:.{decimals}f}".replace(".", ","))
    )
    other = rng.choice([name for name in UNITS if UNITS[name].dimension == UNITS[unit].dimension])
    return rng.choice(
        [form.format(written, unit) for form in FORMS]
        + [f"{from_si(value_si, other):.6f} {other}", f"{from_si(value_si, other):,.1f} {other.upper()}"]
        + ([format_quantity(value_si, unit, 0)] if abs(number) < 1e6 else [])
    )


def _number(record, rng):
    unit, key, within = record["unit"], record["key"], record["within"]
    values = [key, record["rounded"] or key, -key, key * 10, key / 10]
    edges = [key + sign * edge for sign in (1, -1) for edge in (within, 2 * within)]
    for edge in edges:
        values += [key + (edge - key) * part for part in (0.5, 1 - 1e-5, 1, 1 + 0.5e-9, 1 + 2e-9, 1 + 1e-5, 1.3)]
        values += [math.nextafter(edge, math.inf), math.nextafter(edge, -math.inf)]
    for trap in record["traps"]:
        values += [trap["value"], trap["value"] + rng.choice((1, -1)) * within * rng.choice((1, 1 + 1e-5, 0.5))]
        values += [trap["rounded"]] if trap["rounded"] is not None else []
    # Printed numbers stand just beside the key by up to half of their last digit.
    step = 0.5 * 10.0 ** -record["decimals"]
    values += [to_si(from_si(key, unit) + sign * step * part, unit) for sign in (1, -1) for part in (0.999, 1, 1.001)]
    exact = [f"{from_si(value, unit)!r}" for value in values]
    typed = [_typed(value, unit, rng) for value in values]
    return [{"text": text} for text in (*exact, *typed, *rng.sample(ODD_TEXTS, 12))] + [{}]


def _gauge(record, rng):
    given = []
    for _ in range(8):
        readings = {}
        for one in record["readings"]:
            value = one["key"] + one["within"] * rng.choice((0, 0.5, 1, -1, 1 + 1e-5, -1 - 1e-5, 3, -3))
            scaled = from_si(value, one["unit"]) / one["scale"]
            readings[one["id"]] = rng.choice((_typed(value, one["unit"], rng), f"{scaled:.3f}", rng.choice(ODD_TEXTS)))
        given.append({"readings": readings, "option": rng.choice(record["order"])})
    right = {one["id"]: repr(from_si(one["key"], one["unit"])) for one in record["readings"]}
    for option in (*record["order"], "nobody", ""):
        given.append({"readings": right, "option": option})
    return [
        *given,
        {"readings": right},
        {"option": record["order"][0]},
        {"readings": {}, "option": record["order"][0]},
        {},
    ]


_BY_KIND = {
    "one": _one,
    "some": _some,
    "match": _match,
    "still-works": _still_works,
    "order": _order,
    "number": _number,
    "gauge": _gauge,
}
