"""The school's story on both databases: a new group, homework on a phone, marks, a re-mark, the evidence of it."""

from __future__ import annotations

import hashlib
import random
import re
from datetime import UTC, datetime, timedelta

import pytest
import sqlalchemy as sa

from quizsvc.services import accounts, banks
from quizsvc.store.tables import AssignmentPlace, Person
from tests import factories
from tests.browser import steps
from tests.browser.conftest import serving
from tests.services import school
from tests.services.assigned import add_assignment
from tests.services.handed_in import do

pytestmark = pytest.mark.browser

DESK = {"width": 1280, "height": 900}
PASSWORD = "ochre lantern nine"
GATE = "gate-slow-leak"
# The rate and the time that the question names; the height is their product, by hand.
CLIMB = re.compile(r"climbs at ([\d,]+) fpm for ([\d,]+) min")
OTHERS = ("Lioba Fennimark", "Osric Tamblane", "Sunniva Ockwell", "Wendel Achterby")


@pytest.fixture
def site(templates, tmp_path, bank_name, database_url):
    """The service on a database of this test's kind."""
    with serving(templates, tmp_path, bank_name, database_url) as made:
        yield made


def press(page, name, **more):
    """Press the button of this name; where that leads to another page, all of it has come."""
    page.get_by_role("button", name=name, exact=True, **more).click()
    page.wait_for_load_state()


def follow(page, name):
    """Tap the link of this name in the page's own part; all of the next page has come."""
    page.locator("main").get_by_role("link", name=name, exact=True).first.click()
    page.wait_for_load_state()


def signed_in(phone, site, name, *roles, **options):
    """Somebody the keeper has added, signed in by the form."""
    now = datetime.now(UTC)
    accounts.add_account(site.db, name, roles, now=now)
    accounts.use_link(
        site.db, accounts.make_link(site.db, name, hours=24, by=None, now=now), PASSWORD, device="a desk", now=now
    )
    page = phone(**options)
    page.goto("/sign-in")
    page.locator("#name").fill(name)
    page.locator("#password").fill(PASSWORD)
    press(page, "Sign in")
    page.wait_for_url(site.url + "/")
    return page


def number_in(url, before):
    """The number that follows a word of an address."""
    return int(re.search(rf"/{before}/(\d+)", url)[1])


def shown_to_instructor(page):
    """What the preview shows of one person: of each question its stem, its options in order, and the key."""
    return [
        (
            article.locator(".stem").first.inner_text().strip(),
            article.locator("ul.marks .mark-text").all_inner_texts(),
            article.locator("dl.readings div:has(dt:text-is('Key')) dd").first.inner_text().strip(),
        )
        for article in page.locator("article.item").all()
    ]


def test_from_a_new_group_to_a_mark_and_another(phone, site, tmp_path):
    """What each sees of the other's doing, in the order in which a week brings it."""
    instructor = signed_in(phone, site, "Tobiah Quenley", "instructor", "pilot", viewport=DESK)
    group_id, code = made_group(instructor)
    student = phone()
    joined(student, code, instructor, group_id)
    others = [school.person(site.db, name, now=datetime.now(UTC)) for name in OTHERS]
    with site.db.reading() as session:
        by = session.query(Person.id).filter(Person.name == "Tobiah Quenley").scalar()
    for one in others:
        school.joined(site.db, one, group_id, by=by, now=datetime.now(UTC))

    assignment, mine = released(instructor, group_id)
    done(student, mine)
    receipt = handed_in(student)
    squawked(student, mine)
    below_five(site, instructor, group_id, assignment, others)
    five(site, instructor, assignment, others[3])
    re_marked(site, instructor, student, assignment, tmp_path)
    head = signed_in(phone, site, "Imre Fallowmere", "head of training", viewport=DESK)
    evidence(head, student, receipt)
    assert instructor.faults == student.faults == head.faults == []


def made_group(page):
    """A group by its form, and the code for the projector; gives the group's number and the code."""
    page.goto("/desk")
    follow(page, "New group")
    page.locator("#name").fill("Ochre intake")
    page.locator("#time_zone").select_option("Europe/Lisbon")
    if not page.locator("input[value='tolquenny-19']").is_checked():
        page.locator("label.row:has(input[value='tolquenny-19'])").click()
    press(page, "Make the group")
    page.wait_for_url(re.compile(r"/groups/\d+$"))
    group_id = number_in(page.url, "groups")
    follow(page, "Code to join")
    press(page, "Make a code")
    code = page.locator(".code-large").inner_text().strip()
    assert re.fullmatch(r"\S{4} \S{4}", code), code
    assert page.locator(".code-picture svg").bounding_box()["width"] >= 200
    return group_id, code.replace(" ", "")


def joined(student, code, instructor, group_id):
    """The student signs up from the door that the code opens, and is in after a yes, not before."""
    student.goto(f"/join/{code}")
    follow(student, "Sign up")
    student.locator("#name").fill("Pim Holloquist")
    student.locator("#password").fill(PASSWORD)
    press(student, "Sign up")
    student.wait_for_url(f"**/join/{code}")
    press(student, "Join the group")
    student.wait_for_url("**/join")
    assert "Waiting for an instructor's yes." in student.inner_text("main")

    instructor.goto("/desk")
    follow(instructor, "Ochre intake: 1 waits for your yes")
    press(instructor, "Yes: Pim Holloquist")
    instructor.locator("h2:text-is('Waiting for your yes')").wait_for(state="detached")
    student.goto("/join")
    assert "You are in it." in student.inner_text("main")


def released(page, group_id):
    """Picked by concept, rules as they stand, previewed, released; gives its number and what Pim will get."""
    page.goto(f"/groups/{group_id}/assignments/new")
    page.locator("#title").fill("Differential and gate")
    for concept in ("P-DIFF", "H-GATE"):
        box = page.locator(f"input[value='{concept}']")
        page.locator(".pick-system", has=box).locator("summary").click()
        page.locator(f"label.row:has(input[value='{concept}'])").click()
    page.locator("#count").fill("2")
    press(page, "Pick items")
    page.wait_for_url("**/items")
    assert "2 items" in page.inner_text("main p.lead")
    # Of the two items about the differential either may come; the third is named, so that both are there.
    page.goto(page.url + "?system=21+automatic#named")
    page.locator("label.row:has(input[name=item])").first.click()
    press(page, "Add the ticked")
    assert "3 items" in page.inner_text("main p.lead")
    follow(page, "Go on to the rules")
    page.locator("label.row:has(input[value='with the mark'])").click()
    press(page, "Keep the rules and draw the preview")
    page.wait_for_url("**/preview")
    assert "Drawn for all 5. These are exactly the ones they get." in page.inner_text("main")
    seen = {}
    for name in ("Pim Holloquist", "Lioba Fennimark"):
        follow(page, name)
        steps.arrive(page, f"h1:text-is('{name}')")
        seen[name] = shown_to_instructor(page)
        page.go_back()
        page.wait_for_url("**/preview")
    mine, theirs = seen.values()
    assert [stem for stem, _, _ in mine] != [stem for stem, _, _ in theirs]  # numbers of one's own
    press(page, "Release")
    page.locator("text=Released. The students are told.").wait_for()
    return number_in(page.url, "assignments"), mine


def done(page, mine):
    """On the phone: the same questions that the preview showed; one reload, and the draft is still there.

    Numbers get the key that the preview showed, the choice gets what it called wrong.
    """
    assert len([stem for stem, _, _ in mine if CLIMB.search(stem)]) == 1
    page.goto("/homework")
    follow(page, "Differential and gate")
    press(page, "Begin")
    for place, (stem, options, key) in enumerate(mine, 1):
        steps.arrive(page, f"h1:text-is('{place} of {len(mine)}')")
        assert page.locator("#stem").inner_text().strip() == stem
        assert page.locator("[role=radiogroup] label.row span").all_inner_texts() == options
        if options:
            page.locator("label.row", has_text="13,400 ft cabin").click()
        else:
            assert key not in page.content()
            by_hand = CLIMB.search(stem)
            if by_hand:
                rate, minutes = (int(one.replace(",", "")) for one in by_hand.groups())
                assert f"{rate * minutes:,} ft" == key
            page.locator("#text").fill(key)
        page.locator("#homework-status:has-text('Saved')").wait_for()
        if place == 1:
            page.reload()
            assert page.locator("#text").input_value() == key
        button = "Save and go on" if place < len(mine) else "Save"
        press(page, button)
    page.wait_for_url(re.compile(r"/works/[0-9a-f]+$"))


def handed_in(page):
    """Handed in: the receipt's hash, given back, is that of the text it shows; then the mark, two of three."""
    follow(page, "Hand in")
    press(page, "Hand in")
    page.wait_for_url("**/receipt")
    content = page.locator("#content").text_content()
    receipt = page.locator(".hash").inner_text().strip()
    assert receipt == hashlib.sha256(content.encode()).hexdigest()
    follow(page, "To the feedback")
    steps.arrive(page, "h1:text-is('2 of 3')")
    return receipt


def squawked(page, mine):
    """The feedback shows the preview's keys; the choice is a miss with its belief, and is squawked."""
    page.locator("ol.leaders a").first.click()
    for place, (stem, options, key) in enumerate(mine, 1):
        steps.arrive(page, f"h1:text-is('{place} of {len(mine)}')")
        assert stem in page.inner_text("main")
        if options:
            assert key in page.locator("ul.marks li.is-key").inner_text()
            assert "the high setting alone moves the warning" in page.inner_text("main")
            page.locator("details.squawk summary").click()
            page.locator("#squawk").fill("The landing setting moves the warning here.")
            press(page, "Send the squawk")
            steps.arrive(page, f"h1:text-is('{place} of {len(mine)}')")
        else:
            assert page.locator("dl.readings div:has(dt:text-is('Key')) dd").first.inner_text().strip() == key
            assert page.locator("#outcome").inner_text().strip() == "full"
        page.locator(".next a.button").click()


def below_five(site, page, group_id, assignment, others):
    """Four of five have handed in: no spread yet. Where only four did till the closing there is none at all."""

    def clock():
        return datetime.now(UTC)

    for one, gate in zip(others[:3], ("ten", "ten", "never"), strict=True):
        do(site.db, clock, one, assignment, answers(site, assignment, gate))
    page.goto(f"/assignments/{assignment}")
    assert "4 of 5 handed in" in page.inner_text("main")
    follow(page, "Answer spread")
    assert "Not fixed yet." in page.inner_text("main")
    assert "13,400" not in page.inner_text("main") and page.locator(".spread").count() == 0

    short = add_assignment(
        site.db, clock, group_id, ["essential-bus-feeds"], title="Buses", closes_at=clock() + timedelta(hours=1)
    )
    for one in others:
        do(site.db, clock, one, short, [{"option": "left"}])
    site.advance(days=0.1)
    page.goto(f"/assignments/{short}/spread")
    assert "Fewer than five people handed in." in page.inner_text("main")
    assert "left bus" not in page.inner_text("main") and page.locator(".spread").count() == 0


def five(site, page, assignment, fifth):
    """The fifth hands in: now each option has its count, and nobody is named."""
    do(site.db, lambda: datetime.now(UTC) + timedelta(days=0.1), fifth, assignment, answers(site, assignment, "never"))
    page.goto(f"/assignments/{assignment}/spread")
    words = page.inner_text("main")
    gate = page.locator(".spread", has_text="When does CABIN ALT sound?").locator("li p:first-child").all_inner_texts()
    assert sorted(gate) == ["1 13,400 ft cabin", "2 10,000 ft cabin (key)", "2 not before the masks"]
    assert "5 handed in." in words
    assert not [name for name in ("Pim Holloquist", *OTHERS) if name in words]


def answers(site, assignment, gate):
    """Right on the numbers, this option of the choice, in the order of the places."""
    with site.db.reading() as session:
        items = session.scalars(
            sa.select(AssignmentPlace.item_id)
            .where(AssignmentPlace.assignment_id == assignment)
            .order_by(AssignmentPlace.position)
        )
        return [{"option": gate} if item == GATE else "right" for item in items]


def re_marked(site, page, student, assignment, tmp_path):
    """From the squawk to the corrected text, to new marks, to the notice that the student finds."""
    text = factories.AIRCRAFT_ITEMS.replace('text: "10,000 ft cabin", key: true', 'text: "10,000 ft cabin"')
    text = text.replace(
        'text: "13,400 ft cabin", belief: the high setting alone moves the warning',
        'text: "13,400 ft cabin", key: true',
    )
    corrected = factories.write_bank(tmp_path / "corrected", extra={"tolquenny-19/items.yaml": text})
    banks.load(site.db, corrected, now=datetime.now(UTC), rng=random.Random(4))
    page.goto("/desk")
    follow(page, "1 open")
    page.locator("main ul.rows a").first.click()
    page.wait_for_load_state()
    assert "The landing setting moves the warning here." in page.inner_text("main")
    page.locator("label.row:has(input[value=fixed])").click()
    page.locator("#text").fill("The warning follows the landing setting.")
    press(page, "Keep")
    page.locator("text=Whoever raised it is told.").wait_for()
    page.get_by_role("link", name="Re-mark question").first.click()
    page.wait_for_load_state()
    assert "3 of 5 marks change" in page.inner_text("main")
    page.locator("#why").fill("Modification 12.")
    press(page, "Re-mark")
    page.wait_for_url(f"**/assignments/{assignment}/marks")
    rows = {row.locator(".row-head").inner_text(): row.inner_text() for row in page.locator("ul.rows > li").all()}
    assert {name: "3 of 3" in row for name, row in rows.items()} == {
        "Pim Holloquist": True, **dict.fromkeys(OTHERS, False)
    }  # fmt: skip
    assert all("2 of 3" in rows[name] for name in OTHERS)

    student.goto("/account/notices")
    told = student.inner_text("main")
    assert re.search(r"Differential and gate: question \d was re-marked\.", told)
    assert "Your squawk has an answer: fixed." in told
    student.goto("/homework")
    follow(student, "Differential and gate")
    follow(student, "Differential and gate")
    steps.arrive(student, "h1:text-is('3 of 3')")


def evidence(page, student, receipt):
    """The head of training's sheet: what was handed in, by its receipt, no mark, no answer; its file comes again.

    The student finds the look.
    """
    page.goto("/training")
    follow(page, "Pim Holloquist")
    steps.arrive(page, "h1:text-is('Evidence sheet')")
    words = page.inner_text("main")
    assert "Differential and gate" in words and f"{GATE} 1" in words and receipt in words
    assert not [one for one in ("3 of 3", "2 of 3", "13,400", "the high setting") if one in words]
    with page.expect_download() as begun:
        follow(page, "JSON")
    made = begun.value.path().read_bytes()
    page.reload()
    with page.expect_download() as begun:
        page.locator("section:has(h2:text-is('Made before')) .row-head a").first.click()
    assert begun.value.path().read_bytes() == made
    assert hashlib.sha256(made).hexdigest() in page.inner_text("main")

    student.goto("/account/looks")
    looks = student.locator("ul.rows > li").all_inner_texts()
    assert [one for one in looks if one.startswith("Imre Fallowmere") and "vidence" in one]
