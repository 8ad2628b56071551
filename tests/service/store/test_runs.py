"""Many runs written at once: each key once, whoever writes it, archived or not."""

from __future__ import annotations

from operator import itemgetter
from typing import Any

from burrline_service.store import incoming, run_inserts, runs
from burrline_service.store.database import Connection, Database
from burrline_service.store.row_columns import RowColumns, RunRow
from burrline_service.store.run_rows import row_of
from small_chain import MINUTE, NOW, a_run, new_account


def rows_of(numbers: range, **fields: Any) -> list[RunRow]:
    return [
        row_of(
            a_run(number, **fields),
            grinder_no=number % 3,
            source_no=None,
            started_at=NOW - number * MINUTE,
            time_source="device",
            received_at=NOW,
            finding=None,
        )
        for number in numbers
    ]


def added(connection: Connection, account_no: int, rows: list[RunRow]) -> set[bytes]:
    places = run_inserts.add(connection, account_no, RowColumns.of(rows))
    return {rows[place].run_key for place in places}


by_key = itemgetter(0)


def keys_of(rows: list[RunRow]) -> set[bytes]:
    return {row.run_key for row in rows}


def kept(connection: Connection, account_no: int) -> list[RunRow]:
    return [
        row
        for grinder_no in range(3)
        for row in runs.within(connection, account_no, grinder_no, low_ms=0, high_ms=10**14)
    ]


def test_rows_come_back_as_they_were_written(database: Database) -> None:
    account_no = new_account(database).account_no
    plain = rows_of(range(20))
    full = rows_of(
        range(20, 25), setting=0.0, rpm=0.0, coffee_lot='hill "7", {late}', motor_celsius=-1.5
    )
    odd = [
        full[0]._replace(run_key=b"\\\x00'\"{},NULL\xff\x7f\x01\x02\x03", run_id="NULL"),
        full[1]._replace(run_id=None, on_ms=None, grams_mg=None, more={"findings": []}),
        full[2]._replace(voided_ms=5, raw_started_ms=0, raw_grams_mg=0, left_out=1, part=0),
        *full[3:],
    ]

    def work(connection: Connection) -> None:
        for rows in (plain, odd):
            assert added(connection, account_no, rows) == keys_of(rows)
        assert sorted(kept(connection, account_no), key=by_key) == sorted(
            [*plain, *odd], key=by_key
        )

    database.write(account_no, work)


def test_only_new_keys_are_written_and_told(database: Database) -> None:
    account_no = new_account(database).account_no
    first, more = rows_of(range(10)), rows_of(range(5, 15), grams=99.0)

    def work(connection: Connection) -> None:
        assert added(connection, account_no, []) == set()
        added(connection, account_no, first)
        assert added(connection, account_no, more) == keys_of(more[5:])
        assert added(connection, account_no, more) == set()
        assert sorted(kept(connection, account_no), key=by_key) == sorted(
            [*first, *more[5:]], key=by_key
        )
        found = runs.fingerprints(connection, account_no, keys_of(more) | {bytes(16)})
        assert found == {row.run_key: row.fingerprint for row in (*first[5:], *more[5:])}

    database.write(account_no, work)


def test_what_the_archive_knows_is_not_written_again(database: Database) -> None:
    account_no = new_account(database).account_no
    rows = rows_of(range(10), coffee_lot="lot-7")
    archived = rows[:4]

    def work(connection: Connection) -> None:
        seen = [(row.run_key, row.fingerprint) for row in archived]
        incoming.add_seen(connection, account_no, seen)
        assert added(connection, account_no, rows) == keys_of(rows[4:])
        assert sorted(kept(connection, account_no), key=by_key) == sorted(rows[4:], key=by_key)
        known = runs.fingerprints(connection, account_no, keys_of(rows))
        assert known == {row.run_key: row.fingerprint for row in rows}

    database.write(account_no, work)


def test_accounts_do_not_meet(database: Database) -> None:
    rows = rows_of(range(3))
    for account_no in (new_account(database).account_no, new_account(database).account_no):
        new = database.write(account_no, lambda c, no=account_no: added(c, no, rows))  # type: ignore[misc]
        assert new == keys_of(rows)
