"""Each person's own questions, on the preview's screen and on paper, with every kind of item."""

from __future__ import annotations

import re

import pytest
import sqlalchemy as sa

from quizsvc.store.tables import Question
from quizsvc.web.app import create_app
from tests.services.assigned import add_assignment


class TestPreviewAndPaper:
    """Each one's own questions."""

    @pytest.fixture
    def drawn(self, instructor, draft):
        """The draft with everybody's questions; the address."""
        page = instructor.get(f"{draft}/preview")
        instructor.send(page.form(f"{draft}/preview"))
        return draft

    def test_one_persons_questions_with_keys(self, instructor, bank_db, students, drawn):
        """The numbers of the stored question, and the key."""
        page = instructor.get(f"{drawn}/preview/{students[0]}")
        with bank_db.reading() as session:
            question = session.scalars(
                sa.select(Question).where(Question.person_id == students[0], Question.kind == "number")
            ).one()

        assert page.heading == "Ada Quill"
        for value in question.drawn.values():
            assert value["shown"] in page.text
        assert "the essential bus key" in page.text

    def test_paper_has_a_sheet_for_each_with_cautions_and_no_key(self, instructor, drawn):
        """C1 and C2 in each sheet, names, no working; the keys stand on the answer sheet alone."""
        questions = instructor.get(f"{drawn}/print")
        sheets = questions.html.split('<section class="sheet"')[1:]

        assert [name in sheet for name, sheet in zip(("Ada Quill", "Bo Tarn"), sheets, strict=True)] == [True, True]
        for sheet in sheets:
            assert 'data-caution="C1"' in sheet and 'data-caution="C2"' in sheet
        assert "Dump hangs on" not in questions.html and "key" not in questions.text.split("Closes")[1]

        answers = instructor.get(f"{drawn}/print/answers")
        assert answers.text.count("the essential bus") == 2
        for sheet in answers.html.split('<section class="sheet"')[1:]:
            assert 'data-caution="C1"' in sheet and 'data-caution="C2"' in sheet

    def test_who_has_nothing_is_named_not_printed(self, instructor, draft):
        """Before drawing."""
        page = instructor.get(f"{draft}/print")

        assert "2 have no questions yet" in page.text
        assert '<section class="sheet"' not in page.html


class TestEveryKindOnPaper:
    """Room for the answer to each kind, and a key that can be found on the paper."""

    @pytest.fixture
    def app(self, settings, kinds_db, clock, chance):
        """The application on a database with an item of every kind."""
        return create_app(settings, clock=clock, db=kinds_db, rng=chance)

    @pytest.fixture
    def bank_db(self, kinds_db):
        """That database."""
        return kinds_db

    @pytest.fixture
    def paper(self, instructor, bank_db, clock, group, students):
        """Questions and answers of the first student, by kind."""
        kinds = ("one", "some", "number", "order", "match", "gauge", "profile", "still-works", "scenario")
        number = add_assignment(bank_db, clock, group, [f"asked-as-{kind}" for kind in kinds], released=False)
        instructor.send(instructor.get(f"/assignments/{number}/preview").form(f"/assignments/{number}/preview"))
        pages = [instructor.get(f"/assignments/{number}/{path}").html for path in ("print", "print/answers")]
        questions, answers = (page.split('<section class="sheet"')[1] for page in pages)
        with bank_db.reading() as session:
            rows = session.scalars(
                sa.select(Question).where(Question.person_id == students[0]).order_by(Question.position)
            ).all()
        return rows, questions.split('<article class="paper-item">')[1:], answers.split('<th scope="row">')[1:]

    def test_on_the_screen_the_solution_is_folded_and_the_options_are_not(self, paper, instructor, students):
        """The gauge that is asked stands before its fold, the plots that the profile's options name after it."""
        page = instructor.get(f"/assignments/1/preview/{students[0]}").html
        articles = page.split('<article class="item"')[1:]
        rows, _, _ = paper
        found = {}
        for row, text in zip(rows, articles, strict=True):
            before, _, rest = text.partition("<details")
            inside, _, after = rest.partition("</details>")
            found.setdefault(row.kind, (before.count("<svg"), inside.count("<svg"), after.count("<svg")))
            assert ">Key<" in before and "belief" not in before and 'class="working"' in inside

        # kinds_bank: the gauge item shows one gauge and explains it by a second; the profile item's two plots are
        # laid over each other in one picture.
        assert (found["gauge"], found["profile"]) == ((1, 1, 0), (0, 0, 1))
        assert [found[kind][0] + found[kind][2] for kind in ("one", "some", "order", "match", "still-works")] == [0] * 5

    def test_questions_have_room_and_tell_nothing(self, paper):
        """Boxes for options, a line for a number, boxes for places and letters; pictures are drawn."""
        rows, questions, _ = paper
        found = [
            (row.kind, text.count("tick-box round"), text.count("tick-box wide"), text.count('class="line"'))
            for row, text in zip(rows, questions, strict=True)
        ]

        # Counted in tests/kinds_bank.py: options, steps, left sides, rows, readings of each item.
        assert found == [
            ("one", 2, 0, 0),
            ("some", 0, 0, 0),
            ("number", 0, 0, 1),
            ("order", 0, 4, 0),
            ("match", 0, 2, 0),
            ("gauge", 2, 0, 2),
            ("profile", 2, 0, 0),
            ("still-works", 0, 3, 0),
            ("number", 0, 0, 1),
            ("one", 2, 0, 0),
            ("number", 0, 0, 1),
        ]
        assert [text.count("<svg") for text in questions] == [0, 0, 0, 0, 0, 1, 2, 0, 0, 0, 0]
        assert questions[1].count('"tick-box"') == 3
        assert [text.partition("</h2>")[0].rpartition(">")[2] for text in questions[-3:]] == ["9a", "9b", "9c"]
        for behind in ("belief", "Dump hangs", "8.9 psi is where", "limit needs no controller"):
            assert behind not in "".join(questions)

    def test_letters_of_the_key_are_those_of_the_paper(self, paper):
        """The letter in the answers stands before the key's text in the questions."""
        rows, questions, answers = paper
        seen = 0
        for row, asked, key in zip(rows, questions, answers, strict=True):
            if row.kind in ("one", "some"):
                for letter in re.findall(r"<b>([A-Z])</b>", key):
                    text = re.search(rf"<b>{letter}</b> ([^<]*)</span>", asked)[1]
                    assert text in key
                    seen += 1
            if row.kind == "match":
                # kinds_bank: a failed ADC holds, a failed CPC sinks.
                for left, right in (("ADC 1 fails", "holds its present"), ("CPC fails", "sinks until")):
                    letter = re.search(rf"{left}[^<]*<b>([A-Z])</b>", key)[1]
                    assert re.search(rf"<b>{letter}</b> {right}", asked)
                    seen += 1
        assert seen == 6
