"""Core statements that are built and compiled once, and then run by the driver itself.

SQLAlchemy's own execution costs about 100 us a statement, twenty times what SQLite needs for a row by key. The hot path
(who is asking, record an answer) compiles each statement at its first use, with the types' own conversions, and hands
text and values to the driver; transactions, pool and dialects stay SQLAlchemy's.
"""

from __future__ import annotations

from collections import namedtuple
from collections.abc import Callable, Iterable, Mapping
from typing import Any

from sqlalchemy.engine import Connection, Dialect

from quizsvc.store.session import Rows


class Prepared:
    """One statement, compiled once for each dialect.

    Parameters
    ----------
    statement : Executable
        Its values are named binds.
    columns : iterable of str
        For an INSERT without VALUES: the columns that `values` will name.
    """

    def __init__(self, statement: Any, columns: Iterable[str] = ()) -> None:
        self.statement = statement
        self.columns = list(columns)
        self._compiled: dict[str, _Compiled] = {}

    def run(self, connection: Connection | Rows, values: Mapping[str, Any]) -> int:
        """Run it for its effect; returns how many rows it touched."""
        return self._on(connection).execute(connection, values).rowcount

    def first(self, connection: Connection | Rows, values: Mapping[str, Any]) -> Any | None:
        """The first row, with the columns' names as attributes; None where there is none."""
        found = self.all(connection, values)
        return found[0] if found else None

    def all(self, connection: Connection | Rows, values: Mapping[str, Any]) -> list[Any]:
        """Every row."""
        compiled = self._on(connection)
        return compiled.rows(compiled.execute(connection, values))

    def _on(self, connection: Connection | Rows) -> _Compiled:
        dialect = connection.dialect
        found = self._compiled.get(dialect.name)
        if found is None:
            found = self._compiled[dialect.name] = _Compiled(self.statement, self.columns, dialect)
        return found


class _Compiled:
    """Text, conversions on the way in, conversions on the way out."""

    def __init__(self, statement: Any, columns: list[str], dialect: Dialect) -> None:
        compiled = statement.compile(dialect=dialect, column_keys=columns or None)
        self.text = str(compiled)
        self.processors: dict[str, Callable[[Any], Any]] = dict(compiled._bind_processors)
        # Values that stand in the statement itself (LIMIT 1, a word compared with) never change.
        self.fixed = {
            name: self.processors[name](value) if name in self.processors else value
            for name, value in compiled.params.items()
            if not compiled.binds[name].required
        }
        names = compiled.positiontup if compiled.positional else compiled.params
        # For each place or name: its conversion, None where there is none.
        self.binds = [(name, self.processors.get(name)) for name in names]
        self.names = [name for name, _ in self.binds]
        self.positional = compiled.positional
        self.dialect = dialect
        self.result = list(compiled._result_columns or ())
        self.make: Any = None
        self.convert: list[tuple[int, Callable[[Any], Any]]] = []

    def execute(self, connection: Connection | Rows, values: Mapping[str, Any]) -> Any:
        """Run by the driver; returns its cursor."""
        fixed = self.fixed
        bound = [
            fixed[name] if name in fixed else values[name] if processor is None else processor(values[name])
            for name, processor in self.binds
        ]
        cursor = (connection if isinstance(connection, Rows) else connection.connection).cursor()
        cursor.execute(self.text, bound if self.positional else dict(zip(self.names, bound, strict=True)))
        return cursor

    def rows(self, cursor: Any) -> list[Any]:
        """What the driver found, as named tuples with the types' own conversions."""
        if self.make is None:
            self._read_description(cursor.description)
        made = []
        for found in cursor.fetchall():
            values = list(found)
            for index, processor in self.convert:
                values[index] = processor(values[index])
            made.append(self.make(values))
        return made

    def _read_description(self, description: Any) -> None:
        """How each column is converted; some types ask what the driver gives, which the first result tells."""
        convert = []
        for index, (entry, column) in enumerate(zip(self.result, description, strict=True)):
            processor = entry.type._cached_result_processor(self.dialect, column[1])
            if processor is not None:
                convert.append((index, processor))
        # `make` last: another thread that finds it set finds the conversions complete.
        self.convert = convert
        names: Any = [entry.keyname for entry in self.result]
        row: Any = namedtuple("Row", names)  # type: ignore[misc]
        self.make = row._make
