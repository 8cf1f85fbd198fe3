"""Whatever a client sends as a response is read or refused with a sentence, in every kind, and earns from 0 to 1."""

from __future__ import annotations

import json
import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from quizsvc.bank.grade import grade, read_response
from quizsvc.bank.kinds import KINDS
from quizsvc.bank.question import compile_item, issue
from quizsvc.errors import InputError
from tests import kinds_bank
from tests.bank.bank_texts import SHIPPED_AIRCRAFT, check
from tests.bank.right_answers import right_answer

ASKED = tuple(kind for kind in KINDS if kind != "scenario")


def records():
    """The record of one question of each kind, as it comes back from the database."""
    bank = check(kinds_bank.items(ASKED), concepts=kinds_bank.concepts(ASKED), aircraft=SHIPPED_AIRCRAFT)
    assert bank.faults == [], bank.faults
    found = {}
    for item in bank.items:
        compiled = compile_item(item.body, bank.aircraft[item.folder])
        found[item.kind] = json.loads(json.dumps(issue(compiled, random.Random(7)).record))
    return found


RECORDS = records()
RIGHT = {kind: right_answer(record) for kind, record in RECORDS.items()}
WORDS = sorted({word for right in RIGHT.values() for word in right} | {"pass", "other"})


def strings_of(value):
    """Every text in a JSON value."""
    if isinstance(value, str):
        return {value}
    if isinstance(value, dict):
        return set(value).union(*map(strings_of, value.values()))
    return set().union(*map(strings_of, value)) if isinstance(value, list) else set()


LEAVES = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(-9, 9),
    st.floats(),
    st.text(max_size=4),
    st.sampled_from(sorted(set().union(*map(strings_of, RIGHT.values())))),
)
VALUES = st.recursive(
    LEAVES,
    lambda inner: (
        st.lists(inner, max_size=5) | st.dictionaries(st.sampled_from(WORDS) | LEAVES.map(str), inner, max_size=5)
    ),
    max_leaves=8,
)


@pytest.mark.parametrize("kind", ASKED)
def test_the_right_answer_is_full(kind):
    """Of every kind that is answered."""
    found = grade(RECORDS[kind], read_response(RECORDS[kind], RIGHT[kind]))

    assert (found.outcome, found.credit) == ("full", 1.0)


@pytest.mark.parametrize("kind", ASKED)
@given(change=st.dictionaries(st.sampled_from(WORDS), VALUES, max_size=3), keep=st.booleans())
def test_any_response_is_read_or_refused(kind, change, keep):
    """Beside the right answer or instead of it; nothing but the one error comes out."""
    raw = {**(RIGHT[kind] if keep else {}), **change}
    try:
        response = read_response(RECORDS[kind], raw)
    except InputError as error:
        assert error.reference == "response-unreadable" and error.what.endswith(".") and error.mend
        return
    found = grade(RECORDS[kind], json.loads(json.dumps(response)))

    assert 0 <= found.credit <= 1
    assert found.outcome in ("full", "part", "miss", "pass")
    assert (found.outcome == "full") == (found.credit == 1)


@pytest.mark.parametrize("raw", [None, [], "warn", 3])
def test_what_is_no_map_is_refused(raw):
    """A list, a text, a number."""
    with pytest.raises(InputError):
        read_response(RECORDS["order"], raw)
