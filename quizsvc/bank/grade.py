"""From a response to a grade. Nothing but the frozen record of the question is needed.

Order of judgement of a number: full inside the tolerance or equal to the key rounded by the cockpit rule; then the
traps in their order (within a tolerance of the trap's value, or equal to it rounded); then half credit to twice the
tolerance.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from quizsvc.bank.working import same_number
from quizsvc.errors import InputError
from quizsvc.physics.units import format_quantity, from_si, read_quantity

__all__ = ["Graded", "Mark", "Worked", "grade", "read_response", "worked"]

_EDGE = 1e-9  # an answer exactly on the edge of a tolerance is inside it
_LARGEST = 1e12
_LONGEST_TYPED = 60


@dataclass(frozen=True)
class Mark:
    """How one option was judged: picked or not, a key or not, and the belief behind it."""

    id: str
    picked: bool
    key: bool
    belief: str | None


@dataclass(frozen=True)
class Graded:
    """A grade: `outcome` is full, part, miss or pass; `credit` from 0 to 1.

    `trap` is the id of the trap or wrong option that was matched and `belief` what stands behind it; `remark` is a
    sentence about a right answer; `read_back` says how a number was read.
    """

    outcome: str
    credit: float
    trap: str | None = None
    belief: str | None = None
    remark: str | None = None
    read_back: str | None = None
    marks: tuple[Mark, ...] = ()


@dataclass(frozen=True)
class Worked:
    """The solution with this question's numbers: `why` and `lines` are Markdown."""

    why: str
    key_shown: str
    accepted_shown: str
    lines: tuple[str, ...]


def _unreadable(what: str, mend: str) -> InputError:
    return InputError("response-unreadable", what, mend=mend)


def read_response(record: Mapping[str, Any], raw: Mapping[str, Any]) -> dict[str, Any]:
    """Read what a client sent.

    Parameters
    ----------
    record : mapping
        The question's grading record.
    raw : mapping
        `{"option": id}`, `{"options": [ids]}`, `{"text": "6,500 ft"}`, or `{"pass": true}`.

    Returns
    -------
    dict
        Canonical and JSON-able: `pass`; `option`; `options` in the shown order; or `typed`, `unit` and `si`.

    Raises
    ------
    InputError
        `response-unreadable`, worded for the learner; nothing may be stored then.
    """
    if not isinstance(raw, Mapping):
        raise _unreadable("The answer did not arrive in a form that can be read.", "Send it again.")
    if raw.get("pass") is True:
        return {"pass": True}
    kind = record["kind"]
    if kind == "one":
        return {"option": _one_option(record, raw.get("option"))}
    if kind == "some":
        return {"options": _some_options(record, raw.get("options"))}
    return _typed_number(record, raw.get("text"))


def _one_option(record: Mapping[str, Any], option: object) -> str:
    if option is None or option == "":
        raise _unreadable("No option was chosen.", "Choose one, or press pass.")
    if not isinstance(option, str) or option not in record["order"]:
        raise _unreadable("The chosen option is none of this question's.", "Choose one of those shown.")
    return option


def _some_options(record: Mapping[str, Any], options: object) -> list[str]:
    if not isinstance(options, list | tuple):
        raise _unreadable("No option was chosen.", "Choose those that are right, or press pass.")
    if any(not isinstance(option, str) or option not in record["order"] for option in options):
        raise _unreadable("A chosen option is none of this question's.", "Choose among those shown.")
    return [option for option in record["order"] if option in options]


def _typed_number(record: Mapping[str, Any], text: object) -> dict[str, Any]:
    if not isinstance(text, str) or not text.strip():
        raise _unreadable("Nothing was typed.", "Type a number, or press pass.")
    if len(text) > _LONGEST_TYPED:
        raise _unreadable("The answer is too long for a number.", "Type a number, with its unit if you like.")
    try:
        quantity = read_quantity(text, unit=record["unit"], answers_below_100=bool(record["answers_below_100"]))
    except InputError as error:
        raise _unreadable(_sentence(error.what), _sentence(error.mend)) from None
    if not abs(quantity.value_si) < _LARGEST:
        raise _unreadable("The number is too large to be an answer.", "Check what was typed.")
    return {"typed": text.strip(), "unit": quantity.unit, "si": quantity.value_si}


def _sentence(text: str) -> str:
    text = text.strip()
    return text[:1].upper() + text[1:] + ("" if not text or text[-1] in ".?!" else ".")


def grade(record: Mapping[str, Any], response: Mapping[str, Any]) -> Graded:
    """Grade a canonical response.

    Parameters
    ----------
    record : mapping
        The question's grading record.
    response : mapping
        As `read_response` returned it.

    Returns
    -------
    Graded
        Outcome, credit from 0 to 1, and what to say about it.
    """
    if response.get("pass"):
        return Graded("pass", 0.0, marks=_marks(record, ()) if record["kind"] != "number" else ())
    if record["kind"] == "one":
        return _grade_one(record, response["option"])
    if record["kind"] == "some":
        return _grade_some(record, response["options"])
    return _grade_number(record, response)


def _marks(record: Mapping[str, Any], picked: tuple[str, ...]) -> tuple[Mark, ...]:
    return tuple(
        Mark(option, option in picked, option in record["keys"], record["beliefs"].get(option))
        for option in record["order"]
    )


def _grade_one(record: Mapping[str, Any], option: str) -> Graded:
    marks = _marks(record, (option,))
    if option in record["keys"]:
        return Graded("full", 1.0, marks=marks)
    return Graded("miss", 0.0, option, record["beliefs"].get(option), marks=marks)


def _grade_some(record: Mapping[str, Any], options: list[str]) -> Graded:
    """(hits - false picks)/keys, floor 0; full only if exact."""
    keys = record["keys"]
    false_picks = [option for option in options if option not in keys]
    hits = len(options) - len(false_picks)
    credit = max(0.0, (hits - len(false_picks)) / len(keys))
    trap = false_picks[0] if false_picks else None
    belief = record["beliefs"].get(trap) if trap else None
    outcome = "full" if set(options) == set(keys) else "part" if credit > 0 else "miss"
    return Graded(outcome, credit, trap, belief, marks=_marks(record, tuple(options)))


def _grade_number(record: Mapping[str, Any], response: Mapping[str, Any]) -> Graded:
    value, unit = float(response["si"]), record["unit"]
    key, within, rounded = record["key"], record["within"], record["rounded"]
    read_back = _read_back(value, response["unit"])
    inside = _near(value, key, within, unit)
    if inside or (rounded is not None and same_number(value, rounded, unit)):
        return Graded("full", 1.0, remark=_direction_remark(record, value), read_back=read_back)
    for trap in record["traps"]:
        alike = trap["rounded"] is not None and same_number(value, trap["rounded"], unit)
        if alike or _near(value, trap["value"], within, unit):
            return Graded("miss", 0.0, trap["id"], trap["belief"], read_back=read_back)
    if _near(value, key, 2 * within, unit):
        return Graded("part", 0.5, read_back=read_back)
    return Graded("miss", 0.0, read_back=read_back)


def _near(value: float, target: float, within: float, unit: str) -> bool:
    return abs(value - target) <= within * (1 + _EDGE) or same_number(value, target, unit)


def _direction_remark(record: Mapping[str, Any], value: float) -> str | None:
    """A right answer that was rounded the unsafe way gets a sentence, not a silent nod."""
    rule = record["round"]
    if rule is None or rule["direction"] == "nearest":
        return None
    unit = record["unit"]
    key = from_si(record["key"], unit)
    # What the key is printed as is not "rounded": half of its last printed digit is allowed.
    slack = 0.5 * 10.0 ** -record["decimals"] * (1 + _EDGE)
    number = from_si(value, unit)
    unsafe = number < key - slack if rule["direction"] == "up" else number > key + slack
    if not unsafe:
        return None
    cockpit = format_quantity(record["rounded"], unit, record["rounded_decimals"])
    return f"Within the tolerance, but round {rule['direction']} here: {cockpit}."


def _read_back(value: float, unit: str) -> str:
    number = from_si(value, unit)
    decimals = next(
        (digits for digits in range(6) if abs(round(number, digits) - number) <= 1e-7 * max(1, abs(number))), 6
    )
    return format_quantity(value, unit, decimals)


def worked(record: Mapping[str, Any]) -> Worked:
    """The solution of a question.

    Parameters
    ----------
    record : mapping
        The question's grading record.

    Returns
    -------
    Worked
        The mechanism, the key, what was accepted, and the working line by line.
    """
    lines = tuple(record["lines"])
    if record["kind"] != "number":
        keys = [record["texts"][option] for option in record["order"] if option in record["keys"]]
        accepted = "exactly this option" if record["kind"] == "one" else "exactly these options"
        return Worked(record["why"], "; ".join(keys), accepted, lines)
    unit, key, within = record["unit"], record["key"], record["within"]
    shown = format_quantity(key, unit, record["decimals"])
    if record["exact"]:
        accepted = f"exactly {shown}"
    else:
        low, high = (format_quantity(edge, unit, record["decimals"]) for edge in (key - within, key + within))
        accepted = f"{low} to {high}"
    if record["rounded"] is not None and not same_number(record["rounded"], key, unit):
        accepted += f", or {format_quantity(record['rounded'], unit, record['rounded_decimals'])} as in the cockpit"
    return Worked(record["why"], shown, accepted, lines)
