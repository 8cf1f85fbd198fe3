"""Trying an item before it is stored: 200 variants drawn, and what goes wrong in them."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from quizsvc.bank.draw import Drawn, Generator
from quizsvc.bank.formula import FormulaError
from quizsvc.bank.item import ItemText
from quizsvc.bank.kinds import KINDS
from quizsvc.bank.question import Item, Tried, issue, try_draw
from quizsvc.bank.text import Scalar
from quizsvc.bank.working import Working, decimals_for, same_number
from quizsvc.errors import InputError
from quizsvc.physics.units import UNITS, format_quantity, from_si

__all__ = ["VARIANTS", "Trial", "try_item"]

VARIANTS = 200
MOST_REFUSED = 0.9
MUCH_REFUSED = 0.6
_NOUNS = {
    "options": "options",
    "steps": "steps",
    "left": "entries",
    "right": "entries",
    "points": "points",
}
_ONE = {"options": "option", "steps": "step", "entries": "entry", "points": "point"}
_TRAP_CURE = "give the trap a 'when' that leaves such draws out, narrow 'within', or draw other numbers"
_ALTITUDE_UNITS = ("ft", "FL", "m")
_ALTITUDE_FROM, _ALTITUDE_TO = -2_000 * 0.3048 - 1e-6, 65_600 * 0.3048 + 1e-6


@dataclass(frozen=True)
class Trial:
    """What 200 variants of an item showed. `refusals` counts by reason; `below_100` is for reading a decimal comma."""

    tried: int
    refusals: Mapping[str, int]
    below_100: bool

    @property
    def refused_share(self) -> float:
        """Share of the variants that may not be asked."""
        return sum(self.refusals.values()) / self.tried if self.tried else 0.0


def try_item(item: ItemText, compiled: Item, rng: Generator) -> Trial:
    """Draw 200 variants (all of them where there are fewer), and find what goes wrong.

    Parameters
    ----------
    item : ItemText
        Its formulas are without faults; `answers-below-100` is filled in.
    compiled : Item
        Made from its body.
    rng : Generator
        For the draws.

    Returns
    -------
    Trial
        The counts.
    """
    body, report = item.body, item.report
    refusals: Counter[str] = Counter()
    first: dict[str, Tried] = {}
    accepted: list[Tried] = []
    count = 0
    for drawn in _variants(compiled, rng):
        count += 1
        tried = try_draw(compiled, drawn)
        if tried.refusal is None:
            accepted.append(tried)
        else:
            refusals[tried.refusal] += 1
            first.setdefault(tried.refusal, tried)
    trial = Trial(count, dict(refusals), _below_100(accepted, body))
    body["answers-below-100"] = trial.below_100
    _find_refusals(item, trial, first)
    _find_range(item, accepted)
    _find_dead_traps(item, compiled, accepted)
    if accepted and not report.faults:
        _find_texts(item, compiled, accepted)
    for part in item.parts:
        name = str(part.body["part"])
        asked, own = compiled.parts[name], [tried.parts[name] for tried in accepted]
        part.body["answers-below-100"] = _below_100(own, part.body)
        _find_range(part, own)
        _find_dead_traps(part, asked, own)
        if own and not report.faults:
            _find_texts(part, asked, own)
    if accepted and not report.faults:
        _find_whole(item, compiled, rng)
    if accepted and not report.faults:
        KINDS[compiled.kind].check(item, compiled, rng)
        for part in item.parts:
            asked = compiled.parts[str(part.body["part"])]
            KINDS[asked.kind].check(part, asked, rng)
    return trial


def _variants(item: Item, rng: Generator) -> Iterable[Drawn]:
    draws = item.draws
    if not draws.entries:
        return [{}]
    if not draws.has_subset and draws.combinations <= VARIANTS:
        return draws.all(VARIANTS)
    return (draws.draw(rng) for _ in range(VARIANTS))


def _below_100(accepted: list[Tried], body: Mapping[str, object]) -> bool:
    """Whether keys and traps stay below 100 in the shown unit, so that a comma can only be a decimal comma."""
    numbers = [
        abs(from_si(value, str(body["unit"])))
        for tried in accepted
        if tried.working
        for value in (tried.working.key, *(trap.value for trap in tried.working.traps))
    ]
    return bool(numbers) and max(numbers) < 100


def _drawn_text(tried: Tried) -> str:
    return ", ".join(f"{name} {entry['shown']}" for name, entry in tried.drawn.items()) or "as written"


@dataclass(frozen=True)
class _Refused:
    """One reason for refusing draws: whose, where, and what one of the draws shows of it."""

    reason: str
    at: Scalar
    trap: str | None
    example: str


def _refused(item: ItemText, reason: str, tried: Tried) -> _Refused:
    """What stands behind a reason, of the item or, in `part b: trap low`, of a part."""
    example = _drawn_text(tried)
    if reason.startswith("part "):
        name, _, reason = reason.removeprefix("part ").partition(": ")
        item = next(part for part in item.parts if part.body["part"] == name)
        tried = tried.parts[name]
    at = item.places.get("answer", item.places["stem"])
    if not reason.startswith("trap ") or tried.working is None:
        return _Refused(reason, at, None, example + (f": {tried.error.what}" if tried.error else ""))
    trap = reason.removeprefix("trap ")
    compared = _compared(tried.working, trap, str(item.body["unit"]))
    return _Refused(reason, item.places.get(f"traps/{trap}/value", at), trap, f"{example}: {compared}")


def _compared(working: Working, name: str, unit: str) -> str:
    """Key and trap of one draw, and why nobody could tell them apart."""
    trap = next(trap for trap in working.traps if trap.id == name)
    decimals = decimals_for(working.key, unit, working.within, working.exact)
    key, value = (format_quantity(number, unit, decimals) for number in (working.key, trap.value))
    if same_number(trap.value, working.key, unit):
        return f"trap and key are {key}"
    if abs(trap.value - working.key) <= 2 * working.within * (1 + 1e-9):
        # A width: where the unit has its zero does not count.
        two = f"{2 * working.within / UNITS[unit].factor:,.4g}{'' if unit == 'ratio' else f' {unit}'}"
        return f"the trap is {value}, the key {key}, within two tolerances ({two})"
    return f"the trap is {value}, the key {key}, and both round alike"


def _find_refusals(item: ItemText, trial: Trial, first: Mapping[str, Tried]) -> None:
    report, places = item.report, item.places
    at = places.get("answer", places["stem"])
    found = {reason: _refused(item, reason, tried) for reason, tried in first.items()}
    for reason, refused in found.items():
        if refused.reason == "no value":
            report.fault(
                refused.at,
                "bank-no-value",
                f"{trial.refusals[reason]} of {trial.tried} draws have no value, for instance {refused.example}",
                "refuse such draws under 'refuse', or narrow 'draw'",
            )
    share = trial.refused_share
    reasons = ", ".join(f"{reason} {count}" for reason, count in sorted(trial.refusals.items()))
    if share == 1.0:
        refused = found[max(trial.refusals, key=lambda name: trial.refusals[name])]
        what = f"none of {trial.tried} draws can be asked ({reasons}), for instance {refused.example}"
        cure = "widen 'draw', or loosen 'refuse'" if refused.reason == "refused" else "draw other values"
        report.fault(refused.at, "bank-no-draw", what, _TRAP_CURE if refused.trap else cure)
        return
    what = f"{share:.0%} of {trial.tried} draws are refused ({reasons})"
    if share > MOST_REFUSED:
        report.fault(at, "bank-refused-share", what, "narrow 'draw' to what can be asked")
    elif share > MUCH_REFUSED:
        report.remark(at, "bank-refused-share", what, "narrow 'draw' to what can be asked")
    for reason, refused in found.items():
        if refused.trap and trial.refusals[reason] > trial.tried / 2:
            what = (
                f"trap '{refused.trap}' cannot be told from the key in {trial.refusals[reason]} of {trial.tried} draws"
            )
            report.remark(refused.at, "bank-trap-collides", f"{what}, for instance {refused.example}", _TRAP_CURE)


def _find_range(item: ItemText, accepted: list[Tried]) -> None:
    """A key outside the atmosphere is no altitude; other lengths are asked in NM or km."""
    unit = item.body.get("unit")
    if unit == "C" or unit == "K" or unit == "F":
        outside = next((t for t in accepted if t.working and t.working.key < 0), None)
    elif unit in _ALTITUDE_UNITS:
        outside = next((t for t in accepted if t.working and not _ALTITUDE_FROM <= t.working.key <= _ALTITUDE_TO), None)
    else:
        return
    if outside and outside.working:
        report = item.report
        key = from_si(outside.working.key, str(unit))
        report.fault(
            item.places["answer"],
            "bank-answer-range",
            f"the answer is {key:,.0f} {unit} in the draw {_drawn_text(outside)}",
            "refuse such draws under 'refuse'",
        )


def _find_dead_traps(item: ItemText, compiled: Item, accepted: list[Tried]) -> None:
    alive = {trap.id for tried in accepted if tried.working for trap in tried.working.traps}
    for trap in compiled.traps:
        if accepted and trap.value is not None and trap.id not in alive:
            item.report.remark(
                item.places[f"traps/{trap.id}/value"],
                "bank-trap-dead",
                f"trap '{trap.id}' exists in none of {len(accepted)} draws",
                "mend its formula or 'when', or leave 'value' out",
            )


def _find_texts(item: ItemText, compiled: Item, accepted: list[Tried]) -> None:
    """Find a text without a value in some draw, and options that read the same."""
    texts = {"stem": compiled.stem, "why": compiled.why}
    texts |= {f"options/{option.id}": option.text for option in compiled.options}
    texts |= KINDS[compiled.kind].templates(compiled)
    choices = [
        [(where, text) for where, text in texts.items() if where.startswith(f"{side}/")]
        for side in ("options", "steps", "left", "right", "points")
    ]
    choices = [side for side in choices if any(text.slots for _, text in side)]
    for tried in accepted:
        values = {**tried.values, "answer": tried.working.key} if tried.working else tried.values
        for where, template in texts.items():
            for slot in template.slots:
                try:
                    if slot.formula is not None:
                        slot.formula(values)
                except FormulaError as error:
                    what = f"'{{{slot.name}...}}' has no value in the draw {_drawn_text(tried)}: {error.what}"
                    item.report.fault(item.places[where], "bank-no-value", what, "refuse such draws under 'refuse'")
                    return
        shown = {name: str(entry["shown"]) for name, entry in tried.drawn.items()}
        for side in choices:
            written = [text.fill(shown, tried.values) for _, text in side]
            if len(set(written)) < len(written):
                where = side[0][0]
                noun = _NOUNS[where.partition("/")[0]]
                what = f"two {noun} read the same in the draw {_drawn_text(tried)}"
                reference = f"bank-{_ONE[noun]}-twice"
                item.report.fault(item.places[where], reference, what, "refuse such draws under 'refuse'")
                return


def _find_whole(item: ItemText, compiled: Item, rng: Generator) -> None:
    """Write one question out whole."""
    try:
        issue(compiled, rng)
    except InputError as error:
        item.report.fault(item.places["why"], error.reference, error.what, error.mend or "refuse such draws")
