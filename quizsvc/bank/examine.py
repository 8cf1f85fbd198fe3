"""Examining an item's formulas and braces, each by itself so that every fault is found, and their dimensions."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

from quizsvc.bank.dimension import SHOWN_UNITS, bare_name_cure, dimensioned
from quizsvc.bank.draw import Draws, Generator
from quizsvc.bank.formula import Formula, FormulaError, compile_formula
from quizsvc.bank.functions import Library
from quizsvc.bank.item import ItemText
from quizsvc.bank.kinds import KINDS
from quizsvc.bank.kinds.base import FormulaText
from quizsvc.bank.template import Slot, Template, compile_template
from quizsvc.bank.text import Scalar
from quizsvc.bank.working import let_values
from quizsvc.physics.units import UNITS

__all__ = ["check_formulas"]

# What an earlier answer may be, SI, for one trial of the formulas that follow it.
_LIKELY = {"length": 2_000.0, "pressure": 50_000.0, "time": 300.0, "speed": 2.0}


@dataclass
class _Checker:
    """Compiles one item's formulas one by one, so that each fault is found, with its place."""

    item: ItemText
    library: Library
    draws: Draws
    dimensions: dict[str, str]
    known: dict[str, None] = field(default_factory=dict)
    samples: list[dict[str, float]] = field(default_factory=list)
    follow: tuple[str, ...] = ()
    later: set[str] = field(default_factory=set)
    """What hangs on an earlier answer: no text before the answer may show it."""
    uses_aircraft: bool = False
    parts: tuple[str, ...] = ()
    """Number parts of the scenario whose answers could be followed."""

    def found(self, at: Scalar | None, error: FormulaError) -> None:
        """Report a fault, unless it follows from one that is reported already."""
        item = self.item
        if error.reference == "formula-name-unknown":
            name = error.what.split("'")[1]
            if any(name.startswith(f"{broken}_") for broken in item.broken):
                return
            if name in self.parts:
                error.what = f"'{name}' is a part, and its answer is not known here"
                follows = item.body.get("part") and item.body["kind"] == "number"
                error.mend = (
                    f"add 'follow: {name}'" if follows else f"only a number part with 'follow: {name}' may use it"
                )
        item.report.error(at, error)

    def compile(self, where: str, text: str, kind: str) -> Formula | None:
        """One formula of the kind that its place takes."""
        report, at = self.item.report, self.item.places.get(where)
        try:
            formula = compile_formula(text, self.library, self.known)
        except FormulaError as error:
            if at is not None:  # a let of the scenario, in one of its parts, has its finding already
                self.found(at, error)
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
            dimension, by_pint = dimensioned(formula, self.dimensions, sample, self.draws.dimensions)
        except FormulaError as error:
            if at is not None:
                report.error(at, error)
            return None
        try:
            ours = formula(sample) if formula.kind == "number" and formula.names <= set(sample) else math.nan
        except FormulaError:
            ours = math.nan
        if (
            math.isfinite(ours)
            and math.isfinite(by_pint)
            and not math.isclose(ours, by_pint, rel_tol=1e-7, abs_tol=1e-8)
        ):
            report.fault(
                at,
                "formula-units-disagree",
                f"our value {ours!r} and pint's {by_pint!r} differ",
                "report this as a bug",
            )
        return dimension

    def bare_name(self, formula: Formula, dimension: str, wanted: str) -> str:
        """The cure where a name without a unit stands behind a wrong dimension; empty where none does."""
        sample = self.samples[0] if self.samples else {}
        return bare_name_cure((formula.tree,), dimension, wanted, self.dimensions, sample, self.draws.dimensions)


def check_formulas(item: ItemText, library: Library, rng: Generator, parts: Sequence[ItemText] = ()) -> bool:
    """Compile every formula and text of an item and check the dimensions; fills in the units in which lets are shown.

    Parameters
    ----------
    item : ItemText
        As read, with or without faults; its body is completed here.
    library : Library
        Functions and constants of its folder.
    rng : Generator
        For one sample of values.
    parts : sequence of ItemText
        Of a scenario: all parts; of one of its parts: those before it.

    Returns
    -------
    bool
        Whether any formula or draw of it uses the aircraft.
    """
    body, report = item.body, item.report
    draws = Draws(tuple(body["draw"]))
    follow = {entry["part"]: entry["dimension"] for entry in body.get("follow", ())}
    checker = _Checker(
        item,
        library,
        draws,
        dict(draws.dimensions) | follow,
        dict.fromkeys((*draws.dimensions, *follow, *item.broken)),
        follow=tuple(follow),
        later=set(follow),
        parts=tuple(str(part.body["part"]) for part in parts if part.body["kind"] == "number"),
    )
    sample = {name: _LIKELY.get(dimension, 1.0) for name, dimension in follow.items()}
    checker.samples = [let_values((), draws.draw(rng))[0] | sample]
    for entry in body["let"]:
        _check_let(checker, entry)
    for place, text in enumerate(body["refuse"]):
        formula = checker.compile(f"refuse/{place}", text, "truth")
        if formula:
            checker.dimension(f"refuse/{place}", formula)
    if body["kind"] == "number":
        _check_answer(checker)
    for own in KINDS[body["kind"]].formulas(body):
        _check_own(checker, own)
    _check_texts(checker)
    report.item = item.id
    return checker.uses_aircraft


def _check_let(checker: _Checker, entry: dict[str, object]) -> None:
    name = str(entry["name"])
    formula = checker.compile(f"let/{name}", str(entry["formula"]), "number")
    checker.known[name] = None
    if formula is None:
        return
    if formula.names & checker.later:
        checker.later.add(name)
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
    wanted = UNITS[body["unit"]].dimension if body["unit"] is not None else None
    answer = checker.compile("answer", body["answer"], "number") if "answer" in checker.item.places else None
    if answer:
        dimension = checker.dimension("answer", answer)
        if dimension is not None and wanted is not None and dimension != wanted:
            report.fault(
                checker.item.places["answer"],
                "bank-answer-dimension",
                f"the answer is a {dimension}, but its unit '{body['unit']}' is of {wanted}",
                checker.bare_name(answer, dimension, wanted) or _answer_cure(dimension),
            )
    for trap in body["traps"]:
        for word, kind in (("when", "truth"), ("value", "number")):
            if trap[word] is None:
                continue
            where = f"traps/{trap['id']}/{word}"
            formula = checker.compile(where, trap[word], kind)
            dimension = checker.dimension(where, formula) if formula else None
            if word == "value" and dimension is not None and wanted is not None and dimension != wanted:
                report.fault(
                    checker.item.places[where],
                    "bank-trap-dimension",
                    f"trap '{trap['id']}' is a {dimension}, the answer is of {wanted}",
                    "make it the number that such a person gives",
                )
    checker.known["answer"] = None
    if wanted is not None:
        checker.dimensions["answer"] = wanted


def _check_own(checker: _Checker, own: FormulaText) -> None:
    formula = checker.compile(own.place, own.text, "number")
    dimension = checker.dimension(own.place, formula) if formula else None
    if dimension is not None and own.dimension is not None and dimension != own.dimension:
        checker.item.report.fault(
            checker.item.places.get(own.place),
            "bank-value-dimension",
            f"'{own.text}' is a {dimension}, here stands a {own.dimension}",
            _answer_cure(own.dimension).replace("mend the formula, or set 'unit' to", "write it in"),
        )


def _answer_cure(dimension: str) -> str:
    units = [name for name, unit in UNITS.items() if unit.dimension == dimension]
    if dimension == "number":
        return "give the formula a unit, such as *ft, or leave 'unit' out"
    return f"mend the formula, or set 'unit' to one of {', '.join(units)}" if units else "mend the formula"


def _check_texts(checker: _Checker) -> None:
    """Braces: the stem and the options must not show the key, the working may."""
    body = checker.item.body
    named = set(checker.known) - {"answer"}
    before = named - checker.later  # what is not answered yet cannot be shown
    shown = (*checker.draws.shown, *checker.item.broken)
    number = body["kind"] == "number"
    texts = [("stem", body["stem"], False), ("why", body["why"], number)]
    texts += [(f"options/{option['id']}", option["text"], False) for option in body.get("options", ())]
    texts += [(own.place, own.text, False) for own in KINDS[body["kind"]].texts(body)]
    for where, text, with_key in texts:
        at = checker.item.places.get(where)
        if at is None:
            continue
        try:
            template = compile_template(
                text,
                checker.library,
                (*shown, *checker.follow, "answer")
                if with_key
                else (*shown, *checker.follow)
                if where == "why"
                else shown,
                named | {"answer"} if with_key else named if where == "why" else before,
            )
        except FormulaError as error:
            if "'answer'" in error.what and not with_key:
                error.mend = "only 'why' may show the key"
            elif any(f"'{name}'" in error.what for name in checker.later):
                error.mend = "it hangs on an answer that is not given yet; only 'why' may show it"
            checker.found(at, error)
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
                checker.bare_name(slot.formula, dimension, wanted) or _brace_cure(slot, dimension),
            )


def _brace_cure(slot: Slot, dimension: str) -> str:
    """The same braces with a unit that fits."""
    unit, _ = SHOWN_UNITS.get(dimension, ("", 0))
    if not unit:
        return "mend the formula in the braces"
    return f"write '{{{slot.name}:{'number' if unit == 'ratio' else unit}}}', or mend the formula"
