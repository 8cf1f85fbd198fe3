"""Test-wise guessers, who know nothing of the subject, score no better than chance on the shipped choice items.

Each guesser ranks the options of a question by one outward sign and takes the first; where several share the first
place it takes any of them. A question of one key counts what share of its first places is the key, against one in so
many options; a question of several keys counts whether the option that was taken is one of them, against their share.
Five points above chance are the most that is allowed: it is a bound on the bank and says nothing of any single item.

The cues are those of the literature on writing items (longest, most qualified, grammar, words of the stem repeated,
middle places, absolute words), and what their turning round would use.
"""

import random
import re
from collections import Counter
from dataclasses import dataclass

import pytest

from quizsvc.bank.check import check_bank
from quizsvc.bank.question import compile_item, issue, present
from quizsvc.services.bank_files import read_folder
from tests.bank.bank_texts import SHIPPED

BOUND = 0.05
SHUFFLES = 12
CHOICE = ("one", "some")

WORD = re.compile(r"[a-z]+|\d[\d,.]*")
HEDGES = re.compile(
    r"\b(about|near|nearly|roughly|some|may|might|can|could|often|usually|mostly|most|almost|at most|at least|until"
    r"|unless|if|as|so|but|though|then|when|while|after|before|with|without|within|give or take"
    r"|by itself|by themselves)\b"
)
ABSOLUTE = re.compile(r"\b(always|never|only|all|none|nothing|nobody|no|any|every|each|whatever|not|both|neither)\b")
SMALL = frozenset("a an the of to in on at by is are it its and or for from that this as be was has have".split())


@dataclass(frozen=True)
class Question:
    """One question as shown: the stem, the options in the order shown, and which of them are keys."""

    item: str
    kind: str
    stem: str
    options: tuple[str, ...]
    keys: tuple[bool, ...]


@pytest.fixture(scope="module")
def questions():
    """Every live choice item and every choice part of a live scenario or gauge item, shuffled some times over."""
    bank = check_bank(read_folder(SHIPPED), rng=random.Random(7))
    rng = random.Random(20261126)
    found = []
    for item in bank.items:
        if item.status != "live" or item.kind not in (*CHOICE, "gauge", "scenario"):
            continue
        compiled = compile_item(item.body, bank.aircraft.get(item.folder) if item.uses_aircraft else None)
        for _ in range(SHUFFLES):
            found += _asked(item.id, compiled, issue(compiled, rng))
    return found


def _asked(item_id, compiled, issued):
    if "parts" not in issued.record:
        return [_question(item_id, present(compiled, issued.drawn, issued.order), issued.record)]
    return [
        _question(
            f"{item_id}/{part['part']}",
            present(compiled, issued.drawn, part["order"], part=part["part"]),
            part["record"],
        )
        for part in issued.record["parts"]
        if part["kind"] in CHOICE
    ]


def _question(item_id, asked, record):
    kind = "one" if asked.kind == "gauge" else asked.kind
    keys = tuple(option.id in record["keys"] for option in asked.options)
    stem = f"{asked.stem} {asked.ask or ''}".strip()
    return Question(item_id, kind, stem, tuple(option.text for option in asked.options), keys)


def words(text):
    return WORD.findall(text.lower())


def content(text):
    return {word for word in words(text) if word not in SMALL}


def shared(one, other):
    """Share of the words of two texts that both have."""
    union = one | other
    return len(one & other) / len(union) if union else 0.0


def alike(question):
    """How much each option has in common with the others, in words."""
    sets = [set(words(text)) for text in question.options]
    return [
        sum(shared(own, other) for place, other in enumerate(sets) if place != number)
        for number, own in enumerate(sets)
    ]


def _sort_of_start(text):
    """The sort of word an option starts with: what a reader sees at a glance."""
    first = (words(text) or [""])[0]
    if first[:1].isdigit():
        return "figure"
    if first in {"about", "near", "roughly"}:
        return "figure" if re.search(r"\d", text) else "about"
    if first in {"yes", "no", "not", "nothing", "none", "nobody", "never", "nowhere", "neither", "both"}:
        return "denial" if first not in {"yes", "both"} else first
    if first in {"it", "they", "he", "she", "you", "the", "a", "an", "its", "your", "one", "two", "each"}:
        return "noun"
    if first in {"to", "by", "in", "on", "at", "with", "from", "for", "into", "below", "above", "after", "before"}:
        return "place"
    return "verb" if first.endswith("s") and not first.endswith("ss") else "other"


FIGURE = re.compile(
    r"\b(how (much|many|far|long|high|fast)|which (altitude|level|rate|differential|figure|target|share)|at which"
    r"|what (rate|altitude|level))\b"
)


def grammar(question):
    """Points for what fits the stem as a sentence, and for starting as no fewer of the other options do."""
    stem = question.stem.lower().rstrip()
    asked = re.split(r"(?<=[.:;!])\s+", stem)[-1]
    starts = [_sort_of_start(text) for text in question.options]
    most = Counter(starts).most_common(1)[0][1]
    points = []
    for text, start in zip(question.options, starts, strict=True):
        first, last = (words(text) or [""])[0], (words(text) or [""])[-1]
        fit = 0.0
        if re.search(r"\b(do|does|did|happens|will)\b", asked):
            fit += start == "verb" or first == "it"
        if FIGURE.search(asked):
            fit += bool(re.search(r"\d", text))
        if re.match(r"(may|can|is|are|does|do|must|will|has)\b", asked):
            fit += start in {"yes", "denial"}
        if asked.startswith("where"):
            fit += start in {"place", "figure"}
        if asked.startswith("who"):
            fit += start == "noun"
        if asked.startswith("why"):
            fit += len(words(text)) > 3
        if stem.endswith((" a", " an")):
            fit += (first[:1] in "aeiou") == stem.endswith(" an")
        if re.search(r"\bwhich of these (are|hold|can|break|help)\b|\bwhich are\b", asked):
            fit += last.endswith("s")
        fit += starts.count(start) == most
        points.append(fit)
    return points


def odd_start(question):
    """Points for starting as no other option does."""
    starts = [_sort_of_start(text) for text in question.options]
    return [float(starts.count(start) == 1) for start in starts]


def place(number):
    """Always the same letter; the last one where there are fewer options."""
    return lambda question: [float(n == min(number, len(question.options) - 1)) for n in range(len(question.options))]


def middle(question):
    """The nearer to the middle of the list, the better."""
    centre = (len(question.options) - 1) / 2
    return [-abs(n - centre) for n in range(len(question.options))]


def each(measure):
    return lambda question: [measure(text) for text in question.options]


GUESSERS = {
    "longest option": each(len),
    "shortest option": each(lambda text: -len(text)),
    "most words": each(lambda text: len(words(text))),
    "fewest words": each(lambda text: -len(words(text))),
    "middle length": lambda question: [
        -abs(len(text) - sorted(map(len, question.options))[len(question.options) // 2]) for text in question.options
    ],
    "middle position": middle,
    "first letter": place(0),
    "second letter": place(1),
    "third letter": place(2),
    "last letter": place(99),
    "grammar that fits": grammar,
    "starts like no other": odd_start,
    "most qualified": each(lambda text: len(HEDGES.findall(text.lower()))),
    "least qualified": each(lambda text: -len(HEDGES.findall(text.lower()))),
    "no absolute words": each(lambda text: -len(ABSOLUTE.findall(text.lower()))),
    "absolute words": each(lambda text: len(ABSOLUTE.findall(text.lower()))),
    "gives a reason": each(lambda text: bool(re.search(r"[,:]|\b(as|since|because|so)\b", text))),
    "gives no reason": each(lambda text: not re.search(r"[,:]|\b(as|since|because|so)\b", text)),
    "most like the others": alike,
    "least like the others": lambda question: [-value for value in alike(question)],
    "words of the stem": lambda question: [
        len(content(text) & content(question.stem)) / max(len(content(text)), 1) for text in question.options
    ],
    "new words": lambda question: [
        -len(content(text) & content(question.stem)) / max(len(content(text)), 1) for text in question.options
    ],
    "most figures": each(lambda text: len(re.findall(r"\d[\d,.]*", text))),
    "fewest figures": each(lambda text: -len(re.findall(r"\d[\d,.]*", text))),
}


def score(guess, question):
    """What taking any of the first-ranked options is worth: the share of them that are keys."""
    ranked = guess(question)
    best = max(ranked)
    taken = [key for key, value in zip(question.keys, ranked, strict=True) if value == best]
    return sum(taken) / len(taken)


def chance(question):
    """What taking any option is worth."""
    return sum(question.keys) / len(question.keys)


def gain(guess, questions):
    """Mean score less mean chance."""
    return sum(score(guess, question) - chance(question) for question in questions) / len(questions)


def givers(guess, questions):
    """Items in which the guess is sure and right, oftenest first: where to mend."""
    right = Counter(question.item for question in questions if score(guess, question) == 1.0)
    return [item for item, count in right.most_common() if count == SHUFFLES]


def test_there_is_a_bank_to_guess_at(questions):
    """Some hundreds of items of one key and some dozens of several, with more than one option each."""
    items = {question.item: question.kind for question in questions}
    kinds = Counter(items.values())

    assert kinds["one"] > 150 and kinds["some"] > 40
    assert all(len(question.options) >= 3 and 0 < sum(question.keys) for question in questions)


@pytest.mark.parametrize("name", GUESSERS)
def test_no_outward_sign_is_worth_five_points(name, questions):
    """Over all choice items, each weighing the same; and over those of one key alone, where one sign settles all."""
    guess = GUESSERS[name]
    for sort, asked in (("all", questions), ("one key", [entry for entry in questions if entry.kind == "one"])):
        found = gain(guess, asked)
        told = f"'{name}' is {100 * found:.1f} points above chance ({sort}); right in {', '.join(givers(guess, asked))}"
        assert found <= BOUND, told


@pytest.mark.parametrize("name", ["longest option", "middle position", "most qualified", "grammar that fits"])
def test_a_bank_that_gives_itself_away_is_found(name):
    """The guessers can guess: a planted bank with the sign on every key is theirs."""
    planted = {
        "longest option": (("it stays", "it climbs a little and then it is held there", "it sinks"), 1),
        "middle position": (("it stays", "it sinks", "it climbs"), 1),
        "most qualified": (("it climbs", "it sinks", "about level, unless it may leak"), 2),
        "grammar that fits": (("sinks to the field", "a valve", "6,900 ft"), 0),
    }
    options, key = planted[name]
    question = Question("planted", "one", "What does it do?", options, tuple(n == key for n in range(len(options))))

    assert score(GUESSERS[name], question) == 1.0
    assert gain(GUESSERS[name], [question]) == pytest.approx(2 / 3)
