"""`python -m tests.benchmarks [name ...]`: runs the named benchmarks, or all, and prints one table."""

from __future__ import annotations

import importlib
import sys
from collections.abc import Sequence
from pathlib import Path

from tests.benchmarks import Row

COLUMNS = ("benchmark", "figure", "unit", "ratio", "goal", "")


def names() -> list[str]:
    """Every benchmark of this folder."""
    return sorted(path.stem.removeprefix("bench_") for path in Path(__file__).parent.glob("bench_*.py"))


def _cells(row: Row) -> tuple[str, ...]:
    ratio = "" if row.ratio is None else f"{row.ratio:.3g}"
    verdict = {None: "", True: "met", False: "NOT met"}[row.met]
    return (row.name, f"{row.figure:.4g}", row.unit, ratio, row.goal, verdict)


def table(rows: Sequence[Row]) -> str:
    """The rows as aligned text."""
    lines = [COLUMNS, *(_cells(row) for row in rows)]
    widths = [max(len(line[i]) for line in lines) for i in range(len(COLUMNS))]
    return "\n".join(
        "  ".join(cell.ljust(width) for cell, width in zip(line, widths, strict=True)).rstrip() for line in lines
    )


def main(chosen: Sequence[str]) -> int:
    """Run and print; 1 if a goal was missed, 2 for a name that is no benchmark."""
    unknown = [name for name in chosen if name not in names()]
    if unknown:
        print(f"no such benchmark: {', '.join(unknown)}; there are {', '.join(names())}", file=sys.stderr)
        return 2
    rows: list[Row] = []
    for name in chosen or names():
        print(f"running {name} ...", file=sys.stderr, flush=True)
        rows += importlib.import_module(f"tests.benchmarks.bench_{name}").run()
    print(table(rows))
    return 1 if any(row.met is False for row in rows) else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
