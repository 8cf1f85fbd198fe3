"""Kind `profile`: the key is flown as it is, the wrong plots by wrong beliefs; the case is S07 of the item design."""

import random

import pytest

from quizsvc.bank.grade import grade, read_response, worked
from quizsvc.bank.question import compile_item, issue, present, try_draw
from quizsvc.errors import InputError
from quizsvc.pictures import describe, draw
from tests.bank.bank_texts import check, only_item

ITEM = """\
- item: sample
  kind: profile
  concept: P-DIFF
  demand: correlation
  handbook: 21-10
  stem: Dunquerry to Sant Orrin, LDG 10,650, FL390. Pick the cabin plot.
  flight: {from: 412 ft, to: 10641 ft, cruise: FL390, climb: 1600 fpm, cruise-until: 60 min, descent: [{to: FL230, rate: 2000 fpm}, {rate: 1500 fpm}]}
  plots:
    - {id: waits, key: true}
    - {id: at-once, change: {gate: none}}
    - {id: in-cruise, belief: climbs in cruise, change: {regime: target-in-cruise}}
    - {id: down-first, change: {descent: down}}
  why: It waits for the gate.
  author: first author
  status: draft
"""  # noqa: E501


def text(*changes):
    """The sample with each old part, which stands in it once, replaced."""
    found = ITEM
    for old, new in changes:
        assert found.count(old) == 1, old
        found = found.replace(old, new)
    return found


def item(*changes):
    checked = check(text(*changes))
    return compile_item(only_item(checked).body, checked.aircraft["tolquenny-19"])


def found(*changes):
    """Reference and severity of each finding about the item."""
    return {(finding.reference, finding.severity) for finding in check(text(*changes)).findings if finding.item}


def issued(*changes, seed=3):
    compiled = item(*changes)
    return compiled, issue(compiled, random.Random(seed))


def _at(option, minute):
    points = option.picture["lines"][0]["points"]
    for (a, c), (b, d) in zip(points, points[1:], strict=False):
        if a <= minute <= b and b > a:
            return c + (d - c) * (minute - a) / (b - a)
    raise AssertionError(minute)


def test_the_plots_are_those_of_s07():
    """S07: A flat to 68 and 10,950 at 75.4; B up at 60; C at 10,950 in cruise; D 4,100 at 68."""
    compiled, question = issued()
    shown = present(compiled, question.drawn, question.order)
    plots = {option.id: option for option in shown.options}

    assert sorted(option.text for option in shown.options) == ["Plot A", "Plot B", "Plot C", "Plot D"]
    assert _at(plots["waits"], 67.9) == pytest.approx(6900, abs=0.6)
    assert _at(plots["waits"], 75.5) == pytest.approx(10950, abs=0.6)
    assert _at(plots["at-once"], 62) == pytest.approx(6900 + 1100, abs=0.6)
    assert _at(plots["in-cruise"], 50) == pytest.approx(10950, abs=0.6)
    assert _at(plots["down-first"], 68) == pytest.approx(4100, abs=0.6)


def test_letters_go_by_place_and_nothing_of_the_key_is_shown():
    """Whatever the order, the first plot is A; titles and texts tell no belief."""
    for seed in range(6):
        compiled, question = issued(seed=seed)
        shown = present(compiled, question.drawn, question.order)
        assert [option.text for option in shown.options] == ["Plot A", "Plot B", "Plot C", "Plot D"]
        assert [option.picture["title"] for option in shown.options] == list("ABCD")
        written = str([describe(option.picture) + draw(option.picture) for option in shown.options])
        for word in ("waits", "at-once", "in-cruise", "down-first", "gate", "belief"):
            assert word not in written
    orders = {tuple(issued(seed=seed)[1].order) for seed in range(12)}
    assert len(orders) > 6


def test_the_key_is_full_and_another_plot_a_miss_with_its_belief():
    """A belief that the item does not word is told in the words of the change."""
    _, question = issued()

    assert grade(question.record, read_response(question.record, {"option": "waits"})).outcome == "full"
    wrong = grade(question.record, read_response(question.record, {"option": "in-cruise"}))
    assert (wrong.outcome, wrong.credit, wrong.trap, wrong.belief) == ("miss", 0.0, "in-cruise", "climbs in cruise")
    other = grade(question.record, read_response(question.record, {"option": "at-once"}))
    assert "as soon as the descent begins" in other.belief
    passed = grade(question.record, {"pass": True})
    assert passed.outcome == "pass" and len(passed.marks) == 4


@pytest.mark.parametrize("raw", [{}, {"option": ""}, {"option": "Plot A"}, {"option": ["waits"]}])
def test_no_plot_or_none_of_these_is_unreadable(raw):
    """With a sentence for the learner."""
    _, question = issued()

    with pytest.raises(InputError) as refused:
        read_response(question.record, raw)
    assert refused.value.reference == "response-unreadable"


def test_the_feedback_lays_all_plots_over_each_other_and_marks_where_they_part():
    """S07: B and D part at 60, C at the top of the climb, minute 24.1."""
    _, question = issued()
    shown = worked(question.record)
    (overlay,) = shown.pictures
    letters = {plot: "ABCD"[place] for place, plot in enumerate(question.order)}

    assert shown.key_shown == f"Plot {letters['waits']}"
    assert [line["label"] for line in overlay["lines"]][0] == letters["waits"]
    assert [line["style"] for line in overlay["lines"]] == ["cabin", "other", "other", "other", "aircraft"]
    marks = {mark["at"]: mark["label"] for mark in overlay["marks"]}
    assert marks[24.1] == f"{letters['in-cruise']} parts"
    two = " and ".join(sorted((letters["at-once"], letters["down-first"])))
    assert marks[60.0] == f"{two} part"
    assert draw(overlay)


def test_numbers_may_be_drawn_and_make_another_plot():
    """The top of descent by lot, and the same in the stem."""
    changes = (
        ("cruise-until: 60 min", "cruise-until: top"),
        ("Sant Orrin, LDG 10,650", "Sant Orrin, down at {top}, LDG 10,650"),
        ("  flight:", "  draw: {top: {from: 50 min, to: 70 min, step: 10 min}}\n  flight:"),
    )
    compiled, question = issued(*changes)
    shown = present(compiled, question.drawn, question.order)
    aircraft = shown.options[0].picture["lines"][1]["points"]
    top = float(question.drawn["top"]["shown"].split()[0])

    assert f"{top:.0f} min" in shown.stem
    assert [minute for minute, level in aircraft if level == 39000.0][-1] == pytest.approx(top)


def test_events_and_a_setting_are_flown():
    """Air data lost in cruise: the key holds where others believe the control goes on."""
    changes = (
        (
            "cruise-until: 60 min,",
            "cruise-until: 60 min, setting: 2000 ft, events: [{at: 40 min, what: air data lost}],",
        ),
        ("to: 10641 ft", "to: 2237 ft"),
        ("    - {id: at-once, change: {gate: none}}\n", "    - {id: goes-on, change: {air-data: automatic}}\n"),
        ("    - {id: in-cruise, belief: climbs in cruise, change: {regime: target-in-cruise}}\n", ""),
        ("    - {id: down-first, change: {descent: down}}\n", "    - {id: sinks, change: {air-data: sinks}}\n"),
    )
    compiled, question = issued(*changes)
    plots = {option.id: option for option in present(compiled, question.drawn, question.order).options}

    assert _at(plots["waits"], 70) == pytest.approx(6900, abs=0.6)
    assert _at(plots["goes-on"], 75) < 3000
    assert _at(plots["sinks"], 45) == pytest.approx(6052, abs=1)


def test_plots_that_nobody_could_tell_apart_are_refused():
    """The whole item is a fault where no draw passes."""
    alike = (("change: {descent: down}", "change: {hold: none}"), ("from: 412 ft", "from: 0 ft"))
    compiled = compile_item(only_item(check(ITEM)).body, check(ITEM).aircraft["tolquenny-19"])

    assert try_draw(compiled, {}).refusal is None
    assert any(severity == "fault" for _, severity in found(*alike))


@pytest.mark.parametrize(
    ("change", "reference"),
    [
        (("{id: waits, key: true}", "{id: waits, change: {gate: none}, belief: x}"), "bank-keys"),
        (("{id: at-once, change: {gate: none}}", "{id: at-once}"), "bank-plot"),
        (("{id: at-once, change: {gate: none}}", "{id: at-once, change: {gate: open}}"), "bank-plot"),
        (("{id: at-once, change: {gate: none}}", "{id: at-once, change: {weather: bad}}"), "bank-plot"),
        (("{id: waits, key: true}", "{id: waits, key: true, change: {gate: none}}"), "bank-plot"),
        (("{id: at-once,", "{id: waits,"), "bank-option-twice"),
        (("{id: at-once,", "{id: At_Once,"), "bank-id"),
        (("cruise: FL390, ", ""), "bank-word-missing"),
        (("climb: 1600 fpm", "climb: 1600 ft"), "bank-value-dimension"),
        (("climb: 1600 fpm", "speed: 1600 fpm"), "bank-word-unknown"),
        (("cruise-until: 60 min,", "cruise-until: 60 min, events: [{at: 5 min, what: lightning}],"), "bank-word-value"),
        (
            ("cruise-until: 60 min,", "cruise-until: 60 min, events: [{at: 5 min, what: dump, value: 5 ft}],"),
            "bank-flight",
        ),
        (("cruise-until: 60 min,", "cruise-until: 60 min, events: [{at: 5 min, what: target}],"), "bank-word-missing"),
        (("cruise-until: 60 min", "cruise-until: 6 min"), None),
    ],
)
def test_what_is_wrong_with_a_text_is_found(change, reference):
    """Each fault by its name; a flight that ends before its climb refuses every draw."""
    references = {name for name, severity in found(change) if severity == "fault"}

    assert references
    assert reference is None or reference in references, references


def test_a_folder_without_an_aircraft_cannot_fly():
    """The fault says where the item belongs."""
    general = ITEM.replace("concept: P-DIFF", "concept: G-ISA").replace("  handbook: 21-10\n", "")
    references = {finding.reference for finding in check(general=general).faults}

    assert "bank-no-aircraft" in references


def test_a_cabin_that_goes_to_the_aircraft_leaves_the_common_scale():
    """Valves that open at FL390 would put it at 39,000 ft; the scale stays that of cabins and is one for all plots."""
    compiled, question = issued(
        ("cruise-until: 60 min,", "cruise-until: 60 min, events: [{at: 40 min, what: controller dead}],"),
        ("{gate: none}", "{controller: opens}"),
        ("{regime: target-in-cruise}", "{controller: holds}"),
        ("    - {id: down-first, change: {descent: down}}\n", ""),
    )
    options = present(compiled, question.drawn, question.order).options

    highest = max(cabin for option in options for _, cabin in option.picture["lines"][0]["points"])
    assert highest > 30_000
    assert len({tuple(option.picture["scale"]) for option in options}) == 1
    assert options[0].picture["scale"][1] < 20_000
