"""The test databases are what the tests take them for."""

from __future__ import annotations

from pathlib import Path

import psycopg
import pytest

from databases import (
    MadeDatabase,
    Server,
    drop_postgresql_database,
    make_postgresql_database,
    template_name,
)
from stock import MOST_ROWS, Stock


def test_the_service_enters_postgresql_without_the_rights_that_skip_row_level_security(
    postgresql_database: MadeDatabase,
) -> None:
    with psycopg.connect(postgresql_database.url) as connection:
        found = connection.execute(
            "SELECT rolname, rolsuper, rolbypassrls, rolcreatedb, rolcreaterole"
            " FROM pg_roles WHERE rolname = current_user"
        ).fetchone()
    assert found == ("burrline_app", False, False, False, False)


@pytest.mark.parametrize(
    "statement",
    [
        "CREATE TABLE mine (n integer)",
        "DROP TABLE run",
        "ALTER TABLE run DISABLE ROW LEVEL SECURITY",
        "SET ROLE burrline_owner",
    ],
)
def test_the_services_role_changes_no_table(
    postgresql_database: MadeDatabase, statement: str
) -> None:
    with (
        psycopg.connect(postgresql_database.url) as connection,
        pytest.raises(psycopg.errors.InsufficientPrivilege),
    ):
        connection.execute(statement)


def test_every_table_of_an_account_forces_row_level_security(
    postgresql_database: MadeDatabase,
) -> None:
    with psycopg.connect(postgresql_database.url) as connection:
        unforced = connection.execute(
            "SELECT relname FROM pg_class JOIN pg_attribute ON attrelid = pg_class.oid"
            " WHERE relkind = 'r' AND attname = 'account_no' AND NOT relforcerowsecurity"
        ).fetchall()
    assert unforced == [("account",)]


def test_a_row_in_one_test_database_is_in_no_other(
    postgresql_server: Server, session_folder: Path, postgresql_database: MadeDatabase
) -> None:
    other = make_postgresql_database(postgresql_server, template_name(session_folder))
    add = "INSERT INTO account (account_no, account_id, name, created_at) VALUES (77, 'x', 'x', 0)"
    counted = []
    with psycopg.connect(other.url) as connection:
        connection.execute(add)
    for url in (other.url, postgresql_database.url):
        with psycopg.connect(url) as connection:
            counted += connection.execute(
                "SELECT count(*) FROM account WHERE account_no = 77"
            ).fetchone()
    drop_postgresql_database(postgresql_server, other.url.rsplit("/", 1)[1])
    assert counted == [1, 0]


def count_of(url: str, table: str) -> int:
    with psycopg.connect(url) as connection:
        found = connection.execute(f"SELECT count(*) FROM {table}").fetchone()
    assert found is not None
    count: int = found[0]
    return count


ADD = "INSERT INTO account (account_id, name, created_at) VALUES ('x', 'x', 0) RETURNING account_no"


def test_a_database_that_comes_back_is_emptied_for_the_next(postgresql_stock: Stock) -> None:
    made, numbers = postgresql_stock.take(), []
    for _ in range(2):
        with psycopg.connect(made.url) as connection:
            numbers.append(connection.execute(ADD).fetchone())
        assert count_of(made.url, "account") == 1
        assert postgresql_stock.give_back(made)
        again = postgresql_stock.take()
        assert again == made
        assert count_of(made.url, "account") == 0
    assert numbers == [(1,), (1,)]
    assert postgresql_stock.give_back(made)


@pytest.mark.parametrize(
    "statement",
    [
        "CREATE TABLE mine (n integer)",
        "DROP TABLE watched",
        "ALTER TABLE run ADD COLUMN mine integer",
        "ALTER TABLE run DISABLE ROW LEVEL SECURITY",
        "GRANT TRUNCATE ON run TO burrline_app",
        "CREATE INDEX mine ON run (account_no)",
        "CREATE SCHEMA mine",
        "UPDATE alembic_version SET version_num = 'mine'",
        f"INSERT INTO account (account_id, name, created_at)"
        f" SELECT n::text, '', 0 FROM generate_series(0, {MOST_ROWS}) AS n",
    ],
)
def test_a_database_that_was_changed_otherwise_is_dropped(
    postgresql_stock: Stock, postgresql_server: Server, statement: str
) -> None:
    made = postgresql_stock.take()
    name = made.url.rsplit("/", 1)[1]
    with psycopg.connect(postgresql_server.url(name)) as connection:
        connection.execute(statement)
    assert not postgresql_stock.give_back(made)
    with pytest.raises(psycopg.OperationalError, match="does not exist"):
        psycopg.connect(made.url)


def test_whoever_still_holds_rows_of_a_database_that_comes_back_is_put_out(
    postgresql_stock: Stock,
) -> None:
    made = postgresql_stock.take()
    holding = psycopg.connect(made.url)
    holding.execute(ADD)
    assert postgresql_stock.give_back(made)
    with pytest.raises(psycopg.OperationalError):
        holding.execute("SELECT 1")
    holding.close()
