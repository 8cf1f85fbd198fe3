"""Docstrings of the pure packages are true: examples run, parameters are the real ones, numbers have units."""

from __future__ import annotations

import doctest
import importlib
import inspect
import pkgutil
import re

import pytest

PURE = ("physics", "aircraft", "bank", "memory", "pictures")

# Beside each number stands a unit, or what it counts. One letter is a unit only behind a comma or "in": "Load, A" is a
# current, "A cabin" is none.
UNIT = re.compile(
    r"(?:, |in |value in the )(?:m|K|s|A|V|C|N|kg|SI)\b"
    r"|\b(?:Pa|m/s|kg/m3|Pa/s|m3|m2|kg/s|m3/s|ft|psi|percent|SI units?|logits?|log[- ]odds)\b"
    r"|\b(?:[Dd]ays?|[Ss]econds?|[Mm]inutes?|[Hh]ours?)\b"
    r"|\bin the (?:named|shown) unit\b|\b[Ff]rom -?[0-9.]+ to [0-9.]+\b|\b(?:how many|number of|share of)\b"
    r"|\b(?:probability|probabilities|credits?|ratio|weights?|variances?|[Ff]actors?|answers|concepts)\b"
)


def _modules():
    for package in PURE:
        parent = importlib.import_module(f"quizsvc.{package}")
        yield parent
        for found in pkgutil.iter_modules(parent.__path__):
            yield importlib.import_module(f"quizsvc.{package}.{found.name}")


MODULES = list(_modules())


def _public():
    """Public functions, and public methods of public classes, with their own name."""
    for module in MODULES:
        for name in getattr(module, "__all__", ()):
            thing = getattr(module, name)
            if getattr(thing, "__module__", None) != module.__name__:
                continue
            if inspect.isfunction(thing):
                yield f"{module.__name__}.{name}", thing
            elif inspect.isclass(thing) and not getattr(thing, "_is_protocol", False):
                for method, function in vars(thing).items():
                    function = getattr(function, "__func__", function)
                    if (
                        inspect.isfunction(function)
                        and not method.startswith("_")
                        and function.__module__ == module.__name__
                    ):
                        yield f"{module.__name__}.{name}.{method}", function


PUBLIC = dict(_public())


def _section(doc, title):
    """The lines of a numpy section, unindented, or None."""
    found = re.search(rf"^{title}\n-+\n(.*?)(?=^\S[^\n]*\n-{{3,}}|\Z)", doc, re.M | re.S)
    return found[1] if found else None


def _entries(section):
    """Name, type and description of each entry of a section."""
    for match in re.finditer(r"^(\*{0,2}\w[^\n:]*?)(?: : ([^\n]*))?\n((?:[ ]+[^\n]*\n|\n)*)", section + "\n", re.M):
        yield match[1].strip(), (match[2] or "").strip(), match[3].strip()


def _is_number(kind):
    return re.search(r"\b(float|ndarray of float|array_like of float)", kind) is not None and "dict" not in kind


def _has_unit(description):
    return UNIT.search(description) is not None


@pytest.mark.parametrize("module", MODULES, ids=lambda module: module.__name__)
def test_examples_run(module):
    """Every doctest of the module gives what it shows."""
    result = doctest.testmod(module)

    assert result.failed == 0


def test_there_are_examples():
    """Physics and aircraft show examples at all: a test of nothing would pass."""
    finder = doctest.DocTestFinder(exclude_empty=True)
    shown = [
        test.name
        for module in MODULES
        if module.__name__.startswith(("quizsvc.physics", "quizsvc.aircraft"))
        for test in finder.find(module)
        if test.examples
    ]

    assert len(shown) >= 14


@pytest.mark.parametrize("name", PUBLIC)
def test_public_function_has_a_docstring(name):
    """One sentence at the least, ended like one."""
    doc = inspect.getdoc(PUBLIC[name])

    assert doc, f"{name} says nothing"
    assert doc.splitlines()[0].rstrip().endswith((".", ",", ":", ";", "?")) or "\n" in doc


@pytest.mark.parametrize("name", [name for name in PUBLIC if name.startswith(("quizsvc.physics", "quizsvc.aircraft"))])
def test_numeric_core_documents_its_parameters(name):
    """Whoever calls the numeric core finds each parameter, the result, and its unit."""
    function = PUBLIC[name]
    doc = inspect.getdoc(function)
    asked = [parameter for parameter in inspect.signature(function).parameters if parameter not in ("self", "cls")]

    if asked and "fields." not in name and ".graph." not in name:
        assert _section(doc, "Parameters"), f"{name} documents no parameters"
        assert _section(doc, "Returns") or _section(doc, "Yields"), f"{name} documents no result"


@pytest.mark.parametrize("name", PUBLIC)
def test_documented_parameters_are_the_real_ones(name):
    """A documented parameter list has the names of the signature, in its order."""
    function = PUBLIC[name]
    section = _section(inspect.getdoc(function) or "", "Parameters")
    if section is None:
        return
    documented = [
        part.strip().lstrip("*") for entry, _, _ in _entries(section) for part in entry.split(",") if part.strip()
    ]
    real = [parameter for parameter in inspect.signature(function).parameters if parameter not in ("self", "cls")]

    assert documented == real


@pytest.mark.parametrize("name", PUBLIC)
def test_each_documented_number_has_a_unit(name):
    """A float among parameters and results says its unit, or what it counts."""
    doc = inspect.getdoc(PUBLIC[name]) or ""
    for title in ("Parameters", "Returns", "Yields"):
        for entry, kind, description in _entries(_section(doc, title) or ""):
            # A result's entry is its type alone.
            if _is_number(kind or entry):
                assert _has_unit(description), f"{name}: {title.lower()} entry '{entry}' says no unit: {description!r}"


class TestTheCheckItself:
    """The unit check sees what is missing."""

    def test_number_without_a_unit(self):
        """A description without a unit is caught, one with it is not."""
        assert not _has_unit("Pressure of the cabin.")
        assert not _has_unit("A cabin, seen from a level.")
        assert _has_unit("Pressure of the cabin, Pa.")
        assert _has_unit("Load, A, of the bus.")
        assert _is_number("float")
        assert not _is_number("str")

    def test_entries_are_found(self):
        """Two parameters and a result of a known function."""
        doc = inspect.getdoc(importlib.import_module("quizsvc.aircraft.pressurisation").cabin_altitude)

        assert [entry[0] for entry in _entries(_section(doc, "Parameters"))] == [
            "aircraft_altitude_m",
            "differential_pa",
        ]
        assert [entry[0] for entry in _entries(_section(doc, "Returns"))] == ["float"]
        assert _section(doc, "Yields") is None
