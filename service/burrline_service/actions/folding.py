"""Keeping what runs tell about the flow folded by the hour, behind those who record them.

No answer depends on it: whoever reads folds what is still stale for himself.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial

from ..store import accounts, stream_cells
from ..store.database import Connection, Database
from ..store.stream_cells import Folded

HOURS_AT_ONCE = 200
GRINDERS_AT_ONCE = 25
GRINDERS_IN_A_TURN = 200


def fold_stream(database: Database, *, is_stopping: Callable[[], bool] = lambda: False) -> int:
    """Fold stale hours of the grinders that are farthest behind; how many hours it were.

    At most ``GRINDERS_IN_A_TURN`` of an account and ``HOURS_AT_ONCE`` of each.

    Read on a snapshot and written only where nobody wrote since, so that several workers do no
    harm and nobody who records runs waits.
    """
    count = 0
    for account in database.read(None, accounts.all_of_them):
        account_no = account.account_no
        farthest = partial(stream_cells.behind, account_no=account_no, limit=GRINDERS_IN_A_TURN)
        behind = sorted(database.read(account_no, farthest))  # held in the order of their numbers
        for first in range(0, len(behind), GRINDERS_AT_ONCE):
            if is_stopping():
                return count
            some = behind[first : first + GRINDERS_AT_ONCE]
            folded = database.read(
                account_no, partial(_fold, account_no=account_no, grinder_nos=some)
            )
            count += database.write(account_no, partial(_put, account_no=account_no, each=folded))
    return count


def _fold(connection: Connection, account_no: int, grinder_nos: Sequence[int]) -> list[Folded]:
    found = (
        stream_cells.fold(connection, account_no, number, limit=HOURS_AT_ONCE)
        for number in grinder_nos
    )
    return [folded for folded in found if folded is not None]


def _put(connection: Connection, account_no: int, each: Sequence[Folded]) -> int:
    return sum(
        len(folded.hours) for folded in each if stream_cells.put(connection, account_no, folded)
    )
