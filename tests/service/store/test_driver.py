"""The driver's own calls: packed arrays arrive whole, and a rollback loses no statement."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from burrline_service.core.errors import Unavailable
from burrline_service.store import arrays, driver
from burrline_service.store.database import Connection, Database

KINDS: dict[str, st.SearchStrategy[Any]] = {
    "int2": st.integers(-(2**15), 2**15 - 1),
    "int4": st.integers(-(2**31), 2**31 - 1),
    "int8": st.integers(-(2**63), 2**63 - 1),
    "text": st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"), max_size=9),
    "bytea": st.binary(max_size=20),
}
on_postgresql = pytest.mark.parametrize("database_kind", ["postgresql"], indirect=True)


@on_postgresql
@pytest.mark.parametrize("kind", KINDS)
@settings(deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_a_packed_array_is_read_as_it_was_written(
    database: Database, kind: str, data: st.DataObject
) -> None:
    column = data.draw(st.lists(st.none() | KINDS[kind], min_size=1, max_size=30))
    statement = f"SELECT value FROM unnest(%s::{kind}[]) WITH ORDINALITY AS u (value, n) ORDER BY n"

    def read(connection: Connection) -> list[Any]:
        rows = driver.rows_of(connection, statement, (arrays.packed(kind, column),))
        return [value for (value,) in rows]

    assert database.read(1, read) == column


def test_statements_go_on_after_a_rollback(database: Database) -> None:
    """On PostgreSQL the driver then drops what it had prepared, and ours with it."""

    def ask(connection: Connection, number: int) -> Any:
        mark = "%s::int4" if driver.is_postgresql(connection) else "?"
        ((answer,),) = driver.rows_of(connection, f"SELECT {mark} + 1", (number,))
        return answer

    def fail(connection: Connection) -> None:
        for _ in range(7):  # often enough for the driver to prepare it
            connection.exec_driver_sql("SELECT 1")
        assert ask(connection, 1) == 2
        raise KeyError

    for number in range(3):
        with pytest.raises(KeyError):
            database.write(1, fail)
        assert database.write(1, lambda connection, n=number: ask(connection, n)) == number + 1  # type: ignore[misc]


def test_errors_of_the_driver_are_told_apart(database: Database) -> None:
    def wrong(connection: Connection) -> None:
        driver.rows_of(connection, "SELECT 1 FROM nowhere", ())

    with pytest.raises(Exception) as caught:
        database.write(1, wrong)
    assert isinstance(caught.value, Unavailable) == database.is_sqlite  # which has but one class
    assert "nowhere" in str(caught.value.__cause__ or caught.value)
    assert database.look_up("SELECT 1") == [(1,)]


@on_postgresql
def test_a_lost_connection_is_a_refusal_and_the_next_one_works(database: Database) -> None:
    def die(connection: Connection) -> None:
        driver.rows_of(connection, "SELECT pg_terminate_backend(pg_backend_pid())", ())

    with pytest.raises(Unavailable):
        database.write(1, die)
    assert database.write(1, lambda connection: driver.rows_of(connection, "SELECT 1", ()))
    with pytest.raises(Unavailable):
        database.look_up("SELECT pg_terminate_backend(pg_backend_pid())")
    assert database.look_up("SELECT 1") == [(1,)]


@on_postgresql
def test_what_ends_a_process_is_not_hidden_by_the_connection_it_broke(database: Database) -> None:
    def ask(connection: Connection) -> Any:
        return driver.rows_of(connection, "SELECT 1", ())

    def stop(connection: Connection) -> None:
        ask(connection)
        connection.invalidate()
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        database.write(1, stop)
    assert database.write(1, ask) == [(1,)]
