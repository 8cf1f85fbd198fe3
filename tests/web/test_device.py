"""The shell "On this device": the same bytes for everybody, without anything of a person, with its cautions."""

from __future__ import annotations

import re

from quizsvc.services import reading

ADDRESS = "/on-this-device"


def test_the_shell_is_the_same_for_everybody(browsers, member, visitor):
    """Browsers keep it, so a signed-in person, one who answered without a name and a stranger get identical bytes."""
    visitor.start()
    visitor.pass_on()
    shells = {one.client.get(ADDRESS).get_data() for one in (browsers(), visitor, member)}

    assert len(shells) == 1
    assert b"Nadir" not in shells.pop()


def test_the_shell_leaves_no_trace_and_takes_none(member):
    """It sets no cookie, holds no form token, and a notice that waits for its person still waits after it."""
    member.start()
    member.pass_on()
    squawk = member.page.form(f"{member.path}/squawks")
    member.client.post(squawk.action, data=dict(squawk.fields) | {"text": "the stem has two readings"})
    shell = member.client.get(ADDRESS)

    assert "Set-Cookie" not in shell.headers
    assert "csrf_token" not in shell.get_data(as_text=True)
    assert 'class="notice" role="status"' not in shell.get_data(as_text=True)
    assert 'class="notice" role="status"' in member.client.get("/log").get_data(as_text=True)


def test_both_cautions_stand_above_its_start(visitor, bank_db):
    """Pressing it acknowledges them; C9 is hidden by script on a day that has it already."""
    words = reading.cautions(bank_db)
    html = visitor.get(ADDRESS).html
    above = html[html.index("<main") : html.index("data-minutes=")]

    for one in ("C1", "C9"):
        assert f'data-caution="{one}"' in above
        assert words[one] in above


def test_every_screen_of_the_shell_has_the_band(visitor):
    """Its screens stand in templates; C2 is in the header of each, C1 at the foot of the page around them."""
    html = visitor.get(ADDRESS).html
    screens = re.findall(r'<template data-page="(question|feedback|end)">(.*?)</template>', html, re.DOTALL)

    assert [name for name, _ in screens] == ["question", "feedback", "end"]
    for name, inside in screens:
        assert 'data-caution="C2"' in inside, name
        assert inside.index("C2") < inside.index("<main"), name
    assert 'data-caution="C1"' in html[html.index("<footer") :]


def test_start_leads_there(visitor):
    """Where a person looks for a drill."""
    assert ADDRESS in visitor.get("/").links


def test_without_scripts_it_says_so(visitor):
    """The page cannot keep anything then; Start can be used without them."""
    html = visitor.get(ADDRESS).html

    assert "needs scripts" in re.search(r"<noscript>(.*?)</noscript>", html, re.DOTALL).group(1)
