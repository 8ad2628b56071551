"""PostgreSQL holds accounts apart by itself, whatever a query forgets."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import psycopg
import pytest
from psycopg import sql
from sqlalchemy import (
    JSON,
    BigInteger,
    Boolean,
    Column,
    Integer,
    LargeBinary,
    SmallInteger,
    Table,
    Text,
)
from sqlalchemy.types import TypeDecorator

from burrline_service.actions import admin
from burrline_service.store.database import open_database
from burrline_service.store.table_kinds import metadata
from burrline_service.store.tables import OF_ACCOUNT
from databases import MadeDatabase, Server

MINE, THEIRS = 1, 2
VALUES: list[tuple[type[Any], Any]] = [
    (JSON, "{}"),
    (Boolean, False),
    (LargeBinary, b"\x01" * 16),
    (Text, "value"),
    (BigInteger, 5),
    (SmallInteger, 5),
    (Integer, 5),
]
Connected = psycopg.Connection[Any]


@pytest.fixture
def connection(postgresql_database: MadeDatabase) -> Iterator[Connected]:
    """As the service connects; one row of MINE in every table."""
    with psycopg.connect(postgresql_database.url, autocommit=True) as opened:
        for number in (MINE, THEIRS):
            opened.execute(
                "INSERT INTO account (account_no, account_id, name, created_at)"
                " VALUES (%s, %s, 'chain', 0)",
                (number, f"chain-{number}"),
            )
        act_for(opened, MINE)
        for table in OF_ACCOUNT:
            add_row(opened, table, MINE)
        act_for(opened, None)
        yield opened


def act_for(connection: Connected, account_no: int | None) -> None:
    """What a transaction of the service sets, here for the whole session."""
    value = "" if account_no is None else str(account_no)
    connection.execute("SELECT set_config('burrline.account', %s, false)", (value,))


def add_row(connection: Connected, table: Table, account_no: int) -> None:
    values = {
        column.name: account_no if column.name == "account_no" else value_for(column)
        for column in table.columns
    }
    connection.execute(
        sql.SQL("INSERT INTO {} ({}) VALUES ({})").format(
            sql.Identifier(table.name),
            sql.SQL(", ").join(map(sql.Identifier, values)),
            sql.SQL(", ").join(sql.Placeholder() * len(values)),
        ),
        list(values.values()),
    )


def value_for(column: Column[Any]) -> Any:
    kind = column.type.impl if isinstance(column.type, TypeDecorator) else column.type
    return next(value for known, value in VALUES if isinstance(kind, known))


def count_rows(connection: Connected, table: Table) -> int:
    statement = sql.SQL("SELECT count(*) FROM {}").format(sql.Identifier(table.name))
    found = connection.execute(statement).fetchone()
    assert found is not None
    counted: int = found[0]
    return counted


every_table = pytest.mark.parametrize("table", OF_ACCOUNT, ids=lambda table: table.name)


def test_these_tests_do_not_pass_by_a_superusers_rights(connection: Connected) -> None:
    found = connection.execute(
        "SELECT rolsuper OR rolbypassrls FROM pg_roles WHERE rolname = current_user"
    ).fetchone()
    assert found == (False,)


def test_every_table_but_account_belongs_to_accounts_and_forces_its_policies(
    connection: Connected,
) -> None:
    found = connection.execute(
        "SELECT relname, relrowsecurity, relforcerowsecurity FROM pg_class"
        " WHERE relkind IN ('r', 'p') AND relnamespace = 'public'::regnamespace"
    ).fetchall()
    forced = {name for name, is_on, is_forced in found if is_on and is_forced}
    assert forced == {table.name for table in OF_ACCOUNT}
    assert {name for name, _, _ in found} - forced == {"account", "alembic_version"}
    assert set(metadata.tables) == forced | {"account"}


@every_table
def test_an_account_sees_its_own_rows_alone(connection: Connected, table: Table) -> None:
    counted = {}
    for account_no in (MINE, THEIRS, None):
        act_for(connection, account_no)
        counted[account_no] = count_rows(connection, table)
    assert counted == {MINE: 1, THEIRS: 0, None: 0}


@every_table
def test_a_row_for_another_account_is_refused(connection: Connected, table: Table) -> None:
    for account_no in (THEIRS, None):
        act_for(connection, account_no)
        with pytest.raises(psycopg.errors.InsufficientPrivilege, match="row-level security"):
            add_row(connection, table, MINE)


@every_table
def test_anothers_rows_can_be_neither_changed_nor_given_away(
    connection: Connected, table: Table
) -> None:
    name = sql.Identifier(table.name)
    act_for(connection, THEIRS)
    changed = sql.SQL("UPDATE {} SET account_no = %s").format(name)
    assert connection.execute(changed, (THEIRS,)).rowcount == 0
    assert connection.execute(sql.SQL("DELETE FROM {}").format(name)).rowcount == 0
    act_for(connection, MINE)
    with pytest.raises(psycopg.errors.InsufficientPrivilege, match="row-level security"):
        connection.execute(changed, (THEIRS,))
    assert count_rows(connection, table) == 1


def test_before_the_account_is_known_just_the_one_key_asked_for_is_seen(
    connection: Connected,
) -> None:
    act_for(connection, THEIRS)
    connection.execute(
        "INSERT INTO access_key SELECT %s, 'other', digest, last_four, name, scopes, site_ids,"
        " grinder_ids, created_at FROM (SELECT ''::bytea digest, '' last_four, '' name,"
        " '[]'::json scopes, '[]'::json site_ids, '[]'::json grinder_ids, 0 created_at) _",
        (THEIRS,),
    )
    act_for(connection, None)
    for asked, expected in [("value", [("value",)]), ("other", [("other",)]), ("x", []), ("", [])]:
        connection.execute("SELECT set_config('burrline.key_id', %s, false)", (asked,))
        assert connection.execute("SELECT key_id FROM access_key").fetchall() == expected
        # to see a key is not to change it
        assert connection.execute("UPDATE access_key SET name = 'mine'").rowcount == 0
        assert connection.execute("DELETE FROM access_key").rowcount == 0


def test_a_role_that_skips_the_policies_is_noticed(
    postgresql_server: Server, postgresql_database: MadeDatabase
) -> None:
    name = postgresql_database.url.rsplit("/", 1)[1]
    for url, is_in_force in [
        (postgresql_database.url, True),
        (postgresql_server.url(name), False),
    ]:
        opened = open_database(url)
        assert admin.is_row_security_in_force(opened) is is_in_force
        opened.close()


def see_as_worker(connection: Connected, *, account_no: int | None) -> list[tuple[str, int]]:
    """What a look for due deliveries shows while acting for an account, or for none."""
    act_for(connection, account_no)
    connection.execute("SELECT set_config('burrline.outbox', 'due', false)")
    try:
        found = connection.execute("SELECT event_id, state FROM delivery ORDER BY event_id")
        return found.fetchall()
    finally:
        connection.execute("SELECT set_config('burrline.outbox', '', false)")


def test_the_worker_sees_what_waits_in_all_accounts_and_nobody_else_does(
    connection: Connected,
) -> None:
    for account_no, event_id, state in ((MINE, "m0", 0), (MINE, "m1", 1), (THEIRS, "t0", 0)):
        act_for(connection, account_no)
        connection.execute(
            "INSERT INTO delivery (account_no, webhook_no, event_id, type, content, state, due_at,"
            " attempt_count, made_at) VALUES (%s, 1, %s, 'type', '{}', %s, 0, 0, 0)",
            (account_no, event_id, state),
        )
    assert see_as_worker(connection, account_no=None) == [("m0", 0), ("t0", 0)]
    # whoever acts for an account sees its own and no other, whatever it sets beside
    assert see_as_worker(connection, account_no=THEIRS) == [("t0", 0)]
    act_for(connection, None)
    assert connection.execute("SELECT event_id FROM delivery").fetchall() == []


def test_the_worker_only_sees_and_only_deliveries(connection: Connected) -> None:
    act_for(connection, MINE)
    connection.execute("UPDATE delivery SET state = 0")
    act_for(connection, None)
    connection.execute("SELECT set_config('burrline.outbox', 'due', false)")
    assert count_rows(connection, metadata.tables["delivery"]) == 1
    assert connection.execute("UPDATE delivery SET due_at = 0").rowcount == 0
    assert connection.execute("DELETE FROM delivery").rowcount == 0
    with pytest.raises(psycopg.errors.InsufficientPrivilege, match="row-level security"):
        add_row(connection, metadata.tables["delivery"], THEIRS)
    for table in OF_ACCOUNT:
        if table.name != "delivery":
            assert count_rows(connection, table) == 0, table.name
