"""The bench as a page: a state is an address, every control is a field, markup stays text."""

from __future__ import annotations

import random
import re
from datetime import UTC, datetime

import pytest

from quizsvc.services import banks
from quizsvc.store.tables import Question
from quizsvc.web.app import create_app
from tests import factories
from tests.web.pages import Visitor

BENCH = "/bench/tolquenny-19"


def _section(page, name):
    """The HTML of a part that a script would replace."""
    return page.html.split(f'data-part="{name}"')[1].split("data-part=")[0]


def _link(page, words):
    return re.search(rf'href="([^"]+)"[^>]*>{re.escape(words)}</a>', page.html)[1].replace("&amp;", "&")


def test_with_one_aircraft_its_bench_opens_at_once(visitor):
    """And it is on the way from the start page and the handbook."""
    assert "/bench" in visitor.get("/").links
    assert "/bench" in visitor.get("/handbook").links
    visitor.get("/bench")

    assert visitor.path == BENCH
    assert "all 69 parts work" in visitor.page.text


def test_a_state_is_an_address(visitor):
    """Boxes, switches and the part looked at come back as they were asked for."""
    page = visitor.get(f"{BENCH}?fail=L_GEN&fail=R_GEN&at-BATT=OFF&node=DUMP")
    form = page.form(BENCH)
    checked = [value for name, value in form.fields if name == "fail"]
    chosen = re.findall(r'<option value="([^"]+)" selected', page.html)

    assert sorted(checked) == ["L_GEN", "R_GEN"]
    assert "OFF" in chosen
    assert ("node", "DUMP") in form.fields
    # F11 of domain/aircraft.yaml: dump works after BATT ON.
    assert "after BATT ON" in _section(page, "dies")
    assert "Works after BATT ON." in page.text and "BATT switch at OFF" in page.text


def test_a_form_without_scripts_shows_the_state(visitor):
    """Tick two parts, press Show."""
    form = visitor.get(BENCH).form(BENCH)
    page = visitor.send(form, fail=["L_GEN", "TIE"])

    assert visitor.status == 200
    assert "2 failed, 10 lost, 2 after an action, 55 work." in page.text
    assert "speedbrakes" in _section(page, "dies")


def test_a_failure_of_the_handbook_is_one_tap(visitor):
    """Its consequence is shown in the file's words with the file's numbers."""
    page = visitor.get(BENCH)
    page = visitor.get(_link(page, "both generators fail, BATT OFF"))

    assert "HOT bus only. Cabin pressure by thumbwheel; dump dead; masks by lever." in page.text
    assert 'aria-current="true"' in _section(page, "known")


def test_a_part_is_one_tap_from_its_way(visitor):
    """The link keeps what failed and jumps to the picture."""
    page = visitor.get(f"{BENCH}?fail=L_GEN&fail=TIE")
    address = _link(page, "speedbrakes")

    assert address.endswith("#way") and "fail=L_GEN" in address and "fail=TIE" in address
    assert "left generator failed and bus tie failed" in visitor.get(address.split("#")[0]).text


def test_a_set_on_the_concepts_starts_from_the_bench(visitor, bank_db):
    """Under its cautions, and with nothing but the concepts of the page."""
    page = visitor.get(f"{BENCH}?fail=RELIEF")
    form = next(one for one in page.forms if one.action == "/sets")
    start = page.html.index('action="/sets"')

    assert ("concept", "C-FAIL") in form.fields
    assert 'data-caution="C1"' in page.html[start:]

    visitor.send(form, ("minutes", "5"))
    with bank_db.reading() as session:
        asked = {question.concept_id for question in session.query(Question)}

    assert "/questions/" in visitor.path
    assert asked == {"C-FAIL"}


@pytest.mark.parametrize(
    "query",
    ["fail=FLUX", "node=FLUX", "at-FLUX=1", "at-BATT=HALF", "flight=-1", "flight=99", "flight=x", "when=never",
     "minute=-5", "minute=x", "minute=99999", "&".join(f"fail=X{n}" for n in range(300))],
)  # fmt: skip
def test_an_address_that_asks_for_what_is_not_there_is_refused_in_words(visitor, query):
    """422 and a sentence; never a traceback."""
    response = visitor.client.get(f"{BENCH}?{query}")
    text = response.get_data(as_text=True)

    assert response.status_code == 422
    assert "This cannot be used" in text and "Traceback" not in text


def test_an_unknown_aircraft_is_not_found(visitor):
    """As any address that is not there."""
    assert visitor.client.get("/bench/no-such").status_code == 404


def test_ids_of_a_page_are_unique(visitor):
    """Three pictures on one page, one of them twice."""
    page = visitor.get(f"{BENCH}?fail=L_GEN&node=SPDBRK")
    ids = [attributes["id"] for _, attributes in page.tags if attributes.get("id")]

    assert len(ids) == len(set(ids))
    known = set(ids)
    for _, attributes in page.tags:
        for name in ("aria-labelledby", "aria-describedby", "for"):
            assert set((attributes.get(name) or "").split()) <= known, attributes


def test_markup_in_an_aircraft_file_stays_text(settings, db, clock, tmp_path, chance):
    """In names of parts, switches, positions' words, failures and consequences."""
    mark = "<script>alert(7)</script><b onmouseover=alert(7)>"
    folder = factories.write_bank(tmp_path / "hostile")
    file = folder / "tolquenny-19" / "aircraft.yaml"
    text = file.read_text(encoding="utf-8")
    for old in ("name: speedbrakes", "name: BATT switch", "words: BATT ON", "title: ADC 1 fails", "name: Dunquerry"):
        assert old in text
        text = text.replace(old, f"{old} {mark}")
    file.write_text(text, encoding="utf-8")
    banks.load(db, folder, now=datetime(2026, 3, 1, tzinfo=UTC), rng=random.Random(1))
    visitor = Visitor(create_app(settings, clock=clock, db=db, rng=chance).test_client())
    page = visitor.get(f"{BENCH}?fail=L_GEN&fail=R_GEN&fail=SPDBRK&at-BATT=OFF&node=SPDBRK")

    assert visitor.status == 200
    assert page.text.count("alert(7)") >= 8
    for tag, attributes in page.tags:
        assert tag != "b" or not attributes
        assert not [name for name in attributes if name.startswith("on")]
        assert tag != "script" or (attributes.get("src") or "").startswith("/static/")
