"""The direction of imports and the purity of the pure packages, as design.md and DEVELOPERS.md draw them."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

PACKAGE = Path(__file__).resolve().parent.parent / "quizsvc"

# folder -> what it may import of quizsvc besides itself and `errors`
ALLOWED = {
    "errors": set(),
    "settings": set(),
    "physics": set(),
    "aircraft": {"physics"},
    "bank": {"aircraft", "physics"},
    "memory": set(),
    "pictures": set(),
    "store": set(),
    "services": {"store", "bank", "aircraft", "physics", "memory", "pictures", "settings"},
    "web": {"services", "settings", "pictures"},
    "cli": {"services", "settings", "web"},
}
PURE = ("physics", "aircraft", "bank", "memory", "pictures")
FORBIDDEN_IN_PURE = {
    "flask", "werkzeug", "sqlalchemy", "alembic", "time", "random", "secrets", "os", "io", "pathlib", "socket",
    "subprocess", "tempfile", "shutil", "uuid",
}  # fmt: skip


def _modules():
    return sorted(PACKAGE.rglob("*.py"))


def _layer(path):
    relative = path.relative_to(PACKAGE)
    return relative.parts[0].removesuffix(".py")


def _imports(path):
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: imports are absolute"
            yield node.module
            if node.module == "quizsvc":
                yield from (f"quizsvc.{alias.name}" for alias in node.names)


@pytest.mark.parametrize("path", _modules(), ids=lambda path: str(path.relative_to(PACKAGE)))
def test_imports_point_only_downwards(path):
    """A module imports only the layers that stand below its own."""
    layer = _layer(path)
    if layer == "__init__":
        return
    own = {layer, "errors"} | ALLOWED[layer]

    for name in _imports(path):
        if name.startswith("quizsvc."):
            assert name.split(".")[1] in own, f"{layer} may not import {name}"


@pytest.mark.parametrize(
    "path", [p for p in _modules() if _layer(p) in PURE], ids=lambda p: str(p.relative_to(PACKAGE))
)
def test_pure_packages_have_no_clock_no_randomness_no_files(path):
    """Text, clock and generator are arguments of the pure packages."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    for name in _imports(path):
        assert name.split(".")[0] not in FORBIDDEN_IN_PURE, f"{path} imports {name}"
    for node in ast.walk(tree):
        if isinstance(node, ast.Call):
            called = node.func
            if isinstance(called, ast.Name):
                assert called.id not in {"open", "input", "print"}, f"{path}:{node.lineno} calls {called.id}"
            if isinstance(called, ast.Attribute):
                assert called.attr not in {"now", "utcnow", "today"}, f"{path}:{node.lineno} reads a clock"
                assert not (isinstance(called.value, ast.Attribute) and called.value.attr == "random"), (
                    f"{path}:{node.lineno} draws from numpy's global generator"
                )


@pytest.mark.parametrize(
    "path", [p for p in _modules() if _layer(p) not in ("store", "__init__")], ids=lambda p: str(p.relative_to(PACKAGE))
)
def test_only_the_store_imports_sqlalchemy(path):
    """Every other layer asks the store."""
    assert not [name for name in _imports(path) if name.split(".")[0] in ("sqlalchemy", "alembic", "psycopg")]


@pytest.mark.parametrize(
    "path", [p for p in _modules() if _layer(p) not in ("web", "__init__")], ids=lambda p: str(p.relative_to(PACKAGE))
)
def test_only_the_web_imports_flask(path):
    """The service works without a web framework; password hashing by Werkzeug is the one thing services take."""
    for name in _imports(path):
        if name.split(".")[0] in ("flask", "flask_wtf", "jinja2", "werkzeug"):
            assert (
                _layer(path) == "services"
                and name == "werkzeug.security"
                or _layer(path) == "pictures"
                and name == "jinja2"
                # The demo needs a server from the runtime dependencies alone; it serves the application blindly.
                or _layer(path) == "cli"
                and name == "werkzeug.serving"
            )
