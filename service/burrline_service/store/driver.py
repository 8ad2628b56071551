"""The driver's own calls, for the few statements that every run costs.

SQLAlchemy owns tables, migrations and the pool; what it and the driver's cursors add to a
statement takes longer than one of these. They run in the transaction of the connection they are
given; their errors are the driver's, and ``Database`` knows them too. On PostgreSQL each is
prepared once per connection and goes through libpq in one call.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from functools import cache
from itertools import count
from typing import Any

from sqlalchemy import Connection

from .arrays import Packed

Rows = list[tuple[Any, ...]]

_PREPARED, _ARE_DOUBTFUL = "prepared statements", "prepared statements are doubtful"
_fresh_numbers = count(1)


def is_postgresql(connection: Connection) -> bool:
    return connection.dialect.name == "postgresql"


def rows_of(connection: Connection, statement: str, parameters: Sequence[Any]) -> Rows:
    """The rows that one statement answers; parameters are numbers, texts and packed arrays."""
    pooled = connection.connection
    driver = _own(pooled)
    if not is_postgresql(connection):
        found: Rows = driver.execute(statement, parameters).fetchall()
        return found
    name = _prepared_name(pooled, driver, statement)
    formats = [int(isinstance(value, Packed)) for value in parameters]
    values = [
        value.buffer if isinstance(value, Packed) else str(value).encode() for value in parameters
    ]
    return _read(driver, driver.pgconn.exec_prepared(name, values, formats))


def rows_of_script(pooled: Any, script: str) -> Rows:
    """The rows that the last of some statements answers: one round trip, one transaction."""
    driver = _own(pooled)
    if hasattr(driver, "pgconn"):
        return _read(driver, driver.pgconn.exec_(script.encode()))
    found: Rows = driver.execute(script).fetchall()
    return found


def begin(connection: Connection, first: str) -> None:
    """Begin PostgreSQL's transaction and do the first thing in it, in one round trip."""
    level = _own(connection.connection).isolation_level
    words = "BEGIN" if level is None else f"BEGIN ISOLATION LEVEL {level.name.replace('_', ' ')}"
    driver = _own(connection.connection)
    _checked(driver, driver.pgconn.exec_(f"{words}; {first}".encode()))


def commit(connection: Connection) -> None:
    """Commit PostgreSQL's transaction; that SQLAlchemy does it again then costs nothing."""
    driver = _own(connection.connection)
    _checked(driver, driver.pgconn.exec_(b"COMMIT"))


def doubt_prepared(connection: Connection) -> None:
    """After a rollback the driver may have dropped all statements that were prepared.

    One whose connection was thrown away has none; to ask for it here would hide why.
    """
    if connection.closed or connection.invalidated:
        return
    connection.info[_ARE_DOUBTFUL] = True


def count_of_each(connection: Connection, statement: str, rows: Sequence[Sequence[Any]]) -> int:
    """SQLite: the statement for each row; how many rows it wrote."""
    written: int = _own(connection.connection).executemany(statement, rows).rowcount
    return written


@contextmanager
def savepoint(connection: Connection) -> Iterator[Callable[[], None]]:
    """SQLite: gives what undoes all that was done within."""
    driver = _own(connection.connection)
    driver.execute("SAVEPOINT within")
    yield lambda: driver.execute("ROLLBACK TO within")
    driver.execute("RELEASE within")


def _read(driver: Any, result: Any) -> Rows:
    from psycopg.adapt import Transformer

    reader = Transformer(driver)
    reader.set_pgresult(_checked(driver, result))
    rows: Rows = reader.load_rows(0, result.ntuples, tuple)
    return rows


def _own(pooled: Any) -> Any:
    return pooled.driver_connection


def _prepared_name(pooled: Any, driver: Any, statement: str) -> bytes:
    prepared: dict[str, bytes] = pooled.info.setdefault(_PREPARED, {})
    if pooled.info.pop(_ARE_DOUBTFUL, False):
        there = _checked(driver, driver.pgconn.exec_(b"SELECT name FROM pg_prepared_statements"))
        names = {there.get_value(row, 0) for row in range(there.ntuples)}
        for text, name in list(prepared.items()):
            if name not in names:
                del prepared[text]
    if statement not in prepared:
        name = f"own_{next(_fresh_numbers)}".encode()
        _checked(driver, driver.pgconn.prepare(name, _numbered(statement)))
        prepared[statement] = name
    return prepared[statement]


@cache
def _numbered(statement: str) -> bytes:
    """The statement with PostgreSQL's own marks: ``$1`` for the first ``%s`` and so on."""
    first, *others = statement.split("%s")
    return (first + "".join(f"${n}{piece}" for n, piece in enumerate(others, 1))).encode()


def _checked(driver: Any, result: Any) -> Any:
    from psycopg import OperationalError
    from psycopg.errors import error_from_result
    from psycopg.pq import ConnStatus, ExecStatus

    if result.status in (ExecStatus.TUPLES_OK, ExecStatus.COMMAND_OK):
        return result
    if driver.pgconn.status == ConnStatus.BAD:
        raise OperationalError("the connection is lost")
    raise error_from_result(result)
