"""Accounts, and the numbers drawn within one."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Connection, insert, select, text, update
from sqlalchemy.exc import IntegrityError

from ..core.errors import AlreadyExists
from .tables import account


@dataclass(frozen=True)
class Account:
    account_no: int
    account_id: str
    name: str
    created_at: datetime


_COLUMNS = (account.c.account_no, account.c.account_id, account.c.name, account.c.created_at)


def add(connection: Connection, *, account_id: str, name: str, now: datetime) -> Account:
    if by_id(connection, account_id) is not None:
        raise AlreadyExists("account", account_id)
    try:
        account_no = connection.execute(
            insert(account)
            .values(account_id=account_id, name=name, created_at=now)
            .returning(account.c.account_no)
        ).scalar_one()
    except IntegrityError as error:
        raise AlreadyExists("account", account_id) from error
    return Account(account_no, account_id, name, now)


def by_id(connection: Connection, account_id: str) -> Account | None:
    row = connection.execute(select(*_COLUMNS).where(account.c.account_id == account_id)).first()
    return None if row is None else Account(*row)


def all_of_them(connection: Connection) -> list[Account]:
    return [
        Account(*row)
        for row in connection.execute(select(*_COLUMNS).order_by(account.c.account_no))
    ]


def next_no(connection: Connection, account_no: int) -> int:
    """Draw the account's next number; concurrent draws wait for each other."""
    drawn: int = connection.execute(
        update(account)
        .where(account.c.account_no == account_no)
        .values(last_no=account.c.last_no + 1)
        .returning(account.c.last_no)
    ).scalar_one()
    return drawn


def lock(connection: Connection, account_no: int) -> None:
    """Make changes of an account's sites, grinders and burr sets wait for each other."""
    # FOR NO KEY UPDATE: the foreign keys of a transaction's earlier inserts hold the row FOR KEY
    # SHARE, and two holders that both asked for more than that would wait for each other.
    connection.execute(
        select(account.c.account_no)
        .where(account.c.account_no == account_no)
        .with_for_update(key_share=True)
    )


def is_row_security_in_force(connection: Connection) -> bool:
    """Whether this role is held by the policies; SQLite has none, one file is one operator's."""
    if connection.dialect.name != "postgresql":
        return True
    statement = text(
        "SELECT NOT (rolsuper OR rolbypassrls) FROM pg_roles WHERE rolname = current_user"
    )
    return bool(connection.execute(statement).scalar_one())
