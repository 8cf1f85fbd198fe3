"""The items of an assignment at the desk: taken out, put in order, found by words, copied to another group."""

from __future__ import annotations

import re

import sqlalchemy as sa

from quizsvc.store.tables import Assignment, Item
from tests.services.assigned import add_assignment, add_group, add_person


def stored(db, path):
    """The row of an assignment's address."""
    with db.reading() as session:
        return session.get(Assignment, int(path.split("/")[2]))


class TestItems:
    """Picking."""

    def test_named_items_are_added_and_taken_out(self, instructor, bank_db, draft):
        """In the order of adding; the list offers what is not in it yet and says why a key may be known."""
        page = instructor.get(f"{draft}/items?system=21+automatic")
        add = next(one for one in page.forms if ("item", "cabin-from-differential") in one.choices)

        assert "Own numbers. Key open: shipped." in page.text
        assert ("item", "highest-level-mental") not in add.choices

        page = instructor.send(add, ("do", "add"), item=["cabin-from-differential"])
        remove = page.form(f"{draft}/items")
        assert ("remove", "cabin-from-differential") in remove.buttons
        page = instructor.send(remove, ("remove", "essential-bus-feeds"))

        assert [value for name, value in page.form(f"{draft}/items").buttons if name == "remove"] == [
            "highest-level-mental",
            "cabin-from-differential",
        ]

    def test_after_release_they_are_fixed(self, instructor, bank_db, clock, group):
        """Neither by the page nor by a form from before."""
        path = f"/assignments/{add_assignment(bank_db, clock, group, ['essential-bus-feeds'])}"
        page = instructor.get(f"{path}/items")

        assert not [one for one in page.forms if one.buttons]
        instructor.client.post(f"{path}/items")
        assert "fixed since its release" in page.text


class TestOrder:
    """The order of the places, by buttons."""

    def test_up_down_and_back_at_the_row(self, instructor, draft):
        """The first has no way up, the last none down; the answer leads to the row."""
        page = instructor.get(f"{draft}/items")
        form = next(one for one in page.forms if ("down", "essential-bus-feeds") in one.buttons)
        assert [one for one in form.buttons if one[0] in ("up", "down")] == [
            ("down", "essential-bus-feeds"),
            ("up", "highest-level-mental"),
        ]
        token = dict(form.fields)["csrf_token"]
        answer = instructor.client.post(
            f"{draft}/items", data={"csrf_token": token, "version": "1", "up": "highest-level-mental"}
        )

        assert answer.headers["Location"] == f"{draft}/items#place-1"
        page = instructor.get(f"{draft}/items")
        assert "Now at place 1: highest-level-mental." in page.text
        rows = re.split(r'id="place-\d"', page.html)
        assert "highest-level-mental" in rows[1] and "essential-bus-feeds" in rows[2]

    def test_who_looked_before_is_told(self, instructor, draft):
        """409, what it is now, and the order of the other."""
        form = next(
            one for one in instructor.get(f"{draft}/items").forms if ("down", "essential-bus-feeds") in one.buttons
        )
        instructor.send(form, ("down", "essential-bus-feeds"))
        page = instructor.send(form, ("down", "essential-bus-feeds"))

        assert (instructor.status, "Somebody changed it meanwhile" in page.text) == (409, True)
        assert page.html.index("highest-level-mental") < page.html.index("essential-bus-feeds")


class TestWords:
    """Finding by plain words."""

    def test_only_what_fits_is_shown_and_picked(self, instructor, group):
        """Nothing is made by looking; title and words stay, and with nothing ticked they pick."""
        path = f"/groups/{group}/assignments/new"
        page = instructor.send(
            instructor.get(path).form(path), ("do", "find"), title="For Monday", words="dead controller"
        )

        assert (instructor.path, instructor.status) == (path, 200)
        assert "1 item fits, of 1 concept." in page.text
        form = page.form(path)
        assert [one for one in form.choices if one[0] in ("system", "concept")] == [
            ("system", "21 degraded"),
            ("concept", "C-FAIL"),
        ]
        assert ("title", "For Monday") in form.fields

        page = instructor.send(page.form(path), ("do", "pick"))
        assert "controller-dead-what-holds" in page.text and "1 item, about" in page.text

    def test_where_nothing_fits_all_is_shown(self, instructor, group):
        """And said."""
        path = f"/groups/{group}/assignments/new"
        page = instructor.send(instructor.get(path).form(path), ("do", "find"), words="bleed air")

        assert "No item fits these words." in page.text
        assert "D-BUS" in page.html

    def test_while_picking_more(self, instructor, draft):
        """The fields open, what is picked stays; and item by item."""
        form = next(one for one in instructor.get(f"{draft}/items").forms if ("do", "find") in one.buttons)
        page = instructor.send(form, ("do", "find"), words="DC power")
        assert "1 item fits" in page.text and 'value="DC power"' in page.html

        page = instructor.get(f"{draft}/items?about=dead+controller&system=")
        assert [value for form in page.forms for name, value in form.choices if name == "item"] == [
            "controller-dead-what-holds"
        ]


class TestCopying:
    """A copy for the next intake."""

    def test_into_another_own_group_with_what_is_left_out(self, instructor, bank_db, clock, draft):
        """Only own groups are offered; the copy's items page names what it has not."""
        add_group(bank_db, clock, name="Sienna intake", instructors=[add_person(bank_db, clock, "Perel Ostrand")])
        other = add_group(bank_db, clock, name="Umber intake", instructors=[instructor.person])
        with bank_db.writing() as session:
            session.execute(
                sa.update(Item)
                .where(Item.id == "essential-bus-feeds")
                .values(withdrawn_at=clock(), withdrawn_by="handbook")
            )
        page = instructor.get(draft)
        assert "Umber intake" in page.text and "Sienna intake" not in page.text
        page = instructor.send(page.form(f"{draft}/copy"), group=str(other))

        made = instructor.path.removesuffix("/items")
        assert made != draft
        assert (stored(bank_db, made).group_id, stored(bank_db, made).state) == (other, "draft")
        assert "Copied to Umber intake, as a draft: 1 item." in page.text
        assert "Left out essential-bus-feeds: withdrawn." in page.text
        assert page.heading == "Items of Bleed air for Monday"

    def test_nothing_that_can_be_asked_is_said(self, instructor, bank_db, clock, draft):
        """422, on the page of the first."""
        with bank_db.writing() as session:
            session.execute(sa.update(Item).values(withdrawn_at=clock(), withdrawn_by="handbook"))
        page = instructor.send(instructor.get(draft).form(f"{draft}/copy"))

        assert (instructor.status, instructor.path) == (422, f"{draft}/copy")
        assert "Not one item of" in page.text and page.has_form(f"{draft}/copy")
