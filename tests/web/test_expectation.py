"""The screen of the check-day expectation."""

from __future__ import annotations

import random
import re

from quizsvc.services import accounts
from quizsvc.services.expectation import expectation_of
from tests.services.test_expectation import drill


def person_of(app, visitor):
    """Whose browser it is."""
    token = visitor.client.get_cookie("session").value
    return accounts.person_of(app.extensions["quizsvc"].db, token, now=app.extensions["quizsvc"].clock())


def test_it_belongs_to_a_person(visitor):
    """Who has no session is led to sign in, and back."""
    visitor.get("/expectation")

    assert visitor.path == "/sign-in"


def test_it_says_what_is_missing(member):
    """The gate in words, and no figure."""
    page = member.get("/expectation")

    assert "Too little to say." in page.text
    assert "20 answers over 8 concepts on 2 days; so far there are none." in page.text
    assert "<svg" not in page.html.split("<main", 1)[1]
    assert "C4" in page.cautions


def test_it_says_the_expectation_with_its_range(app, member, bank_db, clock):
    """One sentence with range, day and the concepts never asked; two pictures, each with its table; C4."""
    drill(bank_db, clock, person_of(app, member), 6, correctly=True, rng=random.Random(6))
    page = member.get("/expectation")

    said = re.search(
        r"If asked 20 fresh items of this blueprint on \d+ \w+, with nothing practised until then: "
        r"expected (\d+), plausible (\d+) to (\d+)\. "
        r"(?:\d+ concepts? (?:was|were) never asked|Every concept was asked)",
        page.text,
    )
    assert said and int(said[2]) <= int(said[1]) <= int(said[3]) <= 20
    main = page.html.split("<main", 1)[1]
    assert main.count("<svg") == 2 and main.count("<table") == 2
    assert "C4" in page.cautions
    # What a minute moves: five rows, each with one sentence, and systems in parts of an item; the never asked by title.
    moves = main.split("What a minute would move most", 1)[1].split("Never asked</h2>", 1)[0]
    assert moves.count("<li>") == 5
    assert re.search(
        r"By system(: 5 minutes now add less than 0\.1 more right of the 20 in any of them|"
        r", if 5 minutes now go to it: .* about \d+\.\d.* more right of the 20\.)",
        moves,
    )
    never = main.split("Never asked</h2>", 1)[1].split("<h2>", 1)[0]
    counted = re.search(r"(\d+) concepts? (?:was|were) never asked", page.text)
    assert never.count("<li>") == (int(counted[1]) if counted else 0)
    assert not re.search(r"\b(ready|competent|current|qualified|proficient)\b", page.text.lower())
    assert "%" not in re.sub(r"<[^>]+>", "", main)


def test_what_fades_is_folded_after_eight(app, member, bank_db, clock):
    """All stand on the page, eight of them unfolded; the summary counts the rest."""
    person = person_of(app, member)
    drill(bank_db, clock, person, 6, correctly=False, rng=random.Random(5))
    drill(bank_db, clock, person, 2, correctly=True, rng=random.Random(5))
    for _ in range(60):
        fading = expectation_of(bank_db, person.id, now=clock()).fading
        if fading:
            break
        clock.advance(days=1)
    part = (
        member.get("/expectation").html.split("What fades in the next seven days", 1)[1].split("Thin spots</a>", 1)[0]
    )
    folded = part.split("<details", 1)[1] if "<details" in part else ""

    assert part.count('class="spot-head"') == len(fading) > 0
    assert folded.count('class="spot-head"') == max(0, len(fading) - 8)
    assert (f"{len(fading) - 8} more, later in the week" in folded) == (len(fading) > 8)


def test_nobody_sees_anothers(app, member, browsers, bank_db, clock):
    """Another browser gets its own empty page, whatever it adds to the address."""
    drill(bank_db, clock, person_of(app, member), 6, correctly=True, rng=random.Random(7))
    other = browsers()
    other.send(other.get("/sign-up").form("/sign-up"), name="Ilse Marrandt", password="ochre lantern ten")

    for address in ("/expectation", f"/expectation?person={person_of(app, member).id}"):
        assert "so far there are none" in other.get(address).text
    assert "plausible" in member.get("/expectation").text
