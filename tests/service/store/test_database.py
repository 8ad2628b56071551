"""The two ways into a database: one transaction each, one snapshot, refusals for failures."""

from __future__ import annotations

import stat
from collections.abc import Callable
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sqlalchemy import text
from sqlalchemy.exc import ProgrammingError

from burrline_service.core.errors import AlreadyExists, Unavailable
from burrline_service.store import accounts
from burrline_service.store.database import Connection, Database, open_database
from burrline_service.store.types import EPOCH, UtcDateTime, to_instant, to_milliseconds
from databases import free_port
from small_chain import NOW

DIALECT: Any = None


def add_account(opened: Database, account_id: str) -> None:
    opened.write(
        None,
        lambda connection: accounts.add(
            connection, account_id=account_id, name=account_id, now=NOW
        ),
    )


def account_ids(connection: Connection) -> list[str]:
    return [account.account_id for account in accounts.all_of_them(connection)]


def raises(sqlstate: str) -> Callable[[Connection], Any]:
    statement = text(f"DO $$ BEGIN RAISE EXCEPTION USING ERRCODE = '{sqlstate}'; END $$")
    return lambda connection: connection.execute(statement)


# --- transactions ---------------------------------------------------------------------------------


def test_what_a_failed_write_did_is_undone(database: Database) -> None:
    def work(connection: Connection) -> None:
        accounts.add(connection, account_id="half", name="half", now=NOW)
        raise AlreadyExists("account", "half")

    with pytest.raises(AlreadyExists):
        database.write(None, work)
    assert database.read(None, account_ids) == []


def test_a_read_sees_one_snapshot(database: Database) -> None:
    add_account(database, "first")

    def work(connection: Connection) -> tuple[list[str], list[str]]:
        before = account_ids(connection)
        add_account(database, "second")
        return before, account_ids(connection)

    assert database.read(None, work) == (["first"], ["first"])
    assert database.read(None, account_ids) == ["first", "second"]


def test_a_write_is_seen_by_the_next_read(database: Database) -> None:
    for number in range(20):
        add_account(database, f"a-{number:02d}")
        assert len(database.read(None, account_ids)) == number + 1


# --- PostgreSQL -----------------------------------------------------------------------------------


@pytest.mark.parametrize("database_kind", ["postgresql"])
@pytest.mark.parametrize("sqlstate", ["40001", "40P01"])
def test_a_deadlock_is_retried_three_times_and_then_refused(
    database: Database, sqlstate: str
) -> None:
    # 40001 serialization_failure, 40P01 deadlock_detected (PostgreSQL manual, Appendix A)
    tried = []

    def work(connection: Connection) -> str:
        tried.append(sqlstate)
        if len(tried) < 4:
            raises(sqlstate)(connection)
        return "done"

    assert database.write(None, work) == "done"
    assert len(tried) == 4
    del tried[:]

    def hopeless(connection: Connection) -> None:
        tried.append(sqlstate)
        raises(sqlstate)(connection)

    with pytest.raises(Unavailable):
        database.write(None, hopeless)
    assert len(tried) == 4


@pytest.mark.parametrize("database_kind", ["postgresql"])
def test_a_mistake_of_ours_is_neither_retried_nor_dressed_up(database: Database) -> None:
    tried = []

    def work(connection: Connection) -> None:
        tried.append(1)
        connection.execute(text("SELECT nothing FROM nowhere"))

    with pytest.raises(ProgrammingError):
        database.write(None, work)
    assert tried == [1]


@pytest.mark.parametrize("database_kind", ["postgresql"])
def test_the_account_is_forgotten_with_its_transaction(database: Database) -> None:
    def current(connection: Connection) -> str | None:
        statement = text("SELECT NULLIF(current_setting('burrline.account', true), '')")
        found: str | None = connection.execute(statement).scalar_one()
        return found

    for _ in range(20):  # the pool hands out used connections
        assert database.read(41, current) == "41"
        assert database.read(None, current) is None
        assert database.write(42, current) == "42"
        assert database.write(None, current) is None


def test_a_server_that_is_not_there_is_a_refusal() -> None:
    opened = open_database(f"postgresql://burrline_app@127.0.0.1:{free_port()}/burrline")
    with pytest.raises(Unavailable):
        opened.read(None, account_ids)
    with pytest.raises(Unavailable):
        add_account(opened, "nobody")
    opened.close()


# --- SQLite ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("database_kind", ["sqlite"])
def test_sqlite_writes_ahead_and_waits_for_the_disk(database_url: str) -> None:
    def pragmas(connection: Connection) -> dict[str, Any]:
        names = ("journal_mode", "synchronous", "foreign_keys", "busy_timeout")
        return {name: connection.exec_driver_sql(f"PRAGMA {name}").scalar_one() for name in names}

    # synchronous 2 = FULL (SQLite manual, pragma synchronous)
    expected = {"journal_mode": "wal", "synchronous": 2, "foreign_keys": 1, "busy_timeout": 15_000}
    opened = open_database(database_url)
    assert opened.read(None, pragmas) == expected
    assert opened.write(None, pragmas) == expected
    opened.close()


@pytest.mark.parametrize("database_kind", ["sqlite"])
def test_a_writer_that_finds_the_file_busy_is_refused_and_readers_go_on(
    database: Database, database_url: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("burrline_service.store.database.BUSY_SECONDS", 0)
    impatient = open_database(database_url)

    def while_writing(connection: Connection) -> None:
        accounts.add(connection, account_id="slow", name="slow", now=NOW)
        with pytest.raises(Unavailable):
            add_account(impatient, "hasty")
        assert impatient.read(None, account_ids) == []

    database.write(None, while_writing)
    add_account(impatient, "hasty")
    assert impatient.read(None, account_ids) == ["slow", "hasty"]
    impatient.close()


def test_the_folder_of_a_file_is_made_for_its_owner_alone(tmp_path: Path) -> None:
    opened = open_database(f"sqlite:///{tmp_path / 'new' / 'burrline.db'}")
    assert stat.S_IMODE((tmp_path / "new").stat().st_mode) == 0o700
    opened.close()


# --- instants -------------------------------------------------------------------------------------


@given(
    st.datetimes(
        min_value=datetime(1900, 1, 1),  # noqa: DTZ001 (hypothesis wants it naive)
        max_value=datetime(2999, 12, 31),  # noqa: DTZ001
        timezones=st.sampled_from([UTC, timezone(timedelta(hours=5, minutes=45))]),
    )
)
def test_an_instant_comes_back_in_utc_cut_to_its_millisecond(at: datetime) -> None:
    kept = UtcDateTime().process_bind_param(at, DIALECT)
    found = UtcDateTime().process_result_value(kept, DIALECT)
    assert found is not None
    assert found.tzinfo is UTC
    assert timedelta(0) <= at - found < timedelta(milliseconds=1)
    assert to_instant(to_milliseconds(found)) == found


def test_nothing_stays_nothing_and_the_epoch_is_zero() -> None:
    assert UtcDateTime().process_bind_param(None, DIALECT) is None
    assert UtcDateTime().process_result_value(None, DIALECT) is None
    assert to_milliseconds(EPOCH) == 0


def test_a_naive_instant_is_refused() -> None:
    with pytest.raises(ValueError, match="naive"):
        to_milliseconds(datetime(2026, 3, 2))  # noqa: DTZ001 (that is the point)
