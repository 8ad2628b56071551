"""Putting an account's rows back as they were, into an account that holds none yet."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, Table, bindparam, delete, insert, select, update

from . import accounts, recount, runs
from .sums import Held
from .tables import (
    OF_ACCOUNT,
    account,
    burr_set,
    fitting,
    grinder,
    grinder_fact,
    grinder_hour,
    grinder_state,
    run,
    run_more,
    run_seen,
    site,
    site_fact,
)

NOT_HELD_AGAINST = ("access_key", "reply")  # what an account may have before anything is in it


def first_held(connection: Connection, account_no: int) -> str | None:
    """The name of a table in which the account has rows, None when it is empty."""
    for table in OF_ACCOUNT:
        if table.name not in NOT_HELD_AGAINST:
            found = select(table.c.account_no).where(table.c.account_no == account_no).limit(1)
            if connection.execute(found).first() is not None:
                return table.name
    return None


def put_site(
    connection: Connection,
    account_no: int,
    *,
    site_id: str,
    created_at: datetime,
    revision: int,
    facts: Sequence[dict[str, Any]],
) -> int:
    """A site with its dated facts; returns its number."""
    number = {"account_no": account_no, "site_no": accounts.next_no(connection, account_no)}
    connection.execute(
        insert(site).values(**number, site_id=site_id, created_at=created_at, revision=revision)
    )
    _put_all(connection, site_fact, number, facts)
    return number["site_no"]


def put_grinder(
    connection: Connection,
    account_no: int,
    *,
    grinder_id: str,
    created_at: datetime,
    revision: int,
    facts: Sequence[dict[str, Any]],
) -> int:
    """A grinder with its dated facts; returns its number."""
    number = {"account_no": account_no, "grinder_no": accounts.next_no(connection, account_no)}
    connection.execute(
        insert(grinder).values(
            **number, grinder_id=grinder_id, created_at=created_at, revision=revision
        )
    )
    _put_all(connection, grinder_fact, number, facts)
    return number["grinder_no"]


def put_burr_set(
    connection: Connection,
    account_no: int,
    *,
    burr_set_id: str,
    created_at: datetime,
    revision: int,
    description: dict[str, Any],
    voided_at: datetime | None,
    fittings: Sequence[dict[str, Any]],
) -> None:
    """A burr set with its fittings as entered."""
    number = {"account_no": account_no, "burr_set_no": accounts.next_no(connection, account_no)}
    connection.execute(
        insert(burr_set).values(
            **number,
            burr_set_id=burr_set_id,
            created_at=created_at,
            revision=revision,
            description=description,
            voided_at=voided_at,
        )
    )
    _put_all(connection, fitting, number, fittings)


def put_state(
    connection: Connection,
    account_no: int,
    state: Held,
    *,
    revision: int,
    archived_before: datetime | None,
) -> None:
    """What is kept once per grinder, after all its runs: its hours are touched by them."""
    connection.execute(
        insert(grinder_state).values(
            account_no=account_no,
            **state._asdict(),
            revision=revision,
            archived_before=archived_before,
        )
    )
    touched = update(grinder_hour).values(touched_revision=revision)
    connection.execute(
        touched.where(
            grinder_hour.c.account_no == account_no, grinder_hour.c.grinder_no == state.grinder_no
        )
    )


def raise_last_no(connection: Connection, account_no: int, last_no: int) -> None:
    """See that numbers drawn from now on are above ``last_no``: ids made from them are taken."""
    connection.execute(
        update(account)
        .where(account.c.account_no == account_no, account.c.last_no < last_no)
        .values(last_no=last_no)
    )


def add_seen(connection: Connection, account_no: int, seen: Iterable[tuple[bytes, bytes]]) -> None:
    """Remember archived runs by (key, fingerprint)."""
    rows = [
        {"account_no": account_no, "run_key": key, "fingerprint": fingerprint}
        for key, fingerprint in seen
    ]
    if rows:
        connection.execute(insert(run_seen), rows)


def drop_runs(connection: Connection, account_no: int, run_keys: Sequence[bytes]) -> None:
    if run_keys:
        for table in (run_more, run):
            connection.execute(
                delete(table).where(
                    table.c.account_no == account_no, table.c.run_key == bindparam("gone")
                ),
                [{"gone": run_key} for run_key in run_keys],
            )


def share_out(
    connection: Connection, account_no: int, grinder_no: int, *, from_ms: int | None
) -> None:
    """Work out the parts of all runs from an instant on in grinds that several devices report.

    Those before the archive's end are to keep the part they had: their neighbours may be gone.
    """
    after = None
    while True:
        page = runs.listed(
            connection,
            account_no,
            grinder_no,
            from_ms=from_ms,
            to_ms=None,
            limit=runs.CHUNK_COUNT,
            after=after,
        )
        recount.share_out(connection, account_no, grinder_no, page)
        if len(page) < runs.CHUNK_COUNT:
            return
        after = (page[-1].started_ms, page[-1].run_key)


def _put_all(
    connection: Connection, table: Table, number: dict[str, int], rows: Sequence[dict[str, Any]]
) -> None:
    if rows:
        connection.execute(insert(table), [{**number, **row} for row in rows])
