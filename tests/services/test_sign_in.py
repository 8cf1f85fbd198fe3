"""Signing in: right and wrong passwords, and how guessing is slowed, across processes."""

from __future__ import annotations

import hashlib
import multiprocessing
import threading

import pytest
import sqlalchemy as sa

from quizsvc.errors import InputError, ThrottledError
from quizsvc.services import accounts, sign_in
from quizsvc.store.session import Database
from quizsvc.store.tables import SignInFailure
from tests.services.test_accounts import PASSWORD, sign_up
from tests.services.test_accounts import sign_in as enter


@pytest.fixture(autouse=True)
def quick_hash(monkeypatch):
    """The real scrypt with a lower cost: 20 ms of hashing in each of hundreds of tries would test nothing more."""
    hashed = sign_in.passwords.generate_password_hash
    monkeypatch.setattr(
        sign_in.passwords, "generate_password_hash", lambda value: hashed(value, method="scrypt:1024:8:1")
    )
    sign_in.passwords._nobody.cache_clear()
    yield
    sign_in.passwords._nobody.cache_clear()


def wrong(db, clock, times, *, name="Nadir Eshvale", address="192.0.2.1"):
    """Try a wrong password so many times; returns the references of the refusals."""
    refusals = []
    for _ in range(times):
        try:
            enter(db, clock, name=name, password="not this one", address=address)
        except (InputError, ThrottledError) as fault:
            refusals.append(fault.reference)
    return refusals


def failures(db):
    """How many tries are counted."""
    with db.reading() as session:
        return session.scalar(sa.select(sa.func.count()).select_from(SignInFailure))


def test_the_right_password(db, clock):
    """Signs in on another device, in any spelling of the name."""
    sign_up(db, clock)

    assert enter(db, clock, name=" nadir ESHVALE ").person.name == "Nadir Eshvale"
    assert failures(db) == 0


def test_unknown_name_and_wrong_password_look_alike(db, clock):
    """Nobody can ask which names exist."""
    sign_up(db, clock)
    sentences = []
    for name in ("Nadir Eshvale", "Nobody", "a\0b", "", "x" * 5000):
        with pytest.raises(InputError) as caught:
            enter(db, clock, name=name, password="not this one")
        sentences.append(str(caught.value))

    assert len(set(sentences)) == 1


def test_an_unknown_name_takes_as_long(db, clock, monkeypatch):
    """Both tries hash once, with the same N, r and p: these, and no clock, say how long it takes (RFC 7914)."""
    sign_up(db, clock)
    scrypt, hashed = hashlib.scrypt, []

    def counted(*given, **cost):
        hashed.append((cost["n"], cost["r"], cost["p"]))
        return scrypt(*given, **cost)

    wrong(db, clock, 1, name="Nobody")  # what unknown names are compared with is made once in a process
    monkeypatch.setattr(hashlib, "scrypt", counted)
    costs = []
    for name in ("Nadir Eshvale", "Nobody"):
        hashed.clear()
        assert wrong(db, clock, 1, name=name) == ["sign-in-refused"]
        costs.append(tuple(hashed))

    assert costs == [((1024, 8, 1),)] * 2


def test_five_mistakes_are_free_then_each_waits(db, clock):
    """The sixth try is made to wait, even with the right password, and says how long."""
    sign_up(db, clock)
    assert wrong(db, clock, 7) == ["sign-in-refused"] * 5 + ["sign-in-throttled"] * 2

    with pytest.raises(ThrottledError) as caught:
        enter(db, clock)
    assert caught.value.retry_after_s == 1
    clock.advance(seconds=1)
    assert enter(db, clock).person.name == "Nadir Eshvale"


def test_the_wait_doubles_up_to_five_minutes(db, clock):
    """Whoever goes on guessing waits twice as long each time: 1, 2, 4 ... 256, 300 s."""
    sign_up(db, clock)
    wrong(db, clock, 5)
    waits = []
    for _ in range(5):
        with pytest.raises(ThrottledError) as caught:
            enter(db, clock, password="not this one")
        waits.append(caught.value.retry_after_s)
        clock.advance(seconds=waits[-1])
        wrong(db, clock, 1)

    assert waits == [1, 2, 4, 8, 16]


def test_a_right_password_clears_the_count(db, clock):
    """Four mistakes, in, and five are free again."""
    sign_up(db, clock)
    wrong(db, clock, 4)
    enter(db, clock)

    assert failures(db) == 0
    assert wrong(db, clock, 6)[-2:] == ["sign-in-refused", "sign-in-throttled"]


def test_a_classroom_behind_one_address_is_not_locked(db, clock):
    """Twenty people behind one address mistype three times each and then all get in, without waiting."""
    names = [f"Pilot {number}" for number in range(20)]
    for name in names:
        sign_up(db, clock, name=name)
    for name in names:
        assert wrong(db, clock, 3, name=name) == ["sign-in-refused"] * 3

    for name in names:
        assert enter(db, clock, name=name).person.name == name


def test_guessing_many_names_from_one_address_is_slowed(db, clock):
    """After a hundred failures one address may try once in three seconds; another address does not notice."""
    sign_up(db, clock)
    refusals = [wrong(db, clock, 1, name=f"Guess {number}")[0] for number in range(110)]
    assert refusals == ["sign-in-refused"] * 100 + ["sign-in-throttled"] * 10

    assert enter(db, clock, address="198.51.100.7")
    clock.advance(seconds=3)
    assert enter(db, clock)


def test_guessing_one_name_from_many_addresses_is_slowed(db, clock):
    """After thirty failures from anywhere a name is tried once in ten seconds; its owner waits no longer than that."""
    sign_up(db, clock)
    refusals = [wrong(db, clock, 1, address=f"198.51.100.{number}")[0] for number in range(40)]
    assert refusals == ["sign-in-refused"] * 30 + ["sign-in-throttled"] * 10

    clock.advance(seconds=10)
    assert enter(db, clock)


def test_a_hundred_at_once_are_counted_like_a_hundred_in_turn(db, clock):
    """Threads that try at the same moment get five passwords looked at, not one more."""
    sign_up(db, clock)
    outcomes = []

    def guess():
        outcomes.extend(wrong(db, clock, 5))

    threads = [threading.Thread(target=guess) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()

    assert outcomes.count("sign-in-refused") == 5
    assert outcomes.count("sign-in-throttled") == 35


def _guess(url, at, found):
    database = Database.open(url)
    tried = []
    for _ in range(5):
        try:
            accounts.sign_in(
                database, None, "Nadir Eshvale", "not this one", address="192.0.2.1", device="script", now=at
            )
        except (InputError, ThrottledError) as fault:
            tried.append(fault.reference)
    database.close()
    found.put(tried)


def test_processes_share_the_count(db, clock, database_url):
    """Three processes that guess at once get five passwords looked at between them."""
    sign_up(db, clock)
    fresh = multiprocessing.get_context("spawn")
    found = fresh.Queue()
    processes = [fresh.Process(target=_guess, args=(database_url, clock(), found)) for _ in range(3)]
    for process in processes:
        process.start()
    tried = [reference for _ in processes for reference in found.get(timeout=300)]
    for process in processes:
        process.join(timeout=60)

    assert sorted(tried) == ["sign-in-refused"] * 5 + ["sign-in-throttled"] * 10


def test_the_real_password_hash_costs_time(db, clock):
    """Werkzeug's scrypt with N = 32768, r = 8, p = 1, as platform.md section 1 measured (81 ms)."""
    from werkzeug.security import generate_password_hash

    assert generate_password_hash(PASSWORD).startswith("scrypt:32768:8:1$")
