"""Putting an export back: the whole of it or nothing, into an account that is empty.

A file is first read to its end, so that one which was cut or altered is refused before anything
is touched; then everything goes in by one transaction. What counts is worked out anew from the
runs themselves; only the sums of archived runs, which nothing else remembers, are the file's.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable
from datetime import datetime

from ..core.errors import AccountNotEmpty
from ..core.errors import ExportDamaged as Damaged
from ..store import accounts, incoming
from ..store.accounts import Account
from ..store.database import Connection, Database
from . import admin
from .export import FORMAT_NAME, FORMAT_VERSION
from .export_lines import Thing
from .restoring import Restoring
from .sealing import opened

Lines = Callable[[], Iterable[bytes]]


def import_account(
    database: Database, *, lines: Lines, account_id: str | None = None
) -> tuple[Account, Counter[str]]:
    """Restore an export, read twice through ``lines``; the account, and how much of each kind.

    The account is the one named, else the one by the export's own name; it is made when there is
    none. Raises ExportDamaged for a file that is not whole and AccountNotEmpty.
    """
    described, counts = _checked(lines())
    account = _account(database, account_id or described["account_id"], described)

    def work(connection: Connection) -> None:
        accounts.lock(connection, account.account_no)
        found = incoming.first_held(connection, account.account_no)
        if found is not None:
            raise AccountNotEmpty(account.account_id, found)
        restoring = Restoring(connection, account.account_no)
        number = 0
        try:
            for at, thing in opened(lines()):
                number = at
                restoring.take(thing)
            restoring.finish()
        except (KeyError, ValueError, TypeError, IndexError, AttributeError) as error:
            raise Damaged(number, f"cannot be put back ({error!r})") from error

    database.write(account.account_no, work)
    return account, counts


def _checked(lines: Iterable[bytes]) -> tuple[Thing, Counter[str]]:
    """Read a whole export; what it says of its account, and how many lines of each kind."""
    counts: Counter[str] = Counter()
    described: Thing | None = None
    for number, thing in opened(lines):
        if number == 1 and (
            thing.get("format") != FORMAT_NAME or thing.get("version") != FORMAT_VERSION
        ):
            raise Damaged(1, f"does not begin a {FORMAT_NAME} export of version {FORMAT_VERSION}")
        if number == 2:
            described = thing
        counts[thing["kind"]] += 1
    if described is None or counts["account"] != 1 or described["kind"] != "account":
        raise Damaged(2, "is not the account's")
    return described, counts


def _account(database: Database, account_id: str, described: Thing) -> Account:
    found = {account.account_id: account for account in admin.list_accounts(database)}
    if account_id in found:
        return found[account_id]
    try:
        return admin.create_account(
            database,
            account_id=account_id,
            name=described["name"],
            now=datetime.fromisoformat(described["created_at"]),
        )
    except (KeyError, ValueError, TypeError) as error:
        raise Damaged(2, f"cannot be put back ({error!r})") from error
