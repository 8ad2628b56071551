"""What the operator does on the machine itself: accounts, and acting for one."""

from __future__ import annotations

from datetime import datetime

from ..core.errors import Fault, Invalid, NotFound
from ..core.records import SCOPES, Caller
from ..store import accounts
from ..store.accounts import Account
from ..store.database import Database

FIRST_ACCOUNT_ID = "main"
_ALLOWED = frozenset("abcdefghijklmnopqrstuvwxyz0123456789_-")


def create_account(
    database: Database, *, account_id: str, name: str | None, now: datetime
) -> Account:
    is_good = (
        0 < len(account_id) <= 64 and set(account_id) <= _ALLOWED and account_id[0] not in "_-"
    )
    if not is_good:
        raise Invalid(
            Fault(
                "must be 1 to 64 of a-z, 0-9, _ and -, not starting with _ or -",
                parameter="account_id",
            )
        )
    return database.write(
        None,
        lambda connection: accounts.add(
            connection, account_id=account_id, name=name or account_id, now=now
        ),
    )


def list_accounts(database: Database) -> list[Account]:
    return database.read(None, accounts.all_of_them)


def owner(
    database: Database, *, account_id: str | None, makes_first: bool = False, now: datetime
) -> Caller:
    """The operator acting for an account: the named one, or the only one there is."""
    known = list_accounts(database)
    if not known and account_id is None and makes_first:
        known = [create_account(database, account_id=FIRST_ACCOUNT_ID, name=None, now=now)]
    if account_id is None:
        if len(known) != 1:
            raise Invalid(Fault(f"name one of the {len(known)} accounts", parameter="--account"))
        return _caller(known[0])
    for account in known:
        if account.account_id == account_id:
            return _caller(account)
    raise NotFound("account", account_id)


def is_row_security_in_force(database: Database) -> bool:
    """False on a PostgreSQL role that row-level security does not bind."""
    return database.read(None, accounts.is_row_security_in_force)


def _caller(account: Account) -> Caller:
    return Caller(account_no=account.account_no, scopes=frozenset(SCOPES), key_id="operator")
