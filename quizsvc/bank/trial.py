"""Trying an item before it is stored: every formula compiled and its dimensions checked, and 200 variants drawn."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from quizsvc.bank.compute import SHOWN_UNITS
from quizsvc.bank.dimension import dimensioned
from quizsvc.bank.draw import Drawn, Draws, Generator
from quizsvc.bank.formula import Formula, FormulaError, compile_formula
from quizsvc.bank.functions import Library
from quizsvc.bank.item import ItemText
from quizsvc.bank.question import Item, Tried, build_item, issue, number_record, try_draw
from quizsvc.bank.template import Template, compile_template
from quizsvc.bank.working import let_values
from quizsvc.errors import InputError
from quizsvc.physics.units import UNITS, from_si

__all__ = ["VARIANTS", "Trial", "check_formulas", "try_item"]

VARIANTS = 200
MOST_REFUSED = 0.9
MUCH_REFUSED = 0.6
_ALTITUDE_UNITS = ("ft", "FL", "m")
_ALTITUDE_FROM, _ALTITUDE_TO = -2_000 * 0.3048 - 1e-6, 65_600 * 0.3048 + 1e-6


@dataclass
class _Checker:
    """Compiles one item's formulas one by one, so that each fault is found, with its place."""

    item: ItemText
    library: Library
    draws: Draws
    dimensions: dict[str, str]
    known: dict[str, None] = field(default_factory=dict)
    samples: list[dict[str, float]] = field(default_factory=list)
    uses_aircraft: bool = False

    def compile(self, where: str, text: str, kind: str) -> Formula | None:
        """One formula of the kind that its place takes."""
        report, at = self.item.report, self.item.places.get(where)
        try:
            formula = compile_formula(text, self.library, self.known)
        except FormulaError as error:
            report.error(at, error)
            return None
        self.uses_aircraft |= formula.uses_aircraft
        if formula.kind != kind:
            wanted = "a comparison, such as 'level > 30000*ft'" if kind == "truth" else "a number, not a comparison"
            report.fault(at, "formula-truth", f"'{text.strip()}' is the wrong sort of formula", f"write {wanted}")
            return None
        return formula

    def dimension(self, where: str, formula: Formula) -> str | None:
        """Its dimension by pint; None after a fault."""
        report, at = self.item.report, self.item.places.get(where)
        if not formula.names <= set(self.dimensions):
            return None  # a let without a dimension has its own finding
        sample = self.samples[0] if self.samples else {}
        try:
            dimension, by_pint = dimensioned(formula, self.dimensions, sample)
        except FormulaError as error:
            report.error(at, error)
            return None
        try:
            ours = formula(sample) if formula.kind == "number" and formula.names <= set(sample) else math.nan
        except FormulaError:
            ours = math.nan
        if (
            math.isfinite(ours)
            and math.isfinite(by_pint)
            and not math.isclose(ours, by_pint, rel_tol=1e-9, abs_tol=1e-12)
        ):
            report.fault(
                at,
                "formula-units-disagree",
                f"our value {ours!r} and pint's {by_pint!r} differ",
                "report this as a bug",
            )
        return dimension


def check_formulas(item: ItemText, library: Library, rng: Generator) -> bool:
    """Compile every formula and text of an item and check the dimensions; fills in the units in which lets are shown.

    Parameters
    ----------
    item : ItemText
        Read without faults; its body is completed here.
    library : Library
        Functions and constants of its folder.
    rng : Generator
        For one sample of values.

    Returns
    -------
    bool
        Whether any formula or draw of it uses the aircraft.
    """
    body, report = item.body, item.report
    draws = Draws(tuple(body["draw"]))
    checker = _Checker(item, library, draws, dict(draws.dimensions), dict.fromkeys(draws.dimensions))
    checker.samples = [let_values((), draws.draw(rng))[0]]
    for entry in body["let"]:
        _check_let(checker, entry)
    for place, text in enumerate(body["refuse"]):
        formula = checker.compile(f"refuse/{place}", text, "truth")
        if formula:
            checker.dimension(f"refuse/{place}", formula)
    if body["kind"] == "number":
        _check_answer(checker)
    _check_texts(checker)
    _check_use(checker)
    report.item = item.id
    return checker.uses_aircraft


def _check_let(checker: _Checker, entry: dict[str, object]) -> None:
    name = str(entry["name"])
    formula = checker.compile(f"let/{name}", str(entry["formula"]), "number")
    checker.known[name] = None
    if formula is None:
        return
    dimension = checker.dimension(f"let/{name}", formula)
    if dimension is None:
        return
    shown = SHOWN_UNITS.get(dimension)
    if shown is None and dimension != "density":
        checker.item.report.fault(
            checker.item.places[f"let/{name}"],
            "formula-dimension",
            f"'{name}' has the dimension {dimension}",
            "look for a quantity that was multiplied or divided once too often",
        )
        return
    checker.dimensions[name] = dimension
    entry["unit"], entry["decimals"] = shown or (None, 0)
    if checker.samples:
        try:
            checker.samples[0][name] = formula(checker.samples[0])
        except (FormulaError, KeyError):
            pass  # no value in this draw: pint then walks with NaN


def _check_answer(checker: _Checker) -> None:
    body, report = checker.item.body, checker.item.report
    wanted = UNITS[body["unit"]].dimension
    answer = checker.compile("answer", body["answer"], "number")
    if answer:
        dimension = checker.dimension("answer", answer)
        if dimension is not None and dimension != wanted:
            report.fault(
                checker.item.places["answer"],
                "bank-answer-dimension",
                f"the answer is a {dimension}, but its unit '{body['unit']}' is of {wanted}",
                _answer_cure(dimension),
            )
    for trap in body["traps"]:
        for word, kind in (("when", "truth"), ("value", "number")):
            if trap[word] is None:
                continue
            where = f"traps/{trap['id']}/{word}"
            formula = checker.compile(where, trap[word], kind)
            dimension = checker.dimension(where, formula) if formula else None
            if word == "value" and dimension is not None and dimension != wanted:
                report.fault(
                    checker.item.places[where],
                    "bank-trap-dimension",
                    f"trap '{trap['id']}' is a {dimension}, the answer is of {wanted}",
                    "make it the number that such a person gives",
                )
    checker.known["answer"] = None
    checker.dimensions["answer"] = wanted


def _answer_cure(dimension: str) -> str:
    units = [name for name, unit in UNITS.items() if unit.dimension == dimension]
    if dimension == "number":
        return "give the formula a unit, such as *ft, or leave 'unit' out"
    return f"mend the formula, or set 'unit' to one of {', '.join(units)}" if units else "mend the formula"


def _check_texts(checker: _Checker) -> None:
    """Braces: the stem and the options must not show the key, the working may."""
    body = checker.item.body
    named = set(checker.known) - {"answer"}
    shown = checker.draws.shown
    number = body["kind"] == "number"
    texts = [("stem", body["stem"], False), ("why", body["why"], number)]
    texts += [(f"options/{option['id']}", option["text"], False) for option in body.get("options", ())]
    for where, text, with_key in texts:
        at = checker.item.places[where]
        try:
            template = compile_template(
                text,
                checker.library,
                (*shown, "answer") if with_key else shown,
                named | {"answer"} if with_key else named,
            )
        except FormulaError as error:
            if "'answer'" in error.what and not with_key:
                error.mend = "only 'why' may show the key"
            checker.item.report.error(at, error)
            continue
        _check_slots(checker, where, template)


def _check_slots(checker: _Checker, where: str, template: Template) -> None:
    for slot in template.slots:
        if slot.formula is None:
            continue
        checker.uses_aircraft |= slot.formula.uses_aircraft
        dimension = checker.dimension(where, slot.formula)
        wanted = UNITS[slot.unit].dimension
        if dimension is not None and dimension != wanted:
            checker.item.report.fault(
                checker.item.places[where],
                "bank-brace-dimension",
                f"'{{{slot.name}:{slot.unit}}}' shows a {dimension} in '{slot.unit}'",
                _answer_cure(dimension),
            )


def _check_use(checker: _Checker) -> None:
    """A draw that changes nothing makes every person see the same question and think it new."""
    body = checker.item.body
    if checker.item.report.faults:
        return
    text = " ".join([body["stem"], body["why"], *(option["text"] for option in body.get("options", ()))])
    formulas = [entry["formula"] for entry in body["let"]] + body["refuse"] + [body.get("answer", "")]
    for entry in body["draw"]:
        if not any(entry["name"] in part for part in [text, *formulas]):
            checker.item.report.remark(
                checker.item.places["stem"],
                "bank-draw-unused",
                f"draw '{entry['name']}' is used nowhere",
                f"show it as {{{entry['name']}}}, or take it out",
            )


# --- variants -------------------------------------------------------------------------------------------------------


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


def try_item(item: ItemText, library: Library, rng: Generator) -> Trial | None:
    """Draw 200 variants (all of them where there are fewer), and find what goes wrong.

    Parameters
    ----------
    item : ItemText
        Its formulas are without faults; `answers-below-100` is filled in.
    library : Library
        Functions and constants of its folder.
    rng : Generator
        For the draws.

    Returns
    -------
    Trial or None
        The counts; None for an item without draws that has no key to judge.
    """
    body, report = item.body, item.report
    body["answers-below-100"] = False
    compiled = build_item(body, library)
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
        _find_texts(item, compiled, accepted, rng)
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


def _find_refusals(item: ItemText, trial: Trial, first: Mapping[str, Tried]) -> None:
    report, places = item.report, item.places
    at = places.get("answer", places["stem"])
    if "no value" in first:
        tried = first["no value"]
        count = trial.refusals["no value"]
        report.fault(
            at,
            "bank-no-value",
            f"{count} of {trial.tried} draws have no value, for instance {_drawn_text(tried)}: "
            f"{tried.error.what if tried.error else ''}",
            "refuse such draws under 'refuse', or narrow 'draw'",
        )
    share = trial.refused_share
    reasons = ", ".join(f"{reason} {count}" for reason, count in sorted(trial.refusals.items()))
    if share == 1.0:
        what = f"none of {trial.tried} draws can be asked ({reasons})"
        tried = next(iter(first.values()))
        report.fault(
            at,
            "bank-no-draw",
            f"{what}, for instance {_drawn_text(tried)}",
            "widen 'draw', loosen 'refuse' or the traps",
        )
        return
    if share > MOST_REFUSED:
        what = f"{share:.0%} of {trial.tried} draws are refused ({reasons})"
        report.fault(at, "bank-refused-share", what, "narrow 'draw' to what can be asked")
    elif share > MUCH_REFUSED:
        what = f"{share:.0%} of {trial.tried} draws are refused ({reasons})"
        report.remark(at, "bank-refused-share", what, "narrow 'draw' to what can be asked")
    for reason, tried in first.items():
        trap = reason.removeprefix("trap ")
        if trap == reason or trial.refusals[reason] <= trial.tried / 2:
            continue
        place = places.get(f"traps/{trap}/value", at)
        report.remark(
            place,
            "bank-trap-collides",
            f"trap '{trap}' cannot be told from the key in {trial.refusals[reason]} of {trial.tried} draws, "
            f"for instance {_drawn_text(tried)}",
            "give it a 'when', narrow 'within', or narrow 'draw'",
        )


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


def _find_texts(item: ItemText, compiled: Item, accepted: list[Tried], rng: Generator) -> None:
    """Write out three variants as they would be asked, so that a text without a value is found here."""
    try:
        for tried in accepted[:3]:
            if compiled.answer is not None:
                number_record(compiled, tried)
            shown = {name: str(entry["shown"]) for name, entry in tried.drawn.items()}
            compiled.stem.fill(shown, tried.values)
            texts = [option.text.fill(shown, tried.values) for option in compiled.options]
            if len(set(texts)) < len(texts):
                item.report.fault(
                    item.places[f"options/{compiled.options[0].id}"],
                    "bank-option-twice",
                    f"two options read the same in the draw {_drawn_text(tried)}",
                    "refuse such draws under 'refuse'",
                )
                return
        issue(compiled, rng)
    except InputError as error:
        item.report.fault(item.places["why"], error.reference, error.what, error.mend or "refuse such draws")
